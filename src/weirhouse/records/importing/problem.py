"""How does a file say that it cannot be used? In one sentence, with what to mend."""


class FileProblem(ValueError):  # noqa: N818 - the operator has a problem with a file, not the program an error
    """A file that cannot be imported as it is; the message is one plain sentence that says what to do."""


def shown(text: str, most: int = 60) -> str:
    """Return foreign text fit for a message: on one line, control characters gone, cut to `most` characters."""
    line = "".join(c if c.isprintable() else " " for c in text[: 4 * most])
    line = " ".join(line.split())
    return line if len(line) <= most else line[: most - 3] + "..."


def listed(names: list[str], most: int = 12) -> str:
    """Return names as a list for a message, cut to `most` of them."""
    cut = ", ".join(shown(n, 40) or "(no name)" for n in names[:most])
    return cut if len(names) <= most else f"{cut} and {len(names) - most} more"


def word_set(*lines: str) -> frozenset[str]:
    """Return the words of some lines as a set."""
    return frozenset(word for line in lines for word in line.split())

"""On which line of a TOML text does a key stand? So that what is wrong with a pack is found at once."""

import re
from collections import Counter
from dataclasses import dataclass, field

_HEADER = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_.\-]+)\s*\]\]?")
_KEY = re.compile(r"^\s*([A-Za-z0-9_\-]+)\s*=")


@dataclass(frozen=True, slots=True)
class Lines:
    """Line numbers by table, place of the table among those of its name (from 0), and key; "" is the table itself."""

    found: dict[tuple[str, int, str], int] = field(default_factory=dict)

    def of(self, table: str, place: int = 0, key: str = "") -> int:
        """Return the line of a key, else of its table, else 1."""
        return self.found.get((table, place, key)) or self.found.get((table, place, "")) or 1


def lines_of(text: str) -> Lines:
    """Return where the tables and keys of a text stand.

    >>> lines_of('[pack]\\nid = "a"\\n[[requirement]]\\nid = "b"\\n').of("requirement", 0, "id")
    4
    """
    found: dict[tuple[str, int, str], int] = {}
    seen: Counter[str] = Counter()
    table, place, inside = "", 0, ""
    for number, line in enumerate(text.splitlines(), start=1):
        if inside:  # a text over several lines holds no keys
            inside = "" if inside in line else inside
            continue
        header = _HEADER.match(line)
        if header is not None:
            table = header[2]
            place = seen[table]
            seen[table] += 1
            found.setdefault((table, place, ""), number)
            continue
        key = _KEY.match(line)
        if key is not None:
            found.setdefault((table, place, key[1]), number)
        for quotes in ('"""', "'''"):
            if line.count(quotes) % 2:
                inside = quotes
    return Lines(found)

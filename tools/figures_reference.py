"""Writes ``docs/figures/``: a page for each chapter of formulas, made from their declarations.

    python -m tools.figures_reference

A test compares the pages with what this writes, so that they cannot go stale.
"""

import inspect
import shutil
from pathlib import Path

from weirhouse.quantity import convert, label, written
from weirhouse.science.quantities import Several
from weirhouse.working import Argument, Formula, formulas

FOLDER = Path(__file__).parents[1] / "docs" / "figures"


def pages() -> dict[str, str]:
    """Return the text of every page by its file name."""
    chapters: dict[str, list[Formula]] = {}
    for formula in formulas().values():
        chapters.setdefault(formula.function.__module__.rpartition(".")[2], []).append(formula)
    found = {f"{chapter}.md": _page(chapter, members) for chapter, members in sorted(chapters.items())}
    rows = [f"- [{_title(chapter)}]({chapter}.md): {len(members)}" for chapter, members in sorted(chapters.items())]
    found["README.md"] = (
        "# Figures\n\nEvery formula of Weirhouse, by chapter, with how many there are. Made from the declarations by "
        "`python -m tools.figures_reference`; do not edit by hand.\n\n" + "\n".join(rows) + "\n"
    )
    return found


def _title(chapter: str) -> str:
    return chapter.replace("_", " ").capitalize()


def _page(chapter: str, members: list[Formula]) -> str:
    module = inspect.getmodule(members[0].function)
    lead = " ".join((inspect.getdoc(module) or "").split("\n\n")[0].split())
    return "\n".join([f"# {_title(chapter)}", "", lead, "", *(part for f in members for part in _formula(f))])


def _formula(formula: Formula) -> list[str]:
    how = f"    {formula.name} = {formula.expression}" if formula.expression else f"By {formula.method}."
    rows = [f"## {formula.title}", "", f"`{formula.name}`: {formula.summary}", "", how, ""]
    rows += ["| argument | US | SI | usual range (SI) |", "|---|---|---|---|"]
    rows += [_row(argument) for argument in formula.arguments]
    result = formula.result
    rows.append(f"| **result** | {_unit(result.us, result.symbol)} | {_unit(result.si, result.symbol)} | |")
    return [*rows, "", f"Reference: {formula.reference}", ""]


def _row(argument: Argument) -> str:
    name = argument.name if argument.required else f"{argument.name} (may be left out)"
    unit = argument.unit
    if unit is None:
        words = ["yes", "no"] if set(argument.choices) == {True, False} else [str(c) for c in argument.choices]
        return f"| {name} | {', '.join(words)} | | |"
    several = " (several)" if isinstance(unit, Several) else ""
    span = ""
    if unit.low is not None and unit.high is not None:
        there = unit.si or unit.symbol
        ends = [written(float(convert(end, unit.symbol, there)), there, there) for end in (unit.low, unit.high)]
        span = " to ".join(ends)
    return f"| {name}{several} | {_unit(unit.us, unit.symbol)} | {_unit(unit.si, unit.symbol)} | {span} |"


def _unit(shown: str, symbol: str) -> str:
    return label(shown or symbol) or "1"


def main() -> None:
    """Write the pages anew."""
    shutil.rmtree(FOLDER, ignore_errors=True)
    FOLDER.mkdir(parents=True)
    for name, text in pages().items():
        (FOLDER / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()

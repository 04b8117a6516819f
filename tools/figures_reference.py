"""Writes ``docs/figures/``: a page for each chapter of formulas, made from their declarations.

    python -m tools.figures_reference

A test compares the pages with what this writes, so that they cannot go stale.
"""

import inspect
import itertools
import math
import random
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from weirhouse.pictures import curve
from weirhouse.quantity import convert, label, written
from weirhouse.science.quantities import Several
from weirhouse.working import Argument, Formula, formulas

FOLDER = Path(__file__).parents[1] / "docs" / "figures"
POINTS, TRIES = 33, 300
STYLE = (
    "<style>svg{background:#faf9f5}text{font:12px sans-serif;fill:#16191b}.tt-axis{stroke:#16191b}"
    ".ch-grid{stroke:#d9d7cf}.ch-line{fill:none;stroke:#16191b;stroke-width:2}</style>"
)


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


def plots() -> dict[str, str]:
    """Return the picture of every formula that can be drawn against one of its arguments, by file name."""
    found = {}
    for formula in formulas().values():
        picture = _plot(formula)
        if picture is not None:
            found[f"{formula.name}.svg"] = picture
    return found


def _plot(formula: Formula) -> str | None:
    """Return the result against the first argument that moves it, the others in the middle of their usual ranges."""
    numbers = [a for a in formula.arguments if _is_number(a)]
    for values in _samples(formula):
        for argument in numbers:
            unit, result = argument.unit, formula.result
            assert unit is not None
            x = _points(argument)
            y = [_answer(formula, {**values, argument.name: value}) for value in x]
            real = [value for value in y if math.isfinite(value)]
            if len(real) < POINTS // 2 or max(real) - min(real) <= 1e-9 * max(map(abs, real)):
                continue
            there, gives = unit.si or unit.symbol, result.si or result.symbol
            drawn = curve.Curve(
                x=[float(convert(value, unit.symbol, there)) for value in x],
                y=[float(convert(value, result.symbol, gives)) for value in y],
                x_name=_named(argument.name, there),
                y_name=_named(formula.title, gives),
            )
            return curve.svg(drawn, narrow=True).replace(">", f">{STYLE}", 1) + "\n"
    return None


def _is_number(argument: Argument) -> bool:
    unit = argument.unit
    return unit is not None and not isinstance(unit, Several) and unit.low is not None and unit.low != unit.high


def _points(argument: Argument) -> list[float]:
    unit = argument.unit
    assert unit is not None and unit.low is not None and unit.high is not None
    return [_between(unit.low, unit.high, i / (POINTS - 1)) for i in range(POINTS)]


def _between(low: float, high: float, share: float) -> float:
    if low > 0 and high > 20 * low:
        return float(low * (high / low) ** share)
    return low + (high - low) * share


def _samples(formula: Formula) -> Iterator[dict[str, Any]]:
    """Yield inputs: the middle of every range first, then others drawn from the ranges."""
    chance = random.Random(formula.name)  # noqa: S311  # samples, not secrets
    choices = [[(a.name, c) for c in a.choices] for a in formula.arguments if a.choices]
    for attempt in range(TRIES):
        for chosen in itertools.product(*choices):
            values = dict(chosen)
            for argument in formula.arguments:
                unit = argument.unit
                if unit is None or unit.low is None or unit.high is None:
                    continue
                if isinstance(unit, Several):
                    values[argument.name] = sorted(_between(unit.low, unit.high, chance.random()) for _ in range(6))
                else:
                    share = 0.5 if attempt == 0 else chance.random()
                    values[argument.name] = _between(unit.low, unit.high, share)
            yield values


def _answer(formula: Formula, values: dict[str, Any]) -> float:
    try:
        return float(formula.function(**values))
    except (ValueError, ArithmeticError):
        return math.nan


def _named(words: str, unit: str) -> str:
    shown = label(unit)
    return f"{words.replace('_', ' ')} [{shown}]" if shown else words.replace("_", " ")


def _formula(formula: Formula) -> list[str]:
    how = f"    {formula.name} = {formula.expression}" if formula.expression else f"By {formula.method}."
    rows = [f"## {formula.title}", "", f"`{formula.name}`: {formula.summary}", "", how, ""]
    rows += ["| argument | US | SI | usual range (SI) |", "|---|---|---|---|"]
    rows += [_row(argument) for argument in formula.arguments]
    result = formula.result
    rows.append(f"| **result** | {_unit(result.us, result.symbol)} | {_unit(result.si, result.symbol)} | |")
    picture = []
    if (FOLDER / "plots" / f"{formula.name}.svg").exists():
        picture = ["", f"![{formula.title} against one of its arguments](plots/{formula.name}.svg)"]
    return [*rows, "", f"Reference: {formula.reference}", *picture, ""]


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
    (FOLDER / "plots").mkdir(parents=True)
    for name, picture in plots().items():
        (FOLDER / "plots" / name).write_text(picture, encoding="utf-8")
    for name, text in pages().items():
        (FOLDER / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()

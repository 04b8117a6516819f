"""Which lines of a sheet lead to one number? Its own working, out of that of a whole unit."""

from collections.abc import Iterable
from typing import Any

from weirhouse.working import Input, Known, Line, Result, Sheet


def working_of(value: Known) -> Sheet:
    """Return the lines that led to a number, in order; of a number that was only read, where it stands."""
    sheet = Sheet()
    if isinstance(value.source, Result):
        lines: dict[int, Line] = {}
        _gather(value.source.line, lines)
        sheet.lines.extend(_renumbered(lines.values(), ""))
    elif value.source is not None:
        sheet.notes.append(f"Read, not worked out: {value.source}.")
    return sheet


def _gather(line: Line, found: dict[int, Line]) -> None:
    """Put a line behind all those whose results it takes."""
    if id(line) in found:
        return
    for given in line.inputs:
        for before in _lines(given):
            _gather(before, found)
    found[id(line)] = line


def _lines(given: Input) -> list[Line]:
    members = given.value if isinstance(given.value, list | tuple) else ()
    sources = [given.source, *(member.source for member in members if isinstance(member, Known))]
    return [source.line for source in sources if isinstance(source, Result)]


def _renumbered(lines: Iterable[Line], prefix: str) -> list[Line]:
    """Return copies of the lines that count from 1; the sheet they come from keeps its own numbers."""
    new: dict[int, Line] = {}
    for number, line in enumerate(lines, start=1):
        place = f"{prefix}{number}"
        inputs = tuple(Input(one.name, one.value, _turned(one.source, new)) for one in line.inputs)
        below = _renumbered(line.lines, f"{place}.")
        new[id(line)] = Line(line.formula, inputs, line.result, below, list(line.notes), place)
    return list(new.values())


def _turned(source: Any, new: dict[int, Line]) -> Any:
    if isinstance(source, Result) and id(source.line) in new:
        return Result(new[id(source.line)])
    return source

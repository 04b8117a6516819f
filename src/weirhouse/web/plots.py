"""How does a formula's result change with one of its inputs? Worked out point by point around the present one."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from markupsafe import Markup

from weirhouse.figures import Calculation
from weirhouse.pictures import curve
from weirhouse.quantity import convert, label, show
from weirhouse.science.quantities import Several
from weirhouse.working import Argument, Unit

POINTS = 61  # of the line
ROWS = 12  # of the table, evenly chosen, beside the present point
AROUND = 4.0  # times less and more than the present value, where the formula declares no usual range


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """The picture and the table of a result against one input; values in inside units."""

    argument: Argument
    x: tuple[float, ...]
    y: tuple[float, ...]  # NaN where the formula gives no result
    picture: Markup
    sentence: str
    rows: tuple[tuple[str, str, bool], ...]  # input, result, whether it is the present point


def plottable(made: Calculation) -> list[Argument]:
    """Return the inputs that a result can be drawn against: single numbers with a unit that were given."""
    return [
        a for a in made.formula.arguments
        if a.unit is not None and not isinstance(a.unit, Several) and isinstance(made.values.get(a.name), int | float)
    ]  # fmt: skip


def reach(unit: Unit, present: float) -> tuple[float, float]:
    """Return from where to where an input is drawn: its usual range, stretched to hold the present value."""
    if unit.low is not None and unit.high is not None and unit.low < unit.high:
        return min(unit.low, present), max(unit.high, present)
    if present > 0:
        high = 1.0 if unit.symbol == "1" and present <= 1 < AROUND * present else AROUND * present
        return present / AROUND, high
    return (present - 1.0, present + 1.0) if present == 0 else (AROUND * present, present / AROUND)


def plot(made: Calculation, name: str, unit_set: str) -> Plot | None:
    """Return how the result changes with an input; None for an input that cannot be drawn against."""
    argument = next((a for a in plottable(made) if a.name == name), None)
    if argument is None or argument.unit is None:
        return None
    present = float(made.values[name])
    x = _points(*reach(argument.unit, present), present)
    y = [_result(made, name, value) for value in x]
    if not any(math.isfinite(value) for value in y):
        return None
    unit = argument.unit.display(unit_set)
    shown_x = [float(convert(value, argument.unit.symbol, unit)) for value in x]
    shown_y = [float(convert(value, made.inside, made.unit)) for value in y]
    here = x.index(present)
    title = argument.name.replace("_", " ")
    drawn = curve.Curve(
        x=shown_x, y=shown_y, x_name=_with_unit(title, unit), y_name=_with_unit(made.formula.title, made.unit),
        here=(shown_x[here], shown_y[here]), here_name=made.answer,
    )  # fmt: skip
    chosen = sorted({*(round(i) for i in np.linspace(0, len(x) - 1, ROWS)), here})
    rows = tuple((show(x[i], argument.unit.symbol, unit), _shown(made, y[i]), i == here) for i in chosen)
    picture = Markup(curve.svg(drawn) + curve.svg(drawn, narrow=True))  # noqa: S704 - the picture escapes its texts
    sentence = f"From {rows[0][0]} to {rows[-1][0]}; all other inputs stay as they are."
    return Plot(argument=argument, x=tuple(x), y=tuple(y), picture=picture, sentence=sentence, rows=rows)


def _points(low: float, high: float, present: float) -> list[float]:
    steps = np.geomspace(low, high, POINTS) if curve.spans_much([low, high]) else np.linspace(low, high, POINTS)
    return sorted({*(float(v) for v in steps[1:-1]), low, high, present})


def _result(made: Calculation, name: str, value: float) -> float:
    """Return the result with one input changed; NaN where the formula refuses it."""
    values: Mapping[str, Any] = {**made.values, name: value}
    try:
        with np.errstate(all="ignore"):
            found = float(made.formula.function(**values))
    except (ValueError, ZeroDivisionError, OverflowError, TypeError):
        return math.nan
    return found if math.isfinite(found) else math.nan


def _shown(made: Calculation, value: float) -> str:
    return show(value, made.inside, made.unit) if math.isfinite(value) else "no result"


def _with_unit(words: str, unit: str) -> str:
    return f"{words} [{label(unit)}]" if label(unit) else words

"""What does one formula give for what was typed? The same reading of fields for the command line and the page."""

import difflib
import importlib
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from weirhouse.quantity import QuantityError, convert, parse, parse_several, show
from weirhouse.science.quantities import Several
from weirhouse.working import Argument, Formula, Sheet, formulas, recording

_YES = {"yes": True, "y": True, "true": True, "1": True, "no": False, "n": False, "false": False, "0": False}
# Words people use for what the formulas call otherwise; common usage, no source.
_SYNONYMS = {
    "bleach": "hypochlorite chlorine feed",
    "hypo": "hypochlorite",
    "pac": "coagulant product dose",
    "pacl": "coagulant product dose",
    "alum": "coagulant aluminium dose",
    "pounds": "mass rate",
    "lb": "mass rate",
    "lbs": "mass rate",
    "loading": "overflow rate",
    "rise": "overflow rate",
    "retention": "detention",
    "residence": "detention residence",
    "mixing": "velocity gradient",
    "headloss": "head loss",
    "wash": "backwash",
    "stroke": "pump setting",
    "dial": "pump setting",
    "ct": "contact time ct",
    "friction": "head loss pipe",
    "uv": "absorbance",
}
_FILLERS = frozenset(re.findall(r"\w+", "a an the how much many what is of for to in do i my per and at my need"))


class CalculationError(ValueError):
    """What was typed cannot be worked out: one sentence that names the field and says what to mend."""

    def __init__(self, message: str, field: str = "") -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True, slots=True, kw_only=True)
class Calculation:
    """A formula worked out: the values that went in, in inside units, the result, and the working."""

    formula: Formula
    values: Mapping[str, Any]
    result: float
    unit: str  # display unit of the result
    sheet: Sheet

    @property
    def inside(self) -> str:
        """The inside unit of the result."""
        return self.formula.result.symbol

    @property
    def answer(self) -> str:
        """The result as people read it."""
        return show(self.result, self.inside, self.unit or self.inside)

    @property
    def displayed(self) -> float | None:
        """The result in its display unit; None where it is no finite number."""
        value = float(convert(self.result, self.inside, self.unit or self.inside))
        return value if math.isfinite(value) else None


def find(name: str) -> Formula:
    """Return a formula by its name; CalculationError with the nearest names when there is none."""
    known = formulas()
    wanted = re.sub(r"[\s-]+", "_", name.strip().lower())
    if wanted in known:
        return known[wanted]
    near = difflib.get_close_matches(wanted, known, n=3, cutoff=0.6) or [f.name for f in search(name)[:3]]
    hint = f" Nearest: {', '.join(near)}." if near else " See the list of formulas."
    raise CalculationError(f'There is no formula called "{name[:60]}".{hint}')


def search(words: str) -> list[Formula]:
    """Return the formulas that answer to the words people use, best first; all of them for no words."""
    asked = [w for w in re.findall(r"[a-z0-9]+", words.lower()) if w not in _FILLERS]
    if not asked:
        return list(formulas().values())
    wanted = [*asked, *(s for w in asked for s in _SYNONYMS.get(w, "").split())]
    ranked = sorted((-_rank(formula, wanted), formula.name) for formula in formulas().values())
    return [formulas()[name] for rank, name in ranked if rank < 0]


def _rank(formula: Formula, wanted: Sequence[str]) -> int:
    name = formula.name.split("_")
    title, text = formula.title.lower(), formula.doc.lower()
    return sum(
        8 * (word in name) + 4 * (word in title) + (word in text) + any(part.startswith(word) for part in name)
        for word in wanted
    )


def calculate(name: str, texts: Mapping[str, str], unit_set: str) -> Calculation:
    """Work out the formula `name` for the fields as typed: ``{"volume": "12000 gal", "flow": "150 gpm"}``.

    An empty field counts as not given. A choice is one of its words, yes or no for a yes-or-no; a list holds its
    numbers parted by blanks or semicolons, with the unit after the last or after each.

    Raises
    ------
    CalculationError
        In one sentence; `field` names the argument at fault, where there is one.

    Examples
    --------
    >>> calculate("detention_time", {"volume": "12000 gal", "flow": "150 gpm"}, "US").answer
    '80.0 min'
    """
    formula = find(name)
    given = {key.strip().replace("-", "_"): text for key, text in texts.items() if text.strip()}
    arguments = {a.name: a for a in formula.arguments}
    for key in given:
        if key not in arguments:
            near = difflib.get_close_matches(key, arguments, n=1)
            hint = f" Do you mean {near[0]}?" if near else ""
            raise CalculationError(
                f'{formula.name} takes no "{key[:40]}".{hint} It takes {", ".join(arguments)}.', field=key
            )
    missing = [a for a in arguments.values() if a.required and a.name not in given]
    if missing:
        raise CalculationError(f"{formula.name} needs {_wanted(missing, unit_set)}.", field=missing[0].name)
    values = {key: _value(arguments[key], text) for key, text in given.items()}
    with recording() as sheet:
        try:
            result = _call(formula, values)
        except (ValueError, ZeroDivisionError, OverflowError) as error:
            raise CalculationError(_refusal(formula, error)) from error
    unit = formula.result.display(unit_set)
    return Calculation(formula=formula, values=values, result=result, unit=unit, sheet=sheet)


def _call(formula: Formula, values: Mapping[str, Any]) -> float:
    module = importlib.import_module(formula.function.__module__)
    return float(getattr(module, formula.name)(**values))  # the worked one, which is recorded


def _refusal(formula: Formula, error: Exception) -> str:
    text = " ".join(str(error).split())
    if isinstance(error, ValueError) and text:
        return f"{formula.title}: {text}"
    return f"{formula.title}: these values have no answer. Look for a zero or a value far out of its range."


def _wanted(missing: Sequence[Argument], unit_set: str) -> str:
    return ", ".join(f"{a.name} (like {example(a, unit_set)})" for a in missing)


def example(argument: Argument, unit_set: str) -> str:
    """Return how an argument may be typed: ``"150 gpm"``, or its choices."""
    if argument.unit is None:
        words = ["yes", "no"] if set(argument.choices) == {True, False} else [str(c) for c in argument.choices]
        return " or ".join(words)
    unit = argument.unit
    there = unit.display(unit_set)
    if unit.low is None or unit.high is None:
        return f'"12 {there}"'
    middle = math.sqrt(unit.low * unit.high) if unit.low > 0 else (unit.low + unit.high) / 2
    written = show(float(convert(middle, unit.symbol, there)), there, None, 2)
    return f'"{written}"' if not isinstance(unit, Several) else f'"{written} {written}"'


def _value(argument: Argument, text: str) -> Any:
    """Return the inside value of one field."""
    name = argument.name
    if argument.unit is None:
        return _choice(argument, text)
    try:
        if isinstance(argument.unit, Several):
            return parse_several(text, argument.unit.symbol, name, any_unit=not argument.unit.us)
        return parse(text, argument.unit.symbol, name)
    except QuantityError as error:
        raise CalculationError(str(error), field=name) from error


def _choice(argument: Argument, text: str) -> Any:
    word = text.strip().lower()
    if set(argument.choices) == {True, False}:
        if word in _YES:
            return _YES[word]
        raise CalculationError(f'{argument.name}: "{text[:40]}" is neither yes nor no.', field=argument.name)
    for choice in argument.choices:
        if str(choice).lower() == word:
            return choice
    listed = ", ".join(str(c) for c in argument.choices)
    raise CalculationError(f'{argument.name}: "{text[:40]}" is none of {listed}.', field=argument.name)

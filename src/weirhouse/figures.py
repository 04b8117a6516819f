"""What does one formula give for what was typed? The same reading of fields for the command line and the page."""

import difflib
import importlib
import itertools
import math
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from weirhouse import sheets
from weirhouse.quantity import QuantityError, convert, parse, parse_several, show
from weirhouse.science.quantities import Several
from weirhouse.trade_words import FIELDS, MADE_FROM, NAMES, SYNONYMS
from weirhouse.working import Argument, Formula, Known, Sheet, formulas, recording

_YES = {"yes": True, "y": True, "true": True, "1": True, "no": False, "n": False, "false": False, "0": False}
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
    unknown: Argument | None = None  # the argument that was asked for, when it was one
    others: tuple[float, ...] = ()  # further values of it that give the same result, in its inside unit

    @property
    def inside(self) -> str:
        """The inside unit of the result."""
        return self.formula.result.symbol

    @property
    def answer(self) -> str:
        """The result as people read it."""
        return show(self.result, self.inside, self.unit or self.inside)

    def found(self, unit_set: str) -> list[tuple[str, str]]:
        """Return the argument that was asked for with each of its values as people read it; empty when none was."""
        if self.unknown is None or self.unknown.unit is None:
            return []
        unit = self.unknown.unit
        values = (self.values[self.unknown.name], *self.others)
        return [(self.unknown.name, show(v, unit.symbol, unit.display(unit_set))) for v in values]

    def substituted(self, unit_set: str) -> str:
        """Return the formula with its figures, as one would write it; empty where no expression holds it."""
        return sheets.written(self.sheet.lines[-1], unit_set).substituted

    @property
    def displayed(self) -> float | None:
        """The result in its display unit; None where it is no finite number."""
        value = float(convert(self.result, self.inside, self.unit or self.inside))
        return value if math.isfinite(value) else None


def find(name: str) -> Formula:
    """Return a formula by its name; CalculationError with the nearest names when there is none."""
    known = formulas()
    wanted = re.sub(r"[\s-]+", "_", name.strip().lower())
    wanted = wanted if wanted in known else NAMES.get(wanted, wanted)
    if wanted in known:
        return known[wanted]
    near = difflib.get_close_matches(wanted, known, n=3, cutoff=0.6) or [f.name for f in search(name)[:3]]
    hint = f" Nearest: {', '.join(near)}." if near else " See: weirhouse work --list"
    raise CalculationError(f'There is no formula called "{name[:60]}".{hint}')


def search(words: str) -> list[Formula]:
    """Return the formulas that answer to the words people use, best first; all of them for no words."""
    asked = [w for w in re.findall(r"[a-z0-9]+", words.lower()) if w not in _FILLERS]
    if not asked:
        return list(formulas().values())
    wanted = [*asked, *(s for w in asked for s in SYNONYMS.get(w, "").split())]
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
    if any(text.strip() == "?" for text in texts.values()):
        return _solve(formula, texts, unit_set)
    return _forward(formula, texts, unit_set)


def _key(text: str) -> str:
    return text.strip().replace("-", "_")


def _forward(formula: Formula, texts: Mapping[str, str], unit_set: str) -> Calculation:
    with recording() as sheet:
        values = _read(formula, texts, unit_set)
        try:
            result = float(_call(formula, values))
        except (ValueError, ZeroDivisionError, OverflowError) as error:
            raise CalculationError(_refusal(formula, error)) from error
    unit = formula.result.display(unit_set)
    return Calculation(formula=formula, values=values, result=result, unit=unit, sheet=sheet)


def _read(formula: Formula, texts: Mapping[str, str], unit_set: str, *, unknown: str = "") -> dict[str, Any]:
    """Return the inside values of the fields; `unknown` is left out."""
    arguments = {a.name: a for a in formula.arguments}
    left, made = _made(arguments, {_key(key): text for key, text in texts.items() if text.strip()}, unit_set)
    given = _named(arguments, left, made)
    for key in given:
        if key not in arguments:
            near = difflib.get_close_matches(key, arguments, n=1)
            hint = f" Do you mean {near[0]}?" if near else ""
            raise CalculationError(
                f'{formula.name} takes no "{key[:40]}".{hint} It takes {", ".join(arguments)}.', field=key
            )
    missing = [a for a in arguments.values() if a.required and a.name not in given | made and a.name != unknown]
    if missing:
        raise CalculationError(f"{formula.name} needs {_wanted(missing, unit_set)}.", field=missing[0].name)
    return {key: _value(arguments[key], text) for key, text in given.items()} | made


def _named(arguments: Mapping[str, Argument], texts: Mapping[str, str], made: Collection[str] = ()) -> dict[str, str]:
    """Return the texts under the formula's own names, where another name can only mean one of them."""
    given = {_key(key): text for key, text in texts.items() if text.strip()}
    named = {key: text for key, text in given.items() if key in arguments}
    for key, text in given.items():
        if key in arguments:
            continue
        free = [name for name in arguments if name not in named and name not in made]
        meant = _meant(key.lower(), free)
        if meant is None and key in ("specific_gravity", "sg") and "density" in free:
            meant, text = "density", f"{text} kg/L"
        named[key if meant is None else meant] = text
    return named


def _meant(key: str, free: Sequence[str]) -> str | None:
    """Return the one of the `free` names that `key` means: by use, or as more or fewer words of the same name."""
    by_use = [name for name in (key, *FIELDS.get(key, ())) if name in free]
    if by_use:
        return by_use[0]
    words = set(key.split("_"))
    alike = [name for name in free if words <= set(name.split("_")) or words >= set(name.split("_"))]
    return alike[0] if len(alike) == 1 else None


def _made(
    arguments: Mapping[str, Argument], given: Mapping[str, str], unit_set: str
) -> tuple[dict[str, str], dict[str, Any]]:
    """Return what is left of the texts, and the arguments worked out from others: an area from length and width."""
    left, made, used = dict(given), {}, set()
    for name, sources, maker in MADE_FROM:
        if name in left or name in made or name not in arguments or not arguments[name].required:
            continue
        keys = [next((key for key in left if key == s or s in FIELDS.get(key.lower(), ())), None) for s in sources]
        if None in keys or all(key in arguments for key in keys):
            continue
        texts = {source: left[key] for source, key in zip(sources, keys, strict=True) if key is not None}
        made[name] = _call(formulas()[maker], _read(formulas()[maker], texts, unit_set))
        used |= {key for key in keys if key not in arguments}
    return {key: text for key, text in left.items() if key not in used}, made


def _solve(formula: Formula, texts: Mapping[str, str], unit_set: str) -> Calculation:
    """Find the one argument written as "?" for which the formula gives the result that was typed."""
    typed = {_key(key): text.strip() for key, text in texts.items() if text.strip()}
    arguments = {a.name: a for a in formula.arguments}
    result_key = "result" if formula.name in arguments or "result" in typed else formula.name
    given = _named(arguments, {key: text for key, text in typed.items() if key != result_key})
    given |= {key: text for key, text in typed.items() if key == result_key}
    asked = [key for key, text in given.items() if text == "?"]
    if len(asked) != 1 or asked[0] not in arguments or result_key not in given:
        raise CalculationError(
            f'To find an argument, write "?" for just one of {", ".join(arguments)} and give the result as '
            f"{result_key}=..."
        )
    unknown = arguments[asked[0]]
    if (
        unknown.unit is None
        or isinstance(unknown.unit, Several)
        or unknown.unit.low is None
        or unknown.unit.high is None
    ):
        raise CalculationError(f"{unknown.name} is a choice or a list: it cannot be found.", field=unknown.name)
    try:
        target = parse(given.pop(result_key), formula.result.symbol, result_key)
    except QuantityError as error:
        raise CalculationError(str(error), field=result_key) from error
    del given[unknown.name]
    values = _read(formula, given, unit_set, unknown=unknown.name)
    roots = _roots(formula, values, unknown, target)
    if not roots:
        raise CalculationError(_no_root(formula, values, unknown, target, unit_set), field=unknown.name)
    with recording() as sheet:
        values = {**_read(formula, given, unit_set, unknown=unknown.name), unknown.name: roots[0]}
        result = float(_call(formula, values))
    return Calculation(
        formula=formula,
        values=values,
        result=result,
        unit=formula.result.display(unit_set),
        sheet=sheet,
        unknown=unknown,
        others=tuple(roots[1:]),
    )


def _grid(unknown: Argument) -> list[float]:
    """Return points over the argument's typical range: by factors where it spans more than a factor of twenty."""
    assert unknown.unit is not None and unknown.unit.low is not None and unknown.unit.high is not None
    low, high, count = unknown.unit.low, unknown.unit.high, 400
    shares = [i / count for i in range(count + 1)]
    if low > 0 and high > 20 * low:
        return [low * (high / low) ** share for share in shares]
    return [low + (high - low) * share for share in shares]


def _answers(formula: Formula, values: Mapping[str, Any], unknown: Argument) -> list[tuple[float, float]]:
    found = []
    for x in _grid(unknown):
        try:
            y = float(formula.function(**{**values, unknown.name: x}))
        except (ValueError, ZeroDivisionError, OverflowError):
            continue  # outside the formula's validity
        if math.isfinite(y):
            found.append((x, y))
    return found


def _roots(formula: Formula, values: Mapping[str, Any], unknown: Argument, target: float) -> list[float]:
    from scipy.optimize import brentq

    def miss(x: float) -> float:
        return float(formula.function(**{**values, unknown.name: x})) - target

    points = _answers(formula, values, unknown)
    size = max((abs(y) for _, y in points), default=0.0) or 1.0
    met = {i for i, (_, y) in enumerate(points) if y == target}
    # a table gives one result over a stretch: its two ends stand for it
    roots = [points[i][0] for i in sorted(met) if not {i - 1, i + 1} <= met]
    for (a, ya), (b, yb) in itertools.pairwise(points):
        if (ya - target) * (yb - target) < 0:
            try:
                root = float(brentq(miss, a, b, xtol=1e-300, rtol=1e-14))
            except ValueError:
                continue  # the formula refuses between the two
            if abs(miss(root)) <= 1e-6 * max(abs(target), 1e-9 * size):  # a jump over the target is no answer
                roots.append(root)
    return sorted(roots)


def _no_root(formula: Formula, values: Mapping[str, Any], unknown: Argument, target: float, unit_set: str) -> str:
    assert unknown.unit is not None and unknown.unit.low is not None and unknown.unit.high is not None
    there = unknown.unit.display(unit_set)
    span = " to ".join(show(v, unknown.unit.symbol, there) for v in (unknown.unit.low, unknown.unit.high))
    result = formula.result
    wanted = show(target, result.symbol, result.display(unit_set))
    points = _answers(formula, values, unknown)
    if not points:
        return f"{formula.title}: these values have no answer for any {unknown.name} from {span}."
    low, high = min(y for _, y in points), max(y for _, y in points)
    reach = " to ".join(show(v, result.symbol, result.display(unit_set)) for v in (low, high))
    return f"No {unknown.name} from {span} gives {wanted}; over that range the answer goes from {reach}."


def _call(formula: Formula, values: Mapping[str, Any]) -> float:
    module = importlib.import_module(formula.function.__module__)
    result = getattr(module, formula.name)(**values)  # the worked one, which is recorded
    return result if isinstance(result, Known) else float(result)


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
    if name == "percentile" and re.fullmatch(r"\s*[1-9]\d(\.\d+)?\s*", text):
        text = f"{text} percent"  # the 90th; as a share it could not be above 1
    try:
        if isinstance(argument.unit, Several):
            return parse_several(text, argument.unit.symbol, name, any_unit=not argument.unit.us)
        if argument.unit.symbol == "g/(m^3*NTU)" and "NTU" not in text.upper():
            return parse(text, "g/m^3", name)  # "1.5 mg/L": the name says to one NTU
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

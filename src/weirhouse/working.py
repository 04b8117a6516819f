"""How was it got? Formulas declared once, and the sheet of working that a calculation leaves behind.

``@worked`` turns a plain function into one that, inside ``with recording() as sheet``, writes down its name, its
expression, what went in with units and sources, and what came out. Outside a recording it is the plain function.
"""

import functools
import importlib
import inspect
import pkgutil
import typing
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal, ParamSpec

from weirhouse.quantity import convert

P = ParamSpec("P")


@dataclass(frozen=True, slots=True)
class Unit:
    """The inside unit of an argument or result, how people write it in each unit set, and its typical range.

    `low` and `high` are in the inside unit; they guide forms, plots and tests and are not limits of validity.
    """

    symbol: str
    us: str = ""
    si: str = ""
    low: float | None = None
    high: float | None = None

    def display(self, unit_set: str) -> str:
        """Return the unit shown in the set "US" or "SI"."""
        return (self.us if unit_set == "US" else self.si) or self.symbol


@dataclass(frozen=True, slots=True)
class Range:
    """A typical range that replaces its unit's own, in the inside unit: ``Annotated[Flow, Range(0, 1)]``."""

    low: float
    high: float


# --- where a number comes from -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Reading:
    """A measured value: which channel, by whom or what, and when (in the plant's time zone)."""

    title: str
    by: str
    taken_at: datetime
    detail: str = ""

    def __str__(self) -> str:
        by = f", {self.by}" if self.by else ""
        more = f" ({self.detail})" if self.detail else ""
        return f"{self.title}, read {self.taken_at:%Y-%m-%d %H:%M}{by}{more}"


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of the plant file, with its text as it was written."""

    path: str
    text: str

    def __str__(self) -> str:
        return f"plant file, {self.path} = {self.text}"


@dataclass(frozen=True, slots=True)
class Default:
    """A value taken because nothing better is known, with its reference."""

    text: str
    reference: str

    def __str__(self) -> str:
        return f"{self.text} [{self.reference}]"


@dataclass(frozen=True, slots=True)
class Result:
    """The result of a line on the same sheet."""

    line: "Line" = field(repr=False)

    def __str__(self) -> str:
        return f"from {self.line.formula.title.lower()}" + (f", line {self.line.number}" if self.line.number else "")


Source = Reading | Entry | Default | Result


class Known(float):
    """A float that carries its source. Arithmetic on it gives a plain float: only worked formulas keep the trail."""

    __slots__ = ("source", "unit")
    source: Source | None
    unit: str

    def __new__(cls, value: float, source: Source | None = None, unit: str = "") -> "Known":
        known = super().__new__(cls, value)
        known.source, known.unit = source, unit
        return known

    def __getnewargs__(self) -> tuple[float, Source | None, str]:  # type: ignore[override]  # float declares (float,)
        return float(self), self.source, self.unit


# --- what a formula declares -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Argument:
    """One argument of a formula as its signature declares it."""

    name: str
    unit: Unit | None
    choices: tuple[Any, ...] = ()
    default: Any = inspect.Parameter.empty

    @property
    def required(self) -> bool:
        """Whether the formula cannot be called without it."""
        return self.default is inspect.Parameter.empty


@dataclass(frozen=True)
class Formula:
    """A formula as declared: the only place from which command, form, reference page and test are made."""

    name: str
    title: str
    expression: str | None
    method: str | None
    reference: str
    function: Callable[..., Any]

    @functools.cached_property
    def _hints(self) -> dict[str, Any]:
        return typing.get_type_hints(self.function, include_extras=True)

    @functools.cached_property
    def arguments(self) -> tuple[Argument, ...]:
        """The arguments in order."""
        found = []
        for name, parameter in inspect.signature(self.function).parameters.items():
            unit, choices = _declared(self._hints[name])
            found.append(Argument(name, unit, choices, parameter.default))
        return tuple(found)

    @functools.cached_property
    def result(self) -> Unit:
        """The unit of the result."""
        unit, _ = _declared(self._hints["return"])
        if unit is None:
            raise TypeError(f"{self.name} does not declare the unit of its result")
        return unit

    @property
    def doc(self) -> str:
        """The docstring, cleaned."""
        return inspect.getdoc(self.function) or ""

    @property
    def summary(self) -> str:
        """The first sentence of the docstring, as one would say what the formula gives."""
        text = self.doc.split("\n", 1)[0].removeprefix("Return ")
        return text if text.startswith(("pH", "pK")) else f"{text[:1].upper()}{text[1:]}"


def _declared(hint: Any) -> tuple[Unit | None, tuple[Any, ...]]:
    """Return the Unit (with a Range laid over it) and the choices that an annotation declares."""
    if typing.get_origin(hint) is Literal:
        return None, typing.get_args(hint)
    if hint is bool:
        return None, (False, True)
    unit: Unit | None = None
    for item in getattr(hint, "__metadata__", ()):
        if isinstance(item, Unit):
            unit = item
        elif isinstance(item, Range) and unit is not None:
            unit = Unit(unit.symbol, unit.us, unit.si, item.low, item.high)
    return unit, ()


# --- what a recording keeps --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Input:
    """What went into a line: value in the inside unit and where it came from."""

    name: str
    value: Any
    source: Source | None


@dataclass(eq=False)
class Line:
    """One worked step, with the steps below it."""

    formula: Formula
    inputs: tuple[Input, ...]
    result: Any = None
    lines: list["Line"] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    number: str = ""


@dataclass(eq=False)
class Sheet:
    """The working of a calculation: its lines in order, and notes that belong to the whole."""

    lines: list[Line] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def text(self, unit_set: str) -> str:
        """Return the sheet as plain text in the plant's units."""
        from weirhouse import sheets

        return sheets.as_text(self, unit_set)

    def html(self, unit_set: str) -> str:
        """Return the sheet as HTML (escaped, no style attributes)."""
        from weirhouse import sheets

        return sheets.as_html(self, unit_set)

    def json(self, unit_set: str) -> dict[str, Any]:
        """Return the sheet as plain data."""
        from weirhouse import sheets

        return sheets.as_json(self, unit_set)


_current: ContextVar[Sheet | Line | None] = ContextVar("weirhouse_sheet", default=None)


@contextmanager
def recording() -> Iterator[Sheet]:
    """Keep the working of every formula called inside, on a new sheet.

    >>> from weirhouse.science.basins import detention_time
    >>> with recording() as sheet:
    ...     t = detention_time(volume=45.42, flow=0.009464)
    >>> sheet.lines[0].formula.title
    'Detention time'
    """
    sheet = Sheet()
    token = _current.set(sheet)
    try:
        yield sheet
    finally:
        _current.reset(token)


def note(text: str) -> None:
    """Write a remark on the line being worked (a table cell used, a limit of validity); nothing when nobody records."""
    holder = _current.get()
    if holder is not None and text not in holder.notes:
        holder.notes.append(text)


def _plain(value: Any) -> Any:
    return float(value) if isinstance(value, Known) else value


def _record(holder: Sheet | Line, formula: Formula, args: tuple[Any, ...], kwargs: Mapping[str, Any]) -> Any:
    names = [argument.name for argument in formula.arguments]
    given = dict(zip(names, args, strict=False)) | dict(kwargs)
    line = Line(
        formula,
        tuple(
            Input(a.name, _plain(given[a.name]), given[a.name].source if isinstance(given[a.name], Known) else None)
            if a.name in given
            else Input(a.name, a.default, Default("usual value, none was given", formula.title))
            for a in formula.arguments
            if a.name in given or not a.required
        ),
    )
    token = _current.set(line)
    try:
        result = formula.function(*(_plain(v) for v in args), **{k: _plain(v) for k, v in kwargs.items()})
    finally:
        _current.reset(token)
    line.result = result
    holder.lines.append(line)
    prefix = f"{holder.number}." if isinstance(holder, Line) and holder.number else ""
    _renumber(line, f"{prefix}{len(holder.lines)}")
    if isinstance(result, float) or (isinstance(result, int) and not isinstance(result, bool)):
        return Known(result, Result(line), formula.result.symbol)
    return result


def _renumber(line: Line, number: str) -> None:
    line.number = number
    for index, below in enumerate(line.lines, 1):
        _renumber(below, f"{number}.{index}")


def worked(
    title: str, *, expression: str | None = None, method: str | None = None, reference: str
) -> Callable[[Callable[P, Any]], Callable[P, Any]]:
    """Declare a formula; see the module's text.

    Exactly one of `expression` (ordinary arithmetic over the argument names, equal to the function) and `method` (a
    phrase for what no expression holds: a table, an iteration) is given. Every argument and the result are annotated
    with a `Unit`.
    """
    if (expression is None) == (method is None):
        raise TypeError(f"{title}: give either expression or method")

    def declare(function: Callable[P, Any]) -> Callable[P, Any]:
        formula = Formula(function.__name__, title, expression, method, reference, function)

        @functools.wraps(function)
        def call(*args: P.args, **kwargs: P.kwargs) -> Any:
            holder = _current.get()
            if holder is None:
                return function(*args, **kwargs)
            return _record(holder, formula, args, kwargs)

        call.formula = formula  # type: ignore[attr-defined]
        return call

    return declare


@functools.lru_cache(maxsize=1)
def formulas() -> dict[str, Formula]:
    """Return every formula of the science room by name, found from the package."""
    package = importlib.import_module("weirhouse.science")
    found: dict[str, Formula] = {}
    for module_info in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        module = importlib.import_module(module_info.name)
        for item in vars(module).values():
            formula = getattr(item, "formula", None)
            if not isinstance(formula, Formula) or formula.function.__module__ != module.__name__:
                continue
            if found.setdefault(formula.name, formula) is not formula:
                raise TypeError(f"two formulas are called {formula.name}")
    return dict(sorted(found.items()))


def inside(argument: Argument, value: float, unit_set: str) -> float:
    """Return a value typed in the set's display unit of `argument` in its inside unit."""
    if argument.unit is None:
        return value
    return float(convert(value, argument.unit.display(unit_set), argument.unit.symbol))

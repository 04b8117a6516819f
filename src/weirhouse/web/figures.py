"""Figures: every formula, searched in the words people use, and a form for each made from its signature."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from urllib.parse import urlencode

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from weirhouse import figures
from weirhouse.cautions import caution
from weirhouse.desk import plant_values
from weirhouse.figures import Calculation, CalculationError
from weirhouse.quantity import convert, fits, label, show, written
from weirhouse.records.model import RecordsError
from weirhouse.science.quantities import Several
from weirhouse.web import plots
from weirhouse.web.frame import Frame
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder
from weirhouse.working import Argument, Formula, formulas

MOST_TEXT = 4000  # characters in one field
RESULT = "result"  # name of the field that holds the answer when another one is looked for
FILL, PLOT = "fill", "plot"  # names in the address: fields are only filled in; the input the result is drawn against
UNIT = ".unit"  # of a field: volume, volume.unit
_EXPONENT, _LETTERS = re.compile(r"(?<=\d)[eE](?=[-+]?\d)"), re.compile(r"[A-Za-z%°µμ℃℉]")
# Units that people choose between; the ones that fit an argument are offered, its own first.
OFFERED = (
    "gal", "ft^3", "L", "m^3", "gpm", "gal/day", "MGD", "ft^3/s", "L/s", "m^3/h", "m^3/day", "gal/h", "mL/min",
    "ft", "in", "m", "cm", "mm", "um", "ft^2", "in^2", "m^2", "psi", "kPa", "ft/s", "m/s", "gpm/ft^2", "gal/day/ft^2",
    "m/h", "gpm/ft", "m^3/h/m", "s", "min", "h", "day", "mg/L", "ug/L", "lb/gal", "kg/L", "kg/m^3", "degF", "degC",
    "lb", "oz", "g", "kg", "lb/day", "lb/h", "kg/day", "g/h", "hp", "kW", "W", "mg*min/L", "1/cm", "1/m", "1/s",
    "1/min", "1/h", "1/day", "rpm", "ft/h", "uS/cm", "kWh", "mmol/L", "gal/ft^2", "m^3/m^2",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """A value of the plant that a field could take."""

    number: str
    unit: str
    shown: str
    source: str
    link: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """A field of a formula's form."""

    name: str
    title: str
    hint: str
    value: str
    choices: tuple[tuple[str, str], ...] = ()  # instead of a text: value, words
    units: tuple[tuple[str, str], ...] = ()  # to choose: unit, its label
    unit: str = ""
    several: bool = False
    required: bool = True
    wrong: bool = False
    source: str = ""  # of the plant's value that stands in it
    offers: tuple[Offer, ...] = ()  # the plant's values that could


@dataclass(frozen=True, slots=True, kw_only=True)
class Chapter:
    """Formulas of one subject."""

    title: str
    formulas: tuple[Formula, ...]


def _frame(folder: PlantFolder, title: str) -> Frame:
    plant = folder.plant()
    return Frame(
        plant=plant.name, system_id=plant.system_id, place="figures", title=title, at=folder.present(),
        zone=plant.zone, demo=plant.demo,
    )  # fmt: skip


def _subject(formula: Formula) -> str:
    return formula.function.__module__.rpartition(".")[2].replace("_", " ").capitalize()


def list_page(folder: PlantFolder, request: Request) -> Response:
    """Answer with the formulas that answer to the words asked for, best first; by subject when none are."""
    words = request.query_params.get("q", "").strip()[:200]
    found = figures.search(words)
    chapters: list[Chapter] = []
    if not words:
        subjects = sorted({_subject(formula) for formula in found})
        chapters = [
            Chapter(
                title=subject,
                formulas=tuple(sorted((f for f in found if _subject(f) == subject), key=lambda f: f.title)),
            )
            for subject in subjects
        ]
    return page(request, "figures.html", {
        "frame": _frame(folder, "Figures"), "words": words, "found": found if words else [], "chapters": chapters,
        "count": len(formulas()), "subject": _subject,
    })  # fmt: skip


def formula_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with a formula's form; with its working when the fields were filled in."""
    name = request.path_params["name"]
    formula = formulas().get(name)
    if formula is None:
        try:
            formula = figures.find(name)
        except CalculationError:
            return None
        return RedirectResponse(f"/figures/{formula.name}", 308)
    query = request.query_params
    unit_set = query.get("units", folder.plant().unit_set)
    unit_set = unit_set if unit_set in ("US", "SI") else "US"
    typed = {key: text[:MOST_TEXT] for key, text in query.items()}
    made, problem, at_fault = (None, "", "") if typed.get(FILL) else _worked_out(formula, typed, unit_set)
    offered = offers(folder, formula, typed, unit_set)
    fields = [_offering(form_field(a, typed, unit_set, at_fault), offered[a.name], typed) for a in formula.arguments]
    inputs = plots.plottable(made) if made is not None else []
    against = typed.get(PLOT, "")
    against = against if against in {a.name for a in inputs} else next((a.name for a in inputs), "")
    sheet = Markup(made.sheet.html(unit_set)) if made is not None else None  # noqa: S704 - escaped by the sheet
    result = formula.result
    asks = any(text.strip() == "?" for text in typed.values())
    return page(request, "formula.html", {
        "frame": _frame(folder, formula.title), "formula": formula, "fields": fields, "made": made, "sheet": sheet,
        "found": [(k.replace("_", " "), v) for k, v in made.found(unit_set)] if made is not None else [],
        "substituted": made.substituted(unit_set) if made is not None else "",
        "problem": problem, "unit_set": unit_set, "subject": _subject(formula), "asks": asks,
        "result": Field(
            name=RESULT, title="Result", hint="Only when you look for one of the fields above: write ? there and the "
            "result you want here.", value=typed.get(RESULT, ""), required=False, wrong=at_fault == RESULT,
            units=units_for(result.symbol, result.display(unit_set)),
            unit=typed.get(RESULT + UNIT, result.display(unit_set)),
        ),
        "plot": plots.plot(made, against, unit_set) if made is not None and against else None,
        "against": [
            (a.name.replace("_", " "), _address(formula, {**typed, PLOT: a.name}) + "#curve", a.name == against)
            for a in inputs
        ],
        "fill": _fill_link(formula, offered, typed),
        "doc": _doc(formula), "caution": caution(formula),
    }, 422 if problem else 200)  # fmt: skip


def offers(
    folder: PlantFolder, formula: Formula, typed: Mapping[str, str], unit_set: str
) -> dict[str, tuple[Offer, ...]]:
    """Return for each argument the plant's values that it could take, with the link that writes one into its field."""
    none: dict[str, tuple[Offer, ...]] = {a.name: () for a in formula.arguments}
    if not plant_values.any_rule(formula):
        return none
    try:
        situation = folder.standing().situation
    except (RecordsError, OSError):  # records that cannot be read: the formulas still work
        return none
    for argument in formula.arguments:
        found = []
        for value in plant_values.candidates(formula, argument, situation):
            assert argument.unit is not None
            unit = argument.unit.display(unit_set)
            number = plain(float(convert(float(value), argument.unit.symbol, unit)))
            link = _address(formula, {**typed, argument.name: number, argument.name + UNIT: unit, FILL: "yes"})
            shown = f"{number} {label(unit)}".strip()
            found.append(Offer(number=number, unit=unit, shown=shown, source=str(value.source), link=link))
        none[argument.name] = tuple(found)
    return none


def plain(value: float) -> str:
    """Return a number as one types it, to five digits: without exponent and without zeros at its end.

    >>> plain(120000.0), plain(140.00001), plain(0.00012345678)
    ('120000', '140', '0.00012346')
    """
    text = format(Decimal(f"{value:.5g}"), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _offering(shown: Field, offered: tuple[Offer, ...], typed: Mapping[str, str]) -> Field:
    """Return a field with its offers; where one of them stands in it, with its source instead."""
    for offer in offered:
        if typed.get(shown.name, "").strip() == offer.number and shown.unit == offer.unit:
            return replace(shown, source=offer.source)
    return replace(shown, offers=offered)


def _fill_link(formula: Formula, offered: Mapping[str, tuple[Offer, ...]], typed: Mapping[str, str]) -> str:
    """Return the link that fills every empty field for which the plant has just one value; empty when none is."""
    filled: dict[str, str] = {}
    for name, some in offered.items():
        if len(some) == 1 and not typed.get(name, "").strip():
            filled |= {name: some[0].number, name + UNIT: some[0].unit}
    return _address(formula, {**typed, **filled, FILL: "yes"}) if filled else ""


def _address(formula: Formula, query: Mapping[str, str]) -> str:
    """Return the address of the form with its fields; filled in only, or worked out."""
    dropped = "work" if query.get(FILL) else FILL
    return f"/figures/{formula.name}?{urlencode({k: v for k, v in query.items() if v and k != dropped})}"


def _doc(formula: Formula) -> list[tuple[str, str]]:
    """Return what the docstring says of each argument: name, text."""
    found = []
    wanted = {a.name for a in formula.arguments}
    for line in formula.doc.splitlines():
        name, colon, text = line.strip().partition(" : ")
        if colon and name in wanted:
            found.append((name, text.partition(" [")[0]))
    return found


def _worked_out(formula: Formula, typed: Mapping[str, str], unit_set: str) -> tuple[Calculation | None, str, str]:
    """Return the calculation, or what is wrong and where; nothing at all when nothing was filled in."""
    texts = {a.name: with_unit(a, typed) for a in formula.arguments}
    if not any(text.strip() for text in texts.values()) and not typed.get("work"):
        return None, "", ""
    if typed.get(RESULT, "").strip() and any(text.strip() == "?" for text in texts.values()):
        texts[RESULT] = _joined(typed[RESULT], typed.get(RESULT + UNIT, formula.result.display(unit_set)))
    try:
        return figures.calculate(formula.name, texts, unit_set), "", ""
    except CalculationError as error:
        return None, str(error), error.field


def with_unit(argument: Argument, typed: Mapping[str, str]) -> str:
    """Return a field with the unit chosen beside it, unless one was typed in the field itself."""
    text = typed.get(argument.name, "")
    unit = typed.get(argument.name + UNIT, "")
    if argument.unit is None or not text.strip() or text.strip() == "?" or not unit:
        return text
    return _joined(text, unit)


def _joined(text: str, unit: str) -> str:
    """Return a text with a unit behind it, unless it names one itself; an exponent (1e3) is no unit."""
    if unit in ("", "1", "pH") or _LETTERS.search(_EXPONENT.sub("", text)):
        return text
    return f"{text.strip()} {unit}"


def form_field(argument: Argument, typed: Mapping[str, str], unit_set: str, at_fault: str) -> Field:
    """Return the field of an argument with what was typed in it."""
    name, unit = argument.name, argument.unit
    title = name.replace("_", " ")
    value = typed.get(name, "")
    more = "" if argument.required else f" {_default_text(argument, unit_set)}"
    if unit is None:
        return Field(
            name=name, title=title, hint=more.strip(), value=value or _choice_text(argument.default),
            choices=tuple((_choice_text(c), _choice_words(c)) for c in argument.choices), required=argument.required,
            wrong=at_fault == name,
        )  # fmt: skip
    display = unit.display(unit_set)
    several = isinstance(unit, Several)
    return Field(
        name=name, title=title, value=value, hint=(_usual(argument, unit_set, several) + more).strip(),
        units=units_for(unit.symbol, display), unit=typed.get(name + UNIT, display), several=several,
        required=argument.required, wrong=at_fault == name,
    )  # fmt: skip


def _choice_text(choice: object) -> str:
    if isinstance(choice, bool):
        return "yes" if choice else "no"
    return choice if isinstance(choice, str) else ""


def _choice_words(choice: object) -> str:
    return _choice_text(choice).replace("_", " ")


def _default_text(argument: Argument, unit_set: str) -> str:
    if argument.default is None:
        return "May be left empty."
    if argument.unit is None or not isinstance(argument.default, int | float):
        return f"Left empty: {_choice_words(argument.default) or argument.default}."
    shown = show(float(argument.default), argument.unit.symbol, argument.unit.display(unit_set))
    return f"Left empty: {shown}."


def _usual(argument: Argument, unit_set: str, several: bool) -> str:
    unit = argument.unit
    assert unit is not None
    kind = "Several numbers, parted by blanks. " if several else ""
    if unit.low is None or unit.high is None or unit.low == unit.high:
        return kind
    there = unit.display(unit_set)
    ends = (float(f"{float(convert(end, unit.symbol, there)):.1e}") for end in (unit.low, unit.high))
    low, high = (written(end, there) for end in ends)
    return f"{kind}Usually {low} to {high}."


@lru_cache(maxsize=256)
def units_for(symbol: str, display: str) -> tuple[tuple[str, str], ...]:
    """Return the units that can be chosen for an inside unit, the displayed one first."""
    if symbol == "1" and display in ("percent", "%"):
        return (("percent", "%"), ("1", "as a fraction"))
    if symbol in ("1", "pH", "log", "NTU"):
        return ((display, label(display)),) if label(display) else ()
    found = [display, *(unit for unit in OFFERED if unit != display and fits(unit, symbol))]
    if symbol not in found and fits(symbol, symbol) and len(found) < 2:
        found.append(symbol)
    return tuple((unit, label(unit)) for unit in found)

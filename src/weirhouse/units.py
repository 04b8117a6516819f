"""How much is one unit of another, exactly? Spellings people use, a registry of exact fractions, a table of factors.

The registry (``units.txt``, read by pint) holds exact fractions. Reading it takes half a second, so that the factors in
daily use stand ready in ``factors.json``; ``tools/unit_factors.py`` writes it and a test holds it to the registry.
"""

import json
import re
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from tokenize import TokenError
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pint

FACTORS = Path(__file__).with_name("factors.json")


class QuantityError(ValueError):
    """A quantity that cannot be understood; the message names the field and gives an example."""


# The spellings people write, in the registry's words. Case matters where the trade's does (MGD, mgd; C, F).
_SPELLINGS = {
    "gpm": "gallon/minute",
    "gph": "gallon/hour",
    "gpd": "gallon/day",
    "mgd": "million_gallon/day",
    "MGD": "million_gallon/day",
    "MG": "million_gallon",
    "MGal": "million_gallon",
    "kgal": "thousand_gallon",
    "cfs": "foot**3/second",
    "cfm": "foot**3/minute",
    "gal": "gallon",
    "gals": "gallon",
    "gallons": "gallon",
    "impgal": "imperial_gallon",
    "floz": "fluid_ounce",
    "qt": "quart",
    "acft": "acre_foot",
    "acres": "acre",
    "ha": "hectare",
    "feet": "foot",
    "in": "inch",
    "inches": "inch",
    "yd": "yard",
    "mi": "mile",
    "micron": "micrometer",
    "microns": "micrometer",
    "µm": "micrometer",
    "μm": "micrometer",
    "meters": "meter",
    "metre": "meter",
    "metres": "meter",
    "l": "liter",
    "ml": "milliliter",
    "liters": "liter",
    "litre": "liter",
    "litres": "liter",
    "lb": "pound",
    "lbs": "pound",
    "pounds": "pound",
    "lbf": "pound_force",
    "oz": "ounce",
    "ton": "ton_us",
    "tons": "ton_us",
    "t": "tonne",
    "gr": "grain",
    "sec": "second",
    "secs": "second",
    "seconds": "second",
    "mins": "minute",
    "minutes": "minute",
    "hr": "hour",
    "hrs": "hour",
    "hours": "hour",
    "days": "day",
    "weeks": "week",
    "wk": "week",
    "months": "month",
    "years": "year",
    "yr": "year",
    "C": "degC",
    "°C": "degC",
    "℃": "degC",
    "Celsius": "degC",
    "celsius": "degC",
    "F": "degF",
    "°F": "degF",
    "℉": "degF",
    "Fahrenheit": "degF",
    "%": "percent",
    "pct": "percent",
    "ppm": "milligram/liter",
    "ppb": "microgram/liter",
    "NTU": "ntu",
    "FNU": "ntu",
    "FTU": "ntu",
    "NTRU": "ntu",
    "pH": "ph_unit",
    "log": "log_unit",
    "logs": "log_unit",
    "CU": "color_unit",
    "PCU": "color_unit",
    "PtCo": "color_unit",
    "rpm": "revolution/minute",
    "rev": "revolution",
    "hp": "horsepower",
    "Btu": "btu",
    "BTU": "btu",
    "cal": "calorie",
    "kcal": "kilocalorie",
    "kWh": "kilowatt*hour",
    "Wh": "watt*hour",
    "atm": "atmosphere",
    "mbar": "millibar",
    "cP": "centipoise",
    "P": "poise",
    "MPN": "organism",
    "CFU": "organism",
    "cfu": "organism",
    "M": "mole/liter",
    "person": "one",
    "persons": "one",
    "people": "one",
    "ratio": "one",
    "fraction": "one",
    "dimensionless": "one",
    "times": "one",
}

# What the registry's reader raises on text that is no unit at all; pint's own errors derive from these.
_NO_UNIT = (ValueError, TypeError, AttributeError, SyntaxError, AssertionError, ArithmeticError, KeyError, TokenError)

_WORD = re.compile(r"(?:deg(?:ree)?s?\s*)?[A-Za-zµμ°℃℉%]+(?:_[a-z]+)*")


@lru_cache(maxsize=1)
def _registry() -> "pint.UnitRegistry[Any]":
    import pint

    registry: pint.UnitRegistry[Any] = pint.UnitRegistry(None, non_int_type=Fraction)
    registry.load_definitions(Path(__file__).with_name("units.txt"))
    return registry


def _defined(word: str) -> bool:
    """Return whether the registry knows `word` as a unit."""
    try:
        return word in _registry()
    except _NO_UNIT:  # "nan" and the like are numbers to its reader
        return False


def _spell(unit: str) -> str:
    """Return `unit` in the registry's grammar: words replaced, ft2 as foot**2, blanks as products."""
    text = unit.strip()
    if (
        len(text) > 60
        or re.search(r"\d{5}|[\^*]\s*-?\d{2}|\d\s*(?:\^|\*\*)", text)
        or text.count("(") != text.count(")")
    ):
        raise QuantityError(text)  # no unit is written like that, and a huge power would take for ever
    text = re.sub(r"\s+as\s+[A-Za-z][\w()]*$", "", text)  # "mg/L as CaCO3": the basis is the argument's, not the unit's
    text = text.replace("·", "*").replace("×", "*").replace("−", "-").replace("²", "2").replace("³", "3")
    text = text.replace("µ", "u").replace("μ", "u")
    text = text.replace("^", "**").replace("⁻¹", "**-1")
    text = re.sub(r"\bdeg(?:rees?)?[ _]*([CF])\b", r"\1", text)
    text = re.sub(r"\bfl\.?\s*oz\b", "floz", text)
    text = re.sub(r"\b(?:imp\.?|imperial)\s*gal\w*", "impgal", text)
    text = re.sub(r"\bac(?:re)?-?\s*-?f(?:ee|oo)?t\b", "acft", text)
    text = re.sub(r"\bPt-?Co\b", "PtCo", text)
    text = re.sub(r"\bper\b", "/", text)
    text = re.sub(r"\bsq\.?\s*(ft|in|m)\b", r"\g<1>2", text)
    text = re.sub(r"\bcu\.?\s*(ft|in|m)\b", r"\g<1>3", text)
    text = re.sub(r"([A-Za-z])(?:\*\*)?-([123])\b", r"\1**-\2", text)
    text = re.sub(r"(?<=[A-Za-z])([23])\b", r"**\1", text)
    text = re.sub(r"^\s*/", "1/", text)
    text = re.sub(r"/\s*100\s*m[lL]\b", "/hundred_milliliter", text)  # organisms are counted in 100 mL
    compound = re.search(r"[/*\s]", text.strip()) is not None

    def word(match: re.Match[str]) -> str:
        found = match.group(0)
        known = _SPELLINGS.get(found)
        if known is None and not _defined(found):
            lower = found.lower()
            known = _SPELLINGS.get(lower) or (lower if _defined(lower) else None)
            if known is None:
                raise QuantityError(found)
        known = known or found
        if compound and known in ("degC", "degF"):
            known = "kelvin" if known == "degC" else "degF_difference"  # in W/(m·degC) a degree is a difference
        return f"({known})" if "/" in known or "*" in known else known

    text = _WORD.sub(word, text)
    return re.sub(r"(?<=[\w)])\s+(?=[\w(])", "*", text)


@lru_cache(maxsize=1)
def _table() -> dict[str, dict[str, list[int] | None]]:
    try:
        table: dict[str, dict[str, list[int] | None]] = json.loads(FACTORS.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    return table


@lru_cache(maxsize=4096)
def linear(from_unit: str, to_unit: str) -> tuple[Fraction, Fraction]:
    """Return exact (scale, shift) with ``to = (from + shift) * scale``.

    Raises QuantityError when a unit is unknown or the two do not measure the same thing.

    >>> linear("degF", "degC")
    (Fraction(5, 9), Fraction(-32, 1))
    """
    ready = _table().get(from_unit, {})
    if to_unit not in ready:
        return linear_by_registry(from_unit, to_unit)
    found = ready[to_unit]
    if found is None:
        raise QuantityError(f"{from_unit} does not fit {to_unit}")
    return Fraction(found[0], found[1]), Fraction(found[2], found[3])


def linear_by_registry(from_unit: str, to_unit: str) -> tuple[Fraction, Fraction]:
    """Return what `linear` does, worked out by the registry."""
    if from_unit == to_unit:
        return Fraction(1), Fraction(0)
    if to_unit == "1" and from_unit in ("ppm", "ppb"):
        return Fraction(1, 10**6 if from_unit == "ppm" else 10**9), Fraction(0)
    registry = _registry()
    from pint.errors import DimensionalityError, UndefinedUnitError

    # degrees by hand: pint's offsets are rounded decimals, and 0 degC must come out as exactly 32 degF
    degrees = {
        "degC": (Fraction(1), Fraction(0)),
        "degF": (Fraction(5, 9), Fraction(-32)),
        "kelvin": (Fraction(1), Fraction(-27315, 100)),
    }
    degrees["K"] = degrees["kelvin"]
    source, target = _spell(from_unit), _spell(to_unit)
    if source in degrees and target in degrees:
        (a, b), (c, d) = degrees[source], degrees[target]
        return a / c, b - d * c / a
    try:
        here, there = registry.Quantity(Fraction(1), source), registry.Quantity(Fraction(1), target)
        scale = Fraction((here / there).to_base_units().to("").magnitude)
    except (DimensionalityError, UndefinedUnitError) as error:
        if "pound" in source and "pound_force" not in source:  # "lb s/ft2" and "lb/in2" mean pounds of force
            return linear_by_registry(re.sub(r"\b(?:lbs?|pounds?)\b", "lbf", from_unit), to_unit)
        raise QuantityError(f"{from_unit} does not fit {to_unit}") from error
    except _NO_UNIT as error:
        raise QuantityError(from_unit) from error
    return scale, Fraction(0)


def known(unit: str) -> bool:
    """Return whether `unit` is a unit known here, whatever it measures.

    >>> known("gpm"), known("uS/cm"), known("flurbs")
    (True, True, False)
    """
    if unit in _table():
        return True
    try:
        _registry().parse_units(_spell(unit))
    except _NO_UNIT:
        return False
    return True

"""What unit? Text with units to the units used inside, and back. Nothing else in the code converts.

Inside, everything is SI with five exceptions that the trade would not recognise otherwise: temperature in degC,
concentration in g/m^3 (numerically mg/L), contact time CT in g*s/m^3, turbidity in NTU and pH in pH units.
The registry (``units.txt``) holds exact fractions, so that 32 degF is exactly 0 degC.
"""

import math
import re
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from tokenize import TokenError
from typing import Any

import pint

UNIT_SETS = ("US", "SI")


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

_EXAMPLES = {
    "m": "4 ft 6 in",
    "m^2": "200 ft2",
    "m^3": "12,000 gal",
    "m^3/s": "150 gpm",
    "m/s": "2 gpm/ft2",
    "s": "45 min",
    "1/s": "60 1/s",
    "degC": "50 degF",
    "g/m^3": "22 mg/L",
    "g*s/m^3": "40 mg min/L",
    "kg": "50 lb",
    "kg/s": "35 lb/day",
    "kg/m^3": "1.36 kg/L",
    "Pa": "60 psi",
    "Pa*s": "1.3 mPa s",
    "W": "0.5 hp",
    "1": "18 percent",
    "NTU": "3.2 NTU",
    "pH": "7.4",
    "log": "2.5 log",
    "1/m": "0.12 1/cm",
}

# What the registry's reader raises on text that is no unit at all.
_NO_UNIT = (ValueError, TypeError, AttributeError, SyntaxError, AssertionError, ArithmeticError, KeyError, TokenError)

_NUMBER = re.compile(
    r"""\s*(?P<sign>[-+−]?)\s*
    (?:(?P<whole>\d+)\s+(?P<num>\d+)/(?P<den>\d+)
      |(?P<num2>\d+)/(?P<den2>\d+)
      |(?P<dec>(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d*)?|\.\d+)(?P<exp>[eE][-+]?\d+)?)""",
    re.VERBOSE | re.ASCII,
)
_WORD = re.compile(r"(?:deg(?:ree)?s?\s*)?[A-Za-zµμ°℃℉%]+(?:_[a-z]+)*")


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[Any]:
    registry: pint.UnitRegistry[Any] = pint.UnitRegistry(None, non_int_type=Fraction)
    registry.load_definitions(Path(__file__).with_name("units.txt"))
    return registry


def _defined(word: str) -> bool:
    """Return whether the registry knows `word` as a unit."""
    try:
        return word in _registry()
    except (*_NO_UNIT, pint.errors.PintError):  # "nan" and the like are numbers to its reader
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


@lru_cache(maxsize=4096)
def _linear(from_unit: str, to_unit: str) -> tuple[Fraction, Fraction]:
    """Return exact (scale, shift) with ``to = (from + shift) * scale``.

    Raises QuantityError when a unit is unknown or the two do not measure the same thing.
    """
    if from_unit == to_unit:
        return Fraction(1), Fraction(0)
    if to_unit == "1" and from_unit in ("ppm", "ppb"):
        return Fraction(1, 10**6 if from_unit == "ppm" else 10**9), Fraction(0)
    registry = _registry()
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
    except (pint.errors.DimensionalityError, pint.errors.UndefinedUnitError) as error:
        if "pound" in source and "pound_force" not in source:  # "lb s/ft2" and "lb/in2" mean pounds of force
            return _linear(re.sub(r"\b(?:lbs?|pounds?)\b", "lbf", from_unit), to_unit)
        raise QuantityError(f"{from_unit} does not fit {to_unit}") from error
    except (*_NO_UNIT, pint.errors.PintError) as error:
        raise QuantityError(from_unit) from error
    return scale, Fraction(0)


def convert(value: Any, from_unit: str, to_unit: str) -> Any:
    """Return `value` (scalar or array) of `from_unit` in `to_unit`; QuantityError when they do not fit."""
    scale, shift = _linear(from_unit, to_unit)
    if scale == 1 and shift == 0:
        return value
    number = value + float(shift) if shift else value
    # one rounding instead of two where the scale is a ratio of small integers: 41 degF is exactly 5 degC
    if scale.denominator != 1 and scale.numerator < 2**53 and scale.denominator < 2**53:
        return number * float(scale.numerator) / float(scale.denominator)
    return number * float(scale)


def factor(from_unit: str, to_unit: str) -> float:
    """Return how many `to_unit` one `from_unit` is; QuantityError for degrees with different zeros."""
    scale, shift = _linear(from_unit, to_unit)
    if shift:
        raise QuantityError(f"{from_unit} and {to_unit} have different zeros: a factor alone does not convert them")
    return float(scale)


def fits(from_unit: str, to_unit: str) -> bool:
    """Return whether `from_unit` is a known unit that measures what `to_unit` measures."""
    try:
        _linear(from_unit, to_unit)
    except QuantityError:
        return False
    return True


def known(unit: str) -> bool:
    """Return whether `unit` is a unit known here, whatever it measures.

    >>> known("gpm"), known("uS/cm"), known("flurbs")
    (True, True, False)
    """
    try:
        _registry().parse_units(_spell(unit))
    except (*_NO_UNIT, pint.errors.PintError):
        return False
    return True


def _example(unit: str) -> str:
    return _EXAMPLES.get(unit, f"12 {unit}")


def _exact(match: re.Match[str]) -> Fraction:
    found = match.groupdict()
    if found["whole"] is not None:
        number = Fraction(int(found["whole"])) + Fraction(int(found["num"]), int(found["den"]))
    elif found["num2"] is not None:
        number = Fraction(int(found["num2"]), int(found["den2"]))
    else:
        exponent = found["exp"] or ""
        if len(exponent) > 5 or len(found["dec"]) > 40:
            raise OverflowError
        number = Fraction(found["dec"].replace(",", "") + exponent)
    return -number if found["sign"] in ("-", "−") else number


def parse(text: str, unit: str, field: str = "value") -> float:
    """Return the quantity that `text` writes, in `unit`.

    Understands ``"150 gpm"``, ``"4 ft 6 in"``, ``"1.2 MGD"``, ``"1,200 gal"``, ``"3/8 in"``, ``"18 percent"``. A bare
    number is taken only for plain numbers, pH and logs; everything else needs its unit.

    Raises
    ------
    QuantityError
        In one sentence that names `field`, quotes the text, and gives an example.

    Examples
    --------
    >>> round(parse("150 gpm", "m^3/s"), 6)
    0.009464
    >>> parse("32 degF", "degC")
    0.0
    >>> parse("4 ft 6 in", "m")
    1.3716
    """
    example = f'Write it like "{_example(unit)}".'
    if not isinstance(text, str):
        raise QuantityError(f"{field}: {text!r} is not text with a unit. {example}")
    quoted = text if len(text) <= 60 else text[:57] + "..."
    rest, total, parts, previous = text.strip(), Fraction(0), 0, Fraction(0)
    if not rest:
        raise QuantityError(f"{field} is empty. {example}")
    if re.search(r"\d,\d{1,2}(?!\d)|\d,\d{4,}", rest):
        raise QuantityError(
            f'{field}: "{quoted}" has a comma that does not part thousands. Use a point for decimals. {example}'
        )
    negative = rest[0] in "-−"
    while rest:
        match = _NUMBER.match(rest)
        if not match:
            raise QuantityError(f'{field}: "{quoted}" is not a number with a unit. {example}')
        try:
            number = _exact(match)
        except (ZeroDivisionError, OverflowError):
            raise QuantityError(f'{field}: "{quoted}" is not a usable number. {example}') from None
        tail = rest[match.end() :]
        # a unit runs up to the next number that follows a blank: "4 ft 6 in"
        cut = re.search(r"(?<=[A-Za-z\"'])\s+(?=\d)", tail)
        word, rest = (tail[: cut.start()], tail[cut.end() :]) if cut else (tail, "")
        word = word.strip()
        if word in ("'", '"') and fits("ft", unit):
            word = "ft" if word == "'" else "in"
        if not word:
            if unit not in ("1", "pH", "log"):
                raise QuantityError(f'{field}: "{quoted}" has no unit. {example}')
            scale, shift = Fraction(1), Fraction(0)
        else:
            try:
                scale, shift = _linear(word, unit)
            except QuantityError as error:
                known = "does not fit" in str(error)
                what = f'"{word}" does not measure this' if known else f'"{word}" is not a unit known here'
                raise QuantityError(f'{field}: "{quoted}": {what}. {example}') from None
        if parts and (shift or scale >= previous):
            raise QuantityError(f'{field}: "{quoted}" reads as two quantities. {example}')
        previous = scale
        value = (number + shift) * scale
        total += -abs(value) if parts and negative else value
        parts += 1
    try:
        result = float(total)
    except OverflowError:
        result = math.inf
    if not math.isfinite(result):
        raise QuantityError(f'{field}: "{quoted}" is not a usable number. {example}')
    return result


def parse_several(text: str, unit: str, field: str = "value", *, any_unit: bool = False) -> list[float]:
    """Return the quantities that `text` writes, in `unit`: ``"10 25 50 percent"``, ``"2.1 mL/min; 5 mL/min"``.

    Numbers are parted by blanks, semicolons or a comma with a blank; a number without unit has that of the next one
    that has one. With `any_unit` the numbers stay as written, in whatever one unit they share.

    Raises
    ------
    QuantityError
        As `parse` does.

    Examples
    --------
    >>> parse_several("10 25 50 percent", "1")
    [0.1, 0.25, 0.5]
    >>> parse_several("48, 72, 76, 53 ug/L", "1", any_unit=True)
    [48.0, 72.0, 76.0, 53.0]
    """
    parts = [part for part in re.split(r"\s*;\s*|,\s+|\s+(?=[-+.\d])", text.strip()) if part]
    if not parts:
        raise QuantityError(f'{field} is empty. Write its values like "3 5 8 {label(unit)}".')
    words = [unit_of(part) for part in parts]
    following = ""
    for index in reversed(range(len(parts))):
        if words[index]:
            following = words[index]
        elif following:
            parts[index] = f"{parts[index]} {following}"
            words[index] = following
    if not any_unit:
        return [parse(part, unit, field) for part in parts]
    if len(set(words)) > 1:
        raise QuantityError(f"{field}: the values are in several units ({', '.join(sorted(set(words)))}). Use one.")
    return [parse(part.removesuffix(words[index]), "1", field) for index, part in enumerate(parts)]


def unit_of(text: str) -> str:
    """Return the unit part of a quantity as it was written: ``"150 gpm"`` gives ``"gpm"``."""
    match = _NUMBER.match(text)
    return text[match.end() :].strip() if match else ""


def figure(value: float, digits: int = 3) -> str:
    """Return a number to `digits` significant digits, thousands separated, without exponent where people read it.

    >>> figure(12000.4), figure(0.0094635), figure(140.0), figure(1.5e-7)
    ('12,000', '0.00946', '140', '1.50e-7')
    """
    if value != value:
        return "no value"
    if math.isinf(value):
        return "without end" if value > 0 else "-without end"
    if value == 0:
        return "0"
    size = abs(value)
    if size < 1e-4 or size >= 1e12:
        mantissa, exponent = f"{value:.{digits - 1}e}".split("e")
        return f"{mantissa}e{int(exponent)}"
    decimals = max(0, digits - 1 - math.floor(math.log10(size)))
    rounded = float(f"{value:.{digits - 1}e}")
    if rounded != 0 and size < 10 ** (digits - 1) <= abs(rounded):
        decimals = 0
    elif rounded != 0:
        decimals = max(0, digits - 1 - math.floor(math.log10(abs(rounded))))
    return f"{rounded if size < 10**digits else value:,.{decimals}f}"


def label(unit: str) -> str:
    """Return a unit as it is shown to people: ``gpm/ft^2`` as ``gpm/ft²``; nothing for a plain number."""
    if unit in ("1", ""):
        return ""
    text = {"degF": "°F", "degC": "°C", "percent": "%", "1/s": "1/s"}.get(unit, unit)
    return text.replace("^2", "²").replace("^3", "³").replace("*", "·")


def show(value: float, unit: str, display: str | None = None, digits: int = 3) -> str:
    """Return `value` of `unit` as text in the unit `display`.

    >>> show(0.00946353, "m^3/s", "gpm")
    '150 gpm'
    >>> show(0.18, "1", "percent")
    '18.0 %'
    """
    there = display or unit
    number, name = figure(float(convert(value, unit, there)), digits), label(there)
    return f"{number} {name}".strip()

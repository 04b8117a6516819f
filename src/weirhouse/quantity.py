"""What unit? Text with units to the units used inside, and back. Nothing else in the code converts.

Inside, everything is SI with five exceptions that the trade would not recognise otherwise: temperature in degC,
concentration in g/m^3 (numerically mg/L), contact time CT in g*s/m^3, turbidity in NTU and pH in pH units.
The registry (``units.txt``) holds exact fractions, so that 32 degF is exactly 0 degC.
"""

import math
import re
from fractions import Fraction
from functools import lru_cache
from typing import Any

from weirhouse.units import QuantityError, known, linear

UNIT_SETS = ("US", "SI")
__all__ = [
    "UNIT_SETS", "QuantityError", "convert", "factor", "figure", "fits", "known", "label", "parse", "parse_several",
    "show", "unit_of",
]  # fmt: skip


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

_NUMBER = re.compile(
    r"""\s*(?P<sign>[-+−]?)\s*
    (?:(?P<whole>\d+)\s+(?P<num>\d+)/(?P<den>\d+)
      |(?P<num2>\d+)/(?P<den2>\d+)
      |(?P<dec>(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d*)?|\.\d+)(?P<exp>[eE][-+]?\d+)?)""",
    re.VERBOSE | re.ASCII,
)


def convert(value: Any, from_unit: str, to_unit: str) -> Any:
    """Return `value` (scalar or array) of `from_unit` in `to_unit`; QuantityError when they do not fit."""
    scale, shift = linear(from_unit, to_unit)
    if scale == 1 and shift == 0:
        return value
    number = value + float(shift) if shift else value
    # one rounding instead of two where the scale is a ratio of small integers: 41 degF is exactly 5 degC
    if scale.denominator != 1 and scale.numerator < 2**53 and scale.denominator < 2**53:
        return number * float(scale.numerator) / float(scale.denominator)
    return number * float(scale)


def factor(from_unit: str, to_unit: str) -> float:
    """Return how many `to_unit` one `from_unit` is; QuantityError for degrees with different zeros."""
    scale, shift = linear(from_unit, to_unit)
    if shift:
        raise QuantityError(f"{from_unit} and {to_unit} have different zeros: a factor alone does not convert them")
    return float(scale)


def fits(from_unit: str, to_unit: str) -> bool:
    """Return whether `from_unit` is a known unit that measures what `to_unit` measures."""
    try:
        linear(from_unit, to_unit)
    except QuantityError:
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
    if any(ord(sign) < 32 and not sign.isspace() for sign in rest):
        raise QuantityError(f'{field}: "{quoted}" is not a number with a unit. {example}')
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
                scale, shift = linear(word, unit)
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
        raise QuantityError(f'{field} is empty. Write its values like "{f"3 5 8 {label(unit)}".rstrip()}".')
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


@lru_cache(maxsize=512)
def label(unit: str) -> str:
    """Return a unit as it is shown to people: ``gpm/ft^2`` as ``gpm/ft²``; nothing for a plain number or a pH.

    >>> label("gpm/ft^2"), label("ug/L"), label("pH")
    ('gpm/ft²', 'µg/L', '')
    """
    if unit in ("1", "", "pH"):
        return ""
    text = {"degF": "°F", "degC": "°C", "percent": "%"}.get(unit, unit)
    text = re.sub(r"(?<![A-Za-z])u(?=(?:g|m|L|S|mol|mho)\b)", "µ", text)
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


def written(value: float, unit: str, display: str | None = None, digits: int = 3) -> str:
    """Return a limit or a plain reading as one writes it: without zeros that say nothing.

    Turbidity below 0.1 NTU is read to two digits.

    >>> written(0.3, "NTU"), written(1.0, "NTU"), written(0.0461, "NTU"), written(4.0, "g/m^3", "mg/L")
    ('0.3 NTU', '1 NTU', '0.046 NTU', '4 mg/L')
    >>> written(0.1524, "m", "ft"), written(12000, "gal"), written(0, "NTU")
    ('0.5 ft', '12,000 gal', '0 NTU')
    """
    there = display or unit
    number = float(convert(value, unit, there))
    text = figure(number, min(digits, 2) if there == "NTU" and abs(number) < 0.0995 else digits)
    if "." in text and "e" not in text:
        text = text.rstrip("0").rstrip(".")
    return f"{text} {label(there)}".strip()

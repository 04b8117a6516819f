"""Which unit does a column state? Read from its heading, the row of units or the lines above, in `quantity`'s words."""

import re
from functools import lru_cache

from weirhouse import quantity

_CLEAN = (
    (re.compile(r"\bs/?n\b.*$", re.I), ""),
    (re.compile(r"\s*@.*$"), ""),  # "uS/cm @25C"
    (re.compile(r"\s+as\s+\S+$", re.I), ""),
    (re.compile(r"\s+(?:ca?co3|caco3|n|p|cl2|al)$", re.I), ""),
    (re.compile(r"\s*\+\s*[A-Z]{3}\b.*$"), ""),  # "m + NAP": a height above a datum
    (re.compile(r"^_+|_+$"), ""),
)
_WORDS = {
    "standard units": "pH",
    "std units": "pH",
    "ph units": "pH",
    "ph unit": "pH",
    "s.u.": "pH",
    "su": "pH",
    "deg c": "degC",
    "degrees c": "degC",
    "degrees celsius": "degC",
    "deg. c": "degC",
    "celsius": "degC",
    "c": "degC",
    "°c": "degC",
    "º c": "degC",
    "ºc": "degC",
    "˚c": "degC",
    "oc": "degC",
    "deg f": "degF",
    "degrees f": "degF",
    "degrees fahrenheit": "degF",
    "fahrenheit": "degF",
    "f": "degF",
    "°f": "degF",
    "ºf": "degF",
    "feet": "ft",
    "meter": "m",
    "meters": "m",
    "metres": "m",
    "cubic feet per second": "ft3/s",
    "ft^3/s": "ft3/s",
    "cfs": "cfs",
    "milligrams per liter": "mg/L",
    "micrograms per liter": "ug/L",
    "formazin nephelometric units": "FNU",
    "nephelometric turbidity units": "NTU",
    "inches": "in",
    "m3 s-1": "m3/s",
    "m^3 s-1": "m3/s",
    "l s-1": "L/s",
    "mg l-1": "mg/L",
    "mm/hr": "mm/h",
    "ppm": "mg/L",
}
# endings of plain headings: raw_toc_mg_l, temp_f; only where the rest says what is measured
_ENDINGS = (
    (("mg", "l"), "mg/L"),
    (("ug", "l"), "ug/L"),
    (("g", "m3"), "g/m^3"),
    (("l", "s"), "L/s"),
    (("l", "min"), "L/min"),
    (("m3", "s"), "m3/s"),
    (("m3", "h"), "m3/h"),
    (("m3", "d"), "m3/day"),
    (("ft3", "s"), "ft3/s"),
    (("us", "cm"), "uS/cm"),
    (("1", "cm"), "1/cm"),
    (("1", "m"), "1/m"),
    (("deg", "c"), "degC"),
    (("deg", "f"), "degF"),
    (("degc",), "degC"),
    (("degf",), "degF"),
    (("celsius",), "degC"),
    (("ntu",), "NTU"),
    (("fnu",), "FNU"),
    (("gpm",), "gpm"),
    (("gpd",), "gpd"),
    (("mgd",), "MGD"),
    (("cfs",), "cfs"),
    (("psi",), "psi"),
    (("kpa",), "kPa"),
    (("percent",), "percent"),
    (("pct",), "percent"),
    (("ft",), "ft"),
    (("feet",), "ft"),
    (("inches",), "in"),
    (("in",), "in"),
    (("mm",), "mm"),
    (("cm",), "cm"),
    (("m",), "m"),
    (("gal",), "gal"),
    (("mv",), "mV"),
    (("c",), "degC"),
    (("f",), "degF"),
)
# a single letter ends many headings that mean no unit; it counts only behind these
_TEMPERATURE = frozenset(("temp", "temperature", "wtemp", "watertemp", "airtemp", "t"))
_SIZE = frozenset(("level", "stage", "depth", "height", "head", "loss", "rain", "rainfall", "precip", "precipitation"))


def clean(text: str) -> str:
    """Return a unit as a file writes it in a spelling `quantity` knows, or as near to it as can be."""
    unit = " ".join(text.replace("\u00a0", " ").split())
    unit = re.sub(r"&#(\d+);", lambda m: chr(int(m.group(1)) % 0x110000), unit) if "&#" in unit else unit
    unit = unit.replace("μ", "u").replace("µ", "u")
    for pattern, instead in _CLEAN:
        unit = pattern.sub(instead, unit).strip()
    return _WORDS.get(unit.lower(), unit)


_SPELLING = re.compile(r"[A-Za-z%°℃℉][A-Za-z%°℃℉\d/^*·²³⁻¹. _-]{0,29}|1/[A-Za-z]{1,6}")
_POWER = re.compile(r"[\^*]\s*-?\d{2,}|\d{4,}")


@lru_cache(maxsize=2048)
def fits(text: str, inside: str) -> bool:
    """Whether a text from a file is a unit that measures what `inside` measures.

    Only what is spelled like a unit is tried: a heading is foreign text and may be anything.
    """
    if not _SPELLING.fullmatch(text) or _POWER.search(text):
        return False
    return quantity.fits(text, inside)


@lru_cache(maxsize=1024)
def known(text: str) -> bool:
    """Whether a text is a unit known here, with a figure of its own or without."""
    return any(fits(text, inside) for inside in _MEASURES)


_TURBIDITY = ("NTU", "FNU", "FTU", "NTRU", "FNRU", "FNMU")
_MEASURES = (
    "m^3/s", "degC", "NTU", "g/m^3", "pH", "m", "1", "1/m", "m^3", "s", "Pa", "m/s", "kg/s", "W", "V", "S/m", "log",
)  # fmt: skip


def in_heading(heading: str) -> tuple[str, str]:
    """Return (name, unit) of a heading such as "Temp, °C (LGR S/N: 1)", "turb (NTU)" or "raw_toc_mg_l".

    The unit is "" where the heading states none.
    """
    text = " ".join(heading.split())
    without = re.sub(r"\s*\([^()]*\bS/N\b[^()]*\)", "", text, flags=re.I).strip()
    for found in reversed(list(re.finditer(r"[(\[]\s*([^()\[\]]{1,40}?)\s*[)\]]", without))):
        unit = clean(found.group(1))
        if known(unit) and not unit.isdigit():
            return (without[: found.start()] + without[found.end() :]).strip(" ,"), unit
    if "," in without:
        name, _, tail = without.rpartition(",")
        unit = clean(tail)
        if name.strip() and known(unit):
            return name.strip(), unit
    words = [w for w in re.split(r"[\s_.\-/]+", without.lower()) if w]
    while len(words) > 2 and words[-1] in ("caco3", "as", "cl2"):  # the basis, which is not the unit's
        words.pop()
    for ending, unit in _ENDINGS:
        k = len(ending)
        if len(words) > k and tuple(words[-k:]) == ending:
            before = set(words[:-k])
            if ending in (("c",), ("f",)) and not before & _TEMPERATURE:
                continue
            if ending in (("m",), ("in",)) and not before & _SIZE:
                continue
            return " ".join(words[:-k]), unit
    if without.upper() in _TURBIDITY:
        return without, without.upper()
    return without, ""


def in_words(description: str) -> str:
    """Return the unit that a description in words states ("Discharge, cubic feet per second (Mean)"), or ""."""
    low = description.lower()
    for words in sorted(_WORDS, key=len, reverse=True):
        if len(words) > 6 and words in low:
            return _WORDS[words]
    for found in re.finditer(r"\(([^()]{1,20})\)", description):
        unit = clean(found.group(1))
        if known(unit):
            return unit
    return ""


def same_measure(unit: str, inside: str) -> bool:
    """Whether `unit` measures what the inside unit measures."""
    if inside == "NTU":
        return unit.upper() in _TURBIDITY
    return fits(unit, inside)

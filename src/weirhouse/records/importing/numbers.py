"""What number does a cell hold? Plain decimals all at once, everything else one by one with a reason.

Plain numbers (a sign, digits, one decimal sign) are read from the bytes directly: the digits as one whole number and
then one division by a power of ten, which rounds once and so gives the same double as Python's ``float``.
"""

import math
import re
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from weirhouse.records.importing.problem import word_set
from weirhouse.records.importing.stamps import Bytes, Ints, Mask

Values = NDArray[np.float64]
Flags = NDArray[np.uint8]

OK, DOUBTFUL, REJECTED, BELOW, ABOVE = 0, 1, 2, 3, 4

_POWERS = 10.0 ** np.arange(23)
_MOST_DIGITS = 18
_STRIP = 1 << 16

# words that mean "no reading"; what each is taken as is told in the result
GAP_WORDS = word_set(
    "na n/a n.a. nan null none nil nr . .. m missing bad error err fail failed fault eqp mnt dis ssn rat",
    "ice bkw tst zfl pr inf -inf +inf infinity -infinity #n/a #na #value! #div/0! #num! #ref! nodata",
    "no_data offline off-line oos i/o timeout 1.#qnan 1.#ind -1.#ind 1.#inf -1.#inf",
) | frozenset(
    (
        *("no data", "no reading", "not read", "out of service", "comm fail", "bad input", "not analyzed"),
        *("not analysed", "not measured", "under maintenance", "out of order", "#n/a n/a"),
    )
)
OVER_WORDS = frozenset(
    ("over", "ovr", "over range", "overrange", "ol", "o.l.", "+over", "high", "above range", ">>>", ">>>>")
)
UNDER_WORDS = frozenset(("under", "undr", "under range", "underrange", "below range", "<<<", "<<<<"))
NOT_DETECTED = frozenset(
    (
        "nd",
        "n.d.",
        "n.d",
        "bdl",
        "bql",
        "blod",
        "u",
        "not detected",
        "non-detect",
        "nondetect",
        "<dl",
        "<mdl",
        "absent",
        "negative",
    )
)

PRESENT = frozenset(("present", "positive"))  # of bacteria: more than none

# numbers that stand for "no reading"; a plant measures nothing near them
GAP_NUMBERS = (-99.0, -999.0, -9999.0, -99999.0, -999999.0, -9999999.0, -99999999.0, -999999999.0)

_DECIMAL = {
    ".": re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d{1,3})?", re.ASCII),
    ",": re.compile(r"[-+]?(?:\d+,?\d*|,\d+)(?:[eE][-+]?\d{1,3})?", re.ASCII),
}
_GROUPED = {
    ".": re.compile(r"[-+]?\d{1,3}(?:[,' \u00a0\u202f]\d{3})+(?:\.\d+)?", re.ASCII),
    ",": re.compile(r"[-+]?\d{1,3}(?:[.' \u00a0\u202f]\d{3})+(?:,\d+)?", re.ASCII),
}
_CENSORED = re.compile(r"\s*(<=|>=|<|>|≤|≥|&lt;|&gt;)\s*")


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell that is not a plain number: its value or a gap, its flag, its qualifier, and why it is refused."""

    value: float = math.nan
    flag: int = OK
    qualifier: str = ""
    gap: str = ""
    why: str = ""


def plain(buffer: Bytes, starts: Ints, ends: Ints, decimal: int) -> tuple[Values, Mask]:
    """Return the numbers between `starts` and `ends`, NaN where there is none, and which cells are not plain."""
    n = len(starts)
    values, odd = np.empty(n), np.empty(n, np.bool_)
    for k in range(0, n, _STRIP):  # strips that stay in the processor's cache
        cut = slice(k, k + _STRIP)
        values[cut], odd[cut] = _plain(buffer, starts[cut], ends[cut], decimal)
    return values, odd


def _plain(buffer: Bytes, starts: Ints, ends: Ints, decimal: int) -> tuple[Values, Mask]:
    last = len(buffer) - 1
    lengths = ends - starts
    empty = lengths <= 0
    first = buffer[np.minimum(starts, last)]
    negative = (first == 45) & ~empty
    s = starts + (negative | ((first == 43) & ~empty))
    lengths = ends - s
    mantissa = np.zeros(len(s), np.int64)
    past = np.zeros(len(s), np.bool_)
    decimals = np.zeros(len(s), np.int64)
    odd = lengths > _MOST_DIGITS
    seen = np.zeros(len(s), np.bool_)
    width = int(lengths.max(initial=0))
    for j in range(min(width, _MOST_DIGITS)):
        letter = buffer[np.minimum(s + j, last)]
        digit = letter - np.uint8(48)
        live = lengths > j
        number = (digit < 10) & live
        point = (letter == decimal) & live
        mantissa = np.where(number, mantissa * 10 + digit, mantissa)
        decimals += number & past
        odd |= live & ~number & (~point | past)
        past |= point
        seen |= number
    odd |= ~seen & ~empty
    odd |= mantissa >= 1 << 53  # more digits than a double holds: leave it to float()
    values = mantissa / _POWERS[decimals]
    values = np.where(negative, -values, values)
    values[empty | odd] = np.nan
    return values, odd & ~empty


@dataclass(slots=True)
class Reader:
    """Reads cells that are not plain numbers, and remembers what each text meant."""

    decimal: str = "."
    point_seen: bool = False  # the file writes its decimals with `decimal`, so that the other sign parts thousands
    gap_words: frozenset[str] = frozenset()
    written: str = ""  # the unit that stands behind each number
    _known: dict[str, Cell] = field(default_factory=dict)

    def cell(self, text: str) -> Cell:
        """Return what `text` holds."""
        found = self._known.get(text)
        if found is None:
            found = self._read(text.strip().strip('"').strip())
            if len(self._known) < 200_000:
                self._known[text] = found
        return found

    def _read(self, text: str) -> Cell:
        if self.written and text.lower().endswith(self.written.lower()):
            text = text[: -len(self.written)].rstrip()
        low = text.lower()
        if not text:
            return Cell()
        if low in self.gap_words or low in GAP_WORDS or (len(text) > 1 and set(text) <= set("-*.#?_~=")):
            return Cell(gap=text)
        if low in OVER_WORDS:
            return Cell(flag=ABOVE, qualifier=">")
        if low in UNDER_WORDS or low in NOT_DETECTED:
            return Cell(flag=BELOW, qualifier="ND")
        if low in PRESENT:
            return Cell(0.0, ABOVE, ">")
        censored = _CENSORED.match(text)
        if censored:
            mark = "<" if censored.group(1) in ("<", "<=", "≤", "&lt;") else ">"
            value, why = self.number(text[censored.end() :])
            if why:
                return Cell(why=f'"{text[:40]}" is not a number')
            return Cell(value, BELOW if mark == "<" else ABOVE, mark)
        value, why = self.number(text)
        if why and len(text) < 40:
            marked = re.fullmatch(r"([-+]?[\d.,]+)(?:\s+([A-Za-z]{1,3})|([JUju]))", text)
            if marked:  # "4.2 J", "0.5U": a remark code behind the number
                code = (marked.group(2) or marked.group(3)).upper()
                inner, bad = self.number(marked.group(1))
                if not bad and code in CODES:
                    flag = CODES[code]
                    return Cell(inner, flag, "<" if flag == BELOW else ">" if flag == ABOVE else "")
        return Cell(why=why) if why else Cell(value)

    def number(self, text: str) -> tuple[float, str]:
        """Return (number, "") or (NaN, why it is none)."""
        text = text.strip().replace("−", "-")
        if not text.isascii():
            text = text.replace("\u00a0", " ").replace("\u202f", " ")
        quoted = text if len(text) <= 40 else text[:37] + "..."
        if len(text) > 60:
            return math.nan, f'"{quoted}" is not a number'
        other = "," if self.decimal == "." else "."
        if _DECIMAL[self.decimal].fullmatch(text):
            plain_text = text.replace(",", ".")
        elif _GROUPED[self.decimal].fullmatch(text):
            groups = re.split(r"[^\d+-]", text.split(self.decimal)[0])
            sure = len(groups) > 2 or self.decimal in text or self.point_seen or other not in text
            if not sure:
                return math.nan, (
                    f'"{quoted}" may be thousands or decimals: say decimal = "." or decimal = "," in a mapping'
                )
            whole, _, part = text.partition(self.decimal)
            plain_text = re.sub(r"[^\d+-]", "", whole) + "." + part
        elif _DECIMAL[other].fullmatch(text) and other in text:
            return math.nan, f'"{quoted}" has a decimal sign unlike the rest of the file ("{self.decimal}")'
        else:
            return math.nan, f'"{quoted}" is not a number'
        try:
            value = float(plain_text)
        except ValueError:
            return math.nan, f'"{quoted}" is not a number'
        if not math.isfinite(value):
            return math.nan, f'"{quoted}" is too large to be a number'
        return value, ""


# Remark codes beside a value: the common data-validation letters (U not detected, J estimated, R rejected; common
# practice, no source) and the U.S. Geological Survey's (A approved, P provisional, e estimated, < and >).
CODES = {
    "": OK,
    "=": OK,
    "A": OK,
    "P": OK,
    "OK": OK,
    "GOOD": OK,
    "V": OK,
    "PASS": OK,
    "FINAL": OK,
    "ACCEPTED": OK,
    "PROVISIONAL": OK,
    "APPROVED": OK,
    "E": DOUBTFUL,
    "J": DOUBTFUL,
    "UJ": BELOW,
    "EST": DOUBTFUL,
    "ESTIMATED": DOUBTFUL,
    "SUSPECT": DOUBTFUL,
    "DOUBTFUL": DOUBTFUL,
    "QUESTIONABLE": DOUBTFUL,
    "H": DOUBTFUL,
    "B": DOUBTFUL,
    "R": REJECTED,
    "REJECTED": REJECTED,
    "BAD": REJECTED,
    "FAIL": REJECTED,
    "<": BELOW,
    "LT": BELOW,
    "U": BELOW,
    "ND": BELOW,
    "BDL": BELOW,
    "NOT DETECTED": BELOW,
    "NON-DETECT": BELOW,
    "BELOW METHOD DETECTION LIMIT": BELOW,
    "BELOW DETECTION LIMIT": BELOW,
    "PRESENT BELOW QUANTIFICATION LIMIT": BELOW,
    "*NON-DETECT": BELOW,
    ">": ABOVE,
    "GT": ABOVE,
    "PRESENT ABOVE QUANTIFICATION LIMIT": ABOVE,
    "OVER": ABOVE,
}
NO_CODE = frozenset(("", "na", "n/a", "nan", "null", "none", "-", "--", "nr"))


def code_flag(text: str) -> int | None:
    """Return the flag a remark code stands for, the worst of several ("A <", "P,e"); None where one is not known."""
    flag = OK
    clean = text.strip().strip("[]").strip()
    if clean.lower() in NO_CODE:
        return OK
    whole = CODES.get(clean.upper())
    if whole is not None:
        return whole
    for part in re.split(r"[\s,;:|]+", clean):
        if re.fullmatch(r"\[\d+\]|", part):  # the number of a grade or remark of the survey, beside its letter
            continue
        one = CODES.get(part.strip("'\"").upper())
        if one is None:
            return None
        if one in (BELOW, ABOVE):
            flag = one
        elif flag not in (BELOW, ABOVE):
            flag = max(flag, one)
    return flag

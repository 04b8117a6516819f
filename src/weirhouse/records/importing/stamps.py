"""What date and time does a text say? Many texts at once, without a guess about which number is the day.

A stamp is read by its *shape*: digits become 0, letters become a, so that "10/11/2018 17:01" is
"00/00/0000 00:00". All texts of one shape are read together by their columns. What a shape leaves open (whether
10/11 is October or November) is kept open, and settled for the whole file by `resolve`.
"""

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from weirhouse.records.importing.problem import word_set

Bytes = NDArray[np.uint8]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]
Order = Literal["ymd", "dmy", "mdy"]

NO_OFFSET = -(10**9)
MOST_LENGTH = 48
_MOST_SHAPES = 400

_CLASS = np.arange(256, dtype=np.uint8)
_CLASS[48:58] = 48
_CLASS[65:91] = 97
_CLASS[97:123] = 97

# offsets of the letters people put beside a time, in hours; the U.S. and European ones (common practice, no source)
ZONES = {
    **dict.fromkeys(("Z", "UTC", "GMT", "WET"), 0.0),
    **dict.fromkeys(("CET", "MET", "MEZ", "WEST"), 1.0),
    **dict.fromkeys(("CEST", "MESZ", "EET"), 2.0),
    "EEST": 3.0,
    "NST": -3.5,
    "NDT": -2.5,
    "AST": -4.0,
    "ADT": -3.0,
    "EST": -5.0,
    "EDT": -4.0,
    "CST": -6.0,
    "CDT": -5.0,
    "MST": -7.0,
    "MDT": -6.0,
    "PST": -8.0,
    "PDT": -7.0,
    "AKST": -9.0,
    "AKDT": -8.0,
    "HST": -10.0,
    "AEST": 10.0,
    "AEDT": 11.0,
}
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
# month names of other languages too, where they are written with plain letters (common practice, no source)
_OTHER_MONTHS = (
    word_set("january januar januari janv enero ene gennaio gen janeiro"),
    word_set("february februar februari febrero febbraio fevereiro fev"),
    word_set("march mrz maart mrt mars marzo"),
    word_set("april avril avr abril abr aprile"),
    word_set("mai mei mayo maggio mag maio"),
    word_set("june juni juin junio giugno giu junho"),
    word_set("july juli juil juillet julio luglio lug julho"),
    word_set("august augustus agosto ago"),
    word_set("september sept septembre septiembre settembre set setembro"),
    word_set("october oktober okt octobre octubre ottobre ott outubro"),
    word_set("november novembre noviembre novembro"),
    word_set("december dezember dez decembre diciembre dic dicembre dezembro"),
)
_WEEKDAYS = word_set(
    "mon tue tues wed thu thur thurs fri sat sun monday tuesday wednesday thursday friday saturday sunday",
    "mo di mi do fr sa so montag dienstag mittwoch donnerstag freitag samstag sonntag",
)

_DATES = (
    r"(?P<y>0000)(?P<s>[-/.])(?P<p>00?)(?P=s)(?P<q>00?)",
    r"(?P<p>00?)(?P<s>[-/.])(?P<q>00?)(?P=s)(?P<y>0000|00)",
    r"(?P<y>0000)(?P<p>00)(?P<q>00)",
    r"(?P<q>00?)[-/. ]{0,2}(?P<mon>aaa+)\.?[-/, ]*(?P<y>0000|00)",
    r"(?P<mon>aaa+)\.? ?(?P<q>00?), ?(?P<y>0000)",
    r"(?P<mon>aaa+)\.? (?P<q>00?) (?P<y>0000)",
)
_TIME = r"(?P<H>00?):(?P<M>00)(?::(?P<S>00)(?:[.,](?P<f>0+))?)?(?P<ap> ?(?:aa|a\.a\.)(?!a))?"
_COMPACT = r"(?P<H>00)(?P<M>00)(?P<S>00)?"
_ZONE = r"(?: ?(?P<zs>[-+])(?P<oh>00?):?(?P<om>00)?|(?P<z>a)| (?P<zn>aaa+))?"
_JOIN = r"(?P<j>a| {1,3}|[_:]| ?[,;] ?| +- ?)"
_WEEKDAY = r"(?:(?P<wd>aa+)\.?,? +)?"
_SHAPES = (
    *(
        re.compile(pattern)
        for date in _DATES
        for pattern in (
            _WEEKDAY + date,
            _WEEKDAY + date + _JOIN + _TIME + _ZONE,
            _WEEKDAY + date + _JOIN + _COMPACT + _ZONE,
        )
    ),
    re.compile(_DATES[2] + _COMPACT + _ZONE),
)
_CLOCK_SHAPES = (re.compile(_TIME + _ZONE), re.compile(_COMPACT))


class Shape(NamedTuple):
    """Where the parts of a stamp stand in its text: name of the part to (start, end)."""

    parts: dict[str, tuple[int, int]]
    ordered: bool


@dataclass(frozen=True, slots=True)
class Stamps:
    """Stamps as they stand: `first` and `second` are month and day where `ordered`, else as written."""

    year: Ints  # -1 where the text has only a time of day
    year_digits: Ints
    first: Ints
    second: Ints
    ordered: Mask
    seconds: Ints  # of the day; -1 where the text has only a date
    offset: Ints  # seconds east of UTC, NO_OFFSET where the text does not say
    good: Mask

    def __len__(self) -> int:
        return len(self.good)

    @staticmethod
    def empty(n: int) -> "Stamps":
        """Return `n` stamps that say nothing."""
        none = np.full(n, -1, np.int64)
        return Stamps(
            none,
            np.full(n, 4, np.int64),
            none.copy(),
            none.copy(),
            np.zeros(n, np.bool_),
            none.copy(),
            np.full(n, NO_OFFSET, np.int64),
            np.zeros(n, np.bool_),
        )


def joined(parts: list[Stamps]) -> Stamps:
    """Return stamps of several stretches of a file as one."""
    if len(parts) == 1:
        return parts[0]
    if not parts:
        return Stamps.empty(0)
    return Stamps(*(np.concatenate([getattr(p, f) for p in parts]) for f in Stamps.__slots__))


@lru_cache(maxsize=2048)
def _shape(template: bytes) -> Shape | None:
    text = template.decode("latin-1")
    for pattern in (*_SHAPES, *_CLOCK_SHAPES):
        found = pattern.fullmatch(text)
        if found:
            parts = {k: found.span(k) for k, v in found.groupdict().items() if v is not None}
            y = parts.get("y")
            ordered = "mon" in parts or (y is not None and y[0] == 0 and y[1] == 4)
            return Shape(parts, ordered)
    return None


def _number(letters: Bytes, span: tuple[int, int]) -> Ints:
    out = np.zeros(len(letters), np.int64)
    for k in range(*span):
        out *= 10
        out += letters[:, k]
        out -= 48
    return out


def _words(letters: Bytes, span: tuple[int, int]) -> tuple[list[str], Ints]:
    cut = np.ascontiguousarray(letters[:, span[0] : span[1]])
    found, back = np.unique(cut.view(f"S{span[1] - span[0]}").ravel(), return_inverse=True)
    return [bytes(w).decode("latin-1") for w in found.tolist()], back.astype(np.int64)


def read(buffer: Bytes, starts: Ints, ends: Ints) -> Stamps:
    """Return the stamps written in `buffer` between `starts` and `ends` (blanks around them taken off)."""
    n = len(starts)
    out = Stamps.empty(n)
    lengths = ends - starts
    rest = np.flatnonzero((lengths >= 4) & (lengths <= MOST_LENGTH))
    for _ in range(_MOST_SHAPES):
        if not len(rest):
            break
        length = int(lengths[rest[0]])
        mine = lengths[rest] == length
        rows = rest if mine.all() else rest[mine]
        letters = buffer[starts[rows][:, None] + np.arange(length)]
        template = _CLASS[letters[0]]
        same = (_CLASS[letters] == template).all(axis=1)
        if not same.all():
            rows, letters = rows[same], letters[same]
            keep = np.ones(len(rest), np.bool_)
            keep[np.flatnonzero(mine)[same]] = False
            rest = rest[keep]
        else:
            rest = rest[~mine]
        shape = _shape(template.tobytes())
        if shape is not None:
            _fill(out, rows, letters, shape)
    return out


def _fill(out: Stamps, rows: Ints, letters: Bytes, shape: Shape) -> None:
    parts = shape.parts
    good = np.ones(len(rows), np.bool_)
    if "y" in parts:
        digits = parts["y"][1] - parts["y"][0]
        out.year[rows] = _number(letters, parts["y"])
        out.year_digits[rows] = digits
        if "mon" in parts:
            names, back = _words(letters, parts["mon"])
            out.first[rows] = np.array([_month(w) for w in names], np.int64)[back]
        else:
            out.first[rows] = _number(letters, parts["p"])
        out.second[rows] = _number(letters, parts["q"])
        out.ordered[rows] = shape.ordered
    if "wd" in parts:
        names, back = _words(letters, parts["wd"])
        good &= np.array([w.lower() in _WEEKDAYS for w in names], np.bool_)[back]
    if "j" in parts and parts["j"][1] - parts["j"][0] == 1:
        join = letters[:, parts["j"][0]]
        good &= (_CLASS[join] != 97) | (join == 84) | (join == 116)
    if "H" in parts:
        hour, minute = _number(letters, parts["H"]), _number(letters, parts["M"])
        second = _number(letters, parts["S"]) if "S" in parts else np.zeros(len(rows), np.int64)
        good &= (minute < 60) & (second < 60)
        if "ap" in parts:
            names, back = _words(letters, parts["ap"])
            halves = [w.strip().replace(".", "").lower() for w in names]
            code = np.array([{"am": 0, "pm": 1}.get(half, -1) for half in halves], np.int64)[back]
            good &= (code >= 0) & (hour >= 1) & (hour <= 12)
            hour = hour % 12 + 12 * (code == 1)
        good &= (hour < 24) | ((hour == 24) & (minute == 0) & (second == 0))
        out.seconds[rows] = hour * 3600 + minute * 60 + second
    if "z" in parts:
        mark = letters[:, parts["z"][0]]
        good &= (mark == 90) | (mark == 122)
        out.offset[rows] = 0
    elif "zs" in parts:
        sign = np.where(letters[:, parts["zs"][0]] == 45, -1, 1)
        hours = _number(letters, parts["oh"])
        minutes = _number(letters, parts["om"]) if "om" in parts else np.zeros(len(rows), np.int64)
        good &= (hours <= 14) & (minutes < 60)
        out.offset[rows] = sign * (hours * 3600 + minutes * 60)
    elif "zn" in parts:
        names, back = _words(letters, parts["zn"])
        known = np.array([zone_seconds(w) if zone_seconds(w) is not None else NO_OFFSET for w in names], np.int64)[back]
        good &= known != NO_OFFSET
        out.offset[rows] = known
    out.good[rows] = good


def _month(word: str) -> int:
    low = word.lower()
    if low in _MONTHS:
        return _MONTHS.index(low) + 1
    return next((k + 1 for k, names in enumerate(_OTHER_MONTHS) if low in names), 99)


def zone_seconds(word: str) -> int | None:
    """Return the offset that zone letters stand for, in seconds east of UTC, or None."""
    hours = ZONES.get(word.strip().upper())
    return None if hours is None else round(hours * 3600)


def of_texts(texts: list[str]) -> Stamps:
    """Return the stamps of a few texts."""
    cells = [t.strip().encode("utf-8", "replace") for t in texts]
    ends = np.cumsum([len(c) for c in cells], dtype=np.int64)
    starts = ends - np.array([len(c) for c in cells], np.int64)
    buffer = np.frombuffer(b"".join(cells) or b"\n", np.uint8)
    return read(buffer, starts, ends)


# spreadsheets count days from 1900-01-01 as day 1 and hold 1900 for a leap year, or from 1904-01-01 as day 0
# (common practice, no source); here as the day before the first that makes days after February 1900 come right
DAY_ZERO = {"days1900": -25569, "days1904": -24107}


def of_days(days: NDArray[np.float64], system: str) -> Stamps:
    """Return the stamps that a spreadsheet's serial days stand for, to the nearest second; they are local times."""
    good = np.isfinite(days) & (days > 61) & (days < 100_000)
    seconds = np.rint((np.where(good, days, 100.0) + DAY_ZERO[system]) * 86400).astype(np.int64)
    whole = seconds // 86400
    months = whole.astype("datetime64[D]").astype("datetime64[M]")
    month = months.astype(np.int64)
    n = len(days)
    return Stamps(
        month // 12 + 1970,
        np.full(n, 4, np.int64),
        month % 12 + 1,
        whole - months.astype("datetime64[D]").astype(np.int64) + 1,
        np.ones(n, np.bool_),
        seconds - whole * 86400,
        np.full(n, NO_OFFSET, np.int64),
        good,
    )


def of_parts(parts: dict[str, NDArray[np.float64]], n: int) -> Stamps:
    """Return the stamps whose year, month, day (or day of the year), hour and minute stand in columns of their own.

    Without a year they are times of day.
    """
    good = np.ones(n, np.bool_)
    whole: dict[str, Ints] = {}
    for part, values in parts.items():
        good &= np.isfinite(values) & (np.abs(values) < 10_000) & (values == np.floor(values))
        whole[part] = np.where(good, values, 1).astype(np.int64)
    out = Stamps.empty(n)
    out.ordered[:] = True
    if "year" in whole:
        out.year[:] = whole["year"]
        if "day_of_year" in whole:
            begin = (whole["year"] - 1970).astype("datetime64[Y]").astype("datetime64[D]")
            days = begin + (whole["day_of_year"] - 1)
            good &= (days.astype("datetime64[Y]") == begin.astype("datetime64[Y]")) & (whole["day_of_year"] > 0)
            months = days.astype("datetime64[M]")
            out.first[:] = months.astype(np.int64) % 12 + 1
            out.second[:] = (days - months.astype("datetime64[D]")).astype(np.int64) + 1
        else:
            out.first[:], out.second[:] = whole["month"], whole["day"]
    if "hhmm" in whole:
        whole["hour"], whole["minute"] = whole["hhmm"] // 100, whole["hhmm"] % 100
    if "hour" in whole:
        hour, minute = whole["hour"], whole.get("minute", np.zeros(n, np.int64))
        good &= (hour >= 0) & (minute >= 0) & (minute < 60) & ((hour < 24) | ((hour == 24) & (minute == 0)))
        out.seconds[:] = hour * 3600 + minute * 60
    out.good[:] = good
    return out


class OrderEvidence(NamedTuple):
    """How many dates can only be day-month-year, only month-day-year, either with different results, or neither."""

    day_first: int
    month_first: int
    open: int
    year_first: int


def order_evidence(stamps: Stamps) -> OrderEvidence:
    """Return what the dates themselves say about which number is the day."""
    at = stamps.good & (stamps.year >= 0) & ~stamps.ordered
    p, q, y = stamps.first[at], stamps.second[at], stamps.year[at]
    short = stamps.year_digits[at] == 2
    return OrderEvidence(
        int(((p > 12) & (p <= 31) & (q >= 1) & (q <= 12)).sum()),
        int(((q > 12) & (q <= 31) & (p >= 1) & (p <= 12)).sum()),
        int(((p <= 12) & (q <= 12) & (p != q)).sum()),
        int((short & (p > 31) & (q <= 12) & (y >= 1) & (y <= 31)).sum()),
    )


def resolve(stamps: Stamps, order: Order) -> tuple[Ints, Mask]:
    """Return local seconds since 1970-01-01 00:00 (no zone applied) and which stamps are real dates."""
    y, p, q = stamps.year, stamps.first, stamps.second
    two = stamps.year_digits == 2
    if order == "ymd":
        month, day = np.where(stamps.ordered | ~two, p, q), np.where(stamps.ordered | ~two, q, y)
        year = np.where(stamps.ordered | ~two, y, p)
    else:
        swap = ~stamps.ordered & (order == "dmy")
        month, day, year = np.where(swap, q, p), np.where(swap, p, q), y
    year = np.where(two & (year < 100), np.where(year >= 69, 1900 + year, 2000 + year), year)
    good = stamps.good & (stamps.year >= 0) & (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)
    good &= (year >= 1000) & (year <= 9999)
    months = np.where(good, (year - 1970) * 12 + month - 1, 0)
    begin = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    after = (months + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    good &= begin + day - 1 < after
    days = begin + day - 1
    return days * 86400 + np.maximum(stamps.seconds, 0), good

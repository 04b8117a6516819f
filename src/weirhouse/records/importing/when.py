"""When was each row taken? From local stamps of a file to UTC, by what the file states or shows, or by asking."""

import re
from itertools import pairwise
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse.records.importing import clocks, stamps
from weirhouse.records.importing.fields import Refusals
from weirhouse.records.importing.mapping import Mapping, offset_in
from weirhouse.records.importing.problem import FileProblem
from weirhouse.records.importing.stamps import NO_OFFSET, Ints, Mask, Order, Stamps

EARLIEST = 631152000  # 1990-01-01, before which no reading of such a plant was logged
_DAY = 86400


class Local(NamedTuple):
    """Local seconds of the stamps of a file, which are usable, and whether they carry a time of day."""

    seconds: Ints
    good: Mask


class Clocked(NamedTuple):
    """UTC seconds, which are usable, in what words the clock is described, and what the change nights show."""

    times: Ints
    good: Mask
    clock: str
    nights: list[str]


def order_of(found: Stamps, mapping: Mapping, pattern: str, name: str, example: str) -> Order:
    """Return in which order the dates of a file are written.

    Raises
    ------
    FileProblem
        With the question, where the dates allow both orders and nothing says which.
    """
    if not (found.good & (found.year >= 0) & ~found.ordered).any():
        return "ymd"
    said = mapping.order or (pattern if pattern in ("dmy", "mdy") else None)
    seen = stamps.order_evidence(found)
    if said == "ymd":
        return "ymd"
    if seen.year_first and not said:
        if seen.day_first + seen.month_first + seen.open == 0:
            return "ymd"
        raise FileProblem(
            f'{name}: some dates seem to begin with a year of two digits ({example}). Say date_order = "ymd", "dmy" '
            'or "mdy" in a mapping.'
        )
    if not said and _year_may_be_first(found):
        raise FileProblem(
            f"{name}: its dates have years of two digits and may begin with the year or end with it. Say "
            'date_order = "ymd", "dmy" or "mdy" in a mapping.'
        )
    if said in ("dmy", "mdy"):
        against = seen.month_first if said == "dmy" else seen.day_first
        total = seen.day_first + seen.month_first
        if against and against > 0.05 * total:
            raise FileProblem(
                f"{name}: dates are said to be {'day' if said == 'dmy' else 'month'} first, but {against} of them "
                f"cannot be ({example}). Set day_first = {'false' if said == 'dmy' else 'true'}."
            )
        return "dmy" if said == "dmy" else "mdy"
    if seen.day_first and seen.month_first:
        few, many = sorted((seen.day_first, seen.month_first))
        if few > 0.02 * many:
            raise FileProblem(
                f"{name}: {seen.day_first} dates can only be day first and {seen.month_first} only month first. "
                "Export it again with one way of writing dates."
            )
        return "dmy" if seen.day_first > seen.month_first else "mdy"
    if seen.day_first:
        return "dmy"
    if seen.month_first:
        return "mdy"
    if seen.open:
        raise FileProblem(
            f"{name}: is {example} written day first or month first? No date in the file shows it. Say day_first = "
            "true or day_first = false in a mapping."
        )
    return "dmy"


def _year_may_be_first(found: Stamps) -> bool:
    """Whether two-digit years make no worse a sequence at the beginning of the dates than at their end."""
    dates = found.good & (found.year >= 0) & ~found.ordered
    if not (found.year_digits[dates] == 2).all():
        return False
    spans = {}
    orders: tuple[Order, ...] = ("ymd", "dmy", "mdy")
    for order in orders:
        local, good = stamps.resolve(found, order)
        spans[order] = int(np.ptp(local[dates])) if good[dates].all() else None
    first, last = spans["ymd"], [span for order, span in spans.items() if order != "ymd" and span is not None]
    return first is not None and (not last or first <= min(last))


def stated_offset(heading: str) -> tuple[int | None, bool, bool]:
    """Return (offset that a heading states or None, whether it names both summer and winter time, whether any)."""
    found = re.search(r"\b(?:UTC|GMT)\s*([+-]\s*\d{1,2}(?::?\d{2})?)", heading)
    if found:
        return offset_in(found.group(1)), False, True
    letters = [w for w in re.findall(r"[A-Z]{3,4}", heading) if stamps.zone_seconds(w) is not None]
    low = set(re.findall(r"[a-z]+", heading.lower()))
    if not letters and ("utc" in low or "gmt" in low):
        return 0, False, True
    offsets = {stamps.zone_seconds(w) for w in letters}
    if len(offsets) == 1:
        return offsets.pop(), False, True
    return None, len(offsets) == 2, bool(offsets)


def _pair(heading: str) -> tuple[int, int] | None:
    offsets = sorted({o for w in re.findall(r"[A-Z]{3,4}", heading) if (o := stamps.zone_seconds(w)) is not None})
    return (offsets[0], offsets[1]) if len(offsets) == 2 and offsets[1] - offsets[0] == 3600 else None


def to_utc(
    local: Ints,
    good: Mask,
    offsets: Ints,
    dated: Mask,
    *,
    name: str,
    heading: str,
    preamble: tuple[str, ...],
    mapping: Mapping,
    zone: ZoneInfo,
    filled: Mask,
    refused: Refusals,
    lines: Ints,
) -> Clocked:
    """Return the UTC times of local times.

    Parameters
    ----------
    local, good, offsets:
        Local seconds, which are usable, and the offset each stamp carries (NO_OFFSET where none).
    dated:
        Which stamps are whole days without a time of day; they stand at the start of their local day.
    filled:
        Which rows hold a value; only they are evidence of the clock.
    """
    times = local.copy()
    own = good & (offsets != NO_OFFSET)
    times[own] -= offsets[own]
    bare = good & ~own
    if not bare.any():
        return Clocked(times, good, "as the stamps state", [])
    place = mapping.zone or zone
    clock = mapping.clock
    if own.any() and clock is None and mapping.offset is None and own.sum() > 0.5 * good.sum():
        refused.many(lines[bare], "the time has no offset where the others have one")
        return Clocked(times, good & own, "as the stamps state", [])
    days = bare & dated
    if days.all() or (days.any() and days.sum() == bare.sum()):
        times[days] = _starts_of_days(local[days], place)
        return Clocked(times, good, f"whole days, each at its start in {place.key}", [])
    if mapping.offset is not None:
        times[bare] -= mapping.offset
        return Clocked(times, good, f"{_offset_text(mapping.offset)} all year, by the mapping", [])
    if clock is None and mapping.zone is None:
        stated, both, _ = stated_offset(heading)
        pair = _pair(heading) if both else None
        if both and pair is not None:
            here = {clocks.offset_at(zone, int(t)) for t in (1609459200, 1625097600)}
            if here != set(pair):
                raise FileProblem(
                    f"{name}: the heading of its times speaks of another time zone than the plant's ({zone.key}). "
                    'Say time_zone = "..." in a mapping.'
                )
            clock = "wall"
        if stated is None and not both:
            for line in preamble:
                if re.search(r"offset|time\s*zone|tz", line, re.I):
                    stated = stated_offset(line)[0]
                    if stated is not None:
                        break
        if stated is not None:
            times[bare] -= stated
            return Clocked(times, good, f"{_offset_text(stated)} all year, as the file states", [])
    seen = clocks.evidence(local[bare & filled], place)
    shows = {n.shows for n in seen} - {"silent"}
    nights = [_night_text(n, place) for n in seen]
    if clock is None:
        if "steady" in shows:
            mixed = "jump" in shows
            when = next(n for n in seen if n.shows == "steady").change
            raise FileProblem(
                f"{name}: its times run through the change of the clocks on "
                f"{clocks.local_text(when.at + when.before)[:10]} "
                f"{'but not through every other' if mixed else 'as if there were none'}. Which clock does the logger "
                'keep? Say clock = "standard" (standard time all year), "utc" or "wall" in a mapping.'
            )
        clock = "wall"
        words = "the wall clock" + (
            "" if "jump" in shows or not clocks.near(place, local[bare]) else ", taken for granted"
        )
    else:
        words = {"wall": "the wall clock", "standard": "standard time all year", "utc": "UTC"}[clock]
        words += ", by the mapping" if mapping.clock else ", as the file states"
    if clock == "utc":
        return Clocked(times, good, words, nights)
    if clock == "standard":
        times[bare] = clocks.from_standard(local[bare], place)
        return Clocked(times, good, f"{words} in {place.key}", nights)
    at = np.flatnonzero(bare)
    # rows without a value neither help nor hinder in telling the two passes of an hour apart
    solved = clocks.from_wall(local[at], place)
    times[at] = solved.times
    usable = good.copy()
    usable[at[solved.skipped | solved.twice]] = False
    for row in at[solved.skipped & filled[at]].tolist():
        refused.add(
            int(lines[row]),
            f"{clocks.local_text(int(local[row]))} did not exist in {place.key}: the clocks went forward",
        )
    for row in at[solved.twice & filled[at]].tolist():
        refused.add(
            int(lines[row]),
            f"{clocks.local_text(int(local[row]))} came twice in {place.key}: the clocks went back. Write the "
            "offset, or say which clock the logger keeps in a mapping",
        )
    return Clocked(times, usable, f"{words} in {place.key}", nights)


def _starts_of_days(local: Ints, zone: ZoneInfo) -> Ints:
    solved = clocks.from_wall(local, zone)
    times = solved.times.copy()
    for change in clocks.near(zone, local):  # a day whose first hour was skipped begins when the clocks changed
        a, b = change.window
        times[(local >= a) & (local < b) & solved.skipped] = change.at
    return times


def _offset_text(seconds: int) -> str:
    sign = "-" if seconds < 0 else "+"
    return f"UTC{sign}{abs(seconds) // 3600:02d}:{abs(seconds) % 3600 // 60:02d}" if seconds else "UTC"


def _night_text(night: clocks.Night, zone: ZoneInfo) -> str:
    day = clocks.local_text(night.change.at + night.change.before)[:10]
    way = "forward" if night.change.forward else "back"
    shows = {
        "jump": "the file changes with them",
        "steady": "the file runs through",
        "silent": "the file does not show which clock it keeps",
    }[night.shows]
    return f"{day} ({zone.key}, clocks {way}): {shows}"


def refuse_impossible(times: Ints, good: Mask, lines: Ints, latest: int, refused: Refusals) -> Mask:
    """Return which times can be: not before 1990, not after `latest`, not those of a logger whose clock was reset."""
    early, late = good & (times < EARLIEST), good & (times > latest)
    if early.any():
        refused.many(lines[early], "the time is before 1990: the logger's clock was not set")
    if late.any():
        refused.many(lines[late], "the time is in the future")
    left = good & ~early & ~late
    reset = _resets(times, left)
    if reset.any():
        refused.many(lines[reset], "the time jumps by years to the first days of a year: the logger's clock was reset")
    return left & ~reset


def _resets(times: Ints, good: Mask) -> Mask:
    """Return the rows of stretches that lie years from the rest and begin with a first of January."""
    out = np.zeros(len(times), np.bool_)
    rows = np.flatnonzero(good)
    if len(rows) < 2:
        return out
    t = times[rows]
    jumps = np.flatnonzero(np.abs(np.diff(t)) > 365 * _DAY) + 1
    if not len(jumps) or len(jumps) > 1000:
        return out
    edges = [0, *jumps.tolist(), len(t)]
    pieces = list(pairwise(edges))
    rest = max(pieces, key=lambda p: p[1] - p[0])
    centre = float(np.median(t[rest[0] : rest[1]]))
    for a, b in pieces:
        if (a, b) == rest:
            continue
        first = int(t[a:b].min())
        january = np.datetime64(first, "s").astype("datetime64[Y]").astype("datetime64[s]").astype(np.int64)
        if first - int(january) < 2 * _DAY and centre - first > 365 * _DAY:
            out[rows[a:b]] = True
    return out

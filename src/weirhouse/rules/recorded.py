"""Which readings can count, and which is the recorded value of each quarter hour and of each four hours?

A row of a logger is not a recorded value: of each quarter hour one value is recorded, and of the quarter hours one
stands for four hours. What should be there and is not is `unsure`: it is never taken to be within a limit.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from weirhouse.plant.model import Channel
from weirhouse.records.model import ABOVE, BELOW, DOUBTFUL, REJECTED, Event
from weirhouse.rules.terms import Pick, Rounding
from weirhouse.situation.days import Course
from weirhouse.situation.gather import empty_track
from weirhouse.situation.model import Stretch
from weirhouse.situation.series import usual_interval

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

QUARTER_S = 900
LOGGED_S = 1800.0  # readings further apart are read by a person
QUARTERLY_S = 960.0  # a logger that writes more seldom leaves quarter hours without a row
GRAB_S = 4 * 3600  # a sample by hand stands for so long while an instrument is out
LEAST_RUN_S = 900.0  # a period in which the plant ran for less asks for no value of its own
CLOSE = 1e-9  # two numbers nearer than this are the same
GOOD, WAS_REJECTED, WAS_DOUBTFUL, OUTSIDE, OUT = range(5)
BAD_WORDS = (
    "",
    "rejected",
    "marked doubtful",
    "outside of what this channel can read",
    "by the day log the instrument was out",
)
OUTAGES = ("instrument_fault", "instrument_out")


@dataclass(frozen=True, slots=True)
class Spans:
    """Stretches of time, maybe without an end: begins and ends [UTC epoch s]."""

    begins: Floats
    ends: Floats

    def holds(self, times: Ints) -> Bools:
        """Whether each time lies in one of them."""
        found = np.zeros(len(times), dtype=bool)
        for begin, end in zip(self.begins, self.ends, strict=True):
            found |= (times >= begin) & (times < end)
        return found

    def meets(self, begins: Ints, ends: Ints) -> Bools:
        """Whether each span has any time in common with one of them."""
        found = np.zeros(len(begins), dtype=bool)
        for begin, end in zip(self.begins, self.ends, strict=True):
            found |= (begins < end) & (ends > begin)
        return found


def spans_of(events: Sequence[Event], kinds: Sequence[str], *subjects: str, longest: float = np.inf) -> Spans:
    """Return the spans of events of some kinds on some subjects; without an end they last `longest` s."""
    some = [e for e in events if e.kind in kinds and e.subject in subjects]
    begins = [e.started_at.timestamp() for e in some]
    ends = [
        e.ended_at.timestamp() if e.ended_at is not None else begin + longest
        for e, begin in zip(some, begins, strict=True)
    ]
    return Spans(np.array(begins, float), np.array(ends, float))


@dataclass(frozen=True, eq=False)
class Signal:
    """The rows of a channel with a number, and why each may not count (`GOOD` ... `OUT`).

    `values` are made worse where a row only says "less than" or "more than" and that could hide a broken limit.
    """

    channel: str
    title: str
    times: Ints
    values: Floats
    raw: Floats
    bad: NDArray[np.uint8]
    outages: Spans
    logged: bool
    interval: float  # [s] between rows

    @property
    def quarterly(self) -> bool:
        """Whether a value is to be there in every quarter hour."""
        return self.logged and self.interval <= QUARTERLY_S

    @cached_property
    def good(self) -> Bools:
        """Which rows count without doubt."""
        return np.asarray(self.bad == GOOD)

    def rows(self, with_bad: bool) -> Bools:
        """Which rows count, with the rejected and doubtful ones or without."""
        return np.ones(len(self.times), dtype=bool) if with_bad else self.good


def signal(stretch: Stretch, channel: Channel, *, upper: bool, until: float) -> Signal:
    """Return the rows of a channel before `until`, to be held against an upper limit or a lower one."""
    track = stretch.tracks.get(channel.id) or empty_track(channel.id)
    keep = np.isfinite(track.values) & (track.times < until)
    times, raw, flags = track.times, track.values, track.flags
    if not keep.all():
        times, raw, flags = times[keep], raw[keep], flags[keep]
    values, bad = raw, np.zeros(len(times), np.uint8)
    names = (channel.id, channel.instrument) if channel.instrument else (channel.id,)
    outages = spans_of(stretch.events, OUTAGES, *names)
    typed = stretch.typed.get(channel.id)
    by_hand = np.isin(times, typed) if typed is not None else np.zeros(len(times), dtype=bool)
    if len(outages.begins):
        bad[outages.holds(times) & ~by_hand] = OUT
    if channel.low is not None:
        bad[(raw < channel.low) & (flags != BELOW)] = OUTSIDE
    if channel.high is not None:
        bad[(raw > channel.high) & (flags != ABOVE)] = OUTSIDE
    if flags.any():
        values = raw.copy()
        values[flags == (ABOVE if upper else BELOW)] = np.inf if upper else -np.inf
        bad[flags == DOUBTFUL] = WAS_DOUBTFUL
        bad[flags == REJECTED] = WAS_REJECTED
    interval = channel.interval or usual_interval(times[~by_hand] if (~by_hand).sum() > 1 else times)
    logged = bool(channel.interval is not None or (len(times) > 1 and interval <= LOGGED_S))
    return Signal(channel.id, channel.name, times, values, raw, bad, outages, logged, float(interval))


@dataclass(frozen=True, eq=False)
class Slots:
    """Stretches that each ask for one value. `need`: it ran all of it; `maybe`: that is not on record."""

    begins: Ints
    ends: Ints
    need: Bools
    maybe: Bools
    even: bool = False  # quarter hours one after the other

    @cached_property
    def asked(self) -> Bools:
        """Which ask for a value, for all that is known."""
        return self.need | self.maybe

    def of(self, times: Ints) -> Ints:
        """Return for each time in which slot it lies, -1 for none."""
        if not len(self.begins):
            return np.full(len(times), -1, np.int64)
        if self.even:
            which = (times - self.begins[0]) // QUARTER_S
            return np.where((which >= 0) & (which < len(self.begins)), which, -1)
        which = np.searchsorted(self.begins, times, side="right") - 1
        inside = (which >= 0) & (times < self.ends[np.maximum(which, 0)])
        return np.where(inside, which, -1).astype(np.int64)


def quarters(begin: int, end: int, course: Course, *, off_hours: bool) -> Slots:
    """Return the quarter hours from `begin` to before `end`."""
    begins = np.arange(begin, end, QUARTER_S, dtype=np.int64)
    ends = begins + QUARTER_S
    return Slots(begins, ends, *_asked(begins, ends, course, QUARTER_S - 1.0, off_hours), even=True)


def shut_out(slots: Slots, closed: Spans) -> Slots:
    """Return slots of which those that meet `closed` ask for nothing."""
    if not len(closed.begins):
        return slots
    open_ = ~closed.meets(slots.begins, slots.ends)
    return replace(slots, need=slots.need & open_, maybe=slots.maybe & open_)


def periods(begins: Ints, ends: Ints, course: Course, *, off_hours: bool) -> Slots:
    """Return four-hour periods; one in which the plant ran for less than a quarter hour asks for nothing."""
    return Slots(begins, ends, *_asked(begins, ends, course, LEAST_RUN_S, off_hours))


def _asked(begins: Ints, ends: Ints, course: Course, least: float, off_hours: bool) -> tuple[Bools, Bools]:
    if off_hours:
        return np.ones(len(begins), dtype=bool), np.zeros(len(begins), dtype=bool)
    a, b = begins.astype(float), ends.astype(float)
    ran = course.ran(a, b)
    need = ran >= least - 0.5
    if need.all():
        return need, np.zeros(len(begins), dtype=bool)
    unknown = (b - a) - course.known(a, b)
    return need, ~need & (ran + unknown >= least - 0.5)


@dataclass(frozen=True, eq=False)
class Recorded:
    """One value for each slot (NaN for none), when it was taken, and whether it is the one that was due."""

    slots: Slots
    values: Floats
    times: Ints
    whole: Bools

    @cached_property
    def has(self) -> Bools:
        """Which slots have a value."""
        return ~np.isnan(self.values)

    @cached_property
    def unsure(self) -> Bools:
        """Which slots ask for a value and do not have the one that was due."""
        return self.slots.asked & ~(self.has & self.whole)


def _picked(which: Ints, values: Floats, count: int, pick: Pick) -> tuple[Floats, Ints, Ints]:
    """Return for each slot its value, the place of the row it comes from, and how many rows it has.

    `which` rises and holds no -1.
    """
    found = np.full(count, np.nan)
    place = np.full(count, -1, np.int64)
    number = np.zeros(count, np.int64)
    if not len(which):
        return found, place, number
    starts = np.flatnonzero(np.concatenate([[True], np.diff(which) > 0]))
    slots = which[starts]
    ends = np.append(starts[1:], len(which))
    number[slots] = ends - starts
    if pick == "first":
        place[slots] = starts
        found[slots] = values[starts]
    elif pick == "last":
        place[slots] = ends - 1
        found[slots] = values[ends - 1]
    elif pick == "mean":
        found[slots] = np.add.reduceat(values, starts) / (ends - starts)
        place[slots] = ends - 1
    else:
        highest = np.maximum.reduceat(values, starts)
        at_top = np.flatnonzero(values == np.repeat(highest, ends - starts))
        first = at_top[np.concatenate([[True], np.diff(which[at_top]) > 0])]
        found[slots] = highest
        place[slots] = first
    return found, place, number


def quarter_values(sig: Signal, slots: Slots, keep: Bools, pick: Pick) -> Recorded:
    """Return the recorded value of each quarter hour, of the rows that `keep` lets through."""
    kept = np.flatnonzero(keep)
    which = slots.of(sig.times[kept])
    inside = which >= 0
    rows, which = kept[inside], which[inside]
    found, place, number = _picked(which, sig.values[rows], len(slots.begins), pick)
    times = slots.begins.copy()
    got = place >= 0
    times[got] = sig.times[rows[place[got]]]
    whole = got.copy()
    if sig.logged and sig.interval < QUARTER_S:
        if pick == "first":
            whole &= times - slots.begins < sig.interval
        elif pick == "last":
            whole &= slots.ends - times <= sig.interval
        else:
            whole &= number >= round(QUARTER_S / sig.interval)
    return Recorded(slots, found, times, whole)


def four_hour_values(sig: Signal, quarter: Recorded, four: Slots, pick: Pick) -> Recorded:
    """Return the value that stands for each four-hour period, of the recorded values of its quarter hours."""
    which = four.of(quarter.slots.begins)
    has = np.flatnonzero(quarter.has & (which >= 0))
    found, place, _ = _picked(which[has], quarter.values[has], len(four.begins), pick)
    times = four.begins.copy()
    got = place >= 0
    times[got] = quarter.times[has[place[got]]]
    whole = got.copy()
    if sig.logged and not sig.quarterly:
        inside = which >= 0
        rows = np.bincount(which[has], minlength=len(four.begins))
        asked = np.bincount(which[inside & quarter.slots.asked], minlength=len(four.begins))
        whole &= rows >= np.floor(asked * QUARTER_S / sig.interval)
    if sig.quarterly:
        doubt = quarter.unsure & ~stood_in(sig, quarter)
        used = np.full(len(four.begins), -1, np.int64)
        used[got] = has[place[got]]
        for slot in np.flatnonzero(doubt & (which >= 0)):
            period = which[slot]
            if pick == "last":
                whole[period] &= slot < used[period]
            elif pick == "first":
                whole[period] &= slot > used[period]
            else:
                whole[period] = False
    return Recorded(four, found, times, whole)


def stood_in(sig: Signal, quarter: Recorded) -> Bools:
    """Return for which quarter hours a sample by hand stands in: the instrument is out, and a value that counts was
    taken in the four hours before.
    """
    out = sig.outages.meets(quarter.slots.begins, quarter.slots.ends)
    if not out.any():
        return out
    taken = quarter.times[quarter.has]
    place = np.searchsorted(taken, quarter.slots.begins, side="right") - 1
    before = np.where(place >= 0, taken[np.maximum(place, 0)], -(2**40)) if len(taken) else np.full(len(out), -(2**40))
    return np.asarray(out & (quarter.slots.begins - before <= GRAB_S))


def rounded(values: Floats, rounding: Rounding) -> Floats:
    """Return values as the State rounds them.

    >>> rounded(np.array([0.304, 0.305]), Rounding(2, "up")).tolist()
    [0.3, 0.31]
    >>> rounded(np.array([0.305]), Rounding(2, "even")).tolist()
    [0.3]
    """
    if rounding.decimals is None:
        return values
    scale = 10.0**rounding.decimals
    if rounding.half == "even":
        return np.asarray(np.round(values * scale + 0.0, 0) / scale)
    return np.asarray(np.floor(values * scale + 0.5 + 1e-6) / scale)


def above(values: Floats, limit: float) -> Bools:
    """Whether each value is above a limit; what is missing is not."""
    with np.errstate(invalid="ignore"):
        return np.asarray(values > limit + CLOSE)


def below(values: Floats, limit: float) -> Bools:
    """Whether each value is below a limit; what is missing is not."""
    with np.errstate(invalid="ignore"):
        return np.asarray(values < limit - CLOSE)


def decimals_of(limit: float) -> int:
    """Return the decimals that a limit is written with, at least one: 0.3 has 1, 0.08 has 2.

    >>> decimals_of(0.3), decimals_of(1.0), decimals_of(0.015)
    (1, 1, 3)
    """
    text = f"{limit:.6f}".rstrip("0")
    return max(1, len(text.split(".")[1]))


def epoch(moment: datetime) -> int:
    """Return UTC epoch seconds."""
    return int(moment.timestamp())

"""What did each day of a stretch bring? Water, hours of running, extremes, four-hour values, by the plant's own days.

A day is a local day: 23, 24 or 25 hours. A gap stays a gap: what was not recorded is counted as such and never filled.
Flows [m^3/s], volumes [m^3], times UTC epoch seconds.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from weirhouse.records.model import DOUBTFUL, REJECTED, Event
from weirhouse.situation.gather import empty_track
from weirhouse.situation.model import Stretch, Track
from weirhouse.situation.running import TOLD_S, hold_s, least_flow

Array = NDArray[np.float64]
PERIOD_H = 4  # a value at least every four hours of operation (40 CFR 141.74(c)(1))
DOSE_HOLDS_S = 24 * 3600.0  # a dose read at the rounds stands for what follows, for at most a day
HOUR_S = 3600


@dataclass(frozen=True, slots=True)
class Day:
    """A local day: its date and both ends."""

    date: date
    begin: int
    end: int

    @property
    def hours(self) -> float:
        """How long it is."""
        return (self.end - self.begin) / HOUR_S


@dataclass(frozen=True, slots=True)
class Period:
    """Four hours of the clock within a day (three or five when the clock is changed)."""

    name: str  # "04:00": when it begins
    begin: int
    end: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Water:
    """What a flow brought in a time: volume, time running, time for which nothing was recorded, and the peak hour."""

    volume: float
    ran: float  # [s]
    unrecorded: float  # [s]
    peak: float  # mean flow of the hour that brought most; NaN when nothing flowed
    peak_at: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """The values of a channel that count in a time, and those that do not."""

    n: int
    lowest: float
    lowest_at: int
    highest: float
    highest_at: int
    mean: float
    doubtful: int
    rejected: int
    lowest_with: float  # both ways: with the rejected values counted
    highest_with: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fed:
    """A dose over a time: its mean by the water treated, its ends, and how much of the water it is known for."""

    mean: float  # NaN where no dose is on record
    lowest: float
    highest: float
    volume: float  # of the water treated at a dose on record [m^3]


def days_of(a: datetime, b: datetime, zone: ZoneInfo) -> tuple[Day, ...]:
    """Return the local days from `a` to before `b`.

    >>> zone = ZoneInfo("America/New_York")
    >>> a, b = datetime(2026, 10, 31, tzinfo=zone), datetime(2026, 11, 3, tzinfo=zone)
    >>> [day.hours for day in days_of(a, b, zone)]
    [24.0, 25.0, 24.0]
    """
    found, day = [], a.astimezone(zone).date()
    while (begin := midnight(day, zone)) < b.timestamp():
        found.append(Day(day, begin, midnight(day + timedelta(days=1), zone)))
        day += timedelta(days=1)
    return tuple(found)


def midnight(day: date, zone: ZoneInfo) -> int:
    """Return when a local day begins."""
    return int(datetime.combine(day, time(0), zone).timestamp())


def periods_of(day: Day, zone: ZoneInfo) -> tuple[Period, ...]:
    """Return the six four-hour periods of a local day, by the clock on the wall; of a day cut short, cut at its end."""
    hours = [*range(0, 24, PERIOD_H)]
    begins = [int(datetime.combine(day.date, time(h), zone).astimezone(UTC).timestamp()) for h in hours]
    ends = [*begins[1:], day.end]
    return tuple(Period(f"{h:02d}:00", p, min(q, day.end)) for h, p, q in zip(hours, begins, ends, strict=True))


class Course:
    """How the plant ran over a stretch, from its flow; and, where no flow is measured, from start and stop."""

    def __init__(self, track: Track, *, least: float, events: Sequence[Event] = (), end: float = math.inf) -> None:
        good = track.good
        times, flows = good.times.astype(float), good.values
        hold = hold_s(track)
        if not len(times):
            times, flows, hold = _told(events, end)
        self.measured = bool(len(good))
        self.least = least
        ends = np.minimum(np.append(times[1:], np.inf), times + hold) if len(times) else times
        on = flows > least
        if self.measured:
            ends = _stopped(times, ends, on, events)
        spans = ends - times
        knots = np.column_stack([times, ends]).ravel()
        self._knots = knots
        self._spans, self._flows = spans, flows
        self._times, self._ends, self._on = times, ends, on

    @cached_property
    def _volume(self) -> Array:
        return _heap(self._spans * np.where(self._on, self._flows, 0.0))

    @cached_property
    def _ran(self) -> Array:
        return _heap(self._spans * self._on)

    @cached_property
    def _known(self) -> Array:
        return _heap(self._spans)

    def _between(self, heap: Array, begins: Array, ends: Array) -> Array:
        if not len(self._knots):
            return np.zeros(len(begins))
        return np.asarray(np.interp(ends, self._knots, heap) - np.interp(begins, self._knots, heap))

    def volume(self, begins: Array, ends: Array) -> Array:
        """Return the water of each span [m^3]."""
        return self._between(self._volume, begins, ends)

    def ran(self, begins: Array, ends: Array) -> Array:
        """Return for how long the plant ran in each span [s]."""
        return self._between(self._ran, begins, ends)

    def known(self, begins: Array, ends: Array) -> Array:
        """Return for how long in each span it is on record whether the plant ran [s]."""
        return self._between(self._known, begins, ends)

    def water(self, begin: float, end: float) -> Water:
        """Return what one span brought."""
        a, b = np.array([float(begin)]), np.array([float(end)])
        edges = np.append(np.arange(begin, end, HOUR_S, dtype=float), float(end))
        by_hour = self.volume(edges[:-1], edges[1:])
        top = int(np.argmax(by_hour)) if len(by_hour) else 0
        peak = float(by_hour[top]) / HOUR_S if len(by_hour) and by_hour[top] > 0 else math.nan
        return Water(
            volume=float(self.volume(a, b)[0]), ran=float(self.ran(a, b)[0]),
            unrecorded=max(0.0, float(end - begin) - float(self.known(a, b)[0])),
            peak=peak, peak_at=int(edges[top]),
        )  # fmt: skip

    def running(self, times: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Return whether the plant ran at each time; where that is not on record a value is not let off: True."""
        if not len(self._times):
            return np.ones(len(times), dtype=bool)
        which = np.searchsorted(self._times, times, side="right") - 1
        inside = (which >= 0) & (times < self._ends[np.maximum(which, 0)])
        return np.asarray(~inside | self._on[np.maximum(which, 0)])


def _heap(parts: Array) -> Array:
    """Return the running total at both ends of each part."""
    after = np.cumsum(parts)
    return np.column_stack([after - parts, after]).ravel() if len(parts) else np.zeros(0)


def _stopped(times: Array, ends: Array, on: NDArray[np.bool_], events: Sequence[Event]) -> Array:
    """Return until when each flow holds: one of a plant that stood holds on while by the day log it was stopped.

    It does until the log has it started again, and for 36 h at most.
    """
    told = sorted((e.started_at.timestamp(), e.kind) for e in events if e.kind in ("start", "stop"))
    found = ends.copy()
    if not told:
        return found
    moments = np.array([moment for moment, _ in told])
    following = np.append(times[1:], np.inf)
    for i in np.flatnonzero((ends < following) & ~on):
        last = int(np.searchsorted(moments, ends[i], side="right")) - 1
        if last < 0 or told[last][1] != "stop" or ends[i] - moments[last] > TOLD_S:
            continue
        start = next((moment for moment, kind in told[last + 1 :] if kind == "start"), np.inf)
        found[i] = max(ends[i], min(following[i], start, moments[last] + TOLD_S))
    return found


def _told(events: Sequence[Event], end: float) -> tuple[Array, Array, float]:
    """Return times, a flow of 1 or 0, and how long each holds, from the starts and stops of the day log."""
    told = [e for e in events if e.kind in ("start", "stop")]
    times = np.array([e.started_at.timestamp() for e in told], dtype=float)
    flows = np.array([float(e.kind == "start") for e in told])
    return times[times < end], flows[times < end], TOLD_S


def course_of(stretch: Stretch, channel: str) -> Course:
    """Return how the plant ran over a stretch, from the channel of its flow."""
    track = with_before(stretch, channel)
    return Course(track, least=least_flow(stretch.plant.design_flow), events=stretch.events, end=stretch.b.timestamp())


def with_before(stretch: Stretch, channel: str) -> Track:
    """Return a channel's track with the value that was in force as the stretch began put first."""
    track = stretch.tracks.get(channel) or empty_track(channel)
    value = stretch.before.get(channel)
    if value is None or value.known is None or value.taken_at is None or value.state == "flagged":
        return track
    at = int(value.taken_at.timestamp())
    if len(track) and at >= track.times[0]:
        return track
    return Track(
        channel=channel, times=np.insert(track.times, 0, at), values=np.insert(track.values, 0, float(value.known)),
        flags=np.insert(track.flags, 0, np.uint8(0)),
    )  # fmt: skip


def within(track: Track, begin: float, end: float) -> Track:
    """Return the part of a track from `begin` to before `end`."""
    first, last = np.searchsorted(track.times, [begin, end], side="left")
    cut = slice(int(first), int(last))
    return Track(channel=track.channel, times=track.times[cut], values=track.values[cut], flags=track.flags[cut])


def spread_of(track: Track, begin: float, end: float, course: Course | None = None) -> Spread:
    """Return lowest, highest and mean of the values that count in a span; with a course, of those while it ran."""
    part = within(track, begin, end)
    finite = np.isfinite(part.values)
    if course is not None:
        finite &= course.running(part.times)
    rejected = finite & (part.flags == REJECTED)
    good = finite & (part.flags != REJECTED) & (part.flags != DOUBTFUL)
    both = good | rejected
    values, times = part.values[good], part.times[good]
    nan = math.nan
    low, high = (int(np.argmin(values)), int(np.argmax(values))) if len(values) else (0, 0)
    return Spread(
        n=len(values),
        lowest=float(values[low]) if len(values) else nan, lowest_at=int(times[low]) if len(values) else 0,
        highest=float(values[high]) if len(values) else nan, highest_at=int(times[high]) if len(values) else 0,
        mean=float(values.mean()) if len(values) else nan,
        doubtful=int((finite & (part.flags == DOUBTFUL)).sum()), rejected=int(rejected.sum()),
        lowest_with=float(part.values[both].min()) if both.any() else nan,
        highest_with=float(part.values[both].max()) if both.any() else nan,
    )  # fmt: skip


def last_of(track: Track, begin: float, end: float, course: Course | None = None) -> tuple[int, float] | None:
    """Return when the last value that counts in a span was taken, and the value; None where there is none."""
    part = within(track, begin, end).good
    keep = course.running(part.times) if course is not None else np.ones(len(part), dtype=bool)
    which = np.flatnonzero(keep)
    return (int(part.times[which[-1]]), float(part.values[which[-1]])) if len(which) else None


def fed_of(dose: Track, course: Course, begin: float, end: float) -> Fed:
    """Return the dose over a span, weighted by the water it went into; each reading holds for at most a day."""
    good = dose.good
    times = good.times.astype(float)
    ends = np.minimum(np.append(times[1:], np.inf), times + DOSE_HOLDS_S)
    a, b = np.clip(times, begin, end), np.clip(ends, begin, end)
    volumes = course.volume(a, b)
    keep = volumes > 0
    water = float(volumes[keep].sum())
    if not water:
        return Fed(mean=math.nan, lowest=math.nan, highest=math.nan, volume=0.0)
    used = good.values[keep]
    mean = float(volumes[keep] @ used) / water
    return Fed(mean=mean, lowest=float(used.min()), highest=float(used.max()), volume=water)

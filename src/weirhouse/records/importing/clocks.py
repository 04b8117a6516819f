"""Which instant is a local time? Three clocks a logger may keep, and the two nights on which they part.

A logger that writes no offset keeps the wall clock (with summer time), standard time all year, or UTC. On the night the
clocks go forward the wall clock has no 02:30; on the night they go back it has two. What a file holds on those nights
shows which clock wrote it.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse.records.importing.stamps import Ints, Mask

Clock = Literal["wall", "standard", "utc"]
CLOCKS: tuple[Clock, ...] = ("wall", "standard", "utc")


class Change(NamedTuple):
    """A change of the clocks: the UTC instant, and the offsets before and after it [s]."""

    at: int
    before: int
    after: int

    @property
    def window(self) -> tuple[int, int]:
        """The local times that are skipped (clocks forward) or come twice (clocks back)."""
        return self.at + min(self.before, self.after), self.at + max(self.before, self.after)

    @property
    def forward(self) -> bool:
        """Whether the clocks go forward."""
        return self.after > self.before


@dataclass(frozen=True, slots=True)
class Resolved:
    """Instants of local times: UTC seconds, and for each time that has none which trouble it has."""

    times: Ints
    skipped: Mask
    twice: Mask


class Night(NamedTuple):
    """What a file shows on one change night: ``jump`` (wall clock), ``steady`` (no change), or ``silent``."""

    change: Change
    shows: Literal["jump", "steady", "silent"]


def offset_at(zone: ZoneInfo, instant: int) -> int:
    """Return the offset of `zone` east of UTC at a UTC instant [s]."""
    shift = datetime.fromtimestamp(instant, UTC).astimezone(zone).utcoffset()
    return int(shift.total_seconds()) if shift is not None else 0


@lru_cache(maxsize=64)
def changes(zone: ZoneInfo, first_day: int, last_day: int) -> tuple[Change, ...]:
    """Return the changes of the clocks of `zone` between two days since 1970."""
    found = []
    low = first_day * 86400
    offset = offset_at(zone, low)
    for day in range(first_day + 1, last_day + 2):
        here = offset_at(zone, day * 86400)
        if here != offset:
            a, b = (day - 1) * 86400, day * 86400
            while b - a > 1:
                middle = (a + b) // 2
                if offset_at(zone, middle) == offset:
                    a = middle
                else:
                    b = middle
            found.append(Change(b, offset, here))
            offset = here
    return tuple(found)


def standard_offset(zone: ZoneInfo, year: int) -> int:
    """Return the offset of standard time in `zone` in a year: the lesser of January's and July's [s]."""
    return min(int(datetime(year, m, 1, tzinfo=zone).utcoffset().total_seconds()) for m in (1, 7))  # type: ignore[union-attr]


def near(zone: ZoneInfo, local: Ints) -> tuple[Change, ...]:
    """Return the changes of the clocks within the local times given."""
    if not len(local):
        return ()
    return changes(zone, int(local.min()) // 86400 - 1, int(local.max()) // 86400 + 1)


def from_standard(local: Ints, zone: ZoneInfo) -> Ints:
    """Return UTC seconds of local times of a clock that keeps standard time all year."""
    years = local.astype("datetime64[s]").astype("datetime64[Y]").astype(np.int64) + 1970
    out = local.copy()
    for year in np.unique(years).tolist():
        out[years == year] -= standard_offset(zone, int(year))
    return out


def from_wall(local: Ints, zone: ZoneInfo) -> Resolved:
    """Return UTC seconds of local times of a wall clock, in the order they stand in the file.

    A time that came twice is told apart by its place: after a step back, or as the second of two equal stamps. Where
    the order does not show it the time is marked, and so is a time that was skipped.
    """
    times, skipped, twice = local.copy(), np.zeros(len(local), np.bool_), np.zeros(len(local), np.bool_)
    if not len(local):
        return Resolved(times, skipped, twice)
    found = near(zone, local)
    first = offset_at(zone, (int(local.min()) // 86400 - 1) * 86400)
    offsets = np.array([first, *(c.after for c in found)], np.int64)
    # with one break at the old offset, a time that came twice falls to its first pass
    breaks = np.array([c.at + c.before for c in found], np.int64)
    times -= offsets[np.searchsorted(breaks, local, side="right")]
    falling = len(local) > 1 and local[0] > local[-1]
    for change in found:
        a, b = change.window
        rows = np.flatnonzero((local >= a) & (local < b))
        if not len(rows):
            continue
        if change.forward:
            skipped[rows] = True
            continue
        ordered = rows[::-1] if falling else rows
        second = _second_pass(local[ordered], _repeats(local, rows))
        if second is None:
            twice[rows] = True
        else:
            times[ordered[second]] += change.before - change.after
    return Resolved(times, skipped, twice)


def _repeats(local: Ints, rows: Ints) -> bool:
    """Whether stamps also come twice outside of the hour in question, so that equal stamps there prove nothing."""
    low, high = max(0, int(rows[0]) - 500), min(len(local), int(rows[-1]) + 501)
    around = np.concatenate([local[low : int(rows[0])], local[int(rows[-1]) + 1 : high]])
    return len(around) > 1 and len(np.unique(around)) < 0.9 * len(around)


def _second_pass(hour: Ints, repeats: bool) -> Ints | None:
    """Return which stamps of the hour that comes twice belong to its second pass; None where that cannot be told."""
    steps = np.diff(hour)
    back = np.flatnonzero(steps < 0)
    if len(back) == 1 and (steps != 0).all():
        return np.arange(back[0] + 1, len(hour))
    if len(back) == 0 and len(hour) > 1 and not repeats:
        values, counts = np.unique(hour, return_counts=True)
        if (counts == 2).all():
            return np.arange(1, 2 * len(values), 2)
    return None


def evidence(local: Ints, zone: ZoneInfo) -> tuple[Night, ...]:
    """Return what the local times (in file order, those with values) show on each change night among them."""
    if len(local) < 4:
        return ()
    steps = np.abs(np.diff(local))
    steps = steps[(steps > 0)]
    if not len(steps):
        return ()
    step = int(np.median(steps))
    nights = []
    ordered = np.sort(local)
    for change in near(zone, local):
        a, b = change.window
        low, high = np.searchsorted(ordered, (a, b))
        inside = ordered[low:high]
        if low == 0 or high == len(ordered):
            continue
        shows: Literal["jump", "steady", "silent"] = "silent"
        close = a - ordered[low - 1] <= 2 * step and ordered[high] - b <= 2 * step
        expected = (b - a) / step
        if change.forward and step <= b - a:
            if not len(inside) and close:
                shows = "jump"
            elif len(inside) >= max(1.0, expected / 2):
                shows = "steady"
        elif not change.forward and step <= b - a:
            if len(inside) >= max(2.0, 1.5 * expected):
                shows = "jump"
            elif close and expected / 2 < len(inside) <= expected + 1:
                shows = "steady"
        nights.append(Night(change, shows))
    return tuple(nights)


def local_text(seconds: int) -> str:
    """Return local seconds as "2026-11-01 01:15" for messages."""
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=int(seconds))).strftime("%Y-%m-%d %H:%M")

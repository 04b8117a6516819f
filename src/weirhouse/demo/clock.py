"""When? The year's quarter-hours, in UTC and as the clock on the wall shows them."""

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from weirhouse.demo.scenario import YEAR_END, YEAR_START, ZONE

QUARTER = 900  # [s]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Clock:
    """Quarter-hour stamps. `wall` is local time as if it were UTC: good for hours of the day, never for differences."""

    times: Ints  # [UTC epoch s]
    wall: Ints  # [s]

    @property
    def hour(self) -> Floats:
        """Local hour of the day, 0 to 24."""
        return (self.wall % 86400) / 3600.0

    @property
    def year_day(self) -> Floats:
        """Days since the first of January, running on past 365."""
        return (self.wall - int(datetime(2026, 1, 1, tzinfo=UTC).timestamp())) / 86400.0

    @property
    def weekday(self) -> Ints:
        """Monday 0 to Sunday 6."""
        return (self.wall // 86400 + 3) % 7


def year() -> Clock:
    """Return the quarter-hours of Emberly's year, both ends included."""
    times = np.arange(int(YEAR_START.timestamp()), int(YEAR_END.timestamp()) + 1, QUARTER, dtype=np.int64)
    return Clock(times, times + wall_offset(times))


def wall_offset(times: Ints) -> Ints:
    """Return how far local time is from UTC at each stamp. [s]"""
    hours, index = np.unique(times // 3600, return_inverse=True)  # the clock changes on the hour
    shift = [int(datetime.fromtimestamp(int(h) * 3600, ZONE).utcoffset().total_seconds()) for h in hours]  # type: ignore[union-attr]
    return np.asarray(shift, np.int64)[index]


def red_noise(rng: np.random.Generator, n: int, step: float, memory: float) -> Floats:
    """Return `n` values of unit spread whose correlation fades over `memory` [same unit as `step`]."""
    keep = float(np.exp(-step / memory))
    fresh = rng.standard_normal(n) * np.sqrt(1 - keep * keep)
    out, last = np.empty(n), float(rng.standard_normal())
    for i, kick in enumerate(fresh.tolist()):
        last = keep * last + kick
        out[i] = last
    return out


def smooth(values: Floats, steps: float) -> Floats:
    """Return `values` after a stirred volume that turns over in `steps` steps."""
    share, out = 1.0 - float(np.exp(-1.0 / steps)), np.empty(len(values))
    last = float(values[0])
    for i, value in enumerate(values.tolist()):
        last += share * (value - last)
        out[i] = last
    return out

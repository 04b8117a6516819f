"""One fetch a channel: what an instant needs from the records, read once and kept while the situation is made."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from weirhouse.plant.model import Plant
from weirhouse.records.store import Store
from weirhouse.situation.model import Track

WINDOW = timedelta(hours=26)


@dataclass(frozen=True, slots=True)
class Hours:
    """Hourly roll-ups of a channel: start of the hour in UTC epoch seconds, and what was recorded in it."""

    hour: NDArray[np.int64]
    n: NDArray[np.int64]
    minimum: NDArray[np.float64]
    maximum: NDArray[np.float64]
    total: NDArray[np.float64]
    last: NDArray[np.float64]

    @property
    def mean(self) -> NDArray[np.float64]:
        """The mean of each hour."""
        return np.asarray(self.total / np.maximum(self.n, 1))

    def since(self, start: float) -> "Hours":
        """The hours that begin at or after `start` [epoch s]."""
        keep = self.hour >= start
        return Hours(*(getattr(self, name)[keep] for name in ("hour", "n", "minimum", "maximum", "total", "last")))

    def __len__(self) -> int:
        return len(self.hour)


@dataclass
class Gather:
    """Reads the store for one instant. Windows are widened before the first read of a channel, never after."""

    store: Store
    plant: Plant
    when: datetime
    starts: dict[str, datetime] = field(default_factory=dict)
    _tracks: dict[str, Track] = field(default_factory=dict)
    _hours: dict[str, Hours] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.recorded = frozenset(self.store.channels())

    def widen(self, channel: str, start: datetime) -> None:
        """Let the window of `channel` begin no later than `start`."""
        self.starts[channel] = min(start, self.starts.get(channel, self.when - WINDOW))

    def track(self, channel: str) -> Track:
        """Return the channel from the start of its window to the instant."""
        if channel not in self._tracks:
            start = self.starts.get(channel, self.when - WINDOW)
            self._tracks[channel] = self._read(channel, start)
        return self._tracks[channel]

    def _read(self, channel: str, start: datetime) -> Track:
        if channel not in self.recorded:
            return empty_track(channel)
        # the end is one second on: what was taken at the very instant counts, and ends are left out
        series = self.store.values(channel, start, self.when + timedelta(seconds=1))
        return Track(channel=channel, times=series.times, values=series.values, flags=series.flags)

    def hours(self, channel: str, days: float) -> Hours:
        """Return hourly roll-ups of the last `days` days; the longest span asked for first serves the shorter ones."""
        start = self.when - timedelta(days=days)
        found = self._hours.get(channel)
        if found is None:
            if channel in self.recorded:
                rolled = self.store.rollup(channel, start, self.when)
                found = Hours(rolled.hour, rolled.n, rolled.minimum, rolled.maximum, rolled.total, rolled.last)
            else:
                found = Hours(np.empty(0, np.int64), np.empty(0, np.int64), *(np.empty(0) for _ in range(4)))
            self._hours[channel] = found
        return found.since(start.timestamp() - 3600)


def empty_track(channel: str) -> Track:
    """Return a track with nothing in it."""
    return Track(channel=channel, times=np.empty(0, np.int64), values=np.empty(0), flags=np.empty(0, np.uint8))


def moment(epoch: float) -> datetime:
    """Return an instant in UTC from epoch seconds."""
    return datetime.fromtimestamp(float(epoch), UTC)

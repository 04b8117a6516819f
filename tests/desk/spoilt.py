"""A store with one channel spoilt as the world spoils it: gone, old, marked, or simply another number.

It stands between the situation and the real store, so that many cases are read from one written week.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from weirhouse.records.model import DOUBTFUL, Point, Rollup, Series
from weirhouse.records.store import Store

LONG_AGO = datetime(1990, 1, 1, tzinfo=UTC)


class Spoilt:
    """The records as they would be with a channel missing, stale, flagged, or `factor` times what it was."""

    def __init__(
        self, store: Store, channel: str, how: str, *, now: datetime, age: timedelta = timedelta(0), factor: float = 1.0
    ) -> None:
        self.store, self.channel, self.how, self.factor = store, channel, how, factor
        self.last = {"missing": LONG_AGO, "stale": now - age}.get(how, now)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.store, name)

    def channels(self) -> set[str]:
        found = self.store.channels()
        return found - {self.channel} if self.how == "missing" else found

    def latest(self, channel: str, at: datetime) -> Point | None:
        if channel != self.channel:
            return self.store.latest(channel, at)
        point = self.store.latest(channel, min(at, self.last))
        if point is None or point.value is None:
            return point
        if self.how == "flagged":
            return replace(point, flag=DOUBTFUL)
        return replace(point, value=point.value * self.factor)

    def values(self, channel: str, since: datetime, until: datetime) -> Series:
        if channel != self.channel:
            return self.store.values(channel, since, until)
        found = self.store.values(channel, since, max(since, min(until, self.last + timedelta(seconds=1))))
        flags = found.flags.copy()
        if self.how == "flagged" and len(flags) and until > self.last:
            flags[-1] = DOUBTFUL
        return replace(found, flags=flags, values=found.values * self.factor)

    def rollup(self, channel: str, since: datetime, until: datetime) -> Rollup:
        if channel != self.channel:
            return self.store.rollup(channel, since, until)
        found = self.store.rollup(channel, since, max(since, min(until, self.last)))
        names = ("minimum", "maximum", "total", "last")
        return replace(found, **{name: np.asarray(getattr(found, name)) * self.factor for name in names})

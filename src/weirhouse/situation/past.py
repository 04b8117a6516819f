"""What do the records tell of the time before an instant? What a forecast, and the plant's habits, are read from."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from weirhouse.plant.model import Plant
from weirhouse.records.model import Event, Rollup
from weirhouse.records.store import Store
from weirhouse.situation.at import flow_channel
from weirhouse.situation.feeds import feed_channel
from weirhouse.situation.model import Track

STREAM_DAYS = 1500.0  # four years of storms, and a bit
HABIT_DAYS = 400.0
RECENT_H = 56.0
STREAM = (
    "raw_turbidity",
    "raw_temperature",
    "raw_uv254",
    "raw_colour",
    "raw_alkalinity",
    "raw_ph",
    "rain",
    "stream_level",
)
HOUR = 3600
CARRIED_H = 24  # a dose read at the rounds stands for the hours after it, for at most a day


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Past:
    """The records before `at`. `hour` [UTC epoch s] has no holes; what was not recorded in an hour is NaN."""

    plant: Plant
    at: datetime
    zone: ZoneInfo
    stream: Mapping[str, Track]  # the stream's channels as recorded, back to four years
    recent: Mapping[str, Track]  # of the last days, as recorded: flow, settled and filtered turbidity
    hour: NDArray[np.int64]
    mean: Mapping[str, NDArray[np.float64]]  # of each hour: raw and settled turbidity, flow, levels, doses in force
    lowest: Mapping[str, NDArray[np.float64]]
    highest: Mapping[str, NDArray[np.float64]]
    events: tuple[Event, ...]  # of the last 400 days, oldest first
    flow_channel: str


def past(store: Store, plant: Plant, when: datetime) -> Past:
    """Return what was recorded before `when` (aware). Nothing after that instant is looked at."""
    when = when.astimezone(UTC)
    recorded = store.channels()
    until = when + timedelta(seconds=1)
    stream = {}
    for channel in STREAM:
        if channel in recorded and channel in plant.channels:
            series = store.values(channel, when - timedelta(days=STREAM_DAYS), until)
            stream[channel] = Track(channel=channel, times=series.times, values=series.values, flags=series.flags)
    flow = flow_channel(plant)
    recent = {}
    for channel in (flow, "settled_turbidity", "combined_turbidity"):
        if channel in recorded:
            series = store.values(channel, when - timedelta(hours=RECENT_H), until)
            recent[channel] = Track(channel=channel, times=series.times, values=series.values, flags=series.flags)
    levels = [stage.level_channel for stage in plant.stages if getattr(stage, "level_channel", None)]
    doses = [feed_channel(feed, "dose", plant.channels) for feed in plant.feeds]
    wanted = ["raw_turbidity", "settled_turbidity", "combined_turbidity", "demand_flow", flow, *levels]
    since = when - timedelta(days=HABIT_DAYS)
    last = int(when.timestamp()) // HOUR
    first = int(since.timestamp()) // HOUR
    grid = np.arange(first, last + 1, dtype=np.int64) * HOUR
    mean, lowest, highest = {}, {}, {}
    for channel in dict.fromkeys(wanted):
        if channel in recorded:
            rolled = store.rollup(channel, since, when)
            mean[channel] = _on(grid, rolled, rolled.total / np.maximum(rolled.n, 1))
            lowest[channel] = _on(grid, rolled, rolled.minimum)
            highest[channel] = _on(grid, rolled, rolled.maximum)
    for channel in dict.fromkeys(doses):
        if channel in recorded:
            rolled = store.rollup(channel, since, when)
            mean[channel] = carried(_on(grid, rolled, rolled.last))
    events = tuple(e for e in store.events(since=since, until=until) if e.started_at <= when)
    return Past(
        plant=plant, at=when, zone=plant.zone, stream=stream, recent=recent, hour=grid, mean=mean, lowest=lowest,
        highest=highest, events=events, flow_channel=flow,
    )  # fmt: skip


def _on(grid: NDArray[np.int64], rolled: Rollup, values: NDArray[np.float64]) -> NDArray[np.float64]:
    found = np.full(len(grid), np.nan)
    place = (rolled.hour - grid[0]) // HOUR
    keep = (place >= 0) & (place < len(grid))
    found[place[keep]] = values[keep]
    return found


def carried(values: NDArray[np.float64], hours: int = CARRIED_H) -> NDArray[np.float64]:
    """Return hourly values with each holding over the gaps after it, for at most `hours` hours.

    >>> carried(np.array([np.nan, 2.0, np.nan, np.nan]), 1)
    array([nan,  2.,  2., nan])
    """
    known = np.where(np.isfinite(values), np.arange(len(values)), -1)
    last = np.maximum.accumulate(known)
    age = np.arange(len(values)) - last
    return np.where((last >= 0) & (age <= hours), values[np.maximum(last, 0)], np.nan)

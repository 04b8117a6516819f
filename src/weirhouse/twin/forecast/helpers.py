"""What do rain and other gauges add? Figures on the turbidity's grid that the rules may learn to use."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from weirhouse.twin.forecast.series import PER_HOUR, STEP, Floats, Grid

if TYPE_CHECKING:
    from weirhouse.situation.model import Track

GAUGES = ("level", "stage", "flow", "discharge", "upstream", "gauge")  # a channel with one of these in its name
RAIN_HOURS = (1, 3, 6, 24)
GAUGE_HOURS = (1, 3, 6)
LEAST_SHARE = 0.5  # of the grid that a gauge must cover to be learned from
ABREAST = 3 * 3600.0  # a gauge that ends earlier than this before the forecast is not used [s]


def rain_on(grid: Grid, rain: Track) -> Floats:
    """Return rain in each quarter-hour of the grid [mm]; 0 where nothing is recorded.

    The track holds the rain fallen since the reading before [m].
    """
    good = rain.good
    n = len(grid.z)
    slot = n - 1 - (grid.end - good.times) // STEP
    inside = (slot >= 0) & (slot < n) & (good.times <= grid.end)
    fallen = 1000.0 * good.values[inside].clip(0.0)
    return np.bincount(slot[inside].astype(np.int64), weights=fallen, minlength=n).astype(np.float64)


def sums(amounts: Floats, hours: int) -> Floats:
    """Return running sums over the last `hours` h."""
    total = np.concatenate([[0.0], np.cumsum(amounts)])
    i = np.arange(1, len(amounts) + 1)
    return np.asarray(total[i] - total[np.maximum(i - hours * PER_HOUR, 0)])


def _gauge_on(grid: Grid, track: Track) -> Floats | None:
    good = track.good
    if len(good) < 2 or grid.end - good.times[-1] > ABREAST:
        return None
    times = grid.times
    values = np.interp(times, good.times, good.values)
    covered = (times >= good.times[0]).mean()
    return values if covered >= LEAST_SHARE else None


def figures(grid: Grid, rain: Track | None, gauges: Mapping[str, Track]) -> tuple[Floats | None, list[str]]:
    """Return figures at every grid point, (points, figures), and the names of the records they are from.

    Rain: roots of its sums [mm^0.5]. A gauge: its changes and its height above the median, in its own deviation.
    """
    columns, names = [], []
    if rain is not None and len(rain.good) and grid.end - rain.good.times[-1] <= 36 * 3600:
        fallen = rain_on(grid, rain)
        first = max(int(len(grid.z) - 1 - (grid.end - rain.good.times[0]) // STEP), 0)
        if (len(grid.z) - first) / max(len(grid.z), 1) >= LEAST_SHARE and fallen.sum() > 0:
            columns += [np.sqrt(sums(fallen, h)) for h in RAIN_HOURS]
            names.append(rain.channel)
    for name, track in gauges.items():
        if not any(word in name for word in GAUGES):
            continue
        values = _gauge_on(grid, track)
        if values is None:
            continue
        spread = float(values.std())
        if spread <= 0:
            continue
        scaled = (values - np.median(values)) / spread
        columns.append(np.clip(scaled, -4.0, 8.0))
        for h in GAUGE_HOURS:
            lag = h * PER_HOUR
            moved = np.zeros_like(scaled)
            moved[lag:] = scaled[lag:] - scaled[:-lag]
            columns.append(np.clip(moved, -4.0, 4.0))
        names.append(name)
    return (np.stack(columns, axis=1) if columns else None), names

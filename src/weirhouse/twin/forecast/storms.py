"""Which stretches of a record are storms? One rule for every record.

A storm is a peak of the hourly median that stands at least four times above the median of the 30 days before and at
10 NTU or more, the highest within 48 h. It begins where the turbidity last lay within a tenth of the way (in the
log) from the lowest of the 48 h before to the peak. Its window runs from 6 h before the beginning to 72 h after
the peak.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weirhouse.twin.forecast.features import states
from weirhouse.twin.forecast.series import PER_HOUR, Floats, Grid

TIMES_BASE = 4.0
LEAST_PEAK = 10.0  # [NTU] above the offset
APART = 48  # [h]
BEFORE, AFTER = 6, 72  # [h]


@dataclass(frozen=True, slots=True, kw_only=True)
class Storm:
    """Points of the grid at which a storm begins, peaks, and its window starts and ends."""

    begins: int
    peak: int
    first: int
    last: int
    size: float  # peak above the base [ln units]


def hourly_median(z: Floats) -> Floats:
    """Return the running median of five points, which one wild reading does not move; gaps stay."""
    padded = np.concatenate([[np.nan, np.nan], z, [np.nan, np.nan]])
    stack = np.stack([padded[k : k + len(z)] for k in range(5)])
    some = np.isfinite(z)
    out = np.full(len(z), np.nan)
    if some.any():
        out[some] = np.nanmedian(stack[:, some], axis=0)
    return out


def storms(grid: Grid, up_to: int | None = None) -> list[Storm]:
    """Return the storms of a record, oldest first; with `up_to`, those that a person could know at that point."""
    z = hourly_median(grid.z[: None if up_to is None else up_to + 1])
    n = len(z)
    points = np.arange(n - 1, -1, -PER_HOUR)[::-1].astype(np.int64)
    if not len(points):
        return []
    base = np.interp(np.arange(n), points, states(grid, points).base)
    floor = np.log(LEAST_PEAK + grid.scale.shift)
    candidates = np.flatnonzero(np.isfinite(z) & (z - base >= np.log(TIMES_BASE)) & (z >= floor))
    found: list[Storm] = []
    taken = np.zeros(n, np.bool_)
    order: NDArray[np.int64] = candidates[np.argsort(-z[candidates], kind="stable")]
    for peak in order:
        if taken[peak]:
            continue
        reach = APART * PER_HOUR
        a, b = max(0, peak - reach), min(n, peak + reach + 1)
        around = z[a:b]
        taken[a:b] = True
        if np.nanmax(around) > z[peak] + 1e-12:  # on the flank of a higher one
            continue
        before = z[a : peak + 1]
        low = float(np.nanmin(before))
        under = np.flatnonzero(before <= low + 0.1 * (z[peak] - low))
        begins = int(a + under[-1])
        found.append(
            Storm(
                begins=begins, peak=int(peak), first=max(0, begins - BEFORE * PER_HOUR),
                last=min(n - 1, int(peak) + AFTER * PER_HOUR), size=float(z[peak] - base[peak]),
            )
        )  # fmt: skip
    return sorted(found, key=lambda storm: storm.peak)

"""What did the stream do, on one even grid of quarter-hours, in the scale in which storms of all streams look alike?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from weirhouse.situation.model import Track

Floats = NDArray[np.float64]

STEP = 900  # of the grid [s]
PER_HOUR = 3600 // STEP
LONGEST_FILL = 4.5 * 3600  # a gap up to here is bridged by a straight line in the log [s]
YEARS_READ = 4.0  # older records are not read


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Readings [NTU] to ln(reading - offset + shift) and back.

    `offset` is below 0 for an instrument that reads clear water as less than nothing; it is kept, not clipped.
    `shift` keeps the logarithm from magnifying the last digit of very clear water.
    """

    offset: float
    shift: float

    def into(self, ntu: Floats) -> Floats:
        """Return the log turbidity [-] of readings [NTU]."""
        return np.asarray(np.log(np.maximum(ntu - self.offset, 0.0) + self.shift))

    def back(self, z: Floats) -> Floats:
        """Return the reading [NTU] of a log turbidity [-]."""
        return np.asarray(np.exp(z) - self.shift + self.offset)


def scale_of(ntu: Floats) -> Scale:
    """Return the scale that suits the good readings of a record [NTU]."""
    low = float(np.quantile(ntu, 0.05)) if len(ntu) else 0.0
    if low < 0:
        return Scale(offset=low, shift=0.3)
    return Scale(offset=0.0, shift=0.1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Log turbidity every quarter-hour up to the newest good reading; NaN where the record has a gap."""

    end: int  # time of the last point [UTC epoch s]
    z: Floats  # oldest first
    measured: NDArray[np.bool_]  # False where bridged
    scale: Scale

    @property
    def times(self) -> NDArray[np.int64]:
        """Times of the points [UTC epoch s]."""
        return np.asarray(self.end - STEP * np.arange(len(self.z) - 1, -1, -1), np.int64)


def lay_out(track: Track, end: int, scale: Scale) -> Grid:
    """Return the good readings of a track up to `end` [UTC epoch s] on the grid whose last point is `end`.

    A point is the mean log of the readings within half a step of it; where there is none, a straight line between the
    neighbours as long as they are not more than `LONGEST_FILL` apart.
    """
    good = track.good
    first = max(end - int(YEARS_READ * 365.25 * 86400), int(good.times[0]) if len(good) else end)
    keep = (good.times >= first) & (good.times <= end + STEP // 2)
    times, z = good.times[keep], scale.into(good.values[keep])
    n = int((end - first) // STEP) + 1
    slot = n - 1 - ((end - times + STEP // 2) // STEP)
    inside = (slot >= 0) & (slot < n)
    times, z, slot = times[inside], z[inside], slot[inside].astype(np.int64)
    counts = np.bincount(slot, minlength=n)
    sums = np.bincount(slot, weights=z, minlength=n)
    out = np.full(n, np.nan)
    measured = counts > 0
    out[measured] = sums[measured] / counts[measured]
    at = np.flatnonzero(measured)
    if len(at) > 1:
        filled = np.interp(np.arange(n), at, out[at])
        before = np.searchsorted(at, np.arange(n), side="right") - 1
        width = at[np.minimum(before + 1, len(at) - 1)] - at[np.maximum(before, 0)]
        bridge = ~measured & (before >= 0) & (before < len(at) - 1) & (width * STEP <= LONGEST_FILL)
        out[bridge] = filled[bridge]
    return Grid(end=end, z=out, measured=measured, scale=scale)

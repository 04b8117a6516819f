"""What about the stream's present state tells where it goes? Figures that mean the same at every stream.

All are differences of log turbidity, so a stream of 3 NTU and one of 300 NTU are told apart by their state alone.
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from weirhouse.twin.forecast.series import PER_HOUR, Floats, Grid

BASE_DAYS = 30
LOOK_BACK = 48  # [h]
USUAL_PACE = -1.2  # middle of the streams read; stands in for the first three days of a record


@dataclass(frozen=True, slots=True, kw_only=True)
class States:
    """The state at each of several issue times, one row of each array to an issue time."""

    index: NDArray[np.int64]  # into the grid
    z: Floats  # log turbidity
    base: Floats  # median of the last 30 days
    excess: Floats  # above the base
    change: dict[float, Floats]  # over the last so many hours
    rise: Floats  # above the lowest of the last 24 h
    drop: Floats  # below the highest of the last 48 h
    since: Floats  # hours since that highest
    stir: Floats  # mean hourly change, either way, of the last 24 h
    noise: Floats  # middle distance of a reading from its neighbours over the last 6 h
    pace: (
        Floats  # ln ratio of the usual 2 h change to the usual 24 h change of the last 90 days: high at a flashy brook
    )
    days: Floats  # length of record before the issue time [d]


def _windowed(z: Floats, index: NDArray[np.int64], hours: float) -> Floats:
    """Return the `hours` before and at each index, oldest first; NaN before the record begins."""
    n = round(hours * PER_HOUR) + 1
    padded = np.concatenate([np.full(n - 1, np.nan), z])
    return np.asarray(sliding_window_view(padded, n)[index])


def _base(z: Floats, index: NDArray[np.int64]) -> Floats:
    """Return the median of the last 30 days, from six-hourly medians, without what is not yet known."""
    block = 6 * PER_HOUR
    pad = (-len(z)) % block
    blocks = np.concatenate([np.full(pad, np.nan), z]).reshape(-1, block)
    some = np.isfinite(blocks).any(axis=1)
    middle = np.full(len(blocks), np.nan)
    middle[some] = np.nanmedian(blocks[some], axis=1)
    n = BASE_DAYS * 4
    windows = sliding_window_view(np.concatenate([np.full(n - 1, np.nan), middle]), n)
    known = np.isfinite(windows).any(axis=1)
    medians = np.full(len(blocks), np.nan)
    medians[known] = np.nanmedian(windows[known], axis=1)
    row = np.maximum((index + pad) // block - 1, 0)  # the block before the present one
    found = medians[row]
    first = middle[np.flatnonzero(some)[0]] if some.any() else np.nan
    return np.where(np.isfinite(found), found, first)


def states(grid: Grid, index: NDArray[np.int64]) -> States:
    """Return the state at grid points `index`, from what was known then."""
    z = grid.z
    now = z[index]
    base = _base(z, index)
    base = np.where(np.isfinite(base), base, now)
    window = _windowed(z, index, LOOK_BACK)
    filled = np.where(np.isfinite(window), window, -np.inf)
    back = filled[:, ::-1]  # newest first: the latest of equal peaks counts
    at_peak = np.argmax(back, axis=1)
    peak = np.take_along_axis(back, at_peak[:, None], axis=1)[:, 0]
    day = window[:, -24 * PER_HOUR - 1 :]
    low = np.min(np.where(np.isfinite(day), day, np.inf), axis=1)
    change = {}
    for hours in (0.5, 1, 2, 3, 6, 12, 24):
        then = window[:, -1 - int(hours * PER_HOUR)]
        change[hours] = np.where(np.isfinite(then), now - then, 0.0)
    hourly = np.abs(np.diff(window[:, -1 - 24 * PER_HOUR :: PER_HOUR], axis=1))
    stir = _mean(hourly)
    late = window[:, -1 - 6 * PER_HOUR :]
    jitter = np.abs(late[:, 1:-1] - 0.5 * (late[:, :-2] + late[:, 2:]))
    noise = _mean(jitter)
    return States(
        index=index, z=now, base=base, excess=now - base, change=change, rise=now - low, drop=peak - now,
        since=at_peak / PER_HOUR, stir=stir, noise=noise, pace=_pace(z, index), days=index / (24 * PER_HOUR),
    )  # fmt: skip


def pick_rows(state: States, rows: NDArray[np.int64]) -> States:
    """Return some rows of some states."""
    plain = {field.name: getattr(state, field.name)[rows] for field in fields(States) if field.name != "change"}
    return States(change={hours: values[rows] for hours, values in state.change.items()}, **plain)


def _pace(z: Floats, index: NDArray[np.int64]) -> Floats:
    """Return ln of (mean 2 h change + 0.0007) / (mean 24 h change + 0.003), each either way, over the last 90 days."""
    n, kept = len(z), 90 * 24 * PER_HOUR
    means = []
    for hours, least in ((2, 0.0007), (24, 0.003)):
        lag = hours * PER_HOUR
        moved = np.full(n, np.nan)
        if n > lag:
            moved[lag:] = np.abs(z[lag:] - z[:-lag])
        some = np.isfinite(moved)
        total = np.concatenate([[0.0], np.cumsum(np.where(some, moved, 0.0))])
        count = np.concatenate([[0], np.cumsum(some)])
        start = np.maximum(index + 1 - kept, 0)
        k = count[index + 1] - count[start]
        means.append(((total[index + 1] - total[start]) / np.maximum(k, 1) + least, k))
    usual = np.log(means[0][0] / means[1][0])
    return np.asarray(np.where(means[1][1] >= 3 * 24 * PER_HOUR, usual, USUAL_PACE))


def _mean(values: Floats) -> Floats:
    """Return row means over what is finite; 0 where nothing is."""
    good = np.isfinite(values)
    return np.asarray(np.where(good, values, 0.0).sum(axis=1) / np.maximum(good.sum(axis=1), 1))


LEADS = (0.25, 1.0, 2.0, 3.0, 6.0, 9.0, 12.0, 18.0, 24.0, 36.0, 48.0, 60.0, 72.0)  # [h]


def yesterday(grid: Grid, index: NDArray[np.int64]) -> Floats:
    """Return how log turbidity moved over each lead from this time of day on the day before, (issue times, leads).

    Streams fed by melting snow or ice move with the clock; weighted by how alike the last two days were, so that
    a storm is not taken for a daily swing.
    """
    window = _windowed(grid.z, index, 72.0)
    day = 24 * PER_HOUR
    last, before = window[:, -day - 1 :: PER_HOUR], window[:, -2 * day - 1 : -day : PER_HOUR]
    a, b = last - _mean(last)[:, None], before - _mean(before)[:, None]
    both = np.isfinite(a) & np.isfinite(b)
    a, b = np.where(both, a, 0.0), np.where(both, b, 0.0)
    norm = np.maximum((a**2).sum(axis=1), (b**2).sum(axis=1))
    alike = np.clip((a * b).sum(axis=1) / np.maximum(norm, 1e-9), 0.0, 1.0) * (both.sum(axis=1) > 20)
    ahead = np.asarray([int((lead % 24) * PER_HOUR) for lead in LEADS])
    later = window[:, -day - 1 + ahead]
    moved = later - window[:, -day - 1][:, None]
    return np.asarray(alike[:, None] * np.where(np.isfinite(moved), moved, 0.0))

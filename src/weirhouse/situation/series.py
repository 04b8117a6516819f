"""What does a stretch of values tell? Pure functions on times (UTC epoch seconds) and values (NaN = gap)."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weirhouse.records.faults import quantile

Times = NDArray[np.int64]
Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line fitted by least squares: slope [unit per s] with its standard error, over `n` points."""

    slope: float
    error: float
    level: float  # fitted value at the last point
    n: int


def fit_line(x: Values, y: Values) -> Line | None:
    """Fit y on x [s]; None with fewer than three points or no spread in x.

    >>> fitted = fit_line(np.array([0.0, 60, 120, 180]), np.array([1.0, 2, 3, 4]))
    >>> fitted.slope * 60, fitted.n
    (1.0, 4)
    """
    if len(x) < 3:
        return None
    dx, dy = x - x.mean(), y - y.mean()
    spread = float(dx @ dx)
    if spread <= 0:
        return None
    slope = float(dx @ dy) / spread
    rest = dy - slope * dx
    error = float(np.sqrt(max(float(rest @ rest), 0.0) / (len(x) - 2) / spread)) if len(x) > 2 else float("inf")
    return Line(slope, error, float(y.mean() + slope * dx[-1]), len(x))


@dataclass(frozen=True, slots=True)
class Sum:
    """A flow summed over a stretch: volume [m^3], time with flow [s], and time for which nothing was recorded [s]."""

    volume: float
    filtering: float
    unrecorded: float


def usual_interval(times: Times) -> float:
    """Return the median spacing [s] of a series, or 900 s where there are fewer than two values."""
    return float(quantile(np.diff(times), 0.5)) if len(times) > 1 else 900.0


def sum_flow(times: Times, flows: Values, start: float, end: float, *, least: float, hold: float) -> Sum:
    """Sum a flow from `start` to `end` [epoch s]: each value holds until the next, for at most `hold` s.

    Flow below `least` [m^3/s] counts as standing. The value in force at `start` must come first if it is known.

    >>> t = np.array([0, 900, 1800], dtype=np.int64)
    >>> sum_flow(t, np.array([0.01, 0.01, 0.0]), 0, 3600, least=0.001, hold=1800)
    Sum(volume=18.0, filtering=1800.0, unrecorded=0.0)
    """
    keep = np.isfinite(flows)
    times, flows = times[keep], flows[keep]
    if not len(times) or end <= start:
        return Sum(0.0, 0.0, max(0.0, end - start))
    begins = np.clip(times.astype(float), start, end)
    ends = np.clip(np.minimum(np.append(times[1:].astype(float), end), times + hold), start, end)
    spans = np.maximum(ends - begins, 0.0)
    on = flows > least
    volume = float((spans * flows)[on].sum())
    return Sum(volume, float(spans[on].sum()), max(0.0, float(end - start - spans.sum())))


def filtering_clock(times: Times, flows: Values, at: Times, start: float, *, least: float, hold: float) -> Values:
    """Return, for each moment of `at`, the hours of filtering since `start`."""
    if not len(times) or not len(at):
        return np.zeros(len(at))
    keep = np.isfinite(flows)
    times, flows = times[keep], flows[keep]
    if not len(times):
        return np.zeros(len(at))
    begins = np.maximum(times.astype(float), start)
    ends = np.maximum(np.minimum(np.append(times[1:].astype(float), times[-1] + hold), times + hold), begins)
    on = flows > least
    run = np.where(on, ends - begins, 0.0)
    before = np.concatenate([[0.0], np.cumsum(run)[:-1]])
    which = np.clip(np.searchsorted(times, at, side="right") - 1, 0, len(times) - 1)
    inside = np.clip(at.astype(float) - begins[which], 0.0, run[which])
    return np.asarray((before[which] + inside) / 3600.0)

"""Does a sensor lie? Signs that a reading is the instrument's and not the water's.

Five signs, each judged from the values alone: a gap, a value outside of what the channel can be, a value that stands
still, a reading or two that leap away and come back, and a sudden fall to zero. A storm is none of them: it rises and
does not come back within two readings, however high it goes. The functions are pure; what they find is shown to the
operator and marks a reading doubtful, it never removes one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from weirhouse import quantity

Kind = Literal["gap", "out_of_range", "stuck", "spike", "fell_to_zero"]
Times = NDArray[np.int64]
Values = NDArray[np.float64]

GAP_PERIODS = 3.0  # a reading is missed when this many periods pass without one
STUCK_SECONDS = 4 * 3600  # water of a stream or plant does not stand still this long to the last digit shown
STUCK_READINGS = 12
STUCK_RATIO = 3.0  # and this many times longer than the stretches that all but few readings lie in
STUCK_FEW = 0.05
FREEZING = 0.3  # water under ice stands still here, to the last digit [degC]
SPIKE_NOISE = 12.0  # a leap this many times the usual step from reading to reading
SPIKE_UP, SPIKE_DOWN = 1.0, 0.5  # and this share of the value beside it
SPIKE_RETURN = 0.15  # and back, but for this share of the leap
SPIKE_LONGEST = 2
ZERO_SHARE = 0.02  # "zero" is below this share of the readings before
ZERO_OF_LOW = 0.1  # and below this share of what the channel reads when it is low
ZERO_LEVEL = {"degC": 5.0}  # from where a fall to zero at once is none of the water's, where zero is an ordinary value


@dataclass(frozen=True, slots=True)
class Fault:
    """A stretch of a series that looks like the instrument's doing, first and last reading included [UTC s]."""

    kind: Kind
    start: int
    end: int
    count: int
    why: str


def interval_of(times: Times) -> float:
    """Return the usual time from reading to reading; NaN for fewer than two readings. [s]

    >>> interval_of(np.array([0, 900, 1800, 5400]))
    900.0
    """
    steps = np.diff(times)
    steps = steps[steps > 0]
    return float(quantile(steps, 0.5)) if len(steps) else float("nan")


def quantile(values: Values, share: float) -> Values:
    """Return the quantile over the last axis, on a straight line between neighbours, as ``numpy.quantile`` does.

    That one loads a library of its own on its first call, which `today` has no time for.
    """
    ordered = np.sort(values, axis=-1)
    place = share * (ordered.shape[-1] - 1)
    below = int(place)
    above = min(below + 1, ordered.shape[-1] - 1)
    found: Values = ordered[..., below] + (place - below) * (ordered[..., above] - ordered[..., below])
    return found


def find(
    times: Times,
    values: Values,
    *,
    title: str,
    unit: str,
    display: str = "",
    low: float | None = None,
    high: float | None = None,
    interval: float | None = None,
    rests_at_zero: bool = False,
    until: int | None = None,
) -> tuple[Fault, ...]:
    """Return the faults of a series in order of time.

    Parameters
    ----------
    times, values:
        UTC seconds in rising order, and the values in the inside unit; NaN is no reading.
    title, unit, display:
        Name of the channel for the sentences, the inside unit, and the unit to show values in.
    low, high:
        What the instrument can mean, in the inside unit.
    interval:
        Time from reading to reading [s]; taken from the readings when not given.
    rests_at_zero:
        Whether zero, for hours, is an ordinary value (a flow when the plant stands, rain).
    until:
        Now [UTC s]: a gap at the end is a gap too.
    """
    known = np.isfinite(values)
    t, v = np.asarray(times, np.int64)[known], np.asarray(values, np.float64)[known]
    step = interval if interval else interval_of(t)
    show = _Shower(unit, display)
    found: list[Fault] = []
    found += _gaps(t, step, until, title)
    outside = (v < (-np.inf if low is None else low)) | (v > (np.inf if high is None else high))
    found += _out_of_range(t, v, outside, low, high, title, show)
    if len(v) >= 3:
        zero = np.zeros(len(v), np.bool_)
        if not rests_at_zero:  # what no instrument can mean is no level to fall from
            zero[~outside] = falls_to_zero(v[~outside], least_level=ZERO_LEVEL.get(unit, 0.0))
        stuck = stands_still(t, v, rests_at_zero=rests_at_zero)
        if unit == "degC":
            stuck &= v > FREEZING
        leaps = spikes(v)
        found += _stuck(t, v, stuck & ~zero, title, show)
        found += _spikes(t, v, leaps & ~outside, title, show)
        found += _zeros(t, v, zero & ~leaps, title, show)
    return tuple(sorted(found, key=lambda f: (f.start, f.kind)))


def doubtful(times: Times, faults: Sequence[Fault]) -> NDArray[np.bool_]:
    """Return which readings lie in a fault other than a gap."""
    out = np.zeros(len(times), np.bool_)
    for fault in faults:
        if fault.kind != "gap":
            a, b = np.searchsorted(times, (fault.start, fault.end + 1))
            out[a:b] = True
    return out


def spikes(values: Values) -> NDArray[np.bool_]:
    """Return which readings leap away from both neighbours and back, one or two at a time.

    A leap counts when it is far beyond the usual step from reading to reading, more than doubles or halves the value,
    and the reading after it is back where the one before it was. The peak of a storm fails the last test: its water
    recedes slowly.
    """
    n = len(values)
    out = np.zeros(n, np.bool_)
    if n < 5:
        return out
    usual = _usual_step(values)
    for k in range(1, SPIKE_LONGEST + 1):
        i = np.arange(1, n - k)
        before, after = values[i - 1], values[i + k]
        inside = np.lib.stride_tricks.sliding_window_view(values, k)[1 : n - k]
        middle = 0.5 * (before + after)
        away = inside - middle[:, None]
        leap = np.abs(away).min(axis=1)
        one_way = (away > 0).all(axis=1) | (away < 0).all(axis=1)
        size = np.maximum(np.abs(before), np.abs(after))
        share = np.where(away[:, 0] > 0, SPIKE_UP, SPIKE_DOWN)
        hit = one_way & (leap > SPIKE_NOISE * usual[i]) & (leap > share * size)
        hit &= np.abs(after - before) <= SPIKE_RETURN * leap
        for j in range(k):
            out[i[hit] + j] = True
    return out


def _usual_step(values: Values, around: int = 24) -> Values:
    """Return for each reading the usual size of a step near it: a high quantile of the steps around, without it."""
    steps = np.abs(np.diff(values))
    n = len(values)
    if len(steps) <= 2 * around:
        return np.full(n, _high(steps))
    windows = np.lib.stride_tricks.sliding_window_view(steps, 2 * around)
    high = quantile(windows, 0.75)
    middle: Values = np.concatenate([np.full(around, high[0]), high, np.full(n - around - len(high), high[-1])])
    usual: Values = np.maximum(middle, _resolution(values))
    return usual


def _high(steps: Values) -> float:
    return float(quantile(steps, 0.75)) if len(steps) else 0.0


def _resolution(values: Values) -> float:
    """Return the least step between two values shown: what the instrument can tell apart."""
    steps = np.diff(np.sort(values))  # not `unique`, which loads a library for it
    steps = steps[steps > 1e-12]
    return float(quantile(steps, 0.05)) if len(steps) else 0.0


def stands_still(times: Times, values: Values, *, rests_at_zero: bool = False) -> NDArray[np.bool_]:
    """Return which readings belong to a stretch of one and the same value that is too long for this series.

    A stretch counts when it lasts four hours and twelve readings, and three times longer than the stretches that all
    but a twentieth of the other readings lie in: a channel that is shown in coarse digits stands still by nature.
    """
    n = len(values)
    out = np.zeros(n, np.bool_)
    if n < STUCK_READINGS:
        return out
    edges = np.flatnonzero(np.diff(values) != 0) + 1
    starts = np.concatenate([[0], edges])
    ends = np.concatenate([edges, [n]])
    lengths = ends - starts
    long = (lengths >= STUCK_READINGS) & (times[ends - 1] - times[starts] >= STUCK_SECONDS)
    order = np.sort(lengths)
    before = np.cumsum(order)
    for k in np.flatnonzero(long).tolist():
        # of all other readings: the stretch in question must not be its own measure
        rest = n - int(lengths[k])
        at = int(np.searchsorted(before, (1 - STUCK_FEW) * rest))
        usual = float(order[min(at, len(order) - 1)]) if rest >= STUCK_READINGS else 1.0
        if lengths[k] > STUCK_RATIO * usual and not (rests_at_zero and values[starts[k]] == 0):
            out[starts[k] : ends[k]] = True
    return out


def falls_to_zero(values: Values, *, least_level: float = 0.0) -> NDArray[np.bool_]:
    """Return which readings are zero after a sudden fall from readings that were nowhere near it.

    `least_level` is the level from which a fall counts at all.
    """
    n = len(values)
    out = np.zeros(n, np.bool_)
    back = 6
    if n < 4:
        return out
    resolution = _resolution(values)
    above = values[values > resolution]
    floor = max(resolution, ZERO_OF_LOW * float(quantile(above, 0.05))) if len(above) else resolution
    in_fall = False
    zero = 0.0
    low = np.abs(values) <= floor
    for i in range(3, n):
        if in_fall:
            in_fall = out[i] = bool(abs(values[i]) <= zero)
            continue
        if not low[i]:
            continue
        before = values[max(0, i - back) : i]
        level = float(quantile(before, 0.5))
        zero = min(ZERO_SHARE * level, floor)
        if (
            level > max(10 * resolution, least_level)
            and float(before.min()) > 0.5 * level
            and abs(values[i]) <= ZERO_SHARE * level
        ):
            in_fall = out[i] = True
    return out


# --- sentences -------------------------------------------------------------------------------------------------------


class _Shower:
    """Shows a value in the unit people write it in."""

    def __init__(self, unit: str, display: str) -> None:
        self.unit, self.display = unit, display or unit

    def __call__(self, value: float) -> str:
        return quantity.show(value, self.unit, self.display)


def _stretches(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    padded = np.concatenate([[False], mask, [False]])
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _hours(seconds: float) -> str:
    return f"{seconds / 3600:.1f} h" if seconds >= 5400 else f"{seconds / 60:.0f} min"


def _gaps(t: Times, step: float, until: int | None, title: str) -> list[Fault]:
    if not len(t) or not step > 0:
        return []
    edges = t if until is None or until <= t[-1] else np.append(t, until)
    steps = np.diff(edges)
    out = []
    for k in np.flatnonzero(steps > GAP_PERIODS * step).tolist():
        why = f"{title}: no reading for {_hours(float(steps[k]))}, where one comes every {_hours(step)}."
        out.append(Fault("gap", int(edges[k]), int(edges[k + 1]), 0, why))
    return out


def _out_of_range(
    t: Times, v: Values, outside: NDArray[np.bool_], low: float | None, high: float | None, title: str, show: _Shower
) -> list[Fault]:
    out = []
    for a, b in _stretches(outside):
        worst = float(v[a:b][np.argmax(np.abs(v[a:b]))])
        limit = f"above {show(high)}" if high is not None and worst > high else f"below {show(low or 0.0)}"
        why = f"{title} reads {show(worst)}, {limit}: more than its instrument can mean."
        if limit.startswith("below"):
            why = f"{title} reads {show(worst)}, {limit}: less than its instrument can mean."
        out.append(Fault("out_of_range", int(t[a]), int(t[b - 1]), b - a, why))
    return out


def _stuck(t: Times, v: Values, mask: NDArray[np.bool_], title: str, show: _Shower) -> list[Fault]:
    return [
        Fault(
            "stuck",
            int(t[a]),
            int(t[b - 1]),
            b - a,
            f"{title} has stood at {show(float(v[a]))} for {_hours(float(t[b - 1] - t[a]))} ({b - a} readings): "
            "check the sample line, the wiper and the signal.",
        )
        for a, b in _stretches(mask)
    ]


def _spikes(t: Times, v: Values, mask: NDArray[np.bool_], title: str, show: _Shower) -> list[Fault]:
    out = []
    for a, b in _stretches(mask):
        top = float(v[a:b][np.argmax(np.abs(v[a:b] - v[max(0, a - 1)]))])
        why = (
            f"{title} leapt from {show(float(v[max(0, a - 1)]))} to {show(top)} and back within {b - a} "
            f"reading{'s' if b - a > 1 else ''}: a bubble, debris or the signal, not the water."
        )
        out.append(Fault("spike", int(t[a]), int(t[b - 1]), b - a, why))
    return out


def _zeros(t: Times, v: Values, mask: NDArray[np.bool_], title: str, show: _Shower) -> list[Fault]:
    out = []
    for a, b in _stretches(mask):
        why = (
            f"{title} fell from {show(float(v[max(0, a - 1)]))} to {show(float(v[a]))} at once: the instrument or "
            "its sample is off."
        )
        out.append(Fault("fell_to_zero", int(t[a]), int(t[b - 1]), b - a, why))
    return out

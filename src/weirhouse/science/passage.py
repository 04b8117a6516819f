"""How long does water take through tanks in a row when the flow comes and goes?

A stirred tank of constant volume V fed with the flow Q(t) empties of a pulse as ``dc/dt = -Q(t)/V c``: with the volume
that has passed, ``F(t) = integral of Q dt``, as the clock, the tank does not know whether the flow was steady. So the
*volume* that must pass before a parcel leaves n equal tanks in a row follows a gamma distribution of shape n and mean V
whatever the flow does, plug flow needs exactly V, and stages in series add up. That distribution is worked out once for
a train (`passing_volume`); each parcel then only reads it off against the recorded flow (`time_of`).

A tank whose level moves has its own clock, the number of times its content was renewed (`renewals`), and the train is
joined across such a tank by summing over the hours at which the parcel may have come (`join`).

Nothing here is random, and nothing needs the flow to be steady. Volumes in [m^3], times in [s], flows in [m^3/s].
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class Part(NamedTuple):
    """A piece of a stage: its volume [m^3] and how many equal stirred tanks it behaves like; None for plug flow."""

    volume: float
    tanks: float | None


class Spread(NamedTuple):
    """Distribution of the volume that must pass: grid [m^3], and the share of a parcel that has left by then [1]."""

    volume: Array
    share: Array

    def quantile(self, share: float) -> float:
        """Return the volume [m^3] after which `share` of the parcel has left."""
        return float(np.interp(share, self.share, self.volume))


def _hinge(x: Array, part: Part) -> Array:
    """Return E[max(x - X, 0)] [m^3] for the volume X that `part` holds a parcel back."""
    from scipy.special import gammainc  # loaded where it is needed: Today at the terminal goes without

    if part.tanks is None or part.volume == 0:
        return np.maximum(x - part.volume, 0.0)
    n = part.tanks
    scaled = np.maximum(x, 0.0) * n / part.volume
    held: Array = np.maximum(x, 0.0) * gammainc(n, scaled) - part.volume * gammainc(n + 1, scaled)
    return held


def passing_volume(parts: Sequence[Part]) -> Spread:
    """Return the distribution of the volume that passes while a parcel crosses `parts` in a row.

    Each part is laid on one grid with weights that keep its mean exactly (hat functions), and the parts are joined by
    convolution. The grid reaches eight standard deviations beyond the mean.

    One stirred tank alone gives the exponential distribution, whose median is ln 2 volumes:

    >>> round(passing_volume([Part(100.0, 1)]).quantile(0.5), 1)
    69.3
    """
    return _passing_volume(tuple(parts))


@lru_cache(maxsize=256)  # a plant's stages do not change between two looks at its timetable
def _passing_volume(parts: tuple[Part, ...], cells: int = 4096) -> Spread:
    mean = sum(part.volume for part in parts)
    if mean <= 0:
        return Spread(np.array([0.0, 0.0]), np.array([0.0, 1.0]))
    variance = sum(part.volume**2 / part.tanks for part in parts if part.tanks is not None)
    top = mean + 8.0 * float(np.sqrt(variance)) + 0.02 * mean
    step = top / (cells - 1)
    edges: Array = np.arange(-1.0, cells + 1.0) * step
    spectrum: NDArray[np.complex128] | None = None
    for part in parts:
        hinge = _hinge(edges, part)
        weight = (hinge[2:] - 2 * hinge[1:-1] + hinge[:-2]) / step
        turned = np.fft.rfft(weight, 2 * cells)
        spectrum = turned if spectrum is None else spectrum * turned
    assert spectrum is not None
    weight = np.fft.irfft(spectrum, 2 * cells)[:cells]
    weight[weight < 1e-12] = 0.0  # the rounding of the transform
    share = np.cumsum(weight)
    # a cell's weight stands for the half step on either side of its grid point
    volume = np.concatenate([[0.0], (np.arange(cells) + 0.5) * step])
    share = np.concatenate([[0.0], share / share[-1]])
    keep = np.concatenate([[True], np.diff(share) > 0])
    keep[:-1] |= keep[1:]
    return Spread(volume[keep], share[keep])


def passed(times: Array, flow: Array) -> Array:
    """Return the volume [m^3] that has passed at each of `times` [s]; a flow [m^3/s] holds until the next is recorded.

    Flow below zero counts as none: water does not go back up the plant.

    >>> passed(np.array([0.0, 100.0, 200.0]), np.array([0.01, 0.0, 0.01])).tolist()
    [0.0, 1.0, 1.0]
    """
    return np.concatenate([[0.0], np.cumsum(np.maximum(flow[:-1], 0.0) * np.diff(times))])


def time_of(volume: Array | float, times: Array, passed_by: Array) -> Array:
    """Return the first time [s] at which `passed_by` [m^3] reaches `volume` [m^3]; NaN where it does not."""
    asked = np.asarray(volume, dtype=float)
    after = np.clip(np.searchsorted(passed_by, asked, side="left"), 1, len(times) - 1)  # first moment of a standstill
    low, high = passed_by[after - 1], passed_by[after]
    share = np.where(high > low, (asked - low) / np.where(high > low, high - low, 1.0), 0.0)
    found = times[after - 1] + share * (times[after] - times[after - 1])
    return np.where((asked > passed_by[-1]) | (asked < passed_by[0]), np.nan, found)


def renewals(inflow_passed: Array, volume: Array) -> Array:
    """Return how many times the content of a tank of changing `volume` [m^3] was renewed, instant by instant.

    The outflow follows from the balance, Q_out = Q_in - dV/dt, so that its clock is the integral of Q_in/V less ln V:
    the level is never differentiated. Measured levels tremble; the clock never runs backwards.
    """
    rate = np.diff(inflow_passed) / (0.5 * (volume[1:] + volume[:-1]))
    clock = np.concatenate([[0.0], np.cumsum(rate)]) - np.log(volume / volume[0])
    forward: Array = np.maximum.accumulate(clock)
    return forward


def outflow_passed(inflow_passed: Array, volume: Array) -> Array:
    """Return the volume [m^3] that has left a tank of changing `volume` [m^3]: what came in less what stayed."""
    left: Array = np.maximum.accumulate(inflow_passed - (volume - volume[0]))
    return left


def join(arrived: Array, clock: Array, spread: Spread) -> Array:
    """Return the share of each parcel that has left a stage, given the share that has `arrived` (parcel, time).

    ``left(t) = sum over s of arrived'(s) G(clock(t) - clock(s))`` with G the distribution of the stage on its clock.
    """
    steps = np.diff(arrived, axis=-1, prepend=0.0)
    # what arrives between two instants is taken as arriving half way
    middle = np.concatenate([clock[:1], 0.5 * (clock[1:] + clock[:-1])])
    held = np.interp(clock[:, None] - middle[None, :], spread.volume, spread.share, left=0.0)
    result: Array = steps @ held.T
    return result


def arrival(share: float, times: Array, arrived: Array) -> float:
    """Return the time [s] at which `share` of a parcel has `arrived`; NaN when it has not within `times`."""
    if not arrived[-1] >= share:
        return float("nan")
    at = int(np.searchsorted(arrived, share))
    if at == 0:
        return float(times[0])
    low, high = arrived[at - 1], arrived[at]
    return float(times[at - 1] + (share - low) / (high - low) * (times[at] - times[at - 1]))


def tanks_for_baffling(factor: float) -> float | None:
    """Return how many tanks in series have `factor` as their T10/T [1]; None for plug flow (0.95 and above).

    >>> from scipy.special import gammaincinv
    >>> tanks = tanks_for_baffling(0.5)
    >>> round(float(gammaincinv(tanks, 0.1) / tanks), 3)
    0.5
    """
    from scipy.special import gammaincinv

    if factor >= 0.95:
        return None
    low, high = 0.2, 400.0
    for _ in range(60):
        middle = float(np.sqrt(low * high))
        if gammaincinv(middle, 0.1) / middle < factor:
            low = middle
        else:
            high = middle
    return middle

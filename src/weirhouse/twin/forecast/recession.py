"""How does a storm fade here? A two-stage recession in the log, drawn from a prior toward the stream's own."""

from dataclasses import dataclass

import numpy as np

from weirhouse.twin.forecast.series import PER_HOUR, Floats, Grid
from weirhouse.twin.forecast.storms import Storm, hourly_median

FAST = (float(np.log(9.0)), float(np.log(1.8)))  # ln h, its deviation: prior of the fast stage (from memory)
SLOW = (float(np.log(40.0)), float(np.log(1.8)))  # of the slow stage, below 0.3 of the peak (from memory)
TURNS_SLOW = 0.3  # of the peak
LIMB = 0.45  # deviation of ln tau from one storm to the next


@dataclass(frozen=True, slots=True, kw_only=True)
class Recession:
    """Time constants of a stream's falling limbs: ln h and deviation of the next storm's."""

    fast: tuple[float, float]
    slow: tuple[float, float]
    storms: int


def learn(grid: Grid, own: list[Storm]) -> Recession:
    """Return the recession drawn from the prior toward the falling limbs of the record's storms."""
    z = hourly_median(grid.z)
    fast, slow = [], []
    for storm in own:
        limb = z[storm.peak : storm.last + 1]
        before = z[max(0, storm.peak - 48 * PER_HOUR) : storm.peak]
        known = before[np.isfinite(before)]
        if not len(known):
            continue
        base = float(np.exp(known.min()))
        above = np.exp(limb) - base
        share = above / above[0] if above[0] > 0 else np.zeros_like(above)
        turned = np.flatnonzero(share < TURNS_SLOW)
        end = int(turned[0]) if len(turned) else len(share)
        fast += _tau(share[PER_HOUR : end + 1])
        slow += _tau(share[end:])
    return Recession(fast=_drawn(FAST, fast), slow=_drawn(SLOW, slow), storms=len(own))


def _tau(share: Floats) -> list[float]:
    """Return ln tau [ln h] of a stretch of a limb, by least squares on the log; nothing when it does not fall."""
    some = np.isfinite(share) & (share > 0.02)
    if some.sum() < 2 * PER_HOUR:
        return []
    hours = np.flatnonzero(some) / PER_HOUR
    y = np.log(share[some])
    slope = float(np.polyfit(hours, y, 1)[0])
    return [float(np.log(np.clip(-1.0 / slope, 0.5, 300.0)))] if slope < 0 else []


def _drawn(prior: tuple[float, float], seen: list[float]) -> tuple[float, float]:
    """Return mean and predictive deviation of the next storm's ln tau (normal prior, known storm-to-storm spread)."""
    mean, deviation = prior
    trust, each = 1.0 / deviation**2, 1.0 / LIMB**2
    total = trust + each * len(seen)
    middle = (trust * mean + each * float(np.sum(seen))) / total
    return middle, float(np.sqrt(1.0 / total + LIMB**2))


def on_this_limb(grid: Grid, recession: Recession) -> tuple[float, float]:
    """Return ln tau of the fast stage and its deviation, updated by the limb that the stream is on now.

    Bayesian straight line of ln(N - N_b) over time since the peak; where the limb is shorter than 2 h, or no limb, what
    past storms taught stands.
    """
    mean, deviation = recession.fast
    z = grid.z[-48 * PER_HOUR :]
    if len(z) < 3 * PER_HOUR or not np.isfinite(z).any():
        return mean, deviation
    peak = int(np.nanargmax(z))
    base = float(np.exp(np.nanmin(z)))
    limb = np.exp(z[peak:]) - base
    if len(limb) < 2 * PER_HOUR or not limb[0] > 0:
        return mean, deviation
    share = limb / limb[0]
    some = np.isfinite(share) & (share > TURNS_SLOW)
    if some.sum() < 2 * PER_HOUR:
        return mean, deviation
    hours = np.flatnonzero(some) / PER_HOUR
    y = np.log(share[some])
    slope, _ = np.polyfit(hours, y, 1)
    residual = y - np.polyval(np.polyfit(hours, y, 1), hours)
    spread = float(np.sqrt((residual**2).sum() / max(len(y) - 2, 1) / max(((hours - hours.mean()) ** 2).sum(), 1e-9)))
    if slope >= 0:
        return mean, deviation
    seen = float(np.log(np.clip(-1.0 / slope, 0.5, 300.0)))
    error = float(np.clip(spread / abs(slope) * np.sqrt(PER_HOUR), 0.15, 3.0))  # readings of one hour move together
    trust, each = 1.0 / deviation**2, 1.0 / error**2
    return (trust * mean + each * seen) / (trust + each), float(np.sqrt(1.0 / (trust + each)))


def fade(hours: Floats, start_share: Floats, fast: Floats, slow: Floats) -> Floats:
    """Return the factor by which turbidity above the base has faded after `hours`, two stages.

    `hours` (steps,) or (members, steps); `start_share` of the peak now, `fast` and `slow` [h] (members,). Returns
    (members, steps).
    """
    left = np.maximum(np.log(np.maximum(start_share, 1e-6) / TURNS_SLOW), 0.0) * fast  # h in the fast stage
    t = np.maximum(np.atleast_2d(hours), 0.0)
    quick = np.minimum(t, left[:, None])
    return np.asarray(np.exp(-quick / fast[:, None] - (t - quick) / slow[:, None]))

"""What paths follow from fading, rising on, and new storms alone? Whole paths of log turbidity, storm shapes kept."""

from dataclasses import dataclass

import numpy as np

from weirhouse.twin.forecast import onset, recession
from weirhouse.twin.forecast.features import States
from weirhouse.twin.forecast.onset import Onset
from weirhouse.twin.forecast.recession import Recession
from weirhouse.twin.forecast.series import Floats, Grid

MOST_STORMS = 4  # new ones within a forecast, at most
RISES_ON = (float(np.log(2.0)), 0.8)  # ln h that a rising stream rises on, deviation (from memory: t_p 1 to 6 h)
RETURNS = 36.0  # time constant of the slow noise about the path [h]


@dataclass(frozen=True, slots=True, kw_only=True)
class Now:
    """The state that paths start from, as plain numbers."""

    z: float
    base: float
    slope: float  # over the last hour [1/h]
    drop: float
    stir: float

    @classmethod
    def of(cls, state: States) -> "Now":
        """Return the newest of some states."""
        slope = max(float(state.change[1][-1]), float(state.change[3][-1]) / 3.0)
        return cls(
            z=float(state.z[-1]), base=float(state.base[-1]), slope=slope, drop=float(state.drop[-1]),
            stir=float(state.stir[-1]),
        )  # fmt: skip


def paths(
    now: Now,
    grid: Grid,
    hours: Floats,
    members: int,
    fading: Recession,
    arrivals: Onset,
    rng: np.random.Generator,
    storminess: float = 1.0,
) -> Floats:
    """Return log turbidity at `hours` after the newest reading, (members, steps).

    `storminess` multiplies the rate at which new storms arrive.
    """
    mean, deviation = recession.on_this_limb(grid, fading)
    fast = np.exp(mean + deviation * rng.standard_normal(members))
    slow = np.maximum(np.exp(fading.slow[0] + fading.slow[1] * rng.standard_normal(members)), fast)
    base = np.exp(min(now.base, now.z) + 0.1 * rng.standard_normal(members))
    above = np.maximum(np.exp(now.z) - base, 0.0)
    rising = now.slope > 0.05 and now.drop < 0.3
    on = np.exp(RISES_ON[0] + RISES_ON[1] * rng.standard_normal(members)) if rising else np.zeros(members)
    gain = np.minimum(now.slope, 1.5) * np.exp(0.4 * rng.standard_normal(members)) if rising else np.zeros(members)
    up = np.clip(hours[None, :] / np.maximum(on, 1e-6)[:, None], 0.0, 1.0)
    climbed = gain[:, None] * on[:, None] * (1.0 - (1.0 - up) ** 2) / 2.0  # the rise slackens toward the peak
    started = np.exp(-now.drop) if not rising else 1.0
    after = np.maximum(hours[None, :] - on[:, None], 0.0)
    faded = recession.fade(after, np.full(members, started), fast, slow)
    level = base[:, None] + above[:, None] * np.exp(climbed) * faded
    rate = arrivals.rate(grid.end) * storminess
    clock = np.zeros(members)
    for _ in range(MOST_STORMS):
        clock = clock + rng.exponential(1.0 / rate, members)
        height = np.exp(now.base + arrivals.size[0] + arrivals.size[1] * rng.standard_normal(members))
        if (clock > hours[-1]).all():
            break
        level = level + onset.event(rng, hours, clock, height, arrivals, fast, slow)
    return np.asarray(np.log(level) + wander(hours, members, 0.1 + 1.5 * min(now.stir, 0.3), rng))


def wander(hours: Floats, members: int, spread: float, rng: np.random.Generator) -> Floats:
    """Return slow noise that starts at nothing and returns to it, (members, steps), of final deviation `spread`."""
    steps = np.diff(np.concatenate([[0.0], hours]))
    keep = np.exp(-steps / RETURNS)
    kicks = rng.standard_normal((members, len(hours))) * (spread * np.sqrt(1.0 - keep**2))
    out = np.empty_like(kicks)
    last = np.zeros(members)
    for k in range(len(hours)):
        last = keep[k] * last + kicks[:, k]
        out[:, k] = last
    return out

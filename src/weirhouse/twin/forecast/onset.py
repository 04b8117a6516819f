"""When may the next storm come, how large, and what shape? Seasonal arrivals, drawn toward the plant's own record."""

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from weirhouse.twin.forecast.series import PER_HOUR, STEP, Floats, Grid
from weirhouse.twin.forecast.storms import Storm

YEARLY = (20.0, 0.25)  # storms a year at the streams read, and what that weighs in years of own record
SIZE = (2.6, 0.9)  # ln(peak / base) and its deviation: middle of the streams read
SIZE_WEIGHS = 5.0  # storms
RISE = (float(np.log(4.0)), 0.8)  # ln h from beginning to peak and its deviation


@dataclass(frozen=True, slots=True, kw_only=True)
class Onset:
    """Arrivals and sizes of storms."""

    monthly: Floats  # storms an hour in each calendar month, (12,)
    size: tuple[float, float]  # ln(peak / base), deviation
    rise: tuple[float, float]  # ln h, deviation
    storms: int
    years: float

    def rate(self, at: float) -> float:
        """Return storms an hour at a time [UTC epoch s]."""
        return float(self.monthly[datetime.fromtimestamp(at, UTC).month - 1])


def learn(grid: Grid, own: list[Storm]) -> Onset:
    """Return the arrivals drawn from the prior toward the storms of the record."""
    seen = np.isfinite(grid.z)
    years = float(seen.sum()) * STEP / (365.25 * 86400)
    yearly = (YEARLY[0] * YEARLY[1] + len(own)) / (YEARLY[1] + years)
    times = grid.times
    months = (times.astype("datetime64[s]").astype("datetime64[M]").astype(int) % 12)[:: 6 * PER_HOUR]
    exposure = np.bincount(months[seen[:: 6 * PER_HOUR]], minlength=12) * 6 / 8766.0  # years
    at = [int(times[storm.peak].astype("datetime64[s]").astype("datetime64[M]").astype(int)) % 12 for storm in own]
    count = np.bincount(np.asarray(at, int), minlength=12).astype(float)
    near = np.stack([np.roll(np.eye(12), k, axis=0) * w for k, w in ((-1, 0.5), (0, 1.0), (1, 0.5))]).sum(axis=0)
    factor = (near @ count + 3.0) / (yearly * (near @ exposure) + 3.0)
    sizes = np.asarray([storm.size for storm in own])
    rises = np.log(np.clip([(storm.peak - storm.begins) / PER_HOUR for storm in own], 0.5, 48.0))
    return Onset(
        monthly=np.asarray(yearly * factor / 8766.0), size=_drawn(SIZE, sizes), rise=_drawn(RISE, np.asarray(rises)),
        storms=len(own), years=years,
    )  # fmt: skip


def _drawn(prior: tuple[float, float], seen: Floats) -> tuple[float, float]:
    n = len(seen)
    middle = (SIZE_WEIGHS * prior[0] + float(np.sum(seen))) / (SIZE_WEIGHS + n)
    square = (SIZE_WEIGHS * prior[1] ** 2 + float(((seen - middle) ** 2).sum() if n else 0.0)) / (SIZE_WEIGHS + n)
    return middle, float(np.sqrt(square))


def shape(since: Floats, rise: Floats, power: Floats, fast: Floats, slow: Floats, share: Floats) -> Floats:
    """Return a storm's shape, 1 at its peak, at hours `since` it began, (members, steps).

    Rising (x^p exp(p (1 - x)), x = since / rise), then falling as two exponentials of shares `share` and the rest.
    """
    x = since / rise[:, None]
    up = np.clip(x, 1e-9, 1.0)
    p = power[:, None]
    rising = up**p * np.exp(p * (1.0 - up))
    after = np.maximum(since - rise[:, None], 0.0)
    w = share[:, None]
    falling = w * np.exp(-after / fast[:, None]) + (1.0 - w) * np.exp(-after / slow[:, None])
    return np.asarray(np.where(since <= 0, 0.0, np.where(x < 1.0, rising, falling)))


def event(
    rng: np.random.Generator, hours: Floats, begins: Floats, height: Floats, onset: Onset, fast: Floats, slow: Floats
) -> Floats:
    """Return turbidity added by one storm to each member, (members, steps), in the unit of `height`.

    `hours` of the steps (steps,), `begins` [h] and `height` (members,).
    """
    m = len(begins)
    rise = np.exp(onset.rise[0] + onset.rise[1] * rng.standard_normal(m))
    power, share = rng.uniform(1.0, 3.0, m), rng.uniform(0.6, 0.9, m)
    return height[:, None] * shape(hours[None, :] - begins[:, None], rise, power, fast, slow, share)

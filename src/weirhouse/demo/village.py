"""How much does Emberly drink? Demand of 1,010 people, by hour, day and season."""

import numpy as np

from weirhouse import quantity
from weirhouse.demo.clock import Clock, Floats, red_noise, smooth

# Share of the day's mean in each hour from midnight: a morning and an evening peak. common practice, no source
BY_HOUR = (
    0.45, 0.40, 0.36, 0.36, 0.45, 0.78, 1.33, 1.58, 1.48, 1.30, 1.16, 1.06,
    1.04, 1.00, 0.96, 0.97, 1.10, 1.38, 1.58, 1.48, 1.25, 1.00, 0.80, 0.62,
)  # fmt: skip
DAY_MEAN = 90_000.0  # [gal/day]


def demand(clock: Clock, air: Floats, rng: np.random.Generator) -> Floats:
    """Return the flow that leaves the tank on the hill in each quarter-hour. [m^3/s]"""
    n = len(clock.times)
    pattern = np.asarray(BY_HOUR) / np.mean(BY_HOUR)
    hour = clock.hour - 0.5
    low = np.floor(hour).astype(int)
    share = hour - low
    shape = pattern[low % 24] * (1 - share) + pattern[(low + 1) % 24] * share
    gardens = 0.16 * np.clip((smooth(air, 3 * 96) - 14) / 8, 0, 1.2)
    bleeders = 0.07 * np.clip(-smooth(air, 96) / 12, 0, 1)  # taps left running against frost
    weekend = np.where(clock.weekday >= 5, 1.05, 1.0)
    noise = np.exp(0.10 * red_noise(rng, n, 0.25, 3) + 0.035 * red_noise(rng, n, 0.25, 60))
    mean = quantity.convert(DAY_MEAN, "gal/day", "m^3/s")
    return np.asarray(mean * shape * (1 + gardens + bleeders) * weekend * noise)

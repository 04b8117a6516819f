"""Records for the tests of the forecast: a slice of an open one, and small ones made up here."""

from functools import cache
from pathlib import Path

import numpy as np

from weirhouse.situation.model import Track

SLICE = Path(__file__).parents[1] / "data" / "forecast" / "coldbrook_2019.csv"
FIRST = 1_556_668_800  # 2019-05-01T00:00Z


def track(times, values, flags=None, channel="raw_turbidity"):
    flags = np.zeros(len(times)) if flags is None else flags
    return Track(
        channel=channel,
        times=np.asarray(times, np.int64),
        values=np.asarray(values, float),
        flags=np.asarray(flags, np.uint8),
    )


@cache
def coldbrook():
    """USGS 01362500, May to August 2019, public domain."""
    rows = np.loadtxt(SLICE, delimiter=",", skiprows=2)
    return track(FIRST + 1800 * rows[:, 0].astype(np.int64), rows[:, 1])


def cut(whole, first, last):
    keep = (whole.times >= first) & (whole.times <= last)
    return track(whole.times[keep], whole.values[keep], whole.flags[keep], whole.channel)


def made_up(days=30.0, step=900, storms=(), base=3.0, seed=1, start=FIRST):
    """Calm water with some noise, and storms (day, peak) that rise in 3 h and fade with 10 h."""
    rng = np.random.default_rng(seed)
    times = start + step * np.arange(int(days * 86400 / step) + 1)
    hours = (times - start) / 3600.0
    ntu = base * np.exp(0.05 * rng.standard_normal(len(times)))
    for day, peak in storms:
        x = hours - 24.0 * day
        ntu = ntu + peak * np.where(x < 0, 0.0, np.where(x < 3, x / 3, np.exp(-(x - 3) / 10.0)))
    return track(times, ntu)

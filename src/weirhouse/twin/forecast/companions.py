"""What do temperature, UV254 and alkalinity do meanwhile? Paths that go with the paths of turbidity."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from weirhouse.twin.forecast.physics import wander
from weirhouse.twin.forecast.series import Floats

if TYPE_CHECKING:
    from weirhouse.situation.model import Track

DAYS = 14  # of temperature from which the daily swing is read
LINK_DAYS = 400  # of UV254 or alkalinity from which its link to turbidity is read
LEAST_PAIRS = 12
FORGETS = 24.0  # h in which a deviation from the link fades


def temperature(track: Track, at: int, times: Floats, members: int, rng: np.random.Generator) -> Floats | None:
    """Return paths of water temperature [degC], (members, steps): the last days' swing about a slowly wandering level.

    `times` [UTC epoch s]. None where the track has no good value of the last two days.
    """
    good = track.good
    keep = (good.times <= at) & (good.times > at - DAYS * 86400)
    t, v = good.times[keep].astype(float), good.values[keep]
    if not len(t) or at - t[-1] > 2 * 86400:
        return None
    days = np.floor((at - t) / 86400)
    means = np.asarray([v[days == d].mean() for d in np.unique(days)])
    level = v - np.interp(-days, -np.unique(days)[::-1], means[::-1])
    swing = np.zeros(24)
    hour = ((t % 86400) // 3600).astype(int)
    if len(means) >= 2:
        for h in range(24):
            swing[h] = level[hour == h].mean() if (hour == h).any() else np.nan
        swing = np.where(np.isfinite(swing), swing, 0.0)
    kernel = np.asarray([0.25, 0.5, 0.25])
    swing = np.convolve(np.concatenate([swing[-1:], swing, swing[:1]]), kernel, mode="valid")

    def cycle(when: Floats) -> Floats:
        return np.asarray(np.interp((when % 86400) / 3600.0, np.arange(-1, 26) + 0.5, _round(swing)))

    daily = float(np.clip(np.abs(np.diff(means)).mean() * 1.25 if len(means) > 2 else 0.8, 0.3, 2.5))  # deviation, 1 d
    steps = np.diff(np.concatenate([[float(at)], times])) / 86400.0
    walk = np.cumsum(rng.standard_normal((members, len(times))) * (daily * np.sqrt(np.maximum(steps, 0.0))), axis=1)
    path = float(v[-1]) + (cycle(times) - cycle(np.asarray([t[-1]]))) + walk
    return np.asarray(np.maximum(path, 0.0))


def _round(swing: Floats) -> Floats:
    return np.concatenate([swing[-1:], swing, swing[:2]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A straight line of a figure over log turbidity, its scatter, and how many pairs it was read from."""

    slope: float
    middle: float
    z_middle: float
    scatter: float
    pairs: int


def link(track: Track, z_times: Floats, z: Floats, at: int, prior: Link) -> Link:
    """Return the link of a track's values to log turbidity `z` at `z_times`, drawn toward `prior` by `prior.pairs`."""
    good = track.good
    keep = (good.times <= at) & (good.times > at - LINK_DAYS * 86400)
    t, v = good.times[keep].astype(float), good.values[keep]
    finite = np.isfinite(z)
    if not len(t) or finite.sum() < 2:
        return prior
    x = np.interp(t, z_times[finite], z[finite])
    mean_v, mean_x = float(v.mean()), float(x.mean())
    spread = float(((x - mean_x) ** 2).sum())
    usual = prior.pairs * 0.5**2  # as if the prior's pairs had half a log unit of scatter in turbidity
    slope = (usual * prior.slope * mean_v + float(((x - mean_x) * (v - mean_v)).sum())) / (usual + spread)
    rest = v - mean_v - slope * (x - mean_x)
    scatter = float(np.sqrt((rest**2).mean())) if len(v) > LEAST_PAIRS else prior.scatter * mean_v
    return Link(slope=slope, middle=mean_v, z_middle=mean_x, scatter=scatter, pairs=len(v))


# Share of the mean by which the figure moves for each e-fold of turbidity, and its scatter, where the plant's own pairs
# do not tell: starting assumptions, no source.
UV254 = Link(slope=0.20, middle=1.0, z_middle=0.0, scatter=0.15, pairs=20)
ALKALINITY = Link(slope=-0.08, middle=1.0, z_middle=0.0, scatter=0.08, pairs=20)


def linked(
    track: Track, prior: Link, history: tuple[Floats, Floats], z: Floats, at: int, times: Floats,
    rng: np.random.Generator,
) -> Floats | None:  # fmt: skip
    """Return paths of a figure that goes with turbidity, in its own unit, (members, steps).

    `history` is times and log turbidity of the record, `z` the paths of log turbidity. None where there is no value.
    """
    good = track.good
    known = good.times <= at
    if not known.any():
        return None
    found = link(track, *history, at, prior)
    last_time, last = float(good.times[known][-1]), float(good.values[known][-1])
    finite = np.isfinite(history[1])
    then = (
        float(np.interp(last_time, history[0][finite], history[1][finite])) if finite.any() else float(z[:, 0].mean())
    )
    off = last - (found.middle + found.slope * (then - found.z_middle))  # how far the last value lay from the line
    hours = (times - last_time) / 3600.0
    keep = np.exp(-np.maximum(hours, 0.0) / FORGETS)
    noise = wander(np.maximum((times - at) / 3600.0, 0.0), len(z), found.scatter, rng)
    path = found.middle + found.slope * (z - found.z_middle) + off * keep[None, :] + noise
    return np.asarray(np.maximum(path, 0.05 * abs(found.middle)))

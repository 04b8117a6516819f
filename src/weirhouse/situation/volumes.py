"""How much water do the stages hold, and which water is where now?"""

import math
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from weirhouse.plant.model import Plant
from weirhouse.situation.gather import moment
from weirhouse.situation.model import Track
from weirhouse.situation.series import usual_interval
from weirhouse.working import Known, Reading

WORTH_TELLING_S = 900.0  # water that is at the feed within a quarter of an hour needs no word
KNOWN_SHARE = 0.8  # of the water at a feed: when less of it is on record, nothing is said of it


def stage_volume(stage: object) -> float:
    """Return the water in a stage [m^3] as full as the plant file says; 0 where it holds none to speak of."""
    volume = getattr(stage, "volume", None)
    if volume is not None:
        return float(volume)
    stages = getattr(stage, "stages", None)
    if stages:
        # compartments side by side hold their volume each
        return math.fsum(float(part.volume) * float(getattr(part, "parallel", 1) or 1) for part in stages)
    sides = [
        float(side) for side in (getattr(stage, n, None) for n in ("length", "width", "depth")) if side is not None
    ]
    if len(sides) == 3:
        return sides[0] * sides[1] * sides[2]
    area, depth = getattr(stage, "area", None), getattr(stage, "depth", None)
    if area is not None and depth is not None:
        return float(area) * float(depth)
    diameter, length = getattr(stage, "inside_diameter", None), getattr(stage, "length", None)
    if diameter is not None and length is not None:
        return math.pi / 4 * float(diameter) ** 2 * float(length)
    return 0.0


@dataclass(frozen=True, slots=True)
class Ahead:
    """What lies between the stream and a stage: its water [m^3], and the stirred tanks in a row it behaves like."""

    volume: float
    tanks: float | None  # None: plug flow
    names: tuple[str, ...]


def ahead_of(plant: Plant, stage_id: str, flow: float | None) -> Ahead | None:
    """Return what lies ahead of a stage, if water takes long enough through it to be worth telling.

    Stages in a row are taken as one with the same mean and the same variance of the volume that must pass.
    """
    names, volume, variance = [], 0.0, 0.0
    for stage in plant.stages:
        if stage.id == stage_id:
            break
        held = stage_volume(stage)
        if held > 0:
            names.append(stage.name)
            volume += held
            tanks = _tanks(stage)
            variance += held**2 / tanks if tanks else 0.0
    if not volume or (flow and volume / flow < WORTH_TELLING_S):
        return None
    return Ahead(volume, volume**2 / variance if variance else None, tuple(names))


def _tanks(stage: Any) -> float | None:
    """Return the stirred tanks in a row that a stage behaves like; None for plug flow."""
    if stage.kind == "pipe":
        return None
    parts = getattr(stage, "stages", None)
    return float(len(parts)) if parts else float(getattr(stage, "compartments", 1.0))


def between_feed_and_filters(plant: Plant, feed_id: str) -> float:
    """Return the volume [m^3] from a feed to the settled water: what lies before the filters, or before the contact."""
    passed, total = False, 0.0
    for stage in plant.stages:
        if stage.kind in ("filters", "contact"):
            break
        if passed:
            total += stage_volume(stage)
        passed = passed or stage.id == feed_id
    return total


def raw_at(flow: Track, raw: Track, title: str, ahead: Ahead, when: datetime, zone: ZoneInfo) -> Known | None:
    """Return the raw turbidity, as it came in, of the water that is now behind `ahead`; None when it is not on record.

    What came in is weighed by how much of it is there now: a gamma density over the volume that has come in since.
    """
    flows, raws = flow.good, raw.good
    if len(flows) < 2 or not len(raws):
        return None
    volumes, weights = _weights(ahead)
    times = _came_in(flows, volumes, when.timestamp())
    which = np.searchsorted(raws.times, times, side="right") - 1
    age = times - raws.times[np.maximum(which, 0)]
    known = np.isfinite(times) & (which >= 0) & (age <= max(2 * 3600.0, 3 * usual_interval(raws.times)))
    if float(weights[known].sum()) < KNOWN_SHARE:
        return None
    share = weights[known] / weights[known].sum()
    turbidity = float(share @ raws.values[which[known]])
    middle, first, last = (moment(float(t)).astimezone(zone) for t in _quantiles(times[known], share, (0.5, 0.1, 0.9)))
    detail = f"as it came in; most of it between {min(first, last):%H:%M} and {max(first, last):%H:%M}"
    return Known(turbidity, Reading(title, "", middle, detail), "NTU")


def _weights(ahead: Ahead) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return volumes that came in since, and the share of the water that has each behind it."""
    if ahead.tanks is None:
        return np.array([ahead.volume]), np.array([1.0])
    n = ahead.tanks
    cells = 400
    top = ahead.volume * (1 + 4 / math.sqrt(n))
    volumes = (np.arange(cells) + 0.5) * top / cells
    scaled = n * volumes / ahead.volume
    density = np.exp((n - 1) * np.log(scaled) - scaled - ((n - 1) * math.log(max(n - 1, 1e-9)) - (n - 1)))
    return volumes, density / density.sum()


def _came_in(flow: Track, volumes: NDArray[np.float64], now: float) -> NDArray[np.float64]:
    """Return when the water came in that has each of `volumes` behind it; NaN before the record of flow."""
    times = np.append(flow.times.astype(float), now)
    steps = np.minimum(np.diff(times), 3600.0) * np.maximum(flow.values, 0.0)
    behind = np.append(np.cumsum(steps[::-1])[::-1], 0.0)
    # going back in time the volume behind only grows; of a standstill the later end is taken
    back, since = behind[::-1], times[::-1]
    keep = np.append(True, np.diff(back) > 0)
    found: NDArray[np.float64] = np.interp(volumes, back[keep], since[keep], right=np.nan)
    return found


def _quantiles(
    times: NDArray[np.float64], share: NDArray[np.float64], wanted: tuple[float, ...]
) -> NDArray[np.float64]:
    order = np.argsort(times, kind="stable")
    found: NDArray[np.float64] = np.interp(wanted, np.cumsum(share[order]), times[order])
    return found

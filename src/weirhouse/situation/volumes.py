"""How much water do the stages hold, and which water is where now?"""

import math
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse.plant.model import Plant
from weirhouse.situation.gather import moment
from weirhouse.situation.model import Track
from weirhouse.situation.trends import known_at
from weirhouse.working import Entry, Known

WORTH_TELLING_S = 900.0  # water that is at the feed within a quarter of an hour needs no word


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


def ahead_of(plant: Plant, stage_id: str, flow: float | None) -> Known | None:
    """Return the volume between the stream and a stage, if water takes long enough through it to be worth telling."""
    names, total = [], 0.0
    for stage in plant.stages:
        if stage.id == stage_id:
            break
        volume = stage_volume(stage)
        if volume > 0:
            names.append(stage.name)
            total += volume
    if not total or (flow and total / flow < WORTH_TELLING_S):
        return None
    return Known(total, Entry("train", f"what the stages ahead hold: {', '.join(names)}"), "m^3")


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


def entered_when(flow: Track, volume: float, when: datetime) -> datetime | None:
    """Return when the water came in that has `volume` [m^3] behind it now; None when the record does not reach back."""
    good = flow.good
    if len(good) < 2:
        return None
    times = np.append(good.times.astype(float), when.timestamp())
    steps = np.minimum(np.diff(times), 3600.0) * np.maximum(good.values, 0.0)
    behind = np.cumsum(steps[::-1])[::-1]  # volume that came in from each reading until now
    over = np.flatnonzero(behind >= volume)
    if not len(over):
        return None
    i = int(over[-1])
    rest = behind[i] - volume
    return moment(times[i] + (rest / good.values[i] if good.values[i] > 0 else 0.0))


def raw_at(flow: Track, raw: Track, title: str, volume: float, when: datetime, zone: ZoneInfo) -> Known | None:
    """Return the raw turbidity with which the water came in that has `volume` behind it now."""
    entered = entered_when(flow, volume, when)
    return None if entered is None else known_at(raw, title, "NTU", entered, zone, within_s=2 * 3600.0)

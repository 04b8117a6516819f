"""How full are the tanks and what does the village take?"""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse.situation.ages import local_midnight
from weirhouse.situation.gather import Hours, moment
from weirhouse.situation.model import Demand, Tank, Track, Value
from weirhouse.working import Known, Reading


def tank(stage: str, level: Value, track: Track, when: datetime, zone: ZoneInfo) -> Tank:
    """Return a tank's level and the lowest good level of the last hour."""
    good = track.good
    keep = good.times >= when.timestamp() - 3600
    lowest = None
    if keep.any():
        i = int(np.argmin(good.values[keep]))
        at = moment(good.times[keep][i]).astimezone(zone)
        lowest = Known(float(good.values[keep][i]), Reading(level.title, "", at, "lowest of the last hour"), level.unit)
    return Tank(stage=stage, level=level, lowest_in_hour=lowest)


def peak_of_hour(flow: Value, track: Track, when: datetime, zone: ZoneInfo) -> Known | None:
    """Return the highest good flow of the last hour."""
    good = track.good
    keep = good.times >= when.timestamp() - 3600
    if not keep.any():
        return None
    i = int(np.argmax(good.values[keep]))
    at = moment(good.times[keep][i]).astimezone(zone)
    return Known(float(good.values[keep][i]), Reading(flow.title, "", at, "highest of the last hour"), flow.unit)


def demand(now: Value, hours: Hours, when: datetime, zone: ZoneInfo) -> Demand:
    """Return the demand from its own meter; where there is none, everything but `now` is empty."""
    if len(hours) == 0:
        return Demand(now=now, last_day=None, peak_hour=None, by_hour=(), basis="demand is not measured")
    day = hours.since(when.timestamp() - 86400)
    title, here = now.title, when.astimezone(zone)
    last_day = peak = None
    if len(day) >= 12:
        detail = f"mean of {len(day)} hours to this one"
        last_day = Known(float(day.mean.mean()), Reading(title, "", here, detail), "m^3/s")
        top = int(np.argmax(day.mean))
        at = moment(day.hour[top]).astimezone(zone)
        peak = Known(float(day.mean[top]), Reading(title, "", at, "highest hour of the last day"), "m^3/s")
    totals, counts = np.zeros(24), np.zeros(24)
    for epoch, mean in zip(hours.hour, hours.mean, strict=True):
        hour = datetime.fromtimestamp(int(epoch), UTC).astimezone(zone).hour
        totals[hour] += mean
        counts[hour] += 1
    by_hour: tuple[Known, ...] = ()
    if (counts > 0).all():
        days = int(counts.max())
        by_hour = tuple(
            Known(
                float(t / c),
                Reading(title, "", here, f"mean from {h:02d}:00 to {h + 1:02d}:00 over {days} days"),
                "m^3/s",
            )
            for h, (t, c) in enumerate(zip(totals, counts, strict=True))
        )
    return Demand(now=now, last_day=last_day, peak_hour=peak, by_hour=by_hour, basis=f"{title}, hourly means")


def rain_today(track: Track, title: str, when: datetime, zone: ZoneInfo) -> Known | None:
    """Return the rain [m] since local midnight, or None where rain is not recorded."""
    good = track.good
    if not len(good):
        return None
    keep = good.times > local_midnight(when, zone).timestamp()
    detail = f"sum of {int(keep.sum())} readings since midnight"
    return Known(float(good.values[keep].sum()), Reading(title, "", when.astimezone(zone), detail), "m")

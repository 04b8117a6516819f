"""What was recorded this month so far? Counts and extremes from hourly roll-ups; percentages are the desk's."""

from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse.situation.ages import local_midnight, month_start
from weirhouse.situation.gather import Hours, moment
from weirhouse.situation.model import Month
from weirhouse.working import Known, Reading

PERIOD_H = 4  # a reading at least every four hours is recorded for the month (40 CFR 141.74(c)(1), memory)


def month(
    channel: str, title: str, unit: str, hours: Hours, running: Hours, least: float, limit: float | None,
    when: datetime, zone: ZoneInfo,
) -> Month:  # fmt: skip
    """Return a channel's month so far.

    Hours in which the plant stood do not count, where its flow tells. A four-hour period counts with the last value
    recorded in it; periods begin at local midnight.
    """
    first = month_start(when, zone)
    mine = hours.since(first.timestamp())
    keep = mine.n > 0
    if len(running):
        ran = set(running.hour[running.maximum > least].tolist())
        known = set(running.hour.tolist())
        keep &= np.array([h in ran or h not in known for h in mine.hour.tolist()], dtype=bool)
    count = int(mine.n[keep].sum())
    highest = lowest = None
    highest_at = lowest_at = None
    if keep.any():
        top, low = int(np.argmax(mine.maximum[keep])), int(np.argmin(mine.minimum[keep]))
        highest_at, lowest_at = moment(mine.hour[keep][top]), moment(mine.hour[keep][low])
        detail = f"of {count} recorded since {first.astimezone(zone):%Y-%m-%d}"
        highest = Known(
            float(mine.maximum[keep][top]), Reading(title, "", highest_at.astimezone(zone), f"highest {detail}"), unit
        )
        lowest = Known(
            float(mine.minimum[keep][low]), Reading(title, "", lowest_at.astimezone(zone), f"lowest {detail}"), unit
        )
    last: dict[int, float] = {}
    for epoch, value in zip(mine.hour[keep], mine.last[keep], strict=True):
        last[_period(float(epoch), zone)] = float(value)
    over = sum(value > limit for value in last.values()) if limit is not None else 0
    return Month(
        channel=channel, title=title, first_day=first, values=count, hours=int(keep.sum()),
        maximum=highest, maximum_at=highest_at, minimum=lowest, minimum_at=lowest_at,
        periods=len(last), periods_over=over, limit=limit,
    )  # fmt: skip


def _period(epoch: float, zone: ZoneInfo) -> int:
    """Return a number that is the same for all hours of one four-hour period of a local day."""
    at = moment(epoch)
    return int(local_midnight(at, zone).timestamp()) + at.astimezone(zone).hour // PERIOD_H

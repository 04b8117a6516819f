"""What is fed now, since when, and what was fed before at water like this?"""

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Protocol
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from weirhouse.records.faults import quantile
from weirhouse.records.model import Event
from weirhouse.situation.gather import Hours, moment
from weirhouse.situation.model import FeedInForce, PastDose, SimilarDoses, Track, Value
from weirhouse.working import Known, Reading

SIMILAR = 1.5  # raw turbidity within this factor counts as similar water
NEWEST = 240  # hours at similar water: the newest say most of the product and the water of now
CARRIED_H = 24  # a dose read at the rounds stands for the hours after it, for at most a day
_BY_ROLE = {"coagulant": "coagulant", "disinfectant": "chlorine"}


class FeedStage(Protocol):
    """What is needed of a feed in the plant file."""

    @property
    def id(self) -> str: ...
    @property
    def role(self) -> str: ...


def feed_channel(feed: FeedStage, what: str, channels: Mapping[str, object]) -> str:
    """Return the channel id of a feed's "dose", "setting" or "tank_level": by its id, else by its role."""
    own = f"{feed.id}_{what}"
    if own in channels or feed.role not in _BY_ROLE:
        return own
    other = f"{_BY_ROLE[feed.role]}_{what}"
    return other if other in channels else own


def in_force(
    feed: str,
    dose: Value,
    setting: Value,
    level: Value,
    track: Track,
    events: Sequence[Event],
    past: Hours,
    zone: ZoneInfo,
) -> FeedInForce:
    """Return a feed's state. `since` is the last recorded dose change, else the moment the dose took its value."""
    changes = [e for e in events if e.kind == "dose_change" and e.subject == feed]
    since = changes[-1].started_at if changes else _constant_since(track)
    lowest = highest = None
    used = past.minimum[past.minimum > 0] if len(past) else np.empty(0)
    if len(used):
        at = moment(past.hour[-1]).astimezone(zone)
        first = moment(past.hour[0]).astimezone(zone)
        detail = f"of the doses recorded since {first:%Y-%m-%d}"
        lowest = Known(float(used.min()), Reading(dose.title, "", at, f"lowest {detail}"), dose.unit)
        highest = Known(float(past.maximum.max()), Reading(dose.title, "", at, f"highest {detail}"), dose.unit)
    return FeedInForce(
        feed=feed, dose=dose, setting=setting, tank_level=level, since=since,
        lowest_past_dose=lowest, highest_past_dose=highest,
    )  # fmt: skip


def _constant_since(track: Track) -> datetime | None:
    good = track.good
    if not len(good):
        return None
    other = np.flatnonzero(~np.isclose(good.values, good.values[-1], rtol=0.01))
    first = int(other[-1]) + 1 if len(other) else 0
    return moment(good.times[first])


def past_doses(
    turbidity: float, raw: Hours, dose: Hours, settled: Hours, flow: Hours, least: float, lag_h: int,
    before_h: int = 0,
) -> tuple[PastDose, ...]:  # fmt: skip
    """Return the hours with raw turbidity within a factor 1.5 of `turbidity` and a recorded dose, the newest 240.

    The raw turbidity is that of `before_h` hours of running before, when the water at the feed came in; the settled
    turbidity is taken `lag_h` hours of running later: that is how long the water needs to get there.
    """
    if not (math.isfinite(turbidity) and turbidity > 0) or not len(raw) or not len(dose):
        return ()
    first, last = int(raw.hour[0]), int(raw.hour[-1])
    count = (last - first) // 3600 + 1
    raws = _on_grid(raw, raw.mean, first, count)
    doses = _carried(_on_grid(dose, dose.last, first, count))
    settles = _on_grid(settled, settled.mean, first, count)
    runs = _on_grid(flow, flow.mean, first, count) > least if len(flow) else np.isfinite(raws)
    order = np.flatnonzero(runs)  # hours in which the plant ran, in turn: a standing hour does not move the water
    came = np.full(len(order), np.nan)
    if before_h < len(order):
        came[before_h:] = raws[order[: len(order) - before_h]]
    reached = np.full(len(order), np.nan)
    if lag_h < len(order):
        reached[: len(order) - lag_h] = settles[order[lag_h:]]
    fed = doses[order]
    with np.errstate(invalid="ignore"):
        alike = np.abs(np.log(np.maximum(came, 1e-9) / turbidity)) <= math.log(SIMILAR)
        keep = np.flatnonzero(alike & np.isfinite(fed) & (fed > 0))[::-1][:NEWEST]
    return tuple(
        PastDose(
            at=moment(first + 3600 * int(order[n])),
            raw_turbidity=float(came[n]),
            dose=float(fed[n]),
            settled_turbidity=float(reached[n]),
        )
        for n in keep
    )


def _on_grid(hours: Hours, values: NDArray[np.float64], first: int, count: int) -> NDArray[np.float64]:
    grid = np.full(count, np.nan)
    if len(hours):
        place = (hours.hour - first) // 3600
        keep = (place >= 0) & (place < count)
        grid[place[keep]] = values[keep]
    return grid


def _carried(grid: NDArray[np.float64]) -> NDArray[np.float64]:
    known = np.where(np.isfinite(grid), np.arange(len(grid)), -1)
    last = np.maximum.accumulate(known)
    age = np.arange(len(grid)) - last
    return np.where((last >= 0) & (age <= CARRIED_H), grid[np.maximum(last, 0)], np.nan)


def similar_doses(past: Sequence[PastDose], title: str, when: datetime, zone: ZoneInfo) -> SimilarDoses | None:
    """Return the middle and the spread of the doses fed in the past hours at similar water."""
    if not past:
        return None
    doses = np.array([one.dose for one in past])
    settled = np.array([one.settled_turbidity for one in past])
    settled = settled[np.isfinite(settled)]
    low, middle, high = (float(quantile(doses, share)) for share in (0.1, 0.5, 0.9))
    detail = f"of the newest {len(doses)} hours at raw turbidity within a factor {SIMILAR:g} of now's"
    here = when.astimezone(zone)

    def known(value: float, what: str, of: str, unit: str) -> Known:
        return Known(value, Reading(of, "", here, f"{what} {detail}"), unit)

    return SimilarDoses(
        hours=len(doses),
        middle=known(middle, "middle", title, "g/m^3"),
        low=known(low, "lowest tenth left out,", title, "g/m^3"),
        high=known(high, "highest tenth left out,", title, "g/m^3"),
        settled=known(float(quantile(settled, 0.5)), "middle", "Settled turbidity", "NTU") if len(settled) else None,
    )

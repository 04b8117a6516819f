"""Does the plant run? From its flow, and from the start and stop that the day log tells."""

from collections.abc import Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse.records.faults import quantile
from weirhouse.records.model import Event
from weirhouse.situation.ages import elapsed_s, local_midnight
from weirhouse.situation.gather import Hours, moment
from weirhouse.situation.model import Running, Track, Value
from weirhouse.situation.series import sum_flow, usual_interval
from weirhouse.working import Known, Reading

STANDING_SHARE = 0.05  # of the design flow: below this a meter's drift, not a running plant
TOLD_S = 36 * 3600.0  # an entry of the day log older than this does not go before the meter
LEAST_FLOW = 1e-5  # m^3/s, where the design flow is not known


def least_flow(design_flow: float | None) -> float:
    """Return the flow [m^3/s] above which the plant counts as running."""
    return STANDING_SHARE * design_flow if design_flow else LEAST_FLOW


def hold_s(track: Track) -> float:
    """Return for how long [s] a flow stands for what follows: three of its intervals, at least half an hour."""
    return max(1800.0, 3 * usual_interval(track.times))


def running(
    flow: Value, track: Track, events: Sequence[Event], least: float, when: datetime, zone: ZoneInfo
) -> Running:
    """Return whether the plant runs. A start or stop entered after the newest flow reading goes before it."""
    toggles = [e for e in events if e.kind in ("start", "stop") and e.started_at <= when]
    last = toggles[-1] if toggles else None
    gates = [e for e in events if e.kind in ("intake_shut", "intake_open") and e.started_at <= when]
    shut = bool(gates) and gates[-1].kind == "intake_shut" and (gates[-1].ended_at is None or gates[-1].ended_at > when)
    hours = _hours_today(flow, track, least, when, zone)
    good = track.good
    measured = flow.usable
    newest = flow.taken_at
    later = last is not None and (measured is None or newest is None or last.started_at > newest)
    if last is not None and later and (measured is None or elapsed_s(last.started_at, when) < TOLD_S):
        state = "running" if last.kind == "start" else "standing"
        return _running(state, last.started_at, f"{last.kind} entered in the day log", not shut, hours)
    if measured is None:
        return _running("unknown", None, "flow not known and no start or stop in the day log", not shut, hours)
    on = measured > least
    since = _since(good, least, on)
    state = "running" if on else "standing"
    return _running(state, since, "flow meter", not shut, hours)


def _running(state: str, since: datetime | None, why: str, intake_open: bool, hours: Known) -> Running:
    return Running(state=state, since=since, why=why, intake_open=intake_open, hours_today=hours)  # type: ignore[arg-type]


def _since(good: Track, least: float, on: bool) -> datetime | None:
    other = np.flatnonzero((good.values > least) != on)
    if not len(other) or other[-1] + 1 >= len(good):
        return None
    return moment(good.times[other[-1] + 1])


def _hours_today(flow: Value, track: Track, least: float, when: datetime, zone: ZoneInfo) -> Known:
    start = local_midnight(when, zone)
    good = track.good
    total = sum_flow(good.times, good.values, start.timestamp(), when.timestamp(), least=least, hold=hold_s(good))
    detail = "time with flow since midnight"
    if total.unrecorded > 1800:
        detail += ", flow not recorded for part of it"
    return Known(total.filtering, Reading(flow.title, "", when.astimezone(zone), detail), "s")


def running_by_hour(hours: Hours, least: float, zone: ZoneInfo) -> tuple[float, ...]:
    """Return for each local hour of the day the share of the recorded days on which the plant ran in it."""
    ran, seen = np.zeros(24), np.zeros(24)
    for epoch, mean in zip(hours.hour, hours.mean, strict=True):
        hour = datetime.fromtimestamp(int(epoch), UTC).astimezone(zone).hour
        seen[hour] += 1
        ran[hour] += mean > least
    if seen.sum() < 24:
        return ()
    return tuple(float(r / s) if s else 0.0 for r, s in zip(ran, seen, strict=True))


def usual_flow(hours: Hours, least: float, title: str, zone: ZoneInfo) -> Known | None:
    """Return the median flow [m^3/s] of the hours in which the plant ran throughout."""
    steady = hours.minimum > least
    if not steady.any():
        return None
    at = moment(hours.hour[steady][-1]).astimezone(zone)
    detail = f"median of {int(steady.sum())} running hours of the last days"
    return Known(float(quantile(hours.mean[steady], 0.5)), Reading(title, "", at, detail), "m^3/s")

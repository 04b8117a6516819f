"""How is this plant run when the stream is brown? Read off the records, each figure with what it was read from.

Nothing here says how the plant ought to be run: it is what was done, so that what is planned can be held against it.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from weirhouse.records.faults import quantile
from weirhouse.records.model import Event
from weirhouse.situation.feeds import feed_channel
from weirhouse.situation.gather import moment
from weirhouse.situation.model import Track
from weirhouse.situation.past import HOUR, Past
from weirhouse.situation.running import least_flow
from weirhouse.situation.volumes import ahead_of
from weirhouse.working import Known, Reading

EDGES = (0.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1e9)  # of raw turbidity [NTU]
FEWEST_H = 6  # running hours below which nothing is said of how the plant is run at such water
CLEAR = 20.0  # [NTU] below this nobody shuts an intake because of what comes in now
FEWEST = 3  # washes, starts or stops below which nothing is said of them
RECENT_H = 60 * 24  # the newest starts and stops say most
AFTER_WASH_S = 4 * 3600.0  # in which a filter is sent to waste after its backwash


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """What was done at raw turbidity from `low` to below `high` [NTU]: the middle of that many running hours."""

    low: float
    high: float
    value: Known
    hours: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WashHabit:
    """When one filter is backwashed: the head loss, turbidity and running time at the last ones; None: not known."""

    filter: str
    head_loss: Known | None  # [m]
    hours: Known | None  # of filtering [s]
    to_waste: Known | None  # how long it is sent to waste afterwards [s]
    washes: int
    by: Literal["head_loss", "hours", ""]  # which of the two its washes keep to more closely; empty: not known


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """The plant as the records show it is run. None where they do not tell, and the plant file does not either."""

    flow: Known | None  # while it runs on clear water [m^3/s]
    flows: tuple[Rung, ...]  # by raw turbidity
    shuts_above: Known | None  # raw turbidity at which the intake was shut [NTU]
    opens_below: Known | None
    doses: tuple[Rung, ...]  # of coagulant, by the raw turbidity with which the water at the feed came in [g/m^3]
    starts_below: Known | None  # level of the village's tank [m]
    stops_above: Known | None
    level_channel: str
    running_by_hour: tuple[float, ...]  # share of recent days on which it ran in each local hour; or empty
    washes: tuple[WashHabit, ...]
    wash_window: tuple[float, float] | None  # local time of day [s] between which backwashes are begun
    unknown: tuple[str, ...]  # what the records do not tell, in words


def habit(past: Past) -> Habit:
    """Return how the plant was run before the instant of `past`."""
    plant = past.plant
    least = least_flow(plant.design_flow)
    flows, raws = past.mean.get(past.flow_channel), past.mean.get("raw_turbidity")
    runs = flows > least if flows is not None else np.zeros(len(past.hour), bool)
    whole = runs & (past.lowest.get(past.flow_channel, np.zeros(len(past.hour))) > least)
    rungs = _rungs(past, raws, flows, whole, past.flow_channel, "m^3/s")
    shut, opened = _intake(past)
    starts, stops, tank = _tank(past, runs)
    found = Habit(
        flow=_usual(past, flows, whole),
        flows=rungs,
        shuts_above=shut,
        opens_below=opened,
        doses=_doses(past, raws, flows, runs),
        starts_below=starts,
        stops_above=stops,
        level_channel=tank,
        running_by_hour=_by_hour(past, runs, flows),
        washes=tuple(_washes(past, f.id, least) for f in plant.filters),
        wash_window=_window(past),
        unknown=(),
    )
    return _told(found)


def _known(past: Past, channel: str, hour: int, value: float, detail: str, unit: str) -> Known:
    known = past.plant.channels.get(channel)
    title = known.name if known else channel.replace("_", " ").capitalize()
    return Known(value, Reading(title, "", moment(hour).astimezone(past.zone), detail), unit)


def _usual(past: Past, flows: NDArray[np.float64] | None, whole: NDArray[np.bool_]) -> Known | None:
    if flows is None or not whole.any():
        return None
    newest = np.flatnonzero(whole)[-RECENT_H // 4 :]
    detail = f"middle of the newest {len(newest)} hours in which the plant ran throughout"
    return _known(
        past, past.flow_channel, int(past.hour[newest[-1]]), float(quantile(flows[newest], 0.5)), detail, "m^3/s"
    )


def _rungs(
    past: Past,
    raws: NDArray[np.float64] | None,
    values: NDArray[np.float64] | None,
    keep: NDArray[np.bool_],
    channel: str,
    unit: str,
) -> tuple[Rung, ...]:
    if raws is None or values is None:
        return ()
    found = []
    for low, high in itertools.pairwise(EDGES):
        with np.errstate(invalid="ignore"):
            inside = np.flatnonzero(keep & (raws >= low) & (raws < high) & np.isfinite(values))
        if len(inside) < FEWEST_H:
            continue
        detail = f"middle of {len(inside)} running hours at raw turbidity from {low:g} to {high:g} NTU"
        if high > 1e6:
            detail = f"middle of {len(inside)} running hours at raw turbidity above {low:g} NTU"
        middle = float(quantile(values[inside], 0.5))
        known = _known(past, channel, int(past.hour[inside[-1]]), middle, detail, unit)
        found.append(Rung(low=low, high=high, value=known, hours=len(inside)))
    return tuple(found)


def _doses(
    past: Past, raws: NDArray[np.float64] | None, flows: NDArray[np.float64] | None, runs: NDArray[np.bool_]
) -> tuple[Rung, ...]:
    feed = next((feed for feed in past.plant.feeds if feed.role == "coagulant"), None)
    if feed is None or raws is None or flows is None:
        return ()
    channel = feed_channel(feed, "dose", past.plant.channels)
    doses = past.mean.get(channel)
    if doses is None:
        return ()
    came = raws
    ahead = ahead_of(past.plant, feed.id, past.plant.design_flow)
    running = flows[runs]
    if ahead is not None and len(running):
        # a standing hour does not move the water: the water at the feed came in so many running hours before
        lag = round(ahead.volume / float(quantile(running, 0.5)) / HOUR)
        order = np.flatnonzero(runs)
        came = np.full(len(raws), np.nan)
        if 0 < lag < len(order):
            came[order[lag:]] = raws[order[:-lag]]
        elif lag == 0:
            came = raws
    return _rungs(past, came, doses, runs & (doses > 0), channel, "g/m^3")


def _intake(past: Past) -> tuple[Known | None, Known | None]:
    """Return the raw turbidity at which the intake was shut, and that at which it was opened again.

    Who shuts the evening before a storm shuts at clear water: such times tell nothing of how brown is too brown.
    """
    raw = past.stream.get("raw_turbidity")
    shuts, opens = (_at_gate(past, raw, kind) for kind in ("intake_shut", "intake_open"))
    brown = [(t, value) for t, value in shuts if value >= CLEAR]
    shut = opened = None
    if brown:
        detail = f"middle of {len(brown)} times at which the intake was shut on brown water"
        middle = float(quantile(np.array([value for _, value in brown]), 0.5))
        shut = _known(past, "raw_turbidity", int(brown[-1][0]), middle, detail, "NTU")
    else:
        held = [
            (action.above, n)
            for n, action in enumerate(past.plant.action)
            if action.channel == "raw_turbidity" and action.do in ("hold", "stop") and action.above is not None
        ]
        if held:  # no shutting on brown water is on record: the action level stands for it
            shut = past.plant.known(f"action.{min(held)[1]}.above")
    if opens:
        middle = float(quantile(np.array([value for _, value in opens]), 0.5))
        detail = f"middle of {len(opens)} times at which the intake was opened"
        opened = _known(past, "raw_turbidity", int(opens[-1][0]), middle, detail, "NTU")
        if shut is None or opened > shut:  # shut on the first brown water, but water as brown as this was taken
            shut = opened
    return shut, opened


def _at_gate(past: Past, raw: Track | None, kind: str) -> list[tuple[float, float]]:
    """Return when the intake was shut or opened, and the raw turbidity of the time where it is on record."""
    if raw is None:
        return []
    times = [e.started_at.timestamp() for e in past.events if e.kind == kind]
    return [(t, value) for t in times if (value := _value_at(raw, t)) is not None]


def _value_at(track: Track, t: float) -> float | None:
    good = track.good
    which = int(np.searchsorted(good.times, t, side="right")) - 1
    if which < 0 or t - good.times[which] > 2 * HOUR:
        return None
    return float(good.values[which])


def _tank(past: Past, runs: NDArray[np.bool_]) -> tuple[Known | None, Known | None, str]:
    """Return the level of the last storage at which the plant was started and stopped, of the newest times."""
    channel = next(
        (s.level_channel for s in reversed(past.plant.stages) if s.kind == "storage" and s.level_channel), ""
    )
    levels = past.mean.get(channel)
    if levels is None:
        return None, None, channel
    found: list[Known | None] = []
    for kind in ("start", "stop"):
        times = np.array([e.started_at.timestamp() for e in past.events if e.kind == kind])
        if len(times) < FEWEST:  # nobody writes it down: the flow meter tells
            turned = np.flatnonzero(np.diff(runs.astype(int)) == (1 if kind == "start" else -1)) + 1
            times = past.hour[turned].astype(float)
        times = times[times > past.at.timestamp() - RECENT_H * HOUR]
        place = ((times - past.hour[0]) // HOUR).astype(int)
        place = place[(place >= 0) & (place < len(levels))]
        there = levels[place][np.isfinite(levels[place])] if len(place) else np.empty(0)
        if len(there) < FEWEST:
            found.append(None)
            continue
        word = "started" if kind == "start" else "stopped"
        detail = f"middle level of the newest {len(there)} times at which the plant was {word}"
        found.append(_known(past, channel, int(times[-1]), float(quantile(there, 0.5)), detail, "m"))
    starts, stops = found
    if starts is not None and stops is not None and starts >= stops:
        return None, None, channel  # the level does not decide when this plant runs
    return starts, stops, channel


def _by_hour(past: Past, runs: NDArray[np.bool_], flows: NDArray[np.float64] | None) -> tuple[float, ...]:
    if flows is None:
        return ()
    newest = np.flatnonzero(np.isfinite(flows))[-14 * 24 :]
    if len(newest) < 24:
        return ()
    ran, seen = np.zeros(24), np.zeros(24)
    for place in newest:
        hour = moment(int(past.hour[place])).astimezone(past.zone).hour
        seen[hour] += 1
        ran[hour] += bool(runs[place])
    return tuple(float(r / s) if s else 0.0 for r, s in zip(ran, seen, strict=True))


def _washes(past: Past, filter_id: str, least: float) -> WashHabit:
    washes = [e for e in past.events if e.kind == "backwash" and e.subject == filter_id]
    losses = np.array([_number(e, "start_head_loss") for e in washes[-30:]])
    losses = losses[np.isfinite(losses)]
    hours = _hours_between(past, washes[-31:], least)
    waste = _to_waste(past.events, washes[-30:], filter_id)
    at = int(washes[-1].started_at.timestamp()) if washes else 0

    def told(values: NDArray[np.float64], what: str, channel: str, unit: str) -> Known | None:
        if len(values) < FEWEST:
            return None
        return _known(past, channel, at, float(quantile(values, 0.5)), f"middle of the last {len(values)} {what}", unit)

    return WashHabit(
        filter=filter_id,
        head_loss=told(losses, "backwashes", f"{filter_id}_head_loss", "m"),
        hours=told(hours, "runs", past.flow_channel, "s"),
        to_waste=told(waste, "times to waste after a backwash", past.flow_channel, "s"),
        washes=len(washes),
        by=_keeps_to(losses, hours),
    )


def _keeps_to(losses: NDArray[np.float64], hours: NDArray[np.float64]) -> Literal["head_loss", "hours", ""]:
    """Return which figure is the same from wash to wash: the middle eight tenths of it lie closer together."""
    if len(losses) < FEWEST and len(hours) < FEWEST:
        return ""
    if len(losses) < FEWEST or len(hours) < FEWEST:
        return "hours" if len(losses) < FEWEST else "head_loss"
    first, second = (
        float(quantile(v, 0.9) - quantile(v, 0.1)) / max(float(quantile(v, 0.5)), 1e-9) for v in (losses, hours)
    )
    return "head_loss" if first <= second else "hours"


def _window(past: Past) -> tuple[float, float] | None:
    """Return the hours of the day in which nine backwashes in ten are begun."""
    begun = [e.started_at.astimezone(past.zone) for e in past.events if e.kind == "backwash"][-60:]
    if len(begun) < 2 * FEWEST:
        return None
    seconds = np.array([t.hour * 3600.0 + t.minute * 60.0 for t in begun])
    return float(quantile(seconds, 0.05)), float(quantile(seconds, 0.95))


def _number(event: Event, name: str) -> float:
    value = event.values.get(name, np.nan)
    return float(value) if isinstance(value, int | float) else float("nan")


def _hours_between(past: Past, washes: Sequence[Event], least: float) -> NDArray[np.float64]:
    """Return the running time [s] between one backwash and the next."""
    flows = past.mean.get(past.flow_channel)
    if flows is None or len(washes) < 2:
        return np.empty(0)
    ran = np.concatenate([[0.0], np.cumsum(np.where(flows > least, float(HOUR), 0.0))])
    ends = np.array([(e.ended_at or e.started_at).timestamp() for e in washes])
    place = np.clip(((ends - past.hour[0]) / HOUR), 0, len(flows))
    at = np.interp(place, np.arange(len(ran)), ran)
    return np.asarray(np.diff(at))


def _to_waste(events: Sequence[Event], washes: Sequence[Event], filter_id: str) -> NDArray[np.float64]:
    """Return how long [s] the filter was sent to waste after each backwash; 0 where it was not."""
    waste = [e for e in events if e.kind == "filter_to_waste" and e.subject == filter_id and e.ended_at is not None]
    if not waste:
        return np.empty(0)
    found = []
    for wash in washes:
        end = (wash.ended_at or wash.started_at).timestamp()
        after = [e for e in waste if 0 <= e.started_at.timestamp() - end < AFTER_WASH_S]
        found.append((after[0].ended_at - after[0].started_at).total_seconds() if after and after[0].ended_at else 0.0)
    return np.array(found)


def _told(found: Habit) -> Habit:
    lacks = []
    if found.flow is None:
        lacks.append("at what flow the plant runs")
    if found.shuts_above is None:
        lacks.append("above which raw turbidity the intake is shut")
    if not found.doses:
        lacks.append("what coagulant dose is fed at which raw turbidity")
    if found.starts_below is None or found.stops_above is None:
        lacks.append("at which tank level the plant is started and stopped")
    for wash in found.washes:
        if wash.head_loss is None and wash.hours is None:
            lacks.append(f"when {wash.filter.replace('_', ' ')} is backwashed")
    return replace(found, unknown=tuple(lacks))

"""How does the plant stand at one instant, or over a stretch of time? Read once from the records, then frozen."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from weirhouse.plant.model import Channel, Feed, Plant
from weirhouse.records import faults
from weirhouse.records.faults import quantile
from weirhouse.records.model import Event
from weirhouse.records.store import Store
from weirhouse.science.contact_time import TABLES
from weirhouse.situation import feeds as feeds_
from weirhouse.situation import odd, runs, tanks, values, volumes
from weirhouse.situation import running as running_
from weirhouse.situation.ages import clock_text, elapsed_s
from weirhouse.situation.gather import WINDOW, Gather
from weirhouse.situation.model import FeedInForce, PastDose, Situation, Stretch, Tank, Track, Value
from weirhouse.situation.trends import trends
from weirhouse.working import Entry, Known

LONG_DAYS = 400.0  # doses of the past year and a bit
EVENT_DAYS = 70.0  # what else is in the day log
MONTHS_LONG = ("backwash", "instrument_fault", "intake_shut", "intake_open")
RECENT_DAYS = 14.0
LOGGED_S = 1800.0  # readings further apart than this [s] are taken to be read by a person
LASTING = ("outage", "power_failure", "instrument_fault")  # they last until their end is entered
FEWEST = 5  # values in the window below which nothing is said about faults
PASSAGE = timedelta(days=3)  # in which the water now at a feed came in, a night's standstill and more included
HOLD = timedelta(hours=1)  # what came just before a run begins is in force as it begins


def at(store: Store, plant: Plant, when: datetime) -> Situation:
    """Return the plant's situation at `when` (aware). Nothing after that instant is looked at."""
    when = when.astimezone(UTC)
    zone = plant.zone
    gather = Gather(store, plant, when)
    events = _events(store, when)
    filter_ids = [f.id for f in plant.filters]
    starts = {id: runs.run_start(events, id, when) for id in filter_ids}
    flow_id = flow_channel(plant)
    _widen(gather, plant, flow_id, starts, when)
    least = running_.least_flow(plant.design_flow)
    open_faults = odd.open_faults(events, when)
    if flow_id in plant.channels:
        flow = _value(gather, plant.channels[flow_id], open_faults, standing=False)
    else:
        flow = missing(flow_id, "m^3/s")
    state = running_.running(flow, gather.track(flow_id), events, least, when, zone)
    standing = state.state == "standing"
    now = {channel.id: _value(gather, channel, open_faults, standing) for channel in plant.channels.values()}
    flow_hours = gather.hours(flow_id, LONG_DAYS)
    recent = flow_hours.since((when - timedelta(days=RECENT_DAYS)).timestamp())
    at_feeds = {feed.id: _at_feed(gather, plant, feed, now, flow_id) for feed in plant.feeds}
    past = _past_doses(gather, plant, now, at_feeds, least, flow_id)
    contact_ids = [stage.id for stage in plant.stages if stage.kind == "contact"]
    outflow_id = next((f"{id}_outflow" for id in contact_ids if f"{id}_outflow" in plant.channels), flow_id)
    rain = "rain" if "rain" in plant.channels else None
    return Situation(
        plant=plant,
        at=when,
        zone=zone,
        demo=plant.demo,
        values=now,
        trends={c.id: trends(gather.track(c.id), c.name, c.inside, when, zone) for c in plant.channels.values()},
        tracks={id: gather.track(id) for id in now if id in gather.recorded},
        flow_channel=flow_id,
        running=state,
        running_by_hour=running_.running_by_hour(recent, least, zone),
        usual_flow=running_.usual_flow(recent, least, flow.title, zone),
        feeds=_feeds(gather, plant, now, events, past, at_feeds),
        past_doses=past,
        runs={
            id: runs.filter_run(gather, id, starts[id], now, flow_id, least, max(1, len(filter_ids)), zone)
            for id in filter_ids
        },
        past_runs=runs.past_runs(events, filter_ids),
        tanks=_tanks(gather, plant, now, when, zone),
        demand=tanks.demand(
            now.get("demand_flow") or missing("demand_flow", "m^3/s"),
            gather.hours("demand_flow", RECENT_DAYS),
            when,
            zone,
        ),
        outflow_peak=tanks.peak_of_hour(now.get(outflow_id) or flow, gather.track(outflow_id), when, zone),
        outflow_channel=outflow_id,
        rain_today=tanks.rain_today(gather.track("rain"), now["rain"].title, when, zone) if rain else None,
        events=tuple(e for e in events if elapsed_s(e.started_at, when) <= RECENT_DAYS * 86400),
        odd=odd.oddities(now, events, when),
        first_record=store.span()[0],
        tables_confirmed=_tables_confirmed(store, when),
    )


def _tables_confirmed(store: Store, when: datetime) -> str:
    """Return by whom both contact-time tables were compared with print; empty until both were."""
    events = store.events("rule_confirmed", until=when + timedelta(seconds=1))
    newest = {event.subject: event for event in events if event.subject in TABLES}
    if len(newest) < len(TABLES):
        return ""
    return "; ".join(dict.fromkeys(f"{e.person}, {e.started_at:%Y-%m-%d}" for e in newest.values()))


def between(store: Store, plant: Plant, a: datetime, b: datetime) -> Stretch:
    """Return every channel's track and all events of [a, b), and what was in force at `a`."""
    a, b = a.astimezone(UTC), b.astimezone(UTC)
    recorded = store.channels()
    tracks: dict[str, Track] = {}
    before: dict[str, Value] = {}
    for channel in plant.channels.values():
        if channel.id not in recorded:
            continue
        series = store.values(channel.id, a, b)
        tracks[channel.id] = Track(channel=channel.id, times=series.times, values=series.values, flags=series.flags)
        before[channel.id] = values.judge(channel, store.latest(channel.id, a), a, plant.zone)
    events = tuple(store.events(since=a - timedelta(days=RECENT_DAYS), until=b))
    inside = tuple(e for e in events if e.started_at >= a or lasts_beyond(e, events, a))
    return Stretch(
        plant=plant, a=a, b=b, zone=plant.zone, tracks=tracks, events=inside, before=before, typed=_typed(store, a, b)
    )  # fmt: skip


def _typed(store: Store, a: datetime, b: datetime) -> dict[str, NDArray[np.int64]]:
    """Return for each channel when persons read it from `a` to before `b` [UTC epoch s]."""
    found: dict[str, list[int]] = {}
    for reading in store.readings(None, a, b):
        found.setdefault(reading.channel, []).append(int(reading.taken_at.timestamp()))
    return {channel: np.unique(np.array(times, np.int64)) for channel, times in found.items()}


def lasts_beyond(event: Event, events: Sequence[Event], a: datetime) -> bool:
    """Whether what began before `a` was not over by then; without an end, what lasts until somebody ends it was not."""
    if event.ended_at is not None:
        return event.ended_at > a
    if event.kind == "intake_shut":
        return not any(e.kind == "intake_open" and event.started_at <= e.started_at <= a for e in events)
    return event.kind in LASTING


def _events(store: Store, when: datetime) -> tuple[Event, ...]:
    """Return the events that had begun by `when`, oldest first: of the last weeks, or of a year if they may last."""
    until = when + timedelta(seconds=1)
    weeks = when - timedelta(days=EVENT_DAYS)
    old = store.events(MONTHS_LONG, since=when - timedelta(days=LONG_DAYS), until=weeks)
    return tuple(e for e in (*old, *store.events(since=weeks, until=until)) if e.started_at <= when)


def _widen(gather: Gather, plant: Plant, flow_id: str, starts: Mapping[str, datetime | None], when: datetime) -> None:
    """Let the windows of flow and filters reach back to the starts of the runs, before anything is read."""
    oldest = when - runs.LONGEST
    gather.widen(flow_id, min((max(s, oldest) for s in starts.values() if s), default=when - WINDOW) - HOLD)
    if any(feed.role == "coagulant" and volumes.ahead_of(plant, feed.id, plant.design_flow) for feed in plant.feeds):
        for channel in (flow_id, "raw_turbidity"):
            gather.widen(channel, when - PASSAGE)
    for id, start in starts.items():
        if start is not None:
            for what in ("flow", "head_loss", "turbidity"):
                gather.widen(f"{id}_{what}", max(start, oldest) - HOLD)


def _value(gather: Gather, channel: Channel, open_faults: Mapping[str, Event], standing: bool) -> Value:
    if channel.id not in gather.recorded:
        return values.judge(channel, None, gather.when, gather.plant.zone)
    point = gather.store.latest(channel.id, gather.when)
    phrases = faults_of(channel, gather.track(channel.id), standing)
    fault = open_faults.get(channel.id)
    if fault is not None and point is not None and not (point.person and point.time >= fault.started_at):
        since = clock_text(fault.started_at, gather.when, gather.plant.zone)
        phrases = (f"by the day log its instrument has been faulty since {since}", *phrases)
    return values.judge(channel, point, gather.when, gather.plant.zone, phrases)


def faults_of(channel: Channel, track: Track, standing: bool) -> tuple[str, ...]:
    """Return in words the faults that stand on the newest value of a channel.

    What a person sets (doses, settings) may stay the same for days, what a person reads in coarse steps every hour or
    so may too; and while the plant stands, what is measured in it may stand.
    """
    if channel.id.endswith(("_dose", "_setting")) or len(track) < FEWEST:
        return ()
    newest = int(track.times[-1])
    keep = track.times >= newest - WINDOW.total_seconds()
    found = faults.find(
        track.times[keep], track.values[keep], title=channel.name, unit=channel.inside, display=channel.unit,
        low=channel.low, high=channel.high, rests_at_zero=channel.inside == "m^3/s" or channel.id == "rain",
    )  # fmt: skip
    by_hand = float(quantile(np.diff(track.times[keep]), 0.5)) > LOGGED_S
    in_plant = not channel.id.startswith(("raw_", "stream_", "storage_", "demand_", "air_", "rain"))
    return tuple(
        fault.why.rstrip(".").removeprefix(f"{channel.name} ")
        for fault in found
        if fault.end >= newest
        and fault.kind in ("stuck", "fell_to_zero", "spike")
        and not (standing and in_plant)
        and not (by_hand and fault.kind == "stuck")
    )


def _feeds(
    gather: Gather,
    plant: Plant,
    now: Mapping[str, Value],
    events: tuple[Event, ...],
    past: tuple[PastDose, ...],
    at_feeds: Mapping[str, tuple[Known | None, Known | None]],
) -> dict[str, FeedInForce]:
    found = {}
    for feed in plant.feeds:
        names = {what: feeds_.feed_channel(feed, what, plant.channels) for what in ("dose", "setting", "tank_level")}
        dose, setting, level = (now.get(c) or missing(c, UNITS[what]) for what, c in names.items())
        in_force = feeds_.in_force(
            feed.id, dose, setting, level, gather.track(names["dose"]), events,
            gather.hours(names["dose"], LONG_DAYS), plant.zone,
        )  # fmt: skip
        if feed.role == "coagulant":
            ahead, at_feed = at_feeds[feed.id]
            similar = feeds_.similar_doses(past, dose.title, gather.when, plant.zone)
            in_force = replace(in_force, similar=similar, volume_ahead=ahead, raw_at_feed=at_feed)
        found[feed.id] = in_force
    return found


UNITS = {"dose": "g/m^3", "setting": "1", "tank_level": "m"}


def _at_feed(
    gather: Gather, plant: Plant, feed: Feed, now: Mapping[str, Value], flow_id: str
) -> tuple[Known | None, Known | None]:
    """Return the water ahead of a coagulant feed [m^3], and the raw turbidity with which the water there came in."""
    raw = now.get("raw_turbidity")
    ahead = volumes.ahead_of(plant, feed.id, plant.design_flow)
    if feed.role != "coagulant" or raw is None or ahead is None:
        return None, None
    held = Known(ahead.volume, Entry("train", f"what the stages ahead hold: {', '.join(ahead.names)}"), "m^3")
    tracks = gather.track(flow_id), gather.track("raw_turbidity")
    return held, volumes.raw_at(*tracks, raw.title, ahead, gather.when, plant.zone)


def _past_doses(
    gather: Gather,
    plant: Plant,
    now: Mapping[str, Value],
    at_feeds: Mapping[str, tuple[Known | None, Known | None]],
    least: float,
    flow_id: str,
) -> tuple[PastDose, ...]:
    coagulant = next((feed for feed in plant.feeds if feed.role == "coagulant"), None)
    raw = now.get("raw_turbidity")
    if coagulant is None or raw is None or raw.usable is None:
        return ()
    dose_id = feeds_.feed_channel(coagulant, "dose", plant.channels)
    raws, doses, settled, flows = (
        gather.hours(c, LONG_DAYS) for c in ("raw_turbidity", dose_id, "settled_turbidity", flow_id)
    )
    running = flows.mean[flows.mean > least]
    ahead, at_feed = at_feeds[coagulant.id]
    before, lag = 0, 0
    if len(running):
        flow = float(quantile(running, 0.5))
        lag = round(volumes.between_feed_and_filters(plant, coagulant.id) / flow / 3600)
        before = round(ahead / flow / 3600) if ahead is not None else 0
    turbidity = at_feed if at_feed is not None else raw.usable
    return feeds_.past_doses(float(turbidity), raws, doses, settled, flows, least, lag, before)


def _tanks(gather: Gather, plant: Plant, now: Mapping[str, Value], when: datetime, zone: ZoneInfo) -> dict[str, Tank]:
    found = {}
    for stage in plant.stages:
        channel = getattr(stage, "level_channel", None)
        if channel:
            level = now.get(channel) or missing(channel, "m")
            found[stage.id] = tanks.tank(stage.id, level, gather.track(channel), when, zone)
    return found


def flow_channel(plant: Plant) -> str:
    """Return the channel of the plant's flow meter."""
    for stage in plant.stages:
        if stage.kind == "flow_meter" and stage.channel:
            return str(stage.channel)
    return "plant_flow"


def missing(channel: str, unit: str) -> Value:
    """Return the value of a channel that this plant does not have."""
    return Value(
        channel=channel, title=channel.replace("_", " ").capitalize(), unit=unit, display="", known=None,
        taken_at=None, age_s=None, state="missing", why="not measured at this plant",
    )  # fmt: skip

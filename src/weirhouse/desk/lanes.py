"""Which lanes has this plant's timetable? Its stages that hold water, with their mixing, levels and instruments.

The mixing is what the plant file says (`compartments`), and for contact tanks the number of stirred tanks whose T10
over the whole detention time is the State's baffling factor. It serves to show where water is, and nothing else.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache

import numpy as np

from weirhouse.desk.timetable import Feed, Lane, Timetable, timetable
from weirhouse.plant.model import (
    Basin,
    Channel,
    Clarifier,
    Contact,
    Filters,
    Flocculation,
    Mixer,
    Pipe,
    Plant,
    Storage,
)  # fmt: skip
from weirhouse.plant.model import Feed as FeedStage
from weirhouse.plant.model import Filter as FilterUnit
from weirhouse.quantity import show
from weirhouse.records.model import Event
from weirhouse.science.basins import circle_area
from weirhouse.science.passage import Part, tanks_for_baffling
from weirhouse.situation.at import flow_channel
from weirhouse.situation.feeds import feed_channel
from weirhouse.situation.model import Stretch, Track
from weirhouse.situation.volumes import stage_volume

LEAD = timedelta(hours=60)  # of flow before the picture begins, so that the plant is full of known water
LEAST_FLOW = 1e-5  # m^3/s; less is standing still


def timetable_of(stretch: Stretch, *, begin: datetime, end: datetime, now: datetime) -> Timetable:
    """Return the water timetable of [begin, end], drawn right of `now` as if the flow stayed what it is."""
    plant, tracks = stretch.plant, stretch.tracks
    flow_id = flow_channel(plant)
    flow = tracks.get(flow_id) or _nothing(flow_id)
    found = lanes(plant, tracks)
    ahead = float(flow.good.values[-1]) if len(flow.good) else None
    table = timetable(
        lanes=found, flow=flow, begin=begin, end=end, now=now, zone=plant.zone, raw=tracks.get("raw_turbidity"),
        turbidity={lane.channel: tracks[lane.channel] for lane in found if lane.channel in tracks},
        feeds=feeds(plant, tracks), events=_until(stretch.events, flow, now),
        filter_ids=[one.id for one in plant.filters], names=names(plant), ahead_flow=ahead,
    )  # fmt: skip
    return table if ahead is None else with_words(table, ahead, plant.channels.get(flow_id))


def with_words(table: Timetable, ahead: float, channel: Channel | None) -> Timetable:
    """Return the timetable with the flow that is assumed right of now in the words of the plant."""
    display = channel.unit if channel is not None else "m^3/s"
    words = show(ahead, "m^3/s", display) if ahead > LEAST_FLOW else ""
    return replace(table, units={**table.units, "ahead": words})


def lanes(plant: Plant, tracks: Mapping[str, Track]) -> tuple[Lane, ...]:
    """Return the lanes in the order the water takes them."""
    return tuple(lane for stage in plant.stages for lane in _lanes(stage, plant, tracks))


def _lanes(stage: object, plant: Plant, tracks: Mapping[str, Track]) -> Iterator[Lane]:
    match stage:
        case Basin():
            parts = (Part(stage_volume(stage), stage.compartments),)
            yield Lane(id=stage.id, name=stage.name, kind="basin", parts=parts)
        case Pipe():
            yield Lane(id=stage.id, name=stage.name, kind="pipe", parts=(Part(stage_volume(stage), None),))
        case Mixer():
            yield Lane(id=stage.id, name=stage.name, kind="mixer", parts=(Part(stage.volume, 1),))
        case Flocculation():
            for one in stage.stages:
                parts = (Part(one.volume * one.parallel, 1),)
                yield Lane(id=one.id, name=one.name, kind="flocculation", parts=parts, units=one.parallel)
        case Clarifier():
            parts = (Part(stage_volume(stage), stage.compartments),)
            channel = _channel(plant, "settled_turbidity")
            yield Lane(id=stage.id, name=stage.name, kind="clarifier", parts=parts, channel=channel)
        case Filters():
            yield Lane(
                id=stage.id, name=stage.name, kind="filters", parts=_filter_parts(stage), units=len(stage.filter),
                channel=_channel(plant, "combined_turbidity"),
            )  # fmt: skip
        case Contact():
            held = _held(stage.level_channel, stage.area, tracks)
            outflow = tracks.get(f"{stage.id}_outflow")
            parts = (Part(stage.volume, _contact_tanks(stage)),)
            yield Lane(id=stage.id, name=stage.name, kind="contact", parts=parts, level_volume=held, outflow=outflow)
        case Storage():
            area = stage.area if stage.area is not None else float(circle_area(stage.diameter or 0.0))
            parts = (Part(area * stage.full_level, stage.compartments),)
            yield Lane(
                id=stage.id, name=stage.name, kind="storage", parts=parts,
                level_volume=_held(stage.level_channel, area, tracks), outflow=tracks.get("demand_flow"),
            )  # fmt: skip


def _channel(plant: Plant, id: str) -> str:
    return id if id in plant.channels else ""


def area_of(unit: FilterUnit) -> float:
    """Return the plan area of a filter [m^2]; 0 where the plant file gives no size."""
    if unit.area is not None:
        return unit.area
    if unit.diameter is not None:
        return float(circle_area(unit.diameter))
    return (unit.length or 0.0) * (unit.width or 0.0)


def _filter_parts(stage: Filters) -> tuple[Part, ...]:
    """Return the water above the media, which is stirred, and the water in its pores, which is not."""
    above = sum(area_of(unit) * (unit.water_depth or 0.0) for unit in stage.filter)
    pores = sum(area_of(unit) * layer.depth * layer.porosity for unit in stage.filter for layer in unit.layer)
    return tuple(part for part in (Part(above, 1), Part(pores, None)) if part.volume > 0)


def _contact_tanks(stage: Contact) -> float | None:
    factor = stage.baffling_factor
    if factor is None and stage.tracer is not None:
        factor = min(1.0, stage.tracer.t10 * stage.tracer.flow / stage.volume)
    return None if factor is None else _tanks_for(factor)


@lru_cache(maxsize=32)
def _tanks_for(factor: float) -> float | None:
    return tanks_for_baffling(factor)


def _held(channel: str | None, area: float | None, tracks: Mapping[str, Track]) -> Track | None:
    """Return the volume held [m^3] from a level."""
    level = tracks.get(channel or "")
    if level is None or area is None:
        return None
    return Track(channel=level.channel, times=level.times, values=level.values * area, flags=level.flags)


def feeds(plant: Plant, tracks: Mapping[str, Track]) -> tuple[Feed, ...]:
    """Return the chemical feeds, each above the lane that its water enters next."""
    found, lane = [], 0
    for stage in plant.stages:
        if isinstance(stage, FeedStage):
            dose = tracks.get(feed_channel(stage, "dose", plant.channels))
            found.append(Feed(id=stage.id, name=stage.name, lane=lane, dose=dose, basis=stage.basis))
        lane += sum(1 for _ in _lanes(stage, plant, tracks))
    return tuple(found)


def names(plant: Plant) -> dict[str, str]:
    """Return what the plant calls its stages, filters, compartments and channels, by id."""
    found = {id: channel.name for id, channel in plant.channels.items()}
    for stage in plant.stages:
        found[stage.id] = stage.name
        for inner in (*getattr(stage, "stages", ()), *getattr(stage, "filter", ())):
            found[inner.id] = inner.name
    return found


def _until(events: tuple[Event, ...], flow: Track, now: datetime) -> tuple[Event, ...]:
    """Return what had begun by now; an outage without an end lasts until water flows again."""
    begun = (event for event in events if event.started_at <= now)
    return tuple(
        replace(event, ended_at=_flows_again(flow, event.started_at, now))
        if event.ended_at is None and event.kind in ("outage", "power_failure")
        else event
        for event in begun
    )


def _flows_again(flow: Track, since: datetime, now: datetime) -> datetime | None:
    """Return when water flowed again after it stood, `now` where it stands still; None where it never stood."""
    good = flow.good
    after = good.times >= since.timestamp()
    times, on = good.times[after], good.values[after] > LEAST_FLOW
    stood = np.flatnonzero(~on)
    if not len(stood):
        return None
    again = np.flatnonzero(on[stood[0] :])
    return datetime.fromtimestamp(int(times[stood[0] + again[0]]), UTC) if len(again) else now


def _nothing(channel: str) -> Track:
    return Track(
        channel=channel, times=np.zeros(0, np.int64), values=np.zeros(0), flags=np.zeros(0, np.uint8),
    )  # fmt: skip

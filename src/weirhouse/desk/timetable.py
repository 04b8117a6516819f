"""Where is the water of each hour? The timetable of the plant, from the stream down to the tap.

A parcel is the water that enters at one instant. It is followed through the plant on the *recorded* flow, each stage
spreading it as tanks in series or passing it as plug flow (`science.passage`). The median of that spread is the
parcel's line; its 10 and 90 percent are its band. While nothing flows, nothing moves.

* Stages of constant volume that share a flow are joined exactly: the volume that must pass does not depend on the flow.
* A tank with a level is followed on its own clock, the number of times its content was renewed, from the balance of
  flow and level; the parcel's arrivals are summed over the hours at which it may have come.
* Turbidity is that of the last instrument the parcel passed, when it passed it. Inside the stage whose outlet carries
  an instrument the colour runs from one to the other: that run is drawn, not measured.
* Right of now the flow is the one given as `ahead_flow`, and turbidity the last measured.

Times are UTC epoch seconds, volumes [m^3], flows [m^3/s], turbidity [NTU], doses [g/m^3].
The mixing assumed here serves to show where water is. Contact time for the State is worked out elsewhere, with the
baffling factor the State assigned.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from weirhouse.quantity import figure
from weirhouse.records.model import Event
from weirhouse.science.passage import (
    Part,
    Spread,
    arrival,
    join,
    outflow_passed,
    passed,
    passing_volume,
    renewals,
    time_of,
)
from weirhouse.situation.ages import age_text, clock_text
from weirhouse.situation.model import Track

Array = NDArray[np.float64]
SHARES = (0.1, 0.5, 0.9)
STEP_S = 900.0  # of the grid on which tanks with a level are followed
HOLD_S = 3 * 3600.0  # a turbidity older than this is not taken for the water that passes now
LEAST_FLOW = 1e-5  # [m^3/s]; less is standing still


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """A stage that holds water, in the order the water takes it."""

    id: str
    name: str
    kind: str
    parts: tuple[Part, ...]
    units: int = 1  # alike and side by side
    level_volume: Track | None = None  # the volume held [m^3], where a level is measured
    outflow: Track | None = None  # what is drawn from it [m^3/s], where it is measured
    channel: str = ""  # turbidity measured at its outlet

    @property
    def volume(self) -> float:
        """The volume when full, or the constant volume [m^3]."""
        return sum(part.volume for part in self.parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """A chemical fed between lanes: above lane number `lane`, with its dose on record [g/m^3]."""

    id: str
    name: str
    lane: int
    dose: Track | None
    basis: str = ""


@dataclass(frozen=True, slots=True)
class Span:
    """When a share of 10, 50 and 90 percent of a parcel has come by; NaN when not within the time looked at."""

    early: float
    median: float
    late: float


@dataclass(frozen=True, slots=True)
class Point:
    """A point of a parcel's line: time, lane number plus fraction of that lane, turbidity there (NaN = not known)."""

    time: float
    place: float
    turbidity: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Parcel:
    """The water that entered at `entered`: when it leaves each lane, its line, and what it met."""

    entered: float
    turbidity: float  # at the stream; NaN = not measured
    leaves: tuple[Span, ...]  # one a lane
    turbidity_out: tuple[float, ...]  # one a lane
    line: tuple[Point, ...]
    doses: tuple[tuple[str, float, float], ...]  # feed, when it passed, dose [g/m^3]
    stood_s: float  # time it stood still on the way, up to now
    met: tuple[str, ...]
    first_after: str = ""  # the dose change of which it was the first parcel
    ahead: bool = False  # enters after now

    @property
    def id(self) -> str:
        """A short name that stays the same while the plant folder does: its UTC minute."""
        return f"{datetime.fromtimestamp(self.entered, UTC):%Y%m%dT%H%M}"

    def enters(self, lane: int) -> Span:
        """When it enters a lane."""
        return self.leaves[lane - 1] if lane else Span(self.entered, self.entered, self.entered)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """Something that happened, and where on the picture it stands. `lane` is -1 for the stream."""

    kind: Literal["dose", "backwash", "filter_to_waste", "outage", "intake_shut", "sample"]
    lane: int
    started: float
    ended: float
    text: str
    unit: int = 0  # which of the units side by side, from 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """Measured turbidity at the outlet of a lane (-1: the stream)."""

    lane: int
    channel: str
    name: str
    times: Array
    values: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Timetable:
    """Everything that the picture, its table and its sentences are made of."""

    begin: float
    end: float
    now: float
    zone: ZoneInfo
    lanes: tuple[Lane, ...]
    feeds: tuple[Feed, ...]
    parcels: tuple[Parcel, ...]
    marks: tuple[Mark, ...]
    strips: tuple[Strip, ...]
    ahead_flow: float | None
    notes: tuple[str, ...] = ()
    units: Mapping[str, str] = field(default_factory=dict)

    def parcel(self, id: str) -> Parcel | None:
        """Return a parcel by its id."""
        return next((p for p in self.parcels if p.id == id), None)

    def lane_of(self, id: str) -> int | None:
        """Return a lane's number by its id."""
        return next((i for i, lane in enumerate(self.lanes) if lane.id == id), None)

    def clock(self, at: float) -> str:
        """Return a time on the plant's clock, with the day when it is not today's."""
        zone = self.zone
        return clock_text(datetime.fromtimestamp(at, UTC), datetime.fromtimestamp(self.now, UTC), zone)


# --- the way of the water ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Way:
    """The flow through the plant as recorded and, right of now, as assumed."""

    times: Array
    flow: Array
    passed: Array
    grid: Array  # regular, for tanks with a level
    knots: Array  # the grid and every start and stop: where a line may bend

    def standing(self, a: float, b: float) -> float:
        """Return for how long nothing flowed between `a` and `b` [s]."""
        begins = np.clip(self.times[:-1], a, b)
        ends = np.clip(self.times[1:], a, b)
        return float((ends - begins)[self.flow[:-1] <= LEAST_FLOW].sum())

    def flow_at(self, at: float) -> float:
        """Return the flow in force at a time."""
        return float(self.flow[max(0, int(np.searchsorted(self.times, at, side="right")) - 1)])


def _way(flow: Track, start: float, stop: float, now: float, ahead_flow: float | None) -> _Way | None:
    good = flow.good
    keep = (good.times <= now) & (good.times < stop)
    times, values = good.times[keep].astype(float), good.values[keep]
    if not len(times):
        return None
    first = max(0, int(np.searchsorted(times, start, side="right")) - 1)
    times, values = times[first:], values[first:]
    times = np.maximum(times, start)
    if times[0] > start:  # before the records the plant is taken as standing
        times, values = np.insert(times, 0, start), np.insert(values, 0, 0.0)
    if now < stop:
        later = values[-1] if ahead_flow is None else ahead_flow
        times, values = np.append(times, now), np.append(values, later)
    times, values = np.append(times, stop), np.append(values, values[-1])
    times, index = np.unique(times[::-1], return_index=True)  # of two values at one time the later one holds
    values = values[::-1][index]
    grid = np.arange(start, stop + STEP_S, STEP_S)
    turns = times[1:][np.diff((values > LEAST_FLOW).astype(np.int8)) != 0]
    knots = np.unique(np.concatenate([grid, turns]))
    return _Way(times, values, passed(times, values), grid, knots)


def _held(track: Track, at: Array, *, hold: float = np.inf) -> Array:
    """Return the last good value in force at each time; NaN where there is none, or it is older than `hold`."""
    good = track.good
    if not len(good):
        return np.full(len(at), np.nan)
    which = np.searchsorted(good.times, at, side="right") - 1
    found = good.values[np.maximum(which, 0)]
    stamp = good.times[np.maximum(which, 0)]
    return np.where((which < 0) | (at - stamp > hold), np.nan, found)


def _between(track: Track, at: Array) -> Array:
    """Return the good values of a level drawn in straight lines; the first and last hold outside."""
    good = track.good
    return np.interp(at, good.times.astype(float), good.values)


@dataclass(frozen=True, slots=True)
class _Crossed:
    """For every parcel and lane: when 10, 50, 90 percent have left; and the clock on which the lane is crossed."""

    leaves: Array  # (parcel, lane, share)
    clocks: tuple[tuple[Array, Array, float], ...]  # a lane: times, clock, median on that clock


def _cross(lanes: Sequence[Lane], way: _Way, entered: Array) -> _Crossed:
    leaves = np.full((len(entered), len(lanes), 3), np.nan)
    clocks: list[tuple[Array, Array, float]] = []
    volume_at_entry = np.interp(entered, way.times, way.passed)
    on_grid = np.interp(way.grid, way.times, way.passed)
    at_knots = np.interp(way.knots, way.times, way.passed)
    arrived: Array | None = None  # of the parcels at the lane's entrance, on the grid; None in the first group
    group: list[Part] = []
    through = on_grid  # volume that has passed into the lane
    before: Array | None = None  # arrivals at the entrance of the present group
    median_before = 0.0

    for i, lane in enumerate(lanes):
        if _moves(lane) is None:
            group.extend(lane.parts)
            spread = passing_volume(group)
            median = spread.quantile(0.5)
            if arrived is None:
                for s, share in enumerate(SHARES):
                    leaves[:, i, s] = time_of(volume_at_entry + spread.quantile(share), way.times, way.passed)
                clocks.append((way.knots, at_knots, median - median_before))
                before = None
                last_spread: Spread = spread
            else:
                assert before is not None
                arrived = join(before, through, spread)
                _read(leaves, i, way.grid, arrived)
                clocks.append((way.grid, through, median - median_before))
            median_before = median
            continue
        if arrived is None:
            arrived = (
                np.interp(on_grid[None, :] - volume_at_entry[:, None], last_spread.volume, last_spread.share, left=0.0)
                if group
                else (way.grid[None, :] >= entered[:, None]).astype(float)
            )
        held = np.maximum(_between(_moves(lane) or _none(), way.grid), 0.01 * lane.volume)
        if lane.outflow is not None and len(lane.outflow.good):
            drawn = passed(way.grid, np.nan_to_num(_held(lane.outflow, way.grid)))
            clock = np.concatenate([[0.0], np.cumsum(np.diff(drawn) / (0.5 * (held[1:] + held[:-1])))])
            out = drawn
        else:
            clock, out = renewals(through, held), outflow_passed(through, held)
        spread = passing_volume([Part(part.volume / lane.volume, part.tanks) for part in lane.parts])
        arrived = join(arrived, clock, spread)
        _read(leaves, i, way.grid, arrived)
        clocks.append((way.grid, clock, spread.quantile(0.5)))
        through, before, group, median_before = out, arrived, [], 0.0
    return _Crossed(leaves, tuple(clocks))


def _moves(lane: Lane) -> Track | None:
    return lane.level_volume if lane.level_volume is not None and len(lane.level_volume.good) else None


def _none() -> Track:
    raise AssertionError("a lane that moves has a level")


def _read(leaves: Array, lane: int, grid: Array, arrived: Array) -> None:
    for p in range(len(leaves)):
        for s, share in enumerate(SHARES):
            leaves[p, lane, s] = arrival(share, grid, arrived[p])


# --- turbidity along the way -------------------------------------------------------------------------------------


def _turbidity_at(track: Track | None, at: float, now: float) -> float:
    """Return the turbidity in force when a parcel passes; right of now the last one measured."""
    if track is None or not np.isfinite(at):
        return float("nan")
    return float(_held(track, np.array([min(at, now)]), hold=HOLD_S)[0])


def _blend(first: float, last: float, share: float) -> float:
    """Return what lies between two turbidities on the logarithmic scale of the picture."""
    if not (first > 0 and last > 0):
        return first if share < 1 else last
    return float(np.exp(np.log(first) * (1 - share) + np.log(last) * share))


def _line(
    lanes: Sequence[Lane], crossed: _Crossed, p: int, entered: float, out: Sequence[float], raw: float, stop: float
) -> tuple[Point, ...]:
    """Return the parcel's line: the median at each lane's ends, and between them the share of its clock."""
    points: list[Point] = []
    at, before = entered, raw
    for i, lane in enumerate(lanes):
        leaving = float(crossed.leaves[p, i, 1])
        times, clock, median = crossed.clocks[i]
        leaving = leaving if leaving <= stop else float("nan")
        until = leaving if np.isfinite(leaving) else stop
        inner = times[(times > at) & (times < until)]
        moments = np.concatenate([[at], inner, [until]])
        ticks = np.interp(moments, times, clock)
        whole = ticks[-1] - ticks[0] if np.isfinite(leaving) else median
        shares = np.clip((ticks - ticks[0]) / whole, 0.0, 1.0) if whole > 0 else np.linspace(0, 1, len(moments))
        if not np.isfinite(leaving):
            shares = np.minimum(shares, 0.999)
        for moment, share in zip(moments, shares, strict=True):
            here = _blend(before, out[i], float(share)) if lane.channel else before
            points.append(Point(float(moment), i + float(share), here))
        if not np.isfinite(leaving):
            break
        at, before = leaving, out[i] if lane.channel else before
    return _thinned(points)


def _thinned(points: list[Point]) -> tuple[Point, ...]:
    """Leave out the points that lie on the straight line between their neighbours, within a lane."""
    kept: list[Point] = []
    for i, point in enumerate(points):
        if 0 < i < len(points) - 1 and kept:
            a, b = kept[-1], points[i + 1]
            same_lane = int(a.place) == int(point.place) and b.place <= int(point.place) + 1
            if same_lane and b.time > a.time:
                straight = a.place + (b.place - a.place) * (point.time - a.time) / (b.time - a.time)
                quarter = int(a.place * 4) == int(point.place * 4)  # keep some, for the colour to change along them
                if abs(straight - point.place) < 1e-3 and (quarter or a.turbidity == point.turbidity):
                    continue
        kept.append(point)
    return tuple(kept)


# --- the timetable -----------------------------------------------------------------------------------------------


def timetable(
    *,
    lanes: Sequence[Lane],
    flow: Track,
    begin: datetime,
    end: datetime,
    now: datetime,
    zone: ZoneInfo,
    raw: Track | None = None,
    turbidity: Mapping[str, Track] | None = None,
    feeds: Sequence[Feed] = (),
    events: Iterable[Event] = (),
    filter_ids: Sequence[str] = (),
    names: Mapping[str, str] | None = None,
    ahead_flow: float | None = None,
    every_s: float = 3600.0,
    lead_s: float = 60 * 3600.0,
    after_s: float = 48 * 3600.0,
) -> Timetable:
    """Return the water timetable of [begin, end], with `now` marked in it.

    Parameters
    ----------
    flow, raw, turbidity
        Recorded plant flow [m^3/s], turbidity at the stream, and by channel at the outlets of lanes [NTU].
    ahead_flow
        Flow assumed right of now [m^3/s]; None holds the last recorded.
    every_s, lead_s, after_s
        A parcel every so many seconds; how long before `begin` the first is followed, so that the plant is full of
        known water; how long beyond `end` arrivals are still looked for.
    """
    measured = dict(turbidity or {})
    a, b, present = begin.timestamp(), end.timestamp(), now.timestamp()
    start = a - lead_s
    way = _way(flow, start, b + after_s, present, ahead_flow)
    names = dict(names or {})
    strips = _strips(lanes, raw, measured, a, min(b, present), names)
    empty = Timetable(
        begin=a, end=b, now=present, zone=zone, lanes=tuple(lanes), feeds=tuple(feeds), parcels=(), marks=(),
        strips=strips, ahead_flow=ahead_flow,
        notes=("No plant flow is on record here, so that it cannot be told where the water is.",),
    )  # fmt: skip
    if way is None or not lanes:
        return empty
    first = np.ceil(max(start, way.times[0]) / every_s) * every_s
    entered = np.array([t for t in np.arange(first, b + 1, every_s) if way.flow_at(t) > LEAST_FLOW])
    if not len(entered):
        return replace(empty, notes=("Nothing flowed in this time: the water stood still.",))
    crossed = _cross(lanes, way, entered)
    events = tuple(events)
    marks = _marks(lanes, feeds, events, filter_ids, names, a, b, present)
    still = _last_with_the_flow(lanes)
    parcels: list[Parcel] = []
    for p, moment in enumerate(entered):
        out, at_stream = [], _turbidity_at(raw, float(moment), present)
        latest = at_stream
        if crossed.leaves[p, -1, 1] < a:
            continue
        for i, lane in enumerate(lanes):
            if lane.channel:
                latest = _turbidity_at(measured.get(lane.channel), float(crossed.leaves[p, i, 1]), present)
            out.append(latest)
        line = _line(lanes, crossed, p, float(moment), out, at_stream, b)
        spans = tuple(Span(*(float(v) for v in crossed.leaves[p, i])) for i in range(len(lanes)))
        parcel = Parcel(
            entered=float(moment), turbidity=at_stream, leaves=spans, turbidity_out=tuple(out), line=line,
            doses=(), stood_s=0.0, met=(), ahead=bool(moment > present),
        )  # fmt: skip
        last = spans[still].median if np.isfinite(spans[still].median) else b + after_s
        parcels.append(
            replace(
                parcel,
                doses=_doses(parcel, feeds, present),
                stood_s=way.standing(float(moment), min(last, present)),
                met=_met(parcel, lanes, marks),
            )
        )
    marks = (*marks, *_samples(lanes, parcels, events, names, zone, a, b, present))
    parcels = _first_parcels(parcels, feeds, events, present)
    return replace(
        empty, parcels=tuple(parcels), marks=marks, notes=_notes(flow, lanes, a, min(b, present), zone),
    )  # fmt: skip


def _last_with_the_flow(lanes: Sequence[Lane]) -> int:
    """Return the last lane through which water moves only while the plant runs."""
    moving = [i for i, lane in enumerate(lanes) if _moves(lane) is not None]
    return max(0, moving[0] - 1) if moving else len(lanes) - 1


def _strips(
    lanes: Sequence[Lane],
    raw: Track | None,
    measured: Mapping[str, Track],
    a: float,
    b: float,
    names: Mapping[str, str],
) -> tuple[Strip, ...]:
    found = []
    wanted = [(-1, "raw_turbidity", raw)] + [(i, x.channel, measured.get(x.channel)) for i, x in enumerate(lanes)]
    for lane, channel, track in wanted:
        if track is None or not channel:
            continue
        good = track.good
        keep = (good.times >= a) & (good.times <= b)
        if keep.any():
            name = names.get(channel, channel.replace("_", " "))
            found.append(
                Strip(
                    lane=lane,
                    channel=channel,
                    name=name,
                    times=good.times[keep].astype(float),
                    values=good.values[keep],
                )
            )
    return tuple(found)


def _doses(parcel: Parcel, feeds: Sequence[Feed], now: float) -> tuple[tuple[str, float, float], ...]:
    found = []
    for feed in feeds:
        passes = parcel.enters(feed.lane).median
        if feed.dose is None or not np.isfinite(passes) or passes > now:
            continue
        dose = float(_held(feed.dose, np.array([passes]))[0])
        if np.isfinite(dose):
            found.append((feed.name, passes, dose))
    return tuple(found)


def _met(parcel: Parcel, lanes: Sequence[Lane], marks: Sequence[Mark]) -> tuple[str, ...]:
    """Return what happened at a stage while the parcel was in it."""
    found = []
    for mark in marks:
        if mark.kind not in ("backwash", "filter_to_waste") or not 0 <= mark.lane < len(lanes):
            continue
        came, left = parcel.enters(mark.lane).median, parcel.leaves[mark.lane].median
        if came <= mark.ended and (mark.started <= left or not np.isfinite(left)):
            found.append(mark.text)
    return tuple(found)


def _first_parcels(
    parcels: Sequence[Parcel], feeds: Sequence[Feed], events: Sequence[Event], now: float
) -> list[Parcel]:
    """Mark the first parcel that met each changed dose."""
    found = list(parcels)
    for feed in feeds:
        changes = [e.started_at.timestamp() for e in events if e.kind == "dose_change" and e.subject == feed.id]
        for change in changes:
            for i, parcel in enumerate(found):
                if parcel.enters(feed.lane).median >= change:
                    earlier = i > 0 and found[i - 1].enters(feed.lane).median < change
                    if earlier:
                        moment = datetime.fromtimestamp(change, UTC)
                        found[i] = replace(parcel, first_after=f"{feed.name.lower()} dose of {moment:%Y-%m-%dT%H:%MZ}")
                    break
    return found


def _lane_for(subject: str, lanes: Sequence[Lane], filter_ids: Sequence[str]) -> int | None:
    for i, lane in enumerate(lanes):
        if lane.id == subject or (lane.kind == "filters" and subject in filter_ids):
            return i
    return None


def _marks(
    lanes: Sequence[Lane], feeds: Sequence[Feed], events: Sequence[Event], filter_ids: Sequence[str],
    names: Mapping[str, str], a: float, b: float, now: float,
) -> tuple[Mark, ...]:  # fmt: skip
    found: list[Mark] = []
    opened = sorted(e.started_at.timestamp() for e in events if e.kind == "intake_open")
    for event in events:
        started = event.started_at.timestamp()
        ended = event.ended_at.timestamp() if event.ended_at else started
        if event.kind == "intake_shut" and not event.ended_at:
            ended = next((t for t in opened if t >= started), now)
        if ended < a or started > b or started > now:
            continue
        subject = names.get(event.subject, event.subject.replace("_", " "))
        if event.kind in ("backwash", "filter_to_waste"):
            lane = _lane_for(event.subject, lanes, filter_ids)
            if lane is None:
                continue
            what = "backwashed" if event.kind == "backwash" else "filtering to waste"
            unit = filter_ids.index(event.subject) if event.subject in filter_ids else 0
            kind: Literal["backwash", "filter_to_waste"] = "backwash" if event.kind == "backwash" else "filter_to_waste"
            found.append(
                Mark(
                    kind=kind,
                    lane=lane,
                    started=started,
                    ended=max(ended, started + 300),
                    text=f"{subject} {what}",
                    unit=unit,
                )
            )
        elif event.kind == "dose_change":
            feed = next((f for f in feeds if f.id == event.subject), None)
            if feed is not None:
                found.append(
                    Mark(kind="dose", lane=feed.lane, started=started, ended=started, text=_dose_text(feed, event))
                )
        elif event.kind in ("outage", "power_failure"):
            word = "Outage" if event.kind == "outage" else "Power failure"
            found.append(Mark(kind="outage", lane=-1, started=started, ended=max(ended, started + 300), text=word))
        elif event.kind == "intake_shut":
            found.append(Mark(kind="intake_shut", lane=-1, started=started, ended=ended, text="Intake shut"))
    return tuple(found)


def _dose_text(feed: Feed, event: Event) -> str:
    before, after = event.values.get("from"), event.values.get("to")
    if isinstance(before, int | float) and isinstance(after, int | float):
        basis = f" as {feed.basis}" if feed.basis else ""
        return f"{feed.name} {figure(before)} → {figure(after)} mg/L{basis}"
    return f"{feed.name} dose changed"


def _samples(
    lanes: Sequence[Lane], parcels: Sequence[Parcel], events: Sequence[Event], names: Mapping[str, str],
    zone: ZoneInfo, a: float, b: float, now: float,
) -> tuple[Mark, ...]:  # fmt: skip
    """Return the samples, each with the hour at the stream that it speaks of."""
    found = []
    for event in events:
        at = event.started_at.timestamp()
        if event.kind != "sample" or not a <= at <= min(b, now):
            continue
        lane = _lane_for(event.subject, lanes, ())
        name = names.get(event.subject, event.subject.replace("_", " "))
        if lane is None:
            found.append(Mark(kind="sample", lane=-1, started=at, ended=at, text=f"Sample {name}".strip()))
            continue
        hours = speaks_of(parcels, lane, at)
        text = f"Sample after {lanes[lane].name.lower()}"
        if hours is not None:
            when = datetime.fromtimestamp(at, UTC)
            says = [
                clock_text(datetime.fromtimestamp(t, UTC), when, zone) for t in (hours.early, hours.median, hours.late)
            ]
            text += f": water that entered about {says[1]} (10 to 90 %: {says[0]} to {says[2]})"
        found.append(Mark(kind="sample", lane=lane, started=at, ended=at, text=text))
    return tuple(found)


def speaks_of(parcels: Sequence[Parcel], lane: int, at: float) -> Span | None:
    """Return when the water that leaves `lane` at a time had entered the plant; None when it is not known."""
    entered = np.array([p.entered for p in parcels])
    found = []
    for share in ("late", "median", "early"):  # what comes late had entered early
        leaves = np.array([getattr(p.leaves[lane], share) for p in parcels])
        keep = np.isfinite(leaves)
        if keep.sum() < 2 or not leaves[keep][0] <= at <= leaves[keep][-1]:
            return None
        found.append(float(np.interp(at, leaves[keep], entered[keep])))
    return Span(*found)


def _notes(flow: Track, lanes: Sequence[Lane], a: float, b: float, zone: ZoneInfo) -> tuple[str, ...]:
    notes = []
    good = flow.good
    times = np.concatenate([[a], good.times[(good.times > a) & (good.times < b)].astype(float), [b]])
    usual = float(np.median(np.diff(good.times))) if len(good) > 1 else 900.0
    for i in np.flatnonzero(np.diff(times) > max(4 * usual, 2 * 3600)):
        one, two = (datetime.fromtimestamp(t, UTC).astimezone(zone) for t in (times[i], times[i + 1]))
        notes.append(f"Plant flow was not recorded from {one:%a %H:%M} to {two:%a %H:%M}; the last value was held.")
    return tuple(notes)


# --- what to say about it ----------------------------------------------------------------------------------------


def where(table: Timetable, parcel: Parcel, at: float) -> float | None:
    """Return the place of a parcel at a time (lane number plus fraction); None before it enters and after the tap."""
    if at < parcel.entered or at > parcel.line[-1].time:
        return None
    return float(np.interp(at, [q.time for q in parcel.line], [q.place for q in parcel.line]))


def sentence(table: Timetable, parcel: Parcel, *, lane: int | None = None, at: float | None = None) -> str:
    """Return what there is to say about a parcel: at a lane, at a time, or on the whole."""
    said = [_entry(table, parcel)]
    if at is not None:
        said.append(_at(table, parcel, at))
    elif lane is not None:
        said.append(_in_lane(table, parcel, lane))
    ends = [i for i, x in enumerate(table.lanes) if x.kind == "filters"][:1]
    if ends and (lane is None or at is not None or lane != ends[0]):
        said.append(_reaches(table, "the filters", parcel.enters(ends[0])))
    said.append(_reaches(table, "the tap", parcel.leaves[-1]))
    said += _meets(table, parcel)
    return " ".join(s for s in said if s)


def _ntu(value: float) -> str:
    return f"{figure(value, 2 if value < 1 else 3)} NTU" if np.isfinite(value) else "turbidity not measured"


def _entry(table: Timetable, parcel: Parcel) -> str:
    verb = "Water that enters" if parcel.ahead else "Water that entered"
    at = f"at {_ntu(parcel.turbidity)}" if np.isfinite(parcel.turbidity) else "(turbidity not measured)"
    if parcel.ahead:
        at = "after now: its turbidity is not known yet"
        return f"{verb} {table.clock(parcel.entered)}, {at}."
    return f"{verb} {table.clock(parcel.entered)} {at}."


def _in_lane(table: Timetable, parcel: Parcel, lane: int) -> str:
    came, left, name = parcel.enters(lane), parcel.leaves[lane], table.lanes[lane].name
    if not np.isfinite(came.median):
        return f"{name}: not reached within the time looked at."
    verb = "came in" if came.median <= table.now else "comes in"
    text = f"{name}: {verb} {table.clock(came.median)}"
    if np.isfinite(left.median):
        verb = "left" if left.median <= table.now else "leaves"
        text += f", {verb} {table.clock(left.median)}{_band(table, left)}"
        if table.lanes[lane].channel and left.median <= table.now:
            text += f" at {_ntu(parcel.turbidity_out[lane])}"
    return text + "."


def _band(table: Timetable, span: Span) -> str:
    late = table.clock(span.late) if np.isfinite(span.late) else "later than is looked at"
    return f" (10 to 90 %: {table.clock(span.early)} to {late})" if np.isfinite(span.early) else ""


def _at(table: Timetable, parcel: Parcel, at: float) -> str:
    place = where(table, parcel, at)
    if place is None:
        return (
            f"At {table.clock(at)} it had not entered."
            if at < parcel.entered
            else f"At {table.clock(at)} it had gone to the village."
        )
    lane = min(int(place), len(table.lanes) - 1)
    verb = "was" if at <= table.now else "will be"
    return f"At {table.clock(at)} it {verb} in {_lower(table.lanes[lane].name)}."


def _lower(name: str) -> str:
    return name[:1].lower() + name[1:]


def _reaches(table: Timetable, what: str, span: Span) -> str:
    if not np.isfinite(span.median):
        return f"It does not reach {what} within the time looked at."
    verb = "Reached" if span.median <= table.now else "Reaches"
    return f"{verb} {what} {table.clock(span.median)}{_band(table, span)}."


def _meets(table: Timetable, parcel: Parcel) -> list[str]:
    said = []
    if parcel.stood_s >= 600:
        said.append(f"It stood still {age_text(parcel.stood_s)} on the way.")
    for name, passes, dose in parcel.doses:
        basis = next((f.basis for f in table.feeds if f.name == name), "")
        said.append(f"{name} {figure(dose)} mg/L{f' as {basis}' if basis else ''} at {table.clock(passes)}.")
    if parcel.first_after:
        said.append("It was the first to get the new dose.")
    if parcel.met:
        said.append(
            f"It met: {'; '.join(_lower(m) if not m.startswith('Filter') else m for m in dict.fromkeys(parcel.met))}."
        )
    return said

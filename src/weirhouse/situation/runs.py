"""How far is each filter in its run? Time and volume filtered, head loss and turbidity since its last backwash."""

import itertools
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from weirhouse.records.model import Event
from weirhouse.situation.gather import Gather, moment
from weirhouse.situation.model import FilterRun, PastRun, Slope, Track, Value
from weirhouse.situation.running import hold_s
from weirhouse.situation.series import filtering_clock, fit_line, sum_flow
from weirhouse.working import Known, Reading

LONGEST = timedelta(days=14)  # a run that began earlier is not traced
RIPENING_H = 1.0  # the first hour of filtering after a wash tells nothing of the rate that follows
RECENT_H = 6.0  # the turbidity's drift is read over the last hours of filtering


def run_start(events: Sequence[Event], filter_id: str, when: datetime) -> datetime | None:
    """Return when the last backwash of the filter ended, if one is on record before `when`."""
    ends = [e.ended_at or e.started_at for e in events if e.kind == "backwash" and e.subject == filter_id]
    ends = [end for end in ends if end <= when]
    return max(ends) if ends else None


def filter_run(
    gather: Gather,
    filter_id: str,
    started: datetime | None,
    values: Mapping[str, Value],
    flow_id: str,
    least: float,
    share: int,
    zone: ZoneInfo,
) -> FilterRun:
    """Return the run of one filter. Without a meter of its own it is given an equal share (1/`share`) of the flow."""
    when = gather.when
    own = f"{filter_id}_flow"
    has_own = own in gather.recorded
    track = gather.track(own) if has_own else gather.track(flow_id)
    flow_value = values[own] if has_own else values.get(flow_id)
    flows = track.good
    part = 1 if has_own else share
    floor = least / share
    start = max(started, when - LONGEST) if started else None
    head_loss, turbidity = f"{filter_id}_head_loss", f"{filter_id}_turbidity"
    loss_track, turbidity_track = (_within(gather.track(name), start) for name in (head_loss, turbidity))
    filtering = volume = None
    gaps = ""
    clock = np.zeros(len(loss_track))
    if start is not None and len(flows):
        hold = hold_s(flows)
        amounts = flows.values / part
        begin = start.timestamp()
        total = sum_flow(flows.times, amounts, begin, when.timestamp(), least=floor, hold=hold)
        clock = filtering_clock(flows.times, amounts, loss_track.times, begin, least=floor, hold=hold)
        title = flow_value.title if flow_value else "Plant flow"
        of = "" if has_own else f", an equal share among {share} filters"
        source = Reading(
            title, "", when.astimezone(zone), f"summed since the backwash of {started:%Y-%m-%d %H:%M} UTC{of}"
        )
        filtering, volume = Known(total.filtering, source, "s"), Known(total.volume, source, "m^3")
        if total.unrecorded > 0.05 * max(1.0, when.timestamp() - begin):
            hours = total.unrecorded / 3600
            gaps = f"flow was not recorded for {hours:.1f} h of this run, so that hours and volume count too little"
    return FilterRun(
        filter=filter_id,
        started_at=started,
        start_known=started is not None,
        filtering=filtering,
        volume=volume,
        flow=flow_value or _no_flow(),
        head_loss=values[head_loss] if head_loss in values else _missing(head_loss, "m"),
        turbidity=values[turbidity] if turbidity in values else _missing(turbidity, "NTU"),
        head_loss_track=loss_track,
        turbidity_track=turbidity_track,
        starting_head_loss=_first(loss_track, clock, values.get(head_loss), zone),
        filtered_hours=clock,
        own_meter=has_own,
        head_loss_slope=_slope(loss_track, clock, RIPENING_H, values.get(head_loss), zone),
        turbidity_slope=_turbidity_slope(turbidity_track, flows, part, start, floor, values.get(turbidity), zone),
        gaps=gaps,
    )


def _within(track: Track, start: datetime | None) -> Track:
    keep = track.times >= (start.timestamp() if start else np.inf)
    return Track(channel=track.channel, times=track.times[keep], values=track.values[keep], flags=track.flags[keep])


def _slope(
    track: Track, clock: NDArray[np.float64], after_h: float, value: Value | None, zone: ZoneInfo
) -> Slope | None:
    """Fit the rise over filtering time [per s of filtering], leaving out the ripening hour and times of standing."""
    if value is None or not len(track):
        return None
    good = np.isfinite(track.values) & (track.flags != 1) & (track.flags != 2) & (clock >= after_h)
    # a reading at the stop itself belongs to the standing filter: the clock must go on after it, too
    before = np.concatenate([[True], np.diff(clock) > 0]) if len(clock) else good
    after = np.concatenate([np.diff(clock) > 0, [True]]) if len(clock) else good
    keep = good & before & after
    line = fit_line(clock[keep] * 3600.0, track.values[keep])
    if line is None or line.n < 6 or clock[keep][-1] - clock[keep][0] < 1.0:
        return None
    at = moment(track.times[keep][-1]).astimezone(zone)
    detail = f"least squares through {line.n} readings of this run over filtering time"
    # Besides the scatter the rate itself changes with the water: a quarter either way holds the end of four runs in
    # five, counted over the runs of the demonstration year; common practice, no source
    low, high = line.slope - 1.28 * line.error, line.slope + 1.28 * line.error
    low, high = min(low, 0.8 * line.slope), max(high, 1.25 * line.slope)
    unit = f"{value.unit}/s"
    return Slope(
        middle=Known(line.slope, Reading(value.title, "", at, detail), unit),
        low=Known(low, Reading(value.title, "", at, f"{detail}, lower edge of the 80 percent band"), unit),
        high=Known(high, Reading(value.title, "", at, f"{detail}, upper edge of the 80 percent band"), unit),
        n=line.n,
    )


def _turbidity_slope(
    track: Track,
    flows: Track,
    part: int,
    start: datetime | None,
    floor: float,
    value: Value | None,
    zone: ZoneInfo,
) -> Slope | None:
    if start is None or not len(flows) or not len(track):
        return None
    hold = hold_s(flows)
    clock = filtering_clock(flows.times, flows.values / part, track.times, start.timestamp(), least=floor, hold=hold)
    return _slope(track, clock, max(RIPENING_H, float(clock[-1]) - RECENT_H), value, zone)


def _first(track: Track, clock: NDArray[np.float64], value: Value | None, zone: ZoneInfo) -> Known | None:
    """Return the first good head loss after half an hour of filtering: what the clean bed took."""
    if value is None:
        return None
    keep = np.flatnonzero(np.isfinite(track.values) & (track.flags == 0) & (clock >= 0.5) & (clock < 4.0))
    if not len(keep):
        return None
    first = int(keep[0])
    at = moment(track.times[first]).astimezone(zone)
    return Known(float(track.values[first]), Reading(value.title, "", at, "early in this run"), value.unit)


def past_runs(events: Sequence[Event], filter_ids: Sequence[str]) -> tuple[PastRun, ...]:
    """Return the finished runs between backwashes on record, oldest first."""
    found = []
    for filter_id in filter_ids:
        washes = [e for e in events if e.kind == "backwash" and e.subject == filter_id]
        for before, after in itertools.pairwise(washes):
            start = before.ended_at or before.started_at
            loss = after.values.get("start_head_loss", float("nan"))
            found.append(
                PastRun(
                    filter=filter_id,
                    started_at=start,
                    ended_at=after.started_at,
                    clock_hours=(after.started_at - start).total_seconds() / 3600,
                    end_head_loss=float(loss) if isinstance(loss, float | int) else float("nan"),
                )
            )
    return tuple(sorted(found, key=lambda run: run.ended_at))


def _missing(channel: str, unit: str) -> Value:
    return Value(
        channel=channel, title=channel.replace("_", " ").capitalize(), unit=unit, display="", known=None,
        taken_at=None, age_s=None, state="missing", why="not measured at this plant",
    )  # fmt: skip


def _no_flow() -> Value:
    return _missing("plant_flow", "m^3/s")

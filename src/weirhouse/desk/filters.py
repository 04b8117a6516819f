"""How far is each filter in its run, and at what hour will it need a backwash?"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from math import isfinite
from statistics import median

from weirhouse.desk.lines import Display, age_words, figure, oldest, unknown
from weirhouse.desk.model import Advice, AdviceState, Figure
from weirhouse.plant.model import Filter, Filters, Plant
from weirhouse.plant.units import area_of
from weirhouse.quantity import convert, show, written
from weirhouse.science.filtration import filtration_rate, unit_filter_run_volume
from weirhouse.science.operations import (
    clock_time_for_filtering,
    equal_share,
    run_time_left,
    sooner,
    time_to_head_loss,
    time_to_turbidity,
)
from weirhouse.science.quantities import FilterRate, Head, Turbidity, Volume, VolumePerArea
from weirhouse.situation.ages import clock_text, elapsed_s, later, rest_of_hour_s
from weirhouse.situation.model import FilterRun, Situation, Value
from weirhouse.working import Default, Known, Reading, Sheet, recording

WASH = "Lock out what could start the wash pump or move a valve before you reach into a filter or an empty box."
SOON_H = 12.0
LONGEST_H = 29.9 * 24  # the walk over the hours of the day ends at 30 days
SURE = {
    "head loss": "by its own rise in this run, at the flow so far; the band holds about four times in five",
    "turbidity": "by its own drift over the last hours; the band holds about four times in five",
    "longest run": "the plant file's own limit comes before head loss and turbidity, at the flow so far",
}
PAST_RUNS = 10  # the latest runs of a filter that tell how a young run may go


@dataclass(frozen=True, slots=True)
class Left:
    """Filtering time [s] until one limit of a run: likely, earliest and latest (None: not in sight)."""

    reason: str
    likely: Known
    earliest: Known
    latest: Known | None
    clock: bool = False  # the times are clock times already


def filters(situation: Situation) -> Iterator[Advice]:
    """Yield a line for each filter: its run so far and the hour of its backwash."""
    for place in situation.plant.filters:
        yield _run(situation, place)


def stage_of(plant: Plant, filter_id: str) -> Filters:
    """Return the stage of the train that a filter belongs to."""
    for stage in plant.stages:
        if isinstance(stage, Filters) and any(place.id == filter_id for place in stage.filter):
            return stage
    raise KeyError(filter_id)


def flow_of(situation: Situation, run: FilterRun) -> Known | None:
    """Return the flow through a filter: by its own meter, or an equal share of the plant's."""
    flow = run.flow.usable
    if flow is None or run.own_meter:
        return flow
    count = len(situation.plant.filters)
    share: Known = equal_share(flow, Known(float(count), Default(f"{count} filters share the flow", "plant file"), "1"))
    return share


def channels_of(situation: Situation, filter_id: str) -> tuple[str, ...]:
    """Return the channels on which a filter's backwash hangs, of those that the plant has."""
    run = situation.runs[filter_id]
    found = [c for c in (run.head_loss.channel, run.turbidity.channel) if c in situation.values]
    if run.turbidity.channel not in situation.values:
        found.append("combined_turbidity")
    return tuple(dict.fromkeys([*found, run.flow.channel]))


def head_loss_of(situation: Situation, run: FilterRun) -> Known | None:
    """Return the head loss that a limit is held against: of a standing filter, the last one while it filtered."""
    newest = run.head_loss.usable
    if newest is None or situation.running.state != "standing":
        return newest
    track, clock = run.head_loss_track, [float(hours) for hours in run.filtered_hours]
    found = newest
    # no hour passes on this clock while the filter stands; a reading at the stop itself belongs to the standing filter
    for before, here, after, i in zip(clock, clock[1:], clock[2:], range(1, len(clock)), strict=False):
        if before < here < after and track.flags[i] == 0 and isfinite(track.values[i]):
            taken = datetime.fromtimestamp(int(track.times[i]), UTC).astimezone(situation.zone)
            source = Reading(run.head_loss.title, "", taken, "the last while it filtered")
            found = Known(float(track.values[i]), source, "m")
    return found


def _turbidity(situation: Situation, run: FilterRun) -> Value:
    """Return the filter's own turbidity, or the combined one where it has no meter of its own."""
    own = run.turbidity.channel in situation.values
    return run.turbidity if own else situation.value("combined_turbidity")


def _run(situation: Situation, place: Filter) -> Advice:
    plant, run = situation.plant, situation.runs[place.id]
    stage = stage_of(plant, place.id)
    channels = channels_of(situation, place.id)
    title = f"{place.name}: run and backwash"
    bad = [c for c in channels if situation.value(c).usable is None]
    with recording() as sheet:
        figures = _figures(situation, place, stage, run)
    passed = _passed(situation, stage, run)
    if bad or not run.start_known or run.filtering is None:
        check = "" if bad else f"Enter in the day log when {place.name} was last washed: nothing is on record."
        because = f"{passed} A backwash is due whatever the rest says." if passed else ""
        return unknown(
            situation, f"run_{place.id}", title, channels, check=check, because=because, caution=WASH, inside="s",
            unit="h", figures=figures,
        )  # fmt: skip
    if passed:
        when = "before you start it" if situation.running.state == "standing" else "now"
        return _advice(
            situation, place, title, f"Backwash {place.name} {when}.", Known(0.0, None, "s"), "do_now", sheet, channels,
            figures, because=passed, sure="a limit of the plant file is reached",
        )  # fmt: skip
    with recording() as times:
        limits = _limits(situation, stage, run)
        found = _soonest(situation, limits)
    sheet = Sheet(lines=[*sheet.lines, *times.lines], notes=[*sheet.notes, *times.notes])
    if found is None:
        action = f"No backwash of {place.name} is in sight: neither head loss nor turbidity rises."
        return _advice(
            situation, place, title, action, None, "steady", sheet, channels, figures, because="",
            sure="the plant file names no longest run",
        )  # fmt: skip
    reason, likely, earliest, latest = found
    hours = float(convert(likely, "s", "h"))
    about, band = _clock(situation, likely), _band(situation, likely, earliest, latest)
    state: AdviceState = "soon" if hours < SOON_H else "steady"
    if state == "soon":
        action = f"Backwash {place.name} about {about}{band}."
    elif hours >= LONGEST_H:
        action = f"{place.name} needs no backwash within 30 days as it goes now{band}."
    else:
        action = f"{place.name} will need a backwash about {about}{band}."
    sure = SURE.get(reason, "this run is too young to show its rise")
    figures = (*figures, *(figure(f"Until its limit: {x.reason}", x.likely, "s", "h") for x in limits))
    return _advice(
        situation, place, title, action, likely, state, sheet, channels, figures, because=f"First limit: {reason}.",
        sure=f"{sure}; {run.gaps}" if run.gaps else sure,
    )  # fmt: skip


def _advice(
    situation: Situation,
    place: Filter,
    title: str,
    action: str,
    value: Known | None,
    state: AdviceState,
    sheet: Sheet,
    channels: tuple[str, ...],
    figures: tuple[Figure, ...],
    *,
    because: str,
    sure: str,
) -> Advice:
    return Advice(
        id=f"run_{place.id}", title=title, action=action, value=None if value is None else float(value), inside="s",
        unit="h", shown="" if value is None else show(value, "s", "h"), state=state,
        caution=WASH if state in ("do_now", "soon") else "", working=sheet, age_s=oldest(situation, channels),
        confidence=f"{sure}; {age_words(situation, channels)}", depends=channels, check="", because=because,
        figures=figures,
    )  # fmt: skip


def _band(situation: Situation, likely: Known, earliest: Known, latest: Known | None) -> str:
    """Return the band in words; nothing where a limit of the plant file itself decides."""
    if latest is None:
        return f" (not before {_clock(situation, earliest)})"
    if earliest == likely == latest:
        return ""
    return f" (from {_clock(situation, earliest)} to {_clock(situation, latest)})"


def _clock(situation: Situation, seconds: Known) -> str:
    return clock_text(later(situation.at, seconds), situation.at, situation.zone)


# --- what is so --------------------------------------------------------------------------------------------------


def _figures(situation: Situation, place: Filter, stage: Filters, run: FilterRun) -> tuple[Figure, ...]:
    display = Display(situation.plant.unit_set)
    area = area_of(situation.plant, place)
    flow = flow_of(situation, run)
    rate = filtration_rate(flow, area) if flow is not None else None
    unit_volume = unit_filter_run_volume(run.volume, area) if run.volume is not None else None
    turbidity = _turbidity(situation, run)
    at = f"train.{stage.id}"
    limit = None if stage.terminal_head_loss is None else situation.plant.known(f"{at}.terminal_head_loss")
    trigger = None if stage.trigger_turbidity is None else situation.plant.known(f"{at}.trigger_turbidity")
    longest = None if stage.max_run is None else situation.plant.known(f"{at}.max_run")
    return (
        figure("Rate", rate, "m/s", display.unit(FilterRate)),
        figure(
            "Filtering time since the backwash", run.filtering, "s", "h",
            against=f"longest run {written(longest, 's', 'h')}" if longest is not None else "",
            within=_below(run.filtering, longest),
        ),
        figure("Filtered since the backwash", run.volume, "m^3", display.unit(Volume)),
        figure("Filtered on each unit of area", unit_volume, "m", display.unit(VolumePerArea)),
        _measured("Head loss", run.head_loss, "m", display.unit(Head), limit, "backwash at"),
        _measured("Filtered turbidity", turbidity, "NTU", display.unit(Turbidity), trigger, "backwash at"),
    )  # fmt: skip


def _below(value: Known | None, limit: Known | None) -> bool | None:
    return None if value is None or limit is None else bool(value < limit)


def _measured(title: str, value: Value, inside: str, unit: str, limit: Known | None, words: str) -> Figure:
    """Return the newest value even when it is doubtful: then it says so, and is held against nothing."""
    against = f"{words} {show(limit, inside, unit)}" if limit is not None else ""
    if value.usable is None:
        return figure(title, value.known, inside, unit, against=f"{value.state}: {value.why}")
    return figure(title, value.known, inside, unit, against=against, within=_below(value.usable, limit))


def _passed(situation: Situation, stage: Filters, run: FilterRun) -> str:
    """Return what limit a reading that can be trusted has reached, in a sentence; empty when none."""
    display = Display(situation.plant.unit_set)
    loss, turbidity = head_loss_of(situation, run), _turbidity(situation, run).usable
    said = []
    if stage.terminal_head_loss is not None and loss is not None and loss >= stage.terminal_head_loss:
        limit = display.show(stage.terminal_head_loss, Head)
        said.append(f"Head loss is {display.show(loss, Head)}, the limit {limit}.")
    if stage.trigger_turbidity is not None and turbidity is not None and turbidity >= stage.trigger_turbidity:
        limit = display.show(stage.trigger_turbidity, Turbidity)
        said.append(f"Filtered turbidity is {display.show(turbidity, Turbidity)}, the limit {limit}.")
    if stage.max_run is not None and run.filtering is not None and run.filtering >= stage.max_run:
        said.append(
            f"It has filtered for {show(run.filtering, 's', 'h')}, the longest is {show(stage.max_run, 's', 'h')}."
        )
    return " ".join(said)


# --- what is coming ----------------------------------------------------------------------------------------------


def _limits(situation: Situation, stage: Filters, run: FilterRun) -> list[Left]:
    """Return the filtering time until each limit of the run that is in sight."""
    found = []
    plant, at = situation.plant, f"train.{stage.id}"
    loss, slope = head_loss_of(situation, run), run.head_loss_slope
    if stage.terminal_head_loss is not None and loss is not None and slope is not None and slope.middle > 0:
        limit = plant.known(f"{at}.terminal_head_loss")
        found.append(
            Left(
                "head loss",
                time_to_head_loss(limit, loss, slope.middle),
                time_to_head_loss(limit, loss, slope.high),
                time_to_head_loss(limit, loss, slope.low) if slope.low > 0 else None,
            )
        )
    elif slope is None and run.head_loss.channel in situation.values:
        found.extend(_as_before(situation, run))
    turbidity, drift = run.turbidity.usable, run.turbidity_slope
    # a drift that may as well be none says nothing
    if stage.trigger_turbidity is not None and turbidity is not None and drift is not None and drift.low > 0:
        trigger = plant.known(f"{at}.trigger_turbidity")
        found.append(
            Left(
                "turbidity",
                time_to_turbidity(trigger, turbidity, drift.middle),
                time_to_turbidity(trigger, turbidity, drift.high),
                time_to_turbidity(trigger, turbidity, drift.low),
            )
        )
    if stage.max_run is not None and run.filtering is not None:
        left = run_time_left(plant.known(f"{at}.max_run"), run.filtering)
        found.append(Left("longest run", left, left, left))
    return found


def _as_before(situation: Situation, run: FilterRun) -> list[Left]:
    """Return how long a run too young to show its rise may last, by the filter's runs before it."""
    before = [r for r in situation.past_runs if r.filter == run.filter][-PAST_RUNS:]
    if run.started_at is None or not before:
        return []
    hours = sorted(r.clock_hours for r in before)
    since = run.started_at
    newest = before[-1].ended_at.astimezone(situation.zone)
    elapsed = Known(
        elapsed_s(since, situation.at), Reading("Clock time of this run", "", since.astimezone(situation.zone)), "s"
    )

    def left(length: float, words: str) -> Known:
        source = Reading("Past runs of this filter", "", newest, f"{words} of {len(before)}")
        time: Known = run_time_left(Known(convert(length, "h", "s"), source, "s"), elapsed)
        return time

    return [
        Left(
            f"past runs of this filter lasted {median(hours):.0f} h",
            left(median(hours), "middle"),
            left(hours[0], "shortest"),
            left(hours[-1], "longest"),
            clock=True,
        )
    ]


def _soonest(situation: Situation, limits: Sequence[Left]) -> tuple[str, Known, Known, Known | None] | None:
    """Return the limit that comes first and its clock time: likely, earliest and latest."""
    if not limits:
        return None
    walked = [_on_clock(situation, limit) for limit in limits]
    first = min(walked, key=lambda left: left.likely)
    likely, earliest, latest = first.likely, first.earliest, first.latest
    for other in walked:
        if other is first:
            continue
        likely = sooner(likely, other.likely)
        earliest = sooner(earliest, other.earliest)
        if other.latest is not None:
            latest = other.latest if latest is None else sooner(latest, other.latest)
    return first.reason, likely, earliest, latest


def _on_clock(situation: Situation, left: Left) -> Left:
    """Return filtering times as clock times, by the hours in which the plant usually runs."""
    shares = situation.running_by_hour
    if left.clock or not shares or max(shares) <= 0:
        return left
    hour = situation.at.astimezone(situation.zone).hour
    ahead = [*shares[hour:], *shares[:hour]]
    rest = Known(rest_of_hour_s(situation.at), Default("what is left of this hour", "the clock"), "s")

    def walk(time: Known) -> Known:
        clock: Known = clock_time_for_filtering(time, rest, ahead)
        return clock

    return Left(left.reason, walk(left.likely), walk(left.earliest), None if left.latest is None else walk(left.latest))

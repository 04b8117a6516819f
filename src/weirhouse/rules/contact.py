"""Had the chlorine time enough each day? CT over CT required at the peak hour, summed over the segments.

The peak hour of a day is the clock hour that most water left in. Residual (the lowest), pH (the highest), temperature
(the lowest) and level (the lowest) are those of that hour; of pH or temperature read by hand it is the worst reading
of the day. A value that should be there and is not makes the day one that cannot be told.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

import numpy as np

from weirhouse.plant.model import Plant
from weirhouse.quantity import convert
from weirhouse.rules.ground import Ground
from weirhouse.rules.model import DayContact, Outcome, Requirement, SegmentTime, Status
from weirhouse.rules.outcome import Verdict, amount, simple
from weirhouse.science.basins import volume_from_area
from weirhouse.science.contact_time import (
    TABLES,
    ct_achieved,
    ct_required,
    free_chlorine_counted,
    inactivation_ratio,
    log_inactivation_needed,
    sum_of_ratios,
    t10,
    t10_from_tracer,
    volume_at_level,
)
from weirhouse.science.pipes import pipe_volume
from weirhouse.situation.at import flow_channel
from weirhouse.situation.days import Course, Day
from weirhouse.situation.running import least_flow
from weirhouse.working import Default, Known, Reading, note, recording

ORGANISMS = ("giardia", "virus")
NAMES = {"giardia": "Giardia", "virus": "viruses"}
ENOUGH = 1.0
SHORTEST_DAY_S = 900.0  # of running, below which a day asks for nothing
PLUG_FLOW = Default("1, a long pipe: plug flow", "Pennsylvania DEP, tracer studies and contact time")


class LackingError(Exception):
    """Something without which no contact time can be told: one sentence."""


@dataclass(frozen=True, slots=True)
class Needed:
    """Log inactivation that disinfection has to bring of each organism after the State's removal credit."""

    logs: Mapping[str, Known]
    covered: tuple[str, ...]  # organisms of which the credit covers all


def stages_of(plant: Plant) -> list[Any]:
    """Return the stages that count for contact."""
    return [s for s in plant.stages if s.kind == "contact" or (s.kind == "pipe" and getattr(s, "contact", False))]


def needed(plant: Plant) -> Needed:
    """Return what disinfection has to bring; LackingError where the State's credit is not in the plant file."""
    if plant.permit is None:
        raise LackingError("The plant file has no permit: enter the logs required and the removal credit of the State.")
    found: dict[str, Known] = {}
    covered = []
    keys = [f"{organism}_{what}" for organism in ORGANISMS for what in ("required", "credit")]
    if without := [key for key in keys if getattr(plant.permit, key) is None]:
        raise LackingError(
            f"The State's removal credit is lacking: enter {', '.join(without)} of the permit in the plant file."
        )
    for organism in ORGANISMS:
        at = f"permit.{organism}"
        logs = log_inactivation_needed(plant.known(f"{at}_required"), plant.known(f"{at}_credit"))
        if logs > 0:
            found[organism] = logs
        else:
            covered.append(organism)
    return Needed(found, tuple(covered))


def tables_confirmed(ground: Ground) -> str:
    """Return by whom the contact-time tables were confirmed; empty while they are from memory.

    The recorded action goes before the text in the plant file.
    """
    found = [ground.book.tables_confirmed.get(key) for key in TABLES]
    if all(found):
        return "; ".join(f"{c.person} on {c.at:%Y-%m-%d} with {c.edition}" for c in found if c is not None)
    permit = ground.plant.permit
    return permit.contact_time_tables_confirmed if permit is not None else ""


def days_of_contact(ground: Ground) -> Mapping[date, DayContact]:
    """Return the contact time of each day that is over, made once."""
    return ground.keep("contact", lambda: _all_days(ground))  # type: ignore[no-any-return]


def _all_days(ground: Ground) -> dict[date, DayContact]:
    stages = stages_of(ground.plant)
    if not stages:
        return {}
    course = _outflow_course(ground, stages)
    return {day.date: _day(ground, day, stages, course) for day in ground.days if day.end <= ground.until_s}


def _outflow_course(ground: Ground, stages: list[Any]) -> Course:
    """Return how water left the contact tank: by its own meter, else by the plant's."""
    id = _outflow_channel(ground, stages)
    if id == flow_channel(ground.plant):
        return ground.course()
    track = ground.stretch.tracks[id]
    return Course(track, least=least_flow(ground.plant.design_flow), end=ground.stretch.b.timestamp())


def _flow_gap(ground: Ground, day: Day, stages: list[Any], course: Course) -> tuple[int, int] | None:
    """Return the first time of a day for which the flow out was not recorded although it may have run."""
    id = _outflow_channel(ground, stages)
    sig = ground.signal(id, upper=True)
    times, flows = ground.keep(("good", id), lambda: (sig.times[sig.good], sig.values[sig.good]))
    first, last = np.searchsorted(times, [day.begin, day.end])
    points = np.concatenate([[day.begin], times[first:last], [day.end]])
    before = flows[first - 1] if first else np.inf  # not known: it may have run
    after = flows[last] if last < len(flows) else 0.0
    on = np.concatenate([[before], flows[first:last], [after]]) > least_flow(ground.plant.design_flow)
    for i in np.flatnonzero(np.diff(points) > 1.5 * sig.interval):
        begin, end = int(points[i]), int(points[i + 1])
        unknown = end - begin - float(course.known(np.array([float(begin)]), np.array([float(end)]))[0])
        if on[i] or (on[i + 1] and unknown > 1.0):
            return begin, end
    return None


def _outflow_channel(ground: Ground, stages: list[Any]) -> str:
    own = next((f"{s.id}_outflow" for s in stages if f"{s.id}_outflow" in ground.stretch.tracks), "")
    return own or flow_channel(ground.plant)


def _cannot(why: str, peak: datetime | None = None, flow: float | None = None) -> DayContact:
    return DayContact(
        status="cannot tell", peak_hour=peak, flow=flow, ratios={}, limiting="", weakest="", segments=(), why=why,
        sheet=None,
    )  # fmt: skip


def _day(ground: Ground, day: Day, stages: list[Any], course: Course) -> DayContact:
    water = course.water(day.begin, day.end)
    if water.ran < SHORTEST_DAY_S:
        if water.unrecorded >= SHORTEST_DAY_S:
            return _cannot("It is not on record whether water was sent on.")
        return DayContact(
            status="not due", peak_hour=None, flow=None, ratios={}, limiting="", weakest="", segments=(),
            why="The plant did not run.", sheet=None,
        )  # fmt: skip
    if not course.measured:
        return _cannot("The flow out was not measured, so there is no peak hour.")
    gap = _flow_gap(ground, day, stages, course)
    if gap is not None:
        begin, end = (f"{ground.local(moment):%H:%M}" for moment in gap)
        return _cannot(f"The flow was not recorded from {begin} to {end}: the peak hour may lie there.")
    peak = datetime.fromtimestamp(water.peak_at, UTC)
    try:
        with recording() as sheet:
            day_contact = _worked(ground, day, stages, water.peak_at, water.peak)
    except (LackingError, ValueError) as problem:
        return _cannot(str(problem), peak, water.peak)
    return DayContact(
        status=day_contact.status, peak_hour=peak, flow=water.peak, ratios=day_contact.ratios,
        limiting=day_contact.limiting, weakest=day_contact.weakest, segments=day_contact.segments, why="", sheet=sheet,
    )  # fmt: skip


def _worked(ground: Ground, day: Day, stages: list[Any], hour: int, peak: float) -> DayContact:
    plant = ground.plant
    asked = needed(plant)
    if not asked.logs:
        note("No inactivation is asked for: the removal credit covers what is required.")
        return DayContact(
            status="met", peak_hour=None, flow=peak, ratios={}, limiting="", weakest="", segments=(), why="", sheet=None
        )
    confirmed = bool(tables_confirmed(ground))
    at = ground.local(hour)
    flow = Known(peak, Reading("Flow out", "", at, "mean of the hour that most water left in"), "m^3/s")
    ph = _worst(ground, day, hour, ("contact_ph", "entry_ph"), highest=True, all_day=True)
    temperature = _worst(ground, day, hour, ("contact_temperature", "raw_temperature"), highest=False, all_day=True)
    segments: list[SegmentTime] = []
    ratios: dict[str, list[Known]] = {organism: [] for organism in asked.logs}
    for stage in stages:
        usual = ("contact_chlorine", "entry_chlorine")
        names = usual if stage.kind == "contact" else usual[::-1]
        residual = _worst(ground, day, hour, (f"{stage.id}_chlorine", *names), highest=False, all_day=False)
        volume = _volume(ground, day, hour, stage)
        time = _t10(plant, stage, volume, flow)
        counted = free_chlorine_counted(residual)
        ct = ct_achieved(counted, time)
        shares = {}
        for organism, logs in asked.logs.items():
            required = ct_required(counted, ph, temperature, logs, organism, confirmed)  # type: ignore[arg-type]
            ratio = inactivation_ratio(ct, required)
            ratios[organism].append(ratio)
            shares[organism] = float(ratio)
        segments.append(
            SegmentTime(
                stage=stage.id, name=stage.name, residual=float(convert(float(residual), "g/m^3", "mg/L")),
                t10=float(time), ct=float(ct) / 60.0, ratios=shares,
            )
        )  # fmt: skip
    totals = {organism: float(sum_of_ratios(some)) for organism, some in ratios.items()}
    limiting = min(totals, key=lambda organism: totals[organism])
    weakest = min(segments, key=lambda s: s.ratios[limiting])
    status: Status = "met" if all(total >= ENOUGH for total in totals.values()) else "broken"
    return DayContact(
        status=status, peak_hour=at, flow=peak, ratios=totals, limiting=limiting, weakest=weakest.name,
        segments=tuple(segments), why="", sheet=None,
    )  # fmt: skip


def _worst(
    ground: Ground, day: Day, hour: int, channels: tuple[str, ...], *, highest: bool, all_day: bool
) -> Known:  # fmt: skip
    """Return the worst value of the peak hour; with `all_day`, of a channel read by hand, the worst of the day."""
    id = next((c for c in channels if c in ground.plant.channels), "")
    if not id:
        raise LackingError(f"The plant file has no channel {channels[-1]}.")
    channel = ground.plant.channels[id]
    sig = ground.signal(id, upper=highest)
    by_day = all_day and not sig.logged
    begin, end, words = (day.begin, day.end, "the day") if by_day else (hour, hour + 3600, "the peak hour")
    first, last = np.searchsorted(sig.times, [begin, end])
    rows = np.flatnonzero(sig.good[first:last]) + first
    if not len(rows):
        lost = "that is not rejected or doubtful " if last > first else ""
        raise LackingError(f"{channel.name}: no value {lost}was recorded in {words}.")
    wanted = int((end - begin) // max(sig.interval, 1.0)) if sig.logged and sig.interval <= 3600 else 1
    if len(rows) < wanted:
        raise LackingError(f"{channel.name}: only {len(rows)} of {wanted} values of {words} count.")
    values = sig.values[rows]
    i = rows[int(np.argmax(values) if highest else np.argmin(values))]
    word = "highest" if highest else "lowest"
    reading = Reading(channel.name, "", ground.local(int(sig.times[i])), f"{word} of {words}")
    return Known(float(sig.values[i] if highest else max(sig.values[i], 0.0)), reading, channel.inside)


def _volume(ground: Ground, day: Day, hour: int, stage: Any) -> Known:
    plant, at = ground.plant, f"train.{stage.id}"
    if stage.kind == "pipe":
        held: Known = pipe_volume(plant.known(f"{at}.inside_diameter"), plant.known(f"{at}.length"))
        return held
    if stage.level_channel:
        level = _worst(ground, day, hour, (stage.level_channel,), highest=False, all_day=False)
    elif stage.low_level is not None:
        level = plant.known(f"{at}.low_level")
    else:
        raise LackingError(f"Enter level_channel or low_level of {stage.name} in the plant file.")
    return _at_level(plant, stage, level)


def _at_level(plant: Plant, stage: Any, level: Known) -> Known:
    at = f"train.{stage.id}"
    held: Any
    if stage.area is not None:
        held = volume_from_area(plant.known(f"{at}.area"), level)
    elif stage.full_level is not None:
        held = volume_at_level(plant.known(f"{at}.volume"), plant.known(f"{at}.full_level"), level)
    else:
        raise LackingError(f"Enter the area of {stage.name} in the plant file, or its full_level.")
    return held  # type: ignore[no-any-return]


def _t10(plant: Plant, stage: Any, volume: Known, flow: Known) -> Known:
    """Return T10 by the tracer test or the factor that the State accepted, never by a flow model."""
    at = f"train.{stage.id}"
    tracer = getattr(stage, "tracer", None)
    time: Any
    if tracer is not None:
        if tracer.level is not None:
            held = _at_level(plant, stage, plant.known(f"{at}.tracer.level"))
        else:
            held = plant.known(f"{at}.volume")
        time = t10_from_tracer(plant.known(f"{at}.tracer.t10"), plant.known(f"{at}.tracer.flow"), held, volume, flow)
    elif stage.baffling_factor is not None:
        time = t10(volume, flow, plant.known(f"{at}.baffling_factor"))
    elif stage.kind == "pipe":
        time = t10(volume, flow, Known(1.0, PLUG_FLOW, "1"))
    else:
        raise LackingError(f"Enter the baffling factor of {stage.name} that the State assigned, or its tracer test.")
    return time  # type: ignore[no-any-return]


# --- the month -------------------------------------------------------------------------------------------------------


def contact(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether every day of operation had the inactivation that the State asks of disinfection."""
    organism = str(requirement.check["organism"])
    if not stages_of(ground.plant):
        why = "The plant file has no stage that counts for contact."
        yield simple(requirement, ground.month, "cannot tell", why, why=(why,))
        return
    try:
        asked = needed(ground.plant)
    except (LackingError, ValueError) as problem:
        yield simple(requirement, ground.month, "cannot tell", str(problem), why=(str(problem),))
        return
    if organism in asked.covered:
        text = f"The removal credit covers what is required of {NAMES[organism]}."
        yield simple(requirement, ground.month, "does not apply", text)
        return
    days = days_of_contact(ground)
    statuses = {day: status_of(found, organism) for day, found in days.items()}
    words = set(statuses.values())
    status: Status = "met" if ground.over else "not due"
    if "broken" in words:
        status = "broken"
    elif "cannot tell" in words:
        status = "cannot tell"
    elif not words - {"not due"}:
        status = "not due"
    known = {day: found.ratios[organism] for day, found in days.items() if organism in found.ratios}
    lowest = min(known, key=lambda day: known[day], default=None)
    short = [day for day, s in statuses.items() if s == "broken"]
    unsure = [day for day, s in statuses.items() if s == "cannot tell"]
    if lowest is not None:
        found = days[lowest]
        sentence = (
            f"Least ratio of CT achieved to CT required for {NAMES[organism]}: {known[lowest]:.2f} on {lowest}, "
            f"weakest segment {found.weakest}; {amount(len(short), 'day')} below 1."
        )
    else:
        sentence = "No day of operation could be worked out." if unsure else "The plant did not run."
    why_list = [f"{day}: {days[day].why}" for day in unsure[:6]]
    if not tables_confirmed(ground):
        why_list.append("The contact-time tables are from memory: compare them with the printed rule.")
    yield Outcome(
        requirement=requirement, subject="", period=ground.month, status=status,
        value=known[lowest] if lowest is not None else None,
        shown=f"{known[lowest]:.2f} times what is required" if lowest is not None else "", limit=requirement.limit,
        sentence=sentence if ground.over else f"So far: {sentence[0].lower()}{sentence[1:]}", why=tuple(why_list),
        sheet=days[lowest].sheet if lowest is not None else None, days=statuses,
    )  # fmt: skip


def status_of(day: DayContact, organism: str) -> Status:
    """Return what one day gives for one organism."""
    if organism not in day.ratios:
        return day.status
    return "met" if day.ratios[organism] >= ENOUGH else "broken"


def verdict_words(day: DayContact) -> Verdict:
    """Return a day as a verdict."""
    return Verdict(day.why or f"{day.limiting} limits", day.status, day.ratio)

"""Has the chlorine had time enough? CT summed over the segments, at the worst of this hour."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from weirhouse.desk.action_levels import telephone
from weirhouse.desk.flow import starting_flow
from weirhouse.desk.lines import Display, age_words, figure, oldest, unknown
from weirhouse.desk.model import Advice, AdviceState, Figure
from weirhouse.plant.model import Plant
from weirhouse.quantity import show
from weirhouse.science.basins import volume_from_area
from weirhouse.science.contact_time import (
    UNCONFIRMED,
    ct_achieved,
    ct_required,
    free_chlorine_counted,
    giardia_ct_by_regression,
    inactivation_ratio,
    log_inactivation_needed,
    sum_of_ratios,
    t10,
    t10_from_tracer,
    volume_at_level,
)
from weirhouse.science.pipes import pipe_volume
from weirhouse.science.quantities import ContactTime, Duration, Flow, Head, Residual, Temperature, Volume
from weirhouse.situation.model import Situation
from weirhouse.working import Default, Known, recording

ORGANISMS = {"giardia": "Giardia", "virus": "viruses"}
# A ratio this near to 1 is told before it is broken.
NARROW = Known(1.2, Default("a fifth more than what is required", "common practice, no source"), "1")
ENOUGH = Known(1.0, Default("what is required", "40 CFR 141.74"), "1")
PLUG_FLOW = Default("1, a long pipe: plug flow", "Pennsylvania DEP, tracer studies and contact time")
TITLE = "Contact time"
NOT_PRINT = "tables not yet confirmed against print"


class LackingError(Exception):
    """Something without which no contact time can be told; the message says what to enter."""


@dataclass
class Segment:
    """One tank or pipe on the way to the first customer, with what it brings."""

    name: str
    volume: Known
    time: Known
    ct: Known
    ratios: dict[str, Known] = field(default_factory=dict)
    smooth: Known | None = None  # ratio for Giardia by the regression


def contact_stages(plant: Plant) -> list[Any]:
    """Return the stages that count for contact: contact tanks, and pipes that the plant file marks so."""
    return [s for s in plant.stages if s.kind == "contact" or (s.kind == "pipe" and getattr(s, "contact", False))]


def first_of(situation: Situation, *channels: str) -> str:
    """Return the first of the channels that the plant has, else the first."""
    return next((c for c in channels if c in situation.plant.channels), channels[0])


def residual_channel(situation: Situation, stage: Any) -> str:
    """Return the channel of the residual at the end of a segment: its own, or that of the tank or of the entry."""
    own = f"{stage.id}_chlorine"
    usual = (
        ("contact_chlorine", "entry_chlorine") if stage.kind == "contact" else ("entry_chlorine", "contact_chlorine")
    )
    return own if own in situation.plant.channels else first_of(situation, *usual)


def contact_channels(situation: Situation, stages: Sequence[Any]) -> tuple[str, ...]:
    """Return every channel that the contact time stands on."""
    levels = [s.level_channel for s in stages if getattr(s, "level_channel", None)]
    residuals = [residual_channel(situation, s) for s in stages]
    others = [
        first_of(situation, "contact_ph", "entry_ph"),
        first_of(situation, "contact_temperature", "raw_temperature"),
        situation.outflow_channel,
        situation.flow_channel,
    ]
    return tuple(dict.fromkeys([*residuals, *others[:2], *levels, *others[2:]]))


def contact_time(situation: Situation) -> Iterator[Advice]:
    """Yield the line on contact time, where the plant has a stage for it."""
    stages = contact_stages(situation.plant)
    if not stages:
        return
    channels = contact_channels(situation, stages)
    caution = _caution(situation.plant)
    if any(situation.value(c).usable is None for c in channels):
        yield unknown(situation, "contact_time", TITLE, channels, inside="1", caution=caution)
        return
    try:
        yield _line(situation, stages, channels, caution)
    except (LackingError, ValueError) as problem:
        yield unknown(situation, "contact_time", TITLE, channels, inside="1", check=str(problem), caution=caution)


def _caution(plant: Plant) -> str:
    return (
        f"Public health: {telephone(plant)}, when the ratio is below 1 or you doubt the disinfection. "
        "These are figures; the State judges them."
    )


def _line(situation: Situation, stages: Sequence[Any], channels: tuple[str, ...], caution: str) -> Advice:
    plant = situation.plant
    by = situation.tables_confirmed or (plant.permit.contact_time_tables_confirmed if plant.permit is not None else "")
    confirmed = bool(by)
    with recording() as sheet:
        needed = _needed(plant)
        flow = _outflow(situation)
        segments = [_segment(situation, stage, flow, needed, confirmed) for stage in stages]
        totals = {o: sum_of_ratios([s.ratios[o] for s in segments]) for o in needed}
        smooth = [s.smooth for s in segments if s.smooth is not None]
        regression = sum_of_ratios(smooth) if "giardia" in needed and len(smooth) == len(segments) else None
    if not totals:
        return _credit_covers(situation, channels)
    limits = min(totals, key=lambda organism: totals[organism])
    ratio, organism = totals[limits], ORGANISMS[limits]
    says = "Giardia limits." if limits == "giardia" else "Viruses limit."
    weakest = min(segments, key=lambda segment: segment.ratios[limits])
    times = show(ratio, "1", "1", 2 if ratio >= NARROW else 3)  # near to 1 every digit counts
    starting = situation.running.state == "standing"
    unsure = "" if confirmed else f"; {NOT_PRINT}"
    state: AdviceState = "steady"
    if ratio < ENOUGH:
        state = "soon" if starting else "do_now"
        slower = "start at a lower flow" if starting else "lower the outflow"
        action = (
            f"Contact time is too short for {organism}: {slower}, let {_rising(stages)} rise, or raise the residual. "
            f"CT is {times} times what the tables require{unsure}."
        )
        if not starting:
            call = telephone(plant)
            action += f" {call[0].upper()}{call[1:]}."
    elif ratio < NARROW:
        state = "soon"
        action = f"CT is only {times} times what the tables require{unsure}. {says}"
    else:
        action = f"CT is {times} times what the tables require{unsure}. {says}"
    by_whom = f"tables confirmed by {by}" if confirmed else UNCONFIRMED
    return Advice(
        id="contact_time", title=TITLE, action=action, value=float(ratio), inside="1", unit="1", shown=times,
        state=state, caution=caution, working=sheet, age_s=oldest(situation, channels),
        confidence=f"{by_whom}; {age_words(situation, channels)}", depends=channels, check="",
        because=_because(situation, flow, weakest, needed, limits, starting),
        figures=_figures(situation, segments, totals, regression),
    )  # fmt: skip


def _needed(plant: Plant) -> dict[str, Known]:
    """Return the log inactivation that disinfection has to bring of each organism; none where the credit covers it."""
    if plant.permit is None:
        raise LackingError(
            "The plant file has no permit: enter the logs that the State requires and its removal credit."
        )
    found = {}
    for organism in ORGANISMS:
        if getattr(plant.permit, f"{organism}_required") is None or getattr(plant.permit, f"{organism}_credit") is None:
            raise LackingError(f"Enter {organism}_required and {organism}_credit of the permit in the plant file.")
        at = f"permit.{organism}"
        logs = log_inactivation_needed(plant.known(f"{at}_required"), plant.known(f"{at}_credit"))
        if logs > 0:
            found[organism] = logs
    return found


def _outflow(situation: Situation) -> Known:
    """Return the peak outflow of the hour, or the flow to start at where nothing flows."""
    if situation.running.state == "unknown":
        raise LackingError("Enter in the day log whether the plant was started or stopped last.")
    peak = situation.outflow_peak
    if situation.running.state == "running" and peak is not None and peak > 0:
        return peak
    start = starting_flow(situation)
    if start is None or start <= 0:
        raise LackingError("No water leaves the contact tank and no flow is on record to start at.")
    return start


def _segment(
    situation: Situation, stage: Any, flow: Known, needed: Mapping[str, Known], confirmed: bool
) -> Segment:  # fmt: skip
    residual = situation.value(residual_channel(situation, stage)).usable
    ph = situation.value(first_of(situation, "contact_ph", "entry_ph")).usable
    temperature = situation.value(first_of(situation, "contact_temperature", "raw_temperature")).usable
    assert residual is not None and ph is not None and temperature is not None
    volume = _volume(situation, stage)
    time = _t10(situation.plant, stage, volume, flow)
    counted = free_chlorine_counted(residual)
    segment = Segment(stage.name, volume, time, ct_achieved(counted, time))
    for organism, logs in needed.items():
        required = ct_required(counted, ph, temperature, logs, organism, confirmed)  # type: ignore[arg-type]
        segment.ratios[organism] = inactivation_ratio(segment.ct, required)
    if "giardia" in needed and 6.0 <= ph <= 9.0 and 0.0 <= temperature <= 30.0:
        required = giardia_ct_by_regression(counted, ph, temperature, needed["giardia"])
        segment.smooth = inactivation_ratio(segment.ct, required)
    return segment


def _volume(situation: Situation, stage: Any) -> Known:
    """Return the water in a segment: of a pipe all of it, of a tank what it holds at the lowest level of the hour."""
    plant, at = situation.plant, f"train.{stage.id}"
    if stage.kind == "pipe":
        held: Known = pipe_volume(plant.known(f"{at}.inside_diameter"), plant.known(f"{at}.length"))
        return held
    tank = situation.tanks.get(stage.id)
    if tank is not None:
        level = tank.lowest_in_hour or tank.level.usable
    elif stage.low_level is not None:
        level = plant.known(f"{at}.low_level")
    else:
        raise LackingError(f"Enter level_channel or low_level of {stage.name} in the plant file.")
    if level is None:
        raise LackingError(f"Read the level of {stage.name}.")
    return _at_level(plant, stage, level)


def _at_level(plant: Plant, stage: Any, level: Known) -> Known:
    at = f"train.{stage.id}"
    held: Known
    if stage.area is not None:
        held = volume_from_area(plant.known(f"{at}.area"), level)
    elif stage.full_level is not None:
        held = volume_at_level(plant.known(f"{at}.volume"), plant.known(f"{at}.full_level"), level)
    else:
        raise LackingError(f"Enter the area of {stage.name} in the plant file, or its full_level.")
    return held


def _t10(plant: Plant, stage: Any, volume: Known, flow: Known) -> Known:
    """Return T10 from the tracer test if there is one, else by the factor that the State assigned."""
    at = f"train.{stage.id}"
    tracer = getattr(stage, "tracer", None)
    time: Known
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
    return time


def _rising(stages: Sequence[Any]) -> str:
    tank = next((s.name for s in stages if s.kind == "contact"), None)
    return f"the level of the {tank[0].lower()}{tank[1:]}" if tank else "the level"


def _because(
    situation: Situation, flow: Known, weakest: Segment, needed: Mapping[str, Known], limits: str, starting: bool
) -> str:
    display = Display(situation.plant.unit_set)
    logs = f"{float(needed[limits]):g} log"
    at = "At the flow to start at" if starting else "At the peak outflow of the hour"
    return (
        f"{at}, {display.show(flow, Flow)}, and the lowest level of the hour. {logs} of {ORGANISMS[limits]} "
        f"to inactivate after the removal credit. Weakest segment: {weakest.name}."
    )


def _figures(
    situation: Situation, segments: Sequence[Segment], totals: Mapping[str, Known], regression: Known | None
) -> tuple[Figure, ...]:
    display = Display(situation.plant.unit_set)
    found = []
    for segment in segments:
        found.append(figure(f"{segment.name}: water in it", segment.volume, "m^3", display.unit(Volume)))
        found.append(figure(f"{segment.name}: T10", segment.time, "s", display.unit(Duration)))
        found.append(figure(f"{segment.name}: CT", segment.ct, "g*s/m^3", display.unit(ContactTime)))
        for organism, ratio in segment.ratios.items():
            found.append(figure(f"{segment.name}: share of what {ORGANISMS[organism]} require", ratio, "1", "1"))
    for organism, total in totals.items():
        name = ORGANISMS[organism]
        title = f"All segments: CT over what {name} require{'s' if organism == 'giardia' else ''}"
        found.append(figure(title, total, "1", "1", against="at least 1", within=bool(total >= ENOUGH)))
    if regression is not None:
        found.append(
            figure("For comparison, Giardia by the regression", regression, "1", "1", against="the table governs")
        )
    for title, channel, alias in (
        ("pH in contact", first_of(situation, "contact_ph", "entry_ph"), None),
        ("Temperature in contact", first_of(situation, "contact_temperature", "raw_temperature"), Temperature),
        ("Residual at the end of contact", first_of(situation, "contact_chlorine", "entry_chlorine"), Residual),
    ):
        value = situation.value(channel)
        if value.usable is not None:
            unit = "pH" if alias is None else display.unit(alias)
            found.append(figure(title, value.usable, value.unit, unit))
    for stage in contact_stages(situation.plant):
        tank = situation.tanks.get(stage.id)
        if tank is not None and tank.lowest_in_hour is not None:
            found.append(
                figure(f"{stage.name}: lowest level of the hour", tank.lowest_in_hour, "m", display.unit(Head))
            )
    return tuple(found)


def _credit_covers(situation: Situation, channels: tuple[str, ...]) -> Advice:
    return Advice(
        id="contact_time", title=TITLE,
        action="No inactivation is asked for: the removal credit covers what is required.", value=None, inside="1",
        unit="1", shown="", state="steady", caution=_caution(situation.plant), working=None,
        age_s=oldest(situation, channels), confidence="by the permit in the plant file", depends=channels, check="",
        because="See the permit: the State assigns logs and credit.",
    )  # fmt: skip

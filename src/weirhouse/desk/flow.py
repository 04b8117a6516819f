"""How much water should the plant take?"""

from collections.abc import Iterator

from weirhouse.desk.action_levels import in_force, level_words
from weirhouse.desk.lines import Display, age_words, figure, oldest, unknown
from weirhouse.desk.model import Advice, AdviceState, Figure
from weirhouse.desk.raw_water import verdict_channels
from weirhouse.science.basins import detention_time, volume_from_flow
from weirhouse.science.quantities import Flow, Volume
from weirhouse.situation.ages import age_text, elapsed_s
from weirhouse.situation.model import Situation
from weirhouse.working import Default, Known, Reading, Sheet, recording

DAY = Known(86400.0, Default("one day", "definition"), "s")
RAMP = "Change the rate over about ten minutes: a sudden step drives solids through the filters."


def setting_flow(situation: Situation) -> Known | None:
    """Return the flow that doses and rates are worked at: as measured while running, else as it will be started.

    None when the flow is doubtful, or when nothing tells at what flow the plant is started.
    """
    measured = situation.value(situation.flow_channel).usable
    if measured is None or situation.running.state == "unknown":
        return None
    return measured if situation.running.state == "running" else starting_flow(situation)


def starting_flow(situation: Situation) -> Known | None:
    """Return the flow to start at: the usual one of the last days, at most the design flow."""
    usual = situation.usual_flow
    if situation.plant.design_flow is None:
        return usual
    design = situation.plant.known("plant.design_flow")
    return design if usual is None or usual > design else usual


def plant_flow(situation: Situation) -> Iterator[Advice]:
    """Yield the line on the plant's flow."""
    channel = situation.flow_channel
    channels = tuple(dict.fromkeys([channel, *verdict_channels(situation)]))
    display = Display(situation.plant.unit_set)
    title, unit = "Plant flow", display.unit(Flow)
    bad = [c for c in channels if situation.value(c).usable is None]
    running = situation.running.state
    if bad or running == "unknown":
        check = "" if bad else "Enter in the day log whether the plant was started or stopped last."
        yield unknown(
            situation, "plant_flow", title, channels, inside="m^3/s", unit=unit, check=check,
            because="How much water to take hangs on the flow, the raw turbidity and your action levels.",
        )  # fmt: skip
        return
    figures, sheet = _hours_needed(situation, display)
    stops = [a for a in in_force(situation) if a.do in ("stop", "hold")]
    measured = situation.value(channel).usable
    assert measured is not None
    design = situation.plant.known("plant.design_flow") if situation.plant.design_flow is not None else None
    caution, state, because = "", "steady", ""
    value: Known | float | None
    if stops:
        value, state = 0.0, "do_now"
        action = f"Take no water: {level_words(situation, stops[0])}."
    elif running == "standing":
        value = starting_flow(situation)
        since = situation.running.since
        stood = f" Standing for {age_text(elapsed_s(since, situation.at))}." if since else ""
        if value is None:
            action = f"The plant stands.{stood} No flow is on record to start at."
        else:
            action = f"The plant stands.{stood} When you start, start at {display.show(value, Flow)}."
            because = _why(value)
        caution = "Check valves and filter-to-waste before you start; lock out a pump before you touch it."
    elif design is not None and measured > design:
        value, state = design, "do_now"
        action = f"Reduce to {display.show(design, Flow)}."
        because = f"{display.show(measured, Flow)} is above the design flow."
        caution = RAMP
    else:
        value = measured
        action = f"Keep {display.show(measured, Flow)}."
        because = f"Design flow {display.show(design, Flow)}." if design is not None else ""
    advice_state: AdviceState = "do_now" if state == "do_now" else "steady"
    yield Advice(
        id="plant_flow", title=title, action=action, value=None if value is None else float(value), inside="m^3/s",
        unit=unit, shown="" if value is None else display.show(value, Flow), state=advice_state, caution=caution,
        working=sheet, age_s=oldest(situation, channels), confidence=f"measured; {age_words(situation, channels)}",
        depends=channels, check="", because=because, figures=figures,
    )  # fmt: skip


def _why(start: Known) -> str:
    """Return in a sentence where the flow to start at comes from."""
    if isinstance(start.source, Reading):
        return f"The {start.source.detail}."
    return "The design flow."


def _hours_needed(situation: Situation, display: Display) -> tuple[tuple[Figure, ...], Sheet | None]:
    """Return how many hours at the present flow make what the village took in the last day."""
    flow, demand = setting_flow(situation), situation.demand.last_day
    if flow is None or demand is None or situation.demand.now.state == "missing" or flow <= 0:
        return (), None
    with recording() as sheet:
        wanted = volume_from_flow(demand, DAY)
        needed = detention_time(wanted, flow)
    return (
        figure("Taken by the village in the last day", wanted, "m^3", display.unit(Volume)),
        figure("Hours of running that make it", needed, "s", "h"),
        figure("Run so far today", situation.running.hours_today, "s", "h"),
    ), sheet

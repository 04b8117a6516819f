"""How does each unit work at the present flow and temperature, and what do published designs say to that?"""

from collections.abc import Iterator

from weirhouse.desk.flow import setting_flow
from weirhouse.desk.lines import Display, age_words, figure, oldest, unknown
from weirhouse.desk.model import Advice, AdviceState, Figure
from weirhouse.plant.item import AS_BUILT, HARMLESS, Item
from weirhouse.plant.model import Stage
from weirhouse.plant.units import WORKS, Now, Work
from weirhouse.science.quantities import Flow, Temperature
from weirhouse.situation.model import Situation
from weirhouse.working import recording

TEMPERATURE = "raw_temperature"


def basins(situation: Situation) -> Iterator[Advice]:
    """Yield a line for each unit between stream and contact tank: what it does to the water now."""
    for stage in situation.plant.stages:
        for sort, (work, warm) in WORKS.items():
            if isinstance(stage, sort):
                yield _unit(situation, stage, work, warm)


def _unit(situation: Situation, stage: Stage, work: Work, warm: bool) -> Advice:
    id, plant = f"unit_{stage.id}", situation.plant
    channels = (situation.flow_channel, TEMPERATURE) if warm else (situation.flow_channel,)
    flow, temperature = setting_flow(situation), situation.value(TEMPERATURE).usable
    bad = [c for c in channels if situation.value(c).usable is None]
    if bad or flow is None or flow <= 0:
        check = "" if bad else "No flow is on record to start at: enter the flow when you start."
        return unknown(situation, id, stage.name, channels, check=check, inside="s", unit="min")
    display = Display(plant.unit_set)
    now = Now(plant, flow, temperature if warm else None)
    with recording() as sheet:
        try:
            items = work(now, stage)
        except ValueError as error:
            return unknown(situation, id, stage.name, channels, check=str(error), inside="s", unit="min")
    if not items:
        check = f"The plant file says too little of {stage.name} to work anything out."
        return unknown(situation, id, stage.name, channels, check=check, inside="s", unit="min")
    outside = [item for item in items if item.side and (item.sort, item.side) not in HARMLESS]
    first = items[0]
    at = f"at {display.show(flow, Flow)}"
    if temperature is not None and warm:
        at = f"{at} and {display.show(temperature, Temperature)}"
    if situation.running.state == "standing":
        at = f"{at} when you start"
    held = [item for item in items if item.span is not None]
    verdict = "within published designs" if held else "no published range to hold it against"
    action = f"{first.title} {first.shown} {at}: {verdict}."
    if outside:
        action = f"{first.title} {first.shown} {at}. {' '.join(item.sentence for item in outside)}"
    # what is so as built, or at any flow up to the design, is told, but nobody is to mend it this shift
    over = plant.design_flow is not None and flow > plant.design_flow
    pressing = over and any(item.sort not in AS_BUILT for item in outside)
    state: AdviceState = "soon" if pressing else "steady"
    return Advice(
        id=id, title=stage.name, action=action, value=float(first.value), inside=first.inside, unit=first.unit,
        shown=first.shown, state=state, caution="", working=sheet, age_s=oldest(situation, channels),
        confidence=f"from the sizes in the plant file, as full as it says; {age_words(situation, channels)}",
        depends=channels, check="", because="", figures=tuple(_figure(item) for item in items),
    )  # fmt: skip


def _figure(item: Item) -> Figure:
    return figure(
        item.title, item.value, item.inside, item.unit,
        against="" if item.span is None else f"{item.whose}: {item.range_text} ({item.source})",
        within=None if item.span is None else not item.side,
    )  # fmt: skip

"""What is missing, implausible or due in this plant, and how does each unit stand to published designs?"""

from collections.abc import Callable, Iterable, Iterator
from datetime import date

from weirhouse.plant import as_built
from weirhouse.plant.doubts import doubts, present
from weirhouse.plant.excerpt import working_of
from weirhouse.plant.finding import Finding
from weirhouse.plant.item import Item
from weirhouse.plant.lacking import lacking
from weirhouse.plant.model import Feed, Filters, Plant, Stage
from weirhouse.plant.units import WORKS, Now, alike, distinct, is_rapid
from weirhouse.working import Known, recording


def check(
    plant: Plant, *, flow: Known | float | None, temperature: Known | float | None, on: date
) -> tuple[Finding, ...]:
    """Return what is missing, implausible or due, and every figure of a unit against its range.

    Parameters
    ----------
    plant : the plant.
    flow : plant flow; without it, or at 0, what hangs on it is unknown. [m^3/s]
    temperature : temperature of the water. [degC]
    on : the day on which things are as they are; calibrations age by it.
    """
    flow = _known(flow, "m^3/s")
    temperature = _known(temperature, "degC")
    return (*lacking(plant), *doubts(plant, on), *present(plant, flow, temperature), *_units(plant, flow, temperature))


def _known(value: Known | float | None, unit: str) -> Known | None:
    return value if value is None or isinstance(value, Known) else Known(value, None, unit)


def _units(plant: Plant, flow: Known | None, temperature: Known | None) -> Iterator[Finding]:
    """Yield the figures of each unit, in the order of the train."""
    for stage in plant.stages:
        for kind, (work, warm) in WORKS.items():
            if isinstance(stage, kind):
                yield from _at_flow(plant, stage, work, flow, temperature, warm)
        if isinstance(stage, Filters):
            yield from _filters(plant, stage, flow, temperature)
        elif isinstance(stage, Feed):
            yield from _findings(stage.id, stage.name, as_built.feed(plant, stage))


def _at_flow(
    plant: Plant,
    stage: Stage,
    work: Callable[[Now, Stage], list[Item]],
    flow: Known | None,
    temperature: Known | None,
    warm: bool,
) -> Iterator[Finding]:
    lacks = [] if flow is not None and flow > 0 else ["the flow"]
    lacks += ["the temperature of the water"] if warm and temperature is None else []
    if lacks:
        yield _unknown(stage.id, stage.name, f"it hangs on {' and '.join(lacks)}, of which there is no usable reading")
        return
    assert flow is not None
    now = Now(plant, flow, temperature if warm else None)
    yield from _findings(stage.id, stage.name, _lazily(work, now, stage))


def _lazily(work: Callable[[Now, Stage], list[Item]], now: Now, stage: Stage) -> Iterator[Item]:
    yield from work(now, stage)


def _filters(plant: Plant, stage: Filters, flow: Known | None, temperature: Known | None) -> Iterator[Finding]:
    if not is_rapid(plant):
        yield _unknown(stage.id, stage.name, "those held here are of rapid filters")
        return
    yield from _findings(stage.id, stage.name, as_built.terminal(plant, stage))
    for place in distinct(stage):
        same = [one.name for one in stage.filter if alike(one, place)]
        name = " and ".join(same)
        yield from _findings(place.id, name, as_built.bed(plant, place))
        yield from _findings(place.id, name, as_built.wash(plant, stage, place))
        if flow is not None and flow > 0:
            yield from _findings(place.id, name, as_built.wash_at_flow(plant, stage, place, flow))
        if temperature is None:
            yield _unknown(place.id, name, "how far a wash lifts the media hangs on the temperature of the water")
        else:
            yield from _findings(place.id, name, as_built.wash_in_water(plant, stage, place, temperature))


def _unknown(stage_id: str, title: str, why: str) -> Finding:
    return Finding("unknown", stage_id, title, f"{title} cannot be held against published ranges: {why}.")


def _findings(stage_id: str, name: str, work: Iterable[Item]) -> Iterator[Finding]:
    """Yield a finding for each figure that has a published range; a formula that refuses makes it unknown."""
    with recording():
        try:
            items = list(work)  # worked out here, inside the recording
        except ValueError as error:
            yield _unknown(stage_id, name, " ".join(str(error).split()).rstrip("."))
            return
    for item in items:
        if item.span is not None:
            yield _finding(stage_id, name, item)


def _finding(stage_id: str, name: str, item: Item) -> Finding:
    return Finding(
        kind="outside" if item.side else "inside", stage=stage_id, title=item.title, text=f"{name}: {item.sentence}",
        value=float(item.value), inside=item.inside, unit=item.unit, shown=item.shown, range_text=item.range_text,
        source=item.source, sheet=working_of(item.value),
    )  # fmt: skip

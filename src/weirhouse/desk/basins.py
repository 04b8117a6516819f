"""How does each unit work at the present flow and temperature, and what do published designs say to that?"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from weirhouse.desk.filters import area_of
from weirhouse.desk.flow import setting_flow
from weirhouse.desk.lines import Display, age_words, figure, oldest, unknown
from weirhouse.desk.model import Advice, AdviceState, Figure
from weirhouse.plant.model import Basin, Clarifier, Compartment, Feed, Filters, Flocculation, Mixer, Pipe, Plant, Stage
from weirhouse.plant.ranges import DesignRange, design
from weirhouse.quantity import convert, show
from weirhouse.science.basins import (
    detention_time,
    mean_velocity,
    overflow_rate,
    rectangle_area,
    rectangular_volume,
    rise_rate,
    volume_from_area,
    weir_loading,
)
from weirhouse.science.filtration import bed_depth_to_size_ratio, filtration_rate
from weirhouse.science.head_loss import layered_bed_head_loss, mean_grain_size
from weirhouse.science.mixing import (
    gt,
    gt_in_turn,
    head_loss_at_flow,
    inline_mixer_velocity_gradient,
    stirring_power,
    velocity_gradient_from_head_loss,
    velocity_gradient_from_power,
)
from weirhouse.science.operations import equal_share, in_turn
from weirhouse.science.pipes import pipe_velocity, travel_time
from weirhouse.science.properties import dynamic_viscosity, water_density
from weirhouse.science.quantities import (
    FilterRate,
    Flow,
    Head,
    SurfaceRate,
    Temperature,
    Velocity,
    VelocityGradient,
    WeirLoading,
)
from weirhouse.situation.model import Situation
from weirhouse.working import Default, Known, recording

TEMPERATURE = "raw_temperature"
ALL_POWER = Default("all of the motor's power reaches the water: no efficiency in the plant file", "common practice")

# What it means to lie outside of a published range: common practice, no source.
MEANING = {
    ("stay", "low"): "water hurries through: expect more solids to be carried on; less flow gives it more time",
    ("stay", "high"): "water stays longer than designs give it: look for dead corners and settled sludge",
    ("surface", "high"): "the water rises faster than designs let it: fine floc is carried over; reduce the flow",
    ("surface", "low"): "it is lightly loaded, which does no harm",
    ("velocity", "high"): "the water moves fast enough to carry settled solids along; reduce the flow",
    ("velocity", "low"): "solids may settle where they should not",
    ("weir", "high"): "the water speeds up at the weir and draws floc over it; reduce the flow or level the weir",
    ("weir", "low"): "the weir is lightly loaded, which does no harm",
    ("G", "low"): "stirred too gently: chemicals spread and floc grows slowly, the more so in cold water",
    ("G", "high"): "stirred so hard that floc breaks",
    ("Gt", "low"): "too little stirring in all for floc to grow; less flow gives it more time",
    ("Gt", "high"): "more stirring in all than designs give, which may wear floc down",
    ("rate", "high"): "filtered faster than designs allow: watch turbidity and the length of runs; reduce the flow",
    ("rate", "low"): "filtered slowly, which does no harm",
    ("head", "high"): "the clean bed alone takes much of the head: look for fines on top or clogged underdrains",
    ("ratio", "low"): "the bed is shallow for its grains: it holds back less and breaks through sooner",
    ("ratio", "high"): "the bed is deep for its grains: it takes more head",
}
AS_BUILT = {"ratio"}
HARMLESS = {("surface", "low"), ("weir", "low"), ("rate", "low"), ("ratio", "high")}


@dataclass(frozen=True, slots=True)
class Item:
    """One figure of a unit, what sort it is, and the published range it is held against."""

    title: str
    value: Known
    inside: str
    unit: str
    sort: str
    span: DesignRange | None = None

    @property
    def ends(self) -> tuple[float | None, float | None]:
        """Return the ends of the range in the item's inside unit."""
        span = self.span
        if span is None:
            return None, None
        low = None if span.low is None else float(convert(span.low, span.inside, self.inside))
        high = None if span.high is None else float(convert(span.high, span.inside, self.inside))
        return low, high

    @property
    def side(self) -> str:
        """On which side of its range the value lies: "low", "high", or "" when inside or without a range."""
        low, high = self.ends
        if low is not None and self.value < low:
            return "low"
        return "high" if high is not None and self.value > high else ""


@dataclass(frozen=True, slots=True)
class Now:
    """What the units are worked at."""

    plant: Plant
    flow: Known
    temperature: Known | None
    display: Display


Work = Callable[[Now, Any], list[Item]]


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
    now = Now(plant, flow, temperature if warm else None, display)
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
    shown = show(first.value, first.inside, first.unit)
    held = [item for item in items if item.span is not None]
    verdict = "within published designs" if held else "no published range to hold it against"
    action = f"{first.title} {shown} {at}: {verdict}."
    if outside:
        action = f"{first.title} {shown} {at}. {' '.join(_sentence(item) for item in outside)}"
    # what is so as built is told, but no setting changes it
    state: AdviceState = "soon" if any(item.sort not in AS_BUILT for item in outside) else "steady"
    return Advice(
        id=id, title=stage.name, action=action, value=float(first.value), inside=first.inside, unit=first.unit,
        shown=shown, state=state, caution="", working=sheet, age_s=oldest(situation, channels),
        confidence=f"from the sizes in the plant file, as full as it says; {age_words(situation, channels)}",
        depends=channels, check="", because="", figures=tuple(_figure(item) for item in items),
    )  # fmt: skip


def _sentence(item: Item) -> str:
    low, high = item.ends
    end = low if item.side == "low" else high
    assert end is not None
    words = "below" if item.side == "low" else "above"
    shown, limit = (show(value, item.inside, item.unit) for value in (item.value, end))
    return f"{item.title} {shown} is {words} {limit} ({_source(item)}): {MEANING[item.sort, item.side]}."


def _figure(item: Item) -> Figure:
    return figure(
        item.title, item.value, item.inside, item.unit,
        against="" if item.span is None else f"published: {_range_text(item)}",
        within=None if item.span is None else not item.side,
    )  # fmt: skip


def _range_text(item: Item) -> str:
    """Return a range and whose it is: "3 h or more (Wisconsin Admin. Code NR 811.47(7))"."""
    low, high = (None if end is None else show(end, item.inside, item.unit) for end in item.ends)
    if low is None:
        span = f"{high} or less"
    else:
        span = f"{low} or more" if high is None else low if low == high else f"{low} to {high}"
    return f"{span} ({_source(item)})"


def _source(item: Item) -> str:
    assert item.span is not None
    memory = ", from memory" if item.span.provenance == "memory" else ""
    return f"{item.span.source.split(', http')[0]}{memory}"


# --- each kind of unit -------------------------------------------------------------------------------------------


def _basin(now: Now, stage: Basin) -> list[Item]:
    length, width, depth = (now.plant.known(f"train.{stage.id}.{side}") for side in ("length", "width", "depth"))
    show_in = now.display.unit
    ahead = _before_coagulant(now.plant, stage)
    process = "presedimentation" if ahead else "sedimentation"
    stay = detention_time(rectangular_volume(length, width, depth), now.flow)
    surface = overflow_rate(now.flow, rectangle_area(length, width))
    velocity = mean_velocity(now.flow, width, depth)
    items = [
        Item("Detention time", stay, "s", "h", "stay", design("detention time", process)),
        Item("Overflow rate", surface, "m/s", show_in(SurfaceRate), "surface", design("overflow rate", process)),
        Item("Mean velocity", velocity, "m/s", _slow(now.plant), "velocity", _settling("horizontal velocity", process)),
    ]
    if stage.weir_length is not None:
        weir = weir_loading(now.flow, now.plant.known(f"train.{stage.id}.weir_length"))
        span = _settling("weir loading", process)
        items.append(Item("Weir loading", weir, "m^2/s", _weir(now.plant), "weir", span))
    return items


def _settling(parameter: str, process: str) -> DesignRange | None:
    """Return the range for a basin ahead of the coagulant, or where none is published that of any settling basin."""
    return design(parameter, process) or design(parameter, "sedimentation")


def _before_coagulant(plant: Plant, stage: Stage) -> bool:
    after = plant.stages[plant.stages.index(stage) :]
    return any(isinstance(s, Feed) and s.role == "coagulant" for s in after)


def _slow(plant: Plant) -> str:
    return "ft/min" if plant.unit_set == "US" else "mm/s"


def _weir(plant: Plant) -> str:
    return "gal/day/ft" if plant.unit_set == "US" else "m^3/h/m"


def _mixer(now: Now, stage: Mixer) -> list[Item]:
    at, known = f"train.{stage.id}", now.plant.known
    assert now.temperature is not None
    viscosity, density = dynamic_viscosity(now.temperature), water_density(now.temperature)
    volume = known(f"{at}.volume")
    stay = detention_time(volume, now.flow)
    items = [Item("Detention time", stay, "s", "s", "stay", design("detention time", "rapid mix"))]
    gradient = None
    if stage.type == "in_line" and stage.head_loss is not None and stage.head_loss_flow is not None:
        loss = head_loss_at_flow(known(f"{at}.head_loss"), known(f"{at}.head_loss_flow"), now.flow)
        gradient = inline_mixer_velocity_gradient(now.flow, loss, volume, viscosity, density)
    elif stage.power is not None:
        gradient = velocity_gradient_from_power(_stirring(now.plant, at, stage.efficiency), viscosity, volume)
    if gradient is not None:
        span = design("velocity gradient G", "rapid mix")
        items += [_gradient(now, "Velocity gradient G", gradient, span), _gt("G·t", gt(gradient, stay), None)]
    return items


def _stirring(plant: Plant, at: str, efficiency: float | None) -> Known:
    share = plant.known(f"{at}.efficiency") if efficiency is not None else Known(1.0, ALL_POWER, "1")
    power: Known = stirring_power(plant.known(f"{at}.power"), share)
    return power


def _gradient(now: Now, title: str, value: Known, span: DesignRange | None) -> Item:
    return Item(title, value, "1/s", now.display.unit(VelocityGradient), "G", span)


def _gt(title: str, value: Known, span: DesignRange | None) -> Item:
    return Item(title, value, "1", "1", "Gt", span)


def _flocculation(now: Now, stage: Flocculation) -> list[Item]:
    assert now.temperature is not None
    viscosity, density = dynamic_viscosity(now.temperature), water_density(now.temperature)
    several = len(stage.stages) > 1
    span = design("tapered velocity gradient G (first to last)" if several else "velocity gradient G", "flocculation")
    total = total_gt = None
    each: list[Item] = []
    complete = True
    for part in stage.stages:
        stay, gradient = _compartment(now, part, viscosity, density)
        each.append(Item(f"{part.name}: detention time", stay, "s", "min", "stay"))
        total = stay if total is None else in_turn(total, stay)
        if gradient is None:
            complete = False
            continue
        product = gt(gradient, stay)
        each += [_gradient(now, f"{part.name}: G", gradient, span), _gt(f"{part.name}: G·t", product, None)]
        total_gt = product if total_gt is None else gt_in_turn(total_gt, product)
    assert total is not None
    items = [Item("Detention time", total, "s", "min", "stay", design("detention time", "flocculation"))]
    if total_gt is not None and complete:
        items.append(_gt("G·t", total_gt, design("Gt", "flocculation")))
    return [*items, *each]


def _compartment(now: Now, part: Compartment, viscosity: Known, density: Known) -> tuple[Known, Known | None]:
    """Return detention time and velocity gradient of a compartment, or of each of several side by side."""
    at, known = f"train.{part.id}", now.plant.known
    volume, flow = known(f"{at}.volume"), now.flow
    if part.parallel > 1:
        flow = equal_share(flow, known(f"{at}.parallel"))
    stay = detention_time(volume, flow)
    gradient = None
    if part.head_loss is not None and part.head_loss_flow is not None:
        loss = head_loss_at_flow(known(f"{at}.head_loss"), known(f"{at}.head_loss_flow"), now.flow)
        gradient = velocity_gradient_from_head_loss(loss, stay, viscosity, density)
    elif part.power is not None:
        gradient = velocity_gradient_from_power(_stirring(now.plant, at, part.efficiency), viscosity, volume)
    return stay, gradient


def _clarifier(now: Now, stage: Clarifier) -> list[Item]:
    at, process = f"train.{stage.id}", "solids-contact / upflow clarifier"
    area, depth = now.plant.known(f"{at}.area"), now.plant.known(f"{at}.depth")
    stay = detention_time(volume_from_area(area, depth), now.flow)
    rise = rise_rate(now.flow, area)
    items = [
        Item("Detention time", stay, "s", "h", "stay", design("detention time", process)),
        Item("Rise rate", rise, "m/s", now.display.unit(FilterRate), "surface", design("upflow (rise) rate", process)),
    ]
    if stage.weir_length is not None:
        weir = weir_loading(now.flow, now.plant.known(f"{at}.weir_length"))
        unit = now.display.unit(WeirLoading)
        items.append(Item("Weir loading", weir, "m^2/s", unit, "weir", design("weir loading", process)))
    return items


def _filters(now: Now, stage: Filters) -> list[Item]:
    assert now.temperature is not None
    count = len(stage.filter)
    place, known = stage.filter[0], now.plant.known
    share = equal_share(now.flow, Known(float(count), Default(f"{count} filters in service", "plant file"), "1"))
    rate = filtration_rate(share, area_of(now.plant, place))
    moving = [(i, layer) for i, layer in enumerate(place.layer) if not layer.support]
    words = "filtration rate, dual or mixed media" if len(moving) > 1 else "filtration rate, single media"
    items = [
        Item("Filtration rate, all in service", rate, "m/s", now.display.unit(FilterRate), "rate",
             design(words, "filtration"))
    ]  # fmt: skip
    if not place.layer:
        return items
    numbers = range(len(place.layer))

    def of(index: int, name: str) -> Known:
        return known(f"train.{place.id}.layer.{index}.{name}")

    sizes = [mean_grain_size(of(i, "effective_size"), of(i, "uniformity")) for i in numbers]
    depths, porosities, sphericities = ([of(i, name) for i in numbers] for name in ("depth", "porosity", "sphericity"))
    loss = layered_bed_head_loss(rate, now.temperature, depths, sizes, porosities, sphericities)
    items.append(
        Item("Head loss of the clean bed", loss, "m", now.display.unit(Head), "head",
             design("clean-bed head loss", "filtration"))
    )  # fmt: skip
    if moving:
        ratio = bed_depth_to_size_ratio(
            [of(i, "depth") for i, _ in moving], [of(i, "effective_size") for i, _ in moving]
        )
        items.append(
            Item("Depth over grain size", ratio, "1", "1", "ratio", design("summed depth / effective size", "media"))
        )
    return items


def _pipe(now: Now, stage: Pipe) -> list[Item]:
    at = f"train.{stage.id}"
    diameter, length = now.plant.known(f"{at}.inside_diameter"), now.plant.known(f"{at}.length")
    return [
        Item("Time in the pipe", travel_time(diameter, length, now.flow), "s", "min", "stay"),
        Item("Velocity", pipe_velocity(now.flow, diameter), "m/s", now.display.unit(Velocity), "velocity"),
    ]


# kind of stage -> how it is worked out, and whether that needs the temperature
WORKS: dict[type[Stage], tuple[Work, bool]] = {
    Basin: (_basin, False),
    Mixer: (_mixer, True),
    Flocculation: (_flocculation, True),
    Clarifier: (_clarifier, False),
    Filters: (_filters, True),
    Pipe: (_pipe, False),
}

"""How does each unit work at a flow and temperature, and what do published designs say to that?

Pure: the plant, a flow and a temperature in, figures with the range each is held against out. Every figure is worked
out by worked formulas, so that inside ``recording()`` each leaves its working.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from weirhouse.plant.item import Item
from weirhouse.plant.model import (
    Basin,
    Clarifier,
    Compartment,
    Feed,
    Filter,
    Filters,
    Flocculation,
    Mixer,
    Pipe,
    Plant,
    Stage,
)
from weirhouse.plant.ranges import DesignRange, design
from weirhouse.science.basins import (
    circle_area,
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
    Head,
    SurfaceRate,
    Velocity,
    VelocityGradient,
    WeirLoading,
)
from weirhouse.working import Default, Known, Unit

ALL_POWER = Default("all of the motor's power reaches the water: no efficiency in the plant file", "common practice")


@dataclass(frozen=True, slots=True)
class Now:
    """What the units are worked at: flow [m^3/s] and, where it is known, the temperature of the water [degC]."""

    plant: Plant
    flow: Known
    temperature: Known | None

    def unit(self, alias: Any) -> str:
        """Return the unit in which the plant reads a quantity of `science.quantities`."""
        declared = next(note for note in alias.__metadata__ if isinstance(note, Unit))
        return declared.display(self.plant.unit_set)


Work = Callable[[Now, Any], list[Item]]


def area_of(plant: Plant, place: Filter) -> Known:
    """Return the area of a filter, as entered or from its sides."""
    at = f"train.{place.id}"
    if place.area is not None:
        return plant.known(f"{at}.area")
    area: Known
    if place.diameter is not None:
        area = circle_area(plant.known(f"{at}.diameter"))
    else:
        area = rectangle_area(plant.known(f"{at}.length"), plant.known(f"{at}.width"))
    return area


def alike(one: Filter, other: Filter) -> bool:
    """Return whether two filters are built alike: size and layers."""
    return _build(one) == _build(other)


def distinct(stage: Filters) -> list[Filter]:
    """Return the filters of which each stands for all that are built like it."""
    found: dict[object, Filter] = {}
    for place in stage.filter:
        found.setdefault(_build(place), place)
    return list(found.values())


def _build(place: Filter) -> tuple[object, ...]:
    return place.length, place.width, place.diameter, place.area, place.layer


def is_rapid(plant: Plant) -> bool:
    """Return whether its filters are rapid ones, of which alone the published ranges speak."""
    return _treatment(plant) not in ("slow_sand", "diatomaceous_earth")


def _treatment(plant: Plant) -> str:
    return "conventional" if plant.permit is None else plant.permit.treatment


# --- each kind of unit -------------------------------------------------------------------------------------------


def _basin(now: Now, stage: Basin) -> list[Item]:
    length, width, depth = (now.plant.known(f"train.{stage.id}.{side}") for side in ("length", "width", "depth"))
    ahead = _before_coagulant(now.plant, stage)
    process = "presedimentation" if ahead else "sedimentation"
    stay = detention_time(rectangular_volume(length, width, depth), now.flow)
    surface = overflow_rate(now.flow, rectangle_area(length, width))
    velocity = mean_velocity(now.flow, width, depth)
    items = [
        Item("Detention time", stay, "s", "h", "stay", design("detention time", process)),
        Item("Overflow rate", surface, "m/s", now.unit(SurfaceRate), "surface", _overflow(process)),
        Item("Mean velocity", velocity, "m/s", _slow(now.plant), "velocity", _settling("horizontal velocity", process)),
    ]
    if stage.weir_length is not None:
        weir = weir_loading(now.flow, now.plant.known(f"train.{stage.id}.weir_length"))
        span = _settling("weir loading", process)
        items.append(Item("Weir loading", weir, "m^2/s", _weir(now.plant), "weir", span))
    return items


def _overflow(process: str) -> DesignRange | None:
    return design("overflow rate", process) or design("overflow rate, conventional alum floc", process)


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
    return Item(title, value, "1/s", now.unit(VelocityGradient), "G", span)


def _gt(title: str, value: Known, span: DesignRange | None) -> Item:
    return Item(title, value, "1", "1", "Gt", span)


def _flocculation(now: Now, stage: Flocculation) -> list[Item]:
    assert now.temperature is not None
    viscosity, density = dynamic_viscosity(now.temperature), water_density(now.temperature)
    several = len(stage.stages) > 1
    words, gt_words = "tapered velocity gradient G (first to last)" if several else "velocity gradient G", "Gt"
    if _treatment(now.plant) == "direct":
        words, gt_words = "velocity gradient G, direct filtration", "Gt, direct filtration"
    span = design(words, "flocculation")
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
        items.append(_gt("G·t", total_gt, design(gt_words, "flocculation")))
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
        Item("Rise rate", rise, "m/s", now.unit(FilterRate), "surface", design("upflow (rise) rate", process)),
    ]
    if stage.weir_length is not None:
        weir = weir_loading(now.flow, now.plant.known(f"{at}.weir_length"))
        unit = now.unit(WeirLoading)
        items.append(Item("Weir loading", weir, "m^2/s", unit, "weir", design("weir loading", process)))
    return items


def _filters(now: Now, stage: Filters) -> list[Item]:
    """Return the figures of each filter that is built unlike those before it, all filters in service."""
    assert now.temperature is not None
    count, kinds = len(stage.filter), distinct(stage)
    share = equal_share(now.flow, Known(float(count), Default(f"{count} filters in service", "plant file"), "1"))
    found = [_filter(now, place, share, now.temperature) for place in kinds]
    if len(kinds) > 1:  # then each figure says whose it is
        found = [
            [replace(item, title=f"{place.name}: {item.title[:1].lower()}{item.title[1:]}") for item in items]
            for place, items in zip(kinds, found, strict=True)
        ]
    return [item for items in found for item in items]


def _filter(now: Now, place: Filter, share: Known, temperature: Known) -> list[Item]:
    known, held = now.plant.known, is_rapid(now.plant)
    rate = filtration_rate(share, area_of(now.plant, place))
    moving = [(i, layer) for i, layer in enumerate(place.layer) if not layer.support]
    words = "filtration rate, dual or mixed media" if len(moving) > 1 else "filtration rate, single media"
    numbers = range(len(place.layer))

    def of(index: int, name: str) -> Known:
        return known(f"train.{place.id}.layer.{index}.{name}")

    sizes = [mean_grain_size(of(i, "effective_size"), of(i, "uniformity")) for i in numbers]
    depths, porosities, sphericities = ([of(i, name) for i in numbers] for name in ("depth", "porosity", "sphericity"))
    loss = layered_bed_head_loss(rate, temperature, depths, sizes, porosities, sphericities)
    rates, losses = design(words, "filtration"), design("clean-bed head loss", "filtration")
    items = [
        Item("Filtration rate, all in service", rate, "m/s", now.unit(FilterRate), "rate", rates if held else None),
        Item("Head loss of the clean bed", loss, "m", now.unit(Head), "head", losses if held else None),
    ]
    if moving:
        ratio = bed_depth_to_size_ratio(
            [of(i, "depth") for i, _ in moving], [of(i, "effective_size") for i, _ in moving]
        )
        span = design("summed depth / effective size", "media") if held else None
        items.append(Item("Depth over grain size", ratio, "1", "1", "ratio", span))
    return items


def _pipe(now: Now, stage: Pipe) -> list[Item]:
    at = f"train.{stage.id}"
    diameter, length = now.plant.known(f"{at}.inside_diameter"), now.plant.known(f"{at}.length")
    return [
        Item("Time in the pipe", travel_time(diameter, length, now.flow), "s", "min", "stay"),
        Item("Velocity", pipe_velocity(now.flow, diameter), "m/s", now.unit(Velocity), "velocity"),
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

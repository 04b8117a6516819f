"""How is a filter washed in today's water: at what rate, how long, with how much water, and what does the sewer get?"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from weirhouse.desk.filters import WASH
from weirhouse.desk.lines import Display, age_words, figure, oldest, unknown, within_sentence
from weirhouse.desk.model import Advice, AdviceState, Figure
from weirhouse.desk.storage import at_reserve, plan_area, reserve, tanks
from weirhouse.plant.model import Contact, Filter, Filters, Layer, Plant, Storage
from weirhouse.plant.units import area_of
from weirhouse.quantity import show, written
from weirhouse.science.backwash import (
    backwash_flow,
    backwash_rate,
    backwash_share,
    backwash_volume,
    solids_to_waste,
    trough_clearance,
)
from weirhouse.science.basins import depth_for_volume, volume_from_area
from weirhouse.science.fluidisation import (
    backwash_rate_for_expansion,
    expanded_porosity,
    expanded_porosity_akgiray,
    expansion,
    media_rise,
    minimum_fluidisation_velocity,
    rise_together,
)
from weirhouse.science.head_loss import grain_size_90, mean_grain_size
from weirhouse.science.operations import height_above, solids_caught
from weirhouse.science.properties import dynamic_viscosity, water_density
from weirhouse.science.quantities import FilterRate, Flow, Length, MassRate, Temperature, Volume
from weirhouse.science.residuals import suspended_solids
from weirhouse.situation.ages import local_midnight
from weirhouse.situation.model import Situation
from weirhouse.working import Default, Known, recording

EXPANSION = Default(
    "20 percent of the finest layer that is to expand",
    "bed expansion 20 to 50 percent, Recommended Standards for Water Works sec. 4.3.1 and AWWA guidance, from memory",
)
DURATION = Default("10 minutes at the full rate", "5 to 10 min, F. R. Spellman, The Science of Water, 2008, p. 371")
SOLIDS = Default("1.5 mg/L of solids for each NTU", "0.7 to 2.2 is usual; common practice, no source")
LEAST_CLEARANCE = 0.0508  # 2 in
TROUGH_SOURCE = "Wisconsin Admin. Code NR 811.49(1)"
ONE = Default("this backwash, and those since midnight", "day log")


@dataclass(frozen=True, slots=True)
class Grown:
    """One layer at the rate advised."""

    layer: Layer
    expansion: Known
    second: Known  # by Akgiray and Soyer
    rise: Known


@dataclass(frozen=True, slots=True)
class Bed:
    """How a bed is washed in this water."""

    place: Filter
    area: Known
    rate: Known
    needed: Known  # what expands the finest layer to its target and lifts the coarsest grains
    lifting: Known  # what just lifts the coarsest grains that are to move
    flow: Known
    volume: Known
    layers: tuple[Grown, ...]
    rise: Known | None
    clearance: Known | None
    usual: tuple[Grown, ...]  # at the plant file's own rate
    support: Known | None  # rate at which the finest grains of the support begin to move
    held_by: str  # what keeps the rate below `needed`; empty when nothing


def backwash(situation: Situation) -> Iterator[Advice]:
    """Yield the sheet for a backwash in the water of today."""
    plant = situation.plant
    for stage in plant.stages:
        if isinstance(stage, Filters) and stage.backwash is not None:
            yield _sheet(situation, stage)
            return  # one line: a second building has its own plant file


def channels_of(situation: Situation, stage: Filters) -> tuple[str, ...]:
    """Return the channels on which the wash rate and its water hang."""
    found = [_temperature_channel(situation)]
    tank = situation.tanks.get(_source(stage))
    if tank is not None:
        found.append(tank.level.channel)
    return tuple(found)


def _temperature_channel(situation: Situation) -> str:
    """Return the channel of the wash water's temperature: of the finished water where it is measured."""
    return "contact_temperature" if "contact_temperature" in situation.values else "raw_temperature"


def _source(stage: Filters) -> str:
    return (stage.backwash.source if stage.backwash is not None else None) or ""


def _sheet(situation: Situation, stage: Filters) -> Advice:
    display = Display(situation.plant.unit_set)
    title, unit = "Backwash", display.unit(FilterRate)
    needed = channels_of(situation, stage)
    sewer = situation.plant.sewer
    wet = sewer is not None and sewer.wet_weather is not None
    channels = tuple(dict.fromkeys([*needed, *(["rain"] if wet and "rain" in situation.values else [])]))
    temperature = situation.value(_temperature_channel(situation)).usable
    if temperature is None or any(situation.value(c).usable is None for c in needed):
        return unknown(
            situation, "backwash", title, tuple(needed), caution=WASH, inside="m/s", unit=unit,
            because="The rate hangs on the temperature of the wash water, and the water on the level of its tank.",
        )  # fmt: skip
    incomplete = _incomplete(stage)
    if incomplete:
        return unknown(
            situation, "backwash", title, channels, check=incomplete, caution=WASH, inside="m/s", unit=unit
        )  # fmt: skip
    with recording() as sheet:
        beds = [_bed(situation, stage, place, temperature) for place in _distinct(stage)]
        water = _water(situation, stage, beds, display)
        waste = _waste_figures(situation, stage, beds, display)
    problems = [p for bed in beds for p in _problems(bed, display)]
    if water.short:
        problems.append(water.short)
    figures = [
        figure("Wash water temperature", temperature, "degC", display.unit(Temperature)),
        *(f for bed in beds for f in _bed_figures(situation.plant, stage, bed, display, len(beds) > 1)),
        *waste,
        *water.figures,
    ]
    state: AdviceState = "soon" if problems else "steady"
    duration = show(_duration(situation.plant, stage), "s", "min", 2)
    action = _how(stage, beds, duration, display)
    held = [tank for tank in tanks(situation.plant) if tank.id in situation.tanks]
    low = at_reserve(situation)
    if low:
        names = " and ".join(f"the {within_sentence(tank.name)}" for tank in low)
        action = f"No wash now: it takes finished water, and {names} is at its reserve. When you wash: {action}"
        state = "soon"
    elif any(_sewer_too_small(bed) for bed in beds):
        action = f"Put the wash off until the sewer takes more, if head loss and turbidity allow. If you must: {action}"
        state = "soon"
    else:
        action = f"When you wash: {action}"
    habits = [_habit(situation.plant, stage, bed, display) for bed in beds]
    remarks = [*(r for bed in beds for r in _remarks(bed, display)), *(h for h in habits if h), *problems]
    if remarks:
        action = f"{action} {' '.join(dict.fromkeys(remarks))}"
    return Advice(
        id="backwash", title=title, action=action, value=float(beds[0].rate), inside="m/s", unit=unit,
        shown=display.show(beds[0].rate, FilterRate), state=state, caution=WASH, working=sheet,
        age_s=oldest(situation, channels),
        confidence=f"worked out from the media in the plant file; one expansion measured from behind the rail, with a "
        f"stick on a lanyard, while washing "
        f"tells whether its sphericity is right; {age_words(situation, channels)}",
        depends=channels, check="",
        because=f"In water of {display.show(temperature, Temperature)} this expands the finest layer by "
        f"{show(_finest(beds[0]).expansion, '1', 'percent', 2)}.",
        figures=tuple(figures), uses=tuple(situation.tanks[t.id].level.channel for t in held),
    )  # fmt: skip


def _how(stage: Filters, beds: Sequence[Bed], duration: str, display: Display) -> str:
    """Return rate, flow, time and water of a wash: of each filter where their beds differ."""
    several = len(beds) > 1
    rates = "; ".join(
        f"{f'{_names(stage, bed)} at ' if several else ''}{display.show(bed.rate, FilterRate)} "
        f"({display.show(bed.flow, Flow)}) for {duration}, {display.show(bed.volume, Volume)}"
        for bed in beds
    )
    each = " each" if len(stage.filter) > 1 else ""
    return f"{rates}{each} of finished water."


def _sewer_too_small(bed: Bed) -> bool:
    """Whether what the sewer takes is too little to lift the coarsest grains."""
    return bool(bed.rate < bed.lifting) and "sewer" in bed.held_by


def _incomplete(stage: Filters) -> str:
    """Return what the plant file lacks for the sheet, in a sentence."""
    bare = [place.name for place in stage.filter if all(layer.support for layer in place.layer)]
    return f"Enter the media layers of {' and '.join(bare)} in the plant file." if bare else ""


def _distinct(stage: Filters) -> list[Filter]:
    """Return the filters of which each stands for all with the same bed."""
    found: dict[object, Filter] = {}
    for place in stage.filter:
        found.setdefault((place.length, place.width, place.diameter, place.area, tuple(place.layer)), place)
    return list(found.values())


def _names(stage: Filters, bed: Bed) -> str:
    same = [p.name for p in stage.filter if p.layer == bed.place.layer and _size(p) == _size(bed.place)]
    return " and ".join(same)


def _size(place: Filter) -> tuple[object, ...]:
    return place.length, place.width, place.diameter, place.area


def _duration(plant: Plant, stage: Filters) -> Known:
    if stage.backwash is not None and stage.backwash.duration is not None:
        return plant.known(f"train.{stage.id}.backwash.duration")
    return Known(600.0, DURATION, "s")


# --- the bed -----------------------------------------------------------------------------------------------------


def _bed(situation: Situation, stage: Filters, place: Filter, temperature: Known) -> Bed:
    plant = situation.plant
    area = area_of(plant, place)
    water = water_density(temperature), dynamic_viscosity(temperature)
    numbered = list(enumerate(place.layer))
    moving = [(i, layer) for i, layer in numbered if not layer.support]
    index, _ = min(moving, key=lambda pair: float(pair[1].effective_size))
    target = Known(0.20, EXPANSION, "1")
    needed = backwash_rate_for_expansion(target, *_media(plant, place, index), temperature)
    lifting = max(
        (
            minimum_fluidisation_velocity(
                grain_size_90(_layer(plant, place, i, "effective_size"), _layer(plant, place, i, "uniformity")),
                _layer(plant, place, i, "density"),
                *water,
            )
            for i, _ in moving
        ),
        key=float,
    )
    needed = max(needed, lifting, key=float)
    supports = [
        minimum_fluidisation_velocity(
            _layer(plant, place, i, "effective_size"), _layer(plant, place, i, "density"), *water
        )
        for i, layer in numbered
        if layer.support
    ]
    support = min(supports, key=float) if supports else None
    rate, held_by = _held(situation, stage, area, needed, support)
    layers = tuple(_grown(plant, place, i, rate, water) for i, _ in moving)
    rise = clearance = None
    for layer in layers:
        rise = layer.rise if rise is None else rise_together(rise, layer.rise)
    wash = stage.backwash
    assert wash is not None
    if wash.freeboard is not None and rise is not None:
        clearance = trough_clearance(plant.known(f"train.{stage.id}.backwash.freeboard"), rise)
    usual: tuple[Grown, ...] = ()
    if wash.rate is not None:
        own = plant.known(f"train.{stage.id}.backwash.rate")
        usual = tuple(_grown(plant, place, i, own, water) for i, _ in moving)
    return Bed(
        place=place, area=area, rate=rate, needed=needed, lifting=lifting, flow=backwash_flow(rate, area),
        volume=backwash_volume(rate, _duration(plant, stage), area), layers=layers, rise=rise, clearance=clearance,
        usual=usual, support=support, held_by=held_by,
    )  # fmt: skip


def _layer(plant: Plant, place: Filter, index: int, name: str) -> Known:
    return plant.known(f"train.{place.id}.layer.{index}.{name}")


def _media(plant: Plant, place: Filter, index: int) -> tuple[Known, Known, Known, Known]:
    """Return mean size, porosity, sphericity and density of a layer."""
    size = mean_grain_size(
        _layer(plant, place, index, "effective_size"), _layer(plant, place, index, "uniformity")
    )  # fmt: skip
    porosity, sphericity = (_layer(plant, place, index, name) for name in ("porosity", "sphericity"))
    return size, porosity, sphericity, _layer(plant, place, index, "density")


def _grown(plant: Plant, place: Filter, index: int, rate: Known, water: tuple[Known, Known]) -> Grown:
    size, porosity, sphericity, density = _media(plant, place, index)
    share = expansion(porosity, expanded_porosity(rate, size, porosity, sphericity, density, *water))
    second = expansion(porosity, expanded_porosity_akgiray(rate, size, porosity, sphericity, density, *water))
    return Grown(place.layer[index], share, second, media_rise(share, _layer(plant, place, index, "depth")))


def _held(situation: Situation, stage: Filters, area: Known, needed: Known, support: Known | None) -> tuple[Known, str]:
    """Return the rate needed, or what keeps it lower: support, pump or sewer."""
    plant, wash = situation.plant, stage.backwash
    assert wash is not None
    rate, held_by = needed, ""
    if support is not None and support < rate:
        rate, held_by = support, "a faster rise begins to move the support"
    if wash.pump_flow is not None:
        most = backwash_rate(plant.known(f"train.{stage.id}.backwash.pump_flow"), area)
        if most < rate:
            rate, held_by = most, "the wash pump gives no more"
    limit, words = sewer_limit(situation, stage)
    if limit is not None:
        most = backwash_rate(limit, area)
        if most < rate:
            rate, held_by = most, f"{words} allows no more"
    return rate, held_by


def _finest(bed: Bed) -> Grown:
    return min(bed.layers, key=lambda grown: float(grown.layer.effective_size))


def sewer_limit(situation: Situation, stage: Filters) -> tuple[Known | None, str]:
    """Return the flow that the sewer takes today, and whose limit it is. Where rain is not known, it counts as wet."""
    plant = situation.plant
    sewer, wash = plant.sewer, stage.backwash
    if sewer is None or wash is None or wash.destination != "sewer":
        return None, ""
    wet = sewer.wet_weather
    if wet is not None:
        rain, known = situation.rain_today, "rain" in situation.values
        doubtful = known and (rain is None or situation.value("rain").usable is None)
        if doubtful or (rain is not None and rain > wet.above_rain):
            words = "the sewer in wet weather (rain is not known)" if doubtful else "the sewer in wet weather"
            return plant.known("sewer.wet_weather.limit_flow"), words
    if sewer.limit_flow is None:
        return None, ""
    return plant.known("sewer.limit_flow"), "the sewer"


def _remarks(bed: Bed, display: Display) -> list[str]:
    """Return what the operator must know of the rate, in sentences."""
    said = []
    if bed.held_by:
        said.append(f"No faster: {bed.held_by}.")
    if bed.rate < bed.lifting:
        said.append(f"The coarsest grains, which lift from {display.show(bed.lifting, FilterRate)}, may stay at rest.")
    return said


def _habit(plant: Plant, stage: Filters, bed: Bed, display: Display) -> str:
    """Return what the plant file's own rate would do in this water, where that is harm."""
    if not bed.usual or bed.support is None:
        return ""
    own = plant.known(f"train.{stage.id}.backwash.rate")
    if own <= bed.support:
        return ""
    return (
        f"Your usual {display.show(own, FilterRate)} would move the finest grains of the support, which lift from "
        f"{display.show(bed.support, FilterRate, 4)} in this water."
    )


def _problems(bed: Bed, display: Display) -> list[str]:
    """Return what stands against washing so, in sentences."""
    said = []
    if bed.clearance is not None and bed.clearance < LEAST_CLEARANCE:
        said.append(
            f"The media rise to {display.show(bed.clearance, Length)} below the trough and may go over it: "
            "throttle the wash until they stay below."
        )
    return said


# --- its water and its waste -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Water:
    """Where the wash water comes from and whether there is enough."""

    figures: tuple[Figure, ...]
    short: str  # a sentence when there is not enough


def _water(situation: Situation, stage: Filters, beds: Sequence[Bed], display: Display) -> Water:
    plant, source = situation.plant, _source(stage)
    tank = situation.tanks.get(source)
    level = tank.level.usable if tank is not None else None
    if level is None:
        return Water((), "")
    held = plant.stage(source)
    if isinstance(held, Storage):
        area = plan_area(plant, held)
        lowest, name = reserve(plant, held, area), "reserve"
    elif isinstance(held, Contact) and held.area is not None and held.low_level is not None:
        area, lowest, name = plant.known(f"train.{source}.area"), plant.known(f"train.{source}.low_level"), "low level"
    else:
        return Water((), "")
    free = volume_from_area(area, height_above(level, lowest))
    most = max((bed.volume for bed in beds), key=float)
    enough = bool(most <= free)
    unit = display.unit(Volume)
    figures = (
        figure(
            f"In {held.name} above its {name}", free, "m^3", unit,
            against=f"one wash takes {show(most, 'm^3', unit)}", within=enough,
        ),
        figure(f"{held.name} falls by", depth_for_volume(most, area), "m", display.unit(Length)),
    )  # fmt: skip
    short = "" if enough else f"{held.name} cannot give that above its {name}: fill it first."
    return Water(figures, short)


def _bed_figures(plant: Plant, stage: Filters, bed: Bed, display: Display, several: bool) -> list[Figure]:
    of = f" ({bed.place.name})" if several else ""
    rate_unit, length_unit = display.unit(FilterRate), display.unit(Length)
    wash = stage.backwash
    assert wash is not None
    found = [
        figure(f"Wash rate{of}", bed.rate, "m/s", rate_unit),
        figure(f"Wash flow of one filter{of}", bed.flow, "m^3/s", display.unit(Flow)),
        figure(f"Minutes at that rate{of}", _duration(plant, stage), "s", "min", digits=2),
        figure(f"Finished water for one wash{of}", bed.volume, "m^3", display.unit(Volume)),
    ]
    if wash.filter_to_waste is not None:
        waste = plant.known(f"train.{stage.id}.backwash.filter_to_waste")
        found.append(figure(f"Filter to waste afterwards{of}", waste, "s", "min", digits=2))
    found += [_grown_figure(f"Expansion of {grown.layer.media}{of}", grown) for grown in bed.layers]
    found.append(figure(f"Rate that lifts the coarsest grains{of}", bed.lifting, "m/s", rate_unit))
    if bed.support is not None:
        found.append(
            figure(f"Rate that begins to move the support{of}", bed.support, "m/s", rate_unit,
                   against=f"washed at {show(bed.rate, 'm/s', rate_unit)}", within=bool(bed.rate <= bed.support))
        )  # fmt: skip
    if bed.clearance is not None:
        found.append(
            figure(f"Media stay below the trough by{of}", bed.clearance, "m", length_unit,
                   against=f"{written(LEAST_CLEARANCE, 'm', length_unit)} or more ({TROUGH_SOURCE})",
                   within=bool(bed.clearance >= LEAST_CLEARANCE))
        )  # fmt: skip
    if bed.usual and wash.rate is not None:
        usual = show(wash.rate, "m/s", rate_unit)
        found += [
            figure(
                f"Expansion of {grown.layer.media} at the usual {usual}{of}", grown.expansion, "1", "percent", digits=2
            )
            for grown in bed.usual
        ]
    return found


def _grown_figure(title: str, grown: Grown) -> Figure:
    second = show(grown.second, "1", "percent", 2)
    return figure(title, grown.expansion, "1", "percent", digits=2, against=f"{second} by a second formula")


def _waste_figures(situation: Situation, stage: Filters, beds: Sequence[Bed], display: Display) -> list[Figure]:
    """Return peak flow and solids to the sewer, and the share of the water made that goes back, for each filter."""
    plant = situation.plant
    limit, words = sewer_limit(situation, stage)
    peak = max((bed.flow for bed in beds), key=float)
    flow_unit, mass_unit = display.unit(Flow), display.unit(MassRate)
    to = "sewer" if stage.backwash is not None and stage.backwash.destination == "sewer" else "waste"
    found = [
        figure(f"Peak flow to the {to}", peak, "m^3/s", flow_unit,
               against=f"{words} takes {written(limit, 'm^3/s', flow_unit)}" if limit is not None else "",
               within=None if limit is None else bool(peak <= limit)),
    ]  # fmt: skip
    allowed = (
        plant.known("sewer.limit_solids") if plant.sewer is not None and plant.sewer.limit_solids is not None else None
    )
    settled = situation.value("settled_turbidity").usable
    washes = Known(float(_since_midnight(situation, stage)), ONE, "1")
    for place in stage.filter:
        run = situation.runs[place.id]
        bed = next(b for b in beds if b.place.layer == place.layer and _size(b.place) == _size(place))
        share = solids = None
        if run.volume is not None and run.volume > 0:
            share = backwash_share(bed.volume, run.volume)
            if settled is not None:
                held = solids_caught(run.volume, suspended_solids(settled, Known(1.5, SOLIDS, "g/(m^3*NTU)")))
                solids = solids_to_waste(held, washes)
        found.append(
            figure(f"Solids to the {to} today if {place.name} is washed now", solids, "kg/s", mass_unit,
                   against=f"limit {written(allowed, 'kg/s', mass_unit)}" if allowed is not None else "",
                   within=None if allowed is None or solids is None else bool(solids <= allowed))
        )  # fmt: skip
        found.append(figure(f"Share of this run of {place.name} that its wash takes", share, "1", "percent", digits=2))
    return found


def _since_midnight(situation: Situation, stage: Filters) -> int:
    """Return the backwashes of the local day, this one counted."""
    midnight = local_midnight(situation.at, situation.zone)
    ids = {place.id for place in stage.filter}
    done = [e for e in situation.events if e.kind == "backwash" and e.subject in ids and e.started_at >= midnight]
    return len([*done, None])

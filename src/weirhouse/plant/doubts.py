"""What in the plant file can hardly be so, or is due? Figures that each look right and do not fit together."""

import itertools
from collections.abc import Iterator
from datetime import date

from weirhouse.plant.finding import Finding
from weirhouse.plant.layering import bed_doubts
from weirhouse.plant.model import Calibration, Contact, Feed, Filters, Permit, Plant, Pumps, Stage, Storage
from weirhouse.plant.ranges import COMMON, OWN
from weirhouse.plant.units import area_of
from weirhouse.quantity import show

# From memory of the regulation; the permit's own words govern.
_LOGS = {"giardia_required": (3.0, "Giardia"), "virus_required": (4.0, "viruses")}
_LOGS_SOURCE = "40 CFR 141.70(a), from memory"
_RESIDUAL_SOURCE = {"entry_residual_min": "40 CFR 141.72, from memory", "residual_max": "40 CFR 141.65, from memory"}
CALIBRATION_DAYS = 366
_USES = {"US": ("gal/day", "gpm", "ft", "gal"), "SI": ("L/day", "L/s", "m", "m^3")}
_MOST_PER_PERSON = 2000 / 86400 / 1000  # [m^3/s], of the design flow


def doubts(plant: Plant, on: date) -> Iterator[Finding]:
    """Yield what can hardly be so on a day, and what is due by then, in the order of the plant file."""
    yield from _village(plant)
    yield from _order(plant)
    for stage in plant.stages:
        if isinstance(stage, Pumps):
            yield from _pumps(plant, stage)
        elif isinstance(stage, Feed):
            yield from _feed(stage, on)
        elif isinstance(stage, Filters):
            yield from _filters(plant, stage)
        elif isinstance(stage, Contact):
            yield from _contact(plant, stage)
        elif isinstance(stage, Storage):
            yield from _storage(plant, stage)
    if plant.permit is not None:
        yield from _permit(plant.permit)
    yield from _limits(plant)


def present(plant: Plant, flow: float | None, temperature: float | None) -> Iterator[Finding]:
    """Yield what can hardly be so of the present flow [m^3/s] and water temperature [degC]."""
    _, display, _, _ = _USES[plant.unit_set]
    if flow is not None and plant.design_flow is not None and flow > 1.02 * plant.design_flow:
        yield Finding(
            "outside", "plant", "Plant flow",
            f"The flow {show(flow, 'm^3/s', display)} is above the design flow "
            f"{show(plant.design_flow, 'm^3/s', display)}.",
            flow, "m^3/s", display, show(flow, "m^3/s", display),
            f"{show(plant.design_flow, 'm^3/s', display)} or less", OWN,
        )  # fmt: skip
    if temperature is not None and not -0.5 <= temperature <= 35:
        yield _odd(
            "plant", "Water temperature",
            f"{show(temperature, 'degC')} is no temperature of a stream's water: look at the probe and its unit",
        )  # fmt: skip


def _odd(stage_id: str, title: str, text: str, source: str = COMMON) -> Finding:
    return Finding("implausible", stage_id, title, f"{text}.", source=source)


def _village(plant: Plant) -> Iterator[Finding]:
    per_day, display, _, _ = _USES[plant.unit_set]
    if plant.population and plant.connections and not 1 <= plant.population / plant.connections <= 8:
        yield _odd(
            "plant", "The plant",
            f"{plant.population} people on {plant.connections} connections are "
            f"{plant.population / plant.connections:.1f} for each: look at both",
        )  # fmt: skip
    if plant.population and plant.design_flow and plant.design_flow / plant.population > _MOST_PER_PERSON:
        each = show(plant.design_flow / plant.population, "m^3/s", per_day)
        yield _odd(
            "plant", "The plant",
            f"the design flow {show(plant.design_flow, 'm^3/s', display)} is {each} for each person: "
            "look at its unit, and at the population",
        )  # fmt: skip


def _order(plant: Plant) -> Iterator[Finding]:
    """Yield stages that stand where the water cannot take them."""
    place = {stage.id: number for number, stage in enumerate(plant.stages)}

    def first(kind: str, role: str = "") -> Stage | None:
        return next((s for s in plant.stages if s.kind == kind and (not role or getattr(s, "role", "") == role)), None)

    pairs = [
        (first("source"), first("intake")),
        (first("feed", "coagulant"), first("mixer")),
        (first("feed", "coagulant"), first("flocculation")),
        (first("flocculation"), first("filters")),
        (first("clarifier"), first("filters")),
        (first("feed", "coagulant"), first("filters")),
        (first("filters"), first("contact")),
        (first("filters"), first("storage")),
        (first("feed", "disinfectant"), first("contact")),
    ]
    for before, after in pairs:
        if before is not None and after is not None and place[before.id] > place[after.id]:
            yield _odd(
                before.id, before.name,
                f"it is listed after {after.name}: list the stages in the order the water takes them",
            )  # fmt: skip
    sources = [s for s in plant.stages if s.kind == "source"]
    if sources and place[sources[0].id] != 0:
        yield _odd(sources[0].id, sources[0].name, "the train does not begin with its source")


def _pumps(plant: Plant, stage: Pumps) -> Iterator[Finding]:
    rated = [pump.rated_flow for pump in stage.pump if pump.rated_flow is not None]
    if rated and len(rated) == len(stage.pump) and plant.design_flow is not None and sum(rated) < plant.design_flow:
        yield _odd(stage.id, stage.name, "all of its pumps together are rated below the design flow")


def _feed(feed: Feed, on: date) -> Iterator[Finding]:
    if feed.calibration is not None:
        yield from _calibration(feed, feed.calibration, on)
    if feed.role == "coagulant" and feed.hazard != "corrosive":
        yield _odd(
            feed.id, feed.name, 'hazard is not "corrosive", though coagulants are acid: read the safety data sheet'
        )
    if feed.role == "disinfectant" and feed.hazard != "oxidiser":
        yield _odd(
            feed.id, feed.name, 'hazard is not "oxidiser", though chlorine products are: read the safety data sheet'
        )
    if feed.role == "disinfectant" and feed.strength is not None and feed.strength > 0.2 and feed.density > 1000:
        yield _odd(
            feed.id, feed.name, "no hypochlorite solution is sold above 20 percent: read the product's sheet", COMMON
        )
    doses = [dose for _, dose in feed.dose_table]
    if any(b < a for a, b in itertools.pairwise(doses)):
        yield _odd(
            feed.id, feed.name, "in the dose table the dose falls while the turbidity rises: look for rows changed over"
        )


def _calibration(feed: Feed, calibration: Calibration, on: date) -> Iterator[Finding]:
    day = calibration.date
    if day > on:
        yield _odd(feed.id, feed.name, f"its calibration is dated {day}, which is still to come")
    elif (on - day).days > CALIBRATION_DAYS:
        yield Finding("due", feed.id, feed.name, f"Its calibration of {day} is older than a year: run a new drawdown.")


def _filters(plant: Plant, stage: Filters) -> Iterator[Finding]:
    _, display, _, _ = _USES[plant.unit_set]
    for one in stage.filter:
        yield from bed_doubts(one, stage.backwash.rate if stage.backwash else None)
    wash = stage.backwash
    if wash is None:
        return
    areas = [float(area_of(plant, one)) for one in stage.filter]
    if wash.rate is not None and wash.pump_flow is not None and areas:
        needed = wash.rate * max(areas)
        if needed > 1.01 * wash.pump_flow:
            yield _odd(
                stage.id, f"{stage.name}, backwash",
                f"its rate takes {show(needed, 'm^3/s', display)} on the largest filter, more than the wash pump's "
                f"{show(wash.pump_flow, 'm^3/s', display)}",
                "the entries of the plant file",
            )  # fmt: skip


def _contact(plant: Plant, stage: Contact) -> Iterator[Finding]:
    *_, length, volume = _USES[plant.unit_set]
    if stage.area is not None and stage.full_level is not None:
        held = stage.area * stage.full_level
        if abs(held / stage.volume - 1) > 0.1:
            yield _odd(
                stage.id, stage.name,
                f"area times full_level is {show(held, 'm^3', volume)}, its volume is written as "
                f"{show(stage.volume, 'm^3', volume)}: one of the three is wrong",
                "the entries of the plant file",
            )  # fmt: skip
    if stage.baffling_factor is not None and stage.baffling_factor > 0.9:
        yield _odd(
            stage.id, stage.name,
            f"a baffling factor of {stage.baffling_factor:g} is that of a pipe, not of a tank: read the State's letter",
            "US EPA guidance on baffling, from memory",
        )  # fmt: skip
    yield from _height(plant, stage, length)


def _storage(plant: Plant, stage: Storage) -> Iterator[Finding]:
    *_, length, _ = _USES[plant.unit_set]
    yield from _height(plant, stage, length)
    if stage.base_elevation is None or stage.highest_service is None:
        return
    top = stage.base_elevation + stage.full_level
    if top <= stage.highest_service:
        yield _odd(
            stage.id, stage.name,
            f"when full its water stands at {show(top, 'm', length)}, no higher than the highest service at "
            f"{show(stage.highest_service, 'm', length)}: no water would come there",
            "hydrostatics",
        )  # fmt: skip


def _height(plant: Plant, stage: Contact | Storage, length: str) -> Iterator[Finding]:
    if stage.full_level is not None and stage.full_level > 60:
        yield _odd(stage.id, stage.name, f"a depth of {show(stage.full_level, 'm', length)}: look at its unit")
    channel = plant.channels.get(stage.level_channel or "")
    if channel is not None and channel.high is not None and stage.full_level is not None:  # noqa: SIM102
        if channel.high < stage.full_level:
            yield _odd(
                stage.id, stage.name,
                f"{channel.name} counts as wrong above {show(channel.high, 'm', length)}, below the full level",
                "the entries of the plant file",
            )  # fmt: skip


def _permit(permit: Permit) -> Iterator[Finding]:
    for name, (least, organism) in _LOGS.items():
        required = getattr(permit, name)
        if required is not None and required < least:
            yield _odd(
                "permit", "Permit",
                f"{name} is {required:g} log, below the {least:g} log asked for {organism}: read it again",
                _LOGS_SOURCE,
            )  # fmt: skip
    for organism in ("giardia", "virus"):
        required, credit = getattr(permit, f"{organism}_required"), getattr(permit, f"{organism}_credit")
        if required is not None and credit is not None and credit >= required:
            yield _odd(
                "permit", "Permit",
                f"{organism}_credit covers all that is required, so that disinfection need bring nothing",
                "40 CFR 141.72(b)(1), from memory",
            )  # fmt: skip
    low, high = permit.entry_residual_min, permit.residual_max
    if low is not None and low < 0.2 * (1 - 1e-9):
        yield _odd("permit", "Permit", "entry_residual_min is below 0.2 mg/L", _RESIDUAL_SOURCE["entry_residual_min"])
    if high is not None and high > 4.0 * (1 + 1e-9):
        yield _odd("permit", "Permit", "residual_max is above 4.0 mg/L", _RESIDUAL_SOURCE["residual_max"])
    if low is not None and high is not None and low >= high:
        yield _odd("permit", "Permit", "entry_residual_min is not below residual_max", "the entries of the plant file")


def _limits(plant: Plant) -> Iterator[Finding]:
    for where, rows in (("action", plant.action), ("shutdown", plant.shutdown)):
        for row in rows:
            channel = plant.channels[row.channel]
            at = row.above if row.above is not None else row.below
            assert at is not None
            too_high = channel.high is not None and at > channel.high
            too_low = channel.low is not None and at < channel.low
            if too_high or too_low:
                yield _odd(
                    where, channel.name,
                    f"the level {show(at, channel.inside, channel.unit)} lies where a value counts as wrong: "
                    "it would never be acted on",
                    "the entries of the plant file",
                )  # fmt: skip

"""Does the plant hang together? What one field alone cannot show."""

from collections.abc import Callable

from weirhouse.plant.model import (
    Contact,
    Feed,
    Filters,
    Flocculation,
    FlowMeter,
    Mixer,
    Pipe,
    Plant,
    Pumps,
    Storage,
)  # fmt: skip
from weirhouse.plant.read import Reader


def check_sense(reader: Reader, plant: Plant) -> None:
    """Raise PlantError for the first thing that cannot be so."""
    _ids(reader, plant)
    checks: dict[type, Callable[[Reader, Plant, object], None]] = {
        Feed: _feed, Mixer: _mixer, Filters: _filters, Contact: _contact, Storage: _storage, Pipe: _pipe,
        Flocculation: _flocculation, FlowMeter: _meter,
    }  # fmt: skip
    for stage in plant.stages:
        check = checks.get(type(stage))
        if check is not None:
            check(reader, plant, stage)


def _ids(reader: Reader, plant: Plant) -> None:
    seen: set[str] = set()
    for stage in plant.stages:
        inner = []
        if isinstance(stage, Flocculation):
            inner = [part.id for part in stage.stages]
        elif isinstance(stage, Filters):
            inner = [one.id for one in stage.filter]
        elif isinstance(stage, Pumps):
            inner = [pump.id for pump in stage.pump]
        for id in (stage.id, *inner):
            if id in seen:
                raise reader.wrong(f"train.{id}", f'the id "{id}" is used twice. Give each stage its own')
            seen.add(id)


def _channel(reader: Reader, plant: Plant, where: str, channel: str | None, unit: str) -> None:
    if channel is None:
        return
    if channel not in plant.channels:
        raise reader.wrong(
            where, f'"{channel[:40]}" is not a channel of this plant. Describe it under [channel.{channel}]'
        )
    if plant.channels[channel].inside != unit:
        raise reader.wrong(
            where, f'the channel "{channel}" is in {plant.channels[channel].unit}, which does not fit here'
        )


def _feed(reader: Reader, plant: Plant, feed: object) -> None:
    assert isinstance(feed, Feed)
    at = f"train.{feed.id}"
    if feed.role == "coagulant":
        if feed.basis == "Cl2":
            raise reader.wrong(f"{at}.basis", "a coagulant's dose counts product, Al2O3 or Al, not Cl2")
        if feed.basis != "product" and feed.al2o3 is None:
            raise reader.wrong(at, f'al2o3 is missing: a dose as {feed.basis} needs it. Write al2o3 = "17 percent"')
        if feed.al2o3 is None or feed.basicity is None:
            lacking = "al2o3" if feed.al2o3 is None else "basicity"
            raise reader.wrong(
                at, f'{lacking} is missing. It stands on the product\'s sheet; write {lacking} = "17 percent"'
            )
        if not 0 < feed.al2o3 <= 0.55:
            raise reader.wrong(
                f"{at}.al2o3", "no aluminium coagulant holds that much Al2O3. Read the product's sheet again"
            )
    if feed.role == "disinfectant":
        if feed.basis != "Cl2":
            raise reader.wrong(f"{at}.basis", 'a chlorine dose counts Cl2. Write basis = "Cl2"')
        if feed.strength is None:
            raise reader.wrong(at, 'strength is missing. Write the available chlorine, like strength = "12.5 percent"')
        if feed.strength_basis is None:
            raise reader.wrong(
                at, 'strength_basis is missing: "weight_per_volume" for trade percent, else "weight_per_weight"'
            )
    if not 500 <= feed.density <= 3000:
        raise reader.wrong(f"{at}.density", "no product sold for this has that density. Read the product's sheet again")
    tank = feed.day_tank
    if tank.low is not None and tank.low >= tank.full:
        raise reader.wrong(f"{at}.day_tank", "low must be below full")
    if tank.height is not None and tank.full > tank.height:
        raise reader.wrong(f"{at}.day_tank", "full is above the tank's height")
    if tank.dilution is not None and tank.dilution > 1 and not feed.dilutable:
        raise reader.wrong(
            f"{at}.day_tank.dilution",
            "this product is not to be thinned (dilutable = false). Thinned, some coagulants go off; ask the maker",
        )


def _mixer(reader: Reader, plant: Plant, mixer: object) -> None:
    assert isinstance(mixer, Mixer)
    at = f"train.{mixer.id}"
    if mixer.type == "stirred" and mixer.power is None:
        raise reader.wrong(at, 'power is missing: a stirred mixer needs it. Write power = "0.5 hp"')
    if mixer.type == "in_line" and (mixer.head_loss is None or mixer.head_loss_flow is None):
        raise reader.wrong(
            at, "head_loss and head_loss_flow are missing: a mixer in the line needs the loss measured at a flow"
        )


def _flocculation(reader: Reader, plant: Plant, stage: object) -> None:
    assert isinstance(stage, Flocculation)
    if not stage.stages:
        raise reader.wrong(f"train.{stage.id}.stages", "no compartment is listed")
    for part in stage.stages:
        if (part.head_loss is None) != (part.head_loss_flow is None):
            raise reader.wrong(
                f"train.{part.id}", "head_loss and head_loss_flow go together: the loss was measured at a flow"
            )


def _filters(reader: Reader, plant: Plant, stage: object) -> None:
    assert isinstance(stage, Filters)
    for one in stage.filter:
        at = f"train.{one.id}"
        sizes = (one.area is not None) + (one.diameter is not None) + (one.length is not None or one.width is not None)
        if sizes != 1 or (one.length is None) != (one.width is None):
            raise reader.wrong(at, "give its size once: length and width, or diameter, or area")
        if not one.layer:
            raise reader.wrong(at, "no layer of media is listed. Write [[train.filter.layer]] for each, from the top")
    wash = stage.backwash
    if wash is not None and wash.source is not None and not any(wash.source == s.id for s in plant.stages):
        raise reader.wrong(f"train.{stage.id}.backwash.source", f'"{wash.source[:40]}" is not a stage of this train')

    goes_to = ("sewer", "lagoon", *(s.id for s in plant.stages))
    if wash is not None and wash.destination not in goes_to:
        raise reader.wrong(
            f"train.{stage.id}.backwash.destination",
            f'"{wash.destination[:40]}" is neither "sewer" nor "lagoon" nor a stage of this train',
        )


def _meter(reader: Reader, plant: Plant, meter: object) -> None:
    assert isinstance(meter, FlowMeter)
    _channel(reader, plant, f"train.{meter.id}.channel", meter.channel, "m^3/s")


def _contact(reader: Reader, plant: Plant, stage: object) -> None:
    assert isinstance(stage, Contact)
    at = f"train.{stage.id}"
    if stage.baffling_factor is None and stage.tracer is None:
        raise reader.wrong(
            at, "baffling_factor is missing. Write what the State assigned, or the tracer test it accepted"
        )
    _levels(reader, at, stage.low_level, stage.full_level)
    _channel(reader, plant, f"{at}.level_channel", stage.level_channel, "m")


def _storage(reader: Reader, plant: Plant, stage: object) -> None:
    assert isinstance(stage, Storage)
    at = f"train.{stage.id}"
    if (stage.diameter is None) == (stage.area is None):
        raise reader.wrong(at, "give its size once: diameter or area")
    _levels(reader, at, stage.low_level, stage.full_level)
    _channel(reader, plant, f"{at}.level_channel", stage.level_channel, "m")


def _levels(reader: Reader, at: str, low: float | None, full: float | None) -> None:
    if low is not None and full is not None and low >= full:
        raise reader.wrong(at, "low_level must be below full_level")


def _pipe(reader: Reader, plant: Plant, pipe: object) -> None:
    assert isinstance(pipe, Pipe)
    if pipe.contact and pipe.baffling_factor is None:
        raise reader.wrong(
            f"train.{pipe.id}", "baffling_factor is missing: a main that counts for contact has one from the State"
        )

"""What does the plant file not say that advice needs? Each with what stays unknown without it."""

from collections.abc import Iterator

from weirhouse.plant.finding import Finding
from weirhouse.plant.model import (
    Basin,
    Clarifier,
    Contact,
    Feed,
    Filters,
    Flocculation,
    FlowMeter,
    Intake,
    Mixer,
    Permit,
    Plant,
    Pumps,
    Source,
    Stage,
    Storage,
)
from weirhouse.plant.template import EXAMPLE_ID

# kind of stage -> field: what stays unknown without it
_FIELDS: dict[type[Stage], dict[str, str]] = {
    Intake: {"screen_head_loss_limit": "nothing tells when to clean the screen"},
    Pumps: {"pump": "nothing tells what the pumps can deliver"},
    Basin: {"weir_length": "the weir loading is not worked out"},
    Feed: {"calibration": "no pump setting is given, only mL/min: run a drawdown at three settings"},
    Clarifier: {
        "weir_length": "the weir loading is not worked out",
        "blowdown": "the water that goes with the sludge is not counted",
    },
    Filters: {
        "backwash": "there is no backwash sheet",
        "terminal_head_loss": "the hour of a backwash is not told by head loss",
        "trigger_turbidity": "the hour of a backwash is not told by turbidity",
        "max_run": "no longest run is kept to",
    },
    Contact: {
        "low_level": "without a reading of the level the contact time is unknown",
        "level_channel": "the contact time is worked at the low level only",
    },
    Storage: {
        "low_level": "the reserve rests on the other entries alone",
        "level_channel": "hours of supply are unknown",
        "base_elevation": "the level that holds 20 psi at the highest service is unknown",
        "highest_service": "the level that holds 20 psi at the highest service is unknown",
        "fire_reserve": "the reserve holds no water for fire",
    },
}
_BACKWASH = {
    "source": "it is unknown from which tank the wash water comes",
    "pump_flow": "the highest rate of a wash is unknown",
    "rate": "the usual rate of a wash is unknown",
    "duration": "the water for a wash is unknown",
    "filter_to_waste": "it is unknown how long to filter to waste after a wash",
    "freeboard": "it is unknown whether media reach the trough",
}
_PERMIT = {
    "giardia_required": "no contact time is told",
    "giardia_credit": "no contact time is told; none is assumed, copy it from the State's letter",
    "virus_required": "no contact time is told",
    "virus_credit": "no contact time is told; none is assumed, copy it from the State's letter",
    "entry_residual_min": "the residual is not held against its least value",
    "residual_max": "the residual is not held against its highest value",
    "number": "reports carry no permit number",
}
_PLANT = {
    "population": "demand for each person is unknown",
    "design_flow": "nothing tells the most that the plant can treat",
}
NO_FLOW = "no setting, detention time or contact time is told"
# any one of the channels is enough
_CHANNELS: tuple[tuple[tuple[str, ...], str], ...] = (
    (("raw_turbidity",), "no coagulant dose is given"),
    (("raw_temperature",), "nothing that hangs on the water's temperature is worked out"),
    (("raw_alkalinity",), "the alkalinity and pH that a dose leaves are unknown"),
    (("raw_ph",), "the pH that a dose leaves is unknown"),
    (("combined_turbidity",), "the filtered water is not held against its limit"),
    (("contact_chlorine", "entry_chlorine"), "no contact time is told"),
    (("contact_ph", "entry_ph"), "no contact time is told"),
    (("entry_chlorine",), "the residual that enters the system is not followed"),
)


def lacking(plant: Plant) -> Iterator[Finding]:
    """Yield what is missing, in the order of the plant file."""
    yield from _fields(plant, _PLANT, "plant", "The plant")
    if plant.system_id == EXAMPLE_ID:
        yield _missing(
            "plant", "The plant", f'system_id is still "{EXAMPLE_ID}": go through the file and write your own plant'
        )
    yield from _train(plant)
    for stage in plant.stages:
        yield from _stage(stage)
    yield from _permit(plant.permit)
    yield from _people(plant)
    yield from _measured(plant)


def _missing(stage_id: str, title: str, text: str) -> Finding:
    return Finding("missing", stage_id, title, f"{text}.")


def _fields(part: object, fields: dict[str, str], stage_id: str, title: str) -> Iterator[Finding]:
    for name, without in fields.items():
        if getattr(part, name) in (None, (), ""):
            yield _missing(stage_id, title, f"{name} is missing: {without}")


def _train(plant: Plant) -> Iterator[Finding]:
    if not any(isinstance(s, Source) for s in plant.stages):
        yield _missing("train", "The train", "no source is listed: the train begins with the stream, lake or well")
    if not plant.filters:
        yield _missing("train", "The train", "no filters are listed")
    for role, word in (("coagulant", "coagulant feed"), ("disinfectant", "disinfectant feed")):
        if not any(feed.role == role for feed in plant.feeds):
            yield _missing("train", "The train", f"no {word} is listed, so no dose is given for one")
    if not any(isinstance(s, Contact) or getattr(s, "contact", False) for s in plant.stages):
        yield _missing("train", "The train", "no stage counts for contact time, so none is told")


def _stage(stage: Stage) -> Iterator[Finding]:
    yield from _fields(stage, _FIELDS.get(type(stage), {}), stage.id, stage.name)
    if isinstance(stage, Feed):
        yield from _feed(stage)
    elif isinstance(stage, Filters) and stage.backwash is not None:
        yield from _fields(stage.backwash, _BACKWASH, stage.id, f"{stage.name}, backwash")
    elif isinstance(stage, Mixer) and stage.type == "stirred" and stage.efficiency is None:
        yield _missing(
            stage.id, stage.name, "efficiency is missing: all of the motor's power is taken to reach the water"
        )
    elif isinstance(stage, Flocculation):
        for part in stage.stages:
            if part.head_loss is None and part.power is None:
                yield _missing(
                    part.id,
                    part.name,
                    "head_loss with head_loss_flow, or power, is missing: G and G·t are not worked out",
                )
    elif isinstance(stage, Contact) and stage.area is None and stage.full_level is None:
        yield _missing(stage.id, stage.name, "area or full_level is missing: a level cannot be turned into a volume")


def _feed(feed: Feed) -> Iterator[Finding]:
    if feed.role == "coagulant" and not feed.dose_table:
        yield _missing(feed.id, feed.name, "dose_table is missing: no dose is given from turbidity")
    if feed.role == "disinfectant" and feed.target_residual is None:
        yield _missing(feed.id, feed.name, "target_residual is missing: no dose is given to reach it")
    if feed.day_tank.low is None:
        yield _missing(feed.id, feed.name, "low of the day tank is missing: it is taken to be usable to the bottom")


def _permit(permit: Permit | None) -> Iterator[Finding]:
    if permit is None:
        yield _missing(
            "permit", "Permit", "the table [permit] is missing: no contact time is told and no limit is kept"
        )
        return
    yield from _fields(permit, _PERMIT, "permit", "Permit")


def _people(plant: Plant) -> Iterator[Finding]:
    to_sewer = any(isinstance(s, Filters) and s.backwash and s.backwash.destination == "sewer" for s in plant.stages)
    if to_sewer and (plant.sewer is None or plant.sewer.limit_flow is None):
        yield _missing("sewer", "Sewer", "limit_flow is missing: the wash that goes there is held against no limit")
    if not plant.action:
        yield _missing("action", "Action levels", "none is listed: nothing tells at which reading you hold or stop")
    if not plant.telephone:
        yield _missing("telephone", "Telephone", "nobody is listed: advice cannot name whom to call")
    for entry in plant.telephone:
        if not any(sign.isdigit() for sign in entry.number):
            yield _missing("telephone", "Telephone", f"{entry.name} has no number: cautions cannot say what to dial")


def _measured(plant: Plant) -> Iterator[Finding]:
    if "plant_flow" not in plant.channels and not any(isinstance(s, FlowMeter) for s in plant.stages):
        yield _missing("channel", "Channels", f"there is no channel plant_flow, and no flow meter: {NO_FLOW}")
    for choice, without in _CHANNELS:
        if not any(name in plant.channels for name in choice):
            yield _missing("channel", "Channels", f"there is no channel {' or '.join(choice)}: {without}")
    if plant.filters and "combined_turbidity" in plant.channels and plant.permit and plant.permit.individual_filters:
        for one in plant.filters:
            if f"{one.id}_turbidity" not in plant.channels:
                yield _missing(
                    one.id, one.name, f"there is no channel {one.id}_turbidity, though each filter is monitored"
                )
    for channel in plant.channels.values():
        if channel.stale_after is None:
            yield _missing(
                f"channel.{channel.id}", channel.name, "stale_after is missing: an old value is never told to be old"
            )

"""What is this plant? Its parts as the plant file describes them, in inside units, frozen.

The name of a field is its key in ``plant.toml``. Quantities are written there as text with units and stand here in the
inside unit of `Q`. `read.py` turns tables into these structures; `load.py` checks that they hang together.
"""

from collections.abc import Mapping
from datetime import date
from functools import cached_property
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

import msgspec

from weirhouse.plant.entries import Q, entry_known
from weirhouse.working import Known

Fraction = Annotated[float, Q("1", low=0, high=1)]
Positive = Annotated[float, Q("1", above=0)]
Length = Annotated[float, Q("m", above=0)]
Level = Annotated[float, Q("m", low=0)]
Elevation = Annotated[float, Q("m")]
Area = Annotated[float, Q("m^2", above=0)]
Volume = Annotated[float, Q("m^3", above=0)]
Flow = Annotated[float, Q("m^3/s", above=0)]
FilterRate = Annotated[float, Q("m/s", above=0)]
Duration = Annotated[float, Q("s", above=0)]
Dose = Annotated[float, Q("g/m^3", low=0)]
Turbidity = Annotated[float, Q("NTU", low=0)]
Density = Annotated[float, Q("kg/m^3", above=0)]
FeedRate = Annotated[float, Q("m^3/s", low=0)]
Logs = Annotated[float, Q("log", low=0)]
Power = Annotated[float, Q("W", above=0)]
Id = Annotated[str, msgspec.Meta(pattern=r"^[a-z][a-z0-9_]*$")]


class Part(msgspec.Struct, frozen=True, kw_only=True):
    """What every table may have."""


# --- the train, in the order the water takes it ------------------------------------------------------------------


class Stage(Part, frozen=True, kw_only=True):
    """One stage of the train."""

    kind: str
    id: Id
    name: str


class Source(Stage, frozen=True, kw_only=True):
    """The stream, lake or well the water comes from."""


class Intake(Stage, frozen=True, kw_only=True):
    """Intake and screen."""

    screen_opening: Length | None = None
    screen_head_loss_limit: Length | None = None


class Pump(Part, frozen=True, kw_only=True):
    """One raw water pump."""

    id: Id
    name: str = ""
    rated_flow: Flow | None = None
    rated_head: Length | None = None
    power: Power | None = None


class Pumps(Stage, frozen=True, kw_only=True):
    """Pumps that stand side by side."""

    pump: tuple[Pump, ...] = ()


class Basin(Stage, frozen=True, kw_only=True):
    """A settling or pre-sedimentation basin, with baffles or without."""

    length: Length
    width: Length
    depth: Length
    baffles: Literal["none", "over_and_under", "around_the_end", "inlet"] = "none"
    compartments: Positive = 1.0  # stirred compartments in series that its flow behaves like
    weir_length: Length | None = None
    clean_out_depth: Length | None = None


class Pipe(Stage, frozen=True, kw_only=True):
    """A length of pipe, or a main that counts for contact."""

    inside_diameter: Length
    length: Length
    roughness: Annotated[float, Q("1", above=0)] | None = None  # Hazen-Williams C
    contact: bool = False
    baffling_factor: Fraction | None = None


class FlowMeter(Stage, frozen=True, kw_only=True):
    """The plant's flow meter."""

    channel: str = "plant_flow"


class DayTank(Part, frozen=True, kw_only=True):
    """The upright round tank that a feed pump draws from."""

    diameter: Length
    height: Length | None = None
    full: Length
    low: Level | None = None
    dilution: Annotated[float, Q("1", low=1)] | None = None  # volumes of mixed solution made of one volume of product


class Calibration(Part, frozen=True, kw_only=True):
    """Drawdown calibration of a feed pump: what it delivered at which setting."""

    unit: str  # of the setting
    date: date
    points: tuple[tuple[float, float], ...]  # (setting [1], feed rate [m^3/s]), rising


class Feed(Stage, frozen=True, kw_only=True):
    """A chemical feed. What its dose counts (`basis`) has no default."""

    role: Literal["coagulant", "disinfectant", "other"]
    product: str
    basis: Literal["product", "Al2O3", "Al", "Cl2"]
    density: Density
    al2o3: Fraction | None = None  # share of Al2O3 by weight
    basicity: Fraction | None = None
    strength: Fraction | None = None  # share of the active substance
    strength_basis: Literal["weight_per_weight", "weight_per_volume"] | None = None
    dilutable: bool = False
    day_tank: DayTank
    calibration: Calibration | None = None
    dose_table: tuple[tuple[float, float], ...] = ()  # (raw turbidity [NTU], dose [g/m^3]), rising
    target_residual: Dose | None = None
    hazard: Literal["corrosive", "oxidiser", "none"] = "none"


class Mixer(Stage, frozen=True, kw_only=True):
    """A flash mixer: stirred (power and volume) or in line (head loss and volume)."""

    type: Literal["stirred", "in_line"]
    volume: Volume
    power: Power | None = None
    efficiency: Fraction | None = None
    head_loss: Length | None = None
    head_loss_flow: Flow | None = None


class Compartment(Part, frozen=True, kw_only=True):
    """A compartment of the flocculation, or several alike side by side."""

    id: Id
    name: str
    volume: Volume
    parallel: Annotated[int, Q("1", low=1)] = 1
    head_loss: Length | None = None  # across it, measured at head_loss_flow
    head_loss_flow: Flow | None = None
    power: Power | None = None
    efficiency: Fraction | None = None


class Flocculation(Stage, frozen=True, kw_only=True):
    """Compartments in the order the water takes them."""

    stages: tuple[Compartment, ...]


class Blowdown(Part, frozen=True, kw_only=True):
    """Sludge let off at times."""

    volume: Volume
    every: Duration


class Clarifier(Stage, frozen=True, kw_only=True):
    """An upflow or horizontal clarifier."""

    area: Area
    depth: Length
    weir_length: Length | None = None
    compartments: Positive = 1.0
    blowdown: Blowdown | None = None


class Layer(Part, frozen=True, kw_only=True):
    """A layer of filter media, counted from the top."""

    media: str
    depth: Length
    effective_size: Length
    uniformity: Annotated[float, Q("1", low=1)]
    density: Density
    sphericity: Annotated[float, Q("1", above=0, high=1)]
    porosity: Annotated[float, Q("1", above=0, high=1)]
    support: bool = False  # not meant to fluidise


class Filter(Part, frozen=True, kw_only=True):
    """One filter: length and width, or diameter, or area; its layers from the top."""

    id: Id
    name: str
    length: Length | None = None
    width: Length | None = None
    diameter: Length | None = None
    area: Area | None = None
    water_depth: Length | None = None  # above the media
    same_as: str | None = None
    layer: tuple[Layer, ...] = ()


class Backwash(Part, frozen=True, kw_only=True):
    """How the filters are washed. `source` and `destination` name a stage, or "sewer" or "lagoon"."""

    source: str | None = None
    pump_flow: Flow | None = None
    rate: FilterRate | None = None
    duration: Duration | None = None
    filter_to_waste: Duration | None = None
    freeboard: Length | None = None  # from the top of the media to the trough
    surface_wash: bool = False
    destination: str = "sewer"


class Filters(Stage, frozen=True, kw_only=True):
    """Filters side by side."""

    backwash: Backwash | None = None
    terminal_head_loss: Length | None = None
    trigger_turbidity: Turbidity | None = None
    max_run: Duration | None = None
    filter: tuple[Filter, ...]


class Tracer(Part, frozen=True, kw_only=True):
    """Result of a tracer test."""

    t10: Duration
    flow: Flow
    level: Level | None = None


class Contact(Stage, frozen=True, kw_only=True):
    """A tank that counts for contact: its baffling factor or tracer test as the State accepted it."""

    volume: Volume
    area: Area | None = None
    full_level: Length | None = None
    low_level: Level | None = None
    baffling_factor: Annotated[float, Q("1", above=0, high=1)] | None = None
    tracer: Tracer | None = None
    level_channel: str | None = None


class Storage(Stage, frozen=True, kw_only=True):
    """A tank for the village, with its reserve: 20 psi at the highest service and fire storage."""

    diameter: Length | None = None
    area: Area | None = None
    full_level: Length
    low_level: Level | None = None
    base_elevation: Elevation | None = None
    highest_service: Elevation | None = None  # ground level of the highest customer
    fire_reserve: Volume | None = None
    level_channel: str | None = None
    compartments: Positive = 1.0


STAGES: dict[str, type[Stage]] = {
    "source": Source,
    "intake": Intake,
    "pumps": Pumps,
    "basin": Basin,
    "pipe": Pipe,
    "flow_meter": FlowMeter,
    "feed": Feed,
    "mixer": Mixer,
    "flocculation": Flocculation,
    "clarifier": Clarifier,
    "filters": Filters,
    "contact": Contact,
    "storage": Storage,
}


# --- what the State and the operator laid down -------------------------------------------------------------------


class Permit(Part, frozen=True, kw_only=True):
    """Terms of the permit. Credits are those the State assigned; none is assumed."""

    number: str = ""
    treatment: Literal["conventional", "direct", "slow_sand", "diatomaceous_earth", "alternative"] = "conventional"
    giardia_required: Logs | None = None
    virus_required: Logs | None = None
    giardia_credit: Logs | None = None
    virus_credit: Logs | None = None
    effluent_monitored: Literal["combined", "individual"] = "combined"
    individual_filters: bool = False
    entry_residual_min: Dose | None = None
    residual_max: Dose | None = None
    contact_time_tables_confirmed: str = ""  # who compared the contact-time tables with the regulation, and when


class WetWeather(Part, frozen=True, kw_only=True):
    """The sewer's limit while the day's rain is above `above_rain`."""

    limit_flow: Flow
    above_rain: Level


class Sewer(Part, frozen=True, kw_only=True):
    """What the sewer takes of backwash water."""

    limit_flow: Flow | None = None
    limit_solids: Annotated[float, Q("kg/s", above=0)] | None = None
    wet_weather: WetWeather | None = None


class Action(Part, frozen=True, kw_only=True):
    """One of the operator's own action levels, in the channel's inside unit."""

    channel: str
    do: Literal["hold", "filter_to_waste", "stop"]
    above: float | None = None
    below: float | None = None


class Shutdown(Part, frozen=True, kw_only=True, rename={"lasting": "for"}):
    """What the plant's own controls do by themselves."""

    channel: str
    above: float | None = None
    below: float | None = None
    lasting: Annotated[float, Q("s", low=0)] | None = None


class Telephone(Part, frozen=True, kw_only=True):
    """Whom to call."""

    name: str
    number: str
    when: str = ""


class Backup(Part, frozen=True, kw_only=True):
    """A place that copies of the records are kept in."""

    place: str
    removable: bool = False


class Records(Part, frozen=True, kw_only=True):
    """Where the records lie, when not in the plant's folder: a database on a server, and the schema in it."""

    database: str = ""  # postgresql://..., or $NAME of an environment variable that holds the address
    schema: str = ""


class Channel(Part, frozen=True, kw_only=True):
    """One thing that is measured. `unit` is the unit people write it in, `inside` the one it is kept in."""

    id: Id
    name: str
    unit: str
    inside: str
    low: float | None = None
    high: float | None = None
    stale_after: float | None = None  # [s]
    interval: float | None = None  # of the logger [s]
    instrument: str = ""


class Plant(msgspec.Struct, frozen=True, kw_only=True, dict=True):
    """A plant as its file describes it."""

    name: str
    system_id: str
    time_zone: str
    unit_set: Literal["US", "SI"]
    source_water: str = ""
    population: int | None = None
    connections: int | None = None
    design_flow: float | None = None
    altitude: float | None = None
    demo: bool = False
    stages: tuple[Any, ...]
    permit: Permit | None = None
    sewer: Sewer | None = None
    action: tuple[Action, ...] = ()
    shutdown: tuple[Shutdown, ...] = ()
    telephone: tuple[Telephone, ...] = ()
    backup: tuple[Backup, ...] = ()
    records: Records = Records()
    channels: Mapping[str, Channel]
    entries: Mapping[str, tuple[float, str, str]]  # path -> (value inside, inside unit, text as written)

    @cached_property
    def zone(self) -> ZoneInfo:
        """The plant's time zone."""
        return ZoneInfo(self.time_zone)

    @cached_property
    def filters(self) -> tuple[Filter, ...]:
        """Every filter of the train."""
        return tuple(f for stage in self.stages if isinstance(stage, Filters) for f in stage.filter)

    @cached_property
    def feeds(self) -> tuple[Feed, ...]:
        """Every chemical feed, in the order of the train."""
        return tuple(stage for stage in self.stages if isinstance(stage, Feed))

    def stage(self, id: str) -> Any:
        """Return a stage by its id; KeyError when there is none."""
        for stage in self.stages:
            if stage.id == id:
                return stage
        raise KeyError(id)

    def known(self, path: str) -> Known:
        """Return the quantity at `path` with the entry it came from: ``plant.known("train.clearwell.volume")``.

        A stage, filter or flocculation compartment is named by its id; members of other lists by their place from 0:
        ``train.filter_1.layer.0.depth``, ``action.0.above``. KeyError when the file does not give it.
        """
        return entry_known(self.entries, path)

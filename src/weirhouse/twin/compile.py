"""What does the train of a plant file look like to the simulation? Frozen arrays, in the order the water takes them.

Any order that a plant file allows compiles. What the simulation leaves out of a train is said in `Compiled.notes`.
"""

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from weirhouse.plant.model import (
    Backwash,
    Basin,
    Clarifier,
    Contact,
    Feed,
    Filter,
    Filters,
    Flocculation,
    Layer,
    Mixer,
    Pipe,
    Plant,
    Stage,
    Storage,
)
from weirhouse.science.basins import circle_area
from weirhouse.science.feed import active_per_volume, aluminium_dose
from weirhouse.science.fluidisation import bed_rise
from weirhouse.science.head_loss import grain_size_90, layered_bed_head_loss, mean_grain_size
from weirhouse.science.passage import tanks_for_baffling
from weirhouse.science.pipes import pipe_volume
from weirhouse.science.storage import level_for_pressure, reserve_level
from weirhouse.twin import layout as at

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
GRADED = 0.2  # a layer's coefficient is this much above its mean at its top and below it at its bottom: 60 to 40
CELL_DEPTH = 0.15  # [m]
MOST_CELLS = 12
WASH_RATE = 36.7 / 3600  # where the plant file gives none: 15 gpm/ft2 [m/s]
BOX_DEPTH = 0.6  # where the plant file gives neither freeboard nor water depth [m]
# coefficient at the reference rate [1/m] and full deposit [g/m^3] of anthracite, fine sand, coarse sand (memory)
ANTHRACITE, FINE_SAND, COARSE_SAND = (3.0, 4000.0), (8.0, 6000.0), (2.0, 3000.0)


class Train(NamedTuple):
    """The train as numbers. E elements and C stirred cells ahead of the filters, P pipes, K clarifiers, N feeds,
    F filters of J cells, T tanks behind them with their own cells."""

    kind: Ints  # (E,)
    first: Ints  # (E,) place of its first cell, pipe, feed
    number: Ints  # (E,) of its cells
    clarifier: Ints  # (E,) place among the clarifiers, -1 else
    coagulated: Ints  # (E,) 1 behind the coagulant feed
    chlorinated: Ints  # (E,) 1 behind a disinfectant feed
    cell_volume: Floats  # (C,) [m^3]
    cell_area: Floats  # (C,) [m^2]
    cell_head: Floats  # (C,) head loss [m] measured at
    cell_head_flow: Floats  # (C,) this flow [m^3/s], 0 without one
    cell_power: Floats  # (C,) stirring power that reaches the water [W]
    cell_basin: Floats  # (C,) 1 where dead corners shorten the volume
    clarifier_area: Floats  # (K,) [m^2]
    clarifier_depth: Floats  # (K,) of the blanket's room [m], 0 where none forms
    blowdown_volume: Floats  # (K,) [m^3]
    blowdown_every: Floats  # (K,) of running [s]
    pipe_volume: Floats  # (P,) [m^3]; pipes ahead of the filters first, then those behind
    feed_role: Ints  # (N,)
    feed_aluminium: Floats  # (N,) aluminium in one part of the dose [g/g]
    feed_content: Floats  # (N,) what the dose counts in the solution of the day tank [g/m^3], inf unknown
    feed_full: Floats  # (N,) day tank [m^3]
    feed_low: Floats  # (N,) where the pump draws air [m^3]
    feed_basicity: Floats  # (N,)
    least_aluminium_ph: Floats  # (1,) pH of least dissolved aluminium at 20 degC
    has_flocculation: Ints  # (1,)
    filter_area: Floats  # (F,) [m^2]
    filter_box: Floats  # (F,) depth of water over the media [m]
    filter_pore: Floats  # (F,) depth of water in the media [m]
    filter_resistance: Floats  # (F,) clean bed at 20 degC, head loss over rate [s]
    filter_turbulent: Floats  # (F,) head loss over rate squared [s^2/m]
    wash_rate: Floats  # (F,) [m/s]
    layer_cells: Ints  # (F,)
    depth: Floats  # (F, J) [m]
    coefficient: Floats  # (F, J) [1/m]
    full_deposit: Floats  # (F, J) [g/m^3]
    grain_90: Floats  # (F, J) [m]
    grain_density: Floats  # (F, J) [kg/m^3]
    after_kind: Ints  # (A,) elements behind the filters
    after_index: Ints  # (A,)
    tank_full: Floats  # (T,) [m^3]
    tank_area: Floats  # (T,) [m^2]
    tank_keep: Floats  # (T,) volume a tank between is brought back to [m^3]
    tank_reserve: Floats  # (T,) [m^3]
    tank_first: Ints  # (T,) place of its first cell
    tank_cells: Ints  # (T,)
    wash_source: Ints  # (1,) tank the wash water comes from, -1 its own supply
    design_flow: Floats  # (1,) [m^3/s]


@dataclass(frozen=True, slots=True)
class Compiled:
    """A plant as the simulation takes it: numbers, names in the same order, and what it leaves out."""

    plant: str
    train: Train
    elements: tuple[str, ...]  # ids ahead of the filters
    filters: tuple[str, ...]
    feeds: tuple[str, ...]
    tanks: tuple[str, ...]
    clarifiers: tuple[str, ...]
    terminal_head_loss: float  # [m], inf where none is given
    trigger_turbidity: float  # [NTU], inf where none is given
    max_run: float  # [s], inf where none is given
    wash_duration: float  # [s]
    filter_to_waste: float  # [s]
    dose_table: tuple[tuple[float, float], ...]  # of the first coagulant (raw turbidity, dose as it counts)
    target_residual: float  # [g/m^3], NaN where none is given
    notes: tuple[str, ...]

    @property
    def digest(self) -> str:
        """A digest of every number: two plants with the same one behave alike."""
        return digest(self.train)


def digest(*groups: Any) -> str:
    """Return the SHA-256 of named tuples of arrays, field by field."""
    made = hashlib.sha256()
    for group in groups:
        for name, value in zip(group._fields, group, strict=True):
            array = np.ascontiguousarray(value)
            made.update(f"{name}:{array.dtype.str}:{array.shape};".encode())
            made.update(array.tobytes())
    return made.hexdigest()


class _Collected:
    """Lists that grow as the train is walked."""

    def __init__(self) -> None:
        self.kind: list[int] = []
        self.first: list[int] = []
        self.count: list[int] = []
        self.clarifier: list[int] = []
        self.coagulated: list[int] = []
        self.chlorinated: list[int] = []
        self.ids: list[str] = []
        self.cells: list[tuple[float, float, float, float, float, float]] = []
        self.clarifiers: list[tuple[float, float, float, float]] = []
        self.clarifier_ids: list[str] = []
        self.pipes: list[float] = []
        self.feeds: list[Feed] = []
        self.notes: list[str] = []

    def element(self, stage: Stage, kind: int, first: int, count: int, after: tuple[bool, bool], k: int = -1) -> None:
        self.kind.append(kind)
        self.first.append(first)
        self.count.append(count)
        self.clarifier.append(k)
        self.coagulated.append(int(after[0]))
        self.chlorinated.append(int(after[1]))
        self.ids.append(stage.id)

    def stirred(self, stage: Stage, kind: int, cells: Sequence[tuple[float, ...]], after: tuple[bool, bool]) -> None:
        first = len(self.cells)
        self.cells += [(*cell, *(0.0,) * (6 - len(cell))) for cell in cells]  # type: ignore[misc]
        self.element(stage, kind, first, len(cells), after)


def compile_plant(plant: Plant, *, wash_rate: float | None = None, graded: float = GRADED) -> Compiled:
    """Return the train of a plant as frozen arrays.

    Parameters
    ----------
    plant : a plant as its file describes it; any order of stages, any of them missing.
    wash_rate : rate of the backwash; the plant file's, or 15 gpm/ft2, where None. [m/s]
    graded : how much a layer's coefficient lies above its mean at its top, and below it at its bottom. [1]
    """
    ahead, bank, behind = _split(plant)
    got = _Collected()
    coagulants = [s for s in ahead if isinstance(s, Feed) and s.role == "coagulant"]
    if not coagulants:
        got.notes.append("No coagulant is fed ahead of the filters: they are simulated as in well coagulated water.")
    if len(coagulants) > 1:
        got.notes.append(f"All coagulants act at {coagulants[0].name}, where the first one is fed.")
    if plant.permit is not None and plant.permit.treatment in ("slow_sand", "diatomaceous_earth"):
        got.notes.append("The filters are simulated as rapid filters; that does not hold for this plant's.")
    _walk_ahead(got, ahead)
    after_kind, after_index, tanks = _walk_behind(got, behind)
    return _assemble(plant, got, bank, after_kind, after_index, tanks, wash_rate, graded)


def _split(plant: Plant) -> tuple[list[Stage], Filters | None, list[Stage]]:
    """Return the stages ahead of the filters, the filters, and the stages behind them."""
    stages = list(plant.stages)
    banks = [i for i, s in enumerate(stages) if isinstance(s, Filters)]
    if banks:
        return stages[: banks[-1]], stages[banks[-1]], stages[banks[-1] + 1 :]
    last = max((i for i, s in enumerate(stages) if isinstance(s, Basin | Clarifier | Flocculation | Mixer)), default=-1)
    coagulant = [i for i, s in enumerate(stages) if isinstance(s, Feed) and s.role == "coagulant"]
    last = max(last, *coagulant, -1) if coagulant else last
    tank = next((i for i, s in enumerate(stages) if i > last and isinstance(s, Contact | Storage)), len(stages))
    return stages[:tank], None, stages[tank:]


def _walk_ahead(got: _Collected, stages: list[Stage]) -> None:
    coagulated = chlorinated = False
    for stage in stages:
        after = (coagulated, chlorinated)
        if isinstance(stage, Feed):
            first_coagulant = stage.role == "coagulant" and not coagulated
            coagulated = coagulated or stage.role == "coagulant"
            chlorinated = chlorinated or stage.role == "disinfectant"
            got.feeds.append(stage)
            got.element(
                stage, at.FEED, len(got.feeds) - 1, int(first_coagulant or stage.role != "coagulant"), (coagulated,
                chlorinated),
            )  # fmt: skip
        elif isinstance(stage, Pipe):
            got.pipes.append(float(pipe_volume(stage.inside_diameter, stage.length)))
            got.element(stage, at.PIPE, len(got.pipes) - 1, 1, after)
        elif isinstance(stage, Basin):
            n, area = _compartments(stage.compartments), stage.length * stage.width
            cell = (area * stage.depth / n, area / n, 0.0, 0.0, 0.0, 1.0)
            if coagulated:
                _clarifier(got, stage, [cell] * n, after, (area, 0.0, 0.0, math.inf))
            else:
                got.stirred(stage, at.BASIN, [cell] * n, after)
        elif isinstance(stage, Clarifier):
            n = _compartments(stage.compartments)
            cell = (stage.area * stage.depth / n, stage.area / n, 0.0, 0.0, 0.0, 1.0)
            if coagulated:
                down = (stage.blowdown.volume, stage.blowdown.every) if stage.blowdown else (0.0, math.inf)
                _clarifier(got, stage, [cell] * n, after, (stage.area, stage.depth, *down))
            else:
                got.stirred(stage, at.BASIN, [cell] * n, after)
        elif isinstance(stage, Mixer):
            got.stirred(stage, at.CELLS, [(stage.volume,)], after)
        elif isinstance(stage, Flocculation):
            cells = [
                (
                    part.volume * part.parallel, 0.0, part.head_loss or 0.0, part.head_loss_flow or 0.0,
                    (part.power or 0.0) * (1.0 if part.efficiency is None else part.efficiency) * part.parallel,
                )
                for part in stage.stages
            ]  # fmt: skip
            got.stirred(stage, at.FLOCCULATION if coagulated else at.CELLS, cells, after)
            if coagulated and not any((c[2] > 0 and c[3] > 0) or c[4] > 0 for c in cells):
                got.notes.append(
                    f"{stage.name} has neither head loss nor power: no floc grows in the simulation there."
                )
        elif isinstance(stage, Contact | Storage):
            volume, _, n = _tank(stage)
            got.stirred(stage, at.CELLS, [(volume / n,)] * n, after)
            got.notes.append(f"{stage.name} stands ahead of the filters: it is simulated as always full.")
        elif isinstance(stage, Filters):
            got.notes.append(f"{stage.name}: of filters in a row only the last ones are simulated.")


def _clarifier(
    got: _Collected, stage: Stage, cells: list[tuple[float, ...]], after: tuple[bool, bool],
    measures: tuple[float, float, float, float],
) -> None:  # fmt: skip
    got.clarifiers.append(measures)
    got.clarifier_ids.append(stage.id)
    first = len(got.cells)
    got.cells += cells  # type: ignore[arg-type]
    got.element(stage, at.CLARIFIER, first, len(cells), after, len(got.clarifiers) - 1)


def _walk_behind(got: _Collected, stages: list[Stage]) -> tuple[list[int], list[int], list[Contact | Storage]]:
    kinds: list[int] = []
    places: list[int] = []
    tanks: list[Contact | Storage] = []
    for stage in stages:
        if isinstance(stage, Contact | Storage):
            tanks.append(stage)
            kinds.append(at.TANK)
            places.append(len(tanks) - 1)
        elif isinstance(stage, Pipe):
            got.pipes.append(float(pipe_volume(stage.inside_diameter, stage.length)))
            kinds.append(at.PIPE)
            places.append(len(got.pipes) - 1)
        elif isinstance(stage, Feed):
            got.feeds.append(stage)
            kinds.append(at.FEED)
            places.append(len(got.feeds) - 1)
            if stage.role == "coagulant":
                got.notes.append(f"{stage.name} is fed behind the filters: it counts as used, and acts on nothing.")
        elif isinstance(stage, Basin | Clarifier | Flocculation):
            got.notes.append(f"{stage.name} stands behind the filters and is left out.")
    return kinds, places, tanks


def _compartments(number: float) -> int:
    return min(max(round(number), 1), 12)


def _tank(stage: Contact | Storage) -> tuple[float, float, int]:
    """Return full volume [m^3], plan area [m^2] and stirred compartments of a tank."""
    if isinstance(stage, Storage):
        area = stage.area if stage.area is not None else float(circle_area(stage.diameter))
        return area * stage.full_level, area, _compartments(stage.compartments)
    tanks = tanks_for_baffling(stage.baffling_factor) if stage.baffling_factor else 1.0
    area = stage.area if stage.area is not None else stage.volume / (stage.full_level or 3.0)
    return stage.volume, area, min(_compartments(6.0 if tanks is None else tanks), 6)


def _reserve(stage: Contact | Storage, area: float, volume: float) -> float:
    """Return the volume below which a tank is never planned [m^3]."""
    level = stage.low_level or 0.0
    if isinstance(stage, Storage):
        if stage.highest_service is not None and stage.base_elevation is not None:
            level = max(level, float(level_for_pressure(stage.highest_service, stage.base_elevation)))
        if stage.fire_reserve is not None:
            level = float(reserve_level(level, stage.fire_reserve, area))
    return min(level * area, volume)


def filter_area(one: Filter) -> float:
    """Return the plan area of a filter [m^2]."""
    if one.area is not None:
        return one.area
    if one.diameter is not None:
        return float(circle_area(one.diameter))
    assert one.length is not None and one.width is not None  # the plant file was checked
    return one.length * one.width


def _media(layer: Layer) -> tuple[float, float]:
    """Return coefficient [1/m] and full deposit [g/m^3] of a layer, by weight and size of its grains."""
    if layer.density < 2000:
        return ANTHRACITE
    return COARSE_SAND if layer.support or layer.effective_size >= 0.9e-3 else FINE_SAND


def _cells(layers: tuple[Layer, ...], graded: float) -> list[tuple[float, float, float, float, float]]:
    """Return depth, coefficient, full deposit, d90 and grain density of each cell of a bed, from the top."""
    coarse = CELL_DEPTH
    while sum(max(1, round(layer.depth / coarse)) for layer in layers) > max(MOST_CELLS, len(layers)):
        coarse *= 1.25
    found = []
    for layer in layers:
        n = max(1, round(layer.depth / coarse))
        coefficient, full = _media(layer)
        d90 = float(grain_size_90(layer.effective_size, layer.uniformity))
        for i in range(n):
            place = 0.0 if n == 1 else 1 - 2 * i / (n - 1)
            found.append((layer.depth / n, coefficient * (1 + graded * place), full, d90, layer.density))
    return found


def _bed(one: Filter, rate: float) -> tuple[float, float, float, float]:
    """Return resistance [s], turbulent part [s^2/m], pore depth [m] and rise in the coldest wash [m] of a bed."""
    sizes = [float(mean_grain_size(x.effective_size, x.uniformity)) for x in one.layer]
    depths, pores = [x.depth for x in one.layer], [x.porosity for x in one.layer]
    round_ = [x.sphericity for x in one.layer]
    slow, fast = (float(layered_bed_head_loss(u, 20.0, depths, sizes, pores, round_)) for u in (1e-3, 2e-3))
    turbulent = (fast / 2e-3 - slow / 1e-3) / 1e-3
    moving = [(x, s) for x, s in zip(one.layer, sizes, strict=True) if not x.support]
    rise = float(
        bed_rise(
            rate, 0.0, [x.depth for x, _ in moving], [s for _, s in moving], [x.porosity for x, _ in moving],
            [x.sphericity for x, _ in moving], [x.density for x, _ in moving],
        )
    )  # fmt: skip
    return slow / 1e-3 - turbulent * 1e-3, turbulent, sum(x.depth * x.porosity for x in one.layer), rise


def _feed_content(feed: Feed) -> float:
    """Return what the dose counts in a volume of the day tank's solution [g/m^3]."""
    thinned = feed.day_tank.dilution or 1.0
    if feed.role == "coagulant" and feed.al2o3 is not None:
        per_product = 1.0 if feed.basis == "product" else feed.al2o3 * (1.0 if feed.basis == "Al2O3" else 0.52925)
        return 1000 * feed.density * per_product / thinned
    if feed.role == "disinfectant" and feed.strength is not None:
        by_volume = feed.strength_basis == "weight_per_volume"
        content = 1000.0 * feed.strength if by_volume else float(active_per_volume(feed.strength, feed.density))
        return 1000 * content / thinned
    return 1000 * feed.density / thinned


def _volume(level: float | None, diameter: float) -> float:
    return (level or 0.0) * math.pi / 4 * diameter**2


def _assemble(
    plant: Plant, got: _Collected, bank: Filters | None, after_kind: list[int], after_index: list[int],
    tanks: list[Contact | Storage], wash_rate: float | None, graded: float,
) -> Compiled:  # fmt: skip
    filters = bank.filter if bank is not None else ()
    wash = (bank.backwash if bank is not None else None) or Backwash()
    areas = [filter_area(one) for one in filters]
    rates = [wash_rate or wash.rate or (wash.pump_flow / area if wash.pump_flow else WASH_RATE) for area in areas]
    beds = [_bed(one, rate) for one, rate in zip(filters, rates, strict=True)]
    cells = [_cells(one.layer, graded) for one in filters]
    j = max((len(c) for c in cells), default=0)

    def layer(place: int, fill: float) -> Floats:
        return _floats([[cell[place] for cell in c] + [fill] * (j - len(c)) for c in cells], (len(filters), j))

    box = [wash.freeboard or one.water_depth or BOX_DEPTH for one in filters]
    for one, (*_, rise), depth in zip(filters, beds, box, strict=True):
        if rise > depth:
            got.notes.append(
                f"{one.name}: a cold wash lifts the bed above the trough and would lose media; here it loses none."
            )
    sized = [_tank(t) for t in tanks]
    kept = [_reserve(t, a, v) for t, (v, a, _) in zip(tanks, sized, strict=True)]
    ids = [t.id for t in tanks]
    source = ids.index(wash.source) if wash.source in ids else (-1 if wash.source else len(ids) - 1)
    if filters and wash.source is not None and wash.source not in ids:
        got.notes.append("Wash water comes from no tank behind the filters: it is counted, and drawn from none.")
    coagulants = [f for f in got.feeds if f.role == "coagulant"]
    disinfectants = [f for f in got.feeds if f.role == "disinfectant"]
    columns = list(zip(*got.cells, strict=True)) or [()] * 6
    down = list(zip(*got.clarifiers, strict=True)) or [()] * 4
    design = plant.design_flow or (sum(areas) * at.REFERENCE_RATE if areas else 0.01)
    train = Train(
        kind=_ints(got.kind), first=_ints(got.first), number=_ints(got.count), clarifier=_ints(got.clarifier),
        coagulated=_ints(got.coagulated), chlorinated=_ints(got.chlorinated),
        cell_volume=_floats(columns[0]), cell_area=_floats(columns[1]), cell_head=_floats(columns[2]),
        cell_head_flow=_floats(columns[3]), cell_power=_floats(columns[4]), cell_basin=_floats(columns[5]),
        clarifier_area=_floats(down[0]), clarifier_depth=_floats(down[1]), blowdown_volume=_floats(down[2]),
        blowdown_every=_floats(down[3]), pipe_volume=_floats(got.pipes),
        feed_role=_ints([{"coagulant": at.COAGULANT, "disinfectant": at.DISINFECTANT}.get(f.role, at.OTHER)
                         for f in got.feeds]),
        feed_aluminium=_floats([
            float(aluminium_dose(1.0, f.al2o3, f.basis)) if f.role == "coagulant" and f.al2o3 and f.basis != "Cl2"
            else 0.0 for f in got.feeds
        ]),
        feed_content=_floats([_feed_content(f) for f in got.feeds]),
        feed_full=_floats([_volume(f.day_tank.full, f.day_tank.diameter) for f in got.feeds]),
        feed_low=_floats([_volume(f.day_tank.low, f.day_tank.diameter) for f in got.feeds]),
        feed_basicity=_floats([f.basicity or 0.0 for f in got.feeds]),
        least_aluminium_ph=_floats([_least_ph(coagulants)]),
        has_flocculation=_ints([int(at.FLOCCULATION in got.kind)]),
        filter_area=_floats(areas), filter_box=_floats(box), filter_pore=_floats([b[2] for b in beds]),
        filter_resistance=_floats([b[0] for b in beds]), filter_turbulent=_floats([b[1] for b in beds]),
        wash_rate=_floats(rates), layer_cells=_ints([len(c) for c in cells]),
        depth=layer(0, 0.0), coefficient=layer(1, 0.0), full_deposit=layer(2, 1.0), grain_90=layer(3, 1.0),
        grain_density=layer(4, 2650.0),
        after_kind=_ints(after_kind), after_index=_ints(after_index),
        tank_full=_floats([v for v, _, _ in sized]), tank_area=_floats([a for _, a, _ in sized]),
        tank_keep=_floats([0.9 * v for v, _, _ in sized]), tank_reserve=_floats(kept),
        tank_first=_ints(np.concatenate(([0], np.cumsum([n for _, _, n in sized])))[: len(sized)]),
        tank_cells=_ints([n for _, _, n in sized]), wash_source=_ints([source]), design_flow=_floats([design]),
    )  # fmt: skip
    for array in train:
        array.flags.writeable = False
    first = coagulants[0] if coagulants else None
    return Compiled(
        plant=plant.name, train=train, elements=tuple(got.ids), filters=tuple(f.id for f in filters),
        feeds=tuple(f.id for f in got.feeds), tanks=tuple(ids), clarifiers=tuple(got.clarifier_ids),
        terminal_head_loss=_or_inf(bank.terminal_head_loss if bank else None),
        trigger_turbidity=_or_inf(bank.trigger_turbidity if bank else None),
        max_run=_or_inf(bank.max_run if bank else None),
        wash_duration=wash.duration or 600.0, filter_to_waste=wash.filter_to_waste or 0.0,
        dose_table=first.dose_table if first is not None else (),
        target_residual=next((f.target_residual for f in disinfectants if f.target_residual), math.nan),
        notes=tuple(got.notes),
    )  # fmt: skip


def _least_ph(coagulants: list[Feed]) -> float:
    """Return the pH of least dissolved aluminium at 20 degC by the kind of product (Pernitsky and Edzwald 2003)."""
    basicity = (coagulants[0].basicity or 0.0) if coagulants else 0.5
    return 6.0 if basicity < 0.1 else 6.3 if basicity < 0.78 else 6.7


def _or_inf(value: float | None) -> float:
    return math.inf if value is None else value


def _ints(values: Any) -> Ints:
    return np.array(values, dtype=np.int64)


def _floats(values: Any, shape: tuple[int, int] | None = None) -> Floats:
    array = np.array(values, dtype=np.float64)
    if shape is None:
        return array
    return array.reshape(shape) if array.size else np.zeros((shape[0], max(shape[1], 0)))

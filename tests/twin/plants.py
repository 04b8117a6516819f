"""Plants for the tests of the simulation: any order that the plant file allows, with stages missing and doubled."""

import math
from typing import Any

import numpy as np

from weirhouse.plant.model import (
    Backwash,
    Basin,
    Blowdown,
    Clarifier,
    Compartment,
    Contact,
    DayTank,
    Feed,
    Filter,
    Filters,
    Flocculation,
    Layer,
    Mixer,
    Pipe,
    Plant,
    Source,
    Stage,
    Storage,
)

LAYERS = (
    Layer(media="anthracite", depth=0.45, effective_size=1.0e-3, uniformity=1.5, density=1650.0, sphericity=0.65,
          porosity=0.55),
    Layer(media="sand", depth=0.25, effective_size=0.5e-3, uniformity=1.5, density=2650.0, sphericity=0.8,
          porosity=0.43),
    Layer(media="coarse sand", depth=0.15, effective_size=1.2e-3, uniformity=1.6, density=2650.0, sphericity=0.8,
          porosity=0.43, support=True),
)  # fmt: skip


def plant(*stages: Stage, design_flow: float = 0.009, name: str = "Trial") -> Plant:
    """Return a plant of these stages."""
    return Plant(
        name=name, system_id="T-1", time_zone="UTC", unit_set="SI", stages=(_source(), *stages), channels={},
        entries={}, design_flow=design_flow,
    )  # fmt: skip


def _source() -> Source:
    return Source(kind="source", id="creek", name="Creek")


def basin(id: str = "basin", n: int = 3, length: float = 12.0, width: float = 3.6, depth: float = 2.4) -> Basin:
    return Basin(kind="basin", id=id, name=id, length=length, width=width, depth=depth, compartments=float(n))


def pipe(id: str = "line", diameter: float = 0.1, length: float = 80.0, contact: bool = False) -> Pipe:
    return Pipe(kind="pipe", id=id, name=id, inside_diameter=diameter, length=length, contact=contact)


def coagulant(id: str = "coagulant", level: float = 0.7, low: float = 0.1, **more: Any) -> Feed:
    given: dict[str, Any] = {
        "basis": "product", "density": 1360.0, "al2o3": 0.17, "basicity": 0.43,
        "dose_table": ((2.0, 12.0), (20.0, 22.0), (200.0, 45.0)),
    }  # fmt: skip
    return Feed(kind="feed", id=id, name=id, role="coagulant", product="PACl",
                day_tank=DayTank(diameter=0.55, full=level, low=low), **(given | more))  # fmt: skip


def chlorine(id: str = "chlorine", level: float = 0.7) -> Feed:
    return Feed(
        kind="feed", id=id, name=id, role="disinfectant", product="hypochlorite", basis="Cl2", density=1200.0,
        strength=0.125, strength_basis="weight_per_volume", dilutable=True, target_residual=1.2,
        day_tank=DayTank(diameter=0.45, full=level, low=0.05, dilution=4.0),
    )  # fmt: skip


def other(id: str = "soda") -> Feed:
    return Feed(kind="feed", id=id, name=id, role="other", product="soda ash", basis="product", density=1050.0,
                day_tank=DayTank(diameter=0.5, full=0.6, low=0.05))  # fmt: skip


def mixer(id: str = "mixer", volume: float = 0.23) -> Mixer:
    return Mixer(kind="mixer", id=id, name=id, type="stirred", volume=volume, power=370.0)


def flocculation(id: str = "floc", sizes: tuple[tuple[float, int], ...] = ((3.4, 1), (4.2, 2), (9.8, 1)),
                 powered: bool = False) -> Flocculation:  # fmt: skip
    parts = tuple(
        Compartment(id=f"{id}_{i}", name=f"{id} {i}", volume=v, parallel=n, head_loss=None if powered else 0.02,
                    head_loss_flow=None if powered else 0.009, power=3.0 if powered else None,
                    efficiency=0.7 if powered else None)
        for i, (v, n) in enumerate(sizes)
    )  # fmt: skip
    return Flocculation(kind="flocculation", id=id, name=id, stages=parts)


def clarifier(id: str = "clarifier", area: float = 18.6, n: int = 3, every: float | None = 43200.0) -> Clarifier:
    down = None if every is None else Blowdown(volume=0.83, every=every)
    return Clarifier(kind="clarifier", id=id, name=id, area=area, depth=3.6, compartments=float(n), blowdown=down)


def filters(n: int = 2, area: float = 3.25, layers: tuple[Layer, ...] = LAYERS, source: str | None = None,
            **more: Any) -> Filters:  # fmt: skip
    wash = Backwash(source=source, rate=0.0102, duration=540.0, filter_to_waste=1200.0, freeboard=0.66)
    given = {"terminal_head_loss": 2.1, "trigger_turbidity": 0.2, "max_run": 259200.0} | more
    bank = tuple(Filter(id=f"filter_{i + 1}", name=f"Filter {i + 1}", area=area, layer=layers) for i in range(n))
    return Filters(kind="filters", id="filters", name="Filters", backwash=wash, filter=bank, **given)


def clearwell(id: str = "clearwell", volume: float = 90.0) -> Contact:
    return Contact(kind="contact", id=id, name=id, volume=volume, area=30.0, full_level=3.0, low_level=1.2,
                   baffling_factor=0.5)  # fmt: skip


def hill(id: str = "hill_tank", full: float = 7.0) -> Storage:
    return Storage(kind="storage", id=id, name=id, area=65.0, full_level=full, low_level=1.8, fire_reserve=113.0)


def usual() -> Plant:
    """Return a whole train: basin, line, coagulant, floc, clarifier, two filters, chlorine, clearwell, main, tank."""
    return plant(
        basin(), pipe(), coagulant(), mixer(), flocculation(), clarifier(), filters(source="clearwell"), chlorine(),
        clearwell(), pipe("main", 0.15, 580.0, contact=True), hill(),
    )  # fmt: skip


def at_random(seed: int) -> Plant:
    """Return a plant drawn at random: stages missing, doubled and in any order, one to four filters or none."""
    rng = np.random.default_rng(seed)

    def maybe(share: float) -> bool:
        return bool(rng.random() < share)

    ahead: list[Stage] = []
    if maybe(0.6):
        ahead.append(basin(n=int(rng.integers(1, 6)), length=float(rng.uniform(4, 14))))
    if maybe(0.2):
        ahead.append(basin("second_basin", n=2, length=6.0))
    if maybe(0.7):
        ahead.append(pipe(diameter=float(rng.uniform(0.05, 0.3)), length=float(rng.uniform(5, 900))))
    if maybe(0.3):
        ahead.append(chlorine("before", level=float(rng.uniform(0.06, 0.6))))
    if maybe(0.85):
        ahead.append(coagulant(level=float(rng.uniform(0.12, 0.8))))
    if maybe(0.2):
        ahead.append(coagulant("second", al2o3=0.083, basicity=0.0, basis="Al2O3", density=1330.0, dose_table=()))
    if maybe(0.2):
        ahead.append(other())
    if maybe(0.6):
        ahead.append(mixer())
    if maybe(0.7):
        sizes = tuple((float(rng.uniform(1, 10)), int(rng.integers(1, 4))) for _ in range(int(rng.integers(1, 5))))
        ahead.append(flocculation(sizes=sizes, powered=maybe(0.4)))
    if maybe(0.7):
        ahead.append(clarifier(area=float(rng.uniform(8, 40)), n=int(rng.integers(1, 5)),
                               every=None if maybe(0.3) else float(rng.uniform(1200, 9000))))  # fmt: skip
    if maybe(0.2):
        ahead.append(clearwell("contact_ahead", 20.0))
    if maybe(0.35):
        rng.shuffle(ahead)  # type: ignore[arg-type]
    behind: list[Stage] = []
    if maybe(0.8):
        behind.append(chlorine())
    if maybe(0.7):
        behind.append(clearwell())
    if maybe(0.6):
        behind.append(pipe("main", 0.15, float(rng.uniform(20, 900)), contact=True))
    if maybe(0.3):
        behind.append(chlorine("booster"))
    if maybe(0.7):
        behind.append(hill())
    if maybe(0.15):
        behind.append(hill("far_tank", 3.0))
    if maybe(0.3):
        rng.shuffle(behind)  # type: ignore[arg-type]
    sources = [s.id for s in behind if isinstance(s, Contact | Storage)] + [None]
    bank: list[Stage] = []
    count = int(rng.integers(0, 5))
    if count:
        layers = LAYERS if maybe(0.6) else LAYERS[1:2]
        source = sources[int(rng.integers(len(sources)))]
        bank.append(
            filters(count, area=6.5 / count, layers=layers, source=source, max_run=float(rng.choice([1800, math.inf])))
        )
    return plant(*ahead, *bank, *behind, name=f"Trial {seed}")

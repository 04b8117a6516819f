"""Units at the present flow and temperature: figures by hand, published ranges, what is missing."""

import math
from pathlib import Path

import pytest
from tests.desk.scene import PLANT_FILE, Scene

from weirhouse.desk.basins import basins
from weirhouse.desk.model import Advice
from weirhouse.plant.item import AS_BUILT, MEANING, Item
from weirhouse.plant.ranges import design, design_ranges
from weirhouse.plant.units import WORKS
from weirhouse.quantity import convert, fits
from weirhouse.situation.at import at
from weirhouse.working import Known

FOOT, GALLON = 0.3048, 231 * 0.0254**3
CHANNELS = ("plant_flow", "raw_temperature")  # what the lines stand on: the rest of the week is left out


def lines(scene: Scene) -> dict[str, Advice]:
    with scene.build() as store:
        return {line.id: line for line in basins(at(store, scene.plant, scene.now))}


def figures(line: Advice) -> dict[str, float | None]:
    return {f.title: f.value for f in line.figures}


def flowing(scene: Scene, gpm: float) -> Scene:
    """Run the whole week at a flow, on a meter that breathes a little."""
    return scene.each("plant_flow", lambda r: r.value * gpm / 140)


@pytest.fixture
def scene(tmp_path: Path) -> Scene:
    return Scene(tmp_path / "plant").quiet(CHANNELS)


def test_units_by_hand(scene):
    """The week's flow is 140 gpm and its temperature 55 degF, each with a ripple of under 1 percent."""
    found = lines(scene)
    assert set(found) == {f"unit_{stage.id}" for stage in scene.plant.stages if type(stage) in WORKS}
    flow = 140 * GALLON / 60
    basin = figures(found["unit_settling_basin"])
    assert basin["Detention time"] == pytest.approx(40 * 12 * 8 * FOOT**3 / flow, rel=0.01)
    assert basin["Overflow rate"] == pytest.approx(flow / (40 * 12 * FOOT**2), rel=0.01)
    assert basin["Mean velocity"] == pytest.approx(flow / (12 * 8 * FOOT**2), rel=0.01)
    assert basin["Weir loading"] == pytest.approx(flow / (12 * FOOT), rel=0.01)
    clarifier = figures(found["unit_clarifier"])
    assert clarifier["Detention time"] == pytest.approx(200 * 12 * FOOT**3 / flow, rel=0.01)
    assert convert(clarifier["Rise rate"], "m/s", "gpm/ft^2") == pytest.approx(0.7, rel=0.01)
    pipe = figures(found["unit_raw_line"])
    section = math.pi / 4 * (4.03 * FOOT / 12) ** 2
    assert pipe["Velocity"] == pytest.approx(flow / section, rel=0.01)
    assert pipe["Time in the pipe"] == pytest.approx(260 * FOOT * section / flow, rel=0.01)


def test_mixing_by_hand(scene):
    """Viscosity of water at 55 degF (12.8 degC): 1.207e-3 Pa s, interpolated in print between 10 and 15 degC."""
    found, mu, flow = lines(scene), 1.207e-3, 140 * GALLON / 60
    mixer = figures(found["unit_flash_mixer"])
    gradient = math.sqrt(0.5 * 745.7 * 0.75 / (mu * 60 * GALLON))
    assert mixer["Detention time"] == pytest.approx(60 * GALLON / flow, rel=0.01)
    assert mixer["Velocity gradient G"] == pytest.approx(gradient, rel=0.01)
    assert mixer["G·t"] == pytest.approx(gradient * 60 * GALLON / flow, rel=0.01)
    floc = figures(found["unit_flocculation"])
    total = 0.0
    for name, gallons, side_by_side, head in (
        ("First compartment", 900, 1, 0.11), ("Side compartments", 1100, 2, 0.06), ("Large compartment", 2600, 1, 0.03)
    ):  # fmt: skip
        stay = gallons * GALLON * side_by_side / flow
        g = math.sqrt(9.80665 * 999.4 * head * FOOT / (mu * stay))
        assert floc[f"{name}: detention time"] == pytest.approx(stay, rel=0.01)
        assert floc[f"{name}: G"] == pytest.approx(g, rel=0.02)
        total += g * stay
    assert floc["G·t"] == pytest.approx(total, rel=0.02)
    assert floc["Detention time"] == pytest.approx((900 + 2 * 1100 + 2600) * GALLON / flow, rel=0.01)
    assert found["unit_flocculation"].working is not None


def test_a_clean_bed_by_hand(scene):
    """Ergun over three layers at 2 gpm/ft2."""
    filters = figures(lines(scene)["unit_filters"])
    rate, mu, rho = 70 * GALLON / 60 / (35 * FOOT**2), 1.207e-3, 999.4
    assert filters["Filtration rate, all in service"] == pytest.approx(rate, rel=0.01)
    loss = 0.0
    for inches, size, uniformity, porosity, shape in (
        (18, 1.0e-3, 1.5, 0.55, 0.65), (9, 0.5e-3, 1.5, 0.43, 0.80), (3, 1.2e-3, 1.6, 0.43, 0.80)
    ):  # fmt: skip
        spread = math.log(uniformity) / 1.5349
        d = shape * size * math.exp(1.2816 * spread - spread**2 / 2)
        e = porosity
        laminar = 150 * mu * (1 - e) ** 2 * rate / (rho * 9.80665 * e**3 * d**2)
        loss += inches * FOOT / 12 * (laminar + 1.75 * (1 - e) * rate**2 / (9.80665 * e**3 * d))
    assert filters["Head loss of the clean bed"] == pytest.approx(loss, rel=0.02)
    assert filters["Depth over grain size"] == pytest.approx(18 * 25.4 / 1.0 + 9 * 25.4 / 0.5, rel=1e-6)


def test_ranges_are_named_with_their_source(scene):
    found = lines(scene)
    held = {f.title: f for f in found["unit_settling_basin"].figures}
    assert held["Detention time"].against == "published: 3.00 h or more (Wisconsin Admin. Code NR 811.47(7))"
    depth = next(f for f in found["unit_filters"].figures if f.title == "Depth over grain size")
    assert depth.against == "usual: 1,000 to 1,350 (common practice, no source)"
    assert held["Weir loading"].against.startswith("published: 20,000 gal/day/ft or less")
    assert all(f.within for f in held.values())
    assert found["unit_settling_basin"].state == "steady"
    assert found["unit_settling_basin"].action.startswith("Detention time 3.4")
    assert "no published range" in found["unit_raw_line"].action


def test_too_much_flow_is_told_with_what_it_means(scene):
    """At 180 gpm the basin gives 2.66 h, its overflow rate is 540 gal/day/ft2 and its weir takes 21,600 gal/day/ft."""
    line = lines(flowing(scene, 180))["unit_settling_basin"]
    assert line.state == "soon"
    assert "Detention time 2.6" in line.action and "is below 3.00 h (Wisconsin" in line.action
    assert "less flow gives it more time" in line.action and "draws floc over it" in line.action
    within = {f.title: f.within for f in line.figures}
    assert within == {"Detention time": False, "Overflow rate": True, "Mean velocity": True, "Weir loading": False}


def test_what_is_so_as_built_is_told_and_presses_nobody(scene):
    line = lines(scene)["unit_filters"]
    assert (
        line.state == "steady" and "Depth over grain size 914 is below the usual range of 1,000 to 1,350" in line.action
    )


def test_cold_water_lowers_g(scene):
    warm = figures(lines(scene)["unit_flash_mixer"])["Velocity gradient G"]
    cold_scene = Scene(scene.folder.parent / "cold").quiet(CHANNELS)
    cold_scene.each("raw_temperature", lambda r: 0.06 * r.value)
    cold = figures(lines(cold_scene)["unit_flash_mixer"])["Velocity gradient G"]
    assert cold / warm == pytest.approx(math.sqrt(1.207 / 1.746), rel=0.01)  # 0.77 degC: 1.746e-3 Pa s in print


@pytest.mark.parametrize("spoil", ["stale", "missing"])
def test_without_flow_nothing_is_told(scene, spoil):
    getattr(scene, {"stale": "stale", "missing": "without"}[spoil])("plant_flow")
    found = lines(scene).values()
    assert {line.state for line in found} == {"unknown"}
    assert all(line.value is None and "flow" in line.check.lower() for line in found)


def test_without_temperature_only_what_needs_it_is_unknown(scene):
    found = lines(scene.newest("raw_temperature", flag="doubtful"))
    unknown = {id for id, line in found.items() if line.state == "unknown"}
    assert unknown == {"unit_flash_mixer", "unit_flocculation", "unit_filters"}
    assert all("raw_temperature" in found[id].depends for id in unknown)


def test_an_in_line_mixer_and_a_plant_in_metric_units(tmp_path):
    """Head loss 0.3 m at 140 gpm in 10 L: G = sqrt(g rho Q h / (mu V))."""
    text = PLANT_FILE.read_text(encoding="utf-8")
    text = text.replace('units = "US"', 'units = "SI"')
    for stirred, in_line in (
        ('type = "stirred"', 'type = "in_line"'), ('volume = "60 gal"', 'volume = "10 L"'),
        ('power = "0.5 hp"', 'head_loss = "0.3 m"'), ('efficiency = "75 percent"', 'head_loss_flow = "140 gpm"'),
    ):  # fmt: skip
        assert text.count(stirred) == 1
        text = text.replace(stirred, in_line)
    found = lines(Scene(tmp_path / "plant", plant_text=text).quiet(CHANNELS))
    flow = 140 * GALLON / 60
    by_hand = math.sqrt(9.80665 * 999.4 * flow * 0.3 / (1.207e-3 * 0.010))
    assert figures(found["unit_flash_mixer"])["Velocity gradient G"] == pytest.approx(by_hand, rel=0.02)
    basin = {f.title: f.unit for f in found["unit_settling_basin"].figures}
    assert basin["Weir loading"] == "m^3/h/m" and basin["Mean velocity"] == "mm/s"


def test_every_way_to_lie_outside_has_words():
    sorts = {sort for sort, _ in MEANING}
    assert sorts > AS_BUILT
    for sort in sorts - {"head"}:
        assert (sort, "low") in MEANING and (sort, "high") in MEANING
    span = design("detention time", "presedimentation")
    assert Item("Detention time", Known(3600.0), "s", "h", "stay", span).side == "low"
    assert Item("Detention time", Known(10800.0), "s", "h", "stay", span).side == ""


def test_a_range_is_kept_in_a_unit_that_fits_its_source():
    for span in design_ranges():
        assert span.unit == "dimensionless" or fits(span.unit, span.inside), span
    weir = design("weir loading", "sedimentation")
    assert weir is not None and weir.high == pytest.approx(20000 * GALLON / 86400 / FOOT)

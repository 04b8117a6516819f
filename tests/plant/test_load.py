"""A plant file becomes a plant: numbers in inside units that remember what was written; other people's plants too.

Factors are those of NIST Special Publication 811 (1 ft = 0.3048 m, 1 US gallon = 3.785411784 L, 1 lb = 0.45359237 kg).
"""

import math
from datetime import date
from zoneinfo import ZoneInfo

import pytest
from tests.plant.plants import OTHERS, changed, emberly, four_filters, one_filter_si

from weirhouse.plant import parse_plant
from weirhouse.plant.channels import inside_unit
from weirhouse.plant.model import Contact, Filters, Flocculation, Storage
from weirhouse.working import Entry

FOOT, GALLON = 0.3048, 3.785411784e-3
GPM = GALLON / 60


def test_the_head():
    plant = emberly()
    assert (plant.name, plant.population, plant.connections, plant.demo) == ("Emberly", 1010, 420, True)
    assert plant.unit_set == "US"
    assert plant.zone == ZoneInfo("America/New_York")
    assert plant.design_flow == pytest.approx(150 * GPM, rel=1e-12)


def test_stages_stand_in_the_order_of_the_file():
    ids = [stage.id for stage in emberly().stages]
    assert ids == [
        "creek", "intake", "raw_pumps", "settling_basin", "raw_line", "meter", "coagulant", "flash_mixer",
        "flocculation", "clarifier", "filters", "chlorine", "clearwell", "main", "hill_tank",
    ]  # fmt: skip
    assert [feed.role for feed in emberly().feeds] == ["coagulant", "disinfectant"]
    with pytest.raises(KeyError):
        emberly().stage("nowhere")


def test_quantities_are_kept_in_inside_units():
    plant = emberly()
    assert plant.stage("settling_basin").length == pytest.approx(40 * FOOT, rel=1e-12)
    assert plant.stage("intake").screen_opening == pytest.approx(FOOT / 96, rel=1e-12)  # 1/8 in
    coagulant = plant.stage("coagulant")
    assert (coagulant.al2o3, coagulant.basicity) == (pytest.approx(0.17), pytest.approx(0.43))
    assert coagulant.density == pytest.approx(1360)
    assert coagulant.calibration.date == date(2025, 10, 14)
    assert coagulant.calibration.points[0] == pytest.approx((0.10, 2.1e-6 / 60))
    assert all(b > a for (a, _), (b, _) in zip(coagulant.dose_table, coagulant.dose_table[1:], strict=False))
    wash = plant.stage("filters").backwash
    assert wash.rate == pytest.approx(15 * GPM / FOOT**2)
    assert plant.sewer is not None
    assert plant.sewer.limit_solids == pytest.approx(60 * 0.45359237 / 86400)
    assert plant.permit is not None
    assert plant.permit.giardia_credit == 2.5
    assert plant.shutdown[0].lasting == 600


def test_levels_are_in_the_unit_of_their_channel():
    plant = emberly()
    for row in (*plant.action, *plant.shutdown):
        assert row.channel in plant.channels
        assert (row.above is None) != (row.below is None)
    assert plant.action[-1].below == pytest.approx(0.4)


def test_a_filter_like_another_takes_what_it_does_not_give():
    first, second = emberly().filters
    assert second.layer == first.layer
    assert (second.id, second.name, second.length) == ("filter_2", "Filter 2", first.length)
    wider = parse_plant(changed('same_as = "filter_1"', 'same_as = "filter_1"\nwidth = "6 ft"'))
    assert wider.filters[1].width == pytest.approx(6 * FOOT)
    assert wider.known("train.filter_2.layer.0.depth") == wider.known("train.filter_1.layer.0.depth")


@pytest.mark.parametrize(
    ("path", "unit", "text"),
    [
        ("plant.design_flow", "m^3/s", '"150 gpm"'),
        ("train.clearwell.volume", "m^3", '"24000 gal"'),
        ("train.floc_2.volume", "m^3", '"1100 gal"'),
        ("train.floc_2.parallel", "1", '"2"'),
        ("train.pump_1.rated_head", "m", '"62 ft"'),
        ("train.filters.backwash.rate", "m/s", '"15 gpm/ft2"'),
        ("train.clarifier.blowdown.every", "s", '"12 h"'),
        ("train.coagulant.day_tank.full", "m", '"28 in"'),
        ("train.coagulant.calibration.points.1.1", "m^3/s", '"5.0 mL/min"'),
        ("train.coagulant.dose_table.0.0", "NTU", '"2 NTU"'),
        ("train.filter_1.layer.2.effective_size", "m", '"1.2 mm"'),
        ("train.filter_2.layer.2.effective_size", "m", '"1.2 mm"'),
        ("permit.giardia_required", "log", '"3 log"'),
        ("sewer.wet_weather.above_rain", "m", '"0.5 in"'),
        ("action.0.above", "NTU", '"0.3 NTU"'),
        ("shutdown.1.for", "s", '"15 min"'),
        ("channel.plant_flow.high", "m^3/s", '"400 gpm"'),
    ],
)
def test_a_known_says_where_it_stands_and_as_what(path: str, unit: str, text: str):
    known = emberly().known(path)
    assert known.unit == unit
    assert isinstance(known.source, Entry)
    assert (known.source.path, known.source.text) == (path, text)


def test_what_is_not_in_the_file_is_not_known():
    for path in ("train.clearwell.tracer.t10", "train.nowhere.volume", "plant.name", "", "action.9.above"):
        with pytest.raises(KeyError):
            emberly().known(path)


def test_every_quantity_of_a_plant_is_finite_and_known():
    plant = emberly()
    assert len(plant.entries) > 150
    for path in plant.entries:
        assert math.isfinite(plant.known(path))


def test_nothing_of_a_plant_can_be_altered():
    plant = emberly()
    with pytest.raises(AttributeError):
        plant.name = "Other"  # type: ignore[misc]
    with pytest.raises(AttributeError):
        plant.stage("clearwell").volume = 1.0


@pytest.mark.parametrize(
    ("unit", "inside"),
    [
        ("gpm", "m^3/s"), ("MGD", "m^3/s"), ("L/s", "m^3/s"), ("mg/L", "g/m^3"), ("ug/L", "g/m^3"), ("degF", "degC"),
        ("ft", "m"), ("in", "m"), ("1/cm", "1/m"), ("FNU", "NTU"), ("percent", "1"), ("pH", "pH"), ("psi", "Pa"),
        ("gpm/ft2", "m/s"), ("lb/day", "kg/s"),
    ],
)  # fmt: skip
def test_a_channel_is_kept_in_the_inside_unit_that_fits(unit: str, inside: str):
    assert inside_unit(unit) == inside


@pytest.mark.parametrize("name", OTHERS)
def test_other_peoples_plants_are_read(name: str):
    plant = parse_plant(OTHERS[name]())
    assert plant.stages
    for path in plant.entries:
        assert math.isfinite(plant.known(path))


def test_one_filter_in_si_units():
    plant = parse_plant(one_filter_si())
    assert plant.unit_set == "SI"
    assert plant.zone == ZoneInfo("Europe/Berlin")
    assert len(plant.filters) == 1
    assert plant.filters[0].diameter == 1.6
    assert [s.id for s in plant.stages if isinstance(s, Contact)] == ["first", "second"]
    assert plant.stage("first").tracer.t10 == 2400
    assert plant.stage("first").baffling_factor is None
    assert not any(isinstance(s, Flocculation | Storage) for s in plant.stages)
    assert plant.permit is None
    assert plant.channels["plant_flow"].inside == "m^3/s"


def test_four_filters_alike():
    plant = parse_plant(four_filters())
    assert [one.id for one in plant.filters] == ["filter_1", "filter_2", "filter_3", "filter_4"]
    assert len({one.layer for one in plant.filters}) == 1
    assert sum(isinstance(stage, Filters) for stage in plant.stages) == 1

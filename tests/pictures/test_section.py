"""The plant cut open: every vessel to one scale, numbered as in the table."""

from pathlib import Path
from xml.etree import ElementTree

import pytest

from weirhouse.pictures import section
from weirhouse.plant import Plant, load

PLANT = Path(__file__).parents[1] / "desk" / "plant.toml"


@pytest.fixture(scope="module")
def plant() -> Plant:
    return load(PLANT)


def test_every_vessel_and_feed_is_drawn_once_a_unit(plant: Plant) -> None:
    keys = [vessel.key for vessel in section.vessels(plant)]
    assert keys.count("floc_2") == 2  # two side by side
    for key in ("settling_basin", "coagulant", "filter_1", "filter_2", "clearwell", "hill_tank"):
        assert keys.count(key) == 1


def test_sizes_are_those_of_the_plant_file(plant: Plant) -> None:
    found = {vessel.key: vessel for vessel in section.vessels(plant)}
    assert found["settling_basin"].width == pytest.approx(40 * 0.3048)
    assert found["settling_basin"].depth == pytest.approx(8 * 0.3048)
    assert sum(d for d, _ in found["filter_1"].layers) == pytest.approx((18 + 9 + 3) * 0.0254)


@pytest.mark.parametrize("narrow", [False, True])
def test_it_fits_its_width_and_keeps_one_scale(plant: Plant, narrow: bool) -> None:
    numbers = {stage.id: i for i, stage in enumerate(plant.stages, 1)}
    root = ElementTree.fromstring(section.svg(plant, numbers, narrow=narrow))
    width = float(root.get("viewBox", "").split()[2])
    water = [e for e in root.iter() if e.get("class") == "sec-water"]
    assert len(water) == sum(1 for v in section.vessels(plant) if v.width)
    for vessel, rect in zip((v for v in section.vessels(plant) if v.width), water, strict=True):
        assert float(rect.get("x", 0)) + float(rect.get("width", 0)) <= width
        ratio = float(rect.get("width", 0)) / float(rect.get("height", 1))
        assert ratio == pytest.approx(vessel.width / vessel.depth, rel=0.03)
    assert all("style" not in e.attrib for e in root.iter())

"""The plant file that a new plant begins with: it loads, it is nobody's, and it never writes over another."""

from importlib.resources import files
from pathlib import Path

import pytest

from weirhouse.plant import PlantError, load, new_plant, parse_plant
from weirhouse.plant.template import EXAMPLE_ID


def test_a_new_plant_loads(tmp_path: Path):
    folder = tmp_path / "a" / "plant"
    new_plant(folder)
    plant = load(folder)
    assert not plant.demo
    assert plant.system_id == EXAMPLE_ID
    assert plant.permit is not None and plant.permit.contact_time_tables_confirmed == ""
    assert plant.permit.giardia_credit is None  # nobody's removal credit is assumed
    assert [p.name for p in folder.iterdir()] == ["plant.toml"]


def test_it_measures_what_the_demo_measures(tmp_path: Path):
    new_plant(tmp_path)
    emberly = parse_plant(files("weirhouse.demo").joinpath("emberly.toml").read_text("utf-8"))
    mine = load(tmp_path).channels
    assert set(mine) == set(emberly.channels)
    assert all(mine[id].inside == emberly.channels[id].inside for id in mine)


def test_it_never_writes_over_a_plant_file(tmp_path: Path):
    (tmp_path / "plant.toml").write_text("mine")
    with pytest.raises(PlantError, match=r"plant\.toml is already there and was left as it is"):
        new_plant(tmp_path)
    assert (tmp_path / "plant.toml").read_text() == "mine"


@pytest.mark.parametrize("below", ["", "deeper"])
def test_a_file_is_no_folder(tmp_path: Path, below: str):
    file = tmp_path / "file"
    file.write_text("mine")
    with pytest.raises(PlantError, match="file, not"):
        new_plant(file / below)
    assert file.read_text() == "mine"

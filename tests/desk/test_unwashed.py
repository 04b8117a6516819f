"""A filter that is due is not washed with the last water of the tank."""

from pathlib import Path

from tests.desk.scene import Scene

from weirhouse.desk.today import today
from weirhouse.situation import at

NEEDED = (
    "raw_turbidity", "plant_flow", "combined_turbidity", "contact_chlorine", "entry_chlorine", "coagulant_dose",
    "coagulant_setting", "filter_1_head_loss", "filter_1_turbidity", "filter_1_flow", "storage_level", "demand_flow",
)  # fmt: skip


def today_at(folder: Path, level: str):
    scene = Scene(folder).quiet(NEEDED).newest("filter_1_head_loss", "7.5 ft").newest("storage_level", level)
    with scene.build() as store:
        return today(at(store, scene.plant, scene.now))


def test_a_filter_that_is_due_rests_while_the_tank_is_at_its_reserve(tmp_path: Path):
    found = today_at(tmp_path / "low", "8 ft")  # the reserve of this plant lies near 17 ft
    line = found.line("run_filter_1")
    assert line.state == "do_now"
    assert line.action.startswith("Take Filter 1 out of service until there is water to wash it")
    assert "storage_level" in (*line.depends, *line.uses)
    assert "ackwash Filter 1" not in found.order


def test_with_water_in_the_tank_it_is_washed(tmp_path: Path):
    found = today_at(tmp_path / "full", "21 ft")
    assert found.line("run_filter_1").action.startswith("Backwash Filter 1")

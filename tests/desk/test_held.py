"""While an action level holds the plant, no line tells the operator to set a feed now."""

from pathlib import Path

from tests.desk.scene import Scene

from weirhouse.desk.today import today
from weirhouse.situation import at

NEEDED = (
    "raw_turbidity", "plant_flow", "combined_turbidity", "contact_chlorine", "entry_chlorine", "coagulant_dose",
    "coagulant_setting", "chlorine_dose", "chlorine_setting", "storage_level", "demand_flow",
)  # fmt: skip
FEEDS = ("coagulant_dose", "coagulant_setting", "coagulant_feed", "chlorine_dose", "chlorine_setting")


def test_nothing_is_fed_into_a_plant_that_is_held(tmp_path: Path):
    scene = Scene(tmp_path / "plant").quiet(NEEDED).newest("raw_turbidity", "190 NTU")
    with scene.build() as store:
        found = today(at(store, scene.plant, scene.now))
    assert found.order_state == "do_now"
    assert found.order.startswith("Hold: shut the intake")
    for id in FEEDS:
        line = found.line(id)
        assert line.action.startswith("Feed nothing while the plant is held. When you take water again: ")
        assert line.state != "do_now"
        assert "raw_turbidity" in (*line.depends, *line.uses)


def test_below_the_level_the_feeds_are_set_as_ever(tmp_path: Path):
    scene = Scene(tmp_path / "plant").quiet(NEEDED)
    with scene.build() as store:
        found = today(at(store, scene.plant, scene.now))
    assert all("held" not in found.line(id).action for id in FEEDS)

"""While an action level holds the plant, no line tells the operator to set a feed now."""

from pathlib import Path

from tests.desk.scene import NOW, Scene

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
        assert line.action.startswith("Feed nothing while the hold is in force. After it: ")
        assert line.shown in line.action and "measure again first" in line.action
        assert line.state != "do_now"
        assert "raw_turbidity" in (*line.depends, *line.uses)


def test_below_the_level_the_feeds_are_set_as_ever(tmp_path: Path):
    scene = Scene(tmp_path / "plant").quiet(NEEDED)
    with scene.build() as store:
        found = today(at(store, scene.plant, scene.now))
    assert all("nothing" not in found.line(id).action for id in FEEDS)


def test_a_plant_that_stands_under_a_hold_is_told_to_feed_nothing(tmp_path: Path):
    scene = Scene(tmp_path / "plant", now=NOW.replace(hour=6)).quiet(NEEDED).newest("raw_turbidity", "190 NTU")
    with scene.build() as store:
        found = today(at(store, scene.plant, scene.now))
    assert found.line("plant_flow").value == 0.0
    for id in FEEDS:
        line = found.line(id)
        assert line.action.startswith("Feed nothing while the hold is in force. After it: "), line.action
        assert line.state == "steady"
    arrival = found.line("coagulant_arrival").action
    assert arrival.startswith("If this creek water is let in: feed 4") and "comes in now" not in arrival
    hold = found.line("action_raw_turbidity_above_hold")
    assert "do not go into the water or alone onto the intake" in hold.caution

"""The lanes of a plant's timetable from its plant file, by hand, and the picture of a recorded day."""

from collections.abc import Iterator
from datetime import timedelta
from math import pi

import numpy as np
import pytest
from tests.desk.scene import NOW, PLANT_FILE, Scene

from weirhouse.desk.lanes import LEAD, feeds, lanes, timetable_of
from weirhouse.desk.timetable import Timetable
from weirhouse.plant import parse_plant
from weirhouse.records.model import Event
from weirhouse.situation import between

FOOT, INCH, GALLON = 0.3048, 0.0254, 231 * 0.0254**3
CHANNELS = (
    "plant_flow", "raw_turbidity", "settled_turbidity", "combined_turbidity", "coagulant_dose", "contact_level",
    "storage_level", "demand_flow",
)  # fmt: skip
BEGIN, END = NOW - timedelta(hours=24), NOW + timedelta(hours=12)


def event(kind: str, hours_ago: float, until: float | None = None, subject: str = "", **values: float) -> Event:
    return Event(
        kind=kind, started_at=NOW - timedelta(hours=hours_ago), subject=subject, values=values, person="A. Operator",
        ended_at=None if until is None else NOW - timedelta(hours=until),
    )  # fmt: skip


def drawn(scene: Scene) -> Timetable:
    with scene.build() as store:
        stretch = between(store, scene.plant, BEGIN - LEAD, NOW + timedelta(seconds=1))
    return timetable_of(stretch, begin=BEGIN, end=END, now=NOW)


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Timetable]:
    scene = Scene(tmp_path_factory.mktemp("lanes") / "plant").quiet(CHANNELS)
    scene.events.append(event("dose_change", 6, subject="coagulant", **{"from": 14.0, "to": 15.0}))
    scene.events.append(event("outage", 12))  # at 02:00, while the plant stands; nobody entered its end
    return drawn(scene)


def test_the_lanes_are_the_stages_that_hold_water():
    plant = parse_plant(PLANT_FILE.read_text(encoding="utf-8"))
    found = {lane.id: lane for lane in lanes(plant, {})}
    assert list(found) == [
        "settling_basin", "raw_line", "flash_mixer", "floc_1", "floc_2", "floc_3", "clarifier", "filters", "clearwell",
        "main", "hill_tank",
    ]  # fmt: skip
    assert found["flash_mixer"].volume == pytest.approx(60 * GALLON)
    assert found["floc_2"].volume == pytest.approx(2 * 1100 * GALLON) and found["floc_2"].units == 2
    assert found["main"].volume == pytest.approx(pi / 4 * (6.08 * INCH) ** 2 * 1900 * FOOT)
    assert found["main"].parts[0].tanks is None
    assert found["clearwell"].volume == pytest.approx(24000 * GALLON)
    assert found["hill_tank"].volume == pytest.approx(pi / 4 * (30 * FOOT) ** 2 * 23 * FOOT)
    assert (found["clarifier"].channel, found["filters"].channel) == ("settled_turbidity", "combined_turbidity")
    coagulant, chlorine = feeds(plant, {})
    assert list(found)[coagulant.lane] == "flash_mixer" and list(found)[chlorine.lane] == "clearwell"


def test_water_needs_the_hours_of_the_basin_it_crosses(day):
    """28,700 gal of basin at 140 gpm are 3.4 h; the middle of four stirred tanks in a row comes at 0.918 of that.

    The median of a gamma distribution of shape 4 is 3.672 (table of the chi-square distribution with 8 degrees of
    freedom: 7.344 at 0.5), over 4.
    """
    basin = day.lanes[0]
    flow = 140 * GALLON / 60
    ran = [p for p in day.parcels if BEGIN.timestamp() + 17 * 3600 <= p.entered <= NOW.timestamp() - 5 * 3600]
    assert ran
    for parcel in ran:  # while the plant ran from 06:00 to 14:00
        crossing = parcel.leaves[0].median - parcel.entered
        assert crossing == pytest.approx(0.918 * basin.volume / flow, rel=0.02)


def test_a_night_holds_the_water(day):
    """The plant stands from 20:00 to 06:00."""
    evening = next(p for p in day.parcels if p.entered == (NOW - timedelta(hours=19)).timestamp())  # 19:00 yesterday
    assert evening.leaves[0].median - evening.entered > 10 * 3600
    assert evening.stood_s >= 10 * 3600 - 900


def test_marks_and_strips_stand_on_their_lanes(day):
    marks = {mark.kind: mark for mark in day.marks}
    assert marks["dose"].lane == 2 and "15" in marks["dose"].text
    assert marks["dose"].started == (NOW - timedelta(hours=6)).timestamp()
    assert marks["outage"].ended == pytest.approx((NOW - timedelta(hours=8)).timestamp(), abs=1800)  # it ran at 06:00
    assert {(strip.lane, strip.channel) for strip in day.strips} == {
        (-1, "raw_turbidity"), (6, "settled_turbidity"), (7, "combined_turbidity"),
    }  # fmt: skip
    assert all(np.all(strip.times <= NOW.timestamp()) for strip in day.strips)


def test_right_of_now_the_flow_stays_and_is_named(day):
    assert day.units["ahead"] == "141 gpm"
    ahead = [p for p in day.parcels if p.ahead]
    assert ahead and all(p.entered > NOW.timestamp() for p in ahead)


def test_a_shut_intake_from_before_the_picture_is_drawn(tmp_path):
    scene = Scene(tmp_path / "plant").quiet(("plant_flow", "raw_turbidity"))
    scene.events = [event("intake_shut", 100), event("intake_open", 4), event("outage", 90, 88)]
    kinds = {(mark.kind, mark.ended) for mark in drawn(scene).marks}
    assert kinds == {("intake_shut", (NOW - timedelta(hours=4)).timestamp())}


def test_without_flow_on_record_it_says_so(tmp_path):
    table = drawn(Scene(tmp_path / "plant").quiet(("raw_turbidity",)))
    assert table.parcels == () and "No plant flow is on record" in table.notes[0]

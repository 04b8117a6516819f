"""The rows of the day's grid: every four hours of operation, what was read, and the nights of the clock change."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from tests.desk.scene import NOW, Scene

from weirhouse.desk import grid
from weirhouse.desk.day_log import day_bounds
from weirhouse.plant import Plant
from weirhouse.records.model import Reading, series
from weirhouse.situation.clock import TimeError

DAY = date(2026, 6, 17)
LATER = datetime(2027, 1, 1, tzinfo=UTC)
# Zones in use in North America, with and without summer time, with half hours.
ZONES = (
    "America/St_Johns", "America/Halifax", "America/New_York", "America/Chicago", "America/Denver", "America/Phoenix",
    "America/Los_Angeles", "America/Anchorage", "America/Adak", "Pacific/Honolulu", "America/Puerto_Rico",
)  # fmt: skip


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Plant:
    return Scene(tmp_path_factory.mktemp("grid") / "plant").plant


def labels(plant: Plant, day: date, now: datetime = LATER, **more: object) -> list[str]:
    asked = {"readings": [], "ran": None, "added": [], **more}
    return [row.label for row in grid.rows(plant, day, now, **asked)]  # type: ignore[arg-type]


def reading(channel: str, at: datetime, text: str = "7.4") -> Reading:
    return Reading(channel=channel, value=7.4, taken_at=at, unit="pH", text=text, person="x")


def test_every_four_hours_that_have_begun(plant: Plant) -> None:
    assert labels(plant, DAY) == ["00:00", "04:00", "08:00", "12:00", "16:00", "20:00"]
    assert labels(plant, DAY, NOW) == ["00:00", "04:00", "08:00", "12:00"]  # now is 14:00


def test_of_those_in_which_the_plant_ran(plant: Plant) -> None:
    begin, _ = day_bounds(plant, DAY)
    times = [int(begin.timestamp()) + 900 * k for k in range(96)]
    flow = series("plant_flow", times, [0.009 if 7 * 4 <= k < 13 * 4 else 0.0 for k in range(96)])  # 07:00 to 13:00
    assert labels(plant, DAY, ran=flow) == ["04:00", "08:00", "12:00"]
    assert labels(plant, DAY, ran=series("plant_flow", [], [])) == labels(plant, DAY)  # nothing is known of the flow


def test_one_walk_is_one_row_and_a_second_reading_another(plant: Plant) -> None:
    at = day_bounds(plant, DAY)[0] + timedelta(hours=9, minutes=1)
    walk = [reading("raw_ph", at), reading("settled_ph", at + timedelta(minutes=6)),
            reading("raw_ph", at + timedelta(minutes=8)), reading("settled_ph", at + timedelta(hours=2))]  # fmt: skip
    found = grid.rows(plant, DAY, LATER, walk, None, [])
    cells = {row.label: sorted(row.cells) for row in found if row.cells}
    assert cells == {"09:01": ["raw_ph", "settled_ph"], "09:09": ["raw_ph"], "11:01": ["settled_ph"]}


def test_a_time_that_was_added_stands_once(plant: Plant) -> None:
    begin, end = day_bounds(plant, DAY)
    added = [begin + timedelta(hours=9), begin + timedelta(hours=9), end + timedelta(hours=1)]
    assert labels(plant, DAY, added=added).count("09:00") == 1
    assert "01:00" not in labels(plant, DAY, added=added)


@pytest.mark.parametrize(("day", "hours"), [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25)])
def test_the_nights_on_which_the_clock_is_changed(plant: Plant, day: date, hours: int) -> None:
    begin, end = day_bounds(plant, day)
    assert end - begin == timedelta(hours=hours)
    found = labels(plant, day)
    assert found[0].startswith("00:00 E") and found[1].startswith("04:00 E") and len(found) == 6
    assert {one[-3:] for one in found} == {"EDT", "EST"}


def test_an_hour_that_comes_twice_makes_two_rows(plant: Plant) -> None:
    day = date(2026, 11, 1)
    both = grid.either("2026-11-01T01:30", plant.zone)
    assert both is not None and both[1] - both[0] == timedelta(hours=1)
    assert [one for one in labels(plant, day, added=both) if one.startswith("01:30")] == ["01:30 EDT", "01:30 EST"]
    with pytest.raises(TimeError, match=r"01:30 comes twice in that night. Choose 01:30 EDT \(-04:00\) or 01:30 EST"):
        grid.instant("2026-11-01 01:30", plant.zone, LATER)


@pytest.mark.parametrize("name", ZONES)
def test_two_instants_are_asked_about_exactly_where_a_clock_reading_has_two(name: str) -> None:
    """Against the definition: over 2000 to 2040, every half hour of the change nights and of their neighbours."""
    zone = ZoneInfo(name)
    nights = 0
    for year in range(2000, 2041, 4):
        day = date(year, 1, 1)
        while day.year == year:
            if grid.changes_clock(zone, day):
                nights += 1
                midnight = datetime.combine(day, time(0), zone).astimezone(UTC)
                shown: dict[str, set[datetime]] = {}
                for minutes in range(-120, 27 * 60, 15):
                    at = midnight + timedelta(minutes=minutes)
                    shown.setdefault(f"{at.astimezone(zone):%Y-%m-%dT%H:%M}", set()).add(at)
                for text, instants in shown.items():
                    asked = grid.either(text, zone)
                    assert (asked is not None) == (len(instants) == 2), (text, instants)
                    if asked is not None:
                        assert set(asked) == instants
            day += timedelta(days=1)
    assert nights == (0 if name in ("America/Phoenix", "Pacific/Honolulu", "America/Puerto_Rico") else 22)


def test_columns_are_what_people_read_or_what_was_chosen(plant: Plant) -> None:
    chosen = grid.columns(plant, [], ["settled_ph", "raw_ph", "nothing"])
    assert [one.id for one in chosen] == [id for id in plant.channels if id in ("raw_ph", "settled_ph")]
    usual = {one.id for one in grid.columns(plant, ["entry_chlorine"])}
    assert "entry_chlorine" in usual and not usual & {"tthm", "haa5"}
    assert len(grid.columns(plant, plant.channels, [])) <= grid.MOST_COLUMNS

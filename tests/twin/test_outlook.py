"""The hours ahead: the same water in both futures, risks that are shares, and nothing that could not be known."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from weirhouse import plant as plants
from weirhouse import situation as situations
from weirhouse.records.store import Store
from weirhouse.situation.past import past
from weirhouse.twin.forecast import ForecastError
from weirhouse.twin.outlook import outlook

BROWN = datetime(2025, 11, 27, 4, 0, tzinfo=UTC)  # the stream at its brownest of a storm, four weeks into the records
HOURS, MEMBERS = 24, 60


@pytest.fixture(scope="module")
def stands(demo_folder):
    plant = plants.load(demo_folder)
    with Store.open(demo_folder, read_only=True) as store:
        return situations.at(store, plant, BROWN), past(store, plant, BROWN)


@pytest.fixture(scope="module")
def found(stands):
    told = []
    made = outlook(
        *stands, hours=HOURS, members=MEMBERS, seed=4, progress=lambda share, what: told.append((share, what))
    )
    return made, told


def test_the_fans_stand_on_the_outlooks_times(found):
    made, _ = found
    assert made.times[0] - BROWN.timestamp() == 900
    assert made.times[-1] - BROWN.timestamp() == HOURS * 3600
    for fan in (*made.stream.values(), *made.habit.fans.values(), *made.shut.fans.values()):
        assert fan.rows.shape == (5, len(made.times))
        assert np.isfinite(fan.rows).all()
        assert (np.diff(fan.rows, axis=0) >= -1e-9).all()


def test_the_stream_begins_where_it_was_read(found, stands):
    made, _ = found
    now = float(stands[0].value("raw_turbidity").known)
    assert made.stream["raw"].rows[0, 0] <= now <= made.stream["raw"].rows[4, 0]


def test_a_closed_intake_takes_no_water_and_the_tank_only_falls(found):
    made, _ = found
    assert max(made.shut.intake) == 0.0
    assert max(made.shut.washes) == 0.0
    assert max(made.shut.hours_run) == 0.0
    level = made.shut.fans["hill_tank.level"].middle
    assert level[-1] < level[0]
    assert made.habit.intake[1] > 100.0


def test_risks_are_shares_and_the_tanks_grows_with_the_hours(found):
    made, _ = found
    for future in (made.habit, made.shut):
        for share in (future.risk.over_0_3, future.risk.over_1, future.risk.below_reserve):
            assert 0.0 <= share <= 1.0
        assert future.risk.over_1 <= future.risk.over_0_3
        assert 0.0 <= future.risk.minutes_over_0_3 <= HOURS * 60
    assert len(made.closing) == HOURS
    assert list(made.closing) == sorted(made.closing)
    assert made.closing[-1] == pytest.approx(made.shut.risk.below_reserve, abs=0.05)
    assert made.holds(0.05) == sum(share <= 0.05 for share in made.closing)


def test_the_reserve_holds_pressure_and_fire_storage(found, stands):
    """20 psi at 1356 ft takes no water in a tank at 1405 ft; it is low at 6 ft; a fire takes 30,000 gal on top."""
    made, _ = found
    area = np.pi / 4 * 30**2  # [ft2]
    assert made.reserve / 0.3048 == pytest.approx(6.0 + 30000 / 7.48052 / area, abs=0.02)


def test_progress_goes_from_nothing_to_everything(found):
    _, told = found
    shares = [share for share, _ in told]
    assert shares[0] == 0.0
    assert max(shares) == pytest.approx(1.0)
    assert {what for _, what in told} >= {"reading the stream", "going through the last hours", "closing the intake"}


def test_the_same_seed_gives_the_same_hours(found, stands):
    made, _ = found
    again = outlook(*stands, hours=HOURS, members=MEMBERS, seed=4)
    assert again.inputs == made.inputs
    assert np.array_equal(again.habit.fans["combined"].rows, made.habit.fans["combined"].rows)
    other = outlook(*stands, hours=HOURS, members=MEMBERS, seed=5)
    assert other.inputs != made.inputs
    assert not np.array_equal(other.habit.fans["combined"].rows, made.habit.fans["combined"].rows)


def test_a_plant_of_which_only_the_stream_is_known_is_told_with_what_is_not(stands):
    """Nothing but raw turbidity: it runs by the plant file, and every thing that was not known is said."""
    situation, before = stands
    bare = replace(
        situation, values={"raw_turbidity": situation.values["raw_turbidity"]}, tanks={}, feeds={}, events=(),
        demand=replace(situation.demand, by_hour=(), last_day=None, peak_hour=None),
        runs={
            id: replace(run, head_loss=situation.value("none"), filtering=None) for id, run in situation.runs.items()
        },
        running=replace(situation.running, state="unknown"),
    )  # fmt: skip
    history = replace(
        before, stream={"raw_turbidity": before.stream["raw_turbidity"]}, recent={}, mean={}, lowest={}, events=()
    )
    made = outlook(bare, history, hours=6, members=20)
    said = " ".join(made.unknown)
    for words in (
        "Whether the plant runs now",
        "temperature",
        "Alkalinity",
        "level is not known",
        "village takes",
        "flow of the last day",
    ):
        assert words in said
    assert np.isfinite(made.habit.fans["combined"].rows).all()


def test_without_raw_turbidity_it_says_so(stands):
    situation, before = stands
    with pytest.raises(ForecastError, match="No raw turbidity is on record"):
        outlook(situation, replace(before, stream={}), hours=6, members=20)


def test_nothing_after_the_instant_is_looked_at(demo_folder, stands, found):
    """What was recorded later changes nothing, for it is not read."""
    made, _ = found
    with Store.open(demo_folder, read_only=True) as store:
        later = past(store, plants.load(demo_folder), BROWN + timedelta(hours=30))
    cut = {
        name: replace(track, times=track.times[keep], values=track.values[keep], flags=track.flags[keep])
        for name, track in later.stream.items()
        for keep in [track.times <= BROWN.timestamp()]
    }
    assert (
        made.forecast.inputs
        == outlook(stands[0], replace(stands[1], stream=cut), hours=HOURS, members=MEMBERS, seed=4).forecast.inputs
    )

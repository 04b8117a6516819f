"""Ahead in words: the answer first, doubt before all else, and the same figures as the JSON."""

import itertools
import json
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from weirhouse import plant as plants
from weirhouse import situation as situations
from weirhouse.desk import ahead as desk
from weirhouse.records.store import Store
from weirhouse.situation.past import past
from weirhouse.twin.forecast.expectation import ExpectationError
from weirhouse.twin.outlook import Risk

BROWN = datetime(2025, 11, 27, 4, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def stands(demo_folder):
    plant = plants.load(demo_folder)
    with Store.open(demo_folder, read_only=True) as store:
        return situations.at(store, plant, BROWN), past(store, plant, BROWN)


@pytest.fixture(scope="module")
def found(stands):
    return desk.ahead(*stands, hours=12, members=40)


def test_the_json_keeps_the_contract(found):
    data = json.loads(json.dumps(desk.ahead_json(found), allow_nan=False))
    assert {"plant", "at", "hours", "members", "seed", "forecast", "habit", "shut"} <= set(data)
    assert (data["plant"], data["hours"], data["members"], data["seed"]) == ("Emberly", 12, 40, 1)
    assert data["at"] == "2025-11-26T23:00:00-05:00"
    raw = data["forecast"]["raw_ntu"]
    names = ["p02_5", "p05", "p10", "p25", "p50", "p75", "p90", "p95", "p97_5"]
    assert list(raw) == names
    for low, high in itertools.pairwise(names):
        assert all(a <= b for a, b in zip(raw[low], raw[high], strict=True))
    assert len(data["forecast"]["times"]) == len(raw["p50"]) == 48
    assert data["forecast"]["times"][0] == "2025-11-26T23:15:00-05:00"
    for way in ("habit", "shut"):
        assert set(data[way]["risk"]) == {"p_over_0_3", "p_over_1", "minutes_over_0_3", "p_below_reserve"}
        assert {"washes", "wash_water_m3", "product_l"} <= set(data[way])
    assert data["shut"]["intake_m3"]["p95"] == 0.0
    assert len(data["shut"]["p_below_reserve_by_hour"]) == 12


def test_words_and_json_say_the_same(found):
    data = desk.ahead_json(found)
    cells = {row.title: row.cells for row in found.rows}
    assert cells["A recorded filtered value above 0.3 NTU"][0] == desk.chance(data["habit"]["risk"]["p_over_0_3"])
    assert cells["Tank below its reserve"][1] == desk.chance(data["shut"]["risk"]["p_below_reserve"])
    last = found.leads[-1]
    assert last.hours == 12
    assert float(last.middle.split()[0].replace(",", "")) == pytest.approx(
        data["forecast"]["raw_ntu"]["p50"][-1], rel=0.06
    )


def test_how_long_the_intake_may_stay_shut_is_the_last_hour_with_little_risk(found):
    holds = [hour.hours for hour in found.closing if hour.share <= desk.BARELY]
    assert f"for {max(holds)} h" in found.closing_says or f"all of the {found.hours} h" in found.closing_says
    assert found.closing_says in found.says


def test_a_doubtful_reading_comes_before_every_answer(stands):
    situation, before = stands
    value = situation.values["raw_turbidity"]
    doubtful = replace(value, state="stale", why="last reading 5 h old, stale after 2 h")
    doubted = replace(situation, values={**situation.values, "raw_turbidity": doubtful})
    found = desk.ahead(doubted, before, hours=3, members=20)
    assert found.order_state == "unknown"
    assert found.order.startswith("Read the stream first:")
    assert "5 h old" in " ".join((found.order, *found.unknown))


def test_expected_rain_makes_the_stream_browner(stands, found):
    wet = desk.ahead(*stands, hours=12, members=40, weather="extreme rain now")
    assert wet.outlook.peak[1] > found.outlook.peak[1]
    assert any("extreme rain" in line for line in wet.basis)


def test_words_that_say_nothing_about_rain_are_refused(stands):
    with pytest.raises(ExpectationError, match="does not say what rain"):
        desk.ahead(*stands, hours=3, members=20, weather="purple")


def test_what_is_meant_by_as_usual_names_where_it_was_read(found):
    told = dict(found.ways)
    assert "backwashes" in told["Filter 1 backwashed at"]
    assert "NTU" in told["Intake shut above"]


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.0, "none seen"),
        (0.0049, "under 1 in 100"),
        (0.05, "5 in 100"),
        (0.995, "over 99 in 100"),
        (1.0, "100 in 100"),
    ],
)
def test_shares_in_words(share, words):
    assert desk.chance(share) == words


def test_what_the_record_shows_stands_beside_what_is_foreseen(found):
    """Emberly's filtered water was never above 0.3 NTU in the four weeks before: a gloomy figure is told as one."""
    days, of = found.outlook.seen_over
    assert (days, of) == (0, 27)
    assert "On record it was above 0.3 NTU on none of 27 days." in found.says
    gloomy = replace(
        found.outlook, seen_over=(0, 300), habit=replace(found.outlook.habit, risk=Risk(
            over_0_3=0.4, over_1=0.0, minutes_over_0_3=3.0, below_reserve=0.0
        )),
    )  # fmt: skip
    assert "gloomier than that" in desk._seen(gloomy)
    assert "gloomier" not in desk._seen(replace(gloomy, seen_over=(3, 300)))

"""What Today makes of the demo's year: the moments that the page names, and ordinary days, which are quiet."""

import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from tests.desk.scene import today_at

from weirhouse import plant as plants
from weirhouse.demo import scenario
from weirhouse.desk.model import Advice, Today
from weirhouse.records.store import Store

PAGE = Path(__file__).parents[2] / "docs" / "demo.md"


@pytest.fixture(scope="module")
def store(demo_folder: Path) -> Iterator[Store]:
    with Store.open(demo_folder, read_only=True) as opened:
        yield opened


@pytest.fixture(scope="module")
def plant(demo_folder: Path) -> plants.Plant:
    return plants.load(demo_folder)


class Desk:
    """Today at an instant on Emberly's clock."""

    def __init__(self, store: Store, plant: plants.Plant) -> None:
        self.store, self.plant = store, plant

    def at(self, text: str) -> Today:
        return today_at(self.store, self.plant, scenario.local(text))


@pytest.fixture(scope="module")
def desk(store: Store, plant: plants.Plant) -> Desk:
    return Desk(store, plant)


def line(found: Today, id: str) -> Advice:
    return next(advice for advice in found.advice if advice.id == id)


def moments() -> list[str]:
    return re.findall(r"^\| (\d{4}-\d\d-\d\d \d\d:\d\d) \|", PAGE.read_text(encoding="utf-8"), re.MULTILINE)


@pytest.mark.parametrize("text", moments())
def test_today_answers_at_every_moment_that_the_page_names(desk: Desk, text: str) -> None:
    found = desk.at(text)
    assert found.demo
    assert found.order
    assert scenario.YEAR_START <= found.at <= scenario.YEAR_END


def test_the_page_names_every_planted_event() -> None:
    named = [scenario.local(text) for text in moments()]
    spans = (
        scenario.SCREEN_BLINDED, scenario.POWER_FAILURE, scenario.PUMP_FAILED, scenario.RAW_STUCK, scenario.RELIEF_WEEK,
        scenario.TURBIDIMETER_DEAD, scenario.CHLORINE_DRIFT, scenario.FILTER_1_ZERO, scenario.Span(*scenario.FROST),
    )  # fmt: skip
    for span in spans:
        assert any(span.start <= moment <= span.end for moment in named), span
    assert scenario.YEAR_END in named
    hours = re.findall(r"demo-plant --at \"(.*?)\"", PAGE.read_text(encoding="utf-8"))
    assert hours and scenario.local(hours[0]) in named


def test_the_last_moment_asks_for_a_backwash_and_a_batch_and_doubts_nothing(desk: Desk) -> None:
    found = desk.at("2026-10-31 15:45")
    assert found.order_state in ("soon", "do_now")
    assert [advice.id for advice in found.advice if advice.state == "unknown"] == []
    assert line(found, "run_filter_2").state == "soon"
    assert line(found, "run_filter_1").state == "steady"
    assert line(found, "chlorine_tank").state == "soon"
    assert line(found, "gaps").state == "steady"


def test_in_the_great_storm_the_intake_is_to_be_held(desk: Desk) -> None:
    found = desk.at("2026-09-12 13:00")
    assert found.order_state == "do_now"
    assert line(found, "plant_flow").value == 0


def test_no_setting_is_given_while_a_key_instrument_is_silent_or_stuck(desk: Desk) -> None:
    for text in ("2026-02-10 16:00", "2026-06-04 07:00", "2026-07-29 11:00"):
        found = desk.at(text)
        assert found.order_state == "unknown", text
        assert line(found, "plant_flow").value is None or line(found, "coagulant_dose").value is None, text


def test_contact_time_is_enough_all_year_and_least_in_the_cold(desk: Desk) -> None:
    ratios: dict[str, float] = {}
    for month in (*range(11, 13), *range(1, 11)):
        text = f"{2025 if month > 10 else 2026}-{month:02d}-20 11:00"
        value = line(desk.at(text), "contact_time").value
        assert value is not None and value > 1, text
        ratios[text] = value
    coldest, warmest = ratios["2026-01-20 11:00"], ratios["2026-07-20 11:00"]
    assert coldest < 0.6 * warmest


def test_most_ordinary_hours_ask_for_nothing_at_once(desk: Desk) -> None:
    moment = datetime(2025, 11, 5, 10, 30)  # noqa: DTZ001  # on Emberly's clock
    states = []
    while moment < datetime(2026, 10, 25):  # noqa: DTZ001
        states.append(desk.at(moment.isoformat(" ")).order_state)
        moment += timedelta(days=29, hours=1)
    assert len(states) == 13
    assert states.count("unknown") == 0
    assert states.count("do_now") <= 3

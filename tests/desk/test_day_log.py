"""What is written in the day log is stored as it was typed, or refused in one sentence with nothing changed."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from tests.desk.scene import NOW, Scene

from weirhouse.desk.day_log import (
    DayLogError,
    end_event,
    entries,
    ongoing,
    write_dose_change,
    write_event,
    write_note,
    write_reading,
)
from weirhouse.plant import Plant
from weirhouse.quantity import QuantityError
from weirhouse.records.store import Store
from weirhouse.situation import at

WHO = {"person": "A. Operator", "at": NOW, "now": NOW}


@pytest.fixture
def log(tmp_path: Path) -> Iterator[tuple[Store, Plant]]:
    scene = Scene(tmp_path / "plant")
    with scene.build() as store:
        yield store, scene.plant


@pytest.mark.parametrize(
    ("channel", "text", "inside", "qualifier"),
    [
        ("raw_turbidity", "3.2", 3.2, ""),
        ("raw_turbidity", " 3.2 NTU ", 3.2, ""),
        ("raw_turbidity", "1,200", 1200.0, ""),
        ("plant_flow", "140", 140 * 231 * 0.0254**3 / 60, ""),
        ("plant_flow", "8.8 L/s", 0.0088, ""),
        ("raw_temperature", "-0.5 degC", -0.5, ""),
        ("raw_temperature", "32", 0.0, ""),
        ("raw_ph", "7.4", 7.4, ""),
        ("combined_turbidity", "<0.02", 0.02, "<"),
        ("combined_turbidity", "> 20 NTU", 20.0, ">"),
        ("combined_turbidity", "ND", None, "ND"),
        ("storage_level", "20 ft 6 in", 20.5 * 0.3048, ""),
        ("coagulant_setting", "36 percent", 0.36, ""),
    ],
)
def test_a_reading_is_stored_as_it_was_typed(log, channel, text, inside, qualifier):
    store, plant = log
    write_reading(store, plant, channel, text, **WHO)
    (found,) = store.readings(channel)
    assert found.text == text.strip() and found.qualifier == qualifier and found.person == "A. Operator"
    assert found.value == (None if inside is None else pytest.approx(inside, abs=1e-12, rel=1e-12))
    point = store.latest(channel, NOW)
    assert point.time == NOW and point.person == "A. Operator"


@pytest.mark.parametrize(
    ("channel", "text", "says"),
    [
        ("raw_turbidity", "", "Raw turbidity is empty"),
        ("raw_turbidity", "3.2 gpm", '"gpm" does not measure this'),
        ("raw_turbidity", "abc", '"abc"'),
        ("raw_turbidity", "3,2", "Use a point for decimals"),
        ("raw_turbidity", "<", "empty"),
        ("raw_turbidity", "inf", '"inf"'),
        ("raw_turbidity", "1e400", "1e400"),
        ("nonsense", "3", '"nonsense" is no channel of this plant'),
    ],
)
def test_a_reading_that_cannot_be_is_refused_in_one_sentence(log, channel, text, says):
    store, plant = log
    with pytest.raises((DayLogError, QuantityError)) as refusal:
        write_reading(store, plant, channel, text, **WHO)
    said = str(refusal.value)
    assert says in said and "\n" not in said and said.endswith(".")
    assert store.readings() == []


def test_nobody_and_the_time_ahead_are_refused(log):
    store, plant = log
    for wrong, says in (
        ({"person": " "}, "Nobody is named"),
        ({"at": NOW + timedelta(minutes=6)}, "lies ahead"),
        ({"at": datetime(2026, 6, 17, 14, 0)}, "has no time zone"),  # noqa: DTZ001 - what is refused
    ):
        with pytest.raises(DayLogError, match=says):
            write_note(store, plant, "Creek is rising.", **{**WHO, **wrong})
        with pytest.raises(DayLogError, match=says):
            write_reading(store, plant, "raw_turbidity", "3", **{**WHO, **wrong})
    assert store.events() == [] and store.readings() == []


def test_the_same_entry_sent_twice_is_one(log):
    store, plant = log
    for _ in range(2):
        write_note(store, plant, "Creek is rising.", id="note-1", **WHO)
        write_reading(store, plant, "raw_turbidity", "3.2", id="reading-1", **WHO)
    assert len(store.events()) == 1 and len(store.readings()) == 1


def test_an_event_names_what_it_was_done_to(log):
    store, plant = log
    with pytest.raises(DayLogError, match=r"Which filter is not said\. Choose one of: Filter 1, Filter 2"):
        write_event(store, plant, "backwash", **WHO)
    with pytest.raises(DayLogError, match='"filter_9" is no filter of this plant'):
        write_event(store, plant, "backwash", subject="filter_9", **WHO)
    with pytest.raises(DayLogError, match="is no channel of this plant"):
        write_event(store, plant, "instrument_fault", subject="turbidimeter", **WHO)
    with pytest.raises(DayLogError, match="is no kind of entry"):
        write_event(store, plant, "dance", **WHO)
    with pytest.raises(DayLogError, match="lies before the start"):
        write_event(store, plant, "outage", until=NOW - timedelta(hours=1), **WHO)
    assert store.events() == []
    write_event(store, plant, "backwash", subject="filter_1", until=NOW + timedelta(minutes=4), **WHO)
    assert store.events()[0].subject == "filter_1"


def test_what_is_written_is_in_force_at_once(log):
    store, plant = log
    write_reading(store, plant, "raw_turbidity", "3.2", flag="doubtful", **WHO)
    assert at(store, plant, NOW).value("raw_turbidity").state == "flagged"
    write_reading(store, plant, "raw_turbidity", "3.4", **{**WHO, "at": NOW + timedelta(minutes=1)})
    assert at(store, plant, NOW + timedelta(minutes=1)).value("raw_turbidity").state == "fresh"


def test_a_day_of_the_log_is_a_day_on_the_plants_clock(log):
    """25 hours on the day the clocks go back; both hours that are called 01:30 are on it, in their order."""
    store, plant = log
    first = datetime(2026, 11, 1, 4, 0, tzinfo=UTC)  # midnight
    after = (0, 90, 150, 24 * 60 + 59, 25 * 60)  # minutes
    moments = [first - timedelta(seconds=1), *(first + timedelta(minutes=m) for m in after)]
    for number, moment in enumerate(moments):
        write_note(store, plant, f"note {number}", person="A. Operator", at=moment, now=moments[-1])
    found = entries(store, plant, date(2026, 11, 1))
    assert [line.text for line in found] == ["note 1", "note 2", "note 3", "note 4"]
    assert [f"{line.at:%H:%M %z}" for line in found[1:3]] == ["01:30 -0400", "01:30 -0500"]


def test_the_log_shows_what_was_read_and_is_searched(log):
    store, plant = log
    write_note(store, plant, "Creek is rising, brown.", **WHO)
    write_reading(store, plant, "combined_turbidity", "<0.02", note="bench", **WHO)
    write_event(store, plant, "instrument_fault", subject="raw_turbidity", note="wiper jammed", **WHO)
    day = NOW.astimezone(plant.zone).date()
    texts = {line.title: line.text for line in entries(store, plant, day)}
    assert texts["Note"] == "Creek is rising, brown."
    assert texts["Instrument fault"] == "Raw turbidity: wiper jammed"
    assert texts["Combined filter effluent"] == "<0.02 NTU: bench"
    assert [line.title for line in entries(store, plant, day, search="brown CREEK")] == ["Note"]
    assert entries(store, plant, day, search="rain") == ()


def test_a_changed_dose_is_in_force_at_once(log):
    store, plant = log
    before = {**WHO, "at": NOW - timedelta(hours=3)}
    write_reading(store, plant, "coagulant_dose", "15 mg/L", **before)
    write_dose_change(store, plant, "coagulant", "0.018 kg/m^3", before="15", **WHO)
    feed = at(store, plant, NOW).feeds["coagulant"]
    assert feed.dose.usable == pytest.approx(18.0) and feed.since == NOW
    assert at(store, plant, NOW - timedelta(minutes=1)).feeds["coagulant"].dose.usable == 15.0
    (change,) = store.events(("dose_change",))
    assert change.values == {"from": pytest.approx(15.0), "to": pytest.approx(18.0)}
    for wrong, field in (({"to": ""}, "to"), ({"to": "3 NTU"}, "to"), ({"to": "1", "before": "x"}, "from")):
        with pytest.raises(DayLogError) as refusal:
            write_dose_change(store, plant, "coagulant", wrong["to"], before=wrong.get("before", ""), **WHO)
        assert refusal.value.field == field
    assert len(store.events()) == 1 and len(store.readings("coagulant_dose")) == 2


def test_what_goes_on_is_given_its_end(log):
    store, plant = log
    begun = {**WHO, "at": NOW - timedelta(days=9)}
    fault = write_event(store, plant, "instrument_fault", subject="raw_turbidity", **begun)
    write_event(store, plant, "backwash", subject="filter_1", **begun)  # its end was forgotten: it is over all the same
    wash = write_event(store, plant, "backwash", subject="filter_2", **{**WHO, "at": NOW - timedelta(hours=1)})
    write_event(store, plant, "power_failure", until=NOW, **begun)
    assert [event.id for event in ongoing(store, NOW)] == [fault.id, wash.id]
    with pytest.raises(DayLogError, match="lies before the start"):
        end_event(store, plant, fault.id, **{**WHO, "at": NOW - timedelta(days=10)})
    with pytest.raises(DayLogError, match="Nobody is named"):
        end_event(store, plant, fault.id, **{**WHO, "person": ""})
    end_event(store, plant, fault.id, **WHO)
    assert [event.id for event in ongoing(store, NOW)] == [wash.id]
    (kept,) = store.events(("instrument_fault",))
    assert (kept.started_at, kept.ended_at) == (begun["at"], NOW)
    with pytest.raises(DayLogError, match="is over already"):
        end_event(store, plant, fault.id, **WHO)
    assert store.verify() == []

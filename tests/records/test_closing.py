"""What is closed stays as it was: into it go corrections, and late entries that say why."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from importlib import resources
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.records.sample import NOW, event, every_minute, minutes, put, reading
from tests.records.test_samples import result, sample

from weirhouse.records.closing import bounds, closing
from weirhouse.records.model import ClosedError, RecordsError
from weirhouse.records.store import Store

ZONE = "America/New_York"
# Until 2011 their clocks went back at 00:01: the last hour of a day came twice, with a minute of the next one between.
AFTER_MIDNIGHT = ("America/Goose_Bay", "America/Moncton", "America/St_Johns")
DAY = "2026-05-01"  # holds minutes(0), which is 08:00 there
WHY = {"person": "M. Ode", "reason": "misread", "entered_at": NOW}


@pytest.fixture
def store(home):
    with Store.open(home, create=True) as opened:
        yield opened


def close(store, subject=DAY, zone=ZONE, at=NOW, person="R. Hale"):
    store.add_events([closing(subject, zone, person=person, at=at)], entered_at=at)


@pytest.mark.parametrize(
    ("subject", "hours", "first"),
    [
        ("2026-03-08", 23, datetime(2026, 3, 8, 5, tzinfo=UTC)),
        ("2026-11-01", 25, datetime(2026, 11, 1, 4, tzinfo=UTC)),
        ("2026-05-01", 24, datetime(2026, 5, 1, 4, tzinfo=UTC)),
        ("2026-11", 30 * 24 + 1, datetime(2026, 11, 1, 4, tzinfo=UTC)),
        ("2026-12", 31 * 24, datetime(2026, 12, 1, 5, tzinfo=UTC)),
    ],
)
def test_a_day_and_a_month_are_those_of_the_plant_with_the_hours_that_they_have(subject, hours, first):
    begin, end = bounds(subject, ZONE)
    assert begin == first
    assert (end - begin) == timedelta(hours=hours)


def north_american() -> list[str]:
    """The zones of the United States, Canada, Mexico, Cuba and Greenland, as the IANA's own table lists them."""
    table = (resources.files("tzdata") / "zoneinfo" / "zone.tab").read_text("utf-8")
    rows = [line.split("\t") for line in table.splitlines() if not line.startswith("#")]
    return sorted(row[2] for row in rows if row[0] in ("US", "CA", "MX", "CU", "GL"))


def test_the_table_of_zones_is_whole():
    assert len(north_american()) > 60 and {"America/New_York", "America/Havana"} <= set(north_american())


@pytest.mark.parametrize("zone", [*north_american(), "Europe/Paris"])
def test_each_change_of_the_clock_makes_a_day_as_long_as_its_hours_in_utc(zone):
    """Of every day from 2000 to 2040; in Havana the clock goes forward at midnight itself."""
    here = ZoneInfo(zone)
    day, begin = date(2000, 1, 1), bounds("2000-01-01", zone)[0]
    while day.year < 2041:
        after = datetime.combine(day + timedelta(days=1), time(), here).astimezone(UTC)
        if after - begin != timedelta(hours=24) or day.day == 1:
            assert bounds(str(day), zone) == (begin, after)
            if day.year < 2012 and zone in AFTER_MIDNIGHT:
                day, begin = day + timedelta(days=1), after
                continue
            quarters = [begin + timedelta(minutes=15 * n) for n in range(-12, 120)]
            assert sum(at.astimezone(here).date() == day for at in quarters) * timedelta(minutes=15) == after - begin
        day, begin = day + timedelta(days=1), after


@given(
    st.dates(min_value=date(2000, 1, 1), max_value=date(2040, 12, 30)),
    st.sampled_from([*north_american(), "Europe/Paris"]),
)
def test_the_days_follow_each_other_without_a_gap_and_a_moment_lies_in_its_own_local_day(day, zone):
    begin, end = bounds(str(day), zone)
    assert bounds(str(day + timedelta(days=1)), zone)[0] == end
    for moment in (begin, end - timedelta(microseconds=1)):
        assert moment.astimezone(ZoneInfo(zone)).date() == day


@pytest.mark.parametrize("subject", ["", "yesterday", "2026-13", "2026-02-30", "2026-5-1", "2026"])
def test_what_is_no_day_or_month_is_not_closed(store, subject):
    with pytest.raises(RecordsError, match="no day or month that can be closed"):
        close(store, subject)
    with pytest.raises(RecordsError, match="no time zone"):
        close(store, DAY, "Mars/Olympus")
    assert store.closings() == []


def test_nothing_new_is_stored_into_a_closed_day_and_the_sentence_says_what_to_do(store):
    close(store)
    with pytest.raises(ClosedError) as told:
        store.add_readings([reading(at=6000), reading(at=0)], entered_at=NOW)
    assert str(told.value) == (
        "2026-05-01 was closed by R. Hale on 2026-05-31 12:00 UTC, and the reading raw_turbidity of 2026-05-01 12:00 "
        "UTC by R. Hale would come into it. Nothing was stored. Correct the entry that is wrong, or say why this one "
        "comes late."
    )
    assert told.value.period == DAY
    with pytest.raises(ClosedError):
        store.add_events([event(at=0)], entered_at=NOW)
    with pytest.raises(ClosedError):
        put(store, readings=(reading(),))
    assert store.readings() == []
    assert [e.kind for e in store.events()] == ["closed"]
    assert store.imports() == []


def test_the_day_ends_at_the_plants_midnight(store):
    close(store)
    last = minutes(16 * 60)  # 2026-05-02 00:00 at the plant
    store.add_readings([replace(reading(), taken_at=last)], entered_at=NOW)
    store.add_readings([replace(reading(), taken_at=minutes(-8 * 60 - 1))], entered_at=NOW)
    for closed in (last - timedelta(seconds=1), minutes(-8 * 60)):
        with pytest.raises(ClosedError):
            store.add_readings([replace(reading(), taken_at=closed)], entered_at=NOW)


def test_an_event_that_reaches_into_a_closed_day_lies_in_it(store):
    close(store)
    before = bounds(DAY, ZONE)[0]
    wash = replace(event(), started_at=before - timedelta(minutes=5), ended_at=before + timedelta(minutes=5))
    with pytest.raises(ClosedError):
        store.add_events([wash], entered_at=NOW)
    store.add_events([replace(wash, ended_at=None)], entered_at=NOW)


def test_a_late_entry_with_its_reason_is_stored_marked_and_sealed(store):
    close(store)
    late, note = reading(), event("note", 5, values={}, note="otter on the weir")
    assert store.add_readings([late], entered_at=NOW, reason="found on the clipboard") == 1
    assert store.add_events([note], entered_at=NOW, reason="told by the relief") == 1
    put(store, every_minute(3), reason="logger read out late")
    assert [(e.kind, e.reason, e.late()) for e in store.log(until=minutes(1000))] == [
        ("reading", "found on the clipboard", True), ("event", "told by the relief", True),
    ]  # fmt: skip
    assert store.history(late.id)[0].reason == "found on the clipboard"
    assert store.verify() == []


def test_an_entry_that_is_in_the_records_already_may_come_again_after_the_day_was_closed(store):
    one, two = reading(), event()
    store.add_readings([one], entered_at=NOW)
    store.add_events([two], entered_at=NOW)
    close(store)
    assert store.add_readings([one], entered_at=NOW) == 0
    assert store.add_events([two], entered_at=NOW) == 0
    with pytest.raises(ClosedError):
        store.add_readings([one, reading(9.0)], entered_at=NOW)


def test_what_is_wrong_in_a_closed_day_is_corrected_or_withdrawn_with_a_reason(store):
    one, two = reading(50.0), event()
    id = put(store, every_minute(10))
    store.add_readings([one], entered_at=NOW)
    store.add_events([two], entered_at=NOW)
    close(store)
    store.correct(one.id, replace(one, value=5.0), **WHY)
    store.correct(two.id, None, **WHY)
    store.withdraw_import(id, **WHY)
    assert [r.value for r in store.readings()] == [5.0]
    assert [e.kind for e in store.events()] == ["closed"]
    assert not len(store.values("raw_turbidity", readings=False))
    assert store.verify() == []


def test_what_is_closed_is_neither_opened_nor_closed_twice_nor_made_of_another_event(store):
    first = closing(DAY, ZONE, person="R. Hale", at=NOW)
    assert store.add_events([first], entered_at=NOW) == 1
    assert store.add_events([first], entered_at=NOW) == 0  # sent again
    with pytest.raises(RecordsError, match=r"2026-05-01 was closed by R\. Hale on 2026-05-31 12:00 UTC, and stays"):
        close(store, person="M. Ode")
    with pytest.raises(RecordsError, match="stays closed"):
        store.correct(first.id, None, **WHY)
    note = event("note", 60 * 24 * 20)
    store.add_events([note], entered_at=NOW)
    with pytest.raises(RecordsError, match="stays closed"):
        store.correct(note.id, closing("2026-05-02", ZONE, person="M. Ode", at=NOW), **WHY)
    assert [(p.subject, p.person) for p in store.closings()] == [(DAY, "R. Hale")]


def test_a_day_is_not_closed_before_it_is_over(store):
    end = bounds(DAY, ZONE)[1]
    with pytest.raises(RecordsError, match="2026-05-01 is not over yet"):
        close(store, at=end - timedelta(minutes=1))
    close(store, at=end)


def test_a_closed_month_holds_all_its_days_and_the_newest_closing_is_named(store):
    close(store)
    close(store, "2026-04", at=NOW)
    with pytest.raises(ClosedError) as told:
        store.add_readings([reading(at=-60 * 24 * 3)], entered_at=NOW)
    assert told.value.period == "2026-04"
    store.add_readings([reading(at=60 * 24 * 2)], entered_at=NOW)
    june = datetime(2026, 6, 2, tzinfo=UTC)
    close(store, "2026-05", at=june)
    with pytest.raises(ClosedError) as told:
        store.add_readings([reading(at=60 * 24 * 2)], entered_at=june)
    assert told.value.period == "2026-05"
    with pytest.raises(ClosedError) as told:
        store.add_readings([reading(at=0)], entered_at=june)
    assert told.value.period == DAY


def test_an_import_that_says_the_same_of_a_closed_day_is_taken_and_one_that_says_other_is_not(store):
    """A logger's file often holds the days before as well."""
    put(store, every_minute(60 * 24), name="week 1.csv")
    close(store)
    with pytest.raises(ClosedError, match=r"and other values of raw_turbidity from week 2\.csv would come into it"):
        put(store, every_minute(60 * 24, base=2.0), name="week 2.csv")
    with pytest.raises(ClosedError):  # a minute more, ahead of what was there
        put(store, every_minute(60 * 24, start=-1), name="week 2.csv")
    with pytest.raises(ClosedError):
        put(store, every_minute(10, channel="toc"), name="week 2.csv")
    put(store, every_minute(60 * 48), name="week 2.csv")  # a day more
    put(store, every_minute(60, start=60 * 24, base=9.0), name="week 3.csv")  # after the closed day
    assert [i.name for i in store.imports()] == ["week 1.csv", "week 2.csv", "week 3.csv"]
    put(store, every_minute(60 * 24, base=2.0), name="mended.csv", reason="the logger had lost its scale")
    assert store.values("raw_turbidity").values[0] == 2.0
    assert store.verify() == []


def test_what_a_laboratory_sends_is_held_to_the_closed_month_of_its_sample_not_to_the_day(store):
    one = sample()
    store.add_samples([one], entered_at=NOW)
    close(store)
    store.add_results([result(one)], entered_at=NOW)
    june = datetime(2026, 6, 2, tzinfo=UTC)
    close(store, "2026-05", at=june)
    with pytest.raises(ClosedError, match="2026-05 was closed"):
        store.add_results([result(one)], entered_at=june)
    with pytest.raises(ClosedError, match="2026-05 was closed"):
        store.add_samples([sample(60)], entered_at=june)
    assert store.add_results([result(one)], entered_at=june, reason="report came on paper") == 1
    assert store.add_samples([sample(60 * 24 * 40)], entered_at=june + timedelta(days=20)) == 1


def test_another_who_closes_meanwhile_is_noticed(store):
    store.add_readings([reading()], entered_at=NOW)
    with Store.open(store.folder) as other:
        close(other)
    with pytest.raises(ClosedError):
        store.add_readings([reading()], entered_at=NOW)


def test_the_log_tells_who_entered_what_when_and_finds_words(store):
    note = event("note", 5, values={}, note="Otter on the weir", person="M. Ode")
    soon = reading(at=0)
    store.add_readings([soon], entered_at=minutes(10))
    store.add_events([note], entered_at=minutes(5 + 24 * 60 + 1))
    store.add_samples([sample(60, note="flushed, otter seen")], entered_at=NOW)
    told = store.log()
    assert [(e.kind, e.person, e.late()) for e in told] == [
        ("reading", "R. Hale", False), ("event", "M. Ode", True), ("sample", "R. Hale", False),
    ]  # fmt: skip
    assert told[0].late(after=timedelta(minutes=5))
    assert [e.kind for e in store.log(words="OTTER")] == ["event", "sample"]
    assert [e.kind for e in store.log(words="otter weir")] == ["event"]
    assert [e.kind for e in store.log(kinds=["sample"], words="courier")] == ["sample"]
    assert store.log(since=minutes(61)) == []

"""Entries are only added, count until replaced, and are sealed one onto the other."""

import hashlib
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from tests.records.conftest import on_server
from tests.records.sample import DATABASE_ERRORS, NOW, START, event, inside, minutes, reading, without_triggers

from weirhouse.records.model import RecordsError
from weirhouse.records.store import Store


@pytest.fixture
def store(home):
    with Store.open(home, create=True) as opened:
        yield opened


def test_readings_come_back_as_they_were_given(store):
    given = [
        reading(5.25, 0, text="5,25", note="brown since 9", device="bench meter 2"),
        reading(0.02, 1, channel="toc", qualifier="<", text="<0.02", unit="mg/L"),
        reading(None, 2, channel="toc", qualifier="ND", text="ND", unit="mg/L"),
        reading(4000.0, 3, qualifier=">", flag="doubtful", text="OVER \N{GREEK SMALL LETTER MU} \U0001f4a7"),
    ]
    assert store.add_readings(given, entered_at=NOW) == 4
    assert store.readings() == given
    assert store.readings("toc") == given[1:3]
    assert store.readings(since=minutes(1), until=minutes(3)) == given[1:3]  # the end is left out


def test_events_come_back_as_they_were_given_and_are_found_by_kind_time_and_subject(store):
    given = [
        event("backwash", 0, values={"volume": 11.5, "rate": 0.012, "by": "hand"}),
        event("backwash", 60, subject="filter_2"),
        event("note", 120, subject="", values={}, note="otter on the weir"),
    ]
    assert store.add_events(reversed(given), entered_at=NOW) == 3
    assert store.events() == given
    assert store.events("note") == store.events(["note"]) == given[2:]
    assert store.events(["backwash", "note"], since=minutes(60)) == given[1:]
    assert store.events(until=minutes(60)) == given[:1]
    assert store.events(subject="filter_2") == given[1:2]
    assert store.events([]) == []


def test_times_are_kept_to_the_microsecond_whatever_zone_they_came_in(store):
    taken = datetime(2026, 5, 1, 8, 0, 0, 123457, tzinfo=timezone(timedelta(hours=-4)))
    store.add_readings([replace(reading(), taken_at=taken)], entered_at=NOW)
    (found,) = store.readings()
    assert found.taken_at == taken
    assert found.taken_at.utcoffset() == timedelta(0)
    assert store.readings(since=taken) and not store.readings(until=taken)


def test_an_entry_sent_again_is_stored_once(store):
    one, two = reading(5.0), event()
    assert store.add_readings([one, one], entered_at=NOW) == 1
    assert store.add_readings([one, reading(6.0, 1)], entered_at=NOW + timedelta(hours=1)) == 1
    assert store.add_events([two], entered_at=NOW) == 1
    assert store.add_events([two], entered_at=NOW + timedelta(hours=1)) == 0
    assert (len(store.readings()), len(store.events())) == (2, 1)


def test_an_id_that_comes_with_other_content_is_refused_and_nothing_of_the_batch_is_stored(store):
    one = reading(5.0, id="round-7")
    store.add_readings([one], entered_at=NOW)
    with pytest.raises(RecordsError, match=r'"round-7" is in the records with other content .*Nothing was stored'):
        store.add_readings([reading(1.0, 9), replace(one, value=6.0)], entered_at=NOW)
    assert store.readings() == [one]
    assert store.verify() == []


def test_a_correction_takes_the_place_of_what_it_corrects_and_both_stay_in_the_history(store):
    first = reading(50.0, text="50")
    store.add_readings([first], entered_at=NOW)
    second_id = store.correct(
        first.id, replace(first, value=5.0, text="5.0"), person="M. Ode", reason="point left out", entered_at=NOW
    )
    assert [r.value for r in store.readings()] == [5.0]
    assert [r.id for r in store.readings()] == [second_id]
    third_id = store.correct(second_id, None, person="M. Ode", reason="wrong bottle", entered_at=NOW)
    assert store.readings() == []
    told = store.history(second_id)
    assert [entry.id for entry in told] == [first.id, second_id, third_id]
    assert [entry.item and entry.item.value for entry in told] == [50.0, 5.0, None]
    assert [entry.reason for entry in told] == ["", "point left out", "wrong bottle"]
    assert [entry.person for entry in told] == ["R. Hale", "M. Ode", "M. Ode"]
    assert store.verify() == []


def test_a_correction_sent_again_changes_nothing_and_one_of_an_old_form_is_refused(store):
    first = reading(50.0)
    store.add_readings([first], entered_at=NOW)
    said = {"person": "M. Ode", "reason": "typing", "entered_at": NOW}
    assert store.correct(first.id, replace(first, value=5.0), **said) == store.correct(
        first.id, replace(first, value=5.0), **said
    )
    with pytest.raises(RecordsError, match=r"was corrected by M\. Ode on 2026-05-31 12:00 UTC"):
        store.correct(first.id, replace(first, value=7.0), **said)
    assert [r.value for r in store.readings()] == [5.0]


def test_a_value_may_be_corrected_there_and_back(store):
    first = reading(50.0)
    store.add_readings([first], entered_at=NOW)
    id = first.id
    for value in (5.0, 50.0, 5.0, 50.0):
        said = {"person": "M. Ode", "reason": "unsure", "entered_at": NOW}
        id = store.correct(id, replace(first, value=value, id=id), **said)
        assert [r.value for r in store.readings()] == [value]
    assert len(store.history(id)) == 5


def test_an_event_is_corrected_by_an_event_only(store):
    wash = event()
    store.add_events([wash], entered_at=NOW)
    said = {"person": "M. Ode", "reason": "the other filter", "entered_at": NOW}
    with pytest.raises(RecordsError, match="is an event; a reading cannot take its place"):
        store.correct(wash.id, reading(), **said)
    new = store.correct(wash.id, replace(wash, subject="filter_2"), **said)
    gone = store.correct(new, None, **said)
    with pytest.raises(RecordsError, match="is a withdrawal, and is not corrected"):
        store.correct(gone, None, **said)
    assert store.events() == []


def test_a_corrected_event_is_found_by_what_it_was_corrected_to(store):
    wash = event()
    store.add_events([wash], entered_at=NOW)
    store.correct(wash.id, replace(wash, subject="filter_2"), person="M. Ode", reason="other filter", entered_at=NOW)
    assert store.events(subject="filter_1") == []
    assert [e.subject for e in store.events()] == ["filter_2"]


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        (reading(float("nan")), "no finite number"),
        (reading(float("inf")), "no finite number"),
        (reading(channel=""), "has no channel"),
        (reading(person=""), "Nobody and no device is named"),
        (reading(id=""), "has no id"),
        (reading(qualifier="~"), 'qualifier "~"'),
        (reading(flag="bad"), 'flag "bad"'),
        (replace(reading(), taken_at=START.replace(tzinfo=None)), "has no time zone"),
        (reading(note="\ud83d"), "half of a character"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_reading_that_cannot_be_is_refused_with_the_rest_of_its_batch(store, wrong, told):
    with pytest.raises(RecordsError, match=told):
        store.add_readings([reading(1.0), wrong], entered_at=NOW)
    assert store.readings() == []


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        (event(""), "has no kind"),
        (replace(event(), ended_at=minutes(-1)), "lies before its start"),
        (event(values={"volume": float("nan")}), 'value "volume"'),
        (event(person=" "), "Nobody"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_an_event_that_cannot_be_is_refused(store, wrong, told):
    with pytest.raises(RecordsError, match=told):
        store.add_events([wrong], entered_at=NOW)
    assert store.events() == []


def test_an_unknown_id_is_named(store):
    with pytest.raises(RecordsError, match='No entry has the id "nowhere"'):
        store.correct("nowhere", None, person="M. Ode", reason="none", entered_at=NOW)
    with pytest.raises(RecordsError, match="say who does it and why"):
        store.correct("nowhere", None, person="M. Ode", reason="", entered_at=NOW)


def filled(store):
    """Five readings and a correction: six entries."""
    some = [reading(float(i), i, id=f"r{i}") for i in range(5)]
    store.add_readings(some, entered_at=NOW)
    store.correct("r4", replace(some[4], value=9.0), person="M. Ode", reason="typing", entered_at=NOW)
    assert store.verify() == []


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entry SET body = '{}' WHERE sequence = 2",
        "DELETE FROM entry WHERE sequence = 2",
        "INSERT INTO entry SELECT * FROM entry WHERE sequence = 2 ON CONFLICT (sequence) DO UPDATE SET body = '{}'",
        "UPDATE origin SET pair = 'x'",
        "DELETE FROM origin",
        "DELETE FROM head",
        "UPDATE head SET sequence = 1",
    ],
)
def test_the_file_itself_refuses_to_change_or_remove_an_entry(store, home, statement):
    filled(store)
    with inside(home, "records.sqlite") as raw, pytest.raises(DATABASE_ERRORS, match="only added to"):
        raw.execute(statement)
    assert store.verify() == []


@pytest.mark.parametrize(
    ("statements", "told"),
    [
        (["UPDATE entry SET body = replace(body, '\"value\":1.0', '\"value\":0.1') WHERE sequence = 2"],
         "entry 2 (reading raw_turbidity of 2026-05-01 12:01 UTC by R. Hale, id r1) was altered"),
        (["UPDATE entry SET at = at + 1 WHERE sequence = 3"], "entry 3 (reading raw_turbidity"),
        (["UPDATE entry SET value = 0.1 WHERE sequence = 3"], "is filed wrongly: value is 0.1, not 2.0"),
        (["UPDATE entry SET flag = 2 WHERE sequence = 3"], "is filed wrongly: flag is 2, not 0"),
        (["UPDATE entry SET replaces = NULL WHERE sequence = 6"], "entry 6 (reading raw_turbidity"),
        (["UPDATE entry SET body = 'no longer JSON' WHERE sequence = 4"], "entry 4 (reading raw_turbidity, id r3)"),
        (["DELETE FROM entry WHERE sequence = 3"], "entry 3 is missing before entry 4"),
        (["DELETE FROM entry WHERE sequence IN (2, 3)"], "entries 2 to 3 are missing before entry 4"),
        (["DELETE FROM entry WHERE sequence = 6"], "the last entries, 6 to 6, are missing"),
        (["UPDATE entry SET sequence = 99 WHERE sequence = 2", "UPDATE entry SET sequence = 2 WHERE sequence = 3",
          "UPDATE entry SET sequence = 3 WHERE sequence = 99"], "entry 2 (reading raw_turbidity of 2026-05-01 12:02"),
        (["DELETE FROM head"], "does not say where its chain ends"),
    ],
)  # fmt: skip
def test_verify_names_the_first_entry_that_was_altered(store, home, statements, told):
    filled(store)
    with inside(home, "records.sqlite") as raw:
        without_triggers(raw)
        for statement in statements:
            raw.execute(statement)
    problems = store.verify()
    assert told in problems[0]


@pytest.mark.parametrize("column", ["body", "id", "topic"])
def test_verify_names_an_entry_whose_text_is_no_text_any_more(tmp_path, column):
    """One byte of the file that turns over may leave bytes that are no UTF-8."""
    with Store.open(tmp_path, create=True) as store:
        filled(store)
        with inside(tmp_path, "records.sqlite") as raw:
            without_triggers(raw)
            (text,) = raw.execute(f"SELECT {column} FROM entry WHERE sequence = 3").fetchone()
            spoilt = bytearray(text.encode())
            spoilt[-1] ^= 0x80
            raw.execute(f"UPDATE entry SET {column} = CAST(? AS TEXT) WHERE sequence = 3", (bytes(spoilt),))
        problems = store.verify()
        assert problems[0].startswith("records.sqlite: entry 3 (reading raw_turbidity")
        assert problems[0].encode(), "can be printed"
        assert not any("entry 4" in told for told in problems), "what comes after it is sound"


def test_sqlite_does_not_replace_an_entry_either(tmp_path):
    with Store.open(tmp_path, create=True) as store:
        filled(store)
        with inside(tmp_path, "records.sqlite") as raw, pytest.raises(DATABASE_ERRORS, match="only added to"):
            raw.execute("PRAGMA recursive_triggers = ON")
            raw.execute("REPLACE INTO entry SELECT * FROM entry WHERE sequence = 2")
        assert store.verify() == []


def test_a_server_refuses_to_empty_the_tables_and_misses_what_keeps_them(tmp_path, district):
    schema = on_server(tmp_path, district)
    with Store.open(tmp_path, create=True) as store:
        filled(store)
        with inside(tmp_path, "records.sqlite") as raw:
            for table in ("entry", "origin", "head"):
                with pytest.raises(DATABASE_ERRORS, match="only added to"):
                    raw.execute(f"TRUNCATE {table}")
            raw.execute("DROP TRIGGER entry_no_delete ON entry")
            raw.execute("ALTER TABLE entry DISABLE TRIGGER entry_no_update")
        assert store.verify() == [
            f"schema {schema}: what keeps its rows from a change, {name}, is not there. Its rows may be altered."
            for name in ("entry_no_delete", "entry_no_update")
        ]


def test_one_who_seals_an_altered_entry_anew_breaks_the_chain_after_it(store, home):
    filled(store)
    with inside(home, "records.sqlite") as raw:
        without_triggers(raw)
        (before,) = raw.execute("SELECT hash FROM entry WHERE sequence = 1").fetchone()
        (body,) = raw.execute("SELECT body FROM entry WHERE sequence = 2").fetchone()
        altered = body.replace('"value":1.0', '"value":0.1')
        assert altered != body
        seal = hashlib.sha256(before + altered.encode()).digest()
        raw.execute("UPDATE entry SET body = ?, hash = ?, value = 0.1 WHERE sequence = 2", (altered, seal))
    problems = store.verify()
    assert len([told for told in problems if "keeps its rows" not in told]) == 1
    assert "entry 3 (" in problems[0]
    assert "or what comes before it was" in problems[0]


def test_the_chain_can_be_followed_with_nothing_but_a_hash_function(store, home):
    """As docs/decisions describes it, for one who does not trust this program."""
    filled(store)
    with inside(home, "records.sqlite") as raw:
        (pair,) = raw.execute("SELECT pair FROM origin").fetchone()
        rows = raw.execute("SELECT sequence, body, hash FROM entry ORDER BY sequence").fetchall()
    before = hashlib.sha256(f"weirhouse ledger of {pair}".encode()).digest()
    for number, (sequence, body, seal) in enumerate(rows, 1):
        before = hashlib.sha256(before + body.encode("utf-8")).digest()
        assert (sequence, seal) == (number, before)
        said = json.loads(body)
        assert json.dumps(said, sort_keys=True, separators=(",", ":"), ensure_ascii=False) == body
        assert datetime.fromisoformat(said["entered_at"]).astimezone(UTC) == NOW

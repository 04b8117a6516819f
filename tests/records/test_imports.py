"""One file is one entry: it counts whole or not at all, and can be withdrawn whole."""

import re
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from tests.records.sample import NOW, SECONDS, START, every_minute, inside, minutes, put, reading, without_triggers

from weirhouse.records import ledger
from weirhouse.records.model import OK, REJECTED, RecordsError, series
from weirhouse.records.store import Store


@pytest.fixture
def store(home):
    with Store.open(home, create=True) as opened:
        yield opened


def same(found, expected):
    assert found.times.tolist() == expected.times.tolist()
    np.testing.assert_array_equal(found.values, expected.values)
    assert found.flags.tolist() == expected.flags.tolist()


def test_a_series_comes_back_as_it_was_given(store):
    times = SECONDS + np.cumsum(np.tile([60, 61, 59, 600, 1], 3000))
    values = np.where(np.arange(15000) % 7 == 3, np.nan, np.sin(np.arange(15000.0)))
    flags = (np.arange(15000) % 5).astype(np.uint8)
    given = series("raw_turbidity", times, values, flags)
    receipt = store.add_import("a.csv", "d", [given], [], person="R. Hale", entered_at=NOW, detail={"rows": 15000})
    assert (receipt.stored, receipt.already_there) == (15000, 0)
    same(store.values("raw_turbidity"), given)
    middle = store.values("raw_turbidity", minutes(100), minutes(200))
    keep = (times >= SECONDS + 6000) & (times < SECONDS + 12000)
    same(middle, series("raw_turbidity", times[keep], values[keep], flags[keep]))
    assert store.verify() == []


def test_bounds_between_two_seconds_take_what_lies_between_them(store):
    put(store, series("raw_turbidity", [SECONDS, SECONDS + 1, SECONDS + 2], [1.0, 2.0, 3.0]))
    half = timedelta(milliseconds=500)
    assert store.values("raw_turbidity", START + half, START + timedelta(seconds=2)).values.tolist() == [2.0]
    assert store.values("raw_turbidity", START, START + half).values.tolist() == [1.0]
    assert store.values("raw_turbidity", START, START).values.tolist() == []


def test_the_same_rows_of_the_same_file_are_stored_once(store):
    first = store.add_import("a.csv", "d", [every_minute(90)], [], person="R. Hale", entered_at=NOW, detail={})
    again = store.add_import(
        "copy.csv", "d", [every_minute(90)], [], person="M. Ode", entered_at=NOW + timedelta(days=1), detail={}
    )
    assert (again.import_id, again.stored, again.already_there) == (first.import_id, 0, 90)
    assert len(store.imports()) == 1
    assert len(store.values("raw_turbidity")) == 90


def test_another_part_of_the_same_file_is_an_import_of_its_own(store):
    put(store, every_minute(90))
    put(store, every_minute(90, "plant_flow"))
    assert [found.channels for found in store.imports()] == [("raw_turbidity",), ("plant_flow",)]
    assert store.channels() == {"raw_turbidity", "plant_flow"}


def test_rows_out_of_order_are_put_in_order_and_the_last_of_a_stamp_is_kept(store):
    put(store, series("raw_turbidity", [SECONDS + 60, SECONDS, SECONDS + 60], [1.0, 2.0, 3.0]))
    same(store.values("raw_turbidity"), series("raw_turbidity", [SECONDS, SECONDS + 60], [2.0, 3.0]))


def test_two_series_of_one_channel_in_one_file_become_one(store):
    put(store, every_minute(10, start=60), every_minute(10))
    assert len(store.values("raw_turbidity")) == 20
    assert store.verify() == []


def test_the_later_import_wins_on_a_same_stamp(store):
    put(store, every_minute(180, base=1.0), name="a.csv")
    later = put(store, every_minute(60, start=60, base=500.0), name="b.csv")
    values = store.values("raw_turbidity").values
    assert len(values) == 180
    assert values[60:120].min() == 500.0
    assert values[:60].max() < 100 and values[120:].max() < 100
    store.withdraw_import(later, person="M. Ode", reason="wrong meter", entered_at=NOW)
    same(store.values("raw_turbidity"), every_minute(180, base=1.0))
    assert store.verify() == []


def test_a_reading_wins_over_a_series_on_the_same_stamp(store):
    put(store, every_minute(3))
    store.add_readings([reading(77.0, 1, flag="doubtful")], entered_at=NOW)
    put(store, every_minute(3, base=9.0), name="later.csv")
    found = store.values("raw_turbidity")
    assert found.values.tolist() == [9.0, 77.0, 9.2]
    assert found.flags.tolist() == [0, 1, 0]
    assert store.values("raw_turbidity", readings=False).values.tolist() == [9.0, 9.1, 9.2]


def test_flags_of_readings_in_a_series(store):
    some = [
        reading(1.0, 0),
        reading(0.02, 1, qualifier="<"),
        reading(None, 2, qualifier="ND"),
        reading(9.0, 3, qualifier=">"),
        reading(9.0, 4, qualifier=">", flag="doubtful"),
        reading(9.0, 5, flag="rejected"),
    ]
    store.add_readings(some, entered_at=NOW)
    found = store.values("raw_turbidity")
    assert found.flags.tolist() == [0, 3, 3, 4, 1, 2]
    np.testing.assert_array_equal(found.values, [1.0, 0.02, np.nan, 9.0, 9.0, 9.0])


def test_a_withdrawn_import_counts_nowhere_and_stays_in_the_list(store):
    kept = put(store, every_minute(10, "plant_flow"), name="flow.csv")
    id = put(store, every_minute(10), readings=(reading(3.0, 500, channel="toc"),), name="lab.csv")
    assert store.channels() == {"plant_flow", "raw_turbidity", "toc"}
    assert store.span() == (START, minutes(500))
    store.withdraw_import(id, person="M. Ode", reason="another plant's file", entered_at=NOW)
    store.withdraw_import(id, person="M. Ode", reason="pressed twice", entered_at=NOW)
    assert store.channels() == {"plant_flow"}
    assert store.span() == (START, minutes(9))
    assert store.readings() == []
    assert len(store.values("raw_turbidity")) == len(store.rollup("raw_turbidity")) == 0
    assert store.latest("raw_turbidity", NOW) is None
    first, second = store.imports()
    assert (first.id, first.withdrawn) == (kept, None)
    assert second.withdrawn is not None
    assert (second.withdrawn.person, second.withdrawn.reason) == ("M. Ode", "another plant's file")
    assert (second.stored, second.values, second.readings) == (11, 10, 1)
    assert (second.first, second.last) == (START, minutes(500))
    assert store.verify() == []


def test_a_withdrawn_file_can_be_imported_again(store):
    ids = []
    for _ in range(3):
        ids.append(put(store, every_minute(10)))
        assert len(store.values("raw_turbidity")) == 10
        store.withdraw_import(ids[-1], person="M. Ode", reason="unsure", entered_at=NOW)
        assert len(store.values("raw_turbidity")) == 0
    assert len(set(ids)) == 3
    assert store.verify() == []


def test_a_reading_of_an_import_can_be_corrected_and_goes_with_it(store):
    lab = reading(3.0, channel="toc")
    id = put(store, readings=(lab,))
    store.correct(lab.id, replace(lab, value=4.0), person="M. Ode", reason="lab called", entered_at=NOW)
    assert [r.value for r in store.readings("toc")] == [4.0]
    store.withdraw_import(id, person="M. Ode", reason="another plant's", entered_at=NOW)
    assert store.readings("toc") == []
    with pytest.raises(RecordsError, match="came with an import that was withdrawn"):
        store.correct(lab.id, None, person="M. Ode", reason="gone", entered_at=NOW)


def test_a_file_whose_name_is_no_text_can_be_imported(store):
    store.add_import("log\udce9.csv", "d", [every_minute(10)], [], person="R. Hale", entered_at=NOW, detail={})
    assert [one.name for one in store.imports()] == ["log?.csv"]
    assert store.latest("raw_turbidity", NOW).source == "file log?.csv"
    assert store.verify() == []


def test_half_of_a_character_in_a_reason_is_refused(store):
    one = reading()
    store.add_readings([one], entered_at=NOW)
    with pytest.raises(RecordsError, match="half of a character"):
        store.correct(one.id, None, person="M. Ode", reason="\ud83d", entered_at=NOW)
    assert store.readings() == [one]


def test_only_an_import_can_be_withdrawn_as_one(store):
    one = reading()
    store.add_readings([one], entered_at=NOW)
    for id in (one.id, "nowhere"):
        with pytest.raises(RecordsError, match=f'No import has the id "{id}"'):
            store.withdraw_import(id, person="M. Ode", reason="none", entered_at=NOW)


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        (series("raw_turbidity", [0, 60], [1.0, float("inf")]), "is infinite"),
        (series("raw_turbidity", [0, 60], [1.0, 2.0], [0, 9]), "flag of raw_turbidity is 9"),
        (series("", [0], [1.0]), "has no channel"),
        (series("raw_turbidity", [0, 60], [1.0]), "2 times, 1 values"),
        (series("raw_turbidity", [1 << 60], [1.0]), "outside of the years"),
    ],
)
def test_a_series_that_cannot_be_is_refused_with_the_rest_of_its_file(store, wrong, told):
    with pytest.raises(RecordsError, match=told):
        put(store, every_minute(10, "plant_flow"), wrong)
    assert store.imports() == []
    assert store.channels() == set()
    assert store.verify() == []


def test_the_newest_value_is_found_whoever_wrote_it(store):
    put(store, series("raw_turbidity", SECONDS + np.arange(3) * 600, [1.0, np.nan, 3.0], [OK, OK, REJECTED]))
    store.add_readings([reading(2.0, 15, qualifier=">", text=">2"), reading(2.5, 25, device="meter")], entered_at=NOW)

    def newest(at):
        point = store.latest("raw_turbidity", minutes(at))
        return None if point is None else (point.time, point.value, point.flag, point.person, point.source)

    assert newest(-1) is None
    assert newest(0) == (START, 1.0, 0, "", "file logger.csv")
    assert newest(12) == (minutes(10), None, 0, "", "file logger.csv")  # a gap, not the value before it
    assert newest(15) == (minutes(15), 2.0, 4, "R. Hale", 'written ">2"')
    assert newest(22) == (minutes(20), 3.0, 2, "", "file logger.csv")  # rejected, and the newest all the same
    assert newest(9999) == (minutes(25), 2.5, 0, "R. Hale", "meter")
    assert store.latest("plant_flow", NOW) is None


def test_the_newest_of_several_imports_is_that_of_values(store):
    put(store, every_minute(500), name="a.csv")
    put(store, every_minute(10, start=100, base=50.0), name="b.csv")
    gone = put(store, every_minute(900, base=90.0), name="c.csv")
    store.withdraw_import(gone, person="M. Ode", reason="wrong", entered_at=NOW)
    for at in (0, 99.5, 100, 104.2, 109, 110, 499, 700):
        expected = store.values("raw_turbidity", until=minutes(at) + timedelta(seconds=1))
        point = store.latest("raw_turbidity", minutes(at))
        assert (point.time.timestamp(), point.value) == (expected.times[-1], expected.values[-1])


def test_an_empty_file_is_an_entry_all_the_same(store):
    receipt = store.add_import("none.csv", "d", [], [], person="R. Hale", entered_at=NOW, detail={"rows": 0})
    assert receipt.stored == 0
    assert [found.detail for found in store.imports()] == [{"rows": 0}]
    assert store.verify() == []


def zeros(content):
    return bytes(len(content))


@pytest.mark.parametrize(
    ("table", "column", "row", "change", "told"),
    [
        ("chunk", "content", 2, zeros, "import .a.csv. .* were altered"),
        ("chunk", "content", 2, lambda _: b"\x00", "a part of the import .a.csv. .* cannot be read"),
        ("chunk", "flags", 2, lambda _: bytes(4080), None),  # says the same
        ("chunk", "flags", 2, lambda _: bytes(4079) + b"\x01", "were altered"),
        ("chunk", "first", 2, lambda first: first + 60, "cannot be read"),
        ("hours", "content", 1, zeros, "hours of raw_turbidity"),
    ],
)
def test_verify_tells_when_rows_were_altered(store, home, table, column, row, change, told):
    put(store, every_minute(9000), name="a.csv")
    key = "id" if table == "chunk" else "chunk_id"
    with inside(home, "series.sqlite") as raw:
        assert raw.execute("SELECT count FROM chunk WHERE id = 2").fetchone() == (4080,)
        without_triggers(raw)
        (stands,) = raw.execute(f"SELECT {column} FROM {table} WHERE {key} = ?", (row,)).fetchone()
        raw.execute(f"UPDATE {table} SET {column} = ? WHERE {key} = ?", (change(stands), row))
    problems = [found for found in store.verify() if "keeps its rows" not in found]
    if told is None:
        assert problems == []
    else:
        assert re.search(told, problems[0])


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE chunk SET first = first + 60, last = last + 60 WHERE id = 2", "were altered"),
        ("DELETE FROM chunk WHERE id = 2", "were altered: .* are there, 9000 were imported"),
        ("DELETE FROM chunk", "the rows of the import .a.csv. .* are missing"),
    ],
)
def test_verify_tells_when_rows_were_moved_or_removed(store, home, statement, told):
    put(store, every_minute(9000), name="a.csv")
    with inside(home, "series.sqlite") as raw:
        without_triggers(raw)
        raw.execute(statement)
    assert re.search(told, store.verify()[0])


def test_a_part_that_cannot_be_read_is_told_and_not_skipped(store, home):
    put(store, every_minute(9000))
    with inside(home, "series.sqlite") as raw:
        without_triggers(raw)
        raw.execute("UPDATE chunk SET content = ? WHERE id = 2", (b"\x00",))
    with pytest.raises(RecordsError, match=r"is damaged: a part of raw_turbidity cannot be read"):
        store.values("raw_turbidity")


def test_an_import_broken_off_between_the_files_counts_for_nothing_and_is_swept(store, home, monkeypatch):
    put(store, every_minute(100), name="whole.csv")
    with monkeypatch.context() as patch:
        patch.setattr(ledger, "append", lambda *_: (_ for _ in ()).throw(OSError("power gone")))
        with pytest.raises(OSError, match="power gone"):
            put(store, every_minute(5000, base=900.0), name="broken.csv")
    with inside(home, "series.sqlite") as raw:
        assert raw.execute("SELECT count(DISTINCT import_id) FROM chunk").fetchone() == (2,)
    same(store.values("raw_turbidity"), every_minute(100))
    assert len(store.rollup("raw_turbidity")) == 2
    assert store.span() == (START, minutes(99))
    assert store.latest("raw_turbidity", NOW).value == every_minute(100).values[-1]
    assert store.verify() == []
    put(store, every_minute(10, "plant_flow"), name="next.csv")
    with inside(home, "series.sqlite") as raw:
        assert raw.execute("SELECT count(*) FROM chunk").fetchone() == (2,)
        assert raw.execute("SELECT count(*) FROM hours").fetchone() == (2,)
    put(store, every_minute(5000, base=900.0), name="broken.csv")
    assert len(store.values("raw_turbidity")) == 5000
    assert store.verify() == []

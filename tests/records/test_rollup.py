"""Hourly figures are those of the values, whatever was entered, imported, corrected or withdrawn, and in what order."""

import hashlib
import struct
from collections import defaultdict
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.records.sample import NOW, SECONDS, every_minute, inside, minutes, put, reading

from weirhouse.records import chunks
from weirhouse.records.model import REJECTED, RecordsError, series
from weirhouse.records.rollup import RECORD, hourly
from weirhouse.records.store import Store

FIGURES = ("hour", "n", "minimum", "maximum", "total", "last")


def by_hand(found):
    """The hourly figures, worked out value by value in plain Python."""
    hours = defaultdict(list)
    for time, value, flag in zip(found.times.tolist(), found.values.tolist(), found.flags.tolist(), strict=True):
        if value == value and flag != REJECTED:
            hours[time - time % 3600].append(value)
    return [(hour, len(v), min(v), max(v), sum(v), v[-1]) for hour, v in sorted(hours.items())]


def assert_rollup_is_that_of_the_values(store, channel="raw_turbidity", since=None, until=None):
    found = store.rollup(channel, since, until)
    values = store.values(channel, since, until)
    again = hourly(values.times, values.values, values.flags)
    for figure in FIGURES:
        np.testing.assert_array_equal(getattr(found, figure), again[figure])
    for *exact, total, last in by_hand(values):
        i = int(np.searchsorted(found.hour, exact[0]))
        assert [getattr(found, figure)[i] for figure in FIGURES[:4]] == exact
        assert found.total[i] == pytest.approx(total, rel=1e-12)
        assert found.last[i] == last
    assert len(found) == len(by_hand(values))


@pytest.fixture
def store(home):
    with Store.open(home, create=True) as opened:
        yield opened


def test_gaps_and_rejected_values_are_left_out(store):
    put(store, series("raw_turbidity", SECONDS + np.arange(6) * 1200, [1, np.nan, 3, np.nan, np.nan, np.nan]))
    put(store, series("raw_turbidity", [SECONDS + 7200, SECONDS + 7260], [9.0, 4.0], [2, 1]), name="b.csv")
    found = store.rollup("raw_turbidity")
    assert found.hour.tolist() == [SECONDS, SECONDS + 7200]
    assert [found.n.tolist(), found.minimum.tolist(), found.maximum.tolist()] == [[2, 1], [1, 4], [3, 4]]
    assert [found.total.tolist(), found.last.tolist()] == [[4, 4], [3, 4]]


def test_nothing_recorded_gives_no_hours(store):
    assert len(store.rollup("raw_turbidity")) == 0
    put(store, every_minute(10))
    assert len(store.rollup("raw_turbidity", minutes(60))) == 0
    assert len(store.rollup("plant_flow")) == 0


@pytest.mark.parametrize(("since", "until"), [(None, None), (30, 200), (31.5, 89), (60, 120), (59, 60), (-5, 1e6)])
def test_the_hours_at_the_ends_hold_what_lies_inside(store, since, until):
    put(store, every_minute(7000))
    ends = (None if since is None else minutes(since), None if until is None else minutes(until))
    assert_rollup_is_that_of_the_values(store, since=ends[0], until=ends[1])


def test_readings_and_several_imports_in_one_hour(store):
    put(store, every_minute(5000), name="a.csv")
    put(store, every_minute(30, start=90, base=70.0), name="b.csv")  # half an hour of it anew
    put(store, every_minute(100, start=4990), name="c.csv")
    store.add_readings([reading(44.0, 1000.5), reading(55.0, 1001), reading(6.0, 9999)], entered_at=NOW)
    assert_rollup_is_that_of_the_values(store)
    assert_rollup_is_that_of_the_values(store, since=minutes(95), until=minutes(9999.5))
    assert store.verify() == []


def test_the_kept_figures_are_used_and_can_be_lost(store, home):
    put(store, every_minute(5000))
    whole = store.rollup("raw_turbidity")
    with inside(home, "series.sqlite") as raw:
        raw.execute("DELETE FROM hours WHERE chunk_id = 1")
    again = store.rollup("raw_turbidity")
    for figure in FIGURES:
        np.testing.assert_array_equal(getattr(again, figure), getattr(whole, figure))
    with inside(home, "series.sqlite") as raw:  # a wrong figure shows that they are looked at, and is told
        (content,) = raw.execute("SELECT content FROM hours WHERE chunk_id = 2").fetchone()
        wrong = np.frombuffer(content, RECORD).copy()
        wrong["total"] += 1
        raw.execute("UPDATE hours SET content = ? WHERE chunk_id = 2", (wrong.tobytes(),))
    assert not np.array_equal(store.rollup("raw_turbidity").total, whole.total)
    assert "hours of raw_turbidity" in store.verify()[0]


@pytest.mark.parametrize(("day", "hours"), [("2026-03-08", 23), ("2026-11-01", 25), ("2026-07-01", 24)])
def test_a_local_day_has_as_many_hours_as_it_has(store, day, hours):
    """The two clock-change days of 2026 in New York, second Sunday of March and first of November (15 U.S.C. 260a)."""
    zone = ZoneInfo("America/New_York")
    start = datetime.fromisoformat(day).replace(tzinfo=zone)
    end = start + timedelta(days=1)  # in the zone: the next local midnight
    first = int(start.timestamp()) - 6 * 3600
    put(store, series("raw_turbidity", first + np.arange(40 * 4) * 900, np.arange(160.0)))
    found = store.values("raw_turbidity", start, end)
    assert len(found) == hours * 4
    assert len(store.rollup("raw_turbidity", start, end)) == hours
    assert (np.diff(found.times) == 900).all()
    assert_rollup_is_that_of_the_values(store, since=start, until=end)


def test_both_readings_of_the_hour_that_comes_twice_are_kept(store):
    zone = ZoneInfo("America/New_York")
    twice = [datetime(2026, 11, 1, 1, 30, tzinfo=zone, fold=fold) for fold in (0, 1)]
    store.add_readings([replace(reading(float(i)), taken_at=at) for i, at in enumerate(twice)], entered_at=NOW)
    assert [r.value for r in store.readings()] == [0.0, 1.0]
    assert store.readings()[1].taken_at - store.readings()[0].taken_at == timedelta(hours=1)
    assert store.rollup("raw_turbidity").n.tolist() == [1, 1]


def test_a_time_without_a_zone_is_refused(store):
    bare = datetime(2026, 11, 1, 1, 30)  # noqa: DTZ001 -- what is refused
    for ask in (
        lambda: store.values("raw_turbidity", bare),
        lambda: store.rollup("raw_turbidity", None, bare),
        lambda: store.latest("raw_turbidity", bare),
        lambda: store.readings(since=bare),
        lambda: store.events(until=bare),
        lambda: store.add_readings([], entered_at=bare),
    ):
        with pytest.raises(RecordsError, match="has no time zone"):
            ask()


stamps = st.lists(st.integers(-3_000_000, 3_000_000), min_size=1, max_size=300, unique=True).map(sorted)


@st.composite
def any_series(draw):
    if draw(st.booleans()):
        step, count = draw(st.sampled_from([1, 60, 900, 3600, 86400])), draw(st.integers(1, 9000))
        times = draw(st.integers(-9999, 9999)) + np.arange(count) * step
    else:
        times = np.array(draw(stamps))
    seed = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    values = seed.normal(size=len(times)) * 10.0 ** draw(st.integers(-300, 300))
    values[seed.random(len(times)) < draw(st.sampled_from([0, 0.3]))] = np.nan
    flags = seed.integers(0, 5, len(times)) * (seed.random(len(times)) < draw(st.sampled_from([0, 0.01, 1])))
    return series("raw_turbidity", times, values, flags)


@given(any_series())
@settings(max_examples=50, deadline=None)
def test_chunks_hold_a_series_exactly_and_are_cut_between_hours(one):
    packed = list(chunks.pack(one))
    parts = [chunks.unpack(chunk) for chunk, _ in packed]
    times, values, flags = (np.concatenate(arrays) for arrays in zip(*parts, strict=True))
    np.testing.assert_array_equal(times, one.times)
    np.testing.assert_array_equal(values, one.values)
    np.testing.assert_array_equal(flags, one.flags)
    hours = [set((part[0] // 3600).tolist()) for part in parts]
    assert len(set().union(*hours)) == sum(map(len, hours))
    for part in parts:
        assert len(part[0]) <= chunks.USUAL
        assert part[0][-1] - part[0][0] < chunks.LONGEST
    kept = np.concatenate([np.frombuffer(content, RECORD) for _, content in packed])
    assert kept.tobytes() == hourly(one.times, one.values, one.flags).tobytes()


def test_times_far_apart_and_one_each_second_can_be_kept(store):
    """From the first year to the last, and ten hours of seconds."""
    days = np.arange(-719162, 2932896, 1000) * 86400
    put(store, series("raw_turbidity", days, np.arange(len(days))))
    put(store, series("plant_flow", np.arange(36_000), np.ones(36_000)), name="fast.csv")
    assert_rollup_is_that_of_the_values(store)
    assert store.span()[0].year == 1
    assert store.span()[1].year == 9999
    assert store.rollup("plant_flow").n.tolist() == [3600] * 10
    assert store.verify() == []


def test_the_digest_of_rows_tells_any_change():
    def digest(*some):
        return chunks.digest(chunks.tidy(some))

    one = every_minute(300)
    base = digest(one)
    assert digest(one) == base
    longer = series("raw_turbidity", np.append(one.times, one.times[-1] + 60), np.append(one.values, 1.0))
    values = one.values.copy()
    values[150] = np.nextafter(values[150], 99)
    others = [
        digest(replace(one, values=values)),
        digest(replace(one, times=one.times + 1)),
        digest(replace(one, flags=one.flags + np.uint8(1))),
        digest(replace(one, channel="plant_flow")),
        digest(longer),
        digest(one, every_minute(1, "plant_flow")),
        digest(),
    ]
    assert len({base, *others}) == len(others) + 1


def test_the_digest_of_rows_is_that_of_docs_decisions():
    """Worked out again from the description, with the standard library alone."""
    one = series("toc", [60, 120], [1.5, float("nan")], [0, 3])
    text = b"toc\n2\n" + struct.pack("<2q", 60, 120) + struct.pack("<2d", 1.5, float("nan")) + bytes([0, 3])
    assert chunks.digest(chunks.tidy([one])) == hashlib.sha256(text).hexdigest()

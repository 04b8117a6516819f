"""The demo's bottles, instrument checks and closed months: whole, and saying what the readings of the year say."""

from collections.abc import Iterator
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from weirhouse.demo import bottles, checks, rounds, scenario
from weirhouse.records.analytes import analytes, held
from weirhouse.records.model import ClosedError, Reading, Result
from weirhouse.records.store import Store


@pytest.fixture(scope="module")
def store(demo_folder: Path) -> Iterator[Store]:
    with Store.open(demo_folder, read_only=True) as found:
        yield found


def test_each_month_has_its_bottles_and_each_bottle_its_results(store: Store) -> None:
    found = {one.sample: [] for one in store.results()} | {one.id: [] for one in store.samples()}  # type: ignore[var-annotated]
    for one in store.results():
        found[one.sample].append(one.analyte)
    samples = {one.id: one for one in store.samples()}
    assert set(found) == set(samples)
    waiting = [samples[id] for id, tests in found.items() if not tests]
    assert [one.taken_at for one in waiting] == [bottles.AWAITED]
    routine: dict[str, int] = {}
    for id, tests in found.items():
        if "coliform" in tests and samples[id].purpose == "routine":
            month = f"{samples[id].taken_at.astimezone(scenario.ZONE):%Y-%m}"
            routine[month] = routine.get(month, 0) + 1
            assert {"e_coli", "chlorine"} < set(tests)
    assert len(routine) == 12 and set(routine.values()) == {2}


def test_results_say_what_the_readings_say(store: Store) -> None:
    samples = {one.id: one for one in store.samples()}
    first: dict[tuple[str, date], Result] = {}
    for one in store.results():
        key = one.analyte, samples[one.sample].taken_at.astimezone(scenario.ZONE).date()
        first.setdefault(key, one)
    compared = 0
    for channel in ("toc", "treated_toc", "tthm", "haa5"):
        for reading in store.readings(channel):
            result = first[channel, reading.taken_at.astimezone(scenario.ZONE).date()]
            assert result.text == reading.text
            assert (result.value, result.limit) == (
                (None, reading.value) if reading.qualifier == "<" else (reading.value, None)
            )
            compared += 1
    assert compared == 32


def test_one_bottle_is_positive_and_its_three_repeats_are_not(store: Store) -> None:
    found = [one for one in store.results() if one.analyte == "coliform"]
    assert [one.text for one in found if one.value is not None] == ["present"]
    assert all((one.qualifier, one.value) == ("ND", None) for one in found if one.text == "absent")
    repeats = [one for one in store.samples() if one.purpose == "check"]
    assert len(repeats) == 3


def test_one_result_was_held_too_long_and_says_so(store: Store) -> None:
    samples = {one.id: one for one in store.samples()}
    late = []
    for one in store.results():
        waited = held(analytes()[one.analyte], samples[one.sample].taken_at, one.analysed_at, one.prepared_at)
        assert waited is not None and one.holding_limit is not None
        if waited > one.holding_limit:
            late.append((one.analyte, one.lab_flags))
    assert late == [("nitrate", ("H",))]


def test_instruments_are_checked_every_week_and_every_month(store: Store) -> None:
    found = store.events("instrument_check")
    for channel in checks.TURBIDIMETERS:
        days = [one.started_at for one in found if one.subject == channel]
        gaps = {b - a for a, b in pairwise(days)}
        assert len(days) == 52 and max(gaps) <= timedelta(days=7, hours=1)
    for one in found:
        off = abs(float(one.values["found"]) - float(one.values["standard_value"])) / float(
            one.values["standard_value"]
        )
        assert (one.values["result"] == "passed") == (off <= checks.TOLERANCE)
    assert {one.subject for one in store.events("instrument_out")} == set(checks.OUT)


def test_what_was_out_was_sampled_by_hand(store: Store) -> None:
    for look, span in rounds.GRABS:
        grabs = [r for r in store.readings(look.channel, span.start, span.end) if r.note == "grab sample"]
        assert len(grabs) >= 2


def test_the_past_is_closed_and_the_last_month_open(demo_copy: Path) -> None:
    with Store.open(demo_copy) as store:
        found = [one.subject for one in store.closings()]
        assert sum(len(one) == 7 for one in found) == 11 and "2026-09" in found
        assert sum(len(one) == 10 for one in found) == 334 and "2026-09-30" in found and "2026-10-01" not in found

        def reading(month: int) -> Reading:
            at = scenario.local(f"2026-{month:02}-20 12:00")
            return Reading(channel="raw_ph", value=7.2, taken_at=at, unit="pH", text="7.2", person="a test")

        with pytest.raises(ClosedError):
            store.add_readings([reading(9)], entered_at=scenario.YEAR_END)
        assert store.add_readings([reading(10)], entered_at=scenario.YEAR_END) == 1


def test_what_was_mistyped_stays_in_the_history(store: Store) -> None:
    for channel, day in rounds.SLIPS:
        start = scenario.local(f"{day} 00:00")
        histories = [store.history(r.id) for r in store.readings(channel, start, start + timedelta(days=1))]
        (corrected,) = [one for one in histories if len(one) == 2]
        wrong, right = (one.item for one in corrected)
        assert isinstance(wrong, Reading) and isinstance(right, Reading)
        assert float(wrong.text) == pytest.approx(10 * float(right.text))
        assert corrected[1].reason == rounds.SLIPPED

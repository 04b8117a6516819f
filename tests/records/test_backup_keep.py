"""Which backups are kept: 96 quarter-hours, 35 days, 24 months, every end of a year; none for a clock set wrong."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from weirhouse.records.backup_keep import Kept, to_keep

NEW_YORK = ZoneInfo("America/New_York")
START = datetime(2022, 1, 1, 5, 0, tzinfo=UTC)


def at(days: float, sequence: int, whole: bool = False, series_from: str = "") -> Kept:
    made = START + timedelta(days=days)
    return Kept(f"{made:%Y%m%dT%H%M%S}-{sequence}", made, sequence, whole, series_from)


def test_a_quarter_hour_for_a_day_then_days_months_and_ends_of_years():
    nights = [at(day + 2.5 / 24, day * 100, whole=True) for day in range(1826)]
    quarters = [at(1825.11 + n / 120, 182_500 + n) for n in range(1, 101)]
    keep = to_keep(nights + quarters, NEW_YORK)
    kept = sorted((one for one in nights if one.name in keep), key=lambda one: one.made_at)
    assert {one.name for one in quarters[-96:]} <= keep
    assert not {one.name for one in quarters[:3]} & keep
    days = [one.made_at.astimezone(NEW_YORK).date().isoformat() for one in kept]
    assert days[-35:] == [(START.date() + timedelta(days=day)).isoformat() for day in range(1791, 1826)]
    ends = [day for day in days[:-35] if day.endswith("-12-31")]
    assert ends[:4] == ["2022-12-31", "2023-12-31", "2024-12-31", "2025-12-31"]
    months = {day[:7] for day in days}
    assert {f"2025-{m:02}" for m in range(1, 13)} | {f"2026-{m:02}" for m in range(1, 13)} <= months
    assert len(kept) == 35 + 22 + 3  # the months and years that are not held already
    assert len(keep) == len(kept) + 96


def test_of_a_day_a_whole_backup_is_kept_before_one_of_the_records_alone():
    some = [at(0.1, 1, whole=True), *(at(0.2 + n / 1000, 2 + n) for n in range(200))]
    assert some[0].name in to_keep(some, NEW_YORK)


def test_a_whole_backup_stays_while_another_needs_its_series():
    base = at(0, 1, whole=True)
    other = at(0.01, 2, whole=True)
    some = [base, other, *(at(0.02 + n / 10_000, 3 + n, series_from=base.name) for n in range(120))]
    assert {base.name, other.name} <= to_keep(some, NEW_YORK)


def test_a_clock_set_wrong_by_years_throws_nothing_else_away():
    right = [at(day, day + 1, whole=True) for day in range(30)]
    wrong = [at(-18_000, 31, whole=True), at(9000, 32, whole=True)]
    keep = to_keep(right + wrong, NEW_YORK)
    assert {one.name for one in right + wrong} <= keep


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(-20_000, 20_000), st.booleans()), max_size=300))
def test_the_newest_are_always_kept_and_to_keep_again_changes_nothing(made):
    some = [at(days, n, whole) for n, (days, whole) in enumerate(made)]
    keep = to_keep(some, NEW_YORK)
    assert {one.name for one in some[-96:]} <= keep
    left = [one for one in some if one.name in keep]
    assert to_keep(left, NEW_YORK) == keep

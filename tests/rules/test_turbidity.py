"""The limits of combined filtered turbidity at their edges: 40 CFR 141.551 and 141.74(c)(1), as docs/rules.md says."""

from datetime import date

import pytest
from tests.rules.planted import DOUBTFUL, FEDERAL, REJECTED, Planted, plant, state

FOUR = ("00:00", "04:00", "08:00", "12:00", "16:00", "20:00")


def with_over(number: int, value: float = 0.4, packs: object = None) -> Planted:
    """A month with so many four-hour values above: the last quarter hour of each period is the one that stands."""
    planted = Planted(first=date(2026, 6, 1))  # 30 days: 180 values
    if packs is not None:
        planted.packs = packs  # type: ignore[assignment]
    for k in range(number):
        day, period = divmod(k, 6)
        hour = 4 * period + 3
        planted.put("combined_turbidity", f"{day + 1:02d} {hour:02d}:45", value)
    return planted


@pytest.mark.parametrize(("over", "status"), [(0, "met"), (8, "met"), (9, "met"), (10, "broken")])
def test_exactly_95_percent_is_enough(over: int, status: str) -> None:
    found = with_over(over).judge().outcome("cfe_95_small")
    assert found.status == status
    assert found.value == pytest.approx(100 * (180 - over) / 180)
    assert len(found.counted) == 180
    assert sum(c.over for c in found.counted) == over


@pytest.mark.parametrize(
    ("value", "rounding", "status"),
    [
        (0.30, '"as_recorded"', "met"),
        (0.304, '"as_recorded"', "broken"),
        (0.304, '{ decimals = 2, half = "up" }', "met"),
        (0.305, '{ decimals = 2, half = "up" }', "broken"),
        (0.305, '{ decimals = 2, half = "even" }', "met"),
        (0.34, '{ decimals = 1, half = "up" }', "met"),
        (0.304, None, "cannot tell"),
        (0.36, None, "broken"),
        (0.30, None, "met"),
    ],
)
def test_the_state_rounds(value: float, rounding: str | None, status: str) -> None:
    found = with_over(10, value, state(turbidity_rounding=rounding)).judge().outcome("cfe_95_small")
    assert found.status == status
    assert ("turbidity_rounding" in {one.key for one in found.lacking}) == (rounding is None)


def test_what_the_state_has_not_said_is_counted_every_way() -> None:
    planted = Planted(packs=FEDERAL)
    for day in range(1, 32):
        planted.put("combined_turbidity", f"{day:02d} 01:00", 0.5)  # only the highest of the period is above
    found = planted.judge().outcome("cfe_95_small")
    assert found.status == "cannot tell"
    assert {way.status for way in found.ways} == {"met", "broken"}
    assert {"combined_value", "off_hours", "recorded_value", "combined_interval"} <= {one.key for one in found.lacking}


@pytest.mark.parametrize(("value", "status"), [(1.0, "met"), (1.004, "met"), (1.006, "broken"), (1.2, "broken")])
def test_none_above_1_ntu(value: float, status: str) -> None:
    result = Planted().put("combined_turbidity", "14 07:45", value).judge()
    assert result.outcome("cfe_max_small").status == status
    assert result.outcome("tt_crypto").status == status
    opened = [n for n in result.notices if n.requirement.id == "cfe_max_small"]
    assert len(opened) == (status == "broken")


def test_a_single_value_above_5_ntu_is_told_apart() -> None:
    result = Planted().put("combined_turbidity", "14 07:45", 5.2).judge()
    assert result.outcome("cfe_5ntu_consult").status == "broken"
    assert result.outcome("cfe_max_small").status == "broken"


def test_the_highest_may_count_only_the_recorded_values() -> None:
    planted = Planted().put("combined_turbidity", "14 06:00", 1.4)  # not the last of its four hours
    assert planted.judge().outcome("cfe_max_small").status == "broken"
    planted.packs = state(maximum_counts='"recorded"')
    assert planted.judge().outcome("cfe_max_small").status == "met"
    planted.packs = state(maximum_counts=None)
    found = planted.judge().outcome("cfe_max_small")
    assert found.status == "cannot tell"
    assert "maximum_counts" in {one.key for one in found.lacking}


# --- gaps, starts and stops, days of 23 and 25 h ----------------------------------------------------------------------


def test_a_gap_gives_no_pass() -> None:
    result = Planted().drop("combined_turbidity", "14 08:00", "14 12:00").judge()
    assert result.outcome("cfe_sampling_4h").status == "broken"
    assert result.outcome("cfe_sampling_4h").value == 1
    assert result.outcome("cfe_max_small").status == "cannot tell"
    assert result.outcome("cfe_95_small").status == "met"  # even if that one had been above
    missing = [c for c in result.outcome("cfe_95_small").not_counted if c.value is None]
    assert [c.reason for c in missing] == ["08:00 to 12:00: nothing recorded"]


def test_two_gaps_beside_eight_values_above_cannot_be_told() -> None:
    planted = with_over(8).drop("combined_turbidity", "28 08:00", "28 16:00")
    assert planted.judge().outcome("cfe_95_small").status == "cannot tell"  # 8 of 178, but 10 of 180 at the worst
    planted = with_over(9).drop("combined_turbidity", "28 08:00", "28 12:00")
    assert planted.judge().outcome("cfe_95_small").status == "broken"  # 9 of the 179 that were taken


def test_the_value_that_was_due_is_not_replaced_by_an_earlier_one() -> None:
    planted = with_over(9).drop("combined_turbidity", "28 11:45", "28 12:00")
    found = planted.judge().outcome("cfe_95_small")
    assert found.status == "cannot tell"
    assert any("not the reading that was due" in c.reason for c in found.counted)


def test_standing_is_no_gap_and_its_readings_do_not_count() -> None:
    planted = Planted(run=(6, 18))
    planted.drop("combined_turbidity", "05 18:00", "06 06:00").put("combined_turbidity", "07 21:00", 3.0)
    result = planted.judge()
    assert result.outcome("cfe_max_small").status == "met"
    assert result.outcome("cfe_sampling_4h").status == "met"
    assert len(result.outcome("cfe_95_small").counted) == 31 * 4  # 04, 08, 12 and 16 o'clock
    assert result.days[6].periods[5].state == "standing"
    planted.packs = state(off_hours='"counted"')
    assert planted.judge().outcome("cfe_max_small").status == "broken"


def test_a_restart_asks_for_a_value_after_a_quarter_hour() -> None:
    short = Planted().stop("10 12:00", "10 15:45")  # ran for the last quarter hour of the period
    assert len(short.judge().outcome("cfe_95_small").counted) == 186
    gone = short.drop("combined_turbidity", "10 15:45", "10 16:00").judge()
    assert gone.outcome("cfe_sampling_4h").status == "broken"
    all_of = Planted().stop("10 12:00", "10 16:00").drop("combined_turbidity", "10 12:00", "10 16:00").judge()
    assert all_of.outcome("cfe_sampling_4h").status == "met"
    assert len(all_of.outcome("cfe_95_small").counted) == 185


def test_when_it_is_not_on_record_whether_it_ran_a_missing_value_cannot_be_told() -> None:
    planted = Planted().drop("plant_flow", "10 11:30", "10 20:00").drop("combined_turbidity", "10 12:00", "10 20:00")
    found = planted.judge().outcome("cfe_sampling_4h")
    assert found.status == "cannot tell"
    assert any("not on record whether the plant ran" in c.reason for c in found.not_counted)


def test_a_stop_in_the_day_log_tells_where_the_flow_is_not_recorded() -> None:
    planted = Planted().stop("10 11:00", "10 11:30").drop("plant_flow", "10 11:30", "10 20:00")
    planted.drop("combined_turbidity", "10 11:00", "10 20:00")
    assert planted.judge().outcome("cfe_sampling_4h").status == "cannot tell"
    planted.event("stop", "10 11:00", None, "")
    assert planted.judge().outcome("cfe_sampling_4h").status == "met"
    planted.event("start", "10 14:00", None, "")  # from then on it is not on record again
    assert planted.judge().outcome("cfe_sampling_4h").status == "cannot tell"


@pytest.mark.parametrize(
    ("first", "day", "hours", "values"), [(date(2026, 3, 1), 8, 23, 92), (date(2026, 11, 1), 1, 25, 100)]
)
def test_days_of_23_and_25_hours(first: date, day: int, hours: int, values: int) -> None:
    result = Planted(first=first).judge()
    found = result.days[day - 1]
    assert found.hours == hours
    assert found.filtering_h == hours
    assert len(found.periods) == 6
    assert all(p.state == "counts" for p in found.periods)
    assert (found.periods[0].end - found.periods[0].begin).total_seconds() == (4 + hours - 24) * 3600
    assert result.outcome("cfe_95_small").status == "met"
    assert len(result.outcome("cfe_95_small").counted) == 6 * len(result.days)
    all_values = [c for c in result.outcome("cfe_max_small").counted if found.a <= c.at < found.b]
    assert len(all_values) == values


# --- rejected and doubtful readings -----------------------------------------------------------------------------------


@pytest.mark.parametrize("flag", [REJECTED, DOUBTFUL])
def test_a_rejected_reading_is_counted_both_ways_and_clears_nothing(flag: int) -> None:
    accepted = Planted().put("combined_turbidity", "14 07:45", 3.2).judge()
    rejected = Planted().put("combined_turbidity", "14 07:45", 3.2, flag=flag).judge()
    assert accepted.outcome("cfe_max_small").status == "broken"
    found = rejected.outcome("cfe_max_small")
    assert found.status == "cannot tell"
    assert [(way.status, "without" in way.words) for way in found.ways] == [("cannot tell", True), ("broken", False)]
    [before] = [n for n in accepted.notices if n.requirement.id == "cfe_max_small"]
    [after] = [n for n in rejected.notices if n.requirement.id == "cfe_max_small"]
    assert before.id == after.id
    assert before.certain
    assert not after.certain
    assert [c.value for c in rejected.rejected] == [3.2]


def test_a_reading_outside_of_what_the_channel_can_read_gives_no_pass() -> None:
    result = Planted().put("combined_turbidity", "14 07:45", 0.0).judge()
    assert result.outcome("cfe_max_small").status == "cannot tell"
    assert any("outside" in c.reason for c in result.outcome("cfe_max_small").not_counted)


# --- other plants, other months ---------------------------------------------------------------------------------------


def test_other_filters_and_other_sizes_have_other_limits() -> None:
    slow = Planted(plant=plant(replace={'treatment = "conventional"': 'treatment = "slow_sand"'}))
    slow.put("combined_turbidity", "14 07:45", 0.8)
    result = slow.judge()
    assert result.outcome("cfe_95_small").status == "does not apply"
    assert result.outcome("slow_sand_de").status == "met"
    large = Planted(plant=plant(replace={"population = 1010": "population = 10000"})).judge()
    assert large.outcome("cfe_95_small").status == "does not apply"
    assert large.outcome("cfe_95_large").status == "met"
    unknown = Planted(plant=plant(replace={"population = 1010\n": ""})).judge()
    assert unknown.outcome("cfe_95_small").status == "cannot tell"


def test_a_value_that_the_state_sets_cannot_be_told_without_it() -> None:
    other = plant(replace={'treatment = "conventional"': 'treatment = "alternative"'})
    assert Planted(plant=other).judge().outcome("cfe_alt_95").status == "cannot tell"


def test_a_month_that_is_not_over_passes_nothing_yet() -> None:
    planted = Planted()
    so_far = planted.judge(now="20 10:00")
    assert so_far.outcome("cfe_95_small").status == "not due"
    assert so_far.days[-1].periods[2].state == "to come"
    assert len(so_far.days) == 20
    planted.put("combined_turbidity", "19 07:45", 1.4)
    assert planted.judge(now="20 10:00").outcome("cfe_max_small").status == "broken"
    assert planted.judge(now="19 07:30").outcome("cfe_max_small").status == "not due"


def test_a_share_that_can_no_longer_be_kept_is_told_before_the_month_ends() -> None:
    assert with_over(10).judge(now="29 12:00").outcome("cfe_95_small").status == "broken"
    assert with_over(9).judge(now="29 12:00").outcome("cfe_95_small").status == "not due"


def test_readings_by_hand_every_four_hours_are_enough() -> None:
    planted = Planted(plant=plant(replace={CHANNEL: CHANNEL.replace('interval = "15 min"\n', "")}))
    keep = [planted.place(f"{day:02d} {clock}") for day in range(1, 32) for clock in FOUR]
    others = [i for i in range(len(planted.times)) if i not in set(keep)]
    planted.values["combined_turbidity"][others] = float("nan")
    result = planted.judge()
    assert result.outcome("cfe_95_small").status == "met"
    assert result.outcome("cfe_max_small").status == "met"
    assert result.outcome("cfe_sampling_4h").status == "met"


CHANNEL = """[channel.combined_turbidity]
name = "Combined filtered turbidity"
unit = "NTU"
stale_after = "1 h"
low = "0.01 NTU"
high = "20 NTU"
interval = "15 min"
"""

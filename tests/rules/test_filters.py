"""Each filter by itself: 40 CFR 141.560 to 141.563 and 141.174, 141.175 for larger systems, as docs/rules.md says."""

import dataclasses
from datetime import date

import numpy as np
import pytest
from tests.rules.planted import REJECTED, Planted, plant, state

from weirhouse.rules.model import MonthFacts
from weirhouse.rules.month import evaluate_month
from weirhouse.situation.model import Track


def test_two_in_a_row_above_1_ntu_set_the_report_going() -> None:
    result = Planted().put("filter_1_turbidity", "14 07:45", 1.01, 1.2).judge()
    assert result.outcome("ife_trigger_1ntu", "filter_1").status == "broken"
    assert result.outcome("ife_trigger_1ntu", "filter_2").status == "met"
    [trigger] = [t for t in result.triggers if t.requirement.id == "ife_trigger_1ntu"]
    assert [c.value for c in trigger.readings] == [1.01, 1.2]
    assert trigger.certain
    assert f"{trigger.at.astimezone(Planted().plant.zone):%d %H:%M}" == "14 08:00"
    assert trigger.duties[0].due_words.endswith("2026-08-10")
    assert not [n for n in result.notices if n.requirement.id.startswith("ife_trigger")]  # no violation by itself


@pytest.mark.parametrize(
    "values", [(1.2, 0.3, 1.2), (1.0, 1.0, 1.0), (1.004, 1.2, 0.9)], ids=["apart", "at the limit", "rounded to it"]
)
def test_one_or_those_at_the_limit_do_not(values: tuple[float, ...]) -> None:
    result = Planted().put("filter_1_turbidity", "14 07:45", *values).judge()
    assert result.outcome("ife_trigger_1ntu", "filter_1").status == "met"
    assert result.triggers == ()


def test_a_gap_between_two_above_cannot_be_told() -> None:
    planted = Planted().put("filter_1_turbidity", "14 07:45", 1.2, 1.2, 1.2)
    planted.drop("filter_1_turbidity", "14 08:00", "14 08:15")
    assert planted.judge().outcome("ife_trigger_1ntu", "filter_1").status == "cannot tell"


@pytest.mark.parametrize(("last", "status"), [("14 08:00", "met"), ("14 08:15", "cannot tell")])
def test_a_gap_by_itself_could_hold_a_pair_only_if_it_is_two_values_long(last: str, status: str) -> None:
    result = Planted().drop("filter_1_turbidity", "14 07:45", last).judge()
    assert result.outcome("ife_trigger_1ntu", "filter_1").status == status
    assert result.outcome("ife_continuous", "filter_1").status == "broken"  # it was to be recorded all the same


def test_values_on_both_sides_of_a_stop_are_not_in_a_row() -> None:
    planted = Planted().stop("14 08:00", "14 10:00")
    planted.put("filter_1_turbidity", "14 07:45", 1.4, *[9.0] * 8, 1.4, 0.2)  # what it reads while standing is nothing
    result = planted.judge()
    assert result.outcome("ife_trigger_1ntu", "filter_1").status == "met"
    planted.put("filter_1_turbidity", "14 10:15", 1.3)
    assert planted.judge().outcome("ife_trigger_1ntu", "filter_1").status == "broken"


def test_a_wash_and_its_filtering_to_waste_do_not_count_where_the_state_says_so() -> None:
    planted = Planted().put("filter_1_turbidity", "14 08:00", 4.0, 3.0, 2.0, 1.5)
    planted.event("backwash", "14 08:00", "14 08:15", "filter_1")
    planted.event("filter_to_waste", "14 08:15", "14 09:00", "filter_1")
    assert planted.judge().outcome("ife_trigger_1ntu", "filter_1").status == "met"
    planted.packs = state(filter_to_waste='"counted"')
    assert planted.judge().outcome("ife_trigger_1ntu", "filter_1").status == "broken"
    planted.packs = state(filter_to_waste=None)
    found = planted.judge().outcome("ife_trigger_1ntu", "filter_1")
    assert found.status == "cannot tell"
    assert "filter_to_waste" in {one.key for one in found.lacking}


def test_it_is_the_recorded_value_and_never_every_row_of_a_logger() -> None:
    """One-minute rows: thirteen minutes above between two quarter hours are no pair, as neither is recorded."""
    planted = Planted()
    stretch = planted.stretch()
    times = np.arange(int(planted.start.timestamp()), int(planted.b.timestamp()), 60, dtype=np.int64)
    values = np.full(len(times), 0.05)
    at = int(np.searchsorted(times, int(planted.at("14 07:46").timestamp())))
    values[at : at + 13] = 2.5
    one = Track(channel="filter_1_turbidity", times=times, values=values, flags=np.zeros(len(times), np.uint8))
    minute = plant(replace={FILTER_1: FILTER_1.replace("15 min", "1 min")})

    def judged(rows: np.ndarray) -> str:
        track = dataclasses.replace(one, values=rows)
        found = dataclasses.replace(stretch, tracks={**stretch.tracks, "filter_1_turbidity": track})
        result = evaluate_month(minute, found, packs=planted.packs, month=planted.first)
        return result.outcome("ife_trigger_1ntu", "filter_1").status

    assert judged(values) == "met"
    longer = values.copy()
    longer[at - 1 : at + 15] = 2.5  # 07:45 and 08:00 among them
    assert judged(longer) == "broken"
    holed = values.copy()
    holed[at - 1] = holed[at + 14] = np.nan  # the rows that were to be recorded are missing
    assert judged(holed) == "cannot tell"


def test_a_pair_of_which_one_is_rejected_is_told_both_ways() -> None:
    planted = (
        Planted().put("filter_1_turbidity", "14 07:45", 1.2).put("filter_1_turbidity", "14 08:00", 8.0, flag=REJECTED)
    )
    result = planted.judge()
    found = result.outcome("ife_trigger_1ntu", "filter_1")
    assert found.status == "cannot tell"
    assert [way.status for way in found.ways] == ["cannot tell", "broken"]
    [trigger] = [t for t in result.triggers if t.requirement.id == "ife_trigger_1ntu"]
    assert not trigger.certain
    assert "Only if the rejected" in trigger.sentence


def test_a_pair_over_midnight_of_the_first_belongs_to_the_second_value() -> None:
    planted = Planted()
    first = planted.place("01 00:00")
    planted.values["filter_1_turbidity"][first - 1 : first + 1] = 1.5
    assert planted.judge().outcome("ife_trigger_1ntu", "filter_1").status == "broken"


# --- months in a row --------------------------------------------------------------------------------------------------


def month(name: str, *tripped: str, unsure: tuple[str, ...] = ()) -> MonthFacts:
    keys = [f"{rule}:filter_{n}" for rule in ("ife_trigger_3_months", "ife_trigger_2ntu") for n in (1, 2)]
    at = Planted().at("03 08:00")
    return MonthFacts(month=name, trips={k: (at,) if k in tripped else () for k in keys}, unsure=frozenset(unsure))


THREE = "ife_trigger_3_months:filter_1"
TWO = "ife_trigger_2ntu:filter_1"


@pytest.mark.parametrize(
    ("earlier", "status"),
    [
        ((month("2026-05", THREE), month("2026-06", THREE)), "broken"),
        ((month("2026-05"), month("2026-06", THREE)), "met"),
        ((month("2026-05", THREE), month("2026-06")), "met"),
        ((month("2026-06", THREE),), "cannot tell"),
        ((month("2026-05", unsure=(THREE,)), month("2026-06", THREE)), "cannot tell"),
        ((month("2026-05", unsure=(THREE,)), month("2026-06")), "met"),
    ],
    ids=["all three", "not May", "not June", "May not known", "May unsure", "June did not"],
)
def test_three_months_running(earlier: tuple[MonthFacts, ...], status: str) -> None:
    result = Planted().put("filter_1_turbidity", "14 07:45", 1.2, 1.2).judge(earlier=earlier)
    assert result.outcome("ife_trigger_3_months", "filter_1").status == status
    some = [t for t in result.triggers if t.requirement.id == "ife_trigger_3_months"]
    assert [t.certain for t in some] == {"broken": [True], "met": [], "cannot tell": [False]}[status]
    if status == "broken":
        assess = next(d for d in some[0].duties if "Self-assessment" in d.words)
        assert f"{assess.due:%Y-%m-%d}" == "2026-07-29"  # 14 days from the 14th, to the end of that local day


def test_two_months_running_above_2_ntu_ask_for_the_evaluation() -> None:
    planted = Planted().put("filter_1_turbidity", "14 07:45", 2.1, 2.2)
    result = planted.judge(earlier=(month("2026-05"), month("2026-06", TWO)))
    assert result.outcome("ife_trigger_2ntu", "filter_1").status == "broken"
    [trigger] = [t for t in result.triggers if t.requirement.id == "ife_trigger_2ntu"]
    assert [d.due_words for d in trigger.duties[1:]] == [
        "within 60 days of 2026-07-14",
        "within 120 days of 2026-07-14",
    ]
    assert result.facts.trips[TWO]
    assert result.facts.trips[THREE]


def test_the_next_time_is_told_before_it_comes() -> None:
    result = Planted().judge(now="20 10:00", earlier=(month("2026-05", THREE), month("2026-06", THREE)))
    [near] = [h for h in result.headroom if h.requirement.id == "ife_trigger_3_months"]
    assert near.near
    assert "Once more this month" in near.sentence
    planted = Planted().put("filter_2_turbidity", "20 09:45", 1.6)
    [one] = [h for h in planted.judge(now="20 10:00").headroom if h.requirement.id == "ife_trigger_1ntu"]
    assert one.subject == "filter_2"


# --- larger systems, the combined water in place of each --------------------------------------------------------------


def test_larger_systems_have_a_level_of_half_a_unit_after_four_hours() -> None:
    large = plant(replace={"population = 1010": "population = 12000"})
    early = Planted(plant=large).stop("14 02:00", "14 06:00").put("filter_1_turbidity", "14 08:00", 0.7, 0.7)
    assert early.judge().outcome("ife_large_half", "filter_1").status == "met"
    late = Planted(plant=large).stop("14 02:00", "14 06:00").put("filter_1_turbidity", "14 10:00", 0.7, 0.7)
    assert late.judge().outcome("ife_large_half", "filter_1").status == "broken"
    assert late.judge().outcome("ife_trigger_1ntu").status == "does not apply"


def test_two_filters_may_be_watched_by_their_combined_water() -> None:
    option = plant(replace={"individual_filters = true": "individual_filters = false"})
    planted = Planted(plant=option).put("combined_turbidity", "14 07:45", 1.2, 1.2)
    assert planted.judge().outcome("ife_trigger_1ntu").subject == "combined_turbidity"
    assert planted.judge().outcome("ife_trigger_1ntu").status == "broken"
    assert planted.judge().outcome("ife_continuous").status == "met"


# --- an instrument that is out ----------------------------------------------------------------------------------------


def outage(end: str | None, grabs: tuple[str, ...]) -> Planted:
    planted = Planted().drop("filter_1_turbidity", "14 08:00", end or "20 00:00")
    planted.event("instrument_fault", "14 08:00", end, "filter_1_turbidity")
    for text in grabs:
        planted.grab("filter_1_turbidity", text, 0.08)
    return planted


def test_grabs_every_four_hours_stand_in_for_an_instrument_that_is_out() -> None:
    good = outage("14 20:00", ("14 08:30", "14 12:30", "14 16:30")).judge()
    assert good.outcome("ife_equipment_failure", "filter_1").status == "met"
    assert good.outcome("ife_continuous", "filter_1").status == "met"
    short = outage("14 20:00", ("14 08:30", "14 16:30")).judge()
    assert short.outcome("ife_equipment_failure", "filter_1").status == "broken"
    assert [n.tier for n in short.notices if n.requirement.id.startswith("ife")] == [3]


def test_the_days_left_are_counted() -> None:
    every = tuple(f"{day} {hour:02d}:30" for day in range(14, 20) for hour in (8, 12, 16, 20))
    found = outage(None, every).judge(now="19 10:00").outcome("ife_equipment_failure", "filter_1")
    assert "9 days left, the last is 2026-07-28" in found.sentence
    large = plant(replace={"population = 1010": "population = 12000"})
    planted = outage(None, every)
    planted.plant = large
    found = planted.judge(now="17 10:00").outcome("ife_large_failure", "filter_1")
    assert "2 working days left, the last is 2026-07-21" in found.sentence


def test_what_the_logger_went_on_writing_does_not_count() -> None:
    planted = Planted().put("filter_1_turbidity", "14 08:00", *[0.05] * 8)
    planted.event("instrument_fault", "14 08:00", "14 10:00", "filter_1_turbidity")
    found = planted.judge().outcome("ife_trigger_1ntu", "filter_1")
    assert found.status == "cannot tell"
    assert any("instrument was out" in c.reason for c in found.not_counted)


def test_a_missing_channel_cannot_be_told() -> None:
    one = plant(replace={FILTER_1: ""})
    assert (
        Planted(plant=one, first=date(2026, 7, 1)).judge().outcome("ife_continuous", "filter_1").status == "cannot tell"
    )


FILTER_1 = """[channel.filter_1_turbidity]
name = "Filter 1 turbidity"
unit = "NTU"
stale_after = "2 h"
low = "0.01 NTU"
high = "20 NTU"
interval = "15 min"
"""

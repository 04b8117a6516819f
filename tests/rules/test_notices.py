"""Notices of turbidity and missed monitoring, headroom by the plan, and what goes over midnight of the first."""

import dataclasses
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from tests.rules.planted import FEDERAL, Planted, plant, state

from weirhouse.rules.model import Headroom, MonthResult, NoticeNeeded
from weirhouse.rules.month import evaluate_month
from weirhouse.situation.model import Stretch


def of(result: MonthResult, requirement: str) -> list[NoticeNeeded]:
    return [n for n in result.notices if n.requirement.id == requirement]


def test_a_value_above_1_ntu_asks_to_consult_within_24_hours() -> None:
    planted = Planted().put("combined_turbidity", "14 07:45", 1.34, 1.2)
    [notice] = of(planted.judge(), "cfe_max_small")
    assert notice.opened_at == planted.at("14 07:45")
    assert notice.tier == 2
    consult, without = notice.steps[0], notice.steps[1]
    assert (consult.id, consult.due) == ("consult", planted.at("15 07:45"))
    assert (without.id, without.due) == ("tier_1_without", planted.at("16 07:45"))
    assert consult.number == "555-0100"
    assert notice.due == consult.due
    assert "1.34 NTU" in notice.draft
    assert "The limit is 1 NTU" in notice.draft
    assert [e.name for e in notice.elements][:3] == [
        "What happened, and the levels found", "When", "What it can do to health",
    ]  # fmt: skip


def test_each_day_above_has_a_notice_of_its_own() -> None:
    planted = Planted().put("combined_turbidity", "14 07:45", 1.34).put("combined_turbidity", "16 07:45", 1.5)
    assert len(of(planted.judge(), "cfe_max_small")) == 2


def test_5_ntu_is_told_beside_it() -> None:
    planted = Planted().put("combined_turbidity", "14 07:45", 6.0)
    result = planted.judge()
    assert len(of(result, "cfe_5ntu_consult")) == 1
    assert len(of(result, "cfe_max_small")) == 1


def test_what_the_state_has_not_defined_opens_a_notice_that_says_so() -> None:
    planted = Planted(packs=FEDERAL).put("combined_turbidity", "14 06:00", 1.4)  # neither first nor last of four hours
    result = planted.judge()
    assert result.outcome("cfe_max_small").status == "cannot tell"
    [notice] = of(result, "cfe_max_small")
    assert not notice.certain
    assert "what the State has not defined" in notice.sentence


def test_too_many_values_above_give_a_tier_2_notice_at_the_end_of_the_month() -> None:
    planted = Planted()
    for day in range(1, 12):
        planted.put("combined_turbidity", f"{day:02d} 07:45", 0.5)
    [notice] = of(planted.judge(), "cfe_95_small")
    assert (notice.tier, notice.opened_at) == (2, planted.b)
    public = next(s for s in notice.steps if s.id == "public_notice")
    assert public.due == planted.b + timedelta(days=30)


def test_missed_monitoring_gives_a_tier_3_notice_with_the_wording_of_the_rule() -> None:
    planted = Planted().drop("combined_turbidity", "14 08:00", "14 12:00")
    [notice] = of(planted.judge(), "cfe_sampling_4h")
    assert notice.tier == 3
    assert "141.205(d)(2)" in notice.draft


def test_the_clock_of_missed_monitoring_runs_from_the_first_miss_whenever_one_looks() -> None:
    planted = Planted().drop("combined_turbidity", "14 08:00", "14 12:00")
    looked = [*(planted.judge(now=now) for now in ("14 13:00", "16 09:17")), planted.judge()]
    found = [of(result, "cfe_sampling_4h") for result in looked]
    assert [one.opened_at for (one,) in found] == [planted.at("14 12:00")] * 3
    assert len({one.id for (one,) in found}) == 1
    assert {one.due for (one,) in found} == {planted.at("16 12:00")}


def test_a_plant_whose_records_begin_in_the_month_has_missed_nothing_before() -> None:
    planted = Planted(packs=state(off_hours=None)).drop("combined_turbidity", "14 08:00", "14 12:00")
    for values in planted.values.values():
        values[: planted.place("12 06:00")] = np.nan
    [notice] = of(planted.judge(), "cfe_sampling_4h")
    assert notice.opened_at == planted.at("14 12:00")


def test_without_telephone_numbers_it_says_that_they_are_missing() -> None:
    text = '[[telephone]]\nname = "State drinking water program, duty line"\nnumber = "555-0100"\n'
    text += 'when = "a limit broken, a doubt about disinfection"\n'
    planted = Planted(plant=plant(replace={text: ""})).put("combined_turbidity", "14 07:45", 1.34)
    [notice] = of(planted.judge(), "cfe_max_small")
    assert (notice.steps[0].whom, notice.steps[0].number) == (
        "State drinking water program", "its number is missing in the plant file",
    )  # fmt: skip


def test_no_notice_in_a_good_month() -> None:
    result = Planted().judge()
    assert [n.requirement.id for n in result.notices] == ["rtcr_count"]  # no sample was entered


# --- headroom ---------------------------------------------------------------------------------------------------------


def room(result: MonthResult) -> Headroom:
    [found] = [h for h in result.headroom if h.requirement.id == "cfe_95_small"]
    return found


def test_headroom_goes_by_the_planned_hours() -> None:
    planted = Planted(run=(6, 18))
    for day in range(1, 5):
        planted.put("combined_turbidity", f"{day:02d} 07:45", 0.4)
    so_far = planted.judge(now="21 00:00")
    found = room(so_far)
    assert (found.over, found.planned, found.most) == (4, 31 * 4, 6)  # 124 values: 118 of them must be within
    assert not found.near
    shut = planted.judge(now="21 00:00", plan=[])
    assert (room(shut).planned, room(shut).most) == (80, 4)
    assert room(shut).near
    busy = [(planted.at(f"{day} 00:00"), planted.at(f"{day} 23:45")) for day in range(21, 32)]
    assert room(planted.judge(now="21 00:00", plan=busy)).planned == 80 + 66
    assert "by the plan" in room(shut).sentence
    assert "Not one of them is to spend" in found.sentence
    for word in ("left to use", "still have", "budget", "allowance"):
        assert word not in found.sentence


@pytest.mark.parametrize("off_hours", ['"counted"', '"not_counted"'])
def test_headroom_counts_what_the_state_counts(off_hours: str) -> None:
    planted = Planted(run=(6, 18), packs=state(off_hours=off_hours))
    found = room(planted.judge(now="21 00:00"))
    assert found.planned == (31 * 6 if "not" not in off_hours else 31 * 4)


# --- over midnight of the first ---------------------------------------------------------------------------------------


def test_the_last_hour_before_the_month_may_come_apart() -> None:
    planted = Planted()
    first = planted.place("01 00:00")
    planted.values["filter_1_turbidity"][first - 1 : first + 1] = 1.5
    whole = planted.stretch()
    cut = int(planted.a.timestamp())

    def part(eve: bool) -> Stretch:
        tracks = {
            id: dataclasses.replace(
                t, times=t.times[(t.times < cut) == eve], values=t.values[(t.times < cut) == eve],
                flags=t.flags[(t.times < cut) == eve],
            )
            for id, t in whole.tracks.items()
        }  # fmt: skip
        a, b = (whole.a, planted.a) if eve else (planted.a, whole.b)
        return dataclasses.replace(whole, a=a, b=b, tracks=tracks)

    def status(**more: Any) -> str:
        result = evaluate_month(planted.plant, part(False), packs=planted.packs, month=planted.first, **more)
        return result.outcome("ife_trigger_1ntu", "filter_1").status

    assert status() == "met"
    assert status(eve=part(True)) == "broken"

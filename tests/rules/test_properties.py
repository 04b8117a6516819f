"""What must hold for any month: nothing gets better by what is taken out, by the order, or by a worse reading more."""

from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.rules.planted import FEDERAL, GOOD, OURS, REJECTED, Planted

from weirhouse.rules.model import MonthResult, Status

BETTER: dict[Status, int] = {"met": 2, "not due": 1, "does not apply": 1, "cannot tell": 0, "broken": -1}
READ = ("combined_turbidity", "filter_1_turbidity", "filter_2_turbidity", "entry_chlorine")
VALUES = {
    "combined_turbidity": (0.05, 0.3, 0.304, 0.4, 1.0, 1.2, 5.5),
    "filter_1_turbidity": (0.05, 1.0, 1.2, 2.5),
    "filter_2_turbidity": (0.05, 1.0, 1.2, 2.5),
    "entry_chlorine": (1.1, 0.3, 0.25, 0.19, 0.1),
}
few = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@st.composite
def months(draw: st.DrawFn) -> Planted:
    """A month of a plant that runs by day, with runs of odd values, gaps, rejected readings and stops."""
    planted = Planted(run=draw(st.sampled_from([(0, 24), (6, 18)])), packs=draw(st.sampled_from([OURS, OURS, FEDERAL])))
    rows = st.integers(4, len(planted.times) - 40)
    for _ in range(draw(st.integers(0, 8))):
        channel = draw(st.sampled_from(READ))
        i, n = draw(rows), draw(st.sampled_from([1, 2, 3, 16, 18]))
        planted.values[channel][i : i + n] = draw(st.sampled_from(VALUES[channel]))
        if draw(st.integers(0, 3)) == 0:
            planted.flags[channel][i : i + n] = REJECTED
    for _ in range(draw(st.integers(0, 3))):
        channel = draw(st.sampled_from((*READ, "plant_flow")))
        i, n = draw(rows), draw(st.sampled_from([1, 2, 16, 30]))
        planted.values[channel][i : i + n] = np.nan
    if draw(st.booleans()):  # a month near to the edge of 95 percent
        zone_rows = np.arange(7 * 4 + 3, len(planted.times), 96)[: draw(st.integers(3, 12))]
        planted.values["combined_turbidity"][zone_rows] = 0.4
    return planted


def words(result: MonthResult) -> dict[tuple[str, str], Status]:
    return {(o.requirement.id, o.subject): o.status for o in result.outcomes}


def fails(before: MonthResult, after: MonthResult, *, why: Any) -> None:
    first, second = words(before), words(after)
    assert first.keys() == second.keys()
    for key, word in first.items():
        if word in ("broken", "cannot tell"):
            assert second[key] != "met", (key, word, second[key], why)


@few
@given(months(), st.data())
def test_taking_data_out_gives_no_pass(planted: Planted, data: st.DataObject) -> None:
    before = planted.judge()
    for _ in range(data.draw(st.integers(1, 6))):
        channel = data.draw(st.sampled_from((*READ, "contact_chlorine", "contact_temperature", "contact_level")))
        odd = np.flatnonzero(planted.values[channel] != GOOD[channel])
        at = data.draw(st.sampled_from(odd.tolist())) if len(odd) and data.draw(st.booleans()) else None
        i = at if at is not None else data.draw(st.integers(0, len(planted.times) - 1))
        n = data.draw(st.sampled_from([1, 2, 5, 40]))
        planted.values[channel][i : i + n] = np.nan
    fails(before, planted.judge(), why="taken out")


@few
@given(months(), st.data())
def test_rejecting_readings_gives_no_pass(planted: Planted, data: st.DataObject) -> None:
    before = planted.judge()
    for _ in range(data.draw(st.integers(1, 4))):
        channel = data.draw(st.sampled_from(READ))
        i = data.draw(st.integers(0, len(planted.times) - 1))
        planted.flags[channel][i : i + data.draw(st.sampled_from([1, 3, 20]))] = REJECTED
    after = planted.judge()
    fails(before, after, why="rejected")
    assert {n.id for n in before.notices if n.requirement.check["method"] in ("none_above", "any_above")} <= {
        n.id for n in after.notices
    }


@few
@given(months(), st.data())
def test_a_worse_reading_makes_nothing_better(planted: Planted, data: st.DataObject) -> None:
    before = planted.judge()
    channel = data.draw(st.sampled_from(READ))
    i = data.draw(st.integers(0, len(planted.times) - 1))
    old = planted.values[channel][i]
    worst = 0.01 if channel == "entry_chlorine" else 15.0
    if planted.flags[channel][i] == 0 and not np.isnan(old):
        planted.values[channel][i] = worst
    after = planted.judge()
    first, second = words(before), words(after)
    for key, word in first.items():
        assert BETTER[second[key]] <= max(BETTER[word], 0), (key, word, second[key])
        if word == "broken":
            assert second[key] == "broken", (key, second[key])


@few
@given(months(), st.randoms(use_true_random=False))
def test_the_order_of_events_says_nothing(planted: Planted, random: Any) -> None:
    planted.event("backwash", "03 08:00", "03 08:15", "filter_1").event("backwash", "05 08:00", "05 08:15", "filter_2")
    planted.event("instrument_fault", "09 08:00", "09 12:00", "combined_turbidity")
    before = words(planted.judge())
    random.shuffle(planted.events)
    assert words(planted.judge()) == before


@pytest.mark.parametrize("packs", [OURS, FEDERAL], ids=["with a local pack", "federal alone"])
def test_a_month_of_good_readings_is_met_and_an_empty_one_is_not(packs: Any) -> None:
    good = words(Planted(packs=packs).judge())
    continuous = [key for key in good if key[0].startswith(("cfe", "ife_trigger", "ife_cont", "ep_", "tt_"))]
    assert {good[key] for key in continuous} <= {"met", "does not apply"}
    empty = Planted(packs=packs)
    for channel in empty.values:
        empty.values[channel][:] = np.nan
    assert "met" not in {word for key, word in words(empty.judge()).items() if key in continuous}

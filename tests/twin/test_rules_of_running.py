"""The plant does what its rules say: when it washes, throttles, shuts, doses, refills."""

from typing import Any

import numpy as np
import pytest
from tests.twin import plants
from tests.twin.members import trial

from weirhouse.twin.policy import Forcing, forcing, habit, shut_for
from weirhouse.twin.run import Run, run


def sky(turbidity: Any, demand: float = 0.008, start_of_day: float = 6 * 3600.0) -> Forcing:
    return forcing(turbidity, interval=3600.0, temperature=10.0, demand=demand, start_of_day=start_of_day)


def ran(water: Forcing, **rules: Any) -> Run:
    compiled, p, policy, begin = trial(plants.usual(), 3, 4, **({"start_below": 1.0} | rules))
    return run(compiled, p, begin, water, policy)


def test_washes_begin_only_in_their_hours() -> None:
    result = ran(sky(np.full((1, 12), 5.0)), wash_time=600.0, wash_from=8 * 3600.0, wash_until=9 * 3600.0)
    begun = result.end.washed_at[result.end.washed_at > 0] + 6 * 3600
    assert len(begun) > 0
    assert ((begun >= 8 * 3600) & (begun < 9 * 3600)).all()


def test_only_one_filter_is_washed_at_a_time() -> None:
    result = ran(sky(np.full((1, 6), 5.0)), wash_time=1800.0)
    out = np.stack([result.path(f"filter_{i}.mode") > 0 for i in (1, 2)])
    assert out.any()
    assert not out.all(axis=0).any()


def test_flow_is_cut_above_a_turbidity_and_the_intake_shut_above_another() -> None:
    mud = np.repeat([5.0, 60.0, 5.0, 300.0, 120.0, 5.0], 2)[None, :]
    result = ran(
        sky(mud), throttle_above=50.0, throttle_to=0.6, shut_above=200.0, reopen_below=100.0, max_rate=np.inf,
        wash_time=np.inf, wash_head=np.inf, wash_turbidity=np.inf,
    )  # fmt: skip
    flow = result.path("flow")[0]
    usual = flow[6]
    assert flow[15] == pytest.approx(0.6 * usual)
    assert (flow[25:38] == 0).all()  # shut at 300, still shut at 120
    assert flow[-1] == pytest.approx(usual)


def test_flow_is_raised_over_its_ramp_and_cut_at_once() -> None:
    compiled, p, policy, begin = trial(plants.usual(), 1, 4, ramp=1200.0)
    result = run(compiled, p, begin, sky(np.full((1, 3), 5.0)), shut_for(policy, 1.0), every=60.0)
    flow = result.path("flow")[0]
    assert (flow[:60] == 0).all()
    rises = np.diff(flow[59:79])
    assert rises[:17] == pytest.approx(np.full(17, 0.009 / 20), rel=1e-3)


def test_the_dose_follows_the_water_at_the_feed_or_the_stream() -> None:
    step = np.array([[5.0] * 2 + [100.0] * 8])
    at_feed, by_stream = (ran(sky(step), dose_by_raw=i).path("coagulant.dose")[0] for i in (0, 1))
    assert by_stream[8] > 30  # the dose of 100 NTU as soon as the stream shows it
    assert at_feed[8] < 20
    assert at_feed[-1] > 30


@pytest.mark.parametrize(("until", "refilled"), [(24.0, True), (6.0, False)])
def test_a_day_tank_is_refilled_when_low_in_the_hours_for_it(until: float, refilled: bool) -> None:
    compiled, p, policy, begin = trial(plants.usual(), 2, 4, refill_below=0.3, refill_until=until * 3600)
    begin.feed_tank[:, 0] = 0.31 * compiled.train.feed_full[0]
    result = run(compiled, p, begin, sky(np.full((1, 16), 30.0)), policy)
    full = result.end.feed_tank[:, 0] > 0.5 * compiled.train.feed_full[0]
    assert full.all() == refilled
    assert (result.product_used["coagulant"] > 0).all()


def test_a_filter_goes_to_waste_after_a_standstill_where_the_rule_says_so() -> None:
    still = {"block_start": [0.0, 3600.0], "block_flow": [0.0, np.nan], "block_dose": [1.0, 1.0]}
    calm = {"wash_head": np.inf, "wash_turbidity": np.inf}
    none, some = (ran(sky(np.full((1, 4), 5.0)), start_to_waste=t, **still, **calm) for t in (0.0, 600.0))
    assert (none.total("to_waste_m3") == 0).all()
    assert some.total("to_waste_m3") == pytest.approx(0.009 * 600 / 2, rel=0.15)  # the flow is being raised meanwhile


def test_plans_by_the_hour_go_before_the_rules() -> None:
    result = ran(
        sky(np.full((1, 6), 5.0)), block_start=[0.0, 7200.0], block_flow=[0.004, np.nan], block_dose=[0.5, 1.0]
    )
    assert result.path("flow")[0, 4] == pytest.approx(0.004)
    assert result.path("flow")[0, -1] > 0.005
    dose = result.path("coagulant.dose")[0]
    assert dose[4] == pytest.approx(0.5 * dose[-1], rel=0.1)


def test_an_unknown_rule_and_a_path_with_a_gap_are_refused() -> None:
    compiled, p, policy, begin = trial(plants.usual(), 2, 4)
    with pytest.raises(ValueError, match="wash_colour is no rule"):
        habit(compiled, wash_colour=1.0)
    with pytest.raises(ValueError, match="turbidity has a gap"):
        sky([[5.0, np.nan]])
    with pytest.raises(ValueError, match="demand must not be below 0"):
        sky([[5.0]], demand=-1.0)
    with pytest.raises(ValueError, match="has 3 paths for 2 members"):
        run(compiled, p, begin, sky(np.full((3, 2), 5.0)), policy)
    with pytest.raises(ValueError, match="multiple of the step"):
        run(compiled, p, begin, sky([[5.0]]), policy, every=90.0)

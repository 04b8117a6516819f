"""Plants fitted to records behave as the plant that left the records: tried on one whose parameters are known."""

from dataclasses import replace

import numpy as np
import pytest

from weirhouse import plant as plants
from weirhouse.twin.compile import compile_plant
from weirhouse.twin.fit import _trial, fitted
from weirhouse.twin.moment import Moment, Recorded
from weirhouse.twin.parameters import Parameters, sample
from weirhouse.twin.policy import habit
from weirhouse.twin.start import init
from weirhouse.twin.state import Start

QUARTERS = 4 * 40
MEMBERS = 60


@pytest.fixture(scope="module")
def emberly(demo_folder):
    return compile_plant(plants.load(demo_folder))


def true_plant(compiled) -> Parameters:
    """One plant that is unlike the usual one: its floc settles fast, its filters catch much and are hard to shake."""
    usual = sample(compiled, 1, 0, spread=0.0)
    return usual._replace(
        floc_velocity=1.6 * usual.floc_velocity, coefficient_scale=1.6 * usual.coefficient_scale,
        aggregation=2.0 * usual.aggregation, shaking=0.3 * usual.shaking,
    )  # fmt: skip


@pytest.fixture(scope="module")
def moment(emberly) -> Moment:
    """Records of forty hours of the true plant, with a night's standstill."""
    turbidity = 5.0 + 10.0 * np.exp(-0.5 * ((np.arange(QUARTERS) - 70) / 20.0) ** 2)
    flow = np.full(QUARTERS, 0.009)
    flow[60:90] = 0.0
    empty = np.full(QUARTERS, np.nan)
    recorded = Recorded(turbidity=turbidity, flow=flow, settled=empty, combined=empty, washes=((4 * 3600.0, 0),))
    start = Start(turbidity=float(turbidity[-1]), flow=0.009)
    begins = Moment(start=start, recorded=recorded, policy=habit(emberly), demand=None, unknown=())
    truth = _trial(emberly, true_plant(emberly), begins, 0, None)
    running = flow > 0
    settled, combined = (
        np.where(running, np.asarray(truth.path(name), dtype=float)[0], np.nan) for name in ("settled", "combined")
    )
    return replace(begins, recorded=replace(recorded, settled=settled, combined=combined))


def middles(compiled, parameters, begins) -> tuple[np.ndarray, np.ndarray]:
    """Return each member's median settled and filtered turbidity over the record."""
    trial = _trial(compiled, parameters, begins, 0, None)
    there = begins.recorded.flow > 0
    return tuple(
        np.median(np.asarray(trial.path(name), dtype=float)[:, there], axis=1) for name in ("settled", "combined")
    )


def test_fitted_plants_give_what_was_measured(emberly, moment):
    drawn = sample(emberly, MEMBERS, 3)
    kept = fitted(emberly, moment, members=MEMBERS, seed=3)
    for k, series in enumerate((moment.recorded.settled, moment.recorded.combined)):
        truth = np.nanmedian(series)
        before, after = (middles(emberly, p, moment)[k] for p in (drawn, kept.parameters))
        off, left = (np.abs(np.log(np.median(m) / truth)) for m in (before, after))
        assert left < 0.25  # within a quarter of what was measured
        assert left < 0.5 * off
        assert np.std(np.log(after)) < 0.6 * np.std(np.log(before))
    assert kept.doubt == ""
    assert "settled turbidity and filtered turbidity" in kept.said


def test_the_water_in_the_basin_is_that_which_came_in(emberly, moment):
    """The basin holds hours of water: after a storm it is browner than the stream is by then."""
    fallen = np.where(np.arange(QUARTERS) < QUARTERS - 8, 60.0, 3.0)  # the stream cleared two hours ago
    begins = replace(
        moment, start=replace(moment.start, turbidity=3.0), recorded=replace(moment.recorded, turbidity=fallen)
    )
    kept = fitted(emberly, begins, members=20, seed=1)
    rest = init(emberly, kept.parameters, begins.start, begins.policy)
    assert np.median(kept.state.came_in) > 40.0
    assert np.median(rest.came_in) == pytest.approx(3.0)


def test_levels_are_those_read_now_and_the_ledger_is_empty(emberly, moment):
    start = replace(moment.start, tank_levels=(0.5, 0.25), feed_levels=(0.4, 0.6))
    kept = fitted(emberly, replace(moment, start=start), members=20, seed=1)
    full = emberly.train.tank_full
    assert kept.state.tanks == pytest.approx(np.tile([0.5, 0.25] * full, (20, 1)))
    assert not kept.state.ledger.any() and not kept.state.time.any()


def test_without_records_the_plants_are_as_drawn(emberly, moment):
    kept = fitted(emberly, replace(moment, recorded=None), members=20, seed=5)
    drawn = sample(emberly, 20, 5)
    for name in Parameters._fields:
        assert np.array_equal(getattr(kept.parameters, name), getattr(drawn, name)), name
    assert "Nothing measured" in kept.said


def test_a_plant_that_the_models_cannot_be_is_said_to_be(emberly, moment):
    """Filtered water of 40 NTU behind settled water below 1: no draw comes near it."""
    odd = replace(moment.recorded, combined=np.where(moment.recorded.flow > 0, 40.0, np.nan))
    kept = fitted(emberly, replace(moment, recorded=odd), members=40, seed=2)
    assert "too low" in kept.doubt


def test_the_same_seed_gives_the_same_plants(emberly, moment):
    first, second = (fitted(emberly, moment, members=24, seed=9) for _ in range(2))
    for name in Parameters._fields:
        assert np.array_equal(getattr(first.parameters, name), getattr(second.parameters, name)), name
    for one, other in zip(first.state, second.state, strict=True):
        assert np.array_equal(one, other, equal_nan=True)


def test_the_trial_follows_the_record_and_washes_when_it_was_washed(emberly, moment):
    made = _trial(emberly, sample(emberly, 4, 1), moment, 1, None)
    flow = np.asarray(made.path("flow"))
    assert flow[:, 61:89].max() == 0.0
    assert flow[:, 100:].min() == pytest.approx(0.009, rel=0.01)
    assert made.total("washes") == pytest.approx(np.ones(4))

"""Residence times against closed forms and published ratios."""

import math

import numpy as np
import pytest

from weirhouse.science.residence_time import (
    mean_residence_time,
    plug_flow_share_passed,
    relative_residence_time,
    residence_time_quantile,
    share_passed,
    tanks_from_tracer,
)


@pytest.mark.parametrize(("tanks", "ratio"), [(1, 0.105), (2, 0.266), (3, 0.367), (5, 0.487), (10, 0.622), (20, 0.726)])
def test_cp_h4_t10_over_mean_time(tanks, ratio):
    assert relative_residence_time(0.1, float(tanks)) == pytest.approx(ratio, abs=0.0006)


@pytest.mark.parametrize("tanks", [1, 2, 3, 4])
def test_share_passed_is_the_erlang_distribution(tanks):
    # closed form for whole tanks: F = 1 - exp(-n x) sum (n x)^i / i!
    for x in (0.1, 0.7, 1.0, 2.5):
        closed = 1 - math.exp(-tanks * x) * sum((tanks * x) ** i / math.factorial(i) for i in range(tanks))
        assert share_passed(3600.0 * x, 36.0, 0.010, float(tanks)) == pytest.approx(closed, rel=1e-10)


def test_quantile_undoes_share():
    for share in (0.1, 0.5, 0.9):
        time = residence_time_quantile(share, 45.0, 0.009, 3.7, 0.85)
        assert share_passed(time, 45.0, 0.009, 3.7, 0.85) == pytest.approx(share, rel=1e-10)


def test_many_tanks_come_near_plug_flow():
    assert relative_residence_time(0.1, 5000.0) == pytest.approx(1.0, abs=0.02)
    assert relative_residence_time(0.9, 5000.0) == pytest.approx(1.0, abs=0.02)


def test_quantiles_rise_and_their_mean_is_the_mean_time():
    shares = np.linspace(0.0005, 0.9995, 1000)
    times = residence_time_quantile(shares, 36.0, 0.010, 3.0)
    assert (np.diff(times) > 0).all()
    assert times.mean() == pytest.approx(3600.0, rel=0.003)


def test_dead_zones_shorten_every_time_alike():
    whole = residence_time_quantile(0.5, 36.0, 0.010, 3.0)
    assert residence_time_quantile(0.5, 36.0, 0.010, 3.0, 0.8) == pytest.approx(0.8 * whole)
    assert mean_residence_time(36.0, 0.010, 0.8) == pytest.approx(2880.0)


def test_plug_flow_passes_all_at_once():
    times = np.array([3599.0, 3600.0, math.nan])
    np.testing.assert_equal(plug_flow_share_passed(times, 36.0, 0.010), [0.0, 1.0, math.nan])


def test_tanks_from_the_variance_of_a_tracer():
    # variance of n tanks is mean^2 / n (Levenspiel)
    assert tanks_from_tracer(3600.0, 3600.0**2 / 4) == pytest.approx(4.0)


def test_bounds_are_refused():
    with pytest.raises(ValueError, match="share must be below 1; it is 1"):
        residence_time_quantile(1.0, 36.0, 0.01, 3.0)
    with pytest.raises(ValueError, match="flow must be above 0"):
        residence_time_quantile(0.5, 36.0, 0.0, 3.0)

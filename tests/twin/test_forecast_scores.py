"""Scores of forecasts against values worked out elsewhere."""

import numpy as np
import pytest

from weirhouse.twin.forecast import blend, scores
from weirhouse.twin.forecast.conditional import PROBABILITIES


def test_cp_j1_score_of_a_normal_forecast_at_its_middle():
    # (sqrt 2 - 1) / sqrt pi, Gneiting and Raftery 2007 (from memory)
    exact = (2**0.5 - 1) / np.pi**0.5
    assert exact == pytest.approx(0.23369, abs=5e-6)
    assert float(scores.crps_normal(0.0, 1.0, 0.0)) == pytest.approx(exact, rel=1e-12)
    members = np.random.default_rng(3).standard_normal(200_000)
    assert float(scores.crps(members, 0.0)) == pytest.approx(exact, abs=0.002)


def test_cp_j2_two_members_about_what_came():
    assert float(scores.crps([0.0, 1.0], 0.5, fair=False)) == 0.25
    assert float(scores.crps([0.0, 1.0], 0.5)) == 0.0


def test_score_equals_its_definition_over_all_pairs():
    rng = np.random.default_rng(5)
    x, y = rng.normal(size=(4, 7)), rng.normal(size=4)
    pairs = np.abs(x[:, :, None] - x[:, None, :]).sum(axis=(1, 2))
    near = np.abs(x - y[:, None]).mean(axis=1)
    assert scores.crps(x, y) == pytest.approx(near - pairs / (2 * 7 * 6))
    assert scores.crps(x, y, fair=False) == pytest.approx(near - pairs / (2 * 49))


def test_fair_score_does_not_depend_on_the_number_of_members():
    rng = np.random.default_rng(6)
    y = rng.normal(size=40_000)
    few, many = scores.crps(rng.normal(size=(40_000, 3)), y), scores.crps(rng.normal(size=(40_000, 40)), y)
    assert few.mean() == pytest.approx(many.mean(), abs=0.01)
    assert scores.crps(rng.normal(size=(40_000, 3)), y, fair=False).mean() > many.mean() + 0.1


def test_one_member_has_no_fair_score():
    with pytest.raises(ValueError, match="2 or more"):
        scores.crps([1.0], 1.0)


def test_score_of_quantiles_nears_that_of_the_distribution():
    quantiles = blend.SCORES_OF  # of N(0, 1)
    exact = float(scores.crps_normal(0.0, 1.0, 0.7))
    assert float(scores.crps_of_quantiles(quantiles, PROBABILITIES, 0.7)) == pytest.approx(exact, rel=0.05)


def test_place_and_cover():
    members = np.arange(100.0)
    assert float(scores.pit(members, 24.5)) == 0.25
    assert [float(scores.covered(members, v, 0.5)) for v in (20.0, 30.0, 74.0, 80.0)] == [0.0, 1.0, 1.0, 0.0]


def test_cp_a4_mean_over_median_of_a_lognormal():
    # exp(1/2) = 1.6487 at a deviation of 1
    z = blend.expand(blend.SCORES_OF[None, :], blend.even_scores(20_000))[0]
    assert np.exp(z).mean() / np.median(np.exp(z)) == pytest.approx(1.6487, rel=0.01)

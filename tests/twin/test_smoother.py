"""Drawn parameters are moved towards the data as far as the data's error warrants, and no farther."""

import numpy as np
import pytest

from weirhouse.twin.smoother import moved


@pytest.mark.parametrize("enlarged", [(4.0,) * 4, (9.333, 7.0, 4.0, 2.0), (1.0,)])
def test_a_linear_normal_case_is_solved_exactly(enlarged):
    """CP-j3: m ~ N(0, 1), d = 1, C_d = 1 must give mean 0.5 and variance 0.5 (Bayes' rule for normals)."""
    rng = np.random.default_rng(7)
    m = rng.standard_normal((1, 200_000))
    for factor in enlarged:
        m = moved(m, m, np.array([1.0]), np.array([1.0]), factor, rng)
    assert m.mean() == pytest.approx(0.5, abs=0.01)
    assert m.var() == pytest.approx(0.5, abs=0.01)


def test_two_parameters_and_two_data_as_in_the_textbook_of_least_squares():
    """The mean is that of generalised least squares: (I + H'H/r)^-1 H'd/r for a prior N(0, I)."""
    h, r, d = np.array([[1.0, 2.0], [0.5, -1.0]]), 0.3, np.array([1.5, -0.4])
    rng = np.random.default_rng(8)
    m = rng.standard_normal((2, 200_000))
    for factor in (4.0,) * 4:
        m = moved(m, h @ m, d, np.full(2, np.sqrt(r)), factor, rng)
    precision = np.eye(2) + h.T @ h / r
    assert m.mean(axis=1) == pytest.approx(np.linalg.solve(precision, h.T @ d / r), abs=0.015)
    assert np.cov(m) == pytest.approx(np.linalg.inv(precision), abs=0.015)


def test_what_the_data_do_not_depend_on_stays():
    rng = np.random.default_rng(9)
    m = rng.standard_normal((2, 50_000))
    after = moved(m, m[:1], np.array([3.0]), np.array([0.1]), 1.0, rng)
    assert after[0].mean() == pytest.approx(3.0 / 1.01, abs=0.02)
    assert after[1].mean() == pytest.approx(m[1].mean(), abs=0.03)

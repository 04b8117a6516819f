"""Argaman and Kaufman: check points, closed form against the printed sum, cold water."""

import pytest

from weirhouse.science.flocculation import (
    argaman_kaufman_remaining,
    cold_flocculation_factor,
    compartment_remaining,
    flocculation_limit,
)

# derived from the equation as published; the constants are from memory of the literature
CASES = [
    (1.8e-5, 0.8e-7, (0.5359, 0.4578, 0.4321), 0.1778),
    (5.1e-5, 1.1e-7, (0.2818, 0.1693, 0.1383), 0.0863),
    (2.5e-4, 4.5e-7, (0.1208, 0.0747, 0.0722), 0.0720),
]


@pytest.mark.parametrize(("aggregation", "breakup", "expected", "limit"), CASES)
def test_cp_d1(aggregation, breakup, expected, limit):
    for compartments, share in zip((1, 3, 6), expected, strict=True):
        found = argaman_kaufman_remaining(40.0, 1800.0, compartments, aggregation, breakup)
        assert found == pytest.approx(share, abs=6e-5)
    assert flocculation_limit(40.0, aggregation, breakup) == pytest.approx(limit, abs=6e-5)


@pytest.mark.parametrize("compartments", [1, 2, 5])
def test_closed_form_is_the_printed_sum(compartments):
    g, t, ka, kb = 35.0, 1500.0, 4.5e-5, 1.0e-7
    a = 1 + ka * g * t / compartments
    printed = (1 + kb * g**2 * t / compartments * sum(a**i for i in range(compartments))) / a**compartments
    assert argaman_kaufman_remaining(g, t, compartments, ka, kb) == pytest.approx(printed, rel=1e-12)


def test_cp_d2_tapered_stirring():
    share = 1.0
    for gradient in (60.0, 40.0, 20.0):
        share = compartment_remaining(share, gradient, 600.0, 5.1e-5, 1.1e-7)
    assert share == pytest.approx(0.1676, abs=6e-5)


def test_equal_compartments_one_by_one_are_the_closed_form():
    share = 1.0
    for _ in range(4):
        share = compartment_remaining(share, 40.0, 450.0, 5.1e-5, 1.1e-7)
    assert share == pytest.approx(argaman_kaufman_remaining(40.0, 1800.0, 4, 5.1e-5, 1.1e-7), rel=1e-12)


def test_no_stirring_leaves_everything_and_long_stirring_the_limit():
    assert argaman_kaufman_remaining(0.0, 1800.0, 3, 5.1e-5, 1.1e-7) == 1.0
    endless = argaman_kaufman_remaining(40.0, 1e9, 3, 5.1e-5, 1.1e-7)
    assert endless == pytest.approx(flocculation_limit(40.0, 5.1e-5, 1.1e-7), rel=1e-6)


@pytest.mark.parametrize(
    ("temperature", "factor"), [(20, 1.0), (15, 1.07), (10, 1.15), (5, 1.25), (2, 1.25), (25, 1.0)]
)
def test_cold_allowance_as_printed(temperature, factor):
    # Davis, Water and Wastewater Engineering, p. 6-37
    assert cold_flocculation_factor(float(temperature)) == pytest.approx(factor)

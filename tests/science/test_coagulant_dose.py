"""The dose by four terms of the water: by hand, and that its two forms are one. The coefficients are from memory."""

import math

import pytest

from weirhouse.science.coagulant_dose import dose_at_turbidity, dose_by_regression, dose_in_other_water

WATER = {"turbidity": 10.0, "uv254": 12.0, "temperature": 5.0, "alkalinity": 40.0}
OTHER = {"turbidity": 120.0, "uv254": 20.0, "temperature": 8.0, "alkalinity": 25.0}


def test_each_term_by_hand():
    # ln D = a0 + a1 ln(N + 1) + a2 UV + a3 (T - 10) + a4 ln Alk
    logarithm = 1.6 + 0.25 * math.log(11) + 0.02 * 12 - 0.01 * (5 - 10) + 0.1 * math.log(40)
    assert math.log(dose_by_regression(**WATER, constant=1.6, uv254_slope=0.02)) == pytest.approx(logarithm)


def test_one_water_to_another_is_the_ratio_of_the_regression():
    coefficients = {"uv254_slope": 0.03, "turbidity_exponent": 0.3, "temperature_slope": -0.02}
    there = dose_by_regression(**OTHER, constant=1.1, **coefficients)
    here = dose_by_regression(**WATER, constant=1.1, **coefficients)
    new = {f"new_{name}": value for name, value in OTHER.items()}
    assert dose_in_other_water(20.0, **WATER, **new, **coefficients) == pytest.approx(20.0 * there / here)


def test_where_only_turbidity_differs_it_is_the_rule_of_turbidity():
    same = {f"new_{name}": value for name, value in WATER.items()} | {"new_turbidity": 90.0}
    found = dose_in_other_water(20.0, **WATER, **same, uv254_slope=0.02)
    assert found == pytest.approx(dose_at_turbidity(20.0, 10.0, 90.0))


def test_cold_and_organic_water_asks_for_more():
    base = dose_by_regression(**WATER, constant=1.6, uv254_slope=0.02)
    assert dose_by_regression(**WATER | {"temperature": 1.0}, constant=1.6, uv254_slope=0.02) > base
    assert dose_by_regression(**WATER | {"uv254": 20.0}, constant=1.6, uv254_slope=0.02) > base


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"alkalinity": 0.0}, "alkalinity must be above 0 mg/L; it is 0. Give it as CaCO3"),
        ({"temperature": 60.0}, "Check the unit of the temperature"),
        ({"turbidity_exponent": 3.0}, "too few days"),
        ({"uv254": -1.0}, "uv254 must not be below 0"),
    ],
)
def test_what_cannot_be_is_refused(change, words):
    with pytest.raises(ValueError, match=words):
        dose_by_regression(**WATER | {"constant": 1.6, "uv254_slope": 0.02} | change)

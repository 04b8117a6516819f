"""By-products: indicative regressions from memory, held to their own exponents and to what is known of directions."""

import numpy as np
import pytest

from weirhouse.science.by_products import by_product_scaled, trihalomethanes, trihalomethanes_by_absorbance
from weirhouse.working import recording

TREATED = {"toc": 2.0, "chlorine_dose": 2.0, "bromide": 0.05, "temperature": 15.0, "ph": 7.5, "time": 86400.0}


@pytest.mark.parametrize(
    ("name", "exponent"),
    [
        ("toc", 1.098),
        ("chlorine_dose", 0.152),
        ("bromide", 0.068),
        ("temperature", 0.609),
        ("ph", 1.601),
        ("time", 0.263),
    ],
)
def test_each_exponent_is_as_stated(name, exponent):
    # EPA treated-water equation, from memory: this shows that it was typed as remembered, not that it is right
    more = trihalomethanes(**TREATED | {name: 1.1 * TREATED[name]})
    assert np.log(more / trihalomethanes(**TREATED)) / np.log(1.1) == pytest.approx(exponent)


def test_both_regressions_are_of_the_size_that_surface_waters_have():
    # 10 to 100 ug/L in treated surface water after a day: common practice, no source
    both = trihalomethanes(**TREATED), trihalomethanes_by_absorbance(uv254=5.0, **TREATED)
    assert all(0.010 < value < 0.100 for value in both)


@pytest.mark.parametrize("name", list(TREATED))
def test_more_of_anything_makes_more(name):
    for formula, more in ((trihalomethanes, {}), (trihalomethanes_by_absorbance, {"uv254": 5.0})):
        assert formula(**more, **TREATED | {name: 1.1 * TREATED[name]}) > formula(**more, **TREATED)


def test_the_sheet_says_that_it_is_indicative():
    with recording() as sheet:
        trihalomethanes(**TREATED)
    assert "Indicative, give or take half" in sheet.text("US")


def test_scaled_by_a_days_own_result_the_estimate_of_that_day_is_the_result():
    estimate = trihalomethanes(**TREATED)
    assert by_product_scaled(estimate, 0.052, estimate) == pytest.approx(0.052)


def test_at_once_there_is_none_and_beyond_the_regression_no_answer():
    assert trihalomethanes(**TREATED | {"time": 0.0}) == 0.0
    with pytest.raises(ValueError, match="ph must be from 5 to 10"):
        trihalomethanes(**TREATED | {"ph": 75.0})

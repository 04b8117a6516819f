"""Refusals name the item and pass a gap."""

import math

import numpy as np
import pytest

from weirhouse.science import checks


def test_a_scalar_is_refused_with_its_value_and_the_hint():
    with pytest.raises(ValueError, match=r"^diameter must be above 0 m; it is -2\. Measure inside\.$"):
        checks.require(-2.0 > 0, -2.0, "diameter must be above 0 m", "Measure inside.")


def test_an_array_names_its_first_wrong_item_counted_from_one():
    values = np.array([1.0, math.nan, 0.0, -1.0])
    with pytest.raises(ValueError, match=r"item 3 is 0\."):
        checks.require(values > 0, values, "diameter must be above 0 m")


def test_a_gap_passes():
    checks.require(math.nan > 0, math.nan, "x")
    values = np.array([1.0, math.nan])
    checks.require(values > 0, values, "x")
    checks.refuse(np.array([2.0, 1.0]) > np.array([math.nan, 1.0]), np.array([2.0, 1.0]), "x")


def test_refuse_names_the_item_where_two_inputs_disagree():
    with pytest.raises(ValueError, match=r"weak must not be above strong; item 2 is 0\.5\."):
        checks.refuse(np.array([0.1, 0.5]) > 0.2, np.array([0.1, 0.5]), "weak must not be above strong")


@pytest.mark.parametrize("pair", [(1.0, 2.0), (2.0, 1.0), (math.nan, 1.0), (1.0, math.nan)])
def test_least_and_most_agree_with_numpy_gaps_included(pair):
    np.testing.assert_equal(checks.least(*pair), np.minimum(*pair))
    np.testing.assert_equal(checks.most(*pair), np.maximum(*pair))
    arrays = tuple(np.array([value]) for value in pair)
    np.testing.assert_equal(checks.least(*arrays), np.minimum(*arrays))


def test_functions_keep_scalars_off_numpy():
    assert type(checks.exp(1.0)) is float and type(checks.sqrt(2.0)) is float
    assert type(checks.ln(2.0)) is float and type(checks.log10(2.0)) is float
    assert checks.choose(True, 1.0, 2.0) == 1.0 and checks.choose(False, 1.0, 2.0) == 2.0
    assert not checks.all_finite(math.nan) and not checks.all_finite(np.array([1.0, math.inf]))
    assert checks.all_finite(1.0)

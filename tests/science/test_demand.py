"""Demand through the day: the check point of the pattern, the day's volume, and what is refused."""

import math

import numpy as np
import pytest

from weirhouse.science.demand import TWO_PEAKS, demand_by_pattern, usual_demand
from weirhouse.science.storage import equalising_fraction

HALF_HOURS = (np.arange(24) + 0.5) * 3600.0


def test_cp_i1_the_usual_pattern_stores_0_158_of_a_day_and_peaks_at_1_603():
    drawn = usual_demand(0.002, HALF_HOURS)
    assert equalising_fraction(drawn) == pytest.approx(0.158, abs=6e-4)
    assert drawn.max() / 0.002 == pytest.approx(1.603, abs=6e-4)


def test_the_days_volume_stays_whatever_the_patterns_mean():
    pattern = [2.0, 6.0, 9.0, 3.0]
    drawn = demand_by_pattern(0.002, HALF_HOURS, pattern)
    assert drawn.mean() == pytest.approx(0.002, rel=1e-12)
    assert drawn[6] / drawn[0] == pytest.approx(3.0)  # from 6 o'clock the second quarter
    assert demand_by_pattern(0.002, HALF_HOURS, pattern, 1.2) == pytest.approx(1.2 * drawn)


def test_own_and_usual_pattern_are_one_formula():
    assert demand_by_pattern(0.002, HALF_HOURS, TWO_PEAKS) == pytest.approx(usual_demand(0.002, HALF_HOURS))


def test_an_hour_begins_on_the_hour():
    assert usual_demand(1.0, 6 * 3600.0) == usual_demand(1.0, 7 * 3600.0 - 1.0) < usual_demand(1.0, 7 * 3600.0)
    assert usual_demand(1.0, 86399.0) == usual_demand(1.0, 23 * 3600.0)


def test_a_gap_stays_in_its_place():
    found = usual_demand(0.002, np.array([0.0, math.nan]))
    assert math.isnan(found[1]) and found[0] > 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: usual_demand(0.002, 86400.0), "Count it from midnight"),
        (lambda: demand_by_pattern(0.002, 0.0, [1.0]), "two parts or more; it has 1"),
        (lambda: demand_by_pattern(0.002, 0.0, [0.0, 0.0]), "sum of the pattern must be above 0"),
        (lambda: demand_by_pattern(0.002, 0.0, [1.0, -1.0]), "pattern must not be below 0; item 2 is -1"),
        (lambda: usual_demand(-0.002, 0.0), "mean_demand must not be below 0"),
    ],
)
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()

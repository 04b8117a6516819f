"""Jar tests: sets read in print, and the usual tester."""

import math

import numpy as np
import pytest

from weirhouse.science.jar_test import jar_optimum_dose, jar_optimum_ph, jar_velocity_gradient
from weirhouse.working import recording

# M. L. Davis, Water and Wastewater Engineering (2010), pp. 6-18 and 6-19: jars at pH 6, and jars at 10 mg/L
DOSES, BY_DOSE = [5, 7, 10, 12, 15, 20], [14, 9.5, 5, 4.5, 6, 13]
PHS, BY_PH = [5.0, 5.5, 6.0, 6.5, 7.0, 7.5], [11, 7, 5.5, 5.7, 8, 13]


def test_the_dose_a_book_reads_off_its_curve():
    assert jar_optimum_dose(DOSES, BY_DOSE) == pytest.approx(12.5, abs=0.25)  # the book reads 12.5 mg/L
    assert jar_optimum_dose(DOSES, BY_DOSE) == pytest.approx(12.62, abs=0.01)  # by an independent fit


def test_the_ph_a_book_would_test_again():
    assert 6.0 < jar_optimum_ph(PHS, BY_PH) < 6.25  # the book takes 6.0 and would test again at 6.25
    assert jar_optimum_ph(PHS, BY_PH) == pytest.approx(6.17, abs=0.01)  # by an independent fit


@pytest.mark.parametrize(("rpm", "at_20", "at_5"), [(20, 10.5, 8.5), (40, 29.7, 24.1), (100, 117, 95), (200, 332, 270)])
def test_velocity_gradient_of_the_usual_jar(rpm, at_20, at_5):
    # worked out by an independent script from the drag of the paddle; the coefficient of 1.8 is from course slides
    assert jar_velocity_gradient(rpm / 60, 20.0) == pytest.approx(at_20, rel=0.01)
    assert jar_velocity_gradient(rpm / 60, 5.0) == pytest.approx(at_5, rel=0.01)


def test_a_set_that_still_falls_says_to_go_on():
    with recording() as sheet:
        assert jar_optimum_dose([5, 10, 15, 20], [12, 8, 5, 3.5]) == 20.0
    assert "make another set beyond it" in sheet.text("US")
    assert jar_optimum_dose([5, 10, 15, 20], [3, 5, 8, 12]) == 5.0


def test_an_exact_parabola_gives_its_own_least():
    doses = np.array([4.0, 8.0, 12.0, 20.0, 30.0])
    assert jar_optimum_dose(doses, np.exp(0.01 * (doses - 17.0) ** 2)) == pytest.approx(17.0)
    assert math.isnan(jar_optimum_dose(doses, [1, 2, math.nan, 3, 4]))


def test_three_jars_tell_no_curve():
    with pytest.raises(ValueError, match="doses must have four different values or more"):
        jar_optimum_dose([5, 10, 10, 15], [3, 2, 2, 3])
    with pytest.raises(ValueError, match="one for each turbidity; there are 4 and 3"):
        jar_optimum_dose([5, 10, 12, 15], [3, 2, 3])

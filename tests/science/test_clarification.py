"""Clarification: rough laws from memory, held to check points and to their limits."""

import numpy as np
import pytest

from weirhouse.science.clarification import (
    blanket_passage,
    coagulation_quality,
    median_floc_velocity,
    settled_turbidity,
)
from weirhouse.science.settling import upflow_carry_over


def test_cooling_from_20_to_5_degc_takes_a_third_of_the_velocity():
    # viscosity 1.516 times as high (water tables): 1 - 1/1.516
    loss = 1 - median_floc_velocity(1e-3, 5.0) / median_floc_velocity(1e-3, 20.0)
    assert loss == pytest.approx(0.34, abs=2e-3)


def test_at_the_best_dose_and_ph_it_is_one_and_underdosing_hurts_more():
    assert coagulation_quality(20.0, 20.0, 6.5, 6.5) == 1.0
    assert coagulation_quality(20.0, 20.0, 6.75, 6.5) == 1.0  # within 0.3
    assert coagulation_quality(10.0, 20.0, 6.5, 6.5) < coagulation_quality(40.0, 20.0, 6.5, 6.5) < 1.0


def test_floc_grows_no_further_than_full_grown_and_poor_coagulation_settles_badly():
    assert median_floc_velocity(1e-3, 10.0, 1.0, 2.0) == median_floc_velocity(1e-3, 10.0, 1.0, 1.0)
    assert median_floc_velocity(1e-3, 10.0, 0.25) == pytest.approx(median_floc_velocity(1e-3, 10.0) / 2)


def test_two_blankets_in_turn_are_one_of_both_depths():
    one, other = blanket_passage(8.0, 0.2, 0.5), blanket_passage(8.0, 0.2, 0.7)
    assert one * other == pytest.approx(blanket_passage(8.0, 0.2, 1.2))


def test_what_did_not_coagulate_passes_whatever_the_clarifier_does():
    assert settled_turbidity(30.0, 1.5, 0.05, 0.0) == pytest.approx(1.0)
    assert settled_turbidity(30.0, 1.5, 0.0, 1.0) == pytest.approx(20.0)  # what came in


def test_more_flow_more_turbidity():
    rise = np.linspace(2e-4, 8e-4, 10)
    carried = upflow_carry_over(rise, median_floc_velocity(4 / 3600, 8.0, 0.8), 0.7)
    assert np.all(np.diff(settled_turbidity(30.0, 1.5, 0.02, carried)) > 0)

"""Size classes: a check point, and one size as the special case."""

import numpy as np
import pytest

from weirhouse.science.properties import kinematic_viscosity, water_density
from weirhouse.science.settling import ferguson_church_velocity, hazen_removal
from weirhouse.science.size_classes import mixed_sizes_removal, mixed_sizes_turbidity_removal

SIZES = [1e-6, 3e-6, 8e-6, 20e-6, 45e-6, 90e-6]
STORM = [0.15, 0.20, 0.25, 0.20, 0.12, 0.08]
BASIN = {"particle_density": 2650.0, "overflow_rate": 5.4 / 3600 / 6.0, "compartments": 3.0, "temperature": 10.0}


def test_a_storm_mix_loses_solids_but_hardly_turbidity():
    # worked out by an independent script from the same equations: 0.360 of the solids, 0.093 of the turbidity
    assert mixed_sizes_removal(SIZES, STORM, **BASIN) == pytest.approx(0.360, abs=1e-3)
    assert mixed_sizes_turbidity_removal(SIZES, STORM, **BASIN) == pytest.approx(0.093, abs=1e-3)


def test_one_size_is_the_removal_of_that_size_and_shares_are_taken_in_proportion():
    velocity = ferguson_church_velocity(20e-6, 2650.0, water_density(10.0), kinematic_viscosity(10.0))
    one = hazen_removal(velocity, BASIN["overflow_rate"], 3.0)
    assert mixed_sizes_removal([20e-6], [0.3], **BASIN) == pytest.approx(one)
    assert mixed_sizes_turbidity_removal([20e-6], [1.0], **BASIN) == pytest.approx(one)
    percent = [100 * share for share in STORM]
    assert mixed_sizes_removal(SIZES, percent, **BASIN) == pytest.approx(mixed_sizes_removal(SIZES, STORM, **BASIN))


def test_counted_by_weight_turbidity_is_removed_like_solids():
    solids = mixed_sizes_removal(SIZES, STORM, **BASIN)
    assert mixed_sizes_turbidity_removal(SIZES, STORM, **BASIN, exponent=0.0) == pytest.approx(solids)


def test_cold_water_keeps_less():
    assert np.all(np.diff(mixed_sizes_removal(SIZES, STORM, **BASIN | {"temperature": np.linspace(0, 25, 6)})) > 0)


def test_lists_of_different_length_are_refused():
    with pytest.raises(ValueError, match="shares must have as many values as diameters; it has 2 and not 6"):
        mixed_sizes_removal(SIZES, [0.5, 0.5], **BASIN)

"""Settling: check points, the fluids library, limits."""

import fluids.drag
import numpy as np
import pytest

from weirhouse.science.properties import dynamic_viscosity, kinematic_viscosity, water_density
from weirhouse.science.settling import (
    basin_area_for_removal,
    cheng_velocity,
    ferguson_church_velocity,
    floc_velocity,
    hazen_removal,
    ideal_removal,
    settling_velocity,
    sphere_drag_coefficient,
    stokes_diameter,
    stokes_velocity,
    upflow_carry_over,
)


@pytest.mark.parametrize(("diameter", "velocity"), [(1e-4, 6.843e-3), (1e-3, 0.11941)])
def test_cp_b1_ferguson_and_church(diameter, velocity):
    # derived from the constants as published, with g 9.81
    assert ferguson_church_velocity(diameter, 2650.0, 1000.0, 1e-6, 20.0, 1.1) == pytest.approx(velocity, rel=5e-4)


@pytest.mark.parametrize(("microns", "velocity"), [(10, 6.850e-5), (20, 2.717e-4), (50, 1.635e-3), (100, 5.994e-3)])
def test_cp_b2_ferguson_and_church_in_cold_water(microns, velocity):
    found = ferguson_church_velocity(microns * 1e-6, 2650.0, water_density(10.0), kinematic_viscosity(10.0))
    assert found == pytest.approx(velocity, rel=2e-3)


@pytest.mark.parametrize(("diameter", "velocity"), [(1e-4, 6.065e-3), (1e-3, 0.1114)])
def test_cp_b3_cheng(diameter, velocity):
    assert cheng_velocity(diameter, 2650.0, 1000.0, 1e-6) == pytest.approx(velocity, rel=1e-3)


@pytest.mark.parametrize(("compartments", "removal"), [(1, 0.5), (3, 0.5781), (5, 0.5981), (1e7, 0.6321)])
def test_cp_b4_hazen(compartments, removal):
    assert hazen_removal(0.001, 0.001, compartments) == pytest.approx(removal, abs=6e-5)


def test_cp_b4_one_compartment_is_the_sizing_formula_of_the_stormwater_manual():
    area = basin_area_for_removal(0.5, 0.01, 0.001)
    assert hazen_removal(0.001, 0.01 / area, 1.0) == pytest.approx(0.5)


@pytest.mark.parametrize(("compartments", "removal"), [(1, 0.521), (3, 0.604), (6, 0.632)])
def test_cp_b5_removal_of_fine_silt(compartments, removal):
    velocity = ferguson_church_velocity(20e-6, 2650.0, water_density(10.0), kinematic_viscosity(10.0))
    assert hazen_removal(velocity, 5.4 / 3600 / 6.0, compartments) == pytest.approx(removal, abs=1e-3)


def test_cp_b5_a_storm_mix_loses_solids_but_hardly_turbidity():
    sizes = np.array([1, 3, 8, 20, 45, 90]) * 1e-6
    mass = np.array([0.15, 0.20, 0.25, 0.20, 0.12, 0.08])
    velocity = ferguson_church_velocity(sizes, 2650.0, water_density(10.0), kinematic_viscosity(10.0))
    removal = hazen_removal(velocity, 5.4 / 3600 / 6.0, 3.0)
    turbidity = mass * sizes**-0.8
    assert (mass * removal).sum() == pytest.approx(0.360, abs=1e-3)
    assert (turbidity * removal).sum() / turbidity.sum() == pytest.approx(0.093, abs=1e-3)


@pytest.mark.parametrize("microns", [5, 10, 20, 50, 100])
def test_three_laws_of_fine_grains_agree_within_a_quarter(microns):
    """Cheng's law ends in 24 where Stokes has 18: a quarter slower for the finest."""
    d, nu = microns * 1e-6, kinematic_viscosity(10.0)
    density = water_density(10.0)
    reference = ferguson_church_velocity(d, 2650.0, density, nu)
    assert cheng_velocity(d, 2650.0, density, nu) == pytest.approx(reference, rel=0.26)
    assert settling_velocity(d, 2650.0, density, dynamic_viscosity(10.0)) == pytest.approx(reference, rel=0.26)


@pytest.mark.parametrize("reynolds", [0.01, 0.5, 5.0, 50.0, 500.0, 5e3, 1e5])
def test_drag_against_the_fluids_library(reynolds):
    # the library's correlations for the standard drag curve scatter by some percent among themselves
    others = [getattr(fluids.drag, name)(reynolds) for name in ("Clift", "Haider_Levenspiel", "Morrison")]
    assert sphere_drag_coefficient(reynolds) == pytest.approx(float(np.median(others)), rel=0.06)


@pytest.mark.parametrize("diameter", [2e-6, 5e-5, 2e-4, 1e-3, 5e-3])
def test_settling_velocity_against_the_fluids_library(diameter):
    library = fluids.drag.v_terminal(diameter, 2650.0, 999.7, 1.306e-3)
    assert settling_velocity(diameter, 2650.0, 999.7, 1.306e-3) == pytest.approx(library, rel=0.04)


def test_small_spheres_obey_stokes_and_it_is_refused_beyond():
    assert settling_velocity(3e-6, 2650.0, 999.7, 1.306e-3) == pytest.approx(
        stokes_velocity(3e-6, 2650.0, 999.7, 1.306e-3), rel=1e-3
    )
    with pytest.raises(ValueError, match=r"Reynolds number .* must not be above 1 for Stokes' law"):
        stokes_velocity(5e-4, 2650.0, 999.7, 1.306e-3)


def test_stokes_diameter_undoes_the_velocity():
    velocity = stokes_velocity(3e-5, 2650.0, 999.7, 1.306e-3)
    assert stokes_diameter(velocity, 2650.0, 999.7, 1.306e-3) == pytest.approx(3e-5)


def test_larger_grains_fall_faster():
    sizes = np.geomspace(1e-6, 2e-3, 200)
    for velocity in (
        settling_velocity(sizes, 2650.0, 999.7, 1.306e-3),
        ferguson_church_velocity(sizes, 2650.0, 999.7, 1.306e-6),
        cheng_velocity(sizes, 2650.0, 999.7, 1.306e-6),
    ):
        assert (np.diff(velocity) > 0).all()


def test_what_floats_is_refused():
    with pytest.raises(ValueError, match="particle_density must be above fluid_density; it is 900"):
        settling_velocity(1e-4, 900.0, 999.7, 1.306e-3)


def test_cp_e2_upflow_carry_over():
    assert upflow_carry_over(0.001, 0.001, 0.7) == pytest.approx(0.5)
    assert upflow_carry_over(0.0005, 0.001, 0.7) == pytest.approx(0.161, abs=6e-4)


def test_cp_e3_cold_water_lowers_floc_velocity_by_a_third():
    assert 1 - floc_velocity(0.001, dynamic_viscosity(5.0)) / 0.001 == pytest.approx(0.34, abs=0.005)


def test_an_ideal_basin_never_keeps_more_than_everything():
    assert ideal_removal(0.01, 0.001) == 1.0
    assert ideal_removal(0.0, 0.001) == 0.0

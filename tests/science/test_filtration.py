"""Filtration: check points of the collector theory, mass balance, limits."""

import numpy as np
import pytest

from weirhouse.quantity import convert
from weirhouse.science.filtration import (
    bed_depth_to_size_ratio,
    bed_passage,
    collector_efficiency,
    diffusion_efficiency,
    effective_filtration_rate,
    filter_area,
    filter_coefficient,
    filter_flow,
    filter_run_volume,
    filtration_rate,
    filtration_rate_of_several,
    gravity_efficiency,
    interception_efficiency,
    layer_passage,
    layers,
    mudball_share,
    particle_diffusivity,
    pore_velocity,
    porosity_parameter,
    production_efficiency,
    run_time_for_unit_volume,
    unit_filter_run_volume,
    unit_filter_run_volume_from_rate,
)
from weirhouse.science.properties import dynamic_viscosity, water_density
from weirhouse.working import recording

RATE = 5.0 / 3600


@pytest.mark.parametrize(("porosity", "printed"), [(0.51, 20.35), (0.42, 33.64), (0.40, 37.98)])
def test_happels_parameter(porosity, printed):
    # 20.35 at 0.51 heads a published script of the correlation; the others follow from the formula
    assert porosity_parameter(porosity) == pytest.approx(printed, abs=0.006)


def test_contacts_of_a_particle_of_one_micrometre():
    # worked apart from this code from the coefficients of Tufenkji and Elimelech 2004
    mu, rho, squeeze = dynamic_viscosity(20.0), water_density(20.0), porosity_parameter(0.42)
    wandering = particle_diffusivity(1e-6, 20.0, mu)
    assert diffusion_efficiency(squeeze, 1e-6, 5e-4, RATE, wandering, 20.0) == pytest.approx(4.879e-4, rel=1e-3)
    assert interception_efficiency(squeeze, 1e-6, 5e-4, RATE, mu) == pytest.approx(2.274e-4, rel=1e-3)
    assert gravity_efficiency(1e-6, 5e-4, RATE, 1050.0, rho, mu, 20.0) == pytest.approx(6.34e-6, rel=2e-3)


@pytest.mark.parametrize(("size", "coefficient"), [(1e-6, 1.256), (1e-5, 11.7)])
def test_filter_coefficient_when_every_touch_sticks(size, coefficient):
    efficiency = collector_efficiency(size, 5e-4, RATE, 0.42, 20.0)
    assert filter_coefficient(0.42, 1.0, efficiency, 5e-4) == pytest.approx(coefficient, rel=3e-3)


def test_particles_of_about_one_micrometre_are_caught_worst():
    sizes = np.geomspace(2e-7, 2e-5, 60)
    worst = sizes[np.argmin(collector_efficiency(sizes, 5e-4, RATE, 0.42, 20.0))]
    assert 5e-7 < worst < 2.5e-6


def test_older_correlations_lie_on_both_sides():
    """Yao 3.174e-4 and Rajagopalan-Tien 1.063e-3 for the same case of one micrometre."""
    assert 3.174e-4 < collector_efficiency(1e-6, 5e-4, RATE, 0.42, 20.0) < 1.063e-3


def test_a_bed_passes_what_its_layers_pass():
    passed = bed_passage([3.0, 8.0, 2.0], [0.45, 0.25, 0.15])
    assert passed == pytest.approx(np.exp(-3.65))
    assert passed == pytest.approx(layer_passage(3.0, 0.45) * layer_passage(8.0, 0.25) * layer_passage(2.0, 0.15))
    assert 2.0 * passed == pytest.approx(0.052, abs=5e-4)


def test_a_bed_of_no_depth_passes_everything():
    assert layer_passage(8.0, 0.0) == 1.0


def test_large_particles_are_refused_as_strained_out():
    with pytest.raises(ValueError, match=r"a tenth of the grain_size; it is 6e-05\. A larger one is strained out"):
        collector_efficiency(6e-5, 5e-4, RATE, 0.42, 20.0)


def test_lists_of_layers_must_be_of_one_length():
    with pytest.raises(ValueError, match="effective_sizes must have as many values as depths; it has 1 and not 2"):
        bed_depth_to_size_ratio([0.4, 0.2], [0.001])


def test_layers_show_their_steps():
    with recording() as sheet:
        bed_depth_to_size_ratio([0.4, 0.2], [0.001, 0.0005])
    assert [line.result for line in sheet.lines[0].lines] == pytest.approx([400.0, 400.0])
    assert layers(a=[1.0], b=[2.0]) == [(1.0, 2.0)]


def test_rate_flow_and_area_undo_each_other():
    rate = filtration_rate(0.0045, 3.25)
    assert filter_flow(rate, 3.25) == pytest.approx(0.0045)
    assert filter_area(0.0045, rate) == pytest.approx(3.25)
    assert filtration_rate_of_several(0.009, 3.25, 2) == pytest.approx(rate)


def test_run_volume_by_volume_and_by_rate_agree():
    by_volume = unit_filter_run_volume(filter_run_volume(0.0045, 1e5), 3.25)
    assert unit_filter_run_volume_from_rate(0.0045 / 3.25, 1e5) == pytest.approx(by_volume)
    assert run_time_for_unit_volume(by_volume, 0.0045 / 3.25) == pytest.approx(1e5)


def test_net_production_of_a_usual_cycle():
    # by hand: 5000 gal/ft2 less 150 for the wash and 50 to waste is 96 percent; (5000 - 150) gal/ft2 over 2540 min
    unit = convert(1.0, "gal/ft^2", "m")
    assert production_efficiency(5000 * unit, 150 * unit, 50 * unit) == pytest.approx(0.96)
    rate = effective_filtration_rate(5000 * unit, 150 * unit, 2500 * 60.0, 40 * 60.0)
    assert convert(rate, "m/s", "gpm/ft^2") == pytest.approx(4850 / 2540)


def test_the_area_must_be_given():
    with pytest.raises(ValueError, match=r"area must be above 0 m\^2; it is 0\. Give the area of the sand"):
        filtration_rate(0.0045, 0.0)


def test_pores_and_mudballs():
    assert pore_velocity(RATE, 0.4) == pytest.approx(RATE / 0.4)
    assert mudball_share(30e-6, 3e-3) == pytest.approx(0.01)

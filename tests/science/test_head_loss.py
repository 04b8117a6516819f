"""Head loss of clean beds: check points, the fluids library, limits."""

import fluids.packed_bed
import numpy as np
import pytest

from weirhouse.science.head_loss import (
    bed_hydraulic_radius,
    bed_porosity,
    bed_reynolds_number,
    carman_kozeny_head_loss,
    carman_kozeny_rate,
    clean_bed_head_loss,
    effective_mean_size,
    equivalent_grain_size,
    ergun_friction_factor,
    ergun_head_loss,
    ergun_pressure_drop,
    grain_drag_coefficient,
    grain_reynolds_number,
    grain_size_60,
    grain_size_90,
    layered_bed_head_loss,
    layered_bed_head_loss_by_rose,
    mean_grain_size,
    media_mass,
    rose_head_loss,
    rose_head_loss_of_cuts,
    sieve_size,
    specific_surface,
    uniformity_coefficient,
)
from weirhouse.science.properties import dynamic_viscosity, water_density
from weirhouse.working import recording

# The sieve analysis of Fair and Geyer's example, as quoted in lecture notes on rapid filters: size [m], share.
CUTS = [2e-3, 1.42e-3, 1e-3, 7.14e-4, 5.05e-4, 3.57e-4, 2.52e-4, 1.78e-4, 1.26e-4]
SHARES = [0.053, 0.171, 0.146, 0.204, 0.176, 0.119, 0.059, 0.031, 0.007]
RATE, NU = 0.0025, 1.307e-6


def test_rose_on_a_sieve_analysis():
    reynolds = [grain_reynolds_number(RATE, d, NU, sphericity=0.82) for d in CUTS]
    assert (reynolds[0], reynolds[-1]) == pytest.approx((3.137, 0.198), abs=6e-4)
    drag = sum(f * grain_drag_coefficient(r) / d for f, r, d in zip(SHARES, reynolds, CUTS, strict=True))
    assert drag == pytest.approx(75025, abs=1)  # printed 75 025 1/m
    loss = rose_head_loss_of_cuts(RATE, 0.5, 0.45, 0.82, NU, CUTS, SHARES)
    assert loss == pytest.approx(0.76, abs=0.005)  # printed
    # Ergun on the same cuts, worked apart from this code
    ergun = sum(
        f * ergun_head_loss(RATE, 0.5, d, 0.45, 0.82, 999.7, NU * 999.7) for f, d in zip(SHARES, CUTS, strict=True)
    )
    assert ergun == pytest.approx(0.577, abs=1e-3)


def test_a_sieve_analysis_that_does_not_add_up_is_noted_or_refused():
    with recording() as sheet:
        rose_head_loss_of_cuts(RATE, 0.5, 0.45, 0.82, NU, CUTS, SHARES)
    assert sheet.lines[0].notes == ["The cuts are 96.6 percent of the weight; the rest is left out."]
    with pytest.raises(ValueError, match=r"fractions must not be above 1 together; it is 1\.1"):
        effective_mean_size([0.6, 0.5], [1e-3, 5e-4])


@pytest.mark.parametrize("rate", [1e-4, 1e-3, 1e-2, 0.1])
@pytest.mark.parametrize(
    ("size", "porosity", "sphericity"), [(5e-4, 0.43, 0.8), (1.2e-3, 0.55, 0.65), (2e-3, 0.4, 1.0)]
)
def test_ergun_against_the_fluids_library(rate, size, porosity, sphericity):
    library = fluids.packed_bed.Ergun(
        dp=size * sphericity, voidage=porosity, vs=rate, rho=999.7, mu=1.306e-3, L=0.3
    )  # fmt: skip
    assert ergun_pressure_drop(rate, 0.3, size, porosity, sphericity, 999.7, 1.306e-3) == pytest.approx(library)
    head = ergun_head_loss(rate, 0.3, size, porosity, sphericity, 999.7, 1.306e-3)
    assert head * 9.80665 * 999.7 == pytest.approx(library)


def test_the_laminar_part_is_carman_and_kozeny_with_150():
    slow = (1e-6, 0.3, 5e-4, 0.43, 0.8, 999.7, 1.306e-3)
    assert carman_kozeny_head_loss(*slow, constant=150.0) == pytest.approx(ergun_head_loss(*slow), rel=1e-3)
    assert carman_kozeny_head_loss(*slow) / carman_kozeny_head_loss(*slow, constant=150.0) == pytest.approx(1.2)


def test_carman_and_kozeny_forward_and_back():
    loss = carman_kozeny_head_loss(1.4e-3, 0.3, 5e-4, 0.43, 0.8, 999.7, 1.306e-3)
    assert carman_kozeny_rate(loss, 0.3, 5e-4, 0.43, 0.8, 999.7, 1.306e-3) == pytest.approx(1.4e-3)


def test_friction_factor_and_reynolds_number_make_up_ergun():
    arguments = (5e-4, 0.43, 0.8, 999.7, 1.306e-3)
    factor = ergun_friction_factor(bed_reynolds_number(1.4e-3, *arguments))
    by_factor = factor * 0.3 * (1 - 0.43) * 1.4e-3**2 / (9.80665 * 0.8 * 5e-4 * 0.43**3)
    assert ergun_head_loss(1.4e-3, 0.3, *arguments) == pytest.approx(by_factor)


def test_a_bed_is_the_sum_of_its_layers():
    layers = [(0.4572, 1.4e-3, 0.55, 0.65), (0.2286, 7e-4, 0.43, 0.80), (0.0762, 1.7e-3, 0.43, 0.80)]
    lists = [list(column) for column in zip(*layers, strict=True)]
    with recording() as sheet:
        whole = layered_bed_head_loss(5 / 3600, 10.0, *lists)
    assert whole == pytest.approx(sum(clean_bed_head_loss(5 / 3600, *layer, 10.0) for layer in layers))
    assert sum(line.formula.name == "ergun_head_loss" for line in sheet.lines[0].lines) == 3
    rose = layered_bed_head_loss_by_rose(5 / 3600, 10.0, *lists)
    assert whole < rose < 1.5 * whole


def test_cold_water_takes_more_head():
    cold, warm = (clean_bed_head_loss(5 / 3600, 0.3, 6e-4, 0.43, 0.8, t) for t in (5.0, 20.0))
    assert cold / warm == pytest.approx(dynamic_viscosity(5.0) / dynamic_viscosity(20.0), rel=0.01)


def test_no_flow_takes_no_head_and_more_takes_more():
    rates = np.linspace(0.0, 0.02, 50)
    loss = ergun_head_loss(rates, 0.3, 6e-4, 0.43, 0.8, water_density(10.0), dynamic_viscosity(10.0))
    assert loss[0] == 0.0 and (np.diff(loss) > 0).all()


def test_log_normal_sizes():
    """Sizes drawn from the spread itself, sieved by counting weights."""
    random = np.random.default_rng(7)
    sizes = 5e-4 * 1.5 ** ((random.standard_normal(400_000) + 1.2816) / 1.5349)
    assert np.quantile(sizes, 0.6) == pytest.approx(grain_size_60(5e-4, 1.5), rel=2e-3)
    assert np.quantile(sizes, 0.9) == pytest.approx(grain_size_90(5e-4, 1.5), rel=2e-3)
    assert 1 / np.mean(1 / sizes) == pytest.approx(mean_grain_size(5e-4, 1.5), rel=2e-3)


def test_equal_grains_have_one_size():
    assert mean_grain_size(5e-4, 1.0) == grain_size_60(5e-4, 1.0) == grain_size_90(5e-4, 1.0) == 5e-4
    assert effective_mean_size([0.5, 0.5], [5e-4, 5e-4], 0.8) == pytest.approx(4e-4)


def test_porosity_and_surface():
    assert specific_surface(bed_porosity(962.0, 1600.0), 0.02) == pytest.approx(180.4, abs=0.05)
    with pytest.raises(ValueError, match="bulk_density must be below particle_density; it is 1700"):
        bed_porosity(1700.0, 1600.0)


def test_rose_wants_flow():
    with pytest.raises(ValueError, match="reynolds must be above 0"):
        rose_head_loss(0.0, 0.3, 6e-4, 0.43, 0.8, NU)


def test_sizes_from_a_sieve_analysis():
    """By hand: 10 percent pass 0.42 mm; 60 percent lie a third of the way from 0.59 to 0.84 mm by logarithm."""
    openings, passing = [3.0e-4, 4.2e-4, 5.9e-4, 8.4e-4, 1.19e-3], [0.01, 0.10, 0.45, 0.90, 1.0]
    fine = sieve_size(0.10, openings, passing)
    assert fine == pytest.approx(4.2e-4)
    coarse = sieve_size(0.60, openings, passing)
    assert coarse == pytest.approx(5.9e-4 * (8.4 / 5.9) ** (1 / 3))
    assert uniformity_coefficient(coarse, fine) == pytest.approx(1.58, abs=0.005)
    with pytest.raises(ValueError, match=r"shares_passing must rise from sieve to sieve; item 2 is 0\.2"):
        sieve_size(0.5, [4e-4, 5e-4], [0.9, 0.2])
    with pytest.raises(ValueError, match=r"share_finer must be from 0\.2 to 0\.9; it is 0\.1"):
        sieve_size(0.1, [4e-4, 5e-4], [0.2, 0.9])


def test_surface_and_size_of_cylinders_as_long_as_wide():
    # Geankoplis, Example 3.1-3: 6 / diameter is their surface for each volume
    assert equivalent_grain_size(6 / 0.02) == pytest.approx(0.02)
    assert bed_hydraulic_radius(0.4, 6e-4) == pytest.approx(0.4 / specific_surface(0.4, 6e-4))
    assert media_mass(2.0, 0.5, 1600.0) == 1600.0

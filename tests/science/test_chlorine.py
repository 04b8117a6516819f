"""Chlorine: published shares of HOCl, mass balances, and what undoes what."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirhouse.quantity import factor
from weirhouse.science.chlorine import (
    chlorine_decay_rate,
    chlorine_demand,
    chlorine_dose,
    chlorine_mass,
    chlorine_residual,
    dose_for_residual_after,
    hocl_share,
    hypochlorite_feed_rate,
    hypochlorite_mass,
    hypochlorite_share,
    hypochlorite_volume,
    hypochlorous_acid_pka,
    residual_after,
    time_to_residual,
)
from weirhouse.science.feed import feed_rate


@pytest.mark.parametrize(("temperature", "share"), [(5.0, 0.642), (10.0, 0.608), (25.0, 0.521)])
def test_share_of_hocl_at_ph_7_5(temperature, share):
    assert hocl_share(7.5, temperature) == pytest.approx(share, abs=6e-4)  # Morris's equation by an independent script


@pytest.mark.parametrize(("temperature", "pka"), [(0.0, 7.825), (10.0, 7.690), (20.0, 7.582), (25.0, 7.537)])
def test_pka_is_that_of_the_table_of_morris(temperature, pka):
    # J. C. Morris 1966, table of pKa by temperature, from memory
    assert hypochlorous_acid_pka(temperature) == pytest.approx(pka, abs=0.002)


@given(ph=st.floats(5.0, 10.0), temperature=st.floats(0.0, 40.0))
def test_the_two_forms_together_are_all_of_the_free_chlorine(ph, temperature):
    assert hocl_share(ph, temperature) + hypochlorite_share(ph, temperature) == pytest.approx(1.0, abs=1e-12)


def test_at_the_pka_half_is_hocl_and_less_above_it():
    assert hocl_share(hypochlorous_acid_pka(12.0), 12.0) == pytest.approx(0.5, abs=1e-12)
    assert np.all(np.diff(hocl_share(np.linspace(6, 9.5, 30), 12.0)) < 0)


@given(demand=st.floats(0.0, 5.0), residual=st.floats(0.0, 4.0))
def test_dose_demand_and_residual_undo_each_other(demand, residual):
    dose = chlorine_dose(demand, residual)
    assert chlorine_residual(dose, demand) == pytest.approx(residual, abs=1e-12)
    assert chlorine_demand(dose, residual) == pytest.approx(demand, abs=1e-12)


def test_a_residual_above_the_dose_is_refused_with_what_to_check():
    with pytest.raises(
        ValueError, match=r"residual must not be above the dose; it is 2\.4\. Check the feed by a drawdown"
    ):
        chlorine_demand(2.0, 2.4)


@given(residual=st.floats(0.3, 4.0), rate=st.floats(1e-7, 1e-4), time=st.floats(60.0, 86400.0))
def test_decay_forward_and_back(residual, rate, time):
    left = residual_after(residual, rate, time)
    assert chlorine_decay_rate(residual, left, time) == pytest.approx(rate, rel=1e-6)
    assert dose_for_residual_after(left, 0.0, rate, time) == pytest.approx(residual, rel=1e-9)
    assert time_to_residual(residual, left, rate) == pytest.approx(time, rel=1e-6)


def test_ten_half_lives_leave_a_thousandth():
    assert residual_after(1.024, np.log(2) / 3600, 36000.0) == pytest.approx(0.001)


def test_a_rate_in_the_wrong_unit_is_refused():
    with pytest.raises(ValueError, match=r"decay_rate x time must not be above 10; it is 36\. Check the units"):
        dose_for_residual_after(1.0, 0.5, 0.01, 3600.0)


def test_hypochlorite_by_volume_and_by_weight_are_told_apart():
    # 12.5 trade percent is 125 g/L: 2 mg/L at 150 gpm (567.8 L/min) takes 1135.6 mg/min, 9.08 mL/min
    flow = 150 * factor("gpm", "m^3/s")
    by_volume = hypochlorite_feed_rate(2.0, flow, 0.125, 1200.0, "weight_per_volume")
    assert by_volume * factor("m^3/s", "mL/min") == pytest.approx(9.085, abs=0.005)
    by_weight = hypochlorite_feed_rate(2.0, flow, 0.125, 1200.0, "weight_per_weight")
    assert by_volume / by_weight == pytest.approx(1.2)
    assert by_weight == pytest.approx(feed_rate(2.0, flow, 0.125, 1200.0, "Cl2"))


def test_a_mixed_day_tank_feeds_as_many_times_more():
    neat = hypochlorite_feed_rate(1.5, 0.009, 0.125, 1200.0, "weight_per_volume")
    assert hypochlorite_feed_rate(1.5, 0.009, 0.125, 1200.0, "weight_per_volume", 4.0) == pytest.approx(4 * neat)


def test_an_unknown_basis_of_the_strength_is_refused():
    with pytest.raises(ValueError, match="strength_basis must be weight_per_volume or weight_per_weight; it is trade"):
        hypochlorite_feed_rate(1.5, 0.009, 0.125, 1200.0, "trade")


def test_a_volume_of_water_takes_the_same_chlorine_by_mass_and_by_volume():
    chlorine = chlorine_mass(500.0, 50.0)
    assert hypochlorite_mass(500.0, 50.0, 0.65) * 0.65 == pytest.approx(chlorine)
    assert hypochlorite_volume(500.0, 50.0, 0.125) * 125.0 == pytest.approx(chlorine)  # 125 kg of Cl2 in a cubic metre

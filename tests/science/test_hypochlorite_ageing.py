"""Ageing of hypochlorite: what is known of its temperature, and the equation against itself."""

import math

import numpy as np
import pytest

from weirhouse.science.hypochlorite_ageing import (
    hypochlorite_decay_constant,
    hypochlorite_half_life,
    hypochlorite_ionic_strength,
    hypochlorite_storage_time,
    hypochlorite_strength_after,
)

DAY = 86400.0


def test_ten_degrees_make_it_about_four_times_as_fast():
    # M. W. Lister, Canadian Journal of Chemistry 34 (1956) 465, abstract (doi:10.1139/v56-068): 24.8 kcal/mol
    by_lister = math.exp(24.8 * 4184 / 8.314 * (1 / 293.15 - 1 / 303.15))
    found = hypochlorite_decay_constant(30.0, 6500.0) / hypochlorite_decay_constant(20.0, 6500.0)
    assert found == pytest.approx(by_lister, rel=0.02)
    # a maker of hypochlorite plants (powellfab.com) prints a factor of 3.5 for 10 degC: the same within a fifth
    assert found == pytest.approx(3.5, rel=0.2)


@pytest.mark.parametrize(("temperature", "days"), [(20.0, 132), (25.0, 65), (30.0, 32)])
def test_half_life_of_1_9_mol_per_litre_at_an_ionic_strength_of_6_5(temperature, days):
    # worked out by an independent script from the equation, whose constants are from memory: order of magnitude only
    assert 1 / (hypochlorite_decay_constant(temperature, 6500.0) * 1900.0) / DAY == pytest.approx(days, rel=0.01)


def test_it_is_the_solution_of_second_order_decay():
    times = np.linspace(0.0, 200.0, 20001) * DAY
    strength = hypochlorite_strength_after(0.125, 25.0, times)
    rate = hypochlorite_decay_constant(25.0, hypochlorite_ionic_strength(0.125)) * 1e6 / 70.906
    assert np.gradient(strength, times)[1:-1] == pytest.approx(-rate * strength[1:-1] ** 2, rel=1e-5)


def test_half_life_and_storage_time_agree_with_the_strength():
    half = hypochlorite_half_life(0.125, 20.0)
    assert hypochlorite_strength_after(0.125, 20.0, half) == pytest.approx(0.0625)
    assert hypochlorite_storage_time(0.125, 0.0625, 20.0) == pytest.approx(half)
    assert hypochlorite_storage_time(0.125, 0.125, 20.0) == 0.0


def test_strong_and_warm_goes_first():
    # twice by order, the rest by the salt; powellfab.com prints 5 times the loss for double strength, this gives 7
    ratio = hypochlorite_half_life(0.06, 20.0) / hypochlorite_half_life(0.12, 20.0)
    assert ratio == pytest.approx(2 * 10 ** (0.149 * 2 * 60 / 70.906))
    assert hypochlorite_half_life(0.12, 35.0) < hypochlorite_half_life(0.12, 15.0) / 10


def test_a_share_written_as_percent_is_refused_in_words():
    with pytest.raises(
        ValueError, match=r"trade_strength must not be above 25 percent; it is 12.5. Write trade percent"
    ):
        hypochlorite_half_life(12.5, 20.0)
    with pytest.raises(ValueError, match="least_strength must not be above trade_strength"):
        hypochlorite_storage_time(0.10, 0.12, 20.0)

"""Stability of water against calcite: PHREEQC, and the indices against each other."""

import math

import numpy as np
import pytest
from tests.science.phreeqc import Water, solve, waters

from weirhouse.science.carbonate import langelier_index
from weirhouse.science.stability import aggressive_index, precipitation_potential, ryznar_index, saturation_ph

MANY = [w for w in waters(120, seed=3, ph=(6.3, 9.0), dose=(0.1, 0.2)) if w.calcium_share > 0.05]
SOFT = 7.2, 20.0, 18.0, 10.0  # the water of a mountain stream


def potential(water: Water, ionic_strength: float) -> float:
    return precipitation_potential(
        water.ph, water.alkalinity, water.calcium_hardness, water.temperature, ionic_strength
    )


def test_precipitation_potential_against_phreeqc():
    """PHREEQC has ion pairs, which are left out here.

    What dissolves comes within 7 percent and 0.8 mg/L (the pair CaCO3 alone holds 0.55); what would fall is up to a
    third low above pH 8.6, where much of the calcium is paired.
    """
    wrong, falling = [], 0
    for water in MANY:
        raw, balanced = solve(water, "calcite")
        theirs = -(balanced.carbon - raw.carbon) / 1000 * 100087
        falling += theirs > 1
        near = pytest.approx(theirs, rel=0.07, abs=0.8) if theirs < 1 else pytest.approx(theirs, rel=0.33, abs=0.8)
        if potential(water, raw.ionic_strength) != near:
            wrong.append((water, potential(water, raw.ionic_strength), theirs))
    assert len(MANY) > 100 and falling > 3 and not wrong


def test_saturation_ph_and_ryznar_against_phreeqcs_saturation():
    for water in MANY[:40]:
        raw, _ = solve(water)
        given = water.ph, water.alkalinity, water.calcium_hardness, water.temperature, raw.ionic_strength
        assert saturation_ph(*given) == pytest.approx(water.ph - raw.calcite, abs=0.06)
        assert ryznar_index(*given) == pytest.approx(water.ph - 2 * raw.calcite, abs=0.12)


def test_the_sign_of_the_potential_is_that_of_the_index():
    ph = np.linspace(6.5, 9.2, 40)
    potentials = precipitation_potential(ph, 120.0, 150.0, 12.0)
    assert np.array_equal(potentials > 0, langelier_index(ph, 120.0, 150.0, 12.0) > 0)
    assert np.all(np.diff(potentials) > 0)


def test_in_balance_nothing_falls_and_nothing_dissolves():
    # at the pH where calcite is in balance, found from the index alone
    low, high = 7.0, 8.5
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if langelier_index(middle, 120.0, 150.0, 12.0) < 0 else (low, middle)
    assert precipitation_potential(low, 120.0, 150.0, 12.0) == pytest.approx(0.0, abs=1e-6)
    assert ryznar_index(low, 120.0, 150.0, 12.0) == pytest.approx(low, abs=1e-6)


def test_aggressive_index_of_a_soft_water_says_highly_aggressive():
    assert aggressive_index(7.2, 20.0, 18.0) == pytest.approx(7.2 + math.log10(360.0))
    assert aggressive_index(7.2, 20.0, 18.0) < 10 < aggressive_index(8.2, 100.0, 120.0)  # AWWA C400, from memory


def test_all_of_them_call_a_soft_water_one_that_dissolves():
    assert langelier_index(*SOFT) < -1 and ryznar_index(*SOFT) > 9 and precipitation_potential(*SOFT) < -4


def test_no_hardness_is_refused():
    with pytest.raises(ValueError, match="calcium_hardness must be above 0"):
        precipitation_potential(7.2, 20.0, 0.0, 10.0)

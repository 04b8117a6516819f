"""Carbonate system: against Harned and Davis, against PHREEQC, and forward against back."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.science.phreeqc import Water, solve, waters

from weirhouse.science.carbonate import (
    activity_coefficient,
    alkalinity_from_carbon,
    alkalinity_from_titration,
    bicarbonate_alkalinity,
    carbon_dioxide,
    carbonate_alkalinity,
    free_carbon_dioxide,
    hydroxide_alkalinity,
    ionic_strength_from_conductivity,
    ionic_strength_from_dissolved_solids,
    langelier_index,
    ph_after_aeration,
    ph_from_carbon,
    pk1,
    pk2,
    pkw,
    total_hardness,
    total_inorganic_carbon,
)


@pytest.mark.parametrize(
    ("temperature", "first", "second", "water"),
    [(5.0, 6.5163, 10.5544, 14.7322), (10.0, 6.4633, 10.4879, 14.5338), (25.0, 6.3519, 10.3289, 13.9995)],
)
def test_the_constants_are_those_of_plummer_and_busenberg(temperature, first, second, water):
    # worked out from their equation by an independent script; 6.3519 and 10.3289 at 25 degC are printed
    assert pk1(temperature) == pytest.approx(first, abs=6e-5)
    assert pk2(temperature) == pytest.approx(second, abs=6e-5)
    assert pkw(temperature) == pytest.approx(water, abs=6e-5)


@pytest.mark.parametrize("temperature", [0.0, 5.0, 10.0, 15.0, 20.0, 25.0])
def test_the_constants_agree_with_those_of_harned(temperature):
    # H. S. Harned with R. Davis (1943) and S. R. Scholes (1941): their own fits to their measurements
    kelvin = temperature + 273.15
    assert pk1(temperature) == pytest.approx(3404.71 / kelvin + 0.032786 * kelvin - 14.8435, abs=0.004)
    assert pk2(temperature) == pytest.approx(2902.39 / kelvin + 0.02379 * kelvin - 6.4980, abs=0.004)


@pytest.mark.parametrize(("temperature", "printed"), [(25.0, 13.995), (0.0, 14.944), (50.0, 13.262)])
def test_the_ion_product_of_water_is_the_table_value(temperature, printed):
    # CRC Handbook of Chemistry and Physics, ionisation constant of water at saturation pressure, from memory
    assert pkw(temperature) == pytest.approx(printed, abs=0.02)


def test_davies_gives_the_textbook_coefficient():
    # W. Stumm and J. J. Morgan, Aquatic Chemistry, table of activity coefficients by Davies at 0.1 mol/L, from memory
    assert activity_coefficient(100.0, 1, 25.0) == pytest.approx(0.78, abs=0.01)
    assert activity_coefficient(100.0, 2, 25.0) == pytest.approx(0.37, abs=0.01)
    assert activity_coefficient(0.0, 2, 10.0) == 1.0


@pytest.mark.parametrize("water", waters(40, seed=11, ph=(6.2, 8.4), dose=(0.0, 0.0)), ids=str)
def test_inorganic_carbon_is_what_phreeqc_finds(water: Water):
    raw, _ = solve(water)
    carbon = total_inorganic_carbon(water.ph, water.alkalinity, water.temperature, raw.ionic_strength)
    assert carbon == pytest.approx(raw.carbon, rel=0.015)  # it counts ion pairs, which are left out here


@pytest.mark.parametrize("water", waters(40, seed=12, ph=(6.2, 8.4), dose=(0.0, 0.0)), ids=str)
def test_the_langelier_index_is_the_saturation_index_of_phreeqc(water: Water):
    raw, _ = solve(water)
    if water.calcium_hardness < 1:
        return
    found = langelier_index(water.ph, water.alkalinity, water.calcium_hardness, water.temperature, raw.ionic_strength)
    assert found == pytest.approx(raw.calcite, abs=0.06)


@given(
    ph=st.floats(2.5, 11.5),
    carbon=st.floats(0.01, 20.0),
    temperature=st.floats(0.0, 45.0),
    ionic_strength=st.floats(0.0, 100.0),
)
def test_ph_and_alkalinity_undo_each_other(ph, carbon, temperature, ionic_strength):
    alkalinity = alkalinity_from_carbon(ph, carbon, temperature, ionic_strength)
    assert ph_from_carbon(alkalinity, carbon, temperature, ionic_strength) == pytest.approx(ph, abs=1e-9)


@given(alkalinity=st.floats(10, 300), ph=st.floats(5.0, 9.0), temperature=st.floats(0.0, 30.0))
def test_carbon_and_alkalinity_undo_each_other(alkalinity, ph, temperature):
    carbon = total_inorganic_carbon(ph, alkalinity, temperature)
    assert alkalinity_from_carbon(ph, carbon, temperature) == pytest.approx(alkalinity, rel=1e-9)


def test_more_carbon_at_the_same_alkalinity_is_a_lower_ph():
    assert np.all(np.diff(ph_from_carbon(50.0, np.linspace(0.9, 5.0, 30), 10.0)) < 0)


def test_many_waters_give_what_each_gives_alone_and_a_gap_stays_in_its_place():
    alkalinity = np.array([[20.0, 80.0, math.nan], [5.0, 250.0, -2.0]])
    carbon = np.array([0.47, 1.7, 1.0])
    together = ph_from_carbon(alkalinity, carbon, 8.0)
    assert together.shape == (2, 3) and math.isnan(together[0, 2])
    for place in np.ndindex(2, 3):
        if place != (0, 2):
            alone = ph_from_carbon(float(alkalinity[place]), float(carbon[place[1]]), 8.0)
            assert together[place] == pytest.approx(alone, abs=1e-12)


def test_a_water_past_its_alkalinity_is_refused_with_the_reason():
    with pytest.raises(ValueError, match=r"outside 2 to 12; it is 1\.\d+\. Check dose and alkalinity"):
        ph_from_carbon(-2000.0, 1.0, 10.0)


def test_readings_that_cannot_be_of_one_water_are_refused():
    with pytest.raises(ValueError, match="cannot be of one water"):
        total_inorganic_carbon(11.5, 5.0, 10.0)
    with pytest.raises(ValueError, match=r"temperature must be from -1 to 50 degC; it is 68\."):
        pk1(68.0)


def test_free_carbon_dioxide_by_the_short_formula_is_near_the_full_one_at_25_degc():
    for ph in (6.5, 7.0, 7.5, 8.0):
        assert free_carbon_dioxide(ph, 100.0) == pytest.approx(carbon_dioxide(ph, 100.0, 25.0), rel=0.08)


@pytest.mark.parametrize(
    ("phenolphthalein", "total", "hydroxide", "carbonate", "bicarbonate"),
    [(0, 100, 0, 0, 100), (30, 100, 0, 60, 40), (50, 100, 0, 100, 0), (60, 100, 20, 80, 0), (100, 100, 100, 0, 0)],
)
def test_forms_of_alkalinity_follow_the_table(phenolphthalein, total, hydroxide, carbonate, bicarbonate):
    # Standard Methods 2320, table of alkalinity relationships, its five rows, from memory
    assert hydroxide_alkalinity(float(phenolphthalein), float(total)) == hydroxide
    assert carbonate_alkalinity(float(phenolphthalein), float(total)) == carbonate
    assert bicarbonate_alkalinity(float(phenolphthalein), float(total)) == bicarbonate


def test_ionic_strength_from_conductivity_and_from_solids_agree_for_a_usual_water():
    # dissolved solids are about 0.64 of the conductivity in uS/cm; common practice, no source
    assert ionic_strength_from_dissolved_solids(0.64 * 125) == pytest.approx(
        ionic_strength_from_conductivity(0.0125), rel=0.05
    )


def test_a_titration_by_the_classroom_formula():
    # Standard Methods 2320: mL of acid x normality x 50,000 / mL of sample, from memory
    assert alkalinity_from_titration(12.4e-6, 20.0, 1e-4) == pytest.approx(12.4 * 0.02 * 50_000 / 100, rel=1e-3)


def test_hardness_is_by_molar_masses():
    assert total_hardness(40.078, 24.305) == pytest.approx(2 * 100.087, rel=2e-4)  # a millimole of each in a litre


@pytest.mark.parametrize("water", waters(12, seed=8, ph=(6.8, 8.2), dose=(0.1, 0.2)), ids=str)
def test_a_water_in_balance_with_the_air_is_not_changed_by_aeration(water):
    _, aired = solve(water, "air")  # PHREEQC, carbon dioxide of 420 ppm
    assert ph_after_aeration(aired.ph, water.alkalinity, water.temperature, 0.5) == pytest.approx(aired.ph, abs=0.03)


def test_aeration_lifts_the_ph_of_a_water_full_of_carbon_dioxide_and_lowers_that_of_one_starved_of_it():
    assert ph_after_aeration(6.6, 30.0, 10.0, 0.0) == pytest.approx(6.6)
    assert 6.6 < ph_after_aeration(6.6, 30.0, 10.0, 0.3) < ph_after_aeration(6.6, 30.0, 10.0, 1.0)
    assert ph_after_aeration(9.5, 30.0, 10.0, 0.5) < 9.5

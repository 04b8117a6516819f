"""Coagulant chemistry: against PHREEQC, a published rule of thumb, and its own limits."""

import inspect
import time

import numpy as np
import pytest
from tests.science.phreeqc import Water, solve, waters

from weirhouse.science import coagulation
from weirhouse.science.coagulation import (
    alkalinity_after_coagulant,
    alkalinity_to_add,
    alkalinity_used,
    alkalinity_used_by_aluminium,
    basicity,
    ph_after_coagulant,
)
from weirhouse.working import recording

MANY = waters(300, seed=1, ph=(6.3, 8.4), dose=(0.2, 6.0))


def after(water: Water, ionic_strength: float) -> float:
    return ph_after_coagulant(
        water.ph, water.alkalinity, water.temperature, water.aluminium, 0.17, water.basicity, "Al", ionic_strength
    )


def test_ph_after_the_coagulant_is_within_0_05_of_phreeqc_over_300_waters():
    """All Al settled as Al(OH)3: in PHREEQC 3 (1 - basicity) mol of strong acid to each mole of Al."""
    wrong = []
    for water in MANY:
        raw, dosed = solve(water, "acid")
        assert raw.ph == pytest.approx(water.ph)
        for ionic_strength in (raw.ionic_strength, 2.0):  # as it is, and as nobody knows it
            found = after(water, ionic_strength)
            if abs(found - dosed.ph) > 0.05:
                wrong.append((water, ionic_strength, found, dosed.ph))
    assert not wrong


def test_where_aluminium_hardly_dissolves_the_solid_itself_gives_the_same_ph():
    """AlCl3 with NaOH and amorphous Al(OH)3 in equilibrium, for waters of some alkalinity that end at pH 6.2 to 7.0.

    Outside of that PHREEQC lets aluminium dissolve and the two part by more than 0.05: the sheet then says so.
    """
    compared = 0
    for water in MANY:
        raw, dosed = solve(water, "hydroxide")
        if 6.2 <= dosed.ph <= 7.0 and water.alkalinity > 30:
            compared += 1
            assert after(water, raw.ionic_strength) == pytest.approx(dosed.ph, abs=0.05), water
    assert compared > 80


@pytest.mark.parametrize(
    ("ph", "alkalinity", "dose", "share", "expected"),
    [
        (7.2, 20.0, 2.0, 0.5, 6.65),
        (7.2, 20.0, 2.0, 0.7, 6.83),
        (7.2, 20.0, 2.0, 0.0, 6.23),
        (8.0, 100.0, 2.0, 0.5, 7.51),
    ],
)
def test_ph_after_two_milligrams_of_aluminium_at_10_degc(ph, alkalinity, dose, share, expected):
    # worked out by an independent script from the same equations, to 0.03
    assert ph_after_coagulant(ph, alkalinity, 10.0, dose, 0.17, share, "Al") == pytest.approx(expected, abs=0.03)


@pytest.mark.parametrize(("share", "used"), [(0.0, 5.564), (0.5, 2.782), (0.7, 1.669), (0.83, 0.946)])
def test_alkalinity_used_by_one_milligram_of_aluminium(share, used):
    assert alkalinity_used_by_aluminium(1.0, share) == pytest.approx(used, abs=6e-4)  # molar masses


def test_alum_uses_half_its_weight_of_alkalinity():
    # the trade's rule of thumb, 0.5 mg/L as CaCO3 to 1 mg/L of dry alum Al2(SO4)3 14 H2O, molar mass 594.4
    aluminium_oxide = 101.961 / 594.37
    assert alkalinity_used(1.0, aluminium_oxide, 0.0, "product") == pytest.approx(0.505, abs=0.001)


def test_the_three_bases_of_one_dose_leave_the_same_alkalinity_and_ph():
    oxide = 20.0 * 0.17
    doses = {"product": 20.0, "Al2O3": oxide, "Al": 0.5293 * oxide}
    left = [alkalinity_after_coagulant(30.0, dose, 0.17, 0.43, basis) for basis, dose in doses.items()]
    ph = [ph_after_coagulant(7.4, 30.0, 8.0, dose, 0.17, 0.43, basis) for basis, dose in doses.items()]
    assert left == pytest.approx([left[0]] * 3, rel=1e-12) and ph == pytest.approx([ph[0]] * 3, rel=1e-12)


@pytest.mark.parametrize("name", ["alkalinity_used", "alkalinity_after_coagulant", "ph_after_coagulant"])
def test_the_basis_has_no_default(name):
    parameters = inspect.signature(getattr(coagulation, name)).parameters
    assert parameters["basis"].default is inspect.Parameter.empty
    assert parameters["basicity"].default is inspect.Parameter.empty


def test_no_dose_leaves_the_water_as_it_is():
    assert alkalinity_after_coagulant(30.0, 0.0, 0.17, 0.43, "product") == 30.0
    assert ph_after_coagulant(7.4, 30.0, 8.0, 0.0, 0.17, 0.43, "product") == pytest.approx(7.4, abs=1e-9)


def test_more_dose_is_a_lower_ph_and_more_basicity_a_higher_one():
    doses = np.linspace(0.0, 60.0, 25)
    assert np.all(np.diff(ph_after_coagulant(7.4, 40.0, 8.0, doses, 0.17, 0.43, "product")) < 0)
    shares = np.linspace(0.0, 0.85, 25)
    assert np.all(np.diff(ph_after_coagulant(7.4, 40.0, 8.0, 30.0, 0.17, shares, "product")) > 0)


def test_a_dose_beyond_the_alkalinity_says_so_on_the_sheet():
    with recording() as sheet:
        left = alkalinity_after_coagulant(5.0, 40.0, 0.17, 0.0, "product")
    assert left < 0
    assert "takes more alkalinity than there is" in sheet.text("US")


def test_outside_of_the_ph_where_aluminium_settles_out_the_sheet_says_so():
    with recording() as sheet:
        ph_after_coagulant(8.4, 100.0, 20.0, 10.0, 0.17, 0.7, "product")
    assert "Some aluminium stays dissolved" in sheet.text("US") and "a little lower" in sheet.text("US")
    with recording() as sheet:
        ph_after_coagulant(7.4, 30.0, 8.0, 20.0, 0.17, 0.43, "product")
    assert "dissolved" not in sheet.text("US")


def test_what_cannot_be_is_refused_in_words():
    with pytest.raises(ValueError, match=r"basicity must be from 0 to below 1; it is 43\. Give the share"):
        alkalinity_used(20.0, 0.17, 43.0, "product")
    with pytest.raises(ValueError, match='for a coagulant; it is "Cl2"'):
        alkalinity_used(20.0, 0.17, 0.43, "Cl2")
    with pytest.raises(ValueError, match="below 3"):
        basicity(3.0)


def test_enough_alkalinity_needs_none_added():
    assert alkalinity_to_add(20.0, 30.0) == 0.0


def test_a_hundred_thousand_waters_are_worked_out_together():
    random = np.random.default_rng(5)
    count = 100_000
    started = time.perf_counter()
    found = ph_after_coagulant(
        random.uniform(6.5, 8.5, count), random.uniform(30, 200, count), random.uniform(0, 25, count),
        random.uniform(5, 40, count), 0.17, 0.5, "product",
    )  # fmt: skip
    assert time.perf_counter() - started < 2.0  # about 0.1 s on a quiet machine; the bound only catches a loop
    assert found.shape == (count,) and np.isfinite(found).all()

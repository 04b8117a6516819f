"""Organic carbon: the rule's table, and jar tests of other waters."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from weirhouse.science.organic_carbon import (
    organic_carbon_after_coagulant,
    toc_removal,
    toc_removal_ratio,
    toc_removal_required,
)

JARS = Path(__file__).parents[2].parent / "shared" / "data" / "jar_tests_edwards_1997" / "jar_tests_compiled.csv"


@pytest.mark.parametrize(
    ("carbon", "shares"), [(3.0, (0.35, 0.25, 0.15)), (6.0, (0.45, 0.35, 0.25)), (9.0, (0.50, 0.40, 0.30))]
)
def test_every_cell_of_the_rule(carbon, shares):
    # 40 CFR 141.135(b)(2): alkalinity to 60, above 60 to 120, above 120 mg/L as CaCO3
    found = [toc_removal_required(carbon, alkalinity) for alkalinity in (30.0, 60.0, 60.1, 120.0, 120.1, 300.0)]
    assert found == [share for share in shares for _ in (1, 2)]


@pytest.mark.parametrize(
    ("carbon", "share"), [(2.0, 0.0), (2.04, 0.0), (2.1, 0.35), (4.04, 0.35), (4.1, 0.45), (8.1, 0.5)]
)
def test_carbon_counts_to_two_figures(carbon, share):
    assert toc_removal_required(carbon, 40.0) == share  # 40 CFR 141.2: TOC is rounded to two significant figures


def test_a_gap_sorts_into_no_cell():
    assert math.isnan(toc_removal_required(math.nan, 40.0)) and math.isnan(toc_removal_required(3.0, math.nan))
    found = toc_removal_required(np.array([3.0, math.nan, 9.0]), np.array([40.0, 40.0, 130.0]))
    assert found[0] == 0.35 and np.isnan(found[1]) and found[2] == 0.3


def test_where_nothing_is_required_there_is_no_ratio():
    with pytest.raises(ValueError, match=r"above 2.0 mg/L; it is 1.8. A month below"):
        toc_removal_ratio(1.8, 1.2, 40.0)


def test_more_out_than_in_is_a_removal_below_nothing():
    assert toc_removal(3.0, 3.3) == pytest.approx(-0.1)


def number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan  # "--", "NA" and blanks among the numbers


def test_carbon_left_against_313_filtered_alum_jars():
    """The jars behind M. Edwards 1997 (doi:10.1002/j.1551-8833.1997.tb08229.x), with the general constants from memory.

    They were not fitted here: a mean error of 0.1 mg/L and a spread of 0.5 mg/L show that the constants are as printed.
    """
    if not JARS.exists():
        pytest.skip("the jar tests are GPL-3 and read in place; they are not here")
    with JARS.open(encoding="utf-8") as lines:
        alum = [row for row in csv.DictReader(lines) if row["coagulant"] == "alum"]
    errors = []
    for row in alum:
        carbon = number(row["raw_doc_mg_l"] or row["raw_toc_mg_l"])
        suva = 100 * number(row["raw_uv254_1_cm"]) / carbon
        per_molecule = 2 if number(row["eqw_coagulant"]) > 400 else 1  # a weight of two aluminium
        dose = 26.98 * per_molecule * number(row["coag_dose_mmol_l"])
        ph, left = number(row["coag_ph"]), number(row["filtered_toc_mg_l"])
        if 5.5 <= ph <= 8.0 and suva <= 7.4 and dose > 0.5:
            error = organic_carbon_after_coagulant(carbon, suva, dose, ph) - left
            if error == error:
                errors.append(error)
    assert len(errors) > 300
    assert abs(np.mean(errors)) < 0.1 and np.std(errors) < 0.5


def test_no_coagulant_takes_nothing_and_more_takes_more():
    assert organic_carbon_after_coagulant(4.0, 3.0, 0.0, 6.5) == pytest.approx(4.0)
    assert np.all(np.diff(organic_carbon_after_coagulant(4.0, 3.0, np.linspace(0, 10, 20), 6.5)) < 0)

"""Dissolved aluminium: PHREEQC, the window seen in print, and the direction of cold."""

from functools import lru_cache
from typing import Any

import numpy as np
import phreeqpython
import pytest

from weirhouse.science.aluminium import dissolved_aluminium, ph_of_least_aluminium, residual_aluminium

GRID = np.linspace(5.5, 8.0, 2501)


def least(temperature: float) -> tuple[float, float]:
    found = dissolved_aluminium(GRID, temperature)
    return float(GRID[found.argmin()]), float(found.min())


@lru_cache(maxsize=1)
def engine() -> Any:
    found = phreeqpython.PhreeqPython().ip
    found.run_string("SELECTED_OUTPUT\n -reset false\n -totals Al\nEND\n")
    return found


@pytest.mark.parametrize("temperature", [1.0, 5.0, 12.0, 20.0, 25.0])
@pytest.mark.parametrize("ph", [5.6, 6.0, 6.5, 7.0, 7.5])
def test_dissolved_aluminium_against_phreeqc(ph, temperature):
    # amorphous Al(OH)3 of phreeqc.dat in a very thin solution of NaCl; below pH 6 activities begin to count
    engine().run_string(
        f"SOLUTION 1\n temp {temperature}\n pH {ph}\n units mmol/kgw\n Na 0.1\n Cl 0.1 charge\n"
        " Al 0.001 Al(OH)3(a)\nEND\n"
    )
    moles = engine().get_selected_output_array()[-1][0]
    assert dissolved_aluminium(ph, temperature) == pytest.approx(moles * 26981.5, rel=0.2 if ph < 6 else 0.12)


@pytest.mark.parametrize(
    ("temperature", "ph", "least_there"), [(25.0, 6.35, 0.161), (20.0, 6.45, 0.126), (5.0, 6.75, 0.059)]
)
def test_where_the_least_lies_and_how_deep(temperature, ph, least_there):
    # worked out by an independent script from the same equation, pH to 0.05
    found = least(temperature)
    assert found[0] == pytest.approx(ph, abs=0.03) and found[1] == pytest.approx(least_there, abs=6e-4)


@pytest.mark.parametrize("temperature", [2.0, 10.0, 20.0])
@pytest.mark.parametrize("product", [6.0, 6.3, 6.7])  # alum, PACl, chlorohydrate: Pernitsky and Edzwald 2003, abstract
def test_the_least_of_a_product_lies_where_the_rule_says(product, temperature):
    found = residual_aluminium(GRID, temperature, product)
    assert GRID[found.argmin()] == pytest.approx(ph_of_least_aluminium(temperature, product), abs=0.06)


def test_the_least_lies_higher_in_the_cold_for_all():
    # the same paper: the pH of minimum solubility is higher at 5 degC than at 20 degC for every product
    assert all(ph_of_least_aluminium(5.0, p) > ph_of_least_aluminium(20.0, p) == p for p in (6.0, 6.2, 6.4, 6.7))
    assert least(5.0)[0] > least(20.0)[0]


def test_a_product_beyond_those_known_is_refused():
    with pytest.raises(ValueError, match=r"least_ph_at_20 must be from 5.9 to 6.9; it is 7.4. Alum has 6.0"):
        residual_aluminium(7.0, 10.0, 7.4)

"""The list of check points names tests that exist; and the printed figures that no other test holds."""

import re
from pathlib import Path

import pytest

from weirhouse.quantity import convert
from weirhouse.science.head_loss import grain_drag_coefficient
from weirhouse.science.properties import atmospheric_pressure

HERE = Path(__file__).parent
PAGE = (Path(__file__).parents[2] / "docs" / "decisions" / "check-points.md").read_text(encoding="utf-8")
ROWS = [line.split("|")[1:-1] for line in PAGE.splitlines() if re.match(r"\| [b-l]\d? ", line)]


def test_every_section_has_its_rows():
    assert {row[0].strip()[0] for row in ROWS} == set("bcdefghil")


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0].strip()}-{row[2].split('`')[3]}")
def test_every_named_test_is_in_its_file(row):
    file, *names = re.findall(r"`([^`]+)`", row[2])
    text = (HERE / file).read_text(encoding="utf-8")
    assert names
    assert all(re.search(rf"^def {name}\(", text, flags=re.MULTILINE) for name in names)


def test_e_rate_of_tubes():
    # Davis, Water and Wastewater Engineering, Example 10-5: 150 m3/d to the square metre
    assert convert(150.0, "m^3/(day*m^2)", "m/h") == pytest.approx(6.25, rel=1e-12)


# Davis, Example 11-3: sand of sphericity 0.82 in water of 10 degC, size [mm] -> velocity [m/s]; the density of
# quartz, 2.65 times that of water, is taken for the sand's
PRINTED = {2.0: 0.278, 1.42: 0.2092, 1.0: 0.1544, 0.714: 0.1078, 0.505: 0.0727, 0.357: 0.0477, 0.252: 0.0283}
FINEST = {0.178: 0.0171, 0.126: 0.0108}


def falling(size: float) -> float:
    """Return the velocity [m/s] at which weight and drag balance, by halving, for a size [mm]."""
    low, high, d = 0.0, 1.0, size / 1000
    for _ in range(60):
        v = (low + high) / 2
        drag = grain_drag_coefficient(0.82 * d * v / 1.307e-6) * 3 * v * v
        low, high = (v, high) if drag < 4 * 9.81 * 1.65 * d else (low, v)
    return low


def test_g1_settling_velocities_balance_weight_and_drag():
    assert {d: falling(d) for d in PRINTED} == pytest.approx(PRINTED, rel=0.05)
    # the source's two finest are above its own drag law, though not above Stokes'
    assert [FINEST[d] / falling(d) for d in FINEST] == pytest.approx([1.13, 1.34], abs=0.02)


@pytest.mark.parametrize(("altitude", "psi"), [(805.0, 13.35), (1609.0, 12.10), (3219.0, 9.89)])
def test_l3_the_formula_as_worked_out_apart_from_this_code(altitude, psi):
    assert convert(atmospheric_pressure(altitude), "Pa", "psi") == pytest.approx(psi, abs=0.006)

"""Solids: check points."""

import pytest

from weirhouse.science.residuals import sludge_volume, solids_made, solids_rate, stream_suspended_solids


@pytest.mark.parametrize(("turbidity", "solids"), [(10.0, 20.9), (100.0, 436.5)])
def test_cp_a1_lowland_streams(turbidity, solids):
    # Packman, Comings and Booth 1999: ln TSS = 1.32 ln NTU
    assert stream_suspended_solids(turbidity) == pytest.approx(solids, abs=0.06)


def test_cp_g5_sludge_of_a_textbook_problem():
    # inputs of a published problem: 0.1 m3/s, 20 NTU, 45 mg/L at 13 % Al, 1.5 mg/NTU, aid 1.25 mg/L; result derived
    solids = solids_made(20.0, 1.5, 45.0 * 0.13, 1.25)
    assert solids == pytest.approx(59.9, abs=0.06)
    assert solids_rate(solids, 0.1) * 86400 == pytest.approx(517, abs=0.6)


def test_thinner_sludge_is_more_volume():
    assert sludge_volume(100.0, 0.01) == pytest.approx(2 * sludge_volume(100.0, 0.02))

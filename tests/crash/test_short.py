"""The short version of what ``make crash`` does at length: few kills and cuts, and the controls that must lose."""

import pytest
from tests.crash import cuts, kills, shim

linux = pytest.mark.skipif(bool(shim.possible()), reason=shim.possible() or "-")


@linux
def test_nothing_acknowledged_is_lost_or_doubled_when_the_server_is_killed(tmp_path):
    found = kills.run(tmp_path, 5, seed=20261127)
    assert found.told == []
    assert (found.kills, found.lost, found.double, found.broken) == (5, 0, 0, 0)
    assert found.readings > 50 and found.others > 5
    assert found.good


@linux
def test_nothing_acknowledged_is_lost_when_the_power_is_cut(tmp_path):
    found = cuts.run(tmp_path, 300, seed=20261127)
    assert found.told == []
    assert (found.cuts, found.losing, found.corrupt) == (300, 0, 0)
    assert found.acknowledged > 50 and found.by_program == 6
    assert found.good


@linux
@pytest.mark.parametrize("synchronous", ["NORMAL", "OFF"])
def test_the_same_with_syncing_lowered_loses(tmp_path, synchronous):
    found = cuts.run(tmp_path, 300, seed=20261127, synchronous=synchronous)
    assert found.losing + found.corrupt > 0
    assert not found.good

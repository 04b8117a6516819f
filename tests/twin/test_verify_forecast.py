"""The script that scores the forecast: its references and windows are what its page says."""

import numpy as np
import pytest
from tests.twin.stream import FIRST, made_up
from tools import verify_forecast as verify
from tools.forecast_records import Record, records

from weirhouse.twin.forecast.conditional import packaged
from weirhouse.twin.forecast.series import PER_HOUR, lay_out, scale_of
from weirhouse.twin.forecast.storms import storms


def test_dressing_is_what_persistence_gets_wrong_in_each_window():
    logs = np.arange(1000.0)  # rises by one at each quarter-hour
    storm = type("Storm", (), {"first": 100, "last": 200})()
    (moved,) = verify.dressing(logs, [storm], 6)
    assert (moved == 6 * PER_HOUR).all()
    assert len(moved) == 26


def test_skill_and_its_interval():
    rng = np.random.default_rng(1)
    peer = rng.exponential(1.0, 400)
    table = np.column_stack([0.8 * peer, peer])
    scored = verify.Scored(
        record="a", stream="a", way="own record", storms=9, storm=np.arange(400),
        ours=table[:, [0]], dressed=table[:, [1]], climate=table[:, [1]], inside=np.ones((400, 1, 3)),
        pits=np.full((400, 1), 0.5),
    )  # fmt: skip
    middle, low, high = verify.interval(
        [scored], 6, lambda rows, s: table[rows], lambda t: verify.skill(t[:, 0], t[:, 1])
    )
    assert middle == pytest.approx(0.2)
    assert low == pytest.approx(0.2)
    assert high == pytest.approx(0.2)
    noisy = np.column_stack([rng.exponential(0.8, 400), peer])
    middle, low, high = verify.interval(
        [scored], 6, lambda rows, s: noisy[rows], lambda t: verify.skill(t[:, 0], t[:, 1])
    )
    assert low < middle < high
    assert 0.05 < high - low < 0.5


def test_a_record_is_scored_with_the_storm_left_out(monkeypatch):
    raw = made_up(70, storms=[(d, 300) for d in (15, 25, 35, 45, 55)])
    record = Record(name="made up", stream="made up", licence="none", fits=False, track=raw)
    grid = lay_out(raw, int(raw.times[-1]), scale_of(raw.values))
    hidden = []

    def teach(grid, storm, out):
        hidden.append((storm, out.copy()))
        return verify.ways(packaged())[verify.OTHERS](grid, storm, out)

    monkeypatch.setattr(verify, "EVERY", 24)
    scored = verify.score(record, verify.OWN, teach)
    assert scored.storms == len(storms(grid)) == 5
    assert all(out[storm.first : storm.last + 1].all() for storm, out in hidden)
    assert np.isfinite(scored.ours[:, :3]).all()
    assert scored.ours.shape == (len(scored.storm), 4)
    lines = verify.lines_of([scored], "made up")
    assert len(lines) == 4
    assert lines[0].startswith("| made up | 5 | ")
    assert grid.end > FIRST


def test_records_that_are_not_there_are_named(tmp_path):
    found, absent = records(tmp_path)
    assert found == []
    assert len(absent) == 10

"""Parts of the forecast against figures worked out apart from the code."""

import numpy as np
import pytest
from tests.twin.stream import FIRST, made_up, track

from weirhouse.twin.forecast import blend, conditional, helpers, onset, recession, storms
from weirhouse.twin.forecast.features import LEADS, states
from weirhouse.twin.forecast.series import PER_HOUR, STEP, lay_out, scale_of


def grid_of(raw, end=None):
    good = raw.good
    return lay_out(raw, int(good.times[-1] if end is None else end), scale_of(good.values))


def one_pace(hours, tau):
    return recession.fade(np.asarray(hours), np.ones(1), np.full(1, tau), np.full(1, tau))[0]


def test_cp_a3_half_life_and_the_way_from_200_to_20():
    assert one_pace([8.32], 12.0)[0] == pytest.approx(0.5, abs=0.0005)
    assert 2 + 198 * one_pace([28.8], 12.0)[0] == pytest.approx(20.0, abs=0.05)


def test_recession_turns_slow_at_three_tenths_of_the_peak():
    hours = np.asarray([0.0, 5.0, 40.0])
    faded = recession.fade(hours, np.ones(1), np.full(1, 5.0), np.full(1, 50.0))[0]
    turn = -5 * np.log(0.3)
    assert faded == pytest.approx([1.0, np.exp(-1), 0.3 * np.exp(-(40 - turn) / 50)])


def test_recession_is_drawn_from_the_prior_to_the_record():
    none = recession.learn(grid_of(made_up()), [])
    assert (none.fast[0], none.storms) == (recession.FAST[0], 0)
    raw = made_up(60, storms=[(d, 300) for d in (10, 20, 30, 40, 50)])
    grid = grid_of(raw)
    own = recession.learn(grid, storms.storms(grid))
    prior = np.log(9.0)
    assert own.storms == 5
    assert abs(own.fast[0] - np.log(10.0)) < 0.1  # the made-up storms fade with 10 h
    assert own.fast[1] < recession.FAST[1] < 0.7
    assert own.fast[0] > prior


def test_storms_are_found_by_the_stated_rule():
    raw = made_up(60, storms=[(20, 300), (30, 8), (40, 60)])  # 8 NTU on 3 is under four times the base
    grid = grid_of(raw)
    found = storms.storms(grid)
    days = [(grid.times[s.peak] - FIRST) / 86400 for s in found]
    assert days == pytest.approx([20 + 3 / 24, 40 + 3 / 24], abs=0.05)
    for storm, day in zip(found, (20, 40), strict=True):
        assert (grid.times[storm.begins] - FIRST) / 86400 == pytest.approx(day, abs=0.05)
        assert storm.begins - storm.first == 6 * PER_HOUR
        assert storm.last - storm.peak == 72 * PER_HOUR
    early = storms.storms(grid, up_to=found[1].begins)
    assert [s.peak for s in early] == [found[0].peak]


def test_states_look_back_only():
    raw = made_up(40, storms=[(20, 300)])
    grid = grid_of(raw)
    point = np.asarray([20 * 24 * PER_HOUR + 2 * PER_HOUR])
    now = states(grid, point)
    cut = track(raw.times[: point[0] + 1], raw.values[: point[0] + 1])
    then = states(grid_of(cut, int(grid.times[point[0]])), point)
    for name in ("z", "excess", "rise", "drop", "since", "stir", "noise", "pace"):
        # the base is read in six-hour blocks counted from the end of the record: they may fall a little differently
        assert getattr(now, name) == pytest.approx(getattr(then, name), abs=0.02), name
    assert now.excess[0] > 3
    assert now.change[1][0] > 0.3


def test_a_scale_undoes_itself_and_keeps_an_offset():
    for ntu in ([0.4, 3.0, 900.0], [-0.7, -0.6, -0.5, 2.0, 600.0]):
        scale = scale_of(np.asarray(ntu * 20))
        kept = np.asarray(ntu)[np.asarray(ntu) > scale.offset]
        assert scale.back(scale.into(kept)) == pytest.approx(kept)
    assert scale.offset == pytest.approx(-0.7)


def test_grid_bridges_short_gaps_alone():
    times = FIRST + STEP * np.asarray([0, 1, 2, 8, 9, 60, 61])
    grid = grid_of(track(times, [2.0, 2, 2, 4, 4, 8, 8]))
    assert np.isfinite(grid.z[:10]).all()
    assert np.isnan(grid.z[10:60]).all()
    assert grid.measured.sum() == 7


def test_quantiles_never_cross():
    raw = made_up(40, storms=[(20, 300), (30, 900)])
    grid = grid_of(raw)
    index = np.arange(100, len(grid.z), 37)
    told = conditional.packaged().quantiles(grid, index)
    assert told.shape == (len(index), len(LEADS), len(conditional.PROBABILITIES))
    assert (np.diff(told, axis=2) >= 0).all()
    assert np.isfinite(told).all()


def test_quantile_regression_finds_known_quantiles():
    # y = 2 x + e, e normal with deviation 1 + x: quantiles are straight lines in x, slope 2 + q, start q
    rng = np.random.default_rng(2)
    x = rng.uniform(0, 2, 20_000)
    y = 2 * x + (1 + x) * rng.standard_normal(len(x))
    rows = np.stack([np.ones_like(x), x], axis=1)
    nothing = np.zeros((len(conditional.PROBABILITIES), 2))
    found = conditional.fit(rows, y, np.ones(len(x)), nothing, 1e-6, rounds=200)
    for k in (3, 6, 9):  # 10, 50, 90 %
        q = blend.SCORES_OF[k]
        assert found[k] == pytest.approx([q, 2 + q], abs=0.08)
    held = conditional.fit(rows, y, np.ones(len(x)), nothing, 1e6)
    assert np.abs(held).max() < 0.01  # a strong pull holds it where it was


def test_shuffled_paths_have_the_quantiles_asked_for():
    rng = np.random.default_rng(4)
    leads = np.asarray([0.0, 6.0, 24.0])
    quantiles = np.outer(np.sqrt(LEADS), blend.SCORES_OF)
    templates = rng.standard_normal((400, 1)) + 0.1 * rng.standard_normal((400, 3))
    out = blend.onto(templates, quantiles, leads)
    assert (out[:, 0] == 0).all()
    assert np.quantile(out[:, 1], 0.9) == pytest.approx(np.sqrt(6) * 1.2816, rel=0.03)
    assert np.corrcoef(out[:, 1], out[:, 2])[0, 1] > 0.9  # order is that of the templates


def test_onset_rate_is_drawn_to_the_record_and_its_season():
    grid = grid_of(made_up())
    none = onset.learn(grid, [])
    yearly = none.monthly.mean() * 8766
    assert 10 < yearly < 20.1  # twenty a year before a month without a storm was seen
    raw = made_up(120, storms=[(d, 300) for d in range(5, 115, 5)])
    stormy = grid_of(raw)
    many = onset.learn(stormy, storms.storms(stormy))
    assert many.storms >= 20
    assert many.monthly.mean() * 8766 > 2 * yearly


def test_rain_is_summed_onto_the_grid():
    raw = made_up(10)
    grid = grid_of(raw)
    wet = np.zeros(len(raw.times))
    wet[-5:] = 0.001
    rain = track(raw.times, wet, channel="rain")
    fallen = helpers.rain_on(grid, rain)
    assert fallen.sum() == pytest.approx(5.0)
    assert helpers.sums(fallen, 1)[-1] == pytest.approx(4.0)
    columns, names = helpers.figures(grid, rain, {})
    assert names == ["rain"]
    assert columns[-1] == pytest.approx([2.0, 5**0.5, 5**0.5, 5**0.5])


def test_only_levels_and_flows_count_as_gauges():
    raw = made_up(10)
    grid = grid_of(raw)
    rising = track(raw.times, np.linspace(0.2, 0.9, len(raw.times)))
    columns, names = helpers.figures(grid, None, {"raw_ph": rising, "creek_level": rising})
    assert names == ["creek_level"]
    assert columns.shape == (len(grid.z), 4)
    late = track(raw.times[:-200], rising.values[:-200])
    assert helpers.figures(grid, None, {"creek_level": late}) == (None, [])  # it has stopped: nothing to go by
    short = track(raw.times[-200:], rising.values[-200:])
    assert helpers.figures(grid, None, {"creek_level": short}) == (None, [])  # too short to learn from


def test_packaged_rules_name_where_they_are_from_and_no_record_under_gpl():
    from importlib import resources

    table = resources.files("weirhouse.twin.forecast").joinpath("prior.csv").read_text("utf-8")
    head = [line for line in table.splitlines() if line.startswith("# - ")]
    assert len(head) >= 8
    assert all(any(word in line for word in ("public domain", "BSD 3-Clause", "MIT")) for line in head)
    assert "GPL" not in table
    assert len(table) < 120_000


def test_a_table_of_other_features_is_refused():
    with pytest.raises(ValueError, match="fitted for other features"):
        conditional.parse("regime,lead_h,probability,one,two\n")


def test_rules_are_drawn_to_the_record_only_as_far_as_it_has_storms():
    raw = made_up(60, storms=[(d, 300) for d in range(6, 58, 6)])
    grid = grid_of(raw)
    own = storms.storms(grid)
    prior = conditional.packaged()
    taught = conditional.lessons(grid, own, rows_each=600)
    lead = LEADS.index(6.0)
    falling = np.asarray([own[-1].peak + 6 * PER_HOUR])
    told = [
        conditional.learn(prior, taught, n, 60.0, "moving").quantiles(grid, falling)[0, lead, 6] for n in (1, 20, 500)
    ]
    unmoved = prior.quantiles(grid, falling)[0, lead, 6]
    calm = grid_of(made_up(60))
    idle = conditional.learn(prior, conditional.lessons(calm, []), 0, 60.0, "moving")
    assert idle.quantiles(grid, falling)[0, lead, 6] == unmoved  # nothing moved, nothing learned
    assert len({unmoved, *told}) == 4
    came = grid.z[falling[0] + 6 * PER_HOUR] - grid.z[falling[0]]
    assert abs(told[2] - came) < abs(unmoved - came)
    assert abs(told[0] - unmoved) < abs(told[2] - unmoved) + 0.02

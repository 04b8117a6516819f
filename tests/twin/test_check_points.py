"""Check points of the simulation: published cases, analytic cases, and what the models were seen to do in trial runs.

Each case is named with its source, or as worked out from the equation; tests/science holds the formulas themselves.
"""

import math
from typing import Any

import numpy as np
import pytest
from tests.twin import plants

from weirhouse.twin import layout as at
from weirhouse.twin import reference
from weirhouse.twin.compile import Compiled, compile_plant
from weirhouse.twin.parameters import PRIORS, Parameters, central, sample
from weirhouse.twin.policy import forcing, habit
from weirhouse.twin.run import run
from weirhouse.twin.start import init
from weirhouse.twin.state import Start, State

ONE = np.ones(1)


def bare(*stages: Any) -> tuple[Compiled, Parameters, State, reference.Properties]:
    """Return one member with the centre of every prior, and its water at 10 degC."""
    compiled = compile_plant(plants.plant(*stages))
    p = central(compiled)._replace(dead_zone=ONE, passing=ONE)
    return compiled, p, init(compiled, p, Start(), habit(compiled)), reference.properties(p, np.array([10.0]))


# --- basin ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("n", "removed"), [(1, 0.521), (3, 0.604), (6, 0.632)])
def test_basin_at_rest_keeps_what_hazen_says(n: int, removed: float) -> None:
    """CP-b5 (worked out): 20 um, 6 m2, 5.4 m3/h, 10 degC."""
    compiled, p, s, found = bare(plants.basin(n=n, length=3.0, width=2.0))
    p = p._replace(class_shares=np.array([[0, 0, 0, 1.0, 0, 0]]))
    w = _through_cells(compiled, p, s, found, 5.4 / 3600)
    assert 1 - w[0, 3] / 10.0 == pytest.approx(removed, abs=0.002)


def test_storm_mixture_loses_a_third_of_its_weight_and_a_tenth_of_its_turbidity() -> None:
    """CP-b5 (worked out): TSS 0.360, turbidity 0.093 with three compartments."""
    compiled, p, s, found = bare(plants.basin(n=3, length=3.0, width=2.0))
    w = _through_cells(compiled, p, s, found, 5.4 / 3600)
    bright = reference.brightness(p)
    assert 1 - w[0, :6].sum() / 10.0 == pytest.approx(0.360, abs=0.002)
    assert 1 - (w[0, :6] @ bright[0]) / (10 * p.class_shares[0] @ bright[0]) == pytest.approx(0.093, abs=0.002)


def _through_cells(compiled: Compiled, p: Parameters, s: State, found: reference.Properties, flow: float) -> Any:
    train, w = compiled.train, np.zeros((1, at.CARRIED))
    for _ in range(500):
        w[:] = 0.0
        w[:, :6] = 10.0 * p.class_shares
        for c in range(len(train.cell_volume)):
            reference.settling(
                s.cells[:, c], np.array([flow]), train.cell_volume[c] * ONE, float(train.cell_area[c]), 600.0, found, w
            )
    return w


def test_one_stirred_tank_answers_a_step_as_the_exponential() -> None:
    """Analytic: c(t) = c0 (1 - exp(-t Q/V)), whatever the length of the step."""
    for dt in (60.0, 600.0, 7200.0):
        cell = np.zeros((1, at.CARRIED))
        for _ in range(int(7200 / dt)):
            w = np.full((1, at.CARRIED), 10.0)
            reference.stirred(cell, 0.01 * ONE, 30.0 * ONE, 0, 6, dt, w)
        assert cell[0, 0] == pytest.approx(10 * (1 - math.exp(-0.01 * 7200 / 30)), rel=1e-12)


def test_plug_flow_delays_by_exactly_its_volume() -> None:
    """Analytic: 6 m3 at 0.6 m3 a step come out ten steps later, unmixed; at half the flow twenty."""
    for flow, steps in ((0.01, 10), (0.005, 20)):
        compiled, _, s, found = bare(plants.pipe(diameter=math.sqrt(24 / math.pi), length=1.0))
        size = float(compiled.train.pipe_volume[0])
        assert size == pytest.approx(6.0)
        s.pieces[..., 1:] = 0.0
        out = []
        for k in range(40):
            w = np.zeros((1, at.CARRIED))
            w[0, 0] = 1.0 if k == 3 else 0.0
            reference.plug_flow(s, 0, flow * ONE, size, 60.0, False, found, w)
            out.append(float(w[0, 0]))
        expected = [0.0] * 40
        expected[3 + steps] = 1.0
        assert out == pytest.approx(expected, abs=1e-9)


def test_no_flow_moves_nothing_through_a_pipe() -> None:
    compiled, _, s, found = bare(plants.pipe())
    kept = s.pieces.copy()
    w = np.full((1, at.CARRIED), 7.0)
    reference.plug_flow(s, 0, 0 * ONE, float(compiled.train.pipe_volume[0]), 60.0, False, found, w)
    assert np.array_equal(s.pieces, kept)


# --- coagulation and flocculation -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ph", "alkalinity", "basicity", "after"),
    [(7.2, 20.0, 0.5, 6.65), (7.2, 20.0, 0.7, 6.83), (7.2, 20.0, 0.0, 6.23), (8.0, 100.0, 0.5, 7.51)],
)
def test_ph_after_2_mg_of_aluminium(ph: float, alkalinity: float, basicity: float, after: float) -> None:
    """CP-c4 (worked out), tolerance 0.03."""
    water = reference.Water(ONE, 10.0 * ONE, alkalinity * ONE, ph * ONE, ONE, ONE)
    used = 5.5643 * (1 - basicity) * 2.0 * ONE
    assert float(reference.ph_after(water, used)[0]) == pytest.approx(after, abs=0.03)


def test_tapered_flocculation_comes_to_rest_at_argaman_and_kaufmans_sum() -> None:
    """CP-d2 (worked out): G 60, 40, 20 for 600 s each, K_A 5.1e-5, K_B 1.1e-7: 0.1676."""
    _, p, s, found = bare(plants.coagulant(), plants.flocculation(sizes=((6.0, 1), (6.0, 1), (6.0, 1))))
    p = p._replace(breakup_ratio=1.1e-7 / 5.1e-5 * ONE)
    found = found._replace(aggregation=5.1e-5 * ONE)
    w = np.zeros((1, at.CARRIED))
    for _ in range(120):
        w[0, :4] = 20.0, 20.0, 0.0, 1.0
        for c, g in enumerate((60.0, 40.0, 20.0)):
            reference.flocculating(s.cells[:, c], 0.01 * ONE, g * ONE, 6.0 * ONE, 600.0, found, p, w)
    assert w[0, at.FINE] / w[0, at.COAGULATED] == pytest.approx(0.1676, abs=2e-4)


@pytest.mark.parametrize(
    ("ka", "kb", "left"),
    [
        (1.8e-5, 0.8e-7, (0.5359, 0.4578, 0.4321)),
        (5.1e-5, 1.1e-7, (0.2818, 0.1693, 0.1383)),
        (2.5e-4, 4.5e-7, (0.1208, 0.0747, 0.0722)),
    ],
)
def test_equal_compartments_come_to_rest_at_the_closed_form(ka: float, kb: float, left: tuple[float, ...]) -> None:
    """CP-d1 (worked out): G 40, 1800 s in 1, 3 and 6 compartments."""
    for m, expected in zip((1, 3, 6), left, strict=True):
        sizes = ((18.0 / m, 1),) * m
        _, p, s, found = bare(plants.coagulant(), plants.flocculation(sizes=sizes))
        p, found = p._replace(breakup_ratio=kb / ka * ONE), found._replace(aggregation=ka * ONE)
        w = np.zeros((1, at.CARRIED))
        for _ in range(120):
            w[0, :4] = 20.0, 20.0, 0.0, 1.0
            for c in range(m):
                reference.flocculating(s.cells[:, c], 0.01 * ONE, 40.0 * ONE, 18.0 / m * ONE, 600.0, found, p, w)
        assert w[0, at.FINE] / 20.0 == pytest.approx(expected, abs=2e-4)


def test_compartments_side_by_side_are_one_of_their_volume() -> None:
    side = compile_plant(plants.plant(plants.coagulant(), plants.flocculation(sizes=((2.0, 3),))))
    one = compile_plant(plants.plant(plants.coagulant(), plants.flocculation(sizes=((6.0, 1),))))
    assert side.train.cell_volume == pytest.approx(one.train.cell_volume)


def test_gradient_from_head_loss() -> None:
    """CP-d3 (worked out): 0.15 m in 900 s at 10 degC makes 35.4 1/s; with the flow it goes as Q^1.5."""
    compiled, _, _, found = bare(plants.coagulant(), plants.flocculation(sizes=((8.1, 1),)))
    train = compiled.train._replace(cell_head=np.array([0.15]), cell_head_flow=np.array([0.009]))
    assert float(reference.gradient(train, 0, 0.009 * ONE, found)[0]) == pytest.approx(35.4, abs=0.05)
    assert float(reference.gradient(train, 0, 0.018 * ONE, found)[0]) == pytest.approx(35.4 * 2**1.5, abs=0.2)


@pytest.mark.parametrize(("share", "passing"), [(1.0, 0.5), (0.5, 0.161)])
def test_clarifier_passes_half_where_the_rise_is_the_median_velocity(share: float, passing: float) -> None:
    """CP-e2 (worked out): spread 0.7."""
    compiled, p, s, found = bare(plants.coagulant(), plants.flocculation(), plants.basin("clear"))
    area = float(compiled.train.clarifier_area[0])
    rise = 2.0 / 3600
    p = p._replace(floc_velocity=rise / share * found.viscosity / 0.0010016)
    w = np.zeros((1, at.CARRIED))
    w[0, :4] = 0.0, 10.0, 0.0, 1.0
    reference.clarify(s, compiled.train, p, 0, rise * area * ONE, 1e6 * ONE, np.inf, 60.0, found, w)
    assert w[0, at.COAGULATED] / 10 == pytest.approx(passing, abs=1e-3)


def test_cold_lowers_floc_velocity_by_a_third() -> None:
    """CP-e3 (worked out): 20 to 5 degC, by 34 percent."""
    _, p, _, _ = bare()
    warm, cold = (reference.properties(p, np.array([t])).viscosity for t in (20.0, 5.0))
    assert float(1 - (warm / cold)[0]) == pytest.approx(0.34, abs=0.005)


# --- filter -----------------------------------------------------------------------------------------------------


class Trial:
    """CP-f6: one filter of 0.45 m anthracite, 0.25 m fine and 0.15 m coarse sand at 5 m/h and 10 degC."""

    def __init__(self, settled: float = 2.0, quality: float = 1.0) -> None:
        compiled = compile_plant(plants.plant(plants.coagulant(), plants.filters(1)), graded=0.0)
        self.train = compiled.train._replace(
            filter_box=np.array([0.3]), filter_pore=np.array([0.0]), filter_turbulent=np.array([0.0]),
            filter_resistance=np.array([0.35 * 3600 / 5]),
        )  # fmt: skip
        self.p = central(compiled)._replace(
            filtered_floor=0 * ONE, least_ripe=0.55 * ONE, resistance_scale=ONE, wash_remnant=ONE
        )
        self.found = reference.properties(self.p, np.array([10.0]))
        self.s = init(compiled, self.p, Start(), habit(compiled))
        self.s.deposit[:] = 0.0
        self.solids, self.quality = 1.5 * settled * ONE, quality * ONE
        self.s.box[0, 0] = (self.solids[0], quality, 15 * 1.5 * 0.0488, 0, 0)
        self.s.lagged_rate[:] = 5 / 3600

    def hours(self, hours: float, rate: Any = 5.0) -> list[float]:
        """Return the turbidity off the filter minute by minute [NTU]."""
        found = []
        for k in range(round(60 * hours)):
            u = (rate(k / 60) if callable(rate) else rate) / 3600 * ONE
            ntu, _, _, _ = reference.filtering(
                self.s, self.train, self.p, 0, u, np.array([True]), 60.0, self.found, self.solids, self.quality,
                0 * ONE, 0 * ONE,
            )  # fmt: skip
            found.append(float(ntu[0]))
        return found


def test_smoke_run_of_the_filter() -> None:
    """CP-f6 (trial run): 0.18 NTU at 0.5 h, 0.097 at 2, 0.067 at 6, 0.070 at 24; head 0.46 to 1.21 m, 0.35 kg/m2."""
    trial = Trial()
    path = trial.hours(1 / 60)
    assert float(trial.s.head[0, 0]) == pytest.approx(0.46, rel=0.15)
    path += trial.hours(24 - 1 / 60)
    for hour, ntu in ((0.5, 0.18), (2, 0.097), (6, 0.067), (24, 0.070)):
        assert path[round(60 * hour) - 1] == pytest.approx(ntu, rel=0.15), hour
    assert float(trial.s.head[0, 0]) == pytest.approx(1.21, rel=0.15)
    assert float((trial.s.deposit[0, 0] * trial.train.depth[0]).sum()) / 1000 == pytest.approx(0.35, rel=0.15)


def test_smoke_run_of_a_rate_that_rises() -> None:
    """CP-f6 (trial run): 30 percent more at once peaks at 0.39 NTU, over half an hour at 0.22."""
    sudden, slow = Trial(), Trial()
    sudden.hours(24)
    slow.hours(24)
    assert max(sudden.hours(2, 6.5)) == pytest.approx(0.39, rel=0.15)
    assert max(slow.hours(2, lambda h: 5 + 1.5 * min(1, h / 0.5))) == pytest.approx(0.22, rel=0.15)


def test_smoke_run_of_poor_coagulation_and_of_much_floc() -> None:
    """CP-f6 (trial run): quality 0.6 gives 0.25 NTU at 6 h; 8 NTU settled gives 2 m of head at 12 h."""
    assert Trial(quality=0.6).hours(6)[-1] == pytest.approx(0.25, rel=0.15)
    much = Trial(settled=8.0)
    much.hours(12)
    assert float(much.s.head[0, 0]) == pytest.approx(2.0, rel=0.15)


@pytest.mark.parametrize("graded", [0.0, 0.2])
def test_clean_ripe_bed_passes_what_iwasaki_says(graded: float) -> None:
    """CP-f4 (worked out): 3 x 0.45 + 8 x 0.25 + 2 x 0.15 = 3.65, so 0.026 of 2 NTU, 0.052."""
    compiled = compile_plant(plants.plant(plants.coagulant(), plants.filters(1)), graded=graded)
    assert float((compiled.train.coefficient * compiled.train.depth).sum()) == pytest.approx(3.65)
    trial = Trial()
    trial.s.box[0, 0, at.BOX_REMNANT] = 0.0
    trial.p = trial.p._replace(least_ripe=ONE, full_scale=1e9 * ONE, detachment=0 * ONE, shaking=0 * ONE)
    assert trial.hours(1 / 60)[0] == pytest.approx(0.052, abs=2e-4)


def test_restart_of_a_dirty_filter_shakes_it_and_of_a_clean_one_hardly() -> None:
    dirty, clean = Trial(), Trial()
    dirty.hours(24)
    clean.hours(1)
    peaks = []
    for one in (dirty, clean):
        steady = one.hours(1 / 60)[0]
        one.s.lagged_rate[:] = 0.0
        peaks.append(max(one.hours(1)) - steady)
    assert peaks[0] > 0.3
    assert peaks[1] < 0.1 * peaks[0]


# --- wash -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("grain", "density", "rates"),
    [
        (0.85e-3, 2650.0, (16.2, 18.6, 23.5)),
        (1.6e-3, 1650.0, (21.4, 24.3, 29.8)),
        (1.7e-3, 2650.0, (53.8, 59.2, 68.8)),
    ],
)
def test_rates_at_which_grains_lift(grain: float, density: float, rates: tuple[float, ...]) -> None:
    """CP-g2 (worked out from Wen and Yu): at 5, 10 and 20 degC, in m/h."""
    from weirhouse.science.fluidisation import minimum_fluidisation_velocity

    _, p, _, _ = bare()
    for t, rate in zip((5.0, 10.0, 20.0), rates, strict=True):
        found = reference.properties(p, np.array([t]))
        lifts = minimum_fluidisation_velocity(grain, density, found.density, found.viscosity)
        assert float(lifts[0]) * 3600 == pytest.approx(rate, abs=0.06)


def test_box_is_washed_out_as_a_stirred_volume() -> None:
    """Worked out: 3.0 volumes to 5 percent, 4.6 to 1 percent."""
    compiled, _, s, found = bare(plants.coagulant(), plants.filters(1))
    s.deposit[:] = 0.0
    s.box[0, 0, at.BOX_REMNANT] = 100.0
    height = float(compiled.train.filter_box[0] + compiled.train.filter_pore[0])
    u, passed = float(compiled.train.wash_rate[0]), 0.0
    left = {}
    while passed < 5 * height:
        reference.washing(s, compiled.train, 0, np.array([True]), 1.0, found)
        passed += u
        left[round(passed / height, 1)] = float(s.box[0, 0, at.BOX_REMNANT])
    assert left[3.0] == pytest.approx(5, abs=0.3)
    assert left[4.6] == pytest.approx(1, abs=0.1)


def test_wash_leaves_the_layer_that_does_not_lift_as_it_was() -> None:
    compiled, _, s, found = bare(plants.coagulant(), plants.filters(1))
    s.deposit[:] = 100.0
    for _ in range(10):
        reference.washing(s, compiled.train, 0, np.array([True]), 60.0, found)
    assert s.deposit[0, 0, -1] == pytest.approx(100.0)
    assert s.deposit[0, 0, 3] < 0.01
    assert s.deposit[0, 0, 0] < 5.0


def test_wash_takes_its_rate_times_its_time() -> None:
    """CP-g4 (worked out): 36.67 m/h for 7 min is 4.278 m3 on each m2."""
    compiled = compile_plant(
        plants.plant(plants.filters(1, area=1.0, source=None), plants.hill()), wash_rate=36.67 / 3600
    )
    policy = habit(compiled, wash_at=[0.0], wash_filter=[0], wash_duration=420.0, wash_time=np.inf, wash_head=np.inf)
    p = central(compiled)
    calm = forcing(5.0, interval=3600.0, temperature=10.0, demand=0.0)
    result = run(compiled, p, init(compiled, p, Start(), policy), calm, policy, engine="reference")
    assert float(result.total("wash_m3")[0]) == pytest.approx(4.278, abs=0.001)


# --- chlorine and tanks -----------------------------------------------------------------------------------------


def test_one_tank_comes_to_rest_at_first_order_decay() -> None:
    """Analytic: C = C0 / (1 + k V/Q) in a stirred tank."""
    compiled, p, s, found = bare(plants.hill())
    found = found._replace(fast_rate=1e-4 * ONE, slow_rate=1e-5 * ONE)
    for _ in range(3000):
        fast, slow, _ = reference.tank_mix(
            s, compiled.train, 0, 0.01 * ONE, 0.01 * ONE, 455.0 * ONE, 60.0, found, 0.4 * ONE, 0.8 * ONE
        )
    assert float(fast[0]) == pytest.approx(0.4 / (1 + 1e-4 * 455 / 0.01), rel=0.01)
    assert float(slow[0]) == pytest.approx(0.8 / (1 + 1e-5 * 455 / 0.01), rel=0.01)
    assert p.members == 1


def test_chlorine_in_standing_water_fades_by_both_rates() -> None:
    """Parallel first-order decay of a fast and a slow part (Jamwal and others 2016, form)."""
    compiled, _, s, found = bare(plants.hill())
    s.tank_chlorine[0, 0] = 0.5, 0.7
    for _ in range(1440):
        reference.tank_mix(s, compiled.train, 0, 0 * ONE, 0 * ONE, 400.0 * ONE, 60.0, found, 0 * ONE, 0 * ONE)
    left = 0.5 * np.exp(-found.fast_rate * 86400) + 0.7 * np.exp(-found.slow_rate * 86400)
    assert float(s.tank_chlorine[0, 0].sum()) == pytest.approx(float(left[0]), rel=1e-9)


def test_compartments_of_a_contact_tank_follow_its_baffling_factor() -> None:
    """CP-h4 (worked out): T10 over T is 0.487 with 5 stirred tanks; a factor of 0.5 is taken as five."""
    assert int(compile_plant(plants.plant(plants.clearwell())).train.tank_cells[0]) == 5


# --- parameters -------------------------------------------------------------------------------------------------


def test_every_parameter_has_a_prior_with_unit_and_source() -> None:
    assert set(PRIORS) == set(Parameters._fields)
    assert all(prior.unit and prior.source and prior.meaning for prior in PRIORS.values())


def test_members_spread_as_their_priors_say() -> None:
    compiled = compile_plant(plants.usual())
    p = sample(compiled, 20000, 1)
    assert np.median(p.aggregation) == pytest.approx(5e-5, rel=0.05)
    assert np.quantile(p.aggregation, 0.95) == pytest.approx(4 * 5e-5, rel=0.07)
    assert np.quantile(p.coefficient_scale, 0.05) == pytest.approx(0.5, rel=0.07)
    assert p.class_shares.sum(axis=1) == pytest.approx(1.0)
    assert p.least_ripe.mean() == pytest.approx(0.55, abs=0.01)


def test_the_best_dose_is_centred_on_the_plants_own_table() -> None:
    compiled = compile_plant(plants.usual())
    p = central(compiled)
    water = reference.Water(ONE, 10.0 * ONE, 40.0 * ONE, 7.3 * ONE, 10.0 * ONE, ONE)
    dose = 22.0 * float(compiled.train.feed_aluminium[0])  # of the table at 20 NTU
    q = reference.quality(compiled.train, p, water, 20.0 * ONE, dose * ONE, 6.5 * ONE)
    assert float(q[0]) > 0.95
    less = reference.quality(compiled.train, p, water, 20.0 * ONE, 0.5 * dose * ONE, 6.5 * ONE)
    assert float(less[0]) < 0.5

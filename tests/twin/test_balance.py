"""Nothing is lost: solids, water and chlorine in every stage and in the whole train, washes and decay counted."""

from typing import Any

import numpy as np
import pytest
from tests.plant.plants import EMBERLY, four_filters, one_filter_si
from tests.twin import plants
from tests.twin.members import rules_at_random, storm, trial, weather

from weirhouse.plant import parse_plant
from weirhouse.twin import layout as at
from weirhouse.twin import reference
from weirhouse.twin.compile import Compiled, compile_plant
from weirhouse.twin.parameters import Parameters
from weirhouse.twin.policy import Actions, forcing
from weirhouse.twin.run import run, water_at
from weirhouse.twin.state import State

CLOSES = 1e-9
SOLIDS_AHEAD, SOLIDS_AFTER = range(at.CLASSES), (at.COAGULATED, at.UNCOAGULATED)


def held_solids(compiled: Compiled, p: Parameters, s: State) -> Any:
    """Return the solids in every part of the plant [g]."""
    train = compiled.train
    total = s.blanket.sum(axis=1)
    for e, kind in enumerate(train.kind):
        carried = SOLIDS_AFTER if train.coagulated[e] else SOLIDS_AHEAD
        if kind == at.PIPE:
            total = total + _in_pipe(s, int(train.first[e]), carried)
        elif kind != at.FEED:
            for c in range(train.first[e], train.first[e] + train.number[e]):
                volume = train.cell_volume[c] * (p.dead_zone if train.cell_basin[c] else 1.0)
                total = total + volume * s.cells[:, c, list(carried)].sum(axis=1)
    for f in range(len(compiled.filters)):
        box = (train.filter_box[f] + train.filter_pore[f]) * train.filter_area[f]
        total = total + box * (s.box[:, f, at.BOX_SOLIDS] + s.box[:, f, at.BOX_REMNANT])
        total = total + train.filter_area[f] * (s.deposit[:, f] * train.depth[f]).sum(axis=1)
    return total


def held_chlorine(compiled: Compiled, p: Parameters, s: State) -> Any:
    """Return the free chlorine in every part of the plant [g]."""
    train = compiled.train
    total = np.zeros(p.members)
    for q in range(len(train.pipe_volume)):
        total = total + _in_pipe(s, q, (at.FAST, at.SLOW))
    for c in range(len(train.cell_volume)):
        volume = train.cell_volume[c] * (p.dead_zone if train.cell_basin[c] else 1.0)
        total = total + volume * s.cells[:, c, [at.FAST, at.SLOW]].sum(axis=1)
    for f in range(len(compiled.filters)):
        box = (train.filter_box[f] + train.filter_pore[f]) * train.filter_area[f]
        total = total + box * s.box[:, f, at.BOX_FAST :].sum(axis=1)
    for i in range(len(compiled.tanks)):
        n = int(train.tank_cells[i])
        cells = s.tank_chlorine[:, train.tank_first[i] : train.tank_first[i] + n].sum(axis=(1, 2))
        total = total + s.tanks[:, i] / n * cells
    return total


def _in_pipe(s: State, q: int, carried: Any) -> Any:
    place = (np.arange(at.PIECES) - s.piece_first[:, q, None]) % at.PIECES
    there = np.where(place < s.piece_count[:, q, None], s.pieces[:, q, :, 0], 0.0)
    return (there * s.pieces[:, q][:, :, [1 + c for c in carried]].sum(axis=2)).sum(axis=1)


def check_ledger(compiled: Compiled, p: Parameters, begin: State, end: State) -> None:
    """Hold all three balances to 1e-9 of what went through."""
    moved = dict(zip(at.LEDGER, (end.ledger - begin.ledger)[:, : at.L_PRODUCT].T, strict=True))
    if not compiled.tanks:
        moved["spilled_m3"] = 0.0
    drawn = moved["wash_m3"] - moved["own_wash_m3"]
    out = moved["blowdown_m3"] + moved["to_waste_m3"] + drawn + moved["delivered_m3"] + moved["spilled_m3"]
    kept = end.tanks.sum(axis=1) - begin.tanks.sum(axis=1)
    size = moved["intake_m3"] + begin.tanks.sum(axis=1) + 1e-6
    assert np.abs((moved["intake_m3"] - out - kept) / size).max() < CLOSES
    came = moved["solids_in_g"] + moved["hydroxide_g"]
    went = sum(moved[f"{k}_g"] for k in ("basin", "blowdown", "wash", "to_waste", "filtered"))
    kept = held_solids(compiled, p, end) - held_solids(compiled, p, begin)
    size = came + held_solids(compiled, p, begin) + 1e-6
    assert np.abs((came - went - kept) / size).max() < CLOSES
    went = moved["chlorine_decayed_g"] + moved["chlorine_delivered_g"] + moved["chlorine_wasted_g"]
    kept = held_chlorine(compiled, p, end) - held_chlorine(compiled, p, begin)
    size = moved["chlorine_in_g"] + held_chlorine(compiled, p, begin) + 1e-6
    assert np.abs((moved["chlorine_in_g"] - went - kept) / size).max() < CLOSES


def test_the_whole_train_loses_nothing_through_a_storm_with_washes() -> None:
    compiled, p, policy, begin = trial(plants.usual(), 8, 21, wash_time=20000.0, to_waste_until=0.3)
    result = run(compiled, p, begin, weather(48.0, 8, 21, at_hour=12.0, width=6.0), policy)
    assert result.total("washes").min() > 2
    assert result.total("blowdown_m3").min() > 0
    check_ledger(compiled, p, begin, result.end)


@pytest.mark.parametrize("seed", range(60))
def test_plants_drawn_at_random_lose_nothing(seed: int) -> None:
    made = plants.at_random(seed)
    compiled, p, policy, begin = trial(made, 3, seed, True, **rules_at_random(compile_plant(made), seed))
    result = run(compiled, p, begin, weather(8.0, 3, seed, at_hour=3.0, width=1.0), policy)
    check_ledger(compiled, p, begin, result.end)


@pytest.mark.parametrize("text", [EMBERLY, one_filter_si(), four_filters()], ids=["Emberly", "one filter", "four"])
def test_plant_files_lose_nothing(text: str) -> None:
    compiled, p, policy, begin = trial(parse_plant(text), 3, 17, wash_time=9000.0)
    result = run(compiled, p, begin, weather(8.0, 3, 17, at_hour=3.0, width=1.0), policy)
    assert all(np.isfinite(path).all() for name, path in result.values.items() if name != "ph"), compiled.notes
    check_ledger(compiled, p, begin, result.end)


def test_what_is_left_out_of_a_train_is_said() -> None:
    twice = plants.plant(plants.filters(1).__class__(kind="filters", id="roughing", name="Roughing filters",
                         filter=plants.filters(1).filter), plants.filters(1), plants.hill())  # fmt: skip
    notes = " ".join(compile_plant(twice).notes)
    assert "No coagulant" in notes
    assert "Roughing filters: of filters in a row" in notes
    assert not compile_plant(plants.usual()).notes
    assert "above the trough" in " ".join(compile_plant(plants.usual(), wash_rate=0.03).notes)


# --- stage by stage -----------------------------------------------------------------------------------------------


def _step_by_step(made: Any, hours: float, **rules: Any) -> tuple[Compiled, Parameters, State, State]:
    compiled, p, policy, begin = trial(made, 3, 8, **rules)
    sky = weather(hours, 3, 8, at_hour=hours / 2, width=hours / 4)
    return compiled, p, begin, run(compiled, p, begin, sky, policy).end


@pytest.mark.parametrize(
    "stages",
    [
        (plants.basin(),),
        (plants.pipe(length=700.0),),
        (plants.chlorine("before"), plants.mixer(), plants.pipe(length=300.0)),
        (plants.coagulant(), plants.flocculation()),
        (plants.coagulant(), plants.clarifier(every=2000.0)),
        (plants.coagulant(), plants.basin("sedimentation")),
        (plants.filters(1),),
        (plants.coagulant(), plants.filters(2, max_run=5000.0)),
        (plants.chlorine(), plants.clearwell()),
        (plants.chlorine(), plants.pipe("main", 0.2, 400.0, contact=True), plants.hill()),
    ],
    ids=lambda stages: "-".join(stage.id for stage in stages),
)
def test_each_stage_loses_nothing(stages: tuple[Any, ...]) -> None:
    compiled, p, begin, end = _step_by_step(plants.plant(*stages), 6.0)
    check_ledger(compiled, p, begin, end)


def test_a_filter_gains_what_its_water_loses() -> None:
    """CP-f5: u (C in - C out) over time is the gain of deposit, to 1e-10."""
    compiled, p, _, s = trial(plants.plant(plants.coagulant(), plants.filters(1)), 4, 5)
    u, found = np.full(4, 5 / 3600), reference.properties(p, np.full(4, 10.0))
    s.box[:, 0, at.BOX_SOLIDS] = 3.0
    before, moved = _deposit(compiled, s), np.zeros(4)
    for _ in range(1440):
        _, through, _, _ = reference.filtering(
            s, compiled.train, p, 0, u, np.ones(4, dtype=bool), 60.0, found, np.full(4, 3.0), np.full(4, 0.9),
            np.zeros(4), np.zeros(4),
        )  # fmt: skip
        moved += u * 60 * (3.0 - through)  # the water over the bed stays at 3 mg/L
    assert _deposit(compiled, s) - before == pytest.approx(moved, rel=1e-10)


def _deposit(compiled: Compiled, s: State) -> Any:
    return (s.deposit[:, 0] * compiled.train.depth[0]).sum(axis=1)


# --- the step ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "bound"), [("settled", 0.02), ("combined", 0.04), ("out_chlorine", 0.002)])
def test_half_the_step_moves_paths_within_a_bound(name: str, bound: float) -> None:
    """Median over members and time of the relative change. Rules are held so that no event jumps by a step."""
    results = []
    for dt in (60.0, 30.0):
        compiled, p, policy, begin = trial(
            plants.usual(), 12, 31, wash_time=np.inf, wash_head=np.inf, wash_turbidity=np.inf, wash_at=[5 * 3600.0],
            wash_filter=[1], blowdown_at=np.inf,
        )  # fmt: skip
        sky = weather(16.0, 12, 31, at_hour=8.0, width=4.0)
        results.append(run(compiled, p, begin, sky, policy, dt=dt).path(name).astype(float))
    apart = np.abs(results[0] / results[1] - 1)
    assert np.median(apart) < bound / 4
    assert np.quantile(apart, 0.95) < bound


def test_totals_hardly_move_with_half_the_step() -> None:
    made = []
    for dt in (60.0, 30.0):
        compiled, p, policy, begin = trial(plants.usual(), 24, 32)
        made.append(run(compiled, p, begin, weather(24.0, 24, 32, at_hour=8.0, width=4.0), policy, dt=dt))
    for name, bound in (("intake_m3", 0.005), ("solids_in_g", 0.005), ("filtered_g", 0.05), ("wash_m3", 0.05)):
        one, two = (result.total(name).mean() for result in made)
        assert one == pytest.approx(two, rel=bound), name


def test_a_step_is_a_function_of_what_goes_in() -> None:
    compiled, p, policy, begin = trial(plants.usual(), 3, 7)
    sky = weather(1.0, 3, 7)
    water = water_at(sky, 0.0, 3)
    kept = State._make(value.copy() for value in begin)
    actions: Actions = reference.decide(compiled, begin, water, 0.0, 60.0, policy)
    one = reference.step(compiled, p, begin, water, actions, 60.0)
    two = reference.step(compiled, p, begin, water, actions, 60.0)
    assert all(np.array_equal(a, b, equal_nan=True) for a, b in zip(one, two, strict=True))
    assert all(np.array_equal(a, b, equal_nan=True) for a, b in zip(begin, kept, strict=True))


# --- limits -------------------------------------------------------------------------------------------------------


def test_a_plant_that_stands_still_changes_nothing_but_what_settles_and_fades() -> None:
    compiled, p, policy, begin = trial(
        plants.usual(), 3, 9, block_start=[0.0], block_flow=[0.0], block_dose=[1.0], wash_head=np.inf
    )
    result = run(compiled, p, begin, weather(6.0, 3, 9), policy)
    for name in ("intake_m3", "solids_in_g", "hydroxide_g", "chlorine_in_g", "wash_m3", "filters_in_g"):
        assert (result.total(name) == 0).all(), name
    assert (result.total("basin_g") > 0).all()
    assert (result.total("chlorine_decayed_g") > 0).all()
    assert np.array_equal(result.end.deposit, begin.deposit)
    check_ledger(compiled, p, begin, result.end)


def test_water_without_turbidity_brings_no_solids_but_the_hydroxide() -> None:
    compiled, p, policy, begin = trial(plants.usual(), 3, 10)
    clear = forcing(np.zeros((1, 8)), interval=3600.0, temperature=8.0, demand=0.005)
    result = run(compiled, p, begin, clear, policy)
    assert (result.total("solids_in_g") == 0).all()
    assert (result.total("hydroxide_g") > 0).all()
    assert np.isfinite(result.path("combined")).all()
    check_ledger(compiled, p, begin, result.end)


@pytest.mark.parametrize("how", ["tank", "pump"])
def test_without_coagulant_the_water_goes_through(how: str) -> None:
    stops = np.full((2, 2), np.inf)
    if how == "pump":
        stops[0] = (3600.0, 8 * 3600.0)
    compiled, p, policy, begin = trial(plants.usual(), 5, 12, feed_stops=stops, refill_below=-1.0, start_below=1.0)
    if how == "tank":  # an hour's dose above where the pump draws air
        begin.feed_tank[:, 0] = compiled.train.feed_low[0] + 3600 * 15 * policy.flow / compiled.train.feed_content[0]
    result = run(
        compiled, p, begin, forcing(np.full((1, 8), 8.0), interval=3600.0, temperature=8.0, demand=0.008), policy
    )
    assert (result.end.quality <= 1e-5).all()
    assert (result.end.combined > 3 * begin.combined).all()
    assert ((result.total("minutes_dry_feed") > 60) == (how == "tank")).all()
    check_ledger(compiled, p, begin, result.end)


def test_a_tank_never_holds_less_than_nothing_and_says_what_was_short() -> None:
    compiled, p, policy, begin = trial(plants.usual(), 2, 13, block_start=[0.0], block_flow=[0.0], block_dose=[1.0])
    thirsty = forcing(np.full((1, 24), 5.0), interval=3600.0, temperature=8.0, demand=0.02)
    result = run(compiled, p, begin, thirsty, policy)
    assert (result.end.tanks >= 0).all()
    assert (result.total("short_m3") > 0).all()
    assert result.below_reserve.all()
    assert result.total("delivered_m3") + result.total("short_m3") == pytest.approx(0.02 * 86400)


def test_filter_to_waste_and_wash_water_go_to_the_sewer() -> None:
    compiled, p, policy, begin = trial(
        plants.usual(), 2, 14, wash_at=[600.0], wash_filter=[0], wash_time=np.inf, wash_head=np.inf,
        wash_turbidity=np.inf,
    )  # fmt: skip
    calm = forcing(np.full((1, 8), 5.0), interval=900.0, temperature=8.0, demand=0.005)
    result = run(compiled, p, begin, calm, policy)
    assert (result.total("washes") == 1).all()
    assert result.total("wash_m3") == pytest.approx(0.0102 * 3.25 * 540)
    assert result.total("sewer_peak_m3_s") == pytest.approx(0.0102 * 3.25, rel=0.2)
    assert (result.total("to_waste_m3") > 0).all()


def test_no_wash_is_taken_out_of_the_reserve() -> None:
    compiled, p, policy, begin = trial(plants.usual(), 2, 15, wash_time=600.0, block_start=[0.0], block_flow=[0.0],
                                       block_dose=[1.0])  # fmt: skip
    begin.tanks[:, 0] = compiled.train.tank_reserve[0] + 5.0  # a wash takes 18 m3
    result = run(compiled, p, begin, weather(2.0, 2, 15), policy)
    assert (result.total("washes") == 0).all()


def test_storm_of_the_tests_is_what_it_says() -> None:
    assert storm(8.0).max() == pytest.approx(205.0)

"""The compiled kernel against its reference: equal to rounding on every stage and on plants drawn at random."""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.twin import plants
from tests.twin.members import furthest, rules_at_random, trial, weather

from weirhouse.twin import layout as at
from weirhouse.twin import places, reference
from weirhouse.twin.compile import Train
from weirhouse.twin.parameters import Parameters
from weirhouse.twin.policy import Policy, shut_for
from weirhouse.twin.run import run, water_at
from weirhouse.twin.state import State

kernel = pytest.importorskip("weirhouse.twin.kernel")
ROUNDING = 1e-9
RANDOM_PLANTS = range(24)


@pytest.mark.parametrize("seed", RANDOM_PLANTS)
def test_kernel_and_reference_agree_on_plants_drawn_at_random(seed: int) -> None:
    from weirhouse.twin.compile import compile_plant

    made = plants.at_random(seed)
    compiled, p, policy, begin = trial(made, 3, seed, True, **rules_at_random(compile_plant(made), seed))
    sky = weather(2.0, 3, seed, at_hour=1.0, width=0.6)
    fast = run(compiled, p, begin, sky, policy, every=600.0)
    slow = run(compiled, p, begin, sky, policy, every=600.0, engine="reference")
    field, apart = furthest(fast.end, slow.end)
    assert apart < ROUNDING, (field, apart)
    for name, path in fast.values.items():
        assert np.allclose(path, slow.values[name], rtol=1e-6, atol=1e-6, equal_nan=True), name


def test_plants_drawn_at_random_do_all_that_can_happen() -> None:
    from weirhouse.twin.compile import compile_plant

    seen = {"wash": 0, "blowdown": 0, "dry": 0, "waste": 0, "spill": 0, "short": 0, "no filter": 0, "four": 0}
    for seed in RANDOM_PLANTS:
        made = plants.at_random(seed)
        compiled, p, policy, begin = trial(made, 3, seed, True, **rules_at_random(compile_plant(made), seed))
        ledger = run(compiled, p, begin, weather(2.0, 3, seed, at_hour=1.0, width=0.6), policy).end.ledger
        seen["wash"] += ledger[:, at.L_WASHES].max() > 0
        seen["blowdown"] += ledger[:, at.L_BLOWDOWN].max() > 0
        seen["dry"] += ledger[:, at.L_DRY_FEED].max() > 0
        seen["waste"] += ledger[:, at.L_TO_WASTE].max() > 0
        seen["spill"] += ledger[:, at.L_SPILLED].max() > 0
        seen["short"] += ledger[:, at.L_SHORT].max() > 0
        seen["no filter"] += len(compiled.filters) == 0
        seen["four"] += len(compiled.filters) == 4
    assert all(count > 0 for what, count in seen.items() if what != "spill"), seen


# --- each stage by itself -----------------------------------------------------------------------------------------


class Bench:
    """One plant with members in the middle of a storm, for both ways of stepping."""

    def __init__(self) -> None:
        self.compiled, self.p, self.policy, begin = trial(plants.usual(), 5, 3, wash_time=7200.0)
        self.sky = weather(6.0, 5, 3)
        self.state = run(self.compiled, self.p, begin, self.sky, self.policy, hours=5.0).end
        self.o = places.offsets(self.compiled.train, self.policy, self.state)
        self.water = water_at(self.sky, 5 * 3600.0, 5)
        self.found = reference.properties(self.p, self.water.temperature)
        rng = np.random.default_rng(9)
        self.carried = rng.uniform(0.1, 20, (5, at.CARRIED))
        self.flow = rng.uniform(0.002, 0.01, 5)
        self.flow[0] = 0.0

    def copy(self) -> State:
        return State._make(value.copy() for value in self.state)

    def row(self, m: int) -> Any:
        train, rules = places.flat(self.compiled.train)[0], places.flat(self.policy)[0]
        z = np.zeros(self.o[places.N_ALL])
        numbers, state = places.parameter_rows(self.p)[m], places.rows(self.state)[m]
        z[: len(numbers)] = numbers
        z[places.FRONT : places.FRONT + len(state)] = state
        z[places.FRONT + len(state) :][: len(train) + len(rules)] = np.concatenate([train, rules])
        z[places.W : places.W + at.CARRIED] = self.carried[m]
        kernel.begin_member(z, self.o)
        z[self.o[places.X_MEMO] : self.o[places.X_FEEDING]] = np.nan
        z[self.o[places.X_FEEDING] : self.o[places.X_REFILL]] = 1
        kernel.properties(self.water.temperature[m], 60.0, z, self.o)
        return z

    def agree(self, by_kernel: Callable[[int, Any], Any], by_reference: Callable[[State, Any], Any]) -> None:
        """Hold both to the same answer, the same state and the same water in hand."""
        w, s = self.carried.copy(), self.copy()
        expected = by_reference(s, w)
        packed = []
        for m in range(5):
            z = self.row(m)
            got = by_kernel(m, z)
            for a, b in zip(np.atleast_1d(got), np.atleast_1d(_member(expected, m)), strict=True):
                assert float(a) == pytest.approx(float(b), rel=ROUNDING, abs=1e-12)
            assert z[places.W : places.W + at.CARRIED] == pytest.approx(w[m], rel=ROUNDING, abs=1e-12)
            packed.append(z[places.FRONT : places.FRONT + places.rows(self.state).shape[1]])
        field, apart = furthest(places.state_of(np.array(packed), self.state), s)
        assert apart < ROUNDING, (field, apart)


def _member(value: Any, m: int) -> Any:
    if value is None:
        return []
    return [part[m] for part in value] if isinstance(value, tuple) else value[m]


@pytest.fixture(scope="module")
def bench() -> Bench:
    return Bench()


def test_stirred_cell_and_settling_basin(bench: Bench) -> None:
    train, o = bench.compiled.train, bench.o
    volume = train.cell_volume[0] * bench.p.dead_zone

    def fast(m: int, z: Any) -> float:
        slot = o[places.X_MEMO]
        kernel.remember(slot, at.BASIN, 0, bench.flow[m], volume[m], 60.0, z, o)
        return float(kernel.settling(0, slot, train.cell_area[0], 60.0, z, o))

    bench.agree(fast, lambda s, w: reference.settling(
        s.cells[:, 0], bench.flow, volume, float(train.cell_area[0]), 60.0, bench.found, w))  # fmt: skip

    def conserved(m: int, z: Any) -> list[float]:
        slot = o[places.X_MEMO]
        kernel.remember(slot, at.CELLS, 4, bench.flow[m], 0.23, 60.0, z, o)
        kernel.stirred(4, z[slot + kernel.LEFT], z[slot + kernel.MEAN], 0, 4, z, o)
        return []

    bench.agree(conserved, lambda s, w: reference.stirred(
        s.cells[:, 4], bench.flow, np.full(5, 0.23), 0, 4, 60.0, w))  # fmt: skip


def test_chlorine_in_a_stirred_cell(bench: Bench) -> None:
    bench.agree(
        lambda m, z: kernel.fading(4, bench.flow[m], 0.23, 60.0, z, bench.o),
        lambda s, w: reference.fading(s.cells[:, 4], bench.flow, np.full(5, 0.23), 60.0, bench.found, w),
    )


@pytest.mark.parametrize("pipe", [0, 1])
def test_plug_flow(bench: Bench, pipe: int) -> None:
    size = float(bench.compiled.train.pipe_volume[pipe])
    bench.agree(
        lambda m, z: kernel.plug_flow(pipe, bench.flow[m], size, 60.0, True, z, bench.o),
        lambda s, w: reference.plug_flow(s, pipe, bench.flow, size, 60.0, True, bench.found, w),
    )


def test_coagulation_with_its_ph(bench: Bench) -> None:
    train, wet, o = bench.compiled.train, bench.water, bench.o
    flow = bench.flow + 0.001

    def fast(m: int, z: Any) -> list[float]:
        kernel.coagulate(
            flow[m], 60.0, wet.temperature[m], wet.alkalinity[m], wet.ph[m], wet.uv254[m], z, o
        )  # fmt: skip
        return []

    bright = reference.brightness(bench.p)
    bench.agree(fast, lambda s, w: reference.coagulate(
        s, train, bench.p, wet, np.ones(2), flow, 60.0, bright, w))  # fmt: skip


def test_ph_over_the_whole_range() -> None:
    rng = np.random.default_rng(4)
    ph, alkalinity = rng.uniform(6.3, 8.6, 200), rng.uniform(8, 250, 200)
    used, temperature = rng.uniform(0, 1.3, 200) * alkalinity, rng.uniform(0, 28, 200)
    wet = reference.Water(ph, temperature, alkalinity, ph, ph, ph)
    slow = reference.ph_after(wet, used)
    fast = [kernel.ph_after(*values) for values in zip(ph, alkalinity, used, temperature, strict=True)]
    assert fast == pytest.approx(slow, abs=1e-9)


def test_flocculation(bench: Bench) -> None:
    train, o = bench.compiled.train, bench.o
    g = reference.gradient(train, 5, bench.flow, bench.found)

    def fast(m: int, z: Any) -> list[float]:
        slot = o[places.X_MEMO]
        z[places.W : places.W + 4] = 3.0, 30.0, 0.4, 0.9
        kernel.remember(slot, at.FLOCCULATION, 5, bench.flow[m], train.cell_volume[5], 60.0, z, o)
        assert z[slot + kernel.GRADIENT] == pytest.approx(g[m], rel=ROUNDING)
        kernel.flocculating(5, slot, bench.flow[m], train.cell_volume[5], 60.0, z, o)
        return []

    def slow(s: State, w: Any) -> None:
        w[:, :4] = 3.0, 30.0, 0.4, 0.9
        reference.flocculating(
            s.cells[:, 5], bench.flow, g, np.full(5, train.cell_volume[5]), 60.0, bench.found, bench.p, w
        )

    bench.agree(fast, slow)


@pytest.mark.parametrize("blowdown_at", [0.01, 0.9])
def test_clarification_with_blowdown(bench: Bench, blowdown_at: float) -> None:
    def fast(m: int, z: Any) -> float:
        z[places.W : places.W + 4] = 3.0, 30.0, 0.4, 0.9
        return float(kernel.clarify(0, bench.o[places.X_MEMO], bench.flow[m], 30000.0, blowdown_at, 60.0, z, bench.o))

    def slow(s: State, w: Any) -> Any:
        w[:, :4] = 3.0, 30.0, 0.4, 0.9
        return reference.clarify(
            s, bench.compiled.train, bench.p, 0, bench.flow, np.full(5, 30000.0), blowdown_at, 60.0, bench.found, w
        )

    bench.agree(fast, slow)


def test_filtration(bench: Bench) -> None:
    u = (bench.flow + 0.001) / 3.25

    def fast(m: int, z: Any) -> Any:
        ntu, through = kernel.filtering(0, bench.o[places.X_MEMO], u[m], 60.0, 3.0, 0.8, z, bench.o)
        return [ntu, through, *z[places.W + at.FAST : places.W + at.SLOW + 1]]

    def slow(s: State, w: Any) -> Any:
        found = reference.filtering(
            s, bench.compiled.train, bench.p, 0, u, np.ones(5, dtype=bool), 60.0, bench.found, np.full(5, 3.0),
            np.full(5, 0.8), w[:, at.FAST].copy(), w[:, at.SLOW].copy(),
        )  # fmt: skip
        w[:, at.FAST], w[:, at.SLOW] = found[2], found[3]
        return found

    bench.agree(fast, slow)


def test_backwash(bench: Bench) -> None:
    bench.agree(
        lambda m, z: kernel.washing(1, 60.0, z, bench.o),
        lambda s, w: reference.washing(s, bench.compiled.train, 1, np.ones(5, dtype=bool), 60.0, bench.found),
    )


def test_tank_with_a_level_that_moves(bench: Bench) -> None:
    volume = np.array([0.0, 5.0, 40.0, 80.0, 90.0])
    bench.agree(
        lambda m, z: kernel.tank_mix(0, bench.flow[m], 0.004, volume[m], 60.0, 0.3, 1.1, z, bench.o),
        lambda s, w: reference.tank_mix(
            s, bench.compiled.train, 0, bench.flow, np.full(5, 0.004), volume, 60.0, bench.found, np.full(5, 0.3),
            np.full(5, 1.1),
        ),
    )  # fmt: skip


# --- runs -----------------------------------------------------------------------------------------------------------


def test_the_same_seed_gives_the_same_run_to_the_last_bit_by_any_number_of_threads() -> None:
    def once(workers: int) -> Any:
        compiled, p, policy, begin = trial(plants.usual(), 70, 11)
        return run(compiled, p, begin, weather(6.0, 70, 11), policy, seed=11, workers=workers)

    one, two = once(1), once(2)
    assert one.inputs == two.inputs
    assert all(np.array_equal(a, b, equal_nan=True) for a, b in zip(one.end, two.end, strict=True))
    assert all(np.array_equal(one.values[k], two.values[k]) for k in one.values)


def test_a_run_stores_what_it_was_made_of() -> None:
    compiled, p, policy, begin = trial(plants.usual(), 4, 1)
    sky = weather(1.0, 4, 1)
    first = run(compiled, p, begin, sky, policy, seed=1)
    assert first.seed == 1
    assert first.version
    assert len(first.inputs) == 64
    for changed in (
        run(compiled, p, begin, sky._replace(turbidity=sky.turbidity + 0.1), policy, seed=1),
        run(compiled, p._replace(aggregation=p.aggregation * 1.01), begin, sky, policy, seed=1),
        run(compiled, p, begin, sky, policy._replace(flow=policy.flow * 1.01), seed=1),
        run(compiled, p, begin, sky, policy, seed=2),
        run(compiled, p, begin, sky, policy, seed=1, dt=30.0),
    ):
        assert changed.inputs != first.inputs


def test_a_run_goes_on_where_another_one_ended() -> None:
    compiled, p, policy, begin = trial(plants.usual(), 4, 2)
    sky = weather(4.0, 4, 2)
    whole = run(compiled, p, begin, sky, policy, hours=4.0)
    half = run(compiled, p, begin, sky, policy, hours=2.0)
    rest = run(compiled, p, half.end, sky, policy, hours=2.0)
    assert rest.times[0] == 2 * 3600 + 900
    field, apart = furthest(rest.end, whole.end)
    assert apart == 0, field


def test_a_run_leaves_its_beginning_as_it_was() -> None:
    compiled, p, policy, begin = trial(plants.usual(), 2, 3)
    kept = State._make(value.copy() for value in begin)
    run(compiled, p, begin, weather(1.0, 2, 3), policy)
    assert all(np.array_equal(a, b, equal_nan=True) for a, b in zip(begin, kept, strict=True))


def test_places_name_the_fields_in_their_order() -> None:
    for prefix, group in (("S", State), ("T", Train), ("R", Policy)):
        begin = getattr(places, f"{prefix}_{group._fields[0].upper()}")
        for i, name in enumerate(group._fields):
            assert getattr(places, f"{prefix}_{name.upper()}") == begin + i
    order = [*(n for n in Parameters._fields if n != "class_shares"), "class_shares"]
    assert [getattr(places, f"P_{n.upper()}") for n in order] == list(range(len(order)))
    assert len(order) + 5 <= places.FOUND


def test_shut_intake_takes_nothing_and_lives_from_the_tank() -> None:
    compiled, p, policy, begin = trial(plants.usual(), 3, 5)
    result = run(compiled, p, begin, weather(8.0, 3, 5), shut_for(policy, 6.0), hours=6.0)
    assert (result.total("intake_m3") == 0).all()
    assert (result.path("hill_tank.volume")[:, -1] < result.path("hill_tank.volume")[:, 0]).all()


def test_compiled_code_is_kept_beside_the_package_or_with_the_user_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    beside = str(kernel.kept_in())
    assert Path(beside).parent.name == "__pycache__"
    make = Path.mkdir

    def read_only_package(self: Path, *args: Any, **kwargs: Any) -> None:
        if tmp_path not in self.parents:
            raise PermissionError(str(self))
        make(self, *args, **kwargs)

    monkeypatch.setattr(Path, "mkdir", read_only_package)
    assert Path(str(kernel.kept_in())).parent == tmp_path / ".cache" / "weirhouse"
    monkeypatch.setattr(Path, "mkdir", lambda *_, **__: (_ for _ in ()).throw(PermissionError("all")))
    assert kernel.kept_in() is None


def test_code_compiled_for_another_layout_is_not_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Numba does not see that a constant of another module has changed; its old code would write beside the rows."""
    now = kernel.kept_in()
    other = tmp_path / "places.py"
    other.write_bytes(Path(str(places.__file__)).read_bytes() + b"# one more field\n")
    monkeypatch.setattr(places, "__file__", str(other))
    assert kernel.kept_in() != now


def test_a_package_that_cannot_keep_code_still_runs(tmp_path: Path) -> None:
    code = (
        "import pathlib\n"
        "def no(*a, **k): raise PermissionError('read-only')\n"
        "pathlib.Path.mkdir = no\n"
        "import weirhouse.twin.kernel as k\n"
        "assert k.kept_in() is None\n"
        "print(round(k.density_of(4.0), 2))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False,
                          env={k: v for k, v in os.environ.items() if k != "NUMBA_CACHE_DIR"})  # fmt: skip
    assert done.stdout.strip() == "999.97", done.stderr


def test_progress_is_told_up_to_the_end() -> None:
    compiled, p, policy, begin = trial(plants.usual(), 70, 6)
    told: list[float] = []
    run(compiled, p, begin, weather(1.0, 70, 6), policy, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0

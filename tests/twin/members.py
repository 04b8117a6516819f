"""Members, weather and rules for the tests of the simulation."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from weirhouse.plant.model import Plant
from weirhouse.twin import layout as at
from weirhouse.twin.compile import Compiled, compile_plant
from weirhouse.twin.parameters import Parameters, sample
from weirhouse.twin.policy import Forcing, Policy, forcing, habit
from weirhouse.twin.start import init
from weirhouse.twin.state import Start, State

Floats = NDArray[np.float64]


def held(s: State) -> State:
    """Return the state with each pipe's pieces from the oldest on, and nothing in the places that hold none."""
    members, pipes = s.piece_first.shape
    pieces = np.zeros_like(s.pieces)
    for m in range(members):
        for q in range(pipes):
            n = int(s.piece_count[m, q])
            order = (s.piece_first[m, q] + np.arange(n)) % at.PIECES
            pieces[m, q, :n] = s.pieces[m, q, order]
    return s._replace(pieces=pieces, piece_first=np.zeros_like(s.piece_first))


def furthest(a: State, b: State) -> tuple[str, float]:
    """Return the field in which two states lie furthest apart, and how far: relative, or absolute below 1e-6."""
    worst = ("", 0.0)
    for name, x, y in zip(State._fields, held(a), held(b), strict=True):
        if not x.size:
            continue
        same = (x == y) | (np.isnan(x) & np.isnan(y))
        apart = np.where(same, 0.0, np.abs(x - y) / np.maximum(1e-6, np.abs(y)))
        apart = np.where(np.isfinite(apart), apart, np.inf)
        if apart.max() > worst[1]:
            worst = (name, float(apart.max()))
    return worst


def storm(hours: float, *, base: float = 5.0, peak: float = 200.0, at_hour: float = 4.0, width: float = 3.0) -> Floats:
    """Return a storm's raw turbidity by the quarter-hour [NTU]."""
    t = np.arange(int(4 * hours)) / 4
    return np.asarray(base + peak * np.exp(-(((t - at_hour) / width) ** 2)))


def weather(hours: float, members: int, seed: int, **more: Any) -> Forcing:
    """Return a storm with noise, cold rain and a demand of two peaks."""
    rng = np.random.default_rng(seed)
    raw = storm(hours, **more) * np.exp(0.2 * rng.standard_normal((members, 1)))
    t = np.arange(raw.shape[1]) / 4
    return forcing(
        raw, interval=900.0, temperature=9.0 + 2 * np.sin(t / 5)[None, :] + rng.normal(0, 1, (members, 1)),
        demand=0.004 + 0.003 * np.sin(t / 24 * 2 * np.pi) ** 2, alkalinity=40 - 10 * np.minimum(1, t / 6),
        uv254=rng.uniform(5, 30, (members, 1)), start_of_day=6 * 3600.0,
    )  # fmt: skip


def trial(
    plant: Plant, members: int, seed: int, nearly_dry: bool = False, **rules: Any
) -> tuple[Compiled, Parameters, Policy, State]:
    """Return a plant, members, rules and a state to begin with."""
    compiled = compile_plant(plant)
    p = sample(compiled, members, seed)
    policy = habit(compiled, **rules)
    rng = np.random.default_rng(seed)
    low = compiled.train.feed_low / compiled.train.feed_full  # some day tanks hold some minutes' dose more than that
    levels = tuple(np.where(rng.random(len(low)) < 0.3, low + 5e-4, 0.8).tolist()) if nearly_dry else None
    return compiled, p, policy, init(compiled, p, Start(turbidity=5.0, feed_levels=levels), policy)


def rules_at_random(compiled: Compiled, seed: int) -> dict[str, Any]:
    """Return rules under which much happens within two hours: washes, closures, dry tanks, feeds that fail."""
    rng = np.random.default_rng(seed + 1000)
    n, f = len(compiled.feeds), len(compiled.filters)
    stops = np.full((n, 2), np.inf)
    if n and rng.random() < 0.5:
        stops[rng.integers(n)] = (1200.0, 3000.0)
    out = np.zeros(f, dtype=np.int64)
    if f > 1 and rng.random() < 0.3:
        out[0] = 1
    rules: dict[str, Any] = {
        "wash_turbidity": float(rng.choice([0.05, 0.3])), "wash_time": float(rng.choice([600.0, 36000.0])),
        "wash_duration": 240.0, "to_waste": float(rng.choice([0.0, 420.0])),
        "to_waste_until": float(rng.choice([0.0, 0.3])), "start_to_waste": float(rng.choice([0.0, 300.0])),
        "feed_stops": stops, "out_of_service": out, "other_doses": rng.uniform(0, 3, n),
        "dose_by_raw": int(rng.integers(2)), "blowdown_at": 0.1, "refill_below": float(rng.choice([-1.0, 0.3])),
        "shut_above": float(rng.choice([60.0, np.inf])), "reopen_below": 50.0, "throttle_above": 20.0,
        "throttle_to": 0.7, "block_start": [0.0, 1800.0, 2400.0, 4000.0], "block_flow": [np.nan, 0.0, np.nan, 0.006],
        "block_dose": [1.0, 1.0, 1.3, 0.2], "wash_at": [600.0] if f else [], "wash_filter": [f - 1] if f else [],
    }  # fmt: skip
    return rules

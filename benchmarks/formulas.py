"""What do formulas cost: a million waters at once, one scalar call, and a page's form to its answer?"""

import time
import timeit
from pathlib import Path

import httpx
import numpy as np
from tests.science.phreeqc import solve, waters

from benchmarks.result import Result
from benchmarks.today_served import serving
from weirhouse.science.basins import detention_time
from weirhouse.science.coagulation import ph_after_coagulant

MILLION, PEERS, FASTER = 1_000_000, 200, 200.0
CALL_S, FORM_S = 2e-6, 0.050


def million_waters() -> Result:
    """Return the time of one water among a million over a 200th of what PHREEQC takes for one."""
    peers = waters(PEERS, seed=5, ph=(6.3, 8.4), dose=(0.2, 6.0))
    solve(peers[0], "acid")  # the first call loads the database
    start = time.perf_counter()
    theirs = [solve(water, "acid")[1].ph for water in peers]
    peer = (time.perf_counter() - start) / PEERS
    columns = {
        name: np.array([getattr(water, name) for water in peers])
        for name in ("ph", "alkalinity", "temperature", "aluminium", "basicity")
    }
    ours = _ph(columns)
    apart = float(np.max(np.abs(ours - theirs)))
    if apart > 0.05:
        raise AssertionError(f"pH differs from PHREEQC by {apart:.3f}")
    many = {name: np.tile(values, MILLION // PEERS) for name, values in columns.items()}
    start = time.perf_counter()
    _ph(many)
    one = (time.perf_counter() - start) / MILLION
    return Result(
        "pH after coagulant, a water of a million against PHREEQC",
        one * FASTER / peer,
        1.0,
        f"{peer / one:.0f} times as fast (goal {FASTER:.0f}), largest difference {apart:.3f} pH",
    )


def _ph(water: dict[str, np.ndarray]) -> np.ndarray:
    return ph_after_coagulant(
        water["ph"], water["alkalinity"], water["temperature"], water["aluminium"], 0.17, water["basicity"], "Al"
    )


def scalar_call() -> Result:
    """Return the time of a whole scalar call when nobody records over 2 us."""
    runs = 100_000
    best = min(timeit.repeat(lambda: detention_time(45.42, 0.009464), number=runs, repeat=7)) / runs
    return Result(
        "one scalar call of a formula", best / CALL_S, 1.0, f"{1e6 * best:.2f} us with the lambda around it, limit 2 us"
    )


def form_to_answer(plant: Path) -> Result:
    """Return the median time from a page's form to its answer over 50 ms."""
    taken = []
    with serving(plant) as address, httpx.Client(timeout=30) as web:
        for number in range(40):
            start = time.perf_counter()
            asked = {"volume": str(12000 + number), "volume.unit": "gal", "flow": "150", "flow.unit": "gpm"}
            web.get(f"{address}figures/detention_time", params=asked).raise_for_status()
            taken.append(time.perf_counter() - start)
    middle = float(np.median(taken[5:]))
    return Result(
        "page Figures, form to answer",
        middle / FORM_S,
        1.0,
        f"median {1000 * middle:.0f} of {1000 * FORM_S:.0f} ms",
    )

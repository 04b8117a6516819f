"""How long do thousands of members take through three days, and how much faster is the kernel than its reference?

2,000 members by 72 h at one-minute steps, two filters, a storm on the first day, washes on their triggers. The
reference takes the same members through the first hours of the same run: all 72 would take it a minute or more.
Compiling is told apart. Cost in members and in hours is a slope of logarithms: 1 is linear.
"""

import os
import subprocess
import sys
import tempfile
import time
from importlib.resources import files

import numpy as np

from benchmarks.result import Result
from weirhouse.plant import parse_plant
from weirhouse.twin.compile import compile_plant
from weirhouse.twin.parameters import sample
from weirhouse.twin.policy import forcing, habit
from weirhouse.twin.run import Run, run
from weirhouse.twin.start import init
from weirhouse.twin.state import Start

MEMBERS, HOURS, LIMIT_S, FASTER = 2000, 72.0, 6.0, 20.0
REFERENCE_HOURS = 4.0
LINEAR = 1.1  # a slope of logarithms above this is no longer linear
RUNS = 3


class Case:
    """Emberly with its two filters, and the storm that its members meet."""

    def __init__(self, members: int) -> None:
        plant = parse_plant(files("weirhouse.demo").joinpath("emberly.toml").read_text("utf-8"))
        self.compiled = compile_plant(plant)
        self.p = sample(self.compiled, members, 20261127)
        self.policy = habit(self.compiled)
        self.begin = init(self.compiled, self.p, Start(), self.policy)
        rng = np.random.default_rng(20261127)
        t = np.arange(288) / 4
        raw = 5 + 150 * np.exp(-(((t - 14) / 8) ** 2))
        self.sky = forcing(
            raw * np.exp(0.3 * rng.standard_normal((members, 1))), interval=900.0,
            temperature=10 + np.sin(t / 4)[None, :], demand=0.0045 + 0.003 * np.sin(t / 24 * np.pi) ** 2,
        )  # fmt: skip

    def run(self, hours: float, engine: str = "kernel") -> tuple[float, Run]:
        """Return seconds taken and the run."""
        start = time.perf_counter()
        made = run(self.compiled, self.p, self.begin, self.sky, self.policy, hours=hours, engine=engine)  # type: ignore[arg-type]
        return time.perf_counter() - start, made


def compiling() -> float:
    """Return the seconds that a process with an empty cache takes to compile, import of Numba included."""
    code = (
        "import time, sys; from benchmarks.kernel import Case; c = Case(2); t = time.perf_counter(); c.run(0.25); "
        "print(time.perf_counter() - t)"
    )
    with tempfile.TemporaryDirectory() as empty:
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True,
            env=dict(os.environ) | {"NUMBA_CACHE_DIR": empty},
        )  # fmt: skip
    return float(done.stdout)


def slope(sizes: list[float], seconds: list[float]) -> float:
    """Return the slope of the logarithms of cost over size by least squares."""
    return float(np.polyfit(np.log(sizes), np.log(seconds), 1)[0])


def measure() -> list[Result]:
    """Return what was measured, each as a ratio against its limit."""
    first = compiling()
    Case(2).run(0.25)  # load what is compiled
    case = Case(MEMBERS)
    taken = [case.run(HOURS) for _ in range(RUNS)]
    best = min(seconds for seconds, _ in taken)
    washes = float(np.median(taken[0][1].total("washes")))
    running = float(np.median(taken[0][1].total("minutes_running")) / (60 * HOURS))
    fast = min(case.run(REFERENCE_HOURS)[0] for _ in range(RUNS))
    slow = case.run(REFERENCE_HOURS, "reference")[0]
    counts = [500, 1000, 2000]
    by_members = slope([float(n) for n in counts], [min(Case(n).run(24.0)[0] for _ in range(RUNS)) for n in counts])
    lengths = [18.0, 36.0, 72.0]
    by_hours = slope(lengths, [min(case.run(h)[0] for _ in range(RUNS)) for h in lengths])
    return [
        Result(
            f"{MEMBERS:,} members by {HOURS:g} h at one-minute steps", best / LIMIT_S, 1.0,
            f"{best:.1f} s, the shortest of {RUNS}, limit {LIMIT_S:g} s; the plant ran {100 * running:.0f} % of it, "
            f"{washes:.0f} washes; compiling {first:.0f} s apart, once",
        ),
        Result(
            "the same against its NumPy reference", FASTER * fast / slow, 1.0,
            f"{slow / fast:.0f} times as fast (goal {FASTER:g}): the first {REFERENCE_HOURS:g} h of the same "
            f"{MEMBERS:,} members, {fast:.2f} s against {slow:.1f} s",
        ),
        Result(
            "slope of its cost in members", by_members / LINEAR, 1.0,
            f"{by_members:.2f}, 1 is linear; {', '.join(f'{n:,}' for n in counts)} members by 24 h",
        ),
        Result(
            "slope of its cost in hours", by_hours / LINEAR, 1.0,
            f"{by_hours:.2f}, 1 is linear; {', '.join(f'{h:g}' for h in lengths)} h of {MEMBERS:,} members",
        ),
    ]  # fmt: skip


if __name__ == "__main__":
    for result in measure():
        print(result.row())

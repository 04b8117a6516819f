"""How long do thousands of members take through three days, and how much faster is the kernel than its reference?

2,000 members by 72 h at one-minute steps, two filters, a storm on the first day, washes on their triggers. The
reference takes the same members through the first hours of the same run: all 72 would take it a minute or more.
Compiling is told apart. Cost in members and in hours is a slope of logarithms of the processor's time: 1 is linear.
"""

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from importlib.resources import files
from typing import NamedTuple

import numpy as np

from benchmarks import written
from benchmarks.result import Result
from weirhouse.plant import parse_plant
from weirhouse.twin.compile import compile_plant
from weirhouse.twin.parameters import sample
from weirhouse.twin.policy import forcing, habit
from weirhouse.twin.run import Run, run
from weirhouse.twin.start import init
from weirhouse.twin.state import Start

MEMBERS, HOURS, LIMIT_S, FASTER = 2000, 72.0, 6.0, 20.0
LINEAR = 1.1  # a slope of logarithms above this is no longer linear
RUNS = 3


class Taken(NamedTuple):
    """What a run took: by the clock, and of all processors together. [s]"""

    clock: float
    processor: float
    made: Run


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

    def run(self, hours: float, engine: str = "kernel") -> Taken:
        """Run, and say what it took."""
        clock, processor = time.perf_counter(), time.process_time()
        made = run(self.compiled, self.p, self.begin, self.sky, self.policy, hours=hours, engine=engine)  # type: ignore[arg-type]
        return Taken(time.perf_counter() - clock, time.process_time() - processor, made)


def compiling() -> float:
    """Return the processor's seconds that a process with an empty cache takes to compile."""
    code = (
        "import time; from benchmarks.kernel import Case; c = Case(2); t = time.process_time(); c.run(0.25); "
        "print(time.process_time() - t)"
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


def measure() -> Iterator[Result]:
    """Yield what was measured, each as a ratio against its limit."""
    first = compiling()
    Case(2).run(0.25)  # load what is compiled
    case = Case(MEMBERS)
    taken = [case.run(HOURS) for _ in range(RUNS)]
    best, work = min(one.clock for one in taken), min(one.processor for one in taken)
    washes = float(np.median(taken[0].made.total("washes")))
    running = float(np.median(taken[0].made.total("minutes_running")) / (60 * HOURS))
    others = os.getloadavg()[0]
    yield Result(
        f"{MEMBERS:,} members by {HOURS:g} h at one-minute steps", best / LIMIT_S, 1.0,
        f"{best:.1f} s, the shortest of {RUNS}, limit {LIMIT_S:g} s; {work:.1f} s of the processors together; the "
        f"plant ran {100 * running:.0f} % of it, {washes:.0f} washes; {others:.1f} programs wanted the two cores; "
        f"compiling {first:.0f} s of a processor, once, apart",
    )  # fmt: skip
    slow = case.run(HOURS, "reference")
    yield Result(
        "the same against its NumPy reference", FASTER * best / slow.clock, 1.0,
        f"{slow.clock / best:.1f} times as fast (goal {FASTER:g}): the same run, {best:.1f} s on two threads against "
        f"{slow.clock:.0f} s on the one that NumPy uses; {slow.processor / work:.1f} times less of the processors",
    )  # fmt: skip
    counts = [500, 1000, 2000]
    costs = [min(Case(n).run(24.0).processor for _ in range(RUNS)) for n in counts]
    by_members = slope([float(n) for n in counts], costs)
    yield Result(
        "slope of its cost in members", by_members / LINEAR, 1.0,
        f"{by_members:.2f}, 1 is linear; {', '.join(f'{n:,}' for n in counts)} members by 24 h",
    )  # fmt: skip
    lengths = [18.0, 36.0]
    costs = [min(case.run(h).processor for _ in range(RUNS)) for h in lengths] + [work]
    by_hours = slope([*lengths, HOURS], costs)
    yield Result(
        "slope of its cost in hours", by_hours / LINEAR, 1.0,
        f"{by_hours:.2f}, 1 is linear; {', '.join(f'{h:g}' for h in (*lengths, HOURS))} h of {MEMBERS:,} members",
    )  # fmt: skip


if __name__ == "__main__":
    sys.exit(written.main("kernel", measure(), __doc__))

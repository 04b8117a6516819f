"""How long does ``weirhouse today`` take from a cold start, with a year of the demo in the records?"""

import statistics
import subprocess
import sys
import time
from pathlib import Path

from benchmarks.result import Result

LIMIT_S = 1.5
RUNS = 9


def measure(plant: Path) -> Result:
    """Return the median of whole commands, process start included, over the limit."""
    command = [str(Path(sys.executable).with_name("weirhouse")), "today", "--plant", str(plant), "--json"]
    bare = [sys.executable, "-c", "import numpy, pint, sqlalchemy, msgspec"]
    ours, libraries = [], []
    for _ in range(RUNS):  # in turn, so that both meet the same machine
        libraries.append(_seconds(bare))
        ours.append(_seconds(command))
    middle, floor = statistics.median(ours), statistics.median(libraries)
    return Result(
        "today from a cold start",
        middle / LIMIT_S,
        1.0,
        f"median {middle:.2f} s of {RUNS} runs, limit {LIMIT_S} s; the libraries alone take {floor:.2f} s",
    )


def _seconds(command: list[str]) -> float:
    start = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - start

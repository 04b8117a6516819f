"""How long does the page Today take when 20 people each ask for it every 10 s?"""

import random
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import numpy as np

from benchmarks.result import Result

LIMIT_S = 0.150
CLIENTS, EVERY_S, LASTS_S = 20, 10.0, 40.0


@contextmanager
def serving(plant: Path) -> Iterator[str]:
    """Serve a plant folder and give the address."""
    command = [str(Path(sys.executable).with_name("weirhouse")), "serve", "--plant", str(plant), "--port", "0"]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert server.stdout is not None
        for line in server.stdout:
            if "http://" in line:
                yield "http://" + line.split("http://")[1].split()[0]
                break
        else:
            raise RuntimeError("the server did not start")
    finally:
        server.terminate()
        server.wait(timeout=20)


def measure(plant: Path) -> Result:
    """Return the 95th percentile of the answer times over the limit."""
    with serving(plant) as address:
        taken = _ask(address)
    middle, high = np.percentile(taken, [50, 95])
    return Result(
        "Today served to 20 clients, p95",
        float(high) / LIMIT_S,
        1.0,
        f"p95 {1000 * high:.0f} ms, median {1000 * middle:.0f} ms over {len(taken)} answers, "
        f"limit {1000 * LIMIT_S:.0f} ms",
    )


def _ask(address: str) -> list[float]:
    taken: list[float] = []
    lock = threading.Lock()
    chance = random.Random(1)
    httpx.get(address, timeout=30).raise_for_status()  # the first answer loads what the later ones share
    begin = time.perf_counter()
    offsets = [chance.uniform(0, EVERY_S) for _ in range(CLIENTS)]

    def client(offset: float) -> None:
        with httpx.Client(timeout=30) as web:
            at = begin + offset
            while at < begin + LASTS_S:
                time.sleep(max(0.0, at - time.perf_counter()))
                start = time.perf_counter()
                web.get(address).raise_for_status()
                with lock:
                    taken.append(time.perf_counter() - start)
                at += EVERY_S

    threads = [threading.Thread(target=client, args=(offset,)) for offset in offsets]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return taken

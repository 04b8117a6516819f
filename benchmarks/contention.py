"""Are four processes that write at once all served? Ten thousand readings, each one write, synced to the disk."""

import tempfile
import time
from pathlib import Path

from tests.records.contend import WRITERS, contend

from benchmarks.result import Result
from weirhouse.records.store import Store

WRITES, MOST = 10_000, 0.0


def measure() -> Result:
    """Return how many of ten thousand writes the lock turned away; none may be."""
    with tempfile.TemporaryDirectory() as base:
        folder = Path(base)
        Store.open(folder, create=True).close()
        start = time.perf_counter()
        stored, failed = contend(folder, WRITES // WRITERS)
        taken = time.perf_counter() - start
        with Store.open(folder, read_only=True) as store:
            assert len(store.readings()) == stored
            assert store.verify() == []
    return Result(
        f"writes of {WRITERS} processes at once that the lock turned away", float(failed), MOST,
        f"{failed} of {stored + failed:,}, in {taken:.1f} s",
    )  # fmt: skip

"""A process killed in the middle of an import or a round: nothing acknowledged is lost, nothing counts by half."""

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from tests.records.sample import NOW, every_minute, put, reading

from weirhouse.records.store import Store

ROWS = 60_000
# Imports file after file and enters a reading after each; says on its output what it was told is stored.
WRITER = f"""
import sys
from datetime import timedelta
from pathlib import Path
sys.path.insert(0, {str(Path.cwd())!r})
from tests.records.sample import NOW, every_minute, put, reading
from weirhouse.records.store import Store
with Store.open(Path(sys.argv[1])) as store:
    for n in range(int(sys.argv[2]), 10_000):
        put(store, every_minute({ROWS}, f"c{{n}}"), name=f"{{n}}.csv")
        print("import", n, flush=True)
        store.add_readings([reading(float(n), n, id=f"r{{n}}")], entered_at=NOW)
        print("reading", n, flush=True)
"""


def killed_after(folder, begin, seconds):
    """Let the writer run from number `begin`, kill it, and return what it was told is stored."""
    process = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder), str(begin)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    said = [process.stdout.readline()]  # it has begun
    time.sleep(seconds)
    process.send_signal(signal.SIGKILL)
    rest, fault = process.communicate()
    assert process.returncode == -signal.SIGKILL, fault
    lines = [line.split() for line in (said[0] + rest).splitlines()]
    return {(what, int(n)) for what, n in lines}


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs SIGKILL")
def test_nothing_acknowledged_is_lost_and_nothing_counts_by_half_when_the_writer_is_killed(tmp_path):
    pick = random.Random(20261125)  # replays
    Store.open(tmp_path, create=True).close()
    told, begin = set(), 0
    for _ in range(6):
        told |= killed_after(tmp_path, begin, pick.uniform(0.0, 0.25))
        with Store.open(tmp_path, read_only=True) as store:
            counted = {("import", int(one.name[:-4])) for one in store.imports()}
            counted |= {("reading", int(one.id[1:])) for one in store.readings()}
            assert told <= counted  # what was done but not said any more may be there too
            whole = every_minute(ROWS, "c")
            for what, n in counted:
                if what == "import":
                    found = store.values(f"c{n}")
                    np.testing.assert_array_equal(found.times, whole.times)
                    np.testing.assert_array_equal(found.values, whole.values)
            assert store.channels() - {"raw_turbidity"} == {f"c{n}" for what, n in counted if what == "import"}
            assert store.verify() == []
        begin = max(n for _, n in counted) + 1
    with Store.open(tmp_path) as store:  # and it goes on
        put(store, every_minute(10, "last"), name="99999.csv")
        store.add_readings([reading(1.0, id="r99999")], entered_at=NOW)
        assert store.verify() == []


READER = f"""
import sys, time
from pathlib import Path
sys.path.insert(0, {str(Path.cwd())!r})
from tests.records.sample import SECONDS
from weirhouse.records.store import Store
seen, end = [], time.monotonic() + 30
print("ready", flush=True)
while time.monotonic() < end and (not seen or seen[-1] < 6):
    with Store.open(Path(sys.argv[1]), read_only=True) as store:
        imports = len(store.imports())
        values, hours = store.values("raw_turbidity"), store.rollup("raw_turbidity")
        assert len(values) == imports * {ROWS // 10}, (len(values), imports)
        assert hours.n.sum() == len(values)
        seen.append(imports)
assert seen == sorted(seen)
print(len(seen), seen[-1])
"""


def test_another_process_reads_whole_imports_while_they_are_written(tmp_path):
    with Store.open(tmp_path, create=True) as store:
        reader = subprocess.Popen(
            [sys.executable, "-c", READER, str(tmp_path)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        assert reader.stdout.readline() == "ready\n"
        for n in range(6):
            put(store, every_minute(ROWS // 10, start=n * ROWS), name=f"{n}.csv")
            time.sleep(0.02)
        said, fault = reader.communicate(timeout=60)
    assert reader.returncode == 0, fault
    times, imports = map(int, said.split())
    assert times >= 2 and imports == 6

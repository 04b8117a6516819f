"""A process killed in the middle of an import or a round: nothing acknowledged is lost, nothing counts by half."""

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from tests.records.sample import NOW, every_minute, inside, put, reading

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
def test_nothing_acknowledged_is_lost_and_nothing_counts_by_half_when_the_writer_is_killed(home):
    pick = random.Random(20261125)  # replays
    Store.open(home, create=True).close()
    told, begin = set(), 0
    for _ in range(4):
        told |= killed_after(home, begin, pick.uniform(0.0, 0.25))
        with Store.open(home, read_only=True) as store:
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
    with Store.open(home) as store:  # and it goes on
        put(store, every_minute(10, "last"), name="99999.csv")
        store.add_readings([reading(1.0, id="r99999")], entered_at=NOW)
        assert store.verify() == []


# Imports one file and is killed at a step of it.
STEPS = f"""
import os, signal, sys
from pathlib import Path
sys.path.insert(0, {str(Path.cwd())!r})
from tests.records.sample import every_minute, put, reading
from weirhouse.records import chunks, ledger
from weirhouse.records.store import Store
step = sys.argv[2]
store_rows, append = chunks.store, ledger.append
def die(*_):
    os.kill(os.getpid(), signal.SIGKILL)
def and_die(do):
    def both(*given):
        do(*given)
        die()
    return both
if step == "rows written":
    chunks.store = and_die(store_rows)
if step == "rows kept, no entry":
    ledger.append = die
if step == "entry written":
    ledger.append = and_die(append)
with Store.open(Path(sys.argv[1])) as store:
    put(store, every_minute({ROWS}, "later"), readings=(reading(3.0, channel="toc"),), name="later.csv")
    die()
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs SIGKILL")
@pytest.mark.parametrize("step", ["rows written", "rows kept, no entry", "entry written", "done"])
def test_an_import_killed_at_any_step_counts_whole_or_not_at_all(tmp_path, step):
    with Store.open(tmp_path, create=True) as store:
        put(store, every_minute(100), name="before.csv")
    done = subprocess.run(
        [sys.executable, "-c", STEPS, str(tmp_path), step], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == -signal.SIGKILL, done.stderr
    whole = step == "done"
    for ways in ({"read_only": True}, {}):
        with Store.open(tmp_path, **ways) as store:
            assert [one.name for one in store.imports()] == ["before.csv"] + ["later.csv"] * whole
            assert len(store.values("later")) == ROWS * whole
            assert len(store.readings("toc")) == whole
            assert len(store.values("raw_turbidity")) == 100
            assert store.verify() == []
    with inside(tmp_path, "series.sqlite") as raw:
        left = raw.execute("SELECT count(DISTINCT import_id) FROM chunk").fetchone()[0]
    assert left == (1 if step == "rows written" else 2)  # kept rows without an entry wait for the next writer
    with Store.open(tmp_path) as store:
        again = store.add_import(
            "later.csv", "digest of later.csv", [every_minute(ROWS, "later")], [reading(3.0, channel="toc")],
            person="R. Hale", entered_at=NOW, detail={},
        )  # fmt: skip
        assert (again.stored, again.already_there) == ((0, ROWS + 1) if whole else (ROWS + 1, 0))
        assert len(store.values("later")) == ROWS
        assert store.verify() == []
    with inside(tmp_path, "series.sqlite") as raw:
        assert raw.execute("SELECT count(DISTINCT import_id) FROM chunk").fetchone()[0] == 2


# Writes until the system lets the files grow no further.
LIMITED = f"""
import resource, signal, sys
from pathlib import Path
sys.path.insert(0, {str(Path.cwd())!r})
from tests.records.sample import NOW, every_minute, put, reading
from weirhouse.records.model import RecordsError
from weirhouse.records.store import Store
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
with Store.open(Path(sys.argv[1])) as store:
    size = max(path.stat().st_size for path in Path(sys.argv[1]).iterdir())
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + 100_000, size + 100_000))
    for n in range(100):
        try:
            store.add_readings([reading(1.0, i, id=f"{{n}}-{{i}}", note="x" * 100) for i in range(50)], entered_at=NOW)
        except RecordsError as fault:
            print("readings", n, fault, sep="|")
            break
    try:
        put(store, every_minute({ROWS}, "later"), name="later.csv")
    except RecordsError as fault:
        print("import", 0, fault, sep="|")
"""


@pytest.mark.skipif(not hasattr(signal, "SIGXFSZ"), reason="needs a limit on the size of files")
def test_a_disk_that_takes_no_more_keeps_what_it_took(tmp_path):
    Store.open(tmp_path, create=True).close()
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(tmp_path)], capture_output=True, text=True, timeout=60, check=True
    )
    told = [line.split("|") for line in done.stdout.splitlines()]
    assert [what for what, *_ in told] == ["readings", "import"], done.stdout
    for _, _, fault in told:
        assert fault.startswith(("The disk failed on", "The disk that holds"))
        assert "Nothing of this was stored" in fault
    stored = int(told[0][1])
    assert stored > 0
    with Store.open(tmp_path) as store:
        assert len(store.readings()) == stored * 50
        assert store.imports() == []
        assert store.verify() == []
        put(store, every_minute(ROWS, "later"), name="later.csv")
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

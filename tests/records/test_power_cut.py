"""After a power cut, what was acknowledged is there, and what was being written is there whole or not at all.

A commit is acknowledged when the log is synced. What lies behind the last sync may be lost, torn or full of anything:
so the log of a copy is cut at any byte behind an acknowledgement, with or without rubbish behind the cut.
"""

import random
import shutil

import pytest
from tests.records.sample import NOW, event, every_minute, put, reading

from weirhouse.records.store import Store

FILES = ("records.sqlite", "series.sqlite")


def sizes(folder):
    return [log.stat().st_size if (log := folder / f"{file}-wal").exists() else 0 for file in FILES]


@pytest.fixture(scope="module")
def history(tmp_path_factory):
    """A folder whose logs still hold all that was written, and after each acknowledgement how long they were."""
    folder = tmp_path_factory.mktemp("running") / "plant"
    acknowledged = []
    with Store.open(folder, create=True) as store:
        for database in (store._ledger, store._series()):
            database.run("PRAGMA wal_autocheckpoint = 0")  # so that the logs keep everything
        for n in range(12):
            if n % 4 == 3:
                put(store, every_minute(3000, f"c{n}"), name=f"{n}.csv", readings=(reading(1.0, n, id=f"lab{n}"),))
            elif n % 4 == 2:
                store.add_events([event("note", n, id=f"e{n}")], entered_at=NOW)
            else:
                store.add_readings([reading(float(n), n + i / 10, id=f"r{n}-{i}") for i in range(5)], entered_at=NOW)
            acknowledged.append((sizes(folder), said(store)))
        copy = folder.with_name("copy")
        shutil.copytree(folder, copy, ignore=shutil.ignore_patterns("*-shm"))
    return copy, acknowledged


def said(store):
    return (
        sorted(one.id for one in store.readings()),
        sorted(one.id for one in store.events()),
        sorted(one.name for one in store.imports()),
        {channel: len(store.values(channel)) for channel in store.channels()},
    )


@pytest.mark.parametrize("rubbish", ["lost", "zeros", "noise"])
def test_what_was_acknowledged_is_there_and_the_rest_whole_or_not_at_all(history, tmp_path, rubbish):
    whole, acknowledged = history
    pick = random.Random(20261125)  # replays
    for turn in range(30):
        last = pick.randrange(len(acknowledged))
        synced, _ = acknowledged[last]
        ends = acknowledged[min(last + 1, len(acknowledged) - 1)][0]  # the cut falls into what was written next
        folder = tmp_path / str(turn)
        shutil.copytree(whole, folder)
        cuts = [pick.randint(kept, end) for kept, end in zip(synced, ends, strict=True)]
        if cuts[0] > synced[0]:  # the rows of an import are synced before the first byte of its entry is written
            cuts[1] = ends[1]
        for file, cut, end in zip(FILES, cuts, ends, strict=True):
            log = folder / f"{file}-wal"
            tail = {"lost": b"", "zeros": bytes(end - cut), "noise": pick.randbytes(end - cut)}[rubbish]
            log.write_bytes(log.read_bytes()[:cut] + tail)
        with Store.open(folder) as store:
            found = said(store)
            assert store.verify() == []
        states = [state for _, state in acknowledged[last : last + 2]]
        assert found in states


def test_the_cut_log_is_what_decides(history, tmp_path):
    """Cut before an acknowledgement, the entry is gone: the test above could fail."""
    whole, acknowledged = history
    shutil.copytree(whole, tmp_path / "plant")
    log = tmp_path / "plant" / "records.sqlite-wal"
    log.write_bytes(log.read_bytes()[: acknowledged[-2][0][0] - 1])
    with Store.open(tmp_path / "plant") as store:
        assert said(store)[:3] == acknowledged[-3][1][:3]
        assert store.verify() == []

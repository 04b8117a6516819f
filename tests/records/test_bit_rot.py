"""A single bit that turns over: whatever it changes in what an entry says or a series holds is found by `verify`."""

import os
import random
import shutil

import pytest
from pysqlite3 import dbapi2 as driver
from tests.records.sample import NOW, event, every_minute, put, reading

from weirhouse.records.model import RecordsError
from weirhouse.records.store import Store

FLIPS = int(os.environ.get("FLIPS", "250"))  # in each file


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """Records at rest, and all that they say."""
    folder = tmp_path_factory.mktemp("rot") / "plant"
    with Store.open(folder, create=True) as store:
        store.add_readings([reading(float(n), n, note=f"note {n}") for n in range(150)], entered_at=NOW)
        store.add_events([event("backwash", n) for n in range(20)], entered_at=NOW)
        put(store, every_minute(600, "toc"), name="a.csv")
        put(store, every_minute(300), name="b.csv")
        store.withdraw_import(store.imports()[1].id, person="R. Hale", reason="wrong file", entered_at=NOW)
    return folder, said(folder)


def said(folder):
    """Return all that the records say, as anybody who reads them would see it."""
    with Store.open(folder, read_only=True) as store:
        return (
            store.readings(), store.events(), store.imports(), sorted(store.channels()),
            {
                channel: (one.times.tolist(), one.values.tolist(), one.flags.tolist())
                for channel in sorted(store.channels())
                for one in [store.values(channel)]
            },
            {channel: store.rollup(channel).total.tolist() for channel in sorted(store.channels())},
            [len(store.history(one.id)) for one in store.readings()[::10]],
        )  # fmt: skip


def found_wrong(folder):
    """Return whether opening and verifying finds a fault."""
    try:
        with Store.open(folder, read_only=True) as store:
            return bool(store.verify())
    except RecordsError:
        return True


@pytest.mark.parametrize("file", ["records.sqlite", "series.sqlite"])
def test_every_bit_that_changes_what_the_records_say_is_found(kept, tmp_path, file):
    folder, whole = kept
    pick = random.Random(20261127)
    data = (folder / file).read_bytes()
    for name in ("records.sqlite", "series.sqlite"):
        shutil.copyfile(folder / name, tmp_path / name)
    noticed = changed = 0
    for _ in range(FLIPS):
        at, bit = pick.randrange(len(data)), pick.randrange(8)
        spoilt = bytearray(data)
        spoilt[at] ^= 1 << bit
        (tmp_path / file).write_bytes(spoilt)
        wrong = found_wrong(tmp_path)
        noticed += wrong
        try:
            same = said(tmp_path) == whole
        except (RecordsError, driver.Error):
            same = False
        changed += not same
        assert wrong or same, f"bit {bit} of byte {at} changes what {file} says, and nothing is found wrong"
    assert noticed >= changed > FLIPS / 10


def test_the_pages_alone_would_not_have_shown_it(kept, tmp_path):
    """The control: a digit changed in an entry, in the file itself; the database's own check finds nothing."""
    folder, _ = kept
    for name in ("records.sqlite", "series.sqlite"):
        shutil.copyfile(folder / name, tmp_path / name)
    data = (tmp_path / "records.sqlite").read_bytes()
    at = data.index(b'"note 77"') + 6
    (tmp_path / "records.sqlite").write_bytes(data[:at] + b"6" + data[at + 1 :])
    connection = driver.connect(str(tmp_path / "records.sqlite"))
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    connection.close()
    with Store.open(tmp_path, read_only=True) as store:
        (first, *_) = store.verify()
        assert "entry 78 " in first and "was altered" in first

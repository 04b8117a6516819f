"""Cut off at its end or sealed anew, a chain agrees with itself; a backup made before does not agree with it."""

import hashlib
import shutil
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from tests.records.sample import NOW, inside, reading, without_triggers

from weirhouse.plant import load
from weirhouse.records import access_log, backup, restore, witness
from weirhouse.records.backup_place import OWN, Place
from weirhouse.records.store import Store


@pytest.fixture(scope="module")
def backed_up(tmp_path_factory):
    """A plant with two backups in its own folder, of 10 and of 15 entries; two more entries came since."""
    folder = tmp_path_factory.mktemp("witness") / "plant"
    subprocess.run([sys.executable, "-m", "weirhouse", "new", str(folder)], check=True, capture_output=True)
    for first, after in ((0, 10), (10, 15), (15, 17)):
        with Store.open(folder) as store:
            store.add_readings([reading(float(n), n, id=f"r{n}") for n in range(first, after)], entered_at=NOW)
        if after < 17:
            at = NOW + timedelta(minutes=after)
            backup.make(folder, Place(folder / OWN, own=True), load(folder), whole=False, at=at)
    return folder


@pytest.fixture
def plant(backed_up, tmp_path):
    return shutil.copytree(backed_up, tmp_path / "plant", ignore=shutil.ignore_patterns("*-wal", "*-shm"))


def cut(folder: Path, last: int) -> None:
    """Take the entries after `last` away, and let the file say that it ends there."""
    with inside(folder, "records.sqlite") as raw:
        triggers = raw.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        without_triggers(raw)
        raw.execute("DELETE FROM entry WHERE sequence > ?", (last,))
        raw.execute("UPDATE head SET sequence = ?, hash = (SELECT hash FROM entry WHERE sequence = ?)", (last, last))
        for _, sql in triggers:
            raw.execute(sql)


def looked_at(folder: Path) -> list[str]:
    with Store.open(folder, read_only=True) as store:
        assert store.verify() == [], "the file agrees with itself"
        return witness.contradictions(store)


def test_records_that_went_on_agree_with_their_backups(plant):
    assert looked_at(plant) == []


@pytest.mark.parametrize(("last", "says"), [(14, "holds 15 entries"), (9, "holds 10 entries"), (16, None), (15, None)])
def test_entries_that_a_backup_holds_cannot_be_cut_off_unnoticed(plant, last, says):
    cut(plant, last)
    found = looked_at(plant)
    assert len(found) == (says is not None)
    if says:
        assert f"The records end with entry {last}," in found[0] and says in found[0]
        done = subprocess.run(
            [sys.executable, "-m", "weirhouse", "check", "--plant", str(plant)],
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 1 and f"end with entry {last}" in " ".join(done.stdout.split())


def test_a_chain_that_was_sealed_anew_is_told(plant):
    with inside(plant, "records.sqlite") as raw:
        triggers = raw.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        without_triggers(raw)
        (before,) = raw.execute("SELECT hash FROM entry WHERE sequence = 11").fetchone()
        for sequence in range(12, 18):
            (body,) = raw.execute("SELECT body FROM entry WHERE sequence = ?", (sequence,)).fetchone()
            body = body.replace('"value":11.0', '"value":1.0')
            before = hashlib.sha256(before + body.encode()).digest()
            raw.execute("UPDATE entry SET body = ?, hash = ? WHERE sequence = ?", (body, before, sequence))
        raw.execute("UPDATE entry SET value = 1.0 WHERE sequence = 12")
        raw.execute("UPDATE head SET hash = ?", (before,))
        for _, sql in triggers:
            raw.execute(sql)
    (found,) = looked_at(plant)
    assert "say otherwise up to entry 15" in found


def test_what_was_restored_from_an_older_backup_does_not_contradict_the_newer_one(plant, tmp_path):
    old, new = sorted((plant / OWN).glob("*/*"))
    to = tmp_path / "again"
    restore.restore(old, to)
    shutil.copytree(plant / OWN, to / OWN)
    assert len(looked_at(to)) == 1, "nobody said that it was restored"
    with Store.open(to) as store:
        access_log.note(store, access_log.RESTORE, person="M. Ode", now=NOW + timedelta(days=1), detail=old.name)
        assert store.verify() == []
        store.add_readings([reading(float(n), n, id=f"s{n}") for n in range(20, 24)], entered_at=NOW)
    assert looked_at(to) == [] and new.is_dir()
    later = NOW + timedelta(days=2)
    backup.make(to, Place(to / OWN, own=True), load(to), whole=False, at=later)
    assert looked_at(to) == []
    cut(to, 13)
    assert "holds 15 entries" in looked_at(to)[0], "what was backed up after the restore is held against it"
    cut(to, 9)
    assert "holds 10 entries" in looked_at(to)[0]

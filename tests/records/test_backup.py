"""A backup is one that was restored: made whole or not at all, tried before it has its name, put back over nothing."""

import errno
import json
import os
import shutil
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from pysqlite3 import dbapi2 as driver
from tests.records.sample import NOW, event, every_minute, inside, put, reading, without_triggers

from weirhouse.plant import load
from weirhouse.records import backup, backup_place, backup_run, restore
from weirhouse.records.backup_name import backups, read_manifest
from weirhouse.records.backup_place import Place
from weirhouse.records.backup_state import read_state
from weirhouse.records.model import RecordsError
from weirhouse.records.store import Store


@pytest.fixture(scope="module")
def first_plant(tmp_path_factory):
    folder = tmp_path_factory.mktemp("first") / "plant"
    subprocess.run([sys.executable, "-m", "weirhouse", "new", str(folder)], check=True, capture_output=True)
    with Store.open(folder) as store:
        store.add_readings([reading(float(n), n) for n in range(20)], entered_at=NOW)
        store.add_events([event("note", 3)], entered_at=NOW)
        put(store, every_minute(500), name="a.csv")
    return folder


@pytest.fixture
def plant(first_plant, tmp_path):
    """A plant folder with some records."""
    return shutil.copytree(first_plant, tmp_path / "plant", ignore=shutil.ignore_patterns("*-wal", "*-shm"))


def place_of(tmp_path, name="place"):
    path = tmp_path / name
    path.mkdir(exist_ok=True)
    return Place(path)


def made(folder, place, whole=True, minutes=0):
    return backup.make(folder, place, load(folder), whole=whole, at=NOW + timedelta(minutes=minutes))


def content(folder):
    """Return all that a folder of records says."""
    with Store.open(folder, read_only=True) as store:
        assert store.verify() == []
        values = {channel: store.values(channel) for channel in sorted(store.channels())}
        return (
            store.readings(), store.events(), store.imports(),
            {name: (one.times.tolist(), one.values.tolist()) for name, one in values.items()},
        )  # fmt: skip


def test_what_is_restored_is_what_was_backed_up(plant, tmp_path):
    (plant / "rules").mkdir()
    (plant / "rules" / "own.toml").write_text("# ours\n")
    path, manifest = made(plant, place_of(tmp_path))
    assert path.name == f"20260531T120000Z-all-{manifest.sequence:09d}-{manifest.head[:12]}"
    assert (manifest.sequence, dict(manifest.counts), manifest.rows) == (
        22,
        {"reading": 20, "event": 1, "import": 1},
        500,
    )
    done = restore.restore(path, tmp_path / "new")
    assert content(tmp_path / "new") == content(plant)
    assert done.manifest == manifest
    for name in ("plant.toml", "rules/own.toml"):
        assert (tmp_path / "new" / name).read_bytes() == (plant / name).read_bytes()
    with Store.open(tmp_path / "new") as store:  # and it goes on
        store.add_readings([reading(7.0)], entered_at=NOW)
        put(store, every_minute(10, "toc"), name="b.csv")
        assert store.verify() == []


def test_readings_alone_take_the_series_of_the_whole_one_before_them(plant, tmp_path):
    place = place_of(tmp_path)
    whole, _ = made(plant, place)
    with Store.open(plant) as store:
        store.add_readings([reading(9.0, 99)], entered_at=NOW)
    path, manifest = made(plant, place, whole=False, minutes=15)
    assert manifest.kind == "records" and manifest.series_from == whole.name
    assert "series.sqlite" not in manifest.files
    restore.restore(place.path, tmp_path / "new")  # the newest in the place
    assert content(tmp_path / "new") == content(plant)
    with pytest.raises(RecordsError, match="needs the series of"):
        shutil.rmtree(whole)
        restore.restore(path, tmp_path / "other")
    assert not (tmp_path / "other").exists()


def test_after_an_import_the_next_backup_holds_the_series_too(plant, tmp_path):
    place = place_of(tmp_path)
    made(plant, place)
    with Store.open(plant) as store:
        put(store, every_minute(50, "toc"), name="b.csv")
    path, manifest = made(plant, place, whole=False, minutes=15)
    assert manifest.kind == "all"
    restore.restore(path, tmp_path / "new")
    assert content(tmp_path / "new") == content(plant)


def test_nothing_is_written_over(plant, tmp_path):
    path, _ = made(plant, place_of(tmp_path))
    for taken in ("full", "file"):
        target = tmp_path / taken
        if taken == "full":
            target.mkdir()
            (target / "letter.txt").write_text("mine")
        else:
            target.write_text("mine")
        with pytest.raises(RecordsError, match="is there already, and nothing is written over"):
            restore.restore(path, target)
    assert (tmp_path / "full" / "letter.txt").read_text() == "mine"
    (tmp_path / "empty").mkdir()
    restore.restore(path, tmp_path / "empty")
    assert content(tmp_path / "empty") == content(plant)


@pytest.mark.parametrize("file", ["records.sqlite", "series.sqlite", "plant.toml"])
def test_a_backup_that_was_altered_is_not_restored(plant, tmp_path, file):
    path, _ = made(plant, place_of(tmp_path))
    data = bytearray((path / file).read_bytes())
    data[len(data) // 2] ^= 4
    (path / file).write_bytes(data)
    with pytest.raises(RecordsError, match="was altered since it was backed up, or is damaged"):
        restore.restore(path, tmp_path / "new")
    assert not (tmp_path / "new").exists()
    assert sorted(one.name for one in tmp_path.iterdir()) == ["place", "plant"]


def test_altered_records_in_a_backup_with_a_new_digest_are_not_restored(plant, tmp_path):
    """Whoever alters a reading in the copy and mends the digest of the file still meets the chain."""
    path, _ = made(plant, place_of(tmp_path))
    with inside(path, "records.sqlite") as raw:
        without_triggers(raw)
        raw.execute("UPDATE entry SET body = replace(body, '\"value\":5.0', '\"value\":4.0') WHERE sequence = 6")
    manifest = json.loads((path / "manifest.json").read_text())
    manifest["files"]["records.sqlite"] = {
        "bytes": (path / "records.sqlite").stat().st_size, "sha256": backup.digest(path / "records.sqlite")
    }  # fmt: skip
    (path / "manifest.json").write_text(json.dumps(manifest))
    with pytest.raises(RecordsError, match=r"entry 6 .* was altered"):
        restore.restore(path, tmp_path / "new")


@pytest.mark.parametrize("name", ["../../x", "/etc/passwd", "rules/../../x", "rules\\..\\x", "records.sqlite/../y", ""])
def test_a_manifest_leads_nowhere_out_of_its_folder(plant, tmp_path, name):
    path, _ = made(plant, place_of(tmp_path))
    manifest = json.loads((path / "manifest.json").read_text())
    manifest["files"][name] = {"bytes": 1, "sha256": "0"}
    (path / "manifest.json").write_text(json.dumps(manifest))
    with pytest.raises(RecordsError, match="that no backup holds"):
        restore.restore(path, tmp_path / "new")
    assert sorted(one.name for one in tmp_path.iterdir()) == ["place", "plant"]


def test_a_link_in_a_backup_is_not_followed(plant, tmp_path):
    path, _ = made(plant, place_of(tmp_path))
    (tmp_path / "secret").write_bytes((path / "plant.toml").read_bytes())
    (path / "plant.toml").unlink()
    (path / "plant.toml").symlink_to(tmp_path / "secret")
    with pytest.raises(RecordsError, match=r"holds no plant\.toml"):
        restore.restore(path, tmp_path / "new")


def test_records_that_were_altered_are_not_backed_up_and_the_last_good_one_stays(plant, tmp_path):
    place = place_of(tmp_path)
    good, _ = made(plant, place)
    with inside(plant, "records.sqlite") as raw:
        without_triggers(raw)
        raw.execute("UPDATE entry SET body = replace(body, '\"value\":5.0', '\"value\":4.0') WHERE sequence = 6")
    with pytest.raises(RecordsError, match=r"entry 6 .* was altered"):
        made(plant, place, minutes=15)
    assert [path for path, _ in backups(place.path)] == [good]
    assert [one.name for one in good.parent.iterdir()] == [good.name]


def test_one_place_that_fails_keeps_none_of_the_others_from_it(plant, tmp_path):
    good = place_of(tmp_path).path
    text = (plant / "plant.toml").read_text()
    text += f'\n[[backup]]\nplace = "{good}"\n[[backup]]\nplace = "{tmp_path}/stick"\nremovable = true\n'
    (plant / "plant.toml").write_text(text)
    first, second = backup_run.run(plant, load(plant), whole=True, at=NOW)
    assert first.path is not None and not first.fault
    assert second.path is None and "stick is not there. Plug it in" in second.fault
    state = read_state(plant)
    assert state.all_at == state.records_at == NOW
    later = NOW + timedelta(hours=3)
    backup_run.run(plant, load(plant), whole=False, at=later)
    told = read_state(plant).places[f"{tmp_path}/stick"]
    assert told.fault_since == NOW and told.good_at is None  # missing since the first time, not the last
    words = [line.words for line in backup_run.standing(plant, load(plant), later + timedelta(minutes=12))]
    assert words[0].startswith("Last backup 12 min ago") and words[0].endswith("restored for a trial and verified.")
    assert "Since Sun 2026-05-31 08:00." in words[1]


def test_a_stick_that_is_not_plugged_in_is_not_written_to_the_plants_own_disk(plant, tmp_path, monkeypatch):
    """Its folder is there, empty, on the plant's own disk: the mount is missing."""
    stick = Place(place_of(tmp_path).path, removable=True)
    with pytest.raises(RecordsError, match="on the plant's own disk: what belongs there is not plugged in"):
        made(plant, stick)
    assert list(stick.path.iterdir()) == []
    monkeypatch.setattr(backup_place, "same_disk", lambda *_: False)
    made(plant, stick)


def test_a_disk_that_fills_up_meanwhile_leaves_no_half_of_a_backup(plant, tmp_path, monkeypatch):
    place = place_of(tmp_path)
    monkeypatch.setattr(backup, "_write", lambda *_: (_ for _ in ()).throw(OSError(errno.ENOSPC, "No space left")))
    with pytest.raises(RecordsError, match="No space left"):
        made(plant, place)
    assert list(backups(place.path)) == []
    assert [one for home in place.path.iterdir() for one in home.iterdir()] == []


def test_a_place_that_is_full_is_named_and_not_the_plants_own_disk(plant, tmp_path, monkeypatch):
    place = place_of(tmp_path)

    class Full:
        def execute(self, sql, values):
            assert sql == "VACUUM INTO ?"
            Path(values[0]).write_bytes(bytes(4096))  # as far as it came
            fault = driver.OperationalError("database or disk is full")
            fault.sqlite_errorcode = driver.SQLITE_FULL
            raise fault

        def close(self):
            pass

    class Driver:
        Error, SQLITE_FULL = driver.Error, driver.SQLITE_FULL

        @staticmethod
        def connect(*_, **__):
            return Full()

    monkeypatch.setattr(backup, "driver", Driver)
    with pytest.raises(RecordsError) as told:
        made(plant, place)
    assert str(told.value) == (
        f"No backup could be made in {place.path} (No space left on device). Mend that, then try again."
    )
    assert [one for home in place.path.iterdir() for one in home.iterdir()] == []


KILLED = """
import os, signal, sys
from pathlib import Path
from tests.records.test_backup import made
from weirhouse.records import backup, restore
from weirhouse.records.backup_place import Place
step = sys.argv[3]
def die(*_, **__):
    os.kill(os.getpid(), signal.SIGKILL)
def then_die(do):
    def both(*given, **more):
        do(*given, **more)
        die()
    return both
if step == "ledger copied":
    backup._copy_database = then_die(backup._copy_database)
if step == "manifest written":
    backup._write = then_die(backup._write)
if step == "trial":
    restore.put_back = then_die(restore.put_back)
if step == "tried":
    backup._compare = then_die(backup._compare)
if step == "named":
    backup.prune = die
made(Path(sys.argv[1]), Place(Path(sys.argv[2])))
die()
"""


@pytest.mark.skipif(os.name == "nt", reason="needs SIGKILL")
@pytest.mark.parametrize("step", ["ledger copied", "manifest written", "trial", "tried", "named"])
def test_a_backup_killed_at_any_step_is_there_whole_or_not_at_all(plant, tmp_path, step):
    place = place_of(tmp_path)
    code = f"import sys; sys.path.insert(0, {str(Path.cwd())!r})\n{KILLED}"
    done = subprocess.run(
        [sys.executable, "-c", code, str(plant), str(place.path), step], capture_output=True, text=True, check=False
    )
    assert done.returncode == -9, done.stderr
    found = list(backups(place.path))
    assert len(found) == (step == "named")
    for n, (path, _) in enumerate(found):
        restore.restore(path, tmp_path / f"new{n}")
    made(plant, place, minutes=1)  # and the next one sweeps up what was left
    (home,) = place.path.iterdir()
    assert all(not one.name.startswith(".") for one in home.iterdir())
    assert content(plant)


def test_a_restore_broken_off_leaves_nothing_where_it_was_to_go(plant, tmp_path, monkeypatch):
    path, _ = made(plant, place_of(tmp_path))
    monkeypatch.setattr(
        restore, "sync_folder", lambda *_: (_ for _ in ()).throw(OSError(errno.EIO, "Input/output error"))
    )
    with pytest.raises(RecordsError, match="Nothing was put there"):
        restore.restore(path, tmp_path / "new")
    assert sorted(one.name for one in tmp_path.iterdir()) == ["place", "plant"]


def test_a_backup_is_made_while_somebody_writes(plant, tmp_path):
    with Store.open(plant) as store:
        with store._ledger.writing():
            path, manifest = made(plant, place_of(tmp_path))
            assert manifest.sequence == 22
        store.add_readings([reading(1.0, 500)], entered_at=NOW)
    assert read_manifest(path).sequence == 22


def test_no_secret_of_a_session_is_in_a_backup(plant, tmp_path):
    from weirhouse.records.access import Access

    access = Access(plant)
    access.set_password("p1", "a hash", NOW)
    token = access.open_session("p1", NOW)
    import hashlib

    mark = hashlib.sha256(token.encode()).digest()
    path, _ = made(plant, place_of(tmp_path))
    data = (path / "access.sqlite").read_bytes()
    assert mark not in data and token.encode() not in data
    assert b"a hash" in data
    connection = driver.connect(str(path / "access.sqlite"))
    assert connection.execute("SELECT count(*) FROM session").fetchone() == (0,)
    connection.close()
    assert access.session(token, NOW) is not None  # nobody was signed out by it

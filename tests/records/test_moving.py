"""The records of a plant go from its folder to a server and back; the chain is the same chain all the way."""

import hashlib
import signal
import subprocess
import sys
import threading
import uuid
from dataclasses import replace
from pathlib import Path

import pytest
from tests.records.conftest import on_server
from tests.records.sample import (
    DATABASE_ERRORS,
    NOW,
    event,
    every_minute,
    inside,
    put,
    reading,
    without_triggers,
)
from tests.records.test_samples import NOT_DETECTED, result, sample

from weirhouse.records import moving, postgres
from weirhouse.records.closing import closing
from weirhouse.records.model import RecordsError, series
from weirhouse.records.place import Server, server_of
from weirhouse.records.store import Store

PLANT = '# Ours\n[plant]\nname = "Upper Works"  # the name\n'


@pytest.fixture
def schema():
    return f"plant_{uuid.uuid4().hex[:12]}"


@pytest.fixture
def folder(tmp_path):
    """A plant whose records hold some of everything."""
    place = tmp_path / "upper"
    place.mkdir()
    (place / "plant.toml").write_text(PLANT)
    with Store.open(place, create=True) as store:
        fill(store)
    return place


def fill(store):
    some = [reading(float(i), i, id=f"r{i}", text=f"{i} \N{GREEK SMALL LETTER MU} \U0001f4a7") for i in range(300)]
    store.add_readings([*some, reading(None, 400, qualifier="ND", text="ND")], entered_at=NOW)
    store.correct("r4", replace(some[4], value=9.0), person="M. Ode", reason="typing", entered_at=NOW)
    store.add_events([event(), closing("2026-03", "America/New_York", person="R. Hale", at=NOW)], entered_at=NOW)
    one = sample()
    store.add_samples([one], entered_at=NOW, results=[result(one, **NOT_DETECTED)])
    put(store, every_minute(9000), name="a.csv")
    odd = series("plant_flow", [1_777_000_000, 1_777_000_007], [float("nan"), 1e-300], [1, 0])
    gone = put(store, odd, name="b.csv", readings=(reading(channel="toc"),))
    store.withdraw_import(gone, person="M. Ode", reason="other plant", entered_at=NOW)
    put(store, odd, name="b.csv", readings=(reading(channel="toc"),))


def said(folder):
    """All that the records say, and every row as it is sealed."""
    with inside(folder, "records.sqlite") as raw:
        rows = [tuple(row) for row in raw.execute("SELECT sequence, id, body, hash FROM entry ORDER BY sequence")]
        head = tuple(raw.execute("SELECT sequence, hash FROM head").fetchone())
        origin = tuple(raw.execute("SELECT pair, made_at FROM origin").fetchone())
    with Store.open(folder, read_only=True) as store:
        assert store.verify() == []
        values = {
            channel: [getattr(store.values(channel), name).tobytes() for name in ("times", "values", "flags")]
            for channel in sorted(store.channels())
        }
        told = store.readings(), store.events(), store.samples(), store.results(), store.imports(), store.history("r4")
        hours = {channel: store.rollup(channel).total.tobytes() for channel in values}
    return rows, head, origin, values, told, hours


def state(folder):
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.iterdir())
        if not path.name.endswith(("-wal", "-shm"))
    }


def schemas(url):
    with postgres.connect(Server(url, "x")) as connection:
        return {name for (name,) in connection.execute("SELECT nspname FROM pg_namespace").fetchall()}


def test_records_move_to_a_server_and_back_with_the_chain_intact(folder, district, schema, tmp_path):
    before, files = said(folder), state(folder)
    moved, used = moving.move(folder, district, schema)
    assert used
    assert (moved.entries, moved.seal) == (len(before[0]), before[1][1].hex())
    assert server_of(folder) == Server(district, schema)
    assert said(folder) == before
    assert {name: digest for name, digest in state(folder).items() if name != "plant.toml"} == {
        name: digest for name, digest in files.items() if name != "plant.toml"
    }  # the source stays as it was
    with Store.open(folder) as store:
        store.add_readings([reading(77.0, 5000)], entered_at=NOW)
    on_the_server = said(folder)
    assert len(on_the_server[0]) == len(before[0]) + 1
    with pytest.raises(RecordsError, match=r"records\.sqlite is there\. Nothing was moved"):
        moving.move(folder, str(folder))
    old = tmp_path / "old"
    old.mkdir()
    for name in ("records.sqlite", "series.sqlite"):
        (folder / name).rename(old / name)
    _, used = moving.move(folder, str(folder))
    assert used
    assert server_of(folder) is None
    assert said(folder) == on_the_server
    assert not list(folder.glob(".*"))
    with Store.open(folder) as store:
        store.add_readings([reading(78.0, 5001)], entered_at=NOW)
        assert store.verify() == []


def test_the_plant_file_keeps_all_else_and_every_remark(folder, district, schema):
    moving.move(folder, district, schema)
    text = (folder / "plant.toml").read_text()
    assert text == f'{PLANT}\n[records]\ndatabase = "{district}"\nschema = "{schema}"\n'
    for name in ("records.sqlite", "series.sqlite"):
        (folder / name).unlink()
    (folder / "plant.toml").write_text(text.replace("schema =", "  schema =") + '\n[sewer]\ndatabase = "stays"\n')
    moving.move(folder, str(folder))
    assert (folder / "plant.toml").read_text() == (
        f'{PLANT}\n[records]\n# database = "{district}"\n#   schema = "{schema}"\n\n[sewer]\ndatabase = "stays"\n'
    )


def test_a_password_can_stay_out_of_the_plant_file(folder, district, schema, monkeypatch):
    monkeypatch.setenv("DISTRICT", district)
    moving.move(folder, "$DISTRICT", schema)
    assert district not in (folder / "plant.toml").read_text()
    assert server_of(folder) == Server(district, schema)
    monkeypatch.delenv("DISTRICT")
    with pytest.raises(RecordsError, match=r"\$DISTRICT says, and that variable is not set"):
        Store.open(folder)


@pytest.mark.parametrize(
    "address", ["postgresql://hale:secret@h/d", "postgresql://hale@h/d?sslmode=require&password=secret"]
)
def test_a_password_is_not_written_into_the_plant_file_nor_left_in_a_remark(folder, address):
    with pytest.raises(RecordsError, match="holds a password, which would stand in the plant file"):
        moving.move(folder, address, "upper")
    assert (folder / "plant.toml").read_text() == PLANT
    (folder / "plant.toml").write_text(f'{PLANT}[records]\ndatabase = "{address}" # ours\nschema = "upper"\n')
    text = moving.plant_text(folder)  # as a backup has it
    assert "secret" not in text
    assert text.startswith(PLANT) and "# database = " in text and "hale" in text and "# ours" in text


def test_a_place_that_is_taken_is_left_as_it_is(folder, district, schema, tmp_path):
    other = tmp_path / "other"
    other.mkdir()
    taken = on_server(other, district)
    with Store.open(other, create=True) as store:
        store.add_readings([reading(1.0, id="r4")], entered_at=NOW)
    before = said(other)
    with pytest.raises(RecordsError, match=f"{taken} is there. Nothing was moved and nothing is replaced"):
        moving.move(folder, district, taken)
    assert said(other) == before
    assert server_of(folder) is None
    with pytest.raises(RecordsError, match="lie there already"):
        moving.move(folder, str(folder))
    with pytest.raises(RecordsError, match="is no name for a schema"):
        moving.move(folder, district, "Upper Works")


def test_records_that_were_altered_are_not_moved(folder, district, schema):
    with inside(folder, "records.sqlite") as raw:
        without_triggers(raw)
        raw.execute("UPDATE entry SET value = 0.1 WHERE sequence = 3")
    before = schemas(district)
    with pytest.raises(RecordsError, match=r"not as they were entered, and were not moved\. First: .*entry 3 "):
        moving.move(folder, district, schema)
    assert schemas(district) == before
    assert (folder / "plant.toml").read_text() == PLANT


@pytest.mark.parametrize("broken", ["verify", "rename"])
def test_a_move_that_breaks_off_leaves_nothing_behind(folder, district, schema, monkeypatch, broken):
    before, files = schemas(district), state(folder)

    def gone(*_):
        raise OSError("power gone")

    with monkeypatch.context() as patch:
        if broken == "verify":
            patch.setattr(moving, "_ends", gone)
        else:
            patch.setattr(postgres, "rename", gone)
        with pytest.raises(OSError, match="power gone"):
            moving.move(folder, district, schema)
    assert schemas(district) == before
    assert state(folder) == files
    assert moving.move(folder, district, schema)[1]


# Moves the records and is killed at a step of it.
STEPS = f"""
import os, signal, sys
from pathlib import Path
sys.path.insert(0, {str(Path.cwd())!r})
from weirhouse.records import moving, postgres
folder, url, schema, step = sys.argv[1:]
def die(*_, **__):
    os.kill(os.getpid(), signal.SIGKILL)
def and_die(do):
    def both(*given):
        do(*given)
        die()
    return both
if step == "copied":
    moving._ends = die
if step == "verified":
    postgres.rename = die
if step == "named":
    moving._write = die
if step == "written":
    moving._write = and_die(moving._write)
moving.move(Path(folder), url, schema)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs SIGKILL")
@pytest.mark.parametrize("step", ["copied", "verified", "named", "written"])
def test_a_move_killed_at_any_step_leaves_the_plant_with_all_its_records(folder, district, schema, step):
    before = said(folder)
    done = subprocess.run(
        [sys.executable, "-c", STEPS, str(folder), district, schema, step], capture_output=True, check=False
    )  # fmt: skip
    assert done.returncode == -signal.SIGKILL, done.stderr
    assert server_of(folder) == (Server(district, schema) if step == "written" else None)
    assert said(folder) == before
    with Store.open(folder) as store:
        store.add_readings([reading(5.0, 7000)], entered_at=NOW)
    if step == "named":  # the whole copy has its name, and nobody uses it
        with pytest.raises(RecordsError, match=f"{schema} is there. Nothing was moved and nothing is replaced"):
            moving.move(folder, district, schema)
    elif step != "written":
        moving.move(folder, district, schema)
        assert len(said(folder)[0]) == len(before[0]) + 1


def test_a_copy_that_is_not_the_same_is_not_used(folder, district, schema, monkeypatch):
    fill_one = moving._fill

    def worse(source, target):
        done = fill_one(source, target)
        with target.series.writing():
            target.series.run("DELETE FROM hours WHERE chunk_id = 1")
            target.series.run("DELETE FROM chunk WHERE id = 1")
        return done

    monkeypatch.setattr(moving, "_fill", worse)
    with pytest.raises(RecordsError, match="is not what was copied, and was removed again"):
        moving.move(folder, district, schema)
    assert schema not in schemas(district)
    assert server_of(folder) is None


def test_a_copy_to_another_folder_leaves_the_plant_where_it_was(folder, district, schema, tmp_path):
    moving.move(folder, district, schema)
    copy = tmp_path / "copy"
    with pytest.raises(RecordsError, match="is no folder"):
        moving.move(folder, str(copy))
    copy.mkdir()
    moved, used = moving.move(folder, str(copy))
    assert not used
    assert said(copy) == said(folder)
    assert server_of(folder) == Server(district, schema)
    assert moved == moving.copy(moving.where_of(folder), Server(district, f"{schema}_b"))


def test_what_is_entered_meanwhile_waits_and_is_not_lost(folder, district, schema, monkeypatch):
    fill_one, waiting, entered = moving._fill, threading.Event(), []

    def enter():
        with Store.open(folder) as store:  # opened before the move, as a page does
            waiting.set()
            try:
                entered.append(store.add_readings([reading(99.0, 6000, id="meanwhile")], entered_at=NOW))
            except RecordsError as fault:
                entered.append(str(fault))

    other = threading.Thread(target=enter)

    def slow(source, target):
        other.start()
        waiting.wait()
        other.join(0.3)
        assert entered == []  # it waits
        return fill_one(source, target)

    monkeypatch.setattr(moving, "_fill", slow)
    moving.move(folder, district, schema)
    other.join()
    (told,) = entered
    assert told.startswith("The records were moved to ") and told.endswith("Enter it again.")
    with Store.open(folder) as store:
        assert store.add_readings([reading(99.0, 6000, id="meanwhile")], entered_at=NOW) == 1


def test_the_server_refuses_two_ends_of_the_same_name(folder, district, schema):
    moving.move(folder, district, schema)
    with inside(folder, "records.sqlite") as raw, pytest.raises(DATABASE_ERRORS, match="only added to"):
        raw.execute("UPDATE entry SET body = '{}'")
    with pytest.raises(RecordsError, match="is no unfinished move"):
        postgres.drop(Server(district, schema))

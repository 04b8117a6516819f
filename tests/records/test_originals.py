"""A file that was imported is kept byte for byte, and what came of it says where in it it stands (A-13)."""

import gzip
import hashlib
import random

import pytest
from tests.records.importing.plants import Village
from tests.records.importing.test_run import LAB, LOG
from tests.records.sample import DATABASE_ERRORS, NOW, inside, without_triggers

from weirhouse.records import moving, originals
from weirhouse.records.importing import import_file
from weirhouse.records.model import RecordsError
from weirhouse.records.store import Store


@pytest.fixture
def store(home):
    with Store.open(home, create=True) as opened:
        yield opened


def put(store, path, content):
    path.write_bytes(content)
    return import_file(store, Village(), path, dry_run=False, person="R. Hale", entered_at=NOW)


@pytest.mark.parametrize(
    "content",
    [
        LOG.encode(),
        LOG.replace("\n", "\r\n").encode("utf-16"),
        gzip.compress(LOG.encode()),
        b"\xef\xbb\xbf" + LAB.encode(),
    ],
    ids=["plain", "UTF-16", "packed", "BOM"],
)
def test_the_file_comes_back_byte_for_byte_whatever_was_made_of_it(store, tmp_path, content):
    done = put(store, tmp_path / "log.csv", content)
    assert done.stored
    assert store.original(done.import_id) == content
    (told,) = store.imports()
    assert (told.kept, told.digest) == (len(content), hashlib.sha256(content).hexdigest())
    assert store.verify() == []


def test_a_result_names_the_file_and_the_line_it_came_from(store, tmp_path):
    put(store, tmp_path / "lab.csv", LAB.encode())
    lines = LAB.splitlines()
    for one in store.readings():
        name, _, place = one.note.removeprefix("from ").partition(", line ")
        assert name == "lab.csv"
        line = lines[int(place.split()[0]) - 1]
        assert one.text.lstrip("<") in line and place.endswith("(toc)")


def test_a_file_withdrawn_and_imported_again_is_kept_once(store, tmp_path, home):
    first = put(store, tmp_path / "log.csv", LOG.encode())
    store.withdraw_import(first.import_id, person="R. Hale", reason="wrong plant", entered_at=NOW)
    again = put(store, tmp_path / "log.csv", LOG.encode())
    assert store.original(first.import_id) == store.original(again.import_id) == LOG.encode()
    with inside(home, "series.sqlite") as raw:
        assert raw.execute("SELECT count(*) FROM original").fetchone() == (1,)


def test_a_large_file_is_kept_in_parts(store):
    raw = random.Random(1).randbytes(9_000_000)
    series = store._series()
    with series.writing():
        originals.keep(series, hashlib.sha256(raw).hexdigest(), raw)
    assert series.row("SELECT count(*) FROM original") == (3,)
    assert originals.read(series, hashlib.sha256(raw).hexdigest()) == raw


@pytest.mark.parametrize(
    "statement", ["UPDATE original SET content = content", "DELETE FROM original", "UPDATE original SET digest = 'x'"]
)
def test_the_database_refuses_to_change_or_remove_it(store, tmp_path, home, statement):
    put(store, tmp_path / "log.csv", LOG.encode())
    with inside(home, "series.sqlite") as raw, pytest.raises(DATABASE_ERRORS, match="only added to"):
        raw.execute(statement)


@pytest.mark.parametrize("what", ["cut", "other", "gone"])
def test_verify_names_the_import_whose_file_was_altered(store, tmp_path, home, what):
    done = put(store, tmp_path / "log.csv", LOG.encode())
    with inside(home, "series.sqlite") as raw:
        without_triggers(raw)
        (content,) = raw.execute("SELECT content FROM original").fetchone()
        if what == "gone":
            raw.execute("DELETE FROM original")
        else:
            other = originals.zlib.compress(LOG.replace("5", "6", 1).encode())
            raw.execute("UPDATE original SET content = ?", (content[:-9] if what == "cut" else other,))
    told = store.verify()[0]
    assert 'the file of the import "log.csv"' in told
    assert ("is missing" if what == "gone" else "is not as it was imported") in told
    with pytest.raises(RecordsError, match=r'"log\.csv" (is not as it was imported|was imported without being kept)'):
        store.original(done.import_id)


def test_an_import_without_its_file_says_so(store):
    store.add_import("old.csv", "d", [], [], person="R. Hale", entered_at=NOW, detail={})
    with pytest.raises(RecordsError, match=r'"old\.csv" was imported without being kept'):
        store.original(store.imports()[0].id)
    with pytest.raises(RecordsError, match="No import has the id"):
        store.original("nowhere")
    assert store.verify() == []


def test_it_moves_along(tmp_path, district):
    plant = tmp_path / "plant"
    plant.mkdir()
    (plant / "plant.toml").write_text("[plant]\n")
    with Store.open(plant, create=True) as store:
        done = put(store, tmp_path / "log.csv", LOG.encode())
    moving.move(plant, district, "moved_originals")
    with Store.open(plant, read_only=True) as store:
        assert store.original(done.import_id) == LOG.encode()

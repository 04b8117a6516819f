"""What is no whole, own, present-day file is refused in one sentence, and stays as it is."""

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
import threading
from contextlib import contextmanager
from pathlib import Path

import pytest
from pysqlite3 import dbapi2 as driver
from tests.records.sample import NOW, START, event, every_minute, inside, minutes, put, reading

from weirhouse.records import engine
from weirhouse.records.model import RecordsError, series
from weirhouse.records.store import Store

FILES = ("records.sqlite", "series.sqlite")


@pytest.fixture
def folder(tmp_path):
    """Records with something in both files, closed."""
    with Store.open(tmp_path, create=True) as store:
        store.add_readings([reading(float(i), i) for i in range(200)], entered_at=NOW)
        store.add_events([event()], entered_at=NOW)
        put(store, every_minute(20_000))
    return tmp_path


def look(folder):
    """Use both files, as Today does."""
    with Store.open(folder, read_only=True) as store:
        return len(store.values("raw_turbidity")), len(store.events())


def state(folder):
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.iterdir())}


def assert_refused(folder, told):
    """Every way to open it says what is wrong in one sentence or two, and changes nothing.

    Beside a ledger that is whole, and was read before the series were refused, its empty log may be left.
    """
    before = state(folder)
    for ways in ({"read_only": True}, {}, {"create": True}):
        with pytest.raises(RecordsError, match=told) as caught, Store.open(folder, **ways) as store:
            store.values("raw_turbidity")
        message = str(caught.value)
        assert "\n" not in message
        assert message.count(". ") <= 2
    after = state(folder)
    assert {name: after.get(name) for name in before} == before
    new = set(after) - set(before)
    assert new <= (set() if "records" in told else {"records.sqlite-shm", "records.sqlite-wal"})


def test_both_files_are_made_and_are_what_they_say(folder):
    assert sorted(path.name for path in folder.iterdir()) == list(FILES)
    marks = zip(FILES, (0x57726563, 0x57736572), (1, 2), (b"Wrec", b"Wser"), strict=True)
    for file, application, version, letters in marks:
        with inside(folder, file) as raw:
            assert raw.execute("PRAGMA application_id").fetchone()[0] == application
            assert raw.execute("PRAGMA user_version").fetchone()[0] == version
            assert raw.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
            tables = raw.execute("SELECT name FROM pragma_table_list WHERE schema = 'main' AND strict = 0").fetchall()
        assert {name for (name,) in tables} <= {"sqlite_schema", "alembic_version"}
        assert (folder / file).read_bytes()[68:72] == letters
    assert look(folder) == (20_000, 1)


def test_a_store_writes_durably(folder):
    with Store.open(folder) as store:
        for database in (store._ledger, store._series()):
            assert database.row("PRAGMA synchronous") == (2,)  # FULL
            assert database.row("PRAGMA foreign_keys") == (1,)


def test_a_folder_without_records_is_named(tmp_path):
    for ways in ({}, {"read_only": True}):
        with pytest.raises(RecordsError, match=r"records\.sqlite is not there\. Name the folder of a plant"):
            Store.open(tmp_path, **ways)
    assert list(tmp_path.iterdir()) == []


def test_making_records_where_there_are_some_keeps_them(folder):
    before = state(folder)
    with Store.open(folder, create=True) as store:
        assert len(store.events()) == 1
    assert state(folder) == before


@pytest.mark.parametrize("file", FILES)
def test_a_file_of_a_newer_version_is_refused(folder, file):
    with inside(folder, file) as raw:
        raw.execute("PRAGMA user_version = 7")
    assert_refused(
        folder, rf"{file} was written by version 7 .* knows version \d\. Nothing was changed\. Install the newer"
    )


@pytest.mark.parametrize("file", FILES)
def test_a_database_of_another_program_is_refused(folder, file):
    (folder / file).unlink()
    with inside(folder, file) as raw:
        raw.execute("CREATE TABLE recipes (name TEXT)")
    assert_refused(folder, f"{file} is a database of another program")


def test_the_two_files_are_not_taken_for_each_other(folder):
    shutil.copy(folder / FILES[1], folder / FILES[0])
    assert_refused(folder, r"records\.sqlite is a database of another program, not the readings and events")


@pytest.mark.parametrize("file", FILES)
@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "is empty, 0 bytes long"),
        (b"time,turbidity\n2026-05-01,5\n" * 40, "is no database, or its beginning is damaged"),
        (b"SQLite format 3\x00", "is no database, or its beginning is damaged"),
        (bytes(8192), "is no database, or its beginning is damaged"),
        (b"SQLite format 3\x00" + b"torn" * 300, "is no database, or its beginning is damaged"),
    ],
    ids=["empty", "text", "only a header", "zeros", "noise behind the header"],
)
def test_what_is_no_database_is_refused_and_never_replaced_by_an_empty_one(folder, file, content, told):
    (folder / file).write_bytes(content)
    assert_refused(folder, f"{file} {told}")


@pytest.mark.parametrize("file", FILES)
@pytest.mark.parametrize("share", [0.3, 0.7, 0.98])
def test_a_torn_file_is_refused(folder, file, share):
    size = (folder / file).stat().st_size
    os.truncate(folder / file, int(size * share))
    assert_refused(folder, rf"{file} is cut off: [\d,]+ of {size:,} bytes are there")


def test_a_page_overwritten_in_the_middle_is_told(folder):
    path = folder / FILES[1]
    content = bytearray(path.read_bytes())
    for page in range(2, len(content) // 4096):
        content[page * 4096 : page * 4096 + 4096] = os.urandom(4096)
    path.write_bytes(content)
    with pytest.raises(RecordsError, match=r"series\.sqlite is damaged|cannot be read"):
        look(folder)
    with Store.open(folder) as store:
        assert any("series.sqlite" in problem for problem in store.verify())
        assert len(store.readings()) == 200  # what people entered stands in the other file
    assert path.read_bytes() == content


def test_series_that_are_missing_are_not_made_anew(folder):
    (folder / FILES[1]).unlink()
    with pytest.raises(RecordsError, match=r"series\.sqlite is not there\. Put it back from the backup"):
        look(folder)
    with Store.open(folder, create=True) as store:
        assert len(store.readings()) == 200
        store.add_readings([reading(1.0, 999)], entered_at=NOW)
        with pytest.raises(RecordsError, match="is not there"):
            put(store, every_minute(10), name="other.csv")
        assert [found.name for found in store.imports()] == ["logger.csv"]
        assert "is not there" in store.verify()[0]
    assert not (folder / FILES[1]).exists()


def test_a_ledger_that_is_missing_is_not_made_anew_beside_series(folder):
    (folder / FILES[0]).unlink()
    with pytest.raises(RecordsError, match=r"records\.sqlite is not there, and series\.sqlite beside it holds series"):
        Store.open(folder, create=True)
    assert not (folder / FILES[0]).exists()


def test_making_that_was_broken_off_between_the_files_is_finished(tmp_path):
    Store.open(tmp_path, create=True).close()
    (tmp_path / FILES[0]).unlink()
    with Store.open(tmp_path, create=True) as store:
        put(store, every_minute(10))
        assert store.verify() == []
    assert look(tmp_path) == (10, 0)


def test_series_of_another_plant_are_refused(folder, tmp_path_factory):
    other = tmp_path_factory.mktemp("other")
    with Store.open(other, create=True) as store:
        put(store, every_minute(10))
    shutil.copy(other / FILES[1], folder / FILES[1])
    with pytest.raises(RecordsError, match=r"series\.sqlite belongs to other records"):
        look(folder)


def test_series_of_an_older_backup_are_told_by_verify(folder):
    old = (folder / FILES[1]).read_bytes()
    with Store.open(folder) as store:
        put(store, every_minute(50, "plant_flow"), name="flow.csv")
    (folder / FILES[1]).write_bytes(old)
    with Store.open(folder) as store:
        (problem,) = store.verify()
    assert 'the rows of the import "flow.csv"' in problem
    assert "are missing. Put both files back from the same backup." in problem


def test_a_folder_that_cannot_be_made_is_named(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(RecordsError, match=r"No records can be made in .*file"):
        Store.open(tmp_path / "file" / "plant", create=True)


def test_a_read_only_store_writes_nothing(folder):
    before = state(folder)
    with Store.open(folder, read_only=True) as store:
        store.values("raw_turbidity")
        store.rollup("raw_turbidity")
        assert store.verify() == []
        for write in (
            lambda: store.add_readings([reading()], entered_at=NOW),
            lambda: store.add_events([event()], entered_at=NOW),
            lambda: put(store, every_minute(1)),
            lambda: store.correct("x", None, person="A", reason="b", entered_at=NOW),
        ):
            with pytest.raises(RecordsError, match="was opened for reading only"):
                write()
        with pytest.raises(driver.OperationalError):
            store._ledger._connection.execute("CREATE TABLE other (x)")
    assert {name: digest for name, digest in state(folder).items() if name in FILES} == before


@contextmanager
def as_nobody():
    """Be a user without rights, where the tests run as root."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="rights of files are not those of POSIX here")
def test_a_folder_that_may_not_be_written_can_be_read_and_is_named(folder):
    with tempfile.TemporaryDirectory() as other:  # outside of the test's own folder, which others may not enter
        for file in FILES:
            shutil.copy(folder / file, other)
            (Path(other) / file).chmod(0o444)
        Path(other).chmod(0o555)
        try:
            with as_nobody():
                assert look(other) == (20_000, 1)
                with Store.open(other, read_only=True) as store:
                    assert store.verify() == []
                with pytest.raises(RecordsError, match=r"records\.sqlite may not be opened or written"):
                    Store.open(other).add_readings([reading(1.0, 999)], entered_at=NOW)
        finally:
            Path(other).chmod(0o755)


def test_a_read_only_store_shows_one_instant(folder):
    with Store.open(folder, read_only=True) as reader, Store.open(folder) as writer:
        before = len(reader.readings()), len(reader.values("raw_turbidity"))
        writer.add_readings([reading(1.0, 30.5)], entered_at=NOW)
        put(writer, every_minute(10, start=90_000), name="more.csv")
        assert (len(reader.readings()), len(reader.values("raw_turbidity"))) == before
        assert len(writer.readings()) == before[0] + 1
    assert look(folder) == (before[1] + 11, 1)


def test_a_full_disk_loses_nothing_and_says_so(folder):
    with Store.open(folder) as store:
        before = store.readings(), len(store.values("raw_turbidity")), store.imports()
        for database in (store._ledger, store._series()):
            pages = database.row("PRAGMA page_count")[0]
            database.run(f"PRAGMA max_page_count = {pages + 2}")
        with pytest.raises(RecordsError, match=r"The disk that holds .*records\.sqlite is full\. Nothing of this was"):
            store.add_readings([reading(1.0, i, note="x" * 400) for i in range(2000)], entered_at=NOW)
        with pytest.raises(RecordsError, match=r"The disk that holds .*series\.sqlite is full"):
            put(store, every_minute(50_000, "plant_flow"), name="flow.csv")
        assert (store.readings(), len(store.values("raw_turbidity")), store.imports()) == before
        assert store.verify() == []
        for database in (store._ledger, store._series()):  # space again
            database.run("PRAGMA max_page_count = 1000000")
        put(store, every_minute(50_000, "plant_flow"), name="flow.csv")
        assert len(store.values("plant_flow")) == 50_000
        assert store.verify() == []


def test_a_ledger_full_after_the_rows_were_written_leaves_them_uncounted(folder):
    with Store.open(folder) as store:
        store._ledger.run(f"PRAGMA max_page_count = {store._ledger.row('PRAGMA page_count')[0]}")
        detail = {"remarks": ["y" * 300_000]}
        with pytest.raises(RecordsError, match=r"records\.sqlite is full"):
            put(store, every_minute(5000, "plant_flow"), name="flow.csv", detail=detail)
        assert "plant_flow" not in store.channels()
        assert store.verify() == []
    assert look(folder) == (20_000, 1)


def test_a_second_writer_waits_and_then_says_so(folder, monkeypatch):
    monkeypatch.setattr(engine, "WAIT_S", 0.2)
    told = r"Another program is writing to .*within 0\.2 s"
    with Store.open(folder) as first, Store.open(folder) as second:
        with first._ledger.writing(), pytest.raises(RecordsError, match=told):
            second.add_readings([reading(1.0, 700)], entered_at=NOW)
        assert second.add_readings([reading(1.0, 700)], entered_at=NOW) == 1


def test_a_second_writer_gets_its_turn(folder):
    with Store.open(folder) as first:
        held, done = threading.Event(), []

        def other():
            with Store.open(folder) as second:
                held.wait()
                done.append(second.add_readings([reading(1.0, 700)], entered_at=NOW))

        thread = threading.Thread(target=other)
        thread.start()
        with first._ledger.writing():
            held.set()
            thread.join(0.3)
            assert not done
        thread.join()
    assert done == [1]


def test_many_threads_that_open_for_each_request_lose_nothing(folder):
    faults, count = [], 8

    def operator(n):
        try:
            for i in range(20):
                with Store.open(folder) as store:
                    store.add_readings([reading(float(i), 5000 + i, channel=f"c{n}", id=f"{n}-{i}")], entered_at=NOW)
                with Store.open(folder, read_only=True) as store:
                    assert len(store.readings(f"c{n}")) == i + 1
                    assert store.latest(f"c{n}", minutes(9999)).value == i
        except BaseException as fault:  # told by the test itself
            faults.append(fault)

    threads = [threading.Thread(target=operator, args=(n,)) for n in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    with Store.open(folder) as store:
        assert len(store.readings()) == 200 + 20 * count
        assert store.verify() == []


def test_two_who_make_the_records_at_once_get_the_same(tmp_path):
    made, start = [], threading.Barrier(6)

    def make(n):
        start.wait()
        with Store.open(tmp_path, create=True) as store:
            made.append(store.add_readings([reading(float(n), n)], entered_at=NOW))

    threads = [threading.Thread(target=make, args=(n,)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert made == [1] * 6
    with Store.open(tmp_path) as store:
        assert len(store.readings()) == 6
        put(store, series("raw_turbidity", [0], [1.0]))
        assert store.verify() == []
    assert sorted(path.name for path in tmp_path.iterdir()) == list(FILES)


def test_an_affected_library_is_refused():
    for version in ((3, 40, 1), (3, 50, 6), (3, 51, 2), (3, 44, 5)):
        with pytest.raises(RecordsError, match="which can lose what was stored"):
            engine._require_library(version)
    for version in ((3, 51, 3), (3, 50, 7), (3, 44, 6), (3, 53, 4)):
        engine._require_library(version)


def test_reading_and_entering_load_neither_sqlalchemy_nor_alembic(folder):
    """They take as long to load as Today may take."""
    code = (
        "import sys; from pathlib import Path; from weirhouse.records.store import Store\n"
        "with Store.open(Path(sys.argv[1])) as store:\n"
        "    assert store.values('raw_turbidity') and store.rollup('raw_turbidity') and store.verify() == []\n"
        "print(sorted({name.split('.')[0] for name in sys.modules} & {'sqlalchemy', 'alembic', 'scipy', 'sqlite3'}))"
    )
    done = subprocess.run([sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_odd_names_of_folders_do(tmp_path):
    for name in ("with space", "100%25", "a?b#c", "Émberly ünd so"):
        folder = tmp_path / name
        with Store.open(folder, create=True) as store:
            store.add_readings([reading()], entered_at=NOW)
        with Store.open(str(folder), read_only=True) as store:
            assert store.span() == (START, START)
    assert sorted(Path(path).name for path in tmp_path.iterdir()) == sorted(
        ("with space", "100%25", "a?b#c", "Émberly ünd so")
    )


def test_values_are_small_on_the_disk(folder):
    """A value of an even series takes little more than its eight bytes, hourly figures included."""
    size = (folder / FILES[1]).stat().st_size
    assert size < 20_000 * 8 * 1.5 + 60_000

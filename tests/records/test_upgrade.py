"""A new file has the tables that the migrations make; an old file gets them whole or stays as it was."""

from dataclasses import replace
from pathlib import Path

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory
from pysqlite3 import dbapi2 as driver
from tests.records.sample import NOW, every_minute, inside, put, reading

from weirhouse.plant import load
from weirhouse.records import backup, engine, files, restore, schema, upgrade
from weirhouse.records.backup_place import Place
from weirhouse.records.engine import LEDGER, SERIES
from weirhouse.records.model import RecordsError
from weirhouse.records.store import Store

NEXT = '''
"""A column more."""
from alembic import op
from sqlalchemy import Column, Text

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.create_table("person", Column("id", Text, primary_key=True), Column("name", Text), sqlite_strict=True)
    {then}
'''


def tables(path):
    connection = driver.connect(str(path))
    try:
        return sorted(
            connection.execute(
                "SELECT type, name, tbl_name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'"
            ).fetchall()
        )
    finally:
        connection.close()


@pytest.fixture
def folder(tmp_path):
    with Store.open(tmp_path, create=True) as store:
        store.add_readings([reading(float(i), i) for i in range(50)], entered_at=NOW)
        put(store, every_minute(100))
    return tmp_path


@pytest.fixture
def second(tmp_path_factory):
    """Migrations with one more for the ledger, and the kind of file that it leads to."""

    def make(then="pass"):
        scripts = tmp_path_factory.mktemp("migrations")
        versions = scripts / "ledger" / "versions"
        versions.mkdir(parents=True)
        first = upgrade.MIGRATIONS / "ledger" / "versions" / "0001_entries.py"
        (versions / first.name).write_text(first.read_text())
        (versions / "0002_people.py").write_text(NEXT.format(then=then))
        return scripts, replace(LEDGER, version=2)

    return make


@pytest.mark.parametrize("kind", [LEDGER, SERIES], ids=lambda kind: kind.name)
def test_the_migrations_make_what_a_new_file_has(folder, kind):
    path = folder / "old.sqlite"
    connection = driver.connect(str(path))
    connection.execute("PRAGMA journal_mode = WAL")
    connection.close()
    upgrade.upgrade(path, kind)
    assert tables(path) == tables(folder / kind.file)
    assert len(tables(path)) >= 7


@pytest.mark.parametrize("kind", [LEDGER, SERIES], ids=lambda kind: kind.name)
def test_a_new_file_is_stamped_with_the_newest_migration_and_its_number(folder, kind):
    config = Config()
    config.set_main_option("script_location", str(upgrade.MIGRATIONS / kind.name))
    config.set_main_option("path_separator", "os")
    newest = ScriptDirectory.from_config(config).get_current_head()
    assert newest == schema.HEAD[kind.name]
    assert int(newest) == kind.version
    with inside(folder, kind.file) as raw:
        assert raw.execute("SELECT version_num FROM alembic_version").fetchall() == [(newest,)]


def test_an_old_file_is_brought_up_to_date_with_a_copy_kept_and_nothing_lost(folder, second, monkeypatch):
    scripts, kind = second()
    monkeypatch.setattr(upgrade, "MIGRATIONS", scripts)
    before = tables(folder / LEDGER.file)
    with pytest.raises(RecordsError, match=r"is of version 1 of the records, this program writes version 2"):
        files.open_file(folder, kind, read_only=True)
    database = files.open_file(folder, kind, read_only=False)
    assert database.version == 2
    assert database.row("SELECT count(*) FROM person") == (0,)
    assert database.row("SELECT count(*) FROM entry WHERE kind = 'reading'") == (50,)
    assert database.row("SELECT version_num FROM alembic_version") == ("0002",)
    database.close()
    copy = folder / "records.version-1.sqlite"
    assert tables(copy) == before
    with pytest.raises(RecordsError, match="was written by version 2"):
        Store.open(folder)
    files.open_file(folder, kind, read_only=False).close()  # nothing is due any more
    copy.replace(folder / LEDGER.file)  # the way back
    with Store.open(folder) as store:
        assert len(store.readings()) == 50
        assert store.verify() == []


@pytest.mark.parametrize("then", ["raise RuntimeError('power gone')", "op.execute('SELECT nothing FROM nowhere')"])
def test_a_migration_that_is_broken_off_leaves_the_file_as_it_was(folder, second, monkeypatch, then):
    scripts, kind = second(then)
    monkeypatch.setattr(upgrade, "MIGRATIONS", scripts)
    before = tables(folder / LEDGER.file)
    with pytest.raises(RecordsError, match=r"could not be brought up to date \(.*\)\. It is as it was") as told:
        files.open_file(folder, kind, read_only=False)
    assert "\n" not in str(told.value)
    assert tables(folder / LEDGER.file) == before
    with Store.open(folder) as store:
        assert len(store.readings()) == 50
        assert store.verify() == []


def test_an_upgrade_waits_for_no_one_else_to_write(folder, second, monkeypatch):
    monkeypatch.setattr(engine, "WAIT_S", 0.1)
    scripts, kind = second()
    monkeypatch.setattr(upgrade, "MIGRATIONS", scripts)
    with Store.open(folder) as store, store._ledger.writing(), pytest.raises(RecordsError, match="Another program is"):
        files.open_file(folder, kind, read_only=False)
    assert len(tables(folder / LEDGER.file)) == 13


def test_a_backup_of_an_earlier_version_is_restored_and_brought_up_to_date(
    folder, second, monkeypatch, tmp_path_factory
):
    (folder / "plant.toml").write_bytes((Path(__file__).parents[1] / "desk" / "plant.toml").read_bytes())
    place, to = tmp_path_factory.mktemp("place"), tmp_path_factory.mktemp("to") / "again"
    path, said = backup.make(folder, Place(place), load(folder), whole=True, at=NOW)
    scripts, kind = second()
    monkeypatch.setattr(upgrade, "MIGRATIONS", scripts)
    object.__setattr__(LEDGER, "version", kind.version)  # the next release, in every module that knows the kind
    try:
        restore.restore(path, to)
        with Store.open(to) as store:
            assert len(store.readings()) == 50
            assert store.verify() == []
        assert sorted(one.name for one in to.glob("*.sqlite")) == ["records.sqlite", "series.sqlite"]
        _, again = backup.make(to, Place(place), load(to), whole=False, at=NOW)
        assert (again.sequence, again.head) == (said.sequence, said.head)
    finally:
        object.__setattr__(LEDGER, "version", 1)

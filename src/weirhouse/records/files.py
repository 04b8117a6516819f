"""How do the two files come to be, and how are those of an earlier version brought up to date?

A file is made beside its place under another name and put there when it is whole; nothing that is there is ever
replaced.
"""

import os
import uuid
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from pysqlite3 import dbapi2 as driver

from weirhouse.records import disk, ledger
from weirhouse.records.engine import LEDGER, SERIES, Database, Kind, explained
from weirhouse.records.model import RecordsError
from weirhouse.records.place import Server, server_of


def exist(folder: Path) -> bool:
    """Whether there are records of the plant: in its folder, or on the server that its plant file names."""
    server = server_of(folder)
    if server is None:
        return (folder / LEDGER.file).exists()
    from weirhouse.records import postgres  # psycopg, where it is used

    return postgres.exist(server)


def mark(folder: Path) -> object:
    """Return what changes with every entry on a server; None where the files themselves tell that they changed."""
    server = server_of(folder)
    if server is None:
        return None
    from weirhouse.records import postgres

    return postgres.newest(server)


def create(folder: Path) -> None:
    """Make empty records of the plant, unless there are some.

    In a folder the series come first: a folder with them alone is one whose making was broken off, or one that lost
    its ledger.
    """
    server = server_of(folder)
    if server is not None:
        from weirhouse.records import postgres

        postgres.create(server)
        return
    disk.require_own(folder)
    if exist(folder):
        return
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if not (folder / SERIES.file).exists():
            make(folder / SERIES.file, SERIES, str(uuid.uuid4()))
        pair = _pair_of_empty(folder)  # of the series that are in place, whoever made them
        if not exist(folder):
            make(folder / LEDGER.file, LEDGER, pair)
    except OSError as fault:
        raise RecordsError(f"No records can be made in {folder} ({fault.strerror}). Choose another folder.") from fault


def _pair_of_empty(folder: Path) -> str:
    """Return the pair of series that stand alone; refuse those that hold something."""
    alone = Database(folder / SERIES.file, SERIES, read_only=True)
    try:
        if alone.row("SELECT 1 FROM chunk LIMIT 1") and not exist(folder):
            raise RecordsError(
                f"{folder / LEDGER.file} is not there, and {SERIES.file} beside it holds series. Nothing was changed. "
                "Put the file back from a backup, or choose an empty folder."
            )
        return pair_of(alone)
    finally:
        alone.close()


def create_pair(folder: Path, pair: str, made_at: int) -> None:
    """Make empty records in an empty folder under a mark that was made before [UTC epoch us]."""
    for kind in (SERIES, LEDGER):
        make(folder / kind.file, kind, pair, made_at)


def put_in_place(file: Path, path: Path) -> None:
    """Give a whole file, that nobody has open, its place; nothing that is there is replaced."""
    if path.exists():
        raise RecordsError(f"{path} is there by now. Nothing was replaced.")
    _place(file, path)


def make(path: Path, kind: Kind, pair: str, made_at: int | None = None) -> None:
    """Make one empty file of records under a mark, unless it is there."""
    from weirhouse.records import schema  # SQLAlchemy; see engine

    new = path.with_name(f".{path.name}.{os.getpid()}.{uuid.uuid4().hex[:8]}")
    if made_at is None:
        made_at = int(datetime.now(UTC).timestamp() * 1_000_000)
    try:
        connection = driver.connect(str(new), isolation_level=None)
        try:
            connection.execute("PRAGMA auto_vacuum = NONE")
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("BEGIN IMMEDIATE")
            for statement in schema.statements(kind.name):
                connection.execute(statement)
            connection.execute("INSERT INTO alembic_version VALUES (?)", (schema.HEAD[kind.name],))
            connection.execute("INSERT INTO origin VALUES (1, ?, ?)", (pair, made_at))
            if kind is LEDGER:
                connection.execute("INSERT INTO head VALUES (1, 0, ?)", (ledger.beginning(pair),))
            connection.execute(f"PRAGMA application_id = {kind.application_id}")
            connection.execute(f"PRAGMA user_version = {kind.version}")
            connection.execute("COMMIT")
        finally:
            connection.close()
        _place(new, path)
    except driver.Error as fault:
        told = explained(fault, path)
        if told is None:
            raise
        raise told from fault
    finally:
        for left in (new, new.with_name(f"{new.name}-wal"), new.with_name(f"{new.name}-shm")):
            left.unlink(missing_ok=True)


def _place(new: Path, path: Path) -> None:
    """Put a whole file in its place, unless another was quicker."""
    with suppress(FileExistsError):
        try:
            os.link(new, path)
        except OSError as fault:
            if isinstance(fault, FileExistsError):
                raise
            if not path.exists():  # a file system without links
                new.rename(path)
    if hasattr(os, "O_DIRECTORY"):  # the name too must outlast a power cut
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def open_file(folder: Path, kind: Kind, *, read_only: bool) -> Database:
    """Open one of the two files, or of the two schemas, brought up to date first where it may be written."""
    server = server_of(folder)
    if server is None:
        if not read_only:
            disk.require_own(folder)
        return open_at(folder / kind.file, kind, read_only=read_only)
    return open_at(server, kind, read_only=read_only)


def require_here(folder: Path, database: Database) -> None:
    """Refuse to write to records that the plant file no longer names, because they were moved since it was opened."""
    now = server_of(folder)
    if now != database.server:
        raise RecordsError(
            f"The records were moved to {now or folder} meanwhile. Nothing was stored in {database.where}. Enter it "
            "again."
        )


def open_at(where: Path | Server, kind: Kind, *, read_only: bool) -> Database:
    """Open a file, or a schema of a server, brought up to date first where it may be written."""
    database = _opened(where, kind, read_only)
    if database.version == kind.version:
        return database
    database.close()
    if read_only:
        raise RecordsError(
            f"{where} is of version {database.version} of the records, this program writes version {kind.version}. "
            "Nothing was changed. Open it once for writing, as weirhouse serve does: that brings it up to date."
        )
    from weirhouse.records import upgrade  # Alembic; see engine

    if isinstance(where, Path):
        upgrade.upgrade(where, kind)
    else:
        upgrade.upgrade_schema(where, kind)
    return _opened(where, kind, False)


def _opened(where: Path | Server, kind: Kind, read_only: bool) -> Database:
    if isinstance(where, Path):
        return Database(where, kind, read_only=read_only)
    from weirhouse.records import postgres

    return postgres.Postgres(where, kind, read_only=read_only)


def pair_of(database: Database) -> str:
    """Return the pair that the file belongs to."""
    found = database.row("SELECT pair FROM origin")
    if found is None:
        raise RecordsError(f"{database.where} does not say what it belongs to. Put the newest backup in its place.")
    return str(found[0])

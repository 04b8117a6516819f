"""How are the records of a plant read and written on a PostgreSQL server that several plants share?

As in the two files: what is one file there is one schema here, with the same tables, and the same statements come in
by the same methods. A writer holds a lock of the schema for as long as it writes, so that there is one at a time; each
commit waits for the server's disk.
"""

import hashlib
import threading
import uuid
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

import psycopg
from psycopg import sql as names
from psycopg.pq import TransactionStatus

from weirhouse.records import ledger
from weirhouse.records.engine import LEDGER, SERIES, WAIT_S, Database, Kind, Row
from weirhouse.records.model import DamagedError, DiskError, RecordsError
from weirhouse.records.place import Server

OURS = {"ledger": "Weirhouse ledger", "series": "Weirhouse series"}  # what stands beside a schema that is ours
AT_ONCE = 256  # rows that come over the line together


@lru_cache(maxsize=256)
def marked(sql: str) -> str:
    """Return a statement with the marks that this driver takes. No statement of ours has a ? or % in a text."""
    return sql.replace("%", "%%").replace("?", "%s")


def schema_of(server: Server, kind: Kind) -> str:
    """Return the schema that stands for one of the two files."""
    return server.schema if kind is LEDGER or kind.name == LEDGER.name else f"{server.schema}_{kind.name}"


class _Connection:
    """A connection that takes statements as SQLite's does."""

    def __init__(self, connection: psycopg.Connection[Row]) -> None:
        self.raw = connection

    @property
    def in_transaction(self) -> bool:
        return self.raw.info.transaction_status not in (TransactionStatus.IDLE, TransactionStatus.UNKNOWN)

    def execute(self, sql: str, values: Sequence[Any] = ()) -> psycopg.Cursor[Row]:
        return self.raw.cursor(binary=True).execute(marked(sql), values)

    def executemany(self, sql: str, values: Iterable[Sequence[Any]]) -> None:
        with self.raw.cursor() as cursor:
            cursor.executemany(marked(sql), values)

    def close(self) -> None:
        self.raw.close()


class Postgres(Database):
    """One schema of a server. Reading alone sees one instant of it for as long as it is open."""

    def __init__(self, server: Server, kind: Kind, *, read_only: bool) -> None:
        self.server, self.kind, self.read_only = server, kind, read_only
        self.schema = schema_of(server, kind)
        self.where, self.name = f"{server}", f"schema {self.schema}"
        self._lock = threading.RLock()
        with self._told():
            self._connection = _Connection(connect(server))
        try:
            with self._told():
                self.version = self._recognise()
                self._settle()
        except BaseException:
            self.close()
            raise

    def walk(self, sql: str, values: Sequence[Any] = (), *, spoilt: bool = False) -> Iterator[Row]:
        """Yield the rows of a query one by one, as they come over the line; a server takes no text that is no UTF-8."""
        with self._lock, self._told():
            cursor = self._connection.raw.cursor(name=f"w{uuid.uuid4().hex}", binary=True, withhold=not self._in_one)
            cursor.execute(marked(sql), values)
        try:
            while True:
                with self._lock, self._told():
                    some = cursor.fetchmany(AT_ONCE)
                if not some:
                    return
                yield from some
        finally:
            with self._lock, suppress(psycopg.Error):
                cursor.close()

    @property
    def _in_one(self) -> bool:
        return bool(self._connection.in_transaction)

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Hold the only right to write to this schema; all of it is stored at the end, or nothing."""
        if self.read_only:
            raise RecordsError(f"{self.where} was opened for reading only. Open it for writing to store anything.")
        if self.broken is not None:
            raise self.broken
        with self._lock:
            self.run("BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE")
            try:
                self.run(f"SET LOCAL lock_timeout = '{WAIT_S:g}s'")
                self.run("SELECT pg_advisory_xact_lock(?::bigint)", (lock_key(self.schema),))
                yield
                self.run("COMMIT")
            except BaseException:
                with suppress(psycopg.Error):
                    if self._connection.in_transaction:
                        self._connection.execute("ROLLBACK")
                raise

    def close(self) -> None:
        """Close the connection."""
        with self._lock, suppress(psycopg.Error):
            self._connection.close()

    def check(self) -> Iterator[str]:
        """Yield what is wrong with the tables beyond what they say: that nothing keeps the entries from a change."""
        from weirhouse.records import schema

        found = {
            name
            for (name,) in self.rows(
                "SELECT tgname::text FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid JOIN pg_namespace ON "
                "pg_namespace.oid = relnamespace WHERE nspname = ? AND NOT tgisinternal AND tgenabled <> 'D'",
                (self.schema,),
            )
        }
        for name in sorted(schema.kept_by(self.kind.name) - found):
            yield f"{self.name}: what keeps its rows from a change, {name}, is not there. Its rows may be altered."

    def _recognise(self) -> int:
        """Return the version of the tables, having made sure that they are ours and not newer than this."""
        _require_durable(self._connection, self.where)
        whose = owner(self._connection, self.schema)
        if whose is None:
            if self.kind.name == LEDGER.name:
                hint = "Name the right schema in [records], or start there with: weirhouse new, weirhouse move"
            else:
                hint = "Put it back from the backup that holds the ledger beside it."
            raise DamagedError(f"{self.where} holds no {self.kind.holds} of a plant: {self.schema} is missing. {hint}")
        if whose != OURS[self.kind.name]:
            raise RecordsError(
                f"{self.where}: the schema {self.schema} is of another program, not the {self.kind.holds} of a plant. "
                "Nothing was changed. Name another schema in [records]."
            )
        self._connection.execute("SELECT set_config('search_path', ?, false)", (f'"{self.schema}"',))
        found = self._connection.execute("SELECT version_num FROM alembic_version").fetchone()
        version = int(found[0]) if found else 0
        if version > self.kind.version:
            raise RecordsError(
                f"{self.where} was written by version {version} of the records, this program knows version "
                f"{self.kind.version}. Nothing was changed. Install the newer Weirhouse."
            )
        return version

    def _settle(self) -> None:
        if self.read_only:
            self._connection.execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
            self._connection.execute("SELECT count(*) FROM origin").fetchone()  # takes the instant of all reads

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except psycopg.Error as fault:
            told = explained(fault, self.where)
            if told is None:
                raise
            if isinstance(told, DiskError):
                self.broken = told
            raise told from fault


def connect(server: Server) -> psycopg.Connection[Row]:
    """Return a connection that waits for the disk at each commit."""
    connection = psycopg.connect(
        server.url, autocommit=True, connect_timeout=int(WAIT_S), application_name="weirhouse"
    )  # fmt: skip
    try:
        connection.execute("SET synchronous_commit TO on")
    except BaseException:
        connection.close()
        raise
    return connection


def lock_key(schema: str) -> int:
    """Return the number of the lock that a writer of a schema holds."""
    return int.from_bytes(hashlib.sha256(f"weirhouse writer of {schema}".encode()).digest()[:8], "big", signed=True)


def owner(connection: _Connection, schema: str) -> str | None:
    """Return what stands beside a schema, "" where nothing does, None where there is no such schema."""
    found = connection.execute(
        "SELECT coalesce(obj_description(oid, 'pg_namespace'), '') FROM pg_namespace WHERE nspname = ?", (schema,)
    ).fetchone()
    return None if found is None else str(found[0])


def exist(server: Server) -> bool:
    """Whether the server holds records of this plant."""
    with _one(server) as connection:
        return owner(connection, schema_of(server, LEDGER)) is not None


def newest(server: Server) -> int | None:
    """Return the number of the newest entry; None where there are no records of this plant."""
    with _one(server) as connection:
        if owner(connection, server.schema) is None:
            return None
        connection.execute("SELECT set_config('search_path', ?, false)", (f'"{server.schema}"',))
        found = connection.execute("SELECT sequence FROM head").fetchone()
        return None if found is None else int(found[0])


def create(server: Server, pair: str = "", made_at: int | None = None) -> None:
    """Make empty records of a plant, unless there are some; whole or not at all."""
    from weirhouse.records import schema  # SQLAlchemy; see engine

    if exist(server):
        return
    pair = pair or str(uuid.uuid4())
    made_at = int(datetime.now(UTC).timestamp() * 1_000_000) if made_at is None else made_at
    with _one(server) as connection:
        _require_durable(connection, str(server))
        with connection.raw.transaction():
            connection.execute("SELECT pg_advisory_xact_lock(?::bigint)", (lock_key(server.schema),))
            for kind in (LEDGER, SERIES):
                name = schema_of(server, kind)
                if owner(connection, name) is not None:
                    if kind is LEDGER:
                        return  # another was quicker
                    raise RecordsError(
                        f"{server}: {name} is there, and {schema_of(server, LEDGER)} beside it is not. Nothing was "
                        "changed. Put the records back from a backup, or name another schema."
                    )
                connection.raw.execute(names.SQL("CREATE SCHEMA {}").format(names.Identifier(name)))
                connection.raw.execute(
                    names.SQL("COMMENT ON SCHEMA {} IS {}").format(
                        names.Identifier(name), names.Literal(OURS[kind.name])
                    )
                )
                connection.execute("SELECT set_config('search_path', ?, true)", (f'"{name}"',))
                for statement in schema.statements(kind.name, "postgresql"):
                    connection.raw.execute(statement)
                connection.execute("INSERT INTO alembic_version VALUES (?)", (schema.HEAD[kind.name],))
                connection.execute("INSERT INTO origin VALUES (1, ?, ?)", (pair, made_at))
                if kind is LEDGER:
                    connection.execute("INSERT INTO head VALUES (1, 0, ?)", (ledger.beginning(pair),))


def require_none(server: Server) -> None:
    """Refuse a server that has records of this plant, or another's tables under its name."""
    with _one(server) as connection:
        for kind in (LEDGER, SERIES):
            if owner(connection, schema_of(server, kind)) is not None:
                raise RecordsError(
                    f"{server}: {schema_of(server, kind)} is there. Nothing was moved and nothing is replaced. Name "
                    "another schema."
                )


def rename(old: Server, new: Server) -> None:
    """Give the schemas of a plant another name, both or none; nothing that is there is replaced."""
    with _one(old) as connection, connection.raw.transaction():
        for kind in (LEDGER, SERIES):
            connection.raw.execute(
                names.SQL("ALTER SCHEMA {} RENAME TO {}").format(
                    names.Identifier(schema_of(old, kind)), names.Identifier(schema_of(new, kind))
                )
            )


def drop(server: Server) -> None:
    """Remove the schemas that a move made and did not finish."""
    if not server.schema.startswith("moving_"):
        raise RecordsError(f"{server} is no unfinished move, and is not removed.")
    with suppress(RecordsError), _one(server) as connection:
        for kind in (LEDGER, SERIES):
            connection.raw.execute(
                names.SQL("DROP SCHEMA IF EXISTS {} CASCADE").format(names.Identifier(schema_of(server, kind)))
            )


@contextmanager
def _one(server: Server) -> Iterator[_Connection]:
    """Open a connection for one thing, and say faults in words."""
    try:
        with connect(server) as connection:
            yield _Connection(connection)
    except psycopg.Error as fault:
        told = explained(fault, str(server))
        if told is None:
            raise
        raise told from fault


def _require_durable(connection: _Connection, where: str) -> None:
    """Refuse a server that acknowledges what is not on its disk, or that cannot hold every character."""
    rows = connection.execute(
        "SELECT name, setting FROM pg_settings WHERE name IN ('fsync', 'full_page_writes', 'server_encoding')"
    ).fetchall()
    settings = {str(name): str(setting) for name, setting in rows}
    for name in ("fsync", "full_page_writes"):
        if settings.get(name) != "on":
            raise RecordsError(
                f"{where}: the server runs with {name} {settings.get(name)}, and can lose what was stored. Nothing was "
                f"opened. Set {name} = on."
            )
    if settings.get("server_encoding") != "UTF8":
        raise RecordsError(
            f"{where}: the database holds text as {settings.get('server_encoding')}, not as UTF8. Nothing was opened. "
            "Make one with: createdb --encoding=UTF8"
        )


def explained(fault: psycopg.Error, where: str) -> RecordsError | None:
    """Return what a fault of the server or the line means for a person, or None where it is a mistake of ours."""
    state = fault.sqlstate or ""
    first = " ".join(str(fault).split("\n")[0].split())
    match state[:2]:
        case "55" if state == "55P03":
            return RecordsError(
                f"Another program is writing to {where} and did not finish within {WAIT_S:g} s. Nothing was stored. "
                "Try again when it is done."
            )
        case "53" if state == "53100":
            return RecordsError(
                f"The disk of the server that holds {where} is full. Nothing of this was stored. Free some space, then "
                "enter it again."
            )
        case "53" | "57":
            return RecordsError(
                f"The server of {where} takes no more work now ({first}). Nothing of this was acknowledged. Try again; "
                "sent twice it is stored once."
            )
        case "58":
            return DiskError(
                f"The disk of the server failed on {where} ({first}). Nothing of this was stored. Look at its disk and "
                "at the newest backup before entering it again."
            )
        case "XX":
            return DamagedError(
                f"{where} is damaged ({first}). Nothing was changed. Keep it, and put the newest backup in its place."
            )
        case "42" if state == "42501":
            return RecordsError(f"{where} may not be read or written ({first}). Get the right to it on the server.")
        case "25":
            return RecordsError(f"{where} takes no entries now ({first}). Nothing was stored.")
        case "28" | "3D":
            return RecordsError(f"{where} does not let us in ({first}). Mend the address in [records].")
    if isinstance(fault, psycopg.DataError) and not state:  # of the driver: a text with the sign NUL
        return RecordsError(f"{where} cannot hold or look for this ({first}). Nothing was stored. Type it again.")
    if isinstance(fault, psycopg.OperationalError):  # no answer, or the line broke
        return RecordsError(
            f"{where} does not answer ({first}). Nothing of this was acknowledged. Look at the server and the line, "
            "then try again; sent twice it is stored once."
        )
    return None

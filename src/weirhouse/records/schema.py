"""What tables are in the two files, or in the two schemas of a server? Declared once.

A new file is made from this, an old one comes here by migrations.

The ledger is one table to which entries are only added. What an entry says stands in `body`, as canonical JSON, and
is sealed by `hash`; the other columns repeat parts of it to find it by. Times are UTC epoch microseconds. A series is
kept in chunks of whole hours (docs/decisions); its times are UTC epoch seconds.
"""

from functools import cache

from sqlalchemy import (
    CheckConstraint,
    Column,
    ForeignKey,
    Index,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    UniqueConstraint,
)
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import Dialect
from sqlalchemy.schema import CreateIndex, CreateTable

from weirhouse.records.types import Bytes, Number, Whole, Words

ledger = MetaData()
series = MetaData()
METADATA = {"ledger": ledger, "series": series}


def _one_row() -> Column[int]:
    return Column("one", Whole, CheckConstraint("one = 1"), primary_key=True, autoincrement=False)


def _origin(metadata: MetaData) -> Table:
    """The pair that two files belong to, so that the series of one plant are not read with another's records."""
    return Table(
        "origin", metadata, _one_row(), Column("pair", Words, nullable=False), Column("made_at", Whole, nullable=False),
        sqlite_strict=True,
    )  # fmt: skip


def _version(metadata: MetaData) -> Table:
    """As Alembic would make it."""
    return Table(
        "alembic_version", metadata, Column("version_num", String(32), nullable=False),
        PrimaryKeyConstraint("version_num", name="alembic_version_pkc"),
    )  # fmt: skip


_version(ledger)
_origin(ledger)
entry = Table(
    "entry",
    ledger,
    Column("sequence", Whole, primary_key=True, autoincrement=False),
    Column("id", Words, nullable=False, unique=True),
    Column("kind", Words, nullable=False),  # reading, event, import, withdrawal
    Column("topic", Words, nullable=False),  # channel of a reading, kind of an event, name of an import
    Column("at", Whole),  # taken, started; nothing for a withdrawal
    Column("replaces", Words),  # id of the entry that this one corrects or withdraws
    Column("import_id", Words),  # id of the import that this one came with
    Column("value", Number),  # of a reading, in the inside unit
    Column("flag", Whole),  # of a reading, as in a series
    Column("body", Words, nullable=False),
    Column("hash", Bytes, nullable=False),
    sqlite_strict=True,
)
Index(  # holds all that a series of readings is made of
    "entry_by_topic",
    *(entry.c[name] for name in ("kind", "topic", "at", "sequence", "id", "import_id", "value", "flag")),
)
Index("entry_by_time", entry.c.kind, entry.c.at)
Index(
    "entry_replaced_once",
    entry.c.replaces,
    unique=True,
    sqlite_where=entry.c.replaces.is_not(None),
    postgresql_where=entry.c.replaces.is_not(None),
)
Table(
    "head",  # where the chain ends, so that a tail cut off is missed
    ledger,
    _one_row(),
    Column("sequence", Whole, nullable=False),
    Column("hash", Bytes, nullable=False),
    sqlite_strict=True,
)

_version(series)
_origin(series)
chunk = Table(
    "chunk",
    series,
    Column("id", Whole, primary_key=True),
    Column("import_id", Words, nullable=False),
    Column("channel", Words, nullable=False),
    Column("first", Whole, nullable=False),
    Column("last", Whole, nullable=False),
    Column("count", Whole, nullable=False),
    Column("step", Whole),  # where the times are evenly spaced; else `times` holds them
    Column("times", Bytes),
    Column("flags", Bytes),  # nothing where all are 0
    Column("content", Bytes, nullable=False),  # the values
    UniqueConstraint("channel", "first", "import_id"),
    sqlite_strict=True,
)
Index("chunk_by_end", chunk.c.channel, chunk.c.last, chunk.c.first, chunk.c.import_id)
Index("chunk_by_import", chunk.c.import_id, chunk.c.first, chunk.c.last)
Table(
    "hours",  # the roll-up of each chunk; a cache
    series,
    Column("chunk_id", Whole, ForeignKey("chunk.id", ondelete="CASCADE"), primary_key=True, autoincrement=False),
    Column("content", Bytes, nullable=False),
    sqlite_strict=True,
)

Table(
    "original",  # the files that were imported, packed, in parts
    series,
    Column("digest", Words, nullable=False),  # SHA-256 of the file
    Column("part", Whole, nullable=False),
    Column("content", Bytes, nullable=False),
    PrimaryKeyConstraint("digest", "part"),
    sqlite_strict=True,
)

KEPT = "The records are only added to. Correct an entry by another entry."
_SQLITE = {
    "ledger": [
        f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} BEGIN SELECT RAISE(ABORT, '{KEPT}'); END"
        for table, verb in (
            ("entry", "UPDATE"), ("entry", "DELETE"), ("origin", "UPDATE"), ("origin", "DELETE"), ("head", "DELETE"),
        )
    ]
    + [
        "CREATE TRIGGER head_goes_on BEFORE UPDATE ON head WHEN NEW.sequence <= OLD.sequence "
        f"BEGIN SELECT RAISE(ABORT, '{KEPT}'); END"
    ],
    "series": [
        f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} BEGIN SELECT RAISE(ABORT, '{KEPT}'); END"
        for table, verb in (("chunk", "UPDATE"), ("original", "UPDATE"), ("original", "DELETE"))
    ],
}  # fmt: skip
_REFUSES = f"CREATE FUNCTION kept() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RAISE EXCEPTION ''{KEPT}''; END'"


def _refused(table: str, verb: str, name: str = "", when: str = "") -> str:
    each = "STATEMENT" if verb == "TRUNCATE" else "ROW"
    name = name or f"{table}_no_{verb.lower()}"
    return f"CREATE TRIGGER {name} BEFORE {verb} ON {table} FOR EACH {each} {when}EXECUTE FUNCTION kept()"


_POSTGRESQL = {
    "ledger": [
        _REFUSES,
        *(_refused(table, verb) for table in ("entry", "origin") for verb in ("UPDATE", "DELETE", "TRUNCATE")),
        _refused("head", "DELETE"),
        _refused("head", "TRUNCATE"),
        _refused("head", "UPDATE", "head_goes_on", "WHEN (NEW.sequence <= OLD.sequence) "),
    ],
    "series": [
        _REFUSES,
        _refused("chunk", "UPDATE"),
        *(_refused("original", verb) for verb in ("UPDATE", "DELETE", "TRUNCATE")),
    ],
}
TRIGGERS = {"sqlite": _SQLITE, "postgresql": _POSTGRESQL}


def kept_by(name: str) -> set[str]:
    """Return the names of what keeps the rows from a change on a server."""
    return {statement.split()[2] for statement in _POSTGRESQL[name] if statement.startswith("CREATE TRIGGER")}


HEAD = {"ledger": "0001", "series": "0002"}  # the newest migration, as stamped in a new file


@cache
def statements(name: str, on: str = "sqlite") -> tuple[str, ...]:
    """Return what makes the tables of one of the two files, as text for SQLite or PostgreSQL."""
    dialect: Dialect = sqlite.dialect() if on == "sqlite" else postgresql.dialect()  # type: ignore[no-untyped-call]
    metadata = METADATA[name]
    made = []
    for table in metadata.sorted_tables:
        made.append(str(CreateTable(table).compile(dialect=dialect)))
        made += [
            str(CreateIndex(index).compile(dialect=dialect))
            for index in sorted(table.indexes, key=lambda index: str(index.name))
        ]
    return (*made, *TRIGGERS[on][name])

"""The ledger: entries in a chain, where it ends, and whose it is."""

from alembic import op
from sqlalchemy import CheckConstraint, Column, text

from weirhouse.records.types import Bytes, Number, Whole, Words

revision = "0001"
down_revision = None

KEPT = "The records are only added to. Correct an entry by another entry."
SQLITE = [
    f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} BEGIN SELECT RAISE(ABORT, '{KEPT}'); END"
    for table, verb in (
        ("entry", "UPDATE"),
        ("entry", "DELETE"),
        ("origin", "UPDATE"),
        ("origin", "DELETE"),
        ("head", "DELETE"),
    )
] + [
    "CREATE TRIGGER head_goes_on BEFORE UPDATE ON head WHEN NEW.sequence <= OLD.sequence "
    f"BEGIN SELECT RAISE(ABORT, '{KEPT}'); END"
]
POSTGRESQL = [
    f"CREATE FUNCTION kept() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RAISE EXCEPTION ''{KEPT}''; END'",
    *(
        f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} FOR EACH {each} EXECUTE FUNCTION kept()"
        for table, verb, each in (
            ("entry", "UPDATE", "ROW"),
            ("entry", "DELETE", "ROW"),
            ("entry", "TRUNCATE", "STATEMENT"),
            ("origin", "UPDATE", "ROW"),
            ("origin", "DELETE", "ROW"),
            ("origin", "TRUNCATE", "STATEMENT"),
            ("head", "DELETE", "ROW"),
            ("head", "TRUNCATE", "STATEMENT"),
        )
    ),
    "CREATE TRIGGER head_goes_on BEFORE UPDATE ON head FOR EACH ROW WHEN (NEW.sequence <= OLD.sequence) "
    "EXECUTE FUNCTION kept()",
]


def upgrade() -> None:
    """Make the tables, and let nothing in them be changed or removed."""
    op.create_table(
        "origin",
        Column("one", Whole, CheckConstraint("one = 1"), primary_key=True, autoincrement=False),
        Column("pair", Words, nullable=False),
        Column("made_at", Whole, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "entry",
        Column("sequence", Whole, primary_key=True, autoincrement=False),
        Column("id", Words, nullable=False, unique=True),
        Column("kind", Words, nullable=False),
        Column("topic", Words, nullable=False),
        Column("at", Whole),
        Column("replaces", Words),
        Column("import_id", Words),
        Column("value", Number),
        Column("flag", Whole),
        Column("body", Words, nullable=False),
        Column("hash", Bytes, nullable=False),
        sqlite_strict=True,
    )
    op.create_index("entry_by_topic", "entry", ["kind", "topic", "at", "sequence", "id", "import_id", "value", "flag"])
    op.create_index("entry_by_time", "entry", ["kind", "at"])
    op.create_index(
        "entry_replaced_once", "entry", ["replaces"], unique=True, sqlite_where=text("replaces IS NOT NULL"),
        postgresql_where=text("replaces IS NOT NULL"),
    )  # fmt: skip
    op.create_table(
        "head",
        Column("one", Whole, CheckConstraint("one = 1"), primary_key=True, autoincrement=False),
        Column("sequence", Whole, nullable=False),
        Column("hash", Bytes, nullable=False),
        sqlite_strict=True,
    )
    for trigger in SQLITE if op.get_bind().dialect.name == "sqlite" else POSTGRESQL:
        op.execute(trigger)

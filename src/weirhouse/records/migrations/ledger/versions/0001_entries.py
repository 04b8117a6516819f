"""The ledger: entries in a chain, where it ends, and whose it is."""

from alembic import op
from sqlalchemy import REAL, CheckConstraint, Column, Integer, LargeBinary, Text, text

revision = "0001"
down_revision = None

KEPT = "The records are only added to. Correct an entry by another entry."


def upgrade() -> None:
    """Make the tables, and let nothing in them be changed or removed."""
    op.create_table(
        "origin",
        Column("one", Integer, CheckConstraint("one = 1"), primary_key=True, autoincrement=False),
        Column("pair", Text, nullable=False),
        Column("made_at", Integer, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "entry",
        Column("sequence", Integer, primary_key=True, autoincrement=False),
        Column("id", Text, nullable=False, unique=True),
        Column("kind", Text, nullable=False),
        Column("topic", Text, nullable=False),
        Column("at", Integer),
        Column("replaces", Text),
        Column("import_id", Text),
        Column("value", REAL),
        Column("flag", Integer),
        Column("body", Text, nullable=False),
        Column("hash", LargeBinary, nullable=False),
        sqlite_strict=True,
    )
    op.create_index("entry_by_topic", "entry", ["kind", "topic", "at", "sequence", "id", "import_id", "value", "flag"])
    op.create_index("entry_by_time", "entry", ["kind", "at"])
    op.create_index(
        "entry_replaced_once", "entry", ["replaces"], unique=True, sqlite_where=text("replaces IS NOT NULL")
    )
    op.create_table(
        "head",
        Column("one", Integer, CheckConstraint("one = 1"), primary_key=True, autoincrement=False),
        Column("sequence", Integer, nullable=False),
        Column("hash", LargeBinary, nullable=False),
        sqlite_strict=True,
    )
    for table, verb in (
        ("entry", "UPDATE"),
        ("entry", "DELETE"),
        ("origin", "UPDATE"),
        ("origin", "DELETE"),
        ("head", "DELETE"),
    ):
        op.execute(
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{KEPT}'); END"
        )
    op.execute(
        "CREATE TRIGGER head_goes_on BEFORE UPDATE ON head WHEN NEW.sequence <= OLD.sequence "
        f"BEGIN SELECT RAISE(ABORT, '{KEPT}'); END"
    )

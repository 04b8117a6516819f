"""The series: chunks of whole hours, and the hourly figures of each."""

from alembic import op
from sqlalchemy import CheckConstraint, Column, ForeignKey, UniqueConstraint

from weirhouse.records.types import Bytes, Whole, Words

revision = "0001"
down_revision = None

KEPT = "The records are only added to. Correct an entry by another entry."
SQLITE = [f"CREATE TRIGGER chunk_no_update BEFORE UPDATE ON chunk BEGIN SELECT RAISE(ABORT, '{KEPT}'); END"]
POSTGRESQL = [
    f"CREATE FUNCTION kept() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RAISE EXCEPTION ''{KEPT}''; END'",
    "CREATE TRIGGER chunk_no_update BEFORE UPDATE ON chunk FOR EACH ROW EXECUTE FUNCTION kept()",
]


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "origin",
        Column("one", Whole, CheckConstraint("one = 1"), primary_key=True, autoincrement=False),
        Column("pair", Words, nullable=False),
        Column("made_at", Whole, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "chunk",
        Column("id", Whole, primary_key=True),
        Column("import_id", Words, nullable=False),
        Column("channel", Words, nullable=False),
        Column("first", Whole, nullable=False),
        Column("last", Whole, nullable=False),
        Column("count", Whole, nullable=False),
        Column("step", Whole),
        Column("times", Bytes),
        Column("flags", Bytes),
        Column("content", Bytes, nullable=False),
        UniqueConstraint("channel", "first", "import_id"),
        sqlite_strict=True,
    )
    op.create_index("chunk_by_end", "chunk", ["channel", "last", "first", "import_id"])
    op.create_index("chunk_by_import", "chunk", ["import_id", "first", "last"])
    op.create_table(
        "hours",
        Column("chunk_id", Whole, ForeignKey("chunk.id", ondelete="CASCADE"), primary_key=True, autoincrement=False),
        Column("content", Bytes, nullable=False),
        sqlite_strict=True,
    )
    for trigger in SQLITE if op.get_bind().dialect.name == "sqlite" else POSTGRESQL:
        op.execute(trigger)

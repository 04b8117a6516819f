"""The series: chunks of whole hours, and the hourly figures of each."""

from alembic import op
from sqlalchemy import CheckConstraint, Column, ForeignKey, Integer, LargeBinary, Text, UniqueConstraint

revision = "0001"
down_revision = None

KEPT = "The records are only added to. Correct an entry by another entry."


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "origin",
        Column("one", Integer, CheckConstraint("one = 1"), primary_key=True, autoincrement=False),
        Column("pair", Text, nullable=False),
        Column("made_at", Integer, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "chunk",
        Column("id", Integer, primary_key=True),
        Column("import_id", Text, nullable=False),
        Column("channel", Text, nullable=False),
        Column("first", Integer, nullable=False),
        Column("last", Integer, nullable=False),
        Column("count", Integer, nullable=False),
        Column("step", Integer),
        Column("times", LargeBinary),
        Column("flags", LargeBinary),
        Column("content", LargeBinary, nullable=False),
        UniqueConstraint("channel", "first", "import_id"),
        sqlite_strict=True,
    )
    op.create_index("chunk_by_end", "chunk", ["channel", "last", "first", "import_id"])
    op.create_index("chunk_by_import", "chunk", ["import_id", "first", "last"])
    op.create_table(
        "hours",
        Column("chunk_id", Integer, ForeignKey("chunk.id", ondelete="CASCADE"), primary_key=True, autoincrement=False),
        Column("content", LargeBinary, nullable=False),
        sqlite_strict=True,
    )
    op.execute(f"CREATE TRIGGER chunk_no_update BEFORE UPDATE ON chunk BEGIN SELECT RAISE(ABORT, '{KEPT}'); END")

"""The files that were imported, byte for byte."""

from alembic import op
from sqlalchemy import Column, PrimaryKeyConstraint

from weirhouse.records.types import Bytes, Whole, Words

revision = "0002"
down_revision = "0001"

KEPT = "The records are only added to. Correct an entry by another entry."
SQLITE = [
    f"CREATE TRIGGER original_no_{verb.lower()} BEFORE {verb} ON original BEGIN SELECT RAISE(ABORT, '{KEPT}'); END"
    for verb in ("UPDATE", "DELETE")
]
POSTGRESQL = [
    f"CREATE TRIGGER original_no_{verb.lower()} BEFORE {verb} ON original FOR EACH {each} EXECUTE FUNCTION kept()"
    for verb, each in (("UPDATE", "ROW"), ("DELETE", "ROW"), ("TRUNCATE", "STATEMENT"))
]


def upgrade() -> None:
    """Make the table, and let nothing in it be changed or removed."""
    op.create_table(
        "original",
        Column("digest", Words, nullable=False),
        Column("part", Whole, nullable=False),
        Column("content", Bytes, nullable=False),
        PrimaryKeyConstraint("digest", "part"),
        sqlite_strict=True,
    )
    for trigger in SQLITE if op.get_bind().dialect.name == "sqlite" else POSTGRESQL:
        op.execute(trigger)

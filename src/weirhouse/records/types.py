"""Which column types hold our values exactly, on SQLite (STRICT) and on PostgreSQL?"""

from sqlalchemy import REAL, BigInteger, Integer, LargeBinary, Text
from sqlalchemy.dialects.postgresql import DOUBLE_PRECISION
from sqlalchemy.types import TypeEngine

# SQLite's INTEGER and REAL have 8 bytes, PostgreSQL's have 4: epoch microseconds and values need 8.
Whole = Integer().with_variant(BigInteger(), "postgresql")
Number: TypeEngine[float] = REAL().with_variant(DOUBLE_PRECISION(), "postgresql")
# The order of letters must be the same on every server, and outlast an upgrade of its operating system.
Words = Text().with_variant(Text(collation="C"), "postgresql")
Bytes = LargeBinary()

__all__ = ["Bytes", "Number", "Whole", "Words"]

"""Which column types hold our values exactly, on SQLite (STRICT) and on PostgreSQL?"""

from sqlalchemy import BigInteger, Integer, LargeBinary, Text

# SQLite's INTEGER has 8 bytes, PostgreSQL's has 4: epoch microseconds need 8.
Whole = Integer().with_variant(BigInteger(), "postgresql")
Words = Text()
Bytes = LargeBinary()

__all__ = ["Bytes", "Whole", "Words"]

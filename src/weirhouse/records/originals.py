"""What did an imported file say, byte for byte? Kept packed beside the series, under the SHA-256 of its bytes."""

import hashlib
import zlib
from collections.abc import Iterator

from weirhouse.records.engine import Database

PART = 4 << 20  # bytes of the file in one row
LEVEL = 6


def keep(database: Database, digest: str, raw: bytes) -> None:
    """Keep a file, inside of a write. One that is there already, from an earlier import, is kept once."""
    if database.row("SELECT 1 FROM original WHERE digest = ? LIMIT 1", (digest,)):
        return
    database.run_many("INSERT INTO original (digest, part, content) VALUES (?, ?, ?)", _packed(digest, raw))


def _packed(digest: str, raw: bytes) -> Iterator[tuple[str, int, bytes]]:
    for part, start in enumerate(range(0, len(raw), PART)):
        yield digest, part, zlib.compress(raw[start : start + PART], LEVEL)


def read(database: Database, digest: str) -> bytes | None:
    """Return a kept file; None where it is not there. ValueError where it is not what it was."""
    rows = database.rows("SELECT content FROM original WHERE digest = ? ORDER BY part", (digest,))
    if not rows:
        return None
    try:
        raw = b"".join(zlib.decompress(content) for (content,) in rows)
    except zlib.error as fault:
        raise ValueError(f"it cannot be unpacked ({fault})") from fault
    if hashlib.sha256(raw).hexdigest() != digest:
        raise ValueError("its bytes are not those that were imported")
    return raw

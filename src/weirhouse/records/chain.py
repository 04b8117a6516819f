"""Where does the chain of the ledger end, and what came into a stretch of time after a place in it?"""

from dataclasses import dataclass
from datetime import datetime

from weirhouse.records import ledger
from weirhouse.records.engine import Database
from weirhouse.records.ledger import Body, micros
from weirhouse.records.model import Entry
from weirhouse.records.store import Store


@dataclass(frozen=True, slots=True)
class Head:
    """The last entry of the chain: its number, and its hash in hexadecimal. It stands for all entries before it."""

    sequence: int
    hash: str


def head(store: Store) -> Head:
    """Return where the chain ends now."""
    sequence, digest = ledger.head(store._ledger)  # the room's own
    return Head(sequence, digest.hex())


def head_at(store: Store, sequence: int) -> Head:
    """Return where the chain ended when it had so many entries."""
    digest = ledger.hash_at(store._ledger, sequence)
    return Head(sequence, digest.hex() if digest is not None else "")


def last_entered(store: Store) -> datetime | None:
    """Return when the newest entry was made; None where there is none."""
    return ledger.last_entered(store._ledger)


def entered_after(store: Store, sequence: int, a: datetime, b: datetime) -> list[Entry]:
    """Return what was entered after a place in the chain and speaks of a time from `a` to before `b`, in order.

    A result speaks of the time of its sample, an import of that from its first value to its last, and a correction or
    withdrawal also of what it replaces.
    """
    entries = store._ledger
    rows = entries.rows(
        "SELECT sequence, body FROM entry WHERE sequence > ? AND (kind IN ('import', 'result') OR replaces IS NOT NULL "
        "OR (at >= ? AND at < ?)) ORDER BY sequence",
        (sequence, micros(a), micros(b)),
    )
    bodies = [(int(place), ledger.read(text)) for place, text in rows]
    return [ledger.entry(place, body) for place, body in bodies if _speaks_of(entries, body, a, b)]


def _speaks_of(entries: Database, body: Body, a: datetime, b: datetime) -> bool:
    if body.imported is not None:
        first, last = body.imported.first, body.imported.last
        return first is not None and last is not None and first < b and last >= a
    if body.result is not None:
        sample = ledger.sample_in_force(entries, body.result.sample)
        if sample is not None and a <= sample.taken_at < b:
            return True
    elif body.at is not None and micros(a) <= body.at < micros(b):
        return True
    old = ledger.find(entries, body.replaces) if body.replaces else None
    return old is not None and _speaks_of(entries, old, a, b)

"""What counts no more, and what took its place? Corrected and withdrawn entries, as they were made."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from weirhouse.records import ledger
from weirhouse.records.ledger import micros
from weirhouse.records.model import Entry
from weirhouse.records.store import Store

LOOKED_BACK = 500  # entries, for what somebody entered last


@dataclass(frozen=True, slots=True)
class Replaced:
    """An entry that counts no more, and the one that took its place."""

    entry: Entry
    by: Entry

    @property
    def withdrawn(self) -> bool:
        """Whether nothing took its place."""
        return self.by.item is None


def replaced(store: Store, since: datetime, until: datetime) -> list[Replaced]:
    """Return what was corrected or withdrawn of the readings, events and samples from `since` to before `until`."""
    rows = store._ledger.rows(
        "SELECT entry.sequence, entry.body, later.sequence, later.body FROM entry JOIN entry AS later "
        "ON later.replaces = entry.id WHERE entry.kind IN ('reading', 'event', 'sample') "
        "AND entry.at >= ? AND entry.at < ? ORDER BY entry.at, entry.sequence",
        (micros(since), micros(until)),
    )
    return [
        Replaced(ledger.entry(int(a), ledger.read(old)), ledger.entry(int(b), ledger.read(new)))
        for a, old, b, new in rows
    ]


def newest_by(store: Store, person: str) -> Iterator[Entry]:
    """Yield what a person entered of late and still counts, the newest first; withdrawals are not among it."""
    rows = store._ledger.rows(
        "SELECT sequence, body FROM entry WHERE kind IN ('reading', 'event', 'sample', 'result') AND NOT EXISTS "
        "(SELECT 1 FROM entry AS later WHERE later.replaces = entry.id) ORDER BY sequence DESC LIMIT ?",
        (LOOKED_BACK,),
    )
    for sequence, text in rows:
        body = ledger.read(text)
        if body.person == person and body.import_id is None:
            yield ledger.entry(int(sequence), body)

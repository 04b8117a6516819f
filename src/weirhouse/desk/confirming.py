"""Who has compared a rule of ours with the printed one? What is from memory, and the record of comparing it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from weirhouse.records.model import Event
from weirhouse.records.store import Store
from weirhouse.rules.model import Confirmation
from weirhouse.rules.packs import TABLES, RuleBook

KIND = "rule_confirmed"


class ConfirmError(ValueError):
    """A rule cannot be confirmed as asked: one sentence with what to mend. Nothing was changed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One text that can be compared with print: a requirement of a pack, or a table."""

    key: str  # "us_federal/cfe_95_small", "contact_time/giardia_free_chlorine"
    title: str
    citation: str
    provenance: str  # source, memory, mixed
    used: bool  # whether a result hangs on it
    confirmed: Confirmation | None


def standings(book: RuleBook) -> tuple[Standing, ...]:
    """Return every text of the rules in force that can be compared with print, tables first."""
    tables = [
        Standing(
            key=key, title=title, citation="", provenance="memory", used=True, confirmed=book.tables_confirmed.get(key)
        )
        for key, title in TABLES.items()
    ]
    rules = [
        Standing(
            key=r.key, title=r.title, citation=r.citation, provenance=r.provenance, used=bool(r.check),
            confirmed=r.confirmed,
        )
        for r in book.requirements
    ]  # fmt: skip
    return (*tables, *rules)


def find(book: RuleBook, words: str) -> Standing:
    """Return the text that a person names by its key, or by its id alone; ConfirmError when there is none."""
    some: Sequence[Standing] = standings(book)
    found = [s for s in some if words in (s.key, s.key.split("/", 1)[1])]
    if not found:
        near = [s.key for s in some if words.strip().lower() in s.key.lower() or words.lower() in s.title.lower()][:3]
        hint = f" Nearest: {', '.join(near)}." if near else " See: weirhouse rules list."
        raise ConfirmError(f'There is no rule "{words[:60]}".{hint}')
    return found[0]


def confirm(store: Store, book: RuleBook, words: str, *, edition: str, person: str, now: datetime) -> Event:
    """Record that a person has compared a text with the printed rule, and return the event.

    Raises
    ------
    ConfirmError
        If there is no such text, or edition or person is missing.
    """
    one = find(book, words)
    if not edition.strip():
        raise ConfirmError('Say what it was compared with, like "40 CFR part 141, July 2026, printed".')
    if not person.strip():
        raise ConfirmError("Say who compared it.")
    event = Event(
        kind=KIND, started_at=now, subject=one.key, values={"edition": edition.strip()}, person=person.strip()
    )
    store.add_events([event], entered_at=now)
    return event

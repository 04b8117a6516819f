"""How is a month closed? By a person, once it is over; what is still open then is closed with a reason.

The closing is an event of the ledger. It keeps the digest of the report's JSON file and where the chain stood, so that
the report made later can be held against the one that was signed.
"""

import uuid
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from weirhouse.desk.proof import MonthProof
from weirhouse.plant.model import Plant
from weirhouse.records import closing as closings
from weirhouse.records.chain import Head
from weirhouse.records.model import Event
from weirhouse.records.store import Store

SHORTEST = 8  # letters of a reason or an explanation; less says nothing


class ProofEntryError(ValueError):
    """What was to be written cannot be: one sentence with what to mend; `field` is the one at fault."""

    def __init__(self, message: str, field: str = "") -> None:
        super().__init__(message)
        self.field = field


def planned(plant: Plant, month: str, *, person: str, at: datetime, note: str = "", id: str = "") -> Event:
    """Return the closing of a month before it is written: what the report says of it does not hang on its digest."""
    _named(person)
    return closings.closing(
        month, plant.time_zone, person=person.strip(), at=at.astimezone(UTC).replace(microsecond=0),
        note=note.strip(), id=id or str(uuid.uuid4()),
    )  # fmt: skip


def close_month(store: Store, proof: MonthProof, *, digest: str, version: str, now: datetime) -> Event:
    """Close a month with the report that was made of its planned closing, and return the event as stored.

    Raises
    ------
    ProofEntryError
        If the month is not over or is closed already, or something is open and no reason is given.
    """
    event = proof.closed
    if event is None:
        raise ProofEntryError("Nobody is named who closes the month.", "person")
    before = store.events("closed", subject=proof.month)
    if before:
        raise ProofEntryError(f"{proof.month} was closed by {before[0].person} already, and stays closed.")
    why = keeps_open(proof, event.note)
    if why:
        raise ProofEntryError(why, "note")
    head: Head = proof.records.head
    said: Mapping[str, Any] = {
        "entries": float(head.sequence), "head": head.hash, "digest": digest, "made_with": version,
        "open": float(len(proof.open)),
    }  # fmt: skip
    event = replace(event, values={**event.values, **said})
    store.add_events([event], entered_at=now)
    return event


def keeps_open(proof: MonthProof, note: str) -> str:
    """Return what keeps a month from being closed with this note; empty when nothing does."""
    if not proof.records.complete:
        return f"{proof.month} is not over yet. Close it once it is."
    if proof.open and len(note.strip()) < SHORTEST:
        count = len(proof.open)
        return (
            f"{count} {'point is' if count == 1 else 'points are'} still open. Mend what can be mended; to close the "
            "month as it is, write why."
        )
    return ""


def explain(store: Store, plant: Plant, subject: str, text: str, *, person: str, now: datetime, id: str = "") -> Event:
    """Write the explanation of a reading put aside, an exceedance or a gap, and return it as stored."""
    _named(person)
    if not subject.strip():
        raise ProofEntryError("It is not said what is explained. Open it from the list of what is open.", "subject")
    if len(text.strip()) < SHORTEST:
        raise ProofEntryError("The explanation is too short. Write what happened and what was done.", "text")
    return _stored(store, "explained", subject, {}, text, person, now, id)


def confirm_rule(
    store: Store, key: str, edition: str, *, person: str, now: datetime, id: str = "", note: str = ""
) -> Event:
    """Write that a person compared a rule of ours with the printed one, and return the event as stored."""
    _named(person)
    if len(edition.strip()) < SHORTEST:
        raise ProofEntryError(
            'Write with which print you compared it, such as "40 CFR 141.551, July 2026, printed from the eCFR".',
            "edition",
        )
    return _stored(store, "rule_confirmed", key, {"edition": edition.strip()}, note, person, now, id)


def record_step(
    store: Store, notice: str, step: str, *, person: str, at: datetime, now: datetime, note: str = "", id: str = ""
) -> Event:
    """Write that a step of a notice was done at a time, and return the event as stored."""
    _named(person)
    _past(at, now)
    return _stored(store, "notice", notice, {"step": step}, note, person, at, id, entered=now)


def close_notice(store: Store, notice: str, *, person: str, now: datetime, note: str, id: str = "") -> Event:
    """Write that a notice is closed, with what was decided and by whom, and return the event as stored."""
    _named(person)
    if len(note.strip()) < SHORTEST:
        raise ProofEntryError("Write what was decided, and by whom: the State's person, the day and the hour.", "note")
    return _stored(store, "notice", notice, {"step": "closed"}, note, person, now, id)


def _stored(
    store: Store, kind: str, subject: str, values: Mapping[str, float | str], note: str, person: str, at: datetime,
    id: str, *, entered: datetime | None = None,
) -> Event:  # fmt: skip
    event = Event(
        kind=kind, subject=subject, started_at=at.astimezone(UTC), values=dict(values), person=person.strip(),
        note=note.strip(), id=id or str(uuid.uuid4()),
    )  # fmt: skip
    store.add_events([event], entered_at=entered or at)
    return event


def _named(person: str) -> None:
    if not person.strip():
        raise ProofEntryError("Nobody is named. Write who does it: this is evidence.", "person")


def _past(at: datetime, now: datetime) -> None:
    if at > now:
        raise ProofEntryError("That time lies ahead. Write when it was done.", "time")

"""What may be entered, and what does its entry say? Checks that hold for whoever writes, before anything is stored."""

import math
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

import msgspec

from weirhouse.records.ledger import Body, ImportBody, micros, moment, utc
from weirhouse.records.model import QUALIFIERS, READING_FLAGS, Event, Reading, RecordsError, Series

_A = {"reading": "a reading", "event": "an event", "import": "an import", "withdrawal": "a withdrawal"}
_NAMES = uuid.UUID("5f0f6d0e-6f0c-4e0a-9a55-6a2f5a1c7b11")  # of the ids that are worked out here


def of_reading(reading: Reading, entered: datetime) -> Body:
    """Return the entry of a reading; RecordsError where it cannot be."""
    of = f"the reading of {reading.channel or 'no channel'}"
    _require_attribution(of, reading.id, reading.person or reading.device)
    if not reading.channel:
        raise RecordsError(f'The reading "{reading.text}" has no channel. Name the channel that it belongs to.')
    if reading.value is not None and not math.isfinite(reading.value):
        raise RecordsError(f'The value "{reading.text}" of {reading.channel} is no finite number. Write a number.')
    if reading.qualifier not in QUALIFIERS:
        raise RecordsError(f'The qualifier "{reading.qualifier}" of {of} is unknown. Use <, >, ND or nothing.')
    if reading.flag not in READING_FLAGS:
        raise RecordsError(f'The flag "{reading.flag}" of {of} is unknown. Use doubtful, rejected or nothing.')
    taken = utc(of, reading.taken_at)
    value = None if reading.value is None else float(reading.value)
    plain = replace(reading, taken_at=taken, value=value)
    return Body(
        id=reading.id, kind="reading", entered_at=entered, person=reading.person or reading.device, reading=plain
    )  # fmt: skip


def of_event(event: Event, entered: datetime) -> Body:
    """Return the entry of an event; RecordsError where it cannot be."""
    of = f"the event {event.kind or 'without kind'}"
    _require_attribution(of, event.id, event.person)
    if not event.kind:
        raise RecordsError("An event has no kind. Say what happened: backwash, start, stop, note ...")
    started, ended = utc(of, event.started_at), None
    if event.ended_at is not None:
        ended = utc(of, event.ended_at)
        if ended < started:
            raise RecordsError(f"The end of {of} lies before its start {started:%Y-%m-%d %H:%M} UTC. Mend one of them.")
    values: dict[str, float | str] = {}
    for name, value in event.values.items():
        if not isinstance(value, str):
            value = float(value)
            if not math.isfinite(value):
                raise RecordsError(f'The value "{name}" of {of} is no finite number. Write a number.')
        values[str(name)] = value
    plain = replace(event, started_at=started, ended_at=ended, values=values)
    return Body(id=event.id, kind="event", entered_at=entered, person=event.person, event=plain)


def correction(old: Body, replacement: Reading | Event | None, person: str, reason: str, entered: datetime) -> Body:
    """Return the entry that puts another reading or event, or nothing, in the place of an old one."""
    if replacement is None:
        if old.kind not in ("reading", "event"):
            raise RecordsError(
                f'The entry "{old.id}" is {_A[old.kind]}, and is not corrected. Withdraw an import whole.'
            )
        made = Body(id=worked_out_id(old.id, "withdrawn"), kind="withdrawal", entered_at=entered, person=person)
    else:
        made = of_reading(replacement, entered) if isinstance(replacement, Reading) else of_event(replacement, entered)
        if made.kind != old.kind:
            raise RecordsError(f'The entry "{old.id}" is {_A[old.kind]}; {_A[made.kind]} cannot take its place.')
        if made.id == old.id:
            id = worked_out_id(old.id, content([made]))
            made = msgspec.structs.replace(
                made, id=id, reading=made.reading and replace(made.reading, id=id),
                event=made.event and replace(made.event, id=id),
            )  # fmt: skip
    return msgspec.structs.replace(
        made, person=person, replaces=old.id, reason=reason, import_id=old.import_id, entered_at=entered
    )


def of_import(
    name: str, digest: str, rows: str, tidy: Mapping[str, Series], bodies: Sequence[Body], detail: Mapping[str, Any]
) -> ImportBody:
    """Return what the ledger says of an import."""
    stamps = [int(one.times[i]) for one in tidy.values() for i in (0, -1)]
    stamps += [micros(body.reading.taken_at) // 1_000_000 for body in bodies if body.reading]
    channels = set(tidy) | {body.topic for body in bodies}
    name = name.encode(errors="replace").decode()  # a name of a file need not be text
    return ImportBody(
        name=name, digest=digest, rows=rows, values=sum(len(one.times) for one in tidy.values()), readings=len(bodies),
        channels=sorted(channels), first=moment(min(stamps) * 1_000_000) if stamps else None,
        last=moment(max(stamps) * 1_000_000) if stamps else None, detail=dict(detail),
    )  # fmt: skip


def content(bodies: Sequence[Body]) -> str:
    """Return what readings and events say, without their ids."""
    said = []
    for body in bodies:
        item = body.reading or body.event
        assert item is not None
        said.append(msgspec.json.encode(replace(item, id=""), order="sorted").decode())
    return "\n".join(said)


def worked_out_id(id: str, what: str) -> str:
    """Return an id that is the same each time it is worked out from the same."""
    return str(uuid.uuid5(_NAMES, f"{id}\n{what}"))


def _require_attribution(of: str, id: str, who: str) -> None:
    if not who.strip():
        raise RecordsError(f"Nobody and no device is named for {of}. Say who or what it comes from: it is evidence.")
    if not id:
        raise RecordsError(f"{of[0].upper()}{of[1:]} has no id. Give each entry an id of its own.")


def require_words(person: str, reason: str, what: str) -> None:
    """Refuse what nobody answers for or what has no reason."""
    if not person.strip() or not reason.strip():
        raise RecordsError(f"To {what}, say who does it and why: both stay in the ledger.")

"""What may be entered, and what does its entry say? Checks that hold for whoever writes, before anything is stored."""

import math
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

import msgspec

from weirhouse.records import closing
from weirhouse.records.ledger import LONGEST_NAME, Body, ImportBody, moment, utc
from weirhouse.records.model import (
    LAB_FLAGS,
    LIMIT_KINDS,
    PURPOSES,
    QUALIFIERS,
    READING_FLAGS,
    Event,
    Item,
    Reading,
    RecordsError,
    Result,
    Sample,
    Series,
)

_A = {
    "reading": "a reading", "event": "an event", "sample": "a sample", "result": "a result", "import": "an import",
    "withdrawal": "a withdrawal",
}  # fmt: skip
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
    if plain.kind == closing.KIND:
        closing.require_closing(plain)
    return Body(id=event.id, kind="event", entered_at=entered, person=event.person, event=plain)


def of_sample(sample: Sample, entered: datetime) -> Body:
    """Return the entry of a sample; RecordsError where it cannot be."""
    of = f"the sample of {sample.point or 'no place'}"
    _require_attribution(of, sample.id, sample.person)
    if not sample.point.strip():
        raise RecordsError("A sample has no place. Say where the bottle was filled.")
    if not sample.sampler.strip():
        raise RecordsError(f"Nobody is named who took {of}. Say who filled the bottle: it is evidence.")
    if sample.purpose not in PURPOSES:
        raise RecordsError(f'The purpose "{sample.purpose}" of {of} is unknown. Use {", ".join(PURPOSES)}.')
    taken = last = utc(of, sample.taken_at)
    steps = []
    for step in sample.custody:
        at = utc(f"a handover of {of}", step.at)
        if not step.person.strip():
            raise RecordsError(f"A handover of {of} names nobody. Say who took the bottle over.")
        if at < last:
            raise RecordsError(
                f"The handover of {of} to {step.person} at {at:%Y-%m-%d %H:%M} UTC lies before the step ahead of it. "
                "Mend one of the times."
            )
        steps.append(replace(step, at=at))
        last = at
    plain = replace(sample, taken_at=taken, custody=tuple(steps))
    return Body(id=sample.id, kind="sample", entered_at=entered, person=sample.person, sample=plain)


def of_result(result: Result, entered: datetime) -> Body:
    """Return the entry of a result; RecordsError where it cannot be."""
    of = f"the result of {result.analyte or 'nothing'}"
    _require_attribution(of, result.id, result.person)
    if not result.analyte.strip():
        raise RecordsError(f'The result "{result.text}" does not say of what. Name what the laboratory looked for.')
    if not result.sample:
        raise RecordsError(f"{of[0].upper()}{of[1:]} belongs to no sample. Name the sample that it was found in.")
    numbers: dict[str, Any] = {}
    for name in ("value", "limit", "holding_limit"):
        number = getattr(result, name)
        if number is not None and not math.isfinite(number):
            raise RecordsError(f'The number "{result.text}" of {of} is no finite number ({name}). Write a number.')
        numbers[name] = None if number is None else float(number)
    _require_condition(of, result)
    times: dict[str, Any] = {
        name: None if at is None else utc(of, at)
        for name, at in (("analysed_at", result.analysed_at), ("prepared_at", result.prepared_at))
    }
    plain = replace(result, lab_flags=tuple(result.lab_flags), **numbers, **times)
    return Body(id=result.id, kind="result", entered_at=entered, person=result.person, result=plain)


def _require_condition(of: str, result: Result) -> None:
    """Refuse a result whose number, qualifier, limit and flags contradict each other."""
    for name, given, known in (
        ("qualifier", result.qualifier, QUALIFIERS), ("flag", result.flag, READING_FLAGS),
        ("kind of limit", result.limit_kind, LIMIT_KINDS),
        *(("flag of the laboratory", flag, LAB_FLAGS) for flag in result.lab_flags),
    ):  # fmt: skip
        if given not in known:
            raise RecordsError(
                f'The {name} "{given}" of {of} is unknown. Use {", ".join(one for one in known if one)} or nothing.'
            )
    if (result.limit is None) != (not result.limit_kind):
        raise RecordsError(f"The limit of {of} needs both a number and its kind ({', '.join(LIMIT_KINDS[1:])}).")
    undetected = not {"U", "UJ"}.isdisjoint(result.lab_flags)
    if result.value is not None and (result.qualifier or undetected):
        mark = result.qualifier or "U"
        raise RecordsError(
            f'{of[0].upper()}{of[1:]} is marked "{mark}" and holds a value as well. Write the number as its limit: '
            "what was not measured is no number."
        )
    if result.qualifier in ("<", ">") and result.limit is None:
        raise RecordsError(f'{of[0].upper()}{of[1:]} is marked "{result.qualifier}" without a limit. Write the limit.')
    if (result.qualifier == ">" or result.limit_kind == "range") and (result.qualifier, result.limit_kind) != (
        ">",
        "range",
    ):
        raise RecordsError(f'A result ">" goes with a limit of kind "range", and only it: mend {of}.')
    if undetected and result.qualifier == ">":
        raise RecordsError(f'{of[0].upper()}{of[1:]} is marked "U" and ">" at once. Mend one of them.')


def of_item(item: Item, entered: datetime) -> Body:
    """Return the entry of whatever was entered."""
    match item:
        case Reading():
            return of_reading(item, entered)
        case Event():
            return of_event(item, entered)
        case Sample():
            return of_sample(item, entered)
        case Result():
            return of_result(item, entered)


def correction(old: Body, replacement: Item | None, person: str, reason: str, entered: datetime) -> Body:
    """Return the entry that puts another reading or event, or nothing, in the place of an old one."""
    kinds = {item.kind for item in (old.event, replacement) if isinstance(item, Event)}
    if closing.KIND in kinds:
        raise RecordsError("A closed day or month stays closed. Correct the entries in it that are wrong.")
    if replacement is None:
        if old.item is None:
            raise RecordsError(
                f'The entry "{old.id}" is {_A[old.kind]}, and is not corrected. Withdraw an import whole.'
            )
        made = Body(id=worked_out_id(old.id, "withdrawn"), kind="withdrawal", entered_at=entered, person=person)
    else:
        made = of_item(replacement, entered)
        if made.kind != old.kind:
            raise RecordsError(f'The entry "{old.id}" is {_A[old.kind]}; {_A[made.kind]} cannot take its place.')
        if made.id == old.id:
            id = worked_out_id(old.id, content([made]))
            assert made.item is not None
            made = msgspec.structs.replace(made, id=id, **{made.kind: replace(made.item, id=id)})
    return msgspec.structs.replace(
        made, person=person, replaces=old.id, reason=reason, import_id=old.import_id, entered_at=entered
    )


def of_import(
    name: str,
    digest: str,
    rows: str,
    tidy: Mapping[str, Series],
    bodies: Sequence[Body],
    detail: Mapping[str, Any],
    kept: int = 0,
) -> ImportBody:
    """Return what the ledger says of an import."""
    stamps = [int(one.times[i]) for one in tidy.values() for i in (0, -1)]
    stamps += [body.at // 1_000_000 for body in bodies if body.kind in ("reading", "sample") and body.at is not None]
    channels = set(tidy) | {body.topic for body in bodies if body.kind != "sample"}
    counts = {kind: sum(body.kind == kind for body in bodies) for kind in ("reading", "sample", "result")}
    name = name.encode(errors="replace").decode()  # a name of a file need not be text, nor short
    name = "".join(sign if ord(sign) >= 32 else "?" for sign in name)[:LONGEST_NAME]
    return ImportBody(
        name=name, digest=digest, rows=rows, values=sum(len(one.times) for one in tidy.values()),
        readings=counts["reading"], samples=counts["sample"], results=counts["result"],
        channels=sorted(channels), first=moment(min(stamps) * 1_000_000) if stamps else None,
        last=moment(max(stamps) * 1_000_000) if stamps else None, detail=dict(detail), kept=kept,
    )  # fmt: skip


def content(bodies: Sequence[Body]) -> str:
    """Return what entries say, without their ids; a result says which of the samples beside it it belongs to."""
    said = []
    places: dict[str, str] = {}
    for body in bodies:
        item = body.item
        assert item is not None
        if isinstance(item, Sample):
            places[item.id] = f"sample {len(places) + 1}"
        elif isinstance(item, Result):
            item = replace(item, sample=places.get(item.sample, item.sample))
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

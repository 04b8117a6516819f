"""What is written in the day log, and what stands there? Notes, readings and events with person and time."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from weirhouse.plant.model import Plant
from weirhouse.quantity import label, parse, show
from weirhouse.records.model import Event, Reading
from weirhouse.records.store import Store

KINDS = {
    "note": "Note",
    "start": "Plant started",
    "stop": "Plant stopped",
    "backwash": "Backwash",
    "filter_to_waste": "Filter to waste",
    "dose_change": "Dose changed",
    "intake_shut": "Intake shut",
    "intake_open": "Intake opened",
    "outage": "Outage",
    "power_failure": "Power failure",
    "sample": "Sample taken",
    "batch": "Batch mixed",
    "delivery": "Delivery",
    "instrument_fault": "Instrument fault",
    "maintenance": "Maintenance",
}
_SUBJECT_WANTED = {
    "backwash": "filter",
    "filter_to_waste": "filter",
    "dose_change": "feed",
    "instrument_fault": "channel",
}


class DayLogError(ValueError):
    """What was to be written cannot be: one sentence with what to mend."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LogLine:
    """One line of the day log, times in the plant's zone."""

    at: datetime
    until: datetime | None
    kind: str  # an event's kind, or "reading"
    title: str
    text: str
    person: str
    id: str


def write_note(
    store: Store, plant: Plant, text: str, *, person: str, at: datetime, now: datetime, id: str = ""
) -> Event:
    """Write a free note and return it as stored. Writing it again with the same id changes nothing."""
    if not text.strip():
        raise DayLogError("The note is empty. Write what was seen or done.")
    return write_event(store, plant, "note", person=person, at=at, now=now, note=text, id=id)


def write_event(
    store: Store,
    plant: Plant,
    kind: str,
    *,
    person: str,
    at: datetime,
    now: datetime,
    until: datetime | None = None,
    subject: str = "",
    values: Mapping[str, float | str] | None = None,
    note: str = "",
    id: str = "",
) -> Event:
    """Write an event and return it as stored.

    Raises
    ------
    DayLogError
        If the kind is unknown, nobody is named, the subject is not one of the plant's, or a time cannot be.
    """
    if kind not in KINDS:
        raise DayLogError(f'"{kind}" is no kind of entry. Choose one of: {", ".join(KINDS)}.')
    _person_and_time(person, at, now)
    if until is not None and until < at:
        raise DayLogError(
            f"The end {until:%Y-%m-%d %H:%M} lies before the start {at:%Y-%m-%d %H:%M}. Mend one of them."
        )
    wanted = _SUBJECT_WANTED.get(kind)
    if wanted:
        allowed = {
            "filter": [one.id for one in plant.filters],
            "feed": [one.id for one in plant.feeds],
            "channel": list(plant.channels),
        }[wanted]
        if subject not in allowed:
            what = f'"{subject}" is no {wanted} of this plant' if subject else f"Which {wanted}?"
            raise DayLogError(f"{what.rstrip('?.')}. Choose one of: {', '.join(allowed) or 'none in the plant file'}.")
    event = Event(
        kind=kind, started_at=at.astimezone(UTC), ended_at=until.astimezone(UTC) if until else None, subject=subject,
        values=dict(values or {}), person=person.strip(), note=note.strip(), id=id or str(uuid.uuid4()),
    )  # fmt: skip
    store.add_events([event], entered_at=now)
    return event


def write_reading(
    store: Store,
    plant: Plant,
    channel: str,
    text: str,
    *,
    person: str,
    at: datetime,
    now: datetime,
    qualifier: str = "",
    flag: str = "",
    note: str = "",
    id: str = "",
) -> Reading:
    """Write a reading as it was typed ("3.2", "3.2 NTU", "<0.02") and return it as stored.

    A bare number is taken in the unit in which the plant writes that channel.

    Raises
    ------
    DayLogError
        If the channel is not one of the plant's, nobody is named, or the time cannot be.
    QuantityError
        If the text is no quantity that fits the channel.
    """
    found = plant.channels.get(channel)
    if found is None:
        raise DayLogError(f'"{channel}" is no channel of this plant. Add it to plant.toml, or choose another.')
    _person_and_time(person, at, now)
    typed = text.strip()
    if not qualifier and typed[:1] in ("<", ">"):
        qualifier, typed = typed[0], typed[1:].strip()
    if not qualifier and typed.upper() in ("ND", "NON-DETECT"):
        qualifier, typed = "ND", ""
    value = None if not typed else parse(_with_unit(typed, found.unit), found.inside, found.name)
    if value is None and qualifier != "ND":
        raise DayLogError(f"{found.name} is empty. Write the figure, or ND when nothing was detected.")
    reading = Reading(
        channel=channel, value=value, taken_at=at.astimezone(UTC), unit=found.unit, text=text.strip(),
        qualifier=qualifier, flag=flag, person=person.strip(), note=note.strip(), id=id or str(uuid.uuid4()),
    )  # fmt: skip
    store.add_readings([reading], entered_at=now)
    return reading


def _with_unit(typed: str, unit: str) -> str:
    bare = typed.replace(",", "").replace(" ", "").lstrip("+-")
    return f"{typed} {unit}" if bare.replace(".", "", 1).isdigit() else typed


def _person_and_time(person: str, at: datetime, now: datetime) -> None:
    if not person.strip():
        raise DayLogError("Nobody is named. Write who did it: the log is evidence.")
    if at.tzinfo is None:
        raise DayLogError(f"The time {at:%Y-%m-%d %H:%M} has no time zone. Give it in the plant's zone.")
    if at > now + timedelta(minutes=5):
        raise DayLogError(f"The time {at:%Y-%m-%d %H:%M} lies ahead. Write what has happened, at the time it happened.")


def entries(store: Store, plant: Plant, day: date, *, search: str = "") -> tuple[LogLine, ...]:
    """Return the log of a local day in order of time, with `search` only the lines that hold its words."""
    zone = plant.zone
    start = datetime.combine(day, time(0), zone).astimezone(UTC)
    end = datetime.combine(day + timedelta(days=1), time(0), zone).astimezone(UTC)
    lines = [_event_line(event, plant) for event in store.events(since=start, until=end)]
    lines += [_reading_line(reading, plant) for reading in store.readings(since=start, until=end)]
    words = search.casefold().split()
    kept = [
        line for line in lines if all(word in f"{line.title} {line.text} {line.person}".casefold() for word in words)
    ]
    return tuple(sorted(kept, key=lambda line: (line.at.astimezone(UTC), line.id)))


def _event_line(event: Event, plant: Plant) -> LogLine:
    names = {part.id: part.name for part in (*plant.channels.values(), *plant.stages, *plant.filters)}
    parts = [names.get(event.subject, event.subject)] if event.subject else []
    said = ", ".join(_value_text(name, value, event.subject, plant) for name, value in event.values.items())
    parts += [said] if said else []
    parts += [event.note] if event.note else []
    zone = plant.zone
    return LogLine(
        at=event.started_at.astimezone(zone), until=event.ended_at.astimezone(zone) if event.ended_at else None,
        kind=event.kind, title=KINDS.get(event.kind, event.kind.replace("_", " ").capitalize()),
        text=": ".join(parts), person=event.person, id=event.id,
    )  # fmt: skip


# What the numbers of an event measure, by their names: inside unit, and how people write it in each unit set.
_MEASURES = {
    "from": ("g/m^3", "mg/L", "mg/L"),
    "to": ("g/m^3", "mg/L", "mg/L"),
    "volume": ("m^3", "gal", "m^3"),
    "product": ("m^3", "gal", "L"),
    "rate": ("m/s", "gpm/ft^2", "m/h"),
    "start_head_loss": ("m", "ft", "m"),
    "turbidity_end": ("NTU", "NTU", "NTU"),
    "level_before": ("m", "in", "cm"),
    "level_after": ("m", "in", "cm"),
}


def _value_text(name: str, value: float | str, subject: str, plant: Plant) -> str:
    """Return one value of an event as people write it: ``to 21.5 mg/L``; a number of an unknown measure as it is."""
    words = name.replace("_", " ")
    if isinstance(value, str):
        return f"{words} {value}"
    if name not in _MEASURES:
        return f"{words} {value:g}"
    inside, us, si = _MEASURES[name]
    channel = plant.channels.get(f"{subject}_tank_level") if name.startswith("level") else None
    display = channel.unit if channel is not None else us if plant.unit_set == "US" else si
    return f"{words} {show(value, inside, display)}"


def _reading_line(reading: Reading, plant: Plant) -> LogLine:
    channel = plant.channels.get(reading.channel)
    title = channel.name if channel else reading.channel
    shown = "not detected" if reading.value is None and reading.qualifier == "ND" else reading.text
    if shown[-1:].isdigit() and label(reading.unit):
        shown = f"{shown} {label(reading.unit)}"  # as it was typed: its digits say how finely it was read
    flag = f" ({reading.flag})" if reading.flag else ""
    note = f": {reading.note}" if reading.note else ""
    return LogLine(
        at=reading.taken_at.astimezone(plant.zone), until=None, kind="reading", title=title,
        text=f"{shown}{flag}{note}", person=reading.person or reading.device, id=reading.id,
    )  # fmt: skip

"""What is written in the day log, and what stands there? Notes, readings and events with person and time."""

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta

from weirhouse.plant.model import Channel, Feed, Filter, Plant, Stage
from weirhouse.quantity import QuantityError, label, parse, show
from weirhouse.records.closing import Period
from weirhouse.records.ledger import micros
from weirhouse.records.model import Event, Item, Reading
from weirhouse.records.replaced import Replaced, replaced
from weirhouse.records.store import Store
from weirhouse.situation.ages import elapsed_s, later
from weirhouse.situation.feeds import feed_channel

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
    "batch": "Day tank filled",
    "delivery": "Delivery",
    "stock_count": "Stock counted",
    "instrument_check": "Instrument checked",
    "instrument_out": "Instrument out of service",
    "instrument_fault": "Instrument fault",
    "maintenance": "Maintenance",
    "plan": "Plan or survey",
    "deficiency": "Deficiency found",
    "closed": "Closed",
}
NOT_SHOWN = frozenset({"access", "person", "closed"})  # kept in the same records, and shown elsewhere
PARTS = "part"  # what an outage or maintenance is about, where it is said
_SUBJECT_WANTED = {
    "backwash": "filter",
    "filter_to_waste": "filter",
    "dose_change": "feed",
    "batch": "feed",
    "delivery": "feed",
    "stock_count": "feed",
    "instrument_fault": "channel",
    "instrument_check": "channel",
    "instrument_out": "channel",
}
_SUBJECT_OFFERED = {"outage": PARTS, "maintenance": PARTS}
# How far back [s] an entry without an end is taken to be still going on; a wash without one was more likely forgotten.
_OPEN_S = {
    "backwash": 12 * 3600.0,
    "filter_to_waste": 24 * 3600.0,
    "outage": 400 * 86400.0,
    "power_failure": 400 * 86400.0,
    "instrument_fault": 400 * 86400.0,
    "instrument_out": 400 * 86400.0,
}
AHEAD_S = 300.0  # between the clocks of two devices


class DayLogError(ValueError):
    """What was to be written cannot be: one sentence with what to mend; `field` is the one at fault."""

    def __init__(self, message: str, field: str = "") -> None:
        super().__init__(message)
        self.field = field


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
    struck: str = ""  # why it counts no more: who put something else or nothing in its place, when and why


def write_note(
    store: Store, plant: Plant, text: str, *, person: str, at: datetime, now: datetime, id: str = "", late: str = ""
) -> Event:
    """Write a free note and return it as stored. Writing it again with the same id changes nothing."""
    if not text.strip():
        raise DayLogError("The note is empty. Write what was seen or done.", "text")
    return write_event(store, plant, "note", person=person, at=at, now=now, note=text, id=id, late=late)


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
    late: str = "",
) -> Event:
    """Write an event and return it as stored; `late` says why it comes into a day that is closed.

    Raises
    ------
    DayLogError
        If the kind is unknown, nobody is named, the subject is not one of the plant's, or a time cannot be.
    """
    event = event_of(
        plant, kind, person=person, at=at, now=now, until=until, subject=subject, values=values, note=note, id=id
    )
    store.add_events([event], entered_at=now, reason=late)
    return event


def event_of(
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
    """Return an event, not stored yet. Raises what `write_event` does."""
    if kind not in KINDS:
        raise DayLogError(f'"{kind}" is no kind of entry. Choose one of: {", ".join(KINDS)}.')
    _person_and_time(plant, person, at, now)
    if until is not None:
        _end(plant, at, until, now)
    wanted, offered = subject_of(kind), _SUBJECT_OFFERED.get(kind, "")
    if (wanted or (offered and subject)) and subject not in (allowed := subjects(plant, wanted or offered)):
        what = f'"{subject}" is no {wanted or offered} of this plant' if subject else f"Which {wanted} is not said"
        names = ", ".join(allowed.values()) or "none in the plant file"
        raise DayLogError(f"{what}. Choose one of: {names}.", "subject")
    return Event(
        kind=kind, started_at=at.astimezone(UTC), ended_at=until.astimezone(UTC) if until else None, subject=subject,
        values=dict(values or {}), person=person.strip(), note=note.strip(), id=id or str(uuid.uuid4()),
    )  # fmt: skip


def subject_of(kind: str) -> str:
    """Return what an event of a kind is about: "filter", "feed" or "channel"; empty when it is about the plant."""
    return _SUBJECT_WANTED.get(kind, "")


def offered_of(kind: str) -> str:
    """Return what an event of a kind may be about, if one says so: "part"; empty where nothing is asked."""
    return _SUBJECT_OFFERED.get(kind, "")


def subjects(plant: Plant, what: str) -> dict[str, str]:
    """Return the filters, feeds, channels or parts of the plant: id, name."""
    of: dict[str, Iterable[Filter | Feed | Channel | Stage]] = {
        "filter": plant.filters, "feed": plant.feeds, "channel": plant.channels.values(), PARTS: plant.stages,
    }  # fmt: skip
    return {one.id: one.name for one in of[what]}


def write_dose_change(
    store: Store,
    plant: Plant,
    feed: str,
    to: str,
    *,
    before: str = "",
    person: str,
    at: datetime,
    now: datetime,
    note: str = "",
    id: str = "",
    late: str = "",
) -> Event:
    """Write that a feed's dose was changed, and the new dose as a reading, so that advice follows it.

    Both doses are as they were typed; a bare number is taken in the unit of the feed's dose channel. `before` may be
    empty where the dose until then is not known.
    """
    channel = dose_channel(plant, feed)
    unit = channel.unit if channel is not None else "mg/L"
    name = channel.name if channel is not None else "The new dose"
    values: dict[str, float | str] = {}
    for field, typed in (("from", before), ("to", to)):
        if typed.strip():
            try:
                values[field] = parse(_with_unit(typed.strip(), unit), "g/m^3", name)
            except QuantityError as error:
                raise DayLogError(str(error), field) from error
        elif field == "to":
            raise DayLogError(f"{name} is empty. Write the dose that is set now.", "to")
    if any(isinstance(dose, float) and dose < 0 for dose in values.values()):
        raise DayLogError(f"{name} is below nothing. Write a dose of 0 or more.", "to")
    event = write_event(
        store, plant, "dose_change", person=person, at=at, now=now, subject=feed, values=values, note=note, id=id,
        late=late,
    )  # fmt: skip
    if channel is not None:
        write_reading(
            store, plant, channel.id, to, person=person, at=at, now=now, note="changed to this",
            id=dose_reading(event.id), late=late,
        )  # fmt: skip
    return event


def dose_reading(event: str) -> str:
    """Return the id of the reading that goes with a changed dose: the same when it is sent twice."""
    return str(uuid.uuid5(uuid.NAMESPACE_OID, f"{event} dose"))


def dose_channel(plant: Plant, feed: str) -> Channel | None:
    """Return the channel that holds a feed's dose, if the plant has one."""
    found = next((one for one in plant.feeds if one.id == feed), None)
    return None if found is None else plant.channels.get(feed_channel(found, "dose", plant.channels))


def ongoing(store: Store, now: datetime) -> list[Event]:
    """Return what has begun and was not given an end, oldest first."""
    found = store.events(tuple(_OPEN_S), since=later(now, -max(_OPEN_S.values())), until=later(now, AHEAD_S))
    return [e for e in found if e.ended_at is None and elapsed_s(e.started_at, now) <= _OPEN_S[e.kind]]


def end_event(store: Store, plant: Plant, id: str, *, person: str, at: datetime, now: datetime) -> Event:
    """Give an event that goes on its end, and return it as stored. What was written first stays in the ledger."""
    event = next((one for one in ongoing(store, now) if one.id == id), None)
    if event is None:
        raise DayLogError("That is over already, or was never entered. Look at the day log.", "until")
    _person_and_time(plant, person, at, now)
    _end(plant, event.started_at, at, now)
    ended = replace(event, ended_at=at.astimezone(UTC))
    own = store.correct(id, ended, person=person.strip(), reason="it ended", entered_at=now)
    return replace(ended, id=own)


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
    late: str = "",
) -> Reading:
    """Write a reading as it was typed ("3.2", "3.2 NTU", "<0.02") and return it as stored.

    A bare number is taken in the unit in which the plant writes that channel. Raises what `reading_of` does.
    """
    reading = reading_of(
        plant, channel, text, person=person, at=at, now=now, qualifier=qualifier, flag=flag, note=note, id=id
    )
    store.add_readings([reading], entered_at=now, reason=late)
    return reading


def reading_of(
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
    """Return the reading that a typed text is, not stored yet.

    Raises
    ------
    DayLogError
        If the channel is not one of the plant's, nobody is named, or the time cannot be.
    QuantityError
        If the text is no quantity that fits the channel.
    """
    found = plant.channels.get(channel)
    if found is None:
        raise DayLogError(
            f'"{channel[:60]}" is no channel of this plant. Add it to plant.toml, or choose another.', "channel"
        )
    _person_and_time(plant, person, at, now)
    typed = text.strip()
    if not qualifier and typed[:1] in ("<", ">"):
        qualifier, typed = typed[0], typed[1:].strip()
    if not qualifier and typed.upper() in ("ND", "NON-DETECT"):
        qualifier, typed = "ND", ""
    value = None if not typed else parse(_with_unit(typed, found.unit), found.inside, found.name)
    if value is None and qualifier != "ND":
        raise DayLogError(f"{found.name} is empty. Write the figure, or ND when nothing was detected.", "value")
    return Reading(
        channel=channel, value=value, taken_at=at.astimezone(UTC), unit=found.unit, text=text.strip(),
        qualifier=qualifier, flag=flag, person=person.strip(), note=note.strip(), id=id or str(uuid.uuid4()),
    )  # fmt: skip


def _with_unit(typed: str, unit: str) -> str:
    bare = typed.replace(",", "").replace(" ", "").lstrip("+-")
    return f"{typed} {unit}" if bare.replace(".", "", 1).isdigit() else typed


def _person_and_time(plant: Plant, person: str, at: datetime, now: datetime) -> None:
    if not person.strip():
        raise DayLogError("Nobody is named. Write who did it: the log is evidence.", "person")
    if at.tzinfo is None:
        raise DayLogError(f"The time {at:%Y-%m-%d %H:%M} has no time zone. Give it in the plant's zone.", "time")
    if at > later(now, AHEAD_S):
        raise DayLogError(
            f"The time {_clock(plant, at)} lies ahead. Write what has happened, at the time it happened.", "time"
        )


def _end(plant: Plant, at: datetime, until: datetime, now: datetime) -> None:
    if until < at:
        raise DayLogError(
            f"The end {_clock(plant, until)} lies before the start {_clock(plant, at)}. Mend one of them.", "until"
        )
    if until > later(now, AHEAD_S):
        raise DayLogError(f"The end {_clock(plant, until)} lies ahead. Leave it empty until it is over.", "until")


def _clock(plant: Plant, at: datetime) -> str:
    return f"{at.astimezone(plant.zone):%Y-%m-%d %H:%M}"


def entries(store: Store, plant: Plant, day: date, *, search: str = "") -> tuple[LogLine, ...]:
    """Return the log of a local day in order of time, with `search` only the lines that hold its words.

    What was corrected or withdrawn stands there too, struck.
    """
    start, end = day_bounds(plant, day)
    words = search.casefold().split()
    found = lines(store, plant, start, end)
    return tuple(line for line in found if all(word in said(line) for word in words))


def said(line: LogLine) -> str:
    """Return what a line says, in small letters."""
    return f"{line.title} {line.text} {line.person} {line.struck}".casefold()


def lines(store: Store, plant: Plant, start: datetime, end: datetime) -> list[LogLine]:
    """Return the lines of a stretch of time in order of time."""
    found = [_event_line(event, plant) for event in store.events(since=start, until=end) if event.kind not in NOT_SHOWN]
    found += [_reading_line(reading, plant) for reading in store.readings(since=start, until=end)]
    for one in replaced(store, start, end):
        line = line_of(one.entry.item, plant)
        if line is not None:
            found.append(replace(line, struck=_struck(one, plant)))
    return sorted(found, key=lambda line: (line.at.astimezone(UTC), not line.struck, line.id))


def line_of(item: Item | None, plant: Plant) -> LogLine | None:
    """Return the line of an event or a reading; None for what has none of its own."""
    if isinstance(item, Reading):
        return _reading_line(item, plant)
    if isinstance(item, Event) and item.kind not in NOT_SHOWN:
        return _event_line(item, plant)
    return None


def _struck(one: Replaced, plant: Plant) -> str:
    done = "withdrawn" if one.withdrawn else "corrected"
    return f"{done} {_clock(plant, one.by.entered_at)} by {one.by.person}: {one.by.reason}"


def day_bounds(plant: Plant, day: date) -> tuple[datetime, datetime]:
    """Return the start of a local day and of the next, in UTC; 23, 24 or 25 hours apart."""
    start, end = (datetime.combine(one, time(0), plant.zone) for one in (day, day + timedelta(days=1)))
    return start.astimezone(UTC), end.astimezone(UTC)


def closed_period(store: Store, at: datetime) -> Period | None:
    """Return the closed day or month that holds an instant; of both, the day."""
    found = [one for one in store.closings() if one.first <= micros(at.astimezone(UTC)) < one.until]
    return min(found, key=lambda one: one.month, default=None)


def _event_line(event: Event, plant: Plant) -> LogLine:
    names = {part.id: part.name for part in (*plant.channels.values(), *plant.stages, *plant.filters)}
    parts = [names.get(event.subject, event.subject)] if event.subject else []
    said = ", ".join(
        _value_text(name, value, event.subject, plant)
        for name, value in event.values.items()
        if (event.kind, name) not in _INNER
    )
    parts += [said] if said else []
    parts += [event.note] if event.note else []
    zone = plant.zone
    return LogLine(
        at=event.started_at.astimezone(zone), until=event.ended_at.astimezone(zone) if event.ended_at else None,
        kind=event.kind, title=KINDS.get(event.kind, event.kind.replace("_", " ").capitalize()),
        text=": ".join(parts), person=event.person, id=event.id,
    )  # fmt: skip


_INNER = {("sample", "sample"), ("sample", "tests")}  # values that link entries, told in the note
# Numbers in the unit of the channel that the event is about.
_OF_CHANNEL = frozenset({"standard_value", "found", "left"})
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
    if not is_measured(name, subject, plant):
        return f"{words} {value:g}"
    inside, display = measured_in(name, subject, plant)
    return f"{words} {show(value, inside, display)}"


def is_measured(name: str, subject: str, plant: Plant) -> bool:
    """Return whether a number of an event is a quantity with a unit."""
    return name in _MEASURES or (name in _OF_CHANNEL and subject in plant.channels)


def measured_in(name: str, subject: str, plant: Plant) -> tuple[str, str]:
    """Return the inside unit of an event's number, and the unit in which this plant writes it."""
    if name in _OF_CHANNEL:
        return plant.channels[subject].inside, plant.channels[subject].unit
    inside, us, si = _MEASURES[name]
    feed = next((one for one in plant.feeds if one.id == subject), None) if name.startswith("level") else None
    channel = plant.channels.get(feed_channel(feed, "tank_level", plant.channels)) if feed is not None else None
    return inside, channel.unit if channel is not None else us if plant.unit_set == "US" else si


def measured(subject: str, plant: Plant, typed: Mapping[str, str]) -> dict[str, float | str]:
    """Return an event's numbers as they were typed, in inside units; an empty one is left out, a word stays a word."""
    found: dict[str, float | str] = {}
    for name, text in typed.items():
        if not text.strip():
            continue
        if not is_measured(name, subject, plant):
            found[name] = text.strip()
            continue
        inside, unit = measured_in(name, subject, plant)
        title = name.replace("_", " ").capitalize()
        try:
            value = parse(_with_unit(text.strip(), unit), inside, title)
        except QuantityError as error:
            raise DayLogError(str(error), name) from error
        if value < 0 and name not in _OF_CHANNEL:
            raise DayLogError(f"{title} {text.strip()} is below nothing. Write a figure of 0 or more.", name)
        found[name] = value
    return found


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

"""How is an entry of the day log put right, withdrawn or taken back, and what has become of it since?"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from weirhouse.desk.day_log import DayLogError, dose_channel, dose_reading, event_of, line_of, measured, reading_of
from weirhouse.plant.model import Plant
from weirhouse.quantity import show
from weirhouse.records.ledger import micros
from weirhouse.records.model import Entry, Event, Reading, RecordsError, Result, Sample, new_id
from weirhouse.records.replaced import newest_by
from weirhouse.records.store import Store
from weirhouse.situation.ages import later

UNDONE = "undone"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One form that an entry had: what it said, and all that is known of how it came."""

    id: str
    done: str  # "entered", "corrected", "withdrawn"
    person: str
    entered_at: datetime
    late: bool
    reason: str
    facts: tuple[tuple[str, str], ...]  # what it says, by name; the characters as they were typed among them
    sequence: int


def steps(history: Sequence[Entry], plant: Plant, import_name: str = "") -> list[Step]:
    """Return the forms of an entry, the first one first."""
    return [
        Step(
            id=entry.id, done="withdrawn" if entry.item is None else "corrected" if entry.replaces else "entered",
            person=entry.person, entered_at=entry.entered_at.astimezone(plant.zone), late=entry.late(),
            reason=entry.reason, facts=tuple(facts(entry, plant, import_name)), sequence=entry.sequence,
        )
        for entry in history
    ]  # fmt: skip


def facts(entry: Entry, plant: Plant, import_name: str = "") -> list[tuple[str, str]]:
    """Return what an entry says: name, words; empty ones left out."""
    found: list[tuple[str, str]] = []
    item = entry.item
    if isinstance(item, Reading):
        channel = plant.channels.get(item.channel)
        found += [
            ("What", channel.name if channel else item.channel),
            ("As typed", item.text),
            ("In the unit", item.unit),
            ("Understood as", _understood(item, plant)),
            ("Read at", _clock(item.taken_at, plant)),
            ("Mark", item.flag),
            ("Device", item.device),
            ("Remark", item.note),
        ]
    elif isinstance(item, Event):
        line = line_of(item, plant)
        found += [
            ("What", line.title if line else item.kind),
            ("In words", line.text if line else item.note),
            ("Began" if item.ended_at else "At", _clock(item.started_at, plant)),
            ("Ended", _clock(item.ended_at, plant) if item.ended_at else ""),
        ]
    elif isinstance(item, Sample):
        found += [("What", "Sample"), ("Place", item.point), ("Taken at", _clock(item.taken_at, plant)),
                  ("By", item.sampler), ("Purpose", item.purpose), ("Laboratory", item.laboratory),
                  ("Its number there", item.laboratory_number), ("Bottle", item.bottle),
                  ("Kept by", item.preservation), ("Remark", item.note)]  # fmt: skip
        found += [("Handed to", f"{one.person}, {_clock(one.at, plant)}, {one.condition}") for one in item.custody]
    elif isinstance(item, Result):
        found += [("What", item.analyte), ("As reported", item.text), ("In the unit", item.unit),
                  ("Qualifier", item.qualifier), ("Limit of", item.limit_kind), ("Method", item.method),
                  ("Analysed at", _clock(item.analysed_at, plant) if item.analysed_at else ""),
                  ("Analyst", item.analyst), ("Marks of the laboratory", " ".join(item.lab_flags)),
                  ("Mark", item.flag), ("Remark", item.note)]  # fmt: skip
    if import_name:
        found.append(("Came with the file", import_name))
    return [(name, words) for name, words in found if words]


def _understood(item: Reading, plant: Plant) -> str:
    channel = plant.channels.get(item.channel)
    if item.value is None:
        return "not detected"
    shown = show(item.value, channel.inside, channel.unit) if channel else f"{item.value:g}"
    return f"{item.qualifier} {shown}".strip() if item.qualifier in ("<", ">") else shown


def _clock(moment: datetime, plant: Plant) -> str:
    return f"{moment.astimezone(plant.zone):%Y-%m-%d %H:%M %Z}"


# --- putting right -----------------------------------------------------------------------------------------------


def correct_reading(
    store: Store, plant: Plant, old: Reading, text: str, *, at: datetime, person: str, reason: str, now: datetime,
    flag: str = "", note: str = "", id: str = "",
) -> str:  # fmt: skip
    """Put a reading in the place of an old one and return its id. Raises as `reading_of` and the records do."""
    _require_reason(reason)
    reading = reading_of(plant, old.channel, text, person=old.person or person, at=at, now=now, flag=flag, note=note)
    new = replace(reading, unit=_unit_of(old, plant), device=old.device, id=id or reading.id)
    _require_change(replace(new, id=""), replace(old, id=""))
    return store.correct(old.id, new, person=person.strip(), reason=reason.strip(), entered_at=now)


def _unit_of(old: Reading, plant: Plant) -> str:
    return plant.channels[old.channel].unit if old.channel in plant.channels else old.unit


def correct_event(
    store: Store, plant: Plant, old: Event, figures: Mapping[str, str], *, at: datetime, until: datetime | None,
    note: str, person: str, reason: str, now: datetime, id: str = "",
) -> str:  # fmt: skip
    """Put an event in the place of an old one and return its id; `figures` are those of its numbers that were shown.

    A changed dose takes with it the reading that was kept with it.
    """
    _require_reason(reason)
    values = {name: value for name, value in old.values.items() if name not in figures}
    values |= measured(old.subject, plant, figures)
    if old.kind == "note" and not note.strip():
        raise DayLogError("The note is empty. Write what was seen or done, or withdraw it.", "note")
    made = event_of(
        plant, old.kind, person=old.person, at=at, now=now, until=until, subject=old.subject, values=values, note=note
    )
    new = replace(made, id=id or made.id)
    _require_change(replace(new, id=""), replace(old, id=""))
    own = store.correct(old.id, new, person=person.strip(), reason=reason.strip(), entered_at=now)
    reading = _dose_reading(store, plant, old)
    if reading is not None and figures.get("to", "").strip():
        text = figures["to"].strip()
        dose = reading_of(plant, reading.channel, text, person=old.person, at=at, now=now, note=reading.note)
        if (dose.value, dose.taken_at) != (reading.value, reading.taken_at):
            store.correct(reading.id, dose, person=person.strip(), reason=reason.strip(), entered_at=now)
    return own


def _dose_reading(store: Store, plant: Plant, old: Event) -> Reading | None:
    channel = dose_channel(plant, old.subject) if old.kind == "dose_change" else None
    if channel is None:
        return None
    first = store.history(old.id)[0].id
    ids = set()
    try:
        ids = {entry.id for entry in store.history(dose_reading(first))}
    except RecordsError:
        return None  # it was entered without one
    return next((one for one in store.readings(channel.id, since=old.started_at) if one.id in ids), None)


def withdraw(store: Store, plant: Plant, old: Entry, *, person: str, reason: str, now: datetime) -> None:
    """Withdraw an entry: it stays visible, struck, and counts no more.

    A changed dose takes its reading with it, and a sample the line that it was taken; either way round.
    """
    _require_reason(reason)
    if not person.strip():
        raise DayLogError("Nobody is named. Write who did it: the log is evidence.", "person")
    for id in [old.id, *_together(store, plant, old)]:
        store.correct(id, None, person=person.strip(), reason=reason.strip(), entered_at=now)


def _together(store: Store, plant: Plant, old: Entry) -> list[str]:
    """Return the ids of what counts and was entered in one with an entry."""
    if isinstance(old.item, Event) and old.item.kind == "sample" and "sample" in old.item.values:
        try:
            last = store.history(str(old.item.values["sample"]))[-1]
        except RecordsError:
            return []
        return [last.id] if last.item is not None else []
    if isinstance(old.item, Event):
        reading = _dose_reading(store, plant, old.item)
        return [reading.id] if reading else []
    if isinstance(old.item, Sample):
        forms = {entry.id for entry in store.history(old.id)}
        taken = store.events("sample", since=old.item.taken_at, until=later(old.item.taken_at, 1.0))
        return [one.id for one in taken if one.values.get("sample") in forms]
    return []


def _require_reason(reason: str) -> None:
    if not reason.strip():
        raise DayLogError("The reason is empty. Write why: the old entry stays, and the reason beside it.", "reason")


def _require_change(new: object, old: object) -> None:
    if new == old:
        raise DayLogError("Nothing was changed. Change what is wrong, or go back to the log.", "value")


# --- taking back -------------------------------------------------------------------------------------------------


def last_of(store: Store, person: str, now: datetime) -> Entry | None:
    """Return what a person entered last and may still take back: not once its day is closed."""
    closed = store.closings()
    for entry in newest_by(store, person):
        if entry.reason == UNDONE and entry.replaces:
            continue
        if isinstance(entry.item, Event) and entry.item.kind in ("closed", "access", "person"):
            continue
        at = micros(entry.at or entry.entered_at)
        if any(one.first <= at < one.until for one in closed):
            return None
        return entry
    return None


def undo(store: Store, plant: Plant, id: str, *, person: str, now: datetime) -> Entry:
    """Take back what a person entered last: withdrawn, or where it was a correction, put back as it was before."""
    entry = last_of(store, person, now)
    if entry is None or entry.id != id:
        raise DayLogError("That is not what you entered last, or its day is closed. Correct it with a reason.")
    if not entry.replaces:
        withdraw(store, plant, entry, person=person, reason=UNDONE, now=now)
        return entry
    before = next(one for one in store.history(id) if one.id == entry.replaces)
    assert before.item is not None
    store.correct(id, replace(before.item, id=new_id()), person=person, reason=UNDONE, entered_at=now)
    return entry

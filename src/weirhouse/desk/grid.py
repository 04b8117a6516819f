"""Which times and channels does the day's grid show, and what becomes of the cells that were typed into it?"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from weirhouse.desk.day_log import DayLogError, closed_period, day_bounds, reading_of
from weirhouse.plant.model import Channel, Plant
from weirhouse.quantity import QuantityError, show
from weirhouse.records import access_log
from weirhouse.records.model import ClosedError, ConflictError, Reading, RecordsError, Series
from weirhouse.records.store import Store
from weirhouse.situation.ages import elapsed_s
from weirhouse.situation.clock import TimeError, typed_time

STEP_H = 4  # hours between the rows; 40 CFR 141.74(c)(1): grab samples of turbidity every four hours of operation
NEAR_S = 600.0  # readings of one walk through the plant stand in one row
LABORATORY_S = 9 * 86400.0  # what stays good for longer comes from a laboratory, not from the walk
MOST_COLUMNS = 18
MOST_CELLS = 500  # in one sending
UNDONE = "undone"
TYPED_ANEW = "typed anew in the day grid"

Ask = Callable[[Channel, str, datetime], str]  # what to ask back of a figure; empty when nothing is odd


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """A cell as it was typed."""

    id: str  # of the entry, made by whoever typed it: sent twice it is kept once
    channel: str
    time: str  # on the plant's clock, or with an offset
    text: str  # empty: what stood there is withdrawn
    entry: str = ""  # id of the entry that it takes the place of
    reason: str = ""
    sure: bool = False  # the question asked back was answered with yes
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of a cell: "stored", "withdrawn", "asked" (a question, nothing kept), "refused" or "conflict"."""

    id: str
    status: str
    sentence: str = ""
    shown: str = ""  # the value as it was understood
    entry: str = ""  # id of the entry that now counts


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A reading that stands in the grid."""

    entry: str
    text: str
    taken_at: datetime
    person: str
    mark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A time of the grid and what was read then, by channel."""

    at: datetime
    label: str  # clock time, with the zone's letters in a night of clock change
    cells: dict[str, Standing]


def columns(plant: Plant, read: Iterable[str], chosen: Sequence[str] = ()) -> list[Channel]:
    """Return the columns: those chosen, or the channels that people read; `read` names those read of late."""
    if chosen:
        found = [channel for channel in plant.channels.values() if channel.id in chosen]
        if found:
            return found[:MOST_COLUMNS]
    lately = set(read)
    offered = [
        channel
        for channel in plant.channels.values()
        if (channel.stale_after is None or channel.stale_after < LABORATORY_S)
        and (channel.id in lately or channel.interval is None)
    ]
    first = sorted(offered, key=lambda channel: channel.id not in lately)[:MOST_COLUMNS]  # those read come first
    return [channel for channel in offered if channel in first]


def rows(
    plant: Plant, day: date, now: datetime, readings: Sequence[Reading], ran: Series | None, added: Sequence[datetime]
) -> list[Row]:
    """Return the rows of a local day: every four hours of operation, the times of what was read, and those added.

    `ran` is the plant's flow on that day; without it every four hours of the clock stand there.
    """
    begin, end = day_bounds(plant, day)
    groups: list[list[Reading]] = []
    for reading in sorted(readings, key=lambda one: (one.taken_at, one.channel)):
        last = groups[-1] if groups else None
        if (
            last is not None
            and elapsed_s(last[0].taken_at, reading.taken_at) <= NEAR_S
            and all(one.channel != reading.channel for one in last)
        ):
            last.append(reading)
        else:
            groups.append([reading])
    found = {group[0].taken_at.astimezone(UTC): {one.channel: _standing(one) for one in group} for group in groups}
    for moment in [*_slots(plant, day, now, ran), *added]:
        if begin <= moment < end and not any(abs(elapsed_s(moment, one)) < NEAR_S for one in found):
            found[moment.astimezone(UTC)] = {}
    letters = changes_clock(plant.zone, day)
    return [Row(at=at, label=_label(at, plant.zone, letters), cells=found[at]) for at in sorted(found)]


def changes_clock(zone: ZoneInfo, day: date) -> bool:
    """Return whether the clock is changed on a day."""
    ends = [datetime.combine(one, time(0), zone) for one in (day, day + timedelta(days=1))]
    return ends[0].utcoffset() != ends[1].utcoffset()


def _label(at: datetime, zone: ZoneInfo, letters: bool) -> str:
    here = at.astimezone(zone)
    return f"{here:%H:%M %Z}" if letters else f"{here:%H:%M}"


def _slots(plant: Plant, day: date, now: datetime, ran: Series | None) -> list[datetime]:
    """Return every four hours of the day that have begun, of those in which water was treated."""
    found = []
    for hour in range(0, 24, STEP_H):
        at = datetime.combine(day, time(hour), plant.zone).astimezone(UTC)
        until = at + timedelta(hours=STEP_H)
        if at > now:
            break
        if ran is None or not len(ran) or bool((ran.values[_within(ran, at, until)] > 0).any()):
            found.append(at)
    return found


def _within(series: Series, begin: datetime, end: datetime) -> slice:
    first, last = series.times.searchsorted([begin.timestamp(), end.timestamp()]).tolist()
    return slice(first, last)


def _standing(reading: Reading) -> Standing:
    return Standing(
        entry=reading.id, text=reading.text, taken_at=reading.taken_at, person=reading.person or reading.device,
        mark=reading.flag,
    )  # fmt: skip


def instant(text: str, zone: ZoneInfo, now: datetime) -> datetime:
    """Return the instant that a typed time is; in the hour that comes twice in autumn it is asked which one is meant.

    >>> instant("2026-11-01T01:30-04:00", ZoneInfo("America/New_York"), datetime(2026, 11, 2, tzinfo=UTC)).isoformat()
    '2026-11-01T05:30:00+00:00'
    """
    both = either(text, zone)
    if both:
        first, second = (f"{one.astimezone(zone):%H:%M %Z} ({_offset(one, zone)})" for one in both)
        raise TimeError(f"{first[:5]} comes twice in that night. Choose {first} or {second}.")
    return typed_time(text, zone, now)


def either(text: str, zone: ZoneInfo) -> tuple[datetime, datetime] | None:
    """Return both instants that a time without offset can be in the hour that comes twice; otherwise None."""
    try:
        local = datetime.fromisoformat(text.strip().replace(" ", "T", 1))
    except ValueError:
        return None
    if local.tzinfo is not None:
        return None
    one, two = (local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    real = all(moment.astimezone(zone).replace(tzinfo=None, fold=0) == local for moment in (one, two))
    return (one, two) if one != two and real else None


def _offset(moment: datetime, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).isoformat()[-6:]


# --- what was typed ----------------------------------------------------------------------------------------------


def save(store: Store, plant: Plant, cells: Sequence[Typed], *, person: str, now: datetime, ask: Ask) -> list[Outcome]:
    """Store the cells in one write and return for each, in their order, what became of it.

    One that cannot be kept, or that is asked about first, holds none of the others back. A cell that is sent again
    with the same id and content changes nothing and is answered alike.
    """
    outcomes: dict[int, Outcome] = {}
    new: dict[int, Reading] = {}
    for place, cell in enumerate(cells):
        try:
            if not cell.text.strip():
                outcomes[place] = _withdraw(store, cell, person, now)
                continue
            at = instant(cell.time, plant.zone, now)
            channel = plant.channels.get(cell.channel)
            if channel is not None and not cell.sure:
                question = ask(channel, cell.text, at)
                if question:
                    outcomes[place] = Outcome(id=cell.id, status="asked", sentence=question)
                    continue
            reading = reading_of(
                plant, cell.channel, cell.text, person=person, at=at, now=now, note=cell.note, id=cell.id
            )
            if cell.entry:
                outcomes[place] = _correct(store, plant, cell, reading, now)
            else:
                new[place] = reading
        except (DayLogError, QuantityError, TimeError, RecordsError) as error:
            outcomes[place] = _refused(cell, error)
    outcomes |= _stored(store, plant, cells, new, now)
    for place, outcome in outcomes.items():
        if outcome.status == "conflict":
            _note_conflict(store, cells[place], person, now)
    return [outcomes[place] for place in range(len(cells))]


def _stored(
    store: Store, plant: Plant, cells: Sequence[Typed], new: dict[int, Reading], now: datetime
) -> dict[int, Outcome]:
    """Store the new readings in one write; where that is refused, each by itself, so that one holds none back."""
    try:
        store.add_readings(new.values(), entered_at=now)
    except RecordsError:
        return {place: _alone(store, plant, cells[place], reading, now) for place, reading in new.items()}
    return {place: _outcome(plant, cells[place], reading) for place, reading in new.items()}


def _alone(store: Store, plant: Plant, cell: Typed, reading: Reading, now: datetime) -> Outcome:
    """Store a reading by itself; into a closed day with the reason why it comes late, where one is given."""
    try:
        try:
            store.add_readings([reading], entered_at=now)
        except ClosedError:
            if not cell.reason.strip():
                raise
            store.add_readings([reading], entered_at=now, reason=cell.reason)
    except RecordsError as error:
        return _refused(cell, error)
    return _outcome(plant, cell, reading)


def _correct(store: Store, plant: Plant, cell: Typed, reading: Reading, now: datetime) -> Outcome:
    if not cell.reason.strip():
        period = closed_period(store, reading.taken_at)
        if period is not None:
            raise DayLogError(f"{period.subject} was closed by {period.person}. Write a reason, then it is corrected.")
    own = store.correct(
        cell.entry, reading, person=reading.person, reason=cell.reason.strip() or TYPED_ANEW, entered_at=now
    )
    return _outcome(plant, cell, replace(reading, id=own))


def _withdraw(store: Store, cell: Typed, person: str, now: datetime) -> Outcome:
    if not cell.entry:
        raise DayLogError("The cell is empty. Write the figure, or ND when nothing was detected.", "value")
    if not person.strip():
        raise DayLogError("Nobody is named. Write who did it: the log is evidence.", "person")
    old = store.history(cell.entry)[-1]
    if (not cell.reason.strip() or cell.reason == UNDONE) and old.at and closed_period(store, old.at):
        raise DayLogError("Its day is closed. Write a reason, then it is withdrawn.", "reason")
    store.correct(cell.entry, None, person=person.strip(), reason=cell.reason.strip() or UNDONE, entered_at=now)
    return Outcome(id=cell.id, status="withdrawn")


def _outcome(plant: Plant, cell: Typed, reading: Reading) -> Outcome:
    return Outcome(id=cell.id, status="stored", shown=understood(plant, reading), entry=reading.id)


def understood(plant: Plant, reading: Reading) -> str:
    """Return a reading as it was understood: ``<0.0200 NTU``."""
    channel = plant.channels[reading.channel]
    if reading.value is None:
        return "not detected"
    sign = reading.qualifier if reading.qualifier in ("<", ">") else ""
    return f"{sign}{show(reading.value, channel.inside, channel.unit)}"


def _note_conflict(store: Store, cell: Typed, person: str, now: datetime) -> None:
    """Leave one entry in the chain of an id that came again with other content, and of what it said."""
    shown = f"{cell.channel} {cell.time}: {cell.text}"[:200]
    access_log.note(store, access_log.CONFLICT, person=person.strip(), now=now, subject=cell.id, detail=shown)


def _refused(cell: Typed, error: Exception) -> Outcome:
    status = "conflict" if isinstance(error, ConflictError) else "refused"
    return Outcome(id=cell.id, status=status, sentence=" ".join(str(error).split()))

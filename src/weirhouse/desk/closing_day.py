"""May a day be closed, and what is still lacking or doubtful in it? A person closes it; Weirhouse only lists."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from weirhouse.desk.day_log import KINDS, DayLogError, closed_period, day_bounds, subject_of, subjects
from weirhouse.desk.grid import STEP_H
from weirhouse.plant.model import Plant
from weirhouse.quantity import show
from weirhouse.records.closing import Period, closing
from weirhouse.records.model import Event, Reading, Series
from weirhouse.records.store import Store

# What is recorded all the time water is treated: turbidity of filtered water, and the residual that leaves.
RECORDED = ("combined_turbidity", "entry_chlorine")
ENDLESS = frozenset({"outage", "power_failure", "instrument_fault", "instrument_out", "filter_to_waste"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """Something that lacks or is doubtful in a day."""

    sentence: str
    link: str = ""  # what mends it
    words: str = ""  # on the link


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """A day before it is closed."""

    day: date
    closed: Period | None  # by whom and when, if it is
    over: bool  # whether the day has ended
    entries: int
    remarks: Sequence[Remark]


def preview(store: Store, plant: Plant, day: date, now: datetime) -> Preview:
    """Return what a person should see before closing a day."""
    begin, end = day_bounds(plant, day)
    readings, events = store.readings(since=begin, until=end), store.events(since=begin, until=end)
    return Preview(
        day=day, closed=closed_period(store, begin), over=end <= now, entries=len([*readings, *events]),
        remarks=[
            *_doubtful(plant, day, readings), *_going_on(plant, events),
            *_gaps(store, plant, day, begin, min(end, now)),
        ],
    )  # fmt: skip


def _doubtful(plant: Plant, day: date, readings: Sequence[Reading]) -> list[Remark]:
    """Return the readings that are marked, or lie outside what their channel can be."""
    found = []
    for one in readings:
        channel = plant.channels.get(one.channel)
        name, clock = channel.name if channel else one.channel, f"{one.taken_at.astimezone(plant.zone):%H:%M}"
        why = f"is marked {one.flag}" if one.flag else ""
        if channel is not None and one.value is not None and not why:
            for bound, side in ((channel.low, "below"), (channel.high, "above")):
                beyond = bound is not None and (one.value < bound if side == "below" else one.value > bound)
                if beyond and bound is not None:
                    why = f"is {side} {show(bound, channel.inside, channel.unit)}, the end of its usual range"
        if why:
            found.append(
                Remark(sentence=f"{name} {one.text} at {clock} {why}.", link=f"/log/entry/{one.id}", words="look at it")
            )
    return found


def _going_on(plant: Plant, events: Sequence[Event]) -> list[Remark]:
    found = []
    for one in events:
        if one.kind in ENDLESS and one.ended_at is None:
            what = subject_of(one.kind)
            name = subjects(plant, what).get(one.subject, "") if what else ""
            words = ", ".join([KINDS[one.kind], *([name] if name else [])])
            clock = f"{one.started_at.astimezone(plant.zone):%H:%M}"
            found.append(
                Remark(sentence=f"{words}, from {clock}, has no end.", link=f"/log/end/{one.id}", words="enter its end")
            )
    return found


def _gaps(store: Store, plant: Plant, day: date, begin: datetime, end: datetime) -> list[Remark]:
    """Return the four-hour stretches in which the plant ran and nothing was recorded, by channel."""
    if "plant_flow" not in plant.channels:
        return []
    flow = store.values("plant_flow", begin, end)
    if not _any(flow, begin, end):
        name = plant.channels["plant_flow"].name
        return [
            Remark(
                sentence=f"Nothing is recorded of {name} on this day: whether the plant ran is not known, and gaps in "
                "the other readings are not looked for.",
                link=f"/log/{day}/grid", words="enter it",
            )
        ]  # fmt: skip
    channels = [*RECORDED, *(f"{one.id}_turbidity" for one in plant.filters)]
    found = []
    for id in channels:
        channel = plant.channels.get(id)
        if channel is None:
            continue
        values = store.values(id, begin, end)
        at = begin
        while at < end:
            until = at + timedelta(hours=STEP_H)
            if _any(flow, at, until, above=0.0) and not _any(values, at, until):
                first, last = (f"{one.astimezone(plant.zone):%H:%M}" for one in (at, until))
                found.append(
                    Remark(
                        sentence=f"Nothing is recorded of {channel.name} from {first} to {last}, while the plant ran.",
                        link=f"/log/{day}/grid", words="enter it",
                    )
                )  # fmt: skip
            at = until
    return found


def _any(series: Series, begin: datetime, end: datetime, above: float | None = None) -> bool:
    first, last = series.times.searchsorted([begin.timestamp(), end.timestamp()]).tolist()
    values = series.values[first:last]
    return bool((values == values if above is None else values > above).any())


def close_day(store: Store, plant: Plant, day: date, *, person: str, now: datetime, note: str = "") -> Event:
    """Close a day and return its closing. After that entries are only corrected, or come late with a reason."""
    if not person.strip():
        raise DayLogError("Nobody is named. Write who closes the day: the log is evidence.", "person")
    if day_bounds(plant, day)[1] > now:
        raise DayLogError(f"{day} is not over yet. Close it tomorrow.")
    event = closing(f"{day}", plant.zone.key, person=person.strip(), at=now.astimezone(UTC), note=note.strip())
    store.add_events([event], entered_at=now)
    return event

"""When is the plant to run for the rest of the month? What the operator plans, and the spans of time it means."""

import uuid
from collections.abc import Sequence
from datetime import datetime, time, timedelta

from weirhouse.plant.model import Plant
from weirhouse.quantity import QuantityError, parse, show
from weirhouse.records.model import Event
from weirhouse.records.store import Store
from weirhouse.situation.ages import later
from weirhouse.situation.month_records import bounds

KIND = "planned_hours"
DAY_S = 24 * 3600.0


class PlanError(ValueError):
    """The hours cannot be planned as typed: one sentence with what to mend. Nothing was changed."""


def plan_hours(
    store: Store, plant: Plant, month: str, *, starts: str, hours: str, person: str, now: datetime, id: str = ""
) -> Event:
    """Record from when and for how long the plant is to run on each day of the rest of a month.

    Parameters
    ----------
    starts : local time of day, "06:30".
    hours : how long on each day; hours unless a unit is typed.
    id : made by the form, so that sent twice it is kept once.

    Raises
    ------
    PlanError
        If the time or the hours are no such thing, the month is over, or nobody is named.
    """
    _, end = bounds(month, plant.zone)
    if now >= end:
        raise PlanError("That month is over; its hours are on record. Plan the month that runs.")
    try:
        begins = time.fromisoformat(starts.strip())
    except ValueError:
        raise PlanError(f'"{starts[:20]}" is no time of day. Write it like 06:30.') from None
    if not person.strip():
        raise PlanError("Say who plans it.")
    lasts = _seconds(hours)
    event = Event(
        kind=KIND, started_at=now, subject=month, person=person.strip(), id=id or str(uuid.uuid4()),
        values={"starts": f"{begins:%H:%M}", "lasts": lasts},
    )  # fmt: skip
    store.add_events([event], entered_at=now)
    return event


def _seconds(hours: str) -> float:
    text = hours.strip()
    try:
        lasts = parse(text if any(c.isalpha() for c in text) else f"{text} h", "s", "hours of each day")
    except QuantityError as error:
        raise PlanError(str(error)) from None
    if not 0 <= lasts <= DAY_S:
        raise PlanError(f"A day has 24 h; {show(lasts, 's', 'h')} was typed.")
    return lasts


def planned(store: Store, month: str, at: datetime) -> Event | None:
    """Return the newest plan for a month that was made by `at`."""
    found = [e for e in store.events(KIND, until=later(at, 1.0)) if e.subject == month]
    return found[-1] if found else None


def spans(plant: Plant, event: Event, now: datetime) -> Sequence[tuple[datetime, datetime]]:
    """Return from when to when the plant is to run, from `now` to the end of the month planned."""
    _, end = bounds(event.subject, plant.zone)
    begins, lasts = time.fromisoformat(str(event.values["starts"])), float(event.values["lasts"])
    day, found = now.astimezone(plant.zone).date(), []
    while lasts > 0 and (start := datetime.combine(day, begins, tzinfo=plant.zone)) < end:
        stop = later(start, lasts)
        if stop > now:
            found.append((max(start, now), min(stop, end)))
        day = day + timedelta(days=1)
    return found


def words(event: Event) -> str:
    """Return a plan in a sentence."""
    lasts = show(float(event.values["lasts"]), "s", "h")
    return (
        f"Planned by {event.person}: from {event.values['starts']} on for {lasts} on each day of the rest of the month."
    )


def hours_text(event: Event) -> str:
    """Return the hours of each day as one would type them."""
    return show(float(event.values["lasts"]), "s", "h").removesuffix(" h")

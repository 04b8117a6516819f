"""What do the records hold of one calendar month? Everything its table, its rules and its report are made of.

Read once, then frozen. What people said of the month may be written later: explanations, confirmations of rules,
certificates and the closing are looked at up to the instant at which the month is judged.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from weirhouse.plant.model import Plant
from weirhouse.records import chain
from weirhouse.records.chain import Head
from weirhouse.records.model import Entry, Event, Reading, Result, Sample
from weirhouse.records.store import Store
from weirhouse.situation.ages import later
from weirhouse.situation.at import between
from weirhouse.situation.model import Stretch

STANDING = (
    "rule_confirmed", "explained", "closed", "notice", "credit_claimed", "instrument_check",
    "instrument_out", "instrument_fault", "filter_assessment", "plan", "deficiency",
)  # fmt: skip


class MonthError(ValueError):
    """No such month: one sentence that says how to write it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthRecords:
    """The records of a calendar month, judged at an instant."""

    month: str  # "2026-10"
    at: datetime  # UTC: the instant it is judged at; of a closed month, of its closing
    stretch: Stretch
    readings: tuple[Reading, ...]  # what people wrote down, of the month
    samples: tuple[Sample, ...]  # of the month
    results: tuple[Result, ...]  # of these samples
    standing: tuple[Event, ...] = field(repr=False)  # of the kinds above, of any time up to `at`
    head: Head  # of the chain as it was judged
    closing: Event | None  # the event that closed it
    since: tuple[Entry, ...]  # what was entered for this month after it was closed

    @property
    def complete(self) -> bool:
        """Whether the month was over as it was judged."""
        return self.at >= self.stretch.b

    def kind(self, *kinds: str) -> tuple[Event, ...]:
        """Return the standing events of some kinds, oldest first."""
        return tuple(event for event in self.standing if event.kind in kinds)


def bounds(month: str, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """Return when a month of the plant's calendar begins and ends, in UTC. MonthError for what is no month.

    >>> a, b = bounds("2026-11", ZoneInfo("America/New_York"))
    >>> (b - a).total_seconds() / 3600  # thirty days, one of them of 25 hours
    721.0
    """
    try:
        first = datetime.strptime(month.strip(), "%Y-%m").replace(tzinfo=zone)
    except ValueError:
        raise MonthError(f'"{month[:40]}" is no month. Write it like 2026-09.') from None
    if not 1970 <= first.year < 9000 or len(month.strip()) != 7:
        raise MonthError(f'"{month[:40]}" is no month. Write it like 2026-09.')
    after = first.replace(year=first.year + first.month // 12, month=first.month % 12 + 1)
    return first.astimezone(UTC), after.astimezone(UTC)


def before(month: str, back: int = 1) -> str:
    """Return the month `back` months before.

    >>> before("2026-01"), before("2026-10", 3)
    ('2025-12', '2026-07')
    """
    count = int(month[:4]) * 12 + int(month[5:7]) - 1 - back
    return f"{count // 12:04d}-{count % 12 + 1:02d}"


def closing_of(store: Store, month: str) -> Event | None:
    """Return the event that closed a month; the first, since what is closed stays closed."""
    found = store.events("closed", subject=month)
    return found[0] if found else None


def settled_at(store: Store, plant: Plant, month: str, now: datetime) -> datetime:
    """Return the instant at which a month that is over is judged for its report: its end, or the newest entry if later.

    So the report hangs on the records alone, and comes out the same whenever it is made of the same records.
    """
    _, end = bounds(month, plant.zone)
    if now < end:
        return now
    newest = chain.last_entered(store)
    return end if newest is None else min(now, max(end, newest.astimezone(UTC)))


def month_records(
    store: Store, plant: Plant, month: str, now: datetime, *, planned: Event | None = None
) -> MonthRecords:
    """Return the records of a month, judged at `now`; of a closed month, as it was judged at its closing.

    `planned` is a closing that is not written yet: the month is judged as it will be.
    """
    a, b = bounds(month, plant.zone)
    now = now.astimezone(UTC)
    closing = closing_of(store, month)
    at, head = now, chain.head(store)
    since: tuple[Entry, ...] = ()
    if closing is not None:
        own = store.history(closing.id)[0]
        told = _number(closing.values, "entries")
        sequence = own.sequence - 1 if told is None else told
        came = chain.entered_after(store, sequence, a, b)
        # where the closing does not say how far the records went, what was entered at the same moment is not "after"
        since = tuple(e for e in came if e.id != closing.id and (told is not None or e.entered_at > own.entered_at))
        at, head = closing.started_at.astimezone(UTC), chain.head_at(store, sequence)
    elif planned is not None:
        closing, at = planned, planned.started_at.astimezone(UTC)
    standing = [e for e in store.events(STANDING, until=later(at, 1.0)) if e.id != (closing.id if closing else "")]
    standing += people_at(store, at)
    samples = tuple(store.samples(None, a, b))
    return MonthRecords(
        month=month, at=at, stretch=between(store, plant, a, b), readings=tuple(store.readings(None, a, b)),
        samples=samples, results=tuple(store.results(None, a, b)), standing=tuple(standing), head=head,
        closing=closing, since=since,
    )  # fmt: skip


def people_at(store: Store, at: datetime) -> list[Event]:
    """Return what was on record of each person at an instant: a change corrects the entry, and what it said is kept."""
    found = []
    for event in store.events("person"):
        forms = [entry for entry in store.history(event.id) if entry.entered_at <= later(at, 1.0)]
        if forms and isinstance(forms[-1].item, Event):
            found.append(forms[-1].item)
    return found


def _number(values: Mapping[str, Any], name: str) -> int | None:
    found = values.get(name)
    return int(found) if isinstance(found, int | float) else None

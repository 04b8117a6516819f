"""Which days and months are closed, and what may still be entered into them?

A closing is an event of the kind "closed". Its subject is a local day ("2026-10-14") or month ("2026-10") of the
plant, its value "zone" the plant's zone, so that a day has the 23, 24 or 25 hours that it had. What was closed stays
closed. After that an entry that lies in it must be a correction, or say why it comes late.
"""

import re
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse.records import ledger
from weirhouse.records.engine import Database
from weirhouse.records.ledger import Body, micros
from weirhouse.records.model import ClosedError, Event, RecordsError, Series, new_id
from weirhouse.records.rollup import Flags, Times, Values

KIND = "closed"
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_MONTH = re.compile(r"\d{4}-\d\d")
# What a laboratory sends comes days later as a matter of course: it is held to the closed months, not to the days.
_BY_MONTH = ("sample", "result")
# Who came in and who may do what is no record of the water: it goes on while a day is closed.
_APART = ("access", "person")


def closing(
    subject: str, zone: str, *, person: str, at: datetime, note: str = "", id: str = "", **values: float | str
) -> Event:
    """Return the event that closes a local day or month; `values` say more, such as how many readings it held."""
    said = {**values, "zone": zone}
    return Event(
        kind=KIND, subject=subject, started_at=at, values=said, person=person, note=note, id=id or new_id()
    )  # fmt: skip


def bounds(subject: str, zone: str) -> tuple[datetime, datetime]:
    """Return when a local day or month begins and ends, in UTC. RecordsError where it is neither.

    >>> begin, end = bounds("2026-11-01", "America/New_York")
    >>> (end - begin).total_seconds() / 3600
    25.0
    """
    try:
        if _DAY.fullmatch(subject):
            first = date.fromisoformat(subject)
            after = first + timedelta(days=1)
        elif _MONTH.fullmatch(subject):
            first = date.fromisoformat(f"{subject}-01")
            after = (first + timedelta(days=31)).replace(day=1)
        else:
            raise ValueError
        midnight = datetime.min.time()
        begin, end = (datetime.combine(day, midnight, ZoneInfo(zone)).astimezone(UTC) for day in (first, after))
    except (ValueError, OverflowError):
        raise RecordsError(
            f'"{subject}" is no day or month that can be closed. Write 2026-10-14, or 2026-10.'
        ) from None
    except (KeyError, OSError):
        raise RecordsError(f'"{zone}" is no time zone to close a day in. Give the zone of the plant file.') from None
    return begin, end


@dataclass(frozen=True, slots=True)
class Period:
    """A closed day or month: [first, until) in UTC epoch microseconds, by whom and when."""

    subject: str
    first: int
    until: int
    person: str
    entered_at: datetime

    @property
    def month(self) -> bool:
        """Whether it is a month."""
        return len(self.subject) == len("2026-10")


class Closings:
    """What is closed. Closings are only added: those that were read once are kept."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._read_to = 0
        self._periods: dict[str, Period] = {}
        self._days = _Index([])
        self._months = _Index([])

    def periods(self) -> list[Period]:
        """Return what is closed, in order of time."""
        self._refresh()
        return sorted(self._periods.values(), key=lambda period: (period.first, period.until))

    def _refresh(self) -> None:
        """Read the closings that were added since."""
        rows = ledger.added(self._database, "event", KIND, self._read_to)
        if not rows:
            return
        for sequence, body in rows:
            self._read_to = max(self._read_to, sequence)
            if body.event and body.event.subject not in self._periods:
                self._periods[body.event.subject] = _period(body, body.event)
        self._days = _Index(list(self._periods.values()))
        self._months = _Index([period for period in self._periods.values() if period.month])

    def require_open(self, bodies: Sequence[Body], reason: str) -> None:
        """Refuse entries that lie in a closed day or month and are neither corrections nor late with a reason.

        Those with a reason get it. An entry that is in the records already is no new one.
        """
        self._refresh()
        if reason.strip():
            for body in bodies:
                body.reason = body.reason or reason.strip()
        if self._periods:
            held = [(body, period) for body in bodies if not body.reason for period in [self._holding(body)] if period]
            there = ledger.there(self._database, [body.id for body, _ in held])
            for body, period in held:
                if body.id not in there:
                    raise refused(period, f"the {ledger.named(body)}")
        self._require_new([body for body in bodies if body.event and body.event.kind == KIND])

    def _holding(self, body: Body) -> Period | None:
        at, until = body.at, body.at
        if body.event and body.event.kind in _APART:
            return None
        if body.result:
            sample = ledger.sample_in_force(self._database, body.result.sample)
            at = until = micros(sample.taken_at) if sample else body.at
        elif body.event and body.event.ended_at:
            until = micros(body.event.ended_at)
        if at is None or until is None:
            return None
        return (self._months if body.kind in _BY_MONTH else self._days).holding(at, until)

    def _require_new(self, bodies: Sequence[Body]) -> None:
        """Refuse to close a day or month twice, or before it is over."""
        if not bodies:
            return
        there = ledger.there(self._database, [body.id for body in bodies])
        new: dict[str, Body] = {}
        for body in bodies:
            if body.id in there or body.event is None:
                continue
            period = _period(body, body.event)
            before = self._periods.get(period.subject)
            twice = new.get(period.subject)
            if before or (twice and twice.id != body.id):
                by = before or period
                raise RecordsError(f"{period.subject} was closed by {by.person} on {_when(by)}, and stays closed.")
            if micros(body.entered_at) < period.until:
                raise RecordsError(f"{period.subject} is not over yet. Close it once it is.")
            new[period.subject] = body

    def touched(self, series: Series) -> list[tuple[Period, int, int]]:
        """Return the closed periods into which a tidy series reaches, each with the first and last stamp in it [s]."""
        self._refresh()
        found: list[tuple[Period, int, int]] = []
        if not self._periods or not len(series.times):
            return found
        first, last = int(series.times[0]), int(series.times[-1])
        for period in self._days.within(first * 1_000_000, last * 1_000_000):
            a, b = np.searchsorted(series.times, (_ceil(period.first), _ceil(period.until)))
            if a < b:
                found.append((period, int(series.times[a]), int(series.times[b - 1])))
        return found


class _Index:
    """Periods by time, in which a moment is found quickly; of a day and its month, the day comes last."""

    def __init__(self, periods: list[Period]) -> None:
        self._by_first = sorted(periods, key=lambda period: (period.first, -period.until))
        self._firsts = [period.first for period in self._by_first]
        self._longest = max((period.until - period.first for period in periods), default=0)

    def within(self, at: int, until: int) -> list[Period]:
        a, b = bisect_right(self._firsts, at - self._longest), bisect_right(self._firsts, until)
        return [period for period in self._by_first[a:b] if period.until > at]

    def holding(self, at: int, until: int) -> Period | None:
        found = self.within(at, until)
        return found[-1] if found else None


def changes(new: Series, first: int, last: int, had: tuple[Times, Values, Flags]) -> bool:
    """Whether a tidy series says anything from `first` to `last` [s] that the series in the records do not say."""
    a, b = np.searchsorted(new.times, first), np.searchsorted(new.times, last, side="right")
    times, values, flags = had
    if not len(times):
        return bool(a < b)
    at = np.minimum(np.searchsorted(times, new.times[a:b]), len(times) - 1)
    same = (times[at] == new.times[a:b]) & (flags[at] == new.flags[a:b])
    same &= (values[at] == new.values[a:b]) | (np.isnan(values[at]) & np.isnan(new.values[a:b]))
    return not same.all()


def refused(period: Period, what: str) -> ClosedError:
    """Return what to say of an entry that lies in a closed period."""
    return ClosedError(
        f"{period.subject} was closed by {period.person} on {_when(period)}, and {what} would come into it. Nothing "
        "was stored. Correct the entry that is wrong, or say why this one comes late.",
        period.subject,
    )


def require_closing(event: Event) -> None:
    """Refuse a closing whose day or zone cannot be."""
    bounds(event.subject, str(event.values.get("zone", "")))


def _period(body: Body, event: Event) -> Period:
    begin, end = bounds(event.subject, str(event.values.get("zone", "")))
    return Period(event.subject, micros(begin), micros(end), body.person, body.entered_at)


def _when(period: Period) -> str:
    return f"{period.entered_at:%Y-%m-%d %H:%M} UTC"


def _ceil(us: int) -> int:
    return -(-us // 1_000_000)

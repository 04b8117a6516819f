"""When does the next business day end? By the holidays of the State, else by those of the federal law."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

USUAL_END = "17:00"  # common practice, no source: a plant says what its State's office keeps


@dataclass(frozen=True, slots=True)
class Business:
    """The business days of the office that is to be told. `holidays` None: the federal ones are taken, and said."""

    zone: ZoneInfo
    holidays: tuple[date, ...] | None = None
    ends: str = ""

    def is_open(self, day: date) -> bool:
        """Whether a day is a business day."""
        closed = self.holidays if self.holidays is not None else federal_holidays(day.year)
        return day.weekday() < 5 and day not in closed

    def next_day(self, day: date) -> date:
        """Return the first business day after a day."""
        found = day + timedelta(days=1)
        while not self.is_open(found):
            found += timedelta(days=1)
        return found

    def after(self, day: date, number: int) -> date:
        """Return the business day that is `number` business days after a day."""
        for _ in range(number):
            day = self.next_day(day)
        return day

    def between(self, first: date, last: date) -> int:
        """Return how many business days come after `first`, up to and with `last`."""
        days = (last - first).days
        return sum(self.is_open(first + timedelta(days=n)) for n in range(1, days + 1))

    def end_of(self, day: date) -> datetime:
        """Return when a business day ends."""
        hour, minute = (self.ends or USUAL_END).split(":")
        return datetime.combine(day, time(int(hour), int(minute)), self.zone)

    def end_of_next(self, moment: datetime) -> datetime:
        """Return the end of the business day after the local day of a moment.

        >>> b = Business(ZoneInfo("America/New_York"), ends="16:30")
        >>> b.end_of_next(datetime(2026, 11, 25, 22, 0, tzinfo=ZoneInfo("America/New_York"))).isoformat()
        '2026-11-27T16:30:00-05:00'
        """
        return self.end_of(self.next_day(moment.astimezone(self.zone).date()))

    @property
    def words(self) -> str:
        """What was assumed, to be said with a time that hangs on it; empty when the State gave both."""
        said = []
        if self.holidays is None:
            said.append("US federal holidays are taken, for the local pack lists none of the State's")
        if not self.ends:
            said.append(
                f"the business day is taken to end at {USUAL_END} (common practice), for the State gave no hour"
            )
        return "; ".join(said)


def federal_holidays(year: int) -> tuple[date, ...]:
    """Return the days on which US federal offices are closed (5 U.S.C. 6103, from memory), as they are kept.

    One that falls on a Saturday is kept on the Friday before, one on a Sunday on the Monday after. The first of
    January of the next year is among them where it is kept on the 31st of December.

    >>> [d.isoformat() for d in federal_holidays(2026)][:4]
    ['2026-01-01', '2026-01-19', '2026-02-16', '2026-05-25']
    """
    fixed = [date(year, 1, 1), date(year, 6, 19), date(year, 7, 4), date(year, 11, 11), date(year, 12, 25)]
    moving = [
        _nth(year, 1, 0, 3), _nth(year, 2, 0, 3), _last(year, 5, 0), _nth(year, 9, 0, 1), _nth(year, 10, 0, 2),
        _nth(year, 11, 3, 4),
    ]  # fmt: skip
    kept = [_kept(day) for day in (*fixed, date(year + 1, 1, 1))]
    return tuple(sorted(day for day in (*kept, *moving) if day.year == year))


def _kept(day: date) -> date:
    return day + timedelta(days={5: -1, 6: 1}.get(day.weekday(), 0))


def _nth(year: int, month: int, weekday: int, n: int) -> date:
    first = date(year, month, 1)
    return first + timedelta(days=(weekday - first.weekday()) % 7 + 7 * (n - 1))


def _last(year: int, month: int, weekday: int) -> date:
    last = date(year, month + 1, 1) - timedelta(days=1)
    return last - timedelta(days=(last.weekday() - weekday) % 7)

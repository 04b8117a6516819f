"""How old, and at what hour? Times as people say them; elapsed time is always counted in UTC."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo


def elapsed_s(earlier: datetime, later: datetime) -> float:
    """Return the seconds from `earlier` to `later`, counted in UTC: a clock change neither adds nor takes an hour."""
    return (later.astimezone(UTC) - earlier.astimezone(UTC)).total_seconds()


def later(moment: datetime, seconds: float) -> datetime:
    """Return the instant `seconds` after `moment`, in UTC."""
    return moment.astimezone(UTC) + timedelta(seconds=seconds)


def age_text(seconds: float) -> str:
    """Return an age as one would say it.

    >>> age_text(40), age_text(360), age_text(7500), age_text(200000)
    ('less than 1 min', '6 min', '2 h 5 min', '2 days')
    """
    if seconds < 60:
        return "less than 1 min"
    minutes = int(seconds // 60)
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 48 * 60:
        hours, rest = divmod(minutes, 60)
        return f"{hours} h {rest} min" if rest and hours < 10 else f"{hours} h"
    return f"{minutes // 1440} days"


def clock_text(moment: datetime, now: datetime, zone: ZoneInfo) -> str:
    """Return a moment on the plant's clock, with the day when it is not today.

    >>> zone = ZoneInfo("America/New_York")
    >>> now = datetime(2026, 7, 1, 12, tzinfo=UTC)
    >>> clock_text(datetime(2026, 7, 1, 20, tzinfo=UTC), now, zone)
    '16:00'
    >>> clock_text(datetime(2026, 7, 3, 20, tzinfo=UTC), now, zone)
    'Friday 16:00'
    """
    here, today = moment.astimezone(zone), now.astimezone(zone)
    days = (here.date() - today.date()).days
    clock = f"{here:%H:%M}"
    if days == 0:
        return clock
    if days == 1:
        return f"tomorrow {clock}"
    if days == -1:
        return f"yesterday {clock}"
    return f"{here:%A} {clock}" if 0 < days < 7 else f"{here:%Y-%m-%d} {clock}"


def at_clock(moment: datetime, now: datetime, zone: ZoneInfo, about: str = "") -> str:
    """Return when a moment is, to stand in a sentence; `about` goes before the hour.

    >>> zone = ZoneInfo("America/New_York")
    >>> now = datetime(2026, 7, 1, 12, tzinfo=UTC)
    >>> at_clock(datetime(2026, 7, 1, 20, tzinfo=UTC), now, zone, "about ")
    'at about 16:00'
    >>> at_clock(datetime(2026, 7, 2, 20, tzinfo=UTC), now, zone, "about ")
    'tomorrow at about 16:00'
    >>> at_clock(datetime(2026, 7, 3, 20, tzinfo=UTC), now, zone)
    'Friday at 16:00'
    """
    *day, clock = clock_text(moment, now, zone).split(" ")
    return " ".join([*day, f"at {about}{clock}"])


def local_midnight(moment: datetime, zone: ZoneInfo) -> datetime:
    """Return the start of the local day of `moment`, in UTC. A day is 23, 24 or 25 hours long."""
    here = moment.astimezone(zone)
    return here.replace(hour=0, minute=0, second=0, microsecond=0, fold=0).astimezone(UTC)


def month_start(moment: datetime, zone: ZoneInfo) -> datetime:
    """Return the first local midnight of the month of `moment`, in UTC."""
    here = moment.astimezone(zone)
    return here.replace(day=1, hour=0, minute=0, second=0, microsecond=0, fold=0).astimezone(UTC)


def rest_of_hour_s(moment: datetime) -> float:
    """Return the seconds that are left of the clock's hour.

    >>> rest_of_hour_s(datetime(2026, 7, 1, 12, 45, tzinfo=UTC))
    900.0
    """
    return 3600.0 - moment.minute * 60 - moment.second - moment.microsecond / 1e6

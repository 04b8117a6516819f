"""What time does a person mean? Between a typed time on the plant's clock and an instant."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo


class TimeError(ValueError):
    """A time that cannot be understood: one sentence with what to mend."""


def typed_time(text: str, zone: ZoneInfo, now: datetime) -> datetime:
    """Return the instant that ``2026-06-17T14:05`` means on the plant's clock.

    In the hour that comes twice in autumn it is the later one that is not ahead of `now`. An hour that the clock skips
    in spring is refused.

    >>> zone = ZoneInfo("America/New_York")
    >>> typed_time("2026-11-01 01:30", zone, datetime(2026, 11, 1, 5, 45, tzinfo=UTC)).isoformat()
    '2026-11-01T05:30:00+00:00'
    >>> typed_time("2026-11-01 01:30", zone, datetime(2026, 11, 1, 8, tzinfo=UTC)).isoformat()
    '2026-11-01T06:30:00+00:00'
    """
    cleaned = text.strip().replace(" ", "T", 1)
    try:
        local = datetime.fromisoformat(cleaned)
    except ValueError:
        raise TimeError(f'"{text[:40]}" is not a time. Write it like "2026-06-17 14:05".') from None
    if local.tzinfo is not None:
        return local.astimezone(UTC)
    both = [local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1)]
    real = [moment for moment in both if moment.astimezone(zone).replace(tzinfo=None, fold=0) == local]
    if not real:
        raise TimeError(f'"{text[:40]}" does not exist: the clock skips that hour. Write the hour after it.')
    past = [moment for moment in real if moment <= now + timedelta(minutes=5)]
    return max(past) if past else min(real)


def for_field(moment: datetime, zone: ZoneInfo) -> str:
    """Return a moment as a date-and-time field of a form holds it."""
    return f"{moment.astimezone(zone):%Y-%m-%dT%H:%M}"

"""Which backups are kept? The newest by the quarter hour, then one a day, one a month and one for each end of a year.

What is kept follows from the backups that are there, not from today's date: a clock that is wrong by years throws
nothing away that a right one would have kept.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

QUARTER_HOURS, DAYS, MONTHS = 96, 35, 24


@dataclass(frozen=True, slots=True)
class Kept:
    """A backup as far as it matters here."""

    name: str
    made_at: datetime
    sequence: int
    whole: bool
    series_from: str = ""


def to_keep(some: Sequence[Kept], zone: ZoneInfo) -> set[str]:
    """Return the names of the backups to keep.

    The 96 newest; of the 35 last days with a backup, the 24 last such months and every year, the last one of each,
    a whole one before one of the records alone; and every whole backup whose series another of these needs.
    """
    newest = sorted(some, key=lambda one: (one.sequence, one.made_at), reverse=True)
    keep = {one.name for one in newest[:QUARTER_HOURS]}
    for form, most in (("%Y-%m-%d", DAYS), ("%Y-%m", MONTHS), ("%Y", None)):
        best: dict[str, Kept] = {}
        for one in newest:
            period = one.made_at.astimezone(zone).strftime(form)
            if period not in best or (one.whole and not best[period].whole):
                best[period] = one
        periods = sorted(best, reverse=True)
        keep |= {best[period].name for period in periods[:most]}
    return keep | _needed(newest, keep)


def _needed(some: Iterable[Kept], keep: set[str]) -> set[str]:
    return {one.series_from for one in some if one.name in keep and one.series_from}

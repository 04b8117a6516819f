"""How long must records be kept, and which have been kept that long? A table of data, and a list; nothing is removed.

The ledger is a chain: an entry taken out of it breaks every seal after it. So there is no way to remove one; the list
tells what no federal rule asks for any longer, for those who must answer how long they keep what.
"""

import tomllib
from dataclasses import dataclass
from datetime import UTC, date, datetime
from fnmatch import fnmatchcase
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from weirhouse.records.store import Store

TABLE = Path(__file__).with_name("retention.toml")


@dataclass(frozen=True, slots=True)
class Keep:
    """One row: which records are kept how long, since when, on what basis; `matches` are patterns of kind/topic."""

    id: str
    records: str
    years: int
    since: str
    basis: str
    source: str
    matches: tuple[str, ...]
    but: tuple[str, ...] = ()

    def holds(self, kind: str, topic: str) -> bool:
        """Whether entries of a kind on a topic are kept by this row."""
        name = f"{kind}/{topic}".casefold()
        return any(fnmatchcase(name, one) for one in self.matches) and not any(fnmatchcase(name, x) for x in self.but)


@dataclass(frozen=True, slots=True)
class Past:
    """What has been kept as long as the table asks: how many of which, from when to when, and by which row."""

    kind: str
    topic: str
    keep: Keep
    count: int
    first: datetime
    last: datetime


@cache
def table() -> tuple[Keep, ...]:
    """Return the retention table."""
    rows = tomllib.loads(TABLE.read_text(encoding="utf-8"))["keep"]
    return tuple(
        Keep(
            id=row["id"], records=row["records"], years=row["years"], since=row["since"], basis=row["basis"],
            source=row["source"], matches=tuple(row["matches"]), but=tuple(row.get("except", ())),
        )
        for row in rows
    )  # fmt: skip


def keep_of(kind: str, topic: str) -> Keep | None:
    """Return the row that asks for the longest keeping; None where the table says nothing.

    >>> keep_of("reading", "raw_turbidity").years, keep_of("result", "toc").years, keep_of("event", "note")
    (5, 10, None)
    """
    found = [row for row in table() if row.holds(kind, topic)]
    return max(found, key=lambda row: row.years) if found else None


def past(store: "Store", today: date) -> list[Past]:
    """Return what has been kept as long as the table asks on a day; a dry run, nothing is changed."""
    found = []
    for kind, topic in store.topics():
        keep = keep_of(kind, topic)
        if keep is None:
            continue
        told = store.tally(kind, topic, until=_years_before(today, keep.years))
        if told is not None:
            count, first, last = told
            found.append(Past(kind, topic, keep, count, first, last))
    return found


def _years_before(day: date, years: int) -> datetime:
    """Return the beginning of the same day some years ago, in UTC; 28 February for the 29th."""
    month, number = (2, 28) if (day.month, day.day) == (2, 29) else (day.month, day.day)
    return datetime(day.year - years, month, number, tzinfo=UTC)

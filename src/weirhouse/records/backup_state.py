"""When was the last backup, did every place take it, and is another due? Kept on the disk beside the records.

Durations are told by a clock that nobody sets. The time of day decides only which night it is, and what is due when
the program starts; so neither a clock set wrong nor the two nights on which it changes skip a backup or make it twice.
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec

from weirhouse.records.restore import sync, sync_folder

FILE = "backups.json"
QUARTER = timedelta(minutes=15)
NIGHT_AT = timedelta(hours=2, minutes=30)  # on the plant's clock; on a night without that time, the next there is
SOONEST, LATEST = timedelta(hours=8), timedelta(hours=26)  # between two nightly ones, whatever the clock says
AGAIN = timedelta(minutes=15)  # after one that no place took
OLD, LATE = timedelta(days=2), timedelta(minutes=5)  # a backup older than this, or this far ahead, is told as a fault


class Told(msgspec.Struct, kw_only=True):
    """What became of the backups in one place."""

    good_at: datetime | None = None
    name: str = ""
    sequence: int = 0
    fault: str = ""
    fault_since: datetime | None = None
    removable: bool = False


class State(msgspec.Struct, kw_only=True):
    """What is known of a plant's backups."""

    records_at: datetime | None = None  # when the last one was made that holds the records
    all_at: datetime | None = None  # and the last nightly one, or one that somebody asked for
    places: dict[str, Told] = msgspec.field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Ran:
    """When something was last done: by the time of day, and by the clock that nobody sets where it was in this run."""

    at: datetime
    tick: float | None = None  # [s]


def quarter_due(last: Ran | None, now: datetime, tick: float) -> bool:
    """Return whether the backup of the records is due.

    >>> from datetime import UTC
    >>> at = datetime(2026, 11, 1, 5, 50, tzinfo=UTC)
    >>> quarter_due(Ran(at, 100.0), at - timedelta(days=9), 900.0), quarter_due(Ran(at, 100.0), at, 1000.0)
    (False, True)
    """
    if last is None:
        return True
    if last.tick is not None:
        return tick - last.tick >= QUARTER.total_seconds()
    return not timedelta(0) <= now - last.at < QUARTER


def night_due(last: Ran | None, now: datetime, tick: float, zone: ZoneInfo) -> bool:
    """Return whether the nightly backup is due: once for each night, and never later than `LATEST` after the last."""
    if last is None:
        return True
    later = night_of(now, zone) > night_of(last.at, zone)
    if last.tick is None:
        return later or now < last.at
    gone = tick - last.tick
    return gone >= LATEST.total_seconds() or (later and gone >= SOONEST.total_seconds())


def night_of(moment: datetime, zone: ZoneInfo) -> date:
    """Return the date of the night whose backup was last due by that moment, on the plant's clock."""
    return (moment.astimezone(zone).replace(tzinfo=None) - NIGHT_AT).date()


def read_state(folder: Path) -> State:
    """Return what is known of a plant's backups; nothing where the file is not there or cannot be read."""
    try:
        return msgspec.json.decode((folder / FILE).read_bytes(), type=State)
    except (OSError, msgspec.DecodeError, UnicodeDecodeError):
        return State()


def write_state(folder: Path, state: State) -> None:
    """Keep it, whole or as it was."""
    new = folder / f".{FILE}.{os.getpid()}"
    try:
        new.write_bytes(msgspec.json.format(msgspec.json.encode(state), indent=1))
        sync(new)
        new.replace(folder / FILE)
        sync_folder(folder)
    finally:
        new.unlink(missing_ok=True)


@dataclass(frozen=True, slots=True)
class Line:
    """A sentence on how the backups stand, and whether it tells of a fault."""

    words: str
    fault: bool = False


def lines(state: State, places: Mapping[str, bool], now: datetime, zone: ZoneInfo) -> list[Line]:
    """Return how the backups stand. `places`: every place of the plant, and whether it is removable."""
    newest = max((one.good_at for one in state.places.values() if one.good_at), default=None)
    if newest is None:
        found = [Line("No backup was made yet. Make one with: weirhouse backup", fault=True)]
    else:
        gone = now - newest
        late = gone > OLD or gone < -LATE
        found = [
            Line(f"Last backup {age_words(gone)} ({_clock(newest, zone)}), restored for a trial and verified.", late)
        ]
    for place, removable in places.items():
        told = state.places.get(place)
        if told is None and newest is not None:
            found.append(Line(f"{place} has taken no backup yet.", not removable))
        elif told is not None and told.fault:
            since = f" (Since {_clock(told.fault_since, zone)}.)" if told.fault_since else ""
            last = f" Its last backup is of {_clock(told.good_at, zone)}." if told.good_at else ""
            found.append(Line(f"{told.fault}{since}{last}", not removable))
    return found


def _clock(moment: datetime, zone: ZoneInfo) -> str:
    return f"{moment.astimezone(zone):%a %Y-%m-%d %H:%M}"


def age_words(gone: timedelta) -> str:
    """Return how long ago in words.

    >>> age_words(timedelta(minutes=12)), age_words(timedelta(hours=30))
    ('12 min ago', '30 h ago')
    """
    minutes = int(gone.total_seconds() // 60)
    if minutes < 0:
        return "at a time still to come: look at the clock of this computer"
    if minutes < 120:
        return f"{minutes} min ago"
    hours = minutes // 60
    return f"{hours} h ago" if hours < 48 else f"{hours // 24} days ago"

"""What do the pages read and write? One plant folder, opened anew for each request and closed after it.

Twenty people who ask for the same instant get the same answer: what was worked out is kept for as long as neither the
plant file nor the records change. Now is the whole minute.
"""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

from weirhouse.desk import day_log, lanes
from weirhouse.desk.model import Today
from weirhouse.desk.so_far import month_so_far
from weirhouse.desk.timetable import Timetable
from weirhouse.desk.today import today
from weirhouse.plant import load
from weirhouse.plant.model import Plant
from weirhouse.records import backup_run, files, people
from weirhouse.records.access import Access
from weirhouse.records.backup_state import Line, read_state
from weirhouse.records.model import DiskError
from weirhouse.records.people import Person
from weirhouse.records.store import Store
from weirhouse.situation.at import at, between
from weirhouse.situation.clock import typed_time
from weirhouse.situation.model import Situation, Track
from weirhouse.web.looking import Looking
from weirhouse.web.setup_code import SetupCode

Clock = Callable[[], datetime]
T = TypeVar("T")
BACK, AHEAD = timedelta(hours=24), timedelta(hours=12)  # of the timetable
KEPT = 24  # answers
STOPPED = (
    "The disk failed while something was stored, and nothing more is taken: what was acknowledged before is kept, what "
    "was not is lost. Write on paper, look at the disk and at the last backup, then end Weirhouse and start it again."
)
FILES = ("plant.toml", "records.sqlite", "records.sqlite-wal", "series.sqlite", "series.sqlite-wal")
SEARCHED = 400  # days of the log, back from now
MOST_FOUND = 200  # lines


@dataclass(frozen=True, slots=True)
class Standing:
    """The plant's situation at an instant, and the answer made of it."""

    situation: Situation
    today: Today


class PlantFolder:
    """The plant as the pages see it."""

    def __init__(self, folder: Path, *, clock: Clock) -> None:
        self.folder, self.clock = folder, clock
        self.stopped = ""  # why nothing more is written
        self.access = Access(folder)
        self.looking = Looking()
        self.code: SetupCode | None = None  # with which another device may make the first account
        self._plant_lock, self._answer_lock = threading.Lock(), threading.RLock()
        self._plant: tuple[object, Plant] | None = None
        self._answers: dict[object, Any] = {}

    def plant(self) -> Plant:
        """Return the plant, read again when its file has changed."""
        stamp = self._stamp(FILES[:1])
        with self._plant_lock:
            if self._plant is None or stamp is None or self._plant[0] != stamp:
                self._plant = (stamp, load(self.folder))
            return self._plant[1]

    def last_plant(self) -> Plant | None:
        """Return the plant as it was last read without a fault, for the head of a page that says what is wrong."""
        return None if self._plant is None else self._plant[1]

    def _stamp(self, names: tuple[str, ...]) -> object:
        found: list[tuple[int, int, int] | None] = []
        for name in names:
            try:
                state = (self.folder / name).stat()
            except OSError:
                found.append(None)
            else:
                found.append((state.st_mtime_ns, state.st_size, state.st_ino))
        return tuple(found)

    def kept(self, key: object, make: Callable[[], T]) -> T:
        """Return what was made for a key while no file has changed since; two who ask at once wait for one making."""
        whole = (self._stamp(FILES), files.mark(self.folder), key)
        with self._answer_lock:
            if whole not in self._answers:
                while len(self._answers) >= KEPT:
                    del self._answers[next(iter(self._answers))]
                self._answers[whole] = make()
            found: T = self._answers[whole]
            return found

    @contextmanager
    def reading(self) -> Iterator[Store]:
        """Open the records for reading."""
        with Store.open(self.folder, read_only=True) as store:
            yield store

    @contextmanager
    def writing(self) -> Iterator[Store]:
        """Open the records for writing. Once the disk has failed, nothing more is written until a new start."""
        if self.stopped:
            raise DiskError(self.stopped)
        try:
            with Store.open(self.folder) as store:
                try:
                    yield store
                finally:
                    if store.broken:
                        self.stopped = STOPPED
        except DiskError:
            self.stopped = STOPPED
            raise

    def people(self) -> dict[str, Person]:
        """Return everybody who has or had an account, by id."""

        def make() -> dict[str, Person]:
            if not files.exist(self.folder):  # no records, nobody in them; the formulas are there all the same
                return {}
            with self.reading() as store:
                return people.read(store)

        return self.kept("people", make)

    def set_up(self) -> bool:
        """Return whether anybody has an account. In a demonstration, whose people are invented, a password counts.

        People without passwords (the file was lost) are accounts all the same: the plant does not fall open.
        """
        return self.access.any_account() or (not self.plant().demo and bool(self.people()))

    def backups(self) -> list[Line]:
        """Return how the backups stand, in sentences; nothing for a demonstration that has none."""
        plant = self.plant()
        if plant.demo and not read_state(self.folder).places:
            return []
        return backup_run.standing(self.folder, plant, self.clock())

    def now(self, store: Store) -> datetime:
        """Return now to the minute; in the demonstration, whose year ends on a fixed date, its last reading."""
        if self.plant().demo:
            last = store.span()[1]
            if last is not None:
                return last.astimezone(UTC)
        return self.clock().astimezone(UTC).replace(second=0, microsecond=0)

    def present(self) -> datetime:
        """Return now, see `now`."""
        if not self.plant().demo:
            return self.clock().astimezone(UTC).replace(second=0, microsecond=0)
        return self.kept("present", self._read_present)

    def _read_present(self) -> datetime:
        with self.reading() as store:
            return self.now(store)

    def moment(self, asked: str) -> datetime:
        """Return the instant that a page is asked for (`?at=`), or now. TimeError in one sentence."""
        now = self.present()
        return typed_time(asked, self.plant().zone, now) if asked else now

    def standing(self, asked: str = "") -> Standing:
        """Return the situation and Today at an instant."""
        when = self.moment(asked)

        def make() -> Standing:
            with self.reading() as store:
                situation = at(store, self.plant(), when)
                so_far = month_so_far(store, self.plant(), self.folder, when)
            return Standing(situation, today(situation, *so_far))

        return self.kept(("standing", when), make)

    def timetable(self, now: datetime) -> Timetable:
        """Return the water timetable around an instant."""

        def make() -> Timetable:
            with self.reading() as store:
                stretch = between(store, self.plant(), now - BACK - lanes.LEAD, now + timedelta(seconds=1))
            return lanes.timetable_of(stretch, begin=now - BACK, end=now + AHEAD, now=now)

        return self.kept(("timetable", now), make)

    def track(self, channel: str, a: datetime, b: datetime) -> Track:
        """Return what a channel did over a stretch."""
        with self.reading() as store:
            series = store.values(channel, a, b)
        return Track(channel=channel, times=series.times, values=series.values, flags=series.flags)

    def log(self, day: date, search: str = "") -> tuple[day_log.LogLine, ...]:
        """Return the day log of a local day."""
        with self.reading() as store:
            return day_log.entries(store, self.plant(), day, search=search)

    def search_log(
        self, words: str, *, kind: str = "", person: str = "", first: date | None = None, last: date | None = None
    ) -> list[tuple[date, day_log.LogLine]]:
        """Return the newest lines of the log that hold all the words, newest first.

        Without days, the last 400 are looked at; with them, those from `first` to `last`.
        """
        plant = self.plant()
        newest = last or self.present().astimezone(plant.zone).date()
        oldest = first or newest - timedelta(days=SEARCHED)

        def make() -> list[day_log.LogLine]:
            begin, end = day_log.day_bounds(plant, oldest)[0], day_log.day_bounds(plant, newest)[1]
            with self.reading() as store:
                return day_log.lines(store, plant, begin, end)

        found = self.kept(("lines of the log", oldest, newest), make)
        wanted = words.casefold().split()
        kept = [
            line
            for line in reversed(found)
            if kind in ("", line.kind)
            and person in ("", line.person)
            and all(word in day_log.said(line) for word in wanted)
        ]
        return [(line.at.date(), line) for line in kept[:MOST_FOUND]]

    def people_of_log(self) -> list[str]:
        """Return who entered events in the last 400 days."""

        def make() -> list[str]:
            with self.reading() as store:
                since = self.now(store) - timedelta(days=SEARCHED)
                found = {one.person for one in store.events(since=since)}
            return sorted(one for one in found if one)

        return self.kept("people of the log", make)

"""Who makes the backups while the pages are served? A helper beside them that asks again and again what is due.

It works through a failing place, a plant file that cannot be read or a full disk: what happened is kept beside the
records and told on the pages, and the next try comes by itself.
"""

import logging
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from weirhouse.plant import load
from weirhouse.records import backup_run
from weirhouse.records.backup_state import AGAIN, Ran, State, night_due, quarter_due, read_state

log = logging.getLogger("weirhouse.backup")
LOOK_S = 20.0  # between two looks at what is due
Clock = Callable[[], datetime]
Tick = Callable[[], float]


@dataclass(slots=True)
class Jobs:
    """When each job was last done, and when one last failed."""

    records: Ran | None = None
    whole: Ran | None = None
    failed: float | None = None  # by the clock that nobody sets [s]

    @classmethod
    def after(cls, state: State) -> "Jobs":
        """Return the jobs as an earlier run of the program left them."""
        return cls(
            Ran(state.records_at) if state.records_at else None, Ran(state.all_at) if state.all_at else None
        )  # fmt: skip

    def due(self, now: datetime, tick: float, zone: ZoneInfo) -> str:
        """Return which backup is due: "all", "records" or nothing."""
        if self.failed is not None and tick - self.failed < AGAIN.total_seconds():
            return ""
        if night_due(self.whole, now, tick, zone):
            return "all"
        return "records" if quarter_due(self.records, now, tick) else ""

    def done(self, what: str, now: datetime, tick: float, *, good: bool) -> None:
        """Note what became of a job; a whole backup holds the records too."""
        if not good:
            self.failed = tick
            return
        self.failed, self.records = None, Ran(now, tick)
        if what == "all":
            self.whole = self.records


def look(folder: Path, jobs: Jobs, clock: Clock, tick: Tick) -> str:
    """Do what is due, and return what it was."""
    plant = load(folder)
    now = clock()
    what = jobs.due(now, tick(), plant.zone)
    if what:
        outcomes = backup_run.run(folder, plant, whole=what == "all", at=now)
        for one in outcomes:
            if one.fault:
                log.warning("no backup: %s", one.fault)
        jobs.done(what, now, tick(), good=any(one.path for one in outcomes))
    return what


@contextmanager
def by_themselves(
    folder: Path, *, clock: Clock = lambda: datetime.now(UTC), tick: Tick = time.monotonic, every_s: float = LOOK_S
) -> Iterator[None]:
    """Make the backups that fall due for as long as this lasts; one that is being made at the end is finished."""
    ending = threading.Event()
    jobs = Jobs.after(read_state(folder))

    def watch() -> None:
        while True:
            try:
                look(folder, jobs, clock, tick)
            except Exception:  # whatever it is, the next look comes
                log.exception("a backup failed")
                jobs.done("", clock(), tick(), good=False)
            if ending.wait(every_s):
                return

    helper = threading.Thread(target=watch, name="backups", daemon=True)
    helper.start()
    try:
        yield
    finally:
        ending.set()
        helper.join(60.0)

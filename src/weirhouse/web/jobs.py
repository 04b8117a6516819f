"""What takes longer than a page may? A job in the background, asked for by its key, that says how far it is."""

import threading
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

SOON = 1.5  # for a job to be done before its progress is shown [s]
MOST_KEPT = 24


@dataclass(slots=True)
class Job:
    """A job: how far it is, and what came of it."""

    id: str
    share: float = 0.0  # done, 0 to 1
    found: Any = None
    fault: Exception | None = None
    done: threading.Event = field(default_factory=threading.Event)

    def tick(self, share: float) -> None:
        """Say how far it is."""
        self.share = share


class Jobs:
    """The jobs of one application; the oldest that are done are forgotten."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._by_key: dict[object, Job] = {}

    def run(self, key: object, work: Callable[[Job], Any], *, wait: float = SOON) -> Job:
        """Return the job with that key, begun if there is none; after `wait` it may still be at work."""
        with self._lock:
            job = self._by_key.get(key)
            if job is None:
                job = self._by_key[key] = Job(id=uuid.uuid4().hex)
                threading.Thread(target=_worked, args=(job, work), daemon=True).start()
                self._forget()
        job.done.wait(wait)
        return job

    def find(self, id: str, *, wait: float = SOON) -> Job | None:
        """Return a job by its id."""
        with self._lock:
            job = next((one for one in self._by_key.values() if one.id == id), None)
        if job is not None:
            job.done.wait(wait)
        return job

    def _forget(self) -> None:
        for key in [key for key, job in self._by_key.items() if job.done.is_set()]:
            if len(self._by_key) <= MOST_KEPT:
                return
            del self._by_key[key]


def _worked(job: Job, work: Callable[[Job], Any]) -> None:
    try:
        job.found = work(job)
    except Exception as fault:  # handed to whoever asks for the job
        job.fault = fault
    finally:
        job.share = 1.0
        job.done.set()

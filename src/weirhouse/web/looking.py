"""How far is a long reckoning, and what came of it? One at a time, kept until what it stands on is too old."""

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

KEPT = 6  # answers
OLD = timedelta(minutes=15)  # for which an answer made for now is shown as the newest


@dataclass(slots=True)
class Job:
    """One reckoning: where it stands, then its answer or what went wrong."""

    key: object
    at: datetime
    share: float = 0.0
    what: str = "waiting"
    answer: Any = None
    error: Exception | None = None
    done: threading.Event = field(default_factory=threading.Event)


class Looking:
    """The reckonings of one plant's pages. Two who ask for the same wait for one; another one waits its turn."""

    def __init__(self) -> None:
        self._lock, self._turn = threading.Lock(), threading.Lock()
        self._jobs: list[Job] = []

    def find(self, key: object, at: datetime) -> Job | None:
        """Return the reckoning for a key that was made for `at`, or for a little before it."""
        with self._lock:
            same = [job for job in self._jobs if job.key == key and timedelta(0) <= at - job.at <= OLD]
            return same[-1] if same else None

    def begin(self, key: object, at: datetime, make: Callable[[Callable[[float, str], None]], Any]) -> Job:
        """Start a reckoning in the background, unless the same is under way."""
        with self._lock:
            for job in self._jobs:
                if job.key == key and job.at == at and not job.done.is_set():
                    return job
            job = Job(key, at)
            self._jobs = [*(other for other in self._jobs if not (other.key == key and other.done.is_set())), job]
            self._jobs = self._jobs[-KEPT:]
        threading.Thread(target=self._run, args=(job, make), daemon=True).start()
        return job

    def _run(self, job: Job, make: Callable[[Callable[[float, str], None]], Any]) -> None:
        def tell(share: float, what: str) -> None:
            job.share, job.what = max(job.share, share), what

        with self._turn:
            try:
                job.answer = make(tell)
            except Exception as error:  # whatever it was is shown to whoever asked
                job.error = error
            job.share = 1.0
            job.done.set()

"""Readings, events and series to fill records with, and ways to look into the files past the store."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from pysqlite3 import dbapi2 as driver

from weirhouse.records.model import Event, Reading, Series, series
from weirhouse.records.store import Store

START = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)
SECONDS = int(START.timestamp())
NOW = START + timedelta(days=30)


def minutes(count: float) -> datetime:
    return START + timedelta(minutes=count)


def reading(value: float | None = 5.0, at: float = 0, channel: str = "raw_turbidity", **more: Any) -> Reading:
    """A reading `at` minutes after the start."""
    said = {"unit": "NTU", "text": f"{value}", "person": "R. Hale"} | more
    return Reading(channel=channel, value=value, taken_at=minutes(at), **said)


def event(kind: str = "backwash", at: float = 0, **more: Any) -> Event:
    said = {"subject": "filter_1", "values": {"volume": 11.0}, "person": "R. Hale"} | more
    return Event(kind=kind, started_at=minutes(at), ended_at=minutes(at + 20), **said)


def every_minute(count: int, channel: str = "raw_turbidity", start: float = 0, base: float = 1.0) -> Series:
    """A value for each minute from `start` minutes after the start: base, base + 0.1, ..."""
    times = SECONDS + int(start * 60) + np.arange(count) * 60
    return series(channel, times, base + np.arange(count) * 0.1)


def put(store: Store, *some: Series, name: str = "logger.csv", readings: tuple[Reading, ...] = (), **more: Any) -> str:
    """Import series and return the id of the import."""
    said = {"person": "R. Hale", "entered_at": NOW, "detail": {}} | more
    return store.add_import(name, f"digest of {name}", some, readings, **said).import_id


@contextmanager
def inside(folder: Path, file: str) -> Iterator[Any]:
    """A file of the records, opened past the store; what is done there is kept."""
    connection = driver.connect(str(folder / file), isolation_level=None)
    try:
        yield connection
    finally:
        connection.close()


def without_triggers(connection: Any) -> None:
    """Do as someone would who means to alter the records."""
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")

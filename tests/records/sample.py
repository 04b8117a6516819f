"""Readings, events and series to fill records with, and ways to look into the files past the store."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import psycopg
from pysqlite3 import dbapi2 as driver

from weirhouse.records.model import Event, Reading, Series, series
from weirhouse.records.place import server_of
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


# What the database says to one who means to alter the records.
DATABASE_ERRORS = (driver.DatabaseError, psycopg.Error)


class Marked:
    """A connection to a server that takes the marks of SQLite."""

    def __init__(self, raw: psycopg.Connection[Any]) -> None:
        self.raw = raw
        self.close = raw.close

    def execute(self, sql: str, values: Any = ()) -> Any:
        return self.raw.execute(sql.replace("%", "%%").replace("?", "%s"), values)


@contextmanager
def inside(folder: Path, file: str) -> Iterator[Any]:
    """A file of the records, or the schema that stands for it, opened past the store; what is done there is kept."""
    server = server_of(folder)
    if server is None:
        connection = driver.connect(str(folder / file), isolation_level=None)
    else:
        connection = Marked(psycopg.connect(server.url, autocommit=True))
        schema = server.schema + ("_series" if file == "series.sqlite" else "")
        connection.execute(f"SET search_path TO {schema}")
    try:
        yield connection
    finally:
        connection.close()


def on_sqlite(connection: Any) -> bool:
    return not isinstance(connection, Marked)


def without_triggers(connection: Any) -> None:
    """Do as someone would who means to alter the records."""
    if not on_sqlite(connection):
        for (table,) in connection.execute(
            "SELECT tablename FROM pg_tables WHERE schemaname = current_schema()"
        ).fetchall():
            connection.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
        return
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")

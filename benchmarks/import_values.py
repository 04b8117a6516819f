"""How long does the import of 6.3 million values take (a year of 12 channels at one minute), beside the plainest way?

The peer parses the same file with pandas and inserts every value into one table of a SQLite file with the same
durability (write-ahead log, synchronous FULL), with `executemany` and nothing else: no mapping, no units, no flags, no
check for what is there already, no digest, no ledger. It too makes hourly figures, with pandas, and stores them.
"""

import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from pysqlite3 import dbapi2 as driver

from benchmarks.result import Result
from weirhouse.records.importing.run import import_file
from weirhouse.records.store import Store

MINUTES = 365 * 1440
BEGIN = int(datetime(2025, 6, 1, tzinfo=UTC).timestamp())
ZONE = ZoneInfo("America/New_York")
MOST = 1.5


@dataclass(frozen=True)
class Channel:
    """A channel of a plant file, as far as an import looks at it."""

    name: str
    unit: str
    inside_unit: str
    low: float | None = None
    high: float | None = None

    @property
    def inside(self) -> str:
        return self.inside_unit


@dataclass(frozen=True)
class Plant:
    channels: dict[str, Channel]
    zone: ZoneInfo


# id: title, unit, inside unit, usual value and spread, digits written
COLUMNS = {
    "raw_turbidity": ("Raw turbidity", "NTU", "NTU", 6.0, 3.0, 2),
    "raw_temperature": ("Raw temperature", "degC", "degC", 11.0, 4.0, 1),
    "raw_ph": ("Raw pH", "pH", "pH", 7.3, 0.2, 2),
    "settled_turbidity": ("Settled turbidity", "NTU", "NTU", 0.9, 0.3, 2),
    "filter_1_turbidity": ("Filter 1 turbidity", "NTU", "NTU", 0.05, 0.02, 3),
    "filter_2_turbidity": ("Filter 2 turbidity", "NTU", "NTU", 0.05, 0.02, 3),
    "combined_turbidity": ("Combined turbidity", "NTU", "NTU", 0.05, 0.02, 3),
    "entry_chlorine": ("Entry chlorine", "mg/L", "g/m^3", 1.2, 0.1, 2),
    "plant_flow": ("Plant flow", "gpm", "m^3/s", 140.0, 10.0, 1),
    "demand_flow": ("Demand flow", "gpm", "m^3/s", 70.0, 20.0, 1),
    "filter_1_head_loss": ("Filter 1 head loss", "ft", "m", 3.0, 1.0, 2),
    "storage_level": ("Storage level", "ft", "m", 18.0, 1.0, 2),
}


def plant() -> Plant:
    """Return what the import needs to know of the plant."""
    return Plant({id: Channel(name, unit, inside) for id, (name, unit, inside, *_) in COLUMNS.items()}, ZONE)


def write_file(path: Path, minutes: int = MINUTES) -> int:
    """Write a logger's file with a stamp and 12 values on each line; return how many values."""
    chance = np.random.default_rng(2)
    stamps = np.datetime_as_string(np.datetime64(BEGIN, "s") + np.arange(minutes) * np.timedelta64(60, "s"), unit="s")
    columns = [np.char.add(stamps, "Z")]
    for *_, usual, spread, digits in COLUMNS.values():
        values = np.abs(usual + spread * np.sin(np.arange(minutes) / 900) + chance.normal(0, spread / 20, minutes))
        columns.append(np.char.mod(f"%.{digits}f", values))
    head = ",".join(["time", *(f"{id} ({unit})" for id, (_, unit, *_) in COLUMNS.items())])
    with path.open("w", encoding="ascii") as file:
        file.write(f"{head}\n")
        file.writelines(f"{','.join(row)}\n" for row in zip(*(column.tolist() for column in columns), strict=True))
    return minutes * len(COLUMNS)


def peer(source: Path, folder: Path) -> None:
    """Parse with pandas, insert bare, and roll up by the hour."""
    table = pd.read_csv(source, parse_dates=["time"])
    seconds = table.pop("time").dt.as_unit("s").astype("int64")
    file = driver.connect(str(folder / "peer.sqlite"), isolation_level=None)
    file.execute("PRAGMA journal_mode = WAL")
    file.execute("PRAGMA synchronous = FULL")
    file.execute(
        "CREATE TABLE value (channel INTEGER, time INTEGER, value REAL, PRIMARY KEY (channel, time)) WITHOUT ROWID"
    )
    file.execute(
        "CREATE TABLE hour (channel INTEGER, hour INTEGER, n INTEGER, least REAL, most REAL, total REAL, last REAL, "
        "PRIMARY KEY (channel, hour)) WITHOUT ROWID"
    )
    file.execute("BEGIN IMMEDIATE")
    times = seconds.tolist()
    hours = seconds // 3600 * 3600
    for number, name in enumerate(table.columns):
        column = table[name]
        file.executemany(
            "INSERT INTO value VALUES (?, ?, ?)", zip([number] * len(times), times, column.tolist(), strict=True)
        )
        rolled = column.groupby(hours).agg(["count", "min", "max", "sum", "last"])
        file.executemany(
            "INSERT INTO hour VALUES (?, ?, ?, ?, ?, ?, ?)", ((number, *row) for row in rolled.itertuples(name=None))
        )
    file.execute("COMMIT")
    file.close()


def ours(source: Path, folder: Path) -> int:
    """Import it, into empty records."""
    with Store.open(folder / "plant", create=True) as store:
        result = import_file(
            store, plant(), source, dry_run=False, person="benchmark", entered_at=datetime(2026, 6, 2, tzinfo=UTC)
        )
    return result.stored


def measure(minutes: int = MINUTES) -> Result:
    """Return our time over the peer's; the better of two runs each, taken in turn."""
    with tempfile.TemporaryDirectory() as name:
        source = Path(name) / "logger.csv"
        count = write_file(source, minutes)
        mine, theirs = [], []
        for turn in range(2):
            for taken, run in ((theirs, peer), (mine, ours)):
                folder = Path(name) / f"{run.__name__}{turn}"
                folder.mkdir()
                taken.append(_timed(lambda run=run, folder=folder: run(source, folder)))
        with Store.open(Path(name) / "ours0" / "plant", read_only=True) as store:
            stored = sum(found.values for found in store.imports())
        assert stored == count, f"{stored} of {count} values were stored"
        size = sum(path.stat().st_size for path in (Path(name) / "ours0" / "plant").iterdir())
        beside = sum(path.stat().st_size for path in (Path(name) / "peer0").iterdir())
    return Result(
        f"Import of {count / 1e6:.1f} million values, over pandas and a bare insert",
        min(mine) / min(theirs),
        MOST,
        f"{min(mine):.1f} s, peer {min(theirs):.1f} s; {size / 1e6:.0f} MB, peer {beside / 1e6:.0f} MB",
    )


def _timed(run: Callable[[], object]) -> float:
    begin = time.perf_counter()
    run()
    return time.perf_counter() - begin


if __name__ == "__main__":
    result = measure(*(int(word) for word in sys.argv[1:]))
    print(result.row())
    sys.exit(0 if result.met else 1)

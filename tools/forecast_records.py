"""Which open records of streams may the forecast be tried on, and which may its packaged rules be fitted on?"""

import csv
import gzip
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np

from weirhouse.situation.model import Track

OPEN_DATA = Path(__file__).parents[2] / "shared" / "data"


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """A stream's turbidity; `stream` groups records of one place, `fits` says that it may be copied."""

    name: str
    stream: str
    licence: str
    fits: bool
    track: Track


def _rows(path: Path, skip: str = "") -> Iterator[dict[str, str]]:
    packed = path.read_bytes()
    text = (gzip.decompress(packed) if path.suffix == ".gz" else packed).decode("utf-8-sig")
    lines = (line for line in io.StringIO(text, newline="") if not skip or not line.startswith(skip))
    yield from csv.DictReader(lines)


def _number(text: str | None) -> float:
    try:
        return float(text or "nan")
    except ValueError:
        return float("nan")


def _time(text: str, zone: timezone = UTC) -> int:
    stamp = datetime.fromisoformat(text.replace("Z", "+00:00"))
    return int((stamp if stamp.tzinfo else stamp.replace(tzinfo=zone)).timestamp())


def _track(pairs: list[tuple[int, float, int]]) -> Track:
    pairs.sort(key=lambda pair: pair[0])
    return Track(
        channel="raw_turbidity",
        times=np.asarray([p[0] for p in pairs], np.int64),
        values=np.asarray([p[1] for p in pairs], np.float64),
        flags=np.asarray([p[2] for p in pairs], np.uint8),
    )


def _usgs(path: Path, column: str, code: str, stamp: str = "datetime_utc") -> Track:
    above = 4  # over the range
    return _track(
        [
            (_time(row[stamp]), _number(row[column]), above if "<" in row[code] else 0)
            for row in _rows(path)
            if row[column]
        ]
    )


def _logan(path: Path) -> Track:
    return _track(
        [
            (_time(row["datetime"]), value, 0 if row["turb_qual"] in ("", "NULL") and value > -50 else 2)
            for row in _rows(path)
            if row["datetime"] and np.isfinite(value := _number(row["turb"]))
        ]
    )


def _pope(path: Path) -> Track:
    return _track([(_time(r["ISO 8601 UTC"]), _number(r["Value"]), 0) for r in _rows(path, skip="#") if r["Value"]])


def _djankuat(path: Path) -> Track:
    return _track([(_time(row["time"]), _number(row["ntu"]), 0) for row in _rows(path)])


def _sandy(path: Path) -> Track:
    zone = timezone(timedelta(hours=10))
    pairs = []
    for row in _rows(path):
        stamp = datetime.strptime(row["Timestamp"], "%d/%m/%Y %H:%M").replace(tzinfo=zone)
        value = _number(row["Tur"])
        if np.isfinite(value):
            pairs.append((int(stamp.timestamp()), value, 2 if row["label_Tur"] == "1" else 0))
    return _track(pairs)


_PUBLIC, _BSD = "public domain (USGS)", "BSD 3-Clause"
_ESOPUS = "esopus_creek_usgs/"
_SETS = (
    ("Esopus Creek at Coldbrook, 2016-2020", "Esopus Creek", _PUBLIC, True,
     _ESOPUS + "coldbrook_turbidity_wy2017_2020.csv.gz", lambda p: _usgs(p, "turb_dts12_fnu", "turb_dts12_cd")),
    ("Little Beaver Kill, old sensor, 2022-2024", "Little Beaver Kill", _PUBLIC, True,
     _ESOPUS + "little_beaver_kill_two_sensors_2022_2024.csv.gz",
     lambda p: _usgs(p, "turb_dts12_fnu", "turb_dts12_cd")),
    ("Little Beaver Kill, new sensor, 2022-2024", "Little Beaver Kill", _PUBLIC, True,
     _ESOPUS + "little_beaver_kill_two_sensors_2022_2024.csv.gz",
     lambda p: _usgs(p, "turb_analite_fnu", "turb_analite_cd")),
    ("Pope Brook tributary, 2016-2017", "Pope Brook", _PUBLIC, True,
     "pope_brook_usgs/Turbidity_corrected_WY2017.csv", _pope),
    ("St. Louis River at Scanlon, 2011-2015", "St. Louis River", _PUBLIC, True,
     "st_louis_river_usgs/scanlon_uv_water_quality_rows_2011_2015.csv.gz",
     lambda p: _usgs(p, "Turb_Inst", "Turb_Inst_cd", "datetime")),
    ("Logan River, Franklin Basin, 2014", "Logan River", _BSD, True,
     "logan_river_labelled/FranklinBasin2014.csv.gz", _logan),
    ("Logan River, Franklin Basin, 2020", "Logan River", _BSD, True,
     "logan_river_labelled/FranklinBasin2020.csv", _logan),
    ("Logan River, Main Street, 2019", "Logan River", _BSD, True,
     "logan_river_labelled/MainStreet2019.csv.gz", _logan),
    ("Djankuat, 2016", "Djankuat", "MIT", True, "djankuat_glacier_stream/djanturb.csv", _djankuat),
    ("Sandy Creek, 2017-2018", "Sandy Creek", "GPL-3", False,
     "sandy_creek_labelled/sandy_creek_labelled.csv", _sandy),
)  # fmt: skip


def records(folder: Path = OPEN_DATA) -> tuple[list[Record], list[str]]:
    """Return the records that are there, and the names of those that are not."""
    found, absent = [], []
    for name, stream, licence, fits, path, read in _SETS:
        if (folder / path).exists():
            track = read(folder / path)
            found.append(Record(name=name, stream=stream, licence=licence, fits=fits, track=track))
        else:
            absent.append(name)
    return found, absent

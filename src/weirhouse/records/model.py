"""What can stand in the records? Plain frozen data, without a database.

Values are in the inside unit of their channel. Times are aware datetimes; in arrays they are UTC epoch seconds.
"""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

QUALIFIERS = ("", "<", ">", "ND")
READING_FLAGS = ("", "doubtful", "rejected")
PURPOSES = ("routine", "check", "raw", "special")  # as 40 CFR 141.33(a)(2) has them: raw stands for raw or process
LIMIT_KINDS = ("", "detection", "quantification", "reporting", "range")  # range: the most that the method can tell
LAB_FLAGS = ("U", "J", "UJ", "R", "B", "H")  # not detected, estimated, both, rejected, in the blank, held too long

LATE_AFTER = timedelta(hours=24)  # an entry made later than this after what it tells of is marked as late; our choice

OK, DOUBTFUL, REJECTED, BELOW, ABOVE = range(5)  # flags of a series; BELOW: under detection, ABOVE: over the range


class RecordsError(ValueError):
    """The records cannot be used as asked: one sentence that says what to mend. Nothing was changed."""


class ClosedError(RecordsError):
    """An entry lies in a closed day or month, `period`: it may be stored with a reason, as a late entry."""

    def __init__(self, told: str, period: str) -> None:
        super().__init__(told)
        self.period = period


class ConflictError(RecordsError):
    """An id that is in the records already came with other content. What was there first stays."""


class DamagedError(RecordsError):
    """A file of the records is damaged or gone. It is left as it is; a backup takes its place in another folder."""

    def __init__(self, sentence: str, folder: Path | None = None) -> None:
        super().__init__(sentence)
        self.folder = folder  # of the plant, where it is known


class DiskError(RecordsError):
    """The disk failed while it was read or written. What it holds now is not known: nothing more is written to it."""


def new_id() -> str:
    """Return a new id for an entry, made by whoever makes the entry: sent twice, it is stored once."""
    return str(uuid.uuid4())


@dataclass(frozen=True, kw_only=True, slots=True)
class Reading:
    """One value read or measured by a person or a device, with the characters as they were typed."""

    channel: str
    value: float | None  # in the channel's inside unit; None where there is no number (not detected, without a limit)
    taken_at: datetime
    unit: str  # the unit in which it was written
    text: str  # as typed
    qualifier: str = ""  # "", "<", ">" or "ND"
    flag: str = ""  # "", "doubtful" or "rejected"
    person: str
    device: str = ""
    note: str = ""
    id: str = field(default_factory=new_id)


def flag_of(reading: Reading) -> int:
    """Return the flag that a reading has in a series."""
    if reading.flag:
        return REJECTED if reading.flag == "rejected" else DOUBTFUL
    return {"<": BELOW, "ND": BELOW, ">": ABOVE}.get(reading.qualifier, OK)


@dataclass(frozen=True, kw_only=True, slots=True)
class Event:
    """Something that was done or that happened; `values` are in inside units."""

    kind: str
    started_at: datetime
    ended_at: datetime | None = None
    subject: str = ""  # id of the stage, filter or feed
    values: Mapping[str, float | str] = field(default_factory=dict)
    person: str
    note: str = ""
    id: str = field(default_factory=new_id)


@dataclass(frozen=True, kw_only=True, slots=True)
class Handover:
    """One step of the chain of custody: who took the bottle over, when, and how it was (ice, seal, temperature)."""

    person: str
    at: datetime
    condition: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Sample:
    """A bottle filled at one place and time, and what became of it on the way to the laboratory."""

    point: str  # where: id of a stage or tap, or the name of a sampling point
    purpose: str  # one of `PURPOSES`
    taken_at: datetime
    sampler: str
    laboratory: str = ""  # where it goes
    laboratory_id: str = ""  # number of the laboratory's certificate
    laboratory_number: str = ""  # the laboratory's own number for this sample
    bottle: str = ""
    preservation: str = ""
    custody: tuple[Handover, ...] = ()
    person: str  # who entered it
    note: str = ""
    id: str = field(default_factory=new_id)


@dataclass(frozen=True, kw_only=True, slots=True)
class Result:
    """What a laboratory found of one thing in one sample.

    Where there is a qualifier there is no value: not detected, or below or above what the method can tell, is a
    condition with a limit (`limit`, `limit_kind`), never a number. `value` and `limit` are in the inside unit.
    """

    sample: str  # id of the sample
    analyte: str  # channel, or the name of what was looked for
    value: float | None
    unit: str  # as reported
    text: str  # as reported
    qualifier: str = ""  # "", "<", ">" or "ND"
    limit: float | None = None
    limit_kind: str = ""  # one of `LIMIT_KINDS`
    fraction: str = ""  # total, dissolved, free ... where the report says one
    method: str = ""
    laboratory: str = ""  # where another than the sample's
    analysed_at: datetime | None = None
    analyst: str = ""
    prepared_at: datetime | None = None  # extraction, or begin of the incubation: ends the holding time where given
    holding_limit: float | None = None  # longest time from the tap to the analysis that the method allows [s]
    lab_flags: tuple[str, ...] = ()  # of `LAB_FLAGS`
    flag: str = ""  # our own judgement: "", "doubtful" or "rejected"
    person: str  # who entered it
    note: str = ""
    id: str = field(default_factory=new_id)


Item = Reading | Event | Sample | Result


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Series:
    """Values of one channel over time: times [UTC epoch s], values (NaN is a gap), flags (`OK` ... `ABOVE`)."""

    channel: str
    times: NDArray[np.int64]
    values: NDArray[np.float64]
    flags: NDArray[np.uint8]

    def __len__(self) -> int:
        return len(self.times)


def series(channel: str, times: ArrayLike, values: ArrayLike, flags: ArrayLike | None = None) -> Series:
    """Return a series from anything array-like; without flags, all are `OK`.

    >>> len(series("plant_flow", [0, 60], [0.01, 0.02]))
    2
    """
    stamps = np.asarray(times, dtype=np.int64)
    marks = np.zeros(len(stamps), np.uint8) if flags is None else np.asarray(flags, dtype=np.uint8)
    return Series(channel=channel, times=stamps, values=np.asarray(values, dtype=np.float64), flags=marks)


@dataclass(frozen=True, kw_only=True, slots=True)
class Point:
    """The newest value of a channel at an instant; `value` is None where the newest entry holds no number."""

    time: datetime
    value: float | None
    flag: int  # as in a series
    qualifier: str = ""
    source: str = ""  # in words: the device, the text as typed, or the file it came in
    person: str = ""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Rollup:
    """Values by hour of UTC: start of the hour [UTC epoch s], and of the numbers in it (rejected ones and gaps left
    out) how many, the least, the greatest, the sum and the last. Hours without a number are not listed.
    """

    hour: NDArray[np.int64]
    n: NDArray[np.int64]
    minimum: NDArray[np.float64]
    maximum: NDArray[np.float64]
    total: NDArray[np.float64]
    last: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.hour)


@dataclass(frozen=True, kw_only=True, slots=True)
class Receipt:
    """What became of an import: its id, how much was stored, and how much was in the records already."""

    import_id: str
    stored: int
    already_there: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Withdrawal:
    """Who withdrew an entry, when and why."""

    person: str
    entered_at: datetime
    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Import:
    """One file that was imported; once withdrawn, none of its rows counts."""

    id: str
    name: str
    digest: str  # of the file
    person: str
    entered_at: datetime
    values: int  # of series
    readings: int
    channels: tuple[str, ...]  # and analytes
    first: datetime | None
    last: datetime | None
    detail: Mapping[str, Any]
    samples: int = 0
    results: int = 0
    kept: int = 0  # bytes of the file itself, where it is kept
    withdrawn: Withdrawal | None = None

    @property
    def stored(self) -> int:
        """How many values, readings, samples and results came with it."""
        return self.values + self.readings + self.samples + self.results


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """One entry of the ledger as it was made; `item` is None for a withdrawal and for an import."""

    sequence: int
    id: str
    kind: str
    entered_at: datetime
    person: str
    replaces: str = ""
    reason: str = ""  # of a correction or withdrawal; of an entry that came late
    import_id: str = ""  # of the import that it came with
    item: Item | None = None

    @property
    def at(self) -> datetime | None:
        """When it was taken, began or was analysed."""
        match self.item:
            case Reading() | Sample():
                return self.item.taken_at
            case Event():
                return self.item.started_at
            case Result():
                return self.item.analysed_at
        return None

    def late(self, after: timedelta = LATE_AFTER) -> bool:
        """Whether it was entered later than `after` what it tells of; what a laboratory sends always is, and is not."""
        if self.replaces or self.at is None or isinstance(self.item, Sample | Result):
            return False
        return bool(self.reason) or self.entered_at - self.at > after

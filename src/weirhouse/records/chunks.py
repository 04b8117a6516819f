"""How does a series lie on the disk? In chunks of whole hours, each with its hourly figures beside it.

A chunk holds about `USUAL` values of one channel of one import: little-endian float64 values, times only where they
are not evenly spaced, flags only where some is set. Because it is cut between hours, the figures of an hour come from
one chunk, and are right for as long as the import counts and nothing else was recorded in that hour.
"""

import hashlib
import itertools
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from weirhouse.records.engine import Database
from weirhouse.records.model import ABOVE, DamagedError, RecordsError, Series
from weirhouse.records.rollup import HOUR, Flags, Times, Values, hourly

USUAL = 4096
MOST_ASKED = 200  # chunks in one query
LONGEST = 366 * 24 * HOUR  # so that the hours of a chunk can be counted through
LATEST = 253402300800  # year 10000: what a date can be written of [UTC epoch s]
EARLIEST = -62135596800  # year 1

Stored = tuple[str, str, int, int, int, int | None, bytes | None, bytes | None, bytes]
COLUMNS = "import_id, channel, first, last, count, step, times, flags, content"


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """Some values of one import in order of time; `rank` says which import wins on a same stamp."""

    rank: int
    times: Times
    values: Values
    flags: Flags


def tidy(series: Sequence[Series]) -> dict[str, Series]:
    """Return one series for each channel, by channel, in order of time, with one value a stamp: the one given last."""
    by_channel: dict[str, list[Series]] = {}
    for one in series:
        if not one.channel:
            raise RecordsError("A series has no channel. Name the channel that its column belongs to.")
        if not len(one.times) == len(one.values) == len(one.flags):
            raise RecordsError(
                f"The series of {one.channel} has {len(one.times)} times, {len(one.values)} values and "
                f"{len(one.flags)} flags. Give one of each for every row."
            )
        if len(one.times):
            by_channel.setdefault(one.channel, []).append(one)
    return {channel: _joined(channel, some) for channel, some in sorted(by_channel.items())}


def _joined(channel: str, some: Sequence[Series]) -> Series:
    times = np.concatenate([np.asarray(one.times, np.int64) for one in some])
    values = np.concatenate([np.asarray(one.values, np.float64) for one in some])
    flags = np.concatenate([np.asarray(one.flags, np.uint8) for one in some])
    times, values, flags = one_a_stamp(times, values, flags)
    if times[0] < EARLIEST or times[-1] >= LATEST:
        raise RecordsError(f"A time of {channel} lies outside of the years 1 to 9999. Mend the time in the file.")
    if np.isinf(values).any():
        raise RecordsError(f"A value of {channel} is infinite. Mend it in the file, or leave the field empty.")
    if flags.max(initial=0) > ABOVE:
        raise RecordsError(f"A flag of {channel} is {flags.max()}; flags go from 0 to {ABOVE}. Mend the mapping.")
    return Series(channel=channel, times=times, values=values, flags=flags)


def one_a_stamp(times: Times, values: Values, flags: Flags) -> tuple[Times, Values, Flags]:
    """Return the values in order of time; of several on a stamp, the one that came last."""
    steps = np.diff(times)
    if (steps > 0).all():
        return times, values, flags
    order = np.argsort(times, kind="stable")
    times, values, flags = times[order], values[order], flags[order]
    keep = np.append(times[1:] != times[:-1], True)
    return times[keep], values[keep], flags[keep]


def digest(series: Mapping[str, Series]) -> str:
    """Return the SHA-256 of tidy series: for each channel its name, how many, times, values and flags."""
    made = hashlib.sha256()
    for channel, one in sorted(series.items()):
        made.update(f"{channel}\n{len(one.times)}\n".encode())
        for array, form in ((one.times, "<i8"), (_plain(one.values), "<f8"), (one.flags, "u1")):
            made.update(np.ascontiguousarray(array, form).data)
    return made.hexdigest()


def _plain(values: Values) -> Values:
    """Return values with every gap the same NaN."""
    gaps = np.isnan(values)
    return np.where(gaps, np.nan, values) if gaps.any() else values


def cuts(times: Times) -> list[int]:
    """Return where to cut: between hours, at most `USUAL` values or `LONGEST` apart; first comes 0, last the end.

    An hour, at one value a second, always fits.
    """
    hours = times // HOUR
    between = np.append(np.flatnonzero(hours[1:] != hours[:-1]) + 1, len(times))
    made = [0]
    while made[-1] < len(times):
        furthest = min(made[-1] + USUAL, int(np.searchsorted(times, times[made[-1]] + LONGEST)))
        made.append(int(between[np.searchsorted(between, furthest, side="right") - 1]))
    return made


def pack(series: Series) -> Iterator[tuple[Stored, bytes]]:
    """Yield the chunks of a tidy series, still of no import, each with its hourly figures."""
    times, values, flags = series.times, _plain(series.values), series.flags
    ends = cuts(times)
    steps = np.diff(times)
    for a, b in itertools.pairwise(ends):
        here = steps[a : b - 1]
        even = not len(here) or bool((here == here[0]).all())
        chunk: Stored = (
            "",
            series.channel,
            int(times[a]),
            int(times[b - 1]),
            b - a,
            (int(here[0]) if len(here) else 0) if even else None,
            None if even else np.ascontiguousarray(times[a:b], "<i8").tobytes(),
            np.ascontiguousarray(flags[a:b], "u1").tobytes() if flags[a:b].any() else None,
            np.ascontiguousarray(values[a:b], "<f8").tobytes(),
        )
        yield chunk, hourly(times[a:b], values[a:b], flags[a:b]).tobytes()


def unpack(chunk: Stored) -> tuple[Times, Values, Flags]:
    """Return what a chunk holds; ValueError where it cannot be a chunk."""
    _, _, first, last, count, step, times, flags, content = chunk
    values = np.frombuffer(content, "<f8")
    even = times is None
    stamps = first + np.arange(count, dtype=np.int64) * (step or 0) if even else np.frombuffer(times or b"", "<i8")
    marks = np.zeros(count, np.uint8) if flags is None else np.frombuffer(flags, "u1")
    fits = len(values) == len(stamps) == len(marks) == count > 0 and stamps[0] == first and stamps[-1] == last
    rises = fits and ((count == 1 or (step or 0) > 0) if even else bool((np.diff(stamps) > 0).all()))
    if not rises:
        raise ValueError("its times, values and flags do not fit each other")
    return stamps, values, marks


def store(database: Database, import_id: str, packed: Sequence[tuple[Stored, bytes]]) -> None:
    """Write the chunks of an import and their hourly figures, inside of a write."""
    found = database.row("SELECT coalesce(max(id), 0) FROM chunk")
    first = int(found[0]) + 1 if found else 1
    database.run_many(
        f"INSERT INTO chunk (id, {COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",  # noqa: S608 -- constant
        ((first + i, import_id, *chunk[1:]) for i, (chunk, _) in enumerate(packed)),
    )
    database.run_many("INSERT INTO hours VALUES (?, ?)", ((first + i, hours) for i, (_, hours) in enumerate(packed)))


def sweep(database: Database, known: set[str]) -> int:
    """Remove the chunks of imports that were broken off before the ledger took them, inside of a write."""
    left = [id for (id,) in database.rows("SELECT DISTINCT import_id FROM chunk") if id not in known]
    database.run_many(
        "DELETE FROM hours WHERE chunk_id IN (SELECT id FROM chunk WHERE import_id = ?)", [(i,) for i in left]
    )
    database.run_many("DELETE FROM chunk WHERE import_id = ?", [(id,) for id in left])
    return len(left)


def parts(database: Database, channel: str, ranks: Mapping[str, int], since: int, until: int) -> list[Part]:
    """Return what lies in [since, until) of a channel, chunk by chunk, of the imports that count. [UTC epoch s]"""
    rows = database.rows(
        f"SELECT {COLUMNS} FROM chunk WHERE channel = ? AND last >= ? AND first < ? ORDER BY first",  # noqa: S608 -- constant
        (channel, since, until),
    )
    found = []
    for row in rows:
        if row[0] in ranks:
            times, values, flags = read(database, row)
            a, b = np.searchsorted(times, (since, until))
            if a < b:
                found.append(Part(ranks[row[0]], times[a:b], values[a:b], flags[a:b]))
    return found


def by_id(database: Database, ids: Sequence[int]) -> Iterator[Stored]:
    """Yield some chunks by their ids."""
    for start in range(0, len(ids), MOST_ASKED):
        some = ids[start : start + MOST_ASKED]
        marks = ", ".join("?" * len(some))
        yield from database.rows(f"SELECT {COLUMNS} FROM chunk WHERE id IN ({marks})", some)  # noqa: S608 -- marks only


def read(database: Database, row: Stored) -> tuple[Times, Values, Flags]:
    """Return what a chunk holds; RecordsError where the file is damaged."""
    try:
        return unpack(row)
    except ValueError as fault:
        raise DamagedError(
            f"{database.where} is damaged: a part of {row[1]} cannot be read ({fault}). Nothing was changed. "
            "Keep it, and put the newest backup in its place.",
            database.folder,
        ) from fault


def merged(some: Sequence[Part]) -> tuple[Times, Values, Flags]:
    """Return parts as one, in order of time, with one value a stamp: that of the highest rank."""
    ordered = sorted((part for part in some if len(part.times)), key=lambda part: (part.rank, part.times[0]))
    if not ordered:
        return np.empty(0, np.int64), np.empty(0), np.empty(0, np.uint8)
    times = np.concatenate([part.times for part in ordered])
    values = np.concatenate([part.values for part in ordered])
    flags = np.concatenate([part.flags for part in ordered])
    return one_a_stamp(times, values, flags)


def channels(database: Database, ranks: Mapping[str, int]) -> set[str]:
    """Return the channels of which a counting import holds something."""
    rows = database.rows("SELECT DISTINCT channel, import_id FROM chunk")
    return {str(channel) for channel, import_id in rows if import_id in ranks}


def hours_digest(database: Database, known: Collection[str]) -> str:
    """Return the SHA-256 of the kept hourly figures of some imports."""
    made = hashlib.sha256()
    for import_id, channel, first, content in database.walk(
        "SELECT import_id, channel, first, content FROM (SELECT import_id, channel, first, hours.content AS content "
        "FROM chunk JOIN hours ON hours.chunk_id = chunk.id) AS figures ORDER BY import_id, channel, first"
    ):
        if import_id in known:
            made.update(f"{import_id}\n{channel}\n{first}\n{len(content)}\n".encode())
            made.update(content)
    return made.hexdigest()


def rows_of(database: Database, known: Collection[str]) -> int:
    """Return how many values the series of some imports hold."""
    rows = database.rows("SELECT import_id, sum(count) FROM chunk GROUP BY import_id")
    return sum(int(count) for import_id, count in rows if import_id in known)


def span(database: Database, ranks: Mapping[str, int]) -> tuple[int, int] | None:
    """Return the first and the last stamp of the imports that count. [UTC epoch s]"""
    rows = database.rows("SELECT import_id, min(first), max(last) FROM chunk GROUP BY import_id")
    ends = [(first, last) for import_id, first, last in rows if import_id in ranks]
    return (min(first for first, _ in ends), max(last for _, last in ends)) if ends else None


def newest(database: Database, channel: str, ranks: Mapping[str, int], at: int) -> tuple[int, float, int, str] | None:
    """Return time, value, flag and import of the newest value of a channel at or before an instant. [UTC epoch s]"""
    rows = database.walk(
        "SELECT import_id, last FROM chunk WHERE channel = ? AND last <= ? ORDER BY last DESC", (channel, at)
    )
    ended = next((last for import_id, last in rows if import_id in ranks), EARLIEST)
    best: tuple[int, int, float, int, str] | None = None
    for row in database.rows(
        f"SELECT {COLUMNS} FROM chunk WHERE channel = ? AND last >= ? AND first <= ?",  # noqa: S608 -- constant
        (channel, ended, at),
    ):
        if row[0] not in ranks:
            continue
        times, values, flags = read(database, row)
        i = int(np.searchsorted(times, at, side="right")) - 1
        here = (int(times[i]), ranks[row[0]], float(values[i]), int(flags[i]), str(row[0]))
        if best is None or here[:2] > best[:2]:
            best = here
    return None if best is None else (best[0], best[2], best[3], best[4])


def whole(database: Database, import_id: str) -> dict[str, Series]:
    """Return all series of one import, by channel; ValueError where a chunk cannot be read."""
    by_channel: dict[str, list[tuple[Times, Values, Flags]]] = {}
    for row in database.walk(
        f"SELECT {COLUMNS} FROM chunk WHERE import_id = ? ORDER BY channel, first",  # noqa: S608 -- constant
        (import_id,),
    ):
        by_channel.setdefault(str(row[1]), []).append(unpack(row))
    found = {}
    for channel, some in by_channel.items():
        times, values, flags = (np.concatenate(arrays) for arrays in zip(*some, strict=True))
        found[channel] = Series(channel=channel, times=times, values=values, flags=flags)
    return found

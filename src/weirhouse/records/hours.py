"""Which of the hourly figures that are kept hold, and which must be worked out again from the values?

What is kept beside a chunk is right for the chunk. It is right for the channel where nothing else was recorded.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weirhouse.records import chunks
from weirhouse.records.engine import Database
from weirhouse.records.rollup import HOUR, RECORD, Times


@dataclass(frozen=True, slots=True, eq=False)
class Hours:
    """The hourly figures of one chunk, as kept; None where they were not."""

    chunk_id: int
    first: int
    last: int
    content: bytes | None  # `RECORD` after `RECORD`


def kept(database: Database, channel: str, ranks: Mapping[str, int], since: int, until: int) -> list[Hours]:
    """Return the kept hourly figures of the chunks that reach into [since, until), of the imports that count."""
    rows = database.rows(
        "SELECT chunk.id, chunk.import_id, chunk.first, chunk.last, hours.content FROM chunk LEFT JOIN hours "
        "ON hours.chunk_id = chunk.id WHERE chunk.channel = ? AND chunk.last >= ? AND chunk.first < ? ORDER BY first",
        (channel, since, until),
    )
    return [
        Hours(chunk_id, first, last, content)
        for chunk_id, import_id, first, last, content in rows
        if import_id in ranks
    ]


def sure(kept: Sequence[Hours], typed: Sequence[chunks.Part], first: int, end: int) -> tuple[NDArray[np.void], Times]:
    """Return the kept hourly figures that hold as they are, and the hours that must be worked out again.

    An hour holds as kept when it lies wholly inside, one chunk alone reaches into it and nobody wrote a reading in it.
    """
    touched = [_hours_of(one) for one in kept]
    every, times = _counted(np.concatenate(touched))
    written = [part.times // HOUR * HOUR for part in typed]
    lost = [_hours_of(one) for one in kept if one.content is None]
    unsure, _ = _counted(np.concatenate([every[(times > 1) | (every < first) | (every + HOUR > end)], *written, *lost]))
    records = np.frombuffer(b"".join(one.content for one in kept if one.content is not None), RECORD)
    if not len(unsure):
        return records, unsure
    at = np.minimum(np.searchsorted(unsure, records["hour"]), len(unsure) - 1)
    return records[unsure[at] != records["hour"]], unsure


def _hours_of(kept: Hours) -> Times:
    """Return the starts of the hours that a chunk may reach into. [UTC epoch s]"""
    return np.arange(kept.first // HOUR, kept.last // HOUR + 1) * HOUR


def _counted(hours: Times) -> tuple[Times, Times]:
    """Return each hour once, in order, and how often it was there (`numpy.unique` loads a library for it, 0.1 s)."""
    ordered = np.sort(hours)
    first = np.flatnonzero(np.diff(ordered, prepend=ordered[:1] - 1))
    return ordered[first], np.diff(first, append=len(ordered))


def within(
    database: Database, kept: Sequence[Hours], ranks: Mapping[str, int], starts: Times, ends: Times
) -> list[chunks.Part]:
    """Return what chunks hold between `starts` and `ends`, pairs in order that do not overlap. [UTC epoch s]"""
    reached = [
        one.chunk_id
        for one in kept
        if np.searchsorted(ends, one.first, "right") < np.searchsorted(starts, one.last, "right")
    ]
    found = []
    for row in chunks.by_id(database, reached):
        times, values, flags = chunks.read(database, row)
        first = np.searchsorted(times, starts)
        counts = np.searchsorted(times, ends) - first
        after = np.cumsum(counts)
        keep = np.arange(after[-1]) + np.repeat(first - (after - counts), counts)
        found.append(chunks.Part(ranks[row[0]], times[keep], values[keep], flags[keep]))
    return found

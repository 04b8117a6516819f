"""What happened in each hour? The one way in which values become hourly figures, for the cache and for any check of it.

Hours are those of UTC. Gaps (NaN) and rejected values are left out; doubtful ones and those under or over the range
count with their number.
"""

import numpy as np
from numpy.typing import NDArray

from weirhouse.records.model import REJECTED, Rollup

HOUR = 3600
RECORD = np.dtype(
    [("hour", "<i8"), ("n", "<i8"), ("minimum", "<f8"), ("maximum", "<f8"), ("total", "<f8"), ("last", "<f8")]
)
Times = NDArray[np.int64]
Values = NDArray[np.float64]
Flags = NDArray[np.uint8]


def hourly(times: Times, values: Values, flags: Flags) -> NDArray[np.void]:
    """Return one `RECORD` for each hour with a number in it, from values in order of time.

    >>> hourly(np.array([0, 60, 3600]), np.array([1.0, 3.0, 5.0]), np.zeros(3, np.uint8))["total"]
    array([4., 5.])
    """
    counts = np.isfinite(values) & (flags != REJECTED)
    if not counts.all():
        times, values = times[counts], values[counts]
    if not len(times):
        return np.empty(0, RECORD)
    hours = times // HOUR
    first = np.flatnonzero(np.concatenate(([True], hours[1:] != hours[:-1])))
    after = np.append(first[1:], len(hours))
    made = np.empty(len(first), RECORD)
    made["hour"] = hours[first] * HOUR
    made["n"] = after - first
    made["minimum"] = np.minimum.reduceat(values, first)
    made["maximum"] = np.maximum.reduceat(values, first)
    made["total"] = np.add.reduceat(values, first)
    made["last"] = values[after - 1]
    return made


def as_rollup(records: NDArray[np.void]) -> Rollup:
    """Return the hours as one array for each figure."""
    columns = {name: np.ascontiguousarray(records[name]) for name in RECORD.names or ()}
    return Rollup(**columns)

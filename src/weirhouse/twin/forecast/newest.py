"""May the newest reading be believed? If not, from which one does the forecast start, and why?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from weirhouse.twin.forecast.series import Floats

if TYPE_CHECKING:
    from weirhouse.situation.model import Track

STUCK_HOURS = 6.0  # the same value for so long, where readings used to change
LEAST_SAME = 6  # readings
JUMP = float(np.log(5.0))  # of one reading from the last hours' middle
AT_CEILING = 3  # readings of the record at its highest value make it the instrument's ceiling
LEAST_CEILING = 50.0  # [NTU] no turbidimeter for raw water ends below
ABOVE = 4  # flag of a reading over the range
OLD = 2 * 3600.0  # a reading older than this says so [s]


@dataclass(frozen=True, slots=True, kw_only=True)
class Newest:
    """Readings to believe (up to the present), and what is doubtful about the newest ones."""

    times: NDArray[np.int64]
    values: Floats
    lone: tuple[int, float] | None  # time and value of one wild newest reading that may be a storm or a fault
    doubt: str
    ceiling: float | None  # [NTU] the instrument's ceiling, when the newest reading stands at it


def believe(track: Track, at: int) -> Newest:
    """Return what may be believed of a track at a time [UTC epoch s]."""
    upto = track.times <= at
    flagged = upto & np.isfinite(track.values) & ((track.flags == 1) | (track.flags == 2))
    good = track.good
    keep = good.times <= at
    times, values, flags = good.times[keep], good.values[keep], good.flags[keep]
    order = np.argsort(times, kind="stable")
    times, values, flags = times[order], values[order], flags[order]
    doubts: list[str] = []
    if not len(times):
        return Newest(times=times, values=values, lone=None, doubt="", ceiling=None)
    newest_flagged = flagged.any() and int(track.times[flagged].max()) > int(times[-1])
    if newest_flagged:
        doubts.append("The newest readings are marked doubtful")
    same = _same_at_end(values)
    if (
        same >= LEAST_SAME
        and same < len(values)
        and times[-1] - times[-same] >= STUCK_HOURS * 3600
        and flags[-1] == 0
        and not _often_flat(values[:-same], times[:-same])
    ):
        doubts.append(
            f"The raw turbidity has stood at exactly {values[-1]:.3g} NTU for {_age(times[-1] - times[-same])}"
        )
        times, values, flags = times[: -same + 1], values[: -same + 1], flags[: -same + 1]
    lone = None
    recent = (times > times[-1] - 3 * 3600) & (times < times[-1])
    if not doubts and recent.sum() >= 3:
        low = np.log(np.maximum(values[recent], 0.05))
        step = float(np.log(max(values[-1], 0.05)) - np.median(low))
        if abs(step) > JUMP and np.ptp(low) < 0.5 * JUMP and abs(values[-1] - np.median(values[recent])) > 3.0:
            lone = (int(times[-1]), float(values[-1]))
            doubts.append(
                f"One single reading, {values[-1]:.3g} NTU, stands far from those before it; half of the paths start "
                "from it and half from the reading before"
            )
            times, values, flags = times[:-1], values[:-1], flags[:-1]
    ceiling = None
    top = float(values.max())
    at_top = values[-1] == top and int((values == top).sum()) >= AT_CEILING and _same_at_end(values) >= 2
    if top > LEAST_CEILING and (flags[-1] == ABOVE or at_top):
        ceiling = float(values[-1])
        doubts.append(f"The reading stands at the instrument's ceiling, {ceiling:.3g} NTU; the stream may be higher")
    age = at - int(times[-1])
    if age > OLD:
        doubts.append(f"The last reading to believe is {_age(age)} old")
    doubt = "; ".join(doubts)
    if doubt and lone is None:
        start = "this reading" if ceiling is not None and age <= OLD else "the last reading to believe"
        doubt += f": the forecast starts from {start}, with wider bands"
    return Newest(times=times, values=values, lone=lone, doubt=f"{doubt}." if doubt else "", ceiling=ceiling)


def _same_at_end(values: Floats) -> int:
    other = np.flatnonzero(values != values[-1])
    return len(values) - (int(other[-1]) + 1 if len(other) else 0)


def _often_flat(values: Floats, times: NDArray[np.int64]) -> bool:
    """Return whether equal readings over hours are usual in this record (clear water, coarse digits)."""
    if len(values) < 3 * LEAST_SAME:
        return True
    ends = np.flatnonzero(np.diff(values) != 0)
    bounds = np.concatenate([[-1], ends, [len(values) - 1]])
    spans = times[bounds[1:]] - times[bounds[:-1] + 1]
    return bool((spans >= 0.7 * STUCK_HOURS * 3600).sum() >= 2)


def _age(seconds: float) -> str:
    hours = float(seconds) / 3600.0
    return f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"

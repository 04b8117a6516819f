"""How full are the day tanks? What the pumps drew, and when the operator filled them up."""

from dataclasses import dataclass

import numpy as np

from weirhouse.demo.clock import QUARTER, Floats
from weirhouse.demo.train import Course
from weirhouse.demo.works import Feeder

INCH = 0.0254  # [m]
FILL_BELOW = {"coagulant": 7.5 * INCH, "chlorine": 9.5 * INCH}
LEFT_AT_END = {"coagulant": 9.0 * INCH, "chlorine": 7.6 * INCH}  # the year ends with the hypochlorite low


@dataclass(frozen=True, slots=True)
class Batch:
    """A day tank filled up: at which quarter-hour, from which level to which. [m]"""

    index: int
    before: float
    after: float


def levels(feed: str, feeder: Feeder, course: Course, rng: np.random.Generator) -> tuple[Floats, tuple[Batch, ...]]:
    """Return the level of a day tank by quarter-hour [m] and its batches."""
    drawn = course.columns[f"{feed}_dose"] * course.columns["flow"] * QUARTER / feeder.gain / feeder.area
    total = np.concatenate([[0.0], np.cumsum(drawn)[:-1]])  # drawn until each stamp [m]
    out, batches = np.empty(len(total)), []
    level, since, last = feeder.full * float(rng.uniform(0.6, 0.9)), 0, False
    for i in course.rounds:
        now = level - (total[i] - total[since])
        if now >= FILL_BELOW[feed] or last:
            continue
        out[since : i + 1] = level - (total[since : i + 1] - total[since])
        to_end = LEFT_AT_END[feed] + float(total[-1] - total[i])
        last = to_end <= feeder.full
        filled = to_end if last else feeder.full - float(rng.uniform(0, 1.2)) * INCH
        more = float(total[-1] - total[i]) - (filled - FILL_BELOW[feed])  # drawn from the next filling to the end
        if not last and more < 10 * INCH:
            filled -= 10 * INCH - more  # or the year would end just after a filling
        batches.append(Batch(i, float(now), filled))
        level, since = filled, i
    out[since:] = level - (total[since:] - total[since])
    if batches:
        for batch in batches:
            out[batch.index] = batch.before  # it is dipped before it is filled
    return out, tuple(batches)

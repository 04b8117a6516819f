"""What has this stream's record taught? Everything a forecast draws on, learned once and used for any issue time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weirhouse.twin.forecast import analogues, conditional, onset, recession
from weirhouse.twin.forecast.analogues import Library
from weirhouse.twin.forecast.conditional import PROBABILITIES, Conditional
from weirhouse.twin.forecast.features import LEADS, States, states
from weirhouse.twin.forecast.onset import Onset
from weirhouse.twin.forecast.physics import Now
from weirhouse.twin.forecast.physics import paths as physical_paths
from weirhouse.twin.forecast.recession import Recession
from weirhouse.twin.forecast.series import PER_HOUR, Floats, Grid
from weirhouse.twin.forecast.storms import storms

OPINIONS = ("conditional", "analogue", "physical")
LEAST_STORMS = 5  # from here on the record's own analogues and weights count
# Shares of the opinions at `LEADS`, from the hindcasts of docs/forecast.md; where a record is too short for analogues
# their share goes to the rules.
USUAL = np.asarray([[1.0] * len(LEADS), [0.0] * len(LEADS), [0.0] * len(LEADS)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """What a record taught."""

    rules: Conditional
    fading: Recession
    arrivals: Onset
    library: Library
    weights: Floats  # (opinions, leads)
    weighed_on: int  # own issue times that the weights were measured on; 0: the usual ones
    storms: int
    days: float  # with readings


def learn(
    grid: Grid,
    *,
    leave_out: NDArray[np.bool_] | None = None,
    regime: str | None = None,
    helpers: Floats | None = None,
    prior: Conditional | None = None,
) -> Learned:
    """Return what a record teaches; points of `leave_out` are not looked at. With `regime`, rules of that one alone."""
    seen = np.isfinite(grid.z)
    if leave_out is not None:
        seen = seen & ~leave_out
    own = [storm for storm in storms(grid) if leave_out is None or not leave_out[storm.peak]]
    days = float(seen.sum()) / (24 * PER_HOUR)
    start = conditional.packaged() if prior is None else prior
    if helpers is not None:
        start = start.with_room(helpers)
    taught = conditional.lessons(grid, leave_out=leave_out, helpers=helpers)
    rules = conditional.learn(start, taught, len(own), days, regime)
    library = analogues.gather(grid, leave_out)
    weights = USUAL.copy()
    if len(own) < LEAST_STORMS:
        weights[0] += weights[1]
        weights[1] = 0.0
    return Learned(
        rules=rules, fading=recession.learn(grid, own), arrivals=onset.learn(grid, own), library=library,
        weights=weights, weighed_on=0, storms=len(own), days=days,
    )  # fmt: skip


def opinions(
    learned: Learned, grid: Grid, index: NDArray[np.int64], rng: np.random.Generator, helpers: Floats | None = None,
    members: int = 200,
) -> Floats:  # fmt: skip
    """Return each opinion's quantiles of change, (opinions, issue times, leads, probabilities)."""
    state = states(grid, index)
    rules = learned.rules.quantiles(grid, index, state, helpers)
    past, physical = rules.copy(), rules.copy()
    hours = np.asarray(LEADS)
    for row, point in enumerate(index):
        points, shares = analogues.nearest(learned.library, state, row)
        if len(points) >= 5:
            past[row] = analogues.quantiles(grid, points, shares, LEADS, PROBABILITIES)
        upto = Grid(
            end=int(grid.times[point]), z=grid.z[: point + 1], measured=grid.measured[: point + 1], scale=grid.scale
        )
        simulated = physical_paths(Now.of(one(state, row)), upto, hours, members, learned.fading, learned.arrivals, rng)
        physical[row] = np.quantile(simulated, PROBABILITIES, axis=0).T - grid.z[point]
    return np.stack([rules, past, physical])


def one(state: States, row: int) -> States:
    """Return one row of some states."""
    pick = slice(row, row + 1)
    return States(
        index=state.index[pick], z=state.z[pick], base=state.base[pick], excess=state.excess[pick],
        change={h: v[pick] for h, v in state.change.items()}, rise=state.rise[pick], drop=state.drop[pick],
        since=state.since[pick], stir=state.stir[pick], noise=state.noise[pick], pace=state.pace[pick],
        days=state.days[pick],
    )  # fmt: skip

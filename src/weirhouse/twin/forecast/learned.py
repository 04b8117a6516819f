"""What has this stream's record taught? Everything a forecast draws on, learned once and used for any issue time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weirhouse.twin.forecast import analogues, conditional, onset, recession
from weirhouse.twin.forecast.analogues import Library
from weirhouse.twin.forecast.conditional import PROBABILITIES, Conditional
from weirhouse.twin.forecast.features import LEADS, pick_rows, states
from weirhouse.twin.forecast.onset import Onset
from weirhouse.twin.forecast.physics import Now
from weirhouse.twin.forecast.physics import paths as physical_paths
from weirhouse.twin.forecast.recession import Recession
from weirhouse.twin.forecast.scores import crps_of_quantiles
from weirhouse.twin.forecast.series import PER_HOUR, Floats, Grid
from weirhouse.twin.forecast.storms import Storm, storms

OPINIONS = ("conditional", "analogue", "physical")
LEAST_STORMS = 5  # from here on the record's own analogues and weights count
# Shares of rules, analogues and physical paths at `LEADS`: what hindcasts on open records favour (docs/forecast.md).
# The analogues' share grows with own storms to this; the rest of it goes to the rules.
_LATE = np.asarray([0.1 if lead > 40 else 0.0 for lead in LEADS])
USUAL = np.stack([0.65 - _LATE, np.full(len(LEADS), 0.35), _LATE])
STORMS_TO_TRUST = 10.0  # own storms at which analogues have half their share, and own weights half their say
WEIGHED = 80  # issue times of the hindcast for own weights, at most


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
    taught = conditional.lessons(grid, own, leave_out, helpers, only=regime)
    rules = conditional.learn(start, taught, len(own), days, regime)
    library = analogues.gather(grid, leave_out)
    trust = len(own) / (len(own) + STORMS_TO_TRUST) if len(own) >= LEAST_STORMS else 0.0
    weights = USUAL.copy()
    weights[1] *= trust
    weights[0] = 1.0 - weights[1] - weights[2]
    weighed_on = 0
    if trust and regime != "quiet":
        found, weighed_on = _weigh(grid, own, start, leave_out, helpers)
        weights = (1.0 - trust) * weights + trust * found if weighed_on else weights
    return Learned(
        rules=rules, fading=recession.learn(grid, own), arrivals=onset.learn(grid, own), library=library,
        weights=weights, weighed_on=weighed_on, storms=len(own), days=days,
    )  # fmt: skip


def _weigh(
    grid: Grid, own: list[Storm], start: Conditional, leave_out: NDArray[np.bool_] | None, helpers: Floats | None
) -> tuple[Floats, int]:
    """Return the shares of the opinions that would have served best on every other storm, learned from the rest."""
    hidden = np.zeros(len(grid.z), np.bool_) if leave_out is None else leave_out.copy()
    points = []
    for storm in own[1::2]:
        hidden[storm.first : storm.last + 1] = True
        points.append(np.arange(storm.first, storm.last + 1, 6 * PER_HOUR))
    index = np.concatenate(points)
    usable = np.isfinite(grid.z[index]) if leave_out is None else np.isfinite(grid.z[index]) & ~leave_out[index]
    index = index[usable]
    index = index[:: max(1, -(-len(index) // WEIGHED))]
    if len(index) < 20:
        return USUAL, 0
    shown = own[0::2]
    taught = conditional.lessons(grid, own, hidden, helpers, rows_each=1000, only="moving")
    half = Learned(
        rules=conditional.learn(start, taught, len(shown), 0.0, "moving"), fading=recession.learn(grid, shown),
        arrivals=onset.learn(grid, shown), library=analogues.gather(grid, hidden), weights=USUAL, weighed_on=0,
        storms=len(shown), days=0.0,
    )  # fmt: skip
    said = opinions(half, grid, index, np.random.default_rng(1), helpers, members=100)
    tried = [np.asarray([1.0 - a - b, a, b]) for a in (0.0, 0.2, 0.4, 0.6) for b in (0.0, 0.1, 0.2, 0.3)]
    losses = np.empty((len(tried), len(LEADS)))
    for i, lead in enumerate(LEADS):
        later = index + round(lead * PER_HOUR)
        where = np.minimum(later, len(grid.z) - 1)
        came = np.where(later < len(grid.z), grid.z[where] - grid.z[index], np.nan)
        seen = np.isfinite(came)
        for k, shares in enumerate(tried):
            mixed = np.tensordot(shares, said[:, seen, i], axes=1)
            losses[k, i] = crps_of_quantiles(mixed, PROBABILITIES, came[seen]).mean() if seen.any() else 0.0
    level = losses / np.maximum(losses[0], 1e-9)
    padded = np.pad(level, ((0, 0), (1, 1)), mode="edge")
    smooth = (padded[:, :-2] + padded[:, 1:-1] + padded[:, 2:]) / 3.0  # a lead's neighbours have their say
    return np.stack([tried[k] for k in smooth.argmin(axis=0)], axis=1), len(index)


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
            past[row] = analogues.quantiles(learned.library, points, shares, LEADS, PROBABILITIES)
        upto = Grid(
            end=int(grid.times[point]), z=grid.z[: point + 1], measured=grid.measured[: point + 1], scale=grid.scale
        )
        simulated = physical_paths(
            Now.of(pick_rows(state, np.asarray([row]))), upto, hours, members, learned.fading, learned.arrivals, rng
        )
        physical[row] = np.quantile(simulated, PROBABILITIES, axis=0).T - grid.z[point]
    return np.stack([rules, past, physical])

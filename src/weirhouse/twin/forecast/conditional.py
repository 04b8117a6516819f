"""From the stream's present state, how far may its turbidity move by each lead? Quantiles, learned from past storms.

For every lead and every probability one straight-line rule turns the figures of `features` into a quantile of the
change of log turbidity (linear quantile regression). There are two sets of rules: one for water that moves or stands
above its base, one for quiet water. They start from rules fitted on open records of other streams (`prior.csv`) and are
drawn toward the plant's own record the more storms it holds.

Quantile regression: R. Koenker and G. Bassett, "Regression quantiles", Econometrica 46 (1978) 33 (from memory). Solved
by majorising the pinball loss with parabolas: D. R. Hunter and K. Lange, "Quantile regression via an MM algorithm",
J. Computational and Graphical Statistics 9 (2000) 60 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from weirhouse.twin.forecast.features import LEADS, USUAL_PACE, States, pick_rows, states, yesterday
from weirhouse.twin.forecast.series import PER_HOUR, Floats, Grid
from weirhouse.twin.forecast.storms import Storm

PROBABILITIES = (0.01, 0.025, 0.05, 0.1, 0.25, 0.4, 0.5, 0.6, 0.75, 0.9, 0.95, 0.975, 0.99)
FEATURES = (
    "one", "excess", "excess_above", "rise", "drop", "peak_fresh", "peak_recent", "peak_fresh_x_excess",
    "up_1", "down_1", "up_3", "down_3", "up_6", "down_6", "change_12", "up_12", "change_24", "up_24", "change_half",
    "stir", "noise", "yesterday", "excess_at_peak", "pace", "pace_x_excess", "pace_x_drop",
)  # fmt: skip
REGIMES = ("moving", "quiet")
SOFT = 0.01  # half width of the pinball's rounded tip [ln units]
OUTSIDE = 0.3  # weight of moving water outside of storm windows: the bands are to hold within storms
OWN_ROWS = 2000  # of the plant's own record, at most, to a regime
HOURS_LIKE_A_STORM = 200.0  # of moving water without a storm
PRIOR_STORMS = {"moving": 2.0, "quiet": 2.0}  # what the packaged rules weigh, in storms (or ten-day spells)

Rules = NDArray[np.float64]  # (leads, probabilities, features), for features divided by their `sizes`


def moving(state: States) -> NDArray[np.bool_]:
    """Return where the water stands half above its base, rises by a fifth in 3 h, or has halved within 48 h."""
    return np.asarray((state.excess > np.log(1.5)) | (state.change[3] > 0.2) | (state.drop > 0.7))


def design(state: States, same_hour: Floats) -> Floats:
    """Return the rows of features, (issue times, features)."""
    change = state.change
    excess = np.clip(state.excess, -2.0, 6.0)
    above = np.maximum(excess, 0.0)
    drop, since = np.minimum(state.drop, 5.0), state.since
    fresh = np.exp(-since / 3.0)
    pace = np.clip(state.pace - USUAL_PACE, -1.5, 1.5)

    def up(hours: float, most: float) -> Floats:
        return np.asarray(np.clip(change[hours], 0.0, most))

    def down(hours: float, most: float) -> Floats:
        return np.asarray(np.clip(change[hours], -most, 0.0))

    return np.stack(
        [
            np.ones_like(excess), excess, above, np.minimum(state.rise, 5.0), drop, fresh, np.exp(-since / 12.0),
            fresh * above, up(1, 1.5), down(1, 1.5), up(3, 3.0), down(3, 3.0), up(6, 4.0), down(6, 4.0),
            np.clip(change[12], -4.0, 4.0), up(12, 4.0), np.clip(change[24], -4.0, 4.0), up(24, 4.0),
            np.clip(change[0.5], -1.0, 1.0), np.minimum(state.stir, 0.6), np.minimum(state.noise, 0.4),
            np.clip(same_hour, -2.0, 2.0), above * np.exp(-state.drop), pace, pace * above, pace * drop,
        ],
        axis=1,
    )  # fmt: skip


def fit(rows: Floats, moved: Floats, weights: Floats, start: Floats, pull: float, rounds: int = 25) -> Floats:
    """Return the coefficients of the quantiles of `moved`, (probabilities, features).

    `start` are the coefficients that the answer is drawn to (ridge) with strength `pull`; `rows` are already divided
    by their sizes, `weights` need not sum to one.
    """
    w = weights / weights.sum()
    ridge = 0.5 * pull * np.eye(rows.shape[1])
    out = np.empty((len(PROBABILITIES), rows.shape[1]))
    for i, p in enumerate(PROBABILITIES):
        here = start[i].copy() if i == 0 else out[i - 1] + (start[i] - start[i - 1])  # neighbours are near
        steady = (p - 0.5) * (rows.T @ w) + ridge @ start[i]
        for _ in range(rounds):
            tight = w / (2.0 * (SOFT + np.abs(moved - rows @ here)))
            weighted = rows * tight[:, None]
            step = np.linalg.solve(weighted.T @ rows + ridge, weighted.T @ moved + steady)
            done = float(np.abs(step - here).max()) < 2e-3
            here = step
            if done:
                break
        out[i] = here
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditional:
    """The rules in force: of each regime, and the sizes that features are divided by."""

    rules: Mapping[str, Rules]
    sizes: Floats  # (features,)
    storms: float = 0.0  # own storms that went in
    days: float = 0.0  # own days that went in

    def quantiles(
        self, grid: Grid, index: NDArray[np.int64], state: States | None = None, helpers: Floats | None = None
    ) -> Floats:
        """Return quantiles of log turbidity less the present one, (issue times, leads, probabilities), rising.

        `helpers` are further figures at every grid point (rain, gauges), as they were learned with.
        """
        state = states(grid, index) if state is None else state
        is_moving = moving(state)
        out = np.empty((len(index), len(LEADS), len(PROBABILITIES)))
        same_hour = yesterday(grid, index)
        for i in range(len(LEADS)):
            rows = design(state, same_hour[:, i])
            rows = (rows if helpers is None else np.hstack([rows, helpers[index]])) / self.sizes
            moves, rests = rows @ self.rules["moving"][i].T, rows @ self.rules["quiet"][i].T
            out[:, i, :] = np.where(is_moving[:, None], moves, rests)
        return np.sort(out, axis=2)

    def with_room(self, helpers: Floats) -> Conditional:
        """Return the rules with room for further figures, (points, figures), that do not move anything yet."""
        some = helpers[np.isfinite(helpers).all(axis=1)]
        size = np.sqrt((some**2).mean(axis=0)) if len(some) else np.ones(helpers.shape[1])
        more = {
            name: np.concatenate([table, np.zeros((*table.shape[:2], helpers.shape[1]))], axis=2)
            for name, table in self.rules.items()
        }
        return Conditional(rules=more, sizes=np.concatenate([self.sizes, np.where(size > 1e-9, size, 1.0)]))


@cache
def packaged() -> Conditional:
    """Return the rules fitted on open records of other streams."""
    text = resources.files("weirhouse.twin.forecast").joinpath("prior.csv").read_text(encoding="utf-8")
    return parse(text)


def parse(text: str) -> Conditional:
    """Return the rules of a table as `tools.fit_forecast_prior` writes it."""
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    head = lines[0].split(",")
    if tuple(head[3:]) != FEATURES:
        raise ValueError("prior.csv was fitted for other features. Run tools.fit_forecast_prior again.")
    rules = {name: np.full((len(LEADS), len(PROBABILITIES), len(FEATURES)), np.nan) for name in REGIMES}
    sizes = np.ones(len(FEATURES))
    for line in lines[1:]:
        regime, lead, probability, *rest = line.split(",")
        values = np.asarray([float(v) for v in rest])
        if regime == "size":
            sizes = values
        else:
            rules[regime][LEADS.index(float(lead)), PROBABILITIES.index(float(probability))] = values
    if not all(np.isfinite(table).all() for table in rules.values()):
        raise ValueError("prior.csv lacks a row. Run tools.fit_forecast_prior again.")
    return Conditional(rules=rules, sizes=sizes)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lessons:
    """Issue times of a record to learn from: features and what followed."""

    index: NDArray[np.int64]
    rows: tuple[Floats, ...]  # of each lead, (issue times, features), undivided
    moved: tuple[Floats, ...]  # of each lead; NaN where it was not measured
    moving: NDArray[np.bool_]
    weights: Floats


def lessons(
    grid: Grid,
    own: Sequence[Storm],
    leave_out: NDArray[np.bool_] | None = None,
    helpers: Floats | None = None,
    rows_each: int = OWN_ROWS,
    only: str | None = None,
) -> Lessons:
    """Return what a record teaches: hours of the record, thinned evenly to `rows_each` of either regime.

    Points of `leave_out` are neither looked at nor looked forward to. With `only`, one regime alone is gathered.
    """
    n = len(grid.z)
    index = np.arange(n - 1, -1, -PER_HOUR)[::-1].astype(np.int64)
    keep = np.isfinite(grid.z[index]) & grid.measured[index]
    if leave_out is not None:
        keep &= ~leave_out[index]
    index = index[keep]
    state = states(grid, index)
    moves = moving(state)
    chosen = []
    for regime, mine in (("moving", moves), ("quiet", ~moves)):
        if only is None or only == regime:
            rows = np.flatnonzero(mine)
            chosen.append(rows[:: max(1, -(-len(rows) // rows_each))])
    pick = np.sort(np.concatenate(chosen))
    index, moves = index[pick], moves[pick]
    state = pick_rows(state, pick)
    same_hour = yesterday(grid, index)
    rows_of, moved = [], []
    for i, lead in enumerate(LEADS):
        row = design(state, same_hour[:, i])
        rows_of.append(row if helpers is None else np.hstack([row, helpers[index]]))
        later = index + round(lead * PER_HOUR)
        where = np.minimum(later, n - 1)
        known = (later < n) & np.isfinite(grid.z[where])
        if leave_out is not None:
            known &= ~leave_out[where]
        moved.append(np.where(known, grid.z[where] - grid.z[index], np.nan))
    in_storm = np.zeros(n, np.bool_)
    for storm in own:
        in_storm[storm.first : storm.last + 1] = True
    weights = np.where(moves & ~in_storm[index], OUTSIDE, 1.0)
    return Lessons(index=index, rows=tuple(rows_of), moved=tuple(moved), moving=moves, weights=weights)


def learn(prior: Conditional, taught: Lessons, storms: int, days: float, only: str | None = None) -> Conditional:
    """Return the rules drawn from `prior` toward the plant's own record.

    The record counts for as many storms as it holds (quiet water: for its days, ten to a storm); the prior for
    `PRIOR_STORMS`. With `only`, one regime alone is learned, the other stays as it was.
    """
    rules = dict(prior.rules)
    moved_h = int(taught.moving.sum())  # a clear stream may never reach a storm's height and yet move
    for regime, worth in (
        ("moving", float(storms) if storms else moved_h / HOURS_LIKE_A_STORM),
        ("quiet", days / 10.0),
    ):
        if (only is not None and regime != only) or worth < 1.0:
            continue
        mine = taught.moving if regime == "moving" else ~taught.moving
        new = prior.rules[regime].copy()
        for i in range(len(LEADS)):
            use = np.flatnonzero(mine & np.isfinite(taught.moved[i]))
            if len(use) < 50:
                continue
            new[i] = fit(
                taught.rows[i][use] / prior.sizes, taught.moved[i][use], taught.weights[use], prior.rules[regime][i],
                PRIOR_STORMS[regime] / worth, rounds=10,
            )  # fmt: skip
        rules[regime] = new
    return Conditional(rules=rules, sizes=prior.sizes, storms=storms, days=days)

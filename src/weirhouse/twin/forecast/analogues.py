"""When did this stream stand as it stands now, and what came then? Its own past storms as paths."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weirhouse.twin.forecast.conditional import moving
from weirhouse.twin.forecast.features import States, states
from weirhouse.twin.forecast.series import PER_HOUR, Floats, Grid

WEIGHTS = {"excess": 1.0, "rise": 0.7, "drop": 1.0, "since": 0.5, "1": 1.0, "3": 1.0, "6": 0.7, "12": 0.4}
ANALOGUES = 40
PER_STORM = 2
REACH = 72  # h of path that an analogue must have
EPISODE = 48 * PER_HOUR  # points; analogues nearer than this belong to one storm


@dataclass(frozen=True, slots=True, kw_only=True)
class Library:
    """Past issue times of a record with all of their next 72 h."""

    z: Floats  # log turbidity of the record's grid
    index: NDArray[np.int64]
    figures: Floats  # (times, features), divided by their spread
    spread: Floats
    moving: NDArray[np.bool_]


def _figures(state: States) -> Floats:
    since = np.log1p(state.since)
    change = [np.clip(state.change[h], -4.0, 4.0) for h in (1, 3, 6, 12)]
    return np.stack([state.excess, state.rise, state.drop, since, *change], axis=1)


def gather(grid: Grid, leave_out: NDArray[np.bool_] | None = None) -> Library:
    """Return the library of a record."""
    z, n = grid.z, len(grid.z)
    reach = REACH * PER_HOUR
    index = np.arange(n - 1 - reach, 24 * PER_HOUR, -PER_HOUR)[::-1].astype(np.int64)
    good = np.concatenate([[0], np.cumsum(np.isfinite(z))])
    index = index[good[index + reach + 1] - good[index] == reach + 1] if len(index) else index
    if leave_out is not None and len(index):
        out = np.concatenate([[0], np.cumsum(leave_out)])
        index = index[out[index + reach + 1] - out[index] == 0]
    state = states(grid, index) if len(index) else None
    figures = _figures(state) if state is not None else np.empty((0, len(WEIGHTS)))
    spread = figures.std(axis=0) + 0.05 if len(figures) else np.ones(len(WEIGHTS))
    weights = np.asarray(list(WEIGHTS.values()))
    return Library(
        z=z, index=index, figures=figures * weights / spread, spread=spread / weights,
        moving=moving(state) if state is not None else np.zeros(0, np.bool_),
    )  # fmt: skip


def nearest(library: Library, state: States, row: int) -> tuple[NDArray[np.int64], Floats]:
    """Return grid points of the nearest past states of the same kind, at most two of one storm, and their weights."""
    here = _figures(state)[row] / library.spread
    same = np.flatnonzero(library.moving == bool(moving(state)[row]))
    if not len(same):
        return np.zeros(0, np.int64), np.zeros(0)
    distance = np.sqrt(((library.figures[same] - here) ** 2).sum(axis=1))
    chosen: list[int] = []
    used: dict[int, int] = {}
    for k in np.argsort(distance, kind="stable")[: 40 * ANALOGUES]:
        episode = int(library.index[same[k]] // EPISODE)
        if used.get(episode, 0) < PER_STORM:
            used[episode] = used.get(episode, 0) + 1
            chosen.append(int(k))
        if len(chosen) == ANALOGUES:
            break
    near = distance[chosen]
    width = max(float(np.median(near)), 1e-6)
    weights = np.exp(-0.5 * (near / width) ** 2)
    return library.index[same[chosen]], np.asarray(weights / weights.sum())


def paths(
    library: Library, points: NDArray[np.int64], weights: Floats, hours: Floats, members: int, rng: np.random.Generator
) -> Floats:
    """Return changes of log turbidity at `hours` that followed the analogues, (members, steps).

    Members draw an analogue by weight; each runs up to a fifth faster or slower than it did.
    """
    pick = rng.choice(len(points), size=members, p=weights)
    pace = np.exp(rng.normal(0.0, 0.1, members))
    z = library.z
    reach = REACH * PER_HOUR
    grid_hours = np.arange(reach + 1) / PER_HOUR
    out = np.empty((members, len(hours)))
    for m in range(members):
        at = points[pick[m]]
        path = z[at : at + reach + 1] - z[at]
        out[m] = np.interp(hours * pace[m], grid_hours, path)
    return out


def quantiles(
    library: Library,
    points: NDArray[np.int64],
    weights: Floats,
    leads: tuple[float, ...],
    probabilities: tuple[float, ...],
) -> Floats:
    """Return weighted quantiles of the changes that followed, (leads, probabilities)."""
    out = np.empty((len(leads), len(probabilities)))
    for i, lead in enumerate(leads):
        moved = library.z[points + round(lead * PER_HOUR)] - library.z[points]
        order = np.argsort(moved)
        middle = np.cumsum(weights[order]) - 0.5 * weights[order]
        out[i] = np.interp(probabilities, middle, moved[order])
    return out

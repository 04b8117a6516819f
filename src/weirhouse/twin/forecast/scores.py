"""How good was a forecast, once the water has come? Scores of ensembles against what was measured."""

import numpy as np
from numpy.typing import ArrayLike

from weirhouse.twin.forecast.series import Floats


def crps(members: ArrayLike, observed: ArrayLike, *, fair: bool = True) -> Floats:
    """Return the continuous ranked probability score of ensembles, in the unit of their values; lower is better.

    mean |x_i - y| less the members' mean distance from one another: over all pairs halved when not `fair`, over the
    pairs of different members when `fair`, so that a small ensemble is not punished for being small. Fits members drawn
    at random; of members laid out evenly over the probabilities the fair form flatters by about 1 in `members`.

    Parameters
    ----------
    members : ensembles, the last axis the members. [1]
    observed : what came, of the shape of `members` less its last axis. [1]

    Returns
    -------
    Score of each ensemble. [1]
    """
    x = np.sort(np.asarray(members, float), axis=-1)
    y = np.asarray(observed, float)
    m = x.shape[-1]
    if m < 2 and fair:
        raise ValueError("members must be 2 or more for the fair score; there is 1.")
    rank = 2 * np.arange(1, m + 1) - m - 1
    pairs = (x * rank).sum(axis=-1)  # sum of |x_i - x_j| over i < j
    return np.asarray(np.abs(x - y[..., None]).mean(axis=-1) - pairs / (m * (m - 1) if fair else m * m))


def crps_normal(mean: ArrayLike, deviation: ArrayLike, observed: ArrayLike) -> Floats:
    """Return the score of a normal distribution, in the unit of the values.

    s (z (2 Phi(z) - 1) + 2 phi(z) - 1 / sqrt(pi)), z = (y - mean) / s (Gneiting and Raftery 2007, from memory).
    """
    from math import erf, pi, sqrt

    s = np.asarray(deviation, float)
    z = (np.asarray(observed, float) - np.asarray(mean, float)) / s
    inner = np.vectorize(lambda v: erf(v / sqrt(2.0)))(z)
    return np.asarray(s * (z * inner + 2.0 * np.exp(-0.5 * z * z) / sqrt(2.0 * pi) - 1.0 / sqrt(pi)))


def pit(members: ArrayLike, observed: ArrayLike) -> Floats:
    """Return the share of members below what came, ties halved, from 0 to 1 (probability integral transform)."""
    x, y = np.asarray(members, float), np.asarray(observed, float)[..., None]
    return np.asarray(((x < y).mean(axis=-1) + (x <= y).mean(axis=-1)) / 2)


def covered(members: ArrayLike, observed: ArrayLike, share: float) -> Floats:
    """Return 1 where what came lies in the middle `share` of the members, else 0."""
    x = np.asarray(members, float)
    low, high = np.quantile(x, [(1 - share) / 2, (1 + share) / 2], axis=-1)
    y = np.asarray(observed, float)
    return np.asarray(((y >= low) & (y <= high)).astype(float))


def crps_of_quantiles(quantiles: ArrayLike, probabilities: ArrayLike, observed: ArrayLike) -> Floats:
    """Return the score of forecasts given as quantiles: the pinball loss, weighted over the probabilities.

    Parameters
    ----------
    quantiles : rising, the last axis over the probabilities. [1]
    probabilities : rising, between 0 and 1. [1]
    observed : what came, of the shape of `quantiles` less its last axis. [1]

    Returns
    -------
    Score of each forecast. [1]
    """
    p = np.asarray(probabilities, float)
    between = (p[1:] + p[:-1]) / 2
    weight = np.diff(np.concatenate([[0.0], between, [1.0]]))
    over = np.asarray(observed, float)[..., None] - np.asarray(quantiles, float)
    return np.asarray((2.0 * weight * np.maximum(p * over, (p - 1.0) * over)).sum(axis=-1))

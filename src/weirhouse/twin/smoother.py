"""How are drawn parameters moved towards what was measured? Ensemble smoother with multiple data assimilation.

Emerick and Reynolds 2013, Computers & Geosciences 55:3 (named from memory): the same data are taken in several times,
each time with their error enlarged, and the enlargements' inverses sum to one.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def moved(
    parameters: Floats, reckoned: Floats, measured: Floats, error: Floats, enlarged: float, rng: np.random.Generator
) -> Floats:
    """Return the parameters after one taking in of the data.

    Parameters
    ----------
    parameters : transformed so that each is about normal, (parameters, members).
    reckoned : what each member gives for the data, (data, members).
    measured, error : the data and their standard deviation, (data,).
    enlarged : factor on the variance of the error.
    rng : draws the perturbation of the data.

    Examples
    --------
    A member's own value measured as 1 with error 1: the mean goes half of the way, and so does the variance.

    >>> rng = np.random.default_rng(1)
    >>> m = rng.standard_normal((1, 100_000))
    >>> for a in (4.0, 4.0, 4.0, 4.0):
    ...     m = moved(m, m, np.array([1.0]), np.array([1.0]), a, rng)
    >>> abs(float(m.mean()) - 0.5) < 0.02, abs(float(m.var()) - 0.5) < 0.02
    (True, True)
    """
    members = parameters.shape[1]
    own = parameters - parameters.mean(axis=1, keepdims=True)
    given = (reckoned - reckoned.mean(axis=1, keepdims=True)) / error[:, None]
    cross = own @ given.T / (members - 1)
    spread = given @ given.T / (members - 1) + enlarged * np.eye(len(measured))
    shaken = np.sqrt(enlarged) * rng.standard_normal(reckoned.shape)
    off = (measured[:, None] - reckoned) / error[:, None] + shaken
    return np.asarray(parameters + cross @ np.linalg.solve(spread, off))

"""How are several opinions made one, and how do its quantiles become whole paths?"""

from statistics import NormalDist

import numpy as np

from weirhouse.twin.forecast.conditional import PROBABILITIES
from weirhouse.twin.forecast.features import LEADS
from weirhouse.twin.forecast.series import Floats

SCORES_OF = np.asarray([NormalDist().inv_cdf(p) for p in PROBABILITIES])  # normal scores of the probabilities


def even_scores(members: int) -> Floats:
    """Return normal scores of probabilities laid out evenly, (members,)."""
    normal = NormalDist()
    return np.asarray([normal.inv_cdf((k + 0.5) / members) for k in range(members)])


def average(opinions: Floats, weights: Floats) -> Floats:
    """Return quantiles averaged over opinions.

    `opinions` (opinions, leads, probabilities); `weights` (opinions, leads), summing to one over the opinions.
    Averaging quantiles, unlike averaging chances, keeps agreeing opinions as sharp as they are.
    """
    return np.asarray((opinions * weights[:, :, None]).sum(axis=0))


# How much wider than the rules say the bands are made, below and above the middle, at leads of 2 to 30 h: rules that
# were fitted to a storm's past know it a little less well than they think. From hindcasts on open records.
WIDER = (1.03, 1.12)


def widened(quantiles: Floats) -> Floats:
    """Return quantiles, (leads, probabilities), stretched about their middle by `WIDER`."""
    middle = quantiles[:, [PROBABILITIES.index(0.5)]]
    leads = np.asarray(LEADS)[:, None]
    much = np.where((leads >= 2) & (leads <= 30), 1.0, 0.0)
    off = quantiles - middle
    return np.asarray(middle + off * (1.0 + much * np.where(off < 0, WIDER[0] - 1.0, WIDER[1] - 1.0)))


def at_leads(quantiles: Floats, leads: Floats) -> Floats:
    """Return quantiles at any leads [h], (steps, probabilities), straight in the root of the lead."""
    known = np.sqrt(np.concatenate([[0.0], LEADS]))
    rows = np.vstack([np.zeros((1, quantiles.shape[1])), quantiles])
    ask = np.sqrt(np.clip(leads, 0.0, LEADS[-1]))
    return np.stack([np.interp(ask, known, rows[:, k]) for k in range(rows.shape[1])], axis=1)


def expand(quantiles: Floats, scores: Floats) -> Floats:
    """Return values at normal scores, (rows, scores); beyond the outer probabilities straight on in the score."""
    inside = np.stack([np.interp(scores, SCORES_OF, row) for row in quantiles])
    low = (quantiles[:, 1] - quantiles[:, 0]) / (SCORES_OF[1] - SCORES_OF[0])
    high = (quantiles[:, -1] - quantiles[:, -2]) / (SCORES_OF[-1] - SCORES_OF[-2])
    below, above = np.minimum(scores - SCORES_OF[0], 0.0), np.maximum(scores - SCORES_OF[-1], 0.0)
    return np.asarray(inside + low[:, None] * below[None, :] + high[:, None] * above[None, :])


def onto(templates: Floats, quantiles: Floats, leads: Floats) -> Floats:
    """Return paths with the order of the templates and the spread of the quantiles, (members, steps).

    At each step the k-th lowest template takes the k-th of evenly spread quantiles (Schaake shuffle: M. Clark and
    others 2004, from memory), so paths rise and fade as the templates do.
    """
    members = len(templates)
    values = expand(at_leads(quantiles, leads), even_scores(members))  # (steps, members), rising
    rank = np.argsort(np.argsort(templates, axis=0, kind="stable"), axis=0, kind="stable")
    return np.asarray(np.take_along_axis(values.T, rank, axis=0))

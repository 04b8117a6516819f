"""What would the members have to be like to make what the plant makes now? Priors drawn to recent readings.

This is no calibration: one steady look at settled and filtered turbidity and at head loss, each with its own doubt. It
keeps every member within a known distance of the plant's readings and leaves all else as wide as it was.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weirhouse.twin import layout as at
from weirhouse.twin.compile import Compiled
from weirhouse.twin.parameters import Parameters
from weirhouse.twin.policy import Policy
from weirhouse.twin.reference import properties
from weirhouse.twin.start import init
from weirhouse.twin.state import Start

Floats = NDArray[np.float64]
MOST_MISSED = 0.5  # share of the settled turbidity that may be matter which did not coagulate
PASSING = (0.02, 20.0)
COEFFICIENT = (0.2, 4.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What the plant showed in calm running of late, medians; None where it is not measured.

    `spread` is the doubt of each as the standard deviation of its logarithm: how far a member may lie from it.
    """

    settled: float | None = None  # [NTU]
    filtered: float | None = None  # off ripe filters [NTU]
    head_rise: float | None = None  # of one filter while it runs [m/s]
    clean_head: float | None = None  # right after a wash [m]
    settled_spread: float = 0.2
    filtered_spread: float = 0.25
    head_spread: float = 0.2


def anchored(
    compiled: Compiled, parameters: Parameters, start: Start, policy: Policy, readings: Readings, *, seed: int
) -> Parameters:
    """Return the members moved so that, at rest in the water of `start`, they show the readings within their doubt.

    Settled turbidity moves `passing` (and what does not coagulate, where that alone exceeds half of it), filtered
    turbidity `coefficient_scale` (and `filtered_floor`), head loss `deposit_resistance` and `resistance_scale`.

    Parameters
    ----------
    compiled, parameters : the plant and its members as drawn.
    start : the water and the flow at which the readings were made; doses as they were.
    policy : its doses where `start` gives none.
    readings : what was read.
    seed : seed of the doubt.
    """
    p, rng = parameters, np.random.default_rng(seed)
    drawn = rng.standard_normal((3, p.members))
    if readings.settled is not None and compiled.clarifiers:
        p = _by_settled(compiled, p, start, policy, readings.settled * np.exp(readings.settled_spread * drawn[0]))
    if not compiled.filters:
        return p
    s = init(compiled, p, start, policy)
    u = (policy.flow if not start.flow else start.flow) / float(compiled.train.filter_area.sum())
    solids, q = s.box[:, 0, at.BOX_SOLIDS], s.box[:, 0, at.BOX_QUALITY]
    if readings.filtered is not None:
        p = _by_filtered(compiled, p, u, solids, q, readings.filtered * np.exp(readings.filtered_spread * drawn[1]))
    thick = properties(p, np.full(p.members, start.temperature)).viscosity / 0.0010016 * u
    noise = np.exp(readings.head_spread * drawn[2])
    if readings.head_rise is not None:
        load = 0.001 * np.maximum(solids, 0.1) * u  # [kg/(m^2 s)]
        worse = 1 + at.WORSE_HEAD * (1 - q)
        p = p._replace(deposit_resistance=np.clip(readings.head_rise * noise / (thick * load * worse), 100.0, 2e4))
    if readings.clean_head is not None:
        bed = readings.clean_head - float(compiled.train.filter_turbulent[0]) * u**2
        scale = max(bed, 0.01) / (thick * float(compiled.train.filter_resistance[0]))
        p = p._replace(resistance_scale=np.clip(scale * np.exp(0.1 * drawn[2]), 0.3, 6.0))
    return p


def _by_settled(compiled: Compiled, p: Parameters, start: Start, policy: Policy, wanted: Floats) -> Parameters:
    """Move what passes the clarifier; solved by a few trials, for the blanket and the floc answer to nothing else."""
    for _ in range(3):
        s = init(compiled, p, start, policy)
        cell = _last_cell(compiled)
        missed = s.cells[:, cell, at.UNCOAGULATED]
        passed = s.cells[:, cell, at.COAGULATED]
        goal = wanted * p.floc_solids
        less = np.minimum(1.0, MOST_MISSED * goal / np.maximum(missed, 1e-9))
        p = p._replace(
            uncoagulated_least=p.uncoagulated_least * less,
            uncoagulated_more=p.uncoagulated_more * less,
            passing=np.clip(p.passing * (goal - missed * less) / np.maximum(passed, 1e-9), *PASSING),
        )
    return p


def _last_cell(compiled: Compiled) -> int:
    train = compiled.train
    e = int(np.flatnonzero(train.kind == at.CLARIFIER)[-1])
    return int(train.first[e] + train.number[e]) - 1


def _by_filtered(compiled: Compiled, p: Parameters, u: float, solids: Floats, q: Floats, wanted: Floats) -> Parameters:
    """Move the filter coefficients so that a ripe bed, not yet filling, passes what is wanted."""
    floor = np.minimum(p.filtered_floor, 0.6 * wanted)
    through = np.maximum((wanted - floor) * p.floc_solids, 1e-6)
    ripe = float((compiled.train.coefficient[0] * compiled.train.depth[0]).sum())
    depth = ripe * q * math.sqrt(at.REFERENCE_RATE / u)
    scale = np.log(np.maximum(solids / through, 1.05)) / depth
    return p._replace(filtered_floor=floor, coefficient_scale=np.clip(scale, *COEFFICIENT))

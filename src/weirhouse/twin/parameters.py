"""What does one not know about this plant's water, and how widely may it lie? Parameters drawn for each member.

Medians and spreads are published ranges, most of them from memory, until they are fitted on the plant's own records.
Every parameter has a unit, a median, a spread and a mark of where it comes from.
"""

import math
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from weirhouse.twin import layout as at
from weirhouse.twin.compile import Compiled

Floats = NDArray[np.float64]


class Parameters(NamedTuple):
    """One value for each member, shape (members,); `class_shares` has shape (members, 6). Units in `PRIORS`."""

    raw_solids: Floats
    class_shares: Floats
    settling_scale: Floats
    dead_zone: Floats
    dose_constant: Floats
    dose_turbidity: Floats
    dose_uv254: Floats
    dose_temperature: Floats
    dose_alkalinity: Floats
    underdose_width: Floats
    overdose_width: Floats
    uncoagulated_least: Floats
    uncoagulated_more: Floats
    aggregation: Floats
    breakup_ratio: Floats
    floc_velocity: Floats
    floc_spread: Floats
    blanket_capture: Floats
    passing: Floats
    floc_solids: Floats
    coefficient_scale: Floats
    least_ripe: Floats
    ripening_deposit: Floats
    full_scale: Floats
    detachment: Floats
    shaking: Floats
    deposit_resistance: Floats
    resistance_scale: Floats
    filtered_floor: Floats
    wash_remnant: Floats
    chlorine_demand: Floats
    fast_share: Floats
    fast_rate: Floats
    slow_rate: Floats

    @property
    def members(self) -> int:
        """How many members there are."""
        return len(self.raw_solids)


@dataclass(frozen=True, slots=True)
class Prior:
    """Where a parameter is believed to lie before the plant's own records speak."""

    unit: str
    shape: Literal["lognormal", "normal", "beta", "uniform", "shares"]
    centre: float  # median of a lognormal, mean of a normal, first number of a beta, low end of a uniform
    spread: float  # factor to the 95th percentile, standard deviation, second number, high end
    source: str
    meaning: str
    low: float = -math.inf
    high: float = math.inf


_F3 = "range of the reduced filter model, from memory and trial runs"
PRIORS: dict[str, Prior] = {
    "raw_solids": Prior("g/(m^3*NTU)", "lognormal", 1.5, 1.4, "0.7 to 2.2, from memory; textbook examples take 1.5",
                        "suspended solids of one unit of raw turbidity"),
    "class_shares": Prior("1", "shares", 60.0, 0.0, "storm mixture of six sizes, from memory",
                          "share of each size by weight, a Dirichlet around the storm mixture"),
    "settling_scale": Prior("1", "lognormal", 1.0, 1.5, "j2, one scale for the basin; spread from memory",
                            "settling velocity in the basin over that of the formula"),
    "dead_zone": Prior("1", "normal", 0.85, 0.08, "0.7 to 0.95, from memory", "share of a basin that takes part",
                       0.5, 1.0),
    "dose_constant": Prior("1", "normal", 0.0, 0.25, "0.25 in ln units until jar tests speak, from memory",
                           "ln of the best dose over the plant's own table at 10 NTU"),
    "dose_turbidity": Prior("1", "normal", 0.25, 0.12, "0.25 give or take 0.12, from memory",
                            "power by which the best dose rises with turbidity"),
    "dose_uv254": Prior("m", "normal", 0.01, 0.01, "from memory", "rise of ln of the best dose with absorbance"),
    "dose_temperature": Prior("1/K", "normal", -0.01, 0.01, "-0.01 give or take 0.01, from memory",
                              "change of ln of the best dose with temperature"),
    "dose_alkalinity": Prior("1", "normal", 0.1, 0.15, "0.1 give or take 0.15, from memory",
                             "power by which the best dose rises with alkalinity"),
    "underdose_width": Prior("1", "lognormal", 0.55, 1.5, "0.3 to 0.9, from memory", "width below the best dose"),
    "overdose_width": Prior("1", "lognormal", 1.0, 1.6, "0.6 to 1.8, from memory", "width above the best dose"),
    "uncoagulated_least": Prior("1", "lognormal", 0.012, 2.0, "0.005 to 0.03, from memory",
                                "share that does not coagulate at the best dose", 0.0, 0.1),
    "uncoagulated_more": Prior("1", "normal", 0.5, 0.1, "0.3 to 0.7, from memory",
                               "what a useless dose adds to it", 0.2, 0.8),
    "aggregation": Prior("1", "lognormal", 5e-5, 4.0, "1.8e-5 to 2.5e-4, Argaman and Kaufman and others, from memory",
                         "aggregation constant at 20 degC"),
    "breakup_ratio": Prior("s", "lognormal", 2.5e-3, 2.0, "from memory", "breakup over aggregation constant"),
    "floc_velocity": Prior("m/s", "lognormal", 4 / 3600, 1.6, "3 to 8 m/h PACl, 1.5 to 4 m/h alum, from memory",
                           "median settling velocity of floc at 20 degC"),
    "floc_spread": Prior("1", "lognormal", 0.7, 1.4, "0.5 to 0.9, from memory", "spread of ln of floc velocity"),
    "blanket_capture": Prior("1/m", "lognormal", 10.0, 1.6, "from memory; fitted where a blanket is kept",
                             "capture for each metre of a blanket that is all floc"),
    "passing": Prior("1", "lognormal", 1.0, 1.28, "noise of ln 0.15, from memory",
                     "coagulated matter that passes the clarifier over that of the formula"),
    "floc_solids": Prior("g/(m^3*NTU)", "lognormal", 1.5, 1.4, "1 to 2.5, from memory",
                         "solids of one unit of settled turbidity"),
    "coefficient_scale": Prior("1", "lognormal", 1.0, 2.0, _F3, "filter coefficients over those of the media"),
    "least_ripe": Prior("1", "beta", 11.0, 9.0, _F3, "share of the coefficient right after a wash"),
    "ripening_deposit": Prior("g/m^3", "lognormal", 30.0, 2.5, _F3, "deposit at which most of the ripening is done"),
    "full_scale": Prior("1", "lognormal", 1.0, 1.7, _F3, "full deposit over that of the media"),
    "detachment": Prior("1/s", "lognormal", 2e-6, 4.0, _F3, "steady detachment"),
    "shaking": Prior("1/s", "lognormal", 4e-5, 4.0, _F3, "detachment by a rate that rises"),
    "deposit_resistance": Prior("s*m^2/kg", "lognormal", 1200.0, 2.0, _F3, "head loss of deposit over rate"),
    "resistance_scale": Prior("1", "lognormal", 1.15, 1.3, "1 to 1.6 of Ergun's, from memory",
                              "clean-bed resistance over that of Ergun"),
    "filtered_floor": Prior("NTU", "uniform", 0.02, 0.04, "0.02 to 0.04 NTU, from memory",
                            "turbidity that the best filter leaves"),
    "wash_remnant": Prior("1", "lognormal", 0.1, 1.8, "0.05 to 0.25, from memory",
                          "share of what the wash left that no bed holds", 0.02, 0.4),
    "chlorine_demand": Prior("g/m^3", "lognormal", 0.3, 2.0, "0.1 to 1, from memory", "chlorine used up at once"),
    "fast_share": Prior("1", "beta", 4.0, 6.0, "0.2 to 0.5, from memory", "share of chlorine that decays fast"),
    "fast_rate": Prior("1/s", "lognormal", 1.2 / 3600, 1.7, "0.5 to 3 1/h at 20 degC, from memory", "fast decay"),
    "slow_rate": Prior("1/s", "lognormal", 0.015 / 3600, 1.7, "0.005 to 0.05 1/h at 20 degC, from memory",
                       "slow decay"),
}  # fmt: skip
_USUAL_ALUMINIUM = 1.5  # best dose at 10 NTU, 10 degC and 40 mg/L alkalinity where the plant file has no table (memory)
_PLANTS_RUN_HIGH = 0.1  # ln units by which plants dose above the best (memory)


def sample(compiled: Compiled, members: int, seed: int, *, spread: float = 1.0) -> Parameters:
    """Return parameters drawn from the priors: the same seed gives the same members.

    Parameters
    ----------
    compiled : the plant; its dose table centres the best dose.
    members : how many members.
    seed : seed of the draw.
    spread : widths over those of the priors; 0 gives every member the centre. [1]

    Raises
    ------
    ValueError
        If there is not at least one member.
    """
    if members < 1:
        raise ValueError(f"members must be 1 or more; it is {members}.")
    rng = np.random.default_rng(seed)
    drawn: dict[str, Floats] = {}
    for name, prior in PRIORS.items():
        drawn[name] = np.clip(_draw(prior, members, rng, spread), prior.low, prior.high)
    constant, power = _own_dose(compiled)
    drawn["dose_constant"] += constant
    drawn["dose_turbidity"] = np.maximum(0.02, drawn["dose_turbidity"] - PRIORS["dose_turbidity"].centre + power)
    # where the power is other than the centre, the dose at 10 NTU stays
    drawn["dose_constant"] -= (drawn["dose_turbidity"] - power) * math.log(11.0)
    drawn["dose_constant"] -= (drawn["dose_alkalinity"] - PRIORS["dose_alkalinity"].centre) * math.log(40.0)
    return Parameters(**drawn)


def central(compiled: Compiled, members: int = 1) -> Parameters:
    """Return members that all have the centre of every prior."""
    return sample(compiled, members, 0, spread=0.0)


def _draw(prior: Prior, members: int, rng: np.random.Generator, spread: float) -> Floats:
    if prior.shape == "shares":
        usual = np.array(at.STORM_SHARES)
        shares = rng.dirichlet(prior.centre * usual, members)
        mixed = usual + spread * (shares - usual)
        return np.asarray(mixed / mixed.sum(axis=1, keepdims=True))
    if prior.shape == "lognormal":
        return np.asarray(prior.centre * np.exp(spread * math.log(prior.spread) / 1.645 * rng.standard_normal(members)))
    if prior.shape == "normal":
        return np.asarray(prior.centre + spread * prior.spread * rng.standard_normal(members))
    if prior.shape == "beta":
        mean = prior.centre / (prior.centre + prior.spread)
        return np.asarray(mean + spread * (rng.beta(prior.centre, prior.spread, members) - mean))
    middle = (prior.centre + prior.spread) / 2
    return np.asarray(middle + spread * (rng.uniform(prior.centre, prior.spread, members) - middle))


def _own_dose(compiled: Compiled) -> tuple[float, float]:
    """Return constant and power of the best dose as Al, centred on the plant's own dose table where it has one."""
    alkalinity = PRIORS["dose_alkalinity"].centre * math.log(40.0)
    table = [(n, d) for n, d in compiled.dose_table if d > 0]
    if len(table) < 2:
        power = PRIORS["dose_turbidity"].centre
        return math.log(_USUAL_ALUMINIUM) - power * math.log(11.0) - alkalinity, power
    aluminium = compiled.train.feed_aluminium[compiled.train.feed_role == at.COAGULANT][0]
    x = np.log([n + 1 for n, _ in table])
    y = np.log([d * aluminium for _, d in table])
    power, constant = np.polyfit(x, y, 1)
    return float(constant) - _PLANTS_RUN_HIGH - alkalinity, float(power)

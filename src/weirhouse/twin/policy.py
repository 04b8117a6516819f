"""How is the plant run? Rules that look at what the operator would see, compiled to numbers; and the water that comes.

A rule acts on each member's own water: where the turbidity rises, the dose follows; where a filter clogs, it is washed.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weirhouse.twin import layout as at
from weirhouse.twin.compile import Compiled

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
NEVER = math.inf


class Forcing(NamedTuple):
    """The water that comes and the water that is drawn: whole paths, shape (members, intervals) or (1, intervals).

    A value holds for its whole interval; the last one goes on.
    """

    interval: float  # [s]
    start_of_day: float  # time of day at which the run begins [s since midnight]
    turbidity: Floats  # [NTU]
    temperature: Floats  # [degC]
    alkalinity: Floats  # as CaCO3 [g/m^3]
    ph: Floats
    uv254: Floats  # [1/m]
    demand: Floats  # [m^3/s]

    @property
    def intervals(self) -> int:
        """How many intervals the longest path has."""
        return max(int(path.shape[1]) for path in self[2:])


class Policy(NamedTuple):
    """The rules. A limit that does not apply is infinite."""

    flow: float  # when the plant runs [m^3/s]
    start_below: float  # share of the last tank
    stop_above: float
    max_rate: float  # highest rate on a filter: with one out of service the plant flow is cut [m/s]
    ramp: float  # time in which the flow is raised to the design flow [s]
    shut_above: float  # raw turbidity at which the intake is shut [NTU]
    reopen_below: float
    throttle_above: float  # raw turbidity from which the flow is cut [NTU]
    throttle_to: float  # share of the flow
    table_turbidity: Floats  # (B,) dose of the first coagulant by turbidity [NTU], rising
    table_dose: Floats  # (B,) as it counts [g/m^3]
    dose_factor: float  # on the table
    dose_every: float  # how often the dose is set [s]
    dose_by_raw: int  # 1: by the water of the stream; 0: by the water that is at the feed
    other_doses: Floats  # (N,) of every other feed, as it counts [g/m^3]
    wash_head: float  # [m]
    wash_turbidity: float  # [NTU]
    wash_time: float  # filtered since the last one [s]
    wash_from: float  # time of day from which one is begun [s]
    wash_until: float
    wash_duration: float  # [s]
    to_waste: float  # filter-to-waste after a wash [s]
    to_waste_until: float  # and until the filtrate is down to this [NTU]; 0: by time alone
    start_to_waste: float  # filter-to-waste after a standstill [s]
    blowdown_at: float  # share of a clarifier's depth at which the sludge is let off at once
    refill_below: float  # share of a day tank at which it is refilled; below 0 never
    refill_from: float  # time of day [s]
    refill_until: float
    block_start: Floats  # (B,) since the start of the run [s], rising
    block_flow: Floats  # (B,) [m^3/s]; NaN leaves the rule, 0 shuts the intake
    block_dose: Floats  # (B,) factor on the dose
    wash_at: Floats  # (W,) planned washes since the start of the run [s]
    wash_filter: Ints  # (W,)
    feed_stops: Floats  # (N, 2) from when to when a feed fails [s]
    out_of_service: Ints  # (F,) 1 where a filter stays out


class Actions(NamedTuple):
    """What is done in one step, for every member."""

    target: Floats  # (M,) flow wanted [m^3/s]
    wanted: Ints  # (M,)
    shut: Ints  # (M,)
    dose: Floats  # (M, N) set
    feeding: Ints  # (N,) 0 where a feed has failed
    wash: Ints  # (M,) filter whose wash begins, -1 none
    refill: Ints  # (M, N)
    rules: Policy  # those that go on acting within the step


def forcing(
    turbidity: ArrayLike, *, interval: float, temperature: ArrayLike, demand: ArrayLike, alkalinity: ArrayLike = 40.0,
    ph: ArrayLike = 7.3, uv254: ArrayLike | None = None, start_of_day: float = 0.0,
) -> Forcing:  # fmt: skip
    """Return the paths as the simulation takes them; numbers and single paths serve every member.

    Parameters
    ----------
    turbidity : raw turbidity, (members, intervals). [NTU]
    interval : length of an interval. [s]
    temperature, alkalinity, ph, demand : alike. [degC], [g/m^3], [pH], [m^3/s]
    uv254 : absorbance; None where it is not measured, and the best dose then follows turbidity alone. [1/m]
    start_of_day : time of day at the start. [s]

    Raises
    ------
    ValueError
        If a path has a gap, a turbidity or demand is below 0, or the interval is not above 0.
    """
    if not interval > 0:
        raise ValueError(f"interval must be above 0 s; it is {interval:g}.")
    paths = {}
    for name, values in (
        ("turbidity", turbidity), ("temperature", temperature), ("alkalinity", alkalinity), ("ph", ph),
        ("uv254", USUAL_UV254 if uv254 is None else uv254), ("demand", demand),
    ):  # fmt: skip
        path = np.ascontiguousarray(np.atleast_2d(np.asarray(values, dtype=float)))
        if not np.isfinite(path).all():
            raise ValueError(f"{name} has a gap. Fill it before the run: the simulation takes whole paths.")
        if name in ("turbidity", "demand") and (path < 0).any():
            raise ValueError(f"{name} must not be below 0; the least is {path.min():g}.")
        if name == "alkalinity" and (path <= 0).any():
            raise ValueError(f"alkalinity must be above 0 mg/L; the least is {path.min():g}.")
        paths[name] = path
    return Forcing(float(interval), float(start_of_day), **paths)


USUAL_UV254 = 10.0  # where it is not measured; the best dose is centred on it [1/m]


def habit(compiled: Compiled, **changes: object) -> Policy:
    """Return the plant run as its file says: dose by the table, washes on its triggers, no shutting of the intake.

    Any rule may be given by name: ``habit(compiled, shut_above=150.0, reopen_below=80.0)``.
    """
    train = compiled.train
    n, f = len(compiled.feeds), len(compiled.filters)
    table = np.array(compiled.dose_table, dtype=float).reshape(-1, 2)
    others = np.zeros(n)
    residual = compiled.target_residual if math.isfinite(compiled.target_residual) else 1.0
    for i in range(n):
        if train.feed_role[i] == at.DISINFECTANT:
            others[i] = residual + 0.7  # what fades on the way to the tap (memory)
    if not len(table) and (train.feed_role == at.COAGULANT).any():
        table = _usual_table(float(train.feed_aluminium[train.feed_role == at.COAGULANT][0]))
    flow = float(train.design_flow[0])
    area = float(train.filter_area.sum())
    rules: dict[str, object] = {
        "flow": 0.95 * flow, "start_below": 0.85, "stop_above": 0.97, "max_rate": 1.3 * flow / area if area else NEVER,
        "ramp": 600.0, "shut_above": NEVER, "reopen_below": NEVER, "throttle_above": NEVER, "throttle_to": 1.0,
        "table_turbidity": table[:, 0].copy(), "table_dose": table[:, 1].copy(), "dose_factor": 1.0,
        "dose_every": 900.0, "dose_by_raw": 0, "other_doses": others,
        "wash_head": compiled.terminal_head_loss, "wash_turbidity": compiled.trigger_turbidity,
        "wash_time": compiled.max_run, "wash_from": 0.0, "wash_until": 86400.0,
        "wash_duration": compiled.wash_duration, "to_waste": compiled.filter_to_waste, "to_waste_until": 0.0,
        "start_to_waste": 0.0, "blowdown_at": 0.5, "refill_below": 0.25, "refill_from": 0.0, "refill_until": 86400.0,
        "block_start": np.zeros(0), "block_flow": np.zeros(0), "block_dose": np.zeros(0),
        "wash_at": np.zeros(0), "wash_filter": np.zeros(0, dtype=np.int64),
        "feed_stops": np.full((n, 2), NEVER), "out_of_service": np.zeros(f, dtype=np.int64),
    }  # fmt: skip
    unknown = set(changes) - set(rules)
    if unknown:
        raise ValueError(f"{sorted(unknown)[0]} is no rule. There are {', '.join(rules)}.")
    for name, value in changes.items():
        usual = rules[name]
        if isinstance(usual, np.ndarray):
            rules[name] = np.ascontiguousarray(np.asarray(value, dtype=usual.dtype))
        else:
            rules[name] = int(value) if name == "dose_by_raw" else float(value)  # type: ignore[call-overload,arg-type]
    return Policy(**rules)  # type: ignore[arg-type]


def shut_for(policy: Policy, hours: float, *, after: float = 0.0) -> Policy:
    """Return the policy with the intake closed for some hours from `after` hours on, and as before from then on."""
    starts = np.array([0.0, 3600 * after, 3600 * (after + hours)])
    flows = np.array([math.nan, 0.0, math.nan])
    keep = 1 if after <= 0 else 0
    return policy._replace(block_start=starts[keep:], block_flow=flows[keep:], block_dose=np.ones(3 - keep))


def _usual_table(aluminium: float) -> Floats:
    """Return a dose table where the plant file has none: the usual best dose and a tenth more (memory)."""
    turbidity: Sequence[float] = (1.0, 3.0, 10.0, 30.0, 100.0, 300.0)
    return np.array([(n, 1.1 * 1.5 * ((n + 1) / 11) ** 0.25 / aluminium) for n in turbidity])

"""How does a run begin? A state that has come to rest in the water of the moment."""

import math

import numpy as np
from numpy.typing import NDArray

from weirhouse.twin import layout as at
from weirhouse.twin import reference
from weirhouse.twin.compile import Compiled, Train
from weirhouse.twin.parameters import Parameters
from weirhouse.twin.policy import USUAL_UV254, Policy
from weirhouse.twin.state import Start, State

Floats = NDArray[np.float64]
_SETTLING_STEP, _SETTLING_STEPS = 1800.0, 32  # until basin and floc are those of steady water
_USUAL_RUN = 24 * 3600.0


def init(compiled: Compiled, parameters: Parameters, start: Start, policy: Policy) -> State:
    """Return the state of a plant at rest in the water of `start`, for every member.

    Parameters
    ----------
    compiled, parameters : the plant and its members.
    start : what is known.
    policy : its doses are those in force where `start` gives none.
    """
    train, members = compiled.train, parameters.members
    s = _empty(train, members)
    flow = policy.flow if start.flow is None else start.flow
    running = flow if flow > 0 else policy.flow
    s.dose[:] = _doses(train, start, policy)
    s.came_in[:] = start.turbidity
    water = reference.Water(
        *(
            np.full(members, value)
            for value in (
                start.turbidity, start.temperature, start.alkalinity, start.ph,
                USUAL_UV254 if start.uv254 is None else start.uv254, 0.0,
            )
        )
    )  # fmt: skip
    found = reference.properties(parameters, water.temperature)
    s.blanket[:] = start.blanket_share * train.clarifier_area * train.clarifier_depth * at.BLANKET_SOLIDS
    blanket = s.blanket.copy()
    feeding = np.ones(len(train.feed_role), dtype=np.int64)
    solids, q = np.zeros(members), np.ones(members)
    for _ in range(_SETTLING_STEPS):
        s.feed_tank[:] = np.inf
        _, solids, q, _, _ = reference.ahead(
            compiled, parameters, s, water, found, feeding, np.inf, np.full(members, running), _SETTLING_STEP
        )
        s.blanket[:] = blanket
    s.since_blowdown[:] = 0.0
    s.blowdown_left[:] = 0.0
    s.feed_tank[:] = np.array(start.feed_levels or (0.8,) * len(compiled.feeds)) * train.feed_full
    _filters(compiled, parameters, start, s, found, running, flow > 0, solids, q)
    s.flow[:] = flow
    s.wanted[:] = 1 if flow > 0 else 0
    s.tanks[:] = np.array(start.tank_levels or (0.9,) * len(compiled.tanks)) * train.tank_full
    s.tank_chlorine[:, :, 1] = start.chlorine
    s.contact_chlorine[:] = s.out_chlorine[:] = start.chlorine
    _fill_mains(train, s, start.chlorine)
    s.ledger[:] = 0.0
    s.time[:] = 0.0
    return s


def _empty(train: Train, members: int) -> State:
    filters, cells = train.depth.shape
    tanks, feeds, pipes = len(train.tank_full), len(train.feed_role), len(train.pipe_volume)
    clarifiers = len(train.clarifier_area)

    def zeros(*shape: int) -> Floats:
        return np.zeros((members, *shape))

    def whole(*shape: int) -> NDArray[np.int64]:
        return np.zeros((members, *shape), dtype=np.int64)

    s = State(
        cells=zeros(len(train.cell_volume), at.CARRIED), pieces=zeros(pipes, at.PIECES, 1 + at.CARRIED),
        piece_first=whole(pipes), piece_count=whole(pipes), blanket=zeros(clarifiers),
        since_blowdown=zeros(clarifiers), blowdown_left=zeros(clarifiers), deposit=zeros(filters, cells),
        lagged_rate=zeros(filters), box=zeros(filters, at.BOX), mode=whole(filters), mode_time=zeros(filters),
        run_time=zeros(filters), washed_at=zeros(filters), over_trigger=zeros(filters), filtered=zeros(filters),
        head=zeros(filters), tanks=zeros(tanks), tank_chlorine=zeros(int(train.tank_cells.sum()), 2),
        tank_flow=zeros(tanks), feed_tank=zeros(feeds), dose=zeros(feeds), flow=zeros(), wanted=whole(), shut=whole(),
        chemistry=zeros(5), basin_out=zeros(), came_in=zeros(), quality=zeros(), settled=zeros(), combined=zeros(),
        contact_chlorine=zeros(), out_chlorine=zeros(), ledger=zeros(at.L_PRODUCT + feeds), time=zeros(),
    )  # fmt: skip
    s.washed_at[:] = -1e9
    s.quality[:] = 1.0
    s.chemistry[:] = np.nan
    s.pieces[:, :, 0, 0] = train.pipe_volume
    s.piece_count[:] = 1
    return s


def _doses(train: Train, start: Start, policy: Policy) -> Floats:
    if start.doses is not None:
        return np.array(start.doses, dtype=float)
    doses = policy.other_doses.copy()
    coagulants = np.flatnonzero(train.feed_role == at.COAGULANT)
    if len(coagulants) and len(policy.table_dose):
        doses[coagulants[0]] = policy.dose_factor * np.interp(
            start.turbidity, policy.table_turbidity, policy.table_dose
        )
    return doses


def _fill_mains(train: Train, s: State, chlorine: float) -> None:
    for kind, n in zip(train.after_kind, train.after_index, strict=True):
        if kind == at.PIPE:
            s.pieces[:, n, 0, 1 + at.SLOW] = chlorine


def _filters(
    compiled: Compiled, p: Parameters, start: Start, s: State, found: reference.Properties, flow: float, runs: bool,
    solids: Floats, q: Floats,
) -> None:  # fmt: skip
    """Put the deposit of the runs so far into the beds, where the coefficient says it lies."""
    train, filters = compiled.train, len(compiled.filters)
    if not filters:
        s.combined[:] = s.settled
        return
    u = flow / float(train.filter_area.sum())
    usual = compiled.max_run if math.isfinite(compiled.max_run) else _USUAL_RUN
    times = start.run_time or tuple(0.5 * usual * (i + 1) / (filters + 1) for i in range(filters))
    everywhere = np.ones(p.members, dtype=np.bool_)
    zero = np.zeros(p.members)
    for f in range(filters):
        s.run_time[:, f] = times[f]
        load = 0.001 * 0.97 * solids * u * times[f]
        if start.head_loss is not None:
            rate = start.rate or u
            thick = found.viscosity / 0.0010016 * rate
            bed = (start.head_loss[f] - train.filter_turbulent[f] * rate**2) / thick
            worse = p.deposit_resistance * (1 + at.WORSE_HEAD * (1 - q))
            load = (bed - train.filter_resistance[f] * p.resistance_scale) / worse
        load = 1000 * np.clip(load, 1e-4, 2.0)
        taken = train.coefficient[f] * train.depth[f] * p.coefficient_scale[:, None]
        passed = np.exp(-np.cumsum(taken, axis=1) + taken)
        share = passed * (1 - np.exp(-taken))
        share /= share.sum(axis=1, keepdims=True)
        with np.errstate(divide="ignore", invalid="ignore"):
            deposit = np.where(train.depth[f] > 0, load[:, None] * share / train.depth[f], 0.0)
        s.deposit[:, f] = np.minimum(deposit, 0.9 * train.full_deposit[f] * p.full_scale[:, None])
        s.box[:, f, at.BOX_SOLIDS], s.box[:, f, at.BOX_QUALITY] = solids, q
        s.lagged_rate[:, f] = u
        ntu, _, _, _ = reference.filtering(
            s, train, p, f, np.full(p.members, u), everywhere, 1e-6, found, solids, q, zero, zero
        )
        s.filtered[:, f] = ntu
        if not runs:
            s.lagged_rate[:, f] = 0.0
    s.combined[:] = s.filtered.mean(axis=1)

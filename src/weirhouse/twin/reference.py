"""How does the plant go one step further? The reference: plain NumPy over all members, each stage by its formulas.

`step` is pure: a state in, the next one out. It is written to be read and checked; `kernel` does the same fast. Where a
formula of the `science` room covers a stage, it is called here, not written again.
"""

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from weirhouse.science.aluminium import ph_of_least_aluminium
from weirhouse.science.carbonate import ph_from_carbon, total_inorganic_carbon
from weirhouse.science.chlorine_decay import decay_rate_at_temperature
from weirhouse.science.clarification import blanket_passage, coagulation_quality, median_floc_velocity
from weirhouse.science.coagulant_dose import dose_by_regression
from weirhouse.science.coagulation import alkalinity_used_by_aluminium
from weirhouse.science.filter_run import (
    blocking_share,
    filter_coefficient_in_run,
    filter_head_loss,
    ripening_share,
)
from weirhouse.science.filtration import layer_passage
from weirhouse.science.flocculation import aggregation_at_temperature, compartment_remaining
from weirhouse.science.fluidisation import minimum_fluidisation_velocity
from weirhouse.science.mixing import (
    head_loss_at_flow,
    velocity_gradient_from_head_loss,
    velocity_gradient_from_power,
)
from weirhouse.science.properties import dynamic_viscosity, kinematic_viscosity, water_density
from weirhouse.science.residuals import coagulant_solids
from weirhouse.science.settling import ferguson_church_velocity, hazen_removal, upflow_carry_over
from weirhouse.twin import layout as at
from weirhouse.twin.compile import Compiled, Train
from weirhouse.twin.parameters import Parameters
from weirhouse.twin.policy import Actions, Policy
from weirhouse.twin.state import State

Floats = NDArray[np.float64]
_RELATIVE = np.array([(1e6 * d) ** -at.SCATTER_EXPONENT for d in at.DIAMETERS])


class Water(NamedTuple):
    """The water that comes in one step and what is drawn, shape (members,)."""

    turbidity: Floats  # [NTU]
    temperature: Floats  # [degC]
    alkalinity: Floats  # [g/m^3]
    ph: Floats
    uv254: Floats  # [1/m]
    demand: Floats  # [m^3/s]


class Properties(NamedTuple):
    """What depends on temperature alone, shape (members,) but for `fall` (members, 6)."""

    viscosity: Floats
    density: Floats
    fall: Floats
    aggregation: Floats
    fast_rate: Floats
    slow_rate: Floats
    temperature: Floats


def properties(p: Parameters, temperature: Floats) -> Properties:
    """Return the properties of water of a temperature [degC] for every member."""
    density, kinematic = water_density(temperature), kinematic_viscosity(temperature)
    fall = np.stack([ferguson_church_velocity(d, at.GRAIN_DENSITY, density, kinematic) for d in at.DIAMETERS], axis=1)
    return Properties(
        dynamic_viscosity(temperature), density, fall * p.settling_scale[:, None],
        aggregation_at_temperature(p.aggregation, temperature),
        decay_rate_at_temperature(p.fast_rate, 20.0, temperature, at.ACTIVATION),
        decay_rate_at_temperature(p.slow_rate, 20.0, temperature, at.ACTIVATION), temperature,
    )  # fmt: skip


def brightness(p: Parameters) -> Floats:
    """Return the turbidity of one unit of solids of each size, shape (members, 6) [NTU m^3/g]."""
    return np.asarray(_RELATIVE / ((p.class_shares @ _RELATIVE) * p.raw_solids)[:, None])


# --- stirred cells and plug flow ----------------------------------------------------------------------------------


def mean_share(r: Floats) -> Floats:
    """Return the mean over a step of exp(-s) for s from 0 to `r`."""
    safe = np.where(r > 0, r, 1.0)
    return np.asarray(np.where(r > 0, -np.expm1(-safe) / safe, 1.0))


def towards(there: Floats, steady: Floats, r: Floats) -> tuple[Floats, Floats]:
    """Return value after a step and mean over it where `there` goes to `steady` exponentially, exactly."""
    return steady + (there - steady) * np.exp(-r), steady + (there - steady) * mean_share(r)


def stirred(cell: Floats, flow: Floats, volume: Floats, low: int, high: int, dt: float, w: Floats) -> None:
    """Pass what `w` (members, 9) carries through one stirred cell (members, 9); `w` becomes the mean that leaves."""
    r = (flow * dt / volume)[:, None]
    cell[:, low:high], w[:, low:high] = towards(cell[:, low:high], w[:, low:high].copy(), r)


def fading(cell: Floats, flow: Floats, volume: Floats, dt: float, water: Properties, w: Floats) -> Floats:
    """Pass chlorine through one stirred cell; return what decays [g]."""
    lost = np.zeros_like(flow)
    for i, k in ((at.FAST, water.fast_rate), (at.SLOW, water.slow_rate)):
        a = flow / volume
        steady = np.where(a + k > 0, w[:, i] * a / np.where(a + k > 0, a + k, 1.0), 0.0)
        cell[:, i], w[:, i] = towards(cell[:, i], steady, (a + k) * dt)
        lost += k * volume * w[:, i] * dt
    return lost


def settling(
    cell: Floats, flow: Floats, volume: Floats, area: float, dt: float, water: Properties, w: Floats
) -> Floats:
    """Pass the size classes through one stirred cell in which they settle; return what settles [g]."""
    kept = np.zeros_like(flow)
    runs = flow > 0
    rate = np.where(runs, flow, 1.0) / area
    for i in range(at.CLASSES):
        fall = water.fall[:, i]
        steady = np.where(runs, w[:, i] * (1 - hazen_removal(fall, rate, 1.0)), 0.0)
        b = fall * area / volume
        cell[:, i], w[:, i] = towards(cell[:, i], steady, (flow / volume + b) * dt)
        kept += b * volume * w[:, i] * dt
    return kept


def gradient(train: Train, c: int, flow: Floats, water: Properties) -> Floats:
    """Return the velocity gradient in a cell [1/s]."""
    if train.cell_head_flow[c] > 0:
        runs = flow > 0
        safe = np.where(runs, flow, 1.0)
        loss = head_loss_at_flow(train.cell_head[c], train.cell_head_flow[c], safe)
        g = velocity_gradient_from_head_loss(loss, train.cell_volume[c] / safe, water.viscosity, water.density)
        still = velocity_gradient_from_power(train.cell_power[c], water.viscosity, train.cell_volume[c])
        return np.asarray(np.where(runs, g, still))
    return np.asarray(
        velocity_gradient_from_power(train.cell_power[c], water.viscosity, train.cell_volume[c]) + 0.0 * flow
    )


def flocculating(
    cell: Floats, flow: Floats, g: Floats, volume: Floats, dt: float, water: Properties, p: Parameters, w: Floats
) -> None:
    """Pass coagulated matter through one compartment in which fine matter grows to floc."""
    fine, entering = cell[:, at.FINE].copy(), w[:, at.FINE].copy()
    stirred(cell, flow, volume, at.COAGULATED, at.QUALITY + 1, dt, w)
    ka = water.aggregation * w[:, at.QUALITY]
    breakup = water.aggregation * p.breakup_ratio * w[:, at.COAGULATED]
    runs = flow > 0
    time = volume / np.where(runs, flow, 1.0)
    steady = compartment_remaining(entering, g, time, ka, breakup)  # all of it, not a share: the form is linear
    stirs = ka * g > 0
    standing = np.where(stirs, breakup * g * g / np.where(stirs, ka * g, 1.0), fine)
    steady = np.where(runs, steady, standing)
    after, mean = towards(fine, steady, np.where(runs, 1 / time, 0.0) * dt + ka * g * dt)
    w[:, at.FINE] = np.minimum(mean, w[:, at.COAGULATED])
    cell[:, at.FINE] = np.minimum(after, cell[:, at.COAGULATED])


def plug_flow(
    s: State, q: int, flow: Floats, size: float, dt: float, decaying: bool, water: Properties, w: Floats
) -> Floats:
    """Push `w` into a pipe and take as much from its other end into `w`; return what chlorine decays [g]."""
    pieces, first, count = s.pieces[:, q], s.piece_first[:, q], s.piece_count[:, q]
    members = np.arange(len(flow))
    held = (np.arange(at.PIECES)[None, :] - first[:, None]) % at.PIECES < count[:, None]
    lost = np.zeros_like(flow)
    if decaying:
        for i, k in ((at.FAST, water.fast_rate), (at.SLOW, water.slow_rate)):
            e = np.exp(-k * dt)
            lost += np.where(held, pieces[:, :, 0] * pieces[:, :, 1 + i] * (1 - e)[:, None], 0.0).sum(axis=1)
            pieces[:, :, 1 + i] *= np.where(held, e[:, None], 1.0)
    volume = flow * dt
    runs = volume > 0
    if not runs.any():
        return lost
    newest = (first + count - 1) % at.PIECES
    there = pieces[members, newest, 0]
    fill = runs & (count > 0) & (there < at.LEAST_SHARE * size)
    new = runs & ~fill
    mixed = there[:, None] * pieces[members, newest, 1:] + volume[:, None] * w
    together = np.where(fill, there + volume, 1.0)
    pieces[members[fill], newest[fill], 1:] = (mixed / together[:, None])[fill]
    pieces[members[fill], newest[fill], 0] = together[fill]
    place = (first + count) % at.PIECES
    pieces[members[new], place[new], 0] = volume[new]
    pieces[members[new], place[new], 1:] = w[new]
    count[new] += 1
    w[runs] = 0.0
    left = np.where(runs, volume, 0.0)
    share = np.where(runs, volume, 1.0)
    for _ in range(at.PIECES + 1):
        more = (left > 0) & (count > 0)
        if not more.any():
            break
        there = pieces[members, first, 0]
        taken = np.where(more, np.minimum(there, left), 0.0)
        w += (taken / share)[:, None] * pieces[members, first, 1:]
        left = left - taken
        empty = more & (taken >= there)
        rest = more & ~empty
        pieces[members[rest], first[rest], 0] = (there - taken)[rest]
        first[empty] = (first[empty] + 1) % at.PIECES
        count[empty] -= 1
    return lost


# --- coagulant ----------------------------------------------------------------------------------------------------


def fed(s: State, train: Train, n: int, dose: Floats, feeding: bool, flow: Floats, dt: float) -> Floats:
    """Draw a feed's solution from its day tank and return the dose that it really gives [g/m^3]."""
    on = (dose > 0) & (flow > 0) & feeding
    need = np.where(on, dose * flow * dt / train.feed_content[n], 0.0)
    there = np.maximum(0.0, s.feed_tank[:, n] - train.feed_low[n])
    share = np.where(need <= there, 1.0, there / np.where(need > 0, need, 1.0))
    s.feed_tank[:, n] -= need * share
    s.ledger[:, at.L_PRODUCT + n] += need * share
    s.ledger[:, at.L_DRY_FEED] += np.where(on & (share < 1), dt / 60, 0.0)
    return np.where(on, dose * share, 0.0)


def chlorinate(s: State, p: Parameters, dose: Floats, met: bool, flow: Floats, dt: float, w: Floats) -> None:
    """Add chlorine to `w`, less what is used up at once where nothing met that before."""
    gone = np.zeros_like(dose) if met else np.minimum(dose, p.chlorine_demand)
    w[:, at.FAST] += p.fast_share * (dose - gone)
    w[:, at.SLOW] += (1 - p.fast_share) * (dose - gone)
    s.ledger[:, at.L_CL_IN] += dose * flow * dt
    s.ledger[:, at.L_CL_DECAYED] += gone * flow * dt


def quality(train: Train, p: Parameters, water: Water, bright: Floats, aluminium: Floats, ph: Floats) -> Floats:
    """Return the quality of coagulation at the feed."""
    best = dose_by_regression(
        bright, water.uv254 * 0.0, water.temperature, water.alkalinity, 0.0, 0.0, p.dose_turbidity, p.dose_temperature,
        p.dose_alkalinity,
    ) * np.exp(p.dose_constant + p.dose_uv254 * (water.uv254 - 10.0))  # fmt: skip
    least = ph_of_least_aluminium(water.temperature, float(train.least_aluminium_ph[0]))
    q = coagulation_quality(
        np.maximum(aluminium, at.LEAST_DOSE), np.maximum(best, at.LEAST_DOSE), ph, least, p.underdose_width,
        p.overdose_width,
    )  # fmt: skip
    return np.asarray(np.maximum(q, at.LEAST_QUALITY))


def ph_after(water: Water, used: Floats) -> Floats:
    """Return the pH once a coagulant has used some of the alkalinity."""
    carbon = total_inorganic_carbon(water.ph, water.alkalinity, water.temperature, at.IONIC_STRENGTH)
    return np.asarray(ph_from_carbon(water.alkalinity - used, carbon, water.temperature, at.IONIC_STRENGTH))


def coagulate(
    s: State, train: Train, p: Parameters, water: Water, feeding: Any, flow: Floats, dt: float, bright_of: Floats,
    w: Floats,
) -> None:  # fmt: skip
    """Feed the coagulant: what `w` carries turns from sizes to fine, coagulated and not coagulated matter."""
    aluminium, used = np.zeros_like(flow), np.zeros_like(flow)
    for n in np.flatnonzero(train.feed_role == at.COAGULANT).tolist():
        given = fed(s, train, n, s.dose[:, n], bool(feeding[n]), flow, dt) * train.feed_aluminium[n]
        aluminium += given
        used += alkalinity_used_by_aluminium(given, float(train.feed_basicity[n]))
    runs = flow > 0
    inputs = np.stack([water.alkalinity, water.temperature, water.ph, used], axis=1)
    other = runs & (s.chemistry[:, :4] != inputs).any(axis=1)
    if other.any():
        s.chemistry[other, :4] = inputs[other]
        s.chemistry[other, 4] = ph_after(Water(*(value[other] for value in water)), used[other])
    bright = (w[:, : at.CLASSES] * bright_of).sum(axis=1)
    q = quality(train, p, water, bright, aluminium, s.chemistry[:, 4])
    for values, new in ((s.basin_out, bright), (s.came_in, w[:, at.CAME_IN]), (s.quality, q)):
        values[runs] = new[runs]
    made = coagulant_solids(aluminium, at.HYDROXIDE_PER_AL)
    s.ledger[:, at.L_HYDROXIDE] += made * flow * dt
    solids = w[:, : at.CLASSES].sum(axis=1) + made
    missed = np.minimum(1.0, p.uncoagulated_least + (1 - q) * p.uncoagulated_more)
    w[:, at.UNCOAGULATED] = missed * solids
    w[:, at.COAGULATED] = w[:, at.FINE] = solids - w[:, at.UNCOAGULATED]
    w[:, at.QUALITY] = q
    w[:, 4:6] = 0.0


# --- clarifier ----------------------------------------------------------------------------------------------------


def clarify(
    s: State, train: Train, p: Parameters, k: int, flow: Floats, gt: Floats, blowdown_at: float, dt: float,
    water: Properties, w: Floats,
) -> Floats:  # fmt: skip
    """Settle floc at the clarifier's inlet, keep its blanket and let sludge off; return the flow that goes on."""
    runs = flow > 0
    q_safe = np.where(runs, flow, 1.0)
    area, depth, size = float(train.clarifier_area[k]), float(train.clarifier_depth[k]), train.blowdown_volume[k]
    ratio = gt / at.GT_FULL_GROWN if train.has_flocculation[0] else np.full_like(flow, at.GT_WITHOUT)
    q = np.minimum(1.0, np.maximum(w[:, at.QUALITY], at.LEAST_QUALITY))
    fall = np.maximum(median_floc_velocity(p.floc_velocity, water.temperature, q, ratio), 1e-12)
    rise = q_safe / area
    floats = upflow_carry_over(rise, fall, p.floc_spread)
    total, fine = w[:, at.COAGULATED].copy(), w[:, at.FINE].copy()
    through, high = np.ones_like(flow), np.zeros_like(flow)
    if depth > 0:
        high = np.minimum(s.blanket[:, k] / (area * at.BLANKET_SOLIDS), depth)
        lost = np.clip((rise / fall - at.LOST_FROM) / at.LOST_OVER, 0.0, 1.0)
        through = blanket_passage(p.blanket_capture, at.BLANKET_SHARE, high * (1 - lost))
    factor = through * p.passing
    passing = np.minimum(total, factor * (fine + (total - fine) * floats))
    caught = np.where(runs, (total - passing) * flow * dt, 0.0)
    s.blanket[:, k] += caught
    over = np.zeros_like(flow)
    if depth > 0:
        over = np.where(runs, np.maximum(0.0, s.blanket[:, k] - area * depth * at.BLANKET_SOLIDS), 0.0)
        s.blanket[:, k] -= over
    s.ledger[:, at.L_CLARIFIER] += caught - over
    w[:, at.FINE] = np.where(runs, np.minimum(passing, factor * fine), fine)
    w[:, at.COAGULATED] = np.where(runs, passing + over / (q_safe * dt), total)
    if size <= 0:
        return flow
    since, left = s.since_blowdown[:, k], s.blowdown_left[:, k]
    since[runs] += dt
    due = (since >= train.blowdown_every[k]) | ((high > blowdown_at * depth) if depth > 0 else np.zeros_like(runs))
    begin = runs & (left <= 0) & due
    left[begin], since[begin] = size, 0.0
    letting = runs & (left > 0)
    down = np.where(letting, np.minimum(np.minimum(left / dt, size / at.BLOWDOWN_LASTS), 0.5 * flow), 0.0)
    dense = at.SLUDGE_SOLIDS * high / (high + at.SLUDGE_HALF)
    sludge = np.minimum(s.blanket[:, k], dense * down * dt)
    s.blanket[:, k] -= sludge
    left[:] = np.where(letting, np.maximum(0.0, left - down * dt), left)
    s.ledger[:, at.L_BLOWDOWN] += down * dt
    s.ledger[:, at.L_BLOWDOWN_G] += sludge + down * dt * (w[:, at.COAGULATED] + w[:, at.UNCOAGULATED])
    s.ledger[:, at.L_CL_WASTED] += down * dt * (w[:, at.FAST] + w[:, at.SLOW])
    return flow - down


# --- filters ------------------------------------------------------------------------------------------------------


def filtering(
    s: State, train: Train, p: Parameters, f: int, u: Floats, on: NDArray[np.bool_], dt: float, water: Properties,
    solids: Floats, q_in: Floats, fast: Floats, slow: Floats,
) -> tuple[Floats, Floats, Floats, Floats]:  # fmt: skip
    """Filter for one step where `on`: return turbidity, solids let through [g/m^3], and both parts of chlorine."""
    u = np.where(on, u, at.REFERENCE_RATE)
    height = train.filter_box[f] + train.filter_pore[f]
    entering = np.stack([solids, q_in, np.zeros_like(u), fast, slow], axis=1)
    after, mean = towards(s.box[:, f], entering, (u * dt / height)[:, None])
    s.box[on, f] = after[on]
    direct = p.wash_remnant * mean[:, at.BOX_REMNANT]
    c = mean[:, at.BOX_SOLIDS] + mean[:, at.BOX_REMNANT] - direct
    q = np.clip(mean[:, at.BOX_QUALITY], at.LEAST_QUALITY, 1.0)
    shaken = p.shaking * np.maximum(0.0, u / np.maximum(s.lagged_rate[:, f], at.LEAST_LAGGED) - 1)
    lagged, _ = towards(s.lagged_rate[:, f], u, np.full_like(u, dt / at.RATE_LAG))
    s.lagged_rate[on, f] = lagged[on]
    caught = np.zeros_like(u)
    for j in range(int(train.layer_cells[f])):
        x, dz = s.deposit[:, f, j].copy(), train.depth[f, j]
        full = train.full_deposit[f, j] * p.full_scale
        lam = filter_coefficient_in_run(
            train.coefficient[f, j] * p.coefficient_scale, u, q, ripening_share(x, p.ripening_deposit, p.least_ripe),
            blocking_share(x, full, at.BLOCKING_EXPONENT), at.REFERENCE_RATE,
        )  # fmt: skip
        removed = c * (1 - layer_passage(lam, dz))
        loosened = (p.detachment * u / at.REFERENCE_RATE * (x / full) + shaken) * dt
        loose = x * loosened / (1 + loosened)
        x += u * removed * dt / dz - loose
        c = c + loose * dz / (u * dt) - removed
        s.deposit[on, f, j] = x[on]
        caught += x * dz
    worse = p.deposit_resistance * (1 + at.WORSE_HEAD * (1 - q))
    head = (
        filter_head_loss(u, 0.001 * caught, water.viscosity, train.filter_resistance[f] * p.resistance_scale, worse)
        + train.filter_turbulent[f] * u * u
    )
    s.head[on, f] = head[on]
    through = c + direct
    return through / p.floc_solids + p.filtered_floor, through, mean[:, at.BOX_FAST], mean[:, at.BOX_SLOW]


def washing(s: State, train: Train, f: int, on: NDArray[np.bool_], dt: float, water: Properties) -> Floats:
    """Wash for one step where `on`: return the solids in the waste water [g/m^3]."""
    u = float(train.wash_rate[f])
    released = np.zeros_like(water.viscosity)
    for j in range(int(train.layer_cells[f])):
        least = minimum_fluidisation_velocity(
            float(train.grain_90[f, j]), float(train.grain_density[f, j]), water.density, water.viscosity
        )
        scour = at.SCOUR * np.clip((u / least - 1) / at.SCOUR_SPAN, 0.0, 1.0)
        x = s.deposit[:, f, j].copy()
        after = x * np.exp(-scour * dt)
        released += (x - after) * train.depth[f, j]
        s.deposit[on, f, j] = after[on]
    r = np.full_like(released, u * dt / (train.filter_box[f] + train.filter_pore[f]))
    left, mean = towards(s.box[:, f, at.BOX_REMNANT], released / (u * dt), r)
    s.box[on, f, at.BOX_REMNANT] = left[on]
    return mean


# --- tanks --------------------------------------------------------------------------------------------------------


def tank_mix(
    s: State, train: Train, i: int, inflow: Floats, outflow: Floats, volume: Floats, dt: float, water: Properties,
    fast: Floats, slow: Floats,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """Pass chlorine through a tank whose level may move; return both parts that leave and what decays [g]."""
    n, lost = int(train.tank_cells[i]), np.zeros_like(volume)
    share = volume / n
    entering = np.stack([fast, slow], axis=1)
    e = np.stack([np.exp(-water.fast_rate * dt), np.exp(-water.slow_rate * dt)], axis=1)
    for c in range(n):
        cell = s.tank_chlorine[:, train.tank_first[i] + c]
        flow = inflow + (outflow - inflow) * c / n
        lost += share * (cell * (1 - e)).sum(axis=1)
        kept = cell * e
        together = share + flow * dt
        some = together > 0
        mixed = (share[:, None] * kept + (flow * dt)[:, None] * entering) / np.where(some, together, 1.0)[:, None]
        cell[:] = np.where(some[:, None], mixed, kept)
        entering = cell.copy()
    return entering[:, 0], entering[:, 1], lost


# --- what is done -------------------------------------------------------------------------------------------------


def decide(compiled: Compiled, s: State, water: Water, start_of_day: float, dt: float, rules: Policy) -> Actions:
    """Return what the rules do in the step that begins at the state's time."""
    train, t = compiled.train, float(s.time[0])
    day = (start_of_day + t) % 86400.0
    tanks, filters = len(compiled.tanks), len(compiled.filters)
    members = len(s.flow)
    begun = np.flatnonzero(rules.block_start <= t)
    block = int(begun[-1]) if len(begun) else -1
    wanted = np.ones(members, dtype=np.int64)
    if tanks:
        share = s.tanks[:, -1] / train.tank_full[-1]
        wanted = np.where(share < rules.start_below, 1, np.where(share >= rules.stop_above, 0, s.wanted))
    shut = np.where(water.turbidity > rules.shut_above, 1, np.where(water.turbidity < rules.reopen_below, 0, s.shut))
    target = np.where(water.turbidity > rules.throttle_above, rules.flow * rules.throttle_to, rules.flow)
    target = np.where(wanted == 1, target, 0.0)
    if block >= 0 and not math.isnan(rules.block_flow[block]):
        target = np.full(members, rules.block_flow[block])
    target = np.where(shut == 1, 0.0, target)
    for i in range(tanks - 1):
        target = np.where(s.tanks[:, i] > 0.985 * train.tank_full[i], 0.0, target)
    wash = choose_wash(train, s, t, day, rules)
    if filters:
        works = (s.mode != at.WASHING) & (np.arange(filters) != wash[:, None]) & (rules.out_of_service == 0)
        area = np.zeros(members)
        for f in range(filters):
            area += np.where(works[:, f], train.filter_area[f], 0.0)
        most = rules.max_rate * np.where(area > 0, area, 1.0)
        target = np.where(area > 0, np.minimum(target, most), 0.0)
    dose = np.broadcast_to(rules.other_doses, s.dose.shape).copy()
    coagulants = np.flatnonzero(train.feed_role == at.COAGULANT)
    if len(coagulants) and len(rules.table_dose):
        n = coagulants[0]
        dose[:, n] = s.dose[:, n]
        if t % rules.dose_every < dt * 0.999999:
            seen = water.turbidity if rules.dose_by_raw == 1 else s.came_in
            factor = rules.dose_factor * (rules.block_dose[block] if block >= 0 else 1.0)
            dose[:, n] = factor * np.interp(seen, rules.table_turbidity, rules.table_dose)
    feeding = np.where((rules.feed_stops[:, 0] <= t) & (t < rules.feed_stops[:, 1]), 0, 1)
    low = s.feed_tank < rules.refill_below * train.feed_full
    refill = np.where(low & (rules.refill_from <= day < rules.refill_until), 1, 0)
    return Actions(target, wanted, shut, dose, feeding, wash, refill, rules)


def choose_wash(train: Train, s: State, t: float, day: float, rules: Policy) -> NDArray[np.int64]:
    """Return the filter whose wash begins now, or -1: one at a time, and never out of the reserve."""
    members, filters = s.mode.shape
    best, score = np.full(members, -1), np.ones(members)
    for when, f in zip(rules.wash_at, rules.wash_filter, strict=True):
        if when <= t < when + 3600.0 and rules.out_of_service[f] == 0:
            due = s.washed_at[:, f] < when
            best, score = np.where(due, f, best), np.where(due, np.inf, score)
    if rules.wash_from <= day < rules.wash_until:
        for f in range(filters):
            if rules.out_of_service[f] == 1:
                continue
            asks = np.maximum(s.head[:, f] / rules.wash_head, s.run_time[:, f] / rules.wash_time)
            muddy = (s.over_trigger[:, f] >= at.OVER_TRIGGER) & (s.run_time[:, f] >= 3600.0)
            asks = np.where(muddy, np.maximum(asks, 2.0), asks)
            more = (asks >= score) & ((asks > score) | (best < 0))
            best, score = np.where(more, f, best), np.where(asks >= score, asks, score)
    best = np.where((s.mode != at.FILTERING).any(axis=1), -1, best)
    source = int(train.wash_source[0])
    if filters and source >= 0:
        need = (train.wash_rate * train.filter_area)[np.maximum(best, 0)] * rules.wash_duration
        best = np.where(s.tanks[:, source] - need < train.tank_reserve[source], -1, best)
        best = np.where(s.tanks[:, -1] < train.tank_reserve[-1], -1, best)
    return best


# --- one step -----------------------------------------------------------------------------------------------------


def step(compiled: Compiled, p: Parameters, state: State, water: Water, actions: Actions, dt: float) -> State:
    """Return the state `dt` later. Nothing of `state` is changed.

    Parameters
    ----------
    compiled, p : the plant and its members.
    state : as `init` or another step gave it.
    water : what comes and what is drawn in this step.
    actions : what is done, as `decide` or a person says.
    dt : length of the step; exact for stirred cells at any length, made for 60 s. [s]
    """
    s = State._make(value.copy() for value in state)
    train, rules, found = compiled.train, actions.rules, properties(p, water.temperature)
    s.wanted[:], s.shut[:], s.dose[:] = actions.wanted, actions.shut, actions.dose
    s.feed_tank[:] = np.where(actions.refill == 1, train.feed_full, s.feed_tank)
    before = s.flow.copy()
    raised = np.minimum(actions.target, before + train.design_flow[0] / rules.ramp * dt)
    flow = np.where(actions.target <= before, actions.target, raised)
    s.flow[:] = flow
    s.ledger[:, at.L_INTAKE] += flow * dt
    s.ledger[:, at.L_RUNNING] += np.where(flow > 0, dt / 60, 0.0)
    on, solids, q, w, met = ahead(compiled, p, s, water, found, actions.feeding, rules.blowdown_at, flow, dt)
    good, wash_flow, fast, slow = bank(train, p, s, actions, found, before, on, solids, q, w, dt)
    s.ledger[:, at.L_OVER_03] += np.where((good > 0) & (s.combined > 0.3), dt / 60, 0.0)
    s.ledger[:, at.L_OVER_1] += np.where((good > 0) & (s.combined > 1.0), dt / 60, 0.0)
    behind(train, p, s, found, actions.feeding, good, wash_flow, water.demand, fast, slow, met, dt)
    if len(train.tank_full):
        low = s.tanks[:, -1] < train.tank_reserve[-1]
        s.ledger[:, at.L_RESERVE] += np.where(low, dt / 60, 0.0)
    s.time[:] = s.time + dt
    return s


def ahead(
    compiled: Compiled, p: Parameters, s: State, water: Water, found: Properties, feeding: Any, blowdown_at: float,
    flow: Floats, dt: float,
) -> tuple[Floats, Floats, Floats, Floats, bool]:  # fmt: skip
    """Take the water from the intake to the filters; return flow, solids [g/m^3], quality, what it carries, and
    whether it has met chlorine."""
    train, bright_of = compiled.train, brightness(p)
    w = np.zeros((p.members, at.CARRIED))
    w[:, : at.CLASSES] = (water.turbidity * p.raw_solids)[:, None] * p.class_shares
    w[:, at.CAME_IN] = water.turbidity
    s.ledger[:, at.L_SOLIDS_IN] += w[:, : at.CLASSES].sum(axis=1) * flow * dt
    met = coagulated = False
    gt, on = np.zeros_like(flow), flow
    for e, kind in enumerate(train.kind):
        first, chlorine = int(train.first[e]), bool(train.chlorinated[e])
        if kind == at.PIPE:
            s.ledger[:, at.L_CL_DECAYED] += plug_flow(
                s, first, on, float(train.pipe_volume[first]), dt, chlorine, found, w
            )
        elif kind == at.FEED:
            if train.feed_role[first] == at.COAGULANT:
                if train.number[e] == 1:
                    coagulated = True
                    coagulate(s, train, p, water, feeding, on, dt, bright_of, w)
            else:
                given = fed(s, train, first, s.dose[:, first], bool(feeding[first]), on, dt)
                if train.feed_role[first] == at.DISINFECTANT:
                    chlorinate(s, p, given, met, on, dt, w)
                    met = True
        else:
            if kind == at.CLARIFIER:
                on = clarify(s, train, p, int(train.clarifier[e]), on, gt, blowdown_at, dt, found, w)
            low, high = (at.FINE, at.QUALITY + 1) if train.coagulated[e] else (0, at.CLASSES)
            for c in range(first, first + int(train.number[e])):
                cell, volume = s.cells[:, c], train.cell_volume[c] + 0.0 * flow
                if train.cell_basin[c] == 1:
                    volume = volume * p.dead_zone
                if kind == at.BASIN:
                    area = float(train.cell_area[c])
                    s.ledger[:, at.L_BASIN] += settling(cell, on, volume, area, dt, found, w)
                elif kind == at.FLOCCULATION:
                    g = gradient(train, c, on, found)
                    gt = gt + np.where(on > 0, g * volume / np.where(on > 0, on, 1.0), 0.0)
                    flocculating(cell, on, g, volume, dt, found, p, w)
                else:
                    stirred(cell, on, volume, low, high, dt, w)
                if not train.coagulated[e]:
                    stirred(cell, on, volume, at.CAME_IN, at.CAME_IN + 1, dt, w)
                if chlorine:
                    s.ledger[:, at.L_CL_DECAYED] += fading(cell, on, volume, dt, found, w)
    runs = on > 0
    if coagulated:
        solids, q = w[:, at.COAGULATED] + w[:, at.UNCOAGULATED], w[:, at.QUALITY].copy()
        s.settled[runs] = (solids / p.floc_solids)[runs]
    else:
        solids, q = w[:, : at.CLASSES].sum(axis=1), np.ones_like(flow)
        bright = (w[:, : at.CLASSES] * bright_of).sum(axis=1)
        for values, new in ((s.settled, bright), (s.basin_out, bright), (s.came_in, w[:, at.CAME_IN])):
            values[runs] = new[runs]
    return on, solids, q, w, met


def bank(
    train: Train, p: Parameters, s: State, actions: Actions, found: Properties, before: Floats, on: Floats,
    solids: Floats, q: Floats, w: Floats, dt: float,
) -> tuple[Floats, Floats, Floats, Floats]:  # fmt: skip
    """Take the water through the filters; return flows kept and used for washing [m^3/s], and chlorine parts."""
    rules, filters, t = actions.rules, len(train.filter_area), s.time
    ledger = s.ledger
    ledger[:, at.L_FILTERS_IN] += solids * on * dt
    fast, slow = w[:, at.FAST].copy(), w[:, at.SLOW].copy()
    zero = np.zeros_like(on)
    if not filters:
        ledger[:, at.L_FILTERED_G] += solids * on * dt
        s.combined[on > 0] = s.settled[on > 0]
        return on, zero, fast, slow
    for f in range(filters):
        starts = actions.wash == f
        held = (train.filter_box[f] + train.filter_pore[f]) * train.filter_area[f]
        box = s.box[:, f]
        ledger[:, at.L_CL_WASTED] += np.where(starts, (box[:, at.BOX_FAST] + box[:, at.BOX_SLOW]) * held, 0.0)
        box[starts, at.BOX_REMNANT] += box[starts, at.BOX_SOLIDS]
        box[starts, at.BOX_SOLIDS] = box[starts, at.BOX_FAST] = box[starts, at.BOX_SLOW] = 0.0
        box[starts, at.BOX_QUALITY] = 1.0
        s.mode[starts, f], s.mode_time[starts, f], s.washed_at[starts, f] = at.WASHING, 0.0, t[starts]
        ledger[:, at.L_WASHES] += starts
    works = (s.mode != at.WASHING) & (rules.out_of_service == 0)
    area = np.zeros_like(on)
    for f in range(filters):
        area += np.where(works[:, f], train.filter_area[f], 0.0)
    u = np.where(area > 0, on / np.where(area > 0, area, 1.0), 0.0)
    good, bad, good_n, gf, gs, wash_flow = (zero.copy() for _ in range(6))
    for f in range(filters):
        washes = s.mode[:, f] == at.WASHING
        runs = ~washes & (u > 0) & (rules.out_of_service[f] == 0)
        rests = ~washes & ~runs
        if washes.any():
            waste, drawn = washing(s, train, f, washes, dt, found), float(train.wash_rate[f] * train.filter_area[f])
            wash_flow += np.where(washes, drawn, 0.0)
            ledger[:, at.L_WASH_G] += np.where(washes, waste * drawn * dt, 0.0)
            s.lagged_rate[washes, f] = s.head[washes, f] = 0.0
            s.mode_time[washes, f] += dt
            ends = washes & (s.mode_time[:, f] >= rules.wash_duration - 1e-6)
            s.mode[ends, f] = at.TO_WASTE if rules.to_waste > 0 else at.FILTERING
            s.mode_time[ends, f] = s.run_time[ends, f] = s.over_trigger[ends, f] = 0.0
        s.lagged_rate[rests, f] *= math.exp(-dt / at.RATE_LAG)
        if not runs.any():
            continue
        again = runs & (before <= 0) & (rules.start_to_waste > 0) & (s.mode[:, f] == at.FILTERING)
        s.mode[again, f], s.mode_time[again, f] = at.TO_WASTE, max(0.0, rules.to_waste - rules.start_to_waste)
        ntu, through, cf, cs = filtering(s, train, p, f, u, runs, dt, found, solids, q, fast, slow)
        s.filtered[runs, f] = ntu[runs]
        s.run_time[runs, f] += dt
        s.mode_time[runs, f] += dt
        part = np.where(runs, u * train.filter_area[f], 0.0)
        wasted = np.where(s.mode[:, f] == at.TO_WASTE, part, 0.0)
        kept = part - wasted
        bad += wasted
        good += kept
        good_n += ntu * kept
        gf += cf * kept
        gs += cs * kept
        ledger[:, at.L_TO_WASTE_G] += through * wasted * dt
        ledger[:, at.L_CL_WASTED] += (cf + cs) * wasted * dt
        ledger[:, at.L_FILTERED_G] += through * kept * dt
        above = np.where(ntu > rules.wash_turbidity, s.over_trigger[:, f] + dt, 0.0)
        s.over_trigger[:, f] = np.where(kept > 0, above, s.over_trigger[:, f])
        done = (rules.to_waste_until <= 0) | (ntu <= rules.to_waste_until)
        long = s.mode_time[:, f] >= rules.to_waste - 1e-6
        ends = (wasted > 0) & long & (done | (s.mode_time[:, f] >= at.LONGEST_TO_WASTE))
        s.mode[ends, f], s.mode_time[ends, f] = at.FILTERING, 0.0
    ledger[:, at.L_TO_WASTE] += bad * dt
    ledger[:, at.L_WASH] += wash_flow * dt
    ledger[:, at.L_SEWER_PEAK] = np.maximum(ledger[:, at.L_SEWER_PEAK], wash_flow + bad)
    some = good > 0
    safe = np.where(some, good, 1.0)
    s.combined[some] = (good_n / safe)[some]
    return good, wash_flow, np.where(some, gf / safe, fast), np.where(some, gs / safe, slow)


def behind(
    train: Train, p: Parameters, s: State, found: Properties, feeding: Any, good: Floats, wash_flow: Floats,
    demand: Floats, fast: Floats, slow: Floats, met: bool, dt: float,
) -> None:  # fmt: skip
    """Take the filtered water through tanks, feeds and mains to the village."""
    tanks, ledger, source = len(train.tank_full), s.ledger, int(train.wash_source[0])
    zero = np.zeros_like(good)
    inflow = good
    for i in range(tanks):  # water first: every flow is known before chlorine is carried
        volume = s.tanks[:, i]
        washed = np.minimum(wash_flow, volume / dt + inflow) if i == source else zero
        there = volume / dt + inflow - washed
        if i < tanks - 1:
            room = (train.tank_full[i + 1] - s.tanks[:, i + 1]) / dt + (demand if i + 1 == tanks - 1 else 0.0)
            out = np.maximum(0.0, inflow + (volume - train.tank_keep[i]) / at.TRANSFER_LAG)
            out = np.minimum(np.minimum(out, there), np.maximum(0.0, room))
        else:
            out = np.minimum(demand, there)
            ledger[:, at.L_DELIVERED] += out * dt
            ledger[:, at.L_SHORT] += (demand - out) * dt
        s.tank_flow[:, i] = out
        inflow = out
    if source < 0:
        ledger[:, at.L_OWN_WASH] += wash_flow * dt
    if not tanks:
        ledger[:, at.L_DELIVERED] += good * dt
        ledger[:, at.L_SHORT] += np.maximum(0.0, demand - good) * dt
    flow, seen = good, False
    w = np.zeros((len(good), at.CARRIED))
    w[:, at.FAST], w[:, at.SLOW] = fast, slow
    for kind, n in zip(train.after_kind, train.after_index, strict=True):
        if kind == at.FEED:
            given = fed(s, train, int(n), s.dose[:, n], bool(feeding[n]), flow, dt)
            if train.feed_role[n] == at.DISINFECTANT:
                chlorinate(s, p, given, met, flow, dt, w)
                met = True
        elif kind == at.PIPE:
            ledger[:, at.L_CL_DECAYED] += plug_flow(s, int(n), flow, float(train.pipe_volume[n]), dt, True, found, w)
        else:
            volume = s.tanks[:, n].copy()
            washed = np.minimum(wash_flow, volume / dt + flow) if n == source else zero
            out = s.tank_flow[:, n]
            after = volume + (flow - washed - out) * dt
            spilled = np.maximum(0.0, after - train.tank_full[n])
            if n == source:
                ledger[:, at.L_OWN_WASH] += (wash_flow - washed) * dt
            ledger[:, at.L_SPILLED] += spilled
            leaving = washed + out + spilled / dt
            x, y, lost = tank_mix(s, train, int(n), flow, leaving, volume, dt, found, w[:, at.FAST], w[:, at.SLOW])
            ledger[:, at.L_CL_DECAYED] += lost
            ledger[:, at.L_CL_WASTED] += (x + y) * (washed * dt + spilled)
            w[:, at.FAST], w[:, at.SLOW] = x, y
            s.tanks[:, n] = np.maximum(0.0, after - spilled)
            if not seen:
                s.contact_chlorine[:] = x + y
                seen = True
            flow = out
    runs = flow > 0
    ledger[:, at.L_CL_DELIVERED] += np.where(runs, (w[:, at.FAST] + w[:, at.SLOW]) * flow * dt, 0.0)
    s.out_chlorine[runs] = (w[:, at.FAST] + w[:, at.SLOW])[runs]

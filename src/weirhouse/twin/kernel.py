"""How do thousands of members go through the same hours? The steps of `reference`, compiled, one member after another.

Every stage here has its twin there, and tests hold the two equal to rounding. This module imports Numba: only `run`
loads it, and only when it runs. A member's hours depend on that member alone, so that the split over threads changes
nothing.
"""

import math
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
import numpy as np

from weirhouse.twin import layout as at


def _cacheable() -> bool:
    """Whether compiled code can be kept: beside this file, or where the user keeps such things."""
    named = os.environ.get("NUMBA_CACHE_DIR")
    beside = Path(__file__).with_name("__pycache__")
    if named or os.access(beside if beside.exists() else beside.parent, os.W_OK):
        return True
    home = Path.home() / ".cache"
    return os.access(home if home.exists() else home.parent, os.W_OK)


_KEEP = _cacheable()


def _compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    made: Callable[..., Any] = numba.njit(nogil=True, cache=_KEEP, error_model="numpy")(function)
    return made


_RELATIVE = np.array([(1e6 * d) ** -at.SCATTER_EXPONENT for d in at.DIAMETERS])
_SIZES = np.array(at.DIAMETERS)
# places in the properties of the water of one interval
VISCOSITY, FALL, AGGREGATION, FAST_RATE, SLOW_RATE, FLOC_FALL, WATER_DENSITY = 0, 1, 7, 8, 9, 10, 11
PROPERTIES = 12


# --- water --------------------------------------------------------------------------------------------------------


@_compiled
def density_of(temperature):
    shifted = temperature - 3.983035
    return 999.97495 * (1 - shifted * shifted * (temperature + 301.797) / (522528.9 * (temperature + 69.34881)))


@_compiled
def viscosity_of(temperature):
    warmth = (temperature + 273.15) / 300
    return 1e-6 * (280.68 * warmth**-1.9 + 511.45 * warmth**-7.7 + 61.131 * warmth**-19.6 + 0.45903 * warmth**-40.0)


@_compiled
def properties(temperature, m, p, found):
    """Write what depends on temperature alone."""
    mu, rho = viscosity_of(temperature), density_of(temperature)
    nu = mu / rho
    found[VISCOSITY] = mu
    found[WATER_DENSITY] = rho
    heavier = at.GRAIN_DENSITY / rho - 1
    for i in range(at.CLASSES):
        d = _SIZES[i]
        fall = 9.80665 * heavier * d**2 / (18.0 * nu + math.sqrt(0.75 * 1.0 * 9.80665 * heavier * d**3))
        found[FALL + i] = fall * p.settling_scale[m]
    found[AGGREGATION] = p.aggregation[m] * (1 - 0.015 * (20 - temperature))
    arrhenius = math.exp(at.ACTIVATION * (1 / (20.0 + 273.15) - 1 / (temperature + 273.15)))
    found[FAST_RATE] = p.fast_rate[m] * arrhenius
    found[SLOW_RATE] = p.slow_rate[m] * arrhenius
    found[FLOC_FALL] = p.floc_velocity[m] * 0.0010016 / mu


@_compiled
def carbon_constants(temperature):
    kelvin = temperature + 273.15
    log = math.log10(kelvin)
    pk1 = 356.3094 + 0.06091964 * kelvin - 21834.37 / kelvin - 126.8339 * log + 1684915 / (kelvin * kelvin)
    pk2 = 107.8871 + 0.03252849 * kelvin - 5151.79 / kelvin - 38.92561 * log + 563713.9 / (kelvin * kelvin)
    pkw = 283.971 + 0.05069842 * kelvin - 13323 / kelvin - 102.24447 * log + 1119669 / (kelvin * kelvin)
    strength = at.IONIC_STRENGTH / 1000
    root = math.sqrt(strength)
    slope = 1.82e6 * ((60954 / (temperature + 389.15) - 68.937) * kelvin) ** -1.5
    one = 10 ** (-slope * (root / (1 + root) - 0.3 * strength))
    two = 10 ** (-slope * 4 * (root / (1 + root) - 0.3 * strength))
    return 10**-pk1 / one, 10**-pk2 * one / two, 10**-pkw / one, one


@_compiled
def ph_after(ph, alkalinity, used, temperature):
    """Return the pH once a coagulant has used some of the alkalinity; 4 where it has used up far more than all."""
    k1, k2, kw, one = carbon_constants(temperature)
    h = 10.0**-ph
    first, second = k1 * h, k1 * k2
    carbon = (alkalinity / 50.0435 - 1000 * (kw / h - h / one)) / ((first + 2 * second) / (h * h + first + second))
    left = (alkalinity - used) / 50.0435
    low, high = 1e-12, 1e-2
    for _ in range(8):
        h = math.sqrt(low * high)
        first = k1 * h
        if carbon * (first + 2 * second) / (h * h + first + second) + 1000 * (kw / h - h / one) - left > 0:
            low = h
        else:
            high = h
    h = math.sqrt(low * high)
    for _ in range(3):
        first = k1 * h
        total = h * h + first + second
        excess = carbon * (first + 2 * second) / total + 1000 * (kw / h - h / one) - left
        pairs = h * h * first + 4 * h * h * second + first * second
        slope = -carbon * pairs / (total * total) - 1000 * (kw / h + h / one)
        h *= math.exp(min(max(-excess / slope, -0.1), 0.1))
    return -math.log10(h)


# --- stirred cells and plug flow ----------------------------------------------------------------------------------


@_compiled
def mean_share(r):
    """Return the mean over a step of exp(-s) for s from 0 to `r`."""
    return -math.expm1(-r) / r if r > 0 else 1.0


@_compiled
def stirred(m, c, flow, volume, low, high, dt, cells, w):
    """Pass what `w` carries from `low` up to `high` through one stirred cell; `w` becomes the mean that leaves."""
    r = flow * dt / volume
    e, g = math.exp(-r), mean_share(r)
    for i in range(low, high):
        x = cells[m, c, i]
        entering = w[i]
        w[i] = entering + (x - entering) * g
        cells[m, c, i] = entering + (x - entering) * e


@_compiled
def fading(m, c, flow, volume, dt, found, cells, w):
    """Pass chlorine through one stirred cell; return what decays [g]."""
    lost = 0.0
    for i in range(2):
        k = found[FAST_RATE + i]
        a = flow / volume
        r = (a + k) * dt
        x = cells[m, c, at.FAST + i]
        steady = w[at.FAST + i] * a / (a + k) if a + k > 0 else 0.0
        mean = steady + (x - steady) * mean_share(r)
        cells[m, c, at.FAST + i] = steady + (x - steady) * math.exp(-r)
        w[at.FAST + i] = mean
        lost += k * volume * mean * dt
    return lost


@_compiled
def settling(m, c, flow, volume, area, dt, found, cells, w):
    """Pass the size classes through one stirred cell in which they settle; return what settles [g]."""
    kept = 0.0
    a = flow / volume
    for i in range(at.CLASSES):
        b = found[FALL + i] * area / volume
        r = (a + b) * dt
        x = cells[m, c, i]
        steady = w[i] * a / (a + b) if a + b > 0 else 0.0
        mean = steady + (x - steady) * mean_share(r)
        cells[m, c, i] = steady + (x - steady) * math.exp(-r)
        w[i] = mean
        kept += b * volume * mean * dt
    return kept


@_compiled
def gradient(m, c, flow, found, train):
    """Return the velocity gradient in a cell [1/s]."""
    square = 0.0
    if train.cell_head_flow[c] > 0 and flow > 0:
        ratio = flow / train.cell_head_flow[c]
        time = train.cell_volume[c] / flow
        square = 9.80665 * found[WATER_DENSITY] * train.cell_head[c] * ratio * ratio / (found[VISCOSITY] * time)
    elif train.cell_power[c] > 0:
        square = train.cell_power[c] / (found[VISCOSITY] * train.cell_volume[c])
    return math.sqrt(square)


@_compiled
def flocculating(m, c, flow, g, volume, dt, found, p, cells, w):
    """Pass coagulated matter through one compartment in which fine matter grows to floc."""
    fine, total = cells[m, c, at.FINE], cells[m, c, at.COAGULATED]
    entering = w[at.FINE]
    stirred(m, c, flow, volume, at.COAGULATED, at.QUALITY + 1, dt, cells, w)
    ka = found[AGGREGATION] * w[at.QUALITY]
    kb = found[AGGREGATION] * p.breakup_ratio[m]
    a = flow / volume
    rate = a + ka * g
    if rate > 0:
        steady = (a * entering + kb * g * g * w[at.COAGULATED]) / rate
        r = rate * dt
        mean = steady + (fine - steady) * mean_share(r)
        after = steady + (fine - steady) * math.exp(-r)
    else:
        mean = after = fine
    w[at.FINE] = min(mean, w[at.COAGULATED])
    cells[m, c, at.FINE] = min(after, cells[m, c, at.COAGULATED])


@_compiled
def plug_flow(m, q, flow, size, dt, decaying, found, pieces, first, count, w):
    """Push `w` into a pipe and take as much from its other end into `w`; return what chlorine decays [g]."""
    lost = 0.0
    if decaying:
        for i in range(2):
            e = math.exp(-found[FAST_RATE + i] * dt)
            for k in range(count[m, q]):
                n = (first[m, q] + k) % at.PIECES
                lost += pieces[m, q, n, 0] * pieces[m, q, n, 1 + at.FAST + i] * (1 - e)
                pieces[m, q, n, 1 + at.FAST + i] *= e
    volume = flow * dt
    if volume <= 0:
        return lost
    newest = (first[m, q] + count[m, q] - 1) % at.PIECES
    if count[m, q] > 0 and pieces[m, q, newest, 0] < at.LEAST_SHARE * size:
        there = pieces[m, q, newest, 0]
        for i in range(at.CARRIED):
            pieces[m, q, newest, 1 + i] = (there * pieces[m, q, newest, 1 + i] + volume * w[i]) / (there + volume)
        pieces[m, q, newest, 0] = there + volume
    else:
        newest = (first[m, q] + count[m, q]) % at.PIECES
        pieces[m, q, newest, 0] = volume
        for i in range(at.CARRIED):
            pieces[m, q, newest, 1 + i] = w[i]
        count[m, q] += 1
    left = volume
    for i in range(at.CARRIED):
        w[i] = 0.0
    while left > 0 and count[m, q] > 0:
        oldest = first[m, q]
        there = pieces[m, q, oldest, 0]
        taken = there if there <= left or count[m, q] == 1 else left
        taken = min(taken, left)
        for i in range(at.CARRIED):
            w[i] += taken / volume * pieces[m, q, oldest, 1 + i]
        left -= taken
        if taken >= there:
            first[m, q] = (oldest + 1) % at.PIECES
            count[m, q] -= 1
        else:
            pieces[m, q, oldest, 0] = there - taken
    return lost


# --- coagulant ----------------------------------------------------------------------------------------------------


@_compiled
def coagulation(best, dose, ph, best_ph, under, over):
    """Return the quality of coagulation."""
    off = math.log(max(dose, at.LEAST_DOSE) / max(best, at.LEAST_DOSE))
    by_dose = off / under if off < 0 else off / over
    by_ph = max(0.0, abs(ph - best_ph) - 0.3) / 0.9
    return max(math.exp(-by_dose * by_dose - by_ph * by_ph), at.LEAST_QUALITY)


@_compiled
def best_dose(m, p, turbidity, uv254, temperature, alkalinity):
    """Return the best dose as Al [g/m^3]."""
    grown = (turbidity + 1) ** p.dose_turbidity[m] * alkalinity ** p.dose_alkalinity[m]
    shift = p.dose_uv254[m] * (uv254 - 10.0) + p.dose_temperature[m] * (temperature - 10)
    return math.exp(p.dose_constant[m] + shift) * grown


@_compiled
def fed(m, n, dose, feeding, flow, dt, train, feed_tank, ledger):
    """Draw a feed's solution from its day tank and return the dose that it really gives [g/m^3]."""
    if feeding == 0 or dose <= 0 or flow <= 0:
        return 0.0
    need = dose * flow * dt / train.feed_content[n]
    there = max(0.0, feed_tank[m, n] - train.feed_low[n])
    share = 1.0 if need <= there else there / need
    feed_tank[m, n] -= need * share
    if share < 1:
        ledger[m, at.L_DRY_FEED] += dt / 60
    return dose * share


@_compiled
def chlorinated(m, dose, met, flow, dt, p, ledger, w):
    """Add chlorine to `w`, less what is used up at once where nothing met that before."""
    gone = 0.0 if met else min(dose, p.chlorine_demand[m])
    w[at.FAST] += p.fast_share[m] * (dose - gone)
    w[at.SLOW] += (1 - p.fast_share[m]) * (dose - gone)
    ledger[m, at.L_CL_IN] += dose * flow * dt
    ledger[m, at.L_CL_DECAYED] += gone * flow * dt


# --- clarifier ----------------------------------------------------------------------------------------------------


@_compiled
def clarify(m, k, flow, gt, blowdown_at, dt, found, train, p, s, w):
    """Settle floc at the clarifier's inlet, keep its blanket and let sludge off; return the flow that goes on."""
    if flow <= 0:
        return flow
    area, depth = train.clarifier_area[k], train.clarifier_depth[k]
    ratio = gt / at.GT_FULL_GROWN if train.has_flocculation[0] else at.GT_WITHOUT
    fall = found[FLOC_FALL] * math.sqrt(max(w[at.QUALITY], at.LEAST_QUALITY)) * min(1.0, ratio) ** 0.3
    rise = flow / area
    floats = 0.5 * math.erfc(-math.log(rise / max(fall, 1e-12)) / (p.floc_spread[m] * math.sqrt(2.0)))
    total, fine = w[at.COAGULATED], w[at.FINE]
    through = 1.0
    high = 0.0
    if depth > 0:
        high = min(s.blanket[m, k] / (area * at.BLANKET_SOLIDS), depth)
        lost = min(max((rise / max(fall, 1e-12) - at.LOST_FROM) / at.LOST_OVER, 0.0), 1.0)
        through = math.exp(-p.blanket_capture[m] * at.BLANKET_SHARE * high * (1 - lost))
    factor = through * p.passing[m]
    passing = min(total, factor * (fine + (total - fine) * floats))
    w[at.FINE] = min(passing, factor * fine)
    s.blanket[m, k] += (total - passing) * flow * dt
    s.ledger[m, at.L_CLARIFIER] += (total - passing) * flow * dt
    if depth > 0:
        over = max(0.0, s.blanket[m, k] - area * depth * at.BLANKET_SOLIDS)
        s.blanket[m, k] -= over
        s.ledger[m, at.L_CLARIFIER] -= over
        passing += over / (flow * dt)
    w[at.COAGULATED] = passing
    size = train.blowdown_volume[k]
    if size <= 0:
        return flow
    s.since_blowdown[m, k] += dt
    if s.blowdown_left[m, k] <= 0 and (
        s.since_blowdown[m, k] >= train.blowdown_every[k] or (depth > 0 and high > blowdown_at * depth)
    ):
        s.blowdown_left[m, k] = size
        s.since_blowdown[m, k] = 0.0
    if s.blowdown_left[m, k] > 0:
        down = min(min(s.blowdown_left[m, k] / dt, size / at.BLOWDOWN_LASTS), 0.5 * flow)
        dense = at.SLUDGE_SOLIDS * high / (high + at.SLUDGE_HALF)
        sludge = min(s.blanket[m, k], dense * down * dt)
        s.blanket[m, k] -= sludge
        s.blowdown_left[m, k] = max(0.0, s.blowdown_left[m, k] - down * dt)
        s.ledger[m, at.L_BLOWDOWN] += down * dt
        s.ledger[m, at.L_BLOWDOWN_G] += sludge + down * dt * (w[at.COAGULATED] + w[at.UNCOAGULATED])
        s.ledger[m, at.L_CL_WASTED] += down * dt * (w[at.FAST] + w[at.SLOW])
        flow -= down
    return flow


# --- filters ------------------------------------------------------------------------------------------------------


@_compiled
def filtering(m, f, u, dt, found, train, p, s, w, solids, quality):
    """Filter for one step: return the turbidity off the filter and what it lets through [g/m^3]."""
    height = train.filter_box[f] + train.filter_pore[f]
    r = u * dt / height
    e, g = math.exp(-r), mean_share(r)
    mean = np.empty(at.BOX)
    for i in range(at.BOX):
        entering = 0.0
        if i == at.BOX_SOLIDS:
            entering = solids
        elif i == at.BOX_QUALITY:
            entering = quality
        elif i >= at.BOX_FAST:
            entering = w[at.FAST + i - at.BOX_FAST]
        x = s.box[m, f, i]
        mean[i] = entering + (x - entering) * g
        s.box[m, f, i] = entering + (x - entering) * e
    direct = p.wash_remnant[m] * mean[at.BOX_REMNANT]
    c = mean[at.BOX_SOLIDS] + mean[at.BOX_REMNANT] - direct
    q = max(mean[at.BOX_QUALITY], at.LEAST_QUALITY)
    shaken = p.shaking[m] * max(0.0, u / max(s.lagged_rate[m, f], at.LEAST_LAGGED) - 1)
    s.lagged_rate[m, f] = u + (s.lagged_rate[m, f] - u) * math.exp(-dt / at.RATE_LAG)
    base = p.coefficient_scale[m] * q * math.sqrt(at.REFERENCE_RATE / u)
    caught = 0.0
    least = p.least_ripe[m]
    worn = p.detachment[m] * u / at.REFERENCE_RATE
    for j in range(train.layer_cells[f]):
        x = s.deposit[m, f, j]
        dz = train.depth[f, j]
        filled = x / (train.full_deposit[f, j] * p.full_scale[m])
        ripe = least + (1 - least) * (1 - math.exp(-x / p.ripening_deposit[m]))
        room = math.sqrt(max(0.0, 1 - filled))
        removed = c * (1 - math.exp(-train.coefficient[f, j] * base * ripe * room * dz))
        loosened = (worn * filled + shaken) * dt
        loose = x * loosened / (1 + loosened)
        x += u * removed * dt / dz - loose
        c += loose * dz / (u * dt) - removed
        s.deposit[m, f, j] = x
        caught += x * dz
    worse = p.deposit_resistance[m] * (1 + at.WORSE_HEAD * (1 - q))
    resistance = train.filter_resistance[f] * p.resistance_scale[m]
    s.head[m, f] = found[VISCOSITY] / 0.0010016 * u * (resistance + worse * 0.001 * caught) + (
        train.filter_turbulent[f] * u * u
    )
    w[at.FAST], w[at.SLOW] = mean[at.BOX_FAST], mean[at.BOX_SLOW]
    through = c + direct
    return through / p.floc_solids[m] + p.filtered_floor[m], through


@_compiled
def fluidising(grain, density, found):
    """Return the rate at which grains begin to lift [m/s]."""
    mu, rho = found[VISCOSITY], found[WATER_DENSITY]
    galileo = grain**3 * rho * (density - rho) * 9.80665 / (mu * mu)
    return mu / (rho * grain) * (math.sqrt(33.7**2 + 0.0408 * galileo) - 33.7)


@_compiled
def washing(m, f, dt, found, train, s):
    """Wash for one step: return the solids in the waste water [g/m^3]."""
    u = train.wash_rate[f]
    released = 0.0
    for j in range(train.layer_cells[f]):
        lifted = u / fluidising(train.grain_90[f, j], train.grain_density[f, j], found)
        scour = at.SCOUR * min(max((lifted - 1) / at.SCOUR_SPAN, 0.0), 1.0)
        x = s.deposit[m, f, j]
        after = x * math.exp(-scour * dt)
        released += (x - after) * train.depth[f, j]
        s.deposit[m, f, j] = after
    r = u * dt / (train.filter_box[f] + train.filter_pore[f])
    steady = released / (u * dt)
    x = s.box[m, f, at.BOX_REMNANT]
    s.box[m, f, at.BOX_REMNANT] = steady + (x - steady) * math.exp(-r)
    return steady + (x - steady) * mean_share(r)


# --- tanks --------------------------------------------------------------------------------------------------------


@_compiled
def tank_mix(m, i, inflow, outflow, volume, dt, found, train, s, fast, slow):
    """Pass chlorine through a tank whose level may move; return both parts that leave and what decays [g]."""
    n = train.tank_cells[i]
    lost = 0.0
    share = volume / n
    ef, es = math.exp(-found[FAST_RATE] * dt), math.exp(-found[SLOW_RATE] * dt)
    for c in range(n):
        at_c = train.tank_first[i] + c
        entering = inflow + (outflow - inflow) * c / n
        x, y = s.tank_chlorine[m, at_c, 0], s.tank_chlorine[m, at_c, 1]
        lost += share * (x * (1 - ef) + y * (1 - es))
        x, y = x * ef, y * es
        together = share + entering * dt
        if together > 0:
            x = (share * x + entering * dt * fast) / together
            y = (share * y + entering * dt * slow) / together
        s.tank_chlorine[m, at_c, 0], s.tank_chlorine[m, at_c, 1] = x, y
        fast, slow = x, y
    return fast, slow, lost


# --- what is done -------------------------------------------------------------------------------------------------


@_compiled
def decide(m, t, raw, dt, start_of_day, train, rules, s, dose, feeding, refill):
    """Return flow wanted, hysteresis states and the filter whose wash begins; write doses, failures and refills."""
    day = (start_of_day + t) % 86400.0
    tanks, filters = train.tank_full.size, train.filter_area.size
    block = -1
    for b in range(rules.block_start.size):
        if rules.block_start[b] <= t:
            block = b
    wanted = s.wanted[m]
    if tanks > 0:
        share = s.tanks[m, tanks - 1] / train.tank_full[tanks - 1]
        if share < rules.start_below:
            wanted = 1
        elif share >= rules.stop_above:
            wanted = 0
    else:
        wanted = 1
    shut = s.shut[m]
    if raw > rules.shut_above:
        shut = 1
    elif raw < rules.reopen_below:
        shut = 0
    target = rules.flow * (rules.throttle_to if raw > rules.throttle_above else 1.0)
    if wanted == 0:
        target = 0.0
    if block >= 0 and not math.isnan(rules.block_flow[block]):
        target = rules.block_flow[block]
    if shut == 1:
        target = 0.0
    for i in range(tanks - 1):
        if s.tanks[m, i] > 0.985 * train.tank_full[i]:
            target = 0.0
    wash = choose_wash(m, t, day, dt, train, rules, s)
    if filters > 0:
        area = 0.0
        for f in range(filters):
            if s.mode[m, f] != at.WASHING and f != wash and rules.out_of_service[f] == 0:
                area += train.filter_area[f]
        target = min(target, rules.max_rate * area) if area > 0 else 0.0
    setting = t % rules.dose_every < dt * 0.999999
    factor = rules.dose_factor * (rules.block_dose[block] if block >= 0 else 1.0)
    main = True
    for n in range(train.feed_role.size):
        dose[n] = s.dose[m, n]
        if train.feed_role[n] == at.COAGULANT and main and rules.table_dose.size > 0:
            main = False
            if setting:
                seen = raw if rules.dose_by_raw == 1 else s.came_in[m]
                dose[n] = factor * along(seen, rules.table_turbidity, rules.table_dose)
        else:
            dose[n] = rules.other_doses[n]
        feeding[n] = 0 if rules.feed_stops[n, 0] <= t < rules.feed_stops[n, 1] else 1
        low = s.feed_tank[m, n] < rules.refill_below * train.feed_full[n]
        refill[n] = 1 if low and rules.refill_from <= day < rules.refill_until else 0
    return target, wanted, shut, wash


@_compiled
def along(x, xs, ys):
    """Return the value at `x` on the line through points with rising `xs`; the ends go on level."""
    last = xs.size - 1
    if x >= xs[last]:
        return ys[last]
    if x <= xs[0]:
        return ys[0]
    i = 0
    while x >= xs[i + 1]:
        i += 1
    return ys[i] + (ys[i + 1] - ys[i]) / (xs[i + 1] - xs[i]) * (x - xs[i])


@_compiled
def choose_wash(m, t, day, dt, train, rules, s):
    """Return the filter whose wash begins now, or -1: one at a time, and never out of the reserve."""
    filters = train.filter_area.size
    for f in range(filters):
        if s.mode[m, f] != at.FILTERING:
            return -1
    best, score = -1, 1.0
    for w in range(rules.wash_at.size):
        f = rules.wash_filter[w]
        due = rules.wash_at[w] <= t < rules.wash_at[w] + 3600.0
        if due and s.washed_at[m, f] < rules.wash_at[w] and rules.out_of_service[f] == 0:
            best, score = f, math.inf
    if rules.wash_from <= day < rules.wash_until:
        for f in range(filters):
            if rules.out_of_service[f] == 1:
                continue
            asks = max(s.head[m, f] / rules.wash_head, s.run_time[m, f] / rules.wash_time)
            if s.over_trigger[m, f] >= at.OVER_TRIGGER and s.run_time[m, f] >= 3600.0:
                asks = max(asks, 2.0)
            if asks >= score:
                if asks > score or best < 0:
                    best = f
                score = asks
    source = train.wash_source[0]
    if best >= 0 and source >= 0:
        need = train.wash_rate[best] * train.filter_area[best] * rules.wash_duration
        if s.tanks[m, source] - need < train.tank_reserve[source]:
            return -1
        last = train.tank_full.size - 1
        if s.tanks[m, last] < train.tank_reserve[last]:
            return -1
    return best


# --- one step -----------------------------------------------------------------------------------------------------


@_compiled
def step_member(m, t, dt, raw, temperature, alkalinity, ph, uv254, demand, found, start_of_day, train, p, rules, s,
                w, dose, feeding, refill, brightness):  # fmt: skip
    """Take one member one step further."""
    feeds, filters, tanks = train.feed_role.size, train.filter_area.size, train.tank_full.size
    ledger = s.ledger
    target, wanted, shut, wash = decide(m, t, raw, dt, start_of_day, train, rules, s, dose, feeding, refill)
    s.wanted[m], s.shut[m] = wanted, shut
    for n in range(feeds):
        s.dose[m, n] = dose[n]
        if refill[n] == 1:
            s.feed_tank[m, n] = train.feed_full[n]
    before = s.flow[m]
    flow = target if target <= before else min(target, before + train.design_flow[0] / rules.ramp * dt)
    s.flow[m] = flow
    ledger[m, at.L_INTAKE] += flow * dt
    if flow > 0:
        ledger[m, at.L_RUNNING] += dt / 60
    for i in range(at.CLASSES):
        w[i] = raw * p.raw_solids[m] * p.class_shares[m, i]
        ledger[m, at.L_SOLIDS_IN] += w[i] * flow * dt
    w[at.FAST] = w[at.SLOW] = 0.0
    w[at.CAME_IN] = raw
    met = False
    coagulated = False
    gt = 0.0
    on = flow
    for e in range(train.kind.size):
        kind, first, chlorine = train.kind[e], train.first[e], train.chlorinated[e] == 1
        if kind == at.PIPE:
            ledger[m, at.L_CL_DECAYED] += plug_flow(
                m, first, on, train.pipe_volume[first], dt, chlorine, found, s.pieces, s.piece_first, s.piece_count, w
            )
        elif kind == at.FEED:
            if on <= 0:
                continue
            if train.feed_role[first] == at.COAGULANT:
                if train.count[e] == 1:
                    coagulated = True
                    coagulate(m, on, dt, temperature, alkalinity, ph, uv254, feeding, train, p, s, w, brightness)
            else:
                given = fed(m, first, s.dose[m, first], feeding[first], on, dt, train, s.feed_tank, ledger)
                if train.feed_role[first] == at.DISINFECTANT:
                    chlorinated(m, given, met, on, dt, p, ledger, w)
                    met = True
        else:
            low, high = 0, at.CLASSES
            if train.coagulated[e] == 1:
                low, high = at.FINE, at.QUALITY + 1
            if kind == at.CLARIFIER:
                on = clarify(m, train.clarifier[e], on, gt, rules.blowdown_at, dt, found, train, p, s, w)
            for c in range(first, first + train.count[e]):
                volume = train.cell_volume[c]
                if train.cell_basin[c] == 1:
                    volume *= p.dead_zone[m]
                if kind == at.BASIN:
                    ledger[m, at.L_BASIN] += settling(m, c, on, volume, train.cell_area[c], dt, found, s.cells, w)
                elif kind == at.FLOCCULATION:
                    g = gradient(m, c, on, found, train)
                    if on > 0:
                        gt += g * volume / on
                    flocculating(m, c, on, g, volume, dt, found, p, s.cells, w)
                else:
                    stirred(m, c, on, volume, low, high, dt, s.cells, w)
                if train.coagulated[e] == 0:
                    stirred(m, c, on, volume, at.CAME_IN, at.CAME_IN + 1, dt, s.cells, w)
                if chlorine:
                    ledger[m, at.L_CL_DECAYED] += fading(m, c, on, volume, dt, found, s.cells, w)
    if on > 0 and not coagulated:
        s.came_in[m] = w[at.CAME_IN]
    # onto the filters
    solids, quality = 0.0, 1.0
    if coagulated:
        solids, quality = w[at.COAGULATED] + w[at.UNCOAGULATED], w[at.QUALITY]
        if on > 0:
            s.settled[m] = solids / p.floc_solids[m]
    else:
        bright = 0.0
        for i in range(at.CLASSES):
            solids += w[i]
            bright += w[i] * brightness[i]
        if on > 0:
            s.settled[m] = bright
            s.basin_out[m] = bright
    good, bad, good_n, wash_flow = 0.0, 0.0, 0.0, 0.0
    fast, slow = w[at.FAST], w[at.SLOW]
    ledger[m, at.L_FILTERS_IN] += solids * on * dt
    if filters > 0:
        gf, gs = 0.0, 0.0
        if wash >= 0:
            ledger[m, at.L_CL_WASTED] += (s.box[m, wash, at.BOX_FAST] + s.box[m, wash, at.BOX_SLOW]) * (
                (train.filter_box[wash] + train.filter_pore[wash]) * train.filter_area[wash]
            )
            s.box[m, wash, at.BOX_REMNANT] += s.box[m, wash, at.BOX_SOLIDS]
            s.box[m, wash, at.BOX_SOLIDS] = 0.0
            s.box[m, wash, at.BOX_QUALITY] = 1.0
            s.box[m, wash, at.BOX_FAST] = s.box[m, wash, at.BOX_SLOW] = 0.0
            s.mode[m, wash] = at.WASHING
            s.mode_time[m, wash] = 0.0
            s.washed_at[m, wash] = t
            ledger[m, at.L_WASHES] += 1
        area = 0.0
        for f in range(filters):
            if s.mode[m, f] != at.WASHING and rules.out_of_service[f] == 0:
                area += train.filter_area[f]
        u = on / area if area > 0 else 0.0
        for f in range(filters):
            if s.mode[m, f] == at.WASHING:
                waste = washing(m, f, dt, found, train, s)
                drawn = train.wash_rate[f] * train.filter_area[f]
                wash_flow += drawn
                ledger[m, at.L_WASH_G] += waste * drawn * dt
                s.lagged_rate[m, f] = 0.0
                s.head[m, f] = 0.0
                s.mode_time[m, f] += dt
                if s.mode_time[m, f] >= rules.wash_duration - 1e-6:
                    s.mode[m, f] = at.TO_WASTE if rules.to_waste > 0 else at.FILTERING
                    s.mode_time[m, f] = s.run_time[m, f] = s.over_trigger[m, f] = 0.0
            elif u <= 0 or rules.out_of_service[f] == 1:
                s.lagged_rate[m, f] *= math.exp(-dt / at.RATE_LAG)
            else:
                if before <= 0 and rules.start_to_waste > 0 and s.mode[m, f] == at.FILTERING:
                    s.mode[m, f] = at.TO_WASTE
                    s.mode_time[m, f] = max(0.0, rules.to_waste - rules.start_to_waste)
                w[at.FAST], w[at.SLOW] = fast, slow
                ntu, through = filtering(m, f, u, dt, found, train, p, s, w, solids, quality)
                s.filtered[m, f] = ntu
                s.run_time[m, f] += dt
                s.mode_time[m, f] += dt
                part = u * train.filter_area[f]
                if s.mode[m, f] == at.TO_WASTE:
                    bad += part
                    ledger[m, at.L_TO_WASTE_G] += through * part * dt
                    ledger[m, at.L_CL_WASTED] += (w[at.FAST] + w[at.SLOW]) * part * dt
                    done = rules.to_waste_until <= 0 or ntu <= rules.to_waste_until
                    if s.mode_time[m, f] >= rules.to_waste - 1e-6 and (
                        done or s.mode_time[m, f] >= at.LONGEST_TO_WASTE
                    ):
                        s.mode[m, f] = at.FILTERING
                        s.mode_time[m, f] = 0.0
                else:
                    good += part
                    good_n += ntu * part
                    gf += w[at.FAST] * part
                    gs += w[at.SLOW] * part
                    ledger[m, at.L_FILTERED_G] += through * part * dt
                    s.over_trigger[m, f] = s.over_trigger[m, f] + dt if ntu > rules.wash_turbidity else 0.0
        ledger[m, at.L_TO_WASTE] += bad * dt
        ledger[m, at.L_WASH] += wash_flow * dt
        ledger[m, at.L_SEWER_PEAK] = max(ledger[m, at.L_SEWER_PEAK], wash_flow + bad)
        if good > 0:
            s.combined[m] = good_n / good
            fast, slow = gf / good, gs / good
    else:
        good = on
        ledger[m, at.L_FILTERED_G] += solids * on * dt
        if on > 0:
            s.combined[m] = s.settled[m]
    if good > 0:
        if s.combined[m] > 0.3:
            ledger[m, at.L_OVER_03] += dt / 60
        if s.combined[m] > 1.0:
            ledger[m, at.L_OVER_1] += dt / 60
    behind(m, dt, good, wash_flow, demand, fast, slow, met, feeding, found, train, p, s, w)
    if tanks > 0 and s.tanks[m, tanks - 1] < train.tank_reserve[tanks - 1]:
        ledger[m, at.L_RESERVE] += dt / 60
    s.time[m] = t + dt


@_compiled
def coagulate(m, flow, dt, temperature, alkalinity, ph, uv254, feeding, train, p, s, w, brightness):
    """Feed the coagulant: what `w` carries turns from sizes to fine, coagulated and not coagulated matter."""
    aluminium, used = 0.0, 0.0
    for n in range(train.feed_role.size):
        if train.feed_role[n] == at.COAGULANT:
            given = fed(m, n, s.dose[m, n], feeding[n], flow, dt, train, s.feed_tank, s.ledger)
            aluminium += given * train.feed_aluminium[n]
            used += 5.5643 * (1 - train.feed_basicity[n]) * (given * train.feed_aluminium[n])
    last = s.chemistry
    if (
        last[m, 0] != alkalinity or last[m, 1] != temperature or last[m, 2] != ph or last[m, 3] != used
    ):  # the pH costs as much as all the rest
        last[m, 0], last[m, 1], last[m, 2], last[m, 3] = alkalinity, temperature, ph, used
        last[m, 4] = ph_after(ph, alkalinity, used, temperature)
    solids, bright = 0.0, 0.0
    for i in range(at.CLASSES):
        solids += w[i]
        bright += w[i] * brightness[i]
    s.basin_out[m], s.came_in[m] = bright, w[at.CAME_IN]
    best = best_dose(m, p, bright, uv254, temperature, alkalinity)
    least_ph = train.least_aluminium_ph[0] + 0.02 * (20 - temperature)
    q = coagulation(best, aluminium, last[m, 4], least_ph, p.underdose_width[m], p.overdose_width[m])
    s.quality[m] = q
    made = at.HYDROXIDE_PER_AL * aluminium
    s.ledger[m, at.L_HYDROXIDE] += made * flow * dt
    missed = min(1.0, p.uncoagulated_least[m] + (1 - q) * p.uncoagulated_more[m])
    w[at.UNCOAGULATED] = missed * (solids + made)
    w[at.COAGULATED] = solids + made - w[at.UNCOAGULATED]
    w[at.FINE] = w[at.COAGULATED]
    w[at.QUALITY] = q
    w[4] = w[5] = 0.0


@_compiled
def behind(m, dt, good, wash_flow, demand, fast, slow, met, feeding, found, train, p, s, w):
    """Take the filtered water through tanks, feeds and mains to the village."""
    tanks, ledger = train.tank_full.size, s.ledger
    source = train.wash_source[0]
    inflow = good
    for i in range(tanks):  # water first: every flow is known before chlorine is carried
        volume, full = s.tanks[m, i], train.tank_full[i]
        washed = min(wash_flow, volume / dt + inflow) if i == source else 0.0
        there = volume / dt + inflow - washed
        if i < tanks - 1:
            room = (train.tank_full[i + 1] - s.tanks[m, i + 1]) / dt + (demand if i + 1 == tanks - 1 else 0.0)
            out = max(0.0, inflow + (volume - train.tank_keep[i]) / at.TRANSFER_LAG)
            out = min(min(out, there), max(0.0, room))
        else:
            out = min(demand, there)
            ledger[m, at.L_DELIVERED] += out * dt
            ledger[m, at.L_SHORT] += (demand - out) * dt
        s.tank_flow[m, i] = out
        inflow = out
    if source < 0:
        ledger[m, at.L_OWN_WASH] += wash_flow * dt
    if tanks == 0:
        ledger[m, at.L_DELIVERED] += good * dt
        ledger[m, at.L_SHORT] += max(0.0, demand - good) * dt
    flow = good
    w[at.FAST], w[at.SLOW] = fast, slow
    seen = False
    for a in range(train.after_kind.size):
        kind, n = train.after_kind[a], train.after_index[a]
        if kind == at.FEED:
            if flow > 0:
                given = fed(m, n, s.dose[m, n], feeding[n], flow, dt, train, s.feed_tank, ledger)
                if train.feed_role[n] == at.DISINFECTANT:
                    chlorinated(m, given, met, flow, dt, p, ledger, w)
                    met = True
        elif kind == at.PIPE:
            ledger[m, at.L_CL_DECAYED] += plug_flow(
                m, n, flow, train.pipe_volume[n], dt, True, found, s.pieces, s.piece_first, s.piece_count, w
            )
        else:
            volume = s.tanks[m, n]
            washed = min(wash_flow, volume / dt + flow) if n == source else 0.0
            out = s.tank_flow[m, n]
            after = volume + (flow - washed - out) * dt
            spilled = max(0.0, after - train.tank_full[n])
            after = max(0.0, after - spilled)
            if n == source and washed < wash_flow:
                ledger[m, at.L_OWN_WASH] += (wash_flow - washed) * dt
            ledger[m, at.L_SPILLED] += spilled
            leaving = washed + out + spilled / dt
            x, y, lost = tank_mix(m, n, flow, leaving, volume, dt, found, train, s, w[at.FAST], w[at.SLOW])
            ledger[m, at.L_CL_DECAYED] += lost
            ledger[m, at.L_CL_WASTED] += (x + y) * (washed * dt + spilled)
            w[at.FAST], w[at.SLOW] = x, y
            s.tanks[m, n] = after
            if not seen:
                s.contact_chlorine[m] = x + y
                seen = True
            flow = out
    if flow > 0:
        ledger[m, at.L_CL_DELIVERED] += (w[at.FAST] + w[at.SLOW]) * flow * dt
        s.out_chlorine[m] = w[at.FAST] + w[at.SLOW]


@_compiled
def advance(low, high, begin, steps, dt, every, forcing, train, p, rules, s, out):
    """Take members `low` up to `high` through `steps` steps; write the outputs after every `every` steps."""
    w, found, brightness = np.zeros(at.CARRIED), np.zeros(PROPERTIES), np.zeros(at.CLASSES)
    feeds, filters, tanks = train.feed_role.size, train.filter_area.size, train.tank_full.size
    dose, feeding, refill = np.zeros(feeds), np.zeros(feeds, np.int64), np.zeros(feeds, np.int64)
    for m in range(low, high):
        bright = 0.0
        for i in range(at.CLASSES):
            bright += p.class_shares[m, i] * _RELATIVE[i]
        for i in range(at.CLASSES):
            brightness[i] = _RELATIVE[i] / (bright * p.raw_solids[m])
        ra = m if forcing.turbidity.shape[0] > 1 else 0
        rt = m if forcing.temperature.shape[0] > 1 else 0
        rk = m if forcing.alkalinity.shape[0] > 1 else 0
        rp = m if forcing.ph.shape[0] > 1 else 0
        ru = m if forcing.uv254.shape[0] > 1 else 0
        rd = m if forcing.demand.shape[0] > 1 else 0
        warmth = math.nan
        highest = 0.0
        for k in range(begin, begin + steps):
            t = k * dt
            i = int((t + 1e-6) / forcing.interval)
            raw = forcing.turbidity[ra, min(i, forcing.turbidity.shape[1] - 1)]
            temperature = forcing.temperature[rt, min(i, forcing.temperature.shape[1] - 1)]
            if temperature != warmth:
                properties(temperature, m, p, found)
                warmth = temperature
            step_member(
                m, t, dt, raw, temperature, forcing.alkalinity[rk, min(i, forcing.alkalinity.shape[1] - 1)],
                forcing.ph[rp, min(i, forcing.ph.shape[1] - 1)], forcing.uv254[ru, min(i, forcing.uv254.shape[1] - 1)],
                forcing.demand[rd, min(i, forcing.demand.shape[1] - 1)], found, forcing.start_of_day, train, p, rules,
                s, w, dose, feeding, refill, brightness,
            )  # fmt: skip
            if s.flow[m] > 0:
                highest = max(highest, s.combined[m])
            if (k + 1) % every == 0:
                o = (k + 1) // every - 1
                out[m, o, 0], out[m, o, 1], out[m, o, 2] = raw, s.basin_out[m], s.settled[m]
                out[m, o, 3], out[m, o, 4], out[m, o, 5] = s.combined[m], highest, s.flow[m]
                out[m, o, 6], out[m, o, 7], out[m, o, 8] = s.quality[m], s.chemistry[m, 4], s.contact_chlorine[m]
                out[m, o, 9] = s.out_chlorine[m]
                highest = 0.0
                place = 10
                for f in range(filters):
                    out[m, o, place + f] = s.filtered[m, f]
                    out[m, o, place + filters + f] = s.head[m, f]
                    out[m, o, place + 2 * filters + f] = s.mode[m, f]
                place += 3 * filters
                for i_tank in range(tanks):
                    out[m, o, place + i_tank] = s.tanks[m, i_tank]
                place += tanks
                for n in range(feeds):
                    out[m, o, place + n] = s.dose[m, n]

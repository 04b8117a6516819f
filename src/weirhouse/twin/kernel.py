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
from weirhouse.twin import places as pl


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
def properties(temperature, p, found):
    """Write what depends on temperature alone."""
    mu, rho = viscosity_of(temperature), density_of(temperature)
    nu = mu / rho
    found[VISCOSITY] = mu
    found[WATER_DENSITY] = rho
    heavier = at.GRAIN_DENSITY / rho - 1
    for i in range(at.CLASSES):
        d = _SIZES[i]
        fall = 9.80665 * heavier * d**2 / (18.0 * nu + math.sqrt(0.75 * 1.0 * 9.80665 * heavier * d**3))
        found[FALL + i] = fall * p[pl.P_SETTLING_SCALE]
    found[AGGREGATION] = p[pl.P_AGGREGATION] * (1 - 0.015 * (20 - temperature))
    arrhenius = math.exp(at.ACTIVATION * (1 / (20.0 + 273.15) - 1 / (temperature + 273.15)))
    found[FAST_RATE] = p[pl.P_FAST_RATE] * arrhenius
    found[SLOW_RATE] = p[pl.P_SLOW_RATE] * arrhenius
    found[FLOC_FALL] = p[pl.P_FLOC_VELOCITY] * 0.0010016 / mu


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
def stirred(c, flow, volume, low, high, dt, s, o, w):
    """Pass what `w` carries from `low` up to `high` through one stirred cell; `w` becomes the mean that leaves."""
    r = flow * dt / volume
    e, g = math.exp(-r), mean_share(r)
    for i in range(low, high):
        x = s[o[pl.S_CELLS] + c * at.CARRIED + i]
        entering = w[i]
        w[i] = entering + (x - entering) * g
        s[o[pl.S_CELLS] + c * at.CARRIED + i] = entering + (x - entering) * e


@_compiled
def fading(c, flow, volume, dt, found, s, o, w):
    """Pass chlorine through one stirred cell; return what decays [g]."""
    lost = 0.0
    for i in range(2):
        k = found[FAST_RATE + i]
        a = flow / volume
        r = (a + k) * dt
        x = s[o[pl.S_CELLS] + c * at.CARRIED + at.FAST + i]
        steady = w[at.FAST + i] * a / (a + k) if a + k > 0 else 0.0
        mean = steady + (x - steady) * mean_share(r)
        s[o[pl.S_CELLS] + c * at.CARRIED + at.FAST + i] = steady + (x - steady) * math.exp(-r)
        w[at.FAST + i] = mean
        lost += k * volume * mean * dt
    return lost


@_compiled
def settling(c, flow, volume, area, dt, found, s, o, w):
    """Pass the size classes through one stirred cell in which they settle; return what settles [g]."""
    kept = 0.0
    a = flow / volume
    for i in range(at.CLASSES):
        b = found[FALL + i] * area / volume
        r = (a + b) * dt
        x = s[o[pl.S_CELLS] + c * at.CARRIED + i]
        steady = w[i] * a / (a + b) if a + b > 0 else 0.0
        mean = steady + (x - steady) * mean_share(r)
        s[o[pl.S_CELLS] + c * at.CARRIED + i] = steady + (x - steady) * math.exp(-r)
        w[i] = mean
        kept += b * volume * mean * dt
    return kept


@_compiled
def gradient(c, flow, found, t, o):
    """Return the velocity gradient in a cell [1/s]."""
    square = 0.0
    if t[o[pl.T_CELL_HEAD_FLOW] + c] > 0 and flow > 0:
        ratio = flow / t[o[pl.T_CELL_HEAD_FLOW] + c]
        time = t[o[pl.T_CELL_VOLUME] + c] / flow
        square = 9.80665 * found[WATER_DENSITY] * t[o[pl.T_CELL_HEAD] + c] * ratio * ratio / (found[VISCOSITY] * time)
    elif t[o[pl.T_CELL_POWER] + c] > 0:
        square = t[o[pl.T_CELL_POWER] + c] / (found[VISCOSITY] * t[o[pl.T_CELL_VOLUME] + c])
    return math.sqrt(square)


@_compiled
def flocculating(c, flow, g, volume, dt, found, p, s, o, w):
    """Pass coagulated matter through one compartment in which fine matter grows to floc."""
    fine = s[o[pl.S_CELLS] + c * at.CARRIED + at.FINE]
    entering = w[at.FINE]
    stirred(c, flow, volume, at.COAGULATED, at.QUALITY + 1, dt, s, o, w)
    ka = found[AGGREGATION] * w[at.QUALITY]
    kb = found[AGGREGATION] * p[pl.P_BREAKUP_RATIO]
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
    s[o[pl.S_CELLS] + c * at.CARRIED + at.FINE] = min(after, s[o[pl.S_CELLS] + c * at.CARRIED + at.COAGULATED])


@_compiled
def plug_flow(q, flow, size, dt, decaying, found, s, o, w):
    """Push `w` into a pipe and take as much from its other end into `w`; return what chlorine decays [g]."""
    lost = 0.0
    ring = o[pl.S_PIECES] + q * at.PIECES * (1 + at.CARRIED)
    wide = 1 + at.CARRIED
    first, count = int(s[o[pl.S_PIECE_FIRST] + q]), int(s[o[pl.S_PIECE_COUNT] + q])
    if decaying:
        for i in range(2):
            e = math.exp(-found[FAST_RATE + i] * dt)
            for k in range(count):
                n = ring + (first + k) % at.PIECES * wide
                lost += s[n] * s[n + 1 + at.FAST + i] * (1 - e)
                s[n + 1 + at.FAST + i] *= e
    volume = flow * dt
    if volume <= 0:
        return lost
    n = ring + (first + count - 1) % at.PIECES * wide
    if count > 0 and s[n] < at.LEAST_SHARE * size:
        there = s[n]
        for i in range(at.CARRIED):
            s[n + 1 + i] = (there * s[n + 1 + i] + volume * w[i]) / (there + volume)
        s[n] = there + volume
    else:
        n = ring + (first + count) % at.PIECES * wide
        s[n] = volume
        for i in range(at.CARRIED):
            s[n + 1 + i] = w[i]
        count += 1
    left = volume
    for i in range(at.CARRIED):
        w[i] = 0.0
    while left > 0 and count > 0:
        n = ring + first * wide
        there = s[n]
        taken = min(there, left)
        for i in range(at.CARRIED):
            w[i] += taken / volume * s[n + 1 + i]
        left -= taken
        if taken >= there:
            first = (first + 1) % at.PIECES
            count -= 1
        else:
            s[n] = there - taken
    s[o[pl.S_PIECE_FIRST] + q], s[o[pl.S_PIECE_COUNT] + q] = first, count
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
def best_dose(p, turbidity, uv254, temperature, alkalinity):
    """Return the best dose as Al [g/m^3]."""
    grown = (turbidity + 1) ** p[pl.P_DOSE_TURBIDITY] * alkalinity ** p[pl.P_DOSE_ALKALINITY]
    shift = p[pl.P_DOSE_UV254] * (uv254 - 10.0) + p[pl.P_DOSE_TEMPERATURE] * (temperature - 10)
    return math.exp(p[pl.P_DOSE_CONSTANT] + shift) * grown


@_compiled
def fed(n, dose, feeding, flow, dt, t, s, o):
    """Draw a feed's solution from its day tank and return the dose that it really gives [g/m^3]."""
    if feeding == 0 or dose <= 0 or flow <= 0:
        return 0.0
    need = dose * flow * dt / t[o[pl.T_FEED_CONTENT] + n]
    there = max(0.0, s[o[pl.S_FEED_TANK] + n] - t[o[pl.T_FEED_LOW] + n])
    share = 1.0 if need <= there else there / need
    s[o[pl.S_FEED_TANK] + n] -= need * share
    s[o[pl.S_LEDGER] + at.L_PRODUCT + n] += need * share
    if share < 1:
        s[o[pl.S_LEDGER] + at.L_DRY_FEED] += dt / 60
    return dose * share


@_compiled
def chlorinated(dose, met, flow, dt, p, s, o, w):
    """Add chlorine to `w`, less what is used up at once where nothing met that before."""
    gone = 0.0 if met else min(dose, p[pl.P_CHLORINE_DEMAND])
    w[at.FAST] += p[pl.P_FAST_SHARE] * (dose - gone)
    w[at.SLOW] += (1 - p[pl.P_FAST_SHARE]) * (dose - gone)
    s[o[pl.S_LEDGER] + at.L_CL_IN] += dose * flow * dt
    s[o[pl.S_LEDGER] + at.L_CL_DECAYED] += gone * flow * dt


# --- clarifier ----------------------------------------------------------------------------------------------------


@_compiled
def clarify(k, flow, gt, blowdown_at, dt, found, t, p, s, o, w):
    """Settle floc at the clarifier's inlet, keep its blanket and let sludge off; return the flow that goes on."""
    if flow <= 0:
        return flow
    area, depth = t[o[pl.T_CLARIFIER_AREA] + k], t[o[pl.T_CLARIFIER_DEPTH] + k]
    ratio = gt / at.GT_FULL_GROWN if t[o[pl.T_HAS_FLOCCULATION]] else at.GT_WITHOUT
    fall = found[FLOC_FALL] * math.sqrt(max(w[at.QUALITY], at.LEAST_QUALITY)) * min(1.0, ratio) ** 0.3
    rise = flow / area
    floats = 0.5 * math.erfc(-math.log(rise / max(fall, 1e-12)) / (p[pl.P_FLOC_SPREAD] * math.sqrt(2.0)))
    total, fine = w[at.COAGULATED], w[at.FINE]
    through = 1.0
    high = 0.0
    if depth > 0:
        high = min(s[o[pl.S_BLANKET] + k] / (area * at.BLANKET_SOLIDS), depth)
        lost = min(max((rise / max(fall, 1e-12) - at.LOST_FROM) / at.LOST_OVER, 0.0), 1.0)
        through = math.exp(-p[pl.P_BLANKET_CAPTURE] * at.BLANKET_SHARE * high * (1 - lost))
    factor = through * p[pl.P_PASSING]
    passing = min(total, factor * (fine + (total - fine) * floats))
    w[at.FINE] = min(passing, factor * fine)
    s[o[pl.S_BLANKET] + k] += (total - passing) * flow * dt
    s[o[pl.S_LEDGER] + at.L_CLARIFIER] += (total - passing) * flow * dt
    if depth > 0:
        over = max(0.0, s[o[pl.S_BLANKET] + k] - area * depth * at.BLANKET_SOLIDS)
        s[o[pl.S_BLANKET] + k] -= over
        s[o[pl.S_LEDGER] + at.L_CLARIFIER] -= over
        passing += over / (flow * dt)
    w[at.COAGULATED] = passing
    size = t[o[pl.T_BLOWDOWN_VOLUME] + k]
    if size <= 0:
        return flow
    s[o[pl.S_SINCE_BLOWDOWN] + k] += dt
    if s[o[pl.S_BLOWDOWN_LEFT] + k] <= 0 and (
        s[o[pl.S_SINCE_BLOWDOWN] + k] >= t[o[pl.T_BLOWDOWN_EVERY] + k] or (depth > 0 and high > blowdown_at * depth)
    ):
        s[o[pl.S_BLOWDOWN_LEFT] + k] = size
        s[o[pl.S_SINCE_BLOWDOWN] + k] = 0.0
    if s[o[pl.S_BLOWDOWN_LEFT] + k] > 0:
        down = min(min(s[o[pl.S_BLOWDOWN_LEFT] + k] / dt, size / at.BLOWDOWN_LASTS), 0.5 * flow)
        dense = at.SLUDGE_SOLIDS * high / (high + at.SLUDGE_HALF)
        sludge = min(s[o[pl.S_BLANKET] + k], dense * down * dt)
        s[o[pl.S_BLANKET] + k] -= sludge
        s[o[pl.S_BLOWDOWN_LEFT] + k] = max(0.0, s[o[pl.S_BLOWDOWN_LEFT] + k] - down * dt)
        s[o[pl.S_LEDGER] + at.L_BLOWDOWN] += down * dt
        s[o[pl.S_LEDGER] + at.L_BLOWDOWN_G] += sludge + down * dt * (w[at.COAGULATED] + w[at.UNCOAGULATED])
        s[o[pl.S_LEDGER] + at.L_CL_WASTED] += down * dt * (w[at.FAST] + w[at.SLOW])
        flow -= down
    return flow


# --- filters ------------------------------------------------------------------------------------------------------


@_compiled
def filtering(f, u, dt, found, t, p, s, o, w, solids, quality):
    """Filter for one step: return the turbidity off the filter and what it lets through [g/m^3]."""
    height = t[o[pl.T_FILTER_BOX] + f] + t[o[pl.T_FILTER_PORE] + f]
    r = u * dt / height
    e, g = math.exp(-r), mean_share(r)
    x = s[o[pl.S_BOX] + f * at.BOX + at.BOX_SOLIDS]
    onto = solids + (x - solids) * g
    s[o[pl.S_BOX] + f * at.BOX + at.BOX_SOLIDS] = solids + (x - solids) * e
    x = s[o[pl.S_BOX] + f * at.BOX + at.BOX_QUALITY]
    q = quality + (x - quality) * g
    s[o[pl.S_BOX] + f * at.BOX + at.BOX_QUALITY] = quality + (x - quality) * e
    x = s[o[pl.S_BOX] + f * at.BOX + at.BOX_REMNANT]
    remnant = x * g
    s[o[pl.S_BOX] + f * at.BOX + at.BOX_REMNANT] = x * e
    for i in range(2):
        entering, x = w[at.FAST + i], s[o[pl.S_BOX] + f * at.BOX + at.BOX_FAST + i]
        w[at.FAST + i] = entering + (x - entering) * g
        s[o[pl.S_BOX] + f * at.BOX + at.BOX_FAST + i] = entering + (x - entering) * e
    direct = p[pl.P_WASH_REMNANT] * remnant
    c = onto + remnant - direct
    q = min(max(q, at.LEAST_QUALITY), 1.0)
    shaken = p[pl.P_SHAKING] * max(0.0, u / max(s[o[pl.S_LAGGED_RATE] + f], at.LEAST_LAGGED) - 1)
    s[o[pl.S_LAGGED_RATE] + f] = u + (s[o[pl.S_LAGGED_RATE] + f] - u) * math.exp(-dt / at.RATE_LAG)
    base = p[pl.P_COEFFICIENT_SCALE] * q * math.sqrt(at.REFERENCE_RATE / u)
    caught = 0.0
    least = p[pl.P_LEAST_RIPE]
    worn = p[pl.P_DETACHMENT] * u / at.REFERENCE_RATE
    for j in range(int(t[o[pl.T_LAYER_CELLS] + f])):
        x = s[o[pl.S_DEPOSIT] + f * o[pl.N_LAYERS] + j]
        dz = t[o[pl.T_DEPTH] + f * o[pl.N_LAYERS] + j]
        filled = x / (t[o[pl.T_FULL_DEPOSIT] + f * o[pl.N_LAYERS] + j] * p[pl.P_FULL_SCALE])
        ripe = least + (1 - least) * (1 - math.exp(-x / p[pl.P_RIPENING_DEPOSIT]))
        room = math.sqrt(max(0.0, 1 - filled))
        removed = c * (1 - math.exp(-t[o[pl.T_COEFFICIENT] + f * o[pl.N_LAYERS] + j] * base * ripe * room * dz))
        loosened = (worn * filled + shaken) * dt
        loose = x * loosened / (1 + loosened)
        x += u * removed * dt / dz - loose
        c += loose * dz / (u * dt) - removed
        s[o[pl.S_DEPOSIT] + f * o[pl.N_LAYERS] + j] = x
        caught += x * dz
    worse = p[pl.P_DEPOSIT_RESISTANCE] * (1 + at.WORSE_HEAD * (1 - q))
    resistance = t[o[pl.T_FILTER_RESISTANCE] + f] * p[pl.P_RESISTANCE_SCALE]
    s[o[pl.S_HEAD] + f] = found[VISCOSITY] / 0.0010016 * u * (resistance + worse * 0.001 * caught) + (
        t[o[pl.T_FILTER_TURBULENT] + f] * u * u
    )
    through = c + direct
    return through / p[pl.P_FLOC_SOLIDS] + p[pl.P_FILTERED_FLOOR], through


@_compiled
def fluidising(grain, density, found):
    """Return the rate at which grains begin to lift [m/s]."""
    mu, rho = found[VISCOSITY], found[WATER_DENSITY]
    galileo = grain**3 * rho * (density - rho) * 9.80665 / (mu * mu)
    return mu / (rho * grain) * (math.sqrt(33.7**2 + 0.0408 * galileo) - 33.7)


@_compiled
def washing(f, dt, found, t, s, o):
    """Wash for one step: return the solids in the waste water [g/m^3]."""
    u = t[o[pl.T_WASH_RATE] + f]
    released = 0.0
    for j in range(int(t[o[pl.T_LAYER_CELLS] + f])):
        lifted = u / fluidising(t[o[pl.T_GRAIN_90] + f * o[pl.N_LAYERS] + j], t[o[pl.T_GRAIN_DENSITY] + f * o[pl.N_LAYERS] + j], found)
        scour = at.SCOUR * min(max((lifted - 1) / at.SCOUR_SPAN, 0.0), 1.0)
        x = s[o[pl.S_DEPOSIT] + f * o[pl.N_LAYERS] + j]
        after = x * math.exp(-scour * dt)
        released += (x - after) * t[o[pl.T_DEPTH] + f * o[pl.N_LAYERS] + j]
        s[o[pl.S_DEPOSIT] + f * o[pl.N_LAYERS] + j] = after
    r = u * dt / (t[o[pl.T_FILTER_BOX] + f] + t[o[pl.T_FILTER_PORE] + f])
    steady = released / (u * dt)
    x = s[o[pl.S_BOX] + f * at.BOX + at.BOX_REMNANT]
    s[o[pl.S_BOX] + f * at.BOX + at.BOX_REMNANT] = steady + (x - steady) * math.exp(-r)
    return steady + (x - steady) * mean_share(r)


# --- tanks --------------------------------------------------------------------------------------------------------


@_compiled
def tank_mix(i, inflow, outflow, volume, dt, found, t, s, o, fast, slow):
    """Pass chlorine through a tank whose level may move; return both parts that leave and what decays [g]."""
    n = int(t[o[pl.T_TANK_CELLS] + i])
    lost = 0.0
    share = volume / n
    ef, es = math.exp(-found[FAST_RATE] * dt), math.exp(-found[SLOW_RATE] * dt)
    for c in range(n):
        at_c = int(t[o[pl.T_TANK_FIRST] + i]) + c
        entering = inflow + (outflow - inflow) * c / n
        x, y = s[o[pl.S_TANK_CHLORINE] + at_c * 2 + 0], s[o[pl.S_TANK_CHLORINE] + at_c * 2 + 1]
        lost += share * (x * (1 - ef) + y * (1 - es))
        x, y = x * ef, y * es
        together = share + entering * dt
        if together > 0:
            x = (share * x + entering * dt * fast) / together
            y = (share * y + entering * dt * slow) / together
        s[o[pl.S_TANK_CHLORINE] + at_c * 2 + 0], s[o[pl.S_TANK_CHLORINE] + at_c * 2 + 1] = x, y
        fast, slow = x, y
    return fast, slow, lost


# --- what is done -------------------------------------------------------------------------------------------------


@_compiled
def decide(time, raw, dt, start_of_day, t, r, s, o, dose, feeding, refill):
    """Return flow wanted, hysteresis states and the filter whose wash begins; write doses, failures and refills."""
    day = (start_of_day + time) % 86400.0
    tanks, filters = o[pl.N_TANKS], o[pl.N_FILTERS]
    block = -1
    for b in range(o[pl.N_BLOCKS]):
        if r[o[pl.R_BLOCK_START] + b] <= time:
            block = b
    wanted = s[o[pl.S_WANTED]]
    if tanks > 0:
        share = s[o[pl.S_TANKS] + tanks - 1] / t[o[pl.T_TANK_FULL] + tanks - 1]
        if share < r[o[pl.R_START_BELOW]]:
            wanted = 1
        elif share >= r[o[pl.R_STOP_ABOVE]]:
            wanted = 0
    else:
        wanted = 1
    shut = s[o[pl.S_SHUT]]
    if raw > r[o[pl.R_SHUT_ABOVE]]:
        shut = 1
    elif raw < r[o[pl.R_REOPEN_BELOW]]:
        shut = 0
    target = r[o[pl.R_FLOW]] * (r[o[pl.R_THROTTLE_TO]] if raw > r[o[pl.R_THROTTLE_ABOVE]] else 1.0)
    if wanted == 0:
        target = 0.0
    if block >= 0 and not math.isnan(r[o[pl.R_BLOCK_FLOW] + block]):
        target = r[o[pl.R_BLOCK_FLOW] + block]
    if shut == 1:
        target = 0.0
    for i in range(tanks - 1):
        if s[o[pl.S_TANKS] + i] > 0.985 * t[o[pl.T_TANK_FULL] + i]:
            target = 0.0
    wash = choose_wash(time, day, t, r, s, o)
    if filters > 0:
        area = 0.0
        for f in range(filters):
            if s[o[pl.S_MODE] + f] != at.WASHING and f != wash and r[o[pl.R_OUT_OF_SERVICE] + f] == 0:
                area += t[o[pl.T_FILTER_AREA] + f]
        target = min(target, r[o[pl.R_MAX_RATE]] * area) if area > 0 else 0.0
    setting = time % r[o[pl.R_DOSE_EVERY]] < dt * 0.999999
    factor = r[o[pl.R_DOSE_FACTOR]] * (r[o[pl.R_BLOCK_DOSE] + block] if block >= 0 else 1.0)
    main = True
    for n in range(o[pl.N_FEEDS]):
        dose[n] = s[o[pl.S_DOSE] + n]
        if t[o[pl.T_FEED_ROLE] + n] == at.COAGULANT and main and o[pl.N_TABLE] > 0:
            main = False
            if setting:
                seen = raw if r[o[pl.R_DOSE_BY_RAW]] == 1 else s[o[pl.S_CAME_IN]]
                dose[n] = factor * along(seen, r, o[pl.R_TABLE_TURBIDITY], o[pl.R_TABLE_DOSE], o[pl.N_TABLE])
        else:
            dose[n] = r[o[pl.R_OTHER_DOSES] + n]
        feeding[n] = 0 if r[o[pl.R_FEED_STOPS] + n * 2 + 0] <= time < r[o[pl.R_FEED_STOPS] + n * 2 + 1] else 1
        low = s[o[pl.S_FEED_TANK] + n] < r[o[pl.R_REFILL_BELOW]] * t[o[pl.T_FEED_FULL] + n]
        refill[n] = 1 if low and r[o[pl.R_REFILL_FROM]] <= day < r[o[pl.R_REFILL_UNTIL]] else 0
    return target, wanted, shut, wash


@_compiled
def along(x, r, xs, ys, points):
    """Return the value at `x` on the line through points with rising `xs`; the ends go on level."""
    last = points - 1
    if x >= r[xs + last]:
        return r[ys + last]
    if x <= r[xs]:
        return r[ys]
    i = 0
    while x >= r[xs + i + 1]:
        i += 1
    return r[ys + i] + (r[ys + i + 1] - r[ys + i]) / (r[xs + i + 1] - r[xs + i]) * (x - r[xs + i])


@_compiled
def choose_wash(time, day, t, r, s, o):
    """Return the filter whose wash begins now, or -1: one at a time, and never out of the reserve."""
    filters = o[pl.N_FILTERS]
    for f in range(filters):
        if s[o[pl.S_MODE] + f] != at.FILTERING:
            return -1
    best, score = -1, 1.0
    for w in range(o[pl.N_WASHES]):
        f = int(r[o[pl.R_WASH_FILTER] + w])
        due = r[o[pl.R_WASH_AT] + w] <= time < r[o[pl.R_WASH_AT] + w] + 3600.0
        if due and s[o[pl.S_WASHED_AT] + f] < r[o[pl.R_WASH_AT] + w] and r[o[pl.R_OUT_OF_SERVICE] + f] == 0:
            best, score = f, math.inf
    if r[o[pl.R_WASH_FROM]] <= day < r[o[pl.R_WASH_UNTIL]]:
        for f in range(filters):
            if r[o[pl.R_OUT_OF_SERVICE] + f] == 1:
                continue
            asks = max(s[o[pl.S_HEAD] + f] / r[o[pl.R_WASH_HEAD]], s[o[pl.S_RUN_TIME] + f] / r[o[pl.R_WASH_TIME]])
            if s[o[pl.S_OVER_TRIGGER] + f] >= at.OVER_TRIGGER and s[o[pl.S_RUN_TIME] + f] >= 3600.0:
                asks = max(asks, 2.0)
            if asks >= score:
                if asks > score or best < 0:
                    best = f
                score = asks
    source = int(t[o[pl.T_WASH_SOURCE]])
    if best >= 0 and source >= 0:
        need = t[o[pl.T_WASH_RATE] + best] * t[o[pl.T_FILTER_AREA] + best] * r[o[pl.R_WASH_DURATION]]
        if s[o[pl.S_TANKS] + source] - need < t[o[pl.T_TANK_RESERVE] + source]:
            return -1
        last = o[pl.N_TANKS] - 1
        if s[o[pl.S_TANKS] + last] < t[o[pl.T_TANK_RESERVE] + last]:
            return -1
    return best


# --- one step -----------------------------------------------------------------------------------------------------


@_compiled
def step_member(
    time, dt, raw, temperature, alkalinity, ph, uv254, demand, found, start_of_day, t, p, r, s, o, w, dose, feeding,
    refill, brightness,
):  # fmt: skip
    """Take one member one step further."""
    feeds, filters, tanks = o[pl.N_FEEDS], o[pl.N_FILTERS], o[pl.N_TANKS]
    target, wanted, shut, wash = decide(time, raw, dt, start_of_day, t, r, s, o, dose, feeding, refill)
    s[o[pl.S_WANTED]], s[o[pl.S_SHUT]] = wanted, shut
    for n in range(feeds):
        s[o[pl.S_DOSE] + n] = dose[n]
        if refill[n] == 1:
            s[o[pl.S_FEED_TANK] + n] = t[o[pl.T_FEED_FULL] + n]
    before = s[o[pl.S_FLOW]]
    flow = target if target <= before else min(target, before + t[o[pl.T_DESIGN_FLOW]] / r[o[pl.R_RAMP]] * dt)
    s[o[pl.S_FLOW]] = flow
    s[o[pl.S_LEDGER] + at.L_INTAKE] += flow * dt
    if flow > 0:
        s[o[pl.S_LEDGER] + at.L_RUNNING] += dt / 60
    for i in range(at.CLASSES):
        w[i] = raw * p[pl.P_RAW_SOLIDS] * p[pl.P_CLASS_SHARES + i]
        s[o[pl.S_LEDGER] + at.L_SOLIDS_IN] += w[i] * flow * dt
    w[at.FAST] = w[at.SLOW] = 0.0
    w[at.CAME_IN] = raw
    met = False
    coagulated = False
    gt = 0.0
    on = flow
    for e in range(o[pl.N_ELEMENTS]):
        kind, first, chlorine = t[o[pl.T_KIND] + e], int(t[o[pl.T_FIRST] + e]), t[o[pl.T_CHLORINATED] + e] == 1
        if kind == at.PIPE:
            s[o[pl.S_LEDGER] + at.L_CL_DECAYED] += plug_flow(
                first, on, t[o[pl.T_PIPE_VOLUME] + first], dt, chlorine, found, s, o, w
            )
        elif kind == at.FEED:
            role = t[o[pl.T_FEED_ROLE] + first]
            if role == at.COAGULANT:
                if int(t[o[pl.T_COUNT] + e]) == 1:
                    coagulated = True
                    if on > 0:
                        coagulate(on, dt, temperature, alkalinity, ph, uv254, feeding, t, p, s, o, w, brightness)
            else:
                given = fed(first, s[o[pl.S_DOSE] + first], feeding[first], on, dt, t, s, o)
                if role == at.DISINFECTANT:
                    chlorinated(given, met, on, dt, p, s, o, w)
                    met = True
        else:
            low, high = 0, at.CLASSES
            if t[o[pl.T_COAGULATED] + e] == 1:
                low, high = at.FINE, at.QUALITY + 1
            if kind == at.CLARIFIER:
                on = clarify(int(t[o[pl.T_CLARIFIER] + e]), on, gt, r[o[pl.R_BLOWDOWN_AT]], dt, found, t, p, s, o, w)
            for c in range(first, first + int(t[o[pl.T_COUNT] + e])):
                volume = t[o[pl.T_CELL_VOLUME] + c]
                if t[o[pl.T_CELL_BASIN] + c] == 1:
                    volume *= p[pl.P_DEAD_ZONE]
                if kind == at.BASIN:
                    s[o[pl.S_LEDGER] + at.L_BASIN] += settling(
                        c, on, volume, t[o[pl.T_CELL_AREA] + c], dt, found, s, o, w
                    )
                elif kind == at.FLOCCULATION:
                    g = gradient(c, on, found, t, o)
                    if on > 0:
                        gt += g * volume / on
                    flocculating(c, on, g, volume, dt, found, p, s, o, w)
                else:
                    stirred(c, on, volume, low, high, dt, s, o, w)
                if t[o[pl.T_COAGULATED] + e] == 0:
                    stirred(c, on, volume, at.CAME_IN, at.CAME_IN + 1, dt, s, o, w)
                if chlorine:
                    s[o[pl.S_LEDGER] + at.L_CL_DECAYED] += fading(c, on, volume, dt, found, s, o, w)
    if on > 0 and not coagulated:
        s[o[pl.S_CAME_IN]] = w[at.CAME_IN]
    # onto the filters
    solids, quality = 0.0, 1.0
    if coagulated:
        solids, quality = w[at.COAGULATED] + w[at.UNCOAGULATED], w[at.QUALITY]
        if on > 0:
            s[o[pl.S_SETTLED]] = solids / p[pl.P_FLOC_SOLIDS]
    else:
        bright = 0.0
        for i in range(at.CLASSES):
            solids += w[i]
            bright += w[i] * brightness[i]
        if on > 0:
            s[o[pl.S_SETTLED]] = bright
            s[o[pl.S_BASIN_OUT]] = bright
    good, bad, good_n, wash_flow = 0.0, 0.0, 0.0, 0.0
    fast, slow = w[at.FAST], w[at.SLOW]
    s[o[pl.S_LEDGER] + at.L_FILTERS_IN] += solids * on * dt
    if filters > 0:
        gf, gs = 0.0, 0.0
        if wash >= 0:
            s[o[pl.S_LEDGER] + at.L_CL_WASTED] += (s[o[pl.S_BOX] + wash * at.BOX + at.BOX_FAST] + s[o[pl.S_BOX] + wash * at.BOX + at.BOX_SLOW]) * (
                (t[o[pl.T_FILTER_BOX] + wash] + t[o[pl.T_FILTER_PORE] + wash]) * t[o[pl.T_FILTER_AREA] + wash]
            )
            s[o[pl.S_BOX] + wash * at.BOX + at.BOX_REMNANT] += s[o[pl.S_BOX] + wash * at.BOX + at.BOX_SOLIDS]
            s[o[pl.S_BOX] + wash * at.BOX + at.BOX_SOLIDS] = 0.0
            s[o[pl.S_BOX] + wash * at.BOX + at.BOX_QUALITY] = 1.0
            s[o[pl.S_BOX] + wash * at.BOX + at.BOX_FAST] = s[o[pl.S_BOX] + wash * at.BOX + at.BOX_SLOW] = 0.0
            s[o[pl.S_MODE] + wash] = at.WASHING
            s[o[pl.S_MODE_TIME] + wash] = 0.0
            s[o[pl.S_WASHED_AT] + wash] = time
            s[o[pl.S_LEDGER] + at.L_WASHES] += 1
        area = 0.0
        for f in range(filters):
            if s[o[pl.S_MODE] + f] != at.WASHING and r[o[pl.R_OUT_OF_SERVICE] + f] == 0:
                area += t[o[pl.T_FILTER_AREA] + f]
        u = on / area if area > 0 else 0.0
        for f in range(filters):
            if s[o[pl.S_MODE] + f] == at.WASHING:
                waste = washing(f, dt, found, t, s, o)
                drawn = t[o[pl.T_WASH_RATE] + f] * t[o[pl.T_FILTER_AREA] + f]
                wash_flow += drawn
                s[o[pl.S_LEDGER] + at.L_WASH_G] += waste * drawn * dt
                s[o[pl.S_LAGGED_RATE] + f] = 0.0
                s[o[pl.S_HEAD] + f] = 0.0
                s[o[pl.S_MODE_TIME] + f] += dt
                if s[o[pl.S_MODE_TIME] + f] >= r[o[pl.R_WASH_DURATION]] - 1e-6:
                    s[o[pl.S_MODE] + f] = at.TO_WASTE if r[o[pl.R_TO_WASTE]] > 0 else at.FILTERING
                    s[o[pl.S_MODE_TIME] + f] = s[o[pl.S_RUN_TIME] + f] = s[o[pl.S_OVER_TRIGGER] + f] = 0.0
            elif u <= 0 or r[o[pl.R_OUT_OF_SERVICE] + f] == 1:
                s[o[pl.S_LAGGED_RATE] + f] *= math.exp(-dt / at.RATE_LAG)
            else:
                if before <= 0 and r[o[pl.R_START_TO_WASTE]] > 0 and s[o[pl.S_MODE] + f] == at.FILTERING:
                    s[o[pl.S_MODE] + f] = at.TO_WASTE
                    s[o[pl.S_MODE_TIME] + f] = max(0.0, r[o[pl.R_TO_WASTE]] - r[o[pl.R_START_TO_WASTE]])
                w[at.FAST], w[at.SLOW] = fast, slow
                ntu, through = filtering(f, u, dt, found, t, p, s, o, w, solids, quality)
                s[o[pl.S_FILTERED] + f] = ntu
                s[o[pl.S_RUN_TIME] + f] += dt
                s[o[pl.S_MODE_TIME] + f] += dt
                part = u * t[o[pl.T_FILTER_AREA] + f]
                if s[o[pl.S_MODE] + f] == at.TO_WASTE:
                    bad += part
                    s[o[pl.S_LEDGER] + at.L_TO_WASTE_G] += through * part * dt
                    s[o[pl.S_LEDGER] + at.L_CL_WASTED] += (w[at.FAST] + w[at.SLOW]) * part * dt
                    done = r[o[pl.R_TO_WASTE_UNTIL]] <= 0 or ntu <= r[o[pl.R_TO_WASTE_UNTIL]]
                    if s[o[pl.S_MODE_TIME] + f] >= r[o[pl.R_TO_WASTE]] - 1e-6 and (
                        done or s[o[pl.S_MODE_TIME] + f] >= at.LONGEST_TO_WASTE
                    ):
                        s[o[pl.S_MODE] + f] = at.FILTERING
                        s[o[pl.S_MODE_TIME] + f] = 0.0
                else:
                    good += part
                    good_n += ntu * part
                    gf += w[at.FAST] * part
                    gs += w[at.SLOW] * part
                    s[o[pl.S_LEDGER] + at.L_FILTERED_G] += through * part * dt
                    s[o[pl.S_OVER_TRIGGER] + f] = s[o[pl.S_OVER_TRIGGER] + f] + dt if ntu > r[o[pl.R_WASH_TURBIDITY]] else 0.0
        s[o[pl.S_LEDGER] + at.L_TO_WASTE] += bad * dt
        s[o[pl.S_LEDGER] + at.L_WASH] += wash_flow * dt
        s[o[pl.S_LEDGER] + at.L_SEWER_PEAK] = max(s[o[pl.S_LEDGER] + at.L_SEWER_PEAK], wash_flow + bad)
        if good > 0:
            s[o[pl.S_COMBINED]] = good_n / good
            fast, slow = gf / good, gs / good
    else:
        good = on
        s[o[pl.S_LEDGER] + at.L_FILTERED_G] += solids * on * dt
        if on > 0:
            s[o[pl.S_COMBINED]] = s[o[pl.S_SETTLED]]
    if good > 0:
        if s[o[pl.S_COMBINED]] > 0.3:
            s[o[pl.S_LEDGER] + at.L_OVER_03] += dt / 60
        if s[o[pl.S_COMBINED]] > 1.0:
            s[o[pl.S_LEDGER] + at.L_OVER_1] += dt / 60
    behind(dt, good, wash_flow, demand, fast, slow, met, feeding, found, t, p, s, o, w)
    if tanks > 0 and s[o[pl.S_TANKS] + tanks - 1] < t[o[pl.T_TANK_RESERVE] + tanks - 1]:
        s[o[pl.S_LEDGER] + at.L_RESERVE] += dt / 60
    s[o[pl.S_TIME]] = time + dt


@_compiled
def coagulate(flow, dt, temperature, alkalinity, ph, uv254, feeding, t, p, s, o, w, brightness):
    """Feed the coagulant: what `w` carries turns from sizes to fine, coagulated and not coagulated matter."""
    aluminium, used = 0.0, 0.0
    for n in range(o[pl.N_FEEDS]):
        if t[o[pl.T_FEED_ROLE] + n] == at.COAGULANT:
            given = fed(n, s[o[pl.S_DOSE] + n], feeding[n], flow, dt, t, s, o)
            aluminium += given * t[o[pl.T_FEED_ALUMINIUM] + n]
            used += 5.5643 * (1 - t[o[pl.T_FEED_BASICITY] + n]) * (given * t[o[pl.T_FEED_ALUMINIUM] + n])
    if (
        s[o[pl.S_CHEMISTRY] + 0] != alkalinity or s[o[pl.S_CHEMISTRY] + 1] != temperature or s[o[pl.S_CHEMISTRY] + 2] != ph or s[o[pl.S_CHEMISTRY] + 3] != used
    ):  # the pH costs as much as all the rest
        s[o[pl.S_CHEMISTRY] + 0], s[o[pl.S_CHEMISTRY] + 1], s[o[pl.S_CHEMISTRY] + 2], s[o[pl.S_CHEMISTRY] + 3] = alkalinity, temperature, ph, used
        s[o[pl.S_CHEMISTRY] + 4] = ph_after(ph, alkalinity, used, temperature)
    solids, bright = 0.0, 0.0
    for i in range(at.CLASSES):
        solids += w[i]
        bright += w[i] * brightness[i]
    s[o[pl.S_BASIN_OUT]], s[o[pl.S_CAME_IN]] = bright, w[at.CAME_IN]
    best = best_dose(p, bright, uv254, temperature, alkalinity)
    least_ph = t[o[pl.T_LEAST_ALUMINIUM_PH]] + 0.02 * (20 - temperature)
    q = coagulation(best, aluminium, s[o[pl.S_CHEMISTRY] + 4], least_ph, p[pl.P_UNDERDOSE_WIDTH], p[pl.P_OVERDOSE_WIDTH])
    s[o[pl.S_QUALITY]] = q
    made = at.HYDROXIDE_PER_AL * aluminium
    s[o[pl.S_LEDGER] + at.L_HYDROXIDE] += made * flow * dt
    missed = min(1.0, p[pl.P_UNCOAGULATED_LEAST] + (1 - q) * p[pl.P_UNCOAGULATED_MORE])
    w[at.UNCOAGULATED] = missed * (solids + made)
    w[at.COAGULATED] = solids + made - w[at.UNCOAGULATED]
    w[at.FINE] = w[at.COAGULATED]
    w[at.QUALITY] = q
    w[4] = w[5] = 0.0


@_compiled
def behind(dt, good, wash_flow, demand, fast, slow, met, feeding, found, t, p, s, o, w):
    """Take the filtered water through tanks, feeds and mains to the village."""
    tanks = o[pl.N_TANKS]
    source = int(t[o[pl.T_WASH_SOURCE]])
    inflow = good
    for i in range(tanks):  # water first: every flow is known before chlorine is carried
        volume = s[o[pl.S_TANKS] + i]
        washed = min(wash_flow, volume / dt + inflow) if i == source else 0.0
        there = volume / dt + inflow - washed
        if i < tanks - 1:
            room = (t[o[pl.T_TANK_FULL] + i + 1] - s[o[pl.S_TANKS] + i + 1]) / dt + (demand if i + 1 == tanks - 1 else 0.0)
            out = max(0.0, inflow + (volume - t[o[pl.T_TANK_KEEP] + i]) / at.TRANSFER_LAG)
            out = min(min(out, there), max(0.0, room))
        else:
            out = min(demand, there)
            s[o[pl.S_LEDGER] + at.L_DELIVERED] += out * dt
            s[o[pl.S_LEDGER] + at.L_SHORT] += (demand - out) * dt
        s[o[pl.S_TANK_FLOW] + i] = out
        inflow = out
    if source < 0:
        s[o[pl.S_LEDGER] + at.L_OWN_WASH] += wash_flow * dt
    if tanks == 0:
        s[o[pl.S_LEDGER] + at.L_DELIVERED] += good * dt
        s[o[pl.S_LEDGER] + at.L_SHORT] += max(0.0, demand - good) * dt
    flow = good
    w[at.FAST], w[at.SLOW] = fast, slow
    seen = False
    for a in range(o[pl.N_AFTER]):
        kind, n = t[o[pl.T_AFTER_KIND] + a], int(t[o[pl.T_AFTER_INDEX] + a])
        if kind == at.FEED:
            given = fed(n, s[o[pl.S_DOSE] + n], feeding[n], flow, dt, t, s, o)
            if t[o[pl.T_FEED_ROLE] + n] == at.DISINFECTANT:
                chlorinated(given, met, flow, dt, p, s, o, w)
                met = True
        elif kind == at.PIPE:
            s[o[pl.S_LEDGER] + at.L_CL_DECAYED] += plug_flow(
                n, flow, t[o[pl.T_PIPE_VOLUME] + n], dt, True, found, s, o, w
            )
        else:
            volume = s[o[pl.S_TANKS] + n]
            washed = min(wash_flow, volume / dt + flow) if n == source else 0.0
            out = s[o[pl.S_TANK_FLOW] + n]
            after = volume + (flow - washed - out) * dt
            spilled = max(0.0, after - t[o[pl.T_TANK_FULL] + n])
            after = max(0.0, after - spilled)
            if n == source and washed < wash_flow:
                s[o[pl.S_LEDGER] + at.L_OWN_WASH] += (wash_flow - washed) * dt
            s[o[pl.S_LEDGER] + at.L_SPILLED] += spilled
            leaving = washed + out + spilled / dt
            x, y, lost = tank_mix(
                n, flow, leaving, volume, dt, found, t, s, o, w[at.FAST], w[at.SLOW]
            )
            s[o[pl.S_LEDGER] + at.L_CL_DECAYED] += lost
            s[o[pl.S_LEDGER] + at.L_CL_WASTED] += (x + y) * (washed * dt + spilled)
            w[at.FAST], w[at.SLOW] = x, y
            s[o[pl.S_TANKS] + n] = after
            if not seen:
                s[o[pl.S_CONTACT_CHLORINE]] = x + y
                seen = True
            flow = out
    if flow > 0:
        s[o[pl.S_LEDGER] + at.L_CL_DELIVERED] += (w[at.FAST] + w[at.SLOW]) * flow * dt
        s[o[pl.S_OUT_CHLORINE]] = w[at.FAST] + w[at.SLOW]


@_compiled
def advance(low, high, begin, steps, dt, every, interval, start_of_day, turbidity, temperatures, alkalinity, ph, uv254,
            demand, t, parameters, r, states, o, out):  # fmt: skip
    """Take members `low` up to `high` through `steps` steps; write the outputs after every `every` steps."""
    w, found, brightness = np.zeros(at.CARRIED), np.zeros(PROPERTIES), np.zeros(at.CLASSES)
    feeds, filters, tanks = o[pl.N_FEEDS], o[pl.N_FILTERS], o[pl.N_TANKS]
    dose, feeding, refill = np.zeros(feeds), np.zeros(feeds, np.int64), np.zeros(feeds, np.int64)
    for m in range(low, high):
        p, s = parameters[m], states[m]
        bright = 0.0
        for i in range(at.CLASSES):
            bright += p[pl.P_CLASS_SHARES + i] * _RELATIVE[i]
        for i in range(at.CLASSES):
            brightness[i] = _RELATIVE[i] / (bright * p[pl.P_RAW_SOLIDS])
        ra = m if turbidity.shape[0] > 1 else 0
        rt = m if temperatures.shape[0] > 1 else 0
        rk = m if alkalinity.shape[0] > 1 else 0
        rp = m if ph.shape[0] > 1 else 0
        ru = m if uv254.shape[0] > 1 else 0
        rd = m if demand.shape[0] > 1 else 0
        warmth = math.nan
        highest = 0.0
        for k in range(begin, begin + steps):
            time = k * dt
            i = int((time + 1e-6) / interval)
            raw = turbidity[ra, min(i, turbidity.shape[1] - 1)]
            temperature = temperatures[rt, min(i, temperatures.shape[1] - 1)]
            if temperature != warmth:
                properties(temperature, p, found)
                warmth = temperature
            step_member(
                time, dt, raw, temperature, alkalinity[rk, min(i, alkalinity.shape[1] - 1)],
                ph[rp, min(i, ph.shape[1] - 1)], uv254[ru, min(i, uv254.shape[1] - 1)],
                demand[rd, min(i, demand.shape[1] - 1)], found, start_of_day, t, p, r, s, o, w, dose, feeding, refill,
                brightness,
            )  # fmt: skip
            if s[o[pl.S_FLOW]] > 0:
                highest = max(highest, s[o[pl.S_COMBINED]])
            if (k + 1 - begin) % every == 0:
                row = out[m, (k + 1 - begin) // every - 1]
                row[0], row[1], row[2] = raw, s[o[pl.S_BASIN_OUT]], s[o[pl.S_SETTLED]]
                row[3], row[4], row[5] = s[o[pl.S_COMBINED]], highest, s[o[pl.S_FLOW]]
                row[6], row[7], row[8] = s[o[pl.S_QUALITY]], s[o[pl.S_CHEMISTRY] + 4], s[o[pl.S_CONTACT_CHLORINE]]
                row[9] = s[o[pl.S_OUT_CHLORINE]]
                highest = 0.0
                place = 10
                for f in range(filters):
                    row[place + f] = s[o[pl.S_FILTERED] + f]
                    row[place + filters + f] = s[o[pl.S_HEAD] + f]
                    row[place + 2 * filters + f] = s[o[pl.S_MODE] + f]
                place += 3 * filters
                for i_tank in range(tanks):
                    row[place + i_tank] = s[o[pl.S_TANKS] + i_tank]
                place += tanks
                for n in range(feeds):
                    row[place + n] = s[o[pl.S_DOSE] + n]

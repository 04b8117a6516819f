"""How do thousands of members go through the same hours? The steps of `reference`, compiled, one member after another.

Every stage here has its twin there, and tests hold the two equal to rounding. This module imports Numba: only `run`
loads it, and only when it runs. A member's hours depend on that member alone, so that the split over threads changes
nothing.
"""

# mypy: disable-error-code="no-untyped-def, no-untyped-call, call-arg, var-annotated, attr-defined"
# Numba finds the types of these functions itself when it compiles them.

import hashlib
import math
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
import numpy as np
from numba.core import types
from numba.extending import intrinsic

from weirhouse.twin import layout as at
from weirhouse.twin import places as pl


def kept_in() -> str | None:
    """Return the folder in which compiled code is kept: beside this file, or in the user's cache; None for neither.

    Numba looks at the file of a function alone. The places and constants that become part of the code stand in two
    other files, so that the folder's name is made of the contents of all three: with another layout, another folder.
    """
    parts = [Path(file).read_bytes() for file in (__file__, at.__file__, pl.__file__) if file]
    stamp = hashlib.sha256(b"".join(parts)).hexdigest()[:16]
    named = os.environ.get("NUMBA_CACHE_DIR")
    bases = [Path(named)] if named else [Path(__file__).with_name("__pycache__"), Path.home() / ".cache" / "weirhouse"]
    for base in bases:
        folder = base / f"kernel-{stamp}"
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(folder, os.W_OK):
            return str(folder)
    return None


_KEPT_IN = kept_in()
_usual_place = numba.config.CACHE_DIR  # Numba reads it when a function is declared; it is put back below
numba.config.CACHE_DIR = _KEPT_IN or _usual_place


def _compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    made: Callable[..., Any] = numba.njit(nogil=True, cache=_KEPT_IN is not None, error_model="numpy")(function)
    return made


def _woven_in(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile a small stage into those that call it: a call costs as much as what it does."""
    made: Callable[..., Any] = numba.njit(
        nogil=True, cache=_KEPT_IN is not None, error_model="numpy", forceinline=True
    )(function)
    return made


@intrinsic
def _place_of(typingctx, array):
    """Return the address of an array's numbers. Stages take addresses: counting who holds an array took half the time.

    The array must outlive its address; both are the caller's of `advance`.
    """

    def codegen(context, builder, signature, args):
        return context.make_array(signature.args[0])(context, builder, args[0]).data

    return types.CPointer(array.dtype)(array), codegen


_RELATIVE = np.array([(1e6 * d) ** -at.SCATTER_EXPONENT for d in at.DIAMETERS])
_SIZES = np.array(at.DIAMETERS)
_LN_LEAST_DOSE = math.log(at.LEAST_DOSE)
# places in the properties of the water of one interval
VISCOSITY, FALL, AGGREGATION, FAST_RATE, SLOW_RATE, FLOC_FALL, WATER_DENSITY = 0, 1, 7, 8, 9, 10, 11
FAST_LEFT, SLOW_LEFT, LAG_LEFT = 12, 13, 14  # what a step leaves of chlorine and of a lagged rate
LOGARITHMS = 15  # 1 once the next two hold: those of alkalinity and of the coagulant
LN_ALKALINITY, LN_DOSE = 16, 17
_LAST = at.PIECES - 1  # a ring's places are counted with it: a remainder costs ten times as much
# what a cell or a filter takes from one step to the next while its flow and its temperature stay
KEY, GRADIENT, ROOT, BY_CLASS, LEFT, MEAN = 0, 1, 1, 1, 19, 20
GT_KEY, GROWN = 2, 3  # of a clarifier, in the slot of its first cell
MEMO = pl.MEMO


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
def properties(temperature, dt, z, o):
    """Write what depends on temperature alone."""
    mu, rho = viscosity_of(temperature), density_of(temperature)
    nu = mu / rho
    z[pl.FOUND + VISCOSITY] = mu
    z[pl.FOUND + WATER_DENSITY] = rho
    heavier = at.GRAIN_DENSITY / rho - 1
    for i in range(at.CLASSES):
        d = _SIZES[i]
        fall = 9.80665 * heavier * d**2 / (18.0 * nu + math.sqrt(0.75 * 1.0 * 9.80665 * heavier * d**3))
        z[pl.FOUND + FALL + i] = fall * z[pl.P_SETTLING_SCALE]
    z[pl.FOUND + AGGREGATION] = z[pl.P_AGGREGATION] * (1 - 0.015 * (20 - temperature))
    arrhenius = math.exp(at.ACTIVATION * (1 / (20.0 + 273.15) - 1 / (temperature + 273.15)))
    z[pl.FOUND + FAST_RATE] = z[pl.P_FAST_RATE] * arrhenius
    z[pl.FOUND + SLOW_RATE] = z[pl.P_SLOW_RATE] * arrhenius
    z[pl.FOUND + FLOC_FALL] = z[pl.P_FLOC_VELOCITY] * 0.0010016 / mu
    z[pl.FOUND + FAST_LEFT] = math.exp(-z[pl.FOUND + FAST_RATE] * dt)
    z[pl.FOUND + SLOW_LEFT] = math.exp(-z[pl.FOUND + SLOW_RATE] * dt)
    z[pl.FOUND + LAG_LEFT] = math.exp(-dt / at.RATE_LAG)


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
    """Return the pH once a coagulant has used some of the alkalinity."""
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


@_woven_in
def exponential(r):
    """Return exp(-r) and its mean over a step, that of exp(-s) for s from 0 to `r`."""
    fallen = math.expm1(-r)
    return 1 + fallen, (-fallen / r if r > 0 else 1.0)


@_compiled
def remember(slot, kind, c, flow, volume, dt, z, o):
    """Work out what a cell needs at a flow; it is asked for where that was another one in the step before."""
    z[slot + KEY] = flow
    z[slot + LEFT], z[slot + MEAN] = exponential(flow * dt / volume)
    if kind == at.BASIN:
        a = flow / volume
        for i in range(at.CLASSES):
            b = z[pl.FOUND + FALL + i] * z[o[pl.T_CELL_AREA] + c] / volume
            place = slot + BY_CLASS + 3 * i
            z[place] = a / (a + b) if a + b > 0 else 0.0
            z[place + 1], z[place + 2] = exponential((a + b) * dt)
    elif kind == at.FLOCCULATION:
        z[slot + GRADIENT] = gradient(c, flow, z, o)


@_woven_in
def stirred(c, left, mean, low, high, z, o):
    """Pass what `w` carries from `low` up to `high` through one stirred cell; `w` becomes the mean that leaves."""
    cell = o[pl.S_CELLS] + c * at.CARRIED
    for i in range(low, high):
        x, entering = z[cell + i], z[pl.W + i]
        z[pl.W + i] = entering + (x - entering) * mean
        z[cell + i] = entering + (x - entering) * left


@_compiled
def fading(c, flow, volume, dt, z, o):
    """Pass chlorine through one stirred cell; return what decays [g]."""
    lost = 0.0
    for i in range(2):
        k = z[pl.FOUND + FAST_RATE + i]
        a = flow / volume
        r = (a + k) * dt
        x = z[o[pl.S_CELLS] + c * at.CARRIED + at.FAST + i]
        steady = z[pl.W + at.FAST + i] * a / (a + k) if a + k > 0 else 0.0
        left, share = exponential(r)
        mean = steady + (x - steady) * share
        z[o[pl.S_CELLS] + c * at.CARRIED + at.FAST + i] = steady + (x - steady) * left
        z[pl.W + at.FAST + i] = mean
        lost += k * volume * mean * dt
    return lost


@_woven_in
def settling(c, slot, area, dt, z, o):
    """Pass the size classes through one stirred cell in which they settle; return what settles [g]."""
    kept = 0.0
    cell = o[pl.S_CELLS] + c * at.CARRIED
    for i in range(at.CLASSES):
        place = slot + BY_CLASS + 3 * i
        x, steady = z[cell + i], z[pl.W + i] * z[place]
        mean = steady + (x - steady) * z[place + 2]
        z[cell + i] = steady + (x - steady) * z[place + 1]
        z[pl.W + i] = mean
        kept += z[pl.FOUND + FALL + i] * area * mean * dt
    return kept


@_compiled
def gradient(c, flow, z, o):
    """Return the velocity gradient in a cell [1/s]."""
    square = 0.0
    if z[o[pl.T_CELL_HEAD_FLOW] + c] > 0 and flow > 0:
        ratio = flow / z[o[pl.T_CELL_HEAD_FLOW] + c]
        time = z[o[pl.T_CELL_VOLUME] + c] / flow
        square = (
            9.80665
            * z[pl.FOUND + WATER_DENSITY]
            * z[o[pl.T_CELL_HEAD] + c]
            * ratio
            * ratio
            / (z[pl.FOUND + VISCOSITY] * time)
        )
    elif z[o[pl.T_CELL_POWER] + c] > 0:
        square = z[o[pl.T_CELL_POWER] + c] / (z[pl.FOUND + VISCOSITY] * z[o[pl.T_CELL_VOLUME] + c])
    return math.sqrt(square)


@_woven_in
def flocculating(c, slot, flow, volume, dt, z, o):
    """Pass coagulated matter through one compartment in which fine matter grows to floc."""
    cell = o[pl.S_CELLS] + c * at.CARRIED
    fine, entering, g = z[cell + at.FINE], z[pl.W + at.FINE], z[slot + GRADIENT]
    stirred(c, z[slot + LEFT], z[slot + MEAN], at.COAGULATED, at.QUALITY + 1, z, o)
    ka = z[pl.FOUND + AGGREGATION] * z[pl.W + at.QUALITY]
    kb = z[pl.FOUND + AGGREGATION] * z[pl.P_BREAKUP_RATIO]
    a = flow / volume
    rate = a + ka * g
    mean = after = fine
    if rate > 0:
        steady = (a * entering + kb * g * g * z[pl.W + at.COAGULATED]) / rate
        left, share = exponential(rate * dt)
        mean = steady + (fine - steady) * share
        after = steady + (fine - steady) * left
    z[pl.W + at.FINE] = min(mean, z[pl.W + at.COAGULATED])
    z[cell + at.FINE] = min(after, z[cell + at.COAGULATED])


@_woven_in
def plug_flow(q, flow, size, dt, decaying, z, o):
    """Push `w` into a pipe and take as much from its other end into `w`; return what chlorine decays [g]."""
    lost = 0.0
    ring = o[pl.S_PIECES] + q * at.PIECES * (1 + at.CARRIED)
    wide = 1 + at.CARRIED
    first, count = int(z[o[pl.S_PIECE_FIRST] + q]), int(z[o[pl.S_PIECE_COUNT] + q])
    if decaying:
        fast, slow = z[pl.FOUND + FAST_LEFT], z[pl.FOUND + SLOW_LEFT]
        for k in range(count):
            n = ring + (first + k & _LAST) * wide
            x, y = z[n + 1 + at.FAST], z[n + 1 + at.SLOW]
            lost += z[n] * (x * (1 - fast) + y * (1 - slow))
            z[n + 1 + at.FAST], z[n + 1 + at.SLOW] = x * fast, y * slow
    volume = flow * dt
    if volume <= 0:
        return lost
    n = ring + (first + count - 1 & _LAST) * wide
    if count > 0 and z[n] < at.LEAST_SHARE * size:
        there = z[n]
        for i in range(at.CARRIED):
            z[n + 1 + i] = (there * z[n + 1 + i] + volume * z[pl.W + i]) / (there + volume)
        z[n] = there + volume
    else:
        n = ring + (first + count & _LAST) * wide
        z[n] = volume
        for i in range(at.CARRIED):
            z[n + 1 + i] = z[pl.W + i]
        count += 1
    left = volume
    for i in range(at.CARRIED):
        z[pl.W + i] = 0.0
    while left > 0 and count > 0:
        n = ring + first * wide
        there = z[n]
        taken = min(there, left)
        for i in range(at.CARRIED):
            z[pl.W + i] += taken / volume * z[n + 1 + i]
        left -= taken
        if taken >= there:
            first = first + 1 & _LAST
            count -= 1
        else:
            z[n] = there - taken
    z[o[pl.S_PIECE_FIRST] + q], z[o[pl.S_PIECE_COUNT] + q] = first, count
    return lost


# --- coagulant ----------------------------------------------------------------------------------------------------


@_woven_in
def coagulation(best, dose, ph, best_ph, under, over):
    """Return the quality of coagulation; `best` and `dose` are logarithms."""
    off = dose - max(best, _LN_LEAST_DOSE)
    by_dose = off / under if off < 0 else off / over
    by_ph = max(0.0, abs(ph - best_ph) - 0.3) / 0.9
    return max(math.exp(-by_dose * by_dose - by_ph * by_ph), at.LEAST_QUALITY)


@_woven_in
def best_dose(turbidity, uv254, temperature, ln_alkalinity, z, o):
    """Return the logarithm of the best dose as Al [g/m^3]."""
    grown = z[pl.P_DOSE_TURBIDITY] * math.log(turbidity + 1) + z[pl.P_DOSE_ALKALINITY] * ln_alkalinity
    shift = z[pl.P_DOSE_UV254] * (uv254 - 10.0) + z[pl.P_DOSE_TEMPERATURE] * (temperature - 10)
    return z[pl.P_DOSE_CONSTANT] + shift + grown


@_woven_in
def fed(n, dose, feeding, flow, dt, z, o):
    """Draw a feed's solution from its day tank and return the dose that it really gives [g/m^3]."""
    if feeding == 0 or dose <= 0 or flow <= 0:
        return 0.0
    need = dose * flow * dt / z[o[pl.T_FEED_CONTENT] + n]
    there = max(0.0, z[o[pl.S_FEED_TANK] + n] - z[o[pl.T_FEED_LOW] + n])
    share = 1.0 if need <= there else there / need
    z[o[pl.S_FEED_TANK] + n] -= need * share
    z[o[pl.S_LEDGER] + at.L_PRODUCT + n] += need * share
    if share < 1:
        z[o[pl.S_LEDGER] + at.L_DRY_FEED] += dt / 60
    return dose * share


@_woven_in
def chlorinated(dose, met, flow, dt, z, o):
    """Add chlorine to `w`, less what is used up at once where nothing met that before."""
    gone = 0.0 if met else min(dose, z[pl.P_CHLORINE_DEMAND])
    z[pl.W + at.FAST] += z[pl.P_FAST_SHARE] * (dose - gone)
    z[pl.W + at.SLOW] += (1 - z[pl.P_FAST_SHARE]) * (dose - gone)
    z[o[pl.S_LEDGER] + at.L_CL_IN] += dose * flow * dt
    z[o[pl.S_LEDGER] + at.L_CL_DECAYED] += gone * flow * dt


# --- clarifier ----------------------------------------------------------------------------------------------------


@_woven_in
def clarify(k, slot, flow, gt, blowdown_at, dt, z, o):
    """Settle floc at the clarifier's inlet, keep its blanket and let sludge off; return the flow that goes on."""
    if flow <= 0:
        return flow
    area, depth = z[o[pl.T_CLARIFIER_AREA] + k], z[o[pl.T_CLARIFIER_DEPTH] + k]
    ratio = gt / at.GT_FULL_GROWN if z[o[pl.T_HAS_FLOCCULATION]] else at.GT_WITHOUT
    if z[slot + GT_KEY] != ratio:
        z[slot + GT_KEY], z[slot + GROWN] = ratio, min(1.0, ratio) ** 0.3
    fall = z[pl.FOUND + FLOC_FALL] * math.sqrt(max(z[pl.W + at.QUALITY], at.LEAST_QUALITY)) * z[slot + GROWN]
    rise = flow / area
    floats = 0.5 * math.erfc(-math.log(rise / max(fall, 1e-12)) / (z[pl.P_FLOC_SPREAD] * math.sqrt(2.0)))
    total, fine = z[pl.W + at.COAGULATED], z[pl.W + at.FINE]
    through = 1.0
    high = 0.0
    if depth > 0:
        high = min(z[o[pl.S_BLANKET] + k] / (area * at.BLANKET_SOLIDS), depth)
        lost = min(max((rise / max(fall, 1e-12) - at.LOST_FROM) / at.LOST_OVER, 0.0), 1.0)
        through = math.exp(-z[pl.P_BLANKET_CAPTURE] * at.BLANKET_SHARE * high * (1 - lost))
    factor = through * z[pl.P_PASSING]
    passing = min(total, factor * (fine + (total - fine) * floats))
    z[pl.W + at.FINE] = min(passing, factor * fine)
    z[o[pl.S_BLANKET] + k] += (total - passing) * flow * dt
    z[o[pl.S_LEDGER] + at.L_CLARIFIER] += (total - passing) * flow * dt
    if depth > 0:
        over = max(0.0, z[o[pl.S_BLANKET] + k] - area * depth * at.BLANKET_SOLIDS)
        z[o[pl.S_BLANKET] + k] -= over
        z[o[pl.S_LEDGER] + at.L_CLARIFIER] -= over
        passing += over / (flow * dt)
    z[pl.W + at.COAGULATED] = passing
    size = z[o[pl.T_BLOWDOWN_VOLUME] + k]
    if size <= 0:
        return flow
    z[o[pl.S_SINCE_BLOWDOWN] + k] += dt
    if z[o[pl.S_BLOWDOWN_LEFT] + k] <= 0 and (
        z[o[pl.S_SINCE_BLOWDOWN] + k] >= z[o[pl.T_BLOWDOWN_EVERY] + k] or (depth > 0 and high > blowdown_at * depth)
    ):
        z[o[pl.S_BLOWDOWN_LEFT] + k] = size
        z[o[pl.S_SINCE_BLOWDOWN] + k] = 0.0
    if z[o[pl.S_BLOWDOWN_LEFT] + k] > 0:
        down = min(min(z[o[pl.S_BLOWDOWN_LEFT] + k] / dt, size / at.BLOWDOWN_LASTS), 0.5 * flow)
        dense = at.SLUDGE_SOLIDS * high / (high + at.SLUDGE_HALF)
        sludge = min(z[o[pl.S_BLANKET] + k], dense * down * dt)
        z[o[pl.S_BLANKET] + k] -= sludge
        z[o[pl.S_BLOWDOWN_LEFT] + k] = max(0.0, z[o[pl.S_BLOWDOWN_LEFT] + k] - down * dt)
        z[o[pl.S_LEDGER] + at.L_BLOWDOWN] += down * dt
        z[o[pl.S_LEDGER] + at.L_BLOWDOWN_G] += sludge + down * dt * (
            z[pl.W + at.COAGULATED] + z[pl.W + at.UNCOAGULATED]
        )
        z[o[pl.S_LEDGER] + at.L_CL_WASTED] += down * dt * (z[pl.W + at.FAST] + z[pl.W + at.SLOW])
        flow -= down
    return flow


# --- filters ------------------------------------------------------------------------------------------------------


@_woven_in
def filtering(f, slot, u, dt, solids, quality, z, o):
    """Filter for one step: return the turbidity off the filter and what it lets through [g/m^3]."""
    if z[slot + KEY] != u:
        z[slot + KEY] = u
        height = z[o[pl.T_FILTER_BOX] + f] + z[o[pl.T_FILTER_PORE] + f]
        z[slot + LEFT], z[slot + MEAN] = exponential(u * dt / height)
        z[slot + ROOT] = math.sqrt(at.REFERENCE_RATE / u)
    e, g = z[slot + LEFT], z[slot + MEAN]
    box = o[pl.S_BOX] + f * at.BOX
    x = z[box + at.BOX_SOLIDS]
    onto = solids + (x - solids) * g
    z[box + at.BOX_SOLIDS] = solids + (x - solids) * e
    x = z[box + at.BOX_QUALITY]
    q = quality + (x - quality) * g
    z[box + at.BOX_QUALITY] = quality + (x - quality) * e
    x = z[box + at.BOX_REMNANT]
    remnant = x * g
    z[box + at.BOX_REMNANT] = x * e
    for i in range(2):
        entering, x = z[pl.W + at.FAST + i], z[box + at.BOX_FAST + i]
        z[pl.W + at.FAST + i] = entering + (x - entering) * g
        z[box + at.BOX_FAST + i] = entering + (x - entering) * e
    direct = z[pl.P_WASH_REMNANT] * remnant
    c = onto + remnant - direct
    q = min(max(q, at.LEAST_QUALITY), 1.0)
    shaken = z[pl.P_SHAKING] * max(0.0, u / max(z[o[pl.S_LAGGED_RATE] + f], at.LEAST_LAGGED) - 1)
    z[o[pl.S_LAGGED_RATE] + f] = u + (z[o[pl.S_LAGGED_RATE] + f] - u) * z[pl.FOUND + LAG_LEFT]
    base = z[pl.P_COEFFICIENT_SCALE] * q * z[slot + ROOT]
    caught = 0.0
    least = z[pl.P_LEAST_RIPE]
    worn = z[pl.P_DETACHMENT] * u / at.REFERENCE_RATE
    first, passed = f * o[pl.N_LAYERS], u * dt
    deposit, depth = o[pl.S_DEPOSIT] + first, o[pl.T_DEPTH] + first
    coefficient = o[pl.T_COEFFICIENT] + first
    by_ripening, by_passed = 1 / z[pl.P_RIPENING_DEPOSIT], 1 / passed
    by_full, by_depth = o[pl.X_INVERSE] + first, o[pl.X_INVERSE] + o[pl.N_FILTERS] * o[pl.N_LAYERS] + first
    for j in range(int(z[o[pl.T_LAYER_CELLS] + f])):
        x, dz = z[deposit + j], z[depth + j]
        filled = x * z[by_full + j]
        ripe = least + (1 - least) * (1 - math.exp(-x * by_ripening))
        room = math.sqrt(max(0.0, 1 - filled))
        removed = c * (1 - math.exp(-z[coefficient + j] * base * ripe * room * dz))
        loosened = (worn * filled + shaken) * dt
        loose = x * loosened / (1 + loosened)
        x += removed * passed * z[by_depth + j] - loose
        c += loose * dz * by_passed - removed
        z[deposit + j] = x
        caught += x * dz
    worse = z[pl.P_DEPOSIT_RESISTANCE] * (1 + at.WORSE_HEAD * (1 - q))
    resistance = z[o[pl.T_FILTER_RESISTANCE] + f] * z[pl.P_RESISTANCE_SCALE]
    z[o[pl.S_HEAD] + f] = z[pl.FOUND + VISCOSITY] / 0.0010016 * u * (resistance + worse * 0.001 * caught) + (
        z[o[pl.T_FILTER_TURBULENT] + f] * u * u
    )
    through = c + direct
    return through / z[pl.P_FLOC_SOLIDS] + z[pl.P_FILTERED_FLOOR], through


@_compiled
def fluidising(grain, density, z, o):
    """Return the rate at which grains begin to lift [m/s]."""
    mu, rho = z[pl.FOUND + VISCOSITY], z[pl.FOUND + WATER_DENSITY]
    galileo = grain**3 * rho * (density - rho) * 9.80665 / (mu * mu)
    return mu / (rho * grain) * (math.sqrt(33.7**2 + 0.0408 * galileo) - 33.7)


@_compiled
def washing(f, dt, z, o):
    """Wash for one step: return the solids in the waste water [g/m^3]."""
    u = z[o[pl.T_WASH_RATE] + f]
    released = 0.0
    for j in range(int(z[o[pl.T_LAYER_CELLS] + f])):
        lifted = u / fluidising(
            z[o[pl.T_GRAIN_90] + f * o[pl.N_LAYERS] + j], z[o[pl.T_GRAIN_DENSITY] + f * o[pl.N_LAYERS] + j], z, o
        )
        scour = at.SCOUR * min(max((lifted - 1) / at.SCOUR_SPAN, 0.0), 1.0)
        x = z[o[pl.S_DEPOSIT] + f * o[pl.N_LAYERS] + j]
        after = x * math.exp(-scour * dt)
        released += (x - after) * z[o[pl.T_DEPTH] + f * o[pl.N_LAYERS] + j]
        z[o[pl.S_DEPOSIT] + f * o[pl.N_LAYERS] + j] = after
    r = u * dt / (z[o[pl.T_FILTER_BOX] + f] + z[o[pl.T_FILTER_PORE] + f])
    steady = released / (u * dt)
    x = z[o[pl.S_BOX] + f * at.BOX + at.BOX_REMNANT]
    left, share = exponential(r)
    z[o[pl.S_BOX] + f * at.BOX + at.BOX_REMNANT] = steady + (x - steady) * left
    return steady + (x - steady) * share


# --- tanks --------------------------------------------------------------------------------------------------------


@_woven_in
def tank_mix(i, inflow, outflow, volume, dt, fast, slow, z, o):
    """Pass chlorine through a tank whose level may move; return both parts that leave and what decays [g]."""
    n = int(z[o[pl.T_TANK_CELLS] + i])
    lost = 0.0
    share = volume / n
    ef, es = z[pl.FOUND + FAST_LEFT], z[pl.FOUND + SLOW_LEFT]
    for c in range(n):
        at_c = int(z[o[pl.T_TANK_FIRST] + i]) + c
        entering = inflow + (outflow - inflow) * c / n
        x, y = z[o[pl.S_TANK_CHLORINE] + at_c * 2 + 0], z[o[pl.S_TANK_CHLORINE] + at_c * 2 + 1]
        lost += share * (x * (1 - ef) + y * (1 - es))
        x, y = x * ef, y * es
        together = share + entering * dt
        if together > 0:
            part = 1 / together
            old, new = share * part, entering * dt * part
            x = old * x + new * fast
            y = old * y + new * slow
        z[o[pl.S_TANK_CHLORINE] + at_c * 2 + 0], z[o[pl.S_TANK_CHLORINE] + at_c * 2 + 1] = x, y
        fast, slow = x, y
    return fast, slow, lost


# --- what is done -------------------------------------------------------------------------------------------------


@_compiled
def decide(time, day, setting, raw, z, o):
    """Return flow wanted, hysteresis states and the filter whose wash begins; write doses, failures and refills."""
    tanks, filters = o[pl.N_TANKS], o[pl.N_FILTERS]
    block = -1
    for b in range(o[pl.N_BLOCKS]):
        if z[o[pl.R_BLOCK_START] + b] <= time:
            block = b
    wanted = z[o[pl.S_WANTED]]
    if tanks > 0:
        share = z[o[pl.S_TANKS] + tanks - 1] / z[o[pl.T_TANK_FULL] + tanks - 1]
        if share < z[o[pl.R_START_BELOW]]:
            wanted = 1
        elif share >= z[o[pl.R_STOP_ABOVE]]:
            wanted = 0
    else:
        wanted = 1
    shut = z[o[pl.S_SHUT]]
    if raw > z[o[pl.R_SHUT_ABOVE]]:
        shut = 1
    elif raw < z[o[pl.R_REOPEN_BELOW]]:
        shut = 0
    target = z[o[pl.R_FLOW]] * (z[o[pl.R_THROTTLE_TO]] if raw > z[o[pl.R_THROTTLE_ABOVE]] else 1.0)
    if wanted == 0:
        target = 0.0
    if block >= 0 and not math.isnan(z[o[pl.R_BLOCK_FLOW] + block]):
        target = z[o[pl.R_BLOCK_FLOW] + block]
    if shut == 1:
        target = 0.0
    for i in range(tanks - 1):
        if z[o[pl.S_TANKS] + i] > 0.985 * z[o[pl.T_TANK_FULL] + i]:
            target = 0.0
    wash = choose_wash(time, day, z, o)
    if filters > 0:
        area = 0.0
        for f in range(filters):
            if z[o[pl.S_MODE] + f] != at.WASHING and f != wash and z[o[pl.R_OUT_OF_SERVICE] + f] == 0:
                area += z[o[pl.T_FILTER_AREA] + f]
        target = min(target, z[o[pl.R_MAX_RATE]] * area) if area > 0 else 0.0
    factor = z[o[pl.R_DOSE_FACTOR]] * (z[o[pl.R_BLOCK_DOSE] + block] if block >= 0 else 1.0)
    main = True
    for n in range(o[pl.N_FEEDS]):
        if z[o[pl.T_FEED_ROLE] + n] == at.COAGULANT and main and o[pl.N_TABLE] > 0:
            main = False
            if setting == 1:
                seen = raw if z[o[pl.R_DOSE_BY_RAW]] == 1 else z[o[pl.S_CAME_IN]]
                z[o[pl.S_DOSE] + n] = factor * along(
                    seen, o[pl.R_TABLE_TURBIDITY], o[pl.R_TABLE_DOSE], o[pl.N_TABLE], z, o
                )
        else:
            z[o[pl.S_DOSE] + n] = z[o[pl.R_OTHER_DOSES] + n]
        z[o[pl.X_FEEDING] + n] = (
            0 if z[o[pl.R_FEED_STOPS] + n * 2 + 0] <= time < z[o[pl.R_FEED_STOPS] + n * 2 + 1] else 1
        )
        low = z[o[pl.S_FEED_TANK] + n] < z[o[pl.R_REFILL_BELOW]] * z[o[pl.T_FEED_FULL] + n]
        z[o[pl.X_REFILL] + n] = 1 if low and z[o[pl.R_REFILL_FROM]] <= day < z[o[pl.R_REFILL_UNTIL]] else 0
    return target, wanted, shut, wash


@_compiled
def along(x, xs, ys, points, z, o):
    """Return the value at `x` on the line through points with rising `xs`; the ends go on level."""
    last = points - 1
    if x >= z[xs + last]:
        return z[ys + last]
    if x <= z[xs]:
        return z[ys]
    i = 0
    while x >= z[xs + i + 1]:
        i += 1
    return z[ys + i] + (z[ys + i + 1] - z[ys + i]) / (z[xs + i + 1] - z[xs + i]) * (x - z[xs + i])


@_compiled
def choose_wash(time, day, z, o):
    """Return the filter whose wash begins now, or -1: one at a time, and never out of the reserve."""
    filters = o[pl.N_FILTERS]
    for f in range(filters):
        if z[o[pl.S_MODE] + f] != at.FILTERING:
            return -1
    best, score = -1, 1.0
    for w in range(o[pl.N_WASHES]):
        f = int(z[o[pl.R_WASH_FILTER] + w])
        due = z[o[pl.R_WASH_AT] + w] <= time < z[o[pl.R_WASH_AT] + w] + 3600.0
        if due and z[o[pl.S_WASHED_AT] + f] < z[o[pl.R_WASH_AT] + w] and z[o[pl.R_OUT_OF_SERVICE] + f] == 0:
            best, score = f, math.inf
    if z[o[pl.R_WASH_FROM]] <= day < z[o[pl.R_WASH_UNTIL]]:
        for f in range(filters):
            if z[o[pl.R_OUT_OF_SERVICE] + f] == 1:
                continue
            asks = max(z[o[pl.S_HEAD] + f] / z[o[pl.R_WASH_HEAD]], z[o[pl.S_RUN_TIME] + f] / z[o[pl.R_WASH_TIME]])
            if z[o[pl.S_OVER_TRIGGER] + f] >= at.OVER_TRIGGER and z[o[pl.S_RUN_TIME] + f] >= 3600.0:
                asks = max(asks, 2.0)
            if asks >= score:
                if asks > score or best < 0:
                    best = f
                score = asks
    source = int(z[o[pl.T_WASH_SOURCE]])
    if best >= 0 and source >= 0:
        need = z[o[pl.T_WASH_RATE] + best] * z[o[pl.T_FILTER_AREA] + best] * z[o[pl.R_WASH_DURATION]]
        if z[o[pl.S_TANKS] + source] - need < z[o[pl.T_TANK_RESERVE] + source]:
            return -1
        last = o[pl.N_TANKS] - 1
        if z[o[pl.S_TANKS] + last] < z[o[pl.T_TANK_RESERVE] + last]:
            return -1
    return best


# --- one step -----------------------------------------------------------------------------------------------------


@_compiled
def step_member(time, day, setting, dt, raw, temperature, alkalinity, ph, uv254, demand, z, o):  # fmt: skip
    """Take one member one step further."""
    feeds, filters, tanks = o[pl.N_FEEDS], o[pl.N_FILTERS], o[pl.N_TANKS]
    target, wanted, shut, wash = decide(time, day, setting, raw, z, o)
    z[o[pl.S_WANTED]], z[o[pl.S_SHUT]] = wanted, shut
    for n in range(feeds):
        if z[o[pl.X_REFILL] + n] == 1:
            z[o[pl.S_FEED_TANK] + n] = z[o[pl.T_FEED_FULL] + n]
    before = z[o[pl.S_FLOW]]
    flow = target if target <= before else min(target, before + z[o[pl.T_DESIGN_FLOW]] / z[o[pl.R_RAMP]] * dt)
    z[o[pl.S_FLOW]] = flow
    z[o[pl.S_LEDGER] + at.L_INTAKE] += flow * dt
    if flow > 0:
        z[o[pl.S_LEDGER] + at.L_RUNNING] += dt / 60
    brought = 0.0
    for i in range(at.CLASSES):
        z[pl.W + i] = raw * z[pl.P_RAW_SOLIDS] * z[pl.P_CLASS_SHARES + i]
        brought += z[pl.W + i]
    z[o[pl.S_LEDGER] + at.L_SOLIDS_IN] += brought * flow * dt
    z[pl.W + at.FAST] = z[pl.W + at.SLOW] = 0.0
    z[pl.W + at.CAME_IN] = raw
    met = False
    coagulated = False
    gt = 0.0
    on = flow
    for e in range(o[pl.N_ELEMENTS]):
        kind, first, chlorine = z[o[pl.T_KIND] + e], int(z[o[pl.T_FIRST] + e]), z[o[pl.T_CHLORINATED] + e] == 1
        if kind == at.PIPE:
            z[o[pl.S_LEDGER] + at.L_CL_DECAYED] += plug_flow(
                first, on, z[o[pl.T_PIPE_VOLUME] + first], dt, chlorine, z, o
            )
        elif kind == at.FEED:
            role = z[o[pl.T_FEED_ROLE] + first]
            if role == at.COAGULANT:
                if int(z[o[pl.T_NUMBER] + e]) == 1:
                    coagulated = True
                    if on > 0:
                        coagulate(on, dt, temperature, alkalinity, ph, uv254, z, o)
            else:
                given = fed(first, z[o[pl.S_DOSE] + first], z[o[pl.X_FEEDING] + first], on, dt, z, o)
                if role == at.DISINFECTANT:
                    chlorinated(given, met, on, dt, z, o)
                    met = True
        else:
            low, high = 0, at.CLASSES
            if z[o[pl.T_COAGULATED] + e] == 1:
                low, high = at.FINE, at.QUALITY + 1
            if kind == at.CLARIFIER:
                on = clarify(
                    int(z[o[pl.T_CLARIFIER] + e]), o[pl.X_MEMO] + first * MEMO, on, gt, z[o[pl.R_BLOWDOWN_AT]], dt, z, o
                )
            for c in range(first, first + int(z[o[pl.T_NUMBER] + e])):
                volume = z[o[pl.T_CELL_VOLUME] + c]
                if z[o[pl.T_CELL_BASIN] + c] == 1:
                    volume *= z[pl.P_DEAD_ZONE]
                slot = o[pl.X_MEMO] + c * MEMO
                if z[slot + KEY] != on:
                    remember(slot, kind, c, on, volume, dt, z, o)
                if kind == at.BASIN:
                    z[o[pl.S_LEDGER] + at.L_BASIN] += settling(c, slot, z[o[pl.T_CELL_AREA] + c], dt, z, o)
                elif kind == at.FLOCCULATION:
                    if on > 0:
                        gt += z[slot + GRADIENT] * volume / on
                    flocculating(c, slot, on, volume, dt, z, o)
                else:
                    stirred(c, z[slot + LEFT], z[slot + MEAN], low, high, z, o)
                if z[o[pl.T_COAGULATED] + e] == 0:
                    stirred(c, z[slot + LEFT], z[slot + MEAN], at.CAME_IN, at.CAME_IN + 1, z, o)
                if chlorine:
                    z[o[pl.S_LEDGER] + at.L_CL_DECAYED] += fading(c, on, volume, dt, z, o)
    if on > 0 and not coagulated:
        z[o[pl.S_CAME_IN]] = z[pl.W + at.CAME_IN]
    # onto the filters
    solids, quality = 0.0, 1.0
    if coagulated:
        solids, quality = z[pl.W + at.COAGULATED] + z[pl.W + at.UNCOAGULATED], z[pl.W + at.QUALITY]
        if on > 0:
            z[o[pl.S_SETTLED]] = solids / z[pl.P_FLOC_SOLIDS]
    else:
        bright = 0.0
        for i in range(at.CLASSES):
            solids += z[pl.W + i]
            bright += z[pl.W + i] * z[pl.BRIGHTNESS + i]
        if on > 0:
            z[o[pl.S_SETTLED]] = bright
            z[o[pl.S_BASIN_OUT]] = bright
    good, bad, good_n, wash_flow = 0.0, 0.0, 0.0, 0.0
    fast, slow = z[pl.W + at.FAST], z[pl.W + at.SLOW]
    z[o[pl.S_LEDGER] + at.L_FILTERS_IN] += solids * on * dt
    if filters > 0:
        gf, gs = 0.0, 0.0
        if wash >= 0:
            z[o[pl.S_LEDGER] + at.L_CL_WASTED] += (
                z[o[pl.S_BOX] + wash * at.BOX + at.BOX_FAST] + z[o[pl.S_BOX] + wash * at.BOX + at.BOX_SLOW]
            ) * ((z[o[pl.T_FILTER_BOX] + wash] + z[o[pl.T_FILTER_PORE] + wash]) * z[o[pl.T_FILTER_AREA] + wash])
            z[o[pl.S_BOX] + wash * at.BOX + at.BOX_REMNANT] += z[o[pl.S_BOX] + wash * at.BOX + at.BOX_SOLIDS]
            z[o[pl.S_BOX] + wash * at.BOX + at.BOX_SOLIDS] = 0.0
            z[o[pl.S_BOX] + wash * at.BOX + at.BOX_QUALITY] = 1.0
            z[o[pl.S_BOX] + wash * at.BOX + at.BOX_FAST] = z[o[pl.S_BOX] + wash * at.BOX + at.BOX_SLOW] = 0.0
            z[o[pl.S_MODE] + wash] = at.WASHING
            z[o[pl.S_MODE_TIME] + wash] = 0.0
            z[o[pl.S_WASHED_AT] + wash] = time
            z[o[pl.S_LEDGER] + at.L_WASHES] += 1
        area = 0.0
        for f in range(filters):
            if z[o[pl.S_MODE] + f] != at.WASHING and z[o[pl.R_OUT_OF_SERVICE] + f] == 0:
                area += z[o[pl.T_FILTER_AREA] + f]
        u = on / area if area > 0 else 0.0
        for f in range(filters):
            if z[o[pl.S_MODE] + f] == at.WASHING:
                waste = washing(f, dt, z, o)
                drawn = z[o[pl.T_WASH_RATE] + f] * z[o[pl.T_FILTER_AREA] + f]
                wash_flow += drawn
                z[o[pl.S_LEDGER] + at.L_WASH_G] += waste * drawn * dt
                z[o[pl.S_LAGGED_RATE] + f] = 0.0
                z[o[pl.S_HEAD] + f] = 0.0
                z[o[pl.S_MODE_TIME] + f] += dt
                if z[o[pl.S_MODE_TIME] + f] >= z[o[pl.R_WASH_DURATION]] - 1e-6:
                    z[o[pl.S_MODE] + f] = at.TO_WASTE if z[o[pl.R_TO_WASTE]] > 0 else at.FILTERING
                    z[o[pl.S_MODE_TIME] + f] = z[o[pl.S_RUN_TIME] + f] = z[o[pl.S_OVER_TRIGGER] + f] = 0.0
            elif u <= 0 or z[o[pl.R_OUT_OF_SERVICE] + f] == 1:
                z[o[pl.S_LAGGED_RATE] + f] *= z[pl.FOUND + LAG_LEFT]
            else:
                if before <= 0 and z[o[pl.R_START_TO_WASTE]] > 0 and z[o[pl.S_MODE] + f] == at.FILTERING:
                    z[o[pl.S_MODE] + f] = at.TO_WASTE
                    z[o[pl.S_MODE_TIME] + f] = max(0.0, z[o[pl.R_TO_WASTE]] - z[o[pl.R_START_TO_WASTE]])
                z[pl.W + at.FAST], z[pl.W + at.SLOW] = fast, slow
                ntu, through = filtering(f, o[pl.X_MEMO] + (o[pl.N_CELLS] + f) * MEMO, u, dt, solids, quality, z, o)
                z[o[pl.S_FILTERED] + f] = ntu
                z[o[pl.S_RUN_TIME] + f] += dt
                z[o[pl.S_MODE_TIME] + f] += dt
                part = u * z[o[pl.T_FILTER_AREA] + f]
                if z[o[pl.S_MODE] + f] == at.TO_WASTE:
                    bad += part
                    z[o[pl.S_LEDGER] + at.L_TO_WASTE_G] += through * part * dt
                    z[o[pl.S_LEDGER] + at.L_CL_WASTED] += (z[pl.W + at.FAST] + z[pl.W + at.SLOW]) * part * dt
                    done = z[o[pl.R_TO_WASTE_UNTIL]] <= 0 or ntu <= z[o[pl.R_TO_WASTE_UNTIL]]
                    if z[o[pl.S_MODE_TIME] + f] >= z[o[pl.R_TO_WASTE]] - 1e-6 and (
                        done or z[o[pl.S_MODE_TIME] + f] >= at.LONGEST_TO_WASTE
                    ):
                        z[o[pl.S_MODE] + f] = at.FILTERING
                        z[o[pl.S_MODE_TIME] + f] = 0.0
                else:
                    good += part
                    good_n += ntu * part
                    gf += z[pl.W + at.FAST] * part
                    gs += z[pl.W + at.SLOW] * part
                    z[o[pl.S_LEDGER] + at.L_FILTERED_G] += through * part * dt
                    z[o[pl.S_OVER_TRIGGER] + f] = (
                        z[o[pl.S_OVER_TRIGGER] + f] + dt if ntu > z[o[pl.R_WASH_TURBIDITY]] else 0.0
                    )
        z[o[pl.S_LEDGER] + at.L_TO_WASTE] += bad * dt
        z[o[pl.S_LEDGER] + at.L_WASH] += wash_flow * dt
        z[o[pl.S_LEDGER] + at.L_SEWER_PEAK] = max(z[o[pl.S_LEDGER] + at.L_SEWER_PEAK], wash_flow + bad)
        if good > 0:
            z[o[pl.S_COMBINED]] = good_n / good
            fast, slow = gf / good, gs / good
    else:
        good = on
        z[o[pl.S_LEDGER] + at.L_FILTERED_G] += solids * on * dt
        if on > 0:
            z[o[pl.S_COMBINED]] = z[o[pl.S_SETTLED]]
    if good > 0:
        if z[o[pl.S_COMBINED]] > 0.3:
            z[o[pl.S_LEDGER] + at.L_OVER_03] += dt / 60
        if z[o[pl.S_COMBINED]] > 1.0:
            z[o[pl.S_LEDGER] + at.L_OVER_1] += dt / 60
    behind(dt, good, wash_flow, demand, fast, slow, met, z, o)
    if tanks > 0 and z[o[pl.S_TANKS] + tanks - 1] < z[o[pl.T_TANK_RESERVE] + tanks - 1]:
        z[o[pl.S_LEDGER] + at.L_RESERVE] += dt / 60
    z[o[pl.S_TIME]] = time + dt


@_compiled
def coagulate(flow, dt, temperature, alkalinity, ph, uv254, z, o):
    """Feed the coagulant: what `w` carries turns from sizes to fine, coagulated and not coagulated matter."""
    aluminium, used = 0.0, 0.0
    for n in range(o[pl.N_FEEDS]):
        if z[o[pl.T_FEED_ROLE] + n] == at.COAGULANT:
            given = fed(n, z[o[pl.S_DOSE] + n], z[o[pl.X_FEEDING] + n], flow, dt, z, o)
            aluminium += given * z[o[pl.T_FEED_ALUMINIUM] + n]
            used += 5.5643 * (1 - z[o[pl.T_FEED_BASICITY] + n]) * (given * z[o[pl.T_FEED_ALUMINIUM] + n])
    last = o[pl.S_CHEMISTRY]
    same = z[last] == alkalinity and z[last + 1] == temperature and z[last + 2] == ph and z[last + 3] == used
    if not same or z[pl.FOUND + LOGARITHMS] == 0:  # the pH costs as much as all the rest
        z[last], z[last + 1], z[last + 2], z[last + 3] = alkalinity, temperature, ph, used
        z[last + 4] = ph_after(ph, alkalinity, used, temperature)
        z[pl.FOUND + LN_ALKALINITY] = math.log(alkalinity)
        z[pl.FOUND + LN_DOSE] = math.log(max(aluminium, at.LEAST_DOSE))
        z[pl.FOUND + LOGARITHMS] = 1.0
    solids, bright = 0.0, 0.0
    for i in range(at.CLASSES):
        solids += z[pl.W + i]
        bright += z[pl.W + i] * z[pl.BRIGHTNESS + i]
    z[o[pl.S_BASIN_OUT]], z[o[pl.S_CAME_IN]] = bright, z[pl.W + at.CAME_IN]
    best = best_dose(bright, uv254, temperature, z[pl.FOUND + LN_ALKALINITY], z, o)
    least_ph = z[o[pl.T_LEAST_ALUMINIUM_PH]] + 0.02 * (20 - temperature)
    q = coagulation(best, z[pl.FOUND + LN_DOSE], z[last + 4], least_ph, z[pl.P_UNDERDOSE_WIDTH], z[pl.P_OVERDOSE_WIDTH])
    z[o[pl.S_QUALITY]] = q
    made = at.HYDROXIDE_PER_AL * aluminium
    z[o[pl.S_LEDGER] + at.L_HYDROXIDE] += made * flow * dt
    missed = min(1.0, z[pl.P_UNCOAGULATED_LEAST] + (1 - q) * z[pl.P_UNCOAGULATED_MORE])
    z[pl.W + at.UNCOAGULATED] = missed * (solids + made)
    z[pl.W + at.COAGULATED] = solids + made - z[pl.W + at.UNCOAGULATED]
    z[pl.W + at.FINE] = z[pl.W + at.COAGULATED]
    z[pl.W + at.QUALITY] = q
    z[pl.W + 4] = z[pl.W + 5] = 0.0


@_compiled
def behind(dt, good, wash_flow, demand, fast, slow, met, z, o):
    """Take the filtered water through tanks, feeds and mains to the village."""
    tanks = o[pl.N_TANKS]
    source = int(z[o[pl.T_WASH_SOURCE]])
    inflow = good
    for i in range(tanks):  # water first: every flow is known before chlorine is carried
        volume = z[o[pl.S_TANKS] + i]
        washed = min(wash_flow, volume / dt + inflow) if i == source else 0.0
        there = volume / dt + inflow - washed
        if i < tanks - 1:
            room = (z[o[pl.T_TANK_FULL] + i + 1] - z[o[pl.S_TANKS] + i + 1]) / dt + (
                demand if i + 1 == tanks - 1 else 0.0
            )
            out = max(0.0, inflow + (volume - z[o[pl.T_TANK_KEEP] + i]) / at.TRANSFER_LAG)
            out = min(min(out, there), max(0.0, room))
        else:
            out = min(demand, there)
            z[o[pl.S_LEDGER] + at.L_DELIVERED] += out * dt
            z[o[pl.S_LEDGER] + at.L_SHORT] += (demand - out) * dt
        z[o[pl.S_TANK_FLOW] + i] = out
        inflow = out
    if source < 0:
        z[o[pl.S_LEDGER] + at.L_OWN_WASH] += wash_flow * dt
    if tanks == 0:
        z[o[pl.S_LEDGER] + at.L_DELIVERED] += good * dt
        z[o[pl.S_LEDGER] + at.L_SHORT] += max(0.0, demand - good) * dt
    flow = good
    for i in range(at.CARRIED):  # a main carries chlorine alone
        z[pl.W + i] = 0.0
    z[pl.W + at.FAST], z[pl.W + at.SLOW] = fast, slow
    seen = False
    for a in range(o[pl.N_AFTER]):
        kind, n = z[o[pl.T_AFTER_KIND] + a], int(z[o[pl.T_AFTER_INDEX] + a])
        if kind == at.FEED:
            given = fed(n, z[o[pl.S_DOSE] + n], z[o[pl.X_FEEDING] + n], flow, dt, z, o)
            if z[o[pl.T_FEED_ROLE] + n] == at.DISINFECTANT:
                chlorinated(given, met, flow, dt, z, o)
                met = True
        elif kind == at.PIPE:
            z[o[pl.S_LEDGER] + at.L_CL_DECAYED] += plug_flow(n, flow, z[o[pl.T_PIPE_VOLUME] + n], dt, True, z, o)
        else:
            volume = z[o[pl.S_TANKS] + n]
            washed = min(wash_flow, volume / dt + flow) if n == source else 0.0
            out = z[o[pl.S_TANK_FLOW] + n]
            after = volume + (flow - washed - out) * dt
            spilled = max(0.0, after - z[o[pl.T_TANK_FULL] + n])
            after = max(0.0, after - spilled)
            if n == source and washed < wash_flow:
                z[o[pl.S_LEDGER] + at.L_OWN_WASH] += (wash_flow - washed) * dt
            z[o[pl.S_LEDGER] + at.L_SPILLED] += spilled
            leaving = washed + out + spilled / dt
            x, y, lost = tank_mix(n, flow, leaving, volume, dt, z[pl.W + at.FAST], z[pl.W + at.SLOW], z, o)
            z[o[pl.S_LEDGER] + at.L_CL_DECAYED] += lost
            z[o[pl.S_LEDGER] + at.L_CL_WASTED] += (x + y) * (washed * dt + spilled)
            z[pl.W + at.FAST], z[pl.W + at.SLOW] = x, y
            z[o[pl.S_TANKS] + n] = after
            if not seen:
                z[o[pl.S_CONTACT_CHLORINE]] = x + y
                seen = True
            flow = out
    if flow > 0:
        z[o[pl.S_LEDGER] + at.L_CL_DELIVERED] += (z[pl.W + at.FAST] + z[pl.W + at.SLOW]) * flow * dt
        z[o[pl.S_OUT_CHLORINE]] = z[pl.W + at.FAST] + z[pl.W + at.SLOW]


@_compiled
def begin_member(z, o):
    """Work out what stays the same for a member through its hours."""
    bright = 0.0
    for i in range(at.CLASSES):
        bright += z[pl.P_CLASS_SHARES + i] * _RELATIVE[i]
    for i in range(at.CLASSES):
        z[pl.BRIGHTNESS + i] = _RELATIVE[i] / (bright * z[pl.P_RAW_SOLIDS])
    cells = o[pl.N_FILTERS] * o[pl.N_LAYERS]
    for i in range(cells):
        depth = z[o[pl.T_DEPTH] + i]
        z[o[pl.X_INVERSE] + i] = 1 / (z[o[pl.T_FULL_DEPOSIT] + i] * z[pl.P_FULL_SCALE])
        z[o[pl.X_INVERSE] + cells + i] = 1 / depth if depth > 0 else 0.0
    z[pl.FOUND + LOGARITHMS] = 0.0


@_compiled
def advance(low, high, begin, steps, dt, every, interval, start_of_day, turbidity, temperatures, alkalinity, ph, uv254,
            demand, plant, parameters, states, begins, row_of_numbers, out):  # fmt: skip
    """Take members `low` up to `high` through `steps` steps; write the outputs after every `every` steps.

    All that a member needs lies in one row of numbers, `z`: parameters, properties of its water, what the water in
    hand carries, state, plant, rules, and what is remembered from step to step.
    """
    z, o = _place_of(row_of_numbers), _place_of(begins)
    feeds, filters, tanks = o[pl.N_FEEDS], o[pl.N_FILTERS], o[pl.N_TANKS]
    state, width = o[pl.S_CELLS], states.shape[1]
    for i in range(plant.size):
        z[state + width + i] = plant[i]
    days, setting, which = np.zeros(steps), np.zeros(steps, np.int64), np.zeros(steps, np.int64)
    for k in range(steps):
        time = (begin + k) * dt
        days[k] = (start_of_day + time) % 86400.0
        setting[k] = 1 if time % z[o[pl.R_DOSE_EVERY]] < dt * 0.999999 else 0
        which[k] = int((time + 1e-6) / interval)
    for m in range(low, high):
        for i in range(parameters.shape[1]):
            z[i] = parameters[m, i]
        for i in range(width):
            z[state + i] = states[m, i]
        begin_member(z, o)
        ra = m if turbidity.shape[0] > 1 else 0
        rt = m if temperatures.shape[0] > 1 else 0
        rk = m if alkalinity.shape[0] > 1 else 0
        rp = m if ph.shape[0] > 1 else 0
        ru = m if uv254.shape[0] > 1 else 0
        rd = m if demand.shape[0] > 1 else 0
        warmth = math.nan
        highest = 0.0
        for k in range(steps):
            n = which[k]
            raw = turbidity[ra, min(n, turbidity.shape[1] - 1)]
            temperature = temperatures[rt, min(n, temperatures.shape[1] - 1)]
            if temperature != warmth:
                properties(temperature, dt, z, o)
                warmth = temperature
                for i in range(o[pl.X_MEMO], o[pl.X_FEEDING]):
                    z[i] = math.nan
            step_member(
                (begin + k) * dt, days[k], setting[k], dt, raw, temperature,
                alkalinity[rk, min(n, alkalinity.shape[1] - 1)], ph[rp, min(n, ph.shape[1] - 1)],
                uv254[ru, min(n, uv254.shape[1] - 1)], demand[rd, min(n, demand.shape[1] - 1)], z, o,
            )  # fmt: skip
            if z[o[pl.S_FLOW]] > 0:
                highest = max(highest, z[o[pl.S_COMBINED]])
            if (k + 1) % every == 0:
                row = out[m, (k + 1) // every - 1]
                row[0], row[1], row[2] = raw, z[o[pl.S_BASIN_OUT]], z[o[pl.S_SETTLED]]
                row[3], row[4], row[5] = z[o[pl.S_COMBINED]], highest, z[o[pl.S_FLOW]]
                row[6], row[7], row[8] = z[o[pl.S_QUALITY]], z[o[pl.S_CHEMISTRY] + 4], z[o[pl.S_CONTACT_CHLORINE]]
                row[9] = z[o[pl.S_OUT_CHLORINE]]
                highest = 0.0
                place = 10
                for f in range(filters):
                    row[place + f] = z[o[pl.S_FILTERED] + f]
                    row[place + filters + f] = z[o[pl.S_HEAD] + f]
                    row[place + 2 * filters + f] = z[o[pl.S_MODE] + f]
                place += 3 * filters
                for tank in range(tanks):
                    row[place + tank] = z[o[pl.S_TANKS] + tank]
                place += tanks
                for n in range(feeds):
                    row[place + n] = z[o[pl.S_DOSE] + n]
        for i in range(width):
            states[m, i] = z[state + i]


numba.config.CACHE_DIR = _usual_place

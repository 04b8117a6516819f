"""How do sky and creek behave? Air, rain, stage, turbidity, temperature and chemistry of Sorrel Creek.

Simple shapes with made-up numbers: seasons as cosines, storms as a power-law rise and a two-speed recession, the rest
red noise. Written for the demo alone, so that the plant's models are not tested on themselves.
"""

from dataclasses import dataclass

import numpy as np

from weirhouse.demo.clock import Clock, Floats, red_noise, smooth
from weirhouse.demo.scenario import FROST, FROST_AIR, FROST_WATER, GREAT, STORMS, YEAR_END, Storm, hours

TIP = 0.000254  # one tip of the rain gauge, a hundredth of an inch [m]


@dataclass(frozen=True, slots=True)
class Creek:
    """The year's quarter-hours of sky and creek, in inside units."""

    air: Floats  # [degC]
    rain: Floats  # in the quarter-hour [m]
    level: Floats  # stage [m]
    turbidity: Floats  # [NTU]
    temperature: Floats  # [degC]
    ph: Floats
    alkalinity: Floats  # as CaCO3 [g/m^3]
    organic_carbon: Floats  # [g/m^3]
    uv254: Floats  # [1/m]
    storms: tuple[Storm, ...]  # as they came, with the seed's jitter


def make(clock: Clock, rng: np.random.Generator) -> Creek:
    """Return the creek's year."""
    n, day = len(clock.times), clock.year_day
    storms = tuple(_jitter(storm, rng) for storm in STORMS)
    air = _air(clock, rng)
    rain, light = _rain(clock, storms, air, rng)
    temperature = _temperature(clock, air, rng)
    season = np.cos(2 * np.pi * (day - 75) / 365.25)  # wettest in mid March, lowest in September
    base_level = 0.62 + 0.16 * season + 0.02 * red_noise(rng, n, 0.25, 240)
    base_turbidity = np.exp(
        1.15 + 0.28 * season + 0.16 * red_noise(rng, n, 0.25, 60) + 0.04 * red_noise(rng, n, 0.25, 3)
    )
    frost = _within(clock, FROST[0].timestamp(), FROST[1].timestamp(), ramp=18 * 3600)
    base_turbidity *= 1 - 0.5 * frost  # a frozen catchment sends clear water
    shower = smooth(light, 10.0) * 10.0 / 0.001  # light rain of the last hours [mm]
    turbidity, level = base_turbidity + 0.35 * shower, base_level - 0.1 * frost + 0.006 * shower
    wash = np.zeros(n)  # storm water's share of the creek
    for storm in storms:
        first = storm.starts.timestamp() + storm.lag * 3600
        mud = _hydrograph(clock, first, storm.rise, storm.recession)
        water = _hydrograph(clock, first - 1200, storm.rise * 1.35, storm.recession * 1.8)  # mud comes first
        turbidity += storm.peak * mud * np.exp(0.05 * red_noise(rng, n, 0.25, 1.5))
        level += 0.028 * storm.peak**0.62 * water
        wash = np.maximum(wash, water * min(1.0, 0.25 + 0.1 * storm.peak**0.4))
    alkalinity = (54 - 9 * season + 1.5 * red_noise(rng, n, 0.25, 96)) * (1 - 0.42 * wash)
    daylight = np.clip(np.sin(np.pi * (clock.hour - 6.5) / 12), 0, None) * np.clip(temperature / 20, 0, 1)
    ph = 7.35 - 0.12 * season + 0.16 * daylight - 0.42 * wash + 0.03 * red_noise(rng, n, 0.25, 24)
    leaves = np.exp(-0.5 * ((np.abs((day + 60) % 365.25 - 20)) / 25) ** 2)  # late autumn's leaf fall
    carbon = 2.1 + 0.7 * leaves + 2.6 * wash + 0.12 * red_noise(rng, n, 0.25, 72)
    return Creek(
        air, rain, level, np.clip(turbidity, 0.4, 990), temperature, ph, alkalinity, np.clip(carbon, 1.2, None),
        np.clip(3.1 * carbon - 1.2, 2.0, None), storms,
    )  # fmt: skip


def _jitter(storm: Storm, rng: np.random.Generator) -> Storm:
    size, shift, length = rng.uniform(0.93, 1.07), rng.uniform(-0.5, 0.5), rng.uniform(0.95, 1.05)
    if storm.fixed:
        return storm
    peak = storm.peak * size
    return Storm(
        storm.starts + hours(shift), storm.rain * size, storm.lasts, peak, min(5.0, max(1.0, storm.rise * length)),
        min(30.0, max(5.0, storm.recession * length)), storm.lag,
    )  # fmt: skip


def _hydrograph(clock: Clock, first: float, rise: float, recession: float) -> Floats:
    """Return a storm's shape, 1 at its peak `rise` h after `first`; the last fifth of it recedes three times slower."""
    x = (clock.times - first) / 3600 / rise
    after = np.clip(x - 1, 0, None) * rise / recession
    up = np.clip(x, 0, 1)
    return np.where(x < 1, up**1.6 * np.exp(1.6 * (1 - up)), 0.8 * np.exp(-after) + 0.2 * np.exp(-after / 3))


def _within(clock: Clock, start: float, end: float, ramp: float) -> Floats:
    """Return 1 inside of a span, 0 outside, with ramps of `ramp` s outward."""
    inside = np.minimum(1 + (clock.times - start) / ramp, 1 + (end - clock.times) / ramp)
    return np.asarray(np.clip(inside, 0, 1), np.float64)


def _air(clock: Clock, rng: np.random.Generator) -> Floats:
    n = len(clock.times)
    swing = np.cos(2 * np.pi * (clock.hour - 15.2) / 24)
    air = (
        9.2
        - 12.8 * np.cos(2 * np.pi * (clock.year_day - 21) / 365.25)
        + 5.2 * swing
        + 3.3 * red_noise(rng, n, 0.25, 52)
    )
    frost = _within(clock, FROST[0].timestamp(), FROST[1].timestamp(), ramp=24 * 3600)
    return (1 - frost) * air + frost * (FROST_AIR + 3.2 * swing + 0.8 * red_noise(rng, n, 0.25, 30))


def _rain(clock: Clock, storms: tuple[Storm, ...], air: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Return rain as the gauge tips, and the light rain among it (not the storms' own). [m]"""
    n = len(clock.times)
    light, heavy = np.zeros(n), np.zeros(n)
    for _ in range(int(rng.poisson(74))):
        at, lasts = int(rng.integers(n)), int(rng.integers(4, 24))
        depth = float(np.clip(rng.exponential(0.0028), 0.0003, 0.008))
        light[at : at + lasts] += depth / lasts
    light[air < 0.5] = 0.0  # it falls as snow, and the gauge does not see it
    light[clock.times > YEAR_END.timestamp() - 5 * 86400] = 0.0
    for storm in storms:
        x = (clock.times - storm.starts.timestamp()) / 3600 / storm.lasts
        shape = np.where((x >= 0) & (x <= 1), np.sin(np.pi * np.clip(x, 0, 1)) ** 1.5, 0) * rng.uniform(0.4, 1.6, n)
        heavy += storm.rain * shape / shape.sum()
    tips = np.floor(np.cumsum(light + heavy) / TIP)
    return np.diff(tips, prepend=0.0) * TIP, light


def _temperature(clock: Clock, air: Floats, rng: np.random.Generator) -> Floats:
    water = 1.7 + 0.82 * smooth(air, 5 * 96)
    water = 0.4 + 1.8 * np.log1p(np.exp(water / 1.8))  # it cools no further than to freezing
    water += 0.7 * np.cos(2 * np.pi * (clock.hour - 16.5) / 24) * np.clip(water / 15, 0.1, 1)
    water += 0.15 * red_noise(rng, len(air), 0.25, 12)
    frost = _within(clock, FROST[0].timestamp() + 86400, FROST[1].timestamp(), ramp=36 * 3600)
    return np.clip((1 - frost) * water + frost * FROST_WATER, FROST_WATER, None)


def greatest(storms: tuple[Storm, ...]) -> tuple[Storm, ...]:
    """Return the storms in which the intake is shut."""
    return tuple(storm for storm in storms if storm.peak > GREAT)

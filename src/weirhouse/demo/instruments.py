"""What did the instruments show, and the logger keep? The year's channels with noise, digits, faults and gaps."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weirhouse import quantity
from weirhouse.demo import scenario
from weirhouse.demo.clock import Clock, Floats, Ints, red_noise, smooth
from weirhouse.demo.creek import Creek
from weirhouse.demo.train import Course
from weirhouse.records.model import Series, series

BATTERY = 1800  # for how long the logger lives on after the power has failed [s]
MINUTE = 60
STEPPED = frozenset({"plant_flow", "filter_1_flow", "filter_2_flow", "backwash_flow"})  # on or off, nothing between


@dataclass(frozen=True, slots=True)
class Instrument:
    """How a channel is measured: its share and its least of noise, and the last digit shown."""

    digit: str
    relative: float = 0.0
    absolute: float = 0.0  # [digits]
    minutes: bool = False  # kept every minute at the end of the year


INSTRUMENTS: Mapping[str, Instrument] = {
    "raw_turbidity": Instrument("0.01 NTU", 0.012, 1, True),
    "raw_temperature": Instrument("0.1 degC", 0, 0.6),
    "raw_uv254": Instrument("0.1 1/m", 0.006, 0.7),
    "stream_level": Instrument("0.001 m", 0.001, 1),
    "intake_head_loss": Instrument("0.001 ft", 0.01, 1),
    "plant_flow": Instrument("0.1 gpm", 0.002, 0.5, True),
    "settled_turbidity": Instrument("0.001 NTU", 0.025, 3),
    "filter_1_turbidity": Instrument("0.0001 NTU", 0.02, 5, True),
    "filter_2_turbidity": Instrument("0.0001 NTU", 0.02, 5, True),
    "filter_1_head_loss": Instrument("0.001 ft", 0.002, 9),
    "filter_2_head_loss": Instrument("0.001 ft", 0.002, 9),
    "filter_1_flow": Instrument("0.1 gpm", 0.003, 0.5),
    "filter_2_flow": Instrument("0.1 gpm", 0.003, 0.5),
    "combined_turbidity": Instrument("0.0001 NTU", 0.015, 4, True),
    "contact_chlorine": Instrument("0.001 g/m^3", 0.006, 4),
    "contact_temperature": Instrument("0.1 degC", 0, 0.6),
    "contact_level": Instrument("0.01 ft", 0, 1),
    "storage_level": Instrument("0.01 ft", 0, 1),
    "demand_flow": Instrument("0.1 gpm", 0.004, 1),
    "entry_chlorine": Instrument("0.001 g/m^3", 0.007, 4, True),
    "backwash_flow": Instrument("1 gpm", 0.003, 0),
    "air_temperature": Instrument("0.1 degC", 0, 1),
    "rain": Instrument("0.01 in"),
}
GROUPS: Mapping[str, tuple[str, ...]] = {
    "creek and sky": (
        "raw_turbidity", "raw_temperature", "raw_uv254", "stream_level", "intake_head_loss", "air_temperature", "rain",
    ),
    "plant": (
        "plant_flow", "settled_turbidity", "filter_1_turbidity", "filter_1_head_loss", "filter_1_flow",
        "filter_2_turbidity", "filter_2_head_loss", "filter_2_flow", "combined_turbidity", "backwash_flow",
    ),
    "clearwell, tank and village": (
        "contact_chlorine", "contact_temperature", "contact_level", "storage_level", "demand_flow", "entry_chlorine",
    ),
}  # fmt: skip


def truth(clock: Clock, creek: Creek, demand: Floats, course: Course) -> dict[str, Floats]:
    """Return what a perfect instrument would show in each channel, by quarter-hour, inside units."""
    c = course.columns
    return {
        "raw_turbidity": creek.turbidity,
        "raw_temperature": creek.temperature,
        "raw_uv254": creek.uv254,
        "stream_level": creek.level,
        "intake_head_loss": c["screen"],
        "plant_flow": c["flow"],
        "settled_turbidity": c["settled"],
        "filter_1_turbidity": c["turbidity_1"],
        "filter_2_turbidity": c["turbidity_2"],
        "filter_1_head_loss": c["loss_1"],
        "filter_2_head_loss": c["loss_2"],
        "filter_1_flow": c["flow_1"],
        "filter_2_flow": c["flow_2"],
        "combined_turbidity": c["combined"],
        "contact_chlorine": c["contact_chlorine"],
        "contact_temperature": smooth(creek.temperature, 30.0) * 0.97 + 0.35,  # the building warms it a little
        "contact_level": c["contact_level"],
        "storage_level": c["storage_level"],
        "demand_flow": demand,
        "entry_chlorine": c["entry_chlorine"],
        "backwash_flow": c["wash_flow"],
        "air_temperature": creek.air,
        "rain": creek.rain,
    }


def logged(true: Mapping[str, Floats], clock: Clock, rng: np.random.Generator) -> dict[str, Series]:
    """Return what the logger kept, faults and all."""
    found = {}
    lost = _lost(clock.times)
    for channel, instrument in INSTRUMENTS.items():
        shown = _shown(true[channel], instrument, rng)
        if channel == "entry_chlorine":
            shown = _drifted(shown, clock.times)
        _faulty(channel, clock.times, shown)
        times, values = clock.times, shown
        if instrument.minutes:
            times, values = _by_minute(channel, instrument, times, values, rng)
        keep = ~(lost if len(times) == len(lost) else _lost(times))
        if channel == "combined_turbidity":
            keep &= ~_inside(times, scenario.TURBIDIMETER_DEAD.seconds)
        found[channel] = series(channel, times[keep], values[keep])
    return found


def _digit(instrument: Instrument) -> float:
    count, unit = instrument.digit.split(" ", 1)
    inside = {"gpm": "m^3/s", "ft": "m", "in": "m"}.get(unit, unit)
    return float(count) * quantity.factor(unit, inside)


def _shown(true: Floats, instrument: Instrument, rng: np.random.Generator) -> Floats:
    """Return what is shown: noise, half of it slow, on values that are not zero, in whole digits."""
    digit, n = _digit(instrument), len(true)
    slow = red_noise(rng, n, 0.25, 6) if instrument.relative else np.zeros(n)
    noise = instrument.relative * true * (0.6 * slow + 0.8 * rng.standard_normal(n))
    noise += instrument.absolute * digit * rng.standard_normal(n)
    shown = np.where(true == 0, 0.0, true + noise)
    least = -np.inf if "deg" in instrument.digit else 0.0
    return np.asarray(np.maximum(np.round(shown / digit) * digit, least))


def _inside(times: Ints, span: tuple[int, int]) -> NDArray[np.bool_]:
    return np.asarray((times >= span[0]) & (times < span[1]))


def _lost(times: Ints) -> NDArray[np.bool_]:
    """Return where nothing was kept at all: the power failed for longer than the logger's battery lasts."""
    failed, back = scenario.POWER_FAILURE.seconds
    return _inside(times, (failed + BATTERY, back))


def _drifted(shown: Floats, times: Ints) -> Floats:
    """Return the entry residual as an analyser with a fouled membrane shows it, until it is cleaned."""
    a, b = scenario.CHLORINE_DRIFT.seconds
    low = np.where(_inside(times, (a, b)), 0.38 * np.clip((times - a) / (b - a), 0, 1), 0.0)
    return np.asarray(np.maximum(shown - np.round(low, 3), 0.02))


def _faulty(channel: str, times: Ints, shown: Floats) -> None:
    """Let the instrument lie where the scenario says so."""
    if channel == "raw_turbidity":
        stuck = _inside(times, scenario.RAW_STUCK.seconds)
        shown[stuck] = shown[np.argmax(stuck)]
        for moment, value in scenario.RAW_SPIKES:
            shown[np.searchsorted(times, moment.timestamp())] = value
    if channel == "settled_turbidity":
        moment, value = scenario.SETTLED_SPIKE
        shown[np.searchsorted(times, moment.timestamp())] = value
    if channel == "filter_1_turbidity":
        shown[_inside(times, scenario.FILTER_1_ZERO.seconds)] = 0.0


def _by_minute(
    channel: str, instrument: Instrument, times: Ints, values: Floats, rng: np.random.Generator
) -> tuple[Ints, Floats]:
    """Return the channel with a value a minute in the last weeks; on the quarter-hours it is what it was."""
    begin = int(np.searchsorted(times, scenario.MINUTES_FROM.timestamp()))
    fine = np.arange(times[begin], times[-1] + 1, MINUTE, dtype=np.int64)
    if channel in STEPPED:
        between = values[begin + (fine - times[begin]) // 900]
    else:
        between = np.interp(fine, times[begin:], values[begin:])
    digit, n = _digit(instrument), len(fine)
    noise = rng.standard_normal(n) * (0.6 * instrument.relative * between + instrument.absolute * digit)
    own = (fine - times[begin]) % 900 == 0
    between = np.where(own | (between == 0), between, np.maximum(between + noise, digit))
    between = np.where(own, between, np.round(between / digit) * digit)
    return np.concatenate([times[:begin], fine]), np.concatenate([values[:begin], between])

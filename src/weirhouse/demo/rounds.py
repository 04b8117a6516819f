"""What did the operator read and measure? Rounds through the plant, grab samples, and what the laboratory sent."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from weirhouse import quantity
from weirhouse.demo import scenario
from weirhouse.demo.clock import Clock, Floats
from weirhouse.demo.names import name
from weirhouse.demo.train import Course
from weirhouse.records.model import Reading


@dataclass(frozen=True, slots=True)
class Look:
    """What is read at a round: its unit on paper, its decimals, the spread of reading it, and on which rounds."""

    channel: str
    unit: str  # as written
    inside: str
    decimals: int
    relative: float = 0.0
    absolute: float = 0.0  # [unit as written]
    device: str = ""
    which: str = "all"  # "first" of the day, "all", "week": first of a Monday
    running: bool = False  # only while the plant runs


# In walking order: the creek, the feeds, the basins, the filters, the clearwell.
LOOKS = (
    Look("raw_turbidity", "NTU", "NTU", 2, 0.03, 0.02, scenario.BENCH, "first"),
    Look("raw_ph", "pH", "pH", 2, 0, 0.03, scenario.BENCH),
    Look("raw_alkalinity", "mg/L", "g/m^3", 0, 0.02, 0.5, "titration", "week"),
    Look("coagulant_dose", "mg/L", "g/m^3", 1, running=True),
    Look("coagulant_setting", "percent", "1", 1, running=True),
    Look("coagulant_tank_level", "in", "m", 1, 0, 0.05, "dipstick"),
    Look("settled_turbidity", "NTU", "NTU", 2, 0.04, 0.01, scenario.BENCH, running=True),
    Look("settled_ph", "pH", "pH", 2, 0, 0.03, scenario.BENCH, running=True),
    Look("combined_turbidity", "NTU", "NTU", 3, 0.04, 0.002, scenario.BENCH, "first", running=True),
    Look("chlorine_dose", "mg/L", "g/m^3", 2, running=True),
    Look("chlorine_setting", "percent", "1", 1, running=True),
    Look("chlorine_tank_level", "in", "m", 1, 0, 0.05, "dipstick"),
    Look("contact_ph", "pH", "pH", 2, 0, 0.03, scenario.BENCH),
    Look("contact_chlorine", "mg/L", "g/m^3", 2, 0.015, 0.015, "test kit", "first"),
    Look("entry_chlorine", "mg/L", "g/m^3", 2, 0.015, 0.015, "test kit"),
)

# What was sampled by hand while its meter was out; the analyser's drift was seen only after days.
GRABS = (
    (Look("combined_turbidity", "NTU", "NTU", 3, 0.04, 0.002, scenario.BENCH), scenario.TURBIDIMETER_DEAD),
    (
        Look("entry_chlorine", "mg/L", "g/m^3", 2, 0.015, 0.015, "test kit"),
        scenario.Span(scenario.CHLORINE_DRIFT.start + scenario.hours(105.5), scenario.CHLORINE_DRIFT.end),
    ),
)
# channel, day: typed without its decimal point at first
SLIPS = (("raw_ph", "2025-12-03"), ("settled_ph", "2026-04-22"), ("coagulant_tank_level", "2026-10-20"))
SLIPPED = "decimal point left out"


def read(
    true: Mapping[str, Floats], channels: Mapping[str, str], clock: Clock, course: Course, rng: np.random.Generator
) -> list[Reading]:
    """Return the readings of all rounds of the channels that the plant has, and the grab samples of the dead meter."""
    found, day, running = [], -1, course.columns["flow"]
    for i in course.rounds:
        today = int(clock.wall[i] // 86400)
        first, day = today != day, today
        monday = (today + 3) % 7 == 0
        at = int(clock.times[i])
        for look in LOOKS:
            wanted = {"all": True, "first": first, "week": first and monday}[look.which]
            if look.channel not in channels or not wanted or (look.running and running[i] == 0):
                continue
            at += 60
            found.append(_reading(look, float(true[look.channel][i]), at, rng))
    feeds = [look for look in LOOKS if look.channel in channels and look.channel.endswith(("_dose", "_setting"))]
    for i in _reset(course):
        at = int(clock.times[i]) + 240
        for k, look in enumerate(feeds):
            found.append(_reading(look, float(true[look.channel][i]), at + 60 * k, rng))
    for grab, span in GRABS:
        if grab.channel in channels:
            for i in _grabs(clock, running, span):
                at = int(clock.times[i]) + 120
                found.append(_reading(grab, float(true[grab.channel][i]), at, rng, "grab sample"))
    return found


def slips(readings: Sequence[Reading]) -> dict[str, Reading]:
    """Return what was mistyped at first and put right later, by the id of the reading meant."""
    found = {}
    for channel, day in SLIPS:
        meant = next(
            (r for r in readings if r.channel == channel and f"{r.taken_at.astimezone(scenario.ZONE):%Y-%m-%d}" == day),
            None,
        )
        if meant is not None and meant.value is not None:
            text = f"{10 * float(meant.text):g}"
            found[meant.id] = replace(meant, value=10 * meant.value, text=text, id=name("slip", meant.id))
    return found


def _reset(course: Course) -> list[int]:
    """Return when a pump was set anew while the plant ran, as it was written down then too."""
    columns = [course.columns[f"{feed}_{what}"] for feed in ("coagulant", "chlorine") for what in ("dose", "setting")]
    changed = np.any([np.diff(column, prepend=column[0]) != 0 for column in columns], axis=0)
    rounds = set(course.rounds)
    return [i for i in np.flatnonzero(changed & (course.columns["flow"] > 0)).tolist() if i not in rounds]


def _grabs(clock: Clock, running: Floats, span: scenario.Span) -> Iterator[int]:
    """Yield when water was sampled by hand while its meter was out: every four hours of running."""
    a, b = span.seconds
    last = 0
    for i in np.flatnonzero((clock.times >= a) & (clock.times < b) & (running > 0)).tolist():
        if clock.times[i] - last >= 4 * 3600:
            last = int(clock.times[i])
            yield i


def _reading(look: Look, true: float, at: int, rng: np.random.Generator, note: str = "") -> Reading:
    written = quantity.convert(true, look.inside, look.unit)
    written *= 1 + look.relative * float(rng.standard_normal())
    written += look.absolute * float(rng.standard_normal())
    text = f"{max(0.0, written):.{look.decimals}f}"
    taken = datetime.fromtimestamp(at, UTC)
    return Reading(
        channel=look.channel, value=float(quantity.convert(float(text), look.unit, look.inside)), taken_at=taken,
        unit=look.unit, text=text, person=scenario.operator_on(taken), device=look.device, note=note,
        id=name("reading", look.channel, at),
    )  # fmt: skip

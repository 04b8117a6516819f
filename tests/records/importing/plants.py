"""A plant for the tests of importing: channels with their units, and no more."""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse import quantity
from weirhouse.records.importing import mapping, plan, source
from weirhouse.records.importing.plan import Plan, PlannedSeries

NOW = datetime(2026, 11, 25, tzinfo=UTC)
EASTERN = ZoneInfo("America/New_York")
SHARED = Path(__file__).parents[4] / "shared" / "data"


@dataclass(frozen=True)
class Channel:
    """What importing needs of a channel."""

    name: str
    unit: str
    inside: str
    low: float | None = None
    high: float | None = None


CHANNELS = {
    "raw_turbidity": Channel("Raw turbidity", "NTU", "NTU", 0.0, 4000.0),
    "raw_temperature": Channel("Raw water temperature", "degF", "degC", -2.0, 45.0),
    "raw_ph": Channel("Raw pH", "pH", "pH", 0.0, 14.0),
    "raw_alkalinity": Channel("Raw alkalinity", "mg/L", "g/m^3", 0.0, 1000.0),
    "raw_uv254": Channel("Raw UV absorbance", "1/cm", "1/m", 0.0, 300.0),
    "stream_level": Channel("Stream level", "ft", "m", -2.0, 30.0),
    "stream_flow": Channel("Stream flow", "ft3/s", "m^3/s", 0.0, 1e5),
    "plant_flow": Channel("Plant flow", "gpm", "m^3/s", 0.0, 0.05),
    "settled_turbidity": Channel("Settled turbidity", "NTU", "NTU", 0.0, 200.0),
    "settled_ph": Channel("Settled pH", "pH", "pH", 0.0, 14.0),
    "coagulant_dose": Channel("Coagulant dose", "mg/L", "g/m^3", 0.0, 300.0),
    "filter_1_turbidity": Channel("Filter 1 turbidity", "NTU", "NTU", 0.0, 20.0),
    "filter_2_turbidity": Channel("Filter 2 turbidity", "NTU", "NTU", 0.0, 20.0),
    "filter_1_head_loss": Channel("Filter 1 head loss", "ft", "m", 0.0, 5.0),
    "combined_turbidity": Channel("Combined filtered turbidity", "NTU", "NTU", 0.0, 20.0),
    "contact_level": Channel("Clearwell level", "ft", "m", 0.0, 10.0),
    "storage_level": Channel("Level of the tank on the hill", "ft", "m", 0.0, 15.0),
    "entry_chlorine": Channel("Chlorine at the entry point", "mg/L", "g/m^3", 0.0, 10.0),
    "air_temperature": Channel("Air temperature", "degF", "degC", -50.0, 55.0),
    "rain": Channel("Rain", "in", "m", 0.0, 0.3),
    "toc": Channel("Total organic carbon", "mg/L", "g/m^3", 0.0, 100.0),
    "coliform": Channel("Total coliform", "1", "1", 0.0, 1e6),
}


@dataclass
class Village:
    """A plant as importing sees it."""

    channels: dict[str, Channel] = field(default_factory=lambda: dict(CHANNELS))
    zone: ZoneInfo = EASTERN


def planned(
    text: str | bytes, said: dict[str, Any] | None = None, *, zone: ZoneInfo = EASTERN, **more: Channel
) -> Plan:
    """Return what an import of a file with this text would store."""
    raw = text.encode() if isinstance(text, str) else text
    rules = mapping.of_table(said) if said else mapping.NONE
    return plan.plan(source.of_bytes("file.csv", raw), {**CHANNELS, **more}, zone, rules, NOW)


def series(done: Plan, channel: str) -> PlannedSeries:
    """Return the series planned for a channel."""
    return next(s for s in done.series if s.channel == channel)


def utc(*parts: int) -> int:
    """Return the UTC seconds of a date and time."""
    return int(datetime(*parts, tzinfo=UTC).timestamp())


def values(done: Plan, channel: str) -> list[float]:
    """Return the values planned for a channel."""
    return [float(v) for v in series(done, channel).values]


def times(done: Plan, channel: str) -> list[int]:
    """Return the times planned for a channel."""
    return [int(t) for t in series(done, channel).times]


def same(a: PlannedSeries, b: PlannedSeries) -> bool:
    """Whether two series are equal, gaps included."""
    return (
        a.channel == b.channel
        and np.array_equal(a.times, b.times)
        and np.array_equal(a.values, b.values, equal_nan=True)
        and np.array_equal(a.flags, b.flags)
    )


def why(done: Plan) -> SimpleNamespace:
    """Return what was not taken: refusals by line, gaps, and columns left."""
    return SimpleNamespace(lines=dict(done.parsed.refused.kept), gaps=done.parsed.gaps, left=dict(done.parsed.unmapped))


def shown(done: Plan) -> str:
    """Return a plan in lines, for the documentation: the values of each channel, gaps and refused lines."""
    marks = {3: "<", 4: ">"}
    words = {1: " doubtful", 2: " rejected"}
    lines = []
    for one in done.series:
        channel = CHANNELS[one.channel]
        cells = []
        for time, value, flag in zip(one.times.tolist(), one.values.tolist(), one.flags.tolist(), strict=True):
            at = datetime.fromtimestamp(time, EASTERN).isoformat(timespec="minutes")
            number = quantity.convert(value, channel.inside, channel.unit)
            cells.append(f"{at} {marks.get(flag, '')}{number:.6g} {channel.unit}{words.get(flag, '')}")
        lines.append(f"{one.channel}: {', '.join(cells)}")
    if done.parsed.gaps:
        lines.append("no reading: " + ", ".join(f"{text} {n}" for text, n in done.parsed.gaps.items()))
    lines += [f"line {line}: {reason}" for line, reason in done.parsed.refused.kept]
    return "\n".join(lines)

"""What would be stored of a file? Values in the units used inside, each time once, with a count of all else."""

from collections.abc import Mapping as Table
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse import quantity
from weirhouse.records.importing import numbers, tables, waterml
from weirhouse.records.importing.mapping import Mapping
from weirhouse.records.importing.names import ChannelLike
from weirhouse.records.importing.numbers import Flags, Values
from weirhouse.records.importing.parsed import Parsed, Track
from weirhouse.records.importing.problem import FileProblem, shown
from weirhouse.records.importing.source import Source
from weirhouse.records.importing.stamps import Ints

_DAY = 86400
_MANY = 0.05


@dataclass(frozen=True, slots=True)
class PlannedSeries:
    """Values of one channel in its inside unit, by UTC seconds, each time once."""

    channel: str
    times: Ints
    values: Values
    flags: Flags


@dataclass(frozen=True, slots=True)
class PlannedResult:
    """One laboratory result: the value in the inside unit (None where there is no figure), and as it was written."""

    channel: str
    time: int
    value: float | None
    unit: str
    text: str
    qualifier: str
    flag: str


@dataclass(slots=True)
class Plan:
    """All that an import would do, before it does it."""

    form: str
    rows: int
    series: list[PlannedSeries] = field(default_factory=list)
    results: list[PlannedResult] = field(default_factory=list)
    columns: dict[str, str] = field(default_factory=dict)
    parsed: Parsed = field(default_factory=lambda: Parsed(""))
    repeated: int = 0

    @property
    def count(self) -> int:
        """How many values would be stored."""
        return sum(len(s.times) for s in self.series) + len(self.results)

    @property
    def span(self) -> tuple[int, int] | None:
        """First and last time, in UTC seconds."""
        edges = [int(e) for s in self.series if len(s.times) for e in (s.times[0], s.times[-1])]
        edges += [r.time for r in self.results]
        return (min(edges), max(edges)) if edges else None


def parse(
    source: Source, channels: Table[str, ChannelLike], zone: ZoneInfo, mapping: Mapping, entered_at: datetime
) -> Parsed:
    """Return what the file says; FileProblem where it says nothing that can be used."""
    latest = int(entered_at.timestamp()) + _DAY
    if waterml.is_xml(source.data) or waterml.is_json(source.data):
        return waterml.read(source.name, source.data, channels, zone, mapping, latest)
    if _is_bulletin(source.data):
        raise FileProblem(
            f"{source.name} is a SHEF bulletin: a text of forecasts, which this version does not read. Enter what "
            "you need of it "
            "by hand."
        )
    return tables.read(source.name, source.data, channels, zone, mapping, latest)


def _is_bulletin(data: bytes) -> bool:
    return any(
        line.startswith((b".E ", b".ER ", b".E1 ", b".A ", b".AR ", b".B ", b".BR "))
        for line in data[:65536].split(b"\n")
    )


def plan(
    source: Source, channels: Table[str, ChannelLike], zone: ZoneInfo, mapping: Mapping, entered_at: datetime
) -> Plan:
    """Return what an import of the file would store."""
    parsed = parse(source, channels, zone, mapping, entered_at)
    out = Plan(parsed.form, parsed.rows, parsed=parsed)
    inside = [_inside(track, channels[track.channel]) for track in parsed.tracks]
    fit = [
        _plausible(track, values, channels[track.channel], parsed)
        for track, values in zip(parsed.tracks, inside, strict=True)
    ]
    for track, values, plausible in zip(parsed.tracks, inside, fit, strict=True):
        if not plausible:
            parsed.unmapped.append((track.name, f"its values are not those of {track.channel}"))
            continue
        if track.assumed and not all(fit):
            parsed.unmapped.append((track.name, "the file does not say where it was measured"))
            continue
        if track.laboratory:
            out.columns[track.name] = track.channel
            out.repeated += _results(track, values, out)
            continue
        kept = _each_once(track, values, parsed)
        if kept is None:
            parsed.unmapped.append((track.name, "several different values at one time"))
            continue
        rows, repeated = kept
        out.columns[track.name] = track.channel
        out.repeated += repeated
        out.series.append(PlannedSeries(track.channel, track.times[rows], values[rows], track.flags[rows]))
    if not out.columns:
        raise FileProblem(
            f"{source.name}: {parsed.questions[0] if parsed.questions else 'it holds no reading of a channel.'}"
        )
    return out


def _inside(track: Track, channel: ChannelLike) -> Values:
    if channel.inside_unit == "NTU":
        return track.values
    if not track.unit or track.unit == channel.inside_unit:
        return track.values
    return np.asarray(quantity.convert(track.values, track.unit, channel.inside_unit), np.float64)


def _plausible(track: Track, values: Values, channel: ChannelLike, parsed: Parsed) -> bool:
    """Whether a column whose place was taken for granted can be the channel; remarks where it hardly can."""
    known = values[np.isfinite(values)]
    if not len(known):
        return True
    low = -np.inf if channel.low is None else channel.low
    high = np.inf if channel.high is None else channel.high
    outside = int(((known < low) | (known > high)).sum())
    if track.assumed and outside > 0.9 * len(known):
        parsed.questions.append(
            f'Is "{shown(track.name)}" really {track.channel}? {outside} of its {len(known)} values lie outside of '
            "what that can "
            f'be. Say it in a mapping: columns = {{ "{shown(track.name)}" = "{track.channel}" }}.'
        )
        return False
    if outside > 0.5 * len(known):
        parsed.remarks.append(
            f'"{shown(track.name)}": {outside} of {len(known)} values lie outside of what {track.channel} can be. '
            "Check its unit and "
            "place before you rely on it."
        )
    return True


def _each_once(track: Track, values: Values, parsed: Parsed) -> tuple[Ints, int] | None:
    """Return (rows in order of time with each time once, rows that only repeat); None where times are shared by many.

    Of several values at one time the first in the file is kept and the others are refused, unless they are the same.
    """
    times = track.times
    steps = np.diff(times)
    if (steps > 0).all():
        return np.arange(len(times)), 0
    order = np.argsort(times, kind="stable")
    ordered = times[order]
    first = np.ones(len(ordered), np.bool_)
    first[1:] = ordered[1:] != ordered[:-1]
    owner = np.maximum.accumulate(np.where(first, np.arange(len(ordered)), 0))
    v, f = values[order], track.flags[order]
    same = ((v == v[owner]) | (np.isnan(v) & np.isnan(v[owner]))) & (f == f[owner])
    other = ~first & ~same
    if other.sum() > _MANY * first.sum() and other.sum() > 3:
        at = order[np.flatnonzero(other)[0]]
        when = datetime.fromtimestamp(int(times[at]), tz=ZoneInfo("UTC")).strftime("%Y-%m-%d %H:%M")
        parsed.questions.append(
            f'"{shown(track.name)}" has several different values at one time (as in line {int(track.lines[at])}, '
            f"{when} UTC): the file "
            'mixes places, depths or samples. Choose rows in a mapping: where = { "heading" = "text" }.'
        )
        return None
    for k in np.flatnonzero(other).tolist():
        parsed.refused.add(
            int(track.lines[order[k]]),
            f"{shown(track.name, 30)}: another value stands at the same time in line "
            f"{int(track.lines[order[owner[k]]])}; "
            "the first is kept",
        )
    return order[first], int((~first & same).sum())


_FLAG_WORDS = {numbers.DOUBTFUL: "doubtful", numbers.REJECTED: "rejected"}


def _results(track: Track, values: Values, out: Plan) -> int:
    seen: set[tuple[int, str, str]] = set()
    repeated = 0
    for k in np.argsort(track.times, kind="stable").tolist():
        key = (int(track.times[k]), track.texts[k], track.qualifiers[k])
        if key in seen:
            repeated += 1
            continue
        seen.add(key)
        value = float(values[k])
        out.results.append(
            PlannedResult(
                track.channel,
                int(track.times[k]),
                None if value != value else value,
                track.unit,
                track.texts[k],
                track.qualifiers[k],
                _FLAG_WORDS.get(int(track.flags[k]), ""),
            )
        )
    return repeated

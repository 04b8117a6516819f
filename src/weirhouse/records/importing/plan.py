"""What would be stored of a file? Values in the units used inside, each time once, with a count of all else."""

from collections.abc import Mapping as Table
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
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
_MANY = 0.05  # share of times with several values above which a file is a mixture of places or samples
_ROUNDING = 0.05  # one result given in two units, each rounded, differs by no more than this share
_FLAG_WORDS = {numbers.DOUBTFUL: "doubtful", numbers.REJECTED: "rejected"}


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
    line: int  # of the file, from 1
    heading: str  # what the file calls it


@dataclass(frozen=True, slots=True)
class PlannedColumn:
    """Where a column goes, with all that would be stored of it, as a series for showing."""

    heading: str
    unit: str
    channel: str
    times: Ints
    values: Values
    flags: Flags


@dataclass(slots=True)
class Plan:
    """All that an import would do, before it does it."""

    parsed: Parsed
    series: list[PlannedSeries] = field(default_factory=list)
    results: list[PlannedResult] = field(default_factory=list)
    columns: list[PlannedColumn] = field(default_factory=list)
    repeated: int = 0

    @property
    def count(self) -> int:
        """How many values would be stored if the records held none of them."""
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
            f"{source.name} is a SHEF bulletin, a text of forecasts, which is not read. Enter what you need by hand."
        )
    return tables.read(source.name, source.data, channels, zone, mapping, latest)


def _is_bulletin(data: bytes) -> bool:
    marks = (b".E ", b".ER ", b".E1 ", b".A ", b".AR ", b".B ", b".BR ")
    return any(line.startswith(marks) for line in data[:65536].split(b"\n"))


def plan(
    source: Source, channels: Table[str, ChannelLike], zone: ZoneInfo, mapping: Mapping, entered_at: datetime
) -> Plan:
    """Return what an import of the file would store."""
    parsed = parse(source, channels, zone, mapping, entered_at)
    out = Plan(parsed)
    fit = [_plausible(track, _inside(track, channels), channels[track.channel], parsed) for track in parsed.tracks]
    groups: dict[str, list[Track]] = {}
    for track, plausible in zip(parsed.tracks, fit, strict=True):
        if not plausible:
            parsed.unmapped.append((track.name, f"its values are not those of {track.channel}"))
        elif track.assumed and not all(fit):
            parsed.unmapped.append((track.name, "the file does not say where it was measured"))
        else:
            groups.setdefault(track.channel, []).append(track)
    for several in groups.values():
        if several[0].laboratory:
            _plan_results(several, channels, out)
        else:
            _plan_series(several, channels, out)
    if not out.columns:
        why = parsed.questions[0] if parsed.questions else "it holds no reading of a channel."
        raise FileProblem(f"{source.name}: {why}")
    if not out.count and parsed.refused.kept:
        line, why = min(parsed.refused.kept)
        more = f" (and {parsed.refused.count - 1} more)" if parsed.refused.count > 1 else ""
        raise FileProblem(f"{source.name}: no value of it can be used. Line {line}: {why}{more}.")
    return out


def _inside(track: Track, channels: Table[str, ChannelLike]) -> Values:
    inside = channels[track.channel].inside
    if inside == "NTU" or not track.unit or track.unit == inside:
        return track.values
    return np.asarray(quantity.convert(track.values, track.unit, inside), np.float64)


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
            f'what that can be. Say it in a mapping: columns = {{ "{shown(track.name)}" = "{track.channel}" }}.'
        )
        return False
    if outside > 0.5 * len(known):
        parsed.remarks.append(
            f'"{shown(track.name)}": {outside} of {len(known)} values lie outside of what {track.channel} can be. '
            "Check its unit and place before you rely on it."
        )
    return True


# --- series ----------------------------------------------------------------------------------------------------------


def _plan_series(several: Sequence[Track], channels: Table[str, ChannelLike], out: Plan) -> None:
    """Plan the tracks of one channel; there are several where a file gives a parameter in several units."""
    track, values = several[0], _inside(several[0], channels)
    if len(several) > 1:
        parts = [_inside(t, channels) for t in several]
        values = np.concatenate(parts)
        track = replace(
            track,
            times=np.concatenate([t.times for t in several]),
            values=values,
            flags=np.concatenate([t.flags for t in several]),
            lines=np.concatenate([t.lines for t in several]),
        )
    kept = _each_once(track, values, _ROUNDING if len(several) > 1 else 0.0, out.parsed)
    if kept is None:
        out.parsed.unmapped.append((track.name, "several different values at one time"))
        return
    rows, repeated = kept
    out.repeated += repeated
    whole = len(rows) == len(track.times) and bool((np.diff(rows) == 1).all())
    times, flags = (track.times, track.flags) if whole else (track.times[rows], track.flags[rows])
    values = values if whole else values[rows]
    out.series.append(PlannedSeries(track.channel, times, values, flags))
    units = ", ".join(dict.fromkeys(t.unit for t in several))
    out.columns.append(PlannedColumn(track.name, units, track.channel, times, values, flags))


def _each_once(track: Track, values: Values, rounding: float, parsed: Parsed) -> tuple[Ints, int] | None:
    """Return (rows in order of time with each time once, rows that only repeat); None where times are shared by many.

    Of several values at one time the first in the file is kept and the others are refused, unless they are the same.
    """
    times = track.times
    if (np.diff(times) > 0).all():
        return np.arange(len(times)), 0
    order = np.argsort(times, kind="stable")
    ordered = times[order]
    first = np.ones(len(ordered), np.bool_)
    first[1:] = ordered[1:] != ordered[:-1]
    owner = np.maximum.accumulate(np.where(first, np.arange(len(ordered)), 0))
    v, f = values[order], track.flags[order]
    same = (v == v[owner]) | (np.isnan(v) & np.isnan(v[owner]))
    if rounding:
        same |= np.abs(v - v[owner]) <= rounding * np.abs(v[owner])
    same &= f == f[owner]
    other = ~first & ~same
    if other.sum() > _MANY * first.sum() and other.sum() > 3:
        at = order[np.flatnonzero(other)[0]]
        when = datetime.fromtimestamp(int(times[at]), UTC).strftime("%Y-%m-%d %H:%M")
        parsed.questions.append(
            f'"{shown(track.name)}" has several different values at one time (as in line {int(track.lines[at])}, '
            f'{when} UTC): the file mixes places, depths or samples. Choose rows in a mapping: where = {{ "heading" '
            '= "text" }.'
        )
        return None
    for k in np.flatnonzero(other).tolist():
        parsed.refused.add(
            int(track.lines[order[k]]),
            f"{shown(track.name, 30)}: another value stands at the same time in line "
            f"{int(track.lines[order[owner[k]]])}; the first is kept",
        )
    return order[first], int((~first & same).sum())


# --- laboratory results ----------------------------------------------------------------------------------------------


def _plan_results(several: Sequence[Track], channels: Table[str, ChannelLike], out: Plan) -> None:
    """Plan laboratory results of one channel, each once: several at one time stand unless they say the same."""
    had: dict[tuple[int, str], list[float]] = {}
    times, figures, flags = [], [], []
    for track in several:
        values = _inside(track, channels)
        for k in range(len(track.times)):
            time, value, qualifier = int(track.times[k]), float(values[k]), track.qualifiers[k]
            seen = had.setdefault((time, qualifier), [])
            if any(v == value or (v != v and value != value) or abs(v - value) <= _close(v, several) for v in seen):
                out.repeated += 1
                continue
            seen.append(value)
            flag = int(track.flags[k])
            times.append(time)
            figures.append(value)
            flags.append(flag)
            out.results.append(
                PlannedResult(
                    track.channel,
                    time,
                    None if value != value else value,
                    track.unit,
                    track.texts[k],
                    qualifier,
                    _FLAG_WORDS.get(flag, ""),
                    int(track.lines[k]),
                    track.name,
                )
            )
    order = np.argsort(np.array(times, np.int64), kind="stable")
    out.columns.append(
        PlannedColumn(
            several[0].name,
            ", ".join(dict.fromkeys(t.unit for t in several)),
            several[0].channel,
            np.array(times, np.int64)[order],
            np.array(figures, np.float64)[order],
            np.array(flags, np.uint8)[order],
        )
    )


def _close(value: float, several: Sequence[Track]) -> float:
    return _ROUNDING * abs(value) if len(several) > 1 else 0.0

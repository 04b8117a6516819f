"""When was each row taken, and is it meant? The time columns of a table, row by row."""

from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse.records.importing import columns, fields, layout, names, numbers, stamps, when
from weirhouse.records.importing.layout import Layout
from weirhouse.records.importing.mapping import Mapping, offset_in
from weirhouse.records.importing.parsed import Parsed
from weirhouse.records.importing.problem import FileProblem, listed, shown, word_set
from weirhouse.records.importing.stamps import NO_OFFSET, Ints, Mask, Stamps

_AFTER = word_set(
    "end analysis received change last created modified updated prepared reported entered visit expiry",
)


_HALVES = {"am": 0, "a.m.": 0, "pm": 1, "p.m.": 1}  # bare A and P are codes beside values


class TimeColumns(NamedTuple):
    """Where the times stand: a column (with or without its time of day in a second), zone letters, epoch seconds.

    `half` is a column of AM and PM that stands apart from the time of day, `parts` are columns of year, month, hour.
    """

    date: int
    time: int | None
    zone: int | None
    epoch: str | None
    half: int | None = None
    parts: tuple[tuple[str, int], ...] = ()


def time_columns(name: str, found: Layout, mapping: Mapping) -> TimeColumns:
    """Return where the times stand; FileProblem where no column holds any."""
    headings = [c.heading for c in found.columns]
    zone = next((c.at for c in found.columns if names.heading_key(c.heading) in names.ZONE_WORDS), None)
    if mapping.time:
        places = []
        for wanted in mapping.time:
            at = columns.find_heading(wanted, headings)
            if at is None:
                raise FileProblem(
                    f'The mapping names a time column "{shown(wanted)}", which the file has not. It has: '
                    f"{layout.seen(found)}."
                )
            places.append(at)
        return TimeColumns(
            places[0], places[1] if len(places) > 1 else None, zone, mapping.epoch, _half_of(found, places[-1])
        )
    full: list[tuple[tuple[float, ...], int]] = []
    dates: list[tuple[tuple[float, ...], int]] = []
    clock_only: list[int] = []
    epochs: list[tuple[int, str]] = []
    for column in found.columns:
        cells = [c for c in column.sample[:200] if c]
        if not cells or len(cells) < 0.5 * min(len(column.sample), 200):
            continue
        said = set(names.words(column.heading)) | {names.heading_key(column.heading)}
        timely = bool(said & names.TIME_WORDS) or any(
            w in names.heading_key(column.heading) for w in ("date", "time", "stamp")
        )
        digits = all(c.isdigit() for c in cells)
        if digits and not timely:
            continue
        seen = stamps.of_texts(cells)
        _, mdy = stamps.resolve(seen, "mdy")
        _, dmy = stamps.resolve(seen, "dmy")
        dated = mdy | dmy
        if digits:
            dated &= (seen.year >= 1980) & (seen.year <= 2100)
        share = dated.mean()
        with_time = (dated & (seen.seconds >= 0)).mean()
        rank = (
            float(bool(said & _AFTER)),
            -float((seen.offset[dated] != NO_OFFSET).mean()) if dated.any() else 0.0,
            -float(timely),
            float(len(set(cells)) <= max(1, len(cells) // 20) and len(cells) > 40),
            float(column.at),
        )
        enough = 0.3 if timely else 0.6
        if with_time >= enough:
            full.append((rank, column.at))
        elif share >= enough:
            dates.append((rank, column.at))
        elif (seen.good & (seen.year < 0) & (seen.seconds >= 0)).mean() >= 0.6:
            clock_only.append(column.at)
        elif said & names.EPOCH_WORDS or mapping.epoch:
            scale = _epoch_scale(cells)
            if scale:
                epochs.append((column.at, scale))
    full.sort()
    dates.sort()
    if full and (full[0][0][0] == 0 or not dates or dates[0][0][0] > 0):
        at = full[0][1]
        own_zone = full[0][0][1] < 0
        return TimeColumns(at, None, None if own_zone else _near(zone, found, at), None, _half_of(found, at))
    parts = _parts_of(found)
    if not dates and "year" in parts and ({"month", "day"} <= set(parts) or "day_of_year" in parts):
        return TimeColumns(parts["year"], None, zone, None, None, tuple(parts.items()))
    if dates and not clock_only and ("hour" in parts or "hhmm" in parts):
        of_day = tuple((part, at) for part, at in parts.items() if part in ("hour", "minute", "hhmm"))
        return TimeColumns(dates[0][1], None, zone, None, None, of_day)
    if dates:
        at = dates[0][1]
        near = [t for t in clock_only if not set(names.words(found.columns[t].heading)) & _AFTER] or clock_only
        time = min(near, key=lambda t: (t < at, abs(t - at)), default=None)
        last = time if time is not None else at
        return TimeColumns(at, time, _near(zone, found, last), None, _half_of(found, last))
    if epochs:
        return TimeColumns(epochs[0][0], None, None, mapping.epoch or epochs[0][1])
    raise FileProblem(
        f"{name} has no column of dates or times that is understood. It has: {layout.seen(found)}. Name the time "
        'column in a mapping: time = "heading".'
    )


def _near(zone: int | None, found: Layout, at: int) -> int | None:
    """Return the column of zone letters that belongs to the time column: the one named so, or the next after it."""
    if zone is not None:
        return zone
    for column in found.columns[at + 1 : at + 3]:
        key = names.heading_key(column.heading)
        if key.endswith(("timezonecode", "timezone", "time_zone")):
            return column.at
    return None


def _parts_of(found: Layout) -> dict[str, int]:
    """Return the columns of whole numbers that are named as parts of a time."""
    parts: dict[str, int] = {}
    for column in found.columns:
        key = names.heading_key(column.heading)
        part = next((part for part, words in names.PART_WORDS.items() if key in words), "")
        cells = [c for c in column.sample[:200] if c]
        if part and part not in parts and cells and sum(c.isdigit() for c in cells) >= 0.6 * len(cells):
            parts[part] = column.at
    return parts


def _half_of(found: Layout, at: int) -> int | None:
    """Return the column of AM and PM behind a time column, or None."""
    for column in found.columns[at + 1 : at + 3]:
        cells = [c for c in column.sample if c]
        if cells and all(c.lower() in _HALVES for c in cells):
            return column.at
    return None


def _epoch_scale(cells: list[str]) -> str | None:
    values = []
    for cell in cells:
        try:
            values.append(float(cell.replace(",", ".")))
        except ValueError:
            continue
    if len(values) < 0.6 * len(cells):
        return None
    for scale, unit in (("s", 1.0), ("ms", 1000.0)):
        if sum(6.3e8 <= v / unit <= 4.2e9 for v in values) >= 0.8 * len(values):
            return scale
    return None


class TimeReading:
    """Gathers the times of a table stretch by stretch."""

    def __init__(self, at: TimeColumns) -> None:
        self.at = at
        self.wanted = [at.date] + [k for k in (at.time, at.zone, at.half) if k is not None]
        self.wanted += [k for _, k in at.parts if k not in self.wanted]
        self.dates: list[Stamps] = []
        self.clocks: list[Stamps] = []
        self.zones: list[Ints] = []
        self.halves: list[Ints] = []
        self.epochs: list[Ints] = []
        self.good: list[Mask] = []
        self.lines: list[Ints] = []
        self.example = ""

    def add(self, cells: fields.Cells, place: dict[int, int]) -> None:
        """Take the times of a stretch; `place` tells where each column stands in it."""
        self.lines.append(cells.lines)
        k = place[self.at.date]
        s, e = cells.starts[:, k], cells.ends[:, k]
        if self.at.epoch:
            values, odd = self._numbers(cells, k)
            good = ~odd & np.isfinite(values)
            if self.at.epoch in stamps.DAY_ZERO:
                self.dates.append(stamps.of_days(values, self.at.epoch))
                return
            values = np.where(good, values, 0.0) / (1000.0 if self.at.epoch == "ms" else 1.0)
            self.epochs.append(np.floor(np.clip(values, -1e11, 1e11)).astype(np.int64))
            self.good.append(good)
            return
        if self.at.parts:
            values_of = {part: self._numbers(cells, place[column])[0] for part, column in self.at.parts}
            read = stamps.of_parts(values_of, len(cells.lines))
            if "year" in values_of:
                self.dates.append(read)
            else:
                self.clocks.append(read)
        found = stamps.read(cells.buffer, s, e)
        if "year" not in dict(self.at.parts):
            self.dates.append(found)
        if not self.example:
            first = np.flatnonzero(found.good & ~found.ordered & (found.first <= 12) & (found.second <= 12))
            if len(first):
                self.example = cells.texts(k, first[:1])[0]
        if self.at.time is not None:
            k = place[self.at.time]
            self.clocks.append(stamps.read(cells.buffer, cells.starts[:, k], cells.ends[:, k]))
        if self.at.half is not None:
            texts = cells.texts(place[self.at.half])
            self.halves.append(np.array([_HALVES.get(text.lower(), -1) for text in texts], np.int64))
        if self.at.zone is not None:
            known: dict[str, int] = {}
            zones = []
            for text in cells.texts(place[self.at.zone]):
                if text not in known:
                    offset = offset_in(text)
                    known[text] = (
                        NO_OFFSET + 1 if offset is None and text.strip() else NO_OFFSET if offset is None else offset
                    )
                zones.append(known[text])
            self.zones.append(np.array(zones, np.int64))

    def _numbers(self, cells: fields.Cells, column: int) -> tuple[numbers.Values, Mask]:
        """Return the numbers of a time column, with either decimal sign."""
        s, e = cells.starts[:, column], cells.ends[:, column]
        values, odd = numbers.plain(cells.buffer, s, e, ord("."))
        if odd.any():
            again, still = numbers.plain(cells.buffer, s, e, ord(","))
            values, odd = np.where(odd, again, values), odd & still
        return values, odd

    def all_lines(self) -> Ints:
        """Return the line of every row."""
        return np.concatenate(self.lines) if self.lines else np.zeros(0, np.int64)


def times_of(
    reading: TimeReading,
    name: str,
    found: Layout,
    mapping: Mapping,
    zone: ZoneInfo,
    filled: Mask,
    latest: int,
    parsed: Parsed,
    groups: list[Ints] | None = None,
) -> tuple[Ints, Mask, Ints]:
    """Return (UTC seconds, which rows have a usable time, line of each row)."""
    lines = reading.all_lines()
    n = len(lines)
    refused = parsed.refused
    if not n:
        return lines, np.zeros(0, np.bool_), lines
    if reading.epochs:
        seconds, good = np.concatenate(reading.epochs), np.concatenate(reading.good)
        refused.many(lines[~good & filled], "the time is not a number of seconds")
        parsed.clock = "seconds since 1970, UTC"
        return seconds, when.refuse_impossible(seconds, good & filled, lines, latest, refused), lines
    dates = stamps.joined(reading.dates)
    order = when.order_of(dates, mapping, found.date_pattern, name, reading.example)
    local, good = stamps.resolve(dates, order)
    offsets, dated = dates.offset.copy(), dates.seconds < 0
    if reading.clocks:
        times = stamps.joined(reading.clocks)
        has = times.good & (times.year < 0) & (times.seconds >= 0)
        local = local + np.where(dated & has, times.seconds, 0)
        offsets = np.where(offsets == NO_OFFSET, times.offset, offsets)
        good &= has | ~dated
        dated = dated & ~has
    if reading.halves:
        half = np.concatenate(reading.halves)
        hour = local // 3600 % 24
        good &= (half >= 0) & (hour >= 1) & (hour <= 12)
        local = local + 43200 * (half == 1) - 43200 * (hour == 12)
    refused.many(lines[~good & filled], "the time is not a date and time that exists")
    if reading.zones:
        zones = np.concatenate(reading.zones)
        unknown = zones == NO_OFFSET + 1
        refused.many(lines[good & unknown & filled], "the letters of its time zone are not known")
        good &= ~unknown
        dated = dated & (zones == NO_OFFSET)
        offsets = np.where(offsets == NO_OFFSET, zones, offsets)
    heading = " ".join(found.columns[k].heading for k in reading.wanted)
    mixed = good & dated & filled
    if mixed.any() and not (good & filled & ~dated).any():
        parsed.remarks.append("The rows carry whole days; each stands at the start of its local day.")
    elif mixed.any():
        midnight = mixed & _fits_as_midnight(local, good & filled, mixed)
        if midnight.any():
            parsed.remarks.append(
                f"{int(midnight.sum())} stamps without a time of day stand where midnight belongs and are read as such."
            )
        refused.many(lines[mixed & ~midnight], "the time of day is missing")
        good = good & (~mixed | midnight)
        dated = dated & ~midnight
    times_out, usable = local.copy(), np.zeros(n, np.bool_)
    for rows in groups if groups is not None else [np.arange(n)]:
        clocked = when.to_utc(
            local[rows],
            good[rows],
            offsets[rows],
            dated[rows],
            name=name,
            heading=heading,
            preamble=found.preamble,
            mapping=mapping,
            zone=zone,
            filled=filled[rows],
            refused=refused,
            lines=lines[rows],
        )
        times_out[rows], usable[rows] = clocked.times, clocked.good
        if not parsed.clock:
            parsed.clock, parsed.nights = clocked.clock, clocked.nights
    return times_out, when.refuse_impossible(times_out, usable & filled, lines, latest, refused), lines


def _fits_as_midnight(local: Ints, good: Mask, mixed: Mask) -> Mask:
    """Return which stamps without a time of day, read as midnight, keep the order of the stamps beside them.

    Some programs write no time of day where it is 00:00.
    """
    out = np.zeros(len(local), np.bool_)
    rows = np.flatnonzero(good)
    if mixed.sum() > 0.1 * len(rows) or len(rows) < 3:
        return out
    t, bare = local[rows], mixed[rows]
    rising = t[-1] >= t[0]
    steps = np.diff(t) if rising else -np.diff(t)
    before, after = np.append(1, steps), np.append(steps, 1)
    day = 86400
    fit = bare & (before > 0) & (before <= day) & (after > 0) & (after <= day)
    out[rows[fit]] = True
    return out


def filters_of(found: Layout, mapping: Mapping) -> dict[int, str]:
    """Return which columns choose the rows, each with the text it must hold, by the mapping."""
    out: dict[int, str] = {}
    headings = [c.heading for c in found.columns]
    for wanted, text in mapping.where.items():
        at = columns.find_heading(wanted, headings)
        if at is None:
            raise FileProblem(
                f'The mapping chooses rows by "{shown(wanted)}", which the file has not. It has: {listed(headings)}.'
            )
        out[at] = text.strip()
    return out


def meant(cells: fields.Cells, filters: dict[int, str], place: dict[int, int]) -> Mask:
    """Return which rows of a stretch hold the texts that choose them."""
    keep = np.ones(len(cells.lines), np.bool_)
    for at, text in filters.items():
        keep &= np.array([c.strip() == text for c in cells.texts(place[at])], np.bool_)
    return keep

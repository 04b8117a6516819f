"""What does a delimited text say? From its bytes and layout to tracks, for wide tables and for long ones."""

from collections.abc import Mapping as Table
from dataclasses import replace
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse.records.importing import columns, fields, layout, names, numbers, stamps, units, when
from weirhouse.records.importing.layout import Column, Layout
from weirhouse.records.importing.mapping import GAP_FLAG, Mapping
from weirhouse.records.importing.numbers import Flags, Values
from weirhouse.records.importing.parsed import Parsed, Track
from weirhouse.records.importing.problem import FileProblem, listed, shown, word_set
from weirhouse.records.importing.stamps import NO_OFFSET, Ints, Mask, Stamps

MOST_LABORATORY = 50_000
_AFTER = word_set(
    "end analysis received change last created modified updated prepared reported entered visit expiry",
)


class TimeColumns(NamedTuple):
    """Where the times stand: a column (with or without its time of day in a second), zone letters, epoch seconds."""

    date: int
    time: int | None
    zone: int | None
    epoch: str | None


class LongColumns(NamedTuple):
    """Where a long table (one value to a row) holds its parts; None where it has no such column."""

    parameter: int
    value: int
    unit: int | None
    qualifier: int | None
    limit: int | None
    limit_unit: int | None
    site: int | None


def read(
    name: str,
    data: bytes,
    channels: Table[str, names.ChannelLike],
    zone: ZoneInfo,
    mapping: Mapping,
    latest: int,
) -> Parsed:
    """Return what the delimited text `data` says about the channels of the plant."""
    found = layout.find(name, data, mapping)
    if found.width < 2:
        raise FileProblem(f"{name} has one column. A table needs a time and at least one value in each row.")
    at = _time_columns(name, found, mapping)
    long = _long_columns(found, at, mapping)
    parsed = Parsed("survey table" if _is_survey(found) else "table")
    if long is not None:
        _read_long(name, data, found, at, long, channels, zone, mapping, latest, parsed)
    else:
        _read_wide(name, data, found, at, channels, zone, mapping, latest, parsed)
    return parsed


def _is_survey(found: Layout) -> bool:
    return bool(found.columns) and names.heading_key(found.columns[0].heading) == "agency_cd"


# --- where the times are ---------------------------------------------------------------------------------------------


def _time_columns(name: str, found: Layout, mapping: Mapping) -> TimeColumns:
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
        return TimeColumns(places[0], places[1] if len(places) > 1 else None, zone, mapping.epoch)
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
        if with_time >= 0.6:
            full.append((rank, column.at))
        elif share >= 0.6:
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
        return TimeColumns(at, None, None if own_zone else _near(zone, found, at), None)
    if dates:
        at = dates[0][1]
        near = [t for t in clock_only if not set(names.words(found.columns[t].heading)) & _AFTER] or clock_only
        time = min(near, key=lambda t: (t < at, abs(t - at)), default=None)
        return TimeColumns(at, time, _near(zone, found, time if time is not None else at), None)
    if epochs:
        return TimeColumns(epochs[0][0], None, None, mapping.epoch or epochs[0][1])
    raise FileProblem(
        f"{name} has no column of dates or times that is understood. It has: {layout.seen(found)}. Name the time "
        "column in a "
        'mapping: time = "heading".'
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


def _epoch_scale(cells: list[str]) -> str | None:
    try:
        values = [float(c) for c in cells]
    except ValueError:
        return None
    for scale, unit in (("s", 1.0), ("ms", 1000.0)):
        if sum(6.3e8 <= v / unit <= 4.2e9 for v in values) >= 0.8 * len(values):
            return scale
    return None


# --- rows to times ---------------------------------------------------------------------------------------------------


class _Reading:
    """Gathers the times of a table stretch by stretch."""

    def __init__(self, at: TimeColumns) -> None:
        self.at = at
        self.wanted = [at.date] + [k for k in (at.time, at.zone) if k is not None]
        self.dates: list[Stamps] = []
        self.clocks: list[Stamps] = []
        self.zones: list[Ints] = []
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
            values, odd = numbers.plain(cells.buffer, s, e, 46)
            good = ~odd & np.isfinite(values)
            values = np.where(good, values, 0.0) / (1000.0 if self.at.epoch == "ms" else 1.0)
            self.epochs.append(np.floor(np.clip(values, -1e11, 1e11)).astype(np.int64))
            self.good.append(good)
            return
        found = stamps.read(cells.buffer, s, e)
        self.dates.append(found)
        if not self.example:
            first = np.flatnonzero(found.good & ~found.ordered & (found.first <= 12) & (found.second <= 12))
            if len(first):
                self.example = cells.texts(k, first[:1])[0]
        if self.at.time is not None:
            k = place[self.at.time]
            self.clocks.append(stamps.read(cells.buffer, cells.starts[:, k], cells.ends[:, k]))
        if self.at.zone is not None:
            known: dict[str, int] = {}
            zones = []
            for text in cells.texts(place[self.at.zone]):
                if text not in known:
                    offset = stamps.zone_seconds(text)
                    known[text] = (
                        NO_OFFSET + 1 if offset is None and text.strip() else NO_OFFSET if offset is None else offset
                    )
                zones.append(known[text])
            self.zones.append(np.array(zones, np.int64))

    def all_lines(self) -> Ints:
        """Return the line of every row."""
        return np.concatenate(self.lines) if self.lines else np.zeros(0, np.int64)


def _times(
    reading: _Reading,
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
    if reading.at.epoch:
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
    if mixed.any() and not (good & filled & ~dated).any() and len(lines) > 1:
        parsed.remarks.append("The rows carry whole days; each stands at the start of its local day.")
    elif mixed.any():
        refused.many(lines[mixed], "the time of day is missing")
        good = good & ~mixed
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


# --- wide tables -----------------------------------------------------------------------------------------------------


def _offered(found: Layout, column: Column) -> columns.Offered:
    name, unit = units.in_heading(column.heading)
    unit = column.unit or unit
    code = names.parameter_code(column.heading)
    described = ""
    if code and not unit:
        described = next((line for line in found.preamble if code in line and "," in line), "")
        unit = units.in_words(described)
    if not code and names.heading_key(name) in ("value", "values", "column_2", "reading"):
        label, stated = _from_preamble(found.preamble)
        name, unit = label or name, unit or stated
    return columns.Offered(column.heading or f"column {column.at + 1}", name, unit, code, _is_survey(found))


def _from_preamble(preamble: tuple[str, ...]) -> tuple[str, str]:
    """Return what the lines above say a column "Value" is, and its unit."""
    label = unit = ""
    for line in preamble:
        key, _, text = line.lstrip("# ").partition(":" if ":" in line.split(";")[0] else ";")
        key, text = names.heading_key(key), text.strip().strip(",;")
        if not text:
            continue
        if key in ("value_units", "value_unit", "units", "unit", "ts_unitsymbol", "unit_symbol"):
            unit = units.clean(text) if units.known(units.clean(text)) else unit
        elif key in ("value_parameter", "parameter", "parametertype_name", "variable"):
            label = text.split(",")[0]
    return label, unit


def _is_code_column(column: Column) -> bool:
    key = names.heading_key(column.heading)
    return (
        key in names.QUALIFIER_WORDS
        or key.endswith(("_cd", "_qual", "_flag", "_qc", "_code", "_qualifier"))
        or key.startswith(("f_", "flag_", "qual_", "label_", "qc_"))
    )


def _code_columns(found: Layout, taken: list[columns.Taken], mapping: Mapping) -> dict[int, list[int]]:
    """Return for each value column the columns that hold its remark codes."""
    codes: dict[int, list[int]] = {t.at: [] for t in taken}
    headings = [c.heading for c in found.columns]
    keys = [names.heading_key(h) for h in headings]
    for t in taken:
        if t.rule is not None and t.rule.qualifier:
            at = columns.find_heading(t.rule.qualifier, headings)
            if at is None:
                raise FileProblem(
                    f'The mapping names a column "{shown(t.rule.qualifier)}" of codes, which the file has not.'
                )
            codes[t.at].append(at)
    for column in found.columns:
        if not _is_code_column(column) or any(column.at in v for v in codes.values()):
            continue
        key = keys[column.at]
        bare = key
        for end in ("_cd", "_qualifier", "_qual", "_flag", "_qc", "_code"):
            bare = bare.removesuffix(end)
        for begin in ("f_", "flag_", "qual_", "label_", "qc_"):
            bare = bare.removeprefix(begin)
        owner = [
            t.at for t in taken if keys[t.at] == bare or names.heading_key(units.in_heading(headings[t.at])[0]) == bare
        ]
        if not owner and len(taken) == 1 and key in names.QUALIFIER_WORDS:
            owner = [taken[0].at]
        if len(owner) == 1:
            codes[owner[0]].append(column.at)
    return codes


def decimal_of(found: Layout, mapping: Mapping) -> tuple[str, bool]:
    """Return the decimal sign of the numbers in the sample, and whether it was seen in use."""
    points = commas = 0
    for column in found.columns:
        for cell in column.sample:
            if len(cell) > 30 or not any(c.isdigit() for c in cell):
                continue
            text = cell.lstrip("+-<> ")
            whole, point, rest = text.partition(".")
            if point and whole.replace(",", "").isdigit() and rest.isdigit():
                points += 1
                continue
            whole, comma, rest = text.partition(",")
            if comma and whole.replace(".", "").isdigit() and rest.isdigit():
                commas += 1 if len(rest) != 3 or not 1 <= len(whole) <= 3 else 0
    if mapping.decimal:
        return mapping.decimal, points > 0 if mapping.decimal == "." else commas > 0
    if found.separator != "," and commas and commas >= points:
        return ",", True
    return ".", points > 0


def _read_wide(
    name: str,
    data: bytes,
    found: Layout,
    at: TimeColumns,
    channels: Table[str, names.ChannelLike],
    zone: ZoneInfo,
    mapping: Mapping,
    latest: int,
    parsed: Parsed,
) -> None:
    reading = _Reading(at)
    others = [c for c in found.columns if c.at not in reading.wanted]
    offer_of = [c for c in others if not _is_code_column(c) or mapping.columns]
    offer = [_offered(found, c) for c in offer_of]
    if not offer:
        raise FileProblem(f"{name} has a time column and no column of values. It has: {layout.seen(found)}.")
    choice = columns.choose(offer, channels, mapping)
    parsed.unmapped.extend(choice.left)
    parsed.questions.extend(choice.questions)
    parsed.remarks.extend(choice.remarks)
    if not choice.taken:
        raise FileProblem(nothing_mapped(name, [o.heading for o in offer], choice))
    taken = [t._replace(at=offer_of[t.at].at) for t in choice.taken]
    codes = _code_columns(found, taken, mapping)
    filters = _filters(found, mapping)
    wanted = list(
        dict.fromkeys([*reading.wanted, *(t.at for t in taken), *(c for v in codes.values() for c in v), *filters])
    )
    place = {k: i for i, k in enumerate(wanted)}
    decimal, point_seen = decimal_of(found, mapping)
    reader = numbers.Reader(decimal, point_seen, mapping.gaps)
    values: dict[int, list[Values]] = {t.at: [] for t in taken}
    flags: dict[int, list[Flags]] = {t.at: [] for t in taken}
    coder = {t.at: Codes(mapping) for t in taken}
    kept: list[Mask] = []
    for cells in fields.stretches(
        data, found.offset, found.first_line, found.separator, found.width, wanted, parsed.refused
    ):
        parsed.rows += len(cells.lines)
        keep = _kept(cells, filters, place)
        kept.append(keep)
        reading.add(cells, place)
        for t in taken:
            v, f = value_column(cells, place[t.at], reader, decimal, found.columns[t.at].heading, parsed, keep)
            for c in codes[t.at]:
                coder[t.at].apply(cells, place[c], f, v)
            values[t.at].append(v)
            flags[t.at].append(f)
    parsed.rows += parsed.refused.rows
    if not parsed.rows:
        raise FileProblem(f"{name} has headings and no rows of readings.")
    if not reading.lines:
        raise FileProblem(f"{name}: not one row fits the headings ({found.width} fields).")
    column_values = {k: np.concatenate(v) for k, v in values.items()}
    column_flags = {k: np.concatenate(f) for k, f in flags.items()}
    filled = np.zeros(len(reading.all_lines()), np.bool_)
    for k, v in column_values.items():
        filled |= np.isfinite(v) | (column_flags[k] == numbers.BELOW) | (column_flags[k] == numbers.ABOVE)
    filled &= np.concatenate(kept)
    times, usable, lines = _times(reading, name, found, mapping, zone, filled, latest, parsed)
    by_at = {t.at: t for t in taken}
    for k, v in column_values.items():
        f = column_flags[k]
        coder[k].finish(f, parsed, found.columns[k].heading)
        rows = usable & (np.isfinite(v) | (f == numbers.BELOW) | (f == numbers.ABOVE))
        t = by_at[k]
        unit, remark, question = columns.settled_unit(t, found.columns[k].heading, v[rows], channels[t.channel])
        if remark:
            parsed.remarks.append(remark)
        if question:
            parsed.questions.append(question)
            parsed.unmapped.append((found.columns[k].heading, "its unit is not known"))
            continue
        whole = bool(rows.all())
        texts, marks = _laboratory_texts(v[rows], f[rows]) if mapping.kind == "laboratory" else ((), ())
        parsed.tracks.append(
            Track(
                name=found.columns[k].heading,
                unit=unit,
                channel=t.channel,
                assumed=t.sure == 1,
                times=times if whole else times[rows],
                values=v if whole else v[rows],
                flags=f if whole else f[rows],
                lines=lines if whole else lines[rows],
                laboratory=mapping.kind == "laboratory",
                texts=texts,
                qualifiers=marks,
            )
        )
    if not parsed.tracks:
        raise FileProblem(f"{name}: {parsed.questions[0] if parsed.questions else 'it holds no reading of a channel.'}")


def _laboratory_texts(values: Values, flags: Flags) -> tuple[tuple[str, ...], tuple[str, ...]]:
    marks = ["<" if f == numbers.BELOW else ">" if f == numbers.ABOVE else "" for f in flags.tolist()]
    texts = tuple(m + ("" if v != v else repr(v)) or "ND" for m, v in zip(marks, values.tolist(), strict=True))
    quals = tuple("ND" if v != v and m == "<" else m for m, v in zip(marks, values.tolist(), strict=True))
    return texts, quals


def nothing_mapped(name: str, headings: list[str], choice: columns.Choice) -> str:
    """Return the sentence that says that no column is a channel, and how to write the mapping."""
    if choice.questions:
        return f"{name}: {choice.questions[0]}"
    first = next((h for h in headings if h), "heading")
    reason = ""
    near = [
        (h, w) for h, w in choice.left if w.startswith(("states no unit", "its unit", "it may be", "the plant has no"))
    ]
    if near:
        first = near[0][0]
        reason = f' "{shown(first)}": {near[0][1]}.'
    return (
        f"{name}: no column is known as a channel of the plant. It has: {listed(headings)}.{reason} Write a mapping, "
        "such as "
        f'columns = {{ "{shown(first)}" = "id of a channel" }}.'
    )


def value_column(
    cells: fields.Cells, column: int, reader: numbers.Reader, decimal: str, heading: str, parsed: Parsed, keep: Mask
) -> tuple[Values, Flags]:
    """Return the values and flags of one column of a stretch; refuses cells that hold neither number nor gap."""
    s, e = cells.starts[:, column], cells.ends[:, column]
    values, odd = numbers.plain(cells.buffer, s, e, ord(decimal))
    flags = np.zeros(len(values), np.uint8)
    rows = np.flatnonzero(odd & keep)
    if len(rows):
        for row, text in zip(rows.tolist(), cells.texts(column, rows), strict=True):
            cell = reader.cell(text)
            if cell.why:
                parsed.refused.add(int(cells.lines[row]), f"{shown(heading, 30)}: {shown(cell.why, 110)}")
            elif cell.gap:
                parsed.gap(cell.gap)
            values[row], flags[row] = cell.value, cell.flag
    standing_in = np.isin(values, numbers.GAP_NUMBERS)
    if standing_in.any():
        for number in np.unique(values[standing_in]).tolist():
            parsed.gap(f"{number:g}", int((values == number).sum()))
        values[standing_in] = np.nan
    if reader.gap_words:
        for word in reader.gap_words:
            number, why = reader.number(word)
            if not why and (values == number).any():
                parsed.gap(word, int((values == number).sum()))
                values[values == number] = np.nan
    return values, flags


class Codes:
    """Turns the remark codes beside a column into flags.

    Codes that are not known and stand beside few of the values mark those as doubtful; a code beside most of them is
    taken to say nothing.
    """

    def __init__(self, mapping: Mapping) -> None:
        self.mapping = mapping
        self.known: dict[str, int] = {}
        self.unknown: dict[str, int] = {}
        self.seen = 0
        self.doubts: dict[str, list[tuple[int, Ints]]] = {}
        self.done = 0

    def flag(self, text: str) -> int:
        """Return the flag of a code, -1 where it is not known."""
        found = self.known.get(text)
        if found is None:
            said = self.mapping.flags.get(text.strip())
            read = numbers.code_flag(text) if said is None else said
            found = -1 if read is None else read
            if len(self.known) < 100_000:
                self.known[text] = found
        return found

    def apply(self, cells: fields.Cells, column: int, flags: Flags, values: Values) -> None:
        """Set the flags of a stretch by its codes."""
        rows = np.flatnonzero(cells.ends[:, column] > cells.starts[:, column])
        has = np.isfinite(values)
        if len(rows):
            lengths = (cells.ends - cells.starts)[rows, column]
            if (lengths == 1).all():
                letters = cells.buffer[cells.starts[rows, column]]
                for letter in np.unique(letters).tolist():
                    self._set(chr(letter), rows[letters == letter], flags, values, has)
            else:
                texts = np.array(cells.texts(column, rows), dtype=object)
                groups: dict[str, list[int]] = {}
                for row, text in zip(rows.tolist(), texts.tolist(), strict=True):
                    groups.setdefault(text, []).append(row)
                for text, where in groups.items():
                    self._set(text, np.array(where, np.int64), flags, values, has)
        self.seen += int(has.sum())
        self.done += len(values)

    def _set(self, text: str, rows: Ints, flags: Flags, values: Values, has: Mask) -> None:
        flag = self.flag(text)
        if flag == GAP_FLAG:
            values[rows] = np.nan
        elif flag > 0:
            worse = rows[flags[rows] < flag]
            flags[worse] = flag
        elif flag < 0:
            rows = rows[has[rows]]
            self.unknown[text] = self.unknown.get(text, 0) + len(rows)
            if len(self.doubts) < 500:
                self.doubts.setdefault(text, []).append((self.done, rows))

    def finish(self, flags: Flags, parsed: Parsed, heading: str) -> None:
        """Mark values beside rare unknown codes as doubtful."""
        rare = {t: n for t, n in self.unknown.items() if n and n <= 0.5 * max(self.seen, 1)}
        for text in rare:
            for start, rows in self.doubts.get(text, []):
                at = start + rows
                flags[at[flags[at] == numbers.OK]] = numbers.DOUBTFUL
        if rare:
            most = sorted(rare, key=lambda t: -rare[t])
            parsed.remarks.append(
                f'"{shown(heading)}": {sum(rare.values())} values beside codes that are not known '
                f"({listed(most, 8)}) are marked "
                "doubtful. Say what the codes mean in a mapping: flags."
            )


def _filters(found: Layout, mapping: Mapping) -> dict[int, str]:
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


def _kept(cells: fields.Cells, filters: dict[int, str], place: dict[int, int]) -> Mask:
    keep = np.ones(len(cells.lines), np.bool_)
    for at, text in filters.items():
        keep &= np.array([c.strip() == text for c in cells.texts(place[at])], np.bool_)
    return keep


# --- long tables -----------------------------------------------------------------------------------------------------


def _long_columns(found: Layout, at: TimeColumns, mapping: Mapping) -> LongColumns | None:
    headings = [c.heading for c in found.columns]
    keys = {names.heading_key(h): c.at for h, c in zip(reversed(headings), reversed(found.columns), strict=True)}

    def first(words: tuple[str, ...], wanted: str | None = None) -> int | None:
        if wanted:
            place = columns.find_heading(wanted, headings)
            if place is None:
                raise FileProblem(
                    f'The mapping names a column "{shown(wanted)}", which the file has not. It has: {listed(headings)}.'
                )
            return place
        return next((keys[w] for w in words if w in keys and keys[w] not in (at.date, at.time)), None)

    parameter = first(names.PARAMETER_WORDS, mapping.parameter)
    value = first(names.VALUE_WORDS, mapping.value)
    if parameter is None or value is None or parameter == value:
        if mapping.parameter:
            raise FileProblem(
                'The mapping names a column of parameters and the file has none of values: say value = "heading".'
            )
        return None
    if not mapping.parameter:
        cells = [c for c in found.columns[parameter].sample if c]
        if not cells or sum(c.replace(".", "").replace(",", "").lstrip("+-").isdigit() for c in cells) > 0.5 * len(
            cells
        ):
            return None
        if mapping.columns and any(columns.find_heading(w, headings) is not None for w in mapping.columns):
            return None  # the mapping speaks of columns, not of parameters
    return LongColumns(
        parameter,
        value,
        first(names.UNIT_WORDS, mapping.unit),
        first(names.QUALIFIER_WORDS, mapping.qualifier),
        first(names.LIMIT_WORDS),
        first(names.LIMIT_UNIT_WORDS),
        first(names.SITE_WORDS),
    )


def _read_long(
    name: str,
    data: bytes,
    found: Layout,
    at: TimeColumns,
    long: LongColumns,
    channels: Table[str, names.ChannelLike],
    zone: ZoneInfo,
    mapping: Mapping,
    latest: int,
    parsed: Parsed,
) -> None:
    reading = _Reading(at)
    filters = _filters(found, mapping)
    parts = [k for k in long if k is not None]
    wanted = list(dict.fromkeys([*reading.wanted, *parts, *filters]))
    place = {k: i for i, k in enumerate(wanted)}
    decimal, point_seen = decimal_of(found, mapping)
    reader = numbers.Reader(decimal, point_seen, mapping.gaps)
    codes = Codes(mapping)
    texts: dict[str, list[str]] = {part: [] for part in LongColumns._fields}
    kept: list[Mask] = []
    for cells in fields.stretches(
        data, found.offset, found.first_line, found.separator, found.width, wanted, parsed.refused
    ):
        parsed.rows += len(cells.lines)
        kept.append(_kept(cells, filters, place))
        reading.add(cells, place)
        for part, k in long._asdict().items():
            if k is not None:
                texts[part].extend(cells.texts(place[k]))
    parsed.rows += parsed.refused.rows
    lines = reading.all_lines()
    if not len(lines):
        raise FileProblem(f"{name} has headings and no rows of readings.")
    keep = np.concatenate(kept)
    groups: dict[tuple[str, str], list[int]] = {}
    unit_texts = texts["unit"]
    for row, parameter in enumerate(texts["parameter"]):
        if keep[row]:
            unit = unit_texts[row] if unit_texts else ""
            if not unit.strip() and texts["limit_unit"]:
                unit = texts["limit_unit"][row]
            groups.setdefault((parameter.strip(), unit.strip()), []).append(row)
    offer, group_rows = [], []
    stated_units: dict[str, str] = {}
    for (parameter, unit), _ in groups.items():
        if unit:
            stated_units.setdefault(parameter, unit)
    merged: dict[tuple[str, str], list[int]] = {}
    for (parameter, unit), places in groups.items():
        merged.setdefault((parameter, units.clean(unit or stated_units.get(parameter, ""))), []).extend(places)
    for (parameter, unit), places in merged.items():
        label, in_name = units.in_heading(parameter)
        offer.append(columns.Offered(parameter, label, unit or in_name, names.parameter_code(parameter)))
        group_rows.append(np.array(sorted(places), np.int64))
    choice = columns.choose(offer, channels, mapping)
    parsed.unmapped.extend(choice.left)
    parsed.questions.extend(choice.questions)
    parsed.remarks.extend(choice.remarks)
    if not choice.taken:
        raise FileProblem(nothing_mapped(name, sorted({o.heading for o in offer}), choice))
    chosen = [group_rows[t.at] for t in choice.taken]
    if texts["site"]:
        sites = sorted({texts["site"][r] for rows in chosen for r in rows.tolist()})
        if len(sites) > 1:
            heading = found.columns[long.site].heading if long.site is not None else "site"
            raise FileProblem(
                f"{name} holds readings of {len(sites)} places ({listed(sites, 6)}). Say which is the plant's in a "
                "mapping: "
                f'where = {{ "{shown(heading)}" = "{shown(sites[0])}" }}.'
            )
    filled = np.zeros(len(lines), np.bool_)
    for rows in chosen:
        filled[rows] = True
    times, usable, lines = _times(
        reading, name, found, mapping, zone, filled, latest, parsed, [*chosen, np.flatnonzero(~filled)]
    )
    few = sum(len(rows) for rows in chosen) <= MOST_LABORATORY
    laboratory = mapping.kind == "laboratory" or (mapping.kind is None and few and long.qualifier is not None)
    for t, rows in zip(choice.taken, chosen, strict=True):
        track = _long_track(rows[usable[rows]], t, offer[t.at], texts, reader, codes, times, lines, laboratory, parsed)
        unit, remark, question = columns.settled_unit(t, offer[t.at].heading, track.values, channels[t.channel])
        if remark:
            parsed.remarks.append(remark)
        if question:
            parsed.questions.append(question)
            continue
        parsed.tracks.append(replace(track, unit=unit))
    if not parsed.tracks:
        raise FileProblem(f"{name}: {parsed.questions[0] if parsed.questions else 'it holds no reading of a channel.'}")


def _long_track(
    rows: Ints,
    taken: columns.Taken,
    offered: columns.Offered,
    texts: dict[str, list[str]],
    reader: numbers.Reader,
    codes: Codes,
    times: Ints,
    lines: Ints,
    laboratory: bool,
    parsed: Parsed,
) -> Track:
    keep: list[int] = []
    values: list[float] = []
    flags: list[int] = []
    originals: list[str] = []
    qualifiers: list[str] = []
    for row in rows.tolist():
        text = texts["value"][row]
        code = texts["qualifier"][row] if texts["qualifier"] else ""
        cell = reader.cell(text)
        if cell.why:
            parsed.refused.add(int(lines[row]), f"{shown(offered.heading, 30)}: {shown(cell.why, 110)}")
            continue
        value, flag = cell.value, cell.flag
        if value in numbers.GAP_NUMBERS:
            parsed.gap(f"{value:g}")
            continue
        meant = codes.flag(code) if code.strip() else 0
        if meant == GAP_FLAG:
            parsed.gap(code)
            continue
        if meant < 0 and flag == 0:
            flag = numbers.DOUBTFUL
            codes.unknown[code] = codes.unknown.get(code, 0) + 1
        elif meant > 0 and flag in (0, 1, 2):
            flag = meant
        shown_text = text
        qualifier = cell.qualifier
        if flag == numbers.BELOW:
            if value != value and texts["limit"]:
                value, why = reader.number(texts["limit"][row])
                value = value if not why else float("nan")
                shown_text = f"<{texts['limit'][row]}" if not why else "ND"
            elif value == value and not text.lstrip().startswith("<"):
                shown_text = f"<{text.strip()}"
            qualifier = "<" if value == value and (meant != numbers.BELOW or code.strip() in ("<", "LT")) else "ND"
        elif flag == numbers.ABOVE:
            qualifier = ">"
        if value != value and flag not in (numbers.BELOW, numbers.ABOVE):
            if cell.gap:
                parsed.gap(cell.gap)
            continue
        keep.append(row)
        values.append(value)
        flags.append(flag)
        originals.append(shown_text.strip() or "ND")
        qualifiers.append(qualifier)
    at = np.array(keep, np.int64)
    return Track(
        name=offered.heading,
        unit=taken.unit,
        channel=taken.channel,
        assumed=taken.sure == 1,
        code=offered.code,
        times=times[at],
        values=np.array(values, np.float64),
        flags=np.array(flags, np.uint8),
        lines=lines[at],
        laboratory=laboratory,
        texts=tuple(originals) if laboratory else (),
        qualifiers=tuple(qualifiers) if laboratory else (),
    )

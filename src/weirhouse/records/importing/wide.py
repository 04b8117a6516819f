"""What does a table with a column for each quantity say? Tracks of values, one to a column taken."""

import re
from collections import Counter
from collections.abc import Mapping as Table
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse.records.importing import columns, fields, layout, names, numbers, units
from weirhouse.records.importing.codes import Codes, code_columns, is_code_column
from weirhouse.records.importing.layout import Column, Layout, decimal_of, is_survey
from weirhouse.records.importing.mapping import Mapping
from weirhouse.records.importing.numbers import Flags, Values
from weirhouse.records.importing.parsed import Parsed, Track
from weirhouse.records.importing.problem import FileProblem, shown
from weirhouse.records.importing.rows import TimeColumns, TimeReading, filters_of, meant, times_of
from weirhouse.records.importing.stamps import Mask

_BEHIND = re.compile(r"[<>]?\s*[-+]?\d[\d.,]*\s*([^\d\s.,<>].{0,19})")


def read_wide(
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
    """Read a table with a column for each quantity into the tracks of `parsed`."""
    reading = TimeReading(at)
    others = [c for c in found.columns if c.at not in reading.wanted]
    offer_of = [c for c in others if not is_code_column(c) or mapping.columns]
    offer = [offered(found, c) for c in offer_of]
    if not offer:
        raise FileProblem(f"{name} has a time column and no column of values. It has: {layout.seen(found)}.")
    choice = columns.choose(offer, channels, mapping)
    parsed.unmapped.extend(choice.left)
    parsed.questions.extend(choice.questions)
    parsed.remarks.extend(choice.remarks)
    if not choice.taken:
        raise FileProblem(columns.nothing_mapped(name, [o.heading for o in offer], choice))
    taken = [t._replace(at=offer_of[t.at].at) for t in choice.taken]
    codes = code_columns(found, taken, mapping)
    filters = filters_of(found, mapping)
    site = _site_column(found, [*reading.wanted, *(t.at for t in taken)])
    places = [] if site is None else [site]
    beside = [c for v in codes.values() for c in v]
    wanted = list(dict.fromkeys([*reading.wanted, *(t.at for t in taken), *beside, *filters, *places]))
    place = {k: i for i, k in enumerate(wanted)}
    decimal, point_seen = decimal_of(found, mapping)
    readers = {t.at: numbers.Reader(decimal, point_seen, mapping.gaps, unit_behind(found.columns[t.at])) for t in taken}
    values: dict[int, list[Values]] = {t.at: [] for t in taken}
    flags: dict[int, list[Flags]] = {t.at: [] for t in taken}
    coder = {t.at: Codes(mapping) for t in taken}
    kept: list[Mask] = []
    sites: set[str] = set()
    for cells in fields.stretches(
        data, found.offset, found.first_line, found.separator, found.width, wanted, parsed.refused
    ):
        parsed.rows += len(cells.lines)
        keep = meant(cells, filters, place)
        kept.append(keep)
        if site is not None:
            sites.update(cells.texts(place[site], np.flatnonzero(keep)))
        reading.add(cells, place)
        for t in taken:
            v, f = value_column(cells, place[t.at], readers[t.at], decimal, found.columns[t.at].heading, parsed, keep)
            for c in codes[t.at]:
                coder[t.at].apply(cells, place[c], f, v)
            values[t.at].append(v)
            flags[t.at].append(f)
    parsed.rows += parsed.refused.rows
    if not parsed.rows:
        raise FileProblem(f"{name} has headings and no rows of readings.")
    if not reading.lines:
        raise FileProblem(f"{name}: not one row fits the headings ({found.width} fields).")
    sites.discard("")
    if site is not None and len(sites) > 1:
        raise FileProblem(columns.several_places(name, found.columns[site].heading, sites))
    column_values = {k: np.concatenate(v) for k, v in values.items()}
    column_flags = {k: np.concatenate(f) for k, f in flags.items()}
    filled = np.zeros(len(reading.all_lines()), np.bool_)
    for k, v in column_values.items():
        filled |= np.isfinite(v) | (column_flags[k] == numbers.BELOW) | (column_flags[k] == numbers.ABOVE)
    filled &= np.concatenate(kept)
    times, usable, lines = times_of(reading, name, found, mapping, zone, filled, latest, parsed)
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


def _site_column(found: Layout, used: list[int]) -> int | None:
    """Return the column that says where each row was measured, or None."""
    keys = {names.heading_key(c.heading): c.at for c in reversed(found.columns) if c.at not in used}
    return next((keys[word] for word in names.SITE_WORDS if word in keys), None)


def _laboratory_texts(values: Values, flags: Flags) -> tuple[tuple[str, ...], tuple[str, ...]]:
    marks = ["<" if f == numbers.BELOW else ">" if f == numbers.ABOVE else "" for f in flags.tolist()]
    texts = tuple(m + ("" if v != v else repr(v)) or "ND" for m, v in zip(marks, values.tolist(), strict=True))
    quals = tuple("ND" if v != v and m == "<" else m for m, v in zip(marks, values.tolist(), strict=True))
    return texts, quals


def offered(found: Layout, column: Column) -> columns.Offered:
    """Return what a column offers by its heading, the row of units and the lines above."""
    name, unit = units.in_heading(column.heading)
    unit = column.unit or unit or units.clean(unit_behind(column))
    code = names.parameter_code(column.heading)
    described = ""
    if code and not unit:
        described = next((line for line in found.preamble if code in line and "," in line), "")
        unit = units.in_words(described)
    if not code and names.heading_key(name) in ("value", "values", "column_2", "reading"):
        label, stated = _from_preamble(found.preamble)
        name, unit = label or name, unit or stated
    return columns.Offered(
        column.heading or f"column {column.at + 1}", name, unit, code, column.at + 1, is_survey(found)
    )


def unit_behind(column: Column) -> str:
    """Return the unit that most cells of a column carry behind their number ("4.2 NTU"), as it is written, or ""."""
    cells = [c for c in column.sample[:60] if c]
    behind = [m.group(1) for c in cells if (m := _BEHIND.fullmatch(c))]
    if not behind:
        return ""
    text, count = Counter(behind).most_common(1)[0]
    return text if count >= 0.3 * len(cells) and units.known(units.clean(text)) else ""


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

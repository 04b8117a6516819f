"""What does a table with one value to a row say? Tracks by parameter; what a laboratory sends is of this kind."""

import re
from collections.abc import Mapping as Table
from dataclasses import replace
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse import quantity
from weirhouse.records.importing import columns, fields, names, numbers, units
from weirhouse.records.importing.codes import Codes
from weirhouse.records.importing.layout import Layout, decimal_of
from weirhouse.records.importing.mapping import GAP_FLAG, Mapping
from weirhouse.records.importing.parsed import Parsed, Track
from weirhouse.records.importing.problem import FileProblem, listed, shown
from weirhouse.records.importing.rows import TimeColumns, TimeReading, filters_of, meant, times_of
from weirhouse.records.importing.stamps import Ints, Mask

MOST_LABORATORY = 50_000
_LOGGED = 4
_CONTROL = re.compile(r"quality control|\bqc\b|blank|spike|duplicate|replicate|\bmsd?\b", re.I)

Texts = dict[str, list[str]]


class Group(NamedTuple):
    """Rows of one parameter in one unit."""

    unit: str
    rows: Ints


class LongColumns(NamedTuple):
    """Where a long table (one value to a row) holds its parts; None where it has no such column."""

    parameter: int
    value: int
    unit: int | None
    qualifier: int | None
    limit: int | None
    limit_unit: int | None
    site: int | None
    fraction: int | None
    species: int | None
    activity: int | None


def long_columns(found: Layout, at: TimeColumns, mapping: Mapping) -> LongColumns | None:
    """Return where a long table holds its parts, or None where the table has a column for each quantity."""
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
        first(names.FRACTION_WORDS),
        first(names.SPECIES_WORDS),
        first(names.ACTIVITY_WORDS),
    )


def read_long(
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
    """Read a table with one value to a row into the tracks of `parsed`."""
    reading = TimeReading(at)
    filters = filters_of(found, mapping)
    parts = [k for k in long if k is not None]
    wanted = list(dict.fromkeys([*reading.wanted, *parts, *filters]))
    place = {k: i for i, k in enumerate(wanted)}
    decimal, point_seen = decimal_of(found, mapping)
    reader = numbers.Reader(decimal, point_seen, mapping.gaps)
    codes = Codes(mapping)
    texts: Texts = {part: [] for part in LongColumns._fields}
    kept: list[Mask] = []
    for cells in fields.stretches(
        data, found.offset, found.first_line, found.separator, found.width, wanted, parsed.refused
    ):
        parsed.rows += len(cells.lines)
        kept.append(meant(cells, filters, place))
        reading.add(cells, place)
        for part, k in long._asdict().items():
            if k is not None:
                texts[part].extend(cells.texts(place[k]))
    parsed.rows += parsed.refused.rows
    lines = reading.all_lines()
    if not len(lines):
        raise FileProblem(f"{name} has headings and no rows of readings.")
    keep = np.concatenate(kept)
    _leave_out_controls(keep, texts, parsed)
    parameters = _parameters(name, found, long, keep, texts)
    offer = [_offered(parameter, groups) for parameter, groups in parameters.items()]
    choice = columns.choose(offer, channels, mapping)
    parsed.unmapped.extend(choice.left)
    parsed.questions.extend(choice.questions)
    parsed.remarks.extend(choice.remarks)
    if not choice.taken:
        raise FileProblem(columns.nothing_mapped(name, sorted({o.heading for o in offer}), choice))
    chosen = [
        (taken, group)
        for t in choice.taken
        for taken, group in _in_each_unit(t, offer[t.at], parameters[offer[t.at].heading], channels, parsed)
    ]
    filled = np.zeros(len(lines), np.bool_)
    for _, group in chosen:
        filled[group.rows] = True
    passes = [*(group.rows for _, group in chosen), np.flatnonzero(~filled)]
    times, usable, lines = times_of(reading, name, found, mapping, zone, filled, latest, parsed, passes)
    laboratory = mapping.kind == "laboratory" or (
        mapping.kind is None
        and long.qualifier is not None
        and sum(len(group.rows) for _, group in chosen) <= MOST_LABORATORY
        and not any(_is_logged(times[group.rows[usable[group.rows]]]) for _, group in chosen)
    )
    for t, group in chosen:
        rows = group.rows[usable[group.rows]]
        track = _long_track(rows, t, offer[t.at], texts, reader, codes, times, lines, laboratory, parsed)
        unit, remark, question = columns.settled_unit(t, offer[t.at].heading, track.values, channels[t.channel])
        if remark:
            parsed.remarks.append(remark)
        if question:
            parsed.questions.append(question)
            continue
        parsed.tracks.append(replace(track, unit=unit))
    if codes.unknown:
        most = sorted(codes.unknown, key=lambda text: -codes.unknown[text])
        parsed.remarks.append(
            f"{sum(codes.unknown.values())} values beside codes that are not known ({listed(most, 8)}) are marked "
            "doubtful. Say what the codes mean in a mapping: flags."
        )
    if not parsed.tracks:
        raise FileProblem(f"{name}: {parsed.questions[0] if parsed.questions else 'it holds no reading of a channel.'}")


def _is_logged(times: Ints) -> bool:
    """Whether results follow each other as only a logger writes them: within the hour, again and again."""
    steps = np.diff(np.unique(times))
    return len(steps) >= _LOGGED and float(np.median(steps)) < 3600


def _leave_out_controls(keep: Mask, texts: Texts, parsed: Parsed) -> None:
    """Take out the rows of a laboratory's own checks: they are not water of the plant."""
    controls = np.array([bool(_CONTROL.search(text)) for text in texts["activity"]], np.bool_)
    if controls.any():
        parsed.remarks.append(
            f"{int((controls & keep).sum())} results of quality control (blanks, spikes, duplicates) are left out."
        )
        keep &= ~controls


def _parameters(name: str, found: Layout, long: LongColumns, keep: Mask, texts: Texts) -> dict[str, list[Group]]:
    """Return the rows of each parameter by the unit they state.

    Where one parameter stands in several fractions (total, dissolved), forms (as N, as NO3) or places, each is a
    parameter of its own: they are different things.
    """
    rows = np.flatnonzero(keep).tolist()
    several: dict[str, dict[str, set[str]]] = {part: {} for part in ("fraction", "species", "site")}
    for part, of in several.items():
        if texts[part]:
            for row in rows:
                of.setdefault(texts["parameter"][row].strip(), set()).add(texts[part][row].strip())
    by_place = _places_named(name, found, long, several["site"])
    groups: dict[str, dict[str, list[int]]] = {}
    for row in rows:
        bare = texts["parameter"][row].strip()
        label = bare
        for part in ("species", "fraction"):
            if len(several[part].get(bare, ())) > 1 and texts[part][row].strip():
                label += f", {texts[part][row].strip()}"
        if by_place:
            label = f"{texts['site'][row].strip()} {label}"
        unit = texts["unit"][row].strip() if texts["unit"] else ""
        if not unit and texts["limit_unit"]:
            unit = texts["limit_unit"][row].strip()
        groups.setdefault(label, {}).setdefault(units.clean(unit), []).append(row)
    out: dict[str, list[Group]] = {}
    for label, by_unit in groups.items():
        if len(by_unit) > 1 and "" in by_unit:  # a row without a unit is in that of the others
            usual = max((u for u in by_unit if u), key=lambda u: len(by_unit[u]))
            by_unit[usual] = sorted(by_unit[usual] + by_unit.pop(""))
        out[label] = [Group(unit, np.array(some, np.int64)) for unit, some in by_unit.items()]
    return out


def _places_named(name: str, found: Layout, long: LongColumns, sites: dict[str, set[str]]) -> bool:
    """Whether the rows are of several places of a plant, by their names; FileProblem where they are of any others."""
    every = sorted({site for some in sites.values() for site in some})
    if len(every) < 2:
        return False
    if all(names.meaning(site).place for site in every):
        return True
    heading = found.columns[long.site].heading if long.site is not None else "site"
    raise FileProblem(columns.several_places(name, heading, every))


def _offered(parameter: str, groups: list[Group]) -> columns.Offered:
    label, in_name = units.in_heading(parameter)
    usual = max(groups, key=lambda group: len(group.rows)).unit
    return columns.Offered(parameter, label, usual or in_name, names.parameter_code(parameter))


def _in_each_unit(
    taken: columns.Taken,
    offered: columns.Offered,
    groups: list[Group],
    channels: Table[str, names.ChannelLike],
    parsed: Parsed,
) -> list[tuple[columns.Taken, Group]]:
    """Return what is taken of a parameter, unit by unit: the rows say their own where they say several."""
    if len(groups) == 1:
        return [(taken, groups[0])]
    out = []
    for group in groups:
        if units.same_measure(group.unit, channels[taken.channel].inside):
            out.append((taken._replace(unit=group.unit), group))
        else:
            parsed.unmapped.append((f"{offered.heading} in {group.unit}", f"its unit does not fit {taken.channel}"))
    return out


def _limit(row: int, texts: Texts, reader: numbers.Reader, unit: str) -> float:
    """Return the detection limit beside a result without a figure, in the unit of the result; NaN where none is."""
    value, why = reader.number(texts["limit"][row])
    stated = units.clean(texts["limit_unit"][row]) if texts["limit_unit"] else ""
    if why or value != value or not stated or not unit or stated == unit:
        return float("nan") if why else value
    return float(quantity.convert(value, stated, unit)) if units.fits(stated, unit) else float("nan")


def _long_track(
    rows: Ints,
    taken: columns.Taken,
    offered: columns.Offered,
    texts: Texts,
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
        said = codes.flag(code) if code.strip() else 0
        if said == GAP_FLAG:
            parsed.gap(f"code {code}")
            continue
        if said < 0 and flag == 0:
            flag = numbers.DOUBTFUL
            codes.unknown[code] = codes.unknown.get(code, 0) + 1
        elif said > 0 and flag in (0, 1, 2):
            flag = said
        shown_text = text
        qualifier = cell.qualifier
        if flag == numbers.BELOW:
            if value != value and texts["limit"]:
                value = _limit(row, texts, reader, taken.unit)
                shown_text = f"<{value:.10g}" if value == value else "ND"
            elif value == value and not text.lstrip().startswith("<"):
                shown_text = f"<{text.strip()}"
            qualifier = "<" if value == value and (said != numbers.BELOW or code.strip() in ("<", "LT")) else "ND"
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

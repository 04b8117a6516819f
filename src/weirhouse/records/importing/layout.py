"""How is a delimited text laid out? Its separator, title lines, headings, row of units and first row of data."""

import re
from dataclasses import dataclass

from weirhouse.records.importing import names, stamps, units
from weirhouse.records.importing.fields import MOST_LINE, records, split
from weirhouse.records.importing.mapping import Mapping
from weirhouse.records.importing.problem import FileProblem, listed, shown

_HEAD = 1 << 18
_MOST_SAMPLE = 600
MOST_COLUMNS = 2000
_CANDIDATES = (",", ";", "\t", "|", " ")
_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "|", " ": "blank"}
_WIDTHS = re.compile(r"\d{1,4}[sdnSDN]")
_PATTERN = re.compile(r"(?:[dDmMyYhHsSjJaA]{1,4}[-/.: ]?){2,6}")
_NUMBER = re.compile(r"[<>]?[-+]?[\d.,' ]*\d[\d.,]*(?:[eE][-+]?\d+)?")


@dataclass(frozen=True, slots=True)
class Column:
    """A column by its place: heading, unit as stated beside it or "", and its cells in the sample."""

    at: int
    heading: str
    unit: str
    sample: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Layout:
    """How the text is laid out; `preamble` is what stands above the headings."""

    separator: str
    columns: tuple[Column, ...]
    preamble: tuple[str, ...]
    first_line: int
    offset: int
    date_pattern: str  # "dmy", "mdy", "ymd" where a heading or row of units says how dates are written

    @property
    def width(self) -> int:
        """How many columns there are."""
        return len(self.columns)


def find(name: str, data: bytes, mapping: Mapping) -> Layout:
    """Return the layout of the text `data`; FileProblem where it is not a table with a time column and another."""
    head = data[:_HEAD]
    if len(data) > _HEAD:
        cut = head.rfind(b"\n")
        if cut < 0:
            raise FileProblem(
                f"{name}: line 1 is longer than {MOST_LINE // 1024} kB. A table of readings has one row to a line."
            )
        head = head[: cut + 1]
    text = head.decode("utf-8", "replace")
    lines = text.split("\n")
    lead = 0
    comments: list[str] = []
    while lead < len(lines) and (not lines[lead].strip() or _is_comment(lines[lead])):
        if lines[lead].strip():
            comments.append(lines[lead])
        lead += 1
    if mapping.header_line:
        lead = min(mapping.header_line - 1, len(lines) - 1)
        comments = [line for line in lines[:lead] if line.strip()]
    body = "\n".join(lines[lead:])
    best: tuple[tuple[float, ...], str, list[tuple[int, list[str]]], int, int | None] | None = None
    for separator in (mapping.separator,) if mapping.separator else _CANDIDATES:
        rows = _rows(body, lead + 1, separator)
        if not rows:
            continue
        width, share, when = _width_of(rows)
        if width < 2 or share < 0.5:
            continue
        score = (float(when is not None), float(separator != " "), round(share, 2), float(min(width, 3)))
        if best is None or score > best[0]:
            best = (score, separator, rows, width, when)
    if best is None:
        first = shown(lines[lead] if lead < len(lines) else (comments[-1] if comments else ""), 50)
        raise FileProblem(
            f'{name} has no columns: no comma, semicolon, tab or blank parts its lines alike (first line "{first}"). '
            "A table needs a time and at least one value in each row."
        )
    _, separator, rows, width, when = best
    if width > MOST_COLUMNS:
        raise FileProblem(f"{name} has {width} columns, more than {MOST_COLUMNS}. Export fewer.")
    start, headings, unit_row = _headings(name, rows, width, when, separator, comments, mapping)
    above = comments + [separator.join(r) for _, r in rows[:start] if r != headings and r != unit_row]
    sample = [r for _, r in rows[start : start + _MOST_SAMPLE]]
    first_line = rows[start][0] if start < len(rows) else rows[-1][0] + 1
    offset = _offset_of(data, first_line)
    columns = []
    for k in range(width):
        heading = headings[k].strip() if k < len(headings) else ""
        unit = units.clean(unit_row[k]) if k < len(unit_row) else ""
        columns.append(
            Column(k, heading, unit if units.known(unit) else "", tuple(r[k].strip() for r in sample if k < len(r)))
        )
    return Layout(separator, tuple(columns), tuple(above), first_line, offset, _date_pattern([*headings, *unit_row]))


def _is_comment(line: str) -> bool:
    return line.lstrip().startswith("#")


def _rows(body: str, first_line: int, separator: str) -> list[tuple[int, list[str]]]:
    rows: list[tuple[int, list[str]]] = []
    for line, record, _ in records(body, first_line):
        if record.strip() and not (rows and _is_comment(record)):
            rows.append((line, split(record, separator)))
            if len(rows) >= _MOST_SAMPLE:
                break
    return rows


def _width_of(rows: list[tuple[int, list[str]]]) -> tuple[int, float, int | None]:
    """Return (fields in a row, share of the later rows that have so many, column of times or None)."""
    tail = rows[len(rows) // 2 :] if len(rows) > 5 else rows[-max(1, len(rows) - 1) :]
    filled = [max((k + 1 for k, c in enumerate(r) if c.strip()), default=0) for _, r in tail]
    fit = {
        width: sum(len(r) == width or used <= width < len(r) for (_, r), used in zip(tail, filled, strict=True))
        for width in {len(r) for _, r in tail}
    }
    width = min(fit, key=lambda w: (-fit[w], w))
    share = fit[width] / len(tail)
    head = [r for _, r in rows[: max(1, len(rows) - len(tail))]]
    if max(filled) < width and not any(len(r) == width for r in head):
        # a separator ends each row of data and none ends the headings
        shorter = [len(r) for r in head if max(filled) <= len(r) < width]
        width = shorter[-1] if shorter else width
    when = _time_column([r for _, r in tail if len(r) >= width], width)
    if when is None:
        when = _time_column([r for _, r in rows if len(r) >= width], width, 0.3)
    return width, share, when


def _time_column(rows: list[list[str]], width: int, share: float = 0.6) -> int | None:
    """Return the first column that holds dates (or dates and times) in a share of the rows, or None."""
    some = rows[:60]
    for k in range(min(width, 300)):
        cells = [r[k] for r in some if r[k].strip()]
        if len(cells) < max(1, len(some) // 3):
            continue
        if all(c.strip().isdigit() for c in cells) and not all(len(c.strip()) in (8, 12, 14) for c in cells):
            continue
        found = stamps.of_texts(cells)
        _, good = stamps.resolve(found, "mdy")
        _, also = stamps.resolve(found, "dmy")
        ok = (good | also) & (found.year != -1)
        years = found.year[ok]
        if ok.sum() >= share * len(cells) and ((years < 100) | ((years >= 1900) & (years <= 2200))).mean() > 0.6:
            return k
    return None


def _headings(
    name: str,
    rows: list[tuple[int, list[str]]],
    width: int,
    when: int | None,
    separator: str,
    comments: list[str],
    mapping: Mapping,
) -> tuple[int, list[str], list[str]]:
    """Return (index of the first row of data, headings, units row)."""

    def is_data(row: list[str]) -> bool:
        cells = [c.strip() for c in row]
        if when is not None and when < len(cells) and _looks_dated(cells[when]):
            return True
        if when is not None:
            return False
        filled = [c for c in cells if c]
        numbers = sum(bool(_NUMBER.fullmatch(c)) for c in filled)
        return (
            len(filled) >= 2 and numbers >= max(1, 0.5 * len(filled)) and not any(_WIDTHS.fullmatch(c) for c in filled)
        )

    start = 0
    if mapping.header_line is None:
        while start < len(rows) and not (is_data(rows[start][1]) and len(rows[start][1]) >= min(width, 2)):
            start += 1
            if start > 200:
                break
        start = min(start, len(rows))
    else:
        start = 1 if mapping.header_line else 0
    above = [(k, r) for k, (_, r) in enumerate(rows[:start])]
    candidates = [(k, r) for k, r in above if _fits(r, width)]
    headings: list[str] = []
    unit_row: list[str] = []
    if mapping.header_line:
        headings = rows[0][1]
        while start < len(rows) and _is_unit_row(rows[start][1]):
            unit_row = unit_row or rows[start][1]
            start += 1
    elif candidates:
        best = max(candidates, key=lambda c: (*_heading_score(c[1]), -c[0]))
        headings = _with_groups(best[1], rows[best[0] - 1][1] if best[0] and when is not None else [])
        later = [(k, r) for k, r in candidates if k > best[0]]
        start = best[0] + 1
        for k, row in later:
            if _is_unit_row(row) or (when is not None and _is_unit_row(row[:when] + row[when + 1 :], 0.4)):
                unit_row = row if not all(_WIDTHS.fullmatch(c.strip() or "1s") for c in row) else unit_row
                start = k + 1
            elif when is not None and _is_words(row, when):  # how a logger got each column: Avg, Min
                start = k + 1
            else:
                break
    else:
        wide = [r for _, r in above if sum(bool(c.strip()) for c in r) >= 2]
        if wide and len(wide[-1]) != width and mapping.header_line is None:
            raise FileProblem(
                f"{name}: the headings are {len(wide[-1])} and the rows have {width} fields. If numbers are written "
                f"with a decimal comma between {_NAMES[separator]}-parted columns, export with semicolons."
                if separator == ","
                else f"{name}: the headings are {len(wide[-1])} and the rows have {width} fields. Export it again "
                "with one heading to each column."
            )
        if comments:  # the headings may be the last comment line: "#Timestamp;Value"
            last = split(comments[-1].lstrip().lstrip("#"), separator)
            if len(last) == width and not all(not c.strip() for c in last):
                headings = last
    if not headings:
        headings = [f"column {k + 1}" for k in range(width)]
    if len(headings) < width:
        headings = headings + [""] * (width - len(headings))
    return start, headings, unit_row


def _heading_score(row: list[str]) -> tuple[bool, bool, int]:
    """Return how much a row looks like headings: no units, a word for time, many cells of words."""
    cells = [c.strip() for c in row if c.strip()]
    timely = any(set(names.words(c)) & names.TIME_WORDS for c in cells)
    return not _is_unit_row(row), timely, sum(not (_NUMBER.fullmatch(c) or _looks_dated(c)) for c in cells)


def _with_groups(row: list[str], above: list[str]) -> list[str]:
    """Return headings with the words of the row above them, where they are told apart only by those.

    "Raw,,Filter 1" above "Turb,pH,Turb" names a group once and leaves the cells beside it empty.
    """
    keys = [names.heading_key(c) for c in row]
    words = [c.strip() for c in above]
    if len(set(keys)) == len(keys) or not any(words) or any(_NUMBER.fullmatch(c) or _looks_dated(c) for c in words):
        return row
    group, out = "", []
    for k, cell in enumerate(row):
        group = words[k] if k < len(words) and words[k] else group
        out.append(f"{group} {cell.strip()}".strip())
    return out


def _fits(row: list[str], width: int) -> bool:
    filled = [k for k, c in enumerate(row) if c.strip()]
    if len(filled) < 2 and width > 1:
        return False
    return len(row) == width or (len(row) > width and filled[-1] < width)


def _looks_dated(cell: str) -> bool:
    if not any(c.isdigit() for c in cell) or len(cell) > stamps.MOST_LENGTH:
        return False
    found = stamps.of_texts([cell])
    return bool(found.good[0] and found.year[0] >= 0)


def _is_unit_row(row: list[str], share: float = 0.6) -> bool:
    cells = [c.strip() for c in row if c.strip()]
    if not cells:
        return False
    if all(_WIDTHS.fullmatch(c) for c in cells):
        return True
    if any(_looks_dated(c) or _NUMBER.fullmatch(c) for c in cells):
        return False
    hits = sum(bool(units.known(units.clean(c.strip("()[]"))) or _PATTERN.fullmatch(c)) for c in cells)
    return hits >= share * len(cells)


def _is_words(row: list[str], when: int) -> bool:
    """Whether a row below the headings holds only words, and nothing where the times stand."""
    cells = [c.strip() for c in row if c.strip()]
    at = row[when].strip() if when < len(row) else ""
    return not at and bool(cells) and not any(any(c.isdigit() for c in cell) for cell in cells)


def _date_pattern(texts: list[str]) -> str:
    """Return the order of the date that a heading spells out ("DD/MM/YYYY"), or ""."""
    for text in texts:
        found = re.search(
            r"(?<![A-Za-z])([dD]{1,2}|[mM]{1,2}|[yYjJ]{2,4})[-/. ]([dD]{1,2}|[mM]{1,2})[-/. ]([dDyYjJ]{1,4})", text
        )
        if found:
            order = "".join(g[0].lower() for g in found.groups()).replace("j", "y")
            if order in ("dmy", "mdy", "ymd"):
                return order
    return ""


def _offset_of(data: bytes, line: int) -> int:
    """Return where line number `line` (from 1) begins."""
    at = 0
    for _ in range(line - 1):
        at = data.find(b"\n", at) + 1
        if at == 0:
            return len(data)
    return at


def seen(layout: Layout) -> str:
    """Return the headings for a message."""
    return listed([c.heading or f"column {c.at + 1}" for c in layout.columns])


def is_survey(found: Layout) -> bool:
    return bool(found.columns) and names.heading_key(found.columns[0].heading) == "agency_cd"


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

"""Where does each cell of a delimited text begin and end? In bulk where the text is regular, with care elsewhere.

The bulk way marks separators and line ends in the bytes themselves. It is taken as long as no separator lies between
quotation marks; from there on the rest of the text is read record by record. Both ways give the same cells.
"""

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from weirhouse.records.importing.problem import FileProblem
from weirhouse.records.importing.stamps import Bytes, Ints

_STRETCH = 1 << 19
MOST_LINE = 1 << 18
_MOST_RECORD_LINES = 40
_RECORDS = 20_000


@dataclass(slots=True)
class Refusals:
    """Lines that were not taken, with the reason; all are counted, the first ones kept."""

    most: int = 10_000
    count: int = 0
    kept: list[tuple[int, str]] = field(default_factory=list)

    rows: int = 0  # of which whole rows that were not split into cells

    def row(self, line: int, why: str) -> None:
        """Note that the whole row at `line` was refused."""
        self.rows += 1
        self.add(line, why)

    def add(self, line: int, why: str) -> None:
        """Note that `line` was refused."""
        self.count += 1
        if len(self.kept) < self.most:
            self.kept.append((line, why))

    def many(self, lines: Sequence[int] | Ints, why: str) -> None:
        """Note that all `lines` were refused for one reason."""
        self.count += len(lines)
        for line in lines[: max(0, self.most - len(self.kept))]:
            self.kept.append((int(line), why))


@dataclass(frozen=True, slots=True)
class Cells:
    """The cells wanted of a stretch of rows: row by column, as positions in `buffer`."""

    buffer: Bytes
    starts: Ints
    ends: Ints
    lines: Ints

    def texts(self, column: int, rows: Ints | None = None) -> list[str]:
        """Return the texts of a column of these cells, of all rows or of some."""
        raw = self.buffer.tobytes()
        s, e = self.starts[:, column], self.ends[:, column]
        if rows is not None:
            s, e = s[rows], e[rows]
        return [raw[a:b].decode("utf-8", "replace") for a, b in zip(s.tolist(), e.tolist(), strict=True)]


def stretches(
    data: bytes, offset: int, first_line: int, separator: str, width: int, wanted: Sequence[int], refused: Refusals
) -> Iterator[Cells]:
    """Yield the cells of the `wanted` columns from `offset` on, in file order.

    A row with too many or too few fields is refused, unless only cells beyond the last wanted column are missing or the
    extra ones are empty.
    """
    columns = np.array(wanted, np.int64)
    need = int(columns.max()) + 1
    position, line = offset, first_line
    torn_line = 0
    while position < len(data):
        end = data.rfind(b"\n", position, position + _STRETCH) + 1
        if end == 0:
            end = data.find(b"\n", position + _STRETCH) + 1 or len(data)
        if end - position > _STRETCH and end - position > MOST_LINE:
            raise FileProblem(f"Line {line} is longer than {MOST_LINE // 1024} kB: this is not a table of readings.")
        piece = data[position:end]
        if not piece.endswith(b"\n"):
            piece += b"\n"
            torn_line = line + piece.count(b"\n") - 1
        cells = None
        if separator != " ":
            cells = _in_bulk(piece, line, separator, width, columns, need, refused, torn_line)
        if cells is None:
            yield from _with_care(data[position:], line, separator, width, columns, need, refused)
            return
        yield cells
        line += piece.count(b"\n")
        position = end


def _in_bulk(
    piece: bytes, line: int, separator: str, width: int, columns: Ints, need: int, refused: Refusals, torn_line: int
) -> Cells | None:
    buffer = np.frombuffer(piece, np.uint8)
    newline = buffer == 10
    marks = np.flatnonzero(newline | (buffer == ord(separator)))
    quoted = b'"' in piece
    if quoted:
        inside = np.cumsum(buffer == 34, dtype=np.int64)[marks] & 1
        if inside.any():
            return None
    is_end = newline[marks]
    last = np.flatnonzero(is_end)
    ends_of_lines = marks[last]
    n = len(last)
    begins = np.empty(n, np.int64)
    begins[0] = 0
    begins[1:] = ends_of_lines[:-1] + 1
    counts = np.diff(last, prepend=-1)
    lines = line + np.arange(n, dtype=np.int64)
    if len(marks) == n * width and (counts == width).all():
        ends_all = marks.reshape(n, width)
        first_mark = None
    else:
        first_mark = last - counts + 1
        keep = counts == width
        for k in np.flatnonzero(~keep).tolist():
            text, count = piece[int(begins[k]) : int(ends_of_lines[k])], int(counts[k])
            spare = count > width and not b"".join(text.split(separator.encode())[width:]).strip(b' "\t')
            keep[k] = _odd_row(text, count, spare, width, need, int(lines[k]), separator, refused, torn_line)
        first_mark, counts, lines, begins = first_mark[keep], counts[keep], lines[keep], begins[keep]
        ends_all = marks[first_mark[:, None] + np.minimum(np.arange(width), counts[:, None] - 1)]
    ends = ends_all[:, columns]
    before = np.maximum(columns - 1, 0)
    starts = np.where(columns == 0, begins[:, None], ends_all[:, before] + 1)
    starts = np.minimum(starts, ends)
    if len(lines):
        starts, ends = _trimmed(buffer, starts, ends, quoted)
    return Cells(buffer, starts, ends, lines)


def _odd_row(
    text: bytes,
    count: int,
    spare: bool,
    width: int,
    need: int,
    line: int,
    separator: str,
    refused: Refusals,
    torn_line: int,
) -> bool:
    """Whether a row with another number of fields can be taken; notes the refusal where it cannot.

    `spare` says that all fields beyond the headings are empty.
    """
    stripped = text.strip()
    if not stripped or stripped.startswith(b"#") or not stripped.strip(separator.encode() + b' "'):
        return False
    if line == torn_line and count < width:
        refused.row(line, "the last line ends early: the file was cut or is still being written")
        return False
    if need <= count < width or spare:
        return True
    refused.row(line, f"has {count} field{'s' if count != 1 else ''} where the headings are {width}")
    return False


def _trimmed(buffer: Bytes, starts: Ints, ends: Ints, quoted: bool) -> tuple[Ints, Ints]:
    last = len(buffer) - 1
    for _ in range(3 if quoted else 1):
        for _ in range(64):
            letter = buffer[np.minimum(starts, last)]
            blank = ((letter == 32) | (letter == 9)) & (starts < ends)
            if not blank.any():
                break
            starts = starts + blank
        for _ in range(64):
            letter = buffer[np.maximum(ends - 1, 0)]
            blank = ((letter == 32) | (letter == 9)) & (starts < ends)
            if not blank.any():
                break
            ends = ends - blank
        if not quoted:
            break
        opened = (
            (buffer[np.minimum(starts, last)] == 34) & (ends - starts >= 2) & (buffer[np.maximum(ends - 1, 0)] == 34)
        )
        if not opened.any():
            break
        starts, ends = starts + opened, ends - opened
    return starts, ends


def records(text: str, first_line: int) -> Iterator[tuple[int, str, bool]]:
    """Yield (line, text, closed) of each record: a line, or several where a quoted cell runs over line ends."""
    lines = text.split("\n")
    k = 0
    while k < len(lines):
        record, quotes, span = lines[k], lines[k].count('"'), 1
        while quotes % 2 and k + span < len(lines) and span < _MOST_RECORD_LINES:
            record += "\n" + lines[k + span]
            quotes += lines[k + span].count('"')
            span += 1
        if quotes % 2:
            yield first_line + k, lines[k], False
            k += 1
        else:
            yield first_line + k, record, True
            k += span


def split(record: str, separator: str) -> list[str]:
    """Return the cells of one record."""
    if separator == " ":
        return record.split()
    try:
        return next(csv.reader([record], delimiter=separator), [])
    except csv.Error:
        return record.split(separator)


def _with_care(
    rest: bytes, line: int, separator: str, width: int, columns: Ints, need: int, refused: Refusals
) -> Iterator[Cells]:
    text = rest.decode("utf-8", "replace")
    torn = not text.endswith("\n")
    last_line = line + text.count("\n")
    rows: list[list[str]] = []
    at: list[int] = []
    picked = columns.tolist()
    for here, record, closed in records(text, line):
        if not record.strip():
            continue
        if len(record) > MOST_LINE:
            raise FileProblem(f"Line {here} is longer than {MOST_LINE // 1024} kB: this is not a table of readings.")
        cells = split(record, separator)
        if not closed and len(cells) != width:
            refused.row(here, "a quotation mark is opened and not closed")
            continue
        if len(cells) != width:
            torn_line = last_line if torn else 0
            if "\n" in record and len(cells) < width:
                refused.row(here, f"has {len(cells)} fields where the headings are {width}")
                continue
            spare = len(cells) > width and not "".join(cells[width:]).strip()
            if not _odd_row(record.encode(), len(cells), spare, width, need, here, separator, refused, torn_line):
                continue
        rows.append([cells[k].strip() if k < len(cells) else "" for k in picked])
        at.append(here)
        if len(rows) >= _RECORDS:
            yield _gathered(rows, at)
            rows, at = [], []
    if rows:
        yield _gathered(rows, at)


def _gathered(rows: list[list[str]], at: list[int]) -> Cells:
    encoded = [cell.encode() for row in rows for cell in row]
    lengths = np.array([len(c) for c in encoded], np.int64).reshape(len(rows), -1)
    ends = np.cumsum(lengths.ravel()).reshape(lengths.shape)
    buffer = np.frombuffer(b"".join(encoded) + b"\n", np.uint8)
    return Cells(buffer, ends - lengths, ends, np.array(at, np.int64))

"""What do the remark codes beside a column say? Flags, gaps, or nothing that is known."""

import numpy as np

from weirhouse.records.importing import columns, fields, names, numbers, units
from weirhouse.records.importing.layout import Column, Layout
from weirhouse.records.importing.mapping import GAP_FLAG, Mapping
from weirhouse.records.importing.numbers import Flags, Values
from weirhouse.records.importing.parsed import Parsed
from weirhouse.records.importing.problem import FileProblem, listed, shown
from weirhouse.records.importing.stamps import Ints, Mask


def is_code_column(column: Column) -> bool:
    key = names.heading_key(column.heading)
    return (
        key in names.QUALIFIER_WORDS
        or key.endswith(("_cd", "_qual", "_flag", "_qc", "_code", "_qualifier"))
        or key.startswith(("f_", "flag_", "qual_", "label_", "qc_"))
    )


def code_columns(found: Layout, taken: list[columns.Taken], mapping: Mapping) -> dict[int, list[int]]:
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
        if not is_code_column(column) or any(column.at in v for v in codes.values()):
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


class Codes:
    """Turns the remark codes beside a column into flags.

    Codes that are not known and stand beside few of the values mark those as doubtful; a code beside most of them is
    taken to say nothing.
    """

    def __init__(self, mapping: Mapping) -> None:
        self.mapping = mapping
        self.known: dict[str, int] = {}
        self.unknown: dict[str, int] = {}
        self.gaps: dict[str, int] = {}
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
            self.gaps[text] = self.gaps.get(text, 0) + int(has[rows].sum())
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
        for text, count in self.gaps.items():
            parsed.gap(f"code {text}", count)
        rare = {t: n for t, n in self.unknown.items() if n and n <= 0.5 * max(self.seen, 1)}
        for text in rare:
            for start, rows in self.doubts.get(text, []):
                at = start + rows
                flags[at[flags[at] == numbers.OK]] = numbers.DOUBTFUL
        if rare:
            most = sorted(rare, key=lambda t: -rare[t])
            parsed.remarks.append(
                f'"{shown(heading)}": {sum(rare.values())} values beside codes that are not known '
                f"({listed(most, 8)}) are marked doubtful. Say what the codes mean in a mapping: flags."
            )

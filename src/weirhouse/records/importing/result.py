"""What did an import do, or what would it do? The counts, each column taken, and what was not taken with the reason."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from weirhouse import quantity
from weirhouse.records.importing.problem import shown

MOST_SHOWN = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnResult:
    """One column that was taken: where it goes, what it holds. Values are in the inside unit."""

    heading: str
    stated_unit: str
    channel: str
    title: str
    unit: str  # people write the channel in this unit
    inside: str
    count: int
    first: datetime
    last: datetime
    least: float
    greatest: float
    sample: tuple[tuple[datetime, float, str], ...]  # time, value, qualifier
    marked: dict[str, int]  # "doubtful", "rejected", "below the detection limit", "above the range"

    def text(self) -> list[str]:
        """Return the column in lines."""

        def show(value: float) -> str:
            number = float(quantity.convert(value, self.inside, self.unit))
            return f"{number:.6g} {quantity.label(self.unit)}".strip()

        stated = f" in {self.stated_unit}" if self.stated_unit and self.stated_unit != "pH" else ""
        first, last = self.first.isoformat(sep=" "), self.last.isoformat(sep=" ")
        span = f"{first} to {last}" if self.first != self.last else first
        lines = [
            f'  "{shown(self.heading)}"{stated} -> {self.channel} ({self.title})',
            f"      {self.count} value{'s' if self.count != 1 else ''}, {span}",
        ]
        if self.least == self.least:
            lines.append(f"      least {show(self.least)}, greatest {show(self.greatest)}")
        samples = [
            f"{when.isoformat(sep=' ')} {'ND' if value != value else mark + show(value)}"
            for when, value, mark in self.sample
        ]
        lines.append(f"      begins {'; '.join(samples)}")
        if self.marked:
            lines.append("      " + ", ".join(f"{n} {what}" for what, n in self.marked.items()))
        return lines


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportResult:
    """The outcome of an import or of its dry run; both are worked out by the same code.

    `rows` counts the rows of the file (for WaterML its values), `stored` and `already_there` count values. Where very
    many lines are refused the last entry of `refused` counts those that are not listed.
    """

    name: str
    form: str
    rows: int
    stored: int
    already_there: int
    refused: tuple[tuple[int, str], ...]
    refused_count: int
    columns: tuple[ColumnResult, ...]
    first: datetime | None
    last: datetime | None
    clock: str
    nights: tuple[str, ...] = ()
    unmapped: tuple[tuple[str, str], ...] = ()
    questions: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    gaps: dict[str, int] = field(default_factory=dict)
    repeated: int = 0
    dry_run: bool = False
    import_id: str | None = None
    held: str = ""  # of a dry run: why the import would be refused as it stands

    @property
    def channels(self) -> tuple[str, ...]:
        """The channels that the file has values for."""
        return tuple(sorted({c.channel for c in self.columns}))

    def as_json(self) -> dict[str, Any]:
        """Return the result as JSON-ready data; times with the offset of the plant's zone."""
        return {
            "rows": self.rows,
            "stored": self.stored,
            "already_there": self.already_there,
            "refused": [{"line": line, "why": why} for line, why in self.refused],
            "channels": list(self.channels),
            "first": None if self.first is None else self.first.isoformat(),
            "last": None if self.last is None else self.last.isoformat(),
            **({"held": self.held} if self.held else {}),
        }

    def text(self) -> str:
        """Return the result for people, in plain text."""
        store = "would be stored" if self.dry_run else "stored"
        rows = f"{self.rows} row{'s' if self.rows != 1 else ''}"
        values = "value" if self.stored == 1 else "values"
        lines = [
            f"{self.name}: {self.form}, {rows}",
            f"{self.stored} {values} {store}, {self.already_there} in the records already."
            + (" Dry run: nothing was stored." if self.dry_run else ""),
            *([f"As it is, the import would be refused: {self.held}"] if self.held else []),
            f"Clock: {self.clock}.",
        ]
        lines += [f"  Change night {night}." for night in self.nights]
        lines.append("Columns:")
        for column in self.columns:
            lines += column.text()
        lines += _section("Not taken:", [f'"{shown(name)}": {why}' for name, why in self.unmapped])
        lines += _section("Questions:", list(self.questions))
        lines += _section("Note:", list(self.remarks))
        lines += _section("Cells that mean no reading:", [f'"{shown(text)}": {n}' for text, n in self.gaps.items()])
        if self.repeated:
            lines.append(f"{self.repeated} values stand in the file more than once; each counts once.")
        refused = [f"line {line}: {why}" for line, why in self.refused[:MOST_SHOWN]]
        if self.refused_count > len(refused):
            refused.append(f"and {self.refused_count - len(refused)} more")
        lines += _section(f"Refused: {self.refused_count}", refused)
        if self.import_id:
            lines.append(f"This import is {self.import_id}; it can be withdrawn whole.")
        return "\n".join(lines)


def _section(title: str, lines: list[str]) -> list[str]:
    return [title, *(f"  {line}" for line in lines)] if lines else []

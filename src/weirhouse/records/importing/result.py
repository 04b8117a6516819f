"""What did an import do, or what would it do? The counts, and what was not taken with the reason."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

MOST_REFUSED = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportResult:
    """The outcome of an import or of its dry run; both are worked out by the same code.

    `rows` counts the rows of the file (for WaterML its values), `stored` and `already_there` count values. `refused`
    lists the first refusals; `refused_count` counts all of them.
    """

    name: str
    form: str
    rows: int
    stored: int
    already_there: int
    refused: tuple[tuple[int, str], ...]
    refused_count: int
    channels: tuple[str, ...]
    columns: dict[str, str]
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

    def json(self) -> dict[str, Any]:
        """Return the result as JSON-ready data; times with the offset of the plant's zone."""
        return {
            "rows": self.rows,
            "stored": self.stored,
            "already_there": self.already_there,
            "refused": [{"line": line, "why": why} for line, why in self.refused],
            "channels": list(self.channels),
            "first": None if self.first is None else self.first.isoformat(),
            "last": None if self.last is None else self.last.isoformat(),
            "refused_count": self.refused_count,
            "columns": dict(self.columns),
            "not_taken": [{"column": column, "why": why} for column, why in self.unmapped],
            "gaps": dict(self.gaps),
            "repeated": self.repeated,
            "clock": self.clock,
            "change_nights": list(self.nights),
            "questions": list(self.questions),
            "remarks": list(self.remarks),
            "form": self.form,
            "dry_run": self.dry_run,
            "import_id": self.import_id,
        }

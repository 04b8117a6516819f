"""What did the check of a plant find? One finding at a time, as a person reads it and as data."""

from dataclasses import dataclass
from typing import Any, Literal

from weirhouse.quantity import convert
from weirhouse.working import Sheet

# due: work that comes round, like a new drawdown; no fault of the plant file
Kind = Literal["missing", "implausible", "due", "outside", "inside", "unknown"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found.

    `stage` is the id of a stage, filter or flocculation compartment, or the name of a table ("permit"). `value` is in
    the `inside` unit and `shown` in the display `unit`, as people read it; they are empty where nothing is compared.
    `sheet` is the working of a value that was computed, None where it stands in the plant file as it is.
    """

    kind: Kind
    stage: str
    title: str
    text: str
    value: float | None = None
    inside: str = ""
    unit: str = ""
    shown: str = ""
    range_text: str = ""
    source: str = ""
    sheet: Sheet | None = None

    def json(self, unit_set: str) -> dict[str, Any]:
        """Return the finding as plain data, its value in the display unit and its working in a unit set."""
        return {
            "kind": self.kind,
            "stage": self.stage,
            "title": self.title,
            "text": self.text,
            "value": None if self.value is None else float(convert(self.value, self.inside, self.unit)),
            "unit": self.unit,
            "range": self.range_text,
            "source": self.source,
            "working": None if self.sheet is None else self.sheet.json(unit_set),
        }

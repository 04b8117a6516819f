"""What do published designs say a unit should be? The ranges of ``design_ranges.csv``, each with its source."""

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

from weirhouse.quantity import convert, known


@dataclass(frozen=True, slots=True)
class DesignRange:
    """A published range: `low` and `high` in `inside` units (None where open), and as the source writes it."""

    parameter: str
    process: str
    low: float | None
    high: float | None
    inside: str
    unit: str  # of the source
    source: str
    provenance: str  # "seen" in the source, or from "memory"

    def holds(self, value: float) -> bool:
        """Return whether a value in the inside unit lies in the range, its ends included."""
        return (self.low is None or value >= self.low) and (self.high is None or value <= self.high)


@lru_cache(maxsize=1)
def design_ranges() -> tuple[DesignRange, ...]:
    """Return every published range whose unit is one known here, in the order of the file."""
    from weirhouse.plant.channels import inside_unit

    text = files("weirhouse.plant").joinpath("design_ranges.csv").read_text(encoding="utf-8")
    found = []
    for row in csv.DictReader(text.splitlines()):
        unit = {"ratio": "1", "fraction": "1", "x": "1"}.get(row["unit"], row["unit"])
        if not known(unit):
            continue  # "rpm for 1 min" and the like are recipes, not ranges
        inside = inside_unit(unit)
        low, high = (float(convert(float(row[end]), unit, inside)) if row[end] else None for end in ("low", "high"))
        found.append(
            DesignRange(row["parameter"], row["stage"], low, high, inside, unit, row["source"], row["provenance"])
        )
    return tuple(found)


def design(parameter: str, process: str) -> DesignRange | None:
    """Return the published range of a parameter of a process; one that was read in its source before one from memory.

    >>> design("detention time", "presedimentation").low
    10800.0
    """
    fitting = [r for r in design_ranges() if (r.parameter, r.process) == (parameter, process)]
    return min(fitting, key=lambda r: r.provenance != "seen", default=None)

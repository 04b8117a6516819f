"""What do published designs say a unit should be? The ranges of ``design_ranges.csv``, each with its source."""

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

from weirhouse.plant.channels import inside_unit
from weirhouse.quantity import convert, known

# The inside units of what is asked for on every Today, written out because finding them by trial is slow.
_INSIDE = {
    "s": "s", "min": "s", "h": "s", "m": "m", "1": "1", "dimensionless": "1", "1/s": "1/s", "gpm/ft2": "m/s",
    "gal/day/ft2": "m/s", "m/h": "m/s", "ft/min": "m/s", "gal/day/ft": "m^2/s", "gpm/ft": "m^2/s",
}  # fmt: skip
_RANK = ("seen", "memory", "practice")
COMMON = "common practice, no source"  # shown of a range whose source is too weak to be named
OWN = "your plant file"  # shown of a range that is the plant's own


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
    provenance: str  # "seen" in the source, from "memory", or "practice": read, in a source too weak to be named

    def holds(self, value: float) -> bool:
        """Return whether a value in the inside unit lies in the range, its ends included."""
        return (self.low is None or value >= self.low) and (self.high is None or value <= self.high)


@lru_cache(maxsize=1)
def design_ranges() -> tuple[DesignRange, ...]:
    """Return every published range whose unit is one known here, in the order of the file."""
    found = (_range(number) for number in range(len(_rows())))
    return tuple(one for one in found if one is not None)


@lru_cache(maxsize=1)
def _rows() -> list[dict[str, str]]:
    text = files("weirhouse.plant").joinpath("design_ranges.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


@lru_cache(maxsize=1024)
def _range(number: int) -> DesignRange | None:
    """Return one row; turning units is slow the first time, so that only the rows asked for are turned."""
    row = _rows()[number]
    unit = {"ratio": "1", "fraction": "1", "x": "1", "mg/L as CaCO3": "mg/L"}.get(row["unit"], row["unit"])
    if unit not in _INSIDE and not known(unit):
        return None  # "rpm for 1 min" and the like are recipes, not ranges
    inside = _INSIDE.get(unit) or inside_unit(unit)
    low, high = (float(convert(float(row[end]), unit, inside)) if row[end] else None for end in ("low", "high"))
    return DesignRange(row["parameter"], row["stage"], low, high, inside, unit, row["source"], row["provenance"])


def design(parameter: str, process: str) -> DesignRange | None:
    """Return the range of a parameter of a process: one read in its source, else from memory, else of common practice.

    >>> design("detention time", "presedimentation").low
    10800.0
    """
    asked = [n for n, row in enumerate(_rows()) if (row["parameter"], row["stage"]) == (parameter, process)]
    fitting = [one for one in map(_range, asked) if one is not None]
    return min(fitting, key=lambda r: _RANK.index(r.provenance), default=None)

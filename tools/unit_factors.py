"""Writes ``src/weirhouse/factors.json``: the conversions in daily use, so that they need no registry.

    python -m tools.unit_factors

Which ones those are is found by doing the day's work: reading the demo's plant file, and every argument and result of
every formula in both unit sets.
"""

import json

from weirhouse import units
from weirhouse.plant.channels import INSIDE
from weirhouse.working import formulas

WRITTEN = (
    "gpm", "gpd", "MGD", "mgd", "cfs", "ft3/s", "L/s", "m3/h", "m^3/h", "m3/s", "mL/min", "gal/min", "gal/day",
    "gal/h", "gal", "ft3", "L", "m3", "m^3", "mL", "ft", "in", "m", "cm", "mm", "um", "ft2", "m2", "gpm/ft2",
    "gal/day/ft2", "m/h", "s", "min", "h", "day", "d", "week", "degF", "degC", "F", "C", "mg/L", "ug/L", "g/m3",
    "ppm", "kg/L", "kg/m3", "lb/gal", "g/cm3", "lb", "kg", "lb/day", "kg/day", "psi", "kPa", "Pa", "hp", "kW", "W",
    "%", "percent", "NTU", "FNU", "pH", "log", "1/s", "1/cm", "1/m", "uS/cm", "1", "rpm", "dimensionless",
    "ft/min", "gal/day/ft", "gpm/ft", "m3/h/m",
)  # fmt: skip


def pairs() -> set[tuple[str, str]]:
    """Return (from, to) of every conversion in daily use."""
    found = {(one, inside) for one in WRITTEN for inside in (*INSIDE, "kg/m^3", "m^2/s")}
    found |= {(inside, one) for one, inside in list(found)}
    for formula in formulas().values():
        for unit in [a.unit for a in formula.arguments if a.unit is not None] + [formula.result]:
            for shown in (unit.us, unit.si):
                found |= {(shown, unit.symbol), (unit.symbol, shown)}
    return {(a, b) for a, b in found if a and b and a != b}


def table() -> dict[str, dict[str, list[int] | None]]:
    """Return the table of factors, worked out by the registry; None where two units do not fit."""
    found: dict[str, dict[str, list[int] | None]] = {}
    for a, b in sorted(pairs()):
        try:
            scale, shift = units.linear_by_registry(a, b)
        except units.QuantityError:
            found.setdefault(a, {})[b] = None
            continue
        found.setdefault(a, {})[b] = [scale.numerator, scale.denominator, shift.numerator, shift.denominator]
    return found


if __name__ == "__main__":
    units.FACTORS.write_text(
        json.dumps(table(), indent=None, separators=(",", ":"), sort_keys=True) + "\n", encoding="utf-8"
    )

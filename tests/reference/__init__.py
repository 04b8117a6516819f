"""Published tables, each with its source on line 1, and how to read them."""

import csv
from pathlib import Path

FOLDER = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table as text, so that a figure keeps its printed digits; lines with # are remarks."""
    lines = [line for line in (FOLDER / name).read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def half_last_digit(printed: str) -> float:
    """Return half a unit of the last printed digit: what a right figure may differ by."""
    mantissa, _, exponent = printed.lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return 0.5 * 10.0 ** (int(exponent or 0) - decimals)

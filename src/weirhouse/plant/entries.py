"""How does a quantity of the plant file become a number that remembers what was written?"""

from collections.abc import Mapping
from dataclasses import dataclass

from weirhouse.working import Entry, Known


@dataclass(frozen=True, slots=True)
class Q:
    """The inside unit of a field and what it may be: `low` and `high` included, `above` left out."""

    unit: str
    low: float | None = None
    high: float | None = None
    above: float | None = None


def entry_known(entries: Mapping[str, tuple[float, str, str]], path: str) -> Known:
    """Return the quantity at `path` with its source; KeyError when the plant file does not give it."""
    value, unit, text = entries[path]
    return Known(value, Entry(path, f'"{text}"'), unit)

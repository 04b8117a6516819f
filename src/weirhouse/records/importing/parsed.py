"""What was read from a file: tracks of values with their times, and what was not taken."""

from dataclasses import dataclass, field

from weirhouse.records.importing.fields import Refusals
from weirhouse.records.importing.numbers import Flags, Values
from weirhouse.records.importing.stamps import Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """One quantity of a file: its channel (or "" before it has one), unit as stated, UTC times and values.

    A gap is left out. NaN stands only beside a flag that says why there is no figure (below or above the range).
    """

    name: str
    unit: str
    channel: str = ""
    code: str = ""
    site: str = ""
    assumed: bool = False  # where it was measured was taken for granted
    times: Ints
    values: Values
    flags: Flags
    lines: Ints
    laboratory: bool = False
    texts: tuple[str, ...] = ()
    qualifiers: tuple[str, ...] = ()


@dataclass(slots=True)
class Parsed:
    """Everything a file says, in the units it says it in."""

    form: str
    rows: int = 0
    tracks: list[Track] = field(default_factory=list)
    unmapped: list[tuple[str, str]] = field(default_factory=list)
    refused: Refusals = field(default_factory=Refusals)
    gaps: dict[str, int] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)
    clock: str = ""
    nights: list[str] = field(default_factory=list)

    def gap(self, text: str, count: int = 1) -> None:
        """Count cells that hold a word or number for "no reading"."""
        if count and (text in self.gaps or len(self.gaps) < 50):
            self.gaps[text] = self.gaps.get(text, 0) + count

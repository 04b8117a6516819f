"""What does the State define, and what then counts? A term that is not given is None, never a guess.

Where a term is lacking, a result is worked out by every choice that it leaves open. If they agree it is told, and the
lacking term is named beside it; if they do not, it cannot be told.
"""

from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from weirhouse.rules.model import Lacking

Pick = Literal["first", "last", "highest", "mean"]
Counts = Literal["counted", "not_counted"]
FEDERAL_HOLIDAYS = "US federal holidays are taken, as the local pack does not list those of the State"


@dataclass(frozen=True, slots=True)
class Rounding:
    """How a reading is rounded before it is compared; None decimals: as it was recorded."""

    decimals: int | None
    half: Literal["up", "even"] = "up"

    @property
    def words(self) -> str:
        """The same in words."""
        if self.decimals is None:
            return "as recorded"
        return f"rounded to {self.decimals} decimal{'s' if self.decimals != 1 else ''}, a half {self._half}"

    @property
    def _half(self) -> str:
        return "up" if self.half == "up" else "to the even digit"


@dataclass(frozen=True, slots=True, kw_only=True)
class StateTerms:
    """The [state] table of the local packs. Times in seconds, residuals in mg/L."""

    recorded_value: Pick | None = None  # of a quarter hour
    combined_interval: float | None = None  # 14400 or 900: which recorded values count for the month's share
    combined_value: Pick | None = None  # of a four-hour period
    maximum_counts: Literal["recorded", "every"] | None = None
    off_hours: Counts | None = None
    filter_to_waste: Counts | None = None
    turbidity_rounding: Rounding | None = None
    residual_rounding: Rounding | None = None
    residual_detectable: float | None = None
    lead_copper_rank: Literal["interpolate", "nearest"] | None = None
    holidays: tuple[date, ...] | None = None  # of the State; with them the federal ones no longer count
    business_day_ends: str = ""  # "16:30"
    where: dict[str, str] = field(default_factory=dict)  # term -> citation or letter of the State


WORDS: dict[str, str] = {
    "recorded_value": "which of an instrument's readings is the recorded value of a quarter hour",
    "combined_interval": "whether four-hour or 15-minute values of combined turbidity count for the month",
    "combined_value": "which value stands for a four-hour period",
    "maximum_counts": "whether only the recorded values count for the highest turbidity, or every 15-minute value",
    "off_hours": "whether readings count while the plant stands",
    "filter_to_waste": "whether a filter's readings count while it filters to waste",
    "turbidity_rounding": "how turbidity is rounded before it is compared",
    "residual_rounding": "how a residual is rounded before it is compared",
    "residual_detectable": "from which residual on it counts as detected",
    "lead_copper_rank": "how the 90th percentile is taken between two samples",
    "holidays": "which days are holidays of the State",
    "business_day_ends": "when its business day ends",
}


def lacking(terms: StateTerms, *keys: str, handled: str = "counted every way") -> tuple[Lacking, ...]:
    """Return those of the terms that are not given."""
    return tuple(
        Lacking(key=key, words=WORDS[key], handled=handled)
        for key in keys
        if getattr(terms, key) is None or getattr(terms, key) == ""
    )


def picks(term: Pick | None) -> tuple[Pick, ...]:
    """Return the choice of the State, else all that could decide: what the mean is over, the highest is over too."""
    return (term,) if term is not None else ("first", "last", "highest")


def counts(term: Counts | None) -> tuple[bool, ...]:
    """Return whether such readings count: as the State says, else both ways."""
    return (term == "counted",) if term is not None else (False, True)


def roundings(term: Rounding | None, decimals: int) -> tuple[Rounding, ...]:
    """Return the State's rounding, else both ends: as recorded, and to the decimals of the limit."""
    return (term,) if term is not None else (Rounding(None), Rounding(decimals))

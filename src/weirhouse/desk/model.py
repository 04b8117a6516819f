"""What a shell gets to show: advice and the day's order as plain frozen data."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from weirhouse.working import Sheet

AdviceState = Literal["do_now", "soon", "steady", "unknown"]
STATE_WORDS: dict[AdviceState, str] = {
    "do_now": "do now",
    "soon": "soon",
    "steady": "steady",
    "unknown": "cannot tell",
}
STATE_MARKS: dict[AdviceState, str] = {"do_now": "[#]", "soon": "[/]", "steady": "[ ]", "unknown": "[?]"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One number under an advice, with the range it is held against."""

    title: str
    value: float | None  # inside unit
    inside: str
    unit: str  # display unit
    shown: str  # "31.4 min", or "cannot tell"
    against: str = ""  # "published range 20 min or more (...)": empty when there is none
    within: bool | None = None  # of that range; None when there is none or the value is not known


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One decision: what to do, set to what, because of what, and how sure that is."""

    id: str
    title: str
    action: str  # one sentence that can be done, or what is so
    value: float | None  # inside unit; None when unknown or when the line has no single number
    inside: str  # the inside unit of value
    unit: str  # display unit of value
    shown: str  # the value as people read it: "46.0 %", "" when none
    state: AdviceState
    caution: str  # one line where someone could be hurt, else ""
    working: Sheet | None
    age_s: float | None  # of the oldest reading it stands on
    confidence: str  # in words
    depends: tuple[str, ...]  # channels without which the line cannot tell
    check: str  # what to check or measure when unknown, else ""
    because: str = ""  # reasons in a sentence
    uses: tuple[str, ...] = ()  # further channels that shape the line, but without which it can still tell
    figures: tuple[Figure, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Today:
    """The answer to "what should I do?" at one instant. `order` is the first sentence."""

    plant: str
    at: datetime  # in the plant's zone
    order: str
    order_state: AdviceState
    advice: tuple[Advice, ...]
    notes: tuple[str, ...]
    demo: bool
    unit_set: str = "US"

    def line(self, id: str) -> Advice:
        """Return one advice by its id; KeyError when this plant has no such line."""
        for advice in self.advice:
            if advice.id == id:
                return advice
        raise KeyError(id)

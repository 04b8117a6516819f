"""What does a rule ask, and what came of it? Plain frozen data, for reports and pages to read.

Limits and statistics stand in the unit of the rule (`Requirement.unit`: NTU, mg/L, percent ...). Times are aware, in
UTC. A status is one of five words; "met" is said only where nothing missing or doubtful could change it.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from weirhouse.working import Sheet

Status = Literal["met", "broken", "cannot tell", "not due", "does not apply"]
STATUSES: tuple[Status, ...] = ("broken", "cannot tell", "met", "not due", "does not apply")  # the worst first
Provenance = Literal["source", "memory", "mixed"]


# --- what is asked ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirmation:
    """A person compared a text of ours with the printed rule."""

    person: str
    at: datetime
    edition: str  # what it was compared with: "40 CFR 141.74, July 2026, printed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """One thing that a rule asks, as its pack gives it, with a local pack's stricter terms laid over it."""

    id: str
    pack: str
    rule: str
    title: str  # a few plain words
    citation: str
    applies_to: str
    parameter: str
    location: str
    statistic: str
    limit: float | None  # in `unit`
    unit: str
    sampling: str
    action: str
    deadline: str
    notes: str
    provenance: Provenance
    source_ref: str
    confirmed: Confirmation | None = None
    check: Mapping[str, Any] = field(default_factory=dict)  # how it is worked out: method and its terms
    applies: Mapping[str, Any] = field(default_factory=dict)  # to which plants
    extra: Mapping[str, Any] = field(default_factory=dict)  # tables and further numbers of the rule
    stricter_by: str = ""  # the local pack's citation, where it changed the limit
    base_limit: float | None = None  # the limit before that

    @property
    def key(self) -> str:
        """The name under which it is confirmed: pack and id."""
        return f"{self.pack}/{self.id}"

    @property
    def standing(self) -> str:
        """How far its text can be relied on, in words."""
        if self.confirmed is not None:
            by = self.confirmed
            return f"compared with {by.edition} by {by.person} on {by.at:%Y-%m-%d}"
        return {
            "source": "read in the source named, not yet compared by you with the printed rule",
            "memory": "from memory: compare it with the printed rule before you rely on it",
            "mixed": "partly from memory: compare it with the printed rule before you rely on it",
        }[self.provenance]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lacking:
    """Something the State or the permit must define that no local pack gives."""

    key: str  # of the [state] table: "combined_value"
    words: str  # "which reading stands for a four-hour period"
    handled: str  # "counted every way", or "cannot tell without it"


# --- what was counted --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """One reading or result and whether it counts. `value` is None where nothing was recorded."""

    at: datetime
    value: float | None
    unit: str
    source: str  # channel, or id of the sample
    counts: bool
    reason: str  # why it does not count, or what it stands for: "00:00 to 04:00"
    over: bool = False  # on the wrong side of the limit


@dataclass(frozen=True, kw_only=True, eq=False)
class Tally:
    """The readings behind an outcome, kept as arrays; `counted` and `not_counted` make plain objects of them."""

    source: str
    unit: str
    times: NDArray[np.int64]  # [UTC epoch s]
    values: NDArray[np.float64]  # NaN: nothing recorded
    reasons: NDArray[np.int16]  # index into `words`; 0 counts
    over: NDArray[np.bool_]
    words: tuple[str, ...] = ("",)
    labels: tuple[str, ...] = ()  # what each stands for, where it stands for something

    def _those(self, which: NDArray[np.bool_]) -> Iterator[Counted]:
        for i in np.flatnonzero(which):
            counts = bool(self.reasons[i] == 0)
            value = float(self.values[i])
            label = self.labels[i] if self.labels else ""
            why = self.words[int(self.reasons[i])]
            yield Counted(
                at=datetime.fromtimestamp(int(self.times[i]), UTC), value=value if value == value else None,
                unit=self.unit, source=self.source, counts=counts, reason=": ".join(p for p in (label, why) if p),
                over=bool(self.over[i]),
            )  # fmt: skip

    @property
    def counted(self) -> tuple[Counted, ...]:
        """The readings that counted."""
        return tuple(self._those(self.reasons == 0))

    @property
    def not_counted(self) -> tuple[Counted, ...]:
        """The readings that did not, each with its reason; what is missing is among them."""
        return tuple(self._those(self.reasons != 0))

    @property
    def beyond(self) -> tuple[Counted, ...]:
        """The counted readings on the wrong side of the limit."""
        return tuple(self._those((self.reasons == 0) & self.over))

    def __len__(self) -> int:
        return len(self.times)


@dataclass(frozen=True, slots=True, kw_only=True)
class Period:
    """A stretch of time that a requirement is judged over."""

    a: datetime
    b: datetime
    name: str  # "2026-10", "2026-10-14", "2026 quarter 4"


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """The same requirement counted another way: with rejected readings, or by another reading of the rule."""

    words: str  # "with the 3 rejected readings counted"
    status: Status
    value: float | None


# --- what follows ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """Something to be done by a time."""

    id: str
    words: str
    due: datetime | None
    due_words: str  # "by the 10th of November", "60 days after the trigger"
    citation: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Trigger:
    """Readings that set something going which is no broken limit by itself."""

    id: str  # "ife_trigger_1ntu:filter_1:2026-10-14T07:45Z": the same for the same readings
    requirement: Requirement
    subject: str
    at: datetime
    readings: tuple[Counted, ...]  # the consecutive ones
    sentence: str
    duties: tuple[Duty, ...]
    certain: bool = True  # False: only if rejected readings count, or if a missing month tripped


@dataclass(frozen=True, slots=True, kw_only=True)
class Element:
    """One of the ten elements that a public notice must have."""

    name: str
    text: str  # our draft; in brackets what only a person can fill in


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of a notice, in order."""

    id: str
    words: str
    due: datetime | None
    due_words: str
    whom: str = ""
    number: str = ""
    citation: str = ""
    done_at: datetime | None = None
    done_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoticeNeeded:
    """A broken limit, or a reading that must be told, with its clock. Opened by the readings, closed by a person."""

    id: str  # the same for the same readings: events of kind "notice" carry it as their subject
    requirement: Requirement
    subject: str
    opened_at: datetime  # the reading, or the end of the period, that opened it
    tier: int | None  # of the public notice; None where only the State is told
    sentence: str
    due: datetime | None  # of its first step that is not done
    steps: tuple[Step, ...]
    limit_at: datetime | None = None  # the four hours of the rule, where it has such a limit
    elements: tuple[Element, ...] = ()  # of the public notice
    draft: str = ""  # the notice as text, in our own words
    certain: bool = True  # False: only when rejected or doubtful readings are counted; it stands all the same
    closed_at: datetime | None = None
    closed_by: str = ""
    closing_note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of one requirement over one period."""

    requirement: Requirement
    subject: str  # channel, filter, sampling point; "" for the plant
    period: Period
    status: Status
    value: float | None  # of the statistic, in the requirement's unit
    shown: str  # the same as people read it
    limit: float | None
    sentence: str
    tally: Tally | None = None
    also: tuple[Tally, ...] = ()  # of further channels or points
    ways: tuple[Way, ...] = ()
    lacking: tuple[Lacking, ...] = ()
    why: tuple[str, ...] = ()  # what keeps it from being told, or must be said with it
    sheet: Sheet | None = None
    days: Mapping[date, Status] = field(default_factory=dict)  # of what is judged day by day
    missed_at: datetime | None = None  # end of the first stretch that any way of counting finds without its reading

    @property
    def counted(self) -> tuple[Counted, ...]:
        """The readings that counted."""
        return tuple(c for t in self._tallies() for c in t.counted)

    @property
    def not_counted(self) -> tuple[Counted, ...]:
        """The readings that did not count, with reasons."""
        return tuple(c for t in self._tallies() for c in t.not_counted)

    @property
    def how_many(self) -> tuple[int, int]:
        """How many readings counted and how many did not, without making an object of each."""
        counted = sum(int(np.count_nonzero(t.reasons == 0)) for t in self._tallies())
        return counted, sum(len(t) for t in self._tallies()) - counted

    def _tallies(self) -> tuple[Tally, ...]:
        return (*((self.tally,) if self.tally is not None else ()), *self.also)


@dataclass(frozen=True, slots=True, kw_only=True)
class Headroom:
    """How near a limit is, in counts. Worded so that it is nothing to spend."""

    requirement: Requirement
    subject: str
    sentence: str
    near: bool  # one more reading, or the next sample, could break it
    over: int | None = None  # recorded so far on the wrong side
    most: int | None = None  # with as many as this over, the month still meets the limit
    planned: int | None = None  # readings of the whole month by the plan
    at_most: float | None = None  # what the next sample may be, in the requirement's unit
    by: datetime | None = None
    sheet: Sheet | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bottle:
    """One bottle to fill."""

    analyte: str
    bottle: str
    preservation: str
    hold: str
    count: int
    source: str  # where that stands


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarItem:
    """A sample to take, and whether it was."""

    requirement: Requirement
    what: str
    point: str
    begin: datetime
    due: datetime
    state: Literal["done", "due", "overdue", "later"]
    wanted: int
    taken: int
    sentence: str
    bottles: tuple[Bottle, ...] = ()


# --- day and month -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class FourHours:
    """One four-hour period of a day: the recorded value of the combined filtered water, or why there is none."""

    name: str  # "04:00"
    begin: datetime
    end: datetime
    state: Literal["counts", "missing", "not certain", "standing", "to come"]
    value: float | None  # [NTU]
    taken_at: datetime | None
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentTime:
    """What one contact segment brought at the peak hour of a day."""

    stage: str
    name: str
    residual: float  # [mg/L]
    t10: float  # [s]
    ct: float  # [mg min/L]
    ratios: Mapping[str, float]  # organism -> share of what is required


@dataclass(frozen=True, slots=True, kw_only=True)
class DayContact:
    """Contact time of one day at its peak hourly flow, summed over the segments."""

    status: Status
    peak_hour: datetime | None
    flow: float | None  # [m^3/s]
    ratios: Mapping[str, float]  # organism -> sum over the segments
    limiting: str  # "giardia" or "virus"; "" where nothing is asked
    weakest: str  # name of the segment
    segments: tuple[SegmentTime, ...]
    why: str  # empty unless it cannot be told
    sheet: Sheet | None

    @property
    def ratio(self) -> float | None:
        """The smaller sum of ratios."""
        return min(self.ratios.values()) if self.ratios else None


@dataclass(frozen=True, slots=True, kw_only=True)
class DayResult:
    """One regulatory day, local midnight to local midnight."""

    date: date
    a: datetime
    b: datetime
    hours: float  # 23, 24 or 25
    filtering_h: float
    unknown_h: float  # for which it is not on record whether the plant ran
    periods: tuple[FourHours, ...]
    combined_highest: float | None  # [NTU] of the values that count
    filters_highest: Mapping[str, float]  # filter -> [NTU], of its recorded 15-minute values
    residual_lowest: float | None  # [mg/L] at the entry; None with a time where it was not detected
    residual_lowest_at: datetime | None
    contact: DayContact | None
    statuses: Mapping[str, Status]  # requirement -> what that day alone gives


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthFacts:
    """What later months need to know of this one."""

    month: str  # "2026-10"
    trips: Mapping[str, tuple[datetime, ...]]  # "ife_trigger_3_months:filter_1" -> when it tripped
    unsure: frozenset[str]  # the same keys, where missing or doubtful readings might have tripped
    undetectable_over: bool | None = None  # V above its limit; None: not known


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthResult:
    """Everything the rules say of one calendar month of one plant."""

    month: str  # "2026-10"
    a: datetime
    b: datetime
    until: datetime  # records were looked at up to here: the end of the month, or now
    packs: tuple[str, ...]  # titles with edition, in the order in which they are laid over each other
    days: tuple[DayResult, ...]
    outcomes: tuple[Outcome, ...]
    triggers: tuple[Trigger, ...]
    notices: tuple[NoticeNeeded, ...]
    headroom: tuple[Headroom, ...]
    calendar: tuple[CalendarItem, ...]
    rejected: tuple[Counted, ...]  # rejected and doubtful readings of the channels that rules look at
    lacking: tuple[Lacking, ...]
    facts: MonthFacts
    said: tuple[str, ...] = ()  # what holds for the whole: assumed holidays, tables from memory

    def outcome(self, requirement: str, subject: str | None = None) -> Outcome:
        """Return the outcome of a requirement (of one subject); KeyError when there is none."""
        for found in self.outcomes:
            if found.requirement.id == requirement and subject in (None, found.subject):
                return found
        raise KeyError(requirement)

    def count(self, status: Status) -> int:
        """Return how many outcomes have a status."""
        return sum(found.status == status for found in self.outcomes)

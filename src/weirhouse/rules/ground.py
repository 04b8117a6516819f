"""What do all requirements of a month stand on? Days, how plant and filters ran, recorded values: each made once."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np

from weirhouse.plant.model import Channel, Plant
from weirhouse.quantity import convert, fits
from weirhouse.records.model import Event, Result, Sample
from weirhouse.rules.business import Business
from weirhouse.rules.model import Period, Requirement
from weirhouse.rules.packs import RuleBook
from weirhouse.rules.recorded import (
    Bools,
    Ints,
    Recorded,
    Signal,
    Slots,
    Spans,
    four_hour_values,
    periods,
    quarter_values,
    quarters,
    shut_out,
    signal,
    spans_of,
)
from weirhouse.rules.terms import Pick
from weirhouse.situation.at import flow_channel
from weirhouse.situation.days import PERIOD_H, Course, Day, course_of, days_of, periods_of, with_before
from weirhouse.situation.model import Stretch
from weirhouse.situation.running import least_flow

WASH_LASTS_S = 1800.0  # a wash entered without its end
TO_WASTE_LASTS_S = 3600.0


@dataclass(eq=False)
class Ground:
    """One plant, one calendar month, its records up to `until`, and the rules in force."""

    plant: Plant
    stretch: Stretch
    samples: Sequence[Sample]
    results: Sequence[Result]
    events: Sequence[Event]
    book: RuleBook
    a: datetime
    b: datetime
    until: datetime  # end of the month, or now
    days: tuple[Day, ...] = ()
    business: Business = field(init=False)
    _kept: dict[Any, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.days = days_of(self.a, self.b, self.plant.zone)
        self.business = Business(
            self.plant.zone, holidays=self.book.state.holidays, ends=self.book.state.business_day_ends
        )

    @property
    def name(self) -> str:
        """The month: "2026-10"."""
        return f"{self.a.astimezone(self.plant.zone):%Y-%m}"

    @property
    def month(self) -> Period:
        """The month as a period."""
        return Period(a=self.a, b=self.b, name=self.name)

    @property
    def over(self) -> bool:
        """Whether the month is over."""
        return self.until >= self.b

    @property
    def begin_s(self) -> int:
        """The begin [UTC epoch s]."""
        return int(self.a.timestamp())

    @property
    def until_s(self) -> int:
        """Up to where records count [UTC epoch s]."""
        return int(self.until.timestamp())

    def keep(self, key: Any, make: Any) -> Any:
        """Return what was made under a key, made once."""
        if key not in self._kept:
            self._kept[key] = make()
        return self._kept[key]

    # --- how it ran

    def course(self, filter_id: str = "") -> Course:
        """Return how the plant ran, or one filter by its own meter where it has one."""
        own = filter_id if f"{filter_id}_flow" in self.stretch.tracks else ""
        return self.keep(("course", own), lambda: self._course(own))  # type: ignore[no-any-return]

    def _course(self, filter_id: str) -> Course:
        if not filter_id:
            return course_of(self.stretch, flow_channel(self.plant))
        least = least_flow(self.plant.design_flow) / max(1, len(self.plant.filters))
        track = with_before(self.stretch, f"{filter_id}_flow")
        return Course(track, least=least, events=self.stretch.events, end=self.stretch.b.timestamp())

    def running(self, times: Ints, filter_id: str = "") -> Bools:
        """Return whether the plant, or a filter, ran at each time; made once for channels that share their stamps."""
        course = self.course(filter_id)
        made: list[tuple[Ints, Bools]] = self.keep(("running", id(course)), list)
        for known, found in made:
            if known is times or (len(known) == len(times) and bool((known == times).all())):
                return found
        made.append((times, course.running(times)))
        return made[-1][1]

    def washes(self, filter_id: str, *, to_waste: bool) -> Spans:
        """Return when a filter was being washed, with the times it filtered to waste or without."""
        wash = spans_of(self.stretch.events, ("backwash",), filter_id, longest=WASH_LASTS_S)
        if not to_waste:
            return wash
        waste = spans_of(self.stretch.events, ("filter_to_waste",), filter_id, longest=TO_WASTE_LASTS_S)
        return Spans(np.append(wash.begins, waste.begins), np.append(wash.ends, waste.ends))

    # --- what was recorded

    def channel(self, id: str) -> Channel | None:
        """Return a channel of the plant file, None where it has none."""
        return self.plant.channels.get(id)

    def signal(self, id: str, *, upper: bool) -> Signal:
        """Return the rows of a channel, to be held against an upper limit or a lower one."""
        channel = self.plant.channels[id]
        return self.keep(  # type: ignore[no-any-return]
            ("signal", id, upper), lambda: signal(self.stretch, channel, upper=upper, until=float(self.until_s))
        )

    def quarters(
        self, channel: str, *, upper: bool, off_hours: bool, pick: Pick, with_bad: bool, filter_id: str = "",
        to_waste_counts: bool = True, back: bool = False,
    ) -> Recorded:  # fmt: skip
        """Return the recorded value of each quarter hour of a channel; of a filter, while it is on line.

        With `back` the last quarter hour before the month is among them, where the stretch reaches back.
        """
        key = ("quarters", channel, upper, off_hours, pick, with_bad, filter_id, to_waste_counts, back)

        def make() -> Recorded:
            sig = self.signal(channel, upper=upper)
            course = self.course(filter_id)
            closed = self.washes(filter_id, to_waste=not to_waste_counts) if filter_id else None
            end = self.begin_s + (self.until_s - self.begin_s) // 900 * 900
            reaches = back and self.stretch.a.timestamp() <= self.begin_s - 900
            begin = self.begin_s - 900 if reaches else self.begin_s
            base = self.keep(
                ("slots", id(course), off_hours, begin), lambda: quarters(begin, end, course, off_hours=off_hours)
            )
            slots = (
                base
                if closed is None
                else self.keep(("slots", filter_id, to_waste_counts, begin), lambda: shut_out(base, closed))
            )
            keep = sig.rows(with_bad)
            if not off_hours:
                keep = keep & self.running(sig.times, filter_id)
            if closed is not None and len(closed.begins):
                keep = keep & ~closed.holds(sig.times)
            return quarter_values(sig, slots, keep, pick)

        return self.keep(key, make)  # type: ignore[no-any-return]

    def four_hours(
        self, id: str, *, upper: bool, off_hours: bool, quarter: Pick, pick: Pick, with_bad: bool
    ) -> Recorded:
        """Return the value that stands for each four-hour period that is over."""
        key = ("four", id, upper, off_hours, quarter, pick, with_bad)

        def make() -> Recorded:
            recorded = self.quarters(id, upper=upper, off_hours=off_hours, pick=quarter, with_bad=with_bad)
            slots = self.four_slots(off_hours)
            return four_hour_values(self.signal(id, upper=upper), recorded, slots, pick)

        return self.keep(key, make)  # type: ignore[no-any-return]

    def four_slots(self, off_hours: bool) -> Slots:
        """Return the four-hour periods that are over."""
        return self.keep(("four slots", off_hours), lambda: self._four_slots(off_hours))  # type: ignore[no-any-return]

    def four_names(self) -> list[str]:
        """Return what the four-hour periods that are over are called: "08:00 to 12:00"."""
        self.four_slots(False)
        return list(self._kept["four names"])

    def _four_slots(self, off_hours: bool) -> Slots:
        all_of = [p for day in self.days for p in periods_of(day, self.plant.zone) if p.end <= self.until_s]
        begins = np.array([p.begin for p in all_of], np.int64)
        ends = np.array([p.end for p in all_of], np.int64)
        self._kept["four names"] = [f"{p.name} to {(int(p.name[:2]) + PERIOD_H) % 24:02d}:00" for p in all_of]
        return periods(begins, ends, self.course(), off_hours=off_hours)

    @property
    def begins_s(self) -> float:
        """When the records of this plant begin, as far as the month knows [UTC epoch s]; infinite without any."""
        if any(value.known is not None for value in self.stretch.before.values()):
            return self.a.timestamp()
        firsts = (t.times[np.isfinite(t.values) | (t.flags > 0)][:1] for t in self.stretch.tracks.values())
        return min((float(first[0]) for first in firsts if len(first)), default=float("inf"))

    def first_missed(self, ends: Ints) -> int:
        """Return the end of the first stretch that was missed after the records begin, else of the last before."""
        after = ends[ends > self.begins_s]
        return int(after[0] if len(after) else ends[-1])

    # --- words and units

    def limit(self, requirement: Requirement, channel: Channel) -> float:
        """Return a requirement's limit in the inside unit of a channel."""
        assert requirement.limit is not None
        if fits(requirement.unit, channel.inside):
            return float(convert(requirement.limit, requirement.unit, channel.inside))
        return requirement.limit

    def local(self, seconds: float) -> datetime:
        """Return an instant on the plant's clock."""
        return datetime.fromtimestamp(int(seconds), UTC).astimezone(self.plant.zone)

    def day_of(self, seconds: float) -> date:
        """Return the local day of an instant."""
        return self.local(seconds).date()


def next_month(day: date) -> date:
    """Return the first of the month after.

    >>> next_month(date(2026, 12, 3))
    datetime.date(2027, 1, 1)
    """
    return (day.replace(day=1) + timedelta(days=32)).replace(day=1)

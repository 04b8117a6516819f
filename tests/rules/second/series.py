"""What does the rule text say of a month of readings? A second evaluation, plain and slow, to check the first by.

Written from the rule texts (40 CFR 141.72(b)(2), .74(c), .551, .560 to .563) and from the definitions of docs/rules.md
for what they leave to the State, without looking at `weirhouse.rules`. One reading after the other, no arrays.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from functools import cached_property
from itertools import pairwise, product
from typing import Any
from zoneinfo import ZoneInfo

QUARTER = 900
INFINITE = float("inf")


@dataclass(frozen=True)
class Row:
    """One row: time [s], value (None: no number), flag (0 good, 1 doubtful, 2 rejected, 3 less than, 4 more than)."""

    t: int
    value: float | None
    flag: int = 0
    by_hand: bool = False


@dataclass(frozen=True)
class Spell:
    """Something in the day log that lasted from a to b [s]."""

    kind: str
    a: int
    b: int
    subject: str = ""


@dataclass
class Month:
    """The records of one month, in plain lists."""

    first: date
    zone: ZoneInfo
    least_flow: float  # above it the plant ran
    rows: Mapping[str, Sequence[Row]]
    bounds: Mapping[str, tuple[float, float]]  # what a value can mean at all
    intervals: Mapping[str, int]  # of the logger [s]
    spells: Sequence[Spell] = ()
    filters: Sequence[str] = ("filter_1", "filter_2")
    _running: dict[str, list[tuple[int, int, str]]] = field(default_factory=dict)
    _spans: dict[str, dict[int, list[tuple[int, int, str]]]] = field(default_factory=dict)
    _whole: dict[tuple[str, int], dict[str, int]] = field(default_factory=dict)
    _periods: dict[tuple[Any, ...], "list[Value]"] = field(default_factory=dict)
    _slots: dict[tuple[Any, ...], "list[Slot]"] = field(default_factory=dict)

    def local(self, day: date, hour: int = 0) -> int:
        """Return a clock hour of a day as seconds."""
        return int(datetime(day.year, day.month, day.day, hour, tzinfo=self.zone).timestamp())

    @cached_property
    def days(self) -> list[date]:
        """Every day of the month."""
        out, day = [], self.first
        while day.month == self.first.month:
            out.append(day)
            day += timedelta(days=1)
        return out

    @cached_property
    def a(self) -> int:
        """Local midnight of the first."""
        return self.local(self.first)

    @cached_property
    def b(self) -> int:
        """Local midnight of the next month's first."""
        return self.local(self.days[-1] + timedelta(days=1))

    def quarters(self, a: int | None = None, b: int | None = None) -> range:
        """Every quarter hour's begin."""
        return range(self.a if a is None else a, self.b if b is None else b, QUARTER)

    def periods(self) -> list[tuple[int, int]]:
        """Every four-hour period by the clock; of a day of 23 or 25 hours the first is shorter or longer."""
        begins = [self.local(day, hour) for day in self.days for hour in (0, 4, 8, 12, 16, 20)]
        return list(zip(begins, [*begins[1:], self.b], strict=True))

    # --- did it run? -----------------------------------------------------------------------------------------

    def running(self, meter: str) -> list[tuple[int, int, str]]:
        """What a flow meter says: spans that "ran" or "stood"; what lies between is not on record."""
        if meter not in self._running:
            least = self.least_flow if meter == "plant_flow" else self.least_flow / len(self.filters)
            good = [r for r in self.rows[meter] if r.value is not None and r.flag not in (1, 2)]
            spans = []
            for i, row in enumerate(good):
                until = good[i + 1].t if i + 1 < len(good) else self.b
                held = row.t + max(1800, 3 * QUARTER)
                ran = row.value is not None and row.value > least
                if not ran:
                    held = max(held, self._told_until(held, row.t))
                spans.append((row.t, min(until, held), "ran" if ran else "stood"))
            self._running[meter] = spans
        return self._running[meter]

    def _told_until(self, held: int, since: int) -> int:
        """Until when the day log says that it is stopped, if it is stopped at the end of what the meter told."""
        told = [s for s in self.spells if s.kind in ("start", "stop") and s.a <= held]
        if not told or max(told, key=lambda s: s.a).kind != "stop":
            return held
        stop = max(told, key=lambda s: s.a)
        starts = [s.a for s in self.spells if s.kind == "start" and s.a > stop.a]
        return min([*starts, stop.a + 36 * 3600])

    def state(self, meter: str, t: int) -> str:
        """Whether it ran at an instant: "ran", "stood" or "unknown"."""
        q = t - (t - self.a) % QUARTER
        for a, b, word in self._of_quarter(meter, q):
            if a <= t < b:
                return word
        return "unknown"

    def _of_quarter(self, meter: str, q: int) -> list[tuple[int, int, str]]:
        if meter not in self._spans:
            index: dict[int, list[tuple[int, int, str]]] = {}
            for a, b, word in self.running(meter):
                for begin in range(a - (a - self.a) % QUARTER, b, QUARTER):
                    index.setdefault(begin, []).append((a, b, word))
            self._spans[meter] = index
        return self._spans[meter].get(q, [])

    def served(self, meter: str, a: int, b: int, words: Iterable[str] = ("ran",)) -> int:
        """For how long [s] it ran (or may have) between two instants."""
        total = 0
        q = a - (a - self.a) % QUARTER
        while q < b:
            if a <= q and q + QUARTER <= b:
                if (meter, q) not in self._whole:
                    self._whole[meter, q] = self._within(meter, q, q, q + QUARTER)
                parts = self._whole[meter, q]
            else:
                parts = self._within(meter, q, max(a, q), min(b, q + QUARTER))
            total += sum(parts[word] for word in words)
            q += QUARTER
        return total

    def _within(self, meter: str, q: int, a: int, b: int) -> dict[str, int]:
        """How much of a stretch inside a quarter hour it ran, stood, and is not on record."""
        parts = {"ran": 0, "stood": 0, "unknown": b - a}
        for x, y, word in self._of_quarter(meter, q):
            lasting = max(0, min(y, b) - max(x, a))
            parts[word] += lasting
            parts["unknown"] -= lasting
        return parts

    # --- which readings count? -------------------------------------------------------------------------------

    def bad(self, channel: str, row: Row) -> bool:
        """Rejected, doubtful, impossible, or written by a logger that was out."""
        low, high = self.bounds[channel]
        if row.flag in (1, 2):
            return True
        if row.value is not None and ((row.value < low and row.flag != 3) or (row.value > high and row.flag != 4)):
            return True
        return not row.by_hand and self.out(channel, row.t)

    def out(self, channel: str, t: int) -> bool:
        """Whether the instrument was out by the day log."""
        kinds = ("instrument_fault", "instrument_out")
        return any(s.kind in kinds and s.subject == channel and s.a <= t < s.b for s in self.spells)

    def left_out(self, subject: str, terms: Mapping[str, Any]) -> list[Spell]:
        """When a filter's readings do not count: it is washed, or filters to waste where that is not counted."""
        kinds = ["backwash"] + (["filter_to_waste"] if terms["filter_to_waste"] == "not_counted" else [])
        return [s for s in self.spells if s.kind in kinds and s.subject == subject]


def number(row: Row, upper: bool = True) -> float:
    """Return what a row counts as: "more than" infinitely high against an upper limit, "less than" low against a lower.

    The other way round its own figure is the worst that it can be.
    """
    assert row.value is not None
    return {4: INFINITE}.get(row.flag, row.value) if upper else {3: -INFINITE}.get(row.flag, row.value)


def above(value: float, limit: float, rounding: Any) -> bool:
    """Whether a value is above a limit, rounded as the State says."""
    return rounded(value, rounding) > limit + 1e-9


def rounded(value: float, rounding: Any) -> float:
    """Return a value as it is compared."""
    if rounding == "as_recorded" or value in (INFINITE, -INFINITE):
        return value
    half = {"up": ROUND_HALF_UP, "even": ROUND_HALF_EVEN}[rounding["half"]]
    return float(Decimal(repr(value)).quantize(Decimal(1).scaleb(-rounding["decimals"]), rounding=half))


def take(values: Sequence[tuple[int, float]], which: str) -> tuple[int, float] | None:
    """Return the first, last, highest or mean of values with their times."""
    if not values:
        return None
    if which == "first":
        return values[0]
    if which == "last":
        return values[-1]
    if which == "highest":
        return max(values, key=lambda v: v[1])
    return values[-1][0], sum(v[1] for v in values) / len(values)


def round_the_clock(terms: Mapping[str, Any], subject: str = "") -> bool:
    """Whether values are due while the plant stands: its mains are served from the tank then, if the State says so."""
    return not subject and terms["off_hours"] == "counted"


@dataclass(frozen=True)
class Slot:
    """A quarter hour: its recorded value, and whether one was asked for."""

    begin: int
    taken: tuple[int, float] | None
    highest: float | None
    asked: str  # "yes", "maybe", "no"
    whole: bool

    @property
    def unsure(self) -> bool:
        """Asked for, or maybe, and there is no whole value."""
        return self.asked != "no" and (self.taken is None or not self.whole)


def slots(
    month: Month, channel: str, terms: Mapping[str, Any], with_bad: bool, subject: str = "", a: int | None = None
) -> list[Slot]:  # fmt: skip
    """Return every quarter hour of a month for a channel."""
    key = (channel, subject, a, with_bad, *(terms[k] for k in ("off_hours", "filter_to_waste", "recorded_value")))
    if key not in month._slots:
        month._slots[key] = _slots(month, channel, terms, with_bad, subject, a)
    return month._slots[key]


def _slots(
    month: Month, channel: str, terms: Mapping[str, Any], with_bad: bool, subject: str, a: int | None
) -> list[Slot]:  # fmt: skip
    meter = f"{subject}_flow" if subject else "plant_flow"
    out_of = month.left_out(subject, terms) if subject else []
    begin = month.a if a is None else a
    inside: dict[int, list[Row]] = {}
    for row in month.rows[channel]:
        if row.value is not None and begin <= row.t < month.b and (with_bad or not month.bad(channel, row)):
            inside.setdefault(row.t - (row.t - month.a) % QUARTER, []).append(row)
    interval = month.intervals[channel]
    found = []
    for q in month.quarters(begin):
        values = []
        for row in inside.get(q, []):
            if (subject or terms["off_hours"] == "not_counted") and month.state(meter, row.t) == "stood":
                continue
            if any(s.a <= row.t < s.b for s in out_of):
                continue
            values.append((row.t, number(row)))
        ran = month.served(meter, q, q + QUARTER)
        may = ran + month.served(meter, q, q + QUARTER, ("unknown",))
        if round_the_clock(terms, subject):
            ran = may = QUARTER
        if any(s.a < q + QUARTER and q < s.b for s in out_of):
            ran = may = 0
        asked = "yes" if ran >= QUARTER - 0.5 else "maybe" if may >= QUARTER - 0.5 else "no"
        whole = True
        if interval < QUARTER and values:
            if terms["recorded_value"] == "first":
                whole = values[0][0] - q < interval
            elif terms["recorded_value"] == "last":
                whole = q + QUARTER - values[-1][0] <= interval
            else:
                whole = len(values) >= round(QUARTER / interval)
        taken = take(values, terms["recorded_value"])
        found.append(Slot(q, taken, max(v[1] for v in values) if values else None, asked, whole))
    return found


@dataclass(frozen=True)
class Value:
    """One value that a share or a highest goes over."""

    number: float | None
    unsure: bool
    asked: str


def four_hours(month: Month, channel: str, terms: Mapping[str, Any], quarters: Sequence[Slot]) -> list[Value]:
    """Return the value of each four-hour period."""
    key = (id(quarters), terms["combined_value"], terms["off_hours"])
    if key not in month._periods:
        month._periods[key] = _four_hours(month, channel, terms, quarters)
    return month._periods[key]


def _four_hours(month: Month, channel: str, terms: Mapping[str, Any], quarters: Sequence[Slot]) -> list[Value]:
    by_begin = {s.begin: s for s in quarters}
    found = []
    for a, b in month.periods():
        ran = month.served("plant_flow", a, b)
        may = ran + month.served("plant_flow", a, b, ("unknown",))
        if round_the_clock(terms):
            ran = may = b - a
        asked = "yes" if ran >= QUARTER else "maybe" if may >= QUARTER else "no"
        inside = [by_begin[q] for q in month.quarters(a, b)]
        got = [s for s in inside if s.taken is not None]
        chosen = take([s.taken for s in got if s.taken is not None], terms["combined_value"])
        lacking = [s.begin for s in inside if s.unsure and not stands_in(month, channel, s.begin, quarters)]
        if chosen is None:
            found.append(Value(None, asked != "no", asked))
            continue
        if terms["combined_value"] == "last":
            missing = any(q > got[-1].begin for q in lacking)
        elif terms["combined_value"] == "first":
            missing = any(q < got[0].begin for q in lacking)
        else:
            missing = bool(lacking)
        which = got[-1] if terms["combined_value"] == "last" else got[0] if terms["combined_value"] == "first" else None
        missing = missing or (which is not None and which.unsure)
        found.append(Value(chosen[1], missing, asked))
    return found


def stands_in(month: Month, channel: str, q: int, quarters: Sequence[Slot]) -> bool:
    """Whether the instrument was out and a value of the four hours before stands for a quarter hour."""
    if not any(month.out(channel, t) for t in range(q, q + QUARTER, 60)):
        return False
    return any(s.taken is not None and q - 4 * 3600 <= s.taken[0] < q for s in quarters)


# --- what is asked of the combined water ---------------------------------------------------------------------------


def judged(
    values: Sequence[Value], broken: Callable[[list[float]], bool], most: Callable[[list[float], int], bool]
) -> str:
    """Return a status: broken by what is there, met whatever is missing, else it cannot be told."""
    there = [v.number for v in values if v.number is not None]
    unsure = sum(v.unsure for v in values)
    if not there and not unsure:
        return "not due"
    if there and broken(there):
        return "broken"
    return "met" if most(there, unsure) else "cannot tell"


def share_within(values: Sequence[Value], limit: float, fraction: float, rounding: Any) -> tuple[str, float | None]:
    """At least a share of the measurements of the month at or below the limit."""
    there = [v.number for v in values if v.number is not None]
    over = sum(above(v, limit, rounding) for v in there)
    every = sum(v.number is not None or v.unsure for v in values)
    worst = sum((v.number is not None and above(v.number, limit, rounding)) or v.unsure for v in values)
    share = 100 * (len(there) - over) / len(there) if there else None
    if not every:
        return "not due", None
    if there and len(there) - over < fraction * len(there) - 1e-9:
        return "broken", share
    return ("met" if every - worst >= fraction * every - 1e-9 else "cannot tell"), share


def none_above(values: Sequence[Value], limit: float, rounding: Any) -> tuple[str, float | None]:
    """No measurement above the limit."""
    there = [v.number for v in values if v.number is not None]
    status = judged(values, lambda t: any(above(v, limit, rounding) for v in t), lambda _, unsure: unsure == 0)
    return status, max(there) if there else None


def of_quarters(quarters: Sequence[Slot]) -> list[Value]:
    """Return the recorded values of the quarter hours."""
    return [Value(s.taken[1] if s.taken else None, s.unsure, s.asked) for s in quarters]


def combined(month: Month, id: str, terms: Mapping[str, Any], limit: float, with_bad: bool) -> tuple[str, float | None]:
    """Return status and statistic of a requirement on the combined filtered water."""
    channel = "combined_turbidity"
    quarters = slots(month, channel, terms, with_bad)
    rounding = terms["turbidity_rounding"]
    if rounding == "limit":
        rounding = {"decimals": 1 if limit == 0.3 else 0, "half": "up"}
    every = of_quarters(quarters)
    periods = four_hours(month, channel, terms, quarters)
    for_share = periods if terms["combined_interval"] == "4 h" else every
    if id == "cfe_95_small":
        return share_within(for_share, limit, 0.95, rounding)
    if id == "cfe_max_small" and (terms["maximum_counts"], terms["combined_interval"]) == ("recorded", "4 h"):
        return none_above(periods, limit, rounding)
    waived = [
        Value(v.number, v.unsure and not stands_in(month, channel, s.begin, quarters), v.asked) if v.unsure else v
        for v, s in zip(every, quarters, strict=True)
    ]
    if id == "cfe_max_small":
        return none_above(waived, limit, rounding)
    if id == "cfe_5ntu_consult":
        highest = [Value(s.highest, v.unsure, s.asked) for s, v in zip(quarters, waived, strict=True)]
        return none_above(highest, limit, rounding)
    assert id == "cfe_sampling_4h"
    if not any(p.asked != "no" for p in periods):
        return "not due", None
    gone = sum(p.number is None and p.asked == "yes" for p in periods)
    maybe = sum(p.number is None and p.asked == "maybe" for p in periods)
    return ("broken" if gone else "cannot tell" if maybe else "met"), float(gone)


# --- each filter ---------------------------------------------------------------------------------------------------


def each_quarter(month: Month, subject: str, terms: Mapping[str, Any], with_bad: bool) -> tuple[str, float | None]:
    """A recorded value every 15 minutes while the filter is on line; outages of the instrument are judged apart."""
    channel = f"{subject}_turbidity"
    gone = maybe = asked = 0
    for s in slots(month, channel, terms, with_bad, subject):
        if (s.asked == "no" and s.taken is None) or any(
            x.kind in ("instrument_fault", "instrument_out") and x.subject == channel
            and x.a < s.begin + QUARTER and s.begin < x.b for x in month.spells
        ):  # fmt: skip
            continue
        asked += 1
        gone += s.taken is None and s.asked == "yes"
        maybe += s.taken is None and s.asked == "maybe"
    if not asked:
        return "not due", None
    return ("broken" if gone else "cannot tell" if maybe else "met"), float(gone)


def pairs(
    month: Month, subject: str, terms: Mapping[str, Any], limit: float, with_bad: bool
) -> tuple[str, float | None, list[int]]:  # fmt: skip
    """Two consecutive recordings 15 min apart above the value: status, highest, times of the second of each pair."""
    channel = f"{subject}_turbidity"
    rounding = terms["turbidity_rounding"]
    if rounding == "limit":
        rounding = {"decimals": 0, "half": "up"}
    found = slots(month, channel, terms, with_bad, subject, month.a - QUARTER)
    cuts = month.left_out(subject, terms)
    meter = f"{subject}_flow"

    def in_a_row(x: Slot, y: Slot) -> bool:
        a = x.taken[0] if x.taken else x.begin + QUARTER
        b = y.taken[0] if y.taken else y.begin
        if any(s.a < b and a < s.b for s in cuts):
            return False
        return month.served(meter, a, b, ("stood",)) == 0

    tripped, possible = [], False
    for x, y in pairwise(found):
        over = [s.taken is not None and above(s.taken[1], limit, rounding) for s in (x, y)]
        may = [o or s.unsure for o, s in zip(over, (x, y), strict=True)]
        if not all(may) or not in_a_row(x, y):
            continue
        if all(over) and y.taken is not None:
            tripped.append(y.taken[0])
        else:
            possible = True
    values = [s.taken[1] for s in found if s.taken is not None]
    if not values and not any(s.unsure for s in found):
        return "not due", None, []
    return ("broken" if tripped else "cannot tell" if possible else "met"), max(values, default=None), tripped


def months_running(statuses: Sequence[str]) -> str:
    """The same in each of so many months in a row: "broken", "met", "cannot tell" of each month, or "unknown"."""
    if any(s in ("met", "not due") for s in statuses):
        return "met"
    return "broken" if all(s == "broken" for s in statuses) else "cannot tell"


# --- residual at the entry -----------------------------------------------------------------------------------------


def residual(
    month: Month, id: str, limit: float, terms: Mapping[str, Any], with_bad: bool
) -> tuple[str, float | None]:  # fmt: skip
    """The residual at the entrance to the mains: never below for more than 4 h; or no value below."""
    channel = "entry_chlorine"
    rows = [
        r for r in month.rows[channel]
        if r.value is not None and month.a <= r.t < month.b and (with_bad or not month.bad(channel, r))
        and (terms["off_hours"] == "counted" or month.state("plant_flow", r.t) != "stood")
    ]  # fmt: skip

    rounding = terms["residual_rounding"]

    def serving(a: int, b: int) -> int:
        if round_the_clock(terms):
            return b - a
        return month.served("plant_flow", a, b, ("ran", "unknown"))

    if serving(month.a, month.b) == 0:
        return "not due", None
    edges = [month.a, *(r.t for r in rows), month.b]
    under = [False, *(rounded(number(r, upper=False), rounding) < limit - 1e-9 for r in rows), False]
    step = 1.5 * month.intervals[channel]
    if id == "ep_residual_notify":
        gap = any(serving(a, b) > step for a, b in pairwise(edges))
        lowest = min((max(0.0, number(r, upper=False)) for r in rows), default=None)
        return ("broken" if any(under) else "cannot tell" if gap else "met"), lowest
    longest = worst = 0.0
    i = 1
    lasting = 0.0
    doubtful = 0.0
    while i < len(edges):
        span = serving(edges[i - 1], edges[i])
        if under[i - 1]:
            lasting += span
            longest = max(longest, lasting)
        if span > step:
            doubtful = (doubtful if under[i - 1] else 0.0) + span
            worst = max(worst, doubtful)
        elif under[i - 1]:
            doubtful += span
            worst = max(worst, doubtful)
        if not under[i]:
            lasting = 0.0
            doubtful = 0.0
        i += 1
    if longest > 4 * 3600:
        return "broken", longest / 3600
    return ("cannot tell" if worst > 4 * 3600 else "met"), longest / 3600


# --- what the State leaves open ------------------------------------------------------------------------------------

OPEN = {
    "recorded_value": ("first", "last", "highest"),
    "combined_interval": ("4 h", "15 min"),
    "combined_value": ("first", "last", "highest"),
    "maximum_counts": ("recorded", "every"),
    "off_hours": ("counted", "not_counted"),
    "filter_to_waste": ("counted", "not_counted"),
    "turbidity_rounding": ("as_recorded", "limit"),
}


def every_way(given: Mapping[str, Any], matters: Sequence[str], judge: Callable[[Mapping[str, Any], bool], str]) -> str:
    """Return a status by every choice left open, with and without the bad readings: what all say, if they agree."""
    choices = [[given[key]] if key in given else list(OPEN[key]) for key in matters]
    fixed = {key: OPEN[key][0] for key in OPEN} | dict(given)
    words: set[str] = set()
    for way in product(*choices):
        for bad in (False, True):
            words.add(judge(fixed | dict(zip(matters, way, strict=True)), bad))
            if len(words) > 1:
                return "cannot tell"
    return words.pop()

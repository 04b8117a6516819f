"""Did a filter's turbidity set something going? Two recorded 15-minute values in a row, months in a row, gaps, outages.

It is always the recorded value of a quarter hour while the filter is on line, never every row of a logger. A missing
value beside one above the limit, or two missing in a row, could be a pair: then it cannot be told.
"""

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from weirhouse.rules.ground import Ground, next_month
from weirhouse.rules.model import Counted, Duty, MonthFacts, Outcome, Requirement, Status, Trigger
from weirhouse.rules.outcome import Verdict, amount, at_text, first_of, settle, shown, simple, tally_of
from weirhouse.rules.recorded import QUARTER_S, Bools, Recorded, above, decimals_of, rounded
from weirhouse.rules.terms import Pick, Rounding, counts, lacking, picks, roundings
from weirhouse.rules.turbidity import both_ways, scale_of
from weirhouse.working import Sheet


@dataclass(frozen=True, slots=True)
class Watched:
    """A filter that is watched by itself, or the combined water in place of two filters or fewer."""

    subject: str
    title: str
    channel: str
    filter_id: str


@dataclass(frozen=True, slots=True)
class Way:
    """One way of counting a filter's values that the State's terms leave open."""

    pick: Pick
    to_waste_counts: bool
    rounding: Rounding

    @property
    def words(self) -> str:
        """The same in words."""
        waste = "also while it filtered to waste" if self.to_waste_counts else "without the time it filtered to waste"
        return f"{self.pick} reading of each quarter hour, {waste}, {self.rounding.words}"


TERMS = ("recorded_value", "filter_to_waste", "turbidity_rounding")


def watched(ground: Ground) -> list[Watched]:
    """Return what is watched: each filter, or the combined water where two filters or fewer make use of that option."""
    plant = ground.plant
    permit = plant.permit
    option = permit is not None and not permit.individual_filters and len(plant.filters) <= 2
    if option and "combined_turbidity" in plant.channels:
        return [Watched("combined_turbidity", "Combined water, in place of each filter", "combined_turbidity", "")]
    return [
        Watched(f.id, f.name or f.id.replace("_", " ").capitalize(), f"{f.id}_turbidity", f.id) for f in plant.filters
    ]


def _ways(ground: Ground, limit: float, filter_id: str) -> list[Way]:
    state = ground.book.state
    waste = counts(state.filter_to_waste) if filter_id else (True,)
    rounds = roundings(state.turbidity_rounding, decimals_of(limit))
    return [Way(*one) for one in itertools.product(picks(state.recorded_value), waste, rounds)]


def first_way(ground: Ground, limit: float, one: Watched) -> Way:
    """Return the State's way of counting, or the first of those that it leaves open."""
    return _ways(ground, limit, one.filter_id)[0]


def _values(ground: Ground, one: Watched, way: Way, with_bad: bool) -> Recorded:
    return ground.quarters(
        one.channel, upper=True, off_hours=False, pick=way.pick, with_bad=with_bad, filter_id=one.filter_id,
        to_waste_counts=way.to_waste_counts, back=True,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Pairs:
    """Pairs of recorded values in a row above a limit: which slots are over, and whether a gap could hide a pair."""

    recorded: Recorded
    over: Bools
    firsts: tuple[int, ...]  # first slot of each certain pair
    possible: bool


def pairs(ground: Ground, one: Watched, limit: float, way: Way, with_bad: bool, after_hours: float = 0.0) -> Pairs:
    """Return the pairs above a limit. The second of a pair lies in the month."""

    def make() -> Pairs:
        recorded = _values(ground, one, way, with_bad)
        over = above(rounded(recorded.values, way.rounding), limit)
        could = over | recorded.unsure
        if after_hours:
            late = _since_start(recorded.has | recorded.slots.asked) * QUARTER_S >= after_hours * 3600
            over, could = over & late, could & late
        inside = recorded.slots.begins[1:] >= ground.begin_s
        certain = over[:-1] & over[1:] & inside
        possible = bool((could[:-1] & could[1:] & inside & ~certain).any())
        return Pairs(recorded, over, tuple(int(i) for i in np.flatnonzero(certain)), possible)

    key = ("pairs", one.channel, one.filter_id, limit, way, with_bad, after_hours)
    return ground.keep(key, make)  # type: ignore[no-any-return]


def _since_start(on: Bools) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Return for each slot how many slots on line lie between the start of its run and it; from the edge: very many."""
    places = np.arange(len(on))
    starts = np.where(on & ~np.concatenate([[True], on[:-1]]), places, -(10**6))
    return np.asarray(places - np.maximum.accumulate(starts))


def _unmeasured(ground: Ground, requirement: Requirement, one: Watched) -> Outcome | None:
    if ground.channel(one.channel) is not None:
        return None
    why = f"The plant file has no channel {one.channel}: nothing can be counted."
    return simple(requirement, ground.month, "cannot tell", why, subject=one.subject, why=(why,))


# --- two in a row ----------------------------------------------------------------------------------------------------


def _verdicts(
    ground: Ground, requirement: Requirement, one: Watched, limit: float
) -> tuple[dict[bool, list[Verdict]], list[Way]]:
    after = float(requirement.check.get("after_hours", 0.0))
    ways = _ways(ground, limit, one.filter_id)
    found: dict[bool, list[Verdict]] = {}
    for with_bad in both_ways(ground, one.channel, upper=True):
        found[with_bad] = []
        for way in ways:
            pair = pairs(ground, one, limit, way, with_bad, after)
            status: Status = "met" if ground.over else "not due"
            if pair.firsts:
                status = "broken"
            elif pair.possible:
                status = "cannot tell"
            elif not (pair.recorded.has | pair.recorded.slots.asked).any():
                status = "not due"
            found[with_bad].append(Verdict(way.words, status, float(len(pair.firsts))))
    return found, ways


def two_consecutive(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield for each filter whether two recorded values in a row were above the limit; "broken" says that they were."""
    for one in watched(ground):
        odd = _unmeasured(ground, requirement, one)
        if odd is not None:
            yield odd
            continue
        channel = ground.plant.channels[one.channel]
        limit = ground.limit(requirement, channel)
        verdicts, ways = _verdicts(ground, requirement, one, limit)
        sig = ground.signal(one.channel, upper=True)
        running = ground.running(sig.times, one.filter_id)
        status, shown_ways = settle(verdicts[False], verdicts.get(True, []), int((~sig.good & running).sum()))
        main = pairs(ground, one, limit, ways[0], False, float(requirement.check.get("after_hours", 0.0)))
        number = int(main.over.sum())
        limit_text = f"{requirement.limit:g} {requirement.unit}"
        said = (
            f"{one.title}: {amount(len(_runs(main)), 'time')} two or more recorded values in a row above {limit_text}"
        )
        sentence = f"{said} ({amount(number, 'value')} above it in all). No violation by itself." if main.firsts else (
            f"{one.title}: never two recorded values in a row above {limit_text} ({amount(number, 'value')} above it)."
        )  # fmt: skip
        unsure = int(main.recorded.unsure.sum())
        why = (f"{amount(unsure, 'recorded value')} missing while it was on line.",) if unsure else ()
        top = float(np.nanmax(main.recorded.values)) if main.recorded.has.any() else None
        scale = scale_of(requirement, channel)
        yield Outcome(
            requirement=requirement, subject=one.subject, period=ground.month, status=status,
            value=None if top is None else top * scale,
            shown=shown(None if top is None else top * scale, requirement.unit), limit=requirement.limit,
            sentence=sentence, ways=shown_ways, why=why, sheet=_sheet(main, ways[0], limit_text),
            lacking=lacking(ground.book.state, *(TERMS if one.filter_id else (TERMS[0], TERMS[2]))),
            tally=tally_of(sig, main.recorded, main.over, requirement.unit, scale, running=running),
        )  # fmt: skip


def _sheet(pair: Pairs, way: Way, limit_text: str) -> Sheet:
    return Sheet(
        notes=[
            f"Looked up, not worked out: recorded values, {way.words}.",
            f"{int(pair.recorded.has.sum())} values on line, {int(pair.over.sum())} above {limit_text}, "
            f"{int(pair.recorded.unsure.sum())} missing; {len(pair.firsts)} pairs in a row.",
        ]
    )


def _runs(pair: Pairs) -> list[tuple[int, int]]:
    """Return the stretches of slots in a row above the limit that hold a pair: first and last slot."""
    found: list[tuple[int, int]] = []
    for first in pair.firsts:
        if found and found[-1][1] == first:
            found[-1] = (found[-1][0], first + 1)
        else:
            found.append((first, first + 1))
    return found


def triggers(ground: Ground, requirement: Requirement, earlier: Mapping[str, MonthFacts]) -> Iterator[Trigger]:
    """Yield what the pairs of the month set going: the report of each, and what months in a row ask for."""
    months = int(requirement.extra.get("consecutive_months", 1))
    for one in watched(ground):
        channel = ground.channel(one.channel)
        if channel is None:
            continue
        limit = ground.limit(requirement, channel)
        way = first_way(ground, limit, one)
        after = float(requirement.check.get("after_hours", 0.0))
        plain = pairs(ground, one, limit, way, False, after)
        both = (
            pairs(ground, one, limit, way, True, after)
            if len(both_ways(ground, one.channel, upper=True)) > 1
            else plain
        )
        certain = {first for first, _ in _runs(plain)}
        if months > 1:
            yield from _months(ground, requirement, one, plain, both, months, earlier)
            continue
        for first, last in _runs(both):
            yield _trigger(ground, requirement, one, both, (first, last), any(first <= c <= last for c in certain))


def _readings(
    ground: Ground, requirement: Requirement, one: Watched, pair: Pairs, run: tuple[int, int]
) -> list[Counted]:
    scale = scale_of(requirement, ground.plant.channels[one.channel])
    return [
        Counted(
            at=datetime.fromtimestamp(int(pair.recorded.times[i]), UTC), value=float(pair.recorded.values[i]) * scale,
            unit=requirement.unit, source=one.channel, counts=True, reason="", over=True,
        )
        for i in range(run[0], run[1] + 1)
    ]  # fmt: skip


def _trigger(
    ground: Ground, requirement: Requirement, one: Watched, pair: Pairs, run: tuple[int, int], certain: bool
) -> Trigger:
    readings = _readings(ground, requirement, one, pair, run)
    at = readings[1].at
    here = at.astimezone(ground.plant.zone)
    duties = [_report(ground, requirement, one, "Report filter, dates and values; the cause, if you know it")]
    days = requirement.extra.get("profile_days")
    if isinstance(days, int):
        duties.append(
            Duty(
                id=f"{requirement.id}:{one.subject}:profile:{at:%Y-%m-%dT%H:%MZ}",
                words="Make a filter profile, unless you know the cause of the high values",
                due=_days(ground, at, days),
                due_words=f"within {days} days of {here:%Y-%m-%d}", citation=requirement.citation,
            )
        )  # fmt: skip
    top = max(r.value or 0.0 for r in readings)
    sentence = (
        f"{one.title}: {len(readings)} recorded values in a row above {requirement.limit:g} {requirement.unit} from "
        f"{at_text(readings[0].at.astimezone(ground.plant.zone))}, highest {top:.2f}."
    )
    if not certain:
        sentence += " Only if the rejected or doubtful readings among them count."
    return Trigger(
        id=f"{requirement.id}:{one.subject}:{at:%Y-%m-%dT%H:%MZ}", requirement=requirement, subject=one.subject, at=at,
        readings=tuple(readings), sentence=sentence, duties=tuple(duties), certain=certain,
    )  # fmt: skip


def _report(ground: Ground, requirement: Requirement, one: Watched, words: str) -> Duty:
    day = next_month(ground.a.astimezone(ground.plant.zone).date()).replace(day=10)
    due = datetime.combine(day, datetime.max.time().replace(microsecond=0), ground.plant.zone).astimezone(UTC)
    return Duty(
        id=f"{requirement.id}:{one.subject}:report:{ground.name}", words=words, due=due,
        due_words=f"with the month's report, by {day:%Y-%m-%d}", citation=requirement.citation,
    )  # fmt: skip


def _days(ground: Ground, at: datetime, days: int) -> datetime:
    """Return the end of the local day that is `days` days after that of `at`."""
    day = at.astimezone(ground.plant.zone).date() + timedelta(days=days)
    return datetime.combine(day, datetime.max.time().replace(microsecond=0), ground.plant.zone).astimezone(UTC)


# --- months in a row -------------------------------------------------------------------------------------------------


def fact_key(requirement: Requirement, one: Watched) -> str:
    """Return the name under which a month's trips are kept for later months."""
    return f"{requirement.id}:{one.subject}"


def facts(ground: Ground, requirement: Requirement) -> Iterator[tuple[str, tuple[datetime, ...], bool]]:
    """Yield for each filter when it tripped (the second value of each run in a row), and whether that is unsure."""
    for one in watched(ground):
        channel = ground.channel(one.channel)
        if channel is None:
            yield fact_key(requirement, one), (), True
            continue
        limit = ground.limit(requirement, channel)
        verdicts, ways = _verdicts(ground, requirement, one, limit)
        words = {v.status for some in verdicts.values() for v in some}
        main = pairs(ground, one, limit, ways[0], False, 0.0)
        times = tuple(datetime.fromtimestamp(int(main.recorded.times[first + 1]), UTC) for first, _ in _runs(main))
        yield fact_key(requirement, one), times, "cannot tell" in words or len(words) > 1


def consecutive_months(
    ground: Ground, requirement: Requirement, earlier: Mapping[str, MonthFacts]
) -> Iterator[Outcome]:
    """Yield for each filter whether it tripped in each of so many months running; "broken" says that it did."""
    months = int(requirement.extra["consecutive_months"])
    mine = {key: (times, unsure) for key, times, unsure in facts(ground, requirement)}
    for one in watched(ground):
        odd = _unmeasured(ground, requirement, one)
        if odd is not None:
            yield odd
            continue
        key = fact_key(requirement, one)
        times, unsure = mine[key]
        words = {True: "tripped", False: "did not trip", None: "not known"}
        states: list[tuple[str, bool | None]] = [(ground.name, None if unsure else bool(times))]
        for name in _before(ground, months - 1):
            states.append((name, _tripped(earlier.get(name), key)))
        status: Status
        if all(state is True for _, state in states):
            status = "broken"
        elif any(state is False for _, state in states[1:]) or states[0][1] is False:
            status = "met" if ground.over else "not due"
        else:
            status = "cannot tell"
        listed = ", ".join(f"{name} {words[state]}" for name, state in reversed(states))
        running = sum(1 for _ in itertools.takewhile(lambda s: s[1] is True, states))
        yield Outcome(
            requirement=requirement, subject=one.subject, period=ground.month, status=status, value=float(running),
            shown=f"{amount(running, 'month')} running", limit=requirement.limit,
            sentence=f"{one.title}, two in a row above {requirement.limit:g} {requirement.unit}: {listed}.",
            why=tuple(f"{name}: not known." for name, state in states if state is None),
            lacking=lacking(ground.book.state, *(TERMS if one.filter_id else (TERMS[0], TERMS[2]))),
            sheet=Sheet(notes=[f"Looked up, not worked out: {listed}. {months} months running are what counts."]),
        )  # fmt: skip


def earlier_states(
    ground: Ground, requirement: Requirement, one: Watched, earlier: Mapping[str, MonthFacts]
) -> list[bool | None]:
    """Return whether a filter tripped in each of the months before, the latest first; None where that is not known."""
    months = int(requirement.extra["consecutive_months"])
    return [_tripped(earlier.get(name), fact_key(requirement, one)) for name in _before(ground, months - 1)]


def _tripped(found: MonthFacts | None, key: str) -> bool | None:
    if found is None or key in found.unsure or key not in found.trips:
        return None
    return bool(found.trips[key])


def _before(ground: Ground, number: int) -> list[str]:
    """Return the names of the months before, the latest first."""
    day = ground.a.astimezone(ground.plant.zone).date().replace(day=1)
    found = []
    for _ in range(number):
        day = (day - timedelta(days=1)).replace(day=1)
        found.append(f"{day:%Y-%m}")
    return found


def _months(
    ground: Ground, requirement: Requirement, one: Watched, plain: Pairs, both: Pairs, months: int,
    earlier: Mapping[str, MonthFacts],
) -> Iterator[Trigger]:  # fmt: skip
    before = earlier_states(ground, requirement, one, earlier)
    runs = _runs(both)
    if not runs or any(state is False for state in before):
        return
    certain = bool(plain.firsts) and all(state is True for state in before)
    readings = _readings(ground, requirement, one, both, runs[0])
    at = readings[1].at
    extra = requirement.extra
    here = at.astimezone(ground.plant.zone)
    duties = [_report(ground, requirement, one, "Report that it was set going, and its date")]
    for key, words in (
        ("action_days", "Self-assessment of the filter, written down"),
        ("arrange_days", "Arrange the comprehensive performance evaluation (CPE)"),
        ("complete_days", "Have the CPE done and its report with the State"),
    ):
        if key in extra:
            days = int(extra[key])
            duties.append(
                Duty(
                    id=f"{requirement.id}:{one.subject}:{key}:{at:%Y-%m-%dT%H:%MZ}", words=words,
                    due=_days(ground, at, days), due_words=f"within {days} days of {here:%Y-%m-%d}",
                    citation=requirement.citation,
                )
            )  # fmt: skip
    sentence = (
        f"{one.title}: above {requirement.limit:g} {requirement.unit} twice in a row in {months} months running, this "
        f"month from {at_text(here)}."
    )
    if not certain:
        sentence += " Not certain: an earlier month is not known, or rejected readings are counted."
    yield Trigger(
        id=f"{requirement.id}:{one.subject}:{at:%Y-%m-%dT%H:%MZ}", requirement=requirement, subject=one.subject, at=at,
        readings=tuple(readings), sentence=sentence, duties=tuple(duties), certain=certain,
    )  # fmt: skip


# --- a value in every quarter hour --------------------------------------------------------------------------------


def recorded_every(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether each quarter hour on line has a recorded value; of the time an instrument was out see its own."""
    if requirement.check.get("per") == "filter":
        some = watched(ground)
    else:
        id = str(requirement.check.get("channel", ""))
        channel = ground.channel(id)
        some = [Watched(id, channel.name if channel else id, id, "")]
    for one in some:
        odd = _unmeasured(ground, requirement, one)
        yield odd if odd is not None else _every(ground, requirement, one)


def _every(ground: Ground, requirement: Requirement, one: Watched) -> Outcome:
    per_filter = requirement.check.get("per") == "filter"
    upper = per_filter
    sig = ground.signal(one.channel, upper=upper)
    state = ground.book.state
    offs = (False,) if per_filter else counts(state.off_hours)
    wastes = counts(state.filter_to_waste) if one.filter_id else (True,)
    verdicts: dict[bool, list[Verdict]] = {False: [], True: []}
    main: Recorded | None = None
    missed: list[int] = []
    for with_bad, off, waste in itertools.product(both_ways(ground, one.channel, upper=upper), offs, wastes):
        rec = ground.quarters(
            one.channel, upper=upper, off_hours=off, pick="first", with_bad=with_bad, filter_id=one.filter_id,
            to_waste_counts=waste,
        )  # fmt: skip
        main = main or rec
        out = sig.outages.meets(rec.slots.begins, rec.slots.ends)
        gone = rec.slots.asked & ~rec.has & ~out
        status: Status = "met" if ground.over else "not due"
        if (gone & rec.slots.need).any():
            status = "broken"
            missed.append(ground.first_missed(rec.slots.ends[gone & rec.slots.need]))
        elif gone.any():
            status = "cannot tell"
        elif not ((rec.slots.asked | rec.has) & ~out).any():
            status = "not due"
        words = f"{'also while it stood' if off else 'on line'}{', filtering to waste counted' if waste else ''}"
        verdicts[with_bad].append(Verdict(words, status, float(gone.sum())))
    assert main is not None
    running = ground.running(sig.times, one.filter_id)
    status, ways = settle(verdicts[False], verdicts[True], int((~sig.good & running).sum()))
    out = sig.outages.meets(main.slots.begins, main.slots.ends)
    asked = main.slots.asked & ~out
    gone = asked & ~main.has
    sentence = f"{one.title}: {int(asked.sum()):,} quarter hours on line, {int(gone.sum()) or 'none'} without a value."
    why: list[str] = []
    if (out & main.slots.asked).any():
        why.append("The time for which the instrument was entered as out is not in this count.")
    for first, last in _stretches(gone)[:4]:
        begin, end = ground.local(int(main.slots.begins[first])), ground.local(int(main.slots.ends[last]))
        why.append(f"Nothing that counts from {at_text(begin)} to {at_text(end)}.")
    return Outcome(
        requirement=requirement, subject=one.subject, period=ground.month, status=status, value=float(gone.sum()),
        shown=amount(int(gone.sum()), "missing value"), limit=requirement.limit, sentence=sentence, ways=ways,
        why=tuple(why), lacking=lacking(state, *(("filter_to_waste",) if one.filter_id else ())),
        sheet=Sheet(notes=[f"Looked up, not worked out: {sentence}"]), missed_at=first_of(missed),
        tally=tally_of(sig, main, np.zeros(len(main.values), dtype=bool), "NTU" if per_filter else "mg/L", 1.0,
                       running=running),
    )  # fmt: skip


def _stretches(mask: Bools) -> list[tuple[int, int]]:
    """Return the first and last place of each stretch of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


# --- an instrument that is out ---------------------------------------------------------------------------------------


def instrument_failure(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield for each channel whose instrument was out whether grabs were taken every 4 h and the days kept."""
    if requirement.check.get("per") == "filter":
        some = watched(ground)
    else:
        id = str(requirement.check.get("channel", ""))
        channel = ground.channel(id)
        some = [Watched(id, channel.name if channel else id, id, "")]
    for one in some:
        odd = _unmeasured(ground, requirement, one)
        yield odd if odd is not None else _failure(ground, requirement, one)


def _failure(ground: Ground, requirement: Requirement, one: Watched) -> Outcome:
    sig = ground.signal(one.channel, upper=True)
    spans = [
        (b, e)
        for b, e in zip(sig.outages.begins, sig.outages.ends, strict=True)
        if e > ground.begin_s and b < ground.until_s
    ]
    title = ground.plant.channels[one.channel].name
    if not spans:
        text = f"{title}: no outage of the instrument is entered for the month."
        return simple(requirement, ground.month, "not due", text, subject=one.subject)
    course = ground.course(one.filter_id)
    typed = ground.stretch.typed.get(one.channel, np.empty(0, np.int64))
    good = sig.times[sig.good]
    grabs = good[np.isin(good, typed)]
    words, missed, wanted, late = [], 0, 0, False
    for begin, end in spans:
        last = min(end, float(ground.until_s))
        edges = np.append(np.arange(begin, last, 4 * 3600.0), last)
        ran = course.ran(edges[:-1], edges[1:])
        ask = (ran >= QUARTER_S) & (np.diff(edges) >= 4 * 3600.0 - 1.0)  # an outage of less than 4 h asks for none
        have = np.array([bool(((grabs >= p) & (grabs < q)).any()) for p, q in itertools.pairwise(edges)])
        wanted += int(ask.sum())
        missed += int((ask & ~have).sum())
        back = None if end == np.inf or end > ground.until_s else end
        text, over = _time_left(ground, requirement, begin, back)
        late |= over
        words.append(text)
    status: Status = "broken" if missed or late else "met" if all(e <= ground.until_s for _, e in spans) else "not due"
    grabs_text = f"{wanted} grab samples were due, {missed or 'none'} of them missing"
    return simple(
        requirement, ground.month, status, f"{title}: {grabs_text}. {' '.join(words)}", subject=one.subject,
        value=float(missed), sheet=Sheet(notes=[f"Looked up, not worked out: {grabs_text}. {' '.join(words)}"]),
    )  # fmt: skip


def _time_left(ground: Ground, requirement: Requirement, begin: float, back: float | None) -> tuple[str, bool]:
    """Return in words how long an instrument has been out and what is left, and whether it was too long."""
    first = ground.day_of(begin)
    last = ground.day_of(back) if back is not None else ground.day_of(ground.until_s)
    working = requirement.extra.get("repair_limit_working_days")
    if isinstance(working, int | float):
        most = ground.business.after(first, int(working))
        used, unit, limit = ground.business.between(first, last), "working day", int(working)
    else:
        limit = int(requirement.extra.get("repair_limit_days", 14))
        most = first + timedelta(days=limit)
        used, unit = (last - first).days, "day"
    since = f"Out since {at_text(ground.local(begin))}"
    if back is not None:
        return (
            f"{since}, back {at_text(ground.local(back))}, {amount(used, unit)} later ({limit} at most).",
            used > limit,
        )
    left = limit - used
    if left < 0:
        return f"{since}: the {limit} {unit}s ended on {most:%Y-%m-%d}.", True
    return f"{since}: {amount(left, unit)} left, the last is {most:%Y-%m-%d}.", False

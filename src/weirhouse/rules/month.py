"""What do the rules say of one month? The one entry: plant, records and packs in, everything judged out."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np

from weirhouse.plant.model import Plant
from weirhouse.records.model import Event, Result, Sample
from weirhouse.rules import by_products, chemistry, coliform, contact, filters, residual, turbidity
from weirhouse.rules.applying import applies, with_permit
from weirhouse.rules.calendar import calendar
from weirhouse.rules.ground import Ground, next_month
from weirhouse.rules.headroom import headroom
from weirhouse.rules.model import (
    Counted,
    DayResult,
    FourHours,
    Lacking,
    MonthFacts,
    MonthResult,
    Outcome,
    Requirement,
    Status,
    Trigger,
)
from weirhouse.rules.notices import notices
from weirhouse.rules.outcome import MISSING, simple
from weirhouse.rules.packs import RuleBook
from weirhouse.rules.recorded import BAD_WORDS, above, below, rounded
from weirhouse.situation.days import midnight, periods_of
from weirhouse.situation.model import Stretch, Track

Work = Callable[[Ground, Requirement], Iterator[Outcome]]

WORKS: dict[str, Work] = {
    "share_within": turbidity.share_within,
    "none_above": turbidity.none_above,
    "any_above": turbidity.any_above,
    "every_period": turbidity.every_period,
    "recorded_every": filters.recorded_every,
    "instrument_failure": filters.instrument_failure,
    "two_consecutive": filters.two_consecutive,
    "below_for": residual.below_for,
    "any_below": residual.any_below,
    "samples_a_day": residual.samples_a_day,
    "contact": contact.contact,
    "lraa": by_products.lraa,
    "oel": by_products.oel,
    "by_product_samples": by_products.by_product_samples,
    "annual_average": by_products.annual_average,
    "coliform_count": coliform.coliform_count,
    "coliform_repeat": coliform.coliform_repeat,
    "ecoli": coliform.ecoli,
    "coliform_level1": coliform.coliform_level1,
    "coliform_level2": coliform.coliform_level2,
    "single_result": chemistry.single_result,
    "sum_of_results": chemistry.sum_of_results,
    "percentile": chemistry.percentile,
    "secondary": chemistry.secondary,
    "highest_result": chemistry.highest_result,
    "toc_ratio": chemistry.toc_ratio,
}


def month_of(day: date, plant: Plant) -> tuple[datetime, datetime]:
    """Return the first and the last instant of a calendar month of the plant, in UTC."""
    first = day.replace(day=1)
    a, b = midnight(first, plant.zone), midnight(next_month(first), plant.zone)
    return datetime.fromtimestamp(a, UTC), datetime.fromtimestamp(b, UTC)


def evaluate_month(
    plant: Plant,
    stretch: Stretch,
    samples: Sequence[Sample] = (),
    results: Sequence[Result] = (),
    events: Sequence[Event] = (),
    packs: RuleBook | None = None,
    *,
    month: date | None = None,
    now: datetime | None = None,
    earlier: Mapping[str, MonthFacts] | Iterable[MonthFacts] = (),
    plan: Sequence[tuple[datetime, datetime]] | None = None,
    eve: Stretch | None = None,
) -> MonthResult:
    """Return everything that the rules say of one calendar month.

    Parameters
    ----------
    plant, stretch
        The plant and its records; the stretch may reach beyond the month on both sides.
    samples, results
        Of the year up to the end of the month, for averages over quarters and months.
    events
        Those of kinds "notice" and "explained" from the month on; what happened in the month is in the stretch.
    packs
        The rules in force (`packs.load_rules`); the federal pack alone where none is given.
    month
        A day of the month; the one that the stretch ends in where not given.
    now
        Records count up to here; without it the whole month does.
    earlier
        Facts of earlier months (`MonthResult.facts`), for what asks for months running.
    plan
        When the plant is to run from `now` on; without it the rest of the month is taken to run as its days so far.
    eve
        The last hour before the month, where the stretch does not reach back: a pair of values in a row over midnight
        belongs to the month of the second.
    """
    if packs is None:
        from weirhouse.rules.packs import load_rules

        packs = load_rules()
    if eve is not None:
        stretch = joined(eve, stretch)
    day = month or (stretch.b - timedelta(seconds=1)).astimezone(plant.zone).date()
    a, b = month_of(day, plant)
    until = min(b, stretch.b, now.astimezone(UTC) if now is not None else b)
    until = max(until, a)
    book = replace(packs, requirements=with_permit(packs.requirements, plant))
    ground = Ground(
        plant=plant, stretch=stretch, samples=samples, results=results, events=events, book=book, a=a, b=b, until=until
    )
    facts_before = dict(earlier) if isinstance(earlier, Mapping) else {f.month: f for f in earlier}
    asked, outcomes = _asked(ground, day)
    for requirement in asked:
        outcomes += _work(ground, requirement, facts_before)
    outcomes += [_follows(ground, r, outcomes) for r in asked if r.check.get("method") == "follows"]
    triggers = _triggers(ground, asked, outcomes, facts_before)
    order = {r.id: i for i, r in enumerate(book.requirements)}
    outcomes.sort(key=lambda o: (order[o.requirement.id], o.subject))
    return MonthResult(
        month=ground.name, a=a, b=b, until=until, packs=book.titles, days=_days(ground, asked),
        outcomes=tuple(outcomes),
        triggers=tuple(triggers), notices=notices(ground, asked, outcomes),
        headroom=tuple(headroom(ground, asked, facts_before, plan)), calendar=tuple(calendar(ground, asked)),
        rejected=_rejected(ground, asked),
        lacking=_lacking(outcomes), facts=_facts(ground, asked, outcomes), said=_said(ground),
    )  # fmt: skip


def joined(first: Stretch, second: Stretch) -> Stretch:
    """Return two stretches that follow each other as one."""
    tracks = {}
    for id in first.tracks.keys() | second.tracks.keys():
        parts = [s.tracks[id] for s in (first, second) if id in s.tracks]
        tracks[id] = Track(
            channel=id, times=np.concatenate([t.times for t in parts]),
            values=np.concatenate([t.values for t in parts]),
            flags=np.concatenate([t.flags for t in parts]),
        )  # fmt: skip
    seen = {e.id for e in second.events}
    typed = {
        id: np.unique(np.concatenate([s.typed[id] for s in (first, second) if id in s.typed]))
        for id in first.typed.keys() | second.typed.keys()
    }
    return replace(
        second, a=first.a, tracks=tracks, typed=typed, before=first.before,
        events=(*(e for e in first.events if e.id not in seen), *second.events),
    )  # fmt: skip


def month_facts(
    plant: Plant, stretch: Stretch, packs: RuleBook, *, month: date, samples: Sequence[Sample] = (),
    results: Sequence[Result] = (),
) -> MonthFacts:  # fmt: skip
    """Return what later months need to know of a month, without judging all of it."""
    a, b = month_of(month, plant)
    book = replace(packs, requirements=with_permit(packs.requirements, plant))
    ground = Ground(
        plant=plant, stretch=stretch, samples=samples, results=results, events=(), book=book, a=a, b=b,
        until=max(a, min(b, stretch.b)),
    )  # fmt: skip
    asked = [r for r in book.requirements if r.check and applies(r, plant, month)[0]]
    outcomes = [o for r in asked if r.check["method"] == "undetectable_share" for o in _work(ground, r, {})]
    return _facts(ground, asked, outcomes)


def _asked(ground: Ground, day: date) -> tuple[list[Requirement], list[Outcome]]:
    """Return the requirements to be worked out, and outcomes for those that do not apply or may not."""
    asked, outcomes = [], []
    for requirement in ground.book.requirements:
        if not requirement.check:
            continue
        word, why = applies(requirement, ground.plant, day.replace(day=1))
        if word:
            asked.append(requirement)
        else:
            status: Status = "cannot tell" if word is None else "does not apply"
            outcomes.append(simple(requirement, ground.month, status, why, why=(why,) if word is None else ()))
    return asked, outcomes


def _work(ground: Ground, requirement: Requirement, earlier: Mapping[str, MonthFacts]) -> list[Outcome]:
    method = requirement.check["method"]
    if method == "consecutive_months":
        return list(filters.consecutive_months(ground, requirement, earlier))
    if method == "undetectable_share":
        return list(coliform.undetectable_share(ground, requirement, earlier))
    work = WORKS.get(method)
    return list(work(ground, requirement)) if work is not None else []


def _follows(ground: Ground, requirement: Requirement, outcomes: Sequence[Outcome]) -> Outcome:
    """Return the outcome of a requirement that is met when others are."""
    names = [str(name) for name in requirement.check["of"]]
    some = [o for o in outcomes if o.requirement.id in names and o.status != "does not apply"]
    words = [o.status for o in some]
    status: Status = "does not apply"
    for word in ("broken", "cannot tell", "not due", "met"):
        if word in words:
            status = word
            break
    listed = "; ".join(f"{o.requirement.title}: {o.status}" for o in some)
    return simple(requirement, ground.month, status, f"By the limits of filtered turbidity. {listed}.")


def _triggers(
    ground: Ground, asked: Sequence[Requirement], outcomes: Sequence[Outcome], earlier: Mapping[str, MonthFacts]
) -> list[Trigger]:
    found: list[Trigger] = []
    for requirement in asked:
        if requirement.check["method"] in ("two_consecutive", "consecutive_months"):
            found += filters.triggers(ground, requirement, earlier)
    for outcome in outcomes:
        method = outcome.requirement.check.get("method")
        if method == "oel":
            found += by_products.oel_triggers(ground, outcome)
        elif method in ("coliform_level1", "coliform_level2"):
            found += coliform.assessments(ground, outcome)
    return sorted(found, key=lambda t: (t.at, t.id))


def _facts(ground: Ground, asked: Sequence[Requirement], outcomes: Sequence[Outcome]) -> MonthFacts:
    trips: dict[str, tuple[datetime, ...]] = {}
    unsure = set()
    for requirement in asked:
        if requirement.check["method"] == "consecutive_months":
            for key, times, doubt in filters.facts(ground, requirement):
                trips[key] = times
                if doubt:
                    unsure.add(key)
    over: bool | None = None
    for outcome in outcomes:
        if outcome.requirement.check.get("method") == "undetectable_share" and outcome.value is not None:
            assert outcome.limit is not None
            over = outcome.value > outcome.limit
    return MonthFacts(month=ground.name, trips=trips, unsure=frozenset(unsure), undetectable_over=over)


def _lacking(outcomes: Iterable[Outcome]) -> tuple[Lacking, ...]:
    found = {one.key: one for outcome in outcomes for one in outcome.lacking}
    return tuple(found.values())


def _said(ground: Ground) -> tuple[str, ...]:
    said = []
    if contact.stages_of(ground.plant):
        by = contact.tables_confirmed(ground)
        said.append(
            f"Contact-time tables confirmed by {by}."
            if by
            else "The contact-time tables are from memory: compare them with the printed rule before you rely on them."
        )
    if ground.business.words:
        words = ground.business.words
        said.append(f"{words[0].upper()}{words[1:]}.")
    if not ground.over:
        said.append(f"Records up to {ground.local(ground.until_s):%Y-%m-%d %H:%M}; the month is not over.")
    return tuple(said)


def _rejected(ground: Ground, asked: Sequence[Requirement]) -> tuple[Counted, ...]:
    """Return the rejected and doubtful readings of the channels that the rules look at, in order of time."""
    channels = [str(r.check["channel"]) for r in asked if "channel" in r.check]
    channels += [one.channel for one in filters.watched(ground)]
    found = []
    for id in dict.fromkeys(channels):
        if ground.channel(id) is None:
            continue
        sig = ground.signal(id, upper=id != "entry_chlorine")
        for i in np.flatnonzero(((sig.bad == 1) | (sig.bad == 2)) & (sig.times >= ground.begin_s)):
            found.append(
                Counted(
                    at=datetime.fromtimestamp(int(sig.times[i]), UTC), value=float(sig.raw[i]),
                    unit=ground.plant.channels[id].unit, source=id, counts=False, reason=BAD_WORDS[int(sig.bad[i])],
                )
            )  # fmt: skip
    return tuple(sorted(found, key=lambda c: (c.at, c.source)))


# --- the days --------------------------------------------------------------------------------------------------------


def _days(ground: Ground, asked: Sequence[Requirement]) -> tuple[DayResult, ...]:
    """Return each day that has begun, by the first way of counting that the State's terms leave open."""
    contacts = contact.days_of_contact(ground)
    course = ground.course()
    begun = [d for d in ground.days if d.begin < ground.until_s]
    combined = _Combined(ground, asked)
    by_filter = {
        one.subject: ground.quarters(
            one.channel, upper=True, off_hours=False, pick="first", with_bad=False, filter_id=one.filter_id,
            to_waste_counts=ground.book.state.filter_to_waste != "not_counted",
        )
        for one in filters.watched(ground)
        if ground.channel(one.channel) is not None and one.filter_id
    }  # fmt: skip
    least = residual.ways_of(ground, 0.2)[0]
    has_residual = ground.channel("entry_chlorine") is not None
    times, values = (
        residual.rows(ground, "entry_chlorine", least, False) if has_residual else (np.empty(0), np.empty(0))
    )
    found = []
    for day in begun:
        a, b = np.array([float(day.begin)]), np.array([float(min(day.end, ground.until_s))])
        highest = {}
        for subject, rec in by_filter.items():
            first, last = np.searchsorted(rec.slots.begins, [day.begin, day.end])
            part = rec.values[first:last]
            if (~np.isnan(part)).any():
                highest[subject] = float(np.nanmax(part))
        first, last = np.searchsorted(times, [day.begin, day.end])
        low = int(np.argmin(values[first:last])) + int(first) if last > first else None
        of_contact = contacts.get(day.date)
        statuses: dict[str, Status] = dict(combined.of(day.begin, day.end))
        if of_contact is not None:
            for requirement in asked:
                if requirement.check["method"] == "contact":
                    statuses[requirement.id] = contact.status_of(of_contact, str(requirement.check["organism"]))
        if has_residual:
            statuses |= _residual_day(asked, values[first:last])
        found.append(
            DayResult(
                date=day.date, a=datetime.fromtimestamp(day.begin, UTC), b=datetime.fromtimestamp(day.end, UTC),
                hours=day.hours, filtering_h=float(course.ran(a, b)[0]) / 3600,
                unknown_h=float((b - a - course.known(a, b))[0]) / 3600,
                periods=tuple(combined.periods(day)), combined_highest=combined.highest(day.begin, day.end),
                filters_highest=highest, residual_lowest=None if low is None else _number(float(values[low])),
                residual_lowest_at=None if low is None else datetime.fromtimestamp(int(times[low]), UTC),
                contact=of_contact, statuses=statuses,
            )
        )  # fmt: skip
    return tuple(found)


def _number(lowest: float) -> float | None:
    """Return the lowest residual as a number; None where it was not detected, which is no number and not 0."""
    return None if np.isneginf(lowest) else max(lowest, 0.0)


def _residual_day(asked: Sequence[Requirement], values: Any) -> dict[str, Status]:
    found: dict[str, Status] = {}
    for requirement in asked:
        if requirement.check["method"] == "any_below" and requirement.limit is not None and len(values):
            found[requirement.id] = "broken" if below(values, requirement.limit).any() else "met"
    return found


class _Combined:
    """The combined filtered water by day and four-hour period, by the State's way of counting."""

    def __init__(self, ground: Ground, asked: Sequence[Requirement]) -> None:
        self.ground = ground
        self.asked = [r for r in asked if r.check.get("channel") == "combined_turbidity" and r.limit is not None]
        self.measured = ground.channel("combined_turbidity") is not None
        state = ground.book.state
        off = state.off_hours == "counted"
        self.off = off
        if self.measured:
            quarter, pick = state.recorded_value or "first", state.combined_value or "last"
            self.four = ground.four_hours(
                "combined_turbidity", upper=True, off_hours=off, quarter=quarter, pick=pick, with_bad=False
            )
            self.quarters = ground.quarters(
                "combined_turbidity", upper=True, off_hours=off, pick=quarter, with_bad=False
            )
            self.sig = ground.signal("combined_turbidity", upper=True)

    def periods(self, day: Any) -> Iterator[FourHours]:
        """Yield the day's periods."""
        for period in periods_of(day, self.ground.plant.zone):
            begin, end = (datetime.fromtimestamp(t, UTC) for t in (period.begin, period.end))
            state, value, at, reason = self._period(period.begin, period.end)
            yield FourHours(
                name=period.name, begin=begin, end=end, state=state, value=value,
                taken_at=None if at is None else datetime.fromtimestamp(at, UTC), reason=reason,
            )  # fmt: skip

    def _period(self, begin: int, end: int) -> tuple[Any, float | None, int | None, str]:
        if end > self.ground.until_s:
            return "to come", None, None, ""
        if not self.measured:
            return "missing", None, None, "not measured at this plant"
        i = int(np.searchsorted(self.four.slots.begins, begin))
        if self.four.has[i]:
            value, at = float(self.four.values[i]), int(self.four.times[i])
            if self.four.whole[i] or not self.four.slots.asked[i]:
                return "counts", value, at, ""
            return "not certain", value, at, "the reading that was due is missing"
        if not self.four.slots.asked[i]:
            return "standing", None, None, "the plant did not run"
        first, last = np.searchsorted(self.sig.times, [begin, end])
        bad = self.sig.bad[first:last]
        reason = BAD_WORDS[int(bad.max())] if len(bad) and bad.any() else MISSING
        if not self.four.slots.need[i]:
            reason += "; it is not on record whether the plant ran"
        return "missing", None, None, reason

    def highest(self, begin: int, end: int) -> float | None:
        """Return the highest recorded 15-minute value of a day."""
        if not self.measured:
            return None
        first, last = np.searchsorted(self.quarters.slots.begins, [begin, end])
        part = self.quarters.values[first:last]
        return float(np.nanmax(part)) if (~np.isnan(part)).any() else None

    def of(self, begin: int, end: int) -> Iterator[tuple[str, Status]]:
        """Yield what the day alone gives for each requirement of the combined water."""
        if not self.measured:
            return
        rounding = self.ground.book.state.turbidity_rounding
        first, last = np.searchsorted(self.quarters.slots.begins, [begin, end])
        values = self.quarters.values[first:last]
        if rounding is not None:
            values = rounded(values, rounding)
        unsure = bool(self.quarters.unsure[first:last].any())
        asked = bool((self.quarters.slots.asked | self.quarters.has)[first:last].any())
        for requirement in self.asked:
            if requirement.check["method"] not in ("none_above", "any_above"):
                continue
            assert requirement.limit is not None
            word: Status = "met" if asked else "not due"
            if above(values, requirement.limit).any():
                word = "broken"
            elif unsure:
                word = "cannot tell"
            yield requirement.id, word

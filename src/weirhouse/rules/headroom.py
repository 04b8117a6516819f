"""How near are the limits? Counts against what the planned hours of the month allow, and triggers one reading away.

None of it is anything to spend: each value above a limit has a cause that is to be found.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime

import numpy as np

from weirhouse.rules import filters, residual, turbidity
from weirhouse.rules.by_products import next_sample
from weirhouse.rules.filters import watched
from weirhouse.rules.ground import Ground
from weirhouse.rules.model import Headroom, MonthFacts, Requirement
from weirhouse.rules.outcome import amount, at_text
from weirhouse.rules.recorded import LEAST_RUN_S, above, rounded
from weirhouse.science.statistics import share_from_counts
from weirhouse.situation.days import periods_of
from weirhouse.working import Default, Known, Reading, note, recording

NOT_TO_SPEND = "Not one of them is to spend: each asks for its cause."

Plan = Sequence[tuple[datetime, datetime]]


def headroom(
    ground: Ground, asked: Sequence[Requirement], earlier: Mapping[str, MonthFacts], plan: Plan | None
) -> Iterator[Headroom]:
    """Yield what is known of how near each limit is; `plan` says when the plant is to run from now on."""
    for requirement in asked:
        method = requirement.check["method"]
        if method == "share_within":
            yield from _share(ground, requirement, plan)
        elif method == "two_consecutive":
            yield from _pair(ground, requirement)
        elif method == "consecutive_months" and not ground.over:
            yield from _months(ground, requirement, earlier)
        elif method == "below_for" and not ground.over:
            yield from _below(ground, requirement)
        elif method in ("lraa", "oel"):
            yield from next_sample(ground, requirement)


def planned_periods(ground: Ground, plan: Plan | None) -> tuple[int, str]:
    """Return how many four-hour periods of operation are still to come in the month, and what that stands on."""
    slots = ground.four_slots(ground.book.state.off_hours == "counted")
    after = int(slots.ends[-1]) if len(slots.ends) else ground.begin_s
    to_come = [p for day in ground.days for p in periods_of(day, ground.plant.zone) if p.begin >= after]
    if ground.book.state.off_hours == "counted":
        return len(to_come), "every four-hour period to come, as the State counts them"
    if plan is not None:
        spans = [(a.timestamp(), b.timestamp()) for a, b in plan]
        count = 0
        for period in to_come:
            runs = sum(max(0.0, min(period.end, b) - max(period.begin, a)) for a, b in spans)
            count += runs >= LEAST_RUN_S
        return count, "by the plan"
    if not len(slots.begins):
        return len(to_come), "every period to come, as nothing is on record yet"
    share = float(slots.asked.mean())
    return round(share * len(to_come)), "if the rest of the month runs as its days so far"


def _share(ground: Ground, requirement: Requirement, plan: Plan | None) -> Iterator[Headroom]:
    id = str(requirement.check["channel"])
    channel = ground.channel(id)
    if channel is None or turbidity.unmeasured(ground, requirement, id) is not None:
        return
    limit = ground.limit(requirement, channel)
    fraction = float(requirement.extra.get("fraction", requirement.check.get("fraction", 0.95)))
    way = turbidity.choices(ground, limit)[0]
    recorded = turbidity.values_of(ground, id, way, True)
    over = int((above(rounded(recorded.values, way.rounding), limit) & recorded.has).sum())
    n = int(recorded.has.sum())
    periods, basis = planned_periods(ground, plan)
    ahead = periods if way.interval == turbidity.FOUR_HOURS_S else periods * 16
    planned = n + ahead
    if not planned:
        return
    most = int(np.floor((1.0 - fraction) * planned + 1e-9))
    limit_text = f"{requirement.limit:g} {requirement.unit}"
    with recording() as sheet:
        at = ground.local(ground.until_s)
        kept = Known(
            planned - most, Default(f"{planned} less {most}", "the most above that still leave the share"), "1"
        )
        share_from_counts(kept, Known(planned, Reading(channel.name, "", at, f"recorded {n}, to come {ahead}"), "1"))
        note(f"To come: {ahead} values, {basis}. At least {fraction:.0%} at or below {limit_text} is asked.")
    noun = "four-hour value" if way.interval == turbidity.FOUR_HOURS_S else "15-minute value"
    if ground.over:
        sentence = (
            f"{amount(n, noun)} in the month, {over or 'none'} above {limit_text}; more than {most} would break it."
        )
    else:
        sentence = (
            f"{amount(n, noun)} so far, {over or 'none'} above {limit_text}. The month is to have about {planned} "
            f"({basis}); more than {most} above would break it. {NOT_TO_SPEND}"
        )
    yield Headroom(
        requirement=requirement, subject=id, sentence=sentence, near=over + 1 > most, over=over, most=most,
        planned=planned, sheet=sheet,
    )  # fmt: skip


def _pair(ground: Ground, requirement: Requirement) -> Iterator[Headroom]:
    """Yield the filters whose last recorded value was above: the next one would make it two in a row."""
    for one in watched(ground):
        channel = ground.channel(one.channel)
        if channel is None or ground.over:
            continue
        limit = ground.limit(requirement, channel)
        way = filters.first_way(ground, limit, one)
        pair = filters.pairs(ground, one, limit, way, True, float(requirement.check.get("after_hours", 0.0)))
        if not len(pair.over) or not pair.over[-1]:
            continue
        at = ground.local(int(pair.recorded.times[-1]))
        yield Headroom(
            requirement=requirement, subject=one.subject, near=True,
            sentence=f"{one.title}: the last recorded value ({at_text(at)}) was above {requirement.limit:g} "
            f"{requirement.unit}. The next one above it makes two in a row.",
        )  # fmt: skip


def _months(ground: Ground, requirement: Requirement, earlier: Mapping[str, MonthFacts]) -> Iterator[Headroom]:
    """Yield the filters that tripped in the months before: once more this month sets the duty going."""
    months = int(requirement.extra["consecutive_months"])
    for one in watched(ground):
        if ground.channel(one.channel) is None:
            continue
        states = filters.earlier_states(ground, requirement, one, earlier)
        if len(states) < months - 1 or not all(state is True for state in states):
            continue
        duty = requirement.action[:1].lower() + requirement.action[1:]
        yield Headroom(
            requirement=requirement, subject=one.subject, near=True,
            sentence=f"{one.title} was above {requirement.limit:g} {requirement.unit} twice in a row in the "
            f"{amount(months - 1, 'month')} before. Once more this month asks for: {duty}.",
        )  # fmt: skip


def _below(ground: Ground, requirement: Requirement) -> Iterator[Headroom]:
    """Yield a residual that is below its limit now: since when, and when the time allowed ends."""
    hours = float(requirement.extra.get("max_hours_below", requirement.check.get("hours", 4.0)))
    some = [one for one in residual.episodes(ground, requirement) if not one.restored]
    if some:
        one = some[-1]
        left = max(0.0, hours * 3600 - one.served_s)
        by = datetime.fromtimestamp(int(ground.until_s + left), UTC)
        at = ground.local(one.begin)
        yield Headroom(
            requirement=requirement, subject=str(requirement.check["channel"]), near=True, by=by,
            sentence=f"The residual has been below {requirement.limit:g} {requirement.unit} since {at_text(at)}. If "
            f"it is not restored, the {hours:g} h of the limit end at {at_text(by.astimezone(ground.plant.zone))}.",
        )  # fmt: skip

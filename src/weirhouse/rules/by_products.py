"""Do by-products and chlorine in the mains keep their averages? By place, by quarter and over twelve months."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta

from weirhouse.rules.ground import Ground
from weirhouse.rules.laboratory import (
    Finding,
    by_month,
    by_quarter,
    findings,
    months_back,
    quarter_period,
    quarters_back,
    tally,
    this_quarter,
)
from weirhouse.rules.model import Duty, Headroom, Outcome, Period, Requirement, Status, Trigger
from weirhouse.rules.outcome import Verdict, amount, settle, shown, simple
from weirhouse.science.statistics import average, operational_evaluation_level
from weirhouse.working import Known, Reading, Sheet, note, recording

YEARLY_BELOW = 500  # people: below, by-products are sampled once a year (the pack's table)


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean of results: what it is at least and at most, and how many went in."""

    low: float
    high: float
    n: int


def mean_of(some: Sequence[Finding], with_bad: bool) -> Mean | None:
    """Return the mean of results, of what each is at least and at most; None where none counts."""
    keep = [f for f in some if with_bad or not f.bad]
    keep = [f for f in keep if f.bad != "no number"]
    if not keep:
        return None
    return Mean(sum(f.low for f in keep) / len(keep), sum(f.high for f in keep) / len(keep), len(keep))


def word_upper(low: float, high: float, limit: float) -> Status:
    """Return what a value between two ends gives against an upper limit."""
    if low > limit + 1e-9:
        return "broken"
    return "met" if high <= limit + 1e-9 else "cannot tell"


def places(some: Sequence[Finding]) -> list[str]:
    """Return the places that were sampled, in the order of their first sample."""
    return list(dict.fromkeys(f.sample.point for f in some))


def _place_name(point: str) -> str:
    return point or "Place not told"


# --- average of a place over four quarters ---------------------------------------------------------------------------


def lraa(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield for each place whether the average of its last four quarters is at or below the limit.

    Fewer than four quarters break it as soon as they alone pass it. Who samples once a year compares each sample.
    """
    name = str(requirement.check["analyte"])
    some = findings(ground, name)
    quarter = this_quarter(ground)
    period = quarter_period(ground, quarter)
    people = ground.plant.population
    if people is None:
        why = "How often it is sampled goes by the people served: enter population in the plant file."
        yield simple(requirement, period, "cannot tell", why, why=(why,))
        return
    oldest = quarter_period(ground, quarters_back(quarter, 3)).a
    recent = [f for f in some if oldest <= f.at < min(period.b, ground.until)]
    if not recent:
        why = "No result of the last four quarters is on record."
        yield simple(requirement, period, "cannot tell", why, why=(why,))
        return
    if people < YEARLY_BELOW:
        yield from _yearly(requirement, period, recent)
        return
    for point in places(recent):
        yield _locational(ground, requirement, period, quarter, point, [f for f in recent if f.sample.point == point])


def _yearly(requirement: Requirement, period: Period, recent: Sequence[Finding]) -> Iterator[Outcome]:
    limit = requirement.limit or 0.0
    for point in places(recent):
        mine = [f for f in recent if f.sample.point == point]
        verdicts = {
            bad: [_each([f for f in mine if bad or not f.bad], limit)] for bad in (False, True)
        }  # fmt: skip
        status, ways = settle(verdicts[False], verdicts[True], sum(bool(f.bad) for f in mine))
        top = max((f.low for f in mine if not f.bad), default=None)
        yield simple(
            requirement, period, status, f"{_place_name(point)}: each yearly sample against the limit, highest "
            f"{shown(top, requirement.unit) or 'none'}.", subject=point, value=top,
            tally=tally(mine, requirement.unit, limit), ways=ways,
        )  # fmt: skip


def _each(some: Sequence[Finding], limit: float) -> Verdict:
    words = [word_upper(f.low, f.high, limit) for f in some]
    status: Status = "broken" if "broken" in words else "cannot tell" if "cannot tell" in words or not words else "met"
    return Verdict("each sample", status, max((f.low for f in some), default=None))


def _locational(
    ground: Ground, requirement: Requirement, period: Period, quarter: tuple[int, int], point: str,
    mine: Sequence[Finding],
) -> Outcome:  # fmt: skip
    limit = requirement.limit or 0.0
    wanted = [quarters_back(quarter, back) for back in (3, 2, 1, 0)]
    grouped = by_quarter(ground, mine)
    over = ground.until >= period.b
    means: dict[bool, list[Mean | None]] = {
        bad: [mean_of(grouped.get(q, []), bad) for q in wanted] for bad in (False, True)
    }
    verdicts = {bad: [_average(means[bad], limit, over)] for bad in (False, True)}
    status, ways = settle(verdicts[False], verdicts[True], sum(bool(f.bad) for f in mine))
    known = [(q, m) for q, m in zip(wanted, means[False], strict=True) if m is not None]
    value, sheet = None, None
    if known:
        with recording() as sheet:
            value = float(
                average([_known(ground, requirement, q, m, grouped[q], point) for q, m in known])
            )  # fmt: skip
            note(f"{len(known)} of four quarters have a result. The limit is {requirement.limit:g} {requirement.unit}.")
    listed = ", ".join(f"{q[0]} Q{q[1]} {shown(m.high, requirement.unit)}" for q, m in known)
    missing = [
        f"{q[0]} quarter {q[1]}: no result that counts." for q, m in zip(wanted, means[False], strict=True) if m is None
    ]
    mean = shown(value, requirement.unit)
    sentence = f"{_place_name(point)}: {amount(len(known), 'quarter')} of four, average {mean} ({listed})."
    return Outcome(
        requirement=requirement, subject=point, period=period, status=status, value=value,
        shown=shown(value, requirement.unit), limit=requirement.limit, sentence=sentence, ways=ways, why=tuple(missing),
        sheet=sheet, tally=tally(mine, requirement.unit, None),
    )  # fmt: skip


def _known(
    ground: Ground, requirement: Requirement, q: tuple[int, int], m: Mean, some: Sequence[Finding], point: str
) -> Known:
    at = some[-1].at.astimezone(ground.plant.zone)
    detail = f"{q[0]} quarter {q[1]}, mean of {amount(m.n, 'sample')}" + (
        ", not detected counted at its limit" if m.low != m.high else ""
    )
    return Known(
        m.high, Reading(f"{requirement.parameter}, {_place_name(point).lower()}", "", at, detail), requirement.unit
    )


def _average(means: Sequence[Mean | None], limit: float, over: bool) -> Verdict:
    low = sum(m.low for m in means if m is not None) / 4
    have = [m for m in means if m is not None]
    value = sum(m.high for m in have) / len(have) if have else None
    if low > limit + 1e-9:
        return Verdict("average of four quarters", "broken", value)
    if len(have) == 4:
        high = sum(m.high for m in have) / 4
        return Verdict("average of four quarters", word_upper(low, high, limit), value)
    if means[-1] is None and not over and all(m is not None for m in means[:-1]):
        return Verdict("average of four quarters", "not due", value)
    return Verdict("average of four quarters", "cannot tell", value)


# --- operational evaluation ------------------------------------------------------------------------------------------


def oel(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield for each place its operational evaluation level; "broken" says that an evaluation is to be reported."""
    name = str(requirement.check["analyte"])
    quarter = this_quarter(ground)
    period = quarter_period(ground, quarter)
    people = ground.plant.population
    if people is not None and people < YEARLY_BELOW:
        yield simple(requirement, period, "does not apply", "It is for systems that sample each quarter.")
        return
    some = [f for f in findings(ground, name) if f.at >= quarter_period(ground, quarters_back(quarter, 2)).a]
    if not some:
        why = "No result of the last three quarters is on record."
        yield simple(requirement, period, "cannot tell", why, why=(why,))
        return
    limit = requirement.limit or 0.0
    for point in places(some):
        mine = [f for f in some if f.sample.point == point]
        grouped = by_quarter(ground, mine)
        wanted = [quarters_back(quarter, back) for back in (2, 1, 0)]
        over = ground.until >= period.b
        verdicts = {
            bad: [_level([mean_of(grouped.get(q, []), bad) for q in wanted], limit, over)] for bad in (False, True)
        }
        status, ways = settle(verdicts[False], verdicts[True], sum(bool(f.bad) for f in mine))
        means = [mean_of(grouped.get(q, []), False) for q in wanted]
        value, sheet = None, None
        if all(m is not None for m in means):
            with recording() as sheet:
                q1, q2, q3 = (
                    _known(ground, requirement, q, m, grouped[q], point)
                    for q, m in zip(wanted, means, strict=True)
                    if m is not None
                )
                value = float(operational_evaluation_level(q1, q2, q3))
        sentence = f"{_place_name(point)}: {shown(value, requirement.unit) or 'not all three quarters have a result'}."
        yield Outcome(
            requirement=requirement, subject=point, period=period, status=status, value=value,
            shown=shown(value, requirement.unit), limit=requirement.limit, sentence=sentence, ways=ways, sheet=sheet,
            tally=tally(mine, requirement.unit, None),
        )  # fmt: skip


def _level(means: Sequence[Mean | None], limit: float, over: bool) -> Verdict:
    words = "operational evaluation level"
    if means[-1] is None and not over:
        return Verdict(words, "not due")
    low = sum((m.low if m is not None else 0.0) * k for m, k in zip(means, (1, 1, 2), strict=True)) / 4
    if low > limit + 1e-9:
        return Verdict(words, "broken", low)
    if any(m is None for m in means):
        return Verdict(words, "cannot tell")
    high = sum(m.high * k for m, k in zip(means, (1, 1, 2), strict=True) if m is not None) / 4
    return Verdict(words, word_upper(low, high, limit), high)


def oel_triggers(ground: Ground, outcome: Outcome) -> Iterator[Trigger]:
    """Yield the evaluation that a level above its limit asks for: 90 days from being told the result."""
    if outcome.status != "broken" and not any(way.status == "broken" for way in outcome.ways):
        return
    counted = outcome.counted or outcome.not_counted
    at = counted[-1].at if counted else outcome.period.b
    due = at + timedelta(days=90)
    requirement = outcome.requirement
    yield Trigger(
        id=f"{requirement.id}:{outcome.subject}:{at:%Y-%m-%dT%H:%MZ}", requirement=requirement, subject=outcome.subject,
        at=at, readings=counted[-1:],
        sentence=f"{requirement.title}: {outcome.sentence} Above {requirement.limit:g} {requirement.unit} an "
        "evaluation is to be made and reported.",
        duties=(
            Duty(
                id=f"{requirement.id}:{outcome.subject}:evaluation:{at:%Y-%m-%d}",
                words="Operational evaluation, written report to the State", due=due,
                due_words="within 90 days of being told the result; counted from the sample",
                citation=requirement.citation,
            ),
        ),
        certain=outcome.status == "broken",
    )  # fmt: skip


# --- samples of the quarter ------------------------------------------------------------------------------------------


def by_product_samples(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether the quarter (or the year, below 500 people) has its by-product samples."""
    people = ground.plant.population
    quarter = this_quarter(ground)
    period = quarter_period(ground, quarter)
    if people is None:
        why = "It goes by the people served: enter population in the plant file."
        yield simple(requirement, period, "cannot tell", why, why=(why,))
        return
    row = next(
        (r for r in requirement.extra["population_table"] if people <= r[0]), requirement.extra["population_table"][-1]
    )
    yearly, wanted = row[1] == 1, int(row[2])
    if yearly:
        year = period.name[:4]
        a = quarter_period(ground, (quarter[0], 1)).a
        period = Period(a=a, b=quarter_period(ground, (quarter[0], 4)).b, name=year)
    single = YEARLY_BELOW <= people <= 3300  # one sample of each, at the place where each is highest
    need = 1 if single else wanted
    have = {
        name: len(places([f for f in findings(ground, name) if period.a <= f.at < period.b and not f.bad]))
        for name in ("tthm", "haa5")
    }
    over = ground.until >= period.b
    good = all(n >= need for n in have.values())
    status: Status = "met" if good else "broken" if over else "not due"
    asked = f"{amount(need, 'place')} for each" if not single else "one sample of each at the place where it is highest"
    yield simple(
        requirement, period, status,
        f"{period.name}: trihalomethanes at {amount(have['tthm'], 'place')}, haloacetic acids at "
        f"{amount(have['haa5'], 'place')}; asked: {asked}.", value=float(min(have.values())),
    )  # fmt: skip


# --- chlorine over twelve months -------------------------------------------------------------------------------------


def annual_average(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether the average of the last twelve monthly averages is at or below the limit."""
    name = str(requirement.check["analyte"])
    some = findings(ground, name)
    grouped = by_month(ground, some)
    wanted = months_back(ground.name, 12)[::-1]
    limit = requirement.limit or 0.0
    mine = [f for month in wanted for f in grouped.get(month, [])]
    if not mine:
        why = "No residual of the mains is on record for the last twelve months."
        yield simple(requirement, ground.month, "cannot tell", why, why=(why,))
        return
    verdicts = {
        bad: [_twelve([mean_of(grouped.get(m, []), bad) for m in wanted], limit, ground.over)] for bad in (False, True)
    }
    status, ways = settle(verdicts[False], verdicts[True], sum(bool(f.bad) for f in mine))
    known = [(m, mean) for m in wanted if (mean := mean_of(grouped.get(m, []), False)) is not None]
    value, sheet = None, None
    if known:
        with recording() as sheet:
            at = ground.local(ground.until_s)
            value = float(
                average([Known(mean.high, Reading("Monthly average", "", at, f"{m}, {amount(mean.n, 'sample')}"),
                               requirement.unit) for m, mean in known])
            )  # fmt: skip
    yield Outcome(
        requirement=requirement, subject="", period=ground.month, status=status, value=value,
        shown=shown(value, requirement.unit), limit=requirement.limit,
        sentence=f"Average of {amount(len(known), 'monthly average')}: {shown(value, requirement.unit)}.", ways=ways,
        why=tuple(f"{m}: no result." for m in wanted if m not in {k for k, _ in known})[:6], sheet=sheet,
        tally=tally(mine, requirement.unit, None),
    )  # fmt: skip


def _twelve(means: Sequence[Mean | None], limit: float, over: bool) -> Verdict:
    have = [m for m in means if m is not None]
    words = "average of twelve months"
    value = sum(m.high for m in have) / len(have) if have else None
    low = sum(m.low for m in have) / 12
    if low > limit + 1e-9:
        return Verdict(words, "broken", value)
    if len(have) < 12:
        waits = means[-1] is None and not over and len(have) == 11
        return Verdict(words, "not due" if waits else "cannot tell", value)
    return Verdict(words, word_upper(low, sum(m.high for m in have) / 12, limit), value)


# --- what the next sample may be -------------------------------------------------------------------------------------


def next_sample(ground: Ground, requirement: Requirement) -> Iterator[Headroom]:
    """Yield what the next quarter's sample may be at most at each place, by the average and by the evaluation level."""
    name = str(requirement.check["analyte"])
    method = requirement.check["method"]
    people = ground.plant.population or 0
    if people < YEARLY_BELOW:
        return
    some = [f for f in findings(ground, name) if not f.bad]
    quarter = this_quarter(ground)
    limit = requirement.limit or 0.0
    for point in places(some):
        grouped = by_quarter(ground, [f for f in some if f.sample.point == point])
        coming = quarter if quarter not in grouped else quarters_back(quarter, -1)
        back = 3 if method == "lraa" else 2
        means = [mean_of(grouped.get(quarters_back(coming, n), []), False) for n in range(back, 0, -1)]
        known = [m for m in means if m is not None]
        if len(known) < back:
            continue
        total = sum(m.high for m in known)
        at_most = 4 * limit - total if method == "lraa" else (4 * limit - total) / 2
        what = "the average of four quarters" if method == "lraa" else "the operational evaluation level"
        asked = f"{coming[0]} quarter {coming[1]}"
        by = quarter_period(ground, coming).b
        text = shown(max(at_most, 0.0), requirement.unit)
        if at_most < 0:
            above = f"will be above {limit:g} {requirement.unit} in {asked} whatever it brings"
            sentence = f"{_place_name(point)}: {what} {above}."
        else:
            sentence = (
                f"{_place_name(point)}: a sample above {text} in {asked} would bring {what} above {limit:g} "
                f"{requirement.unit}. The lower the better."
            )
        last = known[-1].high
        sums = " + ".join(f"{m.high:.4g}" for m in known)
        line = f"4 x {limit:g} - ({sums})" + (
            "" if method == "lraa" else ", halved, as the present quarter counts twice"
        )
        yield Headroom(
            requirement=requirement, subject=point, sentence=sentence, near=last > at_most, at_most=at_most, by=by,
            sheet=Sheet(notes=[f"{line} = {at_most:.4g} {requirement.unit}"]),
        )  # fmt: skip

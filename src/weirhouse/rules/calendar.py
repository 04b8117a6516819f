"""Which samples are to be taken, which are overdue, and which bottles does that take?"""

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime
from typing import Literal

from weirhouse.records.analytes import analytes
from weirhouse.rules.by_products import YEARLY_BELOW
from weirhouse.rules.coliform import wanted_samples
from weirhouse.rules.ground import Ground
from weirhouse.rules.laboratory import analyte, quarter_period, this_quarter
from weirhouse.rules.model import Bottle, CalendarItem, Period, Requirement
from weirhouse.rules.outcome import amount
from weirhouse.situation.days import midnight

State = Literal["done", "due", "overdue", "later"]


def calendar(ground: Ground, asked: Sequence[Requirement]) -> Iterator[CalendarItem]:
    """Yield what is to be sampled in the month, and in the quarter or year that it lies in."""
    people = ground.plant.population
    for requirement in asked:
        method = requirement.check["method"]
        if method == "coliform_count" and people is not None:
            wanted = wanted_samples(requirement, people)
            yield _item(
                ground, requirement, "Coliform in the mains, with the residual at the same place and time",
                ground.month,                wanted, ("coliform", "chlorine"),
            )  # fmt: skip
        elif method == "toc_ratio":
            yield _item(
                ground, requirement, "Organic carbon of source and filtered water, alkalinity of the source",
                ground.month,                1, ("toc", "treated_toc", "raw_alkalinity"),
            )  # fmt: skip
        elif method == "by_product_samples" and people is not None:
            yield _by_products(ground, requirement, people)
        elif method == "single_result" and requirement.check["analyte"] == "nitrate":
            yield _item(
                ground, requirement, "Nitrate at the entry; each quarter, or yearly where the State says so",
                _year(ground),                1, ("nitrate",),
            )  # fmt: skip


def _by_products(ground: Ground, requirement: Requirement, people: int) -> CalendarItem:
    table = requirement.extra["population_table"]
    row = next((r for r in table if people <= r[0]), table[-1])
    period = _year(ground) if row[1] == 1 else quarter_period(ground, this_quarter(ground))
    wanted = 1 if YEARLY_BELOW <= people <= 3300 else int(row[2])
    return _item(
        ground, requirement, "By-products in the mains: trihalomethanes and haloacetic acids", period, wanted,
        ("tthm", "haa5"),
    )  # fmt: skip


def _year(ground: Ground) -> Period:
    year = ground.a.astimezone(ground.plant.zone).year
    a, b = (datetime.fromtimestamp(midnight(date(y, 1, 1), ground.plant.zone), UTC) for y in (year, year + 1))
    return Period(a=a, b=b, name=str(year))


def _item(
    ground: Ground, requirement: Requirement, what: str, period: Period, wanted: int, names: tuple[str, ...]
) -> CalendarItem:
    """Return one item: a sample counts that was taken in the period for the first of the analytes."""
    named = {r.sample for r in ground.results if analyte(r.analyte) == names[0]}
    waiting = {s.id for s in ground.samples} - {r.sample for r in ground.results}
    some = [s for s in ground.samples if period.a <= s.taken_at < min(period.b, ground.until)]
    taken = sum(s.id in named for s in some)
    taken += sum(s.id in waiting and s.purpose == "routine" for s in some) if taken < wanted else 0
    state: State = "done" if taken >= wanted else "overdue" if ground.until >= period.b else "due"
    if state == "due" and ground.until < period.a:
        state = "later"
    due = period.b.astimezone(ground.plant.zone)
    left = max(0, wanted - taken)
    sentence = f"{what}: {min(taken, wanted)} of {wanted} in {period.name}"
    if left:
        word = "missing" if state == "overdue" else "to take"
        sentence += f"; {amount(left, 'sample')} {word} before {due:%Y-%m-%d}"
    sentence += "."
    return CalendarItem(
        requirement=requirement, what=what, point="", begin=period.a, due=period.b, state=state, wanted=wanted,
        taken=taken, sentence=sentence, bottles=tuple(_bottles(names, left)) if left else (),
    )  # fmt: skip


def _bottles(names: Sequence[str], number: int) -> Iterator[Bottle]:
    known = analytes()
    for name in names:
        one = known.get(name)
        if one is None:
            continue
        hours = one.holding / 3600
        hold = f"{hours:.0f} h" if hours < 72 else f"{hours / 24:.0f} days"
        if hours < 1:
            hold = f"{one.holding / 60:.0f} min: read it on the spot"
        yield Bottle(
            analyte=one.title, bottle=one.bottle, preservation=one.preservation, hold=f"{hold} to the {one.until}",
            count=number, source=one.source,
        )  # fmt: skip

"""How is a month judged from the records? The one way from a store to what page, report and command show of it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from weirhouse.desk.planned_hours import planned, spans
from weirhouse.desk.proof import MonthProof, month_name, month_proof
from weirhouse.plant.model import Plant
from weirhouse.records.analytes import analytes
from weirhouse.records.model import Event, Result, Sample
from weirhouse.records.store import Store
from weirhouse.rules.laboratory import analyte, from_readings
from weirhouse.rules.model import MonthFacts, MonthResult
from weirhouse.rules.month import evaluate_month, month_facts
from weirhouse.rules.packs import RuleBook, load_rules
from weirhouse.situation.ages import later
from weirhouse.situation.at import between
from weirhouse.situation.month_records import MonthRecords, before, bounds, month_records, settled_at

RUNNING = 2  # months before, for what the rules ask in months running
SAMPLES_S = 800 * 86400.0  # of samples, for averages over quarters and years


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthBefore:
    """A month on record: its name, how it stands, and the digest that was kept of its report."""

    month: str
    name: str
    state: str
    digest: str
    closing: Event | None


def rule_book(store: Store, folder: Path, now: datetime) -> RuleBook:
    """Return the rules in force for a plant, with what persons confirmed up to an instant."""
    return load_rules(folder, store.events("rule_confirmed", until=later(now, 1.0)))


def judged(
    store: Store, plant: Plant, folder: Path, month: str, now: datetime, *, settled: bool = False,
    planned: Event | None = None,
) -> MonthProof:  # fmt: skip
    """Return what a month proves, judged at `now`; a closed month as at its closing.

    With `settled` a month that is over is judged at its end or the newest entry, whichever is later, so that its report
    comes out the same whenever it is made. `planned` is a closing about to be written.
    """
    at = settled_at(store, plant, month, now) if settled else now
    records = month_records(store, plant, month, at, planned=planned)
    book = rule_book(store, folder, records.at)
    result = evaluate(store, plant, records, book)
    return month_proof(records, result, form=book.form.columns, form_title=book.form.title)


def evaluate(
    store: Store, plant: Plant, records: MonthRecords, book: RuleBook, earlier: Sequence[MonthFacts] | None = None
) -> MonthResult:
    """Return what the rules say of a month that was read; facts of the months before are worked out if not given."""
    a, b = bounds(records.month, plant.zone)
    since = later(b, -SAMPLES_S)
    samples, results = laboratory(store, plant, since, b)
    if earlier is None:
        months = [before(records.month, back) for back in range(RUNNING, 0, -1)]
        told = [facts_of(store, plant, month, book, samples, results) for month in months]
        earlier = [facts for facts in told if facts is not None]
    events = [e for e in records.standing if e.kind in ("notice", "explained", "credit_claimed")]
    hours = planned(store, records.month, records.at)
    return evaluate_month(
        plant, records.stretch, samples, results, events, book,
        month=a.astimezone(plant.zone).date(), now=records.at, earlier=earlier,
        plan=None if hours is None else spans(plant, hours, records.at),
        eve=between(store, plant, later(a, -3600.0), a),
    )  # fmt: skip


def laboratory(
    store: Store, plant: Plant, since: datetime, until: datetime
) -> tuple[tuple[Sample, ...], tuple[Result, ...]]:
    """Return samples and results of a stretch of time.

    What was never entered as a sample is taken from the readings of its channel, its place not told.
    """
    results = tuple(store.results(None, since, until))
    sampled = {analyte(result.analyte) for result in results}
    entered = [
        reading
        for id in analytes()
        if id in plant.channels and id not in sampled
        for reading in store.readings(id, since, until)
    ]
    more_samples, more_results = from_readings(entered)
    return (*store.samples(None, since, until), *more_samples), (*results, *more_results)


def in_turn(store: Store, plant: Plant, folder: Path, months: Sequence[str], now: datetime) -> Iterator[MonthProof]:
    """Yield what months prove that follow each other, each judged as its report is; facts are handed on."""
    earlier: list[MonthFacts] = []
    for month in months:
        records = month_records(store, plant, month, settled_at(store, plant, month, now))
        book = rule_book(store, folder, records.at)
        result = evaluate(store, plant, records, book, earlier[-RUNNING:] if len(earlier) >= RUNNING else None)
        earlier.append(result.facts)
        yield month_proof(records, result, form=book.form.columns, form_title=book.form.title)


def facts_of(
    store: Store, plant: Plant, month: str, book: RuleBook, samples: Sequence[Sample], results: Sequence[Result]
) -> MonthFacts | None:
    """Return what later months need to know of a month; None where nothing of it is on record."""
    a, b = bounds(month, plant.zone)
    first = store.span()[0]
    if first is None or first >= b:
        return None
    day = date.fromisoformat(f"{month}-01")
    return month_facts(plant, between(store, plant, a, b), book, month=day, samples=samples, results=results)


@dataclass(frozen=True, slots=True, kw_only=True)
class YearProof:
    """A calendar year: its months on record, and the samples with their results."""

    plant: Plant
    year: int
    months: tuple[MonthProof, ...]
    samples: tuple[Sample, ...]
    results: tuple[Result, ...]
    book: RuleBook


def year_judged(store: Store, plant: Plant, folder: Path, year: int, now: datetime) -> YearProof:
    """Return what a calendar year proves, from its months on record up to now."""
    known = [m.month for m in reversed(months_on_record(store, plant, now)) if m.month.startswith(f"{year:04d}-")]
    a, b = bounds(f"{year:04d}-01", plant.zone)[0], bounds(f"{year:04d}-12", plant.zone)[1]
    return YearProof(
        plant=plant, year=year, months=tuple(in_turn(store, plant, folder, known, now)),
        samples=tuple(store.samples(None, a, b)), results=tuple(store.results(None, a, b)),
        book=rule_book(store, folder, now),
    )  # fmt: skip


def months_on_record(store: Store, plant: Plant, now: datetime) -> list[MonthBefore]:
    """Return the months of which anything is on record, the newest first."""
    first, _ = store.span()
    if first is None:
        return []
    closings = {e.subject: e for e in store.events("closed") if len(e.subject) == len("2026-10")}
    month, oldest = f"{now.astimezone(plant.zone):%Y-%m}", f"{first.astimezone(plant.zone):%Y-%m}"
    found = []
    while month >= oldest:
        closing = closings.get(month)
        over = bounds(month, plant.zone)[1] <= now.astimezone(UTC)
        at = f"{closing.started_at.astimezone(plant.zone):%Y-%m-%d}" if closing is not None else ""
        state = f"closed by {closing.person}, {at}" if closing is not None else "open" if over else "not over"
        digest = str(closing.values.get("digest", "")) if closing is not None else ""
        found.append(MonthBefore(month=month, name=month_name(month), state=state, digest=digest, closing=closing))
        month = before(month)
    return found

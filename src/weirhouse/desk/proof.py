"""What does the month prove, and what is still open? One frozen answer for page, paper, JSON and CSV."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, Literal

from weirhouse.desk.month_table import MonthTable, month_table
from weirhouse.plant.model import Plant
from weirhouse.quantity import fits, label, show, written
from weirhouse.records.analytes import analytes
from weirhouse.records.model import Event, Reading, Result, Sample
from weirhouse.rules.model import Counted, MonthResult, Outcome, Requirement, Status
from weirhouse.situation.month_records import MonthRecords

DUE_DAY = 10  # of the following month (40 CFR 141.75(b), 141.570)
OpenKind = Literal[
    "not over", "gap", "rejected", "exceedance", "sample", "day", "rule", "state", "person", "broken", "check"
]
OPEN_WORDS: Mapping[OpenKind, str] = {
    "not over": "The month is not over",
    "broken": "A limit was broken",
    "exceedance": "Over a level, without an explanation",
    "rejected": "Doubtful or rejected readings without an explanation",
    "gap": "Readings that are missing, without an explanation",
    "sample": "Samples not taken, or without a result",
    "day": "Days that nobody has closed",
    "state": "What the State must define",
    "person": "Who signs",
    "rule": "Rules not compared with print",
    "check": "Instruments not checked",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One check of an instrument against a standard."""

    id: str
    at: datetime
    channel: str
    title: str
    standard: str
    wanted: str  # the standard's value, as people read it
    found: str
    left: str
    result: str  # "passed", "failed", or as written
    person: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Outage:
    """An instrument out of service, with the readings that stood in for it."""

    id: str
    channel: str
    title: str
    begin: datetime
    end: datetime | None
    note: str
    person: str
    grabs: tuple[Reading, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejected:
    """A reading that a person or the import put aside: on the face of the report, with what was said of it."""

    id: str  # under which it is explained
    reading: Counted
    title: str
    shown: str
    explained: Event | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Exceedance:
    """A reading or a trigger over a level that must be reported, with its explanation."""

    id: str
    at: datetime
    title: str
    shown: str
    limit: str
    citation: str
    sentence: str
    certain: bool
    explained: Event | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A sample with what the laboratory found in it."""

    sample: Sample
    results: tuple[tuple[Result, str, str], ...]  # result, name of what was looked for, value as people read it


@dataclass(frozen=True, slots=True, kw_only=True)
class Open:
    """One thing that still keeps the month from being closed."""

    kind: OpenKind
    sentence: str
    id: str = ""  # under which it can be explained; empty where it cannot
    day: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Operator:
    """Who answers for the plant, with the certificate."""

    name: str
    certificate: str
    grade: str
    until: str
    role: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthProof:
    """Everything that page and report say of a month."""

    plant: Plant
    records: MonthRecords
    result: MonthResult
    table: MonthTable
    operators: tuple[Operator, ...]
    checks: tuple[Check, ...]
    outages: tuple[Outage, ...]
    rejected: tuple[Rejected, ...]
    exceedances: tuple[Exceedance, ...]
    samples: tuple[Found, ...]
    open: tuple[Open, ...]
    closed_days: frozenset[date]
    form: tuple[tuple[str, str], ...] = ()  # (column, heading) in the order of the State's form
    form_title: str = ""

    @property
    def month(self) -> str:
        """The month: "2026-10"."""
        return self.records.month

    @property
    def due(self) -> date:
        """The day by which the report is due."""
        first = self.records.stretch.b.astimezone(self.plant.zone).date()
        return first.replace(day=DUE_DAY)

    @property
    def closed(self) -> Event | None:
        """The event that closed it."""
        return self.records.closing


def month_proof(
    records: MonthRecords, result: MonthResult, *, form: Sequence[tuple[str, str]] = (), form_title: str = ""
) -> MonthProof:
    """Return what a month proves and what is still open, from its records and their evaluation.

    `form` gives the columns of the daily table in the order and under the headings of the State's own form.
    """
    plant = records.stretch.plant
    table = month_table(records.stretch, result)
    explained = explanations(records.standing)
    parts: dict[str, Any] = {
        "checks": tuple(_checks(records)),
        "outages": tuple(_outages(records)),
        "rejected": tuple(_rejected(plant, result, explained)),
        "exceedances": tuple(_exceedances(plant, result, explained)),
        "samples": tuple(_samples(records)),
        "operators": operators(records.standing),
        "closed_days": _closed_days(records),
    }
    open_ = tuple(_open(records, result, table, explained, parts))
    return MonthProof(
        plant=plant, records=records, result=result, table=table, open=open_, form=tuple(form), form_title=form_title,
        **parts,
    )  # fmt: skip


def explanations(standing: Sequence[Event]) -> dict[str, Event]:
    """Return the newest explanation of each thing that was explained."""
    return {event.subject: event for event in standing if event.kind == "explained" and event.note.strip()}


def operators(standing: Sequence[Event]) -> tuple[Operator, ...]:
    """Return who may sign: active operators with a certificate, as last entered."""
    newest = {event.subject: event for event in standing if event.kind == "person"}
    found = []
    for event in newest.values():
        said = {name: str(value) for name, value in event.values.items()}
        if said.get("active", "yes") != "yes" or said.get("role", "") not in ("operator", "relief"):
            continue
        found.append(
            Operator(
                name=said.get("name", event.subject), certificate=said.get("certificate", ""),
                grade=said.get("certificate_class", ""), until=said.get("certificate_until", ""),
                role=said.get("role", ""),
            )
        )  # fmt: skip
    return tuple(sorted(found, key=lambda one: (one.role != "operator", one.name)))


# --- instruments -------------------------------------------------------------------------------------------------


def title_of(plant: Plant, channel: str) -> str:
    """Return what people call a channel, a stage or a filter."""
    found = plant.channels.get(channel)
    if found is not None:
        return found.name
    names: dict[str, str] = {part.id: part.name for part in (*plant.stages, *plant.filters)}
    return names.get(channel, f"{channel[:1].upper()}{channel[1:]}".replace("_", " ") if channel else plant.name)


def reading_text(plant: Plant, channel: str, value: float | str | None) -> str:
    """Return a value of a channel as people read it; a word stays a word, nothing stays empty."""
    if value is None or isinstance(value, str):
        return value or ""
    found = plant.channels.get(channel)
    return written(value, found.inside, found.unit) if found is not None else f"{value:g}"


def _in(records: MonthRecords, moment: datetime) -> bool:
    return records.stretch.a <= moment < records.stretch.b


def _checks(records: MonthRecords) -> Iterator[Check]:
    plant = records.stretch.plant
    for event in records.kind("instrument_check"):
        if _in(records, event.started_at):
            said = event.values
            yield Check(
                id=event.id, at=event.started_at, channel=event.subject, title=title_of(plant, event.subject),
                standard=str(said.get("standard", "")),
                wanted=reading_text(plant, event.subject, said.get("standard_value")),
                found=reading_text(plant, event.subject, said.get("found")),
                left=reading_text(plant, event.subject, said.get("left")), result=str(said.get("result", "")),
                person=event.person, note=event.note,
            )  # fmt: skip


def _outages(records: MonthRecords) -> Iterator[Outage]:
    """Yield the outages of instruments; a fault that was noticed and the time out of service for it are one."""
    plant, stretch = records.stretch.plant, records.stretch
    found: list[Outage] = []
    for event in sorted(records.kind("instrument_out", "instrument_fault"), key=lambda e: e.started_at):
        end = event.ended_at
        if event.started_at >= stretch.b or (end is not None and end <= stretch.a):
            continue
        same = next(
            (o for o in found if o.channel == event.subject and (o.end is None or event.started_at <= o.end)), None
        )
        if same is not None:
            found.remove(same)
            ends = (same.end, end)
            end = None if None in ends else max(e for e in ends if e is not None)
        begin = event.started_at if same is None else same.begin
        notes = dict.fromkeys(note for note in (same.note if same is not None else "", event.note) if note)
        grabs = tuple(
            r for r in records.readings
            if r.channel == event.subject and r.taken_at >= begin and (end is None or r.taken_at <= end)
        )  # fmt: skip
        found.append(
            Outage(
                id=event.id, channel=event.subject, title=title_of(plant, event.subject), begin=begin, end=end,
                note="; ".join(notes), person=event.person, grabs=grabs,
            )
        )  # fmt: skip
    yield from found


# --- readings put aside, and readings over a level ---------------------------------------------------------------


def mark_of(channel: str, at: datetime) -> str:
    """Return the name under which a reading is explained: the same each time the month is judged."""
    return f"{channel}@{at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def counted_text(plant: Plant, one: Counted) -> str:
    """Return a counted reading as people read it."""
    return "no value" if one.value is None else show(one.value, one.unit)


def _rejected(plant: Plant, result: MonthResult, explained: Mapping[str, Event]) -> Iterator[Rejected]:
    for one in result.rejected:
        id = mark_of(one.source, one.at)
        yield Rejected(
            id=id, reading=one, title=title_of(plant, one.source), shown=counted_text(plant, one),
            explained=explained.get(id) or explained.get(one.source),
        )  # fmt: skip


def limit_text(requirement: Requirement, limit: float | None = None) -> str:
    """Return a requirement's limit as people read it; empty where it has none."""
    value = requirement.limit if limit is None else limit
    if value is None:
        return ""
    if not requirement.unit or requirement.unit == "ratio":
        return f"{value:g}"
    said = written(value, requirement.unit)
    return said.replace("samples", "sample") if value == 1 else said


def _exceedances(plant: Plant, result: MonthResult, explained: Mapping[str, Event]) -> Iterator[Exceedance]:
    seen = set()
    for trigger in result.triggers:
        seen.add(trigger.id)
        top = max((r.value for r in trigger.readings if r.value is not None), default=None)
        unit = trigger.requirement.unit
        yield Exceedance(
            id=trigger.id, at=trigger.at, title=f"{title_of(plant, trigger.subject)}: {trigger.requirement.title}",
            shown=show(top, unit) if top is not None else "", limit=limit_text(trigger.requirement),
            citation=trigger.requirement.citation, sentence=trigger.sentence, certain=trigger.certain,
            explained=explained.get(trigger.id),
        )  # fmt: skip
    for notice in result.notices:
        if notice.id in seen:
            continue
        seen.add(notice.id)
        yield Exceedance(
            id=notice.id, at=notice.opened_at, title=f"{title_of(plant, notice.subject)}: {notice.requirement.title}",
            shown="", limit=limit_text(notice.requirement), citation=notice.requirement.citation,
            sentence=notice.sentence, certain=notice.certain, explained=explained.get(notice.id),
        )  # fmt: skip


def _samples(records: MonthRecords) -> Iterator[Found]:
    plant = records.stretch.plant
    for sample in records.samples:
        yield Found(
            sample=sample,
            results=tuple(
                (one, analyte_name(plant, one.analyte), result_text(plant, one))
                for one in records.results
                if one.sample == sample.id
            ),
        )  # fmt: skip


def analyte_name(plant: Plant, analyte: str) -> str:
    """Return what was looked for, in words."""
    found = analytes().get(analyte)
    if found is not None:
        return found.title
    channel = plant.channels.get(analyte)
    return channel.name if channel is not None else analyte.replace("_", " ").capitalize()


def result_text(plant: Plant, result: Result) -> str:
    """Return a laboratory's result as it was reported; what was not detected is a condition with its limit."""
    said = result.text.strip()
    unit = label(result.unit)
    if said[-1:].isdigit() and unit:
        said = f"{said} {unit}"
    if result.qualifier == "ND":
        said = said or "not detected"
        channel = plant.channels.get(result.analyte)
        inside = channel.inside if channel is not None else "g/m^3"
        if result.limit is not None and fits(inside, result.unit):
            said += f" ({result.limit_kind or 'limit'} {written(result.limit, inside, result.unit)})"
    return said or result.qualifier


# --- what is still open ------------------------------------------------------------------------------------------


def _closed_days(records: MonthRecords) -> frozenset[date]:
    found = set()
    for event in records.kind("closed"):
        if len(event.subject) == len("2026-10-14") and event.subject.startswith(records.month):
            found.add(date.fromisoformat(event.subject))
    return frozenset(found)


def _open(
    records: MonthRecords,
    result: MonthResult,
    table: MonthTable,
    explained: Mapping[str, Event],
    parts: Mapping[str, Any],
) -> Iterator[Open]:
    plant = records.stretch.plant
    zone = plant.zone
    if not records.complete:
        end = records.stretch.b.astimezone(zone).date()
        yield Open(kind="not over", sentence=f"{records.month} ends at midnight before {end.day} {end:%B %Y}.")
    for outcome in result.outcomes:
        id = f"{outcome.requirement.id}:{outcome.subject}:{records.month}"
        if outcome.status == "broken" and id not in explained:
            yield Open(kind="broken", sentence=f"{outcome.requirement.title}: {outcome.sentence}", id=id)
    for one in parts["exceedances"]:
        if one.explained is None:
            yield Open(kind="exceedance", sentence=one.sentence, id=one.id, day=one.at.astimezone(zone).date())
    yield from _open_rejected(plant, parts["rejected"])
    yield from _open_gaps(result, table, explained)
    for item in result.calendar:
        if item.state == "overdue" or (item.state == "due" and item.due <= records.stretch.b):
            yield Open(kind="sample", sentence=item.sentence, day=item.due.astimezone(zone).date())
    for found in parts["samples"]:
        if not found.results:
            at = found.sample.taken_at.astimezone(zone)
            yield Open(kind="sample", sentence=f"No result yet of the sample of {at:%d %b} at {found.sample.point}.")
    missing = [day.date for day in result.days if day.date not in parts["closed_days"] and day.b <= records.at]
    if missing:
        yield Open(kind="day", sentence=f"{_days_text(missing)}: nobody has closed {_them(missing)}.")
    for lacking in result.lacking:
        yield Open(kind="state", sentence=f"The State must say {lacking.words}; until then: {lacking.handled}.")
    if not any(one.certificate for one in parts["operators"]):
        yield Open(kind="person", sentence="No operator with a certificate is entered under people.")
    last = records.stretch.b.astimezone(zone).date().isoformat()
    for one in parts["operators"]:
        if one.until and one.until < last:
            text = f"The certificate of {one.name} is valid until {one.until}, which is before the month's end."
            yield Open(kind="person", sentence=text)
    unconfirmed = [
        o.requirement for o in result.outcomes
        if o.status != "does not apply" and o.requirement.confirmed is None and o.requirement.provenance != "source"
    ]  # fmt: skip
    names = dict.fromkeys(r.citation for r in unconfirmed)
    if names:
        yield Open(
            kind="rule",
            sentence=f"{len(names)} rules that apply here are from memory or partly so: {', '.join(names)}. "
            "Compare each with the printed rule and confirm it.",
        )


def _open_rejected(plant: Plant, rejected: Sequence[Rejected]) -> Iterator[Open]:
    """Yield the channels with readings put aside and not explained: one line each, for they can be many."""
    by: dict[str, list[Rejected]] = {}
    for one in rejected:
        if one.explained is None:
            by.setdefault(one.reading.source, []).append(one)
    for channel, some in by.items():
        first = some[0].reading.at.astimezone(plant.zone)
        days = sorted({one.reading.at.astimezone(plant.zone).date() for one in some})
        what = f"{some[0].shown} at {first:%H:%M}" if len(some) == 1 else f"{len(some)} readings"
        yield Open(
            kind="rejected", sentence=f"{title_of(plant, channel)}: {what} on {_days_text(days)} put aside.",
            id=some[0].id if len(some) == 1 else channel, day=days[0],
        )  # fmt: skip


def _open_gaps(result: MonthResult, table: MonthTable, explained: Mapping[str, Event]) -> Iterator[Open]:
    for day in result.days:
        names = [period.name for period in day.periods if period.state in ("missing", "not certain")]
        id = f"gap:combined_turbidity:{day.date}"
        if names and id not in explained:
            yield Open(
                kind="gap", id=id, day=day.date,
                sentence=f"{_day_text(day.date)}: no certain filtered turbidity for the four hours from "
                f"{', '.join(names)}.",
            )  # fmt: skip
    over = {day.date for day in result.days if day.b <= result.until}
    for column in table.columns:
        if column.group not in ("water", "disinfection") or column.id in ("ct_weakest", "average_flow", "peak_flow"):
            continue
        days = [row.date for row in table.days if row.cells[column.id].state == "gap" and row.date in over]
        days = [
            day
            for day in days
            if f"gap:{column.id}:{day}" not in explained and f"gap:{column.id}:{result.month}" not in explained
        ]
        if days:
            yield Open(
                kind="gap", id=f"gap:{column.id}:{result.month}", day=days[0],
                sentence=f"{column.title}: not on record, or not to be told, on {_days_text(days)}.",
            )  # fmt: skip


def _day_text(day: date) -> str:
    return f"{day.day} {day:%b}"


def _them(days: Sequence[date]) -> str:
    return "it" if len(days) == 1 else "them"


def _days_text(days: Sequence[date]) -> str:
    """Return days with runs drawn together.

    >>> _days_text([date(2026, 9, 1), date(2026, 9, 2), date(2026, 9, 3), date(2026, 9, 9)])
    '1 to 3 Sep, 9 Sep'
    """
    runs: list[list[date]] = []
    for day in days:
        if runs and day == runs[-1][-1] + timedelta(days=1):
            runs[-1].append(day)
        else:
            runs.append([day])
    words = []
    for run in runs:
        if len(run) == 1:
            words.append(_day_text(run[0]))
        elif run[0].month == run[-1].month:
            words.append(f"{run[0].day} to {_day_text(run[-1])}")
        else:
            words.append(f"{_day_text(run[0])} to {_day_text(run[-1])}")
    return ", ".join(words)


# --- the answer ---------------------------------------------------------------------------------------------------


def counts(proof: MonthProof) -> dict[Status, int]:
    """Return how many requirements that apply have each status."""
    order: tuple[Status, ...] = ("broken", "cannot tell", "met", "not due")
    return {status: proof.result.count(status) for status in order}


def answer(proof: MonthProof) -> str:
    """Return the one sentence with which page and report open."""
    found = counts(proof)
    name = month_name(proof.month)
    over = "" if proof.records.complete else " so far"
    parts = []
    if found["broken"]:
        parts.append(f"{found['broken']} {_one(found['broken'], 'requirement is', 'requirements are')} broken")
    elif over:
        parts.append("no limit is broken")
    if found["cannot tell"]:
        parts.append(f"{found['cannot tell']} cannot be told")
    if found["met"] or not over:
        parts.append(f"{found['met']} {_one(found['met'], 'is', 'are')} met")
    if over and found["not due"]:
        parts.append(f"{found['not due']} {_one(found['not due'], 'is', 'are')} judged later")
    sentence = f"{name}{over}: {', '.join(parts)}"
    left = len(proof.open)
    if proof.closed is not None:
        return f"{sentence}. Closed by {proof.closed.person}."
    if left:
        return f"{sentence}; {left} {_one(left, 'point is', 'points are')} open before it can be closed."
    return f"{sentence}; nothing is open."


def _one(count: int, one: str, many: str) -> str:
    return one if count == 1 else many


def month_name(month: str) -> str:
    """Return a month in words.

    >>> month_name("2026-09")
    'September 2026'
    """
    return f"{date.fromisoformat(f'{month}-01'):%B %Y}"


def find_outcome(proof: MonthProof, requirement: str, subject: str) -> Outcome | None:
    """Return an outcome by the names in its address; None when there is none."""
    for outcome in proof.result.outcomes:
        if (outcome.requirement.id, outcome.subject) == (requirement, subject):
            return outcome
    return None

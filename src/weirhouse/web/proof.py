"""The page Proof: what counts and what is missing, the month's days, what is near, notices, and the months before."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from urllib.parse import quote, urlencode

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from weirhouse.desk import proof as proofs
from weirhouse.desk.judging import judged, months_on_record
from weirhouse.desk.proof import MonthProof
from weirhouse.plant.model import Plant
from weirhouse.quantity import show
from weirhouse.reports.figures import worst_first
from weirhouse.rules.model import (
    CalendarItem,
    Counted,
    DayContact,
    DayResult,
    Headroom,
    NoticeNeeded,
    Outcome,
)
from weirhouse.situation.ages import age_text, elapsed_s
from weirhouse.situation.month_records import MonthError, before, bounds
from weirhouse.web.frame import Frame
from weirhouse.web.render import as_json, html, page, page_text, seen_by
from weirhouse.web.source import PlantFolder

ORGANISMS = {"giardia": "Giardia", "virus": "viruses"}
MOST_READINGS = 300  # counted readings on a working page; all of them are in the report's JSON


@dataclass(frozen=True, slots=True)
class Row:
    """A requirement as the page shows it."""

    outcome: Outcome
    title: str
    limit: str
    counts: str
    mark: str  # how far the rule's text can be relied on, in a word or two
    link: str


@dataclass(frozen=True, slots=True)
class Clock:
    """A notice with its clock."""

    notice: NoticeNeeded
    title: str
    due: str
    left: str  # "3 h left", "12 h past"
    past: bool
    link: str
    done: int
    steps: int


@dataclass(frozen=True, slots=True)
class DaySquare:
    """A day of the strip: its worst word, and where it leads."""

    date: date
    kind: str  # "broken", "cannot tell", "met", "not due", "to come"
    words: str
    closed: bool
    link: str


def month_of(folder: PlantFolder, request: Request) -> str:
    """Return the month that a page is asked for, or that of now. MonthError for what is no month."""
    asked = str(request.path_params.get("month", "") or request.query_params.get("month", ""))
    if asked:
        bounds(asked, folder.plant().zone)
        return asked
    return f"{folder.present().astimezone(folder.plant().zone):%Y-%m}"


def proof_at(folder: PlantFolder, month: str, *, settled: bool = False) -> MonthProof:
    """Return a month judged now, or as its report is; made once for all who ask for the same."""
    now = folder.present()

    def make() -> MonthProof:
        with folder.reading() as store:
            return judged(store, folder.plant(), folder.folder, month, now, settled=settled)

    return folder.kept(("proof", month, now, settled, rules_stamp(folder)), make)


def rules_stamp(folder: PlantFolder) -> object:
    """Return what changes when a local rule pack does."""
    packs = sorted((folder.folder / "rules").glob("*.toml"))
    return tuple((pack.name, pack.stat().st_mtime_ns, pack.stat().st_size) for pack in packs)


def proof_frame(folder: PlantFolder, title: str) -> Frame:
    """Return the frame of a page of Proof."""
    plant = folder.plant()
    return Frame(
        plant=plant.name, system_id=plant.system_id, place="proof", title=title, at=folder.present(), zone=plant.zone,
        demo=plant.demo,
    )  # fmt: skip


def proof_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with Proof of a month."""
    try:
        month = month_of(folder, request)
    except MonthError:
        if "month" in request.path_params:
            return None
        raise
    key = ("proof page", month, folder.present(), request.url.query, seen_by(request))
    return html(folder.kept(key, lambda: _proof_text(folder, request, month)))


def _proof_text(folder: PlantFolder, request: Request, month: str) -> str:
    proof = proof_at(folder, month)
    plant, now = folder.plant(), folder.present()
    current = f"{now.astimezone(plant.zone):%Y-%m}"
    with folder.reading() as store:
        months = months_on_record(store, plant, now)
    return page_text(request, "proof.html", {
        "frame": proof_frame(folder, f"Proof, {proofs.month_name(month)}"), "proof": proof, "month": month,
        "name": proofs.month_name(month), "answer": proofs.answer(proof), "rows": rows(proof),
        "statuses": proofs.counts(proof), "away": [o for o in proof.result.outcomes if o.status == "does not apply"],
        "days": squares(proof, now), "blanks": range(date.fromisoformat(f"{month}-01").weekday()),
        "headroom": headroom(proof), "clocks": clocks(proof, now), "contact": contact(proof),
        "checks": latest_checks(proof), "outages": proof.outages, "calendar": calendar(proof),
        "samples": proof.samples, "open_words": proofs.OPEN_WORDS, "months": months, "before": before(month),
        "after": before(month, -1) if month < current else "", "organisms": ORGANISMS, "clock": clock_of(plant),
        "telephone": plant.telephone,
    })  # fmt: skip


def proof_twin(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the figures of the month's report: the same as the page and the paper are made of."""
    from weirhouse.reports.monthly import MonthlyReport

    try:
        month = month_of(folder, request)
    except MonthError as error:
        return as_json({"error": str(error)}, 404)
    return as_json(MonthlyReport(proof_at(folder, month)).figures)


# --- what the page is made of -------------------------------------------------------------------------------------


def clock_of(plant: Plant) -> Any:
    """Return what writes an instant on the plant's clock, short: ``14 Sep 07:45``."""

    def text(moment: datetime | None) -> str:
        if moment is None:
            return ""
        here = moment.astimezone(plant.zone)
        return f"{here.day} {here:%b %H:%M}"

    return text


def rows(proof: MonthProof) -> list[Row]:
    """Return the requirements that apply, the worst first."""
    return [_row(proof, outcome) for outcome in worst_first(proof.result.outcomes)]


def _row(proof: MonthProof, outcome: Outcome) -> Row:
    asked = outcome.requirement
    subject = proofs.title_of(proof.plant, outcome.subject) if outcome.subject else ""
    query = urlencode({"subject": outcome.subject, "period": outcome.period.name})
    return Row(
        outcome=outcome, title=f"{asked.title}, {subject}" if subject else asked.title,
        limit=proofs.limit_text(asked, outcome.limit), counts=_counts(outcome), mark=mark(outcome),
        link=f"/proof/{proof.month}/rule/{quote(asked.id, safe='')}?{query}",
    )  # fmt: skip


def _counts(outcome: Outcome) -> str:
    tallies = [t for t in (outcome.tally, *outcome.also) if t is not None]
    if not tallies:
        return ""
    counted = sum(int((t.reasons == 0).sum()) for t in tallies)
    over = sum(int((t.over & (t.reasons == 0)).sum()) for t in tallies)
    left = sum(len(t) for t in tallies) - counted
    said = [f"{counted:,} counted"]
    if over:
        said.append(f"{over:,} beyond the limit")
    if left:
        said.append(f"{left:,} not counted")
    return ", ".join(said)


def mark(outcome: Outcome) -> str:
    """Return how far a rule's text can be relied on, in a few words; empty once a person confirmed it."""
    asked = outcome.requirement
    if asked.confirmed is not None:
        return ""
    return {"source": "read in a source", "memory": "from memory", "mixed": "partly from memory"}[asked.provenance]


def squares(proof: MonthProof, now: datetime) -> list[DaySquare]:
    """Return the days of the month."""
    found = []
    for day in proof.result.days:
        kind, words = _day_kind(day, proof, now)
        if day.hours != 24:
            words += f", a day of {day.hours:g} hours"
        closed = day.date in proof.closed_days
        found.append(DaySquare(day.date, kind, words, closed, f"/proof/{proof.month}/day/{day.date.day}"))
    return found


def _day_kind(day: DayResult, proof: MonthProof, now: datetime) -> tuple[str, str]:
    if day.a > min(now, proof.records.at):
        return "to come", "still to come"
    statuses = set(day.statuses.values())
    if "broken" in statuses:
        return "broken", "a limit is broken"
    missing = [p for p in day.periods if p.state in ("missing", "not certain")]
    if missing:
        return "cannot tell", f"{len(missing)} of 6 four-hour values missing or not certain"
    if "cannot tell" in statuses:
        return "cannot tell", "something cannot be told"
    if all(p.state == "standing" for p in day.periods) and day.periods:
        return "not due", "the plant stood"
    return "met", "what that day alone gives is met"


def headroom(proof: MonthProof) -> list[Headroom]:
    """Return how near the limits are, the nearest first."""
    return sorted(proof.result.headroom, key=lambda one: not one.near)


def clocks(proof: MonthProof, now: datetime) -> list[Clock]:
    """Return the notices, open ones first, each with its clock."""
    found = [_clock(proof, notice, now) for notice in proof.result.notices]
    return sorted(found, key=lambda c: (c.notice.closed_at is not None, not c.past))


def _clock(proof: MonthProof, notice: NoticeNeeded, now: datetime) -> Clock:
    text = clock_of(proof.plant)
    left, past = "", False
    if notice.due is not None and notice.closed_at is None:
        past = notice.due < now
        seconds = abs(elapsed_s(now, notice.due))
        left = f"{age_text(seconds)} {'past' if past else 'left'}"
    subject = proofs.title_of(proof.plant, notice.subject) if notice.subject else ""
    title = f"{notice.requirement.title}, {subject}" if subject else notice.requirement.title
    return Clock(
        notice=notice, title=title, due=text(notice.due), left=left, past=past,
        link=f"/proof/{proof.month}/notice?{urlencode({'id': notice.id})}",
        done=sum(step.done_at is not None for step in notice.steps), steps=len(notice.steps),
    )  # fmt: skip


def contact(proof: MonthProof) -> tuple[DayResult, DayContact] | None:
    """Return the newest day whose contact time was judged; None where there is none."""
    told = [(day, day.contact) for day in proof.result.days if day.contact is not None and day.contact.segments]
    return told[-1] if told else None


def latest_checks(proof: MonthProof) -> list[Any]:
    """Return the newest check of each instrument that was checked up to now."""
    newest: dict[str, Any] = {}
    for event in proof.records.kind("instrument_check"):
        newest[event.subject] = event
    found = []
    for channel, event in newest.items():
        said = event.values
        found.append({
            "title": proofs.title_of(proof.plant, channel), "at": event.started_at, "person": event.person,
            "standard": f"{said.get('standard', '')} "
            f"{proofs.reading_text(proof.plant, channel, said.get('standard_value'))}".strip(),
            "found": proofs.reading_text(proof.plant, channel, said.get("found")),
            "left": proofs.reading_text(proof.plant, channel, said.get("left")), "result": said.get("result", ""),
            "age": age_text(max(0.0, elapsed_s(event.started_at, proof.records.at))),
        })  # fmt: skip
    return sorted(found, key=lambda one: one["title"])


def calendar(proof: MonthProof) -> list[CalendarItem]:
    """Return the samples to take, what is overdue first."""
    rank = {"overdue": 0, "due": 1, "later": 2, "done": 3}
    return sorted(proof.result.calendar, key=lambda item: (rank[item.state], item.due))


# --- workings -----------------------------------------------------------------------------------------------------


def rule_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the working of one requirement: its text, what came of it, every reading counted and not counted."""
    try:
        month = month_of(folder, request)
    except MonthError:
        return None
    proof = proof_at(folder, month)
    wanted = request.path_params["id"], request.query_params.get("subject"), request.query_params.get("period")
    outcome = next(
        (
            o for o in proof.result.outcomes
            if o.requirement.id == wanted[0] and wanted[1] in (None, o.subject) and wanted[2] in (None, o.period.name)
        ),
        None,
    )  # fmt: skip
    if outcome is None:
        return None
    plant = folder.plant()
    sheet = outcome.sheet
    counted, aside = outcome.counted, outcome.not_counted
    over = [c for c in counted if c.over]
    return page(request, "proof_rule.html", {
        "frame": proof_frame(folder, f"Working: {outcome.requirement.title}"), "row": _row(proof, outcome),
        "asked": outcome.requirement, "month": month, "name": proofs.month_name(month),
        "sheet": Markup(sheet.html(plant.unit_set)) if sheet is not None else None,  # noqa: S704 - escaped there
        "over": over, "counted": [c for c in counted if not c.over][:MOST_READINGS], "all_counted": len(counted),
        "aside": grouped(aside, proof.records.at), "most": MOST_READINGS, "clock": clock_of(plant), "reading": _reading,
        "titles": lambda channel: proofs.title_of(plant, channel),
    })  # fmt: skip


@dataclass(frozen=True, slots=True)
class Group:
    """Readings that do not count for one reason."""

    source: str
    reason: str
    readings: tuple[Counted, ...]


def grouped(readings: Iterable[Counted], until: datetime) -> list[Group]:
    """Return the readings that do not count by channel and reason, in the order of the first of each."""
    found: dict[tuple[str, str], list[Counted]] = {}
    for one in readings:
        reason = one.reason.split(": ", 1)[1] if ": " in one.reason else one.reason
        found.setdefault((one.source, reason), []).append(one)
    return [Group(source, reason, tuple(some)) for (source, reason), some in found.items()]


def _reading(one: Counted) -> str:
    return "nothing recorded" if one.value is None else show(one.value, one.unit)


def day_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with one regulatory day: its four-hour values, extremes, contact time, and whether it is closed."""
    try:
        month = month_of(folder, request)
        number = int(request.path_params["day"])
    except (MonthError, ValueError):
        return None
    proof = proof_at(folder, month)
    day = next((d for d in proof.result.days if d.date.day == number), None)
    if day is None:
        return None
    plant, table = folder.plant(), proof.table
    row = next(r for r in table.days if r.date == day.date)
    told = day.contact
    sheet = told.sheet if told is not None else None
    names = {o.requirement.id: o.requirement.title for o in proof.result.outcomes}
    return page(request, "proof_day.html", {
        "frame": proof_frame(folder, f"Proof, {day.date:%A} {day.date.day} {day.date:%B %Y}"), "day": day,
        "month": month, "name": proofs.month_name(month), "row": row, "table": table,
        "groups": [(title, table.group(id)) for id, title in _groups().items() if table.group(id)],
        "contact": told, "organisms": ORGANISMS, "clock": clock_of(plant), "names": names,
        "sheet": Markup(sheet.html(plant.unit_set)) if sheet is not None else None,  # noqa: S704 - escaped there
        "closed": day.date in proof.closed_days, "over": day.b <= folder.present(),
        "last": day.date - timedelta(days=1), "unit": _unit,
    })  # fmt: skip


def _groups() -> Mapping[str, str]:
    from weirhouse.desk.month_table import GROUPS

    return GROUPS


def _unit(unit: str) -> str:
    from weirhouse.quantity import label

    return label(unit)


def table_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the month's daily table, every figure of the month with its working."""
    try:
        month = month_of(folder, request)
    except MonthError:
        return None
    proof = proof_at(folder, month)
    return page(request, "proof_table.html", {
        "frame": proof_frame(folder, f"Daily table, {proofs.month_name(month)}"), "month": month,
        "name": proofs.month_name(month), "table": proof.table, "unit": _unit,
        "groups": [(title, proof.table.group(id)) for id, title in _groups().items() if proof.table.group(id)],
    })  # fmt: skip


def total_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the working of one of the month's figures."""
    try:
        month = month_of(folder, request)
    except MonthError:
        return None
    proof, id = proof_at(folder, month), request.path_params["column"]
    sheet = proof.table.workings.get(id)
    if sheet is None:
        return None
    column = proof.table.column(id)
    return page(request, "proof_total.html", {
        "frame": proof_frame(folder, f"Working: {column.title}"), "column": column, "month": month,
        "name": proofs.month_name(month), "cell": proof.table.month[id], "unit": _unit,
        "sheet": Markup(sheet.html(proof.plant.unit_set)),  # noqa: S704 - escaped there
        "days": [(row.date, row.cells[id]) for row in proof.table.days],
    })  # fmt: skip

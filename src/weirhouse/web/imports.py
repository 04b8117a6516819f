"""Bringing files in: sent or picked from the inbox, looked at as they would be stored, stored, and withdrawn whole."""

import json
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from weirhouse.plant.model import Plant
from weirhouse.quantity import written
from weirhouse.records.importing import FileProblem, ImportResult, import_file, kept
from weirhouse.records.importing import mapping as mappings
from weirhouse.records.model import ClosedError, Import, RecordsError
from weirhouse.web.entering import remembered, stored_person
from weirhouse.web.forms import Form, SentFile
from weirhouse.web.frame import Frame
from weirhouse.web.jobs import Job, Jobs
from weirhouse.web.refusal import refusal_page
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder

MOST_COLUMNS = 60
CLOCKS = (
    ("", "find out from the file"),
    ("standard", "standard time all year"),
    ("wall", "the wall clock, set in spring and autumn"),
    ("utc", "UTC"),
)
ORDERS = (("", "ask when it cannot be told"), ("dmy", "day first"), ("mdy", "month first"), ("ymd", "year first"))
DECIMALS = (("", "find out from the file"), (".", "a point"), (",", "a comma"))
_JOBS = Jobs()


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """An import in the list."""

    id: str
    name: str
    when: str
    person: str
    counts: str
    span: str
    digest: str
    kept: bool
    withdrawn: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A column of the file as it would be stored."""

    heading: str
    unit: str
    channel: str
    title: str
    count: int
    span: str
    least: str
    greatest: str
    first: Sequence[str]
    marked: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the form says about a file, and what is wrong with it."""

    texts: Mapping[str, str] = field(default_factory=dict)
    problem: str = ""
    late: bool = False  # a reason is asked for


def _frame(plant: Plant, now: datetime, title: str) -> Frame:
    return Frame(
        plant=plant.name, system_id=plant.system_id, place="log", title=title, at=now, zone=plant.zone, demo=plant.demo
    )


# --- the list ----------------------------------------------------------------------------------------------------


def list_page(folder: PlantFolder, request: Request) -> Response:
    """Answer with the imports so far, what lies in the inbox, and the form that sends a file."""
    return _list_page(folder, request, "")


def _list_page(folder: PlantFolder, request: Request, problem: str, status: int = 200) -> Response:
    plant, now = folder.plant(), folder.present()
    with folder.reading() as store:
        found = [_listed(one, folder, plant) for one in reversed(store.imports())]
    done = next((one for one in found if one.id == request.query_params.get("done")), None)
    same = request.query_params.get("same", "")
    return page(request, "imports.html", {
        "frame": _frame(plant, now, "Bring files in"), "imports": found, "problem": problem, "done": done, "same": same,
        "inbox": [(name, _size(size), quote(name)) for name, size in kept.waiting(folder.folder)],
        "most": kept.MOST_UPLOAD >> 20, "person": remembered(request),
    }, status)  # fmt: skip


def _size(count: int) -> str:
    return f"{count / 2**20:.1f} MB" if count >= 2**20 else f"{max(1, round(count / 1024))} kB"


def _listed(one: Import, folder: PlantFolder, plant: Plant) -> Listed:
    counts = ((one.values + one.readings, "value"), (one.samples, "sample"), (one.results, "result"))
    said = ", ".join(f"{n:,} {word}{'' if n == 1 else 's'}" for n, word in counts if n) or "nothing"
    span = ""
    if one.first and one.last:
        first, last = (at.astimezone(plant.zone) for at in (one.first, one.last))
        span = f"{first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}" if first != last else f"{first:%Y-%m-%d %H:%M}"
    gone = one.withdrawn
    return Listed(
        id=one.id, name=one.name, when=f"{one.entered_at.astimezone(plant.zone):%Y-%m-%d %H:%M}", person=one.person,
        counts=said, span=span, digest=one.digest, kept=one.kept > 0,
        withdrawn=f"withdrawn {gone.entered_at.astimezone(plant.zone):%Y-%m-%d %H:%M} by {gone.person}: {gone.reason}"
        if gone else "",
    )  # fmt: skip


def send(folder: PlantFolder, request: Request, form: Form, files: Mapping[str, SentFile]) -> Response:
    """Keep the file that was sent, and go on to look at it."""
    sent = files.get("file")
    try:
        if sent is None:
            raise FileProblem("No file was chosen. Choose one, then send it.")
        return _look_at(kept.keep(folder.folder, sent.name, sent.data))
    except FileProblem as problem:
        return _list_page(folder, request, str(problem), 422)


def pick(folder: PlantFolder, request: Request, form: Form) -> Response:
    """Take a file of the inbox, and go on to look at it."""
    try:
        return _look_at(kept.take(folder.folder, form.get("name", "")))
    except FileProblem as problem:
        return _list_page(folder, request, str(problem), 422)


def _look_at(one: kept.Kept) -> Response:
    return RedirectResponse(f"/imports/file/{one.digest}", 303)


def withdraw(folder: PlantFolder, request: Request, form: Form) -> Response:
    """Withdraw an import whole, with a reason."""
    person, reason = form.get("person", ""), form.get("reason", "")
    try:
        with folder.writing() as store:
            store.withdraw_import(
                request.path_params["id"], person=person.strip(), reason=reason.strip(), entered_at=folder.present()
            )
    except RecordsError as error:
        return _list_page(folder, request, str(error), 422)
    return stored_person(RedirectResponse("/imports", 303), person)


def original(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the file of an import, byte for byte."""
    id = request.path_params["id"]
    with folder.reading() as store:
        found = next((one for one in store.imports() if one.id == id and one.kept), None)
        if found is None:
            return None
        data = store.original(id)
    name = kept.safe_name(found.name).encode("ascii", "replace").decode().replace("?", "_")
    return Response(
        data, media_type="application/octet-stream", headers={"content-disposition": f'attachment; filename="{name}"'}
    )


# --- one file ----------------------------------------------------------------------------------------------------


def file_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with what would be stored of a file, by the same code on the same bytes."""
    found = _find(folder, request)
    if found is None:
        return None
    table = kept.remembered(folder.folder)
    asked = request.query_params.get("mapping", "")
    likely = next((name for name, one in table.items() if name == kept.kin(found.name)), "")
    chosen = asked if asked in table else "" if "mapping" in request.query_params else likely
    texts = {"mapping": chosen, **_texts_of(table.get(chosen, {}))}
    return _file_page(folder, request, found, Asked(texts=texts))


def look(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Show what would be stored with what was said about the file, or store it."""
    found = _find(folder, request)
    if found is None:
        return None
    texts = dict(form)
    if form.get("do") != "import":
        return _file_page(folder, request, found, Asked(texts=texts))
    person, now = form.get("person", ""), folder.present()
    if not person.strip():
        return _file_page(
            folder, request, found, Asked(texts=texts, problem="Nobody is named. Write who brings the file in."), 422
        )
    table = _table_of(texts)
    plant = folder.plant()

    def work(job: Job) -> ImportResult:
        said = mappings.of_table(table)
        with folder.writing() as store:
            result = import_file(
                store, plant, found.path, said, dry_run=False, person=person.strip(), entered_at=now, tick=job.tick,
                reason=form.get("late", "").strip(),
            )  # fmt: skip
        kept.done(folder.folder, found.digest)
        if table:
            kept.remember(folder.folder, form.get("remember", "").strip() or kept.kin(found.name) or "mapping", table)
        return result

    job = _JOBS.run((folder.folder, found.digest, "import", form.get("id", ""), form.get("late", "")), work)
    if not job.done.is_set():
        return stored_person(RedirectResponse(f"/imports/job/{job.id}?file={found.digest}", 303), person)
    if job.fault is not None:
        return _failed(folder, request, found, texts, job.fault)
    return stored_person(_stored(job.found), person)


def _failed(
    folder: PlantFolder, request: Request, found: kept.Kept, texts: Mapping[str, str], fault: Exception
) -> Response:
    if not isinstance(fault, FileProblem | RecordsError):
        raise fault
    asked = Asked(texts=texts, problem=str(fault), late=isinstance(fault, ClosedError))
    return _file_page(folder, request, found, asked, 422)


def _stored(result: ImportResult) -> Response:
    if result.import_id is None:
        return RedirectResponse(f"/imports?same={result.already_there}", 303)
    return RedirectResponse(f"/imports?done={result.import_id}", 303)


def job_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with how far an import is; when it is done, go on to what came of it."""
    job = _JOBS.find(request.path_params["id"])
    if job is None:
        return None
    if not job.done.is_set():
        return _progress(folder, request, job, "Bringing it in")
    digest = request.query_params.get("file", "")
    found = kept.find(folder.folder, digest)
    if job.fault is not None:
        if found is None:
            return refusal_page(folder, request, 422, str(job.fault))
        return _failed(folder, request, found, {}, job.fault)
    return _stored(job.found)


def _progress(folder: PlantFolder, request: Request, job: Job, doing: str) -> Response:
    plant, now = folder.plant(), folder.present()
    answer = page(
        request, "working_on.html",
        {"frame": _frame(plant, now, doing), "doing": doing, "share": round(100 * job.share)},
    )  # fmt: skip
    answer.headers["refresh"] = "1"
    return answer


def _find(folder: PlantFolder, request: Request) -> kept.Kept | None:
    return kept.find(folder.folder, request.path_params["digest"])


def _file_page(
    folder: PlantFolder, request: Request, found: kept.Kept, asked: Asked, status: int = 200
) -> Response:  # fmt: skip
    plant, now = folder.plant(), folder.present()
    result, problem = None, asked.problem
    try:
        table = _table_of(asked.texts)
        key = (folder.folder, found.digest, "look", json.dumps(table, sort_keys=True), folder.kept("stamp", object))

        def work(job: Job) -> ImportResult:
            said = mappings.of_table(table)
            with folder.reading() as store:
                return import_file(
                    store, plant, found.path, said, dry_run=True, person="looking", entered_at=now, tick=job.tick
                )

        job = _JOBS.run(key, work)
        if not job.done.is_set() and request.method == "GET":
            return _progress(folder, request, job, f"Reading {found.name}")
        job.done.wait()
        if job.fault is not None:
            raise job.fault
        result = job.found
    except FileProblem as fault:
        problem = problem or _for_page(str(fault))
    rest = list(result.unmapped) if result is not None else []
    return page(request, "import_file.html", {
        "frame": _frame(plant, now, f"Look at {found.name}"), "file": found, "size": _size(found.size),
        "result": result, "problem": problem, "status": status,
        "taken": [_taken(one) for one in result.columns] if result is not None else [], "rest": rest,
        "span": _span(result, plant) if result is not None else "", "texts": asked.texts, "form_id": str(uuid.uuid4()),
        "person": asked.texts.get("person") or remembered(request), "late": asked.late,
        "clocks": CLOCKS, "orders": ORDERS, "decimals": DECIMALS, "channels": [(c.id, c.name) for c in
        plant.channels.values()], "mappings": sorted(kept.remembered(folder.folder)), "kin": kept.kin(found.name),
        "rules": _rules(asked.texts, result),
    }, status)  # fmt: skip


def _for_page(sentence: str) -> str:
    """Return a question of the file as the page asks it: what is to be said in a mapping is chosen there."""
    return sentence.replace(" in a mapping.", ": choose it below.").replace(" in the mapping", " below")


def _span(result: ImportResult, plant: Plant) -> str:
    if result.first is None or result.last is None:
        return ""
    first, last = (at.astimezone(plant.zone) for at in (result.first, result.last))
    words = [f"{at:%A} {at.day} {at:%B %Y, %H:%M %Z}" for at in (first, last)]
    return f"from {words[0]} to {words[1]}" if first != last else f"on {words[0]}"


def _taken(one: Any) -> Taken:
    def shown(value: float) -> str:
        return written(value, one.inside, one.unit, 6)

    first, last = (f"{at:%Y-%m-%d %H:%M %Z}" for at in (one.first, one.last))
    return Taken(
        heading=one.heading, unit=one.stated_unit, channel=one.channel, title=one.title, count=one.count,
        span=f"{first} to {last}" if first != last else first,
        least="" if one.least != one.least else shown(one.least),
        greatest="" if one.greatest != one.greatest else shown(one.greatest),
        first=[
            f"{at:%Y-%m-%d %H:%M} {'ND' if value != value else f'{mark}{shown(value)}'}"
            for at, value, mark in one.sample
        ],
        marked=", ".join(f"{n} {what}" for what, n in one.marked.items()),
    )  # fmt: skip


# --- what the form says ------------------------------------------------------------------------------------------


def _rules(texts: Mapping[str, str], result: ImportResult | None) -> list[tuple[str, str, str]]:
    """Return the rows of the form: heading, channel, unit; those of the file, then what was written, then one free."""
    said = {heading: (channel, unit) for heading, channel, unit in _written_rules(texts)}
    rows: dict[str, tuple[str, str]] = {}
    if result is not None:
        rows = {one.heading: (one.channel, "") for one in result.columns}
        rows |= {heading: ("", "") for heading, _ in result.unmapped[:MOST_COLUMNS]}
    rows |= said
    return [*((heading, *rule) for heading, rule in rows.items()), ("", "", "")]


def _written_rules(texts: Mapping[str, str]) -> list[tuple[str, str, str]]:
    found = []
    for number in range(MOST_COLUMNS):
        heading = texts.get(f"heading.{number}", "").strip()
        if heading:
            found.append((heading, texts.get(f"channel.{number}", ""), texts.get(f"unit.{number}", "").strip()))
    return found


def _table_of(texts: Mapping[str, str]) -> dict[str, Any]:
    """Return the mapping that the form says; empty where it leaves everything to be found."""
    table: dict[str, Any] = {}
    if texts.get("clock"):
        table["clock"] = texts["clock"]
    if texts.get("order"):
        table["date_order"] = texts["order"]
    if texts.get("decimal"):
        table["decimal"] = texts["decimal"]
    if texts.get("by_hand") == "yes":
        rules = [(heading, channel, unit) for heading, channel, unit in _written_rules(texts) if channel]
        if rules:
            table["columns"] = {
                heading: {"channel": channel, "unit": unit} if unit else channel for heading, channel, unit in rules
            }
    base = json.loads(texts["base"]) if texts.get("base") else {}
    if not isinstance(base, dict):
        base = {}
    return {**{k: v for k, v in base.items() if k not in ("clock", "date_order", "decimal", "columns")}, **table}


def _texts_of(table: Mapping[str, Any]) -> dict[str, str]:
    """Return the fields of the form for a mapping; what has no field of its own is carried along."""
    texts = dict.fromkeys(("clock", "order", "decimal", "by_hand", "base", "remember", "late"), "")
    if not table:
        return texts
    order = table.get("date_order", "")
    if "day_first" in table:
        order = "dmy" if table["day_first"] else "mdy"
    texts |= {"clock": table.get("clock", ""), "order": order, "decimal": table.get("decimal", "")}
    for number, (heading, rule) in enumerate(list(table.get("columns", {}).items())[:MOST_COLUMNS]):
        texts["by_hand"] = "yes"
        plain = isinstance(rule, str)
        texts[f"heading.{number}"] = heading
        texts[f"channel.{number}"] = rule if plain else rule["channel"]
        texts[f"unit.{number}"] = "" if plain else rule.get("unit", "")
    own = {k: v for k, v in table.items() if k not in ("clock", "date_order", "day_first", "decimal", "columns")}
    return texts | {"base": json.dumps(own) if own else ""}

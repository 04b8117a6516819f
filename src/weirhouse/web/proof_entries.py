"""The forms of Proof: what is still open, an explanation, the closing of a month, a rule confirmed."""

import uuid
from importlib.metadata import version
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from weirhouse.desk import closing
from weirhouse.desk import proof as proofs
from weirhouse.desk.closing import ProofEntryError
from weirhouse.desk.judging import judged, rule_book
from weirhouse.records.model import RecordsError
from weirhouse.reports.monthly import KINDS, MonthlyReport, file_name
from weirhouse.reports.paper import PAPERS, Paper
from weirhouse.situation.month_records import MonthError
from weirhouse.web.entering import YEAR_S, entry_id, remembered
from weirhouse.web.forms import Form
from weirhouse.web.proof import clock_of, month_of, proof_at, proof_frame
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder

TYPES = {"pdf": "application/pdf", "json": "application/json", "csv": "text/csv; charset=utf-8"}


def report_file(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the month's report as a file: PDF (letter or A4), JSON or CSV."""
    kind = request.path_params["kind"]
    try:
        month = month_of(folder, request)
    except MonthError:
        return None
    asked = request.query_params.get("paper", "letter")
    if kind not in KINDS or asked not in PAPERS:
        return None
    paper: Paper = "a4" if asked == "a4" else "letter"
    proof = proof_at(folder, month, settled=True)
    made = folder.kept(
        ("report", month, kind, paper, folder.present()), lambda: MonthlyReport(proof).written(kind, paper)
    )
    name = file_name(month, kind, folder.plant().system_id)
    return Response(made, media_type=TYPES[kind], headers={"content-disposition": f'attachment; filename="{name}"'})


# --- what is open, and closing --------------------------------------------------------------------------------------


def open_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with what keeps the month from being closed, and the form that closes it."""
    return _open(folder, request, {}, status=200)


def _open(
    folder: PlantFolder, request: Request, typed: dict[str, str], *, problem: str = "", field: str = "",
    status: int = 422,
) -> Response | None:  # fmt: skip
    try:
        month = month_of(folder, request)
    except MonthError:
        return None
    proof = proof_at(folder, month)
    kinds: dict[str, list[proofs.Open]] = {}
    for one in proof.open:
        kinds.setdefault(one.kind, []).append(one)
    explained = [e for e in proof.records.kind("explained") if e.subject in _marks(proof)]
    texts = {"id": str(uuid.uuid4()), "person": remembered(request), "note": "", "text": "", "subject": "", **typed}
    return page(request, "proof_open.html", {
        "frame": proof_frame(folder, f"Open in {proofs.month_name(month)}"), "proof": proof, "month": month,
        "name": proofs.month_name(month), "kinds": kinds, "words": proofs.OPEN_WORDS, "texts": texts,
        "problem": problem, "field": field, "clock": clock_of(folder.plant()), "explained": explained,
        "new_id": lambda: str(uuid.uuid4()),
    }, status)  # fmt: skip


def _marks(proof: proofs.MonthProof) -> set[str]:
    marks = {one.id for one in proof.exceedances} | {one.id for one in proof.rejected}
    marks |= {one.reading.source for one in proof.rejected}
    outcomes = {o.requirement.id for o in proof.result.outcomes}
    others = {
        e.subject for e in proof.records.kind("explained")
        if (e.subject.startswith("gap:") and proof.month in e.subject)
        or (e.subject.endswith(f":{proof.month}") and e.subject.split(":")[0] in outcomes)
    }  # fmt: skip
    return marks | others


def explain(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Store an explanation, or show the page again with what is wrong and all that was typed."""
    typed = {name: form.get(name, "") for name in ("id", "person", "text", "subject")}
    try:
        with folder.writing() as store:
            closing.explain(
                store, folder.plant(), typed["subject"], typed["text"], person=typed["person"], now=folder.present(),
                id=entry_id(typed),
            )  # fmt: skip
    except (ProofEntryError, RecordsError) as error:
        return _open(folder, request, typed, problem=str(error), field=getattr(error, "field", "") or "text")
    return _back(f"/proof/{request.path_params['month']}/open", typed["person"])


def close_month(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Close the month with the digest of its report, or say what keeps it open."""
    typed = {name: form.get(name, "") for name in ("id", "person", "note")}
    try:
        month = month_of(folder, request)
    except MonthError:
        return None
    plant, now = folder.plant(), folder.present()
    try:
        planned = closing.planned(plant, month, person=typed["person"], at=now, note=typed["note"], id=entry_id(typed))
        with folder.writing() as store:
            if any(event.id == planned.id for event in store.events("closed", subject=month)):
                return _back(f"/proof/{month}#report", typed["person"])  # the same form, sent twice
            proof = judged(store, plant, folder.folder, month, now, planned=planned)
            report = MonthlyReport(proof)
            closing.close_month(store, proof, digest=report.digest, version=version("weirhouse"), now=now)
    except (ProofEntryError, RecordsError) as error:
        return _open(folder, request, typed, problem=str(error), field=getattr(error, "field", "") or "note")
    return _back(f"/proof/{month}#report", typed["person"])


# --- rules confirmed ------------------------------------------------------------------------------------------------


def rules_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with every rule in force: its text, where it comes from, and the form that confirms it."""
    return _rules(folder, request, {}, status=200)


def _rules(
    folder: PlantFolder, request: Request, typed: dict[str, str], *, problem: str = "", field: str = "",
    status: int = 422,
) -> Response:  # fmt: skip
    with folder.reading() as store:
        book = rule_book(store, folder.folder, folder.present())
    key = typed.get("key") or request.query_params.get("key", "")
    texts = {"id": str(uuid.uuid4()), "person": remembered(request), "edition": "", "key": key, **typed}
    chosen = next((r for r in book.requirements if r.key == key), None)
    rank = {"memory": 0, "mixed": 1, "source": 2}
    asked = sorted(book.requirements, key=lambda r: (r.confirmed is not None, rank[r.provenance]))
    month = f"{folder.present().astimezone(folder.plant().zone):%Y-%m}"
    outcomes = proof_at(folder, month).result.outcomes
    applying = {o.requirement.key for o in outcomes if o.status != "does not apply"}
    return page(request, "proof_rules.html", {
        "frame": proof_frame(folder, "Rules and where each comes from"), "asked": asked, "chosen": chosen,
        "judged": [r for r in asked if r.key in applying], "others": [r for r in asked if r.key not in applying],
        "titles": book.titles, "texts": texts, "problem": problem, "field": field, "quote": lambda k: quote(k, safe=""),
        "unconfirmed": sum(r.confirmed is None for r in book.requirements),
    }, status)  # fmt: skip


def confirm(folder: PlantFolder, request: Request, form: Form) -> Response:
    """Store that a person compared a rule with the printed one, or show the form again."""
    typed = {name: form.get(name, "") for name in ("id", "person", "edition", "key", "note")}
    try:
        with folder.writing() as store:
            book = rule_book(store, folder.folder, folder.present())
            if all(r.key != typed["key"] for r in book.requirements):
                raise ProofEntryError("No such rule is in force here. Choose one from the list.", "key")
            closing.confirm_rule(
                store, typed["key"], typed["edition"], person=typed["person"], now=folder.present(), note=typed["note"],
                id=entry_id(typed),
            )  # fmt: skip
    except (ProofEntryError, RecordsError) as error:
        return _rules(folder, request, typed, problem=str(error), field=getattr(error, "field", "") or "edition")
    return _back("/proof/rules", typed["person"])


def _back(path: str, person: str) -> Response:
    answer = RedirectResponse(path, 303)
    answer.set_cookie("person", quote(person.strip()[:80]), max_age=YEAR_S, httponly=True, samesite="strict")
    return answer

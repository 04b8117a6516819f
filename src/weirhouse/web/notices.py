"""A notice: what happened, its clock, the steps in order, the draft, whom to call; and its closing."""

import uuid
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from weirhouse.desk import closing
from weirhouse.desk import proof as proofs
from weirhouse.desk.closing import ProofEntryError
from weirhouse.records.model import RecordsError
from weirhouse.rules.model import NoticeNeeded
from weirhouse.situation.clock import TimeError, for_field, typed_time
from weirhouse.situation.month_records import MonthError
from weirhouse.web.entering import entry_id, remembered
from weirhouse.web.forms import Form
from weirhouse.web.proof import clock_of, clocks, month_of, proof_at, proof_frame
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder


def notice_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with one notice."""
    return _page(folder, request, request.query_params.get("id", ""), {}, status=200)


def _find(folder: PlantFolder, month: str, id: str) -> NoticeNeeded | None:
    return next((n for n in proof_at(folder, month).result.notices if n.id == id), None)


def _page(
    folder: PlantFolder, request: Request, id: str, typed: dict[str, str], *, problem: str = "", field: str = "",
    status: int = 422,
) -> Response | None:  # fmt: skip
    try:
        month = month_of(folder, request)
    except MonthError:
        return None
    plant, now = folder.plant(), folder.present()
    proof = proof_at(folder, month)
    clock = next((c for c in clocks(proof, now) if c.notice.id == id), None)
    if clock is None:
        return None
    texts = {
        "person": remembered(request), "time": for_field(now, plant.zone), "note": "", "step": "", "closing": "",
        **typed,
    }  # fmt: skip
    return page(request, "proof_notice.html", {
        "frame": proof_frame(folder, f"Notice: {clock.title}"), "clock": clock, "notice": clock.notice, "month": month,
        "name": proofs.month_name(month), "when": clock_of(plant), "texts": texts, "problem": problem, "field": field,
        "telephone": plant.telephone, "now": now, "new_id": lambda: str(uuid.uuid4()),
    }, status)  # fmt: skip


def step(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Store that a step was done, or show the notice again with what is wrong."""
    typed = {name: form.get(name, "") for name in ("id", "notice", "person", "time", "note", "step")}
    plant, now = folder.plant(), folder.present()
    try:
        month = month_of(folder, request)
        found = _find(folder, month, typed["notice"])
        if found is None:
            return None
        if all(one.id != typed["step"] for one in found.steps):
            raise ProofEntryError("The notice has no such step. Choose one of those listed.", "step")
        at = typed_time(typed["time"], plant.zone, now)
        with folder.writing() as store:
            closing.record_step(
                store, found.id, typed["step"], person=typed["person"], at=at, now=now, note=typed["note"],
                id=entry_id(typed),
            )  # fmt: skip
    except MonthError:
        return None
    except (ProofEntryError, RecordsError, TimeError) as error:
        field = "time" if isinstance(error, TimeError) else getattr(error, "field", "")
        return _page(folder, request, typed["notice"], typed, problem=str(error), field=field)
    return _back(month, found.id)


def close(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Close a notice with what was decided, or show it again with what is wrong."""
    typed = {name: form.get(name, "") for name in ("id", "notice", "person", "closing")}
    try:
        month = month_of(folder, request)
        found = _find(folder, month, typed["notice"])
        if found is None:
            return None
        with folder.writing() as store:
            closing.close_notice(
                store, found.id, person=typed["person"], now=folder.present(), note=typed["closing"], id=entry_id(typed)
            )
    except MonthError:
        return None
    except (ProofEntryError, RecordsError) as error:
        return _page(folder, request, typed["notice"], typed, problem=str(error), field="closing")
    return _back(month, found.id)


def _back(month: str, id: str) -> Response:
    return RedirectResponse(f"/proof/{month}/notice?{urlencode({'id': id})}", 303)

"""The form that says when the plant is to run for the rest of the month: what the limits are counted against."""

import uuid

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from weirhouse.desk import planned_hours as desk
from weirhouse.desk import proof as proofs
from weirhouse.records.model import RecordsError
from weirhouse.situation.month_records import MonthError
from weirhouse.web.entering import entry_id, remembered
from weirhouse.web.forms import Form
from weirhouse.web.proof import month_of, proof_frame
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder

FIELDS = ("id", "person", "starts", "hours")


def plan_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the form, filled with the plan in force."""
    return _form(folder, request, {}, status=200)


def save_plan(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Store the plan, or show the form again with what is wrong and all that was typed."""
    typed = {name: form.get(name, "") for name in FIELDS}
    try:
        month = month_of(folder, request)
        with folder.writing() as store:
            desk.plan_hours(
                store, folder.plant(), month, starts=typed["starts"], hours=typed["hours"], person=typed["person"],
                now=folder.present(), id=entry_id(typed),
            )  # fmt: skip
    except MonthError:
        return None
    except (desk.PlanError, RecordsError) as error:
        return _form(folder, request, typed, problem=str(error), status=422)
    return RedirectResponse(f"/proof/{month}#headroom", 303)


def _form(
    folder: PlantFolder, request: Request, typed: dict[str, str], *, problem: str = "", status: int
) -> Response | None:
    try:
        month = month_of(folder, request)
    except MonthError:
        return None
    with folder.reading() as store:
        now = desk.planned(store, month, folder.present())
    texts = {"id": str(uuid.uuid4()), "person": remembered(request), "starts": "", "hours": ""}
    if now is not None:
        texts |= {"starts": str(now.values["starts"]), "hours": desk.hours_text(now)}
    return page(request, "proof_plan.html", {
        "frame": proof_frame(folder, f"Hours planned in {proofs.month_name(month)}"), "month": month,
        "name": proofs.month_name(month), "texts": {**texts, **typed}, "problem": problem,
        "says": desk.words(now) if now is not None else "",
    }, status)  # fmt: skip

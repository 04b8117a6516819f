"""Closing a day: what still lacks or is doubtful in it, and the one button; afterwards by whom and when."""

from collections.abc import Mapping
from datetime import date

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from weirhouse.desk import closing_day
from weirhouse.desk.day_log import DayLogError, closed_period, day_bounds
from weirhouse.records.model import RecordsError
from weirhouse.web.entering import day_of, remembered, stored_person
from weirhouse.web.forms import Form
from weirhouse.web.frame import Frame
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder


def closed_words(folder: PlantFolder, day: date) -> str:
    """Return by whom and when a day was closed; empty while it is open."""
    plant = folder.plant()

    def make() -> str:
        with folder.reading() as store:
            period = closed_period(store, day_bounds(plant, day)[0])
        if period is None:
            return ""
        at = period.entered_at.astimezone(plant.zone)
        what = "The month was" if period.month else "The day was"
        return f"{what} closed by {period.person} on {at:%Y-%m-%d %H:%M}."

    return folder.kept(("closed", day), make)


def close_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with what still lacks in a day, and the button that closes it."""
    day = day_of(request)
    return None if day is None else _page(folder, request, day, {}, "")


def _page(
    folder: PlantFolder, request: Request, day: date, texts: Mapping[str, str], problem: str, status: int = 200
) -> Response:
    plant, now = folder.plant(), folder.present()
    with folder.reading() as store:
        found = closing_day.preview(store, plant, day, now)
    frame = Frame(
        plant=plant.name, system_id=plant.system_id, place="log", title=f"Close {day:%A} {day.day} {day:%B %Y}", at=now,
        zone=plant.zone, demo=plant.demo,
    )  # fmt: skip
    return page(request, "close.html", {
        "frame": frame, "found": found, "problem": problem, "day": day, "closed": closed_words(folder, day),
        "texts": {"person": remembered(request), "note": "", **texts},
    }, status)  # fmt: skip


def close(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Close a day."""
    day = day_of(request)
    if day is None:
        return None
    texts = {name: form.get(name, "") for name in ("person", "note")}
    plant, now = folder.plant(), folder.present()
    try:
        with folder.writing() as store:
            closing_day.close_day(store, plant, day, person=texts["person"], now=now, note=texts["note"])
    except (DayLogError, RecordsError) as error:
        return _page(folder, request, day, texts, str(error), 422)
    return stored_person(RedirectResponse(f"/log/{day}", 303), texts["person"])

"""Which address shows what? The routes, and what becomes of an error: a page with one sentence."""

from collections.abc import Callable, Collection
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from weirhouse.situation.clock import TimeError
from weirhouse.web import events, figures, history, log, plant, timetable, today
from weirhouse.web.forms import Form, read_form
from weirhouse.web.frame import Frame
from weirhouse.web.guard import Guard
from weirhouse.web.paper import MOST_TITLE, moment_of, paper_css
from weirhouse.web.render import LOOKS, as_json, page
from weirhouse.web.source import PlantFolder

YEAR_S = 365 * 86400
Answer = Callable[[PlantFolder, Request], Response | None]
Written = Callable[[PlantFolder, Request, Form], Response | None]


def create_app(
    folder: Path, *, clock: Callable[[], datetime] = lambda: datetime.now(UTC), hosts: Collection[str] = ()
) -> Starlette:
    """Return the pages of the plant in a folder.

    Parameters
    ----------
    clock
        Returns now, aware.
    hosts
        Names under which this computer answers, beside localhost and plain addresses.
    """
    source = PlantFolder(folder, clock=clock)

    def shown(answer: Answer) -> Callable[[Request], Response]:
        def endpoint(request: Request) -> Response:
            found = answer(source, request)
            if found is None:
                raise HTTPException(404)
            return found

        return endpoint

    def written(answer: Written) -> Callable[[Request], object]:
        async def endpoint(request: Request) -> Response:
            form = await read_form(request)
            found = await run_in_threadpool(answer, source, request, form)
            if found is None:
                raise HTTPException(404)
            return found

        return endpoint

    def refused(request: Request, error: Exception) -> Response:
        if isinstance(error, HTTPException):
            sentence = _STATUS.get(error.status_code, "That cannot be done here.")
            return refusal_page(source, request, error.status_code, sentence)
        status = 400 if isinstance(error, TimeError) else 503
        if not _said(error):
            raise error
        return refusal_page(source, request, status, _sentence(error))

    routes = [
        Route("/", shown(today.today_page)),
        Route("/today.json", shown(today.today_twin)),
        Route("/working/{id}.json", shown(today.working_twin)),
        Route("/working/{id}", shown(today.working_page)),
        Route("/timetable", shown(timetable.timetable_page)),
        Route("/timetable.json", shown(timetable.timetable_twin)),
        Route("/history/{channel}", shown(history.history_page)),
        Route("/figures", shown(figures.list_page)),
        Route("/figures/{name}", shown(figures.formula_page)),
        Route("/plant", shown(plant.plant_page)),
        Route("/log", shown(log.newest)),
        Route("/log/end/{id}", shown(events.end_page)),
        Route("/log/end/{id}", written(events.end_event), methods=["POST"]),
        Route("/log/{date}", shown(log.day_page)),
        Route("/log/{date}/note", written(log.add_note), methods=["POST"]),
        Route("/log/{date}/reading", written(log.add_reading), methods=["POST"]),
        Route("/log/{date}/{kind}", shown(events.form_page)),
        Route("/log/{date}/{kind}", written(events.add_event), methods=["POST"]),
        Route("/look", written(set_look), methods=["POST"]),
        Route("/paper.css", shown(paper)),
        Mount("/static", StaticFiles(directory=Path(__file__).with_name("static")), name="static"),
    ]

    def refuse(scope: Scope, status: int, sentence: str, number: str) -> Response:
        return refusal_page(source, Request(scope), status, sentence, number)

    return Starlette(
        routes=routes,
        middleware=[Middleware(Guard, hosts=("localhost", *hosts), refuse=refuse)],
        exception_handlers={HTTPException: refused, ValueError: refused, OSError: refused},
    )


_STATUS = {
    404: "There is no such page; the places above are all there are.",
    405: "This page is only for looking, or only for writing; go back and try again.",
}


def _said(error: Exception) -> bool:
    """Return whether an error says in a sentence of ours what is wrong."""
    ours = isinstance(error, ValueError) and type(error).__module__.startswith("weirhouse.")
    return ours or isinstance(error, OSError)


def _sentence(error: Exception) -> str:
    if isinstance(error, OSError):
        return f"The plant's files cannot be read: {(error.strerror or 'the disk refuses').lower()}. Look at the disk."
    return " ".join(str(error).split())


def bare_frame(source: PlantFolder, title: str) -> Frame:
    """Return the frame of a page that must be shown even when the plant file cannot be read."""
    known = source.last_plant()
    at, dated = source.clock(), known is not None and not known.demo
    if known is not None and known.demo:  # its time is that of its records; where they cannot be read it has none
        with suppress(ValueError, OSError):
            at, dated = source.present(), True
    return Frame(
        plant=known.name if known else "This plant", system_id=known.system_id if known else "", place="",
        title=title, at=at, zone=known.zone if known else ZoneInfo("UTC"),
        demo=known.demo if known else False, dated=dated,
    )  # fmt: skip


def refusal_page(source: PlantFolder, request: Request, status: int, sentence: str, number: str = "") -> Response:
    """Return a page (or JSON, for those who asked for it) that says in one sentence what is wrong."""
    if request.url.path.endswith(".json"):
        return as_json({"error": sentence}, status)
    frame = bare_frame(source, "Cannot be shown")
    return page(request, "refusal.html", {"frame": frame, "sentence": sentence, "number": number}, status)


def paper(source: PlantFolder, request: Request) -> Response | None:
    """Answer with the print stylesheet of a page."""
    at = moment_of(request.query_params.get("at", ""))
    if at is None:
        return None
    known = source.last_plant() or source.plant()
    return paper_css(
        Frame(
            plant=known.name,
            system_id=known.system_id,
            place="",
            at=at,
            zone=known.zone,
            demo=known.demo,
            title=request.query_params.get("title", "")[:MOST_TITLE],
        )
    )


def set_look(source: PlantFolder, request: Request, form: Form) -> Response:
    """Keep the choice of a light or a dark page, and go back."""
    look = form.get("look", "light")
    answer = RedirectResponse(_own_path(form.get("back", "/")), 303)
    answer.set_cookie("look", look if look in LOOKS else "light", max_age=YEAR_S, httponly=True, samesite="strict")
    return answer


def _own_path(back: str) -> str:
    """Return a path on this computer, whatever was sent.

    >>> _own_path("/log?q=rain"), _own_path("//elsewhere.example/"), _own_path("https://elsewhere.example/")
    ('/log?q=rain', '/', '/')
    """
    parts = urlsplit(back)
    if parts.scheme or parts.netloc or not back.startswith("/") or back.startswith(("//", "/\\")):
        return "/"
    return back if back.isprintable() else "/"

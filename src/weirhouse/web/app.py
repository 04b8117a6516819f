"""How do the lines of the route table become an application, and what becomes of an error: a page with one sentence."""

from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Match, Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from weirhouse.records import access_log, backup_offer
from weirhouse.records.model import DamagedError
from weirhouse.situation.clock import TimeError
from weirhouse.web import setup, signing
from weirhouse.web.door import Door, address_of, person_of
from weirhouse.web.forms import FormError, read_form, read_json, read_upload
from weirhouse.web.guard import MOST_BODY, Guard
from weirhouse.web.refusal import refusal_page
from weirhouse.web.routes import TABLE
from weirhouse.web.setup_code import SetupCode
from weirhouse.web.source import PlantFolder
from weirhouse.web.table import Batch, Files, Line, Page, RouteError, Sent, Upload


def create_app(
    folder: Path,
    *,
    clock: Callable[[], datetime] = lambda: datetime.now(UTC),
    hosts: Collection[str] = (),
    table: Sequence[Line] = TABLE,
    code: SetupCode | None = None,
) -> Starlette:
    """Return the pages of the plant in a folder.

    Parameters
    ----------
    clock
        Returns now, aware.
    hosts
        Names under which this computer answers, beside localhost and plain addresses.
    table
        The lines that are answered, each with what it needs.
    code
        With which another device may make the first account.
    """
    source = PlantFolder(folder, clock=clock)
    source.code = code
    lines = [(line, _route(line, source)) for line in table]

    def refused(request: Request, error: Exception) -> Response:
        if isinstance(error, HTTPException):
            sentence = _STATUS.get(error.status_code, "That cannot be done here.")
            return refusal_page(source, request, error.status_code, sentence)
        status = 400 if isinstance(error, TimeError | FormError) else 503
        if not _said(error):
            raise error
        return refusal_page(source, request, status, _sentence(error))

    def refuse(scope: Scope, status: int, sentence: str, number: str) -> Response:
        return refusal_page(source, Request(scope), status, sentence, number)

    def most(scope: Scope) -> int:
        line = line_of(lines, scope)
        return line.most if isinstance(line, Upload) else MOST_BODY

    def find(scope: Scope) -> Line | None:
        return line_of(lines, scope)

    app = Starlette(
        routes=[route for _, route in lines],
        middleware=[
            Middleware(Guard, hosts=("localhost", *hosts), refuse=refuse, most=most),
            Middleware(Door, source=source, find=find, ask=signing.ask, set_up=setup.ask),
        ],
        exception_handlers={HTTPException: refused, ValueError: refused, OSError: refused},
    )
    app.state.source = source
    return app


def line_of(lines: Sequence[tuple[Line, BaseRoute]], scope: Scope) -> Line | None:
    """Return the line that answers a request: the first that fits its address and method; None where none does."""
    for line, route in lines:
        if route.matches(scope)[0] is Match.FULL:
            return line
    return None


def _route(line: Line, source: PlantFolder) -> BaseRoute:
    """Return how the line is answered."""
    match line:
        case Files():
            return Mount(line.path, StaticFiles(directory=line.folder), name=line.path.strip("/"))
        case Page():
            return Route(line.path, _shown(line, source))
        case Sent():
            return Route(line.path, _written(line, source), methods=["POST"])
        case Batch():
            return Route(line.path, _batched(line, source), methods=["POST"])
        case Upload():
            return Route(line.path, _uploaded(line, source), methods=["POST"])
    raise RouteError(f"{line.path} says nothing of how it answers.")


def _shown(line: Page, source: PlantFolder) -> Callable[[Request], Response]:
    def endpoint(request: Request) -> Response:
        found = _there(line.answer(source, request))
        _taken_away(source, request, found)
        return found

    return endpoint


def _taken_away(source: PlantFolder, request: Request, answer: Response) -> None:
    """Leave an entry of a file that somebody takes away. Where none can be written, none is taken away."""
    person = person_of(request)
    if person is None or request.method != "GET" or "attachment" not in answer.headers.get("content-disposition", ""):
        return
    with source.writing() as store:
        access_log.note(
            store, access_log.EXPORT, person=person.name, subject=person.id, address=address_of(request),
            now=source.clock(), detail=request.url.path,
        )  # fmt: skip


def _written(line: Sent, source: PlantFolder) -> Callable[[Request], object]:
    async def endpoint(request: Request) -> Response:
        form = _signed(request, await read_form(request))
        return _there(await run_in_threadpool(line.answer, source, request, form))

    return endpoint


def _batched(line: Batch, source: PlantFolder) -> Callable[[Request], object]:
    async def endpoint(request: Request) -> Response:
        sent = await read_json(request)
        if isinstance(sent, dict):
            sent = _signed(request, sent)
        return _there(await run_in_threadpool(line.answer, source, request, sent))

    return endpoint


def _uploaded(line: Upload, source: PlantFolder) -> Callable[[Request], object]:
    async def endpoint(request: Request) -> Response:
        form, files = await read_upload(request)
        return _there(await run_in_threadpool(line.answer, source, request, _signed(request, form), files))

    return endpoint


def _signed(request: Request, form: Mapping[str, Any]) -> dict[str, Any]:
    """Return what was sent, in the name of whoever is signed in, whatever name was written there."""
    person = person_of(request)
    return {**form, "person": person.name} if person is not None else dict(form)


def _there(found: Response | None) -> Response:
    if found is None:
        raise HTTPException(404)
    return found


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
    said = " ".join(str(error).split())
    folder = error.folder if isinstance(error, DamagedError) else None
    return f"{said} {backup_offer.sentence(folder)}" if folder is not None else said

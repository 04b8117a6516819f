"""Who is let in? Between the guard and the pages: each request is held against what its line of the table needs.

Before anybody has an account only the plant's own computer is answered: everything can be looked at, and in a
demonstration written to; in a real plant the first write leads to the set-up. After that everything but what is open
needs somebody signed in whose role may do it. Other devices are answered when somebody has let them in.
"""

from collections.abc import Callable
from urllib.parse import quote, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from weirhouse.records.access import network_of
from weirhouse.records.people import Person
from weirhouse.records.roles import CLOSE, MAY, OPEN, READ, SELF, WRITE, Need
from weirhouse.web.forms import read_form
from weirhouse.web.guard import SAFE, bare_host
from weirhouse.web.held import Held, hold
from weirhouse.web.look import own_path
from weirhouse.web.refusal import refusal_page
from weirhouse.web.source import PlantFolder
from weirhouse.web.table import Files, Line, Sent, Upload

HERE = frozenset({"localhost", "127.0.0.1", "[::1]"})
BEFORE = ("/setup", "/look", "/paper.css")  # what other devices are answered before there is an account
NOT_YET = (
    "This plant is not set up yet. Set it up at the plant's own computer, or open /setup here with the code that is "
    "shown there."
)
NOT_LET_IN = (
    "Other devices are not let in yet. At the plant's own computer, sign in and open Plant, People: there they can be."
)
FILE_LOST = "The file was not taken, because nobody is signed in. Sign in, then choose it again."
Find = Callable[[Scope], Line | None]
Ask = Callable[[PlantFolder, Request, Held], Response]


def cookie_name(scope: Scope) -> str:
    """Return the name of the cookie that holds a session: under HTTPS one that browsers keep to this very host."""
    return "__Host-weirhouse" if scope["scheme"] == "https" else "weirhouse"


def is_here(scope: Scope) -> bool:
    """Return whether a request comes from the plant's own computer, under a name that only it has for itself."""
    client = scope.get("client")
    hosts = [value.decode("latin-1") for name, value in scope["headers"] if name.lower() == b"host"]
    return (
        client is not None
        and network_of(client[0]) == "here"
        and len(hosts) == 1
        and bare_host(hosts[0]) in HERE
    )  # fmt: skip


def address_of(request: Request) -> str:
    """Return the address that a request comes from."""
    return request.client.host if request.client else ""


def person_of(request: Request) -> Person | None:
    """Return who is signed in."""
    found: Person | None = getattr(request.state, "person", None)
    return found


class Door:
    """Lets in whoever may."""

    def __init__(self, app: ASGIApp, *, source: PlantFolder, find: Find, ask: Ask, set_up: Ask) -> None:
        self.app, self.source, self.find = app, source, find
        self.ask, self.set_up = ask, set_up

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope, receive)
        line = self.find(scope)
        if isinstance(line, Files):
            await self.app(scope, receive, send)
            return
        answer = await run_in_threadpool(self._decided, request, line)
        if answer == "held":
            answer = await self._held(request, line)
        if isinstance(answer, Response):
            await answer(scope, receive, send)
            return
        await self.app(scope, receive, send)
        if getattr(request.state, "told", False):  # the page said how many tries had failed
            await run_in_threadpool(self.source.access.told, request.cookies.get(cookie_name(scope), ""))

    def _decided(self, request: Request, line: Line | None) -> Response | str | None:
        """Return None for whoever is let in, the answer for others, or "held" where what was typed is to be kept."""
        state, need = request.state, line.needs if line is not None else READ
        state.here, state.person, state.session, state.free = is_here(request.scope), None, None, False
        state.entered = False
        try:
            ready = self.source.set_up()
            if not ready:
                state.entered = state.here
                return self._before(request, need)
            if not state.here and not self.source.access.network():
                return None if request.url.path in BEFORE[1:] else self._refuse(request, 403, NOT_LET_IN)
            self._recognise(request)
        except (ValueError, OSError) as error:
            if need is OPEN:
                return None  # the page itself says what is wrong
            if isinstance(error, ValueError) and not type(error).__module__.startswith("weirhouse."):
                raise
            why = " ".join(str(error).split()) if isinstance(error, ValueError) else "The plant's files cannot be read."
            return self._refuse(request, 503, why)
        person: Person | None = state.person
        if need is OPEN:
            return None
        if person is None:
            return self._unknown(request)
        if not person.may(need):
            roles = " or ".join(sorted(MAY[need]))
            return self._refuse(
                request, 403,
                f"You are signed in as {person.name}, {person.role}. This is for: {roles}. Nothing was changed.",
            )  # fmt: skip
        if state.session.temporary and need is not SELF:
            return RedirectResponse("/password", 303)
        return None

    def _before(self, request: Request, need: Need) -> Response | str | None:
        """Decide while nobody has an account."""
        if not request.state.here:
            return None if request.url.path in BEFORE else self._refuse(request, 403, NOT_YET)
        if need is OPEN:
            return None
        request.state.free = self.source.plant().demo
        if need is READ or (need in (WRITE, CLOSE) and request.state.free):
            return None
        return self._unknown(request)

    def _recognise(self, request: Request) -> None:
        token = request.cookies.get(cookie_name(request.scope), "")
        session = self.source.access.session(token, self.source.clock(), used=_by_hand(request))
        if session is None:
            return
        person = self.source.people().get(session.person)
        if person is not None and person.active:
            request.state.person, request.state.session, request.state.entered = person, session, True

    def _unknown(self, request: Request) -> Response | str:
        """Answer somebody who is not signed in: with the way to sign in, and nothing of what was typed is lost."""
        if request.url.path.endswith(".json"):
            return self._refuse(request, 401, "Nobody is signed in here. Sign in, then try again.")
        if request.method in SAFE:
            door = "/sign-in" if self.source.set_up() else "/setup"
            return RedirectResponse(f"{door}?to={quote(_where(request))}", 303)
        return "held"

    async def _held(self, request: Request, line: Line | None) -> Response:
        held = Held()
        if isinstance(line, Sent):
            held = hold(_where(request), await read_form(request))
        elif isinstance(line, Upload):  # not read at all: nobody knows who sends it
            held = Held(own_path(urlsplit(request.headers.get("referer", "/")).path), lost=FILE_LOST)
        answer = self.ask if await run_in_threadpool(self.source.set_up) else self.set_up
        return await run_in_threadpool(answer, self.source, request, held)

    def _refuse(self, request: Request, status: int, sentence: str) -> Response:
        return refusal_page(self.source, request, status, sentence)


def _where(request: Request) -> str:
    return f"{request.url.path}?{request.url.query}".rstrip("?")


def _by_hand(request: Request) -> bool:
    """Return whether a person asked for this, as far as the browser says; a page that renews itself is not one."""
    if request.method not in SAFE or "sec-fetch-mode" not in request.headers:
        return True
    return request.headers.get("sec-fetch-user") == "?1"

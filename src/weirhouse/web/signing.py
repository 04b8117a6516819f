"""Signing in and out, and one's own password."""

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from weirhouse.records import passwords, signing
from weirhouse.records.access import WaitError
from weirhouse.records.model import RecordsError
from weirhouse.web.door import address_of, cookie_name, person_of
from weirhouse.web.forms import Form
from weirhouse.web.held import Held, fields, let_go
from weirhouse.web.look import own_path
from weirhouse.web.refusal import bare_frame
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder

LOST = "The passwords of this plant are not there. At its own computer, run: weirhouse people password NAME"


def sign_in_page(folder: PlantFolder, request: Request) -> Response:
    """Answer with the form to sign in."""
    to = own_path(request.query_params.get("to", "/"))
    if person_of(request) is not None:
        return RedirectResponse(to, 303)
    if not folder.set_up():
        return RedirectResponse("/setup", 303)
    return _page(folder, request, Held(to))


def ask(folder: PlantFolder, request: Request, held: Held) -> Response:
    """Answer somebody who sent a form and is not signed in (any more): what was typed is held until they are."""
    return _page(folder, request, held, status=401)


def _page(
    folder: PlantFolder, request: Request, held: Held, *, name: str = "", problem: str = "", status: int = 200
) -> Response:
    folder.plant()
    lost = "" if folder.access.any_account() else LOST
    data = {
        "frame": bare_frame(folder, "Sign in"), "held": held, "name": name, "problem": problem or lost,
    }  # fmt: skip
    return page(request, "sign_in.html", data, status)


def sign_in(folder: PlantFolder, request: Request, form: Form) -> Response:
    """Begin a session, or show the form again; then go where one was going, or show what was typed before."""
    held = let_go(form)
    to = own_path(form.get("to", "/"))
    if not folder.set_up():
        return RedirectResponse("/setup", 303)
    name = form.get("name", "").strip()
    try:
        token = signing.sign_in(
            folder.writing, folder.access, name, form.get("password", ""), address=address_of(request),
            now=folder.clock(),
        )  # fmt: skip
    except (WaitError, passwords.BusyError, signing.SignInError) as error:
        status = {WaitError: 429, passwords.BusyError: 503}.get(type(error), 422)
        answer = _page(folder, request, held if held.typed else Held(to), name=name, problem=str(error), status=status)
        if isinstance(error, WaitError):
            answer.headers["retry-after"] = str(error.seconds)
        return answer
    return enter(folder, request, token, held, to)


def enter(folder: PlantFolder, request: Request, token: str, held: Held, to: str) -> Response:
    """Answer somebody who has just signed in."""
    before = request.cookies.get(cookie_name(request.scope), "")
    if before:
        folder.access.end_session(before)  # one device, one session; and a planted token is good for nothing
    answer: Response = RedirectResponse(to, 303)
    if held.typed:
        session = folder.access.session(token, folder.clock())
        assert session is not None
        request.state.session, request.state.entered = session, True
        request.state.person = folder.people().get(session.person)
        data = {"frame": bare_frame(folder, "What you had typed"), "held": held, "fields": fields(held, folder.plant())}
        answer = page(request, "held.html", data)
        request.state.told = False  # the page that follows says how many tries failed
    set_cookie(request, answer, token)
    return answer


def set_cookie(request: Request, answer: Response, token: str) -> None:
    """Give the device its session: no script can read it, no foreign page can send it."""
    answer.set_cookie(
        cookie_name(request.scope), token, path="/", httponly=True, samesite="strict",
        secure=request.url.scheme == "https",
    )  # fmt: skip


def sign_out(folder: PlantFolder, request: Request, form: Form) -> Response:
    """End the session."""
    person, name = person_of(request), cookie_name(request.scope)
    assert person is not None
    signing.sign_out(
        folder.writing, folder.access, request.cookies.get(name, ""), person, address=address_of(request),
        now=folder.clock(),
    )  # fmt: skip
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(name, path="/", httponly=True, samesite="strict", secure=request.url.scheme == "https")
    return answer


# --- one's own password ------------------------------------------------------------------------------------------


def password_page(folder: PlantFolder, request: Request) -> Response:
    """Answer with the form for one's own password."""
    return _password_page(folder, request)


def _password_page(folder: PlantFolder, request: Request, problem: str = "", field: str = "") -> Response:
    session = request.state.session
    data = {
        "frame": bare_frame(folder, "Your password"), "problem": problem, "field": field,
        "temporary": session is not None and session.temporary,
    }  # fmt: skip
    return page(request, "password.html", data, 422 if problem else 200)


def change_password(folder: PlantFolder, request: Request, form: Form) -> Response:
    """Take a new password of one's own: every other session ends, and this one gets a new token."""
    person, now = person_of(request), folder.clock()
    assert person is not None
    attempt = None
    try:
        attempt = folder.access.begin_try(person.id, address_of(request), now, here=request.state.here)
        if not passwords.matches(folder.access.kept(person.id), form.get("password", "")):
            return _password_page(folder, request, "The present password is another one. Try again.", "password")
        folder.access.succeeded(attempt, person.id, address_of(request))
        if form.get("password_new", "") != form.get("password_again", ""):
            return _password_page(
                folder, request, "The two new ones are not the same. Type it twice.", "password_again"
            )
        signing.set_password(
            folder.writing, folder.access, person, form.get("password_new", ""), by=person.name,
            plant=folder.plant().name, address=address_of(request), now=now,
        )  # fmt: skip
    except RecordsError as error:
        return _password_page(folder, request, str(error), "password" if attempt is None else "password_new")
    token = folder.access.open_session(person.id, now)
    answer = RedirectResponse("/", 303)
    set_cookie(request, answer, token)
    return answer

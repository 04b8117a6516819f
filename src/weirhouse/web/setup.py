"""The first account: made at the plant's own computer, or from another device with the code that is shown there."""

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from weirhouse.records import access_log, passwords, people, signing
from weirhouse.records.model import RecordsError
from weirhouse.records.people import PeopleError, Person
from weirhouse.records.roles import Role
from weirhouse.web.door import address_of
from weirhouse.web.forms import Form
from weirhouse.web.held import Held, let_go
from weirhouse.web.look import own_path
from weirhouse.web.refusal import bare_frame, refusal_page
from weirhouse.web.render import page
from weirhouse.web.signing import enter
from weirhouse.web.source import PlantFolder
from weirhouse.web.typed_person import certificate_of

FIRST = (Role.OPERATOR, Role.MANAGER)  # roles of the first account: one that may add people
KEYS = ("name", "role", "certificate", "certificate_class", "certificate_until", "code", "to")
NO_CODE = "This plant is not set up yet. Set it up at its own computer; from there other devices can be let in."


def setup_page(folder: PlantFolder, request: Request) -> Response:
    """Answer with the form of the first account; where there is one already, with Today."""
    if folder.set_up():
        return RedirectResponse("/", 303)
    if not _allowed(folder, request):
        return refusal_page(folder, request, 403, NO_CODE)
    return _page(folder, request, Held(own_path(request.query_params.get("to", "/"))), {})


def ask(folder: PlantFolder, request: Request, held: Held) -> Response:
    """Answer a first write in a plant where nobody has an account: what was typed is held until somebody has."""
    return _page(folder, request, held, {}, status=401)


def _allowed(folder: PlantFolder, request: Request) -> bool:
    return request.state.here or (folder.code is not None and folder.code.holds(folder.clock()))


def _page(
    folder: PlantFolder, request: Request, held: Held, typed: Form, *, problem: str = "", field: str = "",
    status: int = 200,
) -> Response:  # fmt: skip
    folder.plant()
    data = {
        "frame": bare_frame(folder, "Set up"), "held": held, "typed": {key: typed.get(key, "") for key in KEYS},
        "problem": problem, "field": field, "from_here": request.state.here, "demo": folder.plant().demo,
        "least": passwords.LEAST,
    }  # fmt: skip
    return page(request, "setup.html", data, status)


def set_up(folder: PlantFolder, request: Request, form: Form) -> Response:
    """Make the first account and sign it in."""
    now, held, to = folder.clock(), let_go(form), own_path(form.get("to", "/"))
    if folder.set_up():
        return RedirectResponse("/sign-in", 303)

    def again(problem: str, field: str, status: int = 422) -> Response:
        return _page(
            folder, request, held if held.typed else Held(to), form, problem=problem, field=field, status=status
        )

    if not request.state.here:
        if not _allowed(folder, request):
            return refusal_page(folder, request, 403, NO_CODE)
        assert folder.code is not None
        if not folder.code.fits(form.get("code", ""), now):
            return again("That is not the code. Read it again at the plant's own computer.", "code", 403)
    try:
        role = Role(form.get("role", Role.OPERATOR))
        if role not in FIRST:
            raise PeopleError(
                "The first account is an operator or a manager: somebody must be able to add people.", "role"
            )
        person = Person(id="", name=form.get("name", ""), role=role, **certificate_of(form))
        password = form.get("password_new", "")
        if password != form.get("password_again", ""):
            return again("The two passwords are not the same. Type it twice.", "password_again")
        passwords.require_strong(password, person.name, folder.plant().name)
        with folder.writing() as store:
            person = people.add(store, person, by=person.name, now=now, first=True)
            if not request.state.here:
                access_log.note(
                    store, access_log.CODE_USED, person=person.name, subject=person.id, now=now,
                    address=address_of(request),
                )  # fmt: skip
    except passwords.PasswordError as error:
        return again(str(error), "password_new")
    except ValueError as error:
        if not isinstance(error, RecordsError):
            return again("Choose operator or manager.", "role")
        return again(str(error), getattr(error, "field", "name"))
    signing.set_password(
        folder.writing, folder.access, person, password, by=person.name, now=now, plant=folder.plant().name,
        address=address_of(request),
    )  # fmt: skip
    if folder.code is not None:
        folder.code.use_up()
    if not request.state.here:
        folder.access.set_network(True)  # it was set up from another device, so those are to be answered
    token = signing.sign_in(
        folder.writing, folder.access, person.name, password, address=address_of(request), now=now
    )  # fmt: skip
    return enter(folder, request, token, held, to)

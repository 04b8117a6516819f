"""Who works here: the list with certificates, who came in lately, and the forms of those who may change it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from weirhouse.records import access_log, passwords, people, signing
from weirhouse.records.model import Event, RecordsError
from weirhouse.records.people import PeopleError, Person
from weirhouse.records.roles import MANAGE, Role
from weirhouse.web.door import address_of, person_of
from weirhouse.web.forms import Form
from weirhouse.web.frame import Frame
from weirhouse.web.render import may, page
from weirhouse.web.source import PlantFolder
from weirhouse.web.typed_person import certificate_of

SOON, LATELY, MOST = timedelta(days=90), timedelta(days=14), 60  # certificate, entries shown
ROLES = (
    (Role.OPERATOR, "Operator", "runs the plant: enters, corrects, closes months, people and settings"),
    (Role.RELIEF, "Relief", "stands in: enters and corrects, but closes no month and adds nobody"),
    (Role.MANAGER, "Manager", "people, settings, closes months; enters no readings"),
    (Role.INSPECTOR, "Inspector", "looks at everything, writes nothing"),
)
KEYS = ("name", "role", "certificate", "certificate_class", "certificate_until")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A person as the list shows them."""

    person: Person
    until: str  # of the certificate, in words
    late: bool
    link: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Came:
    """An entry of who came in."""

    at: datetime
    what: str
    who: str
    where: str


def people_page(folder: PlantFolder, request: Request) -> Response:
    """Answer with the list."""
    return _list(folder, request)


def _list(folder: PlantFolder, request: Request, problem: str = "") -> Response:
    everybody, manages = folder.people(), may(request, MANAGE)
    today = folder.clock().astimezone(folder.plant().zone).date()
    order = sorted(everybody.values(), key=lambda one: (not one.active, one.name.casefold()))
    with folder.reading() as store:
        came = store.events(access_log.KIND, since=folder.clock() - LATELY)[-MOST:]
    data = {
        "frame": _frame(folder, "People"), "problem": problem, "manages": manages, "ready": folder.set_up(),
        "rows": [_row(one, today, f"/people/{one.id}" if manages else "") for one in order],
        "network": folder.access.network(), "days": LATELY.days,
        "came": [_came(event, everybody) for event in reversed(came)],
    }  # fmt: skip
    return page(request, "people.html", data, 422 if problem else 200)


def _frame(folder: PlantFolder, title: str) -> Frame:
    plant = folder.plant()
    return Frame(
        plant=plant.name, system_id=plant.system_id, place="plant", title=title, at=folder.present(), zone=plant.zone,
        demo=plant.demo,
    )  # fmt: skip


def _row(person: Person, today: date, link: str) -> Row:
    until = person.certificate_until
    if until is None:
        return Row(person=person, until="", late=False, link=link)
    days = (until - today).days
    if days < 0:
        return Row(person=person, until=f"ran out on {until}", late=person.active, link=link)
    left = "today" if days == 0 else f"in {days} {'day' if days == 1 else 'days'}"
    words = f"runs out {left}, on {until}" if until - today <= SOON else f"valid until {until}"
    return Row(person=person, until=words, late=person.active and until - today <= SOON, link=link)


def _came(event: Event, everybody: Mapping[str, Person]) -> Came:
    subject = everybody.get(event.subject)
    who = event.person
    if subject is not None and subject.name != who:
        who = f"as {subject.name}" if who == access_log.NOBODY else f"{who}, for {subject.name}"
    where = str(event.values.get("address", ""))
    return Came(
        at=event.started_at, what=str(event.values.get("what", "")), who=who,
        where="this computer" if where in ("127.0.0.1", "::1") else where,
    )  # fmt: skip


# --- a new person ------------------------------------------------------------------------------------------------


def new_page(folder: PlantFolder, request: Request) -> Response:
    """Answer with the form of a new person."""
    return _form(folder, request, None, {"role": Role.RELIEF})


def _form(
    folder: PlantFolder, request: Request, person: Person | None, typed: Mapping[str, str], *, problem: str = "",
    field: str = "",
) -> Response:  # fmt: skip
    data = {
        "frame": _frame(folder, person.name if person else "A new person"), "person": person, "roles": ROLES,
        "typed": {key: typed.get(key, "") for key in KEYS}, "problem": problem, "field": field,
        "least": passwords.LEAST,
        "sends_to": f"/people/{person.id}" if person else "/people/new",
    }  # fmt: skip
    return page(request, "person.html", data, 422 if problem else 200)


def add(folder: PlantFolder, request: Request, form: Form) -> Response:
    """Add a person with a first password, which they change when they sign in."""
    by, now = _by(request), folder.clock()
    try:
        person = Person(id="", name=form.get("name", ""), role=_role(form), **certificate_of(form))
        passwords.require_strong(form.get("password_new", ""), person.name, folder.plant().name)
        with folder.writing() as store:
            person = people.add(store, person, by=by, now=now)
            access_log.note(
                store, access_log.ACCOUNT, person=by, subject=person.id, now=now, address=address_of(request),
                detail=f"{person.name} added as {person.role}",
            )  # fmt: skip
        signing.set_password(
            folder.writing, folder.access, person, form.get("password_new", ""), by=by, now=now, temporary=True,
            plant=folder.plant().name, address=address_of(request),
        )  # fmt: skip
    except RecordsError as error:
        field = "password_new" if isinstance(error, passwords.PasswordError) else getattr(error, "field", "")
        return _form(folder, request, None, form, problem=str(error), field=field)
    return RedirectResponse("/people", 303)


# --- somebody who is there ---------------------------------------------------------------------------------------


def person_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the form of a person."""
    person = folder.people().get(request.path_params["id"])
    return None if person is None else _form(folder, request, person, _said(person))


def _said(person: Person) -> dict[str, str]:
    return {
        "name": person.name, "role": str(person.role), "certificate": person.certificate,
        "certificate_class": person.certificate_class,
        "certificate_until": person.certificate_until.isoformat() if person.certificate_until else "",
    }  # fmt: skip


def change(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Change role and certificate of a person, or whether they may come in at all."""
    old = folder.people().get(request.path_params["id"])
    if old is None:
        return None
    by, now = _by(request), folder.clock()
    try:
        if "active" in form:  # the button below the form
            new = replace(old, active=form["active"] == "yes")
        else:
            new = replace(old, role=_role(form), **certificate_of(form))
        if new != old:
            _keep(folder, old, new, by=by, now=now, address=address_of(request))
    except RecordsError as error:
        return _form(
            folder, request, old, {**_said(old), **form}, problem=str(error), field=getattr(error, "field", "")
        )
    return RedirectResponse("/people", 303)


def _keep(folder: PlantFolder, old: Person, new: Person, *, by: str, now: datetime, address: str) -> None:
    said = []
    if new.role != old.role:
        said.append(f"{old.role} becomes {new.role}")
    if new.active != old.active:
        said.append("may come in again" if new.active else "comes in no more")
    detail = f"{new.name}: {', '.join(said)}"
    with folder.writing() as store:
        people.change(store, old, new, by=by, now=now, reason=", ".join(said) or "certificate")
        if said:
            what = access_log.ROLE if new.role != old.role else access_log.ACCOUNT
            access_log.note(store, what, person=by, subject=new.id, now=now, address=address, detail=detail)
    if not new.active:
        folder.access.end_sessions(new.id)


def set_password(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Give somebody a password, which they change when they sign in."""
    person = folder.people().get(request.path_params["id"])
    if person is None:
        return None
    try:
        signing.set_password(
            folder.writing, folder.access, person, form.get("password_new", ""), by=_by(request), now=folder.clock(),
            temporary=True, plant=folder.plant().name, address=address_of(request),
        )  # fmt: skip
    except RecordsError as error:
        return _form(folder, request, person, _said(person), problem=str(error), field="password_new")
    return RedirectResponse("/people", 303)


def set_network(folder: PlantFolder, request: Request, form: Form) -> Response:
    """Let other devices in, or keep them out; only the plant's own computer lets them in."""
    on = form.get("network") == "on"
    if on and not request.state.here:
        return _list(folder, request, "Other devices are let in at the plant's own computer alone.")
    with folder.writing() as store:
        access_log.note(
            store, access_log.NETWORK, person=_by(request), now=folder.clock(), address=address_of(request),
            detail="other devices are let in" if on else "other devices are kept out",
        )  # fmt: skip
    folder.access.set_network(on)
    return RedirectResponse("/people", 303)


def _role(form: Form) -> Role:
    try:
        return Role(form.get("role", ""))
    except ValueError:
        raise PeopleError("Choose what the person is at this plant.", "role") from None


def _by(request: Request) -> str:
    person = person_of(request)
    assert person is not None  # the door lets nobody else through
    return person.name

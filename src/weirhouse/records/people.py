"""Who works here? One entry for each person in the ledger: name, certificate, role; each change corrects the last.

The name is what every entry is signed with, so it stays and is given once. Passwords are not here: see `access`.
"""

import unicodedata
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

from weirhouse.records.model import Event, RecordsError, new_id
from weirhouse.records.roles import Need, Role, may
from weirhouse.records.store import Store

KIND = "person"
MOST_NAME = 60  # characters
_NAMES = uuid.UUID("0e5a2a0c-93a5-4f5b-8c39-6f5b5f0a6d11")  # of the ids that are made from a name
_FIRST = str(uuid.uuid5(_NAMES, "the first account"))
SHARED = frozenset(
    {
        *Role, "admin", "administrator", "root", "user", "plant", "guest", "operators", "shift", "nobody", "test",
        "weirhouse", "water", "everybody", "system", "terminal", "not signed in",
    }
)  # fmt: skip


class PeopleError(RecordsError):
    """What was given of a person cannot be kept. `field` names the one at fault."""

    def __init__(self, sentence: str, field: str = "") -> None:
        super().__init__(sentence)
        self.field = field


@dataclass(frozen=True, kw_only=True, slots=True)
class Person:
    """Somebody with an account."""

    id: str
    name: str
    role: Role
    certificate: str = ""  # its number
    certificate_class: str = ""
    certificate_until: date | None = None
    active: bool = True
    entry: str = ""  # id of the entry that says so

    def may(self, need: Need) -> bool:
        """Return whether the person may do what a page needs."""
        return self.active and may(self.role, need)


def same_name(name: str) -> str:
    """Return a name as names are compared: two that look alike to a hurried eye are one.

    >>> same_name("  A.  OPERATOR ") == same_name("a. operator")
    True
    """
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def read(store: Store) -> dict[str, Person]:
    """Return everybody who has or had an account, by id, in the order in which they came."""
    return {event.subject: _person(event) for event in store.events(KIND)}


def named(people: Mapping[str, Person], name: str) -> Person | None:
    """Return the person of that name, active or not."""
    wanted = same_name(name)
    return next((one for one in people.values() if same_name(one.name) == wanted), None)


def add(store: Store, person: Person, *, by: str, now: datetime, first: bool = False) -> Person:
    """Keep a new person. With `first` it is the first of all, or refused."""
    name = _require_name(person.name)
    people = read(store)
    if first and people:
        raise PeopleError("Somebody was set up before you. Sign in with that account, or ask whoever has it.")
    if named(people, name):
        raise PeopleError(
            f"{name} has an account already. Give the name by which the records tell the two apart.", "name"
        )
    kept = replace(person, name=name, certificate=person.certificate.strip(), id=person.id or new_id())
    # the id of the entry comes from the name, so that two who add the same person at once keep one
    entry = _FIRST if first else str(uuid.uuid5(_NAMES, same_name(name)))
    try:
        store.add_events([_event(kept, entry, by, now)], entered_at=now)
    except RecordsError as error:
        if entry in str(error):
            raise PeopleError(f"{name} was added by somebody else just now. Look at the list.", "name") from error
        raise
    return replace(kept, entry=entry)


def change(store: Store, old: Person, new: Person, *, by: str, now: datetime, reason: str) -> Person:
    """Correct what stands of a person: certificate, role, active. The name stays."""
    if new.name != old.name or new.id != old.id:
        raise PeopleError("A name stays as it is: every entry is signed with it.", "name")
    if old.may(Need.MANAGE) and not new.may(Need.MANAGE):
        others = [one for one in read(store).values() if one.id != old.id and one.may(Need.MANAGE)]
        if not others:
            raise PeopleError(
                f"{old.name} is the only one who may add people. Make somebody else operator or manager first.", "role"
            )
    entry = store.correct(old.entry, _event(new, new_id(), by, now), person=by, reason=reason, entered_at=now)
    return replace(new, entry=entry)


def _require_name(name: str) -> str:
    name = " ".join(unicodedata.normalize("NFKC", name).split())
    if not name or not any(c.isalpha() for c in name):
        raise PeopleError("The name is empty. Write it as it is to stand under the entries.", "name")
    if len(name) > MOST_NAME or not name.isprintable():
        raise PeopleError(
            f"The name is longer than {MOST_NAME} characters, or holds a sign that cannot be shown.", "name"
        )
    if same_name(name) in SHARED:
        raise PeopleError(
            f'"{name}" is nobody\'s name. Each person has an account of their own: the records must say who.', "name"
        )
    return name


def _person(event: Event) -> Person:
    said = {key: str(value) for key, value in event.values.items()}
    until = said.get("certificate_until", "")
    return Person(
        id=event.subject, name=said.get("name", ""), role=Role(said.get("role", Role.INSPECTOR)),
        certificate=said.get("certificate", ""), certificate_class=said.get("certificate_class", ""),
        certificate_until=date.fromisoformat(until) if until else None, active=said.get("active") == "yes",
        entry=event.id,
    )  # fmt: skip


def _event(person: Person, id: str, by: str, now: datetime) -> Event:
    return Event(
        kind=KIND, started_at=now.astimezone(UTC), subject=person.id, person=by, id=id,
        values={
            "name": person.name, "role": str(person.role), "certificate": person.certificate,
            "certificate_class": person.certificate_class,
            "certificate_until": person.certificate_until.isoformat() if person.certificate_until else "",
            "active": "yes" if person.active else "no",
        },
    )  # fmt: skip

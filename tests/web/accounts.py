"""Accounts for tests: somebody with a role, signed in without the long way through the form."""

from datetime import datetime
from pathlib import Path

from tests.web.conftest import NOW, Client

from weirhouse.records import passwords, people
from weirhouse.records.access import Access
from weirhouse.records.people import Person
from weirhouse.records.roles import Role
from weirhouse.records.store import Store

WORDS = "creek under the bridge"


def account(
    folder: Path, name: str = "A. Operator", role: Role = Role.OPERATOR, now: datetime = NOW, password: str = ""
) -> Person:
    """Give somebody an account; with a password (its hash takes a while) they can sign in by the form too."""
    with Store.open(folder) as store:
        found = people.named(people.read(store), name)
        person = found or people.add(store, Person(id="", name=name, role=role), by=name, now=now)
    Access(folder).set_password(person.id, passwords.hashed(password) if password else "no hash", now)
    return person


def token_of(folder: Path, person: Person, now: datetime = NOW) -> str:
    """Begin a session for somebody."""
    return Access(folder).open_session(person.id, now)


def signed_in(
    client: Client, folder: Path, name: str = "A. Operator", role: Role = Role.OPERATOR, now: datetime = NOW
) -> Client:
    """Sign a client in under a name."""
    person = account(folder, name, role, now)
    client.cookies.set("weirhouse", token_of(folder, person, now), domain="127.0.0.1")
    return client

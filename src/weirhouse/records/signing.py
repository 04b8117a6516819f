"""How does one sign in, out, and come by a password? Each leaves an entry in the ledger; no secret is written there."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import datetime

from weirhouse.records import access_log, passwords, people
from weirhouse.records.access import Access, network_of
from weirhouse.records.model import RecordsError
from weirhouse.records.people import Person
from weirhouse.records.store import Store

Writing = Callable[[], AbstractContextManager[Store]]


class SignInError(RecordsError):
    """Name and password do not go together, or the account is closed: which of these is not said."""


def sign_in(writing: Writing, access: Access, name: str, password: str, *, address: str, now: datetime) -> str:
    """Return the token of a new session.

    Raises
    ------
    SignInError, WaitError, BusyError
        In one sentence.
    """
    with writing() as store:
        person = people.named(people.read(store), name)
    account = person.id if person is not None else ""
    here = network_of(address) == "here"
    attempt = access.begin_try(account, address, now, here=here)
    right = passwords.matches(access.kept(account) if person is not None else None, password)
    if person is None or not right or not person.active:
        with writing() as store:
            access_log.note(
                store, access_log.FAILED, person=access_log.NOBODY, subject=account, address=address, now=now,
                detail="" if account else "a name that nobody has",
            )  # fmt: skip
        raise SignInError("Name and password do not go together. Look at both and try again.")
    with writing() as store:
        access_log.note(
            store, access_log.SIGNED_IN, person=person.name, subject=person.id, address=address, now=now
        )  # fmt: skip
    failed = access.succeeded(attempt, person.id, address)
    return access.open_session(person.id, now, failed=failed)


def sign_out(writing: Writing, access: Access, token: str, person: Person, *, address: str, now: datetime) -> None:
    """End a session."""
    access.end_session(token)
    with writing() as store:
        access_log.note(
            store, access_log.SIGNED_OUT, person=person.name, subject=person.id, address=address, now=now
        )  # fmt: skip


def set_password(
    writing: Writing, access: Access, person: Person, password: str, *, by: str, now: datetime, plant: str = "",
    temporary: bool = False, address: str = "",
) -> None:  # fmt: skip
    """Give a person a new password, which ends every session of theirs. PasswordError where it is too weak."""
    passwords.require_strong(password, person.name, plant)
    hashed = passwords.hashed(password)
    with writing() as store:
        access_log.note(
            store, access_log.PASSWORD, person=by, subject=person.id, address=address, now=now,
            detail=f"for {person.name}",
        )  # fmt: skip
    access.set_password(person.id, hashed, now, temporary=temporary)

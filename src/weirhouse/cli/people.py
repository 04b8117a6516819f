"""How are people added, given passwords and let in at the plant's own computer? Each step leaves an entry.

Whoever sits at this computer with the plant's folder can do all of it, so that nobody is locked out for good.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from weirhouse.cli.options import json_option, person, plant_option, print_json

if TYPE_CHECKING:
    from weirhouse.records.access import Access
    from weirhouse.records.people import Person
    from weirhouse.records.store import Store

ROLES = ("operator", "relief", "manager", "inspector")
role_option = click.option("--role", type=click.Choice(ROLES), default=None, help="What the person is at this plant.")


@dataclass(frozen=True, slots=True)
class Desk:
    """The plant's folder, opened for one step."""

    folder: Path
    plant: str
    store: "Store"
    access: "Access"
    by: str
    now: datetime

    def writing(self) -> Any:
        """Return the records to write to."""
        from weirhouse.records.store import Store

        return Store.open(self.folder)

    def person(self, name: str) -> "Person":
        """Return the person of that name."""
        from weirhouse.records import people

        found = people.named(people.read(self.store), name)
        if found is None:
            raise click.ClickException(f'Nobody here is named "{name[:60]}". "weirhouse people list" shows who is.')
        return found

    def note(self, what: str, subject: str = "", detail: str = "") -> None:
        """Leave an entry."""
        from weirhouse.records import access_log

        access_log.note(self.store, what, person=self.by, subject=subject, now=self.now, detail=detail)


@contextmanager
def _desk(folder: Path) -> Iterator[Desk]:
    from weirhouse.plant import load
    from weirhouse.records.access import Access
    from weirhouse.records.store import Store

    plant = load(folder)
    with Store.open(folder) as store:
        yield Desk(folder, plant.name, store, Access(folder), f"{person()}, at the terminal", datetime.now(UTC))


@click.group()
def people() -> None:
    """List people, add one, give a password, let other devices in: at the plant's own computer."""


@people.command("list")
@plant_option
@json_option
def list_(folder: Path, as_json: bool) -> None:
    """Show who has an account."""
    from weirhouse.records.people import read

    with _desk(folder) as desk:
        rows = [_row(one, desk.access) for one in read(desk.store).values()]
        network = desk.access.network()
    if as_json:
        print_json({"people": rows, "network": network})
        return
    if not rows:
        click.echo(
            'Nobody has an account yet. Make the first one with: weirhouse people add "Your Name" --role operator'
        )
    for row in rows:
        left = "" if row["active"] else ", comes in no more"
        lost = "" if row["password"] else ", has no password"
        papers = " ".join(str(row[key]) for key in ("certificate", "class") if row[key])
        until = f", valid until {row['until']}" if row["until"] else ""
        click.echo(f"{row['name']}: {row['role']}{left}{lost}" + (f" (certificate {papers}{until})" if papers else ""))
    click.echo(f"Other devices are {'let in' if network else 'kept out'}.")


def _row(one: "Person", access: "Access") -> dict[str, Any]:
    return {
        "id": one.id, "name": one.name, "role": str(one.role), "certificate": one.certificate,
        "class": one.certificate_class, "until": one.certificate_until.isoformat() if one.certificate_until else "",
        "active": one.active, "password": access.has_password(one.id),
    }  # fmt: skip


def _certificate(command: Callable[..., Any]) -> Callable[..., Any]:
    for option in (
        click.option("--until", type=click.DateTime(["%Y-%m-%d"]), default=None, help="Last day of the certificate."),
        click.option("--class", "grade", default=None, help="Class of the certificate."),
        click.option("--certificate", default=None, help="Number of the certificate."),
    ):
        command = option(command)
    return command


def _papers(certificate: str | None, grade: str | None, until: datetime | None) -> dict[str, Any]:
    day: date | None = until.date() if until else None
    given = {"certificate": certificate, "certificate_class": grade, "certificate_until": day}
    return {key: value for key, value in given.items() if value is not None}


@people.command()
@click.argument("name")
@role_option
@_certificate
@plant_option
def add(
    name: str, role: str | None, certificate: str | None, grade: str | None, until: datetime | None, folder: Path
) -> None:
    """Add NAME with a password that is asked for. The first account is an operator unless --role says manager."""
    from weirhouse.records import people as kept
    from weirhouse.records import signing
    from weirhouse.records.passwords import require_strong
    from weirhouse.records.people import PeopleError, Person
    from weirhouse.records.roles import MANAGE, Role, may

    with _desk(folder) as desk:
        first = not kept.read(desk.store)
        chosen = Role(role) if role else Role.OPERATOR if first else None
        if chosen is None:
            raise click.UsageError("Say with --role what the person is: operator, relief, manager or inspector.")
        if first and not may(chosen, MANAGE):
            raise PeopleError("The first account is an operator or a manager: somebody must be able to add people.")
        new = Person(id="", name=name, role=chosen, **_papers(certificate, grade, until))
        password = _ask()
        require_strong(password, name, desk.plant)
        new = kept.add(desk.store, new, by=desk.by, now=desk.now, first=first)
        desk.note("account", new.id, f"{new.name} added as {new.role}")
        signing.set_password(
            desk.writing, desk.access, new, password, by=desk.by, now=desk.now, plant=desk.plant, temporary=not first
        )  # fmt: skip
    more = "" if first else " A password of their own is asked for at the first sign-in."
    click.echo(f"{new.name} can sign in now, as {new.role}.{more}")


@people.command()
@click.argument("name")
@click.option("--temporary", is_flag=True, help="A new one is asked for at the first sign-in.")
@plant_option
def password(name: str, temporary: bool, folder: Path) -> None:
    """Give NAME a new password, and sign NAME out everywhere. Earlier wrong tries count no more."""
    from weirhouse.records import signing

    with _desk(folder) as desk:
        found = desk.person(name)
        if not found.active:
            raise click.ClickException(
                f'{found.name} comes in no more. First: weirhouse people change "{name}" --active'
            )
        signing.set_password(
            desk.writing, desk.access, found, _ask(), by=desk.by, now=desk.now, plant=desk.plant, temporary=temporary
        )  # fmt: skip
    click.echo(f"{found.name} has a new password.")


@people.command()
@click.argument("name")
@role_option
@_certificate
@click.option("--active/--inactive", default=None, help="Whether the person may come in at all.")
@plant_option
def change(
    name: str, role: str | None, certificate: str | None, grade: str | None, until: datetime | None,
    active: bool | None, folder: Path,
) -> None:  # fmt: skip
    """Change role or certificate of NAME, or whether NAME may come in."""
    from weirhouse.records import people as kept
    from weirhouse.records.roles import Role

    with _desk(folder) as desk:
        old = desk.person(name)
        new = replace(
            old, role=Role(role) if role else old.role, active=old.active if active is None else active,
            **_papers(certificate, grade, until),
        )  # fmt: skip
        if new == old:
            raise click.UsageError("Nothing is to be changed. See --help for what can be.")
        kept.change(desk.store, old, new, by=desk.by, now=desk.now, reason="changed at the terminal")
        if new.role != old.role:
            desk.note("role changed", new.id, f"{new.name}: {old.role} becomes {new.role}")
        if new.active != old.active:
            desk.note("account", new.id, f"{new.name}: {'may come in again' if new.active else 'comes in no more'}")
        if not new.active:
            desk.access.end_sessions(new.id)
    click.echo(f"{new.name}: {new.role}{'' if new.active else ', comes in no more'}.")


@people.command()
@click.argument("on", type=click.Choice(["on", "off"]))
@plant_option
def network(on: str, folder: Path) -> None:
    """Let other devices in (on) or keep them out (off). They reach the pages when "serve" is given a --host."""
    from weirhouse.records.people import read

    with _desk(folder) as desk:
        if on == "on" and not read(desk.store):
            raise click.ClickException("Nobody has an account yet. Add somebody first, then let other devices in.")
        desk.note("network", detail=f"other devices are {'let in' if on == 'on' else 'kept out'}")
        desk.access.set_network(on == "on")
    click.echo(f"Other devices are {'let in, and must sign in' if on == 'on' else 'kept out'}.")


def _ask() -> str:
    found: str = click.prompt("Password", hide_input=True, confirmation_prompt="The same once more")
    return found

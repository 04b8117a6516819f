"""What do the rules ask, where is it from, and who has compared it with print? List, show, confirm."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from weirhouse.cli.options import json_option, plant_option, print_json

if TYPE_CHECKING:
    from weirhouse.desk.confirming import Standing
    from weirhouse.rules.model import Requirement
    from weirhouse.rules.packs import RuleBook


@click.group()
def rules() -> None:
    """Show the rules in force and confirm what a person has compared with the printed rule."""


@rules.command("list")
@plant_option
@json_option
@click.option("--all", "everything", is_flag=True, help="Also what is told and not worked out.")
def list_(folder: Path, as_json: bool, everything: bool) -> None:
    """List the rules in force, with what is from memory and not yet compared with print."""
    from weirhouse.desk.confirming import standings

    book = _book(folder)
    some = [s for s in standings(book) if s.used or everything]
    if as_json:
        print_json({"packs": list(book.titles), "rules": [_json(s) for s in some]})
        return
    for title in book.titles:
        click.echo(title)
    click.echo()
    width = max(len(s.key) for s in some)
    for one in some:
        click.echo(f"{one.key:<{width}}  {_mark(one):<12}  {one.title}")
    open_ones = sum(s.confirmed is None for s in some)
    click.echo(f"\n{open_ones} of {len(some)} not yet compared with print.")


@rules.command()
@click.argument("rule")
@plant_option
@json_option
def show(rule: str, folder: Path, as_json: bool) -> None:
    """Show one rule whole: what it asks, its citation, where each part is from."""
    from weirhouse.desk.confirming import find

    book = _book(folder)
    one = find(book, rule)
    found = book.requirement(one.key.split("/", 1)[1])
    if as_json:
        print_json(_json(one) | ({} if found is None else _requirement(found)))
        return
    lines = [("Rule", one.title), ("Id", one.key), ("Standing", _standing(one))]
    if found is not None:
        lines += [
            (name.replace("_", " ").capitalize(), str(value)) for name, value in _requirement(found).items() if value
        ]
    for name, text in lines:
        click.echo(f"{name + ':':<16}{text}")


@rules.command()
@click.argument("rule")
@plant_option
@click.option("--edition", required=True, help="What it was compared with, like '40 CFR part 141, July 2026, printed'.")
@click.option("--person", required=True, help="Who compared it.")
def confirm(rule: str, folder: Path, edition: str, person: str) -> None:
    """Record that RULE was compared with the printed rule, by whom and with which edition."""
    from weirhouse.desk import confirming
    from weirhouse.records.store import Store

    book = _book(folder)
    with Store.open(folder) as store:
        event = confirming.confirm(store, book, rule, edition=edition, person=person, now=datetime.now(UTC))
    click.echo(f"{event.subject}: compared with {event.values['edition']} by {event.person}. Recorded.")


def _book(folder: Path) -> "RuleBook":
    from weirhouse.plant import load
    from weirhouse.records.store import Store
    from weirhouse.rules.packs import load_rules

    load(folder)
    with Store.open(folder, read_only=True) as store:
        return load_rules(folder, store.events("rule_confirmed"))


def _mark(one: "Standing") -> str:
    return (
        "confirmed"
        if one.confirmed is not None
        else {"source": "source", "memory": "from memory"}.get(one.provenance, "part memory")
    )


def _standing(one: "Standing") -> str:
    if one.confirmed is not None:
        by = one.confirmed
        return f"compared with {by.edition} by {by.person} on {by.at:%Y-%m-%d}"
    return {
        "source": "read in the source named, not yet compared by you with the printed rule",
        "memory": "from memory: compare it with the printed rule before you rely on it",
    }.get(one.provenance, "partly from memory: compare it with the printed rule before you rely on it")


def _json(one: "Standing") -> dict[str, Any]:
    by = one.confirmed
    return {
        "key": one.key, "title": one.title, "provenance": one.provenance, "worked_out": one.used,
        "confirmed": None if by is None else {"person": by.person, "at": by.at.isoformat(), "edition": by.edition},
    }  # fmt: skip


def _requirement(found: "Requirement") -> dict[str, Any]:
    limit = "" if found.limit is None else f"{found.limit:g} {found.unit}".strip()
    if found.base_limit is not None:
        limit += f" by {found.stricter_by}; {found.base_limit:g} {found.unit} in the pack below"
    return {
        "citation": found.citation, "applies_to": found.applies_to, "parameter": found.parameter,
        "location": found.location, "statistic": found.statistic, "limit": limit, "sampling": found.sampling,
        "action": found.action, "deadline": found.deadline, "notes": found.notes, "source": found.source_ref,
    }  # fmt: skip

"""How long must the records be kept, and which have been? Listed; nothing is removed."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from weirhouse.cli.options import json_option, plant_option, print_json

if TYPE_CHECKING:
    from weirhouse.records.retention import Keep, Past

CAUTION = "These are federal minimums; your State, and a lawsuit or an order that is open, may ask for more."


@click.command()
@plant_option
@json_option
@click.option("--on", type=click.DateTime(["%Y-%m-%d"]), help="As of this day.", show_default="today")
def retention(folder: Path, as_json: bool, on: datetime | None) -> None:
    """Say how long records must be kept, and list those that have been kept that long.

    A dry run: the ledger is a chain, and nothing is ever removed from it.
    """
    from weirhouse.plant import load
    from weirhouse.records.retention import past, table
    from weirhouse.records.store import Store

    plant = load(folder)
    day = (on or datetime.now(UTC).astimezone(plant.zone)).date()
    with Store.open(folder, read_only=True) as store:
        found = past(store, day)
    if as_json:
        print_json({"day": day.isoformat(), "keep": [_row(k) for k in table()], "past": [_past(p) for p in found]})
        return
    for keep in table():
        click.echo(f"{keep.years:3d} years from {keep.since}: {keep.records} [{keep.basis}; {keep.source}]")
    click.echo()
    for one in found:
        click.echo(
            f"Kept since {one.first:%Y-%m-%d}, longer than {one.keep.years} years up to {one.last:%Y-%m-%d}: "
            f"{one.count:,} of {one.kind} {one.topic} [{one.keep.basis}]"
        )
    click.echo(
        f"On {day} {len(found) or 'none'} of the kinds of records here {'has' if len(found) < 2 else 'have'} some that "
        "were kept as long as this table asks. Nothing was removed, and nothing ever is by itself."
    )
    click.echo(CAUTION)


def _row(keep: "Keep") -> dict[str, str | int]:
    return {
        "id": keep.id, "records": keep.records, "years": keep.years, "since": keep.since, "basis": keep.basis,
        "source": keep.source,
    }  # fmt: skip


def _past(past: "Past") -> dict[str, str | int]:
    return {
        "kind": past.kind, "topic": past.topic, "keep": past.keep.id, "count": past.count,
        "first": past.first.isoformat(), "last": past.last.isoformat(),
    }  # fmt: skip

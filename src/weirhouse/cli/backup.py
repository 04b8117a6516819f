"""How does one make a backup by hand, and how does one get the records back from it?"""

from datetime import UTC, datetime, tzinfo
from pathlib import Path

import click

from weirhouse.cli.options import json_option, person, plant_option, print_json


@click.command()
@plant_option
@click.option("--to", "to", type=click.Path(path_type=Path), multiple=True, help="Another place than the plant file's.")
@json_option
@click.pass_context
def backup(context: click.Context, folder: Path, to: tuple[Path, ...], as_json: bool) -> None:
    """Copy the whole plant to every place, restore each copy for a trial and compare it.

    Leaves with exit status 1 when a place that is not removable took none, and 2 when no place took one.
    """
    from weirhouse.plant import load
    from weirhouse.records import backup_run
    from weirhouse.records.model import RecordsError

    outcomes = backup_run.run(folder, load(folder), whole=True, at=datetime.now(UTC), to=to)
    good = [one for one in outcomes if one.path]
    if not good:
        raise RecordsError(" ".join(one.fault for one in outcomes))
    if as_json:
        print_json([
            {"place": str(one.place.path), "backup": str(one.path) if one.path else None, "fault": one.fault}
            for one in outcomes
        ])  # fmt: skip
    else:
        for one in good:
            assert one.manifest is not None
            count = one.manifest.sequence
            click.echo(
                f"{one.path}: {count:,} entries and {one.manifest.rows:,} values of series, restored for a trial and "
                "verified."
            )
        for one in outcomes:
            if one.fault:
                click.echo(f"No backup there: {one.fault}", err=True)
    if any(one.fault and not one.place.removable for one in outcomes):
        context.exit(1)


@click.command()
@click.argument("source", metavar="BACKUP", type=click.Path(path_type=Path))
@click.option(
    "--to", "to", required=True, metavar="DIR", type=click.Path(path_type=Path), help="A folder that is not there yet."
)
def restore(source: Path, to: Path) -> None:
    """Put the records of BACKUP, or of the newest one in a place, into the new folder DIR.

    What it holds is verified before and after. Nothing is ever written over.
    """
    from weirhouse.plant import PlantError, load
    from weirhouse.records import access_log
    from weirhouse.records import restore as restoring
    from weirhouse.records.store import Store

    done = restoring.restore(source, to)
    said = done.manifest
    with Store.open(to) as store:  # the chain goes on with who brought it back, and from what
        access_log.note(store, access_log.RESTORE, person=person(), now=datetime.now(UTC), detail=done.backup.name)
    try:
        zone: tzinfo = load(to).zone  # the operator's clock, not the one of the backup's name
    except PlantError:
        zone = UTC
    click.echo(
        f"{to} holds {said.plant} as of {said.made_at.astimezone(zone):%Y-%m-%d %H:%M %Z}, verified before and after:"
    )
    click.echo(
        f"  {sum(said.counts.values()):,} entries; the chain ends in entry {said.sequence} with {said.head[:12]}."
    )
    if said.last_entered_at is not None:
        last = f"{said.last_entered_at.astimezone(zone):%Y-%m-%d %H:%M %Z}"
        click.echo(f"  The last was entered {last}. Enter again what came after it.")
    click.echo(f"  It came from {done.backup}.")
    click.echo(f"Look at it, then serve it:\n  weirhouse check --plant {to}\n  weirhouse serve --plant {to}")

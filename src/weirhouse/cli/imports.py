"""How does a file get into the records, and out again whole?"""

from datetime import UTC, datetime
from pathlib import Path

import click

from weirhouse.cli.options import json_option, person, plant_option, print_json


@click.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@plant_option
@click.option("--mapping", type=click.Path(path_type=Path), help="A TOML file that says what the columns are.")
@click.option("--dry-run", is_flag=True, help="Show exactly what would be stored; store nothing.")
@click.option("--person", "who", metavar="NAME", help="Who brings the file in; without it the user of this terminal.")
@click.option("--reason", default="", help="Why it comes late, where it reaches into a day or month that is closed.")
@click.option("--samples", is_flag=True, help="Take results in the columns of WQX as samples and results.")
@json_option
def import_(
    file: Path, folder: Path, mapping: Path | None, dry_run: bool, who: str | None, reason: str, samples: bool,
    as_json: bool,
) -> None:  # fmt: skip
    """Read a logger's or laboratory's FILE into the records.

    A second import of the same file stores nothing; an import is taken back whole with "weirhouse withdraw". The file
    is kept byte for byte.
    """
    from weirhouse.plant import load
    from weirhouse.records.importing import import_file
    from weirhouse.records.store import Store

    plant = load(folder)
    by, now = who or person(), datetime.now(UTC)
    with Store.open(folder, read_only=dry_run) as store:
        if samples:
            from weirhouse.records.importing import wqx

            brought = wqx.import_results(
                store, plant.zone, file, dry_run=dry_run, person=by, entered_at=now, reason=reason
            )
            said, text = brought.as_json(), brought.text(dry_run)
        else:
            done = import_file(store, plant, file, mapping, dry_run=dry_run, person=by, entered_at=now, reason=reason)
            said, text = done.as_json(), done.text()
    if as_json:
        print_json(said)
    else:
        click.echo(text)


@click.command()
@click.argument("import_id", required=False)
@plant_option
@click.option("--reason", help="Why; it stays in the records.")
@click.option("--person", "who", metavar="NAME")
@json_option
def withdraw(import_id: str | None, folder: Path, reason: str | None, who: str | None, as_json: bool) -> None:
    """Withdraw the import IMPORT_ID whole; without it list the imports.

    Nothing is deleted: the rows stay in the records and no longer count.
    """
    from weirhouse.plant import load
    from weirhouse.records.store import Store

    plant = load(folder)
    if import_id is None:
        with Store.open(folder, read_only=True) as store:
            found = list(store.imports())
        if as_json:
            print_json(
                {
                    "imports": [
                        {
                            "import_id": i.id,
                            "name": i.name,
                            "stored": i.stored,
                            "person": i.person,
                            "entered_at": i.entered_at.astimezone(plant.zone).isoformat(),
                            "withdrawn": i.withdrawn is not None,
                        }
                        for i in found
                    ]
                }
            )
            return
        for one in found:
            mark = "  (withdrawn)" if one.withdrawn else ""
            at = one.entered_at.astimezone(plant.zone)
            click.echo(f"{one.id}  {at:%Y-%m-%d %H:%M}  {one.stored} values  {one.name}  {one.person}{mark}")
        if not found:
            click.echo("No file has been imported.")
        return
    if not reason:
        raise click.UsageError('Say why with --reason "wrong logger": it stays in the records.')
    with Store.open(folder) as store:
        store.withdraw_import(import_id, person=who or person(), reason=reason, entered_at=datetime.now(UTC))
    if as_json:
        print_json({"import_id": import_id, "withdrawn": True})
    else:
        click.echo(f"Import {import_id} no longer counts.")


@click.command()
@plant_option
@click.argument("import_id")
@click.option("--to", type=click.Path(path_type=Path), required=True, help="Where to write it; nothing is replaced.")
def original(folder: Path, import_id: str, to: Path) -> None:
    """Write an imported file out again, byte for byte; "weirhouse withdraw" lists the imports with their ids."""
    from weirhouse.records.store import Store

    with Store.open(folder, read_only=True) as store:
        content = store.original(import_id)
    try:
        with to.open("xb") as file:
            file.write(content)
    except FileExistsError:
        raise click.ClickException(f"{to} is there. Name another file; nothing is replaced.") from None
    click.echo(f"{to}: {len(content):,} bytes, as they were imported.")

"""How does a plant take its records to a district's server, and back?"""

import re
from pathlib import Path

import click

from weirhouse.cli.options import plant_option


@click.command()
@plant_option
@click.option(
    "--to", required=True, metavar="ADDRESS", help="postgresql://..., $NAME of a variable that holds it, or a folder."
)
@click.option("--schema", default="", help="On a server: a short name for this plant.", show_default="from its name")
def move(folder: Path, to: str, schema: str) -> None:
    """Take the records to a district's PostgreSQL server, or back into a folder.

    All entries are copied with their seals, the copy is verified, and only then does the plant file name it. What was
    copied stays where it was, as it was. Nobody can enter anything meanwhile. People and passwords stay in the folder.
    """
    from weirhouse.plant import load
    from weirhouse.records import moving

    plant = load(folder)
    schema = schema or _short(plant.name)
    before = moving.where_of(folder)
    moved, used = moving.move(folder, to, schema)
    click.echo(
        f"{moved.entries:,} entries and {moved.chunks:,} parts of series were copied and verified; the chain ends in "
        f"{moved.seal[:16]}, as before."
    )
    if used:
        click.echo(f"{folder / 'plant.toml'} names them now. The old ones stay in {before} and are used no more.")
    else:
        click.echo(f"The plant goes on with the records in {before}.")


def _short(name: str) -> str:
    """Return a short name for a schema.

    >>> _short("Emberly Water Works")
    'emberly_water_works'
    """
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")[:40] or "plant"

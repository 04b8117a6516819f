"""What is coming? The hours ahead in a terminal, and as one JSON object."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from weirhouse.cli.options import json_option, moment, plant_option, print_json

if TYPE_CHECKING:
    from collections.abc import Callable

    from weirhouse.desk.ahead import Ahead


@click.command()
@plant_option
@click.option("--at", "at_text", metavar="WHEN", help='The instant, on the plant\'s clock: "2026-06-17 14:05".')
@click.option("--hours", type=click.IntRange(1, 72), default=72, show_default=True, help="How far to look.")
@click.option("--members", type=click.IntRange(20, 5000), default=500, show_default=True, help="How many futures.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="The same seed, the same futures.")
@click.option("--weather", default="", metavar="WORDS", help='What you expect: "heavy rain tonight".')
@json_option
def ahead(folder: Path, at_text: str | None, hours: int, members: int, seed: int, weather: str, as_json: bool) -> None:
    """Say what the stream may bring and what the plant would make of it, as usual and with the intake shut."""
    from weirhouse import plant as plants
    from weirhouse import situation as situations
    from weirhouse.desk import ahead as desk
    from weirhouse.records.store import Store
    from weirhouse.situation.past import past

    plant = plants.load(folder)
    with Store.open(folder, read_only=True) as store:
        when = moment(at_text, plant, store)
        situation, before = situations.at(store, plant, when), past(store, plant, when)

    def made(progress: "Callable[[float, str], None] | None" = None) -> "Ahead":
        return desk.ahead(
            situation, before, hours=hours, members=members, seed=seed, weather=weather, progress=progress
        )

    if as_json:
        print_json(desk.ahead_json(made()))
        return
    _show(_with_bar(made))


def _with_bar(made: "Callable[[Callable[[float, str], None] | None], Ahead]") -> "Ahead":
    """Show how far it is on standard error while it is worked out."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    console = Console(stderr=True)
    with Progress(TextColumn("{task.description}"), BarColumn(), console=console, transient=True) as bar:
        task = bar.add_task("looking ahead", total=1.0)
        return made(lambda share, what: bar.update(task, completed=share, description=what))


def _show(found: "Ahead") -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from weirhouse.desk.ahead import WAYS
    from weirhouse.desk.model import STATE_MARKS

    console = Console(highlight=False)
    if found.demo:
        console.print(Text("DEMONSTRATION: Emberly is invented. None of this is a real plant's record."))
    here = f"{found.at:%A %d %B %Y, %H:%M} {found.at.tzname() or ''}".strip()
    console.print(Text(f"{found.plant.name}, {here}, the next {found.hours} h\n"))
    console.print(Text(f"{STATE_MARKS[found.order_state]} {found.order}\n", style="bold"))
    for line in found.says:
        console.print(Text(line))
    console.print()
    console.print(Text("Raw turbidity (nine in ten futures lie between the first and the last figure)"))
    for lead in found.leads:
        console.print(Text(f"    in {lead.hours:2d} h, {lead.at}: {lead.low} ... {lead.middle} ... {lead.high}"))
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("")
    for _, name in WAYS:
        table.add_column(name)
    for row in found.rows:
        table.add_row(row.title, *row.cells)
    console.print()
    console.print(table)
    if found.closing:
        console.print(Text("\nIntake shut from now: chance that the tank is below its reserve"))
        for hour in found.closing:
            console.print(Text(f"    after {hour.hours:2d} h, {hour.until}: {hour.chance}"))
    for title, lines in (("What it stands on", found.basis), ("What it does not know", found.unknown)):
        console.print(Text(f"\n{title}"))
        for line in lines:
            console.print(Text(f"    {line}"))
    console.print(Text("\nAs usual means"))
    for what, how in found.ways:
        console.print(Text(f"    {what}: {how}"))
    console.print(Text(f"\nCaution: {found.caution}"))

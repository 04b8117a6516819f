"""What should I do now? Today in a terminal, and as one JSON object."""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from weirhouse.cli.options import json_option, moment, plant_option, print_json

if TYPE_CHECKING:
    from weirhouse.desk.model import Advice, Today


@click.command()
@plant_option
@click.option("--at", "at_text", metavar="WHEN", help='The instant, on the plant\'s clock: "2026-06-17 14:05".')
@click.option("--working", is_flag=True, help="Show the working of every number.")
@click.option("--line", "line_id", metavar="ID", help="Show one line in full, with its working.")
@json_option
def today(folder: Path, at_text: str | None, working: bool, line_id: str | None, as_json: bool) -> None:
    """Say what to set now, and why."""
    from weirhouse.desk.today_json import today_json

    found = answer(folder, at_text)
    if as_json:
        print_json(today_json(found, found.unit_set))
        return
    if line_id is not None:
        lines = {line.id: line for line in found.advice}
        if line_id not in lines:
            raise click.UsageError(f'There is no line "{line_id[:40]}" today. The lines are {", ".join(lines)}.')
        show_line(lines[line_id], found.unit_set)
        return
    show_today(found, working=working)


def answer(folder: Path, at_text: str | None) -> "Today":
    """Return Today of a plant folder at an instant."""
    from weirhouse import plant as plants
    from weirhouse import situation as situations
    from weirhouse.desk import today as todays
    from weirhouse.desk.so_far import month_so_far
    from weirhouse.records.store import Store

    plant = plants.load(folder)
    with Store.open(folder, read_only=True) as store:
        when = moment(at_text, plant, store)
        situation, so_far = situations.at(store, plant, when), month_so_far(store, plant, folder, when)
    return todays.today(situation, *so_far)


def show_today(found: "Today", *, working: bool = False) -> None:
    """Print Today: the order first, then a line for each decision."""
    from rich.console import Console
    from rich.text import Text

    from weirhouse.desk.model import STATE_MARKS, STATE_WORDS
    from weirhouse.situation.ages import age_text

    console = Console(highlight=False)
    if found.demo:
        console.print(Text("DEMONSTRATION: Emberly is invented. None of this is a real plant's record."))
    console.print(Text(f"{found.plant}, {_clock(found.at)}\n"))
    console.print(Text(f"{STATE_MARKS[found.order_state]} {found.order}\n", style="bold"))
    for line in found.advice:
        head = Text(f"{STATE_MARKS[line.state]} {line.title}")
        if line.shown:
            head.append(f": {line.shown}", style="bold")
        age = "" if line.age_s is None else f", {age_text(line.age_s)} old"
        head.append(f"  ({STATE_WORDS[line.state]}{age})")
        console.print(head)
        for text in _below(line):
            console.print(_padded(text))
        if line.caution and line.state != "steady":
            console.print(_padded(f"Caution: {line.caution}"))
        if working and line.working is not None:
            console.print(_padded(line.working.text(found.unit_set)))
    for note in found.notes:
        console.print(Text(note))
    console.print()
    for caution, titles in _cautions(found).items():
        console.print(Text(f"Caution: {caution}", style="bold"))
        console.print(_padded(f"({', '.join(titles)})"))
    console.print(Text(f"\n{STATE_MARKS[found.order_state]} {found.order}", style="bold"))  # what is left on the screen
    marks = ", ".join(f"{STATE_MARKS[state]} {word}" for state, word in STATE_WORDS.items())
    console.print(Text(f"\n{marks}"))
    console.print(Text("The working of a line: weirhouse today --line ID; of all of them: --working."))
    console.print(Text("Advice only. Your permit, your State and your own eyes come first."))


def _below(line: "Advice") -> list[str]:
    found = [line.action]
    if line.check and line.check not in line.action:
        found.append(f"Check: {line.check}")
    if line.because:
        found.append(f"Because: {line.because}")
    found.append(f"How sure: {line.confidence}")
    return found


def _cautions(found: "Today") -> dict[str, list[str]]:
    """Return the cautions of what is left as it is, each once with the lines it belongs to."""
    cautions: dict[str, list[str]] = {}
    for line in found.advice:
        if line.caution and line.state == "steady":
            cautions.setdefault(line.caution, []).append(line.title)
    return cautions


def _padded(text: str) -> object:
    from rich.padding import Padding
    from rich.text import Text

    return Padding(Text(text), (0, 0, 0, 4), expand=False)


def show_line(line: "Advice", unit_set: str) -> None:
    """Print one line in full."""
    from weirhouse.desk.model import STATE_MARKS, STATE_WORDS

    click.echo(f"{STATE_MARKS[line.state]} {line.title}: {line.shown or STATE_WORDS[line.state]}")
    for text in [*_below(line), *([f"Caution: {line.caution}"] if line.caution else [])]:
        click.echo(f"    {text}")
    for figure in line.figures:
        beside = f"   ({figure.against})" if figure.against else ""
        outside = "   outside that" if figure.within is False else ""
        click.echo(f"    {figure.title}: {figure.shown}{beside}{outside}")
    if line.working is not None:
        click.echo("")
        click.echo(line.working.text(unit_set))


def _clock(at: datetime) -> str:
    return f"{at:%A %d %B %Y, %H:%M} {at.tzname() or ''}".strip()

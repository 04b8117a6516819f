"""Is this plant folder in order? The plant file, every unit against published designs, and the records."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from weirhouse.cli.options import json_option, moment, plant_option, print_json

if TYPE_CHECKING:
    from weirhouse.plant import Finding, Plant
    from weirhouse.records.store import Store
    from weirhouse.working import Known

TEMPERATURE = "raw_temperature"
USUAL_TEMPERATURE = 10.0  # [degC], where none is on record
KINDS = ("implausible", "missing", "due", "outside", "unknown", "inside")  # in the order in which they are told


@click.command()
@plant_option
@json_option
@click.option("--working", is_flag=True, help="Show the working of every figure.")
@click.pass_context
def check(context: click.Context, folder: Path, as_json: bool, working: bool) -> None:
    """Check plant file, rule packs and records; compare every unit with published design ranges.

    Leaves with exit status 1 when the records are not as they were entered, or when something in the plant file can
    hardly be so. A figure outside its range, and work that is due, are listed and are no
    fault by themselves.
    """
    from weirhouse.desk.state_form import fitting
    from weirhouse.plant import check as check_plant
    from weirhouse.plant import load
    from weirhouse.records import backup_offer, backup_run, witness
    from weirhouse.records.model import RecordsError
    from weirhouse.records.store import Store
    from weirhouse.rules.packs import load_rules

    plant = load(folder)
    fitting(plant, load_rules(folder))  # a wrong local pack is refused with its line, before anything is counted
    with Store.open(folder, read_only=True) as store:
        problems = store.verify()
        if not problems:
            problems = witness.contradictions(store)
        try:
            first, last = store.span()
            now = moment(None, plant, store)
            flow, temperature = _flow(plant, store, now), _temperature(plant, store, now)
        except RecordsError as error:  # a series file that cannot be read is one of the problems
            if not problems:
                problems = [str(error)]
            first = last = None
            now = datetime.now(UTC)
            flow, temperature = _design_flow(plant), _usual_temperature()
    found = check_plant(plant, flow=flow, temperature=temperature, on=now.astimezone(plant.zone).date())
    backups = backup_run.standing(folder, plant, datetime.now(UTC))
    offer = backup_offer.sentence(folder) if problems else ""
    ok = not problems and not any(f.kind == "implausible" for f in found)
    if as_json:
        told = [{"words": one.words, "fault": one.fault} for one in backups]
        print_json({**_json(plant, found, problems, first, last, ok), "backups": told})
    else:
        _show(plant, found, problems, (first, last), flow, temperature, working, [one.words for one in backups], offer)
    if not ok:
        context.exit(1)


# --- what the units are worked at --------------------------------------------------------------------------------


def _flow(plant: "Plant", store: "Store", now: datetime) -> "Known | None":
    """Return the newest flow on record that is above zero, else the design flow."""
    from weirhouse.situation.at import flow_channel

    return _newest(plant, store, flow_channel(plant), now, "m^3/s", above_zero=True) or _design_flow(plant)


def _design_flow(plant: "Plant") -> "Known | None":
    return None if plant.design_flow is None else plant.known("plant.design_flow")


def _temperature(plant: "Plant", store: "Store", now: datetime) -> "Known":
    found = _newest(plant, store, TEMPERATURE, now, "degC")
    return _usual_temperature() if found is None else found


def _usual_temperature() -> "Known":
    from weirhouse.working import Default, Known

    return Known(USUAL_TEMPERATURE, Default("no temperature is on record", "taken as a usual one"), "degC")


def _newest(
    plant: "Plant", store: "Store", channel: str, now: datetime, inside: str, *, above_zero: bool = False
) -> "Known | None":
    """Return the newest value of a channel that nobody doubts, with its reading; looked for ever further back."""
    import numpy as np

    from weirhouse.working import Known, Reading

    known = plant.channels.get(channel)
    if known is None or known.inside != inside:
        return None
    until = now + timedelta(seconds=1)
    for since in (now - timedelta(days=8), None):
        series = store.values(channel, since, until)
        good = np.isfinite(series.values) & (series.flags == 0)
        if above_zero:
            good &= series.values > 0
        if good.any():
            last = int(np.flatnonzero(good)[-1])
            taken = datetime.fromtimestamp(int(series.times[last]), UTC).astimezone(plant.zone)
            return Known(float(series.values[last]), Reading(known.name, "", taken, "the newest on record"), inside)
    return None


# --- how it is told ----------------------------------------------------------------------------------------------


def _json(
    plant: "Plant",
    found: Sequence["Finding"],
    problems: Sequence[str],
    first: datetime | None,
    last: datetime | None,
    ok: bool,
) -> dict[str, Any]:
    def iso(moment: datetime | None) -> str | None:
        return None if moment is None else moment.astimezone(plant.zone).isoformat()

    return {
        "ok": ok,
        "plant": [finding.json(plant.unit_set) for finding in found],
        "records": {"problems": list(problems), "first": iso(first), "last": iso(last)},
    }


def _show(
    plant: "Plant",
    found: Sequence["Finding"],
    problems: Sequence[str],
    span: tuple[datetime | None, datetime | None],
    flow: "Known | None",
    temperature: "Known",
    working: bool,
    backups: Sequence[str],
    offer: str,
) -> None:
    """Print what is wrong first, then what is missing, then every unit with its range, then the verdict."""
    from rich.console import Console
    from rich.padding import Padding
    from rich.text import Text

    console = Console(highlight=False, soft_wrap=False)

    def lines(title: str, texts: Sequence[str]) -> None:
        if texts:
            console.print(Text(title, style="bold"))
            for text in texts:
                console.print(Padding(Text(text), (0, 0, 0, 4)))
            console.print()

    if plant.demo:
        console.print(Text("DEMONSTRATION: Emberly is invented. None of this is a real plant's record."))
    lines("The records are not as they were entered", [*problems, offer] if offer else problems)
    lines("Implausible", [_with_source(f) for f in found if f.kind == "implausible"])
    lines("Missing", [f"{f.title}: {f.text}" for f in found if f.kind == "missing"])
    lines("Due", [f"{f.title}: {f.text}" for f in found if f.kind == "due"])
    lines("Cannot tell", [f.text for f in found if f.kind == "unknown"])
    console.print(Text(_basis(plant, flow, temperature)))
    console.print()
    for kind, title in (("outside", "Outside its range"), ("inside", "Within its range")):
        some = [f for f in found if f.kind == kind]
        lines(title, [f.text for f in some if not working])
        if working and some:
            console.print(Text(title, style="bold"))
            for finding in some:
                console.print(Padding(Text(finding.text), (0, 0, 0, 4)))
                if finding.sheet is not None:
                    console.print(Padding(Text(finding.sheet.text(plant.unit_set)), (0, 0, 0, 8)))
    for text in (_span_words(plant, span), *backups):
        console.print(Text(text))
    console.print(Text(_verdict(found, problems), style="bold"))


def _with_source(finding: "Finding") -> str:
    source = f" [{finding.source}]" if finding.source else ""
    return f"{finding.title}: {finding.text}{source}"


def _basis(plant: "Plant", flow: "Known | None", temperature: "Known") -> str:
    """Return what the units are worked at and where that comes from."""
    from weirhouse.quantity import show

    flow_unit, degree = ("gpm", "degF") if plant.unit_set == "US" else ("L/s", "degC")
    water = f"water of {show(temperature, 'degC', degree)} ({temperature.source})"
    if flow is None:
        return f"No flow is on record and the plant file gives no design flow; {water}."
    return f"Worked at {show(flow, 'm^3/s', flow_unit)} ({flow.source}) and {water}."


def _span_words(plant: "Plant", span: tuple[datetime | None, datetime | None]) -> str:
    first, last = span
    if first is None or last is None:
        return "The records hold no reading yet."
    begin, end = (moment.astimezone(plant.zone) for moment in (first, last))
    return f"The records run from {begin:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M}."


def _verdict(found: Sequence["Finding"], problems: Sequence[str]) -> str:
    """Return in one sentence how it stands.

    >>> _verdict([], [])
    'The records are as they were entered; the plant file misses nothing and holds nothing implausible.'
    """
    count = {kind: sum(f.kind == kind for f in found) for kind in KINDS}
    records = "are as they were entered"
    if problems:
        records = f"have {len(problems)} problem{'s' if len(problems) > 1 else ''}"
    missing, odd = (_some(count[kind]) for kind in ("missing", "implausible"))
    held = count["outside"] + count["inside"]
    verb, whose = ("lies", "its") if count["outside"] == 1 else ("lie", "their")
    figures = f"; {count['outside'] or 'none'} of {held} figures {verb} outside {whose} range" if held else ""
    return f"The records {records}; the plant file misses {missing} and holds {odd} implausible{figures}."


def _some(count: int) -> str:
    return "nothing" if count == 0 else f"{count} thing{'s' if count > 1 else ''}"

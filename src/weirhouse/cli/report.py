"""How is a report written from a terminal? Monthly and yearly, to a file; and what still keeps a month open."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from weirhouse.cli.options import json_option, moment, plant_option, print_json

if TYPE_CHECKING:
    from weirhouse.desk.proof import MonthProof
    from weirhouse.reports.paper import Paper as PaperName

PAPERS = ("letter", "a4")
KINDS = (".pdf", ".json", ".csv")


@click.group()
def report() -> None:
    """Write the month's report, or the year's figures, as PDF, JSON or CSV."""


at_option = click.option("--at", "at_text", metavar="WHEN", help='Judge as of then: "2026-10-03 08:00".')
paper_option = click.option(
    "--paper", type=click.Choice(PAPERS), default="letter", show_default=True, help="The sheet of the PDF."
)
out_option = click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="The file: its ending says pdf, json or csv."
)


@report.command()
@click.argument("month", metavar="YYYY-MM")
@plant_option
@out_option
@paper_option
@at_option
@click.option("--preview", is_flag=True, help="List what still keeps the month from being closed; write nothing.")
@json_option
def monthly(
    month: str, folder: Path, out: Path | None, paper: str, at_text: str | None, preview: bool, as_json: bool
) -> None:
    """Write the report of a month."""
    kind = "" if out is None or preview else _kind(out)
    proof = _judged(folder, month, at_text)
    if preview:
        _preview(proof, as_json=as_json)
        return
    from weirhouse.reports.monthly import MonthlyReport

    made = MonthlyReport(proof)
    if out is None:
        if not as_json:
            raise click.UsageError("Say where to with --out FILE.pdf, .json or .csv; or look at it with --preview.")
        print_json(made.figures)
        return
    out.write_bytes(made.written(kind, _paper(paper)))
    from weirhouse.desk.proof import answer

    click.echo(f"{out}: {answer(proof)}", err=True)
    if proof.records.since:
        number = len(proof.records.since)
        click.echo(
            f"{number} {'entry' if number == 1 else 'entries'} came after the month was closed; the report lists "
            f"{'it' if number == 1 else 'them'}.",
            err=True,
        )
    if made.differs:
        click.echo(made.differs, err=True)
    if as_json:
        print_json(
            {"file": str(out), "digest": made.digest, "open": len(proof.open), "closed": proof.closed is not None}
        )


@report.command()
@click.argument("year", metavar="YYYY", type=click.IntRange(1970, 8999))
@plant_option
@out_option
@paper_option
@at_option
@json_option
def yearly(year: int, folder: Path, out: Path | None, paper: str, at_text: str | None, as_json: bool) -> None:
    """Write the figures of a year: for the consumer confidence report, the months, and what to keep how long."""
    from weirhouse import plant as plants
    from weirhouse.desk.judging import year_judged
    from weirhouse.records.store import Store
    from weirhouse.reports.yearly import YearlyReport

    kind = "" if out is None else _kind(out)
    plant = plants.load(folder)
    with Store.open(folder, read_only=True) as store:
        made = YearlyReport(year_judged(store, plant, folder, year, moment(at_text, plant, store)))
    if out is None:
        if not as_json:
            raise click.UsageError("Say where to with --out FILE.pdf, .json or .csv.")
        print_json(made.figures)
        return
    out.write_bytes(made.written(kind, _paper(paper)))
    click.echo(f"{out}: {made.figures['answer']}", err=True)


def _kind(out: Path) -> str:
    """Return which kind of file is asked for; refused before anything is worked out where it cannot be written."""
    if out.suffix.lower() not in KINDS:
        raise click.UsageError(f'"{out.name}" ends with neither .pdf, .json nor .csv. Give it one of these endings.')
    if not out.parent.is_dir():
        raise click.UsageError(f"The folder {out.parent} does not exist. Make it, or write to another folder.")
    return out.suffix.lower()[1:]


def _paper(name: str) -> "PaperName":
    return "a4" if name == "a4" else "letter"


def _judged(folder: Path, month: str, at_text: str | None) -> "MonthProof":
    from weirhouse import plant as plants
    from weirhouse.desk.judging import judged
    from weirhouse.records.store import Store

    plant = plants.load(folder)
    with Store.open(folder, read_only=True) as store:
        return judged(store, plant, folder, month, moment(at_text, plant, store), settled=True)


def _preview(proof: "MonthProof", *, as_json: bool) -> None:
    """Print what is open; exit status 1 when anything is and the month is not closed."""
    from weirhouse.desk.proof import OPEN_WORDS, answer

    if as_json:
        print_json(
            {
                "month": proof.month, "answer": answer(proof), "closed": proof.closed is not None,
                "open": [
                    {"kind": o.kind, "sentence": o.sentence, "id": o.id, "day": str(o.day) if o.day else ""}
                    for o in proof.open
                ],
            }
        )  # fmt: skip
    else:
        click.echo(answer(proof))
        last = ""
        for one in proof.open:
            if one.kind != last:
                click.echo(f"\n{OPEN_WORDS[one.kind]}")
                last = one.kind
            click.echo(f"  {one.sentence}")
    if proof.open and proof.closed is None:
        sys.exit(1)

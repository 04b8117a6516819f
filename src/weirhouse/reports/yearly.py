"""What does the year come to? Figures for the consumer confidence report, the year's months, and how long to keep what.

The report to the consumers is the operator's own text; these are the figures that it must hold: of each thing found its
range, its highest level in the terms of the rule, the unit, and of turbidity the highest single value and the lowest
monthly percentage within the limit.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from importlib.metadata import version
from typing import Any

from weirhouse.desk import proof as proofs
from weirhouse.desk.judging import YearProof
from weirhouse.desk.month_table import MonthTable
from weirhouse.quantity import QuantityError, convert, fits, label, show, written
from weirhouse.records import retention
from weirhouse.records.analytes import analytes
from weirhouse.records.cells import csv_text
from weirhouse.records.model import Result
from weirhouse.reports import figures
from weirhouse.reports.paper import Paper, pdf_bytes
from weirhouse.rules.model import Outcome

FOOT = "Figures for the consumer confidence report (40 CFR 141.153). The text is yours; the State may ask for more."
TURBIDITY = ("share_within", "none_above")


@dataclass(frozen=True)
class YearlyReport:
    """The report of a year: its figures, and each of its files."""

    proof: YearProof

    @cached_property
    def figures(self) -> dict[str, Any]:
        """The report as plain data: what the JSON file holds."""
        proof = self.proof
        return {
            "report": "yearly", "made_with": f"Weirhouse {version('weirhouse')}",
            "demonstration": figures.DEMO if proof.plant.demo else "", "plant": figures.plant_figures(proof.plant),
            "year": proof.year, "months_on_record": [m.month for m in proof.months],
            "answer": answer(proof), "turbidity": list(_turbidity(proof)), "found": list(_found(proof)),
            "judged": list(_judged(proof)), "months": [_month(m.table, m.month, m) for m in proof.months],
            "packs": list(proof.book.titles), "keep": [
                {"records": k.records, "years": k.years, "since": k.since, "basis": k.basis, "source": k.source}
                for k in retention.table()
            ],
            "caution": figures.CAUTION,
        }  # fmt: skip

    def json(self) -> bytes:
        """Return the JSON file."""
        return figures.json_bytes(self.figures)

    def csv(self) -> bytes:
        """Return the CSV file."""
        return ("\N{ZERO WIDTH NO-BREAK SPACE}" + csv_text(_rows(self.figures))).encode()

    def pdf(self, paper: Paper = "letter") -> bytes:
        """Return the PDF on letter or A4."""
        year = self.proof.year
        last = self.proof.months[-1].records.at.astimezone(self.proof.plant.zone) if self.proof.months else None
        dated = f"{last:%Y-%m-%d}" if last is not None else f"{year}-12-31"
        data = self.figures | {"title": f"Year {year}", "dated": dated, "foot": FOOT}
        return pdf_bytes("yearly", data, paper)

    def written(self, kind: str, paper: Paper = "letter") -> bytes:
        """Return the file of a kind: pdf, json or csv."""
        return {"pdf": lambda: self.pdf(paper), "json": self.json, "csv": self.csv}[kind]()


def answer(proof: YearProof) -> str:
    """Return the year in one sentence."""
    if not proof.months:
        return f"Nothing of {proof.year} is on record."
    broken = sum(m.result.count("broken") for m in proof.months)
    closed = sum(m.closed is not None for m in proof.months)
    number = len(proof.months)
    words = "no limit was broken" if not broken else f"{broken} limit{'' if broken == 1 else 's'} were broken"
    words = words.replace("1 limit were", "1 limit was")
    return f"{proof.year}: {number} month{'' if number == 1 else 's'} on record, {closed} closed; {words}."


def _turbidity(proof: YearProof) -> Iterator[dict[str, Any]]:
    """Yield what the report says of turbidity: the highest single value, the lowest monthly share within the limit."""
    for method, what in zip(
        TURBIDITY, ("lowest monthly percentage within the limit", "highest single value"), strict=True
    ):
        told = [
            (m.month, o) for m in proof.months for o in m.result.outcomes
            if o.requirement.check.get("method") == method and o.subject == "combined_turbidity" and o.value is not None
        ]  # fmt: skip
        by: dict[str, list[tuple[str, Outcome]]] = {}
        for month, outcome in told:
            by.setdefault(outcome.requirement.id, []).append((month, outcome))
        for some in by.values():
            pick = min if method == "share_within" else max
            month, worst = pick(some, key=lambda one: one[1].value or 0.0)
            yield {
                "what": what, "month": month, "value": worst.value, "shown": worst.shown,
                "limit": proofs.limit_text(worst.requirement, worst.limit), "citation": worst.requirement.citation,
                "broken_in": [m for m, o in some if o.status == "broken"],
                "cannot_tell_in": [m for m, o in some if o.status == "cannot tell"],
            }  # fmt: skip


def _found(proof: YearProof) -> Iterator[dict[str, Any]]:
    """Yield each thing that laboratories looked for: how often, how often found, range, mean where all were found."""
    by: dict[str, list[Result]] = {}
    for result in proof.results:
        by.setdefault(result.analyte, []).append(result)
    points = {sample.id: sample.point for sample in proof.samples}
    for analyte, some in sorted(by.items(), key=lambda one: proofs.analyte_name(proof.plant, one[0])):
        known = analytes().get(analyte)
        inside = known.inside if known is not None else "g/m^3"
        unit = known.unit if known is not None else some[-1].unit
        counted = [r for r in some if r.flag != "rejected" and "R" not in r.lab_flags]
        values = [r.value for r in counted if r.value is not None and not r.qualifier]
        presence = known is not None and known.presence
        shown = [] if presence else values

        def text(value: float, inside: str = inside, unit: str = unit) -> str:
            return written(value, inside, unit) if fits(inside, unit) else f"{value:g}"

        all_found = len(values) == len(counted) and bool(values) and not presence
        yield {
            "analyte": proofs.analyte_name(proof.plant, analyte), "unit": label(unit), "samples": len(counted),
            "found_in": sum(v > 0 for v in values) if presence else len(values),
            "set_aside": len(some) - len(counted),
            "lowest": text(min(shown)) if shown else "", "highest": text(max(shown)) if shown else "",
            "mean": text(sum(shown) / len(shown)) if all_found else "",
            "limits": list(_limits(proof, analyte, inside, unit)),
            "points": sorted({points.get(r.sample, "") for r in counted}),
        }  # fmt: skip


def _limits(proof: YearProof, analyte: str, inside: str, unit: str) -> Iterator[str]:
    for asked in proof.book.requirements:
        if asked.check.get("analyte") != analyte or asked.limit is None:
            continue
        try:
            value = float(convert(asked.limit, asked.unit, unit)) if asked.unit and unit != "1" else asked.limit
            yield f"{asked.title}: {written(value, unit, unit)} ({asked.citation})"
        except QuantityError:
            yield f"{asked.title}: {asked.limit:g} {asked.unit} ({asked.citation})"


def _judged(proof: YearProof) -> Iterator[dict[str, Any]]:
    """Yield each requirement that applied: how it came out month by month, and its highest value."""
    by: dict[tuple[str, str], list[tuple[str, Outcome]]] = {}
    for month in proof.months:
        for outcome in month.result.outcomes:
            if outcome.status != "does not apply":
                by.setdefault((outcome.requirement.id, outcome.subject), []).append((month.month, outcome))
    for (_, subject), some in by.items():
        asked = some[-1][1].requirement
        values = [(o.value, o.shown, m) for m, o in some if o.value is not None]
        top = max(values, default=None, key=lambda one: one[0])
        low = min(values, default=None, key=lambda one: one[0])
        yield {
            "title": asked.title, "subject": proofs.title_of(proof.plant, subject) if subject else "",
            "citation": asked.citation, "limit": proofs.limit_text(asked),
            "months": {m: o.status for m, o in some}, "highest": top[1] if top else "",
            "highest_in": top[2] if top else "", "lowest": low[1] if low else "", "lowest_in": low[2] if low else "",
            "broken": [m for m, o in some if o.status == "broken"],
        }  # fmt: skip


def _month(table: MonthTable, month: str, proof: proofs.MonthProof) -> dict[str, Any]:
    cells = {}
    for id in ("volume", "hours", "washes", "wash_water", "to_sewer"):
        cells[id] = f"{table.month[id].shown} {label(table.column(id).unit)}".strip() if table.month[id].shown else ""
    closing = proof.closed
    return cells | {
        "month": month, "state": f"closed by {closing.person}" if closing is not None else "not closed",
        "digest": str(closing.values.get("digest", "")) if closing is not None else "",
        "chemicals": [
            {"feed": c.title, "used": show(c.used, "kg", "lb" if proof.plant.unit_set == "US" else "kg")}
            for c in table.chemicals
            if c.used is not None
        ],
    }  # fmt: skip


def _rows(f: Mapping[str, Any]) -> Iterator[Sequence[object]]:
    yield ("section", "subject", "item", "value", "remark")
    if f["demonstration"]:
        yield ("report", "", "demonstration", f["demonstration"], "")
    for item in ("name", "system_id", "source_water", "population", "connections"):
        yield ("report", "plant", item.replace("_", " "), f["plant"][item], "")
    yield ("report", "", "year", f["year"], f["answer"])
    for one in f["turbidity"]:
        yield ("turbidity", one["month"], one["what"], one["shown"], f"limit {one['limit']}, {one['citation']}")
    for one in f["found"]:
        for item in ("samples", "found_in", "lowest", "highest", "mean", "unit"):
            yield ("found", one["analyte"], item.replace("_", " "), one[item], "; ".join(one["limits"]))
    for one in f["judged"]:
        for month, status in one["months"].items():
            yield ("judged", " ".join(p for p in (one["title"], one["subject"]) if p), month, status, one["citation"])
    for one in f["months"]:
        for item in ("volume", "hours", "washes", "wash_water", "to_sewer", "state", "digest"):
            yield ("month", one["month"], item.replace("_", " "), one[item], "")
        for chemical in one["chemicals"]:
            yield ("month", one["month"], f"{chemical['feed']} used", chemical["used"], "")
    for one in f["keep"]:
        yield ("keep", one["records"], f"{one['years']} years", one["since"], one["basis"])

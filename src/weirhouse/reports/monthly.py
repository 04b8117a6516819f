"""How is the month's report written? As PDF, as JSON and as CSV, of the same figures."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from importlib.metadata import version
from typing import Any

from weirhouse.desk.proof import MonthProof
from weirhouse.reports import charts, figures, listed
from weirhouse.reports.paper import Paper, pdf_bytes

FOOT = "Figures for the State's own judgement. Permit, local code and licensed practice come first."
KINDS = ("pdf", "json", "csv")


@dataclass(frozen=True)
class MonthlyReport:
    """The report of a month: its figures, and each of its files."""

    proof: MonthProof

    @cached_property
    def figures(self) -> dict[str, Any]:
        """The report as plain data: what the JSON file holds."""
        return figures.month_figures(self.proof, version=version("weirhouse"))

    @cached_property
    def digest(self) -> str:
        """The SHA-256 of the JSON file, as it is printed where the paper is signed."""
        return figures.digest(self.figures)

    @property
    def differs(self) -> str:
        """What to say of a closed month whose report is not the one that was kept at its closing; empty where it is."""
        closing = self.proof.closed
        kept = str(closing.values.get("digest", "")) if closing is not None else ""
        if not kept or kept == self.digest:
            return ""
        made = str(closing.values.get("made_with", "")) if closing is not None else ""
        if self.proof.records.since:
            why = "entries came after the closing, listed here"
        elif made and made != version("weirhouse"):
            why = f"it was made by Weirhouse {made}, this is {version('weirhouse')}"
        else:
            why = "the plant file, a rule pack or the records were changed; run weirhouse check"
        return f"The digest kept at the closing is {kept}. This copy is another: {why}."

    def json(self) -> bytes:
        """Return the JSON file."""
        return figures.json_bytes(self.figures)

    def csv(self) -> bytes:
        """Return the CSV file."""
        return listed.csv_bytes(self.figures)

    def pdf(self, paper: Paper = "letter") -> bytes:
        """Return the PDF on letter or A4."""
        return pdf_bytes("monthly", self._paper_data, paper)

    @cached_property
    def _paper_data(self) -> Mapping[str, Any]:
        proof = self.proof
        dated = proof.records.at.astimezone(proof.plant.zone)
        return self.figures | {
            "title": f"Monthly report, {self.figures['month_name']}", "dated": f"{dated:%Y-%m-%d}", "foot": FOOT,
            "digest": self.digest, "differs": self.differs,
            "pictures": list(charts.charts(proof)), "storm": charts.storm(proof),
        }  # fmt: skip

    def written(self, kind: str, paper: Paper = "letter") -> bytes:
        """Return the file of a kind: pdf, json or csv."""
        return {"pdf": lambda: self.pdf(paper), "json": self.json, "csv": self.csv}[kind]()


def file_name(month: str, kind: str, system_id: str) -> str:
    """Return the usual name of a report's file.

    >>> file_name("2026-09", "pdf", "DEMO-0000420")
    'DEMO-0000420-2026-09.pdf'
    """
    safe = "".join(c if c.isalnum() or c in "-_" else "-" for c in system_id) or "plant"
    return f"{safe}-{month}.{kind}"

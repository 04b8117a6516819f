"""A month that is closed: its report comes out the same for ever, or says what came after."""

import hashlib
import json
from datetime import UTC, datetime, timedelta
from importlib.metadata import version
from pathlib import Path

import pytest

from weirhouse import plant as plants
from weirhouse.desk import closing
from weirhouse.desk.closing import ProofEntryError
from weirhouse.desk.judging import judged
from weirhouse.records.model import ClosedError, Event, Reading
from weirhouse.records.store import Store
from weirhouse.reports.monthly import MonthlyReport

NOW = datetime(2026, 11, 3, 14, 0, tzinfo=UTC)
MONTH = "2026-10"
WHY = "The laboratory is late; its results follow with the next report."


def report(folder: Path, now: datetime = NOW) -> MonthlyReport:
    plant = plants.load(folder)
    with Store.open(folder, read_only=True) as store:
        return MonthlyReport(judged(store, plant, folder, MONTH, now, settled=True))


def close(folder: Path, *, note: str = WHY, now: datetime = NOW) -> Event:
    plant = plants.load(folder)
    with Store.open(folder) as store:
        planned = closing.planned(plant, MONTH, person="R. Thorne", at=now, note=note)
        proof = judged(store, plant, folder, MONTH, now, planned=planned)
        return closing.close_month(
            store, proof, digest=MonthlyReport(proof).digest, version=version("weirhouse"), now=now
        )


def test_what_is_open_must_be_told_of(demo_copy):
    with pytest.raises(ProofEntryError, match="still open"):
        close(demo_copy, note="")
    with pytest.raises(ProofEntryError, match="not over"):
        close(demo_copy, now=datetime(2026, 10, 31, 12, 0, tzinfo=UTC))


def test_the_report_of_a_closed_month_comes_out_the_same(demo_copy):
    event = close(demo_copy)
    first = report(demo_copy)
    assert first.digest == event.values["digest"] == hashlib.sha256(first.json()).hexdigest()
    assert first.figures["closed"] == {"by": "R. Thorne", "at": "2026-11-03 09:00 -0500", "note": WHY}
    plant = plants.load(demo_copy)
    later = NOW + timedelta(days=40)
    with Store.open(demo_copy) as store:  # life goes on: what is entered for other times does not touch it
        closing.confirm_rule(store, "us_federal/cfe_95_small", "printed, July 2026", person="R. Thorne", now=later)
        closing.explain(
            store, plant, "gap:ct_giardia:2026-10", "the meter was read late", person="R. Thorne", now=later
        )
        store.add_readings(
            [
                Reading(
                    channel="raw_turbidity", value=3.0, taken_at=later, unit="NTU", text="3.0", person="R. Thorne"
                )
            ],
            entered_at=later,
        )  # fmt: skip
    second = report(demo_copy, later + timedelta(days=1))
    assert second.json() == first.json()
    assert second.csv() == first.csv()
    assert second.pdf() == first.pdf()
    with pytest.raises(ProofEntryError, match="closed by R. Thorne already".replace(".", r"\.")):
        close(demo_copy, now=later)


def test_what_comes_after_the_closing_is_listed(demo_copy):
    close(demo_copy)
    first = report(demo_copy)
    later = NOW + timedelta(days=2)
    late = Reading(
        channel="combined_turbidity", value=0.9, taken_at=datetime(2026, 10, 14, 16, 1, tzinfo=UTC), unit="NTU",
        text="0.90", person="R. Thorne", note="found on the bench sheet",
    )  # fmt: skip
    with Store.open(demo_copy) as store:
        with pytest.raises(ClosedError):
            store.add_readings([late], entered_at=later)
        store.add_readings([late], entered_at=later, reason="overlooked on the sheet")
    second = report(demo_copy, later)
    assert second.digest != first.digest
    (entry,) = second.figures["after_closing"]
    assert "0.90" in entry["what"]
    assert entry["reason"] == "overlooked on the sheet"
    assert entry["entered_at"].startswith("2026-11-05")
    assert first.differs == ""
    assert "entries came after the closing" in second.differs and first.digest in second.differs


def test_a_changed_plant_file_is_told_of(demo_copy):
    """What is not in the chain can change a report too: then the paper says that it is another."""
    close(demo_copy)
    text = (demo_copy / "plant.toml").read_text("utf-8")
    (demo_copy / "plant.toml").write_text(text.replace("population = 1010", "population = 1011"), "utf-8")
    assert "the plant file, a rule pack or the records were changed" in report(demo_copy).differs


def test_an_operator_with_a_certificate_signs(demo_copy):
    said = {
        "name": "R. Thorne", "role": "operator", "certificate": "WT-0420", "certificate_class": "II",
        "certificate_until": "2026-10-15", "active": "yes",
    }  # fmt: skip
    event = Event(kind="person", subject="thorne", started_at=NOW - timedelta(days=9), values=said, person="R. Thorne")
    with Store.open(demo_copy) as store:
        store.add_events([event], entered_at=NOW - timedelta(days=9))
    made = report(demo_copy).figures
    assert made["operators"] == [
        {"name": "R. Thorne", "certificate": "WT-0420", "class": "II", "valid_until": "2026-10-15", "role": "operator"}
    ]
    (lapsed,) = [o["sentence"] for o in made["open"] if o["kind"] == "Who signs"]
    assert lapsed == "The certificate of R. Thorne is valid until 2026-10-15, which is before the month's end."


def test_the_stock_is_told_as_it_was_counted_and_not_guessed(demo_copy):
    assert {c["stock"] for c in report(demo_copy).figures["chemicals"]} == {"not counted"}
    counted = Event(
        kind="stock_count", subject="coagulant", started_at=NOW - timedelta(days=6), values={"volume": 0.4163953},
        person="R. Thorne",
    )  # fmt: skip
    with Store.open(demo_copy) as store:
        store.add_events([counted], entered_at=NOW)
    stock = {c["feed"]: c["stock"] for c in report(demo_copy).figures["chemicals"]}
    assert stock == {"Coagulant": "110 gal", "Hypochlorite": "not counted"}


def test_the_paper_names_the_file_and_the_chain(demo_copy, tmp_path):
    from tests.reports.paper import words

    close(demo_copy)
    made = report(demo_copy)
    text = words(made.pdf(), tmp_path).replace("\n", "")
    assert made.digest in text
    assert made.figures["chain"]["hash"] in text
    assert json.loads(made.json())["made_with"] == f"Weirhouse {version('weirhouse')}"

"""What stands in the month's report? Plain data, the same for the PDF, the JSON and the CSV.

The JSON file is this data and nothing more; its SHA-256 is printed where the paper is signed, so that the sheet names
the file it belongs to. Nothing here depends on when it is written: the same records give the same bytes.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from weirhouse.desk import proof as proofs
from weirhouse.desk.month_table import GROUPS, Chemical, Column, DayRow, MonthTable
from weirhouse.desk.proof import MonthProof
from weirhouse.desk.state_form import OTHER_NAMES, names
from weirhouse.plant.model import Plant
from weirhouse.quantity import convert, label, show
from weirhouse.records.model import Entry, Event, Import, Reading, Result, Sample
from weirhouse.rules.model import Counted, Outcome

MOST_NOT_COUNTED = 60  # readings listed one by one under a requirement; of more, the rest is told by its count
# What a local pack may call a column of the daily table, beside the column's own id.
CAUTION = (
    "Figures, held against the rules as they stand here. The State judges them, and your permit comes first. "
    "On a doubt about disinfection or a broken limit, call the numbers of the plant file."
)
DEMO = "Demonstration: an invented plant with invented figures. Not for any regulator."


def month_figures(proof: MonthProof, *, version: str) -> dict[str, Any]:
    """Return the report of a month as plain data."""
    plant, records, result = proof.plant, proof.records, proof.result
    zone = plant.zone
    closing = proof.closed
    return {
        "report": "monthly",
        "made_with": f"Weirhouse {version}",
        "demonstration": DEMO if plant.demo else "",
        "plant": plant_figures(plant),
        "month": proof.month,
        "month_name": proofs.month_name(proof.month),
        "from": clock(records.stretch.a, zone),
        "until": clock(records.stretch.b, zone),
        "due": proof.due.isoformat(),
        "judged_at": clock(records.at, zone),
        "complete": records.complete,
        "closed": closing_figures(closing, zone) if closing is not None else None,
        "chain": {"entries": records.head.sequence, "hash": records.head.hash},
        "operators": [
            {"name": o.name, "certificate": o.certificate, "class": o.grade, "valid_until": o.until, "role": o.role}
            for o in proof.operators
        ],
        "answer": proofs.answer(proof),
        "counts": dict(proofs.counts(proof)),
        "requirements": [_outcome(outcome, plant) for outcome in worst_first(result.outcomes)],
        "do_not_apply": [
            {"title": o.requirement.title, "citation": o.requirement.citation}
            for o in result.outcomes
            if o.status == "does not apply"
        ],
        "packs": list(result.packs),
        "said": list(result.said),
        "state_must_say": [{"words": one.words, "until_then": one.handled} for one in result.lacking],
        "daily": table_figures(proof.table),
        "chemicals": [_chemical(one, plant) for one in proof.table.chemicals],
        "instrument_checks": [
            {
                "at": clock(c.at, zone), "instrument": c.title, "standard": c.standard, "standard_value": c.wanted,
                "found": c.found, "left": c.left, "result": c.result, "by": c.person, "note": c.note,
            }
            for c in proof.checks
        ],
        "instrument_outages": [
            {
                "instrument": o.title, "from": clock(o.begin, zone), "until": clock(o.end, zone) if o.end else "",
                "by": o.person, "note": o.note, "grabs": [_grab(r, plant) for r in o.grabs],
            }
            for o in proof.outages
        ],
        "put_aside": [
            {
                "at": clock(r.reading.at, zone), "channel": r.title, "value": r.shown, "why": r.reading.reason,
                "explanation": r.explained.note if r.explained else "", "by": r.explained.person if r.explained else "",
            }
            for r in proof.rejected
        ],
        "over_a_level": [
            {
                "at": clock(e.at, zone), "what": e.title, "highest": e.shown, "limit": e.limit, "citation": e.citation,
                "sentence": e.sentence, "certain": e.certain, "explanation": e.explained.note if e.explained else "",
                "by": e.explained.person if e.explained else "",
            }
            for e in proof.exceedances
        ],
        "samples": [
            row for found in proof.samples for row in _sample(found.sample, found.results, zone)
        ],
        "calendar": [
            {"what": c.what, "point": c.point, "due": clock(c.due, zone), "state": c.state, "wanted": c.wanted,
             "taken": c.taken, "sentence": c.sentence}
            for c in result.calendar
        ],
        "open": [
            {"kind": proofs.OPEN_WORDS[o.kind], "sentence": o.sentence, "date": o.day.isoformat() if o.day else ""}
            for o in proof.open
        ],
        "after_closing": [_entry(entry, plant) for entry in records.since],
        "working": _working(proof),
        "form": form_figures(proof),
        "caution": CAUTION,
    }  # fmt: skip


def worst_first(outcomes: Iterable[Outcome]) -> list[Outcome]:
    """Return the outcomes of what applies: broken, not to be told, met, judged later; else as the rules come."""
    order = ("broken", "cannot tell", "met", "not due")
    return sorted((o for o in outcomes if o.status in order), key=lambda o: order.index(o.status))


def clock(moment: datetime, zone: ZoneInfo) -> str:
    """Return an instant on the plant's clock with its offset: ``2026-09-14 07:45 -0400``."""
    return f"{moment.astimezone(zone):%Y-%m-%d %H:%M %z}"


def form_figures(proof: MonthProof) -> dict[str, Any] | None:
    """Return the days in the order and under the headings of the State's form; None where no local pack gives them."""
    form = proof.form
    if not form:
        return None
    rows = [[form_cell(row, what) for what, _ in form] for row in proof.table.days]
    known = names(proof.table.plant)
    return {
        "title": proof.form_title, "headings": [heading for _, heading in form], "rows": rows,
        "unknown": [what for what, _ in form if what not in known],
    }  # fmt: skip


def form_cell(row: DayRow, what: str) -> str:
    """Return what stands in a column of the State's form for a day; empty where there is nothing to stand."""
    if what == "date":
        return f"{row.date.day}"
    if what == "ct_ratio":  # of the organism that limits
        ratios = [c for id, c in row.cells.items() if id in ("ct_giardia", "ct_virus") and c.value is not None]
        return min(ratios, key=lambda c: c.value or 0.0).shown if ratios else ""
    found = row.cells.get(OTHER_NAMES.get(what, what))
    return found.shown if found is not None and found.value is not None else ""


def plant_figures(plant: Plant) -> dict[str, Any]:
    """Return what a report says of the plant."""
    permit = plant.permit
    return {
        "name": plant.name, "system_id": plant.system_id, "source_water": plant.source_water,
        "population": plant.population, "connections": plant.connections, "time_zone": plant.time_zone,
        "permit": permit.number if permit is not None else "",
        "treatment": permit.treatment.replace("_", " ") if permit is not None else "",
        "filters": len(plant.filters), "units": plant.unit_set,
    }  # fmt: skip


def closing_figures(closing: Event, zone: ZoneInfo) -> dict[str, str]:
    """Return who closed the month, when, and what was said with it."""
    return {"by": closing.person, "at": clock(closing.started_at, zone), "note": closing.note}


def _outcome(outcome: Outcome, plant: Plant) -> dict[str, Any]:
    asked = outcome.requirement
    not_counted = outcome.not_counted
    tallies = [t for t in (outcome.tally, *outcome.also) if t is not None]
    counted = [int((t.reasons == 0).sum()) for t in tallies]
    over = [int((t.over & (t.reasons == 0)).sum()) for t in tallies]
    return {
        "id": asked.id, "subject": proofs.title_of(plant, outcome.subject) if outcome.subject else "",
        "title": asked.title, "citation": asked.citation, "rule": asked.rule, "statistic": asked.statistic,
        "period": outcome.period.name, "status": outcome.status,
        "limit": proofs.limit_text(asked, outcome.limit), "value": outcome.value, "unit": asked.unit,
        "shown": outcome.shown, "sentence": outcome.sentence,
        "counted": sum(counted), "over": sum(over), "not_counted": len(not_counted),
        "beyond": [_counted(c, plant.zone) for t in tallies for c in t.beyond][:MOST_NOT_COUNTED],
        "not_counted_list": [_counted(c, plant.zone) for c in not_counted[:MOST_NOT_COUNTED]],
        "both_ways": [{"words": w.words, "status": w.status, "value": w.value} for w in outcome.ways],
        "why": list(outcome.why), "provenance": asked.provenance, "standing": asked.standing,
        "confirmed": asked.confirmed is not None, "stricter_by": asked.stricter_by,
    }  # fmt: skip


def _counted(one: Counted, zone: ZoneInfo) -> dict[str, Any]:
    return {"at": clock(one.at, zone), "value": one.value, "unit": one.unit, "reason": one.reason}


def displayed(value: float | None, column: Column) -> float | None:
    """Return a number of a column in its display unit."""
    if value is None or not column.unit:
        return value
    return float(f"{float(convert(value, column.inside, column.unit)):.12g}")  # without the dust of the conversion


def table_figures(table: MonthTable) -> dict[str, Any]:
    """Return the daily table as plain data, numbers in the units of its columns."""
    columns = table.columns
    return {
        "groups": [{"id": id, "title": title} for id, title in GROUPS.items() if table.group(id)],
        "columns": [
            {"id": c.id, "title": c.title, "under": c.under, "group": c.group, "unit": label(c.unit), "month": c.of}
            for c in columns
        ],
        "days": [
            {
                "date": row.date.isoformat(), "hours": row.hours,
                "cells": {
                    c.id: {
                        "value": displayed(row.cells[c.id].value, c), "text": row.cells[c.id].shown,
                        "state": row.cells[c.id].state, "note": row.cells[c.id].note,
                    }
                    for c in columns
                },
            }
            for row in table.days
        ],
        "month": {
            c.id: {
                "value": displayed(table.month[c.id].value, c), "text": table.month[c.id].shown,
                "note": table.month[c.id].note,
            }
            for c in columns
        },
    }  # fmt: skip


def _chemical(one: Chemical, plant: Plant) -> dict[str, Any]:
    us = plant.unit_set == "US"
    volume, mass, water = ("gal", "lb", "kgal") if us else ("L", "kg", "m^3")

    def text(value: float | None, inside: str, unit: str) -> str:
        return "not on record" if value is None else show(value, inside, unit)

    return {
        "feed": one.title, "counted_as": one.basis, "used": text(one.used, "kg", mass),
        "water_with_a_dose": text(one.covered, "m^3", water), "water": text(one.treated, "m^3", water),
        "delivered": text(one.delivered, "m^3", volume), "put_into_day_tank": text(one.filled, "m^3", volume),
        "lots": list(one.lots), "stock": "not counted" if one.stock is None else show(one.stock, "m^3", volume),
        "product": next((f.product for f in plant.feeds if f.id == one.feed), ""),
    }  # fmt: skip


def _grab(reading: Reading, plant: Plant) -> dict[str, str]:
    value = proofs.reading_text(plant, reading.channel, reading.value) or reading.qualifier
    return {"at": clock(reading.taken_at, plant.zone), "value": value, "by": reading.person, "note": reading.note}


def _sample(sample: Sample, results: Sequence[tuple[Result, str, str]], zone: ZoneInfo) -> Iterable[dict[str, str]]:
    """Yield a row for each result, with what a summary must carry in place of the laboratory's report (141.33(a))."""
    head = {
        "taken_at": clock(sample.taken_at, zone), "place": sample.point, "sampler": sample.sampler,
        "kind": sample.purpose, "laboratory": sample.laboratory, "laboratory_id": sample.laboratory_id,
    }  # fmt: skip
    if not results:
        yield head | {
            "analyte": "",
            "result": "no result yet",
            "method": "",
            "analysed_at": "",
            "analyst": "",
            "note": "",
        }
    for result, name, shown in results:
        yield head | {
            "analyte": name, "result": shown, "method": result.method,
            "analysed_at": clock(result.analysed_at, zone) if result.analysed_at else "", "analyst": result.analyst,
            "laboratory": result.laboratory or sample.laboratory,
            "note": ", ".join(word for word in (*result.lab_flags, result.flag, result.note) if word),
        }  # fmt: skip


def _entry(entry: Entry | Import, plant: Plant) -> dict[str, str]:
    """Return what came after the closing, in words."""
    assert isinstance(entry, Entry)
    item: Any = entry.item
    what = entry.kind
    if isinstance(item, Reading):
        what = f"{proofs.title_of(plant, item.channel)}: {item.text}, taken {clock(item.taken_at, plant.zone)}"
    elif isinstance(item, Event):
        what = f"{item.kind.replace('_', ' ')} {clock(item.started_at, plant.zone)} {item.note}".strip()
    elif isinstance(item, Sample):
        what = f"sample at {item.point}, taken {clock(item.taken_at, plant.zone)}"
    elif isinstance(item, Result):
        what = f"result of {proofs.title_of(plant, item.analyte)}: {item.text}"
    kind = "correction" if entry.replaces and entry.kind != "withdrawal" else entry.kind
    return {
        "entered_at": clock(entry.entered_at, plant.zone), "by": entry.person, "kind": kind, "what": what,
        "reason": entry.reason,
    }  # fmt: skip


def _working(proof: MonthProof) -> dict[str, Any] | None:
    """Return the working of the day with the smallest contact time; None where none was worked out."""
    worst = None
    for day in proof.result.days:
        told = day.contact
        if told is None or told.sheet is None or told.ratio is None:
            continue
        if worst is None or told.ratio < worst[1].ratio:  # type: ignore[operator]
            worst = (day, told)
    if worst is None:
        return None
    day, told = worst
    assert told.sheet is not None
    return {
        "date": day.date.isoformat(), "title": "Contact time of the day with the least of it",
        "ratio": told.ratio, "text": told.sheet.text(proof.plant.unit_set),
        "segments": [
            {"name": s.name, "residual_mg_l": s.residual, "t10_min": s.t10 / 60, "ct_mg_min_l": s.ct,
             "ratios": dict(s.ratios)}
            for s in told.segments
        ],
    }  # fmt: skip


# --- as files ----------------------------------------------------------------------------------------------------


def json_bytes(figures: Mapping[str, Any]) -> bytes:
    """Return the figures as the JSON file: the same bytes for the same figures."""
    text = json.dumps(figures, ensure_ascii=False, allow_nan=False, indent=1, sort_keys=False)
    return f"{text}\n".encode()


def digest(figures: Mapping[str, Any]) -> str:
    """Return the SHA-256 of the JSON file, in hexadecimal."""
    return hashlib.sha256(json_bytes(figures)).hexdigest()

"""A month of the demo with an evaluation made by hand: what report and page must carry, whatever the rules find."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from weirhouse import plant as plants
from weirhouse.desk.proof import MonthProof, month_proof
from weirhouse.records.model import DOUBTFUL, REJECTED
from weirhouse.records.store import Store
from weirhouse.rules import model
from weirhouse.situation import days
from weirhouse.situation.at import flow_channel
from weirhouse.situation.month_records import MonthRecords, month_records

NOW = datetime(2026, 10, 31, 19, 45, tzinfo=UTC)


def requirement(id: str, **changed) -> model.Requirement:
    """Return a requirement; texts are invented but for the citation."""
    said = {
        "id": id, "pack": "us_federal", "rule": "LT1ESWTR", "title": "Filtered turbidity, highest",
        "citation": "40 CFR 141.551(b)(1)", "applies_to": "small systems", "parameter": "turbidity",
        "location": "combined filter effluent", "statistic": "maximum of the month", "limit": 1.0, "unit": "NTU",
        "sampling": "every 4 h", "action": "call", "deadline": "24 h", "notes": "", "provenance": "source",
        "source_ref": "S",
    }  # fmt: skip
    return model.Requirement(**(said | changed))


def result_of(records: MonthRecords) -> model.MonthResult:
    """Return an evaluation of the month, counted here in the plainest way."""
    stretch, plant = records.stretch, records.stretch.plant
    course = days.course_of(stretch, flow_channel(plant))
    combined = days.within(
        stretch.tracks.get("combined_turbidity", days.empty_track("combined_turbidity")), 0, records.at.timestamp()
    )
    found, rejected = [], []
    for day in days.days_of(stretch.a, stretch.b, stretch.zone):
        periods = []
        for one in days.periods_of(day, stretch.zone):
            last = days.last_of(combined, one.begin, one.end, course)
            ran = course.water(one.begin, one.end).ran
            ahead = one.begin >= records.at.timestamp()
            state = "to come" if ahead else "counts" if last else "missing" if ran else "standing"
            periods.append(
                model.FourHours(
                    name=one.name, begin=datetime.fromtimestamp(one.begin, UTC),
                    end=datetime.fromtimestamp(one.end, UTC), state=state, value=last[1] if last else None,
                    taken_at=datetime.fromtimestamp(last[0], UTC) if last else None,
                )
            )  # fmt: skip
        spread = days.spread_of(combined, day.begin, day.end, course)
        entry = stretch.tracks.get("entry_chlorine", days.empty_track("entry_chlorine"))
        residual = days.spread_of(entry, day.begin, day.end, course)
        found.append(
            model.DayResult(
                date=day.date, a=datetime.fromtimestamp(day.begin, UTC), b=datetime.fromtimestamp(day.end, UTC),
                hours=day.hours, filtering_h=course.water(day.begin, day.end).ran / 3600, unknown_h=0.0,
                periods=tuple(periods), combined_highest=spread.highest if spread.n else None, filters_highest={},
                residual_lowest=residual.lowest if residual.n else None,
                residual_lowest_at=datetime.fromtimestamp(residual.lowest_at, UTC) if residual.n else None, contact=None, statuses={"cfe_max_small": "met"},
            )
        )  # fmt: skip
    for i in np.flatnonzero((combined.flags == REJECTED) | (combined.flags == DOUBTFUL)):
        rejected.append(
            model.Counted(
                at=datetime.fromtimestamp(int(combined.times[i]), UTC), value=float(combined.values[i]), unit="NTU",
                source="combined_turbidity", counts=False, reason="rejected",
            )
        )  # fmt: skip
    asked = requirement("cfe_max_small")
    memory = requirement("ep_residual_min", title="Residual at the entry", provenance="memory", unit="mg/L", limit=0.2)
    tally = model.Tally(
        source="combined_turbidity", unit="NTU", times=combined.times, values=combined.values,
        reasons=np.zeros(len(combined), np.int16), over=combined.values > 1.0,
    )  # fmt: skip
    period = model.Period(a=stretch.a, b=stretch.b, name=records.month)
    highest = float(np.nanmax(combined.values)) if len(combined) else None
    outcomes = (
        model.Outcome(
            requirement=asked, subject="combined_turbidity", period=period, status="met", value=highest,
            shown=f"{highest:.3f} NTU" if highest is not None else "", limit=1.0, sentence="No value above 1 NTU.",
            tally=tally,
        ),
        model.Outcome(
            requirement=memory, subject="entry_chlorine", period=period, status="cannot tell", value=None, shown="",
            limit=0.2, sentence="Readings are missing on 2 days.", why=("2 days without a reading",),
        ),
    )  # fmt: skip
    return model.MonthResult(
        month=records.month, a=stretch.a, b=stretch.b, until=min(records.at, stretch.b), packs=("Federal, 2026",),
        days=tuple(found), outcomes=outcomes, triggers=(), notices=(), headroom=(), calendar=(),
        rejected=tuple(rejected), lacking=(), facts=model.MonthFacts(month=records.month, trips={}, unsure=frozenset()),
    )  # fmt: skip


def proof_of(folder: Path, month: str = "2026-09", now: datetime = NOW) -> MonthProof:
    """Return the proof of a month of a plant folder."""
    plant = plants.load(folder)
    with Store.open(folder, read_only=True) as store:
        records = month_records(store, plant, month, now)
    return month_proof(records, result_of(records))

"""What does an inspector ask to see? Checks, certificates, plans, deficiencies, closed months; read only, printable."""

from datetime import timedelta
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from weirhouse.desk import proof as proofs
from weirhouse.desk.judging import in_turn, months_on_record
from weirhouse.records import chain, retention
from weirhouse.rules.model import Outcome
from weirhouse.situation.month_records import people_at
from weirhouse.web.proof import clock_of, proof_at, proof_frame, rules_stamp
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder

YEAR = timedelta(days=366)
MONTHS = 12  # looked at for what was broken


def inspector_page(folder: PlantFolder, request: Request) -> Response:
    """Answer with what an inspector asks for."""
    plant, now = folder.plant(), folder.present()
    with folder.reading() as store:
        months = months_on_record(store, plant, now)
        checks = store.events("instrument_check", since=now - YEAR, until=now)
        outs = store.events("instrument_out", since=now - YEAR, until=now)
        people = proofs.operators(people_at(store, now))
        plans, deficiencies = store.events("plan"), store.events("deficiency")
        head = chain.head(store)
    looked = months[:MONTHS]
    names = tuple(m.month for m in reversed(looked))
    broken = folder.kept(("broken", names, now, rules_stamp(folder)), lambda: _broken(folder, names))
    current = proof_at(folder, looked[0].month) if looked else None
    closed = sum(m.closing is not None for m in months)
    sentence = (
        f"{closed} of {len(months)} months on record are closed; {len(checks)} checks of instruments in the last year; "
        f"{len(broken)} broken limit{'' if len(broken) == 1 else 's'} in the last {len(looked)} months."
    )
    return page(request, "proof_inspector.html", {
        "frame": proof_frame(folder, "For the inspector"), "sentence": sentence, "months": months, "broken": broken,
        "instruments": _instruments(folder, checks, outs), "operators": people, "plans": plans,
        "deficiencies": deficiencies, "head": head, "keep": retention.table(), "clock": _clock(folder),
        "today": f"{now.astimezone(plant.zone):%Y-%m-%d}",
        "due": [c for c in current.result.calendar if c.state in ("due", "overdue")] if current is not None else [],
    })  # fmt: skip


def _broken(folder: PlantFolder, months: tuple[str, ...]) -> list[tuple[str, Outcome]]:
    """Return what was broken in some months, the newest first."""
    with folder.reading() as store:
        judged = in_turn(store, folder.plant(), folder.folder, months, folder.present())
        found = [(one.month, o) for one in judged for o in one.result.outcomes if o.status == "broken"]
    return found[::-1]


def _clock(folder: PlantFolder) -> Any:
    zone = folder.plant().zone
    return lambda moment: f"{moment.astimezone(zone):%Y-%m-%d %H:%M}" if moment is not None else ""


def _instruments(folder: PlantFolder, checks: list[Any], outs: list[Any]) -> list[dict[str, Any]]:
    plant, clock = folder.plant(), clock_of(folder.plant())
    wanted = dict.fromkeys(
        [id for id in plant.channels if "turbidity" in id or id.endswith("_chlorine")] + [c.subject for c in checks]
    )
    found = []
    for channel in wanted:
        mine = [c for c in checks if c.subject == channel]
        last = mine[-1] if mine else None
        said = last.values if last is not None else {}
        text = proofs.reading_text
        found.append({
            "channel": channel, "title": proofs.title_of(plant, channel), "count": len(mine),
            "failed": sum(c.values.get("result") == "failed" for c in mine),
            "at": last.started_at if last is not None else None, "person": last.person if last is not None else "",
            "standard": f"{said.get('standard', '')} {text(plant, channel, said.get('standard_value'))}".strip(),
            "found": text(plant, channel, said.get("found")), "left": text(plant, channel, said.get("left")),
            "result": said.get("result", ""),
            "out": [
                f"{clock(e.started_at)} to {clock(e.ended_at) if e.ended_at else 'now'}"
                for e in outs if e.subject == channel
            ],
        })  # fmt: skip
    return found

"""The page Today, its JSON twin, and the working of each number on it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from weirhouse.desk.model import Advice
from weirhouse.desk.today_json import today_json
from weirhouse.quantity import show
from weirhouse.situation.ages import age_text
from weirhouse.situation.model import Situation, Value
from weirhouse.web.frame import Frame
from weirhouse.web.render import as_json, failed_of, html, page, page_text, seen_by
from weirhouse.web.runs import RUN, run_picture
from weirhouse.web.source import PlantFolder, Standing
from weirhouse.web.timetable import timetable_view

WORDS = {"fresh": "", "stale": "stale", "flagged": "doubtful", "missing": "missing"}


@dataclass(frozen=True, slots=True)
class ReadingLink:
    """A reading that a line stands on, linked to its history."""

    title: str
    shown: str
    age: str
    word: str
    mark: str
    link: str


@dataclass(frozen=True, slots=True)
class Decision:
    """A line of advice with its links."""

    advice: Advice
    link: str
    readings: tuple[ReadingLink, ...]
    enter: str = ""  # where the day log takes what is missing
    enter_words: str = ""


def frame_at(folder: PlantFolder, standing: Standing, request: Request, place: str, title: str) -> Frame:
    """Return the frame of a page that speaks of an instant."""
    plant = folder.plant()
    return Frame(
        plant=plant.name, system_id=plant.system_id, place=place, title=title, at=standing.situation.at,
        zone=plant.zone, demo=plant.demo, asked=bool(request.query_params.get("at", "")),
    )  # fmt: skip


def reading_link(value: Value, frame: Frame) -> ReadingLink:
    """Return a reading as it stands beside a number: what it was, how old, and what is wrong with it."""
    shown = "no reading"
    if value.known is not None:
        sign = value.qualifier if value.qualifier in ("<", ">") else ""
        shown = sign + show(value.known, value.unit, value.display or value.unit)
    return ReadingLink(
        title=value.title, shown=shown, age=age_text(value.age_s) if value.age_s is not None else "",
        word=WORDS[value.state], mark={"stale": "stale", "flagged": "flagged"}.get(value.state, "fresh"),
        link=frame.link(f"/history/{value.channel}"),
    )  # fmt: skip


def decision(situation: Situation, advice: Advice, frame: Frame) -> Decision:
    """Return a line with the readings it stands on, the link to its working, and the form that takes what it lacks."""
    known = [channel for channel in advice.depends if channel in situation.values]
    readings = tuple(reading_link(situation.values[channel], frame) for channel in known)
    enter, words = _enter(situation, advice)
    return Decision(advice, frame.link(f"/working/{advice.id}"), readings, enter, words)


def _enter(situation: Situation, advice: Advice) -> tuple[str, str]:
    """Return the link to what is to be entered in the day log, and its words; empty when nothing is."""
    if advice.state != "unknown" or "in the day log" not in f"{advice.action} {advice.check}":
        return "", ""
    day = situation.at.astimezone(situation.zone).date()
    run = situation.runs.get(advice.id.removeprefix(RUN)) if advice.id.startswith(RUN) else None
    if run is None:
        return f"/log/{day}#enter", "Enter it in the day log"
    name = next((f.name for f in situation.plant.filters if f.id == run.filter), run.filter)
    # the times stay empty: nobody knows here when it was
    return f"/log/{day}/backwash?subject={run.filter}&time=&until=", f"Enter when {name} was last washed"


def today_page(folder: PlantFolder, request: Request) -> Response:
    """Answer with Today at now, or at the instant asked for; made once for all who ask for the same."""
    asked = request.query_params.get("at", "")
    backups = tuple(line.words for line in folder.backups())
    key = ("today", folder.moment(asked), request.url.query, seen_by(request), backups)
    if failed_of(request):  # told once, and so not kept
        return html(_today_text(folder, request, asked))
    return html(folder.kept(key, lambda: _today_text(folder, request, asked)))


def _today_text(folder: PlantFolder, request: Request, asked: str) -> str:
    standing = folder.standing(asked)
    frame = frame_at(folder, standing, request, "today", "Today")
    lines = [decision(standing.situation, advice, frame) for advice in standing.today.advice]
    view = timetable_view(folder.timetable(standing.situation.at), frame, query=request.query_params)
    return page_text(request, "today.html", {
        "frame": frame, "today": standing.today, "lines": lines, "timetable": view,
        "telephone": folder.plant().telephone, "backups": folder.backups(),
    })  # fmt: skip


def today_twin(folder: PlantFolder, request: Request) -> Response:
    """Answer with the same as JSON, equal to the command's."""
    found = folder.standing(request.query_params.get("at", "")).today
    return as_json(today_json(found, found.unit_set))


def _find(advice: Sequence[Advice], id: str) -> Advice | None:
    return next((line for line in advice if line.id == id), None)


def working_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the working of one number, or None when there is no such line."""
    standing = folder.standing(request.query_params.get("at", ""))
    advice = _find(standing.today.advice, request.path_params["id"])
    if advice is None:
        return None
    frame = frame_at(folder, standing, request, "today", f"Working: {advice.title}")
    sheet = advice.working
    shown = Markup(sheet.html(standing.today.unit_set)) if sheet is not None else None  # noqa: S704 - escaped there
    return page(request, "working.html", {
        "frame": frame, "line": decision(standing.situation, advice, frame), "sheet": shown,
        "picture": run_picture(standing.situation, advice),
    })  # fmt: skip


def working_twin(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the working as JSON."""
    standing = folder.standing(request.query_params.get("at", ""))
    advice = _find(standing.today.advice, request.path_params["id"])
    if advice is None:
        return None
    data: dict[str, Any] = {"id": advice.id, "title": advice.title, "at": standing.today.at.isoformat()}
    data["working"] = advice.working.json(standing.today.unit_set) if advice.working is not None else None
    return as_json(data)

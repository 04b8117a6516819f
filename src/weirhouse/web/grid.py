"""The day's readings at the desk: a grid of times and channels, typed by keyboard, saved one by one or many at once."""

import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any
from urllib.parse import quote, unquote

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from weirhouse.desk import grid
from weirhouse.desk.day_log import day_bounds
from weirhouse.desk.grid import Outcome, Typed
from weirhouse.plant.model import Channel, Plant
from weirhouse.quantity import label, show
from weirhouse.records.model import RecordsError
from weirhouse.records.store import Store
from weirhouse.situation.clock import TimeError
from weirhouse.situation.values import judge
from weirhouse.web.close import closed_words
from weirhouse.web.entering import YEAR_S, day_of, question, remembered
from weirhouse.web.forms import Form, FormError
from weirhouse.web.frame import Frame
from weirhouse.web.render import as_json, page
from weirhouse.web.source import PlantFolder

LATELY = timedelta(days=14)  # what was read in these days is a column
THOUSANDS = re.compile(r"\d,\d{3}(?!\d)")
STAMP = re.compile(r"[0-9]{1,10}")  # UTC epoch seconds
CLOCK = re.compile(r"\d{1,2}:\d{2}")
TEXTS = ("id", "channel", "time", "text", "entry", "reason", "note")
MOST_TEXT = 400  # characters in a cell


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """The head of a column."""

    id: str
    name: str
    unit: str
    usual: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A cell as it is shown."""

    key: str
    text: str
    was: str  # as it stands in the records
    channel: str
    entry: str = ""
    hint: str = ""
    status: str = ""
    sentence: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A row as it is shown."""

    time: str  # with its offset
    label: str
    boxes: Sequence[Box]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """What came with the plain form, and what became of it."""

    texts: Mapping[str, str] = field(default_factory=dict)
    outcomes: Mapping[str, Outcome] = field(default_factory=dict)
    problem: str = ""


# --- the page ----------------------------------------------------------------------------------------------------


def grid_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the grid of a day."""
    day = day_of(request)
    return None if day is None else _page(folder, request, day, Sent())


def _page(folder: PlantFolder, request: Request, day: date, sent: Sent, status: int = 200) -> Response:
    plant, now = folder.plant(), folder.present()
    begin, end = day_bounds(plant, day)
    asked = [text for text in request.query_params.getlist("time") if text]
    added, problem, choice = _added(plant, day, asked, now)
    with folder.reading() as store:
        columns = _columns(store, plant, request, now)
        readings = [one for column in columns for one in store.readings(column.id, begin, end)]
        flow = store.values("plant_flow", begin, end) if "plant_flow" in plant.channels else None
    lines = [_line(row, columns, plant, sent) for row in grid.rows(plant, day, min(now, end), readings, flow, added)]
    today = now.astimezone(plant.zone).date()
    title = f"Readings of {day:%A} {day.day} {day:%B %Y}"
    frame = Frame(
        plant=plant.name, system_id=plant.system_id, place="log", title=title, at=now, zone=plant.zone, demo=plant.demo,
    )  # fmt: skip
    refused = [one for one in sent.outcomes.values() if one.status in ("refused", "asked")]
    return page(request, "grid.html", {
        "frame": frame, "day": day, "today": today, "lines": lines, "problem": sent.problem or problem,
        "columns": [_head(channel) for channel in columns], "before": day - timedelta(days=1),
        "after": day + timedelta(days=1) if day < today else None, "person": sent.texts.get("person") or
        remembered(request), "form_id": str(uuid.uuid4()), "times": [f"{one.astimezone(plant.zone):%Y-%m-%dT%H:%M%z}"
        for one in added], "choice": choice, "choices": [(c.id, c.name, c in columns) for c in plant.channels.values()],
        "most": grid.MOST_COLUMNS, "kept": sum(o.status == "stored" for o in sent.outcomes.values()),
        "failed": len(refused), "asks": any(one.status == "asked" for one in refused),
        "reason": sent.texts.get("reason", ""), "closed": closed_words(folder, day),
    }, status)  # fmt: skip


def _columns(store: Store, plant: Plant, request: Request, now: datetime) -> list[Channel]:
    chosen = [id for id in unquote(request.cookies.get("columns", "")).split(",") if id in plant.channels]
    read = {one.channel for one in store.readings(since=now - LATELY, until=now) if one.person} if not chosen else set()
    return grid.columns(plant, read, chosen)


def _added(
    plant: Plant, day: date, asked: Sequence[str], now: datetime
) -> tuple[list[datetime], str, list[tuple[str, str]]]:
    """Return the times asked for, what is wrong with one of them, and the two to choose from where it comes twice."""
    found, problem, choice = [], "", []
    for text in asked[:48]:
        typed = f"{day}T{text}" if CLOCK.fullmatch(text.strip()) else text.replace(" ", "+")
        both = grid.either(typed, plant.zone)
        if both:
            choice = [(f"{one.astimezone(plant.zone):%H:%M %Z}", _iso(one, plant)) for one in both]
            problem = f"{text.strip()[-5:]} comes twice in that night. Which one is it?"
            continue
        try:
            at = grid.instant(typed, plant.zone, now)
        except TimeError as error:
            problem = str(error)
            continue
        if at > now + timedelta(minutes=5):
            problem = f"{at.astimezone(plant.zone):%H:%M} lies ahead. Write what was read, at the time it was read."
            continue
        found.append(at)
    return found, problem, choice


def _iso(at: datetime, plant: Plant) -> str:
    return at.astimezone(plant.zone).isoformat(timespec="minutes")


def _head(channel: Channel) -> Column:
    bounds = [None if b is None else show(b, channel.inside, channel.unit) for b in (channel.low, channel.high)]
    usual = f"{bounds[0]} to {bounds[1]}" if None not in bounds else ""
    return Column(id=channel.id, name=channel.name, unit=label(channel.unit), usual=usual)


def _line(row: grid.Row, columns: Sequence[Channel], plant: Plant, sent: Sent) -> Line:
    boxes = []
    for channel in columns:
        key = f"{int(row.at.timestamp())}.{channel.id}"
        standing, outcome = row.cells.get(channel.id), sent.outcomes.get(key)
        text = standing.text if standing else ""
        if outcome is not None and outcome.status in ("refused", "asked"):
            text = sent.texts.get(f"c.{key}", text)
        hint = ""
        if standing:
            clock = f"{standing.taken_at.astimezone(plant.zone):%H:%M}"
            hint = ", ".join(word for word in ("" if row.label.startswith(clock) else clock, standing.mark) if word)
        was, entry = (standing.text, standing.entry) if standing else ("", "")
        status, sentence = (outcome.status, outcome.sentence) if outcome else ("", "")
        boxes.append(
            Box(
                key=key, text=text, was=was, channel=channel.id, entry=entry, hint=hint, status=status,
                sentence=sentence,
            )
        )  # fmt: skip
    return Line(time=_iso(row.at, plant), label=row.label, boxes=boxes)


def choose(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Keep the choice of columns on this device."""
    day = day_of(request)
    if day is None:
        return None
    chosen = [id for id in folder.plant().channels if form.get(f"column.{id}") == "yes"][: grid.MOST_COLUMNS]
    answer = RedirectResponse(f"/log/{day}/grid", 303)
    answer.set_cookie("columns", quote(",".join(chosen)), max_age=YEAR_S, httponly=True, samesite="strict")
    return answer


# --- what was sent -----------------------------------------------------------------------------------------------


def save_json(folder: PlantFolder, request: Request, sent: Any) -> Response | None:
    """Store the cells of a batch and answer for each what became of it, once all that is kept is on the disk.

    Sent: ``{"person": "...", "cells": [{"id", "channel", "time", "text", "entry", "reason", "sure", "note"}]}`` where
    `id` is a UUID made by the sender, `time` is on the plant's clock or has an offset, `entry` is the id of what the
    cell takes the place of. Answered: ``{"cells": [{"id", "status", "sentence", "shown", "entry"}]}`` in that order,
    status one of stored, withdrawn, asked, refused, conflict. What is sent again changes nothing and is answered alike;
    where an id comes again with other content (conflict), what came first stays, and the whole is answered with 409.
    """
    day = day_of(request)
    if day is None:
        return None
    person, cells = _batch(sent, day)
    with folder.writing() as store:
        outcomes = _save(folder, store, cells, person)
    return as_json({
        "cells": [
            {"id": o.id, "status": o.status, "sentence": o.sentence, "shown": o.shown, "entry": o.entry}
            for o in outcomes
        ]
    }, 409 if any(o.status == "conflict" for o in outcomes) else 200)  # fmt: skip


def _batch(sent: Any, day: date) -> tuple[str, list[Typed]]:
    if not isinstance(sent, dict) or not isinstance(sent.get("cells"), list):
        raise FormError('What was sent holds no list of "cells". Send it again from the page itself.')
    if len(sent["cells"]) > grid.MOST_CELLS:
        raise FormError(f"These are more than {grid.MOST_CELLS} cells. Send them in parts.")
    return str(sent.get("person", ""))[:80], [_typed(one, day) for one in sent["cells"]]


def _typed(one: Any, day: date) -> Typed:
    if not isinstance(one, dict) or not all(isinstance(one.get(name, ""), str) for name in TEXTS):
        raise FormError("A cell that was sent is not made of texts. Send it again from the page itself.")
    texts = {name: one.get(name, "") for name in TEXTS}
    try:
        texts["id"] = str(uuid.UUID(texts["id"]))
    except ValueError:
        raise FormError("A cell that was sent has no id. Send it again from the page itself.") from None
    if CLOCK.fullmatch(texts["time"]):
        texts["time"] = f"{day}T{texts['time'].rjust(5, '0')}"
    return Typed(**texts, sure=one.get("sure") is True)


def _save(folder: PlantFolder, store: Store, cells: Sequence[Typed], person: str) -> list[Outcome]:
    plant, now = folder.plant(), folder.present()

    def ask(channel: Channel, text: str, at: datetime) -> str:
        last = judge(channel, store.latest(channel.id, at), at, plant.zone)
        return question(channel, last, text) or _comma(channel, text)

    long = {cell.id for cell in cells if len(cell.text) > MOST_TEXT or len(cell.note) > MOST_TEXT}
    kept = iter(grid.save(store, plant, [c for c in cells if c.id not in long], person=person, now=now, ask=ask))
    too_long = f"That is longer than {MOST_TEXT} characters. Write the figure alone."
    return [
        Outcome(id=cell.id, status="refused", sentence=too_long) if cell.id in long else next(kept) for cell in cells
    ]


def _comma(channel: Channel, text: str) -> str:
    """Return what to ask where a comma was read as parting thousands."""
    if not THOUSANDS.search(text):
        return ""
    return (
        f'{channel.name}: "{text.strip()[:40]}" is read as {text.strip()[:40].replace(",", "")}. Is that what you mean?'
    )


def save_form(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Store what was typed into the plain form, and show the grid again with what could not be kept."""
    day = day_of(request)
    if day is None:
        return None
    person = form.get("person", "")
    cells, keys = _cells(form)
    try:
        with folder.writing() as store:
            outcomes = _save(folder, store, cells, person)
    except RecordsError as error:
        return _page(folder, request, day, Sent(texts=form, problem=str(error)), 422)
    found = dict(zip(keys, outcomes, strict=True))
    failed = any(one.status in ("refused", "asked", "conflict") for one in outcomes)
    if failed:
        return _page(folder, request, day, Sent(texts=form, outcomes=found), 422)
    times = "&".join(f"time={quote(text)}" for text in request.query_params.getlist("time"))
    answer = RedirectResponse(f"/log/{day}/grid?{times}".rstrip("?"), 303)
    answer.set_cookie("person", quote(person.strip()[:80]), max_age=YEAR_S, httponly=True, samesite="strict")
    return answer


def _cells(form: Form) -> tuple[list[Typed], list[str]]:
    """Return the cells of the plain form that differ from what stood there when it was made, and their keys."""
    cells, keys = [], []
    for name, text in form.items():
        if not name.startswith("c."):
            continue
        key = name[2:]
        stamp, _, channel = key.partition(".")
        if text.strip() == form.get(f"w.{key}", "").strip() or not STAMP.fullmatch(stamp):
            continue
        own = uuid.uuid5(uuid.NAMESPACE_OID, f"{form.get('id', '')} {key} {text}")
        cells.append(
            Typed(
                id=str(own), channel=channel, time=datetime.fromtimestamp(int(stamp), UTC).isoformat(), text=text,
                entry=form.get(f"e.{key}", ""), reason=form.get("reason", ""), sure=form.get("sure") == "yes",
            )
        )  # fmt: skip
        keys.append(key)
    return cells, keys

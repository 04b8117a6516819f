"""The day log: what was seen and done on a local day, searched, printed by day, and written to."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from weirhouse.desk import day_log, mending
from weirhouse.plant.model import Plant
from weirhouse.quantity import QuantityError, label, show
from weirhouse.records.model import ClosedError, Sample
from weirhouse.situation.ages import age_text
from weirhouse.situation.clock import TimeError, for_field, typed_time
from weirhouse.web import close, events
from weirhouse.web.entering import day_of, entry_id, question, remembered, stored, usual_time
from weirhouse.web.forms import Form
from weirhouse.web.frame import Frame
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder

KEYS = ("id", "time", "person", "text", "channel", "value", "flag", "note", "sure", "late")
SEARCH = ("q", "kind", "person", "from", "to")


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A form of the log as it stands: what was typed, and what is wrong with it."""

    typed: Mapping[str, str]
    problem: str = ""
    field: str = ""  # at fault
    ask: str = ""  # a question to be answered before it is stored

    def get(self, name: str) -> str:
        """Return what was typed in a field."""
        return self.typed.get(name, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A channel to choose."""

    id: str
    name: str
    last: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """A day of the log."""

    day: date
    lines: Sequence[day_log.LogLine]
    before: date
    after: date | None
    found: Sequence[tuple[date, day_log.LogLine]] | None = None
    words: str = ""
    asked: Mapping[str, str] = field(default_factory=dict)  # of the search
    whom: Sequence[str] = field(default=())  # people to choose in the search
    kinds: Sequence[tuple[str, str]] = field(default=())
    closed: str = ""  # by whom and when
    undo: tuple[str, str] | None = None  # id and words of what may be taken back
    choices: Sequence[Choice] = field(default=())
    buttons: Sequence[tuple[str, Sequence[events.Button]]] = field(default=())
    ongoing: Sequence[tuple[str, str]] = field(default=())


def newest(folder: PlantFolder, request: Request) -> Response:
    """Answer with the log of today, or with what a search finds in all of it."""
    plant = folder.plant()
    asked = {name: request.query_params.get(name, "").strip() for name in SEARCH}
    today = folder.present().astimezone(plant.zone).date()
    if not any(asked.values()):
        return RedirectResponse(f"/log/{today}", 307)
    days = [_day(asked[name]) for name in ("from", "to")]
    if any(asked[name] and day is None for name, day in zip(("from", "to"), days, strict=True)):
        raise TimeError("A day of the search is not a day. Write it like 2026-06-17.")
    found = folder.search_log(asked["q"], kind=asked["kind"], person=asked["person"], first=days[0], last=days[1])
    return _page(folder, request, today, found=found, asked=asked)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def day_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the log of a day."""
    day = day_of(request)
    if day is None:
        return None
    channel = request.query_params.get("channel", "")
    reading = Entry(typed={"channel": channel} if channel in folder.plant().channels else {})
    return _page(folder, request, day, reading=reading)


def _page(
    folder: PlantFolder, request: Request, day: date, *, note: Entry | None = None, reading: Entry | None = None,
    found: Sequence[tuple[date, day_log.LogLine]] | None = None, asked: Mapping[str, str] | None = None,
    status: int = 200,
) -> Response:  # fmt: skip
    asked = asked or dict.fromkeys(SEARCH, "")
    words = asked.get("q", "")
    plant, now = folder.plant(), folder.present()
    today = now.astimezone(plant.zone).date()
    title = (
        f"Day log, {day:%A} {day.day} {day:%B %Y}" if found is None else f"Day log, search: {words[:40]}".rstrip(": ")
    )
    frame = Frame(
        plant=plant.name, system_id=plant.system_id, place="log", title=title, at=now, zone=plant.zone, demo=plant.demo,
    )  # fmt: skip
    here = Day(
        day=day, lines=folder.log(day) if found is None else (), before=day - timedelta(days=1),
        after=day + timedelta(days=1) if day < today else None, found=found, words=words, asked=asked,
        whom=folder.people_of_log(), kinds=[("reading", "Reading"), *day_log.KINDS.items()],
        closed=close.closed_words(folder, day), undo=_undo(folder, request),
        choices=_choices(folder, plant) if found is None else (), buttons=events.buttons(plant, day),
        ongoing=events.ongoing(folder, plant, now) if found is None else (),
    )  # fmt: skip
    usual = {
        "person": remembered(request),
        "time": for_field(usual_time(day, now, plant), plant.zone),
    }
    forms = {
        name: Entry(
            typed={"id": str(uuid.uuid4()), **usual, **entry.typed}, problem=entry.problem, field=entry.field,
            ask=entry.ask,
        )
        for name, entry in (("note", note or Entry(typed={})), ("reading", reading or Entry(typed={})))
    }  # fmt: skip
    return page(request, "log.html", {"frame": frame, "log": here, "today": today, **forms}, status)


def _undo(folder: PlantFolder, request: Request) -> tuple[str, str] | None:
    """Return what whoever asks may take back: the id, and in words."""
    person = remembered(request)
    if not person:
        return None
    plant, now = folder.plant(), folder.present()

    def make() -> tuple[str, str] | None:
        with folder.reading() as store:
            last = mending.last_of(store, person, now)
        if last is None:
            return None
        line, at = day_log.line_of(last.item, plant), (last.at or last.entered_at).astimezone(plant.zone)
        title = line.title if line else "Sample" if isinstance(last.item, Sample) else "Result"
        return last.id, f"{title}, {at:%a} {at.day} {at:%b %H:%M}"

    return folder.kept(("undo", person, now), make)


def _choices(folder: PlantFolder, plant: Plant) -> list[Choice]:
    values = folder.standing().situation.values
    found = []
    for channel in plant.channels.values():
        value = values.get(channel.id)
        last = "none yet"
        if value is not None and value.known is not None and value.age_s is not None:
            last = f"last {show(value.known, channel.inside, channel.unit)}, {age_text(value.age_s)} ago"
        unit = label(channel.unit)
        found.append(Choice(id=channel.id, name=f"{channel.name} [{unit}]" if unit else channel.name, last=last))
    return found


def _typed(form: Form) -> dict[str, str]:
    return {key: form.get(key, "") for key in KEYS}


def add_note(folder: PlantFolder, request: Request, form: Form) -> Response:
    """Store a note, or show the form again with what is wrong and all that was typed."""
    typed, plant, now = _typed(form), folder.plant(), folder.present()
    day = day_of(request) or now.astimezone(plant.zone).date()
    try:
        at = typed_time(typed["time"], plant.zone, now)
        with folder.writing() as store:
            event = day_log.write_note(
                store,
                plant,
                typed["text"],
                person=typed["person"],
                at=at,
                now=now,
                id=entry_id(typed),
                late=typed["late"],
            )
    except (day_log.DayLogError, TimeError, ClosedError) as error:
        entry = Entry(typed=typed, problem=str(error), field=_field(error, "text"))
        return _page(folder, request, day, note=entry, status=422)
    return stored(event.started_at, event.id, plant, typed["person"])


def add_reading(folder: PlantFolder, request: Request, form: Form) -> Response:
    """Store a reading, or show the form again; one far from the last is asked about first."""
    typed, plant, now = _typed(form), folder.plant(), folder.present()
    day = day_of(request) or now.astimezone(plant.zone).date()
    channel = plant.channels.get(typed["channel"])
    try:
        at = typed_time(typed["time"], plant.zone, now)
        if channel is not None and typed["sure"] != "yes":
            ask = question(channel, folder.standing().situation.values.get(channel.id), typed["value"])
            if ask:
                return _page(folder, request, day, reading=Entry(typed=typed, ask=ask, field="value"), status=422)
        with folder.writing() as store:
            reading = day_log.write_reading(
                store, plant, typed["channel"], typed["value"], person=typed["person"], at=at, now=now,
                flag="doubtful" if typed["flag"] == "doubtful" else "", note=typed["note"], id=entry_id(typed),
                late=typed["late"],
            )  # fmt: skip
    except (day_log.DayLogError, QuantityError, TimeError, ClosedError) as error:
        entry = Entry(typed=typed, problem=str(error), field=_field(error, "value"))
        return _page(folder, request, day, reading=entry, status=422)
    return stored(reading.taken_at, reading.id, plant, typed["person"])


def _field(error: Exception, other: str) -> str:
    """Return which field is at fault."""
    if isinstance(error, TimeError):
        return "time"
    if isinstance(error, ClosedError):
        return "late"
    return (error.field if isinstance(error, day_log.DayLogError) else "") or other

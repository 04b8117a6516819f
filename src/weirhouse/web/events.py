"""Entering what was done or what happened: a form for each kind of event, asked for with the filter or feed chosen."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from starlette.requests import Request
from starlette.responses import Response

from weirhouse.desk import day_log, slips
from weirhouse.desk.day_log import DayLogError
from weirhouse.plant.model import Backwash, Filters, Plant
from weirhouse.quantity import label, show
from weirhouse.records.model import ClosedError, Event, RecordsError
from weirhouse.situation.clock import TimeError, for_field, typed_time
from weirhouse.situation.values import judge
from weirhouse.web.entering import day_of, entry_id, question, remembered, stored, usual_time
from weirhouse.web.forms import Form
from weirhouse.web.frame import Frame
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """A figure or a word that belongs to a kind of event."""

    name: str
    title: str
    hint: str = ""
    number: bool = True
    required: bool = False
    choices: tuple[str, ...] = ()  # one of these words


@dataclass(frozen=True, slots=True, kw_only=True)
class Deed:
    """A kind of event that can be entered: its words on the button, and what its form asks."""

    kind: str
    group: str  # row of buttons it stands in
    words: str  # on the button; empty: one button for each filter or feed
    ends: bool = False
    asks: tuple[Ask, ...] = ()


VOLUME = Ask(name="volume", title="Water used")
DEEDS = {
    deed.kind: deed
    for deed in (
        Deed(kind="backwash", group="Backwash", words="", ends=True, asks=(VOLUME,)),
        Deed(kind="filter_to_waste", group="Filter to waste", words="", ends=True),
        Deed(
            kind="dose_change", group="Dose changed", words="",
            asks=(
                Ask(name="to", title="New dose", required=True),
                Ask(name="from", title="Dose until then"),
            ),
        ),
        Deed(kind="start", group="Plant", words="started"),
        Deed(kind="stop", group="Plant", words="stopped"),
        Deed(kind="intake_shut", group="Intake", words="shut"),
        Deed(kind="intake_open", group="Intake", words="opened"),
        Deed(
            kind="batch", group="Day tank filled", words="",
            asks=(
                Ask(name="level_before", title="Level before"),
                Ask(name="level_after", title="Level after"),
                Ask(name="product", title="Product put in"),
                Ask(name="volume", title="Solution made"),
                Ask(name="lot", title="Lot", number=False),
            ),
        ),
        Deed(
            kind="delivery", group="Delivery", words="",
            asks=(Ask(name="volume", title="Volume"), Ask(name="lot", title="Lot", number=False)),
        ),
        Deed(
            kind="stock_count", group="Stock counted", words="",
            asks=(Ask(name="volume", title="Product in store", required=True, hint="All drums together."),),
        ),
        Deed(
            kind="instrument_check", group="Instrument", words="checked",
            asks=(
                Ask(name="standard", title="Held against", number=False, required=True,
                    hint="Which standard, or a grab sample and its meter."),
                Ask(name="standard_value", title="The standard says", required=True),
                Ask(name="found", title="Found", required=True, hint="What the instrument showed."),
                Ask(name="left", title="Left at", hint="What it showed when you left it."),
                Ask(name="result", title="Result", number=False, required=True, choices=("passed", "failed")),
            ),
        ),
        Deed(kind="instrument_out", group="Instrument", words="out of service", ends=True),
        Deed(kind="maintenance", group="Upkeep", words="maintenance", ends=True),
        Deed(
            kind="plan", group="Inspection", words="plan or survey",
            asks=(Ask(name="due", title="Due", number=False, hint="The day by which it is to be done or renewed."),),
        ),
        Deed(kind="deficiency", group="Inspection", words="deficiency found", ends=True),
        Deed(kind="outage", group="Trouble", words="outage", ends=True),
        Deed(kind="power_failure", group="Trouble", words="power failure", ends=True),
        Deed(kind="instrument_fault", group="Trouble", words="instrument fault", ends=True),
    )
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Button:
    """A link to a form."""

    words: str
    link: str
    here: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A field of the form as it is shown."""

    name: str
    title: str
    hint: str
    value: str
    number: bool
    required: bool
    wrong: bool
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """What was typed, what is wrong with it, and what is asked back."""

    texts: Mapping[str, str] = field(default_factory=dict)
    problem: str = ""
    field: str = ""
    ask: str = ""


def buttons(plant: Plant, day: date) -> list[tuple[str, list[Button]]]:
    """Return the rows of buttons of a day's log: the row's name, its links."""
    rows: dict[str, list[Button]] = {}
    for deed in DEEDS.values():
        row = rows.setdefault(deed.group, [])
        link = f"/log/{day}/{deed.kind}"
        if deed.words:
            row.append(Button(words=deed.words, link=link))
        else:
            named = day_log.subjects(plant, day_log.subject_of(deed.kind))
            row += [Button(words=name, link=f"{link}?subject={id}") for id, name in named.items()]
    return [(name, row) for name, row in rows.items() if row]


def ongoing(folder: PlantFolder, plant: Plant, now: datetime) -> list[tuple[str, str]]:
    """Return what has not ended: in words, and the link that ends it."""

    def make() -> list[Event]:
        with folder.reading() as store:
            return day_log.ongoing(store, now)

    found = folder.kept(("ongoing", now), make)
    return [(in_words(event, plant), f"/log/end/{event.id}") for event in found]


def _checked(deed: Deed, texts: Mapping[str, str]) -> None:
    """Refuse a form without what it must hold, or with a word that is none of those offered."""
    for ask in deed.asks:
        text = texts[ask.name].strip()
        if ask.choices and text not in ask.choices:
            raise DayLogError(f"{ask.title} must be one of: {', '.join(ask.choices)}.", ask.name)
        if ask.required and not text and deed.kind != "dose_change":
            raise DayLogError(f"{ask.title} is empty. Write it, then keep the entry.", ask.name)


def in_words(event: Event, plant: Plant) -> str:
    """Return an event that goes on, in words: ``Instrument fault, Raw turbidity, since Fri 30 Oct 14:05``."""
    since = event.started_at.astimezone(plant.zone)
    what = day_log.subject_of(event.kind) or day_log.offered_of(event.kind)
    name = day_log.subjects(plant, what).get(event.subject, "") if what else ""
    parts = [day_log.KINDS[event.kind], *([name] if name else []), f"since {since:%a} {since.day} {since:%b %H:%M}"]
    return ", ".join(parts)


# --- the form ----------------------------------------------------------------------------------------------------


def form_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the form of a kind of event; the address may choose the filter or feed, and leave the times open."""
    deed, day = DEEDS.get(request.path_params["kind"]), day_of(request)
    if deed is None or day is None:
        return None
    asked = request.query_params
    texts = {key: asked[key] for key in ("subject", "time", "until") if key in asked}
    return _page(folder, request, deed, day, Typed(texts=texts))


def _page(
    folder: PlantFolder, request: Request, deed: Deed, day: date, typed: Typed, status: int = 200
) -> Response:  # fmt: skip
    plant, now = folder.plant(), folder.present()
    what = day_log.subject_of(deed.kind) or day_log.offered_of(deed.kind)
    named = day_log.subjects(plant, what) if what else {}
    subject = typed.texts.get("subject", "")
    if subject not in named:
        subject = next(iter(named)) if len(named) == 1 else ""
    texts = {**_usual(folder, request, deed, day, subject, plant, now), **typed.texts, "subject": subject}
    name = named.get(subject, "") if what == "feed" and deed.kind == "dose_change" else ""
    title = day_log.KINDS[deed.kind] + (f": {name}" if name else "")
    frame = Frame(
        plant=plant.name, system_id=plant.system_id, place="log", title=f"{title}, {day:%A} {day.day} {day:%B %Y}",
        at=now, zone=plant.zone, demo=plant.demo,
    )  # fmt: skip
    here = f"/log/{day}/{deed.kind}"
    return page(request, "event.html", {
        "frame": frame, "deed": deed, "title": title, "day": day, "sends_to": here, "typed": typed, "texts": texts,
        "what": what, "subjects": list(named.items()), "optional": not day_log.subject_of(deed.kind),
        "others": [Button(words=n, link=f"{here}?subject={i}", here=i == subject) for i, n in named.items()]
        if deed.kind == "dose_change" and len(named) > 1 else [],
        "boxes": _boxes(deed, subject, plant, texts, typed.field),
        "end_hint": "Leave it empty while it lasts; you can enter the end later.",
    }, status)  # fmt: skip


def _boxes(deed: Deed, subject: str, plant: Plant, texts: Mapping[str, str], wrong: str) -> list[Box]:
    found = []
    channel = day_log.dose_channel(plant, subject) if deed.kind == "dose_change" else None
    for ask in deed.asks:
        hint = ask.hint
        if ask.number and (channel is not None or day_log.is_measured(ask.name, subject, plant)):
            unit = channel.unit if channel is not None else day_log.measured_in(ask.name, subject, plant)[1]
            given = f"In {label(unit)}{_counts(deed, subject, plant)}, unless another unit is written behind it."
            hint = f"{ask.hint} {given}".strip()
            if ask.name == "from" and texts.get("from"):
                hint = f"Filled in: the dose in force. {hint}"
        found.append(
            Box(
                name=ask.name,
                title=ask.title,
                hint=hint,
                value=texts.get(ask.name, ""),
                number=ask.number,
                required=ask.required,
                wrong=wrong == ask.name,
                choices=ask.choices,
            )
        )
    return found


def _counts(deed: Deed, subject: str, plant: Plant) -> str:
    """Return what a dose counts: ``" as product"``."""
    feed = next((one for one in plant.feeds if one.id == subject), None)
    return f" as {feed.basis}" if feed is not None and deed.kind == "dose_change" else ""


def _usual(
    folder: PlantFolder, request: Request, deed: Deed, day: date, subject: str, plant: Plant, now: datetime
) -> dict[str, str]:
    """Return what the form holds before anybody types: it has just ended, lasted as long as the plant file says."""
    at = usual_time(day, now, plant)
    found = {"id": str(uuid.uuid4()), "person": remembered(request), "until": "", "late": ""}
    lasts = _lasts(plant, deed.kind, subject)
    if lasts is not None:
        found["until"], at = for_field(at, plant.zone), at - lasts
    found["time"] = for_field(at, plant.zone)
    if deed.kind == "dose_change" and subject:
        found["from"] = _in_force(folder, plant, subject, now if day == _here(now, plant) else at)
    return found


def _here(now: datetime, plant: Plant) -> date:
    return now.astimezone(plant.zone).date()


def _lasts(plant: Plant, kind: str, subject: str) -> timedelta | None:
    """Return how long a wash or the water run off after it lasts by the plant file."""
    washes: list[Backwash] = [
        stage.backwash
        for stage in plant.stages
        if isinstance(stage, Filters) and stage.backwash and (not subject or any(f.id == subject for f in stage.filter))
    ]
    if not washes or kind not in ("backwash", "filter_to_waste"):
        return None
    seconds = washes[0].duration if kind == "backwash" else washes[0].filter_to_waste
    return None if seconds is None else timedelta(seconds=round(seconds / 60) * 60)


def _in_force(folder: PlantFolder, plant: Plant, feed: str, when: datetime) -> str:
    """Return the dose of a feed at an instant, as one types it; empty where none is on record."""
    channel = day_log.dose_channel(plant, feed)
    if channel is None:
        return ""
    with folder.reading() as store:
        value = judge(channel, store.latest(channel.id, when), when, plant.zone)
    return "" if value.known is None else show(value.known, channel.inside, channel.unit).replace(",", "")


# --- what was sent -----------------------------------------------------------------------------------------------


def add_event(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Store an event, or show its form again with what is wrong, or with what is asked back, and all that was typed."""
    deed, day = DEEDS.get(request.path_params["kind"]), day_of(request)
    if deed is None or day is None:
        return None
    plant, now = folder.plant(), folder.present()
    names = ("id", "person", "time", "until", "subject", "note", "sure", "late", *(ask.name for ask in deed.asks))
    texts = {name: form.get(name, "") for name in names}
    try:
        at = typed_time(texts["time"], plant.zone, now)
        try:
            until = typed_time(texts["until"], plant.zone, now) if texts["until"].strip() else None
        except TimeError as error:
            raise DayLogError(str(error), "until") from error
        _checked(deed, texts)
        ask = "" if texts["sure"] == "yes" else _slip(folder, plant, deed, texts, at, until)
        if ask:
            return _page(folder, request, deed, day, Typed(texts=texts, ask=ask), 422)
        with folder.writing() as store:
            if deed.kind == "dose_change":
                event = day_log.write_dose_change(
                    store, plant, texts["subject"], texts["to"], before=texts["from"], person=texts["person"], at=at,
                    now=now, note=texts["note"], id=entry_id(texts), late=texts["late"],
                )  # fmt: skip
            else:
                event = day_log.write_event(
                    store, plant, deed.kind, person=texts["person"], at=at, now=now, until=until,
                    subject=texts["subject"], note=texts["note"], id=entry_id(texts), late=texts["late"],
                    values=day_log.measured(texts["subject"], plant, _figures(deed, texts)),
                )  # fmt: skip
    except (DayLogError, TimeError) as error:
        wrong = error.field if isinstance(error, DayLogError) else "time"
        return _page(folder, request, deed, day, Typed(texts=texts, problem=str(error), field=wrong), 422)
    except ClosedError as error:
        return _page(folder, request, deed, day, Typed(texts=texts, problem=str(error), field="late"), 422)
    except RecordsError as error:
        fresh = {**texts, "id": str(uuid.uuid4())}  # sent before with other words: this one is an entry of its own
        again = "This form was kept before, as it stood then. Look at the day log, or keep this as a second entry."
        problem = again if texts["id"] and texts["id"] in str(error) else str(error)
        return _page(folder, request, deed, day, Typed(texts=fresh, problem=problem), 422)
    return stored(event.started_at, event.id, plant, texts["person"])


def _figures(deed: Deed, texts: Mapping[str, str]) -> dict[str, str]:
    return {ask.name: texts[ask.name] for ask in deed.asks}


def _slip(
    folder: PlantFolder, plant: Plant, deed: Deed, texts: Mapping[str, str], at: datetime, until: datetime | None
) -> str:
    """Return what to ask back; a fault in the figures is left to whoever stores them."""
    subject = texts["subject"]
    channel = day_log.dose_channel(plant, subject) if deed.kind == "dose_change" else None
    before: Sequence[Event] = ()
    with folder.reading() as store:
        if subject:
            before = store.events((deed.kind,), since=at - slips.TWICE, until=at + slips.TWICE)
        if channel is not None:
            return question(channel, judge(channel, store.latest(channel.id, at), at, plant.zone), texts["to"])
    if deed.kind == "dose_change":
        return ""
    own = entry_id(texts)
    return slips.slip(
        plant, deed.kind, at=at, until=until, subject=subject, before=[e for e in before if e.id != own],
        values=day_log.measured(subject, plant, _figures(deed, texts)),
    )  # fmt: skip


# --- the end of what goes on -------------------------------------------------------------------------------------


def end_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the form that ends what goes on."""
    return _end_page(folder, request, Typed())


def _end_page(folder: PlantFolder, request: Request, typed: Typed, status: int = 200) -> Response | None:
    plant, now = folder.plant(), folder.present()
    with folder.reading() as store:
        event = next((one for one in day_log.ongoing(store, now) if one.id == request.path_params["id"]), None)
    if event is None:
        return None
    title = f"End: {in_words(event, plant)}"
    frame = Frame(
        plant=plant.name, system_id=plant.system_id, place="log", title=title, at=now, zone=plant.zone, demo=plant.demo,
    )  # fmt: skip
    texts = {"person": remembered(request), "until": for_field(now, plant.zone), **typed.texts}
    data = {"frame": frame, "title": title, "event": event, "typed": typed, "texts": texts, "day": _here(now, plant)}
    return page(request, "end.html", data, status)


def end_event(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Give what goes on its end, or show the form again."""
    plant, now = folder.plant(), folder.present()
    texts = {name: form.get(name, "") for name in ("person", "until")}
    try:
        at = typed_time(texts["until"], plant.zone, now)
        with folder.writing() as store:
            event = day_log.end_event(store, plant, request.path_params["id"], person=texts["person"], at=at, now=now)
    except (DayLogError, TimeError, RecordsError) as error:
        wrong = getattr(error, "field", "until")
        return _end_page(folder, request, Typed(texts=texts, problem=str(error), field=wrong), 422)
    return stored(event.started_at, event.id, plant, texts["person"])

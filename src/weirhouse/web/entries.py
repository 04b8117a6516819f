"""One entry of the log: its whole history, and putting it right, withdrawing it, or taking back one's last."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from starlette.requests import Request
from starlette.responses import Response

from weirhouse.desk import day_log, mending
from weirhouse.desk.day_log import DayLogError
from weirhouse.plant.model import Plant
from weirhouse.quantity import QuantityError, label, show
from weirhouse.records.model import Entry, Event, Reading, RecordsError, Result, Sample
from weirhouse.records.store import Store
from weirhouse.situation.clock import TimeError, for_field, typed_time
from weirhouse.web.entering import entry_id, remembered, stored
from weirhouse.web.events import DEEDS, Box
from weirhouse.web.forms import Form
from weirhouse.web.frame import Frame
from weirhouse.web.refusal import refusal_page
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """What was typed, and what is wrong with it."""

    texts: Mapping[str, str] = field(default_factory=dict)
    problem: str = ""
    field: str = ""


def _history(store: Store, request: Request) -> list[Entry] | None:
    try:
        return store.history(request.path_params["id"])
    except RecordsError:
        return None


def history_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with all that is known of an entry."""
    return _history_page(folder, request, Typed())


def _history_page(folder: PlantFolder, request: Request, typed: Typed, status: int = 200) -> Response | None:
    plant, now = folder.plant(), folder.present()
    with folder.reading() as store:
        history = _history(store, request)
        if history is None:
            return None
        imports = {one.id: one.name for one in store.imports()} if history[0].import_id else {}
    last = history[-1]
    line = day_log.line_of(next(one.item for one in reversed(history) if one.item is not None), plant)
    at = next(one.at for one in reversed(history) if one.item is not None)
    name = line.title if line else {"sample": "Sample", "result": "Result"}.get(history[0].kind, "Entry")
    frame = Frame(
        plant=plant.name, system_id=plant.system_id, place="log", title=f"History of an entry: {name}", at=now,
        zone=plant.zone, demo=plant.demo,
    )  # fmt: skip
    return page(request, "entry.html", {
        "frame": frame, "name": name, "line": line, "at": at.astimezone(plant.zone) if at else None,
        "steps": mending.steps(history, plant, imports.get(history[0].import_id, "")), "last": last,
        "counts": last.item is not None, "mends": isinstance(last.item, Reading | Event) and line is not None,
        "withdraws": last.item is not None and (line is not None or isinstance(last.item, Sample | Result)),
        "typed": typed, "texts": {"person": remembered(request), "reason": "", **typed.texts},
    }, status)  # fmt: skip


# --- putting right -----------------------------------------------------------------------------------------------


def correct_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the form that puts an entry right."""
    return _correct_page(folder, request, Typed())


def _correct_page(folder: PlantFolder, request: Request, typed: Typed, status: int = 200) -> Response | None:
    plant, now = folder.plant(), folder.present()
    with folder.reading() as store:
        history = _history(store, request)
    item = history[-1].item if history else None
    if not isinstance(item, Reading | Event):
        return None
    line = day_log.line_of(item, plant)
    if line is None:
        return None
    frame = Frame(
        plant=plant.name, system_id=plant.system_id, place="log", title=f"Put right: {line.title}", at=now,
        zone=plant.zone, demo=plant.demo,
    )  # fmt: skip
    texts = {
        "id": str(uuid.uuid4()),
        "person": remembered(request),
        "reason": "",
        **_filled(item, plant),
        **typed.texts,
    }
    return page(request, "correct.html", {
        "frame": frame, "line": line, "entry": item, "typed": typed, "texts": texts,
        "reading": isinstance(item, Reading),
        "unit": label(item.unit) if isinstance(item, Reading) else "", "ends": isinstance(item, Event) and _ends(item),
        "boxes": _boxes(item, plant, texts, typed.field) if isinstance(item, Event) else [],
    }, status)  # fmt: skip


def _ends(event: Event) -> bool:
    return event.ended_at is not None or (event.kind in DEEDS and DEEDS[event.kind].ends)


def _filled(item: Reading | Event, plant: Plant) -> dict[str, str]:
    """Return the fields of the form as the entry stands."""
    if isinstance(item, Reading):
        return {
            "value": item.text, "flag": item.flag, "note": item.note, "time": for_field(item.taken_at, plant.zone)
        }  # fmt: skip
    found = {"time": for_field(item.started_at, plant.zone), "note": item.note}
    found["until"] = for_field(item.ended_at, plant.zone) if item.ended_at else ""
    for ask in _asks(item):
        value = item.values.get(ask, "")
        if isinstance(value, float):
            inside, unit = day_log.measured_in(ask, item.subject, plant)
            found[ask] = show(value, inside, unit, digits=6).replace(",", "")
        else:
            found[ask] = value
    return found


def _asks(event: Event) -> list[str]:
    deed = DEEDS.get(event.kind)
    return [ask.name for ask in deed.asks] if deed else []


def _boxes(event: Event, plant: Plant, texts: Mapping[str, str], wrong: str) -> Sequence[Box]:
    found = []
    for ask in DEEDS[event.kind].asks if event.kind in DEEDS else ():
        hint = ""
        if ask.number:
            hint = (
                f"In {label(day_log.measured_in(ask.name, event.subject, plant)[1])}, unless another unit is written."
            )
        found.append(
            Box(
                name=ask.name, title=ask.title, hint=hint, value=texts.get(ask.name, ""), number=ask.number,
                required=ask.required, wrong=wrong == ask.name, choices=ask.choices,
            )
        )  # fmt: skip
    return found


def correct(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Put an entry right, or show the form again with what is wrong and all that was typed."""
    plant, now = folder.plant(), folder.present()
    texts = {key: value for key, value in form.items() if len(key) < 40}
    try:
        with folder.writing() as store:
            history = _history(store, request)
            item = history[-1].item if history else None
            if not isinstance(item, Reading | Event):
                return None
            at = _moment(texts.get("time", ""), "time", for_item(item), plant, now)
            person, reason, note = (texts.get(name, "") for name in ("person", "reason", "note"))
            own = entry_id({"id": texts.get("id", "")})
            if isinstance(item, Reading):
                flag = texts["flag"] if texts.get("flag") in ("doubtful", "rejected") else ""
                own = mending.correct_reading(
                    store, plant, item, texts.get("value", ""), at=at, flag=flag, person=person, reason=reason,
                    note=note, now=now, id=own,
                )  # fmt: skip
            else:
                until = None
                if texts.get("until", "").strip():
                    until = _moment(texts["until"], "until", item.ended_at, plant, now)
                same = _filled(item, plant)
                typed = {name: texts.get(name, "") for name in _asks(item)}
                own = mending.correct_event(
                    store, plant, item, {n: text for n, text in typed.items() if text.strip() != same[n].strip()},
                    at=at, until=until, person=person, reason=reason, note=note, now=now, id=own,
                )  # fmt: skip
    except (DayLogError, QuantityError, TimeError, RecordsError) as error:
        wrong = error.field if isinstance(error, DayLogError) else "time" if isinstance(error, TimeError) else "value"
        return _correct_page(folder, request, Typed(texts=texts, problem=str(error), field=wrong), 422)
    return stored(at, own, plant, texts.get("person", ""))


def for_item(item: Reading | Event) -> datetime:
    """Return when an entry was taken or began."""
    return item.taken_at if isinstance(item, Reading) else item.started_at


def _moment(text: str, name: str, before: datetime | None, plant: Plant, now: datetime) -> datetime:
    """Return the instant typed; where the text is that of the old entry, that instant to the second."""
    if before is not None and text.strip().replace(" ", "T", 1) == for_field(before, plant.zone):
        return before
    try:
        return typed_time(text, plant.zone, now)
    except TimeError as error:
        raise DayLogError(str(error), name) from error


# --- withdrawing and taking back ---------------------------------------------------------------------------------


def withdraw(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Withdraw an entry with a reason."""
    plant, now = folder.plant(), folder.present()
    texts = {name: form.get(name, "") for name in ("person", "reason")}
    try:
        with folder.writing() as store:
            history = _history(store, request)
            if history is None:
                return None
            old = history[-1]
            if old.item is None:
                raise DayLogError("That entry was withdrawn before. Nothing was changed.", "reason")
            mending.withdraw(store, plant, old, person=texts["person"], reason=texts["reason"], now=now)
    except (DayLogError, RecordsError) as error:
        wrong = error.field if isinstance(error, DayLogError) else "reason"
        return _history_page(folder, request, Typed(texts=texts, problem=str(error), field=wrong), 422)
    return stored(old.at or now, old.id, plant, texts["person"])


def undo(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Take back what whoever asks entered last."""
    plant, now = folder.plant(), folder.present()
    person, id = (form.get("person") or remembered(request)).strip(), form.get("entry", "")
    try:
        with folder.writing() as store:
            old = mending.undo(store, plant, id, person=person, now=now)
    except (DayLogError, RecordsError) as error:
        return refusal_page(folder, request, 409, str(error))
    return stored(old.at or now, old.id, plant, person)

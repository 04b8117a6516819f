"""Samples and what the laboratory found: the list, one sample with its custody, forms, the sheet that goes with it."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from weirhouse.desk import lab
from weirhouse.desk.day_log import DayLogError, day_bounds
from weirhouse.desk.lab import Bottle
from weirhouse.plant.model import Plant
from weirhouse.quantity import fits, written
from weirhouse.records.analytes import analytes, inside_of
from weirhouse.records.cells import csv_text
from weirhouse.records.importing import FileProblem, kept, wqx
from weirhouse.records.model import LAB_FLAGS, PURPOSES, ClosedError, Handover, RecordsError, Result, Sample
from weirhouse.situation.clock import TimeError, for_field, typed_time
from weirhouse.web.entering import entry_id, remembered, stored_person
from weirhouse.web.forms import Form, SentFile
from weirhouse.web.frame import Frame
from weirhouse.web.jobs import Job, Jobs
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder

YEAR = timedelta(days=366)
_JOBS = Jobs()


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """What was typed, and what is wrong with it."""

    texts: Mapping[str, str] = field(default_factory=dict)
    problem: str = ""
    field: str = ""


def _frame(folder: PlantFolder, title: str) -> Frame:
    plant, now = folder.plant(), folder.present()
    return Frame(
        plant=plant.name, system_id=plant.system_id, place="log", title=title, at=now, zone=plant.zone, demo=plant.demo
    )


def _fault(error: Exception) -> tuple[str, str]:
    """Return what is wrong in words, and the field at fault."""
    if isinstance(error, ClosedError):
        return str(error), "late"
    if isinstance(error, TimeError):
        return str(error), "time"
    return str(error), error.field if isinstance(error, DayLogError) else ""


# --- the list ----------------------------------------------------------------------------------------------------


def _span(request: Request, plant: Plant, now: datetime) -> tuple[date, date]:
    """Return the days asked for: the last year where none are."""
    today = now.astimezone(plant.zone).date()
    found = []
    for name, usual in (("from", today - YEAR), ("to", today)):
        text = request.query_params.get(name, "")
        try:
            found.append(date.fromisoformat(text) if text else usual)
        except ValueError:
            raise TimeError(f'"{text[:20]}" is not a day. Write it like 2026-06-17.') from None
    return found[0], found[1]


def _bottles(folder: PlantFolder, first: date, last: date) -> list[Bottle]:
    plant = folder.plant()

    def make() -> list[Bottle]:
        with folder.reading() as store:
            return lab.bottles(store, day_bounds(plant, first)[0], day_bounds(plant, last)[1])

    return folder.kept(("bottles", first, last), make)


def list_page(folder: PlantFolder, request: Request) -> Response:
    """Answer with the samples of a span, the newest first: what is awaited, what may stand in a report, what lacks."""
    return _list_page(folder, request, "")


def _list_page(folder: PlantFolder, request: Request, problem: str, status: int = 200) -> Response:
    plant = folder.plant()
    first, last = _span(request, plant, folder.present())
    found = _bottles(folder, first, last)
    waiting = [one for one in found if one.awaited]
    return page(request, "samples.html", {
        "frame": _frame(folder, "Samples and results"), "bottles": found, "first": first, "last": last,
        "awaited": len(waiting), "blocked": sum(not one.ready and not one.awaited for one in found),
        "problem": problem, "purposes": lab.PURPOSE_WORDS, "done": request.query_params.get("done", ""),
    }, status)  # fmt: skip


def export(folder: PlantFolder, request: Request) -> Response:
    """Answer with the samples of a span as CSV, with every field that a summary must carry."""
    plant = folder.plant()
    first, last = _span(request, plant, folder.present())
    text = csv_text(lab.table(_bottles(folder, first, last), plant.zone))
    name = f"samples-{first}-{last}.csv"
    return Response(
        text.encode("utf-8-sig"), media_type="text/csv; charset=utf-8",
        headers={"content-disposition": f'attachment; filename="{name}"'},
    )  # fmt: skip


# --- a new sample ------------------------------------------------------------------------------------------------


def new_page(folder: PlantFolder, request: Request) -> Response:
    """Answer with the form of a sample; one before it at the same place fills it in."""
    return _new_page(folder, request, Typed())


def correct_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the form of a sample as it stands, to put it right."""
    found = _find(folder, request)
    return None if found is None else _new_page(folder, request, Typed(), old=found)


def correct(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Put a sample right, or show the form again."""
    found = _find(folder, request)
    if found is None:
        return None
    now = folder.present()
    try:
        sample, _ = _sample_of(folder, form)
        new = replace(sample, custody=found.sample.custody, person=found.sample.person)
        with folder.writing() as store:
            own = lab.correct_sample(
                store, found.sample, new, person=form["person"], reason=form.get("reason", ""), now=now
            )
    except (DayLogError, TimeError, RecordsError) as error:
        problem, wrong = _fault(error)
        return _new_page(folder, request, Typed(texts=form, problem=problem, field=wrong), 422, found)
    return stored_person(RedirectResponse(f"/samples/{own}", 303), form["person"])


def _new_page(
    folder: PlantFolder, request: Request, typed: Typed, status: int = 200, old: Bottle | None = None
) -> Response:
    plant, now = folder.plant(), folder.present()
    today = now.astimezone(plant.zone).date()
    before = _bottles(folder, today - YEAR, today)
    point = request.query_params.get("point", "")
    like = next((one for one in before if one.sample.point == point), None)
    texts = {
        "id": str(uuid.uuid4()), "person": remembered(request), "time": for_field(now, plant.zone), "late": "",
        "point": point, "purpose": like.sample.purpose if like else "routine", "note": "", "laboratory_number": "",
        "laboratory": (like or before[0]).sample.laboratory if before else "",
        "laboratory_id": (like or before[0]).sample.laboratory_id if before else "", "bottle": "", "preservation": "",
        "sampler": remembered(request), "reason": "",
    }  # fmt: skip
    if old is not None:
        names = ("point", "purpose", "note", "laboratory", "laboratory_id", "laboratory_number", "bottle",
                 "preservation", "sampler")  # fmt: skip
        texts |= {name: getattr(old.sample, name) for name in names}
        texts["time"] = for_field(old.sample.taken_at, plant.zone)
    texts |= typed.texts
    tests = [test for test in analytes() if typed.texts.get(f"test.{test}") == "yes"]
    return page(request, "sample_new.html", {
        "frame": _frame(folder, "Put a sample right" if old else "A sample was taken"), "old": old,
        "texts": texts, "typed": typed,
        "tests": tests or (list(like.tests) if like and not typed.texts else []),
        "analytes": list(analytes().values()), "purposes": list(lab.PURPOSE_WORDS.items()),
        "points": sorted({one.sample.point for one in before}),
    }, status)  # fmt: skip


def add(folder: PlantFolder, request: Request, form: Form) -> Response:
    """Store a sample, or show the form again with what is wrong and all that was typed."""
    now = folder.present()
    try:
        sample, tests = _sample_of(folder, form)
        with folder.writing() as store:
            lab.write_sample(store, sample, tests, now=now, late=form.get("late", ""))
    except (DayLogError, TimeError, RecordsError) as error:
        problem, wrong = _fault(error)
        return _new_page(folder, request, Typed(texts=form, problem=problem, field=wrong), 422)
    return stored_person(RedirectResponse(f"/samples/{sample.id}", 303), sample.person)


def _sample_of(folder: PlantFolder, form: Form) -> tuple[Sample, list[str]]:
    """Return the sample that the form says, and what it is looked at for."""
    plant, now, known = folder.plant(), folder.present(), analytes()
    tests = [test for test in known if form.get(f"test.{test}") == "yes"]
    taken = typed_time(form.get("time", ""), plant.zone, now)
    if taken > now + timedelta(minutes=5):
        raise DayLogError("The time lies ahead. Write when the bottle was filled.", "time")
    if not form.get("person", "").strip():
        raise DayLogError("Nobody is named. Write who enters it: the log is evidence.", "person")
    purpose = form.get("purpose", "")
    bottles = "; ".join(dict.fromkeys(known[test].bottle for test in tests))
    kept_by = "; ".join(dict.fromkeys(p for test in tests if (p := known[test].preservation)))
    said = {name: text.strip() for name, text in form.items()}
    sample = Sample(
        point=said.get("point", ""), sampler=said.get("sampler", ""), laboratory=said.get("laboratory", ""),
        laboratory_id=said.get("laboratory_id", ""), laboratory_number=said.get("laboratory_number", ""),
        note=said.get("note", ""), purpose=purpose if purpose in PURPOSES else "routine", id=entry_id(form),
        taken_at=taken.astimezone(UTC), person=said["person"], bottle=said.get("bottle") or bottles,
        preservation=said.get("preservation") or kept_by,
    )  # fmt: skip
    return sample, tests


# --- one sample --------------------------------------------------------------------------------------------------


def _find(folder: PlantFolder, request: Request) -> Bottle | None:
    id = request.path_params["id"]
    with folder.reading() as store:
        try:
            forms = store.history(id)
        except RecordsError:
            return None
        last = forms[-1].item
        if not isinstance(last, Sample):
            return None
        found = lab.bottles(store, last.taken_at, last.taken_at + timedelta(seconds=1), last.id)
    return found[0] if found else None


def sample_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with a sample: its custody, its results, what blocks it, and the forms that add to it."""
    return _sample_page(folder, request, Typed(), Typed())


def _sample_page(
    folder: PlantFolder, request: Request, result: Typed, step: Typed, status: int = 200
) -> Response | None:
    found = _find(folder, request)
    if found is None:
        return None
    plant, now = folder.plant(), folder.present()
    came = {line.result.analyte for line in found.lines}
    wanted = [test for test in found.tests if test not in came]
    first = wanted[0] if wanted else next(iter(analytes()))
    usual = {
        "id": str(uuid.uuid4()), "person": remembered(request), "analyte": first, "text": "",
        "unit": "", "limit": "", "limit_kind": "", "method": "",
        "analysed": "", "prepared": "", "analyst": "", "fraction": "", "note": "", "late": "",
        "replaces": "", "reason": "",
        "laboratory": found.sample.laboratory,
    }  # fmt: skip
    wrong = result.texts.get("replaces") or request.query_params.get("correct", "")
    old = next((line.result for line in found.lines if line.result.id == wrong), None)
    if old is not None:
        usual |= _as_typed(old, plant)
    return page(request, "sample.html", {
        "frame": _frame(folder, f"Sample at {found.sample.point}"), "found": found, "old": old,
        "known": analytes(), "result": result, "step": step,
        "texts": {**usual, **result.texts}, "analytes": list(analytes().values()), "purposes": lab.PURPOSE_WORDS,
        "steps": {"person": remembered(request), "to": "", "time": for_field(now, plant.zone), "condition": "",
                  **step.texts},
        "kinds": list(lab.LIMIT_WORDS.items()), "flags": list(lab.FLAG_WORDS.items()), "now": now,
    }, status)  # fmt: skip


def _as_typed(old: Result, plant: Plant) -> dict[str, str]:
    """Return the fields of the form as a result stands."""
    inside = inside_of(old.analyte, old.unit)
    limit = ""
    if old.limit is not None and not old.text.startswith(("<", ">")):
        limit = written(old.limit, inside, old.unit, 6) if fits(old.unit, inside) else f"{old.limit:g}"
    times = {
        name: for_field(at, plant.zone) if at else ""
        for name, at in (("analysed", old.analysed_at), ("prepared", old.prepared_at))
    }
    return {
        "replaces": old.id, "analyte": old.analyte, "text": old.text, "unit": old.unit, "limit": limit,
        "limit_kind": old.limit_kind if limit else "", "method": old.method, "analyst": old.analyst,
        "fraction": old.fraction, "laboratory": old.laboratory, "note": old.note, "reason": "", **times,
        **{f"flag.{flag}": "yes" for flag in old.lab_flags},
    }  # fmt: skip


def add_result(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Store a result by hand, or show the form again."""
    found = _find(folder, request)
    if found is None:
        return None
    plant, now = folder.plant(), folder.present()
    try:
        if not form.get("person", "").strip():
            raise DayLogError("Nobody is named. Write who enters it: the log is evidence.", "person")
        fields: dict[str, Any] = {
            name: form.get(name, "").strip() for name in ("method", "analyst", "fraction", "laboratory", "note")
        }
        for name in ("analysed", "prepared"):
            if form.get(name, "").strip():
                fields[f"{name}_at"] = typed_time(form[name], plant.zone, now).astimezone(UTC)
        fields["lab_flags"] = tuple(flag for flag in LAB_FLAGS if form.get(f"flag.{flag}") == "yes")
        made = lab.result_of(
            form.get("analyte", ""), form.get("text", ""), sample=found.sample.id, unit=form.get("unit", ""),
            limit=form.get("limit", ""), limit_kind=form.get("limit_kind", ""), person=form["person"],
            fields={**fields, "id": entry_id(form)},
        )  # fmt: skip
        with folder.writing() as store:
            if form.get("replaces"):
                lab.correct_result(store, form["replaces"], made, reason=form.get("reason", ""), now=now)
            else:
                lab.write_result(store, made, now=now, late=form.get("late", ""))
    except (DayLogError, TimeError, RecordsError) as error:
        problem, wrong = _fault(error)
        return _sample_page(folder, request, Typed(texts=form, problem=problem, field=wrong), Typed(), 422)
    return stored_person(RedirectResponse(f"/samples/{found.sample.id}", 303), form["person"])


def hand_over(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Add a step to the custody, or show the form again."""
    found = _find(folder, request)
    if found is None:
        return None
    plant, now = folder.plant(), folder.present()
    try:
        if not form.get("person", "").strip():
            raise DayLogError("Nobody is named. Write who enters it: the log is evidence.", "person")
        step = Handover(
            person=form.get("to", "").strip(), at=typed_time(form.get("time", ""), plant.zone, now).astimezone(UTC),
            condition=form.get("condition", "").strip(),
        )  # fmt: skip
        with folder.writing() as store:
            own = lab.hand_over(store, found.sample, step, person=form["person"], now=now)
    except (DayLogError, TimeError, RecordsError) as error:
        problem, wrong = _fault(error)
        return _sample_page(folder, request, Typed(), Typed(texts=form, problem=problem, field=wrong), 422)
    return stored_person(RedirectResponse(f"/samples/{own}", 303), form["person"])


def sheet(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the sheet that goes with the bottles, and their labels, to be printed."""
    found = _find(folder, request)
    if found is None:
        return None
    plant = folder.plant()
    day = found.sample.taken_at.astimezone(plant.zone).date()
    same = [one for one in _bottles(folder, day, day) if request.query_params.get("all") or one == found]
    return page(request, "custody.html", {
        "frame": _frame(folder, f"Chain of custody, {day}"), "bottles": list(reversed(same)), "day": day,
        "purposes": lab.PURPOSE_WORDS, "titles": lab.title, "known": analytes(), "here_id": found.sample.id,
    })  # fmt: skip


# --- results in a file -------------------------------------------------------------------------------------------


def send(folder: PlantFolder, request: Request, form: Form, files: Mapping[str, SentFile]) -> Response:
    """Keep the file of results that was sent, and go on to look at it."""
    sent = files.get("file")
    try:
        if sent is None:
            raise FileProblem("No file was chosen. Choose one, then send it.")
        found = kept.keep(folder.folder, sent.name, sent.data)
    except FileProblem as problem:
        return _list_page(folder, request, str(problem), 422)
    return RedirectResponse(f"/samples/file/{found.digest}", 303)


def file_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with what would be stored of a file of results."""
    return _file_page(folder, request, Typed())


def _file_page(folder: PlantFolder, request: Request, typed: Typed, status: int = 200) -> Response | None:
    found = kept.find(folder.folder, request.path_params["digest"])
    if found is None:
        return None
    plant, now, problem, brought = folder.plant(), folder.present(), typed.problem, None
    try:
        with folder.reading() as store:
            brought = wqx.import_results(
                store, plant.zone, found.path, dry_run=True, person="looking", entered_at=now
            )  # fmt: skip
    except FileProblem as fault:
        problem = problem or str(fault)
    shown: Sequence[Bottle] = []
    if brought is not None:
        shown = lab.of_file(brought.samples, brought.results)
    return page(request, "results_file.html", {
        "frame": _frame(folder, f"Look at {found.name}"), "file": found, "brought": brought, "bottles": shown[:50],
        "problem": problem, "person": typed.texts.get("person") or remembered(request), "form_id": str(uuid.uuid4()),
        "late": typed.field == "late", "texts": typed.texts, "lacks": lab.lacking(shown),
    }, status)  # fmt: skip


def bring(folder: PlantFolder, request: Request, form: Form) -> Response | None:
    """Store the samples and results of a file, whole."""
    found = kept.find(folder.folder, request.path_params["digest"])
    if found is None:
        return None
    person, plant, now = form.get("person", "").strip(), folder.plant(), folder.present()

    def work(job: Job) -> wqx.Brought:
        with folder.writing() as store:
            brought = wqx.import_results(
                store, plant.zone, found.path, dry_run=False, person=person, entered_at=now, tick=job.tick,
                reason=form.get("late", "").strip(),
            )  # fmt: skip
        kept.done(folder.folder, found.digest)
        return brought

    try:
        if not person:
            raise DayLogError("Nobody is named. Write who brings the file in.", "person")
        job = _JOBS.run((folder.folder, found.digest, form.get("id", "")), work)
        job.done.wait()
        if job.fault is not None:
            raise job.fault
    except (DayLogError, FileProblem, RecordsError) as error:
        problem, wrong = _fault(error)
        return _file_page(folder, request, Typed(texts=form, problem=problem, field=wrong), 422)
    done = f"{len(job.found.results)} results of {len(job.found.samples)} samples"
    return stored_person(RedirectResponse(f"/samples?done={done.replace(' ', '+')}", 303), person)

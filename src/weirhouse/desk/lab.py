"""What went to the laboratory, what came back, was it in time, and may it stand in a report?

The columns are those that a tabular summary must carry when it takes the place of the laboratory's own report:
date, place and time of sampling, who took it, what kind of sample it is, date of analysis, laboratory and person,
method, result (40 CFR 141.33(a), as State rules that mirror it give it).
"""

import re
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from weirhouse.desk.day_log import DayLogError
from weirhouse.quantity import QuantityError, convert, figure, fits, label, parse, show, unit_of
from weirhouse.records.analytes import UNSTATED, Analyte, analytes, held, inside_of
from weirhouse.records.model import (
    LAB_FLAGS,
    LIMIT_KINDS,
    PURPOSES,
    Event,
    Handover,
    Result,
    Sample,
)
from weirhouse.records.store import Store
from weirhouse.situation.ages import age_text, later

PURPOSE_WORDS = {
    "routine": "routine", "check": "check (repeat)", "raw": "raw or process water", "special": "special",
}  # fmt: skip
FLAG_WORDS = {
    "U": "not detected", "J": "estimated", "UJ": "not detected, limit estimated", "R": "rejected",
    "B": "also in the blank", "H": "held too long",
}  # fmt: skip
LIMIT_WORDS = {
    "detection": "detection limit", "quantification": "quantification limit", "reporting": "reporting limit",
    "range": "end of the range",
}  # fmt: skip
ABSENT, PRESENT = ("absent", "a", "negative", "-"), ("present", "p", "positive", "+")
assert set(PURPOSE_WORDS) == set(PURPOSES) and set(FLAG_WORDS) == set(LAB_FLAGS)
assert {"", *LIMIT_WORDS} == set(LIMIT_KINDS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A result as it stands in the list: in the words and the unit of the report."""

    result: Result
    title: str
    shown: str  # the value, or the condition with its limit: never a bare number for what was not detected
    limit: str
    held: str  # how long the bottle waited, and how long it may
    held_too_long: bool
    flags: str
    lacks: tuple[str, ...]  # what a report needs and is not there


@dataclass(frozen=True, slots=True, kw_only=True)
class Bottle:
    """A sample with what is expected of it, and what came."""

    sample: Sample
    tests: tuple[str, ...]  # asked for
    lines: tuple[Line, ...]
    awaited: tuple[str, ...]  # titles of what has no result yet
    lacks: tuple[str, ...]
    due: datetime | None  # by when the shortest holding time ends, of what is awaited

    @property
    def ready(self) -> bool:
        """Whether all of it may stand in a report."""
        return not (self.awaited or self.lacks or any(line.lacks for line in self.lines))

    @property
    def missing(self) -> list[str]:
        """What blocks it, by name."""
        found = [f"no result of {title}" for title in self.awaited] + list(self.lacks)
        return found + [f"{line.title}: {lack}" for line in self.lines for lack in line.lacks]


def bottles(
    store: Store, since: datetime | None = None, until: datetime | None = None, sample: str = ""
) -> list[Bottle]:
    """Return the samples taken from `since` to before `until`, the newest first; or the one with an id."""
    tests = {
        str(event.values["sample"]): tuple(str(event.values.get("tests", "")).split())
        for event in store.events("sample", since=since, until=until)
        if "sample" in event.values
    }
    results: dict[str, list[Result]] = {}
    for result in store.results(since=since, until=until):
        results.setdefault(result.sample, []).append(result)
    found = []
    for one in reversed(store.samples(since=since, until=until)):
        forms = [entry.id for entry in store.history(one.id)]
        if sample and sample not in forms:
            continue
        asked = next((tests[id] for id in forms if id in tests), ())
        found.append(_bottle(one, asked, results.get(one.id, [])))
    return found


def _bottle(sample: Sample, tests: Sequence[str], results: Sequence[Result]) -> Bottle:
    came = {result.analyte for result in results}
    awaited = [test for test in tests if test not in came]
    limits = [(analytes()[test].holding, sample.taken_at) for test in awaited if test in analytes()]
    shortest = min(limits, default=None)
    return Bottle(
        sample=sample, tests=tuple(tests), lines=tuple(_line(one, sample) for one in results),
        awaited=tuple(title(test) for test in awaited), lacks=tuple(sample_lacks(sample)),
        due=later(sample.taken_at, shortest[0]) if shortest else None,
    )  # fmt: skip


def title(analyte: str) -> str:
    """Return what something is called that a laboratory looks for."""
    known = analytes().get(analyte)
    return known.title if known else analyte.replace("_", " ").capitalize()


def _line(result: Result, sample: Sample) -> Line:
    known = analytes().get(result.analyte)
    waited = held(known, sample.taken_at, result.analysed_at, result.prepared_at)
    most = result.holding_limit if result.holding_limit is not None else known.holding if known else None
    words = ""
    if waited is not None and waited >= 0:
        words = f"{age_text(waited)} of {age_text(most)}" if most is not None else age_text(waited)
    return Line(
        result=result, title=title(result.analyte), shown=shown(result), limit=limit_words(result), held=words,
        held_too_long=waited is not None and most is not None and waited > most,
        flags=", ".join(f"{flag}, {FLAG_WORDS[flag]}" for flag in result.lab_flags),
        lacks=tuple(result_lacks(result, sample)),
    )  # fmt: skip


def shown(result: Result) -> str:
    """Return a result in words; what was not detected is a condition with its limit.

    >>> shown(Result(sample="s", analyte="haa5", value=None, unit="ug/L", text="<6.0", qualifier="<", limit=0.006,
    ...              limit_kind="reporting", person="x"))
    'below the reporting limit of 6.00 µg/L'
    """
    unit = label(result.unit)
    if result.value is not None:
        return f"{result.text} {unit}" if unit and result.text[-1:].isdigit() else result.text
    if result.qualifier == ">":
        return f"above {limit_words(result)}" if result.limit is not None else "above the range"
    if result.limit is None:
        return "absent" if result.text.casefold() in ABSENT else "not detected"
    return f"below the {limit_words(result)}"


def limit_words(result: Result) -> str:
    """Return the limit of a result: ``reporting limit of 6.00 µg/L``; empty without one."""
    if result.limit is None:
        return ""
    inside = inside_of(result.analyte, result.unit)
    value = show(result.limit, inside, result.unit) if fits(result.unit, inside) else figure(result.limit)
    return f"{LIMIT_WORDS.get(result.limit_kind, 'limit')} of {value}"


# --- what a report needs -----------------------------------------------------------------------------------------


def sample_lacks(sample: Sample) -> list[str]:
    """Return what the summary must say of a sample and is not there, by name."""
    wanted = (
        ("place", sample.point), ("sampler's name", sample.sampler), ("kind of sample", sample.purpose),
        ("laboratory", sample.laboratory),
    )  # fmt: skip
    return [name for name, text in wanted if text.strip() in ("", UNSTATED)]


def result_lacks(result: Result, sample: Sample) -> list[str]:
    """Return what the summary must say of a result and is not there, by name."""
    found = [] if result.laboratory.strip() or sample.laboratory.strip() else ["laboratory"]
    found += [] if result.analysed_at is not None else ["date of analysis"]
    found += [] if result.analyst.strip() else ["person who analysed"]
    found += [] if result.method.strip() else ["method"]
    condition = result.qualifier or not {"U", "UJ"}.isdisjoint(result.lab_flags)
    found += [] if result.value is not None or condition else ["result"]
    if result.value is None and condition and result.limit is None and result.text.casefold() not in ABSENT:
        found.append("limit of what was not detected")
    return list(dict.fromkeys(found))


COLUMNS = (
    "Date of sampling", "Time of sampling", "Place", "Sampler", "Kind of sample", "Laboratory",
    "Laboratory certificate", "Laboratory number", "Looked for", "Condition", "Result", "Unit", "Limit",
    "Kind of limit", "As reported", "Method", "Fraction", "Date of preparation", "Date of analysis",
    "Person who analysed", "Holding time used", "Held too long", "Laboratory marks", "Our mark", "Bottle",
    "Preservation", "Custody", "Remark", "Lacks", "Sample id", "Result id",
)  # fmt: skip


def table(found: Iterable[Bottle], zone: ZoneInfo) -> list[list[object]]:
    """Return the rows of the export, the heading first: every field of the summary, and beside it what blocks a report.

    What was not detected has no number in the column Result, but a condition, and its limit in columns of its own.
    """
    rows: list[list[object]] = [list(COLUMNS)]
    for bottle in found:
        sample = bottle.sample
        taken = sample.taken_at.astimezone(zone)
        custody = "; ".join(
            f"{one.person} {one.at.astimezone(zone):%Y-%m-%d %H:%M} {one.condition}".strip() for one in sample.custody
        )
        head = [
            f"{taken:%Y-%m-%d}", f"{taken:%H:%M %Z}", sample.point, sample.sampler, PURPOSE_WORDS[sample.purpose],
        ]  # fmt: skip
        for line in bottle.lines:
            result = line.result
            inside = inside_of(result.analyte, result.unit)
            rows.append([
                *head, result.laboratory or sample.laboratory, sample.laboratory_id, sample.laboratory_number,
                line.title,
                _condition(result), _number(result.value, result, inside), label(result.unit),
                _number(result.limit, result, inside), LIMIT_WORDS.get(result.limit_kind, ""), result.text,
                result.method, result.fraction, _day(result.prepared_at, zone), _day(result.analysed_at, zone),
                result.analyst, line.held, "yes" if line.held_too_long else "", " ".join(result.lab_flags), result.flag,
                sample.bottle, sample.preservation, custody, result.note or sample.note,
                "; ".join([*bottle.lacks, *line.lacks]), sample.id, result.id,
            ])  # fmt: skip
        for title_ in bottle.awaited:
            blank = ["" for _ in COLUMNS]
            blank[: len(head)] = head
            blank[COLUMNS.index("Looked for")], blank[COLUMNS.index("Condition")] = title_, "awaited"
            blank[COLUMNS.index("Lacks")], blank[COLUMNS.index("Sample id")] = "result", sample.id
            rows.append(list(blank))
    return rows


def _condition(result: Result) -> str:
    if result.value is not None:
        return "detected"
    return {"<": "below the limit", ">": "above the range"}.get(result.qualifier, shown(result).split(" the ")[0])


def _number(value: float | None, result: Result, inside: str) -> str:
    if value is None:
        return ""
    known = analytes().get(result.analyte)
    if (known is not None and known.presence) or (value == result.value and re.fullmatch(r"[-.\d]+", result.text)):
        return result.text  # with the digits that were reported
    return f"{float(convert(value, inside, result.unit)):.6g}" if fits(result.unit, inside) else f"{value:.6g}"


def _day(moment: datetime | None, zone: ZoneInfo) -> str:
    return f"{moment.astimezone(zone):%Y-%m-%d %H:%M}" if moment else ""


# --- entering ----------------------------------------------------------------------------------------------------


def write_sample(store: Store, sample: Sample, tests: Sequence[str], *, now: datetime, late: str = "") -> Sample:
    """Store a sample and, in the day log, that it was taken and what for; sent twice it is kept once."""
    unknown = [test for test in tests if test not in analytes()]
    if unknown or not tests:
        raise DayLogError("What it is looked at for is not said. Choose at least one of the list.", "tests")
    store.add_samples([sample], entered_at=now, reason=late)
    titles = ", ".join(title(test) for test in tests)
    taken = Event(
        kind="sample", started_at=sample.taken_at, subject=sample.point, person=sample.sampler,
        values={"sample": sample.id, "tests": " ".join(tests)}, note=f"to the laboratory: {titles}",
        id=str(uuid.uuid5(uuid.NAMESPACE_OID, f"{sample.id} taken")),
    )  # fmt: skip
    store.add_events([taken], entered_at=now, reason=late)
    return sample


def hand_over(store: Store, sample: Sample, step: Handover, *, person: str, now: datetime) -> str:
    """Add a step to the custody of a sample and return its new id; the form before stays in the ledger."""
    new = replace(
        sample, custody=(*sample.custody, step), id=str(uuid.uuid5(uuid.NAMESPACE_OID, f"{sample.id} {step}"))
    )
    reason = f"handed over to {step.person}"
    return store.correct(sample.id, new, person=person.strip(), reason=reason, entered_at=now)


def result_of(
    analyte: str, text: str, *, sample: str, unit: str, limit: str = "", limit_kind: str = "", person: str,
    fields: Mapping[str, object] | None = None,
) -> Result:  # fmt: skip
    """Return the result that a laboratory's words are: ``0.31``, ``<0.5``, ``ND``, ``absent``, ``>2419.6``.

    Raises DayLogError in one sentence, with the field at fault, where they are none.
    """
    known = analytes().get(analyte)
    if not text.strip():
        raise DayLogError("The result is empty. Write it as reported, ND when nothing was detected.", "text")
    unit = unit.strip() or (known.unit if known else "")
    inside = inside_of(analyte, unit)
    if known is not None and not fits(unit, known.inside):
        raise DayLogError(f'"{unit[:30]}" does not measure {known.title}. Write it like {known.unit}.', "unit")
    value, qualifier, bound, kind = _read(text.strip(), unit, inside, known)
    if limit.strip():
        bound = _parse(limit.strip(), unit, inside, "The limit", "limit")
        kind = kind or "detection"
    if bound is not None and limit_kind and kind != "range":
        kind = limit_kind
    if value is not None and (qualifier or kind == "range"):
        qualifier = ""
    return Result(
        sample=sample, analyte=analyte, value=value, unit=unit, text=text.strip(), qualifier=qualifier, limit=bound,
        limit_kind=kind if bound is not None else "", person=person.strip(),
        holding_limit=known.holding if known else None, **(fields or {}),  # type: ignore[arg-type]
    )  # fmt: skip


def _read(
    text: str, unit: str, inside: str, known: Analyte | None
) -> tuple[float | None, str, float | None, str]:  # fmt: skip
    """Return value, qualifier, limit and kind of limit of a result as reported."""
    word = text.casefold()
    if known is not None and known.presence and (word in ABSENT or word in PRESENT):
        return (None, "ND", None, "") if word in ABSENT else (1.0, "", None, "")
    if word in ("nd", "non-detect", "not detected", "bdl", "u"):
        return None, "ND", None, ""
    if text[0] in "<>":
        bound = _parse(text[1:].strip(), unit, inside, "The limit", "text")
        return None, text[0], bound, "reporting" if text[0] == "<" else "range"
    return _parse(text, unit, inside, "The result", "text"), "", None, ""


def _parse(text: str, unit: str, inside: str, name: str, field: str) -> float:
    plain = not unit_of(text) or unit_of(text).startswith(",")
    if not plain and unit and not fits(unit_of(text), inside):
        raise DayLogError(f'{name}: "{unit_of(text)[:30]}" does not measure this. Write it in {unit}.', field)
    try:
        if plain and unit and re.fullmatch(r"[-+.\d,eE]+", text) and fits(unit, inside):
            return float(convert(parse(text, "1", name), unit, inside))
        return parse(text, inside if fits(inside, inside) else "1", name)
    except QuantityError as error:
        raise DayLogError(str(error), field) from error


def write_result(store: Store, result: Result, *, now: datetime, late: str = "") -> Result:
    """Store a result; sent twice it is kept once."""
    store.add_results([result], entered_at=now, reason=late)
    return result


def of_file(samples: Sequence[Sample], results: Sequence[Result]) -> list[Bottle]:
    """Return the samples of a file with their results, as they would stand."""
    by_sample: dict[str, list[Result]] = {}
    for result in results:
        by_sample.setdefault(result.sample, []).append(result)
    return [_bottle(one, (), by_sample.get(one.id, [])) for one in samples]


def lacking(found: Sequence[Bottle]) -> list[str]:
    """Return, by name, what some of the samples or results lack for a report."""
    names = [lack for bottle in found for lack in bottle.lacks]
    names += [lack for bottle in found for line in bottle.lines for lack in line.lacks]
    return list(dict.fromkeys(names))


def correct_result(store: Store, old: str, new: Result, *, reason: str, now: datetime) -> str:
    """Put a result in the place of an old one, with a reason; return its id."""
    if not reason.strip():
        raise DayLogError("The reason is empty. Write why: the old result stays, and the reason beside it.", "reason")
    return store.correct(old, new, person=new.person, reason=reason.strip(), entered_at=now)


def correct_sample(store: Store, old: Sample, new: Sample, *, person: str, reason: str, now: datetime) -> str:
    """Put a sample in the place of an old one, with a reason; return its id. Its results stay with it."""
    if not reason.strip():
        raise DayLogError("The reason is empty. Write why: the old form stays, and the reason beside it.", "reason")
    forms = {entry.id for entry in store.history(old.id)}
    own = store.correct(old.id, new, person=person.strip(), reason=reason.strip(), entered_at=now)
    for line in store.events("sample", since=old.taken_at, until=later(old.taken_at, 1.0)):
        told = replace(line, started_at=new.taken_at, subject=new.point, person=new.sampler)
        if line.values.get("sample") in forms and told != line:  # the line of the log goes with it
            told = replace(told, id=str(uuid.uuid5(uuid.NAMESPACE_OID, f"{own} taken")))
            store.correct(line.id, told, person=person.strip(), reason=reason.strip(), entered_at=now)
    return own

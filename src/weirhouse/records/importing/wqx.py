"""How do results in the columns of the Water Quality Exchange become samples and results?

Both column sets of the Water Quality Portal are read: with slashes (WQX 2) and with underscores (WQX 3).
What was not detected comes as a condition, its limit in columns of its own. Quality control is left out and counted.
"""

import csv
import io
import math
import re
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from weirhouse.quantity import convert, fits
from weirhouse.records.analytes import UNSTATED, inside_of, named
from weirhouse.records.importing import source as sources
from weirhouse.records.importing.problem import FileProblem, shown
from weirhouse.records.importing.stamps import zone_seconds
from weirhouse.records.model import LAB_FLAGS, Result, Sample
from weirhouse.records.store import Store

# What is needed, and what the two column sets call it.
FIELDS = {
    "activity": ("ActivityIdentifier", "Activity_ActivityIdentifier"),
    "type": ("ActivityTypeCode", "Activity_TypeCode"),
    "date": ("ActivityStartDate", "Activity_StartDate"),
    "time": ("ActivityStartTime/Time", "Activity_StartTime"),
    "zone": ("ActivityStartTime/TimeZoneCode", "Activity_StartTimeZone"),
    "sampler": ("ActivityConductingOrganizationText", "Activity_ConductingOrganization"),
    "place": ("MonitoringLocationName", "Location_Name"),
    "place_id": ("MonitoringLocationIdentifier", "Location_Identifier"),
    "comment": ("ActivityCommentText", "Activity_Comment"),
    "what": ("CharacteristicName", "Result_Characteristic"),
    "condition": ("ResultDetectionConditionText", "Result_ResultDetectionCondition"),
    "value": ("ResultMeasureValue", "Result_Measure"),
    "unit": ("ResultMeasure/MeasureUnitCode", "Result_MeasureUnit"),
    "mark": ("MeasureQualifierCode", "Result_MeasureQualifierCode"),
    "kind": ("ResultValueTypeName", "Result_MeasureType"),
    "fraction": ("ResultSampleFractionText", "Result_SampleFraction"),
    "as": ("MethodSpeciationName", "Result_MethodSpeciation"),
    "method": ("ResultAnalyticalMethod/MethodIdentifier", "ResultAnalyticalMethod_Identifier"),
    "method_of": ("ResultAnalyticalMethod/MethodIdentifierContext", "ResultAnalyticalMethod_IdentifierContext"),
    "laboratory": ("LaboratoryName", "LabInfo_Name"),
    "analysed": ("AnalysisStartDate", "LabInfo_AnalysisStartDate"),
    "prepared": ("PreparationStartDate", "LabInfo_PreparationStartDate"),
    "remark": ("ResultCommentText", "DataQuality_ResultComment"),
    "lab_remark": ("ResultLaboratoryCommentText", "LabInfo_LaboratoryComment"),
    "limit_kind": ("DetectionQuantitationLimitTypeName", "DetectionLimit_TypeA"),
    "limit": ("DetectionQuantitationLimitMeasure/MeasureValue", "DetectionLimit_MeasureA"),
    "limit_unit": ("DetectionQuantitationLimitMeasure/MeasureUnitCode", "DetectionLimit_MeasureUnitA"),
    "limit_b": ("DetectionLimit_MeasureB",),
    "limit_unit_b": ("DetectionLimit_MeasureUnitB",),
    "limit_kind_b": ("DetectionLimit_TypeB",),
}  # fmt: skip
NEEDED = ("date", "what", "value")
_UNITS = {"deg c": "degC", "deg f": "degF", "mg/l as n": "mg/L", "ppm": "mg/L", "ppb": "ug/L", "std units": "pH",
          "standard units": "pH",
          "umho/cm": "uS/cm", "none": "1", "": "1", "%": "percent", "ntru": "NTU", "fnu": "NTU"}  # fmt: skip
MOST_ROWS = 200_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Brought:
    """What a file of results brought, or would bring."""

    name: str
    rows: int
    samples: tuple[Sample, ...]
    results: tuple[Result, ...]
    there: int  # results in the records already
    refused: tuple[tuple[int, str], ...]  # line, why
    left_out: Mapping[str, int]  # quality control and the like, counted
    import_id: str | None = None

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON-ready data."""
        return {
            "rows": self.rows, "samples": len(self.samples), "stored": len(self.results), "already_there": self.there,
            "refused": [{"line": line, "why": why} for line, why in self.refused], "left_out": dict(self.left_out),
        }  # fmt: skip

    def text(self, dry_run: bool) -> str:
        """Return it for people, in plain text."""
        store = "would be stored" if dry_run else "stored"
        lines = [
            f"{self.name}: results as WQX has them, {self.rows} rows",
            f"{len(self.results)} results of {len(self.samples)} new samples {store}, {self.there} in the records "
            f"already.{' Dry run: nothing was stored.' if dry_run else ''}",
        ]
        lines += [f"Left out, {what}: {count}" for what, count in self.left_out.items()]
        lines += [f"  line {line}: {why}" for line, why in self.refused[:20]]
        lines += [f"  and {len(self.refused) - 20} more"] if len(self.refused) > 20 else []
        return "\n".join([*lines, *([f"This import is {self.import_id}."] if self.import_id else [])])


def is_wqx(data: bytes) -> bool:
    """Return whether a text has the columns of either set."""
    head = data[:20_000].split(b"\n", 1)[0].decode("utf-8", "replace")
    names = {name.strip().strip('"') for name in head.split("\t" if head.count("\t") > head.count(",") else ",")}
    return all(any(one in names for one in FIELDS[field]) for field in NEEDED)


def import_results(
    store: Store, zone: ZoneInfo, path: Path, *, dry_run: bool, person: str, entered_at: datetime, reason: str = "",
    tick: Callable[[float], None] = lambda _share: None,
) -> Brought:  # fmt: skip
    """Bring the samples and results of a file into the records, whole or not at all; or with `dry_run` say which.

    Raises
    ------
    FileProblem
        In one sentence, where nothing of the file can be used.
    """
    source = sources.read(path)
    tick(0.2)
    found = read(source.name, source.data, zone, person)
    tick(0.6)
    samples, results, there = _new(store, found)
    import_id = None
    if results and not dry_run:
        receipt = store.add_import(
            source.name, source.digest, [], [], person=person, entered_at=entered_at, reason=reason,
            samples=samples, results=results, original=source.raw,
            detail={"form": "WQX", "rows": found.rows, "left out": dict(found.left_out)},
        )  # fmt: skip
        import_id = receipt.import_id
    tick(1.0)
    return Brought(
        name=source.name, rows=found.rows, samples=tuple(samples), results=tuple(results), there=there,
        refused=found.refused, left_out=found.left_out, import_id=import_id,
    )  # fmt: skip


def _new(store: Store, found: Brought) -> tuple[list[Sample], list[Result], int]:
    """Return what is not in the records yet; a sample of the same place and instant there is taken for the same."""
    if not found.samples:
        return [], [], 0
    first, last = (pick(one.taken_at for one in found.samples) for pick in (min, max))
    until = datetime.fromtimestamp(last.timestamp() + 1, UTC)
    known = {(one.point, one.taken_at): one.id for one in store.samples(since=first, until=until)}
    had = {_said(one) for one in store.results(since=first, until=until)}
    own = {one.id: known.get((one.point, one.taken_at), one.id) for one in found.samples}
    results = []
    for one in found.results:
        moved = replace(one, sample=own[one.sample])
        if _said(moved) not in had:
            results.append(moved)
    wanted = {one.sample for one in results}
    return [one for one in found.samples if one.id in wanted], results, len(found.results) - len(results)


def _said(result: Result) -> tuple[object, ...]:
    return (result.sample, result.analyte, result.value, result.qualifier, result.limit, result.fraction, result.method)


def read(name: str, data: bytes, zone: ZoneInfo, person: str) -> Brought:
    """Return the samples and results that a text says, by their activities."""
    text = data.decode("utf-8", "replace")
    head = text.split("\n", 1)[0]
    reader = csv.DictReader(io.StringIO(text), delimiter="\t" if head.count("\t") > head.count(",") else ",")
    there = set(reader.fieldnames or ())
    columns = {field: next((one for one in names if one in there), "") for field, names in FIELDS.items()}
    lacking = [FIELDS[field][0] for field in NEEDED if not columns[field]]
    if lacking:
        raise FileProblem(f"{shown(name)} has no column {', '.join(lacking)}: these are not results as WQX has them.")
    samples: dict[object, Sample] = {}
    results: list[Result] = []
    refused: list[tuple[int, str]] = []
    left_out: dict[str, int] = {}
    rows = 0
    try:
        for row in reader:
            rows += 1
            if rows > MOST_ROWS:
                raise FileProblem(f"{shown(name)} holds more than {MOST_ROWS:,} results. Export a shorter time.")
            said = {field: (row.get(column) or "").strip() if column else "" for field, column in columns.items()}
            if "quality control" in said["type"].casefold():
                left_out["quality control"] = left_out.get("quality control", 0) + 1
                continue
            try:
                sample = _sample(said, zone, person, samples)
                results.append(_result(said, sample, zone, person))
            except ValueError as fault:
                refused.append((reader.line_num, str(fault)))
    except csv.Error as fault:
        raise FileProblem(f"{shown(name)} cannot be read as a table near line {reader.line_num}: {fault}.") from None
    used = {one.sample for one in results}
    kept = tuple(one for one in samples.values() if one.id in used)
    if not results:
        why = f" Line {refused[0][0]}: {refused[0][1]}." if refused else ""
        raise FileProblem(f"{shown(name)} holds no result that can be used.{why}")
    return Brought(
        name=name, rows=rows, samples=kept, results=tuple(results), there=0, refused=tuple(refused), left_out=left_out
    )


def _sample(said: Mapping[str, str], zone: ZoneInfo, person: str, samples: dict[object, Sample]) -> Sample:
    point = said["place"] or said["place_id"]
    if not point:
        raise ValueError("it names no place")
    taken = _instant(said["date"], said["time"], said["zone"], zone)
    key = said["activity"] or (point, taken)
    if key not in samples:
        samples[key] = Sample(
            point=point[:200], purpose="routine", taken_at=taken, sampler=said["sampler"] or UNSTATED, person=person,
            laboratory=said["laboratory"], laboratory_number=said["activity"], note=said["comment"][:1000],
            id=str(uuid.uuid4()),
        )  # fmt: skip
    return samples[key]


def _instant(day: str, clock: str, letters: str, zone: ZoneInfo) -> datetime:
    try:
        local = datetime.fromisoformat(f"{day}T{clock or '00:00'}")
    except ValueError:
        raise ValueError(f'"{shown(day)} {shown(clock)}" is no time') from None
    offset = zone_seconds(letters) if letters else None
    if local.tzinfo is None and offset is not None:
        return datetime.fromtimestamp(local.replace(tzinfo=UTC).timestamp() - offset, UTC)
    return (local if local.tzinfo else local.replace(tzinfo=zone)).astimezone(UTC)


def _result(said: Mapping[str, str], sample: Sample, zone: ZoneInfo, person: str) -> Result:
    if not said["what"]:
        raise ValueError("it does not say of what")
    known = named(said["what"])
    analyte = known.id if known else re.sub(r"[^a-z0-9]+", "_", said["what"].casefold()).strip("_")[:60]
    unit = _unit(said["unit"] or said["limit_unit"] or said["limit_unit_b"])
    if known is not None and not fits(unit, known.inside):  # counted in another way than the plant does: kept apart
        analyte = f"{known.id}_{re.sub(r'[^a-z0-9]+', '_', unit.casefold()).strip('_')}"
    inside = inside_of(analyte, unit)
    condition, text = said["condition"].casefold(), said["value"]
    sign = text[:1] if text[:1] in ("<", ">") else ""
    qualifier = _qualifier(condition) or sign
    value = None if qualifier or not text else _number(text, unit, inside)
    limit, kind = (None, "")
    if qualifier:
        limit, kind = _limit(said, text.lstrip("<> "), inside, unit, qualifier)
        if limit is None and qualifier in ("<", ">"):
            qualifier = "ND" if qualifier == "<" else qualifier
        if limit is None and qualifier == ">":
            raise ValueError(f"{shown(said['what'])} is above the range, and the limit is not said")
    elif value is None:
        raise ValueError(f"{shown(said['what'])} has neither a value nor a condition")
    remarks = "; ".join(one for one in (said["as"], said["remark"], said["lab_remark"]) if one)
    return Result(
        sample=sample.id, analyte=analyte, value=value, unit=unit, text=text or said["condition"], qualifier=qualifier,
        limit=limit, limit_kind=kind, fraction=said["fraction"],
        method=" ".join(one for one in (said["method_of"], said["method"]) if one), laboratory=said["laboratory"],
        analysed_at=_when(said["analysed"], zone), prepared_at=_when(said["prepared"], zone),
        holding_limit=known.holding if known else None, lab_flags=tuple(_flags(said, qualifier, remarks)),
        person=person, note=remarks[:1000], id=str(uuid.uuid4()),
    )  # fmt: skip


def _unit(text: str) -> str:
    bare = re.sub(r"\s*@.*$", "", text.strip())
    found = _UNITS.get(bare.casefold(), bare)
    return re.sub(r"(?<=[mu]g)/l$", "/L", found)


def _number(text: str, unit: str, inside: str) -> float:
    bare = text.replace(",", "") if re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d+)?", text) else text
    if not re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?", bare, re.ASCII):
        raise ValueError(f'"{shown(text)}" is not a number')
    value = float(bare)
    if not math.isfinite(value):
        raise ValueError(f'"{shown(text)}" is not a usable number')
    return float(convert(value, unit, inside)) if fits(unit, inside) else value


def _qualifier(condition: str) -> str:
    if not condition:
        return ""
    if "above" in condition:
        return ">"
    if "present below" in condition or "below" in condition or "trace" in condition:
        return "<"
    if "not detected" in condition or "non-detect" in condition or "not present" in condition:
        return "ND"
    raise ValueError(f'its detection condition "{shown(condition)}" is not known')


def _limit(said: Mapping[str, str], text: str, inside: str, unit: str, qualifier: str) -> tuple[float | None, str]:
    """Return the limit that goes with a condition and what kind it is."""
    for value, its_unit, kind in (
        (said["limit"], said["limit_unit"], said["limit_kind"]),
        (said["limit_b"], said["limit_unit_b"], said["limit_kind_b"]),
        (text, said["unit"], ""),
    ):
        if value:
            own = _unit(its_unit) if its_unit else unit
            limit = _number(value, own if fits(own, inside) else unit, inside)
            return limit, "range" if qualifier == ">" else _kind(kind)
    return None, ""


def _kind(words: str) -> str:
    word = words.casefold()
    if "quant" in word:
        return "quantification"
    return "detection" if "detection" in word else "reporting"


def _when(day: str, zone: ZoneInfo) -> datetime | None:
    if not day:
        return None
    try:
        found = datetime.fromisoformat(day)
    except ValueError:
        return None
    return (found if found.tzinfo else found.replace(tzinfo=zone)).astimezone(UTC)


def _flags(said: Mapping[str, str], qualifier: str, remarks: str) -> Iterator[str]:
    marks: Sequence[str] = re.split(r"[;,\s]+", said["mark"].upper())
    found = {mark for mark in marks if mark in LAB_FLAGS and not (mark in ("U", "UJ") and not qualifier)}
    if "estimated" in said["kind"].casefold():
        found.add("J")
    if re.search(r"hold(ing)? time (parameters were )?exceeded|holding time exceeded", remarks, re.I):
        found.add("H")
    yield from (flag for flag in LAB_FLAGS if flag in found)

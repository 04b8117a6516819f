"""What does a WaterML document say? Versions 1.1 and 2.0 in XML, and the same model as JSON."""

import html
from collections.abc import Iterator
from collections.abc import Mapping as Table
from dataclasses import dataclass, field, replace
from typing import Any
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import msgspec
import numpy as np

from weirhouse.records.importing import columns, names, numbers, stamps, units, when
from weirhouse.records.importing.mapping import GAP_FLAG, Mapping
from weirhouse.records.importing.parsed import Parsed, Track
from weirhouse.records.importing.problem import FileProblem, listed, shown

MOST_BYTES = 64 * 2**20


@dataclass(slots=True)
class Told:
    """One series as the document tells it, all as text; `first` is the number of its first value in the document."""

    name: str
    unit: str = ""
    code: str = ""
    statistic: str = ""
    site: str = ""
    missing: str = ""
    first: int = 1
    times: list[str] = field(default_factory=list)
    values: list[str] = field(default_factory=list)
    codes: list[str] = field(default_factory=list)

    def heading(self) -> str:
        """Return the name of the series for people and mappings."""
        return f"{self.name} ({self.statistic})" if self.statistic else self.name


def is_xml(data: bytes) -> bool:
    """Whether a text begins like XML."""
    return data.lstrip()[:1] == b"<"


def is_json(data: bytes) -> bool:
    """Whether a text begins like JSON."""
    return data.lstrip()[:1] in (b"{", b"[")


def read(
    name: str, data: bytes, channels: Table[str, names.ChannelLike], zone: ZoneInfo, mapping: Mapping, latest: int
) -> Parsed:
    """Return what a WaterML document says about the channels of the plant."""
    if len(data) > MOST_BYTES:
        raise FileProblem(f"{name} is larger than {MOST_BYTES // 2**20} MB. Ask for a shorter period.")
    form, told = _xml(name, data) if is_xml(data) else ("WaterML-JSON", _json(name, data))
    parsed = Parsed(form, rows=sum(len(t.times) for t in told))
    if not told or not parsed.rows:
        raise FileProblem(f"{name} holds no values ({form}, {len(told)} series). Ask for another period or place.")
    if "site" in mapping.where:
        told = [t for t in told if t.site == mapping.where["site"]]
        if not told:
            raise FileProblem(f'{name} has no series of the site "{shown(mapping.where["site"])}".')
    told = [t for t in told if t.times]
    by_heading: dict[tuple[str, str, str], list[Told]] = {}
    for one in told:
        by_heading.setdefault((one.heading(), one.code, one.unit), []).append(one)
    offer = [columns.Offered(heading, one[0].name, one[0].unit, code) for (heading, code, _), one in by_heading.items()]
    choice = columns.choose(offer, channels, mapping)
    parsed.unmapped, parsed.questions, parsed.remarks = choice.left, choice.questions, choice.remarks
    if not choice.taken:
        raise FileProblem(columns.nothing_mapped(name, [o.heading for o in offer], choice))
    groups = list(by_heading.values())
    for taken in choice.taken:
        several = groups[taken.at]
        if len(several) > 1:
            sites = sorted({t.site for t in several})
            if len(sites) > 1:
                raise FileProblem(
                    f"{name} holds {offer[taken.at].heading} of {len(sites)} places ({listed(sites, 6)}). Say which "
                    "is the "
                    f'plant\'s in a mapping: where = {{ site = "{shown(sites[0])}" }}.'
                )
            raise FileProblem(
                f"{name} holds {len(several)} series of {offer[taken.at].heading} at one place (several "
                "instruments). Ask for one of them."
            )
        track = _track(name, several[0], taken, offer[taken.at], channels, zone, mapping, latest, parsed)
        unit, remark, question = columns.settled_unit(
            taken, offer[taken.at].heading, track.values, channels[taken.channel]
        )
        if remark:
            parsed.remarks.append(remark)
        if question:
            parsed.questions.append(question)
            continue
        parsed.tracks.append(replace(track, unit=unit))
    if not parsed.tracks:
        raise FileProblem(f"{name}: {parsed.questions[0] if parsed.questions else 'it holds no reading of a channel.'}")
    return parsed


def _track(
    name: str,
    told: Told,
    taken: columns.Taken,
    offered: columns.Offered,
    channels: Table[str, names.ChannelLike],
    zone: ZoneInfo,
    mapping: Mapping,
    latest: int,
    parsed: Parsed,
) -> Track:
    lines = told.first + np.arange(len(told.times), dtype=np.int64)
    found = stamps.of_texts(told.times)
    order = when.order_of(found, mapping, "", name, told.times[0] if told.times else "")
    local, good = stamps.resolve(found, order)
    reader = numbers.Reader(".", True, mapping.gaps)
    values, flags = np.full(len(lines), np.nan), np.zeros(len(lines), np.uint8)
    missing = None
    if told.missing:
        stated, why = reader.number(told.missing)
        missing = None if why else stated
    unknown: dict[str, int] = {}
    for k, text in enumerate(told.values):
        cell = reader.cell(text)
        if cell.why:
            parsed.refused.add(int(lines[k]), f"{shown(told.name, 30)}: {shown(cell.why, 110)}")
            continue
        if cell.gap or cell.value == missing or cell.value in numbers.GAP_NUMBERS:
            parsed.gap(cell.gap or f"{cell.value:g}")
            continue
        code = told.codes[k]
        flag = numbers.code_flag(code) if code not in mapping.flags else mapping.flags[code]
        if flag is None:
            unknown[code] = unknown.get(code, 0) + 1
            flag = numbers.DOUBTFUL
        if flag == GAP_FLAG:
            parsed.gap(f"code {code}")
            continue
        values[k], flags[k] = cell.value, max(cell.flag, flag)
    if unknown:
        parsed.remarks.append(
            f'"{shown(told.name)}": {sum(unknown.values())} values beside codes that are not known '
            f"({listed(sorted(unknown), 8)}) are marked doubtful. Say what the codes mean in a mapping: flags."
        )
    filled = np.isfinite(values) | (flags >= numbers.BELOW)
    parsed.refused.many(lines[~good & filled], "the time is not a date and time that exists")
    clocked = when.to_utc(
        local,
        good,
        found.offset,
        found.seconds < 0,
        name=name,
        heading="",
        preamble=(),
        mapping=mapping,
        zone=zone,
        filled=filled,
        refused=parsed.refused,
        lines=lines,
    )
    if not parsed.clock:
        parsed.clock, parsed.nights = clocked.clock, clocked.nights
    rows = when.refuse_impossible(clocked.times, clocked.good & filled, lines, latest, parsed.refused)
    return Track(
        name=offered.heading,
        unit=taken.unit,
        channel=taken.channel,
        assumed=taken.sure == 1,
        code=told.code,
        site=told.site,
        times=clocked.times[rows],
        values=values[rows],
        flags=flags[rows],
        lines=lines[rows],
    )


# --- XML -------------------------------------------------------------------------------------------------------------


def _xml(name: str, data: bytes) -> tuple[str, list[Told]]:
    if data.lstrip()[:14].lower().startswith((b"<!doctype html", b"<html")):
        raise FileProblem(f"{name} is a web page, not data. Download the data itself.")
    if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        raise FileProblem(f"{name} declares a document type or entities, which no WaterML needs. It is not read.")
    text = data.lstrip()
    if text.startswith(b"<?xml"):  # the text is UTF-8 by now, whatever it says
        text = text[text.find(b"?>") + 2 :]
    try:
        root = ElementTree.fromstring(text)  # noqa: S314 - document types and entities were refused above
    except (ElementTree.ParseError, RecursionError, ValueError) as error:
        where = getattr(error, "position", (0, 0))[0]
        raise FileProblem(f"{name} is not whole XML (line {where}): it was cut or damaged. Export it again.") from None
    kind = _local(root)
    if kind == "html":
        raise FileProblem(f"{name} is a web page, not data. Download the data itself.")
    two = [e for e in root.iter() if _local(e) == "OM_Observation"]
    if two or kind == "OM_Observation":
        return "WaterML 2", list(_version_2(two or [root]))
    one = [e for e in root.iter() if _local(e) == "timeSeries"]
    if one or kind == "timeSeriesResponse":
        return "WaterML 1", list(_version_1(one))
    raise FileProblem(f"{name} is XML, but not WaterML: it holds neither timeSeries nor OM_Observation.")


def _local(element: ElementTree.Element) -> str:
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


def _attribute(element: ElementTree.Element | None, key: str) -> str:
    if element is None:
        return ""
    return next((v for k, v in element.attrib.items() if k.rpartition("}")[2] == key), "")


def _first(element: ElementTree.Element, key: str) -> ElementTree.Element | None:
    return next((e for e in element.iter() if _local(e) == key), None)


def _text(element: ElementTree.Element | None) -> str:
    return (element.text or "").strip() if element is not None else ""


def _version_1(series: list[ElementTree.Element]) -> Iterator[Told]:
    count = 1
    for one in series:
        variable = _first(one, "variable")
        unit = option = None
        if variable is not None:
            unit = (
                _first(variable, "unitCode")
                if _first(variable, "unitCode") is not None
                else _first(variable, "unitAbbreviation")
            )
            option = next(
                (e for e in variable.iter() if _local(e) == "option" and _attribute(e, "name").lower() == "statistic"),
                None,
            )
        code = _text(_first(one, "variableCode"))
        label = html.unescape(_text(_first(one, "variableName"))) or _text(_first(one, "variableDescription")) or code
        for block in (e for e in one if _local(e) == "values"):
            told = _told(
                label,
                _text(unit),
                code,
                _attribute(option, "optionCode"),
                _text(_first(one, "siteCode")),
                _text(_first(one, "noDataValue")),
                count,
            )
            for value in (e for e in block if _local(e) == "value"):
                told.times.append(_attribute(value, "dateTime") + _offset_of(value))
                told.values.append(_text(value))
                told.codes.append(_attribute(value, "qualifiers") or _censor(_attribute(value, "censorCode")))
            count += len(told.times)
            yield told


def _censor(code: str) -> str:
    return {"lt": "<", "gt": ">", "nd": "ND", "nc": ""}.get(code.lower(), code)


def _offset_of(value: ElementTree.Element) -> str:
    """Return the offset that WaterML 1.1 may keep beside the time."""
    stamp, offset = _attribute(value, "dateTime"), _attribute(value, "timeOffset")
    tail = stamp[10:]
    return offset if offset and "+" not in tail and "-" not in tail and not tail.endswith("Z") else ""


def _version_2(observations: list[ElementTree.Element]) -> Iterator[Told]:
    count = 1
    for one in observations:
        observed = _first(one, "observedProperty")
        place = _first(one, "featureOfInterest")
        title = _attribute(observed, "title")
        href = _attribute(observed, "href")
        statistic = next(
            (_text(e) for e in one.iter() if _local(e) == "value" and _text(e) in names.STATISTIC_CODES), ""
        )
        unit = _first(one, "uom")
        base = _first(one, "defaultPointMetadata")
        default = _code_of(base) if base is not None else ""
        code = href.rpartition("=")[2] if "parmCd=" in href else ""
        told = _told(
            title or href.rpartition("/")[2] or "value",
            _attribute(unit, "code") or _attribute(unit, "title"),
            code,
            statistic,
            _attribute(place, "href") or _attribute(place, "title"),
            "",
            count,
        )
        for point in (e for e in one.iter() if _local(e) in ("MeasurementTVP", "TimeValuePair")):
            time, value = _first(point, "time"), _first(point, "value")
            if time is None and value is None:
                continue
            nil = value is None or _attribute(value, "nil").lower() in ("true", "1")
            told.times.append(_text(time))
            told.values.append("" if nil else _text(value))
            own = _code_of(point)
            told.codes.append(own or default)
        count += len(told.times)
        yield told


def _code_of(element: ElementTree.Element) -> str:
    qualifier = _first(element, "qualifier")
    if qualifier is None:
        return ""
    inner = next((e for e in qualifier.iter() if _local(e) == "value"), None)
    return _text(inner) or _attribute(qualifier, "title")


def _told(name: str, unit: str, code: str, statistic: str, site: str, missing: str, first: int) -> Told:
    known = code if code in names.PARAMETER_CODES else ""
    described = units.clean(unit)
    if not units.known(described):
        described = units.in_words(name) or described
    label = name.rpartition(",")[0] if units.known(units.clean(name.rpartition(",")[2])) else name
    return Told(label or name, described, known, names.STATISTIC_CODES.get(statistic, ""), site, missing, first)


# --- JSON ------------------------------------------------------------------------------------------------------------


def _json(name: str, data: bytes) -> list[Told]:
    try:
        document = msgspec.json.decode(data)
    except (msgspec.DecodeError, RecursionError, ValueError):
        raise FileProblem(f"{name} is not whole JSON: it was cut or damaged. Download it again.") from None
    value = document.get("value") if isinstance(document, dict) else None
    series = value.get("timeSeries") if isinstance(value, dict) else None
    if not isinstance(series, list):
        raise FileProblem(f"{name} is JSON, but not WaterML: it has no value.timeSeries. Only WaterML-JSON is read.")
    told: list[Told] = []
    count = 1
    try:
        for one in series:
            variable, source = one["variable"], one.get("sourceInfo") or {}
            code = _of_first(variable.get("variableCode"), "value")
            options = (variable.get("options") or {}).get("option") or []
            statistic = next((str(o.get("optionCode", "")) for o in options if o.get("name") == "Statistic"), "")
            for block in one.get("values") or []:
                points = block.get("value") or []
                entry = _told(
                    html.unescape(str(variable.get("variableName") or code)),
                    str((variable.get("unit") or {}).get("unitCode") or ""),
                    code,
                    statistic,
                    _of_first(source.get("siteCode"), "value"),
                    "" if variable.get("noDataValue") is None else str(variable["noDataValue"]),
                    count,
                )
                for point in points:
                    entry.times.append(str(point["dateTime"]))
                    entry.values.append("" if point["value"] is None else str(point["value"]))
                    entry.codes.append(" ".join(str(q) for q in point.get("qualifiers") or []))
                count += len(points)
                told.append(entry)
    except (KeyError, TypeError, AttributeError, IndexError):
        raise FileProblem(
            f"{name} is JSON, but its series are not those of WaterML. Only WaterML-JSON is read."
        ) from None
    return told


def _of_first(several: Any, key: str) -> str:
    return str(several[0].get(key, "")) if several else ""

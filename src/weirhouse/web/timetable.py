"""How is the water timetable put on a page: picture, sentence, keys, and a table of the same content?"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

import numpy as np
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from weirhouse.desk.timetable import Parcel, Span, Timetable, sentence, where
from weirhouse.pictures import timetable as picture
from weirhouse.quantity import figure
from weirhouse.web.frame import Frame
from weirhouse.web.render import as_json, page
from weirhouse.web.source import PlantFolder

TIME_STEP = 1800.0  # of the keys that move the time [s]
KEYS = (
    ("earlier", "← Earlier water"), ("later", "Later water →"), ("up", "↑ Stage before"),
    ("down", "↓ Next stage"), ("before", "½ h back"), ("after", "½ h on"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Choice:
    """What is chosen: a parcel, and at most one of a lane and a time."""

    parcel: Parcel
    lane: int | None = None
    at: float | None = None


@dataclass(frozen=True, slots=True)
class Cell:
    """When half of a parcel left a lane, its band, and the turbidity measured there."""

    median: str
    band: str
    turbidity: str


@dataclass(frozen=True, slots=True)
class Row:
    """A parcel in the table."""

    entered: str
    stream: str
    link: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Everything that the template shows."""

    wide: Markup
    narrow: Markup
    sentence: str
    caption: str
    notes: tuple[str, ...]
    marks: tuple[str, ...]
    keys: tuple[tuple[str, str, str], ...]
    here: str
    says_link: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]


def choose(table: Timetable, query: Mapping[str, str]) -> Choice | None:
    """Return what a query chooses; the water in front of the filters now where it chooses nothing known."""
    parcel = table.parcel(query.get("parcel", ""))
    if parcel is None:
        return _usual(table)
    lane = table.lane_of(query.get("stage", ""))
    if lane is not None:
        return Choice(parcel, lane=lane)
    try:
        at = float(query.get("at_time", ""))
    except ValueError:
        return Choice(parcel)
    return Choice(parcel, at=min(max(at, table.begin), table.end) if np.isfinite(at) else None)


def _usual(table: Timetable) -> Choice | None:
    """Choose the water that stands before the filters now, else the last that entered."""
    known = [p for p in table.parcels if not p.ahead]
    if not known:
        return None
    filters = next((i for i, lane in enumerate(table.lanes) if lane.kind == "filters"), 0)
    ahead = [p for p in known if not p.enters(filters).median <= table.now]
    return Choice(ahead[0] if ahead else known[-1], at=table.now)


def links(table: Timetable, choice: Choice, keep: str = "") -> dict[str, str]:
    """Return where each key leads from a choice, as query strings; a key that leads nowhere is left out."""
    parcels = table.parcels
    i = parcels.index(choice.parcel)
    stays = {"stage": table.lanes[choice.lane].id} if choice.lane is not None else {}
    if choice.at is not None:
        stays = {"at_time": f"{choice.at:.0f}"}
    found: dict[str, str] = {}

    def go(key: str, parcel: Parcel, more: Mapping[str, str]) -> None:
        found[key] = "?" + "&".join(x for x in (urlencode({"parcel": parcel.id, **more}), keep) if x)

    if i > 0:
        go("earlier", parcels[i - 1], stays)
        go("first", parcels[0], stays)
    if i + 1 < len(parcels):
        go("later", parcels[i + 1], stays)
        go("last", parcels[-1], stays)
    lane = _lane(table, choice)
    if lane is None:
        go("down", choice.parcel, {"stage": table.lanes[0].id})
    else:
        if lane > 0:
            go("up", choice.parcel, {"stage": table.lanes[lane - 1].id})
        if lane + 1 < len(table.lanes):
            go("down", choice.parcel, {"stage": table.lanes[lane + 1].id})
    at = _time(table, choice)
    if at - TIME_STEP >= table.begin:
        go("before", choice.parcel, {"at_time": f"{at - TIME_STEP:.0f}"})
    if at + TIME_STEP <= table.end:
        go("after", choice.parcel, {"at_time": f"{at + TIME_STEP:.0f}"})
    return found


def _lane(table: Timetable, choice: Choice) -> int | None:
    if choice.lane is not None:
        return choice.lane
    if choice.at is None:
        return None
    place = where(table, choice.parcel, choice.at)
    return None if place is None else min(int(place), len(table.lanes) - 1)


def _time(table: Timetable, choice: Choice) -> float:
    """Return the time at which the choice is marked on the picture."""
    if choice.at is not None:
        return choice.at
    if choice.lane is None:
        return min(max(choice.parcel.entered, table.begin), table.end)
    leaves = choice.parcel.leaves[choice.lane].median
    return min(max(leaves, table.begin), table.end) if np.isfinite(leaves) else table.end


def answer(table: Timetable, query: Mapping[str, str], keep: str = "") -> dict[str, Any]:
    """Return what a choice says, as data."""
    choice = choose(table, query)
    if choice is None:
        return {"parcel": "", "sentence": " ".join(table.notes), "links": {}, "time": None, "place": None}
    at = _time(table, choice)
    return {
        "parcel": choice.parcel.id,
        "sentence": sentence(table, choice.parcel, lane=choice.lane, at=choice.at),
        "links": links(table, choice, keep),
        "time": at,
        "place": where(table, choice.parcel, at),
    }


def timetable_view(table: Timetable, frame: Frame, *, query: Mapping[str, str], path: str = "/timetable") -> View:
    """Return the timetable as a page shows it."""
    choice = choose(table, query)
    said = answer(table, query, frame.at_query)
    chosen = choice.parcel.id if choice is not None else ""
    ahead = ""
    if table.ahead_flow is not None:
        flow = table.units.get("ahead", "")
        ahead = f"the plant ran on at {flow}" if flow else "the plant went on standing still"
        ahead = f"Right of now it is drawn as if {ahead}. "
    caption = (
        "Each line is the water of one hour on its way, drawn where half of it is; its colour is the turbidity "
        f"measured where it last passed an instrument. {ahead}The band holds 80 % of the chosen water."
    )
    return View(
        wide=Markup(picture.svg(table, chosen=chosen)),  # noqa: S704 - every text in it is escaped by the picture
        narrow=Markup(picture.svg(table, narrow=True, chosen=chosen)),  # noqa: S704
        sentence=said["sentence"],
        caption=caption,
        notes=table.notes if choice is not None else (),
        marks=tuple(_mark(table, i) for i in range(len(table.marks))),
        keys=tuple(
            (key, words, f"{path}{said['links'][key]}#timetable" if key in said["links"] else "") for key, words in KEYS
        ),
        here=frame.link(path) + "#timetable",
        says_link="/timetable.json",
        columns=tuple(lane.name for lane in table.lanes),
        rows=tuple(_row(table, parcel, frame) for parcel in table.parcels),
    )


def _mark(table: Timetable, index: int) -> str:
    mark = table.marks[index]
    text = f"{table.clock(mark.started)}: {mark.text}"
    return f"{text}, until {table.clock(mark.ended)}" if mark.ended - mark.started > 60 else text


def _row(table: Timetable, parcel: Parcel, frame: Frame) -> Row:
    cells = []
    for i, span in enumerate(parcel.leaves):
        turbidity = ""
        if table.lanes[i].channel and span.median <= table.now and np.isfinite(parcel.turbidity_out[i]):
            turbidity = ntu(parcel.turbidity_out[i])
        cells.append(Cell(clock(table, span.median), _band(table, span), turbidity))
    return Row(
        entered=table.clock(parcel.entered),
        stream=ntu(parcel.turbidity) if np.isfinite(parcel.turbidity) else "not measured" if not parcel.ahead else "",
        link=frame.link("/timetable", parcel=parcel.id),
        cells=tuple(cells),
    )


def ntu(value: float) -> str:
    """Return a turbidity with its unit."""
    return f"{figure(value, 2 if value < 1 else 3)} NTU"


def clock(table: Timetable, at: float) -> str:
    """Return a time, or what is known of it."""
    return table.clock(at) if np.isfinite(at) else "later"


def _band(table: Timetable, span: Span) -> str:
    return f"{clock(table, span.early)} to {clock(table, span.late)}" if np.isfinite(span.early) else ""


def timetable_page(folder: PlantFolder, request: Request) -> Response:
    """Answer with the timetable alone: what the keys lead to on a page without scripts."""
    plant = folder.plant()
    at = folder.moment(request.query_params.get("at", ""))
    frame = Frame(
        plant=plant.name, system_id=plant.system_id, place="today", title="Where the water is", at=at,
        zone=plant.zone, demo=plant.demo, asked=bool(request.query_params.get("at", "")),
    )  # fmt: skip
    view = timetable_view(folder.timetable(at), frame, query=request.query_params)
    return page(request, "timetable.html", {"frame": frame, "timetable": view})


def timetable_twin(folder: PlantFolder, request: Request) -> Response:
    """Answer with a choice as JSON, or with the whole timetable where nothing is chosen."""
    asked = request.query_params.get("at", "")
    at = folder.moment(asked)
    table = folder.timetable(at)
    if "parcel" in request.query_params:
        keep = urlencode({"at": f"{at:%Y-%m-%dT%H:%M:%SZ}"}) if asked else ""
        return as_json(answer(table, request.query_params, keep))
    return as_json(whole(table))


def whole(table: Timetable) -> dict[str, Any]:
    """Return the timetable as data: times in UTC epoch seconds, turbidity in NTU; null where not known."""

    def finite(value: float) -> float | None:
        return float(value) if np.isfinite(value) else None

    return {
        "begin": table.begin, "end": table.end, "now": table.now, "time_zone": table.zone.key,
        "stages": [
            {"id": lane.id, "name": lane.name, "kind": lane.kind, "volume_m3": lane.volume, "units": lane.units,
             "turbidity_channel": lane.channel}
            for lane in table.lanes
        ],
        "parcels": [
            {"id": p.id, "entered": p.entered, "turbidity_ntu": finite(p.turbidity),
             "leaves": [[finite(s.early), finite(s.median), finite(s.late)] for s in p.leaves],
             "turbidity_out_ntu": [finite(t) for t in p.turbidity_out],
             "stood_still_s": p.stood_s, "met": list(p.met), "ahead": p.ahead}
            for p in table.parcels
        ],
        "marks": [
            {"kind": m.kind, "stage": table.lanes[m.lane].id if 0 <= m.lane < len(table.lanes) else "stream",
             "started": m.started, "ended": m.ended, "text": m.text}
            for m in table.marks
        ],
        "notes": list(table.notes),
    }  # fmt: skip

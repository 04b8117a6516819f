"""How does the plant look, cut open along the way of the water? Every vessel to one scale, numbered as in the table.

Widths and depths are those of the plant file; a vessel of which only the volume is known is drawn as a cube. All stand
on one line: the lie of the land is left out.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import sqrt

from weirhouse.pictures.svg import number, path, tag, text
from weirhouse.plant.model import Basin, Clarifier, Contact, Feed, Filter, Filters, Flocculation, Mixer, Plant, Storage

SCALE = 19.0  # pixels a metre
GAP = 24.0
LEAST = 9.0  # pixels a metre in the wide picture
WIDE, NARROW = 1120.0, 390.0
FREE = 0.3  # of wall above the water [m]


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """A piece of the section: sizes in metres. A feed has no size, and is an arrow."""

    key: str  # id of the stage in the table
    name: str
    width: float = 0.0
    depth: float = 0.0  # of the water when full
    low: float | None = None  # lowest level it is run at
    walls: tuple[tuple[float, str], ...] = ()  # share of the width; "under" or "over": where the water passes
    layers: tuple[tuple[float, str], ...] = ()  # from the top of the media down: depth, class


def vessels(plant: Plant) -> list[Vessel]:
    """Return what is drawn, in the order the water takes it."""
    return [vessel for stage in plant.stages for vessel in _vessels(stage)]


def _vessels(stage: object) -> Iterator[Vessel]:
    match stage:
        case Basin():
            walls: tuple[tuple[float, str], ...] = ()
            if stage.baffles == "over_and_under":
                many = max(2, round(stage.compartments))
                walls = tuple((k / many, "under" if k % 2 else "over") for k in range(1, many))
            elif stage.baffles == "inlet":
                walls = ((0.08, "under"),)
            yield Vessel(key=stage.id, name=stage.name, width=stage.length, depth=stage.depth, walls=walls)
        case Mixer():
            side = stage.volume ** (1 / 3)
            yield Vessel(key=stage.id, name=stage.name, width=side, depth=side)
        case Flocculation():
            for one in stage.stages:
                side = one.volume ** (1 / 3)
                for _ in range(one.parallel):
                    yield Vessel(key=one.id, name=one.name, width=side, depth=side)
        case Clarifier():
            yield Vessel(key=stage.id, name=stage.name, width=sqrt(stage.area), depth=stage.depth)
        case Filters():
            for unit in stage.filter:
                layers = tuple((layer.depth, _layer_class(i)) for i, layer in enumerate(unit.layer))
                depth = (unit.water_depth or 1.0) + sum(layer.depth for layer in unit.layer)
                yield Vessel(key=unit.id, name=unit.name, width=_filter_width(unit), depth=depth, layers=layers)
        case Contact():
            full = stage.full_level or stage.volume ** (1 / 3)
            area = stage.area or stage.volume / full
            yield Vessel(key=stage.id, name=stage.name, width=sqrt(area), depth=full, low=stage.low_level)
        case Storage():
            width = stage.diameter if stage.diameter is not None else sqrt(stage.area or 1.0)
            yield Vessel(key=stage.id, name=stage.name, width=width, depth=stage.full_level, low=stage.low_level)
        case Feed():
            yield Vessel(key=stage.id, name=stage.name)


def _layer_class(index: int) -> str:
    return f"sec-media sec-media-{min(index, 2)}"


def _filter_width(unit: Filter) -> float:
    if unit.length is not None:
        return unit.length
    if unit.diameter is not None:
        return unit.diameter
    return sqrt(unit.area or 1.0)


def svg(plant: Plant, numbers: dict[str, int], *, narrow: bool = False) -> str:
    """Return the picture; `numbers` gives each stage's number in the table beside it."""
    width = NARROW if narrow else WIDE
    drawn = vessels(plant)
    widest = max((v.width for v in drawn), default=1.0) or 1.0
    scale = min(SCALE, (width - 2 * GAP) / widest)
    if not narrow:  # in one row, as long as it stays large enough to see
        whole = sum(v.width for v in drawn) or 1.0
        scale = max(min(scale, (width - 16 - sum(_room(v, 0.0) for v in drawn)) / whole), LEAST)
    body: list[str] = []
    y = 12.0
    for row in rows(drawn, width, scale):
        tall = max(v.depth + FREE for v in row) * scale + 22
        y += tall
        x = 8.0
        body.append(tag("line", x1=0, x2=width, y1=y, y2=y, class_="tt-axis"))
        for vessel in row:
            body.append(_vessel(vessel, x, y, scale, numbers.get(vessel.key)))
            x += _room(vessel, scale)
        y += 44.0
    return tag(
        "svg", "".join(body), viewBox=f"0 0 {number(width)} {number(y)}", xmlns="http://www.w3.org/2000/svg",
        class_=f"section {'phone-only' if narrow else 'desk-only'}", aria_hidden="true", focusable="false",
    )  # fmt: skip


def _room(vessel: Vessel, scale: float) -> float:
    return vessel.width * scale + GAP if vessel.width else 30.0


def rows(drawn: Sequence[Vessel], width: float, scale: float) -> list[list[Vessel]]:
    """Return the vessels in rows that fit the width."""
    found: list[list[Vessel]] = []
    used = width
    for vessel in drawn:
        room = _room(vessel, scale)
        if used + room - GAP > width - 8 or not found:
            found.append([])
            used = 8.0
        found[-1].append(vessel)
        used += room
    return found


def _vessel(v: Vessel, x: float, floor: float, scale: float, of: int | None) -> str:
    label = "" if of is None else str(of)
    if not v.width:
        out = tag("path", d=path([(x + 8, floor - 52), (x + 8, floor - 8)]), class_="sec-feed")
        out += tag("path", d=f"M{number(x + 3)} {number(floor - 12)}h10l-5 10Z", class_="sec-feed-head")
        return out + text(x + 8, floor + 17, label, "tt-name tt-day", "middle")
    wide, deep = v.width * scale, v.depth * scale
    top = floor - deep
    right = x + wide
    out = tag("rect", x=x, y=top, width=wide, height=deep, class_="sec-water")
    at = floor - sum(depth for depth, _ in v.layers) * scale
    for depth, class_ in v.layers:
        out += tag("rect", x=x, y=at, width=wide, height=depth * scale, class_=class_)
        at += depth * scale
    for share, how in v.walls:
        a, b = (top - FREE * scale, floor - 0.18 * deep) if how == "under" else (top + 0.15 * deep, floor)
        out += tag("line", x1=x + share * wide, x2=x + share * wide, y1=a, y2=b, class_="sec-wall")
    if v.low is not None:
        low = floor - v.low * scale
        out += tag("line", x1=x, x2=right, y1=low, y2=low, class_="sec-inner")
    out += tag("line", x1=x, x2=right, y1=top, y2=top, class_="sec-surface")
    rim = top - FREE * scale
    out += tag("path", d=path([(x, rim), (x, floor), (right, floor), (right, rim)]), class_="sec-wall")
    out += text(x + wide / 2, floor + 17, label, "tt-name tt-day", "middle")
    if 0.56 * 12 * len(v.name) <= wide + GAP - 4:
        out += text(max(x + wide / 2, 0.28 * 12 * len(v.name)), floor + 32, v.name, "tt-name", "middle")
    return out

"""How does the water timetable look? Clock time across, the plant from stream to tap down, a line for each parcel."""

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from weirhouse.desk.timetable import Lane, Mark, Parcel, Point, Strip, Timetable
from weirhouse.pictures import turbidity
from weirhouse.pictures.svg import Labels, number, path, tag, text
from weirhouse.quantity import figure

Array = NDArray[np.float64]
STREAM, STRIP, AXIS, SCALE = 26.0, 15.0, 40.0, 44.0  # heights of the parts of the picture
FONT = 12.0


@dataclass(frozen=True, slots=True)
class Frame:
    """Where things stand: seconds to x, lane number and fraction to y."""

    begin: float
    end: float
    left: float
    right: float
    tops: tuple[float, ...]
    bottoms: tuple[float, ...]
    stream: float  # top of the stream's strip
    foot: float  # bottom of the last lane or its strip

    def x(self, at: float) -> float:
        """Return the x of a time."""
        return self.left + (self.right - self.left) * (at - self.begin) / (self.end - self.begin)

    def y(self, place: float) -> float:
        """Return the y of a lane number plus fraction."""
        lane = min(int(place), len(self.tops) - 1)
        return self.tops[lane] + (self.bottoms[lane] - self.tops[lane]) * (place - lane)


def lane_heights(lanes: Sequence[Lane], total: float, least: float) -> list[float]:
    """Share out `total` by the square root of volume, none below `least` (more for units side by side).

    >>> from weirhouse.science.passage import Part
    >>> lane = lambda v: Lane(id="", name="", kind="", parts=(Part(v, 1),))
    >>> [round(h) for h in lane_heights([lane(100.0), lane(400.0)], 300.0, 20.0)]
    [100, 200]
    """
    roots = np.sqrt(np.array([max(lane.volume, 0.0) for lane in lanes]))
    floor = np.array([max(least, 19.0 * lane.units if lane.kind == "filters" else 0.0) for lane in lanes])
    fixed = np.zeros(len(roots), dtype=bool)
    heights = floor.copy()
    while not fixed.all():
        free, whole = total - floor[fixed].sum(), roots[~fixed].sum()
        heights[~fixed] = free * roots[~fixed] / whole if whole > 0 else floor[~fixed]
        small = ~fixed & (heights < floor)
        if not small.any():
            break
        fixed |= small
        heights[small] = floor[small]
    return [float(h) for h in heights]


def frame(table: Timetable, *, narrow: bool) -> Frame:
    """Return the layout: wide for the desk and paper, narrow for the phone with its labels inside the lanes."""
    begin, end = (max(table.begin, table.now - 15 * 3600), min(table.end, table.now + 6 * 3600)) if narrow else (
        table.begin, table.end)  # fmt: skip
    left, right = (6.0, 384.0) if narrow else (172.0, 1112.0)
    least = 24.0 if narrow else 22.0
    strips = {strip.lane for strip in table.strips}
    heights = lane_heights(table.lanes, max(520.0, (least + 22) * len(table.lanes)), least)
    y = 26.0
    stream = y
    y += STREAM + 8
    tops, bottoms = [], []
    for i, height in enumerate(heights):
        tops.append(y)
        bottoms.append(y + height)
        y += height + (STRIP if i in strips else 0.0)
    return Frame(begin, end, left, right, tuple(tops), tuple(bottoms), stream, y)


def svg(table: Timetable, *, narrow: bool = False, chosen: str = "") -> str:
    """Return the picture. It is hidden from screen readers: the table of the same content is for them."""
    at = frame(table, narrow=narrow)
    width = 390.0 if narrow else 1120.0
    labels = Labels(at.left, at.right)
    height = at.foot + AXIS + SCALE + (12 if narrow else 0)
    key = "n" if narrow else "w"
    body = [
        tag("defs", _clip(at, key) + _fade(key)),
        _lanes(table, at, narrow),
        _standing(table, at),
        tag("g", "".join(_parcel(table, at, p, narrow, chosen) for p in table.parcels), clip_path=f"url(#plot-{key})"),
        _strips(table, at, labels, narrow),
        _ahead(table, at, key),
        _names(table, at, labels, narrow),
        _marks(table, at, labels),
        _axis(table, at, narrow),
        _scale(at, height - SCALE + 10, narrow),
        tag("circle", r=5, class_="tt-cursor", cx=-50, cy=-50),
    ]
    return tag(
        "svg", "".join(body), viewBox=f"0 0 {number(width)} {number(height)}",
        class_=f"timetable {'timetable-narrow' if narrow else 'timetable-wide'}", aria_hidden="true", focusable="false",
        data_begin=f"{at.begin:.0f}", data_end=f"{at.end:.0f}", data_left=at.left, data_right=at.right,
        data_tops=" ".join(number(v) for v in at.tops), data_bottoms=" ".join(number(v) for v in at.bottoms),
        xmlns="http://www.w3.org/2000/svg",
    )  # fmt: skip


def _clip(at: Frame, key: str) -> str:
    box = tag("rect", x=at.left, y=at.stream, width=at.right - at.left, height=at.foot - at.stream)
    return tag("clipPath", box, id=f"plot-{key}")


def _fade(key: str) -> str:
    stops = tag("stop", offset=0, class_="tt-fade-near") + tag("stop", offset=1, class_="tt-fade-far")
    return tag("linearGradient", stops, id=f"fade-{key}", x1=0, x2=1, y1=0, y2=0)


def _lanes(table: Timetable, at: Frame, narrow: bool) -> str:
    out = []
    for i in range(len(table.lanes)):
        for y in {at.tops[i], at.bottoms[i]}:
            out.append(tag("line", x1=0 if not narrow else at.left, x2=at.right, y1=y, y2=y, class_="tt-rule"))
    return "".join(out)


def _names(table: Timetable, at: Frame, labels: Labels, narrow: bool) -> str:
    out = []
    if narrow:
        for i, lane in enumerate(table.lanes):
            labels.block(at.left, at.tops[i] + 2, at.left + 4 + 0.5 * FONT * len(lane.name), at.tops[i] + 16)
        out.append(text(at.left, at.stream - 6, "Stream, NTU", "tt-name tt-halo"))
        out += [text(at.left + 2, at.tops[i] + 13, lane.name, "tt-name tt-halo") for i, lane in enumerate(table.lanes)]
        return "".join(out)
    out.append(text(at.left - 10, at.stream + STREAM / 2 + 4, "Stream, NTU", "tt-name", "end"))
    for i, lane in enumerate(table.lanes):
        middle = (at.tops[i] + at.bottoms[i]) / 2 + 4
        out.append(text(at.left - 10, middle, _short(lane.name), "tt-name", "end"))
    for strip in table.strips:
        if strip.lane >= 0:
            name = _short(strip.name.removesuffix(" turbidity").strip().lower() + ", NTU")
            out.append(text(at.left - 10, at.bottoms[strip.lane] + STRIP - 4, name, "tt-small", "end"))
    return "".join(out)


def _short(name: str, most: int = 27) -> str:
    return name if len(name) <= most else name[: most - 1].rstrip() + "…"


# --- strips of measured values -----------------------------------------------------------------------------------


def _strips(table: Timetable, at: Frame, labels: Labels, narrow: bool) -> str:
    out = []
    for strip in table.strips:
        top, height = (at.stream, STREAM) if strip.lane < 0 else (at.bottoms[strip.lane], STRIP)
        out += _strip(table, at, strip, top, height, narrow)
        labels.block(at.left, top, at.right, top + height)
    if not any(strip.lane < 0 for strip in table.strips):
        out.append(text(at.left + 4, at.stream + STREAM / 2 + 4, "not measured", "tt-small"))
    return "".join(out)


def _strip(table: Timetable, at: Frame, strip: Strip, top: float, height: float, narrow: bool) -> list[str]:
    """Return a strip: the highest value of each two pixels, run together where the colour is the same."""
    step = 2.0
    last = min(at.x(table.now), at.right)
    held = max(3 * 3600.0, 3 * float(np.median(np.diff(strip.times))) if len(strip.times) > 1 else 0.0)
    columns = np.arange(at.left, last, step)
    edges = at.begin + (np.append(columns, columns[-1] + step if len(columns) else at.left) - at.left) / (
        at.right - at.left
    ) * (at.end - at.begin)
    out: list[str] = []
    values = []
    for a, b in itertools.pairwise(edges):
        i, j = np.searchsorted(strip.times, [a, b])
        if j > i:
            values.append(float(strip.values[i:j].max()))
        elif i > 0 and a - strip.times[i - 1] <= held:
            values.append(float(strip.values[i - 1]))
        else:
            values.append(float("nan"))
    start = 0
    for k in range(1, len(columns) + 1):
        ended = k == len(columns) or turbidity.colour(values[k]) != turbidity.colour(values[start])
        if not ended:
            continue
        fill = turbidity.colour(values[start])
        wide = columns[k - 1] + step - columns[start]
        if fill:
            out.append(
                tag("rect", x=columns[start], y=top, width=wide, height=height, fill=fill, shape_rendering="crispEdges")
            )
        else:
            out.append(tag("rect", x=columns[start], y=top + 1, width=wide, height=height - 2, class_="tt-gap"))
        start = k
    shown = _figures(columns, values, 44.0 if narrow else 58.0)
    for x, value in shown:
        fill = turbidity.colour(value)
        words = figure(value, 2 if value < 100 else 3)
        size = "tt-figure" if height > 20 else "tt-figure tt-figure-small"
        out.append(
            text(x, top + height / 2 + (4.5 if height > 20 else 3.8), words, f"{size} {turbidity.on(fill)}", "middle")
        )
    return out


def _figures(columns: Array, values: list[float], apart: float) -> list[tuple[float, float]]:
    """Choose where figures are printed on a strip: the highest first, then at least `apart` pixels from another."""
    found: list[tuple[float, float]] = []
    order = sorted((i for i in range(len(values)) if values[i] == values[i]), key=lambda i: -values[i])[:1]
    order += list(range(8, len(values), max(1, round(apart / 2))))
    for i in order:
        x, value = float(columns[i]), values[i]
        inside = columns[0] + 16 <= x <= columns[-1] - 14
        if value == value and inside and all(abs(x - other) >= apart * 0.8 for other, _ in found):
            found.append((x, value))
    return found


# --- parcels -----------------------------------------------------------------------------------------------------


def _parcel(table: Timetable, at: Frame, parcel: Parcel, narrow: bool, chosen: str) -> str:
    hour = datetime.fromtimestamp(parcel.entered, UTC).astimezone(table.zone)
    third = hour.hour % 3 == 0 and hour.minute == 0
    every = 2 if narrow else 1
    is_chosen = parcel.id == chosen
    if hour.hour % every and not (is_chosen or parcel.first_after):
        return ""
    if parcel.line[-1].time < at.begin or parcel.entered > at.end:
        return ""
    points = _drawn(parcel.line, at)
    if len(points) < 2:
        return ""
    whole = path(_corners(points, at))
    classes = ["tt-parcel"]
    classes += ["tt-third"] if third else []
    classes += ["tt-first"] if parcel.first_after else []
    classes += ["chosen"] if is_chosen else []
    body = tag("path", d=_band(table, parcel, at), class_="tt-band") + tag("path", d=whole, class_="tt-casing")
    for run, colour, ahead in _runs(points, table.now):
        body += tag(
            "path", d=path(_corners(run, at)), stroke=colour or None,
            class_=" ".join(["tt-line"] + ([] if colour else ["tt-unmeasured"]) + (["tt-ahead"] if ahead else [])),
        )  # fmt: skip
    body += tag("path", d=whole, class_="tt-hit")
    group = tag("g", body, class_=" ".join(classes), data_parcel=parcel.id)
    return tag("a", group, href=f"/timetable?parcel={parcel.id}", tabindex="-1")


def _drawn(line: Sequence[Point], at: Frame) -> list[Point]:
    """Return the points of the line inside the picture, cut at its edges."""
    times = np.array([q.time for q in line])
    places = np.array([q.place for q in line])
    inside = [q for q in line if at.begin <= q.time <= at.end]
    for edge in (at.begin, at.end):
        if times[0] < edge < times[-1]:
            i = int(np.searchsorted(times, edge))
            inside.append(Point(edge, float(np.interp(edge, times, places)), line[i].turbidity))
    return sorted(inside, key=lambda q: (q.time, q.place))


def _corners(points: Sequence[Point], at: Frame) -> list[tuple[float, float]]:
    """Return the corners of a line; where it leaves a lane it drops past the strip below it."""
    found = []
    for i, q in enumerate(points):
        lane = int(q.place)
        if q.place == lane and lane > 0 and i > 0:  # the end of a lane: its bottom, then the top of the next
            found.append((at.x(q.time), at.bottoms[lane - 1]))
        if lane < len(at.tops):
            found.append((at.x(q.time), at.y(q.place)))
        elif not found or found[-1] != (at.x(q.time), at.bottoms[-1]):
            found.append((at.x(q.time), at.bottoms[-1]))
    return found


def _runs(points: Sequence[Point], now: float) -> list[tuple[list[Point], str, bool]]:
    """Cut a line into runs of one colour, and at now."""
    cut: list[Point] = []
    for a, b in itertools.pairwise(points):
        cut.append(a)
        if a.time < now < b.time:
            part = (now - a.time) / (b.time - a.time)
            cut.append(Point(now, a.place + (b.place - a.place) * part, b.turbidity))
    cut.append(points[-1])
    runs: list[tuple[list[Point], str, bool]] = []
    for a, b in itertools.pairwise(cut):
        both = [v for v in (a.turbidity, b.turbidity) if v == v]
        value = float(np.exp(np.mean(np.log(both)))) if len(both) == 2 and min(both) > 0 else b.turbidity
        colour, ahead = turbidity.colour(value), b.time > now
        if runs and runs[-1][1] == colour and runs[-1][2] == ahead:
            runs[-1][0].append(b)
        else:
            runs.append(([a, b], colour, ahead))
    return runs


def _band(table: Timetable, parcel: Parcel, at: Frame) -> str:
    """Return the outline of the 10 to 90 percent band, lane by lane."""
    early, late = [(parcel.entered, at.tops[0])], [(parcel.entered, at.tops[0])]
    for i, span in enumerate(parcel.leaves):
        if not np.isfinite(span.early):
            break
        far = span.late if np.isfinite(span.late) else at.end + 48 * 3600
        for side, moment in ((early, span.early), (late, far)):
            side.append((moment, at.bottoms[i]))
            if i + 1 < len(at.tops):
                side.append((moment, at.tops[i + 1]))
    outline = [(at.x(t), y) for t, y in early] + [(at.x(t), y) for t, y in reversed(late)]
    return path(outline) + "Z"


# --- marks, now, axis, scale -------------------------------------------------------------------------------------


def _standing(table: Timetable, at: Frame) -> str:
    """Return pale columns where the works were out of power or order."""
    return "".join(
        tag("rect", x=max(at.left, at.x(m.started)), y=at.tops[0],
            width=max(2.0, min(at.right, at.x(m.ended)) - max(at.left, at.x(m.started))), height=at.foot - at.tops[0],
            class_="tt-outage")
        for m in table.marks
        if m.kind == "outage" and m.ended > at.begin and m.started < at.end and at.tops
    )  # fmt: skip


def _marks(table: Timetable, at: Frame, labels: Labels) -> str:
    """Return what happened: every shape first, then the labels that fit between them, the weightiest first."""
    inside = [m for m in table.marks if m.ended >= at.begin and m.started <= at.end]
    shapes = [_shape(table, at, mark, labels) for mark in inside]
    names = [_label(table, at, mark, labels) for mark in sorted(inside, key=lambda m: (_WEIGHT[m.kind], -m.started))]
    return tag("g", "".join(shapes + names), class_="tt-marks")


_WEIGHT = {"dose": 0, "intake_shut": 1, "outage": 2, "backwash": 3, "sample": 4, "filter_to_waste": 5}


def _edges(at: Frame, mark: Mark) -> tuple[float, float]:
    return max(at.left, at.x(mark.started)), min(at.right, at.x(mark.ended))


def _unit_box(table: Timetable, at: Frame, mark: Mark) -> tuple[float, float]:
    """Return top and height of the part of a lane that belongs to one of the units side by side."""
    each = (at.bottoms[mark.lane] - at.tops[mark.lane]) / max(1, table.lanes[mark.lane].units)
    return at.tops[mark.lane] + each * mark.unit, each


def _level(at: Frame, mark: Mark) -> float:
    """Return the y of a mark that stands on a boundary: a feed above its lane, a sample below it."""
    if mark.lane < 0:
        return at.stream + STREAM / 2
    if mark.kind == "dose":
        return at.tops[mark.lane] if mark.lane < len(at.tops) else at.foot
    return at.bottoms[mark.lane]


def _shape(table: Timetable, at: Frame, mark: Mark, labels: Labels) -> str:
    x0, x1 = _edges(at, mark)
    if mark.kind in ("backwash", "filter_to_waste"):
        y, each = _unit_box(table, at, mark)
        wide = max(3.0, x1 - x0)
        labels.block(x0, y + 2, x0 + wide, y + each - 2)
        class_ = "tt-wash" if mark.kind == "backwash" else "tt-waste"
        return tag("rect", x=x0, y=y + 1, width=wide, height=each - 2, class_=class_)
    if mark.kind == "intake_shut":
        return tag("rect", x=x0, y=at.stream + STREAM + 1, width=max(2.0, x1 - x0), height=5, class_="tt-shut")
    y = _level(at, mark)
    if mark.kind == "dose":
        corners = f"M{number(x0 - 5)} {number(y - 9)}H{number(x0 + 5)}L{number(x0)} {number(y)}Z"
        return tag("path", d=corners, class_="tt-dose")
    if mark.kind == "sample":
        turned = f"rotate(45 {number(x0)} {number(y)})"
        return tag("rect", x=x0 - 4, y=y - 4, width=8, height=8, class_="tt-sample", transform=turned)
    return ""


def _label(table: Timetable, at: Frame, mark: Mark, labels: Labels) -> str:
    x0, x1 = _edges(at, mark)
    top = at.tops[0]
    if mark.kind == "backwash":
        y, each = _unit_box(table, at, mark)
        words = mark.text.replace(" backwashed", " backwash")
        return labels.place(x1, (y + each / 2 + 4, y + each / 2 + 7), words, FONT, "tt-label tt-halo", left_of=x0)
    if mark.kind == "dose":
        y = _level(at, mark)
        places = (y - 4, y + 14, y - 17, y + 27)
        for words in (mark.text, _figures_of(mark.text)):
            found = labels.place(x0 + 3, places, words, FONT, "tt-label tt-halo", left_of=x0 - 4)
            if found:
                return found
        return ""
    if mark.kind == "intake_shut":
        return labels.place(x0 - 4, (top + 13, top + 27), "intake shut", FONT, "tt-label tt-halo")
    if mark.kind == "outage":
        return labels.place(x0, (top + 13, top + 27, top + 41), mark.text.lower(), FONT, "tt-label tt-halo")
    if mark.kind == "sample" and mark.lane >= 0:
        y = _level(at, mark)
        return labels.place(x0 + 3, (y - 6, y - 18), "sample", FONT, "tt-label tt-halo")
    return ""


def _figures_of(text: str) -> str:
    """Return the figures of a dose change, for where its whole text does not fit.

    >>> _figures_of("Coagulant 14.0 → 26.0 mg/L as product"), _figures_of("Coagulant dose changed")
    ('14.0 → 26.0 mg/L', 'Coagulant dose changed')
    """
    found = re.search(r"[\d.,]+ → [\d.,]+ \S+", text)
    return found[0] if found else text


def _ahead(table: Timetable, at: Frame, key: str) -> str:
    """Return the veil right of now, thicker the further ahead, and the line of now."""
    out = ""
    if table.now < at.end:
        x = max(at.left, at.x(table.now))
        out = tag(
            "rect", x=x + 1, y=at.stream, width=at.right - x, height=at.foot - at.stream, fill=f"url(#fade-{key})"
        )
    if at.begin <= table.now <= at.end:
        x = at.x(table.now)
        words = f"now {datetime.fromtimestamp(table.now, UTC).astimezone(table.zone):%H:%M}"
        out += tag("line", x1=x, x2=x, y1=at.stream - 6, y2=at.foot, class_="tt-now")
        edge = "end" if x > at.right - 40 else "start" if x < at.left + 40 else "middle"
        out += text(x, at.stream - 9, words, "tt-now-label", edge)
    return out


def _axis(table: Timetable, at: Frame, narrow: bool) -> str:
    hours = (at.end - at.begin) / 3600
    step = next(s for s in (1, 2, 3, 4, 6, 12, 24) if hours / s <= (8 if narrow else 14))
    out = [tag("line", x1=at.left, x2=at.right, y1=at.foot, y2=at.foot, class_="tt-axis")]
    here = datetime.fromtimestamp(at.begin, UTC).astimezone(table.zone).replace(minute=0, second=0, microsecond=0)
    moment = here.astimezone(UTC)
    seen_day = ""
    while moment.timestamp() <= at.end:
        local = moment.astimezone(table.zone)
        x = at.x(moment.timestamp())
        if at.left - 1 <= x <= at.right + 1 and local.hour % step == 0 and local.minute == 0:
            anchor = "start" if x < at.left + 14 else "end" if x > at.right - 14 else "middle"
            out.append(tag("line", x1=x, x2=x, y1=at.foot, y2=at.foot + 5, class_="tt-axis"))
            out.append(text(x, at.foot + 18, f"{local:%H:%M}", "tt-tick", anchor))
            day = f"{local:%a} {local.day} {local:%b}"
            if day != seen_day and x < at.right - 50:
                anchor = "start" if x < at.left + 40 else "middle"
                out.append(text(at.left if anchor == "start" else x, at.foot + 33, day, "tt-tick tt-day", anchor))
                seen_day = day
        moment += timedelta(hours=1)
    return "".join(out)


def _scale(at: Frame, top: float, narrow: bool) -> str:
    """Return the turbidity scale with its figures."""
    left, right, cells = at.left if narrow else at.left + 330, at.right, 60
    wide = (right - left) / cells
    low, high = turbidity.LOWEST, turbidity.HIGHEST
    out = []
    for k in range(cells):
        value = low * (high / low) ** ((k + 0.5) / cells)
        out.append(
            tag(
                "rect",
                x=left + k * wide,
                y=top,
                width=wide + 0.4,
                height=10,
                fill=turbidity.colour(value),
                shape_rendering="crispEdges",
            )
        )
    for tick in turbidity.TICKS:
        x = left + (right - left) * turbidity.share(tick)
        out.append(tag("line", x1=x, x2=x, y1=top + 10, y2=top + 14, class_="tt-axis"))
        out.append(text(x, top + 25, f"{tick:g}", "tt-tick", "middle"))
    words = "NTU" if narrow else "Turbidity where the water is, NTU"
    if narrow:
        out.append(text(right, top + 25, words, "tt-tick", "end"))
    else:
        out.append(text(left - 12, top + 10, words, "tt-tick", "end"))
    return tag("g", "".join(out), class_="tt-scale")

"""The picture of the water timetable: everything is on it, in its place, in its colour, and without any style."""

import itertools
import re
from datetime import timedelta
from xml.etree import ElementTree

import numpy as np
import pytest
from tests.pictures.scenes import NOW, storm_day

from weirhouse.desk.timetable import Timetable
from weirhouse.pictures import timetable as picture
from weirhouse.pictures import turbidity

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def table() -> Timetable:
    return storm_day()


@pytest.fixture(scope="module", params=[False, True], ids=["wide", "narrow"])
def drawn(table: Timetable, request: pytest.FixtureRequest) -> ElementTree.Element:
    return ElementTree.fromstring(picture.svg(table, narrow=request.param))


def of_class(root: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [e for e in root.iter() if name in e.get("class", "").split()]


def texts(root: ElementTree.Element) -> list[str]:
    return [e.text or "" for e in root.iter(f"{SVG}text")]


def numbers(d: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", d)]


def test_it_has_no_style_and_no_script(drawn: ElementTree.Element) -> None:
    for element in drawn.iter():
        assert "style" not in element.attrib
        assert not any(key.startswith("on") for key in element.attrib)
        assert element.tag not in (f"{SVG}style", f"{SVG}script", f"{SVG}image")


def test_every_lane_is_named_and_the_clock_stands_below(drawn: ElementTree.Element, table: Timetable) -> None:
    said = texts(drawn)
    for lane in table.lanes:
        assert lane.name in said
    assert "now 14:00" in said
    assert "09:00" in said and "12:00" in said


def test_marks_are_drawn_and_named(drawn: ElementTree.Element) -> None:
    assert len(of_class(drawn, "tt-wash")) == 1
    assert len(of_class(drawn, "tt-waste")) == 1
    assert len(of_class(drawn, "tt-dose")) == 1
    assert len(of_class(drawn, "tt-shut")) == 1
    assert len(of_class(drawn, "tt-sample")) == 1
    said = " ".join(texts(drawn))
    assert "14.0 → 26.0 mg/L" in said
    assert "Filter 2 backwash" in said


def test_the_outage_of_yesterday_is_on_the_wide_picture(table: Timetable) -> None:
    wide = ElementTree.fromstring(picture.svg(table))
    assert len(of_class(wide, "tt-outage")) == 1
    assert any("power failure" in said for said in texts(wide))


def test_labels_do_not_lie_over_each_other(table: Timetable) -> None:
    wide = ElementTree.fromstring(picture.svg(table))
    boxes = []
    for element in of_class(wide, "tt-label"):
        width = 0.5 * 12 * len(element.text or "")
        x, y = float(element.get("x", 0)), float(element.get("y", 0))
        left = x - width if element.get("text-anchor") == "end" else x
        boxes.append((left, y - 10, left + width, y + 2))
    assert len(boxes) >= 3
    for i, (a0, b0, a1, b1) in enumerate(boxes):
        for c0, d0, c1, d1 in boxes[i + 1 :]:
            assert a1 <= c0 or c1 <= a0 or b1 <= d0 or d1 <= b0


def test_lines_run_forward_and_down(drawn: ElementTree.Element) -> None:
    lines = of_class(drawn, "tt-casing")
    assert len(lines) > 8
    for line in lines:
        points = numbers(line.get("d", ""))
        assert all(b[0] >= a[0] - 0.05 for a, b in itertools.pairwise(points))
        assert all(b[1] >= a[1] - 0.05 for a, b in itertools.pairwise(points))


def test_a_line_stands_where_its_parcel_is(table: Timetable) -> None:
    at = picture.frame(table, narrow=False)
    wide = ElementTree.fromstring(picture.svg(table))
    parcel = next(p for p in table.parcels if p.entered > table.begin + 6 * 3600)
    group = next(e for e in wide.iter() if e.get("data-parcel") == parcel.id)
    casing = next(e for e in group.iter() if e.get("class") == "tt-casing")
    points = numbers(casing.get("d", ""))
    assert points[0] == pytest.approx((at.x(parcel.entered), at.tops[0]), abs=0.1)
    leaves = parcel.leaves[0].median  # and it leaves the first lane at its bottom, at its time
    assert any(abs(x - at.x(leaves)) < 0.3 and abs(y - at.bottoms[0]) < 0.3 for x, y in points)


def test_while_the_plant_stands_lines_are_flat(table: Timetable) -> None:
    at = picture.frame(table, narrow=False)
    wide = ElementTree.fromstring(picture.svg(table))
    a, b = ((NOW - timedelta(hours=h)).timestamp() for h in (8.5, 6.5))  # the intake was shut
    seen = 0
    for line in of_class(wide, "tt-casing"):
        points = numbers(line.get("d", ""))
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        if xs[0] > at.x(a) or xs[-1] < at.x(b) or np.interp(at.x(b), xs, ys) > at.tops[8]:
            continue  # not yet in, or in the tanks, which drain on
        assert np.interp(at.x(b), xs, ys) - np.interp(at.x(a), xs, ys) < 0.3
        seen += 1
    assert seen > 0


def test_right_of_now_lines_are_broken_and_fade(drawn: ElementTree.Element, table: Timetable) -> None:
    now = float(next(e for e in drawn.iter() if e.get("class") == "tt-now").get("x1", 0))
    for line in of_class(drawn, "tt-line"):
        points = numbers(line.get("d", ""))
        ahead = "tt-ahead" in line.get("class", "").split()
        assert all(x >= now - 0.2 for x, _ in points) if ahead else all(x <= now + 0.2 for x, _ in points)
    assert of_class(drawn, "tt-fade-far")


def test_the_colour_is_the_turbidity_measured(table: Timetable) -> None:
    wide = ElementTree.fromstring(picture.svg(table))
    parcel = max((p for p in table.parcels if not p.ahead), key=lambda p: p.turbidity)
    group = next(e for e in wide.iter() if e.get("data-parcel") == parcel.id)
    first = next(e for e in group.iter() if "tt-line" in e.get("class", "").split())
    assert first.get("stroke") == turbidity.colour(parcel.turbidity)


def test_figures_are_printed_on_the_strips(table: Timetable) -> None:
    wide = ElementTree.fromstring(picture.svg(table))
    figures = [float(e.text or "nan") for e in of_class(wide, "tt-figure")]
    peak = max(v for s in table.strips if s.lane < 0 for v in s.values)
    assert max(figures) == pytest.approx(peak, rel=0.02)  # the highest is always among them


def test_the_chosen_parcel_carries_its_band(table: Timetable) -> None:
    parcel = table.parcels[20]
    chosen = ElementTree.fromstring(picture.svg(table, chosen=parcel.id))
    groups = of_class(chosen, "chosen")
    assert [g.get("data-parcel") for g in groups] == [parcel.id]
    at = picture.frame(table, narrow=False)
    band = next(e for e in groups[0].iter() if e.get("class") == "tt-band")
    xs = [x for x, y in numbers(band.get("d", "")) if abs(y - at.bottoms[0]) < 0.1]
    span = parcel.leaves[0]
    assert (min(xs), max(xs)) == pytest.approx((at.x(span.early), at.x(span.late)), abs=0.1)


def test_lane_heights_grow_with_the_root_of_volume(table: Timetable) -> None:
    at = picture.frame(table, narrow=False)
    tall = {lane.id: at.bottoms[i] - at.tops[i] for i, lane in enumerate(table.lanes)}
    assert tall["hill_tank"] / tall["settling_basin"] == pytest.approx((400 / 108.7) ** 0.5, rel=0.02)
    assert min(tall.values()) >= 22


def test_a_name_with_signs_is_escaped(table: Timetable) -> None:
    from dataclasses import replace

    lanes = (replace(table.lanes[0], name="<b>Basin & co</b>"), *table.lanes[1:])
    text = picture.svg(replace(table, lanes=lanes))
    assert "<b>" not in text
    assert "&lt;b&gt;Basin &amp; co" in text


def test_a_timetable_without_water_is_still_a_picture(table: Timetable) -> None:
    from dataclasses import replace

    empty = replace(table, parcels=(), strips=(), marks=(), lanes=())
    assert ElementTree.fromstring(picture.svg(replace(table, parcels=(), strips=(), marks=()))) is not None
    assert ElementTree.fromstring(picture.svg(empty)) is not None

"""The curve of a result: each point where it belongs, straight or by powers of ten, the present one marked."""

import itertools
import math
import re
from xml.etree import ElementTree as ET

import pytest

from weirhouse.pictures.curve import SPANS_MUCH, Axis, Curve, axis, spans_much, svg


def drawn(curve: Curve, *, narrow: bool = False) -> ET.Element:
    return ET.fromstring(svg(curve, narrow=narrow))


def found(picture: ET.Element, name: str, class_: str) -> list[ET.Element]:
    return [e for e in picture.iter() if e.tag.endswith(name) and class_ in e.get("class", "").split()]


def points(line: ET.Element) -> list[tuple[float, float]]:
    return [(float(a), float(b)) for a, b in re.findall(r"([-\d.]+) ([-\d.]+)", line.get("d", ""))]


@pytest.mark.parametrize(("low", "high", "logarithmic"), [(1, 19.9, False), (1, 20.1, True), (0, 500, False)])
def test_an_axis_goes_by_powers_of_ten_beyond_a_factor_of_twenty(low: float, high: float, logarithmic: bool) -> None:
    assert SPANS_MUCH == 20
    assert spans_much([low, high]) is logarithmic
    made = axis([low, high], 100, 900, snug=True)
    assert made.logarithmic is logarithmic
    assert (made.at(low), made.at(high)) == pytest.approx((100, 900))
    middle = math.sqrt(low * high) if logarithmic else (low + high) / 2
    assert made.at(middle) == pytest.approx(500)


@pytest.mark.parametrize("made", [Axis(0.3, 70, True, 0, 1), Axis(0, 7.3, False, 0, 1), Axis(-4, 90, False, 0, 1)])
def test_ticks_lie_on_the_axis_and_are_round(made: Axis) -> None:
    ticks = made.ticks()
    assert 3 <= len(ticks) <= 12
    assert all(made.low - 1e-9 <= tick <= made.high + 1e-9 for tick in ticks)
    assert all(len(f"{abs(tick):.6g}".strip("0.").replace(".", "")) <= 2 for tick in ticks)


def test_an_inverse_is_a_straight_line_by_powers_of_ten() -> None:
    x = [10 ** (i / 10) for i in range(21)]
    curve = Curve(x=x, y=[100 / v for v in x], x_name="flow", y_name="time", here=(10.0, 10.0), here_name="10 min")
    picture = drawn(curve)
    (line,) = found(picture, "path", "ch-curve")
    there = points(line)
    assert len(there) == 21
    slopes = [(b[1] - a[1]) / (b[0] - a[0]) for a, b in itertools.pairwise(there)]
    assert slopes == pytest.approx([slopes[0]] * 20, rel=0.02)
    assert slopes[0] > 0  # y falls, downwards on the screen
    (ring,) = found(picture, "circle", "ch-here")
    assert (float(ring.get("cx", "")), float(ring.get("cy", ""))) == pytest.approx(there[10], abs=0.11)


def test_where_there_is_no_result_the_line_is_broken() -> None:
    y = [1.0, 2.0, 3.0, math.nan, 5.0, 6.0]
    picture = drawn(Curve(x=[0, 1, 2, 3, 4, 5], y=y, x_name="x", y_name="y"))
    assert [len(points(line)) for line in found(picture, "path", "ch-curve")] == [3, 2]
    assert found(picture, "circle", "ch-here") == []


@pytest.mark.parametrize("y", [[2.0, 2.0, 2.0], [0.0, 0.0, 0.0], [-3.0, 1.0, 4.0], [1e-9, 1e-5, 1.0]])
@pytest.mark.parametrize("narrow", [False, True])
def test_everything_lies_in_the_picture(y: list[float], narrow: bool) -> None:
    picture = drawn(Curve(x=[1, 2, 3], y=y, x_name="<x>", y_name="y & z", here=(2.0, y[1])), narrow=narrow)
    _, _, width, height = map(float, picture.get("viewBox", "").split())
    (line,) = found(picture, "path", "ch-curve")
    assert all(0 <= a <= width and 0 <= b <= height for a, b in points(line))
    assert picture.get("aria-hidden") == "true"

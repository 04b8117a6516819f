"""A reading over time: gaps stay gaps, doubt is marked, limits are named, and many values keep their extremes."""

import re
from typing import Any
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from weirhouse.pictures import chart

SVG = "{http://www.w3.org/2000/svg}"
HOUR = 3600.0


def made(y: list[float], **more: Any) -> chart.Chart:
    x = np.arange(len(y)) * HOUR
    given = {"unit": "ft", "begin": 0.0, "end": 24 * HOUR, "zone": ZoneInfo("America/New_York")} | more
    return chart.Chart(x=x, y=np.array(y), **given)  # type: ignore[arg-type]


def drawn(one: chart.Chart, *, narrow: bool = False) -> ElementTree.Element:
    return ElementTree.fromstring(chart.svg(one, narrow=narrow))


def of_class(root: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [e for e in root.iter() if name in e.get("class", "").split()]


def test_a_missing_value_breaks_the_line_and_shades_the_gap() -> None:
    root = drawn(made([1.0, 2.0, float("nan"), 3.0, 4.0]))
    assert len(of_class(root, "ch-line")) == 2
    assert len(of_class(root, "ch-gap")) == 1


def test_values_far_apart_are_not_joined() -> None:
    one = made([1.0, 2.0, 3.0, 4.0], gap=0.5 * HOUR)
    assert of_class(drawn(one), "ch-line") == []
    assert len(of_class(drawn(one), "ch-dot")) == 4


def test_doubtful_values_are_hollow() -> None:
    root = drawn(made([1.0, 2.0, 9.0], doubtful=np.array([False, False, True])))
    assert len(of_class(root, "ch-bad")) == 1


def test_a_limit_near_the_values_is_drawn_and_named() -> None:
    limits = (chart.Limit(value=3.0, name="hold above 3 ft"), chart.Limit(value=500.0, name="far away"))
    root = drawn(made([1.0, 2.0], limits=limits))
    said = [e.text for e in root.iter(f"{SVG}text")]
    assert "hold above 3 ft" in said
    assert "far away" not in said


def test_a_year_of_minutes_keeps_its_highest_value() -> None:
    y = np.ones(500_000)
    y[123_456] = 77.0
    one = chart.Chart(x=np.arange(500_000) * 60.0, y=y, unit="NTU", begin=0.0, end=3e7, zone=ZoneInfo("UTC"))
    text = chart.svg(one)
    assert len(text) < 40_000
    line = of_class(ElementTree.fromstring(text), "ch-line")[0].get("d", "")
    heights = [float(y) for _, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", line)]
    assert max(heights) - min(heights) > 150  # the peak reaches nearly the whole height


def test_settings_hold_until_the_next() -> None:
    line = of_class(drawn(made([1.0, 2.0], steps=True)), "ch-line")[0].get("d", "")
    assert line.count("L") == 2


def test_nothing_on_record_is_still_a_picture() -> None:
    assert of_class(drawn(made([float("nan")])), "ch-line") == []


@pytest.mark.parametrize("y", [[0.0, 0.0], [5.0, 5.0], [-3.0, 2.0], [0.001, 900.0], [1e-9, 2e-9]])
@pytest.mark.parametrize("logarithmic", [False, True])
def test_any_values_stay_inside_the_frame(y: list[float], logarithmic: bool) -> None:
    root = drawn(made(y, logarithmic=logarithmic))
    for dot in of_class(root, "ch-dot"):
        assert logarithmic or 25 <= float(dot.get("cy", "nan")) <= 260
        assert np.isfinite(float(dot.get("cy", "nan")))


def test_hours_of_a_run_stand_below_without_a_clock() -> None:
    one = chart.Chart(x=np.array([0.0, 5.0, 20.0]), y=np.array([1.0, 2.0, 3.0]), unit="ft", begin=0.0, end=21.0,
                      x_name="hours of filtering")  # fmt: skip
    said = [e.text for e in drawn(one).iter(f"{SVG}text")]
    assert {"0", "5", "10", "15", "20", "hours of filtering"} <= set(said)


def test_the_night_the_clock_goes_back_has_one_label_an_hour_apart() -> None:
    zone = ZoneInfo("America/New_York")
    begin = 1793505600.0  # 2026-11-01 00:00 EDT; at 02:00 the clock goes back to 01:00
    one = chart.Chart(x=np.array([begin]), y=np.array([1.0]), unit="ft", begin=begin, end=begin + 6 * HOUR, zone=zone)
    said = [e.text for e in drawn(one).iter(f"{SVG}text")]
    assert said.count("01:00") == 2
    assert "05:00" in said and "06:00" not in said


def test_a_band_lies_between_its_lines_and_widens_the_scale() -> None:
    x = np.arange(3) * HOUR
    wide = chart.Band(x=x, low=np.array([1.0, 0.5, 0.2]), high=np.array([1.0, 4.0, 20.0]))
    inner = chart.Band(x=x, low=np.array([1.0, 0.8, 0.6]), high=np.array([1.0, 2.0, 5.0]))
    root = drawn(made([1.0, 1.0, 1.0], bands=(wide, inner), logarithmic=True, now=HOUR))
    outer, narrower = of_class(root, "ch-band")
    heights = []
    for band in (outer, narrower):
        ys = [float(pair.split()[1]) for pair in re.findall(r"[\d.]+ [\d.]+", band.get("d", ""))]
        heights.append((min(ys), max(ys)))
    assert heights[0][0] < heights[1][0] < heights[1][1] < heights[0][1]
    assert len(of_class(root, "tt-now")) == 1
    assert min(ys) > 29  # the band's highest is on the picture

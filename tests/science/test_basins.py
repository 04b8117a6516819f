"""Basins and jar tests: conversions of the trade, limits."""

import math

import pytest

from weirhouse.quantity import convert, parse
from weirhouse.science.basins import (
    circle_area,
    depth_for_volume,
    detention_time,
    overflow_rate,
    rectangular_volume,
    rise_rate,
    round_volume,
    volume_from_area,
    weir_loading,
)
from weirhouse.science.jar_test import jar_dose, jar_mixing_time, jar_settling_time, stock_volume
from weirhouse.science.mixing import gt


def test_cp_e1_rates_of_the_trade():
    assert convert(500.0, "gal/day/ft2", "m/h") == pytest.approx(0.849, abs=6e-4)
    assert convert(1.0, "gpm/ft2", "m/h") == pytest.approx(2.445, abs=6e-4)


def test_emberly_settling_basin_by_hand():
    # 40 x 12 x 8 ft is 3840 ft3, 28,723 gal at 7.48 gal/ft3; at 150 gpm 191.5 min; 450 gal/day/ft2
    volume = rectangular_volume(parse("40 ft", "m"), parse("12 ft", "m"), parse("8 ft", "m"))
    flow = parse("150 gpm", "m^3/s")
    assert volume == pytest.approx(parse("28723 gal", "m^3"), rel=1e-4)
    assert detention_time(volume, flow) / 60 == pytest.approx(191.5, abs=0.1)
    rate = overflow_rate(flow, parse("480 ft2", "m^2"))
    assert convert(rate, "m/s", "gal/day/ft2") == pytest.approx(450.0, rel=1e-9)
    assert rise_rate(flow, parse("200 ft2", "m^2")) == pytest.approx(parse("0.75 gpm/ft2", "m/s"), rel=1e-9)


def test_a_round_tank_is_its_area_times_its_depth():
    assert round_volume(9.144, 7.0) == pytest.approx(volume_from_area(circle_area(9.144), 7.0))
    assert circle_area(2.0) == pytest.approx(math.pi)
    assert depth_for_volume(round_volume(9.144, 7.0), circle_area(9.144)) == pytest.approx(7.0)


def test_standing_water_has_no_detention_time():
    with pytest.raises(ValueError, match=r"flow must be above 0 m\^3/s; it is 0\. With no flow the water stands still"):
        detention_time(45.0, 0.0)
    assert weir_loading(0.0, 12.0) == 0.0


@pytest.mark.parametrize(("minutes", "rate"), [(1, 6.0), (2, 3.0), (5, 1.2), (10, 0.6), (20, 0.3)])
def test_sampling_times_of_a_jar(minutes, rate):
    # a port 10 cm below the surface: 6 m/h settles in a minute (derived)
    assert jar_settling_time(rate / 3600) / 60 == pytest.approx(minutes)


def test_jar_arithmetic_undoes_itself():
    added = stock_volume(17.0, 0.002, 10000.0)
    assert jar_dose(10000.0, added, 0.002) == pytest.approx(17.0)
    assert gt(29.7, jar_mixing_time(30000.0, 29.7)) == pytest.approx(30000.0)

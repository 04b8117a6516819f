"""Pumps: suction check points, curves, inverses."""

import pytest

from weirhouse.quantity import parse
from weirhouse.science.properties import head_from_pressure, vapour_pressure, water_density
from weirhouse.science.pumps import (
    affinity_flow,
    brake_power,
    curve_coefficient,
    highest_suction_lift,
    motor_power,
    npsh_available,
    npsh_available_flooded,
    npsh_available_lift,
    npsh_needed,
    operating_flow,
    priming_time,
    system_head,
    wire_to_water_efficiency,
)

FOOT = parse("1 ft", "m")
AT_68_F = parse("68 degF", "degC")


def test_cp_l1_suction_lift_and_flooded_suction_at_sea_level():
    # Elsey 2018, Pumps and Systems: 68 degF, lift 10 ft, friction 3.2 ft; flooded by 10 ft and otherwise the same the
    # source states 40 ft. The lift's 19.98 ft is derived.
    lift = npsh_available_lift(10 * FOOT, 3.2 * FOOT, 0.0, AT_68_F) / FOOT
    flooded = npsh_available_flooded(10 * FOOT, 3.2 * FOOT, 0.0, AT_68_F) / FOOT
    assert lift == pytest.approx(19.98, abs=0.02)
    assert flooded == pytest.approx(40.0, abs=0.05)
    density = water_density(AT_68_F)
    assert head_from_pressure(101325.0, density) / FOOT == pytest.approx(33.96, abs=0.01)
    assert head_from_pressure(vapour_pressure(AT_68_F), density) / FOOT == pytest.approx(0.78, abs=0.006)


def test_cp_l2_at_7000_feet():
    # Centrifugal pump handbook page: head 26.2 ft, lift 8, vapour 0.411, friction 1, other 2 -> 14.79 ft
    assert npsh_available(26.2, 0.411, -8.0, 3.0) == pytest.approx(14.79, abs=0.006)


@pytest.mark.parametrize(("altitude", "lift"), [(0.0, 6.7), (1609.0, 5.2)])
def test_the_practical_lift_leaves_something_for_the_pump(altitude, lift):
    # Engineering ToolBox: practical maximum lift 6.7 m at sea level, 5.2 m at 1609 m, cold water
    left = npsh_available_lift(lift, 0.3, altitude, 15.0)
    assert 2.0 < left < 3.5


def test_suction_head_falls_with_altitude_and_warmth():
    here = npsh_available_lift(3.0, 0.5, 0.0, 10.0)
    assert npsh_available_lift(3.0, 0.5, 1500.0, 10.0) < here
    assert npsh_available_lift(3.0, 0.5, 0.0, 30.0) < here


def test_a_pump_at_its_highest_place_has_just_what_it_requires():
    vapour = vapour_pressure(20.0)
    place = highest_suction_lift(3.0, 1.0, 8.0, 101325.0, vapour, water_density(20.0))
    friction = 8.0 / (2 * 9.80665)
    assert npsh_available_lift(place, friction, 0.0, 20.0) == pytest.approx(3.0, rel=1e-9)


def test_margin_of_the_suction_head():
    assert npsh_needed(1.0) == pytest.approx(1.6)
    assert npsh_needed(5.0) == pytest.approx(6.0)


def test_curves_cross_where_both_heads_are_equal():
    pump = curve_coefficient(25.0, 18.9, 0.009464)
    flow = operating_flow(25.0, pump, 15.0, 40000.0)
    assert system_head(15.0, 40000.0, flow) == pytest.approx(25.0 - pump * flow**2)
    with pytest.raises(ValueError, match="static_head must not be above shut_off_head"):
        operating_flow(25.0, pump, 30.0, 40000.0)


def test_wire_to_water_is_the_product_of_the_efficiencies():
    drawn = motor_power(brake_power(0.0095, 19.0, 0.70), 0.88)
    assert wire_to_water_efficiency(0.0095, 19.0, drawn) == pytest.approx(0.70 * 0.88)


def test_speed_changes_undo_each_other():
    assert affinity_flow(affinity_flow(0.01, 29.0, 35.0), 35.0, 29.0) == pytest.approx(0.01)


def test_no_primer_sucks_higher_than_the_atmosphere():
    assert priming_time(0.05, 0.0005, 0.0) == 0.0
    with pytest.raises(ValueError, match=r"lift must be below what the atmosphere holds up; it is 10\.5"):
        priming_time(0.05, 0.0005, 10.5)


def test_efficiency_in_percent_is_refused():
    with pytest.raises(ValueError, match=r"efficiency must not be above 1 \(100 percent\); it is 60\."):
        brake_power(0.0025, 11.7, 60.0)

"""Frost: published times and losses, inverses."""

import math

import pytest

from weirhouse.quantity import parse
from weirhouse.science.frost import (
    heat_trace,
    outlet_temperature,
    pipe_heat_loss,
    pipe_heat_resistance,
    time_to_freeze,
    time_to_ice,
    trickle_flow,
)

INSIDE, OUTSIDE = parse("2.067 in", "m"), parse("2.375 in", "m")
BTU_INCH = parse("1 Btu in/(h ft2 degF)", "W/(m*K)")


@pytest.mark.parametrize(("ambient", "hours", "derived"), [("-18 degF", 1.4, 1.378), ("20 degF", 4.6, 4.583)])
def test_cp_l4_time_to_freeze_of_an_insulated_pipe(ambient, hours, derived):
    # an engineering note that quotes ASHRAE's examples: 2 in pipe, 1.5 in insulation, 0.30 Btu in/h ft2 F, 42 degF;
    # it neglects the outside film, so does this check
    resistance = pipe_heat_resistance(OUTSIDE, parse("5.375 in", "m"), 0.30 * BTU_INCH, 1e9)
    seconds = time_to_freeze(INSIDE, resistance, parse("42 degF", "degC"), parse(ambient, "degC"))
    assert seconds / 3600 == pytest.approx(hours, abs=0.05)
    assert seconds / 3600 == pytest.approx(derived, rel=0.01)


def test_cp_l5_a_bare_pipe():
    resistance = pipe_heat_resistance(0.0603, 0.0603, 1.0, 15.0)
    assert time_to_freeze(0.0525, resistance, 5.0, -10.0) / 3600 == pytest.approx(0.36, abs=0.006)
    assert time_to_ice(0.0525, resistance, -10.0) / 3600 == pytest.approx(7.1, abs=0.06)


@pytest.mark.parametrize(("inches", "table", "derived"), [(1, 0.069, 0.0691), (1.5, 0.052, 0.0517), (2, 0.043, 0.0427)])
def test_cp_l6_heat_loss_against_a_printed_table(inches, table, derived):
    # W/ft/degF for 2 in pipe; the match with k 0.25 Btu in/(h ft2 F) and a margin of 1.10 is derived
    over = OUTSIDE + 2 * inches * 0.0254
    one_degree_f = 5 / 9
    loss = heat_trace(pipe_heat_loss(OUTSIDE, over, 0.25 * BTU_INCH, one_degree_f, 0.0), 1.10)
    assert loss * 0.3048 == pytest.approx(table, abs=0.0006)
    assert loss * 0.3048 == pytest.approx(derived, abs=6e-5)


def test_cp_l7_and_l8_heat_loss_of_wool_and_foam():
    # a frost-protection note: 10 W/m suits pipes to 50 mm with 50 mm of wool at -30 degC, k 0.046
    assert pipe_heat_loss(0.050, 0.150, 0.046, 5.0, -30.0) == pytest.approx(10, rel=0.10)
    assert pipe_heat_loss(0.0603, 0.1103, 0.036, 5.0, -20.0) == pytest.approx(9.36, abs=0.006)


def test_a_trickle_arrives_at_the_temperature_it_was_set_for():
    resistance = pipe_heat_resistance(0.0603, 0.1103, 0.036, 15.0)
    flow = trickle_flow(4.0, -15.0, 50.0, resistance)
    assert outlet_temperature(4.0, -15.0, 50.0, flow, resistance) == pytest.approx(0.5)
    assert outlet_temperature(4.0, -15.0, 50.0, 2 * flow, resistance) > 0.5


def test_colder_air_freezes_sooner_and_water_at_zero_is_there_already():
    resistance = pipe_heat_resistance(0.0603, 0.1103, 0.036, 15.0)
    assert time_to_freeze(0.0525, resistance, 5.0, -20.0) < time_to_freeze(0.0525, resistance, 5.0, -5.0)
    assert time_to_freeze(0.0525, resistance, 0.0, -5.0) == 0.0


def test_mild_air_and_cold_supply_are_refused_with_what_to_do():
    with pytest.raises(ValueError, match=r"air_temperature must be below 0 degC; it is 3\."):
        time_to_freeze(0.05, 1.0, 5.0, 3.0)
    with pytest.raises(ValueError, match="heat the line"):
        trickle_flow(0.3, -15.0, 50.0, 2.0)
    assert math.isnan(time_to_freeze(0.05, 1.0, 5.0, math.nan))

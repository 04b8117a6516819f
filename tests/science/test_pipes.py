"""Pipes against the fluids library, a printed chart and check points."""

import fluids
import numpy as np
import pytest

from weirhouse.quantity import parse
from weirhouse.science.pipes import (
    darcy_weisbach_head_loss,
    friction_factor,
    hazen_williams_head_loss,
    pipe_head_loss,
    pipe_velocity,
    pipe_volume,
    reynolds_number,
    travel_time,
    velocity_for_head_loss,
)
from weirhouse.science.properties import kinematic_viscosity


@pytest.mark.parametrize("reynolds", [4e3, 1e4, 2.78e4, 1e5, 1e6, 1e8])
@pytest.mark.parametrize("roughness", [0.0, 1e-6, 3e-5, 1e-3, 0.02, 0.05])
def test_friction_factor_against_the_fluids_library(reynolds, roughness):
    assert friction_factor(reynolds, roughness) == pytest.approx(
        fluids.friction.Colebrook(reynolds, roughness), rel=1e-10
    )


def test_laminar_flow_is_64_over_reynolds():
    assert friction_factor(1000.0, 0.001) == 0.064


@pytest.mark.parametrize(("gpm", "printed"), [(10, 11.63), (30, 88.97)])
def test_hazen_williams_against_a_printed_chart(gpm, printed):
    # Law Supply, Inc., chart "1in Sch-40 Steel Pipe", C = 100 (2003), ft per 100 ft; inside diameter 1.049 in
    loss = hazen_williams_head_loss(parse(f"{gpm} gpm", "m^3/s"), parse("1.049 in", "m"), parse("100 ft", "m"), 100.0)
    assert loss / parse("1 ft", "m") == pytest.approx(printed, abs=0.02)  # its 0.2083 Q^1.852 form, to 4 digits


def test_cp_0d_a_two_inch_line_at_10_degc():
    velocity = pipe_velocity(0.0015, 0.0525)
    assert velocity == pytest.approx(0.693, abs=6e-4)
    reynolds = reynolds_number(velocity, 0.0525, kinematic_viscosity(10.0))
    assert reynolds == pytest.approx(27800, abs=100)
    assert friction_factor(reynolds, 1.5e-6 / 0.0525) == pytest.approx(0.0240, abs=6e-5)
    assert pipe_head_loss(0.0015, 0.0525, 100.0, 1.5e-6, kinematic_viscosity(10.0)) == pytest.approx(1.12, abs=0.006)
    assert travel_time(0.0525, 100.0, 0.0015) == pytest.approx(144, abs=0.6)
    assert pipe_volume(0.0525, 1.0) * 1000 == pytest.approx(2.165, abs=6e-4)


@pytest.mark.parametrize("head_loss", [0.5, 5.0, 50.0])
def test_velocity_for_head_loss_undoes_it(head_loss):
    velocity = velocity_for_head_loss(head_loss, 0.1, 100.0, 5e-5, 1.3e-6)
    factor = friction_factor(reynolds_number(velocity, 0.1, 1.3e-6), 5e-4)
    assert darcy_weisbach_head_loss(factor, 100.0, 0.1, velocity) == pytest.approx(head_loss, rel=1e-9)


def test_no_flow_no_loss_and_more_flow_more_loss():
    assert pipe_head_loss(0.0, 0.1, 100.0, 5e-5, 1.3e-6) == 0.0
    assert hazen_williams_head_loss(0.0, 0.1, 100.0, 130.0) == 0.0
    flows = np.linspace(0.0005, 0.05, 100)
    for loss in (
        pipe_head_loss(flows, 0.1, 100.0, 5e-5, 1.3e-6),
        hazen_williams_head_loss(flows, 0.1, 100.0, 130.0),
    ):
        assert (np.diff(loss) > 0).all()


def test_both_laws_agree_for_common_water_pipe():
    # C 150 for plastic of 1.5 um at 16 degC (memory); the two differ by some percent
    by_colebrook = pipe_head_loss(0.010, 0.10, 100.0, 1.5e-6, kinematic_viscosity(16.0))
    assert hazen_williams_head_loss(0.010, 0.10, 100.0, 150.0) == pytest.approx(by_colebrook, rel=0.06)


def test_a_blank_diameter_is_refused():
    with pytest.raises(ValueError, match=r"diameter must be above 0 m; item 2 is 0\. Give the inside diameter"):
        hazen_williams_head_loss(0.01, np.array([0.1, 0.0]), 100.0, 130.0)

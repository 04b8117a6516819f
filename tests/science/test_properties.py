"""Water properties against the tabulated IAPWS values and the iapws library."""

import math

import numpy as np
import pytest
from iapws._iapws import _Liquid
from iapws.iapws97 import _PSat_T
from tests.reference import rows

from weirhouse.quantity import parse
from weirhouse.science.properties import (
    atmospheric_pressure,
    dynamic_viscosity,
    head_from_pressure,
    kinematic_viscosity,
    pressure_from_head,
    specific_weight,
    vapour_pressure,
    water_density,
)

TABLE = rows("water_properties.csv")


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["temperature_c"])
def test_within_two_in_a_thousand_of_the_table(row):
    temperature = float(row["temperature_c"])
    assert water_density(temperature) == pytest.approx(float(row["density_kg_m3"]), rel=0.002)
    assert dynamic_viscosity(temperature) == pytest.approx(float(row["dynamic_viscosity_pa_s"]), rel=0.002)
    assert vapour_pressure(temperature) == pytest.approx(float(row["vapour_pressure_pa"]), rel=0.002)


def test_the_table_itself_agrees_with_the_iapws_library():
    """So that a slip in copying the table would show."""
    for row in TABLE:
        liquid = _Liquid(float(row["temperature_c"]) + 273.15)
        assert float(row["density_kg_m3"]) == pytest.approx(liquid["rho"], abs=0.006)
        assert float(row["dynamic_viscosity_pa_s"]) == pytest.approx(liquid["mu"], rel=5e-4)


@pytest.mark.parametrize("temperature", [0.0, 0.5, 4.0, 12.3, 20.0, 35.0, 60.0])
def test_against_the_iapws_library(temperature):
    liquid = _Liquid(temperature + 273.15)  # IAPWS SR6-08
    assert water_density(temperature) == pytest.approx(liquid["rho"], rel=2e-5)
    assert dynamic_viscosity(temperature) == pytest.approx(liquid["mu"], rel=1e-9)
    if temperature > 0:
        assert vapour_pressure(temperature) == pytest.approx(1e6 * _PSat_T(temperature + 273.15), rel=5e-4)


def test_cp_0a_kinematic_viscosity_at_10_degc():
    # Davis, Water and Wastewater Engineering, Example 11-2 prints 1.307e-6 m2/s
    assert kinematic_viscosity(10.0) == pytest.approx(1.307e-6, rel=0.002)


@pytest.mark.parametrize(
    ("temperature", "viscosity"), [(5, 1.5193e-3), (10, 1.3070e-3), (15, 1.1383e-3), (20, 1.002e-3), (25, 8.902e-4)]
)
def test_cp_0b_the_correlation_of_kestin_agrees(temperature, viscosity):
    # Kestin, Sokolov, Wakeham 1978 with 1.002 mPa s at 20 degC (from memory): another correlation of the same data
    assert dynamic_viscosity(float(temperature)) == pytest.approx(viscosity, rel=0.001)


def test_cp_0c_cold_water_settles_sand_at_43_percent_of_the_warm_rate():
    # Weiss, Erickson, Gulliver, Hozalski, sedimentation practices: Stokes velocity at 32 degF over that at 90 degF
    cold, warm = parse("32 degF", "degC"), parse("90 degF", "degC")
    assert dynamic_viscosity(warm) / dynamic_viscosity(cold) == pytest.approx(0.43, abs=0.006)


@pytest.mark.parametrize(("altitude", "printed"), [(805.0, "13.33"), (1609.0, "12.02"), (3219.0, "9.88")])
def test_cp_l3_atmospheric_pressure_against_a_printed_table(altitude, printed):
    # Engineering ToolBox, suction head against altitude; its 1609 m value is 0.7 % below the standard atmosphere
    assert atmospheric_pressure(altitude) / 6894.757 == pytest.approx(float(printed), rel=0.008)


def test_atmosphere_at_the_ends():
    assert atmospheric_pressure(0.0) == 101325.0
    assert atmospheric_pressure(11000.0) == pytest.approx(22632, rel=1e-3)  # U.S. Standard Atmosphere 1976


def test_density_is_greatest_at_4_degc_and_viscosity_always_falls():
    temperatures = np.linspace(0, 60, 601)
    assert temperatures[np.argmax(water_density(temperatures))] == pytest.approx(4.0, abs=0.05)
    assert (np.diff(dynamic_viscosity(temperatures)) < 0).all()
    assert (np.diff(vapour_pressure(temperatures)) > 0).all()


def test_pressure_and_head_undo_each_other():
    assert head_from_pressure(pressure_from_head(12.3)) == pytest.approx(12.3, rel=1e-12)
    assert specific_weight(15.0) == pytest.approx(pressure_from_head(1.0), rel=1e-4)


@pytest.mark.parametrize("temperature", [-5.0, 75.0, 150.0])
def test_what_is_not_liquid_water_is_refused(temperature):
    with pytest.raises(ValueError, match=f"temperature must be from -1 to 60 degC; it is {temperature:g}"):
        dynamic_viscosity(temperature)


def test_a_gap_is_not_refused():
    assert math.isnan(water_density(math.nan))

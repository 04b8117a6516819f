"""What are water and air like at this temperature and altitude?

Liquid water at atmospheric pressure, checked to 60 degC. A thermometer in a freezing stream may read a little below 0.
"""

from typing import Annotated

from weirhouse.science import checks
from weirhouse.science.quantities import (
    Density,
    Head,
    KinematicViscosity,
    Length,
    Pressure,
    SpecificWeight,
    Temperature,
    Viscosity,
)
from weirhouse.working import Range, worked

GRAVITY = 9.80665  # m/s^2, standard gravity, exact by definition (CGPM 1901)
_HINT = "The formulas of liquid water end there; check the unit of the temperature."


def _liquid(temperature: Temperature) -> None:
    checks.within(temperature, -1.0, 60.0, "temperature", "degC", _HINT)


@worked(
    "Density of water",
    expression="999.97495 * (1 - (temperature - 3.983035)**2 * (temperature + 301.797)"
    " / (522528.9 * (temperature + 69.34881)))",
    reference="M. Tanaka, G. Girard, R. Davis, A. Peuto, N. Bignell, Metrologia 38 (2001) 301, air-free water",
)
def water_density(temperature: Temperature) -> Density:
    """Return the density of water at atmospheric pressure.

    Parameters
    ----------
    temperature : water temperature, -1 to 60. [degC]

    Returns
    -------
    Density. [kg/m^3]

    Raises
    ------
    ValueError
        If the temperature is outside -1 to 60 degC.

    Examples
    --------
    >>> round(water_density(20.0), 2)
    998.21

    References
    ----------
    Tanaka et al. 2001, Metrologia 38, 301; within 0.002 % of IAPWS SR6-08 to 60 degC.
    """
    _liquid(temperature)
    shifted = temperature - 3.983035
    return 999.97495 * (1 - shifted * shifted * (temperature + 301.797) / (522528.9 * (temperature + 69.34881)))


@worked(
    "Dynamic viscosity of water",
    expression="1e-6 * (280.68 * ((temperature + 273.15) / 300)**-1.9 + 511.45 * ((temperature + 273.15) / 300)**-7.7"
    " + 61.131 * ((temperature + 273.15) / 300)**-19.6 + 0.45903 * ((temperature + 273.15) / 300)**-40)",
    reference="IAPWS SR6-08(2011), Properties of Liquid Water at 0.1 MPa",
)
def dynamic_viscosity(temperature: Temperature) -> Viscosity:
    """Return the dynamic viscosity of water: cold water is thick, half again as thick at 5 degC as at 20 degC.

    Parameters
    ----------
    temperature : water temperature, -1 to 60. [degC]

    Returns
    -------
    Dynamic viscosity. [Pa*s]

    Raises
    ------
    ValueError
        If the temperature is outside -1 to 60 degC.

    Examples
    --------
    >>> round(dynamic_viscosity(10.0), 6)
    0.001306

    References
    ----------
    IAPWS SR6-08(2011), Revised supplementary release on properties of liquid water at 0.1 MPa.
    """
    _liquid(temperature)
    warmth = (temperature + 273.15) / 300
    return 1e-6 * (280.68 * warmth**-1.9 + 511.45 * warmth**-7.7 + 61.131 * warmth**-19.6 + 0.45903 * warmth**-40)


@worked(
    "Kinematic viscosity of water",
    method="dynamic viscosity / density",
    reference="IAPWS SR6-08(2011); Tanaka et al. 2001",
)
def kinematic_viscosity(temperature: Temperature) -> KinematicViscosity:
    """Return the kinematic viscosity of water, dynamic viscosity divided by density.

    Parameters
    ----------
    temperature : water temperature, -1 to 60. [degC]

    Returns
    -------
    Kinematic viscosity. [m^2/s]

    Raises
    ------
    ValueError
        If the temperature is outside -1 to 60 degC.

    Examples
    --------
    >>> round(kinematic_viscosity(10.0) * 1e6, 3)
    1.306

    References
    ----------
    IAPWS SR6-08(2011); Tanaka et al. 2001.
    """
    return dynamic_viscosity(temperature) / water_density(temperature)


@worked(
    "Vapour pressure of water",
    expression="611.21 * exp((18.678 - temperature / 234.5) * temperature / (257.14 + temperature))",
    reference="A. L. Buck, J. Applied Meteorology 20 (1981) 1527, with the coefficients of 1996",
)
def vapour_pressure(temperature: Temperature) -> Pressure:
    """Return the pressure at which water boils, which a suction line must stay above.

    Parameters
    ----------
    temperature : water temperature, -1 to 60. [degC]

    Returns
    -------
    Vapour pressure, absolute. [Pa]

    Raises
    ------
    ValueError
        If the temperature is outside -1 to 60 degC.

    Examples
    --------
    >>> round(vapour_pressure(20.0))
    2338

    References
    ----------
    Buck 1981/1996; within 0.04 % of the saturation line of IAPWS-IF97 to 60 degC.
    """
    _liquid(temperature)
    return 611.21 * checks.exp((18.678 - temperature / 234.5) * temperature / (257.14 + temperature))


@worked(
    "Atmospheric pressure at an altitude",
    expression="101325 * (1 - 2.25577e-5 * altitude)**5.25588",
    reference="U.S. Standard Atmosphere 1976, troposphere",
)
def atmospheric_pressure(altitude: Annotated[Length, Range(0.0, 3000.0)]) -> Pressure:
    """Return the pressure of the standard atmosphere; weather moves it by some 3 %.

    Parameters
    ----------
    altitude : height above sea level, -500 to 11000. [m]

    Returns
    -------
    Atmospheric pressure, absolute. [Pa]

    Raises
    ------
    ValueError
        If the altitude is outside -500 to 11000 m.

    Examples
    --------
    >>> round(atmospheric_pressure(1609.0))
    83431

    References
    ----------
    U.S. Standard Atmosphere 1976 (NOAA-S/T 76-1562).
    """
    checks.within(altitude, -500.0, 11000.0, "altitude", "m", "The formula is that of the lower atmosphere.")
    return 101325 * (1 - 2.25577e-5 * altitude) ** 5.25588


@worked(
    "Specific weight of water",
    method="density * 9.80665",
    reference="Tanaka et al. 2001; standard gravity",
)
def specific_weight(temperature: Temperature) -> SpecificWeight:
    """Return the weight of a volume of water.

    Parameters
    ----------
    temperature : water temperature, -1 to 60. [degC]

    Returns
    -------
    Weight per volume. [N/m^3]

    Raises
    ------
    ValueError
        If the temperature is outside -1 to 60 degC.

    Examples
    --------
    >>> round(specific_weight(10.0), 1)
    9803.7

    References
    ----------
    Tanaka et al. 2001; standard gravity 9.80665 m/s^2.
    """
    return water_density(temperature) * GRAVITY


@worked(
    "Pressure under a height of water",
    expression="9.80665 * density * head",
    reference="hydrostatics; 0.433 psi per ft at 60 degF",
)
def pressure_from_head(head: Head, density: Annotated[Density, Range(990.0, 1000.0)] = 999.1) -> Pressure:
    """Return the gauge pressure under a height of water.

    Parameters
    ----------
    head : height of water. [m]
    density : density of the water, at 15 degC unless given. [kg/m^3]

    Returns
    -------
    Gauge pressure. [Pa]

    Raises
    ------
    ValueError
        If the density is not above 0.

    Examples
    --------
    >>> round(pressure_from_head(6.096))  # 20 ft
    59728

    References
    ----------
    Hydrostatics.
    """
    checks.above(density, 0.0, "density", "kg/m^3")
    return 9.80665 * density * head


@worked(
    "Height of water that makes a pressure",
    expression="pressure / (9.80665 * density)",
    reference="hydrostatics; 2.31 ft per psi",
)
def head_from_pressure(pressure: Pressure, density: Annotated[Density, Range(990.0, 1000.0)] = 999.1) -> Head:
    """Return the height of water that a gauge pressure holds up.

    Parameters
    ----------
    pressure : gauge pressure. [Pa]
    density : density of the water, at 15 degC unless given. [kg/m^3]

    Returns
    -------
    Height of water. [m]

    Raises
    ------
    ValueError
        If the density is not above 0.

    Examples
    --------
    >>> round(head_from_pressure(137895.0), 2)  # 20 psi
    14.07

    References
    ----------
    Hydrostatics.
    """
    checks.above(density, 0.0, "density", "kg/m^3")
    return pressure / (9.80665 * density)

"""When does a pipe freeze, and what keeps it from freezing?

The water in the pipe is taken as evenly warm, which holds to about 100 mm, and the air as steady: for a real night, go
through the forecast hour by hour with the same resistance. Temperatures of the air may be below 0 degC.
"""

import math
from typing import Annotated, Any

from weirhouse.science import checks
from weirhouse.science.quantities import (
    Diameter,
    Duration,
    Flow,
    Fraction,
    HeatConductivity,
    HeatPerLength,
    HeatTransfer,
    Length,
    Ratio,
    Temperature,
    ThermalResistance,
)
from weirhouse.working import Range, worked

PipeSize = Annotated[Diameter, Range(0.02, 0.06)]
Insulated = Annotated[Diameter, Range(0.07, 0.2)]
PipeRun = Annotated[Length, Range(1.0, 200.0)]
Frost = Annotated[Temperature, Range(-30.0, -2.0)]
StartTemperature = Annotated[Temperature, Range(1.0, 15.0)]
_ASHRAE = "ASHRAE Handbook Fundamentals, time to cool a pipe to freezing, as quoted by engineering notes"
_HEAT = "999.8 kg/m3 x 4205 J/(kg K), water near 5 degC"
_SOURCE = "steady heat balance; common practice, no source"


def _insulation(outside_diameter: Any, insulated_diameter: Any) -> None:
    checks.above(outside_diameter, 0.0, "outside_diameter", "m")
    checks.refuse(
        insulated_diameter < outside_diameter,
        insulated_diameter,
        "insulated_diameter must not be below outside_diameter",
        "It is the diameter over the insulation; for a bare pipe both are the same.",
    )


@worked(
    "Resistance to heat of a metre of pipe",
    expression="ln(insulated_diameter / outside_diameter) / (2 * pi * conductivity)"
    " + 1 / (pi * heat_transfer * insulated_diameter)",
    reference="radial heat conduction and outside film",
)
def pipe_heat_resistance(
    outside_diameter: PipeSize,
    insulated_diameter: Insulated,
    conductivity: HeatConductivity,
    heat_transfer: HeatTransfer,
) -> ThermalResistance:
    """Return the resistance between the water and the air for each length of pipe; the pipe's own wall is neglected.

    Parameters
    ----------
    outside_diameter : outside diameter of the pipe. [m]
    insulated_diameter : diameter over the insulation; that of the pipe if it is bare. [m]
    conductivity : heat conductivity of the insulation; 0.036 foam, 0.046 wool. [W/(m*K)]
    heat_transfer : of the surface to the air; 10 still, 25 windy (memory). [W/(m^2*K)]

    Returns
    -------
    Resistance. [K*m/W]

    Raises
    ------
    ValueError
        If an input is not above 0, or the insulated diameter below that of the pipe.

    Examples
    --------
    >>> round(pipe_heat_resistance(0.0603, 0.1103, 0.036, 15.0), 3)
    2.862

    References
    ----------
    Radial heat conduction.
    """
    _insulation(outside_diameter, insulated_diameter)
    checks.above(conductivity, 0.0, "conductivity", "W/(m*K)")
    checks.above(heat_transfer, 0.0, "heat_transfer", "W/(m^2*K)")
    film = 1 / (math.pi * heat_transfer * insulated_diameter)
    return checks.ln(insulated_diameter / outside_diameter) / (2 * math.pi * conductivity) + film


@worked(
    "Time until standing water is at 0 degC",
    expression="999.8 * 4205 * pi / 4 * inside_diameter**2 * heat_resistance"
    " * ln((water_temperature - air_temperature) / -air_temperature)",
    reference=f"{_ASHRAE}; {_HEAT}",
)
def time_to_freeze(
    inside_diameter: PipeSize,
    heat_resistance: ThermalResistance,
    water_temperature: StartTemperature,
    air_temperature: Frost,
) -> Duration:
    """Return how long standing water takes to cool to 0 degC; ice begins then, the pipe is blocked later.

    Parameters
    ----------
    inside_diameter : inside diameter of the pipe. [m]
    heat_resistance : resistance of each length, from pipe_heat_resistance. [K*m/W]
    water_temperature : temperature of the water at the start, 0 or above. [degC]
    air_temperature : temperature of the air, below 0. [degC]

    Returns
    -------
    Time. [s]

    Raises
    ------
    ValueError
        If the air is not below 0 degC, the water below 0 degC, or a size not above 0.

    Examples
    --------
    >>> bare = pipe_heat_resistance(0.0603, 0.0603, 1.0, 15.0)
    >>> round(time_to_freeze(0.0525, bare, 5.0, -10.0) / 3600, 2)  # hours
    0.36

    References
    ----------
    ASHRAE Handbook Fundamentals, as quoted.
    """
    checks.above(inside_diameter, 0.0, "inside_diameter", "m")
    checks.above(heat_resistance, 0.0, "heat_resistance", "K*m/W")
    checks.at_least(water_temperature, 0.0, "water_temperature", "degC", "It is ice already.")
    _frost(air_temperature)
    fall = checks.ln((water_temperature - air_temperature) / -air_temperature)
    return 999.8 * 4205 * math.pi / 4 * inside_diameter * inside_diameter * heat_resistance * fall


def _frost(air_temperature: Any) -> None:
    checks.require(
        air_temperature < 0, air_temperature, "air_temperature must be below 0 degC", "Above it nothing freezes."
    )


@worked(
    "Time until a share of the water is ice",
    expression="ice_share * 999.8 * 333600 * pi / 4 * inside_diameter**2 * heat_resistance / -air_temperature",
    reference="heat of melting 333.6 kJ/kg; resistance of the ice neglected",
)
def time_to_ice(
    inside_diameter: PipeSize,
    heat_resistance: ThermalResistance,
    air_temperature: Frost,
    ice_share: Annotated[Fraction, Range(0.05, 1.0)] = 1.0,
) -> Duration:
    """Return how long water at 0 degC takes until a share of it is ice; comes on top of the time to 0 degC.

    Parameters
    ----------
    inside_diameter : inside diameter of the pipe. [m]
    heat_resistance : resistance of each length, from pipe_heat_resistance. [K*m/W]
    air_temperature : temperature of the air, below 0. [degC]
    ice_share : share of the water that turns to ice; 1 is blocked. [1]

    Returns
    -------
    Time. [s]

    Raises
    ------
    ValueError
        If the air is not below 0 degC, a size not above 0, or the share not from 0 to 1.

    Examples
    --------
    >>> bare = pipe_heat_resistance(0.0603, 0.0603, 1.0, 15.0)
    >>> round(time_to_ice(0.0525, bare, -10.0) / 3600, 1)  # hours
    7.1

    References
    ----------
    Heat of melting.
    """
    checks.above(inside_diameter, 0.0, "inside_diameter", "m")
    checks.above(heat_resistance, 0.0, "heat_resistance", "K*m/W")
    _frost(air_temperature)
    checks.within(ice_share, 0.0, 1.0, "ice_share")
    latent = 999.8 * 333600 * math.pi / 4 * inside_diameter * inside_diameter
    return ice_share * latent * heat_resistance / -air_temperature


@worked(
    "Temperature at the end of a pipe",
    expression="air_temperature + (water_temperature - air_temperature)"
    " * exp(-length / (999.8 * 4205 * flow * heat_resistance))",
    reference=f"{_SOURCE}; {_HEAT}",
)
def outlet_temperature(
    water_temperature: StartTemperature,
    air_temperature: Frost,
    length: PipeRun,
    flow: Annotated[Flow, Range(1e-4, 0.01)],
    heat_resistance: ThermalResistance,
) -> Temperature:
    """Return the temperature that flowing water has at the end of a pipe in cold air; below 0 it freezes on the way.

    Parameters
    ----------
    water_temperature : temperature where it comes in. [degC]
    air_temperature : temperature of the air. [degC]
    length : length in the cold. [m]
    flow : flow. [m^3/s]
    heat_resistance : resistance of each length, from pipe_heat_resistance. [K*m/W]

    Returns
    -------
    Temperature. [degC]

    Raises
    ------
    ValueError
        If the length is below 0, or flow or resistance not above 0.

    Examples
    --------
    >>> round(outlet_temperature(4.0, -15.0, 50.0, 0.0001, 2.862), 2)
    3.23

    References
    ----------
    Steady heat balance.
    """
    checks.at_least(length, 0.0, "length", "m")
    checks.above(flow, 0.0, "flow", "m^3/s", "For standing water use time_to_freeze.")
    checks.above(heat_resistance, 0.0, "heat_resistance", "K*m/W")
    left = checks.exp(-length / (999.8 * 4205 * flow * heat_resistance))
    return air_temperature + (water_temperature - air_temperature) * left


@worked(
    "Trickle that keeps a pipe from freezing",
    expression="length / (999.8 * 4205 * heat_resistance * ln((water_temperature - air_temperature)"
    " / (least_temperature - air_temperature)))",
    reference=f"{_SOURCE}; {_HEAT}",
)
def trickle_flow(
    water_temperature: Annotated[Temperature, Range(2.0, 10.0)],
    air_temperature: Frost,
    length: PipeRun,
    heat_resistance: ThermalResistance,
    least_temperature: Annotated[Temperature, Range(0.2, 1.5)] = 0.5,
) -> Flow:
    """Return the flow that reaches the end of a pipe at a least temperature.

    Parameters
    ----------
    water_temperature : temperature where it comes in. [degC]
    air_temperature : temperature of the air. [degC]
    length : length in the cold. [m]
    heat_resistance : resistance of each length, from pipe_heat_resistance. [K*m/W]
    least_temperature : temperature wanted at the end. [degC]

    Returns
    -------
    Flow. [m^3/s]

    Raises
    ------
    ValueError
        If the air is not colder than the least temperature, or the water not warmer.

    Examples
    --------
    >>> round(trickle_flow(4.0, -15.0, 50.0, 2.862) * 6e4, 2)  # litres a minute
    1.22

    References
    ----------
    Steady heat balance.
    """
    checks.at_least(length, 0.0, "length", "m")
    checks.above(heat_resistance, 0.0, "heat_resistance", "K*m/W")
    checks.refuse(
        air_temperature >= least_temperature,
        air_temperature,
        "air_temperature must be below least_temperature",
        "No trickle is needed.",
    )
    checks.refuse(
        water_temperature <= least_temperature,
        water_temperature,
        "water_temperature must be above least_temperature",
        "No flow can keep it that warm: heat the line.",
    )
    fall = checks.ln((water_temperature - air_temperature) / (least_temperature - air_temperature))
    return length / (999.8 * 4205 * heat_resistance * fall)


@worked(
    "Heat loss of an insulated pipe",
    expression="2 * pi * conductivity * (hold_temperature - air_temperature)"
    " / ln(insulated_diameter / outside_diameter)",
    reference="radial heat conduction; outside film neglected",
)
def pipe_heat_loss(
    outside_diameter: PipeSize,
    insulated_diameter: Insulated,
    conductivity: HeatConductivity,
    hold_temperature: StartTemperature,
    air_temperature: Frost,
) -> HeatPerLength:
    """Return the heat that each length of an insulated pipe loses.

    Parameters
    ----------
    outside_diameter : outside diameter of the pipe. [m]
    insulated_diameter : diameter over the insulation. [m]
    conductivity : heat conductivity of the insulation. [W/(m*K)]
    hold_temperature : temperature of the pipe. [degC]
    air_temperature : temperature of the air. [degC]

    Returns
    -------
    Heat per length. [W/m]

    Raises
    ------
    ValueError
        If there is no insulation, a size or the conductivity is not above 0, or the air is warmer than the pipe.

    Examples
    --------
    >>> round(pipe_heat_loss(0.0603, 0.1103, 0.036, 5.0, -20.0), 2)
    9.36

    References
    ----------
    Radial heat conduction.
    """
    checks.above(outside_diameter, 0.0, "outside_diameter", "m")
    checks.refuse(
        insulated_diameter <= outside_diameter,
        insulated_diameter,
        "insulated_diameter must be above outside_diameter",
        "A bare pipe loses heat by its surface: use pipe_heat_resistance.",
    )
    checks.above(conductivity, 0.0, "conductivity", "W/(m*K)")
    checks.refuse(
        hold_temperature < air_temperature,
        hold_temperature,
        "hold_temperature must not be below air_temperature",
        "No heat is lost.",
    )
    warmth = hold_temperature - air_temperature
    return 2 * math.pi * conductivity * warmth / checks.ln(insulated_diameter / outside_diameter)


@worked("Heat trace to install", expression="heat_loss * margin", reference="margin 1.1 indoors, 1.3 to 1.7 outdoors")
def heat_trace(heat_loss: HeatPerLength, margin: Annotated[Ratio, Range(1.1, 1.7)]) -> HeatPerLength:
    """Return the heat that a tracing cable must give each length; count a valve or flange as 0.5 to 1 m more.

    Check the cable's output at the holding temperature, and leave the wiring to a licensed electrician.

    Parameters
    ----------
    heat_loss : heat lost by each length. [W/m]
    margin : margin, 1.1 indoors, 1.3 to 1.7 in wind and wet. [1]

    Returns
    -------
    Heat per length. [W/m]

    Raises
    ------
    ValueError
        If the loss is below 0 or the margin below 1.

    Examples
    --------
    >>> round(heat_trace(9.36, 1.5), 1)
    14.0

    References
    ----------
    A frost-protection dimensioning note; indoor margin from memory.
    """
    checks.at_least(heat_loss, 0.0, "heat_loss", "W/m")
    checks.at_least(margin, 1.0, "margin")
    return heat_loss * margin

"""What does a full pipe under pressure do: velocity, time, friction?"""

from typing import Annotated, Any

from weirhouse.science import checks
from weirhouse.science.quantities import (
    Area,
    Density,
    Diameter,
    Duration,
    Flow,
    Head,
    KinematicViscosity,
    Length,
    Number,
    Pressure,
    Ratio,
    Velocity,
    Volume,
)
from weirhouse.working import Range, note, worked

PipeDiameter = Annotated[Diameter, Range(0.025, 0.5)]
PipeLength = Annotated[Length, Range(1.0, 2000.0)]
PipeFlow = Annotated[Flow, Range(0.0005, 0.1)]
PipeVelocity = Annotated[Velocity, Range(0.1, 4.0)]
Roughness = Annotated[Diameter, Range(1e-6, 5e-4)]
_INSIDE = "Give the inside diameter; the nominal size is not it, and a blank cell reads as 0."
_SOURCE = "definition; common practice, no source"
_DARCY = "J. Weisbach 1845, H. Darcy 1857"
_COLEBROOK = "C. F. Colebrook, J. Institution of Civil Engineers 11 (1939) 133"


@worked("Area of a pipe", expression="pi / 4 * diameter**2", reference=_SOURCE)
def pipe_area(diameter: PipeDiameter) -> Area:
    """Return the cross-section of a round pipe.

    Parameters
    ----------
    diameter : inside diameter. [m]

    Returns
    -------
    Area. [m^2]

    Raises
    ------
    ValueError
        If the diameter is not above 0.

    Examples
    --------
    >>> round(pipe_area(0.1), 5)
    0.00785

    References
    ----------
    Definition.
    """
    checks.above(diameter, 0.0, "diameter", "m", _INSIDE)
    return 0.7853981633974483 * diameter * diameter


@worked("Velocity in a pipe", expression="4 * flow / (pi * diameter**2)", reference=_SOURCE)
def pipe_velocity(flow: PipeFlow, diameter: PipeDiameter) -> Velocity:
    """Return the mean velocity in a full pipe.

    Parameters
    ----------
    flow : flow. [m^3/s]
    diameter : inside diameter. [m]

    Returns
    -------
    Velocity. [m/s]

    Raises
    ------
    ValueError
        If the diameter is not above 0.

    Examples
    --------
    >>> round(pipe_velocity(0.0015, 0.0525), 3)
    0.693

    References
    ----------
    Definition.
    """
    checks.above(diameter, 0.0, "diameter", "m", _INSIDE)
    return 1.2732395447351628 * flow / (diameter * diameter)


@worked("Volume of a pipe", expression="pi / 4 * diameter**2 * length", reference=_SOURCE)
def pipe_volume(diameter: PipeDiameter, length: PipeLength) -> Volume:
    """Return the water in a full pipe.

    Parameters
    ----------
    diameter : inside diameter. [m]
    length : length. [m]

    Returns
    -------
    Volume. [m^3]

    Raises
    ------
    ValueError
        If the diameter is not above 0 or the length below 0.

    Examples
    --------
    >>> round(pipe_volume(0.0525, 1.0) * 1000, 3)  # litres in a metre of 2 in schedule 40
    2.165

    References
    ----------
    Definition.
    """
    checks.above(diameter, 0.0, "diameter", "m", _INSIDE)
    checks.at_least(length, 0.0, "length", "m")
    return 0.7853981633974483 * diameter * diameter * length


@worked("Travel time in a pipe", expression="pi / 4 * diameter**2 * length / flow", reference=_SOURCE)
def travel_time(diameter: PipeDiameter, length: PipeLength, flow: PipeFlow) -> Duration:
    """Return the time the water takes through a full pipe.

    Parameters
    ----------
    diameter : inside diameter. [m]
    length : length. [m]
    flow : flow. [m^3/s]

    Returns
    -------
    Time. [s]

    Raises
    ------
    ValueError
        If diameter or flow is not above 0, or the length below 0.

    Examples
    --------
    >>> round(travel_time(0.0525, 100.0, 0.0015))
    144

    References
    ----------
    Definition.
    """
    checks.above(diameter, 0.0, "diameter", "m", _INSIDE)
    checks.at_least(length, 0.0, "length", "m")
    checks.above(flow, 0.0, "flow", "m^3/s", "With no flow the water stands still.")
    return 0.7853981633974483 * diameter * diameter * length / flow


@worked("Reynolds number", expression="velocity * diameter / kinematic_viscosity", reference=_SOURCE)
def reynolds_number(velocity: PipeVelocity, diameter: PipeDiameter, kinematic_viscosity: KinematicViscosity) -> Number:
    """Return the Reynolds number of a full pipe: smooth (laminar) below 2000, turbulent above 4000.

    Parameters
    ----------
    velocity : mean velocity. [m/s]
    diameter : inside diameter. [m]
    kinematic_viscosity : kinematic viscosity of the water. [m^2/s]

    Returns
    -------
    Reynolds number. [1]

    Raises
    ------
    ValueError
        If the velocity is below 0, or diameter or viscosity is not above 0.

    Examples
    --------
    >>> round(reynolds_number(0.693, 0.0525, 1.3074e-6), -2)
    27800.0

    References
    ----------
    Definition.
    """
    checks.at_least(velocity, 0.0, "velocity", "m/s", "For reversed flow pass its size.")
    checks.above(diameter, 0.0, "diameter", "m", _INSIDE)
    checks.above(kinematic_viscosity, 0.0, "kinematic_viscosity", "m^2/s")
    return velocity * diameter / kinematic_viscosity


@worked(
    "Head loss by Hazen and Williams",
    expression="10.67 * length * (flow / c_factor)**1.852 * diameter**-4.8704",
    reference="G. S. Williams and A. Hazen, Hydraulic Tables (Wiley, 1905)",
)
def hazen_williams_head_loss(
    flow: PipeFlow, diameter: PipeDiameter, length: PipeLength, c_factor: Annotated[Number, Range(80.0, 150.0)]
) -> Head:
    """Return the friction head loss of a full pipe by Hazen and Williams, for water near 16 degC in turbulent flow.

    Parameters
    ----------
    flow : flow. [m^3/s]
    diameter : inside diameter. [m]
    length : length, with the equivalent length of the fittings. [m]
    c_factor : Hazen-Williams C; 150 plastic, 130 new iron, 100 old iron, 80 rough (memory). [1]

    Returns
    -------
    Head loss. [m]

    Raises
    ------
    ValueError
        If the flow or length is below 0, or diameter or C is not above 0.

    Examples
    --------
    >>> round(hazen_williams_head_loss(0.010, 0.150, 200.0, 130.0), 3)
    0.528

    References
    ----------
    Williams and Hazen 1905.
    """
    checks.at_least(flow, 0.0, "flow", "m^3/s", "For reversed flow pass its size and negate the result.")
    checks.above(diameter, 0.0, "diameter", "m", _INSIDE)
    checks.at_least(length, 0.0, "length", "m")
    checks.above(c_factor, 0.0, "c_factor")
    return 10.67 * length * (flow / c_factor) ** 1.852 * diameter**-4.8704


@worked(
    "Friction factor",
    method="64 / Reynolds number below 2300, else Colebrook's equation by repeated substitution",
    reference=_COLEBROOK,
)
def friction_factor(
    reynolds: Annotated[Number, Range(4000.0, 1e6)], relative_roughness: Annotated[Ratio, Range(0.0, 0.03)]
) -> Ratio:
    """Return Darcy's friction factor of a full pipe: 1/sqrt(f) = -2 log10(roughness/3.7 + 2.51/(Re sqrt(f))).

    Between Reynolds numbers 2000 and 4000 the flow is neither one nor the other and the answer uncertain.

    Parameters
    ----------
    reynolds : Reynolds number. [1]
    relative_roughness : roughness over inside diameter. [1]

    Returns
    -------
    Darcy friction factor, four times Fanning's. [1]

    Raises
    ------
    ValueError
        If the Reynolds number is not above 0, or the roughness not from 0 to 0.05.

    Examples
    --------
    >>> round(friction_factor(134300.0, 4e-5), 4)
    0.0172

    References
    ----------
    Colebrook 1939; laminar flow by Hagen and Poiseuille.
    """
    checks.above(reynolds, 0.0, "reynolds")
    checks.within(relative_roughness, 0.0, 0.05, "relative_roughness", "", "Divide the roughness by the diameter.")
    if isinstance(reynolds, float | int) and 2000 <= reynolds <= 4000:
        note("Reynolds number between 2000 and 4000: the flow may be laminar or turbulent")
    turbulent = checks.most(reynolds, 2300.0)
    rough = relative_roughness / 3.7
    inverse: Any = 6.0 + 0.0 * (turbulent + rough)  # 1 / sqrt(f); each round brings it about ten times nearer
    for _ in range(16):
        inverse = -2 * checks.log10(rough + 2.51 * inverse / turbulent)
    return checks.choose(reynolds < 2300, 64 / reynolds + 0.0 * relative_roughness, 1 / (inverse * inverse))


@worked(
    "Head loss by Darcy and Weisbach",
    expression="friction_factor * length / diameter * velocity**2 / (2 * 9.80665)",
    reference=_DARCY,
)
def darcy_weisbach_head_loss(
    friction_factor: Annotated[Ratio, Range(0.01, 0.06)],
    length: PipeLength,
    diameter: PipeDiameter,
    velocity: PipeVelocity,
) -> Head:
    """Return the friction head loss of a full pipe from its friction factor.

    Parameters
    ----------
    friction_factor : Darcy friction factor. [1]
    length : length. [m]
    diameter : inside diameter. [m]
    velocity : mean velocity. [m/s]

    Returns
    -------
    Head loss. [m]

    Raises
    ------
    ValueError
        If factor or length is below 0, or the diameter not above 0.

    Examples
    --------
    >>> round(darcy_weisbach_head_loss(0.0172, 60.0, 0.05, 3.06), 2)
    9.85

    References
    ----------
    Darcy and Weisbach.
    """
    checks.at_least(friction_factor, 0.0, "friction_factor")
    checks.at_least(length, 0.0, "length", "m")
    checks.above(diameter, 0.0, "diameter", "m", _INSIDE)
    return friction_factor * length / diameter * velocity * velocity / (2 * 9.80665)


@worked(
    "Pressure drop by Darcy and Weisbach",
    expression="friction_factor * length / diameter * density * velocity**2 / 2",
    reference=_DARCY,
)
def darcy_weisbach_pressure_drop(
    friction_factor: Annotated[Ratio, Range(0.01, 0.06)],
    length: PipeLength,
    diameter: PipeDiameter,
    velocity: PipeVelocity,
    density: Annotated[Density, Range(990.0, 1000.0)] = 1000.0,
) -> Pressure:
    """Return the friction pressure drop of a full pipe from its friction factor.

    Parameters
    ----------
    friction_factor : Darcy friction factor. [1]
    length : length. [m]
    diameter : inside diameter. [m]
    velocity : mean velocity. [m/s]
    density : density of the water. [kg/m^3]

    Returns
    -------
    Pressure drop. [Pa]

    Raises
    ------
    ValueError
        If factor or length is below 0, or diameter or density not above 0.

    Examples
    --------
    >>> round(darcy_weisbach_pressure_drop(0.0172, 60.0, 0.05, 3.06, 999.0))
    96536

    References
    ----------
    Darcy and Weisbach.
    """
    checks.at_least(friction_factor, 0.0, "friction_factor")
    checks.at_least(length, 0.0, "length", "m")
    checks.above(diameter, 0.0, "diameter", "m", _INSIDE)
    checks.above(density, 0.0, "density", "kg/m^3")
    return friction_factor * length / diameter * density * velocity * velocity / 2


@worked(
    "Friction head loss of a pipe",
    method="velocity, Reynolds number, friction factor, then Darcy and Weisbach",
    reference=f"{_DARCY}; {_COLEBROOK}",
)
def pipe_head_loss(
    flow: PipeFlow,
    diameter: PipeDiameter,
    length: PipeLength,
    roughness: Roughness,
    kinematic_viscosity: KinematicViscosity,
) -> Head:
    """Return the friction head loss of a full pipe of any size at any temperature.

    Parameters
    ----------
    flow : flow. [m^3/s]
    diameter : inside diameter. [m]
    length : length. [m]
    roughness : roughness of the wall; 0.0015 mm plastic, 0.05 mm steel, 0.25 mm cast iron (memory). [m]
    kinematic_viscosity : kinematic viscosity of the water. [m^2/s]

    Returns
    -------
    Head loss; 0 without flow. [m]

    Raises
    ------
    ValueError
        If the flow, length or roughness is below 0, or diameter or viscosity is not above 0.

    Examples
    --------
    >>> round(pipe_head_loss(0.0015, 0.0525, 100.0, 1.5e-6, 1.3074e-6), 2)
    1.12

    References
    ----------
    Darcy and Weisbach; Colebrook 1939.
    """
    checks.at_least(flow, 0.0, "flow", "m^3/s", "For reversed flow pass its size and negate the result.")
    velocity = pipe_velocity(flow, diameter)
    reynolds = checks.most(reynolds_number(velocity, diameter, kinematic_viscosity), 1e-9)
    return darcy_weisbach_head_loss(friction_factor(reynolds, roughness / diameter), length, diameter, velocity)


@worked(
    "Velocity that a head loss allows",
    expression="-2 * sqrt(2 * 9.80665 * diameter * head_loss / length) * log10(roughness / (3.7 * diameter)"
    " + 2.51 * kinematic_viscosity / (diameter * sqrt(2 * 9.80665 * diameter * head_loss / length)))",
    reference=_COLEBROOK,
)
def velocity_for_head_loss(
    head_loss: Annotated[Head, Range(0.5, 50.0)],
    diameter: PipeDiameter,
    length: Annotated[Length, Range(10.0, 500.0)],
    roughness: Roughness,
    kinematic_viscosity: KinematicViscosity,
) -> Velocity:
    """Return the velocity at which friction takes a head loss: Colebrook with Darcy and Weisbach, solved exactly.

    Parameters
    ----------
    head_loss : friction head loss. [m]
    diameter : inside diameter. [m]
    length : length. [m]
    roughness : roughness of the wall. [m]
    kinematic_viscosity : kinematic viscosity of the water. [m^2/s]

    Returns
    -------
    Mean velocity. [m/s]

    Raises
    ------
    ValueError
        If an input is not above 0 (roughness: below 0), or the flow is not turbulent (Reynolds number below 4000).

    Examples
    --------
    >>> round(velocity_for_head_loss(5.0986, 0.05, 100.0, 1.3e-5, 1e-6), 2)
    1.58

    References
    ----------
    Colebrook 1939.
    """
    checks.above(head_loss, 0.0, "head_loss", "m")
    checks.above(diameter, 0.0, "diameter", "m", _INSIDE)
    checks.above(length, 0.0, "length", "m")
    checks.at_least(roughness, 0.0, "roughness", "m")
    checks.above(kinematic_viscosity, 0.0, "kinematic_viscosity", "m^2/s")
    pull = checks.sqrt(2 * 9.80665 * diameter * head_loss / length)
    velocity = -2 * pull * checks.log10(roughness / (3.7 * diameter) + 2.51 * kinematic_viscosity / (diameter * pull))
    reynolds = velocity * diameter / kinematic_viscosity
    checks.require(
        reynolds >= 4000, reynolds, "the Reynolds number must not be below 4000", "The flow would not be turbulent."
    )
    return velocity


@worked(
    "Head loss of fittings", expression="loss_coefficient * velocity**2 / (2 * 9.80665)", reference="velocity heads"
)
def minor_head_loss(loss_coefficient: Annotated[Ratio, Range(0.1, 20.0)], velocity: PipeVelocity) -> Head:
    """Return the head loss of fittings, valves, meters or an in-line mixer from their summed loss coefficients.

    Parameters
    ----------
    loss_coefficient : velocity heads lost; 0.9 an elbow, 0.5 an entry, 1 an exit (memory). [1]
    velocity : velocity in the pipe. [m/s]

    Returns
    -------
    Head loss. [m]

    Raises
    ------
    ValueError
        If the coefficient is below 0.

    Examples
    --------
    >>> round(minor_head_loss(20.0, 1.746), 2)
    3.11

    References
    ----------
    Velocity heads.
    """
    checks.at_least(loss_coefficient, 0.0, "loss_coefficient")
    return loss_coefficient * velocity * velocity / (2 * 9.80665)


@worked("Velocity head", expression="velocity**2 / (2 * 9.80665)", reference=_SOURCE)
def velocity_head(velocity: PipeVelocity) -> Head:
    """Return the height of water that a velocity is worth.

    Parameters
    ----------
    velocity : velocity. [m/s]

    Returns
    -------
    Velocity head. [m]

    Raises
    ------
    ValueError
        If the velocity is below 0.

    Examples
    --------
    >>> round(velocity_head(1.5), 3)
    0.115

    References
    ----------
    Definition.
    """
    checks.at_least(velocity, 0.0, "velocity", "m/s")
    return velocity * velocity / (2 * 9.80665)

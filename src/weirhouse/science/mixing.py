"""How hard is the water stirred? Velocity gradient G from power and from head loss, G·t, paddles and turbines."""

from typing import Annotated

from weirhouse.science import checks
from weirhouse.science.quantities import (
    Density,
    Duration,
    Flow,
    Fraction,
    Head,
    Length,
    Number,
    Power,
    Ratio,
    Speed,
    Velocity,
    VelocityGradient,
    Viscosity,
    Volume,
)
from weirhouse.working import Range, worked

WaterDensity = Annotated[Density, Range(990.0, 1000.0)]
MixerHead = Annotated[Head, Range(0.005, 2.0)]
_CAMP = "T. R. Camp and P. C. Stein, J. Boston Society of Civil Engineers 30 (1943) 219"
_VISCOSITY = "Take it from the water's temperature with dynamic_viscosity."


@worked("Velocity gradient from power", expression="sqrt(power / (viscosity * volume))", reference=_CAMP)
def velocity_gradient_from_power(power: Power, viscosity: Viscosity, volume: Volume) -> VelocityGradient:
    """Return the mean velocity gradient G that a power put into the water makes.

    Parameters
    ----------
    power : power that reaches the water, motor power times efficiency. [W]
    viscosity : dynamic viscosity of the water. [Pa*s]
    volume : water stirred. [m^3]

    Returns
    -------
    Velocity gradient. [1/s]

    Raises
    ------
    ValueError
        If the power is below 0, or viscosity or volume is not above 0.

    Examples
    --------
    >>> round(velocity_gradient_from_power(279.6, 0.001306, 0.2271))  # 0.5 hp at 75 percent, 60 gal, 10 degC
    971

    References
    ----------
    Camp and Stein 1943.
    """
    checks.at_least(power, 0.0, "power", "W")
    checks.above(viscosity, 0.0, "viscosity", "Pa*s", _VISCOSITY)
    checks.above(volume, 0.0, "volume", "m^3")
    return checks.sqrt(power / (viscosity * volume))


@worked(
    "Velocity gradient from head loss",
    expression="sqrt(9.80665 * density * head_loss / (viscosity * detention_time))",
    reference=_CAMP,
)
def velocity_gradient_from_head_loss(
    head_loss: MixerHead,
    detention_time: Annotated[Duration, Range(0.5, 3600.0)],
    viscosity: Viscosity,
    density: WaterDensity = 1000.0,
) -> VelocityGradient:
    """Return the mean velocity gradient G in a basin or pipe that takes a head loss: baffles, ports, in-line mixers.

    Parameters
    ----------
    head_loss : fall of the water level across it. [m]
    detention_time : time the water spends in it, volume / flow. [s]
    viscosity : dynamic viscosity of the water. [Pa*s]
    density : density of the water. [kg/m^3]

    Returns
    -------
    Velocity gradient. [1/s]

    Raises
    ------
    ValueError
        If the head loss is below 0, or time, viscosity or density is not above 0.

    Examples
    --------
    >>> round(velocity_gradient_from_head_loss(0.15, 900.0, 0.001306), 1)
    35.4

    References
    ----------
    Camp and Stein 1943.
    """
    checks.at_least(head_loss, 0.0, "head_loss", "m", "The level after the mixer must be the lower one.")
    checks.above(detention_time, 0.0, "detention_time", "s")
    checks.above(viscosity, 0.0, "viscosity", "Pa*s", _VISCOSITY)
    checks.above(density, 0.0, "density", "kg/m^3")
    return checks.sqrt(9.80665 * density * head_loss / (viscosity * detention_time))


@worked(
    "Velocity gradient of an in-line mixer",
    expression="sqrt(9.80665 * density * flow * head_loss / (viscosity * volume))",
    reference=_CAMP,
)
def inline_mixer_velocity_gradient(
    flow: Flow,
    head_loss: MixerHead,
    volume: Annotated[Volume, Range(0.005, 5.0)],
    viscosity: Viscosity,
    density: WaterDensity = 1000.0,
) -> VelocityGradient:
    """Return the mean velocity gradient G of an in-line or static mixer, whose power is flow times head loss.

    Parameters
    ----------
    flow : flow through it. [m^3/s]
    head_loss : head loss across it at this flow. [m]
    volume : water in the mixing zone. [m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]
    density : density of the water. [kg/m^3]

    Returns
    -------
    Velocity gradient. [1/s]

    Raises
    ------
    ValueError
        If flow or head loss is below 0, or volume, viscosity or density is not above 0.

    Examples
    --------
    >>> round(inline_mixer_velocity_gradient(0.009464, 0.6, 0.010, 0.001306))
    2065

    References
    ----------
    Camp and Stein 1943.
    """
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.at_least(head_loss, 0.0, "head_loss", "m")
    checks.above(volume, 0.0, "volume", "m^3")
    checks.above(viscosity, 0.0, "viscosity", "Pa*s", _VISCOSITY)
    checks.above(density, 0.0, "density", "kg/m^3")
    return checks.sqrt(9.80665 * density * flow * head_loss / (viscosity * volume))


@worked("Power for a velocity gradient", expression="velocity_gradient**2 * viscosity * volume", reference=_CAMP)
def power_for_velocity_gradient(velocity_gradient: VelocityGradient, viscosity: Viscosity, volume: Volume) -> Power:
    """Return the power that must reach the water for a velocity gradient.

    Parameters
    ----------
    velocity_gradient : velocity gradient wanted. [1/s]
    viscosity : dynamic viscosity of the water. [Pa*s]
    volume : water stirred. [m^3]

    Returns
    -------
    Power in the water; the motor draws more. [W]

    Raises
    ------
    ValueError
        If the gradient is below 0, or viscosity or volume is not above 0.

    Examples
    --------
    >>> round(power_for_velocity_gradient(900.0, 0.001, 40.0))
    32400

    References
    ----------
    Camp and Stein 1943.
    """
    checks.at_least(velocity_gradient, 0.0, "velocity_gradient", "1/s")
    checks.above(viscosity, 0.0, "viscosity", "Pa*s", _VISCOSITY)
    checks.above(volume, 0.0, "volume", "m^3")
    return velocity_gradient * velocity_gradient * viscosity * volume


@worked(
    "Head loss for a velocity gradient",
    expression="velocity_gradient**2 * viscosity * detention_time / (9.80665 * density)",
    reference=_CAMP,
)
def head_loss_for_velocity_gradient(
    velocity_gradient: VelocityGradient,
    detention_time: Annotated[Duration, Range(0.5, 3600.0)],
    viscosity: Viscosity,
    density: WaterDensity = 1000.0,
) -> Head:
    """Return the head loss that makes a velocity gradient in a baffled basin.

    Parameters
    ----------
    velocity_gradient : velocity gradient wanted. [1/s]
    detention_time : time the water spends in it. [s]
    viscosity : dynamic viscosity of the water. [Pa*s]
    density : density of the water. [kg/m^3]

    Returns
    -------
    Head loss. [m]

    Raises
    ------
    ValueError
        If the gradient is below 0, or time, viscosity or density is not above 0.

    Examples
    --------
    >>> round(head_loss_for_velocity_gradient(35.4, 900.0, 0.001306), 3)
    0.15

    References
    ----------
    Camp and Stein 1943.
    """
    checks.at_least(velocity_gradient, 0.0, "velocity_gradient", "1/s")
    checks.above(detention_time, 0.0, "detention_time", "s")
    checks.above(viscosity, 0.0, "viscosity", "Pa*s", _VISCOSITY)
    checks.above(density, 0.0, "density", "kg/m^3")
    return velocity_gradient * velocity_gradient * viscosity * detention_time / (9.80665 * density)


@worked("G·t", expression="velocity_gradient * detention_time", reference=_CAMP)
def gt(velocity_gradient: VelocityGradient, detention_time: Annotated[Duration, Range(0.5, 3600.0)]) -> Number:
    """Return G·t, the number of chances to collide (Camp number): velocity gradient times detention time.

    Parameters
    ----------
    velocity_gradient : mean velocity gradient. [1/s]
    detention_time : time the water spends there. [s]

    Returns
    -------
    G·t. [1]

    Raises
    ------
    ValueError
        If either is below 0.

    Examples
    --------
    >>> round(gt(33.33, 2700.0))
    89991

    References
    ----------
    Camp and Stein 1943.
    """
    checks.at_least(velocity_gradient, 0.0, "velocity_gradient", "1/s")
    checks.at_least(detention_time, 0.0, "detention_time", "s")
    return velocity_gradient * detention_time


@worked("G·t of stages in turn", expression="first + second", reference="definition")
def gt_in_turn(
    first: Annotated[Number, Range(100, 100000)], second: Annotated[Number, Range(100, 100000)]
) -> Annotated[Number, Range(100, 200000)]:
    """Return the G·t of two stages that the water goes through one after the other.

    Parameters
    ----------
    first : G·t of one stage, or of those counted so far. [1]
    second : G·t of the next. [1]

    Returns
    -------
    Both together. [1]

    Examples
    --------
    >>> gt_in_turn(20000.0, 15000.0)
    35000.0

    References
    ----------
    Definition.
    """
    return first + second


@worked("Power that reaches the water", expression="motor_power * efficiency", reference="definition")
def stirring_power(motor_power: Power, efficiency: Annotated[Fraction, Range(0.3, 1.0)]) -> Power:
    """Return the power that a mixer's motor puts into the water.

    Parameters
    ----------
    motor_power : power of the motor. [W]
    efficiency : share that reaches the water. [1]

    Returns
    -------
    Power in the water. [W]

    Raises
    ------
    ValueError
        If the power is below 0 or the efficiency not from 0 to 1.

    Examples
    --------
    >>> round(stirring_power(372.85, 0.75), 1)  # 0.5 hp
    279.6

    References
    ----------
    Definition.
    """
    checks.at_least(motor_power, 0.0, "motor_power", "W")
    checks.within(efficiency, 0.0, 1.0, "efficiency")
    return motor_power * efficiency


@worked(
    "Head loss at another flow",
    expression="head_loss * (flow / measured_flow)**2",
    reference="turbulent losses grow with the square of the flow; common practice, no source",
)
def head_loss_at_flow(
    head_loss: MixerHead,
    measured_flow: Annotated[Flow, Range(0.002, 0.05)],
    flow: Annotated[Flow, Range(0.002, 0.05)],
) -> Head:
    """Return the head loss of ports, baffles or a mixer at another flow than the one it was measured at.

    Parameters
    ----------
    head_loss : head loss measured. [m]
    measured_flow : flow at that time. [m^3/s]
    flow : flow now. [m^3/s]

    Returns
    -------
    Head loss now. [m]

    Raises
    ------
    ValueError
        If head loss or flow is below 0, or the measured flow not above 0.

    Examples
    --------
    >>> round(head_loss_at_flow(0.0335, 0.00883, 0.00946), 4)
    0.0385

    References
    ----------
    Turbulent losses grow with the square of the flow (common practice, no source).
    """
    checks.at_least(head_loss, 0.0, "head_loss", "m")
    checks.above(measured_flow, 0.0, "measured_flow", "m^3/s")
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    ratio = flow / measured_flow
    return head_loss * ratio * ratio


@worked(
    "Head loss of a baffled channel",
    expression="turns * loss_coefficient * velocity**2 / (2 * 9.80665)",
    reference="velocity heads; loss coefficients from memory of design texts",
)
def baffle_head_loss(
    turns: Annotated[Number, Range(1.0, 60.0)],
    loss_coefficient: Annotated[Ratio, Range(1.5, 4.0)],
    velocity: Annotated[Velocity, Range(0.05, 0.6)],
) -> Head:
    """Return the head loss of equal slots, ports or turns; the friction of the channel comes on top.

    Parameters
    ----------
    turns : number of slots, ports or turns. [1]
    loss_coefficient : velocity heads lost at each; 1.5 to 1.8 a slot or port, 2.5 to 4 a half turn (memory). [1]
    velocity : velocity there. [m/s]

    Returns
    -------
    Head loss. [m]

    Raises
    ------
    ValueError
        If the number or the coefficient is below 0.

    Examples
    --------
    >>> round(baffle_head_loss(20, 3.2, 0.25), 3)
    0.204

    References
    ----------
    Velocity heads; coefficients from memory of design texts.
    """
    checks.at_least(turns, 0.0, "turns")
    checks.at_least(loss_coefficient, 0.0, "loss_coefficient")
    return turns * loss_coefficient * velocity * velocity / (2 * 9.80665)


@worked(
    "Power of a turbine",
    expression="power_number * density * speed**3 * diameter**5",
    reference="J. H. Rushton, E. W. Costich, H. J. Everett, Chem. Eng. Progress 46 (1950) 395",
)
def turbine_power(
    power_number: Annotated[Ratio, Range(0.2, 6.0)],
    speed: Speed,
    diameter: Annotated[Length, Range(0.05, 1.0)],
    density: WaterDensity = 1000.0,
) -> Power:
    """Return the power that a turbine puts into turbulent water in a baffled tank.

    Parameters
    ----------
    power_number : power number of its shape; about 5 flat blades, 0.3 to 1 propellers (memory). [1]
    speed : turns per time. [1/s]
    diameter : diameter of the impeller. [m]
    density : density of the water. [kg/m^3]

    Returns
    -------
    Power in the water. [W]

    Raises
    ------
    ValueError
        If power number or speed is below 0, or diameter or density is not above 0.

    Examples
    --------
    >>> round(turbine_power(5.0, 1.5, 0.61, 929.0))
    1324

    References
    ----------
    Rushton, Costich and Everett 1950.
    """
    checks.at_least(power_number, 0.0, "power_number")
    checks.at_least(speed, 0.0, "speed", "1/s")
    checks.above(diameter, 0.0, "diameter", "m")
    checks.above(density, 0.0, "density", "kg/m^3")
    return power_number * density * speed**3 * diameter**5


@worked(
    "Power of a flat paddle",
    expression="drag_coefficient * density * paddle_height * (2 * pi * speed)**3 * paddle_radius**4 / 4",
    reference="drag of a plate turned about its middle; drag coefficient 1.8 for jar-test paddles",
)
def paddle_power(
    speed: Annotated[Speed, Range(0.2, 5.0)],
    paddle_radius: Annotated[Length, Range(0.02, 0.05)] = 0.0381,
    paddle_height: Annotated[Length, Range(0.01, 0.05)] = 0.0254,
    drag_coefficient: Annotated[Ratio, Range(1.2, 2.0)] = 1.8,
    density: WaterDensity = 1000.0,
) -> Power:
    """Return the power of a flat paddle turned about its middle; the dimensions given are the usual jar tester's.

    The water is taken to stand still: without baffles it turns along, and the power is less.

    Parameters
    ----------
    speed : turns per time. [1/s]
    paddle_radius : half the length of the paddle. [m]
    paddle_height : height of the paddle. [m]
    drag_coefficient : drag coefficient of the plate. [1]
    density : density of the water. [kg/m^3]

    Returns
    -------
    Power in the water. [W]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(paddle_power(100 / 60), 4)  # 100 rpm
    0.0277

    References
    ----------
    Drag of a plate; dimensions 76 x 25 mm and coefficient 1.8 of a 2 L square jar tester (course slides).
    """
    checks.at_least(speed, 0.0, "speed", "1/s")
    checks.at_least(paddle_radius, 0.0, "paddle_radius", "m")
    checks.at_least(paddle_height, 0.0, "paddle_height", "m")
    checks.at_least(drag_coefficient, 0.0, "drag_coefficient")
    checks.at_least(density, 0.0, "density", "kg/m^3")
    turning = 6.283185307179586 * speed
    return drag_coefficient * density * paddle_height * turning**3 * paddle_radius**4 / 4


@worked("Tip speed", expression="pi * diameter * speed", reference="geometry")
def tip_speed(
    diameter: Annotated[Length, Range(0.05, 4.0)], speed: Annotated[Speed, Range(0.01, 3.0)]
) -> Annotated[Velocity, Range(1e-3, 40.0)]:
    """Return how fast the tip of a paddle or impeller moves: above about 0.6 m/s (2 ft/s) grown floc breaks.

    Parameters
    ----------
    diameter : diameter of the circle that the tip runs on. [m]
    speed : turns per time. [1/s]

    Returns
    -------
    Speed of the tip. [m/s]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(tip_speed(3.0, 3 / 60), 2)  # 3 m across at 3 rpm
    0.47

    References
    ----------
    Paddle speed of 0.5 to 2.0 ft/s: Utah Administrative Code R309-525-12.
    """
    checks.at_least(diameter, 0.0, "diameter", "m")
    checks.at_least(speed, 0.0, "speed", "1/s")
    return 3.141592653589793 * diameter * speed

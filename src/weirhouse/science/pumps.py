"""What does a pump need and give: power, speed, its point on the system curve, suction?"""

from typing import Annotated, Any

from weirhouse.science import checks
from weirhouse.science.pipes import minor_head_loss
from weirhouse.science.properties import (
    atmospheric_pressure,
    head_from_pressure,
    vapour_pressure,
    water_density,
)
from weirhouse.science.quantities import (
    Cost,
    Density,
    Duration,
    Energy,
    FeedRate,
    Flow,
    Fraction,
    Head,
    HeadPerFlowSquared,
    Length,
    Power,
    Pressure,
    Price,
    Ratio,
    Speed,
    Temperature,
    Velocity,
    Volume,
)
from weirhouse.working import Range, worked

WaterDensity = Annotated[Density, Range(990.0, 1000.0)]
Efficiency = Annotated[Fraction, Range(0.3, 0.95)]
PumpFlow = Annotated[Flow, Range(0.0005, 0.1)]
PumpHead = Annotated[Head, Range(1.0, 80.0)]
SuctionLoss = Annotated[Head, Range(0.0, 1.0)]
RunSpeed = Annotated[Speed, Range(10.0, 60.0)]
Altitude = Annotated[Length, Range(0.0, 2500.0)]
WaterTemperature = Annotated[Temperature, Range(0.0, 30.0)]
_SOURCE = "definition; common practice, no source"
_AFFINITY = "affinity laws of centrifugal pumps at constant impeller diameter"
_NPSH = "Hydraulic Institute's definition of net positive suction head, from memory"
_EFFICIENCY = "Give it as a share, such as 70 percent."


def _efficiency(value: Any, name: str) -> None:
    checks.above(value, 0.0, name, "", _EFFICIENCY)
    checks.require(value <= 1, value, f"{name} must not be above 1 (100 percent)", _EFFICIENCY)


@worked("Water power", expression="9.80665 * density * flow * head", reference="gpm x ft / 3960 = hp; hydrostatics")
def water_power(flow: PumpFlow, head: PumpHead, density: WaterDensity = 1000.0) -> Power:
    """Return the power that reaches the water.

    Parameters
    ----------
    flow : flow. [m^3/s]
    head : total head of the pump. [m]
    density : density of the water. [kg/m^3]

    Returns
    -------
    Power. [W]

    Raises
    ------
    ValueError
        If flow or head is below 0, or the density not above 0.

    Examples
    --------
    >>> round(water_power(0.009464, 18.9))  # 150 gpm at 62 ft
    1754

    References
    ----------
    Hydrostatics.
    """
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.at_least(head, 0.0, "head", "m")
    checks.above(density, 0.0, "density", "kg/m^3")
    return 9.80665 * density * flow * head


@worked(
    "Brake power",
    expression="9.80665 * density * flow * head / efficiency",
    reference="gpm x ft / (3960 x efficiency) = hp",
)
def brake_power(flow: PumpFlow, head: PumpHead, efficiency: Efficiency, density: WaterDensity = 1000.0) -> Power:
    """Return the power that the shaft of a pump takes.

    Parameters
    ----------
    flow : flow. [m^3/s]
    head : total head of the pump. [m]
    efficiency : efficiency of the pump. [1]
    density : density of the water. [kg/m^3]

    Returns
    -------
    Power at the shaft. [W]

    Raises
    ------
    ValueError
        If flow or head is below 0, or the efficiency not above 0 and at most 1.

    Examples
    --------
    >>> round(brake_power(0.0025236, 11.735, 0.60))  # 40 gpm at 38.5 ft
    484

    References
    ----------
    Hydrostatics.
    """
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.at_least(head, 0.0, "head", "m")
    checks.above(density, 0.0, "density", "kg/m^3")
    _efficiency(efficiency, "efficiency")
    return 9.80665 * density * flow * head / efficiency


@worked("Power drawn by the motor", expression="brake_power / motor_efficiency", reference=_SOURCE)
def motor_power(brake_power: Power, motor_efficiency: Efficiency) -> Power:
    """Return the electric power that a motor draws for a power at its shaft.

    Parameters
    ----------
    brake_power : power at the shaft. [W]
    motor_efficiency : efficiency of the motor (and drive). [1]

    Returns
    -------
    Electric power. [W]

    Raises
    ------
    ValueError
        If the power is below 0, or the efficiency not above 0 and at most 1.

    Examples
    --------
    >>> round(motor_power(484.0, 0.85))
    569

    References
    ----------
    Definition.
    """
    checks.at_least(brake_power, 0.0, "brake_power", "W")
    _efficiency(motor_efficiency, "motor_efficiency")
    return brake_power / motor_efficiency


@worked("Wire-to-water efficiency", expression="9.80665 * density * flow * head / electric_power", reference=_SOURCE)
def wire_to_water_efficiency(
    flow: Annotated[Flow, Range(0.001, 0.01)],
    head: Annotated[Head, Range(5.0, 30.0)],
    electric_power: Annotated[Power, Range(4000.0, 20000.0)],
    density: WaterDensity = 1000.0,
) -> Fraction:
    """Return the share of the electric power that reaches the water.

    Parameters
    ----------
    flow : flow. [m^3/s]
    head : total head. [m]
    electric_power : power drawn from the line. [W]
    density : density of the water. [kg/m^3]

    Returns
    -------
    Efficiency; above 1 a measurement is wrong. [1]

    Raises
    ------
    ValueError
        If flow or head is below 0, or the power not above 0.

    Examples
    --------
    >>> round(wire_to_water_efficiency(0.009464, 18.9, 2900.0), 3)
    0.605

    References
    ----------
    Definition.
    """
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.at_least(head, 0.0, "head", "m")
    checks.above(electric_power, 0.0, "electric_power", "W")
    checks.above(density, 0.0, "density", "kg/m^3")
    return 9.80665 * density * flow * head / electric_power


@worked("Energy used", expression="power * duration", reference=_SOURCE)
def energy_used(power: Power, duration: Duration) -> Energy:
    """Return the energy that a power takes in a time.

    Parameters
    ----------
    power : power. [W]
    duration : time. [s]

    Returns
    -------
    Energy. [J]

    Raises
    ------
    ValueError
        If power or time is below 0.

    Examples
    --------
    >>> round(energy_used(2200.0, 36000.0) / 3.6e6)  # kWh
    22

    References
    ----------
    Definition.
    """
    checks.at_least(power, 0.0, "power", "W")
    checks.at_least(duration, 0.0, "duration", "s")
    return power * duration


@worked("Cost of energy", expression="power * duration * price", reference=_SOURCE)
def energy_cost(power: Power, duration: Duration, price: Price) -> Cost:
    """Return what running a load costs, in the money of the price.

    Parameters
    ----------
    power : power. [W]
    duration : time. [s]
    price : money per energy. [1/J]

    Returns
    -------
    Money. [1]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(energy_cost(22371.0, 288000.0, 0.07 / 3.6e6), 1)  # 30 hp for 80 h at 0.07 a kWh
    125.3

    References
    ----------
    Definition.
    """
    checks.at_least(power, 0.0, "power", "W")
    checks.at_least(duration, 0.0, "duration", "s")
    checks.at_least(price, 0.0, "price", "1/J")
    return power * duration * price


@worked("Flow at another speed", expression="flow * new_speed / speed", reference=_AFFINITY)
def affinity_flow(flow: PumpFlow, speed: RunSpeed, new_speed: RunSpeed) -> Flow:
    """Return the flow of a centrifugal pump at another speed.

    Parameters
    ----------
    flow : flow at the first speed. [m^3/s]
    speed : first speed. [1/s]
    new_speed : other speed. [1/s]

    Returns
    -------
    Flow. [m^3/s]

    Raises
    ------
    ValueError
        If the first speed is not above 0 or the other below 0.

    Examples
    --------
    >>> round(affinity_flow(12200.0, 1694.0, 2100.0))
    15124

    References
    ----------
    Affinity laws.
    """
    checks.above(speed, 0.0, "speed", "1/s")
    checks.at_least(new_speed, 0.0, "new_speed", "1/s")
    return flow * new_speed / speed


@worked("Head at another speed", expression="head * (new_speed / speed)**2", reference=_AFFINITY)
def affinity_head(head: PumpHead, speed: RunSpeed, new_speed: RunSpeed) -> Head:
    """Return the head of a centrifugal pump at another speed.

    Parameters
    ----------
    head : head at the first speed. [m]
    speed : first speed. [1/s]
    new_speed : other speed. [1/s]

    Returns
    -------
    Head. [m]

    Raises
    ------
    ValueError
        If the first speed is not above 0 or the other below 0.

    Examples
    --------
    >>> round(affinity_head(5.0, 1694.0, 2100.0), 2)
    7.68

    References
    ----------
    Affinity laws.
    """
    checks.above(speed, 0.0, "speed", "1/s")
    checks.at_least(new_speed, 0.0, "new_speed", "1/s")
    return head * (new_speed / speed) ** 2


@worked("Power at another speed", expression="power * (new_speed / speed)**3", reference=_AFFINITY)
def affinity_power(power: Power, speed: RunSpeed, new_speed: RunSpeed) -> Power:
    """Return the power of a centrifugal pump at another speed.

    Parameters
    ----------
    power : power at the first speed. [W]
    speed : first speed. [1/s]
    new_speed : other speed. [1/s]

    Returns
    -------
    Power. [W]

    Raises
    ------
    ValueError
        If the first speed is not above 0 or the other below 0.

    Examples
    --------
    >>> round(affinity_power(9.25, 1694.0, 2100.0), 2)
    17.62

    References
    ----------
    Affinity laws.
    """
    checks.above(speed, 0.0, "speed", "1/s")
    checks.at_least(new_speed, 0.0, "new_speed", "1/s")
    return power * (new_speed / speed) ** 3


@worked("System head", expression="static_head + system_coefficient * flow**2", reference=_SOURCE)
def system_head(static_head: PumpHead, system_coefficient: HeadPerFlowSquared, flow: PumpFlow) -> Head:
    """Return the head that a system asks for at a flow.

    Parameters
    ----------
    static_head : height to be lifted, with any pressure at the end. [m]
    system_coefficient : friction head over the square of the flow. [s^2/m^5]
    flow : flow. [m^3/s]

    Returns
    -------
    Head. [m]

    Raises
    ------
    ValueError
        If the coefficient is below 0.

    Examples
    --------
    >>> round(system_head(15.0, 40000.0, 0.009464), 2)
    18.58

    References
    ----------
    Definition.
    """
    checks.at_least(system_coefficient, 0.0, "system_coefficient", "s^2/m^5")
    return static_head + system_coefficient * flow * flow


@worked("Coefficient of a curve through a point", expression="abs(head - zero_flow_head) / flow**2", reference=_SOURCE)
def curve_coefficient(zero_flow_head: PumpHead, head: PumpHead, flow: PumpFlow) -> HeadPerFlowSquared:
    """Return the coefficient of a parabola of head on flow: a pump's from shut-off head and rated point, a system's.

    Parameters
    ----------
    zero_flow_head : shut-off head of the pump, or static head of the system. [m]
    head : head at the flow. [m]
    flow : flow. [m^3/s]

    Returns
    -------
    Coefficient. [s^2/m^5]

    Raises
    ------
    ValueError
        If the flow is not above 0.

    Examples
    --------
    >>> round(curve_coefficient(25.0, 18.9, 0.009464), -1)
    68110.0

    References
    ----------
    Definition.
    """
    checks.above(flow, 0.0, "flow", "m^3/s")
    return abs(head - zero_flow_head) / (flow * flow)


@worked(
    "Flow where pump and system meet",
    expression="sqrt((shut_off_head - static_head) / (pump_coefficient + system_coefficient))",
    reference="crossing of two parabolas of head on flow",
)
def operating_flow(
    shut_off_head: Annotated[Head, Range(40.0, 80.0)],
    pump_coefficient: HeadPerFlowSquared,
    static_head: Annotated[Head, Range(1.0, 40.0)],
    system_coefficient: HeadPerFlowSquared,
) -> Flow:
    """Return the flow at which the head of the pump is the head that the system asks for.

    Parameters
    ----------
    shut_off_head : head of the pump without flow. [m]
    pump_coefficient : fall of its head over the square of the flow. [s^2/m^5]
    static_head : height to be lifted. [m]
    system_coefficient : friction head over the square of the flow. [s^2/m^5]

    Returns
    -------
    Flow. [m^3/s]

    Raises
    ------
    ValueError
        If the static head is above the shut-off head, a coefficient below 0, or both are 0.

    Examples
    --------
    >>> round(operating_flow(25.0, 68110.0, 15.0, 40000.0), 5)
    0.00962

    References
    ----------
    Crossing of two parabolas.
    """
    checks.at_least(pump_coefficient, 0.0, "pump_coefficient", "s^2/m^5")
    checks.at_least(system_coefficient, 0.0, "system_coefficient", "s^2/m^5")
    together = pump_coefficient + system_coefficient
    checks.above(together, 0.0, "pump_coefficient + system_coefficient", "s^2/m^5")
    checks.refuse(
        static_head > shut_off_head,
        static_head,
        "static_head must not be above shut_off_head",
        "This pump cannot lift the water that high.",
    )
    return checks.sqrt((shut_off_head - static_head) / together)


@worked(
    "Net positive suction head available",
    expression="atmospheric_head - vapour_head + static_suction_head - friction_loss - velocity_head",
    reference=_NPSH,
)
def npsh_available(
    atmospheric_head: Annotated[Head, Range(7.5, 10.4)],
    vapour_head: Annotated[Head, Range(0.06, 0.6)],
    static_suction_head: Annotated[Head, Range(-5.0, 5.0)],
    friction_loss: SuctionLoss,
    velocity_head: Annotated[Head, Range(0.0, 0.5)] = 0.0,
) -> Head:
    """Return the absolute head at the pump's inlet above boiling, from heads of water.

    Whether the velocity head is taken off depends on where the maker measures; by the usual definition it is not.

    Parameters
    ----------
    atmospheric_head : atmospheric pressure as height of water. [m]
    vapour_head : vapour pressure as height of water. [m]
    static_suction_head : height of the water above the pump; below 0 for a suction lift. [m]
    friction_loss : friction in the suction line and its fittings. [m]
    velocity_head : velocity head, where it is to be taken off. [m]

    Returns
    -------
    Net positive suction head available. [m]

    Raises
    ------
    ValueError
        If a head other than the static one is below 0.

    Examples
    --------
    >>> round(npsh_available(33.96, 0.78, -10.0, 3.2), 2)  # any one unit of length
    19.98

    References
    ----------
    Hydraulic Institute's definition, from memory.
    """
    checks.at_least(atmospheric_head, 0.0, "atmospheric_head", "m")
    checks.at_least(vapour_head, 0.0, "vapour_head", "m")
    checks.at_least(friction_loss, 0.0, "friction_loss", "m")
    checks.at_least(velocity_head, 0.0, "velocity_head", "m")
    return atmospheric_head - vapour_head + static_suction_head - friction_loss - velocity_head


@worked(
    "Net positive suction head of a suction lift",
    method="atmospheric and vapour pressure as heights of water, less lift and friction",
    reference=_NPSH,
)
def npsh_available_lift(
    suction_lift: Annotated[Head, Range(0.0, 6.0)],
    friction_loss: SuctionLoss,
    altitude: Altitude,
    temperature: WaterTemperature,
) -> Head:
    """Return the net positive suction head available to a pump that stands above its water.

    It must exceed what the pump requires with a margin: see `npsh_needed`.

    Parameters
    ----------
    suction_lift : height of the pump above the water. [m]
    friction_loss : friction in the suction line, foot valve and fittings. [m]
    altitude : height above sea level. [m]
    temperature : water temperature. [degC]

    Returns
    -------
    Net positive suction head available. [m]

    Raises
    ------
    ValueError
        If lift or friction is below 0, or altitude or temperature out of bounds.

    Examples
    --------
    >>> round(npsh_available_lift(3.048, 0.975, 0.0, 20.0), 2)
    6.09

    References
    ----------
    Hydraulic Institute's definition, from memory; standard atmosphere.
    """
    checks.at_least(suction_lift, 0.0, "suction_lift", "m", "For a pump below its water use npsh_available_flooded.")
    return _suction(altitude, temperature, -suction_lift, friction_loss)


@worked(
    "Net positive suction head of a flooded suction",
    method="atmospheric and vapour pressure as heights of water, with the water above the pump, less friction",
    reference=_NPSH,
)
def npsh_available_flooded(
    flooded_depth: Annotated[Head, Range(0.0, 6.0)],
    friction_loss: SuctionLoss,
    altitude: Altitude,
    temperature: WaterTemperature,
) -> Head:
    """Return the net positive suction head available to a pump that stands below its water.

    Parameters
    ----------
    flooded_depth : height of the water above the pump. [m]
    friction_loss : friction in the suction line and fittings. [m]
    altitude : height above sea level. [m]
    temperature : water temperature. [degC]

    Returns
    -------
    Net positive suction head available. [m]

    Raises
    ------
    ValueError
        If depth or friction is below 0, or altitude or temperature out of bounds.

    Examples
    --------
    >>> round(npsh_available_flooded(3.048, 0.975, 0.0, 20.0), 2)
    12.18

    References
    ----------
    Hydraulic Institute's definition, from memory; standard atmosphere.
    """
    checks.at_least(flooded_depth, 0.0, "flooded_depth", "m", "For a pump above its water use npsh_available_lift.")
    return _suction(altitude, temperature, flooded_depth, friction_loss)


def _suction(altitude: Any, temperature: Any, static_suction_head: Any, friction_loss: Any) -> Any:
    density = water_density(temperature)
    air = head_from_pressure(atmospheric_pressure(altitude), density)
    vapour = head_from_pressure(vapour_pressure(temperature), density)
    return npsh_available(air, vapour, static_suction_head, friction_loss)


@worked(
    "Suction head with its margin",
    expression="npsh_required + max(least_margin, 0.2 * npsh_required)",
    reference="rule of the trade, from memory",
)
def npsh_needed(
    npsh_required: Annotated[Head, Range(0.5, 8.0)], least_margin: Annotated[Head, Range(0.3, 1.0)] = 0.6
) -> Head:
    """Return the suction head that should be available: what the pump requires and a fifth more, or a least margin.

    Parameters
    ----------
    npsh_required : net positive suction head required, from the pump's curve. [m]
    least_margin : least margin on it. [m]

    Returns
    -------
    Net positive suction head that should be available. [m]

    Raises
    ------
    ValueError
        If a head is below 0.

    Examples
    --------
    >>> npsh_needed(2.0)
    2.6

    References
    ----------
    From memory.
    """
    checks.at_least(npsh_required, 0.0, "npsh_required", "m")
    checks.at_least(least_margin, 0.0, "least_margin", "m")
    return npsh_required + checks.most(least_margin, 0.2 * npsh_required)


@worked(
    "Highest place for a pump",
    method="atmospheric head less vapour head, friction of the suction line and the head the pump requires",
    reference=_NPSH,
)
def highest_suction_lift(
    npsh_required: Annotated[Head, Range(0.5, 4.0)],
    velocity: Annotated[Velocity, Range(0.3, 2.0)],
    loss_coefficient: Annotated[Ratio, Range(1.0, 20.0)],
    atmospheric_pressure: Annotated[Pressure, Range(8e4, 1.02e5)],
    vapour_pressure: Annotated[Pressure, Range(600.0, 5000.0)],
    density: WaterDensity = 1000.0,
) -> Head:
    """Return the height above its water at which a pump has just the suction head it requires, without margin.

    Parameters
    ----------
    npsh_required : net positive suction head required. [m]
    velocity : velocity in the suction line. [m/s]
    loss_coefficient : velocity heads lost in the suction line in all. [1]
    atmospheric_pressure : atmospheric pressure, absolute. [Pa]
    vapour_pressure : vapour pressure of the water, absolute. [Pa]
    density : density of the water. [kg/m^3]

    Returns
    -------
    Height; below 0 the pump must stand below the water. [m]

    Raises
    ------
    ValueError
        If an input is below 0 or the density not above 0.

    Examples
    --------
    >>> round(highest_suction_lift(4.572, 1.746, 20.0, 101353.0, 3495.0, 996.7), 2)
    2.33

    References
    ----------
    Hydraulic Institute's definition, from memory.
    """
    checks.at_least(npsh_required, 0.0, "npsh_required", "m")
    friction = minor_head_loss(loss_coefficient, velocity)
    air = head_from_pressure(atmospheric_pressure, density)
    vapour = head_from_pressure(vapour_pressure, density)
    return lift_left(air, vapour, friction, npsh_required)


@worked(
    "Lift that is left",
    expression="atmospheric_head - vapour_head - friction_loss - npsh_required",
    reference=_NPSH,
)
def lift_left(
    atmospheric_head: Annotated[Head, Range(7.5, 10.4)],
    vapour_head: Annotated[Head, Range(0.06, 0.6)],
    friction_loss: SuctionLoss,
    npsh_required: Annotated[Head, Range(0.5, 4.0)],
) -> Head:
    """Return the suction lift that atmospheric pressure still allows.

    Parameters
    ----------
    atmospheric_head : atmospheric pressure as height of water. [m]
    vapour_head : vapour pressure as height of water. [m]
    friction_loss : friction in the suction line and its fittings. [m]
    npsh_required : net positive suction head required. [m]

    Returns
    -------
    Lift. [m]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(lift_left(10.3, 0.24, 0.5, 3.0), 2)
    6.56

    References
    ----------
    Hydraulic Institute's definition, from memory.
    """
    checks.at_least(atmospheric_head, 0.0, "atmospheric_head", "m")
    checks.at_least(vapour_head, 0.0, "vapour_head", "m")
    checks.at_least(friction_loss, 0.0, "friction_loss", "m")
    checks.at_least(npsh_required, 0.0, "npsh_required", "m")
    return atmospheric_head - vapour_head - friction_loss - npsh_required


@worked(
    "Priming time",
    expression="volume / air_rate * ln(atmospheric_pressure / (atmospheric_pressure - 9.80665 * density * lift))",
    reference="air expanding at constant temperature in a dry line; from memory",
)
def priming_time(
    volume: Annotated[Volume, Range(0.005, 0.5)],
    air_rate: Annotated[FeedRate, Range(1e-4, 1e-2)],
    lift: Annotated[Head, Range(0.5, 6.0)],
    atmospheric_pressure: Annotated[Pressure, Range(7.5e4, 1.02e5)] = 101325.0,
    density: WaterDensity = 1000.0,
) -> Duration:
    """Return how long a primer takes to draw the air from a dry, tight suction line; allow 1.5 to 2 times as long.

    Parameters
    ----------
    volume : volume of the dry line. [m^3]
    air_rate : air the primer moves at atmospheric pressure. [m^3/s]
    lift : height of the pump above the water. [m]
    atmospheric_pressure : atmospheric pressure, absolute. [Pa]
    density : density of the water. [kg/m^3]

    Returns
    -------
    Time. [s]

    Raises
    ------
    ValueError
        If an input is below 0, the air rate not above 0, or the lift more than the atmosphere can hold up.

    Examples
    --------
    >>> round(priming_time(0.05, 0.0005, 4.0))
    49

    References
    ----------
    From memory.
    """
    checks.at_least(volume, 0.0, "volume", "m^3")
    checks.above(air_rate, 0.0, "air_rate", "m^3/s")
    checks.at_least(lift, 0.0, "lift", "m")
    left = atmospheric_pressure - 9.80665 * density * lift
    checks.refuse(left <= 0, lift, "lift must be below what the atmosphere holds up", "No pump can suck that high.")
    return volume / air_rate * checks.ln(atmospheric_pressure / left)

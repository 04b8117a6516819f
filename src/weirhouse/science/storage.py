"""How much water is there, how much is needed, and how long does it last?"""

from collections.abc import Sequence
from typing import Annotated, Any

import numpy as np

from weirhouse.science import checks
from weirhouse.science.quantities import (
    Area,
    Density,
    Duration,
    Flow,
    Fraction,
    Head,
    Length,
    Number,
    Pressure,
    Ratio,
    Several,
    Volume,
)
from weirhouse.working import Range, note, worked

Elevation = Annotated[Length, Range(300.0, 500.0)]
People = Annotated[Number, Range(25.0, 10000.0)]
Level = Annotated[Length, Range(0.5, 10.0)]
DayVolume = Annotated[Volume, Range(50.0, 5000.0)]
_SOURCE = "definition; common practice, no source"
_HYDROSTATICS = "hydrostatics; 2.31 ft per psi"
_PEAK = "G. M. Fair, J. C. Geyer, D. A. Okun, Water and Wastewater Engineering, p. 134"
_STATE_MANUAL = "Washington State Department of Health, Water System Design Manual (2009), p. 61; table from memory"


@worked("Time that storage lasts", expression="max(0, volume - reserve_volume) / demand", reference=_SOURCE)
def time_of_supply(volume: DayVolume, reserve_volume: Annotated[Volume, Range(0.0, 500.0)], demand: Flow) -> Duration:
    """Return how long the water above a reserve lasts while nothing comes in: how long the plant may stand still.

    Parameters
    ----------
    volume : water in storage. [m^3]
    reserve_volume : water that must stay: fire storage and what holds the pressure. [m^3]
    demand : flow drawn. [m^3/s]

    Returns
    -------
    Time; 0 when the reserve is reached. [s]

    Raises
    ------
    ValueError
        If a volume is below 0 or the demand not above 0.

    Examples
    --------
    >>> round(time_of_supply(400.0, 150.0, 0.0040) / 3600, 1)  # hours
    17.4

    References
    ----------
    Definition.
    """
    checks.at_least(volume, 0.0, "volume", "m^3")
    checks.at_least(reserve_volume, 0.0, "reserve_volume", "m^3")
    checks.above(demand, 0.0, "demand", "m^3/s", "Give the demand of a usual hour; nothing drawn lasts for ever.")
    return checks.most(0.0, volume - reserve_volume) / demand


@worked(
    "Level that holds the pressure",
    expression="max(0, pressure / (9.80665 * density) + highest_service + head_loss - base_elevation)",
    reference=_HYDROSTATICS,
)
def level_for_pressure(
    highest_service: Elevation,
    base_elevation: Annotated[Length, Range(300.0, 520.0)],
    pressure: Annotated[Pressure, Range(1e5, 3e5)] = 137895.146,
    head_loss: Annotated[Head, Range(0.0, 10.0)] = 0.0,
    density: Annotated[Density, Range(990.0, 1000.0)] = 999.1,
) -> Head:
    """Return the level in a tank at which the highest customer has a pressure, 20 psi unless another is given.

    Parameters
    ----------
    highest_service : ground level of the highest customer. [m]
    base_elevation : level of the tank's floor. [m]
    pressure : pressure wanted there. [Pa]
    head_loss : friction on the way at the flow considered. [m]
    density : density of the water, at 15 degC unless given. [kg/m^3]

    Returns
    -------
    Depth of water in the tank; 0 where the floor stands high enough. [m]

    Raises
    ------
    ValueError
        If pressure or head loss is below 0, or the density not above 0.

    Examples
    --------
    >>> round(level_for_pressure(highest_service=420.0, base_elevation=430.0), 2)
    4.07

    References
    ----------
    Hydrostatics. 20 psi at all points is the usual least pressure of State rules (common practice, no source).
    """
    checks.at_least(pressure, 0.0, "pressure", "Pa")
    checks.at_least(head_loss, 0.0, "head_loss", "m")
    checks.above(density, 0.0, "density", "kg/m^3")
    return checks.most(0.0, pressure / (9.80665 * density) + highest_service + head_loss - base_elevation)


@worked(
    "Pressure at a customer",
    expression="9.80665 * density * (base_elevation + level - head_loss - service_elevation)",
    reference=_HYDROSTATICS,
)
def service_pressure(
    level: Level,
    base_elevation: Elevation,
    service_elevation: Elevation,
    head_loss: Annotated[Head, Range(0.0, 10.0)] = 0.0,
    density: Annotated[Density, Range(990.0, 1000.0)] = 999.1,
) -> Pressure:
    """Return the gauge pressure that a tank gives at a customer; below 0 the main sucks.

    Parameters
    ----------
    level : depth of water in the tank. [m]
    base_elevation : level of the tank's floor. [m]
    service_elevation : ground level of the customer. [m]
    head_loss : friction on the way at the flow considered. [m]
    density : density of the water, at 15 degC unless given. [kg/m^3]

    Returns
    -------
    Gauge pressure. [Pa]

    Raises
    ------
    ValueError
        If level or head loss is below 0, or the density not above 0.

    Examples
    --------
    >>> round(service_pressure(5.0, 430.0, 420.0) / 6894.757, 1)  # psi
    21.3

    References
    ----------
    Hydrostatics.
    """
    checks.at_least(level, 0.0, "level", "m")
    checks.at_least(head_loss, 0.0, "head_loss", "m")
    checks.above(density, 0.0, "density", "kg/m^3")
    return 9.80665 * density * (base_elevation + level - head_loss - service_elevation)


@worked("Level of the reserve", expression="pressure_level + fire_volume / area", reference=_SOURCE)
def reserve_level(
    pressure_level: Annotated[Head, Range(0.0, 5.0)],
    fire_volume: Annotated[Volume, Range(0.0, 500.0)],
    area: Annotated[Area, Range(20.0, 300.0)],
) -> Head:
    """Return the level below which a tank is never planned: fire storage on top of what holds the pressure.

    Parameters
    ----------
    pressure_level : level that holds the pressure. [m]
    fire_volume : water kept for fires. [m^3]
    area : plan area of the tank. [m^2]

    Returns
    -------
    Level. [m]

    Raises
    ------
    ValueError
        If level or volume is below 0 or the area not above 0.

    Examples
    --------
    >>> round(reserve_level(0.0, 113.56, 65.67), 2)
    1.73

    References
    ----------
    Definition.
    """
    checks.at_least(pressure_level, 0.0, "pressure_level", "m")
    checks.at_least(fire_volume, 0.0, "fire_volume", "m^3")
    checks.above(area, 0.0, "area", "m^2")
    return pressure_level + fire_volume / area


@worked("Fire storage", expression="fire_flow * duration", reference=_SOURCE)
def fire_storage(
    fire_flow: Annotated[Flow, Range(0.01, 0.1)], duration: Annotated[Duration, Range(3600.0, 14400.0)]
) -> Volume:
    """Return the water that a fire flow takes; the local fire authority sets flow and time.

    Parameters
    ----------
    fire_flow : flow the authority asks for. [m^3/s]
    duration : time it asks for. [s]

    Returns
    -------
    Volume. [m^3]

    Raises
    ------
    ValueError
        If flow or time is below 0.

    Examples
    --------
    >>> round(fire_storage(0.031545, 7200.0))  # 500 gpm for 2 h
    227

    References
    ----------
    Definition.
    """
    checks.at_least(fire_flow, 0.0, "fire_flow", "m^3/s")
    checks.at_least(duration, 0.0, "duration", "s")
    return fire_flow * duration


@worked("Balancing storage", expression="max(0, demand_volume - supply * period)", reference=_SOURCE)
def balancing_storage(
    demand_volume: DayVolume,
    supply: Annotated[Flow, Range(0.0005, 0.01)],
    period: Annotated[Duration, Range(3600.0, 86400.0)],
) -> Volume:
    """Return the storage that covers what a period draws beyond what is supplied in it.

    Parameters
    ----------
    demand_volume : water drawn in the period. [m^3]
    supply : flow supplied meanwhile. [m^3/s]
    period : length of the period. [s]

    Returns
    -------
    Volume; 0 when the supply suffices. [m^3]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(balancing_storage(11356.0, 0.14721, 57600.0))
    2877

    References
    ----------
    Definition.
    """
    checks.at_least(demand_volume, 0.0, "demand_volume", "m^3")
    checks.at_least(supply, 0.0, "supply", "m^3/s")
    checks.at_least(period, 0.0, "period", "s")
    return checks.most(0.0, demand_volume - supply * period)


@worked("Storage with a reserve", expression="volume * (1 + reserve)", reference=_SOURCE)
def storage_with_reserve(volume: DayVolume, reserve: Annotated[Fraction, Range(0.0, 1.0)]) -> Volume:
    """Return a storage enlarged by a reserve.

    Parameters
    ----------
    volume : storage needed. [m^3]
    reserve : share added. [1]

    Returns
    -------
    Volume. [m^3]

    Raises
    ------
    ValueError
        If volume or reserve is below 0.

    Examples
    --------
    >>> round(storage_with_reserve(760.0, 0.33))
    1011

    References
    ----------
    Definition.
    """
    checks.at_least(volume, 0.0, "volume", "m^3")
    checks.at_least(reserve, 0.0, "reserve")
    return volume * (1 + reserve)


@worked("Peak factor", expression="min(9, 7 / (population / 1000)**0.167)", reference=_PEAK)
def peak_factor(population: People) -> Ratio:
    """Return how many times the average flow the greatest momentary demand of a community is.

    Parameters
    ----------
    population : people served. [1]

    Returns
    -------
    Peak flow over average flow; 9 below some 220 people. [1]

    Raises
    ------
    ValueError
        If the population is not above 0.

    Examples
    --------
    >>> round(peak_factor(1010.0), 2)
    6.99

    References
    ----------
    Fair, Geyer and Okun, p. 134.
    """
    checks.above(population, 0.0, "population")
    return checks.least(9.0, 7 / (population / 1000) ** 0.167)


@worked("Peak flow", expression="average_flow * min(9, 7 / (population / 1000)**0.167)", reference=_PEAK)
def peak_flow(average_flow: Flow, population: People) -> Flow:
    """Return the greatest momentary demand of a community.

    Parameters
    ----------
    average_flow : average demand. [m^3/s]
    population : people served. [1]

    Returns
    -------
    Peak flow. [m^3/s]

    Raises
    ------
    ValueError
        If the flow is below 0 or the population not above 0.

    Examples
    --------
    >>> round(peak_flow(0.004, 1010.0), 4)
    0.028

    References
    ----------
    Fair, Geyer and Okun, p. 134.
    """
    checks.at_least(average_flow, 0.0, "average_flow", "m^3/s")
    checks.above(population, 0.0, "population")
    return average_flow * checks.least(9.0, 7 / (population / 1000) ** 0.167)


@worked(
    "Peak hour demand from its coefficients",
    expression="max_day_per_connection * (coefficient * connections + surplus) + 0.0011356",
    reference=_STATE_MANUAL,
)
def peak_hour_from_coefficients(
    max_day_per_connection: Annotated[Flow, Range(5e-6, 5e-5)],
    connections: Annotated[Number, Range(15.0, 3000.0)],
    coefficient: Annotated[Ratio, Range(1.6, 3.0)],
    surplus: Annotated[Number, Range(0.0, 225.0)],
) -> Flow:
    """Return the peak hour demand by the design manual's line, PHD = (MDD / 1440)(C N + F) + 18 gpm.

    Parameters
    ----------
    max_day_per_connection : demand of one connection on the greatest day. [m^3/s]
    connections : number of connections, N. [1]
    coefficient : C of the manual's table. [1]
    surplus : F of the manual's table. [1]

    Returns
    -------
    Peak hour demand. [m^3/s]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(peak_hour_from_coefficients(1.5e-5, 420.0, 1.8, 125.0), 5)
    0.01435

    References
    ----------
    Washington State Department of Health 2009; 18 gpm is 0.0011356 m3/s.
    """
    checks.at_least(max_day_per_connection, 0.0, "max_day_per_connection", "m^3/s")
    checks.at_least(connections, 0.0, "connections")
    checks.at_least(coefficient, 0.0, "coefficient")
    checks.at_least(surplus, 0.0, "surplus")
    return max_day_per_connection * (coefficient * connections + surplus) + 0.0011356


# (connections up to, C, F): from memory of the manual's table 5-1
_PEAK_HOUR = ((50.0, 3.0, 0.0), (100.0, 2.5, 25.0), (250.0, 2.0, 75.0), (500.0, 1.8, 125.0), (np.inf, 1.6, 225.0))


@worked(
    "Peak hour demand", method="coefficients by number of connections, then the manual's line", reference=_STATE_MANUAL
)
def peak_hour_demand(
    max_day_per_connection: Annotated[Flow, Range(5e-6, 5e-5)], connections: Annotated[Number, Range(15.0, 3000.0)]
) -> Flow:
    """Return the peak hour demand of a community from its number of connections.

    Parameters
    ----------
    max_day_per_connection : demand of one connection on the greatest day. [m^3/s]
    connections : number of connections, 15 or more. [1]

    Returns
    -------
    Peak hour demand. [m^3/s]

    Raises
    ------
    ValueError
        If the demand is below 0 or there are fewer than 15 connections.

    Examples
    --------
    >>> round(peak_hour_demand(1.5e-5, 420.0) * 15850.3)  # gpm
    227

    References
    ----------
    Washington State Department of Health 2009; table from memory.
    """
    checks.at_least(connections, 15.0, "connections", hint="The manual's table begins there.")
    coefficient: Any = _PEAK_HOUR[-1][1]
    surplus: Any = _PEAK_HOUR[-1][2]
    for most, c, f in reversed(_PEAK_HOUR[:-1]):
        coefficient = checks.choose(connections <= most, c, coefficient)
        surplus = checks.choose(connections <= most, f, surplus)
    note("C and F by number of connections are from memory of the manual's table; compare them with print")
    return peak_hour_from_coefficients(max_day_per_connection, connections, coefficient, surplus)


@worked("Equalising storage", expression="max(0, peak_hour_demand - supply) * duration", reference=_STATE_MANUAL)
def equalising_storage(
    peak_hour_demand: Flow,
    supply: Annotated[Flow, Range(0.0005, 0.1)],
    duration: Annotated[Duration, Range(3600.0, 14400.0)] = 9000.0,
) -> Volume:
    """Return the storage that covers the peak hour beyond the supply, (PHD - supply) x 150 minutes.

    Parameters
    ----------
    peak_hour_demand : demand of the peak hour. [m^3/s]
    supply : flow of all sources. [m^3/s]
    duration : time the peak is taken to last. [s]

    Returns
    -------
    Volume; 0 when the supply suffices. [m^3]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(equalising_storage(0.01435, 0.00946), 1)
    44.0

    References
    ----------
    Washington State Department of Health 2009.
    """
    checks.at_least(peak_hour_demand, 0.0, "peak_hour_demand", "m^3/s")
    checks.at_least(supply, 0.0, "supply", "m^3/s")
    checks.at_least(duration, 0.0, "duration", "s")
    return checks.most(0.0, peak_hour_demand - supply) * duration


@worked(
    "Storage to pump at a constant rate",
    method="greatest less least of the running sum of demand less its mean, over the day's demand",
    reference="mass curve (Rippl 1883)",
)
def equalising_fraction(
    demands: Annotated[Sequence[float], Several("m^3/s", us="gpm", si="L/s", low=0.001, high=0.02)],
) -> Fraction:
    """Return the share of a day's demand that must be stored if the supply is constant all day.

    Parameters
    ----------
    demands : demand of each equal part of the day, 24 hours or any other number of parts. [m^3/s]

    Returns
    -------
    Share of the day's demand. [1]

    Raises
    ------
    ValueError
        If there are fewer than two parts, one is below 0, or nothing is drawn.

    Examples
    --------
    >>> equalising_fraction([1.0, 3.0])
    0.25

    References
    ----------
    Mass curve, W. Rippl, Minutes of Proceedings of the Institution of Civil Engineers 71 (1883) 270.
    """
    drawn = np.asarray(demands, dtype=float)
    if drawn.ndim != 1 or drawn.size < 2:
        raise ValueError(f"demands must be two or more; there are {drawn.size}. Give the demand of each hour.")
    checks.require(drawn >= 0, drawn, "demands must not be below 0 m^3/s")
    total = float(drawn.sum())
    checks.above(total, 0.0, "the sum of demands", "m^3/s")
    short = np.concatenate([[0.0], np.cumsum(drawn - total / drawn.size)])
    return float(short.max() - short.min()) / total


@worked("Water not accounted for", expression="produced - sold - other_use", reference=_SOURCE)
def non_revenue_water(produced: Flow, sold: Flow, other_use: Annotated[Flow, Range(0.0, 0.05)] = 0.0) -> Flow:
    """Return the water that was made but neither sold nor used for a known purpose.

    Parameters
    ----------
    produced : water made or pumped. [m^3/s]
    sold : water metered at customers. [m^3/s]
    other_use : known use that is not sold: flushing, fires, the plant itself. [m^3/s]

    Returns
    -------
    Water not accounted for; below 0 the meters disagree. [m^3/s]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(non_revenue_water(2.51, 2.25, 0.05), 2)
    0.21

    References
    ----------
    Definition.
    """
    checks.at_least(produced, 0.0, "produced", "m^3/s")
    checks.at_least(sold, 0.0, "sold", "m^3/s")
    checks.at_least(other_use, 0.0, "other_use", "m^3/s")
    return produced - sold - other_use


@worked("Demand of a person", expression="demand / population", reference=_SOURCE)
def demand_per_person(demand: Flow, population: People) -> Annotated[Flow, Range(1e-6, 1e-5)]:
    """Return the demand of one person.

    Parameters
    ----------
    demand : average demand. [m^3/s]
    population : people served. [1]

    Returns
    -------
    Demand of one person. [m^3/s]

    Raises
    ------
    ValueError
        If the population is not above 0.

    Examples
    --------
    >>> round(demand_per_person(0.0040, 1010.0) * 86400 * 1000)  # litres a day
    342

    References
    ----------
    Definition.
    """
    checks.above(population, 0.0, "population")
    return demand / population

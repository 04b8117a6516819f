"""How is a filter washed: at what rate in this water, with how much water, and what goes to the sewer?"""

from typing import Annotated

from weirhouse.science import checks
from weirhouse.science.quantities import (
    Area,
    Concentration,
    Density,
    Duration,
    FilterRate,
    Flow,
    Fraction,
    GrainDensity,
    GrainSize,
    Length,
    Mass,
    MassRate,
    Number,
    Ratio,
    Viscosity,
    Volume,
    VolumePerArea,
)
from weirhouse.working import Range, worked

WashFlow = Annotated[Flow, Range(0.005, 0.5)]
WashRate = Annotated[FilterRate, Range(0.004, 0.016)]
WashTime = Annotated[Duration, Range(180.0, 1800.0)]
FilterArea = Annotated[Area, Range(0.5, 60.0)]
WashVolume = Annotated[Volume, Range(1.0, 400.0)]
WaterDensity = Annotated[Density, Range(992.0, 1000.0)]
_SOURCE = "definition; common practice, no source"
_SPELLMAN = "F. R. Spellman, The Science of Water, 2nd ed. (CRC Press, 2008), p. 371-376"
_NO_AREA = "Give the area of the sand, not of the box with its gullet."


@worked("Backwash rate", expression="flow / area", reference=_SOURCE)
def backwash_rate(flow: WashFlow, area: FilterArea) -> WashRate:
    """Return the rate at which wash water rises: its flow for each unit of the filter's area.

    Parameters
    ----------
    flow : flow of wash water. [m^3/s]
    area : area of the filter. [m^2]

    Returns
    -------
    Backwash rate. [m/s]

    Raises
    ------
    ValueError
        If the flow is below 0 or the area not above 0.

    Examples
    --------
    >>> round(backwash_rate(0.03312, 3.2516) * 3600, 2)  # 525 gpm on 35 ft2, in m/h
    36.67

    References
    ----------
    Definition.
    """
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.above(area, 0.0, "area", "m^2", _NO_AREA)
    return flow / area


@worked("Backwash rate from the rise of the water", expression="rise / duration", reference=_SOURCE)
def backwash_rate_from_rise(
    rise: Annotated[Length, Range(0.05, 0.6)], duration: Annotated[Duration, Range(10.0, 120.0)]
) -> WashRate:
    """Return the backwash rate from how fast the water rises in the box, below the troughs.

    Parameters
    ----------
    rise : rise of the level. [m]
    duration : time that it took. [s]

    Returns
    -------
    Backwash rate. [m/s]

    Raises
    ------
    ValueError
        If the rise is below 0 or the time not above 0.

    Examples
    --------
    >>> round(backwash_rate_from_rise(0.1524, 30.0) * 3600, 1)  # 6 in in 30 s, in m/h
    18.3

    References
    ----------
    Definition.
    """
    checks.at_least(rise, 0.0, "rise", "m")
    checks.above(duration, 0.0, "duration", "s")
    return rise / duration


@worked("Wash flow from the rise of the water", expression="area * rise / duration", reference=_SOURCE)
def backwash_flow_from_rise(
    area: FilterArea, rise: Annotated[Length, Range(0.05, 0.6)], duration: Annotated[Duration, Range(10.0, 120.0)]
) -> WashFlow:
    """Return the flow of wash water from how fast it rises in the box, below the troughs.

    Parameters
    ----------
    area : area of the filter box. [m^2]
    rise : rise of the level. [m]
    duration : time that it took. [s]

    Returns
    -------
    Flow of wash water. [m^3/s]

    Raises
    ------
    ValueError
        If the rise is below 0, or area or time not above 0.

    Examples
    --------
    >>> round(backwash_flow_from_rise(69.677, 0.1524, 30.0), 4)  # 30 ft x 25 ft, 6 in in 30 s
    0.354

    References
    ----------
    Definition.
    """
    checks.above(area, 0.0, "area", "m^2", _NO_AREA)
    checks.at_least(rise, 0.0, "rise", "m")
    checks.above(duration, 0.0, "duration", "s")
    return area * rise / duration


@worked("Wash flow", expression="backwash_rate * area", reference=_SOURCE)
def backwash_flow(backwash_rate: WashRate, area: FilterArea) -> WashFlow:
    """Return the flow of wash water that a filter takes at a rate: also the peak flow it sends to the sewer.

    Parameters
    ----------
    backwash_rate : backwash rate. [m/s]
    area : area of the filter. [m^2]

    Returns
    -------
    Flow of wash water. [m^3/s]

    Raises
    ------
    ValueError
        If the rate is below 0 or the area not above 0.

    Examples
    --------
    >>> round(backwash_flow(36.67 / 3600, 3.2516) * 1000, 1)  # L/s
    33.1

    References
    ----------
    Definition.
    """
    checks.at_least(backwash_rate, 0.0, "backwash_rate", "m/s")
    checks.above(area, 0.0, "area", "m^2", _NO_AREA)
    return backwash_rate * area


@worked("Water for a backwash", expression="backwash_rate * duration * area", reference=_SPELLMAN)
def backwash_volume(backwash_rate: WashRate, duration: WashTime, area: FilterArea) -> WashVolume:
    """Return the finished water that a backwash takes.

    Parameters
    ----------
    backwash_rate : backwash rate. [m/s]
    duration : time at that rate. [s]
    area : area of the filter. [m^2]

    Returns
    -------
    Volume. [m^3]

    Raises
    ------
    ValueError
        If rate or time is below 0 or the area not above 0.

    Examples
    --------
    >>> round(backwash_volume(36.671 / 3600, 600.0, 55.742), 1)  # 15 gpm/ft2 for 10 min on 30 ft x 20 ft
    340.7

    References
    ----------
    Spellman 2008.
    """
    checks.at_least(backwash_rate, 0.0, "backwash_rate", "m/s")
    checks.at_least(duration, 0.0, "duration", "s")
    checks.above(area, 0.0, "area", "m^2", _NO_AREA)
    return backwash_rate * duration * area


@worked("Unit backwash volume", expression="backwash_rate * duration", reference=_SOURCE)
def unit_backwash_volume(backwash_rate: WashRate, duration: WashTime) -> Annotated[VolumePerArea, Range(0.5, 20.0)]:
    """Return the water that a backwash takes for each unit of the filter's area.

    Parameters
    ----------
    backwash_rate : backwash rate. [m/s]
    duration : time at that rate. [s]

    Returns
    -------
    Volume for each area. [m]

    Raises
    ------
    ValueError
        If rate or time is below 0.

    Examples
    --------
    >>> round(unit_backwash_volume(36.671 / 3600, 420.0), 3)  # 7 min at 15 gpm/ft2
    4.278

    References
    ----------
    Definition.
    """
    checks.at_least(backwash_rate, 0.0, "backwash_rate", "m/s")
    checks.at_least(duration, 0.0, "duration", "s")
    return backwash_rate * duration


@worked("Time that wash water lasts", expression="volume / flow", reference=_SOURCE)
def backwash_duration(volume: WashVolume, flow: WashFlow) -> WashTime:
    """Return how long a volume of wash water lasts at a flow.

    Parameters
    ----------
    volume : water for the wash. [m^3]
    flow : flow of wash water. [m^3/s]

    Returns
    -------
    Time. [s]

    Raises
    ------
    ValueError
        If the volume is below 0 or the flow not above 0.

    Examples
    --------
    >>> round(backwash_duration(17.9, 0.0331) / 60, 1)  # min
    9.0

    References
    ----------
    Definition.
    """
    checks.at_least(volume, 0.0, "volume", "m^3")
    checks.above(flow, 0.0, "flow", "m^3/s")
    return volume / flow


@worked("Share of the water used for backwash", expression="backwash_volume / filtered_volume", reference=_SPELLMAN)
def backwash_share(backwash_volume: WashVolume, filtered_volume: Annotated[Volume, Range(100.0, 50000.0)]) -> Fraction:
    """Return the share of the filtered water that goes back for washing.

    Parameters
    ----------
    backwash_volume : finished water used for washing. [m^3]
    filtered_volume : water filtered over the same time. [m^3]

    Returns
    -------
    Share of the water filtered. [1]

    Raises
    ------
    ValueError
        If the wash water is below 0 or the filtered water not above 0.

    Examples
    --------
    >>> round(backwash_share(48500.0, 11400000.0), 5)  # both in gallons
    0.00425

    References
    ----------
    Spellman 2008.
    """
    checks.at_least(backwash_volume, 0.0, "backwash_volume", "m^3")
    checks.above(filtered_volume, 0.0, "filtered_volume", "m^3")
    return backwash_volume / filtered_volume


@worked("Ratio of backwash rate to filtration rate", expression="backwash_rate / filtration_rate", reference=_SOURCE)
def backwash_to_filtration_ratio(backwash_rate: WashRate, filtration_rate: FilterRate) -> Ratio:
    """Return how many times faster the wash rises than the water filters down.

    Parameters
    ----------
    backwash_rate : backwash rate. [m/s]
    filtration_rate : filtration rate. [m/s]

    Returns
    -------
    Ratio. [1]

    Raises
    ------
    ValueError
        If the backwash rate is below 0 or the filtration rate not above 0.

    Examples
    --------
    >>> backwash_to_filtration_ratio(0.0102, 0.0017)
    6.0

    References
    ----------
    Definition.
    """
    checks.at_least(backwash_rate, 0.0, "backwash_rate", "m/s")
    checks.above(filtration_rate, 0.0, "filtration_rate", "m/s")
    return backwash_rate / filtration_rate


@worked(
    "Backwash rate above the rate that lifts the media",
    expression="factor * minimum_rate",
    reference="D. W. Hendricks, Fundamentals of Water Treatment Unit Processes (CRC Press, 2011), p. 368: 1.3 at d90",
)
def backwash_rate_above_minimum(
    minimum_rate: WashRate, factor: Annotated[Ratio, Range(1.0, 1.5)] = 1.3
) -> Annotated[FilterRate, Range(0.003, 0.03)]:
    """Return the backwash rate that keeps the coarse end of a layer moving.

    Parameters
    ----------
    minimum_rate : rate at which the grains of the coarse end, d90, begin to lift. [m/s]
    factor : how far above it, 1.3 usually. [1]

    Returns
    -------
    Backwash rate. [m/s]

    Raises
    ------
    ValueError
        If the rate is below 0 or the factor not above 0.

    Examples
    --------
    >>> round(backwash_rate_above_minimum(24.3 / 3600) * 3600, 1)
    31.6

    References
    ----------
    Hendricks 2011.
    """
    checks.at_least(minimum_rate, 0.0, "minimum_rate", "m/s")
    checks.above(factor, 0.0, "factor")
    return factor * minimum_rate


@worked(
    "Backwash rate carried over to another temperature",
    expression="backwash_rate * sqrt(reference_viscosity / viscosity)",
    reference="quick rule: the rate for an expansion goes with viscosity to the power -0.5; common practice, no source",
)
def backwash_rate_at_viscosity(
    backwash_rate: WashRate, reference_viscosity: Viscosity, viscosity: Viscosity
) -> WashRate:
    """Return about the rate that expands the media in other water as a known rate does in known water.

    Parameters
    ----------
    backwash_rate : rate known to expand the media well. [m/s]
    reference_viscosity : dynamic viscosity of the water it was found in. [Pa*s]
    viscosity : dynamic viscosity of the water now. [Pa*s]

    Returns
    -------
    Backwash rate. [m/s]

    Raises
    ------
    ValueError
        If the rate is below 0 or a viscosity not above 0.

    Examples
    --------
    >>> round(backwash_rate_at_viscosity(36.7 / 3600, 1.002e-3, 1.519e-3) * 3600, 1)  # from 20 to 5 degC
    29.8

    References
    ----------
    Common practice, no source; `backwash_rate_for_expansion` solves it for the media.
    """
    checks.at_least(backwash_rate, 0.0, "backwash_rate", "m/s")
    checks.above(reference_viscosity, 0.0, "reference_viscosity", "Pa*s")
    checks.above(viscosity, 0.0, "viscosity", "Pa*s")
    return backwash_rate * checks.sqrt(reference_viscosity / viscosity)


@worked(
    "Grain size of the upper medium that settles with the lower",
    expression="grain_size * ((lower_density - fluid_density) / (upper_density - fluid_density))**0.667",
    reference="equal settling velocity between Stokes and Newton; exponent 2/3, rounded, from memory",
)
def matching_grain_size(
    grain_size: Annotated[GrainSize, Range(3e-4, 1e-3)],
    lower_density: Annotated[GrainDensity, Range(2500.0, 4200.0)],
    upper_density: Annotated[GrainDensity, Range(1400.0, 2000.0)],
    fluid_density: WaterDensity = 999.1,
) -> GrainSize:
    """Return the size of the lighter grains that settle as fast as heavier ones: larger grains mix into them.

    Parameters
    ----------
    grain_size : size of the lower, heavier medium, at the same percentile. [m]
    lower_density : density of the lower medium. [kg/m^3]
    upper_density : density of the upper medium. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]

    Returns
    -------
    Size of the upper medium. [m]

    Raises
    ------
    ValueError
        If the size is not above 0 or a medium not heavier than the water.

    Examples
    --------
    >>> round(matching_grain_size(5e-4, 2650.0, 1650.0) * 1000, 2)
    0.93

    References
    ----------
    Exponent 2/3, rounded; from memory.
    """
    checks.above(grain_size, 0.0, "grain_size", "m")
    checks.above(fluid_density, 0.0, "fluid_density", "kg/m^3")
    for name, density in (("lower_density", lower_density), ("upper_density", upper_density)):
        checks.refuse(
            density <= fluid_density, density, f"{name} must be above fluid_density", "What is lighter floats off."
        )
    return grain_size * ((lower_density - fluid_density) / (upper_density - fluid_density)) ** 0.667


@worked("Height left below the trough", expression="freeboard - rise", reference="definition")
def trough_clearance(
    freeboard: Annotated[Length, Range(0.3, 1.5)], rise: Annotated[Length, Range(0.0, 1.0)]
) -> Annotated[Length, Range(-0.5, 1.5)]:
    """Return the height between the expanded media and the lip of the trough; below 0 the media go over it.

    Parameters
    ----------
    freeboard : height of the trough's lip above the media at rest. [m]
    rise : rise of the media during the wash. [m]

    Returns
    -------
    Height left. [m]

    Raises
    ------
    ValueError
        If the freeboard or the rise is below 0.

    Examples
    --------
    >>> round(trough_clearance(0.66, 0.10), 2)
    0.56

    References
    ----------
    Definition.
    """
    checks.at_least(freeboard, 0.0, "freeboard", "m")
    checks.at_least(rise, 0.0, "rise", "m")
    return freeboard - rise


@worked(
    "Share of the dirt left in the box",
    expression="exp(-backwash_rate * duration / height)",
    reference="one stirred volume above the media; definition",
)
def washout_share(
    backwash_rate: WashRate, duration: WashTime, height: Annotated[Length, Range(0.5, 2.0)]
) -> Annotated[Fraction, Range(0.0, 1.0)]:
    """Return the share of the loosened dirt that is still in the water above the media.

    Parameters
    ----------
    backwash_rate : backwash rate. [m/s]
    duration : time since the dirt was loosened. [s]
    height : height of the water between media and trough. [m]

    Returns
    -------
    Share left. [1]

    Raises
    ------
    ValueError
        If rate or time is below 0 or the height not above 0.

    Examples
    --------
    >>> round(washout_share(0.01, 300.0, 1.0), 2)  # three exchanges
    0.05

    References
    ----------
    Balance of mass over one stirred volume.
    """
    checks.at_least(backwash_rate, 0.0, "backwash_rate", "m/s")
    checks.at_least(duration, 0.0, "duration", "s")
    checks.above(height, 0.0, "height", "m")
    return checks.exp(-backwash_rate * duration / height)


@worked("Solids in the waste wash water", expression="1000 * solids / volume", reference="mass balance; definition")
def waste_water_solids(solids: Annotated[Mass, Range(0.1, 50.0)], volume: WashVolume) -> Concentration:
    """Return the mean suspended solids of the wash water that leaves.

    Parameters
    ----------
    solids : dry solids washed out. [kg]
    volume : wash water. [m^3]

    Returns
    -------
    Suspended solids. [g/m^3]

    Raises
    ------
    ValueError
        If the solids are below 0 or the volume not above 0.

    Examples
    --------
    >>> round(waste_water_solids(2.7, 17.9))
    151

    References
    ----------
    Balance of mass.
    """
    checks.at_least(solids, 0.0, "solids", "kg")
    checks.above(volume, 0.0, "volume", "m^3")
    return 1000 * solids / volume


@worked("Solids sent out in a day", expression="washes * solids / 86400", reference="mass balance; 86,400 s in a day")
def solids_to_waste(
    solids: Annotated[Mass, Range(0.1, 50.0)], washes: Annotated[Number, Range(1, 6)] = 1.0
) -> MassRate:
    """Return the dry solids that the backwashes of a day send to the sewer or the lagoon.

    Parameters
    ----------
    solids : dry solids washed out by one backwash. [kg]
    washes : backwashes in the day. [1]

    Returns
    -------
    Dry solids over the day. [kg/s]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(solids_to_waste(2.7, 2.0) * 86400, 1)  # kg/day
    5.4

    References
    ----------
    Balance of mass.
    """
    checks.at_least(solids, 0.0, "solids", "kg")
    checks.at_least(washes, 0.0, "washes")
    return washes * solids / 86400

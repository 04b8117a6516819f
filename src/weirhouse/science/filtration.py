"""How hard does a filter work, how long is its run, and what does a clean bed catch?

Rate and run volume as the trade reckons them; and the clean-bed theory (one grain as a collector) that says which
particles pass. The theory explains and compares; a plant's own turbidity decides.
"""

import math
from collections.abc import Sequence
from typing import Annotated, Any

import numpy as np

from weirhouse.science import checks
from weirhouse.science.properties import dynamic_viscosity, water_density
from weirhouse.science.quantities import (
    Area,
    AttachmentEfficiency,
    Density,
    Diffusivity,
    Duration,
    FilterCoefficient,
    FilterRate,
    Flow,
    Fraction,
    GrainSize,
    Hamaker,
    Length,
    Number,
    ParticleSize,
    Porosity,
    Ratio,
    Several,
    Temperature,
    Viscosity,
    Volume,
    VolumePerArea,
)
from weirhouse.working import Range, worked

FilterArea = Annotated[Area, Range(0.5, 60.0)]
FilterFlow = Annotated[Flow, Range(0.0005, 0.1)]
RunTime = Annotated[Duration, Range(3600.0, 432000.0)]
BedDepth = Annotated[Length, Range(0.05, 2.0)]
Count = Annotated[Number, Range(1, 8)]
Depths = Annotated[Sequence[float], Several("m", us="in", si="mm", low=0.05, high=1.0)]
Sizes = Annotated[Sequence[float], Several("m", us="mm", si="mm", low=2e-4, high=2e-3)]
SuspendedSize = Annotated[ParticleSize, Range(2e-7, 2e-5)]
Collector = Annotated[GrainSize, Range(3e-4, 2e-3)]
FlocDensity = Annotated[Density, Range(1005.0, 1200.0)]
WaterDensity = Annotated[Density, Range(992.0, 1000.0)]
_As = Annotated[Ratio, Range(8.0, 70.0)]
_Efficiency = Annotated[Ratio, Range(1e-6, 1.0)]
_BOLTZMANN = 1.380649e-23  # J/K, exact by definition (SI 2019)
_SOURCE = "definition; common practice, no source"
_NO_AREA = "Give the area of the sand, not of the box with its gullet."
_TUFENKJI = "N. Tufenkji and M. Elimelech, Environmental Science and Technology 38 (2004) 529"


@worked("Filtration rate", expression="flow / area", reference=_SOURCE)
def filtration_rate(flow: FilterFlow, area: FilterArea) -> FilterRate:
    """Return the rate at which water goes through a filter: the flow for each unit of its area.

    Parameters
    ----------
    flow : flow through the filter. [m^3/s]
    area : area of the filter. [m^2]

    Returns
    -------
    Filtration rate. [m/s]

    Raises
    ------
    ValueError
        If the flow is below 0 or the area not above 0.

    Examples
    --------
    >>> round(filtration_rate(0.0378541, 27.8709) * 3600, 2)  # 36,000 gal/h through 15 ft x 20 ft, in m/h
    4.89

    References
    ----------
    Definition.
    """
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.above(area, 0.0, "area", "m^2", _NO_AREA)
    return flow / area


@worked("Filtration rate of several equal filters", expression="flow / (filters * area)", reference=_SOURCE)
def filtration_rate_of_several(flow: Flow, area: FilterArea, filters: Count) -> FilterRate:
    """Return the rate at which equal filters work that share a flow.

    Parameters
    ----------
    flow : flow through all of them. [m^3/s]
    area : area of one filter. [m^2]
    filters : number of filters in service. [1]

    Returns
    -------
    Filtration rate of each. [m/s]

    Raises
    ------
    ValueError
        If the flow is below 0, the area not above 0 or there is not at least one filter.

    Examples
    --------
    >>> round(filtration_rate_of_several(0.28916, 17.837, 8) * 3600, 2)  # 6.6 MGD, eight of 12 ft x 16 ft, in m/h
    7.29

    References
    ----------
    Definition.
    """
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.above(area, 0.0, "area", "m^2", _NO_AREA)
    checks.at_least(filters, 1.0, "filters", "", "Count the filters in service.")
    return flow / (filters * area)


@worked("Filtration rate from a drop test", expression="drop / duration", reference=_SOURCE)
def filtration_rate_from_drop(
    drop: Annotated[Length, Range(0.02, 0.6)], duration: Annotated[Duration, Range(30.0, 600.0)]
) -> FilterRate:
    """Return the filtration rate from the fall of the water above the media with the inlet closed.

    Parameters
    ----------
    drop : fall of the level. [m]
    duration : time that it took. [s]

    Returns
    -------
    Filtration rate. [m/s]

    Raises
    ------
    ValueError
        If the drop is below 0 or the time not above 0.

    Examples
    --------
    >>> round(filtration_rate_from_drop(0.2032, 120.0) * 3600, 2)  # 8 in in 2 min, in m/h
    6.1

    References
    ----------
    Definition.
    """
    checks.at_least(drop, 0.0, "drop", "m", "With the inlet closed the level falls.")
    checks.above(duration, 0.0, "duration", "s")
    return drop / duration


@worked("Velocity in the pores", expression="filtration_rate / porosity", reference="definition")
def pore_velocity(filtration_rate: FilterRate, porosity: Porosity) -> Annotated[FilterRate, Range(3e-4, 0.02)]:
    """Return the mean velocity of the water between the grains.

    Parameters
    ----------
    filtration_rate : flow for each area of the whole bed. [m/s]
    porosity : porosity of the bed. [1]

    Returns
    -------
    Velocity in the pores. [m/s]

    Raises
    ------
    ValueError
        If the rate is below 0 or the porosity not from 0.1 to 1.

    Examples
    --------
    >>> round(pore_velocity(5.0 / 3600, 0.4) * 3600, 1)
    12.5

    References
    ----------
    Definition.
    """
    checks.at_least(filtration_rate, 0.0, "filtration_rate", "m/s")
    checks.within(porosity, 0.1, 1.0, "porosity")
    return filtration_rate / porosity


@worked("Share of mudballs in the media", expression="mudball_volume / sample_volume", reference=_SOURCE)
def mudball_share(
    mudball_volume: Annotated[Volume, Range(1e-6, 1e-3)], sample_volume: Annotated[Volume, Range(1e-3, 1e-2)]
) -> Annotated[Fraction, Range(0.0, 1.0)]:
    """Return the share of mudballs in a sample of media: 0.1 percent is little, 1 percent asks for better washing.

    Parameters
    ----------
    mudball_volume : water that the mudballs of the sample displace. [m^3]
    sample_volume : volume of media sampled. [m^3]

    Returns
    -------
    Share of the media. [1]

    Raises
    ------
    ValueError
        If the mudballs are below 0 or the sample not above 0.

    Examples
    --------
    >>> mudball_share(2.1e-5, 3e-3)
    0.007

    References
    ----------
    Common practice, no source.
    """
    checks.at_least(mudball_volume, 0.0, "mudball_volume", "m^3")
    checks.above(sample_volume, 0.0, "sample_volume", "m^3")
    return mudball_volume / sample_volume


@worked("Flow at a filtration rate", expression="filtration_rate * area", reference=_SOURCE)
def filter_flow(filtration_rate: FilterRate, area: FilterArea) -> Flow:
    """Return the flow that a filter passes at a rate.

    Parameters
    ----------
    filtration_rate : filtration rate. [m/s]
    area : area of the filter. [m^2]

    Returns
    -------
    Flow. [m^3/s]

    Raises
    ------
    ValueError
        If the rate is below 0 or the area not above 0.

    Examples
    --------
    >>> round(filter_flow(5.0 / 3600, 3.25) * 1000, 2)  # L/s
    4.51

    References
    ----------
    Definition.
    """
    checks.at_least(filtration_rate, 0.0, "filtration_rate", "m/s")
    checks.above(area, 0.0, "area", "m^2", _NO_AREA)
    return filtration_rate * area


@worked("Filter area needed", expression="flow / filtration_rate", reference=_SOURCE)
def filter_area(flow: Flow, filtration_rate: FilterRate) -> Area:
    """Return the area of filter that a flow needs at a rate.

    Parameters
    ----------
    flow : flow to be filtered. [m^3/s]
    filtration_rate : filtration rate allowed. [m/s]

    Returns
    -------
    Area. [m^2]

    Raises
    ------
    ValueError
        If the flow is below 0 or the rate not above 0.

    Examples
    --------
    >>> round(filter_area(0.009, 5.0 / 3600), 2)
    6.48

    References
    ----------
    Definition.
    """
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.above(filtration_rate, 0.0, "filtration_rate", "m/s")
    return flow / filtration_rate


@worked("Volume filtered in a run", expression="flow * run_time", reference=_SOURCE)
def filter_run_volume(flow: FilterFlow, run_time: RunTime) -> Volume:
    """Return the water that a filter makes in a run at a steady flow.

    Parameters
    ----------
    flow : flow through the filter. [m^3/s]
    run_time : filtering time. [s]

    Returns
    -------
    Volume filtered. [m^3]

    Raises
    ------
    ValueError
        If the flow or the time is below 0.

    Examples
    --------
    >>> round(filter_run_volume(0.0045, 48 * 3600.0), 1)
    777.6

    References
    ----------
    Definition.
    """
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.at_least(run_time, 0.0, "run_time", "s")
    return flow * run_time


@worked("Unit filter run volume", expression="volume / area", reference=_SOURCE)
def unit_filter_run_volume(volume: Volume, area: FilterArea) -> VolumePerArea:
    """Return the water filtered since the backwash for each unit of the filter's area.

    Parameters
    ----------
    volume : water filtered in the run. [m^3]
    area : area of the filter. [m^2]

    Returns
    -------
    Unit filter run volume. [m]

    Raises
    ------
    ValueError
        If the volume is below 0 or the area not above 0.

    Examples
    --------
    >>> round(unit_filter_run_volume(777.6, 3.25), 1)
    239.3

    References
    ----------
    Definition.
    """
    checks.at_least(volume, 0.0, "volume", "m^3")
    checks.above(area, 0.0, "area", "m^2", _NO_AREA)
    return volume / area


@worked(
    "Unit filter run volume from rate and time",
    expression="filtration_rate * run_time",
    reference="F. R. Spellman, The Science of Water, 2nd ed. (CRC Press, 2008), p. 371",
)
def unit_filter_run_volume_from_rate(filtration_rate: FilterRate, run_time: RunTime) -> VolumePerArea:
    """Return the unit filter run volume of a run at a steady rate.

    Parameters
    ----------
    filtration_rate : filtration rate. [m/s]
    run_time : filtering time. [s]

    Returns
    -------
    Unit filter run volume. [m]

    Raises
    ------
    ValueError
        If the rate or the time is below 0.

    Examples
    --------
    >>> round(unit_filter_run_volume_from_rate(4.8895 / 3600, 4250 * 60.0), 1)  # 2 gpm/ft2 for 4250 min
    346.3

    References
    ----------
    Spellman 2008.
    """
    checks.at_least(filtration_rate, 0.0, "filtration_rate", "m/s")
    checks.at_least(run_time, 0.0, "run_time", "s")
    return filtration_rate * run_time


@worked("Run time for a unit filter run volume", expression="unit_run_volume / filtration_rate", reference=_SOURCE)
def run_time_for_unit_volume(
    unit_run_volume: VolumePerArea, filtration_rate: FilterRate
) -> Annotated[Duration, Range(3600.0, 864000.0)]:
    """Return the filtering time in which a filter reaches a unit filter run volume.

    Parameters
    ----------
    unit_run_volume : unit filter run volume. [m]
    filtration_rate : filtration rate. [m/s]

    Returns
    -------
    Filtering time. [s]

    Raises
    ------
    ValueError
        If the volume is below 0 or the rate not above 0.

    Examples
    --------
    >>> round(run_time_for_unit_volume(200.0, 5.0 / 3600) / 3600, 1)
    40.0

    References
    ----------
    Definition.
    """
    checks.at_least(unit_run_volume, 0.0, "unit_run_volume", "m^3/m^2")
    checks.above(filtration_rate, 0.0, "filtration_rate", "m/s")
    return unit_run_volume / filtration_rate


@worked(
    "Production efficiency of a filter",
    expression="(unit_run_volume - unit_backwash_volume - unit_waste_volume) / unit_run_volume",
    reference="net water produced over water filtered; definition",
)
def production_efficiency(
    unit_run_volume: Annotated[VolumePerArea, Range(50.0, 500.0)],
    unit_backwash_volume: Annotated[VolumePerArea, Range(1.0, 15.0)],
    unit_waste_volume: Annotated[VolumePerArea, Range(0.0, 10.0)] = 0.0,
) -> Annotated[Fraction, Range(0.0, 1.0)]:
    """Return the share of the filtered water that is left after washing and filter-to-waste.

    Parameters
    ----------
    unit_run_volume : water filtered in the run for each unit of area. [m]
    unit_backwash_volume : finished water for the backwash for each unit of area. [m]
    unit_waste_volume : water filtered to waste after it for each unit of area. [m]

    Returns
    -------
    Share of the water filtered. [1]

    Raises
    ------
    ValueError
        If the run volume is not above 0 or another volume below 0.

    Examples
    --------
    >>> round(production_efficiency(200.0, 5.0, 1.0), 3)
    0.97

    References
    ----------
    Definition.
    """
    checks.above(unit_run_volume, 0.0, "unit_run_volume", "m^3/m^2")
    checks.at_least(unit_backwash_volume, 0.0, "unit_backwash_volume", "m^3/m^2")
    checks.at_least(unit_waste_volume, 0.0, "unit_waste_volume", "m^3/m^2")
    return (unit_run_volume - unit_backwash_volume - unit_waste_volume) / unit_run_volume


@worked(
    "Effective filtration rate",
    expression="(unit_run_volume - unit_backwash_volume) / (run_time + wash_time)",
    reference="net water produced over the whole cycle; definition",
)
def effective_filtration_rate(
    unit_run_volume: Annotated[VolumePerArea, Range(50.0, 500.0)],
    unit_backwash_volume: Annotated[VolumePerArea, Range(1.0, 15.0)],
    run_time: RunTime,
    wash_time: Annotated[Duration, Range(600.0, 3600.0)],
) -> FilterRate:
    """Return the net rate of a filter over a whole cycle of filtering and washing.

    Parameters
    ----------
    unit_run_volume : water filtered in the run for each unit of area. [m]
    unit_backwash_volume : finished water for the backwash for each unit of area. [m]
    run_time : filtering time. [s]
    wash_time : time out of service for the backwash. [s]

    Returns
    -------
    Net rate. [m/s]

    Raises
    ------
    ValueError
        If a volume or the wash time is below 0, or the run time not above 0.

    Examples
    --------
    >>> round(effective_filtration_rate(200.0, 5.0, 40 * 3600.0, 1800.0) * 3600, 3)  # m/h
    4.815

    References
    ----------
    Definition.
    """
    checks.at_least(unit_run_volume, 0.0, "unit_run_volume", "m^3/m^2")
    checks.at_least(unit_backwash_volume, 0.0, "unit_backwash_volume", "m^3/m^2")
    checks.above(run_time, 0.0, "run_time", "s")
    checks.at_least(wash_time, 0.0, "wash_time", "s")
    return (unit_run_volume - unit_backwash_volume) / (run_time + wash_time)


@worked("Ratio of depth to grain size", expression="depth / effective_size", reference=_SOURCE)
def depth_to_size_ratio(depth: BedDepth, effective_size: GrainSize) -> Annotated[Ratio, Range(100.0, 2000.0)]:
    """Return how many grains deep a layer is: its depth over its effective size.

    Parameters
    ----------
    depth : depth of the layer. [m]
    effective_size : effective size of its grains, d10. [m]

    Returns
    -------
    Depth over size. [1]

    Raises
    ------
    ValueError
        If the depth is below 0 or the size not above 0.

    Examples
    --------
    >>> round(depth_to_size_ratio(1.8288, 0.0015))  # 6 ft of 1.5 mm
    1219

    References
    ----------
    Definition.
    """
    checks.at_least(depth, 0.0, "depth", "m")
    checks.above(effective_size, 0.0, "effective_size", "m")
    return depth / effective_size


@worked("Depth of a bed of layers", method="sum over the layers", reference=_SOURCE)
def bed_depth(depths: Depths) -> BedDepth:
    """Return the depth of the layers of a bed together.

    Parameters
    ----------
    depths : depth of each layer, from the top. [m]

    Returns
    -------
    Depth of the bed. [m]

    Raises
    ------
    ValueError
        If a depth is below 0.

    Examples
    --------
    >>> round(bed_depth([0.4572, 0.2286]), 4)  # 18 in on 9 in
    0.6858

    References
    ----------
    Definition.
    """
    total = 0.0
    for (depth,) in layers(depths=depths):
        checks.at_least(depth, 0.0, "depths", "m")
        total = total + depth
    return total


@worked("Ratio of depth to grain size of a layered bed", method="sum over the layers", reference=_SOURCE)
def bed_depth_to_size_ratio(depths: Depths, effective_sizes: Sizes) -> Annotated[Ratio, Range(100.0, 2000.0)]:
    """Return the sum of depth over effective size of the layers of a bed.

    Parameters
    ----------
    depths : depth of each layer, from the top. [m]
    effective_sizes : effective size of each layer, d10. [m]

    Returns
    -------
    Sum of depth over size. [1]

    Raises
    ------
    ValueError
        If the lists differ in length, a depth is below 0 or a size not above 0.

    Examples
    --------
    >>> round(bed_depth_to_size_ratio([0.4064, 0.2286, 0.0762], [0.001, 0.0005, 0.00024]))
    1181

    References
    ----------
    Definition.
    """
    total = 0.0
    for depth, size in layers(depths=depths, effective_sizes=effective_sizes):
        total = total + depth_to_size_ratio(depth, size)
    return float(total)


def layers(**lists: Sequence[float]) -> list[tuple[float, ...]]:
    """Return the lists layer by layer; they must be of one length.

    >>> layers(depths=[0.4, 0.2], sizes=[0.001, 0.0005])
    [(0.4, 0.001), (0.2, 0.0005)]
    """
    columns = {name: [float(v) for v in np.atleast_1d(np.asarray(values))] for name, values in lists.items()}
    first, *others = columns
    for name in others:
        if len(columns[name]) != len(columns[first]):
            raise ValueError(
                f"{name} must have as many values as {first}; it has {len(columns[name])} and not"
                f" {len(columns[first])}. Give one value for each layer, from the top."
            )
    return list(zip(*columns.values(), strict=True))


# --- what one grain catches --------------------------------------------------------------------------------------


@worked(
    "Happel's porosity parameter",
    expression="2 * (1 - (1 - porosity)**(5 / 3)) / (2 - 3 * (1 - porosity)**(1 / 3) + 3 * (1 - porosity)**(5 / 3)"
    " - 2 * (1 - porosity)**2)",
    reference="J. Happel, AIChE Journal 4 (1958) 197",
)
def porosity_parameter(porosity: Porosity) -> _As:
    """Return As, which tells how the neighbours of a grain squeeze the water past it.

    Parameters
    ----------
    porosity : porosity of the bed. [1]

    Returns
    -------
    Porosity parameter As. [1]

    Raises
    ------
    ValueError
        If the porosity is not from 0.2 to 0.95.

    Examples
    --------
    >>> round(porosity_parameter(0.40), 2)
    37.98

    References
    ----------
    Happel 1958.
    """
    checks.within(porosity, 0.2, 0.95, "porosity")
    g = (1 - porosity) ** (1 / 3)
    return 2 * (1 - g**5) / (2 - 3 * g + 3 * g**5 - 2 * g**6)


@worked(
    "Diffusivity of a particle",
    expression="1.380649e-23 * (temperature + 273.15) / (3 * pi * viscosity * particle_size)",
    reference="Stokes and Einstein; Boltzmann constant exact by definition (SI 2019)",
)
def particle_diffusivity(particle_size: SuspendedSize, temperature: Temperature, viscosity: Viscosity) -> Diffusivity:
    """Return how fast a small particle wanders by itself.

    Parameters
    ----------
    particle_size : diameter of the particle. [m]
    temperature : water temperature. [degC]
    viscosity : dynamic viscosity of the water. [Pa*s]

    Returns
    -------
    Diffusivity. [m^2/s]

    Raises
    ------
    ValueError
        If the size or the viscosity is not above 0, or the temperature not from -1 to 60 degC.

    Examples
    --------
    >>> round(particle_diffusivity(1e-6, 20.0, 1.0016e-3) * 1e13, 2)
    4.29

    References
    ----------
    Einstein 1905.
    """
    checks.above(particle_size, 0.0, "particle_size", "m")
    checks.within(temperature, -1.0, 60.0, "temperature", "degC")
    checks.above(viscosity, 0.0, "viscosity", "Pa*s")
    return _BOLTZMANN * (temperature + 273.15) / (3 * math.pi * viscosity * particle_size)


@worked(
    "Contact of particles with a grain by diffusion",
    expression="2.4 * porosity_parameter**(1 / 3) * (particle_size / grain_size)**-0.081"
    " * (filtration_rate * grain_size / diffusivity)**-0.715"
    " * (hamaker / (1.380649e-23 * (temperature + 273.15)))**0.052",
    reference=_TUFENKJI,
)
def diffusion_efficiency(
    porosity_parameter: _As,
    particle_size: SuspendedSize,
    grain_size: Collector,
    filtration_rate: FilterRate,
    diffusivity: Diffusivity,
    temperature: Temperature,
    hamaker: Hamaker = 1e-20,
) -> _Efficiency:
    """Return the part of the single-collector efficiency that is due to the particles' own wandering.

    Parameters
    ----------
    porosity_parameter : As, from the porosity. [1]
    particle_size : diameter of the particle. [m]
    grain_size : diameter of the grain. [m]
    filtration_rate : filtration rate. [m/s]
    diffusivity : diffusivity of the particle. [m^2/s]
    temperature : water temperature. [degC]
    hamaker : Hamaker constant of particle, water and grain. [J]

    Returns
    -------
    Contact efficiency by diffusion. [1]

    Raises
    ------
    ValueError
        If an input is not above 0, the particle not below a tenth of the grain, or the temperature not from -1 to 60.

    Examples
    --------
    >>> round(diffusion_efficiency(33.64, 1e-6, 5e-4, 5.0 / 3600, 4.28e-13, 20.0) * 1e4, 2)
    4.87

    References
    ----------
    Tufenkji and Elimelech 2004.
    """
    _contact(porosity_parameter, particle_size, grain_size, filtration_rate)
    checks.above(diffusivity, 0.0, "diffusivity", "m^2/s")
    checks.above(hamaker, 0.0, "hamaker", "J")
    checks.within(temperature, -1.0, 60.0, "temperature", "degC")
    return (
        2.4
        * porosity_parameter ** (1 / 3)
        * (particle_size / grain_size) ** -0.081
        * (filtration_rate * grain_size / diffusivity) ** -0.715
        * (hamaker / (_BOLTZMANN * (temperature + 273.15))) ** 0.052
    )


@worked(
    "Contact of particles with a grain by interception",
    expression="0.55 * porosity_parameter * (particle_size / grain_size)**1.675"
    " * (hamaker / (3 * pi * viscosity * particle_size**2 * filtration_rate))**0.125",
    reference=_TUFENKJI,
)
def interception_efficiency(
    porosity_parameter: _As,
    particle_size: SuspendedSize,
    grain_size: Collector,
    filtration_rate: FilterRate,
    viscosity: Viscosity,
    hamaker: Hamaker = 1e-20,
) -> _Efficiency:
    """Return the part of the single-collector efficiency that is due to particles brushing the grain.

    Parameters
    ----------
    porosity_parameter : As, from the porosity. [1]
    particle_size : diameter of the particle. [m]
    grain_size : diameter of the grain. [m]
    filtration_rate : filtration rate. [m/s]
    viscosity : dynamic viscosity of the water. [Pa*s]
    hamaker : Hamaker constant of particle, water and grain. [J]

    Returns
    -------
    Contact efficiency by interception. [1]

    Raises
    ------
    ValueError
        If an input is not above 0 or the particle not below a tenth of the grain.

    Examples
    --------
    >>> round(interception_efficiency(33.64, 1e-6, 5e-4, 5.0 / 3600, 1.0016e-3) * 1e4, 2)
    2.27

    References
    ----------
    Tufenkji and Elimelech 2004, with the attraction number A / (12 pi mu a^2 u), a the radius.
    """
    _contact(porosity_parameter, particle_size, grain_size, filtration_rate)
    checks.above(viscosity, 0.0, "viscosity", "Pa*s")
    checks.above(hamaker, 0.0, "hamaker", "J")
    attraction = hamaker / (3 * math.pi * viscosity * particle_size * particle_size * filtration_rate)
    return 0.55 * porosity_parameter * (particle_size / grain_size) ** 1.675 * attraction**0.125


@worked(
    "Contact of particles with a grain by gravity",
    expression="0.22 * (particle_size / grain_size)**-0.24"
    " * (9.80665 * (particle_density - fluid_density) * particle_size**2 / (18 * viscosity * filtration_rate))**1.11"
    " * (hamaker / (1.380649e-23 * (temperature + 273.15)))**0.053",
    reference=_TUFENKJI,
)
def gravity_efficiency(
    particle_size: SuspendedSize,
    grain_size: Collector,
    filtration_rate: FilterRate,
    particle_density: FlocDensity,
    fluid_density: WaterDensity,
    viscosity: Viscosity,
    temperature: Temperature,
    hamaker: Hamaker = 1e-20,
) -> _Efficiency:
    """Return the part of the single-collector efficiency that is due to particles sinking onto the grain.

    Parameters
    ----------
    particle_size : diameter of the particle. [m]
    grain_size : diameter of the grain. [m]
    filtration_rate : filtration rate. [m/s]
    particle_density : density of the particle. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]
    temperature : water temperature. [degC]
    hamaker : Hamaker constant of particle, water and grain. [J]

    Returns
    -------
    Contact efficiency by gravity. [1]

    Raises
    ------
    ValueError
        If an input is not above 0, the particle not below a tenth of the grain or lighter than the water, or the
        temperature not from -1 to 60.

    Examples
    --------
    >>> round(gravity_efficiency(1e-6, 5e-4, 5.0 / 3600, 1050.0, 998.2, 1.0016e-3, 20.0) * 1e6, 2)
    6.34

    References
    ----------
    Tufenkji and Elimelech 2004.
    """
    _contact(1.0, particle_size, grain_size, filtration_rate)
    checks.above(viscosity, 0.0, "viscosity", "Pa*s")
    checks.above(hamaker, 0.0, "hamaker", "J")
    checks.within(temperature, -1.0, 60.0, "temperature", "degC")
    checks.refuse(
        particle_density < fluid_density,
        particle_density,
        "particle_density must not be below fluid_density",
        "What floats is not caught by sinking.",
    )
    sinking = 9.80665 * (particle_density - fluid_density) * particle_size * particle_size / (18 * viscosity)
    return (
        0.22
        * (particle_size / grain_size) ** -0.24
        * (sinking / filtration_rate) ** 1.11
        * (hamaker / (_BOLTZMANN * (temperature + 273.15))) ** 0.053
    )


@worked(
    "Single-collector contact efficiency",
    method="contacts by diffusion, interception and gravity added up",
    reference=_TUFENKJI,
)
def collector_efficiency(
    particle_size: SuspendedSize,
    grain_size: Collector,
    filtration_rate: FilterRate,
    porosity: Porosity,
    temperature: Temperature,
    particle_density: FlocDensity = 1050.0,
    hamaker: Hamaker = 1e-20,
) -> _Efficiency:
    """Return the share of the particles in the water that flows at a grain which touch it, eta0.

    Parameters
    ----------
    particle_size : diameter of the particle. [m]
    grain_size : diameter of the grain. [m]
    filtration_rate : filtration rate. [m/s]
    porosity : porosity of the bed. [1]
    temperature : water temperature. [degC]
    particle_density : density of the particle; floc is hardly heavier than water. [kg/m^3]
    hamaker : Hamaker constant of particle, water and grain. [J]

    Returns
    -------
    Single-collector contact efficiency. [1]

    Raises
    ------
    ValueError
        If an input is out of bounds, or the particle not below a tenth of the grain or lighter than the water.

    Examples
    --------
    >>> round(collector_efficiency(1e-6, 5e-4, 5.0 / 3600, 0.42, 20.0) * 1e4, 2)
    7.22

    References
    ----------
    Tufenkji and Elimelech 2004.
    """
    viscosity, density = dynamic_viscosity(temperature), water_density(temperature)
    squeeze = porosity_parameter(porosity)
    diffusivity = particle_diffusivity(particle_size, temperature, viscosity)
    return (
        diffusion_efficiency(
            squeeze, particle_size, grain_size, filtration_rate, diffusivity, temperature, hamaker=hamaker
        )
        + interception_efficiency(
            squeeze, particle_size, grain_size, filtration_rate, viscosity, hamaker=hamaker
        )
        + gravity_efficiency(
            particle_size, grain_size, filtration_rate, particle_density, density, viscosity, temperature, hamaker
        )
    )  # fmt: skip


def _contact(porosity_parameter: Any, particle_size: Any, grain_size: Any, filtration_rate: Any) -> None:
    checks.above(porosity_parameter, 0.0, "porosity_parameter", "", "Work it out from the porosity.")
    checks.above(particle_size, 0.0, "particle_size", "m")
    checks.above(filtration_rate, 0.0, "filtration_rate", "m/s")
    checks.above(grain_size, 0.0, "grain_size", "m")
    checks.refuse(
        particle_size > 0.1 * grain_size,
        particle_size,
        "particle_size must not be above a tenth of the grain_size",
        "A larger one is strained out, which this does not reckon.",
    )


@worked(
    "Filter coefficient",
    expression="1.5 * (1 - porosity) * attachment * collector_efficiency / grain_size",
    reference="K.-M. Yao, M. T. Habibian, C. R. O'Melia, Environmental Science and Technology 5 (1971) 1105",
)
def filter_coefficient(
    porosity: Porosity,
    attachment: AttachmentEfficiency,
    collector_efficiency: Annotated[Ratio, Range(1e-4, 0.02)],
    grain_size: Collector,
) -> FilterCoefficient:
    """Return how fast particles grow fewer along a clean bed.

    Parameters
    ----------
    porosity : porosity of the bed. [1]
    attachment : share of the particles touching a grain that stay: 0.01 to 0.1 poorly coagulated, 0.3 to 1 well. [1]
    collector_efficiency : share of the particles that touch a grain, eta0. [1]
    grain_size : diameter of the grain. [m]

    Returns
    -------
    Filter coefficient. [1/m]

    Raises
    ------
    ValueError
        If the porosity is not from 0.2 to 0.95, an efficiency below 0 or the attachment above 1, or the size not
        above 0.

    Examples
    --------
    >>> round(filter_coefficient(0.42, 1.0, 7.22e-4, 5e-4), 2)
    1.26

    References
    ----------
    Yao, Habibian and O'Melia 1971; the ranges of attachment from memory.
    """
    checks.within(porosity, 0.2, 0.95, "porosity")
    checks.within(attachment, 0.0, 1.0, "attachment")
    checks.at_least(collector_efficiency, 0.0, "collector_efficiency")
    checks.above(grain_size, 0.0, "grain_size", "m")
    return 1.5 * (1 - porosity) * attachment * collector_efficiency / grain_size


@worked(
    "Share of particles that passes a layer",
    expression="exp(-filter_coefficient * depth)",
    reference="T. Iwasaki, J. American Water Works Association 29 (1937) 1591",
)
def layer_passage(filter_coefficient: FilterCoefficient, depth: BedDepth) -> Annotated[Fraction, Range(0.0, 1.0)]:
    """Return the share of the particles that goes through a clean layer.

    Parameters
    ----------
    filter_coefficient : filter coefficient of the layer. [1/m]
    depth : depth of the layer. [m]

    Returns
    -------
    Share that passes. [1]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(layer_passage(8.0, 0.25), 4)
    0.1353

    References
    ----------
    Iwasaki 1937.
    """
    checks.at_least(filter_coefficient, 0.0, "filter_coefficient", "1/m")
    checks.at_least(depth, 0.0, "depth", "m")
    return checks.exp(-filter_coefficient * depth)


@worked(
    "Share of particles that passes a bed",
    method="the shares that pass the layers, multiplied",
    reference="T. Iwasaki, J. American Water Works Association 29 (1937) 1591",
)
def bed_passage(
    filter_coefficients: Annotated[Sequence[float], Several("1/m", us="1/m", si="1/m", low=0.5, high=8.0)],
    depths: Annotated[Sequence[float], Several("m", us="in", si="mm", low=0.05, high=0.5)],
) -> Annotated[Fraction, Range(0.0, 1.0)]:
    """Return the share of the particles that goes through a clean bed of layers.

    Parameters
    ----------
    filter_coefficients : filter coefficient of each layer, from the top. [1/m]
    depths : depth of each layer. [m]

    Returns
    -------
    Share that passes. [1]

    Raises
    ------
    ValueError
        If the lists differ in length or hold a value below 0.

    Examples
    --------
    >>> round(bed_passage([3.0, 8.0, 2.0], [0.45, 0.25, 0.15]), 5)
    0.02599

    References
    ----------
    Iwasaki 1937.
    """
    passed = 1.0
    for coefficient, depth in layers(filter_coefficients=filter_coefficients, depths=depths):
        passed = passed * layer_passage(coefficient, depth)
    return float(passed)

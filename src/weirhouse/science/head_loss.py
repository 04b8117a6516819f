"""What head does a clean bed take from the water?

Ergun's equation is the one to use: it holds from creeping flow to the turbulence of a backwash. Carman and Kozeny's is
its laminar part; Rose's is the older one of the filter textbooks and gives up to a third more.
Head losses are metres of the water itself. A bed in service takes more: what it holds, underdrain and valves come on
top.
"""

import math
from collections.abc import Sequence
from typing import Annotated, Any

import numpy as np

from weirhouse.science import checks
from weirhouse.science.filtration import layers
from weirhouse.science.properties import dynamic_viscosity, kinematic_viscosity, water_density
from weirhouse.science.quantities import (
    Area,
    Density,
    FilterRate,
    Fraction,
    GrainDensity,
    GrainSize,
    Head,
    KinematicViscosity,
    Length,
    Mass,
    Number,
    Porosity,
    Pressure,
    Ratio,
    Several,
    SpecificSurface,
    Sphericity,
    Temperature,
    Uniformity,
    Viscosity,
)
from weirhouse.working import Range, note, worked

LayerDepth = Annotated[Length, Range(0.05, 2.0)]
BedGrain = Annotated[GrainSize, Range(3e-4, 3e-3)]
WaterDensity = Annotated[Density, Range(992.0, 1000.0)]
Depths = Annotated[Sequence[float], Several("m", us="in", si="mm", low=0.05, high=1.0)]
Sizes = Annotated[Sequence[float], Several("m", us="mm", si="mm", low=3e-4, high=2e-3)]
Shares = Annotated[Sequence[float], Several("1", us="percent", si="percent", low=0.05, high=0.16)]
Porosities = Annotated[Sequence[float], Several("1", us="1", si="1", low=0.35, high=0.6)]
Sphericities = Annotated[Sequence[float], Several("1", us="1", si="1", low=0.45, high=1.0)]
GrainReynolds = Annotated[Number, Range(0.1, 500.0)]
_ERGUN = "S. Ergun, Chemical Engineering Progress 48 (1952) 89"
_KOZENY = "J. Kozeny 1927, P. C. Carman, Trans. Inst. Chem. Eng. 15 (1937) 150"
_ROSE = "H. E. Rose, Proc. Inst. Mech. Eng. 153 (1945) 141"
_LOG_NORMAL = "log-normal spread of grain sizes between d10 and d60"


def bed(grain_size: Any, porosity: Any, sphericity: Any = 1.0) -> None:
    """Raise ValueError unless grains of this size and shape can lie at this porosity."""
    checks.above(grain_size, 0.0, "grain_size", "m")
    checks.within(porosity, 0.1, 0.95, "porosity")
    checks.within(sphericity, 0.1, 1.0, "sphericity", "", "A sphere has 1, worn sand 0.8, anthracite 0.5 to 0.7.")


def _flowing(rate: Any, depth: Any, density: Any, viscosity: Any) -> None:
    checks.at_least(rate, 0.0, "filtration_rate", "m/s")
    checks.at_least(depth, 0.0, "depth", "m")
    checks.above(density, 0.0, "fluid_density", "kg/m^3")
    checks.above(viscosity, 0.0, "viscosity", "Pa*s", "Take it from the water's temperature with dynamic_viscosity.")


# --- grains and bed ----------------------------------------------------------------------------------------------


@worked("Grain size that 60 percent are finer than", expression="effective_size * uniformity", reference="definition")
def grain_size_60(effective_size: GrainSize, uniformity: Uniformity) -> GrainSize:
    """Return d60, the sieve size that 60 percent by weight pass.

    Parameters
    ----------
    effective_size : effective size, d10. [m]
    uniformity : uniformity coefficient, d60 / d10. [1]

    Returns
    -------
    Grain size d60. [m]

    Raises
    ------
    ValueError
        If the size is not above 0 or the uniformity coefficient below 1.

    Examples
    --------
    >>> round(grain_size_60(5e-4, 1.5) * 1000, 3)
    0.75

    References
    ----------
    Definition of the uniformity coefficient.
    """
    _graded(effective_size, uniformity)
    return effective_size * uniformity


@worked(
    "Grain size that 90 percent are finer than",
    expression="effective_size * uniformity**1.67",
    reference=_LOG_NORMAL + "; usual for choosing wash rates",
)
def grain_size_90(effective_size: GrainSize, uniformity: Uniformity) -> GrainSize:
    """Return d90, the coarse end of a graded medium, which the wash must still lift.

    Parameters
    ----------
    effective_size : effective size, d10. [m]
    uniformity : uniformity coefficient, d60 / d10. [1]

    Returns
    -------
    Grain size d90. [m]

    Raises
    ------
    ValueError
        If the size is not above 0 or the uniformity coefficient below 1.

    Examples
    --------
    >>> round(grain_size_90(5e-4, 1.5) * 1000, 3)
    0.984

    References
    ----------
    Log-normal spread: (z90 - z10) / (z60 - z10) = 2.563 / 1.535 = 1.67.
    """
    _graded(effective_size, uniformity)
    return effective_size * uniformity**1.67


@worked("Uniformity coefficient", expression="grain_size_60 / effective_size", reference="definition")
def uniformity_coefficient(
    grain_size_60: Annotated[GrainSize, Range(5e-4, 3e-3)], effective_size: Annotated[GrainSize, Range(2e-4, 5e-4)]
) -> Uniformity:
    """Return how far a medium is graded: d60 over d10.

    Parameters
    ----------
    grain_size_60 : size that 60 percent by weight pass, d60. [m]
    effective_size : size that 10 percent by weight pass, d10. [m]

    Returns
    -------
    Uniformity coefficient. [1]

    Raises
    ------
    ValueError
        If the effective size is not above 0, or d60 below it.

    Examples
    --------
    >>> round(uniformity_coefficient(7.5e-4, 5e-4), 2)
    1.5

    References
    ----------
    Definition.
    """
    checks.above(effective_size, 0.0, "effective_size", "m")
    checks.refuse(
        grain_size_60 < effective_size, grain_size_60, "grain_size_60 must not be below effective_size",
        "Have the two changed places?",
    )  # fmt: skip
    return grain_size_60 / effective_size


@worked(
    "Grain size from a sieve analysis",
    method="straight line between the two sieves around it, over the logarithm of the opening",
    reference="common practice, no source",
)
def sieve_size(
    share_finer: Annotated[Fraction, Range(0.2, 0.8)],
    openings: Sizes,
    shares_passing: Annotated[Sequence[float], Several("1", us="percent", si="percent", low=0.02, high=0.98)],
) -> GrainSize:
    """Return the size that a share of the weight passes: 10 percent for the effective size, 60 and 10 for uniformity.

    Parameters
    ----------
    share_finer : share by weight that is finer. [1]
    openings : openings of the sieves, rising. [m]
    shares_passing : share by weight that passes each. [1]

    Returns
    -------
    Grain size. [m]

    Raises
    ------
    ValueError
        If the lists differ in length or do not rise, or the share lies beyond the sieves.

    Examples
    --------
    >>> round(sieve_size(0.10, [4e-4, 5e-4, 6e-4], [0.02, 0.10, 0.40]) * 1000, 3)
    0.5

    References
    ----------
    Common practice, no source.
    """
    sieves = layers(openings=openings, shares_passing=shares_passing)
    sizes, passing = (np.array(column) for column in zip(*sieves, strict=True))
    if np.isnan(sizes).any() or np.isnan(passing).any():
        return math.nan * share_finer
    checks.above(float(sizes[0]), 0.0, "openings", "m")
    for name, values in (("openings", sizes), ("shares_passing", passing)):
        falls = np.flatnonzero(np.diff(values) < 0)
        if falls.size:
            raise ValueError(
                f"{name} must rise from sieve to sieve; item {falls[0] + 2} is {values[falls[0] + 1]:g}."
                " Begin with the finest sieve."
            )
    checks.within(
        share_finer, float(passing[0]), float(passing[-1]), "share_finer", "", "Sieve finer or coarser to reach it."
    )
    found = np.exp(np.interp(share_finer, passing, np.log(sizes)))
    return float(found) if np.ndim(found) == 0 else found


@worked(
    "Mean grain size by surface",
    expression="effective_size * uniformity**0.835 * exp(-0.2122 * ln(uniformity)**2)",
    reference=_LOG_NORMAL,
)
def mean_grain_size(effective_size: GrainSize, uniformity: Uniformity) -> GrainSize:
    """Return the one size with the same surface for its weight as a graded medium: for head loss and expansion.

    Parameters
    ----------
    effective_size : effective size, d10. [m]
    uniformity : uniformity coefficient, d60 / d10. [1]

    Returns
    -------
    Mean grain size by surface. [m]

    Raises
    ------
    ValueError
        If the size is not above 0 or the uniformity coefficient below 1.

    Examples
    --------
    >>> round(mean_grain_size(5e-4, 1.5) * 1000, 3)
    0.677

    References
    ----------
    Log-normal spread: d50 = d10 UC^(1.2816/1.5349), and exp(-s^2/2) with s = ln(UC)/1.5349.
    """
    _graded(effective_size, uniformity)
    return effective_size * uniformity**0.835 * checks.exp(-0.2122 * checks.ln(uniformity) ** 2)


def _graded(effective_size: Any, uniformity: Any) -> None:
    checks.above(effective_size, 0.0, "effective_size", "m")
    checks.at_least(uniformity, 1.0, "uniformity", "", "It is d60 over d10; equal grains have 1.")


@worked(
    "Effective mean size of a sieved mixture",
    method="the share of each cut over its size, added up; sphericity over the sum",
    reference="C. J. Geankoplis, Transport Processes and Unit Operations, 3rd ed. (Prentice Hall, 1993), eq. 3.1-18",
)
def effective_mean_size(
    fractions: Shares, grain_sizes: Sizes, sphericity: Annotated[Sphericity, Range(0.45, 1.0)] = 1.0
) -> GrainSize:
    """Return the diameter of the spheres with the same surface for their volume as a mixture of cuts.

    Parameters
    ----------
    fractions : share by weight of each cut, together 1. [1]
    grain_sizes : size of each cut. [m]
    sphericity : sphericity of the grains. [1]

    Returns
    -------
    Effective mean size. [m]

    Raises
    ------
    ValueError
        If the lists differ in length, a size is not above 0, a share below 0, or the shares together above 1.

    Examples
    --------
    >>> round(effective_mean_size([0.25, 0.40, 0.35], [0.025, 0.050, 0.075], 0.68) * 1000, 1)
    30.0

    References
    ----------
    Geankoplis 1993.
    """
    bed(1.0, 0.5, sphericity)
    total = 0.0
    for share, size in _cuts(fractions, grain_sizes):
        total = total + share / size
    return sphericity / total


def _cuts(fractions: Sequence[float], grain_sizes: Sequence[float]) -> list[tuple[float, ...]]:
    cuts = layers(grain_sizes=grain_sizes, fractions=fractions)
    for size, share in cuts:
        checks.above(size, 0.0, "grain_sizes", "m")
        checks.at_least(share, 0.0, "fractions")
    total = sum(share for _, share in cuts)
    checks.require(
        total <= 1.005, total, "fractions must not be above 1 together", "Give the share by weight of each cut."
    )
    checks.require(total > 0, total, "fractions must be above 0 together")
    if total < 0.995:
        note(f"The cuts are {100 * total:.1f} percent of the weight; the rest is left out.")
    return [(share, size) for size, share in cuts]


@worked("Porosity from two densities", expression="1 - bulk_density / particle_density", reference="definition")
def bed_porosity(bulk_density: Annotated[Density, Range(600.0, 1900.0)],
                 particle_density: Annotated[GrainDensity, Range(2000.0, 4300.0)]) -> Porosity:  # fmt: skip
    """Return the porosity of a bed from its dry weight for each volume of bed.

    Parameters
    ----------
    bulk_density : dry weight for each volume of bed. [kg/m^3]
    particle_density : density of the grains. [kg/m^3]

    Returns
    -------
    Porosity. [1]

    Raises
    ------
    ValueError
        If a density is not above 0, or the bulk density not below that of the grains.

    Examples
    --------
    >>> round(bed_porosity(962.0, 1600.0), 3)
    0.399

    References
    ----------
    Definition.
    """
    checks.above(bulk_density, 0.0, "bulk_density", "kg/m^3")
    checks.above(particle_density, 0.0, "particle_density", "kg/m^3")
    checks.refuse(
        bulk_density >= particle_density, bulk_density, "bulk_density must be below particle_density",
        "A bed with pores is lighter than its grains.",
    )  # fmt: skip
    return 1 - bulk_density / particle_density


@worked(
    "Specific surface of a bed", expression="6 * (1 - porosity) / (sphericity * grain_size)", reference="definition"
)
def specific_surface(porosity: Porosity, grain_size: BedGrain, sphericity: Sphericity = 1.0) -> SpecificSurface:
    """Return the surface of the grains in each volume of bed.

    Parameters
    ----------
    porosity : porosity of the bed. [1]
    grain_size : diameter of the grains. [m]
    sphericity : sphericity of the grains. [1]

    Returns
    -------
    Surface for each volume of bed. [1/m]

    Raises
    ------
    ValueError
        If the size is not above 0, or porosity or sphericity is out of bounds.

    Examples
    --------
    >>> round(specific_surface(0.39875, 0.02), 1)
    180.4

    References
    ----------
    Definition: a sphere has the surface 6 / d for each volume.
    """
    bed(grain_size, porosity, sphericity)
    return 6 * (1 - porosity) / (sphericity * grain_size)


@worked("Hydraulic radius of a bed", expression="porosity * grain_size / (6 * (1 - porosity))", reference="definition")
def bed_hydraulic_radius(porosity: Porosity, grain_size: BedGrain) -> Annotated[GrainSize, Range(1e-5, 1e-2)]:
    """Return the pore volume of a bed over the surface that the water wets in it.

    Parameters
    ----------
    porosity : porosity of the bed. [1]
    grain_size : diameter of the grains, times their sphericity when they are not spheres. [m]

    Returns
    -------
    Hydraulic radius. [m]

    Raises
    ------
    ValueError
        If the size is not above 0 or the porosity out of bounds.

    Examples
    --------
    >>> round(bed_hydraulic_radius(0.40, 6e-4) * 1e6, 1)
    66.7

    References
    ----------
    Definition.
    """
    bed(grain_size, porosity)
    return porosity * grain_size / (6 * (1 - porosity))


@worked("Grain size from the surface for each volume of grain", expression="6 / grain_surface", reference="definition")
def equivalent_grain_size(grain_surface: Annotated[SpecificSurface, Range(2000.0, 20000.0)]) -> GrainSize:
    """Return the diameter of the sphere with the same surface for its volume as a grain.

    Parameters
    ----------
    grain_surface : surface of the grain over its own volume. [1/m]

    Returns
    -------
    Diameter. [m]

    Raises
    ------
    ValueError
        If the surface is not above 0.

    Examples
    --------
    >>> round(equivalent_grain_size(300.0), 4)  # cylinders as long as wide, of 20 mm
    0.02

    References
    ----------
    Definition.
    """
    checks.above(grain_surface, 0.0, "grain_surface", "1/m")
    return 6 / grain_surface


@worked("Dry media in a layer", expression="area * depth * bulk_density", reference="definition")
def media_mass(
    area: Annotated[Area, Range(0.5, 60.0)], depth: LayerDepth, bulk_density: Annotated[Density, Range(600.0, 2500.0)]
) -> Mass:
    """Return the dry weight of the media in a layer: what to order for a new one.

    Parameters
    ----------
    area : area of the filter. [m^2]
    depth : depth of the layer. [m]
    bulk_density : dry weight for each volume of bed. [kg/m^3]

    Returns
    -------
    Dry mass. [kg]

    Raises
    ------
    ValueError
        If the depth is below 0, or another input not above 0.

    Examples
    --------
    >>> round(media_mass(3.2516, 0.2286, 1600.0))
    1189

    References
    ----------
    Definition.
    """
    checks.above(area, 0.0, "area", "m^2")
    checks.at_least(depth, 0.0, "depth", "m")
    checks.above(bulk_density, 0.0, "bulk_density", "kg/m^3")
    return area * depth * bulk_density


# --- Ergun -------------------------------------------------------------------------------------------------------


@worked(
    "Reynolds number of a bed",
    expression="sphericity * grain_size * fluid_density * filtration_rate / (viscosity * (1 - porosity))",
    reference=_ERGUN,
)
def bed_reynolds_number(
    filtration_rate: FilterRate,
    grain_size: BedGrain,
    porosity: Porosity,
    sphericity: Sphericity,
    fluid_density: WaterDensity,
    viscosity: Viscosity,
) -> Annotated[Number, Range(0.1, 100.0)]:
    """Return the Reynolds number of the water among the grains: laminar below about 10.

    Parameters
    ----------
    filtration_rate : flow for each area of the whole bed. [m/s]
    grain_size : diameter of the grains. [m]
    porosity : porosity of the bed. [1]
    sphericity : sphericity of the grains. [1]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]

    Returns
    -------
    Reynolds number. [1]

    Raises
    ------
    ValueError
        If an input is out of bounds.

    Examples
    --------
    >>> round(bed_reynolds_number(5.0 / 3600, 5e-4, 0.43, 0.8, 999.7, 1.306e-3), 2)
    0.75

    References
    ----------
    Ergun 1952.
    """
    bed(grain_size, porosity, sphericity)
    _flowing(filtration_rate, 0.0, fluid_density, viscosity)
    return sphericity * grain_size * fluid_density * filtration_rate / (viscosity * (1 - porosity))


@worked("Friction factor of a bed by Ergun", expression="150 / reynolds + 1.75", reference=_ERGUN)
def ergun_friction_factor(reynolds: GrainReynolds) -> Annotated[Ratio, Range(1.75, 1500.0)]:
    """Return the friction factor of a bed of grains.

    Parameters
    ----------
    reynolds : Reynolds number of the bed, with 1 - porosity below the line. [1]

    Returns
    -------
    Friction factor. [1]

    Raises
    ------
    ValueError
        If the Reynolds number is not above 0.

    Examples
    --------
    >>> ergun_friction_factor(1.0)
    151.75

    References
    ----------
    Ergun 1952.
    """
    checks.above(reynolds, 0.0, "reynolds")
    return 150 / reynolds + 1.75


@worked(
    "Pressure drop of a bed by Ergun",
    expression="depth * (150 * viscosity * (1 - porosity)**2 * velocity / (porosity**3 * (sphericity * grain_size)**2)"
    " + 1.75 * fluid_density * (1 - porosity) * velocity**2 / (porosity**3 * sphericity * grain_size))",
    reference=_ERGUN,
)
def ergun_pressure_drop(
    velocity: FilterRate,
    depth: LayerDepth,
    grain_size: BedGrain,
    porosity: Porosity,
    sphericity: Sphericity,
    fluid_density: WaterDensity,
    viscosity: Viscosity,
) -> Pressure:
    """Return the pressure that any fluid loses in a bed of grains.

    Parameters
    ----------
    velocity : flow for each area of the whole bed. [m/s]
    depth : length of the bed along the flow. [m]
    grain_size : diameter of the grains. [m]
    porosity : porosity of the bed. [1]
    sphericity : sphericity of the grains. [1]
    fluid_density : density of the fluid. [kg/m^3]
    viscosity : dynamic viscosity of the fluid. [Pa*s]

    Returns
    -------
    Pressure drop. [Pa]

    Raises
    ------
    ValueError
        If an input is out of bounds.

    Examples
    --------
    >>> round(ergun_pressure_drop(1.0032, 2.44, 0.0127, 0.38, 1.0, 1.221, 1.9e-5))  # air through 12.7 mm spheres
    4971

    References
    ----------
    Ergun 1952.
    """
    bed(grain_size, porosity, sphericity)
    _flowing(velocity, depth, fluid_density, viscosity)
    size = sphericity * grain_size
    laminar = 150 * viscosity * (1 - porosity) ** 2 * velocity / (porosity**3 * size * size)
    return depth * (laminar + 1.75 * fluid_density * (1 - porosity) * velocity * velocity / (porosity**3 * size))


@worked(
    "Head loss of a clean layer by Ergun",
    expression="depth / 9.80665 * (150 * viscosity * (1 - porosity)**2 * filtration_rate / (fluid_density * porosity**3"
    " * (sphericity * grain_size)**2) + 1.75 * (1 - porosity) * filtration_rate**2"
    " / (porosity**3 * sphericity * grain_size))",
    reference=_ERGUN,
)
def ergun_head_loss(
    filtration_rate: FilterRate,
    depth: LayerDepth,
    grain_size: BedGrain,
    porosity: Porosity,
    sphericity: Sphericity,
    fluid_density: WaterDensity,
    viscosity: Viscosity,
) -> Annotated[Head, Range(0.001, 3.0)]:
    """Return the head that a clean layer takes, by Ergun.

    Parameters
    ----------
    filtration_rate : filtration rate. [m/s]
    depth : depth of the layer. [m]
    grain_size : mean grain size by surface. [m]
    porosity : porosity of the layer. [1]
    sphericity : sphericity of the grains. [1]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]

    Returns
    -------
    Head loss. [m]

    Raises
    ------
    ValueError
        If an input is out of bounds.

    Examples
    --------
    >>> round(ergun_head_loss(5.0 / 3600, 0.2286, 6.77e-4, 0.43, 0.80, 999.7, 1.306e-3), 3)
    0.089

    References
    ----------
    Ergun 1952.
    """
    bed(grain_size, porosity, sphericity)
    _flowing(filtration_rate, depth, fluid_density, viscosity)
    size = sphericity * grain_size
    laminar = 150 * viscosity * (1 - porosity) ** 2 * filtration_rate / (fluid_density * porosity**3 * size * size)
    return depth / 9.80665 * (laminar + 1.75 * (1 - porosity) * filtration_rate**2 / (porosity**3 * size))


# --- Carman and Kozeny -------------------------------------------------------------------------------------------


@worked(
    "Head loss of a clean layer by Carman and Kozeny",
    expression="constant * viscosity * (1 - porosity)**2 * filtration_rate * depth"
    " / (9.80665 * fluid_density * porosity**3 * (sphericity * grain_size)**2)",
    reference=_KOZENY,
)
def carman_kozeny_head_loss(
    filtration_rate: FilterRate,
    depth: LayerDepth,
    grain_size: BedGrain,
    porosity: Porosity,
    sphericity: Sphericity,
    fluid_density: WaterDensity,
    viscosity: Viscosity,
    constant: Annotated[Number, Range(150.0, 180.0)] = 180.0,
) -> Annotated[Head, Range(0.001, 3.0)]:
    """Return the head that a clean layer takes in laminar flow, by Carman and Kozeny.

    Parameters
    ----------
    filtration_rate : filtration rate. [m/s]
    depth : depth of the layer. [m]
    grain_size : mean grain size by surface. [m]
    porosity : porosity of the layer. [1]
    sphericity : sphericity of the grains. [1]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]
    constant : 180 by Carman (5 times 36); 150 by Blake, Kozeny and Ergun. [1]

    Returns
    -------
    Head loss. [m]

    Raises
    ------
    ValueError
        If an input is out of bounds.

    Examples
    --------
    >>> round(carman_kozeny_head_loss(5.0 / 3600, 0.2286, 6.77e-4, 0.43, 0.80, 999.7, 1.306e-3), 3)
    0.106

    References
    ----------
    Carman 1937.
    """
    bed(grain_size, porosity, sphericity)
    _flowing(filtration_rate, depth, fluid_density, viscosity)
    checks.above(constant, 0.0, "constant", "", "Carman has 180, Blake and Kozeny 150.")
    size = sphericity * grain_size
    weight = 9.80665 * fluid_density * porosity**3 * size * size
    return constant * viscosity * (1 - porosity) ** 2 * filtration_rate * depth / weight


@worked(
    "Rate through a layer under a head, by Carman and Kozeny",
    expression="9.80665 * fluid_density * head_loss * porosity**3 * (sphericity * grain_size)**2"
    " / (constant * viscosity * (1 - porosity)**2 * depth)",
    reference=_KOZENY,
)
def carman_kozeny_rate(
    head_loss: Annotated[Head, Range(0.001, 1.0)],
    depth: LayerDepth,
    grain_size: BedGrain,
    porosity: Porosity,
    sphericity: Sphericity,
    fluid_density: WaterDensity,
    viscosity: Viscosity,
    constant: Annotated[Number, Range(150.0, 180.0)] = 180.0,
) -> FilterRate:
    """Return the rate that a head drives through a layer in laminar flow.

    Parameters
    ----------
    head_loss : head across the layer. [m]
    depth : depth of the layer. [m]
    grain_size : mean grain size by surface. [m]
    porosity : porosity of the layer. [1]
    sphericity : sphericity of the grains. [1]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]
    constant : 180 by Carman (5 times 36); 150 by Blake, Kozeny and Ergun. [1]

    Returns
    -------
    Flow for each area of the bed. [m/s]

    Raises
    ------
    ValueError
        If an input is out of bounds.

    Examples
    --------
    >>> round(carman_kozeny_rate(0.106, 0.2286, 6.77e-4, 0.43, 0.80, 999.7, 1.306e-3) * 3600, 1)  # m/h
    5.0

    References
    ----------
    Carman 1937.
    """
    bed(grain_size, porosity, sphericity)
    _flowing(head_loss, 0.0, fluid_density, viscosity)
    checks.above(depth, 0.0, "depth", "m")
    checks.above(constant, 0.0, "constant", "", "Carman has 180, Blake and Kozeny 150.")
    size = sphericity * grain_size
    weight = 9.80665 * fluid_density * head_loss * porosity**3 * size * size
    return weight / (constant * viscosity * (1 - porosity) ** 2 * depth)


# --- Rose --------------------------------------------------------------------------------------------------------


@worked(
    "Reynolds number of a grain",
    expression="sphericity * grain_size * velocity / kinematic_viscosity",
    reference="definition",
)
def grain_reynolds_number(
    velocity: FilterRate,
    grain_size: BedGrain,
    kinematic_viscosity: KinematicViscosity,
    sphericity: Sphericity = 1.0,
) -> GrainReynolds:
    """Return the Reynolds number of one grain in the flow.

    Parameters
    ----------
    velocity : velocity of the water past it, or flow for each area of the whole bed. [m/s]
    grain_size : diameter of the grain. [m]
    kinematic_viscosity : kinematic viscosity of the water. [m^2/s]
    sphericity : sphericity of the grain; 1 to take the size as it is. [1]

    Returns
    -------
    Reynolds number. [1]

    Raises
    ------
    ValueError
        If an input is out of bounds.

    Examples
    --------
    >>> round(grain_reynolds_number(0.0025, 0.002, 1.307e-6, 0.82), 3)
    3.137

    References
    ----------
    Definition.
    """
    checks.at_least(velocity, 0.0, "velocity", "m/s")
    bed(grain_size, 0.5, sphericity)
    checks.above(kinematic_viscosity, 0.0, "kinematic_viscosity", "m^2/s")
    return sphericity * grain_size * velocity / kinematic_viscosity


@worked(
    "Drag coefficient of a grain",
    method="24 / reynolds below 0.5, else 24 / reynolds + 3 / sqrt(reynolds) + 0.34",
    reference="G. M. Fair, J. C. Geyer, D. A. Okun, Water and Wastewater Engineering vol. 2 (Wiley, 1968)",
)
def grain_drag_coefficient(reynolds: GrainReynolds) -> Annotated[Ratio, Range(0.4, 300.0)]:
    """Return the drag coefficient of a grain of sand, from creeping flow to a Reynolds number of 10,000.

    Parameters
    ----------
    reynolds : Reynolds number of the grain. [1]

    Returns
    -------
    Drag coefficient. [1]

    Raises
    ------
    ValueError
        If the Reynolds number is not above 0.

    Examples
    --------
    >>> grain_drag_coefficient(1.0)
    27.34
    >>> grain_drag_coefficient(0.25)
    96.0

    References
    ----------
    Fair, Geyer and Okun 1968.
    """
    checks.above(reynolds, 0.0, "reynolds")
    full = 24 / reynolds + 3 / checks.sqrt(reynolds) + 0.34
    return checks.choose(reynolds < 0.5, 24 / reynolds, full)


@worked(
    "Head loss of equal grains by Rose",
    expression="1.067 * drag_coefficient * depth * filtration_rate**2"
    " / (9.80665 * sphericity * porosity**4 * grain_size)",
    reference=_ROSE,
)
def rose_head_loss_of_drag(
    filtration_rate: FilterRate,
    depth: LayerDepth,
    grain_size: BedGrain,
    porosity: Porosity,
    sphericity: Sphericity,
    drag_coefficient: Annotated[Ratio, Range(1.0, 100.0)],
) -> Annotated[Head, Range(0.001, 3.0)]:
    """Return the head that a layer of equal grains takes, by Rose, when their drag coefficient is known.

    Parameters
    ----------
    filtration_rate : filtration rate. [m/s]
    depth : depth of the layer. [m]
    grain_size : grain size. [m]
    porosity : porosity of the layer. [1]
    sphericity : sphericity of the grains. [1]
    drag_coefficient : drag coefficient of a grain. [1]

    Returns
    -------
    Head loss. [m]

    Raises
    ------
    ValueError
        If an input is out of bounds.

    Examples
    --------
    >>> round(rose_head_loss_of_drag(0.0025, 0.5, 7.14e-4, 0.45, 0.82, 24.39), 3)
    0.345

    References
    ----------
    Rose 1945.
    """
    bed(grain_size, porosity, sphericity)
    _flowing(filtration_rate, depth, 1.0, 1.0)
    checks.above(drag_coefficient, 0.0, "drag_coefficient")
    pull = 1.067 * drag_coefficient * depth * filtration_rate**2
    return pull / (9.80665 * sphericity * porosity**4 * grain_size)


@worked(
    "Head loss of a clean layer by Rose",
    method="Reynolds number and drag coefficient of a grain, then Rose's equation",
    reference=_ROSE,
)
def rose_head_loss(
    filtration_rate: FilterRate,
    depth: LayerDepth,
    grain_size: BedGrain,
    porosity: Porosity,
    sphericity: Sphericity,
    kinematic_viscosity: KinematicViscosity,
) -> Annotated[Head, Range(0.001, 3.0)]:
    """Return the head that a clean layer of equal grains takes, by Rose.

    Parameters
    ----------
    filtration_rate : filtration rate. [m/s]
    depth : depth of the layer. [m]
    grain_size : grain size. [m]
    porosity : porosity of the layer. [1]
    sphericity : sphericity of the grains. [1]
    kinematic_viscosity : kinematic viscosity of the water. [m^2/s]

    Returns
    -------
    Head loss. [m]

    Raises
    ------
    ValueError
        If an input is out of bounds, or there is no flow.

    Examples
    --------
    >>> round(rose_head_loss(5.0 / 3600, 0.2286, 6.77e-4, 0.43, 0.80, 1.3065e-6), 3)
    0.119

    References
    ----------
    Rose 1945.
    """
    drag = grain_drag_coefficient(
        grain_reynolds_number(filtration_rate, grain_size, kinematic_viscosity, sphericity=sphericity)
    )
    return rose_head_loss_of_drag(filtration_rate, depth, grain_size, porosity, sphericity, drag)


@worked(
    "Head loss of a sieved layer by Rose",
    method="drag coefficient of each sieve cut, share of drag over size added up, then Rose's equation",
    reference=_ROSE,
)
def rose_head_loss_of_cuts(
    filtration_rate: FilterRate,
    depth: LayerDepth,
    porosity: Porosity,
    sphericity: Sphericity,
    kinematic_viscosity: KinematicViscosity,
    grain_sizes: Sizes,
    fractions: Shares,
) -> Annotated[Head, Range(0.001, 3.0)]:
    """Return the head that a clean layer takes, by Rose, from its sieve analysis: its cuts lie in layers.

    Parameters
    ----------
    filtration_rate : filtration rate. [m/s]
    depth : depth of the layer. [m]
    porosity : porosity of the layer. [1]
    sphericity : sphericity of the grains. [1]
    kinematic_viscosity : kinematic viscosity of the water. [m^2/s]
    grain_sizes : size of each cut. [m]
    fractions : share by weight of each cut. [1]

    Returns
    -------
    Head loss. [m]

    Raises
    ------
    ValueError
        If an input is out of bounds, the lists differ in length or the shares are together above 1.

    Examples
    --------
    >>> sizes = [2e-3, 1.42e-3, 1e-3, 7.14e-4, 5.05e-4, 3.57e-4, 2.52e-4, 1.78e-4, 1.26e-4]
    >>> shares = [0.053, 0.171, 0.146, 0.204, 0.176, 0.119, 0.059, 0.031, 0.007]
    >>> round(rose_head_loss_of_cuts(0.0025, 0.5, 0.45, 0.82, 1.307e-6, sizes, shares), 2)
    0.76

    References
    ----------
    Rose 1945; the cuts and the answer as in Fair and Geyer's example.
    """
    total: Any = 0.0
    for share, size in _cuts(fractions, grain_sizes):
        total = total + share * rose_head_loss(filtration_rate, depth, size, porosity, sphericity, kinematic_viscosity)
    return total


# --- a whole bed -------------------------------------------------------------------------------------------------


@worked(
    "Clean-bed head loss of a layer",
    method="viscosity and density at the temperature, then Ergun",
    reference=_ERGUN,
)
def clean_bed_head_loss(
    filtration_rate: FilterRate,
    depth: LayerDepth,
    grain_size: BedGrain,
    porosity: Porosity,
    sphericity: Sphericity,
    temperature: Temperature,
) -> Annotated[Head, Range(0.001, 3.0)]:
    """Return the head that a clean layer takes at a water temperature, by Ergun.

    Parameters
    ----------
    filtration_rate : filtration rate. [m/s]
    depth : depth of the layer. [m]
    grain_size : mean grain size by surface. [m]
    porosity : porosity of the layer. [1]
    sphericity : sphericity of the grains. [1]
    temperature : water temperature. [degC]

    Returns
    -------
    Head loss. [m]

    Raises
    ------
    ValueError
        If an input is out of bounds.

    Examples
    --------
    >>> round(clean_bed_head_loss(5.0 / 3600, 0.2286, 6.77e-4, 0.43, 0.80, 10.0), 3)
    0.089

    References
    ----------
    Ergun 1952.
    """
    density, viscosity = water_density(temperature), dynamic_viscosity(temperature)
    return ergun_head_loss(filtration_rate, depth, grain_size, porosity, sphericity, density, viscosity)


@worked("Clean-bed head loss of a layered bed", method="Ergun's head loss of each layer, added up", reference=_ERGUN)
def layered_bed_head_loss(
    filtration_rate: FilterRate,
    temperature: Temperature,
    depths: Depths,
    grain_sizes: Sizes,
    porosities: Porosities,
    sphericities: Sphericities,
) -> Annotated[Head, Range(0.001, 5.0)]:
    """Return the head that a clean bed of layers takes at a water temperature.

    Parameters
    ----------
    filtration_rate : filtration rate. [m/s]
    temperature : water temperature. [degC]
    depths : depth of each layer, from the top. [m]
    grain_sizes : mean grain size of each layer. [m]
    porosities : porosity of each layer. [1]
    sphericities : sphericity of the grains of each layer. [1]

    Returns
    -------
    Head loss of all layers. [m]

    Raises
    ------
    ValueError
        If an input is out of bounds or the lists differ in length.

    Examples
    --------
    >>> round(layered_bed_head_loss(5.0 / 3600, 10.0, [0.45, 0.23], [1.3e-3, 6.8e-4], [0.55, 0.43], [0.65, 0.8]), 3)
    0.111

    References
    ----------
    Ergun 1952.
    """
    density, viscosity = water_density(temperature), dynamic_viscosity(temperature)
    total: Any = 0.0
    for depth, size, porosity, sphericity in layers(
        depths=depths, grain_sizes=grain_sizes, porosities=porosities, sphericities=sphericities
    ):
        total = total + ergun_head_loss(filtration_rate, depth, size, porosity, sphericity, density, viscosity)
    return total


@worked(
    "Head loss of a layered bed by Rose",
    method="Rose's head loss of each layer, added up",
    reference=_ROSE,
)
def layered_bed_head_loss_by_rose(
    filtration_rate: FilterRate,
    temperature: Temperature,
    depths: Depths,
    grain_sizes: Sizes,
    porosities: Porosities,
    sphericities: Sphericities,
) -> Annotated[Head, Range(0.001, 5.0)]:
    """Return the head that a clean bed of layers takes at a water temperature, by Rose: a second opinion.

    Parameters
    ----------
    filtration_rate : filtration rate. [m/s]
    temperature : water temperature. [degC]
    depths : depth of each layer, from the top. [m]
    grain_sizes : mean grain size of each layer. [m]
    porosities : porosity of each layer. [1]
    sphericities : sphericity of the grains of each layer. [1]

    Returns
    -------
    Head loss of all layers. [m]

    Raises
    ------
    ValueError
        If an input is out of bounds or the lists differ in length.

    Examples
    --------
    >>> layered_bed_head_loss_by_rose(5.0 / 3600, 10.0, [0.45], [1.3e-3], [0.55], [0.65]) < 0.05
    True

    References
    ----------
    Rose 1945.
    """
    viscosity = kinematic_viscosity(temperature)
    total: Any = 0.0
    for depth, size, porosity, sphericity in layers(
        depths=depths, grain_sizes=grain_sizes, porosities=porosities, sphericities=sphericities
    ):
        total = total + rose_head_loss(filtration_rate, depth, size, porosity, sphericity, viscosity)
    return total

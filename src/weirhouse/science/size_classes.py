"""What does a basin keep of a mixture of sizes, and what of its turbidity?

Fine grains scatter most light for their weight and settle least: a basin that keeps a third of the solids of a storm
may keep a tenth of its turbidity.
"""

from collections.abc import Sequence
from typing import Annotated, Any

from weirhouse.science import checks
from weirhouse.science.filtration import layers
from weirhouse.science.properties import kinematic_viscosity, water_density
from weirhouse.science.quantities import Exponent, Fraction, GrainDensity, Number, Several, SurfaceRate, Temperature
from weirhouse.science.settling import ferguson_church_velocity, hazen_removal
from weirhouse.working import Range, worked

Diameters = Annotated[Sequence[float], Several("m", us="um", si="um", low=1e-6, high=2e-4)]
Shares = Annotated[Sequence[float], Several("1", us="percent", si="percent", low=0.05, high=0.4)]
Mineral = Annotated[GrainDensity, Range(1500.0, 2700.0)]
ColdWater = Annotated[Temperature, Range(0.0, 30.0)]
Compartments = Annotated[Number, Range(1.0, 8.0)]
_REFERENCE = "A. Hazen 1904 with the settling velocity of R. I. Ferguson and M. Church 2004, class by class"


def _kept(
    diameters: Sequence[float], weights: Sequence[float], density: Any, rate: Any, compartments: Any, temperature: Any
) -> Any:
    """Return the kept share of classes that weigh as given."""
    total, kept = 0.0, 0.0 * (density + rate + compartments + temperature)
    water, viscosity = water_density(temperature), kinematic_viscosity(temperature)
    for diameter, weight in zip(diameters, weights, strict=True):
        velocity = ferguson_church_velocity(diameter, density, water, viscosity)
        total += weight
        kept = kept + weight * hazen_removal(velocity, rate, compartments)
    checks.above(total, 0.0, "the sum of shares", "", "Give the share of each class by weight.")
    return kept / total


def _classes(diameters: Sequence[float], shares: Sequence[float]) -> list[tuple[float, ...]]:
    found = layers(diameters=diameters, shares=shares)
    for diameter, share in found:
        checks.above(diameter, 0.0, "each of diameters", "m")
        checks.at_least(share, 0.0, "each of shares")
    return found


@worked("Share of mixed sizes kept by a basin", method="removal of each size by its share", reference=_REFERENCE)
def mixed_sizes_removal(
    diameters: Diameters,
    shares: Shares,
    particle_density: Mineral,
    overflow_rate: SurfaceRate,
    compartments: Compartments,
    temperature: ColdWater,
) -> Fraction:
    """Return the share by weight of suspended solids of several sizes that a basin of stirred compartments keeps.

    Parameters
    ----------
    diameters : diameter of each size class. [m]
    shares : share of each class by weight; they are taken in proportion. [1]
    particle_density : density of the grains, 2650 for mineral, 1100 to 1300 for organic matter. [kg/m^3]
    overflow_rate : surface overflow rate of the whole basin. [m/s]
    compartments : number of stirred compartments it behaves like. [1]
    temperature : water temperature, -1 to 60. [degC]

    Returns
    -------
    Share of the solids kept. [1]

    Raises
    ------
    ValueError
        If lists differ in length, a value is not above 0, or the grains are not heavier than water.

    Examples
    --------
    >>> sizes, shares = [1e-6, 3e-6, 8e-6, 20e-6, 45e-6, 90e-6], [0.15, 0.20, 0.25, 0.20, 0.12, 0.08]
    >>> round(mixed_sizes_removal(sizes, shares, 2650.0, 2.5e-4, 3, 10.0), 3)
    0.36

    References
    ----------
    Hazen 1904; Ferguson and Church 2004.
    """
    classes = _classes(diameters, shares)
    return _kept(
        [d for d, _ in classes], [s for _, s in classes], particle_density, overflow_rate, compartments, temperature
    )


@worked(
    "Turbidity of mixed sizes kept by a basin",
    method="removal of each size by its share of the turbidity, which falls with diameter to the exponent",
    reference=f"{_REFERENCE}; turbidity for each mass with an exponent of 0.5 to 1, from memory",
)
def mixed_sizes_turbidity_removal(
    diameters: Diameters,
    shares: Shares,
    particle_density: Mineral,
    overflow_rate: SurfaceRate,
    compartments: Compartments,
    temperature: ColdWater,
    exponent: Annotated[Exponent, Range(0.5, 1.0)] = 0.8,
) -> Fraction:
    """Return the share of the turbidity of suspended solids of several sizes that a basin keeps.

    Parameters
    ----------
    diameters : diameter of each size class. [m]
    shares : share of each class by weight; they are taken in proportion. [1]
    particle_density : density of the grains, 2650 for mineral, 1100 to 1300 for organic matter. [kg/m^3]
    overflow_rate : surface overflow rate of the whole basin. [m/s]
    compartments : number of stirred compartments it behaves like. [1]
    temperature : water temperature, -1 to 60. [degC]
    exponent : how turbidity for each mass falls with diameter, at most 3. [1]

    Returns
    -------
    Share of the turbidity kept. [1]

    Raises
    ------
    ValueError
        If lists differ in length, a value is not above 0, or the grains are not heavier than water.

    Examples
    --------
    >>> sizes, shares = [1e-6, 3e-6, 8e-6, 20e-6, 45e-6, 90e-6], [0.15, 0.20, 0.25, 0.20, 0.12, 0.08]
    >>> round(mixed_sizes_turbidity_removal(sizes, shares, 2650.0, 2.5e-4, 3, 10.0), 3)
    0.093

    References
    ----------
    Exponent from memory.
    """
    classes = _classes(diameters, shares)
    checks.within(exponent, 0.0, 3.0, "exponent", "", "0.8 is usual; 0 counts turbidity like weight.")
    weights = [share * (1e6 * diameter) ** -exponent for diameter, share in classes]
    return _kept([d for d, _ in classes], weights, particle_density, overflow_rate, compartments, temperature)

"""How fast do grains and floc sink, and what does a basin keep of them?"""

import math
from typing import Annotated, Any

import numpy as np

from weirhouse.science import checks
from weirhouse.science.quantities import (
    Area,
    Density,
    Exponent,
    Flow,
    Fraction,
    KinematicViscosity,
    Number,
    ParticleSize,
    Ratio,
    SurfaceRate,
    Velocity,
    Viscosity,
)
from weirhouse.working import Range, worked

Grain = Annotated[ParticleSize, Range(1e-6, 2e-3)]
FineGrain = Annotated[ParticleSize, Range(1e-6, 6e-5)]
GrainDensity = Annotated[Density, Range(1050.0, 2700.0)]
WaterDensity = Annotated[Density, Range(992.0, 1000.0)]
FallVelocity = Annotated[Velocity, Range(1e-5, 5e-3)]
_STOKES = "G. G. Stokes 1851; F = 3 pi viscosity diameter velocity"
_IDEAL = "A. Hazen, Transactions ASCE 53 (1904) 45"
_FALLS = "What is not heavier than the water does not settle."


def _grain(diameter: Any, particle_density: Any, fluid_density: Any, viscosity: Any = 1.0) -> None:
    checks.above(diameter, 0.0, "diameter", "m")
    checks.above(fluid_density, 0.0, "fluid_density", "kg/m^3")
    checks.above(viscosity, 0.0, "viscosity", "", "Take it from the water's temperature.")
    checks.refuse(
        particle_density <= fluid_density, particle_density, "particle_density must be above fluid_density", _FALLS
    )


def _creeping(velocity: Any, diameter: Any, fluid_density: Any, viscosity: Any) -> None:
    reynolds = fluid_density * velocity * diameter / viscosity
    checks.require(
        reynolds <= 1.0,
        reynolds,
        "the Reynolds number of the particle must not be above 1 for Stokes' law",
        "Use settling_velocity, which holds beyond.",
    )


@worked(
    "Settling velocity by Stokes' law",
    expression="9.80665 * (particle_density - fluid_density) * diameter**2 / (18 * viscosity)",
    reference=_STOKES,
)
def stokes_velocity(
    diameter: FineGrain, particle_density: GrainDensity, fluid_density: WaterDensity, viscosity: Viscosity
) -> Velocity:
    """Return the settling velocity of a small sphere, up to a Reynolds number of 1 (sand to about 0.1 mm).

    Parameters
    ----------
    diameter : diameter of the sphere. [m]
    particle_density : density of the sphere. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]

    Returns
    -------
    Settling velocity. [m/s]

    Raises
    ------
    ValueError
        If an input is not above 0, the particle not heavier than the water, or the Reynolds number above 1.

    Examples
    --------
    >>> round(stokes_velocity(1e-4, 2600.0, 1000.0, 0.001), 5)
    0.00872

    References
    ----------
    Stokes 1851.
    """
    _grain(diameter, particle_density, fluid_density, viscosity)
    velocity = 9.80665 * (particle_density - fluid_density) * diameter * diameter / (18 * viscosity)
    _creeping(velocity, diameter, fluid_density, viscosity)
    return velocity


@worked(
    "Diameter that settles at a velocity, by Stokes' law",
    expression="sqrt(18 * viscosity * velocity / (9.80665 * (particle_density - fluid_density)))",
    reference=_STOKES,
)
def stokes_diameter(
    velocity: Annotated[Velocity, Range(1e-6, 2e-4)],
    particle_density: Annotated[Density, Range(1500.0, 2700.0)],
    fluid_density: WaterDensity,
    viscosity: Viscosity,
) -> ParticleSize:
    """Return the diameter of a sphere that settles at a velocity: the largest that rising water carries up.

    Parameters
    ----------
    velocity : settling velocity, or velocity of the rising water. [m/s]
    particle_density : density of the sphere. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]

    Returns
    -------
    Diameter. [m]

    Raises
    ------
    ValueError
        If the velocity is below 0, the particle not heavier than the water, or the Reynolds number above 1.

    Examples
    --------
    >>> round(stokes_diameter(0.005, 7500.0, 1000.0, 0.001) * 1e6, 1)  # micrometres
    37.6

    References
    ----------
    Stokes 1851.
    """
    checks.at_least(velocity, 0.0, "velocity", "m/s")
    _grain(1.0, particle_density, fluid_density, viscosity)
    diameter = checks.sqrt(18 * viscosity * velocity / (9.80665 * (particle_density - fluid_density)))
    _creeping(velocity, diameter, fluid_density, viscosity)
    return diameter


@worked(
    "Density from a settling velocity, by Stokes' law",
    expression="fluid_density + 18 * viscosity * velocity / (9.80665 * diameter**2)",
    reference=_STOKES,
)
def stokes_particle_density(
    velocity: Annotated[Velocity, Range(1e-6, 1e-3)],
    diameter: Annotated[ParticleSize, Range(2e-5, 2e-4)],
    fluid_density: WaterDensity,
    viscosity: Viscosity,
) -> Density:
    """Return the density of a sphere from how fast it settles.

    Parameters
    ----------
    velocity : settling velocity. [m/s]
    diameter : diameter of the sphere. [m]
    fluid_density : density of the fluid. [kg/m^3]
    viscosity : dynamic viscosity of the fluid. [Pa*s]

    Returns
    -------
    Density of the sphere. [kg/m^3]

    Raises
    ------
    ValueError
        If the velocity is below 0, another input not above 0, or the Reynolds number above 1.

    Examples
    --------
    >>> round(stokes_particle_density(0.042, 0.006, 970.0, 0.9))  # in castor oil
    2897

    References
    ----------
    Stokes 1851.
    """
    checks.at_least(velocity, 0.0, "velocity", "m/s")
    checks.above(diameter, 0.0, "diameter", "m")
    checks.above(fluid_density, 0.0, "fluid_density", "kg/m^3")
    checks.above(viscosity, 0.0, "viscosity", "Pa*s")
    _creeping(velocity, diameter, fluid_density, viscosity)
    return fluid_density + 18 * viscosity * velocity / (9.80665 * diameter * diameter)


@worked(
    "Settling velocity in Newton's regime",
    expression="1.75 * sqrt(9.80665 * diameter * (particle_density - fluid_density) / fluid_density)",
    reference="drag coefficient 0.435 of a sphere, Reynolds number 1000 to 200,000",
)
def newton_velocity(
    diameter: Annotated[ParticleSize, Range(4e-3, 2e-2)],
    particle_density: Annotated[Density, Range(2000.0, 2700.0)],
    fluid_density: WaterDensity,
) -> Velocity:
    """Return the settling velocity of a large sphere (gravel), where viscosity no longer matters.

    Parameters
    ----------
    diameter : diameter of the sphere. [m]
    particle_density : density of the sphere. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]

    Returns
    -------
    Settling velocity. [m/s]

    Raises
    ------
    ValueError
        If an input is not above 0 or the particle not heavier than the water.

    Examples
    --------
    >>> round(newton_velocity(0.006, 2897.19, 1000.0), 2)
    0.58

    References
    ----------
    J. P. Abulencia and L. Theodore, Fluid Flow for the Practicing Chemical Engineer (Wiley, 2009), ch. 23.
    """
    _grain(diameter, particle_density, fluid_density)
    return 1.75 * checks.sqrt(9.80665 * diameter * (particle_density - fluid_density) / fluid_density)


@worked(
    "Drag coefficient of a sphere",
    expression="24 / reynolds * (1 + 0.15 * reynolds**0.687) + 0.42 / (1 + 42500 * reynolds**-1.16)",
    reference="R. Clift and W. H. Gauvin, Proceedings Chemeca 70, 1 (1970) 14",
)
def sphere_drag_coefficient(reynolds: Annotated[Number, Range(1e-4, 1e5)]) -> Ratio:
    """Return the drag coefficient of a sphere, from creeping flow to a Reynolds number of 300,000.

    Parameters
    ----------
    reynolds : Reynolds number of the sphere. [1]

    Returns
    -------
    Drag coefficient. [1]

    Raises
    ------
    ValueError
        If the Reynolds number is not above 0 or above 300,000.

    Examples
    --------
    >>> round(sphere_drag_coefficient(100.0), 3)
    1.094

    References
    ----------
    Clift and Gauvin 1970.
    """
    checks.above(reynolds, 0.0, "reynolds")
    checks.require(reynolds <= 3e5, reynolds, "reynolds must not be above 300000", "The drag drops suddenly there.")
    return 24 / reynolds * (1 + 0.15 * reynolds**0.687) + 0.42 / (1 + 42500 * reynolds**-1.16)


@worked(
    "Settling velocity of a sphere",
    method="drag of Clift and Gauvin in balance with the weight in water, by halving the interval 60 times",
    reference="R. Clift and W. H. Gauvin, Proceedings Chemeca 70, 1 (1970) 14",
)
def settling_velocity(
    diameter: Grain, particle_density: GrainDensity, fluid_density: WaterDensity, viscosity: Viscosity
) -> Velocity:
    """Return the settling velocity of a sphere of any size, from Stokes' law through the transition to gravel.

    Grains of sand are not spheres and settle slower when larger than 0.1 mm: see `ferguson_church_velocity`.

    Parameters
    ----------
    diameter : diameter of the sphere. [m]
    particle_density : density of the sphere. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]

    Returns
    -------
    Settling velocity. [m/s]

    Raises
    ------
    ValueError
        If an input is not above 0, the particle not heavier than the water, or the Reynolds number above 300,000.

    Examples
    --------
    >>> round(settling_velocity(4e-4, 7870.0, 820.0, 0.01), 4)
    0.0507

    References
    ----------
    Clift and Gauvin 1970.
    """
    _grain(diameter, particle_density, fluid_density, viscosity)
    # drag x Reynolds^2 is known from the weight alone and rises with Reynolds: halve the interval of its logarithm
    weight = (
        4 / 3 * 9.80665 * fluid_density * (particle_density - fluid_density) * diameter**3 / (viscosity * viscosity)
    )
    checks.refuse(weight > 4.0e10, diameter, "diameter must not give a Reynolds number above 300,000", "Too large.")
    low: Any = math.log(1e-12) + 0.0 * weight
    high: Any = math.log(3e5) + 0.0 * weight
    for _ in range(60):
        middle = 0.5 * (low + high)
        reynolds = checks.exp(middle)
        lighter = _drag_times_square(reynolds) < weight
        low, high = checks.choose(lighter, middle, low), checks.choose(lighter, high, middle)
    return checks.exp(0.5 * (low + high)) * viscosity / (fluid_density * diameter)


def _drag_times_square(reynolds: Any) -> Any:
    return 24 * reynolds * (1 + 0.15 * reynolds**0.687) + 0.42 * reynolds * reynolds / (1 + 42500 * reynolds**-1.16)


@worked(
    "Settling velocity of natural grains",
    expression="9.80665 * (particle_density / fluid_density - 1) * diameter**2 / (c1 * kinematic_viscosity"
    " + sqrt(0.75 * c2 * 9.80665 * (particle_density / fluid_density - 1) * diameter**3))",
    reference="R. I. Ferguson and M. Church, J. Sedimentary Research 74 (2004) 933",
)
def ferguson_church_velocity(
    diameter: Grain,
    particle_density: GrainDensity,
    fluid_density: WaterDensity,
    kinematic_viscosity: KinematicViscosity,
    c1: Annotated[Ratio, Range(18.0, 20.0)] = 18.0,
    c2: Annotated[Ratio, Range(0.4, 1.2)] = 1.0,
) -> Velocity:
    """Return the settling velocity of grains of sand and silt by sieve size.

    Parameters
    ----------
    diameter : sieve diameter. [m]
    particle_density : density of the grain, 2650 for quartz. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]
    kinematic_viscosity : kinematic viscosity of the water. [m^2/s]
    c1 : 18 for natural grains and spheres, 20 for angular grains. [1]
    c2 : 1.0 for natural grains by sieve size, 1.1 for angular grains, 0.4 for spheres. [1]

    Returns
    -------
    Settling velocity. [m/s]

    Raises
    ------
    ValueError
        If an input is not above 0 or the grain not heavier than the water.

    Examples
    --------
    >>> round(ferguson_church_velocity(1e-4, 2650.0, 1000.0, 1e-6, c1=20.0, c2=1.1) * 1000, 3)  # mm/s
    6.841

    References
    ----------
    Ferguson and Church 2004.
    """
    _grain(diameter, particle_density, fluid_density, kinematic_viscosity)
    checks.above(c1, 0.0, "c1")
    checks.at_least(c2, 0.0, "c2")
    pull = 9.80665 * (particle_density / fluid_density - 1) * diameter * diameter
    return pull / (c1 * kinematic_viscosity + checks.sqrt(0.75 * c2 * pull * diameter))


@worked(
    "Settling velocity of natural grains by Cheng",
    expression="kinematic_viscosity / diameter * (sqrt(25 + 1.2 * (diameter * (9.80665 * (particle_density"
    " / fluid_density - 1) / kinematic_viscosity**2)**(1 / 3))**2) - 5)**1.5",
    reference="N.-S. Cheng, J. Hydraulic Engineering ASCE 123 (1997) 149",
)
def cheng_velocity(
    diameter: Grain,
    particle_density: GrainDensity,
    fluid_density: WaterDensity,
    kinematic_viscosity: KinematicViscosity,
) -> Velocity:
    """Return the settling velocity of grains of sand and silt by Cheng's formula, a second opinion.

    Parameters
    ----------
    diameter : sieve diameter. [m]
    particle_density : density of the grain, 2650 for quartz. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]
    kinematic_viscosity : kinematic viscosity of the water. [m^2/s]

    Returns
    -------
    Settling velocity. [m/s]

    Raises
    ------
    ValueError
        If an input is not above 0 or the grain not heavier than the water.

    Examples
    --------
    >>> round(cheng_velocity(1e-4, 2650.0, 1000.0, 1e-6) * 1000, 2)  # mm/s
    6.06

    References
    ----------
    Cheng 1997.
    """
    _grain(diameter, particle_density, fluid_density, kinematic_viscosity)
    size = diameter * (9.80665 * (particle_density / fluid_density - 1) / kinematic_viscosity**2) ** (1 / 3)
    return kinematic_viscosity / diameter * (checks.sqrt(25 + 1.2 * size * size) - 5) ** 1.5


@worked(
    "Settling criterion",
    expression="diameter * (9.80665 * (particle_density - fluid_density) * fluid_density / viscosity**2)**(1 / 3)",
    reference="W. L. McCabe, J. C. Smith, P. Harriott, Unit Operations of Chemical Engineering, K factor",
)
def settling_criterion(
    diameter: Grain, particle_density: GrainDensity, fluid_density: WaterDensity, viscosity: Viscosity
) -> Ratio:
    """Return the K factor that tells the regime: Stokes below 3.3, Newton above 43.6, transition between.

    Parameters
    ----------
    diameter : diameter of the particle. [m]
    particle_density : density of the particle. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]

    Returns
    -------
    K factor, the diameter without dimension. [1]

    Raises
    ------
    ValueError
        If an input is not above 0 or the particle not heavier than the water.

    Examples
    --------
    >>> round(settling_criterion(9e-5, 2650.0, 1000.0, 0.001), 2)
    2.28

    References
    ----------
    Abulencia and Theodore 2009, ch. 24.
    """
    _grain(diameter, particle_density, fluid_density, viscosity)
    return diameter * (9.80665 * (particle_density - fluid_density) * fluid_density / viscosity**2) ** (1 / 3)


@worked(
    "Hindered settling velocity",
    expression="terminal_velocity * (1 - solids_share)**exponent",
    reference="J. F. Richardson and W. N. Zaki, Trans. Inst. Chem. Eng. 32 (1954) 35",
)
def hindered_velocity(
    terminal_velocity: FallVelocity,
    solids_share: Annotated[Fraction, Range(0.0, 0.4)],
    exponent: Annotated[Exponent, Range(2.4, 4.8)] = 4.8,
) -> Velocity:
    """Return the velocity at which crowded particles settle.

    Parameters
    ----------
    terminal_velocity : settling velocity of one particle alone. [m/s]
    solids_share : share of the volume that is solid. [1]
    exponent : 4.8 for fine particles (Stokes), 2.4 for coarse ones. [1]

    Returns
    -------
    Settling velocity. [m/s]

    Raises
    ------
    ValueError
        If the share is not from 0 to 1 or the exponent not from 0 to 10.

    Examples
    --------
    >>> round(hindered_velocity(0.00872, 0.1), 5)
    0.00526

    References
    ----------
    Richardson and Zaki 1954.
    """
    checks.within(solids_share, 0.0, 1.0, "solids_share")
    checks.within(exponent, 0.0, 10.0, "exponent", "", "4.8 for fine particles, 2.4 for coarse ones.")
    return terminal_velocity * (1 - solids_share) ** exponent


@worked(
    "Largest settling flux",
    expression="terminal_velocity / (1 + exponent) * (exponent / (1 + exponent))**exponent",
    reference="J. F. Richardson and W. N. Zaki, Trans. Inst. Chem. Eng. 32 (1954) 35",
)
def largest_settling_flux(
    terminal_velocity: FallVelocity, exponent: Annotated[Exponent, Range(2.4, 4.8)] = 4.8
) -> Velocity:
    """Return the largest volume of solids that settles through an area when crowding slows it.

    Parameters
    ----------
    terminal_velocity : settling velocity of one particle alone. [m/s]
    exponent : 4.8 for fine particles (Stokes), 2.4 for coarse ones. [1]

    Returns
    -------
    Volume of solids per area and time. [m/s]

    Raises
    ------
    ValueError
        If the exponent is not from 0 to 10.

    Examples
    --------
    >>> round(largest_settling_flux(0.00872) * 1e4, 2)
    6.06

    References
    ----------
    J. M. Coulson and J. F. Richardson, Chemical Engineering vol. 2, ch. 5.
    """
    checks.within(exponent, 0.0, 10.0, "exponent", "", "4.8 for fine particles, 2.4 for coarse ones.")
    return terminal_velocity / (1 + exponent) * (exponent / (1 + exponent)) ** exponent


@worked("Share kept by an ideal basin", expression="min(1, settling_velocity / overflow_rate)", reference=_IDEAL)
def ideal_removal(settling_velocity: FallVelocity, overflow_rate: SurfaceRate) -> Fraction:
    """Return the share of equal particles that a basin with even, quiet flow keeps.

    Parameters
    ----------
    settling_velocity : settling velocity of the particles. [m/s]
    overflow_rate : surface overflow rate of the basin. [m/s]

    Returns
    -------
    Share kept. [1]

    Raises
    ------
    ValueError
        If the velocity is below 0 or the rate not above 0.

    Examples
    --------
    >>> round(ideal_removal(8.99e-5, 1.0288e-3), 4)
    0.0874

    References
    ----------
    Hazen 1904.
    """
    checks.at_least(settling_velocity, 0.0, "settling_velocity", "m/s")
    checks.above(overflow_rate, 0.0, "overflow_rate", "m/s")
    return checks.least(1.0, settling_velocity / overflow_rate)


@worked(
    "Share kept by a basin of stirred compartments",
    expression="1 - (1 + settling_velocity / (compartments * overflow_rate))**-compartments",
    reference=_IDEAL,
)
def hazen_removal(
    settling_velocity: FallVelocity, overflow_rate: SurfaceRate, compartments: Annotated[Number, Range(1.0, 8.0)]
) -> Fraction:
    """Return the share of equal particles kept by a basin that behaves like stirred compartments in series.

    Parameters
    ----------
    settling_velocity : settling velocity of the particles. [m/s]
    overflow_rate : surface overflow rate of the whole basin. [m/s]
    compartments : number of compartments; 1 poor, 3 good, 5 to 8 very good. [1]

    Returns
    -------
    Share kept. [1]

    Raises
    ------
    ValueError
        If the velocity is below 0, or rate or compartments not above 0.

    Examples
    --------
    >>> round(hazen_removal(0.001, 0.001, 3), 4)
    0.5781

    References
    ----------
    Hazen 1904; the grading of basins from memory of Fair and Geyer.
    """
    checks.at_least(settling_velocity, 0.0, "settling_velocity", "m/s")
    checks.above(overflow_rate, 0.0, "overflow_rate", "m/s")
    checks.above(compartments, 0.0, "compartments")
    return 1 - (1 + settling_velocity / (compartments * overflow_rate)) ** -compartments


@worked(
    "Area of one stirred basin for a removal",
    expression="removal * flow / (settling_velocity * (1 - removal))",
    reference="Minnesota Pollution Control Agency, Stormwater Manual, pretreatment sizing",
)
def basin_area_for_removal(
    removal: Annotated[Fraction, Range(0.1, 0.95)], flow: Flow, settling_velocity: FallVelocity
) -> Area:
    """Return the plan area at which one stirred basin keeps a share of particles of one settling velocity.

    Parameters
    ----------
    removal : share to be kept. [1]
    flow : flow through it. [m^3/s]
    settling_velocity : settling velocity of the particles. [m/s]

    Returns
    -------
    Plan area. [m^2]

    Raises
    ------
    ValueError
        If the share is not from 0 to below 1, the flow below 0, or the velocity not above 0.

    Examples
    --------
    >>> round(basin_area_for_removal(0.5, 0.01, 0.001), 1)
    10.0

    References
    ----------
    Minnesota Pollution Control Agency, Stormwater Manual.
    """
    checks.at_least(removal, 0.0, "removal")
    checks.require(removal < 1, removal, "removal must be below 1", "No basin keeps everything.")
    checks.at_least(flow, 0.0, "flow", "m^3/s")
    checks.above(settling_velocity, 0.0, "settling_velocity", "m/s")
    return removal * flow / (settling_velocity * (1 - removal))


@worked(
    "Floc settling velocity in colder water",
    expression="velocity_at_20 * 0.0010016 / viscosity",
    reference="Stokes' law; viscosity of water at 20 degC, IAPWS SR6-08",
)
def floc_velocity(velocity_at_20: FallVelocity, viscosity: Viscosity) -> Velocity:
    """Return the settling velocity of floc at a temperature from the one at 20 degC: cold water holds it up.

    Parameters
    ----------
    velocity_at_20 : settling velocity at 20 degC. [m/s]
    viscosity : dynamic viscosity of the water now. [Pa*s]

    Returns
    -------
    Settling velocity. [m/s]

    Raises
    ------
    ValueError
        If the velocity is below 0 or the viscosity not above 0.

    Examples
    --------
    >>> round(floc_velocity(0.001, 0.0015182), 5)
    0.00066

    References
    ----------
    Stokes' law.
    """
    checks.at_least(velocity_at_20, 0.0, "velocity_at_20", "m/s")
    checks.above(viscosity, 0.0, "viscosity", "Pa*s")
    return velocity_at_20 * 0.0010016 / viscosity


@worked(
    "Floc carried over by an upflow clarifier",
    method="share of log-normally spread floc that settles slower than the water rises",
    reference="log-normal spread of settling velocities; no blanket",
)
def upflow_carry_over(
    rise_rate: Annotated[Velocity, Range(1e-4, 1e-3)],
    median_velocity: Annotated[Velocity, Range(3e-4, 2e-3)],
    spread: Annotated[Ratio, Range(0.5, 0.9)],
) -> Fraction:
    """Return the share of floc that rises with the water: Phi((ln rise - ln median) / spread).

    Parameters
    ----------
    rise_rate : upward velocity of the water. [m/s]
    median_velocity : settling velocity that half of the floc exceeds. [m/s]
    spread : standard deviation of the logarithm of the velocities. [1]

    Returns
    -------
    Share carried over. [1]

    Raises
    ------
    ValueError
        If an input is not above 0.

    Examples
    --------
    >>> round(upflow_carry_over(0.0005, 0.001, 0.7), 3)
    0.161

    References
    ----------
    Log-normal spread of settling velocities (common practice, no source).
    """
    checks.above(rise_rate, 0.0, "rise_rate", "m/s")
    checks.above(median_velocity, 0.0, "median_velocity", "m/s")
    checks.above(spread, 0.0, "spread")
    x = checks.ln(rise_rate / median_velocity) / (spread * math.sqrt(2.0))
    if isinstance(x, float | int):
        return 0.5 * math.erfc(-x)
    from scipy.special import erfc

    return np.asarray(0.5 * erfc(-x))

"""At what rate do grains lift, and how far does a layer expand?

Wen and Yu's relation (no shape, no porosity) and Ergun's balance (with both) say when grains lift; Dharmarajah and
Cleasby's relation, with Akgiray and Soyer's and Richardson and Zaki's as second opinions, says how far a lifted layer
expands. All need the water's temperature: cold water lifts more. A shape that was never measured is the weakest input;
one measured expansion settles it.
"""

import math
from collections.abc import Callable, Sequence
from typing import Annotated, Any

import numpy as np

from weirhouse.science import checks
from weirhouse.science.filtration import layers
from weirhouse.science.head_loss import bed
from weirhouse.science.properties import dynamic_viscosity, water_density
from weirhouse.science.quantities import (
    Area,
    Density,
    Exponent,
    FilterRate,
    Fraction,
    GrainDensity,
    GrainSize,
    Head,
    Length,
    Mass,
    Number,
    Porosity,
    Pressure,
    Ratio,
    Several,
    Sphericity,
    Temperature,
    Velocity,
    Viscosity,
)
from weirhouse.working import Range, worked

MediaGrain = Annotated[GrainSize, Range(3e-4, 2e-3)]
MediaDensity = Annotated[GrainDensity, Range(1450.0, 4200.0)]
WaterDensity = Annotated[Density, Range(992.0, 1000.0)]
WashRate = Annotated[FilterRate, Range(0.004, 0.016)]
LayerDepth = Annotated[Length, Range(0.05, 2.0)]
ExpandedPorosity = Annotated[Porosity, Range(0.35, 1.0)]
TerminalVelocity = Annotated[Velocity, Range(0.02, 0.5)]
Depths = Annotated[Sequence[float], Several("m", us="in", si="mm", low=0.05, high=1.0)]
Sizes = Annotated[Sequence[float], Several("m", us="mm", si="mm", low=4e-4, high=2e-3)]
Porosities = Annotated[Sequence[float], Several("1", us="1", si="1", low=0.35, high=0.6)]
Sphericities = Annotated[Sequence[float], Several("1", us="1", si="1", low=0.45, high=1.0)]
Densities = Annotated[Sequence[float], Several("kg/m^3", us="kg/m^3", si="kg/m^3", low=1500.0, high=4200.0)]
_WEN_YU = "C. Y. Wen and Y. H. Yu, Chemical Engineering Progress Symposium Series 62 (1966) 100"
_ERGUN = "S. Ergun, Chemical Engineering Progress 48 (1952) 89, balanced with the weight of the bed"
_CLEASBY = "A. H. Dharmarajah and J. L. Cleasby, J. American Water Works Association 78 no. 12 (1986) 66"
_AKGIRAY = "O. Akgiray and E. Soyer, J. Water Supply: Research and Technology 55 (2006) 517"
_RICHARDSON = "J. F. Richardson and W. N. Zaki, Trans. Inst. Chem. Eng. 32 (1954) 35"
_HAIDER = "A. Haider and O. Levenspiel, Powder Technology 58 (1989) 63"
_FAIR = "G. M. Fair, J. C. Geyer, D. A. Okun, Water and Wastewater Engineering vol. 2 (Wiley, 1968)"
_CARRIED = "Such a rate carries the grains away."
_MOST = 0.9999  # a looser layer is no layer


def _grain(grain_size: Any, particle_density: Any, fluid_density: Any, viscosity: Any) -> None:
    checks.above(grain_size, 0.0, "grain_size", "m")
    checks.above(fluid_density, 0.0, "fluid_density", "kg/m^3")
    checks.above(viscosity, 0.0, "viscosity", "Pa*s", "Take it from the water's temperature with dynamic_viscosity.")
    checks.refuse(
        particle_density <= fluid_density, particle_density, "particle_density must be above fluid_density",
        "What is not heavier than the water floats off.",
    )  # fmt: skip


# --- when grains lift --------------------------------------------------------------------------------------------


@worked(
    "Galileo number of a grain",
    expression="grain_size**3 * fluid_density * (particle_density - fluid_density) * 9.80665 / viscosity**2",
    reference="definition; also called the Archimedes number",
)
def galileo_number(
    grain_size: MediaGrain, particle_density: MediaDensity, fluid_density: WaterDensity, viscosity: Viscosity
) -> Annotated[Number, Range(100.0, 3e5)]:
    """Return the weight of a grain in water against the water's stickiness; also called Archimedes number.

    Parameters
    ----------
    grain_size : diameter of the grain. [m]
    particle_density : density of the grain. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]

    Returns
    -------
    Galileo number. [1]

    Raises
    ------
    ValueError
        If an input is not above 0 or the grain not heavier than the water.

    Examples
    --------
    >>> round(galileo_number(1e-3, 2650.0, 997.0, 8.9e-4))
    20404

    References
    ----------
    Definition.
    """
    return _galileo(grain_size, particle_density, fluid_density, viscosity)


def _galileo(grain_size: Any, particle_density: Any, fluid_density: Any, viscosity: Any) -> Any:
    _grain(grain_size, particle_density, fluid_density, viscosity)
    weight = fluid_density * (particle_density - fluid_density) * 9.80665
    return grain_size**3 * weight / (viscosity * viscosity)


@worked(
    "Rate that begins to lift grains, by Wen and Yu",
    expression="viscosity / (fluid_density * grain_size) * (sqrt(33.7**2 + 0.0408 * grain_size**3 * fluid_density"
    " * (particle_density - fluid_density) * 9.80665 / viscosity**2) - 33.7)",
    reference=_WEN_YU,
)
def minimum_fluidisation_velocity(
    grain_size: MediaGrain, particle_density: MediaDensity, fluid_density: WaterDensity, viscosity: Viscosity
) -> WashRate:
    """Return the rising rate at which grains begin to lift, whatever their shape.

    Parameters
    ----------
    grain_size : diameter of the grains; d90 for the coarse end of a layer. [m]
    particle_density : density of the grains. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]

    Returns
    -------
    Rate for each area of the bed. [m/s]

    Raises
    ------
    ValueError
        If an input is not above 0 or the grains not heavier than the water.

    Examples
    --------
    >>> round(minimum_fluidisation_velocity(1e-3, 2650.0, 997.0, 8.9e-4) * 3600, 1)  # m/h
    34.2

    References
    ----------
    Wen and Yu 1966.
    """
    galileo = _galileo(grain_size, particle_density, fluid_density, viscosity)
    return viscosity / (fluid_density * grain_size) * (checks.sqrt(33.7**2 + 0.0408 * galileo) - 33.7)


@worked(
    "Rate that begins to lift a bed, by Ergun",
    expression="porosity**3 * viscosity / (3.5 * fluid_density * grain_size) * (sqrt((150 * (1 - porosity)"
    " / (porosity**3 * sphericity))**2 + 7 / porosity**3 * sphericity * grain_size**3 * fluid_density"
    " * (particle_density - fluid_density) * 9.80665 / viscosity**2) - 150 * (1 - porosity)"
    " / (porosity**3 * sphericity))",
    reference=_ERGUN,
)
def minimum_fluidisation_velocity_ergun(
    grain_size: MediaGrain,
    sphericity: Sphericity,
    porosity: Porosity,
    particle_density: MediaDensity,
    fluid_density: WaterDensity,
    viscosity: Viscosity,
) -> WashRate:
    """Return the rising rate at which the drag on a bed of given shape and porosity carries its weight.

    It solves 1.75 Re^2 / (phi e^3) + 150 (1 - e) Re / (phi^2 e^3) = Ga for the Reynolds number Re of the grain.

    Parameters
    ----------
    grain_size : diameter of the grains; d90 for the coarse end of a layer. [m]
    sphericity : sphericity of the grains. [1]
    porosity : porosity at which they begin to lift. [1]
    particle_density : density of the grains. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]

    Returns
    -------
    Rate for each area of the bed. [m/s]

    Raises
    ------
    ValueError
        If an input is out of bounds or the grains not heavier than the water.

    Examples
    --------
    >>> round(minimum_fluidisation_velocity_ergun(1.2e-4, 0.88, 0.42, 1000.0, 2.374, 1.85e-5), 6)  # in a gas
    0.005015

    References
    ----------
    Ergun 1952.
    """
    bed(grain_size, porosity, sphericity)
    galileo = _galileo(grain_size, particle_density, fluid_density, viscosity)
    cube = porosity**3
    slow = 150 * (1 - porosity) / (cube * sphericity)
    root = checks.sqrt(slow * slow + 7 / cube * sphericity * galileo)
    return cube * viscosity / (3.5 * fluid_density * grain_size) * (root - slow)


@worked(
    "Rate that begins to lift grains at a temperature",
    method="viscosity and density at the temperature, then Wen and Yu",
    reference=_WEN_YU,
)
def minimum_fluidisation_rate(
    grain_size: MediaGrain, particle_density: MediaDensity, temperature: Temperature
) -> WashRate:
    """Return the backwash rate at which grains begin to lift in water of a temperature.

    Parameters
    ----------
    grain_size : diameter of the grains; d90 for the coarse end of a layer. [m]
    particle_density : density of the grains. [kg/m^3]
    temperature : water temperature. [degC]

    Returns
    -------
    Backwash rate. [m/s]

    Raises
    ------
    ValueError
        If an input is out of bounds or the grains not heavier than the water.

    Examples
    --------
    >>> round(minimum_fluidisation_rate(0.85e-3, 2650.0, 10.0) * 3600, 1)  # m/h
    18.6

    References
    ----------
    Wen and Yu 1966.
    """
    density, viscosity = water_density(temperature), dynamic_viscosity(temperature)
    return minimum_fluidisation_velocity(grain_size, particle_density, density, viscosity)


@worked(
    "Head loss of a lifted layer",
    expression="depth * (1 - porosity) * (particle_density - fluid_density) / fluid_density",
    reference="weight of the grains in water; definition",
)
def fluidised_head_loss(
    depth: LayerDepth, porosity: Porosity, particle_density: MediaDensity, fluid_density: WaterDensity
) -> Annotated[Head, Range(0.005, 4.0)]:
    """Return the head that carries a layer: what a wash must bring above the pipes, and no more once it is lifted.

    Parameters
    ----------
    depth : depth of the layer at rest. [m]
    porosity : porosity at rest. [1]
    particle_density : density of the grains. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]

    Returns
    -------
    Head loss. [m]

    Raises
    ------
    ValueError
        If an input is out of bounds or the grains not heavier than the water.

    Examples
    --------
    >>> round(fluidised_head_loss(0.2286, 0.43, 2650.0, 999.7), 3)
    0.215

    References
    ----------
    Balance of forces.
    """
    checks.at_least(depth, 0.0, "depth", "m")
    bed(1.0, porosity)
    _grain(1.0, particle_density, fluid_density, 1.0)
    return depth * (1 - porosity) * (particle_density - fluid_density) / fluid_density


@worked(
    "Pressure drop of a lifted bed",
    expression="9.80665 * depth * (1 - porosity) * (particle_density - fluid_density)",
    reference="weight of the grains in the fluid; definition",
)
def fluidised_pressure_drop(
    depth: LayerDepth, porosity: Porosity, particle_density: MediaDensity, fluid_density: WaterDensity
) -> Pressure:
    """Return the pressure that carries a bed in any fluid once it is lifted.

    Parameters
    ----------
    depth : depth of the bed. [m]
    porosity : its porosity at that depth. [1]
    particle_density : density of the grains. [kg/m^3]
    fluid_density : density of the fluid. [kg/m^3]

    Returns
    -------
    Pressure drop. [Pa]

    Raises
    ------
    ValueError
        If an input is out of bounds or the grains not heavier than the fluid.

    Examples
    --------
    >>> round(fluidised_pressure_drop(1.724, 0.42, 1000.0, 2.374), -1)
    9780.0

    References
    ----------
    Balance of forces.
    """
    checks.at_least(depth, 0.0, "depth", "m")
    bed(1.0, porosity)
    _grain(1.0, particle_density, fluid_density, 1.0)
    return 9.80665 * depth * (1 - porosity) * (particle_density - fluid_density)


@worked(
    "Porosity at which grains begin to lift",
    expression="(1 / (14 * sphericity))**(1 / 3)",
    reference=_WEN_YU + ": sphericity x porosity^3 is about 1/14",
)
def minimum_fluidisation_porosity(sphericity: Sphericity) -> Porosity:
    """Return about the porosity of a bed as it begins to lift, where it was not measured.

    Parameters
    ----------
    sphericity : sphericity of the grains. [1]

    Returns
    -------
    Porosity. [1]

    Raises
    ------
    ValueError
        If the sphericity is not from 0.1 to 1.

    Examples
    --------
    >>> round(minimum_fluidisation_porosity(0.8), 3)
    0.447

    References
    ----------
    Wen and Yu 1966.
    """
    bed(1.0, 0.5, sphericity)
    return (1 / (14 * sphericity)) ** (1 / 3)


# --- one grain alone ---------------------------------------------------------------------------------------------


@worked(
    "Terminal velocity of a grain of media",
    method="solved by bisection until the drag by Haider and Levenspiel for its sphericity carries the grain",
    reference=_HAIDER + " (constants from memory)",
)
def terminal_velocity(
    grain_size: MediaGrain,
    particle_density: MediaDensity,
    fluid_density: WaterDensity,
    viscosity: Viscosity,
    sphericity: Sphericity = 1.0,
) -> TerminalVelocity:
    """Return the velocity at which one grain of media falls in still water.

    Parameters
    ----------
    grain_size : diameter of the sphere of its volume, about its sieve size. [m]
    particle_density : density of the grain. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]
    sphericity : sphericity of the grain. [1]

    Returns
    -------
    Terminal velocity. [m/s]

    Raises
    ------
    ValueError
        If an input is out of bounds, the grain not heavier than the water, or its Reynolds number above 25,000.

    Examples
    --------
    >>> round(terminal_velocity(1e-3, 2650.0, 999.7, 1.306e-3, sphericity=0.82), 3)
    0.132

    References
    ----------
    Haider and Levenspiel 1989.
    """
    _grain(grain_size, particle_density, fluid_density, viscosity)
    bed(grain_size, 0.5, sphericity)
    # Cd Re^2 = 4/3 Ga is known from the grain alone
    weight = 4 / 3 * _galileo(grain_size, particle_density, fluid_density, viscosity)
    checks.refuse(
        weight > _drag_square(2.5e4, sphericity),
        grain_size,
        "grain_size must not give a Reynolds number above 25,000",
        "Too large.",
    )
    like = weight + 0.0 * sphericity
    reynolds = checks.exp(
        _halved(lambda x: _drag_square(checks.exp(x), sphericity) - weight, -25.0, math.log(2.5e4), like)
    )
    return reynolds * viscosity / (fluid_density * grain_size)


def _drag_square(reynolds: Any, sphericity: Any) -> Any:
    """Return drag coefficient times Reynolds number squared: it rises with the Reynolds number."""
    p = sphericity
    a = checks.exp(2.3288 - 6.4581 * p + 2.4486 * p * p)
    c = checks.exp(4.905 - 13.8944 * p + 18.4222 * p * p - 10.2599 * p**3)
    d = checks.exp(1.4681 + 12.2584 * p - 20.7322 * p * p + 15.8855 * p**3)
    slow = 24 * reynolds * (1 + a * reynolds ** (0.0964 + 0.5565 * p))
    return slow + c * reynolds * reynolds / (1 + d / reynolds)


def _halved(function: Callable[[Any], Any], low: float, high: float, like: Any) -> Any:
    """Return where a rising function of x crosses 0, by halving the interval; in the shape of `like`, NaN as it is."""
    a: Any = low + 0.0 * like
    b: Any = high + 0.0 * like
    for _ in range(64):
        middle = 0.5 * (a + b)
        below = function(middle) < 0
        a, b = checks.choose(below, middle, a), checks.choose(below, b, middle)
    return 0.5 * (a + b)


# --- how far a layer expands -------------------------------------------------------------------------------------


def _shape_and_wash(
    backwash_rate: Any,
    grain_size: Any,
    porosity: Any,
    sphericity: Any,
    particle_density: Any,
    fluid_density: Any,
    viscosity: Any,
) -> tuple[Any, Any]:
    """Return weight and drag of a layer without their porosity: A (1-e)^2/e^3 and B (1-e)."""
    checks.at_least(backwash_rate, 0.0, "backwash_rate", "m/s")
    _grain(grain_size, particle_density, fluid_density, viscosity)
    bed(grain_size, porosity, sphericity)
    size = sphericity * grain_size / 6
    weight = fluid_density * (particle_density - fluid_density) * 9.80665 * size**3 / (viscosity * viscosity)
    return weight, fluid_density * backwash_rate * size / viscosity


def _lifted(weight: Any, drag: Any, porosity: Any, law: Callable[[Any, Any], Any], sphericity: Any) -> Any:
    """Return the porosity at which the weight balances the drag by `law`; at rest, the porosity of the bed."""

    def surplus(x: Any) -> Any:  # log10 of the weight's number above that which the drag carries
        return checks.log10(weight * x**3 / (1 - x) ** 2) - law(drag / (1 - x), sphericity)

    like = 0.0 * (weight + drag + porosity + sphericity)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = _halved(surplus, 0.1, _MOST, like)
    return checks.most(porosity + 0.0 * like, found)


def _cleasby(b: Any, sphericity: Any) -> Any:
    still = b <= 0
    x, shape = checks.log10(checks.choose(still, 1e-12, b)), checks.log10(sphericity)
    carried = 0.56543 + 1.09348 * x + 0.17971 * x * x - 0.00392 * x**4 - 1.5 * shape * shape
    return checks.choose(still, -math.inf, carried)


def _akgiray(b: Any, sphericity: Any) -> Any:
    still = b <= 0
    b = checks.choose(still, 1.0, b)
    return checks.choose(still, -math.inf, checks.log10(3.137 * b + 0.673 * b**1.766) + 0.0 * sphericity)


@worked(
    "Porosity of an expanded layer",
    method="solved by bisection until drag and weight agree: log A = 0.56543 + 1.09348 log B + 0.17971 (log B)^2"
    " - 0.00392 (log B)^4 - 1.5 (log sphericity)^2",
    reference=_CLEASBY + " (constants from memory)",
)
def expanded_porosity(
    backwash_rate: WashRate,
    grain_size: MediaGrain,
    porosity: Porosity,
    sphericity: Sphericity,
    particle_density: MediaDensity,
    fluid_density: WaterDensity,
    viscosity: Viscosity,
) -> ExpandedPorosity:
    """Return the porosity to which a rising rate expands a layer; the porosity at rest while it is not lifted.

    A = e^3 rho (rho_s - rho) g / ((1-e)^2 S^3 mu^2), B = rho V / (S mu (1-e)), S = 6 / (sphericity grain_size).

    Parameters
    ----------
    backwash_rate : backwash rate. [m/s]
    grain_size : mean grain size by surface. [m]
    porosity : porosity at rest. [1]
    sphericity : sphericity of the grains. [1]
    particle_density : density of the grains. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]

    Returns
    -------
    Porosity of the expanded layer. [1]

    Raises
    ------
    ValueError
        If an input is out of bounds or the grains not heavier than the water.

    Examples
    --------
    >>> round(expanded_porosity(0.01, 6e-4, 0.43, 0.80, 2650.0, 998.2, 1.002e-3), 3)
    0.551

    References
    ----------
    Dharmarajah and Cleasby 1986.
    """
    weight, drag = _shape_and_wash(
        backwash_rate, grain_size, porosity, sphericity, particle_density, fluid_density, viscosity
    )
    return _lifted(weight, drag, porosity, _cleasby, sphericity)


@worked(
    "Porosity of an expanded layer by Akgiray and Soyer",
    method="solved by bisection until drag and weight agree: A = 3.137 B + 0.673 B^1.766",
    reference=_AKGIRAY + " (constants from memory)",
)
def expanded_porosity_akgiray(
    backwash_rate: WashRate,
    grain_size: MediaGrain,
    porosity: Porosity,
    sphericity: Sphericity,
    particle_density: MediaDensity,
    fluid_density: WaterDensity,
    viscosity: Viscosity,
) -> ExpandedPorosity:
    """Return the porosity to which a rising rate expands a layer, by Akgiray and Soyer: a second opinion.

    A and B as for `expanded_porosity`; the constants are those for spheres.

    Parameters
    ----------
    backwash_rate : backwash rate. [m/s]
    grain_size : mean grain size by surface. [m]
    porosity : porosity at rest. [1]
    sphericity : sphericity of the grains. [1]
    particle_density : density of the grains. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]
    viscosity : dynamic viscosity of the water. [Pa*s]

    Returns
    -------
    Porosity of the expanded layer. [1]

    Raises
    ------
    ValueError
        If an input is out of bounds or the grains not heavier than the water.

    Examples
    --------
    >>> round(expanded_porosity_akgiray(0.01, 6e-4, 0.43, 0.80, 2650.0, 998.2, 1.002e-3), 3)
    0.562

    References
    ----------
    Akgiray and Soyer 2006.
    """
    weight, drag = _shape_and_wash(
        backwash_rate, grain_size, porosity, sphericity, particle_density, fluid_density, viscosity
    )
    return _lifted(weight, drag, porosity, _akgiray, sphericity)


@worked(
    "Exponent of Richardson and Zaki",
    method="by the Reynolds number of the falling grain: 4.65 below 0.2, 4.4 Re^-0.03 to 1, 4.4 Re^-0.1 to 500,"
    " then 2.4",
    reference=_RICHARDSON,
)
def richardson_zaki_exponent(reynolds: Annotated[Number, Range(0.05, 1000.0)]) -> Exponent:
    """Return the exponent that tells how crowding slows grains.

    Parameters
    ----------
    reynolds : Reynolds number of one grain falling alone. [1]

    Returns
    -------
    Exponent n. [1]

    Raises
    ------
    ValueError
        If the Reynolds number is below 0.

    Examples
    --------
    >>> round(richardson_zaki_exponent(100.0), 3)
    2.776

    References
    ----------
    Richardson and Zaki 1954, without the influence of the wall.
    """
    checks.at_least(reynolds, 0.0, "reynolds")
    safe = checks.most(reynolds, 1e-9)
    n = checks.choose(reynolds < 0.2, 4.65, checks.choose(reynolds < 1, 4.4 * safe**-0.03, 4.4 * safe**-0.1))
    return checks.choose(reynolds > 500, 2.4, n) + 0.0 * reynolds


@worked(
    "Porosity of an expanded layer by Richardson and Zaki",
    expression="(backwash_rate / terminal_velocity)**(1 / exponent)",
    reference=_RICHARDSON,
)
def richardson_zaki_porosity(
    backwash_rate: WashRate, terminal_velocity: TerminalVelocity, exponent: Annotated[Exponent, Range(2.4, 4.65)]
) -> ExpandedPorosity:
    """Return the porosity at which crowded grains fall as fast as the water rises.

    A value below the porosity at rest says that the layer is not lifted.

    Parameters
    ----------
    backwash_rate : backwash rate. [m/s]
    terminal_velocity : terminal velocity of one grain alone. [m/s]
    exponent : exponent by the Reynolds number of that grain. [1]

    Returns
    -------
    Porosity of the expanded layer. [1]

    Raises
    ------
    ValueError
        If the rate is below 0, the terminal velocity not above it, or the exponent not from 1 to 10.

    Examples
    --------
    >>> round(richardson_zaki_porosity(0.01, 0.085, 3.3), 3)
    0.523

    References
    ----------
    Richardson and Zaki 1954.
    """
    checks.at_least(backwash_rate, 0.0, "backwash_rate", "m/s")
    checks.above(terminal_velocity, 0.0, "terminal_velocity", "m/s")
    checks.refuse(
        backwash_rate >= terminal_velocity, backwash_rate, "backwash_rate must be below terminal_velocity", _CARRIED
    )
    checks.within(exponent, 1.0, 10.0, "exponent", "", "4.65 for fine grains, 2.4 for coarse ones.")
    return (backwash_rate / terminal_velocity) ** (1 / exponent)


@worked(
    "Porosity of an expanded layer by Fair and Geyer",
    expression="(backwash_rate / terminal_velocity)**(0.2247 * reynolds**0.1)",
    reference=_FAIR,
)
def fair_geyer_porosity(
    backwash_rate: WashRate, terminal_velocity: TerminalVelocity, reynolds: Annotated[Number, Range(1.0, 500.0)]
) -> ExpandedPorosity:
    """Return the porosity at which crowded grains fall as fast as the water rises, by Fair and Geyer.

    Parameters
    ----------
    backwash_rate : backwash rate. [m/s]
    terminal_velocity : terminal velocity of one grain alone. [m/s]
    reynolds : Reynolds number of that grain, its size as it is. [1]

    Returns
    -------
    Porosity of the expanded layer. [1]

    Raises
    ------
    ValueError
        If the rate is below 0, the terminal velocity not above it, or the Reynolds number not above 0.

    Examples
    --------
    >>> round(fair_geyer_porosity(0.01, 0.1078, 58.89), 3)
    0.448

    References
    ----------
    Fair, Geyer and Okun 1968; the exponent is that of Richardson and Zaki, 4.45 Re^-0.1.
    """
    checks.at_least(backwash_rate, 0.0, "backwash_rate", "m/s")
    checks.above(terminal_velocity, 0.0, "terminal_velocity", "m/s")
    checks.above(reynolds, 0.0, "reynolds")
    checks.refuse(
        backwash_rate >= terminal_velocity, backwash_rate, "backwash_rate must be below terminal_velocity", _CARRIED
    )
    return (backwash_rate / terminal_velocity) ** (0.2247 * reynolds**0.1)


@worked(
    "Porosity of an expanded bed in laminar flow",
    method="solved by bisection until e^3 / (1 - e) has grown by the ratio of the rates",
    reference="C. J. Geankoplis, Transport Processes and Unit Operations, 3rd ed. (Prentice Hall, 1993), eq. 3.1-36",
)
def laminar_expanded_porosity(
    porosity_at_minimum: Porosity, velocity_ratio: Annotated[Ratio, Range(1.0, 6.0)]
) -> ExpandedPorosity:
    """Return the porosity of a lifted bed of fine grains from how far the rate exceeds that which began to lift it.

    Parameters
    ----------
    porosity_at_minimum : porosity at which it began to lift. [1]
    velocity_ratio : rate over the rate that began to lift it. [1]

    Returns
    -------
    Porosity of the expanded bed. [1]

    Raises
    ------
    ValueError
        If the porosity is out of bounds or the ratio below 1.

    Examples
    --------
    >>> round(laminar_expanded_porosity(0.42, 3.0), 3)
    0.555

    References
    ----------
    Geankoplis 1993.
    """
    bed(1.0, porosity_at_minimum)
    checks.at_least(velocity_ratio, 1.0, "velocity_ratio", "", "Below it the bed lies still.")
    wanted = velocity_ratio * porosity_at_minimum**3 / (1 - porosity_at_minimum)
    return _halved(lambda x: x**3 / (1 - x) - wanted, 0.05, 1.0 - 1e-12, wanted)


@worked(
    "Expansion of a layer from its porosities",
    expression="(1 - porosity) / (1 - expanded_porosity) - 1",
    reference="the grains' own volume stays; definition",
)
def expansion(
    porosity: Annotated[Porosity, Range(0.35, 0.5)], expanded_porosity: Annotated[ExpandedPorosity, Range(0.5, 0.8)]
) -> Annotated[Fraction, Range(0.0, 2.0)]:
    """Return by what share of its depth at rest a layer has grown.

    Parameters
    ----------
    porosity : porosity at rest. [1]
    expanded_porosity : porosity of the expanded layer. [1]

    Returns
    -------
    Expansion as a share of the depth at rest. [1]

    Raises
    ------
    ValueError
        If a porosity is out of bounds or the expanded one below that at rest.

    Examples
    --------
    >>> round(expansion(0.43, 0.551), 3)
    0.269

    References
    ----------
    Balance of volumes.
    """
    _expanded(porosity, expanded_porosity)
    return (1 - porosity) / (1 - expanded_porosity) - 1


def _expanded(porosity: Any, expanded_porosity: Any) -> None:
    bed(1.0, porosity)
    checks.require(expanded_porosity < 1, expanded_porosity, "expanded_porosity must be below 1", _CARRIED)
    checks.refuse(
        expanded_porosity < porosity, expanded_porosity, "expanded_porosity must not be below porosity",
        "A layer that is not lifted keeps its porosity at rest.",
    )  # fmt: skip


@worked(
    "Depth of an expanded layer",
    expression="depth * (1 - porosity) / (1 - expanded_porosity)",
    reference="the grains' own volume stays; definition",
)
def expanded_depth(
    depth: LayerDepth,
    porosity: Annotated[Porosity, Range(0.35, 0.5)],
    expanded_porosity: Annotated[ExpandedPorosity, Range(0.5, 0.8)],
) -> Annotated[Length, Range(0.05, 5.0)]:
    """Return the depth of a layer while it is washed.

    Parameters
    ----------
    depth : depth at rest. [m]
    porosity : porosity at rest. [1]
    expanded_porosity : porosity of the expanded layer. [1]

    Returns
    -------
    Depth of the expanded layer. [m]

    Raises
    ------
    ValueError
        If an input is out of bounds or the expanded porosity below that at rest.

    Examples
    --------
    >>> round(expanded_depth(0.2286, 0.43, 0.551), 3)
    0.29

    References
    ----------
    Balance of volumes.
    """
    checks.at_least(depth, 0.0, "depth", "m")
    _expanded(porosity, expanded_porosity)
    return depth * (1 - porosity) / (1 - expanded_porosity)


@worked("Expansion measured by the rise of the media", expression="rise / depth", reference="definition")
def expansion_from_rise(
    rise: Annotated[Length, Range(0.0, 0.5)], depth: LayerDepth
) -> Annotated[Fraction, Range(0.0, 2.0)]:
    """Return the expansion of media whose top rises by a length during the wash.

    Parameters
    ----------
    rise : rise of the top of the media. [m]
    depth : depth at rest of the media that expand, without the support. [m]

    Returns
    -------
    Expansion as a share of the depth at rest. [1]

    Raises
    ------
    ValueError
        If the rise is below 0 or the depth not above 0.

    Examples
    --------
    >>> round(expansion_from_rise(0.1524, 0.762), 2)
    0.2

    References
    ----------
    Definition.
    """
    checks.at_least(rise, 0.0, "rise", "m")
    checks.above(depth, 0.0, "depth", "m")
    return rise / depth


@worked("Rise of the media", expression="expansion * depth", reference="definition")
def media_rise(
    expansion: Annotated[Fraction, Range(0.0, 1.0)], depth: LayerDepth
) -> Annotated[Length, Range(0.0, 2.0)]:
    """Return by how much an expanded layer grows in height.

    Parameters
    ----------
    expansion : expansion as a share of the depth at rest. [1]
    depth : depth of the layer at rest. [m]

    Returns
    -------
    Rise. [m]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> round(media_rise(0.2, 0.762), 4)
    0.1524

    References
    ----------
    Definition.
    """
    checks.at_least(expansion, 0.0, "expansion")
    checks.at_least(depth, 0.0, "depth", "m")
    return expansion * depth


@worked("Rise of two layers together", expression="first + second", reference="definition")
def rise_together(
    first: Annotated[Length, Range(0.0, 1.0)], second: Annotated[Length, Range(0.0, 1.0)]
) -> Annotated[Length, Range(0.0, 2.0)]:
    """Return by how much the top of the media rises when two layers grow.

    Parameters
    ----------
    first : rise of one layer, or of those counted so far. [m]
    second : rise of the next. [m]

    Returns
    -------
    Both together. [m]

    Examples
    --------
    >>> round(rise_together(0.05, 0.06), 2)
    0.11

    References
    ----------
    Definition.
    """
    return first + second


@worked(
    "Height of a bed from its weight",
    expression="mass / (particle_density * area * (1 - porosity))",
    reference="balance of volumes; definition",
)
def bed_height(
    mass: Annotated[Mass, Range(10.0, 1e4)], particle_density: MediaDensity, area: Area, porosity: ExpandedPorosity
) -> Annotated[Length, Range(0.001, 100.0)]:
    """Return the height of a bed, at rest or expanded, from the weight of its grains.

    Parameters
    ----------
    mass : dry mass of the grains. [kg]
    particle_density : density of the grains. [kg/m^3]
    area : area of the bed. [m^2]
    porosity : porosity of the bed. [1]

    Returns
    -------
    Height. [m]

    Raises
    ------
    ValueError
        If the mass is below 0, another input not above 0, or the porosity not below 1.

    Examples
    --------
    >>> round(bed_height(300.0, 1000.0, 0.30, 0.42), 3)
    1.724

    References
    ----------
    Balance of volumes.
    """
    checks.at_least(mass, 0.0, "mass", "kg")
    checks.above(particle_density, 0.0, "particle_density", "kg/m^3")
    checks.above(area, 0.0, "area", "m^2")
    checks.at_least(porosity, 0.0, "porosity")
    checks.require(porosity < 1, porosity, "porosity must be below 1", _CARRIED)
    return mass / (particle_density * area * (1 - porosity))


@worked(
    "Density of an expanded layer",
    expression="porosity * fluid_density + (1 - porosity) * particle_density",
    reference="definition",
)
def fluidised_density(
    porosity: Annotated[ExpandedPorosity, Range(0.4, 0.95)], particle_density: MediaDensity, fluid_density: WaterDensity
) -> Density:
    """Return the density of an expanded layer with its water: of two layers the lighter stays on top.

    Parameters
    ----------
    porosity : porosity of the expanded layer. [1]
    particle_density : density of the grains. [kg/m^3]
    fluid_density : density of the water. [kg/m^3]

    Returns
    -------
    Density of the layer. [kg/m^3]

    Raises
    ------
    ValueError
        If the porosity is not from 0 to 1 or a density not above 0.

    Examples
    --------
    >>> round(fluidised_density(0.6, 1650.0, 999.7))
    1260

    References
    ----------
    Definition.
    """
    checks.within(porosity, 0.0, 1.0, "porosity")
    checks.above(particle_density, 0.0, "particle_density", "kg/m^3")
    checks.above(fluid_density, 0.0, "fluid_density", "kg/m^3")
    return porosity * fluid_density + (1 - porosity) * particle_density


@worked(
    "Expansion of a layer",
    method="viscosity and density at the temperature, porosity of the expanded layer, then the balance of volumes",
    reference=_CLEASBY + " (constants from memory)",
)
def layer_expansion(
    backwash_rate: WashRate,
    grain_size: Annotated[GrainSize, Range(5e-4, 2e-3)],
    porosity: Porosity,
    sphericity: Sphericity,
    particle_density: MediaDensity,
    temperature: Temperature,
) -> Annotated[Fraction, Range(0.0, 5.0)]:
    """Return by what share of its depth a layer expands at a backwash rate and water temperature.

    Parameters
    ----------
    backwash_rate : backwash rate. [m/s]
    grain_size : mean grain size by surface. [m]
    porosity : porosity at rest. [1]
    sphericity : sphericity of the grains. [1]
    particle_density : density of the grains. [kg/m^3]
    temperature : water temperature. [degC]

    Returns
    -------
    Expansion as a share of the depth at rest; 0 when the layer is not lifted. [1]

    Raises
    ------
    ValueError
        If an input is out of bounds or the grains not heavier than the water.

    Examples
    --------
    >>> round(layer_expansion(0.01, 6e-4, 0.43, 0.80, 2650.0, 20.0), 2)
    0.27
    >>> round(layer_expansion(0.01, 6e-4, 0.43, 0.80, 2650.0, 5.0), 2)
    0.42

    References
    ----------
    Dharmarajah and Cleasby 1986.
    """
    density, viscosity = water_density(temperature), dynamic_viscosity(temperature)
    loose = expanded_porosity(
        backwash_rate, grain_size, porosity, sphericity, particle_density, density, viscosity
    )  # fmt: skip
    return expansion(porosity, loose)


@worked(
    "Expansion of a layer by Richardson and Zaki",
    method="terminal velocity of a grain, exponent by its Reynolds number, porosity, then the balance of volumes",
    reference=_RICHARDSON,
)
def layer_expansion_richardson_zaki(
    backwash_rate: WashRate,
    grain_size: Annotated[GrainSize, Range(5e-4, 2e-3)],
    porosity: Porosity,
    sphericity: Sphericity,
    particle_density: MediaDensity,
    temperature: Temperature,
) -> Annotated[Fraction, Range(0.0, 5.0)]:
    """Return by what share of its depth a layer expands, by Richardson and Zaki.

    It holds for round grains; angular ones expand more than it says.

    Parameters
    ----------
    backwash_rate : backwash rate. [m/s]
    grain_size : mean grain size by surface. [m]
    porosity : porosity at rest. [1]
    sphericity : sphericity of the grains. [1]
    particle_density : density of the grains. [kg/m^3]
    temperature : water temperature. [degC]

    Returns
    -------
    Expansion as a share of the depth at rest; 0 when the layer is not lifted. [1]

    Raises
    ------
    ValueError
        If an input is out of bounds, the grains not heavier than the water, or the rate carries them away.

    Examples
    --------
    >>> round(layer_expansion_richardson_zaki(0.01, 6e-4, 0.43, 0.80, 2650.0, 20.0), 2)
    0.1

    References
    ----------
    Richardson and Zaki 1954.
    """
    density, viscosity = water_density(temperature), dynamic_viscosity(temperature)
    falling = terminal_velocity(grain_size, particle_density, density, viscosity, sphericity=sphericity)
    exponent = richardson_zaki_exponent(density * falling * grain_size / viscosity)
    loose = richardson_zaki_porosity(backwash_rate, falling, exponent)
    bed(grain_size, porosity, sphericity)
    return expansion(porosity, checks.most(porosity, loose))


@worked(
    "Rise of a layered bed",
    method="expansion of each layer times its depth, added up",
    reference=_CLEASBY + " (constants from memory)",
)
def bed_rise(
    backwash_rate: WashRate,
    temperature: Temperature,
    depths: Depths,
    grain_sizes: Sizes,
    porosities: Porosities,
    sphericities: Sphericities,
    particle_densities: Densities,
) -> Annotated[Length, Range(0.0, 10.0)]:
    """Return by how much the top of a bed of layers rises at a backwash rate and water temperature.

    Parameters
    ----------
    backwash_rate : backwash rate. [m/s]
    temperature : water temperature. [degC]
    depths : depth of each layer, from the top. [m]
    grain_sizes : mean grain size by surface of each layer. [m]
    porosities : porosity at rest of each layer. [1]
    sphericities : sphericity of the grains of each layer. [1]
    particle_densities : density of the grains of each layer. [kg/m^3]

    Returns
    -------
    Rise of the top. [m]

    Raises
    ------
    ValueError
        If an input is out of bounds or the lists differ in length.

    Examples
    --------
    >>> round(bed_rise(0.01, 20.0, [0.45, 0.23], [1.2e-3, 6e-4], [0.55, 0.43], [0.65, 0.8], [1650.0, 2650.0]), 2)
    0.06

    References
    ----------
    Dharmarajah and Cleasby 1986.
    """
    total: Any = 0.0
    for depth, size, porosity, sphericity, density in layers(
        depths=depths, grain_sizes=grain_sizes, porosities=porosities, sphericities=sphericities,
        particle_densities=particle_densities,
    ):  # fmt: skip
        share = layer_expansion(backwash_rate, size, porosity, sphericity, density, temperature)
        total = total + media_rise(share, depth)
    return total


# --- the rate for an expansion -----------------------------------------------------------------------------------


@worked(
    "Backwash rate for an expansion",
    method="solved by bisection for the rate whose drag carries the layer at the porosity of that expansion",
    reference=_CLEASBY + " (constants from memory)",
)
def backwash_rate_for_expansion(
    expansion: Annotated[Fraction, Range(0.1, 0.6)],
    grain_size: MediaGrain,
    porosity: Porosity,
    sphericity: Sphericity,
    particle_density: MediaDensity,
    temperature: Temperature,
) -> WashRate:
    """Return the backwash rate that expands a layer by a share of its depth in water of a temperature.

    Parameters
    ----------
    expansion : expansion wanted, as a share of the depth at rest. [1]
    grain_size : mean grain size by surface. [m]
    porosity : porosity at rest. [1]
    sphericity : sphericity of the grains. [1]
    particle_density : density of the grains. [kg/m^3]
    temperature : water temperature. [degC]

    Returns
    -------
    Backwash rate. [m/s]

    Raises
    ------
    ValueError
        If an input is out of bounds or the grains not heavier than the water.

    Examples
    --------
    >>> round(backwash_rate_for_expansion(0.27, 6e-4, 0.43, 0.80, 2650.0, 20.0) * 3600)  # m/h
    36

    References
    ----------
    Dharmarajah and Cleasby 1986.
    """
    checks.at_least(expansion, 0.0, "expansion")
    checks.require(expansion <= 5, expansion, "expansion must not be above 5 (500 percent)", _CARRIED)
    density, viscosity = water_density(temperature), dynamic_viscosity(temperature)
    weight, _ = _shape_and_wash(0.0, grain_size, porosity, sphericity, particle_density, density, viscosity)
    loose = 1 - (1 - porosity) / (1 + expansion)
    carried = checks.log10(weight * loose**3 / (1 - loose) ** 2)
    log_b = _halved(lambda x: _cleasby(10.0**x, sphericity) - carried, -2.5, 4.0, carried + 0.0 * sphericity)
    return 10.0**log_b * 6 / (sphericity * grain_size) * viscosity * (1 - loose) / density

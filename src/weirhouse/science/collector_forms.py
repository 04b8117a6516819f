"""What did earlier theories say of one grain as a collector? For comparison with `collector_efficiency` only.

Terms of one theory do not belong into another; a filter coefficient fitted on the plant's turbidity takes up which one
was used.
"""

from typing import Annotated, Any

from weirhouse.science import checks
from weirhouse.science.filtration import porosity_parameter
from weirhouse.science.properties import dynamic_viscosity, water_density
from weirhouse.science.quantities import (
    Density,
    FilterRate,
    GrainSize,
    Hamaker,
    ParticleSize,
    Porosity,
    Ratio,
    Temperature,
)
from weirhouse.working import Range, worked

SuspendedSize = Annotated[ParticleSize, Range(2e-7, 2e-5)]
Collector = Annotated[GrainSize, Range(3e-4, 2e-3)]
FlocDensity = Annotated[Density, Range(1005.0, 1200.0)]
_Efficiency = Annotated[Ratio, Range(1e-6, 1.0)]
_BOLTZMANN, _GRAVITY, _PI = 1.380649e-23, 9.80665, 3.141592653589793


def _contact(particle_size: Any, grain_size: Any, filtration_rate: Any, sinking: Any) -> None:
    checks.above(particle_size, 0.0, "particle_size", "m")
    checks.above(grain_size, 0.0, "grain_size", "m")
    checks.above(filtration_rate, 0.0, "filtration_rate", "m/s")
    checks.refuse(
        particle_size >= 0.1 * grain_size, particle_size, "particle_size must be below a tenth of grain_size",
        "Larger ones are strained, not caught by contact.",
    )  # fmt: skip
    checks.at_least(sinking, 0.0, "particle_density less that of water", "kg/m^3", "What rises is not caught so.")


@worked(
    "Single-collector efficiency by Yao",
    method="0.9 (k T / (viscosity x particle x grain x rate))^(2/3) + 1.5 (particle / grain)^2 + fall / rate",
    reference="K.-M. Yao, M. T. Habibian, C. R. O'Melia, Environ. Science and Technology 5 (1971) 1105, from memory",
)
def collector_efficiency_yao(
    particle_size: SuspendedSize,
    grain_size: Collector,
    filtration_rate: FilterRate,
    temperature: Temperature,
    particle_density: FlocDensity = 1050.0,
) -> _Efficiency:
    """Return the share of particles that touch a grain by the first theory, which leaves the neighbours out.

    Parameters
    ----------
    particle_size : diameter of the particle. [m]
    grain_size : diameter of the grain. [m]
    filtration_rate : filtration rate. [m/s]
    temperature : water temperature. [degC]
    particle_density : density of the particle. [kg/m^3]

    Returns
    -------
    Single-collector efficiency. [1]

    Raises
    ------
    ValueError
        If an input is out of bounds, or the particle not below a tenth of the grain or lighter than the water.

    Examples
    --------
    >>> round(collector_efficiency_yao(1e-6, 5e-4, 5 / 3600, 20.0) * 1e4, 2)
    3.17

    References
    ----------
    Yao, Habibian and O'Melia 1971 (from memory).
    """
    viscosity = dynamic_viscosity(temperature)
    sinking = particle_density - water_density(temperature)
    _contact(particle_size, grain_size, filtration_rate, sinking)
    energy = _BOLTZMANN * (temperature + 273.15)
    diffusion = 0.9 * (energy / (viscosity * particle_size * grain_size * filtration_rate)) ** (2 / 3)
    interception = 1.5 * (particle_size / grain_size) ** 2
    return diffusion + interception + sinking * _GRAVITY * particle_size**2 / (18 * viscosity * filtration_rate)


@worked(
    "Single-collector efficiency by Rajagopalan and Tien",
    method="4 As^(1/3) Pe^(-2/3) + As Lo^(1/8) R^(15/8) + 0.00338 As G^1.2 R^-0.4",
    reference="R. Rajagopalan, C. Tien, AIChE Journal 22 (1976) 523, from memory",
)
def collector_efficiency_rajagopalan_tien(
    particle_size: SuspendedSize,
    grain_size: Collector,
    filtration_rate: FilterRate,
    porosity: Porosity,
    temperature: Temperature,
    particle_density: FlocDensity = 1050.0,
    hamaker: Hamaker = 1e-20,
) -> _Efficiency:
    """Return the share of particles that touch a grain by the trajectories of particles among grains.

    Parameters
    ----------
    particle_size : diameter of the particle. [m]
    grain_size : diameter of the grain. [m]
    filtration_rate : filtration rate. [m/s]
    porosity : porosity of the bed. [1]
    temperature : water temperature. [degC]
    particle_density : density of the particle. [kg/m^3]
    hamaker : Hamaker constant of particle, water and grain. [J]

    Returns
    -------
    Single-collector efficiency. [1]

    Raises
    ------
    ValueError
        If an input is out of bounds, or the particle not below a tenth of the grain or lighter than the water.

    Examples
    --------
    >>> round(collector_efficiency_rajagopalan_tien(1e-6, 5e-4, 5 / 3600, 0.42, 20.0) * 1e4, 2)
    10.63

    References
    ----------
    Rajagopalan and Tien 1976 (from memory).
    """
    viscosity = dynamic_viscosity(temperature)
    sinking = particle_density - water_density(temperature)
    _contact(particle_size, grain_size, filtration_rate, sinking)
    checks.above(hamaker, 0.0, "hamaker", "J")
    squeeze = porosity_parameter(porosity)
    diffusivity = _BOLTZMANN * (temperature + 273.15) / (3 * _PI * viscosity * particle_size)
    peclet = filtration_rate * grain_size / diffusivity
    relative = particle_size / grain_size
    attraction = 4 * hamaker / (9 * _PI * viscosity * particle_size**2 * filtration_rate)
    gravity = sinking * _GRAVITY * particle_size**2 / (18 * viscosity * filtration_rate)
    return (
        4 * squeeze ** (1 / 3) * peclet ** (-2 / 3)
        + squeeze * attraction**0.125 * relative**1.875
        + 0.00338 * squeeze * gravity**1.2 * relative**-0.4
    )

"""How does free chlorine fade on its way: fast and slow part, warm and cold, pipe and stirred tank?

Rates belong to one water in one season: take them from two residuals of the same water (`chlorine_decay_rate`).
"""

from typing import Annotated, Any

from weirhouse.science import checks
from weirhouse.science.quantities import Fraction, Hours, Number, Rate, Residual, Temperature
from weirhouse.working import Range, worked

ColdWater = Annotated[Temperature, Range(0.0, 30.0)]
DecayRate = Annotated[Rate, Range(1e-6, 5e-5)]
FastRate = Annotated[Rate, Range(1e-4, 1e-3)]
WaterAge = Annotated[Hours, Range(60.0, 172800.0)]


def _not_below_0(**values: tuple[Any, str]) -> None:
    for name, (value, unit) in values.items():
        checks.at_least(value, 0.0, name, unit)


@worked(
    "Residual after fast and slow decay",
    expression="residual * (fast_share * exp(-fast_rate * time) + (1 - fast_share) * exp(-slow_rate * time))",
    reference="parallel first-order decay: P. Jamwal et al., Drinking Water Engineering and Science 9 (2016) 19",
)
def residual_after_fast_and_slow(
    residual: Residual, fast_share: Annotated[Fraction, Range(0.2, 0.5)], fast_rate: FastRate, slow_rate: DecayRate,
    time: WaterAge,
) -> Residual:  # fmt: skip
    """Return the residual that is left when part of the chlorine meets what reacts within hours and the rest lasts.

    Parameters
    ----------
    residual : free chlorine once the immediate demand is met, as Cl2. [g/m^3]
    fast_share : share that decays fast, 20 to 50 percent (from memory). [1]
    fast_rate : fast decay rate, 0.5 to 3 per hour at 20 degC (from memory). [1/s]
    slow_rate : slow decay rate, 0.005 to 0.05 per hour at 20 degC (from memory). [1/s]
    time : time. [s]

    Returns
    -------
    Free chlorine left, as Cl2. [g/m^3]

    Raises
    ------
    ValueError
        If the share is not from 0 to 1 or another argument is below 0.

    Examples
    --------
    >>> round(residual_after_fast_and_slow(1.5, 0.3, 1 / 3600, 0.01 / 3600, 24 * 3600.0), 2)
    0.83

    References
    ----------
    Jamwal et al. 2016.
    """
    _not_below_0(
        residual=(residual, "mg/L"), fast_rate=(fast_rate, "1/s"), slow_rate=(slow_rate, "1/s"), time=(time, "s")
    )
    checks.within(fast_share, 0.0, 1.0, "fast_share")
    fast, slow = checks.exp(-fast_rate * time), checks.exp(-slow_rate * time)
    return residual * (fast_share * fast + (1 - fast_share) * slow)


@worked(
    "Decay rate at another temperature",
    expression="decay_rate * exp(activation * (1 / (temperature + 273.15) - 1 / (new_temperature + 273.15)))",
    reference="Arrhenius; 6000 to 9000 K for chlorine in treated water, from memory",
)
def decay_rate_at_temperature(
    decay_rate: DecayRate,
    temperature: ColdWater,
    new_temperature: ColdWater,
    activation: Annotated[Number, Range(6000.0, 9000.0)] = 7500.0,
) -> Rate:
    """Return the decay rate of the same water at another temperature: about doubled or more by ten degrees.

    Parameters
    ----------
    decay_rate : decay rate at the first temperature. [1/s]
    temperature : first temperature. [degC]
    new_temperature : other temperature. [degC]
    activation : activation energy over the gas constant, in kelvin. [1]

    Returns
    -------
    Decay rate. [1/s]

    Raises
    ------
    ValueError
        If the rate is below 0, a temperature outside -1 to 50 degC, or the activation outside 0 to 20,000 K.

    Examples
    --------
    >>> round(decay_rate_at_temperature(0.02 / 3600, 20.0, 10.0) * 3600, 4)  # per hour
    0.0081

    References
    ----------
    Arrhenius' law.
    """
    _not_below_0(decay_rate=(decay_rate, "1/s"))
    checks.within(temperature, -1.0, 50.0, "temperature", "degC")
    checks.within(new_temperature, -1.0, 50.0, "new_temperature", "degC")
    checks.within(activation, 0.0, 20000.0, "activation", "K")
    return decay_rate * checks.exp(activation * (1 / (temperature + 273.15) - 1 / (new_temperature + 273.15)))


@worked(
    "Residual out of stirred tanks",
    expression="residual / (1 + decay_rate * detention_time / compartments)**compartments",
    reference="first-order decay in equal stirred tanks in series; common practice, no source",
)
def residual_after_tanks(
    residual: Residual,
    decay_rate: DecayRate,
    detention_time: WaterAge,
    compartments: Annotated[Number, Range(1.0, 8.0)],
) -> Residual:
    """Return the steady residual that leaves a tank which behaves like stirred compartments: 1 for a storage tank.

    Parameters
    ----------
    residual : free chlorine that enters, as Cl2. [g/m^3]
    decay_rate : first-order decay rate. [1/s]
    detention_time : detention time of the whole tank. [s]
    compartments : number of stirred compartments it behaves like. [1]

    Returns
    -------
    Free chlorine that leaves, as Cl2. [g/m^3]

    Raises
    ------
    ValueError
        If residual, rate or time is below 0, or the compartments not from above 0 to 1000.

    Examples
    --------
    >>> round(residual_after_tanks(1.2, 0.02 / 3600, 24 * 3600.0, 1), 2)
    0.81

    References
    ----------
    Mass balance.
    """
    _not_below_0(residual=(residual, "mg/L"), decay_rate=(decay_rate, "1/s"), detention_time=(detention_time, "s"))
    checks.above(compartments, 0.0, "compartments")
    checks.require(compartments <= 1000, compartments, "compartments must not be above 1000", "That is a pipe.")
    used = decay_rate * detention_time / compartments
    checks.require(used <= 1e3, used, "decay_rate x time must not be above 1000", "Check the units: 1/h is not 1/s.")
    return residual * checks.exp(-compartments * checks.ln(1 + used))

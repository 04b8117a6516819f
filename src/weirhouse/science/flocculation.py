"""How much of the fine matter grows into floc, and how much does stirring break up again?"""

from itertools import pairwise
from typing import Annotated

from weirhouse.science import checks
from weirhouse.science.quantities import Breakup, Duration, Fraction, Number, Ratio, Temperature, VelocityGradient
from weirhouse.working import Range, note, worked

Aggregation = Annotated[Ratio, Range(1.8e-5, 2.5e-4)]
FlocGradient = Annotated[VelocityGradient, Range(10.0, 100.0)]
FlocTime = Annotated[Duration, Range(300.0, 3600.0)]
Compartments = Annotated[Number, Range(1.0, 8.0)]
_AK = "Y. Argaman and W. J. Kaufman, J. Sanitary Engineering Division ASCE 96 (1970) 223"
_CONSTANTS = "Both constants depend on water and coagulant; start from the published ranges."


@worked(
    "Fine matter left by flocculation",
    expression="breakup * velocity_gradient / aggregation + (1 - breakup * velocity_gradient / aggregation)"
    " / (1 + aggregation * velocity_gradient * detention_time / compartments)**compartments",
    reference=_AK,
)
def argaman_kaufman_remaining(
    velocity_gradient: FlocGradient,
    detention_time: FlocTime,
    compartments: Compartments,
    aggregation: Aggregation,
    breakup: Breakup,
) -> Fraction:
    """Return the share of primary particles left after equal stirred compartments with one velocity gradient.

    The sum of Argaman and Kaufman in closed form; it tends to breakup x G / aggregation, however long it is stirred.

    Parameters
    ----------
    velocity_gradient : velocity gradient in every compartment. [1/s]
    detention_time : time in all compartments together. [s]
    compartments : number of equal compartments in series. [1]
    aggregation : aggregation constant, K_A. [1]
    breakup : breakup constant, K_B. [s]

    Returns
    -------
    Share of the particles (their number, not turbidity). [1]

    Raises
    ------
    ValueError
        If an input is below 0, or compartments or aggregation is not above 0.

    Examples
    --------
    >>> round(argaman_kaufman_remaining(40.0, 1800.0, 3, 5.1e-5, 1.1e-7), 4)
    0.1693

    References
    ----------
    Argaman and Kaufman 1970.
    """
    checks.at_least(velocity_gradient, 0.0, "velocity_gradient", "1/s")
    checks.at_least(detention_time, 0.0, "detention_time", "s")
    checks.above(compartments, 0.0, "compartments")
    checks.above(aggregation, 0.0, "aggregation", "", _CONSTANTS)
    checks.at_least(breakup, 0.0, "breakup", "s", _CONSTANTS)
    limit = breakup * velocity_gradient / aggregation
    growth = 1 + aggregation * velocity_gradient * detention_time / compartments
    return limit + (1 - limit) / growth**compartments


@worked("Fine matter that no stirring removes", expression="breakup * velocity_gradient / aggregation", reference=_AK)
def flocculation_limit(velocity_gradient: FlocGradient, aggregation: Aggregation, breakup: Breakup) -> Fraction:
    """Return the share of primary particles at which growth and breakup of floc balance.

    Parameters
    ----------
    velocity_gradient : velocity gradient. [1/s]
    aggregation : aggregation constant, K_A. [1]
    breakup : breakup constant, K_B. [s]

    Returns
    -------
    Share of the particles. [1]

    Raises
    ------
    ValueError
        If the gradient or the breakup constant is below 0, or the aggregation constant not above 0.

    Examples
    --------
    >>> round(flocculation_limit(40.0, 5.1e-5, 1.1e-7), 4)
    0.0863

    References
    ----------
    Argaman and Kaufman 1970.
    """
    checks.at_least(velocity_gradient, 0.0, "velocity_gradient", "1/s")
    checks.above(aggregation, 0.0, "aggregation", "", _CONSTANTS)
    checks.at_least(breakup, 0.0, "breakup", "s", _CONSTANTS)
    return breakup * velocity_gradient / aggregation


@worked(
    "Fine matter left by one compartment",
    expression="(entering + breakup * velocity_gradient**2 * detention_time)"
    " / (1 + aggregation * velocity_gradient * detention_time)",
    reference=_AK,
)
def compartment_remaining(
    entering: Annotated[Fraction, Range(0.1, 1.0)],
    velocity_gradient: FlocGradient,
    detention_time: FlocTime,
    aggregation: Aggregation,
    breakup: Breakup,
) -> Fraction:
    """Return the share of primary particles that leaves one stirred compartment; chain it for tapered stirring.

    Parameters
    ----------
    entering : share of primary particles that comes in. [1]
    velocity_gradient : velocity gradient in this compartment. [1/s]
    detention_time : time in this compartment. [s]
    aggregation : aggregation constant, K_A. [1]
    breakup : breakup constant, K_B. [s]

    Returns
    -------
    Share of the particles that leaves. [1]

    Raises
    ------
    ValueError
        If an input is below 0.

    Examples
    --------
    >>> one = compartment_remaining(1.0, 60.0, 600.0, 5.1e-5, 1.1e-7)
    >>> two = compartment_remaining(one, 40.0, 600.0, 5.1e-5, 1.1e-7)
    >>> round(compartment_remaining(two, 20.0, 600.0, 5.1e-5, 1.1e-7), 4)
    0.1676

    References
    ----------
    Argaman and Kaufman 1970.
    """
    checks.at_least(entering, 0.0, "entering")
    checks.at_least(velocity_gradient, 0.0, "velocity_gradient", "1/s")
    checks.at_least(detention_time, 0.0, "detention_time", "s")
    checks.at_least(aggregation, 0.0, "aggregation", "", _CONSTANTS)
    checks.at_least(breakup, 0.0, "breakup", "s", _CONSTANTS)
    stirring = velocity_gradient * detention_time
    return (entering + breakup * velocity_gradient * stirring) / (1 + aggregation * stirring)


@worked(
    "Aggregation constant at a temperature",
    expression="aggregation_at_20 * (1 - 0.015 * (20 - temperature))",
    reference="rule of the trade, from memory",
)
def aggregation_at_temperature(
    aggregation_at_20: Aggregation, temperature: Annotated[Temperature, Range(0.0, 25.0)]
) -> Ratio:
    """Return the aggregation constant in colder water, 1.5 percent less for each degree below 20 degC.

    Parameters
    ----------
    aggregation_at_20 : aggregation constant at 20 degC. [1]
    temperature : water temperature, -1 to 35. [degC]

    Returns
    -------
    Aggregation constant. [1]

    Raises
    ------
    ValueError
        If the constant is below 0 or the temperature outside -1 to 35 degC.

    Examples
    --------
    >>> round(aggregation_at_temperature(5.1e-5, 5.0) * 1e5, 3)
    3.953

    References
    ----------
    From memory; agrees in direction with the cold-water allowance on flocculation time.
    """
    checks.at_least(aggregation_at_20, 0.0, "aggregation_at_20")
    checks.within(temperature, -1.0, 35.0, "temperature", "degC", "The rule is one for raw water.")
    return aggregation_at_20 * (1 - 0.015 * (20 - temperature))


_COLD = ((5.0, 1.25), (10.0, 1.15), (15.0, 1.07), (20.0, 1.0))


@worked(
    "Longer flocculation in cold water",
    method="straight line between 1.25 at 5, 1.15 at 10, 1.07 at 15 and 1 at 20 degC",
    reference="M. L. Davis, Water and Wastewater Engineering (McGraw-Hill, 2010), p. 6-37",
)
def cold_flocculation_factor(temperature: Annotated[Temperature, Range(0.0, 25.0)]) -> Ratio:
    """Return how many times longer flocculation should last than at 20 degC.

    Parameters
    ----------
    temperature : water temperature, -1 to 35; below 5 the factor of 5 degC. [degC]

    Returns
    -------
    Factor on the time. [1]

    Raises
    ------
    ValueError
        If the temperature is outside -1 to 35 degC.

    Examples
    --------
    >>> round(cold_flocculation_factor(7.5), 2)
    1.2

    References
    ----------
    Davis 2010, p. 6-37.
    """
    checks.within(temperature, -1.0, 35.0, "temperature", "degC", "The rule is one for raw water.")
    if isinstance(temperature, float | int) and temperature < 5:
        note("below 5 degC the table gives nothing; the factor of 5 degC is used and may be too low")
    factor = 1.0 + 0.0 * temperature
    for (cold, high), (warm, low) in reversed(list(pairwise(_COLD))):
        between = low + (high - low) * (warm - checks.most(temperature, cold)) / (warm - cold)
        factor = checks.choose(temperature <= warm, between, factor)
    return factor

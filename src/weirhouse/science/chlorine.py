"""How much chlorine, how much of it is left, and how much of that is the form that disinfects?

Chlorine is counted as Cl2 throughout. Free chlorine only: where the water holds ammonia, combined chlorine forms first
and none of this tells.
"""

from typing import Annotated, Any, Literal

from weirhouse.science import checks
from weirhouse.science.feed import ProductDensity, feed_rate, strength_from_trade_percent
from weirhouse.science.quantities import (
    PH,
    PK,
    Dose,
    Duration,
    FeedRate,
    Flow,
    Fraction,
    Mass,
    Rate,
    Ratio,
    Residual,
    Temperature,
    Volume,
)
from weirhouse.working import Range, worked

ChlorineDose = Annotated[Dose, Range(0.3, 8.0)]
Demand = Annotated[Dose, Range(0.0, 5.0)]
ColdWater = Annotated[Temperature, Range(0.0, 30.0)]
DecayRate = Annotated[Rate, Range(1e-6, 5e-5)]
Hours = Annotated[Duration, Range(60.0, 172800.0)]
TradeStrength = Annotated[Fraction, Range(0.02, 0.18)]
_MORRIS = "J. C. Morris, Journal of Physical Chemistry 70 (1966) 3798; printed in M. L. Davis 2010, p. 13-3"
_BALANCE = "dose = demand + residual; common practice, no source"
_FIRST_ORDER = "first-order decay; common practice, no source"
_MASS_BALANCE = "mass balance; 8.34 lb/gal in US units"
_CELSIUS = "Check the unit of the temperature; the constant holds for water from 0 to 50 degC."


def _water(ph: Any, temperature: Any) -> None:
    checks.within(ph, 0.0, 14.0, "ph")
    checks.within(temperature, -1.0, 50.0, "temperature", "degC", _CELSIUS)


# --- hypochlorous acid -------------------------------------------------------------------------------------------


@worked(
    "Dissociation constant of hypochlorous acid, pKa",
    expression="3000 / (temperature + 273.15) - 10.0686 + 0.0253 * (temperature + 273.15)",
    reference=_MORRIS,
)
def hypochlorous_acid_pka(temperature: ColdWater) -> PK:
    """Return the pKa of hypochlorous acid, HOCl = OCl + H: the pH at which half of the free chlorine is HOCl.

    Parameters
    ----------
    temperature : water temperature, -1 to 50. [degC]

    Returns
    -------
    Negative logarithm of the constant. [1]

    Raises
    ------
    ValueError
        If the temperature is outside -1 to 50 degC.

    Examples
    --------
    >>> round(hypochlorous_acid_pka(25.0), 2)
    7.54

    References
    ----------
    Morris 1966.
    """
    checks.within(temperature, -1.0, 50.0, "temperature", "degC", _CELSIUS)
    return 3000 / (temperature + 273.15) - 10.0686 + 0.0253 * (temperature + 273.15)


@worked(
    "Share of free chlorine that is HOCl",
    expression="1 / (1 + 10**(ph - (3000 / (temperature + 273.15) - 10.0686 + 0.0253 * (temperature + 273.15))))",
    reference=_MORRIS,
)
def hocl_share(ph: PH, temperature: ColdWater) -> Fraction:
    """Return the share of the free chlorine that is hypochlorous acid, the form that disinfects best.

    Parameters
    ----------
    ph : pH. [pH]
    temperature : water temperature, -1 to 50. [degC]

    Returns
    -------
    Share as HOCl; the rest is hypochlorite ion. [1]

    Raises
    ------
    ValueError
        If the pH is outside 0 to 14 or the temperature outside -1 to 50 degC.

    Examples
    --------
    >>> round(hocl_share(7.5, 10.0), 3)
    0.608

    References
    ----------
    Morris 1966.
    """
    _water(ph, temperature)
    pka = 3000 / (temperature + 273.15) - 10.0686 + 0.0253 * (temperature + 273.15)
    return 1 / (1 + 10.0 ** (ph - pka))


@worked(
    "Share of free chlorine that is hypochlorite ion",
    expression="1 / (1 + 10**((3000 / (temperature + 273.15) - 10.0686 + 0.0253 * (temperature + 273.15)) - ph))",
    reference=_MORRIS,
)
def hypochlorite_share(ph: PH, temperature: ColdWater) -> Fraction:
    """Return the share of the free chlorine that is hypochlorite ion, the form that disinfects slowly.

    Parameters
    ----------
    ph : pH. [pH]
    temperature : water temperature, -1 to 50. [degC]

    Returns
    -------
    Share as OCl; the rest is hypochlorous acid. [1]

    Raises
    ------
    ValueError
        If the pH is outside 0 to 14 or the temperature outside -1 to 50 degC.

    Examples
    --------
    >>> round(hypochlorite_share(7.0, 25.0), 3)
    0.225

    References
    ----------
    Morris 1966.
    """
    _water(ph, temperature)
    pka = 3000 / (temperature + 273.15) - 10.0686 + 0.0253 * (temperature + 273.15)
    return 1 / (1 + 10.0 ** (pka - ph))


# --- demand and decay --------------------------------------------------------------------------------------------


@worked("Chlorine demand", expression="dose - residual", reference=_BALANCE)
def chlorine_demand(dose: Annotated[Dose, Range(2.0, 8.0)], residual: Annotated[Residual, Range(0.1, 2.0)]) -> Demand:
    """Return what the water used up of a chlorine dose, up to the place and time of the residual.

    Parameters
    ----------
    dose : chlorine dose as Cl2. [g/m^3]
    residual : free chlorine left, as Cl2. [g/m^3]

    Returns
    -------
    Demand as Cl2. [g/m^3]

    Raises
    ------
    ValueError
        If either is below 0, or the residual is above the dose.

    Examples
    --------
    >>> round(chlorine_demand(7.2, 1.5), 1)
    5.7

    References
    ----------
    Definition.
    """
    checks.at_least(dose, 0.0, "dose", "mg/L")
    checks.at_least(residual, 0.0, "residual", "mg/L")
    checks.refuse(
        residual > dose,
        residual,
        "residual must not be above the dose",
        "Check the feed by a drawdown, and the analyser with the test kit.",
    )
    return dose - residual


@worked("Chlorine dose", expression="demand + residual", reference=_BALANCE)
def chlorine_dose(demand: Demand, residual: Residual) -> Dose:
    """Return the chlorine dose that leaves a residual in a water of known demand.

    Parameters
    ----------
    demand : chlorine demand of the water up to where the residual is wanted, as Cl2. [g/m^3]
    residual : free chlorine wanted, as Cl2. [g/m^3]

    Returns
    -------
    Dose as Cl2. [g/m^3]

    Raises
    ------
    ValueError
        If either is below 0.

    Examples
    --------
    >>> chlorine_dose(0.75, 1.25)
    2.0

    References
    ----------
    Definition.
    """
    checks.at_least(demand, 0.0, "demand", "mg/L")
    checks.at_least(residual, 0.0, "residual", "mg/L")
    return demand + residual


@worked("Residual from dose and demand", expression="max(0, dose - demand)", reference=_BALANCE)
def chlorine_residual(dose: Annotated[Dose, Range(2.0, 8.0)], demand: Annotated[Demand, Range(0.0, 2.0)]) -> Residual:
    """Return the residual that a dose leaves; 0 where the water takes all of it.

    Parameters
    ----------
    dose : chlorine dose as Cl2. [g/m^3]
    demand : chlorine demand of the water, as Cl2. [g/m^3]

    Returns
    -------
    Free chlorine left, as Cl2. [g/m^3]

    Raises
    ------
    ValueError
        If either is below 0.

    Examples
    --------
    >>> round(chlorine_residual(2.0, 0.8), 2)
    1.2

    References
    ----------
    Definition.
    """
    checks.at_least(dose, 0.0, "dose", "mg/L")
    checks.at_least(demand, 0.0, "demand", "mg/L")
    return checks.most(0.0, dose - demand)


@worked("Residual after a time", expression="residual * exp(-decay_rate * time)", reference=_FIRST_ORDER)
def residual_after(residual: Residual, decay_rate: DecayRate, time: Hours) -> Residual:
    """Return the residual that is left after a time of first-order decay.

    Parameters
    ----------
    residual : free chlorine at the start, as Cl2. [g/m^3]
    decay_rate : decay rate of this water in this season. [1/s]
    time : time. [s]

    Returns
    -------
    Free chlorine left, as Cl2. [g/m^3]

    Raises
    ------
    ValueError
        If an argument is below 0.

    Examples
    --------
    >>> round(residual_after(1.2, 0.01 / 3600, 24 * 3600.0), 2)
    0.94

    References
    ----------
    First-order decay; the slow part of chlorine's decay in clean water.
    """
    checks.at_least(residual, 0.0, "residual", "mg/L")
    checks.at_least(decay_rate, 0.0, "decay_rate", "1/s")
    checks.at_least(time, 0.0, "time", "s")
    return residual * checks.exp(-decay_rate * time)


@worked("Decay rate from two residuals", expression="ln(first / second) / time", reference=_FIRST_ORDER)
def chlorine_decay_rate(
    first: Annotated[Residual, Range(0.8, 3.0)], second: Annotated[Residual, Range(0.2, 0.8)], time: Hours
) -> Annotated[Rate, Range(0.0, 1e-3)]:
    """Return the first-order decay rate between two residuals of the same water.

    Parameters
    ----------
    first : earlier free chlorine, as Cl2. [g/m^3]
    second : later free chlorine, as Cl2. [g/m^3]
    time : time between them. [s]

    Returns
    -------
    Decay rate. [1/s]

    Raises
    ------
    ValueError
        If a residual or the time is not above 0, or the later residual is above the earlier.

    Examples
    --------
    >>> round(chlorine_decay_rate(1.2, 0.944, 24 * 3600.0) * 3600, 4)  # per hour
    0.01

    References
    ----------
    First-order decay.
    """
    checks.above(first, 0.0, "first", "mg/L")
    checks.above(second, 0.0, "second", "mg/L", "A residual of 0 tells no rate.")
    checks.above(time, 0.0, "time", "s")
    checks.refuse(second > first, second, "second must not be above first", "Residual does not grow: check the order.")
    return checks.ln(first / second) / time


@worked(
    "Dose for a residual after a time",
    expression="demand + residual * exp(decay_rate * time)",
    reference="fast demand, then first-order decay; common practice, no source",
)
def dose_for_residual_after(
    residual: Residual,
    demand: Demand,
    decay_rate: DecayRate,
    time: Annotated[Hours, Range(60.0, 43200.0)],
) -> Dose:
    """Return the dose that still leaves a residual after a time: the fast demand, and what decays on the way.

    Parameters
    ----------
    residual : free chlorine wanted after the time, as Cl2. [g/m^3]
    demand : fast demand, used up at once, as Cl2. [g/m^3]
    decay_rate : decay rate after that. [1/s]
    time : time on the way. [s]

    Returns
    -------
    Dose as Cl2. [g/m^3]

    Raises
    ------
    ValueError
        If an argument is below 0, or so much would decay on the way that no dose is in question.

    Examples
    --------
    >>> round(dose_for_residual_after(1.0, 0.6, 0.02 / 3600, 10 * 3600.0), 2)
    1.82

    References
    ----------
    First-order decay.
    """
    for value, name, unit in (
        (residual, "residual", "mg/L"),
        (demand, "demand", "mg/L"),
        (decay_rate, "decay_rate", "1/s"),
        (time, "time", "s"),
    ):
        checks.at_least(value, 0.0, name, unit)
    lost = decay_rate * time
    checks.require(lost <= 10, lost, "decay_rate x time must not be above 10", "Check the units: 1/h is not 1/s.")
    return demand + residual * checks.exp(lost)


@worked(
    "Time until the residual reaches a limit", expression="ln(residual / limit) / decay_rate", reference=_FIRST_ORDER
)
def time_to_residual(
    residual: Annotated[Residual, Range(0.5, 3.0)], limit: Annotated[Residual, Range(0.1, 0.5)], decay_rate: DecayRate
) -> Duration:
    """Return the time in which standing water falls from its residual to a limit.

    Parameters
    ----------
    residual : free chlorine now, as Cl2. [g/m^3]
    limit : free chlorine at which the time ends, as Cl2. [g/m^3]
    decay_rate : first-order decay rate. [1/s]

    Returns
    -------
    Time. [s]

    Raises
    ------
    ValueError
        If an argument is not above 0, or the residual is already below the limit.

    Examples
    --------
    >>> round(time_to_residual(1.2, 0.2, 0.02 / 3600) / 3600)  # hours
    90

    References
    ----------
    First-order decay.
    """
    checks.above(residual, 0.0, "residual", "mg/L")
    checks.above(limit, 0.0, "limit", "mg/L", "It never reaches 0.")
    checks.above(decay_rate, 0.0, "decay_rate", "1/s")
    checks.refuse(residual < limit, residual, "residual must not be below the limit", "It is already past the limit.")
    return checks.ln(residual / limit) / decay_rate


# --- hypochlorite ------------------------------------------------------------------------------------------------


@worked(
    "Hypochlorite to feed", method="strength by weight, then the feed rate on the basis Cl2", reference=_MASS_BALANCE
)
def hypochlorite_feed_rate(
    dose: ChlorineDose,
    flow: Flow,
    strength: TradeStrength,
    density: ProductDensity,
    strength_basis: Literal["weight_per_volume", "weight_per_weight"],
    dilution: Annotated[Ratio, Range(1.0, 10.0)] = 1.0,
) -> FeedRate:
    """Return the volume per time of hypochlorite solution that brings a dose as Cl2.

    Parameters
    ----------
    dose : chlorine dose as Cl2. [g/m^3]
    flow : flow treated. [m^3/s]
    strength : available chlorine on the label. [1]
    density : density of the product. [kg/m^3]
    strength_basis : weight_per_volume is trade percent (12.5 percent is 125 g/L), weight_per_weight percent by weight.
    dilution : volumes of mixed solution from one of product; 1 is neat. [1]

    Returns
    -------
    Solution to feed, as mixed. [m^3/s]

    Raises
    ------
    ValueError
        If dose or flow is below 0, strength or density cannot be, or the dilution is below 1.

    Examples
    --------
    >>> rate = hypochlorite_feed_rate(2.0, 0.009464, strength=0.125, density=1200.0, strength_basis="weight_per_volume")
    >>> round(rate * 6e7, 2)  # mL/min
    9.09

    References
    ----------
    Mass balance.
    """
    if strength_basis not in ("weight_per_volume", "weight_per_weight"):
        raise ValueError(
            f"strength_basis must be weight_per_volume or weight_per_weight; it is {strength_basis}. "
            "See the label: trade percent is weight per volume."
        )
    by_weight = strength_from_trade_percent(strength, density) if strength_basis == "weight_per_volume" else strength
    return feed_rate(dose, flow, by_weight, density, "Cl2", dilution, dilutable=True)


@worked("Chlorine for a volume of water", expression="volume * dose / 1000", reference=_MASS_BALANCE)
def chlorine_mass(volume: Volume, dose: Dose) -> Mass:
    """Return the chlorine that brings a volume of water to a dose.

    Parameters
    ----------
    volume : volume of water. [m^3]
    dose : chlorine dose as Cl2. [g/m^3]

    Returns
    -------
    Mass of chlorine as Cl2. [kg]

    Raises
    ------
    ValueError
        If either is below 0.

    Examples
    --------
    >>> chlorine_mass(100.0, 50.0)
    5.0

    References
    ----------
    Mass balance.
    """
    checks.at_least(volume, 0.0, "volume", "m^3")
    checks.at_least(dose, 0.0, "dose", "mg/L")
    return volume * dose / 1000


@worked(
    "Hypochlorite by mass for a volume of water",
    expression="volume * dose / (1000 * strength)",
    reference=_MASS_BALANCE,
)
def hypochlorite_mass(volume: Volume, dose: Dose, strength: Annotated[Fraction, Range(0.03, 0.75)]) -> Mass:
    """Return the hypochlorite, as product by mass, that brings a volume of water to a dose (a tank, a main, a well).

    Parameters
    ----------
    volume : volume of water. [m^3]
    dose : chlorine dose as Cl2. [g/m^3]
    strength : available chlorine by weight. [1]

    Returns
    -------
    Mass of product. [kg]

    Raises
    ------
    ValueError
        If volume or dose is below 0, or the strength not above 0 and at most 1.

    Examples
    --------
    >>> round(hypochlorite_mass(1135.6, 20.0, 0.659), 1)  # 300,000 gal at 20 mg/L
    34.5

    References
    ----------
    Mass balance.
    """
    checks.at_least(volume, 0.0, "volume", "m^3")
    checks.at_least(dose, 0.0, "dose", "mg/L")
    _strength(strength)
    return volume * dose / (1000 * strength)


@worked(
    "Hypochlorite by volume for a volume of water",
    expression="volume * dose / (1000000 * trade_strength)",
    reference=_MASS_BALANCE,
)
def hypochlorite_volume(volume: Volume, dose: Dose, trade_strength: TradeStrength) -> Volume:
    """Return the hypochlorite solution, as product by volume, that brings a volume of water to a dose.

    Parameters
    ----------
    volume : volume of water. [m^3]
    dose : chlorine dose as Cl2. [g/m^3]
    trade_strength : available chlorine, weight per volume; 12.5 percent is 125 g/L. [1]

    Returns
    -------
    Volume of product. [m^3]

    Raises
    ------
    ValueError
        If volume or dose is below 0, or the strength not above 0 and at most 1.

    Examples
    --------
    >>> round(hypochlorite_volume(100.0, 50.0, 0.125) * 1000)  # litres
    40

    References
    ----------
    Mass balance.
    """
    checks.at_least(volume, 0.0, "volume", "m^3")
    checks.at_least(dose, 0.0, "dose", "mg/L")
    _strength(trade_strength)
    return volume * dose / (1000000 * trade_strength)


def _strength(strength: Any) -> None:
    checks.above(strength, 0.0, "strength", hint="Give the label's available chlorine, such as 12.5 percent.")
    checks.require(
        strength <= 1, strength, "strength must not be above 1 (100 percent)", "Write 12.5 percent, or 0.125."
    )


@worked(
    "Loss of strength against another strength",
    expression="(strength / other_strength)**2",
    reference="second order in hypochlorite, salt effect left out; guidance on storage, from memory",
)
def hypochlorite_loss_ratio(strength: TradeStrength, other_strength: TradeStrength) -> Ratio:
    """Return how many times as fast hypochlorite loses strength as another solution at the same temperature.

    Parameters
    ----------
    strength : available chlorine of the one. [1]
    other_strength : available chlorine of the other, counted alike. [1]

    Returns
    -------
    Ratio of the losses in the same time. [1]

    Raises
    ------
    ValueError
        If either strength is not above 0 and at most 1.

    Examples
    --------
    >>> round(hypochlorite_loss_ratio(0.125, 0.0625), 6)
    4.0

    References
    ----------
    Second-order decay; with the salt a solution of double strength loses about five times as fast.
    """
    _strength(strength)
    _strength(other_strength)
    return (strength / other_strength) ** 2

"""How fast does stored hypochlorite lose its strength?

Second order in hypochlorite, faster in warm and in salty solution: a strong, warm drum is lost first. Holds for clean
solution of pH 11 to 13; metals (nickel, copper, iron) make it faster, and only a test of the drum tells its strength.
"""

from typing import Annotated, Any

from weirhouse.science import checks
from weirhouse.science.quantities import Days, Fraction, IonicStrength, SecondOrderRate, Temperature
from weirhouse.working import Range, worked

TradeStrength = Annotated[Fraction, Range(0.02, 0.18)]
StorageTemperature = Annotated[Temperature, Range(0.0, 40.0)]
Brine = Annotated[IonicStrength, Range(500.0, 7000.0)]
_GORDON = "G. Gordon, L. C. Adam, B. Bubnis, Minimizing Chlorate Ion Formation (AWWA 1995), from memory"
_CHLORINE = 70.906  # g/mol of Cl2: trade percent counts hypochlorite as the chlorine it is worth
_TRADE = "Write trade percent, grams of available chlorine in 100 mL: 12.5 percent."


def _solution(trade_strength: Any, temperature: Any) -> None:
    checks.above(trade_strength, 0.0, "trade_strength", hint=_TRADE)
    checks.require(trade_strength <= 0.25, trade_strength, "trade_strength must not be above 25 percent", _TRADE)
    checks.within(temperature, -20.0, 60.0, "temperature", "degC", "Nothing is known beyond.")


@worked(
    "Ionic strength of hypochlorite solution",
    expression="2 * 1000000 * trade_strength / 70.906 + excess_caustic",
    reference="as much sodium chloride as hypochlorite, by the making; common practice, no source",
)
def hypochlorite_ionic_strength(
    trade_strength: TradeStrength, excess_caustic: Annotated[IonicStrength, Range(20.0, 500.0)] = 125.0
) -> Brine:
    """Return the ionic strength of hypochlorite as made from chlorine and caustic soda; low-salt solution has less.

    Parameters
    ----------
    trade_strength : available chlorine in the volume, 0.125 for 12.5 trade percent. [1]
    excess_caustic : caustic soda left over; 125 mol/m3 is 5 g/L. [mol/m^3]

    Returns
    -------
    Ionic strength; it stays while the strength is lost. [mol/m^3]

    Raises
    ------
    ValueError
        If the strength is not above 0 and at most 25 percent, or the caustic below 0.

    Examples
    --------
    >>> round(hypochlorite_ionic_strength(0.125))
    3651

    References
    ----------
    Cl2 + 2 NaOH = NaOCl + NaCl + H2O.
    """
    _solution(trade_strength, 20.0)
    checks.at_least(excess_caustic, 0.0, "excess_caustic", "mol/m^3")
    return 2 * 1000000 * trade_strength / _CHLORINE + excess_caustic


@worked(
    "Decay constant of hypochlorite",
    expression="0.001 * 10**(0.149 * ionic_strength / 1000) * 2.083e10 * (temperature + 273.15)"
    " * exp(-101800 / (8.314 * (temperature + 273.15)) - 56.5 / 8.314)",
    reference=_GORDON,
)
def hypochlorite_decay_constant(temperature: StorageTemperature, ionic_strength: Brine) -> SecondOrderRate:
    """Return the second-order constant of the loss of hypochlorite, -d[OCl]/dt = k [OCl]^2.

    Parameters
    ----------
    temperature : temperature of the solution. [degC]
    ionic_strength : its ionic strength, at most 10 mol/L. [mol/m^3]

    Returns
    -------
    Decay constant. [m^3/(mol*s)]

    Raises
    ------
    ValueError
        If the temperature is outside -20 to 60 degC or the ionic strength outside 0 to 10,000 mol/m3.

    Examples
    --------
    >>> round(hypochlorite_decay_constant(30.0, 6500.0) / hypochlorite_decay_constant(20.0, 6500.0), 2)
    4.1

    References
    ----------
    Gordon, Adam and Bubnis 1995 (from memory).
    """
    _solution(0.1, temperature)
    checks.within(ionic_strength, 0.0, 10000.0, "ionic_strength", "mol/m^3", "12.5 trade percent has about 3650.")
    kelvin = temperature + 273.15
    salt = 10 ** (0.149 * ionic_strength / 1000)
    return 0.001 * salt * 2.083e10 * kelvin * checks.exp(-101800 / (8.314 * kelvin) - 56.5 / 8.314)


@worked(
    "Strength of hypochlorite after storage",
    method="strength / (1 + decay constant x hypochlorite x time)",
    reference=_GORDON,
)
def hypochlorite_strength_after(
    trade_strength: TradeStrength, temperature: StorageTemperature, time: Days
) -> TradeStrength:
    """Return about what is left of the strength of hypochlorite after a time of storage; test the drum to know.

    Parameters
    ----------
    trade_strength : available chlorine in the volume when filled, 0.125 for 12.5 trade percent. [1]
    temperature : storage temperature. [degC]
    time : time of storage. [s]

    Returns
    -------
    Available chlorine in the volume, as trade percent. [1]

    Raises
    ------
    ValueError
        If the strength is not above 0 and at most 25 percent, the temperature outside -20 to 60, or the time below 0.

    Examples
    --------
    >>> round(100 * hypochlorite_strength_after(0.125, 20.0, 30 * 86400.0), 1)  # a month at 20 degC
    11.6

    References
    ----------
    Gordon, Adam and Bubnis 1995 (from memory).
    """
    _solution(trade_strength, temperature)
    checks.at_least(time, 0.0, "time", "s")
    rate = hypochlorite_decay_constant(temperature, hypochlorite_ionic_strength(trade_strength))
    return trade_strength / (1 + rate * 1e6 * trade_strength / _CHLORINE * time)


@worked(
    "Half-life of hypochlorite",
    method="1 / (decay constant x hypochlorite)",
    reference=_GORDON,
)
def hypochlorite_half_life(trade_strength: TradeStrength, temperature: StorageTemperature) -> Days:
    """Return about the time in which stored hypochlorite loses half of its strength.

    Parameters
    ----------
    trade_strength : available chlorine in the volume when filled, 0.125 for 12.5 trade percent. [1]
    temperature : storage temperature. [degC]

    Returns
    -------
    Time. [s]

    Raises
    ------
    ValueError
        If the strength is not above 0 and at most 25 percent, or the temperature outside -20 to 60 degC.

    Examples
    --------
    >>> round(hypochlorite_half_life(0.125, 25.0) / 86400)  # days
    185

    References
    ----------
    Gordon, Adam and Bubnis 1995 (from memory).
    """
    _solution(trade_strength, temperature)
    rate = hypochlorite_decay_constant(temperature, hypochlorite_ionic_strength(trade_strength))
    return 1 / (rate * 1e6 * trade_strength / _CHLORINE)


@worked(
    "Storage time of hypochlorite to a strength",
    method="(1 / strength wanted - 1 / strength) / (decay constant x hypochlorite at strength 1)",
    reference=_GORDON,
)
def hypochlorite_storage_time(
    trade_strength: Annotated[TradeStrength, Range(0.10, 0.18)],
    least_strength: Annotated[TradeStrength, Range(0.02, 0.10)],
    temperature: StorageTemperature,
) -> Days:
    """Return about how long hypochlorite may be stored until it has fallen to a strength.

    Parameters
    ----------
    trade_strength : available chlorine in the volume when filled, 0.125 for 12.5 trade percent. [1]
    least_strength : strength at which the time ends. [1]
    temperature : storage temperature. [degC]

    Returns
    -------
    Time. [s]

    Raises
    ------
    ValueError
        If a strength is not above 0 and at most 25 percent, the least is above the first, or the temperature outside
        -20 to 60 degC.

    Examples
    --------
    >>> round(hypochlorite_storage_time(0.125, 0.10, 20.0) / 86400)  # days
    95

    References
    ----------
    Gordon, Adam and Bubnis 1995 (from memory).
    """
    _solution(trade_strength, temperature)
    _solution(least_strength, temperature)
    checks.refuse(
        least_strength > trade_strength, least_strength, "least_strength must not be above trade_strength",
        "It is already weaker than that.",
    )  # fmt: skip
    rate = hypochlorite_decay_constant(temperature, hypochlorite_ionic_strength(trade_strength))
    return (1 / least_strength - 1 / trade_strength) * _CHLORINE / (1e6 * rate)

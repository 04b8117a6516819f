"""How much aluminium stays dissolved after the coagulant?

Amorphous hydroxide in balance with the water: least near pH 6 to 7, more on either side, and the least lies higher in
cold water. What filters let through as floc comes on top; fluoride and organic matter hold more in solution.
"""

from typing import Annotated, Any

from weirhouse.science import checks
from weirhouse.science.quantities import PH, Concentration, Temperature
from weirhouse.working import Range, note, worked

ColdWater = Annotated[Temperature, Range(0.0, 30.0)]
Aluminium = Annotated[Concentration, Range(0.001, 20.0)]
CoagulationPH = Annotated[PH, Range(5.5, 8.5)]
LeastPH = Annotated[PH, Range(5.9, 6.8)]
_HYDROXIDE_AT_20 = 6.43  # pH of the least solubility of this hydroxide at 20 degC, found from the constants below
_SLOPE = 0.02  # pH per degree by which it rises in colder water, from the same constants between 5 and 25 degC
# logarithm at 25 degC and enthalpy in kcal/mol: Al(OH)3 + 3 H = Al + 3 H2O, then Al + n H2O = Al(OH)n + n H
_SOLID = (10.8, -26.5)
_COMPLEXES = ((-5.0, 11.49), (-10.1, 26.90), (-16.9, 39.89), (-22.7, 42.30))
_ENDS = "The constants hold from 0 to 50 degC; check the unit of the temperature."


def _at(temperature: Any, constant: tuple[float, float]) -> Any:
    """Return the logarithm of a constant at a temperature by van 't Hoff."""
    log, enthalpy = constant
    return log - enthalpy * 4184 / (8.31446 * 2.302585093) * (1 / (temperature + 273.15) - 1 / 298.15)


@worked(
    "Dissolved aluminium",
    method="aluminium and its four hydroxides in balance with amorphous Al(OH)3, constants turned to the temperature",
    reference="constants of amorphous Al(OH)3 as in the USGS data set phreeqc.dat, from memory; activities left out",
)
def dissolved_aluminium(ph: CoagulationPH, temperature: ColdWater) -> Aluminium:
    """Return about the aluminium that stays dissolved beside its hydroxide, as after alum, at a pH of coagulation.

    Parameters
    ----------
    ph : pH after the coagulant, 4 to 10. [pH]
    temperature : water temperature, -1 to 50. [degC]

    Returns
    -------
    Dissolved aluminium as Al. [g/m^3]

    Raises
    ------
    ValueError
        If the pH is outside 4 to 10 or the temperature outside -1 to 50 degC.

    Examples
    --------
    >>> round(dissolved_aluminium(6.35, 25.0), 3)
    0.161

    References
    ----------
    Constants from memory. For polyaluminium products see `residual_aluminium`.
    """
    checks.within(ph, 4.0, 10.0, "ph", "", "Coagulation with aluminium works from about pH 5.5 to 8.")
    checks.within(temperature, -1.0, 50.0, "temperature", "degC", _ENDS)
    species = 1.0
    for charge, constant in enumerate(_COMPLEXES, 1):
        species = species + 10 ** (_at(temperature, constant) + charge * ph)
    return 26981.5 * 10 ** (_at(temperature, _SOLID) - 3 * ph) * species


@worked(
    "pH of least dissolved aluminium",
    expression="least_ph_at_20 + 0.02 * (20 - temperature)",
    reference="D. J. Pernitsky, J. K. Edzwald, J. Water Supply: AQUA 52 (2003) 395; slope from the hydroxide",
)
def ph_of_least_aluminium(temperature: ColdWater, least_ph_at_20: LeastPH = 6.3) -> PH:
    """Return the pH at which least aluminium stays dissolved: coagulate near it, within -0.3 and +0.8.

    Parameters
    ----------
    temperature : water temperature, -1 to 50. [degC]
    least_ph_at_20 : that pH at 20 degC: alum 6.0, polyaluminium chloride 6.2 to 6.4, chlorohydrate 6.7. [pH]

    Returns
    -------
    pH of least solubility. [pH]

    Raises
    ------
    ValueError
        If the temperature is outside -1 to 50 degC or the pH at 20 degC outside 5 to 8.

    Examples
    --------
    >>> round(ph_of_least_aluminium(5.0), 2)
    6.6

    References
    ----------
    Pernitsky and Edzwald 2003 (abstract): 6.0 alum, 6.2 to 6.4 PACl, 6.7 chlorohydrate; higher at 5 degC for all. The
    window of -0.3 to +0.8 is from memory.
    """
    checks.within(temperature, -1.0, 50.0, "temperature", "degC", _ENDS)
    checks.within(least_ph_at_20, 5.0, 8.0, "least_ph_at_20")
    return least_ph_at_20 + _SLOPE * (20 - temperature)


@worked(
    "Residual aluminium of a product",
    method="dissolved aluminium, its curve moved along the pH to the least of the product",
    reference="D. J. Pernitsky, J. K. Edzwald, J. Water Supply: AQUA 52 (2003) 395; hydroxide constants from memory",
)
def residual_aluminium(ph: CoagulationPH, temperature: ColdWater, least_ph_at_20: LeastPH = 6.3) -> Aluminium:
    """Return about the dissolved aluminium that a product leaves; indicative: measure what leaves the filters.

    Parameters
    ----------
    ph : pH after the coagulant, 4.5 to 9.4. [pH]
    temperature : water temperature, -1 to 50. [degC]
    least_ph_at_20 : pH of least solubility at 20 degC: alum 6.0, PACl 6.2 to 6.4, chlorohydrate 6.7. [pH]

    Returns
    -------
    Dissolved aluminium as Al; 0.1 to 0.2 mg/L is the usual alarm (from memory). [g/m^3]

    Raises
    ------
    ValueError
        If a pH or the temperature is out of its range.

    Examples
    --------
    >>> round(residual_aluminium(6.8, 10.0), 2)
    0.1

    References
    ----------
    Pernitsky and Edzwald 2003 (abstract) for where the least lies; how deep it lies is of the hydroxide, from memory.
    """
    checks.within(ph, 4.5, 9.4, "ph", "", "Coagulation with aluminium works from about pH 5.5 to 8.")
    checks.within(least_ph_at_20, 5.9, 6.9, "least_ph_at_20", "", "Alum has 6.0, aluminium chlorohydrate 6.7.")
    note("Indicative: floc that passes the filter comes on top, and organic matter or fluoride hold more in solution.")
    return dissolved_aluminium(ph - (least_ph_at_20 - _HYDROXIDE_AT_20), temperature)

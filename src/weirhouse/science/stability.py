"""Will this water dissolve calcium carbonate or lay it down?

Indices of calcium carbonate say nothing of lead or copper by themselves. Alkalinity and hardness are counted as CaCO3;
see `langelier_index` for the index on which the others here stand. Ion pairs are left out: fresh water.
"""

from typing import Annotated, Any

from weirhouse.science import checks
from weirhouse.science.carbonate import (
    CACO3_PER_EQUIVALENT,
    activity_coefficient,
    calcite_solubility,
    constants,
    langelier_index,
    solved_ph,
    total_inorganic_carbon,
)
from weirhouse.science.quantities import PH, Alkalinity, Concentration, Index, IonicStrength, Temperature
from weirhouse.working import Range, worked

ColdWater = Annotated[Temperature, Range(0.0, 30.0)]
FreshWater = Annotated[IonicStrength, Range(0.2, 20.0)]
CalciumHardness = Annotated[Concentration, Range(5.0, 300.0)]
_CALCITE = "L. N. Plummer, E. Busenberg, Geochimica et Cosmochimica Acta 46 (1982) 1011; ion pairs left out"
_HALVINGS = 60


@worked("pH of saturation", method="pH less the Langelier index", reference=_CALCITE)
def saturation_ph(
    ph: PH,
    alkalinity: Alkalinity,
    calcium_hardness: CalciumHardness,
    temperature: ColdWater,
    ionic_strength: FreshWater = 2.0,
) -> Annotated[PH, Range(4.0, 14.0)]:
    """Return pHs, the pH at which calcite would neither dissolve nor form at this calcium and alkalinity.

    Parameters
    ----------
    ph : pH, 2 to 12. [pH]
    alkalinity : total alkalinity as CaCO3. [g/m^3]
    calcium_hardness : calcium hardness as CaCO3. [g/m^3]
    temperature : water temperature, -1 to 50. [degC]
    ionic_strength : ionic strength; 2 mol/m3 is about 125 uS/cm. [mol/m^3]

    Returns
    -------
    pH of saturation. [pH]

    Raises
    ------
    ValueError
        If an argument is out of its range, the hardness is not above 0, or no carbonate is in the water.

    Examples
    --------
    >>> round(saturation_ph(7.2, 20.0, 18.0, 10.0), 1)
    9.3

    References
    ----------
    W. F. Langelier, J. American Water Works Association 28 (1936) 1500; constants of Plummer and Busenberg 1982.
    """
    return ph - langelier_index(ph, alkalinity, calcium_hardness, temperature, ionic_strength)


@worked(
    "Ryznar index",
    method="2 x pH of saturation - pH",
    reference="J. W. Ryznar, J. American Water Works Association 36 (1944) 472",
)
def ryznar_index(
    ph: PH,
    alkalinity: Alkalinity,
    calcium_hardness: CalciumHardness,
    temperature: ColdWater,
    ionic_strength: FreshWater = 2.0,
) -> Annotated[Index, Range(0.0, 25.0)]:
    """Return the Ryznar stability index: about 6 to 7 in balance, higher dissolves, lower scales.

    Parameters
    ----------
    ph : pH, 2 to 12. [pH]
    alkalinity : total alkalinity as CaCO3. [g/m^3]
    calcium_hardness : calcium hardness as CaCO3. [g/m^3]
    temperature : water temperature, -1 to 50. [degC]
    ionic_strength : ionic strength; 2 mol/m3 is about 125 uS/cm. [mol/m^3]

    Returns
    -------
    Ryznar index. [1]

    Raises
    ------
    ValueError
        If an argument is out of its range, the hardness is not above 0, or no carbonate is in the water.

    Examples
    --------
    >>> round(ryznar_index(7.2, 20.0, 18.0, 10.0), 1)
    11.5

    References
    ----------
    Ryznar 1944 (the grading from memory).
    """
    return 2 * saturation_ph(ph, alkalinity, calcium_hardness, temperature, ionic_strength) - ph


@worked(
    "Aggressive index",
    expression="ph + log10(alkalinity * calcium_hardness)",
    reference="AWWA C400, asbestos-cement pipe, from memory",
)
def aggressive_index(ph: PH, alkalinity: Alkalinity, calcium_hardness: CalciumHardness) -> Index:
    """Return the aggressive index of asbestos-cement pipe: 12 and more not aggressive, below 10 highly so.

    Parameters
    ----------
    ph : pH. [pH]
    alkalinity : total alkalinity as CaCO3. [g/m^3]
    calcium_hardness : calcium hardness as CaCO3. [g/m^3]

    Returns
    -------
    Aggressive index. [1]

    Raises
    ------
    ValueError
        If alkalinity or hardness is not above 0.

    Examples
    --------
    >>> round(aggressive_index(7.2, 20.0, 18.0), 1)
    9.8

    References
    ----------
    AWWA C400 (from memory).
    """
    checks.above(alkalinity, 0.0, "alkalinity", "mg/L")
    checks.above(calcium_hardness, 0.0, "calcium_hardness", "mg/L")
    return ph + checks.log10(alkalinity * calcium_hardness)


@worked(
    "Calcium carbonate precipitation potential",
    method=f"calcite taken out (or dissolved) until the rest is saturated, by halving the interval {_HALVINGS} times",
    reference=_CALCITE,
)
def precipitation_potential(
    ph: PH,
    alkalinity: Alkalinity,
    calcium_hardness: CalciumHardness,
    temperature: ColdWater,
    ionic_strength: FreshWater = 2.0,
) -> Annotated[Concentration, Range(-500.0, 300.0)]:
    """Return the CCPP: the calcium carbonate that the water would lay down, or below 0 dissolve, until in balance.

    No carbon dioxide comes or goes, and the ionic strength is taken to stay. Ion pairs, left out, would let soft water
    dissolve some 0.6 mg/L more, and scaling water above pH 8.6 lay down up to half as much again.

    Parameters
    ----------
    ph : pH, 2 to 12. [pH]
    alkalinity : total alkalinity as CaCO3. [g/m^3]
    calcium_hardness : calcium hardness as CaCO3. [g/m^3]
    temperature : water temperature, -1 to 50. [degC]
    ionic_strength : ionic strength; 2 mol/m3 is about 125 uS/cm. [mol/m^3]

    Returns
    -------
    Calcium carbonate. [g/m^3]

    Raises
    ------
    ValueError
        If an argument is out of its range, the hardness is not above 0, or no carbonate is in the water.

    Examples
    --------
    >>> round(precipitation_potential(7.2, 20.0, 18.0, 10.0), 1)
    -9.2

    References
    ----------
    R. E. Loewenthal, G. v. R. Marais, *Carbonate Chemistry of Aquatic Systems* (1976), for the definition.
    """
    checks.above(alkalinity, 0.0, "alkalinity", "mg/L")
    checks.above(calcium_hardness, 0.0, "calcium_hardness", "mg/L")
    carbon = total_inorganic_carbon(ph, alkalinity, temperature, ionic_strength)
    checks.above(carbon, 0.0, "inorganic carbon", "mol/m^3", "Check the reading of the pH.")
    water = constants(temperature, ionic_strength)
    two = activity_coefficient(ionic_strength, 2, temperature)
    product = 1e6 * 10 ** calcite_solubility(temperature) / (two * two)  # of concentrations in mol/m3
    charge, calcium = alkalinity / CACO3_PER_EQUIVALENT, calcium_hardness / (2 * CACO3_PER_EQUIVALENT)
    # what can come out is bound by the calcium, the carbon and the alkalinity; what can dissolve by the carbonic acid
    high: Any = checks.least(checks.least(calcium, carbon), charge / 2)
    low: Any = -(carbon + 5.0)
    for _ in range(_HALVINGS):
        taken = 0.5 * (low + high)
        found = _ion_product(charge - 2 * taken, carbon - taken, calcium - taken, water)
        too_much = found > product  # more must come out
        low, high = checks.choose(too_much, taken, low), checks.choose(too_much, high, taken)
    return 2 * CACO3_PER_EQUIVALENT * 0.5 * (low + high)


def _ion_product(charge: Any, carbon: Any, calcium: Any, water: tuple[Any, Any, Any, Any]) -> Any:
    """Return calcium times carbonate [mol2/m6] of a water of this alkalinity [eq/m^3] and carbon [mol/m^3]."""
    k1, k2, _, _ = water
    h = 10.0 ** -solved_ph(charge, carbon, *water)
    return calcium * carbon * k1 * k2 / (h * h + k1 * h + k1 * k2)

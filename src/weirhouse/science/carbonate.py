"""What do pH, alkalinity and carbon dioxide do to each other?

The carbonate system of a fresh water as a closed system: no exchange with air, no ion pairs, Davies activities.
Alkalinity is counted as CaCO3 throughout; amounts are in mol/m^3, which is mmol/L.
"""

import math
from typing import Annotated, Any

import numpy as np

from weirhouse.science import checks
from weirhouse.science.quantities import (
    PH,
    PK,
    Alkalinity,
    AmountConcentration,
    Concentration,
    Conductivity,
    Dose,
    Index,
    IonicStrength,
    Number,
    Ratio,
    Temperature,
    Volume,
)
from weirhouse.working import Range, worked

CACO3_PER_EQUIVALENT = 50.0435  # g of CaCO3 to one equivalent: 100.087 / 2

ColdWater = Annotated[Temperature, Range(0.0, 30.0)]
FreshWater = Annotated[IonicStrength, Range(0.2, 20.0)]
_PLUMMER = "L. N. Plummer, E. Busenberg, Geochimica et Cosmochimica Acta 46 (1982) 1011"
_HALVINGS, _NEWTON = 8, 3  # to 0.02 pH, then three steps that each square the error: below 1e-12
_FARTHEST = 0.1  # in the natural logarithm: where the answer lies outside of 2 to 12 a step must not run away
_METHOD = "the hydrogen ion is found by trial until it fits"
_UNTREATED = "Check the reading: this pH and this alkalinity cannot be of one water."
_ENDS = "The constants hold for fresh water from 0 to 50 degC; check the unit of the temperature."
_BLOCK = 8192  # items at a time, so that the search stays in the processor's cache


def _water(temperature: Any, ionic_strength: Any) -> None:
    checks.within(temperature, -1.0, 50.0, "temperature", "degC", _ENDS)
    checks.within(
        ionic_strength,
        0.0,
        500.0,
        "ionic_strength",
        "mol/m^3",
        "The activities hold to 0.5 mol/L; fresh water has 0.001.",
    )


@worked(
    "First dissociation constant of carbonic acid, pK1",
    expression="356.3094 + 0.06091964 * (temperature + 273.15) - 21834.37 / (temperature + 273.15)"
    " - 126.8339 * log10(temperature + 273.15) + 1684915 / (temperature + 273.15)**2",
    reference=_PLUMMER,
)
def pk1(temperature: ColdWater) -> PK:
    """Return pK1 of carbonic acid, CO2 + H2O = HCO3 + H, at zero ionic strength.

    Parameters
    ----------
    temperature : water temperature, -1 to 50. [degC]

    Returns
    -------
    Negative logarithm of the constant in mol/L. [1]

    Raises
    ------
    ValueError
        If the temperature is outside -1 to 50 degC.

    Examples
    --------
    >>> round(pk1(10.0), 3)
    6.463

    References
    ----------
    Plummer and Busenberg 1982; Harned and Davis 1943 measured 6.464 at 10 degC.
    """
    checks.within(temperature, -1.0, 50.0, "temperature", "degC", _ENDS)
    kelvin = temperature + 273.15
    return (
        356.3094
        + 0.06091964 * kelvin
        - 21834.37 / kelvin
        - 126.8339 * checks.log10(kelvin)
        + 1684915 / (kelvin * kelvin)
    )


@worked(
    "Second dissociation constant of carbonic acid, pK2",
    expression="107.8871 + 0.03252849 * (temperature + 273.15) - 5151.79 / (temperature + 273.15)"
    " - 38.92561 * log10(temperature + 273.15) + 563713.9 / (temperature + 273.15)**2",
    reference=_PLUMMER,
)
def pk2(temperature: ColdWater) -> PK:
    """Return pK2 of carbonic acid, HCO3 = CO3 + H, at zero ionic strength.

    Parameters
    ----------
    temperature : water temperature, -1 to 50. [degC]

    Returns
    -------
    Negative logarithm of the constant in mol/L. [1]

    Raises
    ------
    ValueError
        If the temperature is outside -1 to 50 degC.

    Examples
    --------
    >>> round(pk2(10.0), 3)
    10.488

    References
    ----------
    Plummer and Busenberg 1982.
    """
    checks.within(temperature, -1.0, 50.0, "temperature", "degC", _ENDS)
    kelvin = temperature + 273.15
    return (
        107.8871
        + 0.03252849 * kelvin
        - 5151.79 / kelvin
        - 38.92561 * checks.log10(kelvin)
        + 563713.9 / (kelvin * kelvin)
    )


@worked(
    "Ion product of water, pKw",
    expression="283.971 + 0.05069842 * (temperature + 273.15) - 13323 / (temperature + 273.15)"
    " - 102.24447 * log10(temperature + 273.15) + 1119669 / (temperature + 273.15)**2",
    reference="form and coefficients as used with Plummer and Busenberg 1982",
)
def pkw(temperature: ColdWater) -> PK:
    """Return pKw, H2O = H + OH, at zero ionic strength.

    Parameters
    ----------
    temperature : water temperature, -1 to 50. [degC]

    Returns
    -------
    Negative logarithm of the constant in mol2/L2. [1]

    Raises
    ------
    ValueError
        If the temperature is outside -1 to 50 degC.

    Examples
    --------
    >>> round(pkw(25.0), 2)
    14.0

    References
    ----------
    As used with Plummer and Busenberg 1982; 13.995 at 25 degC is the common table value.
    """
    checks.within(temperature, -1.0, 50.0, "temperature", "degC", _ENDS)
    kelvin = temperature + 273.15
    return (
        283.971 + 0.05069842 * kelvin - 13323 / kelvin - 102.24447 * checks.log10(kelvin) + 1119669 / (kelvin * kelvin)
    )


@worked(
    "Ionic strength from conductivity",
    expression="160 * conductivity",
    reference="1.6e-5 mol/L for each uS/cm; common practice, no source",
)
def ionic_strength_from_conductivity(conductivity: Conductivity) -> IonicStrength:
    """Return the ionic strength of a fresh water from its conductivity at 25 degC.

    Parameters
    ----------
    conductivity : conductivity at 25 degC. [S/m]

    Returns
    -------
    Ionic strength. [mol/m^3]

    Raises
    ------
    ValueError
        If the conductivity is below 0.

    Examples
    --------
    >>> round(ionic_strength_from_conductivity(0.0125), 3)  # 125 uS/cm
    2.0

    References
    ----------
    Rule of 1.6e-5 mol/L for each uS/cm (from memory; common practice, no source).
    """
    checks.at_least(conductivity, 0.0, "conductivity", "S/m")
    return 160 * conductivity


@worked(
    "Ionic strength from dissolved solids",
    expression="0.025 * dissolved_solids",
    reference="2.5e-5 mol/L for each mg/L; common practice, no source",
)
def ionic_strength_from_dissolved_solids(
    dissolved_solids: Annotated[Concentration, Range(10.0, 800.0)],
) -> IonicStrength:
    """Return the ionic strength of a fresh water from its total dissolved solids.

    Parameters
    ----------
    dissolved_solids : total dissolved solids. [g/m^3]

    Returns
    -------
    Ionic strength. [mol/m^3]

    Raises
    ------
    ValueError
        If the solids are below 0.

    Examples
    --------
    >>> round(ionic_strength_from_dissolved_solids(80.0), 3)
    2.0

    References
    ----------
    Rule of 2.5e-5 mol/L for each mg/L (W. F. Langelier 1936, from memory).
    """
    checks.at_least(dissolved_solids, 0.0, "dissolved_solids", "mg/L")
    return 0.025 * dissolved_solids


@worked(
    "Activity coefficient by Davies",
    expression="10**(-1.82e6 * ((60954 / (temperature + 389.15) - 68.937) * (temperature + 273.15))**-1.5 * charge**2"
    " * (sqrt(ionic_strength / 1000) / (1 + sqrt(ionic_strength / 1000)) - 0.3 * ionic_strength / 1000))",
    reference="C. W. Davies, Ion Association (1962); permittivity of water after Truesdell and Jones 1974",
)
def activity_coefficient(
    ionic_strength: FreshWater, charge: Annotated[Number, Range(1.0, 3.0)], temperature: ColdWater
) -> Annotated[Ratio, Range(0.3, 1.0)]:
    """Return the activity coefficient of an ion.

    Parameters
    ----------
    ionic_strength : ionic strength, 0 to 500. [mol/m^3]
    charge : charge of the ion; its sign does not matter. [1]
    temperature : water temperature, -1 to 50. [degC]

    Returns
    -------
    Activity over concentration. [1]

    Raises
    ------
    ValueError
        If the ionic strength is outside 0 to 500 mol/m3 or the temperature outside -1 to 50 degC.

    Examples
    --------
    >>> round(activity_coefficient(100.0, 1, 25.0), 2)
    0.78

    References
    ----------
    Davies 1962. A = 1.82e6 (permittivity x T)^-1.5, permittivity 60954/(T + 116) - 68.937 (both from memory).
    """
    _water(temperature, ionic_strength)
    strength = ionic_strength / 1000
    root = checks.sqrt(strength)
    slope = 1.82e6 * ((60954 / (temperature + 389.15) - 68.937) * (temperature + 273.15)) ** -1.5
    return 10 ** (-slope * charge * charge * (root / (1 + root) - 0.3 * strength))


def constants(temperature: Any, ionic_strength: Any) -> tuple[Any, Any, Any, Any]:
    """Return K1, K2, Kw for concentrations beside the activity of H [mol/L], and the coefficient of a single charge."""
    one = activity_coefficient(ionic_strength, 1, temperature)
    two = activity_coefficient(ionic_strength, 2, temperature)
    return 10 ** -pk1(temperature) / one, 10 ** -pk2(temperature) * one / two, 10 ** -pkw(temperature) / one, one


def charge_per_carbon(h: Any, k1: Any, k2: Any) -> Any:
    """Return the equivalents of bicarbonate and carbonate to one mole of inorganic carbon."""
    first = k1 * h
    second = k1 * k2
    return (first + 2 * second) / (h * h + first + second)


@worked(
    "Total inorganic carbon",
    method="(alkalinity - hydroxide + hydrogen ion) / (share of HCO3 + 2 x share of CO3), shares from pK1, pK2 and pH",
    reference="closed carbonate system; Plummer and Busenberg 1982, Davies 1962",
)
def total_inorganic_carbon(
    ph: PH, alkalinity: Alkalinity, temperature: ColdWater, ionic_strength: FreshWater = 2.0
) -> AmountConcentration:
    """Return the total inorganic carbon (CO2, bicarbonate and carbonate) of a water of known pH and alkalinity.

    Parameters
    ----------
    ph : pH, 2 to 12. [pH]
    alkalinity : total alkalinity as CaCO3. [g/m^3]
    temperature : water temperature, -1 to 50. [degC]
    ionic_strength : ionic strength; 2 mol/m3 is about 125 uS/cm. [mol/m^3]

    Returns
    -------
    Total inorganic carbon; 1 mol/m3 is 12 mg/L as C. [mol/m^3]

    Raises
    ------
    ValueError
        If an argument is out of its range, or no carbon is left once the hydroxide of that pH is taken off.

    Examples
    --------
    >>> round(total_inorganic_carbon(7.2, 20.0, 10.0), 4)
    0.469

    References
    ----------
    W. Stumm, J. J. Morgan, *Aquatic Chemistry*, definition of alkalinity.
    """
    checks.within(ph, 2.0, 12.0, "ph", hint=_UNTREATED)
    k1, k2, kw, one = constants(temperature, ionic_strength)
    h = 10.0**-ph
    carbonates = alkalinity / CACO3_PER_EQUIVALENT - 1000 * (kw / h - h / one)
    carbon = carbonates / charge_per_carbon(h, k1, k2)
    checks.at_least(carbon, 0.0, "inorganic carbon", "mol/m^3", _UNTREATED)
    return carbon


@worked(
    "Alkalinity from carbon and pH",
    method="carbon x (share of HCO3 + 2 x share of CO3) + hydroxide - hydrogen ion",
    reference="closed carbonate system; Plummer and Busenberg 1982, Davies 1962",
)
def alkalinity_from_carbon(
    ph: PH, inorganic_carbon: AmountConcentration, temperature: ColdWater, ionic_strength: FreshWater = 2.0
) -> Annotated[Alkalinity, Range(0.0, 500.0)]:
    """Return the alkalinity at which a water of known inorganic carbon has a wanted pH.

    Parameters
    ----------
    ph : pH, 2 to 12. [pH]
    inorganic_carbon : total inorganic carbon. [mol/m^3]
    temperature : water temperature, -1 to 50. [degC]
    ionic_strength : ionic strength; 2 mol/m3 is about 125 uS/cm. [mol/m^3]

    Returns
    -------
    Alkalinity as CaCO3; below 0 for a water with mineral acidity. [g/m^3]

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Examples
    --------
    >>> round(alkalinity_from_carbon(7.2, 0.46896, 10.0), 1)
    20.0

    References
    ----------
    W. Stumm, J. J. Morgan, *Aquatic Chemistry*, definition of alkalinity.
    """
    checks.within(ph, 2.0, 12.0, "ph")
    checks.at_least(inorganic_carbon, 0.0, "inorganic_carbon", "mol/m^3")
    k1, k2, kw, one = constants(temperature, ionic_strength)
    h = 10.0**-ph
    return CACO3_PER_EQUIVALENT * (inorganic_carbon * charge_per_carbon(h, k1, k2) + 1000 * (kw / h - h / one))


@worked(
    "pH from alkalinity and carbon",
    method=_METHOD,
    reference="closed carbonate system; Plummer and Busenberg 1982, Davies 1962",
)
def ph_from_carbon(
    alkalinity: Alkalinity,
    inorganic_carbon: AmountConcentration,
    temperature: ColdWater,
    ionic_strength: FreshWater = 2.0,
) -> PH:
    """Return the pH at which a water of known inorganic carbon has a known alkalinity.

    Parameters
    ----------
    alkalinity : total alkalinity as CaCO3; below 0 for mineral acidity. [g/m^3]
    inorganic_carbon : total inorganic carbon. [mol/m^3]
    temperature : water temperature, -1 to 50. [degC]
    ionic_strength : ionic strength; 2 mol/m3 is about 125 uS/cm. [mol/m^3]

    Returns
    -------
    pH. [pH]

    Raises
    ------
    ValueError
        If an argument is out of its range, or the pH would be outside 2 to 12.

    Examples
    --------
    >>> round(ph_from_carbon(20.0, 0.46896, 10.0), 2)
    7.2

    References
    ----------
    W. Stumm, J. J. Morgan, *Aquatic Chemistry*, definition of alkalinity.
    """
    checks.at_least(inorganic_carbon, 0.0, "inorganic_carbon", "mol/m^3")
    ph = solved_ph(alkalinity / CACO3_PER_EQUIVALENT, inorganic_carbon, *constants(temperature, ionic_strength))
    inside = (ph > 2.0) & (ph < 12.0)
    checks.require(
        inside,
        ph,
        "the pH would be outside 2 to 12",
        "Check dose and alkalinity; past the alkalinity the pH falls away.",
    )
    return ph


def solved_ph(*water: Any) -> Any:
    """Return the pH of alkalinity [eq/m^3], inorganic carbon [mol/m^3] and `constants`; nothing is recorded."""
    return _scalar_ph(*water) if all(isinstance(v, float | int) for v in water) else _array_ph(*water)


def _excess(h: Any, alkalinity: Any, carbon: Any, k1: Any, k2: Any, kw: Any, one: Any) -> Any:
    """Return how much more alkalinity [eq/m^3] the water would have at the hydrogen ion activity `h` [mol/L]."""
    return carbon * charge_per_carbon(h, k1, k2) + 1000 * (kw / h - h / one) - alkalinity


def _slope(h: Any, carbon: Any, k1: Any, k2: Any, kw: Any, one: Any) -> Any:
    """Return the change of `_excess` with the natural logarithm of `h`; it is below 0 at every pH."""
    first, second = k1 * h, k1 * k2
    total = h * h + first + second
    pairs = h * h * first + 4 * h * h * second + first * second
    return -carbon * pairs / (total * total) - 1000 * (kw / h + h / one)


def _scalar_ph(*water: float) -> float:
    if any(v != v for v in water):
        return math.nan
    low, high = 1e-12, 1e-2
    for _ in range(_HALVINGS):
        middle = math.sqrt(low * high)
        if _excess(middle, *water) > 0:
            low = middle
        else:
            high = middle
    h = math.sqrt(low * high)
    for _ in range(_NEWTON):
        h *= math.exp(min(max(-_excess(h, *water) / _slope(h, *water[1:]), -_FARTHEST), _FARTHEST))
    return -math.log10(h)


def _array_ph(*water: Any) -> Any:
    columns = np.broadcast_arrays(*water)
    shape = columns[0].shape
    flat = [np.ascontiguousarray(column, dtype=float).ravel() for column in columns]
    ph = np.empty(flat[0].size)
    for start in range(0, ph.size, _BLOCK):
        here = [column[start : start + _BLOCK] for column in flat]
        low, high = np.full(here[0].shape, 1e-12), np.full(here[0].shape, 1e-2)
        for _ in range(_HALVINGS):
            middle = np.sqrt(low * high)
            alkaline = _excess(middle, *here) > 0
            np.copyto(low, middle, where=alkaline)
            np.copyto(high, middle, where=~alkaline)
        h = np.sqrt(low * high)
        for _ in range(_NEWTON):
            h *= np.exp(np.clip(-_excess(h, *here) / _slope(h, *here[1:]), -_FARTHEST, _FARTHEST))
        ph[start : start + _BLOCK] = -np.log10(h)
    return ph.reshape(shape)


# --- forms of alkalinity -----------------------------------------------------------------------------------------

_TITRATION = "Standard Methods, method 2320 B, table of alkalinity relationships (from memory)"
Titrated = Annotated[Alkalinity, Range(0.0, 100.0)]


def _titration(phenolphthalein: Any, total: Any) -> None:
    checks.at_least(phenolphthalein, 0.0, "phenolphthalein", "mg/L")
    checks.refuse(
        total < phenolphthalein,
        total,
        "total must not be below phenolphthalein",
        "The total counts all acid from the start; check the two burette readings.",
    )


@worked("Hydroxide alkalinity", expression="max(0, 2 * phenolphthalein - total)", reference=_TITRATION)
def hydroxide_alkalinity(phenolphthalein: Titrated, total: Annotated[Alkalinity, Range(100.0, 200.0)]) -> Titrated:
    """Return the alkalinity present as hydroxide from the two end points of a titration.

    Parameters
    ----------
    phenolphthalein : alkalinity to pH 8.3, as CaCO3. [g/m^3]
    total : alkalinity to pH 4.5, as CaCO3, counted from the start. [g/m^3]

    Returns
    -------
    Hydroxide alkalinity as CaCO3. [g/m^3]

    Raises
    ------
    ValueError
        If phenolphthalein is below 0 or above the total.

    Examples
    --------
    >>> hydroxide_alkalinity(60.0, 100.0)
    20.0

    References
    ----------
    Standard Methods 2320 B (from memory).
    """
    _titration(phenolphthalein, total)
    return checks.most(0.0, 2 * phenolphthalein - total)


@worked(
    "Carbonate alkalinity",
    expression="min(2 * phenolphthalein, 2 * (total - phenolphthalein))",
    reference=_TITRATION,
)
def carbonate_alkalinity(phenolphthalein: Titrated, total: Annotated[Alkalinity, Range(100.0, 200.0)]) -> Titrated:
    """Return the alkalinity present as carbonate from the two end points of a titration.

    Parameters
    ----------
    phenolphthalein : alkalinity to pH 8.3, as CaCO3. [g/m^3]
    total : alkalinity to pH 4.5, as CaCO3, counted from the start. [g/m^3]

    Returns
    -------
    Carbonate alkalinity as CaCO3. [g/m^3]

    Raises
    ------
    ValueError
        If phenolphthalein is below 0 or above the total.

    Examples
    --------
    >>> carbonate_alkalinity(30.0, 100.0)
    60.0

    References
    ----------
    Standard Methods 2320 B (from memory).
    """
    _titration(phenolphthalein, total)
    return checks.least(2 * phenolphthalein, 2 * (total - phenolphthalein))


@worked("Bicarbonate alkalinity", expression="max(0, total - 2 * phenolphthalein)", reference=_TITRATION)
def bicarbonate_alkalinity(phenolphthalein: Titrated, total: Annotated[Alkalinity, Range(100.0, 200.0)]) -> Titrated:
    """Return the alkalinity present as bicarbonate from the two end points of a titration.

    Parameters
    ----------
    phenolphthalein : alkalinity to pH 8.3, as CaCO3. [g/m^3]
    total : alkalinity to pH 4.5, as CaCO3, counted from the start. [g/m^3]

    Returns
    -------
    Bicarbonate alkalinity as CaCO3. [g/m^3]

    Raises
    ------
    ValueError
        If phenolphthalein is below 0 or above the total.

    Examples
    --------
    >>> bicarbonate_alkalinity(30.0, 100.0)
    40.0

    References
    ----------
    Standard Methods 2320 B (from memory).
    """
    _titration(phenolphthalein, total)
    return checks.most(0.0, total - 2 * phenolphthalein)


@worked(
    "Alkalinity from a titration",
    expression="50.0435 * acid_strength * acid_volume / sample_volume",
    reference="Standard Methods, method 2320 B (from memory); 50.04 g of CaCO3 to an equivalent",
)
def alkalinity_from_titration(
    acid_volume: Annotated[Volume, Range(1e-6, 3e-5)],
    acid_strength: Annotated[AmountConcentration, Range(10.0, 100.0)],
    sample_volume: Annotated[Volume, Range(5e-5, 2e-4)],
) -> Annotated[Alkalinity, Range(0.0, 3000.0)]:
    """Return the alkalinity of a sample from the acid it takes: 0.02 N acid is 20 mmol/L.

    Parameters
    ----------
    acid_volume : acid to the end point. [m^3]
    acid_strength : equivalents in a volume of acid; 0.02 N is 20. [mol/m^3]
    sample_volume : sample titrated. [m^3]

    Returns
    -------
    Alkalinity as CaCO3. [g/m^3]

    Raises
    ------
    ValueError
        If the acid is below 0 or the sample not above 0.

    Examples
    --------
    >>> round(alkalinity_from_titration(4.2e-6, 20.0, 1e-4), 1)  # 4.2 mL of 0.02 N for 100 mL
    42.0

    References
    ----------
    Standard Methods 2320 B (from memory).
    """
    checks.at_least(acid_volume, 0.0, "acid_volume", "m^3")
    checks.at_least(acid_strength, 0.0, "acid_strength", "mol/m^3")
    checks.above(sample_volume, 0.0, "sample_volume", "m^3")
    return 50.0435 * acid_strength * acid_volume / sample_volume


@worked(
    "Hardness from calcium and magnesium",
    expression="2.497 * calcium + 4.118 * magnesium",
    reference="Standard Methods, method 2340 B (from memory); molar masses",
)
def total_hardness(
    calcium: Annotated[Concentration, Range(1.0, 120.0)], magnesium: Annotated[Concentration, Range(0.2, 50.0)]
) -> Annotated[Concentration, Range(0.0, 500.0)]:
    """Return the total hardness of a water.

    Parameters
    ----------
    calcium : calcium as Ca. [g/m^3]
    magnesium : magnesium as Mg. [g/m^3]

    Returns
    -------
    Hardness as CaCO3. [g/m^3]

    Raises
    ------
    ValueError
        If either is below 0.

    Examples
    --------
    >>> round(total_hardness(40.0, 10.0))
    141

    References
    ----------
    Standard Methods 2340 B (from memory).
    """
    checks.at_least(calcium, 0.0, "calcium", "mg/L")
    checks.at_least(magnesium, 0.0, "magnesium", "mg/L")
    return 2.497 * calcium + 4.118 * magnesium


@worked(
    "Free carbon dioxide",
    expression="2.0 * alkalinity * 10**(6.0 - ph)",
    reference="Standard Methods, method 4500-CO2 D (from memory); 25 degC",
)
def free_carbon_dioxide(ph: Annotated[PH, Range(6.0, 8.5)], alkalinity: Alkalinity) -> Dose:
    """Return the free carbon dioxide by the short formula, for a water whose alkalinity is bicarbonate.

    It is that of 25 degC; with temperature and salts use `carbon_dioxide`.

    Parameters
    ----------
    ph : pH, 4.5 to 8.5; above that carbonate counts. [pH]
    alkalinity : bicarbonate alkalinity as CaCO3. [g/m^3]

    Returns
    -------
    Free CO2. [g/m^3]

    Raises
    ------
    ValueError
        If the pH is outside 4.5 to 8.5 or the alkalinity below 0.

    Examples
    --------
    >>> free_carbon_dioxide(7.0, 100.0)
    20.0

    References
    ----------
    Standard Methods 4500-CO2 D (from memory).
    """
    checks.within(ph, 4.5, 8.5, "ph", hint="Use carbon_dioxide, which counts carbonate and hydroxide.")
    checks.at_least(alkalinity, 0.0, "alkalinity", "mg/L")
    return 2.0 * alkalinity * 10 ** (6.0 - ph)


@worked(
    "Carbon dioxide in the water",
    method="44.01 x total inorganic carbon x share of CO2 at this pH",
    reference="closed carbonate system; Plummer and Busenberg 1982, Davies 1962",
)
def carbon_dioxide(ph: PH, alkalinity: Alkalinity, temperature: ColdWater, ionic_strength: FreshWater = 2.0) -> Dose:
    """Return the dissolved carbon dioxide of a water of known pH and alkalinity.

    Parameters
    ----------
    ph : pH, 2 to 12. [pH]
    alkalinity : total alkalinity as CaCO3. [g/m^3]
    temperature : water temperature, -1 to 50. [degC]
    ionic_strength : ionic strength; 2 mol/m3 is about 125 uS/cm. [mol/m^3]

    Returns
    -------
    Dissolved CO2. [g/m^3]

    Raises
    ------
    ValueError
        If an argument is out of its range, or pH and alkalinity cannot be of one water.

    Examples
    --------
    >>> round(carbon_dioxide(7.0, 100.0, 25.0), 1)
    18.8

    References
    ----------
    W. Stumm, J. J. Morgan, *Aquatic Chemistry*.
    """
    carbon = total_inorganic_carbon(ph, alkalinity, temperature, ionic_strength)
    k1, k2, _, _ = constants(temperature, ionic_strength)
    h = 10.0**-ph
    return 44.01 * carbon * h * h / (h * h + k1 * h + k1 * k2)


# --- calcium carbonate -------------------------------------------------------------------------------------------


@worked(
    "Langelier index from factors",
    expression="ph + temperature_factor + calcium_factor + alkalinity_factor - 12.1",
    reference="factor table of pool and boiler sheets; common practice, no source",
)
def langelier_index_from_factors(
    ph: PH,
    temperature_factor: Annotated[Index, Range(0.0, 1.0)],
    calcium_factor: Annotated[Index, Range(0.3, 2.5)],
    alkalinity_factor: Annotated[Index, Range(0.7, 2.9)],
) -> Annotated[Index, Range(-6.0, 4.0)]:
    """Return the Langelier index by the short factor table; for water of a mountain stream use `langelier_index`.

    Parameters
    ----------
    ph : pH. [pH]
    temperature_factor : factor of the temperature. [1]
    calcium_factor : factor of the calcium hardness. [1]
    alkalinity_factor : factor of the alkalinity. [1]

    Returns
    -------
    Index; below 0 the water dissolves calcium carbonate. [1]

    Examples
    --------
    >>> round(langelier_index_from_factors(7.0, 0.7, 2.1, 1.4), 1)
    -0.9

    References
    ----------
    Common practice, no source.
    """
    return ph + temperature_factor + calcium_factor + alkalinity_factor - 12.1


@worked(
    "Langelier index",
    method="logarithm of the activities of calcium and carbonate over the solubility of calcite",
    reference=f"{_PLUMMER}; ion pairs left out",
)
def langelier_index(
    ph: PH,
    alkalinity: Alkalinity,
    calcium_hardness: Annotated[Concentration, Range(5.0, 300.0)],
    temperature: ColdWater,
    ionic_strength: FreshWater = 2.0,
) -> Annotated[Index, Range(-6.0, 4.0)]:
    """Return the Langelier index: how far the pH lies above that at which calcite neither dissolves nor forms.

    Parameters
    ----------
    ph : pH, 2 to 12. [pH]
    alkalinity : total alkalinity as CaCO3. [g/m^3]
    calcium_hardness : calcium hardness as CaCO3. [g/m^3]
    temperature : water temperature, -1 to 50. [degC]
    ionic_strength : ionic strength; 2 mol/m3 is about 125 uS/cm. [mol/m^3]

    Returns
    -------
    Index; below 0 the water dissolves calcium carbonate. [1]

    Raises
    ------
    ValueError
        If an argument is out of its range, the hardness is not above 0, or no carbonate is in the water.

    Examples
    --------
    >>> round(langelier_index(7.2, 20.0, 18.0, 10.0), 1)
    -2.1

    References
    ----------
    Plummer and Busenberg 1982: log Kc = -171.9065 - 0.077993 T + 2839.319/T + 71.595 log T (from memory).
    """
    checks.above(calcium_hardness, 0.0, "calcium_hardness", "mg/L")
    carbon = total_inorganic_carbon(ph, alkalinity, temperature, ionic_strength)
    checks.above(carbon, 0.0, "inorganic carbon", "mol/m^3", _UNTREATED)
    k1, k2, _, _ = constants(temperature, ionic_strength)
    h = 10.0**-ph
    carbonate = carbon / 1000 * k1 * k2 / (h * h + k1 * h + k1 * k2)
    calcium = calcium_hardness / (2 * CACO3_PER_EQUIVALENT) / 1000
    two = activity_coefficient(ionic_strength, 2, temperature)
    return checks.log10(two * two * calcium * carbonate) - calcite_solubility(temperature)


def calcite_solubility(temperature: Any) -> Any:
    """Return the logarithm of the solubility product of calcite in mol2/L2 (Plummer and Busenberg 1982)."""
    kelvin = temperature + 273.15
    return -171.9065 - 0.077993 * kelvin + 2839.319 / kelvin + 71.595 * checks.log10(kelvin)


# --- carbon dioxide and the air ----------------------------------------------------------------------------------


@worked(
    "pH after aeration",
    method="carbon dioxide above that in balance with air taken off by the share, then the pH of what is left",
    reference=f"{_PLUMMER}; solubility of CO2 as used there, from memory",
)
def ph_after_aeration(
    ph: Annotated[PH, Range(6.0, 7.5)],
    alkalinity: Annotated[Alkalinity, Range(10.0, 200.0)],
    temperature: ColdWater,
    share_lost: Annotated[Ratio, Range(0.0, 1.0)],
    ionic_strength: FreshWater = 2.0,
) -> PH:
    """Return the pH when weirs or aeration drive off a share of the carbon dioxide that is above the air's.

    Parameters
    ----------
    ph : pH before, 2 to 12. [pH]
    alkalinity : total alkalinity as CaCO3, which stays. [g/m^3]
    temperature : water temperature, -1 to 50. [degC]
    share_lost : share of the excess that goes: 0 to 0.3 over weirs (from memory), near 1 in an aerator. [1]
    ionic_strength : ionic strength; 2 mol/m3 is about 125 uS/cm. [mol/m^3]

    Returns
    -------
    pH after; below the air's carbon dioxide the water takes it up instead. [pH]

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Examples
    --------
    >>> round(ph_after_aeration(6.6, 30.0, 10.0, 0.3), 2)
    6.74

    References
    ----------
    Air with 420 ppm of carbon dioxide at sea level; log KH = 108.3865 + 0.01985076 T - 6919.53/T - 40.45154 log T
    + 669365/T^2 (Plummer and Busenberg 1982, from memory).
    """
    checks.within(share_lost, 0.0, 1.0, "share_lost", "", "Write 30 percent, or 0.3.")
    carbon = total_inorganic_carbon(ph, alkalinity, temperature, ionic_strength)
    k1, k2, _, _ = constants(temperature, ionic_strength)
    h = 10.0**-ph
    dissolved = carbon * h * h / (h * h + k1 * h + k1 * k2)
    kelvin = temperature + 273.15
    henry = 108.3865 + 0.01985076 * kelvin - 6919.53 / kelvin - 40.45154 * checks.log10(kelvin) + 669365 / kelvin**2
    in_air = 1000 * 10**henry * 420e-6
    left = carbon - share_lost * (dissolved - in_air)
    return ph_from_carbon(alkalinity, left, temperature, ionic_strength)

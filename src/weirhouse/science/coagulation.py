"""What does a coagulant take from the alkalinity, and what pH does it leave?

One statement of chemistry carries this file. An aluminium coagulant of basicity B is Al(OH)3B X3(1-B), X a chloride or
half a sulphate, and all of its aluminium settles out as Al(OH)3. Each mole of aluminium then acts as 3 (1 - B)
equivalents of strong acid: alum has B = 0. No carbon dioxide leaves (pipe and flocculation: a closed system).
Below about pH 6.2 and above about pH 7.2 some aluminium stays dissolved; this leaves it out, and the sheet says so.
"""

from typing import Annotated, Any, Literal

from weirhouse.science import checks
from weirhouse.science.carbonate import (
    ColdWater,
    FreshWater,
    ph_from_carbon,
    total_inorganic_carbon,
)
from weirhouse.science.feed import Strength, aluminium_dose
from weirhouse.science.quantities import (
    PH,
    Absorbance,
    Alkalinity,
    AluminiumDose,
    Concentration,
    Dose,
    Fraction,
    Ratio,
    SpecificAbsorbance,
)
from weirhouse.working import Range, note, worked

Basis = Literal["product", "Al2O3", "Al"]

Basicity = Annotated[Fraction, Range(0.0, 0.85)]
CoagulantDose = Annotated[Dose, Range(0.5, 40.0)]
AlkalinityUsed = Annotated[Alkalinity, Range(0.0, 60.0)]
_CHARGE = "charge balance: 3 (1 - basicity) equivalents to a mole of Al; molar masses"
_CLOSED = "closed carbonate system; Plummer and Busenberg 1982, Davies 1962; all Al as Al(OH)3"
_DISSOLVED_ABOVE, _DISSOLVED_BELOW = 7.2, 6.2  # beyond these PHREEQC's amorphous Al(OH)3 shifts the pH by 0.05
_BASICITY = "Give the share of hydroxide from the product's data sheet, such as 50 percent; alum has 0."


def _basicity(basicity: Any) -> None:
    checks.require((basicity >= 0) & (basicity < 1), basicity, "basicity must be from 0 to below 1", _BASICITY)


@worked(
    "Basicity",
    expression="hydroxide_per_aluminium / 3",
    reference="NHMRC, Australian Drinking Water Guidelines, polyaluminium chloride fact sheet",
)
def basicity(hydroxide_per_aluminium: Annotated[Ratio, Range(0.0, 2.6)]) -> Basicity:
    """Return the basicity of an aluminium coagulant from its hydroxide: Al2(OH)3Cl3 has 1.5 to each aluminium.

    Parameters
    ----------
    hydroxide_per_aluminium : moles of hydroxide to one of aluminium, 0 to below 3. [1]

    Returns
    -------
    Basicity, the share of aluminium's three charges that hydroxide holds. [1]

    Raises
    ------
    ValueError
        If the ratio is below 0 or not below 3.

    Examples
    --------
    >>> basicity(1.5)
    0.5

    References
    ----------
    NHMRC, *Australian Drinking Water Guidelines*, Part V, polyaluminium chloride.
    """
    checks.require(
        (hydroxide_per_aluminium >= 0) & (hydroxide_per_aluminium < 3),
        hydroxide_per_aluminium,
        "hydroxide_per_aluminium must be from 0 to below 3",
        "At 3 all of the aluminium would already be hydroxide.",
    )
    return hydroxide_per_aluminium / 3


@worked("Alkalinity used by aluminium", expression="5.5643 * (1 - basicity) * aluminium", reference=_CHARGE)
def alkalinity_used_by_aluminium(aluminium: AluminiumDose, basicity: Basicity) -> AlkalinityUsed:
    """Return the alkalinity that a dose as aluminium takes: 3 x 50.0435 / 26.9815 = 5.5643 mg/L to each mg/L of Al.

    Parameters
    ----------
    aluminium : dose as Al. [g/m^3]
    basicity : basicity of the product; 0 for alum and aluminium chloride. [1]

    Returns
    -------
    Alkalinity used, as CaCO3. [g/m^3]

    Raises
    ------
    ValueError
        If the dose is below 0 or the basicity not from 0 to below 1.

    Examples
    --------
    >>> round(alkalinity_used_by_aluminium(1.0, basicity=0.5), 2)
    2.78

    References
    ----------
    Charge balance; AWWA M37 prints 3 x 50 / 26.98 x (1 - basicity) (from memory).
    """
    checks.at_least(aluminium, 0.0, "aluminium", "mg/L")
    _basicity(basicity)
    return 5.5643 * (1 - basicity) * aluminium


@worked("Alkalinity used by a coagulant", method="dose as aluminium, then 5.5643 (1 - basicity)", reference=_CHARGE)
def alkalinity_used(dose: CoagulantDose, strength: Strength, basicity: Basicity, basis: Basis) -> AlkalinityUsed:
    """Return the alkalinity that a coagulant dose takes.

    Parameters
    ----------
    dose : coagulant dose as the basis counts it. [g/m^3]
    strength : share of Al2O3 in the product by weight. [1]
    basicity : basicity of the product; 0 for alum. [1]
    basis : what the dose counts: product, Al2O3, Al.

    Returns
    -------
    Alkalinity used, as CaCO3. [g/m^3]

    Raises
    ------
    ValueError
        If the dose is below 0, the basicity not from 0 to below 1, or strength or basis cannot be.

    Examples
    --------
    >>> round(alkalinity_used(20.0, strength=0.17, basicity=0.43, basis="product"), 2)
    5.71

    References
    ----------
    Charge balance.
    """
    return alkalinity_used_by_aluminium(aluminium_dose(dose, strength, basis), basicity)


@worked(
    "Alkalinity used, by a factor",
    expression="dose * alkalinity_per_dose",
    reference="the factor's own; alum 0.45 to 0.50, common practice, no source",
)
def alkalinity_used_by_factor(
    dose: Dose, alkalinity_per_dose: Annotated[Ratio, Range(0.05, 1.0)]
) -> Annotated[AlkalinityUsed, Range(0.0, 100.0)]:
    """Return the alkalinity that a dose as product takes, by a factor such as 0.45 or 0.50 of CaCO3 to one of dry alum.

    Parameters
    ----------
    dose : dose as the factor counts it. [g/m^3]
    alkalinity_per_dose : alkalinity as CaCO3 taken by one part of it. [1]

    Returns
    -------
    Alkalinity used, as CaCO3. [g/m^3]

    Raises
    ------
    ValueError
        If the dose or the factor is below 0.

    Examples
    --------
    >>> round(alkalinity_used_by_factor(18.0, 0.45), 1)
    8.1

    References
    ----------
    Definition of the factor.
    """
    checks.at_least(dose, 0.0, "dose", "mg/L")
    checks.at_least(alkalinity_per_dose, 0.0, "alkalinity_per_dose")
    return dose * alkalinity_per_dose


@worked("Alkalinity after the coagulant", method="alkalinity less what the dose takes", reference=_CHARGE)
def alkalinity_after_coagulant(
    alkalinity: Alkalinity, dose: CoagulantDose, strength: Strength, basicity: Basicity, basis: Basis
) -> Annotated[Alkalinity, Range(-50.0, 300.0)]:
    """Return the alkalinity that a coagulant dose leaves.

    Parameters
    ----------
    alkalinity : raw alkalinity as CaCO3. [g/m^3]
    dose : coagulant dose as the basis counts it. [g/m^3]
    strength : share of Al2O3 in the product by weight. [1]
    basicity : basicity of the product; 0 for alum. [1]
    basis : what the dose counts: product, Al2O3, Al.

    Returns
    -------
    Alkalinity left, as CaCO3; below 0 where the dose takes more than there is. [g/m^3]

    Raises
    ------
    ValueError
        If the dose is below 0, the basicity not from 0 to below 1, or strength or basis cannot be.

    Examples
    --------
    >>> round(alkalinity_after_coagulant(30.0, 20.0, strength=0.17, basicity=0.43, basis="product"), 1)
    24.3

    References
    ----------
    Charge balance.
    """
    left = alkalinity - alkalinity_used(dose, strength, basicity, basis)
    if isinstance(left, float) and left < 0:
        note("The dose takes more alkalinity than there is: the pH falls away and the aluminium does not settle out.")
    return left


@worked(
    "pH after the coagulant",
    method="pH at which the same carbon has the alkalinity that is left",
    reference=_CLOSED,
)
def ph_after_coagulant(
    ph: Annotated[PH, Range(6.5, 8.5)],
    alkalinity: Annotated[Alkalinity, Range(30.0, 250.0)],
    temperature: ColdWater,
    dose: Annotated[Dose, Range(0.5, 15.0)],
    strength: Strength,
    basicity: Basicity,
    basis: Basis,
    ionic_strength: FreshWater = 2.0,
) -> PH:
    """Return the pH that a coagulant dose leaves, with no carbon dioxide lost to the air.

    Parameters
    ----------
    ph : raw pH. [pH]
    alkalinity : raw alkalinity as CaCO3. [g/m^3]
    temperature : water temperature, -1 to 50. [degC]
    dose : coagulant dose as the basis counts it. [g/m^3]
    strength : share of Al2O3 in the product by weight. [1]
    basicity : basicity of the product; 0 for alum. [1]
    basis : what the dose counts: product, Al2O3, Al.
    ionic_strength : ionic strength; 2 mol/m3 is about 125 uS/cm. [mol/m^3]

    Returns
    -------
    pH after the coagulant. [pH]

    Raises
    ------
    ValueError
        If an argument is out of its range, or the dose takes so much alkalinity that the pH would fall below 2.

    Examples
    --------
    >>> round(ph_after_coagulant(7.2, 20.0, 10.0, dose=2.0, strength=0.17, basicity=0.5, basis="Al"), 2)
    6.65

    References
    ----------
    W. Stumm, J. J. Morgan, *Aquatic Chemistry*; constants of Plummer and Busenberg 1982.
    """
    left = alkalinity_after_coagulant(alkalinity, dose, strength, basicity, basis)
    after = ph_from_carbon(left, total_inorganic_carbon(ph, alkalinity, temperature, ionic_strength),
                           temperature, ionic_strength)  # fmt: skip
    if isinstance(after, float) and not _DISSOLVED_BELOW <= after <= _DISSOLVED_ABOVE and after == after:
        way = "higher" if after < _DISSOLVED_BELOW else "lower"
        note(f"Some aluminium stays dissolved at this pH, which is left out here: expect it a little {way}. Measure.")
    return after


# --- alkalinity to add -------------------------------------------------------------------------------------------


@worked(
    "Alkalinity to add", expression="max(0, required - present)", reference="difference; common practice, no source"
)
def alkalinity_to_add(required: Alkalinity, present: Alkalinity) -> Alkalinity:
    """Return the alkalinity to add where a dose needs more than the water has; 0 where it has enough.

    Parameters
    ----------
    required : alkalinity that the dose takes and that should remain, as CaCO3. [g/m^3]
    present : alkalinity of the water as CaCO3. [g/m^3]

    Returns
    -------
    Alkalinity to add, as CaCO3. [g/m^3]

    Raises
    ------
    ValueError
        If either is below 0.

    Examples
    --------
    >>> alkalinity_to_add(44.0, 30.0)
    14.0

    References
    ----------
    F. R. Spellman, *The Science of Water*, 2nd ed., example 10.58.
    """
    checks.at_least(required, 0.0, "required", "mg/L")
    checks.at_least(present, 0.0, "present", "mg/L")
    return checks.most(0.0, required - present)


@worked(
    "Lime for alkalinity",
    expression="alkalinity * lime_per_alkalinity",
    reference="0.35 of hydrated lime brings 0.45 of alkalinity: F. R. Spellman, The Science of Water, 2nd ed.",
)
def lime_for_alkalinity(
    alkalinity: Annotated[Alkalinity, Range(1.0, 100.0)],
    lime_per_alkalinity: Annotated[Ratio, Range(0.74, 0.9)] = 0.35 / 0.45,
) -> Dose:
    """Return the hydrated lime that brings an alkalinity.

    Parameters
    ----------
    alkalinity : alkalinity to add, as CaCO3. [g/m^3]
    lime_per_alkalinity : lime as product to one part of CaCO3; pure Ca(OH)2 0.740, as sold about 0.78. [1]

    Returns
    -------
    Dose of hydrated lime as product. [g/m^3]

    Raises
    ------
    ValueError
        If the alkalinity is below 0 or the factor not above 0.

    Examples
    --------
    >>> round(lime_for_alkalinity(16.0), 1)
    12.4

    References
    ----------
    F. R. Spellman, *The Science of Water*, 2nd ed., example 10.59.
    """
    checks.at_least(alkalinity, 0.0, "alkalinity", "mg/L")
    checks.above(lime_per_alkalinity, 0.0, "lime_per_alkalinity")
    return alkalinity * lime_per_alkalinity


@worked("Soda ash for alkalinity", expression="1.059 * alkalinity", reference="molar masses: 105.99 / 100.09")
def soda_ash_for_alkalinity(alkalinity: Annotated[Alkalinity, Range(1.0, 100.0)]) -> Dose:
    """Return the soda ash (Na2CO3) that brings an alkalinity.

    Parameters
    ----------
    alkalinity : alkalinity to add, as CaCO3. [g/m^3]

    Returns
    -------
    Dose of pure soda ash. [g/m^3]

    Raises
    ------
    ValueError
        If the alkalinity is below 0.

    Examples
    --------
    >>> round(soda_ash_for_alkalinity(20.0), 1)
    21.2

    References
    ----------
    Molar masses.
    """
    checks.at_least(alkalinity, 0.0, "alkalinity", "mg/L")
    return 1.059 * alkalinity


# --- organic matter ----------------------------------------------------------------------------------------------


@worked("Specific ultraviolet absorbance", expression="uv254 / organic_carbon", reference="40 CFR 141.2, SUVA")
def specific_uv_absorbance(
    uv254: Absorbance, organic_carbon: Annotated[Concentration, Range(0.5, 15.0)]
) -> Annotated[SpecificAbsorbance, Range(0.1, 60.0)]:
    """Return the SUVA: above about 4 a coagulant takes much of the organic matter, below 2 little.

    Parameters
    ----------
    uv254 : absorbance at 254 nm of the filtered sample, to the metre. [1/m]
    organic_carbon : dissolved organic carbon. [g/m^3]

    Returns
    -------
    SUVA, in L/(mg m). [m^2/g]

    Raises
    ------
    ValueError
        If the absorbance is below 0 or the carbon not above 0.

    Examples
    --------
    >>> specific_uv_absorbance(8.0, 3.2)  # 0.080 per cm
    2.5

    References
    ----------
    40 CFR 141.2; the limits of 4 and 2 are from J. K. Edzwald (from memory).
    """
    checks.at_least(uv254, 0.0, "uv254", "1/m")
    checks.above(organic_carbon, 0.0, "organic_carbon", "mg/L")
    return uv254 / organic_carbon

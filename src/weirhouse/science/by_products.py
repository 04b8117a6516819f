"""How much by-product may chlorine make? Indicative only, give or take half: show it as a trend, never for compliance.

The regressions come from other waters. Against one's own quarterly results they are to be scaled by one factor.
"""

from typing import Annotated, Any

from weirhouse.science import checks
from weirhouse.science.quantities import PH, Absorbance, ByProduct, Concentration, Dose, Hours, Temperature
from weirhouse.working import Range, note, worked

OrganicCarbon = Annotated[Concentration, Range(0.5, 8.0)]
ChlorineDose = Annotated[Dose, Range(0.5, 8.0)]
Bromide = Annotated[Concentration, Range(0.005, 0.3)]
WaterTemperature = Annotated[Temperature, Range(1.0, 30.0)]
FinishedPH = Annotated[PH, Range(6.5, 9.0)]
WaterAge = Annotated[Hours, Range(3600.0, 604800.0)]
_INDICATIVE = "Indicative, give or take half: a trend, not a result for compliance."


def _water(carbon: Any, dose: Any, bromide: Any, temperature: Any, ph: Any, time: Any) -> None:
    checks.above(carbon, 0.0, "toc", "mg/L")
    checks.at_least(dose, 0.0, "chlorine_dose", "mg/L")
    checks.at_least(bromide, 0.0, "bromide", "mg/L")
    checks.within(temperature, 0.0, 40.0, "temperature", "degC", "The regression ends there.")
    checks.within(ph, 5.0, 10.0, "ph", "", "The regression ends there.")
    checks.at_least(time, 0.0, "time", "s")


@worked(
    "Trihalomethanes of treated water",
    expression="0.001 * 10**-1.385 * toc**1.098 * chlorine_dose**0.152 * (1000 * bromide)**0.068 * temperature**0.609"
    " * ph**1.601 * (time / 3600)**0.263",
    reference="EPA treatment plant model, treated-water equation (1998 to 2001), from memory",
)
def trihalomethanes(
    toc: OrganicCarbon,
    chlorine_dose: ChlorineDose,
    bromide: Bromide,
    temperature: WaterTemperature,
    ph: FinishedPH,
    time: WaterAge,
) -> ByProduct:
    """Return about the total trihalomethanes (TTHM) that chlorine makes in coagulated and filtered water.

    Parameters
    ----------
    toc : total organic carbon of the treated water. [g/m^3]
    chlorine_dose : chlorine dose as Cl2. [g/m^3]
    bromide : bromide. [g/m^3]
    temperature : water temperature, 0 to 40. [degC]
    ph : pH of the chlorinated water, 5 to 10. [pH]
    time : age of the water since the dose. [s]

    Returns
    -------
    Total trihalomethanes; indicative. [g/m^3]

    Raises
    ------
    ValueError
        If a value is below 0, or temperature or pH outside of the regression.

    Examples
    --------
    >>> round(1000 * trihalomethanes(2.0, 2.0, 0.05, 15.0, 7.5, 24 * 3600.0))  # ug/L
    39

    References
    ----------
    Form and constants from memory; a published regression met local results within 10 ug/L once it was recalibrated
    (Beverages 1 (2015) 225).
    """
    _water(toc, chlorine_dose, bromide, temperature, ph, time)
    note(_INDICATIVE)
    warm = checks.most(0.0, temperature) ** 0.609 * ph**1.601
    water = toc**1.098 * chlorine_dose**0.152 * (1000 * bromide) ** 0.068
    return 0.001 * 10**-1.385 * water * warm * (time / 3600) ** 0.263


@worked(
    "Trihalomethanes by absorbance",
    method="0.00309 (UV254 x TOC)^0.44 dose^0.409 time^0.265 temperature^1.06 (pH - 2.6)^0.715 (bromide + 1)^0.036"
    " umol/L, counted as chloroform",
    reference="G. L. Amy, P. A. Chadik, Z. K. Chowdhury, J. American Water Works Association 79 (1987) 89, from memory",
)
def trihalomethanes_by_absorbance(
    uv254: Annotated[Absorbance, Range(1.0, 30.0)],
    toc: OrganicCarbon,
    chlorine_dose: ChlorineDose,
    bromide: Bromide,
    temperature: WaterTemperature,
    ph: FinishedPH,
    time: WaterAge,
) -> ByProduct:
    """Return about the total trihalomethanes that chlorine makes in raw water, by its ultraviolet absorbance.

    Parameters
    ----------
    uv254 : absorbance at 254 nm, to the metre. [1/m]
    toc : total organic carbon. [g/m^3]
    chlorine_dose : chlorine dose as Cl2. [g/m^3]
    bromide : bromide. [g/m^3]
    temperature : water temperature, 0 to 40. [degC]
    ph : pH of the chlorinated water, 5 to 10. [pH]
    time : age of the water since the dose. [s]

    Returns
    -------
    Total trihalomethanes as if all were chloroform (119.4 g/mol); indicative. [g/m^3]

    Raises
    ------
    ValueError
        If a value is below 0, or temperature or pH outside of the regression.

    Examples
    --------
    >>> round(1000 * trihalomethanes_by_absorbance(8.0, 3.0, 3.0, 0.05, 15.0, 7.5, 24 * 3600.0))  # ug/L
    39

    References
    ----------
    Amy, Chadik and Chowdhury 1987 (constants from memory).
    """
    _water(toc, chlorine_dose, bromide, temperature, ph, time)
    checks.at_least(uv254, 0.0, "uv254", "1/m")
    note(_INDICATIVE)
    organic = (uv254 / 100 * toc) ** 0.44
    warm = checks.most(0.0, temperature) ** 1.06 * (ph - 2.6) ** 0.715
    micromoles = 0.00309 * organic * chlorine_dose**0.409 * (time / 3600) ** 0.265 * warm * (bromide + 1) ** 0.036
    return micromoles * 119.38 / 1000


@worked("By-product scaled to own results", expression="estimate * measured / estimate_then",
        reference="one factor for each place, from a result of one's own; common practice, no source")  # fmt: skip
def by_product_scaled(
    estimate: ByProduct, measured: ByProduct, estimate_then: Annotated[ByProduct, Range(0.005, 0.2)]
) -> Annotated[ByProduct, Range(0.0, 10.0)]:
    """Return an estimate of a by-product scaled by how the same formula met an own result.

    Parameters
    ----------
    estimate : what the formula gives now. [g/m^3]
    measured : own laboratory result of another day. [g/m^3]
    estimate_then : what the formula gives for that day. [g/m^3]

    Returns
    -------
    Scaled estimate; indicative. [g/m^3]

    Raises
    ------
    ValueError
        If a value is below 0 or the estimate of that day not above 0.

    Examples
    --------
    >>> round(by_product_scaled(0.060, 0.040, 0.050), 3)
    0.048

    References
    ----------
    Beverages 1 (2015) 225: recalibration on local results cut the error three to five times.
    """
    checks.at_least(estimate, 0.0, "estimate", "mg/L")
    checks.at_least(measured, 0.0, "measured", "mg/L")
    checks.above(estimate_then, 0.0, "estimate_then", "mg/L")
    return estimate * measured / estimate_then

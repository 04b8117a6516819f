"""How well does the coagulant work today, and what does the clarifier let through?

Rough laws with constants of one's own plant: they show directions and sizes, not tenths of an NTU. Starting values are
from memory and to be fitted on the plant's own settled turbidity.
"""

from typing import Annotated

from weirhouse.science import checks
from weirhouse.science.properties import dynamic_viscosity
from weirhouse.science.quantities import (
    PH,
    Concentration,
    Dose,
    FilterCoefficient,
    Fraction,
    Head,
    Ratio,
    SolidsPerTurbidity,
    Temperature,
    Turbidity,
    Velocity,
)
from weirhouse.science.settling import floc_velocity
from weirhouse.working import Range, worked

ColdWater = Annotated[Temperature, Range(0.0, 30.0)]
CoagulationPH = Annotated[PH, Range(5.5, 8.0)]
FlocVelocity = Annotated[Velocity, Range(4e-4, 2.2e-3)]
Quality = Annotated[Fraction, Range(0.05, 1.0)]
_PRIOR = "starting values from memory, to be fitted on the plant's own records"


@worked(
    "Coagulation quality",
    method="exp(-(ln(dose / best dose) / width)^2) x exp(-((|pH - best pH| - 0.3) / 0.9)^2), the second 1 within 0.3",
    reference=_PRIOR,
)
def coagulation_quality(
    dose: Annotated[Dose, Range(5.0, 40.0)],
    optimum_dose: Annotated[Dose, Range(10.0, 30.0)],
    ph: CoagulationPH,
    optimum_ph: Annotated[PH, Range(6.0, 7.0)],
    underdose_width: Annotated[Ratio, Range(0.3, 0.9)] = 0.55,
    overdose_width: Annotated[Ratio, Range(0.6, 1.8)] = 1.0,
) -> Quality:
    """Return how near the coagulation is to its best: 1 at the best dose and pH, falling faster under than over it.

    Parameters
    ----------
    dose : dose given. [g/m^3]
    optimum_dose : dose of the best jar, counted alike. [g/m^3]
    ph : pH after the coagulant. [pH]
    optimum_ph : pH of the best jar, or of least dissolved aluminium. [pH]
    underdose_width : width of the fall below the best dose, in logarithms. [1]
    overdose_width : width of the fall above it; wider in muddy water. [1]

    Returns
    -------
    Quality, 0 to 1. [1]

    Raises
    ------
    ValueError
        If a dose or a width is not above 0, or a pH outside 0 to 14.

    Examples
    --------
    >>> round(coagulation_quality(15.0, 20.0, 6.9, 6.5), 2)  # a quarter too little, pH a little high
    0.75

    References
    ----------
    Starting values from memory.
    """
    checks.above(dose, 0.0, "dose", "mg/L")
    checks.above(optimum_dose, 0.0, "optimum_dose", "mg/L")
    checks.within(ph, 0.0, 14.0, "ph")
    checks.within(optimum_ph, 0.0, 14.0, "optimum_ph")
    checks.above(underdose_width, 0.01, "underdose_width")
    checks.above(overdose_width, 0.01, "overdose_width")
    off = checks.ln(dose / optimum_dose)
    by_dose = checks.choose(off < 0, off / underdose_width, off / overdose_width)
    by_dose = by_dose + 0.0 * (underdose_width + overdose_width)  # a gap in either width is a gap
    by_ph = checks.most(0.0, abs(ph - optimum_ph) - 0.3) / 0.9
    return checks.exp(-by_dose * by_dose - by_ph * by_ph)


@worked(
    "Median floc velocity",
    method="velocity at 20 degC / viscosity ratio x quality^0.5 x (G·t / reference G·t, at most 1)^0.3",
    reference=_PRIOR,
)
def median_floc_velocity(
    velocity_at_20: FlocVelocity,
    temperature: ColdWater,
    quality: Quality = 1.0,
    gt_ratio: Annotated[Ratio, Range(0.3, 2.0)] = 1.0,
) -> Velocity:
    """Return the settling velocity that half of the floc exceeds, in today's water.

    Parameters
    ----------
    velocity_at_20 : that velocity of well made floc at 20 degC: 3 to 8 m/h PACl, 1.5 to 4 m/h alum. [m/s]
    temperature : water temperature, -1 to 60. [degC]
    quality : coagulation quality, 0 to 1. [1]
    gt_ratio : G·t of the flocculation over the G·t that makes full-grown floc. [1]

    Returns
    -------
    Median settling velocity. [m/s]

    Raises
    ------
    ValueError
        If a value is below 0, the quality above 1 or the temperature out of range.

    Examples
    --------
    >>> round(median_floc_velocity(4 / 3600, 5.0) * 3600, 2)  # m/h
    2.64

    References
    ----------
    Velocities and exponents from memory.
    """
    checks.at_least(velocity_at_20, 0.0, "velocity_at_20", "m/s")
    checks.within(quality, 0.0, 1.0, "quality")
    checks.at_least(gt_ratio, 0.0, "gt_ratio")
    grown = checks.least(1.0, gt_ratio) ** 0.3
    return floc_velocity(velocity_at_20, dynamic_viscosity(temperature)) * checks.sqrt(quality) * grown


@worked(
    "Share that passes a sludge blanket",
    expression="exp(-blanket_constant * floc_share * blanket_depth)",
    reference="first-order capture in a blanket; the constant is the plant's own",
)
def blanket_passage(
    blanket_constant: Annotated[FilterCoefficient, Range(1.0, 40.0)],
    floc_share: Annotated[Fraction, Range(0.05, 0.3)],
    blanket_depth: Annotated[Head, Range(0.1, 2.0)],
) -> Fraction:
    """Return the share of the floc that goes through a blanket of floc held up by the rising water.

    Parameters
    ----------
    blanket_constant : capture for each metre of a blanket that is all floc, fitted. [1/m]
    floc_share : share of the blanket's volume that is floc. [1]
    blanket_depth : depth of the blanket. [m]

    Returns
    -------
    Share that passes. [1]

    Raises
    ------
    ValueError
        If a value is below 0 or the share above 1.

    Examples
    --------
    >>> round(blanket_passage(10.0, 0.15, 1.0), 2)
    0.22

    References
    ----------
    First-order capture; the blanket is lost when it reaches the weir or the rise exceeds 0.7 of the median velocity.
    """
    checks.at_least(blanket_constant, 0.0, "blanket_constant", "1/m")
    checks.within(floc_share, 0.0, 1.0, "floc_share")
    checks.at_least(blanket_depth, 0.0, "blanket_depth", "m")
    return checks.exp(-blanket_constant * floc_share * blanket_depth)


@worked(
    "Settled turbidity",
    expression="solids / solids_per_ntu * (uncoagulated_share + (1 - uncoagulated_share) * carry_over * blanket_share)",
    reference="mass balance of floc and what did not coagulate",
)
def settled_turbidity(
    solids: Annotated[Concentration, Range(2.0, 200.0)],
    solids_per_ntu: SolidsPerTurbidity,
    uncoagulated_share: Annotated[Fraction, Range(0.005, 0.3)],
    carry_over: Annotated[Fraction, Range(0.01, 0.5)],
    blanket_share: Annotated[Fraction, Range(0.1, 1.0)] = 1.0,
) -> Turbidity:
    """Return about the turbidity that leaves a clarifier.

    Parameters
    ----------
    solids : suspended solids after the coagulant, with the hydroxide it makes. [g/m^3]
    solids_per_ntu : solids of one turbidity unit. [g/(m^3*NTU)]
    uncoagulated_share : share that did not coagulate: 0.5 to 3 percent at best, much more with a wrong dose. [1]
    carry_over : share of the floc that the clarifier carries over. [1]
    blanket_share : share of the floc that a blanket lets through; 1 without one. [1]

    Returns
    -------
    Settled turbidity. [NTU]

    Raises
    ------
    ValueError
        If a value is below 0, a share above 1 or the solids of one unit not above 0.

    Examples
    --------
    >>> round(settled_turbidity(30.0, 1.5, 0.02, 0.05), 2)
    1.38

    References
    ----------
    Mass balance; shares from memory.
    """
    checks.at_least(solids, 0.0, "solids", "mg/L")
    checks.above(solids_per_ntu, 0.0, "solids_per_ntu", "mg/L")
    checks.within(uncoagulated_share, 0.0, 1.0, "uncoagulated_share")
    checks.within(carry_over, 0.0, 1.0, "carry_over")
    checks.within(blanket_share, 0.0, 1.0, "blanket_share")
    floc = (1 - uncoagulated_share) * carry_over * blanket_share
    return solids / solids_per_ntu * (uncoagulated_share + floc)

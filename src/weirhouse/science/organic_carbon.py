"""How much organic carbon must go, how much goes, and how much can a coagulant take?

Organic carbon is what chlorine makes by-products of; the rule asks for a share of it to be removed before.
"""

from typing import Annotated, Any

import numpy as np

from weirhouse.science import checks
from weirhouse.science.quantities import (
    PH,
    Alkalinity,
    AluminiumDose,
    Concentration,
    Fraction,
    Ratio,
    SpecificAbsorbance,
)
from weirhouse.working import Range, note, worked

OrganicCarbon = Annotated[Concentration, Range(2.1, 12.0)]
_RULE = "40 CFR 141.135(b)(2), step 1"
_CARBON_ROWS = (2.05, 4.05, 8.05)  # the rows end at 2.0, 4.0 and 8.0 mg/L, and TOC is rounded to two figures before
_ALKALINITY_COLUMNS = (60.0, 120.0)
_REQUIRED = np.array([[0.0, 0.0, 0.0], [0.35, 0.25, 0.15], [0.45, 0.35, 0.25], [0.50, 0.40, 0.30]])


def _carbon(source_toc: Any, treated_toc: Any) -> None:
    checks.above(source_toc, 0.0, "source_toc", "mg/L")
    checks.at_least(treated_toc, 0.0, "treated_toc", "mg/L")


@worked("Organic carbon removed", expression="1 - treated_toc / source_toc", reference="40 CFR 141.135(c)(1)")
def toc_removal(source_toc: OrganicCarbon, treated_toc: Annotated[Concentration, Range(1.0, 6.0)]) -> Fraction:
    """Return the share of total organic carbon that treatment takes out: of a paired sample of one day.

    Parameters
    ----------
    source_toc : total organic carbon of the source water. [g/m^3]
    treated_toc : total organic carbon of the filtered water. [g/m^3]

    Returns
    -------
    Share removed. [1]

    Raises
    ------
    ValueError
        If the source has none, or the treated value is below 0.

    Examples
    --------
    >>> round(toc_removal(3.2, 2.1), 5)
    0.34375

    References
    ----------
    40 CFR 141.135(c)(1)(i).
    """
    _carbon(source_toc, treated_toc)
    return 1 - treated_toc / source_toc


@worked("Organic carbon removal required", method="cell of source TOC and source alkalinity", reference=_RULE)
def toc_removal_required(source_toc: OrganicCarbon, alkalinity: Alkalinity) -> Fraction:
    """Return the share of total organic carbon that conventional filtration has to remove by the rule's first step.

    Parameters
    ----------
    source_toc : total organic carbon of the source water; taken to two figures. [g/m^3]
    alkalinity : alkalinity of the source water as CaCO3. [g/m^3]

    Returns
    -------
    Share required; 0 up to 2.0 mg/L, where the table does not begin yet. [1]

    Raises
    ------
    ValueError
        If the carbon is not above 0 or the alkalinity below 0.

    Examples
    --------
    >>> toc_removal_required(3.2, 75.0)
    0.25

    References
    ----------
    40 CFR 141.135(b)(2). The alternatives of (a)(2) and a State's word may replace it.
    """
    checks.above(source_toc, 0.0, "source_toc", "mg/L")
    checks.at_least(alkalinity, 0.0, "alkalinity", "mg/L")
    row = np.searchsorted(_CARBON_ROWS, source_toc, side="right")
    column = np.searchsorted(_ALKALINITY_COLUMNS, alkalinity, side="left")
    # a gap sorts past the last row and column: it is put back here
    found = _REQUIRED[np.minimum(row, 3), np.minimum(column, 2)] + 0.0 * (source_toc + alkalinity)
    return found if isinstance(found, np.ndarray) and found.ndim else float(found)


@worked(
    "Organic carbon removal ratio",
    method="share removed / share required",
    reference="40 CFR 141.135(c)(1)",
)
def toc_removal_ratio(
    source_toc: OrganicCarbon, treated_toc: Annotated[Concentration, Range(1.0, 6.0)], alkalinity: Alkalinity
) -> Annotated[Ratio, Range(-20.0, 6.0)]:
    """Return the month's ratio of organic carbon removed to that required; the mean of 12 months must be 1.00 at least.

    Parameters
    ----------
    source_toc : total organic carbon of the source water. [g/m^3]
    treated_toc : total organic carbon of the filtered water. [g/m^3]
    alkalinity : alkalinity of the source water as CaCO3. [g/m^3]

    Returns
    -------
    Ratio of the month. [1]

    Raises
    ------
    ValueError
        If the source carbon is at or below 2.0 mg/L, where no removal is required, or a value is below 0.

    Examples
    --------
    >>> round(toc_removal_ratio(3.2, 2.1, 75.0), 3)
    1.375

    References
    ----------
    40 CFR 141.135(c)(1); (c)(2) lets a month count as 1.0 for low carbon or low SUVA.
    """
    checks.require(
        source_toc >= _CARBON_ROWS[0],
        source_toc,
        "source_toc must be above 2.0 mg/L",
        "A month below 2.0 mg/L may be counted as 1.0 (40 CFR 141.135(c)(2)).",
    )
    return toc_removal(source_toc, treated_toc) / toc_removal_required(source_toc, alkalinity)


@worked(
    "Organic carbon left by a coagulant",
    method="carbon that cannot be taken, and what is left of the rest in balance with the hydroxide (Langmuir)",
    reference="M. Edwards, J. American Water Works Association 89 (1997) 78, general constants, from memory",
)
def organic_carbon_after_coagulant(
    organic_carbon: Annotated[Concentration, Range(1.0, 12.0)],
    suva: SpecificAbsorbance,
    aluminium: AluminiumDose,
    ph: Annotated[PH, Range(5.5, 7.5)],
) -> Concentration:
    """Return about how much dissolved organic carbon an aluminium coagulant leaves; a jar test tells more.

    Parameters
    ----------
    organic_carbon : dissolved organic carbon of the raw water. [g/m^3]
    suva : specific ultraviolet absorbance of the raw water, at most 7. [m^2/g]
    aluminium : dose as Al. [g/m^3]
    ph : pH of coagulation, 5 to 8. [pH]

    Returns
    -------
    Dissolved organic carbon left. [g/m^3]

    Raises
    ------
    ValueError
        If a value is below 0, or SUVA or pH is outside of what the constants were fitted to.

    Examples
    --------
    >>> round(organic_carbon_after_coagulant(4.0, suva=3.0, aluminium=3.0, ph=6.5), 2)
    2.82

    References
    ----------
    Edwards 1997: K1 -0.075, K2 0.56, b 0.147, a = 4.91 pH^3 - 74.2 pH^2 + 284 pH (from memory; they meet the jar
    tests behind the paper).
    """
    checks.at_least(organic_carbon, 0.0, "organic_carbon", "mg/L")
    checks.at_least(aluminium, 0.0, "aluminium", "mg/L")
    checks.within(suva, 0.0, 7.4, "suva", "L/(mg m)", "Check the absorbance: it is to the metre.")
    checks.within(ph, 5.0, 8.0, "ph", "", "The fit ends there.")
    note("Indicative: general constants, not those of this water.")
    stays = (0.56 - 0.075 * suva) * organic_carbon
    stays = checks.most(0.0, stays)
    capacity = ((4.91 * ph - 74.2) * ph + 284) * ph * aluminium / 26.98  # mg/L of carbon that the hydroxide could hold
    b = 0.147
    # sorbable carbon c left: start - c = capacity b c / (1 + b c), a quadratic in c
    start = organic_carbon - stays
    half = (1 + b * (capacity - start)) / (2 * b)
    return stays + checks.sqrt(half * half + start / b) - half

"""How far may a fitted dose be off? A band around it from the misses on days that the fit had not seen.

Split-conformal: the share of days promised holds whatever the misses look like, so long as the days to come are like
the days tried. The misses are differences of natural logarithms, dose given less dose fitted.
"""

import math
from collections.abc import Sequence
from typing import Annotated

import numpy as np

from weirhouse.science import checks
from weirhouse.science.quantities import Dose, Fraction, Ratio, Several, Turbidity
from weirhouse.working import Range, note, worked

Misses = Annotated[Sequence[float], Several("1", us="1", si="1", low=-0.5, high=0.5)]
Confidence = Annotated[Fraction, Range(0.5, 0.84)]
HalfWidth = Annotated[Ratio, Range(0.05, 0.8)]
FARTHEST = 1.3  # times the greatest turbidity of the record; beyond it the band knows nothing
_SOURCE = (
    "split-conformal prediction: V. Vovk, A. Gammerman, G. Shafer, Algorithmic Learning in a Random World (2005);"
    " J. Lei and others, J. American Statistical Association 113 (2018) 1094; both from memory"
)


@worked(
    "Half-width of a band by misses",
    method="the miss of rank ceil((n + 1) confidence) among n misses sorted by size",
    reference=_SOURCE,
)
def conformal_half_width(misses: Misses, confidence: Confidence = 0.8) -> Annotated[Ratio, Range(0.0, 2.0)]:
    """Return the half-width of a band that takes in a share of days to come, from misses on days held back.

    Parameters
    ----------
    misses : logarithm of dose given less logarithm of dose fitted, for each day that the fit had not seen. [1]
    confidence : share of days that the band is to take in. [1]

    Returns
    -------
    Half-width, in logarithms. [1]

    Raises
    ------
    ValueError
        If the confidence is not between 0 and 1, or asks for more days than there are.

    Examples
    --------
    >>> conformal_half_width([0.1, -0.3, 0.2, 0.05], 0.8)  # rank 4 of 4
    0.3

    References
    ----------
    Vovk, Gammerman and Shafer 2005; Lei and others 2018 (from memory).
    """
    sizes = np.abs(np.asarray(misses, dtype=float))
    if sizes.ndim != 1 or not sizes.size:
        raise ValueError(f"misses must be one or more; there are {sizes.size}. Hold some days back from the fit.")
    checks.require(
        (confidence > 0) & (confidence < 1),
        confidence,
        "confidence must be between 0 and 1",
        "Write 80 percent or 0.8.",
    )
    if np.isnan(sizes).any() or confidence != confidence:
        return math.nan
    rank = np.ceil((sizes.size + 1) * confidence - 1e-9)
    few = "Hold back more days, or ask for a lesser share."
    most = f"confidence must be at most n/(n + 1) for n misses, here {sizes.size / (sizes.size + 1):.3g}"
    checks.require(rank <= sizes.size, confidence, most, few)
    ranked = np.sort(sizes)[np.asarray(rank, dtype=int) - 1]
    return ranked if np.ndim(confidence) else float(ranked)


def _band(dose: Dose, half_width: HalfWidth, turbidity: Turbidity, greatest_turbidity: Turbidity) -> None:
    checks.at_least(dose, 0.0, "dose", "mg/L")
    checks.within(half_width, 0.0, 10.0, "half_width", "", "It is a difference of logarithms: 0.2 is about a fifth.")
    checks.at_least(turbidity, 0.0, "turbidity", "NTU")
    checks.above(greatest_turbidity, 0.0, "greatest_turbidity", "NTU")
    checks.refuse(
        turbidity > FARTHEST * greatest_turbidity, turbidity,
        f"turbidity must be at most {FARTHEST:g} times the greatest of the record",
        "No day of the record was like this: make a jar test.",
    )  # fmt: skip
    note("A band around a starting point: make a jar test.")


@worked(
    "Upper end of the dose band",
    method="dose times e to the half-width; refused beyond 1.3 times the greatest turbidity of the record",
    reference=_SOURCE,
)
def dose_band_upper(
    dose: Annotated[Dose, Range(1.0, 60.0)],
    half_width: HalfWidth,
    turbidity: Annotated[Turbidity, Range(1.0, 200.0)],
    greatest_turbidity: Annotated[Turbidity, Range(100.0, 500.0)],
) -> Annotated[Dose, Range(0.1, 200.0)]:
    """Return the upper end of the band around a fitted dose.

    Parameters
    ----------
    dose : dose by the fit. [g/m^3]
    half_width : half-width of the band, in logarithms. [1]
    turbidity : turbidity that the dose is for. [NTU]
    greatest_turbidity : greatest turbidity of the days that the fit was made on. [NTU]

    Returns
    -------
    Upper end, counted as the dose. [g/m^3]

    Raises
    ------
    ValueError
        If a value is below 0, or the turbidity is far above the record's.

    Examples
    --------
    >>> round(dose_band_upper(20.0, 0.2, 90.0, 150.0), 1)
    24.4

    References
    ----------
    Lei and others 2018 (from memory).
    """
    _band(dose, half_width, turbidity, greatest_turbidity)
    return dose * checks.exp(half_width) + 0.0 * (turbidity + greatest_turbidity)


@worked(
    "Lower end of the dose band",
    method="dose divided by e to the half-width; refused beyond 1.3 times the greatest turbidity of the record",
    reference=_SOURCE,
)
def dose_band_lower(
    dose: Annotated[Dose, Range(1.0, 60.0)],
    half_width: HalfWidth,
    turbidity: Annotated[Turbidity, Range(1.0, 200.0)],
    greatest_turbidity: Annotated[Turbidity, Range(100.0, 500.0)],
) -> Annotated[Dose, Range(0.1, 100.0)]:
    """Return the lower end of the band around a fitted dose.

    Parameters
    ----------
    dose : dose by the fit. [g/m^3]
    half_width : half-width of the band, in logarithms. [1]
    turbidity : turbidity that the dose is for. [NTU]
    greatest_turbidity : greatest turbidity of the days that the fit was made on. [NTU]

    Returns
    -------
    Lower end, counted as the dose. [g/m^3]

    Raises
    ------
    ValueError
        If a value is below 0, or the turbidity is far above the record's.

    Examples
    --------
    >>> round(dose_band_lower(20.0, 0.2, 90.0, 150.0), 1)
    16.4

    References
    ----------
    Lei and others 2018 (from memory).
    """
    _band(dose, half_width, turbidity, greatest_turbidity)
    return dose * checks.exp(-half_width) + 0.0 * (turbidity + greatest_turbidity)

"""What single figure stands for many readings? The statistics that rules and reports ask for.

Values may be in any one unit; the answer is in the same. A gap (NaN) among them makes the answer a gap: leave out
what was never measured before asking.
"""

from collections.abc import Sequence
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from weirhouse.science import checks
from weirhouse.science.quantities import Fraction, LogRemoval, Number, Ratio, Several
from weirhouse.working import Range, worked

Values = Annotated[Sequence[float], Several("1", low=0.01, high=2.0)]
_SOURCE = "definition; common practice, no source"


def _several(values: Sequence[float], least: int = 1) -> NDArray[np.float64]:
    array = np.asarray(values, dtype=float)
    if array.ndim != 1 or array.size < least:
        raise ValueError(f"values must be {least} or more; there are {array.size}. Give every reading of the period.")
    return array


@worked("Average", method="sum of the values / number of values", reference=_SOURCE)
def average(values: Values) -> Number:
    """Return the arithmetic mean of readings.

    Parameters
    ----------
    values : readings. [1]

    Returns
    -------
    Average, in the unit of the readings. [1]

    Raises
    ------
    ValueError
        If there are none.

    Examples
    --------
    >>> average([0.05, 0.07, 0.06])
    0.06

    References
    ----------
    Definition.
    """
    return float(_several(values).mean())


@worked(
    "Percentile",
    method="rank percentile x (number + 1) in rising order, straight line between neighbours, ends held",
    reference="NIST/SEMATECH e-Handbook of Statistical Methods, sec. 7.2.6.2",
)
def percentile(values: Values, percentile: Annotated[Fraction, Range(0.05, 0.95)]) -> Number:
    """Return the value that a share of readings does not exceed, by the N + 1 rank rule.

    Parameters
    ----------
    values : readings. [1]
    percentile : share, 0.95 for the 95th percentile. [1]

    Returns
    -------
    Percentile, in the unit of the readings. [1]

    Raises
    ------
    ValueError
        If there are no readings or the share is not from 0 to 1.

    Examples
    --------
    >>> round(percentile([1.0, 2.0, 3.0, 4.0], 0.5), 2)
    2.5

    References
    ----------
    NIST/SEMATECH e-Handbook.
    """
    checks.within(percentile, 0.0, 1.0, "percentile", "", "Write the 95th percentile as 95 percent.")
    array = _several(values)
    ordered = np.sort(array)
    rank = percentile * (ordered.size + 1)  # np.interp holds the ends
    found = np.interp(rank, np.arange(1, ordered.size + 1), ordered + 0.0 * array.sum())
    return found if isinstance(percentile, np.ndarray) else float(found)


@worked(
    "Running annual average",
    method="average of the last four quarters",
    reference="40 CFR 141.620 (locational: one site)",
)
def running_annual_average(values: Values) -> Number:
    """Return the average of the last four quarterly values; of one site, the locational running annual average.

    A quarter's value is the average of its samples. Compliance is judged on figures rounded as the rule says.

    Parameters
    ----------
    values : quarterly values, oldest first, four or more. [1]

    Returns
    -------
    Average, in the unit of the values. [1]

    Raises
    ------
    ValueError
        If there are fewer than four.

    Examples
    --------
    >>> running_annual_average([48.0, 72.0, 76.0, 53.0, 61.0])
    65.5

    References
    ----------
    40 CFR 141.620 and following.
    """
    return float(_several(values, 4)[-4:].mean())


@worked("Share of readings at or below a limit", method="number at or below / number", reference=_SOURCE)
def share_at_or_below(values: Values, limit: Annotated[Number, Range(0.1, 1.0)]) -> Fraction:
    """Return the share of readings that keep a limit, as in "95 percent of the month at or below 0.3 NTU".

    Parameters
    ----------
    values : readings. [1]
    limit : limit, in the unit of the readings. [1]

    Returns
    -------
    Share. [1]

    Raises
    ------
    ValueError
        If there are no readings.

    Examples
    --------
    >>> share_at_or_below([0.1, 0.2, 0.3, 0.5], 0.3)
    0.75

    References
    ----------
    Definition.
    """
    array = _several(values)
    share = np.greater_equal.outer(limit, array).mean(axis=-1) + 0.0 * (array.sum() + limit)  # a gap stays a gap
    return share if isinstance(limit, np.ndarray) else float(share)


@worked("Standard deviation", method="square root of (squared deviations summed / (number - 1))", reference=_SOURCE)
def standard_deviation(values: Values) -> Number:
    """Return the standard deviation of a sample.

    Parameters
    ----------
    values : readings, two or more. [1]

    Returns
    -------
    Standard deviation, in the unit of the readings. [1]

    Raises
    ------
    ValueError
        If there are fewer than two.

    Examples
    --------
    >>> standard_deviation([1.0, 2.0, 3.0])
    1.0

    References
    ----------
    Definition.
    """
    return float(_several(values, 2).std(ddof=1))


@worked("Coefficient of variation", method="standard deviation / average", reference=_SOURCE)
def coefficient_of_variation(values: Values) -> Fraction:
    """Return the standard deviation of readings as a share of their average.

    Parameters
    ----------
    values : readings, two or more. [1]

    Returns
    -------
    Share. [1]

    Raises
    ------
    ValueError
        If there are fewer than two or their average is not above 0.

    Examples
    --------
    >>> coefficient_of_variation([1.0, 2.0, 3.0])
    0.5

    References
    ----------
    Definition.
    """
    mean = average(values)
    checks.above(mean, 0.0, "the average of values")
    return standard_deviation(values) / mean


@worked(
    "Coefficient of variation from sums",
    expression="sqrt(sum_squares / degrees_of_freedom) / mean",
    reference="G. M. Fair, J. C. Geyer, D. A. Okun, Water and Wastewater Engineering vol. 1 (Wiley, 1966), p. 4-31",
)
def coefficient_of_variation_from_sums(
    sum_squares: Annotated[Ratio, Range(1.0, 5000.0)],
    degrees_of_freedom: Annotated[Number, Range(1.0, 100.0)],
    mean: Annotated[Number, Range(1.0, 50.0)],
) -> Fraction:
    """Return the coefficient of variation when the squared deviations are already summed.

    Parameters
    ----------
    sum_squares : squared deviations from the mean, summed. [1]
    degrees_of_freedom : number of values less one. [1]
    mean : mean of the values. [1]

    Returns
    -------
    Share. [1]

    Raises
    ------
    ValueError
        If the sum is below 0, or degrees of freedom or mean is not above 0.

    Examples
    --------
    >>> round(coefficient_of_variation_from_sums(4404.0, 9.0, 12.0), 2)
    1.84

    References
    ----------
    Fair, Geyer and Okun 1966.
    """
    checks.at_least(sum_squares, 0.0, "sum_squares")
    checks.above(degrees_of_freedom, 0.0, "degrees_of_freedom")
    checks.above(mean, 0.0, "mean")
    return checks.sqrt(sum_squares / degrees_of_freedom) / mean


@worked("Share removed", expression="1 - leaving / entering", reference=_SOURCE)
def removal(entering: Annotated[Number, Range(1.0, 500.0)], leaving: Annotated[Number, Range(0.01, 1.0)]) -> Fraction:
    """Return the share that a step of treatment removes of a turbidity, a concentration or a count.

    Parameters
    ----------
    entering : what comes in. [1]
    leaving : what goes out, in the same unit. [1]

    Returns
    -------
    Share removed; below 0 when more goes out. [1]

    Raises
    ------
    ValueError
        If what comes in is not above 0 or what goes out below 0.

    Examples
    --------
    >>> removal(20.0, 2.0)
    0.9

    References
    ----------
    Definition.
    """
    checks.above(entering, 0.0, "entering")
    checks.at_least(leaving, 0.0, "leaving")
    return 1 - leaving / entering


@worked("Log removal", expression="log10(entering / leaving)", reference=_SOURCE)
def log_removal(
    entering: Annotated[Number, Range(1.0, 500.0)], leaving: Annotated[Number, Range(0.01, 1.0)]
) -> LogRemoval:
    """Return the removal in powers of ten; not a credit, which only the State assigns.

    Parameters
    ----------
    entering : what comes in. [1]
    leaving : what goes out, in the same unit. [1]

    Returns
    -------
    Log removal. [log]

    Raises
    ------
    ValueError
        If an input is not above 0.

    Examples
    --------
    >>> log_removal(20.0, 0.02)
    3.0

    References
    ----------
    Definition.
    """
    checks.above(entering, 0.0, "entering")
    checks.above(leaving, 0.0, "leaving", "", "What was not detected has no log removal: state it from the limit.")
    return checks.log10(entering / leaving)

"""What single figure stands for many readings? The statistics that rules and reports ask for.

Values may be in any one unit; the answer is in the same. A gap (NaN) among them makes the answer a gap: leave out
what was never measured before asking.
"""

from collections.abc import Sequence
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from weirhouse.science import checks
from weirhouse.science.quantities import ByProduct, Fraction, LogRemoval, Number, Ratio, Several
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


@worked(
    "Locational running annual average",
    method="average of the last four quarters of one sampling place",
    reference="40 CFR 141.620(d), 141.625",
)
def locational_running_annual_average(values: Values) -> Number:
    """Return the average of the last four quarterly results of one sampling place, as TTHM and HAA5 are judged.

    A quarter's value is the average of its samples. Each place is judged by itself: a mean over places hides one.

    Parameters
    ----------
    values : quarterly values of one place, oldest first, four or more. [1]

    Returns
    -------
    Average, in the unit of the values. [1]

    Raises
    ------
    ValueError
        If there are fewer than four.

    Examples
    --------
    >>> locational_running_annual_average([48.0, 72.0, 76.0, 53.0])
    62.25

    References
    ----------
    40 CFR 141.620(d).
    """
    return float(_several(values, 4)[-4:].mean())


@worked(
    "Operational evaluation level",
    expression="(q1 + q2 + 2 * q3) / 4",
    reference="40 CFR 141.626(a)",
)
def operational_evaluation_level(q1: ByProduct, q2: ByProduct, q3: ByProduct) -> ByProduct:
    """Return what the next locational average comes to if the coming quarter is like the present one.

    Above the limit (0.080 mg/L TTHM, 0.060 mg/L HAA5) an evaluation is to be reported, though no limit is broken yet.

    Parameters
    ----------
    q1 : result of the quarter before the last. [g/m^3]
    q2 : result of the last quarter. [g/m^3]
    q3 : result of the present quarter, which counts twice. [g/m^3]

    Returns
    -------
    Operational evaluation level. [g/m^3]

    Raises
    ------
    ValueError
        If a result is below 0.

    Examples
    --------
    >>> operational_evaluation_level(0.070, 0.078, 0.092)
    0.083

    References
    ----------
    40 CFR 141.626(a).
    """
    checks.at_least(q1, 0.0, "q1", "mg/L")
    checks.at_least(q2, 0.0, "q2", "mg/L")
    checks.at_least(q3, 0.0, "q3", "mg/L")
    return (q1 + q2 + 2 * q3) / 4


@worked("Highest value", method="the greatest of the values", reference=_SOURCE)
def highest_value(values: Values) -> Number:
    """Return the highest of several readings, such as the month's highest turbidity.

    Parameters
    ----------
    values : readings. [1]

    Returns
    -------
    Highest, in the unit of the readings. [1]

    Raises
    ------
    ValueError
        If there are none.

    Examples
    --------
    >>> highest_value([0.21, 0.07, 0.5, 0.09])
    0.5

    References
    ----------
    Definition.
    """
    return float(_several(values).max())


@worked("Sum", method="sum of the values", reference=_SOURCE)
def sum_of_values(values: Values) -> Number:
    """Return the sum of several figures, such as the water of every day of a month.

    Parameters
    ----------
    values : figures, all in one unit. [1]

    Returns
    -------
    Sum, in the unit of the figures. [1]

    Raises
    ------
    ValueError
        If there are none.

    Examples
    --------
    >>> sum_of_values([330.0, 347.5, 341.5])
    1019.0

    References
    ----------
    Definition.
    """
    return float(_several(values).sum())


@worked("Share from counts", expression="kept / number", reference=_SOURCE)
def share_from_counts(
    kept: Annotated[Number, Range(0.0, 100.0)], number: Annotated[Number, Range(100.0, 300.0)]
) -> Fraction:
    """Return the share of readings that keep a limit when both were counted, as on a monthly turbidity report.

    Parameters
    ----------
    kept : readings at or below the limit. [1]
    number : all readings of the period. [1]

    Returns
    -------
    Share. [1]

    Raises
    ------
    ValueError
        If more are kept than there are, or a count is below 0, or there are none.

    Examples
    --------
    >>> round(100 * share_from_counts(177, 186), 2)
    95.16

    References
    ----------
    Definition.
    """
    checks.at_least(kept, 0.0, "kept")
    checks.above(number, 0.0, "number")
    checks.refuse(kept > number, kept, "kept must not be above number", "The two counts are of the same readings.")
    return kept / number


@worked(
    "Rank of the lead and copper 90th percentile",
    expression="0.9 * samples",
    reference="40 CFR 141.80(c)(3)",
)
def lead_copper_rank(samples: Annotated[Number, Range(5.0, 60.0)]) -> Number:
    """Return which sample, counted from the lowest, is the 90th percentile of lead or copper.

    Parameters
    ----------
    samples : number of samples, five or more. [1]

    Returns
    -------
    Rank; a part of one lies between two samples. [1]

    Raises
    ------
    ValueError
        If there are fewer than five samples.

    Examples
    --------
    >>> round(lead_copper_rank(7), 1)
    6.3

    References
    ----------
    40 CFR 141.80(c)(3).
    """
    checks.at_least(samples, 5.0, "samples", "", "Of fewer than five samples the highest is taken.")
    return 0.9 * samples


@worked(
    "Lead and copper 90th percentile",
    method="sample of rank 0.9 x number from the lowest, straight line between two; of fewer than five the highest",
    reference="40 CFR 141.80(c)(3)",
)
def lead_copper_percentile(values: Values) -> Number:
    """Return the 90th percentile of lead or copper samples by the rule's own rank, which is not the N + 1 rank.

    Between two ranks some States take the higher sample instead of the straight line: ask yours.

    Parameters
    ----------
    values : results; what was not detected counts as 0. [1]

    Returns
    -------
    90th percentile, in the unit of the results. [1]

    Raises
    ------
    ValueError
        If there are none.

    Examples
    --------
    >>> round(lead_copper_percentile([0.008, 0.006, 0.02, 0.0, 0.001]), 4)
    0.014

    References
    ----------
    40 CFR 141.80(c)(3).
    """
    ordered = np.sort(_several(values))
    if ordered.size < 5:
        return float(ordered[-1] + 0.0 * ordered.sum())
    rank = 0.9 * ordered.size
    return float(np.interp(rank, np.arange(1, ordered.size + 1), ordered + 0.0 * ordered.sum()))


@worked(
    "Share of samples without detectable residual",
    expression="(c + d + e) / (a + b)",
    reference="40 CFR 141.72(b)(3)(i), V; the letters are the rule's",
)
def undetectable_residual_share(
    a: Annotated[Number, Range(5.0, 60.0)],
    b: Annotated[Number, Range(0.0, 5.0)],
    c: Annotated[Number, Range(0.0, 2.0)],
    d: Annotated[Number, Range(0.0, 2.0)],
    e: Annotated[Number, Range(0.0, 2.0)],
) -> Fraction:
    """Return V, the month's share of places without disinfectant: above 5 percent in two months in a row breaks it.

    Parameters
    ----------
    a : times the residual was measured. [1]
    b : times bacteria (HPC) were counted instead of it. [1]
    c : times no residual was detected and no HPC counted. [1]
    d : times no residual was detected and HPC was above 500 per mL. [1]
    e : times no residual was measured and HPC was above 500 per mL. [1]

    Returns
    -------
    Share V. [1]

    Raises
    ------
    ValueError
        If a count is below 0 or nothing was measured.

    Examples
    --------
    >>> undetectable_residual_share(20, 0, 1, 0, 0)
    0.05

    References
    ----------
    40 CFR 141.72(b)(3)(i).
    """
    for value, name in ((a, "a"), (b, "b"), (c, "c"), (d, "d"), (e, "e")):
        checks.at_least(value, 0.0, name)
    checks.above(a + b, 0.0, "a + b", "", "Nothing was measured in this month.")
    return (c + d + e) / (a + b)

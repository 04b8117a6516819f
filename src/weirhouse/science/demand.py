"""How much water will be drawn at this hour? The day's mean shared out by a pattern of its hours.

A pattern fitted to one's own dry days beats any other; it takes sixty days or more of levels. A main break or a fire is
no part of it.
"""

from collections.abc import Sequence
from typing import Annotated, Any

import numpy as np

from weirhouse.science import checks
from weirhouse.science.quantities import Flow, Hours, Ratio, Several
from weirhouse.working import Range, note, worked

MeanDemand = Annotated[Flow, Range(0.0005, 0.02)]
TimeOfDay = Annotated[Hours, Range(0.0, 86399.0)]
DayFactor = Annotated[Ratio, Range(0.7, 1.5)]
Drawn = Annotated[Flow, Range(0.0, 0.1)]
# two peaks, at 7 and at 18 o'clock; by the hour from midnight, before it is brought to a mean of 1
TWO_PEAKS = (
    0.45, 0.40, 0.35, 0.35, 0.45, 0.80, 1.35, 1.60, 1.50, 1.30, 1.15, 1.05,
    1.05, 1.00, 0.95, 0.95, 1.10, 1.40, 1.60, 1.50, 1.25, 1.00, 0.80, 0.60,
)  # fmt: skip
_DAY = 86400.0
_PATTERN = "daily mean times the hour's share of the pattern, brought to a mean of 1, times the factor of the day"


def _share(pattern: Any, time_of_day: Any) -> Any:
    """Return the demand of a time of day [s since midnight] over the day's mean."""
    shares = np.asarray(pattern, dtype=float)
    gap = np.isnan(time_of_day)
    part = np.where(gap, 0.0, time_of_day) / _DAY * shares.size
    found = np.where(gap, np.nan, shares[np.floor(part + 1e-9).astype(int) % shares.size] / shares.mean())
    return found if found.ndim else float(found)


def _day(mean_demand: Any, time_of_day: Any, day_factor: Any) -> None:
    checks.at_least(mean_demand, 0.0, "mean_demand", "m^3/s")
    checks.require(
        (time_of_day >= 0) & (time_of_day < _DAY), time_of_day, "time_of_day must be from 0 to below 86400 s",
        "Count it from midnight: half past seven is 7.5 h.",
    )  # fmt: skip
    checks.within(day_factor, 0.0, 10.0, "day_factor", "", "It is this day's demand over the mean day's.")


@worked("Demand at a time of day by own pattern", method=_PATTERN, reference="definition; common practice, no source")
def demand_by_pattern(
    mean_demand: MeanDemand,
    time_of_day: TimeOfDay,
    pattern: Annotated[Sequence[float], Several("1", us="1", si="1", low=0.3, high=1.7)],
    day_factor: DayFactor = 1.0,
) -> Drawn:
    """Return the demand to be expected at a time of day, by a pattern of equal parts of the day from midnight.

    Parameters
    ----------
    mean_demand : mean demand of a day. [m^3/s]
    time_of_day : time since midnight. [s]
    pattern : demand of each part of the day against any one of them: 24 for hours. [1]
    day_factor : this day of the week against the mean day. [1]

    Returns
    -------
    Demand to be expected; in a small system an hour may well be a third off it. [m^3/s]

    Raises
    ------
    ValueError
        If the pattern is short of two parts, has one below 0 or none above it, or an argument cannot be.

    Examples
    --------
    >>> demand_by_pattern(0.002, 18 * 3600.0, [1.0, 3.0])
    0.003

    References
    ----------
    Definition: the pattern's mean is 1, so that the day's volume stays.
    """
    _day(mean_demand, time_of_day, day_factor)
    shares = np.asarray(pattern, dtype=float)
    if shares.ndim != 1 or shares.size < 2:
        raise ValueError(f"pattern must have two parts or more; it has {shares.size}. Give one for each hour.")
    checks.require(shares >= 0, shares, "pattern must not be below 0")
    checks.above(float(shares.sum()), 0.0, "the sum of the pattern")
    return mean_demand * _share(shares, time_of_day) * day_factor


@worked(
    "Demand at a time of day by the usual pattern",
    method=f"{_PATTERN}; pattern of two peaks, at 7 and 18 o'clock",
    reference="two peaks as places of homes show them; common practice, no source",
)
def usual_demand(mean_demand: MeanDemand, time_of_day: TimeOfDay, day_factor: DayFactor = 1.0) -> Drawn:
    """Return the demand to be expected at a time of day where no pattern of one's own is known yet.

    Parameters
    ----------
    mean_demand : mean demand of a day. [m^3/s]
    time_of_day : time since midnight. [s]
    day_factor : this day of the week against the mean day. [1]

    Returns
    -------
    Demand to be expected. [m^3/s]

    Raises
    ------
    ValueError
        If the demand is below 0, the time is not one of the day, or the factor is outside 0 to 10.

    Examples
    --------
    >>> round(usual_demand(0.002, 7.5 * 3600.0), 6)
    0.003207

    References
    ----------
    Two peaks, morning and evening; common practice, no source.
    """
    _day(mean_demand, time_of_day, day_factor)
    note("The pattern of no place in particular: fit your own to sixty dry days or more.")
    return mean_demand * _share(TWO_PEAKS, time_of_day) * day_factor

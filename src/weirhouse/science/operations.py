"""How long until, how much left, and what share? The small sums of an operator's day."""

from collections.abc import Sequence
from typing import Annotated, Any

import numpy as np

from weirhouse.science import checks
from weirhouse.science.quantities import (
    Dose,
    Duration,
    Flow,
    Fraction,
    Head,
    HeadLossRise,
    Mass,
    Number,
    Several,
    Turbidity,
    TurbidityRise,
    Volume,
)
from weirhouse.working import Range, worked

_COMMON = "common practice, no source"
_Count = Annotated[Number, Range(1, 5000)]
_Run = Annotated[Duration, Range(3600.0, 400000.0)]


@worked("Time until the head loss reaches its limit", expression="max(0, limit - head_loss) / rise", reference=_COMMON)
def time_to_head_loss(limit: Head, head_loss: Annotated[Head, Range(0.1, 3.0)], rise: HeadLossRise) -> _Run:
    """Return the filtering time left until a head loss reaches its limit at the rise seen in this run.

    Head loss at a constant rate grows about linearly with the solids held.

    Parameters
    ----------
    limit : terminal head loss. [m]
    head_loss : head loss now. [m]
    rise : rise for each second of filtering. [m/s]

    Returns
    -------
    Filtering time left; 0 when the limit is reached. [s]

    Raises
    ------
    ValueError
        If the rise is not above 0.

    Examples
    --------
    >>> round(time_to_head_loss(2.1, 1.2, 0.05 / 3600) / 3600, 1)
    18.0

    References
    ----------
    Straight line; common practice, no source.
    """
    checks.above(rise, 0.0, "rise", "m/s", "A head loss that does not rise reaches no limit.")
    return checks.most(0.0, limit - head_loss) / rise


@worked("Time until the turbidity reaches its limit", expression="max(0, limit - turbidity) / rise", reference=_COMMON)
def time_to_turbidity(limit: Turbidity, turbidity: Turbidity, rise: TurbidityRise) -> _Run:
    """Return the time left until a turbidity reaches its limit at the rise seen.

    Parameters
    ----------
    limit : limit. [NTU]
    turbidity : turbidity now. [NTU]
    rise : rise for each second. [NTU/s]

    Returns
    -------
    Time left; 0 when the limit is reached. [s]

    Raises
    ------
    ValueError
        If the rise is not above 0.

    Examples
    --------
    >>> round(time_to_turbidity(0.2, 0.05, 0.005 / 3600) / 3600, 1)
    30.0

    References
    ----------
    Straight line; common practice, no source.
    """
    checks.above(rise, 0.0, "rise", "NTU/s", "A turbidity that does not rise reaches no limit.")
    return checks.most(0.0, limit - turbidity) / rise


@worked("Time left in the longest run allowed", expression="max(0, longest_run - run_time)", reference=_COMMON)
def run_time_left(longest_run: _Run, run_time: _Run) -> _Run:
    """Return the filtering time left before a filter has run as long as it may.

    Parameters
    ----------
    longest_run : longest run the plant allows. [s]
    run_time : filtering time since the last backwash. [s]

    Returns
    -------
    Filtering time left, not below 0. [s]

    Examples
    --------
    >>> run_time_left(72 * 3600.0, 60 * 3600.0) / 3600
    12.0

    References
    ----------
    Common practice, no source.
    """
    return checks.most(0.0, longest_run - run_time)


@worked("Least of two times", expression="min(first, second)", reference="definition; common practice, no source")
def sooner(first: _Run, second: _Run) -> _Run:
    """Return the sooner of two times.

    Parameters
    ----------
    first : time left by one limit. [s]
    second : time left by another. [s]

    Returns
    -------
    The lesser. [s]

    Examples
    --------
    >>> sooner(7200.0, 3600.0)
    3600.0

    References
    ----------
    Definition.
    """
    return checks.least(first, second)


@worked(
    "Clock time for a filtering time",
    method="walked through the hours of the day, each giving the share of it in which the plant usually runs",
    reference=_COMMON,
)
def clock_time_for_filtering(
    filtering: _Run,
    rest_of_hour: Annotated[Duration, Range(0.0, 3600.0)],
    shares: Annotated[Sequence[float], Several("1", us="percent", si="percent", low=0.1, high=1.0)],
) -> _Run:
    """Return how long it takes on the clock until the plant has filtered for a given time.

    `shares` holds, hour after hour beginning with the present one, the part of it in which the plant usually runs; the
    list is gone through again and again. Longer than 30 days on the clock counts as 30 days.

    Parameters
    ----------
    filtering : filtering time wanted. [s]
    rest_of_hour : what is left of the present hour. [s]
    shares : share of each hour with the plant running, the present hour first. [-]

    Returns
    -------
    Clock time, at most 30 days. [s]

    Raises
    ------
    ValueError
        If the plant never runs in any of the hours.

    Examples
    --------
    >>> clock_time_for_filtering(5400.0, 1800.0, [1.0, 0.0, 1.0])  # half an hour now, then an hour after a pause
    9000.0

    References
    ----------
    Common practice, no source.
    """
    hours = np.atleast_1d(np.asarray(shares, dtype=float))
    wanted = np.asarray(filtering, dtype=float)
    rest = np.asarray(rest_of_hour, dtype=float)
    checks.require(bool(hours.max() > 0), float(hours.max()), "the share of running hours must be above 0 in one hour")
    with np.errstate(invalid="ignore"):  # a gap among the inputs is compared, and answered with a gap
        result = np.vectorize(_walk, excluded={2}, otypes=[float])(wanted, rest, hours)
    return float(result) if result.ndim == 0 else result


_LONGEST = 30 * 86400.0


def _walk(filtering: float, rest_of_hour: float, shares: Any) -> float:
    if filtering != filtering or rest_of_hour != rest_of_hour or np.isnan(shares).any():
        return float("nan")
    clock, span, index = 0.0, rest_of_hour, 0
    while clock < _LONGEST:
        share = float(shares[index % len(shares)])
        if share > 0 and filtering <= span * share:
            return min(clock + filtering / share, _LONGEST)
        filtering -= span * share
        clock, span, index = clock + span, 3600.0, index + 1
    return _LONGEST


@worked(
    "Dose between two rows of the dose table",
    expression="lower_dose + (upper_dose - lower_dose) * (turbidity - lower_turbidity)"
    " / (upper_turbidity - lower_turbidity)",
    reference="straight line between the plant's own rows; common practice, no source",
)
def dose_between(
    turbidity: Annotated[Turbidity, Range(10.0, 20.0)],
    lower_turbidity: Annotated[Turbidity, Range(5.0, 10.0)],
    lower_dose: Annotated[Dose, Range(10.0, 20.0)],
    upper_turbidity: Annotated[Turbidity, Range(20.0, 50.0)],
    upper_dose: Annotated[Dose, Range(20.0, 40.0)],
) -> Dose:
    """Return the dose that a dose table gives between two of its rows.

    Parameters
    ----------
    turbidity : raw turbidity. [NTU]
    lower_turbidity : turbidity of the row below. [NTU]
    lower_dose : dose of that row, on the table's basis. [g/m^3]
    upper_turbidity : turbidity of the row above. [NTU]
    upper_dose : dose of that row, on the same basis. [g/m^3]

    Returns
    -------
    Dose on the table's basis. [g/m^3]

    Raises
    ------
    ValueError
        If the rows have the same turbidity or stand in the wrong order.

    Examples
    --------
    >>> dose_between(15.0, 10.0, 18.0, 20.0, 22.0)
    20.0

    References
    ----------
    Common practice, no source.
    """
    checks.refuse(
        upper_turbidity <= lower_turbidity, upper_turbidity, "upper_turbidity must be above lower_turbidity",
        "Sort the dose table by turbidity.",
    )  # fmt: skip
    return lower_dose + (upper_dose - lower_dose) * (turbidity - lower_turbidity) / (upper_turbidity - lower_turbidity)


@worked("Change of a dose", expression="dose / present_dose - 1", reference="definition; common practice, no source")
def dose_change(dose: Dose, present_dose: Dose) -> Annotated[Fraction, Range(-1.0, 2.0)]:
    """Return by what share a dose differs from the present one.

    Parameters
    ----------
    dose : dose advised. [g/m^3]
    present_dose : dose in force, on the same basis. [g/m^3]

    Returns
    -------
    Change as a share of the present dose. [-]

    Raises
    ------
    ValueError
        If the present dose is not above 0.

    Examples
    --------
    >>> round(dose_change(22.0, 20.0), 3)
    0.1

    References
    ----------
    Definition.
    """
    checks.above(present_dose, 0.0, "present_dose", "mg/L", "With nothing fed there is nothing to compare with.")
    return dose / present_dose - 1


@worked("Volumes together", expression="first + second", reference="definition")
def together(first: Volume, second: Volume) -> Volume:
    """Return the sum of two volumes.

    Parameters
    ----------
    first : volume. [m^3]
    second : another. [m^3]

    Returns
    -------
    Both together. [m^3]

    Examples
    --------
    >>> together(300.0, 90.0)
    390.0

    References
    ----------
    Definition.
    """
    return first + second


@worked(
    "Time until a volume is drawn",
    method="walked through the hours of the day, each with its usual demand",
    reference=_COMMON,
)
def time_to_draw(
    volume: Annotated[Volume, Range(10.0, 500.0)],
    rest_of_hour: Annotated[Duration, Range(0.0, 3600.0)],
    demands: Annotated[Sequence[float], Several("m^3/s", us="gpm", si="L/s", low=0.001, high=0.02)],
) -> _Run:
    """Return how long a volume lasts when nothing is made and each hour of the day draws its usual demand.

    `demands` begins with the present hour and is gone through again and again. Longer than 30 days counts as 30 days.

    Parameters
    ----------
    volume : water that may be drawn. [m^3]
    rest_of_hour : what is left of the present hour. [s]
    demands : usual demand of each hour, the present one first. [m^3/s]

    Returns
    -------
    Time, at most 30 days. [s]

    Raises
    ------
    ValueError
        If a demand is below 0.

    Examples
    --------
    >>> time_to_draw(27.0, 1800.0, [0.005, 0.01])  # 9 m3 in the half hour left, then half an hour at 10 L/s
    3600.0

    References
    ----------
    Common practice, no source.
    """
    hours = np.atleast_1d(np.asarray(demands, dtype=float))
    checks.at_least(float(hours.min()), 0.0, "demands", "m^3/s")
    wanted, rest = np.asarray(volume, dtype=float), np.asarray(rest_of_hour, dtype=float)
    with np.errstate(invalid="ignore"):  # a gap among the inputs is compared, and answered with a gap
        result = np.vectorize(_walk, excluded={2}, otypes=[float])(wanted, rest, hours)
    return float(result) if result.ndim == 0 else result


@worked("Water above a level", expression="max(0, level - lowest)", reference="definition")
def height_above(level: Annotated[Head, Range(1.0, 8.0)], lowest: Annotated[Head, Range(0.0, 3.0)]) -> Head:
    """Return how much water stands above a level, in height.

    Parameters
    ----------
    level : level now, from the tank's floor. [m]
    lowest : level that counts as empty or kept in reserve, from the same floor. [m]

    Returns
    -------
    Height, not below 0. [m]

    Examples
    --------
    >>> height_above(6.0, 1.5)
    4.5

    References
    ----------
    Definition.
    """
    return checks.most(0.0, level - lowest)


@worked("Times one after the other", expression="first + second", reference="definition")
def in_turn(first: Duration, second: Duration) -> Duration:
    """Return the sum of two times that follow each other.

    Parameters
    ----------
    first : time in the first unit. [s]
    second : time in the next. [s]

    Returns
    -------
    Both together. [s]

    Examples
    --------
    >>> in_turn(600.0, 900.0)
    1500.0

    References
    ----------
    Definition.
    """
    return first + second


@worked("Share of a flow", expression="flow / parts", reference="definition; common practice, no source")
def equal_share(flow: Flow, parts: _Count) -> Flow:
    """Return the flow through one of several equal units in parallel.

    Parameters
    ----------
    flow : flow through all of them. [m^3/s]
    parts : number of units that share it. [-]

    Returns
    -------
    Flow through one. [m^3/s]

    Raises
    ------
    ValueError
        If there is not at least one unit.

    Examples
    --------
    >>> equal_share(0.009, 2)
    0.0045

    References
    ----------
    Definition.
    """
    checks.at_least(parts, 1, "parts", "", "Count the units in service.")
    return flow / parts


@worked("Share within a limit", expression="(recorded - over) / recorded", reference="definition")
def share_within(recorded: _Count, over: Annotated[Number, Range(0, 5)]) -> Fraction:
    """Return the share of recorded values that are not above a limit.

    Parameters
    ----------
    recorded : number of values recorded. [-]
    over : how many of them were above the limit. [-]

    Returns
    -------
    Share at or below the limit. [-]

    Raises
    ------
    ValueError
        If nothing was recorded.

    Examples
    --------
    >>> share_within(100, 3)
    0.97

    References
    ----------
    Definition.
    """
    checks.above(recorded, 0, "recorded", "", "Without recorded values there is no share.")
    return (recorded - over) / recorded


@worked("Change of turbidity in a time", expression="rise * duration", reference="definition")
def turbidity_change(rise: TurbidityRise, duration: Duration) -> Annotated[Turbidity, Range(-500.0, 500.0)]:
    """Return by how much a turbidity changes in a time at a steady rise.

    Parameters
    ----------
    rise : rise for each second, below 0 for a fall. [NTU/s]
    duration : time. [s]

    Returns
    -------
    Change. [NTU]

    Examples
    --------
    >>> round(turbidity_change(2.0 / 3600, 5400.0), 6)
    3.0

    References
    ----------
    Definition.
    """
    return rise * duration


@worked("Dose that brings the residual to its target", expression="present_dose + target - residual", reference=_COMMON)
def dose_for_residual(
    present_dose: Dose, residual: Annotated[Dose, Range(0.1, 4.0)], target: Annotated[Dose, Range(0.2, 4.0)]
) -> Dose:
    """Return the chlorine dose that gives the target residual if the water's demand stays as it is.

    Dose = demand + residual; the demand is the present dose less the present residual.

    Parameters
    ----------
    present_dose : dose in force, as Cl2. [g/m^3]
    residual : free residual it gives, as Cl2. [g/m^3]
    target : free residual wanted at the same place, as Cl2. [g/m^3]

    Returns
    -------
    Dose as Cl2. [g/m^3]

    Examples
    --------
    >>> round(dose_for_residual(2.0, 1.0, 1.2), 2)
    2.2

    References
    ----------
    Common practice, no source.
    """
    return present_dose + target - residual


@worked("Solids caught in a run", expression="volume * solids / 1000", reference="mass balance; definition")
def solids_caught(volume: Volume, solids: Annotated[Dose, Range(0.5, 50.0)]) -> Mass:
    """Return the dry solids that a filter took out of the water of a run.

    Parameters
    ----------
    volume : water filtered in the run. [m^3]
    solids : suspended solids in the settled water. [g/m^3]

    Returns
    -------
    Mass of dry solids. [kg]

    Raises
    ------
    ValueError
        If the volume or the solids are below 0.

    Examples
    --------
    >>> solids_caught(900.0, 3.0)
    2.7

    References
    ----------
    Mass balance.
    """
    checks.at_least(volume, 0.0, "volume", "m^3")
    checks.at_least(solids, 0.0, "solids", "mg/L")
    return volume * solids / 1000


@worked("Water to a mixture", expression="made - 1", reference="definition")
def water_parts(made: Annotated[Number, Range(1, 50)]) -> Number:
    """Return the parts of water that go with one part of product.

    Parameters
    ----------
    made : parts of mixed solution made of one part of product. [-]

    Returns
    -------
    Parts of water, by volume. [-]

    Raises
    ------
    ValueError
        If less is made than what goes in.

    Examples
    --------
    >>> water_parts(4.0)
    3.0

    References
    ----------
    Definition: volumes add, as near as makes no odds for a day tank.
    """
    checks.at_least(made, 1.0, "made", "", "One part of product makes at least one part.")
    return made - 1


@worked("Share of a limit", expression="value / limit", reference="definition")
def share_of_limit(value: Annotated[Head, Range(0.0, 0.3)], limit: Annotated[Head, Range(0.1, 1.0)]) -> Fraction:
    """Return which share of its limit a head loss has reached.

    Parameters
    ----------
    value : head loss now. [m]
    limit : head loss at which something is done. [m]

    Returns
    -------
    Share; 1 is at the limit. [-]

    Raises
    ------
    ValueError
        If the limit is not above 0.

    Examples
    --------
    >>> share_of_limit(0.12, 0.15)
    0.8

    References
    ----------
    Definition.
    """
    checks.above(limit, 0.0, "limit", "m", "Enter the head loss at which you clean.")
    return value / limit

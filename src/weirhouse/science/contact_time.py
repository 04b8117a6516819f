"""Has the chlorine had time enough? CT, and the inactivation of Giardia and of viruses that it brings.

CT is the free residual at the end of a segment times T10, the time that nine tenths of the water stays at least. The
tables govern; the regression stands beside them for comparison. They hold for free chlorine; their figures are written
here in g s/m^3, 60 to one mg min/L. None of this says that water is fit to drink: the State judges that.
"""

import csv
import functools
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from importlib.resources import files
from typing import Annotated, Any, Literal

import numpy as np

from weirhouse.science import checks
from weirhouse.science.quantities import (
    PH,
    ContactTime,
    Duration,
    Flow,
    Fraction,
    Length,
    LogRemoval,
    Ratio,
    Residual,
    Several,
    Temperature,
    Volume,
)
from weirhouse.working import Range, note, worked

Organism = Literal["giardia", "virus"]
Baffling = Literal[
    "unbaffled (mixed flow)",
    "unbaffled with diffuser walls or plates",
    "poor",
    "average",
    "superior",
    "near plug flow",
    "perfect (plug flow)",
]
BafflingFactor = Annotated[Ratio, Range(0.1, 1.0)]
ContactTemperature = Annotated[Temperature, Range(0.0, 30.0)]
FreeChlorine = Annotated[Residual, Range(0.2, 3.0)]
ContactPH = Annotated[PH, Range(6.0, 9.0)]
Stay = Annotated[Duration, Range(60.0, 43200.0)]
Needed = Annotated[LogRemoval, Range(0.5, 3.0)]
Brought = Annotated[LogRemoval, Range(0.0, 20.0)]
InactivationRatio = Annotated[Ratio, Range(0.05, 10.0)]

UNCONFIRMED = "table not yet confirmed against print"
TABLES = ("contact_time/giardia_free_chlorine", "contact_time/virus_free_chlorine")  # as they are confirmed
STRONGEST = 3.0  # mg/L, where the Giardia tables end
_EDGE = 1e-6  # a value converted from degF or typed as 1.2 stays in its own row
_MINUTE = 60.0
_CFR = "40 CFR 141.74(b)(3)(v), Tables 1.1 to 1.6, from memory"
_GUIDANCE = "EPA, guidance manual to the surface water treatment rule (1991), Table E-7, from memory"
_SMITH = "D. B. Smith, R. M. Clark, B. K. Pierce, S. Regli, J. Water SRT-Aqua 44 (1995) 203, from memory"
_DEP = "Pennsylvania DEP, tracer studies and contact time; EPA lists 0.1, 0.3, 0.5, 0.7 and 1.0"
_RULE = "40 CFR 141.74 and 141.534"
_DEFINITION = "definition"
_FREE_CHLORINE_HINT = (
    f"The table ends at {STRONGEST:g} mg/L. Count {STRONGEST:g} mg/L, which asks for more time, or ask the State."
)
_PH_HINT = "The table ends at pH 9: ask the State how to count contact time above it."
_CELSIUS = "Check the unit of the temperature."


def _unconfirmed(table_confirmed: bool) -> None:
    """Say on the sheet that the table in use comes from memory, until a person has confirmed it."""
    if not table_confirmed:
        note(f"{UNCONFIRMED}: compare it with the regulation before you rely on it.")


# --- T10 ---------------------------------------------------------------------------------------------------------


@worked("Baffling factor", method="table by the arrangement of the tank", reference=_DEP)
def baffling_factor(arrangement: Baffling) -> BafflingFactor:
    """Return the baffling factor T10/T by which a tank's arrangement is rated; in compliance the State's word counts.

    Parameters
    ----------
    arrangement : how the tank is baffled, in the words of the table.

    Returns
    -------
    T10 over the mean time. [1]

    Raises
    ------
    ValueError
        If the arrangement is not in the table.

    Examples
    --------
    >>> baffling_factor("average")
    0.5

    References
    ----------
    Pennsylvania DEP.
    """
    table = _baffling_table()
    if arrangement not in table:
        raise ValueError(f'arrangement must be one of {", ".join(table)}; it is "{arrangement}". See the tank.')
    note("An estimate: in compliance figures use the factor or the tracer result that the State has accepted.")
    return table[arrangement]


@worked("Contact time T10", expression="baffling_factor * volume / flow", reference=_DEP)
def t10(volume: Volume, flow: Flow, baffling_factor: BafflingFactor) -> Stay:
    """Return T10, the time that nine tenths of the water stays at least, from the baffling factor.

    Parameters
    ----------
    volume : water in the tank or pipe at the lowest level of the hour. [m^3]
    flow : flow out at the peak of the hour. [m^3/s]
    baffling_factor : factor that the State has assigned, above 0 to 1; 1 is a long pipe. [1]

    Returns
    -------
    T10. [s]

    Raises
    ------
    ValueError
        If the volume is below 0, the flow not above 0, or the factor not above 0 and at most 1.

    Examples
    --------
    >>> round(t10(189.27, 0.022082, 0.3) / 60, 1)  # 50,000 gal at 350 gpm
    42.9

    References
    ----------
    40 CFR 141.74(d); Pennsylvania DEP.
    """
    checks.at_least(volume, 0.0, "volume", "m^3")
    checks.above(flow, 0.0, "flow", "m^3/s", "Take the peak flow of the hour; with no flow the water stands still.")
    _factor(baffling_factor)
    return baffling_factor * volume / flow


def _factor(baffling_factor: Any) -> None:
    checks.require(
        (baffling_factor > 0) & (baffling_factor <= 1),
        baffling_factor,
        "baffling_factor must be above 0 and at most 1",
        "Take the one that the State has assigned; 1 is plug flow in a long pipe.",
    )


@worked("Water at a level", expression="volume * level / full_level", reference="tank of straight walls")
def volume_at_level(
    volume: Volume, full_level: Annotated[Length, Range(1.0, 12.0)], level: Annotated[Length, Range(0.1, 12.0)]
) -> Volume:
    """Return the water in a tank of straight walls at a level, from what it holds at its full level.

    Parameters
    ----------
    volume : water at the full level. [m^3]
    full_level : full level above the floor. [m]
    level : level above the floor. [m]

    Returns
    -------
    Water at that level. [m^3]

    Raises
    ------
    ValueError
        If volume or level is below 0, or the full level not above 0.

    Examples
    --------
    >>> volume_at_level(90.0, 3.0, 2.0)
    60.0

    References
    ----------
    Definition.
    """
    checks.at_least(volume, 0.0, "volume", "m^3")
    checks.above(full_level, 0.0, "full_level", "m")
    checks.at_least(level, 0.0, "level", "m")
    return volume * level / full_level


@worked(
    "Contact time T10 from a tracer test",
    expression="tracer_t10 * tracer_flow / flow * volume / tracer_volume",
    reference="EPA guidance on tracer tests, from memory: T10 in proportion to volume over flow",
)
def t10_from_tracer(
    tracer_t10: Stay, tracer_flow: Flow, tracer_volume: Volume, volume: Volume, flow: Flow
) -> Annotated[Stay, Range(1.0, 1e7)]:
    """Return T10 at another flow and volume than those of the tracer test.

    Parameters
    ----------
    tracer_t10 : T10 found by the tracer. [s]
    tracer_flow : flow during the test. [m^3/s]
    tracer_volume : water in the tank during the test. [m^3]
    volume : water in the tank at the lowest level of the hour. [m^3]
    flow : flow out at the peak of the hour. [m^3/s]

    Returns
    -------
    T10. [s]

    Raises
    ------
    ValueError
        If a flow, the time or the volume of the test is not above 0, or the volume is below 0.

    Examples
    --------
    >>> round(t10_from_tracer(85 * 60.0, 0.0088, 72.7, 72.7, 0.0110) / 60)  # 85 min at 140 gpm, now 175 gpm
    68

    References
    ----------
    EPA guidance on tracer tests (from memory).
    """
    checks.above(tracer_t10, 0.0, "tracer_t10", "s")
    checks.above(tracer_flow, 0.0, "tracer_flow", "m^3/s")
    checks.above(tracer_volume, 0.0, "tracer_volume", "m^3")
    checks.at_least(volume, 0.0, "volume", "m^3")
    checks.above(flow, 0.0, "flow", "m^3/s", "Take the peak flow of the hour; with no flow the water stands still.")
    if isinstance(flow, float) and flow > 1.1 * tracer_flow:
        note("The flow is more than a tenth above that of the tracer test: ask the State whether it may be scaled.")
    return tracer_t10 * tracer_flow / flow * volume / tracer_volume


@worked(
    "Baffling factor from a tracer test", expression="tracer_t10 * tracer_flow / tracer_volume", reference=_DEFINITION
)
def baffling_factor_from_tracer(
    tracer_t10: Annotated[Duration, Range(600.0, 1800.0)],
    tracer_flow: Annotated[Flow, Range(0.005, 0.01)],
    tracer_volume: Annotated[Volume, Range(20.0, 200.0)],
) -> BafflingFactor:
    """Return the baffling factor that a tracer test stands for.

    Parameters
    ----------
    tracer_t10 : T10 found by the tracer. [s]
    tracer_flow : flow during the test. [m^3/s]
    tracer_volume : water in the tank during the test. [m^3]

    Returns
    -------
    T10 over the mean time. [1]

    Raises
    ------
    ValueError
        If an argument is not above 0, or T10 comes out longer than the mean time.

    Examples
    --------
    >>> round(baffling_factor_from_tracer(85 * 60.0, 0.0088, 72.7), 2)
    0.62

    References
    ----------
    Definition.
    """
    checks.above(tracer_t10, 0.0, "tracer_t10", "s")
    checks.above(tracer_flow, 0.0, "tracer_flow", "m^3/s")
    checks.above(tracer_volume, 0.0, "tracer_volume", "m^3")
    factor = tracer_t10 * tracer_flow / tracer_volume
    checks.require(factor <= 1, factor, "T10 must not be longer than volume over flow", "Check volume, flow and time.")
    return factor


# --- CT achieved -------------------------------------------------------------------------------------------------


@worked("CT achieved", expression="free_chlorine * contact_time", reference=_RULE)
def ct_achieved(free_chlorine: FreeChlorine, contact_time: Stay) -> ContactTime:
    """Return CT: the residual at the end of a segment times its T10.

    Parameters
    ----------
    free_chlorine : free residual measured at the end of the segment, as Cl2. [g/m^3]
    contact_time : T10 of the segment. [s]

    Returns
    -------
    CT. [g*s/m^3]

    Raises
    ------
    ValueError
        If either is below 0.

    Examples
    --------
    >>> round(ct_achieved(0.6, 600.0) / 60, 1)  # mg min/L
    6.0

    References
    ----------
    40 CFR 141.74.
    """
    checks.at_least(free_chlorine, 0.0, "free_chlorine", "mg/L")
    checks.at_least(contact_time, 0.0, "contact_time", "s")
    return free_chlorine * contact_time


@worked("Free chlorine counted", expression="min(free_chlorine, 3.0)", reference=_CFR)
def free_chlorine_counted(free_chlorine: Annotated[Residual, Range(0.1, 4.0)]) -> FreeChlorine:
    """Return the residual that may be counted where the tables end at 3 mg/L: never more than that.

    With more chlorine the tables ask for more CT, but by less than the residual grows, so this counts too little.

    Parameters
    ----------
    free_chlorine : free residual, as Cl2. [g/m^3]

    Returns
    -------
    Residual to count. [g/m^3]

    Raises
    ------
    ValueError
        If the residual is below 0.

    Examples
    --------
    >>> free_chlorine_counted(3.4)
    3.0

    References
    ----------
    End of the table's rows.
    """
    checks.at_least(free_chlorine, 0.0, "free_chlorine", "mg/L")
    return checks.least(free_chlorine, 3.0)


# --- CT required -------------------------------------------------------------------------------------------------


@worked(
    "Log inactivation still needed",
    expression="max(0, log_required - removal_credit)",
    reference="40 CFR 141.70 to 141.73; the credit is the one that the State assigned",
)
def log_inactivation_needed(
    log_required: Annotated[LogRemoval, Range(3.0, 6.0)], removal_credit: Annotated[LogRemoval, Range(0.0, 2.9)]
) -> LogRemoval:
    """Return the log inactivation that disinfection has to bring after the credit for clarification and filtration.

    Parameters
    ----------
    log_required : log of removal and inactivation required together. [log]
    removal_credit : log removal that the State credits to the treatment. [log]

    Returns
    -------
    Log inactivation needed. [log]

    Raises
    ------
    ValueError
        If either is below 0.

    Examples
    --------
    >>> log_inactivation_needed(3.0, 2.5)
    0.5

    References
    ----------
    M. Alvord, *Advanced Waterworks Mathematics* (2019), table 7.2.
    """
    checks.at_least(log_required, 0.0, "log_required", "log")
    checks.at_least(removal_credit, 0.0, "removal_credit", "log")
    return checks.most(0.0, log_required - removal_credit)


@worked(
    "CT for 3 log of Giardia, by the table",
    method="table cell of the next colder temperature, the next higher pH and the next higher free chlorine",
    reference=_CFR,
)
def giardia_ct_3_log(
    free_chlorine: FreeChlorine, ph: ContactPH, temperature: ContactTemperature, table_confirmed: bool = False
) -> ContactTime:
    """Return the CT that inactivates 3 log (99.9 percent) of Giardia cysts, by the conservative look-up.

    Parameters
    ----------
    free_chlorine : free residual, at most 3.0, as Cl2. [g/m^3]
    ph : pH of the water in contact, at most 9. [pH]
    temperature : its temperature. [degC]
    table_confirmed : whether a person has compared the table with the regulation.

    Returns
    -------
    CT for 3 log. [g*s/m^3]

    Raises
    ------
    ValueError
        If the free chlorine is below 0 or above 3.0 mg/L, or pH or temperature is beyond the table.

    Examples
    --------
    >>> giardia_ct_3_log(1.1, 7.3, 11.0) / 60  # the cell of 10 degC, pH 7.5, 1.2 mg/L
    137.0

    References
    ----------
    40 CFR 141.74(b)(3)(v) (from memory).
    """
    checks.within(free_chlorine, 0.0, STRONGEST, "free_chlorine", "mg/L", _FREE_CHLORINE_HINT)
    _contact_water(ph, temperature)
    _unconfirmed(table_confirmed)
    temperatures, phs, residuals, cells = _giardia_table()
    if not all(isinstance(v, float | int) for v in (free_chlorine, ph, temperature)):
        return _cells(free_chlorine, ph, temperature)
    if free_chlorine != free_chlorine or ph != ph or temperature != temperature:
        return float("nan")
    t = max(bisect_right(temperatures, temperature + _EDGE) - 1, 0)
    p, c = bisect_left(phs, ph - _EDGE), bisect_left(residuals, free_chlorine - _EDGE)
    minutes = float(cells[t, p, c])
    note(
        f"table cell: {_both(temperatures[t])}, pH {phs[p]:g}, {residuals[c]:g} mg/L free chlorine: "
        f"{minutes:g} mg·min/L for 3 log"
    )
    return minutes * _MINUTE


def _both(temperature: float) -> str:
    """Return a temperature [degC] of the tables as both unit sets write it.

    >>> _both(10.0), _both(0.5)
    ('10 °C (50 °F)', '0.5 °C (32.9 °F)')
    """
    return f"{temperature:g} °C ({temperature * 9 / 5 + 32:g} °F)"


def _contact_water(ph: Any, temperature: Any, highest: float = 9.0) -> None:
    checks.within(ph, 4.0, highest + _EDGE, "ph", hint=_PH_HINT)
    checks.within(temperature, -1.0, 50.0, "temperature", "degC", _CELSIUS)


def _cells(free_chlorine: Any, ph: Any, temperature: Any) -> Any:
    """Return the cells [g s/m^3] of arrays of water; NaN where one of the three is a gap."""
    temperatures, phs, residuals, cells = _giardia_table()
    c, p, t = np.broadcast_arrays(free_chlorine, ph, temperature)
    gap = np.isnan(c) | np.isnan(p) | np.isnan(t)
    rows = np.maximum(np.searchsorted(temperatures, np.where(gap, 0.0, t) + _EDGE, side="right") - 1, 0)
    columns = np.searchsorted(phs, np.where(gap, 0.0, p) - _EDGE)
    heights = np.searchsorted(residuals, np.where(gap, 0.0, c) - _EDGE)
    return np.where(gap, np.nan, cells[rows, columns, heights] * _MINUTE)


@worked(
    "CT for Giardia, by the regression",
    method="below 12.5 degC: 0.353 log (12.006 + exp(2.46 - 0.073 temperature + 0.125 free chlorine + 0.389 pH)); "
    "from 12.5 degC: 0.361 log (-2.261 + exp(2.69 - 0.065 temperature + 0.111 free chlorine + 0.361 pH))",
    reference=_SMITH,
)
def giardia_ct_by_regression(
    free_chlorine: FreeChlorine, ph: ContactPH, temperature: ContactTemperature, log_inactivation: Needed = 3.0
) -> ContactTime:
    """Return the CT for a log inactivation of Giardia cysts by the published regression: smooth, and above the table.

    Parameters
    ----------
    free_chlorine : free residual, 0 to 4, as Cl2. [g/m^3]
    ph : pH of the water in contact, 6 to 9. [pH]
    temperature : its temperature, 0 to 30. [degC]
    log_inactivation : log inactivation wanted. [log]

    Returns
    -------
    CT. [g*s/m^3]

    Raises
    ------
    ValueError
        If an argument is outside of the range that the regression was fitted to.

    Examples
    --------
    >>> round(giardia_ct_by_regression(0.4, 6.0, 0.5) / 60, 1)
    142.4

    References
    ----------
    Smith, Clark, Pierce and Regli 1995 (from memory).
    """
    hint = "The regression was fitted between; use the table, or ask the State."
    checks.within(free_chlorine, 0.0, 4.0, "free_chlorine", "mg/L", hint)
    checks.within(ph, 6.0, 9.0 + _EDGE, "ph", "", hint)
    checks.within(temperature, 0.0, 30.0, "temperature", "degC", hint)
    checks.at_least(log_inactivation, 0.0, "log_inactivation", "log")
    cold = 0.353 * (12.006 + checks.exp(2.46 - 0.073 * temperature + 0.125 * free_chlorine + 0.389 * ph))
    warm = 0.361 * (-2.261 + checks.exp(2.69 - 0.065 * temperature + 0.111 * free_chlorine + 0.361 * ph))
    return _MINUTE * log_inactivation * checks.choose(temperature < 12.5, cold, warm)


@worked(
    "CT for Giardia, by the power formula",
    expression="60 * 0.2828 * ph**2.69 * free_chlorine**0.15 * 0.933**(temperature - 5) * log_inactivation",
    reference="R. M. Clark's formula as printed at water-research.net, chlorine contact time",
)
def giardia_ct_by_power_formula(
    free_chlorine: FreeChlorine, ph: ContactPH, temperature: ContactTemperature, log_inactivation: Needed = 3.0
) -> ContactTime:
    """Return the CT for a log inactivation of Giardia cysts by the short formula; near 0.5 degC up to 9 percent low.

    Parameters
    ----------
    free_chlorine : free residual, above 0, as Cl2. [g/m^3]
    ph : pH of the water in contact, 6 to 9. [pH]
    temperature : its temperature, 0 to 30. [degC]
    log_inactivation : log inactivation wanted. [log]

    Returns
    -------
    CT. [g*s/m^3]

    Raises
    ------
    ValueError
        If an argument is outside of the range that the formula was fitted to.

    Examples
    --------
    >>> round(giardia_ct_by_power_formula(0.4, 6.0, 0.5) / 60, 1)
    125.2

    References
    ----------
    As printed at water-research.net.
    """
    hint = "Use the table, or ask the State."
    checks.within(free_chlorine, 0.0, 4.0, "free_chlorine", "mg/L", hint)
    checks.within(ph, 6.0, 9.0 + _EDGE, "ph", "", hint)
    checks.within(temperature, 0.0, 30.0, "temperature", "degC", hint)
    checks.at_least(log_inactivation, 0.0, "log_inactivation", "log")
    return 60 * 0.2828 * ph**2.69 * free_chlorine**0.15 * 0.933 ** (temperature - 5) * log_inactivation


@worked(
    "CT for viruses, by the table",
    method="table cell of the next colder temperature and the next higher log; above pH 9 the column of pH 10",
    reference=_GUIDANCE,
)
def virus_ct(
    ph: ContactPH, temperature: ContactTemperature, log_inactivation: Annotated[LogRemoval, Range(1.0, 4.0)] = 4.0,
    table_confirmed: bool = False,
) -> ContactTime:  # fmt: skip
    """Return the CT that inactivates 2, 3 or 4 log of viruses by free chlorine; what lies between takes the next.

    Parameters
    ----------
    ph : pH of the water in contact, 6 to 10. [pH]
    temperature : its temperature. [degC]
    log_inactivation : log inactivation wanted, at most 4. [log]
    table_confirmed : whether a person has compared the table with the guidance.

    Returns
    -------
    CT. [g*s/m^3]

    Raises
    ------
    ValueError
        If pH, temperature or log inactivation is beyond the table.

    Examples
    --------
    >>> virus_ct(7.5, 11.0, 4.0) / 60
    6.0

    References
    ----------
    EPA guidance 1991, Table E-7 (from memory).
    """
    checks.within(ph, 6.0 - _EDGE, 10.0 + _EDGE, "ph", hint="The table holds from pH 6 to 10: ask the State.")
    checks.within(temperature, -1.0, 50.0, "temperature", "degC", _CELSIUS)
    checks.within(
        log_inactivation, 0.0, 4.0 + _EDGE, "log_inactivation", "log", "The table ends at 4 log: ask the State."
    )
    _unconfirmed(table_confirmed)
    temperatures, logs, cells = _virus_table()
    if not all(isinstance(v, float | int) for v in (ph, temperature, log_inactivation)):
        p, t, wanted = np.broadcast_arrays(ph, temperature, log_inactivation)
        gap = np.isnan(p) | np.isnan(t) | np.isnan(wanted)
        rows = np.maximum(np.searchsorted(temperatures, np.where(gap, 0.0, t) + _EDGE, side="right") - 1, 0)
        columns = np.searchsorted(logs, np.where(gap, 0.0, wanted) - _EDGE)
        return np.where(gap, np.nan, cells[rows, columns, (p > 9.0 + _EDGE).astype(int)] * _MINUTE)
    if ph != ph or temperature != temperature or log_inactivation != log_inactivation:
        return float("nan")
    row = max(bisect_right(temperatures, temperature + _EDGE) - 1, 0)
    column, band = bisect_left(logs, log_inactivation - _EDGE), int(ph > 9.0 + _EDGE)
    minutes = float(cells[row, column, band])
    note(
        f"table cell: {_both(temperatures[row])}, pH {'10' if band else '6 to 9'}, {logs[column]:g} log: "
        f"{minutes:g} mg·min/L"
    )
    return minutes * _MINUTE


@worked("CT for a log inactivation", expression="ct_for_3_log * log_inactivation / 3", reference=_RULE)
def ct_for_log(ct_for_3_log: Annotated[ContactTime, Range(500.0, 30000.0)], log_inactivation: Needed) -> ContactTime:
    """Return the CT for another log inactivation of Giardia than 3, in proportion.

    Parameters
    ----------
    ct_for_3_log : CT for 3 log (CT99.9) of the water. [g*s/m^3]
    log_inactivation : log inactivation wanted. [log]

    Returns
    -------
    CT. [g*s/m^3]

    Raises
    ------
    ValueError
        If either is below 0.

    Examples
    --------
    >>> round(ct_for_log(112 * 60.0, 0.5) / 60, 2)
    18.67

    References
    ----------
    40 CFR 141.534: the tables hold 3 log; inactivation goes with CT.
    """
    checks.at_least(ct_for_3_log, 0.0, "ct_for_3_log", "g*s/m^3")
    checks.at_least(log_inactivation, 0.0, "log_inactivation", "log")
    return ct_for_3_log * log_inactivation / 3


@worked(
    "CT required",
    method="Giardia: log / 3 of the CT for 3 log by the table; viruses: the table's own figure for that log",
    reference=f"{_CFR}; {_GUIDANCE}",
)
def ct_required(
    free_chlorine: FreeChlorine,
    ph: ContactPH,
    temperature: ContactTemperature,
    log_inactivation: Needed,
    organism: Organism,
    table_confirmed: bool = False,
) -> ContactTime:
    """Return the CT that a log inactivation of an organism takes by the tables.

    Parameters
    ----------
    free_chlorine : free residual at the end of the segment, at most 3.0 for Giardia, as Cl2. [g/m^3]
    ph : pH of the water in contact. [pH]
    temperature : its temperature. [degC]
    log_inactivation : log inactivation wanted. [log]
    organism : giardia or virus.
    table_confirmed : whether a person has compared the tables with print.

    Returns
    -------
    CT required. [g*s/m^3]

    Raises
    ------
    ValueError
        If an argument is beyond the tables, or the organism is another.

    Examples
    --------
    >>> round(ct_required(1.1, 7.3, 11.0, 0.5, "giardia") / 60, 1)
    22.8

    References
    ----------
    40 CFR 141.74; EPA guidance 1991.
    """
    _known(organism)
    _unconfirmed(table_confirmed)
    if organism == "giardia":
        return ct_for_log(giardia_ct_3_log(free_chlorine, ph, temperature, table_confirmed), log_inactivation)
    checks.at_least(free_chlorine, 0.0, "free_chlorine", "mg/L")
    return virus_ct(ph, temperature, log_inactivation, table_confirmed)


def _known(organism: str) -> None:
    if organism not in ("giardia", "virus"):
        raise ValueError(f'organism must be giardia or virus; it is "{organism}". The tables hold no other.')


# --- what CT brings ----------------------------------------------------------------------------------------------


@worked("Log inactivation from CT", expression="3 * ct / ct_for_3_log", reference=_RULE)
def log_inactivation_from_ct(ct: ContactTime, ct_for_3_log: Annotated[ContactTime, Range(500.0, 30000.0)]) -> Brought:
    """Return the log inactivation of Giardia from the CT achieved and the CT for 3 log.

    Parameters
    ----------
    ct : CT achieved. [g*s/m^3]
    ct_for_3_log : CT for 3 log (CT99.9) of the same water. [g*s/m^3]

    Returns
    -------
    Log inactivation. [log]

    Raises
    ------
    ValueError
        If CT is below 0 or the CT for 3 log not above 0.

    Examples
    --------
    >>> round(log_inactivation_from_ct(20 * 60.0, 137 * 60.0), 3)
    0.438

    References
    ----------
    40 CFR 141.534.
    """
    checks.at_least(ct, 0.0, "ct", "g*s/m^3")
    checks.above(ct_for_3_log, 0.0, "ct_for_3_log", "g*s/m^3")
    return 3 * ct / ct_for_3_log


@worked("Log inactivation of Giardia", method="3 x CT achieved / CT for 3 log by the table", reference=_RULE)
def giardia_inactivation(
    free_chlorine: FreeChlorine,
    contact_time: Stay,
    ph: ContactPH,
    temperature: ContactTemperature,
    table_confirmed: bool = False,
) -> Brought:
    """Return the log inactivation of Giardia cysts in a segment, the table governing.

    Parameters
    ----------
    free_chlorine : free residual at the end of the segment, at most 3.0, as Cl2. [g/m^3]
    contact_time : T10 of the segment. [s]
    ph : pH of the water in contact. [pH]
    temperature : its temperature. [degC]
    table_confirmed : whether a person has compared the table with the regulation.

    Returns
    -------
    Log inactivation. [log]

    Raises
    ------
    ValueError
        If an argument is below 0 or beyond the table.

    Examples
    --------
    >>> round(giardia_inactivation(1.2, 15 * 60.0, 7.5, 15.0), 2)
    0.59

    References
    ----------
    40 CFR 141.534 and 141.74.
    """
    _unconfirmed(table_confirmed)
    ct = ct_achieved(free_chlorine, contact_time)
    found = log_inactivation_from_ct(ct, giardia_ct_3_log(free_chlorine, ph, temperature, table_confirmed))
    if isinstance(found, float) and 6.0 <= ph <= 9.0 and 0.0 <= temperature <= 30.0:
        smooth = 3 * ct / giardia_ct_by_regression.__wrapped__(free_chlorine, ph, temperature)  # type: ignore[attr-defined]
        note(f"By the regression of Smith and others it would be {smooth:.2f} log; the table governs.")
    return found


@worked("Log inactivation of viruses", method="4 x CT achieved / CT for 4 log by the table", reference=_GUIDANCE)
def virus_inactivation(
    free_chlorine: FreeChlorine,
    contact_time: Stay,
    ph: ContactPH,
    temperature: ContactTemperature,
    table_confirmed: bool = False,
) -> Annotated[LogRemoval, Range(0.0, 1e5)]:
    """Return the log inactivation of viruses in a segment, in proportion to the CT for 4 log.

    Parameters
    ----------
    free_chlorine : free residual at the end of the segment, as Cl2. [g/m^3]
    contact_time : T10 of the segment. [s]
    ph : pH of the water in contact, 6 to 10. [pH]
    temperature : its temperature. [degC]
    table_confirmed : whether a person has compared the table with the guidance.

    Returns
    -------
    Log inactivation; beyond 4 log it is a proportion that no table holds. [log]

    Raises
    ------
    ValueError
        If an argument is below 0 or beyond the table.

    Examples
    --------
    >>> round(virus_inactivation(0.5, 10 * 60.0, 7.5, 11.0), 1)
    3.3

    References
    ----------
    EPA guidance 1991, Table E-7 (from memory).
    """
    _unconfirmed(table_confirmed)
    ct = ct_achieved(free_chlorine, contact_time)
    return 4 * ct / virus_ct(ph, temperature, 4.0, table_confirmed)


@worked("Share inactivated", expression="1 - 10**(-log_inactivation)", reference=_DEFINITION)
def share_inactivated(log_inactivation: Annotated[LogRemoval, Range(0.1, 4.0)]) -> Fraction:
    """Return the share of organisms that a log inactivation stands for: 3 log is 99.9 percent.

    Parameters
    ----------
    log_inactivation : log inactivation or removal. [log]

    Returns
    -------
    Share inactivated. [1]

    Raises
    ------
    ValueError
        If the log is below 0.

    Examples
    --------
    >>> share_inactivated(3.0)
    0.999

    References
    ----------
    Definition.
    """
    checks.at_least(log_inactivation, 0.0, "log_inactivation", "log")
    return 1 - 10.0 ** (-log_inactivation)


@worked("Log inactivation from a share", expression="-log10(1 - share)", reference=_DEFINITION)
def log_inactivation_from_share(share: Annotated[Fraction, Range(0.5, 0.9999)]) -> Brought:
    """Return the log inactivation that a share stands for: 99.9 percent is 3 log.

    Parameters
    ----------
    share : share of organisms inactivated or removed, from 0 to below 1. [1]

    Returns
    -------
    Log inactivation. [log]

    Raises
    ------
    ValueError
        If the share is below 0 or not below 1.

    Examples
    --------
    >>> round(log_inactivation_from_share(0.999), 3)
    3.0

    References
    ----------
    Definition.
    """
    checks.require((share >= 0) & (share < 1), share, "share must be from 0 to below 1", "All of it has no logarithm.")
    return -checks.log10(1 - share)


@worked("Ratio of CT achieved to CT required", expression="ct_achieved / ct_required", reference=_RULE)
def inactivation_ratio(ct_achieved: ContactTime, ct_required: ContactTime) -> InactivationRatio:
    """Return the ratio of CT achieved to CT required; over all segments together it must be at least 1.

    Parameters
    ----------
    ct_achieved : CT achieved. [g*s/m^3]
    ct_required : CT required of the same water. [g*s/m^3]

    Returns
    -------
    Ratio. [1]

    Raises
    ------
    ValueError
        If the CT achieved is below 0 or the CT required not above 0.

    Examples
    --------
    >>> round(inactivation_ratio(20 * 60.0, 137 * 60.0), 3)
    0.146

    References
    ----------
    40 CFR 141.74(b)(4) and (c)(3).
    """
    checks.at_least(ct_achieved, 0.0, "ct_achieved", "g*s/m^3")
    checks.above(ct_required, 0.0, "ct_required", "g*s/m^3", "Where the credit covers all of it, no CT is asked.")
    return ct_achieved / ct_required


@worked(
    "CT ratio of one segment", method="T10, CT achieved, CT required by the table, and their ratio", reference=_RULE
)
def ct_ratio(
    free_chlorine: FreeChlorine,
    ph: ContactPH,
    temperature: ContactTemperature,
    volume: Volume,
    flow: Flow,
    baffling_factor: BafflingFactor,
    log_inactivation: Needed,
    organism: Organism,
    table_confirmed: bool = False,
) -> InactivationRatio:
    """Return CT achieved over CT required for one tank or pipe, from its volume, flow and baffling factor.

    Parameters
    ----------
    free_chlorine : free residual at the end of the segment, at most 3.0 for Giardia, as Cl2. [g/m^3]
    ph : pH of the water in contact. [pH]
    temperature : its temperature. [degC]
    volume : water in the tank at the lowest level of the hour. [m^3]
    flow : flow out at the peak of the hour. [m^3/s]
    baffling_factor : factor that the State has assigned. [1]
    log_inactivation : log inactivation needed after the credit for removal. [log]
    organism : giardia or virus.
    table_confirmed : whether a person has compared the tables with print.

    Returns
    -------
    Ratio; at least 1 where the segment alone is enough. [1]

    Raises
    ------
    ValueError
        If an argument is beyond the tables or cannot be, or no inactivation is needed.

    Examples
    --------
    >>> round(ct_ratio(1.1, 7.3, 11.0, 60.0, 0.009464, 0.5, log_inactivation=0.5, organism="giardia"), 2)
    2.54

    References
    ----------
    40 CFR 141.74.
    """
    _unconfirmed(table_confirmed)
    reached = ct_achieved(free_chlorine, t10(volume, flow, baffling_factor))
    needed = ct_required(free_chlorine, ph, temperature, log_inactivation, organism, table_confirmed)
    return inactivation_ratio(reached, needed)


SegmentRatios = Annotated[Sequence[float], Several("1", us="1", si="1", low=0.05, high=2.0)]
SegmentLogs = Annotated[Sequence[float], Several("log", us="log", si="log", low=0.05, high=3.0)]


@worked("Ratios of all segments together", method="sum of the ratios of the segments", reference=_RULE)
def sum_of_ratios(ratios: SegmentRatios) -> InactivationRatio:
    """Return the sum of the ratios of segments in series; at least 1 is asked for.

    Parameters
    ----------
    ratios : CT achieved over CT required of each segment. [1]

    Returns
    -------
    Sum. [1]

    Raises
    ------
    ValueError
        If there is no segment or a ratio is below 0.

    Examples
    --------
    >>> round(sum_of_ratios([6.0 / 112, 14.0 / 104]), 4)
    0.1882

    References
    ----------
    40 CFR 141.534(a)(2).
    """
    return _sum(ratios, "ratios")


@worked("Log inactivation of all segments together", method="sum of the segments", reference=_RULE)
def sum_of_inactivation(inactivations: SegmentLogs) -> Brought:
    """Return the log inactivation of segments in series.

    Parameters
    ----------
    inactivations : log inactivation of each segment. [log]

    Returns
    -------
    Sum. [log]

    Raises
    ------
    ValueError
        If there is no segment or an inactivation is below 0.

    Examples
    --------
    >>> round(sum_of_inactivation([0.1607, 0.4038]), 3)
    0.565

    References
    ----------
    40 CFR 141.534(a)(2).
    """
    return _sum(inactivations, "inactivations")


def _sum(values: Sequence[float], name: str) -> float:
    if not len(values):
        raise ValueError(f"{name} must hold at least one segment; it is empty. Give one figure for each segment.")
    for value in values:
        checks.at_least(float(value), 0.0, name)
    return float(sum(values))


# --- the tables --------------------------------------------------------------------------------------------------


def _rows(name: str) -> list[dict[str, str]]:
    text = files("weirhouse.science").joinpath("data", name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


@functools.lru_cache(maxsize=1)
def _giardia_table() -> tuple[list[float], list[float], list[float], Any]:
    """Return temperatures, pH, residuals and the CT [mg min/L] of each cell."""
    rows = _rows("ct_giardia_free_chlorine.csv")
    axes = [sorted({float(row[name]) for row in rows}) for name in ("temperature_c", "ph", "free_chlorine_mg_l")]
    cells = np.full([len(axis) for axis in axes], np.nan)
    for row in rows:
        place = (float(row["temperature_c"]), float(row["ph"]), float(row["free_chlorine_mg_l"]))
        cells[tuple(axis.index(v) for axis, v in zip(axes, place, strict=True))] = float(row["ct_mg_min_l"])
    return axes[0], axes[1], axes[2], cells


@functools.lru_cache(maxsize=1)
def _virus_table() -> tuple[list[float], list[float], Any]:
    """Return temperatures, logs and the CT [mg min/L] of each cell for pH 6 to 9 and for pH 10."""
    rows = _rows("ct_virus_free_chlorine.csv")
    temperatures = sorted({float(row["temperature_c"]) for row in rows})
    logs = sorted({float(row["log_inactivation"]) for row in rows})
    cells = np.full((len(temperatures), len(logs), 2), np.nan)
    for row in rows:
        place = temperatures.index(float(row["temperature_c"])), logs.index(float(row["log_inactivation"]))
        cells[(*place, int(row["ph_band"] == "10"))] = float(row["ct_mg_min_l"])
    return temperatures, logs, cells


@functools.lru_cache(maxsize=1)
def _baffling_table() -> dict[str, float]:
    rows = _rows("baffling_factors.csv")
    return {row["baffling_condition"]: float(row["t10_over_t"]) for row in rows if float(row["t10_over_t"]) > 0}

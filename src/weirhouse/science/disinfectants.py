"""What does another disinfectant than free chlorine ask for? CT of chloramine, chlorine dioxide and ozone; UV dose.

The tables govern, read at the next colder temperature and the next higher log; nothing is read between their cells.
None of this says that water is fit to drink: the State judges that, and it approves the means of disinfection.
"""

import csv
import functools
from importlib.resources import files
from typing import Annotated, Any, Literal

import numpy as np

from weirhouse.science import checks
from weirhouse.science.contact_time import UNCONFIRMED
from weirhouse.science.quantities import PH, ContactTime, LogRemoval, Temperature, UVDose
from weirhouse.working import Range, note, worked

Organism = Literal["giardia", "virus"]
UVOrganism = Literal["cryptosporidium", "giardia", "virus"]
ContactTemperature = Annotated[Temperature, Range(0.0, 30.0)]
ContactPH = Annotated[PH, Range(6.0, 9.0)]
Wanted = Annotated[LogRemoval, Range(0.5, 3.0)]
UVWanted = Annotated[LogRemoval, Range(0.5, 4.0)]
Asked = Annotated[ContactTime, Range(1.0, 240000.0)]

_EDGE = 1e-6  # a value converted from degF or typed as 1.2 stays in its own row
_MINUTE = 60.0
_MILLIJOULE_PER_SQUARE_CENTIMETRE = 10.0  # J/m^2
_GUIDANCE = "EPA guidance to the surface water treatment rule (1991) for the rest, from memory"
_CHLORAMINE = f"40 CFR 141.74 Table 3.1 for 3 log of Giardia; {_GUIDANCE}"
_OXIDANTS = f"40 CFR 141.74 Table 2.1 for 3 log of Giardia; {_GUIDANCE}"
_UV = "EPA table of UV dose (40 CFR 141.720), read on a secondary page that restates it"
_METHOD = "table cell of the next colder temperature and the next higher log"


def _rows(name: str) -> list[dict[str, str]]:
    text = files("weirhouse.science").joinpath("data", name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


@functools.lru_cache(maxsize=8)
def _table(name: str, organism: str) -> tuple[Any, Any, Any]:
    """Return temperatures, logs and the CT [mg min/L] of each cell."""
    rows = [row for row in _rows(name) if row["organism"] == organism]
    temperatures = np.array(sorted({float(row["temperature_c"]) for row in rows}))
    logs = np.array(sorted({float(row["log_inactivation"]) for row in rows}))
    cells = np.full((temperatures.size, logs.size), np.nan)
    for row in rows:
        place = (float(row["temperature_c"]), float(row["log_inactivation"]))
        cells[np.flatnonzero(temperatures == place[0]), np.flatnonzero(logs == place[1])] = float(row["ct_mg_min_l"])
    return temperatures, logs, cells


def _unconfirmed(table_confirmed: bool) -> None:
    if not table_confirmed:
        note(f"{UNCONFIRMED}: compare it with the regulation before you rely on it.")


def _organism(organism: str, known: tuple[str, ...]) -> None:
    if organism not in known:
        raise ValueError(f'organism must be one of {", ".join(known)}; it is "{organism}". Write one of these.')


def _log(log_inactivation: Any, strongest: float) -> None:
    checks.at_least(log_inactivation, 0.0, "log_inactivation", "log")
    checks.within(
        log_inactivation, 0.0, strongest + _EDGE, "log_inactivation", "log",
        f"The table ends at {strongest:g} log: ask the State.",
    )  # fmt: skip


def _ph(ph: Any) -> None:
    checks.within(ph, 6.0 - _EDGE, 9.0 + _EDGE, "ph", "", "The table holds from pH 6 to 9: ask the State.")


def _ct(name: str, organism: str, temperature: Any, log_inactivation: Any, table_confirmed: bool, also: Any) -> Any:
    """Return the CT [g s/m^3] of the strictest neighbouring cell; a gap in anything is a gap in the answer."""
    _organism(organism, ("giardia", "virus"))
    temperatures, logs, cells = _table(name, organism)
    _log(log_inactivation, float(logs[-1]))
    checks.within(temperature, -1.0, 50.0, "temperature", "degC", "Check the unit of the temperature.")
    _unconfirmed(table_confirmed)
    t, wanted, other = np.broadcast_arrays(temperature, log_inactivation, also)
    gap = np.isnan(t) | np.isnan(wanted) | np.isnan(other)
    rows = np.maximum(np.searchsorted(temperatures, np.where(gap, 0.0, t) + _EDGE, side="right") - 1, 0)
    columns = np.searchsorted(logs, np.where(gap, 0.0, wanted) - _EDGE)
    minutes = np.where(gap, np.nan, cells[rows, columns])
    if minutes.ndim:
        return minutes * _MINUTE
    if not gap:
        row = float(temperatures[rows])
        note(
            f"table cell: {row:g} °C ({row * 9 / 5 + 32:g} °F){' or colder' if rows == 0 else ''}, "
            f"{logs[columns]:g} log of {organism}: {float(minutes):g} mg·min/L"
        )
    return float(minutes) * _MINUTE


@worked("CT for chloramine, by the table", method=_METHOD, reference=_CHLORAMINE)
def chloramine_ct(
    organism: Organism, temperature: ContactTemperature, log_inactivation: Wanted, ph: ContactPH = 7.5,
    table_confirmed: bool = False,
) -> Asked:  # fmt: skip
    """Return the CT by which chloramine inactivates Giardia cysts or viruses; for viruses chlorine has to go in first.

    Parameters
    ----------
    organism : giardia to 3 log, or virus to 4 log.
    temperature : temperature of the water in contact. [degC]
    log_inactivation : log inactivation wanted. [log]
    ph : pH of the water in contact, 6 to 9; within that the table is one. [pH]
    table_confirmed : whether a person has compared the table with the regulation and the guidance.

    Returns
    -------
    CT, by the combined residual. [g*s/m^3]

    Raises
    ------
    ValueError
        If log inactivation, pH or temperature is beyond the table.

    Examples
    --------
    >>> chloramine_ct("giardia", 11.0, 0.5) / 60
    310.0

    References
    ----------
    40 CFR 141.74 and EPA guidance 1991 (from memory).
    """
    _ph(ph)
    if organism == "virus":
        note("For viruses the table holds only if chlorine is added before ammonia.")
    return _ct("ct_chloramine.csv", organism, temperature, log_inactivation, table_confirmed, ph)


@worked("CT for chlorine dioxide, by the table", method=_METHOD, reference=_OXIDANTS)
def chlorine_dioxide_ct(
    organism: Organism, temperature: ContactTemperature, log_inactivation: Wanted, ph: ContactPH = 7.5,
    table_confirmed: bool = False,
) -> Asked:  # fmt: skip
    """Return the CT by which chlorine dioxide inactivates Giardia cysts or viruses.

    Parameters
    ----------
    organism : giardia to 3 log, or virus to 4 log.
    temperature : temperature of the water in contact. [degC]
    log_inactivation : log inactivation wanted. [log]
    ph : pH of the water in contact, 6 to 9; within that the table is one. [pH]
    table_confirmed : whether a person has compared the table with the regulation and the guidance.

    Returns
    -------
    CT, by the residual of chlorine dioxide. [g*s/m^3]

    Raises
    ------
    ValueError
        If log inactivation, pH or temperature is beyond the table.

    Examples
    --------
    >>> chlorine_dioxide_ct("giardia", 11.0, 3.0) / 60
    23.0

    References
    ----------
    40 CFR 141.74 and EPA guidance 1991 (from memory).
    """
    _ph(ph)
    return _ct("ct_chlorine_dioxide.csv", organism, temperature, log_inactivation, table_confirmed, ph)


@worked("CT for ozone, by the table", method=_METHOD, reference=_OXIDANTS)
def ozone_ct(
    organism: Organism, temperature: ContactTemperature, log_inactivation: Wanted, table_confirmed: bool = False
) -> Asked:
    """Return the CT by which ozone inactivates Giardia cysts or viruses.

    Parameters
    ----------
    organism : giardia to 3 log, or virus to 4 log.
    temperature : temperature of the water in contact. [degC]
    log_inactivation : log inactivation wanted. [log]
    table_confirmed : whether a person has compared the table with the regulation and the guidance.

    Returns
    -------
    CT, by the residual of ozone. [g*s/m^3]

    Raises
    ------
    ValueError
        If log inactivation or temperature is beyond the table.

    Examples
    --------
    >>> round(ozone_ct("virus", 6.0, 3.0) / 60, 2)
    0.9

    References
    ----------
    40 CFR 141.74 and EPA guidance 1991 (from memory).
    """
    return _ct("ct_ozone.csv", organism, temperature, log_inactivation, table_confirmed, 0.0)


@functools.lru_cache(maxsize=4)
def _uv_table(organism: str) -> tuple[Any, Any]:
    """Return logs and the dose [J/m^2] of each."""
    rows = [row for row in _rows("uv_dose_lt2.csv") if row["organism"] == organism]
    doses = np.array([float(row["uv_dose_mj_cm2"]) for row in rows]) * _MILLIJOULE_PER_SQUARE_CENTIMETRE
    return np.array([float(row["log_credit"]) for row in rows]), doses


@worked("UV dose, by the table", method="table cell of the next higher log", reference=_UV)
def uv_dose(organism: UVOrganism, log_inactivation: UVWanted, table_confirmed: bool = False) -> UVDose:
    """Return the validated ultraviolet dose that earns a log credit for an organism.

    Parameters
    ----------
    organism : cryptosporidium, giardia or virus.
    log_inactivation : log inactivation wanted, at most 4. [log]
    table_confirmed : whether a person has compared the table with the regulation.

    Returns
    -------
    Dose. [J/m^2]

    Raises
    ------
    ValueError
        If the log inactivation is below 0 or beyond the table.

    Examples
    --------
    >>> uv_dose("giardia", 3.0) / 10  # mJ/cm2
    11.0

    References
    ----------
    EPA table of UV dose, on a secondary page.
    """
    _organism(organism, ("cryptosporidium", "giardia", "virus"))
    _log(log_inactivation, 4.0)
    _unconfirmed(table_confirmed)
    note("It counts for a reactor validated at this flow, absorbance and lamp output, and for filtered water.")
    logs, doses = _uv_table(organism)
    wanted = np.asarray(log_inactivation, dtype=float)
    gap = np.isnan(wanted)
    columns = np.searchsorted(logs, np.where(gap, 0.0, wanted) - _EDGE)
    found = np.where(gap, np.nan, doses[columns])
    return found if found.ndim else float(found)


@worked("Log credit of a UV dose", method="greatest log of the table whose dose is reached", reference=_UV)
def uv_log_credit(organism: UVOrganism, uv_dose: UVDose, table_confirmed: bool = False) -> LogRemoval:
    """Return the log credit that a validated ultraviolet dose earns: below the first row none, above the last 4 log.

    Parameters
    ----------
    organism : cryptosporidium, giardia or virus.
    uv_dose : validated dose, all the time that water passes. [J/m^2]
    table_confirmed : whether a person has compared the table with the regulation.

    Returns
    -------
    Log credit, 0 to 4. [log]

    Raises
    ------
    ValueError
        If the dose is below 0.

    Examples
    --------
    >>> uv_log_credit("cryptosporidium", 100.0)  # 10 mJ/cm2
    2.5

    References
    ----------
    EPA table of UV dose, on a secondary page.
    """
    _organism(organism, ("cryptosporidium", "giardia", "virus"))
    checks.at_least(uv_dose, 0.0, "uv_dose", "J/m^2")
    _unconfirmed(table_confirmed)
    logs, doses = _uv_table(organism)
    given = np.asarray(uv_dose, dtype=float)
    reached = np.searchsorted(doses, np.where(np.isnan(given), 0.0, given) * (1 + 1e-9), side="right")
    found = np.where(np.isnan(given), np.nan, np.concatenate([[0.0], logs])[reached])
    return found if found.ndim else float(found)

"""Chloramine, chlorine dioxide, ozone and UV: the tables cell by cell, the conservative look-up, and their ends.

Sources of the cells stand on line 1 of the files in tests/reference; most are from memory and say so.
"""

import math
from pathlib import Path

import numpy as np
import pytest
from tests.reference import FOLDER, rows

from weirhouse.science import disinfectants
from weirhouse.science.contact_time import UNCONFIRMED
from weirhouse.science.disinfectants import chloramine_ct, chlorine_dioxide_ct, ozone_ct, uv_dose, uv_log_credit
from weirhouse.working import formulas, recording

BY_TABLE = {"ct_chloramine": chloramine_ct, "ct_chlorine_dioxide": chlorine_dioxide_ct, "ct_ozone": ozone_ct}
DATA = Path(disinfectants.__file__).parent / "data"
CELLS = [
    (name, r["organism"], float(r["temperature_c"]), float(r["log_inactivation"]), float(r["ct_mg_min_l"]))
    for name in BY_TABLE
    for r in rows(f"{name}.csv")
]
UV = [(r["organism"], float(r["log_credit"]), float(r["uv_dose_mj_cm2"])) for r in rows("uv_dose_lt2.csv")]


def test_all_162_cells_and_24_doses_equal_the_reference_files():
    assert len(CELLS) == 162 and len(UV) == 24
    for name, organism, temperature, log, minutes in CELLS:
        assert BY_TABLE[name](organism, temperature, log) == pytest.approx(minutes * 60, rel=1e-12)
    for organism, log, dose in UV:
        assert uv_dose(organism, log) == pytest.approx(dose * 10, rel=1e-12)
        assert uv_log_credit(organism, dose * 10) == log


@pytest.mark.parametrize("name", [*BY_TABLE, "uv_dose_lt2"])
def test_the_packaged_table_is_the_reference_file_and_the_shared_one(name):
    reference = (FOLDER / f"{name}.csv").read_text(encoding="utf-8").partition("\n")[2]
    packaged = (DATA / f"{name}.csv").read_text(encoding="utf-8")
    assert packaged == reference
    shared = Path(__file__).parents[2] / ".." / "shared" / "reference" / "rules" / f"{name}.csv"
    if shared.exists():
        assert packaged == shared.read_text(encoding="utf-8")


# Thurston-Enriquez and others, Appl. Environ. Microbiol. 71 (2005) 3100, Table 2, quote the guidance
@pytest.mark.parametrize(("temperature", "quoted"), [(5.0, 33.5), (15.0, 16.8)])
def test_chlorine_dioxide_for_4_log_of_viruses_is_near_what_a_paper_quotes(temperature, quoted):
    assert chlorine_dioxide_ct("virus", temperature, 4.0) / 60 == pytest.approx(quoted, rel=0.007)


@pytest.mark.parametrize("name", BY_TABLE)
@pytest.mark.parametrize("organism", ["giardia", "virus"])
def test_colder_water_and_more_logs_never_ask_for_less(name, organism):
    temperatures, logs = np.linspace(0.0, 30.0, 61), np.linspace(0.5, 3.0, 26)
    asked = BY_TABLE[name](organism, temperatures[:, None], logs[None, :])
    assert np.all(np.diff(asked, axis=0) <= 0) and np.all(np.diff(asked, axis=1) >= 0)


@pytest.mark.parametrize(
    ("call", "minutes"),
    [
        (lambda: ozone_ct("giardia", 9.9, 3.0), 1.9),  # the row of 5 degC
        (lambda: ozone_ct("giardia", (50 - 32) * 5 / 9, 3.0), 1.43),  # 50 degF keeps its own row
        (lambda: chloramine_ct("giardia", 0.2, 0.6), 1270.0),  # "1 degC or lower", and the next higher log
        (lambda: chloramine_ct("virus", 40.0, 0.5), 214.0),  # above 25 degC the row of 25, below 2 log that of 2
        (lambda: chlorine_dioxide_ct("giardia", 15.0, 1.2), 10.0),
    ],
)
def test_between_the_cells_the_strictest_neighbour_counts(call, minutes):
    assert call() / 60 == pytest.approx(minutes, rel=1e-12)


def test_a_dose_between_two_rows_earns_the_lower_credit():
    assert uv_log_credit("giardia", 109.0) == 2.5 and uv_log_credit("giardia", 14.0) == 0.0
    assert uv_log_credit("virus", 1e5) == 4.0
    assert uv_dose("virus", 2.1) == pytest.approx(1210.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: chloramine_ct("giardia", 10.0, 3.5), "ends at 3 log: ask the State"),
        (lambda: ozone_ct("virus", 10.0, 4.5), "ends at 4 log: ask the State"),
        (lambda: chlorine_dioxide_ct("virus", 10.0, 3.0, 9.5), "from pH 6 to 9: ask the State"),
        (lambda: ozone_ct("virus", 60.0, 3.0), "Check the unit of the temperature"),
        (lambda: ozone_ct("cryptosporidium", 10.0, 1.0), "organism must be one of giardia, virus"),
        (lambda: uv_dose("giardia", 5.0), "ends at 4 log: ask the State"),
        (lambda: uv_log_credit("giardia", -1.0), "uv_dose must not be below 0"),
    ],
)
def test_beyond_the_tables_it_refuses_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_a_gap_in_the_ph_is_a_gap():
    assert math.isnan(chloramine_ct("giardia", 10.0, 1.0, math.nan))
    found = chloramine_ct("giardia", np.array([10.0, math.nan]), 1.0)
    assert found[0] == pytest.approx(615 * 60) and math.isnan(found[1])


def test_every_one_says_that_its_table_is_not_yet_confirmed():
    calls = {
        "chloramine_ct": lambda flag: chloramine_ct("virus", 10.0, 2.0, table_confirmed=flag),
        "chlorine_dioxide_ct": lambda flag: chlorine_dioxide_ct("virus", 10.0, 2.0, table_confirmed=flag),
        "ozone_ct": lambda flag: ozone_ct("virus", 10.0, 2.0, flag),
        "uv_dose": lambda flag: uv_dose("virus", 2.0, flag),
        "uv_log_credit": lambda flag: uv_log_credit("virus", 1000.0, flag),
    }
    assert set(calls) == {n for n, f in formulas().items() if f.function.__module__ == disinfectants.__name__}
    for call in calls.values():
        with recording() as sheet:
            call(False)
        assert UNCONFIRMED in sheet.text("US") and UNCONFIRMED in sheet.html("SI")
        with recording() as sheet:
            call(True)
        assert UNCONFIRMED not in sheet.text("US")


def test_the_sheet_names_the_cell_and_that_chlorine_goes_in_before_ammonia():
    with recording() as sheet:
        chloramine_ct("virus", 11.0, 3.5)
    text = sheet.text("US")
    assert "table cell: 10 °C (50 °F), 4 log of virus: 1491 mg·min/L" in text
    assert "chlorine is added before ammonia" in text

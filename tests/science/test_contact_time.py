"""Contact time: the tables cell by cell, the regression, published examples, and what lies beyond the tables."""

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.reference import FOLDER, rows

from weirhouse.quantity import factor
from weirhouse.science import contact_time
from weirhouse.science.basins import detention_time
from weirhouse.science.coagulation import specific_uv_absorbance
from weirhouse.science.contact_time import (
    UNCONFIRMED,
    baffling_factor,
    baffling_factor_from_tracer,
    ct_achieved,
    ct_for_log,
    ct_ratio,
    ct_required,
    free_chlorine_counted,
    giardia_ct_3_log,
    giardia_ct_by_power_formula,
    giardia_ct_by_regression,
    giardia_inactivation,
    inactivation_ratio,
    log_inactivation_from_ct,
    log_inactivation_from_share,
    log_inactivation_needed,
    share_inactivated,
    sum_of_inactivation,
    sum_of_ratios,
    t10,
    t10_from_tracer,
    virus_ct,
    virus_inactivation,
)
from weirhouse.science.pipes import pipe_area, pipe_volume, travel_time
from weirhouse.science.statistics import log_removal
from weirhouse.working import recording

MINUTE = 60.0
CELLS = [
    (float(r["free_chlorine_mg_l"]), float(r["ph"]), float(r["temperature_c"]), float(r["ct_mg_min_l"]))
    for r in rows("ct_giardia_free_chlorine.csv")
]
VIRUS = [
    (r["ph_band"], float(r["temperature_c"]), float(r["log_inactivation"]), float(r["ct_mg_min_l"]))
    for r in rows("ct_virus_free_chlorine.csv")
]
DATA = Path(contact_time.__file__).parent / "data"
TABLES = ("ct_giardia_free_chlorine.csv", "ct_virus_free_chlorine.csv", "baffling_factors.csv")


# --- the tables --------------------------------------------------------------------------------------------------


def test_all_588_cells_equal_the_reference_file():
    assert len(CELLS) == 588
    wrong = [cell for cell in CELLS if giardia_ct_3_log(*cell[:3]) != cell[3] * MINUTE]
    assert not wrong
    together = giardia_ct_3_log(*(np.array([cell[i] for cell in CELLS]) for i in range(3)))
    assert np.array_equal(together, np.array([cell[3] for cell in CELLS]) * MINUTE)


@pytest.mark.parametrize(
    ("free_chlorine", "ph", "three_log", "one_log"),
    [(0.4, 6.0, 137, 46), (1.0, 6.0, 148, 49), (2.0, 6.0, 165, 55), (0.4, 7.0, None, 65), (0.4, 8.0, None, 92)],
)
def test_the_cells_seen_in_print_at_0_5_degc_are_met(free_chlorine, ph, three_log, one_log):
    # https://www.water-research.net/watertreatment/chlorinecontact.htm; the 1-log figures are printed as whole numbers
    if three_log is not None:
        assert giardia_ct_3_log(free_chlorine, ph, 0.5) == three_log * MINUTE
    assert ct_required(free_chlorine, ph, 0.5, 1.0, "giardia") / MINUTE == pytest.approx(one_log, abs=0.5)


def test_all_36_cells_for_viruses_equal_the_reference_file():
    assert len(VIRUS) == 36
    for band, temperature, log, minutes in VIRUS:
        for ph in (6.0, 7.5, 9.0) if band == "6-9" else (9.2, 10.0):
            assert virus_ct(ph, temperature, log) == minutes * MINUTE


@pytest.mark.parametrize("name", TABLES)
def test_the_packaged_table_is_the_reference_file(name):
    reference = (FOLDER / name).read_text(encoding="utf-8").partition("\n")[2]
    assert (DATA / name).read_text(encoding="utf-8") == reference


@pytest.mark.parametrize("name", TABLES)
def test_the_reference_file_is_the_shared_one(name):
    shared = Path(__file__).parents[2] / ".." / "shared" / "reference" / "rules" / name
    if not shared.exists():
        pytest.skip("../shared is not there")
    assert (DATA / name).read_text(encoding="utf-8") == shared.read_text(encoding="utf-8")


def test_ct_rises_with_ph_and_cold_and_never_falls_with_chlorine():
    residuals, phs, temperatures = (sorted({cell[i] for cell in CELLS}) for i in range(3))
    cells = giardia_ct_3_log(
        np.array(residuals)[:, None, None], np.array(phs)[None, :, None], np.array(temperatures)[None, None, :]
    )
    assert cells.shape == (14, 7, 6)
    assert np.all(np.diff(cells, axis=1) > 0) and np.all(np.diff(cells, axis=2) < 0)
    assert np.all(np.diff(cells, axis=0) >= 0)


# --- the look-up -------------------------------------------------------------------------------------------------


@given(
    free_chlorine=st.floats(0.01, 3.0), ph=st.floats(5.0, 9.0), temperature=st.floats(0.0, 30.0),
)  # fmt: skip
def test_between_the_cells_the_strictest_neighbour_counts(free_chlorine, ph, temperature):
    found = giardia_ct_3_log(free_chlorine, ph, temperature) / MINUTE
    reached = [
        minutes
        for c, p, t, minutes in CELLS
        if c + 1e-6 >= free_chlorine and p + 1e-6 >= ph and t - 1e-6 <= max(temperature, 0.5)
    ]
    assert found == min(reached)  # of all cells at least as strict in each of the three, the mildest


@pytest.mark.parametrize(
    ("water", "cell"),
    [
        ((1.1, 7.3, 11.0), (1.2, 7.5, 10.0)),
        ((0.1, 5.5, -0.5), (0.4, 6.0, 0.5)),  # below the first row, column and table
        ((0.5, 6.1, 4.9), (0.6, 6.5, 0.5)),
        ((3.0, 9.0, 38.0), (3.0, 9.0, 25.0)),
        ((1.2000000000000002, 7.0, 9.999999999), (1.2, 7.0, 10.0)),  # a last binary digit is no step
    ],
)
def test_the_conservative_lookup_goes_to_colder_higher_ph_more_chlorine(water, cell):
    expected = next(minutes for c, p, t, minutes in CELLS if (c, p, t) == cell)
    assert giardia_ct_3_log(*water) / MINUTE == expected


@pytest.mark.parametrize("fahrenheit", [41, 50, 59, 68, 77])
def test_a_temperature_in_fahrenheit_keeps_its_table(fahrenheit):
    from weirhouse.quantity import convert

    temperature = float(convert(float(fahrenheit), "degF", "degC"))
    assert giardia_ct_3_log(1.0, 7.0, temperature) == giardia_ct_3_log(1.0, 7.0, float(round(temperature)))


def test_half_a_log_is_a_sixth_of_the_table_and_viruses_take_the_next_log():
    assert ct_required(1.2, 7.5, 10.0, 0.5, "giardia") == pytest.approx(giardia_ct_3_log(1.2, 7.5, 10.0) / 6)
    assert ct_required(1.2, 7.5, 10.0, 2.5, "virus") == virus_ct(7.5, 10.0, 3.0)
    assert ct_required(1.2, 7.5, 10.0, 0.5, "virus") == virus_ct(7.5, 10.0, 2.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: giardia_ct_3_log(3.2, 7.0, 10.0), r"from 0 to 3 mg/L; it is 3\.2\. The table ends"),
        (lambda: giardia_ct_3_log(1.0, 9.3, 10.0), r"; it is 9\.3\. The table ends at pH 9: ask the State"),
        (lambda: giardia_ct_3_log(1.0, 7.0, 68.0), r"temperature .* it is 68\. Check the unit"),
        (lambda: virus_ct(10.5, 10.0, 4.0), "holds from pH 6 to 10: ask the State"),
        (lambda: virus_ct(7.0, 10.0, 5.0), "ends at 4 log: ask the State"),
        (lambda: giardia_ct_by_regression(1.0, 5.0, 10.0), "use the table, or ask the State"),
        (lambda: ct_required(1.0, 7.0, 10.0, 3.0, "crypto"), 'organism must be giardia or virus; it is "crypto"'),
        (lambda: t10(100.0, 0.0, 0.5), r"flow must be above 0 m\^3/s"),
        (lambda: t10(100.0, 0.01, 50.0), "assigned; 1 is plug flow"),
        (lambda: inactivation_ratio(100.0, 0.0), "Where the credit covers all of it"),
        (lambda: sum_of_ratios([]), "at least one segment"),
    ],
)  # fmt: skip
def test_beyond_the_tables_it_refuses_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()


# --- the regression ----------------------------------------------------------------------------------------------


def test_the_regression_is_the_independent_one_in_588_cells_and_never_below_the_table():
    checked = rows("ct_giardia_regression_check.csv")
    assert len(checked) == 588
    for row in checked:
        water = float(row["free_chlorine_mg_l"]), float(row["ph"]), float(row["temperature_c"])
        found = giardia_ct_by_regression(*water) / MINUTE
        assert found == pytest.approx(float(row["ct_regression_mg_min_l"]), abs=0.051)
        assert found >= giardia_ct_3_log(*water) / MINUTE * 0.9999


@pytest.mark.parametrize(
    ("water", "ct"), [((0.4, 6.0, 0.5), 125.2), ((1.0, 7.0, 10.0), 112.5), ((1.0, 6.0, 0.5), 143.7)]
)
def test_the_power_formula_meets_its_check_points(water, ct):
    assert giardia_ct_by_power_formula(*water) / MINUTE == pytest.approx(ct, abs=0.06)  # by an independent script


# --- what the sheet says -----------------------------------------------------------------------------------------

TABLE_RESULTS = {
    "giardia_ct_3_log": lambda flag: giardia_ct_3_log(1.1, 7.3, 11.0, flag),
    "virus_ct": lambda flag: virus_ct(7.3, 11.0, 4.0, flag),
    "ct_required": lambda flag: ct_required(1.1, 7.3, 11.0, 0.5, "giardia", flag),
    "giardia_inactivation": lambda flag: giardia_inactivation(1.1, 3600.0, 7.3, 11.0, flag),
    "virus_inactivation": lambda flag: virus_inactivation(1.1, 3600.0, 7.3, 11.0, flag),
    "ct_ratio": lambda flag: ct_ratio(1.1, 7.3, 11.0, 60.0, 0.0095, 0.5, 0.5, "giardia", flag),
}


@pytest.mark.parametrize("name", TABLE_RESULTS)
def test_every_result_of_a_table_says_that_it_is_not_yet_confirmed(name):
    with recording() as sheet:
        TABLE_RESULTS[name](False)
    assert any(UNCONFIRMED in text for text in sheet.lines[0].notes)
    assert UNCONFIRMED in sheet.text("US") and UNCONFIRMED in sheet.html("SI")
    with recording() as sheet:
        TABLE_RESULTS[name](True)
    assert UNCONFIRMED not in sheet.text("US")


def test_no_formula_that_reads_a_table_is_without_that_flag():
    """Every formula whose result changes when the tables change carries the flag."""
    from weirhouse.working import formulas

    with_flag = {n for n, f in formulas().items() if any(a.name == "table_confirmed" for a in f.arguments)}
    here = {n for n in with_flag if formulas()[n].function.__module__ == contact_time.__name__}
    assert here == set(TABLE_RESULTS)


def test_the_sheet_names_the_cell_and_shows_the_regression_beside_it():
    with recording() as sheet:
        giardia_inactivation(1.1, 3600.0, 7.3, 11.0)
    text = sheet.text("US")
    assert "table cell: 10 °C (50 °F), pH 7.5, 1.2 mg/L free chlorine: 137 mg·min/L for 3 log" in text
    assert "By the regression of Smith and others it would be" in text and "the table governs" in text


# --- segments ----------------------------------------------------------------------------------------------------


def test_a_ratio_in_one_go_is_the_steps_one_by_one():
    reached = ct_achieved(0.9, t10(60.0, 0.0095, 0.5))
    needed = ct_required(0.9, 7.3, 11.0, 0.5, "giardia")
    assert ct_ratio(0.9, 7.3, 11.0, 60.0, 0.0095, 0.5, 0.5, "giardia") == pytest.approx(reached / needed)


def test_two_halves_of_a_pipe_bring_what_the_whole_brings():
    whole = ct_ratio(0.9, 7.3, 11.0, 20.0, 0.0095, 1.0, 0.5, "giardia")
    half = ct_ratio(0.9, 7.3, 11.0, 10.0, 0.0095, 1.0, 0.5, "giardia")
    assert sum_of_ratios([half, half]) == pytest.approx(whole)
    assert math.isnan(sum_of_inactivation([0.3, math.nan]))


def test_more_than_three_milligrams_count_as_three_and_that_is_cautious():
    assert free_chlorine_counted(3.6) == 3.0 and free_chlorine_counted(0.8) == 0.8
    for ph in (6.0, 7.5, 9.0):
        for temperature in (0.5, 10.0, 25.0):
            # by the regression, which knows no last row: what 3.6 mg/L brings in a time is more than what 3.0 brings
            more = 3.6 / giardia_ct_by_regression(3.6, ph, temperature)
            assert more > 3.0 / giardia_ct_by_regression(3.0, ph, temperature)


def test_a_tracer_result_follows_flow_and_volume():
    assert t10_from_tracer(5100.0, 0.0088, 72.7, 72.7, 0.0088) == pytest.approx(5100.0)
    assert t10_from_tracer(5100.0, 0.0088, 72.7, 36.35, 0.0044) == pytest.approx(5100.0)
    share = baffling_factor_from_tracer(5100.0, 0.0088, 72.7)
    assert t10(50.0, 0.007, share) == pytest.approx(t10_from_tracer(5100.0, 0.0088, 72.7, 50.0, 0.007))
    with recording() as sheet:
        t10_from_tracer(5100.0, 0.0088, 72.7, 72.7, 0.0110)
    assert "ask the State whether it may be scaled" in sheet.text("US")


@pytest.mark.parametrize("row", rows("baffling_factors.csv"), ids=lambda row: row["baffling_condition"])
def test_baffling_factors_are_those_of_the_table(row):
    if float(row["t10_over_t"]) == 0:
        with pytest.raises(ValueError, match="arrangement must be one of"):
            baffling_factor(row["baffling_condition"])
    else:
        assert baffling_factor(row["baffling_condition"]) == float(row["t10_over_t"])


@pytest.mark.parametrize(("tanks", "share"), [(1, 0.105), (2, 0.266), (3, 0.367), (5, 0.487), (10, 0.622), (20, 0.726)])
def test_the_classes_of_baffling_are_those_of_tanks_in_series(tanks, share):
    # quantiles of the gamma distribution by an independent script; 0.5 is about five tanks, 0.7 about twenty
    from weirhouse.science.residence_time import relative_residence_time

    assert relative_residence_time(0.1, float(tanks)) == pytest.approx(share, abs=6e-4)


@given(st.floats(0.0, 7.0))
def test_logs_and_shares_undo_each_other(log):
    assert log_inactivation_from_share(share_inactivated(log)) == pytest.approx(log, abs=1e-8)


# --- worked examples ---------------------------------------------------------------------------------------------

DOCUMENT = tomllib.loads((FOLDER / "worked_examples_contact_time.toml").read_text(encoding="utf-8"))
EXAMPLES: dict[str, dict[str, Any]] = {e["id"]: e for e in [*DOCUMENT["example"], *DOCUMENT["derived"]]}
GPM, GALLON, FOOT = factor("gpm", "m^3/s"), factor("gal", "m^3"), factor("ft", "m")


def ct(given: dict[str, Any]) -> float:
    return ct_achieved(given["free_chlorine_mg_l"], given["contact_time_min"] * MINUTE) / MINUTE


def credit(given: dict[str, Any]) -> float:
    return log_inactivation_needed(given["required_log"], given["removal_credit_log"])


def by_table(given: dict[str, Any]) -> dict[str, float]:
    time, water = given["t10_min"] * MINUTE, (given["residual_mg_l"], given["ph"], given["temperature_c"])
    return {
        "ct_calc_mg_min_l": ct_achieved(given["residual_mg_l"], time) / MINUTE,
        "ct_99_9_mg_min_l": giardia_ct_3_log(*water) / MINUTE,
        "log_inactivation": giardia_inactivation(given["residual_mg_l"], time, *water[1:]),
    }


def segments(given: dict[str, Any]) -> dict[str, float]:
    pairs = [(s["ct_calc"] * MINUTE, s["ct_99_9"] * MINUTE) for s in given["segments"]]
    return {
        "ratio": sum_of_ratios([inactivation_ratio(*pair) for pair in pairs]),
        "log_inactivation": sum_of_inactivation([log_inactivation_from_ct(*pair) for pair in pairs]),
    }


def from_ct(given: dict[str, Any]) -> dict[str, float]:
    reached, needed = given["ct_calc_mg_min_l"] * MINUTE, given["ct_99_9_mg_min_l"] * MINUTE
    return {"ratio": inactivation_ratio(reached, needed), "log_inactivation": log_inactivation_from_ct(reached, needed)}


def pipe_minutes(given: dict[str, Any]) -> float:
    sizes = given["diameter_ft"] * FOOT, given["length_ft"] * FOOT
    flow = given["flow_gpm"] * GPM
    time = detention_time(pipe_volume(*sizes), flow)
    assert time == pytest.approx(travel_time(*sizes, flow))
    return time / MINUTE


# example: what gives each figure that is expected
ANSWERS: dict[str, Any] = {
    "ct_wa_1": lambda q: {"ct_mg_min_l": ct(q)},
    "ct_wa_2": lambda q: {"ct_mg_min_l": ct(q)},
    "ct_wa_3": lambda q: {"ct_mg_min_l": ct(q)},
    "ct_wa_4": lambda q: {"meets_target": inactivation_ratio(ct(q), q["target_ct_mg_min_l"]) >= 1},
    "credit_conv_giardia": lambda q: {"inactivation_log": credit(q)},
    "credit_conv_virus": lambda q: {"inactivation_log": credit(q)},
    "credit_direct_giardia": lambda q: {"inactivation_log": credit(q)},
    "credit_direct_virus": lambda q: {"inactivation_log": credit(q)},
    "ct_pipe_length": lambda q: {"length_ft": q["length_mile"] * factor("mi", "ft")},
    "ct_pipe_flow": lambda q: {"flow_gpm": q["flow_mgd"] * factor("MGD", "gpm")},
    "ct_pipe_area": lambda q: {"area_ft2_over_pi": pipe_area(q["diameter_ft"] * FOOT) / FOOT**2 / math.pi},
    "log_reduction_580": lambda q: {"log_removal_rounded_down": int(log_removal(q["before_mg_l"], q["after_mg_l"]))},
    "d_ratio_1": from_ct,
    "d_ratio_2": by_table,
    "d_segments": segments,
    "d_half_log": lambda q: {"ct_half_log": ct_for_log(q["ct_99_9_mg_min_l"] * MINUTE, 0.5) / MINUTE},
    "d_t10": lambda q: {
        "t10_min": t10(q["volume_gal"] * GALLON, q["flow_gpm"] * GPM, q["baffling_factor"]) / MINUTE
    },
    "d_pipe": lambda q: {"t_min": pipe_minutes(q)},
    "d_suva": lambda q: {
        "suva_l_mg_m": specific_uv_absorbance(q["uv254_per_cm"] * factor("1/cm", "1/m"), q["doc_mg_l"])
    },
}  # fmt: skip
ROUNDED = {"d_pipe": 2e-6}  # it takes 7.48052 gal to the cubic foot


@pytest.mark.parametrize("example", EXAMPLES.values(), ids=EXAMPLES)
def test_the_worked_example_is_met(example: dict[str, Any]):
    found = ANSWERS[example["id"]](example["inputs"])
    expected = {k: v for k, v in example["expected"].items() if k not in ("rounding",)}
    assert set(found) == set(expected)
    for name, value in expected.items():
        printed = 5e-3 if example["id"] == "ct_pipe_flow" else 6e-7
        assert found[name] == pytest.approx(value, abs=printed, rel=ROUNDED.get(example["id"], 0))


def test_every_example_has_its_answer():
    assert set(ANSWERS) == set(EXAMPLES)

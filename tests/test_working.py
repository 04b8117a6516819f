"""Recorded working: the trail of sources, nesting, and figures that a pencil can follow."""

import ast
import json
import math
import re
from datetime import datetime
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirhouse.quantity import convert, parse
from weirhouse.sheets import last_digit, number, written
from weirhouse.working import Entry, Known, Range, Reading, Result, Unit, formulas, note, recording, worked

Volume = Annotated[Any, Unit("m^3", us="gal", si="m^3", low=0.1, high=100)]
Flow = Annotated[Any, Unit("m^3/s", us="gpm", si="L/s")]
Duration = Annotated[Any, Unit("s", us="min", si="min")]
Dose = Annotated[Any, Unit("g/m^3", us="mg/L", si="mg/L")]
MassRate = Annotated[Any, Unit("kg/s", us="lb/day", si="kg/day")]
Temperature = Annotated[Any, Unit("degC", us="degF", si="degC")]
Plain = Annotated[Any, Unit("1")]


@worked("Detention time", expression="volume / flow", reference="common practice, no source")
def detention(volume: Volume, flow: Flow) -> Duration:
    return volume / flow


@worked("Mass rate", expression="dose * flow / 1000", reference="common practice, no source")
def mass_rate(dose: Dose, flow: Annotated[Flow, Range(0.001, 0.1)]) -> MassRate:
    return dose * flow / 1000


@worked("Decayed dose", expression="dose * exp(-0.05 * temperature)", reference="common practice, no source")
def decayed(dose: Dose, temperature: Temperature) -> Dose:
    return dose * np.exp(-0.05 * temperature)


@worked("Demand", expression="dose - residual", reference="common practice, no source")
def demand(dose: Dose, residual: Dose) -> Dose:
    return dose - residual


@worked("Mass rate after decay", method="the dose left, carried by the flow", reference="common practice, no source")
def outer(dose: Dose, temperature: Temperature, flow: Flow, basis: Literal["product", "Al"]) -> MassRate:
    note(f"dose as {basis}")
    return mass_rate(decayed(dose, temperature), flow)


FLOW = parse("150 gpm", "m^3/s")


def test_without_a_recording_it_is_the_plain_function():
    assert detention(30.0, 0.01) == 3000.0
    assert type(detention(Known(30.0, Entry("x", "30 m3")), 0.01)) is float
    assert detention(np.array([30.0, math.nan]), 0.01)[0] == 3000.0


def test_the_trail_runs_from_the_answer_to_the_reading():
    at = datetime(2026, 10, 31, 7, 30, tzinfo=ZoneInfo("America/New_York"))
    flow = Known(FLOW, Reading("Plant flow", "R. Ames", at))
    volume = Known(parse("12,000 gal", "m^3"), Entry("train.basin.volume", '"12,000 gal"'))
    with recording() as sheet:
        answer = detention(volume, flow)
    assert isinstance(answer, Known)
    assert isinstance(answer.source, Result)
    line = answer.source.line
    assert [i.source for i in line.inputs] == [volume.source, flow.source]
    text = sheet.text("US")
    assert "Detention time = 80.0 min" in text
    assert "12,000 gal ÷ 150 gpm" in text
    assert 'plant file, train.basin.volume = "12,000 gal"' in text
    assert "Plant flow, read 2026-10-31 07:30, R. Ames" in text
    assert "80.0 min" in sheet.text("SI")


def test_steps_below_a_formula_are_kept_below_it_with_their_numbers():
    with recording() as sheet:
        result = outer(2.0, 10.0, FLOW, "Al")
        mass_rate(result * 1e6, FLOW)
    top = sheet.lines[0]
    assert [line.formula.name for line in top.lines] == ["decayed", "mass_rate"]
    assert [line.number for line in top.lines] == ["1.1", "1.2"]
    assert isinstance(top.lines[1].inputs[0].source, Result)
    assert top.notes == ["dose as Al"]
    assert "from decayed dose, line 1.1" in sheet.text("US")


def test_a_line_of_another_sheet_is_not_named_by_a_number_of_this_one():
    with recording() as first:
        dose = decayed(2.0, 10.0)
    with recording() as second:
        mass_rate(dose, FLOW)
    assert isinstance(dose.source, Result)
    assert dose.source.line is first.lines[0]
    for text in (second.text("US"), second.html("US"), json.dumps(second.json("US"))):
        assert "from decayed dose, worked out on a sheet of its own" in text
        assert "from decayed dose, line" not in text


def test_arithmetic_on_a_known_value_drops_its_source():
    assert type(Known(2.0, Entry("x", "2")) * 2) is float


def test_html_escapes_what_people_wrote():
    with recording() as sheet:
        detention(Known(1.0, Entry("x", "<script>alert(1)</script>")), 1.0)
    assert "<script>" not in sheet.html("US")
    assert "&lt;script&gt;" in sheet.html("US")
    assert "style=" not in sheet.html("US")


def test_json_is_plain_data_in_the_plants_units():
    with recording() as sheet:
        detention(math.nan, 1.0)
        outer(2.0, 10.0, FLOW, "product")
    data = json.loads(json.dumps(sheet.json("US"), allow_nan=False))
    assert data["lines"][0]["result"] == {"value": None, "unit": "min"}
    assert data["lines"][1]["inputs"][2]["value"] == pytest.approx(150)
    assert data["lines"][1]["lines"][0]["formula"] == "decayed"


def test_the_trades_constants_are_found_where_units_change():
    with recording() as sheet:
        mass_rate(21.0, parse("140 gpm", "m^3/s"))
    printed = written(sheet.lines[0], "US")
    assert printed.substituted == "21 mg/L × 140 gpm × 8.34 ÷ 694.4"
    assert printed.answer == "35.3 lb/day"


def test_a_declaration_needs_expression_or_method_and_units():
    with pytest.raises(TypeError, match="either expression or method"):
        worked("x", reference="y")
    formula = mass_rate.formula
    assert formula.arguments[1].unit == Unit("m^3/s", us="gpm", si="L/s", low=0.001, high=0.1)
    assert outer.formula.arguments[3].choices == ("product", "Al")
    assert formula.result.display("US") == "lb/day"


def pencil(substituted: str) -> float:
    """Recompute a printed line from its characters alone: units off, signs to operators."""
    text = substituted.replace(",", "")
    text = re.sub(r"(?<=[\d)]) (?:gal|gpm|min|mg/L|lb/day|kg/day|L/s|m³/s|m³|g/m³|°F|°C|%)", "", text)
    for sign, operator in (("×", "*"), ("÷", "/"), ("−", "-"), ("^", "**")):
        text = text.replace(sign, operator)
    assert not re.search(r"[^-+*/().\d\sexp]", text), text
    # the characters were just checked to be arithmetic
    return eval(compile(ast.parse(text, mode="eval"), "", "eval"), {"exp": math.exp})


positive = st.floats(1e-3, 1e3)


@given(st.sampled_from(["US", "SI"]), st.sampled_from([detention, mass_rate, demand, decayed]), positive, positive)
def test_printed_figures_give_the_printed_answer_within_its_last_digit(unit_set, formula, first, second):
    second = second / 1e4 if formula is decayed else second
    with recording() as sheet:
        formula(first, second)
    printed = written(sheet.lines[0], unit_set)
    shown = printed.answer.split(" = ")[0].split(" ")[0]
    assert abs(pencil(printed.substituted) - number(shown)) <= 1.0001 * last_digit(shown)
    # and the printed answer is the true one, rounded
    final = printed.answer.split(" = ")[-1].split(" ")[0]
    unit = sheet.lines[0].formula.result
    truth = convert(float(sheet.lines[0].result), unit.symbol, unit.display(unit_set))
    assert abs(number(final) - truth) <= 0.5001 * last_digit(final)


@pytest.mark.parametrize(
    ("name", "begins"), [("pk1", "pK1 of"), ("pkw", "pKw,"), ("saturation_ph", "pHs,"), ("detention_time", "How long")]
)
def test_a_summary_begins_with_a_capital_unless_with_a_symbol(name: str, begins: str):
    assert formulas()[name].summary.startswith(begins)

"""Text with units: what people write, what is refused, and agreement with a general-purpose unit library."""

import json
import math
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tools import unit_factors

from weirhouse.quantity import QuantityError, convert, factor, figure, fits, label, parse, show
from weirhouse.units import FACTORS

# Exact by definition: NIST Handbook 44 (2024), appendix C: gallon = 231 in3, foot = 0.3048 m, pound = 0.45359237 kg.
GALLON = 231 * 0.0254**3


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("150 gpm", "m^3/s", 150 * GALLON / 60),
        ("4 ft 6 in", "m", 4.5 * 0.3048),
        ("-4 ft 6 in", "m", -4.5 * 0.3048),
        ("1.2 MGD", "m^3/s", 1.2e6 * GALLON / 86400),
        ("22 mg/L", "g/m^3", 22.0),
        ("44 mg/L as CaCO3", "g/m^3", 44.0),
        ("18 percent", "1", 0.18),
        ("18 %", "1", 0.18),
        ("0.18", "1", 0.18),
        ("1,200 gal", "m^3", 1200 * GALLON),
        ("1/8 in", "m", 0.0254 / 8),
        ("3 1/2 in", "m", 3.5 * 0.0254),
        ("2 gpm/ft2", "m/s", 2 * GALLON / 60 / 0.3048**2),
        ("450 gal/day/ft2", "m/s", 450 * GALLON / 86400 / 0.3048**2),
        ("2.735e-5 lb s/ft2", "Pa*s", 2.735e-5 * 0.45359237 * 9.80665 / 0.3048**2),
        ("41 °F", "degC", 5.0),
        ("32 degF", "degC", 0.0),
        ("5 deg C", "degC", 5.0),
        ("90 rpm", "1/s", 1.5),
        ("0.12 1/cm", "1/m", 12.0),
        ("40 mg min/L", "g*s/m^3", 2400.0),
        ("40 mg·min/L", "g*s/m^3", 2400.0),
        ("122 fl oz", "m^3", 122 * GALLON / 128),
        ("0.3 FNU", "NTU", 0.3),
        ("7.4", "pH", 7.4),
        ("150 GPM", "m^3/s", 150 * GALLON / 60),
        ("1.5 hp", "W", 1.5 * 550 * 0.3048 * 0.45359237 * 9.80665),
        ("12 cfs", "m^3/s", 12 * 0.3048**3),
        ("606 mg/mL", "g/m^3", 606000.0),
        ("0.069 W/ft/degF", "W/m/K", 0.069 / 0.3048 * 1.8),
        ("5 ppm", "g/m^3", 5.0),
        ("5 ppm", "1", 5e-6),
        ("3 MPN/100 mL", "MPN/L", 30.0),
    ],
)
def test_reads_what_people_write(text, unit, expected):
    assert parse(text, unit) == pytest.approx(expected, rel=1e-15, abs=1e-18)


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("", "m", "empty"),
        ("abc", "m", "not a number"),
        ("15O gpm", "m^3/s", '"O gpm" is not a unit'),
        ("150", "m^3/s", "no unit"),
        ("150 psi", "m^3/s", '"psi" does not measure this'),
        ("1e400", "1", "not a usable number"),
        ("1e99999999999", "1", "not a usable number"),
        ("nan", "1", "not a number"),
        ("inf", "1", "not a number"),
        ("0,12 mg/L", "g/m^3", "comma"),
        ("12,3456 mg/L", "g/m^3", "comma"),
        ("１２", "1", "not a number"),
        ("1/0 in", "m", "not a usable number"),
        ("6 in 4 ft", "m", "two quantities"),
        ("41 degF 3 degF", "degC", "two quantities"),
        ("5 flurbs", "m", '"flurbs" is not a unit'),
        ("0)", "m", '")" is not a unit'),
        ("1 m^999999999", "m", "is not a unit"),
        ("1 m**9**9", "m", "is not a unit"),
        ("9" * 10_000, "1", "not a usable number"),
    ],
)
def test_refuses_in_one_sentence_that_names_the_field_and_gives_an_example(text, unit, says):
    with pytest.raises(QuantityError) as refusal:
        parse(text, unit, field="Plant flow")
    message = str(refusal.value)
    assert message.startswith("Plant flow")
    assert says in message
    assert 'Write it like "' in message
    assert "\n" not in message
    assert len(message) < 260


@given(st.text(max_size=40) | st.text("0123456789.,/*^-() mgalftNTU%'\"", max_size=30))
def test_no_text_does_anything_but_parse_or_refuse(text):
    try:
        value = parse(text, "m^3/s")
    except QuantityError:
        return
    assert math.isfinite(value)


# Our spelling, and pint's own for the same unit: pint with its default registry is the outside reference.
PAIRS = [
    ("gal", "gallon", "m^3", "m^3"),
    ("gpm", "gallon/minute", "L/s", "L/s"),
    ("gpm/ft2", "gallon/minute/foot^2", "m/h", "m/hour"),
    ("lb/day", "pound/day", "kg/s", "kg/s"),
    ("psi", "psi", "Pa", "Pa"),
    ("hp", "horsepower", "kW", "kW"),
    ("cfs", "foot^3/second", "m^3/h", "m^3/hour"),
    ("cP", "centipoise", "Pa*s", "Pa*s"),
    ("oz", "ounce", "g", "g"),
    ("in", "inch", "mm", "mm"),
]


@given(st.sampled_from(PAIRS), st.floats(1e-6, 1e6))
def test_agrees_with_a_general_purpose_unit_library(pair, value):
    ours, theirs, to_ours, to_theirs = pair
    expected = REGISTRY.Quantity(value, theirs).to(to_theirs).magnitude
    assert convert(value, ours, to_ours) == pytest.approx(expected, rel=1e-12)
    assert convert(convert(value, ours, to_ours), to_ours, ours) == pytest.approx(value, rel=1e-14)


REGISTRY = pint.UnitRegistry()


@given(st.integers(-400, 2000))
def test_whole_degrees_fahrenheit_are_exact(degrees):
    assert parse(f"{degrees} degF", "degC") == float(Fraction(degrees - 32) * 5 / 9)


def test_the_factors_that_stand_ready_are_those_of_the_registry():
    """Stale when a formula got a unit that is new: run ``python -m tools.unit_factors``."""
    assert json.loads(FACTORS.read_text("utf-8")) == unit_factors.table()


def test_a_factor_between_degrees_is_refused():
    with pytest.raises(QuantityError, match="different zeros"):
        factor("degF", "degC")
    assert not fits("degF", "m")


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (12000.4, 3, "12,000"),
        (0.0094635, 3, "0.00946"),
        (999.96, 3, "1,000"),
        (9.996, 3, "10.0"),
        (0.99996, 3, "1.00"),
        (0, 3, "0"),
        (-12.345, 3, "-12.3"),
        (float("nan"), 3, "no value"),
        (float("inf"), 3, "without end"),
        (1.5e-7, 3, "1.50e-7"),
    ],
)
def test_figures_as_printed(value, digits, text):
    assert figure(value, digits) == text


def test_shows_with_the_unit_in_plain_signs():
    assert show(0.0013581944444444444, "m/s", "gpm/ft^2") == "2.00 gpm/ft²"
    assert show(10.0, "degC", "degF") == "50.0 °F"
    assert label("1") == ""
    assert show(7.35, "pH") == "7.35"
    assert show(48.0, "ug/L") == "48.0 µg/L"
    assert show(5e-6, "m", "um") == "5.00 µm"
    assert (label("uS/cm"), label("gpm"), label("mg*min/L")) == ("µS/cm", "gpm", "mg·min/L")
    assert parse("48 µg/L", "ug/L") == 48.0  # what is shown can be typed

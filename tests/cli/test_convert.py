"""A quantity in another unit at the command line: exact factors, plain answers, one line for what cannot be used."""

import json

import pytest
from click.testing import CliRunner

from weirhouse.cli.main import group, main


def run(*arguments: str) -> str:
    done = CliRunner().invoke(group, ["convert", *arguments], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


def fails(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    with pytest.raises(SystemExit) as leave:
        main(["convert", *arguments])
    assert leave.value.code == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    return err


# By definition (NIST Special Publication 811, appendix B, from memory): 1 gal = 231 in3, 1 in = 25.4 mm,
# 1 lb = 0.45359237 kg, t/degF = 1.8 t/degC + 32.
@pytest.mark.parametrize(
    ("quantity", "unit", "value"),
    [
        ("25 gal/day", "mL/min", 25 * 3785.411784 / 1440),
        ("4 ft 6 in", "m", 54 * 0.0254),
        ("41 degF", "degC", 5.0),
        ("-40 degF", "degC", -40.0),
        ("-3 h", "min", -180.0),
        ("1 lb", "g", 453.59237),
        ("18 percent", "1", 0.18),
        ("20 mJ/cm2", "J/m^2", 200.0),
    ],
)
def test_by_the_definitions_of_the_units(quantity, unit, value):
    data = json.loads(run(quantity, unit, "--json"))
    assert data == {"quantity": quantity, "value": pytest.approx(value, rel=1e-14), "unit": unit}


def test_there_and_back_is_the_same():
    there = json.loads(run("2.5 gpm/ft2", "m/h", "--json"))["value"]
    assert json.loads(run(f"{there} m/h", "gpm/ft2", "--json"))["value"] == pytest.approx(2.5, rel=1e-14)


def test_for_people_it_is_one_line():
    assert run("25 gal/day", "mL/min") == "25 gal/day = 65.719 mL/min\n"
    assert run("32 degF", "degC") == "32 degF = 0 °C\n"


@pytest.mark.parametrize(
    ("quantity", "unit", "words"),
    [
        ("25 gal", "mL/min", '"gal" does not measure this'),
        ("25", "mL/min", "has no unit"),
        ("25 flurbs", "mL/min", "not a unit known here"),
        ("25 gal/day", "flurbs", 'unit: "flurbs" is not a unit known here'),
        ("lots", "mL/min", "not a number with a unit"),
        ("1e999 gal", "L", "not a usable number"),
        ("", "L", "quantity is empty"),
    ],
)
def test_what_cannot_be_used_is_one_line(capsys, quantity, unit, words):
    assert words in fails(capsys, quantity, unit)


def test_a_missing_unit_says_where_to_read_more(capsys):
    assert "--help" in fails(capsys, "25 gal/day")

"""Formulas at the command line: answers, lists, and one line for everything that cannot be used."""

import json

import pytest
from click.testing import CliRunner

from weirhouse.cli.main import group, main
from weirhouse.working import formulas


def run(*arguments: str) -> str:
    done = CliRunner().invoke(group, ["work", *arguments], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


def fails(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    with pytest.raises(SystemExit) as leave:
        main(["work", *arguments])
    assert leave.value.code == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    return err


def test_answers_with_the_working():
    text = run("detention_time", "volume=12000 gal", "flow=150 gpm")
    assert text.startswith("Detention time = 80.0 min\n")
    assert "12,000 gal ÷ 150 gpm = 80.0 min" in text


def test_json_holds_the_number_its_unit_and_the_working():
    # 12,000 gal / 150 gpm = 80 min exactly
    data = json.loads(run("detention_time", "volume=12000 gal", "flow=150 gpm", "--json"))
    assert data["value"] == pytest.approx(80.0, rel=1e-12)
    assert data["unit"] == "min"
    assert data["inside"] == {"value": pytest.approx(4800.0), "unit": "s"}
    assert data["working"]["lines"][0]["formula"] == "detention_time"


def test_lists_choices_and_other_units():
    # straight line between the calibration points 25 % at 5.0 and 50 % at 9.8 mL/min, by hand: 25 + 25 * 2.4/4.8 = 37.5
    arguments = ("feed_rate=7.4 mL/min", "settings=10 25 50 percent", "feed_rates=2.1; 5.0 mL/min; 9.8 mL/min")
    data = json.loads(run("pump_setting", *arguments, "--json"))
    assert data["value"] == pytest.approx(37.5)
    assert data["unit"] == "percent"
    assert json.loads(run("detention_time", "volume=3 m3", "flow=1 L/s", "--units", "SI", "--json"))["value"] == 50


def test_finds_the_argument_that_gives_a_result():
    # V = t Q: 80 min at 150 gpm is 12,000 gal
    data = json.loads(run("detention_time", "volume=?", "flow=150 gpm", "detention_time=80 min", "--json"))
    assert data["unknown"] == {"name": "volume", "values": [pytest.approx(12000.0)], "unit": "gal"}
    assert data["working"]["lines"][0]["result"]["value"] == pytest.approx(80)
    assert "volume = 12,000 gal" in run("detention_time", "volume=?", "flow=150 gpm", "detention_time=80 min")


def test_a_stretch_with_one_result_is_told_by_its_ends():
    # 0.5 log of Giardia at 10 degC, pH 7 and 1 mg/L: the table's row for 10 degC holds from there to below 15 degC
    asked = ("free_chlorine=1 mg/L", "ph=7", "log_inactivation=0.5 log", "organism=giardia")
    at_10 = json.loads(run("ct_required", "temperature=10 degC", *asked, "--json"))["value"]
    data = json.loads(
        run("ct_required", "temperature=?", *asked, f"ct_required={at_10} mg min/L", "--units", "SI", "--json")
    )
    values = data["unknown"]["values"]
    assert len(values) == 2
    assert values[0] == pytest.approx(10, abs=0.2)
    assert values[1] == pytest.approx(15, abs=0.2)


def test_the_list_is_complete_and_says_what_a_form_needs():
    listed = {f["name"]: f for f in json.loads(run("--list", "--json"))["formulas"]}
    assert set(listed) == set(formulas())
    for name, formula in formulas().items():
        entry = listed[name]
        assert entry["summary"] and entry["reference"] and entry["result_unit"]
        assert [a["name"] for a in entry["arguments"]] == [a.name for a in formula.arguments]
        for shown, declared in zip(entry["arguments"], formula.arguments, strict=True):
            if declared.unit is not None:
                assert (shown["unit"], shown["low"], shown["high"]) == (
                    declared.unit.symbol,
                    declared.unit.low,
                    declared.unit.high,
                )


@pytest.mark.parametrize(
    ("words", "name"),
    [
        ("pounds per day", "mass_rate"),
        ("detention time", "detention_time"),
        ("how long until the tank is empty", "tank_time_left"),
        ("pump setting", "pump_setting"),
    ],
)
def test_search_by_the_words_people_use(words, name):
    found = [f["name"] for f in json.loads(run(*words.split(), "--list", "--json"))["formulas"]]
    assert name in found[:5]


def test_search_without_an_answer_says_so():
    done = CliRunner().invoke(group, ["work", "--list", "zeppelin"])
    assert done.exit_code == 1
    assert "zeppelin" in done.stderr


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("detention_tim", "volume=1 m3"), "detention_time"),
        (("detention_time", "volume=12000", "flow=150 gpm"), 'volume: "12000" has no unit'),
        (("detention_time", "volume=12OOO gal", "flow=150 gpm"), "12OOO gal"),
        (("detention_time", "volume=12000 psi", "flow=150 gpm"), "does not measure this"),
        (("detention_time", "volume=12000 gal"), "needs flow"),
        (("detention_time", "volume=12000 gal", "flow=0 gpm"), "flow must be"),
        (("detention_time", "volume=12000 gal", "flows=150 gpm"), "Do you mean flow?"),
        (("detention_time", "12000 gal"), "not key=value"),
        (("detention_time", "volume=?", "flow=150 gpm", "detention_time=900 days"), "No volume from"),
        (("detention_time", "volume=?", "flow=?", "detention_time=80 min"), "just one of volume, flow"),
        (("detention_time", "volume=?", "flow=150 gpm"), "give the result as detention_time="),
        (("detention_time", "volume=1 m3", "volume=2 m3"), "twice"),
        (("product_dose", "dose=2 mg/L", "strength=10 percent", "basis=copper"), "none of product, Al2O3, Al, Cl2"),
        (("pump_setting", "feed_rate=5 mL/min", "settings=1 x", "feed_rates=1 mL/min"), "settings"),
    ],
)
def test_what_cannot_be_used_gets_one_line_and_status_2(capsys, arguments, says):
    assert says in fails(capsys, *arguments)


def test_an_unknown_command_gets_one_line(capsys):
    with pytest.raises(SystemExit) as leave:
        main(["tody"])
    assert leave.value.code == 2
    assert capsys.readouterr().err == "weirhouse: No such command 'tody'. See \"weirhouse --help\".\n"


def test_the_caution_of_the_work_stands_below_the_working():
    arguments = ("detention_time", "volume=12000 gal", "flow=150 gpm")
    basin = "A basin or tank is a confined space"
    assert run(*arguments).rstrip().splitlines()[-1].startswith(f"Caution: {basin}")
    assert json.loads(run(*arguments, "--json"))["caution"].startswith(basin)
    assert "Caution: Hypochlorite burns skin and eyes" in run("hypochlorite_volume")
    assert "Caution" not in run("average")

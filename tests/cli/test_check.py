"""weirhouse check: plant file, every unit at the present flow and temperature, records."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from weirhouse.cli.main import group

FOOT, GALLON = 0.3048, 231 * 0.0254**3
LOG = """time,Plant flow (gpm),Raw water temperature (degC)
2026-05-04 07:00,100,12
2026-05-04 08:00,120,14
2026-05-04 09:00,0,15
"""


def run(*arguments: str) -> Result:
    return CliRunner().invoke(group, list(arguments), catch_exceptions=False)


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    folder = tmp_path / "plant"
    assert run("new", str(folder)).exit_code == 0
    return folder


def rewrite(folder: Path, old: str, new: str) -> None:
    file = folder / "plant.toml"
    text = file.read_text("utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), "utf-8")


def answer(folder: Path) -> dict:
    return json.loads(run("check", "--plant", str(folder), "--json").stdout)


def figure(data: dict, stage: str, title: str) -> dict:
    return next(f for f in data["plant"] if (f["stage"], f["title"]) == (stage, title))


def test_a_new_plant_is_in_order_and_says_what_it_stands_on(plant: Path):
    done = run("check", "--plant", str(plant))
    assert done.exit_code == 0
    assert 'plant.design_flow = "150 gpm"' in " ".join(done.stdout.split())
    assert "no temperature is on record" in done.stdout
    assert "hold no reading yet" in done.stdout
    last = done.stdout[done.stdout.rindex("The records are") :]
    assert " ".join(last.split()).endswith(("lies outside its range.", "lie outside their range."))
    data = answer(plant)
    assert data["ok"] is True
    assert data["records"] == {"problems": [], "first": None, "last": None}
    assert set(data["plant"][0]) == {
        "kind", "stage", "title", "text", "value", "unit", "range", "source", "working"
    }  # fmt: skip
    by_hand = 40 * 12 * 8 * FOOT**3 / (150 * GALLON / 60) / 3600
    stay = figure(data, "settling_basin", "Detention time")
    assert (stay["kind"], stay["unit"]) == ("inside", "h")
    assert stay["value"] == pytest.approx(by_hand)
    assert "Wisconsin" in stay["source"]
    assert stay["range"] == "3.00 h or more"
    assert [line["formula"] for line in stay["working"]["lines"]] == ["rectangular_volume", "detention_time"]


def test_a_calibration_long_past_is_due_and_no_fault(plant: Path):
    rewrite(plant, 'date = "2026-04-14"', 'date = "2001-04-14"')
    done = run("check", "--plant", str(plant))
    assert done.exit_code == 0
    assert "Due" in done.stdout.splitlines()
    assert "2001-04-14 is older than a year" in " ".join(done.stdout.split())
    assert answer(plant)["ok"] is True


def test_the_newest_flow_above_zero_and_temperature_are_taken(plant: Path, tmp_path: Path):
    log = tmp_path / "log.csv"
    log.write_text(LOG)
    done = run("import", str(log), "--plant", str(plant), "--json")
    assert done.exit_code == 0, done.output
    told = " ".join(run("check", "--plant", str(plant)).stdout.split())
    assert "Worked at 120 gpm (Plant flow, read 2026-05-04 08:00" in told
    assert "water of 59.0 °F (Raw water temperature, read 2026-05-04 09:00" in told
    data = answer(plant)
    by_hand = 40 * 12 * 8 * FOOT**3 / (120 * GALLON / 60) / 3600
    assert figure(data, "settling_basin", "Detention time")["value"] == pytest.approx(by_hand)
    assert data["records"]["first"] == "2026-05-04T07:00:00-04:00"


def test_what_can_hardly_be_so_leaves_with_1(plant: Path):
    rewrite(plant, 'density = "1650 kg/m3"', 'density = "950 kg/m3"')
    done = run("check", "--plant", str(plant))
    assert done.exit_code == 1
    told = " ".join(done.stdout.split())
    assert "Layer 1, anthracite: its density is not above that of water" in told
    assert told.index("its density is not above") < told.index("Worked at")
    assert "common practice, no source" in told
    assert answer(plant)["ok"] is False


def test_a_figure_outside_its_range_is_no_fault(plant: Path):
    rewrite(plant, 'length = "40 ft"', 'length = "30 ft"')
    data = answer(plant)
    assert data["ok"] is True
    stay = figure(data, "settling_basin", "Detention time")
    assert stay["kind"] == "outside"
    assert "is below 3.00 h" in stay["text"]
    assert run("check", "--plant", str(plant)).exit_code == 0


def test_records_that_were_altered_are_told_first(plant: Path, tmp_path: Path):
    import pysqlite3

    log = tmp_path / "log.csv"
    log.write_text(LOG)
    assert run("import", str(log), "--plant", str(plant)).exit_code == 0
    with pysqlite3.connect(plant / "records.sqlite") as connection:
        tables = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")]
        for trigger in tables:
            connection.execute(f"DROP TRIGGER {trigger}")
        connection.execute("UPDATE entry SET body = replace(body, 'log.csv', 'lag.csv')")
    connection.close()
    done = run("check", "--plant", str(plant))
    assert done.exit_code == 1
    assert done.stdout.index("was altered") < done.stdout.index("Worked at")
    assert any("altered" in problem for problem in answer(plant)["records"]["problems"])


def test_the_working_can_be_asked_for(plant: Path):
    told = run("check", "--plant", str(plant), "--working").stdout
    assert "40 ft × 12 ft × 8 ft" in told


def test_a_damaged_series_file_is_a_problem_and_the_plant_is_checked_still(plant: Path):
    with (plant / "series.sqlite").open("r+b") as file:
        file.write(b"x")
    done = run("check", "--plant", str(plant), "--json")
    assert done.exit_code == 1
    data = json.loads(done.stdout)
    assert any("series.sqlite" in problem for problem in data["records"]["problems"])
    assert figure(data, "settling_basin", "Detention time")["kind"] == "inside"

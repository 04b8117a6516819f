"""A plant folder from nothing: new, check, import, withdraw; and input that cannot be used changes nothing."""

import gzip
import hashlib
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from weirhouse.cli.main import group, main

LOG = "time,raw turbidity (NTU)\n2026-05-04 07:00,3.1\n2026-05-04 07:15,3.3\n2026-05-04 07:30,<0.1\n"


def run(*arguments: str, status: int = 0) -> str:
    done = CliRunner().invoke(group, list(arguments), catch_exceptions=False)
    assert done.exit_code == status, done.output
    return done.stdout


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    with pytest.raises(SystemExit) as leave:
        main(list(arguments))
    out, err = capsys.readouterr()
    assert leave.value.code == 2, err
    assert out == ""
    assert err.count("\n") == 1, err
    return err


def state(folder: Path) -> dict[str, str]:
    files = [p for p in sorted(folder.iterdir()) if p.suffix != ".sqlite-shm" and p.stat().st_size]
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    folder = tmp_path / "plant"
    run("new", str(folder))
    return folder


@pytest.fixture
def log(tmp_path: Path) -> Path:
    file = tmp_path / "log.csv"
    file.write_text(LOG)
    return file


def test_a_new_plant_is_ready_for_work(plant: Path):
    assert sorted(p.name for p in plant.iterdir() if p.suffix in (".toml", ".sqlite")) == [
        "plant.toml",
        "records.sqlite",
        "series.sqlite",
    ]
    data = json.loads(run("today", "--plant", str(plant), "--json"))
    keys = {"raw_water", "plant_flow"}
    assert {line["state"] for line in data["advice"] if line["id"] in keys} == {"unknown"}


def test_new_never_writes_over_a_plant(capsys, plant: Path):
    (plant / "plant.toml").write_text("mine")
    before = state(plant)
    assert "plant.toml" in refused(capsys, "new", str(plant))
    assert state(plant) == before


def test_import_dry_run_twice_and_withdraw(plant: Path, log: Path):
    before = state(plant)
    shown = run("import", str(log), "--plant", str(plant), "--dry-run")
    assert "raw_turbidity" in shown
    assert "2026-05-04" in shown
    assert state(plant) == before
    first = json.loads(run("import", str(log), "--plant", str(plant), "--json"))
    assert (first["rows"], first["stored"], first["already_there"], first["refused"]) == (3, 3, 0, [])
    assert first["channels"] == ["raw_turbidity"]
    again = json.loads(run("import", str(log), "--plant", str(plant), "--json"))
    assert (again["stored"], again["already_there"]) == (0, 3)
    listed = json.loads(run("withdraw", "--plant", str(plant), "--json"))["imports"]
    assert [i["withdrawn"] for i in listed] == [False]
    run("withdraw", listed[0]["import_id"], "--plant", str(plant), "--reason", "wrong logger")
    third = json.loads(run("import", str(log), "--plant", str(plant), "--json"))
    assert third["stored"] == 3


def test_results_as_wqx_has_them_become_samples(plant: Path, tmp_path: Path):
    file = tmp_path / "results.csv"
    file.write_text(
        "ActivityStartDate,ActivityStartTime/Time,MonitoringLocationName,CharacteristicName,ResultMeasureValue,"
        "ResultMeasure/MeasureUnitCode\n2026-05-04,09:00,Mill Lane,Nitrate,0.31,mg/l\n"
    )
    assert "1 results of 1 new samples would be stored" in run(
        "import", str(file), "--plant", str(plant), "--samples", "--dry-run"
    )
    first = json.loads(run("import", str(file), "--plant", str(plant), "--samples", "--json"))
    assert (first["samples"], first["stored"], first["already_there"]) == (1, 1, 0)
    again = json.loads(run("import", str(file), "--plant", str(plant), "--samples", "--json"))
    assert (again["stored"], again["already_there"]) == (0, 1)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (gzip.compress(LOG.encode(), mtime=0)[:40], "log.csv"),
        (b"%PDF-1.7\n%\xe2\xe3", "log.csv"),
        (b"a,b\n1,2\n3,4\n", "log.csv"),
    ],
    ids=["empty", "torn", "another kind", "no stamps"],
)
def test_a_bad_file_is_refused_and_changes_nothing(capsys, plant: Path, log: Path, content: bytes, says: str):
    log.write_bytes(content)
    before = state(plant)
    assert says in refused(capsys, "import", str(log), "--plant", str(plant))
    assert state(plant) == before


def test_a_missing_file_is_one_line(capsys, plant: Path):
    assert "no-such.csv" in refused(capsys, "import", "no-such.csv", "--plant", str(plant))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('design_flow = "150 gpm"', 'design_flow = "15O gpm"', "15O gpm"),
        ('design_flow = "150 gpm"', 'design_flow = "150 psi"', "150 psi"),
        ('design_flow = "150 gpm"', "design_flow = ", "plant.toml"),
        ('time_zone = "America/New_York"', 'time_zone = "America/Emberly"', "America/Emberly"),
    ],
)
def test_a_wrong_plant_file_is_one_line(capsys, plant: Path, old: str, new: str, says: str):
    file = plant / "plant.toml"
    text = file.read_text("utf-8")
    assert old in text
    file.write_text(text.replace(old, new), "utf-8")
    before = state(plant)
    for command in (["today"], ["check"], ["import", "log.csv"], ["serve", "--port", "0"]):
        assert says in refused(capsys, *command, "--plant", str(plant))
    assert state(plant) == before


def test_records_of_a_newer_version_are_left_alone(capsys, plant: Path):
    import pysqlite3

    with pysqlite3.connect(plant / "records.sqlite") as connection:
        connection.execute("PRAGMA user_version = 9999")
    connection.close()
    before = state(plant)
    for command in (["today"], ["check"], ["import", "log.csv"]):
        assert "newer" in refused(capsys, *command, "--plant", str(plant))
    assert state(plant) == before


def test_a_torn_database_is_never_replaced(capsys, plant: Path):
    (plant / "records.sqlite").write_bytes(b"SQLite format 3\x00" + b"torn" * 300)
    before = state(plant)
    assert "records.sqlite" in refused(capsys, "today", "--plant", str(plant))
    assert state(plant) == before


def test_check_names_what_is_outside_the_ranges(demo_folder: Path):
    data = json.loads(run("check", "--plant", str(demo_folder), "--json"))
    assert data["ok"] is True
    assert data["records"]["problems"] == []
    assert any(f["kind"] == "inside" and f["source"] for f in data["plant"])

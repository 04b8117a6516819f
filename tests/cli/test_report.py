"""The report at the command line: three kinds of file, a preview, one sentence for what cannot be."""

import json
from pathlib import Path

from click.testing import CliRunner

from weirhouse.cli.main import COMMANDS, group, main


def run(*arguments: str, status: int = 0) -> tuple[str, str]:
    done = CliRunner().invoke(group, ["report", *arguments], catch_exceptions=False)
    assert done.exit_code == status, done.output
    return done.stdout, done.stderr


def test_three_kinds_of_file_of_the_same_month(demo_folder: Path, tmp_path: Path):
    plant = ["--plant", str(demo_folder)]
    for kind, begins in (("json", b"{"), ("csv", b"\xef\xbb\xbfsection,"), ("pdf", b"%PDF-")):
        out = tmp_path / f"september.{kind}"
        said, told = run("monthly", "2026-09", *plant, "--out", str(out))
        assert out.read_bytes().startswith(begins)
        assert said == "" and told.startswith(f"{out}: September 2026")
    said, _ = run("monthly", "2026-09", *plant, "--json")
    assert json.loads(said) == json.loads((tmp_path / "september.json").read_text("utf-8"))


def test_the_preview_lists_what_is_open(demo_folder: Path):
    plant = ["--plant", str(demo_folder)]
    said, _ = run("monthly", "2026-10", *plant, "--preview", status=1)
    assert "2026-10 ends at midnight before 1 November 2026." in said
    said, _ = run("monthly", "2026-10", *plant, "--preview", "--json", status=1)
    found = json.loads(said)
    assert found["closed"] is False and found["open"][0]["kind"] == "not over"
    run("monthly", "2026-09", *plant, "--preview")  # closed: nothing keeps it open


def test_the_year(demo_folder: Path, tmp_path: Path):
    out = tmp_path / "year.json"
    run("yearly", "2026", "--plant", str(demo_folder), "--out", str(out))
    said = json.loads(out.read_text("utf-8"))
    assert said["months_on_record"] == [f"2026-{m:02d}" for m in range(1, 11)]
    told = {one["what"]: one for one in said["turbidity"]}
    shares = told["lowest monthly percentage within the limit"]
    assert 95.0 <= shares["value"] <= 100.0
    trihalomethanes = next(one for one in said["found"] if one["analyte"] == "Total trihalomethanes")
    assert trihalomethanes["samples"] == 6 and any("80 µg/L" in words for words in trihalomethanes["limits"])
    haloacetic = next(one for one in said["found"] if one["analyte"].startswith("Haloacetic"))
    assert haloacetic["found_in"] < haloacetic["samples"] and haloacetic["mean"] == ""  # never a mean with non-detects
    assert {one["years"] for one in said["keep"]} >= {3, 5, 10}


def test_what_cannot_be_is_said_in_one_line(demo_folder: Path, tmp_path: Path, capsys):
    plant = ["--plant", str(demo_folder)]
    cases = (
        (["monthly", "2026-13", *plant, "--out", str(tmp_path / "a.pdf")], "Write it like 2026-09."),
        (["monthly", "2026-09", *plant, "--out", str(tmp_path / "a.doc")], "ends with neither"),
        (["monthly", "2026-09", *plant, "--out", str(tmp_path / "no" / "a.pdf")], "does not exist. Make it"),
        (["yearly", "2026", *plant, "--out", str(tmp_path / "no" / "a.pdf")], "does not exist. Make it"),
        (["monthly", "2026-09", *plant], "--preview"),
        (["yearly", "26", *plant, "--out", str(tmp_path / "a.pdf")], "1970"),
        (["monthly", "2026-09", "--plant", str(tmp_path), "--out", str(tmp_path / "a.pdf")], "plant.toml"),
    )
    for arguments, words in cases:
        try:
            main(["report", *arguments])
        except SystemExit as leave:
            assert leave.code == 2
        said = capsys.readouterr().err
        assert words in said and said.count("\n") == 1, said
    assert not list(tmp_path.iterdir())
    assert "report" in COMMANDS

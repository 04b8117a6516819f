"""Ahead at the command line: one JSON object and nothing else, on the demo and on a stream that was just imported."""

import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from weirhouse.cli.main import group, main


def ask(*arguments: str) -> str:
    done = CliRunner().invoke(group, ["ahead", *arguments], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


@pytest.fixture(scope="module")
def stream(tmp_path_factory) -> Path:
    """A new plant folder into which one storm of another stream was imported: 15-minute turbidity and nothing else."""
    folder = tmp_path_factory.mktemp("stream") / "plant"
    runner = CliRunner()
    assert runner.invoke(group, ["new", str(folder)]).exit_code == 0
    begin = datetime(2024, 5, 1, tzinfo=UTC)
    hours = np.arange(0, 12 * 24, 0.25)
    rise = np.clip((hours - 200) / 3, 0, 1) * np.exp(-np.clip(hours - 203, 0, None) / 9)
    ntu = 2.5 + 140 * rise + 0.1 * np.sin(hours)
    rows = [f"{begin + timedelta(hours=float(h)):%Y-%m-%dT%H:%M:%SZ},{v:.2f}" for h, v in zip(hours, ntu, strict=True)]
    file = folder.parent / "logger.csv"
    file.write_text("\n".join(["time_utc,raw_turbidity_ntu", *rows]) + "\n")
    done = runner.invoke(group, ["import", str(file), "--plant", str(folder)])
    assert done.exit_code == 0, done.output
    return folder


def test_an_imported_storm_is_foreseen_to_fall(stream):
    """Two hours after its peak of 140 NTU the stream is falling: half of the futures are far lower a day later."""
    text = ask("--plant", str(stream), "--at", "2024-05-09T13:00:00Z", "--hours", "24", "--members", "60", "--json")
    data = json.loads(text)
    raw = data["forecast"]["raw_ntu"]
    assert 60 < raw["p50"][0] < 160
    assert raw["p50"][-1] < 0.4 * raw["p50"][0]
    assert all(a <= b for a, b in zip(raw["p05"], raw["p95"], strict=True))
    assert any("flow of the last day is not recorded" in line for line in data["unknown"])


def test_the_command_in_words_begins_with_the_answer(demo_folder):
    text = ask("--plant", str(demo_folder), "--at", "2025-11-26 23:00", "--hours", "6", "--members", "20")
    lines = [line for line in text.splitlines() if line]
    assert lines[0].startswith("DEMONSTRATION")
    assert lines[2].startswith(("[", "Run as usual")) and "filtered water" in " ".join(lines[2:4])
    assert "What it does not know" in text
    assert "Caution: Public health" in text


def test_weather_that_says_nothing_is_refused_in_one_line(demo_folder, capsys):
    with pytest.raises(SystemExit) as left:
        main(["ahead", "--plant", str(demo_folder), "--at", "2025-11-26 23:00", "--hours", "3", "--weather", "purple"])
    assert left.value.code == 2
    told = capsys.readouterr().err.strip().splitlines()
    assert len(told) == 1 and "does not say what rain" in told[0]


def test_a_plant_without_records_says_what_to_do(tmp_path, capsys):
    assert CliRunner().invoke(group, ["new", str(tmp_path / "p")]).exit_code == 0
    with pytest.raises(SystemExit) as left:
        main(["ahead", "--plant", str(tmp_path / "p"), "--json"])
    assert left.value.code == 2
    assert "No raw turbidity is on record" in capsys.readouterr().err


def test_today_loads_nothing_of_the_simulation():
    code = (
        "import sys, weirhouse.desk.today, weirhouse.situation, weirhouse.cli.today; "
        "print([m for m in sys.modules if m.startswith(('numba', 'weirhouse.twin', 'scipy.stats'))])"
    )
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"
    )

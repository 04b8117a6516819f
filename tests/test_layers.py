"""A room that imports a room above it, or a room that nobody placed, fails the import rules."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [Path(sys.executable).with_name("lint-imports"), "--config", "pyproject.toml", "--no-cache"],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(folder / "src")},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    shutil.copytree(ROOT / "src", tmp_path / "src", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_a_planted_import_of_a_room_above_fails(copy: Path):
    with (copy / "src/weirhouse/science/basins.py").open("a") as module:
        module.write("\nimport weirhouse.web\n")
    done = lint(copy)
    assert done.returncode != 0
    assert "weirhouse.science.basins -> weirhouse.web" in done.stdout


def test_sql_outside_the_records_room_fails(copy: Path):
    with (copy / "src/weirhouse/situation/at.py").open("a") as module:
        module.write("\nimport sqlalchemy\n")
    done = lint(copy)
    assert done.returncode != 0
    assert "weirhouse.situation.at -> sqlalchemy" in done.stdout


def test_a_room_that_nobody_placed_fails(copy: Path):
    (copy / "src/weirhouse/attic.py").write_text('"""What else?"""\n')
    done = lint(copy)
    assert done.returncode != 0
    assert "attic" in done.stdout + done.stderr

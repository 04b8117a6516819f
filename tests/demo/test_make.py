"""The demo's folder comes whole or not at all, and the same seed gives the same year."""

import ast
import json
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from tests.demo.short import short_year

from weirhouse import plant as plants
from weirhouse.demo import SEED, DemoError, is_demo, make, make_demo, scenario
from weirhouse.records.store import Store

ROOT = Path(__file__).parents[2]
DEMO = Path(make.__file__).parent
MAY_IMPORT = {"demo", "plant", "quantity", "records"}
HALF_MADE = "the disk went away"


@pytest.fixture(scope="module")
def plant(demo_folder: Path) -> plants.Plant:
    return plants.load(demo_folder)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the year be an hour long, for the tests that look at the folder alone."""
    monkeypatch.setattr(make, "year", short_year)


def test_same_seed_gives_the_same_year_and_another_seed_another(demo_folder: Path, plant: plants.Plant) -> None:
    def quiet(_done: float, _what: str) -> None: ...

    again, readings, events = make.year(plant, SEED, quiet)
    with Store.open(demo_folder, read_only=True) as store:
        groups = {one.digest for one in store.imports()}
        stored, told = store.readings(), store.events()
    assert groups == {
        make.digest([again[channel] for channel in channels]) for channels in make.instruments.GROUPS.values()
    }
    assert {r.id: r for r in stored} == {r.id: r for r in readings}
    assert {e.id: e for e in told} == {e.id: e for e in events}
    other, other_readings, other_events = make.year(plant, SEED + 1, quiet)
    assert all(make.digest([other[channel]]) != make.digest([again[channel]]) for channel in again)
    assert readings != other_readings
    assert events != other_events


def test_records_are_whole_and_marked_as_a_demo(demo_folder: Path, plant: plants.Plant) -> None:
    assert plant.demo
    assert is_demo(demo_folder)
    assert "invented" in json.loads((demo_folder / make.MARK).read_text())["demo"]
    with Store.open(demo_folder, read_only=True) as store:
        assert store.verify() == []
        first = store.events("note")[0]
        assert "DEMO RECORDS" in first.note
        assert first.started_at == scenario.YEAR_START
        assert all(one.name.startswith("DEMO ") and one.detail["demo"] for one in store.imports())
        people = {r.person for r in store.readings()} | {e.person for e in store.events()}
        assert all("demo" in person for person in people)
        assert store.span() == (scenario.YEAR_START, scenario.YEAR_END)


def test_progress_rises_to_one(tmp_path: Path, quick: None) -> None:
    told: list[float] = []
    make_demo(tmp_path / "plant", progress=lambda done, _what: told.append(done))
    assert told == sorted(told)
    assert told[-1] == 1.0


@pytest.mark.parametrize("stage", ["plant file", "weather", "storing: plant", "storing: readings and day log"])
def test_an_error_midway_leaves_nothing(tmp_path: Path, quick: None, stage: str) -> None:
    def fail(_done: float, what: str) -> None:
        if what == stage:
            raise KeyboardInterrupt(HALF_MADE)

    with pytest.raises(KeyboardInterrupt, match=HALF_MADE):
        make_demo(tmp_path / "plant", progress=fail)
    assert list(tmp_path.iterdir()) == []


def run_in_new_process(lines: str, folder: Path) -> subprocess.CompletedProcess[str]:
    code = (
        "import os, resource, signal, sys\nfrom pathlib import Path\nfrom weirhouse.demo import DemoError, make_demo\n"
    )
    return subprocess.run(
        [sys.executable, "-c", code + lines, str(folder)], capture_output=True, text=True, check=False, timeout=120
    )


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
def test_a_kill_midway_leaves_no_plant_and_the_next_one_is_whole(tmp_path: Path, quick: None) -> None:
    folder = tmp_path / "plant"
    done = run_in_new_process(
        "def kill(done, what):\n"
        "    if what == 'storing: readings and day log': os.kill(os.getpid(), signal.SIGKILL)\n"
        "make_demo(Path(sys.argv[1]), progress=kill)\n",
        folder,
    )
    assert done.returncode == -signal.SIGKILL
    assert not folder.exists()
    assert not is_demo(folder)
    left = list(tmp_path.iterdir())
    assert len(left) == 1 and left[0].name.startswith(".plant.making-")
    make_demo(folder)
    assert is_demo(folder)
    assert left[0].exists()  # it might still have a maker
    os.utime(left[0], (0, 0))
    make_demo(tmp_path / "plant", existing="replace")
    assert [path.name for path in tmp_path.iterdir()] == ["plant"]


@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit on the size of files")
def test_a_full_disk_is_told_in_one_line(tmp_path: Path) -> None:
    """A limit on the size of a file stands for the disk that is full."""
    done = run_in_new_process(
        "resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))\n"
        "try: make_demo(Path(sys.argv[1]))\n"
        "except DemoError as error: print(error); sys.exit(2)\n",
        tmp_path / "plant",
    )
    assert done.returncode == 2, done.stderr
    assert done.stdout.startswith(f"The demo could not be made in {tmp_path / 'plant'}: ")
    assert done.stdout.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_written_is_told_in_one_line(tmp_path: Path, quick: None) -> None:
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(DemoError, match=r"The demo could not be made in .*file.plant") as told:
        make_demo(tmp_path / "file" / "plant")
    assert "\n" not in str(told.value)


def test_a_folder_in_use_is_refused_and_untouched(tmp_path: Path, quick: None) -> None:
    (tmp_path / "plant.toml").write_text("[plant]\n")
    for existing in ("refuse", "keep", "replace"):
        with pytest.raises(DemoError, match="is not empty and holds no demo"):
            make_demo(tmp_path, existing=existing)  # type: ignore[arg-type]
    assert [path.read_text() for path in tmp_path.iterdir()] == ["[plant]\n"]
    with pytest.raises(DemoError, match="is not empty and holds no demo"):
        make_demo(tmp_path / "plant.toml")


def test_the_folder_where_it_runs_is_refused(tmp_path: Path, quick: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DemoError, match="Name a folder inside of it"):
        make_demo(Path())
    make_demo(Path("plant"))
    assert is_demo(tmp_path / "plant")


def test_a_seed_below_zero_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DemoError, match="not -1"):
        make_demo(tmp_path / "plant", seed=-1)
    assert list(tmp_path.iterdir()) == []


def test_an_empty_folder_is_taken(tmp_path: Path, quick: None) -> None:
    make_demo(tmp_path)
    assert is_demo(tmp_path)


def test_an_existing_demo_is_refused_kept_or_replaced_as_told(tmp_path: Path, quick: None) -> None:
    folder = tmp_path / "plant"
    make_demo(folder, seed=1)
    before = (folder / make.MARK).stat().st_mtime_ns
    with pytest.raises(DemoError, match="already holds a demo plant"):
        make_demo(folder, seed=1)
    make_demo(folder, seed=1, existing="keep")
    assert (folder / make.MARK).stat().st_mtime_ns == before
    with pytest.raises(DemoError, match=r"with seed 1, not of version .* with seed 2"):
        make_demo(folder, seed=2, existing="keep")
    make_demo(folder, seed=2, existing="replace")
    with Store.open(folder, read_only=True) as store:
        assert store.values("raw_turbidity").values[-1] == 2
    assert [path.name for path in tmp_path.iterdir()] == ["plant"]


def test_a_replacement_that_fails_leaves_the_old_demo(tmp_path: Path, quick: None) -> None:
    folder = tmp_path / "plant"
    make_demo(folder, seed=1)

    def fail(_done: float, what: str) -> None:
        if what.startswith("storing"):
            raise OSError(28, "No space left on device")

    with pytest.raises(DemoError, match="no space left on device"):
        make_demo(folder, seed=2, existing="replace", progress=fail)
    with Store.open(folder, read_only=True) as store:
        assert store.values("raw_turbidity").values[-1] == 1


def test_half_a_demo_is_no_demo(tmp_path: Path, quick: None) -> None:
    make_demo(tmp_path / "plant")
    (tmp_path / "plant" / "series.sqlite").unlink()
    assert not is_demo(tmp_path / "plant")
    shutil.rmtree(tmp_path / "plant")
    assert not is_demo(tmp_path / "plant")


def test_the_demo_shares_no_code_with_what_it_tests() -> None:
    seen = set()
    for path in DEMO.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                assert node.level == 0
                module = node.module or ""
                names = [f"{module}.{alias.name}" for alias in node.names] if module == "weirhouse" else [module]
            for one in names:
                if one.split(".")[0] == "weirhouse":
                    seen.add(one.split(".")[1])
    assert seen == MAY_IMPORT

"""Today at the command line: the contract of its JSON, the same answer in words, and what it loads."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from weirhouse.cli.main import group, main

KEYS = ["id", "title", "action", "value", "unit", "state", "caution", "working", "age_s", "confidence"]
STATES = {"do_now", "soon", "steady", "unknown"}


def run(*arguments: str) -> str:
    done = CliRunner().invoke(group, ["today", *arguments], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


@pytest.fixture(scope="module")
def data(demo_folder: Path) -> dict:
    return json.loads(run("--plant", str(demo_folder), "--json"))


def test_json_keeps_the_contract(data):
    assert {"plant", "at", "advice"} <= set(data)
    assert data["plant"] == "Emberly"
    assert data["at"].startswith("2026-10-31T15:45")
    assert len({line["id"] for line in data["advice"]}) == len(data["advice"]) >= 15
    for line in data["advice"]:
        assert [key for key in line if key in KEYS] == KEYS
        assert line["state"] in STATES
        if line["state"] == "unknown":
            assert line["value"] is None
        elif line["value"] is not None:
            working = line["working"]  # of what was read and not worked out it says by whom
            assert working["lines"] or working["notes"], f"{line['id']} has a number without working"


def test_the_demo_ends_with_everything_known(data):
    unknown = {line["id"]: line["action"] for line in data["advice"] if line["state"] == "unknown"}
    assert unknown == {}


def test_the_words_say_what_the_data_say(data, demo_folder: Path):
    text = " ".join(run("--plant", str(demo_folder)).split())
    assert "DEMONSTRATION" in text
    for line in data["advice"]:
        assert line["title"] in text
        assert " ".join(line["action"].split()) in text


def test_one_line_is_shown_with_its_working(demo_folder: Path):
    text = run("--plant", str(demo_folder), "--line", "coagulant_setting")
    assert "Reference:" in text
    assert "train.coagulant.calibration" in text


def test_a_time_without_zone_is_the_plants(demo_folder: Path):
    one = json.loads(run("--plant", str(demo_folder), "--at", "2026-06-17 14:05", "--json"))
    other = json.loads(run("--plant", str(demo_folder), "--at", "2026-06-17T18:05:00Z", "--json"))
    assert one == other
    assert one["at"].startswith("2026-06-17T14:05")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--at", "yesterday"], '"yesterday" is not a time'),
        (["--at", "2026-13-40"], "is not a time"),
        (["--at", "2026-03-08 02:30"], "the clock skips that hour"),
        (["--line", "weather"], 'no line "weather"'),
        (["--plant", "nowhere-at-all"], "nowhere-at-all"),
    ],
)
def test_what_cannot_be_used_gets_one_line_and_status_2(capsys, demo_folder: Path, arguments, says):
    given = arguments if "--plant" in arguments else ["--plant", str(demo_folder), *arguments]
    with pytest.raises(SystemExit) as leave:
        main(["today", *given])
    out, err = capsys.readouterr()
    assert leave.value.code == 2
    assert out == ""
    assert err.count("\n") == 1
    assert says in err


def test_today_leaves_heavy_libraries_alone(demo_folder: Path):
    script = (
        "import sys; from weirhouse.cli.main import group\n"
        f"group.main(['today', '--plant', {str(demo_folder)!r}, '--json'], standalone_mode=False)\n"
        "print('\\n'.join(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    loaded = set(done.stderr.split())
    assert "weirhouse.desk.today" in loaded  # it did run
    heavy = (
        "scipy.stats",
        "scipy.optimize",
        "scipy.special",
        "numba",
        "pandas",
        "alembic",
        "starlette",
        "uvicorn",
        "jinja2",
    )
    assert loaded.isdisjoint(heavy)


def test_a_mistyped_rule_pack_does_not_take_today_away(demo_copy: Path):
    (demo_copy / "rules").mkdir(exist_ok=True)
    (demo_copy / "rules" / "state.toml").write_text("[pack\n", "utf-8")
    said = run("--plant", str(demo_copy))
    assert "Take water at" in said or "Keep" in said
    assert "How the month stands cannot be told: rules/state.toml" in " ".join(said.split())
    assert "month so far" not in said

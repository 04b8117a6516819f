"""The rules at the command line: list, show, and record that one was compared with print; a wrong pack in the check."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from tests.rules.planted import LOCAL

from weirhouse.cli.main import group, main
from weirhouse.plant import load
from weirhouse.records.store import Store


def run(*arguments: str) -> str:
    done = CliRunner().invoke(group, [*arguments], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


def fails(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    with pytest.raises(SystemExit) as leave:
        main([*arguments])
    assert leave.value.code == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    return err


def test_the_list_says_what_is_from_memory(demo_folder: Path) -> None:
    text = run("rules", "list", "--plant", str(demo_folder))
    assert "contact_time/giardia_free_chlorine" in text
    assert "not yet compared with print" in text
    data = json.loads(run("rules", "list", "--all", "--plant", str(demo_folder), "--json"))
    assert len(data["rules"]) == 125  # 123 requirements and two tables
    assert {r["provenance"] for r in data["rules"]} == {"source", "memory", "mixed"}


def test_a_rule_is_shown_whole(demo_folder: Path) -> None:
    text = run("rules", "show", "ep_residual_notify", "--plant", str(demo_folder))
    assert "40 CFR 141.75(b)(3)(iii)" in text
    assert "0.3 mg/L by permit EXAMPLE-001" in text
    assert json.loads(run("rules", "show", "cfe_95_small", "--plant", str(demo_folder), "--json"))["limit"] == "0.3 NTU"


def test_confirming_is_recorded_in_the_chain(demo_copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    key = "contact_time/giardia_free_chlorine"
    edition = "40 CFR 141.74, July 2026, printed"
    run("rules", "confirm", key, "--edition", edition, "--person", "K. Hale", "--plant", str(demo_copy))
    with Store.open(demo_copy, read_only=True) as store:
        [event] = store.events("rule_confirmed")
        assert (event.subject, event.values["edition"], event.person) == (key, edition, "K. Hale")
        assert store.verify() == []
    data = json.loads(run("rules", "list", "--plant", str(demo_copy), "--json"))
    one = next(r for r in data["rules"] if r["key"] == key)
    assert one["confirmed"]["edition"] == edition
    assert "There is no rule" in fails(
        capsys, "rules", "confirm", "nonsense", "--edition", "x", "--person", "y", "--plant", str(demo_copy)
    )
    assert "compared with" in fails(
        capsys, "rules", "confirm", key, "--edition", " ", "--person", "y", "--plant", str(demo_copy)
    )


def test_the_check_refuses_a_wrong_pack_with_file_and_line(demo_copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = demo_copy / "rules" / "emberly.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("limit = 0.3", "limit = 0.1"), encoding="utf-8")
    assert "rules/emberly.toml, line 32: 0.1 mg/L is looser than 0.2 mg/L" in fails(
        capsys, "check", "--plant", str(demo_copy)
    )
    assert load(demo_copy).name == "Emberly"  # the plant file itself is in order
    file.write_text(LOCAL.replace('["combined_highest",', '["combined_higest",'), encoding="utf-8")
    assert (
        'rules/emberly.toml, line 42: the report of this plant has no column "combined_higest". Do you mean'
        in fails(capsys, "check", "--plant", str(demo_copy))
    )

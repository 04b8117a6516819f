"""`weirhouse move` takes the demo's year to a server and back; Today says the same there."""

import uuid

import pytest

from weirhouse.cli.main import main
from weirhouse.records.store import Store


def said(capsys, *arguments, status=None):
    with pytest.raises(SystemExit) as left:
        main(arguments)
    assert (left.value.code or None) == status
    told = capsys.readouterr()
    return told.err if status else told.out


def test_a_year_moves_there_and_back_and_today_is_the_same(demo_copy, district, capsys):
    plant, schema = str(demo_copy), f"plant_{uuid.uuid4().hex[:12]}"
    today = said(capsys, "today", "--plant", plant, "--json")
    checked = said(capsys, "check", "--plant", plant)
    told = said(capsys, "move", "--plant", plant, "--to", district, "--schema", schema)
    assert "were copied and verified" in told
    assert f"The old ones stay in {plant} and are used no more." in told
    assert said(capsys, "today", "--plant", plant, "--json") == today
    assert said(capsys, "check", "--plant", plant) == checked
    for name in ("records.sqlite", "series.sqlite"):
        (demo_copy / name).unlink()
    said(capsys, "move", "--plant", plant, "--to", plant)
    assert said(capsys, "today", "--plant", plant, "--json") == today
    with Store.open(demo_copy, read_only=True) as store:
        assert store.verify() == []


def test_a_server_that_does_not_answer_is_told_in_one_line(demo_copy, capsys):
    told = said(
        capsys, "move", "--plant", str(demo_copy), "--to", "postgresql://weirhouse@127.0.0.1:1/none", status=2
    )  # fmt: skip
    assert told.startswith("weirhouse: 127.0.0.1/none, schema emberly")
    assert "does not answer" in told
    assert told.count("\n") == 1
    assert "[records]\n" not in (demo_copy / "plant.toml").read_text()

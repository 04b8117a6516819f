"""A plant is neither begun nor served in a folder that a service keeps in step with another place."""

import shutil

import pytest

from weirhouse.cli.main import main


@pytest.mark.parametrize("command", [["new"], ["demo", "--no-serve", "--dir"], ["serve", "--port", "0", "--plant"]])
def test_a_synced_folder_is_refused_in_one_line_and_nothing_is_left_in_it(command, tmp_path, demo_folder, capsys):
    folder = tmp_path / "Dropbox" / "plant"
    folder.parent.mkdir()
    if command[0] == "serve":
        shutil.copytree(demo_folder, folder, ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    before = sorted(path.name for path in folder.parent.rglob("*"))
    with pytest.raises(SystemExit) as left:
        main([*command, str(folder)])
    assert left.value.code == 2
    told = capsys.readouterr().err
    assert "kept in step with another place: what is stored there can be lost" in told
    assert len(told.strip().splitlines()) == 1
    assert sorted(path.name for path in folder.parent.rglob("*")) == before

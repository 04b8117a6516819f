"""What a disk may hold after a cut: what was synced, always; the rest as it happens; names as their folder was."""

import random

from tests.crash.disk import MODES, Disk, File
from tests.crash.shim import Op


def ops(*some):
    return [Op(letter, name, offset, data) for letter, name, offset, data in some]


def test_what_was_synced_is_there_in_every_mode(tmp_path):
    (tmp_path / "a").write_bytes(b"old")
    disk = Disk(tmp_path)
    name = str(tmp_path / "a")
    for op in ops(("W", name, 0, b"new!"), ("S", name, 0, b""), ("W", name, 4, b"x" * 2000)):
        disk.do(op)
    pick = random.Random(1)
    ends = {mode: disk.after_cut(mode, pick)["a"] for mode in MODES}
    assert all(end.startswith(b"new!") for end in ends.values())
    assert len(ends["none"]) == 4 and len(ends["all"]) == 2004
    torn = {disk.after_cut("torn", pick)["a"] for _ in range(40)}
    assert any(b"x" in end and end.rstrip(b"x")[4:].strip(b"x") for end in torn)  # holes of zeros in between


def test_a_name_is_sure_once_its_folder_was_synced(tmp_path):
    disk = Disk(tmp_path)
    name, folder = str(tmp_path / "a-wal"), str(tmp_path)
    for op in ops(("N", name, 0, b""), ("W", name, 0, b"log"), ("S", name, 0, b"")):
        disk.do(op)
    assert disk.after_cut("none", random.Random(1)) == {}
    disk.do(ops(("D", folder, 0, b""))[0])
    assert disk.after_cut("none", random.Random(1)) == {"a-wal": b"log"}
    disk.do(ops(("U", name, 0, b""))[0])
    assert disk.after_cut("none", random.Random(1)) == {"a-wal": b"log"}
    assert disk.after_cut("all", random.Random(1)) == {}


def test_a_file_of_the_same_name_is_another_file(tmp_path):
    disk = Disk(tmp_path)
    name, folder = str(tmp_path / "a-wal"), str(tmp_path)
    for op in ops(
        ("N", name, 0, b""), ("W", name, 0, b"first"), ("S", name, 0, b""), ("D", folder, 0, b""), ("U", name, 0, b""),
        ("N", name, 0, b""), ("W", name, 0, b"2nd"), ("S", name, 0, b""),
    ):  # fmt: skip
        disk.do(op)
    found = {disk.after_cut("some", random.Random(seed)).get("a-wal") for seed in range(60)}
    assert found == {b"first", None, b"2nd"}


def test_cutting_a_file_off_is_a_change_like_a_write():
    file = File(bytearray(b"0123456789"))
    file.since.append((4, None))
    assert file.after_cut("none", random.Random(1)) == b"0123456789"
    assert file.after_cut("all", random.Random(1)) == b"0123"

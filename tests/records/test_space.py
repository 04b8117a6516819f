"""A disk that fills up is told while something can still be stored on it."""

from collections import namedtuple
from datetime import UTC, datetime
from pathlib import Path

import pytest

from weirhouse.plant import load
from weirhouse.records import backup_run, space

Usage = namedtuple("Usage", "total used free")
GB = 10**9


@pytest.mark.parametrize(
    ("total", "free", "told"),
    [
        (100 * GB, 50 * GB, ""),
        (100 * GB, 9 * GB, "9.0 GB are left (9%)"),
        (2000 * GB, 150 * GB, ""),  # few per cent of a large disk are many years of records
        (16 * GB, 1.9 * GB, "1.9 GB are left (12%)"),
        (16 * GB, 0, "0.0 GB are left (0%)"),
    ],
)
def test_a_disk_that_is_nearly_full_is_told(monkeypatch, tmp_path, total, free, told):
    monkeypatch.setattr(space.shutil, "disk_usage", lambda _: Usage(total, total - free, free))
    said = space.low(tmp_path)
    assert told in said and bool(told) == bool(said)


def test_where_it_cannot_be_told_nothing_is_said():
    assert space.low(Path("/there/is/no/such/folder")) == ""


def test_it_stands_with_the_backups(monkeypatch, demo_folder):
    monkeypatch.setattr(space.shutil, "disk_usage", lambda _: Usage(16 * GB, 15 * GB, GB))
    (first, *_) = backup_run.standing(demo_folder, load(demo_folder), datetime.now(UTC))
    assert first.fault and first.words.startswith("The disk of the records is nearly full: 1.0 GB are left (6%).")

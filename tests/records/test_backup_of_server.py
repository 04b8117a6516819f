"""A plant whose records lie on a server is backed up into files that stand by themselves."""

import uuid
from datetime import timedelta

import pytest
from tests.records.sample import NOW, event, every_minute, put, reading
from tests.records.test_samples import NOT_DETECTED, result, sample

from weirhouse.plant import load
from weirhouse.records import backup, moving, restore
from weirhouse.records.backup_place import Place
from weirhouse.records.place import server_of
from weirhouse.records.store import Store


@pytest.fixture
def plant(tmp_path, demo_folder, district):
    folder = tmp_path / "plant"
    folder.mkdir()
    (folder / "plant.toml").write_bytes((demo_folder / "plant.toml").read_bytes())
    with Store.open(folder, create=True) as store:
        fill(store)
    moving.move(folder, district, f"plant_{uuid.uuid4().hex[:12]}")
    for name in ("records.sqlite", "series.sqlite"):
        (folder / name).unlink()
    return folder


def fill(store):
    one = sample()
    store.add_readings([reading(float(n), n) for n in range(20)], entered_at=NOW)
    store.add_events([event("note", 3)], entered_at=NOW)
    store.add_samples([one], entered_at=NOW, results=[result(one, **NOT_DETECTED)])
    put(store, every_minute(5000), name="a.csv")


def made(folder, place, whole=True, minutes=0):
    return backup.make(folder, place, load(folder), whole=whole, at=NOW + timedelta(minutes=minutes))


def said(folder):
    with Store.open(folder, read_only=True) as store:
        assert store.verify() == []
        values = store.values("raw_turbidity")
        told = store.readings(), store.events(), store.samples(), store.results(), store.imports()
        return *told, values.times.tolist(), values.values.tolist()


def test_it_is_restored_into_a_folder_that_needs_no_server(plant, tmp_path):
    (tmp_path / "place").mkdir()
    path, manifest = made(plant, Place(tmp_path / "place"))
    restore.restore(path, tmp_path / "new")
    assert server_of(plant) is not None
    assert server_of(tmp_path / "new") is None
    assert said(tmp_path / "new") == said(plant)
    assert manifest.counts == {"reading": 20, "event": 1, "sample": 1, "result": 1, "import": 1}
    assert load(tmp_path / "new").name == load(plant).name
    with Store.open(tmp_path / "new") as store:  # and it goes on
        store.add_readings([reading(7.0)], entered_at=NOW)
        assert store.verify() == []
    assert len(said(plant)[0]) == 20


def test_readings_alone_take_the_series_of_the_whole_one_before_them(plant, tmp_path):
    (tmp_path / "place").mkdir()
    made(plant, Place(tmp_path / "place"))
    with Store.open(plant) as store:
        store.add_readings([reading(9.0, 900)], entered_at=NOW)
    path, _ = made(plant, Place(tmp_path / "place"), whole=False, minutes=15)
    assert not (path / "series.sqlite").exists()
    restore.restore(path, tmp_path / "new")
    assert said(tmp_path / "new") == said(plant)

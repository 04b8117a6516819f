"""The files that were brought in, and what is remembered of them, come back from a backup."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.desk.scene import NOW, Scene

from weirhouse import plant as plants
from weirhouse.records import backup, restore
from weirhouse.records.backup_place import Place
from weirhouse.records.importing import import_file, kept
from weirhouse.records.store import Store

LOGGER = b"Date Time,Raw Turbidity (NTU)\n2026-05-01 10:00,3.2\n2026-05-01 10:15,3.3\n"


def test_originals_and_mappings_come_back_whole_and_with_the_records_alone(tmp_path: Path) -> None:
    folder, place = tmp_path / "plant", tmp_path / "stick"
    place.mkdir()
    Scene(folder).build().close()
    plant = plants.load(folder)
    one = kept.keep(folder, "creek, june (2).csv", LOGGER)
    kept.remember(folder, "creek", {"clock": "utc"})
    with Store.open(folder) as store:
        id = import_file(store, plant, one.path, dry_run=False, person="x", entered_at=NOW).import_id
    assert id is not None
    later = datetime.now(UTC)
    for number, whole in enumerate((True, False)):
        made, _ = backup.make(folder, Place(place), plant, whole=whole, at=later + timedelta(minutes=number))
        new = tmp_path / f"new {number}"
        restore.put_back(made, new)
        with Store.open(new, read_only=True) as store:
            assert store.original(id) == LOGGER
        assert kept.remembered(new) == {"creek": {"clock": "utc"}}

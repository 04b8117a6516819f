"""Are the records sound enough to be served? A quick look at the start; `verify` and each backup look at everything."""

from pathlib import Path

from weirhouse.records import files, ledger
from weirhouse.records.engine import LEDGER, SERIES
from weirhouse.records.model import DamagedError
from weirhouse.records.store import Store


def require(folder: Path) -> None:
    """Open the records as for writing, and refuse to go on with damaged ones: DamagedError."""
    with Store.open(folder) as store:
        _look(store)


def _look(store: Store) -> None:
    entries = store._ledger  # the room's own
    path = store.folder / LEDGER.file
    if path.is_file():  # a server looks after its own pages
        told = entries.rows("PRAGMA quick_check(1)")
        if told != [("ok",)]:
            raise DamagedError(f"{path} is damaged ({told[0][0]}). Nothing was changed.", store.folder)
    sequence, end = ledger.head(entries)
    if sequence and ledger.hash_at(entries, sequence) != end:
        raise DamagedError(
            f"{path} does not end where its chain ends: its last entries are missing or were altered.", store.folder
        )
    if (store.folder / SERIES.file).is_file() or ledger.import_ids(entries):
        files.pair_of(store._series())

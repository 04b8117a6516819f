"""Do the records still say what their backups said of them? Each keeps how far the chain went, and where it ended.

Whoever cuts off the last entries, or makes the chain anew from an altered one on, leaves a file that agrees with itself
and not with a backup that was made before.
"""

from pathlib import Path

from weirhouse.records import access_log, files, ledger
from weirhouse.records.backup_name import Manifest, backups, read_name
from weirhouse.records.backup_offer import known_places
from weirhouse.records.store import Store


def contradictions(store: Store) -> list[str]:
    """Return what a backup within reach says otherwise, in a sentence; the one that tells of the earliest entry.

    A backup that was made before these records were restored from an older one may go further than they do.
    """
    entries = store._ledger  # the room's own
    pair = files.pair_of(entries)
    restored = [
        (event.started_at, named[1])
        for event in store.events(access_log.KIND)
        if event.values.get("what") == access_log.RESTORE and (named := read_name(event.note))
    ]
    found: list[tuple[int, Path, Manifest]] = []
    for place in known_places(store.folder):
        for path, said in backups(place):
            left_out = any(said.sequence > kept and said.made_at <= at for at, kept in restored)
            if said.pair != pair or not said.sequence or left_out:
                continue
            if ledger.hash_at(entries, said.sequence) != bytes.fromhex(said.head):
                found.append((said.sequence, path, said))
    if not found:
        return []
    sequence, path, said = min(found, key=lambda one: one[0])
    last, _ = ledger.head(entries)
    what = f"end with entry {last}" if last < sequence else f"say otherwise up to entry {sequence}"
    return [
        f"The records {what}, but the backup of {said.made_at:%Y-%m-%d %H:%M} UTC holds {sequence} entries: some were "
        f"altered or taken away after it was made. Keep both, and compare them: {path}"
    ]

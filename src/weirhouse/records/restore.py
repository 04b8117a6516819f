"""How do records come back from a backup? Into a new folder, tried before they are put there, over nothing at all."""

import os
import shutil
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from weirhouse.records import chunks, files, ledger, verify
from weirhouse.records.backup_name import ALL, MANIFEST, Manifest, backups, digest, is_name, read_manifest
from weirhouse.records.engine import LEDGER, SERIES, Database
from weirhouse.records.model import RecordsError


@dataclass(frozen=True, slots=True)
class Restored:
    """What was restored, and from where."""

    backup: Path
    manifest: Manifest
    folder: Path


def restore(backup: Path, to: Path) -> Restored:
    """Put the records of a backup, or of the newest one in a place, into a new folder.

    Raises
    ------
    RecordsError
        Where the folder holds anything, or the backup is not what it was when it was made. Nothing is there then.
    """
    _require_free(to)
    backup = newest_in(backup)
    manifest = read_manifest(backup)
    to.parent.mkdir(parents=True, exist_ok=True)
    new = to.with_name(f".{to.name}.{uuid.uuid4().hex[:8]}")
    try:
        manifest = put_back(backup, new)
        sync_folder(new)
        if to.exists():
            to.rmdir()  # it is empty
        new.rename(to)
        sync_folder(to.parent)
    except OSError as fault:
        raise RecordsError(
            f"{backup} could not be restored to {to} ({fault.strerror}). Nothing was put there. Mend that, then run it "
            "again."
        ) from fault
    finally:
        shutil.rmtree(new, ignore_errors=True)
    wrong = problems(to, manifest)
    if wrong:
        raise RecordsError(f"What was restored to {to} is not as it was entered: {wrong[0]} Take another backup.")
    return Restored(backup, manifest, to)


def _require_free(to: Path) -> None:
    if to.is_dir() and not any(to.iterdir()):
        return
    if to.exists() or to.is_symlink():
        raise RecordsError(f"{to} is there already, and nothing is written over. Name a folder that is not there yet.")


def newest_in(backup: Path) -> Path:
    """Return the backup itself, or the newest in a place that holds backups of one plant."""
    if is_name(backup.name) or (backup / MANIFEST).exists():
        return backup
    found = list(backups(backup))
    if not found:
        raise RecordsError(f"{backup} holds no backup. Name the folder that backups are written to, or one of them.")
    pairs = {manifest.pair: manifest.plant for _, manifest in found}
    if len(pairs) > 1:
        raise RecordsError(
            f"{backup} holds backups of {', '.join(sorted(pairs.values()))}. Name the folder of one of them in it."
        )
    return max(found, key=lambda one: one[1].order)[0]


def put_back(backup: Path, new: Path) -> Manifest:
    """Copy what a backup holds into a new folder and try it; RecordsError where it is not what was backed up.

    A backup without series takes them from the one that it names.
    """
    manifest = read_manifest(backup)
    new.mkdir(parents=True)
    for name in manifest.files:
        _copy(backup, name, manifest, new)
    if manifest.series_from:
        before = backup.with_name(manifest.series_from)
        try:
            said = read_manifest(before)
        except RecordsError as fault:
            raise RecordsError(
                f"{backup.name} needs the series of {manifest.series_from} beside it. Put it there, or restore a "
                "backup that holds all."
            ) from fault
        _copy(before, SERIES.file, said, new)
    _bring_up_to_date(new)
    wrong = problems(new, manifest)
    if wrong:
        more = f" and {len(wrong) - 1} more faults" if len(wrong) > 1 else ""
        raise RecordsError(f"{backup} is not what was backed up: {wrong[0]}{more} Take another backup.")
    return manifest


def _bring_up_to_date(new: Path) -> None:
    """Bring copies of files that an earlier version wrote up to date; the backup itself stays as it is."""
    for kind in (LEDGER, SERIES):
        path = new / kind.file
        if not path.is_file():
            continue
        with closing(Database(path, kind, read_only=True)) as there:
            version = there.version
        if version < kind.version:
            files.open_at(path, kind, read_only=False).close()
            for kept in new.glob(f"{path.stem}.version-*"):
                kept.unlink()


def _copy(backup: Path, name: str, manifest: Manifest, new: Path) -> None:
    held = manifest.files.get(name)
    target = new / name
    if held is None or is_elsewhere(backup / name, backup):
        raise RecordsError(f"{backup} holds no {name}. Take another backup.")
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(backup / name, target)
    if target.stat().st_size != held.bytes or digest(target) != held.sha256:
        raise RecordsError(f"{backup / name} was altered since it was backed up, or is damaged. Take another backup.")
    sync(target)


def is_elsewhere(path: Path, folder: Path) -> bool:
    """Return whether a file is not there, or a link leads out of its folder."""
    return not path.is_file() or not path.resolve().is_relative_to(folder.resolve())


def problems(folder: Path, manifest: Manifest) -> list[str]:
    """Return how records in a folder differ from what a manifest says, and what is wrong with them."""
    with _opened(folder, manifest) as (entries, series):
        found = differs(entries, manifest)
        found += verify.of_entries(entries) if series is None else verify.problems(entries, lambda: series)
        if series is not None:
            if files.pair_of(series) != manifest.pair:
                found.append(f"{SERIES.file} belongs to other records.")
            if manifest.kind == ALL and chunks.hours_digest(series, ledger.import_ids(entries)) != manifest.hours:
                found.append(f"{SERIES.file} has other hourly figures than were backed up.")
    return found


def differs(entries: Database, manifest: Manifest) -> list[str]:
    """Return how a ledger differs from what a manifest says."""
    found = []
    if files.pair_of(entries) != manifest.pair:
        found.append(f"{LEDGER.file} belongs to other records.")
    if ledger.head(entries) != (manifest.sequence, bytes.fromhex(manifest.head)):
        found.append(f"{LEDGER.file} ends in another entry than {manifest.sequence}.")
    if ledger.counts(entries) != dict(manifest.counts):
        found.append(f"{LEDGER.file} holds other numbers of entries than were backed up.")
    return found


@contextmanager
def _opened(folder: Path, manifest: Manifest) -> Iterator[tuple[Database, Database | None]]:
    entries = files.open_file(folder, LEDGER, read_only=True)
    try:
        there = SERIES.file in manifest.files or manifest.series_from
        series = files.open_file(folder, SERIES, read_only=True) if there else None
        try:
            yield entries, series
        finally:
            if series is not None:
                series.close()
    finally:
        entries.close()


def sync(path: Path) -> None:
    """Bring a file to the disk."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Bring the names in a folder to the disk, where the system can."""
    if hasattr(os, "O_DIRECTORY"):
        opened = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(opened)
        finally:
            os.close(opened)

"""How is a backup made? Under another name, brought to the disk, restored and tried, and only then put in its place.

The readings and events come first, the series after them: an import writes its rows before its entry, so that the rows
of every entry of the copy are in the copy of the series.
"""

import errno
import os
import shutil
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import IO

import msgspec
from pysqlite3 import dbapi2 as driver

from weirhouse.plant.model import Plant
from weirhouse.records import backup_keep, chunks, files, ledger, moving, restore
from weirhouse.records.backup_keep import Kept
from weirhouse.records.backup_name import (
    ALL,
    MANIFEST,
    PART,
    RECORDS,
    TRIED,
    Held,
    Manifest,
    backups,
    digest,
    may_hold,
    shelf,
)  # fmt: skip
from weirhouse.records.backup_place import Place, require
from weirhouse.records.engine import LEDGER, SERIES, WAIT_S, Kind, explained
from weirhouse.records.model import RecordsError
from weirhouse.records.place import PLANT_FILE, server_of

ACCESS = "access.sqlite"
LOCK = ".backup.lock"
PLAIN = ("plant.toml", "DEMO.json")


def make(folder: Path, place: Place, plant: Plant, *, whole: bool, at: datetime) -> tuple[Path, Manifest]:
    """Back up a plant's folder to a place and return the backup, tried; RecordsError where none came of it.

    Of readings and events alone unless `whole`; the series come along all the same when there is no whole backup in
    the place yet, or something was imported since it was made.
    """
    with _one_at_a_time(folder):
        try:
            require(place, folder)
            made = _made(folder, place.path, plant, whole, at)
            prune(made[0].parent, plant)
        except OSError as fault:
            where = place.path
            raise RecordsError(
                f"No backup could be made in {where} ({fault.strerror}). Mend that, then try again."
            ) from fault
    return made


def _made(folder: Path, place: Path, plant: Plant, whole: bool, at: datetime) -> tuple[Path, Manifest]:
    live = files.open_file(folder, LEDGER, read_only=True)
    try:
        pair = files.pair_of(live)
    finally:
        live.close()
    home = shelf(place, plant.name, pair)
    home.mkdir(exist_ok=True)
    _sweep(home)
    part = home / f"{PART}{os.getpid()}-{uuid.uuid4().hex[:8]}"
    tried = home / f"{TRIED}{os.getpid()}-{uuid.uuid4().hex[:8]}"
    try:
        part.mkdir()
        _copy_database(folder, LEDGER, part)
        before = None if whole else _whole_with(home, part)
        if before is None:
            _copy_database(folder, SERIES, part)
        _copy_rest(folder, part)
        manifest = _manifest(part, plant, before, at)
        _write(part / MANIFEST, msgspec.json.format(msgspec.json.encode(manifest), indent=1))
        restore.sync_folder(part)
        restore.put_back(part, tried)
        _compare(folder, tried, manifest)
        final = _free_name(home / manifest.name)
        part.rename(final)
        restore.sync_folder(home)
    finally:
        shutil.rmtree(part, ignore_errors=True)
        shutil.rmtree(tried, ignore_errors=True)
    return final, manifest


def _whole_with(home: Path, part: Path) -> str | None:
    """Return the newest whole backup, unless the copy of the ledger has an import that it has not."""
    entries = files.open_file(part, LEDGER, read_only=True)
    try:
        pair, imports = files.pair_of(entries), len(ledger.import_ids(entries))
    finally:
        entries.close()
    some = [(one, said) for one, said in backups(home) if said.kind == ALL and said.pair == pair]
    if not some:
        return None
    newest, said = max(some, key=lambda one: one[1].order)
    return newest.name if said.counts.get("import", 0) == imports else None


def _copy_database(folder: Path, kind: Kind, part: Path) -> None:
    server = server_of(folder)
    if server is not None:
        moving.copy_database(server, kind, part / kind.file)
        restore.sync(part / kind.file)
        return
    path = folder / kind.file
    if not path.is_file():
        raise RecordsError(f"{path} is not there. Put it back from a backup first.")
    _vacuum(path, part / kind.file)


def _vacuum(path: Path, target: Path) -> None:
    """Write one instant of a database into a new file and bring it to the disk."""
    try:
        connection = driver.connect(
            f"{path.resolve().as_uri()}?mode=rw", uri=True, timeout=WAIT_S, isolation_level=None
        )
        try:
            connection.execute("VACUUM INTO ?", (str(target),))
        finally:
            connection.close()
    except driver.Error as fault:
        if getattr(fault, "sqlite_errorcode", None) == driver.SQLITE_FULL:  # the place: what is copied is only read
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)) from fault
        told = explained(fault, path)
        if told is None:
            raise
        raise told from fault
    restore.sync(target)


def _copy_rest(folder: Path, part: Path) -> None:
    """Copy the plant file, the plant's own rules and mappings, and who may sign in (without who is signed in)."""
    some = [folder / name for name in PLAIN]
    for name in ("rules", "mappings"):
        some += sorted((folder / name).rglob("*")) if (folder / name).is_dir() else []
    for path in some:
        name = path.relative_to(folder).as_posix()
        if path.is_file() and may_hold(name):
            (part / name).parent.mkdir(parents=True, exist_ok=True)
            if name == PLANT_FILE and server_of(folder) is not None:  # a backup stands by itself, in files
                (part / name).write_text(moving.plant_text(folder), encoding="utf-8", newline="")
            else:
                shutil.copyfile(path, part / name)
            restore.sync(part / name)
    if (folder / ACCESS).is_file():
        _vacuum(folder / ACCESS, part / ACCESS)
        _forget_sessions(part / ACCESS)


def _forget_sessions(path: Path) -> None:
    """Take out who is signed in, and every trace of it in the file: a backup lies about for years."""
    connection = driver.connect(str(path), isolation_level=None)
    try:
        names = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        for name in names:
            if name in ("session", "sessions"):
                connection.execute(f'DELETE FROM "{name}"')  # noqa: S608 -- one of the names above
        connection.execute("VACUUM")
    finally:
        connection.close()
    restore.sync(path)


def _manifest(part: Path, plant: Plant, before: str | None, at: datetime) -> Manifest:
    entries = files.open_file(part, LEDGER, read_only=True)
    try:
        sequence, head = ledger.head(entries)
        rows, hours = 0, ""
        if before is None:
            series = files.open_file(part, SERIES, read_only=True)
            try:
                known = ledger.import_ids(entries)
                rows, hours = chunks.rows_of(series, known), chunks.hours_digest(series, known)
            finally:
                series.close()
        return Manifest(
            plant=plant.name, system_id=plant.system_id, pair=files.pair_of(entries),
            kind=ALL if before is None else RECORDS, made_at=at.astimezone(UTC), sequence=sequence, head=head.hex(),
            counts=ledger.counts(entries), last_entered_at=ledger.last_entered(entries), series_from=before or "",
            rows=rows, hours=hours, program=version("weirhouse"), files=dict(_held(part)),
        )  # fmt: skip
    finally:
        entries.close()


def _held(part: Path) -> Iterator[tuple[str, Held]]:
    for path in sorted(part.rglob("*")):
        name = path.relative_to(part).as_posix()
        if path.is_file() and may_hold(name):
            yield name, Held(bytes=path.stat().st_size, sha256=digest(path))


def _write(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    restore.sync(path)


def _compare(folder: Path, tried: Path, manifest: Manifest) -> None:
    """Compare what was restored for a trial with the records as they stand now, which only went on since."""
    live = files.open_file(folder, LEDGER, read_only=True)
    try:
        same = manifest.sequence == 0 or ledger.hash_at(live, manifest.sequence) == bytes.fromhex(manifest.head)
    finally:
        live.close()
    if same and manifest.kind == ALL:
        entries, series = files.open_file(tried, LEDGER, read_only=True), None
        try:
            known = ledger.import_ids(entries)
            series = files.open_file(folder, SERIES, read_only=True)
            same = chunks.hours_digest(series, known) == manifest.hours
        finally:
            entries.close()
            if series is not None:
                series.close()
    if not same:
        raise RecordsError(f"The copy of {folder} does not agree with the records it was made of. It was thrown away.")


def _free_name(path: Path) -> Path:
    found, turn = path, 1
    while found.exists():
        turn += 1
        found = path.with_name(f"{path.name}-{turn}")
    return found


def _sweep(home: Path) -> None:
    """Remove what was left of a backup that was broken off; nobody else is at it, see `_one_at_a_time`."""
    for left in home.iterdir():
        if left.is_dir() and left.name.startswith((PART, TRIED)):
            shutil.rmtree(left, ignore_errors=True)


def prune(home: Path, plant: Plant) -> list[str]:
    """Remove the backups that need not be kept, and return their names."""
    some = [
        Kept(path.name, said.made_at, said.sequence, said.kind == ALL, said.series_from) for path, said in backups(home)
    ]
    keep = backup_keep.to_keep(some, plant.zone)
    gone = [one.name for one in some if one.name not in keep]
    for name in gone:
        away = home / f"{PART}{name}"  # no half of it looks like a backup while it goes
        with suppress(OSError):
            (home / name).rename(away)
            shutil.rmtree(away, ignore_errors=True)
    return gone


@contextmanager
def _one_at_a_time(folder: Path) -> Iterator[None]:
    """Hold the right to back up this plant, where the system can; it takes it back from a program that is killed."""
    try:
        import fcntl
    except ImportError:  # not there on every system: two at once then make two backups
        yield
        return
    lock: IO[bytes] | None = None
    with suppress(PermissionError):  # a folder that may only be read
        lock = (folder / LOCK).open("ab")
    try:
        if lock is not None:
            fcntl.flock(lock, fcntl.LOCK_EX)
        yield
    finally:
        if lock is not None:
            lock.close()

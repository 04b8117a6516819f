"""What is a backup called, and what does it say of itself? A folder of files with a manifest beside them.

The name holds when it was made, how far the chain of entries goes in it and the end of that chain, so that a list of
names alone says what a copy holds, and a name written down on paper contradicts a later change of history.
"""

import hashlib
import re
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath

import msgspec

from weirhouse.records.model import RecordsError

MANIFEST = "manifest.json"
RECORDS, ALL = "records", "all"
PART, TRIED = ".part-", ".try-"  # how the name of a folder begins while it is being made and being tried
_NAME = re.compile(r"^(\d{8}T\d{6}Z)-(records|all)-(\d{9,})-([0-9a-f]{12})(?:-\d+)?$")
_HELD = re.compile(
    r"^(records|series|access)\.sqlite$|^(plant\.toml|DEMO\.json)$|^rules(/[\w.-]+)+$"
    r"|^mappings/\w[\w .,()+-]*$"
)
_STAMP = "%Y%m%dT%H%M%SZ"
BLOCK = 1 << 20


class Held(msgspec.Struct, frozen=True, kw_only=True):
    """A file of a backup."""

    bytes: int
    sha256: str


class Manifest(msgspec.Struct, frozen=True, kw_only=True):
    """What a backup says of itself."""

    format: int = 1
    plant: str
    system_id: str
    pair: str  # the mark that both files of the records share
    kind: str  # "records" or "all"
    made_at: datetime
    sequence: int  # of the last entry
    head: str  # where the chain ends, in hexadecimal
    counts: Mapping[str, int]  # entries by kind
    last_entered_at: datetime | None
    series_from: str = ""  # the backup whose series belong to this one, where it holds none
    rows: int = 0  # values in the series of the imports that it holds
    hours: str = ""  # digest of the hourly figures
    program: str = ""
    files: Mapping[str, Held]

    @property
    def name(self) -> str:
        """What the folder is called."""
        stamp = self.made_at.astimezone(UTC).strftime(_STAMP)
        return f"{stamp}-{self.kind}-{self.sequence:09d}-{self.head[:12]}"

    @property
    def order(self) -> tuple[int, datetime]:
        """By what the newest is known: how far the chain goes, then the clock, which may have been wrong."""
        return self.sequence, self.made_at


def is_name(name: str) -> bool:
    """Return whether a folder's name is that of a backup.

    >>> is_name("20261127T131500Z-records-000012345-0a1b2c3d4e5f"), is_name(".part-20261127T131500Z")
    (True, False)
    """
    return _NAME.match(name) is not None


def read_name(name: str) -> tuple[datetime, int] | None:
    """Return when a backup was made and how far its chain goes, from its name; None where it is none.

    >>> read_name("20261127T131500Z-records-000012345-0a1b2c3d4e5f")[1], read_name("x")
    (12345, None)
    """
    found = _NAME.match(name)
    return found and (datetime.strptime(found[1], _STAMP).replace(tzinfo=UTC), int(found[3]))


def shelf(place: Path, plant: str, pair: str) -> Path:
    """Return the folder that holds the backups of one plant in a place."""
    slug = re.sub(r"[^a-z0-9]+", "-", plant.lower()).strip("-")[:40] or "plant"
    return place / f"{slug}-{pair[:8]}"


def read_manifest(backup: Path) -> Manifest:
    """Return what a backup says of itself; RecordsError where it is none or names what it may not hold."""
    path = backup / MANIFEST
    try:
        found = msgspec.json.decode(path.read_bytes(), type=Manifest)
    except OSError as fault:
        raise RecordsError(
            f"{backup} is no backup of Weirhouse: its {MANIFEST} cannot be read ({fault.strerror}). Name the folder "
            "that a backup was written to."
        ) from fault
    except (msgspec.DecodeError, UnicodeDecodeError) as fault:
        raise RecordsError(f"{path} is damaged ({fault}). Take another backup.") from fault
    for name in found.files:
        if not may_hold(name):
            raise RecordsError(f'{path} names a file "{name[:60]}" that no backup holds. Take another backup.')
    return found


def may_hold(name: str) -> bool:
    """Return whether a backup may hold a file of that name: nothing that leads out of its folder.

    >>> may_hold("records.sqlite"), may_hold("rules/own.toml"), may_hold("rules/../../x"), may_hold("/etc/passwd")
    (True, True, False, False)
    >>> may_hold("mappings/creek (2).toml"), may_hold("mappings/../plant.toml")
    (True, False)
    """
    return _HELD.match(name) is not None and ".." not in PurePosixPath(name).parts


def backups(place: Path) -> Iterator[tuple[Path, Manifest]]:
    """Yield the backups in a place or on one of its shelves, with what they say; what cannot be read is left out."""
    for folder in _folders(place):
        for found in [folder] if is_name(folder.name) else _folders(folder):
            if is_name(found.name):
                try:
                    yield found, read_manifest(found)
                except RecordsError:
                    continue


def _folders(place: Path) -> list[Path]:
    try:
        return sorted(one for one in place.iterdir() if one.is_dir())
    except OSError:
        return []


def digest(path: Path) -> str:
    """Return the SHA-256 of a file."""
    made = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(BLOCK):
            made.update(block)
    return made.hexdigest()

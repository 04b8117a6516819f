"""Where does a file wait that was sent, until it is brought in? In the plant's folder, under the digest of its bytes.

Once it is brought in it is kept with the records (`originals`), and waits here no longer.
"""

import hashlib
import os
import re
import shutil
import time
import tomllib
import zlib
from collections.abc import Mapping as Table
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from weirhouse.records.importing import mapping as mappings
from weirhouse.records.importing.problem import FileProblem, shown

SENT, INBOX, MAPPINGS = "sent", "inbox", "mappings"
MOST_UPLOAD = 50 * 2**20  # [bytes]
MOST_EXPANSION = 10  # of what is sent packed; a file that packs better is sent unpacked
MOST_LISTED = 200
WAITS_S = 30 * 86400.0  # for a file that was looked at to be brought in
_DIGEST = re.compile(r"[0-9a-f]{64}")
_NAME = re.compile(r"[^\w .,()+-]")


@dataclass(frozen=True, slots=True)
class Kept:
    """A file that was sent."""

    digest: str  # SHA-256 of its bytes
    path: Path
    size: int  # [bytes]

    @property
    def name(self) -> str:
        """Its name, as it was sent."""
        return self.path.name


def safe_name(name: str) -> str:
    r"""Return a name under which a file can be kept: no path, no sign that a shell or a spreadsheet would take up.

    >>> safe_name("../../etc/pass\x00wd"), safe_name("C:\\logs\\june.csv"), safe_name(".."), safe_name("=a|b.csv")
    ('passwd', 'june.csv', 'file', '_a_b.csv')
    """
    last = name.replace("\\", "/").rpartition("/")[2]
    bare = _NAME.sub("_", "".join(c for c in last if c.isprintable())).strip(" .")[-120:].lstrip(" .+-")
    return bare or "file"


def keep(folder: Path, name: str, data: bytes) -> Kept:
    """Keep the bytes of a file that was sent and return where; FileProblem where they are refused."""
    name = safe_name(name)
    if not data:
        raise FileProblem(f"{shown(name)} is empty. Export it again.")
    if len(data) > MOST_UPLOAD:
        raise FileProblem(f"{shown(name)} is larger than {MOST_UPLOAD >> 20} MB. Export a shorter time.")
    if data[:2] == b"\x1f\x8b" and _unpacked(data) > MOST_EXPANSION * len(data):
        raise FileProblem(
            f"{shown(name)} would unpack to more than {MOST_EXPANSION} times its size. Unpack it, then send it so."
        )
    _forget_old(folder)
    digest = hashlib.sha256(data).hexdigest()
    there = find(folder, digest)
    if there is not None:
        return there
    place = folder / SENT / digest
    place.mkdir(parents=True, exist_ok=True)
    making = place / f".{os.getpid()}.part"
    with making.open("wb") as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())
    making.rename(place / name)
    return Kept(digest, place / name, len(data))


def done(folder: Path, digest: str) -> None:
    """Let a file go that was brought in: it is kept with the records now."""
    if _DIGEST.fullmatch(digest):
        shutil.rmtree(folder / SENT / digest, ignore_errors=True)


def _forget_old(folder: Path) -> None:
    """Let files go that were looked at long ago and never brought in."""
    place = folder / SENT
    for one in place.iterdir() if place.is_dir() else []:
        if _DIGEST.fullmatch(one.name) and time.time() - one.stat().st_mtime > WAITS_S:
            shutil.rmtree(one, ignore_errors=True)


def _unpacked(data: bytes) -> int:
    """Return how many bytes a packed file gives, counted no further than is needed to refuse it."""
    most, count, rest = MOST_EXPANSION * len(data) + 1, 0, data
    try:
        while rest and count < most:
            unpacker = zlib.decompressobj(wbits=31)
            part = unpacker.decompress(rest, most - count)
            count += len(part)
            if not unpacker.eof:
                break
            rest = unpacker.unused_data
    except zlib.error:
        return count  # damaged: said when it is read
    return count


def find(folder: Path, digest: str) -> Kept | None:
    """Return the file with that digest; FileProblem where its bytes are no longer those that were sent."""
    if not _DIGEST.fullmatch(digest):
        return None
    place = folder / SENT / digest
    found = sorted(p for p in place.glob("*") if p.is_file() and not p.name.startswith(".")) if place.is_dir() else []
    if not found:
        return None
    path = found[0]
    if hashlib.sha256(path.read_bytes()).hexdigest() != digest:
        raise FileProblem(f"The file {shown(path.name)} was changed since it was sent. Send it again.")
    return Kept(digest, path, path.stat().st_size)


def waiting(folder: Path) -> list[tuple[str, int]]:
    """Return the files that lie in the inbox: name, size [bytes]."""
    place = folder / INBOX
    if not place.is_dir():
        return []
    found = sorted(p for p in place.iterdir() if p.is_file() and not p.is_symlink() and not p.name.startswith("."))
    return [(p.name, p.stat().st_size) for p in found[:MOST_LISTED]]


def take(folder: Path, name: str) -> Kept:
    """Keep a file of the inbox, which stays where it lies."""
    if name not in {one for one, _ in waiting(folder)}:
        raise FileProblem(f"{shown(name)} does not lie in the inbox any more. Look at the list again.")
    path = folder / INBOX / name
    if path.stat().st_size > MOST_UPLOAD:
        raise FileProblem(f"{shown(name)} is larger than {MOST_UPLOAD >> 20} MB. Export a shorter time.")
    return keep(folder, name, path.read_bytes())


# --- mappings ----------------------------------------------------------------------------------------------------


def remembered(folder: Path) -> dict[str, Table[str, Any]]:
    """Return the mappings of the plant by name; those that cannot be read are left out."""
    found: dict[str, Table[str, Any]] = {}
    place = folder / MAPPINGS
    for path in sorted(place.glob("*.toml"))[:MOST_LISTED] if place.is_dir() else []:
        try:
            table = tomllib.loads(path.read_text(encoding="utf-8-sig"))
            mappings.of_table(table, path.name)
        except (OSError, ValueError):
            continue
        found[path.stem] = table
    return found


def remember(folder: Path, name: str, table: Table[str, Any]) -> str:
    """Keep a mapping under a name and return it; FileProblem where it cannot be used."""
    mappings.of_table(table, name)
    name = safe_name(name).removesuffix(".toml")[:60] or "mapping"
    place = folder / MAPPINGS
    place.mkdir(exist_ok=True)
    making = place / f".{os.getpid()}.part"
    making.write_text(mappings.written(table), encoding="utf-8")
    making.replace(place / f"{name}.toml")
    return name


def kin(name: str) -> str:
    """Return what the names of one logger's files have in common: without digits, signs and endings.

    >>> kin("raw turb 2026-06.csv"), kin("raw turb 2026-07.csv.gz")
    ('raw turb', 'raw turb')
    """
    bare = re.sub(r"(\.[A-Za-z]{1,4})+$", "", name)
    return " ".join(re.sub(r"[\d_\W]+", " ", bare).split()).casefold()

"""What helps when records are damaged? The newest backup that is whole, and what would be missing from it."""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from weirhouse.plant import load
from weirhouse.plant.problem import PlantError
from weirhouse.records import files
from weirhouse.records.backup_name import Manifest, backups, digest
from weirhouse.records.backup_place import OWN, places
from weirhouse.records.backup_state import read_state
from weirhouse.records.engine import LEDGER, SERIES
from weirhouse.records.model import RecordsError

KEPT = "The damaged file is kept as it is, and no empty one takes its place."


@dataclass(frozen=True, slots=True)
class Offer:
    """A backup, and when the damaged records were last written."""

    backup: Path
    manifest: Manifest
    written_at: datetime | None


def newest(folder: Path) -> Offer | None:
    """Return the newest backup of a plant whose files are as they were when it was tried; None where there is none."""
    pair = _pair(folder)
    name = _name(folder)
    found = [
        (path, said)
        for place in known_places(folder)
        for path, said in backups(place)
        if (said.pair == pair if pair else said.plant == name or not name)
    ]
    for path, said in sorted(found, key=lambda one: one[1].order, reverse=True):
        if all(
            (path / held).is_file() and digest(path / held) == known.sha256 for held, known in said.files.items()
        ):  # fmt: skip
            return Offer(path, said, _written(folder))
    return None


def sentence(folder: Path) -> str:
    """Return what is offered, in words."""
    offer = newest(folder)
    if offer is None:
        return f"{KEPT} No backup of it was found; look for one on other disks and sticks."
    said = offer.manifest
    missing = "Whatever was entered since is not in it"
    if offer.written_at is not None and offer.written_at > said.made_at:
        missing = f"What was entered from then until {offer.written_at:%Y-%m-%d %H:%M} UTC is not in it"
    last = f", its last entry of {said.last_entered_at:%Y-%m-%d %H:%M} UTC" if said.last_entered_at else ""
    return (
        f"{KEPT} The newest verified backup was made {said.made_at:%Y-%m-%d %H:%M} UTC{last}. {missing}. Put it into a "
        f"new folder with: weirhouse restore {offer.backup} --to NEW_FOLDER"
    )


def known_places(folder: Path) -> Iterator[Path]:
    """Yield every place that may hold backups of a plant."""
    seen = set()
    some = [folder / OWN, *(Path(name) for name in read_state(folder).places)]
    with suppress(PlantError, OSError):  # then only what the state and the plant's own folder say is known
        some += [place.path for place in places(folder, load(folder))]
    for path in some:
        if path not in seen:
            seen.add(path)
            yield path


def _pair(folder: Path) -> str:
    """Return the mark of the records, from whichever file can still be read."""
    for kind in (LEDGER, SERIES):
        try:
            opened = files.open_file(folder, kind, read_only=True)
        except RecordsError:
            continue
        try:
            return files.pair_of(opened)
        except RecordsError:
            continue
        finally:
            opened.close()
    return ""


def _name(folder: Path) -> str:
    try:
        return load(folder).name
    except (PlantError, OSError):
        return ""


def _written(folder: Path) -> datetime | None:
    """Return when the records were last written, as far as their files tell."""
    found = []
    for name in (LEDGER.file, f"{LEDGER.file}-wal"):
        try:
            found.append((folder / name).stat().st_mtime)
        except OSError:
            continue
    return datetime.fromtimestamp(max(found), UTC) if found else None

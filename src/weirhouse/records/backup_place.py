"""Where do backups go, and can they go there now?"""

import os
from dataclasses import dataclass
from pathlib import Path

from weirhouse.plant.model import Plant
from weirhouse.records.model import RecordsError

OWN = "backups"  # in the plant's folder, where the plant file names no place


@dataclass(frozen=True, slots=True)
class Place:
    """A place for backups. One that is our own is made at need; any other must be there."""

    path: Path
    removable: bool = False
    own: bool = False


def places(folder: Path, plant: Plant) -> tuple[Place, ...]:
    """Return where the backups of a plant go; a place without a root is looked for in the plant's folder."""
    if not plant.backup:
        return (Place(folder / OWN, own=True),)
    return tuple(Place(folder / Path(one.place).expanduser(), one.removable) for one in plant.backup)


def require(place: Place, folder: Path) -> None:
    """Make a place ready; RecordsError in one sentence where it cannot be written to."""
    if place.own:
        place.path.mkdir(parents=True, exist_ok=True)
    if not place.path.is_dir():
        what = "Plug it in" if place.removable else "Mount it or make the folder"
        raise RecordsError(f"{place.path} is not there. {what}, then run weirhouse backup again.")
    if place.removable and same_disk(place.path, folder):
        raise RecordsError(
            f"{place.path} is on the plant's own disk: what belongs there is not plugged in. Plug it in."
        )
    if not os.access(place.path, os.W_OK):
        raise RecordsError(f"{place.path} may not be written to. Get the right to write there.")


def same_disk(one: Path, other: Path) -> bool:
    """Return whether two folders are on the same file system."""
    return one.stat().st_dev == other.stat().st_dev

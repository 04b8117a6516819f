"""What becomes of one round of backups to every place? Each is tried; what happened is kept on the disk."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from weirhouse.plant.model import Plant
from weirhouse.records import backup, space
from weirhouse.records.backup_name import Manifest
from weirhouse.records.backup_place import Place, places
from weirhouse.records.backup_state import Line, Told, lines, read_state, write_state
from weirhouse.records.model import RecordsError


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a backup to one place: where it is, or what was at fault."""

    place: Place
    path: Path | None = None
    manifest: Manifest | None = None
    fault: str = ""


def run(folder: Path, plant: Plant, *, whole: bool, at: datetime, to: Sequence[Path] = ()) -> list[Outcome]:
    """Back up to every place of the plant, or to those named; one that fails keeps none of the others from it."""
    some = tuple(Place(path) for path in to) or places(folder, plant)
    outcomes = []
    for place in some:
        try:
            path, manifest = backup.make(folder, place, plant, whole=whole, at=at)
            outcomes.append(Outcome(place, path, manifest))
        except RecordsError as fault:
            outcomes.append(Outcome(place, fault=str(fault)))
    _keep(folder, outcomes, whole, at)
    return outcomes


def standing(folder: Path, plant: Plant, now: datetime) -> list[Line]:
    """Return how the backups of a plant stand, in sentences; first, whether the disk is nearly full."""
    some = {str(one.path): one.removable for one in places(folder, plant)}
    nearly_full = space.low(folder)
    return [Line(nearly_full, fault=True)] * bool(nearly_full) + lines(read_state(folder), some, now, plant.zone)


def _keep(folder: Path, outcomes: Sequence[Outcome], whole: bool, at: datetime) -> None:
    state = read_state(folder)
    for one in outcomes:
        told = state.places.setdefault(str(one.place.path), Told())
        told.removable = one.place.removable
        if one.path is not None and one.manifest is not None:
            told.good_at, told.name, told.sequence = at, one.path.name, one.manifest.sequence
            told.fault, told.fault_since = "", None
        else:
            told.fault, told.fault_since = one.fault, told.fault_since or at
    if any(one.path for one in outcomes):
        state.records_at = at
        if whole:
            state.all_at = at
    try:
        write_state(folder, state)
    except OSError:  # a folder that may only be read; the backups are made
        return

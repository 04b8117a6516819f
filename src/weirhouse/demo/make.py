"""How does the demo's folder come to be? Whole, in one rename, or not at all."""

import hashlib
import os
import shutil
import time
from collections.abc import Callable
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path
from typing import Literal

import msgspec
import numpy as np

from weirhouse.demo import (
    bottles,
    checks,
    chemistry,
    clock,
    creek,
    diary,
    instruments,
    laboratory,
    rounds,
    scenario,
    tanks,
    train,
    village,
)
from weirhouse.demo import works as works_
from weirhouse.plant import load
from weirhouse.plant.model import Plant
from weirhouse.records.model import Event, Reading, RecordsError, Series
from weirhouse.records.store import Store

SEED = 20260420
MARK = "DEMO.json"
ABANDONED = 600.0  # after which a folder in the making has no maker any more [s]
Progress = Callable[[float, str], None]


class DemoError(ValueError):
    """The demo cannot be made there: one sentence that says what to mend. Nothing was changed."""


class Mark(msgspec.Struct, kw_only=True):
    """What a demo folder says of itself."""

    demo: str
    version: str
    seed: int


def make_demo(
    folder: Path,
    *,
    seed: int = SEED,
    progress: Progress | None = None,
    existing: Literal["refuse", "keep", "replace"] = "refuse",
) -> None:
    """Make the demo plant with a year of records in `folder`, whole or not at all.

    Where a demo is already, `existing` says what becomes of it: it is refused, kept if it is the same one (of this
    version and seed), or replaced with all that was entered into it. A folder that holds anything else is refused.

    Raises
    ------
    DemoError
        If the folder is taken or cannot be written, or the seed is below 0.
    """
    folder = Path(folder).resolve()
    if seed < 0:
        raise DemoError(f"The seed must be 0 or a greater whole number, not {seed}.")
    if Path.cwd().is_relative_to(folder):
        raise DemoError(f"{folder} is where this runs, so it cannot be put in place whole. Name a folder inside of it.")
    tell = progress or (lambda _done, _what: None)
    found = _mark(folder)
    if found is not None and existing == "keep":
        if (found.version, found.seed) == (_version(), seed):
            tell(1.0, "already there")
            return
        raise DemoError(
            f"{folder} holds a demo of version {found.version} with seed {found.seed}, not of version "
            f"{_version()} with seed {seed}. Delete it or name another folder."
        )
    if found is None and _taken(folder):
        raise DemoError(f"{folder} is not empty and holds no demo. Name a folder that is empty or not there yet.")
    if found is not None and existing == "refuse":
        raise DemoError(f"{folder} already holds a demo plant. Delete it or name another folder.")
    try:
        _build(folder, seed, tell)
    except (OSError, RecordsError) as fault:
        raise DemoError(f"The demo could not be made in {folder}: {_reason(fault)} Nothing was left behind.") from fault
    tell(1.0, "done")


def is_demo(folder: Path) -> bool:
    """Return whether the folder holds a demo that was made whole."""
    return _mark(Path(folder)) is not None


def year(plant: Plant, seed: int, tell: Progress) -> tuple[dict[str, Series], list[Reading], list[Event]]:
    """Return the demo's year for the plant: series, readings and events."""

    def chance(part: int) -> np.random.Generator:
        return np.random.default_rng([seed, part])  # each part its own, so that one does not move the others

    tell(0.02, "weather")
    when = clock.year()
    works = works_.of(plant)
    stream = creek.make(when, chance(0))
    demand = village.demand(when, stream.air, chance(1))
    tell(0.15, "running the plant")
    course = train.Train(works, when, stream, demand, chance(2)).course()
    tell(0.40, "logging")
    true = instruments.truth(when, stream, demand, course)
    logged = instruments.logged(true, when, chance(3))
    tell(0.50, "walking the rounds")
    batches = {}
    for part, feed in ((4, "coagulant"), (5, "chlorine")):
        feeder = works.coagulant if feed == "coagulant" else works.chlorine
        true[f"{feed}_tank_level"], batches[feed] = tanks.levels(feed, feeder, course, chance(part))
        for what in ("dose", "setting"):
            true[f"{feed}_{what}"] = course.columns[f"{feed}_{what}"]
    true |= chemistry.after(stream, course)
    units = {channel.id: channel.unit for channel in plant.channels.values()}
    readings = rounds.read(true, units, when, course, chance(6))
    readings += laboratory.results(plant.channels, when, stream, chance(7))
    events = diary.events(works, when, stream, course, batches)
    events += bottles.taken(bottles.year(readings)[0])
    events += checks.events(plant.channels, chance(8))
    events += checks.closings()
    series = {channel: one for channel, one in logged.items() if channel in plant.channels}
    return series, sorted(readings, key=lambda r: (r.taken_at, r.channel)), events


def _build(folder: Path, seed: int, tell: Progress) -> None:
    """Build beside the folder, then rename."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    _sweep(folder)
    making = folder.with_name(f".{folder.name}.making-{os.getpid()}")
    shutil.rmtree(making, ignore_errors=True)
    making.mkdir()
    try:
        _fill(making, seed, tell)
        _place(making, folder)
    finally:
        shutil.rmtree(making, ignore_errors=True)


def _fill(making: Path, seed: int, tell: Progress) -> None:
    tell(0.0, "plant file")
    text = files("weirhouse.demo").joinpath("emberly.toml").read_bytes()
    (making / "plant.toml").write_bytes(text)
    (making / "rules").mkdir()
    local = files("weirhouse.demo").joinpath("emberly_rules.toml").read_bytes()
    (making / "rules" / "emberly.toml").write_bytes(local)
    plant = load(making)
    series, readings, events = year(plant, seed, tell)
    with Store.open(making, create=True) as store:
        entered = scenario.YEAR_END
        for k, (group, channels) in enumerate(instruments.GROUPS.items()):
            tell(0.6 + 0.08 * k, f"storing: {group}")
            some = [series[channel] for channel in channels if channel in series]
            store.add_import(
                f"DEMO logger, {group}", digest(some), some, [], person=scenario.LOGGER, entered_at=entered,
                detail={"demo": True, "note": scenario.DEMO_NOTE, "seed": seed},
            )  # fmt: skip
        tell(0.84, "storing: readings and day log")
        slips = rounds.slips(readings)
        store.add_readings([slips.get(one.id, one) for one in readings], entered_at=entered)
        for meant, slipped in slips.items():
            reading = next(one for one in readings if one.id == meant)
            store.correct(slipped.id, reading, person=reading.person, reason=rounds.SLIPPED, entered_at=entered)
        store.add_events([one for one in events if one.kind != "closed"], entered_at=entered)
        samples, results = bottles.year(readings)
        store.add_samples(samples, results=results, entered_at=entered)
        store.add_events([one for one in events if one.kind == "closed"], entered_at=entered)
    mark = Mark(demo=scenario.DEMO_NOTE, version=_version(), seed=seed)
    (making / MARK).write_bytes(msgspec.json.format(msgspec.json.encode(mark), indent=2) + b"\n")


def digest(series: list[Series]) -> str:
    """Return the SHA-256 of series: channels, times and values."""
    seal = hashlib.sha256()
    for one in series:
        seal.update(one.channel.encode() + b"\n")
        seal.update(one.times.astype("<i8").tobytes() + one.values.astype("<f8").tobytes())
    return seal.hexdigest()


def _place(making: Path, folder: Path) -> None:
    """Put the new folder in its place; an older demo goes aside first and is brought back if that fails."""
    if not folder.exists():
        making.rename(folder)
        return
    aside = folder.with_name(f".{folder.name}.old-{os.getpid()}")
    folder.rename(aside)
    try:
        making.rename(folder)
    except OSError:
        aside.rename(folder)
        raise
    shutil.rmtree(aside, ignore_errors=True)


def _sweep(folder: Path) -> None:
    """Remove what makers that were killed have left beside the folder: nothing is that long in the making."""
    for left in folder.parent.glob(f".{folder.name}.making-*"):
        if time.time() - left.stat().st_mtime > ABANDONED:
            shutil.rmtree(left, ignore_errors=True)


def _taken(folder: Path) -> bool:
    """Return whether anything is in the way; a file is, too."""
    if not folder.exists():
        return folder.is_symlink()
    return not folder.is_dir() or any(folder.iterdir())


def _mark(folder: Path) -> Mark | None:
    try:
        found = msgspec.json.decode((folder / MARK).read_bytes(), type=Mark)
    except (OSError, msgspec.DecodeError):
        return None
    whole = all((folder / name).is_file() for name in ("plant.toml", "records.sqlite", "series.sqlite"))
    return found if whole else None


def _reason(fault: Exception) -> str:
    if isinstance(fault, OSError) and fault.strerror:
        return f"{fault.strerror[0].lower()}{fault.strerror[1:]}."
    return str(fault)


def _version() -> str:
    return version("weirhouse")

"""Does what was acknowledged outlast a power cut, at whatever instant it falls and whatever the disk made of the rest?

The real server answers four clients while all that it does to its files is written down. Then the power is cut in
thought, over and over: an instant is chosen, the disk as it may be then is laid out, opened, and looked through.
"""

import json
import math
import os
import random
import shutil
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from pysqlite3 import dbapi2 as driver
from tests.crash import shim
from tests.crash.clients import Act, Client, Door, yesterday
from tests.crash.disk import MODES, Disk
from tests.crash.examine import examine, lost
from tests.crash.kills import CLIENTS, ZONE, new_plant, wait_for
from tests.crash.server import Server

from weirhouse.records.store import Store

A_STRETCH = 2000  # cuts into one stretch of writing
LEAST_ANSWERS, WRITES_S = 30, 1.0  # a stretch lasts this much longer than that many answers
WITH_STORE = 50  # every so many cuts the program itself opens what is left, verifies it and writes to it


@dataclass(slots=True)
class Cuts:
    """What the cuts found."""

    synchronous: str
    cuts: int = 0
    stretches: int = 0
    acknowledged: int = 0  # in all stretches
    losing: int = 0  # cuts after which something acknowledged was gone
    lost: int = 0  # the most that was gone after one
    corrupt: int = 0  # cuts after which it did not open, or its pages or chain were at fault
    by_program: int = 0  # cuts after which the program itself opened, verified and wrote
    operations: int = 0
    seconds: float = 0.0
    told: list[str] = field(default_factory=list)

    @property
    def good(self) -> bool:
        """Whether nothing is at fault."""
        return not (self.losing or self.corrupt or self.told) and self.acknowledged > 0


class Marking(Client):
    """A client that also marks in the log of what was done when it has read an acknowledgement."""

    log: int = -1

    def _send(self, port: int, act: Act) -> list[dict[str, Any]]:
        said = super()._send(port, act)
        for line in said:
            shim.acknowledge(self.log, json.dumps(line))
        return said


def run(
    work: Path, cuts: int, seed: int, *, synchronous: str = "FULL", until: float = math.inf,
    say: Callable[[str], None] = lambda _: None,
) -> Cuts:  # fmt: skip
    """Cut the power so many times; begin no stretch of writing after `until` [s]."""
    found = Cuts(synchronous)
    began = time.monotonic()
    shelf = Path("/dev/shm") if Path("/dev/shm").is_dir() else None
    with tempfile.TemporaryDirectory(prefix="weirhouse-cut-", dir=shelf) as image:
        while found.cuts < cuts and time.monotonic() < until:
            found.stretches += 1
            some = min(A_STRETCH, cuts - found.cuts)
            here = work / f"stretch-{synchronous}-{found.stretches}"
            _one_stretch(here, Path(image), some, seed * 1000 + found.stretches, found)
            say(f"{synchronous}: {found.cuts:,} cuts, {found.losing} losing, {found.corrupt} corrupt")
    found.seconds = time.monotonic() - began
    return found


def _one_stretch(here: Path, image: Path, cuts: int, seed: int, found: Cuts) -> None:
    folder, log = here / "plant", here / "done.log"
    cookie = new_plant(folder)
    before = here / "before"
    shutil.copytree(folder, before)
    written(folder, log, cookie, seed, found)
    ops = list(shim.read(log))
    found.operations += len(ops)
    found.acknowledged += sum(op.letter == "A" for op in ops)
    pick = random.Random(seed)
    places = sorted(pick.randrange(1, len(ops) + 1) for _ in range(cuts))
    disk = _as_before(before, folder)
    acknowledged: list[dict[str, Any]] = []
    done = 0
    for place in places:
        for op in ops[done:place]:
            if op.letter == "A":
                acknowledged.append(json.loads(op.data))
            else:
                disk.do(op)
        done = place
        found.cuts += 1
        lay_out(image, disk.after_cut(pick.choice(MODES), pick))
        _judge(image, acknowledged, found, f"{here.name} at {place} of {len(ops)}")
    shutil.rmtree(here)


def _as_before(before: Path, folder: Path) -> Disk:
    """Return the disk as it was when the server was started, under the names of the folder it ran in."""
    moved = folder.with_name("ran")
    folder.rename(moved)
    before.rename(folder)
    return Disk(folder)


def written(folder: Path, log: Path, cookie: str, seed: int, found: Cuts) -> None:
    """Let four clients write to the real server for a while."""
    handle = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
    door, here = Door(cookie=cookie), log.parent
    day = yesterday(datetime.now(ZONE).date())
    clients = [Marking(n, seed, door, here / f"{n}.journal", day, batch=3) for n in range(CLIENTS)]
    for client in clients:
        client.log = handle
        client.start()
    try:
        server = Server(folder, synchronous=found.synchronous, environment=shim.environment(folder, log))
        try:
            door.open(server.port)
            wait_for(clients, LEAST_ANSWERS)
            time.sleep(WRITES_S)
        finally:
            door.close()
            for client in clients:
                client.join(60)
            server.stop()
    finally:
        door.close()
        os.close(handle)
    found.told += [f"{here.name}: refused {words}" for client in clients for words in client.refused[:3]]


def lay_out(image: Path, files: dict[str, bytes]) -> None:
    """Put files into the empty folder of the image."""
    for left in image.iterdir():
        if left.is_dir():
            shutil.rmtree(left)
        else:
            left.unlink()
    for name, content in files.items():
        if "/" in name:
            (image / name).parent.mkdir(parents=True, exist_ok=True)
        (image / name).write_bytes(content)


def _judge(image: Path, acknowledged: list[dict[str, Any]], found: Cuts, where: str) -> None:
    stands = examine(image)
    if stands.wrong:
        found.corrupt += 1
        if found.synchronous == "FULL":
            found.told.append(f"{where}: {stands.wrong[:2]}")
    gone = lost(stands, acknowledged)
    if gone:
        found.losing += 1
        found.lost = max(found.lost, len(gone))
        if found.synchronous == "FULL":
            found.told.append(f"{where}: {len(gone)} acknowledged are gone")
    if found.synchronous == "FULL" and found.cuts % WITH_STORE == 0:
        found.told += [f"{where}: {words}" for words in _by_program(image)]
        found.by_program += 1


def _by_program(image: Path) -> list[str]:
    """Let the program itself open what is left, verify it, write to it and verify it again."""
    from tests.records.sample import NOW, every_minute, put, reading

    try:
        with Store.open(image) as store:
            wrong = store.verify()
            store.add_readings([reading(1.0)], entered_at=NOW)
            put(store, every_minute(10))
            return wrong + store.verify()
    except (ValueError, OSError, driver.Error) as fault:
        return [str(fault)]

"""Is anything that was acknowledged lost, or stored twice, when the server is killed over and over while four write?"""

import math
import random
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from tests.crash.clients import PERSON, Client, Door, yesterday
from tests.crash.examine import doubled, examine, journal_of, lost
from tests.crash.server import Server

from weirhouse.records import people
from weirhouse.records.access import Access
from weirhouse.records.roles import Role
from weirhouse.records.store import Store
from weirhouse.web.door import cookie_name

A_PLANT, MOST_ENTRIES = 100, 30_000  # kills and entries of one plant folder, which is examined whole after each kill
CLIENTS = 4
WHILE_WRITING = 0.9  # of the kills fall after a first acknowledgement, however slow the machine; the others anywhere
PATIENCE = 20.0  # for acknowledgements [s]
ZONE = ZoneInfo("America/New_York")  # of the plant file that a new plant begins with


@dataclass(slots=True)
class Kills:
    """What the kill loop found."""

    kills: int = 0
    plants: int = 0
    readings: int = 0  # acknowledged
    others: int = 0  # acknowledged: notes, events, withdrawals
    lost: int = 0
    double: int = 0
    broken: int = 0  # examinations that found pages or chain at fault
    sent_again: int = 0
    examined: int = 0
    entries: int = 0
    seconds: float = 0.0
    ready_s: list[float] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    @property
    def good(self) -> bool:
        """Whether nothing is at fault, and something was at stake."""
        return not (self.lost or self.double or self.broken or self.told) and self.readings > 0


def wait_for(clients: Sequence[Client], more: int) -> None:
    """Wait until the clients have had so many more acknowledgements; not for ever."""
    before, end = sum(one.answers for one in clients), time.monotonic() + PATIENCE
    while sum(one.answers for one in clients) < before + more and time.monotonic() < end:
        time.sleep(0.002)


def new_plant(folder: Path) -> str:
    """Start a plant as a user does, with one operator who is signed in; return the cookie of the session."""
    subprocess.run([sys.executable, "-m", "weirhouse", "new", str(folder)], check=True, capture_output=True, timeout=60)
    now = datetime.now(UTC)
    with Store.open(folder) as store:
        person = people.add(
            store, people.Person(id="", name=PERSON, role=Role.OPERATOR), by=PERSON, now=now, first=True
        )
    access = Access(folder)
    access.set_password(person.id, "no password fits this", now)
    return f"{cookie_name({'type': 'http', 'scheme': 'http'})}={access.open_session(person.id, now)}"


def run(
    work: Path, kills: int, seed: int, *, batch: int = 100, until: float = math.inf,
    say: Callable[[str], None] = lambda _: None,
) -> Kills:  # fmt: skip
    """Kill the server so many times, and examine the records after each; begin no plant after `until` [s]."""
    found = Kills()
    began = time.monotonic()
    while found.kills < kills and time.monotonic() < until:
        found.plants += 1
        _one_plant(
            work / f"plant-{found.plants}", min(A_PLANT, kills - found.kills), seed * 1000 + found.plants, batch, found
        )
        say(f"{found.kills} kills, {found.readings:,} readings acknowledged, {found.lost} lost, {found.double} double")
    found.seconds = time.monotonic() - began
    return found


def _one_plant(folder: Path, kills: int, seed: int, batch: int, found: Kills) -> None:
    pick = random.Random(seed)
    door = Door(cookie=new_plant(folder))
    day = yesterday(datetime.now(ZONE).date())
    journals = [folder.parent / f"{folder.name}.{n}.journal" for n in range(CLIENTS)]
    clients = [Client(n, seed, door, journals[n], day, batch=batch) for n in range(CLIENTS)]
    for client in clients:
        client.start()
    try:
        for _ in range(kills):
            server = Server(folder)
            found.ready_s.append(time.monotonic() - server.began)
            door.open(server.port)
            if pick.random() < WHILE_WRITING:
                wait_for(clients, 1)
            time.sleep(pick.uniform(0.05, 0.60))
            door.shut()
            server.kill()
            found.kills += 1
            if _examine(folder, journals, found) > MOST_ENTRIES:
                break
        server = Server(folder)  # what waits is sent once more, and the end is a quiet one
        door.open(server.port)
        wait_for(clients, len(clients))
        door.close()
        for client in clients:
            client.join(60)
        server.stop()
    finally:
        door.close()
    _examine(folder, journals, found)
    said = subprocess.run(
        [sys.executable, "-c", "import sys;from weirhouse.records.store import Store\n"
         "with Store.open(sys.argv[1], read_only=True) as store: print(*store.verify(), sep='\\n')", str(folder)],
        check=True, capture_output=True, text=True, timeout=600,
    )  # fmt: skip
    if said.stdout.strip():
        found.told.append(f"{folder.name}: {said.stdout.strip()[:500]}")
    for client in clients:
        found.readings += client.readings
        found.others += client.others
        found.sent_again += client.sent_again
        found.told += [f"{folder.name}: refused {words}" for words in client.refused[:3]]
    found.entries += len(examine(folder).ids)


def _examine(folder: Path, journals: list[Path], found: Kills) -> int:
    """Look the records through, and return how many entries they hold."""
    lines = journal_of(path for path in journals if path.exists())  # first: what is acknowledged later may be there too
    stands = examine(folder)
    found.examined += 1
    found.lost += len(lost(stands, lines))
    found.double += len(doubled(stands))
    if stands.wrong:
        found.broken += 1
        found.told.append(f"{folder.name} after {found.kills} kills: {stands.wrong[:3]}")
    return len(stands.ids)

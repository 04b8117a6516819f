"""Who writes while the server is killed? Clients that make their own ids, send again what was not acknowledged, and
keep a journal: a line is added to it only when the acknowledgement has been read.
"""

import http.client
import json
import random
import threading
import time
import uuid
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

CHANNELS = (
    "raw_turbidity",
    "raw_ph",
    "settled_turbidity",
    "filter_1_turbidity",
    "entry_chlorine",
    "combined_turbidity",
)
PERSON = "R. Hale"
FORM, FILE = "application/x-www-form-urlencoded", "multipart/form-data; boundary=crash"
BROKEN = (ConnectionError, http.client.HTTPException, TimeoutError, OSError)


@dataclass(frozen=True, slots=True)
class Act:
    """Something to send, and what its acknowledgement means: ids that are then in the records, what they replace."""

    path: str
    body: bytes
    kind: str  # application/json or a form
    acknowledged: tuple[dict[str, Any], ...]


@dataclass(slots=True)
class Door:
    """Where the server is now; nowhere while it is down."""

    port: int | None = None
    cookie: str = ""
    closed: bool = False
    changed: threading.Condition = field(default_factory=threading.Condition)

    def open(self, port: int) -> None:
        """Say where it is."""
        with self.changed:
            self.port = port
            self.changed.notify_all()

    def shut(self) -> None:
        """Say that it is gone."""
        with self.changed:
            self.port = None

    def close(self) -> None:
        """Say that no more will be sent."""
        with self.changed:
            self.closed = True
            self.changed.notify_all()

    def where(self) -> int | None:
        """Wait until it is somewhere; None when no more is to be sent."""
        with self.changed:
            while self.port is None and not self.closed:
                self.changed.wait(1.0)
            return None if self.closed else self.port


class Client(threading.Thread):
    """One client: sends, waits for the answer, writes its journal, sends the next."""

    def __init__(self, number: int, seed: int, door: Door, journal: Path, day: date, *, batch: int) -> None:
        super().__init__(daemon=True)
        self.number, self.door, self.journal, self.day = number, door, journal, day
        self.pick = random.Random(f"{seed}-{number}")
        self.batch, self.count, self.closed = batch, 0, 0
        self.answers = self.sent_again = self.readings = self.others = 0
        self.refused: list[str] = []
        self.open_entries: list[dict[str, Any]] = []  # of its own, that count
        self._connection: http.client.HTTPConnection | None = None
        self._port: int | None = None

    def run(self) -> None:
        """Send until the door is closed; what was not acknowledged is sent again as it was, first of all."""
        waiting: Act | None = None
        with self.journal.open("a", encoding="utf-8") as journal:
            while True:
                port = self.door.where()
                if port is None:
                    self._drop()
                    return
                if waiting is None:
                    waiting = self._next()
                try:
                    said = self._send(port, waiting)
                except ConnectionRefusedError:  # it is not up yet: nothing was sent
                    self._drop()
                    time.sleep(0.005)
                    continue
                except BROKEN:
                    self.sent_again += 1
                    self._drop()
                    continue
                for line in said:
                    journal.write(json.dumps(line) + "\n")
                journal.flush()
                waiting = None
                self.answers += 1

    # --- what is sent

    def _id(self) -> str:
        return str(uuid.UUID(int=self.pick.getrandbits(128), version=4))

    def _note(self) -> str:
        self.count += 1
        return f"crash {self.number}-{self.count}"

    def _time(self) -> str:
        return f"{self.pick.randrange(24):02}:{self.pick.randrange(60):02}"

    def _next(self) -> Act:
        turn = self.pick.random()
        if turn < 0.64:
            return self._grid()
        if turn < 0.67:
            return self._file()
        if turn < 0.69:
            return self._sample()
        if turn < 0.70:
            return self._closing()
        if turn < 0.80:
            return self._form(
                "reading", {"channel": self.pick.choice(CHANNELS), "value": self._value(), "flag": ""}, "note"
            )
        if turn < 0.90:
            return self._form("note", {}, "text")
        if turn < 0.93:
            return self._form(
                "dose_change", {"subject": "coagulant", "to": f"{self._value()} mg/L", "from": ""}, "note"
            )
        if turn < 0.96:
            return self._form("backwash", {"subject": "filter_1", "until": "", "volume": "3000 gal"}, "note")
        return self._form("power_failure", {"until": ""}, "note")

    def _value(self) -> str:
        return f"{self.pick.uniform(0.1, 8.0):.2f}"

    def _form(self, what: str, more: dict[str, str], note: str) -> Act:
        id, words = self._id(), self._note()
        at = f"{self.day}T{self._time()}"
        form = {"id": id, "time": at, "person": PERSON, "sure": "yes", **more, note: words}
        kind = "reading" if what == "reading" else "event"
        return Act(
            f"/log/{self.day}/{what}", urlencode(form).encode(), FORM,
            ({"id": id, "kind": kind, "note": words},),
        )  # fmt: skip

    def _sample(self) -> Act:
        id, words = self._id(), self._note()
        form = {
            "id": id,
            "time": f"{self.day}T{self._time()}",
            "point": "entry point",
            "sampler": PERSON,
            "test.toc": "yes",
            "note": words,
        }
        line = {"id": id, "kind": "sample", "note": words}
        return Act("/samples/new", urlencode({**form, "person": PERSON}).encode(), FORM, (line,))

    def _closing(self) -> Act:
        """Close one of the days before those that are written to; each client has days of its own."""
        self.closed += 1
        day = self.day - timedelta(days=30 + 4 * self.closed + self.number)
        line = {"id": "", "kind": "closed", "day": f"{day}"}
        return Act(f"/log/{day}/close", urlencode({"person": PERSON, "note": ""}).encode(), FORM, (line,))

    def _file(self) -> Act:
        """A logger's file of two hours, by a name of its own."""
        self.count += 1
        name = f"crash {self.number}-{self.count}.csv"
        rows = [f"{self.day} {n // 60:02}:{n % 60:02},{self._value()}" for n in range(120)]
        text = "\n".join(["time,raw turbidity (NTU)", *rows, ""])
        body = (
            f'--crash\r\nContent-Disposition: form-data; name="file"; filename="{name}"\r\n'
            f"Content-Type: text/csv\r\n\r\n{text}\r\n--crash--\r\n"
        )
        return Act("/imports/send", body.encode(), FILE, ({"id": "", "kind": "import", "name": name},))

    def _grid(self) -> Act:
        cells, said = [], []
        for _ in range(self.pick.randint(1, self.batch)):
            id, words = self._id(), self._note()
            cell = {
                "id": id,
                "channel": self.pick.choice(CHANNELS),
                "time": self._time(),
                "text": self._value(),
                "sure": True,
                "note": words,
            }
            line: dict[str, Any] = {"id": id, "kind": "reading", "note": words}
            turn = self.pick.random()
            if self.open_entries and turn < 0.06:
                old = self.open_entries.pop(self.pick.randrange(len(self.open_entries)))
                cell |= {"entry": old["id"], "channel": old["channel"], "reason": "read again"}
                line["replaces"] = old["id"]
                if turn < 0.02:
                    cell["text"] = ""
                    line |= {"kind": "withdrawal", "note": ""}
            cells.append(cell)
            said.append(line)
        body = json.dumps({"person": PERSON, "cells": cells}).encode()
        return Act(f"/log/{self.day}/readings.json", body, "application/json", tuple(said))

    # --- how it is sent

    def _send(self, port: int, act: Act) -> list[dict[str, Any]]:
        """Return the lines for the journal once the answer is there, whole."""
        if self._connection is None or self._port != port:
            self._drop()
            self._connection, self._port = http.client.HTTPConnection("127.0.0.1", port, timeout=30), port
        status, text, there = self._ask("POST", act.path, act.body, act.kind)
        if act.kind == FILE and status == 303:  # it is kept; now it is looked at and brought in
            form = urlencode({"do": "import", "id": self._id(), "person": PERSON}).encode()
            status, text, there = self._ask("POST", there, form, FORM)
            while there.startswith("/imports/job/"):
                time.sleep(0.02)
                status, text, again = self._ask("GET", there)
                there = again or there
        if act.kind == "application/json" and status == 200:
            return self._of_cells(act, json.loads(text)["cells"])
        if status == 303:
            self.readings += act.acknowledged[0]["kind"] == "reading"
            self.others += act.acknowledged[0]["kind"] != "reading"
            return list(act.acknowledged)
        self.refused.append(f"{status} at {act.path}: {_words(text)}")
        return []

    def _ask(self, method: str, path: str, body: bytes | None = None, kind: str = FORM) -> tuple[int, bytes, str]:
        """Return status, text and where the answer sends us."""
        assert self._connection is not None
        headers = {"Origin": f"http://127.0.0.1:{self._port}", "Content-Type": kind}
        if self.door.cookie:
            headers["Cookie"] = self.door.cookie
        self._connection.request(method, path, body, headers)
        answer = self._connection.getresponse()
        return answer.status, answer.read(), answer.headers.get("Location", "")

    def _of_cells(self, act: Act, answers: list[dict[str, str]]) -> list[dict[str, Any]]:
        found = []
        sent = json.loads(act.body)["cells"]
        for line, answer, cell in zip(act.acknowledged, answers, sent, strict=True):
            if answer["status"] not in ("stored", "withdrawn"):
                self.refused.append(f"{answer} for {cell}")
                continue
            found.append(line)
            self.readings += line["kind"] == "reading"
            self.others += line["kind"] != "reading"
            if line["kind"] == "reading" and len(self.open_entries) < 200:
                self.open_entries.append({"id": line["id"], "channel": cell["channel"]})
        return found

    def _drop(self) -> None:
        if self._connection is not None:
            self._connection.close()
        self._connection = None


def _words(page: bytes) -> str:
    """Return what a refusal says, without the page around it."""
    text = page.decode(errors="replace")
    return text[text.find('id="refusal"') :][:400] if 'id="refusal"' in text else text[:400]


def yesterday(today: date) -> date:
    """Return the day before: every hour of it has passed."""
    return today - timedelta(days=1)

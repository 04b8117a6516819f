"""What stands in the records, read past the program that wrote them? Pages, chain, and what each entry says."""

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pysqlite3 import dbapi2 as driver


@dataclass(slots=True)
class Found:
    """What was found in a ledger."""

    ids: dict[str, str] = field(default_factory=dict)  # id -> kind
    notes: dict[str, int] = field(default_factory=dict)  # how often each of the clients' notes stands there
    replaced: dict[str, str] = field(default_factory=dict)  # old id -> id
    files: dict[str, int] = field(default_factory=dict)  # how often each file was brought in
    closed: set[str] = field(default_factory=set)  # days
    wrong: list[str] = field(default_factory=list)


def examine(folder: Path) -> Found:
    """Read a ledger as it lies there."""
    found = Found()
    try:
        connection = driver.connect(str(folder / "records.sqlite"), isolation_level=None)
        try:
            _read(connection, found)
        finally:
            connection.close()
    except (driver.Error, TypeError, ValueError, AttributeError) as fault:  # what is damaged may hold anything
        found.wrong.append(f"it cannot be read: {fault}")
    return found


def _read(connection: Any, found: Found) -> None:
    said = connection.execute("PRAGMA integrity_check").fetchall()
    if said != [("ok",)]:
        found.wrong.append(f"integrity_check: {said[:3]}")
    (pair,) = connection.execute("SELECT pair FROM origin").fetchone()
    before = hashlib.sha256(f"weirhouse ledger of {pair}".encode()).digest()
    last = 0
    for sequence, id, kind, body, seal in connection.execute(
        "SELECT sequence, id, kind, body, hash FROM entry ORDER BY sequence"
    ):
        before = hashlib.sha256(before + body.encode()).digest()
        if sequence != last + 1 or seal != before:
            found.wrong.append(f"the chain breaks at entry {sequence}")
            return
        last = sequence
        _note(found, id, kind, json.loads(body))
    head = connection.execute("SELECT sequence, hash FROM head").fetchone()
    if head != (last, before):
        found.wrong.append(f"the chain ends at {last}, and is said to end at {head[0]}")


def _note(found: Found, id: str, kind: str, body: dict[str, Any]) -> None:
    if id in found.ids or body["id"] != id:
        found.wrong.append(f"the id {id} stands there twice, or is another in its body")
    found.ids[id] = kind
    if body.get("replaces"):
        found.replaced[body["replaces"]] = id
    if kind == "import":
        name = body["imported"]["name"]
        found.files[name] = found.files.get(name, 0) + 1
    if body.get("event", {}).get("kind") == "closed":
        found.closed.add(body["event"]["subject"])
    item = body.get("reading") or body.get("event") or body.get("sample") or {}
    note = item.get("note", "")
    if note.startswith("crash "):
        found.notes[note] = found.notes.get(note, 0) + 1


def lost(found: Found, journal: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the acknowledged lines that do not stand in the records."""
    return [line for line in journal if not stands(found, line)]


def stands(found: Found, line: dict[str, Any]) -> bool:
    """Return whether an acknowledged line stands in the records."""
    if "replaces" in line:
        return line["replaces"] in found.replaced
    if line["kind"] == "import":
        return line["name"] in found.files
    if line["kind"] == "closed":
        return line["day"] in found.closed
    return found.ids.get(line["id"]) == line["kind"]


def doubled(found: Found) -> list[str]:
    """Return the notes and files that stand there more than once: each was sent under one id."""
    return [name for some in (found.notes, found.files) for name, times in some.items() if times > 1]


def journal_of(paths: Iterable[Path]) -> list[dict[str, Any]]:
    """Return the lines of journals."""
    return [json.loads(line) for path in paths for line in path.read_text("utf-8").splitlines() if line]

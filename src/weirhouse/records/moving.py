"""How do the records of a plant come from its folder to a server, and back? Copied, verified, and only then named.

Entries, seals and chunks are copied as they are, under the same mark, so that the chain is the same chain. The copy is
made under another name and gets its own when all of it was verified; the source is read, and stays as it was.
"""

import os
import re
import shutil
import tomllib
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from weirhouse.records import disk, files, ledger, verify
from weirhouse.records.engine import LEDGER, SERIES, Database, Kind
from weirhouse.records.model import RecordsError
from weirhouse.records.place import PLANT_FILE, Server, server, server_of

Where = Path | Server  # a folder, or a schema of a server
ROWS = {  # what is copied of each table
    "entry": f"SELECT {ledger.COLUMNS} FROM entry ORDER BY sequence",  # noqa: S608 -- constant
    "chunk": "SELECT id, import_id, channel, first, last, count, step, times, flags, content FROM chunk ORDER BY id",
    "hours": "SELECT chunk_id, content FROM hours ORDER BY chunk_id",
    "original": "SELECT digest, part, content FROM original ORDER BY digest, part",
}
TABLES = {LEDGER.name: ("entry",), SERIES.name: ("chunk", "hours", "original")}  # in this order


@dataclass(frozen=True, slots=True)
class Moved:
    """What was copied: how many entries and chunks of series, and the seal of the last entry in hexadecimal."""

    entries: int
    chunks: int
    seal: str


@dataclass(frozen=True, slots=True)
class _Pair:
    """Both databases of one plant, open."""

    ledger: Database
    series: Database

    def problems(self) -> list[str]:
        return verify.problems(self.ledger, lambda: self.series)


def where_of(folder: Path) -> Where:
    """Return where the records of a plant lie."""
    return server_of(folder) or folder


def move(folder: Path, to: str, schema: str = "") -> tuple[Moved, bool]:
    """Copy the records of a plant to a folder or a server; return what was copied, and whether the plant uses it now.

    It does where the target is a server or the plant's own folder: its plant file is changed then, in [records] alone.
    Nobody can enter anything meanwhile.
    """
    source = where_of(folder)
    target: Where = server(to, schema) if _names_server(to) else Path(to)
    if target == source or (isinstance(target, Path) and isinstance(source, Path) and _same(source, target)):
        raise RecordsError(f"The records lie there already: {target}. Name another place.")
    if _PASSWORD.search(to):
        raise RecordsError(
            "The address holds a password, which would stand in the plant file. Put the address into an environment "
            "variable and name that, like --to '$DISTRICT', or keep the password in a file .pgpass."
        )
    switches = isinstance(target, Server) or _same(folder, target)
    new_text = plant_text(folder, to if isinstance(target, Server) else "", schema) if switches else ""
    with _open(source, read_only=False) as held, held.ledger.writing():
        moved = _copied(held, source, target)
        if switches:
            _write(folder / PLANT_FILE, new_text)
    return moved, switches


def copy(source: Where, target: Where) -> Moved:
    """Copy the records as they are at this instant to a place where there are none; others may go on entering."""
    with _open(source, read_only=True) as held:
        return _copied(held, source, target)


def _names_server(to: str) -> bool:
    return "://" in to or to.startswith("$")


def _same(one: Path, other: Path) -> bool:
    return one.resolve() == other.resolve()


def _copied(held: _Pair, source: Where, target: Where) -> Moved:
    wrong = held.problems()
    if wrong:
        raise RecordsError(
            f"The records in {source} are not as they were entered, and were not moved. First: {wrong[0]} "
            'See "weirhouse check".'
        )
    making = _into_server(target, held) if isinstance(target, Server) else _into_folder(target, held)
    with making as made:
        moved = _fill(held, made)
        wrong = made.problems()
        if wrong or _ends(made) != _ends(held):
            told = wrong[0] if wrong else "the chains end in different entries."
            raise RecordsError(f"The copy in {target} is not what was copied, and was removed again: {told}")
    return moved


def _ends(pair: _Pair) -> tuple[str, int, bytes, int]:
    head = pair.ledger.row("SELECT sequence, hash FROM head")
    count = pair.series.row("SELECT count(*) FROM chunk")
    assert head is not None
    assert count is not None
    return files.pair_of(pair.series), int(head[0]), bytes(head[1]), int(count[0])


def _fill(source: _Pair, target: _Pair) -> Moved:
    chunks = _fill_one(source.series, target.series)
    entries = _fill_one(source.ledger, target.ledger)
    _, _, seal, _ = _ends(target)
    return Moved(entries, chunks, seal.hex())


def _fill_one(source: Database, target: Database) -> int:
    """Copy the rows of one of the two databases into an empty one; return how many entries or chunks there were."""
    counts = []
    with target.writing():
        for table in TABLES[target.kind.name]:
            sql = ROWS[table]
            columns = sql.removeprefix("SELECT ").split(" FROM ")[0]
            marks = ", ".join("?" * (columns.count(",") + 1))
            rows = _Counted(source.walk(sql))
            target.run_many(f"INSERT INTO {table} ({columns}) VALUES ({marks})", rows)  # noqa: S608 -- constants
            counts.append(rows.count)
        head = source.row("SELECT sequence, hash FROM head") if target.kind.name == LEDGER.name else None
        if head is not None and head[0]:
            target.run("UPDATE head SET sequence = ?, hash = ?", head)
    return counts[0]


def copy_database(server: Server, kind: Kind, path: Path) -> None:
    """Copy one schema of a server, as it is at this instant, into a new file."""
    source = files.open_at(server, kind, read_only=True)
    try:
        found = source.row("SELECT pair, made_at FROM origin")
        assert found is not None
        files.make(path, kind, str(found[0]), int(found[1]))
        target = files.open_at(path, kind, read_only=False)
        try:
            _fill_one(source, target)
        finally:
            target.close()
    finally:
        source.close()


class _Counted(Iterator[tuple[object, ...]]):
    def __init__(self, rows: Iterator[tuple[object, ...]]) -> None:
        self._rows, self.count = rows, 0

    def __next__(self) -> tuple[object, ...]:
        row = next(self._rows)
        self.count += 1
        return row


@contextmanager
def _open(where: Where, *, read_only: bool) -> Iterator[_Pair]:
    opened: list[Database] = []
    try:
        for kind in (LEDGER, SERIES):
            place = where / kind.file if isinstance(where, Path) else where
            opened.append(files.open_at(place, kind, read_only=read_only))
        yield _Pair(*opened)
    finally:
        for database in opened:
            database.close()


@contextmanager
def _into_folder(folder: Path, source: _Pair) -> Iterator[_Pair]:
    """Yield empty records under another name; put them in their place at the end, or remove them."""
    for kind in (LEDGER, SERIES):
        if (folder / kind.file).exists():
            raise RecordsError(
                f"{folder / kind.file} is there. Nothing was moved and nothing is replaced. Put that file elsewhere "
                "first; it may be from before the records went to the server."
            )
    disk.require_own(folder)
    if not folder.is_dir():
        raise RecordsError(f"{folder} is no folder. Make it first, or name another one.")
    beside = folder / f".moving-{uuid.uuid4().hex[:8]}"
    beside.mkdir()
    try:
        files.create_pair(beside, *_origin(source))
        with _open(beside, read_only=False) as made:
            yield made
        for kind in (SERIES, LEDGER):  # as they are made; the ledger says that there are records
            files.put_in_place(beside / kind.file, folder / kind.file)
    finally:
        shutil.rmtree(beside)


@contextmanager
def _into_server(target: Server, source: _Pair) -> Iterator[_Pair]:
    """Yield empty records under another schema; give them their name at the end, or drop them."""
    from weirhouse.records import postgres

    postgres.require_none(target)
    beside = Server(target.url, f"moving_{uuid.uuid4().hex[:8]}")
    try:
        postgres.create(beside, *_origin(source))
        with _open(beside, read_only=False) as made:
            yield made
        postgres.rename(beside, target)
    except BaseException:
        postgres.drop(beside)
        raise


def _origin(source: _Pair) -> tuple[str, int]:
    found = source.ledger.row("SELECT pair, made_at FROM origin")
    assert found is not None
    return str(found[0]), int(found[1])


# --- the plant file

_HEAD = re.compile(r"^[ \t]*\[[ \t]*records[ \t]*\][ \t]*(#.*)?$", re.MULTILINE)
_OURS = re.compile(r"^[ \t]*(database|schema)[ \t]*=.*$", re.MULTILINE)
_PASSWORD = re.compile(r"(?<=://)([^:/@?]*):[^@/]*(?=@)|([?&])password=[^&\"]*")


def plant_text(folder: Path, database: str = "", schema: str = "") -> str:
    """Return the plant file with its records elsewhere: on a server, or without one in its folder.

    What said where they were is kept as a remark.
    """
    path = folder / PLANT_FILE
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as fault:
        raise RecordsError(f"{path} cannot be read ({fault}), so the plant would not find its records.") from fault
    end = "\r\n" if "\r\n" in text else "\n"
    lines = [f'database = "{database}"', f'schema = "{schema}"'] if database else []
    head = _HEAD.search(text)
    if head is None:
        new = text.rstrip() + end + (end + end.join(["[records]", *lines]) + end if lines else "")
    else:
        after = text[head.end() :]
        following = re.search(r"^[ \t]*\[", after, re.MULTILINE)
        here, rest = (after[: following.start()], after[following.start() :]) if following else (after, "")
        new = text[: head.end()] + "".join(end + line for line in lines) + _OURS.sub(_remark, here) + rest
    said = tomllib.loads(new).get("records", {})
    if (said.get("database", ""), said.get("schema", "")) != (database, schema if database else ""):
        raise RecordsError(f"{path} says where the records lie in a way that is not understood. Write [records] alone.")
    return new


def _remark(line: re.Match[str]) -> str:
    """Return a line as a remark, without the password in it."""
    return "# " + _PASSWORD.sub(r"\1\2", line[0])


def _write(path: Path, text: str) -> None:
    """Put a file in the place of another, whole."""
    new = path.with_name(f".{path.name}.{uuid.uuid4().hex[:8]}")
    try:
        with new.open("xb") as file:
            file.write(text.encode())
            file.flush()
            os.fsync(file.fileno())
        shutil.copymode(path, new)
        new.replace(path)
    finally:
        new.unlink(missing_ok=True)

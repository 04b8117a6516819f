"""How is a file of the records opened, read and written? One library, one way to begin a write, plain words on faults.

SQLite through pysqlite3, which brings its own build: write-ahead log, every commit synced to the disk, and writers
that take the lock as they begin. Text of SQL is written out here and in the ledger and series beside it; SQLAlchemy,
which declares the tables, and Alembic, which changes them, take as long to load as Today may take in all, so they are
loaded only where a file is made or brought up to date (see docs/decisions).
"""

import secrets
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pysqlite3 import dbapi2 as driver

from weirhouse.records.model import DamagedError, DiskError, RecordsError
from weirhouse.records.place import Server

LOOK_AGAIN = 0.02  # at a file that seems damaged [s]
WAIT_S = 10.0  # how long a writer waits for another
LOG_KEPT = 16 * 1024 * 1024  # bytes of the log that stay on the disk after a large import
SAFE_FROM = (3, 51, 3)  # earlier libraries can lose a commit when the log is reset while another process writes
MAGIC = b"SQLite format 3\x00"
PAGES = tuple(512 << n for n in range(8))  # sizes of a page [bytes]

MOST_TOLD = 20  # faults of one sort

Row = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Kind:
    """One of the two files: its name, what it holds, and how it knows itself again."""

    name: str  # of the migrations and in `schema`
    file: str
    holds: str
    application_id: int
    version: int


LEDGER = Kind("ledger", "records.sqlite", "readings and events", 0x57726563, 1)
SERIES = Kind("series", "series.sqlite", "series", 0x57736572, 2)


def _as_it_stands(text: bytes) -> str:
    return text.decode("utf-8", "surrogateescape")


class Database:
    """One open file; a schema of a server is one too, see `postgres`. Reading alone sees one instant of it."""

    server: Server | None = None
    folder: Path | None = None

    broken: DiskError | None = None  # once the disk has failed, nothing more is written through this

    def __init__(self, path: Path, kind: Kind, *, read_only: bool) -> None:
        _require_library(driver.sqlite_version_info)
        _require_file(path, kind)
        self.path, self.kind, self.read_only = path, kind, read_only
        self.where, self.name, self.folder = str(path), path.name, path.parent  # in sentences
        self._lock = threading.RLock()
        with self._told():
            self._connection = _connect(path, read_only)
        try:
            with self._told():
                self.version = self._recognise()
                self._settle()
        except BaseException:
            self.close()
            raise

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[Row]:
        """Return the rows of a query."""
        with self._lock, self._told():
            found: list[Row] = self._connection.execute(sql, values).fetchall()
            return found

    def row(self, sql: str, values: Sequence[Any] = ()) -> Row | None:
        """Return the first row of a query, or None."""
        with self._lock, self._told():
            found: Row | None = self._connection.execute(sql, values).fetchone()
            return found

    def walk(self, sql: str, values: Sequence[Any] = (), *, spoilt: bool = False) -> Iterator[Row]:
        """Yield the rows of a query one by one; with `spoilt`, what is no UTF-8 stands as surrogates in a text."""
        take = _as_it_stands if spoilt else str
        with self._lock, self._told(), self._texts(take):
            cursor = self._connection.execute(sql, values)
        while True:
            with self._lock, self._told(), self._texts(take):
                some = cursor.fetchmany(256)
            if not some:
                return
            yield from some

    @contextmanager
    def _texts(self, take: Callable[[bytes], str] | type[str]) -> Iterator[None]:
        self._connection.text_factory = take
        try:
            yield
        finally:
            self._connection.text_factory = str

    def run(self, sql: str, values: Sequence[Any] = ()) -> None:
        """Run one statement that changes something."""
        with self._lock, self._told():
            self._connection.execute(sql, values)

    def run_many(self, sql: str, values: Iterable[Sequence[Any]]) -> None:
        """Run one statement for each row of `values`."""
        with self._lock, self._told():
            self._connection.executemany(sql, values)

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Hold the only right to write to this file; all of it is stored at the end, or nothing."""
        if self.read_only:
            raise RecordsError(f"{self.path} was opened for reading only. Open it for writing to store anything.")
        if self.broken is not None:
            raise self.broken
        with self._lock:
            with self._told():
                self._begin()
            try:
                yield
                self.run("COMMIT")
            except BaseException:
                with suppress(driver.Error):  # a full disk has rolled back already
                    if self._connection.in_transaction:
                        self._connection.execute("ROLLBACK")
                raise

    def _begin(self) -> None:
        """Begin a write. Asked for often and at odd moments: the library's own tenths of a second can starve one."""
        until = time.monotonic() + WAIT_S
        self._connection.execute("PRAGMA busy_timeout = 0")
        try:
            while True:
                try:
                    self._connection.execute("BEGIN IMMEDIATE")
                except driver.OperationalError as fault:
                    code = getattr(fault, "sqlite_errorcode", 0) & 0xFF
                    if code not in (driver.SQLITE_BUSY, driver.SQLITE_LOCKED) or time.monotonic() > until:
                        raise
                else:
                    return
                time.sleep((1 + secrets.randbelow(16)) / 1000)
        finally:
            setting = round(WAIT_S * 1000)
            self._connection.execute(f"PRAGMA busy_timeout = {setting}")

    def check(self) -> Iterator[str]:
        """Yield what SQLite finds wrong with the file."""
        for (told,) in self.rows(f"PRAGMA integrity_check({MOST_TOLD})"):
            if told != "ok":
                yield f"{self.name}: {told}."

    def close(self) -> None:
        """Close the file."""
        with self._lock, suppress(driver.Error):
            self._connection.close()

    def _recognise(self) -> int:
        """Return the version of the tables in the file, having made sure that it is ours and not newer than this."""
        application = self._connection.execute("PRAGMA application_id").fetchone()[0]
        version = int(self._connection.execute("PRAGMA user_version").fetchone()[0])
        _require_ours(self.path, self.kind, application, version)
        return version

    def _settle(self) -> None:
        run = self._connection.execute
        for setting in ("trusted_schema = OFF", "cell_size_check = ON", "mmap_size = 0"):
            run(f"PRAGMA {setting}")
        if self.read_only:
            run("PRAGMA query_only = ON")
            run("BEGIN")
            run("SELECT count(*) FROM sqlite_master").fetchone()  # takes the instant that all reads will see
            return
        run("PRAGMA foreign_keys = ON")
        run("PRAGMA synchronous = FULL")
        run("PRAGMA journal_mode = WAL")
        run(f"PRAGMA journal_size_limit = {LOG_KEPT}")

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except (driver.Error, UnicodeDecodeError) as fault:
            told = explained(fault, self.path)
            if told is None:
                raise
            if isinstance(told, DiskError):
                self.broken = told
            raise told from fault


def _connect(path: Path, read_only: bool) -> Any:
    where = path.resolve().as_uri()
    if not read_only:
        return _opened(f"{where}?mode=rw")
    try:
        return _opened(f"{where}?mode=ro")
    except driver.OperationalError:
        # a folder that may not be written: without a log beside it, the file itself is all there is
        if _log_of(path):
            raise
        return _opened(f"{where}?immutable=1")


def _opened(uri: str) -> Any:
    connection = driver.connect(uri, uri=True, timeout=WAIT_S, isolation_level=None, check_same_thread=False)
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection


def _log_of(path: Path) -> bool:
    """Whether a write-ahead log with something in it lies beside the file."""
    try:
        return path.with_name(f"{path.name}-wal").stat().st_size > 0
    except FileNotFoundError:  # or it was closed and taken away this instant
        return False


def _require_library(version: tuple[int, int, int]) -> None:
    mended = version >= SAFE_FROM or (3, 50, 7) <= version < (3, 51, 0) or (3, 44, 6) <= version < (3, 45, 0)
    if not mended:
        raise RecordsError(
            f"The SQLite library is {'.'.join(map(str, version))}, which can lose what was stored. Nothing was opened. "
            "Install pysqlite3 0.6.1 or later."
        )


def _require_file(path: Path, kind: Kind) -> None:
    """Refuse what is no whole database before SQLite takes it for an empty one."""
    for left in (2, 1, 0):
        try:
            _look_at(path, kind)
            return
        except DamagedError:
            if not left or not path.exists():
                raise
            time.sleep(LOOK_AGAIN)  # another program may be bringing its log into the file this instant


def _look_at(path: Path, kind: Kind) -> None:
    if not path.is_file():
        if kind is SERIES:
            hint = f"Put it back from the backup that holds the {LEDGER.file} beside it."
            raise DamagedError(f"{path} is not there. {hint}", path.parent)
        if path.with_name(SERIES.file).is_file():
            raise DamagedError(f"{path} is not there, and the {SERIES.file} that belongs to it is.", path.parent)
        raise RecordsError(f"{path} is not there. Name the folder of a plant, or start one with: weirhouse new DIR")
    try:
        with path.open("rb") as file:
            header = file.read(100)
        size = path.stat().st_size
    except OSError as fault:
        raise RecordsError(
            f"{path} cannot be read ({fault.strerror}). Mend that first; nothing was changed."
        ) from fault
    keep = "Nothing was changed. Keep it, and put the newest backup in its place."
    if not header:
        raise DamagedError(f"{path} is empty, 0 bytes long. {keep}", path.parent)
    page = int.from_bytes(header[16:18], "big")
    page = 65536 if page == 1 else page
    if not header.startswith(MAGIC) or len(header) < 100 or page not in PAGES:
        raise DamagedError(f"{path} is no database, or its beginning is damaged. {keep}", path.parent)
    pages = int.from_bytes(header[28:32], "big")
    if _log_of(path):
        return  # what the file says may be out of date; SQLite puts it together
    if size < page * pages:
        raise DamagedError(f"{path} is cut off: {size:,} of {page * pages:,} bytes are there. {keep}", path.parent)
    _require_ours(path, kind, int.from_bytes(header[68:72], "big"), int.from_bytes(header[60:64], "big"))


def _require_ours(path: Path, kind: Kind, application: int, version: int) -> None:
    if application != kind.application_id:
        raise RecordsError(
            f"{path} is a database of another program, not the {kind.holds} of a plant. Nothing was changed. Move it "
            "away and put the right file back."
        )
    if version > kind.version:
        raise RecordsError(
            f"{path} was written by version {version} of the records, this program knows version {kind.version}. "
            "Nothing was changed. Install the newer Weirhouse, or restore a backup from before the upgrade."
        )


def explained(fault: Exception, path: Path) -> RecordsError | None:
    """Return what a fault of the library means for a person, or None where it means a mistake of this program."""
    code = getattr(fault, "sqlite_errorcode", None)
    if isinstance(fault, UnicodeDecodeError) or "Could not decode to UTF-8" in str(fault):  # without a code
        code = driver.SQLITE_CORRUPT
    if code == driver.SQLITE_ERROR and str(fault).startswith(("no such column", "no such table", "malformed")):
        code = driver.SQLITE_CORRUPT  # the tables are not those that were made
    match None if code is None else code & 0xFF:
        case driver.SQLITE_BUSY | driver.SQLITE_LOCKED:
            return RecordsError(
                f"Another program is writing to {path} and did not finish within {WAIT_S:g} s. Nothing was stored. "
                "Try again when it is done."
            )
        case driver.SQLITE_FULL:
            return RecordsError(
                f"The disk that holds {path} is full. Nothing of this was stored. Free some space, then enter it again."
            )
        case driver.SQLITE_CORRUPT | driver.SQLITE_NOTADB:
            return DamagedError(
                f"{path} is damaged ({fault}). Nothing was changed. Keep it, and put the newest backup in its place.",
                path.parent,
            )
        case driver.SQLITE_READONLY | driver.SQLITE_PERM | driver.SQLITE_CANTOPEN:
            return RecordsError(
                f"{path} may not be opened or written ({fault}). Nothing was stored. Get the right to write to the "
                "file and its folder."
            )
        case driver.SQLITE_IOERR:
            return DiskError(
                f"The disk failed on {path} ({fault}). Nothing of this was stored. Look at the disk and at the newest "
                "backup before entering it again."
            )
    return None

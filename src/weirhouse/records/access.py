"""Who may come in? The third file: hashes of passwords, sessions, failed tries. No secret in it can be used as it is.

It holds nothing that is evidence, so it may be changed and is made only when the first account is. Where it is lost,
passwords are set anew at the plant's computer; the people themselves stand in the ledger. Times are UTC microseconds.
"""

import hashlib
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import ip_address, ip_network
from pathlib import Path

from pysqlite3 import dbapi2 as driver

from weirhouse.records.engine import Database, Kind, explained
from weirhouse.records.ledger import micros, moment
from weirhouse.records.model import RecordsError

FILE = Kind("access", "access.sqlite", "passwords and sessions", 0x57616363, 1)
IDLE, LONGEST = timedelta(hours=12), timedelta(days=7)  # of a session
SEEN = timedelta(minutes=5)  # how exactly it is known when a session was last used
FREE, MOST_WAIT = 4, timedelta(seconds=60)  # tries without a wait, and the longest wait between two
WINDOW, MOST_TRIES = timedelta(minutes=1), 10  # tries in a minute for one address, and for one account from elsewhere
REMEMBERED = timedelta(hours=1)  # how long a failed try makes the next one wait
KEPT = timedelta(days=30)  # how long failed tries are kept at all

_TABLES = (
    "CREATE TABLE credential (person TEXT PRIMARY KEY, hash TEXT NOT NULL, temporary INTEGER NOT NULL, "
    "changed_at INTEGER NOT NULL) STRICT",
    "CREATE TABLE session (token BLOB PRIMARY KEY, person TEXT NOT NULL, began_at INTEGER NOT NULL, "
    "seen_at INTEGER NOT NULL, failed INTEGER NOT NULL) STRICT",
    "CREATE INDEX session_of ON session (person)",
    "CREATE TABLE attempt (id INTEGER PRIMARY KEY, account TEXT NOT NULL, address TEXT NOT NULL, at INTEGER NOT NULL, "
    "told INTEGER NOT NULL) STRICT",
    "CREATE INDEX attempt_of ON attempt (account, address, at)",
    "CREATE INDEX attempt_from ON attempt (address, at)",
    "CREATE TABLE setting (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT",
)


class WaitError(RecordsError):
    """Too many tries; `seconds` is how long to wait."""

    def __init__(self, seconds: int) -> None:
        super().__init__(f"Too many tries. Wait {seconds} s, then try again; nobody is locked out for good.")
        self.seconds = seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """Somebody who is signed in."""

    person: str  # id
    began_at: datetime
    temporary: bool  # the password was set by somebody else and is to be changed
    failed: int  # tries that failed under this name, not yet told


class Access:
    """The file of one plant, opened for each question."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE.file

    # --- passwords

    def any_account(self) -> bool:
        """Return whether anybody has a password."""
        if not self.path.exists():
            return False
        with self._open() as file:
            return file.row("SELECT 1 FROM credential LIMIT 1") is not None

    def has_password(self, person: str) -> bool:
        """Return whether a person has a password."""
        return self.kept(person) is not None

    def kept(self, person: str) -> str | None:
        """Return the hash of a person's password."""
        if not self.path.exists():
            return None
        with self._open() as file:
            row = file.row("SELECT hash FROM credential WHERE person = ?", (person,))
        return None if row is None else str(row[0])

    def set_password(self, person: str, hashed: str, now: datetime, *, temporary: bool = False) -> None:
        """Keep the hash of a new password. Every session of the person ends, and no earlier try counts any more."""
        self._make()
        with self._writing() as file:
            file.run(
                "INSERT INTO credential VALUES (?, ?, ?, ?) ON CONFLICT (person) DO UPDATE SET hash = excluded.hash, "
                "temporary = excluded.temporary, changed_at = excluded.changed_at",
                (person, hashed, int(temporary), micros(now)),
            )
            file.run("DELETE FROM session WHERE person = ?", (person,))
            file.run("DELETE FROM attempt WHERE account = ?", (person,))

    # --- tries

    def begin_try(self, account: str, address: str, now: datetime, *, here: bool) -> int:
        """Count a try before it is looked at, so that many at once are counted too; WaitError where it is too soon.

        Parameters
        ----------
        account
            The person's id; empty for a name that nobody has.
        here
            The plant's own computer: nobody elsewhere can make it wait.
        """
        at, address = micros(now), network_of(address)
        with self._writing() as file:
            # tries from a time that is yet to come: the clock was set back
            file.run("DELETE FROM attempt WHERE at > ? OR at < ?", (at, at - _us(KEPT)))
            wait = _too_soon(file, account, address, at, here)
            if wait > 0:
                raise WaitError(-(-wait // 1_000_000))
            row = file.row(
                "INSERT INTO attempt (account, address, at, told) VALUES (?, ?, ?, 0) RETURNING id",
                (account, address, at),
            )
        assert row is not None
        return int(row[0])

    def succeeded(self, attempt: int, person: str, address: str) -> int:
        """Take back a try that succeeded, and those before it from there; return how many failed and were not told."""
        with self._writing() as file:
            file.run("DELETE FROM attempt WHERE id = ?", (attempt,))
            row = file.row("SELECT count(*) FROM attempt WHERE account = ? AND told = 0", (person,))
            file.run("UPDATE attempt SET told = 1 WHERE account = ?", (person,))
            file.run("DELETE FROM attempt WHERE account = ? AND address = ?", (person, network_of(address)))
        return int(row[0]) if row else 0

    # --- sessions

    def open_session(self, person: str, now: datetime, *, failed: int = 0) -> str:
        """Begin a session and return its token, which is nowhere else."""
        token, at = secrets.token_urlsafe(32), micros(now)
        with self._writing() as file:
            file.run(
                "DELETE FROM session WHERE seen_at < ? OR began_at < ?", (at - _us(IDLE), at - _us(LONGEST))
            )  # fmt: skip
            file.run("INSERT INTO session VALUES (?, ?, ?, ?, ?)", (_sha(token), person, at, at, failed))
        return token

    def session(self, token: str, now: datetime, *, used: bool = True) -> Session | None:
        """Return the session of a token, or None when there is none or it has ended. `used`: by a person's own hand."""
        if not token or not self.path.exists():
            return None
        at = micros(now)
        with self._open() as file:
            row = file.row(
                "SELECT session.person, began_at, seen_at, failed, temporary "
                "FROM session JOIN credential USING (person) WHERE token = ?",
                (_sha(token),),
            )
        if row is None or row[2] < at - _us(IDLE) or row[1] < at - _us(LONGEST):
            return None
        if used and row[2] < at - _us(SEEN):
            with self._writing() as file:
                file.run("UPDATE session SET seen_at = ? WHERE token = ?", (at, _sha(token)))
        return Session(person=row[0], began_at=moment(row[1]), failed=row[3], temporary=bool(row[4]))

    def told(self, token: str) -> None:
        """Note that the failed tries were told to whoever is signed in."""
        with self._writing() as file:
            file.run("UPDATE session SET failed = 0 WHERE token = ?", (_sha(token),))

    def end_session(self, token: str) -> None:
        """End a session: whoever holds its token holds nothing."""
        if self.path.exists():
            with self._writing() as file:
                file.run("DELETE FROM session WHERE token = ?", (_sha(token),))

    def end_sessions(self, person: str) -> None:
        """End every session of a person."""
        if self.path.exists():
            with self._writing() as file:
                file.run("DELETE FROM session WHERE person = ?", (person,))

    # --- other devices

    def network(self) -> bool:
        """Return whether other devices than the plant's own computer are answered."""
        if not self.path.exists():
            return False
        with self._open() as file:
            return file.row("SELECT 1 FROM setting WHERE name = 'network' AND value = 'on'") is not None

    def set_network(self, on: bool) -> None:
        """Answer other devices, or do not."""
        self._make()
        with self._writing() as file:
            file.run(
                "INSERT INTO setting VALUES ('network', ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value",
                ("on" if on else "off",),
            )

    # --- within

    @contextmanager
    def _open(self, *, read_only: bool = True) -> Iterator[Database]:
        file = Database(self.path, FILE, read_only=read_only)
        try:
            yield file
        finally:
            file.close()

    @contextmanager
    def _writing(self) -> Iterator[Database]:
        self._make()
        with self._open(read_only=False) as file, file.writing():
            yield file

    def _make(self) -> None:
        """Make the file, whole or not at all, unless it is there; nobody but its owner may read it."""
        if self.path.exists():
            return
        new = self.path.with_name(f".{self.path.name}.{os.getpid()}.{secrets.token_hex(4)}")
        try:
            new.touch(mode=0o600, exist_ok=False)
            connection = driver.connect(str(new), isolation_level=None)
            try:
                connection.execute("PRAGMA journal_mode = WAL")
                for statement in _TABLES:
                    connection.execute(statement)
                connection.execute(f"PRAGMA application_id = {FILE.application_id}")
                connection.execute(f"PRAGMA user_version = {FILE.version}")
            finally:
                connection.close()
            with suppress(FileExistsError):
                os.link(new, self.path)
        except driver.Error as fault:
            raise explained(fault, self.path) or fault from fault
        except OSError as fault:
            raise RecordsError(
                f"{self.path} cannot be made ({fault.strerror}), so nobody gets an account. Nothing was changed."
            ) from fault
        finally:
            for left in (new, new.with_name(f"{new.name}-wal"), new.with_name(f"{new.name}-shm")):
                left.unlink(missing_ok=True)


def _too_soon(file: Database, account: str, address: str, at: int, here: bool) -> int:
    """Return how long is to be waited before another try [µs]; 0 or less for not at all."""
    row = file.row(
        "SELECT count(*), max(at) FROM attempt WHERE account = ? AND address = ? AND at > ?",
        (account, address, at - _us(REMEMBERED)),
    )
    failed, last = (int(row[0]), row[1]) if row else (0, None)
    waits = [0]
    if failed >= FREE and last is not None:
        waits.append(int(last) + min(_us(MOST_WAIT), 1_000_000 << min(failed - FREE + 1, 20)) - at)
    recent = "SELECT at FROM attempt WHERE address = ? AND at > ? ORDER BY at DESC LIMIT ?"
    windows = [file.rows(recent, (address, at - _us(WINDOW), MOST_TRIES))]
    if not here:
        elsewhere = "SELECT at FROM attempt WHERE account = ? AND address <> 'here' AND at > ? ORDER BY at DESC LIMIT ?"
        windows.append(file.rows(elsewhere, (account, at - _us(WINDOW), MOST_TRIES)))
    waits += [int(some[-1][0]) + _us(WINDOW) - at for some in windows if len(some) >= MOST_TRIES]
    return max(waits)


def network_of(address: str) -> str:
    """Return what an address counts as: the plant's own computer, an IPv4 address, or a whole IPv6 network.

    >>> network_of("127.0.0.1"), network_of("192.168.1.20"), network_of("fe80::1:2:3:4")
    ('here', '192.168.1.20', 'fe80::/64')
    """
    try:
        found = ip_address(address.partition("%")[0])
    except ValueError:
        return "unknown"
    mapped = getattr(found, "ipv4_mapped", None)
    found = mapped or found
    if found.is_loopback:
        return "here"
    return str(found) if found.version == 4 else str(ip_network(f"{found}/64", strict=False))


def _sha(token: str) -> bytes:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).digest()


def _us(span: timedelta) -> int:
    return span // timedelta(microseconds=1)

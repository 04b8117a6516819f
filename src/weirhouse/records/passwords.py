"""How is a password kept and compared, and which one is too weak? Argon2id with the library's defaults.

Each hash takes 64 MiB, so at most two are worked out at once, a few more wait, and the rest are turned away: asking to
sign in a thousand times over cannot exhaust the memory of the plant's computer.
"""

import threading
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING

from weirhouse.records.model import RecordsError

if TYPE_CHECKING:
    from argon2 import PasswordHasher

AT_ONCE, WAITING, WAIT_S = 2, 8, 10.0  # hashes at once, those that may wait for them, and how long
LEAST, MOST = 10, 256  # characters

_turns = threading.BoundedSemaphore(AT_ONCE)
_waiting = threading.BoundedSemaphore(AT_ONCE + WAITING)


class PasswordError(RecordsError):
    """A password that cannot be taken: one sentence that says what to mend."""


class BusyError(RecordsError):
    """Too many are signing in at this moment."""


@lru_cache(maxsize=1)
def hasher() -> "PasswordHasher":
    """Return the one hasher, loaded at first need."""
    from argon2 import PasswordHasher

    return PasswordHasher()  # RFC 9106, second recommended choice: 64 MiB, 3 passes, 4 lanes


@lru_cache(maxsize=1)
def _nobodys() -> str:
    """Return the hash of a password that nobody has: an unknown name takes as long to refuse as a known one."""
    import secrets

    return hasher().hash(secrets.token_urlsafe(32))


def hashed(password: str) -> str:
    """Return what is stored of a password."""
    with _turn():
        return hasher().hash(_plain(password))


def matches(kept: str | None, password: str) -> bool:
    """Return whether a password is the one that was kept; None, for nobody, never is, and takes as long."""
    from argon2.exceptions import Argon2Error, InvalidHashError

    if len(password) > MOST:
        return False
    with _turn():
        try:
            return hasher().verify(kept or _nobodys(), _plain(password)) and kept is not None
        except (Argon2Error, InvalidHashError):
            return False


def require_strong(password: str, *names: str) -> None:
    """Refuse a password that is guessed at once. Length counts; no rule says which characters it must hold.

    So NIST SP 800-63B, 5.1.1.2 (from memory): a least length, any character, nothing taken from the name or the
    service, and no periodic change.
    """
    plain = _plain(password)
    if len(plain) < LEAST:
        raise PasswordError(f"The password is shorter than {LEAST} characters. A few words in a row are easy to keep.")
    if len(password) > MOST:
        raise PasswordError(f"The password is longer than {MOST} characters. Shorten it.")
    low = plain.casefold()
    if len(set(low)) < 5 or _runs(low):
        raise PasswordError("The password is one character or one row of keys again and again. Choose a few words.")
    for word in ("password", "weirhouse", *names):
        rest = low.replace(word.casefold(), "") if len(word) > 3 else low
        if len(rest) < 6 and rest != low:
            raise PasswordError(f'The password is hardly more than "{word}". Add a few words that others do not know.')


_ROWS = ("01234567890", "abcdefghijklmnopqrstuvwxyz", "qwertyuiop", "asdfghjkl", "zxcvbnm")


def _runs(low: str) -> bool:
    """Return whether a text is nothing but neighbours on the keyboard or in the alphabet."""
    pairs = {a + b for row in (*_ROWS, *(row[::-1] for row in _ROWS)) for a, b in pairwise(row)}
    near = sum(a + b in pairs for a, b in pairwise(low))
    return near >= len(low) - 3


def _plain(password: str) -> str:
    """Return the password in one form of Unicode, whichever keyboard it was typed on."""
    return unicodedata.normalize("NFKC", password)


@contextmanager
def _turn() -> Iterator[None]:
    if not _waiting.acquire(blocking=False):
        raise BusyError("Too many are signing in at this moment. Wait a few seconds, then try again.")
    try:
        if not _turns.acquire(timeout=WAIT_S):
            raise BusyError("Too many are signing in at this moment. Wait a few seconds, then try again.")
        try:
            yield
        finally:
            _turns.release()
    finally:
        _waiting.release()

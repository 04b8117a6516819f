"""How does another device prove that its user stands at the plant's computer? By a code shown there, good once.

It lives in the memory of the serving process alone, as a hash: it is in no file, and gone with the process.
"""

import hashlib
import hmac
import secrets
import threading
from datetime import datetime, timedelta

LASTS, TRIES = timedelta(minutes=30), 10
_LETTERS = "ABCDEFGHJKMNPQRSTVWXYZ23456789"  # none that is taken for another


class SetupCode:
    """One code: how long it holds, and how often it may still be tried."""

    def __init__(self, now: datetime) -> None:
        self.shown = "-".join("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(2))
        self._hash, self.until, self.left = _sha(self.shown), now + LASTS, TRIES
        self._lock = threading.Lock()

    def forget(self) -> str:
        """Return the code to be shown, and keep its hash alone."""
        shown, self.shown = self.shown, ""
        return shown

    def holds(self, now: datetime) -> bool:
        """Return whether the code can still be used."""
        return self.left > 0 and now < self.until

    def fits(self, typed: str, now: datetime) -> bool:
        """Return whether it is the code. Each question counts as a try."""
        with self._lock:
            if not self.holds(now):
                return False
            self.left -= 1
            return hmac.compare_digest(_sha(typed), self._hash)

    def use_up(self) -> None:
        """Make the code good for nothing."""
        with self._lock:
            self.left = 0


def _sha(text: str) -> bytes:
    plain = "".join(c for c in text.upper() if c.isalnum())
    return hashlib.sha256(plain.encode("utf-8", "surrogatepass")).digest()

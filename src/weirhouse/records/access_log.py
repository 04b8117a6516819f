"""Who came in, went, and changed who may? One entry in the chain for each, without any secret."""

from datetime import UTC, datetime

from weirhouse.records.model import Event
from weirhouse.records.store import Store

KIND = "access"
NOBODY = "not signed in"
SIGNED_IN, FAILED, SIGNED_OUT = "signed in", "sign-in failed", "signed out"
PASSWORD, CODE_MADE, CODE_USED = "password set", "set-up code made", "set-up code used"
ROLE, ACCOUNT, NETWORK, EXPORT, RESTORE = "role changed", "account", "network", "export", "restore"
CONFLICT = "same id with other content"  # sent by a device; what came first stays


def note(
    store: Store, what: str, *, person: str, now: datetime, subject: str = "", address: str = "", detail: str = ""
) -> None:
    """Add one entry: what happened, who did it, about whom (a person's id), from which address.

    Never hand over a password, a token, a code or a name that nobody has: it might be a mistyped password.
    """
    values: dict[str, float | str] = {"what": what}
    if address:
        values["address"] = address
    now = now.astimezone(UTC)
    event = Event(kind=KIND, started_at=now, subject=subject, values=values, person=person or NOBODY, note=detail)
    store.add_events([event], entered_at=now)

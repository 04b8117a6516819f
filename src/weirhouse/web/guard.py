"""Who may ask, and what goes with every answer? Host and origin are checked; the headers are on every route.

A page is answered only under a name the plant gave this computer, so that a foreign page cannot reach it by pointing
its own name here. A change is taken only from a page of ours.
"""

import logging
import secrets
from collections.abc import Callable, Collection
from ipaddress import ip_address

from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

log = logging.getLogger("weirhouse.web")

POLICY = (
    "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; "
    "script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'"
)
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=()"),
)
MOST_BODY = 256 * 1024  # [bytes] no form of ours comes near this
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})

_AGAIN = "Nothing was changed; enter it on the page itself."
Refusal = Callable[[Scope, int, str, str], Response]


def bare_host(host: str) -> str:
    """Return the name in a Host header without its port: ``[::1]:8000`` gives ``[::1]``.

    >>> bare_host("LocalHost:8000"), bare_host("[::1]:8000"), bare_host("[::1")
    ('localhost', '[::1]', '')
    """
    host = host.strip().lower()
    if host.startswith("["):
        inside, closed, _ = host.partition("]")
        return inside + closed if closed else ""
    return host.partition(":")[0]


class TooLargeError(Exception):
    """A body larger than any form of ours."""


class Guard:
    """The outermost layer: refuses what did not come from here, adds the headers, says a fault in one sentence."""

    def __init__(self, app: ASGIApp, *, hosts: Collection[str], refuse: Refusal, most: Callable[[Scope], int]) -> None:
        self.app, self.most = app, most
        self.hosts = frozenset(bare_host(h) for h in hosts)
        self.refuse = refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = False

        async def sending(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                message["headers"] = _with_ours(message.get("headers", []), scope["path"])
                if scope["scheme"] == "https":
                    message["headers"].append((b"strict-transport-security", b"max-age=31536000"))
            await send(message)

        refused = self._refused(scope)
        if refused is not None:
            await self.refuse(scope, *refused, "")(scope, receive, sending)
            return
        try:
            await self.app(scope, _limited(receive, self.most(scope)), sending)
        except TooLargeError:
            await self.refuse(scope, 413, "That is too much for one entry. Shorten it, then save again.", "")(
                scope, receive, sending
            )
        except Exception:
            number = secrets.token_hex(4)
            log.exception("fault %s at %s %s", number, scope["method"], scope["path"])
            if started:
                raise
            sentence = "Something went wrong here, and nothing was changed; go back and try again, or note the number."
            await self.refuse(scope, 500, sentence, number)(scope, receive, sending)

    def _known(self, host: str) -> bool:
        """Return whether a name is ours. A plain address is: a foreign page can only ever come under a name."""
        if host in self.hosts:
            return True
        try:
            ip_address(host.strip("[]"))
        except ValueError:
            return False
        return True

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        """Return status and sentence when a request is not to be answered."""
        found: dict[bytes, list[str]] = {}
        for name, value in scope["headers"]:
            found.setdefault(name.lower(), []).append(value.decode("latin-1"))
        hosts = found.get(b"host", [])
        if len(hosts) != 1 or not self._known(bare_host(hosts[0])):
            return 400, "This computer is not known here under that name; use the address that the plant gave you."
        if scope["method"] in SAFE:
            return None
        length = found.get(b"content-length", ["0"])[0]
        if not length.isdigit() or int(length) > self.most(scope):
            return 413, "That is too much for one entry. Shorten it, then save again."
        site, origin = found.get(b"sec-fetch-site"), found.get(b"origin")
        ours = f"{scope['scheme']}://{hosts[0].strip().lower()}"
        if site is None and origin is None:
            return 403, f"It cannot be told where this entry came from. {_AGAIN}"
        elsewhere = site is not None and site != ["same-origin"]
        if elsewhere or (origin is not None and [o.lower() for o in origin] != [ours]):
            return 403, f"This entry came from another page. {_AGAIN}"
        return None


def _limited(receive: Receive, most: int) -> Receive:
    taken = 0

    async def limited() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > most:
            raise TooLargeError
        return message

    return limited


def _with_ours(headers: list[tuple[bytes, bytes]], path: str) -> list[tuple[bytes, bytes]]:
    ours = {name for name, _ in HEADERS} | {b"server"}
    kept = [(name, value) for name, value in headers if name.lower() not in ours]
    if path.startswith("/static/"):
        kept = [(n, v) for n, v in kept if n.lower() != b"cache-control"] + [(b"cache-control", b"no-cache")]
    elif not any(name.lower() == b"cache-control" for name, _ in kept):
        kept.append((b"cache-control", b"no-store"))
    return kept + list(HEADERS)

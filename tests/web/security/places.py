"""Every address of the route table with something in place of what it leaves open, for tests that ask all of them."""

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

import httpx
from tests.web.conftest import OURS, Client

from weirhouse.records.store import Store
from weirhouse.web.routes import TABLE
from weirhouse.web.table import Batch, Files, Line, Upload

PLANT_NOW = datetime(2026, 6, 17, 18, 0, tzinfo=UTC)  # now of the small plant of the desk's tests
OPEN_PARTS = {
    "date": "2026-06-17", "day": "2026-06-17", "month": "2026-05", "channel": "raw_turbidity", "name": "detention_time",
    "kind": "start",
}  # fmt: skip
LINES = [line for line in TABLE if not isinstance(line, Files)]


def title(line: Line) -> str:
    return f"{type(line).__name__} {line.path}"


def address(line: Line, parts: Mapping[str, str] = OPEN_PARTS, other: str = "nothing") -> str:
    """Return an address that a line answers."""
    return re.sub(r"\{(\w+)(?::\w+)?\}", lambda found: parts.get(found[1], other), line.path)


def ask(
    client: Client, line: Line, form: Mapping[str, str] | None = None, headers: Mapping[str, str] = OURS
) -> httpx.Response:
    """Ask what a line answers: look, or send a form, a file or JSON with nothing usable in it."""
    where, sent = address(line), dict(form or {"nothing": "1"})
    if line.method == "GET":
        return client.get(where)
    if isinstance(line, Batch):
        return client.post(where, json=sent, headers=dict(headers))
    if isinstance(line, Upload):
        return client.post(where, data=sent, files={"file": ("a.csv", b"nothing")}, headers=dict(headers))
    return client.post(where, data=sent, headers=dict(headers))


def entries(folder: Path) -> int:
    """Return how many entries the records hold."""
    with Store.open(folder, read_only=True) as store:
        assert store.verify() == []
        return len(store.events()) + len(store.readings())


def guarded(answer: httpx.Response, cache: str = "no-store") -> None:
    """Hold the headers of an answer against S-2."""
    headers = answer.headers
    policy = headers["content-security-policy"]
    for rule in (
        "default-src 'self'",
        "frame-ancestors 'none'",
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'self'",
    ):
        assert rule in policy
    assert not re.search(r"unsafe|http:|https:|\*|data:", policy)
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["cache-control"] == cache
    assert "server" not in headers and "x-powered-by" not in headers
    assert "strict-transport-security" not in headers  # over plain HTTP it would mean nothing

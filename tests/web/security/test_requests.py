"""What comes with a request is held against it: headers, origin, host, paths, size, shape (S-2, 7, 8, 12, 13)."""

import http.client
import socket
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from starlette.responses import PlainTextResponse, Response
from tests.web.conftest import OURS, Client, client_of, served
from tests.web.security.conftest import as_role
from tests.web.security.places import LINES, PLANT_NOW, address, ask, entries, guarded, title

from weirhouse.records.roles import OPEN, Role
from weirhouse.web import create_app
from weirhouse.web.forms import SentFile
from weirhouse.web.guard import MOST_BODY
from weirhouse.web.routes import TABLE
from weirhouse.web.table import Batch, Line, Sent, Upload

SENDING = [line for line in LINES if line.method == "POST"]


@pytest.fixture(scope="module")
def shared(peopled: Path) -> Client:
    return client_of(peopled, PLANT_NOW)


@pytest.mark.parametrize(
    ("path", "more", "status"),
    [
        ("/static/weirhouse.css", {}, 200), ("/static/none", {}, 404), ("/nowhere", {}, 303),
        ("/", {"host": "x.example"}, 400),
        ("/nowhere.json", {}, 401),
        ("/log/undo", {}, 303),
    ],
)  # fmt: skip
def test_errors_and_static_files_carry_them_too(
    shared: Client, peopled: Path, path: str, more: dict[str, str], status: int
) -> None:
    answer = as_role(peopled, None, shared).get(path, headers=more)
    assert answer.status_code == status
    guarded(answer, "no-cache" if path.startswith("/static/") else "no-store")


def test_a_fault_of_ours_says_its_number_alone(bare: Path, caplog: pytest.LogCaptureFixture) -> None:
    def broken(*_: object) -> Response:
        raise RuntimeError("the inside of things")

    client = Client.__new__(Client)
    client.__init__(bare, PLANT_NOW, table=[Sent("/broken", broken, needs=OPEN), *TABLE])  # type: ignore[misc]
    answer = client.post("/broken", data={"password": "a secret of mine"}, headers=OURS)
    assert answer.status_code == 500
    guarded(answer)
    assert "inside of things" not in answer.text and "Traceback" not in answer.text
    assert "a secret of mine" not in caplog.text


# --- from another page: S-8 --------------------------------------------------------------------------------------

FOREIGN = (
    {},
    {"origin": "null"},
    {"origin": "http://elsewhere.example"},
    {"origin": "http://127.0.0.1:9999"},
    {"origin": "https://127.0.0.1"},
    {"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"},
    {"sec-fetch-site": "cross-site", "origin": "http://127.0.0.1"},
    {"sec-fetch-site": "same-site", "origin": "http://127.0.0.1"},
    {"sec-fetch-site": "none"},
)


@pytest.mark.parametrize("line", SENDING, ids=title)
def test_what_another_page_sends_is_refused(shared: Client, peopled: Path, line: Line) -> None:
    """A form, an image, a fetch with and without CORS, an origin that is missing: with the session's cookie."""
    as_role(peopled, Role.OPERATOR, shared)
    for headers in FOREIGN:
        assert ask(shared, line, headers=headers).status_code == 403, headers
    assert shared.get(address(line), headers={"sec-fetch-site": "cross-site"}).status_code in (200, 303, 307, 404, 405)


def test_nothing_of_it_was_written(own: Path) -> None:
    client, before = as_role(own, Role.OPERATOR), entries(own)
    form = {"text": "x", "time": "2026-06-17T13:40", "name": "Y", "role": "operator", "password_new": "abc def ghi jkl"}
    for line in SENDING:
        ask(client, line, form, {"origin": "http://elsewhere.example"})
        client.get(address(line), params=form)  # an image is asked for by GET
    assert entries(own) == before


@pytest.mark.parametrize(
    "host", ["elsewhere.example", "127.0.0.1.elsewhere.example", "localhost.elsewhere.example", "", "a b",
             "plant.example.", "[::1"]
)  # fmt: skip
def test_a_name_that_leads_here_by_somebody_elses_word_is_refused(shared: Client, host: str) -> None:
    """DNS rebinding: a foreign name that points to this computer."""
    for path in ("/", "/sign-in", "/static/weirhouse.css"):
        assert shared.get(path, headers={"host": host}).status_code == 400
    answer = shared.post("/sign-in", data={"name": "x"}, headers={"host": host, "origin": f"http://{host}"})
    assert answer.status_code == 400


def test_a_name_that_was_given_is_answered(peopled: Path) -> None:
    client = client_of(peopled, PLANT_NOW, hosts=["Plant.example"], base="http://plant.example:8421")
    assert client.get("/sign-in").status_code in (200, 403)
    assert client.get("/sign-in", headers={"host": "other.example"}).status_code == 400
    with_other = client.post("/look", data={"look": "dark"}, headers={"origin": "http://127.0.0.1:8421"})
    assert with_other.status_code == 403


# --- paths: S-7 --------------------------------------------------------------------------------------------------

PATHS = (
    "/static/../app.py",
    "/static/..%2fapp.py",
    "/static/%2e%2e/app.py",
    "/static/..%5capp.py",
    "/static/%2e%2e%2f%2e%2e%2fcli/main.py",
    "/static//etc/passwd",
    "/static/%2fetc%2fpasswd",
    "/static/..%252fapp.py",
    "/static/%00",
    "/static/weirhouse.css%00.png",
    "/static/..%c0%af..%c0%afapp.py",
    "/static/\\\\server\\share\\x",
    "/static/C:%5cWindows%5cwin.ini",
    "/static/CON",
    "/static/nul.css",
    "/static/....//....//app.py",
    "/static/.%2e/.%2e/.%2e/records.sqlite",
    "/records.sqlite",
    "/../records.sqlite",
    "/plant.toml",
    "/access.sqlite",
    "/static/access.sqlite",
    "/log/..%2f..%2fplant.toml",
    "/history/..%2frecords.sqlite",
    "/working/%2e%2e.json",
    "/figures/..%2f..%2fetc%2fpasswd",
    "//etc/passwd",
    "/%2e%2e/%2e%2e/etc/passwd",
)


@pytest.fixture(scope="module")
def there(peopled: Path) -> Iterator[tuple[str, int]]:
    with served(peopled, PLANT_NOW) as found:
        parts = urlsplit(found)
        assert parts.hostname and parts.port
        yield parts.hostname, parts.port


@pytest.mark.parametrize("path", PATHS)
def test_no_path_leads_out_of_the_static_folder(peopled: Path, there: tuple[str, int], path: str) -> None:
    cookie = as_role(peopled, Role.OPERATOR).cookies["weirhouse"]
    connection = http.client.HTTPConnection(*there, timeout=10)
    connection.putrequest("GET", path, skip_host=True)
    connection.putheader("Host", f"{there[0]}:{there[1]}")
    connection.putheader("Cookie", f"weirhouse={cookie}")
    connection.endheaders()
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    assert answer.status in (400, 404)
    for secret in (b"root:", b"create_app", b"SQLite format 3", b"system_id =", b"import click"):
        assert secret not in body


# --- files that are sent: S-12 -----------------------------------------------------------------------------------


@pytest.fixture
def uploads(bare: Path) -> tuple[Client, list[SentFile]]:
    taken: list[SentFile] = []

    def take(source: object, request: object, form: object, files: dict[str, SentFile]) -> Response:
        taken.extend(files.values())
        return PlainTextResponse("taken")

    table = [Upload("/take", take, needs=OPEN, most=1_000_000), *TABLE]
    return client_of(bare, PLANT_NOW, table=table), taken


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("week 42.csv", "week 42.csv"), ("../../records.sqlite", "records.sqlite"), ("..\\..\\a.csv", "a.csv"),
        ("/etc/passwd", "passwd"), ("C:\\x\\y.csv", "y.csv"), ("..", "file"), ("a" * 500, "a" * 120),
        ("x\u202ey.csv", "xy.csv"),
    ],
)  # fmt: skip
def test_the_name_of_a_file_is_a_word_and_no_path(
    bare: Path, uploads: tuple[Client, list[SentFile]], name: str, kept: str
) -> None:
    client, taken = uploads
    before = {file: file.read_bytes() for file in bare.rglob("*") if file.suffix in (".sqlite", ".toml")}
    assert client.post("/take", files={"file": (name, b"a,b\n1,2\n")}, headers=OURS).status_code == 200
    assert [(one.name, one.data) for one in taken] == [(kept, b"a,b\n1,2\n")]
    assert len(before) == 3
    assert {
        file: file.read_bytes() for file in bare.rglob("*") if file.suffix in (".sqlite", ".toml", ".csv")
    } == before


def test_no_file_is_larger_than_its_line_says(uploads: tuple[Client, list[SentFile]]) -> None:
    client, taken = uploads
    assert client.post("/take", files={"file": ("a", b"x" * 900_000)}, headers=OURS).status_code == 200
    assert client.post("/take", files={"file": ("a", b"x" * 1_100_000)}, headers=OURS).status_code == 413

    def endless() -> Iterator[bytes]:
        yield b'--b\r\nContent-Disposition: form-data; name="file"; filename="a"\r\n\r\n'
        for _ in range(50):
            yield b"x" * 100_000

    async def slowly():  # type: ignore[no-untyped-def]
        for part in endless():
            yield part

    headers = {**OURS, "content-type": "multipart/form-data; boundary=b"}
    assert client.post("/take", content=slowly(), headers=headers).status_code == 413
    assert len(taken) == 1


def test_too_many_files_and_files_where_none_belong_are_refused(uploads: tuple[Client, list[SentFile]]) -> None:
    client, taken = uploads
    many = [(f"f{n}", ("a", b"x")) for n in range(50)]
    assert client.post("/take", files=many, headers=OURS).status_code == 400
    assert client.post("/look", files={"look": ("a", b"x")}, headers=OURS).status_code in (400, 413)
    assert taken == []


# --- too much, too deep, too slow: S-13 --------------------------------------------------------------------------


@pytest.mark.parametrize("line", [one for one in SENDING if isinstance(one, Batch)], ids=title)
def test_json_is_taken_in_bounds(shared: Client, peopled: Path, line: Line) -> None:
    as_role(peopled, Role.OPERATOR, shared)
    headers = {**OURS, "content-type": "application/json"}
    began = time.process_time()
    for body in (
        b"[" * 100_000, b'{"a":' * 40_000, b"{", b"\xff\xfe", b"NaN", b"1e999", b'"' + b"x" * 200_000 + b'"', b"null",
        b"[]", b"{}",
        b'{"person": 1, "cells": [[]]}', b'{"person": [], "cells": {}}', b'{"cells": [' + b"{}," * 3000 + b"{}]}",
    ):  # fmt: skip
        answer = shared.post(address(line), content=body, headers=headers)
        assert 400 <= answer.status_code < 500, (body[:40], answer.status_code)
        assert "error" in answer.json()
    assert shared.post(address(line), content=b"[" * (MOST_BODY + 1), headers=headers).status_code == 413
    assert time.process_time() - began < 5


def test_a_form_is_taken_in_bounds(shared: Client, peopled: Path) -> None:
    as_role(peopled, Role.OPERATOR, shared)
    post = f"/log/{PLANT_NOW.date()}/note"
    assert shared.post(post, data={f"f{n}": "1" for n in range(1000)}, headers=OURS).status_code == 400
    assert shared.post(post, data={"text": "x" * 30_000}, headers=OURS).status_code == 413
    headers = {**OURS, "content-length": "99999999999"}
    assert shared.post(post, content=b"text=x", headers=headers).status_code == 413


def test_slow_ones_do_not_keep_others_waiting(there: tuple[str, int]) -> None:
    """S-13, scaled down: 150 connections that never finish their request; the others' p95 stays under 1 s."""
    slow = []
    try:
        for n in range(150):
            connection = socket.create_connection(there, timeout=5)
            connection.sendall(
                b"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 5000\r\nX-" + b"a" * (n % 7)
            )
            slow.append(connection)

        def one(_: int) -> float:
            began = time.monotonic()
            with suppress(http.client.HTTPException):
                connection = http.client.HTTPConnection(*there, timeout=10)
                connection.request("GET", "/sign-in")
                assert connection.getresponse().status == 200
                connection.close()
            return time.monotonic() - began

        with ThreadPoolExecutor(4) as pool:
            took = sorted(pool.map(one, range(40)))
        assert took[37] < 1.0, took
    finally:
        for connection in slow:
            connection.close()


def test_the_guard_stands_before_everything(bare: Path) -> None:
    names = [layer.cls.__name__ for layer in create_app(bare).user_middleware]  # type: ignore[attr-defined]
    assert names == ["Guard", "Door"]

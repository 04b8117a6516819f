"""What holds without anybody's doing: this computer alone is answered, nothing goes out, no account is there (S-14)."""

import http.client
import os
import re
import shutil
import socket
import ssl
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from tests.web.security.watch import watched

from weirhouse.records.access import Access

PATIENCE = 60.0


@contextmanager
def serving(folder: Path, *more: str) -> Iterator[tuple[subprocess.Popen[str], list[str], int]]:
    """Serve as a user does, on a free port; give the process, what it said so far, and the port."""
    process = subprocess.Popen(
        [sys.executable, "-m", "weirhouse", "serve", "--plant", str(folder), "--port", "0", *more],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    said: list[str] = []
    assert process.stdout is not None
    reader = threading.Thread(target=lambda: said.extend(process.stdout), daemon=True)  # type: ignore[arg-type]
    reader.start()
    try:
        until, port = time.monotonic() + PATIENCE, 0
        while not port and time.monotonic() < until and process.poll() is None:
            found = re.search(r"://\S+:(\d+)/ ", "".join(said))
            port = int(found[1]) if found else 0
            time.sleep(0.05)
        assert port, said
        while time.monotonic() < until:
            try:
                socket.create_connection(("127.0.0.1", port), timeout=1).close()
                break
            except OSError:
                time.sleep(0.05)
        yield process, said, port
    finally:
        process.terminate()
        try:
            process.wait(15)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(15)
        reader.join(5)
        process.stdout.close()


def listening(pid: int) -> set[str]:
    """Return the addresses [hexadecimal] on which a process listens, as Linux tells them."""
    inodes = set()
    for link in Path(f"/proc/{pid}/fd").iterdir():
        try:
            found = re.match(r"socket:\[(\d+)\]", str(link.readlink()))
        except OSError:
            continue
        inodes |= {found[1]} if found else set()
    tables = [Path(f"/proc/{pid}/net/{name}").read_text() for name in ("tcp", "tcp6")]
    rows = [row.split() for table in tables for row in table.splitlines()[1:]]
    return {row[1].partition(":")[0] for row in rows if row[3] == "0A" and row[9] in inodes}


def asked(port: int, path: str, **headers: str) -> tuple[int, str]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    connection.request("GET", path, headers=headers)
    answer = connection.getresponse()
    found = answer.status, answer.read().decode()
    connection.close()
    return found


@pytest.mark.skipif(not Path("/proc/self/net/tcp").exists(), reason="asks Linux who listens where")
def test_served_without_a_word_it_listens_to_this_computer_alone(bare_copy: Path) -> None:
    with serving(bare_copy) as (process, said, port):
        assert asked(port, "/figures")[0] == 200
        assert listening(process.pid) == {"0100007F"}  # 127.0.0.1, and no other
        assert "code" not in "".join(said)
    assert not Access(bare_copy).path.exists()


@pytest.mark.skipif(not Path("/proc/self/net/tcp").exists(), reason="asks Linux who listens where")
def test_for_other_devices_a_code_is_shown_in_the_terminal_alone(bare_copy: Path) -> None:
    with serving(bare_copy, "--host", "0.0.0.0", "--name", "plant.example") as (process, said, port):
        text = "".join(said)
        code = re.search(r"with the code  ([A-Z0-9]{4}-[A-Z0-9]{4})  ", text)
        assert code and "Nobody has an account yet" in text
        assert listening(process.pid) == {"00000000"}
        assert asked(port, "/", Host="plant.example")[0] == 403  # a name of the network: no longer this computer
        status, page = asked(port, "/setup", Host="plant.example")
        assert status == 200 and 'name="code"' in page and code[1] not in page
        assert asked(port, "/", Host="other.example")[0] == 400
        assert asked(port, "/figures")[0] == 200
    for file in bare_copy.rglob("*"):
        assert not file.is_file() or code[1].encode() not in file.read_bytes()


@pytest.mark.skipif(shutil.which("openssl") is None, reason="makes a certificate with openssl")
def test_with_a_certificate_it_is_served_over_https(bare_copy: Path, tmp_path: Path) -> None:
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2",
         "-keyout", str(key), "-out", str(certificate), "-subj", "/CN=localhost",
         "-addext", "subjectAltName=IP:127.0.0.1"],
        check=True, capture_output=True,
    )  # fmt: skip
    with serving(bare_copy, "--certificate", str(certificate), "--key", str(key)) as (_, said, port):
        assert f"https://127.0.0.1:{port}/" in "".join(said)
        connection = http.client.HTTPSConnection(
            "127.0.0.1", port, timeout=30, context=ssl.create_default_context(cafile=str(certificate))
        )
        connection.request("GET", "/setup")
        answer = connection.getresponse()
        assert answer.status == 200
        assert answer.headers["strict-transport-security"]
        answer.read()
        connection.close()


def test_the_watch_would_tell() -> None:
    with watched() as tried, socket.socket() as other, pytest.raises(OSError):
        other.connect(("127.0.0.1", 9))
    assert [event for event, _ in tried] == ["socket.connect"]

"""Files that are sent through the pages: size, packing, kind and name are held against them (S-7, S-12)."""

import gzip
import io
import zipfile
from pathlib import Path

import pytest
from tests.web.conftest import OURS, Client
from tests.web.security.conftest import as_role
from tests.web.security.places import entries

from weirhouse.records.roles import Role
from weirhouse.web.routes import TABLE
from weirhouse.web.table import Upload

SENDERS = [line.path for line in TABLE if isinstance(line, Upload)]
NAMES = (
    "../../records.sqlite", "..\\..\\plant.toml", "/etc/cron.d/x", "C:\\autoexec.bat", "\\\\server\\share\\x.csv",
    "..", ".",
    "CON.csv",
    "nul", ".bashrc", "-rf", "a/b/c.csv", "x" * 400 + ".csv", "..%2f..%2fplant.toml", "access.sqlite", "\u202egnp.csv",
    "=cmd|x.csv",
)  # fmt: skip
PICKED = (
    *NAMES,
    "../plant.toml",
    "../access.sqlite",
    "/etc/passwd",
    "../../../../etc/passwd",
    "inbox/../../plant.toml",
    "",
)


def zipped() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("../../evil.csv", "time,x\n")
    return out.getvalue()


KINDS = {
    "program": b"MZ\x90\x00" + bytes(range(256)) * 8,
    "picture": b"\x89PNG\r\n\x1a\n" + bytes(512),
    "archive": zipped(),
    "page": b"<html><script>window.ran=1</script></html>",
    "nothing but zeros": bytes(4096),
    "another plant's records": b"SQLite format 3\x00" + bytes(4096),
    "one long line": b"x," * 100_000,
}


def inside(folder: Path) -> dict[str, bytes]:
    """Return what lies in and around the plant's folder and was not sent."""
    around = [file for file in folder.parent.rglob("*") if file.is_file()]
    parts = [file.relative_to(folder.parent) for file in around]
    return {
        str(part): (folder.parent / part).read_bytes()
        for part in parts
        if part.parts[1:2] != ("sent",) and not part.name.endswith(("-shm", "-wal"))
    }  # fmt: skip


@pytest.fixture
def sender(own: Path) -> tuple[Client, Path]:
    return as_role(own, Role.RELIEF), own


def test_there_are_places_to_send_to() -> None:
    assert len(SENDERS) >= 2


@pytest.mark.parametrize("path", SENDERS)
def test_no_name_leads_anywhere(sender: tuple[Client, Path], path: str) -> None:
    client, folder = sender
    before, count = inside(folder), entries(folder)
    for n, name in enumerate(NAMES):
        answer = client.post(
            path, files={"file": (name, f"time,x\n2026-06-17 10:0{n % 10},{n}\n".encode())}, headers=OURS
        )
        assert answer.status_code in (303, 422), (name, answer.status_code)
    assert {name: data for name, data in inside(folder).items() if name not in before or before[name] != data} == {}
    assert entries(folder) == count
    for file in (folder / "sent").rglob("*"):
        assert len(file.name) <= 120 and not file.name.startswith((".", "-", "="))
        assert file.is_dir() or file.stat().st_mode & 0o111 == 0


@pytest.mark.parametrize("path", SENDERS)
def test_what_is_too_large_or_packed_too_well_is_not_taken(sender: tuple[Client, Path], path: str) -> None:
    client, folder = sender
    bomb = gzip.compress(bytes(20_000_000))
    assert len(bomb) < 50_000
    answer = client.post(path, files={"file": ("log.csv.gz", bomb)}, headers=OURS)
    assert answer.status_code == 422 and "unpack" in answer.text
    huge = {**OURS, "content-length": str(60 * 2**20), "content-type": "multipart/form-data; boundary=b"}
    assert client.post(path, content=b"--b", headers=huge).status_code == 413
    assert client.post(path, data={"nothing": "1"}, headers=OURS).status_code == 422
    kept = [file for file in (folder / "sent").rglob("*") if file.is_file()] if (folder / "sent").exists() else []
    assert kept == []


@pytest.mark.parametrize("path", SENDERS)
@pytest.mark.parametrize("kind", KINDS)
def test_what_is_no_table_is_said_in_one_sentence_and_never_run(
    sender: tuple[Client, Path], path: str, kind: str
) -> None:
    client, folder = sender
    count = entries(folder)
    answer = client.post(path, files={"file": ("log.csv", KINDS[kind], "text/csv")}, headers=OURS)
    if answer.status_code == 303:
        answer = client.get(answer.headers["location"])
    assert answer.status_code in (200, 400, 422), answer.text
    assert answer.headers["content-type"].startswith("text/html")
    assert "window.ran=1</script>" not in answer.text and "Traceback" not in answer.text
    assert 'role="alert"' in answer.text or 'id="refusal"' in answer.text
    assert entries(folder) == count


def test_no_file_is_picked_from_beyond_the_inbox(sender: tuple[Client, Path]) -> None:
    client, folder = sender
    before = inside(folder)
    for name in PICKED:
        answer = client.post("/imports/pick", data={"name": name}, headers=OURS)
        assert answer.status_code == 422, name
        assert "system_id" not in answer.text and "root:" not in answer.text
    assert inside(folder) == before


def test_a_file_from_somebody_who_is_not_signed_in_is_not_read_and_said_so(own: Path) -> None:
    client = as_role(own, None)
    for path in SENDERS:
        headers = {**OURS, "referer": "http://127.0.0.1/imports?x=1"}
        answer = client.post(path, files={"file": ("log.csv", b"time,x\n")}, headers=headers)
        assert answer.status_code == 401
        assert "choose it again" in answer.text and 'name="to" value="/imports"' in answer.text
    assert not (own / "sent").exists()

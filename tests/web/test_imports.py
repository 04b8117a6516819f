"""Files are brought in as they were looked at: same code, same bytes; twice is once, and one is withdrawn whole."""

import gzip
import hashlib
import re
import shutil
import threading
from datetime import timedelta
from html import unescape
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from tests.desk.scene import NOW, Scene
from tests.web.accounts import signed_in
from tests.web.conftest import OURS, Client, client_of

from weirhouse import plant as plants
from weirhouse.records.importing import kept
from weirhouse.records.store import Store
from weirhouse.web import imports as pages

NEW_YORK = ZoneInfo("America/New_York")
LOGGER = (
    "Date Time,Raw Turbidity (NTU),Plant Flow (gpm),Spare\n"
    + "".join(f"2026-05-{day:02d} {hour:02d}:00,{3 + hour / 10:.1f},140,x\n" for day in (1, 2) for hour in range(24))
).encode()  # 96 values


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("imports") / "plant"
    Scene(folder).quiet().build().close()
    return folder


@pytest.fixture
def own(quiet: Path, tmp_path: Path) -> tuple[Client, Path]:
    folder = shutil.copytree(quiet, tmp_path / "plant", ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    return signed_in(client_of(folder, NOW), folder, now=NOW), folder


def send(client: Client, data: bytes, name: str = "june.csv") -> tuple[int, str]:
    answer = client.post("/imports/send", files={"file": (name, data, "text/csv")}, headers=OURS)
    return answer.status_code, answer.headers.get("location", "") or unescape(answer.text)


def bring(client: Client, path: str, **form: str) -> tuple[int, str]:
    answer = client.post(path, data={"do": "import", "person": "x", "id": path, **form}, headers=OURS)
    return answer.status_code, answer.headers.get("location", "") or unescape(answer.text)


def said(html: str) -> str:
    return " ".join(re.findall(r'role="alert"><p>(.*?)</p>', html, re.DOTALL))


def imports(folder: Path) -> list[Any]:
    with Store.open(folder, read_only=True) as store:
        return store.imports()


def test_a_file_is_looked_at_then_stored_as_shown_and_kept_as_it_came(own: tuple[Client, Path]) -> None:
    client, folder = own
    status, path = send(client, LOGGER)
    digest = hashlib.sha256(LOGGER).hexdigest()
    assert (status, path) == (303, f"/imports/file/{digest}")
    html = unescape(client.get(path).text)
    assert "96 values would be stored" in html
    assert "from Friday 1 May 2026, 00:00 EDT to Saturday 2 May 2026, 23:00 EDT" in html
    assert "3 NTU" in html and "5.3 NTU" in html and "“Spare”" in html
    assert imports(folder) == []
    status, where = bring(client, path)
    assert status == 303 and where.startswith("/imports?done=")
    (one,) = imports(folder)
    assert (one.values, one.digest, one.person, one.name) == (96, digest, "A. Operator", "june.csv")
    listed = unescape(client.get(where).text)
    assert "june.csv is in the records: 96 values, 2026-05-01 00:00 to 2026-05-02 23:00." in listed
    assert digest in listed
    assert not (folder / "sent" / digest).exists()  # it waits no longer, and is kept with the records
    file = client.get(f"/imports/{one.id}/original")
    assert file.content == LOGGER and 'filename="june.csv"' in file.headers["content-disposition"]
    assert client.get("/imports/nothing/original").status_code == 404
    with Store.open(folder, read_only=True) as store:
        assert store.original(one.id) == LOGGER
        assert store.verify() == []


NIGHT = "".join(f"2025-11-02 {h}:{m:02d},{i}\n" for i, (h, m) in enumerate(
    [(0, 30), (1, 0), (1, 30), (1, 0), (1, 30), (2, 0)]))  # fmt: skip
FILES = {
    "commas.csv": "Zeit;Raw Turbidity (NTU)\n14.05.2026 10:00;3,25\n14.05.2026 10:15;<0,1\n14.05.2026 10:30;OVER\n",
    "night.csv": "time,raw turbidity (NTU)\n" + NIGHT,
    "long.csv": "date,parameter,value,unit\n2026-05-14,pH raw,7.4,\n2026-05-15,Raw turbidity,3.2,NTU\n",
    "bad lines.csv": "time,raw turbidity (NTU)\n2026-05-14 10:00,3\nnever,4\n2026-05-14 10:30,5x\n2026-05-14 11:00,\n",
    "twice.csv": "time,raw turbidity (NTU)\n2026-05-14 10:00,3\n2026-05-14 10:00,3\n2026-05-14 10:00,4\n",
    "tab.txt": "time\traw turbidity (NTU)\traw ph\n2026-05-14 10:00\t3\t7.1\n",
}


@pytest.mark.parametrize("name", FILES)
def test_what_is_shown_is_what_is_stored(own: tuple[Client, Path], name: str) -> None:
    """E-5: the counts, the ends and the extremes of the page against what then stands in the records."""
    client, folder = own
    _, path = send(client, FILES[name].encode(), name)
    html = unescape(client.get(path).text)
    shown = re.search(r"([\d,]+) values? would be stored", html)
    assert shown is not None, said(html)
    rows = re.findall(r'<tr><th scope="row">.*?</th><td>(.*?)</td><td class="right num">(\d+)', html)
    status, where = bring(client, path)
    assert status == 303, said(where)
    (one,) = imports(folder)
    assert one.stored == int(shown[1]) == sum(int(count) for _, count in rows)
    ends = [f"{at.astimezone(NEW_YORK):%d %B %Y, %H:%M %Z}".lstrip("0") for at in (one.first, one.last)]
    for end in ends:
        assert end in html
    with Store.open(folder, read_only=True) as store:
        names = {channel.name: id for id, channel in plants.load(folder).channels.items()}
        for title, count in rows:
            since, until = one.first, one.last + timedelta(seconds=1)
            series = store.values(names[title], since, until, readings=False)
            typed = [r for r in store.readings(names[title], since, until) if r.note]
            assert len(series) + len(typed) == int(count)


def test_the_same_file_again_adds_nothing_and_says_so(own: tuple[Client, Path]) -> None:
    client, folder = own
    _, path = send(client, LOGGER)
    bring(client, path)
    _, again = send(client, LOGGER, "copy of june.csv")
    assert again == path
    html = unescape(client.get(path).text)
    assert "Nothing new would be stored; 96 are in the records already." in html
    assert 'value="import"' not in html
    status, where = bring(client, path, id="another form")
    assert (status, where) == (303, "/imports?same=96")
    assert len(imports(folder)) == 1
    assert "Nothing was added: all 96 values" in client.get(where).text


def test_an_import_is_withdrawn_whole_with_a_reason_and_may_come_again(own: tuple[Client, Path]) -> None:
    client, folder = own
    _, path = send(client, LOGGER)
    bring(client, path)
    (one,) = imports(folder)
    answer = client.post(f"/imports/{one.id}/withdraw", data={"reason": " ", "person": "x"}, headers=OURS)
    assert answer.status_code == 422 and "why" in said(answer.text)
    answer = client.post(f"/imports/{one.id}/withdraw", data={"reason": "wrong logger", "person": "x"}, headers=OURS)
    assert answer.status_code == 303
    html = unescape(client.get("/imports").text)
    assert "<s>june.csv</s>" in html and "withdrawn 2026-06-17 14:00 by A. Operator: wrong logger" in html
    with Store.open(folder, read_only=True) as store:
        assert len(store.values("raw_turbidity", one.first, one.last, readings=False)) == 0
    send(client, LOGGER)
    status, where = bring(client, path, id="once more")
    assert status == 303 and "done=" in where
    assert [i.withdrawn is None for i in imports(folder)] == [False, True]


def test_dates_that_can_be_either_are_asked_and_the_answer_is_remembered(own: tuple[Client, Path]) -> None:
    client, folder = own
    data = b"time,raw turbidity (NTU)\n05/06/2026 10:00,4.25\n06/06/2026 10:00,4.5\n"
    _, path = send(client, data, "creek 05.csv")
    html = unescape(client.get(path).text)
    assert "day first or month first" in said(html) and "choose it below" in said(html)
    assert 'value="import"' not in html
    looked = client.post(path, data={"do": "look", "order": "dmy"}, headers=OURS)
    assert "from Friday 5 June 2026, 10:00 EDT to Saturday 6 June 2026, 10:00 EDT" in unescape(looked.text)
    status, _ = bring(client, path, order="dmy", remember="creek")
    assert status == 303
    assert (folder / "mappings" / "creek.toml").read_text() == 'date_order = "dmy"\n'
    _, second = send(client, data.replace(b"2026 10", b"2026 11"), "creek 06.csv")
    html = unescape(client.get(second).text)
    assert "2 values would be stored" in html and "Friday 5 June 2026, 11:00" in html


def test_the_clock_is_asked_where_the_file_runs_through_a_change(own: tuple[Client, Path]) -> None:
    client, _ = own
    night = "".join(f"2025-11-02 {m // 60:02d}:{m % 60:02d},{m}\n" for m in range(0, 240, 15))
    _, path = send(client, b"time,raw turbidity (NTU)\n" + night.encode(), "night.csv")
    html = unescape(client.get(path).text)
    assert "Which clock" in said(html)
    looked = unescape(client.post(path, data={"do": "look", "clock": "standard"}, headers=OURS).text)
    assert "16 values would be stored" in looked and "Change night" in looked


def test_columns_are_named_by_hand(own: tuple[Client, Path]) -> None:
    client, folder = own
    data = b"time,Probe A\n2026-05-01 10:00,4.25\n2026-05-01 11:00,4.5\n"
    _, path = send(client, data, "probe.csv")
    html = unescape(client.get(path).text)
    assert said(html)
    form = {"by_hand": "yes", "heading.0": "Probe A", "channel.0": "raw_turbidity", "unit.0": "NTU"}
    looked = unescape(client.post(path, data={"do": "look", **form}, headers=OURS).text)
    assert "2 values would be stored" in looked
    assert bring(client, path, **form, remember="probe")[0] == 303
    with Store.open(folder, read_only=True) as store:
        (one,) = store.imports()
        assert store.values("raw_turbidity", one.first, None, readings=False).values[0] == 4.25
    assert "Probe A" in (folder / "mappings" / "probe.toml").read_text()


def test_the_inbox_is_offered_and_its_files_are_picked(own: tuple[Client, Path]) -> None:
    client, folder = own
    (folder / "inbox").mkdir()
    (folder / "inbox" / "week.csv").write_bytes(LOGGER)
    (folder / "inbox" / "link.csv").symlink_to(folder / "plant.toml")
    html = unescape(client.get("/imports").text)
    assert "week.csv, 1 kB" in html and "link.csv" not in html
    answer = client.post("/imports/pick", data={"name": "week.csv"}, headers=OURS)
    assert answer.status_code == 303
    assert (folder / "inbox" / "week.csv").exists()
    for name in ("../plant.toml", "link.csv", "/etc/passwd", ""):
        answer = client.post("/imports/pick", data={"name": name}, headers=OURS)
        assert answer.status_code == 422 and "inbox" in said(answer.text)


# S-12: type, 50 MB, tenfold unpacking, and names that are never paths.
@pytest.mark.parametrize(
    ("data", "name", "says"),
    [
        (b"", "empty.csv", "is empty"),
        (b"%PDF-1.7 ...", "report.csv", "is a PDF, not text"),
        (b"PK\x03\x04 and so on", "book.xlsx", "is a spreadsheet or zip file"),
        (gzip.compress(b"0" * 5_000_000, mtime=0), "bomb.csv.gz", "would unpack to more than 10 times its size"),
        (gzip.compress(LOGGER, mtime=0)[:60], "torn.csv.gz", "ends early"),
        (b"no table here\n", "letter.txt", "."),
    ],
)
def test_what_is_no_file_of_readings_is_refused_in_one_sentence(
    own: tuple[Client, Path], data: bytes, name: str, says: str
) -> None:
    client, folder = own
    status, where = send(client, data, name)
    html = where if status == 422 else unescape(client.get(where).text)
    assert says in said(html)
    assert said(html).count(". ") <= 1
    assert imports(folder) == []


def test_a_file_beyond_fifty_megabytes_is_refused(own: tuple[Client, Path]) -> None:
    client, folder = own
    status, _ = send(client, b"0" * (50 * 2**20 + 1))
    assert status == 413
    assert not (folder / "sent").exists()


def beside(folder: Path) -> set[Path]:
    """What lies in and around a plant's folder, but for the kept files and what a database makes for itself."""
    found = {p.relative_to(folder.parent) for p in folder.parent.rglob("*") if not p.name.endswith(("-wal", "-shm"))}
    return {p for p in found if "sent" not in p.parts}


@pytest.mark.parametrize(
    "name",
    ["../../plant.toml", "..\\..\\records.sqlite", "/etc/cron.d/x", ".htaccess", "a\x00b.csv", "<b>.csv", "=1.csv"],
)
def test_a_name_is_never_a_path(own: tuple[Client, Path], name: str) -> None:
    client, folder = own
    before = beside(folder)
    status, path = send(client, LOGGER, name)
    assert status == 303
    (file,) = (folder / "sent" / path.rpartition("/")[2]).iterdir()
    assert re.fullmatch(r"\w[\w .,()+-]*", file.name)
    assert beside(folder) == before
    assert "<b>" not in client.get(path).text


def test_a_kept_file_that_was_changed_is_refused(own: tuple[Client, Path]) -> None:
    client, folder = own
    _, path = send(client, LOGGER)
    (file,) = (folder / "sent" / path.rpartition("/")[2]).iterdir()
    file.write_bytes(LOGGER.replace(b"140", b"141"))
    with pytest.raises(ValueError, match="was changed since it was sent"):
        kept.find(folder, path.rpartition("/")[2])
    assert client.get(path).status_code in (422, 503)
    assert client.get("/imports/file/none").status_code == 404


def test_into_a_closed_month_it_comes_with_a_reason(own: tuple[Client, Path]) -> None:
    client, folder = own
    assert client.post("/log/2026-05-01/close", data={"person": "x", "note": ""}, headers=OURS).status_code == 303
    _, path = send(client, LOGGER)
    looked = client.get(path).text
    assert "was closed by" in looked and 'name="late"' in looked, "told before anything is sent"
    status, html = bring(client, path)
    assert status == 422 and "was closed by" in said(html) and 'name="late"' in html
    assert imports(folder) == []
    assert bring(client, path, late="logger was away", id="two")[0] == 303
    assert len(imports(folder)) == 1


def test_a_long_import_says_how_far_it_is(own: tuple[Client, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    client, folder = own
    go_on = threading.Event()
    real = pages.import_file

    def slow(*given: Any, tick: Any, **more: Any) -> Any:
        tick(0.4)
        assert go_on.wait(20)
        return real(*given, tick=tick, **more)

    _, path = send(client, LOGGER)
    client.get(path)
    monkeypatch.setattr(pages, "import_file", slow)
    status, where = bring(client, path)
    assert status == 303 and where.startswith("/imports/job/")
    answer = client.get(where)
    assert answer.headers["refresh"] == "1" and "40 % done" in answer.text and 'value="40"' in answer.text
    assert imports(folder) == []
    go_on.set()
    done = client.get(where)
    assert done.status_code == 303 and done.headers["location"].startswith("/imports?done=")
    assert len(imports(folder)) == 1
    assert client.get("/imports/job/none").status_code == 404

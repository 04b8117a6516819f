"""What do the addresses answer, without a browser: status, headers, one sentence for what is wrong."""

import json
import re
import shutil
from collections.abc import AsyncIterator
from datetime import timedelta
from html import unescape
from pathlib import Path

import pytest
from tests.desk.scene import today_at
from tests.web.conftest import NOW, OURS, Client, client_of

from weirhouse.desk.today_json import today_json
from weirhouse.plant import load
from weirhouse.records.store import Store

PLACES = ("/", "/figures", "/plant", "/log/2026-10-31", "/timetable", "/history/raw_turbidity", "/working/plant_flow")
EVERY = (
    *PLACES,
    "/today.json",
    "/timetable.json",
    "/static/weirhouse.css",
    "/static/none",
    "/nowhere",
    "/log",
    "/?at=no",
)


def words(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", html.partition("</head>")[2])).split())


def sentence(html: str) -> str:
    found = re.search(r'id="refusal">([^<]*)<', html)
    assert found is not None
    return unescape(found[1])


@pytest.mark.parametrize("path", EVERY)
def test_every_answer_carries_the_headers(client: Client, path: str) -> None:
    headers = client.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert "http:" not in policy and "https:" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["x-frame-options"] == "DENY"
    assert "server" not in headers
    assert headers["cache-control"] == ("no-cache" if path.startswith("/static") else "no-store")


@pytest.mark.parametrize("path", PLACES)
def test_a_page_holds_no_inline_style_or_script_and_nothing_from_elsewhere(client: Client, path: str) -> None:
    html = client.get(path).text
    assert not re.search(r"<style|\sstyle=|\son\w+=|javascript:", html)
    assert all(re.search(r'src="/static/', tag) for tag in re.findall(r"<script[^>]*>", html))
    assert not re.search(r'(?:src|href|action)="(?:https?:)?//', html)


@pytest.mark.parametrize("path", PLACES)
def test_places_that_are_named_exist(client: Client, path: str) -> None:
    nav = client.get(path).text.split('<nav class="places"')[1].split("</nav>")[0]
    links = re.findall(r'href="([^"]+)"', nav)
    assert {"/", "/proof", "/figures", "/plant", "/log"} <= set(links)
    assert {client.get(link).status_code for link in links} <= {200, 307}


def test_every_link_of_today_leads_somewhere(client: Client) -> None:
    html = client.get("/").text
    links = {unescape(link) for link in re.findall(r'href="(/[^"#]*)', html) if not link.startswith("/timetable?")}
    assert len(links) > 40
    assert {
        link: client.get(link).status_code for link in links if client.get(link).status_code not in (200, 307)
    } == {}


def test_today_json_is_that_of_the_desk(client: Client, demo_folder: Path) -> None:
    plant = load(demo_folder)
    with Store.open(demo_folder, read_only=True) as store:
        last = store.span()[1]
        assert last is not None
        found = today_at(store, plant, last, demo_folder)
    assert client.get("/today.json").json() == json.loads(json.dumps(today_json(found, plant.unit_set)))


def test_an_instant_can_be_asked_for(client: Client) -> None:
    early = client.get("/today.json", params={"at": "2026-10-30 17:00"}).json()
    assert early["at"] == "2026-10-30T17:00:00-04:00"
    page = client.get("/", params={"at": "2026-10-30 17:00"}).text
    assert "Friday 30 October 2026, 17:00 EDT" in words(page)
    assert "/working/plant_flow?at=2026-10-30T21%3A00%3A00Z" in page


@pytest.mark.parametrize("path", ["/", "/plant", "/timetable", "/history/raw_turbidity", "/working/plant_flow"])
@pytest.mark.parametrize("asked", ["yesterday", "2026-13-01", "2026-03-08 02:30", "1e9"])
def test_a_time_that_cannot_be_gives_400_and_one_sentence(client: Client, path: str, asked: str) -> None:
    answer = client.get(path, params={"at": asked})
    assert answer.status_code == 400
    assert sentence(answer.text).startswith(f'"{asked}"')
    assert "Traceback" not in answer.text


def test_a_refusal_shows_the_time_of_the_demonstration_and_no_other(demo_folder: Path, tmp_path: Path) -> None:
    """The clock of the computer stands a month after the demonstration's year."""
    client = client_of(demo_folder, NOW + timedelta(days=30))
    shown = re.findall(r"<time datetime=\"([^\"]*)", client.get("/").text)[:1]
    assert shown and shown == re.findall(r"<time datetime=\"([^\"]*)", client.get("/nowhere").text)
    bare = client_of(tmp_path).get("/nowhere")
    assert bare.status_code == 503 and "<time" not in bare.text  # no plant can be read: there is no time to show


def test_json_that_cannot_be_is_refused_as_json(client: Client) -> None:
    answer = client.get("/today.json", params={"at": "soon"})
    assert answer.status_code == 400
    assert answer.json()["error"].startswith('"soon" is not a time')


@pytest.mark.parametrize(
    "path", ["/nowhere", "/working/none", "/working/none.json", "/history/none", "/figures/qqqq", "/log/2026-02-30"]
)
def test_what_is_not_there_is_404(client: Client, path: str) -> None:
    assert client.get(path).status_code == 404


@pytest.mark.parametrize("host", ["elsewhere.example", "127.0.0.1.elsewhere.example", "localhost.example:80", ""])
def test_another_name_for_this_computer_is_refused(client: Client, host: str) -> None:
    answer = client.get("/", headers={"host": host})
    assert answer.status_code == 400
    assert "not known here under that name" in answer.text


@pytest.mark.parametrize("host", ["localhost", "localhost:8421", "127.0.0.1:9", "[::1]:8421", "192.168.1.5:8421"])
def test_localhost_and_plain_addresses_are_answered(client: Client, host: str) -> None:
    assert client.get("/static/weir.svg", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": "http://elsewhere.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site", "origin": "http://127.0.0.1"},
        {"sec-fetch-site": "none"},
    ],
)
def test_an_entry_from_another_page_changes_nothing(demo_copy: Path, headers: dict[str, str]) -> None:
    client = client_of(demo_copy)
    before = client.get("/log/2026-10-31").text.count("log-line")
    form = {"text": "not ours", "person": "X", "time": "2026-10-31T15:40"}
    answer = client.post("/log/2026-10-31/note", data=form, headers=headers)
    assert answer.status_code == 403
    assert "Nothing was changed" in answer.text
    assert client.get("/log/2026-10-31").text.count("log-line") == before


def test_too_large_an_entry_is_refused_in_one_sentence(client: Client) -> None:
    long = client.post("/log/2026-10-31/note", data={"text": "x" * 30_000}, headers=OURS)
    huge = client.post("/log/2026-10-31/note", data={"text": "x" * 300_000}, headers=OURS)
    many = client.post("/look", data={f"f{i}": "1" for i in range(500)}, headers=OURS)
    assert (long.status_code, huge.status_code) == (413, 413)
    assert "Shorten it" in long.text and "Shorten it" in huge.text
    assert many.status_code == 400


def test_the_body_counts_even_without_its_length(client: Client) -> None:
    headers = {**OURS, "content-type": "application/x-www-form-urlencoded"}

    async def body() -> AsyncIterator[bytes]:
        for _ in range(400):
            yield b"x" * 1000

    answer = client.post("/look", content=body(), headers=headers)
    assert answer.status_code == 413


@pytest.mark.parametrize("back", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "x"])
def test_the_look_leads_back_to_this_computer_only(client: Client, back: str) -> None:
    answer = client.post("/look", data={"look": "dark", "back": back}, headers=OURS)
    assert (answer.status_code, answer.headers["location"]) == (303, "/")


def test_the_look_is_kept(client: Client) -> None:
    answer = client.post("/look", data={"look": "dark", "back": "/plant"}, headers=OURS)
    assert answer.headers["location"] == "/plant"
    cookie = answer.headers["set-cookie"].lower()
    assert "look=dark" in cookie and "httponly" in cookie and "samesite=strict" in cookie
    client.cookies.clear()
    assert 'data-look="dark"' in client.get("/figures", headers={"cookie": "look=dark"}).text
    assert 'data-look="light"' in client.get("/figures", headers={"cookie": "look=neon"}).text


def test_a_plant_file_broken_while_serving_gives_its_sentence_and_mended_the_page(demo_copy: Path) -> None:
    client, file = client_of(demo_copy), demo_copy / "plant.toml"
    assert client.get("/plant").status_code == 200
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace('design_flow = "150 gpm"', 'design_flow = "150 gallons of tea"'), encoding="utf-8")
    for path in ("/", "/plant", "/today.json", "/log/2026-10-31", "/figures"):
        answer = client.get(path)
        assert answer.status_code == 503
        assert "plant.design_flow" in answer.text
        assert "Traceback" not in answer.text
    file.write_text(text, encoding="utf-8")
    assert client.get("/").status_code == 200


def test_a_plant_file_gone_gives_its_sentence(demo_copy: Path) -> None:
    client = client_of(demo_copy)
    (demo_copy / "plant.toml").unlink()
    answer = client.get("/")
    assert answer.status_code == 503
    assert "plant.toml is missing" in sentence(answer.text)


def test_torn_records_give_a_sentence(demo_copy: Path) -> None:
    for file in demo_copy.glob("records.sqlite*"):
        file.write_bytes(b"torn" * 300)
    answer = client_of(demo_copy).get("/")
    assert answer.status_code == 503
    assert "records.sqlite" in sentence(answer.text)


def test_a_changed_plant_file_is_seen_at_once(demo_copy: Path) -> None:
    client, file = client_of(demo_copy), demo_copy / "plant.toml"
    assert "Telegraph" not in client.get("/").text
    text = file.read_text(encoding="utf-8")
    file.write_text(text + '\n[[telephone]]\nname = "Telegraph office <1>"\nnumber = "555-0199"\n', encoding="utf-8")
    html = client.get("/").text
    assert "Telegraph office &lt;1&gt;" in html


def test_the_paper_names_plant_page_time_and_number(client: Client) -> None:
    head = client.get("/").text
    link = re.search(r'href="(/paper\.css\?[^"]+)"', head)
    assert link is not None
    css = client.get(unescape(link[1])).text
    assert '"Emberly (demonstration' in css
    assert "Saturday 31 October 2026, 15:45 EDT" in css
    assert 'counter(page) " of " counter(pages)' in css
    assert client.get("/paper.css?title=x&at=never").status_code == 404
    sly = client.get("/paper.css", params={"title": '"; } body { display: none', "at": "2026-01-01T00:00:00Z"}).text
    assert "display: none" not in sly.replace("\\", "") or "\\000022" in sly


def test_a_fault_of_ours_is_one_sentence_with_a_number(demo_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    client = client_of(demo_folder)

    def fault(*_: object) -> None:
        raise ZeroDivisionError("secret inside")

    monkeypatch.setattr("weirhouse.web.source.today", fault)
    answer = client.get("/")
    assert answer.status_code == 500
    assert "nothing was changed" in answer.text
    assert "secret inside" not in answer.text
    assert answer.headers["content-security-policy"]


def test_the_demo_says_so_on_every_page(client: Client, demo_folder: Path, tmp_path: Path) -> None:
    for path in PLACES:
        html = client.get(path).text
        assert "Demonstration: an invented plant" in html
        assert 'class="watermark"' in html
    own = tmp_path / "own"
    shutil.copytree(demo_folder, own, ignore=shutil.ignore_patterns("*-wal", "*-shm", "DEMO.json"))
    text = (own / "plant.toml").read_text(encoding="utf-8")
    (own / "plant.toml").write_text(text.replace("demo = true", "demo = false"), encoding="utf-8")
    html = client_of(own).get("/plant").text
    assert "Demonstration" not in html
    assert NOW.astimezone().tzinfo is not None
    assert "31 October 2026, 16:00 EDT" in words(html)

"""What people type is shown as typed: no script runs, no query changes, no template is filled in (S-3 to S-5)."""

import ast
import json
import re
import shutil
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from urllib.parse import quote

import pytest
from playwright.sync_api import Browser, Page
from tests.web.accounts import account, token_of
from tests.web.conftest import OURS, Client, client_of, served
from tests.web.security.conftest import as_role
from tests.web.security.places import LINES, OPEN_PARTS, PLANT_NOW, address, entries, title

from weirhouse.records import people
from weirhouse.records.access import Access
from weirhouse.records.model import Event, Reading
from weirhouse.records.people import Person
from weirhouse.records.roles import Role
from weirhouse.records.store import Store
from weirhouse.web.render import environment
from weirhouse.web.table import Line
from weirhouse.web.table import Page as Shown

SOURCE = Path(__file__).parents[3] / "src" / "weirhouse"
DAY = OPEN_PARTS["date"]
RAN = "window.ran=1"
VECTORS = (
    f"<script data-slip>{RAN}</script>",
    f"<img data-slip src=slip onerror={RAN}>",
    f'"><svg data-slip onload={RAN}>',
    f"' autofocus data-slip onfocus='{RAN}' x='",
    f'" autofocus data-slip onfocus="{RAN}" x="',
    f"</textarea><script data-slip>{RAN}</script>",
    f"</title></style></script><script data-slip>{RAN}</script>",
    f'<a data-slip href="javascript:{RAN}">x</a>',
    f"<iframe data-slip srcdoc='<script>parent.{RAN}</script>'></iframe>",
    f"<math><mi data-slip xlink:href=javascript:{RAN}>x",
    f"--><script data-slip>{RAN}</script><!--",
    f"]]><script data-slip>{RAN}</script>",
    "<style data-slip>body{display:none}</style>",
    "{{ 7*7 }} {% include 'base.html' %} ${7*7} #{7*7} <%= 7*7 %>",
    f"\\u003cscript data-slip\\u003e{RAN}\\u003c/script\\u003e",
)
ALL = " ".join(VECTORS)
SHORT = f"Q <img data-slip src=slip onerror={RAN}>"
IDS = {"note": "11111111-1111-4111-8111-111111111111", "fault": "22222222-2222-4222-8222-222222222222",
       "reading": "33333333-3333-4333-8333-333333333333"}  # fmt: skip


@pytest.fixture(scope="module")
def soiled(bare: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Person]:
    """A plant in which every text that somebody can write tries to run."""
    folder = tmp_path_factory.mktemp("soiled") / "plant"
    shutil.copytree(bare, folder, ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    file = folder / "plant.toml"
    text = file.read_text("utf-8")
    for name in dict.fromkeys(re.findall(r'^(?:name|comment|note|telephone|number|when) = "([^"]+)"', text, re.M)):
        text = text.replace(f'= "{name}"', f"= {json.dumps(f'{name} {ALL}')}")
    assert text.count("data-slip") > 20
    file.write_text(text, encoding="utf-8")
    when, person = PLANT_NOW, SHORT
    with Store.open(folder) as store:
        store.add_events([
            Event(kind="note", started_at=when, person=person, note=ALL, id=IDS["note"]),
            Event(kind="instrument_fault", started_at=when, subject="raw_ph", person=person, note=ALL, id=IDS["fault"]),
            Event(kind="delivery", started_at=when, subject=ALL, person=person, values={"lot": ALL, ALL: ALL}),
            Event(kind=SHORT, started_at=when, subject="filter_1", person=person, note=ALL),
        ], entered_at=when)  # fmt: skip
        reading = Reading(
            channel="raw_ph", value=7.4, taken_at=when, unit=ALL, text=ALL, person=person, device=ALL, note=ALL,
            flag="doubtful", id=IDS["reading"],
        )  # fmt: skip
        store.add_readings([reading], entered_at=when)
        store.correct(IDS["reading"], None, person=person, reason=ALL, entered_at=when)
        added = people.add(
            store, Person(id="", name=SHORT, role=Role.OPERATOR, certificate=ALL, certificate_class=ALL), by=person,
            now=when,
        )  # fmt: skip
    account(folder, SHORT, now=PLANT_NOW)
    return folder, added


@pytest.fixture(scope="module")
def page(soiled: tuple[Path, Person], browser: Browser) -> Iterator[Page]:
    """A browser without our policy, so that whatever slips through does run."""
    folder, person = soiled
    with served(folder, PLANT_NOW) as found:
        context = browser.new_context(bypass_csp=True, base_url=found)
        context.add_cookies([{"name": "weirhouse", "value": token_of(folder, person, PLANT_NOW), "url": found}])
        yield context.new_page()
        context.close()


def nothing_ran(page: Page) -> None:
    page.evaluate("() => document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    page.evaluate("() => new Promise((done) => setTimeout(done, 20))")
    assert page.evaluate("window.ran") is None
    assert page.evaluate("document.querySelectorAll('[data-slip], [onerror], [onload], [onfocus]').length") == 0
    assert page.evaluate("getComputedStyle(document.body).display") != "none"


def filled(line: Line, person: Person) -> str:
    other = {"/people": person.id, "/log/end": IDS["fault"], "/working": "plant_flow"}
    return address(line, other=next((id for path, id in other.items() if line.path.startswith(path)), IDS["note"]))


PAGES = [one for one in LINES if isinstance(one, Shown) and not one.path.endswith((".json", ".csv"))]  # no pages


@pytest.mark.parametrize("line", PAGES, ids=title)
def test_no_page_runs_what_somebody_typed(page: Page, soiled: tuple[Path, Person], line: Line) -> None:
    """S-3: the corpus stands in every text of the records, the people and the plant file, and in the address."""
    where = filled(line, soiled[1])
    for query in (
        "",
        "".join(f"&{name}={quote(ALL)}" for name in ("q", "at", "to", "subject", "time", "channel", "volume")),
    ):
        page.goto(f"{where}?{query.lstrip('&')}" if query else where)
        nothing_ran(page)


FORMS = (
    (f"/log/{DAY}/note", {"text": ALL, "time": ALL, "person": ALL}),
    (f"/log/{DAY}/reading", {"channel": ALL, "value": ALL, "note": ALL, "time": ALL}),
    (f"/log/{DAY}/backwash", {"subject": ALL, "time": ALL, "volume": ALL, "note": ALL}),
    (f"/log/{DAY}/grid", {f"c.{int(PLANT_NOW.timestamp())}.raw_ph": ALL, "reason": ALL}),
    ("/people/new", {"name": ALL, "certificate": ALL, "certificate_class": ALL, "certificate_until": ALL}),
    ("/password", {"password": ALL}),
    ("/sign-in", {"name": ALL, "password": ALL, "to": ALL, f"held.{ALL}": ALL}),
)


@pytest.mark.parametrize(("path", "form"), FORMS, ids=[path for path, _ in FORMS])
def test_no_form_that_comes_back_runs_what_was_typed(
    page: Page, soiled: tuple[Path, Person], path: str, form: dict[str, str]
) -> None:
    folder, person = soiled
    client = client_of(folder, PLANT_NOW)
    client.cookies.set("weirhouse", token_of(folder, person, PLANT_NOW))
    answer = client.post(path, data=form, headers=OURS)
    assert answer.status_code in (200, 400, 404, 422)
    page.goto("/nowhere")
    page.set_content(answer.text)
    nothing_ran(page)


def test_what_was_held_comes_back_without_running(page: Page, soiled: tuple[Path, Person]) -> None:
    client = client_of(soiled[0], PLANT_NOW)
    answer = client.post(f"/log/{DAY}/note", data={"text": ALL, "time": ALL}, headers=OURS)
    assert answer.status_code == 401
    page.goto("/nowhere")
    page.set_content(answer.text)
    nothing_ran(page)
    assert page.locator('input[name="held.text"]').input_value() == ALL


def test_the_browser_would_tell(page: Page) -> None:
    page.goto("/nowhere")
    page.set_content(f"<p>{VECTORS[1]}</p>")
    page.wait_for_function("window.ran === 1")
    with pytest.raises(AssertionError):
        nothing_ran(page)


def test_under_our_policy_nothing_is_reported(soiled: tuple[Path, Person], browser: Browser) -> None:
    folder, person = soiled
    said: list[str] = []
    with served(folder, PLANT_NOW) as found:
        context = browser.new_context(base_url=found)
        context.add_cookies([{"name": "weirhouse", "value": token_of(folder, person, PLANT_NOW), "url": found}])
        visit = context.new_page()
        visit.on("console", lambda message: said.append(message.text))
        for path in ("/", f"/log/{DAY}", "/people", "/plant"):
            visit.goto(path)
            nothing_ran(visit)
        context.close()
    assert [text for text in said if "Content Security Policy" in text] == []


# --- templates: S-5 ----------------------------------------------------------------------------------------------


def test_a_template_in_a_text_is_a_text(own: Path) -> None:
    client = as_role(own, Role.OPERATOR)
    form = {"text": VECTORS[13], "time": "2026-06-17T13:40", "id": ""}
    assert client.post(f"/log/{DAY}/note", data=form, headers=OURS).status_code == 303
    assert VECTORS[13] in unescape(client.get(f"/log/{DAY}").text)


def test_every_template_escapes_and_none_is_made_of_a_text() -> None:
    assert environment().autoescape is True
    templates = list((SOURCE / "web" / "templates").glob("*.html"))
    assert len(templates) > 10
    for file in templates:
        text = file.read_text("utf-8")
        assert "|safe" not in text.replace(" ", "") and "autoescape" not in text, file.name
    for file in SOURCE.rglob("*.py"):
        text = file.read_text("utf-8")
        assert "from_string(" not in text and "jinja2.Template" not in text, file.name


# --- SQL: S-4 ----------------------------------------------------------------------------------------------------

QUERIES = (
    "' OR '1'='1", '" OR ""="', "1; DROP TABLE entry; --", "') UNION SELECT hash FROM credential --", "%' OR 1=1 --",
    "\\'; DELETE FROM session; --", "1 OR pg_sleep(9)", "x' AND randomblob(999999999) --",
)  # fmt: skip


@pytest.mark.parametrize("line", [one for one in LINES if isinstance(one, Shown)], ids=title)
def test_a_query_in_an_address_is_a_word_like_any_other(peopled: Path, shared: Client, line: Line) -> None:
    as_role(peopled, Role.OPERATOR, shared)
    parts = re.findall(r"\{(\w+)\}", line.path)
    names = ("q", "at", "subject", "time", "channel", "to")

    def status(words: str) -> list[int]:
        found = [shared.get(address(line, {**OPEN_PARTS, part: quote(words, safe="")})).status_code for part in parts]
        return [*found, shared.get(address(line), params=dict.fromkeys(names, words)).status_code]

    plain = status("zzz")
    assert max(plain) < 500
    for words in QUERIES[:2] if parts else QUERIES[:1]:
        assert status(words) == plain, words


@pytest.fixture(scope="module")
def shared(peopled: Path) -> Client:
    return client_of(peopled, PLANT_NOW)


def test_a_query_finds_signs_in_and_changes_nothing(own: Path) -> None:
    client, before = as_role(own, Role.OPERATOR), entries(own)
    people_before = len(client.get("/people").text)
    for words in QUERIES[:2]:
        assert "0 lines hold" in client.get("/log", params={"q": words}).text
        for path in ("/log/undo", f"/log/end/{quote(words, safe='')}", f"/people/{quote(words, safe='')}"):
            assert client.post(path, data={"id": words, "role": words, "until": words}, headers=OURS).status_code < 500
    assert (entries(own), len(client.get("/people").text)) == (before, people_before)
    out = client_of(own, PLANT_NOW)
    for words in QUERIES[:4]:
        tried = out.post("/sign-in", data={"name": words, "password": words}, headers=OURS).status_code
        assert tried in (422, 429)  # refused, or told to wait after some tries
        out.cookies.set("weirhouse", quote(words))
        assert out.get("/people").status_code == 303
        out.cookies.clear()
    assert Access(own).any_account()


# What may stand between the words of a statement: names of columns and marks that the program itself writes out.
WRITTEN = re.compile(r"^([A-Z_]+|\w+\.[A-Z_]+|marks|where|order|columns|table|name|setting|(?:kind|FILE)\.\w+)$")
STATEMENT = re.compile(r"^\s*(SELECT|INSERT|UPDATE|DELETE|PRAGMA|WITH|CREATE|DROP|ALTER|SET|COPY|VACUUM|ATTACH)\s")


def strings(tree: ast.AST) -> Iterator[tuple[ast.JoinedStr, list[str]]]:
    """Yield each statement of SQL that is put together, with what is put in."""
    for node in ast.walk(tree):
        first = node.values[0] if isinstance(node, ast.JoinedStr) and node.values else None
        if isinstance(node, ast.JoinedStr) and isinstance(first, ast.Constant) and STATEMENT.match(str(first.value)):
            yield node, [ast.unparse(one.value) for one in node.values if isinstance(one, ast.FormattedValue)]


def test_no_statement_is_put_together_from_what_came_in() -> None:
    """Values go in as values; only the program's own words go into the text. (ruff's S608 asks the same.)"""
    strange, seen = [], 0
    for file in sorted(SOURCE.rglob("*.py")):
        if file.name == "schema.py" or "migrations" in file.parts:
            continue  # they make the tables, from lists that are written out in them, before anything came in
        for node, put_in in strings(ast.parse(file.read_text("utf-8"))):
            seen += 1
            assert "records" in file.parts, f"{file.name} writes SQL outside the records room"
            strange += [f"{file.name}:{node.lineno} {one}" for one in put_in if not WRITTEN.match(one)]
    assert seen > 10
    assert strange == []


def test_the_rule_would_tell() -> None:
    (found,) = strings(ast.parse('f"SELECT * FROM entry WHERE id = {form.id}"'))
    assert not WRITTEN.match(found[1][0])

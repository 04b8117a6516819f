"""Does every address say what one must be allowed to do there, and is nobody else answered?"""

import re
from html import unescape
from pathlib import Path

import pytest
from tests.web.conftest import Client, client_of
from tests.web.security.conftest import as_role
from tests.web.security.places import LINES, OPEN_PARTS, PLANT_NOW, address, ask, entries, guarded, title
from tests.web.security.watch import watched

from weirhouse.records.roles import MAY, OPEN, SELF, WRITE, Need, Role, may
from weirhouse.records.store import Store
from weirhouse.web.app import create_app, line_of
from weirhouse.web.routes import TABLE
from weirhouse.web.table import Files, Line, Page, RouteError, Sent

ON_THE_DEVICE = {"/look", "/log/{date}/columns"}  # a choice that is kept in a cookie alone


def test_a_line_without_a_need_cannot_be_built() -> None:
    with pytest.raises(TypeError):
        Page("/new", lambda source, request: None)  # type: ignore[call-arg]
    with pytest.raises(TypeError):
        Sent("/new", lambda source, request, form: None)  # type: ignore[call-arg]
    with pytest.raises(RouteError, match="no Need"):
        Page("/new", lambda source, request: None, needs="read")  # type: ignore[arg-type]


@pytest.mark.parametrize("line", TABLE, ids=lambda line: f"{type(line).__name__} {line.path}")
def test_only_what_shows_nothing_of_the_plant_is_open(line: Line) -> None:
    assert isinstance(line.needs, Need)
    if line.needs is OPEN:
        assert line.path in {"/look", "/paper.css", "/static", "/sign-in", "/setup"}


@pytest.mark.parametrize("line", [line for line in TABLE if line.method == "POST"], ids=lambda line: line.path)
def test_what_writes_to_the_records_needs_more_than_looking(line: Line) -> None:
    if line.path in ON_THE_DEVICE or line.needs in (OPEN, SELF):
        assert line.path in ON_THE_DEVICE | {"/sign-in", "/setup", "/sign-out", "/password"}
    else:
        assert not may(Role.INSPECTOR, line.needs)


def test_the_inspector_looks_and_writes_nothing() -> None:
    assert {need for need in Need if may(Role.INSPECTOR, need)} == {Need.OPEN, Need.READ, Need.SELF}
    assert not any(may(None, need) for need in Need if need is not OPEN)
    assert set(MAY) == set(Need)
    assert may(Role.RELIEF, WRITE) and not may(Role.RELIEF, Need.MANAGE) and not may(Role.RELIEF, Need.CLOSE)


# --- every line in every role ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def shared(peopled: Path) -> Client:
    return client_of(peopled, PLANT_NOW)


def test_the_application_answers_the_table_and_nothing_else(bare: Path) -> None:
    routes = create_app(bare).routes
    assert [route.path for route in routes] == [line.path for line in TABLE]  # type: ignore[attr-defined]
    assert sum(isinstance(line, Files) for line in TABLE) == 1


@pytest.mark.parametrize("line", LINES, ids=title)
@pytest.mark.parametrize("role", [None, *Role], ids=lambda role: role or "nobody")
def test_each_line_answers_who_may_and_refuses_the_others(
    shared: Client, peopled: Path, line: Line, role: Role | None
) -> None:
    """S-11. Whoever may is answered, if only that there is no such thing; whoever may not changes nothing.

    Every answer carries the headers (S-2), what is JSON says so, and nothing goes outward meanwhile (S-14).
    """
    client = as_role(peopled, role, shared)
    with watched() as tried:
        answer = ask(client, line)
    assert tried == []
    assert answer.status_code < 500, answer.text
    guarded(answer)
    if line.path.endswith(".json"):
        assert answer.headers["content-type"] == "application/json"
    to_door = answer.headers.get("location", "").startswith(("/sign-in?", "/setup"))
    if may(role, line.needs):
        assert answer.status_code not in (401, 403) and not to_door
        return
    if role is None:
        assert answer.status_code == 401 or (answer.status_code == 303 and to_door)
    else:
        assert answer.status_code == 403
        assert "This is for" in answer.text
    assert "log-line" not in answer.text and "data-advice" not in answer.text


def test_what_is_refused_is_not_written(own: Path) -> None:
    before = entries(own)
    client = client_of(own, PLANT_NOW)
    form = {
        "text": "not mine to write",
        "person": "I. Hale",
        "time": "2026-06-17T13:40",
        "name": "X",
        "role": "operator",
    }
    for role in (None, Role.INSPECTOR):
        for line in LINES:
            if line.method == "POST" and not may(role, line.needs):
                assert ask(as_role(own, role, client), line, form).status_code in (401, 403)
    assert entries(own) == before


@pytest.mark.parametrize("role", [Role.INSPECTOR, Role.MANAGER, Role.RELIEF])
def test_no_page_offers_what_would_be_refused(shared: Client, peopled: Path, role: Role) -> None:
    """A form, or a link to one, is shown to those who may send it."""
    client, offered, seen = as_role(peopled, role, shared), [], 0
    with Store.open(peopled, read_only=True) as store:
        reading = store.readings("raw_ph")[-1].id
    pairs = list(zip(TABLE, shared.app.routes, strict=True))
    for line in LINES:
        if line.method != "GET" or line.path.endswith((".json", ".csv")) or not may(role, line.needs):
            continue
        parts = {**OPEN_PARTS, "date": "2026-06-16" if line.path.endswith("/close") else OPEN_PARTS["date"]}  # is over
        html = client.get(address(line, parts, reading if line.path.startswith("/log/entry") else "nothing")).text
        for method, link in [
            *(("POST", link) for link in re.findall(r'<form[^>]*method="post"[^>]*action="([^"?#]*)', html)),
            *(("GET", link) for link in re.findall(r'<a[^>]*href="(/[^"?#]*)', html)),
        ]:
            found = line_of(pairs, {"type": "http", "method": method, "path": unescape(link), "headers": []})
            seen += found is not None
            if found is not None and not may(role, found.needs):
                offered.append(f"{line.path} offers {method} {found.path}")
    assert seen > 300
    assert sorted(set(offered)) == []


def test_an_address_that_is_none_tells_nobody_anything(shared: Client, peopled: Path) -> None:
    assert as_role(peopled, None, shared).get("/nowhere").headers["location"].startswith("/sign-in?")
    assert as_role(peopled, Role.INSPECTOR, shared).get("/nowhere").status_code == 404

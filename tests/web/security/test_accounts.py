"""Set-up, signing in and out, sessions, other devices: nobody comes in who may not, and nobody is kept out for good."""

import re
from datetime import timedelta
from html import unescape
from pathlib import Path

import httpx
import pytest
from starlette.responses import Response
from tests.web.accounts import WORDS, account
from tests.web.conftest import OURS, Client, client_of
from tests.web.security.conftest import account_of, as_role
from tests.web.security.places import PLANT_NOW

from weirhouse.records import access_log, people
from weirhouse.records.access import IDLE, LONGEST, Access
from weirhouse.records.roles import READ, Role
from weirhouse.records.store import Store
from weirhouse.web.routes import TABLE
from weirhouse.web.setup_code import LASTS, TRIES, SetupCode
from weirhouse.web.table import Page

DAY = "/log/2026-06-17"
OTHER = "seven herons at dusk"
FIRST = {"name": "Anna Brook", "role": "operator", "password_new": WORDS, "password_again": WORDS}
LAN = {"address": "192.168.1.20", "base": "http://192.168.1.5:8421"}
THEIRS = {"origin": "http://192.168.1.5:8421", "sec-fetch-site": "same-origin"}
NOTE = {"text": "Belt of pump 2 worn\nordered <one>", "time": "2026-06-17T13:40", "person": "somebody", "id": ""}


def sign_in(client: Client, name: str = "Anna Brook", password: str = WORDS, **more: str) -> httpx.Response:
    headers = OURS if client.address == "127.0.0.1" else THEIRS
    return client.post("/sign-in", data={"name": name, "password": password, **more}, headers=headers)


def said(folder: Path) -> list[str]:
    with Store.open(folder, read_only=True) as store:
        assert store.verify() == []
        return [str(event.values["what"]) for event in store.events(access_log.KIND)]


def notes(folder: Path) -> list[tuple[str, str]]:
    with Store.open(folder, read_only=True) as store:
        return [(event.note, event.person) for event in store.events("note")]


def hidden(html: str) -> dict[str, str]:
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', html.partition("<main")[2])
    return {name: unescape(value) for name, value in found}


# --- set-up ------------------------------------------------------------------------------------------------------


def test_before_set_up_everything_can_be_looked_at_here_and_nothing_written(bare_copy: Path) -> None:
    client = client_of(bare_copy, PLANT_NOW)
    assert client.get("/").status_code == 200
    assert client.get(DAY).status_code == 200
    assert client.get(f"{DAY}/start").headers["location"] == f"/setup?to={DAY}/start"
    assert "Nobody has an account yet" in client.get("/people").text
    assert client.get("/people/new").headers["location"].startswith("/setup")
    assert client.get("/sign-in").headers["location"] == "/setup"
    assert sign_in(client, "admin", "admin").headers["location"] == "/setup"
    assert not Access(bare_copy).path.exists()


def test_the_first_entry_leads_to_the_set_up_and_comes_back(bare_copy: Path) -> None:
    client = client_of(bare_copy, PLANT_NOW)
    asked = client.post(f"{DAY}/note", data=NOTE, headers=OURS)
    assert asked.status_code == 401 and "What you had typed is held" in asked.text
    assert notes(bare_copy) == []
    back = client.post("/setup", data={**hidden(asked.text), **FIRST}, headers=OURS)
    assert back.status_code == 200 and "What you had typed" in back.text
    assert unescape(re.search(r"<textarea[^>]*>([^<]*)<", back.text)[1]) == NOTE["text"]  # type: ignore[index]
    again = {**hidden(back.text), "text": NOTE["text"], "time": NOTE["time"]}
    assert client.post(f"{DAY}/note", data=again, headers=OURS).status_code == 303
    assert notes(bare_copy) == [(NOTE["text"], "Anna Brook")]
    assert said(bare_copy) == ["password set", "signed in"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"name": "operator"}, "name"),
        ({"name": ""}, "name"),
        ({"role": "inspector"}, ""),
        ({"role": "king"}, ""),
        ({"password_new": "short", "password_again": "short"}, "password_new"),
        ({"password_again": "something else"}, "password_again"),
        ({"certificate_until": "next year"}, "certificate_until"),
    ],
)
def test_what_cannot_be_set_up_is_said_in_one_sentence(bare: Path, change: dict[str, str], field: str) -> None:
    answer = client_of(bare, PLANT_NOW).post("/setup", data={**FIRST, **change}, headers=OURS)
    assert answer.status_code == 422
    assert answer.text.count('role="alert"') == 1
    assert not field or re.search(rf'name="{field}"[^>]*aria-invalid', answer.text)
    assert WORDS not in answer.text
    assert not Access(bare).any_account()


def test_the_set_up_is_done_once(own: Path) -> None:
    client = client_of(own, PLANT_NOW)
    assert client.get("/setup").headers["location"] == "/"
    assert (
        client.post("/setup", data={**FIRST, "name": "Somebody Else"}, headers=OURS).headers["location"] == "/sign-in"
    )
    with Store.open(own, read_only=True) as store:
        assert len(people.read(store)) == 4


def test_a_plant_whose_passwords_were_lost_does_not_fall_open(own: Path) -> None:
    Access(own).path.unlink()
    client = client_of(own, PLANT_NOW)
    assert client.get("/").headers["location"].startswith("/sign-in")
    assert "weirhouse people password" in client.get("/sign-in").text
    assert client.post("/setup", data=FIRST, headers=OURS).headers["location"] == "/sign-in"
    assert sign_in(client).status_code == 422


def test_a_demonstration_is_written_to_here_without_accounts_and_nowhere_else(demo_copy: Path) -> None:
    client = client_of(demo_copy)
    form = {"text": "x", "person": "A. Operator", "time": "2026-10-31T15:40", "id": ""}
    assert client.post("/log/2026-10-31/note", data=form, headers=OURS).status_code == 303
    assert "DEMONSTRATION" in client.get("/static/watermark.svg").text.upper()
    other = client_of(demo_copy, **LAN)
    assert other.post("/log/2026-10-31/note", data=form, headers=THEIRS).status_code == 403
    assert other.get("/").status_code == 403
    account(demo_copy)
    assert client.get("/").status_code == 303
    assert client.post("/log/2026-10-31/note", data=form, headers=OURS).status_code == 401


# --- other devices -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/", "/today.json", "/log", "/people", "/sign-in", "/setup", "/nowhere"])
def test_another_device_is_refused_before_set_up(bare: Path, path: str) -> None:
    """A-2: a client on the plant's network without the code gets 403."""
    answer = client_of(bare, PLANT_NOW, **LAN).get(path)
    assert answer.status_code == 403
    assert "not set up yet" in answer.text
    assert "data-advice" not in answer.text


@pytest.mark.parametrize("host", ["192.168.1.5", "plant.example", "127.0.0.1"])
def test_no_header_makes_another_device_the_plants_own(bare: Path, host: str) -> None:
    client = client_of(bare, PLANT_NOW, hosts=["plant.example"], address="192.168.1.20", base=f"http://{host}")
    for name in ("x-forwarded-for", "forwarded", "x-real-ip", "client-ip"):
        assert client.get("/", headers={name: "127.0.0.1"}).status_code == 403
    through = client_of(bare, PLANT_NOW, hosts=["plant.example"], base="http://plant.example")  # by a helper in between
    assert through.get("/").status_code == 403


def test_the_code_is_good_once_and_the_device_is_let_in(bare_copy: Path) -> None:
    code = SetupCode(PLANT_NOW)
    shown = code.forget()
    assert code.shown == "" and len(re.sub(r"\W", "", shown)) == 8
    client = client_of(bare_copy, PLANT_NOW, code=code, **LAN)
    assert client.get("/").status_code == 403
    assert 'name="code"' in client.get("/setup").text
    assert client.post("/setup", data=FIRST, headers=THEIRS).status_code == 403
    assert client.post("/setup", data={**FIRST, "code": "AAAA-AAAA"}, headers=THEIRS).status_code == 403
    assert not Access(bare_copy).any_account()
    done = client.post("/setup", data={**FIRST, "code": shown.lower()}, headers=THEIRS)
    assert done.status_code == 303
    assert client.get("/").status_code == 200
    assert not code.fits(shown, PLANT_NOW)
    assert said(bare_copy) == ["set-up code used", "password set", "signed in"]
    for file in bare_copy.rglob("*"):
        assert not file.is_file() or shown.encode() not in file.read_bytes()


def test_a_code_ends_by_itself_and_after_some_tries(bare: Path) -> None:
    code = SetupCode(PLANT_NOW)
    shown = code.forget()
    late = client_of(bare, PLANT_NOW + LASTS, code=code, **LAN)
    assert late.post("/setup", data={**FIRST, "code": shown}, headers=THEIRS).status_code == 403
    client = client_of(bare, PLANT_NOW, code=code, **LAN)
    for _ in range(TRIES):
        assert client.post("/setup", data={**FIRST, "code": "guess"}, headers=THEIRS).status_code == 403
    assert client.post("/setup", data={**FIRST, "code": shown}, headers=THEIRS).status_code == 403
    assert not Access(bare).any_account()


def test_other_devices_are_let_in_here_alone_and_must_sign_in(own: Path) -> None:
    other = client_of(own, PLANT_NOW, **LAN)
    assert other.get("/").status_code == other.get("/sign-in").status_code == sign_in(other).status_code == 403
    here = as_role(own, Role.MANAGER)
    assert here.post("/people/network", data={"network": "on"}, headers=OURS).status_code == 303
    assert other.get("/").headers["location"].startswith("/sign-in")
    assert sign_in(other).status_code == 303
    assert other.get("/").status_code == 200
    assert other.post("/people/network", data={"network": "off"}, headers=THEIRS).status_code == 303
    assert other.get("/").status_code == 403
    here.post("/people/network", data={"network": "on"}, headers=OURS)
    assert other.post("/people/network", data={"network": "on"}, headers=THEIRS).status_code == 422
    assert said(own).count("network") == 3


# --- signing in --------------------------------------------------------------------------------------------------


def test_signed_in_one_writes_under_ones_own_name_whatever_is_sent(own: Path) -> None:
    client = client_of(own, PLANT_NOW)
    assert sign_in(client, " anna  BROOK ", to="/plant").headers["location"] == "/plant"
    assert client.post(f"{DAY}/note", data={**NOTE, "person": "M. Weir"}, headers=OURS).status_code == 303
    cell = {"id": "3f2b0a52-6a62-4a50-8d30-0a6a1f4e2f11", "channel": "raw_ph", "time": "13:00", "text": "7.4"}
    batch = {"person": "M. Weir", "cells": [{**cell, "sure": True}]}
    assert client.post(f"{DAY}/readings.json", json=batch, headers=OURS).status_code == 200
    assert notes(own)[-1][1] == "Anna Brook"
    with Store.open(own, read_only=True) as store:
        assert [one.person for one in store.readings("raw_ph") if one.id == cell["id"]] == ["Anna Brook"]
    page = client.get(f"{DAY}/start").text
    assert re.search(r'name="person" value="Anna Brook"[^>]* readonly', page)
    assert "Anna Brook" in page.partition("<nav")[0] and "Sign out" in page


@pytest.mark.parametrize("to", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", ""])
def test_signing_in_leads_to_this_computer_only(own: Path, to: str) -> None:
    assert sign_in(client_of(own, PLANT_NOW), to=to).headers["location"] == "/"


def test_a_wrong_name_and_a_wrong_password_look_alike(own: Path) -> None:
    client = client_of(own, PLANT_NOW)
    wrong, none = sign_in(client, password="nothing of mine"), sign_in(client, "Nobody Here", "nothing of mine")
    strip = re.compile(r'value="[^"]*"|<a class="tap"[^>]*>.*?</a>')
    assert wrong.status_code == none.status_code == 422
    assert strip.sub("", wrong.text) == strip.sub("", none.text)
    assert 'value="Nobody Here"' in none.text and "nothing of mine" not in none.text


def test_guesses_are_slowed_and_told(own: Path) -> None:
    """S-9, through the pages: the waits themselves are held in tests of the records."""
    client, statuses = client_of(own, PLANT_NOW), []
    for n in range(60):
        client.now = PLANT_NOW + timedelta(milliseconds=300 * n)
        answer = sign_in(client, password="guess after guess")
        statuses.append(answer.status_code)
    assert set(statuses) == {422, 429} and statuses.count(422) <= 10
    assert 0 < int(answer.headers["retry-after"]) <= 60
    assert "nobody is locked out for good" in answer.text
    client.now = PLANT_NOW + timedelta(minutes=2)
    assert sign_in(client).status_code == 303
    told = client.get("/").text
    assert f"{statuses.count(422)} sign-ins with your name and a wrong password" in told
    assert "wrong password" not in client.get("/").text
    assert said(own).count("sign-in failed") == statuses.count(422)


def test_whoever_leaves_is_out_at_once(own: Path) -> None:
    lief, weir = as_role(own, Role.RELIEF), as_role(own, Role.MANAGER)
    assert lief.get("/").status_code == 200
    id = account_of(own, Role.RELIEF).id
    assert weir.post(f"/people/{id}", data={"active": "no"}, headers=OURS).status_code == 303
    assert lief.get("/").headers["location"].startswith("/sign-in")


def test_a_role_holds_from_the_next_page_on(own: Path) -> None:
    lief, weir = as_role(own, Role.RELIEF), as_role(own, Role.MANAGER)
    id = account_of(own, Role.RELIEF).id
    weir.post(f"/people/{id}", data={"role": "inspector"}, headers=OURS)
    assert lief.post(f"{DAY}/note", data=NOTE, headers=OURS).status_code == 403
    assert "Write a note" not in lief.get(DAY).text
    assert "role changed" in said(own)


def test_somebody_who_is_added_takes_a_password_of_their_own(own: Path) -> None:
    weir = as_role(own, Role.MANAGER)
    form = {"name": "New Hand", "role": "relief", "password_new": OTHER, "certificate": "OP-9"}
    assert weir.post("/people/new", data=form, headers=OURS).status_code == 303
    assert "New Hand" in weir.get("/people").text
    assert weir.post("/people/new", data=form, headers=OURS).status_code == 422
    hand = client_of(own, PLANT_NOW)
    assert sign_in(hand, "New Hand", OTHER).status_code == 303
    assert hand.get("/").headers["location"] == "/password"
    assert "Somebody else gave you this password" in hand.get("/password").text
    mine = {"password": OTHER, "password_new": "quite another one", "password_again": "quite another one"}
    assert hand.post("/password", data=mine, headers=OURS).status_code == 303
    assert hand.get("/").status_code == 200


def test_the_list_says_whose_certificate_runs_out(own: Path) -> None:
    weir = as_role(own, Role.MANAGER)
    id = account_of(own, Role.OPERATOR).id
    for until, words in (("2026-06-30", "runs out in 13 days"), ("2026-06-01", "ran out on 2026-06-01")):
        form = {"role": "operator", "certificate": "OP-1", "certificate_class": "II", "certificate_until": until}
        assert weir.post(f"/people/{id}", data=form, headers=OURS).status_code == 303
        assert words in weir.get("/people").text


# --- sessions: S-10 ----------------------------------------------------------------------------------------------


def test_the_cookie_is_out_of_reach_of_scripts_and_foreign_pages(own: Path) -> None:
    cookie = sign_in(client_of(own, PLANT_NOW)).headers["set-cookie"].lower()
    assert cookie.startswith("weirhouse=") and "httponly" in cookie and "samesite=strict" in cookie
    assert "path=/" in cookie and "domain" not in cookie and "secure" not in cookie
    secure = client_of(own, PLANT_NOW, base="https://127.0.0.1")
    headers = {"origin": "https://127.0.0.1", "sec-fetch-site": "same-origin"}
    answer = secure.post("/sign-in", data={"name": "Anna Brook", "password": WORDS}, headers=headers)
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("__Host-weirhouse=") and "Secure" in cookie and "Path=/" in cookie
    assert "Domain" not in cookie
    assert "max-age=" in answer.headers["strict-transport-security"]
    assert secure.get("/").status_code == 200


def test_a_planted_token_is_worth_nothing_and_goes_with_the_sign_in(own: Path) -> None:
    client = as_role(own, Role.RELIEF)
    planted = client.cookies["weirhouse"]
    sign_in(client)
    assert client.cookies["weirhouse"] != planted
    other = client_of(own, PLANT_NOW)
    for token in (planted, "", "x", "A" * 43, "' OR 1=1 --"):
        other.cookies.set("weirhouse", token, domain="127.0.0.1")
        assert other.get("/", headers={}).status_code == 303


def test_a_stolen_token_is_worth_nothing_after_the_sign_out(own: Path) -> None:
    client = as_role(own, Role.OPERATOR)
    thief = client_of(own, PLANT_NOW)
    thief.cookies.set("weirhouse", client.cookies["weirhouse"], domain="127.0.0.1")
    assert thief.get("/").status_code == 200
    done = client.post("/sign-out", headers=OURS)
    assert done.headers["location"] == "/sign-in"
    assert re.search(r'weirhouse="";.*max-age=0', done.headers["set-cookie"].lower())
    assert thief.get("/").status_code == 303
    assert said(own)[-1] == "signed out"


def test_a_new_password_ends_the_other_sessions_and_renews_this_one(own: Path) -> None:
    client = client_of(own, PLANT_NOW)
    sign_in(client)
    phone, before = as_role(own, Role.OPERATOR), client.cookies["weirhouse"]
    form = {"password": WORDS, "password_new": OTHER, "password_again": OTHER}
    wrong = client.post("/password", data={**form, "password": "not it at all"}, headers=OURS)
    assert wrong.status_code == 422 and phone.get("/").status_code == 200
    assert client.post("/password", data={**form, "password_again": "x"}, headers=OURS).status_code == 422
    assert client.post("/password", data=form, headers=OURS).status_code == 303
    assert client.cookies["weirhouse"] != before
    assert client.get("/").status_code == 200
    assert phone.get("/").status_code == 303
    assert sign_in(client_of(own, PLANT_NOW)).status_code == 422


def test_a_session_ends_after_half_a_day_unused_and_after_a_week(own: Path) -> None:
    client = as_role(own, Role.OPERATOR)
    client.now = PLANT_NOW + IDLE - timedelta(minutes=1)
    assert client.get("/people").status_code == 200
    client.now += IDLE + timedelta(minutes=6)
    assert client.get("/people").status_code == 303
    client, spent = as_role(own, Role.OPERATOR), timedelta(0)
    while spent < LONGEST:
        client.now = PLANT_NOW + spent
        assert client.get("/password").status_code == 200
        spent += timedelta(hours=8)
    client.now = PLANT_NOW + LONGEST + timedelta(minutes=1)
    assert client.get("/password").status_code == 303


def test_a_page_that_renews_itself_does_not_keep_a_session(own: Path) -> None:
    client = as_role(own, Role.OPERATOR)
    by_itself = {"sec-fetch-mode": "navigate", "sec-fetch-site": "same-origin"}
    for hour in (4, 8, 11):
        client.now = PLANT_NOW + timedelta(hours=hour)
        assert client.get("/people", headers=by_itself).status_code == 200
    client.now = PLANT_NOW + IDLE + timedelta(minutes=1)
    assert client.get("/people", headers=by_itself).status_code == 303
    client = as_role(own, Role.OPERATOR)
    client.now = PLANT_NOW + timedelta(hours=11)
    client.get("/people", headers={**by_itself, "sec-fetch-user": "?1"})
    client.now = PLANT_NOW + timedelta(hours=20)
    assert client.get("/people", headers=by_itself).status_code == 200


def test_a_form_half_typed_when_the_session_ends_comes_back(own: Path) -> None:
    """WCAG 2.2, 2.2.1: what was typed is not lost to a time limit; nor to a mistyped password on the way."""
    client = as_role(own, Role.OPERATOR)
    client.now = PLANT_NOW + IDLE + timedelta(minutes=1)
    asked = client.post(f"{DAY}/note", data=NOTE, headers=OURS)
    assert asked.status_code == 401 and notes(own) == []
    wrong = client.post("/sign-in", data={**hidden(asked.text), "name": "Anna Brook", "password": "x"}, headers=OURS)
    assert wrong.status_code == 422
    back = client.post(
        "/sign-in", data={**hidden(wrong.text), "name": "Anna Brook", "password": WORDS}, headers=OURS
    )  # fmt: skip
    assert back.status_code == 200 and 'action="/log/2026-06-17/note"' in back.text
    assert "ordered &lt;one&gt;" in back.text and "Anna Brook" in back.text
    assert client.get(DAY).status_code == 200


def test_the_grid_comes_back_with_the_times_that_were_asked_for(own: Path) -> None:
    client = as_role(own, None)
    cells = {f"c.{n}.raw_ph": "7.4" for n in range(398)}
    asked = client.post(f"{DAY}/grid?time=13:00&time=13:30", data=cells, headers=OURS)
    assert asked.status_code == 401
    back = client.post(
        "/sign-in", data={**hidden(asked.text), "name": "Anna Brook", "password": WORDS}, headers=OURS
    )  # fmt: skip
    assert back.status_code == 200
    assert 'action="/log/2026-06-17/grid?time=13:00&amp;time=13:30"' in back.text
    assert back.text.count('value="7.4"') == 398


def test_no_password_is_held(bare: Path) -> None:
    form = {"name": "X", "password_new": WORDS, "password": OTHER, "code": "ABCD-EFGH"}
    asked = client_of(bare, PLANT_NOW).post("/people/new", data=form, headers=OURS)
    assert asked.status_code == 401
    assert not any(secret in asked.text for secret in (WORDS, OTHER, "ABCD-EFGH"))


# --- what is left behind -----------------------------------------------------------------------------------------


def test_each_step_leaves_an_entry_and_a_changed_one_is_named(own: Path) -> None:
    """S-16: sign-in, failure, sign-out, role, account, password, network; and the chain over them."""
    from pysqlite3 import dbapi2 as driver

    client = client_of(own, PLANT_NOW)
    sign_in(client, password="not it at all")
    sign_in(client)
    id = account_of(own, Role.RELIEF).id
    client.post(f"/people/{id}", data={"role": "inspector"}, headers=OURS)
    client.post(f"/people/{id}/password", data={"password_new": OTHER}, headers=OURS)
    client.post(f"/people/{id}", data={"active": "no"}, headers=OURS)
    client.post("/people/network", data={"network": "on"}, headers=OURS)
    client.post("/sign-out", headers=OURS)
    steps = [
        "sign-in failed", "signed in", "role changed", "password set", "account", "network", "signed out",
    ]  # fmt: skip
    assert said(own) == steps
    connection = driver.connect(str(own / "records.sqlite"))
    (sequence,) = connection.execute("SELECT sequence FROM entry WHERE body LIKE '%sign-in failed%'").fetchone()
    connection.execute("DROP TRIGGER entry_no_update")
    connection.execute(
        "UPDATE entry SET body = replace(body, 'sign-in failed', 'signed in') WHERE sequence = ?", (sequence,)
    )
    connection.commit()
    connection.close()
    with Store.open(own, read_only=True) as store:
        assert f"{sequence}" in store.verify()[0]


def test_a_file_that_is_taken_away_leaves_an_entry(own: Path) -> None:
    def file(source: object, request: object) -> Response:
        return Response("a,b", headers={"content-disposition": 'attachment; filename="x.csv"'})

    client = as_role(own, Role.INSPECTOR, client_of(own, PLANT_NOW, table=[Page("/x.csv", file, needs=READ), *TABLE]))
    assert client.get("/x.csv").text == "a,b"
    client.get("/people")
    with Store.open(own, read_only=True) as store:
        (entry,) = store.events(access_log.KIND)
    assert (entry.values["what"], entry.person, entry.note) == ("export", "I. Hale", "/x.csv")


def test_no_file_log_or_page_holds_a_secret(own: Path, caplog: pytest.LogCaptureFixture) -> None:
    """S-17: passwords, tokens and what was mistyped as a name are in no file of the plant, log or answer."""
    client, texts = client_of(own, PLANT_NOW), []
    secrets = [WORDS, OTHER, "my pass phrase as a name", "wrong words of mine"]
    texts.append(sign_in(client, secrets[2], secrets[3]).text)
    texts.append(sign_in(client).text)
    secrets.append(client.cookies["weirhouse"])
    form = {"password": WORDS, "password_new": OTHER, "password_again": OTHER}
    texts.append(client.post("/password", data=form, headers=OURS).text)
    secrets.append(client.cookies["weirhouse"])
    texts += [client.get(path).text for path in ("/", "/people", DAY, "/password", "/nowhere")]
    files = [file for file in own.rglob("*") if file.is_file()]
    for secret in secrets:
        assert not [file.name for file in files if secret.encode() in file.read_bytes()]
        assert secret not in caplog.text
        shown = [text for text in texts if secret in text]
        assert len(shown) == (1 if secret == secrets[2] else 0)  # a name comes back in its own field

"""The day log: written to with person and time, asked back where a slip is likely, searched and shown by day."""

import re
from datetime import UTC, datetime
from html import unescape
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from tests.web.conftest import OURS, Client, client_of

from weirhouse.records.store import Store

DAY = "/log/2026-10-31"
ZONE = ZoneInfo("America/New_York")


@pytest.fixture
def own(demo_copy: Path) -> tuple[Client, Path]:
    return client_of(demo_copy), demo_copy


def send(client: Client, what: str, **form: str) -> tuple[int, str]:
    base = {"person": "A. Operator", "time": "2026-10-31T15:40", "id": "", "text": "", "note": ""}
    answer = client.post(f"{DAY}/{what}", data={**base, **form}, headers=OURS)
    return answer.status_code, unescape(answer.text) if answer.status_code != 303 else answer.headers["location"]


def asked(html: str) -> str:
    return " ".join(re.findall(r'role="alert"><p>(.*?)</p>', html, re.DOTALL))


def test_a_note_is_kept_and_shown(own: tuple[Client, Path]) -> None:
    client, folder = own
    status, where = send(client, "note", text="Belt of pump 2 <worn>; ordered")
    assert status == 303
    assert where.startswith(f"{DAY}#entry-")
    html = client.get(DAY).text
    assert "Belt of pump 2 &lt;worn&gt;; ordered" in html
    with Store.open(folder, read_only=True) as store:
        last = store.events("note")[-1]
    assert (last.note, last.person) == ("Belt of pump 2 <worn>; ordered", "A. Operator")
    assert last.started_at == datetime(2026, 10, 31, 19, 40, tzinfo=UTC)


def test_sent_twice_it_is_kept_once(own: tuple[Client, Path]) -> None:
    client, _ = own
    form = {"text": "Greased the stirrer", "id": "3f2b0a52-6a62-4a50-8d30-0a6a1f4e2f11"}
    assert send(client, "note", **form)[0] == 303
    assert send(client, "note", **form)[0] == 303
    assert client.get(DAY).text.count("Greased the stirrer") == 1


def test_a_reading_is_kept_and_today_stands_on_it(own: tuple[Client, Path]) -> None:
    client, folder = own
    status, _ = send(client, "reading", channel="settled_turbidity", value="0.71", time="2026-10-31T15:45")
    assert status == 303
    with Store.open(folder, read_only=True) as store:
        last = store.readings("settled_turbidity")[-1]
    assert (last.value, last.unit, last.text, last.person) == (0.71, "NTU", "0.71", "A. Operator")
    assert "0.710 NTU" in client.get("/history/settled_turbidity").text


def test_the_person_is_remembered(own: tuple[Client, Path]) -> None:
    client, _ = own
    send(client, "note", text="x", person="Ana Díaz")
    assert client.get(DAY).text.count('value="Ana Díaz"') == 2


@pytest.mark.parametrize(
    ("form", "field", "says"),
    [
        ({"text": " "}, "text", "The note is empty"),
        ({"text": "x", "person": ""}, "person", "Nobody is named"),
        ({"text": "x", "time": "25 o'clock"}, "time", "is not a time"),
        ({"text": "x", "time": "2026-12-31T10:00"}, "time", "lies ahead"),
    ],
)
def test_a_note_that_cannot_be_is_refused_and_what_was_typed_stays(
    own: tuple[Client, Path], form: dict[str, str], field: str, says: str
) -> None:
    client, _ = own
    status, html = send(client, "note", **form)
    assert status == 422
    assert says in asked(html)
    assert re.search(rf'name="{field}"[^>]*aria-invalid="true"', html)
    assert form["text"] == " " or f">{form['text']}</textarea>" in html


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ({"channel": "settled_turbidity", "value": "cloudy"}, "Settled turbidity"),
        ({"channel": "settled_turbidity", "value": "3 gpm"}, "Settled turbidity"),
        ({"channel": "no_such", "value": "3"}, "no channel of this plant"),
        ({"channel": "settled_turbidity", "value": ""}, "is empty"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(own: tuple[Client, Path], form: dict[str, str], says: str) -> None:
    client, _ = own
    status, html = send(client, "reading", **form)
    assert status == 422
    assert says in asked(html)


@pytest.mark.parametrize(
    ("channel", "value", "says"),
    [("settled_turbidity", "66", "decimal point"), ("contact_ph", "71.1", "end of its usual range")],
)
def test_a_slipped_point_is_asked_about_and_kept_on_a_yes(
    own: tuple[Client, Path], channel: str, value: str, says: str
) -> None:
    client, folder = own
    status, html = send(client, "reading", channel=channel, value=value)
    assert status == 422
    assert says in asked(html)
    with Store.open(folder, read_only=True) as store:
        before = len(store.readings(channel))
    assert send(client, "reading", channel=channel, value=value, sure="yes")[0] == 303
    with Store.open(folder, read_only=True) as store:
        assert len(store.readings(channel)) == before + 1


def test_what_is_below_detection_is_kept_as_such(own: tuple[Client, Path]) -> None:
    client, folder = own
    assert send(client, "reading", channel="entry_chlorine", value="<0.5", flag="doubtful")[0] == 303
    with Store.open(folder, read_only=True) as store:
        found = [r for r in store.readings("entry_chlorine") if r.text == "<0.5"]
    assert [(r.qualifier, r.flag) for r in found] == [("<", "doubtful")]


def test_what_an_event_measured_stands_there_in_the_units_of_the_plant(client: Client, demo_folder: Path) -> None:
    with Store.open(demo_folder, read_only=True) as store:
        change = next(e for e in reversed(store.events("dose_change")) if e.subject == "coagulant")
        wash = store.events("backwash")[-1]
    html = unescape(client.get(f"/log/{change.started_at.astimezone(ZONE).date()}").text)
    doses = re.findall(r"Coagulant: from ([\d.]+) mg/L, to ([\d.]+) mg/L", html)
    assert tuple(float(dose) for dose in doses[-1]) == pytest.approx((change.values["from"], change.values["to"]))
    html = unescape(client.get(f"/log/{wash.started_at.astimezone(ZONE).date()}").text)
    # 15 gpm/ft2 on 35 ft2 for 9 min is 4,725 gal
    assert re.search(
        r": rate 15\.0 gpm/ft², start head loss [\d.]+ ft, turbidity end [\d.]+ NTU, volume 4,725 gal", html
    )


def test_the_log_is_searched(client: Client) -> None:
    html = client.get("/log", params={"q": "rain creek"}).text
    assert "Rain; plant stopped early, the creek may come up in the night" in html
    assert 'href="/log/2026-10-30#entry-' in html
    none = client.get("/log", params={"q": "zeppelin"}).text
    assert "0 lines hold" in none


def test_the_log_of_today_is_one_tap_away(client: Client) -> None:
    answer = client.get("/log")
    assert (answer.status_code, answer.headers["location"]) == (307, DAY)


def test_no_link_leads_beyond_today(client: Client) -> None:
    assert 'href="/log/2026-11-01"' not in client.get(DAY).text
    assert f'href="{DAY}"' in client.get("/log/2026-10-30").text

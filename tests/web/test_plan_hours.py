"""The planned hours of the month change what the limits are counted against."""

import re
import uuid

import pytest
from tests.web.conftest import OURS, Client, client_of

from weirhouse.records.store import Store


@pytest.fixture
def client(demo_copy) -> Client:
    return client_of(demo_copy)


def sent(client: Client, **form: str):
    return client.post("/proof/2026-10/plan", data={"person": "R. Thorne", **form}, headers=OURS)


def planned_values(client: Client) -> int:
    text = re.sub(r"<[^>]+>", "", client.get("/proof/2026-10").text).replace("\N{NO-BREAK SPACE}", " ")
    found = re.search(r"The month is to have about (\d+) \((.*?)\); more than", text)
    assert found is not None
    return int(found[1])


def test_a_plan_counts_the_four_hour_values_still_to_come(client, demo_copy):
    """The demo stands at 15:45 on the last day: of its four-hour periods one is still whole, from 20:00 to midnight."""
    usual = planned_values(client)
    assert sent(client, starts="16:00", hours="8").status_code == 303
    through = planned_values(client)
    assert sent(client, starts="07:00", hours="9").status_code == 303  # until 16:00: nothing more is to come
    none = planned_values(client)
    assert none <= usual <= through
    assert through - none >= 1
    assert "by the plan" in client.get("/proof/2026-10").text
    with Store.open(demo_copy, read_only=True) as store:
        plans = store.events("planned_hours")
    assert [dict(e.values) for e in plans] == [
        {"starts": "16:00", "lasts": 8 * 3600.0}, {"starts": "07:00", "lasts": 9 * 3600.0},
    ]  # fmt: skip


def test_the_form_comes_back_with_what_was_typed_and_one_sentence(client):
    for form, words in (
        ({"starts": "soon", "hours": "8"}, "no time of day"),
        ({"starts": "07:00", "hours": "30"}, "A day has 24 h"),
        ({"starts": "07:00", "hours": "many"}, "hours of each day"),
        ({"starts": "07:00", "hours": "8", "person": " "}, "Say who plans it"),
    ):
        answer = sent(client, **form)
        assert answer.status_code == 422
        assert words in answer.text
        assert f'value="{form["hours"]}"' in answer.text


def test_a_month_that_is_over_is_not_planned(client):
    answer = client.post(
        "/proof/2026-08/plan", data={"person": "R. Thorne", "starts": "07:00", "hours": "8"}, headers=OURS
    )
    assert answer.status_code == 422
    assert "That month is over" in answer.text


def test_sent_twice_it_is_kept_once(client, demo_copy):
    id = str(uuid.uuid4())
    for _ in range(2):
        assert sent(client, starts="06:30", hours="9.5", id=id).status_code == 303
    with Store.open(demo_copy, read_only=True) as store:
        assert len(store.events("planned_hours")) == 1
    page = client.get("/proof/2026-10/plan").text
    assert 'value="06:30"' in page and 'value="9.50"' in page

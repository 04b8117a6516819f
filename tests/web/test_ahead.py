"""The page Ahead: progress while it is worked out, then the answer first, the same figures as the JSON."""

import re
import time

import pytest
from tests.web.conftest import Client, Visits, client_of
from tests.web.test_accessible import violations

from weirhouse.web.looking import Looking

WHEN = "at=2025-11-27T04:00:00Z&hours=6"


@pytest.fixture(scope="module")
def client(demo_folder) -> Client:
    return client_of(demo_folder)


@pytest.fixture(scope="module")
def html(client) -> str:
    first = client.get(f"/ahead?{WHEN}")
    assert first.status_code == 200
    assert "<progress" in first.text and 'data-progress="/ahead/progress.json?' in first.text
    until = time.monotonic() + 180
    while time.monotonic() < until:
        told = client.get(f"/ahead/progress.json?{WHEN}").json()
        assert 0.0 <= told["share"] <= 1.0 and told["what"]
        if told["done"]:
            break
        time.sleep(0.3)
    return client.get(f"/ahead?{WHEN}").text


def test_the_page_says_what_the_json_says(client, html):
    data = client.get(f"/ahead.json?{WHEN}").json()
    plain = re.sub(r"<[^>]+>", "", html).replace("\N{NO-BREAK SPACE}", " ")
    assert data["order"] in plain
    for line in (*data["says"], *data["unknown"]):
        assert line in plain.replace("&#34;", '"'), line
    assert data["hours"] == 6


def test_every_fan_has_its_sentence_and_its_table(html):
    figures = re.findall(r'<figure class="fan">.*?</figure>', html, re.DOTALL)
    assert len(figures) >= 6
    for figure in figures:
        assert "nine futures of ten" in figure
        assert "<table>" in figure and figure.count("<svg") == 2


def test_the_answer_stands_first_and_the_caution_near_it(html):
    assert html.index('id="order"') < html.index("Two ways to run the plant") < html.index('class="fan"')
    assert html.index("Public health") < html.index("Two ways to run the plant")


def test_weather_without_rain_in_it_gets_one_sentence(client):
    path = f"/ahead?{WHEN}&weather=purple%3Cscript%3E"
    client.get(f"/ahead.json?{WHEN}&weather=purple%3Cscript%3E")  # waits until it is done
    page = client.get(path)
    assert page.status_code == 200
    assert "does not say what rain to expect" in page.text
    assert "<script>" not in page.text.replace('<script type="module"', "")


def test_an_empty_plant_says_what_to_enter(tmp_path):
    from click.testing import CliRunner

    from weirhouse.cli.main import group

    assert CliRunner().invoke(group, ["new", str(tmp_path / "p")]).exit_code == 0
    empty = client_of(tmp_path / "p")
    assert empty.get("/ahead.json").status_code == 503
    page = empty.get("/ahead").text
    assert "No raw turbidity is on record" in page
    assert "Write a reading of raw turbidity" in page


def test_two_who_ask_for_the_same_wait_for_one(monkeypatch):
    looking, made = Looking(), []

    def make(tell):
        tell(0.5, "half")
        time.sleep(0.2)
        made.append(1)
        return "answer"

    from datetime import UTC, datetime, timedelta

    at = datetime(2026, 5, 1, 12, tzinfo=UTC)
    first, second = looking.begin("a", at, make), looking.begin("a", at, make)
    assert first is second
    assert first.done.wait(5)
    assert (first.answer, first.share, made) == ("answer", 1.0, [1])
    assert looking.find("a", at + timedelta(minutes=10)) is first
    assert looking.find("a", at + timedelta(minutes=16)) is None  # too old to pass for now
    assert looking.find("a", at - timedelta(minutes=1)) is None
    assert looking.find("b", at) is None


def test_what_went_wrong_is_kept_for_the_page():
    from datetime import UTC, datetime

    looking = Looking()

    def fail(tell):
        raise ZeroDivisionError("told")

    job = looking.begin("a", datetime(2026, 5, 1, tzinfo=UTC), fail)
    assert job.done.wait(5)
    assert isinstance(job.error, ZeroDivisionError)


def test_in_a_browser_it_comes_by_itself_and_everybody_can_use_it(visits: Visits) -> None:
    """From the bar to the page without a touch; by keyboard to another weather; at both widths nothing is cut off."""
    visit = visits(width=1280)
    visit.go(f"/ahead?{WHEN}")
    visit.page.wait_for_selector("#order", timeout=180_000)
    visit.page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert violations(visit) == []
    for width in (360, 1280):
        visit.page.set_viewport_size({"width": width, "height": 844})
        assert visit.page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    visit.page.focus("#weather")
    visit.page.keyboard.type("dry until Friday")
    visit.page.keyboard.press("Enter")
    visit.page.wait_for_url("**weather=dry**")
    assert "2025-11-27" in visit.page.url  # the instant stays
    assert violations(visit) == []  # of the page with the bar
    assert visit.complaints == []

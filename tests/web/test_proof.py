"""The page Proof: its figures are those of the report, each opens its readings, and what is written there is kept."""

import hashlib
import json
import re
import shutil
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from tests.web.conftest import OURS, Client, Visits, client_of

from weirhouse import plant as plants
from weirhouse.desk.judging import judged
from weirhouse.records.model import Reading
from weirhouse.records.store import Store

LAST = datetime(2026, 10, 31, 19, 45, tzinfo=UTC)  # of the demo's readings
MONTH = "2026-09"


def text_of(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def links(html: str, start: str) -> list[str]:
    return [unescape(link) for link in re.findall(r'href="([^"]+)"', html) if link.startswith(start)]


@pytest.fixture(scope="module")
def planted(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo, with a residual that a person read too low in its last hour, and a reading of November after it."""
    folder = tmp_path_factory.mktemp("planted") / "emberly"
    shutil.copytree(demo_folder, folder, ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    low = [
        Reading(
            channel="entry_chlorine", value=0.1, taken_at=LAST - timedelta(minutes=m), unit="mg/L", text="0.10",
            person="R. Thorne",
        )
        for m in (32, 17)
    ]  # fmt: skip
    with Store.open(folder) as store:
        store.add_readings(low, entered_at=LAST)
    return folder


@pytest.fixture
def own(planted: Path, tmp_path: Path) -> tuple[Client, Path]:
    folder = tmp_path / "emberly"
    shutil.copytree(planted, folder, ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    return client_of(folder), folder


def send(client: Client, path: str, **form: str):
    return client.post(path, data={"person": "R. Thorne", **form}, headers=OURS)


# --- what is shown ---------------------------------------------------------------------------------------------------


def test_the_answer_comes_first_and_is_that_of_the_json(client):
    page = client.get(f"/proof/{MONTH}").text
    said = client.get(f"/proof.json?month={MONTH}").json()
    order = re.search(r'<p class="order[^"]*">(.*?)</p>', page, re.S)
    assert text_of(order[1]).replace("\N{NO-BREAK SPACE}", " ") == said["answer"]
    assert page.index("order-proof") < page.index("<h2")


def test_the_page_has_the_figures_of_the_json(client):
    page, said = client.get(f"/proof/{MONTH}").text, client.get(f"/proof.json?month={MONTH}").json()
    shown = text_of(page).replace("\N{NO-BREAK SPACE}", " ")
    for one in said["requirements"]:
        assert one["title"] in shown and one["citation"] in shown
        assert one["shown"] in shown
    table = client.get(f"/proof/{MONTH}/table").text
    cells = re.findall(r"<td class=\"right num[^>]*>(.*?)</td>", table, re.S)
    numbers = {text_of(cell).split(" ")[0] for cell in cells}
    for day in said["daily"]["days"]:
        for cell in day["cells"].values():
            if cell["value"] is not None:
                assert cell["text"] in numbers
    report = json.loads(client.get(f"/proof/{MONTH}/report.json").text)
    assert report["daily"] == said["daily"]


def test_every_link_of_proof_leads_somewhere(client):
    page = client.get(f"/proof/{MONTH}").text
    table = client.get(f"/proof/{MONTH}/table").text
    found = {link.split("#")[0] for link in [*links(page, "/proof"), *links(table, "/proof")]}
    assert len([link for link in found if "/rule/" in link]) > 10
    assert len([link for link in found if "/total/" in link]) > 20
    days = sorted(link for link in found if "/day/" in link)
    months = sorted(link for link in found if re.fullmatch(r"/proof/\d{4}-\d\d", link) and MONTH not in link)
    rules = sorted(link for link in found if "/rule/" in link)
    found -= {*days[2:], *months[1:], *rules[15:]}  # made by one line of a template each
    for link in sorted(link for link in found if "report.pdf" not in link):
        assert client.get(link).status_code == 200, link


def test_a_figure_opens_the_readings_that_counted_and_those_that_did_not(client, demo_folder):
    plant = plants.load(demo_folder)
    with Store.open(demo_folder, read_only=True) as store:
        result = judged(store, plant, demo_folder, MONTH, LAST).result
    outcome = result.outcome("ife_continuous", "filter_1")
    page = text_of(client.get(f"/proof/{MONTH}/rule/ife_continuous?subject=filter_1").text)
    assert f"{len(outcome.counted):,} counted" in page
    assert outcome.not_counted
    for one in outcome.not_counted:
        assert one.reason.split(": ", 1)[-1] in page
    assert "not yet compared" in page  # the rule's text says where it comes from
    assert client.get(f"/proof/{MONTH}/rule/nothing").status_code == 404


def test_contact_time_is_laid_out_along_the_path_with_the_sum_last(client):
    page = client.get(f"/proof/{MONTH}").text
    path = page[page.index('class="figures path"') :]
    rows = [text_of(row) for row in re.findall(r"<tr>(.*?)</tr>", path[: path.index("</table>")], re.S)]
    assert rows[1].startswith("Clearwell") and rows[2].startswith("Main to the first customer")
    assert rows[-1].startswith("Sum")
    shares = [float(row.split(" ")[-2]) for row in rows[1:]]
    assert shares[-1] == pytest.approx(sum(shares[:-1]), abs=0.011)


def test_what_is_no_month_is_refused_in_a_sentence(client):
    for path in ("/proof/2026-13", "/proof/abc", "/proof/2026-09/day/31", "/proof/2026-09/total/nothing"):
        assert client.get(path).status_code == 404, path
    answer = client.get("/proof?month=tea")
    assert answer.status_code in (400, 503)
    assert "Write it like 2026-09" in answer.text
    assert client.get(f"/proof/{MONTH}/report.exe").status_code == 404
    assert client.get(f"/proof/{MONTH}/report.pdf?paper=legal").status_code == 404


def test_the_report_comes_as_a_file(client):
    answer = client.get(f"/proof/{MONTH}/report.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    assert "DEMO-0000420-2026-09.csv" in answer.headers["content-disposition"]
    assert client.get(f"/proof/{MONTH}/report.pdf").content.startswith(b"%PDF")


def test_the_inspector_sees_checks_and_closed_months(client):
    page = text_of(client.get("/proof/inspector").text)
    assert "closed by R. Thorne (demo), 2026-10-03" in page
    assert "Filter 1 turbidity" in page and "secondary standard" in page
    assert "40 CFR 141.33(a)" in page
    forms = re.findall(r'<form[^>]*action="([^"]+)"', client.get("/proof/inspector").text)
    assert forms == ["/look"]


def test_the_year_has_what_the_consumers_must_be_told(client):
    page = text_of(client.get("/proof/year/2026").text)
    assert "highest single value" in page and "lowest monthly percentage within the limit" in page
    assert re.search(
        r"Total trihalomethanes 6 of 6 [\d.]+ µg/L to [\d.]+ µg/L", page.replace("\N{NO-BREAK SPACE}", " ")
    )
    assert client.get("/proof/year/26").status_code == 404


def test_the_years_lead_to_those_on_record(client):
    found = ["/proof/year/2026"]
    for link in found:
        found += [x for x in links(client.get(link).text, "/proof/year/") if x[-4:].isdigit() and x not in found]
    assert sorted(found) == ["/proof/year/2025", "/proof/year/2026"]


# --- what is written -------------------------------------------------------------------------------------------------


def test_readings_below_a_limit_are_not_called_over(own):
    page = text_of(own[0].get("/proof").text)
    assert " counted, 2 beyond the limit" in page


def test_a_low_residual_opens_a_notice_with_its_clock_and_steps(own):
    client, folder = own
    page = client.get("/proof").text
    link = next(x for x in links(page, "/proof/2026-10/notice") if "ep_residual_notify" in x)
    assert re.search(r"left</span>, due 31 Oct 19:", page)  # the four hours
    notice = client.get(link).text
    shown = text_of(notice)
    assert "decides no boil-water notice" in shown and "555-0100" in shown
    assert "Steps, in order" in shown
    assert "by the end of the next business day, 2026-11-02" in shown  # 31 October is a Saturday
    assert "safe" not in shown.lower().split() and "!" not in shown
    id = parse_qs(urlsplit(link).query)["id"][0]
    step = re.search(r'name="step" value="([^"]+)"', notice)[1]
    refused = send(client, "/proof/2026-10/notice/step", notice=id, step=step, time="2026-10-31T23:00", note="told")
    assert refused.status_code == 422 and "lies ahead" in refused.text and "told" in refused.text
    done = send(client, "/proof/2026-10/notice/step", notice=id, step=step, time="2026-10-31T15:40", note="told Ms Ray")
    assert done.status_code == 303
    assert "Done 31 Oct 15:40 by R. Thorne" in text_of(client.get(link).text)
    short = send(client, "/proof/2026-10/notice/close", notice=id, closing="ok")
    assert short.status_code == 422 and "what was decided" in short.text
    closed = send(
        client, "/proof/2026-10/notice/close", notice=id, closing="Ms Ray of the State, 15:50: analyser fouled, no more"
    )
    assert closed.status_code == 303
    assert "analyser fouled" in client.get(link).text
    with Store.open(folder, read_only=True) as store:
        assert [e.values["step"] for e in store.events("notice")] == [step, "closed"]
    assert send(client, "/proof/2026-10/notice/close", notice="nothing", closing="a long text").status_code == 404


def test_an_explanation_and_a_confirmed_rule_are_kept(own):
    client, folder = own
    page = client.get("/proof/2026-10/open").text
    subject = unescape(re.search(r'name="subject" value="([^"]*ep_residual[^"]*)"', page)[1])
    wrong = send(client, "/proof/2026-10/explain", subject=subject, text="no")
    assert wrong.status_code == 422 and "too short" in wrong.text
    nasty = "<script>alert(1)</script> {{ 7*7 }} fouled membrane"
    assert send(client, "/proof/2026-10/explain", subject=subject, text=nasty).status_code == 303
    after = client.get("/proof/2026-10/open").text
    assert "<script>alert(1)" not in after
    assert nasty in unescape(after)
    assert f'name="subject" value="{subject}"' not in unescape(after)
    key = "us_federal/tt_crypto"
    form = client.get(f"/proof/rules?key={key}")
    assert "It says the same" in form.text
    assert send(client, "/proof/rules", key=key, edition="CFR").status_code == 422
    assert send(client, "/proof/rules", key="us_federal/none", edition="40 CFR, July 2026").status_code == 422
    assert send(client, "/proof/rules", key=key, edition="40 CFR 141.170, July 2026, printed").status_code == 303
    assert "compared with 40 CFR 141.170, July 2026, printed by R. Thorne" in client.get("/proof/rules").text
    with Store.open(folder, read_only=True) as store:
        (event,) = store.events("rule_confirmed")
        assert (event.subject, event.person) == (key, "R. Thorne")


def test_a_deficiency_entered_in_the_day_log_stands_before_the_inspector(own):
    client, _ = own
    entry = {"id": "", "time": "2026-10-31T15:30", "until": "", "note": "vent of the clearwell without a screen"}
    assert send(client, "/log/2026-10-31/deficiency", **entry).status_code == 303
    plan = entry | {"note": "sampling plan for by-products", "due": "2027-01-15"}
    assert send(client, "/log/2026-10-31/plan", **plan).status_code == 303
    page = text_of(client.get("/proof/inspector").text)
    assert "vent of the clearwell without a screen" in page
    assert "sampling plan for by-products, due 2027-01-15" in page


def test_a_month_is_closed_from_the_page_and_its_report_stays(own):
    client, folder = own
    assert "not over yet" in text_of(client.get("/proof/2026-10/open").text)
    assert send(client, "/proof/2026-10/close", note="a reason long enough").status_code == 422
    november = Reading(
        channel="raw_turbidity", value=3.0, taken_at=datetime(2026, 11, 2, 13, 0, tzinfo=UTC), unit="NTU", text="3.0",
        person="R. Thorne",
    )  # fmt: skip
    with Store.open(folder) as store:
        store.add_readings([november], entered_at=datetime(2026, 11, 2, 13, 0, tzinfo=UTC))
    empty = send(client, "/proof/2026-10/close", note="")
    assert empty.status_code == 422 and "still open" in empty.text
    id = "5b0f3a52-5c39-4d8c-9a52-0f3b6f1d2c11"
    assert send(client, "/proof/2026-10/close", id=id, note="As it is: the analyser was fouled.").status_code == 303
    assert send(client, "/proof/2026-10/close", id=id, note="As it is: the analyser was fouled.").status_code == 303
    again = send(client, "/proof/2026-10/close", note="As it is, once more.")
    assert again.status_code == 422 and "closed by R. Thorne already" in again.text
    with Store.open(folder, read_only=True) as store:
        (event,) = store.events("closed", subject="2026-10")
    made = client.get("/proof/2026-10/report.json").content
    assert hashlib.sha256(made).hexdigest() == event.values["digest"]
    assert event.values["digest"] in client.get("/proof/inspector").text
    assert "is closed" in text_of(client.get("/proof/2026-10/open").text)


# --- in a browser ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [360, 1280])
def test_nothing_is_cut_off_and_the_working_opens(visits: Visits, width: int):
    visit = visits(width=width)
    for path in (
        f"/proof/{MONTH}",
        f"/proof/{MONTH}/day/13",
        f"/proof/{MONTH}/table",
        "/proof/inspector",
        "/proof/rules",
    ):
        assert visit.go(path) == 200
        assert visit.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), path
    visit.go(f"/proof/{MONTH}")
    visit.page.locator("a[data-working]").first.click()
    if width > 800:
        visit.page.wait_for_selector("dialog[open] >> text=Readings that counted")
    else:
        visit.page.wait_for_url("**/rule/**")
    assert visit.complaints == []

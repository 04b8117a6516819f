"""What was done is entered in the day log: kept as it was typed, asked back where a slip is likely, and acted on."""

import re
import shutil
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from tests.desk.scene import NOW, Scene
from tests.web.accounts import signed_in
from tests.web.conftest import OURS, Client, Visits, client_of, served

from weirhouse.records.model import Event
from weirhouse.records.store import Store

DAY = "/log/2026-06-17"  # NOW is 14:00 on the plant's clock


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small plant with a quiet week and without any backwash on record."""
    folder = tmp_path_factory.mktemp("quiet") / "plant"
    scene = Scene(folder).quiet()
    scene.events = []
    scene.build().close()
    return folder


@pytest.fixture
def own(quiet: Path, tmp_path: Path) -> tuple[Client, Path]:
    folder = shutil.copytree(quiet, tmp_path / "plant", ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    return signed_in(client_of(folder, NOW), folder, now=NOW), folder


def send(client: Client, kind: str, **form: str) -> tuple[int, str]:
    base = {"person": "A. Operator", "time": "2026-06-17T13:40", "id": "", "note": "", "until": ""}
    answer = client.post(f"{DAY}/{kind}", data={**base, **form}, headers=OURS)
    return answer.status_code, unescape(answer.text) if answer.status_code != 303 else answer.headers["location"]


def kept(folder: Path, kind: str) -> list[Event]:
    with Store.open(folder, read_only=True) as store:
        return list(store.events((kind,)))


def said(html: str) -> str:
    return " ".join(re.findall(r'role="alert"><p>(.*?)</p>', html, re.DOTALL))


def line(client: Client, id: str) -> dict[str, str]:
    return next(one for one in client.get("/today.json").json()["advice"] if one["id"] == id)


def local(clock: str) -> datetime:
    return datetime.fromisoformat(f"2026-06-17T{clock}:00-04:00").astimezone(UTC)


def test_a_backwash_is_kept_and_the_run_becomes_known(own: tuple[Client, Path]) -> None:
    client, folder = own
    assert line(client, "run_filter_1")["state"] == "unknown"
    status, where = send(
        client, "backwash", subject="filter_1", until="2026-06-17T13:52", volume="4,200 gal", note="dirty on top"
    )
    assert status == 303
    (wash,) = kept(folder, "backwash")
    assert where == f"{DAY}#entry-{wash.id}"
    assert (wash.started_at, wash.ended_at, wash.subject) == (local("13:40"), local("13:52"), "filter_1")
    assert wash.values == {"volume": pytest.approx(4200 * 231 * 0.0254**3)}  # a gallon is 231 cubic inches
    assert (wash.person, wash.note) == ("A. Operator", "dirty on top")
    assert "Filter 1: volume 4,200 gal: dirty on top" in client.get(DAY).text
    assert line(client, "run_filter_1")["state"] != "unknown"
    assert line(client, "run_filter_2")["state"] == "unknown"


def test_today_leads_to_the_wash_it_misses(own: tuple[Client, Path]) -> None:
    client, _ = own
    html = unescape(client.get("/").text)
    link = f"{DAY}/backwash?subject=filter_1&time=&until="
    assert f'<a class="tap" href="{link}">Enter when Filter 1 was last washed</a>' in html
    form = client.get(link).text
    assert re.search(r'value="filter_1" required checked>', form)
    assert re.search(r'name="time" value="" required', form)  # nobody knows here when it was
    assert link in unescape(client.get("/working/run_filter_1").text)


def test_the_form_is_filled_in_for_what_has_just_ended(own: tuple[Client, Path]) -> None:
    client, _ = own
    form = client.get(f"{DAY}/backwash?subject=filter_2").text  # 9 min by the plant file
    assert 'name="time" value="2026-06-17T13:51"' in form
    assert 'name="until" value="2026-06-17T14:00"' in form
    assert re.search(r'value="filter_2" required checked>', form)
    other = client.get("/log/2026-06-16/start").text
    assert 'name="time" value="2026-06-16T12:00"' in other


def test_a_changed_dose_is_followed_at_once(own: tuple[Client, Path]) -> None:
    client, folder = own
    form = client.get(f"{DAY}/dose_change?subject=coagulant").text
    assert re.search(r'name="from" value="15.0 mg/L"', form)
    assert "In mg/L as product" in form
    status, _ = send(
        client, "dose_change", subject="coagulant", to="18", time="2026-06-17T14:00", **{"from": "15 mg/L"}
    )
    assert status == 303
    (change,) = kept(folder, "dose_change")
    assert change.values == {"from": 15.0, "to": 18.0}
    with Store.open(folder, read_only=True) as store:
        dose = store.readings("coagulant_dose")[-1]
    assert (dose.value, dose.text, dose.taken_at, dose.person) == (18.0, "18", NOW, "A. Operator")
    assert "18.0 mg/L" in client.get("/history/coagulant_dose").text
    assert 'value="18.0 mg/L"' in client.get(f"{DAY}/dose_change?subject=coagulant").text
    feed = client.get("/working/coagulant_dose").text
    assert "18.0 mg/L" in feed


def test_sent_twice_a_changed_dose_is_kept_once(own: tuple[Client, Path]) -> None:
    client, folder = own
    with Store.open(folder, read_only=True) as store:
        before = len(store.readings("chlorine_dose"))
    form = {"subject": "chlorine", "to": "2.4 mg/L", "id": "3f2b0a52-6a62-4a50-8d30-0a6a1f4e2f11", "from": ""}
    assert send(client, "dose_change", **form)[0] == 303
    assert send(client, "dose_change", **form)[0] == 303
    assert len(kept(folder, "dose_change")) == 1
    with Store.open(folder, read_only=True) as store:
        assert len(store.readings("chlorine_dose")) == before + 1
    status, html = send(client, "dose_change", **{**form, "to": "2.6"})  # the same form with another figure
    assert status == 422
    assert said(html).startswith("This form was kept before")
    assert form["id"] not in html  # the next try is an entry of its own


@pytest.mark.parametrize(
    ("kind", "form", "field", "says"),
    [
        ("backwash", {}, "", "Which filter is not said. Choose one of: Filter 1, Filter 2."),
        ("backwash", {"subject": "filter_9"}, "", '"filter_9" is no filter of this plant'),
        ("backwash", {"subject": "filter_1", "until": "2026-06-17T13:00"}, "until", "13:00 lies before the start"),
        ("backwash", {"subject": "filter_1", "until": "2026-06-17T15:00"}, "until", "15:00 lies ahead"),
        ("backwash", {"subject": "filter_1", "until": "noon"}, "until", "is not a time"),
        ("backwash", {"subject": "filter_1", "volume": "some"}, "volume", '"some"'),
        ("backwash", {"subject": "filter_1", "volume": "3 NTU"}, "volume", "does not measure this"),
        ("backwash", {"subject": "filter_1", "volume": "-3"}, "volume", "below nothing"),
        ("start", {"time": "2026-06-17T15:10"}, "time", "The time 2026-06-17 15:10 lies ahead"),
        ("stop", {"time": "yesterday"}, "time", "is not a time"),
        ("dose_change", {"subject": "coagulant", "to": " "}, "to", "is empty. Write the dose that is set now."),
        ("dose_change", {"subject": "coagulant", "to": "a bit"}, "to", '"a bit"'),
        ("dose_change", {"subject": "coagulant", "to": "20", "from": "x"}, "from", '"x"'),
        ("dose_change", {"subject": "", "to": "20"}, "", "Which feed is not said"),
        ("instrument_fault", {"subject": "gauge"}, "subject", '"gauge" is no channel of this plant'),
        ("delivery", {"subject": "chlorine", "volume": "drum"}, "volume", '"drum"'),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence_and_what_was_typed_stays(
    own: tuple[Client, Path], kind: str, form: dict[str, str], field: str, says: str
) -> None:
    client, folder = own
    status, html = send(client, kind, **{"note": "keep <me>", "from": "", **form})
    assert status == 422
    assert says in said(html), said(html)
    assert said(html).count(".") <= 4
    assert 'value="keep <me>"' in html
    for name, text in form.items():
        if name in ("volume", "to", "until", "time"):
            assert f'name="{name}" value="{text}"' in html
    if field:
        assert re.search(rf'name="{field}"[^>]*aria-invalid="true"', html)
    assert kept(folder, kind) == []


@pytest.mark.parametrize(
    ("kind", "form", "says"),
    [
        (
            "backwash",
            {"subject": "filter_1", "time": "2026-06-17T09:00", "until": "2026-06-17T13:00"},
            "4.00 h is long",
        ),
        # the pump gives 560 gpm: 9 min make 5,040 gal
        ("backwash", {"subject": "filter_1", "until": "2026-06-17T13:49", "volume": "45000"}, "5,040 gal"),
        ("dose_change", {"subject": "coagulant", "to": "180"}, "end of its usual range"),
        ("dose_change", {"subject": "chlorine", "to": "19"}, "decimal point"),
    ],
)
def test_a_likely_slip_is_asked_about_and_kept_on_a_yes(
    own: tuple[Client, Path], kind: str, form: dict[str, str], says: str
) -> None:
    client, folder = own
    form = {"from": "", **form}
    status, html = send(client, kind, **form)
    assert status == 422
    assert says in said(html), said(html)
    assert kept(folder, kind) == []
    assert send(client, kind, sure="yes", **form)[0] == 303
    assert len(kept(folder, kind)) == 1


def test_the_same_wash_entered_again_is_asked_about(own: tuple[Client, Path]) -> None:
    client, folder = own
    assert send(client, "backwash", subject="filter_1")[0] == 303
    status, html = send(client, "backwash", subject="filter_1", time="2026-06-17T13:45")
    assert status == 422
    assert "stands in the log at 13:40 already" in said(html)
    assert send(client, "backwash", subject="filter_2", time="2026-06-17T13:45")[0] == 303
    assert len(kept(folder, "backwash")) == 2


def test_a_fault_is_open_until_its_end_is_entered(own: tuple[Client, Path]) -> None:
    before, folder = own
    client = client_of(folder, NOW + timedelta(minutes=20))
    client.cookies.update(before.cookies)
    form = {"subject": "raw_turbidity", "note": "wiper jammed", "time": "2026-06-17T14:10"}
    assert send(client, "instrument_fault", **form)[0] == 303
    assert "faulty since 14:10" in client.get("/history/raw_turbidity").text
    html = unescape(client.get(DAY).text)
    link = re.search(r'href="(/log/end/[^"]+)"', html)
    assert link is not None
    assert "Instrument fault, Raw turbidity, since Wed 17 Jun 14:10" in html
    assert 'name="until" value="2026-06-17T14:20"' in client.get(link[1]).text
    early = client.post(link[1], data={"person": "A", "until": "2026-06-17T13:00"}, headers=OURS)
    assert early.status_code == 422
    assert "lies before the start 2026-06-17 14:10" in said(early.text)
    done = client.post(link[1], data={"person": "A. Operator", "until": "2026-06-17T14:15"}, headers=OURS)
    assert done.status_code == 303
    (fault,) = kept(folder, "instrument_fault")
    assert (fault.started_at, fault.ended_at, fault.note) == (local("14:10"), local("14:15"), "wiper jammed")
    assert "/log/end/" not in client.get(DAY).text
    assert "faulty since" not in client.get("/history/raw_turbidity").text
    assert client.get(link[1]).status_code == 404
    with Store.open(folder, read_only=True) as store:
        assert store.verify() == []


def test_every_kind_on_the_page_can_be_entered_in_one_form(own: tuple[Client, Path]) -> None:
    client, folder = own
    links = re.findall(r'class="choice" href="(/log/2026-06-17/[^"]+)"', unescape(client.get(DAY).text))
    links = [link for link in links if not link.endswith(("/grid", "/close"))]
    kinds = {link.rpartition("/")[2].partition("?")[0] for link in links}
    assert kinds == {
        "backwash", "filter_to_waste", "dose_change", "start", "stop", "intake_shut", "intake_open", "batch",
        "delivery", "power_failure", "instrument_fault", "instrument_check", "instrument_out", "maintenance", "outage",
        "stock_count", "plan", "deficiency",
    }  # fmt: skip
    assert len(links) == 24  # two filters, two feeds
    for number, link in enumerate(links):
        html = unescape(client.get(link).text)
        sent = dict(re.findall(r'<input type="(?!radio)[^>]*name="(\w+)"[^>]*value="([^"]*)"', html))
        chosen = re.search(r'name="subject" value="(\w+)" required checked', html)
        sent |= {"subject": chosen[1]} if chosen else {}
        sent |= {
            "person": "A. Operator",
            "time": f"2026-06-17T{8 + number // 4:02d}:{number % 4 * 15:02d}",
            "until": "",
        }
        sent |= {"to": "2.2"} if "dose_change" in link and "chlorine" in link else {}
        sent |= {"to": "16"} if "dose_change" in link and "coagulant" in link else {}
        sent |= {"subject": "raw_ph"} if "instrument" in link else {}
        sent |= (
            {"standard": "buffer", "standard_value": "7", "found": "7.05", "result": "passed"}
            if "check" in link
            else {}
        )
        sent |= {"level_after": "26", "product": "20 L", "lot": "7"} if "batch" in link else {}
        sent |= {"volume": "110 gal"} if "stock_count" in link else {}
        answer = client.post(link.partition("?")[0], data=sent, headers=OURS)
        assert answer.status_code == 303, (link, said(unescape(answer.text)))
    with Store.open(folder, read_only=True) as store:
        found = [event for event in store.events() if event.kind != "person"]
    assert len(found) == len(links)
    batch = next(e for e in found if e.kind == "batch" and e.subject == "chlorine")
    assert batch.values == {"level_after": pytest.approx(26 * 0.0254), "product": pytest.approx(0.02), "lot": "7"}


def test_what_is_no_kind_of_entry_is_no_page(own: tuple[Client, Path]) -> None:
    client, _ = own
    assert client.get(f"{DAY}/dance").status_code == 404
    assert send(client, "dance")[0] == 404
    assert client.get("/log/end/nothing").status_code == 404
    assert client.post("/log/end/nothing", data={"person": "A", "until": "2026-06-17T13:00"}, headers=OURS).is_error


# --- in a browser ------------------------------------------------------------------------------------------------


def tab_to(page: Page, id: str, most: int = 80) -> None:
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id || document.activeElement.value || ''") == id:
            return
    raise AssertionError(f"the keyboard does not reach {id}")


def test_a_backwash_entered_by_keyboard_alone_makes_the_run_known(browser: Browser, own: tuple[Client, Path]) -> None:
    client, folder = own
    with served(folder, NOW) as address, Visits(browser, address) as visits:
        visit = visits(width=390)
        visit.page.context.add_cookies([{"name": "weirhouse", "value": client.cookies["weirhouse"], "url": address}])
        visit.go("/")
        page = visit.page
        unknown = page.locator("[data-advice=run_filter_1]")
        assert unknown.get_attribute("data-state") == "unknown"
        for _ in range(200):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.textContent") == "Enter when Filter 1 was last washed":
                break
        page.keyboard.press("Enter")
        page.wait_for_selector("h1:text('Backwash')")
        tab_to(page, "filter_1")  # the one that was chosen
        tab_to(page, "event-time", 1)
        page.keyboard.type("06172026")
        page.keyboard.press("Tab")
        page.keyboard.type("0630AM")
        tab_to(page, "event-until")
        page.keyboard.type("06172026")
        page.keyboard.press("Tab")
        page.keyboard.type("0641AM")
        tab_to(page, "event-volume")
        page.keyboard.type("4100")
        tab_to(page, "event-person")
        assert page.locator("#event-person").input_value() == "A. Operator"  # whoever is signed in
        page.keyboard.press("Enter")
        page.wait_for_url("**/log/2026-06-17#entry-*")
        assert "volume 4,100 gal" in page.locator("tr:target").inner_text()
        visit.go("/")
        assert page.locator("[data-advice=run_filter_1]").get_attribute("data-state") != "unknown"
        assert visit.complaints == []
    (wash,) = kept(folder, "backwash")
    assert (wash.started_at, wash.ended_at) == (local("06:30"), local("06:41"))
    assert wash.ended_at - wash.started_at == timedelta(minutes=11)
    assert line(client, "run_filter_1")["state"] != "unknown"

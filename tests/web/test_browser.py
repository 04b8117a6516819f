"""The pages in a real browser: equal to the JSON, by keyboard alone, by touch, on paper, and nothing from outside."""

import json
import re
from typing import Any
from urllib.parse import urlsplit
from urllib.request import urlopen

import pytest
from tests.web.conftest import Visit, Visits
from tests.web.pdf import pages

from weirhouse.quantity import label

STORM = "2026-10-31 00:15"  # the creek has just come up in the night, the plant stands


def data(address: str, path: str) -> Any:
    with urlopen(address + path) as answer:
        return json.load(answer)


def half_last_digit(text: str) -> float:
    """Return half a unit of the last digit shown: of ``11`` 0.5, of ``0.044`` 0.0005."""
    return 0.5 * 10.0 ** -len(text.partition(".")[2].partition("e")[0]) * 1.0001


def lines(visit: Visit) -> dict[str, dict[str, Any]]:
    """Return what the page shows of each line, as a person reads it."""
    return visit.page.evaluate("""() => Object.fromEntries([...document.querySelectorAll("[data-advice]")].map((e) => {
      const number = e.querySelector("data");
      const seen = (q) => e.querySelector(q)?.innerText.replaceAll("\\u00a0", " ").trim() ?? "";
      return [e.dataset.advice, {
        title: seen("h3"), state: e.dataset.state, word: seen(".state"), action: seen(".action"),
        caution: seen(".caution"), shown: number ? number.innerText : "", value: number ? number.value : "",
        unit: number ? number.dataset.unit : "",
      }];
    }))""")  # type: ignore[no-any-return]


@pytest.mark.parametrize("at", ["", STORM])
def test_page_and_json_say_the_same(visits: Visits, address: str, at: str) -> None:
    query = f"?at={at.replace(' ', 'T')}" if at else ""
    said = data(address, f"/today.json{query}")
    visit = visits()
    assert visit.go(f"/{query}") == 200
    shown = lines(visit)
    assert visit.page.locator("#order").inner_text().replace("\N{NO-BREAK SPACE}", " ") == said["order"]
    assert set(shown) == {line["id"] for line in said["advice"]}
    assert len(shown) == len(said["advice"]) > 20
    words = {"do_now": "do now", "soon": "soon", "steady": "steady", "unknown": "cannot tell"}
    for line in said["advice"]:
        here = shown[line["id"]]
        assert (here["title"], here["state"], here["word"]) == (line["title"], line["state"], words[line["state"]])
        assert here["action"] == line["action"]
        assert here["caution"].removeprefix("Caution").strip() == line["caution"]
        assert (line["value"] is None) == (here["shown"] == "")
        if line["value"] is None:
            continue
        assert float(here["value"]) == line["value"]
        assert here["unit"] == line["unit"]
        figure = re.match(r"[<>]?\s*(-?[\d,.]+(?:e-?\d+)?)", here["shown"])
        assert figure is not None, here["shown"]
        assert float(figure[1].replace(",", "")) == pytest.approx(
            line["value"], rel=6e-3, abs=half_last_digit(figure[1])
        )
        assert line["unit"] == "pH" or here["shown"].endswith(label(line["unit"]))


def test_the_order_is_legible_from_two_metres(visits: Visits) -> None:
    # common practice, no source: a letter is read at 1/200 of the distance; x-height is about half the size
    for width in (1280, 390):
        visit = visits(width=width)
        visit.go("/")
        size = visit.page.evaluate("parseFloat(getComputedStyle(document.querySelector('#order')).fontSize)")
        assert size / 96 * 25.4 * 0.7 >= 2000 / 400 if width < 600 else size / 96 * 25.4 * 0.7 >= 2000 / 250
        box = visit.page.locator("#order").bounding_box()
        assert box is not None and box["y"] < 300


@pytest.mark.parametrize("width", [390, 1280])
def test_no_page_scrolls_sideways_asks_elsewhere_or_complains(visits: Visits, width: int) -> None:
    visit = visits(width=width)
    for path in ("/", "/timetable", "/working/contact_time", "/history/storage_level?for=week", "/figures",
                 "/figures/detention_time?volume=12000+gal&flow=150+gpm", "/plant", "/log/2026-10-31",
                 "/log/2026-10-31/backwash", "/log/2026-10-31/dose_change?subject=chlorine",
                 "/log/2026-10-31/batch", "/log/2026-10-31/instrument_fault", "/log/2026-10-31/instrument_check",
                 "/log/2026-10-30/close", "/log/2026-10-31/grid", "/imports", "/samples", "/samples/new"):  # fmt: skip
        assert visit.go(path) == 200
        visit.page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
        assert visit.page.evaluate("document.documentElement.scrollWidth") <= width, path
        small = visit.page.evaluate("""() => [...document.querySelectorAll(
            "button, select, textarea, summary, nav a, .value, .tap, .choice, .formula, .tick, .pick, " +
            "input[type=text], input[type=datetime-local]"
          )].filter((e) => { const b = e.getBoundingClientRect(); return b.width > 0 && b.height < 47.5; })
          .map((e) => e.outerHTML.slice(0, 80))""")
        assert small == [], path
    assert visit.complaints == []
    assert {urlsplit(url).hostname for url in visit.asked} == {"127.0.0.1"}
    assert len(visit.asked) > 20


def test_a_script_that_is_not_ours_is_stopped(visits: Visits) -> None:
    visit = visits()
    visit.go("/")
    visit.page.evaluate("""() => { const s = document.createElement("script"); s.textContent = "window.slipped = 1";
        document.head.append(s); document.body.setAttribute("style", "color: red"); }""")
    assert visit.page.evaluate("window.slipped") is None
    assert any("Content Security Policy" in said for said in visit.complaints)


def test_the_keyboard_alone_reaches_everything_in_order(visits: Visits) -> None:
    visit = visits()
    visit.go("/")
    page = visit.page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.hasAttribute('data-working')")
    address = page.url
    page.keyboard.press("Enter")  # the working, in a drawer beside the page
    page.wait_for_selector("dialog[open] .sheet-line, dialog[open] h2")
    assert page.url == address
    assert page.evaluate("document.activeElement.textContent") == "Close"
    page.keyboard.press("Escape")
    page.wait_for_selector("dialog", state="detached")
    assert page.evaluate("document.activeElement.hasAttribute('data-working')")
    for _ in range(200):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "timetable-figure":
            break
    assert page.evaluate("document.activeElement.id") == "timetable-figure"


def test_arrow_keys_choose_water_stage_and_time(visits: Visits) -> None:
    visit = visits()
    visit.go("/")
    page = visit.page
    says = page.locator("#timetable-says")
    page.focus("#timetable-figure")
    seen = [says.inner_text()]
    for key, pattern in (
        ("ArrowLeft", r"^Water that entered"),
        ("ArrowRight", r"^Water that entered"),
        ("ArrowDown", r": (came|comes) in"),
        ("ArrowUp", r"^Water that entered"),
        ("PageUp", r"At (yesterday )?\d\d:\d\d it"),
        ("Home", r"^Water that entered"),
        ("End", r"^Water that enters"),
    ):
        before = seen[-1]
        page.keyboard.press(key)
        page.wait_for_function("(old) => document.getElementById('timetable-says').innerText !== old", arg=before)
        seen.append(says.inner_text())
        assert re.search(pattern, seen[-1]), (key, seen[-1])
    assert page.evaluate("document.querySelectorAll('svg.timetable-wide .chosen').length") == 1


def test_the_sentence_is_that_of_the_server(visits: Visits, address: str) -> None:
    table = data(address, "/timetable.json")
    parcel = table["parcels"][10]["id"]
    said = data(address, f"/timetable.json?parcel={parcel}&stage=filters")
    visit = visits(scripts=False)  # and the page works without scripts
    visit.go(f"/timetable?parcel={parcel}&stage=filters")
    assert visit.page.locator("#timetable-says").inner_text() == said["sentence"]
    visit.page.get_by_text("Later water").click()
    later = data(address, f"/timetable.json?parcel={table['parcels'][11]['id']}&stage=filters")
    assert visit.page.locator("#timetable-says").inner_text() == later["sentence"]


def test_a_tap_on_the_picture_chooses_the_water_there(visits: Visits) -> None:
    visit = visits(width=390)
    visit.go("/")
    page = visit.page
    before = page.locator("#timetable-says").inner_text()
    picture = page.locator("svg.timetable-narrow")
    picture.scroll_into_view_if_needed()
    box = picture.bounding_box()
    assert box is not None
    page.touchscreen.tap(box["x"] + 0.35 * box["width"], box["y"] + 0.25 * box["height"])
    page.wait_for_function("(old) => document.getElementById('timetable-says').innerText !== old", arg=before)
    assert page.locator("#timetable-says").inner_text().startswith("Water that entered")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_the_table_holds_what_the_picture_shows(visits: Visits, address: str) -> None:
    table = data(address, "/timetable.json")
    visit = visits()
    visit.go("/")
    rows = visit.page.locator("table:has(caption:text('half of the water')) tbody tr")
    assert rows.count() == len(table["parcels"])
    assert visit.page.locator("svg.timetable-wide").get_attribute("aria-hidden") == "true"


def test_the_working_is_a_page_on_the_phone(visits: Visits) -> None:
    visit = visits(width=390)
    visit.go("/")
    link = visit.page.locator("a[data-working]").first
    href = link.get_attribute("href")
    assert href is not None
    link.click()
    visit.page.wait_for_url(f"**{href}")
    assert visit.page.locator("h2:text('Working')").count() == 1


@pytest.mark.parametrize(("sheet", "wide"), [("Letter", 612), ("A4", 595)])
def test_today_prints_with_plant_time_and_page_numbers(visits: Visits, sheet: str, wide: int) -> None:
    visit = visits()
    visit.go("/")
    printed = visit.page.pdf(format=sheet, print_background=False)
    found = pages(printed)
    assert 2 <= len(found) <= 8
    for number, text in enumerate(found, 1):
        assert "Emberly(demonstration:inventedfigures)" in text
        assert "Today·Saturday31October2026,15:45EDT" in text
        assert f"page{number}of{len(found)}" in text
    whole = "".join(found)
    order = visit.page.locator("#order").inner_text()
    assert re.sub(r"[\s\N{NO-BREAK SPACE}]", "", order)[:40] in re.sub(r"\?\?", "", whole)
    assert "Handedoverby" in whole
    assert "Wherethewateris" in whole
    assert "555-01" in whole  # whom to call
    assert "Darkpage" not in whole
    size = re.search(rb"/MediaBox \[0 0 ([\d.]+)", printed)
    assert size is not None and abs(float(size[1]) - wide) < 2


def test_a_day_of_the_log_prints(visits: Visits) -> None:
    visit = visits()
    visit.go("/log/2026-10-31")
    whole = "".join(pages(visit.page.pdf(format="Letter")))
    assert "Daylog,Saturday31October2026" in whole
    assert "Keepthenote" not in whole
    assert "Dosechanged" in whole


@pytest.mark.parametrize("path", [
    "/", f"/?at={STORM.replace(' ', 'T')}", "/timetable",
    "/log/2026-10-31", "/log/2026-10-31/grid", "/samples", "/proof",
])  # fmt: skip
def test_all_times_are_the_plants_whatever_clock_the_browser_keeps(visits: Visits, path: str) -> None:
    def seen(zone: str) -> str:
        visit = visits(zone=zone)
        assert visit.go(path) == 200
        assert visit.page.evaluate("Intl.DateTimeFormat().resolvedOptions().timeZone") == zone
        return visit.page.evaluate(  # type: ignore[no-any-return]
            "document.body.innerText + [...document.querySelectorAll('input')].map((e) => e.value).join()"
        )

    here = seen("America/New_York")
    assert re.search(r"\d\d:\d\d|2026-10", here)
    form = re.compile(r"[0-9a-f]{8}-[0-9a-f-]{27}")  # the id that each form is given
    assert form.sub("", seen("Asia/Tokyo")) == form.sub("", here)


def test_a_bad_time_shows_one_sentence(visits: Visits) -> None:
    visit = visits()
    assert visit.go("/?at=tomorrow") == 400
    assert visit.page.locator("#refusal").inner_text().startswith('"tomorrow" is not a time')


def test_the_look_is_a_choice_and_the_page_stays(visits: Visits) -> None:
    visit = visits()
    visit.go("/figures?q=tank")
    visit.page.get_by_role("button", name="Dark page for the night").click()
    visit.page.wait_for_function("document.documentElement.dataset.look === 'dark'")
    assert visit.page.url.endswith("/figures?q=tank")
    assert visit.page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(20, 23, 26)"


def test_a_page_left_open_is_made_anew_and_says_its_age_when_nobody_answers(visits: Visits) -> None:
    visit = visits()
    visit.page.clock.install()
    visit.go("/")
    made = len([url for url in visit.asked if urlsplit(url).path == "/"])
    visit.page.clock.fast_forward("04:00")
    assert len([url for url in visit.asked if urlsplit(url).path == "/"]) == made
    with visit.page.expect_navigation():
        visit.page.clock.fast_forward("03:00")
    assert visit.page.locator("[data-fresh]").is_hidden()
    visit.page.route("**/*", lambda route: route.abort())
    visit.page.clock.fast_forward("12:00")
    notice = visit.page.locator("[data-fresh]")
    notice.wait_for(state="visible")
    assert re.match(r"This page is 1[12] min old and could not be made anew", notice.inner_text())
    assert visit.page.locator("#order").is_visible()


def test_a_page_of_an_instant_asked_for_stays(visits: Visits) -> None:
    visit = visits()
    visit.go("/?at=2026-10-31T12:00")
    assert visit.page.locator("[data-fresh]").count() == 0
    assert visit.page.get_by_role("link", name="to now").get_attribute("href") == "/"

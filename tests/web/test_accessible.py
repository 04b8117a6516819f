"""Can everybody use the pages? axe-core (its rules for WCAG 2.2 A and AA and its best practices) finds nothing."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser
from tests.web.conftest import Client, Visit, Visits

PAGES = {
    "today": "/",
    "working": "/working/contact_time",
    "run": "/working/run_filter_1",
    "timetable": "/timetable",
    "history": "/history/raw_turbidity",
    "figures": "/figures",
    "found": "/figures?q=tank",
    "answer": "/figures/detention_time?volume=12000&volume.unit=gal&flow=150&flow.unit=gpm&work=yes",
    "filled": "/figures/feed_rate?dose=20&flow=140&flow.unit=gpm&fill=yes",
    "wrong": "/figures/detention_time?volume=tea&work=yes",
    "plant": "/plant",
    "log": "/log/2026-10-31",
    "backwash": "/log/2026-10-31/backwash?subject=filter_1",
    "dose": "/log/2026-10-31/dose_change?subject=coagulant",
    "fault": "/log/2026-10-31/instrument_fault",
    "check": "/log/2026-10-31/instrument_check?subject=combined_turbidity",
    "search": "/log?q=intake",
    "closing": "/log/2026-10-30/close",
    "grid": "/log/2026-10-31/grid",
    "imports": "/imports",
    "samples": "/samples",
    "new sample": "/samples/new?point=12+Mill+Lane",
    "proof": "/proof/2026-09",
    "proof of a rule": "/proof/2026-09/rule/ife_continuous?subject=filter_1",
    "proof of a day": "/proof/2026-09/day/13",
    "daily table": "/proof/2026-09/table",
    "open": "/proof/2026-10/open",
    "rules": "/proof/rules?key=us_federal/tt_crypto",
    "inspector": "/proof/inspector",
    "refusal": "/nowhere",
}
AXE = {"resultTypes": ["violations"]}
# What the same markup can get wrong at another width and in other colours.
SEEN = [
    "color-contrast",
    "target-size",
    "scrollable-region-focusable",
    "link-in-text-block",
    "label",
    "region",
    "bypass",
]


@pytest.fixture(scope="module")
def visit(browser: Browser, address: str) -> Iterator[Visit]:
    """One page of the browser for all of these."""
    with Visits(browser, address) as visits:
        yield visits()


def violations(visit: Visit, context: str | None = None, rules: list[str] | None = None) -> list[tuple[Any, ...]]:
    options = {**AXE, "runOnly": {"type": "rule", "values": rules}} if rules else AXE
    found = Axe().run(visit.page, context=context, options=options).response
    assert len(found["passes"]) >= (4 if rules else 13)  # it did look
    return [(v["id"], [n["target"] for n in v["nodes"]]) for v in found["violations"]]


@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_nothing(visit: Visit, name: str) -> None:
    """At the desk by day and on the phone by night: so each width and each look of every page is seen once."""
    visit.page.set_viewport_size({"width": 1280, "height": 900})
    visit.page.context.add_cookies([{"name": "look", "value": "light", "url": visit.address}])
    visit.go(PAGES[name])
    # long lists and tables are made row by row from one template: the first rows stand for the rest
    visit.page.evaluate("""() => {
      for (const list of document.querySelectorAll("tbody, ul.formulas, ul.notes, svg.timetable > g")) {
        [...list.children].slice(5).forEach((row) => row.remove());
      }
      for (const svg of document.querySelectorAll("svg.timetable")) {
        [...svg.querySelectorAll("[data-parcel]")].slice(5).forEach((parcel) => parcel.remove());
      }
      [...document.querySelectorAll("details.chapter")].slice(8).forEach((chapter) => chapter.remove());
      document.querySelectorAll("details").forEach((d) => { d.open = true; });
    }""")
    assert violations(visit) == []
    visit.page.set_viewport_size({"width": 390, "height": 844})
    visit.page.evaluate("document.documentElement.dataset.look = 'dark'")
    assert visit.page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(20, 23, 26)"
    assert violations(visit, rules=SEEN) == []


def test_the_dark_page_has_the_same_markup_as_the_light_one(client: Client) -> None:
    light = client.get("/log/2026-10-31/start").text
    client.cookies.set("look", "dark")
    dark = client.get("/log/2026-10-31/start").text
    client.cookies.delete("look")
    tags = [re.findall(r"<\w+", text) for text in (light, dark)]
    assert tags[0] == tags[1] and light != dark


def test_axe_would_find_something(visit: Visit) -> None:
    visit.go("/log/2026-10-31/backwash")
    visit.page.evaluate("document.documentElement.style.setProperty('--faded', '#bbbbbb')")
    assert "color-contrast" in {id for id, _ in violations(visit, rules=SEEN)}
    visit.page.evaluate("document.querySelectorAll('label').forEach((l) => l.replaceWith(...l.childNodes))")
    assert "label" in {id for id, _ in violations(visit)}


def test_the_working_in_its_drawer_is_accessible_too(visits: Visits) -> None:
    visit = visits()
    visit.go("/")
    visit.page.locator("a[data-working]").first.click()
    visit.page.wait_for_selector("dialog[open]")
    assert violations(visit, "dialog[open]") == []

"""Can everybody use the pages? axe-core (its rules for WCAG 2.2 A and AA and its best practices) finds nothing."""

from collections.abc import Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser
from tests.web.conftest import Visit, Visits

PAGES = {
    "today": "/",
    "working": "/working/contact_time",
    "run": "/working/run_filter_1",
    "timetable": "/timetable",
    "history": "/history/raw_turbidity",
    "figures": "/figures",
    "found": "/figures?q=tank",
    "answer": "/figures/detention_time?volume=12000&volume.unit=gal&flow=150&flow.unit=gpm&work=yes",
    "wrong": "/figures/detention_time?volume=tea&work=yes",
    "plant": "/plant",
    "log": "/log/2026-10-31",
    "backwash": "/log/2026-10-31/backwash?subject=filter_1",
    "dose": "/log/2026-10-31/dose_change?subject=coagulant",
    "fault": "/log/2026-10-31/instrument_fault",
    "search": "/log?q=intake",
    "refusal": "/nowhere",
}
AXE = {"resultTypes": ["violations"]}


@pytest.fixture(scope="module")
def visit(browser: Browser, address: str) -> Iterator[Visit]:
    """One page of the browser for all of these."""
    with Visits(browser, address) as visits:
        yield visits()


def violations(visit: Visit, context: str | None = None) -> list[tuple[Any, ...]]:
    found = Axe().run(visit.page, context=context, options=AXE).response
    assert len(found["passes"]) > 12  # it did look
    return [(v["id"], [n["target"] for n in v["nodes"]]) for v in found["violations"]]


@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_nothing(visit: Visit, name: str) -> None:
    """At the desk by day and on the phone by night: so each width and each look of every page is seen once."""
    for width, look in ((1280, "light"), (390, "dark")):
        visit.page.set_viewport_size({"width": width, "height": 844})
        visit.page.context.add_cookies([{"name": "look", "value": look, "url": visit.address}])
        visit.go(PAGES[name])
        assert visit.page.evaluate("document.documentElement.dataset.look") == look
        visit.page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
        assert violations(visit) == [], (width, look)


def test_axe_would_find_something(visit: Visit) -> None:
    visit.go("/log/2026-10-31/backwash")
    visit.page.evaluate("document.querySelectorAll('label').forEach((l) => l.replaceWith(...l.childNodes))")
    assert "label" in {id for id, _ in violations(visit)}


def test_the_working_in_its_drawer_is_accessible_too(visits: Visits) -> None:
    visit = visits()
    visit.go("/")
    visit.page.locator("a[data-working]").first.click()
    visit.page.wait_for_selector("dialog[open]")
    assert violations(visit, "dialog[open]") == []

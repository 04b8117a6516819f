"""Can everybody use the pages? axe-core (its rules for WCAG 2.2 A and AA and its best practices) finds nothing."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from tests.web.conftest import Visits

SETTINGS = [(width, look) for width in (1280, 390) for look in ("light", "dark")]
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
    "search": "/log?q=intake",
    "refusal": "/nowhere",
}


OF_ONE_MAKE = ("run", "timetable", "found", "wrong", "search", "refusal")  # as another page here: two settings do
EVERY = [
    pytest.param(name, width, look, id=f"{name}-{width}-{look}")
    for name in PAGES
    for width, look in (SETTINGS[::3] if name in OF_ONE_MAKE else SETTINGS)
]


@pytest.mark.parametrize(("name", "width", "look"), EVERY)
def test_axe_finds_nothing(visits: Visits, name: str, width: int, look: str) -> None:
    visit = visits(width=width, look=look)
    visit.go(PAGES[name])
    assert visit.page.evaluate("document.documentElement.dataset.look") == look
    visit.page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    found = Axe().run(visit.page).response
    assert len(found["passes"]) > 15  # it did look
    assert [(v["id"], [n["target"] for n in v["nodes"]]) for v in found["violations"]] == []


def test_axe_would_find_something(visits: Visits) -> None:
    visit = visits()
    visit.go("/log/2026-10-31")
    visit.page.evaluate("document.querySelectorAll('label').forEach((l) => l.remove())")
    assert "label" in {v["id"] for v in Axe().run(visit.page).response["violations"]}


def test_the_working_in_its_drawer_is_accessible_too(visits: Visits) -> None:
    visit = visits()
    visit.go("/")
    visit.page.locator("a[data-working]").first.click()
    visit.page.wait_for_selector("dialog[open]")
    found = Axe().run(visit.page, context="dialog[open]").response
    assert found["violations"] == []

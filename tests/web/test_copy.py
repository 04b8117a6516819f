"""The working of a formula is copied as plain text; without a clipboard it is marked to be copied by hand."""

from tests.web.conftest import Visits

ASKED = "/figures/detention_time?volume=12000&volume.unit=gal&flow=150&flow.unit=gpm&work=yes"


def test_the_working_is_copied(visits: Visits) -> None:
    visit = visits()
    visit.page.context.grant_permissions(["clipboard-read", "clipboard-write"], origin=visit.address)
    assert visit.go(ASKED) == 200
    assert "= 12,000 gal ÷ 150 gpm" in visit.page.locator(".sheet-figures").first.inner_text()  # before the form
    ink, ground = visit.page.evaluate(
        "(s => [s.color, s.backgroundColor])(getComputedStyle(document.querySelector('[data-copy]')))"
    )
    assert ink != ground  # its words can be read
    visit.page.get_by_role("button", name="Copy the working").click()
    visit.page.get_by_role("button", name="Copied").wait_for()
    copied = visit.page.evaluate("navigator.clipboard.readText()")
    assert copied.startswith("Detention time = 80.0 min\n")
    assert "12,000 gal ÷ 150 gpm = 80.0 min" in copied
    assert visit.complaints == []


def test_without_a_clipboard_it_is_marked(visits: Visits) -> None:
    visit = visits(width=390)
    visit.page.add_init_script("Object.defineProperty(navigator, 'clipboard', {value: undefined})")
    assert visit.go(ASKED) == 200
    visit.page.get_by_role("button", name="Copy the working").click()
    assert "12,000 gal" in visit.page.evaluate("getSelection().toString()")
    assert visit.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_without_scripts_there_is_no_button(visits: Visits) -> None:
    visit = visits(scripts=False)
    assert visit.go(ASKED) == 200
    assert not visit.page.locator("[data-copy]").is_visible()

"""The pages of people and of signing in, in a browser: for everybody, by keyboard alone, at each width."""

import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from tests.desk.scene import NOW, Scene
from tests.web.accounts import WORDS, account, token_of
from tests.web.conftest import Visit, Visits, served
from tests.web.test_accessible import SEEN, violations

from weirhouse.records import people
from weirhouse.records.people import Person
from weirhouse.records.roles import Role
from weirhouse.records.store import Store

DAY = "/log/2026-06-17"
TARGETS = """() => [...document.querySelectorAll("button, select, textarea, summary, nav a, .tap, .choice, .tick, " +
    ".pick, input:not([type=hidden]):not([type=radio]):not([type=checkbox])")]
    .filter((e) => { const b = e.getBoundingClientRect(); return b.width > 0 && b.height < 47.5; })
    .map((e) => e.outerHTML.slice(0, 80))"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("people") / "plant"
    Scene(made).quiet().build().close()
    with Store.open(made) as store:
        for name, role, until in (
            ("Anna Brook", Role.OPERATOR, date(2026, 7, 1)), ("R. Lief", Role.RELIEF, date(2026, 5, 1)),
            ("M. Weir", Role.MANAGER, None), ("Inspector Hale", Role.INSPECTOR, date(2029, 1, 1)),
        ):  # fmt: skip
            new = Person(
                id="", name=name, role=role, certificate="OP-7", certificate_class="II", certificate_until=until
            )
            people.add(store, new, by="Anna Brook", now=NOW)
    account(made, "Anna Brook", now=NOW, password=WORDS)
    account(made, "Inspector Hale", now=NOW)
    return made


@pytest.fixture(scope="module")
def address(folder: Path) -> Iterator[str]:
    with served(folder, NOW) as found:
        yield found


def person(folder: Path, name: str) -> Person:
    with Store.open(folder, read_only=True) as store:
        found = people.named(people.read(store), name)
    assert found is not None
    return found


def enter(visit: Visit, folder: Path, name: str = "Anna Brook") -> Visit:
    token = token_of(folder, person(folder, name), NOW)
    visit.page.context.add_cookies([{"name": "weirhouse", "value": token, "url": visit.address}])
    return visit


PAGES = ("/people", "/people/new", "/people/{id}", "/password", "/sign-in")


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize("width", [360, 1280])
def test_everybody_can_use_them(browser: Browser, address: str, folder: Path, path: str, width: int) -> None:
    with Visits(browser, address) as visits:
        visit = visits(width=width, look="dark" if width == 360 else "light")
        if path != "/sign-in":
            enter(visit, folder)
        assert visit.go(path.format(id=person(folder, "R. Lief").id)) == 200
        assert violations(visit, rules=SEEN if width == 360 else None) == []
        assert visit.page.evaluate("document.documentElement.scrollWidth") <= width
        assert visit.page.evaluate(TARGETS) == []
        assert visit.complaints == []


@pytest.mark.parametrize("width", [360, 1280])
def test_everybody_can_set_up(browser: Browser, tmp_path: Path, width: int) -> None:
    folder = tmp_path / "bare"
    Scene(folder).quiet().build().close()
    with served(folder, NOW) as found, Visits(browser, found) as visits:
        visit = visits(width=width)
        visit.go("/setup")
        assert violations(visit) == []
        assert visit.page.evaluate("document.documentElement.scrollWidth") <= width
        assert visit.page.evaluate(TARGETS) == []


def keys(page: Page, *texts: str) -> None:
    """Type into one field after the other, with the Tab key between them."""
    for n, text in enumerate(texts):
        if n:
            page.keyboard.press("Tab")
        page.keyboard.type(text)


def test_by_keyboard_alone_from_the_sign_in_to_a_new_person(browser: Browser, folder: Path, tmp_path: Path) -> None:
    own = shutil.copytree(folder, tmp_path / "own", ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    with served(own, NOW) as found, Visits(browser, found) as visits:
        visit = visits(width=390)
        page = visit.page
        visit.go("/people/new")
        assert page.url.endswith("/sign-in?to=/people/new")
        keys(page, "anna brook", WORDS)  # the first field has the focus
        page.keyboard.press("Enter")
        page.wait_for_selector("h1:text('A new person')")
        page.focus("#person-name")
        keys(page, "New Hand")
        page.keyboard.press("Tab")
        page.keyboard.press("ArrowUp")
        page.keyboard.press("ArrowDown")
        assert page.evaluate("document.activeElement.value") == "relief"
        page.keyboard.press("Tab")
        keys(page, "OP-9", "I")
        page.keyboard.press("Enter")  # without a password yet: the browser asks for it
        assert page.evaluate("document.activeElement.id") == "person-password"
        keys(page, "seven herons at dusk")
        page.keyboard.press("Enter")
        page.wait_for_url("**/people")
        assert page.locator("table").first.locator("tr", has_text="New Hand").inner_text().split()[2] == "relief"
        page.get_by_role("button", name="Sign out").press("Enter")
        page.wait_for_url("**/sign-in")
        assert page.locator("nav.places").count() == 0
        visit.go("/")
        assert "/sign-in" in page.url
        assert visit.complaints == []


def test_a_note_half_typed_survives_the_end_of_the_session(browser: Browser, folder: Path, tmp_path: Path) -> None:
    own = shutil.copytree(folder, tmp_path / "own", ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    with served(own, NOW) as found, Visits(browser, found) as visits:
        visit = enter(visits(width=390), own)
        page = visit.page
        visit.go(DAY)
        page.fill("#note-text", "Belt of pump 2 worn\nordered")
        page.context.clear_cookies()
        page.get_by_role("button", name="Keep the note").click()
        page.wait_for_selector("#sign-name")
        assert violations(visit) == []
        keys(page, "Anna Brook", WORDS)
        page.keyboard.press("Enter")
        page.wait_for_selector("h1:text('What you had typed')")
        assert violations(visit) == []
        assert page.get_by_label("What was seen or done").input_value() == "Belt of pump 2 worn\nordered"
        page.get_by_role("button", name="Keep it").click()
        page.wait_for_url("**/log/2026-06-17#entry-*")
        assert "Belt of pump 2 worn" in page.locator("tr:target").inner_text()
        assert "Anna Brook" in page.locator("tr:target").inner_text()
        assert [said for said in visit.complaints if "401" not in said] == []  # the browser notes the status


def test_who_may_not_write_sees_no_form(browser: Browser, address: str, folder: Path) -> None:
    with Visits(browser, address) as visits:
        visit = enter(visits(), folder, "Inspector Hale")
        visit.go(DAY)
        forms = visit.page.locator("form[method=post]")
        assert forms.evaluate_all("(all) => all.map((f) => f.getAttribute('action'))") == ["/sign-out", "/look"]
        visit.go("/people")
        assert "Anna Brook" in visit.page.locator("table").first.inner_text()
        assert visit.page.locator("a[href^='/people/']").count() == 0

"""The grid by keyboard in a real browser: typed, moved, pasted, taken back; nothing typed is lost, "saved" is true."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Route, expect
from tests.desk.scene import NOW, Scene
from tests.web.accounts import signed_in
from tests.web.conftest import Visit, Visits, client_of, served

from weirhouse import plant as plants
from weirhouse.desk.day_log import day_bounds
from weirhouse.records.store import Store

BATCHES = "**/readings.json"
DAYS = iter(range(1, 17))  # of June: each test has a day of its own


@dataclass
class Desk:
    """The grid of a day, with three times in it, before somebody who is signed in."""

    visit: Visit
    folder: Path
    day: date

    @property
    def page(self) -> Page:
        return self.visit.page

    @property
    def path(self) -> str:
        return f"/log/{self.day}/grid?time=12:50&time=13:20&time=13:50"

    @property
    def at(self) -> list[int]:
        first = datetime(self.day.year, self.day.month, self.day.day, 16, 50, tzinfo=UTC)
        return [int(first.timestamp()) + 1800 * row for row in range(3)]

    def key(self, row: int, channel: str) -> str:
        return f"{self.at[row]}.{channel}"

    def box(self, row: int, channel: str) -> str:
        return f'[id="{self.key(row, channel)}"]'

    def type(self, row: int, channel: str, text: str) -> None:
        self.page.fill(self.box(row, channel), text)
        self.page.keyboard.press("Enter")

    def says(self, row: int, channel: str, words: str) -> None:
        expect(self.page.locator(f'[id="s-{self.key(row, channel)}"]')).to_have_text(words, timeout=8000)

    def kept(self, channel: str = "raw_ph") -> list[tuple[int, str]]:
        with Store.open(self.folder, read_only=True) as store:
            found = store.readings(channel, *day_bounds(plants.load(self.folder), self.day))
        return [(self.at.index(int(one.taken_at.timestamp())), one.text) for one in found]

    @property
    def here(self) -> str:
        return str(self.page.evaluate("document.activeElement.id"))


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path, str]]:
    """An empty plant, served; its address, its folder and the session of somebody who may write."""
    folder = tmp_path_factory.mktemp("grid") / "plant"
    Scene(folder).build().close()
    client = signed_in(client_of(folder, NOW), folder, now=NOW)
    with served(folder, NOW) as address:
        yield address, folder, client.cookies["weirhouse"]


@pytest.fixture
def desk(plant: tuple[str, Path, str], browser: Browser) -> Iterator[Desk]:
    address, folder, session = plant
    with Visits(browser, address) as visits:
        visit = visits()
        visit.page.context.add_cookies(
            [
                {"name": "weirhouse", "value": session, "url": address},
                {"name": "columns", "value": "raw_ph,raw_alkalinity,raw_turbidity", "url": address},
            ]
        )
        found = Desk(visit, folder, date(2026, 6, next(DAYS)))
        visit.go(found.path)
        visit.page.locator("[data-grid-keys]").wait_for(state="visible")  # until then it is the plain form
        yield found


def test_figures_are_typed_and_kept_by_keyboard_alone(desk: Desk) -> None:
    page = desk.page
    page.focus(desk.box(0, "raw_turbidity"))
    page.keyboard.type("3.1")
    page.keyboard.press("Enter")
    assert desk.here == desk.key(1, "raw_turbidity")
    page.keyboard.type("3.2")
    page.keyboard.press("ArrowDown")
    page.keyboard.type("3.3")
    page.keyboard.press("Tab")
    assert desk.here == desk.key(2, "raw_ph")
    page.keyboard.type("7.4")
    page.keyboard.press("ArrowRight")
    assert desk.here == desk.key(2, "raw_alkalinity")
    page.keyboard.press("ArrowLeft")
    assert desk.here == desk.key(2, "raw_ph")
    page.keyboard.press("ArrowUp")
    assert desk.here == desk.key(1, "raw_ph")
    for row, words in enumerate(("saved, 3.10 NTU", "saved, 3.20 NTU", "saved, 3.30 NTU")):
        desk.says(row, "raw_turbidity", words)
    expect(page.locator("[data-grid-says]")).to_have_text("All that you typed is saved.")
    assert desk.kept("raw_turbidity") == [(0, "3.1"), (1, "3.2"), (2, "3.3")]
    assert desk.kept() == [(2, "7.4")]
    assert desk.visit.complaints == []


def test_a_block_from_a_spreadsheet_is_pasted_and_taken_back_whole(desk: Desk) -> None:
    page = desk.page
    page.focus(desk.box(0, "raw_ph"))
    page.evaluate("""(text) => {
      const data = new DataTransfer();
      data.setData("text/plain", text);
      const pasted = new ClipboardEvent("paste", {clipboardData: data, bubbles: true, cancelable: true});
      document.activeElement.dispatchEvent(pasted);
    }""", "7.31\t61\r\n7.32\t62\r\n7.33\t\r\n")  # fmt: skip
    desk.says(2, "raw_ph", "saved")
    desk.says(1, "raw_alkalinity", "saved, 62.0 mg/L")
    assert desk.kept() == [(0, "7.31"), (1, "7.32"), (2, "7.33")]
    assert desk.kept("raw_alkalinity") == [(0, "61"), (1, "62")]
    page.focus(desk.box(0, "raw_ph"))
    page.keyboard.press("Control+z")
    desk.says(0, "raw_ph", "taken back")
    desk.says(1, "raw_alkalinity", "taken back")
    assert desk.kept() == [] and desk.kept("raw_alkalinity") == []


def test_a_change_is_a_correction_and_is_taken_back_to_what_it_was(desk: Desk) -> None:
    page = desk.page
    desk.type(0, "raw_ph", "7.4")
    desk.says(0, "raw_ph", "saved, 7.40")
    desk.type(0, "raw_ph", "7.5")
    desk.says(0, "raw_ph", "saved, 7.50")
    page.keyboard.press("Control+z")
    desk.says(0, "raw_ph", "saved, 7.40")
    assert desk.kept() == [(0, "7.4")]
    entry = page.locator(desk.box(0, "raw_ph")).get_attribute("data-entry")
    with Store.open(desk.folder, read_only=True) as store:
        reasons = [one.reason for one in store.history(str(entry))]
    assert reasons == ["", "typed anew in the day grid", "undone"]


def test_what_the_server_does_not_get_is_kept_through_a_reload_and_sent(desk: Desk) -> None:
    page = desk.page
    page.route(BATCHES, lambda route: route.abort())
    desk.type(1, "raw_ph", "7.42")
    desk.says(1, "raw_ph", "not saved yet")
    expect(page.locator("[data-grid-says]")).to_contain_text("does not answer")
    assert desk.kept() == []
    page.reload()
    expect(page.locator(desk.box(1, "raw_ph"))).to_have_value("7.42")
    desk.says(1, "raw_ph", "not saved yet")
    page.goto(desk.visit.address + f"/log/{desk.day}/grid")  # the time was added by hand: it comes back by itself
    expect(page.locator(desk.box(1, "raw_ph"))).to_have_value("7.42")
    page.unroute_all(behavior="ignoreErrors")
    page.evaluate("window.dispatchEvent(new Event('online'))")
    desk.says(1, "raw_ph", "saved")
    assert desk.kept() == [(1, "7.42")]
    page.reload()
    assert page.evaluate("localStorage.length") == 0


def test_what_is_half_typed_comes_back_and_is_not_sent_by_itself(desk: Desk) -> None:
    page = desk.page
    page.focus(desk.box(0, "raw_ph"))
    page.keyboard.type("7.")
    page.reload()
    expect(page.locator(desk.box(0, "raw_ph"))).to_have_value("7.")
    desk.says(0, "raw_ph", "not sent: leave the cell")
    assert desk.kept() == []
    page.focus(desk.box(0, "raw_ph"))
    page.keyboard.press("End")
    page.keyboard.type("42")
    page.keyboard.press("Enter")
    desk.says(0, "raw_ph", "saved")
    assert desk.kept() == [(0, "7.42")]


def test_kept_and_not_answered_is_kept_once(desk: Desk) -> None:
    page = desk.page
    lost: list[int] = []

    def lose(route: Route) -> None:
        route.fetch()  # the server has it; its answer is lost
        lost.append(1)
        route.abort()

    page.route(BATCHES, lose)
    desk.type(0, "raw_ph", "7.42")
    desk.says(0, "raw_ph", "not saved yet")
    expect(page.locator("[data-grid-says]")).to_contain_text("does not answer")
    desk.type(0, "raw_ph", "7.45")  # changed meanwhile
    page.unroute_all(behavior="ignoreErrors")
    page.evaluate("window.dispatchEvent(new Event('online'))")
    desk.says(0, "raw_ph", "saved")
    assert lost
    assert desk.kept() == [(0, "7.45")]


def test_a_slip_is_asked_about_once_and_a_refusal_says_why(desk: Desk) -> None:
    page = desk.page
    desk.type(0, "raw_ph", "74")
    expect(page.locator("[data-grid-asks]")).to_contain_text("above 10.0", timeout=8000)
    assert desk.here == "" and page.evaluate("document.activeElement.textContent") == "Yes, that is what I read"
    assert desk.kept() == []
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")  # no: back in the cell
    assert desk.here == desk.key(0, "raw_ph")
    page.keyboard.type("0,12")
    page.keyboard.press("Enter")
    expect(page.locator(f'[id="s-{desk.key(0, "raw_ph")}"]')).to_contain_text("comma", timeout=8000)
    desk.type(0, "raw_ph", "74")
    expect(page.locator("[data-grid-asks]")).to_be_visible(timeout=8000)
    page.keyboard.press("Enter")  # yes
    desk.says(0, "raw_ph", "saved, 74.0")
    assert desk.kept() == [(0, "74")]


def test_without_scripts_it_is_a_plain_form(desk: Desk, browser: Browser) -> None:
    context = browser.new_context(java_script_enabled=False)
    context.add_cookies([dict(one) for one in desk.page.context.cookies(desk.visit.address)])  # type: ignore[misc]
    page = context.new_page()
    page.goto(desk.visit.address + desk.path)
    page.fill(desk.box(0, "raw_ph"), "7.4")
    page.get_by_role("button", name="Keep the readings").click()
    assert page.locator(desk.box(0, "raw_ph")).input_value() == "7.4"
    assert desk.kept() == [(0, "7.4")]
    context.close()

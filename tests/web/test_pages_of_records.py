"""The pages of entries, files and samples in a real browser: readable by all, at both widths, and on paper."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser
from tests.desk.scene import NOW, Scene
from tests.web.accounts import signed_in
from tests.web.conftest import Visit, Visits, client_of, served
from tests.web.pdf import pages
from tests.web.test_accessible import SEEN, violations

from weirhouse.desk import lab
from weirhouse.desk.day_log import write_note, write_reading
from weirhouse.records.importing import kept
from weirhouse.records.model import Handover, Sample

RESULTS = Path(__file__).parents[1] / "data" / "formats" / "samples_results.txt"
LOGGER = (
    b"Date Time,Raw Turbidity (NTU),Spare\n2026-05-01 10:00,3.2,x\n2026-05-01 10:15,<0.1,x\n2026-05-01 10:30,much,x\n"
)


@pytest.fixture(scope="module")
def there(tmp_path_factory: pytest.TempPathFactory, browser: Browser) -> Iterator[tuple[Visit, dict[str, str]]]:
    """A small plant with an entry put right, a sample, and two files that wait to be looked at."""
    folder = tmp_path_factory.mktemp("pages") / "plant"
    scene = Scene(folder)
    with scene.build() as store:
        plant, now = scene.plant, NOW
        note = write_note(store, plant, "Heard thunder", person="A. Operator", at=now, now=now)
        old = write_reading(store, plant, "raw_ph", "74", person="A. Operator", at=now, now=now)
        new = write_reading(store, plant, "raw_turbidity", "3.2", person="A. Operator", at=now, now=now)
        store.correct(old.id, None, person="A. Operator", reason="slipped", entered_at=now)
        sample = Sample(
            point="12 Mill Lane", purpose="routine", taken_at=now, sampler="A. Operator", laboratory="County",
            person="x", custody=(Handover(person="Courier", at=now, condition="on ice"),),
        )  # fmt: skip
        lab.write_sample(store, sample, ["tthm", "coliform"], now=now)
        result = lab.result_of(
            "tthm", "<0.5", sample=sample.id, unit="ug/L", person="x", fields={"lab_flags": ("U",)}
        )  # fmt: skip
        lab.write_result(store, result, now=now)
    logger, results = kept.keep(folder, "creek.csv", LOGGER), kept.keep(folder, "lab.csv", RESULTS.read_bytes())
    client = signed_in(client_of(folder, NOW), folder, now=NOW)
    with served(folder, NOW) as address, Visits(browser, address) as visits:
        visit = visits()
        visit.page.context.add_cookies([{"name": "weirhouse", "value": client.cookies["weirhouse"], "url": address}])
        yield visit, {
            "history": f"/log/entry/{old.id}", "entry": f"/log/entry/{new.id}",
            "correct": f"/log/entry/{new.id}/correct", "correct note": f"/log/entry/{note.id}/correct",
            "day": "/log/2026-06-17", "file": f"/imports/file/{logger.digest}",
            "results": f"/samples/file/{results.digest}", "sample": f"/samples/{sample.id}",
            "sheet": f"/samples/{sample.id}/sheet", "grid": "/log/2026-06-17/grid",
        }  # fmt: skip


PAGES = ("history", "entry", "correct", "correct note", "day", "file", "results", "sample", "sheet", "grid")


@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_nothing_and_nothing_sticks_out(there: tuple[Visit, dict[str, str]], name: str) -> None:
    visit, paths = there
    page = visit.page
    page.set_viewport_size({"width": 1280, "height": 900})
    assert visit.go(paths[name]) == 200
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert violations(visit) == []
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert violations(visit, rules=SEEN) == []
    small = page.evaluate("""() => [...document.querySelectorAll(
        "button, select, textarea, summary, .tap, .choice, .tick, .pick, " +
        "input:not([type=hidden], [type=radio], [type=checkbox])"
      )].filter((e) => { const b = e.getBoundingClientRect(); return b.width > 0 && b.height < 47.5; })
      .map((e) => e.outerHTML.slice(0, 80))""")  # fmt: skip
    assert small == []
    assert visit.complaints == []


@pytest.mark.parametrize(("sheet", "wide"), [("Letter", 612), ("A4", 595)])
def test_a_custody_sheet_and_a_day_print_whole(there: tuple[Visit, dict[str, str]], sheet: str, wide: int) -> None:
    visit, paths = there
    for name, words in (
        ("sheet", ("Chainofcustody", "12MillLane", "Totalcoliform", "Courier", "onice", "Labels")),
        ("day", ("Daylog,Wednesday17June2026", "Heardthunder", "withdrawn2026-06-1714:00byA.Operator:slipped")),
        ("grid", ("ReadingsofWednesday17June2026", "00:00to14:00", "Rawturbidity[NTU]", "3.2")),
        ("history", ("enteredbyA.Operator", "withdrawnbyA.Operator", "Astyped", "74")),
    ):
        visit.go(paths[name])
        printed = visit.page.pdf(format=sheet, print_background=False)
        found = pages(printed)
        whole = "".join(found)
        for word in words:
            assert word in whole, (name, word)
        assert "Keepthenote" not in whole and "Withdrawit" not in whole
        assert f"page1of{len(found)}" in whole
        size = re.search(rb"/MediaBox \[0 0 ([\d.]+)", printed)
        assert size is not None and abs(float(size[1]) - wide) < 2

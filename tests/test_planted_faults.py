"""Has each fault its place still, and its test? ``python -m tools.planted_faults`` plants them."""

import re
from pathlib import Path

import pytest
from tools.planted_faults import BEGIN, END, FAULTS, ROOT, Fault, times, told, write


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.what)
def test_a_fault_can_be_planted_and_names_a_test_that_is_there(fault: Fault) -> None:
    assert times(fault) >= 1
    assert fault.planted != fault.stands
    file, _, test = fault.test.partition("::")
    assert (ROOT / file).is_file()
    if test:
        assert re.search(rf"^def {test}\(", Path(ROOT / file).read_text("utf-8"), re.MULTILINE)


def test_there_are_twenty_and_no_two_are_the_same() -> None:
    assert len({(fault.file, fault.stands) for fault in FAULTS}) == len(FAULTS) >= 20


def test_the_table_of_the_last_run_stands_on_the_page() -> None:
    _, _, rest = (ROOT / "docs" / "reliability.md").read_text("utf-8").partition(BEGIN)
    table, found, _ = rest.partition(END)
    assert found, "make planted-faults ARGS='--write docs/reliability.md' writes it"
    assert [row.split(" | ")[0][2:] for row in table.splitlines() if row.startswith("| ")][1:] == [
        fault.what for fault in FAULTS
    ]
    assert "**no**" not in table and "the same tests pass" in table


def test_a_fault_that_went_unnoticed_would_be_told(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text(f"a\n{BEGIN}\nthe table before this one\n{END}\nb\n", "utf-8")
    write(page, told(dict.fromkeys(FAULTS, True) | {FAULTS[0]: False}, control=False))
    text = page.read_text("utf-8")
    assert "before this one" not in text and text.startswith("a\n") and text.endswith("\nb\n")
    assert text.count("**no**") == 1 and "**do not pass**" in text
    with pytest.raises(SystemExit, match="no marks"):
        write(tmp_path / "page.md", "x") if page.write_text("none", "utf-8") else None

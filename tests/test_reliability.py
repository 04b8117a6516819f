"""Does every line of the page on reliability name tests that are there, and did a run write its figures?"""

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "reliability.md").read_text("utf-8")
ROWS = re.findall(r"^\| (D-\d+) \|([^|]+)\|([^|]*)\|([^|]*)\|$", PAGE, re.MULTILINE)
UNHELD = {"D-11", "D-16"}  # said to be so on the page


def missing(row: str) -> list[str]:
    """Return the tests that a line names and that are not there."""
    return [
        f"{file}::{test}"
        for file, test in re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", row)
        if not (ROOT / file).is_file()
        or not re.search(rf"^(?:def )?{test}\b(?:\(| =)", (ROOT / file).read_text("utf-8"), re.MULTILINE)
    ]


def test_every_line_names_tests_that_are_there() -> None:
    assert [number for number, *_ in ROWS] == [f"D-{n}" for n in range(1, 18)]
    assert [found for _, _, held, _ in ROWS for found in missing(held)] == []
    for number, _, held, open_ in ROWS:
        assert bool(held.strip()) != (number in UNHELD), number
        assert held.strip() or open_.strip(), number


def test_a_test_that_is_not_there_would_be_missed() -> None:
    assert missing("`tests/crash/test_short.py::test_that_is_not_there`, `tests/nowhere.py::test_x`") == [
        "tests/crash/test_short.py::test_that_is_not_there", "tests/nowhere.py::test_x",
    ]  # fmt: skip


def test_the_figures_stand_between_their_marks() -> None:
    from tests.crash.figures import BEGIN, END

    _, _, rest = PAGE.partition(BEGIN)
    figures, found, _ = rest.partition(END)
    assert found
    assert "seed" in figures and "commit" in figures, "make crash CRASH_ARGS='--write docs/reliability.md' writes them"

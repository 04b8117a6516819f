"""How do figures become a PDF? Set by Typst from our own templates: PDF/UA-1, fonts embedded, the same bytes each time.

Everything that people typed goes in as data and is printed as it is; nothing of it is read as markup. Fonts are those
that Typst brings; those of the machine are not looked at, and nothing is fetched.
"""

import json
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files
from typing import Any, Literal

Paper = Literal["letter", "a4"]
PAPERS: dict[Paper, str] = {"letter": "us-letter", "a4": "a4"}

NO_FONTS: list[bytes] = []  # of this machine


class PaperError(ValueError):
    """The report cannot be set: one sentence."""


@lru_cache(maxsize=8)
def template(name: str) -> bytes:
    """Return a template with what all of them share put before it."""
    folder = files("weirhouse.reports") / "templates"
    return (folder / "common.typ").read_bytes() + b"\n" + (folder / f"{name}.typ").read_bytes()


def pdf_bytes(name: str, data: Mapping[str, Any], paper: Paper = "letter") -> bytes:
    """Return the PDF that a template makes of plain data.

    Raises
    ------
    PaperError
        If there is no such paper, or the data does not make a page.
    """
    import typst

    if paper not in PAPERS:
        raise PaperError(f'There is no paper "{str(paper)[:20]}". Choose letter or a4.')
    inputs = {"data": json.dumps(data, ensure_ascii=False, allow_nan=False), "paper": PAPERS[paper]}
    try:
        made = typst.compile(
            template(name), format="pdf", sys_inputs=inputs, pdf_standards=["ua-1"], ignore_system_fonts=True,
            font_paths=NO_FONTS,
        )  # fmt: skip
    except typst.TypstError as error:
        raise PaperError(f"The report cannot be set: {' '.join(str(error).split())[:300]}.") from error
    assert isinstance(made, bytes)
    return made

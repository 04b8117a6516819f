"""What stands at the edges of a printed page? The plant, the page's name, its time and the page number."""

import re
from datetime import datetime

from starlette.responses import Response

from weirhouse.web.frame import Frame

MOST_TITLE = 120  # characters


def quoted(words: str) -> str:
    r"""Return a text as a CSS string: what is no plain letter, digit or mark is written by its number.

    >>> quoted('Emberly "2"')
    '"Emberly \\000022 2\\000022 "'
    """
    return '"' + re.sub(r"[^\w .,:;()+/-]", lambda m: f"\\{ord(m[0]):06x} ", words) + '"'


def paper_css(frame: Frame) -> Response:
    """Answer with the print stylesheet of one page. The sheet is the printer's own, letter or A4."""
    name = frame.plant + (" (demonstration: invented figures)" if frame.demo else "")
    css = (
        "@page { margin: 17mm 14mm 16mm; "
        f"@top-left {{ content: {quoted(name)}; font: 600 9pt sans-serif; }} "
        f"@top-right {{ content: {quoted(f'{frame.title} · {frame.at_text}')}; font: 9pt sans-serif; }} "
        f"@bottom-left {{ content: {quoted(_foot(frame))}; font: 8pt sans-serif; }} "
        '@bottom-right { content: "page " counter(page) " of " counter(pages); font: 9pt sans-serif; } }\n'
    )
    return Response(css, media_type="text/css")


def _foot(frame: Frame) -> str:
    system = f"{frame.system_id}. " if frame.system_id else ""
    return f"{system}Advice only: permit, local code and licensed practice come first."


def moment_of(text: str) -> datetime | None:
    """Return the instant of a query written by `Frame.paper`; None for anything else."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo is not None else None

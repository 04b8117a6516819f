"""What is shown when a page cannot be? One sentence that says what to mend, even when the plant file cannot be read."""

from contextlib import suppress
from zoneinfo import ZoneInfo

from starlette.requests import Request
from starlette.responses import Response

from weirhouse.web.frame import Frame
from weirhouse.web.render import as_json, page
from weirhouse.web.source import PlantFolder


def bare_frame(source: PlantFolder, title: str) -> Frame:
    """Return the frame of a page that must be shown even when the plant file cannot be read."""
    known = source.last_plant()
    at, dated = source.clock(), known is not None and not known.demo
    if known is not None and known.demo:  # its time is that of its records; where they cannot be read it has none
        with suppress(ValueError, OSError):
            at, dated = source.present(), True
    return Frame(
        plant=known.name if known else "This plant", system_id=known.system_id if known else "", place="",
        title=title, at=at, zone=known.zone if known else ZoneInfo("UTC"),
        demo=known.demo if known else False, dated=dated,
    )  # fmt: skip


def refusal_page(source: PlantFolder, request: Request, status: int, sentence: str, number: str = "") -> Response:
    """Return a page (or JSON, for those who asked for it) that says in one sentence what is wrong."""
    if request.url.path.endswith(".json"):
        return as_json({"error": sentence}, status)
    frame = bare_frame(source, "Cannot be shown")
    return page(request, "refusal.html", {"frame": frame, "sentence": sentence, "number": number}, status)

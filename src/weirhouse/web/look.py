"""How should the pages look: light or dark? The choice is kept on the device; and the sheet that a page prints with."""

from urllib.parse import urlsplit

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from weirhouse.web.forms import Form
from weirhouse.web.frame import Frame
from weirhouse.web.paper import MOST_TITLE, moment_of, paper_css
from weirhouse.web.render import LOOKS
from weirhouse.web.source import PlantFolder

YEAR_S = 365 * 86400


def set_look(source: PlantFolder, request: Request, form: Form) -> Response:
    """Keep the choice of a light or a dark page, and go back."""
    look = form.get("look", "light")
    answer = RedirectResponse(own_path(form.get("back", "/")), 303)
    answer.set_cookie("look", look if look in LOOKS else "light", max_age=YEAR_S, httponly=True, samesite="strict")
    return answer


def own_path(back: str) -> str:
    """Return a path on this computer, whatever was sent.

    >>> own_path("/log?q=rain"), own_path("//elsewhere.example/"), own_path("https://elsewhere.example/")
    ('/log?q=rain', '/', '/')
    """
    parts = urlsplit(back)
    if parts.scheme or parts.netloc or not back.startswith("/") or back.startswith(("//", "/\\")):
        return "/"
    return back if back.isprintable() else "/"


def paper(source: PlantFolder, request: Request) -> Response | None:
    """Answer with the print stylesheet of a page."""
    at = moment_of(request.query_params.get("at", ""))
    if at is None:
        return None
    known = source.last_plant() or source.plant()
    return paper_css(
        Frame(
            plant=known.name,
            system_id=known.system_id,
            place="",
            at=at,
            zone=known.zone,
            demo=known.demo,
            title=request.query_params.get("title", "")[:MOST_TITLE],
        )
    )

"""How does data become a page? One environment for all templates: escaping on, an unknown name is an error."""

import json
import re
from collections.abc import Mapping
from datetime import datetime
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import Response

from weirhouse.desk.lines import displayed
from weirhouse.desk.model import STATE_WORDS
from weirhouse.quantity import label
from weirhouse.records.roles import CLOSE, OPEN, READ, WRITE, Need
from weirhouse.situation.ages import age_text

# The places that exist, in the order of the whole; a place is named here the day it lands.
PLACES = (
    ("today", "Today", "/"),
    ("ahead", "Ahead", "/ahead"),
    ("proof", "Proof", "/proof"),
    ("figures", "Figures", "/figures"),
    ("plant", "Plant", "/plant"),
    ("log", "Day log", "/log"),
)
AT_HAND = ("today", "ahead", "proof", "log")  # on the phone's bottom row; the others stand under More
LOOKS = ("light", "dark")


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Return the environment of the templates."""
    found = Environment(
        loader=PackageLoader("weirhouse.web"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    found.filters["age"] = age_text
    found.filters["unit"] = label
    found.filters["plant_clock"] = plant_clock
    found.filters["displayed"] = displayed
    found.filters["tie"] = tie
    found.globals["places"] = PLACES
    found.globals["at_hand"] = AT_HAND
    found.globals["state_words"] = STATE_WORDS
    return found


def plant_clock(moment: datetime, zone: ZoneInfo, form: str = "%H:%M") -> str:
    """Return a moment on the plant's clock."""
    return format(moment.astimezone(zone), form)


_UNITS = r"(?:%|°[FC]|NTU|mg/L|gpm(?:/ft²)?|gal|MGD|L/s|m³/h|psi|ft|in|h|min|lb/day|1/s|mL/min)"
_APART = re.compile(rf"(?<=\d) (?={_UNITS}(?![A-Za-z]))")


def tie(words: str) -> str:
    """Return a sentence in which no line breaks between a number and its unit.

    >>> tie("Take water at 140 gpm before 16:00.").replace("\N{NO-BREAK SPACE}", "~")
    'Take water at 140~gpm before 16:00.'
    """
    return _APART.sub("\N{NO-BREAK SPACE}", words)


def page_text(request: Request, template: str, data: Mapping[str, Any]) -> str:
    """Return the text of a page. `data` holds `frame`, what every page shows."""
    here = f"{request.url.path}?{request.url.query}".rstrip("?")
    if template != "refusal.html" and failed_of(request):
        request.state.told = True
    return environment().get_template(template).render(
        **data, look=look_of(request), here=here, who=getattr(request.state, "person", None),
        banner=banner_of(request), tries_failed=failed_of(request), entered=getattr(request.state, "entered", True),
        may=lambda need: may(request, Need(need)),
    )  # fmt: skip


def banner_of(request: Request) -> str:
    """Return what every page says above all else: that nothing more can be stored."""
    source = getattr(getattr(request.scope.get("app"), "state", None), "source", None)
    return source.stopped if source is not None else ""


def failed_of(request: Request) -> int:
    """Return how many sign-ins under the name of whoever asks had failed, if that is yet to be told."""
    session = getattr(request.state, "session", None)
    return 0 if session is None else int(session.failed)


def seen_by(request: Request) -> tuple[object, ...]:
    """Return what a page shows beside its content: part of the key under which its text may be kept."""
    person = getattr(request.state, "person", None)
    free, entered = getattr(request.state, "free", False), getattr(request.state, "entered", True)
    return (look_of(request), person, failed_of(request), free, entered, banner_of(request))


def may(request: Request, need: Need) -> bool:
    """Return whether whoever asks may do what a page needs; for what a page offers."""
    person = getattr(request.state, "person", None)
    if person is not None:
        return bool(person.may(need))
    return need in (OPEN, READ) or (need in (WRITE, CLOSE) and bool(getattr(request.state, "free", True)))


def look_of(request: Request) -> str:
    """Return the look that was chosen: light, unless it is dark."""
    look = request.cookies.get("look", "light")
    return look if look in LOOKS else "light"


def page(request: Request, template: str, data: Mapping[str, Any], status: int = 200) -> Response:
    """Return a rendered page."""
    return html(page_text(request, template, data), status)


def html(text: str, status: int = 200) -> Response:
    """Return a page from its text."""
    return Response(text, status, media_type="text/html")


def as_json(data: Any, status: int = 200) -> Response:
    """Return data as JSON; a number that is not finite is a fault of ours and not sent."""
    return Response(json.dumps(data, ensure_ascii=False, allow_nan=False), status, media_type="application/json")

"""What do the forms of the day log share? The day, the usual time, who writes, and what is asked back of a figure."""

import uuid
from collections.abc import Mapping
from datetime import date, datetime
from urllib.parse import quote, unquote

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from weirhouse.plant.model import Channel, Plant
from weirhouse.quantity import QuantityError, parse, show
from weirhouse.situation.model import Value

YEAR_S = 365 * 86400
SLIP = 8.0  # times more or less than the last reading: a slipped decimal point, perhaps


def day_of(request: Request) -> date | None:
    """Return the day in the address; None when it is no day."""
    try:
        found = date.fromisoformat(request.path_params["date"])
    except ValueError:
        return None
    return found if 1970 < found.year < 9000 else None


def usual_time(day: date, now: datetime, plant: Plant) -> datetime:
    """Return now for today, and noon for another day."""
    here = now.astimezone(plant.zone)
    return here if here.date() == day else datetime(day.year, day.month, day.day, 12, tzinfo=plant.zone)


def entry_id(typed: Mapping[str, str]) -> str:
    """Return the id that the form was given, so that sent twice it is kept once; else a new one."""
    try:
        return str(uuid.UUID(typed.get("id", "")))
    except ValueError:
        return str(uuid.uuid4())


def question(channel: Channel, last: Value | None, text: str) -> str:
    """Return what to ask about a reading before it is stored: outside what the instrument shows, or a slipped point."""
    typed = text.strip().lstrip("<>").strip()
    try:
        value = parse(typed, channel.inside, channel.name)
    except QuantityError:
        try:
            value = parse(f"{typed} {channel.unit}", channel.inside, channel.name)
        except QuantityError:
            return ""  # refused below, in words of its own
    shown = show(value, channel.inside, channel.unit)
    for bound, side in ((channel.low, "below"), (channel.high, "above")):
        if bound is not None and (value < bound if side == "below" else value > bound):
            limit = show(bound, channel.inside, channel.unit)
            return f"{channel.name} {shown} is {side} {limit}, the end of its usual range. Is that what you read?"
    if (
        last is not None
        and last.known is not None
        and last.known > 0
        and value > 0
        and channel.inside not in ("degC", "pH")
    ):
        ratio = value / float(last.known)
        if not 1 / SLIP < ratio < SLIP:
            before = show(last.known, channel.inside, channel.unit)
            return f"{channel.name} {shown} is far from the last one, {before}. Is the decimal point where it belongs?"
    return ""


def remembered(request: Request) -> str:
    """Return who is signed in; where nobody need be, who wrote last on this device."""
    person = getattr(request.state, "person", None)
    if person is not None:
        return str(person.name)
    return unquote(request.cookies.get("person", ""))[:80]


def stored(at: datetime, id: str, plant: Plant, person: str) -> Response:
    """Answer with the day of what was stored, and remember who wrote it."""
    return stored_person(RedirectResponse(f"/log/{at.astimezone(plant.zone).date()}#entry-{id}", 303), person)


def stored_person(answer: Response, person: str) -> Response:
    """Return an answer that has the device remember who wrote."""
    answer.set_cookie("person", quote(person.strip()[:80]), max_age=YEAR_S, httponly=True, samesite="strict")
    return answer

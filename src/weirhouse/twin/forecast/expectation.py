"""What weather does a person expect? A typed phrase becomes a size, a time window and a chance, said back in words."""

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

Size = Literal["dry", "light", "moderate", "heavy", "extreme"]


class ExpectationError(ValueError):
    """The phrase is not understood: one sentence that says what to write."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Expectation:
    """Expected weather: rain of a size class that begins between two times, with a chance."""

    phrase: str
    size: Size
    begins: tuple[datetime, datetime]
    chance: float  # that the rain comes at all
    said_back: str


# Whether rain of a class brings a storm to the stream, and how large against this stream's usual storms (in their
# deviation of ln size): a starting assumption, no source.
BRINGS: dict[Size, float] = {"dry": 0.0, "light": 0.10, "moderate": 0.45, "heavy": 0.85, "extreme": 0.97}
LARGER: dict[Size, float] = {"dry": 0.0, "light": -1.2, "moderate": -0.5, "heavy": 0.2, "extreme": 1.2}

_WORDS: tuple[tuple[Size, str], ...] = (
    ("extreme", r"very heavy|extreme|torrential|cloudburst|hurricane|flood|violent|severe"),
    ("dry", r"no rain|dry|fair|clear|sunny|fine|snow(?!\s*melt)|frost"),
    ("heavy", r"heavy|downpour|pour|thunder|storm|big rain|hard rain"),
    ("light", r"light|drizzle|shower|little|some rain|bit of rain|sprinkle"),
    ("moderate", r"moderate|steady|rain|thaw|melt|wet"),
)
_DEPTHS_MM: tuple[tuple[float, Size], ...] = ((5.0, "light"), (15.0, "moderate"), (40.0, "heavy"))
_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_PARTS = {
    "early morning": (0, 6), "morning": (6, 12), "midday": (10, 14), "noon": (10, 14), "afternoon": (12, 18),
    "evening": (17, 22), "overnight": (20, 30), "tonight": (18, 30), "night": (20, 30), "midnight": (22, 27),
}  # fmt: skip
EXAMPLES = '"heavy rain tonight", "20 mm tomorrow afternoon", "dry until Friday" or "thunderstorms in 6 hours"'


def read_expectation(phrase: str, at: datetime, zone: ZoneInfo) -> Expectation:
    """Return what a phrase says about the rain after `at`.

    Examples
    --------
    >>> from datetime import UTC
    >>> said = read_expectation("heavy rain tonight", datetime(2026, 10, 14, 19, 0, tzinfo=UTC), ZoneInfo("UTC"))
    >>> said.size, said.begins[0].hour, said.begins[1].hour
    ('heavy', 19, 6)
    """
    text = " ".join(phrase.lower().replace("'", "").split())
    size = _size(text)
    if size is None:
        raise ExpectationError(f'"{phrase.strip()[:60]}" does not say what rain to expect. Write it like {EXAMPLES}.')
    first, last, when = _window(text, at.astimezone(zone))
    if last <= first or last <= at:
        raise ExpectationError(f'"{phrase.strip()[:60]}" lies before the forecast begins. Name a time to come.')
    first = max(first, at.astimezone(zone))
    chance = _chance(text)
    if size == "dry":
        said = f"Taken as: no rain {when}. New storms are then thought five times less likely."
    else:
        said = (
            f"Taken as: {size} rain that begins between {first:%a %H:%M} and {last:%a %H:%M} ({when}), "
            f"with a chance of {chance:.0%}; {size} rain is thought to bring a storm to the stream "
            f"{BRINGS[size]:.0%} of the time."
        )
    return Expectation(phrase=phrase.strip(), size=size, begins=(first, last), chance=chance, said_back=said)


def _size(text: str) -> Size | None:
    depth = re.search(r"(\d+(?:\.\d+)?)\s*(mm|millimet\w*|cm|inch\w*|in\b|\")", text)
    if depth and not re.match(r"in \d", text[depth.start() :]):
        per = depth.group(2)
        mm = float(depth.group(1)) * (1.0 if per.startswith("m") else 10.0 if per == "cm" else 25.4)
        return next((name for most, name in _DEPTHS_MM if mm < most), "extreme")
    return next((name for name, words in _WORDS if re.search(rf"\b(?:{words})", text)), None)


def _chance(text: str) -> float:
    share = re.search(r"(\d{1,3})\s*(?:%|percent|per cent)", text)
    if share:
        return min(float(share.group(1)) / 100.0, 1.0)
    if re.search(r"\b(maybe|might|may|could|possibl\w*|perhaps|chance|risk|slight)\b", text):
        return 0.5
    return 0.75 if re.search(r"\b(likely|probabl\w*|expected)\b", text) else 0.9


def _window(text: str, now: datetime) -> tuple[datetime, datetime, str]:
    """Return the window in which rain begins, and the words for it."""
    midnight = now.replace(hour=0, minute=0, second=0, microsecond=0)
    hours = re.search(r"\b(in|within|next|after|for)\s+(?:the\s+)?(?:next\s+)?(\d+(?:\.\d+)?)\s*(?:h\b|hr|hour)", text)
    if hours:
        n = float(hours.group(2))
        if hours.group(1) in ("in", "after"):
            return now + timedelta(hours=0.75 * n), now + timedelta(hours=1.25 * n + 1), f"in about {n:g} h"
        return now, now + timedelta(hours=n), f"within {n:g} h"
    if re.search(r"\b(now|already|raining|at the moment|just begun|started)\b", text):
        return now, now + timedelta(hours=1), "now"
    day, name = 0, ""
    if "day after tomorrow" in text:
        day, name = 2, "the day after tomorrow"
    elif "tomorrow" in text:
        day, name = 1, "tomorrow"
    else:
        for k, week in enumerate(_DAYS):
            if re.search(rf"\b{week[:3]}(?:{week[3:]})?\b", text):
                day, name = (k - now.weekday()) % 7, f"on {week.capitalize()}"
    start = midnight + timedelta(days=day)
    until = re.search(r"\b(until|till|through)\b", text)
    for part, (a, b) in _PARTS.items():
        if re.search(rf"\b{part}\b", text):
            first, last = start + timedelta(hours=a), start + timedelta(hours=b)
            if last <= now and not name:
                first, last = first + timedelta(days=1), last + timedelta(days=1)
            if part in ("tonight", "night", "overnight") and not name and now.hour < 5:
                first, last = now, midnight + timedelta(hours=6)
            words = f"{name} {part}".strip() if name or part == "tonight" else f"in the {part}"
            return (now, last, f"until {words}") if until else (first, last, words)
    if name:
        return (now, start + timedelta(days=1), f"until {name}") if until else (start, start + timedelta(days=1), name)
    if re.search(r"\b(today|later)\b", text):
        return now, midnight + timedelta(days=1), "today"
    if re.search(r"\b(days|week|weekend)\b", text):
        return now, now + timedelta(days=3), "within three days"
    return now, now + timedelta(hours=24), "within 24 h, as no time was named"

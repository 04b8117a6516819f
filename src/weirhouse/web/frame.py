"""What stands on every page? The plant, its clock, the place, the demonstration mark."""

from dataclasses import dataclass
from datetime import UTC, datetime
from urllib.parse import urlencode
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The head and foot of a page."""

    plant: str
    system_id: str
    place: str
    title: str
    at: datetime
    zone: ZoneInfo
    demo: bool
    dated: bool = True  # whether `at` is shown
    asked: bool = False  # for an instant, which is then kept in links

    @property
    def at_text(self) -> str:
        """The instant the page speaks of, on the plant's clock: ``Wednesday 17 June 2026, 14:00 EDT``."""
        here = self.at.astimezone(self.zone)
        return f"{here:%A} {here.day} {here:%B %Y, %H:%M %Z}"

    @property
    def at_value(self) -> str:
        """The instant as a form sends it."""
        return f"{self.at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"

    @property
    def at_query(self) -> str:
        """``at=...`` when an instant was asked for."""
        return urlencode({"at": f"{self.at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"}) if self.asked else ""

    @property
    def paper(self) -> str:
        """The query of the print stylesheet: which page, at which instant."""
        return urlencode({"title": self.title, "at": f"{self.at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"})

    def link(self, path: str, **query: str) -> str:
        """Return a link that keeps the instant asked for."""
        asked = urlencode({k: v for k, v in query.items() if v})
        joined = "&".join(part for part in (asked, self.at_query) if part)
        return f"{path}?{joined}" if joined else path

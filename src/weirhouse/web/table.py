"""What is a line of the route table? An address, what answers there, and what one must be allowed to do.

A line without a need cannot be made: ``needs`` has no default.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from weirhouse.records.roles import Need
from weirhouse.web.forms import Form, SentFile
from weirhouse.web.guard import MOST_BODY
from weirhouse.web.source import PlantFolder

Shown = Callable[[PlantFolder, Request], Response | None]
Written = Callable[[PlantFolder, Request, Form], Response | None]
Batched = Callable[[PlantFolder, Request, Any], Response | None]
Uploaded = Callable[[PlantFolder, Request, Form, Mapping[str, SentFile]], Response | None]
MOST_UPLOAD = 50 * 1024 * 1024  # [bytes] a file that somebody sends


class RouteError(TypeError):
    """A line of the table that does not say what it needs."""


@dataclass(frozen=True, slots=True)
class Line:
    """An address and its need; see `Page`, `Sent`, `Upload`, `Files`."""

    path: str
    needs: Need = field(kw_only=True)

    def __post_init__(self) -> None:
        """Refuse a need that is none."""
        if not isinstance(self.needs, Need):
            raise RouteError(f"{self.path} needs {self.needs!r}, which is no Need of weirhouse.records.roles.")


@dataclass(frozen=True, slots=True)
class Page(Line):
    """A page, or its JSON twin, that is looked at (GET). The answer None is 404."""

    answer: Shown
    method = "GET"
    most = MOST_BODY


@dataclass(frozen=True, slots=True)
class Sent(Line):
    """A form that is sent (POST), read as plain texts."""

    answer: Written
    method = "POST"
    most = MOST_BODY


@dataclass(frozen=True, slots=True)
class Batch(Line):
    """JSON that is sent (POST): the grid, or another program of ours."""

    answer: Batched
    method = "POST"
    most = MOST_BODY


@dataclass(frozen=True, slots=True)
class Upload(Line):
    """A form with files (POST, multipart), each at most `most` bytes together; names of files are only words."""

    answer: Uploaded
    most: int = field(default=MOST_UPLOAD, kw_only=True)
    method = "POST"


@dataclass(frozen=True, slots=True)
class Files(Line):
    """A folder whose files are sent as they are (GET)."""

    folder: Path
    method = "GET"
    most = MOST_BODY

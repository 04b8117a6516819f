"""What did a person send in a form? Plain texts, and not more of them than any form of ours has."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from starlette.datastructures import UploadFile
from starlette.requests import Request

from weirhouse.web.guard import TooLargeError

Form = Mapping[str, str]
MOST_FIELDS, MOST_TEXT = 400, 20_000  # fields, characters in one
MOST_FILES = 4  # in one form


class FormError(ValueError):
    """What was sent cannot be read: one sentence with what to mend. Nothing was changed."""


@dataclass(frozen=True, slots=True)
class SentFile:
    """A file that was sent: its bytes, and the name it had, which is a word to show and never a path."""

    name: str
    data: bytes


async def read_form(request: Request) -> Form:
    """Return the fields of a form as texts; files are not taken."""
    return (await _read(request, 0))[0]


async def read_json(request: Request) -> Any:
    """Return what was sent as JSON; FormError in one sentence where it is none."""
    body = await request.body()
    try:
        return json.loads(body, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise FormError("What was sent is not JSON. Send it again from the page itself.") from None


def _no_number(word: str) -> Any:
    raise ValueError(word)


async def read_upload(request: Request) -> tuple[Form, Mapping[str, SentFile]]:
    """Return the fields of a form as texts, and the files that were chosen; a field left without a file is not there.

    How many bytes are taken in all is watched by the guard while they come in.
    """
    return await _read(request, MOST_FILES)


async def _read(request: Request, files: int) -> tuple[Form, Mapping[str, SentFile]]:
    found: dict[str, str] = {}
    sent_files: dict[str, SentFile] = {}
    # a form that was held through the sign-in comes with a few more
    async with request.form(max_files=files, max_fields=MOST_FIELDS + 8) as sent:
        for key, value in sent.items():
            if files and isinstance(value, UploadFile):
                if value.filename:
                    sent_files[key] = SentFile(_last_part(value.filename), await value.read())
                continue
            if not isinstance(value, str) or len(value) > MOST_TEXT:
                raise TooLargeError
            found[key] = value.replace("\r\n", "\n")
    return found, sent_files


def _last_part(name: str) -> str:
    r"""Return the last part of a file's name, printable and short.

    >>> _last_part("..\\..\\week 42.csv"), _last_part("/etc/a\x00b"), _last_part("..")
    ('week 42.csv', 'ab', 'file')
    """
    last = name.replace("\\", "/").rpartition("/")[2]
    return "".join(c for c in last if c.isprintable())[:120].strip(". ") or "file"

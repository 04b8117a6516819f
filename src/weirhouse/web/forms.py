"""What did a person send in a form? Plain texts, and not more of them than any form of ours has."""

from collections.abc import Mapping

from starlette.requests import Request

from weirhouse.web.guard import TooLargeError

Form = Mapping[str, str]
MOST_FIELDS, MOST_TEXT = 60, 20_000  # fields, characters in one


async def read_form(request: Request) -> Form:
    """Return the fields of a form as texts; files are not taken."""
    found: dict[str, str] = {}
    async with request.form(max_files=0, max_fields=MOST_FIELDS) as sent:
        for key, value in sent.items():
            if not isinstance(value, str) or len(value) > MOST_TEXT:
                raise TooLargeError
            found[key] = value.replace("\r\n", "\n")
    return found

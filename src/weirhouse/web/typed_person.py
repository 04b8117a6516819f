"""What was typed of a person's certificate?"""

from collections.abc import Mapping
from datetime import date
from typing import Any

from weirhouse.records.people import PeopleError


def certificate_of(form: Mapping[str, str]) -> dict[str, Any]:
    """Return number, class and last day as typed; PeopleError where the day is none."""
    until = form.get("certificate_until", "").strip()
    try:
        day = date.fromisoformat(until) if until else None
    except ValueError:
        raise PeopleError(f'"{until[:20]}" is no day. Write it like 2027-03-31.', "certificate_until") from None
    return {
        "certificate": form.get("certificate", "").strip()[:60],
        "certificate_class": form.get("certificate_class", "").strip()[:60],
        "certificate_until": day,
    }

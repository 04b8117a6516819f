"""Today as plain data for other programs: the same numbers as on the page, in the same units."""

from typing import Any

from weirhouse.desk.lines import displayed
from weirhouse.desk.model import Advice, Today


def today_json(today: Today, unit_set: str) -> dict[str, Any]:
    """Return Today as one object. The value of a line is in its `unit`; null when it is not known."""
    return {
        "plant": today.plant,
        "at": today.at.isoformat(),
        "order": today.order,
        "advice": [advice_json(line, unit_set) for line in today.advice],
    }


def advice_json(line: Advice, unit_set: str) -> dict[str, Any]:
    """Return one line; its working as data, null when the line has none."""
    return {
        "id": line.id,
        "title": line.title,
        "action": line.action,
        "value": displayed(line),
        "unit": line.unit,
        "state": line.state,
        "caution": line.caution,
        "working": None if line.working is None else line.working.json(unit_set),
        "age_s": line.age_s,
        "confidence": line.confidence,
    }

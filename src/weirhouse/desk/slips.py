"""What in an entry of the day log is likely a slip? One question that is asked back before it is stored."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from weirhouse.desk.day_log import KINDS, measured_in
from weirhouse.plant.model import Filters, Plant
from weirhouse.quantity import show
from weirhouse.records.model import Event

# Longer than this it seldom lasts; common practice, no source.
USUAL = {"backwash": timedelta(hours=2), "filter_to_waste": timedelta(hours=6), "power_failure": timedelta(days=7)}
TWICE = timedelta(hours=1)  # within which the same thing is seldom done again to the same filter
MORE = 1.5  # times what the wash pump gives


def slip(
    plant: Plant,
    kind: str,
    *,
    at: datetime,
    until: datetime | None,
    subject: str,
    values: Mapping[str, float | str],
    before: Iterable[Event] = (),
) -> str:
    """Return what to ask about an event before it is stored; empty when nothing is odd about it."""
    title = KINDS[kind]
    for other in before:
        if (other.kind, other.subject) == (kind, subject) and abs(other.started_at - at) < TWICE and subject:
            name = next((f.name for f in plant.filters if f.id == subject), subject)
            clock = f"{other.started_at.astimezone(plant.zone):%H:%M}"
            return f"{title} of {name} stands in the log at {clock} already. Was there a second one?"
    if until is not None and kind in USUAL and until - at > USUAL[kind]:
        lasts = show((until - at).total_seconds(), "s", "h")
        return f"{title} over {lasts} is long. Are both times right?"
    volume = values.get("volume")
    if kind == "backwash" and until is not None and isinstance(volume, float):
        pump = _wash_pump(plant, subject)
        if pump is not None and volume > MORE * pump * (until - at).total_seconds():
            inside, unit = measured_in("volume", subject, plant)
            most = show(pump * (until - at).total_seconds(), inside, unit)
            return f"{show(volume, inside, unit)} is more than the wash pump gives in that time, {most}. Is that right?"
    return ""


def _wash_pump(plant: Plant, filter_id: str) -> float | None:
    """Return the flow of the pump that washes a filter [m^3/s], where the plant file gives it."""
    for stage in plant.stages:
        if isinstance(stage, Filters) and stage.backwash and any(f.id == filter_id for f in stage.filter):
            return stage.backwash.pump_flow
    return None

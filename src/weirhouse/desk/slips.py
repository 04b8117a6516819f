"""What in an entry of the day log is likely a slip? One question that is asked back before it is stored."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from weirhouse.desk.day_log import KINDS, measured_in
from weirhouse.plant.model import Filters, Plant
from weirhouse.quantity import show
from weirhouse.records.model import Event
from weirhouse.science.basins import volume_from_flow
from weirhouse.situation.ages import elapsed_s, later

# Longer than this it seldom lasts; common practice, no source.
USUAL_S = {"backwash": 2 * 3600.0, "filter_to_waste": 6 * 3600.0, "power_failure": 7 * 86400.0}
TWICE = timedelta(hours=1)  # within which the same thing is seldom done again to the same filter
LONGER_S = 300.0  # by so much a wash may have lasted longer than the log says


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
        if (
            (other.kind, other.subject) == (kind, subject)
            and abs(elapsed_s(other.started_at, at)) < TWICE.total_seconds()
            and subject
        ):
            name = next((f.name for f in plant.filters if f.id == subject), subject)
            clock = f"{other.started_at.astimezone(plant.zone):%H:%M}"
            return f"{title} of {name} stands in the log at {clock} already. Was there a second one?"
    took = None if until is None else elapsed_s(at, until)
    if took is not None and kind in USUAL_S and took > USUAL_S[kind]:
        lasts = show(took, "s", "h")
        return f"{title} over {lasts} is long. Are both times right?"
    volume = values.get("volume")
    if kind == "backwash" and until is not None and took is not None and isinstance(volume, float):
        pump = _wash_pump(plant, subject)
        longer = elapsed_s(at, later(until, LONGER_S))
        if pump is not None and volume > volume_from_flow(pump, longer):
            inside, unit = measured_in("volume", subject, plant)
            most = show(volume_from_flow(pump, took), inside, unit)
            return f"{show(volume, inside, unit)} is more than the wash pump gives in that time, {most}. Is that right?"
    return ""


def _wash_pump(plant: Plant, filter_id: str) -> float | None:
    """Return the flow of the pump that washes a filter [m^3/s], where the plant file gives it."""
    for stage in plant.stages:
        if isinstance(stage, Filters) and stage.backwash and any(f.id == filter_id for f in stage.filter):
            return stage.backwash.pump_flow
    return None

"""What is stale, missing or odd? Every channel of the plant file, its last hours, and faults nobody has closed."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from weirhouse.records.model import Event
from weirhouse.situation.model import Oddity, Value


def is_open(event: Event, when: datetime) -> bool:
    """Whether an instrument fault is entered that is not over at `when`."""
    return event.kind == "instrument_fault" and (event.ended_at is None or event.ended_at > when)


def open_faults(events: Sequence[Event], when: datetime) -> dict[str, Event]:
    """Return the newest fault of each channel's instrument that is open at `when`."""
    return {event.subject: event for event in events if is_open(event, when)}


def _title(subject: str, values: Mapping[str, Value]) -> str:
    found = values.get(subject)
    return found.title if found is not None else subject.replace("_", " ") or "instrument"


def oddities(values: Mapping[str, Value], events: Sequence[Event], when: datetime) -> tuple[Oddity, ...]:
    """Return everything that is not as it should be, in the order of the plant file; open instrument faults last."""
    found = [
        Oddity(channel=value.channel, kind=value.state, text=f"{value.title}: {value.why}.", at=value.taken_at)
        for value in values.values()
        if value.state != "fresh"
    ]
    for event in events:
        if is_open(event, when):
            note = f" ({event.note})" if event.note else ""
            found.append(
                Oddity(
                    channel=event.subject if event.subject in values else "",
                    kind="instrument_fault",
                    text=f"Instrument fault not closed: {_title(event.subject, values)}{note}.",
                    at=event.started_at,
                )
            )
    return tuple(found)

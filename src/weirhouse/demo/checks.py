"""When were the instruments held against a standard, when were they out, and which days and months were closed?"""

from collections.abc import Container, Iterator
from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from weirhouse import quantity
from weirhouse.demo import scenario
from weirhouse.demo.names import name
from weirhouse.demo.scenario import ZONE, hours
from weirhouse.records.model import Event

# Turbidimeters: the secondary standard that each is held against every Monday [NTU], and how far off it may read.
TURBIDIMETERS = {
    "raw_turbidity": 20.0, "settled_turbidity": 1.0, "filter_1_turbidity": 0.5, "filter_2_turbidity": 0.5,
    "combined_turbidity": 0.5,
}  # fmt: skip
ANALYSERS = ("contact_chlorine", "entry_chlorine")
TOLERANCE = 0.10  # common practice, no source
CALIBRATED = ("2025-12-01", "2026-03-02", "2026-06-01", "2026-09-07")  # with primary standard, on a Monday
FAILED = ("filter_2_turbidity", date(2026, 3, 9))
OUT = {
    "combined_turbidity": (scenario.TURBIDIMETER_DEAD, 0.1),
    "entry_chlorine": (scenario.CHLORINE_DRIFT, 105.5),
    "filter_1_turbidity": (scenario.FILTER_1_ZERO, 4.3),
}
OPEN_FROM = date(2026, 10, 1)  # the month of the year's end is not closed yet


def events(channels: Container[str], rng: np.random.Generator) -> list[Event]:
    """Return the checks, the times out of service and the closings."""
    found = [*_checks(channels, rng)]
    for channel, (span, seen_after) in OUT.items():
        if channel in channels:
            found.append(
                _event(
                    "instrument_out", span.start + hours(seen_after), channel, ended=span.end,
                    note="out of service; sampled by hand every four hours of running",
                )
            )  # fmt: skip
    return found


def closings() -> list[Event]:
    """Return the closings of days and months, each made the morning after, in the order in which they were made."""
    found = []
    day = scenario.YEAR_START.date()
    while day < OPEN_FROM:
        after = day + timedelta(days=1)
        found.append(_closing(f"{day}", datetime.combine(after, time(8, 5), ZONE)))
        if after.month != day.month:
            found.append(_closing(f"{day:%Y-%m}", datetime.combine(after + timedelta(days=2), time(15, 40), ZONE)))
        day = after
    return sorted(found, key=lambda event: event.started_at)


def _closing(subject: str, at: datetime) -> Event:
    return _event("closed", at, subject, values={"zone": ZONE.key})


def _checks(channels: Container[str], rng: np.random.Generator) -> Iterator[Event]:
    day = scenario.YEAR_START.date()
    while day < scenario.YEAR_END.date():
        if day.weekday() == 0:
            at = datetime.combine(day, time(9, 10), ZONE)
            primary = f"{day}" in CALIBRATED
            for minute, (channel, standard) in enumerate(TURBIDIMETERS.items()):
                if channel in channels:
                    yield _check(
                        channel, at + timedelta(minutes=6 * minute), "primary standard" if primary else
                        "secondary standard", 20.0 if primary else standard, "NTU", rng,
                        fails=(channel, day) == FAILED, sets=primary,
                    )  # fmt: skip
        if day.weekday() == 1 and day.day <= 7:
            for minute, channel in enumerate(ANALYSERS):
                if channel in channels:
                    at = datetime.combine(day, time(8, 20 + 10 * minute), ZONE)
                    yield _check(channel, at, "test kit, grab sample", 1.2, "mg/L", rng)
        day += timedelta(days=1)
    mended = scenario.CHLORINE_DRIFT.end
    if "entry_chlorine" in channels:
        yield _event(
            "instrument_check", mended, "entry_chlorine", note="after the membrane was renewed",
            values={"standard": "test kit, grab sample", "standard_value": 1.21, "found": 0.83, "left": 1.2,
                    "result": "failed"},
        )  # fmt: skip


def _check(
    channel: str, at: datetime, standard: str, value: float, unit: str, rng: np.random.Generator, *,
    fails: bool = False, sets: bool = False,
) -> Event:  # fmt: skip
    off = 0.18 if fails else float(np.clip(0.025 * rng.standard_normal(), -0.08, 0.08))
    found = round(value * (1 + off), 3)
    left = value if fails or sets else found
    inside = {"NTU": "NTU", "mg/L": "g/m^3"}[unit]
    numbers = {
        key: float(quantity.convert(number, unit, inside))
        for key, number in (("standard_value", value), ("found", found), ("left", left))
    }
    result = "passed" if abs(found - value) <= TOLERANCE * value else "failed"
    note = "cell cleaned, set to the standard and read again" if fails else "calibrated" if sets else ""
    return _event(
        "instrument_check", at, channel, values={"standard": standard, **numbers, "result": result}, note=note
    )  # fmt: skip


def _event(
    kind: str, at: datetime, subject: str, *, ended: datetime | None = None,
    values: dict[str, float | str] | None = None, note: str = "",
) -> Event:  # fmt: skip
    started = at.astimezone(UTC)
    return Event(
        kind=kind, started_at=started, ended_at=ended.astimezone(UTC) if ended else None, subject=subject,
        values=values or {}, person=scenario.operator_on(at), note=note,
        id=name(kind, subject, started.isoformat()),
    )  # fmt: skip

"""An invented day for pictures: a plant that starts and stops, a storm at night, a changed dose, a backwash."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from weirhouse.desk.timetable import Feed, Lane, Timetable, timetable
from weirhouse.records.model import Event
from weirhouse.science.passage import Part
from weirhouse.situation.model import Track

ZONE = ZoneInfo("America/New_York")
NOW = datetime(2026, 6, 17, 18, 0, tzinfo=UTC)  # 14:00 in the plant's zone
GALLON = 0.003785411784
SETTLED, COMBINED = "settled_turbidity", "combined_turbidity"


def track(channel: str, hours: float, value: object, step_min: int = 15) -> Track:
    start = NOW - timedelta(hours=hours)
    moments = [start + timedelta(minutes=step_min * k) for k in range(int(hours * 60 / step_min) + 1)]
    values = np.array([value(m) for m in moments], dtype=float)  # type: ignore[operator]
    times = np.array([int(m.timestamp()) for m in moments], dtype=np.int64)
    return Track(channel=channel, times=times, values=values, flags=np.zeros(len(times), dtype=np.uint8))


def running(moment: datetime) -> bool:
    here = moment.astimezone(ZONE)
    return 5 <= here.hour < 21 and not (NOW - timedelta(hours=9) <= moment < NOW - timedelta(hours=6))


def storm(moment: datetime) -> float:
    hours = (moment - (NOW - timedelta(hours=14))).total_seconds() / 3600
    peak = 240 * (hours / 3) * np.exp(1 - hours / 3) if hours > 0 else 0.0
    return float(3 + peak)


def dose(moment: datetime) -> float:
    return 14.0 if moment < NOW - timedelta(hours=6) else 26.0


def lanes() -> list[Lane]:
    level = track("contact_level", 100, lambda m: 90.8 - 12 * (not running(m)))
    tank = track("storage_level", 100, lambda m: 390.0 + 10 * np.sin(m.timestamp() / 14000))
    demand = track("demand_flow", 100, lambda m: 0.0046)
    return [
        Lane(id="settling_basin", name="Settling basin", kind="basin", parts=(Part(108.7, 4),)),
        Lane(id="raw_line", name="Line to the plant", kind="pipe", parts=(Part(0.65, None),)),
        Lane(id="flash_mixer", name="Flash mixer", kind="mixer", parts=(Part(60 * GALLON, 1),)),
        Lane(id="floc_1", name="First compartment", kind="flocculation", parts=(Part(900 * GALLON, 1),)),
        Lane(id="floc_2", name="Side compartments", kind="flocculation", parts=(Part(1100 * GALLON, 1),), units=2),
        Lane(id="floc_3", name="Large compartment", kind="flocculation", parts=(Part(2600 * GALLON, 1),)),
        Lane(id="clarifier", name="Upflow clarifier", kind="clarifier", parts=(Part(68.0, 3),), channel=SETTLED),
        Lane(
            id="filters", name="Filters", kind="filters", parts=(Part(9.9, 1), Part(2.0, None)), units=2,
            channel=COMBINED,
        ),
        Lane(id="clearwell", name="Clearwell", kind="contact", parts=(Part(90.8, 5.3),), level_volume=level),
        Lane(id="main", name="Main to the first customer", kind="pipe", parts=(Part(10.8, None),)),
        Lane(
            id="hill_tank", name="Tank on the hill", kind="storage", parts=(Part(400.0, 1),), level_volume=tank,
            outflow=demand,
        ),
    ]  # fmt: skip


def event(kind: str, hours_ago: float, subject: str = "", until: float | None = None, **values: float) -> Event:
    return Event(
        kind=kind, started_at=NOW - timedelta(hours=hours_ago), subject=subject, values=values, person="A. Operator",
        ended_at=None if until is None else NOW - timedelta(hours=until), id=f"{kind}-{hours_ago}",
    )  # fmt: skip


def storm_day() -> Timetable:
    return timetable(
        lanes=lanes(),
        flow=track("plant_flow", 100, lambda m: 0.0088 if running(m) else 0.0),
        begin=NOW - timedelta(hours=24), end=NOW + timedelta(hours=12), now=NOW, zone=ZONE,
        raw=track("raw_turbidity", 100, storm),
        turbidity={
            SETTLED: track(SETTLED, 100, lambda m: 0.9 + 0.02 * storm(m - timedelta(hours=7))),
            COMBINED: track(COMBINED, 100, lambda m: 0.05 + 0.0008 * storm(m - timedelta(hours=8))),
        },
        feeds=[
            Feed(id="coagulant", name="Coagulant", lane=2, dose=track("coagulant_dose", 100, dose), basis="product"),
        ],
        events=[
            event("dose_change", 6, "coagulant", **{"from": 14.0, "to": 26.0}),
            event("backwash", 2, "filter_2", until=1.7),
            event("filter_to_waste", 1.7, "filter_2", until=1.4),
            event("sample", 3, "clarifier"),
            event("intake_shut", 9, until=6),
            event("power_failure", 20, until=19.4),
        ],
        filter_ids=["filter_1", "filter_2"],
        names={
            "filter_1": "Filter 1", "filter_2": "Filter 2",
            SETTLED: "Settled turbidity", COMBINED: "Combined turbidity",
        },
        ahead_flow=0.0088,
    )  # fmt: skip

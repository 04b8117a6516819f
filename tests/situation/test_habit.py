"""How is this plant run? What was done is found again in records of which it is known how they came about."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from weirhouse import plant as plants
from weirhouse.records.model import Event
from weirhouse.records.store import Store
from weirhouse.situation.habit import habit
from weirhouse.situation.model import Track
from weirhouse.situation.past import HOUR, Past, past

END = datetime(2026, 5, 1, 12, tzinfo=UTC)
DAYS = 60


def event(kind: str, hour: float, *, subject: str = "", lasts: float | None = None, **values: float) -> Event:
    begins = END - timedelta(days=DAYS) + timedelta(hours=hour)
    ends = None if lasts is None else begins + timedelta(hours=lasts)
    return Event(kind=kind, started_at=begins, ended_at=ends, subject=subject, values=values, person="A. Operator")


@pytest.fixture(scope="module")
def emberly(demo_folder):
    return plants.load(demo_folder)


def made(plant, raw, flow, *, dose=None, level=None, events=()) -> Past:
    """Return records of 60 days by the hour, made of whole arrays."""
    hours = DAYS * 24
    grid = (int(END.timestamp()) // HOUR - hours + np.arange(hours)) * HOUR
    mean = {"raw_turbidity": raw, "plant_flow": flow}
    if dose is not None:
        mean["coagulant_dose"] = dose
    if level is not None:
        mean["storage_level"] = level
    track = Track(channel="raw_turbidity", times=grid, values=raw, flags=np.zeros(hours, np.uint8))
    return Past(
        plant=plant, at=END, zone=plant.zone, stream={"raw_turbidity": track}, recent={}, hour=grid, mean=mean,
        lowest={"plant_flow": flow}, highest={}, events=tuple(events), flow_channel="plant_flow",
    )  # fmt: skip


def storms(hours: int) -> np.ndarray:
    """Clear water at 3 NTU, and every ten days a storm of 80 NTU for half a day."""
    raw = np.full(hours, 3.0)
    for begin in range(120, hours, 240):
        raw[begin : begin + 12] = 80.0
    return raw


def test_throttled_in_storms(emberly):
    raw = storms(DAYS * 24)
    found = habit(made(emberly, raw, np.where(raw > 50, 0.006, 0.009)))
    assert {(rung.low, rung.high): float(rung.value) for rung in found.flows} == {(2, 5): 0.009, (50, 100): 0.006}
    assert float(found.flow) == 0.009


def test_too_few_hours_say_nothing(emberly):
    raw = np.full(DAYS * 24, 3.0)
    raw[100:105] = 80.0
    found = habit(made(emberly, raw, np.full(DAYS * 24, 0.009)))
    assert [rung.low for rung in found.flows] == [2]


def test_the_dose_is_read_by_the_water_that_is_at_the_feed(emberly):
    """The basin ahead of the feed holds 28,700 gal: at 3,170 gal an hour, nine hours."""
    raw = storms(DAYS * 24)
    flow = np.full(DAYS * 24, 0.00333)  # 52.8 gpm
    dose = np.where(np.roll(raw, 9) > 50, 30.0, 13.0)
    rungs = {rung.low: float(rung.value) for rung in habit(made(emberly, raw, flow, dose=dose)).doses}
    assert rungs == {2: 13.0, 50: 30.0}


def test_shut_on_brown_water_counts_and_shut_on_clear_water_does_not(emberly):
    raw = storms(DAYS * 24)
    flow = np.full(DAYS * 24, 0.009)
    evening = [event("intake_shut", 110.0)]  # at 3 NTU, before the storm
    brown = [event("intake_shut", 121.0), event("intake_shut", 361.0)]
    assert float(habit(made(emberly, raw, flow, events=[*evening, *brown])).shuts_above) == 80.0
    by_file = habit(made(emberly, raw, flow, events=evening)).shuts_above
    assert float(by_file) == 150.0
    assert str(by_file.source).startswith("plant file, action.")


def test_water_as_brown_as_was_taken_again_is_taken(emberly):
    raw = storms(DAYS * 24)
    raw[130] = 120.0
    events = [event("intake_shut", 121.0), event("intake_open", 130.0)]
    found = habit(made(emberly, raw, np.full(DAYS * 24, 0.009), events=events))
    assert (float(found.shuts_above), float(found.opens_below)) == (120.0, 120.0)


def test_washes_by_head_loss_and_by_running_hours(emberly):
    hours = DAYS * 24
    flow = np.where(np.arange(hours) % 24 < 12, 0.009, 0.0)  # runs half of the day
    washes = [event("backwash", 24.0 * k, subject="filter_1", lasts=0.25, start_head_loss=1.5) for k in range(2, 50, 2)]
    waste = [event("filter_to_waste", 24.0 * k + 0.5, subject="filter_1", lasts=0.5) for k in range(2, 50, 2)]
    found = habit(made(emberly, np.full(hours, 3.0), flow, events=[*washes, *waste]))
    first, second = found.washes
    assert float(first.head_loss) == 1.5
    assert float(first.hours) == pytest.approx(24 * 3600, rel=0.03)
    assert float(first.to_waste) == 1800.0
    assert first.by == "head_loss"
    assert (second.head_loss, second.hours, second.washes) == (None, None, 0)
    assert "when filter 2 is backwashed" in found.unknown


def test_the_tank_starts_and_stops_the_plant(emberly):
    hours = DAYS * 24
    place = np.arange(hours) % 20
    level = np.where(place < 10, 5.0 + 0.2 * place, 7.0 - 0.2 * (place - 10))
    flow = np.where(place < 10, 0.009, 0.0)
    found = habit(made(emberly, np.full(hours, 3.0), flow, level=level))
    assert float(found.starts_below) == pytest.approx(5.0)
    assert float(found.stops_above) == pytest.approx(7.0)


def test_a_tank_that_does_not_decide_is_not_said_to(emberly):
    hours = DAYS * 24
    flow = np.where(np.arange(hours) % 24 < 12, 0.009, 0.0)
    found = habit(made(emberly, np.full(hours, 3.0), flow, level=np.full(hours, 6.0)))
    assert found.starts_below is None
    assert "at which tank level the plant is started and stopped" in found.unknown


def test_nothing_on_record_says_so(emberly):
    hours = DAYS * 24
    empty = np.full(hours, np.nan)
    found = habit(replace(made(emberly, empty, empty), mean={}, lowest={}, stream={}))
    assert found.flow is None
    assert found.doses == ()
    assert "at what flow the plant runs" in found.unknown


def test_the_demonstrations_own_rules_are_found_again(demo_folder, emberly):
    """Its operator opens the intake below 145 NTU, washes near 5 ft, and sends to waste for 20 minutes."""
    with Store.open(demo_folder, read_only=True) as store:
        records = past(store, emberly, store.span()[1])
    found = habit(records)
    assert 130 < found.opens_below <= 146.5
    assert all(4.5 < float(wash.head_loss) / 0.3048 < 6.5 for wash in found.washes)
    assert all(float(wash.to_waste) == 1200.0 for wash in found.washes)
    begins, ends = found.wash_window
    assert 5 * 3600 < begins < ends < 23 * 3600
    assert found.starts_below < found.stops_above < 22.4 * 0.3048
    doses = [float(rung.value) for rung in found.doses]
    assert doses == sorted(doses)
    assert found.flows[-1].value < found.flow


def test_nothing_after_the_instant_is_looked_at(demo_folder, emberly):
    then = datetime(2026, 3, 1, 12, tzinfo=UTC)
    with Store.open(demo_folder, read_only=True) as store:
        records = past(store, emberly, then)
    assert max(int(track.times[-1]) for track in records.stream.values()) <= then.timestamp()
    assert records.events[-1].started_at <= then
    assert int(records.hour[-1]) <= then.timestamp()

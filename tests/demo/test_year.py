"""The demo's year is one that a plant could have had: water is conserved, and what was planted is there."""

import itertools
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import numpy as np
import pytest

from weirhouse import plant as plants
from weirhouse.demo import instruments, scenario, works
from weirhouse.demo.scenario import Span
from weirhouse.records.model import Event, Series
from weirhouse.records.store import Store

FOOT = 0.3048
GALLON = 231 * 0.0254**3
GPM = GALLON / 60
DAY = timedelta(days=1)


@pytest.fixture(scope="module")
def store(demo_folder: Path) -> Iterator[Store]:
    with Store.open(demo_folder, read_only=True) as opened:
        yield opened


@pytest.fixture(scope="module")
def plant(demo_folder: Path) -> plants.Plant:
    return plants.load(demo_folder)


@pytest.fixture(scope="module")
def events(store: Store) -> list[Event]:
    return store.events()


def logger(store: Store, channel: str, span: Span | None = None) -> Series:
    start, end = (None, None) if span is None else (span.start, span.end)
    return store.values(channel, start, end, readings=False)


def quarters(store: Store, channel: str) -> Series:
    """The logger's values on the quarter-hours."""
    found = logger(store, channel)
    keep = found.times % 900 == 0
    return Series(channel=channel, times=found.times[keep], values=found.values[keep], flags=found.flags[keep])


def local_days() -> Iterator[date]:
    day = scenario.YEAR_START.date()
    while day <= scenario.YEAR_END.date():
        yield day
        day += DAY


def midnight(day: date) -> datetime:
    return datetime.combine(day, time(0), scenario.ZONE)


# --- whole


def test_every_quarter_hour_is_there_but_for_what_was_planted(store: Store) -> None:
    start, end = (int(moment.timestamp()) for moment in (scenario.YEAR_START, scenario.YEAR_END))
    every = np.arange(start, end + 1, 900)
    failed = scenario.POWER_FAILURE.start.timestamp() + instruments.BATTERY, scenario.POWER_FAILURE.end.timestamp()
    dead = scenario.TURBIDIMETER_DEAD.seconds
    expected = every[~((every >= failed[0]) & (every < failed[1]))]
    for channel in instruments.INSTRUMENTS:
        if channel not in store.channels():
            continue
        times = quarters(store, channel).times
        wanted = expected
        if channel == "combined_turbidity":
            wanted = expected[~((expected >= dead[0]) & (expected < dead[1]))]
        np.testing.assert_array_equal(times, wanted, err_msg=channel)
        assert np.isfinite(logger(store, channel).values).all(), channel


def test_local_days_are_as_long_as_the_clock_makes_them(store: Store) -> None:
    counts = {
        day: len(store.values("raw_temperature", midnight(day), midnight(day + DAY), readings=False))
        for day in local_days()
    }
    odd = {day: count for day, count in counts.items() if count != 96}
    assert odd == {
        date(2025, 11, 2): 100,  # 25 hours
        date(2026, 3, 8): 92,  # 23 hours
        date(2026, 2, 10): 96 - 12,  # the power failure
        date(2026, 10, 31): 64,  # the year ends at 15:45
    }


def test_some_channels_come_every_minute_at_the_end(store: Store) -> None:
    count = int((scenario.YEAR_END - scenario.MINUTES_FROM).total_seconds()) // 60 + 1
    fine = [name for name, one in instruments.INSTRUMENTS.items() if one.minutes]
    assert len(fine) >= 5
    for channel in fine:
        found = logger(store, channel, Span(scenario.MINUTES_FROM, scenario.YEAR_END + timedelta(seconds=1)))
        assert len(found) == count, channel
        assert (np.diff(found.times) == 60).all(), channel


def test_every_channel_of_the_plant_has_records(store: Store, plant: plants.Plant) -> None:
    assert store.channels() <= set(plant.channels)
    assert set(plant.channels) - store.channels() == set()


# --- bounds


def test_values_stay_within_what_each_channel_can_be(store: Store, plant: plants.Plant) -> None:
    zero = scenario.FILTER_1_ZERO.seconds
    for channel in plant.channels.values():
        found = logger(store, channel.id)
        values = found.values
        if channel.id == "filter_1_turbidity":
            values = values[(found.times < zero[0]) | (found.times >= zero[1])]
        if not len(values):
            continue
        if channel.low is not None:
            assert values.min() >= channel.low - 1e-9, channel.id
        if channel.high is not None:
            assert values.max() <= channel.high + 1e-9, channel.id


def test_tanks_stay_between_empty_and_full(store: Store, plant: plants.Plant) -> None:
    plant_works = works.of(plant)
    hill = logger(store, "storage_level").values
    assert hill.max() <= plant_works.tank_full + 0.03 * FOOT
    assert hill.min() > plant_works.tank_low
    clearwell = logger(store, "contact_level").values
    assert clearwell.max() <= plant_works.clearwell_full
    assert clearwell.min() > plant_works.clearwell_low
    for feed in (plant_works.coagulant, plant_works.chlorine):
        name = "coagulant" if feed is plant_works.coagulant else "chlorine"
        levels = np.array([r.value for r in store.readings(f"{name}_tank_level")], float)
        assert len(levels) > 300
        assert levels.min() > feed.low
        assert levels.max() <= feed.full + 0.2 * 0.0254


def test_filtered_water_is_low_but_for_planted_events(store: Store) -> None:
    found = logger(store, "combined_turbidity")
    restart = scenario.POWER_FAILURE.end.timestamp()
    keep = (found.times < restart) | (found.times > restart + 3600)
    assert found.values[keep].max() < 0.3
    assert np.quantile(found.values, 0.97) < 0.1


def test_residual_stays_between_its_limits(store: Store, plant: plants.Plant) -> None:
    for channel in ("contact_chlorine", "entry_chlorine"):
        values = logger(store, channel).values
        assert values.min() > 0.4, channel
        assert values.max() < 2.5, channel


def test_head_loss_stays_below_where_the_operator_ends_a_run(store: Store, plant: plants.Plant) -> None:
    terminal = works.of(plant).terminal
    for number in (1, 2):
        assert logger(store, f"filter_{number}_head_loss").values.max() < terminal


# --- conserved


def test_water_is_conserved_from_meter_to_tap(store: Store, plant: plants.Plant, events: list[Event]) -> None:
    """What was taken, less waste, backwash and blowdown, is what the village drank and what the tanks gained."""
    w = works.of(plant)
    taken = quarters(store, "plant_flow").values
    demand = quarters(store, "demand_flow").values
    outage = scenario.POWER_FAILURE
    start, end = outage.start.timestamp() + instruments.BATTERY, outage.end.timestamp()
    times = quarters(store, "demand_flow").times
    after = demand[(times > start - 4 * 3600) & (times < end + 4 * 3600)].mean()
    drunk = demand.sum() * 900 + after * (end - start)
    washes = [e for e in events if e.kind == "backwash"]
    washed = sum(float(e.values["volume"]) for e in washes)
    waste = sum(w.usual_flow / 2 * w.waste_time for e in events if e.kind == "filter_to_waste")
    hours_run = float((taken > 0).mean()) * len(taken) * 900
    gained = 0.0
    for channel, area in (("storage_level", w.tank_area), ("contact_level", w.clearwell_area)):
        levels = quarters(store, channel).values
        gained += (levels[-1] - levels[0]) * area
    produced = taken.sum() * 900
    left = produced - washed - waste - w.blowdown * hours_run - drunk - gained
    assert abs(left) < 0.01 * produced
    assert produced > 30_000  # m^3 in a year


def test_the_tank_falls_by_what_is_drawn_while_the_plant_stands(store: Store, plant: plants.Plant) -> None:
    flow, level, demand = (quarters(store, c) for c in ("plant_flow", "storage_level", "demand_flow"))
    area = works.of(plant).tank_area
    standing = np.flatnonzero((flow.values[:-1] == 0) & (np.diff(flow.times) == 900))
    fall = -(level.values[standing + 1] - level.values[standing]) * area
    drawn = demand.values[standing] * 900
    assert len(standing) > 10_000
    assert fall.sum() == pytest.approx(drawn.sum(), rel=0.01)


def test_day_tanks_fall_with_the_feed_and_rise_with_batches(store: Store, plant: plants.Plant) -> None:
    w = works.of(plant)
    for name, feeder in (("coagulant", w.coagulant), ("chlorine", w.chlorine)):
        dips = store.readings(f"{name}_tank_level")
        batches = store.events("batch", subject=name)
        assert batches
        for event in batches:
            before = max((r for r in dips if r.taken_at < event.started_at), key=lambda r: r.taken_at)
            after = min((r for r in dips if r.taken_at > event.started_at), key=lambda r: r.taken_at)
            assert before.value is not None and after.value is not None
            assert before.value == pytest.approx(float(event.values["level_before"]), abs=0.01)
            assert after.value > before.value
        times = [e.started_at for e in batches]
        for a, b in itertools.pairwise(dips):
            if not any(a.taken_at < t < b.taken_at for t in times):
                assert a.value is not None and b.value is not None
                assert b.value <= a.value + 0.25 * 0.0254  # but for reading the stick
        fed = sum(float(e.values["volume"]) for e in batches)
        fed += (float(dips[0].value or 0) - float(dips[-1].value or 0)) * feeder.area
        flow = logger(store, "plant_flow")
        at = flow.times % 900 == 0
        doses = np.array([r.value for r in store.readings(f"{name}_dose")], float)
        wanted = float(np.median(doses)) * flow.values[at].sum() * 900 / feeder.gain
        assert fed == pytest.approx(wanted, rel=0.2)


def test_pump_settings_bring_the_doses_by_the_drawdown(store: Store, plant: plants.Plant) -> None:
    w = works.of(plant)
    flow = logger(store, "plant_flow")
    washes = np.array([e.started_at.timestamp() for e in store.events("backwash")])
    for name, feeder in (("coagulant", w.coagulant), ("chlorine", w.chlorine)):
        doses = {r.taken_at: r for r in store.readings(f"{name}_dose")}
        checked = 0
        for reading in store.readings(f"{name}_setting"):
            dose = doses[reading.taken_at - timedelta(minutes=1)]
            assert dose.value is not None and reading.value is not None
            now = flow.values[np.searchsorted(flow.times, reading.taken_at.timestamp()) - 1]
            blinded = scenario.SCREEN_BLINDED.start < reading.taken_at < scenario.SCREEN_BLINDED.end
            if blinded or np.abs(washes - reading.taken_at.timestamp()).min() < 1800:
                continue  # the flow fell after the pumps were set
            rate = float(np.interp(reading.value, feeder.settings, feeder.rates))
            assert rate * feeder.gain / now == pytest.approx(dose.value, rel=0.13)
            checked += 1
        assert checked > 300


# --- the operator


def test_the_plant_starts_and_stops_in_the_operators_hours(store: Store, events: list[Event]) -> None:
    toggles = [e for e in events if e.kind in ("start", "stop")]
    assert all(a.kind != b.kind for a, b in itertools.pairwise(toggles))
    starts = [e.started_at.astimezone(scenario.ZONE) for e in toggles if e.kind == "start"]
    foretold = scenario.FORETOLD  # he runs it through the night then
    hours = np.array([s.hour + s.minute / 60 for s in starts if not foretold.start <= s < foretold.end])
    assert hours.min() >= 5
    assert hours.max() < 22.75
    assert np.median(hours) < 9
    started = {s.date() for s in starts}
    missing = [day for day in local_days() if day not in started]
    assert len(missing) <= 12  # days after a full tank
    flow = logger(store, "plant_flow")
    local = [datetime.fromtimestamp(t, UTC).astimezone(scenario.ZONE).hour for t in flow.times[::4].tolist()]
    night = np.array([2 <= h < 5 for h in local])
    assert (flow.values[::4][night] > 0).mean() < 0.02


def test_flow_agrees_with_start_and_stop(store: Store, events: list[Event]) -> None:
    flow = quarters(store, "plant_flow")
    for event in events:
        if event.kind in ("start", "stop"):
            i = int(np.searchsorted(flow.times, event.started_at.timestamp()))
            if flow.times[i] == int(event.started_at.timestamp()):
                assert (flow.values[i] > 0) == (event.kind == "start"), event


def test_rounds_are_walked_two_or_three_times_a_day(store: Store) -> None:
    days = Counter(r.taken_at.astimezone(scenario.ZONE).date() for r in store.readings("raw_ph"))
    assert set(days) == set(local_days())
    assert set(days.values()) == {2, 3}
    people = {
        r.person
        for r in store.readings("raw_ph")
        if scenario.RELIEF_WEEK.start <= r.taken_at < scenario.RELIEF_WEEK.end
    }
    assert people == {scenario.RELIEF}


def test_filters_are_washed_one_at_a_time_and_run_for_days(events: list[Event], plant: plants.Plant) -> None:
    washes = [e for e in events if e.kind == "backwash"]
    for a, b in itertools.pairwise(washes):
        assert a.ended_at is not None
        assert b.started_at - a.ended_at >= timedelta(hours=1)
    for bed in ("filter_1", "filter_2"):
        own = [e.started_at for e in washes if e.subject == bed]
        assert 80 < len(own) < 200
        assert max(b - a for a, b in itertools.pairwise(own)) < 6 * DAY
    wasted = [e.started_at for e in events if e.kind == "filter_to_waste"]
    assert len(wasted) == len(washes)
    volume = {round(float(e.values["volume"]) / GALLON) for e in washes}
    assert volume == {15 * 35 * 9}  # gpm/ft2, ft2, min


# --- planted


def test_the_power_failure_stops_everything_and_is_followed_by_a_restart(store: Store, events: list[Event]) -> None:
    span = scenario.POWER_FAILURE
    assert [e.started_at for e in events if e.kind == "power_failure"] == [span.start.astimezone(UTC)]
    during = logger(store, "plant_flow", span)
    assert len(during) == 2 and (during.values[1:] == 0).all()
    after = [e for e in events if e.kind == "start" and e.started_at >= span.end]
    assert after[0].started_at - span.end < timedelta(minutes=30)
    later = logger(store, "combined_turbidity", Span(span.end, span.end + timedelta(hours=1)))
    assert later.values.max() > 0.15


def test_the_failed_pump_stops_the_plant_for_an_hour(store: Store, events: list[Event]) -> None:
    outage = [e for e in events if e.kind == "outage"]
    assert [e.values["pump"] for e in outage] == ["pump_1"]
    during = logger(store, "plant_flow", scenario.PUMP_FAILED)
    assert (during.values == 0).sum() >= 2
    hour = logger(store, "plant_flow", Span(scenario.PUMP_FAILED.end, scenario.PUMP_FAILED.end + timedelta(hours=1)))
    assert (hour.values[1:] > 100 * GPM).all()


def test_the_blinded_screen_takes_head_and_flow(store: Store) -> None:
    span = scenario.SCREEN_BLINDED
    during = logger(store, "intake_head_loss", span)
    before = logger(store, "intake_head_loss", Span(span.start - timedelta(hours=1), span.start))
    assert during.values.max() > 0.4 * FOOT > 3 * before.values.max()
    flow = logger(store, "plant_flow", span).values
    assert flow[flow > 0].min() < 0.75 * flow.max()
    after = logger(store, "intake_head_loss", Span(span.end + timedelta(hours=1), span.end + timedelta(hours=2)))
    assert after.values.max() < 0.2 * FOOT


def test_instruments_fail_as_planted(store: Store, events: list[Event]) -> None:
    assert len(np.unique(logger(store, "raw_turbidity", scenario.RAW_STUCK).values)) == 1
    assert len(logger(store, "combined_turbidity", scenario.TURBIDIMETER_DEAD)) == 0
    assert (logger(store, "filter_1_turbidity", scenario.FILTER_1_ZERO).values == 0).all()
    grabs = store.readings("combined_turbidity", scenario.TURBIDIMETER_DEAD.start, scenario.TURBIDIMETER_DEAD.end)
    assert sum(r.note == "grab sample" for r in grabs) >= 5
    for moment, value in scenario.RAW_SPIKES:
        around = logger(store, "raw_turbidity", Span(moment - timedelta(hours=1), moment + timedelta(hours=1)))
        assert around.values.max() == value
        assert np.sort(around.values)[-2] < 0.1 * value
    faulty = {e.subject for e in events if e.kind == "instrument_fault"}
    assert faulty == {"raw_turbidity", "combined_turbidity", "entry_chlorine", "filter_1_turbidity"}


def test_the_drifting_analyser_reads_below_the_test_kit_until_it_is_mended(store: Store) -> None:
    end = scenario.CHLORINE_DRIFT.end
    kit = store.readings("entry_chlorine", end - timedelta(days=1), end)
    series = logger(store, "entry_chlorine")
    gaps = [float(r.value or 0) - float(np.interp(r.taken_at.timestamp(), series.times, series.values)) for r in kit]
    assert np.mean(gaps) > 0.25
    kit = store.readings("entry_chlorine", end + timedelta(hours=1), end + timedelta(days=1))
    gaps = [float(r.value or 0) - float(np.interp(r.taken_at.timestamp(), series.times, series.values)) for r in kit]
    assert abs(np.mean(gaps)) < 0.1


def test_storms_brown_the_creek_and_the_great_ones_shut_the_intake(store: Store, events: list[Event]) -> None:
    for storm in scenario.STORMS:
        seen = logger(store, "raw_turbidity", Span(storm.starts, storm.starts + timedelta(hours=24)))
        assert seen.values.max() > 0.8 * storm.peak, storm
        fell = logger(store, "rain", Span(storm.starts - timedelta(hours=1), storm.starts + timedelta(hours=14)))
        assert fell.values.sum() > 0.7 * storm.rain, storm
    great = [storm for storm in scenario.STORMS if storm.peak > scenario.GREAT]
    shut = [e.started_at for e in events if e.kind == "intake_shut"]
    opened = [e.started_at for e in events if e.kind == "intake_open"]
    assert len(shut) == len(opened) == len(great) == 3
    for a, b, storm in zip(shut, opened, great, strict=True):
        assert storm.starts < a < b < storm.starts + timedelta(hours=24)
        assert (logger(store, "plant_flow", Span(a, b)).values == 0).all()
        seen = logger(store, "raw_turbidity", Span(a, b))
        assert seen.values.max() > scenario.GREAT


def test_the_frost_is_hard(store: Store) -> None:
    span = Span(scenario.FROST[0] + DAY, scenario.FROST[1] - DAY)
    assert logger(store, "air_temperature", span).values.mean() < -10
    assert logger(store, "raw_temperature", span).values.max() < 1.0


def test_the_laboratory_reports_what_it_did_not_find(store: Store) -> None:
    coliform = store.readings("coliform")
    assert len(coliform) == 12
    assert {(r.qualifier, r.value) for r in coliform} == {("ND", 0.0)}
    acids = store.readings("haa5")
    assert {"<", ""} == {r.qualifier for r in acids}
    assert all(r.text.startswith("<") == (r.qualifier == "<") for r in acids)
    carbon = store.readings("toc")
    assert len(carbon) == 12
    assert all(r.value is not None and 1 < r.value < 6 for r in carbon)


# --- the last moment


def test_the_year_ends_with_something_to_do(store: Store, plant: plants.Plant, events: list[Event]) -> None:
    w = works.of(plant)
    end = scenario.YEAR_END

    def now(channel: str) -> float:
        found = store.latest(channel, end)
        assert found is not None and found.value is not None
        limit = plant.channels[channel].stale_after
        assert limit is None or (end - found.time).total_seconds() <= limit, channel
        return found.value

    for channel in plant.channels:
        if plant.channels[channel].stale_after is not None and plant.channels[channel].stale_after < 27 * 3600:
            now(channel)
    assert now("plant_flow") > 100 * GPM
    assert 5 < now("raw_turbidity") < 20  # the recession of a small storm
    peak = logger(store, "raw_turbidity", Span(end - DAY, end)).values.max()
    assert peak > 2 * now("raw_turbidity")
    assert 0.3 * FOOT < w.terminal - now("filter_2_head_loss") < 1.2 * FOOT
    assert now("filter_1_head_loss") < now("filter_2_head_loss")
    assert now("chlorine_tank_level") < 0.4 * w.chlorine.full
    assert w.tank_low < now("storage_level") < 22 * FOOT  # the float switch stops at 22.3
    assert not [e for e in events if e.kind == "instrument_fault" and (e.ended_at is None or e.ended_at > end)]
    assert max(e.started_at for e in events) <= end

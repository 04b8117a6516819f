"""What stands in Emberly's day log? What was done and what happened, told by the person on duty."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta

from weirhouse.demo import scenario
from weirhouse.demo.clock import Clock
from weirhouse.demo.creek import Creek, greatest
from weirhouse.demo.names import name
from weirhouse.demo.scenario import hours, local
from weirhouse.demo.tanks import Batch
from weirhouse.demo.train import Course
from weirhouse.demo.works import Feeder, Works
from weirhouse.records.model import Event

DRUM = 0.208  # [m^3]
DRUMS = {"coagulant": 4, "chlorine": 2}  # in a delivery; hypochlorite fades in store


def events(
    works: Works, clock: Clock, creek: Creek, course: Course, batches: Mapping[str, Sequence[Batch]]
) -> list[Event]:
    """Return the year's events in order of time."""
    found = [_event("note", scenario.YEAR_START, note=scenario.DEMO_NOTE, person="Weirhouse demo")]
    for deed in course.deeds:
        until = None if deed.until is None else _moment(deed.until)
        found.append(
            _event(deed.kind, _moment(deed.at), until, subject=deed.subject, values=deed.values, note=deed.note)
        )
    for shut, opened in course.shut:
        found.append(_event("intake_shut", _moment(clock.times[shut]), note="creek too dirty to take"))
        found.append(_event("intake_open", _moment(clock.times[opened]), note="creek falling"))
    found += [*_failures(), *_instruments(), *_upkeep(), *_storms(creek)]
    feeders = {"coagulant": works.coagulant, "chlorine": works.chlorine}
    for feed, some in batches.items():
        found += _chemicals(feed, feeders[feed], clock, some)
    return sorted(found, key=lambda event: (event.started_at, event.kind, event.id))


def _event(
    kind: str, at: datetime, until: datetime | None = None, *, subject: str = "",
    values: Mapping[str, float | str] | None = None, note: str = "", person: str = "",
) -> Event:  # fmt: skip
    at = at.astimezone(UTC)
    return Event(
        kind=kind, started_at=at, ended_at=until.astimezone(UTC) if until else None, subject=subject,
        values=dict(values or {}), person=person or scenario.operator_on(at), note=note,
        id=name("event", kind, subject, at.isoformat(), note),
    )  # fmt: skip


def _moment(epoch: float) -> datetime:
    return datetime.fromtimestamp(int(epoch), UTC)


def _failures() -> Iterator[Event]:
    screen, power, pump = scenario.SCREEN_BLINDED, scenario.POWER_FAILURE, scenario.PUMP_FAILED
    yield _event(
        "maintenance", screen.end - timedelta(minutes=20), screen.end, subject="intake",
        note="screen blinded by leaves, flow down by a third; raked clean",
    )  # fmt: skip
    yield _event("power_failure", power.start, power.end, note="line down in ice; logger on battery for half an hour")
    yield _event(
        "outage", pump.start, pump.end, subject="raw_pumps", values={"pump": "pump_1"},
        note="pump 1 tripped on overload, motor hot; pump 2 put in service",
    )  # fmt: skip
    yield _event(
        "maintenance", scenario.PUMP_REPAIRED, scenario.PUMP_REPAIRED + hours(2), subject="raw_pumps",
        values={"pump": "pump_1"}, note="bearings of pump 1 renewed; back in service",
    )  # fmt: skip


def _instruments() -> Iterator[Event]:
    def fault(channel: str, span: scenario.Span, seen_after: float, note: str) -> Event:
        return _event("instrument_fault", span.start + hours(seen_after), span.end, subject=channel, note=note)

    yield fault("raw_turbidity", scenario.RAW_STUCK, 18.4, "stands still; wiper jammed. Cleaned and started again")
    yield fault(
        "combined_turbidity", scenario.TURBIDIMETER_DEAD, 0.1,
        "lamp dead, no signal; grab samples every four hours of running until the new lamp came",
    )  # fmt: skip
    yield fault(
        "entry_chlorine", scenario.CHLORINE_DRIFT, 105.5, "reads below the test kit; membrane fouled. Renewed and set"
    )
    yield fault(
        "filter_1_turbidity", scenario.FILTER_1_ZERO, 4.3, "reads zero: sample valve left shut after cleaning. Opened"
    )
    for moment, value in scenario.RAW_SPIKES:
        yield _event(
            "note", moment + hours(6), note=f"raw turbidity jumped to {value:.0f} NTU and back: air in the line"
        )


def _upkeep() -> Iterator[Event]:
    yield _event(
        "maintenance", scenario.DRAWDOWN, scenario.DRAWDOWN + hours(1.5), subject="coagulant",
        note="drawdown of both feed pumps, as a check: the points of October in the plant file still hold",
    )  # fmt: skip
    relief = scenario.RELIEF_WEEK
    yield _event(
        "note", relief.start - hours(8), note="Handed over to M. Okafor for the week: plant walked, keys given"
    )
    yield _event("note", relief.end + hours(7), note="Back on duty. Quiet week; doses were changed seldom")
    frost = scenario.FROST
    yield _event(
        "note", frost[0] - hours(3), note="Hard frost forecast: heater on at the meter pit, sample lines running"
    )
    yield _event("note", frost[0] + hours(62), note="Ice on the intake pool; broken by hand, screen free")
    yield _event("note", frost[1] + hours(3), note="Thaw. No pipe lost")


def _storms(creek: Creek) -> Iterator[Event]:
    for storm in greatest(creek.storms):
        depth = storm.rain * 1000
        yield _event(
            "note", storm.starts + hours(1.2), note=f"Heavy rain since {_clock(storm.starts)}; {depth:.0f} mm foretold"
        )
    yield _event("note", scenario.FORETOLD.start, note="Tropical storm foretold for tomorrow: tank kept full overnight")
    yield _event(
        "note", local("2026-10-30 19:30"), note="Rain; plant stopped early, the creek may come up in the night"
    )


def _clock(moment: datetime) -> str:
    return moment.astimezone(scenario.ZONE).strftime("%H:%M")


def _chemicals(feed: str, feeder: Feeder, clock: Clock, batches: Sequence[Batch]) -> Iterator[Event]:
    """Yield the batches of a day tank, and a delivery of drums whenever stock runs low."""
    stock, lot = 3 * DRUM, 1
    share = 0.25 if feed == "chlorine" else 1.0  # of the product in what fills the tank
    for batch in batches:
        at = _moment(clock.times[batch.index]) + timedelta(minutes=25)
        volume = (batch.after - batch.before) * feeder.area
        product = volume * share
        if stock < product + 0.5 * DRUM:
            stock, lot = stock + DRUMS[feed] * DRUM, lot + 1
            came = (at.astimezone(scenario.ZONE) - timedelta(days=1)).replace(hour=13, minute=10)
            yield _event(
                "delivery", came, subject=feed,
                values={"volume": round(DRUMS[feed] * DRUM, 3), "lot": f"E{lot:03d}"},
                note=f"{DRUMS[feed]} drums; certificate and seals checked",
            )  # fmt: skip
        stock -= product
        yield _event(
            "batch", at, subject=feed,
            values={
                "volume": round(volume, 4), "product": round(product, 4), "level_before": round(batch.before, 3),
                "level_after": round(batch.after, 3), "lot": f"E{lot:03d}",
            },
            note="day tank filled",
        )  # fmt: skip

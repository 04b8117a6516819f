"""How does it stand? Only by what was known then, with every doubt named, on the plant's own clock."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from tests.desk.scene import NOW, PLANT_FILE, Scene

from weirhouse.desk.today import today
from weirhouse.desk.today_json import today_json
from weirhouse.records.model import Event, Reading
from weirhouse.situation import at, between
from weirhouse.situation.model import Situation

FEW = ("plant_flow", "raw_turbidity", "combined_turbidity", "coagulant_dose")


def event(kind: str, started: datetime, ended: datetime | None = None, subject: str = "") -> Event:
    return Event(
        kind=kind, started_at=started, ended_at=ended, subject=subject, person="A. Operator",
        id=f"{kind}-{started.isoformat()}",
    )  # fmt: skip


def standing(scene: Scene, when: datetime | None = None) -> Situation:
    with scene.build() as store:
        return at(store, scene.plant, when or scene.now)


@pytest.fixture
def scene(tmp_path: Path) -> Scene:
    return Scene(tmp_path / "plant").quiet(FEW)


# --- only what was known then


def test_nothing_after_the_instant_is_used(tmp_path):
    """The same answer from the whole records as from those that end at the instant."""
    then = NOW - timedelta(hours=31, minutes=10)
    whole = Scene(tmp_path / "whole").quiet()
    whole.each("raw_turbidity", lambda r: r.value if r.taken_at <= then else 40 * r.value)
    whole.events.append(event("intake_shut", then + timedelta(minutes=1)))
    whole.events.append(event("instrument_fault", then + timedelta(hours=2), subject="raw_turbidity"))
    cut = Scene(tmp_path / "cut")
    cut.readings = {id: [r for r in rs if r.taken_at <= then] for id, rs in whole.readings.items()}
    cut.events = [e for e in whole.events if e.started_at <= then]
    assert len(cut.events) < len(whole.events)
    with whole.build() as store:
        full, later = (today_json(today(at(store, whole.plant, moment)), "US") for moment in (then, NOW))
    assert full == today_json(today(standing(cut, then)), "US")
    assert full["advice"] != later["advice"]


def test_what_was_taken_at_the_very_instant_counts(scene):
    moment = NOW - timedelta(hours=2)
    assert standing(scene, moment).value("raw_turbidity").age_s == 0.0


def test_before_the_first_record_everything_is_missing(scene):
    found = standing(scene, NOW - timedelta(days=30))
    assert {v.state for v in found.values.values()} == {"missing"}
    assert found.running.state == "unknown"
    assert today(found).order_state == "unknown"


# --- doubt


def test_a_value_is_stale_when_it_is_older_than_the_plant_file_says(scene):
    """The plant file gives raw turbidity 2 h."""
    with scene.build() as store:
        assert at(store, scene.plant, NOW + timedelta(hours=2)).value("raw_turbidity").state == "fresh"
        late = at(store, scene.plant, NOW + timedelta(hours=2, seconds=1)).value("raw_turbidity")
    assert late.state == "stale" and late.usable is None and late.known is not None
    assert late.why == "last reading 2 h old, stale after 2 h"


def test_a_doubtful_newest_value_is_shown_and_no_older_one_takes_its_place(scene):
    value = standing(scene.newest("raw_turbidity", "77 NTU", flag="doubtful")).value("raw_turbidity")
    assert value.state == "flagged" and value.usable is None
    assert float(value.known) == pytest.approx(77)


@pytest.mark.parametrize(
    ("text", "says"), [("-3 NTU", "below what this can be"), ("9000 NTU", "above what this can be")]
)
def test_a_value_that_cannot_be_is_flagged(scene, text, says):
    value = standing(scene.newest("raw_turbidity", text)).value("raw_turbidity")
    assert value.state == "flagged" and says in value.why


def test_a_stuck_reading_is_flagged(scene):
    since = NOW - timedelta(hours=20)
    scene.each("raw_turbidity", lambda r: 5.0 if r.taken_at >= since else r.value)
    value = standing(scene).value("raw_turbidity")
    assert value.state == "flagged" and value.usable is None and value.why


def test_a_dose_may_stay_the_same_for_days(scene):
    scene.each("coagulant_dose", lambda r: 15.0)
    assert standing(scene).value("coagulant_dose").state == "fresh"


def test_less_than_and_not_detected_stay_what_they_are(scene):
    last = scene.readings["combined_turbidity"][-1]
    scene.readings["combined_turbidity"][-1] = replace(last, value=0.02, qualifier="<")
    value = standing(scene).value("combined_turbidity")
    assert value.state == "fresh" and value.qualifier == "<"
    scene.folder = scene.folder.with_name("other")
    scene.folder.mkdir()
    scene.readings["combined_turbidity"][-1] = replace(last, value=None, qualifier="ND")
    value = standing(scene).value("combined_turbidity")
    assert value.state == "flagged" and value.known is None and "not detected" in value.why


def test_a_withdrawn_reading_does_not_count(scene):
    with scene.build() as store:
        last = scene.readings["raw_turbidity"][-1]
        store.correct(last.id, None, person="A. Operator", reason="wrong bottle", entered_at=NOW)
        value = at(store, scene.plant, NOW).value("raw_turbidity")
    assert value.age_s == 1800.0


def test_an_open_instrument_fault_is_told_until_it_is_closed(scene):
    scene.events += [
        event("instrument_fault", NOW - timedelta(hours=9), NOW - timedelta(hours=8), "raw_turbidity"),
        event("instrument_fault", NOW - timedelta(hours=3), None, "combined_turbidity"),
    ]
    faults = [odd for odd in standing(scene).odd if odd.kind == "instrument_fault"]
    assert [odd.channel for odd in faults] == ["combined_turbidity"]


def test_a_faulty_instrument_is_not_believed_but_a_hand_reading_is(scene):
    began = NOW - timedelta(hours=1, minutes=10)
    scene.events.append(event("instrument_fault", began, None, "raw_turbidity"))
    by_device = [replace(r, person="", device="turbidimeter") for r in scene.readings["raw_turbidity"]]
    by_hand, scene.readings["raw_turbidity"] = scene.readings["raw_turbidity"][-1], by_device
    with scene.build() as store:
        value = at(store, scene.plant, NOW).value("raw_turbidity")
        assert value.state == "flagged"
        assert value.why == "by the day log its instrument has been faulty since 12:50"
        assert at(store, scene.plant, began - timedelta(minutes=1)).value("raw_turbidity").state == "fresh"
        grab = replace(by_hand, id="grab", taken_at=NOW + timedelta(minutes=1))
        store.add_readings([grab], entered_at=NOW)
        assert at(store, scene.plant, NOW + timedelta(minutes=2)).value("raw_turbidity").state == "fresh"


# --- does it run


def test_the_meter_tells_whether_it_runs(scene):
    found = standing(scene)
    assert found.running.state == "running"
    assert found.running.hours_today == pytest.approx(8 * 3600, abs=1800)  # since 06:00 on its clock
    night = standing(Scene(scene.folder.with_name("night")).quiet(FEW), NOW - timedelta(hours=12))
    assert night.running.state == "standing"


def test_a_stop_in_the_day_log_goes_before_an_older_flow(scene):
    scene.events.append(event("stop", NOW + timedelta(minutes=5)))
    with scene.build() as store:
        assert at(store, scene.plant, NOW + timedelta(minutes=4)).running.state == "running"
        later = at(store, scene.plant, NOW + timedelta(minutes=10))
    assert later.running.state == "standing" and later.running.why == "stop entered in the day log"


def test_an_intake_stays_shut_until_it_is_opened(scene):
    scene.events.append(event("intake_shut", NOW - timedelta(hours=5)))
    with scene.build() as store:
        assert not at(store, scene.plant, NOW).running.intake_open
        store.add_events([event("intake_open", NOW - timedelta(hours=1))], entered_at=NOW)
        assert at(store, scene.plant, NOW).running.intake_open
        assert not at(store, scene.plant, NOW - timedelta(hours=2)).running.intake_open


# --- clock changes


@pytest.mark.parametrize(
    ("day", "hours"), [(datetime(2026, 3, 8, 22, tzinfo=UTC), 23), (datetime(2026, 11, 1, 22, tzinfo=UTC), 25)]
)
def test_a_day_of_a_clock_change_is_23_or_25_hours_long(tmp_path, day, hours):
    """Time is counted in UTC, days on the plant's clock: running without a stop from midnight to 17:00 or 18:00."""
    scene = Scene(tmp_path / "plant", now=day)
    scene.running = lambda at: True  # type: ignore[method-assign]
    found = standing(scene.quiet(("plant_flow", "raw_turbidity")))
    local = day.astimezone(scene.plant.zone)
    on_the_clock = local.hour
    ran = on_the_clock + (hours - 24)
    assert found.running.hours_today == pytest.approx(ran * 3600, abs=1)


def test_a_run_over_the_change_is_as_long_as_it_was(tmp_path):
    scene = Scene(tmp_path / "plant", now=datetime(2026, 11, 2, 18, tzinfo=UTC))
    scene.running = lambda at: True  # type: ignore[method-assign]
    run = standing(scene.quiet(("plant_flow", "filter_1_flow"))).runs["filter_1"]
    assert run.filtering == pytest.approx(30 * 3600, rel=0.01)  # washed 30 h ago, whatever the clock did


# --- plants of another kind


def changed(tmp_path: Path, *changes: tuple[str, str]) -> Scene:
    text = PLANT_FILE.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return Scene(tmp_path / "plant", plant_text=text)


def without_table(text: str, head: str) -> str:
    """Return a plant file without one table, up to the next."""
    begin = text.index(head)
    end = text.find("\n[", begin + 1)
    return text[:begin] + (text[end + 1 :] if end >= 0 else "")


def test_a_plant_without_settled_turbidity_has_its_day(tmp_path):
    text = without_table(PLANT_FILE.read_text(encoding="utf-8"), "[channel.settled_turbidity]")
    scene = Scene(tmp_path / "plant", plant_text=text).quiet()
    found = today(standing(scene))
    assert found.order_state != "unknown"
    assert all(line.state != "unknown" for line in found.advice)


def test_a_plant_with_one_filter_and_few_instruments_has_its_day(tmp_path):
    text = PLANT_FILE.read_text(encoding="utf-8")
    for name in (
        "filter_2_turbidity",
        "filter_2_head_loss",
        "filter_2_flow",
        "filter_1_flow",
        "intake_head_loss",
        "rain",
    ):
        text = without_table(text, f"[channel.{name}]")
    second = text.index("[[train.filter]]", text.index("[[train.filter]]") + 1)
    end = text.index("[[train]]", second)
    scene = Scene(tmp_path / "plant", plant_text=text[:second] + text[end:]).quiet()
    assert [f.id for f in scene.plant.filters] == ["filter_1"]
    situation = standing(scene)
    assert situation.runs["filter_1"].volume == pytest.approx(140 * 0.0000630902 * 20 * 3600, rel=0.03)
    found = today(situation)
    assert {line.id for line in found.advice if line.id.startswith("run_")} == {"run_filter_1"}
    assert all(line.state != "unknown" for line in found.advice)


def test_an_empty_plant_says_what_to_do(tmp_path):
    found = today(standing(Scene(tmp_path / "plant")))
    assert found.order_state == "unknown"
    assert found.notes == ("Nothing is on record yet: enter a reading in the day log, or import a file.",)
    assert all(line.value is None for line in found.advice)


# --- a stretch


def test_a_stretch_holds_its_tracks_and_what_was_in_force(scene):
    a, b = NOW - timedelta(hours=30), NOW - timedelta(hours=6)
    scene.events += [
        event("outage", a - timedelta(hours=1), a + timedelta(hours=1)),
        event("outage", a - timedelta(hours=3), a - timedelta(hours=2)),
        event("note", b),
    ]
    with scene.build() as store:
        found = between(store, scene.plant, a, b)
    flow = found.tracks["plant_flow"]
    assert flow.times[0] == a.timestamp() and flow.times[-1] == b.timestamp() - 1800
    assert np.all(np.diff(flow.times) > 0)
    assert found.before["raw_turbidity"].taken_at == a
    starts = {e.started_at for e in found.events if e.kind in ("outage", "note")}
    assert starts == {a - timedelta(hours=1)}


def test_a_reading_of_a_channel_unknown_to_the_plant_changes_nothing(scene):
    with scene.build() as store:
        before = today_json(today(at(store, scene.plant, NOW)), "US")
        store.add_readings(
            [Reading(channel="nonsense", value=1.0, taken_at=NOW, unit="NTU", text="1", person="A. Operator")],
            entered_at=NOW,
        )
        assert today_json(today(at(store, scene.plant, NOW)), "US") == before

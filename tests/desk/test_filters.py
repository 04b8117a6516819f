"""Filter runs: figures and hours by hand, triggers, what is missing."""

from datetime import timedelta
from pathlib import Path

import pytest
from tests.desk.scene import NOW, PLANT_FILE, Scene

from weirhouse.desk.filters import filters, head_loss_of
from weirhouse.desk.model import Advice
from weirhouse.plant import load
from weirhouse.records.model import Event
from weirhouse.records.store import Store
from weirhouse.situation.at import at

FOOT, GPM = 0.3048, 231 * 0.0254**3 / 60
AREA = 35 * FOOT**2  # 7 ft x 5 ft


# What the lines stand on: the rest of the week's records is left out, which makes the scenes quick to write.
CHANNELS = (
    "plant_flow", "combined_turbidity", "filter_1_turbidity", "filter_1_head_loss", "filter_1_flow",
    "filter_2_turbidity", "filter_2_head_loss", "filter_2_flow",
)  # fmt: skip


def lines(scene: Scene) -> dict[str, Advice]:
    with scene.build() as store:
        return {line.id: line for line in filters(at(store, scene.plant, scene.now))}


def figures(line: Advice) -> dict[str, float | None]:
    return {f.title: f.value for f in line.figures}


@pytest.fixture
def scene(tmp_path: Path) -> Scene:
    return Scene(tmp_path / "plant").quiet(CHANNELS)


def wash(filter_id: str, ago: timedelta) -> Event:
    """Return a backwash that took 20 minutes and ended some time ago."""
    end = NOW - ago
    begin = end - timedelta(minutes=20)
    return Event(
        kind="backwash", started_at=begin, ended_at=end, subject=filter_id, values={}, person="A. Operator", note="",
        id=f"wash-{filter_id}-{end:%d%H}",
    )  # fmt: skip


def steeper(scene: Scene, filter_id: str, times: float) -> Scene:
    """Let the head loss of a filter climb `times` as fast from its 1.5 ft."""
    return scene.each(f"{filter_id}_head_loss", lambda r: 1.5 * FOOT + times * (r.value - 1.5 * FOOT))


def test_a_quiet_run_by_hand(scene):
    """Washed at 08:00 yesterday, run from 06:00 to 20:00: 12 h yesterday and 8 h today at 70 gpm."""
    line = lines(scene)["run_filter_1"]
    found = figures(line)
    assert found["Rate"] == pytest.approx(70 * GPM / AREA, rel=0.01)
    assert found["Filtering time since the backwash"] == pytest.approx(20 * 3600, rel=0.03)
    assert found["Filtered since the backwash"] == pytest.approx(70 * GPM * 20 * 3600, rel=0.03)
    assert found["Filtered on each unit of area"] == pytest.approx(70 * GPM * 20 * 3600 / AREA, rel=0.03)
    assert found["Head loss"] == pytest.approx(2.5 * FOOT, rel=0.02)
    assert found["Filtered turbidity"] == pytest.approx(0.04, rel=0.01)
    # 72 h allowed: 52 h of filtering left are 6 h today, 14 h on each of three days, and 4 h from 06:00 on Sunday
    assert line.state == "steady" and line.value == pytest.approx(92 * 3600, rel=0.01)
    assert line.action == "Filter 1 will need a backwash about Sunday 10:00."
    assert line.because == "First limit: longest run."
    assert line.working is not None and "Unit filter run volume" in line.working.text("US")


def test_head_loss_decides_when_it_climbs_faster(scene):
    """0.2 ft for each hour: 5.5 ft now, 7.5 h of filtering to 7 ft: 6 h today and 1.5 h from 06:00 tomorrow."""
    line = lines(steeper(scene, "filter_1", 4))["run_filter_1"]
    assert line.because == "First limit: head loss."
    assert line.value == pytest.approx(17.5 * 3600, abs=1800)
    assert line.state == "steady" and "about tomorrow 07:" in line.action and "(from " in line.action
    assert figures(line)["Until its limit: head loss"] == pytest.approx(7.5 * 3600, abs=1800)


def test_a_backwash_within_twelve_hours_is_soon(scene):
    """0.25 ft for each hour: 6.5 ft now, 2 h to 7 ft."""
    line = lines(steeper(scene, "filter_1", 5))["run_filter_1"]
    assert line.state == "soon" and line.value == pytest.approx(2 * 3600, abs=1800)
    assert line.action.startswith("Backwash Filter 1 about ") and "Lock out" in line.caution


def test_a_limit_that_is_reached_says_now(scene):
    line = lines(steeper(scene, "filter_1", 6))["run_filter_1"]
    assert (line.state, line.value, line.action) == ("do_now", 0.0, "Backwash Filter 1 now.")
    assert line.because.startswith("Head loss is 7.")
    assert next(f for f in line.figures if f.title == "Head loss").within is False


def test_turbidity_at_its_trigger_says_now(scene):
    scene.each("filter_2_turbidity", lambda r: r.value if r.taken_at < NOW - timedelta(hours=3) else 5 * r.value)
    line = lines(scene)["run_filter_2"]
    assert line.state == "do_now" and "Filtered turbidity is 0.25" in line.because


def test_a_drift_of_turbidity_decides(scene):
    """0.01 NTU more for each hour of the last six: 0.11 NTU now, 9 h to 0.2 NTU, 6 of them today, 3 from 06:00."""

    def drift(reading):
        hours = 6 - (NOW - reading.taken_at).total_seconds() / 3600
        return reading.value + 0.01 * max(0.0, hours)

    line = lines(scene.each("filter_2_turbidity", drift))["run_filter_2"]
    assert line.because == "First limit: turbidity."
    assert line.value == pytest.approx(19 * 3600, abs=3600)


def test_a_long_run_is_over(scene):
    scene.events[0] = wash("filter_1", timedelta(days=6))
    line = lines(scene)["run_filter_1"]
    assert line.state == "do_now" and "the longest is 72" in line.because


@pytest.mark.parametrize(("channel", "spoil"), [("turbidity", "missing"), ("head_loss", "flagged"), ("flow", "stale")])
def test_a_doubtful_reading_gives_no_hour(scene, channel, spoil):
    channel = f"filter_1_{channel}"
    spoilt = {
        "stale": lambda: scene.stale(channel, 3.0),
        "flagged": lambda: scene.newest(channel, flag="doubtful"),
        "missing": lambda: scene.without(channel),
    }
    spoilt[spoil]()
    found = lines(scene)
    line = found["run_filter_1"]
    assert line.state == "unknown" and line.value is None and line.check
    assert channel in line.depends
    assert found["run_filter_2"].state == "steady", "the other filter does not hang on it"


def test_a_filter_without_a_meter_has_its_share_of_the_plants_flow(scene):
    line = lines(scene.without("filter_1_flow"))["run_filter_1"]
    assert "plant_flow" in line.depends
    assert figures(line)["Rate"] == pytest.approx(70 * GPM / AREA, rel=0.01)


def test_without_a_backwash_on_record_nothing_is_said(scene):
    scene.events.clear()
    line = lines(scene)["run_filter_1"]
    assert line.state == "unknown"
    assert line.check == "Enter in the day log when Filter 1 was last washed: nothing is on record."
    assert figures(line)["Filtered since the backwash"] is None


def test_a_doubt_does_not_hide_a_limit_that_is_reached(scene):
    line = lines(steeper(scene, "filter_1", 6).stale("filter_1_turbidity", 3.0))["run_filter_1"]
    assert line.state == "unknown" and "A backwash is due whatever the rest says." in line.because


def test_a_young_run_is_judged_by_the_runs_before_it(scene):
    """Washed an hour ago; the run before lasted 53 h on the clock: 52 h are left."""
    scene.events.append(wash("filter_2", timedelta(hours=1)))
    line = lines(scene)["run_filter_2"]
    assert line.because == "First limit: past runs of this filter lasted 53 h."
    assert line.value == pytest.approx((52 + 40 / 60 - 1) * 3600, abs=60)
    assert "too young" in line.confidence


def test_a_standing_plant_washes_before_it_starts(tmp_path):
    """At 22:00 the plant stands since 20:00; head loss was beyond its limit when it stopped."""
    scene = Scene(tmp_path / "plant", now=NOW + timedelta(hours=8)).quiet(CHANNELS)
    line = lines(steeper(scene, "filter_1", 7))["run_filter_1"]
    assert line.action == "Backwash Filter 1 before you start it."


def test_the_head_loss_of_a_standing_filter_is_its_last_while_filtering(tmp_path):
    """The gauge falls to nothing when the plant stops; the run goes on from where it was at 20:00."""
    scene = Scene(tmp_path / "plant", now=NOW + timedelta(hours=8)).quiet(CHANNELS)
    steeper(scene, "filter_1", 4)  # 0.2 ft/h from 16:00 yesterday to 19:30 today: 5.0 ft, 10 h to 7 ft from 06:00 on
    scene.each("filter_1_head_loss", lambda r: r.value if scene.running(r.taken_at) else 0.004 * r.value)
    line = lines(scene)["run_filter_1"]
    assert figures(line)["Until its limit: head loss"] == pytest.approx(10 * 3600, abs=2700)
    assert line.value == pytest.approx((8 + 10) * 3600, abs=2700)


def test_no_limit_in_the_plant_file_and_no_rise(tmp_path):
    text = PLANT_FILE.read_text(encoding="utf-8").replace('max_run = "72 h"', "")
    scene = Scene(tmp_path / "plant", plant_text=text).quiet(CHANNELS)
    scene.each("filter_1_head_loss", lambda r: 4 * FOOT - r.value)
    line = lines(scene)["run_filter_1"]
    assert line.state == "steady" and line.value is None and "is in sight" in line.action


def test_the_band_holds_most_runs_of_the_demonstration_year(demo_folder):
    """Halfway through every 20th run: does the band hold the filtering time to the head loss it ended with?

    Over every third run, at three points each, it held 81 of 100; a small sample scatters around that.
    """
    plant = load(demo_folder)
    held = []
    with Store.open(demo_folder, read_only=True) as store:
        span = store.span()
        assert span[1] is not None
        past = at(store, plant, span[1]).past_runs
        for one in past[::20]:
            end = one.ended_at - timedelta(minutes=20)
            then = at(store, plant, end)
            now = at(store, plant, one.started_at + (end - one.started_at) / 2)
            last, run = then.runs[one.filter], now.runs[one.filter]
            reached, loss, slope = head_loss_of(then, last), head_loss_of(now, run), run.head_loss_slope
            if not (reached and loss and slope and slope.low > 0 and last.filtering and run.filtering):
                continue
            took = last.filtering - run.filtering
            held.append((reached - loss) / slope.high <= took <= (reached - loss) / slope.low)
    assert len(held) >= 10
    assert 0.6 <= sum(held) / len(held) <= 0.98

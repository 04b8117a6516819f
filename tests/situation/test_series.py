"""Sums, slopes, passages and counts by hand, and against another library's gamma distribution."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import gammainc

from weirhouse.situation.feeds import past_doses, similar_doses
from weirhouse.situation.gather import Hours
from weirhouse.situation.model import Track
from weirhouse.situation.running import running_by_hour, usual_flow
from weirhouse.situation.series import filtering_clock, fit_line, sum_flow
from weirhouse.situation.trends import trends
from weirhouse.situation.volumes import Ahead, raw_at

ZONE = ZoneInfo("America/New_York")
NOW = datetime(2026, 6, 17, 18, 0, tzinfo=UTC)


def track(channel: str, times: np.ndarray, values: np.ndarray, flags: np.ndarray | None = None) -> Track:
    marks = np.zeros(len(times), np.uint8) if flags is None else flags.astype(np.uint8)
    return Track(channel=channel, times=times.astype(np.int64), values=values.astype(float), flags=marks)


def hours(start: datetime, values: list[float], n: int = 4) -> Hours:
    """Return roll-ups of `n` equal values in each hour."""
    v = np.array(values, dtype=float)
    keep = np.isfinite(v)
    begin = int(start.timestamp()) + 3600 * np.arange(len(v))
    return Hours(begin[keep], np.full(keep.sum(), n), v[keep], v[keep], n * v[keep], v[keep])


# --- which water is where


@pytest.mark.parametrize("tanks", [1.0, 2.0, 4.0, 9.5, None])
@pytest.mark.parametrize("ago_volumes", [0.3, 0.8, 1.0, 1.6])
def test_a_step_at_the_stream_arrives_as_the_tanks_pass_it(tanks, ago_volumes):
    """n stirred tanks in a row after a step: the incomplete gamma function (SciPy), here of the volume since it."""
    flow, volume = 0.01, 120.0
    times = np.arange((NOW - timedelta(hours=30)).timestamp(), NOW.timestamp() + 1, 300)
    since = NOW.timestamp() - ago_volumes * volume / flow
    raw = track("raw_turbidity", times, np.where(times >= since, 105.0, 5.0))
    found = raw_at(
        track("plant_flow", times, np.full(len(times), flow)), raw, "Raw", Ahead(volume, tanks, ()), NOW, ZONE
    )
    arrived = float(gammainc(tanks, tanks * ago_volumes)) if tanks else float(ago_volumes >= 1.0)
    assert found == pytest.approx(5 + 100 * arrived, abs=2.0)


def test_water_stands_still_while_the_plant_does():
    """Ten hours of standing in between change nothing but the clock."""
    ran = np.arange(0, 8 * 3600, 300)
    before, after = ran[ran < 4 * 3600], ran[ran >= 4 * 3600] + 36000
    still = np.arange(4 * 3600, 4 * 3600 + 36000, 300)
    end = NOW.timestamp() - (8 * 3600 + 36000)
    times = np.concatenate([before, still, after]) + end
    flows = np.concatenate([np.full(len(before), 0.01), np.zeros(len(still)), np.full(len(after), 0.01)])
    raws = np.concatenate([np.full(len(before), 50.0), np.full(len(still), 900.0), np.full(len(after), 5.0)])
    ahead = Ahead(160.0, None, ())  # 144 m3 came in since the standstill
    assert raw_at(track("f", times, flows), track("r", times, raws), "Raw", ahead, NOW, ZONE) == 50.0
    ahead = Ahead(130.0, None, ())
    assert raw_at(track("f", times, flows), track("r", times, raws), "Raw", ahead, NOW, ZONE) == 5.0


def test_nothing_is_said_of_water_from_before_the_record():
    times = np.arange((NOW - timedelta(hours=1)).timestamp(), NOW.timestamp() + 1, 300)
    flow = track("plant_flow", times, np.full(len(times), 0.01))  # 36 m3 in an hour
    raw = track("raw_turbidity", times, np.full(len(times), 5.0))
    assert raw_at(flow, raw, "Raw", Ahead(100.0, 4.0, ()), NOW, ZONE) is None
    assert raw_at(flow, raw, "Raw", Ahead(10.0, 4.0, ()), NOW, ZONE) == pytest.approx(5.0)
    assert raw_at(flow, track("r", times[:0], times[:0]), "Raw", Ahead(10.0, 4.0, ()), NOW, ZONE) is None


def test_a_doubtful_turbidity_is_not_taken_for_the_water_at_the_feed():
    times = np.arange((NOW - timedelta(hours=9)).timestamp(), NOW.timestamp() + 1, 900)
    odd = (times >= NOW.timestamp() - 7200) & (times < NOW.timestamp() - 3600)
    raw = track("raw_turbidity", times, np.where(odd, 3000.0, 5.0), odd.astype(np.uint8))
    flow = track("plant_flow", times, np.full(len(times), 0.01))
    assert raw_at(flow, raw, "Raw", Ahead(54.0, 4.0, ()), NOW, ZONE) == pytest.approx(5.0)


# --- sums and slopes


def test_a_flow_is_held_no_longer_than_it_may_be():
    times = np.array([0, 600, 1200], dtype=np.int64)
    found = sum_flow(times, np.array([0.01, 0.01, 0.01]), 0, 7200, least=0.001, hold=1800)
    assert (found.volume, found.filtering, found.unrecorded) == (30.0, 3000.0, 4200.0)


@settings(max_examples=40)
@given(st.lists(st.floats(0, 0.02), min_size=2, max_size=40), st.integers(60, 900))
def test_the_parts_of_a_sum_make_the_whole(flows, step):
    times = np.arange(len(flows), dtype=np.int64) * step
    end, middle = float(times[-1] + step), float(times[len(flows) // 2])
    kinds = {"least": 1e-4, "hold": 1800.0}
    whole = sum_flow(times, np.array(flows), 0.0, end, **kinds)
    parts = [sum_flow(times, np.array(flows), *span, **kinds) for span in ((0.0, middle), (middle, end))]
    assert whole.volume == pytest.approx(sum(p.volume for p in parts), abs=1e-9)
    assert whole.filtering == pytest.approx(sum(p.filtering for p in parts), abs=1e-6)
    clock = filtering_clock(times, np.array(flows), np.array([end], np.int64), 0.0, **kinds)
    assert clock[0] * 3600 == pytest.approx(whole.filtering, abs=1e-6)


def test_a_line_is_least_squares():
    x, y = np.array([0.0, 60, 120, 180, 240]), np.array([1.0, 2.5, 2.0, 4.0, 4.5])
    line = fit_line(x, y)
    slope, level = np.polyfit(x, y, 1)
    assert line.slope == pytest.approx(slope) and line.level == pytest.approx(slope * 240 + level)
    residue = y - np.polyval((slope, level), x)
    assert line.error == pytest.approx(np.sqrt(residue @ residue / 3 / ((x - x.mean()) ** 2).sum()))
    assert fit_line(x[:2], y[:2]) is None


@pytest.mark.parametrize(("rise", "word"), [(0.0, "level"), (6.0, "rising"), (-3.0, "falling")])
def test_a_trend_has_a_word_and_needs_three_readings(rise, word):
    times = NOW.timestamp() - 3600 * np.arange(3, -0.01, -0.25)
    values = 20 + rise * (times - NOW.timestamp()) / 3600 + 0.01 * (-1.0) ** np.arange(len(times))
    found = trends(track("raw_turbidity", times, values), "Raw", "NTU", NOW, ZONE)
    assert [t.word for t in found] == [word, word]
    assert float(found[1].slope) * 3600 == pytest.approx(rise, abs=0.05)
    assert trends(track("raw_turbidity", times[-2:], values[-2:]), "Raw", "NTU", NOW, ZONE) == ()


# --- past doses


def test_past_doses_pair_the_water_with_the_dose_it_got():
    """The plant runs every hour; water needs two hours to the feed and one more to the settled turbidity."""
    start = NOW - timedelta(hours=7)
    raw = hours(start, [5, 50, 5, 5, 5, 5, 5])
    dose = hours(start, [12, 12, 12, 30, 12, 12, 12])
    settled = hours(start, [0.5, 0.5, 0.5, 0.5, 2.0, 0.5, 0.5])
    flow = hours(start, [0.01] * 7)
    (found,) = past_doses(48.0, raw, dose, settled, flow, 1e-4, lag_h=1, before_h=2)
    assert (found.raw_turbidity, found.dose, found.settled_turbidity) == (50.0, 30.0, 2.0)
    assert found.at == start + timedelta(hours=3)
    alike = past_doses(5.0, raw, dose, settled, flow, 1e-4, lag_h=1, before_h=2)
    assert {p.dose for p in alike} == {12.0} and len(alike) == 4


def test_a_standing_hour_moves_no_water():
    start = NOW - timedelta(hours=6)
    raw = hours(start, [50, 5, 5, 5, 5, 5])
    dose = hours(start, [12, 12, 12, 30, 12, 12])
    flow = hours(start, [0.01, 0, 0, 0.01, 0.01, 0.01])
    (found,) = past_doses(50.0, raw, dose, hours(start, [0.5] * 6), flow, 1e-4, lag_h=1, before_h=1)
    assert found.dose == 30.0


def test_similar_doses_are_quantiles_of_the_past():
    start = NOW - timedelta(hours=11)
    past = past_doses(
        5.0, hours(start, [5.0] * 11), hours(start, list(range(10, 21))), hours(start, [0.5] * 11),
        hours(start, [0.01] * 11), 1e-4, 0,
    )  # fmt: skip
    found = similar_doses(past, "Coagulant dose", NOW, ZONE)
    assert found.hours == 11
    assert (float(found.low), float(found.middle), float(found.high)) == (11.0, 15.0, 19.0)
    assert similar_doses((), "Coagulant dose", NOW, ZONE) is None


# --- hours of the day


def test_the_plant_runs_by_the_clock_of_the_plant():
    start = datetime(2026, 6, 1, 4, tzinfo=UTC)
    flow = hours(start, [0.01 if 6 <= h % 24 < 20 else 0.0 for h in range(240)])
    shares = running_by_hour(flow, 1e-4, ZONE)
    assert [share == 1.0 for share in shares] == [6 <= h < 20 for h in range(24)]
    assert usual_flow(flow, 1e-4, "Plant flow", ZONE) == pytest.approx(0.01)
    assert running_by_hour(hours(start, [0.01] * 5), 1e-4, ZONE) == ()

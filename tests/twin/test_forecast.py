"""The whole forecast: what it promises on any record, and that it beats standing still in real storms."""

from datetime import UTC, datetime
from functools import cache

import numpy as np
import pytest
from tests.twin.stream import FIRST, coldbrook, cut, made_up, track

from weirhouse.twin.forecast import ForecastError, forecast, read_expectation
from weirhouse.twin.forecast.learned import learn
from weirhouse.twin.forecast.scores import covered, crps
from weirhouse.twin.forecast.series import Grid, lay_out, scale_of
from weirhouse.twin.forecast.storms import storms

DAY = 86400


def when(seconds):
    return datetime.fromtimestamp(int(seconds), UTC)


def ask(raw, at, **more):
    return forecast(raw, at=when(at), **{"members": 100, "seed": 7, "step_s": 1800} | more)


@cache
def plain():
    return ask(made_up(20, storms=[(19.5, 200)]), FIRST + 20 * DAY)


def test_shapes_times_and_the_present():
    made = plain()
    assert made.raw.shape == (100, 145)
    assert made.times[0] == FIRST + 20 * DAY
    assert (np.diff(made.times) == 1800).all()
    assert np.isfinite(made.raw).all()
    now = made_up(20, storms=[(19.5, 200)]).values[-1]
    calm = made.raw[:, 0] < now * 1.5  # the heavy tail may start at once
    assert calm.mean() > 0.97
    assert made.raw[calm, 0] == pytest.approx(now, rel=1e-9)


def test_quantiles_rise_and_spread_grows():
    q = plain().quantiles()
    assert (np.diff(q, axis=0) >= 0).all()
    spread = np.log(q[4] / q[0])
    assert spread[2] < spread[12] < spread[48]


def test_same_inputs_and_seed_give_the_same_paths():
    raw = made_up(20, storms=[(19.5, 200)])
    again = ask(raw, FIRST + 20 * DAY)
    assert (again.raw == plain().raw).all()
    assert again.inputs == plain().inputs
    other = ask(raw, FIRST + 20 * DAY, seed=8)
    assert (other.raw != plain().raw).any()
    assert other.inputs != plain().inputs


def test_what_comes_later_is_not_looked_at():
    whole = made_up(30, storms=[(19.5, 200), (21, 900)])
    at = FIRST + 20 * DAY
    assert (ask(whole, at).raw == ask(cut(whole, 0, at), at).raw).all()
    rain = track(whole.times, np.where(whole.times > at, 0.01, 0.001), channel="rain")
    level = track(whole.times, whole.values, channel="stream_level")
    seen = ask(whole, at, rain=rain, others={"stream_level": level})
    blind = ask(whole, at, rain=cut(rain, 0, at), others={"stream_level": cut(level, 0, at)})
    assert (seen.raw == blind.raw).all()
    assert seen.inputs == blind.inputs


@pytest.mark.parametrize("factor", [0.3, 10.0])
def test_a_clearer_or_browner_stream_moves_alike(factor):
    raw = made_up(20, storms=[(19.5, 200)])
    scaled = ask(track(raw.times, raw.values * factor), FIRST + 20 * DAY)
    ours, theirs = (np.log(q.quantiles()[1:4, [12, 48]]) for q in (plain(), scaled))
    assert theirs == pytest.approx(ours + np.log(factor), abs=0.35)


def test_an_instrument_that_reads_below_nothing():
    raw = made_up(20, storms=[(19.5, 200)], base=0.2)
    low = track(raw.times, raw.values - 0.75)
    made = ask(low, FIRST + 20 * DAY)
    assert np.isfinite(made.raw).all()
    assert made.raw.min() > -1.5
    assert any("paths keep that offset" in line for line in made.basis)


def test_paths_stay_readable():
    clear = made_up(20, base=0.3)
    made = ask(clear, FIRST + 20 * DAY, members=500)
    assert made.raw.min() >= 0.5 * np.quantile(clear.values, 0.01)
    brown = ask(made_up(20, storms=[(19.95, 9000)]), FIRST + 20 * DAY, members=500)
    assert brown.raw.max() <= 5 * 9000


@pytest.mark.parametrize(
    "spoil",
    [
        lambda t, v: (t[np.r_[0:700, 1000:1500, 1600 : len(t)]], v[np.r_[0:700, 1000:1500, 1600 : len(t)]]),
        lambda t, v: (t[::4], v[::4]),  # hourly
        lambda t, v: (t[::6], v[::6]),  # every 90 min
        lambda t, v: (t + 137, v),  # off the quarter-hours
        lambda t, v: (t, np.where(np.arange(len(v)) % 9 == 0, np.nan, v)),
        lambda t, v: (t[-200:], v[-200:]),  # two days of record
        lambda t, v: (t[-1:], v[-1:]),  # one reading
    ],
    ids=["gaps", "hourly", "90min", "offbeat", "nan", "days", "one"],
)
def test_gaps_steps_and_short_records(spoil):
    raw = made_up(20, storms=[(19.5, 200)])
    times, values = spoil(raw.times, raw.values)
    made = ask(track(times, values), max(int(times[-1]), FIRST + 20 * DAY))
    assert np.isfinite(made.raw).all()
    q = made.quantiles()[:, [12, 48, 144]]
    assert (q[0] > 0.1).all()
    assert (q[2] < 200).all()


def test_flagged_newest_readings_are_not_believed():
    raw = made_up(20)
    flags = np.zeros(len(raw.times))
    flags[-12:] = 1
    values = raw.values.copy()
    values[-12:] = 900.0
    made = ask(track(raw.times, values, flags), FIRST + 20 * DAY)
    assert "marked doubtful" in made.doubt
    assert np.median(made.raw[:, 0]) < 5
    calm = ask(raw, FIRST + 20 * DAY)
    assert calm.doubt == ""
    width = [np.ptp(np.log(f.quantiles()[:, 0])) for f in (made, calm)]
    assert width[0] > 0.1  # it does not know the present
    assert width[1] < 1e-6


def test_a_stuck_instrument_is_told_and_started_before_it_stuck():
    raw = made_up(20)
    values = raw.values.copy()
    values[-40:] = 4.321  # ten hours
    made = ask(track(raw.times, values), FIRST + 20 * DAY)
    assert "has stood at exactly 4.32 NTU for 10 h" in made.doubt
    assert "wider bands" in made.doubt
    coarse = ask(track(raw.times, np.round(raw.values)), FIRST + 20 * DAY)  # whole numbers stand still by nature
    assert coarse.doubt == ""


def test_one_wild_reading_is_half_believed():
    raw = made_up(20)
    values = raw.values.copy()
    values[-1] = 400.0
    made = ask(track(raw.times, values), FIRST + 20 * DAY)
    assert "One single reading, 400 NTU" in made.doubt
    assert (made.raw[:, 0] > 100).mean() == pytest.approx(0.5, abs=0.06)


def test_a_reading_at_the_ceiling_may_be_higher():
    raw = made_up(20, storms=[(10, 3000), (19.9, 3000)])
    capped = np.minimum(raw.values, 1000.0)
    made = ask(track(raw.times, capped), FIRST + int(20.02 * DAY))
    assert "instrument's ceiling, 1e+03 NTU" in made.doubt
    assert np.quantile(made.raw[:, 0], 0.9) > 1300


def test_an_old_reading_says_so():
    made = ask(made_up(20), FIRST + 21 * DAY)
    assert "The last reading to believe is 24 h old" in made.doubt


def test_no_reading_is_one_sentence():
    with pytest.raises(ForecastError, match="enter one reading"):
        ask(track([], []), FIRST)
    with pytest.raises(ForecastError, match="no time zone"):
        forecast(made_up(2), at=datetime(2019, 5, 2), seed=1)  # noqa: DTZ001
    with pytest.raises(ForecastError, match="1 to 72 h"):
        ask(made_up(2), FIRST + DAY, hours=100)


def test_expected_weather_moves_the_forecast_the_right_way():
    from zoneinfo import ZoneInfo

    raw, at = made_up(20), FIRST + 20 * DAY
    zone = ZoneInfo("UTC")
    told = {
        phrase: ask(raw, at, expectation=read_expectation(phrase, when(at), zone))
        for phrase in ("extreme rain in 2 h", "heavy rain in 2 h", "light rain in 2 h", "dry for 72 h")
    }
    upper = [np.quantile(made.raw.max(axis=1), 0.8) for made in told.values()]
    assert upper[0] > upper[1] > 2 * upper[2] > 2 * 0.9 * upper[3]
    assert any("heavy rain that begins between" in line for line in told["heavy rain in 2 h"].basis)
    early = told["heavy rain in 2 h"].raw[:, 2]  # an hour from now, before the rain
    assert np.quantile(early, 0.9) < 6


def test_rain_just_fallen_is_heeded_before_the_record_can_teach_it():
    raw, at = made_up(20), FIRST + 20 * DAY
    wet = track([at - 7200, at - 3600, at], [0.01, 0.01, 0.005], channel="rain")
    made = ask(raw, at, rain=wet)
    assert np.quantile(made.raw[:, 24], 0.5) > 2 * np.quantile(ask(raw, at).raw[:, 24], 0.5)
    assert any("25 mm" in line for line in made.basis)


def test_companions_go_with_the_turbidity():
    raw, at = made_up(20, storms=[(5, 200), (12, 300), (19.5, 200)]), FIRST + 20 * DAY
    hourly = raw.times[::4]
    logs = np.log(raw.values[::4])
    swing = 8 + np.cos(2 * np.pi * ((hourly % DAY) / 3600 - 15) / 24)
    others = {
        "raw_temperature": track(hourly, swing, channel="raw_temperature"),
        "raw_uv254": track(hourly, 10 + 3 * logs, channel="raw_uv254"),
        "raw_alkalinity": track(hourly, 50 - 4 * logs, channel="raw_alkalinity"),
    }
    made = ask(raw, at, others=others)
    assert made.temperature.shape == made.uv254.shape == made.alkalinity.shape == made.raw.shape
    assert made.colour is None
    day = np.median(made.temperature, axis=0)[:49]
    assert 14 <= (made.times[day.argmax()] % DAY) / 3600 <= 17
    assert np.ptp(day) > 1.2
    logs_ahead = np.log(made.raw)
    assert np.median(made.uv254 - (10 + 3 * logs_ahead)) == pytest.approx(0.0, abs=0.5)
    assert np.corrcoef(made.alkalinity.ravel(), logs_ahead.ravel())[0, 1] < -0.9


def test_a_gauge_with_a_long_record_is_learned_from():
    storm_days = np.arange(5, 58, 4.0)
    raw = made_up(60, storms=[(d, 300) for d in storm_days])
    hours = (raw.times - FIRST) / 3600.0
    stage = np.full(len(hours), 0.5) + 0.01 * np.random.default_rng(3).standard_normal(len(hours))
    for day in storm_days:  # the river upstream rises six hours before
        x = hours - 24 * day + 6
        stage = stage + np.where(x < 0, 0.0, np.where(x < 3, x / 3, np.exp(-(x - 3) / 10.0)))
    gauge = {"upstream_level": track(raw.times, stage, channel="upstream_level")}
    at = FIRST + int((storm_days[-1] * 24 - 2) * 3600)
    blind, seeing = ask(raw, at), ask(raw, at, others=gauge)
    assert np.quantile(seeing.raw[:, 12], 0.5) > 3 * np.quantile(blind.raw[:, 12], 0.5)
    assert any("upstream level" in line for line in seeing.basis)


@pytest.mark.parametrize("case", range(14))
def test_odd_records_give_finite_paths(case):
    """Any step, length, flags, zeros, negatives and holes; companions of one value or none."""
    rng = np.random.default_rng(case)
    step, n = int(rng.choice([60, 600, 900, 3600, 86400])), int(rng.choice([1, 2, 5, 20, 200, 2000]))
    times = FIRST + np.cumsum(rng.integers(1, 3, n)) * step
    values = np.exp(rng.normal(1, 1.5, n)) if case % 3 else np.full(n, rng.choice([0.0, 0.3, 1000.0]))
    values = values - (case % 4 == 0)
    values[rng.random(n) < 0.1] = np.nan
    values[0] = 2.0
    flags = (rng.random(n) < 0.1) * rng.integers(0, 5, n)
    flags[0] = 0
    others = {
        "raw_temperature": track(times, rng.normal(8, 1, n), channel="raw_temperature"),
        "raw_uv254": track(times[:1], [5.0], channel="raw_uv254"),
        "raw_alkalinity": track(times, np.full(n, np.nan), channel="raw_alkalinity"),
        "stream_level": track(times, rng.normal(1, 0.1, n), channel="stream_level"),
    }
    rain = track(times, np.abs(rng.normal(0, 0.001, n)), channel="rain")
    at = times[-1] + int(rng.integers(0, 2 * DAY))
    made = ask(track(times, values, flags), at, members=20, step_s=3600, others=others, rain=rain)
    assert np.isfinite(made.raw).all()
    assert (np.diff(made.quantiles(), axis=0) >= 0).all()
    assert made.uv254 is not None
    assert np.isfinite(made.uv254).all()
    assert made.alkalinity is None
    assert made.raw.max() <= max(5000.0, 5 * np.nanmax(values))


# A storm season of a real stream: five months, the last two forecast from what was known at each issue time.


@cache
def hindcast():
    raw = coldbrook()
    good = raw.good
    grid = lay_out(raw, int(good.times[-1]), scale_of(good.values))
    windows = [s for s in storms(grid) if grid.times[s.peak] > FIRST + 45 * DAY]
    rows = []
    for storm in windows:
        cut_at = storm.first
        before = Grid(
            end=int(grid.times[cut_at]),
            z=grid.z[: cut_at + 1],
            measured=grid.measured[: cut_at + 1],
            scale=grid.scale,
        )
        known = learn(before)  # what the record taught before this storm
        for point in range(storm.first + 8, storm.last, 16):
            at = int(grid.times[point])
            ahead = forecast(raw, at=when(at), members=100, seed=1, step_s=3600, learned=known)
            now = float(raw.values[np.searchsorted(raw.times, at, side="right") - 1])
            for lead in (6, 24):
                came = np.searchsorted(raw.times, at + lead * 3600)
                if came < len(raw.times) and abs(raw.times[came] - at - lead * 3600) <= 900:
                    rows.append((lead, now, float(raw.values[came]), np.log(np.maximum(ahead.raw[:, lead], 0.1))))
    return rows


@pytest.mark.parametrize(("lead", "least"), [(6, 0.06), (24, 0.22)])
def test_storms_are_forecast_better_than_by_dressed_persistence(lead, least):
    """On USGS 01362500, June to August 2019; the reference even knows its own errors of these very windows.

    The packaged rules were fitted on this record among others, so this guards the code; docs/forecast.md has the
    figures on streams not seen. Measured when written: 14 and 32 % better; a forecast without spread about the same
    middles 21 % at 24 h, persistence with errors half too wide -2 %.
    """
    rows = [row for row in hindcast() if row[0] == lead]
    came = np.log([row[2] for row in rows])
    now = np.log([row[1] for row in rows])
    errors = np.quantile(came - now, (np.arange(100) + 0.5) / 100)
    ours = crps(np.stack([row[3] for row in rows]), came).mean()
    dressed = crps(now[:, None] + errors, came).mean()
    assert len(rows) > 60
    assert 1 - ours / dressed > least


def test_bands_hold_about_what_they_say():
    rows = hindcast()
    members, came = np.stack([row[3] for row in rows]), np.log([row[2] for row in rows])
    for share, slack in ((0.5, 0.08), (0.8, 0.08), (0.95, 0.06)):
        assert covered(members, came, share).mean() == pytest.approx(share, abs=slack)

"""How long does it take to judge a month, and a year, of one-minute data on twelve channels; and beside pandas?

The records are in memory: what is measured is the judging alone (benchmarks/report.py adds reading and the PDF). Beside
pandas it is the same statistics of the same arrays: recorded value of each quarter hour on line, value of each four
hours, share and highest, two in a row for each filter, lowest residual and the longest time below. Ours gives with them
what counted and why not, every way of counting, and the working; pandas the numbers alone. That they agree is checked.
"""

import time
from datetime import UTC, date, datetime
from importlib.resources import files

import numpy as np

from benchmarks.result import Result
from weirhouse.plant import parse_plant
from weirhouse.plant.model import Plant
from weirhouse.rules.ground import Ground
from weirhouse.rules.model import MonthFacts
from weirhouse.rules.month import WORKS, evaluate_month, month_of
from weirhouse.rules.packs import RuleBook, assemble, parse_pack
from weirhouse.situation.model import Stretch, Track

MONTH_S, YEAR_S, PANDAS = 2.0, 15.0, 1.5
RUNS = 3
CHANNELS = {
    "raw_turbidity": (5.0, 2.0), "raw_temperature": (11.0, 3.0), "settled_turbidity": (0.6, 0.1),
    "filter_1_turbidity": (0.05, 0.01), "filter_2_turbidity": (0.05, 0.01), "combined_turbidity": (0.05, 0.01),
    "contact_chlorine": (1.2, 0.1), "entry_chlorine": (1.1, 0.1), "contact_temperature": (11.0, 3.0),
    "contact_level": (2.6, 0.2), "contact_ph": (7.3, 0.1),
}  # fmt: skip


def home() -> Plant:
    """Return Emberly with loggers that write every minute."""
    text = files("weirhouse.demo").joinpath("emberly.toml").read_text("utf-8")
    return parse_plant(text.replace('interval = "15 min"', 'interval = "1 min"'))


def month(plant: Plant, first: date) -> Stretch:
    """Return a month of one-minute data: twelve channels, the plant running from six to eight in the evening."""
    a, b = month_of(first, plant)
    times = np.arange(int(a.timestamp()), int(b.timestamp()), 60, dtype=np.int64)
    random = np.random.default_rng(first.toordinal())
    hour = np.array([datetime.fromtimestamp(int(t), UTC).astimezone(plant.zone).hour for t in times[::60]]).repeat(60)
    flags = np.zeros(len(times), np.uint8)

    def track(channel: str, values: np.ndarray) -> Track:
        return Track(channel=channel, times=times, values=values, flags=flags)

    tracks = {"plant_flow": track("plant_flow", np.where((hour >= 6) & (hour < 20), 0.0088, 0.0))}
    for channel, (usual, spread) in CHANNELS.items():
        tracks[channel] = track(channel, np.round(np.abs(random.normal(usual, spread, len(times))), 3))
    return Stretch(plant=plant, a=a, b=b, zone=plant.zone, tracks=tracks, events=())


def by_pandas(stretch: Stretch) -> tuple[float, ...]:
    """Return the month's statistics worked out with pandas."""
    import pandas as pd

    def column(channel: str) -> "pd.Series[float]":
        track = stretch.tracks[channel]
        index = pd.to_datetime(track.times, unit="s", utc=True).tz_convert(str(stretch.zone))
        return pd.Series(track.values, index=index)

    on = column("plant_flow") > 0.05 * 0.0095
    combined = column("combined_turbidity")[on]
    quarter = combined.resample("15min").first().dropna()
    clock = pd.DatetimeIndex(quarter.index)  # periods go by the clock, also where it is changed
    four = quarter.groupby([clock.normalize(), clock.hour // 4]).last()
    found = [100 * float((four.round(2) <= 0.3).mean()), float(quarter.max()), float(len(four))]
    for name in ("filter_1_turbidity", "filter_2_turbidity"):
        over = column(name)[on].resample("15min").first() > 1.0
        found.append(float((over & over.shift(1, fill_value=False)).sum()))
    residual = column("entry_chlorine")[on]
    low = residual < 0.2
    runs = low.ne(low.shift()).cumsum()
    found += [float(residual.min()), float(low.groupby(runs).sum().max())]
    return tuple(found)


SAME = ("cfe_95_small", "cfe_max_small", "ife_trigger_1ntu", "ep_residual_notify", "ep_residual_min")


def by_rules(plant: Plant, stretch: Stretch, book: RuleBook) -> tuple[float, ...]:
    """Return the same statistics from the rules."""
    ground = Ground(
        plant=plant, stretch=stretch, samples=(), results=(), events=(), book=book, a=stretch.a, b=stretch.b,
        until=stretch.b,
    )  # fmt: skip
    found = []
    for id in SAME:
        requirement = book.requirement(id)
        assert requirement is not None
        found += list(WORKS[requirement.check["method"]](ground, requirement))
    share, highest, first, second, lowest, longest = found
    pairs = [sum(c.over for c in o.tally.beyond) if o.tally is not None else 0 for o in (first, second)]
    number = int((share.tally.reasons == 0).sum()) if share.tally is not None else 0
    values = (share.value, highest.value, number, *pairs, lowest.value, longest.value)
    return tuple(float(v or 0.0) for v in values)


def measure() -> list[Result]:
    """Return the shortest of several runs, over the limit."""
    plant = home()
    text = files("weirhouse.demo").joinpath("emberly_rules.toml").read_text("utf-8")
    book = assemble([("rules/emberly.toml", parse_pack(text, "rules/emberly.toml"))])
    firsts = [date(2026, k, 1) for k in range(1, 13)]
    stretches = [month(plant, first) for first in firsts]
    ours, year, theirs = [], [], []
    for _ in range(RUNS):
        begin = time.perf_counter()
        earlier: list[MonthFacts] = []
        for first, stretch in zip(firsts, stretches, strict=True):
            one = time.perf_counter()
            result = evaluate_month(plant, stretch, packs=book, month=first, earlier=tuple(earlier[-2:]))
            ours.append(time.perf_counter() - one)
            earlier.append(result.facts)
        year.append(time.perf_counter() - begin)
    found = [
        Result(
            "a month judged, 1-min data, 12 channels", min(ours) / MONTH_S, 1.0, f"{min(ours):.3f} s of {MONTH_S:g} s"
        ),
        Result("a year judged", min(year) / YEAR_S, 1.0, f"{min(year):.2f} s of {YEAR_S:g} s"),
    ]
    try:
        by_pandas(stretches[0])
    except ImportError:
        return found
    same = []
    for stretch in stretches * RUNS:
        begin = time.perf_counter()
        expected = by_pandas(stretch)
        theirs.append(time.perf_counter() - begin)
        begin = time.perf_counter()
        got = by_rules(plant, stretch, book)
        same.append(time.perf_counter() - begin)
        if not np.allclose(got[:-1], expected[:-1]) or (expected[-1] > 0) != (got[-1] > 0):
            raise AssertionError(f"pandas {expected}, rules {got}")
    detail = f"{1000 * min(same):.1f} ms, pandas {1000 * min(theirs):.1f} ms"
    return [*found, Result("the same statistics of a month over pandas", min(same) / min(theirs), PANDAS, detail)]


if __name__ == "__main__":
    for row in measure():
        print(row.row())

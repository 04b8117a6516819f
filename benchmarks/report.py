"""How long do a month's report and a year's figures take, of one-minute data on twelve channels?

From the closed store to the bytes of the PDF: records read, rules judged, tables, pictures and pages made. The records
are a year of Emberly at one minute: the plant runs from six to eight in the evening, with a wash every other day.
"""

import tempfile
import time
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from pathlib import Path

import numpy as np

from benchmarks.result import Result
from weirhouse import plant as plants
from weirhouse.desk.judging import judged, year_judged
from weirhouse.records.model import Event, series
from weirhouse.records.store import Store
from weirhouse.reports.monthly import MonthlyReport
from weirhouse.reports.yearly import YearlyReport

MONTH_S, YEAR_S = 2.0, 15.0
BEGIN = datetime(2025, 12, 1, 5, tzinfo=UTC)  # midnight at the plant
DAYS = 396  # the year 2026 and the month before it
RUNS = 3
# channel: usual value inside, spread
CHANNELS = {
    "raw_turbidity": (5.0, 2.0), "raw_temperature": (11.0, 3.0), "settled_turbidity": (0.6, 0.1),
    "filter_1_turbidity": (0.05, 0.01), "filter_2_turbidity": (0.05, 0.01), "combined_turbidity": (0.05, 0.01),
    "contact_chlorine": (1.2, 0.1), "entry_chlorine": (1.1, 0.1), "contact_temperature": (11.0, 3.0),
    "contact_level": (2.6, 0.2), "contact_ph": (7.3, 0.1),
}  # fmt: skip


def build(folder: Path) -> None:
    """Make the plant with its year of minutes: 12 channels, 6.8 million values."""
    (folder / "plant.toml").write_bytes(files("weirhouse.demo").joinpath("emberly.toml").read_bytes())
    times = int(BEGIN.timestamp()) + 60 * np.arange(DAYS * 1440)
    hour = (times - times[0]) // 3600 % 24
    random = np.random.default_rng(20261127)
    rows = [series("plant_flow", times, np.where((hour >= 6) & (hour < 20), 0.0088, 0.0))]
    for channel, (usual, spread) in CHANNELS.items():
        rows.append(series(channel, times, np.round(np.abs(random.normal(usual, spread, len(times))), 3)))
    events = [
        Event(
            kind="backwash", started_at=(at := BEGIN + timedelta(days=day, hours=12)), subject=f"filter_{1 + day % 2}",
            ended_at=at + timedelta(minutes=9), values={"volume": 18.0}, person="bench",
        )
        for day in range(DAYS)
    ]  # fmt: skip
    at = BEGIN + timedelta(days=DAYS)
    with Store.open(folder, create=True) as store:
        store.add_import("minutes", "0" * 64, rows, [], person="bench", entered_at=at, detail={})
        store.add_events(events, entered_at=at)


def measure() -> list[Result]:
    """Return the shortest of several runs, over the limit."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        build(folder)
        plant = plants.load(folder)
        now = BEGIN + timedelta(days=DAYS)
        months, sizes, busy = [], [], []
        for _ in range(RUNS):
            start, worked = time.perf_counter(), time.process_time()
            with Store.open(folder, read_only=True) as store:
                made = MonthlyReport(judged(store, plant, folder, "2026-10", now, settled=True)).pdf()
            months.append(time.perf_counter() - start)
            busy.append(time.process_time() - worked)
            sizes.append(len(made))
        start, worked = time.perf_counter(), time.process_time()
        with Store.open(folder, read_only=True) as store:
            YearlyReport(year_judged(store, plant, folder, 2026, now)).pdf()
        year, year_busy = time.perf_counter() - start, time.process_time() - worked
    month = min(months)
    return [
        Result(
            "month of one-minute data on 12 channels judged, PDF written", month / MONTH_S, 1.0,
            f"{month:.2f} s, the shortest of {RUNS}; {min(busy):.2f} s of a processor; limit {MONTH_S:g} s; "
            f"{sizes[0] / 1000:.0f} kB",
        ),
        Result(
            "the year of it judged, PDF written", year / YEAR_S, 1.0,
            f"{year:.1f} s; {year_busy:.1f} s of a processor; limit {YEAR_S:g} s",
        ),
    ]  # fmt: skip


if __name__ == "__main__":
    for result in measure():
        print(result.row())

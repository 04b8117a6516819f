"""How fast are ten million values: a month of twenty channels by day, a month of one drawn, and the first page?

Twenty channels of the demo plant, each with half a million values a minute apart (347 days), come week by week as a
logger's file does; what people entered in the demo's year stands beside them. Every hourly figure that is kept is held
against a recomputation from all the values.
"""

import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import httpx
import numpy as np

from benchmarks import contention, written
from benchmarks.result import Result
from benchmarks.today_served import serving
from weirhouse.demo import make_demo
from weirhouse.pictures import chart
from weirhouse.records.files import create
from weirhouse.records.model import Series, series
from weirhouse.records.rollup import as_rollup, hourly
from weirhouse.records.store import Store

CHANNELS, MINUTES = 20, 500_000
WEEK = 7 * 1440
DAYS = 31
ZONE = ZoneInfo("America/New_York")
LIMIT_ROLLUP_S, LIMIT_RAW_S, LIMIT_CHART_S, LIMIT_PAGE_S, LIMIT_READY_S = 0.020, 0.300, 0.150, 0.300, 2.0
PAGES = 60
FIGURES = ("hour", "n", "minimum", "maximum", "total", "last")


def measure() -> Iterator[Result]:
    """Yield one result after the other, of records that are made first."""
    with tempfile.TemporaryDirectory() as base:
        plant = Path(base) / "plant"
        filled = _fill(Path(base) / "demo", plant)
        yield from _of_records(plant, filled)
        yield from _of_pages(plant)
    yield contention.measure()


def _fill(demo: Path, plant: Path) -> float:
    """Make a plant with ten million values; return how long their import took [s]."""
    make_demo(demo)
    plant.mkdir()
    (plant / "plant.toml").write_bytes((demo / "plant.toml").read_bytes())
    create(plant)
    chance = np.random.default_rng(20261031)
    with Store.open(demo, read_only=True) as old, Store.open(plant) as new:
        last = old.span()[1]
        assert last is not None
        new.add_readings(old.readings(), entered_at=last)
        new.add_events(old.events(), entered_at=last)
        end = int(last.timestamp()) // 60 * 60
        times = end - 60 * np.arange(MINUTES - 1, -1, -1, dtype=np.int64)
        shapes = [one for one in (old.values(channel) for channel in sorted(old.channels())) if len(one) > 5000]
        shapes = sorted(shapes, key=len)[-CHANNELS:]
        assert len(shapes) == CHANNELS
        columns = [_every_minute(one, times, chance) for one in shapes]
        start = time.perf_counter()
        for first in range(0, MINUTES, WEEK):
            part = slice(first, first + WEEK)
            week = [series(one.channel, times[part], one.values[part], one.flags[part]) for one in columns]
            new.add_import(f"week {first // WEEK}", f"{first}", week, [], person="logger", entered_at=last, detail={},
                           reason="a year to measure with")  # fmt: skip
        return time.perf_counter() - start


def _every_minute(shape: Series, times: np.ndarray, chance: np.random.Generator) -> Series:
    """Return a channel's own course at a value a minute, with noise in the third digit and 0.3 percent flagged."""
    at = np.clip(np.searchsorted(shape.times, times, side="right") - 1, 0, len(shape) - 1)
    values = np.round(shape.values[at] * chance.normal(1.0, 0.003, len(times)), 3)
    return series(shape.channel, times, values, np.where(chance.random(len(times)) < 0.003, 1, 0))


def _of_records(plant: Path, filled: float) -> Iterator[Result]:
    with Store.open(plant, read_only=True) as store:
        end = store.span()[1]
        assert end is not None
        channels = sorted(store.channels(), key=lambda one: -len(store.values(one)))[:CHANNELS]
        count = sum(len(store.values(channel)) for channel in channels)
        assert count >= CHANNELS * MINUTES
        midnight = end.astimezone(ZONE).replace(hour=0, minute=0, second=0, microsecond=0)
        begins = [(midnight - timedelta(days=DAYS - day)).astimezone(UTC) for day in range(DAYS + 1)]
        edges = np.array([moment.timestamp() for moment in begins])
        by_day = {c: _from_hours(store, c, begins, edges) for c in channels}
        for channel, days in by_day.items():
            np.testing.assert_allclose(days, _from_values(store, channel, begins, edges), rtol=1e-12)
        kept, kept_cpu = _best(lambda: [_from_hours(store, c, begins, edges) for c in channels], 60)
        raw, raw_cpu = _best(lambda: [_from_values(store, c, begins, edges) for c in channels], 20)
        drawn, drawn_cpu = _best(lambda: _drawn(store, channels[0], begins[0], begins[-1]), 40)
        size = sum((plant / name).stat().st_size for name in ("records.sqlite", "series.sqlite"))
        told = f"{count:,} values on record, {size / 1e6:.0f} MB, imported in {filled:.1f} s"
        yield _limit(f"{DAYS} days of {CHANNELS} channels by day, from the kept hours", kept, LIMIT_ROLLUP_S,
                     f"{_used(kept_cpu)}; {told}")  # fmt: skip
        yield _limit(f"{DAYS} days of {CHANNELS} channels by day, from every value", raw, LIMIT_RAW_S, _used(raw_cpu))
        yield _limit("a month of one channel read, thinned and drawn", drawn, LIMIT_CHART_S, _used(drawn_cpu))
        start = time.perf_counter()
        hours = sum(_same_hours(store, channel) for channel in channels)
        taken = time.perf_counter() - start
        start = time.perf_counter()
        assert store.verify() == []
        checked = time.perf_counter() - start
        yield Result(
            "kept hours that differ from a recomputation", 0.0, 0.0,
            f"none of {hours:,} hours, to the last bit, worked again in {taken:.1f} s; all records checked in "
            f"{checked:.1f} s",
        )  # fmt: skip


def _from_hours(store: Store, channel: str, begins: list[datetime], edges: np.ndarray) -> np.ndarray:
    """Return for each day how many, least, greatest and mean, from the hourly figures."""
    hours = store.rollup(channel, begins[0], begins[-1])
    if not len(hours):
        return np.full((DAYS, 4), np.nan)
    at = np.searchsorted(hours.hour, edges[:-1])
    n = np.add.reduceat(hours.n, at)
    least, greatest = np.minimum.reduceat(hours.minimum, at), np.maximum.reduceat(hours.maximum, at)
    return np.column_stack([n, least, greatest, np.add.reduceat(hours.total, at) / n])


def _from_values(store: Store, channel: str, begins: list[datetime], edges: np.ndarray) -> np.ndarray:
    """Return the same from every value."""
    some = store.values(channel, begins[0], begins[-1])
    counts = np.isfinite(some.values) & (some.flags != 2)
    times, values = some.times[counts], some.values[counts]
    at = np.searchsorted(times, edges[:-1])
    n = np.diff(np.append(at, len(times)))
    least, greatest = np.minimum.reduceat(values, at), np.maximum.reduceat(values, at)
    return np.column_stack([n, least, greatest, np.add.reduceat(values, at) / n])


def _drawn(store: Store, channel: str, begin: datetime, end: datetime) -> str:
    some = store.values(channel, begin, end)
    return chart.svg(
        chart.Chart(
            x=some.times.astype(float), y=some.values, doubtful=some.flags == 1, unit="", begin=begin.timestamp(),
            end=end.timestamp(), zone=ZONE, gap=600.0,
        )
    )  # fmt: skip


def _same_hours(store: Store, channel: str) -> int:
    """Hold every kept hour of a channel against a recomputation; return how many there were."""
    some = store.values(channel)
    kept, again = store.rollup(channel), as_rollup(hourly(some.times, some.values, some.flags))
    for figure in FIGURES:
        np.testing.assert_array_equal(getattr(kept, figure), getattr(again, figure))
    return len(kept)


def _of_pages(plant: Path) -> Iterator[Result]:
    """Measure the first page at instants that nobody asked for before, so that none of it is kept."""
    with Store.open(plant, read_only=True) as store:
        end = store.span()[1]
    assert end is not None
    taken = []
    with serving(plant) as address, httpx.Client(timeout=60) as web:
        start = time.perf_counter()
        web.get(address).raise_for_status()
        ready = time.perf_counter() - start
        used = _used_by_children()
        for number in range(PAGES):
            at = (end - timedelta(minutes=17 * (number + 1))).astimezone(ZONE)
            start = time.perf_counter()
            web.get(address, params={"at": f"{at:%Y-%m-%d %H:%M}"}).raise_for_status()
            taken.append(time.perf_counter() - start)
        each = (_used_by_children() - used) / PAGES
    load = os.getloadavg()[0]
    middle, high = (float(one) for one in np.percentile(taken, [50, 95]))
    told = f"median {1000 * middle:.0f} ms, {_used(each)} each; {load:.1f} programs wanted the two cores meanwhile"
    yield _limit(f"first page at {PAGES} instants, none asked for before, p95", high, LIMIT_PAGE_S, told)
    yield _limit("first answer of a server just started", ready, LIMIT_READY_S, "")


def _used_by_children() -> float:
    """Return the processor time that the programs started here have used and that still run [s]; 0 where not told."""
    used = 0
    for told in Path("/proc/self/task").glob("*/children"):
        for pid in told.read_text().split():
            fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
            used += int(fields[11]) + int(fields[12])
    return used / os.sysconf("SC_CLK_TCK") if used else 0.0


def _best(run: Callable[[], object], times: int) -> tuple[float, float]:
    """Return the shortest time of some runs on the clock, and of the processor [s]: others' work only adds to it."""
    run()
    taken = []
    for _ in range(times):
        start, used = time.perf_counter(), time.process_time()
        run()
        taken.append((time.perf_counter() - start, time.process_time() - used))
    return min(wall for wall, _ in taken), min(cpu for _, cpu in taken)


def _used(cpu: float) -> str:
    return f"{1000 * cpu:.1f} ms of a processor"


def _limit(name: str, seconds: float, limit: float, more: str) -> Result:
    told = f"{1000 * seconds:.1f} of {1000 * limit:.0f} ms"
    return Result(name, seconds / limit, 1.0, f"{told}; {more}" if more else told)


if __name__ == "__main__":
    sys.exit(written.main("records_10m", measure(), __doc__))

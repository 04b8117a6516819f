"""Faults of instruments: invented series, and open data in which technicians marked what was wrong."""

import csv
import gzip
import math
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirhouse.records import faults
from weirhouse.records.faults import Fault

SHARED = Path(__file__).parents[3] / "shared" / "data"
QUARTER = 900
DAY = 96
T = np.arange(7 * DAY, dtype=np.int64) * QUARTER


def quiet(seed: int = 1, level: float = 5.0, noise: float = 0.15) -> np.ndarray:
    """A week of a stream's turbidity without rain."""
    return np.round(level + np.random.default_rng(seed).normal(0, noise, len(T)), 2)


def storm() -> np.ndarray:
    """A week with a flood: up thirtyfold within three hours, down over two days."""
    shape = np.zeros(len(T))
    at = 3 * DAY
    shape[at : at + 12] = np.linspace(0, 1, 12)
    shape[at + 12 :] = np.exp(-np.arange(len(T) - at - 12) / 60)
    return np.round(quiet() * (1 + 30 * shape), 2)


def found(values: np.ndarray, times: np.ndarray = T, **more: object) -> list[Fault]:
    return list(faults.find(times, values, title="Raw turbidity", unit="NTU", **more))  # type: ignore[arg-type]


def kinds(some: list[Fault]) -> list[str]:
    return [fault.kind for fault in some]


def test_a_quiet_week_and_a_flood_are_no_faults() -> None:
    assert found(quiet(), low=0.0, high=1000.0) == []
    assert found(storm(), low=0.0, high=1000.0) == []


@pytest.mark.parametrize("long", [1, 2])
@pytest.mark.parametrize("value", [95.0, 0.4])
def test_a_leap_and_back_is_a_spike(long: int, value: float) -> None:
    series = quiet(noise=0.05)
    series[200 : 200 + long] = value
    (one,) = found(series)
    assert (one.kind, one.start, one.end, one.count) == ("spike", T[200], T[199 + long], long)
    assert "and back within" in one.why


def test_a_peak_that_lasts_is_no_spike() -> None:
    series = quiet(noise=0.05)
    series[200:206] = 95.0
    assert "spike" not in kinds(found(series))


def test_a_sensor_that_stands_still() -> None:
    series = quiet()
    series[300:340] = series[300]
    (one,) = found(series)
    assert (one.kind, one.count) == ("stuck", 40)
    assert one.why.startswith("Raw turbidity has stood at ") and "9.8 h" in one.why


def test_a_channel_shown_in_coarse_digits_stands_still_by_nature() -> None:
    assert found(np.round(10 + 3 * np.sin(2 * np.pi * T / 86400), 0)) == []


def test_a_level_at_rest_and_ice_water_are_no_faults() -> None:
    flow = np.where((T // 3600) % 24 < 9, 0.0, 140.0 + quiet())
    assert kinds(found(flow, rests_at_zero=True)) == []
    ice = np.concatenate([np.linspace(3, 0.1, 200), np.full(200, 0.1), np.linspace(0.1, 3, len(T) - 400)])
    ice = np.round(ice + 0.02 * np.sin(np.arange(len(T))), 3)
    ice[200:400] = 0.1
    assert list(faults.find(T, ice, title="Raw temperature", unit="degC")) == []


def test_a_fall_to_zero() -> None:
    series = quiet()
    series[400:500] = 0.0
    (one,) = found(series)
    assert (one.kind, one.start, one.count) == ("fell_to_zero", T[400], 100)
    assert found(series, rests_at_zero=True) == []


def test_after_a_figure_that_cannot_be_the_rest_is_no_fall() -> None:
    series = quiet()
    series[100:110] = 7999.0
    assert kinds(found(series, high=1000.0)) == ["out_of_range"]


def test_out_of_range_says_the_limit() -> None:
    series = quiet()
    series[100] = -3.0
    series[200:203] = 1500.0
    low, high = found(series, low=0.0, high=1000.0)
    assert low.why == "Raw turbidity reads -3.00 NTU, below 0 NTU: less than its instrument can mean."
    assert high.why == "Raw turbidity reads 1,500 NTU, above 1,000 NTU: more than its instrument can mean."
    assert high.count == 3


def test_gaps_within_and_at_the_end() -> None:
    keep = np.ones(len(T), np.bool_)
    keep[100:120] = False
    one, two = found(quiet()[keep], T[keep], until=int(T[-1]) + 7200)
    assert (one.kind, one.start, one.end) == ("gap", T[99], T[120])
    assert "no reading for 5.2 h, where one comes every 15 min" in one.why
    assert (two.kind, two.end) == ("gap", T[-1] + 7200)


def test_doubtful_marks_all_but_gaps() -> None:
    series = quiet(noise=0.05)
    series[200] = 95.0
    mask = faults.doubtful(T, found(series, until=int(T[-1]) + 7200))
    assert np.flatnonzero(mask).tolist() == [200]


@pytest.mark.parametrize("n", range(6))
def test_short_series(n: int) -> None:
    assert found(np.full(n, 4.0), T[:n], low=0.0, high=10.0) == []
    assert found(np.full(n, np.nan), T[:n]) == []


@settings(max_examples=50, deadline=None)
@given(st.lists(st.one_of(st.just(math.nan), st.floats(0, 1000)), max_size=120))
def test_any_series_gives_faults_in_order_whatever_the_unit(values: list[float]) -> None:
    array = np.array(values, float)
    times = T[: len(array)]
    some = found(array, times)
    assert [f.start for f in some] == sorted(f.start for f in some)
    assert all(fault.start <= fault.end and fault.why for fault in some)
    assert kinds(found(array * 2.0, times)) == kinds(some)  # a power of two moves no rounding


# --- open data


def rows(name: str) -> list[dict[str, str]]:
    path = SHARED / name
    raw = gzip.decompress(path.read_bytes()) if path.suffix == ".gz" else path.read_bytes()
    return [row for row in csv.DictReader(raw.decode().splitlines()) if row.get("datetime") or row.get("Timestamp")]


def number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        return math.nan
    return math.nan if value == -9999 else value


def logan(name: str, channel: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return times, raw values, and which a technician put a code on."""
    some = rows(f"logan_river_labelled/{name}")
    times = [int(datetime.fromisoformat(r["datetime"].strip()).replace(tzinfo=UTC).timestamp()) for r in some]
    values = np.array([number(r[channel]) for r in some])
    return np.array(times), values, np.array([r[f"{channel}_qual"] not in ("", "NULL") for r in some])


absent = pytest.mark.skipif(not SHARED.is_dir(), reason="no open data in ../shared/data")


@absent
@pytest.mark.parametrize(
    ("name", "channel", "unit", "high", "precision", "recall", "wrong"),
    [
        # floors of what was measured: share of marks that a technician shares, share of his marks found (drift and
        # calibration, which no single series shows, are among them), share of good readings marked
        ("FranklinBasin2020.csv", "turb", "NTU", 1000.0, 0.95, 0.20, 0.0001),
        ("FranklinBasin2014.csv.gz", "turb", "NTU", 1000.0, 0.40, 0.08, 0.002),
        ("MainStreet2019.csv.gz", "turb", "NTU", 1000.0, 0.19, 0.25, 0.004),
        ("MainStreet2019.csv.gz", "cond", "1", 3000.0, 0.95, 0.85, 0.0001),
        ("MainStreet2019.csv.gz", "do", "1", 30.0, 0.95, 0.15, 0.001),
        ("MainStreet2019.csv.gz", "temp", "degC", 40.0, 0.95, 0.80, 0.0005),
        ("MainStreet2019.csv.gz", "ph", "pH", 14.0, 0.95, 0.29, 0.0001),
        ("FranklinBasin2020.csv", "ph", "pH", 14.0, 0.95, 0.13, 0.0001),
    ],
)
def test_marks_agree_with_those_of_technicians(
    name: str, channel: str, unit: str, high: float, precision: float, recall: float, wrong: float
) -> None:
    times, values, labelled = logan(name, channel)
    some = faults.find(times, values, title=channel, unit=unit, low=None if unit == "degC" else 0.0, high=high)
    marked = faults.doubtful(times, some) & np.isfinite(values)
    hits = (marked & labelled).sum()
    assert hits / max(1, marked.sum()) >= precision
    assert hits / labelled.sum() >= recall
    assert (marked & ~labelled).sum() / len(times) <= wrong


@absent
def test_true_peaks_of_storms_are_not_marked() -> None:
    """Five storms of 225 to 430 NTU that the experts left as they were."""
    some = rows("sandy_creek_labelled/sandy_creek_labelled.csv")
    times = np.array([int(datetime.strptime(r["Timestamp"] + " +1000", "%d/%m/%Y %H:%M %z").timestamp()) for r in some])
    values = np.array([number(r["Tur"]) for r in some])
    good = np.array([r["label_Tur"] == "0" for r in some])
    marked = faults.doubtful(times, faults.find(times, values, title="Turbidity", unit="NTU", low=0.0, high=1000.0))
    peaks = good & (values >= 225)
    assert peaks.sum() >= 5 and not (marked & peaks).any()
    assert (marked & good).sum() / good.sum() <= 0.002
    sudden = np.array([r["type_Tur"] == "A" for r in some])  # large sudden spikes
    assert (marked & sudden).sum() >= 2

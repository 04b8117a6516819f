"""Real series of two waterworks, judged as they are: gaps, dead instruments, stops and events, and no crash.

Station B, a real (anonymous) US system at 20 minutes with 703 zeros of flow, and a German waterworks at one minute,
both from the R package EventDetectR (GPL-3). Their limits are those of Emberly's pack: what is checked is that dead
instruments give no pass, and that counts and highest equal those of the raw rows.
"""

import csv
import gzip
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec
import numpy as np
import pytest
from tests.rules.planted import OURS, plant

from weirhouse.plant.model import Plant
from weirhouse.rules.model import MonthResult
from weirhouse.rules.month import evaluate_month, month_of
from weirhouse.situation.model import Stretch, Track

SHARED = Path(__file__).parents[3] / "shared" / "data"
absent = pytest.mark.skipif(not SHARED.is_dir(), reason="the open data is not beside the repository (../shared/data)")


def stretch(home: Plant, columns: dict[str, tuple[list[int], list[float]]], first: date) -> Stretch:
    a, b = month_of(first, home)
    tracks = {}
    for channel, (times, values) in columns.items():
        stamps, numbers = np.array(times, np.int64), np.array(values, float)
        keep = (stamps >= a.timestamp()) & (stamps < b.timestamp())
        order = np.argsort(stamps[keep], kind="stable")
        tracks[channel] = Track(
            channel=channel, times=stamps[keep][order], values=numbers[keep][order],
            flags=np.zeros(int(keep.sum()), np.uint8),
        )  # fmt: skip
    return Stretch(plant=home, a=a, b=b, zone=home.zone, tracks=tracks, events=())


def number(text: str) -> float:
    return float(text) if text not in ("", "NA") else float("nan")


def station_b() -> dict[str, tuple[list[int], list[float]]]:
    wanted = {
        "combined_turbidity": "B_PLNT_TURB_VAL",
        "entry_chlorine": "B_PLNT_CL2_VAL",
        "plant_flow": "B_PLNT_FLOW_OP",
    }
    zone = ZoneInfo("America/New_York")
    found: dict[str, tuple[list[int], list[float]]] = {channel: ([], []) for channel in wanted}
    with (SHARED / "plant_station_b" / "stationB_20min_2006.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            at = datetime.strptime(row["Time_Step"], "%m/%d/%Y %H:%M:%S").replace(tzinfo=zone)
            for channel, column in wanted.items():
                found[channel][0].append(int(at.timestamp()))
                found[channel][1].append(number(row[column]))
    return found


def sparse(home: Plant) -> Plant:
    """The same plant with loggers that write every 20 minutes."""
    channels = {id: msgspec.structs.replace(c, interval=1200.0) for id, c in home.channels.items()}
    return msgspec.structs.replace(home, channels=channels)


@absent
@pytest.mark.parametrize("first", [date(2006, 3, 1), date(2006, 4, 1), date(2006, 5, 1)])
def test_station_b(first: date) -> None:
    home = sparse(plant())
    found = stretch(home, station_b(), first)
    result = evaluate_month(home, found, packs=OURS, month=first)
    track = found.tracks["combined_turbidity"]
    counted = result.outcome("cfe_95_small").counted
    assert 100 < len(counted) <= 6 * len(result.days)
    raw = dict(zip(track.times.tolist(), track.values.tolist(), strict=True))
    assert all(raw[int(c.at.timestamp())] == c.value for c in counted)
    over = sum(round(c.value or 0.0, 2) > 0.3 for c in counted)
    assert result.outcome("cfe_95_small").value == pytest.approx(100 * (len(counted) - over) / len(counted))
    assert result.outcome("cfe_max_small").status in ("broken", "cannot tell")  # 86 values above 1 NTU, and zeros
    assert sum(day.hours for day in result.days) == (found.b - found.a).total_seconds() / 3600


@absent
def test_thuringia_with_its_hours_without_data() -> None:
    home = plant(replace={'time_zone = "America/New_York"': 'time_zone = "Europe/Berlin"'})
    columns = dict(thuringia())
    found = stretch(home, columns, date(2016, 9, 1))
    result = evaluate_month(home, found, packs=OURS, month=date(2016, 9, 1))
    track = found.tracks["combined_turbidity"]
    assert result.outcome("cfe_95_small").status == "met"
    assert len(result.outcome("cfe_95_small").counted) == 180
    assert result.outcome("cfe_5ntu_consult").value == pytest.approx(float(track.values.max()))
    marks = track.values[(track.times % 900 == 0) & (track.values >= 0.01)]
    assert result.outcome("cfe_max_small").value == pytest.approx(float(marks.max()))  # the recorded value alone
    dead = [c for c in result.outcome("cfe_max_small").not_counted if "outside" in c.reason]
    assert len(dead) == int(((track.values < 0.01) & (found.tracks["plant_flow"].values > 0)).sum())
    assert result.outcome("ife_trigger_1ntu", "filter_1").status == "cannot tell"  # not measured there
    assert_words(result)


def thuringia() -> Iterator[tuple[str, tuple[list[int], list[float]]]]:
    zone = ZoneInfo("Europe/Berlin")
    with gzip.open(SHARED / "waterworks_thuringia_2016" / "online_1min_2016-08-29_2016-10-10.csv.gz", "rt") as file:
        rows = list(csv.DictReader(file))
    times = [int(datetime.fromisoformat(row["Time"]).replace(tzinfo=zone).timestamp()) for row in rows]
    for channel, column in (("combined_turbidity", "Trueb"), ("entry_chlorine", "Cl"), ("plant_flow", "Fm")):
        scale = 1 / 3600 if channel == "plant_flow" else 1.0
        yield channel, (times, [number(row[column]) * scale for row in rows])


def assert_words(result: MonthResult) -> None:
    for outcome in result.outcomes:
        assert outcome.sentence, outcome.requirement.id
        assert "nan" not in outcome.sentence, outcome.sentence
        assert all(c.at.tzinfo is UTC for c in outcome.counted)

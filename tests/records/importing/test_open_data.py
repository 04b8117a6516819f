"""Open data of many origins. The files are read where they lie, beside the repository; without them this is skipped.

Each file is imported or refused in a clear sentence, and those that can be used are counted and summed a second time
by the csv module.
"""

import csv
import gzip
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import pytest
from tests.records.importing.plants import CHANNELS, EASTERN, NOW, SHARED, Channel, series, utc

from weirhouse.records.importing import FileProblem, mapping, plan, source

pytestmark = pytest.mark.skipif(
    not SHARED.is_dir(), reason="the open data is not beside the repository (../shared/data)"
)

FILES = sorted(p.relative_to(SHARED).as_posix() for p in SHARED.rglob("*") if p.is_file()) if SHARED.is_dir() else []
MORE = {
    "conductivity": Channel("Conductivity", "uS/cm", "S/m"),
    "inflow": Channel("Inflow of a district", "L/s", "m^3/s"),
}


def read(name: str, said: Mapping[str, Any] | None = None, zone: ZoneInfo = EASTERN) -> plan.Plan:
    rules = mapping.of_table(said) if said else mapping.NONE
    return plan.plan(source.read(SHARED / name), {**CHANNELS, **MORE}, zone, rules, NOW)


@pytest.mark.parametrize("name", FILES)
def test_each_file_is_imported_or_refused_in_a_clear_sentence(name: str) -> None:
    try:
        done = read(name)
    except FileProblem as problem:
        text = str(problem)
        assert text.startswith(Path(name).name[:20]) or "mapping" in text
        assert "\n" not in text and text.isprintable() and text.rstrip()[-1] in ".?" and len(text) < 900
        return
    assert done.count > 0 and done.span is not None
    assert utc(1990, 1, 1) <= done.span[0] <= done.span[1] <= NOW.timestamp()
    for one in done.series:
        assert (one.times[1:] > one.times[:-1]).all()


class Hand(NamedTuple):
    """A file, what the operator says of it, and where the csv module finds the same."""

    file: str
    channel: str
    column: str
    first: tuple[int, ...]  # UTC, as worked out by hand from the file and its page
    last: tuple[int, ...]
    scale: float = 1.0  # from the file's unit to the inside unit
    said: Mapping[str, Any] = {}
    zone: str = "America/New_York"
    separator: str = ","


FOOT3 = 0.3048**3
STANDARD = {"clock": "standard"}
ITALY = {"time_zone": "Europe/Rome", "columns": {"DMA 3 (L/s)": "inflow"}}
STATION_B = {
    "time_zone": "America/New_York",
    "columns": {"B_PLNT_TURB_VAL": {"channel": "combined_turbidity", "unit": "NTU"}},
}
BY_HAND = [
    Hand("esopus_creek_usgs/coldbrook_turbidity_2019_jun_aug.csv", "raw_turbidity", "turb_dts12_fnu",
         (2019, 6, 1), (2019, 8, 31, 23, 45)),
    Hand("esopus_creek_usgs/coldbrook_turbidity_wy2017_2020.csv.gz", "raw_turbidity", "turb_dts12_fnu",
         (2016, 10, 1, 5), (2020, 10, 1, 3, 45)),
    Hand("esopus_creek_usgs/little_beaver_kill_two_sensors_2022_2024.csv.gz", "raw_turbidity", "turb_analite_fnu",
         (2022, 11, 10, 5), (2024, 2, 1, 4, 45), said={"columns": {"turb_analite_fnu": "raw_turbidity"}}),
    Hand("st_louis_river_usgs/scanlon_uv_2012_may_jun_all_rows.csv", "raw_turbidity", "Turb_Inst",
         (2012, 5, 1), (2012, 6, 30, 23)),
    Hand("st_louis_river_usgs/scanlon_uv_2012_may_jun_all_rows.csv", "stream_flow", "Flow_Inst",
         (2012, 5, 1), (2012, 6, 30, 23, 45), FOOT3),
    Hand("st_louis_river_usgs/scanlon_uv_water_quality_rows_2011_2015.csv.gz", "raw_ph", "pH_Inst",
         (2011, 4, 22, 5), (2015, 4, 13, 6)),
    Hand("pope_brook_usgs/Turbidity_corrected_WY2017.csv", "raw_turbidity", "Value",
         (2016, 10, 1, 5), (2017, 10, 1, 4, 45)),
    Hand("pope_brook_usgs/Temperature_corrected_WY2017.csv.gz", "raw_temperature", "Value",
         (2016, 10, 1, 5), (2017, 10, 1, 4, 45)),
    Hand("logan_river_labelled/FranklinBasin2014.csv.gz", "raw_turbidity", "turb",
         (2014, 6, 20, 20), (2015, 1, 1, 6, 45), said=STANDARD, zone="America/Denver"),
    Hand("logan_river_labelled/FranklinBasin2020.csv", "raw_ph", "ph",
         (2020, 1, 1, 7), (2020, 5, 2, 6, 45), said=STANDARD, zone="America/Denver"),
    Hand("apalachicola_swmp/apacpwq2013.csv.gz", "raw_temperature", "temp",
         (2013, 1, 1, 5), (2014, 1, 1, 4, 45), said=STANDARD),
    Hand("sandy_creek_labelled/sandy_creek_labelled.csv", "raw_turbidity", "Tur",
         (2017, 3, 11, 15), (2018, 3, 12, 13, 50), zone="Australia/Brisbane"),
    Hand("djankuat_glacier_stream/djanturb.csv", "raw_turbidity", "ntu", (2016, 6, 16, 3, 30), (2016, 6, 22, 4, 20),
         zone="Europe/Moscow"),
    Hand("water_demand_ne_italy/dma_inflow_hourly_2021_2022H1.csv", "inflow", "DMA 3 (L/s)",
         (2020, 12, 31, 23), (2022, 6, 30, 21), 1e-3, ITALY),
    Hand("water_demand_ne_italy/weather_hourly_2021_2022H1.csv", "air_temperature", "Air temperature (°C)",
         (2020, 12, 31, 23), (2022, 6, 30, 21), zone="Europe/Rome"),
    Hand("plant_station_b/stationB_20min_2006.csv", "combined_turbidity", "B_PLNT_TURB_VAL",
         (2006, 2, 21, 5), (2006, 6, 1, 3, 40), said=STATION_B),
    Hand("ysi_sonde_drift/rawData.csv", "raw_ph", "pH", (2015, 9, 18, 16, 10, 49), (2015, 9, 24, 0, 15, 49)),
    Hand("ysi_sonde_drift/hoboRaw.txt", "raw_temperature", "Temp, °C (LGR S/N: 20089046, SEN S/N: 20089046)",
         (2017, 11, 10, 18, 54, 5), (2017, 12, 1, 16, 34, 5), separator="\t"),
    Hand("format_fixtures/logger_Charlies_AW_20170726_20170926.csv", "raw_temperature",
         "Water Temp, °C (LGR S/N: 10246242)", (2017, 7, 26, 21), (2017, 9, 26, 20, 30)),
    Hand("sf_tolt_river_usgs/discharge_2015_2021.rdb", "stream_flow", "149154_00060_00003",
         (2015, 10, 1, 7), (2021, 2, 4, 8), FOOT3, zone="America/Los_Angeles", separator="\t"),
]  # fmt: skip


def column(file: str, heading: str, separator: str) -> list[float]:
    """Return the numbers of a column by the csv module, sorted."""
    path = SHARED / file
    raw = gzip.decompress(path.read_bytes()) if path.suffix == ".gz" else path.read_bytes()
    rows = list(csv.reader(raw.decode("utf-8-sig", "replace").splitlines(), delimiter=separator))
    top = next(k for k, row in enumerate(rows) if heading in row)
    at = rows[top].index(heading)
    out = []
    for row in rows[top + 1 :]:
        try:
            value = float(row[at])
        except (IndexError, ValueError):
            continue
        if math.isfinite(value) and value not in (-9999.0, -99.0):
            out.append(value)
    return out


@pytest.mark.parametrize("hand", BY_HAND, ids=lambda h: f"{h.file}:{h.channel}")
def test_count_sum_first_and_last_agree_with_another_reading(hand: Hand) -> None:
    done = series(read(hand.file, hand.said, ZoneInfo(hand.zone)), hand.channel)
    expected = column(hand.file, hand.column, hand.separator)
    lost = len(expected) - len(done.values)
    assert lost == 0
    assert math.fsum(done.values.tolist()) == pytest.approx(math.fsum(expected) * hand.scale, rel=1e-9)
    assert done.times[0] == utc(*hand.first)
    assert done.times[-1] == utc(*hand.last)

"""Real files, read a second time by readers of a few lines that share nothing with the importer."""

import csv
import json
import re
from datetime import datetime
from pathlib import Path
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from tests.records.importing.plants import Channel, planned, series

from weirhouse.records.importing import FileProblem
from weirhouse.records.importing.plan import Plan

FORMATS = Path(__file__).parents[2] / "data" / "formats"
CUBIC_FOOT = 0.3048**3  # the foot is 0.3048 m by definition


def read(name: str, said: dict[str, object] | None = None, **more: Channel) -> Plan:
    return planned((FORMATS / name).read_bytes(), said, **more)


def flows(done: Plan) -> list[tuple[int, float]]:
    one = series(done, "stream_flow")
    return list(zip(one.times.tolist(), one.values.tolist(), strict=True))


def test_rdb() -> None:
    rows = [line.split("\t") for line in (FORMATS / "RDB1Example.txt").read_text().splitlines() if line[:4] == "USGS"]
    day = [datetime.fromisoformat(row[2]).replace(tzinfo=ZoneInfo("America/New_York")) for row in rows]
    expected = [
        (int(d.timestamp()), pytest.approx(float(row[3]) * CUBIC_FOOT)) for d, row in zip(day, rows, strict=True)
    ]
    assert len(expected) == 31
    assert flows(read("RDB1Example.txt")) == expected


def test_waterml_1() -> None:
    text = (FORMATS / "WaterML1Example.xml").read_text()
    found = re.findall(r'<(?:\w+:)?value [^>]*dateTime="([^"]+)"[^>]*>([-\d.]+)<', text)
    expected = [(int(datetime.fromisoformat(t).timestamp()), pytest.approx(float(v) * CUBIC_FOOT)) for t, v in found]
    assert len(expected) == 192
    assert flows(read("WaterML1Example.xml")) == expected


def test_waterml_2() -> None:
    w = "{http://www.opengis.net/waterml/2.0}"
    points = ElementTree.parse(FORMATS / "WaterML2Example.xml").iter(f"{w}MeasurementTVP")
    found = [(t, float(p.findtext(f"{w}value") or "nan")) for p in points if (t := p.findtext(f"{w}time"))]
    day = [datetime.fromisoformat(t).replace(tzinfo=ZoneInfo("America/New_York")) for t, _ in found]
    expected = [(int(d.timestamp()), pytest.approx(v * CUBIC_FOOT)) for d, (_, v) in zip(day, found, strict=True)]
    assert len(expected) == 8
    assert flows(read("WaterML2Example.xml")) == expected


@pytest.mark.parametrize("name", ["waterservices_iv.json", "waterservices_dv.json"])
@pytest.mark.parametrize("site", ["01491000", "01645000"])
def test_waterml_as_json(name: str, site: str) -> None:
    document = json.loads((FORMATS / name).read_text())
    points = [
        point
        for one in document["value"]["timeSeries"]
        if one["sourceInfo"]["siteCode"][0]["value"] == site and one["variable"]["variableCode"][0]["value"] == "00060"
        for point in one["values"][0]["value"]
    ]
    expected = []
    for point in points:
        at = datetime.fromisoformat(point["dateTime"])
        at = at if at.tzinfo else at.replace(tzinfo=ZoneInfo("America/New_York"))
        expected.append((int(at.timestamp()), pytest.approx(float(point["value"]) * CUBIC_FOOT)))
    assert len(expected) >= 2
    assert flows(read(name, {"where": {"site": site}})) == expected
    with pytest.raises(FileProblem, match="2 places"):
        read(name)


def test_semicolons_decimal_comma_and_bare_carriage_returns() -> None:
    text = (FORMATS / "waterinfo_20231023_017.csv").read_bytes().decode().replace("\r", "\n")
    rows = list(csv.DictReader(text.splitlines(), delimiter=";"))
    expected = []
    for row in rows:
        # "(MET/CET)" in the heading: an hour east of UTC all year
        stamp = f"{row['WAARNEMINGDATUM']} {row['WAARNEMINGTIJD (MET/CET)']} +0100"
        at = datetime.strptime(stamp, "%d-%m-%Y %H:%M:%S %z")
        metres = float(row["NUMERIEKEWAARDE"].replace(",", ".")) * 0.01
        expected.append((int(at.timestamp()), pytest.approx(metres)))
    one = series(read("waterinfo_20231023_017.csv"), "stream_level")
    assert list(zip(one.times.tolist(), one.values.tolist(), strict=True)) == expected
    assert len(expected) == 5


def test_results_of_the_water_quality_portal() -> None:
    with (FORMATS / "wqp_results.txt").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["ActivityStartTime/TimeZoneCode"] for row in rows} == {"CDT"}
    expected = {}
    for row in rows:
        at = datetime.fromisoformat(f"{row['ActivityStartDate']} {row['ActivityStartTime/Time']}-05:00")
        expected[int(at.timestamp())] = pytest.approx(float(row["ResultMeasureValue"]) * 1e-4)  # 1 uS/cm = 0.0001 S/m
    assert len(expected) == 5
    done = read("wqp_results.txt", conductivity=Channel("Conductivity", "uS/cm", "S/m"))
    assert {result.time: result.value for result in done.results} == expected

"""WaterML 1.1 and 2.0, WaterML as JSON, and the surveys' RDB."""

import json
import math

import pytest
from tests.records.importing.plants import planned, series, times, utc, values, why

from weirhouse.records.importing import FileProblem

WATERML_2 = """<?xml version="1.0" encoding="UTF-8"?>
<wml2:Collection xmlns:wml2="http://www.opengis.net/waterml/2.0" xmlns:om="http://www.opengis.net/om/2.0"
 xmlns:xlink="http://www.w3.org/1999/xlink" xmlns:swe="http://www.opengis.net/swe/2.0"
 xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
 <wml2:observationMember><om:OM_Observation>
  <om:observedProperty xlink:title="Temperature, water"/><om:featureOfInterest xlink:href="brook"/>
  <om:result><wml2:MeasurementTimeseries>
   <wml2:defaultPointMetadata><wml2:DefaultTVPMeasurementMetadata>
     <wml2:qualifier><swe:Category><swe:value>P</swe:value></swe:Category></wml2:qualifier>
     <wml2:uom code="degF"/></wml2:DefaultTVPMeasurementMetadata></wml2:defaultPointMetadata>
   <wml2:point><wml2:MeasurementTVP><wml2:time>2024-06-05T10:00:00-04:00</wml2:time><wml2:value>50</wml2:value>
   </wml2:MeasurementTVP></wml2:point>
   <wml2:point><wml2:MeasurementTVP><wml2:time>2024-06-05T14:15:00Z</wml2:time><wml2:value xsi:nil="true"/>
   </wml2:MeasurementTVP></wml2:point>
   <wml2:point><wml2:MeasurementTVP><wml2:time>2024-06-05T10:30:00-04:00</wml2:time><wml2:value>59</wml2:value>
     <wml2:metadata><wml2:TVPMeasurementMetadata><wml2:qualifier><swe:Category><swe:value>e</swe:value></swe:Category>
     </wml2:qualifier></wml2:TVPMeasurementMetadata></wml2:metadata></wml2:MeasurementTVP></wml2:point>
  </wml2:MeasurementTimeseries></om:result></om:OM_Observation></wml2:observationMember>
</wml2:Collection>
"""

WATERML_1 = """<?xml version="1.0"?>
<timeSeriesResponse xmlns="http://www.cuahsi.org/waterML/1.1/"><timeSeries><sourceInfo><siteCode>01</siteCode></sourceInfo>
<variable><variableCode>63680</variableCode><variableName>Turbidity, FNU</variableName>
<unit><unitCode>FNU</unitCode></unit><noDataValue>-999999.0</noDataValue></variable>
<values><value dateTime="2024-06-05T10:00:00" timeOffset="-05:00" qualifiers="P">4.5</value>
<value dateTime="2024-06-05T10:15:00" timeOffset="-05:00" qualifiers="P">-999999</value>
<value dateTime="2024-06-05T10:30:00" timeOffset="-05:00" qualifiers="P e">5.5</value>
<value dateTime="2024-06-05T10:45:00" timeOffset="-05:00" censorCode="lt">0.1</value></values></timeSeries>
</timeSeriesResponse>
"""


def document(sites: tuple[str, ...] = ("01",), points: list[dict[str, object]] | None = None) -> str:
    base: list[dict[str, object]] = [
        {"value": "4.5", "qualifiers": ["P"], "dateTime": "2024-06-05T10:00:00.000-04:00"},
        {"value": "-999999", "qualifiers": ["P", "Eqp"], "dateTime": "2024-06-05T10:15:00.000-04:00"},
        {"value": "5.5", "qualifiers": ["P", "e"], "dateTime": "2024-06-05T10:30:00.000-04:00"},
    ]
    return json.dumps({"value": {"timeSeries": [
        {
            "sourceInfo": {"siteName": "BROOK", "siteCode": [{"value": site}]},
            "variable": {
                "variableCode": [{"value": "63680"}], "variableName": "Turbidity, water, FNU",
                "unit": {"unitCode": "FNU"}, "noDataValue": -999999.0, "options": {"option": []},
            },
            "values": [{"value": points or base}],
        }
        for site in sites
    ]}})  # fmt: skip


def test_waterml_2() -> None:
    done = planned(WATERML_2)
    assert values(done, "raw_temperature") == [pytest.approx(10.0), pytest.approx(15.0)]
    assert times(done, "raw_temperature") == [utc(2024, 6, 5, 14), utc(2024, 6, 5, 14, 30)]
    assert series(done, "raw_temperature").flags.tolist() == [0, 1]
    assert done.parsed.form == "WaterML 2" and done.parsed.rows == 3


def test_waterml_1() -> None:
    done = planned(WATERML_1)
    assert values(done, "raw_turbidity") == [4.5, 5.5, 0.1]
    assert times(done, "raw_turbidity")[0] == utc(2024, 6, 5, 15)
    assert series(done, "raw_turbidity").flags.tolist() == [0, 1, 3]
    assert done.parsed.gaps == {"-999999": 1} or done.parsed.gaps == {"-1e+06": 1}


def test_waterml_as_json() -> None:
    done = planned(document())
    assert values(done, "raw_turbidity") == [4.5, 5.5]
    assert times(done, "raw_turbidity") == [utc(2024, 6, 5, 14), utc(2024, 6, 5, 14, 30)]


def test_a_site_is_chosen_in_the_mapping() -> None:
    text = document(("01", "02"))
    with pytest.raises(FileProblem, match=r'where = \{ site = "01" \}'):
        planned(text)
    assert values(planned(text, {"where": {"site": "02"}}), "raw_turbidity") == [4.5, 5.5]


def test_words_in_place_of_values_and_bad_stamps() -> None:
    done = planned(document(points=[
        {"value": "Ice", "qualifiers": [], "dateTime": "2024-06-05T10:00:00-04:00"},
        {"value": None, "qualifiers": [], "dateTime": "2024-06-05T10:15:00-04:00"},
        {"value": "4.x", "qualifiers": [], "dateTime": "2024-06-05T10:30:00-04:00"},
        {"value": "5", "qualifiers": [], "dateTime": "2024-02-30T10:30:00-04:00"},
        {"value": "6", "qualifiers": [], "dateTime": "2024-06-05T10:45:00-04:00"},
    ]))  # fmt: skip
    assert values(done, "raw_turbidity") == [6.0]
    assert set(why(done).lines) == {3, 4}


RDB = """# ---------------------------------- WARNING ----------------------------------------
# Data for the following 1 site(s) are contained in this file
#    USGS 01 BROOK AT EMBERLY
# TS   parameter     Description
# 1    00060     Discharge, cubic feet per second
# 2    63680     Turbidity, water, unfiltered, monochrome near infra-red LED light, FNU
#
agency_cd\tsite_no\tdatetime\ttz_cd\t1_00060\t1_00060_cd\t2_63680\t2_63680_cd
5s\t15s\t20d\t6s\t14n\t10s\t14n\t10s
USGS\t01\t2024-03-10 01:45\tEST\t12.0\tA\t4.5\tP
USGS\t01\t2024-03-10 03:00\tEDT\tIce\tP\t4.6\tP
USGS\t01\t2024-03-10 03:15\tEDT\t12.5\tA:e\tEqp\tP:Eqp
USGS\t01\t2024-03-10 03:30\tEDT\t***\tP\t4.8\tP:>
USGS\t01\t2024-03-10 03:45\tEDT\t12.9\tA [91]\t\t
"""


def test_rdb_with_words_codes_and_the_change_of_the_clocks() -> None:
    done = planned(RDB)
    assert times(done, "stream_flow") == [utc(2024, 3, 10, 6, 45), utc(2024, 3, 10, 7, 15), utc(2024, 3, 10, 7, 45)]
    assert values(done, "stream_flow") == [pytest.approx(v * 0.3048**3) for v in (12.0, 12.5, 12.9)]
    assert series(done, "stream_flow").flags.tolist()[:2] == [0, 1]
    assert times(done, "raw_turbidity") == [utc(2024, 3, 10, 6, 45), utc(2024, 3, 10, 7), utc(2024, 3, 10, 7, 30)]
    assert series(done, "raw_turbidity").flags.tolist() == [0, 0, 4]
    assert done.parsed.gaps == {"Ice": 1, "Eqp": 1, "***": 1}
    assert not done.parsed.refused.count and done.parsed.rows == 5


def test_rdb_of_several_sites_is_asked_about() -> None:
    text = RDB + "USGS\t02\t2024-03-10 03:45\tEDT\t99.0\tA\t9\tP\n"
    with pytest.raises(FileProblem, match=r'where = \{ "site_no" = '):
        planned(text)
    assert values(planned(text, {"where": {"site_no": "02"}}), "raw_turbidity") == [9.0]


def test_a_gap_is_no_value() -> None:
    assert not any(math.isnan(v) for v in values(planned(RDB), "raw_turbidity"))

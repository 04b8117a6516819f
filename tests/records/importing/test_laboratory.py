"""Tables with one value to a row: what laboratories and data portals send."""

import math

import pytest
from tests.records.importing.plants import Channel, planned, utc, values, why

from weirhouse.records.importing import FileProblem

WQX = (
    "OrganizationIdentifier,ActivityTypeCode,ActivityStartDate,ActivityStartTime/Time,ActivityStartTime/TimeZoneCode,"
    "MonitoringLocationIdentifier,ResultDetectionConditionText,CharacteristicName,ResultSampleFractionText,"
    "ResultMeasureValue,ResultMeasure/MeasureUnitCode,DetectionQuantitationLimitMeasure/MeasureValue,"
    "DetectionQuantitationLimitMeasure/MeasureUnitCode\n"
)
IRON = {"iron": Channel("Iron", "mg/L", "g/m^3")}


def test_results_keep_what_was_written() -> None:
    done = planned(
        "Sample Date,Analyte,Result,Units,Qualifier\n6/25/2024 10:00,Total Organic Carbon,2.30,mg/L,\n"
        "6/25/2024 10:00,Alkalinity,<20,mg/L as CaCO3,\n6/26/2024 10:00,Total Organic Carbon,0.5,mg/L,U\n"
        "6/27/2024 10:00,Total Organic Carbon,2.9,mg/L,J\n6/28/2024 10:00,Total Organic Carbon,ND,mg/L,\n"
    )
    assert not done.series
    got = [(r.channel, r.time, r.value, r.text, r.qualifier, r.flag) for r in done.results]
    assert got == [
        ("toc", utc(2024, 6, 25, 14), 2.3, "2.30", "", ""),
        ("toc", utc(2024, 6, 26, 14), 0.5, "<0.5", "ND", ""),
        ("toc", utc(2024, 6, 27, 14), 2.9, "2.9", "", "doubtful"),
        ("toc", utc(2024, 6, 28, 14), None, "ND", "ND", ""),
        ("raw_alkalinity", utc(2024, 6, 25, 14), 20.0, "<20", "<", ""),
    ]


def test_a_result_not_detected_takes_the_limit_beside_it_in_its_own_unit() -> None:
    done = planned(
        WQX
        + "L,Sample-Routine,2024-06-25,09:00:00,EST,A,,Iron,Total,210,ug/L,,\n"
        + "L,Sample-Routine,2024-06-26,09:00:00,EST,A,Not Detected,Iron,Total,,ug/L,0.02,mg/L\n"
        + "L,Sample-Routine,2024-06-27,09:00:00,EST,A,Not Detected,Iron,Total,,,30,ug/L\n",
        **IRON,
    )
    assert [(r.value, r.qualifier) for r in done.results] == [
        (pytest.approx(0.21), ""), (pytest.approx(0.02), "ND"), (pytest.approx(0.03), "ND"),
    ]  # fmt: skip
    assert done.results[0].time == utc(2024, 6, 25, 14)


def test_one_parameter_in_two_units_goes_to_one_channel() -> None:
    done = planned(
        "date,parameter,value,unit\n2024-06-25 10:00,iron,0.3,mg/L\n2024-06-26 10:00,iron,250,ug/L\n"
        "2024-06-25 10:00,iron,300,ug/L\n",
        **IRON,
    )
    assert values(done, "iron") == [pytest.approx(0.3), pytest.approx(0.25)]
    assert done.repeated == 1


def test_fractions_are_kept_apart_and_asked_about() -> None:
    text = (
        WQX + "L,Sample,2024-06-25,09:00:00,EST,A,,Iron,Total,0.3,mg/L,,\n"
        "L,Sample,2024-06-25,09:00:00,EST,A,,Iron,Dissolved,0.1,mg/L,,\n"
    )
    with pytest.raises(FileProblem, match="Which column is iron: Iron, Total, Iron, Dissolved"):
        planned(text, **IRON)
    done = planned(text, {"columns": {"Iron, Total": "iron"}}, **IRON)
    assert [r.value for r in done.results] == [0.3]


def test_quality_control_is_left_out_and_said() -> None:
    done = planned(
        WQX + "L,Sample-Routine,2024-06-25,09:00:00,EST,A,,Iron,Total,0.3,mg/L,,\n"
        "L,Quality Control Sample-Field Blank,2024-06-25,09:00:00,EST,A,,Iron,Total,0.0,mg/L,,\n",
        **IRON,
    )
    assert [r.value for r in done.results] == [0.3]
    assert "1 results of quality control (blanks, spikes, duplicates) are left out." in done.parsed.remarks


def test_places_of_the_plant_make_channels_and_foreign_places_are_asked_about() -> None:
    text = (
        "date,location,parameter,value,unit\n2024-06-25 10:00,Raw,Turbidity,5,NTU\n"
        "2024-06-25 10:00,Settled,Turbidity,1,NTU\n2024-06-25 10:00,Entry point,Free chlorine,1.2,mg/L\n"
    )
    done = planned(text)
    assert {s.channel: float(s.values[0]) for s in done.series} == {
        "raw_turbidity": 5.0, "settled_turbidity": 1.0, "entry_chlorine": 1.2,
    }  # fmt: skip
    with pytest.raises(FileProblem, match=r'where = \{ "location" = '):
        planned(text.replace("Raw", "Mill Lane 3").replace("Settled", "Upper Farm"))
    done = planned(
        text.replace("Raw", "Mill Lane 3").replace("Settled", "Upper Farm"), {"where": {"location": "Mill Lane 3"}}
    )
    assert values(done, "raw_turbidity") == [5.0]


def test_a_narrow_logger_table_without_codes_is_a_series() -> None:
    rows = "".join(f"2024-06-05 10:{k:02d};plant_flow;{140 + k};gpm\n" for k in range(60))
    done = planned("time;channel;value;unit\n" + rows)
    assert len(values(done, "plant_flow")) == 60
    assert values(done, "plant_flow")[0] == pytest.approx(140 * 231 * 0.0254**3 / 60)  # the gallon is 231 in3


def test_two_results_at_one_time_both_stand() -> None:
    done = planned(
        "date,parameter,value,unit,qualifier\n2024-06-25 10:00,iron,0.3,mg/L,\n2024-06-25 10:00,iron,0.4,mg/L,\n"
        "2024-06-25 10:00,iron,0.4,mg/L,\n",
        **IRON,
    )
    assert [r.value for r in done.results] == [0.3, 0.4]
    assert done.repeated == 1


def test_bad_rows_are_refused_with_line_and_reason_and_the_others_go_in() -> None:
    done = planned(
        "date,parameter,value,unit,qualifier\n2024-06-25 10:00,iron,0.3,mg/L,\n2024-06-25 10:00,iron,O.4,mg/L,\n"
        "2024-13-25 10:00,iron,0.5,mg/L,\n",
        **IRON,
    )
    assert [r.value for r in done.results] == [0.3]
    assert why(done).lines == {3: 'iron: "O.4" is not a number', 4: "the time is not a date and time that exists"}


def test_present_and_absent_are_kept_as_written() -> None:
    done = planned(
        "date,parameter,result,unit,qualifier\n2024-06-25 10:00,Total coliform,Absent,,\n"
        "2024-06-26 10:00,Total coliform,<1,,\n2024-06-27 10:00,Total coliform,Present,,\n"
    )
    assert [(r.value, r.qualifier, r.text) for r in done.results] == [
        (None, "ND", "Absent"), (1.0, "<", "<1"), (0.0, ">", "Present"),
    ]  # fmt: skip


def test_a_wide_table_may_be_called_a_laboratory_s() -> None:
    done = planned("date,TOC (mg/L)\n2024-06-25,2.1\n2024-06-26,<0.5\n", {"kind": "laboratory"})
    assert [(r.value, r.qualifier) for r in done.results] == [(2.1, ""), (0.5, "<")]
    assert all(not math.isnan(r.value or 0.0) for r in done.results)

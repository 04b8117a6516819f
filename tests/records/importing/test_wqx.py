"""Results in the columns of the Water Quality Exchange, read from files of the Water Quality Portal.

The two files are real and unchanged: `tests/data/formats` says where they come from. What is expected of them was read
off the files by hand.
"""

from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from weirhouse.records.importing import FileProblem, wqx
from weirhouse.records.model import LAB_FLAGS

DATA = Path(__file__).parents[2] / "data" / "formats"
ZONE = ZoneInfo("America/Chicago")


def brought(name: str) -> wqx.Brought:
    return wqx.read(name, (DATA / name).read_bytes(), ZONE, "x")


def test_wqx_3_with_what_was_not_detected() -> None:
    found = brought("samples_results.txt")
    assert (found.rows, len(found.samples), len(found.results), found.refused) == (67, 3, 67, ())
    first = min(found.samples, key=lambda one: one.taken_at)
    assert first.taken_at == datetime(2023, 6, 20, 14, 25, tzinfo=UTC)  # 09:25 CDT
    assert first.point == "BLACK EARTH CREEK AT BLACK EARTH, WI"
    gone = [one for one in found.results if one.qualifier]
    assert [one.text for one in gone] == ["Not Detected"] * 4
    assert all(one.value is None and one.limit is not None and one.limit_kind == "reporting" for one in gone)
    assert sorted(float(one.limit or 0) for one in gone) == [0.02, 0.02, 0.026, 0.22]
    assert {flag for one in found.results for flag in one.lab_flags} == {"H"}
    nitrite = [one for one in found.results if one.analyte == "nitrite"]
    assert {one.fraction for one in nitrite} == {"Filtered field and/or lab"}


def test_wqx_2_of_the_field() -> None:
    found = brought("wqp_results.txt")
    assert [one.text for one in found.results] == ["1000", "471", "860", "750", "800"]
    assert [one.value for one in found.results] == pytest.approx([0.1, 0.0471, 0.086, 0.075, 0.08])  # 1 uS/cm: 1e-4 S/m
    assert found.samples[0].taken_at.tzinfo is not None and len(found.samples) == 5


HEAD = (
    "ActivityIdentifier,ActivityStartDate,MonitoringLocationName,CharacteristicName,ResultDetectionConditionText,"
    "ResultMeasureValue,ResultMeasure/MeasureUnitCode,DetectionQuantitationLimitTypeName,"
    "DetectionQuantitationLimitMeasure/MeasureValue,DetectionQuantitationLimitMeasure/MeasureUnitCode,MeasureQualifierCode"
)


@pytest.mark.parametrize(
    ("row", "value", "qualifier", "limit", "kind", "flags"),
    [
        ("Lead,,2.1,ug/l,,,,", 0.0021, "", None, "", ()),
        ("Lead,Not Detected,,,Method Detection Level,0.5,ug/l,U", None, "ND", 0.0005, "detection", ("U",)),
        ("Lead,Present Below Quantification Limit,,,Practical Quantitation Limit,1,ug/l,J", None, "<", 0.001,
         "quantification", ("J",)),
        ("Lead,,<0.5,ug/l,,,,", None, "<", 0.0005, "reporting", ()),
        ("Lead,Present Above Quantification Limit,,,Upper Quantitation Limit,50,ug/l,", None, ">", 0.05, "range", ()),
        ("Lead,Not Detected,,,,,,", None, "ND", None, "", ()),
        ("Lead,,\"1,200\",ug/l,,,,B", 1.2, "", None, "", ("B",)),
    ],
)  # fmt: skip
def test_conditions_values_and_marks(
    row: str, value: float | None, qualifier: str, limit: float | None, kind: str, flags: tuple[str, ...]
) -> None:
    text = f"{HEAD}\nA,2026-06-10,Mill Lane,{row}\n"
    (one,) = wqx.read("x.csv", text.encode(), ZONE, "x").results
    assert one.value == (None if value is None else pytest.approx(value))
    assert one.limit == (None if limit is None else pytest.approx(limit))
    assert (one.qualifier, one.limit_kind, one.lab_flags) == (qualifier, kind, flags)
    assert set(flags) <= set(LAB_FLAGS)


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("Lead,,NaN,ug/l,,,,", '"NaN" is not a number'),
        ("Lead,,1e400,ug/l,,,,", '"1e400" is not a usable number'),
        ("Lead,,\"0,12\",ug/l,,,,", '"0,12" is not a number'),
        ("Lead,,１２,ug/l,,,,", "is not a number"),
        ("Lead,Systematic Contamination,,,,,,", "is not known"),
        ("Lead,,,,,,,", "neither a value nor a condition"),
        (",,1,ug/l,,,,", "does not say of what"),
    ],
)  # fmt: skip
def test_a_line_that_cannot_be_used_is_refused_by_its_number(row: str, why: str) -> None:
    text = f"{HEAD}\nA,2026-06-10,Mill Lane,Lead,,1,ug/l,,,,\nA,2026-06-10,Mill Lane,{row}\n"
    found = wqx.read("x.csv", text.encode(), ZONE, "x")
    ((line, said),) = found.refused
    assert line == 3 and why in said
    assert len(found.results) == 1
    with pytest.raises(FileProblem, match="no result that can be used"):
        wqx.read("x.csv", f"{HEAD}\nA,2026-06-10,Mill Lane,{row}\n".encode(), ZONE, "x")


def test_what_is_no_table_of_results_is_told_apart() -> None:
    assert wqx.is_wqx((DATA / "samples_results.txt").read_bytes())
    assert not wqx.is_wqx(b"time,turbidity\n2026-06-10 10:00,3\n")
    with pytest.raises(FileProblem, match="these are not results as WQX has them"):
        wqx.read("x.csv", b"a,b\n1,2\n", ZONE, "x")

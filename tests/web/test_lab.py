"""Samples on the pages: taken, handed over, found, in time or not, ready for a report or what blocks it by name."""

import csv
import io
import re
import shutil
import uuid
from html import unescape
from pathlib import Path

import pytest
from tests.desk.scene import NOW, Scene
from tests.web.accounts import signed_in
from tests.web.conftest import OURS, Client, client_of

from weirhouse.desk import lab
from weirhouse.records.closing import closing
from weirhouse.records.model import Result, Sample
from weirhouse.records.store import Store

DAY = "2026-06-17"  # NOW is 14:00 on the plant's clock
# A tabular summary may take the place of the laboratory's report only with all of these (40 CFR 141.33(a), as State
# rules that mirror it give it).
SUMMARY = (
    "Date of sampling", "Place", "Time of sampling", "Sampler", "Kind of sample", "Date of analysis", "Laboratory",
    "Person who analysed", "Method", "Result",
)  # fmt: skip


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("lab") / "plant"
    Scene(folder).quiet().build().close()
    return folder


@pytest.fixture
def own(quiet: Path, tmp_path: Path) -> tuple[Client, Path]:
    folder = shutil.copytree(quiet, tmp_path / "plant", ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    return signed_in(client_of(folder, NOW), folder, now=NOW), folder


def post(client: Client, path: str, **form: str) -> tuple[int, str]:
    answer = client.post(path, data=form, headers=OURS)
    return answer.status_code, answer.headers.get("location", "") or unescape(answer.text)


def said(html: str) -> str:
    return " ".join(re.findall(r'role="alert"><p>(.*?)</p>', html, re.DOTALL))


def taken(client: Client, *tests: str, **more: str) -> str:
    form = {
        "id": str(uuid.uuid4()), "point": "12 Mill Lane", "time": f"{DAY}T09:00", "sampler": "A. Operator",
        "purpose": "routine", "laboratory": "County laboratory", "person": "x", "note": "",
        **{f"test.{test}": "yes" for test in tests}, **more,
    }  # fmt: skip
    status, where = post(client, "/samples/new", **form)
    assert status == 303, said(where)
    return where


def result(client: Client, path: str, analyte: str, text: str, **more: str) -> tuple[int, str]:
    form = {
        "id": str(uuid.uuid4()), "analyte": analyte, "text": text, "unit": "", "method": "EPA 552.2",
        "analysed": f"{DAY}T13:00", "analyst": "J. Adeyemi", "laboratory": "", "person": "x", **more,
    }  # fmt: skip
    return post(client, f"{path}/result", **form)


def exported(client: Client) -> list[dict[str, str]]:
    answer = client.get("/samples.csv")
    assert "attachment" in answer.headers["content-disposition"]
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


def test_a_sample_stands_in_the_log_and_awaits_its_results(own: tuple[Client, Path]) -> None:
    client, folder = own
    path = taken(client, "coliform", "nitrate")
    page = unescape(client.get(path).text)
    # 40 CFR 136.3 Table II (from memory): coliform 30 h, nitrate 48 h
    assert "Awaits Total coliform, Nitrate as N; must be begun by Thursday 18 June, 15:00." in page
    assert "100 mL, sterile; plastic" in page
    log = unescape(client.get(f"/log/{DAY}").text)
    assert "Sample taken" in log and "to the laboratory: Total coliform, Nitrate as N" in log
    assert "1 sample; 1 awaits results" in unescape(client.get("/samples").text)
    with Store.open(folder, read_only=True) as store:
        (sample,) = store.samples()
    assert (sample.point, sample.person, sample.custody) == ("12 Mill Lane", "A. Operator", ())
    status, html = post(client, "/samples/new", id="", point="X", time=f"{DAY}T09:00", sampler="A", person="x")
    assert status == 422 and "What it is looked at for is not said" in said(html) and 'value="X"' in html
    status, html = post(
        client, "/samples/new", id="", point="", time=f"{DAY}T09:00", sampler="A", person="x", **{"test.tthm": "yes"}
    )
    assert status == 422 and "has no place" in said(html)


def test_what_was_not_detected_stays_a_condition_with_its_limit_everywhere(own: tuple[Client, Path]) -> None:
    client, folder = own
    path = taken(client, "haa5", "tthm", "nitrate", "coliform")
    for analyte, text, more in (
        ("haa5", "<6.0", {"prepared": f"{DAY}T12:00"}), ("tthm", "31.4", {}),
        ("nitrate", "ND", {"limit": "0.05", "limit_kind": "detection", "flag.U": "yes"}), ("coliform", "absent", {}),
    ):  # fmt: skip
        status, where = result(client, path, analyte, text, **more)
        assert status == 303, said(where)
    with Store.open(folder, read_only=True) as store:
        kept = {one.analyte: one for one in store.results()}
    assert (kept["haa5"].value, kept["haa5"].qualifier, kept["haa5"].limit) == (None, "<", pytest.approx(0.006))
    assert (kept["nitrate"].value, kept["nitrate"].limit_kind, kept["nitrate"].lab_flags) == (None, "detection", ("U",))
    assert kept["tthm"].value == pytest.approx(0.0314)
    page = unescape(client.get(path).text)
    assert "below the reporting limit of 6.00 µg/L" in page and "31.4 µg/L" in page
    assert "below the detection limit of 0.0500 mg/L" in page and "absent" in page
    rows = {row["Looked for"]: row for row in exported(client)}
    acids = rows["Haloacetic acids (five)"]
    assert (acids["Condition"], acids["Result"], acids["Limit"], acids["Unit"]) == ("below the limit", "", "6", "µg/L")
    assert rows["Total trihalomethanes"]["Result"] == "31.4"
    assert rows["Total coliform"]["Result"] == "" and rows["Total coliform"]["Condition"] == "absent"


def test_a_missing_field_blocks_the_report_by_name(own: tuple[Client, Path]) -> None:
    client, _ = own
    assert set(SUMMARY) <= set(lab.COLUMNS)
    path = taken(client, "tthm", laboratory="")
    result(client, path, "tthm", "31.4", analyst="", method="", analysed="")
    page = unescape(client.get(path).text)
    assert "Not ready for a report: it lacks laboratory, Total trihalomethanes: laboratory," in page
    for lack in ("date of analysis", "person who analysed", "method"):
        assert f"Total trihalomethanes: {lack}" in page
    (row,) = exported(client)
    assert row["Lacks"] == "laboratory; laboratory; date of analysis; person who analysed; method"


@pytest.mark.parametrize(
    ("field", "name"),
    [("analysed_at", "date of analysis"), ("analyst", "person who analysed"), ("method", "method"), ("text", "result"),
     ("laboratory", "laboratory"), ("limit", "limit of what was not detected")],
)  # fmt: skip
def test_each_field_of_the_summary_blocks_when_it_is_gone(field: str, name: str) -> None:
    sample = Sample(point="x", purpose="routine", taken_at=NOW, sampler="a", laboratory="", person="a")
    whole = Result(
        sample=sample.id, analyte="tthm", value=0.03, unit="ug/L", text="30", method="m", laboratory="l", analyst="j",
        analysed_at=NOW, person="a",
    )  # fmt: skip
    assert lab.result_lacks(whole, sample) == []
    gone = {
        "analysed_at": {"analysed_at": None}, "text": {"value": None, "text": ""},
        "limit": {"value": None, "text": "ND", "qualifier": "ND"},
    }.get(field, {field: ""})  # fmt: skip
    assert lab.result_lacks(Result(**{**{f: getattr(whole, f) for f in whole.__slots__}, **gone}), sample) == [name]


def test_a_bottle_held_too_long_says_so(own: tuple[Client, Path]) -> None:
    client, _ = own
    path = taken(client, "nitrate", time="2026-06-14T09:00")
    result(client, path, "nitrate", "0.31", analysed=f"{DAY}T10:00")  # 73 h, where 48 h are allowed
    page = unescape(client.get(path).text)
    assert "3 days of 2 days" in page or "73 h of 48 h" in page, re.findall(r"held[^<]*", page)
    assert "held too long" in page
    later = taken(client, "nitrate", time="2026-06-16T09:00", id=str(uuid.uuid4()))
    result(client, later, "nitrate", "0.31", analysed=f"{DAY}T10:00")
    assert "held too long</span>" not in client.get(later).text.split("Who had it")[0]


def test_custody_is_added_step_by_step_and_the_results_stay(own: tuple[Client, Path]) -> None:
    client, _ = own
    path = taken(client, "tthm")
    result(client, path, "tthm", "31.4")
    status, where = post(client, f"{path}/handover", to="Courier", time=f"{DAY}T12:00", condition="on ice", person="x")
    assert status == 303 and where != path
    status, where = post(client, f"{where}/handover", to="Laboratory", time=f"{DAY}T13:00", condition="4 C", person="x")
    assert status == 303
    page = unescape(client.get(where).text)
    assert page.index("Courier, took it over 2026-06-17 12:00: on ice") < page.index("Laboratory, took it over")
    assert "31.4 µg/L" in page and "Ready for a report" in page
    status, html = post(client, f"{where}/handover", to="Late", time=f"{DAY}T08:00", condition="", person="x")
    assert status == 422 and "lies before" in said(html)
    assert "31.4 µg/L" in unescape(client.get(path).text)  # an old address still leads to it
    sheet = unescape(client.get(f"{where}/sheet").text)
    for words in ("Chain of custody", "12 Mill Lane", "Total trihalomethanes", "14 days", "Courier", "Labels"):
        assert words in sheet


def test_a_result_and_a_sample_are_put_right_with_a_reason(own: tuple[Client, Path]) -> None:
    client, folder = own
    path = taken(client, "haa5", laboratory="")
    result(client, path, "haa5", "<6.0", **{"flag.U": "yes"})
    with Store.open(folder, read_only=True) as store:
        (old,) = store.results()
    page = unescape(client.get(f"{path}?correct={old.id}").text)
    assert 'name="text" value="<6.0"' in page and f'name="replaces" value="{old.id}"' in page
    assert result(client, path, "haa5", "6.4", replaces=old.id, reason=" ")[0] == 422
    assert result(client, path, "haa5", "6.4", replaces=old.id, reason="misread the report")[0] == 303
    form = {"point": "12 Mill Lane", "time": f"{DAY}T09:00", "sampler": "A. Operator", "purpose": "routine",
            "laboratory": "County laboratory", "person": "x", "note": ""}  # fmt: skip
    assert 'value="12 Mill Lane"' in client.get(f"{path}/correct").text
    status, html = post(client, f"{path}/correct", **form, reason="")
    assert status == 422 and "The reason is empty" in said(html)
    form["time"] = f"{DAY}T09:30"
    status, where = post(client, f"{path}/correct", **form, reason="laboratory forgotten")
    assert status == 303
    after = unescape(client.get(where).text)
    assert "6.4 µg/L" in after and "County laboratory" in after and "Ready for a report" in after
    with Store.open(folder, read_only=True) as store:
        assert [one.reason for one in store.history(old.id)] == ["", "misread the report"]
        assert len(store.samples()) == len(store.results()) == 1
        (line,), (sample,) = store.events("sample"), store.samples()
        assert line.started_at == sample.taken_at == NOW.replace(hour=13, minute=30)
        assert store.verify() == []


def test_a_sample_is_withdrawn_with_its_line_in_the_log_or_taken_back(own: tuple[Client, Path]) -> None:
    client, folder = own
    path = taken(client, "tthm")
    result(client, path, "tthm", "31.4")
    with Store.open(folder, read_only=True) as store:
        (kept,) = store.results()
    assert post(client, f"/log/entry/{kept.id}/withdraw", reason="of another sample", person="x")[0] == 303
    assert "Awaits Total trihalomethanes" in client.get(path).text
    assert post(client, f"/log/entry/{path.rpartition('/')[2]}/withdraw", reason="bottle broke", person="x")[0] == 303
    with Store.open(folder, read_only=True) as store:
        assert store.samples() == [] and store.events("sample") == []
    assert client.get(path).status_code == 404
    taken(client, "tthm", point="Chapel Street")
    page = client.get(f"/log/{DAY}").text
    entry = re.search(r'action="/log/undo"><input type="hidden" name="entry" value="([^"]+)"', page)
    assert entry is not None
    assert post(client, "/log/undo", entry=entry[1])[0] == 303
    with Store.open(folder, read_only=True) as store:
        assert store.samples() == [] and store.events("sample") == []


@pytest.mark.parametrize(
    ("analyte", "text", "more", "says"),
    [
        ("tthm", "NaN", {}, "NaN"),
        ("tthm", "1e400", {}, "1e400"),
        ("tthm", "0,12", {}, "comma"),
        ("tthm", "１２", {}, "is not a number"),
        ("tthm", "", {}, "The result is empty"),
        ("tthm", "31", {"unit": "NTU"}, '"NTU" does not measure'),
        ("tthm", "<", {}, "empty"),
        ("tthm", "9" * 10_000, {}, "usable number"),
        ("tthm", "31", {"analysed": "later"}, "is not a time"),
        ("nitrate", "0.3", {"flag.U": "yes"}, "holds a value as well"),
    ],
)
def test_a_result_that_cannot_be_is_refused_in_one_sentence(
    own: tuple[Client, Path], analyte: str, text: str, more: dict[str, str], says: str
) -> None:
    client, folder = own
    path = taken(client, analyte)
    status, html = result(client, path, analyte, text, **more)
    assert status == 422 and says in said(html), said(html)
    with Store.open(folder, read_only=True) as store:
        assert store.results() == []


def test_text_of_people_is_no_formula_in_the_export(own: tuple[Client, Path]) -> None:
    client, _ = own
    taken(client, "tthm", point="=HYPERLINK(1)", note="@x")
    assert exported(client)[0]["Place"] == "'=HYPERLINK(1)"


WQX = (
    b"ActivityIdentifier,ActivityTypeCode,ActivityStartDate,ActivityStartTime/Time,ActivityStartTime/TimeZoneCode,"
    b"MonitoringLocationName,CharacteristicName,ResultDetectionConditionText,ResultMeasureValue,"
    b"ResultMeasure/MeasureUnitCode,DetectionQuantitationLimitTypeName,DetectionQuantitationLimitMeasure/MeasureValue,"
    b"DetectionQuantitationLimitMeasure/MeasureUnitCode,ResultAnalyticalMethod/MethodIdentifier,LaboratoryName,"
    b"AnalysisStartDate\r\n"
    b"A1,Sample-Routine,2026-06-10,09:00:00,EDT,Mill Lane,Nitrate,Not Detected,,,Method Detection Level,0.05,mg/l,"
    b"300.0,County,2026-06-11\r\n"
    b"A1,Sample-Routine,2026-06-10,09:00:00,EDT,Mill Lane,Chloride,,12.5,mg/l,,,,300.0,County,2026-06-11\r\n"
    b"A2,Quality Control Sample-Field Blank,2026-06-10,09:00:00,EDT,Mill Lane,Chloride,,0.1,mg/l,,,,300.0,County,\r\n"
    b"A3,Sample-Routine,2026-06-10,25:00:00,EDT,Mill Lane,Chloride,,0.1,mg/l,,,,300.0,County,\r\n"
)


def test_a_file_of_results_is_looked_at_and_brought_in_once(own: tuple[Client, Path]) -> None:
    client, folder = own
    answer = client.post("/samples/send", files={"file": ("june results.csv", WQX, "text/csv")}, headers=OURS)
    path = answer.headers["location"]
    html = unescape(client.get(path).text)
    assert "2 results of 1 new sample would be stored" in html
    assert "below the detection limit of 0.0500 mg/L" in html and "12.5 mg/L" in html
    assert "Left out, quality control: 1 result." in html and '"2026-06-10 25:00:00" is no time' in html
    assert "For a report they lack: sampler's name, person who analysed" in html
    assert post(client, path, person="x", id="1")[0] == 303
    with Store.open(folder, read_only=True) as store:
        (sample,) = store.samples()
        kept = store.results()
        assert store.verify() == []
    assert sample.taken_at == NOW.replace(day=10, hour=13, minute=0)
    assert [(one.analyte, one.value, one.limit) for one in kept] == [("nitrate", None, 0.05), ("chloride", 12.5, None)]
    client.post("/samples/send", files={"file": ("again.csv", WQX, "text/csv")}, headers=OURS)
    assert "Nothing new would be stored; 2 are in the records already" in unescape(client.get(path).text)
    assert post(client, path, person="x", id="2")[0] == 303
    with Store.open(folder, read_only=True) as store:
        assert len(store.results()) == 2 and len(store.imports()) == 1
        one = store.imports()[0]
    assert "1 sample, 2 results" in client.get("/imports").text
    gone = client.post(f"/imports/{one.id}/withdraw", data={"reason": "not ours", "person": "x"}, headers=OURS)
    assert gone.status_code == 303
    with Store.open(folder, read_only=True) as store:
        assert store.results() == [] and store.samples() == []


def test_a_file_that_holds_no_results_is_refused_in_one_sentence(own: tuple[Client, Path]) -> None:
    client, _ = own
    answer = client.post("/samples/send", files={"file": ("x.csv", b"a,b\n1,2\n", "text/csv")}, headers=OURS)
    html = unescape(client.get(answer.headers["location"]).text)
    assert "has no column ActivityStartDate" in said(html)


def test_a_closed_month_takes_results_with_a_reason_only(own: tuple[Client, Path]) -> None:
    client, folder = own
    path = taken(client, "tthm", time="2026-05-12T09:00")
    with Store.open(folder) as store:
        store.add_events([closing("2026-05", "America/New_York", person="x", at=NOW)], entered_at=NOW)
    status, html = result(client, path, "tthm", "31.4")
    assert status == 422 and "2026-05 was closed" in said(html) and 'name="late"' in html
    assert result(client, path, "tthm", "31.4", late="report came late")[0] == 303


def test_the_demo_shows_what_is_awaited(client: Client) -> None:
    page = unescape(client.get("/samples").text)
    assert "60 samples; 1 awaits results, 0 lack something for a report." in page

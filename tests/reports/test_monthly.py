"""The month's report: its figures are those of the records, and it can be read by everybody and printed anywhere.

The figures are worked out a second time here, reading by reading, from the store alone.
"""

import csv
import io
import itertools
import json
import re
from bisect import bisect_right
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from tests.reports.paper import facts, fonts, words

from weirhouse import plant as plants
from weirhouse.desk.judging import judged
from weirhouse.records.model import Event, Reading
from weirhouse.records.store import Store
from weirhouse.reports.figures import json_bytes
from weirhouse.reports.monthly import MonthlyReport
from weirhouse.reports.paper import PaperError, pdf_bytes

NOW = datetime(2026, 10, 31, 19, 45, tzinfo=UTC)
GALLON = 231 * 0.0254**3  # [m^3], by definition
POUND = 0.45359237


def report(folder: Path, month: str = "2026-09", now: datetime = NOW) -> MonthlyReport:
    plant = plants.load(folder)
    with Store.open(folder, read_only=True) as store:
        return MonthlyReport(judged(store, plant, folder, month, now, settled=True))


@pytest.fixture(scope="module")
def september(demo_folder):
    return report(demo_folder)


class Plain:
    """The records of a month, looked at in the plainest way."""

    def __init__(self, folder: Path, month: str) -> None:
        self.plant = plants.load(folder)
        zone = self.plant.zone
        first = date.fromisoformat(f"{month}-01")
        self.days = []
        day = first
        while day.month == first.month:
            begin = datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)
            after = day + timedelta(days=1)
            end = datetime(after.year, after.month, after.day, tzinfo=zone).astimezone(UTC)
            self.days.append((day, begin.timestamp(), end.timestamp()))
            day = after
        self.a, self.b = self.days[0][1], self.days[-1][2]
        with Store.open(folder, read_only=True) as store:
            since, until = (datetime.fromtimestamp(t, UTC) for t in (self.a - 86400, self.b))
            self.events = store.events(since=since, until=until)
            self.values = {
                c: [
                    (int(t), float(v))
                    for t, v, f in zip(*self._series(store, c, since, until), strict=True)
                    if v == v and f not in (1, 2)
                ]
                for c in ("plant_flow", "raw_turbidity", "settled_turbidity", "combined_turbidity", "entry_chlorine",
                          "coagulant_dose")
            }  # fmt: skip
        self.flow_times = [t for t, _ in self.values["plant_flow"]]

    @staticmethod
    def _series(store, channel, since, until):
        found = store.values(channel, since, until)
        return found.times, found.values, found.flags

    def flow_at(self, at: float) -> float:
        return self.values["plant_flow"][bisect_right(self.flow_times, at) - 1][1]

    def running(self, at: float) -> bool:
        return self.flow_at(at) > 0.05 * self.plant.design_flow

    def water(self, begin: float, end: float) -> tuple[float, float]:
        """Volume [m^3] and time running [s], each flow held until the next (they come every quarter of an hour)."""
        volume = ran = 0.0
        flows = [*self.values["plant_flow"], (int(self.b), 0.0)]
        for (t, q), (after, _) in itertools.pairwise(flows):
            since, until = max(t, begin), min(after, t + 2700, end)
            if until > since and q > 0.05 * self.plant.design_flow:
                volume, ran = volume + q * (until - since), ran + until - since
        return volume, ran

    def while_running(self, channel: str, begin: float, end: float) -> list[float]:
        return [v for t, v in self.values[channel] if begin <= t < end and self.running(t)]


@pytest.fixture(scope="module")
def plain(demo_folder):
    return Plain(demo_folder, "2026-09")


def test_water_and_hours_are_those_of_the_records(september, plain):
    total = hours = 0.0
    for (day, begin, end), row in zip(plain.days, september.figures["daily"]["days"], strict=True):
        volume, ran = plain.water(begin, end)
        assert row["date"] == day.isoformat()
        assert row["cells"]["volume"]["value"] == pytest.approx(volume / GALLON / 1000, rel=1e-9)
        assert row["cells"]["hours"]["value"] == pytest.approx(ran / 3600, abs=1e-9)
        if ran:
            assert row["cells"]["average_flow"]["value"] == pytest.approx(volume / ran / GALLON * 60, rel=1e-9)
        total, hours = total + volume, hours + ran
    month = september.figures["daily"]["month"]
    assert month["volume"]["value"] == pytest.approx(total / GALLON / 1000, rel=1e-9)
    assert month["hours"]["value"] == pytest.approx(hours / 3600, rel=1e-9)
    assert hours > 300 * 3600  # something ran at all


@pytest.mark.parametrize(
    ("column", "channel", "pick"),
    [
        ("raw_max", "raw_turbidity", max),
        ("settled_max", "settled_turbidity", max),
        ("residual_min", "entry_chlorine", min),
    ],
)
def test_extremes_are_those_of_the_records(september, plain, column, channel, pick):
    for (_, begin, end), row in zip(plain.days, september.figures["daily"]["days"], strict=True):
        values = plain.while_running(channel, begin, end)
        assert row["cells"][column]["value"] == pytest.approx(pick(values), rel=1e-9)


def test_filtered_turbidity_is_what_the_rules_counted(september, plain):
    proof = september.proof
    recorded = {(int(t), v) for t, v in plain.values["combined_turbidity"]}
    counted = [p for day in proof.result.days for p in day.periods if p.state == "counts"]
    assert len(counted) == proof.result.outcome("cfe_95_small").tally.reasons.size > 100
    assert all((int(p.taken_at.timestamp()), p.value) in recorded for p in counted)
    for day, row in zip(proof.result.days, september.figures["daily"]["days"], strict=True):
        shown = [row["cells"][f"filtered_{p.name[:2]}"]["value"] for p in day.periods]
        assert shown == [pytest.approx(p.value) if p.value is not None else None for p in day.periods]
        assert row["cells"]["filtered_max"]["value"] == pytest.approx(day.combined_highest)


def test_washes_and_chemicals_are_those_of_the_records(september, plain):
    month = september.figures["daily"]["month"]
    washes = [e for e in plain.events if e.kind == "backwash" and plain.a <= e.started_at.timestamp() < plain.b]
    assert month["washes"]["value"] == len(washes) > 10
    assert month["wash_water"]["value"] == pytest.approx(sum(e.values["volume"] for e in washes) / GALLON / 1000)
    doses = plain.values["coagulant_dose"]
    mass = 0.0
    for (t, dose), (after, _) in zip(doses, [*doses[1:], (int(plain.b), 0.0)], strict=True):
        mass += dose / 1000 * plain.water(max(t, plain.a), min(after, plain.b))[0]
    used = month["coagulant_used"]["value"]
    assert used == pytest.approx(mass / POUND, rel=1e-6)
    filled = sum(
        e.values["product"]
        for e in plain.events
        if e.kind == "batch" and e.subject == "chlorine" and plain.a <= e.started_at.timestamp() < plain.b
    )
    (chlorine,) = [c for c in september.figures["chemicals"] if c["feed"] == "Hypochlorite"]
    assert float(chlorine["put_into_day_tank"].split()[0]) == pytest.approx(filled / GALLON, abs=0.05)


# --- what must stand in it -----------------------------------------------------------------------------------------


def test_everything_that_is_asked_for_is_there(september):
    said = september.figures
    assert said["plant"]["system_id"] == "DEMO-0000420"
    assert said["plant"]["population"] == 1010
    assert said["due"] == "2026-10-10"
    assert said["chain"]["hash"] and said["chain"]["entries"] > 1000
    assert {one["status"] for one in said["requirements"]} <= {"met", "broken", "cannot tell", "not due"}
    for one in said["requirements"]:
        assert one["citation"] and one["sentence"] and one["standing"], one["id"]
    assert {"water", "turbidity", "four_hours", "disinfection", "chemicals", "filters"} == {
        g["id"] for g in said["daily"]["groups"]
    }
    columns = {c["id"] for c in said["daily"]["columns"]}
    wanted = "volume hours average_flow peak_flow raw_max settled_max filtered_max residual_min ph_high temperature_low"
    assert set(wanted.split()) | {"ct_giardia", "ct_weakest", "coagulant_dose", "filter_1_max", "to_sewer"} <= columns
    assert len(said["instrument_checks"]) > 10
    assert said["instrument_outages"] and "grabs" in said["instrument_outages"][0]
    assert any(s["analyte"] for s in said["samples"])
    assert said["working"]["text"].count("Reference:") > 5
    for one in said["samples"]:  # what a summary must carry in place of the laboratory's own report
        for what in ("taken_at", "place", "sampler", "kind", "laboratory", "result", "method", "analyst"):
            assert what in one
    assert any("certificate" in o["sentence"] for o in said["open"])  # nobody is entered: said, not passed over


def test_every_figure_of_the_month_opens_its_working(september):
    table = september.proof.table
    for column in table.columns:
        if table.month[column.id].value is not None:
            assert column.id in table.workings, column.id


def test_json_and_csv_hold_the_same_figures(september):
    said = json.loads(september.json())
    assert said == json.loads(json_bytes(september.figures))
    rows = list(csv.DictReader(io.StringIO(september.csv().decode("utf-8-sig"))))
    daily = {(r["date or time"], r["subject"], r["item"]): r["value"] for r in rows if r["section"] == "day"}
    compared = 0
    for day in said["daily"]["days"]:
        for column in said["daily"]["columns"]:
            cell = day["cells"][column["id"]]
            value = daily[(day["date"], column["under"], column["title"])]
            if cell["value"] is None:
                assert value == cell["text"]
            else:
                assert float(value) == cell["value"]
                compared += 1
    assert compared > 700


# --- on paper --------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def letter(september):
    return september.pdf("letter")


def test_the_paper_is_tagged_and_carries_its_fonts(letter, tmp_path):
    told = facts(letter, tmp_path)
    assert told["Tagged"] == "yes"
    assert told["Title"] == "Monthly report, September 2026"
    assert b"pdfuaid" in letter  # it says of itself that it keeps PDF/UA-1; the compiler refuses what does not
    found = fonts(letter, tmp_path)
    assert found and all(embedded for _, embedded in found)
    assert {re.sub(r"^[A-Z]+\+|-.*$", "", name)[:10] for name, _ in found} <= {"Libertinus", "DejaVuSans"}


def test_both_papers_and_the_same_bytes(september, letter, tmp_path):
    assert "letter" in facts(letter, tmp_path)["Page size"]
    assert "A4" in facts(september.pdf("a4"), tmp_path)["Page size"]
    assert report_again(september) == letter
    with pytest.raises(PaperError, match="letter or a4"):
        september.pdf("legal")


def report_again(made: MonthlyReport) -> bytes:
    return MonthlyReport(made.proof).pdf("letter")


def test_page_plant_and_period_stand_on_every_page(letter, tmp_path):
    pages = words(letter, tmp_path).split("\f")[:-1]
    assert len(pages) > 5
    for number, text in enumerate(pages, 1):
        assert "Emberly" in text and "DEMO-0000420" in text and "September 2026" in text
        assert f"page {number} of {len(pages)}" in text
        assert "demonstration, invented figures" in text


def test_pictures_have_words_with_lowest_mean_highest_limit_and_count(september):
    told = {one["title"]: one["alt"] for one in september._paper_data["pictures"]}
    filtered = told["Combined filtered turbidity"]
    assert re.search(r"[\d,]+ values recorded, lowest [\d.]+ NTU, mean [\d.]+ NTU, highest [\d.]+ NTU", filtered)
    assert "0 above 0.3 NTU" in filtered and "0 above 1 NTU" in filtered
    assert september._paper_data["storm"]["alt"].startswith("Water timetable")


def test_what_people_typed_is_printed_as_it_is(demo_copy, tmp_path):
    nasty = '=1+2 #read("/etc/passwd") $x^2$ *b* _i_ `c` @ref <b>t</b> \\ // ; é'
    at = datetime(2026, 9, 10, 15, 0, tzinfo=UTC)
    with Store.open(demo_copy) as store:
        store.add_events(
            [
                Event(
                    kind="instrument_out", started_at=at, ended_at=at + timedelta(hours=5), subject="raw_turbidity",
                    person="=cmd()", note=nasty,
                ),
                Event(kind="instrument_check", started_at=at, subject="raw_turbidity", person="@SUM(A1)", note=nasty,
                      values={"standard": nasty, "found": 20.0, "result": "passed"}),
            ],
            entered_at=NOW, reason="found later",
        )  # fmt: skip
        store.add_readings(
            [
                Reading(
                    channel="raw_turbidity", value=2.5, taken_at=at + timedelta(hours=1), unit="NTU", text="2.5",
                    person="<script>alert(1)</script>", note=nasty,
                )
            ],
            entered_at=NOW, reason="found later",
        )  # fmt: skip
    made = report(demo_copy)
    text = "".join(words(made.pdf(), tmp_path).split())
    assert "".join(nasty.split()) in text
    assert "root:" not in text
    rows = list(csv.reader(io.StringIO(made.csv().decode("utf-8-sig"))))
    cells = [cell for row in rows for cell in row]
    assert f"'{nasty}" in cells
    assert not [c for c in cells if c.startswith(("=", "+", "@")) or (c.startswith("-") and not c[1:2].isdigit())]
    assert nasty in json.loads(made.json())["instrument_outages"][0]["note"]


def test_a_template_never_reads_what_it_is_given():
    """The data is JSON by sys.inputs; a text that would be markup is text."""
    with pytest.raises(PaperError):
        pdf_bytes("monthly", {"title": "x"})


# --- months that are unlike others -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("month", "day", "hours"), [("2026-03", "2026-03-08", 23.0), ("2025-11", "2025-11-02", 25.0)])
def test_a_day_of_23_or_25_hours(demo_folder, month, day, hours):
    made = report(demo_folder, month)
    rows = {row["date"]: row for row in made.figures["daily"]["days"]}
    assert rows[day]["hours"] == hours
    assert sum(row["hours"] != 24 for row in rows.values()) == 1
    assert sum(row["hours"] for row in rows.values()) == 24 * len(rows) + hours - 24
    begin, volume = Plain(demo_folder, month), 0.0
    for d, a, b in begin.days:
        if d.isoformat() == day:
            assert (b - a) / 3600 == hours
            volume = begin.water(a, b)[0]
    assert rows[day]["cells"]["volume"]["value"] == pytest.approx(volume / GALLON / 1000)


def test_a_month_without_a_record_is_told_as_such(demo_folder, tmp_path):
    folder = tmp_path / "empty"
    folder.mkdir()
    (folder / "plant.toml").write_text((demo_folder / "plant.toml").read_text("utf-8"), "utf-8")
    with Store.open(folder, create=True):
        pass
    made = report(folder)
    assert {row["cells"]["volume"]["state"] for row in made.figures["daily"]["days"]} == {"gap"}
    assert "met" not in {one["status"] for one in made.figures["requirements"] if "filtered" in one["title"].lower()}
    assert any(o["kind"].startswith("Readings that are missing") for o in made.figures["open"])
    assert made.pdf().startswith(b"%PDF")


def test_a_small_plant_with_one_filter_and_no_contact_tank(demo_folder, tmp_path):
    folder = tmp_path / "small"
    folder.mkdir()
    text = (demo_folder / "plant.toml").read_text("utf-8")
    text = re.sub(r'\[\[train\.filter\]\]\nid = "filter_2".*?(?=\n\[\[train\]\])', "", text, flags=re.S)
    for id in ("clearwell", "main"):
        text = re.sub(rf'\[\[train\]\]\nkind = "\w+"\nid = "{id}".*?(?=\n\[\[train\]\])', "", text, flags=re.S)
    text = text.replace('backwash = { source = "clearwell", ', "backwash = { ")
    (folder / "plant.toml").write_text(text, "utf-8")
    with Store.open(folder, create=True):
        pass
    plant = plants.load(folder)
    assert len(plant.filters) == 1
    made = report(folder)
    columns = {c["id"] for c in made.figures["daily"]["columns"]}
    assert not {c for c in columns if c.startswith("filter_2_")}
    assert made.pdf("a4").startswith(b"%PDF")

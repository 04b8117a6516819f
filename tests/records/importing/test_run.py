"""A file into the records of a plant: shown, stored once, withdrawn, stored again."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from tests.records.importing.plants import NOW, Village, utc

from weirhouse.records.importing import FileProblem, ImportResult, Mapping, import_file, read_mapping
from weirhouse.records.importing.mapping import of_table
from weirhouse.records.model import ClosedError, Event, Reading, Series
from weirhouse.records.store import Store

KEYS = ["rows", "stored", "already_there", "refused", "channels", "first", "last"]
LOG = "time,raw turbidity (NTU),plant flow (gpm)\n2024-06-05 10:00,4.25,140\n2024-06-05 10:15,4.x,141\n" + (
    "2024-06-05 10:30,<0.1,NA\n"
)
LAB = "date,parameter,value,unit,qualifier\n2024-06-25 10:00,toc,2.30,mg/L,\n2024-06-26 10:00,toc,0.5,mg/L,U\n"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "plant", create=True) as opened:
        yield opened


def put(store: Store, path: Path, text: str, said: Mapping | None = None, *, dry_run: bool = False) -> ImportResult:
    path.write_text(text, encoding="utf-8")
    return import_file(store, Village(), path, said, dry_run=dry_run, person="A. Operator", entered_at=NOW)


def test_the_result_as_json(store: Store, tmp_path: Path) -> None:
    done = put(store, tmp_path / "log.csv", LOG).as_json()
    assert list(done) == KEYS
    assert done == {
        "rows": 3, "stored": 4, "already_there": 0,
        "refused": [{"line": 3, "why": 'raw turbidity (NTU): "4.x" is not a number'}],
        "channels": ["plant_flow", "raw_turbidity"],
        "first": "2024-06-05T10:00:00-04:00", "last": "2024-06-05T10:30:00-04:00",
    }  # fmt: skip


def test_what_is_stored_stands_in_the_records(store: Store, tmp_path: Path) -> None:
    put(store, tmp_path / "log.csv", LOG)
    had = store.values("raw_turbidity")
    assert had.times.tolist() == [utc(2024, 6, 5, 14), utc(2024, 6, 5, 14, 30)]
    assert had.values.tolist() == [4.25, 0.1] and had.flags.tolist() == [0, 3]
    assert store.values("plant_flow").values[0] == pytest.approx(140 * 231 * 0.0254**3 / 60)
    assert store.verify() == []


def test_a_dry_run_says_what_the_import_then_does_and_stores_nothing(store: Store, tmp_path: Path) -> None:
    shown = put(store, tmp_path / "log.csv", LOG, dry_run=True)
    assert store.channels() == set() and store.imports() == []
    assert shown.as_json() == put(store, tmp_path / "log.csv", LOG).as_json()


def test_a_dry_run_says_that_a_closed_day_would_refuse_it(store: Store, tmp_path: Path) -> None:
    closing = Event(
        kind="closed", subject="2024-06-05", started_at=NOW, values={"zone": "America/New_York"}, person="M. Ode"
    )
    store.add_events([closing], entered_at=NOW)
    shown = put(store, tmp_path / "log.csv", LOG, dry_run=True)
    with pytest.raises(ClosedError) as told:
        put(store, tmp_path / "log.csv", LOG)
    assert shown.held == str(told.value) and shown.as_json()["held"] == shown.held
    assert f"As it is, the import would be refused: {shown.held}" in shown.text()
    lab = put(store, tmp_path / "lab.csv", LAB, dry_run=True)
    assert lab.held == "" and "held" not in lab.as_json()  # of other days


def test_the_text_of_a_dry_run(store: Store, tmp_path: Path) -> None:
    text = put(store, tmp_path / "log.csv", LOG + "2024-06-05 10:45,,\n", dry_run=True).text()
    assert text == (
        "log.csv: table, 4 rows\n"
        "4 values would be stored, 0 in the records already. Dry run: nothing was stored.\n"
        "Clock: the wall clock in America/New_York.\n"
        "Columns:\n"
        '  "raw turbidity (NTU)" in NTU -> raw_turbidity (Raw turbidity)\n'
        "      2 values, 2024-06-05 10:00:00-04:00 to 2024-06-05 10:30:00-04:00\n"
        "      least 0.1 NTU, greatest 4.25 NTU\n"
        "      begins 2024-06-05 10:00:00-04:00 4.25 NTU; 2024-06-05 10:30:00-04:00 <0.1 NTU\n"
        "      1 below the detection limit\n"
        '  "plant flow (gpm)" in gpm -> plant_flow (Plant flow)\n'
        "      2 values, 2024-06-05 10:00:00-04:00 to 2024-06-05 10:15:00-04:00\n"
        "      least 140 gpm, greatest 141 gpm\n"
        "      begins 2024-06-05 10:00:00-04:00 140 gpm; 2024-06-05 10:15:00-04:00 141 gpm\n"
        "Cells that mean no reading:\n"
        '  "NA": 1\n'
        "Refused: 1\n"
        '  line 3: raw turbidity (NTU): "4.x" is not a number'
    )
    done = put(store, tmp_path / "log.csv", LOG)
    assert done.text().endswith(f"This import is {done.import_id}; it can be withdrawn whole.")


def test_the_same_file_again_stores_nothing(store: Store, tmp_path: Path) -> None:
    first = put(store, tmp_path / "log.csv", LOG)
    again = put(store, tmp_path / "copy.csv", LOG)
    assert (again.stored, again.already_there) == (0, first.stored)
    assert len(store.imports()) == 1


def test_a_longer_export_stores_only_what_is_new(store: Store, tmp_path: Path) -> None:
    put(store, tmp_path / "log.csv", LOG)
    longer = put(store, tmp_path / "log.csv", LOG + "2024-06-05 10:45,5,142\n")
    assert (longer.stored, longer.already_there) == (2, 4)


@pytest.mark.parametrize("text", [LOG, LAB])
def test_an_import_withdrawn_can_be_made_again(store: Store, tmp_path: Path, text: str) -> None:
    first = put(store, tmp_path / "log.csv", text)
    assert first.import_id
    store.withdraw_import(first.import_id, person="A. Operator", reason="wrong plant", entered_at=NOW)
    assert store.channels() == set()
    again = put(store, tmp_path / "log.csv", text)
    assert (again.stored, again.already_there) == (first.stored, 0)


def test_laboratory_results_become_readings(store: Store, tmp_path: Path) -> None:
    put(store, tmp_path / "lab.csv", LAB)
    got = [(r.channel, r.value, r.unit, r.text, r.qualifier, r.person, r.note) for r in store.readings("toc")]
    assert got == [
        ("toc", 2.3, "mg/L", "2.30", "", "A. Operator", "from lab.csv, line 2 (toc)"),
        ("toc", 0.5, "mg/L", "<0.5", "ND", "A. Operator", "from lab.csv, line 3 (toc)"),
    ]
    again = put(store, tmp_path / "lab.csv", LAB)
    assert (again.stored, again.already_there) == (0, 2)


def test_the_same_file_again_brings_back_no_value_that_was_put_right(store: Store, tmp_path: Path) -> None:
    put(store, tmp_path / "log.csv", LOG)
    put(store, tmp_path / "lab.csv", LAB)
    better = put(store, tmp_path / "better.csv", LOG.replace("4.25", "4.5"))
    assert better.stored == 1
    old = store.readings("toc")[0]
    store.correct(old.id, None, person="A. Operator", reason="bottle broken", entered_at=NOW)
    assert put(store, tmp_path / "log.csv", LOG).stored == 0
    assert put(store, tmp_path / "lab.csv", LAB).stored == 0
    assert store.values("raw_turbidity").values[0] == 4.5
    assert [r.value for r in store.readings("toc")] == [0.5]


def test_the_same_file_read_otherwise_must_first_be_withdrawn(store: Store, tmp_path: Path) -> None:
    put(store, tmp_path / "log.csv", LOG)
    with pytest.raises(FileProblem, match="Withdraw that import"):
        put(store, tmp_path / "log.csv", LOG, of_table({"clock": "utc"}))
    assert len(store.imports()) == 1


def test_the_same_file_with_a_mapping_that_changes_no_value_stores_nothing(store: Store, tmp_path: Path) -> None:
    put(store, tmp_path / "log.csv", LOG)
    again = put(store, tmp_path / "log.csv", LOG, of_table({"clock": "wall", "day_first": False}))
    assert (again.stored, again.already_there) == (0, 4)


def test_a_column_mapped_later_goes_in_alone(store: Store, tmp_path: Path) -> None:
    text = "time,raw turbidity (NTU),tank (ft)\n2024-06-05 10:00,4,18\n2024-06-05 10:15,5,18.5\n"
    assert put(store, tmp_path / "log.csv", text, of_table({"columns": {"2": "raw_turbidity"}})).stored == 2
    both = {"columns": {"2": "raw_turbidity", "tank (ft)": "storage_level"}}
    later = put(store, tmp_path / "log.csv", text, of_table(both))
    assert (later.stored, later.already_there) == (2, 2)


def test_what_a_withdrawn_import_brought_comes_with_a_later_one_again(store: Store, tmp_path: Path) -> None:
    first = put(store, tmp_path / "log.csv", LOG)
    longer = LOG + "2024-06-05 10:45,5,142\n"
    put(store, tmp_path / "longer.csv", longer)
    assert first.import_id
    store.withdraw_import(first.import_id, person="A. Operator", reason="mistake", entered_at=NOW)
    assert len(store.values("raw_turbidity")) == 1
    again = put(store, tmp_path / "longer.csv", longer)
    assert (again.stored, again.already_there) == (4, 2)


def test_a_reading_of_a_person_at_the_same_time_stays_and_is_not_a_copy(store: Store, tmp_path: Path) -> None:
    at = datetime(2024, 6, 5, 14, tzinfo=UTC)
    typed = Reading(channel="raw_turbidity", value=9.0, taken_at=at, unit="NTU", text="9", person="B. Relief")
    store.add_readings([typed], entered_at=NOW)
    assert put(store, tmp_path / "log.csv", LOG).stored == 4
    assert put(store, tmp_path / "log2.csv", LOG + "\n").stored == 0
    assert store.values("raw_turbidity").values[0] == 9.0


def test_nothing_is_stored_of_a_file_that_is_refused(store: Store, tmp_path: Path) -> None:
    with pytest.raises(FileProblem):
        put(store, tmp_path / "log.csv", "time,moon phase\n2024-06-05 10:00,4\n")
    assert store.imports() == []


def test_a_mapping_file(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "map.toml"
    path.write_text('time = "t"\nday_first = true\ncolumns = { tu = { channel = "raw_turbidity", unit = "NTU" } }\n')
    log = tmp_path / "log.csv"
    log.write_text("t;tu\n05/06/2024 10:00;4,5\n")
    done = import_file(store, Village(), log, path, dry_run=False, person="A. Operator", entered_at=NOW)
    assert done.as_json()["first"] == "2024-06-05T10:00:00-04:00"
    assert read_mapping(path).order == "dmy"


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("clock = 3", "clock is 3"),
        ('clock = "summer"', "clock is 'summer'; it must be"),
        ("tiem = 'x'", "unknown key tiem"),
        ("columns = { a = 3 }", "must name a channel"),
        ('columns = { a = "raw_ph", b = "raw_ph" }', "two columns to the channel"),
        ('time_zone = "Mars"', "time_zone"),
        ('date_order = "ydm"', "date_order is"),
        ('flags = { A = "fine" }', "flags is"),
        ("x = [", "is not TOML"),
    ],
)
def test_a_bad_mapping_is_refused_in_a_sentence(tmp_path: Path, text: str, why: str) -> None:
    path = tmp_path / "map.toml"
    path.write_text(text)
    with pytest.raises(FileProblem, match=why):
        read_mapping(path)


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ({"columns": {"nothing": "raw_turbidity"}}, 'a column "nothing"'),
        ({"columns": {"raw turbidity (NTU)": "nothing"}}, 'a channel "nothing", which the plant has not'),
        ({"columns": {"raw turbidity (NTU)": "plant_flow"}}, "does not fit the channel plant_flow"),
        ({"time": "nothing"}, 'a time column "nothing"'),
        ({"where": {"nothing": "x"}}, 'chooses rows by "nothing"'),
    ],
)
def test_a_mapping_that_does_not_fit_the_file_is_refused(
    store: Store, tmp_path: Path, said: dict[str, object], why: str
) -> None:
    with pytest.raises(FileProblem, match=why):
        put(store, tmp_path / "log.csv", LOG, of_table(said))


def test_many_refusals_are_counted_and_the_list_stays_short(store: Store, tmp_path: Path) -> None:
    rows = "".join(f"2024-06-05 10:{k // 60 % 60:02d}:{k % 60:02d},x{k}\n" for k in range(3600))
    done = put(store, tmp_path / "log.csv", LOG.split("\n")[0].rpartition(",")[0] + "\n2024-06-05 09:00,1\n" + rows * 4)
    assert done.refused_count == 14_400
    assert len(done.as_json()["refused"]) == 10_001
    assert done.as_json()["refused"][-1]["why"] == "and 4400 refusals more, not listed"
    assert done.text().count("\n") < 60


def test_progress_is_told_and_now_needs_a_zone(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(LOG)
    told: list[float] = []
    import_file(store, Village(), path, dry_run=True, person="A", entered_at=NOW, tick=told.append)
    assert told == sorted(told) and told[-1] == 1.0
    with pytest.raises(ValueError, match="time zone"):
        import_file(store, Village(), path, dry_run=True, person="A", entered_at=datetime(2024, 6, 5))  # noqa: DTZ001


def test_an_import_is_compared_with_the_series_alone(store: Store, tmp_path: Path) -> None:
    """A later import of other values at the same times is new, and wins."""
    put(store, tmp_path / "log.csv", LOG)
    other = put(store, tmp_path / "other.csv", LOG.replace("4.25", "5.25"))
    assert (other.stored, other.already_there) == (1, 3)
    had = store.values("raw_turbidity", NOW - timedelta(days=2000), NOW)
    assert isinstance(had, Series) and had.values[0] == 5.25

"""What is wrong with a plant file is said in one line: the file, the table, the field, the bad value, what to mend."""

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.plant.plants import EMBERLY, changed, stage_out, without

from weirhouse.plant import Plant, PlantError, load, parse_plant


def said(text: str) -> str:
    with pytest.raises(PlantError) as caught:
        parse_plant(text)
    line = str(caught.value)
    assert line.startswith("plant.toml")
    assert "\n" not in line
    assert line.endswith((".", "?"))
    assert len(line) < 400
    return line


# old text, new text, what the line must hold
CHANGES: dict[str, tuple[str, str, tuple[str, ...]]] = {
    "wrong unit": ('"150 gpm"', '"150 psi"', ("plant.design_flow", "150 psi", "gpm")),
    "letter in a number": ('"150 gpm"', '"15O gpm"', ("plant.design_flow", "15O gpm")),
    "text for a number": ('length = "40 ft"', 'length = "long"', ("train.settling_basin.length", "long")),
    "no unit": ('length = "40 ft"', 'length = "40"', ("train.settling_basin.length", "40", "ft")),
    "bare number": ('length = "40 ft"', "length = 40", ("train.settling_basin.length", "40", "unit")),
    "negative volume": ('volume = "60 gal"', 'volume = "-60 gal"', ("train.flash_mixer.volume", "-60 gal", "above 0")),
    "zero volume": ('volume = "60 gal"', 'volume = "0 gal"', ("train.flash_mixer.volume", "0 gal", "above 0")),
    "nan": ("baffling_factor = 0.5", "baffling_factor = nan", ("train.clearwell.baffling_factor", "nan")),
    "nan in text": ('volume = "60 gal"', 'volume = "nan gal"', ("train.flash_mixer.volume", "nan gal")),
    "infinite": ("baffling_factor = 0.5", "baffling_factor = inf", ("train.clearwell.baffling_factor", "inf")),
    "too large to hold": ("uniformity = 1.5", "uniformity = 1e400", ("train.filter_1.layer.0.uniformity", "inf")),
    "too large in text": ('volume = "60 gal"', 'volume = "1e400 gal"', ("train.flash_mixer.volume", "1e400 gal")),
    "share above one": ('al2o3 = "17 percent"', 'al2o3 = "170 percent"', ("train.coagulant.al2o3", "170 percent")),
    "share without percent": ('al2o3 = "17 percent"', 'al2o3 = "17"', ("train.coagulant.al2o3", "17", "percent")),
    "porosity above one": ("porosity = 0.55", "porosity = 55", ("train.filter_1.layer.0.porosity", "55")),
    "unknown field": (
        'weir_length = "12 ft"',
        'wier_length = "12 ft"',
        ("settling_basin", "wier_length", "weir_length?"),
    ),
    "unknown table": ("[sewer]", "[sewers]", ("[sewers]", "sewer")),
    "unknown kind": ('kind = "clarifier"', 'kind = "clarifyer"', ("train.clarifier", "clarifyer", "clarifier")),
    "no kind": ('kind = "clarifier"\n', "", ("train.clarifier", "kind is missing")),
    "unknown choice": ('role = "coagulant"', 'role = "coagulent"', ("train.coagulant.role", "coagulent", "coagulant")),
    "duplicate id": ('id = "filter_2"', 'id = "filter_1"', ("train.filter_1", "used twice")),
    "duplicate stage": ('id = "flash_mixer"', 'id = "clarifier"', ("train.clarifier", "used twice")),
    "bad id": ('id = "flash_mixer"', 'id = "Flash mixer"', ("Flash mixer", "small letters")),
    "unknown channel in an action": (
        'channel = "entry_chlorine"',
        'channel = "entry_clorine"',
        ("action.3", "entry_clorine", "[channel.entry_clorine]"),
    ),
    "action in the wrong unit": ('below = "0.4 mg/L"', 'below = "0.4 NTU"', ("action.3.below", "0.4 NTU")),
    "action without level": ('below = "0.4 mg/L"\n', "", ("action.3", "above or below")),
    "action with both": ('below = "0.4 mg/L"', 'below = "0.4 mg/L"\nabove = "3 mg/L"', ("action.3", "above or below")),
    "unknown level channel": (
        'level_channel = "storage_level"',
        'level_channel = "tank_level"',
        ("train.hill_tank.level_channel", "tank_level"),
    ),
    "level channel in another unit": (
        'level_channel = "storage_level"',
        'level_channel = "demand_flow"',
        ("train.hill_tank.level_channel", "demand_flow"),
    ),
    "unknown flow channel": ('channel = "plant_flow"', 'channel = "flow"', ("train.meter.channel", '"flow"')),
    "flow meter in another unit": (
        'channel = "plant_flow"',
        'channel = "storage_level"',
        ("train.meter.channel", "storage_level"),
    ),
    "feed without basis": ('basis = "product"', "", ("train.coagulant", "basis is missing", "Al2O3")),
    "feed without density": ('density = "1.36 kg/L"\n', "", ("train.coagulant", "density is missing", "kg/L")),
    "feed without day tank": (
        'day_tank = { diameter = "22 in", height = "30 in", full = "28 in", low = "4 in" }\n',
        "",
        ("train.coagulant", "day_tank is missing"),
    ),
    "coagulant without basicity": ('basicity = "43 percent"\n', "", ("train.coagulant", "basicity is missing")),
    "coagulant without Al2O3": ('al2o3 = "17 percent"\n', "", ("train.coagulant", "al2o3 is missing")),
    "chlorine without strength": (
        'strength = "12.5 percent"',
        "",
        ("train.chlorine", "strength is missing", "12.5 percent"),
    ),
    "chlorine without what its strength counts": (
        'strength_basis = "weight_per_volume"\n',
        "",
        ("train.chlorine", "strength_basis is missing"),
    ),
    "coagulant counted as chlorine": ('basis = "product"', 'basis = "Cl2"', ("train.coagulant.basis", "Cl2")),
    "density of nothing sold": ('"1.36 kg/L"', '"1.36 g/L"', ("train.coagulant.density", "density")),
    "thinned though not dilutable": ("dilutable = true", "dilutable = false", ("train.chlorine.day_tank.dilution",)),
    "full above the rim": ('full = "28 in"', 'full = "28 ft"', ("train.coagulant.day_tank", "height")),
    "low above full": ('low = "4 in"', 'low = "29 in"', ("train.coagulant.day_tank", "low must be below full")),
    "contact low above full": (
        'low_level = "4 ft"',
        'low_level = "14 ft"',
        ("train.clearwell", "low_level", "full_level"),
    ),
    "storage low above full": (
        'low_level = "6 ft"',
        'low_level = "23 ft"',
        ("train.hill_tank", "low_level", "full_level"),
    ),
    "contact without factor": (
        "baffling_factor = 0.5",
        "",
        ("train.clearwell", "baffling_factor is missing", "tracer"),
    ),
    "contact main without factor": ("baffling_factor = 1.0", "", ("train.main", "baffling_factor is missing")),
    "storage with two sizes": (
        'diameter = "30 ft"',
        'diameter = "30 ft"\narea = "700 ft2"',
        ("train.hill_tank", "size once"),
    ),
    "filter with half a size": ('width = "5 ft"\n', "", ("train.filter_1", "size once", "diameter")),
    "same as nothing": ('same_as = "filter_1"', 'same_as = "filter_9"', ("train.filter_2.same_as", "filter_9")),
    "stirred mixer without power": ('power = "0.5 hp"\n', "", ("train.flash_mixer", "power is missing")),
    "head loss without its flow": (', head_loss_flow = "140 gpm" },', " },", ("train.floc_1", "head_loss_flow")),
    "wash water from nowhere": ('source = "clearwell"', 'source = "clear_well"', ("backwash.source", "clear_well")),
    "wash water to nowhere": (
        'destination = "sewer"',
        'destination = "sewr"',
        ("train.filters.backwash.destination", "sewr"),
    ),
    "calibration that falls": ('["25", "5.0 mL/min"]', '["25", "1.0 mL/min"]', ("train.coagulant.calibration.points",)),
    "calibration out of order": ('["25", "5.0 mL/min"]', '["5", "5.0 mL/min"]', ("calibration.points.1", "rise")),
    "calibration of one point": (
        '[["10", "4.2 mL/min"], ["50", "21.5 mL/min"], ["100", "42.0 mL/min"]]',
        '[["10", "4.2 mL/min"]]',
        ("train.chlorine.calibration.points", "at least 2"),
    ),
    "calibration without unit": (
        'calibration = { unit = "percent", date',
        "calibration = { date",
        ("train.coagulant.calibration.unit", "percent"),
    ),
    "no such day": ('date = "2025-10-14"', 'date = "2025-11-31"', ("train.coagulant.calibration.date", "2025-11-31")),
    "dose in another unit": ('["5 NTU", "15 mg/L"]', '["5 NTU", "15 gpm"]', ("dose_table.1.1", "15 gpm")),
    "half a pair": ('["5 NTU", "15 mg/L"]', '["5 NTU"]', ("dose_table.1", "pair")),
    "unknown zone": (
        '"America/New_York"',
        '"America/Emberly"',
        ("plant.time_zone", "America/Emberly", "America/New_York"),
    ),
    "zone out of the folder": ('"America/New_York"', '"../../etc/passwd"', ("plant.time_zone", "../../etc/passwd")),
    "a line end in a name": ('id = "flash_mixer"', 'id = "flash\\nmixer"', ("flash", "small letters")),
    "unknown unit set": ('units = "US"', 'units = "UK"', ("plant.units", "UK", "SI")),
    "no name": ('name = "Emberly"\n', "", ("plant", "name is missing")),
    "name not text": ('name = "Emberly"', "name = 12", ("plant.name", "12")),
    "people not whole": ("population = 1010", "population = 1010.5", ("plant.population", "1010.5")),
    "people as text": ("population = 1010", 'population = "1,010"', ("plant.population", "1,010", "quotes")),
    "fewer than none": ("population = 1010", "population = -3", ("plant.population", "-3")),
    "true as text": ("demo = true", 'demo = "yes"', ("plant.demo", "yes", "true or false")),
    "channel without unit": (
        'name = "Raw turbidity"\nunit = "NTU"',
        'name = "Raw turbidity"',
        ("channel.raw_turbidity", "unit"),
    ),
    "channel in no unit": ('unit = "NTU"\nstale', 'unit = "JTUs"\nstale', ("channel.raw_turbidity.unit", "JTUs")),
    "channel range turned over": (
        'low = "0.1 NTU"',
        'low = "2000 NTU"',
        ("channel.raw_turbidity", "2000 NTU", "1000 NTU"),
    ),
    "unknown field of a channel": (
        'stale_after = "2 h"',
        'stale_afer = "2 h"',
        ("channel.raw_turbidity", "stale_afer"),
    ),
    "channel limit in another unit": (
        'high = "1000 NTU"',
        'high = "1000 mg/L"',
        ("channel.raw_turbidity.high", "1000 mg/L"),
    ),
    "sewer in another unit": ('limit_solids = "60 lb/day"', 'limit_solids = "60 lb"', ("sewer.limit_solids", "60 lb")),
    "negative credit": ('giardia_credit = "2.5 log"', 'giardia_credit = "-1 log"', ("permit.giardia_credit", "-1 log")),
    "one bracket": ("[[telephone]]", "[telephones]", ("[telephones]",)),
    "stray quote": ('name = "Emberly"', 'name = "Emberly', ("not valid TOML", "line 3")),
    "key twice": ("population = 1010", "population = 1010\npopulation = 1010", ("not valid TOML", "line")),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_wrong_entry_is_named(what: str):
    old, new, holds = CHANGES[what]
    line = said(changed(old, new))
    for part in holds:
        assert part in line, line


PARTS: dict[str, tuple[Callable[[], str], tuple[str, ...]]] = {
    "nothing": (lambda: "", ("empty",)),
    "blanks": (lambda: " \n\t\n", ("empty",)),
    "no plant": (lambda: without("[plant]", "[[train]]"), ("[plant]", "missing")),
    "no train": (lambda: without("[[train]]", "[permit]"), ("[[train]]", "missing")),
    "no channels": (lambda: without("[channel.", "[[telephone]]"), ("[channel]", "no channel")),
    "nothing but a plant": (lambda: without("[[train]]", "\x00", EMBERLY + "\x00").rstrip("\x00"), ("[channel]",)),
    "no filters in the filters": (
        lambda: without("[[train.filter]]", '[[train]]\nkind = "feed"\nid = "chlorine"'),
        ("train.filters", "no filter"),
    ),
    "no layers": (
        lambda: without("[[train.filter.layer]]", '[[train.filter]]\nid = "filter_2"'),
        ("train.filter_1", "layer of media"),
    ),
    "layer without depth": (lambda: changed('depth = "19.5 in"\n', ""), ("train.filter_1.layer.0", "depth is missing")),
    "the source of the wash left out": (lambda: stage_out("clearwell"), ("backwash.source", "clearwell")),
    "a train of text": (lambda: without("[[train]]", "[permit]") + '\ntrain = "x"', ("train",)),
    "deep nesting": (lambda: EMBERLY + "\nx = " + "[" * 5000 + "]" * 5000, ("not valid TOML",)),
}


@pytest.mark.parametrize("what", PARTS)
def test_a_missing_part_is_named(what: str):
    make, holds = PARTS[what]
    line = said(make())
    for part in holds:
        assert part in line, line


@pytest.mark.parametrize(
    ("raw", "holds"),
    [
        (b"", "is empty"),
        (EMBERLY.encode("utf-16"), "UTF-8"),
        (EMBERLY.replace("Clearwell", "Klärbehälter").encode("latin-1"), "UTF-8"),
        (EMBERLY.encode()[:3000], "plant.toml"),
        (b"\x00" * 5000, "not valid TOML"),
        (b"SQLite format 3\x00" + bytes(range(256)), "UTF-8"),
        (b"#" * 2_000_001, "larger than 2 MB"),
    ],
    ids=["empty", "UTF-16", "Latin-1", "torn", "zeros", "a database", "huge"],
)
def test_a_file_that_is_no_plant_file(tmp_path: Path, raw: bytes, holds: str):
    (tmp_path / "plant.toml").write_bytes(raw)
    with pytest.raises(PlantError) as caught:
        load(tmp_path)
    assert holds in str(caught.value)
    assert "\n" not in str(caught.value)


def test_no_folder_and_no_file(tmp_path: Path):
    with pytest.raises(PlantError, match=r"does not exist.*weirhouse new"):
        load(tmp_path / "nowhere")
    with pytest.raises(PlantError, match=r"plant\.toml is missing.*weirhouse new"):
        load(tmp_path)
    (tmp_path / "plant.toml").mkdir()
    with pytest.raises(PlantError, match=r"plant\.toml is missing"):
        load(tmp_path)


def test_a_byte_order_mark_and_other_line_ends_are_read(tmp_path: Path):
    (tmp_path / "plant.toml").write_bytes(b"\xef\xbb\xbf" + EMBERLY.replace("\n", "\r\n").encode())
    assert load(tmp_path).name == "Emberly"


def one_line_or_plant(text: str) -> None:
    try:
        found = parse_plant(text)
    except PlantError as error:
        assert "\n" not in str(error)
        assert "plant.toml" in str(error)
    else:
        assert isinstance(found, Plant)


LINES = EMBERLY.splitlines()
PIECES = [
    '"',
    "]",
    "[",
    "=",
    "{",
    "nan",
    "1e400",
    '"-3 ft"',
    '""',
    "true",
    "[]",
    "{}",
    "2026-01-01",
    "é",
    "\x00",
    '"12"',
    "0x7",
    "'",
    "\\",
]


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, len(EMBERLY) - 1), st.integers(0, 12), st.sampled_from(PIECES) | st.text(max_size=5)),
        min_size=1,
        max_size=4,
    )
)
def test_damage_anywhere_gives_a_plant_or_one_line(cuts: list[tuple[int, int, str]]):
    text = EMBERLY
    for at, length, put in cuts:
        text = text[:at] + put + text[at + length :]
    one_line_or_plant(text)


VALUES = [n for n, line in enumerate(LINES) if " = " in line and not line.startswith("#")]


@settings(max_examples=50, deadline=None)
@given(
    st.sampled_from(VALUES),
    st.sampled_from(
        [
            "nan",
            "-1",
            "0",
            "1e400",
            "true",
            "[]",
            "{}",
            '""',
            '"x"',
            '"5 ft"',
            '"-5 gpm"',
            "2026-01-01T01:00:00",
            "[1]",
            "[{}]",
            "12",
        ]
    ),
)
def test_any_value_in_any_field_gives_a_plant_or_one_line(number: int, value: str):
    key = LINES[number].split(" = ", 1)[0]
    one_line_or_plant("\n".join([*LINES[:number], f"{key} = {value}", *LINES[number + 1 :]]))


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, len(LINES) - 1), min_size=1, max_size=6, unique=True))
def test_lines_left_out_give_a_plant_or_one_line(numbers: list[int]):
    one_line_or_plant("\n".join(line for n, line in enumerate(LINES) if n not in numbers))

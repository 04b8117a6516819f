"""Published design ranges: every row of the packaged table is turned as its source writes it, or is a recipe."""

import csv
from importlib.resources import files

import pytest

from weirhouse.plant.item import Item
from weirhouse.plant.ranges import design, design_ranges
from weirhouse.working import Known

ROWS = list(csv.DictReader(files("weirhouse.plant").joinpath("design_ranges.csv").read_text("utf-8").splitlines()))
FOOT, GALLON = 0.3048, 3.785411784e-3  # NIST Special Publication 811


def test_every_row_has_a_source_and_says_whether_it_was_seen():
    assert len(ROWS) > 100
    for row in ROWS:
        assert row["source"].strip()
        assert row["provenance"] in ("seen", "memory", "practice")
        assert row["low"] or row["high"]


def test_rows_that_are_ranges_are_found_again():
    found = {(one.parameter, one.process, one.source) for one in design_ranges()}
    left = [row for row in ROWS if (row["parameter"], row["stage"], row["source"]) not in found]
    assert len(left) < 20
    # what is left over is told in units of its own: recipes, shares of something, multiples of something
    plain = {"h", "min", "s", "1/s", "gpm/ft2", "gal/day/ft2", "mm", "in", "m", "ft", "m/h", "NTU", "mg/L", "percent"}
    assert not [row for row in left if row["unit"] in plain]


@pytest.mark.parametrize(
    ("parameter", "process", "low", "high", "inside"),
    [
        ("detention time", "presedimentation", 3 * 3600, None, "s"),
        ("overflow rate", "presedimentation", None, 720 * GALLON / 86400 / FOOT**2, "m/s"),
        ("detention time", "rapid mix", None, 30, "s"),
        ("velocity gradient G", "rapid mix", 750, None, "1/s"),
        ("flow-through velocity", "flocculation", 0.5 * FOOT / 60, 1.5 * FOOT / 60, "m/s"),
        ("weir loading", "sedimentation", None, 20000 * GALLON / 86400 / FOOT, "m^2/s"),
        ("filtration rate, dual or mixed media", "filtration", None, 4 * GALLON / 60 / FOOT**2, "m/s"),
        ("upflow (rise) rate", "solids-contact / upflow clarifier", None, GALLON / 60 / FOOT**2, "m/s"),
        ("sand effective size", "media", 0.35e-3, 0.55e-3, "m"),
        ("sand uniformity coefficient", "media", None, 1.7, "1"),
        ("unit backwash volume", "backwash", 100 * GALLON / FOOT**2, 200 * GALLON / FOOT**2, "m"),
        ("bed expansion", "backwash", 0.20, 0.50, "1"),
        ("terminal head loss", "filtration", 6 * FOOT, 8 * FOOT, "m"),
    ],
)
def test_a_range_by_hand(parameter: str, process: str, low: float | None, high: float | None, inside: str):
    """The ends as the rows' sources print them, turned by the factors of NIST SP 811."""
    found = design(parameter, process)
    assert found is not None
    assert found.inside == inside
    for end, wanted in ((found.low, low), (found.high, high)):
        assert end == (None if wanted is None else pytest.approx(wanted, rel=1e-9))


def test_a_range_that_was_read_goes_before_one_from_memory():
    rows = [row for row in ROWS if (row["parameter"], row["stage"]) == ("detention time", "presedimentation")]
    assert {row["provenance"] for row in rows} == {"seen", "memory"}
    found = design("detention time", "presedimentation")
    assert found is not None
    assert found.provenance == "seen"


@pytest.mark.parametrize("name", ["terminal head loss", "summed depth / effective size", "unit backwash volume"])
def test_a_source_too_weak_to_be_named_is_not_named(name: str):
    found = next(one for one in design_ranges() if one.parameter == name)
    assert found.provenance == "practice"
    item = Item(name, Known(1.0), found.inside, found.inside, "limit", found)
    assert item.source == "common practice, no source"
    assert found.source.split(",")[0] not in item.sentence


def test_no_range_is_made_up():
    assert design("detention time", "tea making") is None
    assert design("", "flocculation") is None


def test_ends_belong_to_the_range():
    found = design("flow-through velocity", "flocculation")
    assert found is not None and found.low is not None and found.high is not None
    assert found.holds(found.low)
    assert found.holds(found.high)
    assert not found.holds(found.low * 0.99)
    assert not found.holds(found.high * 1.01)

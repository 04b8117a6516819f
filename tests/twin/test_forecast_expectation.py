"""Typed weather becomes a size, a window and a chance, or one sentence."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from weirhouse.twin.forecast import ExpectationError, read_expectation

ZONE = ZoneInfo("America/Denver")
AT = datetime(2026, 10, 14, 20, 0, tzinfo=UTC)  # Wednesday, 14:00 in the zone


@pytest.mark.parametrize(
    ("phrase", "size", "first", "last", "chance"),
    [
        ("heavy rain tonight", "heavy", "14 18", "15 06", 0.9),
        ("Very heavy rain this evening", "extreme", "14 17", "14 22", 0.9),
        ("maybe showers tomorrow afternoon", "light", "15 12", "15 18", 0.5),
        ("60 % chance of thunderstorms on Friday", "heavy", "16 00", "17 00", 0.6),
        ("20 mm tomorrow", "heavy", "15 00", "16 00", 0.9),
        ("1.5 in of rain within 12 hours", "heavy", "14 14", "15 02", 0.9),
        ("3 mm of rain", "light", "14 14", "15 14", 0.9),
        ("rain likely in 6 h", "moderate", "14 18", "14 22", 0.75),
        ("downpour now", "heavy", "14 14", "14 15", 0.9),
        ("dry until Friday", "dry", "14 14", "17 00", 0.9),
        ("no rain for 48 h", "dry", "14 14", "16 14", 0.9),
        ("storm this morning", "heavy", "15 06", "15 12", 0.9),  # this morning is over: the next one
    ],
)
def test_phrases(phrase, size, first, last, chance):
    read = read_expectation(phrase, AT, ZONE)
    begins = [f"{edge:%d %H}" for edge in read.begins]
    assert (read.size, begins, read.chance) == (size, [first, last], chance)
    assert size in read.said_back or size == "dry"
    assert read.said_back.endswith(".")


@pytest.mark.parametrize("phrase", ["", "call the office", "tonight", "???", "12 o'clock"])
def test_what_is_not_understood_gets_one_sentence(phrase):
    with pytest.raises(ExpectationError, match=r"does not say what rain to expect\. Write it like"):
        read_expectation(phrase, AT, ZONE)

"""A year of wall-clock times finds back to its instants, in any zone."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from tests.records.importing.plants import planned, series

from weirhouse.records.importing import FileProblem

BEGIN = datetime(2025, 1, 1, 12, tzinfo=UTC)


def local_stamps(zone: str, minutes: int, days: int = 365) -> tuple[list[str], np.ndarray]:
    """Return the wall-clock stamps of a year and the UTC seconds they stand for, by zoneinfo."""
    moments = [BEGIN + timedelta(minutes=minutes * k) for k in range(days * 1440 // minutes)]
    here = ZoneInfo(zone)
    return [f"{m.astimezone(here):%Y-%m-%d %H:%M}" for m in moments], np.array([int(m.timestamp()) for m in moments])


@pytest.mark.parametrize("falling", [False, True])
@pytest.mark.parametrize(
    "zone", ["America/New_York", "Europe/Berlin", "Australia/Sydney", "Australia/Lord_Howe", "America/Phoenix", "UTC"]
)
def test_a_year_of_the_wall_clock_gives_every_instant_back(zone: str, falling: bool) -> None:
    stamps, expected = local_stamps(zone, 15)
    rows = [f"{stamp},{k}.5" for k, stamp in enumerate(stamps)]
    text = "time,raw turbidity (NTU)\n" + "\n".join(reversed(rows) if falling else rows) + "\n"
    done = planned(text, zone=ZoneInfo(zone))
    one = series(done, "raw_turbidity")
    assert np.array_equal(one.times, expected)
    assert np.array_equal(one.values, np.arange(len(stamps)) + 0.5)
    assert done.parsed.refused.count == 0
    assert len(done.parsed.nights) == (0 if zone in ("America/Phoenix", "UTC") else 2)


@pytest.mark.parametrize("zone", ["America/New_York", "Europe/Berlin", "Australia/Sydney"])
def test_standard_time_all_year_is_asked_about_and_then_gives_every_instant(zone: str) -> None:
    winter = min(datetime(2025, m, 1, tzinfo=ZoneInfo(zone)).utcoffset() or timedelta() for m in (1, 7))
    _, expected = local_stamps(zone, 30)
    rows = "".join(f"{datetime.fromtimestamp(int(t), UTC) + winter:%Y-%m-%d %H:%M},1\n" for t in expected)
    with pytest.raises(FileProblem, match='clock = "standard"'):
        planned("time,raw turbidity (NTU)\n" + rows, zone=ZoneInfo(zone))
    done = planned("time,raw turbidity (NTU)\n" + rows, {"clock": "standard"}, zone=ZoneInfo(zone))
    assert np.array_equal(series(done, "raw_turbidity").times, expected)

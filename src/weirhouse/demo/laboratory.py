"""What did the laboratory find? Monthly and quarterly results with the qualifiers it reports."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from weirhouse import quantity
from weirhouse.demo import scenario
from weirhouse.demo.clock import Clock
from weirhouse.demo.creek import Creek
from weirhouse.demo.names import name
from weirhouse.records.model import Reading

# Sampling days: a Tuesday or Wednesday of each month, at nine in the morning.
SAMPLED = tuple(
    scenario.local(f"{day} 09:00")
    for day in (
        "2025-11-12", "2025-12-09", "2026-01-13", "2026-02-11", "2026-03-10", "2026-04-14", "2026-05-12", "2026-06-09",
        "2026-07-14", "2026-08-11", "2026-09-15", "2026-10-13",
    )
)  # fmt: skip
QUARTERS = frozenset({11, 2, 5, 8})


@dataclass(frozen=True, slots=True)
class Test:
    """What the laboratory reports: unit, decimals, detection limit, and whether only in the quarters' months."""

    unit: str
    inside: str
    decimals: int
    limit: float = 0.0  # [unit]; below it "<limit" is reported
    quarterly: bool = False
    presence: bool = False  # looked for, 0 absent and 1 present


TESTS: Mapping[str, Test] = {
    "toc": Test("mg/L", "g/m^3", 1, 0.5),
    "treated_toc": Test("mg/L", "g/m^3", 1, 0.5),
    "coliform": Test("1", "1", 0, presence=True),
    "tthm": Test("ug/L", "g/m^3", 1, 0.5, quarterly=True),
    "haa5": Test("ug/L", "g/m^3", 1, 6.0, quarterly=True),
    "nitrate": Test("mg/L", "g/m^3", 2, 0.20),
}


def results(channels: Mapping[str, object], clock: Clock, creek: Creek, rng: np.random.Generator) -> list[Reading]:
    """Return the results of the tests that the plant has a channel for, stamped when the sample was taken."""
    found: list[Reading] = []
    for taken in SAMPLED:
        i = int(np.searchsorted(clock.times, taken.timestamp()))
        for channel, value in _found(float(creek.organic_carbon[i]), float(creek.temperature[i]), rng):
            test = TESTS[channel]
            if channel in channels and (not test.quarterly or taken.month in QUARTERS):
                found.append(_reading(channel, test, value, taken))
    return found


def _found(carbon: float, warmth: float, rng: np.random.Generator) -> Iterator[tuple[str, float]]:
    """Yield what is in the water, in the unit of the test."""
    left = carbon * float(rng.uniform(0.56, 0.66))  # coagulation takes a good third
    yield "toc", carbon * float(rng.uniform(0.96, 1.04))
    yield "treated_toc", left
    yield "coliform", 0.0
    yield "tthm", 12 * left * (1 + 0.04 * warmth) * float(rng.uniform(0.9, 1.1))
    yield "haa5", 4.1 * left * (1 + 0.02 * warmth) * float(rng.uniform(0.85, 1.15))
    yield "nitrate", max(0.05, 0.45 - 0.018 * warmth + float(rng.uniform(-0.06, 0.06)))


def _reading(channel: str, test: Test, value: float, taken: datetime) -> Reading:
    qualifier, text = "", f"{value:.{test.decimals}f}"
    number = float(text)
    if test.presence:
        qualifier, text, number = "ND", "ND", 0.0
    elif value < test.limit:
        qualifier, text, number = "<", f"<{test.limit:.{test.decimals}f}", test.limit
    inside = float(quantity.convert(number, test.unit, test.inside))
    return Reading(
        channel=channel, value=inside, taken_at=taken.astimezone(UTC), unit=test.unit, text=text,
        qualifier=qualifier, person=scenario.LABORATORY, device="laboratory",
        id=name("laboratory", channel, taken.isoformat()),
    )  # fmt: skip

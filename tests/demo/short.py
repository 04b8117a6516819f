"""A year of an hour, for the tests that look at the demo's folder alone."""

from collections.abc import Callable
from datetime import timedelta

import numpy as np

from weirhouse.demo import scenario
from weirhouse.records.model import Event, Reading, Series, series

VALUES = 100_000  # enough to fill a small disk


def short_year(
    _plant: object, seed: int, tell: Callable[[float, str], None]
) -> tuple[dict[str, Series], list[Reading], list[Event]]:
    """Return a series, a reading and a note; the series ends in the seed."""
    tell(0.1, "weather")
    at = scenario.YEAR_START + timedelta(minutes=5)
    times = int(scenario.YEAR_START.timestamp()) + 60 * np.arange(VALUES)
    values = np.random.default_rng(seed).uniform(1, 2, VALUES)
    values[-1] = seed
    note = Event(kind="note", started_at=at, person="a test", note=scenario.DEMO_NOTE, id="note")
    reading = Reading(channel="raw_ph", value=7.3, taken_at=at, unit="pH", text="7.3", person="a test", id="ph")
    return {"raw_turbidity": series("raw_turbidity", times, values)}, [reading], [note]

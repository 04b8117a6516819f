"""When does the operator come, look and wash? The hours and rules of thumb of the two people who run Emberly."""

from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from weirhouse.demo.clock import Clock
from weirhouse.demo.creek import Creek, greatest
from weirhouse.demo.scenario import FINAL_START, RELIEF_WEEK

FOOT = 0.3048  # [m]


@dataclass(frozen=True, slots=True)
class Day:
    """One local day of the operator: when it begins and when the rounds are walked. [local h]"""

    comes: float
    rounds: tuple[float, ...]
    relief: bool  # the other operator's day


def days(clock: Clock, rng: np.random.Generator) -> dict[int, Day]:
    """Return the operator's days by local day number (days since 1970)."""
    relief = [_day_number(end) for end in (RELIEF_WEEK.start, RELIEF_WEEK.end)]
    found = {}
    for number in range(int(clock.wall[0] // 86400), int(clock.wall[-1] // 86400) + 1):
        weekend = (number + 3) % 7 >= 5
        away = relief[0] <= number < relief[1]
        late, soon, midday = rng.uniform(-0.2, 0.3), rng.uniform(-0.1, 0.15), rng.uniform(-0.3, 0.3)
        comes = (7.5 if weekend or away else 6.75) + late
        rounds = (comes + 0.75, 15.25 + soon) if weekend or away else (comes + 0.75, 12.0 + midday, 15.25 + soon)
        found[number] = Day(comes, rounds, away)
    last = _day_number(FINAL_START)
    start = FINAL_START.hour + FINAL_START.minute / 60
    found[last] = Day(start, (start + 0.5, 15.3), False)
    return found


def _day_number(moment: datetime) -> int:
    return (moment.date() - date(1970, 1, 1)).days


def intake_shut(clock: Clock, creek: Creek) -> list[tuple[int, int]]:
    """Return from when to when the intake is shut for the great storms. [index of the quarter-hour]

    It is shut when the creek passes 110 NTU, or on the evening before when that comes at night, and opened again in the
    operator's hours once the creek is below 145 NTU.
    """
    found = []
    hour = clock.hour
    for storm in greatest(creek.storms):
        begin = int(np.searchsorted(clock.times, storm.starts.timestamp()))
        span = slice(begin, begin + 48 * 4)
        peak = begin + int(np.argmax(creek.turbidity[span]))
        shut = begin + int(np.argmax(creek.turbidity[span] > 110))
        if not 6.5 <= hour[shut] < 21.5:
            while not 21.25 <= hour[shut] < 21.5:
                shut -= 1
        opened = peak
        while creek.turbidity[opened] > 145 or not 6.5 <= hour[opened] < 22.5:
            opened += 1
        found.append((shut, opened))
    return found

"""Which value is in force, and may advice stand on it? The newest one, always, marked when it is doubtful."""

from collections.abc import Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from weirhouse.plant.model import Channel
from weirhouse.quantity import show
from weirhouse.records.model import Point
from weirhouse.situation.ages import age_text, elapsed_s
from weirhouse.situation.model import State, Value
from weirhouse.working import Known, Reading

DOUBTFUL, REJECTED, BELOW, ABOVE = 1, 2, 3, 4


def judge(channel: Channel, point: Point | None, when: datetime, zone: ZoneInfo, faults: Sequence[str] = ()) -> Value:
    """Return the value of a channel at `when`, from its newest point, with what makes it doubtful in words.

    `faults` are the phrases of the fault flags that stand on the newest value. An older good value never takes the
    place of a newer doubtful one.
    """
    if point is None:
        return _value(channel, None, None, None, "missing", "nothing recorded yet")
    taken = point.time.astimezone(UTC)
    age = elapsed_s(taken, when)
    if point.value is None or point.value != point.value:
        if point.qualifier == "ND":
            return _value(channel, None, taken, age, "flagged", "reported as not detected, without a limit", "ND")
        return _value(channel, None, taken, age, "missing", "the newest entry holds no number")
    known = Known(
        point.value,
        Reading(
            channel.name, point.person or point.source, taken.astimezone(zone), point.source if point.person else ""
        ),
        channel.inside,
    )
    state, why = _doubt(channel, point, age, faults)
    return _value(channel, known, taken, age, state, why, point.qualifier)


def _doubt(channel: Channel, point: Point, age: float, faults: Sequence[str]) -> tuple[State, str]:
    assert point.value is not None

    def shown(value: float) -> str:
        return show(value, channel.inside, channel.unit)

    if point.flag == REJECTED:
        return "flagged", "the newest value was rejected"
    if point.flag == DOUBTFUL:
        return "flagged", "the newest value is marked doubtful"
    if channel.low is not None and point.value < channel.low and point.flag != BELOW:
        return "flagged", f"{shown(point.value)} is below what this can be ({shown(channel.low)})"
    if channel.high is not None and point.value > channel.high:
        return "flagged", f"{shown(point.value)} is above what this can be ({shown(channel.high)})"
    if point.flag == ABOVE or point.qualifier == ">":
        return "flagged", f"above the range of the instrument: more than {shown(point.value)}"
    if channel.stale_after is not None and age > channel.stale_after:
        return "stale", f"last reading {age_text(age)} old, stale after {age_text(channel.stale_after)}"
    if faults:
        return "flagged", "; ".join(faults)
    return "fresh", ""


def _value(
    channel: Channel,
    known: Known | None,
    taken_at: datetime | None,
    age_s: float | None,
    state: State,
    why: str,
    qualifier: str = "",
) -> Value:
    return Value(
        channel=channel.id, title=channel.name, unit=channel.inside, display=channel.unit, known=known,
        taken_at=taken_at, age_s=age_s, state=state, why=why, qualifier=qualifier,
    )  # fmt: skip

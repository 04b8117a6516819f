"""How is a line of advice put together? What it stands on, what is doubtful about that, and what to check."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any, get_args

from weirhouse.desk.model import Advice, Figure
from weirhouse.quantity import convert, show, written
from weirhouse.situation.ages import age_text
from weirhouse.situation.model import Situation, Value
from weirhouse.working import Sheet, Unit

# What to do about a reading that cannot be trusted; the first word found in the channel's id counts.
_CHECKS = (
    ("turbidity", "take a grab sample, read it on the bench turbidimeter, and look at the sample flow of the meter"),
    ("setting", "read the pump's dial"),
    ("tank_level", "dip the day tank"),
    ("dose", "find the dose in force from the pump's drawdown and the flow"),
    ("chlorine", "measure free chlorine with the test kit and look at the sample flow of the analyser"),
    ("backwash_flow", "read the wash water meter during the next wash"),
    ("flow", "read the flow meter and hold it against the change of level in a tank"),
    ("head_loss", "read the head-loss gauge and look for air in its tubes"),
    ("air_temperature", "read a thermometer in the shade"),
    ("temperature", "measure with a thermometer in running water"),
    ("alkalinity", "titrate a sample"),
    ("_ph", "measure with the hand pH meter, buffered today"),
    ("stream_level", "read the staff gauge from the bank"),
    ("level", "read the gauge at the tank"),
    ("uv254", "measure a filtered sample"),
    *((word, "send a sample to the laboratory") for word in ("toc", "tthm", "haa5", "coliform")),
)


def how_to_check(value: Value, *, standing: bool = False) -> str:
    """Return how to get a good reading in place of a doubtful one; of a plant that stands, after it was started."""
    how = next((text for word, text in _CHECKS if word in value.channel), "read it at the instrument")
    made = "turbidity" in value.channel and not value.channel.startswith("raw_")
    return f"after starting to waste, {how}" if standing and made else how


def what_to_check(value: Value, *, standing: bool = False) -> str:
    """Return one sentence: what is wrong with a reading and how to get a good one."""
    return f"{value.title}: {value.why}; {how_to_check(value, standing=standing)}, and enter what you find."


def doubtful(situation: Situation, channels: Iterable[str]) -> tuple[Value, ...]:
    """Return those of the channels on which no setpoint may stand."""
    found = (situation.value(channel) for channel in channels)
    return tuple(value for value in found if value.usable is None)


def oldest(situation: Situation, channels: Iterable[str]) -> float | None:
    """Return the age [s] of the oldest reading among the channels, or None without any."""
    ages = [situation.value(channel).age_s for channel in channels]
    return max((age for age in ages if age is not None), default=None)


def read_off(value: Value) -> Sheet:
    """Return the working of a number that was read and not worked out: who read it, when, and by what."""
    sheet = Sheet()
    if value.known is not None:
        sheet.notes.append(f"Read, not worked out: {value.known.source}.")
    return sheet


def age_words(situation: Situation, channels: Iterable[str]) -> str:
    """Return how old the readings are, in words."""
    age = oldest(situation, channels)
    return "no reading needed" if age is None else f"oldest reading {age_text(age)} old"


def unknown(
    situation: Situation,
    id: str,
    title: str,
    channels: Sequence[str],
    *,
    check: str = "",
    because: str = "",
    caution: str = "",
    inside: str = "",
    unit: str = "",
    figures: tuple[Figure, ...] = (),
) -> Advice:
    """Return a line that cannot tell, with what to check and no setpoint."""
    bad, standing = doubtful(situation, channels), situation.running.state == "standing"
    checks = " ".join([*(what_to_check(value, standing=standing) for value in bad), *([check] if check else [])])
    names = ", ".join(value.title for value in bad)
    first = f"Cannot tell: {names} {_states(bad)}." if bad else f"Cannot tell. {check}"
    return Advice(
        id=id, title=title, action=first, value=None, inside=inside, unit=unit, shown="", state="unknown",
        caution=caution, working=None, age_s=oldest(situation, channels), confidence="none",
        depends=tuple(channels), check=checks, because=because, figures=figures,
    )  # fmt: skip


def said_once(situation: Situation, lines: Iterable[Advice]) -> Iterator[Advice]:
    """Yield the lines, each reading's check in full where it is needed first and named afterwards.

    The line that lists what is stale, missing or odd keeps all of them: that is what it is for.
    """
    said: set[str] = set()
    for line in lines:
        if line.state != "unknown":
            yield line
            continue
        check, again = line.check, []
        for value in doubtful(situation, line.depends):
            full = what_to_check(value, standing=situation.running.state == "standing")
            if full in check and full in said:
                check = check.replace(full, "").replace("  ", " ").strip()
                again.append(within_sentence(value.title))
            said.add(full)
        waits = f"Waits for {' and '.join(again)} (see above)." if again else ""
        yield replace(line, check=f"{waits} {check}".strip())


def within_sentence(title: str) -> str:
    """Return a title as it stands within a sentence; pH and UV keep their letters.

    >>> within_sentence("Raw turbidity"), within_sentence("UV of raw water"), within_sentence("pH")
    ('raw turbidity', 'UV of raw water', 'pH')
    """
    return title if title[1:2].isupper() else f"{title[:1].lower()}{title[1:]}"


def _states(values: Sequence[Value]) -> str:
    words = sorted({"doubtful" if value.state == "flagged" else value.state for value in values})
    verb = "is" if len(values) == 1 else "are"
    return f"{verb} {' or '.join(words)}"


class Display:
    """Numbers in the plant's own units. Takes the aliases of `science.quantities`."""

    def __init__(self, unit_set: str) -> None:
        self.unit_set = unit_set

    def unit(self, alias: Any) -> str:
        """Return the display unit of an alias."""
        return _declared(alias).display(self.unit_set)

    def show(self, value: float, alias: Any, digits: int = 3) -> str:
        """Return a value as people read it here."""
        declared = _declared(alias)
        return show(value, declared.symbol, declared.display(self.unit_set), digits)


def _declared(alias: Any) -> Unit:
    for item in get_args(alias)[1:]:
        if isinstance(item, Unit):
            return item
    raise TypeError(f"{alias} declares no unit")


def figure(title: str, value: float | None, inside: str, unit: str, *, digits: int = 3, against: str = "",
           within: bool | None = None, plain: bool = False) -> Figure:  # fmt: skip
    """Return a number under an advice; a limit or a reading is `plain`, written without empty zeros."""
    shown = "cannot tell" if value is None else (written if plain else show)(float(value), inside, unit, digits)
    return Figure(
        title=title, value=None if value is None else float(value), inside=inside, unit=unit, shown=shown,
        against=against, within=within,
    )  # fmt: skip


def displayed(advice: Advice) -> float | None:
    """Return the value of an advice in its display unit."""
    return None if advice.value is None else float(convert(advice.value, advice.inside, advice.unit or advice.inside))

"""How do several ways of counting become one word, and how do readings become a list that says what counted?"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from weirhouse.quantity import written
from weirhouse.rules.model import Lacking, Outcome, Period, Requirement, Status, Tally, Way
from weirhouse.rules.recorded import BAD_WORDS, Bools, Floats, Ints, Recorded, Signal
from weirhouse.working import Sheet

MISSING = "nothing recorded"
MAYBE = "nothing recorded, and it is not on record whether the plant ran"
LATE = "not the reading that was due: that one is missing"
WORDS = (*BAD_WORDS, MISSING, MAYBE, LATE)
_MISSING, _MAYBE, _LATE = len(BAD_WORDS), len(BAD_WORDS) + 1, len(BAD_WORDS) + 2


@dataclass(frozen=True, slots=True)
class Verdict:
    """What one way of counting gives."""

    words: str
    status: Status
    value: float | None = None


def settle(plain: Sequence[Verdict], with_bad: Sequence[Verdict], bad: int) -> tuple[Status, tuple[Way, ...]]:
    """Return the one word of all ways of counting, and the ways that a reader has to see.

    Ways that do not agree cannot be told. With rejected or doubtful readings the result is counted with them, too, and
    both stand side by side.
    """
    status = one_word(plain)
    shown: list[Way] = []
    if len({v.status for v in plain}) > 1:
        shown += [Way(words=v.words, status=v.status, value=v.value) for v in plain]
    if bad and with_bad:
        other = one_word(with_bad)
        for word, one, some in (("without", status, plain), ("with", other, with_bad)):
            noun = "reading" if bad == 1 else "readings"
            words = f"{word} the {bad} rejected or doubtful {noun}"
            shown.append(Way(words=words, status=one, value=some[0].value))
        if other != status:
            status = "cannot tell"
    return status, tuple(shown)


def one_word(verdicts: Sequence[Verdict]) -> Status:
    """Return what all ways of counting agree on; "cannot tell" where they do not."""
    words = {v.status for v in verdicts}
    if len(words) == 1:
        return verdicts[0].status
    return "cannot tell" if words - {"not due"} != {"met"} else "met"


def first_of(ends: Sequence[int]) -> datetime | None:
    """Return the earliest of some instants [UTC epoch s]; None without any."""
    return datetime.fromtimestamp(min(ends), UTC) if ends else None


def tally_of(
    sig: Signal, recorded: Recorded, over: Bools, unit: str, scale: float, *, labels: Sequence[str] = (),
    running: Bools | None = None, all_missing: bool = True,
) -> Tally:  # fmt: skip
    """Return the recorded values that counted, what is missing, and the rows that did not count, in order of time.

    `scale` turns inside units into `unit`. `running` says which rows were taken while it ran: others are not listed.
    """
    has, asked = recorded.has, recorded.slots.asked
    late = has & asked & ~recorded.whole
    gone = asked & ~has if all_missing else np.zeros(len(has), dtype=bool)
    use = has | gone
    reasons = np.zeros(len(has), np.int16)
    reasons[gone & recorded.slots.need] = _MISSING
    reasons[gone & ~recorded.slots.need] = _MAYBE
    names = np.array(list(labels) if labels else [""] * len(has), dtype=object)
    names[late] = np.array([f"{name}, {LATE}".removeprefix(", ") for name in names[late]], dtype=object)
    bad = sig.bad > 0
    if running is not None:
        bad = bad & running
    if len(recorded.slots.begins):
        bad = bad & (sig.times >= recorded.slots.begins[0]) & (sig.times < recorded.slots.ends[-1])
    times = np.concatenate([recorded.times[use], sig.times[bad]])
    order = np.argsort(times, kind="stable")
    return Tally(
        source=sig.channel, unit=unit, times=times[order],
        values=np.concatenate([recorded.values[use], sig.raw[bad]])[order] * scale,
        reasons=np.concatenate([reasons[use], sig.bad[bad].astype(np.int16)])[order],
        over=np.concatenate([over[use], np.zeros(int(bad.sum()), dtype=bool)])[order],
        words=WORDS, labels=tuple(np.concatenate([names[use], np.full(int(bad.sum()), "", dtype=object)])[order]),
    )  # fmt: skip


def rows_tally(sig: Signal, keep: Bools, over: Bools, unit: str, scale: float) -> Tally:
    """Return the rows that `keep` lets through as they count, and the bad ones among them with their reasons."""
    return Tally(
        source=sig.channel, unit=unit, times=sig.times[keep], values=sig.raw[keep] * scale,
        reasons=sig.bad[keep].astype(np.int16), over=over[keep] & (sig.bad[keep] == 0), words=WORDS,
    )  # fmt: skip


def shown(value: float | None, unit: str, digits: int = 3) -> str:
    """Return a value as people read it."""
    if value is None or value != value:
        return ""
    if unit == "percent":
        return f"{value:.1f} percent"
    if unit in ("NTU", "mg/L", "ug/L"):
        return written(value, unit, unit, digits)
    return f"{value:.{digits}g} {unit}".strip()


def amount(number: int, one: str, several: str = "") -> str:
    """Return a count with its noun.

    >>> amount(1, "value"), amount(3, "value"), amount(0, "value")
    ('1 value', '3 values', 'no value')
    """
    if number == 0:
        return f"no {one}"
    return f"{number} {one if number == 1 else several or one + 's'}"


def simple(
    requirement: Requirement, period: Period, status: Status, sentence: str, *, subject: str = "",
    value: float | None = None, why: tuple[str, ...] = (), lacking: tuple[Lacking, ...] = (),
    tally: Tally | None = None, sheet: Sheet | None = None, ways: tuple[Way, ...] = (),
) -> Outcome:  # fmt: skip
    """Return an outcome of few parts."""
    return Outcome(
        requirement=requirement, subject=subject, period=period, status=status, value=value,
        shown=shown(value, requirement.unit), limit=requirement.limit, sentence=sentence, why=why, lacking=lacking,
        tally=tally, sheet=sheet, ways=ways,
    )  # fmt: skip


def at_text(moment: datetime) -> str:
    """Return a local time as it stands in a sentence."""
    return f"{moment:%Y-%m-%d %H:%M}"


__all__ = [
    "WORDS", "Bools", "Floats", "Ints", "Verdict", "amount", "at_text", "rows_tally", "settle", "shown", "simple",
    "tally_of",
]  # fmt: skip

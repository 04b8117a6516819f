"""Did the combined filtered water keep its limits? Share and highest of the recorded values, and a value every 4 h."""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from weirhouse.plant.model import Channel
from weirhouse.quantity import convert, fits
from weirhouse.rules.ground import Ground
from weirhouse.rules.model import Outcome, Requirement, Status
from weirhouse.rules.outcome import Verdict, amount, at_text, first_of, settle, shown, simple, tally_of
from weirhouse.rules.recorded import Bools, Recorded, above, decimals_of, rounded, stood_in
from weirhouse.rules.terms import Pick, Rounding, counts, lacking, picks, roundings
from weirhouse.science.statistics import highest_value, share_from_counts
from weirhouse.working import Known, Reading, note, recording

FOUR_HOURS_S = 14400.0
QUARTER_HOUR_S = 900.0


@dataclass(frozen=True, slots=True)
class Choice:
    """One way of counting that the State's terms leave open."""

    interval: float
    quarter: Pick
    four: Pick
    off_hours: bool
    rounding: Rounding

    @property
    def words(self) -> str:
        """The same in words."""
        what = f"the {self.four} value of each 4 h" if self.interval == FOUR_HOURS_S else "every 15-minute value"
        ran = "also while the plant stood" if self.off_hours else "while it ran"
        return f"{what} ({self.quarter} reading of the quarter hour), {ran}, {self.rounding.words}"


def choices(ground: Ground, limit: float, *, highest: bool = False) -> list[Choice]:
    """Return every way of counting that the State's terms leave open, its own first."""
    state = ground.book.state
    intervals = (state.combined_interval,) if state.combined_interval else (FOUR_HOURS_S, QUARTER_HOUR_S)
    if highest and state.maximum_counts != "recorded":
        intervals = (QUARTER_HOUR_S,) if state.maximum_counts == "every" else (*intervals, QUARTER_HOUR_S)
    found = [
        Choice(interval, quarter, four, off, rounding)
        for interval, quarter, four, off, rounding in itertools.product(
            dict.fromkeys(intervals), picks(state.recorded_value), picks(state.combined_value), counts(state.off_hours),
            roundings(state.turbidity_rounding, decimals_of(limit)),
        )
    ]  # fmt: skip
    # of 15-minute values the pick of four hours says nothing
    return list(dict.fromkeys(Choice(c.interval, c.quarter, c.four if c.interval == FOUR_HOURS_S else "last",
                                     c.off_hours, c.rounding) for c in found))  # fmt: skip


def values_of(ground: Ground, channel: str, choice: Choice, with_bad: bool) -> Recorded:
    """Return the recorded values that one way of counting takes; of seldom readings, of four hours."""
    by_hand = not ground.signal(channel, upper=True).quarterly
    if choice.interval == FOUR_HOURS_S or by_hand:
        pick = choice.four if choice.interval == FOUR_HOURS_S else "highest"
        return ground.four_hours(
            channel, upper=True, off_hours=choice.off_hours, quarter="highest" if by_hand else choice.quarter,
            pick=pick, with_bad=with_bad,
        )  # fmt: skip
    return ground.quarters(channel, upper=True, off_hours=choice.off_hours, pick=choice.quarter, with_bad=with_bad)


def _terms(ground: Ground, *, highest: bool) -> tuple[str, ...]:
    state = ground.book.state
    keys = ["recorded_value", "off_hours", "turbidity_rounding"]
    if highest:
        keys.append("maximum_counts")
    if not (highest and state.maximum_counts == "every"):
        keys += ["combined_interval", "combined_value"]
    return tuple(keys)


def unmeasured(ground: Ground, requirement: Requirement, channel_id: str) -> Outcome | None:
    """Return an outcome that cannot be told where the plant does not measure the channel; else None."""
    permit = ground.plant.permit
    if channel_id == "combined_turbidity" and permit is not None and permit.effluent_monitored == "individual":
        why = (
            "By the plant file the filters are monitored one by one and not together: which values then stand for the "
            "combined water, the State must say."
        )
        return simple(requirement, ground.month, "cannot tell", why, subject=channel_id, why=(why,))
    if ground.channel(channel_id) is None:
        why = f"The plant file has no channel {channel_id}: nothing can be counted."
        return simple(requirement, ground.month, "cannot tell", why, subject=channel_id, why=(why,))
    return None


def scale_of(requirement: Requirement, channel: Channel) -> float:
    """Return what turns the channel's inside unit into the unit of the requirement."""
    return float(convert(1.0, channel.inside, requirement.unit)) if fits(requirement.unit, channel.inside) else 1.0


def both_ways(ground: Ground, channel_id: str, *, upper: bool) -> tuple[bool, ...]:
    """Return whether to count without the bad rows and with them; once, where there are none."""
    return (False,) if ground.signal(channel_id, upper=upper).good.all() else (False, True)


def _state_must_set(ground: Ground, requirement: Requirement) -> Outcome | None:
    if not requirement.check.get("state_sets") or requirement.stricter_by:
        return None
    why = (
        f"The State sets this value for your kind of filter, up to {requirement.limit:g} {requirement.unit}; "
        "it is not in the local pack."
    )
    return simple(requirement, ground.month, "cannot tell", why, why=(why,))


# --- the share of the month ----------------------------------------------------------------------------------------


def share_within(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether enough of the month's recorded values were at or below the limit.

    Met only if it would be met with everything missing counted as above; broken if it is so by what was recorded.
    """
    channel_id = str(requirement.check["channel"])
    odd = unmeasured(ground, requirement, channel_id) or _state_must_set(ground, requirement)
    if odd is not None:
        yield odd
        return
    channel = ground.plant.channels[channel_id]
    limit = ground.limit(requirement, channel)
    fraction = float(requirement.extra.get("fraction", requirement.check.get("fraction", 0.95)))
    most = requirement.extra.get("maximum")
    maximum = float(most) if isinstance(most, int | float) else None
    sig = ground.signal(channel_id, upper=True)
    ways = choices(ground, limit)
    verdicts: dict[bool, list[Verdict]] = {}
    for with_bad in both_ways(ground, channel_id, upper=True):
        verdicts[with_bad] = [
            _share(ground, values_of(ground, channel_id, way, with_bad), way, limit, fraction, maximum) for way in ways
        ]
    running = ground.running(sig.times)
    bad = int((~sig.good & (running | (ways[0].off_hours))).sum())
    status, shown_ways = settle(verdicts[False], verdicts.get(True, []), bad)
    main = values_of(ground, channel_id, ways[0], False)
    over = above(rounded(main.values, ways[0].rounding), limit)
    n, beyond, unsure = int(main.has.sum()), int((over & main.has).sum()), int(main.unsure.sum())
    share = (n - beyond) / n if n else None
    noun = "four-hour value" if ways[0].interval == FOUR_HOURS_S else "15-minute value"
    limit_text = f"{requirement.limit:g} {requirement.unit}"
    with recording() as sheet:
        if n:
            of = f"{noun}s of {ground.name} that count"
            at = ground.local(ground.until_s)
            share_from_counts(
                Known(n - beyond, Reading(channel.name, "", at, f"at or below {limit_text}, {of}"), "1"),
                Known(n, Reading(channel.name, "", at, of), "1"),
            )
        note(f"Counted: {ways[0].words}. At least {fraction:.0%} at or below {limit_text} is asked.")
        if unsure:
            note(f"{amount(unsure, noun)} missing: with all of them above, the share must hold as well.")
    sentence = f"{n} {noun}{'s' if n != 1 else ''}, {beyond or 'none'} above {limit_text}" + (
        f": {100 * share:.1f} percent at or below, {100 * fraction:.0f} percent is asked." if share is not None else "."
    )
    why: list[str] = []
    if not n and not main.slots.asked.any():
        sentence = "The plant did not run, so no value is asked for."
    if unsure:
        why.append(f"{amount(unsure, 'value')} missing that should be there.")
    if not ground.over:
        sentence = f"So far: {sentence[0].lower()}{sentence[1:]}"
    labels = ground.four_names() if ways[0].interval == FOUR_HOURS_S else []
    yield Outcome(
        requirement=requirement, subject=channel_id, period=ground.month, status=status,
        value=None if share is None else 100 * share, shown=shown(None if share is None else 100 * share, "percent"),
        limit=requirement.limit, sentence=sentence, ways=shown_ways, why=tuple(why), sheet=sheet,
        lacking=lacking(ground.book.state, *_terms(ground, highest=False)),
        tally=tally_of(sig, main, over, requirement.unit, scale_of(requirement, channel), labels=labels,
                       running=running | ways[0].off_hours),
    )  # fmt: skip


def _share(
    ground: Ground, recorded: Recorded, way: Choice, limit: float, fraction: float, maximum: float | None
) -> Verdict:
    values = rounded(recorded.values, way.rounding)
    over = above(values, limit)
    has, unsure = recorded.has, recorded.unsure
    n, beyond = int(has.sum()), int((over & has).sum())
    all_of = int((has | recorded.slots.asked).sum())
    if not all_of:
        return Verdict(way.words, "not due")
    share = 100.0 * (n - beyond) / n if n else None
    if maximum is not None and above(values, maximum).any():
        return Verdict(way.words, "broken", share)
    ahead = 0
    if not ground.over:
        slots = (
            6 * len(ground.days) if way.interval == FOUR_HOURS_S else int((ground.b - ground.a).total_seconds() / 900)
        )
        ahead = max(0, slots - len(recorded.slots.begins))
    if n and (n - beyond) + ahead < fraction * (n + ahead) - 1e-9:
        return Verdict(way.words, "broken", share)
    if not ground.over:
        return Verdict(way.words, "not due", share)
    worst = int((over | unsure).sum())
    met = all_of - worst >= fraction * all_of - 1e-9
    return Verdict(way.words, "met" if met else "cannot tell", share)


# --- the highest -----------------------------------------------------------------------------------------------------


def none_above(ground: Ground, requirement: Requirement, *, single: bool = False) -> Iterator[Outcome]:
    """Yield whether no recorded value was above the limit; with `single`, no single row at all.

    What is missing could have been above: then it cannot be told.
    """
    channel_id = str(requirement.check["channel"])
    odd = unmeasured(ground, requirement, channel_id) or _state_must_set(ground, requirement)
    if odd is not None:
        yield odd
        return
    channel = ground.plant.channels[channel_id]
    limit = ground.limit(requirement, channel)
    sig = ground.signal(channel_id, upper=True)
    if single:
        state = ground.book.state
        ways = [
            Choice(QUARTER_HOUR_S, "highest", "last", off, rounding)
            for off, rounding in itertools.product(
                counts(state.off_hours), roundings(state.turbidity_rounding, decimals_of(limit))
            )
        ]
    else:
        ways = choices(ground, limit, highest=True)
    verdicts = {
        with_bad: [_highest(ground, channel_id, way, with_bad, limit) for way in ways]
        for with_bad in both_ways(ground, channel_id, upper=True)
    }
    running = ground.running(sig.times) | ways[0].off_hours
    bad = int((~sig.good & running).sum())
    status, shown_ways = settle(verdicts[False], verdicts.get(True, []), bad)
    main = values_of(ground, channel_id, ways[0], False)
    over = above(rounded(main.values, ways[0].rounding), limit)
    scale = scale_of(requirement, channel)
    value = sheet = None
    unsure = int(_unsure(ground, channel_id, ways[0], False).sum())
    limit_text = f"{requirement.limit:g} {requirement.unit}"
    if main.has.any():
        top = int(np.nanargmax(main.values))
        value = float(main.values[top]) * scale
        at = ground.local(int(main.times[top]))
        with recording() as sheet:
            at_most = [float(v) * scale for v in np.sort(main.values[main.has])[-5:]]
            source = Reading(channel.name, "", at, f"highest of {int(main.has.sum())} values that count")
            highest_value([Known(v, source, requirement.unit) if v == at_most[-1] else v for v in at_most])
            note(f"Counted: {ways[0].words}. None above {limit_text} is asked. The five highest are shown.")
        number = int((over & main.has).sum())
        sentence = f"Highest {shown(value, requirement.unit)} ({at_text(at)}); {number or 'none'} above {limit_text}."
    elif main.slots.asked.any():
        sentence = "Nothing that counts was recorded."
    else:
        sentence = "The plant did not run, so no value is asked for."
    why = (f"{amount(unsure, 'recorded value')} missing: any of them could have been above.",) if unsure else ()
    yield Outcome(
        requirement=requirement, subject=channel_id, period=ground.month, status=status, value=value,
        shown=shown(value, requirement.unit), limit=requirement.limit,
        sentence=sentence if ground.over else f"So far: {sentence[0].lower()}{sentence[1:]}", ways=shown_ways, why=why,
        sheet=sheet,
        lacking=lacking(
            ground.book.state, *(("off_hours", "turbidity_rounding") if single else _terms(ground, highest=True))
        ),
        tally=tally_of(sig, main, over, requirement.unit, scale, running=running),
    )  # fmt: skip


def any_above(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether no single value was above the limit."""
    return none_above(ground, requirement, single=True)


def _highest(ground: Ground, channel: str, way: Choice, with_bad: bool, limit: float) -> Verdict:
    recorded = values_of(ground, channel, way, with_bad)
    over = above(rounded(recorded.values, way.rounding), limit)
    value = float(np.nanmax(recorded.values)) if recorded.has.any() else None
    unsure = _unsure(ground, channel, way, with_bad)
    return Verdict(way.words, _word(ground, recorded.has | recorded.slots.asked, over, unsure), value)


def _unsure(ground: Ground, channel: str, way: Choice, with_bad: bool) -> Bools:
    """Return what is missing; while an instrument is out, a sample by hand stands for four hours."""
    recorded = values_of(ground, channel, way, with_bad)
    if way.interval == FOUR_HOURS_S or not ground.signal(channel, upper=True).quarterly:
        return recorded.unsure
    return recorded.unsure & ~stood_in(ground.signal(channel, upper=True), recorded)


def _word(ground: Ground, all_of: Bools, over: Bools, unsure: Bools) -> Status:
    if over.any():
        return "broken"
    if not all_of.any():
        return "not due"
    if unsure.any():
        return "cannot tell"
    return "met" if ground.over else "not due"


# --- a value every four hours ----------------------------------------------------------------------------------------


def every_period(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether each four-hour period in which the plant ran has a value that counts."""
    channel_id = str(requirement.check["channel"])
    odd = unmeasured(ground, requirement, channel_id)
    if odd is not None:
        yield odd
        return
    sig = ground.signal(channel_id, upper=True)
    verdicts: dict[bool, list[Verdict]] = {False: [], True: []}
    kept: dict[tuple[bool, bool], Recorded] = {}
    offs = counts(ground.book.state.off_hours)
    missed: list[int] = []
    for with_bad, off in itertools.product(both_ways(ground, channel_id, upper=True), offs):
        four = ground.four_hours(channel_id, upper=True, off_hours=off, quarter="first", pick="last", with_bad=with_bad)
        kept[with_bad, off] = four
        gone = four.slots.asked & ~four.has
        words = "also while the plant stood" if off else "while it ran"
        status: Status = "met" if ground.over else "not due"
        if (gone & four.slots.need).any():
            status = "broken"
            missed.append(ground.first_missed(four.slots.ends[gone & four.slots.need]))
        elif gone.any():
            status = "cannot tell"
        elif not four.slots.asked.any():
            status = "not due"
        verdicts[with_bad].append(Verdict(words, status, float(gone.sum())))
    running = ground.running(sig.times) | offs[0]
    status, ways = settle(verdicts[False], verdicts[True], int((~sig.good & running).sum()))
    main = kept[False, offs[0]]
    gone = main.slots.asked & ~main.has
    asked = int(main.slots.asked.sum())
    sentence = f"{asked} four-hour periods of operation, {int(gone.sum()) or 'none'} without a value that counts."
    if not asked:
        sentence = "The plant did not run, so no value is asked for."
    labels = ground.four_names()
    first = np.flatnonzero(gone)[:4]
    why = tuple(
        f"{at_text(ground.local(int(main.slots.begins[i])))}: nothing that counts"
        + ("." if main.slots.need[i] else ", and it is not on record whether the plant ran.")
        for i in first
    )
    yield Outcome(
        requirement=requirement, subject=channel_id, period=ground.month, status=status, value=float(gone.sum()),
        shown=amount(int(gone.sum()), "missing period"), limit=requirement.limit,
        sentence=sentence if ground.over else f"So far: {sentence[0].lower()}{sentence[1:]}", ways=ways, why=why,
        lacking=lacking(ground.book.state, "off_hours"), missed_at=first_of(missed),
        tally=tally_of(sig, main, np.zeros(len(main.values), dtype=bool), "NTU", 1.0, labels=labels, running=running),
    )  # fmt: skip

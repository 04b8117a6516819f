"""Did the water that entered the mains hold its residual? Every reading counts here, not one of each quarter hour.

From the first reading below the limit the residual is taken to be below until a reading shows it restored: what lies
between is not known. Time for which nothing was recorded could have been below.
"""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from weirhouse.quantity import convert, fits
from weirhouse.rules.ground import Ground
from weirhouse.rules.model import Outcome, Requirement, Status
from weirhouse.rules.outcome import Verdict, amount, at_text, first_of, rows_tally, settle, shown
from weirhouse.rules.recorded import Bools, Floats, Ints, below, decimals_of, rounded
from weirhouse.rules.terms import Rounding, counts, lacking, roundings
from weirhouse.rules.turbidity import both_ways, scale_of, unmeasured
from weirhouse.working import Sheet

GRAB_S = 4 * 3600.0
BY_HAND_GAP_S = 26 * 3600.0  # samples by hand further apart leave a day without one
TERMS = ("off_hours", "residual_rounding")


@dataclass(frozen=True, slots=True)
class Below:
    """A time below the limit: first reading below, first reading that showed it restored (or the end of records)."""

    begin: int
    end: int
    served_s: float  # of it, the time for which water was (or may have been) sent on
    lowest: float
    restored: bool
    certain_s: float | None  # served without rejected and doubtful readings; None where only those make it


@dataclass(frozen=True, slots=True)
class Way:
    """One way of counting that the State's terms leave open."""

    off_hours: bool
    rounding: Rounding

    @property
    def words(self) -> str:
        """The same in words."""
        return f"{'also while the plant stood' if self.off_hours else 'while it ran'}, {self.rounding.words}"


def ways_of(ground: Ground, limit: float) -> list[Way]:
    """Return every way of counting that the State's terms leave open, its own first."""
    state = ground.book.state
    return [
        Way(off, rounding)
        for off, rounding in itertools.product(
            counts(state.off_hours), roundings(state.residual_rounding, decimals_of(limit))
        )
    ]


def rows(ground: Ground, channel: str, way: Way, with_bad: bool) -> tuple[Ints, Floats]:
    """Return times and values of the readings of the month that one way of counting takes, rounded."""

    def make() -> tuple[Ints, Floats]:
        sig = ground.signal(channel, upper=False)
        keep = counted_rows(ground, channel, way.off_hours, with_bad)
        return sig.times[keep], rounded(sig.values[keep], way.rounding)

    return ground.keep(("rows", channel, way, with_bad), make)  # type: ignore[no-any-return]


def counted_rows(ground: Ground, channel: str, off_hours: bool, with_bad: bool) -> Bools:
    """Return which rows of a channel count."""

    def make() -> Bools:
        sig = ground.signal(channel, upper=False)
        keep = sig.rows(with_bad) & (sig.times >= ground.begin_s)
        return np.asarray(keep if off_hours else keep & ground.running(sig.times))

    return ground.keep(("counted rows", channel, off_hours, with_bad), make)  # type: ignore[no-any-return]


def _served(ground: Ground, begins: Ints, ends: Ints, off_hours: bool) -> Floats:
    """Return the time of each span for which water was, or may have been, sent on [s]."""
    a, b = begins.astype(float), ends.astype(float)
    if off_hours:
        return np.asarray(b - a)
    course = ground.course()
    return np.asarray(b - a - (course.known(a, b) - course.ran(a, b)))


def times_below(
    ground: Ground, channel: str, limit: float, way: Way, with_bad: bool
) -> list[tuple[int, int, float, float, bool]]:
    """Return each time below: first reading below, first restored or the end, time served, lowest, restored.

    The lowest is minus infinity where a reading was not detected.
    """
    times, values = rows(ground, channel, way, with_bad)
    low = below(values, limit)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], low, [False]]).astype(np.int8)))
    found = []
    for first, after in zip(edges[::2], edges[1::2], strict=True):
        begin = int(times[first])
        restored = bool(after < len(times))
        end = int(times[after]) if restored else ground.until_s
        served = float(_served(ground, np.array([begin]), np.array([end]), way.off_hours)[0])
        lowest = float(values[first:after].min())
        found.append((begin, end, served, lowest if np.isneginf(lowest) else max(lowest, 0.0), restored))
    return found


def gaps(ground: Ground, channel: str, way: Way, with_bad: bool) -> list[tuple[int, int]]:
    """Return the times between two readings that are too long to be an interval of this channel, and served in."""
    return ground.keep(  # type: ignore[no-any-return]
        ("gaps", channel, way, with_bad), lambda: _gaps(ground, channel, way, with_bad)
    )


def _gaps(ground: Ground, channel: str, way: Way, with_bad: bool) -> list[tuple[int, int]]:
    sig = ground.signal(channel, upper=False)
    times, _ = rows(ground, channel, way, with_bad)
    most = 1.5 * sig.interval if sig.logged else BY_HAND_GAP_S
    points = np.concatenate([[ground.begin_s], times, [ground.until_s]]).astype(np.int64)
    wide = np.flatnonzero(np.diff(points) > most + 1.0)
    served = _served(ground, points[wide], points[wide + 1], way.off_hours)
    found = []
    for i, time in zip(wide, served, strict=True):
        begin, end = int(points[i]), int(points[i + 1])
        out = sig.outages.meets(np.array([begin]), np.array([end]))[0]
        stood_in = out and time <= GRAB_S + 1.0  # while the instrument is out a grab sample every 4 h stands
        if time > most + 1.0 and not stood_in:
            found.append((begin, end))
    return found


def below_for(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether the residual was below its limit for longer than the time allowed."""
    channel_id = str(requirement.check["channel"])
    odd = unmeasured(ground, requirement, channel_id)
    if odd is not None:
        yield odd
        return
    channel = ground.plant.channels[channel_id]
    limit = ground.limit(requirement, channel)
    hours = float(requirement.extra.get("max_hours_below", requirement.check.get("hours", 4.0)))
    ways = ways_of(ground, limit)
    verdicts = {
        with_bad: [_longest(ground, channel_id, limit, hours, way, with_bad) for way in ways]
        for with_bad in both_ways(ground, channel_id, upper=False)
    }
    yield _outcome(ground, requirement, channel_id, limit, ways, verdicts, hours)


def any_below(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether any reading was below the limit; "broken" says that one was, and that the State is to be told."""
    channel_id = str(requirement.check["channel"])
    odd = unmeasured(ground, requirement, channel_id)
    if odd is not None:
        yield odd
        return
    channel = ground.plant.channels[channel_id]
    limit = ground.limit(requirement, channel)
    ways = ways_of(ground, limit)
    verdicts = {
        with_bad: [_any(ground, channel_id, limit, way, with_bad) for way in ways]
        for with_bad in both_ways(ground, channel_id, upper=False)
    }
    yield _outcome(ground, requirement, channel_id, limit, ways, verdicts, None)


def _longest(ground: Ground, channel: str, limit: float, hours: float, way: Way, with_bad: bool) -> Verdict:
    found = times_below(ground, channel, limit, way, with_bad)
    longest = max((served for _, _, served, _, _ in found), default=0.0)
    if longest > hours * 3600 + 0.5:
        return Verdict(way.words, "broken", longest / 3600)
    missing = gaps(ground, channel, way, with_bad)
    leads = {end: begin for begin, end in missing}  # a gap that leads into a time below may have been below, too
    spans = [*missing, *((leads.get(begin, begin), end) for begin, end, *_ in found)]
    for begin, end in spans:
        if float(_served(ground, np.array([begin]), np.array([end]), way.off_hours)[0]) > hours * 3600 + 0.5:
            return Verdict(way.words, "cannot tell", longest / 3600)
    return Verdict(way.words, _calm(ground, channel, way, with_bad), longest / 3600)


def _any(ground: Ground, channel: str, limit: float, way: Way, with_bad: bool) -> Verdict:
    _, values = rows(ground, channel, way, with_bad)
    if below(values, limit).any():
        return Verdict(way.words, "broken", float(values.min()))
    lowest = float(values.min()) if len(values) else None
    if gaps(ground, channel, way, with_bad):
        return Verdict(way.words, "cannot tell", lowest)
    return Verdict(way.words, _calm(ground, channel, way, with_bad), lowest)


def _calm(ground: Ground, channel: str, way: Way, with_bad: bool) -> Status:
    times, _ = rows(ground, channel, way, with_bad)
    if not len(times) and not ground.four_slots(way.off_hours).asked.any():
        return "not due"
    return "met" if ground.over else "not due"


def _outcome(
    ground: Ground, requirement: Requirement, channel_id: str, limit: float, ways: list[Way],
    verdicts: dict[bool, list[Verdict]], hours: float | None,
) -> Outcome:  # fmt: skip
    channel = ground.plant.channels[channel_id]
    sig = ground.signal(channel_id, upper=False)
    keep = counted_rows(ground, channel_id, ways[0].off_hours, True)
    bad = int((keep & ~sig.good).sum())
    status, shown_ways = settle(verdicts[False], verdicts.get(True, []), bad)
    found = times_below(ground, channel_id, limit, ways[0], False)
    times, values = rows(ground, channel_id, ways[0], False)
    scale = scale_of(requirement, channel)
    limit_text = f"{requirement.limit:g} {requirement.unit}"
    missing = gaps(ground, channel_id, ways[0], False)
    lowest, least = None, shown(None, requirement.unit)
    if len(values):
        i = int(np.argmin(values))
        if np.isneginf(values[i]):  # a reading that was not detected is no number, and not 0
            least = "not detected"
        else:
            lowest = max(float(values[i]), 0.0) * scale
            least = shown(lowest, requirement.unit)
        sentence = f"Lowest {least} ({at_text(ground.local(int(times[i])))})"
    else:
        sentence = "No reading that counts"
    longest = max(found, key=lambda f: f[2], default=None)
    if longest is not None:
        begin, end, served, _, restored = longest
        until = f"shown restored {at_text(ground.local(end))}" if restored else "not shown restored since"
        sentence += (
            f"; {amount(len(found), 'time')} below {limit_text}, the longest from {at_text(ground.local(begin))}, "
            f"{until}: {served / 3600:.1f} h"
        )
    else:
        sentence += f"; none below {limit_text}"
    sentence += "."
    if hours is not None:
        sentence += f" More than {hours:g} h breaks it."
    why = []
    for begin, end in missing[:4]:
        why.append(f"No reading that counts from {at_text(ground.local(begin))} to {at_text(ground.local(end))}.")
    value = lowest if hours is None else (longest[2] / 3600 if longest else 0.0)
    return Outcome(
        requirement=requirement, subject=channel_id, period=ground.month, status=status, value=value,
        shown=least if hours is None else f"{value:.1f} h below", limit=requirement.limit,
        sentence=sentence if ground.over else f"So far: {sentence[0].lower()}{sentence[1:]}", ways=shown_ways,
        why=tuple(why), lacking=lacking(ground.book.state, *TERMS),
        sheet=Sheet(notes=[f"Looked up, not worked out: {len(values)} readings, {ways[0].words}. {sentence}"]),
        tally=rows_tally(sig, keep, below(rounded(sig.values, ways[0].rounding), limit), requirement.unit, scale),
    )  # fmt: skip


def episodes(ground: Ground, requirement: Requirement) -> list[Below]:
    """Return every time below the limit, those that meet in any way of counting as one.

    A reading that is rejected takes neither a time away nor the hour at which it began: its clock has started.
    """
    channel = ground.channel(str(requirement.check["channel"]))
    if channel is None:
        return []
    limit = ground.limit(requirement, channel)
    ways = ways_of(ground, limit)
    found = [
        Below(b, e, served, low, restored, served if way == ways[0] and not with_bad else None)
        for way in ways
        for with_bad in both_ways(ground, channel.id, upper=False)
        for b, e, served, low, restored in times_below(ground, channel.id, limit, way, with_bad)
    ]
    joined: list[Below] = []
    for one in sorted(found, key=lambda one: (one.begin, one.end)):
        if joined and one.begin < joined[-1].end:
            joined[-1] = _joined(joined[-1], one)
        else:
            joined.append(one)
    return joined


def _joined(a: Below, b: Below) -> Below:
    certain = [s for s in (a.certain_s, b.certain_s) if s is not None]
    last = max((a, b), key=lambda one: (one.end, not one.restored))
    return Below(
        min(a.begin, b.begin), last.end, max(a.served_s, b.served_s), min(a.lowest, b.lowest), last.restored,
        max(certain, default=None),
    )  # fmt: skip


# --- samples by the day ------------------------------------------------------------------------------------------


def samples_a_day(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether each day of operation has as many residual readings as the population asks for."""
    channel_id = str(requirement.check["channel"])
    odd = unmeasured(ground, requirement, channel_id)
    if odd is not None:
        yield odd
        return
    people = ground.plant.population or 0
    wanted = next((int(n) for most, n in requirement.extra["population_table"] if people <= most), 4)
    sig = ground.signal(channel_id, upper=False)
    days = [d for d in ground.days if d.end <= ground.until_s]
    begins = np.array([d.begin for d in days], np.int64)
    ends = np.array([d.end for d in days], np.int64)
    course = ground.course()
    ran = course.ran(begins.astype(float), ends.astype(float))
    unknown = (ends - begins) - course.known(begins.astype(float), ends.astype(float))
    verdicts: dict[bool, list[Verdict]] = {False: [], True: []}
    short_days: list[str] = []
    missed: list[int] = []
    offs = counts(ground.book.state.off_hours)
    for with_bad, off in itertools.product(both_ways(ground, channel_id, upper=False), offs):
        times = sig.times[counted_rows(ground, channel_id, off, with_bad)]
        stamps = np.unique(times // 900) * 900 if sig.logged else times  # not all at the same time
        number = np.searchsorted(stamps, ends) - np.searchsorted(stamps, begins)
        short = number < wanted
        need = np.ones(len(days), dtype=bool) if off else ran >= 900
        maybe = ~need & (ran + unknown >= 900)
        status: Status = "met" if ground.over else "not due"
        if (short & need).any():
            status = "broken"
            missed.append(ground.first_missed(ends[short & need]))
        elif (short & maybe).any():
            status = "cannot tell"
        elif not (need | maybe).any():
            status = "not due"
        words = "also while the plant stood" if off else "while it ran"
        verdicts[with_bad].append(Verdict(words, status, float((short & (need | maybe)).sum())))
        if not with_bad and off == offs[0]:
            short_days = [f"{d.date:%Y-%m-%d}" for d, s in zip(days, short & (need | maybe), strict=True) if s]
    keep = counted_rows(ground, channel_id, offs[0], True)
    status, ways = settle(verdicts[False], verdicts[True], int((keep & ~sig.good).sum()))
    people_text = f"{people:,} people" if ground.plant.population else "the population"
    sentence = (
        f"{wanted} readings a day are asked for {people_text}; {len(short_days) or 'no'} "
        f"day{'' if len(short_days) == 1 else 's'} of operation with fewer."
    )
    unit = "mg/L" if fits("mg/L", sig_unit := ground.plant.channels[channel_id].inside) else sig_unit
    scale = float(convert(1.0, sig_unit, unit))
    yield Outcome(
        requirement=requirement, subject=channel_id, period=ground.month, status=status, value=float(len(short_days)),
        shown=amount(len(short_days), "short day"), limit=requirement.limit,
        sentence=sentence if ground.over else f"So far: {sentence[0].lower()}{sentence[1:]}", ways=ways,
        why=tuple(f"{day}: fewer than {wanted}." for day in short_days[:6]), missed_at=first_of(missed),
        lacking=lacking(ground.book.state, "off_hours"), sheet=Sheet(notes=[f"Looked up, not worked out: {sentence}"]),
        tally=rows_tally(sig, keep, np.zeros(len(sig.times), dtype=bool), unit, scale),
    )  # fmt: skip

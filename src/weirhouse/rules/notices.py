"""What must be told, to whom, and until when? Each broken limit has a notice with its clock, steps and a draft.

The readings open a notice; only a person closes it. That a reading is rejected does not take it away: it then says that
it stands on that reading alone. Nothing here says that water is fit to drink, and nothing decides whether to boil it:
the State does, and whom to call is on every notice.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np

from weirhouse.plant.model import Plant
from weirhouse.records.model import Event
from weirhouse.rules import residual, turbidity
from weirhouse.rules.ground import Ground, next_month
from weirhouse.rules.methods import TIERS
from weirhouse.rules.model import Element, NoticeNeeded, Outcome, Requirement, Step
from weirhouse.rules.outcome import at_text
from weirhouse.rules.recorded import above, decimals_of, rounded
from weirhouse.rules.terms import counts, roundings

HOURS_OF_TIER_1 = 24
DAYS_OF_TIER_2 = 30
ELEMENTS = (
    "What happened, and the levels found", "When", "What it can do to health", "Who is most at risk",
    "Whether to use other water", "What to do", "What is being done", "When it is expected to be over",
    "Whom to ask", "Please pass it on",
)  # fmt: skip
CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class Found:
    """What opened a notice."""

    requirement: Requirement
    subject: str
    opened_at: datetime
    sentence: str
    certain: bool
    level: str  # "1.34 NTU"
    when: str  # "on 2026-10-14 from 07:45"
    limit_at: datetime | None = None
    kind: str = "limit"  # limit, consult, tell, missed


def notices(ground: Ground, asked: Sequence[Requirement], outcomes: Sequence[Outcome]) -> tuple[NoticeNeeded, ...]:
    """Return the notices that the month's readings and results open, the earliest first, with what was done on each."""
    found: list[Found] = []
    for requirement in asked:
        method = requirement.check["method"]
        if method in ("none_above", "any_above"):
            found += _above(ground, requirement)
        elif method in ("any_below", "below_for"):
            found += _below(ground, requirement)
    for outcome in outcomes:
        found += _of_outcome(ground, outcome)
    made = [_notice(ground, one) for one in found]
    known = {one.id for one in made}
    made += list(_kept(ground, known))
    return tuple(sorted((_done(one, ground.events) for one in made), key=lambda one: (one.opened_at, one.id)))


def notice_id(requirement: str, subject: str, opened_at: datetime) -> str:
    """Return the id of a notice: the same for the same readings.

    >>> notice_id("cfe_max_small", "combined_turbidity", datetime(2026, 10, 14, 11, 45, tzinfo=UTC))
    'cfe_max_small:combined_turbidity:2026-10-14T11:45Z'
    """
    return f"{requirement}:{subject}:{opened_at.astimezone(UTC):%Y-%m-%dT%H:%MZ}"


# --- what opens one --------------------------------------------------------------------------------------------------


def _above(ground: Ground, requirement: Requirement) -> Iterator[Found]:
    """Yield one for each local day with a value above the limit, in any way of counting."""
    id = str(requirement.check["channel"])
    channel = ground.channel(id)
    if channel is None or turbidity.unmeasured(ground, requirement, id) is not None:
        return
    limit = ground.limit(requirement, channel)
    if requirement.check["method"] == "any_above":
        ways = [
            turbidity.Choice(turbidity.QUARTER_HOUR_S, "highest", "last", off, rounding)
            for off in counts(ground.book.state.off_hours)
            for rounding in roundings(ground.book.state.turbidity_rounding, decimals_of(limit))
        ]
    else:
        ways = turbidity.choices(ground, limit, highest=True)
    days: dict[date, tuple[int, float]] = {}
    sure: list[set[date]] = []
    for way in ways:
        for with_bad in turbidity.both_ways(ground, id, upper=True):
            rec = turbidity.values_of(ground, id, way, with_bad)
            over = np.flatnonzero(above(rounded(rec.values, way.rounding), limit))
            seen = set()
            for i in over:
                taken, value = int(rec.times[i]), float(rec.values[i])
                on = ground.day_of(taken)
                seen.add(on)
                first, top = days.get(on, (taken, value))
                days[on] = (min(first, taken), max(top, value))
            if not with_bad:
                sure.append(seen)
    scale = turbidity.scale_of(requirement, channel)
    for day, (first, top) in days.items():
        at = ground.local(first)
        above_range = top == float("inf")
        level = f"more than {channel.high:g} {channel.unit}" if above_range else f"{top * scale:.2f} {requirement.unit}"
        yield Found(
            requirement, id, at.astimezone(UTC),
            f"{channel.name} above {requirement.limit:g} {requirement.unit} from {at_text(at)}, highest {level}.",
            all(day in seen for seen in sure), level, f"on {at:%Y-%m-%d} from {at:%H:%M}", kind="consult",
        )  # fmt: skip


def _below(ground: Ground, requirement: Requirement) -> Iterator[Found]:
    """Yield one for each time below the limit; of what may last 4 h, for each that lasted longer."""
    id = str(requirement.check["channel"])
    channel = ground.channel(id)
    if channel is None:
        return
    hours = float(requirement.extra.get("max_hours_below", requirement.check.get("hours", 4.0)))
    lasting = requirement.check["method"] == "below_for"
    for one in residual.episodes(ground, requirement):
        begin = ground.local(one.begin)
        if lasting and one.served_s <= hours * 3600 + 0.5:
            continue
        limit_at = begin.astimezone(UTC) + timedelta(hours=hours)
        until = f"until {at_text(ground.local(one.end))}" if one.restored else "not shown restored"
        level = "not detected" if one.lowest < 0 else f"{one.lowest:.2f} mg/L"
        certain = one.certain_s is not None and (not lasting or one.certain_s > hours * 3600 + 0.5)
        yield Found(
            requirement, id, limit_at if lasting else begin.astimezone(UTC),
            f"{channel.name} below {requirement.limit:g} {requirement.unit} from {at_text(begin)}, {until}, "
            f"lowest {level}.",
            certain, level, f"on {begin:%Y-%m-%d} from {begin:%H:%M}, {until}", limit_at,
            kind="limit" if lasting else "tell",
        )  # fmt: skip


_BY_RESULT = {"ecoli", "single_result", "sum_of_results", "percentile", "highest_result"}
_BY_READING = {"none_above", "any_above", "any_below", "below_for", "two_consecutive", "consecutive_months", "follows"}


def _of_outcome(ground: Ground, outcome: Outcome) -> Iterator[Found]:
    """Yield one for a broken limit of a whole month or of samples, and for missed monitoring."""
    requirement = outcome.requirement
    method = requirement.check.get("method")
    if method in _BY_READING or "tier" not in requirement.check:
        return
    broken = outcome.status == "broken"
    if not broken and not any(way.status == "broken" for way in outcome.ways):
        return
    if not broken and ground.begins_s == float("inf"):
        return  # a plant folder that was made just now
    tier = TIERS.get(str(requirement.check["tier"]))
    # the clock runs from what was missed first: from now, it would begin anew at each look
    at = outcome.missed_at or min(outcome.period.b, ground.until)
    if method == "contact":
        short = [day for day, status in outcome.days.items() if status == "broken"]
        days = {day.date: day for day in ground.days}
        if short:
            at = datetime.fromtimestamp(days[min(short)].end, UTC)
    if method in _BY_RESULT:
        at = _learned(ground, outcome) or at
    yield Found(
        requirement, outcome.subject, at, outcome.sentence, broken, outcome.shown, f"in {outcome.period.name}",
        kind="missed" if tier == 3 else "limit",
    )  # fmt: skip


def _learned(ground: Ground, outcome: Outcome) -> datetime | None:
    """Return when the last result above the limit was there: its analysis, else its sample; None without one."""
    over = {int(c.at.timestamp()) for c in outcome.counted if c.over}
    samples = {s.id: s.taken_at for s in ground.samples if int(s.taken_at.timestamp()) in over}
    times = [r.analysed_at or samples[r.sample] for r in ground.results if r.sample in samples]
    return min(max(times).astimezone(UTC), ground.until) if times else None


def _kept(ground: Ground, known: Iterable[str]) -> Iterator[NoticeNeeded]:
    """Yield notices of the month that a person has worked on although the readings no longer open them."""
    seen = set(known)
    for event in ground.events:
        if event.kind != "notice" or event.subject in seen:
            continue
        seen.add(event.subject)
        parts = event.subject.split(":", 2)
        requirement = ground.book.requirement(parts[0])
        if requirement is None or len(parts) < 3:
            continue
        try:
            at = datetime.strptime(parts[2], "%Y-%m-%dT%H:%MZ").replace(tzinfo=UTC)
        except ValueError:
            continue
        if ground.a <= at <= ground.b:
            sentence = f"{requirement.title}: the readings that opened this are not on record as they were."
            yield _notice(
                ground,
                Found(requirement, parts[1], at, sentence, False, "", f"on {at_text(ground.local(at.timestamp()))}"),
            )


# --- its steps -------------------------------------------------------------------------------------------------------


def state_office(plant: Plant) -> tuple[str, str]:
    """Return whom to call, from the plant's own list: the first entry that speaks of the State or of an authority."""
    for entry in plant.telephone:
        if any(word in entry.name.lower() for word in ("state", "drinking water", "primacy", "authority")):
            return entry.name, entry.number
    return "State drinking water program", "its number is missing in the plant file"


def _notice(ground: Ground, found: Found) -> NoticeNeeded:
    requirement = found.requirement
    tier = TIERS.get(str(requirement.check.get("tier", "")))
    if found.kind == "consult" and tier is None:
        tier = 2 if "consult_hours" in requirement.check else None
    if found.kind == "tell":
        tier = None
    id = notice_id(requirement.id, found.subject, found.opened_at)
    steps = tuple(_steps(ground, found, tier))
    sentence = found.sentence
    if not found.certain:
        sentence += (
            " It hangs on rejected, doubtful or changed readings, or on what the State has not defined; it stands."
        )
    elements = _elements(ground, found, tier) if tier is not None else ()
    return NoticeNeeded(
        id=id, requirement=requirement, subject=found.subject, opened_at=found.opened_at, tier=tier, sentence=sentence,
        due=_first_due(steps), steps=steps, limit_at=found.limit_at, elements=elements,
        draft=_draft(ground, tier, elements) if tier is not None else "", certain=found.certain,
    )  # fmt: skip


def _first_due(steps: Sequence[Step]) -> datetime | None:
    return min((s.due for s in steps if s.due is not None and s.done_at is None), default=None)


def _steps(ground: Ground, found: Found, tier: int | None) -> Iterator[Step]:
    """Yield what to do, in order."""
    requirement, opened = found.requirement, found.opened_at
    whom, number = state_office(ground.plant)
    hours = requirement.check.get("consult_hours")
    pn = ground.book.requirement(str(requirement.check.get("tier", "")))
    cite = pn.citation if pn is not None else requirement.citation
    if found.kind == "tell":
        yield Step(
            id="restore", words="Bring the residual back, and take a sample every 4 h until it is at the limit again",
            due=found.limit_at, due_words="within 4 h of the first reading below", citation=requirement.citation,
        )  # fmt: skip
        due = ground.business.end_of_next(opened).astimezone(UTC)
        assumed = f"; {ground.business.words}" if ground.business.words else ""
        yield Step(
            id="tell_state", words="Tell the State, and say whether the residual was restored within 4 h", due=due,
            due_words=f"by the end of the next business day, {at_text(due.astimezone(ground.plant.zone))}{assumed}",
            whom=whom, number=number, citation=requirement.citation,
        )  # fmt: skip
    elif isinstance(hours, int | float):
        due = opened + timedelta(hours=hours)
        yield Step(
            id="consult", words="Consult the State: it decides whether everyone must be told at once", due=due,
            due_words=f"within {hours:g} h of learning of it; counted from the reading", whom=whom, number=number,
            citation=requirement.citation,
        )  # fmt: skip
        yield Step(
            id="tier_1_without", words="Only if the State was not reached in that time: give the tier 1 notice",
            due=due + timedelta(hours=24), due_words="within 48 h of learning of it", citation=cite,
        )  # fmt: skip
    else:
        due = opened + timedelta(hours=48) if tier != 1 else opened + timedelta(hours=HOURS_OF_TIER_1)
        general = ground.book.requirement("report_general")
        yield Step(
            id="tell_state", words="Tell the State", due=due, due_words="within 24 h" if tier == 1 else "within 48 h",
            whom=whom, number=number, citation=general.citation if general is not None else requirement.citation,
        )  # fmt: skip
    yield Step(
        id="cause", words="Write down the cause and what was done about it", due=None, due_words="as soon as you can"
    )
    if tier is not None:
        yield from _public(ground, found, tier, cite)
    day = next_month(ground.a.astimezone(ground.plant.zone).date()).replace(day=10)
    yield Step(
        id="report", words="Put it into the month's report", due=_end_of(ground, day), due_words=f"by {day:%Y-%m-%d}",
        citation=requirement.citation,
    )  # fmt: skip


def _end_of(ground: Ground, day: date) -> datetime:
    return datetime.combine(day, datetime.max.time().replace(microsecond=0), ground.plant.zone).astimezone(UTC)


def _public(ground: Ground, found: Found, tier: int, cite: str) -> Iterator[Step]:
    opened = found.opened_at
    if tier == 1:
        due, words = opened + timedelta(hours=HOURS_OF_TIER_1), "within 24 h of learning of it"
        what = "Give the tier 1 notice: broadcast, posting, by hand, or as the State allows in writing"
    elif tier == 2:
        due, words = opened + timedelta(days=DAYS_OF_TIER_2), "within 30 days of learning of it"
        what = "Give the tier 2 notice by mail or by hand to everyone served; again every 3 months while it lasts"
        if found.kind == "consult":
            what += "; the State may ask for tier 1"
    else:
        due, words = opened + timedelta(days=365), "within a year; it may stand in the yearly report"
        what = "Give the tier 3 notice"
    yield Step(id="public_notice", words=what, due=due, due_words=words, citation=cite)
    certify = ground.book.requirement("pn_certify")
    yield Step(
        id="certify", words="Send the State a copy of the notice and the certificate", due=None,
        due_words="within 10 days of giving the notice", citation=certify.citation if certify is not None else cite,
    )  # fmt: skip


def _done(notice: NoticeNeeded, events: Sequence[Event]) -> NoticeNeeded:
    """Return a notice with the steps that persons have entered as done, and its closing."""
    mine = sorted((e for e in events if e.kind == "notice" and e.subject == notice.id), key=lambda e: e.started_at)
    done = {str(e.values.get("step", "")): e for e in mine}
    steps = tuple(
        replace(s, done_at=done[s.id].started_at, done_by=done[s.id].person) if s.id in done else s
        for s in notice.steps
    )
    closed = done.get(CLOSED)
    return replace(
        notice, steps=steps, due=None if closed is not None else _first_due(steps),
        closed_at=closed.started_at if closed is not None else None,
        closed_by=closed.person if closed is not None else "", closing_note=closed.note if closed is not None else "",
    )  # fmt: skip


# --- the draft -------------------------------------------------------------------------------------------------------


def _elements(ground: Ground, found: Found, tier: int) -> tuple[Element, ...]:
    """Return the ten elements of 40 CFR 141.205(a) in our own words; in brackets what only a person can fill in."""
    requirement, plant = found.requirement, ground.plant
    whom, number = state_office(plant)
    limit = "" if requirement.limit is None else f" The limit is {requirement.limit:g} {requirement.unit}."
    level = f" We found {found.level}." if found.level else ""
    if found.kind == "missed":
        happened = f"We did not measure as often as we must: {_small(requirement.title)}.{level}"
        health = "[Take the standard wording for missed monitoring from 40 CFR 141.205(d)(2), word for word.]"
        risk = "[As the standard wording says.]"
    else:
        happened = f"{_subject(requirement)} did not keep to what the rule asks.{level}{limit}"
        health = "[Take the standard wording on health for this limit from Appendix B to subpart Q, word for word.]"
        risk = "[Take it from Appendix B; the State says who else should be named.]"
    texts = (
        happened, f"It happened {found.when}.", health, risk,
        f"[Ask the State whether other water should be used or water be boiled: {whom}, {number}. "
        "Write what it told you.]",
        "[What people should do, as the State told you.]", "[What you have done about it, and what you are doing now.]",
        "[The day on which you expect it to be over.]",
        f"{plant.name} water system {plant.system_id}. [Your name, address and telephone.]",
        "Please tell others who drink this water, above all those who may not have had this notice: people in flats, "
        "nursing homes, schools and businesses. You can put it up in a public place or hand out copies.",
    )  # fmt: skip
    return tuple(Element(name=name, text=text) for name, text in zip(ELEMENTS, texts, strict=True))


def _subject(requirement: Requirement) -> str:
    return requirement.title.split(",")[0]


def _small(text: str) -> str:
    return f"{text[0].lower()}{text[1:]}"


def _draft(ground: Ground, tier: int, elements: Sequence[Element]) -> str:
    """Return the notice as text. It is a draft: what stands in brackets is missing until a person fills it in."""
    head = {1: "IMPORTANT: ABOUT YOUR DRINKING WATER", 2: "About your drinking water", 3: "About your drinking water"}[
        tier
    ]
    lines = [head, f"{ground.plant.name}, system {ground.plant.system_id}", "[Date]", ""]
    lines += [text for element in elements for text in (f"{element.name}", element.text, "")]
    return "\n".join(lines).rstrip() + "\n"

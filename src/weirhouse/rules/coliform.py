"""Coliform in the mains: samples of the month, repeats after a positive, E. coli, and the two assessments.

Routine samples and repeats ("check") are told apart by their purpose. The time of the analysis is taken for the time at
which the laboratory told the result; without it, whether repeats came within 24 h cannot be told.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from weirhouse.records.model import Sample
from weirhouse.rules.ground import Ground
from weirhouse.rules.laboratory import Finding, analyte, findings, months_back, of_month, tally
from weirhouse.rules.model import Duty, MonthFacts, Outcome, Requirement, Status, Trigger, Way
from weirhouse.rules.outcome import amount, at_text, shown, simple
from weirhouse.rules.terms import lacking
from weirhouse.science.statistics import undetectable_residual_share
from weirhouse.working import Known, Reading, Sheet, recording

REPEAT_HOURS = 24
MANY = 40  # samples a month from which on a share counts and no longer a number
POSITIVES = 2
WAIT = timedelta(days=3)  # a repeat belongs to a positive sample taken at most so long before


@dataclass(frozen=True, slots=True)
class Positive:
    """A routine sample with coliform, and the repeats that followed it."""

    finding: Finding
    ecoli: bool | None  # None: not looked for
    repeats: tuple[Finding, ...]
    in_time: bool | None  # whether the repeats asked for were taken within 24 h of being told; None: cannot tell
    waiting: bool  # the 24 h are not over


def _ecoli_of(ground: Ground, sample: Sample) -> bool | None:
    found = [f for f in findings(ground, "e_coli") if f.sample.id == sample.id and not f.bad]
    return any(f.present for f in found) if found else None


def positives(ground: Ground, a: datetime, b: datetime, wanted: int = 3) -> list[Positive]:
    """Return the positive routine samples taken in a stretch of time, with their repeats."""
    everything = [f for f in findings(ground, "coliform") if not f.bad]
    routine = [f for f in everything if f.sample.purpose == "routine" and a <= f.at < b and f.present]
    checks = [f for f in everything if f.sample.purpose == "check"]
    found = []
    for f in routine:
        told = f.result.analysed_at
        repeats = tuple(c for c in checks if f.at < c.at <= (told or f.at) + WAIT)
        in_time: bool | None
        if told is None:
            in_time = None if len(repeats) >= wanted else None if ground.until < f.at + WAIT else False
        else:
            in_time = sum(c.at <= told + timedelta(hours=REPEAT_HOURS) for c in repeats) >= wanted
        waiting = not in_time and ground.until < (told or f.at) + timedelta(hours=REPEAT_HOURS)
        found.append(Positive(f, _ecoli_of(ground, f.sample), repeats, in_time, waiting))
    return found


# --- how many samples ------------------------------------------------------------------------------------------------


def coliform_count(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether the month has as many routine samples with a result as the population asks for."""
    people = ground.plant.population
    if people is None:
        why = "It goes by the people served: enter population in the plant file."
        yield simple(requirement, ground.month, "cannot tell", why, why=(why,))
        return
    wanted = wanted_samples(requirement, people)
    some = [f for f in of_month(ground, findings(ground, "coliform")) if f.sample.purpose == "routine"]
    good = len({f.sample.id for f in some if not f.bad})
    status: Status = "met" if good >= wanted else "broken" if ground.over else "not due"
    bad = len({f.sample.id for f in some if f.bad})
    open_samples = awaited(ground)
    why_list: tuple[str, ...] = ()
    if status == "broken" and good + bad + len(open_samples) >= wanted:
        status = "cannot tell"
        why_list = (f"{amount(len(open_samples) + bad, 'sample')} without a result that counts.",)
    yield simple(
        requirement, ground.month, status,
        f"{good} of {amount(wanted, 'routine sample')} of the month with a result that counts.", value=float(good),
        why=why_list, tally=tally(some, "", None),
    )  # fmt: skip


def wanted_samples(requirement: Requirement, people: int) -> int:
    """Return how many samples a month a population asks for."""
    table = requirement.extra["population_table"]
    return int(next((row[1] for row in table if people <= row[0]), table[-1][1]))


def awaited(ground: Ground) -> list[Sample]:
    """Return routine samples of the month for the laboratory of coliform that have no result at all."""
    done = {r.sample for r in ground.results}
    return [
        s
        for s in ground.samples
        if s.purpose == "routine" and ground.a <= s.taken_at < ground.until and s.id not in done
    ]


# --- repeats, E. coli, assessments -----------------------------------------------------------------------------------


def coliform_repeat(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether each positive routine sample of the month was followed by its repeats within 24 h."""
    wanted = int(requirement.limit or 3)
    some = positives(ground, ground.a, ground.b, wanted)
    if not some:
        yield simple(requirement, ground.month, "not due", "No routine sample of the month had coliform.")
        return
    status: Status = "met"
    if any(p.in_time is False and not p.waiting for p in some):
        status = "broken"
    elif any(p.waiting for p in some):
        status = "not due"
    elif any(p.in_time is None for p in some):
        status = "cannot tell"
    texts = [
        f"{p.finding.sample.point or 'place not told'} {at_text(p.finding.at.astimezone(ground.plant.zone))}: "
        f"{amount(len(p.repeats), 'repeat')}"
        for p in some
    ]
    yield simple(
        requirement, ground.month, status,
        f"{'; '.join(texts)}. {wanted} within {REPEAT_HOURS} h of being told are asked.",
        tally=tally([f for p in some for f in (p.finding, *p.repeats)], "", None),
        why=("When the laboratory told the result is not on record.",) if status == "cannot tell" else (),
    )  # fmt: skip


def _ecoli_reasons(ground: Ground, some: Sequence[Positive]) -> tuple[list[str], list[str]]:
    """Return in words what breaks the E. coli limit for certain, and what may."""
    broken, unsure = [], []
    for p in some:
        at = at_text(p.finding.at.astimezone(ground.plant.zone))
        if p.ecoli and any(r.present for r in p.repeats):
            broken.append(f"a repeat with coliform after the routine sample with E. coli of {at}")
        if p.ecoli and p.in_time is False and not p.waiting:
            broken.append(f"repeats not all taken after the routine sample with E. coli of {at}")
        if p.ecoli and p.in_time is None:
            unsure.append(f"whether all repeats were taken in time after the sample with E. coli of {at}")
        if p.ecoli is None:
            unsure.append(f"E. coli was not looked for in the sample with coliform of {at}")
        for r in p.repeats:
            if not r.present:
                continue
            has = _ecoli_of(ground, r.sample)
            when = at_text(r.at.astimezone(ground.plant.zone))
            if has:
                broken.append(f"a repeat with E. coli of {when} after the routine sample with coliform of {at}")
            if has is None:
                broken.append(f"the repeat with coliform of {when} was not tested for E. coli")
    return broken, unsure


def ecoli(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether one of the four conditions of the E. coli limit is there."""
    some = positives(ground, ground.a, ground.b)
    month = of_month(ground, findings(ground, "coliform", "e_coli"))
    if not month:
        word: Status = "cannot tell" if ground.over else "not due"
        yield simple(requirement, ground.month, word, "No coliform result of the month is on record.")
        return
    broken, unsure = _ecoli_reasons(ground, some)
    bad = [f for f in month if f.bad and f.present]
    status: Status = "met"
    if broken:
        status = "broken"
    elif unsure or bad:
        status = "cannot tell"
    elif not ground.over or any(p.waiting for p in some):
        status = "not due"
    texts = broken or unsure
    sentence = "; ".join(texts) if texts else f"None of the four conditions: {amount(len(some), 'routine positive')}."
    yield simple(
        requirement, ground.month, status,
        f"{sentence[0].upper()}{sentence[1:].removesuffix('.')}.",
        value=float(len(broken)), tally=tally(month, "", 0.0),
        why=tuple(f"{f.sample.point}: {f.bad}" for f in bad),
        ways=(Way(words="with the rejected or doubtful results", status="cannot tell", value=None),) if bad else (),
    )  # fmt: skip


def level1_reason(ground: Ground, name: str) -> tuple[Status, str, list[Finding]]:
    """Return whether a month triggers a first level assessment, and by what."""
    some = [f for f in findings(ground, "coliform") if f"{f.at.astimezone(ground.plant.zone):%Y-%m}" == name]
    good = [f for f in some if not f.bad]
    hot = [f for f in good if f.present]
    number = len({f.sample.id for f in good})
    if not some:
        return "cannot tell", "no result is on record", []
    share = 100.0 * len(hot) / number if number else 0.0
    if (number >= MANY and share > 5.0 + 1e-9) or (number < MANY and len(hot) >= POSITIVES):
        return "broken", f"{len(hot)} of {amount(number, 'sample')} with coliform", some
    if good:
        a, b = min(f.at for f in good), max(f.at for f in good) + timedelta(seconds=1)
        missed = [p for p in positives(ground, a, b) if p.in_time is False and not p.waiting]
        if missed:
            return "broken", "a repeat sample was missed after a positive", some
        if any(p.in_time is None for p in positives(ground, a, b)):
            return "cannot tell", "whether repeats were taken in time is not on record", some
    worst = len(hot) + sum(f.present for f in some if f.bad)
    if worst >= POSITIVES and number < MANY:
        return "cannot tell", "results that do not count would make it two", some
    return "met", f"{len(hot) or 'none'} of {amount(number, 'sample')} with coliform", some


def coliform_level1(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether the month's coliform asks for a first level assessment; "broken" says that it does."""
    status, why, some = level1_reason(ground, ground.name)
    if not ground.over and status in ("met", "cannot tell"):
        status = "not due"
    yield simple(
        requirement, ground.month, status, f"{why[0].upper()}{why[1:]}.", value=float(sum(f.present for f in some)),
        tally=tally(some, "", 0.0), why=(f"{why}.",) if status == "cannot tell" else (),
    )  # fmt: skip


def coliform_level2(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether a second level assessment is asked for: E. coli, or a second trigger in twelve months."""
    broken, unsure = _ecoli_reasons(ground, positives(ground, ground.a, ground.b))
    months = {name: level1_reason(ground, name)[0] for name in months_back(ground.name, 12)}
    mine = months[ground.name]
    before = [name for name, status in months.items() if status == "broken" and name != ground.name]
    unknown = [name for name, status in months.items() if status == "cannot tell" and name != ground.name]
    status: Status = "met" if ground.over else "not due"
    sentence = "No E. coli limit broken and no second trigger within twelve months."
    if broken:
        status, sentence = "broken", f"The E. coli limit was broken: {broken[0]}."
    elif mine == "broken" and before:
        status, sentence = "broken", f"A second trigger within twelve months; the one before in {before[0]}."
    elif unsure or mine == "cannot tell" or (mine == "broken" and unknown):
        status = "cannot tell"
        sentence = "Not all results that it goes by are known."
    yield simple(
        requirement, ground.month, status if ground.over or status == "broken" else "not due", sentence,
        why=(f"No results of {', '.join(unknown[:4])}.",) if mine == "broken" and unknown else (),
    )  # fmt: skip


def assessments(ground: Ground, outcome: Outcome) -> Iterator[Trigger]:
    """Yield the assessment that a trigger asks for, within 30 days."""
    if outcome.status != "broken":
        return
    requirement = outcome.requirement
    positive = [c for c in outcome.counted if c.over]
    at = positive[-1].at if positive else min(outcome.period.b, ground.until)
    at = at.astimezone(UTC)
    days = int(requirement.extra.get("assessment_days", 30))
    yield Trigger(
        id=f"{requirement.id}:{outcome.subject}:{at:%Y-%m-%dT%H:%MZ}", requirement=requirement, subject=outcome.subject,
        at=at, readings=tuple(positive), sentence=f"{requirement.title}: {outcome.sentence}",
        duties=(
            Duty(
                id=f"{requirement.id}:{ground.name}", words=f"{requirement.action[:1].upper()}{requirement.action[1:]}",
                due=at + timedelta(days=days),
                due_words=f"within {days} days of learning of it; counted from the sample",
                citation=requirement.citation,
            ),
        ),
    )  # fmt: skip


# --- residual in the mains -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Letters:
    """The letters of 40 CFR 141.72(b)(3)(i)."""

    a: int
    b: int
    c: int
    d: int
    e: int

    @property
    def share(self) -> float:
        """V in percent."""
        return 100.0 * (self.c + self.d + self.e) / (self.a + self.b)


def _letters(
    ground: Ground, name: str, detectable: float | None, hpc_limit: float
) -> tuple[Letters, list[Finding], int]:
    """Return the letters of a month, its findings, and how many coliform samples have neither residual nor HPC."""
    some = [
        f
        for f in findings(ground, "chlorine", "hpc", "coliform")
        if f"{f.at.astimezone(ground.plant.zone):%Y-%m}" == name
    ]
    by_sample: dict[str, list[Finding]] = {}
    for f in some:
        by_sample.setdefault(f.sample.id, []).append(f)
    a = b = c = d = e = bare = 0
    for group in by_sample.values():
        chlorine = [f for f in group if f.result.analyte != "hpc" and _is(f, "chlorine") and not f.bad]
        hpc = [f for f in group if _is(f, "hpc") and not f.bad]
        high_hpc = any(f.low > hpc_limit for f in hpc)
        if chlorine:
            a += 1
            value = chlorine[0]
            none = value.result.qualifier in ("ND", "<") or value.high <= 0
            none = none or (detectable is not None and value.high < detectable - 1e-9)
            if none and not hpc:
                c += 1
            elif none and high_hpc:
                d += 1
        elif hpc:
            b += 1
            e += high_hpc
        else:
            bare += 1
    return Letters(a, b, c, d, e), [f for f in some if not _is(f, "coliform")], bare


def _is(finding: Finding, name: str) -> bool:
    return analyte(finding.result.analyte) == name


def undetectable_share(
    ground: Ground, requirement: Requirement, earlier: Mapping[str, MonthFacts] | None = None
) -> Iterator[Outcome]:
    """Yield whether too many samples of the mains had no residual, in two months running."""
    hpc = float(requirement.extra.get("hpc_limit_per_ml", 500))
    state = ground.book.state.residual_detectable
    limit = requirement.limit or 5.0
    levels = (state,) if state is not None else (None, 0.2)
    words: list[Status] = []
    found: list[tuple[Letters, int]] = []
    some: list[Finding] = []
    for level in levels:
        letters, some, bare = _letters(ground, ground.name, level, hpc)
        found.append((letters, bare))
        words.append(_over_share(letters, bare, limit))
    letters, bare = found[0]
    if not letters.a + letters.b:
        why = "No residual of the mains was measured with the coliform samples of the month."
        word: Status = "cannot tell" if ground.over else "not due"
        yield simple(
            requirement, ground.month, word, why, why=(why,), lacking=lacking(ground.book.state, "residual_detectable")
        )
        return
    with recording() as sheet:
        at = ground.local(ground.until_s)
        numbers = [
            Known(n, Reading(f"Samples, letter {name}", "", at, ground.name), "1")
            for name, n in zip("abcde", (letters.a, letters.b, letters.c, letters.d, letters.e), strict=True)
        ]
        undetectable_residual_share(*numbers)
    this = words[0] if len(set(words)) == 1 else "cannot tell"
    before = (earlier or {}).get(months_back(ground.name, 2)[1])
    over_before = before.undetectable_over if before is not None else None
    status: Status = this
    if this == "broken":
        status = {True: "broken", False: "met", None: "cannot tell"}[over_before]  # type: ignore[assignment]
    if status == "met" and not ground.over:
        status = "not due"
    text = {
        True: "it was over the month before as well",
        False: "it was not the month before",
        None: "the month before is not known",
    }
    sentence = f"{letters.share:.1f} percent of {amount(letters.a + letters.b, 'sample')} without residual"
    sentence += f"; {text[over_before]}." if this == "broken" else "."
    yield Outcome(
        requirement=requirement, subject="", period=ground.month, status=status, value=letters.share,
        shown=shown(letters.share, "percent"), limit=requirement.limit, sentence=sentence, sheet=sheet or Sheet(),
        why=(f"{amount(bare, 'coliform sample')} without residual or plate count.",) if bare else (),
        lacking=lacking(ground.book.state, "residual_detectable"), tally=tally(some, "mg/L", None),
    )  # fmt: skip


def _over_share(letters: Letters, bare: int, limit: float) -> Status:
    number = letters.a + letters.b
    if not number:
        return "cannot tell"
    if letters.share > limit + 1e-9:
        return "broken"
    worst = 100.0 * (letters.c + letters.d + letters.e + bare) / (number + bare)
    return "met" if worst <= limit + 1e-9 else "cannot tell"

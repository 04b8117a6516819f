"""Do single results, percentiles and the removal of organic carbon keep their limits?"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from weirhouse.rules.by_products import mean_of, word_upper
from weirhouse.rules.ground import Ground
from weirhouse.rules.laboratory import (
    Finding,
    analyte,
    by_month,
    by_quarter,
    findings,
    months_back,
    quarters_back,
    tally,
    this_quarter,
)
from weirhouse.rules.model import Outcome, Period, Requirement, Status, Way
from weirhouse.rules.outcome import Verdict, amount, at_text, settle, shown, simple
from weirhouse.rules.terms import lacking
from weirhouse.science.organic_carbon import toc_removal_ratio
from weirhouse.science.statistics import average, lead_copper_percentile
from weirhouse.working import Known, Reading, Sheet, note, recording

YEAR = timedelta(days=366)
CONFIRM = timedelta(days=15)  # a sample that confirms is taken within 24 h of being told the result
LONG_AGO = timedelta(days=3 * 366)


def _year(ground: Ground) -> Period:
    return Period(a=ground.until - YEAR, b=ground.until, name="the last twelve months")


def _recent(ground: Ground, *names: str) -> list[Finding]:
    return [f for f in findings(ground, *names) if f.at >= ground.until - YEAR]


def single_result(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether each result of the year is at or below the limit; above it, with the sample that confirms it."""
    name = str(requirement.check["analyte"])
    some = _recent(ground, name)
    if not some:
        why = "No result of the last twelve months is on record."
        yield simple(requirement, _year(ground), "cannot tell", why, why=(why,))
        return
    limit = requirement.limit or 0.0
    verdicts = {bad: [_confirmed([f for f in some if bad or not f.bad], limit)] for bad in (False, True)}
    status, ways = settle(verdicts[False], verdicts[True], sum(bool(f.bad) for f in some))
    top = max((f for f in some if not f.bad), key=lambda f: (f.low, f.high), default=None)
    outcome = simple(
        requirement, _year(ground), status, _highest_words(ground, requirement, some, top), ways=ways,
        value=top.result.value if top is not None else None, tally=tally(some, requirement.unit, limit),
        sheet=Sheet(notes=["Looked up, not worked out: each result against the limit."]),
    )  # fmt: skip
    yield _said(outcome, top)


def _highest_words(ground: Ground, requirement: Requirement, some: Sequence[Finding], top: Finding | None) -> str:
    text = f"{amount(len(some), 'result')} of the last twelve months"
    if top is None:
        return f"{text}, none that counts."
    value = _in_words(top, requirement) if top.result.value is None else shown(top.low, requirement.unit)
    return f"{text}, highest: {value} ({at_text(top.at.astimezone(ground.plant.zone))})."


def _said(outcome: Outcome, top: Finding | None) -> Outcome:
    """Return an outcome that shows what was not detected in words, where no number stands for it."""
    if top is None or top.result.value is not None:
        return outcome
    return replace(outcome, shown=_in_words(top, outcome.requirement))


def _in_words(finding: Finding, requirement: Requirement) -> str:
    """Return a result that is no number: what was not detected is a condition with its limit, and never 0."""
    word = {"<": "below", "ND": "not detected, below", ">": "above"}.get(finding.result.qualifier, "")
    bound = finding.result.limit
    if not word or bound is None:
        return "not detected, and no limit told" if finding.result.qualifier == "ND" else finding.result.text
    return f"{word} {shown(bound, requirement.unit)}"


def _confirmed(some: Sequence[Finding], limit: float) -> Verdict:
    """Return whether a first sample above the limit stands: alone, or as the mean with the one that confirms it."""
    if not some:
        return Verdict("each result", "cannot tell")
    words: list[Status] = []
    for f in some:
        if f.sample.purpose == "check":
            continue
        checks = [
            c
            for c in some
            if c.sample.purpose == "check" and c.sample.point == f.sample.point and f.at < c.at <= f.at + CONFIRM
        ]
        pair = [f, *checks[:1]] if f.low > limit + 1e-9 else [f]
        words.append(word_upper(sum(p.low for p in pair) / len(pair), sum(p.high for p in pair) / len(pair), limit))
    status: Status = "broken" if "broken" in words else "cannot tell" if "cannot tell" in words or not words else "met"
    return Verdict("each result", status, max(f.low for f in some))


def sum_of_results(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether the results of one sample together are at or below the limit."""
    names = [str(n) for n in requirement.check["analytes"]]
    some = _recent(ground, *names)
    limit = requirement.limit or 0.0
    pairs: list[tuple[Finding, ...]] = []
    for f in some:
        if analyte(f.result.analyte) == names[0]:
            others = [
                next((o for o in some if o.sample.id == f.sample.id and analyte(o.result.analyte) == n), None)
                for n in names[1:]
            ]
            if all(o is not None for o in others):
                pairs.append((f, *(o for o in others if o is not None)))
    alone = [f for f in some if f.low > limit]
    if not pairs and not alone:
        why = f"No sample of the last twelve months has {' and '.join(names)} both."
        yield simple(requirement, _year(ground), "cannot tell", why, why=(why,))
        return
    words = [word_upper(sum(p.low for p in pair), sum(p.high for p in pair), limit) for pair in pairs]
    bad = sum(bool(p.bad) for pair in pairs for p in pair)
    status: Status = (
        "broken" if "broken" in words or alone else "cannot tell" if "cannot tell" in words or bad else "met"
    )
    most = max(
        pairs, key=lambda pair: sum(p.high for p in pair), default=(max(alone, key=lambda f: f.low),) if alone else ()
    )
    top, exact = sum(p.high for p in most), all(p.result.value is not None for p in most)
    yield simple(
        requirement, _year(ground), status,
        f"{amount(len(pairs), 'sample')}, highest sum {_sum_words(top, exact, requirement)}.",
        value=top if exact else None, tally=tally(some, requirement.unit, None),
    )  # fmt: skip


def _sum_words(top: float, exact: bool, requirement: Requirement) -> str:
    if not np.isfinite(top):
        return "not known: no limit is told of what was not detected"
    return shown(top, requirement.unit) if exact else f"at most {shown(top, requirement.unit)}, as one was not detected"


def secondary(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether each result of the year lies within a goal; where nothing is asked for, nothing is due."""
    name = str(requirement.check["analyte"])
    some = _recent(ground, name)
    if not some:
        yield simple(requirement, _year(ground), "not due", "No result is on record; federal law asks for none.")
        return
    limit = requirement.limit or 0.0
    low = requirement.extra.get("limit_low") if analyte(name) == "ph" else None
    good = [f for f in some if not f.bad]
    words = [word_upper(f.low, f.high, limit) for f in good]
    if isinstance(low, int | float):
        words += ["broken" if f.high < low - 1e-9 else "met" for f in good]
    status: Status = (
        "broken" if "broken" in words else "cannot tell" if "cannot tell" in words or len(good) < len(some) else "met"
    )
    top = max(good, key=lambda f: (f.low, f.high), default=None)
    outcome = simple(
        requirement, _year(ground), status, _highest_words(ground, requirement, some, top),
        value=top.result.value if top is not None else None, tally=tally(some, requirement.unit, limit),
    )  # fmt: skip
    yield _said(outcome, top)


def highest_result(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether each result of the month is at or below the limit."""
    some = [f for f in findings(ground, str(requirement.check["analyte"])) if ground.a <= f.at < ground.b]
    limit = requirement.limit or 0.0
    if not some:
        why = "No result of the month is on record."
        yield simple(requirement, ground.month, "cannot tell" if ground.over else "not due", why, why=(why,))
        return
    presence = requirement.unit == "positives"
    verdicts = {}
    for bad in (False, True):
        kept = [f for f in some if bad or not f.bad]
        words: list[Status] = [
            ("broken" if f.present else "met") if presence else word_upper(f.low, f.high, limit) for f in kept
        ]
        word: Status = (
            "broken" if "broken" in words else "cannot tell" if "cannot tell" in words or not words else "met"
        )
        verdicts[bad] = [Verdict("each result", word)]
    status, ways = settle(verdicts[False], verdicts[True], sum(bool(f.bad) for f in some))
    if status == "met" and not ground.over:
        status = "not due"
    yield simple(
        requirement, ground.month, status, f"{amount(len(some), 'result')} of the month.", ways=ways,
        tally=tally(some, requirement.unit, limit),
    )  # fmt: skip


# --- lead and copper -------------------------------------------------------------------------------------------------


def percentile(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether the 90th percentile of the newest round of tap samples is at or below its level.

    A round is a calendar half-year. What was not detected counts as 0, as the rule has it.
    """
    name = str(requirement.check["analyte"])
    some = [f for f in findings(ground, name) if f.at >= ground.until - LONG_AGO]
    if not some:
        why = "No round of tap samples is on record."
        yield simple(requirement, _year(ground), "cannot tell", why, why=(why,))
        return
    newest = some[-1].at.astimezone(ground.plant.zone)
    half = (newest.year, (newest.month - 1) // 6)
    mine = [f for f in some if ((t := f.at.astimezone(ground.plant.zone)).year, (t.month - 1) // 6) == half]
    term = ground.book.state.lead_copper_rank
    ranks = (term,) if term is not None else ("interpolate", "nearest")
    limit = requirement.limit or 0.0
    verdicts = {
        bad: [_percentile([f for f in mine if bad or not f.bad], rank, limit) for rank in ranks]
        for bad in (False, True)
    }
    status, ways = settle(verdicts[False], verdicts[True], sum(bool(f.bad) for f in mine))
    good = [f for f in mine if not f.bad]
    value, sheet = verdicts[False][0].value, None
    if good:
        with recording() as sheet:
            lead_copper_percentile(
                [
                    Known(0.0 if f.result.qualifier in ("ND", "<") else f.low,
                          Reading(f.sample.point or "tap", "", ground.local(f.at.timestamp()), f.result.text), "g/m^3")
                    for f in good
                ]
            )  # fmt: skip
            note(f"Rank between two samples: {ranks[0]}.")
    name_of = f"{half[0]} {'first' if half[1] == 0 else 'second'} half"
    yield Outcome(
        requirement=requirement, subject="", period=Period(a=mine[0].at, b=mine[-1].at, name=name_of), status=status,
        value=value, shown=shown(value, requirement.unit), limit=requirement.limit,
        sentence=f"{name_of}: {amount(len(good), 'tap sample')}, 90th percentile {shown(value, requirement.unit)}.",
        ways=ways, sheet=sheet, lacking=lacking(ground.book.state, "lead_copper_rank"),
        tally=tally(mine, requirement.unit, limit),
    )  # fmt: skip


def _percentile(some: Sequence[Finding], rank: str, limit: float) -> Verdict:
    if not some:
        return Verdict(rank, "cannot tell")
    values = [0.0 if f.result.qualifier in ("ND", "<") else f.low for f in some]
    if any(f.high == float("inf") and f.result.qualifier not in ("ND", "<") for f in some):
        return Verdict(rank, "cannot tell")
    found = rank_percentile(values, rank)
    return Verdict(f"between two samples: {rank}", "broken" if found > limit + 1e-9 else "met", found)


def rank_percentile(values: Sequence[float], rank: str) -> float:
    """Return the 90th percentile by the rule's rank: on the straight line between two samples, or of the nearest.

    >>> round(rank_percentile([0.001, 0.002, 0.003, 0.004, 0.005, 0.006, 0.02], "nearest"), 4)
    0.006
    """
    if rank == "interpolate" or len(values) <= 5:
        return float(lead_copper_percentile(list(values)))
    ordered = np.sort(np.asarray(values, float))
    place = int(np.floor(0.9 * len(ordered) + 0.5))
    return float(ordered[max(place, 1) - 1])


# --- organic carbon --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CarbonMonth:
    """One month's pair of organic carbon results and what it gives."""

    month: str
    ratio: float
    words: str


def toc_ratio(ground: Ground, requirement: Requirement) -> Iterator[Outcome]:
    """Yield whether the average of twelve monthly ratios is 1.00 at least, or an alternative criterion stands in."""
    wanted = months_back(ground.name, 12)[::-1]
    source, treated, alkalinity = (
        by_month(ground, _all(ground, name)) for name in ("toc", "treated_toc", "raw_alkalinity")
    )
    suva = _suva(ground)
    months: list[CarbonMonth] = []
    why: list[str] = []
    bad = sum(bool(f.bad) for name in wanted for group in (source, treated, alkalinity) for f in group.get(name, []))
    with recording() as sheet:
        ratios = []
        for name in wanted:
            got = _carbon_month(ground, name, source, treated, alkalinity, suva)
            if isinstance(got, str):
                why.append(got)
            else:
                months.append(got)
                at = ground.local(ground.until_s)
                ratios.append(Known(got.ratio, Reading("Ratio of the month", "", at, f"{name}, {got.words}"), "1"))
        value = float(average(ratios)) if ratios else None
    criterion = _alternative(ground)
    limit = requirement.limit or 1.0
    status: Status
    if criterion:
        status = "met"
    elif len(months) == 12 and value is not None:
        status = "met" if value >= limit - 1e-9 else "broken"
        if bad:
            status = "cannot tell"
    else:
        waits = len(months) == 11 and months[-1].month != ground.name and not ground.over
        status = "not due" if waits else "cannot tell"
    sentence = (
        f"{amount(len(months), 'month')} of twelve with a pair, average ratio {'' if value is None else f'{value:.2f}'}"
    )
    sentence = f"{sentence.rstrip()}." if not criterion else f"{sentence.rstrip()}. {criterion}"
    some = [f for name in wanted for group in (source, treated, alkalinity) for f in group.get(name, [])]
    yield Outcome(
        requirement=requirement, subject="", period=ground.month, status=status, value=value,
        shown="" if value is None else f"{value:.2f}", limit=requirement.limit, sentence=sentence, why=tuple(why[:6]),
        sheet=sheet, tally=tally(some, "mg/L", None),
        ways=(Way(words=f"without the {bad} rejected or doubtful results", status=status, value=value),) if bad else (),
    )  # fmt: skip


def _all(ground: Ground, name: str) -> list[Finding]:
    """Return results of any purpose: source water is sampled as raw water."""
    return findings(ground, name, purposes=())


def _suva(ground: Ground) -> dict[str, float]:
    """Return the specific absorbance of the source by month [L/(mg m)], where absorbance and carbon were both found."""
    absorbance = by_month(ground, [f for f in _all(ground, "raw_uv254") if not f.bad])
    carbon = by_month(ground, [f for f in _all(ground, "doc") if not f.bad])
    found = {}
    for name in absorbance.keys() & carbon.keys():
        a, c = mean_of(absorbance[name], False), mean_of(carbon[name], False)
        if a is not None and c is not None and c.low > 0:
            found[name] = a.high / c.low
    return found


FIRST_ROW = 2.05  # [mg/L] the matrix begins above 2.0, and 40 CFR 141.2 rounds carbon to two figures


def _carbon_month(
    ground: Ground, name: str, source: dict[str, list[Finding]], treated: dict[str, list[Finding]],
    alkalinity: dict[str, list[Finding]], suva: dict[str, float],
) -> CarbonMonth | str:  # fmt: skip
    """Return the ratio of a month, or why there is none. A month of low carbon or low SUVA counts as 1.0 at least."""
    s, t, a = (mean_of(group.get(name, []), False) for group in (source, treated, alkalinity))
    if s is None or t is None:
        return f"{name}: no pair of source and treated organic carbon."
    if s.high < FIRST_ROW:  # no row of the matrix asks for removal; below 2.0 the rule itself says 1.0
        return CarbonMonth(name, 1.0, "source carbon at or below 2.0 mg/L, counted as 1.0")
    if t.high < 2.0:
        ratio = (
            max(1.0, float(toc_removal_ratio(s.low, t.high, a.low))) if a is not None and s.low >= FIRST_ROW else 1.0
        )
        return CarbonMonth(name, ratio, "treated carbon below 2.0 mg/L, 1.0 at least")
    if name in suva and suva[name] <= 2.0:
        return CarbonMonth(name, 1.0, "SUVA of the source at or below 2.0, counted as 1.0")
    if a is None or s.low < FIRST_ROW:
        return f"{name}: {'no alkalinity of the source' if a is None else 'source carbon reported as less than'}."
    ratio = float(toc_removal_ratio(s.low, t.high, a.low))
    return CarbonMonth(name, ratio, f"source {s.low:.3g}, treated {t.high:.3g}, alkalinity {a.low:.3g} mg/L")


def _alternative(ground: Ground) -> str:
    """Return in words the first alternative criterion that holds on averages of the last four quarters; else empty."""
    quarter = this_quarter(ground)
    wanted = [quarters_back(quarter, back) for back in (3, 2, 1, 0)]

    def annual(name: str) -> float | None:
        grouped = by_quarter(ground, [f for f in _all(ground, name) if not f.bad])
        means = [mean_of(grouped.get(q, []), False) for q in wanted]
        return sum(m.high for m in means if m is not None) / 4 if all(m is not None for m in means) else None

    source, treated = annual("toc"), annual("treated_toc")
    if source is not None and source < 2.0:
        return f"Alternative criterion (i): source carbon averages {source:.2f} mg/L over four quarters, below 2.0."
    if treated is not None and treated < 2.0:
        return f"Alternative criterion (ii): treated carbon averages {treated:.2f} mg/L over four quarters, below 2.0."
    tthm, haa5 = annual("tthm"), annual("haa5")
    low = tthm is not None and haa5 is not None and tthm <= 0.040 + 1e-9 and haa5 <= 0.030 + 1e-9
    alkalinity = annual("raw_alkalinity")
    if low and source is not None and source < 4.0 and alkalinity is not None and alkalinity > 60.0:
        return (
            "Alternative criterion (iii): source carbon below 4.0, alkalinity above 60, by-products at or below half."
        )
    only = [feed for feed in ground.plant.feeds if feed.role == "disinfectant"]
    if low and only and all(feed.basis == "Cl2" for feed in only):
        return "Alternative criterion (iv): by-products at or below 0.040 and 0.030 mg/L with chlorine alone."
    months = [value for name, value in _suva(ground).items() if name in months_back(ground.name, 12)]
    if len(months) == 12 and sum(months) / 12 <= 2.0:
        return "Alternative criterion (v): SUVA of the source averages at or below 2.0 L/(mg m)."
    return ""

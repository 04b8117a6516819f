"""What did the samples tell? Results with what each can have been, its place, and why one may not count.

A result that was not detected is a condition with a limit and no number: it lies between 0 and its limit, and a limit
of a rule is met only if it would be so at both ends. A result the laboratory put aside, or that we did, is counted both
ways, like a reading.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from math import inf

import numpy as np

from weirhouse.records.model import Reading, Result, Sample
from weirhouse.records.samples import held_too_long
from weirhouse.rules.ground import Ground
from weirhouse.rules.model import Period, Tally
from weirhouse.situation.days import midnight

ALIASES = {
    "total_coliform": "coliform", "free_chlorine": "chlorine", "total_chlorine": "chlorine",
    "alkalinity": "raw_alkalinity", "uv254": "raw_uv254", "source_toc": "toc", "aluminium": "aluminum",
    "colour": "color",
    "heterotrophic_plate_count": "hpc",
}  # fmt: skip
COUNTED_PURPOSES = ("routine", "check")


@dataclass(frozen=True, slots=True)
class Finding:
    """One result: it lies between `low` and `high` [inside unit]; `bad` says why it may not count."""

    sample: Sample
    result: Result
    low: float
    high: float
    bad: str

    @property
    def at(self) -> datetime:
        """When the sample was taken."""
        return self.sample.taken_at

    @property
    def present(self) -> bool:
        """Whether what was looked for is there."""
        return self.low > 0


def analyte(name: str) -> str:
    """Return the id under which an analyte is kept."""
    bare = name.strip().lower().replace(" ", "_").replace(".", "")
    return ALIASES.get(bare, bare)


def findings(ground: Ground, *analytes: str, purposes: Sequence[str] = COUNTED_PURPOSES) -> list[Finding]:
    """Return the results of analytes, of samples of some purposes, by time; later than the records count: none."""
    everything = ground.keep("findings", lambda: _findings(ground))
    return [
        f
        for f in everything
        if analyte(f.result.analyte) in analytes and (not purposes or f.sample.purpose in purposes)
    ]


def _findings(ground: Ground) -> list[Finding]:
    samples = {s.id: s for s in ground.samples if s.taken_at < ground.until}
    found = []
    for result in ground.results:
        sample = samples.get(result.sample)
        if sample is not None:
            low, high = _bounds(result)
            found.append(Finding(sample, result, low, high, _bad(sample, result)))
    return sorted(found, key=lambda f: (f.at, f.result.id))


def _bounds(result: Result) -> tuple[float, float]:
    limit = result.limit if result.limit is not None else result.value
    if result.qualifier in ("<", "ND"):
        return 0.0, limit if limit is not None else 0.0 if analyte(result.analyte) in ("coliform", "e_coli") else inf
    if result.qualifier == ">":
        return limit if limit is not None else 0.0, inf
    if result.value is None:
        return 0.0, inf
    return result.value, result.value


def _bad(sample: Sample, result: Result) -> str:
    if result.flag:
        return "rejected" if result.flag == "rejected" else "marked doubtful"
    if "R" in result.lab_flags:
        return "rejected by the laboratory"
    if held_too_long(sample, result):
        return "held too long before the analysis"
    if result.value is None and not result.qualifier:
        return "no number"
    return ""


def from_readings(readings: Iterable[Reading]) -> tuple[list[Sample], list[Result]]:
    """Return results that were entered as readings as samples with one result each; their place is not told."""
    samples, results = [], []
    for reading in readings:
        samples.append(
            Sample(
                id=f"reading-{reading.id}", point="", purpose="routine", taken_at=reading.taken_at, sampler="",
                person=reading.person,
            )
        )  # fmt: skip
        below = reading.qualifier in ("<", "ND", ">")
        results.append(
            Result(
                id=reading.id, sample=f"reading-{reading.id}", analyte=reading.channel,
                value=None if below else reading.value, unit=reading.unit, text=reading.text,
                qualifier=reading.qualifier, limit=reading.value if below else None, flag=reading.flag,
                person=reading.person,
            )
        )  # fmt: skip
    return samples, results


# --- quarters and months ---------------------------------------------------------------------------------------------


def quarter_of(day: date) -> tuple[int, int]:
    """Return year and quarter.

    >>> quarter_of(date(2026, 11, 3))
    (2026, 4)
    """
    return day.year, (day.month - 1) // 3 + 1


def quarters_back(quarter: tuple[int, int], back: int) -> tuple[int, int]:
    """Return the quarter so many before.

    >>> quarters_back((2026, 1), 3)
    (2025, 2)
    """
    count = quarter[0] * 4 + quarter[1] - 1 - back
    return count // 4, count % 4 + 1


def quarter_period(ground: Ground, quarter: tuple[int, int]) -> Period:
    """Return a calendar quarter as a period of the plant's time zone."""
    first = date(quarter[0], 3 * quarter[1] - 2, 1)
    following = quarters_back(quarter, -1)
    after = date(following[0], 3 * following[1] - 2, 1)
    a, b = (datetime.fromtimestamp(midnight(d, ground.plant.zone), UTC) for d in (first, after))
    return Period(a=a, b=b, name=f"{quarter[0]} quarter {quarter[1]}")


def this_quarter(ground: Ground) -> tuple[int, int]:
    """Return the quarter that the month lies in."""
    return quarter_of(ground.a.astimezone(ground.plant.zone).date())


def by_quarter(ground: Ground, some: Iterable[Finding]) -> dict[tuple[int, int], list[Finding]]:
    """Return findings by calendar quarter of the plant."""
    found: dict[tuple[int, int], list[Finding]] = {}
    for f in some:
        found.setdefault(quarter_of(f.at.astimezone(ground.plant.zone).date()), []).append(f)
    return found


def by_month(ground: Ground, some: Iterable[Finding]) -> dict[str, list[Finding]]:
    """Return findings by calendar month of the plant."""
    found: dict[str, list[Finding]] = {}
    for f in some:
        found.setdefault(f"{f.at.astimezone(ground.plant.zone):%Y-%m}", []).append(f)
    return found


def months_back(name: str, number: int) -> list[str]:
    """Return so many months up to and with one, the latest first.

    >>> months_back("2026-02", 3)
    ['2026-02', '2026-01', '2025-12']
    """
    year, month = (int(part) for part in name.split("-"))
    found = []
    for _ in range(number):
        found.append(f"{year:04d}-{month:02d}")
        year, month = (year, month - 1) if month > 1 else (year - 1, 12)
    return found


def of_month(ground: Ground, some: Iterable[Finding]) -> list[Finding]:
    """Return the findings of the month that is judged."""
    return [f for f in some if ground.a <= f.at < ground.b]


def tally(some: Sequence[Finding], unit: str, limit: float | None, scale: float = 1.0) -> Tally:
    """Return findings as a list of what counted and what did not."""
    words = tuple(dict.fromkeys(["", *(f.bad for f in some)]))
    values = np.array([f.result.value if f.result.value is not None else np.nan for f in some], float)
    return Tally(
        source=some[0].result.analyte if some else "", unit=unit,
        times=np.array([int(f.at.timestamp()) for f in some], np.int64), values=values * scale,
        reasons=np.array([words.index(f.bad) for f in some], np.int16),
        over=np.array([limit is not None and f.low > limit + 1e-9 for f in some], bool), words=words,
        labels=tuple(_label(f) for f in some),
    )  # fmt: skip


def _label(finding: Finding) -> str:
    place = finding.sample.point or "place not told"
    text = f", reported {finding.result.text}" if finding.result.qualifier or finding.result.value is None else ""
    kind = "" if finding.sample.purpose == "routine" else f", {finding.sample.purpose} sample"
    return f"{place}{kind}{text}"

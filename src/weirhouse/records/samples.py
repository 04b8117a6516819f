"""What does a sample still lack to stand in for the laboratory's report, and was it analysed in time?"""

from datetime import timedelta

from weirhouse.records.model import Result, Sample

# What a summary must carry in place of the laboratory's report: 40 CFR 141.33(a)(1) to (6).
# (what it is called, where it stands)
SUMMARY = (
    ("the place of sampling", "point"),
    ("the date and time of sampling", "taken_at"),
    ("the name of who took it", "sampler"),
    ("the purpose (routine, check, raw, special)", "purpose"),
    ("the date of the analysis", "analysed_at"),
    ("the laboratory", "laboratory"),
    ("the person who analysed it", "analyst"),
    ("the method", "method"),
    ("the result", "text"),
)


def lacking(sample: Sample, result: Result) -> tuple[str, ...]:
    """Return in words what a result lacks of what the tabular summary asks for; nothing is ready for a report.

    Source: 40 CFR 141.33(a), data of laboratory reports that are transferred to tabular summaries.
    """
    return tuple(told for told, name in SUMMARY if not (getattr(result, name, "") or getattr(sample, name, "")))


def held(sample: Sample, result: Result) -> timedelta | None:
    """Return how long a sample was held until it was prepared or analysed; None where no time is given."""
    ended = result.prepared_at or result.analysed_at
    return None if ended is None else ended - sample.taken_at


def held_too_long(sample: Sample, result: Result) -> bool | None:
    """Whether a sample was held longer than its method allows, or the laboratory says so; None: cannot tell."""
    if "H" in result.lab_flags:
        return True
    time = held(sample, result)
    if time is None or result.holding_limit is None:
        return None
    return time.total_seconds() > result.holding_limit


def analysed_by(sample: Sample, result: Result) -> str:
    """Return the laboratory of a result."""
    return result.laboratory or sample.laboratory

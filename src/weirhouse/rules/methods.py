"""By which methods can a requirement be worked out? Their names, the terms each needs, and which way is stricter."""

from dataclasses import dataclass, field
from typing import Literal

NUMBER = (int, float)
TIERS = {"pn_tier1": 1, "pn_turbidity_95": 2, "pn_turbidity_max": 2, "pn_dbp_toc": 2, "pn_monitoring": 3}


@dataclass(frozen=True, slots=True)
class Method:
    """What `check` must and may hold for a method. `stricter`: which way a limit moves when it gets stricter; empty
    where the limit is not what it is judged by.
    """

    words: str
    stricter: Literal["lower", "higher", ""]
    needs: dict[str, type | tuple[type, ...]] = field(default_factory=dict)
    may: tuple[str, ...] = ("tier",)
    limit: bool = True


_CHANNEL: dict[str, type | tuple[type, ...]] = {"channel": str}
_FILTERS: dict[str, type | tuple[type, ...]] = {"per": str, "minutes": NUMBER}
_ANALYTE: dict[str, type | tuple[type, ...]] = {"analyte": str}

METHODS: dict[str, Method] = {
    "share_within": Method(
        "share of the month's recorded values at or below the limit", "lower", _CHANNEL,
        ("tier", "fraction", "state_sets", "consult_hours"),
    ),
    "none_above": Method(
        "no recorded value above the limit", "lower", _CHANNEL, ("tier", "state_sets", "consult_hours"),
    ),
    "any_above": Method("no single value above the limit", "lower", _CHANNEL, ("tier", "consult_hours")),
    "every_period": Method("a value in each four-hour period of operation", "", _CHANNEL),
    "recorded_every": Method(
        "a value in each recording interval on line", "", {"minutes": NUMBER}, ("tier", "per", "channel")
    ),
    "instrument_failure": Method(
        "grab samples and days while an instrument is out", "", {}, ("tier", "per", "channel")
    ),
    "two_consecutive": Method("two recorded values in a row above the limit", "lower", _FILTERS, ("after_hours",)),
    "consecutive_months": Method("two in a row above the limit in each of several months", "lower", _FILTERS, ()),
    "contact": Method("CT achieved over CT required, each day", "", {"organism": str}),
    "follows": Method("met when other requirements are met", "", {"of": list}),
    "below_for": Method("not below the limit for longer than the time", "higher", _CHANNEL, ("tier", "hours")),
    "any_below": Method("no value below the limit", "higher", _CHANNEL),
    "samples_a_day": Method("samples a day by population", "", _CHANNEL),
    "undetectable_share": Method("share of samples without residual", "lower"),
    "annual_average": Method("average of the last twelve months' averages", "lower", _ANALYTE),
    "toc_ratio": Method("average of twelve monthly ratios of removal", "higher"),
    "lraa": Method("average of the last four quarters at each place", "lower", _ANALYTE),
    "oel": Method("operational evaluation level at each place", "lower", _ANALYTE),
    "by_product_samples": Method("by-product samples of the period", ""),
    "coliform_count": Method("coliform samples of the month", ""),
    "coliform_repeat": Method("repeat samples after a positive", "higher"),
    "ecoli": Method("E. coli conditions", ""),
    "coliform_level1": Method("first level assessment", ""),
    "coliform_level2": Method("second level assessment", ""),
    "single_result": Method("each result, with its confirmation sample", "lower", _ANALYTE),
    "sum_of_results": Method("results of one sample added", "lower", {"analytes": list}),
    "percentile": Method("90th percentile", "lower", _ANALYTE),
    "secondary": Method("each result against a goal", "lower", _ANALYTE),
    "highest_result": Method("each result against the limit", "lower", _ANALYTE),
}  # fmt: skip

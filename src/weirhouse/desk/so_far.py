"""What do the rules say of this month up to now? Of the channels that Today tells of, and no more: it must be quick."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from weirhouse.desk.month import CHANNELS
from weirhouse.plant.model import Plant
from weirhouse.records.store import Store
from weirhouse.rules.model import MonthResult
from weirhouse.rules.month import evaluate_month
from weirhouse.rules.packs import load_rules
from weirhouse.situation.ages import later, month_start
from weirhouse.situation.at import between


def month_so_far(store: Store, plant: Plant, folder: Path | None, when: datetime) -> tuple[MonthResult | None, str]:
    """Return what the rules say of the month of `when`, up to then; what was taken at that very instant counts.

    Where the rules cannot be used, None and the sentence that says why: Today must not fall with a mistyped pack.
    """
    try:
        return _judged(store, plant, folder, when), ""
    except ValueError as error:
        return None, f"How the month stands cannot be told: {error}"


def _judged(store: Store, plant: Plant, folder: Path | None, when: datetime) -> MonthResult:
    when = when.astimezone(UTC)
    until = later(when, 1.0)
    book = load_rules(folder, store.events("rule_confirmed", until=until))
    few = tuple(asked for asked in book.requirements if asked.check.get("channel") in CHANNELS)
    first = month_start(when, plant.zone)
    return evaluate_month(
        plant, between(store, plant, first, until), packs=replace(book, requirements=few),
        month=first.astimezone(plant.zone).date(), now=until,
    )  # fmt: skip

"""What should I do now? Every line of Today in the order in which one asks, and the order of the day above them."""

from collections.abc import Callable, Iterable
from itertools import chain

from weirhouse.desk.action_levels import action_levels
from weirhouse.desk.backwash import backwash
from weirhouse.desk.basins import basins
from weirhouse.desk.coagulant import coagulants
from weirhouse.desk.disinfection import disinfection
from weirhouse.desk.filters import filters
from weirhouse.desk.flow import plant_flow
from weirhouse.desk.gaps import gaps
from weirhouse.desk.held import feeds_held
from weirhouse.desk.lines import said_once
from weirhouse.desk.model import Advice, Today
from weirhouse.desk.month import month
from weirhouse.desk.order import order
from weirhouse.desk.raw_water import raw_water
from weirhouse.desk.storage import storage
from weirhouse.desk.unwashed import filters_unwashed
from weirhouse.rules.model import MonthResult
from weirhouse.situation.model import Situation

PARTS: tuple[Callable[[Situation], Iterable[Advice]], ...] = (
    action_levels,
    raw_water,
    plant_flow,
    coagulants,
    basins,
    filters,
    backwash,
    disinfection,
    storage,
)


def today(situation: Situation, so_far: MonthResult | None = None, amiss: str = "") -> Today:
    """Return what to do at the situation's instant.

    `so_far` is what the rules say of the month up to then (`desk.so_far`); without it nothing is said of the month, and
    `amiss` says why.
    """
    monthly = () if so_far is None else month(situation, so_far)
    said = chain.from_iterable((*(part(situation) for part in PARTS), monthly, gaps(situation)))
    lines = feeds_held(situation, said)
    advice = tuple(said_once(situation, filters_unwashed(situation, lines)))
    sentence, state = order(situation, advice)
    return Today(
        plant=situation.plant.name,
        at=situation.at.astimezone(situation.zone),
        order=sentence,
        order_state=state,
        advice=advice,
        notes=(*_notes(situation), *((amiss,) if amiss else ())),
        demo=situation.demo,
        unit_set=situation.plant.unit_set,
    )


def _notes(situation: Situation) -> tuple[str, ...]:
    """Return what holds for the whole of Today."""
    if situation.first_record is None:
        return ("Nothing is on record yet: enter a reading in the day log, or import a file.",)
    return ()

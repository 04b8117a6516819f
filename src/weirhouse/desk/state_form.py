"""Do the local rule packs fit the plant: a figure for each column of the State's form, and units that are measured?

A pack is read without knowing the plant. What only the plant file can tell is looked at here and refused with its line.
"""

import difflib
from collections.abc import Iterator
from datetime import UTC, datetime

from weirhouse.desk.month_table import month_table
from weirhouse.plant.model import Plant
from weirhouse.quantity import fits
from weirhouse.rules.contact import stages_of
from weirhouse.rules.packs import PackError, RuleBook
from weirhouse.situation.model import Stretch

OTHER_NAMES = {"combined_highest": "filtered_max", "residual_lowest": "residual_min", "flow": "volume"}


def names(plant: Plant) -> tuple[str, ...]:
    """Return what may stand in a column of the State's form: the month's columns of this plant, and further names."""
    start = datetime(2001, 1, 1, tzinfo=UTC)
    empty = Stretch(plant=plant, a=start, b=start, zone=plant.zone, tracks={}, events=())
    own = [column.id for column in month_table(empty).columns]
    further = [name for name, stands_for in OTHER_NAMES.items() if stands_for in own]
    contact = ("ct_ratio", "ct_giardia", "ct_virus", "ct_weakest") if stages_of(plant) else ()
    return tuple(dict.fromkeys(("date", *own, *contact, *further)))


def fitting(plant: Plant, book: RuleBook) -> None:
    """Raise PackError, in one sentence with file and line, where a local pack asks for what this plant cannot have."""
    for wrong in _wrong(plant, book):
        raise PackError(wrong)


def _wrong(plant: Plant, book: RuleBook) -> Iterator[str]:
    known = names(plant) if book.form.columns else ()
    for (name, _), line in zip(book.form.columns, book.form.lines, strict=True):
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            hint = f"Do you mean {near[0]}?" if near else "The names are those of the columns in its JSON file."
            yield f'{book.form.file}, line {line}: the report of this plant has no column "{name[:40]}". {hint}'
    for requirement in book.requirements:
        where, id = book.stands.get(requirement.id), str(requirement.check.get("channel", ""))
        channel = plant.channels.get(id)
        if where and channel and requirement.limit is not None and not fits(requirement.unit, channel.inside):
            yield f'{where}: "{requirement.id}" has a limit in {requirement.unit}, and {id} is read in {channel.unit}.'

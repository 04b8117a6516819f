"""What does a laboratory look for? Its names, how it is written, and how long a bottle keeps."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files

from weirhouse.quantity import fits, parse

UNSTATED = "not stated"  # what a file does not say and a report needs


@dataclass(frozen=True, slots=True, kw_only=True)
class Analyte:
    """Something that is looked for in a sample."""

    id: str
    title: str
    inside: str  # unit inside
    unit: str  # unit in which it is usually written
    holding: float  # longest time from the tap to the laboratory's step [s]
    until: str  # that step: "analysis" or "preparation"
    bottle: str
    preservation: str
    source: str
    names: tuple[str, ...]
    presence: bool = False  # looked for as there or not there


@cache
def analytes() -> Mapping[str, Analyte]:
    """Return the analytes by id."""
    table = tomllib.loads(files("weirhouse.records").joinpath("analytes.toml").read_text(encoding="utf-8"))
    return {
        id: Analyte(
            id=id, title=one["title"], inside=one["inside"], unit=one["unit"], until=one["until"],
            holding=parse(one["holding"], "s", id), bottle=one["bottle"], preservation=one["preservation"],
            source=one["source"], names=tuple(one["names"]), presence=one.get("presence", False),
        )
        for id, one in table.items()
    }  # fmt: skip


def named(words: str) -> Analyte | None:
    """Return the analyte that a laboratory calls by these words.

    >>> named("Escherichia coli").id, named("Organic carbon").id, named("Alkalinity, total").id, named("Gold")
    ('e_coli', 'toc', 'raw_alkalinity', None)
    """
    return _by_name().get(_bare(words))


@cache
def _by_name() -> Mapping[str, Analyte]:
    found: dict[str, Analyte] = {}
    for one in analytes().values():
        for words in (one.id, one.title, *one.names):
            found.setdefault(_bare(words), one)
    return found


def _bare(words: str) -> str:
    return " ".join(re.sub(r"[^a-z0-9]+", " ", words.casefold()).split())


def held(
    analyte: Analyte | None, taken: datetime, analysed: datetime | None, prepared: datetime | None
) -> float | None:
    """Return how long a bottle was kept until the step that ends its holding time [s]; None where that is not known."""
    until = prepared or analysed if analyte is None or analyte.until == "preparation" else analysed
    return None if until is None else (until - taken).total_seconds()


def inside_of(analyte: str, unit: str) -> str:
    """Return the inside unit of a result: that of the analyte where the unit fits, else of the unit itself."""
    known = analytes().get(analyte)
    if known is not None and fits(unit, known.inside):
        return known.inside
    for inside in ("g/m^3", "degC", "NTU", "pH", "1/m", "S/m", "1"):
        if fits(unit, inside):
            return inside
    return unit

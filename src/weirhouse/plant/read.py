"""How does a table of the plant file become a part of the plant? Field by field, in the field's words when wrong."""

import difflib
import itertools
import math
import re
import types
import typing
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache
from typing import Annotated, Any, Literal, TypeVar, Union

import msgspec

from weirhouse.plant.entries import Q
from weirhouse.plant.problem import PlantError
from weirhouse.quantity import QuantityError, parse, show

PartType = TypeVar("PartType", bound=msgspec.Struct)
Entries = dict[str, tuple[float, str, str]]


@dataclass
class Reader:
    """Reads tables into parts and remembers every quantity as it was written."""

    file: str
    entries: Entries = field(default_factory=dict)

    def wrong(self, where: str, why: str) -> PlantError:
        """Return the error for what stands at `where`."""
        text = why if why.endswith((".", "?")) else f"{why}."
        return PlantError(f"{self.file}: {where}: {text}")

    def part(self, kind: type[PartType], table: object, path: str, **given: Any) -> PartType:
        """Return a part from its table. `given` holds fields already read; they may stand in the table too."""
        if not isinstance(table, dict):
            raise self.wrong(path, f"a table is expected here, not {_shown(table)}")
        fields = {f.encode_name: f for f in msgspec.structs.fields(kind)}
        for key in table:
            if key not in fields:
                near = difflib.get_close_matches(key, fields, n=1)
                hint = f" Do you mean {near[0]}?" if near else f" It may have {', '.join(fields)}."
                raise self.wrong(path, f'"{key[:40]}" is not a field of this table.{hint}')
        hints = _hints(kind)
        found = dict(given)
        for name, one in fields.items():
            if one.name in given:
                continue
            if name not in table:
                if one.required:
                    raise self.wrong(path, f"{name} is missing. {self._example(name, hints[one.name])}".strip())
                continue
            found[one.name] = self.value(hints[one.name], table[name], f"{path}.{name}")
        return kind(**found)

    def value(self, hint: Any, raw: object, path: str) -> Any:
        """Return one field's value."""
        hint, q = _stripped(hint)
        origin = typing.get_origin(hint)
        if origin is Literal:
            if raw not in typing.get_args(hint) or isinstance(raw, bool):
                listed = ", ".join(str(c) for c in typing.get_args(hint))
                raise self.wrong(path, f"{_shown(raw)} is none of {listed}")
            return raw
        if origin is tuple:
            return self._parts(typing.get_args(hint)[0], raw, path)
        if isinstance(hint, type) and issubclass(hint, msgspec.Struct):
            return self.part(hint, raw, path)
        if hint is float:
            return self.quantity(raw, q or Q("1"), path)
        if hint is int:
            return self._whole(raw, path, q)
        if hint is bool:
            if not isinstance(raw, bool):
                raise self.wrong(path, f"{_shown(raw)} is neither true nor false. Write true or false without quotes")
            return raw
        if hint is date:
            return self._date(raw, path)
        return self._text(raw, path, q)

    def quantity(self, raw: object, q: Q, path: str) -> float:
        """Return a quantity in its inside unit and remember how it was written."""
        text = raw if isinstance(raw, str) else None
        if isinstance(raw, int | float) and not isinstance(raw, bool):
            if q.unit not in ("1", "pH", "log", "NTU"):
                raise self.wrong(path, f"{raw} has no unit. Write it as text with its unit, like {_written(q.unit)}")
            text = f"{raw} NTU" if q.unit == "NTU" else repr(raw)
        if text is None:
            raise self.wrong(path, f"{_shown(raw)} is not a quantity. Write it like {_written(q.unit)}")
        try:
            value = parse(text, q.unit, path)
        except QuantityError as error:
            raise PlantError(f"{self.file}: {error}") from error
        self._bounds(value, q, text, path)
        self.entries[path] = (value, q.unit, str(raw))
        return value

    def _bounds(self, value: float, q: Q, text: str, path: str) -> None:
        if not math.isfinite(value):
            raise self.wrong(path, f'"{text}" is not a usable number')
        if q.above is not None and value <= q.above:
            raise self.wrong(path, f'"{text}" must be above {show(q.above, q.unit)}')
        if q.low is not None and value < q.low:
            raise self.wrong(path, f'"{text}" must not be below {show(q.low, q.unit)}')
        if q.high is not None and value > q.high:
            percent = ' Write a share as "18 percent" or 0.18.' if q.unit == "1" and q.high == 1 else ""
            raise self.wrong(path, f'"{text}" must not be above {show(q.high, q.unit)}.{percent}')

    def _parts(self, kind: Any, raw: object, path: str) -> tuple[Any, ...]:
        if not isinstance(raw, list):
            raise self.wrong(path, f"a list is expected here, not {_shown(raw)}")
        found = []
        for index, item in enumerate(raw):
            place = f"{path}.{index}"
            if isinstance(item, dict) and isinstance(item.get("id"), str):
                place = f"train.{item['id']}"
            found.append(self.value(kind, item, place))
        return tuple(found)

    def pairs(self, raw: object, first: Q, second: Q, path: str, *, least: int = 2) -> tuple[tuple[float, float], ...]:
        """Return rising pairs of quantities, such as the points of a calibration."""
        if not isinstance(raw, list) or len(raw) < least:
            raise self.wrong(path, f'at least {least} pairs are needed, like [["10", "2.1 mL/min"], ...]')
        found = []
        for index, pair in enumerate(raw):
            here = f"{path}.{index}"
            if not isinstance(pair, list) or len(pair) != 2:
                raise self.wrong(here, f"{_shown(pair)} is not a pair")
            found.append((self.quantity(pair[0], first, f"{here}.0"), self.quantity(pair[1], second, f"{here}.1")))
        for index, ((a, _), (b, _)) in enumerate(itertools.pairwise(found)):
            if b <= a:
                raise self.wrong(f"{path}.{index + 1}", "the first numbers of the pairs must rise from row to row")
        return tuple(found)

    def _whole(self, raw: object, path: str, q: Q | None) -> int:
        if isinstance(raw, bool) or not isinstance(raw, int):
            raise self.wrong(path, f"{_shown(raw)} is not a whole number. Write it without quotes and without unit")
        if q is not None and q.low is not None and raw < q.low:
            raise self.wrong(path, f"{raw} must not be below {q.low:g}")
        if raw < 0 or raw > 10**9:
            raise self.wrong(path, f"{raw} is not a usable number")
        self.entries[path] = (float(raw), "1", str(raw))
        return raw

    def _date(self, raw: object, path: str) -> date:
        if isinstance(raw, datetime):
            return raw.date()
        if isinstance(raw, date):
            return raw
        try:
            return date.fromisoformat(str(raw))
        except ValueError:
            raise self.wrong(path, f'{_shown(raw)} is not a date. Write it like "2026-04-14"') from None

    def _text(self, raw: object, path: str, q: Any) -> str:
        if not isinstance(raw, str):
            raise self.wrong(path, f"{_shown(raw)} is not text. Write it between quotes")
        if isinstance(q, msgspec.Meta) and q.pattern is not None and not re.match(q.pattern, raw):
            raise self.wrong(
                path, f'"{raw[:40]}" cannot be an id. Use small letters, digits and _, like settling_basin'
            )
        return raw

    def _example(self, name: str, hint: Any) -> str:
        bare, q = _stripped(hint)
        if typing.get_origin(bare) is Literal:
            return f"It is one of {', '.join(str(c) for c in typing.get_args(bare))}."
        if isinstance(q, Q) and bare is float:
            return f"Write it like {name} = {_written(q.unit)}."
        return ""


def _stripped(hint: Any) -> tuple[Any, Any]:
    """Return the type without None and annotation, and the annotation."""
    note = None
    while True:
        origin = typing.get_origin(hint)
        if origin in (Union, types.UnionType):
            hint = next(a for a in typing.get_args(hint) if a is not type(None))
        elif origin is Annotated:
            hint, *notes = typing.get_args(hint)
            note = note or notes[0]
        else:
            return hint, note


@lru_cache(maxsize=64)
def _hints(kind: type) -> Mapping[str, Any]:
    return typing.get_type_hints(kind, include_extras=True)


def _shown(raw: object) -> str:
    if isinstance(raw, bool):
        return str(raw).lower()
    if isinstance(raw, dict):
        return "a table"
    if isinstance(raw, list):
        return "a list"
    text = " ".join(str(raw).split())
    return f'"{text[:57]}..."' if len(text) > 60 else f'"{text}"'


_WRITTEN = {
    "m": '"4 ft 6 in"', "m^2": '"200 ft2"', "m^3": '"12,000 gal"', "m^3/s": '"150 gpm"', "m/s": '"15 gpm/ft2"',
    "s": '"45 min"', "1": '"18 percent"', "kg/m^3": '"1.36 kg/L"', "g/m^3": '"22 mg/L"', "NTU": '"0.3 NTU"',
    "W": '"0.5 hp"', "log": '"2.5 log"', "kg/s": '"60 lb/day"',
}  # fmt: skip


def _written(unit: str) -> str:
    return _WRITTEN.get(unit, f'"12 {unit}"')

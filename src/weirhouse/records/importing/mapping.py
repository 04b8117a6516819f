"""What does the operator say about a file? A small TOML file beside it, with every key optional."""

import json
import re
import tomllib
from collections.abc import Mapping as Table
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from weirhouse.records.importing.clocks import CLOCKS, Clock
from weirhouse.records.importing.problem import FileProblem, listed, shown
from weirhouse.records.importing.stamps import Order, zone_seconds

_FLAGS = {"ok": 0, "doubtful": 1, "rejected": 2, "below": 3, "above": 4, "gap": 9}
GAP_FLAG = 9
_SEPARATORS = {
    ",": ",",
    ";": ";",
    "|": "|",
    "\t": "\t",
    "tab": "\t",
    "comma": ",",
    "semicolon": ";",
    "space": " ",
    " ": " ",
}


EPOCHS = ("s", "ms", "days1900", "days1904")


@dataclass(frozen=True, slots=True)
class ColumnRule:
    """Which channel a column is, in which unit, and which column holds its remark codes."""

    channel: str
    unit: str = ""
    qualifier: str = ""


@dataclass(frozen=True, slots=True)
class Mapping:
    """What a mapping file says; None and empty where it says nothing."""

    separator: str | None = None
    decimal: str | None = None
    header_line: int | None = None
    gaps: frozenset[str] = frozenset()
    time: tuple[str, ...] = ()
    clock: Clock | None = None
    zone: ZoneInfo | None = None
    offset: int | None = None
    order: Order | None = None
    epoch: str | None = None
    kind: str | None = None
    parameter: str | None = None
    value: str | None = None
    unit: str | None = None
    qualifier: str | None = None
    where: Table[str, str] = field(default_factory=dict)
    columns: Table[str, ColumnRule] = field(default_factory=dict)
    flags: Table[str, int] = field(default_factory=dict)


NONE = Mapping()
_KEYS = (
    "separator", "decimal", "header_line", "gaps", "time", "clock", "time_zone", "day_first", "date_order",
    "epoch", "kind", "parameter", "value", "unit", "qualifier", "where", "columns", "flags",
)  # fmt: skip


def read(path: Path) -> Mapping:
    """Return the mapping in the TOML file at `path`; FileProblem in one sentence where it cannot be used."""
    name = shown(path.name)
    try:
        if path.stat().st_size > 1 << 20:
            raise FileProblem(f"The mapping {name} is too large to be one.")
        table = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise FileProblem(f"There is no mapping file {shown(str(path), 200)}.") from None
    except OSError as error:
        raise FileProblem(
            f"The mapping {name} cannot be read: {error.strerror or 'the disk answers with an error'}."
        ) from None
    except (UnicodeDecodeError, RecursionError):
        raise FileProblem(f"The mapping {name} is not a text file in UTF-8.") from None
    except tomllib.TOMLDecodeError as error:
        raise FileProblem(f"The mapping {name} is not TOML: {shown(str(error), 120)}.") from None
    return of_table(table, name)


def written(table: Table[str, Any]) -> str:
    """Return a table as the text of a mapping file, that `of_table` reads back.

    >>> written({"clock": "utc", "columns": {"Turb 1": {"channel": "raw_turbidity", "unit": "NTU"}}})
    'clock = "utc"\\ncolumns = { "Turb 1" = { "channel" = "raw_turbidity", "unit" = "NTU" } }\\n'
    """
    return "".join(f"{key} = {_toml(value)}\n" for key, value in table.items())


def _toml(value: Any) -> str:
    if isinstance(value, Table):
        return "{ " + ", ".join(f"{_toml(str(key))} = {_toml(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    return json.dumps(value, ensure_ascii=True)  # texts, true, false and whole numbers are written alike in both


def of_table(table: Table[str, Any], name: str = "mapping") -> Mapping:
    """Return the mapping that a decoded TOML table says."""

    def bad(key: str, must: str) -> FileProblem:
        return FileProblem(f"The mapping {name}: {key} is {shown(repr(table[key]))}; it must be {must}.")

    for key in table:
        if key not in _KEYS:
            raise FileProblem(f"The mapping {name} has an unknown key {shown(key)}; known are {', '.join(_KEYS)}.")

    def text(key: str) -> str | None:
        value = table.get(key)
        if value is not None and (not isinstance(value, str) or not value.strip()):
            raise bad(key, "a text")
        return value

    separator = text("separator") if table.get("separator") not in (" ", "\t") else table["separator"]
    if separator is not None and separator.lower() not in _SEPARATORS:
        raise bad("separator", '",", ";", "|", "tab" or "space"')
    decimal = text("decimal")
    if decimal not in (None, ".", ","):
        raise bad("decimal", '"." or ","')
    header = table.get("header_line")
    if header is not None and (isinstance(header, bool) or not isinstance(header, int) or header < 0):
        raise bad("header_line", "the number of the line with the headings, 0 if there is none")
    clock = text("clock")
    if clock not in (None, *CLOCKS):
        raise bad("clock", '"wall", "standard" or "utc"')
    if "day_first" in table and not isinstance(table["day_first"], bool):
        raise bad("day_first", "true or false")
    order = text("date_order")
    if order not in (None, "dmy", "mdy", "ymd"):
        raise bad("date_order", '"dmy", "mdy" or "ymd"')
    said: Order | None = None
    if order is not None:
        said = "ymd" if order == "ymd" else "dmy" if order == "dmy" else "mdy"
    if "day_first" in table:
        said = "dmy" if table["day_first"] else "mdy"
    epoch = text("epoch")
    if epoch not in (None, *EPOCHS):
        raise bad("epoch", '"s", "ms", or for days counted by a spreadsheet "days1900" or "days1904"')
    kind = text("kind")
    if kind not in (None, "series", "laboratory"):
        raise bad("kind", '"series" or "laboratory"')
    time = table.get("time", [])
    time = [time] if isinstance(time, str) else time
    if not isinstance(time, list) or len(time) > 2 or not all(isinstance(t, str) and t for t in time):
        raise bad("time", 'the heading of the time column, or of two: ["Date", "Time"]')
    gaps = table.get("gaps", [])
    if not isinstance(gaps, list) or not all(isinstance(g, (str, int, float)) for g in gaps):
        raise bad("gaps", 'a list of texts such as ["-99", "ERR"]')
    where = table.get("where", {})
    if not isinstance(where, dict) or not all(isinstance(v, (str, int, float)) for v in where.values()):
        raise bad("where", 'a table such as { station = "inflow" }')
    flags = table.get("flags", {})
    if not isinstance(flags, dict) or not all(isinstance(v, str) and v in _FLAGS for v in flags.values()):
        raise bad("flags", f"a table of codes, each one of {', '.join(_FLAGS)}")
    zone, offset = _zone(text("time_zone"), name)
    return Mapping(
        separator=None if separator is None else _SEPARATORS[separator.lower()],
        decimal=decimal,
        header_line=header,
        gaps=frozenset(str(g).strip().lower() for g in gaps),
        time=tuple(time),
        clock=clock,
        zone=zone,
        offset=offset,
        order=said,
        epoch=epoch,
        kind=kind,
        parameter=text("parameter"),
        value=text("value"),
        unit=text("unit"),
        qualifier=text("qualifier"),
        where={str(k): str(v) for k, v in where.items()},
        columns=_columns(table.get("columns", {}), name),
        flags={k.strip(): _FLAGS[v] for k, v in flags.items()},
    )


def _zone(text: str | None, name: str) -> tuple[ZoneInfo | None, int | None]:
    if text is None:
        return None, None
    offset = offset_in(text)
    if offset is not None:
        return None, offset
    try:
        return ZoneInfo(text), None
    except (ValueError, OSError, KeyError):
        raise FileProblem(
            f'The mapping {name}: time_zone "{shown(text)}" is not known; write it like "America/New_York" or '
            '"UTC-05:00".'
        ) from None


def offset_in(text: str) -> int | None:
    """Return the fixed offset that "UTC-05:00", "GMT+1", "+01:00" or "EST" states, in seconds east of UTC, or None."""
    bare = text.strip().strip("()").strip()
    found = re.fullmatch(r"(?:UTC|GMT|Z)?\s*([+-])\s*(\d{1,2})(?::?(\d{2}))?", bare, re.I)
    if found:
        hours, minutes = int(found.group(2)), int(found.group(3) or 0)
        if hours <= 14 and minutes < 60:
            return (-1 if found.group(1) == "-" else 1) * (hours * 3600 + minutes * 60)
        return None
    return zone_seconds(bare) if bare.isalpha() else None


def _columns(table: Any, name: str) -> dict[str, ColumnRule]:
    if not isinstance(table, dict):
        raise FileProblem(f'The mapping {name}: columns must be a table such as {{ "Turb (NTU)" = "raw_turbidity" }}.')
    rules: dict[str, ColumnRule] = {}
    for heading, rule in table.items():
        if isinstance(rule, str) and rule:
            rules[heading] = ColumnRule(rule)
            continue
        if isinstance(rule, dict) and isinstance(rule.get("channel"), str) and rule["channel"]:
            extra = [k for k in rule if k not in ("channel", "unit", "qualifier")]
            if not extra and all(isinstance(v, str) for v in rule.values()):
                rules[heading] = ColumnRule(rule["channel"], rule.get("unit", ""), rule.get("qualifier", ""))
                continue
        raise FileProblem(
            f'The mapping {name}: the column "{shown(heading)}" must name a channel, as text or as {{ channel = '
            '"raw_turbidity", unit = "NTU", qualifier = "code column" }.'
        )
    twice = [r.channel for r in rules.values()]
    again = sorted({c for c in twice if twice.count(c) > 1})
    if again:
        raise FileProblem(f"The mapping {name} gives two columns to the channel {listed(again)}.")
    return rules

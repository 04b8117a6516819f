"""What is measured at this plant, in which unit, and what can a value mean?"""

from typing import Any

from weirhouse.plant.entries import Q
from weirhouse.plant.model import Channel
from weirhouse.plant.read import Reader
from weirhouse.quantity import fits, known

# Tried in this order; a unit that fits none is kept as it is written.
INSIDE = (
    "NTU", "degC", "pH", "log", "m^3/s", "g/m^3", "g*s/m^3", "m/s", "m", "m^2", "m^3", "s", "1/s", "1/m", "kg", "kg/s",
    "Pa", "W", "J", "S/m", "1",
)  # fmt: skip
_FIELDS = ("name", "unit", "low", "high", "stale_after", "interval", "instrument")


def inside_unit(unit: str) -> str:
    """Return the unit in which values written in `unit` are kept: ``gpm`` gives ``m^3/s``."""
    return next((inside for inside in INSIDE if fits(unit, inside)), unit)


def read_channels(reader: Reader, raw: object) -> dict[str, Channel]:
    """Return the channels by id."""
    if not isinstance(raw, dict) or not raw:
        raise reader.wrong(
            "[channel]", "no channel is described. Write [channel.plant_flow] with name and unit below it"
        )
    return {id: _channel(reader, id, table) for id, table in raw.items()}


def _channel(reader: Reader, id: str, table: object) -> Channel:
    path = f"channel.{id}"
    if not isinstance(table, dict):
        raise reader.wrong(path, f"write it as a table, [channel.{id}]")
    unit = table.get("unit")
    if not isinstance(unit, str):
        raise reader.wrong(path, 'unit is missing. Write the unit people read it in, like unit = "gpm"')
    if not known(unit):
        raise reader.wrong(f"{path}.unit", f'"{unit[:40]}" is not a unit known here')
    inside = inside_unit(unit)
    given: dict[str, Any] = {"id": reader.value(_ID, id, path), "inside": inside}
    for side in ("low", "high"):
        if side in table:
            given[side] = reader.quantity(table[side], Q(inside), f"{path}.{side}")
    for span in ("stale_after", "interval"):
        if span in table:
            given[span] = reader.quantity(table[span], Q("s", above=0), f"{path}.{span}")
    for key in table:
        if key not in _FIELDS:
            raise reader.wrong(
                path, f'"{str(key)[:40]}" is not a field of this table. It may have {", ".join(_FIELDS)}'
            )
    channel = reader.part(Channel, table, path, **given)
    if channel.low is not None and channel.high is not None and channel.low >= channel.high:
        raise reader.wrong(path, f"low ({table['low']}) must be below high ({table['high']})")
    return channel


_ID = Channel.__annotations__["id"]

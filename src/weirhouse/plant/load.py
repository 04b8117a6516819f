"""What does ``plant.toml`` say? Read whole, checked whole, or one sentence with what to mend."""

import itertools
import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from weirhouse.plant.channels import read_channels
from weirhouse.plant.entries import Q
from weirhouse.plant.model import (
    STAGES,
    Action,
    Backup,
    Calibration,
    Feed,
    Filter,
    Filters,
    Permit,
    Plant,
    Records,
    Sewer,
    Shutdown,
    Stage,
    Telephone,
)
from weirhouse.plant.problem import PlantError
from weirhouse.plant.read import Reader
from weirhouse.plant.sense import check_sense
from weirhouse.quantity import fits

FILE = "plant.toml"
MOST_BYTES = 2_000_000
_TABLES = {"plant", "train", "permit", "sewer", "action", "shutdown", "channel", "telephone", "backup", "records"}
_HEAD = {
    "name", "system_id", "source_water", "population", "connections", "time_zone", "units", "design_flow", "altitude",
    "demo",
}  # fmt: skip


def load(folder: Path) -> Plant:
    """Return the plant of a folder (or of a plant file itself).

    Raises
    ------
    PlantError
        In one sentence that names the file, the table and the field, and says what to mend.
    """
    path = Path(folder)
    file = path if path.suffix == ".toml" else path / FILE
    if not path.exists():
        raise PlantError(f'{path} does not exist. Start a plant folder with "weirhouse new {path}".')
    if not file.is_file():
        raise PlantError(f'{file} is missing. Start a plant folder with "weirhouse new DIR", or name another --plant.')
    raw = file.read_bytes()
    if len(raw) > MOST_BYTES:
        raise PlantError(f"{file.name} is larger than {MOST_BYTES // 1_000_000} MB: this is not a plant file.")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise PlantError(f"{file.name}: line {line} is not UTF-8 text. Save the file as UTF-8.") from None
    return parse_plant(text, file.name)


def parse_plant(text: str, name: str = FILE) -> Plant:
    """Return the plant that the text of a plant file describes; PlantError as `load`."""
    if not text.strip():
        raise PlantError(f'{name} is empty. "weirhouse new DIR" writes one to start from.')
    try:
        document = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        what = " ".join(str(error).split()) or "tables nested too deep"
        raise PlantError(f"{name}: not valid TOML: {what}. Look for a missing quote or bracket there.") from None
    reader = Reader(name)
    for table in document:
        if table not in _TABLES:
            raise reader.wrong(f"[{table[:40]}]", f"there is no such table. There are {', '.join(sorted(_TABLES))}")
    head = _head(reader, document.get("plant"))
    channels = read_channels(reader, document.get("channel"))
    stages = _stages(reader, document.get("train"))
    plant = Plant(
        **head,
        stages=stages,
        permit=reader.part(Permit, document["permit"], "permit") if "permit" in document else None,
        sewer=reader.part(Sewer, document["sewer"], "sewer") if "sewer" in document else None,
        action=tuple(_limits(reader, Action, document.get("action"), "action", channels)),
        shutdown=tuple(_limits(reader, Shutdown, document.get("shutdown"), "shutdown", channels)),
        telephone=tuple(
            reader.part(Telephone, entry, f"telephone.{i}")
            for i, entry in enumerate(_list(reader, document.get("telephone"), "telephone"))
        ),
        backup=tuple(
            reader.part(Backup, entry, f"backup.{i}")
            for i, entry in enumerate(_list(reader, document.get("backup"), "backup"))
        ),
        records=reader.part(Records, document.get("records", {}), "records"),
        channels=channels,
        entries=reader.entries,
    )
    check_sense(reader, plant)
    return plant


def _head(reader: Reader, table: object) -> dict[str, Any]:
    if not isinstance(table, dict):
        raise reader.wrong("[plant]", 'the table is missing. Begin the file with [plant] and name = "..."')
    for key in table:
        if key not in _HEAD:
            raise reader.wrong(
                "plant", f'"{key[:40]}" is not a field of this table. It may have {", ".join(sorted(_HEAD))}'
            )
    for key in ("name", "system_id", "time_zone", "units"):
        if key not in table:
            raise reader.wrong("plant", f"{key} is missing")
    zone = reader.value(str, table["time_zone"], "plant.time_zone")
    try:
        ZoneInfo(zone)
    except (OSError, ValueError):  # ZoneInfoNotFoundError is a KeyError
        raise _no_zone(reader, zone) from None
    except KeyError:
        raise _no_zone(reader, zone) from None
    if table["units"] not in ("US", "SI"):
        raise reader.wrong("plant.units", f'"{str(table["units"])[:40]}" is neither "US" nor "SI"')
    found: dict[str, Any] = {"time_zone": zone, "unit_set": table["units"]}
    for key in ("name", "system_id", "source_water"):
        if key in table:
            found[key] = reader.value(str, table[key], f"plant.{key}")
    for key in ("population", "connections"):
        if key in table:
            found[key] = reader.value(int, table[key], f"plant.{key}")
    if "demo" in table:
        found["demo"] = reader.value(bool, table["demo"], "plant.demo")
    if "design_flow" in table:
        found["design_flow"] = reader.quantity(table["design_flow"], Q("m^3/s", above=0), "plant.design_flow")
    if "altitude" in table:
        found["altitude"] = reader.quantity(table["altitude"], Q("m", low=-430, high=6000), "plant.altitude")
    return found


def _no_zone(reader: Reader, zone: str) -> PlantError:
    return reader.wrong("plant.time_zone", f'"{zone[:40]}" is not a time zone. Write it like "America/New_York"')


def _list(reader: Reader, raw: object, name: str) -> list[Any]:
    if raw is None:
        return []
    if not isinstance(raw, list):
        raise reader.wrong(f"[{name}]", f"write it with two brackets, [[{name}]]: there may be several")
    return raw


def _stages(reader: Reader, raw: object) -> tuple[Stage, ...]:
    tables = _list(reader, raw, "train")
    if not tables:
        raise reader.wrong("[[train]]", "the train is missing. List the stages in the order the water takes them")
    found: list[Stage] = []
    for index, table in enumerate(tables):
        here = f"train.{index + 1}"
        if not isinstance(table, dict):
            raise reader.wrong(here, "a table is expected here")
        ident = table.get("id")
        path = f"train.{ident}" if isinstance(ident, str) and ident else here
        kind = table.get("kind")
        if not isinstance(kind, str) or kind not in STAGES:
            what = "kind is missing" if kind is None else f'"{str(kind)[:40]}" is not a kind of stage'
            raise reader.wrong(path, f"{what}. The kinds are {', '.join(STAGES)}")
        if kind == "feed":
            found.append(_feed(reader, table, path))
        elif kind == "filters":
            found.append(_filters(reader, table, path))
        else:
            found.append(reader.part(STAGES[kind], table, path))
    return tuple(found)


def _feed(reader: Reader, table: dict[str, Any], path: str) -> Feed:
    given: dict[str, Any] = {}
    calibration = table.get("calibration")
    if calibration is not None:
        given["calibration"] = _calibration(reader, calibration, f"{path}.calibration")
    if "dose_table" in table:
        turbidity, dose = Q("NTU", above=0), Q("g/m^3", low=0)
        given["dose_table"] = reader.pairs(table["dose_table"], turbidity, dose, f"{path}.dose_table")
    return reader.part(Feed, table, path, **given)


def _calibration(reader: Reader, table: object, path: str) -> Calibration:
    if not isinstance(table, dict):
        raise reader.wrong(path, 'write it like { unit = "percent", date = "2026-04-14", points = [...] }')
    unit = table.get("unit")
    if not isinstance(unit, str) or not fits(unit, "1"):
        raise reader.wrong(f"{path}.unit", 'the unit of the setting is missing. Write unit = "percent"')
    points = table.get("points")
    if isinstance(points, list):  # the setting's unit stands beside the list, not in each row
        points = [
            [f"{p[0]} {unit}", p[1]] if isinstance(p, list) and len(p) == 2 and _bare(p[0]) else p for p in points
        ]
    rows = reader.pairs(points, Q("1", low=0), Q("m^3/s", low=0), f"{path}.points")
    if any(b[1] < a[1] for a, b in itertools.pairwise(rows)):
        raise reader.wrong(
            f"{path}.points", "the feed rate falls while the setting rises. Look for two rows changed over"
        )
    return reader.part(Calibration, table, path, points=rows)


def _bare(raw: object) -> bool:
    text = str(raw).strip()
    return not isinstance(raw, bool) and text.replace(".", "", 1).isdigit()


def _filters(reader: Reader, table: dict[str, Any], path: str) -> Filters:
    raw = _list(reader, table.get("filter"), "train.filter")
    if not raw:
        raise reader.wrong(path, "no filter is listed. Write [[train.filter]] with id, name, size and layers below it")
    done: dict[str, dict[str, Any]] = {}
    filters = []
    for index, one in enumerate(raw):
        here = (
            f"train.{one['id']}"
            if isinstance(one, dict) and isinstance(one.get("id"), str)
            else f"{path}.filter.{index}"
        )
        full = one
        if isinstance(one, dict) and "same_as" in one:
            if not isinstance(one["same_as"], str) or one["same_as"] not in done:
                raise reader.wrong(
                    f"{here}.same_as", f'"{str(one["same_as"])[:40]}" is not a filter listed before this one'
                )
            full = {**{k: v for k, v in done[one["same_as"]].items() if k not in ("id", "name")}, **one}
        made = reader.part(Filter, full, here)
        done[made.id] = full
        filters.append(made)
    return reader.part(Filters, table, path, filter=tuple(filters))


def _limits(reader: Reader, kind: Any, raw: object, name: str, channels: Any) -> Iterable[Any]:
    for index, table in enumerate(_list(reader, raw, name)):
        path = f"{name}.{index}"
        channel = table.get("channel") if isinstance(table, dict) else None
        if not isinstance(channel, str) or channel not in channels:
            raise reader.wrong(
                path, f'"{str(channel)[:40]}" is not a channel of this plant. Describe it under [channel.{channel}]'
            )
        given = {}
        for side in ("above", "below"):
            if side in table:
                given[side] = reader.quantity(table[side], Q(channels[channel].inside), f"{path}.{side}")
        if len(given) != 1:
            raise reader.wrong(path, 'it needs one of above or below, like above = "0.3 NTU"')
        yield reader.part(kind, table, path, **given)

"""The plant as its file describes it: cut open, held against published ranges, and word for word."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from weirhouse.desk.flow import setting_flow
from weirhouse.desk.lanes import names as stage_names
from weirhouse.pictures import section
from weirhouse.plant.check import check
from weirhouse.plant.finding import Finding
from weirhouse.plant.model import Action, Plant, Shutdown
from weirhouse.quantity import show
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder
from weirhouse.web.today import frame_at, reading_link
from weirhouse.working import Known

TEMPERATURE = "raw_temperature"


@dataclass(frozen=True, slots=True)
class Row:
    """A stage, or a unit of one, with what the plant file says of it."""

    number: int
    id: str
    name: str
    kind: str
    entries: tuple[tuple[str, str], ...]


def plant_page(folder: PlantFolder, request: Request) -> Response:
    """Answer with the plant."""
    standing = folder.standing(request.query_params.get("at", ""))
    situation = standing.situation
    plant = situation.plant
    frame = frame_at(folder, standing, request, "plant", "Plant")
    flow, temperature = setting_flow(situation), situation.value(TEMPERATURE).usable
    found = check(plant, flow=flow, temperature=temperature, on=situation.at.astimezone(plant.zone).date())
    held = [f for kind in ("outside", "inside") for f in found if f.kind == kind]
    names = {**stage_names(plant), "plant": plant.name}
    train = list(rows(plant))
    numbers = {row.id: row.number for row in train}
    pictures = section.svg(plant, numbers) + section.svg(plant, numbers, narrow=True)
    return page(request, "plant.html", {
        "frame": frame, "sentence": _answer(found, names), "about": _about(plant), "names": names,
        "basis": _basis(flow, temperature, plant), "findings": held,
        "remarks": [f for f in found if f.kind not in ("outside", "inside")],
        "picture": Markup(pictures),  # noqa: S704 - the picture escapes its texts
        "train": train, "rules": list(_rules(plant)), "telephone": plant.telephone,
        "backups": folder.backups(), "channels": [reading_link(situation.value(id), frame) for id in plant.channels],
    })  # fmt: skip


def _answer(found: Sequence[Finding], names: Mapping[str, str]) -> str:
    """Return in one sentence what the check found."""
    inside, outside, missing, odd, due = ([f for f in found if f.kind == k] for k in KINDS)
    held = len(inside) + len(outside)
    if not held:
        first = "No figure of this plant can be held against a range at present"
    elif not outside:
        first = f"All {held} figures that can be held against a range lie within it"
    else:
        verb, whose = ("lies", "its") if len(outside) == 1 else ("lie", "their")
        first = f"{len(outside)} of {held} figures {verb} outside {whose} range: {_listed(outside, names)}"
    more = [f"{len(some)} {words}" for some, words in ((missing, "missing"), (odd, "hard to believe")) if some]
    first += f"; {len(due)} due to be renewed" if due else ""
    return f"{first}; {' and '.join(more)} in the plant file." if more else f"{first}."


KINDS = ("inside", "outside", "missing", "implausible", "due")


def _listed(outside: Sequence[Finding], names: Mapping[str, str]) -> str:
    words = [f"{names.get(f.stage, f.stage)}, {f.title[:1].lower()}{f.title[1:]}" for f in outside[:3]]
    more = f"; and {len(outside) - 3} more" if len(outside) > 3 else ""
    return "; ".join(words) + more


def _about(plant: Plant) -> str:
    parts = [plant.system_id] if plant.system_id else []
    if plant.source_water:
        parts.append(f"takes {plant.source_water}")
    if plant.population is not None:
        parts.append(f"serves {plant.population:,} people")
    if plant.connections is not None:
        parts.append(f"{plant.connections:,} connections")
    written = plant.entries.get("plant.design_flow")
    if written is not None:
        parts.append(f"made for {written[2]}")
    return ", ".join(parts) + "." if parts else ""


def _basis(flow: Known | None, temperature: Known | None, plant: Plant) -> str:
    if flow is None:
        return "There is no flow to go by, so that no unit is held against a published range."
    us = plant.unit_set == "US"
    words = [show(flow, "m^3/s", "gpm" if us else "L/s")]
    if temperature is not None:
        words.append(show(temperature, "degC", "degF" if us else "degC"))
    return f"Worked out at {' and '.join(words)}. The permit and your State's own standards come before these ranges."


def rows(plant: Plant) -> Iterator[Row]:
    """Yield a row for each stage and for each compartment and filter in it, numbered as on the picture."""
    number = 0
    for stage in plant.stages:
        inner = (*getattr(stage, "stages", ()), *getattr(stage, "filter", ()), *getattr(stage, "pump", ()))
        number += 1
        kind = stage.kind.replace("_", " ")
        yield Row(number, stage.id, stage.name, kind, _entries(plant, stage.id, tuple(one.id for one in inner)))
        for one in inner:
            number += 1
            name = getattr(one, "name", "") or one.id.replace("_", " ").capitalize()
            yield Row(number, one.id, name, f"of {stage.name}", _entries(plant, one.id))


def _entries(plant: Plant, id: str, inner: tuple[str, ...] = ()) -> tuple[tuple[str, str], ...]:
    """Return what the plant file gives for a stage: field and text as written. Pairs are put together."""
    begin = f"train.{id}."
    found: dict[str, str] = {}
    for path, (_, _, text) in plant.entries.items():
        if not path.startswith(begin):
            continue
        rest = path.removeprefix(begin)
        if rest.partition(".")[0] in inner:
            continue
        parts = rest.split(".")
        pair = len(parts) >= 3 and parts[-1] in ("0", "1") and parts[-2].isdigit()
        name = _words(parts[:-2] if pair else parts)
        if pair:
            joined = found.get(name, "")
            found[name] = f"{joined}{', ' if parts[-1] == '0' and joined else ' → ' if joined else ''}{text}"
        else:
            found[name] = text
    return tuple(found.items())


def _words(parts: list[str]) -> str:
    """Return a path in words: layers are counted from 1.

    >>> _words(["layer", "0", "effective_size"])
    'layer 1 effective size'
    """
    return " ".join(str(int(p) + 1) if p.isdigit() else p.replace("_", " ") for p in parts)


def _rules(plant: Plant) -> Iterator[tuple[str, str]]:
    permit = plant.permit
    if permit is not None:
        if permit.number:
            yield "permit", permit.number
        yield "treatment", permit.treatment.replace("_", " ")
        for path, (_, _, text) in plant.entries.items():
            if path.startswith("permit."):
                yield _words(path.split(".")[1:]), text
    for path, (_, _, text) in plant.entries.items():
        if path.startswith("sewer."):
            yield _words(path.split(".")), text
    for level in plant.action:
        yield f"action level: {level.do.replace('_', ' ')}", _level(plant, level)
    for shutdown in plant.shutdown:
        lasting = f" for {show(shutdown.lasting, 's', 'min')}" if shutdown.lasting else ""
        yield "shuts down by itself", _level(plant, shutdown) + lasting


def _level(plant: Plant, level: Action | Shutdown) -> str:
    channel = plant.channels[level.channel]
    side, value = ("above", level.above) if level.above is not None else ("below", level.below)
    assert value is not None
    return f"{channel.name} {side} {show(value, channel.inside, channel.unit)}"

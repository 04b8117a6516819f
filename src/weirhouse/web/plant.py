"""The plant as its file describes it: cut open, held against published ranges, and word for word."""

from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from weirhouse.desk.model import Figure
from weirhouse.pictures import section
from weirhouse.plant.model import Action, Plant, Shutdown
from weirhouse.quantity import show
from weirhouse.situation.ages import age_text
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder, Standing
from weirhouse.web.today import frame_at, reading_link

UNIT = "unit_"  # ids of the lines that hold a stage against published ranges
MOST_TEXT = 160


@dataclass(frozen=True, slots=True)
class Finding:
    """A figure of a stage held against a published range."""

    where: str
    title: str
    shown: str
    verdict: str  # within, outside, unknown or none
    word: str
    against: str


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
    plant = folder.plant()
    frame = frame_at(folder, standing, request, "plant", "Plant")
    found = list(findings(standing))
    outside = [f for f in found if f.verdict == "outside"]
    train = list(rows(plant))
    numbers = {row.id: row.number for row in train}
    pictures = section.svg(plant, numbers) + section.svg(plant, numbers, narrow=True)
    return page(request, "plant.html", {
        "frame": frame, "sentence": _answer(found, outside), "about": _about(plant), "basis": _basis(standing),
        "findings": [*outside, *(f for f in found if f.verdict != "outside")], "remarks": (),
        "picture": Markup(pictures),  # noqa: S704 - the picture escapes its texts
        "train": train, "rules": list(_rules(plant)), "telephone": plant.telephone,
        "channels": [reading_link(standing.situation.value(id), frame) for id in plant.channels],
    })  # fmt: skip


def _answer(found: list[Finding], outside: list[Finding]) -> str:
    held = [f for f in found if f.verdict in ("within", "outside")]
    if not held:
        return "No figure of this plant can be held against a published range at present."
    if not outside:
        return f"All {len(held)} figures that can be held against a published range lie within it."
    many = "figure lies" if len(outside) == 1 else "figures lie"
    return f"{len(outside)} of {len(held)} {many} outside the published range: {_listed(outside)}."


def _listed(outside: list[Finding]) -> str:
    words = [f"{f.title[:1].lower()}{f.title[1:]} of {f.where[:1].lower()}{f.where[1:]}" for f in outside[:3]]
    more = f" and {len(outside) - 3} more" if len(outside) > 3 else ""
    return ", ".join(words) + more


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


def _basis(standing: Standing) -> str:
    situation = standing.situation
    words = []
    for channel in (situation.flow_channel, "raw_temperature"):
        value = situation.value(channel)
        if value.known is not None:
            age = f", {age_text(value.age_s)} old" if value.age_s is not None else ""
            words.append(f"{value.title.lower()} {show(value.known, value.unit, value.display or value.unit)}{age}")
    if not words:
        return "There is no reading of flow or temperature to work with."
    return f"Worked out at {' and '.join(words)}. The permit and your State's own standards come before these ranges."


def findings(standing: Standing) -> Iterator[Finding]:
    """Yield the figures of Today's lines about units, each with its verdict."""
    for advice in standing.today.advice:
        if not advice.id.startswith(UNIT):
            continue
        for figure in advice.figures:
            verdict = _verdict(figure)
            yield Finding(advice.title, figure.title, figure.shown, verdict, WORDS[verdict], figure.against)


def _verdict(figure: Figure) -> str:
    if figure.value is None:
        return "unknown"
    if figure.within is None:
        return "none"
    return "within" if figure.within else "outside"


WORDS = {"within": "within", "outside": "outside", "unknown": "cannot tell", "none": "no range"}


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

"""What has a reading done? The history of a channel: a picture, a table, and where to write a new one."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from weirhouse.pictures import chart
from weirhouse.plant.model import Channel, Plant
from weirhouse.quantity import convert, label, show
from weirhouse.situation.model import Track
from weirhouse.web.frame import Frame
from weirhouse.web.render import page
from weirhouse.web.source import PlantFolder
from weirhouse.web.today import frame_at, reading_link

STRETCHES = (("day", "1 day", 1), ("week", "7 days", 7), ("month", "31 days", 31), ("year", "1 year", 366))
FLAGS = {1: "doubtful", 2: "rejected", 3: "below what can be measured", 4: "above what can be measured"}
MOST_ROWS = 96


@dataclass(frozen=True, slots=True)
class Row:
    """A value in the table."""

    when: str
    shown: str
    word: str
    entry: str = ""  # id of what a person entered; empty for what a logger gave


def history_page(folder: PlantFolder, request: Request) -> Response | None:
    """Answer with the history of a channel up to now, or up to the instant asked for."""
    plant = folder.plant()
    channel = plant.channels.get(request.path_params["channel"])
    if channel is None:
        return None
    standing = folder.standing(request.query_params.get("at", ""))
    frame = frame_at(folder, standing, request, "today", f"{channel.name}: history")
    name = request.query_params.get("for", "day")
    days = next((d for id, _, d in STRETCHES if id == name), 1)
    end = standing.situation.at
    begin = end - timedelta(days=days)
    track = folder.track(channel.id, begin, end + timedelta(seconds=1))
    value = standing.situation.value(channel.id)
    links = [(words, frame.link(f"/history/{channel.id}", **{"for": id}), id == name) for id, words, _ in STRETCHES]
    with folder.reading() as store:
        typed = {int(one.taken_at.timestamp()): one.id for one in store.readings(channel.id, begin, end)}
    rows = _rows(track, channel, plant, typed)
    day = end.astimezone(plant.zone).date()
    return page(request, "history.html", {
        "frame": frame, "channel": channel, "newest": reading_link(value, frame), "value": value, "links": links,
        "picture": _picture(track, channel, plant, begin, end), "rows": rows, "more": len(track) - len(rows),
        "sentence": _sentence(track, channel, frame), "write": f"/log/{day}?channel={channel.id}#reading",
    })  # fmt: skip


def _sentence(track: Track, channel: Channel, frame: Frame) -> str:
    """Return the lowest, the middle and the highest of the stretch in words."""
    good = track.good
    if not len(good):
        return "Nothing is on record in this stretch of time."
    low, high = int(np.argmin(good.values)), int(np.argmax(good.values))

    def at(i: int) -> str:
        here = datetime.fromtimestamp(int(good.times[i]), frame.zone)
        return f"{show(float(good.values[i]), channel.inside, channel.unit)} on {here:%a} {here.day} {here:%b %H:%M}"

    middle = show(float(np.median(good.values)), channel.inside, channel.unit)
    bad = int(np.isin(track.flags, (1, 2)).sum())
    marked = f" {bad:,} of {len(track):,} are marked doubtful or rejected." if bad else ""
    return f"{len(good):,} values: lowest {at(low)}, middle {middle}, highest {at(high)}.{marked}"


def _picture(track: Track, channel: Channel, plant: Plant, begin: datetime, end: datetime) -> Markup | None:
    if not np.isfinite(track.values).any():
        return None
    gaps = np.diff(track.times)
    usual = float(np.median(gaps)) if len(gaps) else 900.0
    stale = channel.stale_after or 0.0
    made = chart.Chart(
        x=track.times.astype(float), y=np.asarray(convert(track.values, channel.inside, channel.unit), dtype=float),
        doubtful=(track.flags == 1) | (track.flags == 2), unit=label(channel.unit), limits=_limits(channel, plant),
        begin=begin.timestamp(), end=end.timestamp(), zone=plant.zone, gap=max(4 * usual, stale, 3600.0),
        logarithmic=channel.inside == "NTU", steps=channel.id.endswith(("_dose", "_setting")),
    )  # fmt: skip
    return Markup(chart.svg(made) + chart.svg(made, narrow=True))  # noqa: S704 - the picture escapes its texts


def _limits(channel: Channel, plant: Plant) -> tuple[chart.Limit, ...]:
    found = []
    for level in plant.action:
        if level.channel == channel.id:
            side = "above" if level.above is not None else "below"
            value = level.above if level.above is not None else level.below
            assert value is not None
            words = f"{level.do.replace('_', ' ')} {side} {show(value, channel.inside, channel.unit)}"
            found.append(chart.Limit(value=float(convert(value, channel.inside, channel.unit)), name=words))
    return tuple(found)


def _rows(track: Track, channel: Channel, plant: Plant, typed: Mapping[int, str]) -> list[Row]:
    rows = []
    for i in range(len(track) - 1, max(-1, len(track) - 1 - MOST_ROWS), -1):
        here = datetime.fromtimestamp(int(track.times[i]), plant.zone)
        value = float(track.values[i])
        sign = {3: "<", 4: ">"}.get(int(track.flags[i]), "")
        shown = sign + show(value, channel.inside, channel.unit) if np.isfinite(value) else "no value"
        word, entry = FLAGS.get(int(track.flags[i]), ""), typed.get(int(track.times[i]), "")
        rows.append(Row(f"{here:%a} {here.day} {here:%b %H:%M}", shown, word, entry))
    return rows

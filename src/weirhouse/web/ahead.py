"""The page Ahead: fans of what is coming, the plant as usual and with its intake shut, and what is not known."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from weirhouse.desk import ahead as desk
from weirhouse.desk.ahead import Ahead
from weirhouse.pictures import chart
from weirhouse.quantity import convert, label, show
from weirhouse.situation.model import Situation, Track
from weirhouse.situation.past import past
from weirhouse.twin.outlook import Fan, Future
from weirhouse.web.frame import Frame
from weirhouse.web.looking import Job
from weirhouse.web.render import as_json, page
from weirhouse.web.source import PlantFolder
from weirhouse.web.today import frame_at

BEFORE = timedelta(hours=24)  # of what was measured, left of now
MOST_WORDS = 120
TOLD = (6, 24, 48, 72)  # hours that stand in the table of a fan


@dataclass(frozen=True, slots=True)
class Picture:
    """A fan with the sentence and the table that say the same."""

    title: str
    sentence: str
    drawn: Markup
    rows: tuple[tuple[str, str, str, str], ...]  # when, low, middle, high


def ahead_page(folder: PlantFolder, request: Request) -> Response:
    """Answer with the hours ahead, or with how far they are worked out."""
    weather, hours = _asked(request)
    standing = folder.standing(request.query_params.get("at", ""))
    frame = frame_at(folder, standing, request, "ahead", "Ahead")
    job = _job(folder, request, standing.situation, weather, hours)
    data = {"frame": frame, "weather": weather, "hours": hours, "self_link": _here(frame, weather, hours)}
    if not job.done.is_set():
        return page(request, "ahead_wait.html", {**data, "job": job, "progress": _progress(frame, weather, hours)})
    if job.error is not None:
        if not isinstance(job.error, ValueError) or not type(job.error).__module__.startswith("weirhouse."):
            raise job.error
        sentence = " ".join(str(job.error).split())
        return page(request, "ahead_none.html", {**data, "sentence": sentence, "day": _day(standing.situation)}, 200)
    found: Ahead = job.answer
    return page(request, "ahead.html", {
        **data, "ahead": found, "ways": [words for _, words in desk.WAYS],
        "pictures": _pictures(found, standing.situation), "made": job.at,
        "old": standing.situation.at - job.at >= timedelta(minutes=1), "caution": desk.caution(found.plant),
    })  # fmt: skip


def progress_twin(folder: PlantFolder, request: Request) -> Response:
    """Answer with how far the hours ahead are worked out."""
    weather, hours = _asked(request)
    situation = folder.standing(request.query_params.get("at", "")).situation
    job = _job(folder, request, situation, weather, hours)
    return as_json({"done": job.done.is_set(), "share": round(job.share, 3), "what": job.what})


def ahead_twin(folder: PlantFolder, request: Request) -> Response:
    """Answer with the hours ahead as JSON, equal to the command's."""
    weather, hours = _asked(request)
    situation = folder.standing(request.query_params.get("at", "")).situation
    job = _job(folder, request, situation, weather, hours)
    job.done.wait()
    if job.error is not None:
        raise job.error
    return as_json(desk.ahead_json(job.answer))


def _asked(request: Request) -> tuple[str, int]:
    weather = " ".join(request.query_params.get("weather", "").split())[:MOST_WORDS]
    hours = request.query_params.get("hours", "")
    return weather, min(max(int(hours), 1), desk.HOURS) if hours.isascii() and hours.isdigit() else desk.HOURS


def _job(folder: PlantFolder, request: Request, situation: Situation, weather: str, hours: int) -> Job:
    """Return the reckoning for what is asked, begun now where there is none."""
    key = (weather, hours, request.query_params.get("at", ""))
    again = request.query_params.get("again", "")
    found = folder.looking.find(key, situation.at)
    if found is not None and not (again and again == f"{found.at:%H%M}"):
        return found

    def make(tell: object) -> Ahead:
        with folder.reading() as store:
            before = past(store, situation.plant, situation.at)
        return desk.ahead(situation, before, hours=hours, weather=weather, progress=tell)  # type: ignore[arg-type]

    return folder.looking.begin(key, situation.at, make)


def _here(frame: Frame, weather: str, hours: int) -> str:
    return frame.link("/ahead", weather=weather, hours="" if hours == desk.HOURS else str(hours))


def _progress(frame: Frame, weather: str, hours: int) -> str:
    return frame.link("/ahead/progress.json", weather=weather, hours="" if hours == desk.HOURS else str(hours))


def _day(situation: Situation) -> str:
    return str(situation.at.astimezone(situation.zone).date())


def _pictures(found: Ahead, situation: Situation) -> list[Picture]:
    """Return the fans: stream, settled and filtered water, head loss of each filter, tank in both ways."""
    out, plant = found.outlook, found.plant
    limit = chart.Limit(value=0.3, name="0.3 NTU"), chart.Limit(value=1.0, name="1 NTU")
    drawn = [_fan(found, situation, "Stream: raw turbidity", out.stream["raw"], "raw_turbidity", ())]
    drawn.append(_fan(found, situation, "Settled water, as usual", out.habit.fans["settled"], "settled_turbidity", ()))
    if "combined" in out.habit.fans:
        fan = out.habit.fans["combined"]
        drawn.append(_fan(found, situation, "Filtered water, as usual", fan, "combined_turbidity", limit))
    for one in plant.filters:
        name = f"{one.id}.head"
        if name in out.habit.fans:
            drawn.append(
                _fan(
                    found,
                    situation,
                    f"Head loss of {one.name}, as usual",
                    out.habit.fans[name],
                    f"{one.id}_head_loss",
                    (),
                )
            )
    if out.tank:
        stage = plant.stage(out.tank)
        for way, words in desk.WAYS:
            future: Future = getattr(out, way)
            fan = future.fans[f"{out.tank}.level"]
            drawn.append(
                _fan(
                    found, situation, f"{stage.name}, {words.lower()}", fan, stage.level_channel or "", (), out.reserve
                )
            )
    return drawn


def _fan(
    found: Ahead, situation: Situation, title: str, fan: Fan, channel: str, limits: Sequence[chart.Limit],
    reserve: float | None = None,
) -> Picture:  # fmt: skip
    out, zone = found.outlook, situation.zone
    known = found.plant.channels.get(channel)
    unit = (
        known.unit
        if known is not None
        else {"m": "ft" if found.plant.unit_set == "US" else "m"}.get(fan.unit, fan.unit)
    )
    rows = np.asarray(convert(fan.rows, fan.unit, unit), dtype=float)
    times = out.times.astype(float)
    if reserve is not None:
        limits = (*limits, chart.Limit(value=float(convert(reserve, "m", unit)), name="reserve"))
    track = _before(situation, channel)
    made = chart.Chart(
        x=track.times.astype(float), y=np.asarray(convert(track.values, fan.unit, unit), dtype=float), unit=label(unit),
        doubtful=(track.flags == 1) | (track.flags == 2), limits=tuple(limits),
        begin=(situation.at - BEFORE).timestamp(), end=float(times[-1]), zone=zone, gap=3 * 3600.0,
        logarithmic=fan.unit == "NTU", now=situation.at.timestamp(),
        bands=(
            chart.Band(x=times, low=rows[0], high=rows[4]), chart.Band(x=times, low=rows[1], high=rows[3]),
        ),
        ahead=tuple(zip(times.tolist(), rows[2].tolist(), strict=True)), ahead_name="middle",
    )  # fmt: skip
    table = []
    for lead in TOLD:
        if lead <= found.hours:
            place = out.place(lead)
            when = datetime.fromtimestamp(int(out.times[place]), zone)
            low, middle, high = (show(float(fan.rows[k][place]), fan.unit, unit, 2) for k in (0, 2, 4))
            table.append((f"{when:%a %H:%M}", low, middle, high))
    last = table[min(1, len(table) - 1)] if table else ("", "", "", "")
    sentence = (
        f"{last[0]}: between {last[1]} and {last[3]} in nine futures of ten, {last[2]} in the middle." if table else ""
    )
    drawn = Markup(chart.svg(made) + chart.svg(made, narrow=True))  # noqa: S704 - the picture escapes its texts
    return Picture(title=title, sentence=sentence, drawn=drawn, rows=tuple(table))


def _before(situation: Situation, channel: str) -> Track:
    """Return what was measured in the last day; nothing where it was not."""
    track = situation.tracks.get(channel)
    if track is None:
        return Track(channel=channel, times=np.empty(0, np.int64), values=np.empty(0), flags=np.empty(0, np.uint8))
    keep = (track.times >= (situation.at - BEFORE).timestamp()) & (track.flags != 2)
    return Track(channel=channel, times=track.times[keep], values=track.values[keep], flags=track.flags[keep])

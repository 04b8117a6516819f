"""Which pictures go with a month, and what do they say to someone who cannot see them?"""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from weirhouse.desk import lanes
from weirhouse.desk.month_table import TURBIDITIES
from weirhouse.desk.proof import MonthProof
from weirhouse.pictures import chart, timetable
from weirhouse.plant.model import Channel
from weirhouse.quantity import convert, fits, label, show, written
from weirhouse.reports.ink import for_paper
from weirhouse.situation.model import Track

STORM = 5.0  # times the month's middle: raw turbidity that makes a story
LEAST_STORM = 10.0  # [NTU]
# How a rule is worked out -> whether a value above its limit is on the wrong side; what asks otherwise is not drawn.
SIDES = {
    "share_within": True, "none_above": True, "any_above": True, "two_consecutive": True, "below_for": False,
    "any_below": False,
}  # fmt: skip
BEFORE, AFTER = timedelta(hours=12), timedelta(hours=36)


def charts(proof: MonthProof) -> Iterator[dict[str, Any]]:
    """Yield the pictures of a month with title and words."""
    plant = proof.plant
    wanted = [channel for _, channel in TURBIDITIES]
    wanted += [f"{one.id}_turbidity" for one in plant.filters]
    wanted += ["entry_chlorine", "contact_temperature", "raw_temperature", "plant_flow"]
    seen_temperature = False
    for id in wanted:
        channel, track = plant.channels.get(id), proof.records.stretch.tracks.get(id)
        if channel is None or track is None or not np.isfinite(track.values).any():
            continue
        if id.endswith("_temperature"):
            if seen_temperature:
                continue
            seen_temperature = True
        yield _chart(proof, channel, track)


def limits_of(proof: MonthProof, channel: str) -> list[tuple[float, bool, str]]:
    """Return the limits that the rules hold a channel against: value inside, whether above is bad, name."""
    found: dict[tuple[float, bool], str] = {}
    unit = proof.plant.channels[channel].inside
    for outcome in proof.result.outcomes:
        asked = outcome.requirement
        side = SIDES.get(str(asked.check.get("method", "")))
        own = outcome.subject == channel or (outcome.tally is not None and outcome.tally.source == channel)
        if outcome.limit is None or side is None or not own or not fits(asked.unit, unit):
            continue
        value = float(convert(outcome.limit, asked.unit, unit))
        found.setdefault((value, side), f"limit {written(outcome.limit, asked.unit)}")
    return [(value, above, name) for (value, above), name in found.items()]


def _chart(proof: MonthProof, channel: Channel, track: Track) -> dict[str, Any]:
    stretch = proof.records.stretch
    limits = limits_of(proof, channel.id)
    shown = np.asarray(convert(track.values, channel.inside, channel.unit), dtype=float)
    gaps = np.diff(track.times)
    usual = float(np.median(gaps)) if len(gaps) else 900.0
    made = chart.Chart(
        x=track.times.astype(float), y=shown, doubtful=(track.flags == 1) | (track.flags == 2),
        unit=label(channel.unit),
        limits=tuple(
            chart.Limit(value=float(convert(value, channel.inside, channel.unit)), name=name)
            for value, _, name in limits
        ),
        begin=stretch.a.timestamp(), end=stretch.b.timestamp(), zone=proof.plant.zone,
        gap=max(4 * usual, channel.stale_after or 0.0, 3600.0), logarithmic=channel.inside == "NTU",
    )  # fmt: skip
    return {"title": channel.name, "svg": for_paper(chart.svg(made)), "alt": words(proof, channel, track)}


def words(proof: MonthProof, channel: Channel, track: Track) -> str:
    """Return what a picture of a channel shows: how many values, their ends and mean, and how they stand to a limit."""
    good = track.good
    month = proof.table.begin.astimezone(proof.plant.zone)
    if not len(good):
        return f"{channel.name} in {month:%B %Y}: no value that counts."

    def text(value: float) -> str:
        return show(value, channel.inside, channel.unit)

    said = (
        f"{channel.name} in {month:%B %Y}: {len(good.values):,} values recorded, "
        f"lowest {text(float(good.values.min()))}, mean {text(float(good.values.mean()))}, "
        f"highest {text(float(good.values.max()))}"
    )
    for value, above, _ in limits_of(proof, channel.id):
        over = int((good.values > value).sum() if above else (good.values < value).sum())
        said += f"; {over:,} {'above' if above else 'below'} {written(value, channel.inside, channel.unit)}"
    aside = len(track) - len(good)
    if aside:
        said += f"; {aside:,} gaps, doubtful or rejected values left out"
    return f"{said}. While the plant stands, too, values are recorded; the rules look at those of its running alone."


def storm(proof: MonthProof) -> dict[str, Any] | None:
    """Return the water timetable of the month's muddiest hours; None where the stream stayed quiet."""
    stretch = proof.records.stretch
    raw = stretch.tracks.get("raw_turbidity")
    if raw is None or not len(raw.good):
        return None
    good = raw.good
    top = int(np.argmax(good.values))
    highest = float(good.values[top])
    if highest < max(LEAST_STORM, STORM * float(np.median(good.values))):
        return None
    worst = datetime.fromtimestamp(int(good.times[top]), stretch.zone)
    begin = max(worst - BEFORE, stretch.a)
    end = min(worst + AFTER, stretch.b, proof.records.at)
    made = lanes.timetable_of(stretch, begin=begin, end=end, now=end + timedelta(days=1))
    if not made.parcels:
        return None
    title = f"{begin.astimezone(stretch.zone):%d %B, %H:%M} to {end.astimezone(stretch.zone):%d %B, %H:%M}"
    met = sorted({f"{mark.text}" for mark in made.marks if mark.kind in ("dose", "backwash", "intake_shut")})
    alt = (
        f"Water timetable: clock time across, the plant from stream to tap down; each line is the water of one hour, "
        f"coloured by its turbidity. Raw turbidity was highest at {worst:%H:%M} on {worst:%d %B} with "
        f"{show(highest, 'NTU')}; {len(made.parcels)} parcels are drawn."
    )
    if met:
        alt += f" Marked: {'; '.join(met[:8])}{' and more' if len(met) > 8 else ''}."
    return {"title": title, "svg": for_paper(timetable.svg(made), tick=13.0, small=11.5), "alt": alt}

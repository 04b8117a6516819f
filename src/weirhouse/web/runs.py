"""How does a filter's run look beside its line? Head loss over the hours of filtering, with the limit ahead."""

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from weirhouse.desk.model import Advice
from weirhouse.pictures import chart
from weirhouse.plant.model import Filters, Plant
from weirhouse.quantity import convert, label
from weirhouse.situation.model import Situation, Track

LEAST_FLOW = 1e-5  # [m^3/s]; less is standing still
RUN = "run_"  # ids of the filters' lines begin so


def run_picture(situation: Situation, advice: Advice) -> Markup | None:
    """Return the picture of a filter's run, wide and narrow; None for any other line, or a run without a trace."""
    run = situation.runs.get(advice.id.removeprefix(RUN)) if advice.id.startswith(RUN) else None
    if run is None or len(run.head_loss_track) < 2:
        return None
    display = run.head_loss.display or run.head_loss.unit
    track = run.head_loss_track
    through = _filtering(situation.tracks.get(run.flow.channel), track)
    hours, values = np.asarray(run.filtered_hours, dtype=float)[through], track.values[through]
    if len(hours) < 2:
        return None
    limit = _terminal(situation.plant)
    limits: tuple[chart.Limit, ...] = ()
    end = float(np.nanmax(hours))
    if limit is not None:
        shown = float(convert(limit, "m", display))
        limits = (chart.Limit(value=shown, name=f"backwash at {shown:.3g} {label(display)}"),)
    made = chart.Chart(
        x=hours, y=np.asarray(convert(values, "m", display), dtype=float),
        doubtful=(track.flags[through] == 1) | (track.flags[through] == 2), unit=label(display),
        limits=limits, begin=0.0, end=max(end * 1.04, 1.0), x_name="hours of filtering since the backwash",
    )  # fmt: skip
    return Markup(chart.svg(made) + chart.svg(made, narrow=True))  # noqa: S704 - the picture escapes its texts


def _filtering(flow: Track | None, track: Track) -> NDArray[np.bool_]:
    """Return which readings were taken with water through the filter: without it there is no head to lose."""
    if flow is None or not len(flow.good):
        return np.ones(len(track), dtype=bool)
    good = flow.good
    which = np.maximum(np.searchsorted(good.times, track.times, side="right") - 1, 0)
    found: NDArray[np.bool_] = good.values[which] > LEAST_FLOW
    return found


def _terminal(plant: Plant) -> float | None:
    for stage in plant.stages:
        if isinstance(stage, Filters):
            return stage.terminal_head_loss
    return None

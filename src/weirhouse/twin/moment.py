"""From where does a run into the hours ahead begin? The plant as the records leave it, as the simulation takes it."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weirhouse.plant.model import Contact, Storage
from weirhouse.situation.habit import Habit
from weirhouse.situation.model import Situation, Track
from weirhouse.situation.past import Past
from weirhouse.twin import policy as rules
from weirhouse.twin.compile import Compiled
from weirhouse.twin.policy import Policy
from weirhouse.twin.state import Start

Floats = NDArray[np.float64]
STEP = 900  # [s]
LEAD_S = 54 * 3600  # of the record that is run through first, so that basins hold the water that came in
THROTTLED = 0.93  # of the usual flow: below this it was cut on purpose
LEAST_RUN_S = 2 * 3600.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Recorded:
    """The last hours as they were, by quarter-hours: what came in, what the plant took, what it made of it."""

    turbidity: Floats  # (n,) [NTU], never a gap
    flow: Floats  # (n,) [m^3/s], never a gap
    settled: Floats  # (n,) [NTU], NaN where the plant stood or nothing was recorded
    combined: Floats  # (n,)
    washes: tuple[tuple[float, int], ...]  # since the beginning [s], and which filter
    heads: tuple[float, ...] | None = None  # head loss of each filter as it began [m]; None where not all are known


@dataclass(frozen=True, kw_only=True, eq=False)
class Moment:
    """All that a run into the hours ahead begins with."""

    start: Start
    recorded: Recorded | None  # None where flow was not recorded: then it begins with basins full of the water of now
    policy: Policy  # the plant run as the records show that it is run
    demand: Floats | None  # (24,) by local hour of the day [m^3/s]; None where nobody knows
    unknown: tuple[str, ...]  # what was not known, and what was taken in its place, a sentence each


def moment(situation: Situation, past: Past, habit: Habit, compiled: Compiled) -> Moment:
    """Return how a run begins at the situation's instant."""
    unknown: list[str] = []
    policy = habit_policy(situation, habit, compiled, unknown)
    start = _start(situation, habit, compiled, policy, unknown)
    demand = np.array([float(v) for v in situation.demand.by_hour]) if situation.demand.by_hour else None
    if demand is None and situation.demand.last_day is not None:
        demand = np.full(24, float(situation.demand.last_day))
    if demand is None:
        unknown.append("How much water the village takes is not recorded: half of the design flow is taken for it.")
    recorded = _recorded(situation, past, habit, compiled)
    if recorded is None:
        unknown.append("The flow of the last day is not recorded: the basins are taken as full of the water of now.")
    if habit.unknown:
        unknown.append(
            f"The records do not tell {_list(habit.unknown)}: the plant file, or a usual value, stands for it."
        )
    return Moment(start=start, recorded=recorded, policy=policy, demand=demand, unknown=tuple(unknown))


def _list(words: tuple[str, ...]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def habit_policy(situation: Situation, habit: Habit, compiled: Compiled, unknown: list[str]) -> Policy:
    """Return the rules by which the plant is run in storms, as its records show them."""
    changes: dict[str, Any] = {}
    if habit.flow is not None:
        changes["flow"] = float(habit.flow)
        cut = [r for r in habit.flows if r.low >= 5.0 and float(r.value) < THROTTLED * float(habit.flow)]
        if cut:
            changes["throttle_above"] = cut[0].low
            changes["throttle_to"] = min(float(r.value) for r in cut) / float(habit.flow)
    if habit.shuts_above is not None:
        changes["shut_above"] = float(habit.shuts_above)
        opens = habit.opens_below if habit.opens_below is not None else habit.shuts_above
        changes["reopen_below"] = min(float(opens), float(habit.shuts_above))
    full = next((s.full_level for s in reversed(situation.plant.stages) if isinstance(s, Storage)), None)
    if full and habit.starts_below is not None and habit.stops_above is not None:
        changes["start_below"] = min(float(habit.starts_below) / full, 0.98)
        changes["stop_above"] = min(float(habit.stops_above) / full, 1.0)
    table = _dose_table(habit, compiled)
    if table is not None:
        changes["table_turbidity"], changes["table_dose"] = table
    changes |= _wash_rules(habit)
    others = _other_doses(situation, compiled)
    if others is not None:
        changes["other_doses"] = others
    policy = rules.habit(compiled, **changes)
    if len(compiled.feeds) and not len(policy.table_dose):
        unknown.append("No coagulant dose is known for any water: the filters are simulated without coagulant.")
    return policy


def _dose_table(habit: Habit, compiled: Compiled) -> tuple[Floats, Floats] | None:
    """Return dose by turbidity: what was fed, and beyond the brownest water on record the plant's own table."""
    if len(habit.doses) < 2:
        return None
    turbidity = [math.sqrt(max(r.low, 1.0) * min(r.high, 2.5 * max(r.low, 1.0))) for r in habit.doses]
    dose = [float(r.value) for r in habit.doses]
    file = [(n, d) for n, d in compiled.dose_table if n > turbidity[-1]]
    if file:
        usual = np.interp(turbidity[-1], *np.array(compiled.dose_table).T)
        turbidity += [n for n, _ in file]
        dose += [d * dose[-1] / float(usual) for _, d in file]
    return np.array(turbidity), np.array(dose)


def _wash_rules(habit: Habit) -> dict[str, float]:
    changes: dict[str, float] = {}
    heads = [float(w.head_loss) for w in habit.washes if w.head_loss is not None and w.by == "head_loss"]
    hours = [float(w.hours) for w in habit.washes if w.hours is not None and w.by == "hours"]
    if heads:
        changes["wash_head"] = sum(heads) / len(heads)
    if hours:
        changes["wash_time"] = max(sum(hours) / len(hours), LEAST_RUN_S)
    if habit.wash_window is not None and habit.wash_window[1] > habit.wash_window[0]:
        changes["wash_from"], changes["wash_until"] = habit.wash_window
    wastes = [float(w.to_waste) for w in habit.washes if w.to_waste is not None]
    if wastes:
        changes["to_waste"] = sum(wastes) / len(wastes)
    return changes


def _other_doses(situation: Situation, compiled: Compiled) -> Floats | None:
    usual = rules.habit(compiled).other_doses.copy()
    known = False
    for i, feed in enumerate(compiled.feeds):
        force = situation.feeds.get(feed)
        dose = force.dose.usable if force is not None else None
        if dose is not None and usual[i] > 0:
            usual[i], known = float(dose), True
    return usual if known else None


def _value(situation: Situation, channel: str) -> float | None:
    known = situation.value(channel).usable
    return None if known is None else float(known)


def _start(situation: Situation, habit: Habit, compiled: Compiled, policy: Policy, unknown: list[str]) -> Start:
    plant = situation.plant
    flow = _value(situation, situation.flow_channel)
    if situation.running.state == "standing":
        flow = 0.0
    elif flow is None:
        unknown.append("Whether the plant runs now is not known: it is taken as running at its usual flow.")
    changes: dict[str, Any] = {"flow": flow}
    for name, channel in (
        ("turbidity", "raw_turbidity"), ("temperature", "raw_temperature"), ("alkalinity", "raw_alkalinity"),
        ("ph", "raw_ph"), ("uv254", "raw_uv254"),
    ):  # fmt: skip
        value = _value(situation, channel)
        if value is not None:
            changes[name] = max(value, 0.02) if name == "turbidity" else value
    if "temperature" not in changes:
        unknown.append("The water's temperature is not known: 10 °C is taken.")
    if "alkalinity" not in changes:
        unknown.append("Alkalinity is not known: 40 mg/L is taken, so that nothing is said of pH.")
    changes["head_loss"], changes["run_time"] = _filters(situation, compiled)
    if changes["head_loss"] is not None:
        area = float(compiled.train.filter_area.sum())
        changes["rate"] = policy.flow / area if area else None
    levels = [_tank_share(situation, plant.stage(tank)) for tank in compiled.tanks]
    missing = [plant.stage(tank).name for tank, level in zip(compiled.tanks, levels, strict=True) if level is None]
    if missing:
        unknown.append(f"The level is not known of {_list(tuple(missing))}: nine tenths full is taken.")
    changes["tank_levels"] = tuple(0.9 if level is None else level for level in levels)
    changes["feed_levels"] = tuple(_feed_share(situation, feed) for feed in compiled.feeds)
    residual = next(
        (v for c in ("contact_chlorine", "entry_chlorine") if (v := _value(situation, c)) is not None), None
    )
    if residual is not None:
        changes["chlorine"] = max(residual, 0.0)
    return Start(**changes)


def _filters(situation: Situation, compiled: Compiled) -> tuple[tuple[float, ...] | None, tuple[float, ...] | None]:
    """Return head losses [m] while filtering and hours filtered [s] of every filter; None unless all are known."""
    heads, times = [], []
    for id in compiled.filters:
        run = situation.runs[id]
        track, clock = run.head_loss_track, run.filtered_hours
        if run.head_loss.state != "flagged" and len(track) > 1:
            good = np.isfinite(track.values) & (track.flags == 0) & np.concatenate([[False], np.diff(clock) > 0])
            if good.any():
                heads.append(float(track.values[np.flatnonzero(good)[-1]]))
        if run.filtering is not None and not run.gaps:
            times.append(float(run.filtering))
    count = len(compiled.filters)
    return (tuple(heads) if len(heads) == count > 0 else None), (tuple(times) if len(times) == count > 0 else None)


def _tank_share(situation: Situation, stage: Contact | Storage) -> float | None:
    tank = situation.tanks.get(stage.id)
    level = tank.level.usable if tank is not None else None
    if level is None or not stage.full_level:
        return None
    return min(max(float(level) / stage.full_level, 0.0), 1.0)


def _feed_share(situation: Situation, id: str) -> float:
    feed = next(f for f in situation.plant.feeds if f.id == id)
    force = situation.feeds.get(id)
    level = force.tank_level.usable if force is not None else None
    return 0.8 if level is None else min(max(float(level) / feed.day_tank.full, 0.0), 1.0)


def _recorded(situation: Situation, past: Past, habit: Habit, compiled: Compiled) -> Recorded | None:
    """Return the last hours by quarter-hours, or None where flow or raw turbidity was not recorded for most of them."""
    flow, raw = past.recent.get(past.flow_channel), past.stream.get("raw_turbidity")
    if flow is None or raw is None:
        return None
    now = int(situation.at.timestamp())
    edges = now - LEAD_S + STEP * np.arange(LEAD_S // STEP + 1)
    taken, came = _held(flow, edges), _held(raw, edges)
    known = np.isfinite(taken) & np.isfinite(came)
    first = int(np.argmax(known)) if known.any() else len(known)
    if known[first:].mean() < 0.8 or len(known) - first < 4:
        return None
    least = 0.02 * float(compiled.train.design_flow[0])
    taken = np.where(taken > least, taken, 0.0)
    settled, combined = (
        _measured(past.recent.get(c), edges, taken) for c in ("settled_turbidity", "combined_turbidity")
    )
    begin = int(edges[first])
    washes = tuple(
        (event.started_at.timestamp() - begin, compiled.filters.index(event.subject))
        for event in situation.events
        if event.kind == "backwash" and event.subject in compiled.filters and event.started_at.timestamp() >= begin
    )
    return Recorded(
        turbidity=np.maximum(_filled(came[first:]), 0.02), flow=_filled(taken[first:]), settled=settled[first:],
        combined=combined[first:], washes=washes, heads=_heads_at(situation, habit, compiled, begin),
    )  # fmt: skip


def _heads_at(situation: Situation, habit: Habit, compiled: Compiled, begin: int) -> tuple[float, ...] | None:
    """Return what each filter's head loss was as the record began: read then, or, washed since, that of its washes."""
    found = []
    for id in compiled.filters:
        run = situation.runs[id]
        track, clock = run.head_loss_track, run.filtered_hours
        if run.head_loss.state == "flagged" or len(track) < 2:
            return None
        good = np.isfinite(track.values) & (track.flags == 0) & np.concatenate([[False], np.diff(clock) > 0])
        early = np.flatnonzero(good & (track.times >= begin) & (track.times < begin + LEAD_S // 4))
        wash = next((w.head_loss for w in habit.washes if w.filter == id), None)
        if len(early):
            found.append(float(track.values[early[0]]))
        elif wash is not None and run.started_at is not None and run.started_at.timestamp() > begin:
            found.append(float(wash))
        else:
            return None
    return tuple(found) if found else None


def _held(track: Track, edges: NDArray[np.int64]) -> Floats:
    """Return the value in force at the middle of each stretch; NaN where the last one is more than 2 h old."""
    good = track.good
    middles = edges[:-1] + STEP // 2
    if not len(good):
        return np.full(len(middles), np.nan)
    which = np.searchsorted(good.times, middles, side="right") - 1
    age = middles - good.times[np.maximum(which, 0)]
    return np.where((which >= 0) & (age <= 7200), good.values[np.maximum(which, 0)], np.nan)


def _measured(track: Track | None, edges: NDArray[np.int64], flow: Floats) -> Floats:
    if track is None:
        return np.full(len(edges) - 1, np.nan)
    return np.where(flow > 0, _held(track, edges), np.nan)


def _filled(values: Floats) -> Floats:
    known = np.flatnonzero(np.isfinite(values))
    return np.asarray(np.interp(np.arange(len(values)), known, values[known]))

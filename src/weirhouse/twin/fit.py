"""Which plants behave as this one did? Drawn plants, moved towards what the last days showed, in the state they leave.

Each plant is run through the recorded hours: the water that came, the flow that was taken, the washes that were made.
Its settled and filtered turbidity are held against those measured. What lies in its filters follows from the head loss
that was read.
"""

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from weirhouse.twin.compile import Compiled
from weirhouse.twin.moment import STEP, Moment
from weirhouse.twin.parameters import PRIORS, Parameters, Prior, sample
from weirhouse.twin.policy import NEVER, Policy, forcing
from weirhouse.twin.run import Run, run
from weirhouse.twin.smoother import moved
from weirhouse.twin.start import init
from weirhouse.twin.state import Start, State

Floats = NDArray[np.float64]
ENLARGED = (4.0, 4.0, 4.0, 4.0)  # of the errors' variance, each time the data are taken in; the inverses sum to one
MIDDLE_ERROR, PEAK_ERROR = 0.15, 0.25  # of the models against the records, in ln units (assumed)
BLOCKS = 3  # parts of the record whose middles are compared
PEAK = 1.0  # share of the recorded quarter-hours at or below the peak that is compared: the highest of all
FEWEST = 4  # quarter-hours of running below which a part of the record says nothing
LOOSE = 2.5  # errors by which the fitted plants may lie off before it is said
FITTED = 200  # plants that are fitted; where more go into the hours ahead, each goes in several times
LOWEST = {"dose_turbidity": 0.02}
HIGHEST = {"dose_turbidity": 1.5}
_EDGE = 1e-6


class Fitted(NamedTuple):
    """The plants that go into the hours ahead."""

    parameters: Parameters
    state: State
    said: str  # what they were fitted to, in a sentence
    doubt: str  # where they do not give what was measured, in a sentence; else empty
    measured: bool  # whether anything was measured that they could be fitted to


class Data(NamedTuple):
    """What was measured, and how a run gives the same."""

    names: tuple[str, ...]
    values: Floats  # (data,) in ln units
    errors: Floats
    parts: tuple[tuple[str, NDArray[np.int64], float], ...]  # output, quarter-hours, share (0.5 is the middle)


def fitted(
    compiled: Compiled, begins: Moment, *, members: int, seed: int, progress: Callable[[float], None] | None = None
) -> Fitted:
    """Return `members` plants that behave as this one did, with their states at the moment.

    Where nothing was recorded that could tell them apart, they are as they were drawn.
    """
    tell = progress or (lambda _share: None)
    if begins.recorded is None:
        drawn = sample(compiled, members, seed)
        said = "Nothing measured in the last days could tell which of the usual plants this one is like."
        return Fitted(drawn, init(compiled, drawn, begins.start, begins.policy), said, "", False)
    drawn = sample(compiled, min(members, FITTED), seed)
    data = _data(compiled, begins)
    rounds = len(ENLARGED) + 1 if len(data.values) else 1
    rng = np.random.default_rng([seed, 1])
    for k in range(rounds):
        trial = _trial(compiled, drawn, begins, seed, lambda s, k=k: tell((k + s) / rounds))  # type: ignore[misc]
        if k == rounds - 1:
            break
        shifted = moved(_opened(drawn), _reckoned(trial, data), data.values, data.errors, ENLARGED[k], rng)
        drawn = _closed(drawn, shifted)
    if not len(data.values):
        said = "Neither settled nor filtered turbidity was measured while it ran: the plants are as usual ones are."
        return _often(drawn, _now(trial, drawn, compiled, begins), members, said, "", False)
    hours = len(begins.recorded.flow) * STEP / 3600
    measured = " and ".join(dict.fromkeys(name.partition(",")[0] for name in data.names))
    said = f"The simulated plants were fitted to {measured} of the last {hours:.0f} h."
    return _often(drawn, _now(trial, drawn, compiled, begins), members, said, _doubt(trial, data), True)


def _often(drawn: Parameters, state: State, members: int, said: str, doubt: str, measured: bool) -> Fitted:
    """Return as many members as are wanted, each fitted plant as often as any other, give or take one."""
    which = np.arange(members) % drawn.members
    parameters = Parameters._make(np.ascontiguousarray(field[which]) for field in drawn)
    return Fitted(parameters, State._make(np.ascontiguousarray(field[which]) for field in state), said, doubt, measured)


def _data(compiled: Compiled, begins: Moment) -> Data:
    """Return what can be compared: middles of parts of the record, and the peak of filtered water."""
    recorded = begins.recorded
    assert recorded is not None
    count = len(recorded.flow)
    names: list[str] = []
    values: list[float] = []
    errors: list[float] = []
    parts: list[tuple[str, NDArray[np.int64], float]] = []

    def add(name: str, value: float, error: float, output: str, places: NDArray[np.int64], share: float) -> None:
        names.append(name)
        values.append(value)
        errors.append(error)
        parts.append((output, places, share))

    first = count // 6  # the first hours still hold the water that was guessed
    for output, series, words in (
        ("settled", recorded.settled, "settled turbidity"), ("combined", recorded.combined, "filtered turbidity"),
    ):  # fmt: skip
        there = np.flatnonzero(np.isfinite(series) & (series > 0) & (np.arange(count) >= first))
        for part in np.array_split(there, BLOCKS):
            if len(part) >= FEWEST:
                add(words, float(np.median(np.log(series[part]))), MIDDLE_ERROR, output, part, 0.5)
        if output == "combined" and len(there) >= 4 * FEWEST:
            peak = float(np.quantile(np.log(series[there]), PEAK))
            add(f"{words}, peaks", peak, PEAK_ERROR, output, there, PEAK)
    return Data(tuple(names), np.array(values), np.array(errors), tuple(parts))


def _reckoned(trial: Run, data: Data) -> Floats:
    """Return what each member of a trial gives for the data, (data, members)."""
    found = []
    for output, places, share in data.parts:
        path = np.log(np.maximum(np.asarray(trial.path(output), dtype=float)[:, places], 1e-4))
        found.append(np.quantile(path, share, axis=1))
    return np.array(found)


def _doubt(trial: Run, data: Data) -> str:
    """Return a sentence where the fitted plants do not give what was measured."""
    off = (np.median(_reckoned(trial, data), axis=1) - data.values) / data.errors
    worst = int(np.argmax(np.abs(off)))
    if abs(off[worst]) <= LOOSE:
        return ""
    factor = math.exp(abs(off[worst]) * data.errors[worst])
    side = "high" if off[worst] > 0 else "low"
    return (
        f"The simulation gives {data.names[worst].replace('_', ' ')} {factor:.1f} times too {side} for the last days: "
        "trust the difference between the ways more than the figures."
    )


def _trial(
    compiled: Compiled, drawn: Parameters, begins: Moment, seed: int, progress: Callable[[float], None] | None
) -> Run:
    """Run plants through the recorded hours: their water, their flow, their washes."""
    recorded, now = begins.recorded, begins.start
    assert recorded is not None
    policy = _as_it_was(begins)
    start = Start(
        turbidity=float(recorded.turbidity[0]), temperature=now.temperature, alkalinity=now.alkalinity, ph=now.ph,
        uv254=now.uv254, flow=float(recorded.flow[0]), chlorine=now.chlorine,
        feed_levels=(1.0,) * len(compiled.feeds), run_time=_run_times(compiled, begins), head_loss=recorded.heads,
        rate=now.rate,
    )  # fmt: skip
    water = forcing(
        recorded.turbidity, interval=STEP, temperature=now.temperature, alkalinity=now.alkalinity, ph=now.ph,
        uv254=now.uv254, demand=recorded.flow,  # what is made is drawn: no full tank may stop what was taken
    )  # fmt: skip
    state = init(compiled, drawn, start, policy)
    return run(compiled, drawn, state, water, policy, seed=seed, every=STEP, progress=progress)


def _as_it_was(begins: Moment) -> Policy:
    recorded = begins.recorded
    assert recorded is not None
    count = len(recorded.flow)
    return begins.policy._replace(
        block_start=STEP * np.arange(count, dtype=float), block_flow=np.ascontiguousarray(recorded.flow),
        block_dose=np.ones(count), shut_above=NEVER, reopen_below=NEVER, throttle_above=NEVER, max_rate=NEVER,
        start_below=NEVER, stop_above=NEVER, wash_head=NEVER, wash_turbidity=NEVER, wash_time=NEVER,
        wash_from=0.0, wash_until=86400.0,
        wash_at=np.array([t for t, _ in recorded.washes], dtype=float),
        wash_filter=np.array([f for _, f in recorded.washes], dtype=np.int64),
    )  # fmt: skip


def _run_times(compiled: Compiled, begins: Moment) -> tuple[float, ...] | None:
    """Return how long each filter had filtered when the record begins: less than now, unless it was washed since."""
    recorded, now = begins.recorded, begins.start.run_time
    assert recorded is not None
    if now is None:
        return None
    ran = STEP * float((recorded.flow > 0).sum())
    washed = {f for _, f in recorded.washes}
    usual = 0.5 * (compiled.max_run if math.isfinite(compiled.max_run) else 86400.0)
    return tuple(usual if f in washed else max(t - ran, 60.0) for f, t in enumerate(now))


def _now(trial: Run, drawn: Parameters, compiled: Compiled, begins: Moment) -> State:
    """Return the state in which the last hours leave the plants; levels and head losses are those read now."""
    end = trial.end
    read = init(compiled, drawn, begins.start, begins.policy)
    taken = ["ledger", "time", "tanks", "feed_tank", "tank_chlorine", "contact_chlorine", "out_chlorine", "washed_at"]
    if begins.start.head_loss is not None:
        taken += ["deposit", "head", "filtered", "combined", "box"]
    if begins.start.run_time is not None:
        taken.append("run_time")
    return end._replace(**{name: getattr(read, name) for name in taken})


_MOVABLE = [name for name, prior in PRIORS.items() if prior.shape != "shares"]


def _ends(name: str) -> tuple[float, float]:
    return LOWEST.get(name, PRIORS[name].low), HIGHEST.get(name, PRIORS[name].high)


def _opened(drawn: Parameters) -> Floats:
    """Return the parameters that may move, each on a line without ends, (parameters, members)."""
    return np.array([_open(PRIORS[name], getattr(drawn, name)) for name in _MOVABLE])


def _closed(drawn: Parameters, moved_to: Floats) -> Parameters:
    changed = {
        name: np.ascontiguousarray(np.clip(_close(PRIORS[name], line), *_ends(name)))
        for name, line in zip(_MOVABLE, moved_to, strict=True)
    }
    return drawn._replace(**changed)


def _open(prior: Prior, values: Floats) -> Floats:
    if prior.shape == "lognormal":
        return np.log(np.maximum(values, 1e-300))
    if prior.shape == "normal":
        return values
    low, high = (prior.centre, prior.spread) if prior.shape == "uniform" else (0.0, 1.0)
    share = np.clip((values - low) / (high - low), _EDGE, 1 - _EDGE)
    return np.asarray(np.log(share / (1 - share)))


def _close(prior: Prior, line: Floats) -> Floats:
    if prior.shape == "lognormal":
        return np.exp(line)
    if prior.shape == "normal":
        return line
    low, high = (prior.centre, prior.spread) if prior.shape == "uniform" else (0.0, 1.0)
    return np.asarray(low + (high - low) / (1 + np.exp(-line)))

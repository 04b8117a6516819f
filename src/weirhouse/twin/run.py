"""What will the plant make of the water that comes? One run of all members through the hours ahead.

A run keeps a digest of everything that went in, with seed and version, so that anyone can repeat it to the last bit.
"""

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from importlib.metadata import version
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from weirhouse.twin import layout as at
from weirhouse.twin import places, reference
from weirhouse.twin.compile import Compiled, digest
from weirhouse.twin.parameters import Parameters
from weirhouse.twin.policy import Forcing, Policy
from weirhouse.twin.state import State

Floats = NDArray[np.float64]
Outputs = NDArray[np.float32]
FIXED = (
    "raw", "basin_out", "settled", "combined", "combined_highest", "flow", "quality", "ph", "contact_chlorine",
    "out_chlorine",
)  # fmt: skip
BLOCK = 32  # members to one task: small enough to share out evenly and to show progress


@dataclass(frozen=True, kw_only=True)
class Run:
    """What a run gave. Paths have shape (members, outputs) and stand at `times`, the ends of their stretches."""

    times: Floats  # since the start [s]
    values: dict[str, Outputs]  # NTU, m^3/s, g/m^3 ...; see `FIXED`, then filters, tanks and feeds by their ids
    begin: State
    end: State
    seed: int
    dt: float  # [s]
    version: str
    inputs: str  # SHA-256 of plant, parameters, state, forcing, rules, step
    engine: str
    compiled: Compiled

    def path(self, name: str) -> Outputs:
        """Return one output, such as ``combined``, ``filter_1.head``, ``clearwell.volume``."""
        return self.values[name]

    def total(self, name: str) -> Floats:
        """Return a sum of the ledger over the run for every member, such as ``wash_m3``; see `layout.LEDGER`."""
        place = at.LEDGER.index(name)
        if name == "sewer_peak_m3_s":
            return np.asarray(self.end.ledger[:, place])
        return np.asarray(self.end.ledger[:, place] - self.begin.ledger[:, place])

    @cached_property
    def minutes_over_0_3(self) -> Floats:
        """Minutes of water kept with the combined turbidity above 0.3 NTU, for every member."""
        return self.total("minutes_over_0_3")

    @cached_property
    def minutes_over_1(self) -> Floats:
        """Minutes of water kept with it above 1 NTU, for every member."""
        return self.total("minutes_over_1")

    @property
    def below_reserve(self) -> NDArray[np.bool_]:
        """Whether the last tank was below its reserve at any time, for every member."""
        return self.total("minutes_below_reserve") > 0

    @property
    def product_used(self) -> dict[str, Floats]:
        """Solution that each feed drew from its day tank, refills counted, for every member [m^3]."""
        return {
            name: self.end.ledger[:, at.L_PRODUCT + i] - self.begin.ledger[:, at.L_PRODUCT + i]
            for i, name in enumerate(self.compiled.feeds)
        }


def run(
    compiled: Compiled, parameters: Parameters, begin: State, forcing: Forcing, policy: Policy, *, seed: int = 0,
    hours: float | None = None, dt: float = 60.0, every: float = 900.0, workers: int = 2,
    engine: Literal["kernel", "reference"] = "kernel", progress: Callable[[float], None] | None = None,
) -> Run:  # fmt: skip
    """Return the run of every member through the hours ahead.

    Parameters
    ----------
    compiled, parameters : the plant and its members.
    begin : state at the start; it stays as it is.
    forcing : the water that comes and what is drawn.
    policy : how the plant is run.
    seed : seed with which parameters and paths were drawn; it is kept with the run and draws nothing here.
    hours : length; that of the forcing where None. [h]
    dt : step; made for 60 s. [s]
    every : time between outputs, a multiple of the step. [s]
    workers : threads; any number gives the same run.
    engine : the compiled kernel, or the slow reference that it is held to.
    progress : is called with the share done, 0 to 1, from one of the threads.

    Raises
    ------
    ValueError
        If paths are for another number of members, or the output step is no multiple of the step.
    """
    members = parameters.members
    for name, path in zip(Forcing._fields[2:], forcing[2:], strict=True):
        if path.shape[0] not in (1, members):
            raise ValueError(f"{name} has {path.shape[0]} paths for {members} members. Give one path, or one for each.")
    if begin.flow.shape[0] != members:
        raise ValueError(f"the state is of {begin.flow.shape[0]} members, the parameters of {members}.")
    each = round(every / dt)
    if each < 1 or abs(each * dt - every) > 1e-6:
        raise ValueError(f"the outputs' step {every:g} s must be a multiple of the step {dt:g} s.")
    length = 3600 * hours if hours is not None else forcing.interval * forcing.intervals
    steps = int(length / dt + 1e-6)
    first = round(float(begin.time[0]) / dt)
    end = State._make(np.array(value, order="C") for value in begin)
    names = _names(compiled)
    out = np.zeros((members, steps // each, len(names)), dtype=np.float32)
    if engine == "kernel":
        end = _by_kernel(compiled, parameters, end, forcing, policy, first, steps, dt, each, out, workers, progress)
    else:
        end = _by_reference(compiled, parameters, end, forcing, policy, first, steps, dt, each, out, progress)
    return Run(
        times=np.asarray((np.arange(steps // each) + 1) * every + first * dt, dtype=np.float64),
        values={name: out[:, :, i] for i, name in enumerate(names)},
        begin=begin, end=end, seed=seed, dt=dt, version=version("weirhouse"),
        inputs=digest(
            compiled.train, parameters, begin, _Plain(forcing), _Plain(policy), _Steps(steps, dt, every, seed)
        ),
        engine=engine, compiled=compiled,
    )  # fmt: skip


class _Plain:
    """A named tuple whose numbers are taken as arrays, for the digest."""

    def __init__(self, group: Any) -> None:
        self._fields, self._values = group._fields, [np.asarray(value) for value in group]

    def __iter__(self) -> Any:
        return iter(self._values)


def _Steps(*values: float) -> _Plain:  # noqa: N802  # reads as one of the groups
    class Group(tuple):  # type: ignore[type-arg]
        _fields = ("steps", "dt", "every", "seed")

    return _Plain(Group(values))


def _names(compiled: Compiled) -> list[str]:
    return [
        *FIXED,
        *(f"{f}.{what}" for what in ("turbidity", "head", "mode") for f in compiled.filters),
        *(f"{t}.volume" for t in compiled.tanks),
        *(f"{n}.dose" for n in compiled.feeds),
    ]


def _by_kernel(
    compiled: Compiled, p: Parameters, s: State, forcing: Forcing, policy: Policy, first: int, steps: int, dt: float,
    each: int, out: Outputs, workers: int, progress: Callable[[float], None] | None,
) -> State:  # fmt: skip
    from weirhouse.twin import kernel

    members, done, lock = p.members, 0, threading.Lock()
    states, numbers = places.rows(s), places.parameter_rows(p)
    plant = np.concatenate([places.flat(compiled.train)[0], places.flat(policy)[0]])
    begins = places.offsets(compiled.train, policy, s)
    paths = [np.array(path, order="C") for path in forcing[2:]]

    def task(low: int) -> None:
        nonlocal done
        high = min(low + BLOCK, members)
        kernel.advance(
            low, high, first, steps, dt, each, forcing.interval, forcing.start_of_day, *paths, plant, numbers, states,
            begins, np.zeros(begins[places.N_ALL]), out,
        )  # fmt: skip
        if progress is not None:
            with lock:
                done += high - low
                progress(done / members)

    with ThreadPoolExecutor(max(1, workers)) as pool:
        list(pool.map(task, range(0, members, BLOCK)))
    return places.state_of(states, s)


def water_at(forcing: Forcing, t: float, members: int) -> reference.Water:
    """Return the water of the interval in which `t` [s] lies, for every member."""
    i = int((t + 1e-6) / forcing.interval)
    return reference.Water(*(np.broadcast_to(path[:, min(i, path.shape[1] - 1)], (members,)) for path in forcing[2:]))


def _by_reference(
    compiled: Compiled, p: Parameters, s: State, forcing: Forcing, policy: Policy, first: int, steps: int, dt: float,
    each: int, out: Outputs, progress: Callable[[float], None] | None,
) -> State:  # fmt: skip
    highest = np.zeros(p.members)
    for k in range(first, first + steps):
        water = water_at(forcing, k * dt, p.members)
        s.time[:] = k * dt
        actions = reference.decide(compiled, s, water, forcing.start_of_day, dt, policy)
        s = reference.step(compiled, p, s, water, actions, dt)
        highest = np.where(s.flow > 0, np.maximum(highest, s.combined), highest)
        if (k + 1 - first) % each == 0:
            fixed = (
                water.turbidity, s.basin_out, s.settled, s.combined, highest, s.flow, s.quality, s.chemistry[:, 4],
                s.contact_chlorine, s.out_chlorine,
            )  # fmt: skip
            row = [np.stack(fixed, axis=1), s.filtered, s.head, s.mode, s.tanks, s.dose]
            out[:, (k + 1 - first) // each - 1] = np.concatenate(row, axis=1)
            highest = np.zeros(p.members)
            if progress is not None:
                progress((k + 1 - first) / steps)
    return s

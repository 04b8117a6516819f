"""What may the stream bring over the next days? Whole paths of raw turbidity and of what goes with it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from weirhouse.quantity import convert
from weirhouse.twin.forecast import analogues, blend, companions, helpers, onset
from weirhouse.twin.forecast.conditional import PROBABILITIES, moving
from weirhouse.twin.forecast.expectation import BRINGS, LARGER, Expectation
from weirhouse.twin.forecast.features import LEADS, states
from weirhouse.twin.forecast.learned import LEAST_STORMS, OPINIONS, Learned, learn, opinions
from weirhouse.twin.forecast.newest import believe
from weirhouse.twin.forecast.physics import Now
from weirhouse.twin.forecast.physics import paths as physical_paths
from weirhouse.twin.forecast.series import STEP, Floats, Grid, Scale, lay_out, scale_of
from weirhouse.twin.forecast.storms import storms

if TYPE_CHECKING:
    from weirhouse.situation.model import Track

VERSION = "1"  # of the method: with the same inputs, seed and version come the same paths
TEMPERATURE, UV254, ALKALINITY, COLOUR = "raw_temperature", "raw_uv254", "raw_alkalinity", "raw_colour"
STORMS_THAT_TEACH = 3  # own storms from which on rain and gauges are learned from
HEAVY_TAIL = 0.02  # share of members in which something outside of all records happens (a slide, a road gone)
LARGEST_TAIL = 4.0  # ln units above the usual storm that the heavy tail may add
LARGEST = 5000.0  # [NTU] no path rises above this, or five times the record
LEAST = 0.02  # [NTU] no path falls below this, but with an instrument that reads below nothing
RAIN_TELLS = ((40.0, "extreme"), (15.0, "heavy"), (8.0, "moderate"))  # mm in 6 h, and what they count as


class ForecastError(ValueError):
    """No forecast can be made: one sentence that says what is missing."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Forecast:
    """A forecast as whole paths, with what it stood on.

    `raw` is in NTU as the plant's instrument would read it; an instrument that reads clear water below 0 does so here.
    """

    at: datetime
    times: NDArray[np.int64]  # [UTC epoch s], (steps,); the first is `at`
    raw: Floats  # [NTU] (members, steps)
    temperature: Floats | None  # [degC] (members, steps)
    uv254: Floats | None  # [1/m]
    alkalinity: Floats | None  # as CaCO3 [g/m^3]
    colour: Floats | None  # in the channel's unit
    leads: tuple[float, ...]  # [h] at which `weights` are given
    weights: Mapping[str, tuple[float, ...]]  # opinion -> share at each lead
    basis: tuple[str, ...]  # what it stood on and what it does not know, a sentence each
    doubt: str  # empty when the newest reading is believed
    storms: int  # of the own record
    days: float  # of the own record, with readings
    version: str
    seed: int
    inputs: str  # digest of all that went in

    def quantiles(self, probabilities: tuple[float, ...] = (0.05, 0.25, 0.5, 0.75, 0.95)) -> Floats:
        """Return quantiles of raw turbidity at every step [NTU], (probabilities, steps)."""
        return np.asarray(np.quantile(self.raw, probabilities, axis=0))


def forecast(
    raw: Track,
    *,
    at: datetime,
    hours: int = 72,
    members: int = 500,
    seed: int,
    others: Mapping[str, Track] | None = None,
    rain: Track | None = None,
    expectation: Expectation | None = None,
    zone: ZoneInfo | None = None,
    step_s: int = 900,
    learned: Learned | None = None,
) -> Forecast:
    """Return a forecast of raw turbidity from what was recorded until `at`.

    Parameters
    ----------
    raw : raw turbidity [NTU], as long a record as there is.
    at : when it is made, with a time zone.
    hours : how far [h], 1 to 72.
    members : paths, 20 or more.
    seed : same inputs, seed and version give the same paths.
    others : further tracks by channel: `raw_temperature` [degC], `raw_uv254` [1/m], `raw_alkalinity` [g/m^3],
        `raw_colour` give paths of their own; levels, flows and upstream gauges are learned from.
    rain : rain since the reading before [m].
    expectation : from `read_expectation`.
    zone : of the plant; used for words only.
    step_s : between points of a path [s].
    learned : what the record taught, when that is known already.

    Raises
    ------
    ForecastError
        If there is no raw turbidity to start from, or an argument is out of range.
    """
    if at.tzinfo is None:
        raise ForecastError("The time of the forecast has no time zone; give one.")
    if not 1 <= hours <= 72:
        raise ForecastError(f"A forecast runs over 1 to 72 h; {hours} h was asked for.")
    if members < 20:
        raise ForecastError(f"A forecast needs 20 paths or more; {members} were asked for.")
    now = int(at.timestamp())
    others = {name: _until(track, now) for name, track in (others or {}).items()}
    rain = None if rain is None else _until(rain, now)
    newest = believe(raw, now)
    if not len(newest.times):
        raise ForecastError("No raw turbidity is on record: enter one reading, then ask again.")
    times = now + step_s * np.arange(int(hours * 3600 // step_s) + 1, dtype=np.int64)
    scale = scale_of(newest.values)
    gauges = {k: v for k, v in others.items() if k not in (TEMPERATURE, UV254, ALKALINITY, COLOUR)}
    trusted = replace(raw, times=newest.times, values=newest.values, flags=np.zeros(len(newest.times), np.uint8))
    rng = np.random.default_rng([seed, 0x5EED])
    starts = [(trusted, members)]
    if newest.lone is not None:
        jumped = replace(
            raw, times=np.append(newest.times, newest.lone[0]), values=np.append(newest.values, newest.lone[1]),
            flags=np.zeros(len(newest.times) + 1, np.uint8),
        )  # fmt: skip
        starts = [(trusted, members - members // 2), (jumped, members // 2)]
    parts, weights = [], np.empty(0)
    grid, known = None, learned
    taken: list[str] = []
    for track, count in starts:
        grid = lay_out(track, int(track.times[-1]), scale)
        extra, taken = helpers.figures(grid, rain, gauges)
        if extra is not None and len(storms(grid)) < STORMS_THAT_TEACH:
            extra, taken = None, []
        if known is None:
            here = states(grid, np.asarray([len(grid.z) - 1]))
            known = learn(grid, regime="moving" if moving(here)[0] else "quiet", helpers=extra)
        z, weights = _paths(known, grid, extra, times, now, count, rng, expectation)
        parts.append(z)
    assert grid is not None and known is not None
    z = np.vstack(parts)[rng.permutation(members)] if len(parts) > 1 else parts[0]
    if newest.ceiling is not None:
        z = z + np.abs(rng.normal(0.0, 0.5, (members, 1))) * np.exp(-(times - now) / (6 * 3600.0))[None, :]
    fallen = _rain_now(grid, rain, now)
    if not taken or rain is None or rain.channel not in taken:
        z = _after_rain(z, fallen, known, grid, times, now, rng)
    if expectation is not None:
        z = _expected(z, expectation, known, grid, times, now, rng)
    z = _heavy_tail(z, known, grid, times, now, rng)
    history = (grid.times.astype(float), grid.z)
    steps = times.astype(float)
    companion = {}
    for name, prior in ((UV254, companions.UV254), (COLOUR, companions.UV254), (ALKALINITY, companions.ALKALINITY)):
        companion[name] = (
            companions.linked(others[name], prior, history, z, now, steps, rng) if name in others else None
        )
    warm = companions.temperature(others[TEMPERATURE], now, steps, members, rng) if TEMPERATURE in others else None
    return Forecast(
        at=at, times=times, raw=_readable(scale.back(z), newest.values, scale),
        temperature=warm, uv254=companion[UV254],
        alkalinity=companion[ALKALINITY], colour=companion[COLOUR], leads=LEADS,
        weights={name: tuple(float(w) for w in weights[k]) for k, name in enumerate(OPINIONS)},
        basis=_basis(known, taken, rain, fallen, gauges, expectation, scale), doubt=newest.doubt, storms=known.storms,
        days=known.days, version=VERSION, seed=seed,
        inputs=_digest(raw, others, rain, now, hours, members, seed, step_s, expectation),
    )  # fmt: skip


def _until(track: Track, now: int) -> Track:
    keep = track.times <= now
    return replace(track, times=track.times[keep], values=track.values[keep], flags=track.flags[keep])


def _paths(
    learned: Learned,
    grid: Grid,
    extra: Floats | None,
    times: NDArray[np.int64],
    now: int,
    members: int,
    rng: np.random.Generator,
    expectation: Expectation | None,
) -> tuple[Floats, Floats]:
    """Return paths of log turbidity, (members, steps), and the shares of the opinions at `LEADS`."""
    index = np.asarray([len(grid.z) - 1])
    start = float(grid.z[-1])
    state = states(grid, index)
    age = (now - grid.end) / 3600.0
    leads = (times - now) / 3600.0 + (0.0 if age * 3600 <= STEP else age)
    points, shares = analogues.nearest(learned.library, state, 0)
    storminess = 0.2 if expectation is not None and expectation.size == "dry" else 1.0
    physical = physical_paths(
        Now.of(state), grid, np.maximum(leads, 0.01), members, learned.fading, learned.arrivals, rng, storminess
    )
    said = opinions(learned, grid, index, rng, extra)[:, 0]
    weights = learned.weights.copy()
    if storminess < 1.0:  # the records know all weathers; fading alone knows the dry
        said[2] = _of_paths(learned, grid, state_now=Now.of(state), rng=rng, storminess=storminess) - start
        late = np.clip((np.asarray(LEADS) - 3.0) / 9.0, 0.0, 0.5)
        weights = weights * (1.0 - late)
        weights[2] += late
    quantiles = blend.widened(np.sort(blend.average(said, weights), axis=1))
    templates = physical - start
    if len(points) >= 10:
        half = members // 2
        followed = analogues.paths(learned.library, points, shares, np.minimum(leads, 72.0), half, rng)
        templates[:half] = followed
    templates = templates + 1e-6 * rng.standard_normal(templates.shape)
    return start + blend.onto(templates, quantiles, leads), weights


def _of_paths(learned: Learned, grid: Grid, state_now: Now, rng: np.random.Generator, storminess: float) -> Floats:
    z = physical_paths(state_now, grid, np.asarray(LEADS), 400, learned.fading, learned.arrivals, rng, storminess)
    return np.asarray(np.quantile(z, PROBABILITIES, axis=0).T)


def _storm(
    rng: np.random.Generator, learned: Learned, grid: Grid, hours: Floats, begins: Floats, larger: Floats
) -> Floats:
    """Return turbidity of one new storm to each member, (members, steps), `larger` in deviations of this stream's."""
    m = len(begins)
    size = learned.arrivals.size
    base = float(states(grid, np.asarray([len(grid.z) - 1])).base[0])
    height = np.exp(base + np.maximum(size[0] + size[1] * larger, 0.3))
    fast = np.exp(learned.fading.fast[0] + learned.fading.fast[1] * rng.standard_normal(m))
    slow = np.maximum(np.exp(learned.fading.slow[0] + learned.fading.slow[1] * rng.standard_normal(m)), fast)
    return onset.event(rng, hours, begins, height, learned.arrivals, fast, slow)


def _rain_now(grid: Grid, rain: Track | None, now: int) -> float:
    """Return rain of the last 6 h [mm]."""
    if rain is None:
        return 0.0
    good = rain.good
    late = (good.times > now - 6 * 3600) & (good.times <= now)
    return float(1000.0 * good.values[late].clip(0.0).sum())


def _after_rain(
    z: Floats, fallen: float, learned: Learned, grid: Grid, times: NDArray[np.int64], now: int, rng: np.random.Generator
) -> Floats:
    """Add a storm to quiet water after rain that the record is too short to have taught the meaning of."""
    kind = next((name for least, name in RAIN_TELLS if fallen >= least), None)
    if kind is None or moving(states(grid, np.asarray([len(grid.z) - 1])))[0]:
        return z
    hit = rng.random(len(z)) < BRINGS[kind]  # type: ignore[index]
    begins = rng.uniform(0.0, 4.0, int(hit.sum()))
    larger = LARGER[kind] + rng.standard_normal(len(begins))  # type: ignore[index]
    return _added(z, hit, _storm(rng, learned, grid, (times - now) / 3600.0, begins, larger))


def _expected(
    z: Floats, expected: Expectation, learned: Learned, grid: Grid, times: NDArray[np.int64], now: int,
    rng: np.random.Generator,
) -> Floats:  # fmt: skip
    """Add the storm that an expectation brings; dry weather has been seen to already."""
    if expected.size == "dry":
        return z
    hit = rng.random(len(z)) < expected.chance * BRINGS[expected.size]
    first, last = ((edge.timestamp() - now) / 3600.0 for edge in expected.begins)
    lag = np.exp(np.log(1.5) + 0.6 * rng.standard_normal(int(hit.sum())))  # from rain to brown water [h], an assumption
    begins = rng.uniform(max(first, 0.0), max(last, 0.1), int(hit.sum())) + lag
    larger = LARGER[expected.size] + rng.standard_normal(len(begins))
    return _added(z, hit, _storm(rng, learned, grid, (times - now) / 3600.0, begins, larger))


def _heavy_tail(
    z: Floats, learned: Learned, grid: Grid, times: NDArray[np.int64], now: int, rng: np.random.Generator
) -> Floats:
    """Let a few members bring what no record holds."""
    hit = rng.random(len(z)) < HEAVY_TAIL
    begins = rng.uniform(0.0, 72.0, int(hit.sum()))
    size = learned.arrivals.size[1]
    larger = np.minimum(1.5 + rng.exponential(0.8, len(begins)) / max(size, 0.1), LARGEST_TAIL / max(size, 0.1))
    return _added(z, hit, _storm(rng, learned, grid, (times - now) / 3600.0, begins, larger))


def _added(z: Floats, hit: NDArray[np.bool_], storm: Floats) -> Floats:
    out = z.copy()
    out[hit] = np.log(np.exp(z[hit]) + storm)
    return out


def _readable(raw: Floats, seen: Floats, scale: Scale) -> Floats:
    """Return paths within what such an instrument can show: no less than half its clearest water, no endless mud."""
    most = max(LARGEST, 5.0 * float(seen.max()))
    if scale.offset < 0:
        return np.minimum(raw, most)
    positive = seen[seen > 0]
    least = max(0.5 * float(np.quantile(positive, 0.01)), LEAST) if len(positive) else LEAST
    return np.clip(raw, least, most)


def _rain_text(fallen: float) -> str:
    """Return a depth of rain [mm] in both unit sets: the forecast does not know which the plant uses."""
    return f"{fallen:.0f} mm ({float(convert(fallen, 'mm', 'in')):.2f} in)"


def _basis(
    learned: Learned, taken: list[str], rain: Track | None, fallen: float, gauges: Mapping[str, Track],
    expectation: Expectation | None, scale: Scale,
) -> tuple[str, ...]:  # fmt: skip
    days, count = learned.days, learned.storms
    record = f"{days:.0f} days" if days >= 2 else f"{days * 24:.0f} h"
    said = [f"It stands on {record} of this stream's own readings with {_count(count)} in them, and on other streams."]
    if count < LEAST_STORMS:
        said.append(
            "With fewer than five own storms, how fast this stream rises and fades is mostly other streams' ways."
        )
    if rain is not None and rain.channel in taken:
        said.append(f"Rain at the plant is used as the record taught; {_rain_text(fallen)} fell in the last 6 h.")
    elif rain is not None:
        said.append(
            f"Rain of the last 6 h ({_rain_text(fallen)}) is used by a rule of thumb: the record is too short to teach."
        )
    else:
        said.append(
            "It knows no rain: a storm that has not reached the stream yet is seen only as the season's chance."
        )
    used = [name for name in taken if name in gauges]
    if used:
        said.append(f"Also read: {', '.join(name.replace('_', ' ') for name in used)}.")
    if expectation is not None:
        said.append(expectation.said_back)
    else:
        said.append("No weather was expected by anyone: type what you expect to narrow or widen it.")
    if scale.offset < 0:
        said.append(f"The instrument reads clear water as {scale.offset:.2g} NTU; paths keep that offset.")
    said.append("Two of a hundred paths hold a storm larger than any on record, such as after a slide.")
    return tuple(said)


def _count(n: int) -> str:
    return "no storm" if n == 0 else "one storm" if n == 1 else f"{n} storms"


def _digest(
    raw: Track, others: Mapping[str, Track], rain: Track | None, now: int, hours: int, members: int, seed: int,
    step_s: int, expectation: Expectation | None,
) -> str:  # fmt: skip
    digest = hashlib.sha256(f"{VERSION} {now} {hours} {members} {seed} {step_s} {expectation!r}".encode())
    tracks = [("raw", raw), *sorted(others.items()), *([("rain", rain)] if rain is not None else [])]
    for name, track in tracks:
        keep = track.times <= now
        digest.update(name.encode())
        digest.update(np.ascontiguousarray(track.times[keep], np.int64).tobytes())
        digest.update(np.ascontiguousarray(track.values[keep], np.float64).tobytes())
        digest.update(np.ascontiguousarray(track.flags[keep], np.uint8).tobytes())
    return digest.hexdigest()


__all__ = ["Forecast", "ForecastError", "forecast"]

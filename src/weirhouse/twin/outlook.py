"""What will happen if the plant is run as it always is, and what if the intake is closed now?

The same paths of the stream, the same plants and the same demand go into each future, so that what differs between
them is what is done.
"""

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from importlib.metadata import version

import numpy as np
from numpy.typing import NDArray

from weirhouse.situation.gather import empty_track
from weirhouse.situation.habit import Habit
from weirhouse.situation.habit import habit as habits
from weirhouse.situation.model import Situation
from weirhouse.situation.past import Past
from weirhouse.twin import layout as at
from weirhouse.twin.compile import Compiled, compile_plant
from weirhouse.twin.fit import fitted
from weirhouse.twin.forecast import Forecast, forecast
from weirhouse.twin.forecast.expectation import Expectation
from weirhouse.twin.moment import Moment, moment
from weirhouse.twin.policy import Forcing, Policy, forcing, shut_for
from weirhouse.twin.run import Run, run

Floats = NDArray[np.float64]
STEP = 900  # [s]
PROBABILITIES = (0.05, 0.25, 0.5, 0.75, 0.95)
MEMBERS = 500
LEAST_TURBIDITY = 0.02  # what an instrument with an offset reads below this is taken as this [NTU]
DAY_SPREAD, HOUR_SPREAD, HOUR_LAG = 0.10, 0.25, 3.0  # of demand in ln units, and hours its wandering lasts (memory)
LIMIT, MOST = 0.3, 1.0  # [NTU] of filtered water, 40 CFR 141.551
Progress = Callable[[float, str], None]


@dataclass(frozen=True, kw_only=True, eq=False)
class Fan:
    """Quantiles over time: rows for 5, 25, 50, 75 and 95 percent; a column for each of the outlook's times."""

    unit: str  # inside
    rows: Floats

    @property
    def middle(self) -> Floats:
        """The line that half of the members stay below."""
        return np.asarray(self.rows[2])


@dataclass(frozen=True, kw_only=True, eq=False)
class Risk:
    """Shares of the members in which something happens. None where the plant has nothing it could happen to."""

    over_0_3: float | None  # a recorded quarter-hour value of filtered water above 0.3 NTU
    over_1: float | None  # above 1 NTU
    minutes_over_0_3: float | None  # on average [min]
    below_reserve: float | None  # the village's tank below its reserve


@dataclass(frozen=True, kw_only=True, eq=False)
class Future:
    """What a way of running the plant leads to. Amounts are (5, 50 and 95 percent) over the members."""

    risk: Risk
    hours_run: tuple[float, float, float]  # [s]
    washes: tuple[float, float, float]
    wash_water: tuple[float, float, float]  # [m^3]
    to_waste: tuple[float, float, float]  # [m^3]
    delivered: tuple[float, float, float]  # to the village [m^3]
    intake: tuple[float, float, float]  # [m^3]
    sewer_peak: tuple[float, float, float]  # [m^3/s]
    product: Mapping[str, tuple[float, float, float]]  # solution drawn, by feed [m^3]
    fans: Mapping[str, Fan]  # settled, combined, <filter>.head, <tank>.level, out_chlorine, flow
    inputs: str  # digest of all that went into the run


@dataclass(frozen=True, kw_only=True, eq=False)
class Outlook:
    """The hours ahead."""

    times: NDArray[np.int64]  # [UTC epoch s] of all fans
    forecast: Forecast
    stream: Mapping[str, Fan]  # raw, and temperature, uv254, alkalinity where they are measured
    peak: tuple[float, float, float]  # highest raw turbidity on the way, 5, 50 and 95 percent [NTU]
    habit: Future
    shut: Future
    ways: Habit  # how the plant is run, as the records show it
    policy: Policy  # the same as rules
    closing: tuple[float, ...]  # for 1, 2, ... hours of closed intake: share of members with the tank below reserve
    reserve: float | None  # level of the village's tank below which it is never planned [m]
    tank: str  # id of that tank, empty without one
    members: int
    seed: int
    seen_over: tuple[int, int] | None  # days on record with filtered water above 0.3 NTU, of how many; None without
    chosen: str  # by what the members were chosen, in a sentence
    measured: bool  # whether this plant's own water had a say in that
    unknown: tuple[str, ...]  # what is not known, a sentence each
    version: str
    inputs: str

    def place(self, hours: float) -> int:
        """Return the column of the fans that stands `hours` after the moment, at most the last."""
        return int(min(max(round(hours * 3600 / STEP) - 1, 0), len(self.times) - 1))

    @property
    def rises(self) -> bool:
        """Whether the stream may well get twice as brown as it is now."""
        return self.peak[2] > 2 * max(float(np.median(self.forecast.raw[:, 0])), LEAST_TURBIDITY)

    def holds(self, risk: float) -> int | None:
        """Return how many whole hours the intake may stay closed with at most that risk; None without a reserve."""
        if self.reserve is None:
            return None
        return sum(1 for share in self.closing if share <= risk)


def outlook(
    situation: Situation,
    past: Past,
    *,
    hours: int = 72,
    members: int = MEMBERS,
    seed: int = 1,
    expectation: Expectation | None = None,
    progress: Progress | None = None,
) -> Outlook:
    """Return the hours ahead of the situation's instant.

    Parameters
    ----------
    situation, past : how the plant stands, and its records before that, of the same instant.
    hours : how far, 1 to 72. [h]
    members : how many futures of each way, 20 or more.
    seed : the same seed gives the same futures.
    expectation : what weather a person expects.
    progress : is called with the share done, 0 to 1, and what is being done.

    Raises
    ------
    ForecastError
        If no raw turbidity is on record, or hours or members are out of range.
    """
    tell = progress or (lambda _share, _what: None)
    plant = situation.plant
    tell(0.0, "reading the stream")
    others = {name: track for name, track in past.stream.items() if name not in ("raw_turbidity", "rain")}
    raw = past.stream.get("raw_turbidity")
    foreseen = forecast(
        raw if raw is not None else empty_track("raw_turbidity"), at=situation.at, hours=hours, members=members,
        seed=seed, others=others, rain=past.stream.get("rain"), expectation=expectation, zone=situation.zone,
        step_s=STEP,
    )  # fmt: skip
    compiled = compile_plant(plant)
    ways = habits(past)
    begins = moment(situation, past, ways, compiled)
    tell(0.15, "going through the last hours")
    kept = fitted(compiled, begins, members=members, seed=seed, progress=lambda s: tell(0.15 + 0.35 * s, _LAST))
    water = _water(foreseen, begins, situation, compiled, members, seed)
    futures, runs = [], []
    for k, (policy, what) in enumerate(
        ((begins.policy, "running the plant as usual"), (shut_for(begins.policy, hours), "closing the intake"))
    ):

        def share(done: float, k: int = k, what: str = what) -> None:
            tell(0.5 + 0.25 * (k + done), what)

        made = run(compiled, kept.parameters, kept.state, water, policy, seed=seed, hours=hours, progress=share)
        runs.append(made)
        futures.append(_future(made, compiled))
    tank = compiled.tanks[-1] if compiled.tanks else ""
    reserve = float(compiled.train.tank_reserve[-1] / compiled.train.tank_area[-1]) if tank else 0.0
    unknown = (*_doubts(situation, foreseen), *filter(None, [kept.doubt]), *begins.unknown, *compiled.notes)
    return Outlook(
        times=foreseen.times[1:], forecast=foreseen, stream=_stream(foreseen),
        peak=_amount(foreseen.raw[:, 1:].max(axis=1)), habit=futures[0], shut=futures[1],
        ways=ways, policy=begins.policy, closing=_closing(runs[1], compiled, hours) if reserve > 0 else (),
        reserve=reserve if reserve > 0 else None, tank=tank, members=members, seed=seed, seen_over=_seen_over(past),
        chosen=kept.said,
        measured=kept.measured, unknown=unknown, version=version("weirhouse"),
        inputs=hashlib.sha256("".join([foreseen.inputs, *(f.inputs for f in futures)]).encode()).hexdigest(),
    )  # fmt: skip


_LAST = "going through the last hours"


def _doubts(situation: Situation, foreseen: Forecast) -> tuple[str, ...]:
    value = situation.value("raw_turbidity")
    found = [foreseen.doubt] if foreseen.doubt else []
    if value.state in ("stale", "missing") and not foreseen.doubt:
        found.append(f"Raw turbidity: {value.why}. Read it at the stream, enter it, then look again.")
    return tuple(found)


def _seen_over(past: Past) -> tuple[int, int] | None:
    """Return on how many days of the record filtered water was above 0.3 NTU, and of how many days it is on record."""
    hours = past.highest.get("combined_turbidity")
    if hours is None or not np.isfinite(hours).any():
        return None
    there = np.isfinite(hours)
    days = past.hour // 86400
    return len(np.unique(days[there & (hours > LIMIT)])), len(np.unique(days[there]))


def _water(
    foreseen: Forecast, begins: Moment, situation: Situation, compiled: Compiled, members: int, seed: int
) -> Forcing:
    """Return the water that comes and the water that is drawn: a path of each for every member."""
    here = situation.at.astimezone(situation.zone)
    midnight = here.replace(hour=0, minute=0, second=0, microsecond=0)
    start = begins.start
    alkalinity = foreseen.alkalinity
    return forcing(
        np.maximum(foreseen.raw[:, :-1], LEAST_TURBIDITY), interval=STEP,
        temperature=start.temperature if foreseen.temperature is None else foreseen.temperature[:, :-1],
        alkalinity=start.alkalinity if alkalinity is None else np.maximum(alkalinity[:, :-1], 1.0),
        ph=start.ph, uv254=start.uv254 if foreseen.uv254 is None else foreseen.uv254[:, :-1],
        demand=_demand(begins, situation, foreseen, compiled, members, seed),
        start_of_day=(here - midnight) / timedelta(seconds=1),
    )  # fmt: skip


def _demand(
    begins: Moment, situation: Situation, foreseen: Forecast, compiled: Compiled, members: int, seed: int
) -> Floats:
    by_hour = begins.demand if begins.demand is not None else np.full(24, 0.5 * float(compiled.train.design_flow[0]))
    hours = np.array([datetime.fromtimestamp(int(t), UTC).astimezone(situation.zone).hour for t in foreseen.times[:-1]])
    rng = np.random.default_rng([seed, 2])
    lasting = np.exp(-STEP / 3600 / HOUR_LAG)
    noise = np.empty((members, len(hours)))
    noise[:, 0] = rng.standard_normal(members)
    for k in range(1, len(hours)):
        noise[:, k] = lasting * noise[:, k - 1] + np.sqrt(1 - lasting**2) * rng.standard_normal(members)
    day = DAY_SPREAD * rng.standard_normal((members, 1))
    spread = HOUR_SPREAD * noise + day - 0.5 * (HOUR_SPREAD**2 + DAY_SPREAD**2)  # so that the mean stays
    return np.asarray(by_hour[hours] * np.exp(spread))


def _fan(paths: NDArray[np.floating], unit: str) -> Fan:
    return Fan(unit=unit, rows=np.quantile(np.asarray(paths, dtype=float), PROBABILITIES, axis=0))


def _stream(foreseen: Forecast) -> dict[str, Fan]:
    found = {"raw": _fan(foreseen.raw[:, 1:], "NTU")}
    for name, paths, unit in (
        ("temperature", foreseen.temperature, "degC"), ("uv254", foreseen.uv254, "1/m"),
        ("alkalinity", foreseen.alkalinity, "g/m^3"),
    ):  # fmt: skip
        if paths is not None:
            found[name] = _fan(paths[:, 1:], unit)
    return found


def _future(made: Run, compiled: Compiled) -> Future:
    combined, flow = (np.asarray(made.path(name), dtype=float) for name in ("combined", "flow"))
    kept = np.where(flow > 0, combined, 0.0)
    filters = len(compiled.filters) > 0
    reserve = bool(len(compiled.tanks)) and float(compiled.train.tank_reserve[-1]) > 0
    risk = Risk(
        over_0_3=float((kept.max(axis=1) > LIMIT).mean()) if filters else None,
        over_1=float((kept.max(axis=1) > MOST).mean()) if filters else None,
        minutes_over_0_3=float(made.minutes_over_0_3.mean()) if filters else None,
        below_reserve=float(made.below_reserve.mean()) if reserve else None,
    )
    fans = {"settled": _fan(made.path("settled"), "NTU"), "flow": _fan(made.path("flow"), "m^3/s")}
    if filters:
        fans["combined"] = _fan(made.path("combined"), "NTU")
        fans |= {f"{f}.head": _fan(made.path(f"{f}.head"), "m") for f in compiled.filters}
    for i, tank in enumerate(compiled.tanks):
        fans[f"{tank}.level"] = _fan(made.path(f"{tank}.volume") / compiled.train.tank_area[i], "m")
    if (compiled.train.feed_role == at.DISINFECTANT).any():
        fans["out_chlorine"] = _fan(made.path("out_chlorine"), "g/m^3")
    return Future(
        risk=risk,
        hours_run=_amount(60 * made.total("minutes_running")),
        washes=_amount(made.total("washes")),
        wash_water=_amount(made.total("wash_m3") + made.total("own_wash_m3")),
        to_waste=_amount(made.total("to_waste_m3")),
        delivered=_amount(made.total("delivered_m3")),
        intake=_amount(made.total("intake_m3")),
        sewer_peak=_amount(made.total("sewer_peak_m3_s")),
        product={feed: _amount(used) for feed, used in made.product_used.items()},
        fans=fans,
        inputs=made.inputs,
    )


def _amount(values: Floats) -> tuple[float, float, float]:
    low, middle, high = np.quantile(values, (0.05, 0.5, 0.95))
    return float(low), float(middle), float(high)


def _closing(shut: Run, compiled: Compiled, hours: int) -> tuple[float, ...]:
    """Return for each hour the share of members whose tank has been below its reserve by then."""
    volume = np.asarray(shut.path(f"{compiled.tanks[-1]}.volume"), dtype=float)
    under = np.maximum.accumulate(volume < float(compiled.train.tank_reserve[-1]), axis=1)
    per_hour = 3600 // STEP
    return tuple(float(under[:, h * per_hour - 1].mean()) for h in range(1, hours + 1))

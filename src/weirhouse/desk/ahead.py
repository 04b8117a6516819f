"""What is coming, and what will the plant make of it? The hours ahead in plain numbers, with what is not known."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from weirhouse.desk.action_levels import telephone
from weirhouse.desk.lines import Display
from weirhouse.desk.model import AdviceState
from weirhouse.plant.model import Plant
from weirhouse.quantity import convert, show
from weirhouse.science.quantities import Flow, Head, Volume
from weirhouse.situation.ages import clock_text
from weirhouse.situation.habit import Habit, Rung
from weirhouse.situation.model import Situation
from weirhouse.situation.past import Past
from weirhouse.twin.forecast.expectation import Expectation, read_expectation
from weirhouse.twin.outlook import MEMBERS, Fan, Future, Outlook, Risk, outlook
from weirhouse.working import Known

HOURS = 72
SEED = 1
BARELY = 0.05  # a risk above this is worth a word: one future in twenty
LONG_RECORD = 60  # days that say something of how often
LEADS = (1, 3, 6, 12, 24, 48, 72)  # hours that are told in the table
WAYS = (("habit", "As usual"), ("shut", "Intake shut from now"))
PERCENT = ("p05", "p25", "p50", "p75", "p95")
CAUTION = "Public health: this is a forecast. Readings, your action levels, the permit and the State come first."


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the table: the same figure in each of the futures."""

    title: str
    cells: tuple[str, ...]  # in the order of `WAYS`


@dataclass(frozen=True, slots=True, kw_only=True)
class Hour:
    """How likely it is that the tank is below its reserve when the intake has been shut for that long."""

    hours: int
    until: str
    chance: str
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Lead:
    """What the stream is likely to bring at a time: nine in ten futures lie between the first and the last."""

    hours: int
    at: str
    low: str
    middle: str
    high: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ahead:
    """The hours ahead as a person reads them."""

    plant: Plant
    at: datetime  # in the plant's zone
    hours: int
    order: str  # the answer, in one sentence
    order_state: AdviceState
    says: tuple[str, ...]  # what belongs to it
    rows: tuple[Row, ...]
    leads: tuple[Lead, ...]
    closing: tuple[Hour, ...]
    closing_says: str
    ways: tuple[tuple[str, str], ...]  # what is meant by as usual: figure, and where it was read
    basis: tuple[str, ...]
    unknown: tuple[str, ...]
    caution: str
    outlook: Outlook
    demo: bool


def expected(phrase: str, situation: Situation) -> Expectation | None:
    """Return the weather that a person expects, from plain words; None where nothing is typed.

    Raises ExpectationError in one sentence where the words say nothing about rain.
    """
    return read_expectation(phrase, situation.at, situation.zone) if phrase.strip() else None


def ahead(
    situation: Situation,
    past: Past,
    *,
    hours: int = HOURS,
    members: int = MEMBERS,
    seed: int = SEED,
    weather: str = "",
    progress: Callable[[float, str], None] | None = None,
) -> Ahead:
    """Return the hours ahead of the situation's instant; see `twin.outlook`."""
    found = outlook(
        situation, past, hours=hours, members=members, seed=seed, expectation=expected(weather, situation),
        progress=progress,
    )  # fmt: skip
    order, state, says = _order(situation, found, hours)
    return Ahead(
        plant=situation.plant,
        at=situation.at.astimezone(situation.zone),
        hours=hours,
        order=order,
        order_state=state,
        says=says,
        rows=tuple(_rows(situation.plant, found)),
        leads=tuple(_leads(situation, found, hours)),
        closing=tuple(_closing(situation, found)),
        closing_says=_closing_says(situation, found, hours),
        ways=tuple(_ways(situation.plant, found.ways)),
        basis=(*found.forecast.basis, found.chosen, _ran(found)),
        unknown=(*found.unknown, *_never()),
        caution=CAUTION,
        outlook=found,
        demo=situation.demo,
    )


def chance(share: float | None) -> str:
    """Return a share of the futures in words.

    >>> chance(0.0), chance(0.004), chance(0.37), chance(0.999), chance(None)
    ('none seen', 'under 1 in 100', '37 in 100', 'over 99 in 100', 'not known')
    """
    if share is None:
        return "not known"
    if share <= 0:
        return "none seen"
    if share < 0.01:
        return "under 1 in 100"
    return "over 99 in 100" if 0.99 < share < 1 else f"{share:.0%}".replace("%", " in 100")


def _order(situation: Situation, found: Outlook, hours: int) -> tuple[str, AdviceState, tuple[str, ...]]:
    """Return the answer in one sentence, how urgent it is, and the sentences that belong to it."""
    end = clock_text(situation.at + timedelta(hours=hours), situation.at, situation.zone)
    fan = found.stream["raw"]
    low, high = (show(float(fan.rows[k][-1]), "NTU", "NTU", 2) for k in (0, 4))
    stream = f"Raw turbidity is likely to be between {low} and {high} by {end}."
    if found.rises:
        stream += f" On the way there it may reach {show(found.peak[2], 'NTU', 'NTU', 2)} (1 future in 20)."
    says = [stream, _closing_says(situation, found, hours)]
    risk = found.habit.risk
    tank = risk.below_reserve is not None and risk.below_reserve > BARELY
    if tank:
        says.insert(0, f"Run as usual, the tank falls below its reserve in {chance(risk.below_reserve)} futures.")
    if risk.over_1 is not None and risk.over_1 > BARELY:
        call = "Have the stop, filter to waste and the telephone list at hand."
        says.insert(0, f"Filtered water passes 1 NTU in {chance(risk.over_1)} futures. {call}")
    order, state = _answer(risk, hours, tank)
    seen = _seen(found)
    if seen:
        says.insert(0, seen)
    now = situation.value("raw_turbidity")
    if found.forecast.doubt or now.usable is None:
        doubt = found.forecast.doubt or f"Raw turbidity: {now.why}."
        return f"Read the stream first: {doubt[0].lower()}{doubt[1:]}", "unknown", (order, *says)
    if risk.over_0_3 is not None and not found.measured:
        cannot = "Cannot tell what this plant would make of it: no settled or filtered turbidity was measured lately."
        return cannot, "unknown", (f"As such plants usually do: {order[0].lower()}{order[1:]}", *says)
    return order, state, tuple(says)


def _seen(found: Outlook) -> str:
    """Return how often the record shows what is foreseen, so that a gloomy simulation is taken for what it is."""
    if found.seen_over is None or found.habit.risk.over_0_3 is None:
        return ""
    days, of = found.seen_over
    said = f"On record it was above 0.3 NTU on {days or 'none'} of {of} days."
    if days == 0 and of >= LONG_RECORD and found.habit.risk.over_0_3 > BARELY:
        said += " The simulation is gloomier than that: trust the difference between the ways more than its figures."
    return said


def _answer(risk: Risk, hours: int, tank: bool) -> tuple[str, AdviceState]:
    if risk.over_0_3 is None:
        return f"The next {hours} h of the stream; this plant file has no filters to simulate.", "steady"
    if risk.over_0_3 > BARELY:
        return (
            f"Run as usual, a recorded value of filtered water passes 0.3 NTU in {chance(risk.over_0_3)} futures.",
            "soon",
        )
    word = "none" if risk.over_0_3 <= 0 else chance(risk.over_0_3)
    if tank:
        return "Run as usual, the tank may fall below its reserve.", "soon"
    return f"Run as usual, filtered water passes 0.3 NTU in {word} of the futures of the next {hours} h.", "steady"


def _closing_says(situation: Situation, found: Outlook, hours: int) -> str:
    holds = found.holds(BARELY)
    if holds is None:
        return "How long the intake may stay shut cannot be said: the plant file gives no tank with a reserve."
    if holds == 0:
        return "The intake cannot stay shut: within the hour the tank may be below its reserve."
    if holds >= hours:
        return f"With the intake shut, the tank stays above its reserve for all of the {hours} h in 19 futures of 20."
    until = clock_text(situation.at + timedelta(hours=holds), situation.at, situation.zone)
    return f"The intake may stay shut for {holds} h, until {until}: by then the tank is above its reserve in 19 of 20."


def _leads(situation: Situation, found: Outlook, hours: int) -> Iterator[Lead]:
    fan = found.stream["raw"]
    for lead in LEADS:
        if lead <= hours:
            place = found.place(lead)
            low, middle, high = (show(float(fan.rows[k][place]), "NTU", "NTU", 2) for k in (0, 2, 4))
            at = clock_text(situation.at + timedelta(hours=lead), situation.at, situation.zone)
            yield Lead(hours=lead, at=at, low=low, middle=middle, high=high)


def _closing(situation: Situation, found: Outlook) -> Iterator[Hour]:
    """Yield each hour until every future has the tank below its reserve."""
    for hours, share in enumerate(found.closing, start=1):
        until = clock_text(situation.at + timedelta(hours=hours), situation.at, situation.zone)
        yield Hour(hours=hours, until=until, chance=chance(share), share=share)
        if share >= 1:
            return


def _rows(plant: Plant, found: Outlook) -> Iterator[Row]:
    """Yield the table of futures."""
    ways = [getattr(found, name) for name, _ in WAYS]
    display = Display(plant.unit_set)
    volume, flow = display.unit(Volume), display.unit(Flow)

    def row(title: str, told: Callable[[Future], str]) -> Row:
        return Row(title=title, cells=tuple(told(way) for way in ways))

    def amount(values: tuple[float, float, float], inside: str, unit: str) -> str:
        low, middle, high = (show(v, inside, unit, 2) for v in values)
        return middle if low == high else f"{middle} ({low} to {high})"

    if found.habit.risk.over_0_3 is not None:
        yield row("A recorded filtered value above 0.3 NTU", lambda way: chance(way.risk.over_0_3))
        yield row("A recorded filtered value above 1 NTU", lambda way: chance(way.risk.over_1))
        yield row("Minutes above 0.3 NTU, on average", lambda way: f"{way.risk.minutes_over_0_3:.0f} min")
    if found.reserve is not None:
        yield row("Tank below its reserve", lambda way: chance(way.risk.below_reserve))
    yield row("Hours that the plant runs", lambda way: amount(way.hours_run, "s", "h"))
    if found.habit.risk.over_0_3 is not None:
        yield row("Backwashes", lambda way: _count(way.washes))
        yield row("Backwash water", lambda way: amount(way.wash_water, "m^3", volume))
        yield row("Filtered to waste", lambda way: amount(way.to_waste, "m^3", volume))
        yield row("Highest flow to the sewer", lambda way: amount(way.sewer_peak, "m^3/s", flow))
    yield row("Raw water taken", lambda way: amount(way.intake, "m^3", volume))
    for feed in plant.feeds:
        if feed.id in found.habit.product:
            title = f"{feed.name} used, as fed from the day tank"
            yield row(title, lambda way, id=feed.id: amount(way.product[id], "m^3", "gal" if volume == "gal" else "L"))  # type: ignore[misc]


def _count(values: tuple[float, float, float]) -> str:
    low, middle, high = (f"{v:.0f}" for v in values)
    return middle if low == high else f"{middle} ({low} to {high})"


def _ways(plant: Plant, ways: Habit) -> Iterator[tuple[str, str]]:
    """Yield what is meant by running the plant as usual, each with where it was read."""
    display = Display(plant.unit_set)

    def told(known: Known, kind: Any) -> str:
        return f"{display.show(known, kind)}: {known.source}"

    def ladder(rungs: tuple[Rung, ...], inside: str, unit: str) -> str:
        steps = [
            f"{show(rung.value, inside, unit)} {'above' if rung.high > 1e6 else 'at'} "
            f"{rung.low:g}{'' if rung.high > 1e6 else f' to {rung.high:g}'} NTU"
            for rung in rungs
        ]
        return ", ".join(steps)

    if ways.flow is not None:
        yield "Flow", told(ways.flow, Flow)
    if ways.flows:
        yield "Flow by raw turbidity", ladder(ways.flows, "m^3/s", display.unit(Flow))
    if ways.shuts_above is not None:
        yield "Intake shut above", f"{show(ways.shuts_above, 'NTU', 'NTU')}: {ways.shuts_above.source}"
    if ways.doses:
        yield "Coagulant by raw turbidity", ladder(ways.doses, "g/m^3", "mg/L")
    if ways.starts_below is not None and ways.stops_above is not None:
        yield "Plant started below", told(ways.starts_below, Head)
        yield "Plant stopped above", told(ways.stops_above, Head)
    for wash in ways.washes:
        name = next((f.name for f in plant.filters if f.id == wash.filter), wash.filter)
        if wash.by == "head_loss" and wash.head_loss is not None:
            yield f"{name} backwashed at", told(wash.head_loss, Head)
        elif wash.by == "hours" and wash.hours is not None:
            yield f"{name} backwashed after", f"{show(wash.hours, 's', 'h')} of filtering: {wash.hours.source}"


def _ran(found: Outlook) -> str:
    return (
        f"{found.members:,} futures of each way, the same water and the same plants in each; seed {found.seed}, "
        f"version {found.version}, inputs {found.inputs[:12]}."
    )


def _never() -> tuple[str, ...]:
    return (
        "A break of a main, a fire, a pump that fails and a spill upstream are not among the futures.",
        "Pump and screen are taken to pass the flow that is asked of them, and the village to draw as it has lately.",
    )


def caution(plant: Plant) -> str:
    """Return the caution beside the answer."""
    return f"{CAUTION} When filtered water passes 1 NTU, {telephone(plant)}."


def ahead_json(found: Ahead) -> dict[str, Any]:
    """Return the hours ahead as one object. Names end in the unit; quantiles are lists beside `forecast.times`."""
    out = found.outlook
    zone = found.plant.zone
    return {
        "plant": found.plant.name,
        "at": found.at.isoformat(),
        "hours": found.hours,
        "members": out.members,
        "seed": out.seed,
        "order": found.order,
        "says": list(found.says),
        "state": found.order_state,
        "forecast": {
            "times": [datetime.fromtimestamp(int(t), zone).isoformat() for t in out.times],
            **{f"{name}_{_SUFFIX[fan.unit]}": _quantiles(fan) for name, fan in out.stream.items()},
            "raw_ntu": _raw(out),
            "peak_raw_ntu": {"p05": out.peak[0], "p50": out.peak[1], "p95": out.peak[2]},
            "basis": list(out.forecast.basis),
            "doubt": out.forecast.doubt,
        },
        "habit": _future(out.habit),
        "shut": {
            **_future(out.shut),
            "p_below_reserve_by_hour": list(out.closing),
            "hours_at_risk_0_05": out.holds(BARELY),
        },
        "reserve_m": out.reserve,
        "unknown": list(found.unknown),
        "version": out.version,
        "inputs": out.inputs,
    }


_SUFFIX = {"NTU": "ntu", "degC": "degc", "1/m": "per_m", "g/m^3": "mg_l", "m": "m", "m^3/s": "m3_s"}


def _raw(out: Outlook) -> dict[str, list[float]]:
    """Return raw turbidity at more probabilities than are drawn: edges of the 50, 80, 90 and 95 percent bands."""
    wanted = {"p02_5": 0.025, "p05": 0.05, "p10": 0.1, "p25": 0.25, "p50": 0.5, "p75": 0.75, "p90": 0.9, "p95": 0.95,
              "p97_5": 0.975}  # fmt: skip
    rows = out.forecast.quantiles(tuple(wanted.values()))[:, 1:]
    return {name: [round(float(v), 5) for v in row] for name, row in zip(wanted, rows, strict=True)}


def _quantiles(fan: Fan) -> dict[str, list[float]]:
    return {name: [round(float(v), 5) for v in row] for name, row in zip(PERCENT, fan.rows, strict=True)}


def _future(way: Future) -> dict[str, Any]:
    def spread(values: tuple[float, float, float], inside: str, unit: str) -> dict[str, float]:
        return {k: float(convert(v, inside, unit)) for k, v in zip(("p05", "p50", "p95"), values, strict=True)}

    risk = way.risk
    return {
        "risk": {
            "p_over_0_3": risk.over_0_3, "p_over_1": risk.over_1, "minutes_over_0_3": risk.minutes_over_0_3,
            "p_below_reserve": risk.below_reserve,
        },
        "hours_run": spread(way.hours_run, "s", "h"),
        "washes": spread(way.washes, "1", "1"),
        "wash_water_m3": spread(way.wash_water, "m^3", "m^3"),
        "to_waste_m3": spread(way.to_waste, "m^3", "m^3"),
        "delivered_m3": spread(way.delivered, "m^3", "m^3"),
        "intake_m3": spread(way.intake, "m^3", "m^3"),
        "sewer_peak_m3_s": spread(way.sewer_peak, "m^3/s", "m^3/s"),
        "product_l": {feed: spread(used, "m^3", "L") for feed, used in way.product.items()},
        **{_name(name, fan): _quantiles(fan) for name, fan in _named(way.fans).items()},
    }  # fmt: skip


def _named(fans: Mapping[str, Fan]) -> dict[str, Fan]:
    words = {"combined": "filtered", "out_chlorine": "chlorine"}
    return {words.get(name, name.replace(".head", "_head_loss").replace(".", "_")): fan for name, fan in fans.items()}


def _name(name: str, fan: Fan) -> str:
    return f"{name}_{_SUFFIX[fan.unit]}"

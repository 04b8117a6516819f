"""Random small months, given to both evaluations alike."""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any

import numpy as np
from hypothesis import strategies as st
from tests.rules.planted import EMBERLY, FEDERAL, GOOD, state
from tests.rules.second.series import QUARTER, Month, Row, Spell

from weirhouse.records.model import Event
from weirhouse.rules.model import MonthFacts, MonthResult
from weirhouse.rules.month import evaluate_month
from weirhouse.rules.packs import RuleBook
from weirhouse.situation.model import Stretch, Track

FLOWS = ("plant_flow", "filter_1_flow", "filter_2_flow")
WATER = ("combined_turbidity", "filter_1_turbidity", "filter_2_turbidity", "entry_chlorine")
EDGES = (
    0.05,
    0.2,
    0.3,
    0.304,
    0.305,
    0.3049999,
    0.31,
    1.0,
    1.004,
    1.005,
    1.04,
    1.2,
    2.0,
    2.004,
    2.1,
    5.0,
    5.004,
    5.01,
    25.0,
)
RESIDUALS = (0.1, 0.19, 0.195, 0.1999, 0.2, 0.29, 0.2949, 0.295, 0.3, 0.5, 11.0)
EMBERLYS = {
    "recorded_value": "first", "combined_interval": "4 h", "combined_value": "last", "maximum_counts": "every",
    "off_hours": "not_counted", "filter_to_waste": "not_counted", "turbidity_rounding": {"decimals": 2, "half": "up"},
    "residual_rounding": "as_recorded",
}  # fmt: skip
TEXTS = {
    "recorded_value": ("first", "last", "highest", "mean"), "combined_interval": ("4 h", "15 min"),
    "combined_value": ("first", "last", "highest", "mean"), "maximum_counts": ("recorded", "every"),
    "off_hours": ("counted", "not_counted"), "filter_to_waste": ("counted", "not_counted"),
}  # fmt: skip
ROUNDINGS: tuple[Any, ...] = (
    "as_recorded", {"decimals": 2, "half": "up"}, {"decimals": 1, "half": "up"}, {"decimals": 1, "half": "even"},
)  # fmt: skip


@lru_cache(maxsize=512)
def local_pack(items: tuple[tuple[str, str], ...]) -> RuleBook:
    """Return Emberly's local pack with other terms."""
    return state(**dict(items))


def toml(value: Any) -> str:
    """Return a term as it stands in a local pack."""
    if isinstance(value, str):
        return f'"{value}"'
    return f'{{ decimals = {value["decimals"]}, half = "{value["half"]}" }}'


@dataclass(repr=False)
class Case:
    """One random month."""

    first: date
    terms: dict[str, Any]  # what the State has said
    federal: bool = False  # no local pack at all
    rows: dict[str, dict[int, Row]] = field(default_factory=dict)
    spells: list[Spell] = field(default_factory=list)

    def __repr__(self) -> str:
        """Say little: the rows are many."""
        return f"Case({self.first}, {self.terms}, {self.spells})"

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:
        printer.text(repr(self))

    def second(self) -> Month:
        """Return it for the second evaluation."""
        channels = EMBERLY.channels
        names = [*FLOWS, *WATER]
        return Month(
            first=self.first, zone=EMBERLY.zone, least_flow=0.05 * (EMBERLY.design_flow or 0.0),
            rows={name: [self.rows[name][t] for t in sorted(self.rows[name])] for name in names},
            bounds={name: (channels[name].low or 0.0, channels[name].high or 0.0) for name in names},
            intervals={name: int(channels[name].interval or 0) for name in names}, spells=self.spells,
        )  # fmt: skip

    def book(self) -> RuleBook:
        """Return the packs."""
        if self.federal:
            return FEDERAL
        return local_pack(tuple((key, toml(value)) for key, value in sorted(self.terms.items())))

    def ours(self, earlier: tuple[MonthFacts, ...] = ()) -> MonthResult:
        """Return what the first evaluation says."""
        month = self.second()
        tracks = {}
        for name, rows in month.rows.items():
            tracks[name] = Track(
                channel=name, times=np.array([r.t for r in rows], np.int64),
                values=np.array([np.nan if r.value is None else r.value for r in rows], np.float64),
                flags=np.array([r.flag for r in rows], np.uint8),
            )  # fmt: skip
        typed = {
            name: np.array([r.t for r in rows if r.by_hand], np.int64)
            for name, rows in month.rows.items() if any(r.by_hand for r in rows)
        }  # fmt: skip
        events = tuple(
            Event(
                kind=s.kind, started_at=datetime.fromtimestamp(s.a, UTC), ended_at=datetime.fromtimestamp(s.b, UTC),
                subject=s.subject, person="K. Hale",
            )
            for s in sorted(self.spells, key=lambda s: s.a)
        )  # fmt: skip
        a, b = (datetime.fromtimestamp(t, UTC) for t in (month.a, month.b))
        stretch = Stretch(
            plant=EMBERLY, a=a - timedelta(hours=1), b=b, zone=EMBERLY.zone, tracks=tracks, events=events, typed=typed
        )
        return evaluate_month(EMBERLY, stretch, [], [], (), self.book(), month=self.first, earlier=earlier)

    def base(self, runs: list[tuple[int, int]], odd: dict[str, list[int]], also_standing: bool = False) -> None:
        """Let it run in spells [s]; outside of them the meter shows that it stands. `odd`: shifts of the rows [s]."""
        month = Month(self.first, EMBERLY.zone, 0.0, {}, {}, {})
        for name in (*FLOWS, *WATER):
            self.rows[name] = {}
        for i, t in enumerate(range(month.a - 3600, month.b, QUARTER)):
            on = any(a <= t < b for a, b in runs)
            for name in FLOWS:
                self.put(name, t, GOOD[name] if on else 0.0)
            near = also_standing or any(a - 4 * 3600 <= t < b + 4 * 3600 for a, b in runs)
            for name in WATER if near else ():
                shifts = odd[name]
                self.put(name, t + shifts[i % len(shifts)], GOOD[name])

    def put(self, name: str, t: int, value: float | None, flag: int = 0, by_hand: bool = False) -> None:
        """Write one row."""
        self.rows[name][t] = Row(t, value, flag, by_hand)


@st.composite
def cases(draw: st.DrawFn, *, terms: bool = True, federal: bool = False, begins: int = 4) -> Case:
    """Return a month in which the plant runs for a few spells, with values at the edges, gaps and bad readings."""
    first = draw(st.sampled_from([date(2026, 3, 1), date(2026, 11, 1), date(2026, 7, 1), date(2026, 2, 1)]))
    said: dict[str, Any] = dict(EMBERLYS)
    if terms:
        said |= {key: draw(st.sampled_from(choices)) for key, choices in TEXTS.items()}
        said["turbidity_rounding"] = draw(st.sampled_from(ROUNDINGS))
        said["residual_rounding"] = draw(st.sampled_from(ROUNDINGS[:3]))
    case = Case(first, {} if federal else said, federal)
    month = Month(first, EMBERLY.zone, 0.0, {}, {}, {})
    days = [d.day for d in month.days]
    likely = {3: 8, 11: 1}.get(first.month, 1)  # the day of 23 or 25 hours; the first of the month
    runs = []
    for day in draw(st.lists(st.sampled_from([likely, likely, *days]), min_size=1, max_size=begins, unique=True)):
        a = month.local(first.replace(day=day)) + QUARTER * draw(st.integers(-2, 60))
        runs.append((a, a + QUARTER * draw(st.sampled_from([1, 2, 3, 15, 16, 17, 40, 80, 100]))))
    grid = st.lists(st.integers(0, QUARTER - 1), min_size=1, max_size=4)
    odd = {name: draw(st.one_of(st.just([0]), grid)) for name in WATER}
    case.base(runs, odd, draw(st.booleans()) and draw(st.booleans()))
    for _ in range(draw(st.integers(0, 12))):
        _edit(draw, case, runs)
    for _ in range(draw(st.integers(0, 3))):
        a = _instant(draw, runs)
        kind, subject = draw(
            st.sampled_from([
                ("backwash", "filter_1"), ("filter_to_waste", "filter_1"), ("backwash", "filter_2"),
                ("instrument_out", "combined_turbidity"), ("instrument_fault", "filter_1_turbidity"),
            ])
        )  # fmt: skip
        case.spells.append(Spell(kind, a, a + 60 * draw(st.integers(1, 120)), subject))
    return case


def _instant(draw: st.DrawFn, runs: list[tuple[int, int]]) -> int:
    a, b = draw(st.sampled_from(runs))
    return a - 1800 + 60 * draw(st.integers(0, (b - a) // 60 + 60))


def _edit(draw: st.DrawFn, case: Case, runs: list[tuple[int, int]]) -> None:
    """Change some rows in a row of one channel."""
    name = draw(st.sampled_from((*WATER, *WATER, "plant_flow", "filter_1_flow")))
    a = _instant(draw, runs)
    hit = [t for t in sorted(case.rows[name]) if t >= a][: draw(st.sampled_from([1, 1, 2, 2, 3, 6, 20]))]
    what = draw(st.sampled_from(["value", "value", "value", "bad", "drop", "none", "also", "censored", "hand"]))
    if name in FLOWS:
        what = {"value": "stand", "also": "drop", "censored": "bad", "hand": "drop"}.get(what, what)
    palette = RESIDUALS if name == "entry_chlorine" else EDGES
    for t in hit:
        row = case.rows[name][t]
        if what == "value":
            case.put(name, t, draw(st.sampled_from(palette)), row.flag)
        elif what == "bad":
            value = row.value if name in FLOWS else draw(st.sampled_from(palette))
            case.put(name, t, value, draw(st.sampled_from([1, 2])))
        elif what == "drop":
            del case.rows[name][t]
        elif what == "none":
            case.put(name, t, None)
        elif what == "also":  # a second row in the same quarter hour
            case.put(
                name, t + draw(st.integers(1, 600)), draw(st.sampled_from(palette)), draw(st.sampled_from([0, 0, 1]))
            )
        elif what == "censored":
            case.put(name, t, draw(st.sampled_from(palette)), draw(st.sampled_from([3, 4])))
        elif what == "hand":
            case.put(name, t, draw(st.sampled_from(palette)), 0, True)
        else:
            case.put(name, t, 0.0)

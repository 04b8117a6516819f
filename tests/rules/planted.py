"""A planted month: Emberly's plant file with records made up for one purpose, so that each edge can be set exactly."""

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from importlib.resources import files
from typing import Any

import numpy as np

from weirhouse.plant.load import parse_plant
from weirhouse.plant.model import Plant
from weirhouse.records.model import DOUBTFUL, REJECTED, Event, Result, Sample
from weirhouse.rules.model import MonthFacts, MonthResult
from weirhouse.rules.month import evaluate_month, month_of
from weirhouse.rules.packs import RuleBook, assemble, parse_pack
from weirhouse.situation.model import Stretch, Track

TEXT = files("weirhouse.demo").joinpath("emberly.toml").read_text(encoding="utf-8")
LOCAL = files("weirhouse.demo").joinpath("emberly_rules.toml").read_text(encoding="utf-8")
QUARTER = timedelta(minutes=15)
GOOD = {
    "plant_flow": 0.0088, "filter_1_flow": 0.0044, "filter_2_flow": 0.0044, "combined_turbidity": 0.05,
    "filter_1_turbidity": 0.05, "filter_2_turbidity": 0.05, "entry_chlorine": 1.1, "contact_chlorine": 1.2,
    "contact_temperature": 15.0, "contact_level": 2.5, "contact_ph": 7.4,
}  # fmt: skip


def plant(**changes: str) -> Plant:
    """Return Emberly's plant with some texts of its file replaced."""
    text = TEXT
    for old, new in changes.get("replace", {}).items() if isinstance(changes.get("replace"), dict) else ():
        assert old in text, old
        text = text.replace(old, new)
    return parse_plant(text)


EMBERLY = plant()


def book(text: str = LOCAL) -> RuleBook:
    """Return the federal pack with a local one over it."""
    return assemble([("rules/local.toml", parse_pack(text, "rules/local.toml"))])


def state(**terms: Any) -> RuleBook:
    """Return the federal pack with Emberly's local pack, some of its [state] terms replaced or, with None, left out."""
    lines = []
    inside = ""
    for line in LOCAL.splitlines():
        if line.startswith("["):
            inside = line
        key = line.split("=")[0].strip()
        if inside == "[state]" and key == "where":
            continue
        if inside == "[state]" and key in terms:
            if terms[key] is not None:
                lines.append(f"{key} = {terms[key]}")
            continue
        lines.append(line)
    text = "\n".join(lines)
    tomllib.loads(text)
    return book(text)


FEDERAL = assemble([])
OURS = book()


@dataclass
class Planted:
    """Quarter-hour records of a month; change them, then `judge`."""

    first: date = date(2026, 7, 1)
    plant: Plant = EMBERLY
    packs: RuleBook = field(default_factory=lambda: OURS)
    run: tuple[int, int] = (0, 24)  # local hours of the day in which it runs
    channels: Mapping[str, float] = field(default_factory=lambda: dict(GOOD))

    def __post_init__(self) -> None:
        self.a, self.b = month_of(self.first, self.plant)
        self.start = self.a - timedelta(hours=1)
        self.times = np.arange(int(self.start.timestamp()), int(self.b.timestamp()), 900, dtype=np.int64)
        self.values = {name: np.full(len(self.times), value) for name, value in self.channels.items()}
        self.flags = {name: np.zeros(len(self.times), np.uint8) for name in self.channels}
        self.events: list[Event] = []
        self.typed: dict[str, list[int]] = {}
        zone = self.plant.zone
        hours = np.array([datetime.fromtimestamp(int(t), UTC).astimezone(zone).hour for t in self.times])
        off = ~((hours >= self.run[0]) & (hours < self.run[1]))
        for name in ("plant_flow", "filter_1_flow", "filter_2_flow"):
            if name in self.values:
                self.values[name][off] = 0.0

    def at(self, text: str) -> datetime:
        """Return an instant from local text: "03 14:30" (day and clock)."""
        day, clock = text.split(" ")
        local = datetime.fromisoformat(f"{self.first:%Y-%m}-{day}T{clock}").replace(tzinfo=self.plant.zone)
        return local.astimezone(UTC)

    def place(self, text: str) -> int:
        """Return the row of an instant."""
        found = int(np.searchsorted(self.times, int(self.at(text).timestamp())))
        assert self.times[found] == int(self.at(text).timestamp())
        return found

    def put(self, channel: str, text: str, *values: float, flag: int = 0) -> "Planted":
        """Write values from an instant on, one a quarter hour."""
        i = self.place(text)
        self.values[channel][i : i + len(values)] = values
        self.flags[channel][i : i + len(values)] = flag
        return self

    def drop(self, channel: str, first: str, last: str) -> "Planted":
        """Take out what was recorded from an instant to before another."""
        self.values[channel][self.place(first) : self.place(last)] = np.nan
        return self

    def stop(self, first: str, last: str) -> "Planted":
        """Let the plant stand from an instant to another."""
        for name in ("plant_flow", "filter_1_flow", "filter_2_flow"):
            if name in self.values:
                self.values[name][self.place(first) : self.place(last)] = 0.0
        return self

    def grab(self, channel: str, text: str, value: float) -> "Planted":
        """Enter a reading by hand."""
        self.put(channel, text, value)
        self.typed.setdefault(channel, []).append(int(self.at(text).timestamp()))
        return self

    def event(self, kind: str, first: str, last: str | None, subject: str, **values: Any) -> "Planted":
        """Enter an event."""
        self.events.append(
            Event(
                kind=kind, started_at=self.at(first), ended_at=self.at(last) if last else None, subject=subject,
                values=values, person="K. Hale",
            )
        )  # fmt: skip
        return self

    def stretch(self, order: Sequence[int] | None = None) -> Stretch:
        """Return the records as a stretch."""
        tracks = {
            name: Track(channel=name, times=self.times, values=self.values[name].copy(), flags=self.flags[name].copy())
            for name in self.channels
        }
        events = self.events if order is None else [self.events[i] for i in order]
        return Stretch(
            plant=self.plant, a=self.start, b=self.b, zone=self.plant.zone, tracks=tracks, events=tuple(events),
            typed={c: np.unique(np.array(t, np.int64)) for c, t in self.typed.items()},
        )  # fmt: skip

    def judge(
        self, *, now: str | None = None, earlier: Iterable[MonthFacts] = (), samples: Sequence[Sample] = (),
        results: Sequence[Result] = (), events: Sequence[Event] = (), plan: Any = None,
    ) -> MonthResult:  # fmt: skip
        """Return what the rules say of the month."""
        return evaluate_month(
            self.plant, self.stretch(), samples, results, events, self.packs, month=self.first,
            now=self.at(now) if now else None, earlier=tuple(earlier), plan=plan,
        )  # fmt: skip


__all__ = [
    "DOUBTFUL",
    "EMBERLY",
    "FEDERAL",
    "GOOD",
    "LOCAL",
    "OURS",
    "REJECTED",
    "TEXT",
    "Planted",
    "book",
    "plant",
    "state",
]

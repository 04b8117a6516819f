"""A small plant with a quiet week of records, to be spoilt one reading at a time."""

import shutil
from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from weirhouse import quantity
from weirhouse.desk.model import Today
from weirhouse.desk.so_far import month_so_far
from weirhouse.desk.today import today
from weirhouse.plant import Plant, load
from weirhouse.records.model import Event, Reading
from weirhouse.records.store import Store
from weirhouse.situation.at import at

PLANT_FILE = Path(__file__).with_name("plant.toml")
NOW = datetime(2026, 6, 17, 18, 0, tzinfo=UTC)  # 14:00 in the plant's zone, a Wednesday
DAYS = 8

# The quiet week: what each channel shows, in the unit people write it in. Flow follows the clock.
QUIET = {
    "raw_turbidity": "5 NTU",
    "raw_temperature": "55 degF",
    "raw_ph": "7.4",
    "raw_alkalinity": "60 mg/L",
    "intake_head_loss": "0.1 ft",
    "plant_flow": "140 gpm",
    "settled_turbidity": "0.8 NTU",
    "coagulant_dose": "15 mg/L",
    "coagulant_setting": "30 percent",
    "coagulant_tank_level": "20 in",
    "chlorine_dose": "2.0 mg/L",
    "chlorine_setting": "40 percent",
    "chlorine_tank_level": "20 in",
    "filter_1_turbidity": "0.04 NTU",
    "filter_1_head_loss": "2 ft",
    "filter_1_flow": "70 gpm",
    "filter_2_turbidity": "0.05 NTU",
    "filter_2_head_loss": "2 ft",
    "filter_2_flow": "70 gpm",
    "combined_turbidity": "0.05 NTU",
    "contact_chlorine": "1.2 mg/L",
    "contact_ph": "7.2",
    "contact_temperature": "55 degF",
    "contact_level": "8 ft",
    "storage_level": "20 ft",
    "demand_flow": "70 gpm",
    "entry_chlorine": "1.1 mg/L",
    "rain": "0 in",
}
FLOWS = ("plant_flow", "filter_1_flow", "filter_2_flow")


class Scene:
    """A plant folder with a store, filled with the quiet week; `readings` may be changed before `build`."""

    def __init__(self, folder: Path, *, plant_text: str | None = None, now: datetime = NOW) -> None:
        self.folder, self.now = folder, now
        folder.mkdir(parents=True, exist_ok=True)
        if plant_text is None:
            shutil.copy(PLANT_FILE, folder / "plant.toml")
        else:
            (folder / "plant.toml").write_text(plant_text, encoding="utf-8")
        self.plant: Plant = load(folder)
        self.events: list[Event] = []
        self.readings: dict[str, list[Reading]] = {id: [] for id in self.plant.channels}

    def running(self, at: datetime) -> bool:
        """The plant runs from 06:00 to 20:00 on its own clock."""
        return 6 <= at.astimezone(self.plant.zone).hour < 20

    def inside(self, channel: str, text: str) -> float:
        found = self.plant.channels[channel]
        return quantity.parse(text, found.inside, channel)

    def reading(self, channel: str, at: datetime, value: float, *, flag: str = "", qualifier: str = "") -> Reading:
        unit = self.plant.channels[channel].unit
        return Reading(
            channel=channel, value=value, taken_at=at, unit=unit, text=f"{value}", qualifier=qualifier, flag=flag,
            person="A. Operator", id=f"{channel}-{at.timestamp():.0f}",
        )  # fmt: skip

    def quiet(self, channels: Iterable[str] | None = None) -> "Scene":
        """Fill every channel with half-hourly readings; head loss climbs 0.05 ft for each hour of filtering."""
        wanted = list(self.plant.channels if channels is None else channels)
        wash = {"filter_1": timedelta(hours=30), "filter_2": timedelta(hours=54)}
        for filter_id, ago in wash.items():
            if any(f.id == filter_id for f in self.plant.filters):
                end = self.now - ago
                self.events.append(
                    Event(
                        kind="backwash",
                        started_at=end - timedelta(minutes=20),
                        ended_at=end,
                        subject=filter_id,
                        values={},
                        person="A. Operator",
                        note="",
                        id=f"wash-{filter_id}",
                    )
                )
        start = self.now - timedelta(days=DAYS)
        hours = dict.fromkeys(wash, 0.0)
        step = timedelta(minutes=30)
        at = start
        while at <= self.now:
            on = self.running(at)
            for id, ago in wash.items():
                if at <= self.now - ago:
                    hours[id] = 0.0
                elif on:
                    hours[id] += 0.5
            for channel in wanted:
                if channel not in QUIET:
                    continue
                value = self.inside(channel, QUIET[channel])
                if channel in FLOWS and not on:
                    value = 0.0
                if channel.endswith("_head_loss") and channel.startswith("filter"):
                    climb = 0.05 * hours[channel.removesuffix("_head_loss")]
                    value = self.inside(channel, f"{1.5 + climb:.4f} ft")
                # real meters breathe: a trace that differs from reading to reading, so that nothing looks stuck
                ripple = 1 + 0.004 * (((at.timestamp() // 1800) * 7 % 5) - 2)
                if channel not in ("rain", "coagulant_dose", "coagulant_setting", "chlorine_dose", "chlorine_setting"):
                    value *= ripple
                self.readings[channel].append(self.reading(channel, at, value))
            at += step
        return self

    def newest(self, channel: str, text: str | None = None, *, flag: str = "") -> "Scene":
        """Change the newest reading of a channel: its value, or its flag."""
        last = self.readings[channel][-1]
        value = last.value if text is None else self.inside(channel, text)
        assert value is not None
        self.readings[channel][-1] = self.reading(channel, last.taken_at, value, flag=flag)
        return self

    def without(self, channel: str) -> "Scene":
        """Let nothing of a channel be on record."""
        self.readings[channel] = []
        return self

    def stale(self, channel: str, days: float = 9.0) -> "Scene":
        """Move all of a channel's readings back in time."""
        back = timedelta(days=days)
        self.readings[channel] = [
            self.reading(channel, r.taken_at - back, r.value) for r in self.readings[channel] if r.value is not None
        ]
        return self

    def each(self, channel: str, change: Callable[[Reading], float]) -> "Scene":
        """Change every reading of a channel."""
        self.readings[channel] = [self.reading(channel, r.taken_at, change(r)) for r in self.readings[channel]]
        return self

    def build(self) -> Store:
        """Write everything to a store and return it, open for reading and writing."""
        store = Store.open(self.folder, create=True)
        store.add_readings([r for rs in self.readings.values() for r in rs], entered_at=self.now)
        store.add_events(self.events, entered_at=self.now)
        return store


def today_at(store: Any, plant: Plant, when: datetime, folder: Path | None = None) -> Today:
    """Return Today at an instant as the shells have it; without a folder the month is judged by the federal rules."""
    return today(at(store, plant, when), *month_so_far(store, plant, folder, when))

"""The plant's situation as plain frozen data. Numbers in inside units; times aware, in UTC unless said otherwise.

A number that advice may stand on is a `Known`: it carries the reading or the plant-file entry it came from.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from weirhouse.plant.model import Plant
from weirhouse.records.model import Event
from weirhouse.working import Known

State = Literal["fresh", "stale", "flagged", "missing"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """The newest value of a channel, always shown, and whether advice may stand on it.

    `known` is the newest value even when it is stale or flagged; only `fresh` ones may carry a setpoint.
    """

    channel: str
    title: str
    unit: str  # inside
    display: str  # as people write it here
    known: Known | None
    taken_at: datetime | None
    age_s: float | None
    state: State
    why: str  # empty when fresh; else one phrase: "last reading 5 h old, stale after 2 h"
    qualifier: str = ""  # "<", ">", "ND" as reported

    @property
    def usable(self) -> Known | None:
        """The value if a setpoint may stand on it, else None."""
        return self.known if self.state == "fresh" else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """What a channel did over a stretch: times in UTC epoch seconds, values (NaN = gap), flags (0 = ok)."""

    channel: str
    times: NDArray[np.int64]
    values: NDArray[np.float64]
    flags: NDArray[np.uint8]

    @property
    def good(self) -> "Track":
        """The track without gaps and without doubtful or rejected values; censored values (< >) stay in."""
        keep = np.isfinite(self.values) & (self.flags != 1) & (self.flags != 2)
        return Track(channel=self.channel, times=self.times[keep], values=self.values[keep], flags=self.flags[keep])

    def __len__(self) -> int:
        return len(self.times)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """How a channel moved over the last `hours` h: least-squares slope [inside unit per s] over `n` good values."""

    channel: str
    hours: float
    slope: Known
    n: int
    first: Known
    last: Known
    word: Literal["rising", "falling", "level"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """Whether the plant takes water now. `state` is unknown when neither events nor flow tell."""

    state: Literal["running", "standing", "unknown"]
    since: datetime | None
    why: str
    intake_open: bool
    hours_today: Known  # filtering time since local midnight [s]


@dataclass(frozen=True, slots=True, kw_only=True)
class SimilarDoses:
    """What was fed in the hours at raw water like now's: the middle dose, the middle eight tenths, and its result."""

    hours: int
    middle: Known
    low: Known
    high: Known
    settled: Known | None  # middle of the settled turbidity they gave


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedInForce:
    """What a chemical feed is set to, and since when. None where nothing was recorded."""

    feed: str
    dose: Value  # [g/m^3] on the feed's own basis
    setting: Value  # fraction of full speed
    tank_level: Value  # [m]
    since: datetime | None  # of the last recorded dose change
    lowest_past_dose: Known | None  # range of doses used, over the period of `past`
    highest_past_dose: Known | None
    similar: SimilarDoses | None = None
    volume_ahead: Known | None = None  # of the basins and lines between the stream and this feed [m^3]
    raw_at_feed: Known | None = None  # raw turbidity, as it came in, of the water now at the feed [NTU]


@dataclass(frozen=True, slots=True, kw_only=True)
class PastDose:
    """One hour in which the plant ran steadily: raw turbidity, coagulant dose and the settled turbidity it gave."""

    at: datetime
    raw_turbidity: float
    dose: float
    settled_turbidity: float  # NaN where not measured


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """A rate of change over filtering time [inside unit per s], with an 80 percent band, from `n` readings."""

    middle: Known
    low: Known
    high: Known
    n: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FilterRun:
    """A filter's run since its last backwash (or since the records began)."""

    filter: str
    started_at: datetime | None
    start_known: bool  # False when no backwash is on record: then run hours and volume are unknown
    filtering: Known | None  # time with water through it [s]
    volume: Known | None  # filtered since the start [m^3]
    flow: Value
    head_loss: Value
    turbidity: Value
    head_loss_track: Track  # of this run
    turbidity_track: Track  # of this run
    starting_head_loss: Known | None  # about one hour into the run [m]
    filtered_hours: NDArray[np.float64]  # filtering time [h] at each point of head_loss_track
    own_meter: bool  # False: the flow is an equal share of the plant's
    head_loss_slope: Slope | None
    turbidity_slope: Slope | None  # over the last hours of filtering
    gaps: str = ""  # says so when flow was not recorded for part of the run


@dataclass(frozen=True, slots=True, kw_only=True)
class PastRun:
    """One finished run of a filter, from the records."""

    filter: str
    started_at: datetime
    ended_at: datetime
    clock_hours: float
    end_head_loss: float  # NaN when not recorded


@dataclass(frozen=True, slots=True, kw_only=True)
class Tank:
    """A tank with a level gauge: the level now and the lowest good level of the last hour."""

    stage: str
    level: Value
    lowest_in_hour: Known | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """Water taken by the village."""

    now: Value
    last_day: Known | None  # mean flow of the last 24 h [m^3/s]
    peak_hour: Known | None  # highest hourly mean of the last 24 h [m^3/s]
    by_hour: tuple[Known, ...]  # 24 mean flows by local hour of day over the last 14 days; empty when unknown
    basis: str  # "demand_flow", or how it was inferred


@dataclass(frozen=True, slots=True, kw_only=True)
class Oddity:
    """Something stale, missing or odd in the records."""

    channel: str
    kind: str  # stale, missing, flagged, stuck, spike, zero, gap, ...
    text: str
    at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """How the plant stands at one instant. Everything on a page for that instant comes from one of these."""

    plant: Plant
    at: datetime  # UTC
    zone: ZoneInfo
    demo: bool
    values: Mapping[str, Value]
    trends: Mapping[str, tuple[Trend, ...]]  # channel -> over 1 h and 3 h, shortest first
    tracks: Mapping[str, Track]  # of the last day, longer where a filter run or a passage asks for it
    flow_channel: str  # the plant's flow meter
    running: Running
    running_by_hour: tuple[float, ...]  # share of recent days on which the plant ran in each local hour; or empty
    usual_flow: Known | None  # median flow of the recent hours in which the plant ran [m^3/s]
    feeds: Mapping[str, FeedInForce]
    past_doses: tuple[PastDose, ...]  # at raw water like now's first
    runs: Mapping[str, FilterRun]
    past_runs: tuple[PastRun, ...]
    tanks: Mapping[str, Tank]
    demand: Demand
    outflow_peak: Known | None  # highest flow of the last hour through the contact stages [m^3/s]
    outflow_channel: str
    rain_today: Known | None  # [m] since local midnight
    events: tuple[Event, ...]  # of the last days, newest last
    odd: tuple[Oddity, ...]
    first_record: datetime | None
    tables_confirmed: str = ""  # by whom the contact-time tables were compared with print, by the records

    def value(self, channel: str) -> Value:
        """Return the channel's value; a channel that the plant does not have counts as missing."""
        found = self.values.get(channel)
        if found is not None:
            return found
        return Value(
            channel=channel,
            title=channel.replace("_", " "),
            unit="1",
            display="",
            known=None,
            taken_at=None,
            age_s=None,
            state="missing",
            why="this plant file has no such channel",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A day, a month, or any stretch [a, b): every channel's track and all events, as corrected."""

    plant: Plant
    a: datetime
    b: datetime
    zone: ZoneInfo
    tracks: Mapping[str, Track]
    events: tuple[Event, ...]
    before: Mapping[str, Value] = field(default_factory=dict)  # what was in force at a
    typed: Mapping[str, NDArray[np.int64]] = field(default_factory=dict)  # when a person, not a logger, read a channel

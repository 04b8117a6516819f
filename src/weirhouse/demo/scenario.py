"""What happens in Emberly's year? The invented dates: storms, frost, failures, people. Everything else follows."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("America/New_York")
OPERATOR = "R. Thorne (demo)"
RELIEF = "M. Okafor (demo)"
LABORATORY = "Harrow County laboratory (demo)"
LOGGER = "demo logger"
BENCH = "demo bench meter"
DEMO_NOTE = (
    "DEMO RECORDS. The village of Emberly, its plant, its people and every value in this folder are invented. "
    "Nothing here may be given to a regulator or used to run a plant."
)


def local(text: str) -> datetime:
    """Return the aware instant that the clock on Emberly's wall shows as `text` ("2026-02-10 14:05")."""
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)


YEAR_START = local("2025-11-01 00:00")
YEAR_END = local("2026-10-31 15:45")
MINUTES_FROM = local("2026-10-17 00:00")  # from here on some channels are kept every minute


@dataclass(frozen=True, slots=True)
class Storm:
    """A rain that browns the creek."""

    starts: datetime  # of the rain
    rain: float  # depth [m]
    lasts: float  # of the rain [h]
    peak: float  # turbidity above the creek's own [NTU]
    rise: float  # from first rise to peak [h]
    recession: float  # time constant of the falling limb [h]
    lag: float = 2.0  # from first rain to first rise [h]
    fixed: bool = False  # the seed does not move it


def _storm(starts: str, rain_mm: float, lasts: float, peak: float, rise: float, recession: float) -> Storm:
    return Storm(local(starts), rain_mm / 1000, lasts, peak, rise, recession)


STORMS = (
    _storm("2025-11-09 02:00", 24, 8, 38, 3.0, 14),
    _storm("2025-11-26 17:00", 30, 9, 55, 3.5, 16),
    _storm("2025-12-18 19:00", 52, 11, 240, 4.0, 10),  # great: rain on snow, peak in the night
    _storm("2026-01-09 11:00", 22, 7, 33, 3.0, 12),
    _storm("2026-02-24 06:00", 26, 8, 48, 4.5, 18),
    _storm("2026-03-16 18:30", 46, 12, 310, 4.5, 7),  # great: thaw
    _storm("2026-03-30 09:00", 20, 6, 30, 3.0, 22),
    _storm("2026-04-18 21:00", 28, 8, 62, 3.0, 15),
    _storm("2026-05-14 15:00", 24, 5, 44, 2.0, 12),
    _storm("2026-06-11 16:00", 32, 3, 95, 1.5, 10),
    _storm("2026-07-04 17:30", 36, 2.5, 128, 1.2, 9),
    _storm("2026-08-07 19:00", 27, 2, 70, 1.0, 9),
    _storm("2026-09-12 08:00", 78, 9, 420, 2.5, 5.5),  # great: the rest of a tropical storm, by day
    _storm("2026-10-05 12:00", 21, 6, 34, 2.5, 29),
    # the small one whose recession the year ends in
    Storm(local("2026-10-30 19:30"), 0.012, 4.0, 27.0, 2.5, 10.0, 1.5, fixed=True),
)
GREAT = 150.0  # [NTU] a storm above this is one of the three in which the intake is shut

FROST = (local("2026-01-19 18:00"), local("2026-01-27 12:00"))
FROST_AIR = -15.0  # [degC]
FROST_WATER = 0.2  # [degC]


@dataclass(frozen=True, slots=True)
class Span:
    """Something that lasts from one instant to another."""

    start: datetime
    end: datetime

    @property
    def seconds(self) -> tuple[int, int]:
        """Both ends in UTC epoch seconds."""
        return int(self.start.timestamp()), int(self.end.timestamp())


FORETOLD = Span(local("2026-09-11 17:00"), local("2026-09-12 10:00"))  # a tropical storm: the tank is kept full
SCREEN_BLINDED = Span(local("2025-11-18 08:00"), local("2025-11-18 13:20"))
POWER_FAILURE = Span(local("2026-02-10 14:05"), local("2026-02-10 17:40"))
PUMP_FAILED = Span(local("2026-05-06 10:20"), local("2026-05-06 11:05"))  # pump 1 out, pump 2 in service
PUMP_REPAIRED = local("2026-05-13 15:00")
RAW_STUCK = Span(local("2026-06-03 21:00"), local("2026-06-05 08:10"))
RELIEF_WEEK = Span(local("2026-07-13 00:00"), local("2026-07-20 00:00"))
TURBIDIMETER_DEAD = Span(local("2026-07-28 09:10"), local("2026-07-30 14:00"))  # combined filtered water
CHLORINE_DRIFT = Span(local("2026-08-14 06:00"), local("2026-08-19 10:00"))  # entry point analyser reads low
FILTER_1_ZERO = Span(local("2026-09-23 11:00"), local("2026-09-23 15:35"))  # sample line shut after cleaning
RAW_SPIKES = ((local("2026-05-22 03:15"), 842.0), (local("2026-08-24 13:30"), 311.0))  # air bubbles [NTU]
SETTLED_SPIKE = (local("2026-09-09 10:45"), 46.0)
DRAWDOWN = local("2026-04-14 13:00")  # a check of both feed pumps; the calibration is of October before
# filter: start of its last backwash; the year ends late in the run of filter 2
LAST_WASH = {1: local("2026-10-29 12:45"), 2: local("2026-10-28 12:15")}

FINAL_STOP = local("2026-10-30 19:30")  # as the last storm's rain begins
FINAL_START = local("2026-10-31 08:30")  # he lets the worst of it pass first


def operator_on(day: datetime) -> str:
    """Return who runs the plant at `day`."""
    return RELIEF if RELIEF_WEEK.start <= day < RELIEF_WEEK.end else OPERATOR


def hours(count: float) -> timedelta:
    """Return `count` hours."""
    return timedelta(hours=count)

"""Is it rising? The slope of a channel over the last hour and the last three."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from weirhouse.situation.model import Track, Trend
from weirhouse.situation.series import fit_line
from weirhouse.working import Known, Reading

HOURS = (1.0, 3.0)
# A change over the span smaller than this share of the level, or one that noise explains, is called level.
NOTICEABLE = 0.10


def trends(track: Track, title: str, unit: str, when: datetime, zone: ZoneInfo) -> tuple[Trend, ...]:
    """Return the trends of a channel, shortest span first; a span with fewer than three good values gives none."""
    good = track.good
    found = []
    now = when.timestamp()
    for hours in HOURS:
        keep = good.times >= now - hours * 3600
        times, values = good.times[keep], good.values[keep]
        line = fit_line(times.astype(float), values)
        if line is None or times[-1] - times[0] < hours * 1800:
            continue
        change = abs(line.slope) * hours * 3600
        level = abs(float(values.mean()))
        sure = abs(line.slope) > 2 * line.error and change > NOTICEABLE * max(level, 1e-12)
        word = ("rising" if line.slope > 0 else "falling") if sure else "level"

        def source(at: float, detail: str) -> Reading:
            return Reading(title, "", datetime.fromtimestamp(at, UTC).astimezone(zone), detail)

        end = float(times[-1])
        span = f"least squares through {line.n} readings of the last {hours:g} h"
        found.append(
            Trend(
                channel=track.channel,
                hours=hours,
                slope=Known(line.slope, source(end, span), f"{unit}/s"),
                n=line.n,
                first=Known(float(values[0]), source(float(times[0]), "first of the span"), unit),
                last=Known(float(values[-1]), source(end, "newest"), unit),
                word=word,  # type: ignore[arg-type]  # one of the three words above
            )
        )
    return tuple(found)

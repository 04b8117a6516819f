"""How does one measured thing look over time? A line with its gaps, doubtful values marked, limits named."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from weirhouse.pictures.svg import number, path, tag, text

Array = NDArray[np.float64]
WIDE, NARROW = (1120.0, 300.0), (390.0, 260.0)
MOST_POINTS = 700  # on a line; more are drawn as their lowest and highest in each step


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A level that a line is held against."""

    value: float
    name: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Band:
    """What lies between two lines over the same x: the wider it is, the less is known."""

    x: Array
    low: Array
    high: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """What is drawn: x ascending (epoch seconds, or hours), y in the display unit (NaN is a gap)."""

    x: Array
    y: Array
    doubtful: NDArray[np.bool_] | None = None
    unit: str
    limits: tuple[Limit, ...] = ()
    begin: float
    end: float
    zone: ZoneInfo | None = None  # with it x is time on the plant's clock; without, hours
    x_name: str = ""
    logarithmic: bool = False
    gap: float = math.inf  # further apart than this, two values are not joined
    steps: bool = False  # values that hold until the next: doses and settings
    ahead: tuple[tuple[float, float], ...] = field(default=())  # a line drawn on, beyond what is measured
    ahead_name: str = ""
    bands: tuple[Band, ...] = ()  # the widest first
    now: float | None = None  # where what is measured ends and what is foreseen begins


@dataclass(frozen=True, slots=True)
class _Frame:
    left: float
    right: float
    top: float
    foot: float
    x0: float
    x1: float
    low: float
    high: float
    logarithmic: bool

    def x(self, value: float) -> float:
        return self.left + (self.right - self.left) * (value - self.x0) / (self.x1 - self.x0)

    def y(self, value: float) -> float:
        if self.logarithmic:
            value, low, high = (math.log10(max(v, self.low)) for v in (value, self.low, self.high))
        else:
            low, high = self.low, self.high
        return self.foot - (self.foot - self.top) * (value - low) / (high - low)


def svg(chart: Chart, *, narrow: bool = False) -> str:
    """Return the picture, hidden from screen readers: a sentence and a table beside it say the same."""
    width, height = NARROW if narrow else WIDE
    at = _frame(chart, width, height)
    ticks = _ticks(at)
    body = [_grid(at, ticks, chart.unit), _bands(chart, at), _gaps(chart, at), _limits(chart, at), _now(chart, at)]
    body += [_line(chart, at), _marks(chart, at)]
    body.append(_time_axis(chart, at, chart.zone, narrow) if chart.zone is not None else _hour_axis(chart, at))
    return tag(
        "svg", "".join(body), viewBox=f"0 0 {number(width)} {number(height)}",
        class_=f"chart {'phone-only' if narrow else 'desk-only'}", aria_hidden="true", focusable="false",
        xmlns="http://www.w3.org/2000/svg",
    )  # fmt: skip


def _frame(chart: Chart, width: float, height: float) -> _Frame:
    shown = chart.y[np.isfinite(chart.y)]
    values = [*map(float, shown), *(y for _, y in chart.ahead)]
    for band in chart.bands:
        values += [float(v) for line in (band.low, band.high) for v in line[np.isfinite(line)]]
    top = max(values, default=1.0)
    near = [limit.value for limit in chart.limits if limit.value <= 4 * top or limit.value <= top]
    top = max([top, *near])
    if chart.logarithmic:
        positive = [v for v in values if v > 0]
        low = 10 ** math.floor(math.log10(max(min(positive, default=0.01), 1e-3)))
        high = max(10 ** math.ceil(math.log10(max(top, low * 10))), low * 10)
    else:
        least = min(values, default=0.0)
        low = 0.0 if least >= 0 and least < 0.6 * top else least - 0.1 * max(top - least, 0.02 * abs(top), 1e-9)
        high = top + 0.08 * max(top - low, 1e-9)
    return _Frame(52.0, width - 10.0, 30.0, height - 44.0, chart.begin, chart.end, low, high, chart.logarithmic)


def nice_step(span: float, most: int = 5) -> float:
    """Return a step of 1, 2 or 5 times a power of ten that parts a span into at most `most` pieces.

    >>> nice_step(7.3), nice_step(0.042)
    (2.0, 0.01)
    """
    raw = span / most
    power = 10 ** math.floor(math.log10(raw))
    return next(float(f"{m * power:.12g}") for m in (1.0, 2.0, 5.0, 10.0) if m * power >= raw * (1 - 1e-9))


def _ticks(at: _Frame) -> list[float]:
    if at.logarithmic:
        decades = range(round(math.log10(at.low)), round(math.log10(at.high)) + 1)
        each = (1.0,) if len(decades) > 3 else (1.0, 3.0)
        found = [m * 10.0**d for d in decades for m in each]
        return [v for v in found if v <= at.high * 1.001]
    step = nice_step(at.high - at.low)
    first = math.ceil(at.low / step - 1e-9)
    return [i * step for i in range(first, math.floor(at.high / step + 1e-9) + 1)]


def _grid(at: _Frame, ticks: Sequence[float], unit: str) -> str:
    out = [text(0, 13, unit, "tt-tick")]
    for value in ticks:
        y = at.y(value)
        out.append(tag("line", x1=at.left, x2=at.right, y1=y, y2=y, class_="ch-grid"))
        out.append(text(at.left - 8, y + 4, f"{value:.6g}", "tt-tick", "end"))
    return "".join(out)


def _pieces(chart: Chart) -> list[tuple[Array, Array]]:
    """Return the stretches of values without a gap in them."""
    found = []
    good = np.isfinite(chart.y)
    x, y = chart.x[good], chart.y[good]
    if not len(x):
        return []
    holes = np.interp(chart.x[~good], x, np.arange(len(x)), left=-1, right=len(x)) if (~good).any() else np.array([])
    breaks = set(np.flatnonzero(np.diff(x) > chart.gap) + 1) | {int(h) + 1 for h in holes if 0 <= h < len(x) - 1}
    edges = [0, *sorted(breaks), len(x)]
    for a, b in itertools.pairwise(edges):
        if b > a:
            found.append((x[a:b], y[a:b]))
    return found


def _gaps(chart: Chart, at: _Frame) -> str:
    out = []
    pieces = _pieces(chart)
    for (x, _), (later, _) in itertools.pairwise(pieces):
        a, b = at.x(float(x[-1])), at.x(float(later[0]))
        if b - a > 3:
            out.append(tag("rect", x=a, y=at.top, width=b - a, height=at.foot - at.top, class_="ch-gap"))
    return "".join(out)


def _bands(chart: Chart, at: _Frame) -> str:
    out = []
    for place, band in enumerate(chart.bands):
        good = np.isfinite(band.low) & np.isfinite(band.high)
        x, low, high = band.x[good], band.low[good], band.high[good]
        if len(x) < 2:
            continue
        edge = [(at.x(float(a)), at.y(float(b))) for a, b in zip(x, high, strict=True)]
        edge += [(at.x(float(a)), at.y(float(b))) for a, b in zip(x[::-1], low[::-1], strict=True)]
        out.append(tag("path", d=path(edge) + "Z", class_=f"ch-band ch-band-{min(place, 1)}"))
    return "".join(out)


def _now(chart: Chart, at: _Frame) -> str:
    if chart.now is None:
        return ""
    x = at.x(chart.now)
    return tag("line", x1=x, x2=x, y1=at.top - 8, y2=at.foot, class_="tt-now") + text(
        x, at.top - 14, "now", "tt-now-label", "start" if x < at.left + 20 else "middle"
    )


def _limits(chart: Chart, at: _Frame) -> str:
    out = []
    for limit in chart.limits:
        if not at.low <= limit.value <= at.high:
            continue
        y = at.y(limit.value)
        out.append(tag("line", x1=at.left, x2=at.right, y1=y, y2=y, class_="ch-limit"))
        below = y - at.top < 16
        out.append(text(at.right - 4, y + 14 if below else y - 5, limit.name, "tt-label tt-halo", "end"))
    return "".join(out)


def _thin(x: Array, y: Array) -> tuple[Array, Array]:
    """Return at most `MOST_POINTS` points that keep the lowest and the highest of each step."""
    if len(x) <= MOST_POINTS:
        return x, y
    keep: list[int] = []
    for part in np.array_split(np.arange(len(x)), MOST_POINTS // 2):
        keep += sorted({int(part[np.argmin(y[part])]), int(part[np.argmax(y[part])])})
    return x[keep], y[keep]


def _line(chart: Chart, at: _Frame) -> str:
    out = []
    for piece in _pieces(chart):
        x, y = _thin(*piece)
        points = [(at.x(float(a)), at.y(float(b))) for a, b in zip(x, y, strict=True)]
        if chart.steps:
            points = [
                p for i, (a, b) in enumerate(points) for p in ([(a, points[i - 1][1]), (a, b)] if i else [(a, b)])
            ]
        if len(points) > 1:
            out.append(tag("path", d=path(points), class_="ch-line"))
        if len(points) <= 60:
            shown = [(at.x(float(a)), at.y(float(b))) for a, b in zip(x, y, strict=True)]
            out += [tag("circle", cx=a, cy=b, r=2.6, class_="ch-dot") for a, b in shown]
    if chart.ahead:
        ahead = [(at.x(a), at.y(min(b, at.high))) for a, b in chart.ahead]
        out.append(tag("path", d=path(ahead), class_="ch-line ch-ahead"))
        out.append(text(min(ahead[-1][0], at.right) - 4, ahead[-1][1] + 18, chart.ahead_name, "tt-tick tt-halo", "end"))
    return "".join(out)


def _marks(chart: Chart, at: _Frame) -> str:
    if chart.doubtful is None:
        return ""
    which = np.flatnonzero(chart.doubtful & np.isfinite(chart.y))[:200]
    return "".join(
        tag("circle", cx=at.x(float(chart.x[i])), cy=at.y(float(chart.y[i])), r=4, class_="ch-bad") for i in which
    )


def _time_axis(chart: Chart, at: _Frame, zone: ZoneInfo, narrow: bool) -> str:
    hours = (chart.end - chart.begin) / 3600
    most = 5 if narrow else 12
    step = next((s for s in (1, 2, 3, 6, 12, 24, 48, 24 * 7, 24 * 14) if hours / s <= most), 24 * 31)
    out = [tag("line", x1=at.left, x2=at.right, y1=at.foot, y2=at.foot, class_="tt-axis")]
    moment = datetime.fromtimestamp(chart.begin, UTC).astimezone(zone)
    moment = moment.replace(minute=0, second=0, microsecond=0).astimezone(UTC)
    seen, last = "", -1e9
    while moment.timestamp() <= chart.end:
        local = moment.astimezone(zone)
        x = at.x(moment.timestamp())
        days = step / 24
        due = local.hour % step == 0 if step < 24 else local.hour == 0 and local.toordinal() % round(days) == 0
        if at.left - 1 <= x <= at.right + 1 and due and local.minute == 0:
            out.append(tag("line", x1=x, x2=x, y1=at.foot, y2=at.foot + 5, class_="tt-axis"))
            day = f"{local:%a} {local.day} {local:%b}"
            anchor = "end" if x > at.right - 22 else "middle"
            if step < 24:
                out.append(text(x, at.foot + 18, f"{local:%H:%M}", "tt-tick", anchor))
            if day != seen and x - last > 64 and x < at.right - 24:
                out.append(text(x, at.foot + (34 if step < 24 else 18), day, "tt-tick tt-day", anchor))
                seen, last = day, x
        moment += timedelta(hours=1)
    return "".join(out)


def _hour_axis(chart: Chart, at: _Frame) -> str:
    out = [tag("line", x1=at.left, x2=at.right, y1=at.foot, y2=at.foot, class_="tt-axis")]
    step = nice_step(chart.end - chart.begin, 8)
    for i in range(math.ceil(chart.begin / step), math.floor(chart.end / step + 1e-9) + 1):
        x = at.x(i * step)
        out.append(tag("line", x1=x, x2=x, y1=at.foot, y2=at.foot + 5, class_="tt-axis"))
        out.append(text(x, at.foot + 18, f"{i * step:g}", "tt-tick", "middle"))
    out.append(text(at.right, at.foot + 36, chart.x_name, "tt-tick", "end"))
    return "".join(out)

"""How does a result hang on one thing? A line through worked-out points, the present one marked, either axis by powers
of ten where it spans much.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from weirhouse.pictures.chart import nice_step
from weirhouse.pictures.svg import path, tag, text

WIDE, NARROW = (900.0, 340.0), (390.0, 300.0)
SPANS_MUCH = 20.0  # times: from there on an axis goes by powers of ten


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """What is drawn, in display units: x ascending, y with NaN where there is no result."""

    x: Sequence[float]
    y: Sequence[float]
    x_name: str
    y_name: str
    here: tuple[float, float] | None = None
    here_name: str = ""


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis: from low to high, straight or by powers of ten, laid on [start, end] of the picture."""

    low: float
    high: float
    logarithmic: bool
    start: float
    end: float

    def at(self, value: float) -> float:
        """Return where a value lies."""
        low, high = self.low, self.high
        if self.logarithmic:
            value, low, high = math.log10(max(value, low * 1e-6)), math.log10(low), math.log10(high)
        return self.start + (self.end - self.start) * (value - low) / (high - low)

    def ticks(self) -> list[float]:
        """Return the values to be written along it."""
        if not self.logarithmic:
            step = nice_step(self.high - self.low)
            first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
            return [i * step for i in range(first, last + 1)]
        decades = range(math.floor(math.log10(self.low)), math.ceil(math.log10(self.high)) + 1)
        each = (1.0,) if len(decades) > 4 else (1.0, 2.0, 5.0)
        found = [m * 10.0**d for d in decades for m in each]
        return [v for v in found if self.low * 0.999 <= v <= self.high * 1.001]


def spans_much(values: Sequence[float]) -> bool:
    """Return whether values are best shown by powers of ten.

    >>> spans_much([1.0, 30.0]), spans_much([1.0, 10.0]), spans_much([0.0, 30.0])
    (True, False, False)
    """
    real = [v for v in values if math.isfinite(v)]
    return bool(real) and min(real) > 0 and max(real) > SPANS_MUCH * min(real)


def axis(values: Sequence[float], start: float, end: float, *, snug: bool = False) -> Axis:
    """Return the axis for values; with `snug` it ends where they end, else there is air around them."""
    real = [v for v in values if math.isfinite(v)] or [0.0, 1.0]
    low, high = min(real), max(real)
    if spans_much(real):
        return Axis(low, high, True, start, end) if snug else Axis(low / 1.15, high * 1.15, True, start, end)
    if not snug:
        low = 0.0 if 0 <= low < 0.6 * high else low - 0.08 * (high - low)
        high = high + 0.08 * (high - low)
    if high - low <= 1e-12 * max(abs(low), abs(high), 1e-300):
        air = 0.5 * abs(high) or 1.0
        low, high = low - air, high + air
    return Axis(low, high, False, start, end)


def svg(curve: Curve, *, narrow: bool = False) -> str:
    """Return the picture, hidden from screen readers: a sentence and a table beside it say the same."""
    width, height = NARROW if narrow else WIDE
    here = [curve.here] if curve.here is not None else []
    x = axis([*curve.x, *(p[0] for p in here)], 64.0, width - 14.0, snug=True)
    y = axis([*curve.y, *(p[1] for p in here)], height - 46.0, 30.0)
    body = [text(0, 14, curve.y_name, "tt-tick"), _grid(x, y), _line(curve, x, y), _here(curve, x, y)]
    body.append(text(x.end, height - 6, curve.x_name, "tt-tick", "end"))
    return tag(
        "svg", "".join(body), viewBox=f"0 0 {width:g} {height:g}",
        class_=f"chart {'phone-only' if narrow else 'desk-only'}", aria_hidden="true", focusable="false",
        xmlns="http://www.w3.org/2000/svg",
    )  # fmt: skip


def _grid(x: Axis, y: Axis) -> str:
    out = [tag("line", x1=x.start, x2=x.end, y1=y.start, y2=y.start, class_="tt-axis")]
    for value in y.ticks():
        at = y.at(value)
        out.append(tag("line", x1=x.start, x2=x.end, y1=at, y2=at, class_="ch-grid"))
        out.append(text(x.start - 8, at + 4, f"{value:.6g}", "tt-tick", "end"))
    last = -1e9
    for value in x.ticks():
        at = x.at(value)
        out.append(tag("line", x1=at, x2=at, y1=y.start, y2=y.start + 5, class_="tt-axis"))
        if at - last > 44 and at < x.end + 2:
            out.append(text(at, y.start + 19, f"{value:.6g}", "tt-tick", "end" if at > x.end - 20 else "middle"))
            last = at
    return "".join(out)


def _line(curve: Curve, x: Axis, y: Axis) -> str:
    out, piece = [], []
    for a, b in [*zip(curve.x, curve.y, strict=True), (math.nan, math.nan)]:
        if math.isfinite(b):
            piece.append((x.at(a), y.at(b)))
            continue
        if len(piece) > 1:
            out.append(tag("path", d=path(piece), class_="ch-line ch-curve"))
        piece = []
    return "".join(out)


def _here(curve: Curve, x: Axis, y: Axis) -> str:
    if curve.here is None or not math.isfinite(curve.here[1]):
        return ""
    a, b = x.at(curve.here[0]), y.at(curve.here[1])
    right = a > (x.start + x.end) / 2
    above = b - 12 if b - 12 > y.end + 10 else b + 22
    return (
        tag("line", x1=a, x2=a, y1=b, y2=y.start, class_="ch-limit")
        + tag("line", x1=x.start, x2=a, y1=b, y2=b, class_="ch-limit")
        + tag("circle", cx=a, cy=b, r=6, class_="ch-here")
        + text(a - 10 if right else a + 10, above, curve.here_name, "tt-label tt-halo", "end" if right else "start")
    )

"""The few words of SVG that our pictures use. Every text and attribute is escaped; no style attribute is written."""

from collections.abc import Iterable
from html import escape
from typing import Any


def number(value: float) -> str:
    """Return a coordinate with one decimal at most: ``12``, ``12.5``."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def tag(name: str, body: str = "", **attributes: Any) -> str:
    """Return an element. ``class_`` gives class, underscores become hyphens (``data_parcel``), None leaves out.

    >>> tag("line", x1=0, y2=2.25, class_="rule")
    '<line x1="0" y2="2.2" class="rule"/>'
    """
    written = []
    for key, value in attributes.items():
        if value is None or value == "":
            continue
        word = {"class_": "class", "viewBox": "viewBox"}.get(key, key.replace("_", "-"))
        text = number(value) if isinstance(value, int | float) and not isinstance(value, bool) else escape(str(value))
        written.append(f' {word}="{text}"')
    head = f"<{name}{''.join(written)}"
    return f"{head}>{body}</{name}>" if body else f"{head}/>"


def text(x: float, y: float, words: str, class_: str = "", anchor: str = "start") -> str:
    """Return a text, escaped."""
    return tag("text", escape(words), x=x, y=y, class_=class_, text_anchor=None if anchor == "start" else anchor)


def path(points: Iterable[tuple[float, float]]) -> str:
    """Return the ``d`` of a line through points."""
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points)


class Labels:
    """Places labels one after the other so that none lies over another."""

    def __init__(self, left: float, right: float) -> None:
        self.left, self.right = left, right
        self.taken: list[tuple[float, float, float, float]] = []

    def block(self, x0: float, y0: float, x1: float, y1: float) -> None:
        """Keep a box free of labels."""
        self.taken.append((x0, y0, x1, y1))

    def place(
        self, x: float, ys: Iterable[float], words: str, size: float, class_: str = "", *, left_of: float | None = None
    ) -> str:
        """Return the text right of `x` or left of `left_of` at the first baseline of `ys` where it fits; else empty."""
        width = 0.56 * size * len(words)
        before = x if left_of is None else left_of
        for y in ys:
            for anchor, at in (("start", x + 4), ("end", before - 4), ("start", x + 20)):
                x0 = at if anchor == "start" else at - width
                box = (x0, y - size, x0 + width, y + 0.3 * size)
                if x0 < self.left or box[2] > self.right or any(_overlap(box, other) for other in self.taken):
                    continue
                self.taken.append(box)
                return text(at, y, words, class_, anchor)
        return ""


def _overlap(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]

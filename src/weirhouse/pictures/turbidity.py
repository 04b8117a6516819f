"""What colour is a turbidity? One logarithmic scale, from clear blue-grey through sand to umber.

Lightness (L of Oklab, B. Ottosson 2020, from memory) falls all the way, so that the scale reads in greyscale; the
lightest end still stands out from the paper by 3 to 1.
"""

import itertools
import math
from functools import lru_cache

LOWEST, HIGHEST = 0.02, 1000.0  # [NTU] ends of the scale; beyond them the colour stays
# share along the scale: L, a and b of Oklab (blue-grey, grey, sand, ochre, brown, umber)
_STOPS = (
    (0.0, 0.650, -0.020, -0.042),
    (0.24, 0.615, -0.014, -0.020),
    (0.44, 0.565, 0.006, 0.062),
    (0.60, 0.490, 0.022, 0.078),
    (0.80, 0.360, 0.030, 0.060),
    (1.0, 0.240, 0.018, 0.030),
)
TICKS = (0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0)


def share(turbidity: float) -> float:
    """Return where a turbidity [NTU] stands on the scale, from 0 (clear) to 1 (umber)."""
    held = min(max(turbidity, LOWEST), HIGHEST)
    return math.log(held / LOWEST) / math.log(HIGHEST / LOWEST)


def colour(turbidity: float) -> str:
    """Return the colour of a turbidity [NTU] as ``#rrggbb``; NaN has none and gives an empty text.

    >>> colour(float("nan")), colour(1e9) == colour(1000.0)
    ('', True)
    """
    if turbidity != turbidity:
        return ""
    return _at(round(share(turbidity) * 60))


@lru_cache(maxsize=64)
def _at(step: int) -> str:
    where = step / 60
    for (s0, *low), (s1, *high) in itertools.pairwise(_STOPS):
        if where <= s1:
            part = (where - s0) / (s1 - s0)
            return _hex(*(one + (other - one) * part for one, other in zip(low, high, strict=True)))
    raise AssertionError("the share of a scale is at most 1")


def _hex(lightness: float, a: float, b: float) -> str:
    long = (lightness + 0.3963377774 * a + 0.2158037573 * b) ** 3
    medium = (lightness - 0.1055613458 * a - 0.0638541728 * b) ** 3
    short = (lightness - 0.0894841775 * a - 1.2914855480 * b) ** 3
    linear = (
        4.0767416621 * long - 3.3077115913 * medium + 0.2309699292 * short,
        -1.2684380046 * long + 2.6097574011 * medium - 0.3413193965 * short,
        -0.0041960863 * long - 0.7034186147 * medium + 1.7076147010 * short,
    )
    return "#" + "".join(f"{round(255 * _gamma(min(max(v, 0.0), 1.0))):02x}" for v in linear)


def _gamma(value: float) -> float:
    return 12.92 * value if value <= 0.0031308 else 1.055 * float(value ** (1 / 2.4)) - 0.055


def luminance(colour: str) -> float:
    """Return the relative luminance (WCAG 2) of ``#rrggbb``."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def on(colour: str) -> str:
    """Return the class of text that reads best on a colour: ``on-dark`` or ``on-light``."""
    return "on-dark" if luminance(colour) < 0.18 else "on-light"

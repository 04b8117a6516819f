"""The one scale of turbidity: readable in greyscale, on white and on black."""

import itertools

import numpy as np
import pytest

from weirhouse.pictures import turbidity


def test_lightness_falls_all_the_way() -> None:
    steps = np.geomspace(turbidity.LOWEST, turbidity.HIGHEST, 61)
    light = [turbidity.luminance(turbidity.colour(float(v))) for v in steps]
    assert all(b < a for a, b in itertools.pairwise(light))


def test_the_scale_is_logarithmic() -> None:
    shares = [turbidity.share(v) for v in (0.1, 1.0, 10.0, 100.0)]
    assert np.diff(shares) == pytest.approx([np.diff(shares)[0]] * 3)


def test_the_clearest_water_stands_out_from_the_paper() -> None:
    # WCAG 2.2, success criterion 1.4.11: graphical objects have a contrast of at least 3 to 1
    paper = turbidity.luminance("#faf8f3")
    for value in np.geomspace(turbidity.LOWEST, turbidity.HIGHEST, 40):
        here = turbidity.luminance(turbidity.colour(float(value)))
        assert (paper + 0.05) / (here + 0.05) >= 3.0


def test_figures_on_the_scale_are_readable() -> None:
    # WCAG 2.2, success criterion 1.4.3: text has a contrast of at least 4.5 to 1
    ink = {"on-dark": 1.0, "on-light": 0.0}
    for value in np.geomspace(turbidity.LOWEST, turbidity.HIGHEST, 200):
        fill = turbidity.colour(float(value))
        pair = sorted((turbidity.luminance(fill), ink[turbidity.on(fill)]))
        assert (pair[1] + 0.05) / (pair[0] + 0.05) >= 4.5


def test_luminance_is_that_of_the_standard() -> None:
    # WCAG 2.2, relative luminance: white 1, black 0, and #767676 on white is 4.54 to 1 (its well-known grey)
    assert turbidity.luminance("#ffffff") == pytest.approx(1.0)
    assert turbidity.luminance("#000000") == 0.0
    assert 1.05 / (turbidity.luminance("#767676") + 0.05) == pytest.approx(4.54, abs=0.005)

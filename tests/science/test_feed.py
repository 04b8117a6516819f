"""Feeding: bases, dilution, calibration curve."""

import inspect
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirhouse.science import feed
from weirhouse.science.feed import (
    aluminium_dose,
    diluted_feed_rate,
    dilution_volume,
    dose_from_feed_rate,
    feed_rate,
    feed_rate_at_setting,
    mass_rate,
    product_dose,
    pump_setting,
    strength_from_trade_percent,
    tank_time_left,
)
from weirhouse.working import recording

SETTINGS = [0.10, 0.25, 0.50, 0.75, 1.0]
FEEDS = [value / 6e7 for value in (2.1, 5.0, 9.8, 14.5, 18.9)]  # mL/min
BASES = ["product", "Al2O3", "Al", "Cl2"]


@pytest.mark.parametrize("function", [feed.feed_rate, feed.dose_from_feed_rate, feed.product_dose, feed.aluminium_dose])
def test_the_basis_has_no_default(function):
    assert inspect.signature(function).parameters["basis"].default is inspect.Parameter.empty


def test_the_three_bases_of_a_coagulant_bring_the_same_product():
    # 17 percent Al2O3: 20 mg/L as product is 3.4 as Al2O3 and 3.4 x 2 x 26.9815 / 101.9613 = 1.7994 as Al
    flow, density = 0.009464, 1360.0
    as_product = feed_rate(20.0, flow, 0.17, density, "product")
    assert feed_rate(3.4, flow, 0.17, density, "Al2O3") == pytest.approx(as_product, rel=1e-12)
    assert feed_rate(1.7994, flow, 0.17, density, "Al") == pytest.approx(as_product, rel=2e-4)
    assert aluminium_dose(20.0, 0.17, "product") == pytest.approx(1.7994, rel=2e-4)


@given(
    dose=st.floats(0.1, 80),
    flow=st.floats(0.001, 0.05),
    strength=st.floats(0.05, 0.3),
    basis=st.sampled_from(BASES),
    dilution=st.floats(1, 10),
)
def test_dose_and_feed_undo_each_other(dose, flow, strength, basis, dilution):
    rate = feed_rate(dose, flow, strength, 1200.0, basis, dilution, dilutable=True)
    assert dose_from_feed_rate(rate, flow, strength, 1200.0, basis, dilution) == pytest.approx(dose, rel=1e-9)


def test_an_unknown_basis_is_refused_in_words():
    with pytest.raises(ValueError, match='basis must be product, Al2O3, Al or Cl2; it is "alum"'):
        product_dose(20.0, 0.17, "alum")
    with pytest.raises(ValueError, match=r'for a coagulant; it is "Cl2"'):
        aluminium_dose(2.0, 0.12, "Cl2")


def test_a_product_that_does_not_bear_dilution_is_refused_with_the_reason():
    with pytest.raises(ValueError, match=r"dilution must be 1 \(neat\) for this product; it is 4\. It does not bear"):
        diluted_feed_rate(1e-7, 4.0, dilutable=False)
    with pytest.raises(ValueError, match="breaks down"):
        dilution_volume(0.17, 0.05, 0.1, dilutable=False)
    with pytest.raises(ValueError, match="dilution"):
        feed_rate(20.0, 0.009, 0.17, 1360.0, "product", dilution=2.0, dilutable=False)


def test_strength_given_in_percent_instead_of_as_a_share_is_refused():
    with pytest.raises(ValueError, match=r"strength must not be above 1 \(100 percent\); it is 17\."):
        feed_rate(20.0, 0.009, 17.0, 1360.0, "Al2O3")


@pytest.mark.parametrize(("setting", "rate"), list(zip(SETTINGS, FEEDS, strict=True)))
def test_the_curve_passes_through_its_points(setting, rate):
    assert pump_setting(rate, SETTINGS, FEEDS) == pytest.approx(setting, abs=1e-12)
    assert feed_rate_at_setting(setting, SETTINGS, FEEDS) == pytest.approx(rate, rel=1e-12)


@given(st.floats(FEEDS[0], FEEDS[-1]))
def test_setting_and_feed_undo_each_other_and_numpy_agrees(rate):
    setting = pump_setting(rate, SETTINGS, FEEDS)
    assert setting == pytest.approx(np.interp(rate, FEEDS, SETTINGS), rel=1e-9)
    assert feed_rate_at_setting(setting, SETTINGS, FEEDS) == pytest.approx(rate, rel=1e-9)


def test_outside_the_curve_is_refused_with_the_ends_in_ml_per_minute():
    with pytest.raises(ValueError, match=r"above the highest point of the calibration curve, 18\.9 mL/min; it is 24\."):
        pump_setting(24.0 / 6e7, SETTINGS, FEEDS)
    with pytest.raises(ValueError, match=r"below the lowest point of the calibration curve, 2\.1 mL/min; it is 1\."):
        pump_setting(1.0 / 6e7, SETTINGS, FEEDS)
    with pytest.raises(ValueError, match="item 2 is 24"):
        pump_setting(np.array([5.0, 24.0]) / 6e7, SETTINGS, FEEDS)


@pytest.mark.parametrize(
    ("settings", "feeds", "words"),
    [
        ([0.5], [1e-7], "at least two points"),
        ([0.1, 0.5], [1e-7], "2 settings and 1 feeds"),
        ([0.1, 0.5, 0.4], [1e-7, 2e-7, 3e-7], "item 3 is 0.4 after 0.5"),
        ([0.1, 0.5], [1e-7, math.nan], "must rise"),
    ],
)
def test_a_curve_that_is_none_is_refused(settings, feeds, words):
    with pytest.raises(ValueError, match=words):
        pump_setting(1.5e-7, settings, feeds)


def test_the_working_of_a_feed_rate_shows_each_step():
    with recording() as sheet:
        feed_rate(1.8, 0.009464, strength=0.17, density=1360.0, basis="Al")
    (line,) = sheet.lines
    assert [below.formula.name for below in line.lines] == ["product_dose", "neat_feed_rate"]
    assert [step.formula.name for step in line.lines[0].lines] == [
        "al2o3_dose_from_aluminium",
        "product_dose_from_active",
    ]


def test_trade_percent_by_weight():
    # 12.5 trade percent is 125 g/L by definition; at 1.2 kg/L that is 10.4 percent by weight
    assert strength_from_trade_percent(0.125, 1200.0) == pytest.approx(125 / 1200)


def test_mass_rate_grows_with_dose_and_flow_and_is_nothing_without():
    assert mass_rate(0.0, 0.01) == 0.0 and mass_rate(10.0, 0.0) == 0.0
    assert mass_rate(20.0, 0.01) == pytest.approx(2 * mass_rate(10.0, 0.01))


def test_an_empty_tank_lasts_no_time():
    assert tank_time_left(0.0, 1e-7) == 0.0
    with pytest.raises(ValueError, match="feeds nothing"):
        tank_time_left(0.1, 0.0)

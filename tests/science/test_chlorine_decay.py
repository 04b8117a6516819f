"""Decay of chlorine: limits, and each form as a special case of another."""

import math

import numpy as np
import pytest

from weirhouse.science.chlorine import residual_after
from weirhouse.science.chlorine_decay import (
    decay_rate_at_temperature,
    residual_after_fast_and_slow,
    residual_after_tanks,
)

HOUR = 3600.0


def test_with_no_fast_part_it_is_plain_first_order_decay():
    plain = residual_after(1.2, 0.02 / HOUR, 10 * HOUR)
    assert residual_after_fast_and_slow(1.2, 0.0, 1 / HOUR, 0.02 / HOUR, 10 * HOUR) == pytest.approx(plain)
    assert residual_after_fast_and_slow(1.2, 0.4, 0.02 / HOUR, 0.02 / HOUR, 10 * HOUR) == pytest.approx(plain)


def test_after_hours_only_the_slow_part_is_left():
    left = residual_after_fast_and_slow(1.0, 0.4, 2 / HOUR, 0.01 / HOUR, 24 * HOUR)
    assert left == pytest.approx(0.6 * math.exp(-0.24), rel=1e-9)


def test_many_tanks_in_series_are_a_pipe_and_one_tank_keeps_more():
    # a stirred tank converts less by first order than a pipe of the same mean time; common practice, no source
    pipe = residual_after(1.2, 0.05 / HOUR, 24 * HOUR)
    assert residual_after_tanks(1.2, 0.05 / HOUR, 24 * HOUR, 1000.0) == pytest.approx(pipe, rel=1e-3)
    assert residual_after_tanks(1.2, 0.05 / HOUR, 24 * HOUR, 1.0) > pipe
    by_steps = 1.2
    for _ in range(3):  # the balance of one tank, three times
        by_steps /= 1 + 0.05 * 24 / 3
    assert residual_after_tanks(1.2, 0.05 / HOUR, 24 * HOUR, 3.0) == pytest.approx(by_steps)


def test_arrhenius_there_and_back():
    there = decay_rate_at_temperature(1e-5, 20.0, 5.0, 7000.0)
    assert there < 1e-5
    assert decay_rate_at_temperature(there, 5.0, 20.0, 7000.0) == pytest.approx(1e-5)
    assert decay_rate_at_temperature(1e-5, 8.0, 8.0) == 1e-5


def test_a_gap_in_time_is_a_gap_in_the_residual():
    found = residual_after_tanks(1.2, 1e-5, np.array([3600.0, math.nan]), 1.0)
    assert found[0] < 1.2 and np.isnan(found[1])

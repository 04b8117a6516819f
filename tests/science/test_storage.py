"""Storage and demand: check points and limits."""

import numpy as np
import pytest

from weirhouse.quantity import parse
from weirhouse.science.storage import (
    equalising_fraction,
    equalising_storage,
    fire_storage,
    level_for_pressure,
    peak_factor,
    peak_flow,
    peak_hour_demand,
    reserve_level,
    service_pressure,
    time_of_supply,
)

DAY = (
    "0.45 0.40 0.35 0.35 0.45 0.80 1.35 1.60 1.50 1.30 1.15 1.05 1.05 1.00 0.95 0.95 1.10 1.40 1.60 1.50 1.25 1.00"
    " 0.80 0.60"
)
HOURS = [float(value) for value in DAY.split()]


def test_cp_i1_equalising_fraction_of_a_day_with_two_peaks():
    assert equalising_fraction(HOURS) == pytest.approx(0.158, abs=6e-4)
    assert max(HOURS) / np.mean(HOURS) == pytest.approx(1.603, abs=6e-4)


def test_an_even_day_needs_no_storage_and_the_unit_does_not_matter():
    assert equalising_fraction([2.0] * 24) == pytest.approx(0.0, abs=1e-12)
    assert equalising_fraction([3 * v for v in HOURS]) == pytest.approx(equalising_fraction(HOURS))


def test_cp_i2_the_peak_formula_joins_at_220_people():
    # Fair, Geyer and Okun, p. 134: 9 below 220 people, 7 / P^0.167 above
    assert peak_factor(100.0) == 9.0 and peak_factor(220.0) == 9.0
    assert pytest.approx(9.01, abs=0.01) == 7 / 0.22**0.167
    assert peak_factor(1000.0) == pytest.approx(7.0)
    assert peak_flow(0.004, 1000.0) == pytest.approx(0.028)


def test_the_level_that_holds_20_psi_gives_20_psi_at_the_highest_service():
    level = level_for_pressure(highest_service=420.0, base_elevation=425.0, head_loss=1.5)
    assert service_pressure(level, 425.0, 420.0, 1.5) == pytest.approx(parse("20 psi", "Pa"), rel=1e-6)


def test_a_tank_high_enough_needs_no_level_for_pressure():
    # floor 1405 ft, highest customer 1356 ft: 49 ft are more than the 46.2 ft that make 20 psi (2.31 ft/psi)
    assert level_for_pressure(parse("1356 ft", "m"), parse("1405 ft", "m")) == 0.0
    assert level_for_pressure(parse("1356 ft", "m"), parse("1400 ft", "m")) == pytest.approx(
        parse("2.2 ft", "m"), abs=0.03
    )


def test_reserve_and_time_of_supply():
    assert reserve_level(1.0, 113.56, 65.67) == pytest.approx(2.729, abs=1e-3)
    assert time_of_supply(100.0, 150.0, 0.004) == 0.0, "below the reserve there is no time left"
    assert time_of_supply(294.0, 150.0, 0.004) == pytest.approx(36000.0)
    with pytest.raises(ValueError, match="demand must be above 0"):
        time_of_supply(294.0, 150.0, 0.0)


def test_fire_storage_of_500_gpm_for_2_h():
    # 500 gpm for 2 h is 60,000 gal, 227 m3 (example figure from memory)
    assert fire_storage(parse("500 gpm", "m^3/s"), 7200.0) == pytest.approx(parse("60000 gal", "m^3"), rel=1e-9)


def test_peak_hour_demand_by_hand():
    # Washington DOH manual, table from memory: 420 connections at 350 gpd have C 1.8 and F 125
    by_hand = 350 / 1440 * (1.8 * 420 + 125) + 18
    assert peak_hour_demand(parse("350 gal/day", "m^3/s"), 420.0) == pytest.approx(
        parse(f"{by_hand} gpm", "m^3/s"), rel=1e-4
    )
    per_connection = parse("350 gal/day", "m^3/s")
    np.testing.assert_allclose(
        peak_hour_demand(per_connection, np.array([50.0, 51.0, 420.0, 600.0])),
        [peak_hour_demand(per_connection, n) for n in (50.0, 51.0, 420.0, 600.0)],
    )
    with pytest.raises(ValueError, match="connections must not be below 15"):
        peak_hour_demand(per_connection, 9.0)


def test_equalising_storage_is_nothing_when_the_supply_suffices():
    assert equalising_storage(0.01, 0.02) == 0.0
    assert equalising_storage(0.02, 0.01) == pytest.approx(90.0)  # 0.01 m3/s for 150 minutes

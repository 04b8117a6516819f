"""The run of a filter: limits, balances, and a day worked out before."""

import math

import numpy as np
import pytest

from weirhouse.science.coagulant_dose import alum_dose_by_turbidity, dose_at_turbidity
from weirhouse.science.filter_run import (
    blocking_share,
    filter_coefficient_in_run,
    filter_deposit,
    filter_head_loss,
    remnant_turbidity,
    ripening_share,
)
from weirhouse.science.mixing import tip_speed
from weirhouse.science.residuals import sludge_depth


def test_a_washed_filter_starts_low_and_ripens_to_one():
    deposit = np.linspace(0.0, 300.0, 30)
    found = ripening_share(deposit)
    assert found[0] == 0.55 and np.all(np.diff(found) > 0) and found[-1] == pytest.approx(1.0, abs=1e-4)


def test_a_full_filter_catches_nothing_and_stays_at_nothing():
    assert blocking_share(0.0) == 1.0
    assert blocking_share(4000.0) == 0.0 == blocking_share(9000.0)


def test_a_ripe_clean_layer_at_the_reference_rate_has_its_reference_coefficient():
    assert filter_coefficient_in_run(8.0, 5 / 3600) == pytest.approx(8.0)
    assert filter_coefficient_in_run(8.0, 20 / 3600) == pytest.approx(4.0)  # by the root of the rate


def test_a_day_at_5_metres_an_hour_and_2_ntu():
    # by an independent script: deposit 0.35 kg/m2 and head 0.46 m clean, 1.21 m after the day, at 10 degC
    deposit = filter_deposit(2.0, 0.07, 5 / 3600, 24 * 3600.0)
    assert deposit == pytest.approx(0.35, abs=0.005)
    resistance = 0.35 / (5 / 3600)  # 0.35 m clean at 20 degC
    assert filter_head_loss(5 / 3600, 0.0, 0.0013059, resistance) == pytest.approx(0.46, abs=0.005)
    assert filter_head_loss(5 / 3600, deposit, 0.0013059, resistance) == pytest.approx(1.21, abs=0.02)


def test_the_remnant_fades_with_the_water_above_the_media():
    at_once = remnant_turbidity(15.0, 0.0488, 5 / 3600, 0.0, 0.3)
    assert at_once == pytest.approx(15 * 0.0488)
    assert remnant_turbidity(15.0, 0.0488, 5 / 3600, 216.0, 0.3) == pytest.approx(at_once / math.e)  # one exchange


def test_a_filter_that_loses_what_it_caught_is_said_so():
    with pytest.raises(ValueError, match=r"below filtered_turbidity; it is 0.1. The filter would be losing"):
        filter_deposit(0.1, 0.3, 5 / 3600, 3600.0)


@pytest.mark.parametrize(("turbidity", "table"), [(10, 27), (50, 43), (100, 60), (200, 77)])
def test_alum_of_a_small_plant_above_10_degc(turbidity, table):
    # table of a university laboratory note (scribd 96681178), which the formula meets within 2 mg/L
    assert alum_dose_by_turbidity(turbidity, 15.0) == pytest.approx(table, abs=2.1)


def test_dose_at_the_same_turbidity_is_the_same():
    assert dose_at_turbidity(20.0, 8.0, 8.0) == 20.0
    assert dose_at_turbidity(dose_at_turbidity(20.0, 8.0, 80.0), 80.0, 8.0) == pytest.approx(20.0)


def test_tip_speed_and_sludge():
    assert tip_speed(1.0, 1.0) == pytest.approx(math.pi)
    assert sludge_depth(250.0, 1.0, 250.0) == pytest.approx(1.0)

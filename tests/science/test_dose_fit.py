"""The fit of a dose to own days: against SciPy, against least squares, and that odd days and priors do their work."""

import math

import numpy as np
import pytest
from scipy import linalg, optimize, stats

from weirhouse.science.coagulant_dose import dose_by_regression
from weirhouse.science.dose_band import conformal_half_width
from weirhouse.science.dose_fit import HUBER, PRIOR, TERMS, fit_dose, gaussian_process, held_out_misses

NO_PRIOR = (math.inf,) * 5
TRUE = {
    "constant": 1.2, "turbidity_exponent": 0.32, "uv254_slope": 0.015, "temperature_slope": -0.012,
    "alkalinity_exponent": 0.08,
}  # fmt: skip


def days(n: int, spread: float = 0.08, seed: int = 4):
    random = np.random.default_rng(seed)
    water = {
        "turbidity": random.lognormal(2.5, 1.0, n), "uv254": random.uniform(5, 30, n),
        "temperature": random.uniform(1, 18, n), "alkalinity": random.lognormal(3.5, 0.4, n),
    }  # fmt: skip
    return {"dose": dose_by_regression(**water, **TRUE) * np.exp(spread * random.standard_normal(n))} | water


def design(data):
    return np.column_stack([
        np.ones(len(data["dose"])), np.log(data["turbidity"] + 1), data["uv254"], data["temperature"] - 10,
        np.log(data["alkalinity"]),
    ])  # fmt: skip


def test_exact_days_give_their_own_coefficients():
    found = fit_dose(**days(40, spread=0.0), prior_spread=NO_PRIOR)
    assert dict(zip(TERMS, found.coefficients, strict=True)) == pytest.approx(TRUE, abs=1e-9)


def test_against_scipys_huber_loss():
    data = days(60)
    data["dose"][:5] *= 3.0
    found = fit_dose(**data, prior_spread=NO_PRIOR)
    x, y = design(data), np.log(data["dose"])
    scipys = optimize.least_squares(
        lambda b: y - x @ b,
        np.array(PRIOR),
        loss="huber",
        f_scale=HUBER * found.spread,
        xtol=1e-14,
        ftol=1e-14,
        gtol=1e-14,
    )
    assert found.coefficients == pytest.approx(scipys.x, abs=2e-5)


def test_five_wild_days_hardly_move_it_where_least_squares_goes_astray():
    data = days(60)
    data["dose"][:5] *= 3.0
    robust = fit_dose(**data).coefficients
    plain = np.linalg.lstsq(design(data), np.log(data["dose"]), rcond=None)[0]
    water = np.array([1.0, math.log(31), 15.0, -2.0, math.log(35)])
    true = float(water @ np.array(list(TRUE.values())))
    assert abs(water @ robust - true) < 0.04 < abs(water @ plain - true)


def test_few_days_of_one_water_leave_the_prior_and_many_overrule_it():
    same = {name: np.full(9, value) for name, value in zip(days(1), (20.0, 8.0, 12.0, 6.0, 40.0), strict=True)}
    assert fit_dose(**same).coefficients[1:] == pytest.approx(PRIOR[1:], abs=1e-6)
    assert fit_dose(**days(2000)).coefficients[1] == pytest.approx(TRUE["turbidity_exponent"], abs=0.01)
    with pytest.raises(ValueError, match="do not tell the terms apart"):
        fit_dose(**same, prior_spread=NO_PRIOR)


def test_the_interval_is_students_with_the_leverage_of_the_design():
    data = days(50)
    found = fit_dose(**data)
    low, high = found.interval(8.0, 12.0, 6.0, 40.0, 0.95)
    middle = found.dose(8.0, 12.0, 6.0, 40.0)
    x = np.array([1.0, math.log(9), 12.0, -4.0, math.log(40)])
    half = stats.t.ppf(0.975, 45) * found.spread * math.sqrt(1 + x @ found.covariance @ x)
    assert (low, high) == pytest.approx((middle * math.exp(-half), middle * math.exp(half)))


def test_a_band_from_held_out_events_takes_in_the_days_to_come():
    past, ahead = days(120, seed=5), days(400, seed=6)
    misses = held_out_misses(**past, events=np.arange(120) // 4)
    half = conformal_half_width(misses, 0.8)
    fitted = fit_dose(**past).dose(*(ahead[name] for name in list(ahead)[1:]), beyond=True)
    assert np.mean(np.abs(np.log(ahead["dose"] / fitted)) <= half) == pytest.approx(0.8, abs=0.08)


def test_beyond_the_record_it_refuses_unless_told():
    found = fit_dose(**days(40))
    far = 1.4 * found.greatest_turbidity
    with pytest.raises(ValueError, match=r"1\.3 times the greatest of the record"):
        found.dose(far, 12.0, 6.0, 40.0)
    assert found.dose(far, 12.0, 6.0, 40.0, beyond=True) > 0


def test_days_with_a_gap_are_left_out_and_too_few_refused():
    data = days(30)
    data["uv254"][3] = math.nan
    assert fit_dose(**data).days == 29
    with pytest.raises(ValueError, match="8 whole days or more; there are 7"):
        fit_dose(**days(7))


def test_the_gaussian_process_is_the_conditional_normal_by_scipys_algebra():
    random = np.random.default_rng(2)
    x, at, y = random.normal(size=(12, 2)), random.normal(size=(5, 2)), random.normal(size=12)
    lengths = np.array([0.7, 1.5])
    both = np.vstack([x, at])
    apart = ((both[:, None] - both[None]) / lengths) ** 2
    joint = 0.5**2 * np.exp(-apart.sum(axis=-1) / 2)
    inverse = linalg.inv(joint[:12, :12] + 0.1**2 * np.eye(12))
    mean, spread = gaussian_process(x, y, at, lengths, 0.5, 0.1)
    assert mean == pytest.approx(joint[12:, :12] @ inverse @ y)
    assert spread**2 == pytest.approx(np.diag(joint[12:, 12:] - joint[12:, :12] @ inverse @ joint[:12, 12:]))

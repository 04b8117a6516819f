"""The band around a fitted dose: ranks by hand, NumPy's quantile, and that it takes in the share it promises."""

import math

import numpy as np
import pytest

from weirhouse.science.dose_band import conformal_half_width, dose_band_lower, dose_band_upper


def test_the_rank_by_hand():
    misses = [0.02 * k * (-1) ** k for k in range(1, 10)]  # nine, of sizes 0.02 to 0.18
    assert conformal_half_width(misses, 0.8) == pytest.approx(0.16)  # rank ceil(10 x 0.8) = 8
    assert conformal_half_width(misses, 0.9) == pytest.approx(0.18)
    assert conformal_half_width(misses, 0.55) == pytest.approx(0.12)  # rank ceil(5.5) = 6


@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.95])
def test_it_is_numpys_quantile_of_the_raised_share(confidence):
    sizes = np.random.default_rng(3).exponential(0.2, 57)
    share = math.ceil(58 * confidence) / 57
    expected = np.quantile(sizes, share, method="inverted_cdf")
    assert conformal_half_width(sizes, confidence) == pytest.approx(expected, rel=1e-12)


def test_it_takes_in_the_share_it_promises_whatever_the_misses_look_like():
    """Theory (Lei and others 2018, from memory): between the share and the share + 1/(n + 1), here 0.80 to 0.84."""
    random = np.random.default_rng(8)
    draws = random.standard_t(2, (8000, 26)) * 0.2 + 0.05  # heavy tails, off centre
    caught = [abs(row[-1]) <= conformal_half_width(row[:-1], 0.8) for row in draws]
    assert 0.80 - 0.015 < np.mean(caught) < 0.84 + 0.015


def test_the_ends_lie_a_like_factor_off_the_dose():
    upper, lower = dose_band_upper(20.0, 0.3, 50.0, 100.0), dose_band_lower(20.0, 0.3, 50.0, 100.0)
    assert upper / 20.0 == pytest.approx(20.0 / lower) == pytest.approx(math.exp(0.3))


def test_a_storm_beyond_the_record_gets_no_band():
    assert dose_band_upper(20.0, 0.3, 130.0, 100.0) > 20.0
    with pytest.raises(ValueError, match=r"1.3 times the greatest of the record; it is 131. No day of the record"):
        dose_band_upper(20.0, 0.3, 131.0, 100.0)


def test_four_days_bear_no_95_percent():
    with pytest.raises(ValueError, match=r"at most n/\(n \+ 1\) for n misses, here 0.8; it is 0.95. Hold back more"):
        conformal_half_width([0.1, 0.2, 0.3, 0.4], 0.95)
    with pytest.raises(ValueError, match="Hold some days back"):
        conformal_half_width([], 0.8)

"""Statistics against SciPy and NumPy, which the package itself does not load."""

import math
import subprocess
import sys

import numpy as np
import pytest
import scipy.stats

from weirhouse.science.statistics import (
    average,
    coefficient_of_variation,
    log_removal,
    percentile,
    running_annual_average,
    share_at_or_below,
    standard_deviation,
)

READINGS = [0.05, 0.04, 0.31, 0.06, 0.05, 0.09, 0.12, 0.04, 0.28, 0.05, 0.07]


@pytest.mark.parametrize("share", [0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99])
def test_percentile_against_scipy(share):
    # alphap = betap = 0 is the N + 1 rank rule
    theirs = scipy.stats.mstats.mquantiles(READINGS, [share], alphap=0, betap=0)[0]
    assert percentile(READINGS, share) == pytest.approx(theirs, rel=1e-12)
    assert percentile(READINGS, share) == pytest.approx(np.percentile(READINGS, 100 * share, method="weibull"))


def test_deviation_and_variation_against_scipy():
    assert standard_deviation(READINGS) == pytest.approx(scipy.stats.tstd(READINGS))
    assert coefficient_of_variation(READINGS) == pytest.approx(scipy.stats.variation(READINGS, ddof=1))


def test_a_gap_among_the_readings_is_a_gap_in_the_answer():
    for function in (average, standard_deviation):
        assert math.isnan(function([0.1, math.nan, 0.3]))
    assert math.isnan(percentile([0.1, math.nan, 0.3], 0.5))
    assert math.isnan(share_at_or_below([0.1, math.nan], 0.3))


def test_share_at_the_limit_counts_as_kept():
    assert share_at_or_below([0.3, 0.31], 0.3) == 0.5


def test_three_quarters_are_no_year():
    with pytest.raises(ValueError, match="values must be 4 or more; there are 3"):
        running_annual_average([48.0, 72.0, 76.0])


def test_what_was_not_detected_has_no_log_removal():
    with pytest.raises(ValueError, match="leaving must be above 0"):
        log_removal(100.0, 0.0)


def test_no_formula_loads_scipy_stats():
    code = (
        "import sys; from weirhouse.working import formulas; formulas();"
        "from weirhouse.science.residence_time import residence_time_quantile as q; q(0.1, 36.0, 0.01, 3.0);"
        "sys.exit('scipy.stats' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0

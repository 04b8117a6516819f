"""The quantile of the fault flags, against a general-purpose library."""

import numpy as np
import pytest

from weirhouse.records.faults import quantile


@pytest.mark.parametrize("share", [0.0, 0.05, 0.1, 0.5, 0.75, 0.9, 1.0])
@pytest.mark.parametrize("shape", [(1,), (2,), (7,), (100,), (5, 24)])
def test_equals_numpy(shape, share):
    values = np.random.default_rng(3).lognormal(size=shape)
    assert quantile(values, share) == pytest.approx(np.quantile(values, share, axis=-1), rel=1e-12)

"""Earlier theories of the collector, for comparison."""

import numpy as np
import pytest

from weirhouse.science.collector_forms import collector_efficiency_rajagopalan_tien, collector_efficiency_yao
from weirhouse.science.filtration import collector_efficiency

CASE = 5e-4, 5 / 3600  # grain 0.5 mm at 5 m/h


@pytest.mark.parametrize(("size", "yao", "trajectory"), [(1e-6, 3.174e-4, 1.063e-3), (1e-5, 2.691e-3, 5.735e-3)])
def test_both_at_20_degc(size, yao, trajectory):
    # worked out by an independent script from the same forms, which are from memory: they show that nothing is mistyped
    assert collector_efficiency_yao(size, *CASE, 20.0) == pytest.approx(yao, rel=2e-3)
    assert collector_efficiency_rajagopalan_tien(size, *CASE, 0.42, 20.0) == pytest.approx(trajectory, rel=2e-3)


def test_all_theories_find_least_contact_near_a_micrometre():
    sizes = np.geomspace(2e-7, 1e-5, 60)
    for found in (
        collector_efficiency_yao(sizes, *CASE, 10.0),
        collector_efficiency_rajagopalan_tien(sizes, *CASE, 0.42, 10.0),
        collector_efficiency(sizes, *CASE, 0.42, 10.0),
    ):
        assert 5e-7 < sizes[found.argmin()] < 3e-6


def test_a_particle_that_is_strained_is_refused():
    with pytest.raises(ValueError, match="particle_size must be below a tenth of grain_size"):
        collector_efficiency_yao(1e-4, *CASE, 10.0)

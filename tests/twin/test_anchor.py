"""Members drawn to the plant's readings show them, and keep their doubt."""

import numpy as np
import pytest
from tests.twin import plants

from weirhouse.twin.anchor import Readings, anchored
from weirhouse.twin.compile import compile_plant
from weirhouse.twin.parameters import sample
from weirhouse.twin.policy import forcing, habit
from weirhouse.twin.run import run
from weirhouse.twin.start import init
from weirhouse.twin.state import Start

SHOWN = Readings(settled=0.9, filtered=0.05, head_rise=0.04 / 3600, clean_head=0.4)


def test_members_drawn_to_readings_run_as_the_plant_does() -> None:
    compiled = compile_plant(plants.usual())
    policy, start = habit(compiled, stop_above=2.0, wash_time=np.inf), Start(turbidity=6.0, run_time=(7200.0, 7200.0))
    drawn = sample(compiled, 200, 5)
    p = anchored(compiled, drawn, start, policy, SHOWN, seed=5)
    calm = forcing(np.full((1, 8), 6.0), interval=3600.0, temperature=10.0, demand=0.009)
    result = run(compiled, p, init(compiled, p, start, policy), calm, policy)
    settled, filtered = result.path("settled")[:, -1], result.path("combined")[:, -1]
    assert float(np.median(settled)) == pytest.approx(0.9, rel=0.1)
    assert 0.1 < float(np.std(np.log(settled))) < 0.4
    assert float(np.median(filtered)) == pytest.approx(0.05, rel=0.3)
    rise = (result.path("filter_1.head")[:, -1] - result.path("filter_1.head")[:, 7]) / 6
    assert float(np.median(rise)) == pytest.approx(0.04, rel=0.35)
    before = run(compiled, drawn, init(compiled, drawn, start, policy), calm, policy)
    assert float(np.std(np.log(before.path("combined")[:, -1]))) > 1.5 * float(np.std(np.log(filtered)))


def test_the_same_seed_draws_the_same_members() -> None:
    compiled = compile_plant(plants.usual())
    p, policy = sample(compiled, 5, 1), habit(compiled)
    one, two = (anchored(compiled, p, Start(), policy, SHOWN, seed=3) for _ in range(2))
    assert all(np.array_equal(a, b) for a, b in zip(one, two, strict=True))


def test_without_readings_nothing_moves() -> None:
    compiled = compile_plant(plants.usual())
    p, policy = sample(compiled, 5, 1), habit(compiled)
    same = anchored(compiled, p, Start(), policy, Readings(), seed=3)
    assert all(np.array_equal(a, b) for a, b in zip(same, p, strict=True))

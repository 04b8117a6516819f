"""Has each fault its place still, and its test? ``python -m tools.planted_faults`` plants them."""

import re
from pathlib import Path

import pytest
from tools.planted_faults import FAULTS, ROOT, Fault, times


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.what)
def test_a_fault_can_be_planted_and_names_a_test_that_is_there(fault: Fault) -> None:
    assert times(fault) >= 1
    assert fault.planted != fault.stands
    file, _, test = fault.test.partition("::")
    assert (ROOT / file).is_file()
    if test:
        assert re.search(rf"^def {test}\(", Path(ROOT / file).read_text("utf-8"), re.MULTILINE)


def test_there_are_twenty_and_no_two_are_the_same() -> None:
    assert len({(fault.file, fault.stands) for fault in FAULTS}) == len(FAULTS) >= 20

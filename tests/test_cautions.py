"""The cautions beside the formulas: chemicals, confined spaces, machines; each topic and name is one that exists."""

import pytest

from weirhouse.cautions import FORMULAS, TOPICS, caution
from weirhouse.working import formulas

NAMES = {
    "hypochlorite_volume": "gives off chlorine gas",
    "dilution_volume": "safety data sheet",
    "stock_volume": "safety data sheet",
    "lime_for_alkalinity": "safety data sheet",
    "feed_rate": "safety data sheet",
    "pump_setting": "safety data sheet",
    "alkalinity_from_titration": "acid",
    "detention_time": "confined space",
    "sludge_depth": "confined space",
    "volume_at_level": "confined space",
    "backwash_rate": "confined space",
    "motor_power": "Lock out",
    "paddle_power": "Lock out",
    "ct_required": "permit",
    "heat_trace": "ground-fault",
    "standard_deviation": "",
}


@pytest.mark.parametrize("name", NAMES)
def test_work_that_can_hurt_comes_with_its_caution(name: str):
    found = caution(formulas()[name])
    assert NAMES[name] in found
    assert bool(found) == bool(NAMES[name])


def test_topics_and_names_are_those_of_formulas():
    topics = {formula.function.__module__.rpartition(".")[2] for formula in formulas().values()}
    assert set(TOPICS) <= topics
    assert set(FORMULAS) <= set(formulas())


def test_a_caution_is_a_plain_sentence():
    for text in {caution(formula) for formula in formulas().values()} - {""}:
        assert text.endswith(".") and "!" not in text and "\n" not in text and len(text) < 260

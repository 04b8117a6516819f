"""A reading that is missing, stale or flagged: exactly what stands on it cannot tell, and no setpoint is given.

And the other way round: a reading that changes moves exactly the advice that names it.
"""

from collections.abc import Iterator
from datetime import timedelta

import pytest
from tests.desk.scene import NOW, QUIET, Scene, today_at
from tests.desk.spoilt import Spoilt

from weirhouse.desk.model import Advice, Today
from weirhouse.desk.order import key_channels
from weirhouse.plant import Plant
from weirhouse.records.store import Store
from weirhouse.situation.at import at

WAYS = ("missing", "stale", "flagged")
KEYS = ("raw_turbidity", "plant_flow", "combined_turbidity", "contact_chlorine", "entry_chlorine")
# Where the plant has another way to know, it takes that: these stay known.
FALLS_BACK = {
    ("filter_1_flow", "missing"): {"run_filter_1"},  # a filter without a meter has its share of the plant's flow
    ("filter_2_flow", "missing"): {"run_filter_2"},
    ("rain", "missing"): {"backwash"},  # rain that is not known counts as wet: the sewer's lower limit holds
    ("rain", "stale"): {"backwash"},
    ("rain", "flagged"): {"backwash"},
}


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Store, Plant, Today]]:
    scene = Scene(tmp_path_factory.mktemp("doubt") / "plant").quiet()
    with scene.build() as store:
        yield store, scene.plant, today_at(store, scene.plant, NOW)


def spoilt(week: tuple[Store, Plant, Today], channel: str, how: str, factor: float = 1.0) -> Today:
    store, plant, _ = week
    age = timedelta(seconds=plant.channels[channel].stale_after or 0.0) + timedelta(hours=1)
    return today_at(Spoilt(store, channel, how, now=NOW, age=age, factor=factor), plant, NOW)  # type: ignore[arg-type]


def unknown(found: Today) -> set[str]:
    return {line.id for line in found.advice if line.state == "unknown"}


def test_the_quiet_week_knows_everything(week):
    _, plant, quiet = week
    assert unknown(quiet) == set()
    assert quiet.order_state != "unknown"
    named = {channel for line in quiet.advice for channel in line.depends}
    assert set(KEYS) <= named <= set(plant.channels)


@pytest.mark.parametrize("how", WAYS)
@pytest.mark.parametrize("channel", sorted(QUIET))
def test_exactly_what_depends_on_a_doubtful_reading_cannot_tell(week, channel, how):
    _, _, quiet = week
    found = spoilt(week, channel, how)
    expected = {line.id for line in quiet.advice if channel in line.depends} - FALLS_BACK.get((channel, how), set())
    assert unknown(found) == expected
    for line in found.advice:
        if line.state == "unknown":
            assert line.value is None and line.shown == ""
            assert line.check, f"{line.id} does not say what to check"
            assert line.working is None
    gaps = found.line("gaps")
    assert channel in gaps.depends and gaps.state == "soon"


@pytest.mark.parametrize("how", WAYS)
@pytest.mark.parametrize("channel", KEYS)
def test_no_setpoint_is_in_the_order_when_a_key_reading_is_doubtful(week, channel, how):
    _, plant, quiet = week
    found = spoilt(week, channel, how)
    assert found.order_state == "unknown"
    assert found.order.startswith("Check first: ")
    assert plant.channels[channel].name in found.order
    setpoints = {line.shown for line in quiet.advice if line.id.endswith(("_dose", "_setting", "_flow")) and line.shown}
    assert len(setpoints) >= 4
    assert not any(shown in found.order for shown in setpoints)


def test_the_keys_are_what_the_order_looks_at(week):
    store, plant, _ = week
    assert set(key_channels(at(store, plant, NOW))) == set(KEYS)


def test_a_doubtful_reading_at_an_action_level_is_told(week):
    """The newest value is always shown: one at a stop level is to be taken as reached until the check."""
    store, plant, _ = week

    class Both(Spoilt):
        def latest(self, channel, moment):
            point = super().latest(channel, moment)
            return point and type(point)(time=point.time, value=1.4, flag=1) if channel == self.channel else point

    found = today_at(Both(store, "combined_turbidity", "flagged", now=NOW), plant, NOW)  # type: ignore[arg-type]
    assert found.order_state == "unknown"
    assert "is at your stop level: treat it as reached until checked" in found.order


# --- a reading that changes


def said(line: Advice) -> tuple[object, ...]:
    value = None if line.value is None else round(line.value, 12)
    return value, line.shown, line.state, line.action


def moved(before: Today, after: Today) -> set[str]:
    old = {line.id: said(line) for line in before.advice}
    return {line.id for line in after.advice if old.get(line.id) != said(line)}


@pytest.mark.parametrize("factor", [0.8, 1.3])
@pytest.mark.parametrize("channel", sorted(QUIET))
def test_what_moves_names_the_reading(week, channel, factor):
    _, _, quiet = week
    found = spoilt(week, channel, "changed", factor)
    for id in moved(quiet, found):
        line = found.line(id)
        assert channel in (*line.depends, *line.uses) or id == "gaps", f"{id} moved, but does not name {channel}"


EXACTLY = {
    ("raw_turbidity", 3.0): {
        "action_raw_turbidity_above_hold", "raw_water", "coagulant_dose", "coagulant_feed", "coagulant_setting",
        "coagulant_tank", "coagulant_alkalinity", "coagulant_ph", "coagulant_arrival",
    },
    ("coagulant_tank_level", 0.8): {"coagulant_tank"},
    ("raw_alkalinity", 0.8): {"coagulant_alkalinity", "coagulant_ph"},
    ("raw_ph", 1.05): {"coagulant_ph"},
    ("storage_level", 0.8): {"storage_hours", "standstill"},
    ("filter_1_head_loss", 2.6): {"run_filter_1"},
    ("intake_head_loss", 1.3): {"intake_screen"},
    ("contact_ph", 1.1): {"contact_time"},
    ("entry_chlorine", 0.8): {
        "action_entry_chlorine_below_hold", "chlorine_residual", "contact_time", "month_residual",
    },
}  # fmt: skip


@pytest.mark.parametrize(("channel", "factor"), EXACTLY)
def test_a_changed_reading_moves_exactly_this(week, channel, factor):
    _, _, quiet = week
    assert moved(quiet, spoilt(week, channel, "changed", factor)) == EXACTLY[channel, factor]

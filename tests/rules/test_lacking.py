"""A plant that lacks things: no permit, no channel, no filter, no records. It is told what is lacking, never a pass."""

import dataclasses

import msgspec
import numpy as np
import pytest
from tests.rules.planted import EMBERLY, FEDERAL, GOOD, OURS, Planted

from weirhouse.plant.model import Plant
from weirhouse.rules.month import evaluate_month
from weirhouse.situation.gather import empty_track
from weirhouse.situation.model import Stretch

CONTINUOUS = ("cfe", "ife", "ep_", "tt_")


def judged(home: Plant, stretch: Stretch) -> dict[tuple[str, str], str]:
    result = evaluate_month(home, stretch, packs=OURS, month=Planted().first)
    for outcome in result.outcomes:
        assert outcome.sentence or outcome.status == "does not apply"
        assert "nan" not in f"{outcome.sentence} {outcome.shown}".split()
        _ = outcome.counted, outcome.not_counted
        if outcome.sheet is not None:
            assert outcome.sheet.text("US") is not None
    return {(o.requirement.id, o.subject): o.status for o in result.outcomes}


def without(home: Plant, **parts: object) -> Plant:
    return msgspec.structs.replace(home, **parts)


@pytest.mark.parametrize("channel", [*GOOD, "all"])
def test_a_channel_that_is_not_there(channel: str) -> None:
    planted = Planted()
    gone = set(GOOD) if channel == "all" else {channel}
    home = without(EMBERLY, channels={id: c for id, c in EMBERLY.channels.items() if id not in gone})
    stretch = planted.stretch()
    cut = dataclasses.replace(stretch, plant=home, tracks={id: t for id, t in stretch.tracks.items() if id not in gone})
    found = judged(home, cut)
    assert "broken" not in {s for (id, _), s in found.items() if id.startswith(("cfe_95", "cfe_max", "tt_"))}
    if channel in ("combined_turbidity", "all"):
        assert found["cfe_max_small", "combined_turbidity"] == "cannot tell"
    if channel in ("contact_chlorine", "plant_flow", "contact_level", "contact_temperature", "contact_ph"):
        # another channel may stand in for residual, pH or temperature, where the plant file has one
        assert found["tt_giardia", ""] in ("cannot tell", "met")


@pytest.mark.parametrize("what", ["empty tracks", "no tracks", "one row", "only gaps"])
def test_records_that_hold_nothing(what: str) -> None:
    planted = Planted()
    stretch = planted.stretch()
    tracks = {
        "empty tracks": {id: empty_track(id) for id in GOOD},
        "no tracks": {},
        "one row": {
            id: dataclasses.replace(t, times=t.times[:1], values=t.values[:1], flags=t.flags[:1])
            for id, t in stretch.tracks.items()
        },
        "only gaps": {
            id: dataclasses.replace(t, values=np.full(len(t.values), np.nan)) for id, t in stretch.tracks.items()
        },
    }[what]
    found = judged(EMBERLY, dataclasses.replace(stretch, tracks=tracks))
    assert "met" not in {s for (id, _), s in found.items() if id.startswith(CONTINUOUS)}


@pytest.mark.parametrize(
    "parts",
    [
        {"permit": None}, {"population": None}, {"design_flow": None}, {"telephone": ()}, {"stages": ()},
        {"permit": None, "population": None, "stages": (), "telephone": ()},
    ],
    ids=["permit", "population", "design flow", "telephone", "stages", "all"],
)  # fmt: skip
def test_a_plant_file_that_lacks_a_part(parts: dict[str, object]) -> None:
    home = without(EMBERLY, **parts)
    stretch = dataclasses.replace(Planted().put("combined_turbidity", "14 07:45", 1.3).stretch(), plant=home)
    found = judged(home, stretch)
    if "permit" in parts or "stages" in parts:
        assert found["tt_giardia", ""] == "cannot tell"
    if "permit" in parts:
        assert found["cfe_95_small", ""] == "cannot tell"


def test_before_the_month_begins_and_as_it_begins() -> None:
    planted = Planted(packs=FEDERAL)
    for now in ("01 00:00", "01 00:10", "01 04:00"):
        result = planted.judge(now=now)
        assert "met" not in {o.status for o in result.outcomes if o.requirement.id.startswith(CONTINUOUS)}

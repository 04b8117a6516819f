"""Every table and field of the plant file is in its reference, with an example that is read as it stands."""

import re
from pathlib import Path

import msgspec
import pytest

from weirhouse.plant import model
from weirhouse.plant.load import parse_plant
from weirhouse.plant.template import template

PAGE = (Path(__file__).parents[2] / "docs" / "plant-file.md").read_text("utf-8")
ROW = re.compile(r"^\| (\*\*)?([a-z_0-9]+)(?:\*\*)? \| (.*?) ?\| (.*?) ?\|$")
INNER = {
    model.Pump: "Each `[[train.pump]]`", model.DayTank: "`day_tank`", model.Calibration: "`calibration`:",
    model.Compartment: "Each compartment", model.Blowdown: "`blowdown`:", model.Backwash: "`backwash`:",
    model.Filter: "Each `[[train.filter]]`", model.Layer: "Each `[[train.filter.layer]]`", model.Tracer: "`tracer`:",
    model.WetWeather: "`wet_weather`:", model.Permit: "## [permit]", model.Sewer: "## [sewer]",
    model.Action: "## [[action]]", model.Shutdown: "## [[shutdown]]", model.Channel: "## [channel.ID]",
    model.Telephone: "## [[telephone]]", model.Backup: "## [[backup]]",
    model.Records: "## [records]",
}  # fmt: skip
PLACES = {**{kind: f"### {name}\n" for name, kind in model.STAGES.items()}, **INNER}
ELSEWHERE = {model.Channel: {"id", "inside"}}  # the table's own name; worked out from the unit
FIRST = {"kind", "id", "name"}  # of every stage, told once


def table_after(heading: str) -> dict[str, tuple[bool, str]]:
    """Return the fields of the table that follows a heading: whether each must be there, and its example."""
    found: dict[str, tuple[bool, str]] = {}
    for line in PAGE[PAGE.index(f"\n{heading}") :].splitlines()[2:]:
        row = ROW.match(line)
        if row:
            if row[2] != "field":
                found[row[2]] = (bool(row[1]), row[4].strip())
        elif found or line.startswith("#"):
            break
    return found


def test_every_part_of_the_model_has_its_place():
    parts = {
        kind
        for kind in vars(model).values()
        if isinstance(kind, type) and issubclass(kind, model.Part) and kind not in (model.Part, model.Stage)
    }
    assert parts == set(PLACES)


@pytest.mark.parametrize("kind", PLACES, ids=lambda kind: kind.__name__)
def test_every_field_is_documented_and_nothing_else(kind: type[msgspec.Struct]):
    fields = {f.encode_name: f.required for f in msgspec.structs.fields(kind)}
    told = {name: must for name, (must, _) in table_after(PLACES[kind]).items()}
    for name in ELSEWHERE.get(kind, set()) | (FIRST if issubclass(kind, model.Stage) else set()):
        assert name not in told
        del fields[name]
    assert told == fields


def test_the_head_is_documented():
    every = table_after("## [plant]")
    text = "\n".join(f"{name} = {example.strip('`')}" for name, (_, example) in every.items())
    rest = '[[train]]\nkind = "source"\nid = "s"\nname = "S"\n[channel.plant_flow]\nname = "F"\nunit = "gpm"\n'
    plant = parse_plant(f"[plant]\n{text}\n{rest}")
    assert (plant.name, plant.connections, plant.demo) == ("Upper Works", 420, True)
    for name in [name for name, (must, _) in every.items() if must]:
        fewer = "\n".join(line for line in text.splitlines() if not line.startswith(f"{name} ="))
        with pytest.raises(ValueError, match=f"{name} is missing"):
            parse_plant(f"[plant]\n{fewer}\n{rest}")


def test_every_field_stands_in_the_file_that_a_new_plant_begins_with():
    text = template()
    for kind in PLACES:
        for field in msgspec.structs.fields(kind):
            if field.name not in ELSEWHERE.get(kind, set()):
                assert re.search(
                    rf"(^|[#{{,]\s*){field.encode_name} = |\[\[train\.([a-z]+\.)?{field.encode_name}\]\]", text, re.M
                ), (
                    kind.__name__,
                    field.encode_name,
                )

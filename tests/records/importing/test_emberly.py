"""The columns of Emberly's own logger go where they belong."""

import importlib.resources

import numpy as np
import pytest
from tests.records.importing.plants import EASTERN, NOW

from weirhouse.plant import load
from weirhouse.records.importing import FileProblem, mapping, plan, source

PLANT = load(importlib.resources.files("weirhouse") / "demo" / "emberly.toml")  # type: ignore[arg-type]


def planned(text: str) -> plan.Plan:
    return plan.plan(source.of_bytes("log.csv", text.encode()), PLANT.channels, PLANT.zone, mapping.NONE, NOW)


@pytest.mark.parametrize("heading", ["id", "id_unit", "name (unit)", "name, unit", "name [unit]", "NAME (unit)"])
def test_every_channel_is_found_by_its_id_and_by_its_name(heading: str) -> None:
    for id, channel in PLANT.channels.items():
        unit = {"1": "", "pH": "", "1/cm": "1/cm"}.get(channel.unit, channel.unit)
        text = {
            "id": id,
            "id_unit": f"{id}_{unit.replace('/', '_')}" if unit not in ("", "percent") else id,
            "name (unit)": f"{channel.name} ({unit})" if unit else channel.name,
            "name, unit": f"{channel.name}, {unit}" if unit else channel.name,
            "name [unit]": f"{channel.name} [{unit}]" if unit else channel.name,
            "NAME (unit)": f"{channel.name.upper()} ({unit})" if unit else channel.name.upper(),
        }[heading]
        done = planned(f'time;"{text}"\n2026-03-01 10:00;50\n2026-03-01 10:15;51\n')
        assert [c.channel for c in done.columns] == [id], text


def test_a_whole_logger_file() -> None:
    ids = [id for id in PLANT.channels if id not in ("toc", "treated_toc", "tthm", "haa5", "coliform")]
    heads = [f"{PLANT.channels[id].name} ({PLANT.channels[id].unit})" for id in ids]
    rows = "".join(f"2026-03-01 10:{m:02d};" + ";".join("1.5" for _ in ids) + "\n" for m in range(10))
    done = planned("time;" + ";".join(heads) + "\n" + rows)
    assert {c.channel for c in done.columns} == set(ids)
    assert not done.parsed.refused.count and not done.parsed.unmapped


@pytest.mark.parametrize(
    ("heading", "channel"),
    [
        ("Raw Water Turbidity NTU", "raw_turbidity"),
        ("CFE Turb (NTU)", "combined_turbidity"),
        ("F1 Turbidity (NTU)", "filter_1_turbidity"),
        ("Filter #2 Turb NTU", "filter_2_turbidity"),
        ("FIT-101 Plant Flow (GPM)", "plant_flow"),
        ("Filter 1 Headloss (ft)", "filter_1_head_loss"),
        ("EP Free Cl2 Residual (mg/L)", "entry_chlorine"),
        ("Clearwell Level (ft)", "contact_level"),
        ("Clearwell Temp (F)", "contact_temperature"),
        ("Raw Temp °F", "raw_temperature"),
        ("Stream stage (ft)", "stream_level"),
        ("Settled Water pH", "settled_ph"),
        ("Coag dose mg/L", "coagulant_dose"),
        ("Coagulant pump stroke (%)", "coagulant_setting"),
        ("Hypo day tank level (in)", "chlorine_tank_level"),
        ("Tower level (ft)", "storage_level"),
        ("Rainfall (in)", "rain"),
        ("Finished Cl2 (ppm)", "entry_chlorine"),
        ("TTHM (ug/L)", "tthm"),
    ],
)
def test_headings_as_operators_write_them(heading: str, channel: str) -> None:
    done = planned(f"time;{heading}\n2026-03-01 10:00;2\n2026-03-01 10:15;2\n")
    assert [c.channel for c in done.columns] == [channel]


@pytest.mark.parametrize(
    "heading",
    [
        "Raw turbidity setpoint (NTU)", "Raw turbidity alarm high (NTU)", "Battery (V)", "Raw turbidity std dev (NTU)",
        "Filter 7 turbidity (NTU)", "Chlorine dioxide (mg/L)", "Barometric pressure (psi)",
        "Turbidity removal (percent)",
        "Total chlorine combined (mg/L)", "Plant flow total (gal)", "Raw turbidity limit (NTU)", "Stream flow (ft3/s)",
        "Dew point temperature (F)", "Panel temperature (F)",
    ],
)  # fmt: skip
def test_what_only_sounds_like_a_channel_is_left(heading: str) -> None:
    with pytest.raises(FileProblem, match=r"no column is known|really|may be"):
        planned(f"time;{heading}\n2026-03-01 10:00;5\n2026-03-01 10:15;5\n")


def test_values_are_kept_in_the_inside_unit() -> None:
    done = planned("time;Clearwell Temp (F);TTHM (ug/L)\n2026-03-01 10:00;50;40\n")
    got = {s.channel: s.values for s in done.series}
    assert np.allclose(got["contact_temperature"], 10.0) and np.allclose(got["tthm"], 0.04)
    assert PLANT.zone == EASTERN

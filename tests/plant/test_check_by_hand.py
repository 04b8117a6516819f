"""The check of a plant: figures by hand at 150 gpm, and an entry left out or made odd is told where it stands.

Hand figures: 1 ft3 is 7.48052 US gallons; the ranges are the packaged rows of published designs.
"""

from datetime import date

import pytest
from tests.plant.plants import EMBERLY, OTHERS, changed, emberly, stage_out, without

from weirhouse.plant import Finding, check, parse_plant
from weirhouse.plant.model import Plant
from weirhouse.plant.template import template

GPM = 3.785411784e-3 / 60
DAY = date(2026, 6, 1)
KINDS = {"missing", "implausible", "due", "outside", "inside", "unknown"}


def found(plant: Plant, *, flow: float | None = 150 * GPM, temperature: float | None = 10.0) -> tuple[Finding, ...]:
    return check(plant, flow=flow, temperature=temperature, on=DAY)


def one(findings: tuple[Finding, ...], stage: str, words: str) -> Finding:
    fitting = [f for f in findings if f.stage == stage and words in f.text]
    assert len(fitting) == 1, [f.text for f in findings if f.stage == stage]
    return fitting[0]


def test_detention_and_overflow_by_hand():
    findings = found(emberly())
    stay = one(findings, "settling_basin", "Detention time")
    assert stay.kind == "inside"  # 3 h or more
    assert stay.value == pytest.approx(40 * 12 * 8 * 7.48052 / 150 * 60, rel=1e-4)
    assert stay.sheet is not None and stay.sheet.lines
    assert "Wisconsin" in stay.source
    rate = one(findings, "settling_basin", "Overflow rate")
    assert rate.value is not None
    assert rate.value / (3.785411784e-3 / 86400 / 0.3048**2) == pytest.approx(150 * 1440 / 480, rel=1e-6)
    filtration = one(findings, "filters", "Filtration rate")
    assert filtration.value is not None
    assert filtration.value / (GPM / 0.3048**2) == pytest.approx(75 / 35, rel=1e-6)


def test_more_flow_puts_the_basin_outside_of_its_range():
    at_200 = one(found(emberly(), flow=200 * GPM), "settling_basin", "Detention time")
    assert at_200.kind == "outside"  # 2.4 h
    assert "2.39 h" in at_200.text and "3.00 h" in at_200.text


def test_cold_water_stirs_less_and_lifts_more():
    warm, cold = found(emberly(), temperature=20.0), found(emberly(), temperature=1.0)
    g_warm, g_cold = (one(f, "flash_mixer", "Velocity gradient") for f in (warm, cold))
    assert g_warm.value is not None and g_cold.value is not None
    # G goes as 1 over the root of viscosity: 1.0016 mPa s at 20 degC, 1.7309 at 1 degC (IAPWS table, tests/reference)
    assert g_cold.value / g_warm.value == pytest.approx((1.0016 / 1.7309) ** 0.5, rel=0.005)


def test_every_comparison_shows_range_source_and_working():
    for finding in found(emberly()):
        assert finding.kind in KINDS
        assert finding.text.endswith(".")
        assert "\n" not in finding.text
        if finding.kind in ("inside", "outside"):
            assert finding.value is not None
            assert finding.range_text
            assert finding.source
            data = finding.json("US")
            assert data["kind"] == finding.kind
            assert data["source"] == finding.source


def test_without_flow_and_temperature_nothing_that_hangs_on_them_is_compared():
    units = ("settling_basin", "flash_mixer", "flocculation", "clarifier")
    for finding in found(emberly(), flow=None, temperature=None):
        if finding.stage in units:
            assert finding.kind in ("unknown", "missing")
            assert finding.value is None
    cold = found(emberly(), temperature=None)
    assert {f.kind for f in cold if f.stage == "flash_mixer"} == {"unknown"}
    assert "inside" in {f.kind for f in cold if f.stage == "settling_basin"}


@pytest.mark.parametrize("name", OTHERS)
@pytest.mark.parametrize("flow", [None, 0.0, 1e-4, 0.01, 1.0])
def test_other_peoples_plants_are_checked(name: str, flow: float | None):
    plant = parse_plant(OTHERS[name]())
    findings = found(plant, flow=flow, temperature=4.0)
    assert {f.kind for f in findings} <= KINDS
    known = {s.id for s in plant.stages} | {f.id for f in plant.filters}
    compared = [f for f in findings if f.kind in ("inside", "outside") and f.stage != "plant"]
    assert compared
    assert {f.stage for f in compared} <= known


def test_the_demo_lacks_nothing_and_holds_nothing_odd():
    assert not [f.text for f in found(emberly()) if f.kind in ("missing", "implausible")]


def test_a_new_plant_lacks_what_only_its_operator_knows():
    missing = {(f.stage, f.text.split(" ")[0]) for f in found(parse_plant(template())) if f.kind == "missing"}
    for name in ("giardia_required", "giardia_credit", "virus_required", "virus_credit"):
        assert ("permit", name) in missing
    assert ("plant", "system_id") in missing


LEFT_OUT = {
    "population = 1010\n": ("plant", "population"),
    'design_flow = "150 gpm"\n': ("plant", "design_flow"),
    'terminal_head_loss = "7 ft"\n': ("filters", "terminal_head_loss"),
    'trigger_turbidity = "0.2 NTU"\n': ("filters", "trigger_turbidity"),
    'fire_reserve = "30000 gal"\n': ("hill_tank", "fire_reserve"),
    'highest_service = "1356 ft"': ("hill_tank", "highest_service"),
    'level_channel = "storage_level"\n': ("hill_tank", "level_channel"),
    'giardia_credit = "2.5 log"': ("permit", "giardia_credit"),
    'target_residual = "1.2 mg/L"\n': ("chlorine", "target_residual"),
    'efficiency = "75 percent"\n': ("flash_mixer", "efficiency"),
    ', head_loss = "0.11 ft", head_loss_flow = "140 gpm"': ("floc_1", "head_loss"),
    'limit_flow = "560 gpm"\n': ("sewer", "limit_flow"),
}


@pytest.mark.parametrize("entry", LEFT_OUT)
def test_an_entry_left_out_is_missing(entry: str):
    stage, field = LEFT_OUT[entry]
    findings = [f for f in found(parse_plant(changed(entry, ""))) if f.kind == "missing"]
    assert [f for f in findings if f.stage == stage and field in f.text], [f.text for f in findings]


@pytest.mark.parametrize(
    ("make", "stage", "word"),
    [
        (lambda: without("[permit]", "[sewer]"), "permit", "[permit]"),
        (lambda: without("[[telephone]]", "\x00", EMBERLY + "\x00").rstrip("\x00"), "telephone", "call"),
        (lambda: without("[[action]]", "[[shutdown]]"), "action", "reading"),
        (lambda: stage_out("creek"), "train", "source"),
        (lambda: stage_out("coagulant"), "train", "coagulant"),
        (lambda: without("[channel.contact_ph]", "[channel."), "channel", "contact_ph"),
    ],
)
def test_a_part_left_out_is_missing(make, stage: str, word: str):
    findings = [f for f in found(parse_plant(make())) if f.kind == "missing"]
    assert [f for f in findings if f.stage == stage and word in f.text], [(f.stage, f.text) for f in findings]


ODD: dict[str, tuple[str, str, str, str]] = {
    "people": ("population = 1010", "population = 10", "plant", "people"),
    "flow in the wrong unit": ('design_flow = "150 gpm"', 'design_flow = "150 cfs"', "plant", "design flow"),
    "wash above the pump": ('pump_flow = "560 gpm"', 'pump_flow = "300 gpm"', "filters", "pump"),
    "porosity": ("porosity = 0.55", "porosity = 0.15", "filter_1", "porosity"),
    "grain in the wrong unit": ('effective_size = "1.0 mm"', 'effective_size = "1.0 ft"', "filter_1", "effective size"),
    "layers turned over": ('density = "1650 kg/m3"', 'density = "4000 kg/m3"', "filter_1", "top down"),
    "volume against area": ('volume = "24000 gal"', 'volume = "42000 gal"', "clearwell", "volume"),
    "tank below the village": (
        'base_elevation = "1405 ft"',
        'base_elevation = "1305 ft"',
        "hill_tank",
        "highest service",
    ),
    "fewer logs than the rule": (
        'giardia_required = "3 log"',
        'giardia_required = "1 log"',
        "permit",
        "giardia_required",
    ),
    "residual above the rule": ('residual_max = "4.0 mg/L"', 'residual_max = "40 mg/L"', "permit", "residual_max"),
    "a level never reached": ('above = "150 NTU"', 'above = "1500 NTU"', "action", "1,500 NTU"),
}


@pytest.mark.parametrize("what", ODD)
def test_what_can_hardly_be_so_is_told(what: str):
    old, new, stage, word = ODD[what]
    before = [f.text for f in found(emberly()) if f.kind == "implausible"]
    assert not before
    findings = [f for f in found(parse_plant(changed(old, new))) if f.kind == "implausible"]
    assert [f for f in findings if f.stage == stage and word in f.text], [(f.stage, f.text) for f in findings]


def test_stages_out_of_order_are_told():
    basin = without('[[train]]\nkind = "clarifier"', "[[train]]")
    start = EMBERLY.index('[[train]]\nkind = "clarifier"')
    clarifier = EMBERLY[start : EMBERLY.index("[[train]]", start + 1)]
    moved = basin.replace("[permit]", f"{clarifier}[permit]", 1)
    texts = [f for f in found(parse_plant(moved)) if f.kind == "implausible"]
    assert [f for f in texts if f.stage == "clarifier" and "order" in f.text], texts

"""The sheet for a backwash: rate, water and waste by hand, limits that hold it back, what is missing."""

import math
from pathlib import Path

import pytest
from tests.desk.scene import NOW, PLANT_FILE, Scene

from weirhouse.desk.backwash import backwash
from weirhouse.desk.model import Advice
from weirhouse.quantity import convert
from weirhouse.situation.at import at

FOOT, GALLON = 0.3048, 231 * 0.0254**3
AREA = 35 * FOOT**2
RATE = GALLON / 60 / FOOT**2  # 1 gpm/ft2
# what the line and its figures stand on: the rest of the week's records is left out
CHANNELS = ("plant_flow", "contact_temperature", "contact_level", "rain", "settled_turbidity", "filter_1_flow",
            "filter_2_flow")  # fmt: skip


def line_of(scene: Scene) -> Advice:
    with scene.build() as store:
        (line,) = backwash(at(store, scene.plant, scene.now))
    return line


def figures(line: Advice) -> dict[str, float | None]:
    return {f.title: f.value for f in line.figures}


def within(line: Advice) -> dict[str, bool | None]:
    return {f.title: f.within for f in line.figures}


def water(scene: Scene, celsius: float) -> Scene:
    """Let the wash water have a temperature all week, with a ripple that keeps its trace alive."""
    return scene.each("contact_temperature", lambda r: celsius * r.value / convert(55.0, "degF", "degC"))


def wen_yu(size: float, density: float, mu: float, rho: float = 999.4) -> float:
    galileo = size**3 * rho * (density - rho) * 9.80665 / mu**2
    return mu / (rho * size) * (math.sqrt(33.7**2 + 0.0408 * galileo) - 33.7)


def expansion(rate: float, mu: float, rho: float = 999.4) -> float:
    """Return the expansion of the plant's sand by Dharmarajah and Cleasby, walked up in steps of porosity."""
    spread = math.log(1.5) / 1.5349
    d = 5e-4 * math.exp(1.2816 * spread - spread**2 / 2)
    surface = 6 / (0.8 * d)
    porosity = 0.43
    while True:
        x = math.log10(rho * rate / (surface * mu * (1 - porosity)))
        right = 0.56543 + 1.09348 * x + 0.17971 * x**2 - 0.00392 * x**4 - 1.5 * math.log10(0.8) ** 2
        weight = porosity**3 / (1 - porosity) ** 2 * rho * (2650 - rho) * 9.80665 / (surface**3 * mu**2)
        if math.log10(weight) >= right:
            return 0.57 / (1 - porosity) - 1
        porosity += 1e-4


@pytest.fixture
def scene(tmp_path: Path) -> Scene:
    return Scene(tmp_path / "plant").quiet(CHANNELS)


def test_a_quiet_day_by_hand(scene):
    """Wash water of 55 degF: 1.207e-3 Pa s. The coarse end of the anthracite, 1.0 mm x 1.5^1.67, lifts last."""
    line, mu = line_of(scene), 1.207e-3
    found = figures(line)
    coarse = wen_yu(1.0e-3 * 1.5**1.67, 1650.0, mu)
    assert found["Rate that lifts the coarsest grains"] == pytest.approx(coarse, rel=0.01)
    assert line.value == found["Wash rate"] == pytest.approx(coarse, rel=0.01)
    assert found["Rate that begins to move the support"] == pytest.approx(wen_yu(1.2e-3, 2650.0, mu), rel=0.01)
    assert found["Wash flow of one filter"] == pytest.approx(coarse * AREA, rel=0.01)
    assert found["Minutes at that rate"] == 540.0
    assert found["Finished water for one wash"] == pytest.approx(coarse * AREA * 540, rel=0.01)
    sand = expansion(coarse, mu)
    assert found["Expansion of sand"] == pytest.approx(sand, abs=0.005) and sand > 0.20
    assert found["Expansion of anthracite"] == 0.0
    assert found["Media stay below the trough by"] == pytest.approx(26 * FOOT / 12 - sand * 0.75 * FOOT, abs=0.002)
    assert found["Expansion of sand at the usual 15.0 gpm/ft²"] == pytest.approx(expansion(15 * RATE, mu), abs=0.005)
    assert line.state == "steady" and "Lock out" in line.caution
    assert line.action.startswith("When you wash: 14.")
    assert "gpm) for 9.0 min, 4,6" in line.action and "gal each of finished water." in line.action
    assert line.working is not None and "Backwash rate for an expansion" in line.working.text("US")


def test_its_water_and_its_waste_by_hand(scene):
    line = line_of(scene)
    found = figures(line)
    wash = found["Finished water for one wash"]
    assert wash is not None
    assert found["In Clearwell above its low level"] == pytest.approx(321 * FOOT**2 * 4 * FOOT, rel=0.02)
    assert found["Clearwell falls by"] == pytest.approx(wash / (321 * FOOT**2))
    assert found["Peak flow to the sewer"] == found["Wash flow of one filter"]
    # 20 h at 70 gpm of water with 0.8 NTU, 1.5 g/m3 of solids for each NTU
    filtered = 70 * GALLON / 60 * 20 * 3600
    assert found["Share of this run of Filter 1 that its wash takes"] == pytest.approx(wash / filtered, rel=0.03)
    solids = filtered * 0.8 * 1.5 / 1000 / 86400
    assert found["Solids to the sewer today if Filter 1 is washed now"] == pytest.approx(solids, rel=0.03)
    assert all(value is not False for value in within(line).values())


def test_the_seasons(scene):
    """Cold water: the support would move first, so that the rate stays there. Warm water: the pump gives no more."""
    cold = line_of(water(scene, 2.0))
    assert cold.value == pytest.approx(wen_yu(1.2e-3, 2650.0, 1.674e-3, 999.9), rel=0.01)  # 1.674e-3 Pa s in print
    assert "No faster: a faster rise begins to move the support." in cold.action
    assert "Your usual 15.0 gpm/ft² would move the finest grains of the support" in cold.action
    warm = line_of(water(Scene(scene.folder.parent / "warm").quiet(CHANNELS), 22.0))
    assert warm.value == pytest.approx(16 * RATE, rel=1e-6)  # 560 gpm on 35 ft2
    assert "the wash pump gives no more" in warm.action and "may stay at rest" in warm.action
    assert "usual" not in warm.action


def test_the_wet_weather_limit_of_the_sewer(scene):
    """0.6 in of rain in the day: 300 gpm on 35 ft2 is 8.57 gpm/ft2, too little for the coarse grains."""
    scene.each("rain", lambda r: 0.02 * FOOT / 12 if r.taken_at > NOW.replace(hour=4, minute=0) else r.value)
    # half-hourly from midnight: 28 readings and more of 0.02 in
    line = line_of(scene)
    assert line.value == pytest.approx(300 / 35 * RATE, rel=1e-6)
    assert line.state == "soon" and "the sewer in wet weather allows no more" in line.action
    assert line.action.startswith(
        "Put the wash off until the sewer takes more, if head loss and turbidity allow. If you must: "
    )


def test_where_rain_is_not_known_it_counts_as_wet(scene):
    line = line_of(scene.without("rain"))
    assert line.value == pytest.approx(300 / 35 * RATE, rel=1e-6)
    assert "rain is not known" in line.action and "rain" in line.depends


def test_a_low_clearwell_cannot_give_it(scene):
    scene.each("contact_level", lambda r: r.value * 5 / 8)  # 5 ft: 1 ft above its low level, 2,400 gal
    line = line_of(scene)
    assert line.state == "soon" and "Clearwell cannot give that above its low level: fill it first." in line.action
    assert within(line)["In Clearwell above its low level"] is False


def test_media_that_reach_the_trough_are_told(tmp_path):
    text = PLANT_FILE.read_text(encoding="utf-8").replace('freeboard = "26 in"', 'freeboard = "3 in"')
    line = line_of(Scene(tmp_path / "plant", plant_text=text).quiet(CHANNELS))
    assert line.state == "soon" and "below the trough and may go over it" in line.action
    assert within(line)["Media stay below the trough by"] is False


@pytest.mark.parametrize(("channel", "spoil"), [("contact_temperature", "stale"), ("contact_level", "flagged")])
def test_no_rate_without_temperature_and_level(scene, channel, spoil):
    if spoil == "stale":
        scene.stale(channel)
    else:
        scene.newest(channel, flag="doubtful")
    line = line_of(scene)
    assert line.state == "unknown" and line.value is None and line.check and channel in line.depends


def test_solids_that_cannot_be_told_leave_the_rate(scene):
    line = line_of(scene.without("settled_turbidity"))
    assert line.state == "steady" and line.value is not None
    assert figures(line)["Solids to the sewer today if Filter 1 is washed now"] is None


def test_a_bed_of_support_alone_asks_for_its_media(tmp_path):
    text = PLANT_FILE.read_text(encoding="utf-8")
    for media in ("anthracite", "sand"):
        text = text.replace(f'media = "{media}"', f'media = "{media}"\nsupport = true')
    line = line_of(Scene(tmp_path / "plant", plant_text=text).quiet(CHANNELS))
    assert line.state == "unknown"
    assert line.check == "Enter the media layers of Filter 1 and Filter 2 in the plant file."


def test_no_backwash_in_the_plant_file_no_line(tmp_path):
    text = PLANT_FILE.read_text(encoding="utf-8")
    lines = [row for row in text.splitlines() if not row.startswith("backwash = ")]
    scene = Scene(tmp_path / "plant", plant_text="\n".join(lines)).quiet(CHANNELS)
    with scene.build() as store:
        assert list(backwash(at(store, scene.plant, scene.now))) == []


def test_no_wash_while_the_storage_is_at_its_reserve(tmp_path):
    """The reserve of the tank on the hill is at 11.67 ft: see the standstill in test_today."""
    scene = Scene(tmp_path / "plant").quiet((*CHANNELS, "storage_level")).newest("storage_level", "11 ft")
    line = line_of(scene)
    assert line.action.startswith("No wash now: it takes finished water, and the tank on the hill is at its reserve.")
    assert "When you wash: 14." in line.action and line.state == "soon" and "storage_level" in line.uses

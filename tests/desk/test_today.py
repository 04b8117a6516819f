"""Every line of Today in its order, by hand where a pencil does; and the order of the day above them."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from tests.desk.scene import NOW, PLANT_FILE, Scene, today_at
from tests.desk.spoilt import Spoilt

from weirhouse.desk.model import Today
from weirhouse.desk.today_json import today_json
from weirhouse.plant import Plant
from weirhouse.quantity import convert
from weirhouse.records.model import Event
from weirhouse.records.store import Store

# What an order stands on; the rest of the week is left out where it does not matter, which is quicker.
NEEDED = (
    "raw_turbidity", "plant_flow", "combined_turbidity", "contact_chlorine", "entry_chlorine", "coagulant_dose",
    "coagulant_setting", "storage_level", "demand_flow",
)  # fmt: skip


def today_of(scene: Scene, when: datetime | None = None) -> Today:
    with scene.build() as store:
        return today_at(store, scene.plant, when or scene.now)


def event(kind: str, started: datetime, subject: str = "", **values: float) -> Event:
    return Event(kind=kind, started_at=started, subject=subject, values=values, person="A. Operator")


def changed(*changes: tuple[str, str]) -> str:
    text = PLANT_FILE.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return text


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Store, Plant]]:
    scene = Scene(tmp_path_factory.mktemp("today") / "plant").quiet()
    with scene.build() as store:
        yield store, scene.plant


@pytest.fixture(scope="module")
def quiet(week) -> Today:
    store, plant = week
    return today_at(store, plant, NOW)


@pytest.fixture
def few(tmp_path: Path) -> Callable[..., Scene]:
    return lambda text=None, **kinds: Scene(tmp_path / "plant", plant_text=text, **kinds).quiet(NEEDED)


# --- the whole


def test_the_lines_come_in_the_order_in_which_one_asks(quiet):
    ids = [line.id for line in quiet.advice]
    assert len(ids) == len(set(ids))
    order = [
        "action_combined_turbidity_above_filter_to_waste", "raw_water", "plant_flow", "coagulant_dose",
        "coagulant_arrival", "coagulant_feed", "coagulant_setting", "coagulant_ph", "coagulant_tank",
        "unit_settling_basin", "run_filter_1", "run_filter_2", "backwash", "chlorine_dose", "chlorine_feed",
        "chlorine_setting", "chlorine_tank", "chlorine_residual", "contact_time", "storage_hours", "standstill",
        "month_turbidity", "month_residual", "gaps",
    ]  # fmt: skip
    assert [id for id in ids if id in order] == order


def test_every_line_is_one_that_can_be_done(quiet):
    for line in quiet.advice:
        assert line.action.endswith(".") and line.title and line.confidence
        words = f"{line.title} {line.action} {line.because} {line.caution} {line.check} {line.confidence}"
        assert "!" not in words
        assert "safe " not in words.lower().replace("safety", "") and "nan" not in words.lower().split()
        if line.value is not None:
            assert line.shown and line.working is not None, line.id
            assert line.working.lines or line.working.notes, line.id


def test_the_first_sentence_says_what_to_set(quiet):
    assert quiet.order == (
        "Take water at 141 gpm, feed 15.0 mg/L coagulant as product (feed pump at 30.0 % speed), "
        "set the hypochlorite pump to 80.6 %."
    )
    assert quiet.plant == "Emberly" and quiet.at.isoformat() == "2026-06-17T14:00:00-04:00"


def test_json_has_the_same_numbers_in_display_units(quiet):
    data = today_json(quiet, "US")
    assert list(data) == ["plant", "at", "order", "advice"]
    keys = ["id", "title", "action", "value", "unit", "state", "caution", "working", "age_s", "confidence"]
    lines = {line["id"]: line for line in data["advice"]}
    assert all(list(line) == keys for line in data["advice"])
    assert lines["plant_flow"]["value"] == pytest.approx(140, rel=0.01) and lines["plant_flow"]["unit"] == "gpm"
    assert lines["coagulant_dose"]["value"] == pytest.approx(15) and lines["coagulant_dose"]["unit"] == "mg/L"
    assert lines["coagulant_feed"]["working"]["lines"]
    for line in quiet.advice:
        expected = None if line.value is None else float(convert(line.value, line.inside, line.unit or line.inside))
        assert lines[line.id]["value"] == expected


# --- coagulant


def test_feed_setting_and_tank_by_hand(quiet):
    """15 mg/L of product of 1.36 kg/L in 140.6 gpm: 7.98 g/min, 5.87 mL/min; between 25 % (5.0) and 50 % (9.8): 29.5 %.

    The dial at 30 % is near enough and stays. Between 4 and 20 in of a tank of 22 in stand 26.3 gal (99.7 L): 284 h.
    """
    assert quiet.line("coagulant_feed").value * 60e6 == pytest.approx(5.87, rel=0.003)
    setting = quiet.line("coagulant_setting")
    assert setting.value == pytest.approx(0.30) and setting.action == "Leave the feed pump at 30.0 %."
    assert "which gives 29.5 %" in setting.because
    assert quiet.line("coagulant_tank").value / 3600 == pytest.approx(284, rel=0.01)


def test_a_dose_between_two_rows_of_the_table_by_hand(week):
    """15 NTU, half way from 10 (18 mg/L) to 20 NTU (22 mg/L): 20 mg/L, which was never fed here."""
    store, plant = week
    found = today_at(Spoilt(store, "raw_turbidity", "changed", now=NOW, factor=3.0), plant, NOW)  # type: ignore[arg-type]
    line = found.line("coagulant_dose")
    assert line.value == pytest.approx(20.0, rel=0.01) and line.state == "do_now"
    assert "A jar test is due: this is above every dose on record (highest 15.0 mg/L)." in line.action
    assert line.confidence.startswith("low: outside of what was tried here")
    assert "feed 20.0 mg/L coagulant as product (feed pump at 39.7 % speed)" in found.order


@pytest.mark.parametrize(
    ("factor", "dose", "says"),
    [
        (0.2, 12.0, "below every dose on record (lowest 15.0 mg/L)"),
        (29.0, 40.0, "above every dose on record (highest 15.0 mg/L)"),
        (50.0, 45.0, "dirtier than the last row of the dose table"),
    ],
)
def test_beyond_table_or_past_a_jar_test_is_due(week, factor, dose, says):
    """1 NTU lies below the table; 145 NTU, at 0.45 of the way from 100 to 200 NTU, wants 40 mg/L; 250 NTU beyond it."""
    store, plant = week
    spoilt = Spoilt(store, "raw_turbidity", "changed", now=NOW, factor=factor)
    line = today_at(spoilt, plant, NOW).line("coagulant_dose")  # type: ignore[arg-type]
    assert line.value == pytest.approx(dose, rel=0.02)
    if dose == 45:  # 250 NTU is above the hold level of 150 NTU too
        assert line.action.startswith("Feed nothing while the hold is in force. After it: at least 45.0 mg/L for")
    else:
        assert line.action.startswith("A jar test is due: ")
    assert line.confidence.startswith("low")


def test_beyond_the_table_at_least_its_last_row_is_fed(few):
    scene = few(changed(('above = "150 NTU"', 'above = "400 NTU"'))).each("raw_turbidity", lambda r: 50 * r.value)
    action = today_of(scene).line("coagulant_dose").action
    assert action.startswith("A jar test is due: the water is dirtier than the last row of the dose table. ")
    assert action.endswith("Until then feed at least 45.0 mg/L as product, the last row of your table.")


def test_a_storm_at_the_stream_is_dosed_when_it_reaches_the_feed(few):
    """A basin of 29,000 gal lies ahead: at 140 gpm the water that comes in now is at the feed in 3.4 h."""
    scene = few().each("raw_turbidity", lambda r: r.value if r.taken_at < NOW - timedelta(minutes=20) else 100.0)
    found = today_of(scene)
    dose, arrival = found.line("coagulant_dose"), found.line("coagulant_arrival")
    assert dose.value == pytest.approx(15.0) and dose.state == "steady"
    assert arrival.value == pytest.approx(36.0) and arrival.state == "soon"
    assert arrival.figures[0].value == pytest.approx(3.43 * 3600, rel=0.02)
    assert "then feed 36.0 mg/L as product (feed pump at 7" in arrival.action
    assert ", then 36.0 mg/L from about 17:2" in found.order
    later = today_of(
        Scene(scene.folder.with_name("later")).quiet(NEEDED).each(
            "raw_turbidity", lambda r: r.value if r.taken_at < NOW - timedelta(hours=7) else 20 * r.value
        )
    )  # fmt: skip
    assert later.line("coagulant_dose").value == pytest.approx(35, abs=1.5)


def test_a_plant_without_a_dose_table_goes_by_its_past(few):
    table = next(line for line in PLANT_FILE.read_text(encoding="utf-8").splitlines() if line.startswith("dose_table"))
    scene = few(changed((table, "")))
    scene.each("coagulant_dose", lambda r: r.value if r.taken_at > NOW - timedelta(hours=8) else 1.2 * r.value)
    line = today_of(scene).line("coagulant_dose")
    assert line.value == pytest.approx(18.0) and "past doses at such water" in line.because
    scene = Scene(scene.folder.with_name("none"), plant_text=changed((table, ""))).quiet(NEEDED)
    line = today_of(scene.without("coagulant_dose")).line("coagulant_dose")
    assert line.state == "unknown" and "jar test" in line.check.lower()


def test_a_pump_without_calibration_gets_no_setting(few):
    line = next(t for t in PLANT_FILE.read_text(encoding="utf-8").splitlines() if t.startswith("calibration"))
    found = today_of(few(changed((line, ""))))
    assert found.line("coagulant_setting").state == "unknown"
    assert "run a drawdown" in found.line("coagulant_setting").check
    assert found.line("coagulant_feed").value is not None
    assert "feed pump" not in found.order and "feed 15.0 mg/L coagulant" in found.order


# --- storage


def test_hours_of_supply_and_standstill_by_hand(quiet):
    """A tank of 30 ft at 20 ft: 105,800 gal, at 70 gpm 25.2 h.

    The reserve: 20 psi are 46.2 ft over 1,356 ft, below the floor at 1,405 ft, so that the low level of 6 ft holds;
    fire storage of 30,000 gal is 5.67 ft on top. Above 11.67 ft stand 44,000 gal: 10.5 h.
    """
    assert quiet.line("storage_hours").value / 3600 == pytest.approx(25.2, rel=0.01)
    still = quiet.line("standstill")
    assert still.value / 3600 == pytest.approx(10.5, rel=0.01)
    reserve = next(f for f in still.figures if f.title.startswith("Reserve level"))
    assert reserve.value == pytest.approx(11.67 * 0.3048, abs=0.01)
    assert "until tomorrow 00:3" in still.action and still.state == "steady"


def test_a_tank_at_its_reserve_says_so(few):
    scene = few().newest("storage_level", "11 ft")
    found = today_of(scene)
    assert found.line("standstill").state == "do_now"
    assert found.line("standstill").value == 0.0
    assert found.order.startswith(
        "The tank on the hill is at its reserve: ask the village to save water and call State"
    )
    assert "; take water at 141 gpm" in found.order
    assert "low pressure can draw dirt into the mains" in found.line("standstill").caution


def test_under_a_hold_nobody_is_told_to_start(few):
    """1.9 ft above the reserve last 2.4 h at 70 gpm; at the reserve no water is made either."""
    scene = few(now=NOW.replace(hour=6)).newest("raw_turbidity", "190 NTU")
    found = today_of(scene.each("storage_level", lambda r: r.value * 13.67 / 20))
    still = found.line("standstill")
    assert still.state == "soon" and still.action.startswith("The reserve is reached at 04:2")
    assert " if the hold lasts: ask the village to save water now and call State" in still.action
    assert still.action.endswith("before then. Do not start while the hold is in force.")
    assert "raw_turbidity" in still.uses
    for what in ("dose", "feed", "setting"):
        line = found.line(f"coagulant_{what}")
        assert line.action.startswith("Feed nothing while the hold is in force. After it: ")
        assert "start" not in line.action
    low = Scene(scene.folder.with_name("low"), now=scene.now).quiet(NEEDED).newest("raw_turbidity", "190 NTU")
    found = today_of(low.newest("storage_level", "11 ft"))
    assert found.line("standstill").action.endswith("Make none while the hold is in force.")
    assert found.order.startswith("Hold: ") and "is at its reserve: ask the village to save water" in found.order


def test_at_night_the_order_says_until_when_to_start(few):
    """At 02:00 the plant stands; 1.9 ft above the reserve last 2.4 h at 70 gpm."""
    when = NOW.replace(hour=6)
    scene = few(now=when).each("storage_level", lambda r: 13.67 * 0.3048 * r.value / (20 * 0.3048))
    found = today_of(scene)
    assert found.line("plant_flow").action.startswith("The plant stands.")
    assert found.line("standstill").state == "soon"
    assert found.order.startswith("Start before 04:2")
    assert ", at 1" in found.order and "gpm, feed 15.0 mg/L coagulant" in found.order


def test_a_standstill_after_a_power_failure_goes_first(few):
    """Power failed at 13:15 and the plant was stopped at 13:20; the filtered turbidity has been silent since 08:00."""
    scene = few()
    scene.events += [
        event("power_failure", NOW - timedelta(minutes=45)), event("stop", NOW - timedelta(minutes=40)),
    ]  # fmt: skip
    for channel in ("plant_flow", "combined_turbidity"):
        back = timedelta(hours=6 if channel == "combined_turbidity" else 1)
        scene.readings[channel] = [r for r in scene.readings[channel] if r.taken_at <= NOW - back]
    found = today_of(scene)
    assert found.order_state == "unknown"
    assert found.order.startswith(
        "The plant stands since 13:20 (power failed 13:15). Before you start: check Combined filter effluent, "
    )
    assert "After starting to waste, take a grab sample" in found.order
    line = found.line("month_turbidity")
    assert line.state == "unknown" and line.check.startswith("Waits for combined filter effluent (see above).")


# --- action levels, water, month


def test_an_action_level_comes_before_all_else(few):
    found = today_of(few().newest("combined_turbidity", "1.3 NTU"))
    assert found.order_state == "do_now"
    assert found.order.startswith("Stop the plant: Combined filter effluent is 1.3 NTU (your level: above 1 NTU)")
    assert "555-0100" in found.order and "mg/L" not in found.order
    first, second = found.advice[:2]
    assert (first.id, second.id) == (
        "action_combined_turbidity_above_stop", "action_combined_turbidity_above_filter_to_waste",
    )  # fmt: skip
    assert first.state == second.state == "do_now"
    flow = found.line("plant_flow")
    assert flow.value == 0.0 and flow.state == "do_now"
    assert flow.action == "Take no water: Combined filter effluent 1.3 NTU is above your 1 NTU."


def test_a_residual_below_its_level_holds(few):
    found = today_of(few().newest("entry_chlorine", "0.3 mg/L"))
    assert found.order.startswith("Hold: shut the intake and send no water on: Entry residual is 0.3 mg/L (")


def test_a_rise_tells_when_the_hold_level_is_reached(few):
    """60 NTU more in each hour, now 120 NTU: 150 NTU in half an hour."""

    def rise(reading):
        hours = (NOW - reading.taken_at).total_seconds() / 3600
        return 120 - 60 * hours if hours <= 1.9 else 5.0

    line = today_of(few().each("raw_turbidity", rise)).line("raw_water")
    assert line.state == "soon" and "your hold level at about 14:3" in line.action
    assert "rising by 60 NTU in an hour over the last hour" in line.because


def test_a_screen_at_three_quarters_of_its_limit_is_cleaned_this_shift(few):
    """0.43 ft of the 0.5 ft allowed are 0.86 of it; 0.3 ft are 0.6."""
    scene = Scene(few().folder.with_name("screen")).quiet((*NEEDED, "intake_head_loss"))
    line = today_of(scene.newest("intake_head_loss", "0.43 ft")).line("intake_screen")
    assert line.state == "soon" and line.action == "Clean the screen this shift: 0.43 ft of 0.5 ft."
    assert "lock it out" in line.caution
    scene = Scene(scene.folder.with_name("clear")).quiet((*NEEDED, "intake_head_loss"))
    line = today_of(scene.newest("intake_head_loss", "0.3 ft")).line("intake_screen")
    assert line.state == "steady" and line.action == "Leave it: head loss 0.3 ft of 0.5 ft."


def test_a_shut_intake_may_be_opened_below_the_levels(few):
    scene = few()
    scene.events.append(event("intake_shut", NOW - timedelta(hours=1)))
    assert today_of(scene).line("raw_water").action.startswith("The intake is shut")


def test_more_than_the_design_flow_is_reduced(few):
    line = today_of(few().each("plant_flow", lambda r: 1.2 * r.value)).line("plant_flow")
    assert line.state == "do_now" and line.action == "Reduce to 150 gpm."
    assert "drives solids through the filters" in line.caution


def test_the_month_is_counted_and_a_break_is_told(few):
    scene = few()
    line = today_of(scene).line("month_turbidity")
    assert line.value == 1.0 and line.state == "steady"
    spoilt = Scene(scene.folder.with_name("broken")).quiet(NEEDED)
    when = NOW - timedelta(days=2)
    spoilt.each("combined_turbidity", lambda r: 1.4 if when <= r.taken_at < when + timedelta(hours=2) else r.value)
    line = today_of(spoilt).line("month_turbidity")
    assert line.state == "do_now" and "A value above 1 NTU is on record, 1.4 NTU: call State" in line.action
    assert line.figures[0].title == "Highest" and line.figures[0].within is False


def test_gaps_list_what_is_odd_with_what_to_do(few):
    scene = few().stale("storage_level", 3.0)
    line = today_of(scene).line("gaps")
    assert line.state == "soon" and "storage_level" in line.depends
    assert "read the gauge at the tank" in line.check


def test_censored_turbidity_is_still_a_reading(few):
    scene = few()
    last = scene.readings["combined_turbidity"][-1]
    scene.readings["combined_turbidity"][-1] = replace(last, value=0.02, qualifier="<")
    found = today_of(scene)
    assert found.order_state != "unknown"


# --- plants of another kind


def test_a_plant_in_si_units_reads_them(few):
    found = today_of(few(changed(('units = "US"', 'units = "SI"'))))
    assert found.order.startswith("Take water at 8.87 L/s, feed 15.0 mg/L coagulant as product")
    data = {line["id"]: line for line in today_json(found, found.unit_set)["advice"]}
    assert (data["plant_flow"]["value"], data["plant_flow"]["unit"]) == (pytest.approx(8.87, abs=0.005), "L/s")


SMALL = """
[plant]
name = "Upper spring"
system_id = "X"
time_zone = "America/Denver"
units = "SI"
[[train]]
kind = "source"
id = "spring"
name = "Spring"
[[train]]
kind = "flow_meter"
id = "meter"
name = "Meter"
channel = "plant_flow"
[channel.plant_flow]
name = "Flow"
unit = "L/s"
stale_after = "2 h"
[channel.raw_turbidity]
name = "Turbidity of the spring"
unit = "NTU"
stale_after = "2 h"
"""


def test_the_smallest_plant_gets_what_can_be_said_of_it(tmp_path):
    scene = Scene(tmp_path / "plant", plant_text=SMALL).quiet()
    found = today_of(scene)
    assert {line.id for line in found.advice} == {"raw_water", "plant_flow", "gaps"}
    assert found.order == "Take water at 8.87 L/s."
    assert found.line("plant_flow").value == pytest.approx(0.00887, rel=0.01)
    still = today_of(Scene(tmp_path / "still", plant_text=SMALL).quiet().stale("plant_flow", 3.0))
    assert still.order == (
        "Check first: Flow, last reading 3 days old. "
        "Read the flow meter and hold it against the change of level in a tank."
    )

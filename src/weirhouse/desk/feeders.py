"""What must a feed pump be set to for a dose, and how long does its day tank last?"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from weirhouse.desk.flow import setting_flow
from weirhouse.desk.lines import Display, age_words, oldest, unknown
from weirhouse.desk.model import Advice, AdviceState
from weirhouse.plant.model import Feed, Plant
from weirhouse.quantity import convert, show, written
from weirhouse.science.basins import round_volume
from weirhouse.science.feed import feed_rate, pump_setting, strength_from_trade_percent, tank_time_left
from weirhouse.science.operations import dose_change, height_above, water_parts
from weirhouse.science.quantities import Dose, FeedRate, Flow
from weirhouse.situation.model import Situation
from weirhouse.working import Default, Known, Sheet, note, recording

NEAR = 0.02  # a dial within two parts in a hundred of the setting advised is left alone
TANK_SOON_H, TANK_NOW_H = 24.0, 6.0

CAUTIONS = {
    "corrosive": (
        "Corrosive: goggles, gloves, apron; eyewash at hand. Never let it meet hypochlorite: acid coagulant and "
        "hypochlorite together give off chlorine gas."
    ),
    "oxidiser": (
        "Oxidiser, burns skin and eyes: goggles, gloves, apron. Never let it meet acid coagulant: together they give "
        "off chlorine gas."
    ),
}
PUMP = "Lock the pump out before you touch it, and let the pressure off its line."


def caution_of(feed: Feed, *, pump: bool = False) -> str:
    """Return the caution of a feed's chemical, from what the plant file says of its hazard."""
    chemical = CAUTIONS.get(feed.hazard or "", "")
    if not chemical:
        chemical = "Read the safety data sheet of the product before you handle it."
    return f"{chemical} {PUMP}" if pump else chemical


@dataclass(frozen=True, slots=True)
class Fed:
    """What brings a dose: feed rate [m^3/s] and pump setting, with the working. None where it cannot be told."""

    rate: Known | None
    setting: Known | None
    sheet: Sheet
    problem: str
    setting_problem: str


def strength(plant: Plant, feed: Feed) -> Known:
    """Return the share by weight of what the dose counts; 1 where the dose counts product and no share is given."""
    at = f"train.{feed.id}"
    if feed.role == "disinfectant":
        found = plant.known(f"{at}.strength")
        if feed.strength_basis == "weight_per_volume":
            found = strength_from_trade_percent(found, plant.known(f"{at}.density"))
        return found
    if feed.al2o3 is not None:
        return plant.known(f"{at}.al2o3")
    return Known(1.0, Default("the dose counts the product as it comes", "definition"), "1")


def fed(plant: Plant, feed: Feed, dose: Known, flow: Known) -> Fed:
    """Return feed rate and pump setting for a dose at a flow."""
    rate = setting = None
    problem = setting_problem = ""
    with recording() as sheet:
        try:
            rate = feed_rate(
                dose, flow, strength(plant, feed), plant.known(f"train.{feed.id}.density"), feed.basis,
                dilution(plant, feed), feed.dilutable,
            )  # fmt: skip
        except ValueError as error:
            problem = str(error)
        if rate is not None and feed.calibration is not None:
            try:
                settings = [point[0] for point in feed.calibration.points]
                feeds = [point[1] for point in feed.calibration.points]
                setting = pump_setting(rate, settings, feeds)
                note(f"drawdown of {feed.calibration.date:%Y-%m-%d}: plant file, train.{feed.id}.calibration")
            except ValueError as error:
                setting_problem = str(error)
    return Fed(rate, setting, sheet, problem, setting_problem)


def dilution(plant: Plant, feed: Feed) -> Known | float:
    """Return the volume of mixed solution for each volume of product; 1 for a neat feed."""
    if feed.day_tank is None or feed.day_tank.dilution is None:
        return 1.0
    return plant.known(f"train.{feed.id}.day_tank.dilution")


def rate_and_setting(
    situation: Situation,
    feed: Feed,
    dose: Known | None,
    channels: Sequence[str],
    *,
    why_no_dose: str,
    uses: tuple[str, ...] = (),
) -> list[Advice]:
    """Return the lines on feed rate and pump setting for a dose, at the flow now or the one to start at."""
    display = Display(situation.plant.unit_set)
    flow = setting_flow(situation)
    needed = tuple(dict.fromkeys([*channels, situation.flow_channel]))
    bad = [c for c in needed if situation.value(c).usable is None]
    feed_title, setting_title = f"{feed.name} feed rate", f"{feed.name} pump setting"
    unit, setting_unit = display.unit(FeedRate), calibration_unit(feed)
    if dose is None or flow is None or bad:
        check = "" if bad else why_no_dose if dose is None else "No flow is on record to start at: measure the flow."
        return [
            unknown(
                situation,
                f"{feed.id}_{what}",
                title,
                needed,
                check=check,
                inside=inside,
                unit=shown,
                caution=caution_of(feed, pump=True),
            )
            for what, title, inside, shown in (
                ("feed", feed_title, "m^3/s", unit),
                ("setting", setting_title, "1", setting_unit),
            )
        ]
    result = fed(situation.plant, feed, dose, flow)
    start = " when you start" if situation.running.state == "standing" else ""
    at = f"{display.show(dose, Dose)} at {display.show(flow, Flow)}{start}"
    sure = f"worked out from the dose, the flow and the product in the plant file; {age_words(situation, needed)}"
    if result.rate is None:
        first = unknown(
            situation, f"{feed.id}_feed", feed_title, needed, check=result.problem, inside="m^3/s", unit=unit,
            caution=caution_of(feed, pump=True),
        )  # fmt: skip
    else:
        mixed = " of the mixed solution" if dilution(situation.plant, feed) != 1.0 else " of the product"
        first = Advice(
            id=f"{feed.id}_feed", title=feed_title, action=f"Feed {display.show(result.rate, FeedRate)}{mixed}{start}.",
            value=float(result.rate), inside="m^3/s", unit=unit, shown=display.show(result.rate, FeedRate),
            state="steady", caution=caution_of(feed), working=result.sheet, age_s=oldest(situation, needed),
            confidence=sure, depends=needed, check="", because=f"For {at}.",
        )  # fmt: skip
    setting = _setting(situation, feed, result, needed, setting_title, setting_unit, at, start)
    dial = situation.feeds[feed.id].setting.channel
    return [replace(first, uses=uses), replace(setting, uses=(*uses, dial))]


def calibration_unit(feed: Feed) -> str:
    """Return the unit of the pump's dial: percent, or a plain number of its scale."""
    return feed.calibration.unit if feed.calibration is not None else "percent"


def _setting(
    situation: Situation, feed: Feed, result: Fed, needed: tuple[str, ...], title: str, unit: str, at: str, start: str
) -> Advice:
    id = f"{feed.id}_setting"
    if feed.calibration is None:
        check = (
            "The plant file has no drawdown calibration of this pump: run a drawdown at three settings and enter it."
        )
        return unknown(
            situation, id, title, needed, check=check, inside="1", unit=unit, caution=caution_of(feed, pump=True)
        )
    if result.setting is None:
        check = result.setting_problem or result.problem
        return unknown(
            situation, id, title, needed, check=check, inside="1", unit=unit, caution=caution_of(feed, pump=True)
        )
    setting = result.setting
    present = situation.feeds[feed.id].setting.usable
    state: AdviceState = "steady"
    action = f"Set the feed pump to {show(setting, '1', unit)}{start}."
    because = f"For {at}, by the drawdown of {feed.calibration.date:%Y-%m-%d}."
    if present is not None and abs(_apart(setting, present)) <= NEAR:
        because = f"{because[:-1]}, which gives {show(setting, '1', unit)}."
        action = f"Leave the feed pump at {show(present, '1', unit)}."
        setting = present
    elif present is not None:
        state = "do_now" if situation.running.state == "running" else "soon"
        because += f" It stands at {show(present, '1', unit)}."
    shown = show(setting, "1", unit)
    return Advice(
        id=id, title=title, action=action, value=float(setting), inside="1", unit=unit, shown=shown, state=state,
        caution=caution_of(feed, pump=True), working=result.sheet, age_s=oldest(situation, needed),
        confidence=f"as good as the pump's last drawdown; {age_words(situation, needed)}", depends=needed, check="",
        because=because,
    )  # fmt: skip


def _apart(advised: Known, present: Known) -> float:
    """Return by what share of the scale two settings differ."""
    return float(dose_change(advised, present)) if present > 0 else 1.0


def day_tank(
    situation: Situation, feed: Feed, dose: Known | None, channels: Sequence[str], *, uses: tuple[str, ...] = ()
) -> Advice | None:
    """Return the line on the hours left in a feed's day tank, or None where it has none."""
    tank = feed.day_tank
    if tank is None:
        return None
    plant = situation.plant
    level = situation.feeds[feed.id].tank_level
    needed = tuple(dict.fromkeys([*channels, situation.flow_channel, level.channel]))
    id, title = f"{feed.id}_tank", f"{feed.name} day tank"
    bad = [c for c in needed if situation.value(c).usable is None]
    flow = setting_flow(situation)
    if bad or dose is None or flow is None or level.usable is None:
        return unknown(situation, id, title, needed, inside="s", unit="h", check="" if bad else "Dip the day tank.",
            caution=caution_of(feed, pump=True),
        )  # fmt: skip
    result = fed(plant, feed, dose, flow)
    if result.rate is None or result.rate <= 0:
        return unknown(
            situation,
            id,
            title,
            needed,
            inside="s",
            unit="h",
            check=result.problem,
            caution=caution_of(feed, pump=True),
        )
    at = f"train.{feed.id}.day_tank"
    low = plant.known(f"{at}.low") if tank.low is not None else Known(0.0, Default("empty", "definition"), "m")
    with recording() as sheet:
        usable = round_volume(plant.known(f"{at}.diameter"), height_above(level.usable, low))
        left = tank_time_left(usable, result.rate)
    hours = float(convert(left, "s", "h"))
    state: AdviceState = "do_now" if hours < TANK_NOW_H else "soon" if hours < TANK_SOON_H else "steady"
    shown = show(left, "s", "h", 2)
    words = {"do_now": "Fill it now", "soon": "Fill it this shift", "steady": "Leave it"}
    mix = ""
    if state != "steady" and tank.dilution is not None and tank.dilution != 1:
        with recording():
            parts = water_parts(plant.known(f"train.{feed.id}.day_tank.dilution"))
        mix = f" Mix 1 part product with {parts:g} part{'' if parts == 1 else 's'} water (makes {tank.dilution:g})."
    return Advice(
        id=id, title=title, action=f"{words[state]}: {shown} of running left.{mix}", value=float(left), inside="s",
        unit="h", shown=shown, state=state, caution=caution_of(feed) if state != "steady" else "", working=sheet,
        age_s=oldest(situation, needed), confidence=f"at the feed rate advised; {age_words(situation, needed)}",
        depends=needed, check="", because=f"Level {written(level.usable, level.unit, level.display)}.", uses=uses,
    )  # fmt: skip

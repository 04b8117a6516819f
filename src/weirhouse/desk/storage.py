"""How long does the storage last, and how long may the plant stand still above the reserve?"""

from collections.abc import Iterator, Sequence

from weirhouse.desk.action_levels import in_force, telephone
from weirhouse.desk.lines import Display, age_words, figure, oldest, unknown, within_sentence
from weirhouse.desk.model import Advice, AdviceState, Figure
from weirhouse.plant.model import Plant, Storage
from weirhouse.quantity import convert, show
from weirhouse.science.basins import circle_area, volume_from_area
from weirhouse.science.operations import height_above, time_to_draw, together
from weirhouse.science.quantities import Flow, Head, Volume
from weirhouse.science.storage import level_for_pressure, reserve_level, time_of_supply
from weirhouse.situation.ages import at_clock, clock_text, later, rest_of_hour_s
from weirhouse.situation.model import Situation
from weirhouse.working import Default, Known, recording

STANDING_SOON_H = 12.0
HELD = {"hold": "the hold is in force", "stop": "the plant is to be stopped"}
NOTHING = Known(0.0, Default("nothing kept back: all that is in the tank", "definition"), "m^3")
ENTRY = "Never enter a tank alone or without testing its air: a confined space."


def tanks(plant: Plant) -> list[Storage]:
    """Return the storage tanks of the train."""
    return [stage for stage in plant.stages if isinstance(stage, Storage)]


def plan_area(plant: Plant, tank: Storage) -> Known:
    """Return the plan area of a tank, as entered or from its diameter."""
    if tank.area is not None:
        return plant.known(f"train.{tank.id}.area")
    area: Known = circle_area(plant.known(f"train.{tank.id}.diameter"))
    return area


def reserve(plant: Plant, tank: Storage, area: Known) -> Known:
    """Return the level of the reserve: what holds 20 psi at the highest service, and fire storage on top."""
    at = f"train.{tank.id}"
    pressure: Known = Known(0.0, Default("no highest service in the plant file", "none"), "m")
    if tank.highest_service is not None and tank.base_elevation is not None:
        pressure = level_for_pressure(plant.known(f"{at}.highest_service"), plant.known(f"{at}.base_elevation"))
    if tank.low_level is not None and tank.low_level > pressure:
        pressure = plant.known(f"{at}.low_level")
    if tank.fire_reserve is None:
        return pressure
    level: Known = reserve_level(pressure, plant.known(f"{at}.fire_reserve"), area)
    return level


def at_reserve(situation: Situation) -> list[Storage]:
    """Return the storage tanks that are down to their reserve, by a reading that can be trusted."""
    found = [
        (tank, situation.tanks[tank.id].level.usable) for tank in tanks(situation.plant) if tank.id in situation.tanks
    ]
    return [
        tank
        for tank, level in found
        if level is not None and level <= reserve(situation.plant, tank, plan_area(situation.plant, tank))
    ]


def storage(situation: Situation) -> Iterator[Advice]:
    """Yield hours of supply and standstill, for all storage tanks together."""
    found = tanks(situation.plant)
    if not found:
        return
    levels = [
        situation.tanks[tank.id].level.channel if tank.id in situation.tanks else f"{tank.id}_level" for tank in found
    ]
    channels = tuple(dict.fromkeys([*levels, situation.demand.now.channel]))
    titles = {"storage_hours": "Hours of supply", "standstill": "Standstill above the reserve"}
    bad = [c for c in channels if situation.value(c).usable is None]
    demand = situation.demand.last_day
    if bad or demand is None or demand <= 0:
        check = "" if bad else "Record the demand for half a day at least: the hours cannot be worked out before."
        for id, title in titles.items():
            yield unknown(situation, id, title, channels, check=check, inside="s", unit="h")
        return
    yield _supply(situation, found, channels, demand, titles["storage_hours"])
    yield _standstill(situation, found, channels, demand, titles["standstill"])


def _supply(
    situation: Situation, found: Sequence[Storage], channels: tuple[str, ...], demand: Known, title: str
) -> Advice:
    display = Display(situation.plant.unit_set)
    with recording() as sheet:
        volume = NOTHING
        for tank in found:
            level = situation.tanks[tank.id].level.usable
            assert level is not None
            held = volume_from_area(plan_area(situation.plant, tank), level)
            volume = held if volume is NOTHING else together(volume, held)
        left = time_of_supply(volume, NOTHING, demand)
    shown = show(left, "s", "h", 2)
    return Advice(
        id="storage_hours", title=title, action=f"The tank would be empty after {shown} at the demand of the last day.",
        value=float(left), inside="s", unit="h", shown=shown, state="steady", caution="", working=sheet,
        age_s=oldest(situation, channels),
        confidence="at the mean demand of the last 24 h; a main break or a fire draws more; "
        f"{age_words(situation, channels)}",
        depends=channels, check="",
        because=f"Demand {display.show(demand, Flow)}, {display.show(volume, Volume)} in storage.",
        figures=(
            figure("In storage", volume, "m^3", display.unit(Volume)),
            figure("Mean demand of the last day", demand, "m^3/s", display.unit(Flow)),
        ),
    )  # fmt: skip


def _standstill(
    situation: Situation, found: Sequence[Storage], channels: tuple[str, ...], demand: Known, title: str
) -> Advice:
    plant, display = situation.plant, Display(situation.plant.unit_set)
    below = []
    figures: list[Figure] = []
    with recording() as sheet:
        usable = NOTHING
        for tank in found:
            level = situation.tanks[tank.id].level.usable
            assert level is not None
            area = plan_area(plant, tank)
            lowest = reserve(plant, tank, area)
            above = volume_from_area(area, height_above(level, lowest))
            usable = above if usable is NOTHING else together(usable, above)
            figures.append(figure(f"Reserve level of {tank.name}", lowest, "m", display.unit(Head)))
            if level <= lowest:
                below.append(f"the {within_sentence(tank.name)}")
        if situation.demand.by_hour:
            rest = Known(rest_of_hour_s(situation.at), Default("what is left of this hour", "the clock"), "s")
            left = time_to_draw(usable, rest, _from_now(situation))
            sure = "at the usual demand of each hour over the last two weeks"
        else:
            left = time_of_supply(usable, NOTHING, demand)
            sure = "at the mean demand of the last 24 h"
    figures.append(figure("Above the reserve", usable, "m^3", display.unit(Volume)))
    shown = show(left, "s", "h", 2)
    hours = float(convert(left, "s", "h"))
    standing = situation.running.state == "standing" or not situation.running.intake_open
    until = clock_text(later(situation.at, left), situation.at, situation.zone)
    held = [action for action in in_force(situation) if action.do in HELD]
    call = telephone(plant)
    then = at_clock(later(situation.at, left), situation.at, situation.zone)
    state: AdviceState = "steady"
    if below:
        state = "do_now"
        low = " and ".join(below)
        make = "Make water as soon as you can." if standing else "Keep the plant running."
        make = f"Make none while {HELD[held[0].do]}." if held else make
        verb = "is at its" if len(below) == 1 else "are at their"
        action = f"{low[0].upper()}{low[1:]} {verb} reserve: ask the village to save water and {call}. {make}"
    elif held:
        state = "soon" if hours < STANDING_SOON_H else "steady"
        action = f"The reserve is reached {then} if the {held[0].do} lasts"
        if state == "soon":
            action += f": ask the village to save water now and {call} before then"
        action += f". Do not start while {HELD[held[0].do]}."
    elif hours < STANDING_SOON_H and standing:
        state = "soon"
        action = f"Start before {until}: the reserve is reached then."
    else:
        action = f"The plant may stand still for {shown}, until {until}, before the reserve is reached."
    pressure = f"Public health: low pressure can draw dirt into the mains: {call}. {ENTRY}"
    return Advice(
        id="standstill", title=title, action=action, value=float(left), inside="s", unit="h", shown=shown, state=state,
        caution=pressure if below else "", working=sheet, age_s=oldest(situation, channels),
        confidence=f"{sure}; a main break or a fire draws more; {age_words(situation, channels)}", depends=channels,
        check="", because=f"{display.show(usable, Volume)} above the reserve.", figures=tuple(figures),
        uses=tuple(dict.fromkeys([a.channel for a in plant.action if a.do in HELD] + [situation.flow_channel])),
    )  # fmt: skip


def _from_now(situation: Situation) -> list[float]:
    hour = situation.at.astimezone(situation.zone).hour
    demands = [float(flow) for flow in situation.demand.by_hour]
    return demands[hour:] + demands[:hour]

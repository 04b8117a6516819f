"""How much chlorine, what does its pump stand at, is enough left, and had it time enough?"""

from collections.abc import Iterator
from dataclasses import replace

from weirhouse.desk.action_levels import telephone
from weirhouse.desk.contact import contact_stages, contact_time, first_of
from weirhouse.desk.feeders import caution_of, day_tank, rate_and_setting
from weirhouse.desk.flow import setting_flow
from weirhouse.desk.lines import Display, age_words, figure, oldest, read_off, unknown
from weirhouse.desk.model import Advice, AdviceState, Figure
from weirhouse.plant.model import Feed
from weirhouse.quantity import show, written
from weirhouse.science.basins import detention_time
from weirhouse.science.chlorine import chlorine_demand
from weirhouse.science.operations import dose_change, dose_for_residual, together
from weirhouse.science.quantities import Dose
from weirhouse.situation.ages import at_clock, elapsed_s, later
from weirhouse.situation.model import Situation
from weirhouse.situation.volumes import stage_volume
from weirhouse.working import Entry, Known, recording

APART = 0.08  # a dose in force within this share of the one advised is left alone
NEAR_LIMIT = 0.25  # a residual within this share of a limit is told before it is broken; common practice, no source
UNIT = "mg/L"
FIRST = "First check the feed by a drawdown and the residual with the test kit"


def disinfection(situation: Situation) -> Iterator[Advice]:
    """Yield dose, feed rate, pump setting and day tank of each disinfectant, the residual, and the contact time."""
    feeds = [feed for feed in situation.plant.feeds if feed.role == "disinfectant"]
    for feed in feeds:
        yield from chlorine(situation, feed)
    if feeds or contact_stages(situation.plant):
        yield chlorine_residual(situation)
    yield from contact_time(situation)


def chlorine(situation: Situation, feed: Feed) -> Iterator[Advice]:
    """Yield dose, feed rate, pump setting and day tank of one disinfectant."""
    line, dose = _dose(situation, feed)
    yield line
    why = line.check or "No dose can be given."
    for result in rate_and_setting(situation, feed, dose, line.depends, why_no_dose=why):
        then = result.action.startswith("Set ") and line.action.startswith(FIRST)
        yield replace(result, action=f"{FIRST}; then s{result.action[1:]}") if then else result
    tank = day_tank(situation, feed, dose, line.depends)
    if tank is not None:
        yield tank


def _dose(situation: Situation, feed: Feed) -> tuple[Advice, Known | None]:
    """Return the line on the dose, and the dose itself when it may be set."""
    force = situation.feeds[feed.id]
    id, title = f"{feed.id}_dose", f"{feed.name} dose"
    place = first_of(situation, "contact_chlorine", "entry_chlorine")
    channels = tuple(dict.fromkeys([place, force.dose.channel]))
    unit = Display(situation.plant.unit_set).unit(Dose)
    residual, present = situation.value(place).usable, force.dose.usable

    def cannot(check: str = "") -> tuple[Advice, None]:
        return unknown(
            situation, id, title, channels, inside="g/m^3", unit=unit, check=check, caution=caution_of(feed)
        ), None  # fmt: skip

    if residual is None or present is None:
        return cannot()
    if feed.target_residual is None:
        return cannot(f"Enter target_residual of {feed.name.lower()} in the plant file.")
    target = situation.plant.known(f"train.{feed.id}.target_residual")
    with recording() as sheet:
        try:
            demand = chlorine_demand(present, residual)
            dose = dose_for_residual(present, residual, target)
            change = dose_change(dose, present)
        except ValueError as problem:
            return cannot(f"{str(problem)[0].upper()}{str(problem)[1:]}")
        wait = _still_coming(situation, feed)
    figures = _figures(situation, feed, demand, unit)
    shown, now = show(dose, "g/m^3", unit), show(present, "g/m^3", unit)
    because = (
        f"Free residual {written(residual, 'g/m^3', UNIT)}, target {written(target, 'g/m^3', UNIT)}; now fed {now}."
    )
    state: AdviceState = "steady"
    beyond = _beyond(situation, feed, dose)
    if situation.running.state == "standing":
        dose, shown = present, now
        action = f"When you start, feed {now} as Cl₂, as before; change it by the residual of running water."
        beyond = ""
    elif abs(change) <= APART:
        dose, shown = present, now
        action, beyond = f"Keep {now} as Cl₂.", ""
    elif wait is not None:
        dose, shown, beyond = present, now, ""
        action = f"Keep {now} as Cl₂: it was changed lately, the residual shows that {wait}. Measure again then."
    else:
        state = "do_now" if situation.running.state == "running" else "soon"
        action = f"Feed {shown} as Cl₂."
    if beyond:
        action = f"{FIRST}; then feed {shown} as Cl₂ ({beyond})."
    sure = "low: outside of what was fed here before" if beyond else "good while the demand of the water stays as it is"
    line = Advice(
        id=id, title=title, action=action, value=float(dose), inside="g/m^3", unit=unit, shown=shown, state=state,
        caution=caution_of(feed), working=sheet, age_s=oldest(situation, channels),
        confidence=f"{sure}; {age_words(situation, channels)}",
        depends=channels, check="", because=because, figures=figures,
    )  # fmt: skip
    return line, dose


def _beyond(situation: Situation, feed: Feed, dose: Known) -> str:
    """Return in words that a dose lies outside of the doses of the past, or nothing."""
    force = situation.feeds[feed.id]
    low, high = force.lowest_past_dose, force.highest_past_dose
    if low is None or high is None:
        return "no dose is on record yet"
    if dose > high:
        return f"above every dose on record (highest {show(high, 'g/m^3', UNIT)})"
    if dose < low:
        return f"below every dose on record (lowest {show(low, 'g/m^3', UNIT)})"
    return ""


def _still_coming(situation: Situation, feed: Feed) -> str | None:
    """Return when the last dose change shows at the end of the contact tanks, if it does not show yet."""
    since, flow = situation.feeds[feed.id].since, setting_flow(situation)
    if since is None or flow is None or flow <= 0:
        return None
    tanks = [stage for stage in contact_stages(situation.plant) if stage.kind == "contact"]
    if not tanks:
        return None
    held: Known | None = None
    for tank in tanks:
        full = Known(stage_volume(tank), Entry(f"train.{tank.id}", f"what {tank.name} holds when full"), "m^3")
        held = full if held is None else together(held, full)
    through = detention_time(held, flow)
    if elapsed_s(since, situation.at) >= through:
        return None
    return at_clock(later(since, through), situation.at, situation.zone, "about ")


def _figures(situation: Situation, feed: Feed, demand: Known, unit: str) -> tuple[Figure, ...]:
    force = situation.feeds[feed.id]
    found = [figure("Demand of the water up to the residual", demand, "g/m^3", unit)]
    if force.lowest_past_dose is not None and force.highest_past_dose is not None:
        found.append(figure("Lowest dose on record", force.lowest_past_dose, "g/m^3", unit))
        found.append(figure("Highest dose on record", force.highest_past_dose, "g/m^3", unit))
    return tuple(found)


# --- residual ----------------------------------------------------------------------------------------------------


def chlorine_residual(situation: Situation) -> Advice:
    """Return the line on the free residual that goes out, against the permit's least and most."""
    plant = situation.plant
    measured = [c for c in ("entry_chlorine", "contact_chlorine") if c in plant.channels] or ["entry_chlorine"]
    channels, place = tuple(measured), measured[0]
    title = "Chlorine residual"
    caution = f"Public health: below the least residual or above the most, {telephone(plant)}."
    value = situation.value(place)
    figures = tuple(
        figure(situation.value(c).title, situation.value(c).usable, "g/m^3", UNIT) for c in channels
    )  # fmt: skip
    if any(situation.value(c).usable is None for c in channels):
        return unknown(
            situation, "chlorine_residual", title, channels, inside="g/m^3", unit=UNIT, caution=caution, figures=figures
        )
    residual = value.usable
    assert residual is not None
    least, most = (_limit(situation, name) for name in ("entry_residual_min", "residual_max"))
    shown = written(residual, "g/m^3", UNIT)
    limits = [f"at least {written(least, 'g/m^3', UNIT)}"] if least is not None else []
    limits += [f"at most {written(most, 'g/m^3', UNIT)}"] if most is not None else []
    call = telephone(plant)
    state: AdviceState = "steady"
    if least is not None and residual < least:
        state = "do_now"
        action = f"Raise the residual now: {shown} is below the least allowed; {call}."
    elif most is not None and residual > most:
        state = "do_now"
        action = f"Lower the chlorine dose: {shown} is above the most allowed; {call}."
    elif _near(residual, least) or _near(residual, most):
        state, action = "soon", f"{shown} leaves little room to the limit: measure again within the hour."
    else:
        action = f"{shown} goes out."
    return Advice(
        id="chlorine_residual", title=title, action=action, value=float(residual), inside="g/m^3", unit=UNIT,
        shown=shown, state=state, caution=caution if state != "steady" else "", working=read_off(value),
        age_s=oldest(situation, channels), confidence=f"measured; {age_words(situation, channels)}", depends=channels,
        check="", because=f"Your permit: {', '.join(limits) or 'no limits are entered'}.",
        figures=figures,
    )  # fmt: skip


def _limit(situation: Situation, name: str) -> Known | None:
    permit = situation.plant.permit
    return None if permit is None or getattr(permit, name) is None else situation.plant.known(f"permit.{name}")


def _near(residual: Known, limit: Known | None) -> bool:
    return bool(limit) and abs(dose_change(residual, limit)) < NEAR_LIMIT

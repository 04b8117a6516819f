"""Is one of the operator's own action levels reached? Before all else."""

from collections.abc import Iterator

from weirhouse.desk.lines import age_words, figure, oldest, read_off, unknown
from weirhouse.desk.model import Advice, Figure
from weirhouse.plant.model import Action, Plant
from weirhouse.quantity import written
from weirhouse.situation.ages import age_text
from weirhouse.situation.model import Situation, Value

GRAVITY = {"stop": 0, "hold": 1, "filter_to_waste": 2}
WORDS = {
    "stop": "Stop the plant",
    "hold": "Hold: shut the intake and send no water on",
    "filter_to_waste": "Filter to waste until it is below again",
}

FLOOD = "Creek in flood: do not go into the water or alone onto the intake; lock the pump out before you reach in."


def telephone(plant: Plant) -> str:
    """Return whom to call, from the plant's own list; the first entry that speaks of the State goes first."""
    listed = sorted(plant.telephone, key=lambda entry: "state" not in entry.name.lower())
    if not listed:
        return "call the State drinking water program (its number is missing in the plant file)"
    if not any(sign.isdigit() for sign in listed[0].number):
        return f"call {listed[0].name} (its number is missing in the plant file)"
    return f"call {listed[0].name}, {listed[0].number}"


def reached(value: Value, action: Action) -> bool | None:
    """Return whether the newest reading, doubtful or not, is at an action level; None when there is none."""
    if value.known is None:
        return None
    if action.above is not None:
        return bool(value.known > action.above)
    return bool(action.below is not None and value.known < action.below)


def in_force(situation: Situation) -> list[Action]:
    """Return the action levels that trustworthy readings reach, the gravest first."""
    values = [(action, situation.value(action.channel)) for action in situation.plant.action]
    found = [action for action, value in values if value.state == "fresh" and reached(value, action)]
    return sorted(found, key=lambda action: GRAVITY.get(action.do, 9))


def action_levels(situation: Situation) -> Iterator[Advice]:
    """Yield a line for each action level: those reached first, the gravest of them before the others."""
    actions = situation.plant.action
    force = {id(action) for action in in_force(situation)}
    ordered = sorted(actions, key=lambda a: (id(a) not in force, GRAVITY.get(a.do, 9) if id(a) in force else 0))
    for action in ordered:
        yield _line(situation, action)


def action_id(action: Action) -> str:
    """Return the id of the line of an action level."""
    side = "above" if action.above is not None else "below"
    return f"action_{action.channel}_{side}_{action.do}"


def _limit(action: Action, value: Value) -> str:
    limit = action.above if action.above is not None else action.below
    side = "above" if action.above is not None else "below"
    return f"{side} {written(float(limit or 0.0), value.unit, value.display or value.unit)}"


def _line(situation: Situation, action: Action) -> Advice:
    value = situation.value(action.channel)
    limit = _limit(action, value)
    title = f"{value.title} ({action.do.replace('_', ' ')} {limit})"
    channels = (action.channel,)
    at_level = reached(value, action)
    shutdowns = _shutdowns(situation, action.channel, value)
    caution = f"Public health: {telephone(situation.plant)}, when a limit is broken or you doubt the disinfection."
    if at_level and action.do == "hold" and action.channel.startswith(("raw_", "stream_", "intake_")):
        caution = f"{caution} {FLOOD}"
    if value.usable is None:
        return unknown(
            situation, action_id(action), title, channels, inside=value.unit, unit=value.display, caution=caution,
            because=f"Your level is {limit}. {_last(value, at_level)}", figures=shutdowns,
        )  # fmt: skip
    assert value.known is not None
    shown, sure = written(value.known, value.unit, value.display), f"measured; {age_words(situation, channels)}"
    if at_level:
        return Advice(
            id=action_id(action), title=title, action=f"{WORDS.get(action.do, action.do)}.",
            value=float(value.known), inside=value.unit, unit=value.display, shown=shown, state="do_now",
            caution=caution, working=read_off(value), age_s=value.age_s, confidence=sure,
            depends=channels, check="", because=f"{value.title} is {shown}; your action level is {limit}.",
            figures=shutdowns,
        )  # fmt: skip
    return Advice(
        id=action_id(action), title=title, action="Not reached.",
        value=float(value.known), inside=value.unit, unit=value.display, shown=shown, state="steady", caution="",
        working=read_off(value), age_s=oldest(situation, channels), confidence=sure,
        depends=channels, check="", because="", figures=shutdowns,
    )  # fmt: skip


def level_words(situation: Situation, action: Action) -> str:
    """Return which reading reaches which level: "Raw turbidity 408 NTU is above your 150 NTU"."""
    value = situation.value(action.channel)
    side, _, limit = _limit(action, value).partition(" ")
    shown = "" if value.known is None else f" {written(value.known, value.unit, value.display)}"
    return f"{value.title}{shown} is {side} your {limit}"


def _last(value: Value, at_level: bool | None) -> str:
    if value.known is None:
        return "There is no reading."
    shown = written(value.known, value.unit, value.display)
    if at_level:
        return f"The newest reading, {shown}, reaches it: treat the level as reached until the check shows otherwise."
    return f"The newest reading, {shown}, does not reach it but is doubtful."


def _shutdowns(situation: Situation, channel: str, value: Value) -> tuple[Figure, ...]:
    """Return what the plant's own controls do by themselves on this channel."""
    found = []
    for shutdown in situation.plant.shutdown:
        if shutdown.channel == channel:
            limit = shutdown.above if shutdown.above is not None else shutdown.below
            side = "above" if shutdown.above is not None else "below"
            after = f" for {age_text(shutdown.lasting)}" if shutdown.lasting else ""
            found.append(
                figure(
                    f"Controls stop the plant by themselves {side}",
                    limit,
                    value.unit,
                    value.display,
                    against=after,
                    plain=True,
                )
            )
    return tuple(found)

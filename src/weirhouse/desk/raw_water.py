"""What water comes, which way does it go, and should it be taken?"""

from collections.abc import Iterator

from weirhouse.desk.action_levels import GRAVITY, in_force
from weirhouse.desk.lines import Display, age_words, figure, oldest, read_off, unknown
from weirhouse.desk.model import Advice, AdviceState, Figure
from weirhouse.plant.model import Action
from weirhouse.quantity import show, written
from weirhouse.science.operations import share_of_limit, time_to_turbidity, turbidity_change
from weirhouse.science.quantities import Temperature
from weirhouse.situation.ages import age_text, at_clock, later
from weirhouse.situation.model import Situation, Trend, Value
from weirhouse.working import Default, Known, Sheet, recording

SCREEN_SOON = 0.75  # share of its limit at which the screen is cleaned within the shift; common practice, no source
HOUR = Known(3600.0, Default("one hour", "definition"), "s")
ALSO = ("raw_temperature", "raw_ph", "raw_alkalinity", "raw_uv254", "stream_level")  # shown beside the turbidity
INTAKE = "Shut the power off and lock it out before you reach into the screen or a pump."


def verdict_channels(situation: Situation) -> tuple[str, ...]:
    """Return the channels on which it hangs whether water may be taken: raw turbidity and the action levels'."""
    stops = [a.channel for a in situation.plant.action if a.do in ("stop", "hold")]
    return tuple(dict.fromkeys(["raw_turbidity", *stops]))


def raw_water(situation: Situation) -> Iterator[Advice]:
    """Yield the line on the raw water, and one on the intake screen where its head loss is measured."""
    yield _take(situation)
    yield from _screen(situation)


def _take(situation: Situation) -> Advice:
    title = "Raw water"
    channels = verdict_channels(situation)
    turbidity = situation.value("raw_turbidity")
    figures = _also(situation)
    bad = [c for c in channels if situation.value(c).usable is None]
    if bad:
        return unknown(
            situation, "raw_water", title, channels, inside="NTU", unit="NTU", figures=figures,
            because="Whether to take water hangs on the raw turbidity and on your action levels.",
        )  # fmt: skip
    assert turbidity.known is not None
    shown = written(turbidity.known, "NTU", "NTU")
    trend = situation.trends.get("raw_turbidity", ())
    said, sheet = _trend_words(trend)
    stops = [a for a in in_force(situation) if a.do in ("stop", "hold")]
    soon, when = _next_hold(situation, trend)
    state: AdviceState = "steady"
    if stops:
        first = min(stops, key=lambda action: GRAVITY[action.do])
        what = situation.value(first.channel)
        action = f"Do not take it: {what.title} is {_beside(first, what)}."
        state = "do_now"
    elif not situation.running.intake_open and soon is not None:
        action = f"Leave the intake shut: at this rise the water reaches your hold level {when}."
        state = "soon"
    elif not situation.running.intake_open:
        action = "The intake is shut; the water is below your action levels, so it may be opened."
    elif soon is not None:
        take = "It may be taken when you start" if situation.running.state == "standing" else "Take it"
        action = f"{take}, but at this rise it reaches your hold level {when}."
        state = "soon"
    else:
        action = "Take it." if situation.running.state != "standing" else "It may be taken when you start."
    return Advice(
        id="raw_water", title=title, action=action, value=float(turbidity.known), inside="NTU", unit="NTU", shown=shown,
        state=state, caution="", working=soon or sheet, age_s=oldest(situation, channels),
        confidence=f"measured; {age_words(situation, channels)}", depends=channels, check="",
        because=f"Raw turbidity {shown}, {said}.", figures=figures, uses=ALSO,
    )  # fmt: skip


def _beside(action: Action, value: Value) -> str:
    """Return how a reading lies to the level it reaches: "above your hold level of 150 NTU"."""
    limit = action.above if action.above is not None else action.below
    side = "above" if action.above is not None else "below"
    return f"{side} your {action.do} level of {written(float(limit or 0.0), value.unit, value.display)}"


def _trend_words(trend: tuple[Trend, ...]) -> tuple[str, Sheet | None]:
    if not trend:
        return "trend not known: fewer than three readings in three hours", None
    with recording() as sheet:
        parts = []
        for one in trend:
            change = turbidity_change(one.slope, HOUR)
            amount = "" if one.word == "level" else f" by {show(abs(change), 'NTU', 'NTU', 2)} in an hour"
            span = "hour" if one.hours == 1 else f"{one.hours:g} h"
            word = "steady" if one.word == "level" else one.word
            parts.append(f"{word}{amount} over the last {span}")
    if all(one.word == "level" for one in trend):
        return f"steady for {max(one.hours for one in trend):g} h", sheet
    return "; ".join(parts), sheet


def _next_hold(situation: Situation, trend: tuple[Trend, ...]) -> tuple[Sheet | None, str]:
    """Return the working and the hour at which the rise reaches the operator's next hold or stop level."""
    turbidity = situation.value("raw_turbidity").usable
    plant = situation.plant
    rising = next((t for t in trend if t.word == "rising"), None)
    limits = [
        (plant.known(f"action.{i}.above"), a)
        for i, a in enumerate(plant.action)
        if a.channel == "raw_turbidity" and a.above is not None and a.do in ("hold", "stop")
    ]
    ahead = sorted((limit for limit, _ in limits if turbidity is not None and limit > turbidity), key=float)
    if rising is None or turbidity is None or not ahead:
        return None, ""
    with recording() as sheet:
        left = time_to_turbidity(ahead[0], turbidity, rising.slope)
    if left > 3 * 3600:
        return None, ""
    return sheet, at_clock(later(situation.at, left), situation.at, situation.zone, "about ")


def _also(situation: Situation) -> tuple[Figure, ...]:
    """Return what else is measured of the raw water."""
    found = []
    for channel in ALSO:
        if channel in situation.values:
            value = situation.value(channel)
            age = "" if value.age_s is None else f"{age_text(value.age_s)} ago"
            words = age if value.state == "fresh" else f"{value.state}: {value.why}"
            found.append(figure(value.title, value.known, value.unit, value.display, against=words, plain=True))
    return tuple(found)


def _screen(situation: Situation) -> Iterator[Advice]:
    if "intake_head_loss" not in situation.values:
        return
    limits = [s for s in situation.plant.stages if s.kind == "intake" and s.screen_head_loss_limit is not None]
    if not limits:
        return
    display = Display(situation.plant.unit_set)
    channels = ("intake_head_loss",)
    title = "Intake screen"
    value = situation.value("intake_head_loss")
    unit = value.display
    if value.usable is None:
        yield unknown(situation, "intake_screen", title, channels, inside="m", unit=unit, caution=INTAKE)
        return
    limit = situation.plant.known(f"train.{limits[0].id}.screen_head_loss_limit")
    shown, most = written(value.usable, "m", unit), written(limit, "m", unit)
    used = share_of_limit(value.usable, limit)
    over, near = bool(value.usable > limit), bool(used >= SCREEN_SOON)
    freezing = situation.value("raw_temperature").usable
    ice = freezing is not None and freezing < 0.5
    more = f" Water of {display.show(freezing, Temperature)} may carry ice." if ice and freezing is not None else ""
    words = f"Leave it: head loss {shown} of {most}."
    if over or near:
        words = f"Clean the screen {'now' if over else 'this shift'}: {shown} of {most}."
    state: AdviceState = "do_now" if over else "soon" if near else "steady"
    yield Advice(
        id="intake_screen", title=title,
        action=f"{words}{more}",
        value=float(value.usable), inside="m", unit=unit, shown=shown, state=state,
        caution=INTAKE if near else "", working=read_off(value), age_s=value.age_s,
        confidence=f"measured; {age_words(situation, channels)}", depends=channels, check="",
        because="", uses=("raw_temperature",),
    )  # fmt: skip

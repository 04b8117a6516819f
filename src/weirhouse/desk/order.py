"""What is the day's order, in one sentence? No setpoint in it when a reading it stands on is doubtful."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from weirhouse.desk.action_levels import WORDS, in_force, reached, telephone
from weirhouse.desk.disinfection import FIRST
from weirhouse.desk.lines import how_to_check
from weirhouse.desk.model import Advice, AdviceState
from weirhouse.quantity import show, written
from weirhouse.situation.ages import at_clock, clock_text, later
from weirhouse.situation.model import Situation, Value

Lines = Mapping[str, Advice]
ABOUT_S = 1800.0  # a meter's interval or two lie between a power failure and the first zero
BESIDE = ("unit_", "gaps")  # lines that tell of the plant and its instruments, and ask for nothing this shift


def key_channels(situation: Situation) -> tuple[str, ...]:
    """Return the channels without which no order is given: raw turbidity, flow, filtered turbidity, residual."""
    plant = situation.plant
    keys = ["raw_turbidity", situation.flow_channel]
    if plant.filters:
        filtered = [f"{f.id}_turbidity" for f in plant.filters if f"{f.id}_turbidity" in plant.channels]
        keys += ["combined_turbidity"] if "combined_turbidity" in plant.channels or not filtered else filtered
    if any(feed.role == "disinfectant" for feed in plant.feeds):
        both = [c for c in ("contact_chlorine", "entry_chlorine") if c in plant.channels]
        keys += both or ["entry_chlorine"]
    return tuple(keys)


def order(situation: Situation, advice: Sequence[Advice]) -> tuple[str, AdviceState]:
    """Return the order of the day and its state."""
    force = in_force(situation)
    lines = {line.id: line for line in advice}
    if force:
        limit = _limit_text(situation, force[0])
        return _by_action_level(situation, lines, force[0].channel, force[0].do, limit), "do_now"
    doubtful = [situation.value(c) for c in key_channels(situation) if situation.value(c).usable is None]
    doubtful += [
        situation.value(c)
        for line in advice
        if line.id.startswith("action_") and line.state == "unknown"
        for c in line.depends
        if c not in key_channels(situation)
    ]
    if doubtful:
        return before_start(situation, _cannot_tell(situation, doubtful, lines)), "unknown"
    if situation.running.state == "unknown":
        return "Check first: enter in the day log whether the plant was started or stopped last.", "unknown"
    parts = (_urgent, _water, _feeds, _backwash, _disinfection)
    clauses = [clause for part in parts for clause in part(situation, lines)]
    if not clauses:
        return "Nothing can be ordered: this plant file names no stage that is set by hand.", "unknown"
    sentence = ", ".join(clauses)
    low = _reserve(lines)
    if low:
        sentence = f"{low}; {sentence}"
    states = {line.state for line in advice if not line.id.startswith(BESIDE)}
    state: AdviceState = "do_now" if "do_now" in states else "soon" if "soon" in states else "steady"
    return before_start(situation, f"{sentence[0].upper()}{sentence[1:]}."), state


def before_start(situation: Situation, sentence: str) -> str:
    """Return the order of a plant that stands by the log: that it stands and why goes first."""
    since = situation.running.since
    if situation.running.state != "standing" or since is None:
        return sentence
    reason = _why_it_stands(situation, since)
    if not reason:
        return sentence
    begun = clock_text(since, situation.at, situation.zone)
    then = f"{sentence[0].lower()}{sentence[1:]}"
    if then.startswith(("start ", "when you start")):
        return f"The plant stands since {begun} ({reason}). {sentence}"
    then = then.replace("check first: ", "check ", 1)
    return f"The plant stands since {begun} ({reason}). Before you start: {then}"


def _why_it_stands(situation: Situation, since: datetime) -> str:
    """Return the power failure or the stop in the day log that goes with a standstill, or nothing."""
    before, after = later(since, -ABOUT_S), later(since, ABOUT_S)
    for event in reversed(situation.events):
        over = event.ended_at is not None and event.ended_at < before
        if event.kind == "power_failure" and event.started_at <= after and not over:
            began = clock_text(event.started_at, situation.at, situation.zone)
            ended = "" if event.ended_at is None or event.ended_at > situation.at else ", back "
            back = clock_text(event.ended_at, situation.at, situation.zone) if ended and event.ended_at else ""
            return f"power failed {began}{ended}{back}"
    if "day log" in situation.running.why:
        return "stopped, by the day log"
    return ""


def _limit_text(situation: Situation, action: object) -> str:
    value = situation.value(action.channel)  # type: ignore[attr-defined]
    above, below = action.above, action.below  # type: ignore[attr-defined]
    limit = above if above is not None else below
    side = "above" if above is not None else "below"
    return f"your level: {side} {written(float(limit), value.unit, value.display)}"


def _by_action_level(situation: Situation, lines: Lines, channel: str, do: str, limit: str) -> str:
    value = situation.value(channel)
    assert value.known is not None
    shown = written(value.known, value.unit, value.display)
    call = f", and {telephone(situation.plant)}" if do == "stop" else ""
    low = f"; {first[0].lower()}{first[1:]}" if (first := _reserve(lines)) else ""
    return f"{WORDS.get(do, do)}: {value.title} is {shown} ({limit}){call}{low}."


def _cannot_tell(situation: Situation, doubtful: Sequence[Value], lines: Lines) -> str:
    """Return what to check first and how, with no setting beside it."""
    seen = {value.channel: value for value in doubtful}
    reasons: dict[str, list[str]] = {}
    for value in seen.values():
        reasons.setdefault(value.why.split(", stale after")[0], []).append(value.title)
    parts = [f"{', '.join(titles)}{',' if len(titles) == 1 else ':'} {why}" for why, titles in reasons.items()]
    first = next(iter(seen.values()))
    how = how_to_check(first, standing=situation.running.state == "standing")
    grave = [
        a
        for a in situation.plant.action
        if a.channel in seen and seen[a.channel].known is not None and reached(seen[a.channel], a)
    ]
    also = ""
    if grave:
        level = grave[-1].do.replace("_", " ")
        also = f" The doubtful reading is at your {level} level: treat it as reached until checked."
    if low := _reserve(lines):
        also += f" {low}."
    how = f"{how[0].upper()}{how[1:]}" if len(seen) == 1 else f"{first.title}: {how}"
    return f"Check first: {'; '.join(parts)}. {how}.{also}"


def first_sentence(text: str) -> str:
    """Return the first sentence of an action, to stand within another.

    >>> first_sentence("Backwash Filter 2 now. Head loss is 7.1 ft.")
    'backwash Filter 2 now'
    """
    first = text.split(". ")[0].rstrip(".")
    return f"{first[:1].lower()}{first[1:]}"


def _urgent(situation: Situation, lines: Lines) -> list[str]:
    """Return what cannot wait and belongs to no setting: a residual out of bounds, a blinded screen."""
    urgent = ("chlorine_residual", "intake_screen")
    found = [line for line in (lines.get(id) for id in urgent) if line is not None and line.state == "do_now"]
    return [first_sentence(line.action).replace("the screen", "the intake screen") for line in found]


def _reserve(lines: Lines) -> str:
    """Return that the storage is at its reserve, and whom to ask and to call; nothing while it is above."""
    still = lines.get("standstill")
    return still.action.split(". ")[0].rstrip(".") if still is not None and still.state == "do_now" else ""


def _water(situation: Situation, lines: Lines) -> list[str]:
    flow, still = lines.get("plant_flow"), lines.get("standstill")
    if flow is None or flow.value is None or not flow.shown:
        return []
    if situation.running.state == "running" and situation.running.intake_open:
        return [f"take water at {flow.shown}"]
    if still is not None and still.state == "do_now":
        return [f"start now at {flow.shown}"]
    if still is not None and still.state == "soon":
        start = still.action.split(": ")[0]
        return [f"{start[0].lower()}{start[1:]}, at {flow.shown}"]
    return [f"when you start, take water at {flow.shown}"]


def _feeds(situation: Situation, lines: Lines) -> list[str]:
    found = []
    for feed in situation.plant.feeds:
        if feed.role != "coagulant":
            continue
        dose, setting, tank, arrival = (lines.get(f"{feed.id}_{w}") for w in ("dose", "setting", "tank", "arrival"))
        name = feed.name.lower()
        if dose is not None and dose.shown:
            basis = {"product": " as product", "Al2O3": " as Al₂O₃", "Al": " as Al"}.get(feed.basis, "")
            found.append(f"feed {dose.shown} {name}{basis}{_dial(setting)}{_then(situation, arrival)}")
        if tank is not None and tank.state == "do_now":
            found.append(f"fill the {name} day tank")
    return found


def _dial(setting: Advice | None) -> str:
    if setting is None or not setting.shown:
        return ""
    return f" (feed pump at {setting.shown}{' speed' if setting.unit == 'percent' else ''})"


def _then(situation: Situation, arrival: Advice | None) -> str:
    """Return what the water that comes in now will want, and when."""
    if arrival is None or arrival.state != "soon" or not arrival.figures or arrival.figures[0].value is None:
        return ""
    lag = arrival.figures[0].value
    if situation.running.state == "standing":
        return f", then {arrival.shown} after {show(lag, 's', 'h', 2)} of running"
    when = at_clock(later(situation.at, lag), situation.at, situation.zone, "about ")
    return f", then {arrival.shown} from {when.removeprefix('at ')}"


def _backwash(situation: Situation, lines: Lines) -> list[str]:
    runs = [line for line in lines.values() if line.id.startswith("run_") and line.state in ("do_now", "soon")]
    return [first_sentence(line.action) for line in runs]


def _disinfection(situation: Situation, lines: Lines) -> list[str]:
    found = []
    contact = lines.get("contact_time")
    if contact is not None and contact.state == "do_now":
        found.append(first_sentence(contact.action))
    for feed in situation.plant.feeds:
        if feed.role != "disinfectant":
            continue
        dose, setting, tank = (lines.get(f"{feed.id}_{what}") for what in ("dose", "setting", "tank"))
        if dose is not None and dose.state in ("do_now", "soon") and dose.shown:
            first = ""
            if dose.action.startswith(FIRST):
                first = f"check the {feed.name.lower()} feed by a drawdown and the residual with the test kit, then "
            found.append(f"{first}set the {feed.name.lower()} dose to {dose.shown}{_dial(setting)}")
        elif setting is not None and setting.state in ("do_now", "soon") and setting.shown:
            found.append(f"set the {feed.name.lower()} pump to {setting.shown}")
        if tank is not None and tank.state == "do_now":
            found.append(f"fill the {feed.name.lower()} day tank")
    return found

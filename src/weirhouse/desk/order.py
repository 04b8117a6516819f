"""What is the day's order, in one sentence? No setpoint in it when a reading it stands on is doubtful."""

from collections.abc import Sequence

from weirhouse.desk.action_levels import WORDS, in_force, reached, telephone
from weirhouse.desk.model import Advice, AdviceState
from weirhouse.plant.model import Plant
from weirhouse.quantity import show
from weirhouse.situation.model import Situation, Value


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
    if force:
        return _by_action_level(situation, force[0].channel, force[0].do, _limit_text(situation, force[0])), "do_now"
    doubtful = [situation.value(c) for c in key_channels(situation) if situation.value(c).usable is None]
    lines = {line.id: line for line in advice}
    doubtful += [
        situation.value(c)
        for line in advice
        if line.id.startswith("action_") and line.state == "unknown"
        for c in line.depends
        if c not in key_channels(situation)
    ]
    if doubtful:
        return _cannot_tell(situation, doubtful), "unknown"
    clauses = [*_water(situation, lines), *_feeds(situation.plant, lines), *_backwash(lines), *_disinfection(lines)]
    if not clauses:
        return "Nothing can be ordered: this plant file names no stage that is set by hand.", "unknown"
    sentence = ", ".join(clauses)
    states = {line.state for line in advice if line.id != "gaps"}
    state: AdviceState = "do_now" if "do_now" in states else "soon" if "soon" in states else "steady"
    return f"{sentence[0].upper()}{sentence[1:]}.", state


def _limit_text(situation: Situation, action: object) -> str:
    value = situation.value(action.channel)  # type: ignore[attr-defined]
    above, below = action.above, action.below  # type: ignore[attr-defined]
    limit = above if above is not None else below
    side = "above" if above is not None else "below"
    return f"your level: {side} {show(float(limit), value.unit, value.display)}"


def _by_action_level(situation: Situation, channel: str, do: str, limit: str) -> str:
    value = situation.value(channel)
    assert value.known is not None
    shown = show(value.known, value.unit, value.display)
    call = f", and {telephone(situation.plant)}" if do == "stop" else ""
    return f"{WORDS.get(do, do)}: {value.title} is {shown} ({limit}){call}."


def _cannot_tell(situation: Situation, doubtful: Sequence[Value]) -> str:
    seen = {value.channel: value for value in doubtful}
    parts = [f"{value.title} ({value.why})" for value in seen.values()]
    listed = parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]
    grave = [
        a
        for a in situation.plant.action
        if a.channel in seen and seen[a.channel].known is not None and reached(seen[a.channel], a)
    ]
    also = ""
    if grave:
        level = grave[-1].do.replace("_", " ")
        also = f"; the doubtful reading is at your {level} level: treat it as reached until checked"
    return f"No setting can be given before you check {listed}{also}."


def _water(situation: Situation, lines: dict[str, Advice]) -> list[str]:
    flow = lines.get("plant_flow")
    if flow is None or flow.value is None or not flow.shown:
        return []
    if not situation.running.intake_open or situation.running.state == "standing":
        return [f"when you start, take water at {flow.shown}"]
    return [f"take water at {flow.shown}"]


def _feeds(plant: Plant, lines: dict[str, Advice]) -> list[str]:
    found = []
    for feed in plant.feeds:
        if feed.role != "coagulant":
            continue
        dose, setting, arrival = (lines.get(f"{feed.id}_{what}") for what in ("dose", "setting", "arrival"))
        if dose is None or not dose.shown:
            continue
        basis = {"product": " as product", "Al2O3": " as Al₂O₃", "Al": " as Al"}.get(feed.basis, "")
        name = feed.name.lower()
        pump = (
            f" (feed pump at {setting.shown} {_what(setting.unit)})".replace(" )", ")")
            if setting and setting.shown
            else ""
        )
        if arrival is not None and arrival.state == "soon" and arrival.value is not None:
            found.append(f"{arrival.action[0].lower()}{arrival.action[1:].rstrip('.')}")
        else:
            found.append(f"feed {dose.shown} {name}{basis}{pump}")
    return found


def _what(unit: str) -> str:
    return "speed" if unit == "percent" else ""


def _backwash(lines: dict[str, Advice]) -> list[str]:
    found = []
    for line in lines.values():
        if line.id.startswith("run_") and line.state in ("do_now", "soon"):
            found.append(f"{line.action[0].lower()}{line.action[1:].split('.')[0]}")
    return found


def _disinfection(lines: dict[str, Advice]) -> list[str]:
    found = []
    dose, contact = lines.get("chlorine_dose"), lines.get("contact_time")
    if contact is not None and contact.state == "do_now":
        found.append(f"{contact.action[0].lower()}{contact.action[1:].split('.')[0]}")
    elif dose is not None and dose.state in ("do_now", "soon") and dose.shown:
        found.append(f"set the chlorine dose to {dose.shown}")
    return found

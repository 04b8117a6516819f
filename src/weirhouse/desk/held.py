"""What becomes of the feeds while an action level holds or stops the plant? Nothing is fed into water that stands."""

from collections.abc import Iterator
from dataclasses import replace

from weirhouse.desk.action_levels import in_force
from weirhouse.desk.model import Advice
from weirhouse.situation.model import Situation

FED = ("dose", "feed", "setting", "arrival")
WORDS = {"hold": "held", "stop": "stopped"}


def feeds_held(situation: Situation, lines: Iterator[Advice]) -> Iterator[Advice]:
    """Yield the lines; those that set a feed say so for the start, while the plant is to be held or stopped."""
    ids = {f"{feed.id}_{what}" for feed in situation.plant.feeds for what in FED}
    channels = tuple(dict.fromkeys(a.channel for a in situation.plant.action if a.do in WORDS))
    stops = [action.do for action in in_force(situation) if action.do in WORDS]
    for line in lines:
        if line.id not in ids:
            yield line
            continue
        named = replace(line, uses=tuple(dict.fromkeys([*line.uses, *channels])))
        if not stops or line.state == "unknown" or situation.running.state == "standing":
            yield named
            continue
        then = f"{line.action[0].lower()}{line.action[1:]}"
        yield replace(
            named,
            action=f"Feed nothing while the plant is {WORDS[stops[0]]}. When you take water again: {then}",
            state="soon" if line.state == "do_now" else line.state,
        )

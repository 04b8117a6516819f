"""What becomes of the feeds while an action level holds or stops the plant? Nothing is fed into water that stands."""

from collections.abc import Iterator
from dataclasses import replace

from weirhouse.desk.action_levels import in_force
from weirhouse.desk.model import Advice, AdviceState
from weirhouse.plant.model import Feed
from weirhouse.situation.model import Situation

FED = ("dose", "feed", "setting")
WORDS = {
    "hold": ("while the hold is in force", "After it"),
    "stop": ("while the plant is stopped", "When it may start again"),
}
LATER = {"hold": "after the hold", "stop": "at the next start"}
DUE = "A jar test"


def feeds_held(situation: Situation, lines: Iterator[Advice]) -> Iterator[Advice]:
    """Yield the lines; those that set a feed say so for the time after, while the plant is to be held or stopped."""
    feeds = {f"{feed.id}_{what}": (feed, what) for feed in situation.plant.feeds for what in (*FED, "arrival")}
    channels = tuple(dict.fromkeys(a.channel for a in situation.plant.action if a.do in WORDS))
    stops = [action.do for action in in_force(situation) if action.do in WORDS]
    for line in lines:
        if line.id not in feeds:
            yield line
            continue
        named = replace(line, uses=tuple(dict.fromkeys([*line.uses, *channels])))
        if not stops or line.state == "unknown":
            yield named
            continue
        feed, what = feeds[line.id]
        if what == "arrival":
            named = replace(named, title=f"{feed.name} for the creek water of now, if let in")
        else:  # the number is read before the sentence under it
            named = replace(named, title=f"{line.title}, {LATER[stops[0]]}")
        action = _let_in(line.action) if what == "arrival" else _after(situation, feed, what, line, *WORDS[stops[0]])
        yield replace(named, action=action, state=_state(situation, line))


def _state(situation: Situation, line: Advice) -> AdviceState:
    if situation.running.state == "standing":
        return "steady"
    return "soon" if line.state == "do_now" else line.state


def _after(situation: Situation, feed: Feed, what: str, line: Advice, during: str, then: str) -> str:
    """Return that nothing is fed, and what to feed afterwards, for which water."""
    force = situation.feeds[feed.id]
    least = "at least " if "feed at least" in line.action else ""
    number = f"feed pump at {line.shown}" if what == "setting" else f"{least}{line.shown}"
    water = " for the water in the basin" if what == "dose" and force.raw_at_feed is not None else ""
    due = f" {line.action.split('. ')[0]}." if line.action.startswith(DUE) else ""
    return f"Feed nothing {during}. {then}: {number}{water}; measure again first.{due}"


def _let_in(action: str) -> str:
    """Return what the creek's water of now wants, without a word that it comes in.

    >>> _let_in("At about 17:20 the water that comes in now reaches the feed: then feed 36 mg/L.")
    'If this creek water is let in: feed 36 mg/L when it reaches the feed.'
    >>> _let_in("The water that comes in now wants no other dose; it reaches the feed at about 17:20.")
    'If this creek water is let in, it wants no other dose.'
    """
    _, then, rest = action.partition(" reaches the feed: then ")
    if not then:
        return "If this creek water is let in, it wants no other dose."
    dose, stop, more = rest.partition(f". {DUE}")
    return f"If this creek water is let in: {dose.rstrip('.')} when it reaches the feed.{stop[1:]}{more}"

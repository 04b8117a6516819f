"""What becomes of a filter that is due while the tank is at its reserve? It rests: a wash would take finished water."""

from collections.abc import Iterator
from dataclasses import replace

from weirhouse.desk.lines import within_sentence
from weirhouse.desk.model import Advice
from weirhouse.desk.storage import at_reserve, tanks
from weirhouse.situation.model import Situation


def filters_unwashed(situation: Situation, lines: Iterator[Advice]) -> Iterator[Advice]:
    """Yield the lines; a filter to be washed now is taken out of service instead, while a tank is at its reserve."""
    places = {f"run_{place.id}": place.name for place in situation.plant.filters}
    levels = tuple(situation.tanks[t.id].level.channel for t in tanks(situation.plant) if t.id in situation.tanks)
    low = " and ".join(f"the {within_sentence(tank.name)}" for tank in at_reserve(situation))
    for line in lines:
        if line.id not in places:
            yield line
            continue
        named = replace(line, uses=tuple(dict.fromkeys([*line.uses, *levels])))
        if not low or line.state != "do_now":
            yield named
            continue
        name = places[line.id]
        yield replace(
            named,
            action=f"Take {name} out of service until there is water to wash it: {low} is at its reserve.",
            because=f"{name} is due for a backwash. {line.because}".strip(),
        )

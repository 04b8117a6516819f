"""What is stale, missing or odd in the readings?"""

from collections.abc import Iterator

from weirhouse.desk.lines import what_to_check
from weirhouse.desk.model import Advice
from weirhouse.situation.model import Situation


def gaps(situation: Situation) -> Iterator[Advice]:
    """Yield one line that lists every reading which is stale, missing or odd, with what to do about each."""
    odd = situation.odd
    title = "Stale, missing or odd"
    if not odd:
        yield Advice(
            id="gaps", title=title, action="Nothing is stale, missing or odd.", value=None, inside="1", unit="",
            shown="", state="steady", caution="", working=None, age_s=None,
            confidence="looked at every channel of the plant file and its last hours", depends=(), check="",
        )  # fmt: skip
        return
    values = [situation.value(oddity.channel) for oddity in odd if oddity.channel]
    standing = situation.running.state == "standing"
    checks = " ".join(
        dict.fromkeys(what_to_check(value, standing=standing) for value in values if value.state != "fresh")
    )
    yield Advice(
        id="gaps", title=title, action=" ".join(oddity.text for oddity in odd), value=None, inside="1",
        unit="", shown="", state="soon", caution="", working=None, age_s=None,
        confidence="looked at every channel of the plant file and its last hours",
        depends=tuple(dict.fromkeys(oddity.channel for oddity in odd if oddity.channel)), check=checks,
    )  # fmt: skip

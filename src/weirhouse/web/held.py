"""What becomes of a half-typed form when nobody is signed in any more? It is held through the sign-in and comes back.

The typed fields travel in the sign-in form itself, so nothing is stored for somebody who is not known. Passwords are
never held. So WCAG 2.2, success criterion 2.2.1 and 3.3.7, are met without a session that lasts for ever.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from weirhouse.plant.model import Plant

MARK = "held."  # before the names of the fields
SILENT = ("id", "sure", "person")  # fields that come back unseen, or are filled anew
WORDS = {
    "text": "What was seen or done", "time": "When", "until": "Ended", "value": "Figure", "note": "Remark",
    "flag": "Doubtful", "from": "Dose until then", "to": "New dose", "volume": "Volume", "lot": "Lot",
    "channel": "What was read", "subject": "Which", "reason": "Why", "name": "Name",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Held:
    """Where a form was to go, and what was typed in it."""

    path: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)
    lost: str = ""  # what cannot come back, in a sentence

    @property
    def hidden(self) -> Sequence[tuple[str, str]]:
        """The fields that carry it through the sign-in."""
        return [(MARK + name, text) for name, text in self.typed.items()]


@dataclass(frozen=True, slots=True, kw_only=True)
class Back:
    """A field that comes back."""

    name: str
    title: str
    text: str
    hidden: bool
    long: bool = False
    moment: bool = False  # a time of the plant's clock
    chosen: str = ""  # in words, where the text is an id


def hold(path: str, typed: Mapping[str, str]) -> Held:
    """Return a form held for after the sign-in, without any password in it."""
    return Held(path, {name: text for name, text in typed.items() if "password" not in name and "code" not in name})


def let_go(form: Mapping[str, str]) -> Held:
    """Return what a sign-in form held."""
    typed = {name.removeprefix(MARK): text for name, text in form.items() if name.startswith(MARK)}
    return Held(form.get("to", ""), typed) if typed else Held()


def fields(held: Held, plant: Plant) -> list[Back]:
    """Return the fields as they come back: what was typed can be read and mended, ids stay unseen."""
    names = {one.id: one.name for one in (*plant.channels.values(), *plant.stages, *plant.filters, *plant.feeds)}
    found = []
    for name, text in held.typed.items():
        chosen = names.get(text, "") if name in ("channel", "subject") else ""
        found.append(
            Back(
                name=name, title=WORDS.get(name, name.replace("_", " ").replace(".", " ").capitalize()), text=text,
                hidden=name in SILENT or bool(chosen), long="\n" in text or len(text) > 60 or name == "text",
                chosen=chosen, moment=name in ("time", "until"),
            )
        )  # fmt: skip
    return found

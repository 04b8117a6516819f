"""Which columns are taken, for which channel, in which unit? By the mapping, or by what their headings say."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from collections.abc import Mapping as Table
from typing import NamedTuple

import numpy as np

from weirhouse.records.importing import names, units
from weirhouse.records.importing.mapping import ColumnRule, Mapping
from weirhouse.records.importing.numbers import Values
from weirhouse.records.importing.problem import FileProblem, listed, shown


class Offered(NamedTuple):
    """A column or a parameter that a file offers: its heading as written, its name and unit, and its code."""

    heading: str
    name: str
    unit: str
    code: str = ""
    number: int = 0  # of the column in the file, from 1; 0 where it is no column
    survey: bool = False  # a file of the U.S. Geological Survey, whose units are known where headings omit them


class Taken(NamedTuple):
    """An offered column that is taken: its place in the offer, channel, unit ("" not stated), and how sure."""

    at: int
    channel: str
    unit: str
    sure: int
    rule: ColumnRule | None = None


class Choice(NamedTuple):
    """What was chosen of an offer."""

    taken: list[Taken]
    left: list[tuple[str, str]]
    questions: list[str]
    remarks: list[str]


def choose(offer: Sequence[Offered], channels: Table[str, names.ChannelLike], mapping: Mapping) -> Choice:
    """Return which of the offered columns are taken. FileProblem where the mapping does not fit the file or plant."""
    return _by_mapping(offer, channels, mapping) if mapping.columns else _by_detection(offer, channels)


def find_heading(wanted: str, headings: Sequence[str], numbers: Sequence[int] = ()) -> int | None:
    """Return the place of the heading that a mapping means: the same text, or the same words, or its number."""
    key = names.heading_key(wanted)
    for test in (
        [k for k, h in enumerate(headings) if h.strip() == wanted.strip()],
        [k for k, h in enumerate(headings) if key and names.heading_key(h) == key],
        [k for k, h in enumerate(headings) if key and names.heading_key(units.in_heading(h)[0]) == key],
    ):
        if len(test) == 1:
            return test[0]
        if len(test) > 1:
            raise FileProblem(
                f'The file has {len(test)} columns "{shown(wanted)}". Write the number of the column in the mapping '
                "instead."
            )
    every = list(numbers) or list(range(1, len(headings) + 1))
    number = int(wanted) if wanted.strip().isascii() and wanted.strip().isdigit() and len(wanted) < 9 else 0
    return every.index(number) if number and number in every else None


def _by_mapping(offer: Sequence[Offered], channels: Table[str, names.ChannelLike], mapping: Mapping) -> Choice:
    headings = [o.heading for o in offer]
    taken: list[Taken] = []
    remarks: list[str] = []
    used: set[int] = set()
    for wanted, rule in mapping.columns.items():
        at = find_heading(wanted, headings, [o.number for o in offer])
        if at is None:
            raise FileProblem(
                f'The mapping names a column "{shown(wanted)}", which the file has not. It has: {listed(headings)}.'
            )
        if rule.channel not in channels:
            raise FileProblem(
                f'The mapping names a channel "{shown(rule.channel)}", which the plant has not. It has: '
                f"{listed(sorted(channels), 40)}."
            )
        unit = (
            units.clean(rule.unit)
            or offer[at].unit
            or (names.PARAMETER_CODES[offer[at].code][2] if offer[at].code else "")
        )
        channel = channels[rule.channel]
        if unit and not units.same_measure(unit, channel.inside):
            raise FileProblem(
                f'The column "{shown(wanted)}" is in {shown(unit, 20)}, which does not fit the channel '
                f"{rule.channel} ({channel.unit}). Write its unit in the mapping, or another channel."
            )
        if at in used:
            raise FileProblem(f'The mapping names the column "{shown(wanted)}" twice.')
        used.add(at)
        taken.append(Taken(at, rule.channel, unit, 3, rule))
    left = [(o.heading, "not in the mapping") for k, o in enumerate(offer) if k not in used]
    return Choice(taken, left, [], remarks)


def _by_detection(offer: Sequence[Offered], channels: Table[str, names.ChannelLike]) -> Choice:
    left: list[tuple[str, str]] = []
    questions: list[str] = []
    remarks: list[str] = []
    found: dict[str, list[Taken]] = defaultdict(list)
    for at, column in enumerate(offer):
        match, why = names.match(column.name, column.unit, column.code, channels)
        if match is not None and column.survey and names.meaning(column.name) == ("flow", "") and match.sure < 3:
            match, why = names.match("stream flow", column.unit, "00060", channels)
        if match is None:
            left.append((column.heading, why))
            continue
        unit = column.unit
        if not unit and column.code:
            unit = names.PARAMETER_CODES[column.code][2]
        if not unit and column.survey:
            unit = names.SURVEY_UNITS.get(names.meaning(column.name).kind, "")
        channel = channels[match.channel]
        if unit and not units.same_measure(unit, channel.inside):
            left.append((column.heading, f"its unit {shown(unit, 20)} does not fit {match.channel} ({channel.unit})"))
            continue
        if not unit and channel.inside not in (*_ONE_UNIT, "degC") and match.sure < 3:
            left.append(
                (
                    column.heading,
                    f'states no unit; name it in a mapping: "{shown(column.heading)}" = {{ channel = '
                    f'"{match.channel}", unit = "{channel.unit}" }}',
                )
            )
            continue
        found[match.channel].append(Taken(at, match.channel, unit, match.sure))
    taken: list[Taken] = []
    for channel_id, several in found.items():
        best = max(t.sure for t in several)
        top = [t for t in several if t.sure == best]
        if len(top) > 1:
            top = _by_statistic(top, offer)
        if len(top) == 1:
            taken.append(top[0])
            for other in several:
                if other is not top[0]:
                    left.append(
                        (
                            offer[other.at].heading,
                            f"{shown(offer[top[0].at].heading)} is taken for {channel_id} instead",
                        )
                    )
            continue
        headings = [offer[t.at].heading for t in top]
        questions.append(
            f"Which column is {channel_id}: {listed(headings)}? Say it in a mapping: columns = {{ "
            f'"{shown(headings[0])}" = "{channel_id}" }}.'
        )
        left.extend((offer[t.at].heading, f"several columns may be {channel_id}") for t in several)
    if questions:  # where one column's place is open, so is that of the others that do not say
        for t in [t for t in taken if t.sure == 1]:
            taken.remove(t)
            left.append((offer[t.at].heading, "the file does not say where it was measured"))
    taken.sort()
    for t in taken:
        if t.sure == 1 and names.meaning(f"{t.channel} {channels[t.channel].name}").place:
            remarks.append(f'"{shown(offer[t.at].heading)}" does not say where it was measured; taken for {t.channel}.')
    return Choice(taken, left, questions, remarks)


# where every instrument writes the same unit, a heading need not state it
_ONE_UNIT = ("NTU", "pH", "g/m^3", "1")


def _by_statistic(several: list[Taken], offer: Sequence[Offered]) -> list[Taken]:
    ranks = {t.at: _STATISTIC_RANK.get(names.statistic(offer[t.at].heading), 0) for t in several}
    best = min(ranks.values())
    return [t for t in several if ranks[t.at] == best]


_STATISTIC_RANK = {"": 0, "mean": 0, "median": 1, "minimum": 2, "maximum": 3}


def settled_unit(taken: Taken, heading: str, values: Values, channel: names.ChannelLike) -> tuple[str, str, str]:
    """Return (unit, remark, question) of a column once its values are known.

    Where the file states no unit the channel's own is taken if nothing speaks against it. Degrees are settled by what
    water can be: not below 30 or above 45 degC.
    """
    unit = taken.unit
    if unit:
        remark = ""
        if channel.inside == "NTU" and unit.upper() in ("FNU", "FNMU", "FNRU", "FTU"):
            remark = f"{unit} counted as NTU: both are read from formazin, by different light."
        return unit, remark, ""
    if channel.inside == "degC":
        known = values[np.isfinite(values)]
        middle = float(np.median(known)) if len(known) else 0.0
        air = names.meaning(taken.channel).place == "air"  # which may be 20 degF as well as 20 degC
        may = ["degC"] if middle <= 31 else ["degF"] if middle > (45 if air else 31) else []
        may = [] if air and 0 <= middle <= 45 else may
        if len(may) == 1 and (taken.sure < 3 or may[0] == channel.unit):
            return may[0], f'"{shown(heading)}" states no unit; read as {may[0]} by its values.', ""
        return (
            "",
            "",
            (
                f'Is "{shown(heading)}" in degC or degF? Say it in a mapping: columns = {{ "{shown(heading)}" = {{ '
                f'channel = "{taken.channel}", unit = "degC" }} }}.'
            ),
        )
    remark = "" if channel.inside in ("pH", "1") else f'"{shown(heading)}" states no unit; read as {channel.unit}.'
    return channel.unit, remark, ""


def nothing_mapped(name: str, headings: list[str], choice: Choice) -> str:
    """Return the sentence that says that no column is a channel, and how to write the mapping."""
    if choice.questions:
        return f"{name}: {choice.questions[0]}"
    first = next((h for h in headings if h), "heading")
    reason = ""
    near = [
        (h, w) for h, w in choice.left if w.startswith(("states no unit", "its unit", "it may be", "the plant has no"))
    ]
    if near:
        first = near[0][0]
        reason = f' "{shown(first)}": {near[0][1]}.'
    return (
        f"{name}: no column is known as a channel of the plant. It has: {listed(headings)}.{reason} Write a mapping, "
        f'such as columns = {{ "{shown(first)}" = "id of a channel" }}.'
    )


def several_places(name: str, heading: str, sites: Iterable[str]) -> str:
    """Return the sentence that asks which of the places in a file is the plant's."""
    every = sorted(sites)
    return (
        f"{name} holds readings of {len(every)} places ({listed(every, 6)}). Say which is the plant's in a mapping: "
        f'where = {{ "{shown(heading)}" = "{shown(every[0])}" }}.'
    )

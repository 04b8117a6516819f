"""How does the month stand so far? What the rules in force say of filtered water and residual, in a line each."""

from collections.abc import Iterator, Sequence

from weirhouse.desk.action_levels import telephone
from weirhouse.desk.lines import age_words, figure, oldest, unknown
from weirhouse.desk.model import Advice, AdviceState, Figure
from weirhouse.quantity import convert, show, written
from weirhouse.rules.model import Headroom, MonthResult, Outcome
from weirhouse.situation.model import Situation
from weirhouse.working import Sheet

TURBIDITY, RESIDUAL = "combined_turbidity", "entry_chlorine"
CHANNELS = (TURBIDITY, RESIDUAL)  # of the requirements that Today asks for; Proof has the others


def month(situation: Situation, result: MonthResult) -> Iterator[Advice]:
    """Yield the month so far of filtered turbidity and of the residual, where rules ask for them."""
    share, top = _outcome(result, "share_within", TURBIDITY), _outcome(result, "none_above", TURBIDITY)
    if share is not None and top is not None and TURBIDITY in situation.plant.channels:
        yield _turbidity(situation, result, share, top)
    least = _outcome(result, "below_for", RESIDUAL) or _outcome(result, "any_below", RESIDUAL)
    if least is not None and RESIDUAL in situation.plant.channels:
        yield _residual(situation, result, least)


def _outcome(result: MonthResult, method: str, channel: str) -> Outcome | None:
    for outcome in result.outcomes:
        asked = outcome.requirement.check.get("method"), outcome.subject
        if asked == (method, channel) and outcome.status != "does not apply":
            return outcome
    return None


def _over(outcome: Outcome) -> bool:
    """Return whether a reading that counted is on the wrong side of the limit."""
    return outcome.status == "broken" or (outcome.tally is not None and bool(outcome.tally.beyond))


def _ways(outcome: Outcome | None) -> list[float]:
    """Return the statistic by every reading of the rule that the State leaves open, rejected values left out."""
    if outcome is None:
        return []
    values = [outcome.value, *(way.value for way in outcome.ways if not way.words.startswith("with the "))]
    return [value for value in values if value is not None]


def _said(outcomes: Sequence[Outcome]) -> str:
    """Return what came of requirements; that it speaks of the month so far is said once."""
    words = [outcome.sentence.removeprefix("So far: ") for outcome in outcomes]
    return " ".join(f"{text[:1].upper()}{text[1:]}" for text in words)


def _because(outcomes: Sequence[Outcome], near: Headroom | None) -> str:
    """Return the limits with their citations, how near they are, and how far the text can be relied on."""
    said = [near.sentence] if near is not None else []
    for outcome in outcomes:
        asked = outcome.requirement
        unsure = "" if asked.confirmed is not None or asked.provenance == "source" else ", from memory"
        said.append(f"{asked.title}: {written(asked.limit or 0.0, asked.unit)} [{asked.citation}{unsure}].")
    return f"{' '.join(said)} Your permit governs."


def _turbidity(situation: Situation, result: MonthResult, share: Outcome, top: Outcome) -> Advice:
    title, channels = "Filtered turbidity, month so far", (TURBIDITY,)
    value = situation.value(TURBIDITY)
    limit = written(top.limit or 0.0, "NTU")
    caution = f"Public health: above {limit}, {telephone(situation.plant)}."
    near = next((h for h in result.headroom if h.requirement.id == share.requirement.id), None)
    name = f"{result.a.astimezone(situation.zone):%B} so far:"
    action = f"{name} {_said((share, top))}"
    if value.usable is None or share.value is None or top.value is None:
        counted, _ = share.how_many
        return unknown(
            situation, "month_turbidity", title, channels, inside="1", unit="percent", caution=caution,
            because=action if counted else "Nothing counts yet this month.",
            check="" if value.usable is None else "Record the filtered turbidity at least every four hours.",
        )  # fmt: skip
    state: AdviceState = "steady"
    highest = max([*_ways(top), *_ways(_outcome(result, "any_above", TURBIDITY))])
    over = _over(top) or highest > (top.limit or highest)
    if over:
        action += f" A value above {limit} is on record, {written(highest, 'NTU')}: {telephone(situation.plant)}."
        state = "do_now"
    elif share.status == "broken" or (near is not None and near.near):
        state = "soon"
    below = float(convert(min(_ways(share)), "percent", "1"))  # by the strictest reading of the rule
    return Advice(
        id="month_turbidity", title=title, action=action, value=below, inside="1", unit="percent",
        shown=show(below, "1", "percent"), state=state, caution=caution if state != "steady" else "",
        working=share.sheet, age_s=oldest(situation, channels),
        confidence=f"{share.how_many[0]} values count, {share.how_many[1]} do not; {age_words(situation, channels)}",
        depends=channels, check="", because=_because((share, top), near),
        figures=(
            figure(
                "Highest", highest, "NTU", "NTU", plain=True, against=f"none above {limit}", within=not over
            ),
            *_near_figures(near),
        ),
    )  # fmt: skip


def _near_figures(near: Headroom | None) -> tuple[Figure, ...]:
    if near is None or near.over is None:
        return ()
    return (figure("Values above the limit", near.over, "1", "", plain=True),)


def _residual(situation: Situation, result: MonthResult, least: Outcome) -> Advice:
    title, channels = "Entry residual, month so far", (RESIDUAL,)
    value = situation.value(RESIDUAL)
    caution = f"Public health: below the least residual, {telephone(situation.plant)}."
    days = [day.residual_lowest for day in result.days if day.residual_lowest is not None]
    if value.usable is None or not days:
        check = "" if value.usable is None else "Record the residual at the entry to the mains."
        return unknown(
            situation, "month_residual", title, channels, inside="g/m^3", unit="mg/L", caution=caution, check=check
        )
    lowest = float(convert(min(days), "mg/L", "g/m^3"))
    short = _over(least)
    action = f"{result.a.astimezone(situation.zone):%B} so far: {_said((least,))}"
    if short:
        action += f" That is below the least allowed: {telephone(situation.plant)}."
    against = f"least allowed {written(least.limit or 0.0, 'mg/L')}"
    return Advice(
        id="month_residual", title=title, action=action, value=lowest, inside="g/m^3", unit="mg/L",
        shown=written(lowest, "g/m^3", "mg/L", 2), state="do_now" if short else "steady",
        caution=caution if short else "", working=least.sheet or _looked_up(least), age_s=oldest(situation, channels),
        confidence=f"{least.how_many[0]} values count; {age_words(situation, channels)}", depends=channels,
        check="", because=_because((least,), None),
        figures=(
            figure("Lowest", lowest, "g/m^3", "mg/L", digits=2, plain=True, against=against, within=not short),
        ),
    )  # fmt: skip


def _looked_up(outcome: Outcome) -> Sheet:
    """Return the working of a number that was looked up and not worked out."""
    return Sheet(notes=[f"Looked up, not worked out: {outcome.sentence}"])

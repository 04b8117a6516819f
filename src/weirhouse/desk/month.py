"""How does the month stand so far? Counts and figures; the rules themselves are another room's."""

from collections.abc import Iterator

from weirhouse.desk.action_levels import telephone
from weirhouse.desk.lines import age_words, figure, oldest, unknown
from weirhouse.desk.model import Advice, AdviceState
from weirhouse.quantity import show, written
from weirhouse.science.operations import share_within
from weirhouse.situation.ages import clock_text
from weirhouse.situation.model import Month, Situation
from weirhouse.working import Default, Known, Reading, Sheet, recording

FILTERED_LIMIT = Default(
    "0.3 NTU in at least 95 percent of a month's recorded values, none above 1 NTU, for conventional and direct "
    "filtration",
    "40 CFR 141.551",
)
WANTED = Known(0.95, FILTERED_LIMIT, "1")


def month(situation: Situation) -> Iterator[Advice]:
    """Yield the month so far of filtered turbidity and of the residual, where the plant measures them."""
    turbidity = situation.months.get("combined_turbidity")
    if turbidity is not None:
        yield _turbidity(situation, turbidity)
    residual = situation.months.get("entry_chlorine")
    if residual is not None:
        yield _residual(situation, residual)


def _turbidity(situation: Situation, month: Month) -> Advice:
    title, channels = "Filtered turbidity, month so far", ("combined_turbidity",)
    value = situation.value("combined_turbidity")
    caution = f"Public health: above 1 NTU, {telephone(situation.plant)}."
    name = f"{month.first_day.astimezone(situation.zone):%B}"
    if value.usable is None or month.maximum is None or not month.periods:
        why = "Nothing counts yet this month." if month.maximum is None else _counted(month, name)
        check = "" if value.usable is None else "Record the filtered turbidity at least every four hours."
        return unknown(
            situation, "month_turbidity", title, channels, inside="1", unit="percent", because=why, caution=caution,
            check=check,
        )  # fmt: skip
    source = Reading(month.title, "", month.maximum.source.taken_at, f"counted in {name}")  # type: ignore[union-attr]
    with recording() as sheet:
        share = share_within(Known(month.periods, source, "1"), Known(month.periods_over, source, "1"))
    highest = written(month.maximum, "NTU", "NTU", 2)
    at = clock_text(month.maximum_at, situation.at, situation.zone) if month.maximum_at else ""
    state: AdviceState = "steady"
    action = f"{_counted(month, name)} Highest {highest} ({at})."
    if month.maximum > 1.0:
        action += f" A value above 1 NTU is on record: {telephone(situation.plant)}."
        state = "do_now"
    elif share < WANTED:
        action += " Fewer than 95 percent at or below 0.3 NTU so far."
        state = "soon"
    return Advice(
        id="month_turbidity", title=title, action=action, value=float(share), inside="1", unit="percent",
        shown=show(share, "1", "percent"), state=state, caution=caution if month.maximum > 0.3 else "", working=sheet,
        age_s=oldest(situation, channels),
        confidence=f"counted from {month.values} recorded values in {month.hours} h of operation; "
        f"{age_words(situation, channels)}",
        depends=channels, check="", because=f"{FILTERED_LIMIT}. Your permit governs.",
        figures=(
            figure(
                "Highest", month.maximum, "NTU", "NTU", plain=True, against="none above 1 NTU",
                within=month.maximum <= 1.0,
            ),
            figure("Four-hour values", month.periods, "1", ""),
            figure("of these above 0.3 NTU", month.periods_over, "1", ""),
        ),
    )  # fmt: skip


def _lowest(minimum: Known) -> Sheet:
    """Return the working of a number that was looked up and not worked out."""
    return Sheet(notes=[f"Looked up, not worked out: {minimum.source}."])


def _counted(month: Month, name: str) -> str:
    return (
        f"{name} so far: {month.periods} four-hour values while the plant ran, {month.periods_over} of them above "
        f"{written(month.limit or 0.0, 'NTU')}."
    )


def _residual(situation: Situation, month: Month) -> Advice:
    title, channels = "Entry residual, month so far", ("entry_chlorine",)
    value = situation.value("entry_chlorine")
    permit = situation.plant.permit
    least = permit.entry_residual_min if permit is not None else None
    caution = f"Public health: below the least residual, {telephone(situation.plant)}."
    name = f"{month.first_day.astimezone(situation.zone):%B}"
    if value.usable is None or month.minimum is None:
        check = "" if value.usable is None else "Record the residual at the entry to the mains."
        return unknown(
            situation, "month_residual", title, channels, inside="g/m^3", unit="mg/L", caution=caution, check=check
        )
    lowest = written(month.minimum, "g/m^3", "mg/L", 2)
    at = clock_text(month.minimum_at, situation.at, situation.zone) if month.minimum_at else ""
    short = least is not None and bool(month.minimum < least)
    limit = f"least allowed {written(least, 'g/m^3', 'mg/L')}" if least is not None else ""
    action = f"{name} so far: lowest residual {lowest} ({at}) of {month.values} values."
    if short:
        action += f" That is below the least allowed: {telephone(situation.plant)}."
    return Advice(
        id="month_residual", title=title, action=action, value=float(month.minimum), inside="g/m^3", unit="mg/L",
        shown=lowest, state="do_now" if short else "steady", caution=caution if short else "",
        working=_lowest(month.minimum), age_s=oldest(situation, channels),
        confidence=f"from {month.values} recorded values; {age_words(situation, channels)}", depends=channels,
        check="", because=f"{limit[:1].upper()}{limit[1:]}. Your permit governs." if limit else "Your permit governs.",
        figures=(
            figure(
                "Lowest", month.minimum, "g/m^3", "mg/L", digits=2, plain=True, against=limit,
                within=not short if limit else None,
            ),
            figure("Highest", month.maximum, "g/m^3", "mg/L", digits=2, plain=True),
        ),
    )  # fmt: skip

"""How much coagulant, what does the pump stand at, and what does it leave of alkalinity and pH?"""

from collections.abc import Iterator
from dataclasses import replace

from weirhouse.desk.feeders import caution_of, day_tank, fed, rate_and_setting
from weirhouse.desk.flow import setting_flow
from weirhouse.desk.lines import Display, age_words, figure, oldest, unknown
from weirhouse.desk.model import Advice, AdviceState, Figure
from weirhouse.plant.model import Feed, Plant
from weirhouse.plant.ranges import design
from weirhouse.quantity import show, written
from weirhouse.science.basins import detention_time
from weirhouse.science.coagulation import alkalinity_after_coagulant, ph_after_coagulant
from weirhouse.science.operations import dose_between, dose_change
from weirhouse.science.quantities import Dose
from weirhouse.situation.ages import age_text, at_clock, later
from weirhouse.situation.model import Situation
from weirhouse.working import Default, Entry, Known, Sheet, note, recording

APART = 0.08  # a dose in force within this share of the one advised is left alone
BASIS = {"product": "as product", "Al2O3": "as Al₂O₃", "Al": "as Al"}
ENOUGH = 3  # hours at similar water below which past doses say little
A_DAY = 86400.0
DIRTIER = "the water is dirtier than the last row of the dose table"
CLEARER = "the water is clearer than the first row of the dose table"
JAR_TEST = "A jar test is due"


def _alkalinity_low() -> Known:
    """Return the alkalinity [g/m^3 as CaCO3] that is to be left, from the published design ranges."""
    span = design("alkalinity left after coagulation", "coagulant")
    assert span is not None and span.low is not None  # a row of this package's own table
    return Known(span.low, Default("alkalinity left after coagulation", f"{span.source}, {span.provenance}"), "g/m^3")


ALKALINITY_LOW = _alkalinity_low()


def coagulants(situation: Situation) -> Iterator[Advice]:
    """Yield the lines of each coagulant feed."""
    for feed in situation.plant.feeds:
        if feed.role == "coagulant":
            yield from coagulant(situation, feed)


def coagulant(situation: Situation, feed: Feed) -> Iterator[Advice]:
    """Yield dose, arrival, feed rate, pump setting, alkalinity, pH and day tank of one coagulant."""
    line, dose = _dose(situation, feed)
    yield line
    arrival = _arrival(situation, feed, dose)
    if arrival is not None:
        yield arrival
    no_dose = line.check or "No dose can be given."
    channels = line.depends
    yield from rate_and_setting(situation, feed, dose, channels, why_no_dose=no_dose, uses=line.uses)
    for result in _chemistry(situation, feed, dose, channels, no_dose):
        yield replace(result, uses=line.uses)
    tank = day_tank(situation, feed, dose, channels, uses=line.uses)
    if tank is not None:
        yield tank


def table_dose(plant: Plant, feed: Feed, turbidity: Known) -> tuple[Known, str] | None:
    """Return the dose that the plant's own table gives, and a warning where the table does not reach."""
    rows = feed.dose_table
    if not rows:
        return None

    def entry(index: int, part: int) -> Known:
        text = f"{show(rows[index][0], 'NTU')} : {show(rows[index][1], 'g/m^3', 'mg/L')}"
        return Known(rows[index][part], Entry(f"train.{feed.id}.dose_table, row {index}", text), ("NTU", "g/m^3")[part])

    last = len(rows)
    if turbidity <= rows[0][0]:
        below = turbidity < rows[0][0]
        note("first row of the dose table")
        return entry(0, 1), CLEARER if below else ""
    if turbidity >= rows[-1][0]:
        beyond = turbidity > rows[-1][0]
        note("last row of the dose table")
        return Known(rows[-1][1], entry(-1, 1).source, "g/m^3"), DIRTIER if beyond else ""
    for before, after in zip(range(last), range(1, last), strict=False):
        if turbidity <= rows[after][0]:
            dose = dose_between(turbidity, entry(before, 0), entry(before, 1), entry(after, 0), entry(after, 1))
            return dose, ""
    raise AssertionError("a sorted table brackets every turbidity between its ends")


def dosed_for(situation: Situation, feed: Feed) -> Known | None:
    """Return the raw turbidity to dose for: of the water that is at the feed now, where a basin lies ahead of it."""
    force, raw = situation.feeds[feed.id], situation.value("raw_turbidity").usable
    return raw if raw is None or force.raw_at_feed is None else force.raw_at_feed


def dose_channels(situation: Situation, feed: Feed) -> tuple[str, ...]:
    """Return the channels without which no dose can be given; the flow too, where it tells which water is at the feed.

    (The turbidity of water that came in some hours ago is known for as long as that of now is trusted.)
    """
    ahead = situation.feeds[feed.id].volume_ahead
    return ("raw_turbidity",) if ahead is None else ("raw_turbidity", situation.flow_channel)


def _dose(situation: Situation, feed: Feed) -> tuple[Advice, Known | None]:
    """Return the line on the dose, and the dose itself when it may be set."""
    id, title, channels = f"{feed.id}_dose", f"{feed.name} dose", dose_channels(situation, feed)
    unit, basis = Display(situation.plant.unit_set).unit(Dose), BASIS.get(feed.basis, feed.basis)
    turbidity = dosed_for(situation, feed)
    force = situation.feeds[feed.id]
    similar = force.similar
    uses = (force.dose.channel,)
    if turbidity is None or any(situation.value(c).usable is None for c in channels):
        return unknown(situation, id, title, channels, inside="g/m^3", unit=unit, caution=caution_of(feed)), None
    with recording() as sheet:
        found = table_dose(situation.plant, feed, turbidity)
        if found is None and similar is None:
            check = f"{JAR_TEST}: the plant file has no dose table and no dose is on record at water like this."
            line = unknown(
                situation, id, title, channels, inside="g/m^3", unit=unit, check=check, caution=caution_of(feed)
            )
            return line, None
        if found is not None:
            dose, warning = found
        else:
            assert similar is not None
            dose, warning = similar.middle, ""
        if not sheet.lines:
            note(f"taken as it stands: {dose.source}")
        present = force.dose.usable
        change = dose_change(dose, present) if present is not None and present > 0 else None
    wanted = show(dose, "g/m^3", unit)
    running = situation.running.state == "running"
    state: AdviceState = "steady"
    if present is not None and change is not None and abs(change) <= APART:
        dose = present  # near enough: what is set now stays, and all that follows is worked from it
        action = f"Keep {show(present, 'g/m^3', unit)} {basis}."
    else:
        state = "do_now" if running else "soon"
        action = f"Feed {wanted} {basis}."
    due = _jar_test_due(situation, feed, dose, warning)
    if situation.running.state == "standing":
        action = f"When you start, feed {show(dose, 'g/m^3', unit)} {basis}."
    if due:
        if warning == DIRTIER:
            until = "When you start, feed" if situation.running.state == "standing" else "Until then feed"
            action = f"{until} at least {show(dose, 'g/m^3', unit)} {basis}, the last row of your table."
        action = f"{JAR_TEST}: {due}. {action}"
        state = "soon" if state == "steady" else state
    line = Advice(
        id=id, title=title, action=action, value=float(dose), inside="g/m^3", unit=unit,
        shown=show(dose, "g/m^3", unit), state=state, caution=caution_of(feed), working=sheet,
        age_s=oldest(situation, channels), confidence=_confidence(situation, feed, channels, bool(due)),
        depends=channels, check="", because=_because(situation, feed, turbidity, wanted, found is not None),
        figures=_past(situation, feed, unit), uses=uses,
    )  # fmt: skip
    return line, dose


def _because(situation: Situation, feed: Feed, turbidity: Known, wanted: str, by_table: bool) -> str:
    """Return what the dose stands on: which water, by what, and what was fed before."""
    force = situation.feeds[feed.id]
    shown = show(turbidity, "NTU")
    water = f"Raw turbidity {shown}"
    if force.raw_at_feed is not None:
        water = f"The water at the feed now came in at {shown}"
    elif force.volume_ahead is not None:
        water = f"Raw turbidity {shown}; what water is at the feed now is not on record"
    said = [f"{water}; {'your dose table' if by_table else 'the middle of past doses at such water'} gives {wanted}."]
    present = force.dose.usable
    if present is not None:
        said.append(f"Now fed: {show(present, 'g/m^3', 'mg/L')}.")
    similar = force.similar
    if by_table and similar is not None and similar.hours >= ENOUGH:
        low, high = show(similar.low, "g/m^3", "mg/L"), show(similar.high, "g/m^3", "mg/L")
        said.append(f"At water like this {low} to {high} was fed in {similar.hours} hours on record.")
    return " ".join(said)


def _jar_test_due(situation: Situation, feed: Feed, dose: Known, warning: str) -> str:
    """Return why a jar test is due, or nothing: never beyond the doses of the past without saying so."""
    force = situation.feeds[feed.id]
    low, high = force.lowest_past_dose, force.highest_past_dose
    tried = force.similar is not None and force.similar.hours >= ENOUGH
    if warning and not (tried and warning == CLEARER):  # clearer than the table, but fed at such water often enough
        return warning
    if low is None or high is None:
        return "no dose is on record yet"
    if dose > high and abs(dose_change(dose, high)) > 1e-6:
        return f"this is above every dose on record (highest {show(high, 'g/m^3', 'mg/L')})"
    if dose < low and abs(dose_change(dose, low)) > 1e-6:
        return f"this is below every dose on record (lowest {show(low, 'g/m^3', 'mg/L')})"
    return ""


def _confidence(situation: Situation, feed: Feed, channels: tuple[str, ...], due: bool) -> str:
    similar = situation.feeds[feed.id].similar
    age = age_words(situation, channels)
    if due:
        return f"low: outside of what was tried here; {age}"
    if similar is None or similar.hours < ENOUGH:
        return f"middling: the table alone, hardly any dose on record at water like this; {age}"
    return f"good: {similar.hours} hours on record at water like this; {age}"


def _past(situation: Situation, feed: Feed, unit: str) -> tuple[Figure, ...]:
    force = situation.feeds[feed.id]
    found = []
    if force.similar is not None:
        similar = force.similar
        span = f"{show(similar.low, 'g/m^3', unit)} to {show(similar.high, 'g/m^3', unit)} in {similar.hours} hours"
        found.append(figure("Middle of past doses at similar water", similar.middle, "g/m^3", unit, against=span))
        if similar.settled is not None:
            found.append(figure("Settled turbidity they gave (middle)", similar.settled, "NTU", "NTU", digits=2))
    if force.lowest_past_dose is not None and force.highest_past_dose is not None:
        found.append(figure("Lowest dose on record", force.lowest_past_dose, "g/m^3", unit))
        found.append(figure("Highest dose on record", force.highest_past_dose, "g/m^3", unit))
    return tuple(found)


def _arrival(situation: Situation, feed: Feed, dose: Known | None) -> Advice | None:
    """Return when the raw water of now reaches the feed and what it wants then, where a basin or a line lies ahead."""
    force = situation.feeds[feed.id]
    if force.volume_ahead is None or not feed.dose_table:
        return None
    water = "the water that comes in now" if situation.running.state == "running" else "the creek water of now"
    id, title = f"{feed.id}_arrival", f"{feed.name} for {water}"
    channels = dose_channels(situation, feed)
    flow, raw = setting_flow(situation), situation.value("raw_turbidity").usable
    unit, basis = Display(situation.plant.unit_set).unit(Dose), BASIS.get(feed.basis, feed.basis)
    bad = [c for c in channels if situation.value(c).usable is None]
    if bad or dose is None or flow is None or raw is None:
        check = "" if bad else "No dose or no flow can be given."
        return unknown(situation, id, title, channels, inside="g/m^3", unit=unit, check=check)
    with recording() as sheet:
        lag = detention_time(force.volume_ahead, flow)
        found = table_dose(situation.plant, feed, raw)
        assert found is not None  # there is a table
        then, warning = found
        change = dose_change(then, dose)
    standing = situation.running.state == "standing"
    when = f"after {show(lag, 's', 'h', 2)} of running"
    if not standing:
        when = at_clock(later(situation.at, lag), situation.at, situation.zone, "about ")
    shown = show(then, "g/m^3", unit)
    state: AdviceState = "steady"
    if abs(change) > APART:
        state = "soon"
        action = f"{when[0].upper()}{when[1:]} {water} reaches the feed: then feed {shown} {basis}"
        action += f"{_pump(situation, feed, then)}."
        if warning:
            action += f" {JAR_TEST} before then: {warning}."
    else:
        then, shown = dose, show(dose, "g/m^3", unit)
        action = f"T{water[1:]} wants no other dose; it reaches the feed {when}."
    return Advice(
        id=id, title=title, action=action, value=float(then), inside="g/m^3", unit=unit, shown=shown, state=state,
        caution="", working=sheet, age_s=oldest(situation, channels),
        confidence="middling: the mean time through what lies ahead of the feed; water mixes there, so that some comes "
        f"sooner and some later; {age_words(situation, channels)}",
        depends=channels, check="", because=f"Raw turbidity {show(raw, 'NTU')}.",
        figures=(figure("Time from the stream to the feed", lag, "s", "h", digits=2),), uses=(force.dose.channel,),
    )  # fmt: skip


def _pump(situation: Situation, feed: Feed, dose: Known) -> str:
    flow = setting_flow(situation)
    setting = fed(situation.plant, feed, dose, flow).setting if flow is not None else None
    if setting is None or feed.calibration is None:
        return ""
    speed = " speed" if feed.calibration.unit == "percent" else ""
    return f" (feed pump at {show(setting, '1', feed.calibration.unit, 2)}{speed})"


def _chemistry(
    situation: Situation, feed: Feed, dose: Known | None, channels: tuple[str, ...], no_dose: str
) -> Iterator[Advice]:
    """Yield the alkalinity and the pH that the dose leaves."""
    plant = situation.plant
    alkalinity_needs = tuple(dict.fromkeys([*channels, "raw_alkalinity"]))
    ph_needs = tuple(dict.fromkeys([*alkalinity_needs, "raw_ph", "raw_temperature"]))
    titles = (f"Alkalinity after {feed.name.lower()}", f"pH after {feed.name.lower()}")
    ids = (f"{feed.id}_alkalinity", f"{feed.id}_ph")
    if feed.basicity is None or feed.al2o3 is None:
        check = "The plant file does not give the product's basicity and Al2O3: take them from its data sheet."
        yield unknown(situation, ids[0], titles[0], alkalinity_needs, check=check, inside="g/m^3", unit="mg/L")
        yield unknown(situation, ids[1], titles[1], ph_needs, check=check, inside="pH", unit="pH")
        return
    counted = feed.basis
    assert counted != "Cl2"  # the plant file refuses a coagulant counted as chlorine
    strength, basicity = plant.known(f"train.{feed.id}.al2o3"), plant.known(f"train.{feed.id}.basicity")
    raw = situation.value("raw_alkalinity").usable
    check = no_dose if dose is None and situation.value("raw_turbidity").usable is not None else ""
    if raw is None or dose is None:
        yield unknown(situation, ids[0], titles[0], alkalinity_needs, inside="g/m^3", unit="mg/L", check=check)
    else:
        with recording() as sheet:
            left = alkalinity_after_coagulant(raw, dose, strength, basicity, counted)
        yield _alkalinity(situation, ids[0], titles[0], alkalinity_needs, left, raw, sheet)
    ph, temperature = situation.value("raw_ph").usable, situation.value("raw_temperature").usable
    if raw is None or ph is None or temperature is None or dose is None:
        yield unknown(situation, ids[1], titles[1], ph_needs, inside="pH", unit="pH", check=check)
        return
    with recording() as sheet:
        after = ph_after_coagulant(ph, raw, temperature, dose, strength, basicity, counted)
    yield Advice(
        id=ids[1], title=titles[1], action=f"Expect pH {after:.2f} after the coagulant; measure it.",
        value=float(after), inside="pH", unit="pH", shown=f"{after:.2f}", state="steady", caution="", working=sheet,
        age_s=oldest(situation, ph_needs),
        confidence=f"{_how_near(situation)}; {age_words(situation, ph_needs)}",
        depends=ph_needs, check="", because=f"Raw pH {ph:.2f}, alkalinity {show(raw, 'g/m^3', 'mg/L')} as CaCO₃.",
    )  # fmt: skip


def _how_near(situation: Situation) -> str:
    """Return how near the pH worked out is, while alkalinity and pH of the raw water are still what they were."""
    ages = {"alkalinity": situation.value("raw_alkalinity").age_s, "pH": situation.value("raw_ph").age_s}
    old = {name: age for name, age in ages.items() if age is not None and age > A_DAY}
    if not old:
        return "within about 0.15, the error of a pH reading in the field"
    name = max(old, key=lambda one: old[one])
    measure = "titrate" if name == "alkalinity" else "measure it"
    return f"within about 0.15 if {name} is still what it was {age_text(old[name])} ago; it falls in a storm: {measure}"


def _alkalinity(
    situation: Situation, id: str, title: str, needs: tuple[str, ...], left: Known, raw: Known, sheet: Sheet
) -> Advice:
    shown = show(left, "g/m^3", "mg/L")
    low = left < ALKALINITY_LOW
    action = f"Expect {shown} as CaCO₃ left."
    if low:
        action += " That is little: add alkalinity or ask for a product of higher basicity before you raise the dose."
    return Advice(
        id=id, title=title, action=action, value=float(left), inside="g/m^3", unit="mg/L", shown=shown,
        state="soon" if low else "steady", caution="", working=sheet, age_s=oldest(situation, needs),
        confidence=f"worked out from the product's basicity; {age_words(situation, needs)}", depends=needs, check="",
        because=f"Raw alkalinity {show(raw, 'g/m^3', 'mg/L')} as CaCO₃. "
        f"Warned below {written(ALKALINITY_LOW, 'g/m^3', 'mg/L')} "
        f"({ALKALINITY_LOW.source}).",
    )  # fmt: skip

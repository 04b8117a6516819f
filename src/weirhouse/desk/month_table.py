"""What does the month's daily table say? Every figure of every day, with those of the month below, from a stretch.

One list of columns serves the page, the paper, the JSON and the CSV, so that they cannot disagree. A cell without a
number says why: the plant stood, nothing was recorded, or the plant does not measure it.
"""

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Literal
from zoneinfo import ZoneInfo

from weirhouse.desk.lines import Display
from weirhouse.plant.model import Channel, Feed, Filter, Plant
from weirhouse.quantity import convert, figure
from weirhouse.rules.model import DayResult, FourHours, MonthResult
from weirhouse.science.basins import average_flow, volume_from_flow
from weirhouse.science.feed import mass_fed
from weirhouse.science.operations import equal_share
from weirhouse.science.quantities import Flow, Mass, Volume
from weirhouse.science.statistics import highest_value, sum_of_values
from weirhouse.situation import days as days_
from weirhouse.situation.ages import elapsed_s
from weirhouse.situation.at import flow_channel
from weirhouse.situation.days import Course, Day
from weirhouse.situation.feeds import feed_channel
from weirhouse.situation.gather import empty_track, moment
from weirhouse.situation.model import Stretch, Track
from weirhouse.working import Known, Reading, Sheet, recording

State = Literal["value", "standing", "gap", "none"]
Of = Literal["sum", "highest", "lowest", ""]
WORDS: dict[State, str] = {"value": "", "standing": "stood", "gap": "no record", "none": ""}
TURBIDITIES = (("raw", "raw_turbidity"), ("settled", "settled_turbidity"), ("filtered", "combined_turbidity"))
GROUPS = {
    "water": "Water and washing",
    "turbidity": "Turbidity: highest of the day, while the plant ran",
    "four_hours": "Turbidity every four hours: the last value of each, while the plant ran",
    "disinfection": "Disinfection",
    "chemicals": "Chemicals",
    "filters": "Each filter",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: what it measures, in which unit people read it, and what stands below it for the month."""

    id: str
    title: str
    group: str
    inside: str
    unit: str
    of: Of = ""
    digits: int = 3
    under: str = ""  # heading over several columns
    decimals: int | None = None


@dataclass(frozen=True, slots=True)
class Cell:
    """One figure of one day: the value inside (None where there is none), the number as printed, and a remark."""

    value: float | None
    shown: str
    state: State = "value"
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DayRow:
    """One local day."""

    date: date
    hours: float
    cells: Mapping[str, Cell]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chemical:
    """A chemical over the month, counted as its dose is; product in drums and tanks by volume."""

    feed: str
    title: str
    basis: str
    used: Known | None  # [kg]
    covered: Known | None  # water for which a dose is on record [m^3]
    treated: Known | None  # all the water of the month [m^3]
    delivered: Known | None  # [m^3] of product
    filled: Known | None  # [m^3] of product put into the day tank
    lots: tuple[str, ...]
    stock: Known | None  # [m^3] as last counted in the month; None where nobody counted
    working: Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthTable:
    """The table of a stretch of local days."""

    plant: Plant
    begin: datetime
    end: datetime
    columns: tuple[Column, ...]
    days: tuple[DayRow, ...]
    month: Mapping[str, Cell]
    workings: Mapping[str, Sheet]  # of the month's figures, by column
    chemicals: tuple[Chemical, ...]
    course: Course = field(repr=False)

    def group(self, name: str) -> tuple[Column, ...]:
        """Return the columns of a group."""
        return tuple(column for column in self.columns if column.group == name)

    def column(self, id: str) -> Column:
        """Return a column by its id; KeyError when there is none."""
        for column in self.columns:
            if column.id == id:
                return column
        raise KeyError(id)


def shown(value: float, column: Column) -> str:
    """Return a number of a column as it is printed, without its unit."""
    there = float(convert(value, column.inside, column.unit))
    if column.decimals is not None:
        return f"{there:,.{column.decimals}f}"
    small = column.unit == "NTU" and abs(there) < 0.0995
    return figure(there, min(column.digits, 2) if small else column.digits)


def cell(value: float | None, column: Column, note: str = "", state: State = "none") -> Cell:
    """Return a cell; without a number it says why by `state`."""
    if value is None or not math.isfinite(value):
        return Cell(None, WORDS[state], state, note)
    return Cell(float(value), shown(value, column), "value", note)


TO_COME = Cell(None, "", "none", "")


def month_table(stretch: Stretch, result: MonthResult | None = None) -> MonthTable:
    """Return the daily table of a stretch.

    With the month's evaluation, what a rule counts is taken from it: the combined filtered water, the filters'
    15-minute values, the lowest residual and the contact time. So the table and the rules speak of the same readings.
    """
    plant = stretch.plant
    flow_id = flow_channel(plant)
    course = days_.course_of(stretch, flow_id)
    days = days_.days_of(stretch.a, stretch.b, stretch.zone)
    judged = {day.date: day for day in result.days} if result is not None else {}
    until = int(min(stretch.b, result.until if result is not None else stretch.b).timestamp())
    parts = (
        _water(stretch, course),
        _turbidity(stretch, course, judged),
        _four_hours(stretch, course, judged),
        _disinfection(stretch, course, judged),
        _chemicals(stretch, course),
        _filters(stretch, course, judged),
    )
    columns: list[Column] = []
    cells: list[dict[str, Cell]] = [{} for _ in days]
    for own in parts:
        columns.extend(own.columns)
        for day, row in zip(days, cells, strict=True):
            if day.begin < until:
                row.update(own.of(Day(day.date, day.begin, min(day.end, until))))
            else:
                row.update({column.id: TO_COME for column in own.columns})
    rows = tuple(DayRow(date=day.date, hours=day.hours, cells=row) for day, row in zip(days, cells, strict=True))
    month, workings = _month(columns, rows, stretch)
    return MonthTable(
        plant=plant, begin=stretch.a, end=stretch.b, columns=tuple(columns), days=rows, month=month,
        workings=workings, chemicals=tuple(_used(stretch, course)), course=course,
    )  # fmt: skip


# --- the groups of columns ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Part:
    """Columns, and what gives their cells for a day."""

    columns: tuple[Column, ...]
    of: Any


Judged = Mapping[date, DayResult]


def _water(stretch: Stretch, course: Course) -> Part:
    plant, display = stretch.plant, Display(stretch.plant.unit_set)
    flow, volume = display.unit(Flow), display.unit(Volume)
    volume = "kgal" if volume == "gal" else volume
    columns = (
        Column(id="volume", title="Water treated", group="water", inside="m^3", unit=volume, of="sum"),
        Column(id="hours", title="Hours run", group="water", inside="s", unit="h", of="sum", decimals=2),
        Column(id="average_flow", title="Average flow while running", group="water", inside="m^3/s", unit=flow),
        Column(id="peak_flow", title="Peak hour", group="water", inside="m^3/s", unit=flow, of="highest"),
        Column(id="unrecorded", title="Hours not recorded", group="water", inside="s", unit="h", of="sum", decimals=2),
        Column(id="washes", title="Backwashes", group="water", inside="1", unit="1", of="sum", decimals=0),
        Column(id="wash_water", title="Backwash water", group="water", inside="m^3", unit=volume, of="sum"),
        Column(id="waste_water", title="Filter to waste", group="water", inside="m^3", unit=volume, of="sum"),
        Column(id="to_sewer", title=f"Water to {_destination(plant)}", group="water", inside="m^3", unit=volume,
               of="sum"),
    )  # fmt: skip
    volume_c, hours_c, average_c, peak_c, gap_c, washes_c, wash_c, waste_c, sewer_c = columns

    def of(day: Day) -> dict[str, Cell]:
        water = course.water(day.begin, day.end)
        unknown = water.ran == 0 and water.unrecorded > 0
        state: State = "gap" if unknown else "standing"
        measured = course.measured
        mean = average_flow(water.volume, water.ran) if measured and water.ran > 0 else None
        washes = _events(stretch, day, "backwash")
        wastes = _events(stretch, day, "filter_to_waste")
        washed, wash_note = _sum([_number(e.values.get("volume")) for e in washes])
        wasted, waste_note = _sum([_wasted(stretch, e) for e in wastes])
        both = [v for v in (washed, wasted) if v is not None]
        note = "part of it not recorded" if wash_note or waste_note else ""
        peak_note = f"from {moment(water.peak_at).astimezone(stretch.zone):%H:%M}" if math.isfinite(water.peak) else ""
        return {
            "volume": cell(water.volume if measured and not unknown else None, volume_c, state="gap"),
            "hours": cell(water.ran if not unknown else None, hours_c, state="gap"),
            "average_flow": cell(mean, average_c, state=state if measured else "none"),
            "peak_flow": cell(water.peak if measured else None, peak_c, peak_note, state if measured else "none"),
            "unrecorded": cell(water.unrecorded, gap_c),
            "washes": cell(len(washes), washes_c),
            "wash_water": cell(washed, wash_c, wash_note, "gap"),
            "waste_water": cell(wasted, waste_c, waste_note, "gap"),
            "to_sewer": cell(sum_of_values(both) if both else None, sewer_c, note, "gap"),
        }

    return Part(columns, of)


def _destination(plant: Plant) -> str:
    return next((s.backwash.destination for s in plant.stages if getattr(s, "backwash", None) is not None), "sewer")


def _number(value: float | str | None) -> float | None:
    return float(value) if isinstance(value, int | float) and math.isfinite(value) else None


def _sum(values: Sequence[float | None]) -> tuple[float | None, str]:
    """Return the sum of what is known, and a remark when some is not; nothing at all gives 0."""
    known = [v for v in values if v is not None]
    if len(known) < len(values):
        return (sum_of_values(known) if known else None), "part of it not recorded"
    return (sum_of_values(known) if known else 0.0), ""


def _events(stretch: Stretch, day: Day, kind: str, subject: str | None = None) -> list[Any]:
    return [
        e for e in stretch.events
        if e.kind == kind and subject in (None, e.subject) and day.begin <= e.started_at.timestamp() < day.end
    ]  # fmt: skip


def _wasted(stretch: Stretch, event: Any) -> float | None:
    """Return the water that one filtering to waste took [m^3]: as written, else by the filter's flow and the time."""
    written = _number(event.values.get("volume"))
    if written is not None or event.ended_at is None:
        return written
    track = stretch.tracks.get(f"{event.subject}_flow")
    if track is None:
        return None
    begin, end = event.started_at.timestamp(), event.ended_at.timestamp()
    flow = days_.spread_of(days_.with_before(stretch, track.channel), begin, end)
    if not flow.n:
        return None
    return float(volume_from_flow(flow.mean, elapsed_s(event.started_at, event.ended_at)))


def _channels(plant: Plant, names: Sequence[tuple[str, str]]) -> list[tuple[str, Channel]]:
    return [(name, plant.channels[id]) for name, id in names if id in plant.channels]


def _why(course: Course, day: Day) -> State:
    """Return why a day has no value: the plant stood, or it ran (or may have) and nothing was recorded."""
    water = course.water(day.begin, day.end)
    return "standing" if water.ran == 0 and water.unrecorded == 0 else "gap"


def _remark(stretch: Stretch, at: int, spread: days_.Spread, verb: str = "at") -> str:
    words = [f"{verb} {moment(at).astimezone(stretch.zone):%H:%M}"] if spread.n else []
    for count, word in ((spread.rejected, "rejected"), (spread.doubtful, "doubtful")):
        if count:
            words.append(f"{count} {word} not counted")
    return ", ".join(words)


def _turbidity(stretch: Stretch, course: Course, judged: Judged) -> Part:
    found = _channels(stretch.plant, TURBIDITIES)
    columns = tuple(
        Column(id=f"{name}_max", title=name.capitalize(), group="turbidity", inside="NTU", unit="NTU", of="highest")
        for name, _ in found
    )  # fmt: skip

    def of(day: Day) -> dict[str, Cell]:
        cells = {}
        for column, (_, channel) in zip(columns, found, strict=True):
            spread = days_.spread_of(_track(stretch, channel.id), day.begin, day.end, course)
            note, value = _remark(stretch, spread.highest_at, spread), spread.highest
            seen = judged.get(day.date)
            if seen is not None and channel.id == "combined_turbidity":
                value = math.nan if seen.combined_highest is None else seen.combined_highest
                note = note if value == spread.highest else ""
            cells[column.id] = cell(value, column, note, _why(course, day))
        return cells

    return Part(columns, of)


def _track(stretch: Stretch, channel: str) -> Track:
    found = stretch.tracks.get(channel)
    return found if found is not None else empty_track(channel)


def _four_hours(stretch: Stretch, course: Course, judged: Judged) -> Part:
    found = _channels(stretch.plant, TURBIDITIES)
    names = [f"{hour:02d}" for hour in range(0, 24, days_.PERIOD_H)]
    columns = tuple(
        Column(
            id=f"{name}_{hour}", title=f"{hour}:00", group="four_hours", inside="NTU", unit="NTU",
            under=f"{name.capitalize()} turbidity", of="highest",
        )
        for name, _ in found
        for hour in names
    )  # fmt: skip

    def of(day: Day) -> dict[str, Cell]:
        cells = {}
        own = iter(columns)
        for _, channel in found:
            seen = judged.get(day.date)
            if seen is not None and channel.id == "combined_turbidity" and len(seen.periods) == len(names):
                for judged_period in seen.periods:
                    column = next(own)
                    cells[column.id] = _judged_cell(judged_period, column, stretch)
                continue
            track = _track(stretch, channel.id)
            for period in days_.periods_of(day, stretch.zone):
                column = next(own)
                if period.begin >= period.end:  # still to come
                    cells[column.id] = TO_COME
                    continue
                last = days_.last_of(track, period.begin, period.end, course)
                water = course.water(period.begin, period.end)
                state: State = "standing" if water.ran == 0 and water.unrecorded == 0 else "gap"
                note = f"at {moment(last[0]).astimezone(stretch.zone):%H:%M}" if last else ""
                cells[column.id] = cell(last[1] if last else None, column, note, state)
        return cells

    return Part(columns, of)


def _judged_cell(period: FourHours, column: Column, stretch: Stretch) -> Cell:
    states: dict[str, State] = {"standing": "standing", "missing": "gap", "to come": "none"}
    note = f"at {period.taken_at.astimezone(stretch.zone):%H:%M}" if period.taken_at else ""
    if period.state == "not certain":
        note = f"{note}, not certain: {period.reason}".removeprefix(", ")
    return cell(period.value, column, note, states.get(period.state, "gap"))


def _disinfection(stretch: Stretch, course: Course, judged: Judged) -> Part:
    plant = stretch.plant
    wanted = [
        ("residual_min", "Lowest residual at the entry", ("entry_chlorine",), "lowest"),
        ("ph_low", "Lowest pH in contact", ("contact_ph", "entry_ph"), "lowest"),
        ("ph_high", "Highest pH in contact", ("contact_ph", "entry_ph"), "highest"),
        ("temperature_low", "Lowest water temperature", ("contact_temperature", "raw_temperature"), "lowest"),
    ]
    found: list[tuple[Column, Channel, str]] = []
    for id, title, ids, end in wanted:
        channel = next((plant.channels[c] for c in ids if c in plant.channels), None)
        if channel is not None:
            of_month: Of = "lowest" if end == "lowest" else "highest"
            tens = 2 if channel.inside in ("pH", "g/m^3") else 1
            column = Column(
                id=id, title=title, group="disinfection", inside=channel.inside, unit=channel.unit, of=of_month,
                decimals=tens,
            )  # fmt: skip
            found.append((column, channel, end))

    def of(day: Day) -> dict[str, Cell]:
        cells = {}
        for column, channel, end in found:
            spread = days_.spread_of(_track(stretch, channel.id), day.begin, day.end, course)
            value, at = (spread.lowest, spread.lowest_at) if end == "lowest" else (spread.highest, spread.highest_at)
            note, seen = _remark(stretch, at, spread), judged.get(day.date)
            if seen is not None and column.id == "residual_min":
                value = math.nan if seen.residual_lowest is None else seen.residual_lowest
                note = note if math.isfinite(value) else ""
                if seen.residual_lowest_at is not None and value != spread.lowest:
                    note = f"at {seen.residual_lowest_at.astimezone(stretch.zone):%H:%M}"
                    if seen.residual_lowest is None:
                        cells[column.id] = Cell(None, "not detected", "none", note)
                        continue
            cells[column.id] = cell(value, column, note, _why(course, day))
        return cells | _contact(contact, judged.get(day.date), _why(course, day), stretch.zone)

    asked = {organism for day in judged.values() if day.contact is not None for organism in day.contact.ratios}
    contact = _contact_columns(asked, any(day.contact is not None for day in judged.values()))
    return Part((*(column for column, _, _ in found), *contact), of)


def _contact_columns(asked: Collection[str], told: bool) -> tuple[Column, ...]:
    """Return the columns on contact time; none where the plant has no contact stage or no rule asks for it."""
    if not told:
        return ()
    names = {"giardia": "Giardia", "virus": "viruses"}
    ratios = tuple(
        Column(
            id=f"ct_{organism}", title=f"CT ratio, {name}", group="disinfection", inside="1", unit="1", of="lowest",
            decimals=2,
        )
        for organism, name in names.items()
        if organism in asked
    )  # fmt: skip
    weakest = Column(id="ct_weakest", title="Weakest segment", group="disinfection", inside="", unit="")
    return (*ratios, weakest)


def _contact(columns: Sequence[Column], day: DayResult | None, state: State, zone: ZoneInfo) -> dict[str, Cell]:
    cells = {}
    for column in columns:
        told = day.contact if day is not None else None
        if told is None or told.status in ("cannot tell", "not due", "does not apply"):
            why = told.why if told is not None else ""
            cells[column.id] = Cell(None, "cannot tell" if told is not None and why else WORDS[state], state, why)
        elif column.id == "ct_weakest":
            cells[column.id] = Cell(None, told.weakest, "value")
        else:
            ratio = told.ratios.get(column.id.removeprefix("ct_"))
            at = f"from {told.peak_hour.astimezone(zone):%H:%M}" if told.peak_hour is not None else ""
            cells[column.id] = cell(ratio, column, at, state)
    return cells


def _dose_track(stretch: Stretch, feed: Feed) -> Track:
    return days_.with_before(stretch, feed_channel(feed, "dose", stretch.plant.channels))


def _chemicals(stretch: Stretch, course: Course) -> Part:
    display = Display(stretch.plant.unit_set)
    pairs = []
    for feed in stretch.plant.feeds:
        name = f"{feed.name} as {feed.basis}"
        dose = Column(id=f"{feed.id}_dose", title="Dose", group="chemicals", inside="g/m^3", unit="mg/L", under=name)
        mass = Column(
            id=f"{feed.id}_used", title="Used", group="chemicals", inside="kg", unit=display.unit(Mass), of="sum",
            under=name,
        )  # fmt: skip
        pairs.append((feed, dose, mass))

    def of(day: Day) -> dict[str, Cell]:
        cells = {}
        for feed, dose, mass in pairs:
            fed = days_.fed_of(_dose_track(stretch, feed), course, day.begin, day.end)
            water = course.water(day.begin, day.end)
            state: State = "standing" if water.ran == 0 and water.unrecorded == 0 else "gap"
            note = f"{shown(fed.lowest, dose)} to {shown(fed.highest, dose)}" if fed.highest > fed.lowest else ""
            known = math.isfinite(fed.mean) and course.measured
            used = mass_fed(fed.mean, fed.volume) if known else None
            cells[dose.id] = cell(fed.mean if known else None, dose, note, state)
            cells[mass.id] = cell(used, mass, "", state)
        return cells

    return Part(tuple(column for _, dose, mass in pairs for column in (dose, mass)), of)


def _filters(stretch: Stretch, course: Course, judged: Judged) -> Part:
    display = Display(stretch.plant.unit_set)
    volume = "kgal" if display.unit(Volume) == "gal" else display.unit(Volume)
    columns: list[Column] = []
    own: list[tuple[Filter, Column, Column, Column, Column]] = []
    for filter_ in stretch.plant.filters:

        def column(what: str, title: str, inside: str, unit: str, of_month: Of, decimals: int | None = None,
                   filter_: Filter = filter_) -> Column:  # fmt: skip
            return Column(
                id=f"{filter_.id}_{what}", title=title, group="filters", inside=inside, unit=unit, of=of_month,
                under=filter_.name, decimals=decimals,
            )  # fmt: skip

        four = (
            column("max", "Highest turbidity", "NTU", "NTU", "highest"),
            column("hours", "Hours filtering", "s", "h", "sum", 2),
            column("washes", "Backwashes", "1", "1", "sum", 0),
            column("wash_water", "Backwash water", "m^3", volume, "sum"),
        )
        columns.extend(four)
        own.append((filter_, *four))

    courses = {f.id: _filter_course(stretch, f, course) for f in stretch.plant.filters}

    def of(day: Day) -> dict[str, Cell]:
        cells = {}
        for filter_, highest, hours, washes, wash in own:
            mine = courses[filter_.id]
            spread = days_.spread_of(_track(stretch, f"{filter_.id}_turbidity"), day.begin, day.end, mine)
            water = mine.water(day.begin, day.end)
            unknown = water.ran == 0 and water.unrecorded > 0
            done = _events(stretch, day, "backwash", filter_.id)
            washed, note = _sum([_number(e.values.get("volume")) for e in done])
            state = _why(mine, day) if f"{filter_.id}_turbidity" in stretch.plant.channels else "none"
            value, note_max, seen = spread.highest, _remark(stretch, spread.highest_at, spread), judged.get(day.date)
            if seen is not None and filter_.id in seen.filters_highest:
                value = seen.filters_highest[filter_.id]
                note_max = note_max if value == spread.highest else ""
            cells[highest.id] = cell(value, highest, note_max, state)
            cells[hours.id] = cell(None if unknown else water.ran, hours, "", "gap")
            cells[washes.id] = cell(len(done), washes)
            cells[wash.id] = cell(washed, wash, note, "gap")
        return cells

    return Part(tuple(columns), of)


def _filter_course(stretch: Stretch, filter_: Filter, course: Course) -> Course:
    """Return how a filter ran: by its own flow, above its share of the least, else as the plant."""
    own = f"{filter_.id}_flow"
    if not len(_track(stretch, own)):
        return course
    least = equal_share(course.least, max(1, len(stretch.plant.filters)))
    return Course(days_.with_before(stretch, own), least=least, events=stretch.events, end=stretch.b.timestamp())


# --- what stands below the days ----------------------------------------------------------------------------------


def _month(
    columns: Sequence[Column], rows: Sequence[DayRow], stretch: Stretch
) -> tuple[dict[str, Cell], dict[str, Sheet]]:
    cells: dict[str, Cell] = {}
    workings: dict[str, Sheet] = {}
    for column in columns:
        known = [(row.date, row.cells[column.id].value) for row in rows if row.cells[column.id].value is not None]
        values = [float(value) for _, value in known if value is not None]
        if not column.of or not values:
            cells[column.id] = cell(None, column)
            continue
        with recording() as sheet:
            if column.of == "sum":
                found, note = sum_of_values(values), ""
            elif column.of == "highest":
                found = highest_value(values)
                note = f"on {next(day for day, value in known if value == found):%d %b}"
            else:
                found = min(values)
                day = next(day for day, value in known if value == found)
                note = f"on {day:%d %b}"
                sheet.notes.append(f"The lowest of {len(values)} days, looked up and not worked out: {day}.")
        missing = [row for row in rows if row.cells[column.id].state == "gap"]
        if missing:
            days = f"{len(missing)} day{'s' if len(missing) > 1 else ''} without a record"
            note = f"{note}, {days}" if note else days
            sheet.notes.append(f"Not in it: {days}.")
        cells[column.id] = cell(float(found), column, note)
        workings[column.id] = sheet
    if "volume" in cells and cells["volume"].value and cells["hours"].value:
        with recording() as sheet:
            found = average_flow(_known(cells["volume"], "m^3"), _known(cells["hours"], "s"))
        column = next(c for c in columns if c.id == "average_flow")
        cells["average_flow"], workings["average_flow"] = cell(float(found), column), sheet
    return cells, workings


def _known(of: Cell, unit: str) -> Known:
    assert of.value is not None
    return Known(of.value, None, unit)


def _used(stretch: Stretch, course: Course) -> Iterator[Chemical]:
    begin, end = stretch.a.timestamp(), stretch.b.timestamp()
    inside = [e for e in stretch.events if stretch.a <= e.started_at < stretch.b]
    water = course.water(begin, end)
    source = Reading("Water treated", "", stretch.b.astimezone(stretch.zone), "from the flow meter")
    for feed in stretch.plant.feeds:
        fed = days_.fed_of(_dose_track(stretch, feed), course, begin, end)
        mine = [e for e in inside if e.subject == feed.id]
        lots = tuple(dict.fromkeys(str(e.values["lot"]) for e in mine if "lot" in e.values))
        counted = [e for e in mine if e.kind == "stock_count" and _number(e.values.get("volume")) is not None]
        used = covered = None
        treated = Known(water.volume, source, "m^3") if course.measured else None
        with recording() as sheet:
            if math.isfinite(fed.mean) and course.measured:
                dose = Known(fed.mean, Reading(f"{feed.name} dose", "", source.taken_at, "mean by the water"), "g/m^3")
                covered = Known(fed.volume, source, "m^3")
                used = mass_fed(dose, covered)
            delivered = _product(mine, "delivery", "volume")
            filled = _product(mine, "batch", "product")
        yield Chemical(
            feed=feed.id, title=feed.name, basis=feed.basis, used=used, covered=covered, treated=treated,
            delivered=delivered, filled=filled, lots=lots,
            stock=Known(float(counted[-1].values["volume"]), None, "m^3") if counted else None, working=sheet,
        )  # fmt: skip


def _product(events: Sequence[Any], kind: str, name: str) -> Known | None:
    """Return the product that events of a kind tell of [m^3]; None when one of them does not say how much."""
    found = [_number(e.values.get(name)) for e in events if e.kind == kind]
    known = [v for v in found if v is not None]
    if len(known) < len(found):
        return None
    return sum_of_values(known) if known else Known(0.0, None, "m^3")

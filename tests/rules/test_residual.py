"""The residual that enters the mains and its clocks: 40 CFR 141.72(b)(2), 141.74(c)(2), 141.75(b)(3)(iii)."""

from datetime import date, datetime

import pytest
from tests.rules.planted import FEDERAL, REJECTED, TEXT, Planted, plant, state

from weirhouse.records.model import Event
from weirhouse.rules.business import Business, federal_holidays
from weirhouse.rules.model import MonthResult, NoticeNeeded

LOW = 0.15


def below(quarters: int, at: str = "14 08:00", value: float = LOW) -> Planted:
    return Planted().put("entry_chlorine", at, *[value] * quarters)


@pytest.mark.parametrize(("quarters", "hours", "status"), [(1, 0.25, "met"), (16, 4.0, "met"), (17, 4.25, "broken")])
def test_below_for_more_than_four_hours(quarters: int, hours: float, status: str) -> None:
    result = below(quarters).judge()
    found = result.outcome("ep_residual_min")
    assert found.status == status
    assert found.value == pytest.approx(hours)
    assert result.outcome("ep_residual_notify").status == "broken"


def test_it_is_below_until_a_reading_shows_it_restored() -> None:
    planted = below(15).drop("entry_chlorine", "14 11:45", "14 12:15")
    assert planted.judge().outcome("ep_residual_min").status == "broken"  # shown restored at 12:15 only


@pytest.mark.parametrize(
    ("first", "last", "status"), [("14 08:00", "14 11:30", "met"), ("14 08:00", "14 12:15", "cannot tell")]
)
def test_a_gap_of_more_than_four_hours_could_have_been_below(first: str, last: str, status: str) -> None:
    result = Planted().drop("entry_chlorine", first, last).judge()
    assert result.outcome("ep_residual_min").status == status
    assert result.outcome("ep_residual_notify").status == "cannot tell"


def test_a_gap_that_leads_into_a_time_below_counts_with_it() -> None:
    planted = below(12, "14 10:00").drop("entry_chlorine", "14 08:00", "14 10:00")
    assert planted.judge().outcome("ep_residual_min").status == "cannot tell"  # 3 h for certain, 5.25 h at the worst


def test_time_for_which_the_plant_stands_does_not_count() -> None:
    planted = below(24).stop("14 09:00", "14 13:00")  # below from 08:00 to 14:00, of which it stood four hours
    assert planted.judge().outcome("ep_residual_min").value == pytest.approx(2.0)
    planted.packs = state(off_hours='"counted"')
    assert planted.judge().outcome("ep_residual_min").status == "broken"


@pytest.mark.parametrize(("value", "status"), [(0.2, "met"), (0.19, "broken"), (0.0, "broken")])
def test_any_value_below_is_told_by_the_federal_limit(value: float, status: str) -> None:
    planted = below(1, value=value)
    planted.packs = FEDERAL
    found = planted.judge().outcome("ep_residual_notify")
    assert found.status == ("cannot tell" if value == 0.19 else status)  # 0.19 is 0.2 where one decimal counts
    assert found.limit == 0.2


def test_the_stricter_limit_of_the_permit_stands() -> None:
    result = below(1, value=0.25).judge()
    found = result.outcome("ep_residual_notify")
    assert found.status == "broken"
    assert (found.limit, found.requirement.base_limit) == (0.3, 0.2)
    assert "permit EXAMPLE-001" in found.requirement.stricter_by
    own = Planted(plant=plant(replace={'entry_residual_min = "0.2 mg/L"': 'entry_residual_min = "0.5 mg/L"'}))
    own.put("entry_chlorine", "14 08:00", *[0.4] * 20)
    assert own.judge().outcome("ep_residual_min").status == "broken"
    loose = Planted(plant=plant(replace={'entry_residual_min = "0.2 mg/L"': 'entry_residual_min = "0.1 mg/L"'}))
    assert loose.judge().outcome("ep_residual_min").limit == 0.2


def test_samples_by_population() -> None:
    entry = next(part for part in TEXT.split("\n\n") if part.startswith("[channel.entry_chlorine]"))
    planted = Planted(plant=plant(replace={entry: entry.replace('\ninterval = "15 min"', "")}))
    keep = [planted.place(f"{day:02d} {hour:02d}:00") for day in range(1, 32) for hour in (7, 12, 19)]
    values = planted.values["entry_chlorine"]
    values[[i for i in range(len(values)) if i not in set(keep)]] = float("nan")
    found = planted.judge().outcome("ep_residual_grab")
    assert found.status == "met"  # 1,010 people: three a day
    values[keep[4]] = float("nan")
    found = planted.judge().outcome("ep_residual_grab")
    assert found.status == "broken"
    assert found.why == ("2026-07-02: fewer than 3.",)


# --- the clock of its notice ------------------------------------------------------------------------------------------


def notice(result: MonthResult, requirement: str) -> NoticeNeeded:
    [found] = [n for n in result.notices if n.requirement.id == requirement]
    return found


@pytest.mark.parametrize(
    ("first", "at", "due"),
    [
        (date(2026, 7, 1), "14 08:00", "2026-07-15 16:30"),  # Tuesday
        (date(2026, 7, 1), "10 20:00", "2026-07-13 16:30"),  # Friday evening
        (date(2026, 7, 1), "02 08:00", "2026-07-06 16:30"),  # Thursday before the holiday kept on Friday the 3rd
        (date(2026, 11, 1), "25 08:00", "2026-11-30 16:30"),  # the State is shut on Thanksgiving and the Friday after
    ],
)
def test_due_by_the_end_of_the_next_business_day(first: date, at: str, due: str) -> None:
    planted = Planted(first=first).put("entry_chlorine", at, LOW)
    found = notice(planted.judge(), "ep_residual_notify")
    told = next(step for step in found.steps if step.id == "tell_state")
    assert told.due is not None
    assert f"{told.due.astimezone(planted.plant.zone):%Y-%m-%d %H:%M}" == due
    assert found.limit_at is not None
    assert (found.limit_at - found.opened_at).total_seconds() == 4 * 3600
    assert found.opened_at == planted.at(at)
    assert (told.whom, told.number) == ("State drinking water program, duty line", "555-0100")


def test_without_the_states_holidays_the_federal_ones_are_taken_and_said() -> None:
    planted = Planted(first=date(2026, 11, 1), packs=FEDERAL).put("entry_chlorine", "25 08:00", 0.05)
    result = planted.judge()
    told = next(s for s in notice(result, "ep_residual_notify").steps if s.id == "tell_state")
    assert told.due is not None
    assert f"{told.due.astimezone(planted.plant.zone):%Y-%m-%d %H:%M}" == "2026-11-27 17:00"
    assert "US federal holidays are taken" in told.due_words
    assert any("US federal holidays are taken" in words for words in result.said)


def test_federal_holidays_of_two_years() -> None:
    """The days published by the US Office of Personnel Management for 2026 and 2027, from memory."""
    assert [f"{d:%m-%d}" for d in federal_holidays(2026)] == [
        "01-01", "01-19", "02-16", "05-25", "06-19", "07-03", "09-07", "10-12", "11-11", "11-26", "12-25",
    ]  # fmt: skip
    assert [f"{d:%m-%d}" for d in federal_holidays(2027)] == [
        "01-01", "01-18", "02-15", "05-31", "06-18", "07-05", "09-06", "10-11", "11-11", "11-25", "12-24", "12-31",
    ]  # fmt: skip
    b = Business(Planted().plant.zone)
    assert b.after(date(2026, 7, 2), 5) == date(2026, 7, 10)
    assert b.between(date(2026, 7, 2), date(2026, 7, 10)) == 5


def test_the_steps_are_done_one_by_one_and_a_person_closes_it() -> None:
    planted = below(17)
    result = planted.judge()
    tell, broken = notice(result, "ep_residual_notify"), notice(result, "ep_residual_min")
    assert (tell.tier, broken.tier) == (None, 2)
    assert broken.opened_at == planted.at("14 12:00")
    assert [s.id for s in broken.steps] == ["tell_state", "cause", "public_notice", "certify", "report"]
    assert broken.steps[2].due is not None
    assert (broken.steps[2].due - broken.opened_at).days == 30

    def step(name: str, at: str, note: str = "") -> Event:
        return Event(
            kind="notice",
            started_at=planted.at(at),
            subject=tell.id,
            values={"step": name},
            person="K. Hale",
            note=note,
        )

    events = [step("tell_state", "14 09:00")]
    after = notice(planted.judge(events=events), "ep_residual_notify")
    assert next(s for s in after.steps if s.id == "tell_state").done_by == "K. Hale"
    assert after.closed_at is None
    events.append(step("closed", "15 10:00", "Told, restored at 12:15."))
    after = notice(planted.judge(events=events), "ep_residual_notify")
    assert after.closed_at == planted.at("15 10:00")
    assert after.closing_note == "Told, restored at 12:15."
    assert after.due is None


def test_rejecting_or_taking_out_the_readings_does_not_take_the_notice_away() -> None:
    before = notice(below(3).judge(), "ep_residual_notify")
    rejected = Planted().put("entry_chlorine", "14 08:00", *[LOW] * 3, flag=REJECTED).judge()
    assert rejected.outcome("ep_residual_notify").status == "cannot tell"
    after = notice(rejected, "ep_residual_notify")
    assert after.id == before.id
    assert not after.certain
    worked = Event(
        kind="notice",
        started_at=Planted().at("14 09:00"),
        subject=before.id,
        values={"step": "tell_state"},
        person="K. Hale",
    )
    kept = notice(Planted().judge(events=[worked]), "ep_residual_notify")
    assert kept.id == before.id
    assert "not on record as they were" in kept.sentence


def test_rejecting_the_first_reading_below_does_not_start_the_clock_anew() -> None:
    planted = Planted().put("entry_chlorine", "14 23:45", LOW, flag=REJECTED).put("entry_chlorine", "15 00:00", LOW)
    found = notice(planted.judge(), "ep_residual_notify")
    assert found.opened_at == planted.at("14 23:45")
    assert found.certain  # by the second reading
    assert found.id == notice(below(2, "14 23:45").judge(), "ep_residual_notify").id


def test_one_time_below_opens_one_notice_however_many_readings() -> None:
    for flags in ((0, 0, 0), (REJECTED, 0, REJECTED), (0, REJECTED, 0)):
        planted = Planted()
        for at, flag in zip(("14 08:00", "14 08:15", "14 08:30"), flags, strict=True):
            planted.put("entry_chlorine", at, LOW, flag=flag)
        found = notice(planted.judge(), "ep_residual_notify")  # the one there is
        assert found.opened_at == planted.at("14 08:00")
        assert "until 2026-07-14 08:45" in found.sentence


def test_a_time_that_only_rejected_readings_make_too_long_is_not_certain() -> None:
    planted = below(17).put("entry_chlorine", "14 08:00", *[LOW] * 6, flag=REJECTED)
    result = planted.judge()
    found = notice(result, "ep_residual_min")
    assert (found.opened_at, found.certain) == (planted.at("14 12:00"), False)
    assert result.outcome("ep_residual_min").status == "cannot tell"


def test_the_draft_has_the_ten_elements_and_decides_nothing() -> None:
    broken = notice(below(17).judge(), "ep_residual_min")
    assert len(broken.elements) == 10
    assert all(element.text in broken.draft for element in broken.elements)
    assert "555-0100" in broken.draft
    for word in ("safe", "!", "do not need to boil", "must boil"):
        assert word not in broken.draft


def test_the_time_left_is_told_while_it_is_below() -> None:
    planted = below(40, "20 08:00")
    [near] = [h for h in planted.judge(now="20 10:00").headroom if h.requirement.id == "ep_residual_min"]
    assert near.by is not None
    assert near.by == planted.at("20 12:00")
    assert isinstance(near.by, datetime)


def test_a_residual_that_was_not_detected_is_never_told_as_0() -> None:
    """`<0.02` is below the limit, and no number: neither the sentence nor the notice nor the daily table says 0."""
    planted = Planted().put("entry_chlorine", "14 08:00", 0.02, 0.02, flag=3)
    result = planted.judge()
    outcome = result.outcome("ep_residual_notify")
    assert outcome.status == "broken"
    assert outcome.value is None and outcome.shown == "not detected"
    assert outcome.sentence.startswith("Lowest not detected")
    assert not any(" 0.00 mg/L" in one.sentence or "(0.00" in one.sentence for one in result.notices)
    assert any("not detected" in one.sentence for one in result.notices)
    day = next(day for day in result.days if day.date == date(2026, 7, 14))
    assert day.residual_lowest is None and day.residual_lowest_at == planted.at("14 08:00")

"""Contact time of a day: by hand from the formulas, at the edge of the peak hour, and where something is lacking."""

from datetime import date

import pytest
from tests.rules.planted import REJECTED, Planted, plant

from weirhouse.science.contact_time import giardia_ct_3_log, virus_ct
from weirhouse.science.pipes import pipe_volume

FOOT, GALLON = 0.3048, 0.003785411784


def by_hand(flow: float, residual: float, entry: float, ph: float, temperature: float, level: float) -> float:
    """Return the ratio for Giardia of Emberly's clearwell (factor 0.5, 321 ft2) and main, from the rule's own formula.

    Sum over the segments of C x T10 over CT for 0.5 log (40 CFR 141.74(b)(4), 141.534), C to 3.0 mg/L at most.
    """
    volume = 321 * FOOT**2 * level
    main = pipe_volume(6.08 * FOOT / 12, 1900 * FOOT)
    total = 0.0
    for held, factor, c in ((volume, 0.5, residual), (main, 1.0, entry)):
        need = giardia_ct_3_log(c, ph, temperature) / 6
        total += c * factor * held / flow / need
    return total


def test_a_day_equals_the_formulas_worked_by_hand() -> None:
    planted = Planted(run=(6, 18))
    planted.put("plant_flow", "14 09:00", 0.0095, 0.0095, 0.0095, 0.0095)
    planted.put("contact_chlorine", "14 09:00", 1.3, 0.9, 1.1, 1.2)
    planted.put("entry_chlorine", "14 09:00", 1.0, 0.8, 0.9, 1.0)
    planted.put("contact_temperature", "14 09:00", 12.0, 11.0, 12.0, 12.0)
    planted.put("contact_level", "14 09:00", 2.4, 2.2, 2.1, 2.3)
    planted.values["contact_ph"][:] = float("nan")  # read by hand: the worst of the day
    for day in range(1, 32):
        planted.put("contact_ph", f"{day:02d} 08:00", 7.4).put("contact_ph", f"{day:02d} 16:00", 7.9)
    found = planted.judge().days[13].contact
    assert found is not None
    assert f"{found.peak_hour.astimezone(planted.plant.zone):%H:%M}" == "09:00"  # type: ignore[union-attr]
    assert found.ratios["giardia"] == pytest.approx(by_hand(0.0095, 0.9, 0.8, 7.9, 11.0, 2.1), rel=1e-9)
    assert found.limiting == "giardia"
    assert [s.name for s in found.segments] == ["Clearwell", "Main to the first customer"]
    assert found.sheet is not None
    text = found.sheet.text("US")
    for words in ("Contact time T10", "CT achieved", "Ratios of all segments together", "table not yet confirmed"):
        assert words in text


def test_viruses_are_judged_by_their_own_table() -> None:
    found = Planted().judge().days[13].contact
    assert found is not None
    volume, main = 321 * FOOT**2 * 2.5, pipe_volume(6.08 * FOOT / 12, 1900 * FOOT)
    need = virus_ct(7.4, 15.0, 2.0)
    assert found.ratios["virus"] == pytest.approx((1.2 * 0.5 * volume + 1.1 * main) / 0.0088 / need, rel=1e-9)


@pytest.mark.parametrize(("residual", "status"), [(0.35, "met"), (0.12, "broken")])
def test_a_ratio_below_1_breaks_the_day_and_opens_a_notice(residual: float, status: str) -> None:
    planted = Planted()
    for channel in ("contact_chlorine", "entry_chlorine"):
        planted.put(channel, "14 00:00", *[residual] * 96)
    for day in ("14",):
        planted.put("contact_level", f"{day} 00:00", *[1.0] * 96)
        planted.put("contact_temperature", f"{day} 00:00", *[2.0] * 96)
    planted.put("contact_ph", "14 10:00", 8.5)
    result = planted.judge()
    giardia = result.outcome("tt_giardia")
    ratio = giardia.value or 0.0
    assert giardia.days[date(2026, 7, 14)] == ("met" if ratio >= 1 else "broken")
    assert giardia.status == ("met" if ratio >= 1 else "broken")
    if status == "broken":
        assert giardia.status == "broken"
        [notice] = [n for n in result.notices if n.requirement.id == "tt_giardia"]
        assert notice.tier == 2
        assert notice.opened_at == result.days[13].b


@pytest.mark.parametrize(
    ("channel", "first", "last"),
    [
        ("contact_chlorine", "14 00:00", "15 00:00"), ("contact_ph", "14 00:00", "15 00:00"),
        ("contact_temperature", "14 00:00", "15 00:00"), ("contact_level", "14 00:00", "15 00:00"),
        ("plant_flow", "14 06:00", "14 07:00"),
    ],
)  # fmt: skip
def test_what_is_lacking_makes_the_day_one_that_cannot_be_told(channel: str, first: str, last: str) -> None:
    result = Planted().drop(channel, first, last).judge()
    found = result.outcome("tt_giardia")
    assert found.status == "cannot tell"
    assert [day for day, status in found.days.items() if status == "cannot tell"] == [date(2026, 7, 14)]
    assert any("2026-07-14" in why for why in found.why)


def test_a_rejected_residual_of_the_peak_hour_gives_no_pass() -> None:
    planted = Planted()
    planted.put("plant_flow", "14 09:00", *[0.0095] * 4).put("contact_chlorine", "14 09:15", 0.9, flag=REJECTED)
    found = planted.judge().outcome("tt_giardia")
    assert found.status == "cannot tell"
    assert "only 3 of 4 values of the peak hour count" in found.why[0]


def test_without_the_states_credit_it_cannot_be_told() -> None:
    lacking = plant(replace={'giardia_credit = "2.5 log"          # removal credit assigned by the State\n': ""})
    found = Planted(plant=lacking).judge().outcome("tt_giardia")
    assert found.status == "cannot tell"
    assert "removal credit" in found.sentence


def test_where_the_credit_covers_all_nothing_is_asked() -> None:
    covered = plant(replace={'virus_credit = "2 log"': 'virus_credit = "4 log"'})
    result = Planted(plant=covered).judge()
    assert result.outcome("tt_virus").status == "does not apply"
    assert result.outcome("tt_giardia").status == "met"


def test_a_day_on_which_it_stood_asks_for_nothing() -> None:
    planted = Planted().stop("14 00:00", "15 00:00").drop("contact_chlorine", "14 00:00", "15 00:00")
    found = planted.judge().outcome("tt_giardia")
    assert found.days[date(2026, 7, 14)] == "not due"
    assert found.status == "met"

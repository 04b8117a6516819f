"""Rule packs are data: wrong ones are refused with file and line, and a local one may only be stricter."""

import tomllib
from datetime import UTC, date, datetime
from importlib.resources import files
from pathlib import Path

import pytest
from tests.rules.planted import LOCAL, OURS, Planted, book

from weirhouse.records.model import Event
from weirhouse.rules.methods import METHODS
from weirhouse.rules.month import WORKS
from weirhouse.rules.packs import BASES, PackError, assemble, base_pack, confirmations, load_rules, parse_pack

FEDERAL_TEXT = files("weirhouse.rules").joinpath("packs", "us_federal.toml").read_text(encoding="utf-8")


def test_every_requirement_says_where_it_is_from() -> None:
    for id in BASES:
        for r in base_pack(id).requirements:
            assert r.citation, r.id
            assert r.provenance == "memory" or r.source_ref, r.id
            assert r.standing
    federal = base_pack("us_federal").requirements
    assert sum(r.provenance == "source" for r in federal) == 86
    assert {r.id for r in federal} >= {"cfe_95_small", "ife_trigger_3_months", "ep_residual_notify", "pn_content"}


def test_every_method_of_the_packs_is_worked_out_and_every_method_is_used() -> None:
    used = {str(r.check["method"]) for id in BASES for r in base_pack(id).requirements if r.check}
    assert used == set(METHODS)
    assert used - set(WORKS) == {
        "consecutive_months",
        "undetectable_share",
        "follows",
    }  # these need more than the month


def test_the_numbers_of_the_federal_pack() -> None:
    """Read in the sources that the pack names (SOURCES in docs/rules.md), typed here a second time."""
    wanted = {
        "cfe_95_small": (0.3, "NTU"), "cfe_max_small": (1.0, "NTU"), "ep_residual_min": (0.2, "mg/L"),
        "mrdl_chlorine": (4.0, "mg/L"), "mcl_tthm": (0.08, "mg/L"), "mcl_haa5": (0.06, "mg/L"),
        "mcl_nitrate": (10.0, "mg/L"), "mcl_nitrite": (1.0, "mg/L"), "copper_al": (1.3, "mg/L"),
        "lead_al_now": (0.015, "mg/L"), "lead_al_lcri": (0.01, "mg/L"), "dist_residual": (5.0, "percent"),
    }  # fmt: skip
    found = {r.id: (r.limit, r.unit) for r in base_pack("us_federal").requirements}
    assert {id: found[id] for id in wanted} == wanted


def test_the_example_pack_lies_over_the_federal_one() -> None:
    assert len(OURS.titles) == 2
    found = OURS.requirement("ep_residual_notify")
    assert found is not None
    assert (found.limit, found.base_limit) == (0.3, 0.2)
    assert OURS.form.columns[0] == ("date", "Day")
    assert OURS.state.combined_interval == 14400.0


def test_another_countrys_pack_is_worked_out_by_the_same_methods() -> None:
    local = '[pack]\nid = "here"\ntitle = "Here"\nkind = "local"\nover = "who_guidelines"\n'
    local += '[state]\nmaximum_counts = "every"\n'
    packs = assemble([("rules/here.toml", parse_pack(local, "rules/here.toml"))])
    planted = Planted(packs=packs, first=date(2026, 7, 1))
    result = planted.judge()
    assert result.outcome("who_turbidity_95").status == "met"
    assert result.outcome("who_free_chlorine_least").status == "met"
    planted.put("combined_turbidity", "14 07:45", 1.2)
    assert planted.judge().outcome("who_turbidity_max").status == "broken"
    assert {o.requirement.pack for o in result.outcomes} == {"who_guidelines"}


# --- what is refused --------------------------------------------------------------------------------------------------

LOOSER = [
    ('requirement = "ep_residual_notify"\nlimit = 0.1', "0.1 mg/L is looser than 0.2 mg/L of 40 CFR 141.75(b)(3)(iii)"),
    ('requirement = "cfe_max_small"\nlimit = 2', "2 NTU is looser than 1 NTU"),
    ('requirement = "cfe_95_small"\nfraction = 0.9', "fraction = 0.9 is looser than 0.95"),
    ('requirement = "ep_residual_min"\nmax_hours_below = 6', "max_hours_below = 6 is looser than 4"),
    ('requirement = "no_such_rule"\nlimit = 2', 'no requirement "no_such_rule"'),
    ('requirement = "pn_tier1"\nlimit = 2', "told and not what it is judged by"),
    ('requirement = "cfe_sampling_4h"\nlimit = 2', "told and not what it is judged by"),
]


@pytest.mark.parametrize(("text", "why"), LOOSER)
def test_a_local_pack_may_not_loosen(text: str, why: str) -> None:
    head = '[pack]\nid = "x"\ntitle = "X"\nkind = "local"\nover = "us_federal"\n'
    whole = f'{head}\n[[stricter]]\n{text}\ncitation = "none"\n'
    with pytest.raises(PackError) as error:
        book(whole)
    assert why in str(error.value)
    assert "rules/local.toml, line " in str(error.value)


def test_a_looser_limit_is_named_by_its_line() -> None:
    with pytest.raises(PackError, match=r"rules/local\.toml, line 32: 0\.1 mg/L is looser"):
        book(LOCAL.replace("limit = 0.3", "limit = 0.1"))
    assert LOCAL.splitlines()[31] == "limit = 0.3"


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("[state]", "[stat]", "there is no table [stat]"),
        (
            'recorded_value = "first"',
            'recorded_value = "second"',
            "recorded_value is one of first, last, highest, mean",
        ),
        ('recorded_value = "first"', 'recorded_valve = "first"', "Do you mean recorded_value?"),
        ('combined_interval = "4 h"', 'combined_interval = "1 h"', 'combined_interval is "4 h" or "15 min"'),
        ('combined_interval = "4 h"', 'combined_interval = "4 gal"', "combined_interval"),
        ('half = "up" }', 'half = "down" }', "turbidity_rounding is"),
        ('"0.05 mg/L"', '"0.05 NTU"', "residual_detectable"),
        ('"16:30"', '"25:30"', "business_day_ends is a clock time"),
        ('"2025-11-11", ', '"2025-02-30", ', "is not a date"),
        ('over = "us_federal"', 'over = "us_state"', "over names the pack"),
        ('kind = "local"', 'kind = "own"', 'kind is "base" or "local"'),
        ('citation = "permit EXAMPLE-001, condition 7 (invented)"', "", "citation is missing"),
        ("limit = 0.3", 'limit = "0.3 mg/L"', "limit is a number without quotes"),
        ("limit = 0.3", "limit = nan", "limit is a number"),
        ("limit = 0.3", "limti = 0.3", '"limti" is not a field'),
        ("limit = 0.3", "limit = 0.3\nfraction = 1.5", "fraction is a share of at most 1"),
        ('why = "long mains and few customers at the far end"', "why = 3", "why is text"),
        ('"0.05 mg/L"', '"-0.05 mg/L"', "residual_detectable is not below 0"),
        ('title = "Monthly operating report, surface water (invented form)"', "title = 5", "title is text"),
    ],
)
def test_a_wrong_pack_is_refused_with_its_line(old: str, new: str, why: str) -> None:
    assert old in LOCAL
    text = LOCAL.replace(old, new, 1)
    with pytest.raises(PackError) as error:
        book(text)
    message = str(error.value)
    assert why in message
    line = int(message.split("line ", 1)[1].split(":")[0])
    changed = next(i for i, (a, b) in enumerate(zip(LOCAL.splitlines(), text.splitlines(), strict=False), 1) if a != b)
    # what is missing is told by its table, a list over several lines by its name
    assert line in (changed, changed - 1) or "missing" in why


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ('method = "share_within"', 'method = "share_with"', "Do you mean share_within?"),
        ('provenance = "source"', 'provenance = "rumour"', "provenance is source, memory or mixed"),
        ('unit = "NTU"', 'unit = "NTX"', "is not a unit known here"),
        ('citation = "40 CFR 141.551(a)(1)"', 'citation = ""', "citation is empty"),
        ('source_ref = "S-OWOS, S-PAGES-141.551"', 'source_ref = ""', "source_ref is empty"),
        ("population_below", "population_under", "is no condition of applies"),
        ('channel = "combined_turbidity", tier', "tier", "check needs channel"),
        ("minutes = 15", "minutes = 5", "minutes is 15"),
        ('title = "Filtered turbidity, 95 percent of the month"', 'title = " "', "title is empty"),
        ("population_below = 10000", 'population_below = "10000"', "population_below is a number of people"),
        ('treatment = ["conventional", "direct"]', 'treatment = "conventional"', "treatment is a list of"),
        ('treatment = ["conventional", "direct"]', 'treatment = ["conventionl"]', "treatment is a list of"),
        ('tier = "pn_turbidity_95"', 'tier = "pn_turbidity_99"', "Do you mean pn_turbidity_95?"),
        ("fraction = 0.95", "fractoin = 0.95", 'no field "fractoin". Do you mean fraction?'),
        ("fraction = 0.95", 'fraction = "0.95"', "fraction is a number"),
    ],
)
def test_a_wrong_requirement_is_refused_with_its_line(old: str, new: str, why: str) -> None:
    text = FEDERAL_TEXT.replace(old, new, 1)
    assert text != FEDERAL_TEXT
    with pytest.raises(PackError) as error:
        parse_pack(text, "us_federal.toml")
    assert why in str(error.value)
    line = int(str(error.value).split("line ", 1)[1].split(":")[0])
    assert text.splitlines()[line - 1] != FEDERAL_TEXT.splitlines()[line - 1]


def test_text_that_is_no_toml_and_files_that_are_no_text(tmp_path: Path) -> None:
    with pytest.raises(PackError, match=r"rules/x\.toml, line 1: not valid TOML"):
        parse_pack("[pack\n", "rules/x.toml")
    for text in (LOCAL + '\nmore = """\nabc', LOCAL.rstrip().removesuffix("]")):  # the file ends within something
        with pytest.raises(PackError, match=rf"rules/x\.toml, line {len(text.splitlines())}: not valid TOML"):
            parse_pack(text, "rules/x.toml")
    folder = tmp_path / "rules"
    folder.mkdir()
    (folder / "x.toml").write_bytes(b'[pack]\nid = "\xff"\n')
    with pytest.raises(PackError, match=r"rules/x\.toml, line 2: not UTF-8"):
        load_rules(tmp_path)
    (folder / "x.toml").write_text(FEDERAL_TEXT, encoding="utf-8")
    with pytest.raises(PackError, match='kind = "local"'):
        load_rules(tmp_path)


def test_two_local_packs_are_laid_over_each_other_unless_they_disagree(tmp_path: Path) -> None:
    folder = tmp_path / "rules"
    folder.mkdir()
    (folder / "a.toml").write_text(LOCAL, encoding="utf-8")
    head = '[pack]\nid = "more"\ntitle = "More"\nkind = "local"\nover = "us_federal"\n[state]\n'
    (folder / "b.toml").write_text(head + 'off_hours = "not_counted"\n', encoding="utf-8")
    assert len(load_rules(tmp_path).titles) == 3
    (folder / "b.toml").write_text(head + 'off_hours = "counted"\n', encoding="utf-8")
    with pytest.raises(PackError, match="given otherwise in another local pack"):
        load_rules(tmp_path)


def test_a_requirement_that_is_there_already_is_named_by_its_line() -> None:
    own = "[[requirement]]" + FEDERAL_TEXT.split("\n[[requirement]]", 2)[1]
    with pytest.raises(PackError, match=rf"rules/local\.toml, line {len(LOCAL.splitlines()) + 3}: .* already"):
        book(f"{LOCAL}\n{own}")


# --- confirming -------------------------------------------------------------------------------------------------------


def test_confirming_is_a_recorded_action() -> None:
    def event(subject: str, day: int, edition: str) -> Event:
        at = datetime(2026, 7, day, tzinfo=UTC)
        return Event(
            kind="rule_confirmed", started_at=at, subject=subject, values={"edition": edition}, person="K. Hale"
        )

    events = [
        event("us_federal/ife_trigger_2ntu", 4, "40 CFR, July 2025"),
        event("us_federal/ife_trigger_2ntu", 9, "40 CFR, July 2026"),
        event("contact_time/giardia_free_chlorine", 9, "40 CFR 141.74"),
    ]
    confirmed = OURS.confirmed(confirmations(events))
    found = confirmed.requirement("ife_trigger_2ntu")
    assert found is not None
    assert found.standing == "compared with 40 CFR, July 2026 by K. Hale on 2026-07-09"
    assert "from memory" in (OURS.requirement("ife_trigger_2ntu") or found).standing
    planted = Planted(packs=confirmed)
    assert any("from memory" in words for words in planted.judge().said)  # one of the two tables is not confirmed
    planted.packs = OURS.confirmed(confirmations([*events, event("contact_time/virus_free_chlorine", 9, "EPA 1991")]))
    assert any("confirmed by K. Hale on 2026-07-09" in words for words in planted.judge().said)


def test_the_packs_are_toml_that_another_program_can_read() -> None:
    for id in BASES:
        text = files("weirhouse.rules").joinpath("packs", f"{id}.toml").read_text(encoding="utf-8")
        assert tomllib.loads(text)["pack"]["id"] == id

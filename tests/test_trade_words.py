"""Other names of formulas and fields: each leads somewhere, and a stranger's guesses find the printed answers."""

import tomllib

import pytest
from tests.reference import FOLDER

from weirhouse.figures import CalculationError, calculate, find, search
from weirhouse.quantity import parse
from weirhouse.trade_words import FIELDS, MADE_FROM, NAMES, SYNONYMS
from weirhouse.working import formulas

PRINTED = {
    example["id"]: example
    for example in tomllib.loads((FOLDER / "worked_examples.toml").read_text(encoding="utf-8"))["example"]
}
# the printed example, and the name under which one would look; its inputs go in under the example's own words
GUESSES = {
    "ba-detention-pond": "detention time",
    "ba-flash-volume": "rectangular_volume",
    "ba-mean-velocity": "mean_velocity",
    "ba-pumping-rate": "average_flow",
    "ba-sor-1": "surface_overflow_rate",
    "ba-weir-gpm": "weir_overflow_rate",
    "cf-days-supply": "days_supply",
    "cf-dose-lbday": "dosage",
    "cf-lb-per-gal-hypo": "active_per_volume",
    "cf-percent-strength": "percent_strength",
    "cf-purity-hth": "product_mass",
    "cf-stroke-percent": "stroke_setting",
    "cf-tank-drawdown": "tank_drawdown_feed_rate",
    "cl-demand": "chlorine_demand",
    "cl-dose-4mgl": "pounds_per_day",
    "cl-dose-from-feed": "dose_from_mass_rate",
    "cl-pka-25c": "hypochlorous_acid_pka",
    "fi-backwash-volume": "backwash_volume",
    "fi-drop-test": "filtration_rate_from_drop",
    "fi-expansion-percent": "bed_expansion",
    "fi-l-over-d-deep-bed": "l_over_d",
    "fi-percent-backwash": "percent_backwash",
    "fi-rate-eight": "filtration_rate_of_several",
    "fi-rate-gph": "filter_loading_rate",
    "fi-rise-test": "backwash_flow_from_rise",
    "fi-ufrv-1": "unit_filter_run_volume_from_rate",
    "jt-1ml-10ppm": "jar_dose",
    "jt-dose-to-pump": "solution_feed_rate",
    "jt-liquid-alum-stock": "product_volume",
    "jt-ml-for-dose": "stock_volume",
    "mh-bed-height-mf": "bed_height",
    "mx-agitator-power": "turbine_power",
    "mx-gt": "gt",
    "mx-rapid-power": "power_for_velocity_gradient",
    "pp-darcy-50mm": "darcy_weisbach",
    "pp-hazen-12in": "hazen_williams",
    "pp-pressure-head": "pressure_from_head",
    "pp-pump-bhp": "brake_horsepower",
    "re-dry-solids": "dry_solids",
    "re-raw-solids-army": "solids_rate",
    "sd-balancing-storage": "balancing_storage",
    "sd-nrw": "non_revenue_water",
    "sd-storage-with-reserve": "storage_with_reserve",
    "se-removal-overflow": "ideal_removal",
    "se-stokes-100um": "stokes_law",
    "se-upflow-galena": "stokes_diameter",
    "st-percentile-90": "percentile",
    "wc-alk-used-by-alum": "alkalinity_used_by_factor",
    "wc-free-co2": "free_carbon_dioxide",
    "wc-pacl-basicity": "basicity",
    "wp-pv-20c": "vapor_pressure",
    "wp-visc-10c": "viscosity",
}


@pytest.mark.parametrize(("example", "name"), GUESSES.items(), ids=GUESSES)
def test_a_strangers_guess_gives_the_printed_answer(example, name):
    printed = PRINTED[example]
    found = calculate(name, printed["inputs"], "US")
    expected = parse(printed["expected"]["value"], found.inside)
    tolerance = parse(printed["expected"]["tolerance"], found.inside)
    assert found.result == pytest.approx(expected, abs=tolerance, rel=0)


def test_every_other_name_leads_to_a_formula_and_hides_none():
    assert set(NAMES.values()) <= set(formulas())
    assert not set(NAMES) & set(formulas())
    assert all(find(name).name == target for name, target in NAMES.items())


def test_every_other_name_of_a_field_is_of_use():
    known = {argument.name for formula in formulas().values() for argument in formula.arguments}
    assert {name for names in FIELDS.values() for name in names} <= known
    words = " ".join(f"{f.name} {f.title} {f.doc}".lower() for f in formulas().values())
    assert [word for text in SYNONYMS.values() for word in text.split() if word not in words] == []


@pytest.mark.parametrize(("name", "sources", "maker"), MADE_FROM)
def test_what_a_field_is_made_from_measures_the_same(name, sources, maker):
    formula = formulas()[maker]
    assert {a.name for a in formula.arguments if a.required} == set(sources)
    taken = [a.unit for f in formulas().values() for a in f.arguments if a.name == name and a.unit is not None]
    assert taken and formula.result.symbol in {unit.symbol for unit in taken}


def test_the_step_before_is_on_the_sheet():
    found = calculate("overflow_rate", {"flow": "6 MGD", "length": "100 ft", "width": "30 ft"}, "US")
    assert [line.formula.name for line in found.sheet.lines] == ["rectangle_area", "overflow_rate"]
    assert "from plan area" in found.sheet.text("US").lower() or "line 1" in found.sheet.text("US")


def test_an_argument_is_found_under_another_name():
    found = calculate(
        "overflow_rate", {"Flow": "?", "length": "100 ft", "width": "30 ft", "result": "2000 gal/day/ft2"}, "US"
    )
    assert found.found("US") == [("flow", "4,167 gpm")]


def test_what_could_be_two_fields_is_refused():
    with pytest.raises(CalculationError, match='takes no "density"'):
        calculate("stokes_velocity", {"diameter": "0.1 mm", "density": "2600 kg/m3", "viscosity": "0.001 Pa s"}, "US")


@pytest.mark.parametrize(
    ("words", "name"),
    [
        ("pounds per day", "mass_rate"),
        ("how much bleach", "hypochlorite_feed_rate"),
        ("surface overflow rate", "overflow_rate"),
        ("tthm", "trihalomethanes"),
        ("lraa", "locational_running_annual_average"),
        ("is my water corrosive", "ryznar_index"),
        ("how old is my bleach", "hypochlorite_strength_after"),
        ("will the pipe freeze", "time_to_freeze"),
        ("npsh suction lift", "npsh_available_lift"),
        ("toc removal", "toc_removal"),
        ("residual aluminum", "residual_aluminium"),
        ("ccpp", "precipitation_potential"),
        ("best dose jar test", "jar_optimum_dose"),
        ("detention time", "detention_time"),
        ("ct", "ct_achieved"),
        ("suva", "specific_uv_absorbance"),
        ("filter run volume", "unit_filter_run_volume"),
        ("pump curve system curve", "operating_flow"),
        ("disinfection byproducts", "trihalomethanes"),
        ("demand per capita", "demand_per_person"),
        ("weir rate", "weir_loading"),
        ("bed expansion", "expansion_from_rise"),
        ("heat tape", "heat_trace"),
        ("camp number", "gt"),
    ],
)
def test_the_words_people_use_find_it_among_the_first_six(words, name):
    assert name in [formula.name for formula in search(words)[:6]]

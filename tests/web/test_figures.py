"""Figures: a form for every formula, made from its signature, and the same answers as the command line."""

import re
from html import unescape

import pytest
from tests.web.conftest import Client

from weirhouse import figures
from weirhouse.science.quantities import Several
from weirhouse.web.figures import form_field, units_for, with_unit
from weirhouse.working import Formula, formulas


def answer_of(html: str) -> str:
    found = re.search(r'id="answer"><data value="[^"]*">([^<]*)<', html)
    assert found is not None, re.search(r'class="problems".*?</div>', html, re.DOTALL)
    return unescape(found[1])


def problem_of(html: str) -> str:
    found = re.search(r'class="problems" role="alert"><p>(.*?)</p>', html, re.DOTALL)
    assert found is not None
    return unescape(found[1])


def typed(formula: Formula) -> dict[str, str]:
    """Fill in a form as its hints say, number and unit apart."""
    query: dict[str, str] = {"work": "yes"}
    for argument in formula.arguments:
        if not argument.required:
            continue
        if argument.unit is None:
            choice = argument.choices[0]
            query[argument.name] = ("yes" if choice else "no") if isinstance(choice, bool) else str(choice)
            continue
        text = figures.example(argument, "US").strip('"')
        number = re.match(r"[-\d.,e]+", text)
        assert number is not None
        query[argument.name] = number[0]
        query[f"{argument.name}.unit"] = argument.unit.display("US")
        if isinstance(argument.unit, Several):
            query[argument.name] = f"{number[0]} {number[0]} {number[0]}"
    return query


@pytest.mark.parametrize("name", sorted(formulas()))
def test_every_formula_has_a_form_that_holds_each_argument(client: Client, name: str) -> None:
    formula = formulas()[name]
    html = client.get(f"/figures/{name}").text
    assert 'id="answer"' not in html and 'class="problems"' not in html
    for argument in formula.arguments:
        assert f'name="{argument.name}"' in html
        assert f'<label for="f-{argument.name}">' in html
        if argument.unit is not None and argument.unit.symbol not in ("1", "pH", "log", "NTU"):
            offered = [unit for unit, _ in units_for(argument.unit.symbol, argument.unit.display("US"))]
            assert offered[0] == argument.unit.display("US")
        for choice in argument.choices:
            words = ("yes" if choice else "no") if isinstance(choice, bool) else choice
            assert f'<option value="{words}"' in html


@pytest.mark.parametrize("name", sorted(formulas()))
def test_a_filled_form_answers_as_the_command_does_or_names_what_is_wrong(client: Client, name: str) -> None:
    formula = formulas()[name]
    query = typed(formula)
    answer = client.get(f"/figures/{name}", params=query)
    texts = {a.name: with_unit(a, query) for a in formula.arguments}
    try:
        expected = figures.calculate(name, texts, "US")
    except figures.CalculationError as error:
        assert answer.status_code == 422
        assert problem_of(answer.text) == str(error)
        return
    assert answer.status_code == 200
    assert answer_of(answer.text) == expected.answer
    assert 'class="sheet"' in answer.text
    for key, text in query.items():  # and what was typed stands in the form
        assert key.endswith((".unit", "work")) or f'value="{text}"' in answer.text


def test_most_filled_forms_do_answer(client: Client) -> None:
    statuses = [client.get(f"/figures/{name}", params=typed(f)).status_code for name, f in formulas().items()]
    assert statuses.count(200) > 0.85 * len(statuses)


def test_detention_time_on_paper(client: Client) -> None:
    # 12,000 gal at 150 gpm: 12,000 / 150 = 80 min
    query = {"volume": "12,000", "volume.unit": "gal", "flow": "150", "flow.unit": "gpm", "work": "yes"}
    html = client.get("/figures/detention_time", params=query).text
    assert answer_of(html) == "80.0 min"
    assert "12,000 gal ÷ 150 gpm = 80.0 min" in unescape(html)


def test_a_unit_typed_in_the_field_wins_over_the_one_beside_it(client: Client) -> None:
    query = {"volume": "45.42 m3", "volume.unit": "gal", "flow": "150", "flow.unit": "gpm", "work": "yes"}
    assert answer_of(client.get("/figures/detention_time", params=query).text) == "80.0 min"


def test_another_unit_can_be_chosen(client: Client) -> None:
    query = {
        "volume": "45.42",
        "volume.unit": "m^3",
        "flow": "9.4635",
        "flow.unit": "L/s",
        "units": "SI",
        "work": "yes",
    }
    html = client.get("/figures/detention_time", params=query).text
    assert answer_of(html) == "80.0 min"
    assert '<option value="m^3" selected>' in html


def test_an_argument_can_be_looked_for(client: Client) -> None:
    query = {"volume": "?", "flow": "150", "flow.unit": "gpm", "result": "80", "result.unit": "min", "work": "yes"}
    html = client.get("/figures/detention_time", params=query).text
    assert "volume = 12,000 gal" in unescape(html)


@pytest.mark.parametrize(
    ("query", "field", "begins"),
    [
        ({"volume": "tea", "flow": "150 gpm"}, "volume", "volume"),
        ({"volume": "12000", "flow": "150 gpm"}, "volume", "volume"),
        ({"volume": "12000 gal", "flow": "150 psi"}, "flow", "flow"),
        ({"volume": "12000 gal"}, "flow", "detention_time needs flow"),
        ({"volume": "1e400 gal", "flow": "150 gpm"}, "volume", "volume"),
    ],
)
def test_an_error_names_the_field_in_one_sentence_and_keeps_what_was_typed(
    client: Client, query: dict[str, str], field: str, begins: str
) -> None:
    answer = client.get("/figures/detention_time", params={**query, "work": "yes"})
    assert answer.status_code == 422
    problem = problem_of(answer.text)
    assert problem.startswith(begins)
    assert "\n" not in problem
    wrong = re.search(r'<input[^>]*aria-invalid="true"[^>]*>', answer.text)
    assert wrong is not None and f'name="{field}"' in wrong[0]
    for text in query.values():
        assert f'value="{text}"' in answer.text


def test_what_is_typed_is_escaped(client: Client) -> None:
    sly = '"><script>x</script>'
    for html in (
        client.get("/figures", params={"q": sly}).text,
        client.get("/figures/detention_time", params={"volume": sly, "work": "yes"}).text,
    ):
        assert "<script>x" not in html
        assert "&lt;script&gt;" in html


@pytest.mark.parametrize(
    ("words", "name"),
    [("detention time", "detention_time"), ("pounds a day", "mass_rate"), ("gallons in a round tank", "round_volume")],
)
def test_words_that_people_use_find_the_formula(client: Client, words: str, name: str) -> None:
    html = client.get("/figures", params={"q": words}).text
    first = re.findall(r'class="formula" href="/figures/(\w+)"', html)[:8]
    assert any(name in found for found in first), first


def test_the_list_holds_every_formula(client: Client) -> None:
    html = client.get("/figures").text
    assert set(re.findall(r'href="/figures/(\w+)"', html)) == set(formulas())


def test_a_list_argument_takes_one_unit_for_all() -> None:
    listed = [(f, a) for f in formulas().values() for a in f.arguments if isinstance(a.unit, Several)]
    assert listed
    for _, argument in listed:
        unit = argument.unit
        assert unit is not None
        there = unit.display("US")
        text = with_unit(argument, {argument.name: "10 25 50", f"{argument.name}.unit": there})
        assert text == ("10 25 50" if there in ("1", "pH") else f"10 25 50 {there}")
        assert form_field(argument, {}, "US", "").several


def test_a_range_without_width_is_not_shown(client: Client) -> None:
    """Thinning is 1 unless the product allows it: "usually 1.00 to 1.00" would say nothing."""
    html = client.get("/figures/feed_rate").text
    assert "Usually 1.00 to 1.00" not in html
    assert 'id="f-dilution"' in html and "Usually" in html


def test_work_that_can_hurt_comes_with_its_caution(client: Client) -> None:
    assert '<p class="caution">Hypochlorite burns skin and eyes' in client.get("/figures/hypochlorite_volume").text
    assert 'class="caution"' not in client.get("/figures/average").text

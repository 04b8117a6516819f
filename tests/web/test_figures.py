"""Figures: a form for every formula, made from its signature, and the same answers as the command line."""

import re
import shutil
from html import unescape
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from tests.desk.scene import PLANT_FILE
from tests.web.conftest import Client, client_of

from weirhouse import figures
from weirhouse.desk import plant_values
from weirhouse.records.model import Reading
from weirhouse.records.store import Store
from weirhouse.science.quantities import Several
from weirhouse.web import plots
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


# --- the plant's values ------------------------------------------------------------------------------------------


def fill_link(html: str) -> str:
    found = re.search(r'href="([^"]+)">Use the plant&#39;s values|href="([^"]+)">Use the plant\'s values', html)
    assert found is not None
    return unescape(found[1] or found[2])


def test_the_plants_values_are_filled_in_on_asking_and_say_where_they_come_from(client: Client) -> None:
    first = client.get("/figures/feed_rate", params={"dose": "20"}).text
    assert 'class="from-plant"' not in first  # never by themselves
    link = fill_link(first)
    query = parse_qs(urlsplit(link).query)
    filled = client.get(link)
    assert filled.status_code == 200
    assert 'id="answer"' not in filled.text  # and nothing is worked out of them before somebody says so
    flow = re.search(r'name="flow" value="([^"]+)"', filled.text)
    assert flow is not None and [flow[1]] == query["flow"]
    assert 'name="dose" value="20"' in filled.text  # what was typed stays
    source = re.search(r'class="from-plant" id="s-flow">([^<]+)<', filled.text)
    assert source is not None and re.search(r"Plant flow, read 2026-10-31 15:\d\d", source[1])
    newest = re.search(r'class="answer"><span class="fresh">([\d.,]+) gpm', client.get("/history/plant_flow").text)
    assert newest is not None and float(flow[1]) == pytest.approx(float(newest[1]), rel=5e-3)
    other = client.get(link.replace(f"flow={flow[1]}", "flow=77")).text
    assert 'id="s-flow"' not in other  # another figure is not the plant's


def test_several_values_are_offered_and_none_is_filled_in(client: Client) -> None:
    html = unescape(client.get("/figures/detention_time").text)
    assert "volume=" not in fill_link(html)
    offers = dict(re.findall(r'<li><a class="tap" href="([^"]+)">([^<]+)</a>', html))
    assert "24000 gal" in offers.values() and len(offers) >= 2
    link = next(link for link, shown in offers.items() if shown == "24000 gal")
    taken = unescape(client.get(link).text)
    assert 'name="volume" value="24000"' in taken
    assert 'id="s-volume">plant file, train.clearwell.volume = "24000 gal"<' in taken


def test_no_volume_is_offered_where_the_one_at_the_lowest_level_counts(client: Client) -> None:
    html = unescape(client.get("/figures/ct_ratio").text)
    assert "volume=" not in fill_link(html)
    assert "baffling_factor=" not in fill_link(html)  # the plant has two
    assert {"flow", "temperature", "ph", "free_chlorine"} <= set(parse_qs(urlsplit(fill_link(html)).query))


def test_a_reading_that_advice_would_not_stand_on_is_not_offered(demo_copy: Path) -> None:
    with Store.open(demo_copy) as store:
        last = store.span()[1]
        assert last is not None
        reading = Reading(
            channel="contact_ph", value=9.9, taken_at=last, unit="pH", text="9.9", flag="doubtful", person="A. Operator"
        )
        store.add_readings([reading], entered_at=last)
    html = client_of(demo_copy).get("/figures/ct_required").text
    query = parse_qs(urlsplit(fill_link(html)).query)
    assert "ph" not in query and "temperature" in query


def test_the_formulas_work_without_any_records(tmp_path: Path) -> None:
    shutil.copy(PLANT_FILE, tmp_path / "plant.toml")
    answer = client_of(tmp_path).get("/figures/detention_time?volume=12000+gal&flow=150+gpm")
    assert answer.status_code == 200
    assert answer_of(answer.text) == "80.0 min"
    assert "Use the plant" not in answer.text


def test_every_rule_names_an_argument_of_its_subject() -> None:
    asked = {
        (a.name, a.unit.symbol, f.function.__module__.rpartition(".")[2])
        for f in formulas().values() for a in f.arguments if a.unit is not None
    }  # fmt: skip
    for (name, unit), subjects in plant_values._RULES.items():
        for subject in subjects:
            assert (name, unit, subject) in asked


# --- the curve ---------------------------------------------------------------------------------------------------


def curve_of(html: str) -> list[tuple[str, str, str]]:
    table = re.search(r"<h2 id=\"curve\".*?<tbody>(.*?)</tbody>", html, re.DOTALL)
    assert table is not None
    row = r"<tr><th[^>]*>([^<]*)</th><td[^>]*>([^<]*)</td><td>([^<]*)</td></tr>"
    return [(unescape(x), unescape(y), mark) for x, y, mark in re.findall(row, table[1])]


@pytest.mark.parametrize("name", sorted(formulas()))
def test_the_curve_holds_the_answers_of_the_command(name: str) -> None:
    """Each point of the curve is what the formula gives for that input, the present one among them."""
    formula = formulas()[name]
    query = typed(formula)
    try:
        made = figures.calculate(name, {a.name: with_unit(a, query) for a in formula.arguments}, "US")
    except figures.CalculationError:
        return
    for argument in plots.plottable(made)[:2]:
        drawn = plots.plot(made, argument.name, "US")
        assert drawn is not None
        assert list(drawn.x) == sorted(set(drawn.x)) and len(drawn.x) >= plots.POINTS
        present = drawn.x.index(float(made.values[argument.name]))
        assert drawn.y[present] == pytest.approx(made.result, rel=1e-9, nan_ok=True)
        assert sum(here for _, _, here in drawn.rows) == 1
        assert argument.unit is not None
        for i in (0, 20, 40, len(drawn.x) - 1):
            texts = {a.name: with_unit(a, query) for a in formula.arguments}
            texts[argument.name] = f"{drawn.x[i]!r} {argument.unit.symbol}" if argument.unit.symbol not in ("1", "pH") \
                else repr(drawn.x[i])  # fmt: skip
            try:
                there = figures.calculate(name, texts, "US").result
            except figures.CalculationError:
                assert not np.isfinite(drawn.y[i])
                continue
            if np.isfinite(there):
                assert drawn.y[i] == pytest.approx(there, rel=1e-6, abs=1e-12), (name, argument.name, i)


def test_the_curve_is_drawn_against_the_input_that_is_asked_for(client: Client) -> None:
    query = {"volume": "12000", "volume.unit": "gal", "flow": "150", "flow.unit": "gpm", "work": "yes", "plot": "flow"}
    html = client.get("/figures/detention_time", params=query).text
    assert "Detention time against flow" in html
    rows = curve_of(html)
    assert ("150 gpm", "80.0 min", "worked out above") in rows
    assert len(rows) >= 12
    for x, y, _ in rows:
        gpm, minutes = (float(text.split()[0].replace(",", "")) for text in (x, y))
        assert gpm * minutes == pytest.approx(12000, rel=1.1e-2)  # both to three digits
    assert html.count('<svg viewBox="0 0 900 340" class="chart desk-only" aria-hidden="true"') == 1
    other = client.get("/figures/detention_time", params={**query, "plot": "nonsense"}).text
    assert "Detention time against volume" in other
    assert "#curve" in other and "plot=flow" in unescape(other)


def test_there_is_no_curve_without_an_answer(client: Client) -> None:
    for path in ("/figures/detention_time", "/figures/detention_time?volume=tea&work=yes"):
        assert 'id="curve"' not in client.get(path).text

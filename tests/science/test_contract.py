"""Every formula of the science room, found from the package, keeps the same promises.

Inputs are drawn from the range that each argument declares, so a range that leads nowhere fails here too.
"""

import importlib
import inspect
import itertools
import math
import pkgutil
import re
from typing import Any

import numpy as np
import pytest

import weirhouse.science
from weirhouse.quantity import factor, label
from weirhouse.science.quantities import Several
from weirhouse.sheets import evaluate, last_digit, number, written
from weirhouse.working import Argument, Formula, formulas, recording

ALL = formulas()
DRAWS = 24
NUMPY_NAMES = {
    "sqrt": np.sqrt,
    "exp": np.exp,
    "ln": np.log,
    "log10": np.log10,
    "min": np.minimum,
    "max": np.maximum,
    "abs": np.abs,
    "pi": np.pi,
}

every_formula = pytest.mark.parametrize("formula", ALL.values(), ids=ALL)


def is_number(argument: Argument) -> bool:
    return argument.unit is not None and not isinstance(argument.unit, Several)


def draw(argument: Argument, random: np.random.Generator) -> Any:
    """Return a value from the declared range: a number, or for several values a rising list."""
    unit = argument.unit
    assert unit is not None and unit.low is not None and unit.high is not None
    if isinstance(unit, Several):
        return sorted(float(v) for v in random.uniform(unit.low, unit.high, 6))
    if unit.low > 0 and unit.high / unit.low > 20:
        return float(math.exp(random.uniform(math.log(unit.low), math.log(unit.high))))
    return float(random.uniform(unit.low, unit.high))


def samples(formula: Formula) -> list[tuple[dict[str, Any], float]]:
    """Return accepted inputs with their answers, over every combination of choices."""
    random = np.random.default_rng(sum(map(ord, formula.name)))
    chosen = [[(a.name, choice) for choice in a.choices] for a in formula.arguments if a.unit is None]
    found = []
    for combination in itertools.product(*chosen):
        for _ in range(DRAWS):
            values = dict(combination) | {a.name: draw(a, random) for a in formula.arguments if a.unit is not None}
            try:
                found.append((values, formula.function(**values)))
            except ValueError:
                continue
    return found


def same_choices(formula: Formula, cases: list[tuple[dict[str, Any], float]]) -> dict[Any, list[Any]]:
    """Return the cases by their choices and their lists, which an array call shares."""
    groups: dict[Any, list[Any]] = {}
    for values, answer in cases:
        key = tuple(
            (a.name, tuple(values[a.name]) if isinstance(values[a.name], list) else values[a.name])
            for a in formula.arguments
            if not is_number(a)
        )
        groups.setdefault(key, []).append((values, answer))
    return groups


def test_there_are_formulas_to_hold_to_it():
    assert len(ALL) > 100


@every_formula
def test_arguments_and_result_declare_units_and_ranges(formula: Formula):
    for argument in formula.arguments:
        if argument.unit is None:
            assert argument.choices, f"{argument.name} has neither a unit nor choices"
            continue
        assert argument.unit.low is not None and argument.unit.high is not None, argument.name
        assert argument.unit.low <= argument.unit.high, argument.name
    for unit in [formula.result, *(a.unit for a in formula.arguments if a.unit is not None)]:
        for unit_set in ("US", "SI"):
            display = unit.display(unit_set)
            if unit.symbol == "degC":
                assert display in ("degC", "degF")
            else:
                assert factor(display, unit.symbol) > 0


@every_formula
def test_most_of_the_declared_range_is_accepted(formula: Formula):
    chosen = [a.choices for a in formula.arguments if a.unit is None]
    possible = DRAWS * math.prod(len(c) for c in chosen)
    accepted = samples(formula)
    assert len(accepted) >= possible / (2 ** len(chosen)) * 0.5, f"{len(accepted)} of {possible} draws accepted"
    assert all(math.isfinite(answer) for _, answer in accepted)


@every_formula
def test_a_scalar_gives_a_scalar_and_an_array_the_same_numbers(formula: Formula):
    cases = samples(formula)
    assert all(isinstance(answer, float) for _, answer in cases)
    if not any(is_number(a) for a in formula.arguments):
        return  # several values in, one figure out: there is no array of arrays
    for group in same_choices(formula, cases).values():
        arrays = {
            a.name: np.array([values[a.name] for values, _ in group]) if is_number(a) else group[0][0][a.name]
            for a in formula.arguments
        }
        answers = np.array([answer for _, answer in group])
        result = formula.function(**arrays)
        assert np.shape(result) == answers.shape
        np.testing.assert_allclose(result, answers, rtol=1e-9, atol=1e-300)


@every_formula
def test_a_gap_in_gives_a_gap_out(formula: Formula):
    for values, answer in samples(formula)[:: max(1, DRAWS // 4)]:
        for argument in formula.arguments:
            if argument.unit is None:
                continue
            if isinstance(argument.unit, Several):
                with_gap = values | {argument.name: [*values[argument.name][:-1], math.nan]}
                try:
                    assert math.isnan(formula.function(**with_gap)), argument.name
                except ValueError:
                    continue  # a curve with a gap is refused
                continue
            if ignores(formula, values, argument, answer):
                continue
            assert math.isnan(formula.function(**values | {argument.name: math.nan})), argument.name


def ignores(formula: Formula, values: dict[str, Any], argument: Argument, answer: float) -> bool:
    """Return whether a choice leaves this argument without influence, so that a gap in it is no gap in the answer."""
    if all(a.unit is not None for a in formula.arguments):
        return False
    random = np.random.default_rng(1)
    return all(formula.function(**values | {argument.name: draw(argument, random)}) == answer for _ in range(8))


@every_formula
def test_a_gap_in_an_array_stays_in_its_place(formula: Formula):
    numbers = [a for a in formula.arguments if is_number(a)]
    cases = samples(formula)
    if not numbers or len(cases) < 2:
        return
    for argument in numbers:
        for group in same_choices(formula, cases).values():
            if len(group) < 2 or ignores(formula, group[0][0], argument, group[0][1]):
                continue
            arrays = {
                a.name: np.array([values[a.name] for values, _ in group[:2]]) if is_number(a) else group[0][0][a.name]
                for a in formula.arguments
            }
            arrays[argument.name][0] = math.nan
            result = formula.function(**arrays)
            assert np.isnan(result[0]) and result[1] == pytest.approx(group[1][1], rel=1e-9)


@every_formula
def test_the_expression_is_what_is_computed(formula: Formula):
    if formula.expression is None:
        assert formula.method
        return
    names = {a.name for a in formula.arguments}
    words = set(re.findall(r"[A-Za-z_]\w*", re.sub(r"\d[\d.]*e[-+]?\d+", "", formula.expression)))
    assert words - names <= set(NUMPY_NAMES), "an expression uses its arguments and the usual functions only"
    numbers = {a.name for a in formula.arguments if a.unit is not None}
    assert numbers <= words, "an expression uses every number that goes in"
    for values, answer in samples(formula):
        shown = evaluate(formula.expression, values, NUMPY_NAMES)
        assert float(shown) == pytest.approx(answer, rel=1e-9, abs=1e-300)


def sections(doc: str) -> dict[str, str]:
    parts = re.split(r"^(\w[\w ]*)\n-{4,}\n", doc, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True)) | {"": parts[0]}


def spelled(unit: str) -> str:
    return unit.replace("³", "^3").replace("²", "^2").replace("·", "*").replace("[-]", "[1]")


@every_formula
def test_the_docstring_is_complete_and_its_units_are_the_signatures(formula: Formula):
    found = sections(formula.doc)
    first = formula.doc.split("\n")[0]
    assert re.match(r"Return .+[^.]\.$|Return .+:\s", first), "the first line is a sentence: Return ..."
    assert {"Parameters", "Returns", "Examples", "References"} <= set(found)
    assert ">>>" in found["Examples"]
    assert found["References"].strip() and formula.reference.strip()
    entries = re.findall(r"^(\w+) : (.+(?:\n    .+)*)", found["Parameters"], flags=re.MULTILINE)
    assert [name for name, _ in entries] == [a.name for a in formula.arguments]
    for (name, text), argument in zip(entries, formula.arguments, strict=True):
        if argument.unit is not None:
            assert spelled(text).endswith(f"[{argument.unit.symbol}]"), name
    assert f"[{formula.result.symbol}]" in spelled(found["Returns"])


@every_formula
def test_a_formula_that_refuses_says_when(formula: Formula):
    """Push one argument at a time far out; whoever refuses has a section Raises and says it in words with the value."""
    cases = samples(formula)
    for argument in (a for a in formula.arguments if is_number(a)):
        for wrong in (-1e12, 0.0, 1e12):
            try:
                with np.errstate(all="ignore"):
                    formula.function(**cases[0][0] | {argument.name: wrong})
            except ValueError as refusal:
                assert "Raises" in sections(formula.doc), str(refusal)
                assert re.search(r"; .* (is|are|has) ", str(refusal)), str(refusal)
            except (OverflowError, ZeroDivisionError):
                pytest.fail(f"{argument.name} = {wrong:g} ends in an arithmetic error instead of words")


@every_formula
def test_titles_are_in_words(formula: Formula):
    assert formula.title and "_" not in formula.title and (formula.title[0].isupper() or formula.title.startswith("pH"))
    assert sum(other.title == formula.title for other in ALL.values()) == 1, "two formulas share a title"


@every_formula
def test_a_dose_turned_into_product_states_its_basis_without_default(formula: Formula):
    names = [a.name for a in formula.arguments]
    if "basis" in names:
        basis = formula.arguments[names.index("basis")]
        assert basis.required and basis.choices
    if "strength" in names and "dose" in names and formula.name.startswith(("feed", "product_dose", "aluminium")):
        assert "basis" in names or formula.name == "product_dose_from_active"


def test_every_public_function_of_the_science_room_with_units_is_a_formula_or_a_helper():
    """A function annotated with units but not declared would be missing from Figures."""
    forgotten = []
    for info in pkgutil.iter_modules(weirhouse.science.__path__):
        module = importlib.import_module(f"weirhouse.science.{info.name}")
        for name, item in inspect.getmembers(module, inspect.isfunction):
            if name.startswith("_") or item.__module__ != module.__name__ or hasattr(item, "formula"):
                continue
            hints = inspect.signature(item, eval_str=False).return_annotation
            if getattr(hints, "__metadata__", None):
                forgotten.append(f"{info.name}.{name}")
    assert not forgotten


def pencil(substituted: str, labels: set[str]) -> float:
    """Recompute a printed line from its characters alone: thousands commas and units off, signs to operators."""
    text = re.sub(r"(?<=\d),(?=\d{3})", "", substituted)
    for unit in sorted(labels - {""}, key=len, reverse=True):
        text = re.sub(rf"(?<=\d) ?{re.escape(unit)}(?![\w/])", "", text)
    for sign, operator in (("×", "*"), ("÷", "/"), ("−", "-"), ("^", "**")):
        text = text.replace(sign, operator)
    return float(evaluate(text, {}))


@every_formula
def test_the_printed_figures_give_the_printed_answer(formula: Formula):
    public = getattr(importlib.import_module(formula.function.__module__), formula.name)
    units = [formula.result, *(a.unit for a in formula.arguments if a.unit is not None)]
    required = {a.name for a in formula.arguments if a.required}
    for values, _ in samples(formula)[:4]:
        for given in (values, {name: value for name, value in values.items() if name in required}):
            try:
                with recording() as sheet:
                    public(**given)
            except ValueError:
                continue  # the usual values of what was left out do not go with the rest
            for unit_set in ("US", "SI"):
                assert formula.title in sheet.text(unit_set) and sheet.html(unit_set) and sheet.json(unit_set)
                if formula.expression is None:
                    continue
                printed = written(sheet.lines[0], unit_set)
                labels = {label(u.display(unit_set)) for u in units} | {label(u.symbol) for u in units}
                shown = printed.answer.split(" = ")[0].split(" ")[0]
                found = pencil(printed.substituted, labels)
                assert found == pytest.approx(number(shown), abs=1.0001 * last_digit(shown), rel=0), printed

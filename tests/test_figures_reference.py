"""The reference pages of the formulas are those that their declarations make."""

import re

import pytest
from tools.figures_reference import FOLDER, pages, plots

from weirhouse.science.quantities import Several
from weirhouse.working import formulas

NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e[-+]?\d+)?")


def test_the_pages_are_not_stale():
    """If this fails: python -m tools.figures_reference"""
    made = pages()
    assert {p.name for p in FOLDER.glob("*.md")} == set(made)
    stale = [name for name, text in made.items() if (FOLDER / name).read_text("utf-8") != text]
    assert not stale


def test_the_pictures_are_not_stale():
    """Coordinates may differ in the last printed digit between processors; nothing else may."""
    made = plots()
    assert {p.name for p in (FOLDER / "plots").glob("*.svg")} == set(made)
    for name, picture in made.items():
        kept = (FOLDER / "plots" / name).read_text("utf-8")
        assert NUMBER.sub("", kept) == NUMBER.sub("", picture), name
        assert [float(n) for n in NUMBER.findall(kept)] == pytest.approx(
            [float(n) for n in NUMBER.findall(picture)], abs=0.2
        ), name


def test_nearly_every_formula_has_a_picture():
    lacking = set(formulas()) - {name.removesuffix(".svg") for name in plots()}
    numbers = {
        n
        for n in lacking
        if any(a.unit is not None and not isinstance(a.unit, Several) for a in formulas()[n].arguments)
    }
    assert len(numbers) <= len(formulas()) // 50, numbers


def test_every_formula_has_its_place():
    text = "".join(pages().values())
    assert all(f"`{name}`: " in text for name in formulas())

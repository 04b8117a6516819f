"""The reference pages of the formulas are those that their declarations make."""

from tools.figures_reference import FOLDER, pages

from weirhouse.working import formulas


def test_the_pages_are_not_stale():
    """If this fails: python -m tools.figures_reference"""
    made = pages()
    assert {p.name for p in FOLDER.glob("*.md")} == set(made)
    stale = [name for name, text in made.items() if (FOLDER / name).read_text("utf-8") != text]
    assert not stale


def test_every_formula_has_its_place():
    text = "".join(pages().values())
    assert all(f"`{name}`: " in text for name in formulas())

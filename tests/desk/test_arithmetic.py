"""The desk works numbers out through worked formulas alone, so that every number can show its working.

The rule reads the syntax tree. Allowed besides: putting text, tuples and lists together, times of the clock, and
choosing one of several values (the least, the greatest, the middle one).
"""

import ast
from pathlib import Path

import pytest

import weirhouse.desk

FOLDER = Path(weirhouse.desk.__file__).parent
# They draw where water is: their numbers are places on a picture, and no advice stands on them.
PICTURES = {"timetable.py", "lanes.py"}
FILES = sorted(path for path in FOLDER.glob("*.py") if path.name not in PICTURES)
ARITHMETIC = (ast.Add, ast.Sub, ast.Mult, ast.Div, ast.FloorDiv, ast.Mod, ast.Pow, ast.MatMult)
SUMS = {"sum", "fsum", "prod", "pow", "divmod", "mean", "average", "dot", "sqrt", "exp", "log", "log10"}
CLOCK = {"timedelta", "combine", "later"}  # what gives a time or a span of the clock


def is_text(node: ast.expr) -> bool:
    """Whether an expression is text, a tuple or a list, by its form."""
    if isinstance(node, ast.Constant):
        return isinstance(node.value, str)
    if isinstance(node, ast.JoinedStr | ast.Tuple | ast.List | ast.ListComp):
        return True
    if isinstance(node, ast.BoolOp):
        return any(is_text(value) for value in node.values)
    if isinstance(node, ast.IfExp):
        return is_text(node.body) or is_text(node.orelse)
    if isinstance(node, ast.BinOp):
        return isinstance(node.op, ast.Add) and (is_text(node.left) or is_text(node.right))
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        return node.func.attr in {"join", "replace", "lower", "upper", "capitalize", "strip"}
    return isinstance(node, ast.Subscript) and isinstance(node.slice, ast.Slice)  # text[1:], demands[hour:]


def is_clock(node: ast.expr) -> bool:
    """Whether an expression is a time or a span of the clock, by its form."""
    if isinstance(node, ast.Call):
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        return name in CLOCK
    return isinstance(node, ast.BinOp) and (is_clock(node.left) or is_clock(node.right))


def is_written(node: ast.expr) -> bool:
    """Whether an expression is made of written numbers alone: 3 * 3600."""
    if isinstance(node, ast.Constant):
        return isinstance(node.value, int | float)
    return isinstance(node, ast.BinOp) and is_written(node.left) and is_written(node.right)


def faults(source: str) -> list[str]:
    """Return the places where numbers are worked out beside the worked formulas."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.BinOp) and isinstance(node.op, ARITHMETIC):
            if is_text(node) or is_clock(node) or is_written(node):
                continue
            found.append(f"line {node.lineno}: {ast.unparse(node)}")
        elif isinstance(node, ast.AugAssign) and isinstance(node.op, ARITHMETIC):
            if not is_text(node.value):
                found.append(f"line {node.lineno}: {ast.unparse(node)}")
        elif isinstance(node, ast.Call):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if name in SUMS:
                found.append(f"line {node.lineno}: {ast.unparse(node)}")
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_numbers_come_from_worked_formulas(path):
    assert faults(path.read_text(encoding="utf-8")) == []


def test_all_that_makes_advice_is_looked_at():
    assert len(FILES) > 15
    for name in PICTURES:
        assert "Advice" not in (FOLDER / name).read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "planted",
    [
        "dose = 1.1 * turbidity",
        "left = (limit - level) / rise",
        "total += flow * 3600",
        "share = over / len(values)",
        "hours = left // 3600",
        "volume = sum(tank.volume for tank in tanks)",
        "total -= 1",
        "count += 1",
        "found = flow ** 2",
    ],
)
def test_a_number_worked_out_beside_them_is_found(planted):
    assert faults(planted)


@pytest.mark.parametrize(
    "fine",
    [
        'action += f" Call {name}."',
        "lines = [*first] + [second]",
        "end = start + timedelta(days=1)",
        "WEEK = 7 * 24",
        "kept: float | None = None",
        'text = text[0].upper() + text[1:] + "."',
        "left = -1.0",
    ],
)
def test_text_and_times_may_be_put_together(fine):
    assert faults(fine) == []

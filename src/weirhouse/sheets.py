"""How is the working written down? Sheets as text, HTML and data, in figures that a pencil can follow.

The printed figures give the printed answer within its last digit: the digits of the inputs and of the trade constants
(8.34, 7.48, 1440 ...) are chosen as few as that allows. Where the expression does not carry over into the plant's own
units, the inputs are first turned into the inside units, and the answer back.
"""

import ast
import bisect
import functools
import html
import itertools
import math
import random
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from weirhouse.quantity import QuantityError, convert, figure, label

if TYPE_CHECKING:
    from weirhouse.working import Line, Sheet

_NAMES: dict[str, Any] = {
    "sqrt": math.sqrt,
    "exp": math.exp,
    "ln": math.log,
    "log10": math.log10,
    "min": min,
    "max": max,
    "abs": abs,
    "pi": math.pi,
}

# (as the trade prints it, exact value, with more digits, what it is, in which unit sets)
_TRADE = (
    ("8.34", 8.345404452, "8.3454", "lb/gal of water: mg/L × MGD to lb/day", "US"),
    ("7.48", 7.480519480519481, "7.4805", "gal/ft³", "US"),
    ("2.31", 2.306658, "2.3067", "ft of water per psi", "US"),
    ("694.4", 694.4444444444445, "694.444", "gpm per MGD", "US"),
    ("3785", 3785.411784, "3785.41", "mL/gal", "US"),
    ("3.785", 3.785411784, "3.78541", "L/gal", "US"),
    ("453.6", 453.59237, "453.592", "g/lb", "US"),
    ("43,560", 43560.0, "43,560", "ft²/acre", "US"),
    ("12", 12.0, "12", "in/ft", "US"),
    ("1440", 1440.0, "1440", "min/day", "US SI"),
    ("3600", 3600.0, "3600", "s/h", "US SI"),
    ("60", 60.0, "60", "s/min or min/h", "US SI"),
    ("24", 24.0, "24", "h/day", "US SI"),
    ("100", 100.0, "100", "percent", "US SI"),
    ("1000", 1000.0, "1000", "g/kg, L/m³ or mm/m", "US SI"),
    ("1,000,000", 1e6, "1,000,000", "million", "US SI"),
    ("86.4", 86.4, "86.4", "g/s to kg/day, L/s to m³/day", "SI"),
    ("3.6", 3.6, "3.6", "L/s to m³/h", "SI"),
)


@functools.lru_cache(maxsize=1024)
def compiled(expression: str) -> Any:
    """Return the expression as code; it holds arithmetic, names and the functions of `_NAMES`, nothing else."""
    tree = ast.parse(expression, mode="eval")
    for node in ast.walk(tree):
        if not isinstance(
            node,
            ast.Expression
            | ast.BinOp
            | ast.UnaryOp
            | ast.Name
            | ast.Constant
            | ast.Call
            | ast.operator
            | ast.unaryop
            | ast.Load,
        ):
            raise TypeError(f"{expression}: an expression holds arithmetic only, not {type(node).__name__}")
    return compile(tree, "<expression>", "eval")


def evaluate(expression: str, values: dict[str, Any], names: dict[str, Any] | None = None) -> Any:
    """Return the value of an expression over `values`; `names` replaces the functions (numpy's, for arrays)."""
    # The code comes from our own declarations and was checked node by node in `compiled`.
    return eval(compiled(expression), {"__builtins__": {}}, {**(names or _NAMES), **values})  # noqa: S307


@dataclass(frozen=True, slots=True)
class Printed:
    """A line ready to be written: every figure as text."""

    inputs: tuple[tuple[str, str, str, str], ...]  # name, figure with unit, in the inside unit or "", source
    expression: str
    substituted: str
    answer: str
    constants: tuple[str, ...]


def short(value: float, digits: int) -> str:
    """Return a number to at most `digits` significant digits without zeros that say nothing."""
    text = figure(value, digits)
    if "e" in text:
        mantissa, exponent = text.split("e")
        return f"{mantissa.rstrip('0').rstrip('.') if '.' in mantissa else mantissa}e{exponent}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def number(text: str) -> float:
    """Return the number that a printed figure shows."""
    return float(text.replace(",", ""))


def last_digit(text: str) -> float:
    """Return the worth of the last printed digit of a figure."""
    mantissa, _, exponent = text.replace(",", "").partition("e")
    decimals = len(mantissa.partition(".")[2])
    return float(10.0 ** (int(exponent or 0) - decimals))


@functools.lru_cache(maxsize=2)
def _products(unit_set: str) -> tuple[list[float], list[tuple[tuple[int, int], ...]]]:
    """Return every product of up to three trade constants as its logarithm, rising, and what it is made of."""
    usable = [i for i, entry in enumerate(_TRADE) if unit_set in entry[4]]
    parts = {(i, sign): sign * math.log(_TRADE[i][1]) for i in usable for sign in (1, -1)}
    found = []
    for count in (1, 2, 3):
        for made in itertools.combinations(parts, count):
            if len({i for i, _ in made}) == count:
                found.append((sum(parts[p] for p in made), count, made))
    found.sort()
    return [log for log, _, _ in found], [made for _, _, made in found]


@functools.lru_cache(maxsize=4096)
def _trade_constants(ratio: float, unit_set: str) -> tuple[tuple[int, int], ...] | None:
    """Return up to three trade constants (index, power +1 or -1) whose product is `ratio`, as few as will do."""
    logs, made = _products(unit_set)
    low, high = (bisect.bisect(logs, math.log(ratio) + d) for d in (-2e-7, 2e-7))
    return min(made[low:high], key=len, default=None)


@functools.lru_cache(maxsize=1024)
def _factored(expression: str) -> tuple[str, float]:
    """Return the expression without the plain numbers that multiply or divide the whole, and their product."""
    worth = 1.0

    def strip(node: ast.expr) -> ast.expr | None:
        nonlocal worth
        if isinstance(node, ast.Constant):
            worth *= float(node.value)  # type: ignore[arg-type]  # compiled() lets numbers only through
            return None
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mult):
            left, right = strip(node.left), strip(node.right)
            if left is None or right is None:
                return left or right
            return ast.BinOp(left, ast.Mult(), right)
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Div):
            left = strip(node.left)
            if isinstance(node.right, ast.Constant):
                worth /= float(node.right.value)  # type: ignore[arg-type]
                return left
            return ast.BinOp(left or ast.Constant(1), ast.Div(), node.right)
        return node

    tree = strip(ast.parse(expression, mode="eval").body)
    return (ast.unparse(tree), worth) if tree is not None else (expression, 1.0)


def _ratio(
    expression: str, shown: dict[str, float], inside: dict[str, tuple[str, str]], result: tuple[str, str]
) -> float | None:
    """Return K with ``answer = K * expression`` in the shown units, or None where there is no such constant."""
    rng = random.Random(4)  # noqa: S311  # probes, not secrets
    ratios = []
    for probe in range(6):
        here = {n: v * (1 if probe == 0 else rng.uniform(0.6, 1.5)) for n, v in shown.items()}
        there = {n: float(convert(v, inside[n][1], inside[n][0])) for n, v in here.items()}
        try:
            direct = evaluate(expression, here)
            truth = float(convert(evaluate(expression, there), *result))
        except (ArithmeticError, ValueError, TypeError):
            return None
        if not isinstance(direct, int | float) or not direct or not math.isfinite(direct) or not math.isfinite(truth):
            return None
        ratios.append(truth / direct)
    spread = max(ratios) - min(ratios)
    return ratios[0] if spread <= 1e-9 * abs(ratios[0]) and ratios[0] > 0 else None


def _substitute(expression: str, texts: dict[str, str]) -> str:
    """Return the expression with figures for names, and the signs people write."""

    def word(match: re.Match[str]) -> str:
        found = match.group(0)
        text = texts.get(found, found)
        return f"({text})" if text.startswith("-") else text

    signs = expression.replace("**", "^").replace("*", "×").replace("/", "÷").replace("-", "−")
    return re.sub(r"[A-Za-z_][A-Za-z_0-9]*", word, signs)


def _constant_text(ratio: float, unit_set: str, digits: int) -> tuple[str, float, tuple[str, ...]]:
    """Return how the conversion is printed, what it is worth as printed, and what its constants are."""
    if abs(ratio - 1) < 1e-12:
        return "", 1.0, ()
    found = _trade_constants(ratio, unit_set)
    if found is None:
        text = short(ratio, max(5, digits + 1))
        return f" × {text}", number(text), ()
    text, worth, meanings = "", 1.0, []
    for index, sign in sorted(found, key=lambda f: -f[1]):
        entry = _TRADE[index]
        printed = entry[0] if digits <= 4 else entry[2] if digits <= 6 else short(entry[1], 13)
        text += (" × " if sign > 0 else " ÷ ") + printed
        worth *= number(printed) ** sign
        meanings.append(f"{printed}: {entry[3]}")
    return text, worth, tuple(meanings)


def _lines(lines: "list[Line]") -> set[int]:
    """Return the identities of lines and of all lines below them."""
    return {id(line) for line in lines}.union(*(_lines(line.lines) for line in lines))


def _source(source: Any, here: set[int] | None) -> str:
    """Return where a number comes from; a line of another sheet has no number that could be looked up on this one."""
    line = getattr(source, "line", None)
    if line is not None and here is not None and id(line) not in here:
        return f"from {line.formula.title.lower()}, worked out on a sheet of its own"
    return str(source) if source is not None else ""


def written(line: "Line", unit_set: str, here: set[int] | None = None) -> Printed:
    """Return a line in figures that give its printed answer within the last digit; `here` are the sheet's lines."""
    formula = line.formula
    arguments = {a.name: a for a in formula.arguments}
    result_unit = formula.result
    scalars: dict[str, float] = {}
    others: dict[str, str] = {}
    for item in line.inputs:
        argument = arguments[item.name]
        if isinstance(item.value, bool) or not isinstance(item.value, int | float) or argument.unit is None:
            others[item.name] = _listed(
                item.value, argument.unit.display(unit_set) if argument.unit else "", argument.unit
            )
        else:
            scalars[item.name] = float(item.value)
    units = {n: (a.unit.symbol, a.unit.display(unit_set)) for n, a in arguments.items() if a.unit is not None}
    shown = {n: float(convert(v, *units[n])) for n, v in scalars.items()}
    there = result_unit.display(unit_set)
    plain_answer = not isinstance(line.result, bool) and isinstance(line.result, int | float)
    answer_value = float(convert(float(line.result), result_unit.symbol, there)) if plain_answer else math.nan
    answer = figure(answer_value, 3) if plain_answer else _listed(line.result, there, result_unit)
    answer_text = f"{answer} {label(there)}".strip() if plain_answer else answer
    sources = {i.name: _source(i.source, here) for i in line.inputs}

    def rows(texts: dict[str, str], turned: dict[str, str]) -> tuple[tuple[str, str, str, str], ...]:
        found = []
        for item in line.inputs:
            if item.name in others:
                found.append((item.name, others[item.name], "", sources[item.name]))
            else:
                unit = label(units[item.name][1])
                found.append(
                    (item.name, f"{texts[item.name]} {unit}".strip(), turned.get(item.name, ""), sources[item.name])
                )
        return tuple(found)

    expression = formula.expression
    named = set(re.findall(r"[A-Za-z_][A-Za-z_0-9]*", expression or ""))  # a choice may stand beside an expression
    usable = plain_answer and not named & set(others) and all(math.isfinite(v) for v in shown.values())
    if not usable or expression is None or not math.isfinite(answer_value):
        texts = {n: short(v, 4) for n, v in shown.items()}
        return Printed(rows(texts, {}), formula.method or expression or "", "", answer_text, ())
    names = named & set(shown)
    ratio = _ratio(expression, shown, {n: units[n] for n in shown}, (result_unit.symbol, there))
    bare, folded = (expression, 1.0) if ratio is None or abs(ratio - 1) < 1e-12 else _factored(expression)
    for digits in range(3, 17):
        texts = {n: short(v, digits) for n, v in shown.items()}
        if ratio is not None:
            constant, worth, meanings = _constant_text(ratio * folded, unit_set, digits)
            pencil = _pencil(bare, {n: number(texts[n]) for n in shown}, worth)
            if pencil is not None and (abs(pencil - number(answer)) <= 0.999 * last_digit(answer) or digits == 16):
                body = _substitute(bare, {n: _with_unit(texts[n], units[n][1]) for n in names})
                body = f"({body}){constant}" if constant and re.search(r" [+−] ", body) else body + constant
                return Printed(rows(texts, {}), expression, body, answer_text, meanings)
        else:
            turned = {n: short(scalars[n], digits) for n in scalars}
            pencil = _pencil(expression, {n: number(turned[n]) for n in scalars}, 1.0)
            if pencil is None:
                break
            result_text = short(pencil, max(digits, 4))
            back = float(convert(number(result_text), result_unit.symbol, there))
            if abs(back - number(answer)) <= 0.999 * last_digit(answer) or digits == 16:
                body = _substitute(expression, {n: turned[n] for n in names})
                steps = {n: f"{turned[n]} {label(units[n][0])}".strip() for n in scalars if units[n][0] != units[n][1]}
                if there != result_unit.symbol:
                    answer_text = f"{result_text} {label(result_unit.symbol)} = {answer_text}"
                return Printed(rows(texts, steps), expression, body, answer_text, ())
    texts = {n: short(v, 6) for n, v in shown.items()}
    return Printed(rows(texts, {}), expression, "", answer_text, ())


def _with_unit(text: str, unit: str) -> str:
    return f"{text} {label(unit)}".strip()


def _pencil(expression: str, values: dict[str, float], worth: float) -> float | None:
    try:
        return float(evaluate(expression, values)) * worth
    except (ArithmeticError, ValueError, TypeError):
        return None


def _listed(value: Any, display: str, unit: Any) -> str:
    """Return a choice, a list or an array in words."""
    if unit is None or isinstance(value, str | bool):
        return {True: "yes", False: "no"}.get(value, str(value)) if isinstance(value, bool) else str(value)
    try:
        items = [float(convert(float(v), unit.symbol, display)) for v in value]
    except (TypeError, ValueError, QuantityError):
        return str(value)
    shown = ", ".join(short(v, 4) for v in items[:12]) + (", ..." if len(items) > 12 else "")
    return f"{shown} {label(display)}".strip()


def as_text(sheet: "Sheet", unit_set: str) -> str:
    """Return a sheet as plain text."""
    rows: list[str] = []
    here = _lines(sheet.lines)
    for line in sheet.lines:
        rows += _text(line, unit_set, "", here)
    rows += [f"Note: {n}" for n in sheet.notes]
    return "\n".join(rows)


def _text(line: "Line", unit_set: str, indent: str, here: set[int]) -> list[str]:
    printed = written(line, unit_set, here)
    pad = indent + "   "
    rows = [f"{indent}{line.number}. {line.formula.title} = {printed.answer}"]
    if printed.expression:
        rows.append(f"{pad}{printed.expression}")
    if printed.substituted:
        rows.append(f"{pad}= {printed.substituted} = {printed.answer}")
    for name, text, turned, source in printed.inputs:
        via = f" = {turned}" if turned else ""
        rows.append(f"{pad}{name}: {text}{via}" + (f"   ({source})" if source else ""))
    rows += [f"{pad}{meaning}" for meaning in printed.constants]
    rows += [f"{pad}Note: {n}" for n in line.notes]
    rows.append(f"{pad}Reference: {line.formula.reference}")
    for below in line.lines:
        rows += _text(below, unit_set, pad, here)
    return rows


def as_html(sheet: "Sheet", unit_set: str) -> str:
    """Return a sheet as HTML: an ordered list of lines, no style attributes, everything escaped."""
    notes = "".join(f'<p class="sheet-note">{html.escape(n)}</p>' for n in sheet.notes)
    here = _lines(sheet.lines)
    return '<ol class="sheet">' + "".join(_html(line, unit_set, here) for line in sheet.lines) + "</ol>" + notes


def _html(line: "Line", unit_set: str, here: set[int]) -> str:
    printed = written(line, unit_set, here)
    e = html.escape
    out = [
        f'<li class="sheet-line"><p class="sheet-title">{e(line.formula.title)} = '
        f"<strong>{e(printed.answer)}</strong></p>"
    ]
    if printed.expression:
        out.append(f'<p class="sheet-expression">{e(printed.expression)}</p>')
    if printed.substituted:
        out.append(f'<p class="sheet-figures">= {e(printed.substituted)} = {e(printed.answer)}</p>')
    if printed.inputs:
        out.append('<dl class="sheet-inputs">')
        for name, text, turned, source in printed.inputs:
            via = f" = {e(turned)}" if turned else ""
            why = f' <span class="sheet-source">{e(source)}</span>' if source else ""
            out.append(f"<dt>{e(name.replace('_', ' '))}</dt><dd>{e(text)}{via}{why}</dd>")
        out.append("</dl>")
    out += [f'<p class="sheet-constant">{e(m)}</p>' for m in printed.constants]
    out += [f'<p class="sheet-note">{e(n)}</p>' for n in line.notes]
    out.append(f'<p class="sheet-reference">{e(line.formula.reference)}</p>')
    if line.lines:
        out.append('<ol class="sheet">' + "".join(_html(below, unit_set, here) for below in line.lines) + "</ol>")
    out.append("</li>")
    return "".join(out)


def as_json(sheet: "Sheet", unit_set: str) -> dict[str, Any]:
    """Return a sheet as data that JSON holds; numbers that are not finite become null."""
    here = _lines(sheet.lines)
    return {"lines": [_json(line, unit_set, here) for line in sheet.lines], "notes": list(sheet.notes)}


def _json(line: "Line", unit_set: str, here: set[int]) -> dict[str, Any]:
    printed = written(line, unit_set, here)
    arguments = {a.name: a for a in line.formula.arguments}

    def data(value: Any, unit: Any) -> Any:
        if unit is None or isinstance(value, str | bool):
            return value
        try:
            turned = convert(value, unit.symbol, unit.display(unit_set))
            if hasattr(turned, "tolist"):
                turned = turned.tolist()
        except (TypeError, QuantityError):
            return str(value)
        if isinstance(turned, list | tuple):
            return [v if isinstance(v, int | float) and math.isfinite(v) else None for v in turned]
        return float(turned) if math.isfinite(turned) else None

    inputs = []
    for item in line.inputs:
        unit = arguments[item.name].unit
        inputs.append(
            {
                "name": item.name,
                "value": data(item.value, unit),
                "unit": unit.display(unit_set) if unit else "",
                "source": _source(item.source, here),
            }
        )
    unit = line.formula.result
    return {
        "number": line.number,
        "formula": line.formula.name,
        "title": line.formula.title,
        "expression": line.formula.expression,
        "method": line.formula.method,
        "figures": printed.substituted,
        "answer": printed.answer,
        "inputs": inputs,
        "result": {"value": data(line.result, unit), "unit": unit.display(unit_set)},
        "reference": line.formula.reference,
        "notes": list(line.notes),
        "lines": [_json(below, unit_set, here) for below in line.lines],
    }

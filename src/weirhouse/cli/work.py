"""How does one work out a formula in a terminal?"""

from typing import Any

import click

from weirhouse.cli.options import json_option, print_json
from weirhouse.quantity import convert


@click.command()
@click.argument("name", required=False)
@click.argument("fields", nargs=-1, metavar="[key=value ...]")
@click.option("--list", "as_list", is_flag=True, help="List the formulas; with words, those that answer to them.")
@click.option("--units", type=click.Choice(["US", "SI"]), default="US", show_default=True, help="Units of the answer.")
@json_option
def work(name: str | None, fields: tuple[str, ...], as_list: bool, units: str, as_json: bool) -> None:
    """Work out the formula NAME and show the working.

    Each value is written with its unit, as on paper: volume="12000 gal". Values of a list are parted by blanks, with
    the unit after the last: settings="10 25 50 percent".

    To find one argument instead, write ? for it and give the result under the formula's name:
    weirhouse work detention_time volume=? flow="150 gpm" detention_time="80 min"
    """
    from weirhouse import figures

    if as_list or name is None:
        _list(" ".join(part for part in (name or "", *fields) if part), units, as_json)
        return
    formula = figures.find(name)
    if not fields:
        _describe(formula, units, as_json)
        return
    found = figures.calculate(name, _texts(fields), units)
    if as_json:
        print_json(_data(found, units))
        return
    for name, text in found.found(units):
        click.echo(f"{name.replace('_', ' ')} = {text}")
    click.echo(f"{formula.title} = {found.answer}\n")
    click.echo(found.sheet.text(units))
    _caution(formula)


def _caution(formula: Any) -> None:
    from weirhouse.cautions import caution

    if text := caution(formula):
        click.echo(f"\nCaution: {text}")


def _data(found: Any, units: str) -> dict[str, Any]:
    from weirhouse.cautions import caution

    data: dict[str, Any] = {
        "formula": found.formula.name,
        "title": found.formula.title,
        "value": found.displayed,
        "unit": found.unit,
        "answer": found.answer,
        "inside": {"value": found.result if found.displayed is not None else None, "unit": found.inside},
        "working": found.sheet.json(units),
        "caution": caution(found.formula),
    }
    if found.unknown is not None:
        unit = found.unknown.unit
        values = [
            convert(v, unit.symbol, unit.display(units)) for v in (found.values[found.unknown.name], *found.others)
        ]
        data["unknown"] = {"name": found.unknown.name, "values": values, "unit": unit.display(units)}
    return data


def _texts(fields: tuple[str, ...]) -> dict[str, str]:
    texts: dict[str, str] = {}
    for field in fields:
        key, sign, text = field.partition("=")
        if not sign:
            raise click.UsageError(f'"{field[:60]}" is not key=value. Write it like volume="12000 gal".')
        if key in texts:
            raise click.UsageError(f'"{key[:60]}" is given twice.')
        texts[key] = text
    return texts


def _arguments(formula: Any) -> list[dict[str, Any]]:
    found = []
    for argument in formula.arguments:
        unit = argument.unit
        entry: dict[str, Any] = {
            "name": argument.name,
            "unit": unit.symbol if unit else "",
            "low": unit.low if unit else None,
            "high": unit.high if unit else None,
            "required": argument.required,
        }
        if argument.choices:
            entry["choices"] = list(argument.choices)
        if not argument.required:
            entry["default"] = argument.default
        if type(unit).__name__ == "Several":
            entry["list"] = True
        found.append(entry)
    return found


def _entry(formula: Any) -> dict[str, Any]:
    return {
        "name": formula.name,
        "summary": formula.summary,
        "arguments": _arguments(formula),
        "result_unit": formula.result.symbol,
        "reference": formula.reference,
        "title": formula.title,
        "expression": formula.expression,
        "chapter": formula.function.__module__.rpartition(".")[2],
    }


def _list(words: str, units: str, as_json: bool) -> None:
    from weirhouse import figures

    found = figures.search(words)
    if as_json:
        print_json({"formulas": [_entry(formula) for formula in found]})
        return
    if not found:
        click.echo(f'No formula answers to "{words}". "weirhouse work --list" shows all of them.', err=True)
        raise click.exceptions.Exit(1)
    chapters: dict[str, list[Any]] = {}
    for formula in found:
        chapters.setdefault(formula.function.__module__.rpartition(".")[2].replace("_", " "), []).append(formula)
    wide = max(len(formula.name) for formula in found)
    for chapter, members in chapters.items():
        click.echo(f"{chapter.capitalize()}")
        for formula in members:
            click.echo(f"  {formula.name:<{wide}}  {formula.summary}")


def _describe(formula: Any, units: str, as_json: bool) -> None:
    from weirhouse import figures

    if as_json:
        print_json(_entry(formula))
        return
    click.echo(f"{formula.title}: {formula.summary}\n{formula.expression or formula.method}\n")
    for argument in formula.arguments:
        need = "" if argument.required else "  (may be left out)"
        click.echo(f"  {argument.name} = {figures.example(argument, units)}{need}")
    asked = " ".join(f"{a.name}={figures.example(a, units)}" for a in formula.arguments if a.required and a.unit)
    click.echo(f"\nReference: {formula.reference}\nTry: weirhouse work {formula.name} {asked}")
    _caution(formula)
